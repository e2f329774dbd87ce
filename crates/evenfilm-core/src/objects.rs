//! Objects: connected pieces of the particle phase, each measured in one visit to its own window.
//!
//! A field first looks at the largest components ([`crate::field::join_field`]): how wide the blur is and how dark the powder. Then every
//! one is visited ([`crate::field::refine_field`]).

pub mod basins;
mod bits;
mod distance;
mod holes;
mod kind;
mod measure;
mod split;
mod tree;
mod window;

pub(crate) use bits::Bits;
pub use distance::distance_squared;
pub(crate) use kind::TOLD_FROM;
pub use kind::{Measure, Told};
pub use measure::frame_weight;
pub(crate) use measure::{CHORDS, Visit, Visitor, know_densities, pixels};
pub(crate) use window::{Block, Scene, median, pick, to_level};

use crate::order::in_turn;
use crate::phases::{Component, Run, RunMap, count32};
use crate::plane::{Level, Rect, Stage, Stop, Watch};
use crate::reuse;
use crate::shape::Shape;

/// Where an object's core level comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CoreFrom {
    /// Its own inside, at least 3.5 blur widths from the edge.
    Own,
    /// The field's median ratio of core to surround.
    Shared,
}

/// What an object's area comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SizedBy {
    /// The blur-corrected outline.
    Outline,
    /// The light that is missing.
    Deficit,
}

impl SizedBy {
    /// The word that tables use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Outline => "outline",
            Self::Deficit => "deficit",
        }
    }
}

/// One object of a field. Lengths are in pixels.
#[derive(Clone, Debug)]
pub struct Object {
    /// Its pixels' box.
    pub at: Rect,
    /// Centroid (x, y).
    pub centroid_px: [f64; 2],
    /// Level around it.
    pub surround: Level,
    /// Level inside it.
    pub core: Level,
    /// Where the core level comes from.
    pub core_from: CoreFrom,
    /// Area with the edge level a step towards the surround, as the recipe says, and a step towards the core, px²; blur-corrected. The same
    /// three times where the missing light gives it.
    pub area_px2: [f64; 3],
    /// What the area comes from.
    pub sized_by: SizedBy,
    /// Blur-corrected shape.
    pub shape: Shape,
    /// Mean and largest optical density above the surround; NaN in dark field.
    pub od: [f64; 2],
    /// Whether a side of the measured region cuts it.
    pub touches_frame: bool,
    /// 1 ÷ the share of the region in which an object of this size lies whole; `None` for those cut by the frame.
    pub weight: Option<f64>,
    /// Areas of its constituents, px², largest first; empty where there is one.
    pub constituents_px2: Box<[f32]>,
    /// Places (x, y) on the lines between them, half a pixel apart, in no order along the lines; empty unless
    /// [`Setting::necks`](crate::field::Setting::necks) asks for them.
    pub necks_px: Box<[[f32; 2]]>,
    /// What it is, and what decided on that.
    pub told: Told,
}

impl Object {
    /// Number of constituents.
    pub fn constituents(&self) -> usize {
        self.constituents_px2.len().max(1)
    }

    /// Area-equivalent diameter in pixels.
    pub fn diameter_px(&self) -> f64 {
        2.0 * (self.area_px2[1] / std::f64::consts::PI).sqrt()
    }
}

/// What the largest components tell about blur and powder.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// Standard deviation of the blur that edges show, px: lens, pixel and reading together.
    pub blur_px: f64,
    /// Number of edges it was measured on; 0 where it comes from the optics or is assumed.
    pub blur_edges: usize,
    /// Level of the powder's core ÷ level around it.
    pub core_ratio: f64,
    /// Number of cores it was measured on.
    pub cores: usize,
}

/// Most components looked at for the calibration.
const MOST_PROBES: usize = 96;

/// A window of more pixels than this is never held.
pub(crate) const LARGEST_WINDOW: u64 = 4 << 20;

/// Components are handed to threads by blocks of the picture: those whose boxes begin in as many rows and columns.
const BLOCK: (u32, u32) = (64, 512);

/// An object needs this many blur widths across for a core of its own.
pub(crate) const CORE_WIDTHS: f64 = 7.0;

/// The components most fit to tell blur and core: the largest that are not cut by the frame, those that fill their box like a disc first.
pub(crate) fn probes(components: &[Component], least_px: f64, frame: Rect) -> Vec<usize> {
    let fit =
        |c: &Component| f64::from(c.at.width.min(c.at.height)) >= least_px && c.at.area() <= LARGEST_WINDOW / 16 && !c.at.touches(frame);
    let mut chosen: Vec<usize> = (0..components.len()).filter(|&i| fit(&components[i])).collect();
    let ragged = |c: &Component| (c.area as f64) < 0.7 * c.at.area() as f64;
    let fittest_first = |&i: &usize| (ragged(&components[i]), std::cmp::Reverse(components[i].area), i);
    if chosen.len() > MOST_PROBES {
        chosen.select_nth_unstable_by_key(MOST_PROBES, fittest_first);
        chosen.truncate(MOST_PROBES);
    }
    chosen.sort_unstable_by_key(fittest_first);
    chosen
}

/// Objects and their pixels.
pub struct Refined {
    /// Objects in order of their first pixel.
    pub objects: Vec<Object>,
    /// Their pixels.
    pub map: RunMap,
    /// Components whose window would have been too large to hold.
    pub too_large: usize,
}

/// Visits every component of the particle phase once.
pub(crate) fn refine(scene: &Scene<'_>, components: &[Component], visit: &Visit, watch: Watch<'_>) -> Result<Refined, Stop> {
    let mut order: Vec<u32> = (0..count32(components.len())).filter(|&i| components[i as usize].at.area() <= LARGEST_WINDOW).collect();
    let block_of = |&i: &u32| (components[i as usize].at.y / BLOCK.0, components[i as usize].at.x / BLOCK.1);
    order.sort_by_cached_key(block_of);
    let groups: Vec<&[u32]> = order.chunk_by(|a, b| block_of(a) == block_of(b)).collect();
    let parts = in_turn(groups.len(), |g| {
        watch.poll()?;
        (watch.tell)(Stage::Refine, g as f32 / groups.len() as f32);
        let mut found = Found::default();
        found.objects.reserve(groups[g].len());
        found.runs.reserve(16 * groups[g].len());
        reuse::with(|(visitor, block): &mut (Visitor, Block)| {
            let group = || groups[g].iter().map(|&i| (i, &components[i as usize]));
            block.read(scene, group().map(|(_, component)| visit.window(component.at, scene.frame)))?;
            for component in group() {
                visitor.visit((scene, block), component, visit, &mut found)?;
            }
            found.objects.shrink_to_fit();
            found.runs.shrink_to_fit();
            Ok(found)
        })
    })?;
    let too_large = components.iter().filter(|c| c.at.area() > LARGEST_WINDOW).count();
    let (objects, map) = put_together(parts, scene.frame.height);
    Ok(Refined { objects, map, too_large })
}

/// What was found in some components.
#[derive(Default)]
pub(crate) struct Found {
    pub(crate) objects: Vec<Object>,
    /// Where the runs of each object end.
    ends: Vec<u32>,
    runs: Vec<(u32, Run)>,
}

impl Found {
    /// Keeps what `measure` finds; it adds the runs to those given, and what it adds without an object is taken back.
    fn keep(&mut self, measure: impl FnOnce(&mut Vec<(u32, Run)>) -> Option<Object>) {
        let before = self.runs.len();
        match measure(&mut self.runs) {
            Some(object) => {
                self.objects.push(object);
                self.ends.push(count32(self.runs.len()));
            }
            None => self.runs.truncate(before),
        }
    }

    /// The objects, and the rest.
    fn without_objects(mut self) -> (Vec<Object>, Self) {
        (std::mem::take(&mut self.objects), self)
    }

    /// The runs of its objects, one object after the other.
    fn runs(&self) -> impl Iterator<Item = &[(u32, Run)]> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(start, &end)| &self.runs[start as usize..end as usize])
    }
}

/// Fewer objects are put together sooner than a thread wakes up.
const WORTH_A_THREAD: usize = 256;

/// All objects in order of their first pixel, and their pixels. A field of a gigapixel has a million: nothing is held twice.
fn put_together(parts: Vec<Found>, rows: u32) -> (Vec<Object>, RunMap) {
    let first = |object: &Object, runs: &[(u32, Run)]| runs.first().map_or((object.at.y, object.at.x), |(y, run)| (*y, run.x0));
    let mut order: Vec<((u32, u32), u32)> = Vec::with_capacity(parts.iter().map(|part| part.objects.len()).sum());
    for part in &parts {
        for (object, runs) in part.objects.iter().zip(part.runs()) {
            order.push((first(object, runs), count32(order.len())));
        }
    }
    order.sort_unstable();
    let mut place = vec![0; order.len()];
    (0..).zip(&order).for_each(|(new, (_, old))| place[*old as usize] = new);
    drop(order);
    let (found, parts): (Vec<Vec<Object>>, Vec<Found>) = parts.into_iter().map(Found::without_objects).unzip();
    let owned = || parts.iter().flat_map(Found::runs).zip(&place);
    let pieces = || owned().flat_map(|(runs, &owner)| runs.iter().map(move |&(y, run)| (y, run, owner)));
    let (objects, map) = (|| in_place(found, place.clone()), || RunMap::from_pieces(rows, pieces));
    if place.len() < WORTH_A_THREAD { (objects(), map()) } else { rayon::join(objects, map) }
}

/// All objects in one list, each in its place.
fn in_place(found: Vec<Vec<Object>>, mut place: Vec<u32>) -> Vec<Object> {
    let mut objects = Vec::with_capacity(place.len());
    for some in found {
        objects.extend(some);
    }
    // By swaps along the rings of the permutation.
    for at in 0..place.len() {
        while place[at] as usize != at {
            let to = place[at] as usize;
            objects.swap(at, to);
            place.swap(at, to);
        }
    }
    objects
}
