//! Agglomeration beside chance: what share of the particle area the same particles would show in agglomerates if they lay at random.
//!
//! Discs at random touch no other with probability exp(−4C) where they cover C of the film (S. N. Chiu, D. Stoyan, W. S. Kendall, J. Mecke,
//! Stochastic Geometry and its Applications, 3rd ed. 2013, ch. 3), so that well dispersed powder shows agglomerates too, and the more the more
//! of it there is.
//!
//! The lot's separate `singles` are laid (`lay`) at random until they cover as much film as its particles do, never pieces of clumps. A
//! particle that nothing comes near is what it was measured as. Where some come within reach of each other, and are enough to make an
//! agglomerate, they are painted and judged (`judge`) by the code that measures fields, with blur, levels and noise rule of the field whose
//! frame they lie in.

mod judge;
mod lay;
mod pure;
mod singles;
#[cfg(test)]
mod tests;

use judge::{Judged, Painter, judge, may_agglomerate, window_of};
use lay::{Laid, Order, groups, lay};
use singles::Singles;

pub use singles::FEWEST;

use crate::field::FieldResult;
use crate::order::in_turn;
use crate::plane::{Rect, Stage, Stop, Watch};
use crate::random::{Draws, Source};
use crate::recipe::Recipe;
use crate::reuse;
use crate::statistics::normal_quantile;

/// Round edges read as one from a little nearer than straight ones on.
const ROUND: f64 = 0.9;

/// A third particle beside two makes them read as one from a little further, blur widths; three straight edges about one point would do so
/// 0.58 further, small particles that blur to points from 3.3 blur widths between their middles.
const THIRD: f64 = 0.65;

/// Film that is covered by more than this has no particle to tell from another.
const MOST_COVERED: f64 = 0.9;

/// Work that all layings together may take, in ns of one processor. Of a lot that would take more, each laying is of a part.
const WORK_NS: f64 = 1.5e9;
/// Work of a particle laid, of a group judged, and of a pixel of its window, in ns; measured, and fixed so that the same is laid everywhere.
const PARTICLE_NS: f64 = 250.0;
const GROUP_NS: f64 = 15_000.0;
const PIXEL_NS: f64 = 75.0;

/// Particles laid to estimate the work.
const TRIED: f64 = 20_000.0;

/// The agglomerate fraction that chance alone would show, in % of the particle area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ByChance {
    /// Mean of the layings.
    pub mean_pct: f64,
    /// Between these 95 % of lots at random lie that are as large as this one; `None` below 39 layings, which are too few to say.
    pub envelope_pct: Option<[f64; 2]>,
    /// Singles it was laid from.
    pub singles: usize,
    /// Share of the lot's film that each laying was of, 0 to 1.
    pub share: f64,
}

/// What chance would show, or why that cannot be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Chance {
    /// It can.
    Told(ByChance),
    /// It cannot.
    Missing(Missing),
}

/// Why it cannot be told what chance would show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    /// No particle that counts was found.
    NoPowder,
    /// The recipe does not take objects apart, so that a single particle cannot be told from a clump.
    NotSplit,
    /// Too few particles lie alone.
    TooFewSingles {
        /// Their number.
        found: usize,
    },
    /// Particles cover so much that none can lie alone.
    TooDense,
}

impl Chance {
    /// The numbers, where there are some.
    pub const fn told(&self) -> Option<&ByChance> {
        match self {
            Self::Told(by_chance) => Some(by_chance),
            Self::Missing(_) => None,
        }
    }

    /// Why there are none, in words.
    pub fn why_missing(&self) -> Option<String> {
        match self {
            Self::Told(_) | Self::Missing(Missing::NoPowder) => None,
            Self::Missing(Missing::NotSplit) => Some(
                "what chance alone would agglomerate is not told: with split = false a single particle cannot be told from a clump".into(),
            ),
            Self::Missing(Missing::TooFewSingles { found }) => Some(format!(
                "what chance alone would agglomerate is not told: {found} particles lie alone, and fewer than {FEWEST} do not show what the \
                 clumps are made of; dilute, or photograph more"
            )),
            Self::Missing(Missing::TooDense) => {
                Some("what chance alone would agglomerate is not told: particles cover nearly all of the film; dilute".into())
            }
        }
    }
}

/// What random numbers are for: each purpose has its own stream in each laying.
#[derive(Clone, Copy, Debug)]
enum Purpose {
    Room = 0,
    Draw = 1,
    Place = 2,
    Look = 3,
    Last = 4,
    Parts = 5,
}

const fn stream(laying: u64, purpose: Purpose) -> u64 {
    laying << 8 | purpose as u64
}

/// The whole part of a number, as an index; 0 below 0.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates, which is what is wanted")]
const fn floor(x: f64) -> usize {
    x as usize
}

/// How many blur widths apart two straight edges are that just read as one: the light between them is at the recipe's edge level. 1.35 half
/// way (closed form).
fn joined_widths(recipe: &Recipe) -> f64 {
    2.0 * normal_quantile(1.0 - 0.5 * recipe.particles.edge)
}

/// Lays the singles of some fields at random, as often as the recipe says. All fields must have the same scale. Bytes do not depend on the
/// number of threads.
///
/// # Errors
/// [`Stop::Cancelled`].
pub fn by_chance(fields: &[&FieldResult], recipe: &Recipe, watch: Watch<'_>) -> Result<Chance, Stop> {
    let frames: Vec<Frame<'_>> = fields.iter().map(|f| Frame::of(f)).filter(|frame| frame.area() > 0.0).collect();
    let film: f64 = frames.iter().map(Frame::area).sum();
    let powder: f64 = fields.iter().map(|f| powder_px2(f, recipe)).sum();
    if powder <= 0.0 || film <= 0.0 {
        return Ok(Chance::Missing(Missing::NoPowder));
    }
    if powder > MOST_COVERED * film {
        return Ok(Chance::Missing(Missing::TooDense));
    }
    let singles = match Singles::of(fields, recipe) {
        Ok(singles) => pure::without_pairs(&singles, &frames, recipe, watch)?,
        Err(missing) => return Ok(Chance::Missing(missing)),
    };
    // Particles at random cover 1 − exp(−λE[A]): so much must be laid for as much film to be covered.
    let density = -libm::log1p(-powder / film);
    let bench = Bench { frames: &frames, recipe, singles: &singles, density, film, covered: powder / film, watch };
    bench.simulate().map(Chance::Told)
}

fn powder_px2(field: &FieldResult, recipe: &Recipe) -> f64 {
    field.objects.iter().filter(|o| !recipe.leave_out.contains(&o.told.kind)).map(|o| o.area_px2[1]).sum()
}

/// Where particles are laid: a field, as large as its film.
#[derive(Clone, Copy)]
struct Frame<'a> {
    field: &'a FieldResult,
    /// Width and height, px.
    size: [f64; 2],
}

impl<'a> Frame<'a> {
    fn of(field: &'a FieldResult) -> Self {
        let gaps: f64 = field.gaps.iter().filter(|g| !g.in_hollow).map(|g| g.area_px2[1]).sum();
        let film = if field.ground.hazy { 1.0 - gaps / field.area_px2().max(1.0) } else { 1.0 };
        Self { field, size: [f64::from(field.size.0), f64::from(field.size.1)] }.shrunk(film.clamp(0.0, 1.0))
    }

    fn area(&self) -> f64 {
        self.size[0] * self.size[1]
    }

    /// A frame of a share of the area.
    fn shrunk(self, share: f64) -> Self {
        let side = share.min(1.0).sqrt();
        Self { size: self.size.map(|s| (s * side).floor()), ..self }
    }
}

/// What all layings share.
struct Bench<'a> {
    frames: &'a [Frame<'a>],
    recipe: &'a Recipe,
    singles: &'a Singles,
    /// Area of particles to lay ÷ area of film.
    density: f64,
    /// Area of the lot's film, px².
    film: f64,
    /// Share of it that particles cover.
    covered: f64,
    watch: Watch<'a>,
}

/// One laying, judged.
struct Laying {
    /// Area in agglomerates, px².
    agglomerated: f64,
    /// Area of particles that count, px².
    powder: f64,
    /// Share of the lot's film that was laid.
    share: f64,
}

/// Work that a laying takes.
#[derive(Clone, Copy, Default)]
struct Work {
    particles: usize,
    groups: usize,
    pixels: u64,
}

impl Work {
    fn ns(&self) -> f64 {
        PARTICLE_NS * self.particles as f64 + GROUP_NS * self.groups as f64 + PIXEL_NS * self.pixels as f64
    }
}

impl Bench<'_> {
    fn simulate(&self) -> Result<ByChance, Stop> {
        let layings = self.recipe.chance.placements.max(1);
        let share = self.affordable(layings);
        let done = std::sync::atomic::AtomicU32::new(0);
        let all = in_turn(layings as usize, |number| {
            let laying = self.laying(number as u64, share)?;
            let done = done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
            (self.watch.tell)(Stage::Chance, done as f32 / layings as f32);
            Ok(laying)
        })?;
        let share = all.iter().map(|l| l.share).sum::<f64>() / f64::from(layings);
        let mut lots = self.lots(&all, floor((1.0 / share).round()).max(1));
        lots.sort_by(f64::total_cmp);
        Ok(ByChance { mean_pct: percent_of(all.iter()), envelope_pct: envelope(&lots), singles: self.singles.all.len(), share })
    }

    /// What whole lots show, %: each laying alone, or as many as make up a lot, drawn at random among them.
    fn lots(&self, all: &[Laying], parts: usize) -> Vec<f64> {
        if parts == 1 {
            return all.iter().map(|one| percent_of(std::iter::once(one))).collect();
        }
        let mut draws = Draws::new(Source::new(self.recipe.chance.seed, stream(0, Purpose::Parts)));
        all.iter().map(|_| percent_of((0..parts).map(|_| &all[draws.below(all.len())]).collect::<Vec<_>>().into_iter())).collect()
    }

    /// Share of the lot's film that a laying can be of.
    fn affordable(&self, layings: u32) -> f64 {
        let particles = self.density * self.film / self.singles.mean_area().max(f64::MIN_POSITIVE);
        let tried = (TRIED / particles).min(1.0);
        let frames = self.frames_of(0, tried);
        let laid = self.lay(u64::MAX >> 16, &frames);
        let mut work = Work::default();
        for (frame, laid) in frames.iter().zip(&laid) {
            work.particles += laid.len();
            for (_, at) in self.looked_at(frame, laid, true) {
                (work.groups, work.pixels) = (work.groups + 1, work.pixels + at.area());
            }
        }
        let whole = work.ns() * self.film / frames.iter().map(Frame::area).sum::<f64>().max(1.0);
        (WORK_NS / f64::from(layings) / whole.max(1.0)).min(1.0)
    }

    /// Particles further apart than this never read as one, px.
    fn reach(&self, blur_px: f64) -> f64 {
        (joined_widths(self.recipe) + THIRD) * blur_px
    }

    /// The frames of a laying of a share of the lot: some fields after others in turn, or a part of one.
    fn frames_of(&self, number: u64, share: f64) -> Vec<Frame<'_>> {
        let fields = self.frames.len();
        let wanted = share * fields as f64;
        let count = floor(wanted.round()).clamp(1, fields);
        let first = number.wrapping_mul(count as u64) % fields as u64;
        (0..count).map(|k| self.frames[(floor(first as f64) + k) % fields].shrunk(if wanted < 1.0 { wanted } else { 1.0 })).collect()
    }

    fn lay(&self, number: u64, frames: &[Frame<'_>]) -> Vec<Vec<Laid>> {
        let area: f64 = frames.iter().map(Frame::area).sum();
        let sizes: Vec<[f64; 2]> = frames.iter().map(|frame| frame.size).collect();
        let blur = frames.iter().map(|frame| frame.field.calibration.blur_px).fold(0.0, f64::max);
        let drawn = (self.singles.all.len() as f64 * (area / self.film).min(1.0)).round().max(1.0);
        let order = Order {
            seed: self.recipe.chance.seed,
            number,
            frames: &sizes,
            beyond: self.singles.bound() + self.reach(blur),
            area: self.density * area,
            drawn: floor(drawn),
        };
        lay(&order, self.singles)
    }

    /// The groups of a frame, with the windows that show them; all, or those that could be agglomerates.
    fn looked_at(&self, frame: &Frame<'_>, laid: &[Laid], agglomerates: bool) -> Vec<(Vec<Laid>, Rect)> {
        let blur = frame.field.calibration.blur_px;
        let area = |&i: &u32| self.singles.all[laid[i as usize].single as usize].area;
        let groups = groups(laid, self.singles, self.reach(blur));
        let large =
            groups.iter().filter(|group| !agglomerates || may_agglomerate(group.iter().map(area), frame.field.um_per_px, self.recipe));
        let seen = large.filter_map(|group| {
            let group: Vec<Laid> = group.iter().map(|&i| laid[i as usize]).collect();
            let at = window_of(&group, self.singles, blur, frame.size)?;
            Some((group, at))
        });
        seen.collect()
    }

    fn laying(&self, number: u64, share: f64) -> Result<Laying, Stop> {
        let frames = self.frames_of(number, share);
        let area: f64 = frames.iter().map(Frame::area).sum();
        let mut sum = Judged::default();
        for (frame, laid) in frames.iter().zip(self.lay(number, &frames)) {
            self.watch.poll()?;
            for (group, at) in self.looked_at(frame, &laid, true) {
                self.watch.poll()?;
                let silent = Watch { tell: &|_, _| (), ..self.watch };
                let judged =
                    reuse::with(|painter: &mut Painter| judge(&group, self.singles, (frame.field, at), (self.recipe, silent), painter))?;
                sum.agglomerated += judged.agglomerated;
                sum.left_out += judged.left_out;
            }
        }
        let powder = (self.covered * area - sum.left_out).max(0.0);
        Ok(Laying { agglomerated: sum.agglomerated, powder, share: area / self.film })
    }
}

/// Area in agglomerates ÷ area of particles of some layings, %.
fn percent_of<'a>(layings: impl Iterator<Item = &'a Laying>) -> f64 {
    let (agglomerated, powder) = layings.fold((0.0, 0.0), |(a, p), one| (a + one.agglomerated, p + one.powder));
    100.0 * agglomerated / powder.max(f64::MIN_POSITIVE)
}

/// Between which two of some values, smallest first, the next one of their kind lies in at least 95 of 100 cases: of n values the k-th from
/// either end, k the whole part of 0.025 (n + 1), holds it in n + 1 − 2k of n + 1 (any order of n + 1 values at random is as likely).
fn envelope(sorted: &[f64]) -> Option<[f64; 2]> {
    let k = floor(0.025 * (sorted.len() as f64 + 1.0) + 1e-9);
    (k > 0).then(|| [sorted[k - 1], sorted[sorted.len() - k]])
}
