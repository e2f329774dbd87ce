//! The picture for the screen, pixel by pixel: grey of the light, tint of the phases, hatches and lines. The same at any number of threads.

use std::sync::OnceLock;

use egui::Color32;
use evenfilm_core::field::FieldResult;
use evenfilm_core::phases::Cuts;
use rayon::ThreadPool;
use rayon::prelude::*;

use super::camera::Seen;
use super::coarse::Coarse;
use super::grid::{Axis, down, place, signed};
use super::labels::{Found, Labels};
use super::lines::{self, Ground, Line};
use super::marks::{Class, Label, Marks};
use super::samples::{Looked, Sheet};
use super::tones::{FILM, GAP, Greys, PARTICLE, Tints, blend, byte};
use super::{Detail, FieldPicture, Layer, Layers};

/// Rows of the screen that are composed together.
const BAND: usize = 32;

/// Pixels over which the film's level is taken as even.
const EVEN: usize = 16;

/// Threads that compose. The pool of all other work is busy measuring, and the window must not wait for it.
const THREADS: usize = 2;

/// What is composed.
pub(crate) struct Scene<'a> {
    /// The field's picture.
    pub(crate) picture: &'a FieldPicture,
    /// Finer parts of it, coarse ones first.
    pub(crate) details: &'a [Detail],
    /// Greys of levels, and of counts.
    pub(crate) greys: [&'a Greys; 2],
    /// What was found in it, and what the choices make of that.
    pub(crate) found: Option<(&'a FieldResult, &'a Marks)>,
    /// Its runs halved, where they are at hand.
    pub(crate) coarse: Option<&'a Coarse>,
    /// Where phases are told from the pixels themselves, what they are cut at: while a choice is being changed, and before there are runs.
    pub(crate) cuts: Option<&'a Cuts>,
    /// How strongly each layer is drawn.
    pub(crate) layers: Layers,
    /// What is seen.
    pub(crate) seen: Seen,
    /// Columns and rows of the screen.
    pub(crate) size: [usize; 2],
    /// The share from the left that is the original without a mark.
    pub(crate) bared: f32,
    /// Width of lines, pixels.
    pub(crate) thick: usize,
    /// What lies around the picture.
    pub(crate) around: Color32,
}

/// What all bands share.
struct Plan<'a> {
    scene: &'a Scene<'a>,
    axes: [Axis; 2],
    /// Levels, then counts where they are seen; finer parts come last.
    light: Vec<Looked<'a>>,
    shot: Vec<Looked<'a>>,
    tints: Tints,
    /// First column that is not bared.
    from: usize,
    found: Option<Found<'a>>,
    /// The line of each class, and how strongly it is drawn.
    strokes: [(Line, u8); 8],
    hatch: u8,
    tinted: bool,
    light_share: u8,
}

/// Buffers of a band.
#[derive(Default)]
struct Buffers {
    labels: Labels,
    sums: (Vec<u32>, Vec<u16>),
    samples: Vec<u16>,
    counts: Vec<u16>,
    greys: Vec<u8>,
    originals: Vec<u8>,
    phases: Vec<u8>,
    edges: Vec<u8>,
}

fn pool() -> Option<&'static ThreadPool> {
    static POOL: OnceLock<Option<ThreadPool>> = OnceLock::new();
    let build = || rayon::ThreadPoolBuilder::new().num_threads(THREADS).thread_name(|at| format!("canvas {at}")).build().ok();
    POOL.get_or_init(build).as_ref()
}

/// Composes into `out`, row after row, which becomes as long as the screen has pixels.
pub(crate) fn compose(scene: &Scene<'_>, out: &mut Vec<Color32>) {
    let [width, height] = scene.size;
    out.resize(width * height, scene.around);
    if width == 0 || height == 0 {
        return;
    }
    let plan = Plan::new(scene);
    let bands = |out: &mut Vec<Color32>| {
        out.par_chunks_mut(width * BAND).enumerate().for_each_init(Buffers::default, |buffers, (band, rows)| {
            plan.band(band * BAND, rows, buffers);
        });
    };
    match pool() {
        Some(pool) => pool.install(|| bands(out)),
        None => bands(out),
    }
    plan.over(out);
}

/// How strongly lines are drawn: from so far that pieces are hardly larger than pixels of the screen, lines would hide all else.
fn faint(result: &FieldResult, zoom: f64) -> f32 {
    /// Pieces to a pixel of the screen up to which lines are drawn in full.
    const CROWD: f64 = 0.02;
    let screen = f64::from(result.size.0) * f64::from(result.size.1) * zoom * zoom;
    let pieces = (result.objects.len() + result.gaps.len()) as f64;
    #[expect(clippy::cast_possible_truncation, reason = "a share")]
    let share = (CROWD * screen / pieces.max(1.0)).clamp(0.4, 1.0) as f32;
    share
}

impl<'a> Plan<'a> {
    fn new(scene: &'a Scene<'a>) -> Self {
        let width = scene.size[0];
        let axes = Axis::both(scene.seen);
        let layer = |layer: Layer| byte(scene.layers.of(layer));
        let light_share = layer(Layer::Light);
        let from = place(down(f64::from(scene.bared.clamp(0.0, 1.0)) * width as f64 + 0.5), width);
        let looks = |pick: fn(&FieldPicture) -> &evenfilm_core::pyramid::Pyramid,
                     part: fn(&Detail) -> &evenfilm_core::plane::Plane<u16>| {
            let whole = Sheet::of(pick(scene.picture), scene.picture.size, axes[0].zoom).into_iter();
            let parts = scene.details.iter().map(|detail| Sheet {
                plane: part(detail),
                at: [f64::from(detail.at.x), f64::from(detail.at.y)],
                end: [f64::from(detail.at.right()), f64::from(detail.at.bottom())],
                step: f64::from(1_u32 << detail.reduction.min(31)),
            });
            whole.chain(parts).map(|sheet| sheet.seen(axes, width)).collect::<Vec<_>>()
        };
        let needs_shot = light_share < 255 || from > 0;
        let faint = scene.found.map_or(1.0, |(result, _)| faint(result, axes[0].zoom));
        let strokes = Class::ALL.map(|class| (Line::of(class), byte(scene.layers.of(class.layer()) * faint)));
        let tint = layer(Layer::Phases);
        let found = scene.found.map(|(result, marks)| Found { result, marks, coarse: scene.coarse, specks: axes[0].zoom >= 1.0 });
        Self {
            scene,
            axes,
            light: looks(|picture| &picture.light, |detail| &detail.light),
            shot: if needs_shot { looks(|picture| &picture.shot, |detail| &detail.shot) } else { Vec::new() },
            tints: Tints::new(tint),
            from,
            found,
            strokes,
            hatch: layer(Layer::Agglomerates),
            tinted: tint > 0,
            light_share,
        }
    }

    /// One band of rows, the first of them being `first`.
    fn band(&self, first: usize, out: &mut [Color32], buffers: &mut Buffers) {
        let width = self.scene.size[0];
        let rows = out.len() / width;
        if let Some(found) = self.found {
            buffers.labels.fill(found, self.axes, (first, rows), (width, self.scene.thick.max(1)));
        }
        for (row, line) in out.chunks_exact_mut(width).enumerate() {
            self.grey(first + row, line, buffers);
            let (taken, labelled) = (self.taken(first + row), self.found.is_some() && buffers.labels.any(row));
            if taken.is_empty() {
                continue;
            }
            self.phases(first + row, (row, labelled), buffers);
            self.paint(line, taken, buffers);
            if labelled {
                self.hatches(first + row, row, line, &buffers.labels);
                self.outlines(first + row, row, line, buffers);
            }
        }
    }

    /// Columns of the screen where the picture lies; none in rows beside it.
    fn taken(&self, y: usize) -> std::ops::Range<usize> {
        self.light.first().filter(|looked| looked.covers(y)).map_or(0..0, |looked| looked.taken.clone())
    }

    /// Greys of a row of the screen, and what lies around the picture.
    fn grey(&self, y: usize, line: &mut [Color32], buffers: &mut Buffers) {
        line.fill(self.scene.around);
        let width = line.len();
        let Buffers { sums, samples, counts, greys, originals, .. } = buffers;
        samples.resize(width, 0);
        greys.resize(width, 0);
        for looked in self.light.iter().filter(|looked| looked.covers(y)) {
            looked.row(y, sums, samples);
        }
        self.scene.greys[0].of_all(samples, greys);
        if self.shot.is_empty() {
            return;
        }
        counts.resize(width, 0);
        originals.resize(width, 0);
        for looked in self.shot.iter().filter(|looked| looked.covers(y)) {
            looked.row(y, sums, counts);
        }
        let share = u32::from(self.light_share);
        for ((grey, original), &count) in greys.iter_mut().zip(originals).zip(&*counts) {
            *original = self.scene.greys[1].of(count);
            let mixed = (u32::from(*grey) * share + u32::from(*original) * (255 - share) + 127) / 255;
            *grey = u8::try_from(mixed).unwrap_or(u8::MAX);
        }
    }

    /// What each pixel of a row is.
    fn phases(&self, y: usize, (row, labelled): (usize, bool), buffers: &mut Buffers) {
        let Buffers { samples, phases, labels, .. } = buffers;
        phases.clear();
        phases.resize(samples.len(), FILM);
        if !self.tinted {
            return;
        }
        if let Some(cuts) = self.scene.cuts {
            self.cut(cuts, y, samples, phases);
        } else if labelled {
            for (phase, &label) in phases.iter_mut().zip(labels.inner(row)) {
                *phase = match Label(label).class() {
                    Class::None | Class::Speck => FILM,
                    class if class.is_gap() => GAP,
                    _ => PARTICLE,
                };
            }
        }
    }

    /// Phases told from the levels of a row.
    fn cut(&self, cuts: &Cuts, y: usize, samples: &[u16], phases: &mut [u8]) {
        let at_y = self.axes[1].middle(signed(y));
        for (block, (samples, phases)) in samples.chunks(EVEN).zip(phases.chunks_mut(EVEN)).enumerate() {
            let at_x = self.axes[0].middle(signed(block * EVEN + EVEN / 2));
            let film = cuts.film.at(at_x.max(0.0), at_y.max(0.0));
            let (particle, gap) = (cuts.particle * film, cuts.gap_level(film));
            for (phase, &sample) in phases.iter_mut().zip(samples) {
                let level = f64::from(sample);
                *phase = u8::from(level < particle) * PARTICLE + u8::from(level > gap) * GAP;
            }
        }
    }

    /// Greys and tints as colours; the bared part as it was photographed.
    fn paint(&self, line: &mut [Color32], taken: std::ops::Range<usize>, buffers: &Buffers) {
        let split = self.from.clamp(taken.start, taken.end);
        let colour = |of: &[Color32; 256], grey: u8| of.get(usize::from(grey)).copied().unwrap_or_default();
        if let (Some(line), Some(greys)) = (line.get_mut(taken.start..split), buffers.originals.get(taken.start..split)) {
            line.iter_mut().zip(greys).for_each(|(pixel, &grey)| *pixel = Color32::from_gray(grey));
        }
        let rest = split..taken.end;
        let parts = (line.get_mut(rest.clone()), buffers.greys.get(rest.clone()), buffers.phases.get(rest));
        let (Some(line), Some(greys), Some(phases)) = parts else { return };
        if self.tinted {
            line.iter_mut().zip(greys).zip(phases).for_each(|((pixel, &grey), &phase)| *pixel = colour(self.tints.phase(phase), grey));
        } else {
            line.iter_mut().zip(greys).for_each(|(pixel, &grey)| *pixel = Color32::from_gray(grey));
        }
    }

    /// Thin slanting lines over agglomerates.
    fn hatches(&self, y: usize, row: usize, line: &mut [Color32], labels: &Labels) {
        if self.hatch == 0 {
            return;
        }
        let thick = signed(self.scene.thick.max(1));
        let [right, below] = self.axes.map(Axis::shift);
        let least = Label::new(Class::Agglomerate, 0).0;
        let labels = labels.inner(row);
        for first in lines::hatched(right, signed(y) + below, thick) {
            for x in (first..line.len()).step_by(lines::HATCH * self.scene.thick.max(1)).filter(|&x| x >= self.from) {
                if let (Some(pixel), true) = (line.get_mut(x), labels.get(x).is_some_and(|&label| label >= least)) {
                    *pixel = blend(*pixel, super::tones::SAND, self.hatch);
                }
            }
        }
    }

    fn outlines(&self, y: usize, row: usize, line: &mut [Color32], buffers: &mut Buffers) {
        let Buffers { labels, edges, .. } = buffers;
        let Some(found) = self.found else { return };
        labels.edges(row, self.scene.thick.max(1), edges);
        let thick = signed(self.scene.thick.max(1));
        let (y, labels) = (signed(y), labels.inner(row));
        self.solid(line, labels, edges);
        let halvings = found.coarse.and_then(|coarse| coarse.at(self.axes[0].zoom)).map_or(0, |(_, halvings)| halvings);
        let axes = self.axes.map(|axis| axis.halved(halvings));
        for (start, edges) in (0..).step_by(8).zip(edges.chunks(8)) {
            // Most of a film has no line.
            if edges.try_into().is_ok_and(|eight| u64::from_ne_bytes(eight) == 0) {
                continue;
            }
            for (x, _) in (start..).zip(edges).filter(|&(x, &edge)| edge != 0 && x >= self.from) {
                let (Some(pixel), Some(&label)) = (line.get_mut(x), labels.get(x)) else { continue };
                let label = Label(label);
                let Some(&(style, stroke)) = self.strokes.get(label.class() as usize) else { continue };
                let colour = style.solid().or_else(|| {
                    // Patterns begin with the piece, so that they go with it and its first pixel is seen.
                    let first = found.marks.first(label).map(|at| at >> halvings);
                    let at = [0, 1].map(|i| axes[i].span(f64::from(first[i]), f64::from(first[i]) + 1.0)[0]);
                    style.colour(signed(x) - at[0], y - at[1], thick)
                });
                if let Some(colour) = colour {
                    *pixel = blend(*pixel, colour, stroke);
                }
            }
        }
    }

    /// Draws the unbroken lines of what counts, which are most, in one sweep without branches, and strikes them from the edges.
    fn solid(&self, line: &mut [Color32], labels: &[u32], edges: &mut [u8]) {
        let Some((colour, 255)) = self.strokes.get(Class::Object as usize).and_then(|&(line, stroke)| Some((line.solid()?, stroke))) else {
            return;
        };
        let least = Label::new(Class::Object, 0).0;
        let from = self.from.min(line.len());
        let (Some(line), Some(labels), Some(edges)) = (line.get_mut(from..), labels.get(from..), edges.get_mut(from..)) else { return };
        for ((pixel, &label), edge) in line.iter_mut().zip(labels).zip(edges) {
            let counts = u8::from(label >= least);
            *pixel = if *edge & counts == 1 { colour } else { *pixel };
            *edge &= 1 - counts;
        }
    }

    /// Circles and the lines between constituents.
    fn over(&self, out: &mut [Color32]) {
        let Some(found) = self.found else { return };
        let thick = signed(self.scene.thick.max(1));
        let width = self.scene.size[0];
        let mut ground = Ground { pixels: out, width, from: self.from, share: byte(self.scene.layers.of(Layer::Gaps)) };
        if ground.share > 0 {
            found.marks.circles.iter().for_each(|&circle| ground.circle(circle, self.axes, thick));
        }
        ground.share = byte(self.scene.layers.of(Layer::Constituents));
        // Near by, beads as thin as lines would be lost among those of the hatch.
        let side = if self.axes[0].zoom < 3.0 { thick } else { thick + 1 };
        // From afar a line between constituents would only fill them.
        if ground.share == 0 || self.axes[0].zoom < 0.4 {
            return;
        }
        let ends = [0, 1].map(|i| [self.axes[i].from, self.axes[i].from + self.scene.size[i] as f64 / self.axes[i].zoom]);
        let counted = found.result.objects.iter().zip(&found.marks.objects).filter(|(_, mark)| mark.label.class() >= Class::Object);
        for (object, _) in counted {
            let at = object.at;
            let in_view = [(at.x, at.right()), (at.y, at.bottom())]
                .iter()
                .zip(ends)
                .all(|(&(from, to), ends)| f64::from(to) > ends[0] && f64::from(from) < ends[1]);
            if in_view {
                object.necks_px.iter().for_each(|&[x, y]| ground.bead([f64::from(x), f64::from(y)], self.axes, side));
            }
        }
    }
}
