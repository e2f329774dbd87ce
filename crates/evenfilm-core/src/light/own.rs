//! The picture's own light, where there is no blank.
//!
//! Each sub-area gives the level that most of its pixels crowd at. The steps between neighbours show the light, since jumps from film to a
//! large bare place are few beside them; against that light the sub-areas fall into film and bare, and both together give the light anew.
//! Whether what is lighter is bare is then asked of the pixels ([`super::bare`]).
//!
//! Assumed: the light is smooth over the whole picture. What changes as slowly in the film itself is taken for light.

use super::bare::{self, Places};
use super::film::{BINS, Cells, histograms, middle};
use super::surface::{Point, Surface};
use super::{CELL, Correction, Optics, Reference, darkest_to_lightest};
use crate::plane::{ONE, Plane, Samples, Stop, Watch, single};
use crate::recipe::Film;
use crate::statistics::median;

/// Level of the film, as a share of [`ONE`], where nothing else is known: so that a film that lets through a quarter of the light leaves room
/// for what is lighter.
pub(super) const FILM_ALONE: f32 = 0.5;

/// Level of the film while bare places are looked for: room up to an optical density of 1.5.
const FILM_LOOKED_AT: f64 = 1.0 / 32.0;

/// The share of a sub-area's pixels that must crowd.
const CROWD: f64 = 0.4;

/// Sub-areas darker than this count as black, as a share of full scale.
const DARKEST: f64 = 0.001;

/// Light that a picture shows of itself.
pub(super) struct OwnLight {
    /// Levels per count at the centres of the cells of 16 px.
    pub(super) gains: Plane<f32>,
    pub(super) reference: Reference,
}

impl OwnLight {
    /// Darkest ÷ lightest part of the light.
    pub(super) fn evenness(&self) -> Option<f64> {
        darkest_to_lightest(self.gains.iter().map(|&gain| 1.0 / gain))
    }

    /// Empty slides per count, in the middle of the picture.
    pub(super) fn typical(&self) -> f64 {
        self.gains.get([self.gains.nrows() / 2, self.gains.ncols() / 2]).map_or(1.0, |&g| f64::from(g) / f64::from(ONE))
    }
}

/// What is known beforehand.
pub(super) struct Asked<'a> {
    pub(super) film: Film,
    /// Noise of a pixel, as a share of full scale.
    pub(super) noise: f64,
    pub(super) optics: &'a Optics,
}

impl Asked<'_> {
    /// Share of full scale that a count stands for.
    fn full(&self) -> f64 {
        1.0 / f64::from(self.optics.full_scale.max(1))
    }
}

/// A field as sub-areas see it: levels are shares of full scale, as logarithms.
struct Look<'a> {
    size: (u32, u32),
    cells: &'a Cells,
    points: Vec<Point>,
    /// Index of the point's sub-area.
    cell: Vec<usize>,
    /// Sub-areas whose crowd is at full scale.
    at_full: usize,
}

/// The light of a field in transmitted light; `None` of a picture that is black or at full scale. `plain` gives shares of full scale.
pub(super) fn transmitted(
    field: &dyn Samples,
    plain: &Correction<'_>,
    asked: &Asked<'_>,
    watch: Watch<'_>,
) -> Result<Option<OwnLight>, Stop> {
    let cells = histograms(field, plain, watch)?;
    let look = Look::new(field.size(), &cells, |_| true);
    // Where most of the ground is at full scale, what is left is mostly the inside of things.
    if look.points.len() <= look.at_full {
        return Ok(None);
    }
    let full = asked.full();
    let two = look.in_two_groups();
    if asked.film == Film::Clear {
        let points = two.unwrap_or_else(|| look.points.clone());
        let groups = points.iter().map(|p| p.group).max().unwrap_or(0) + 1;
        let surface = look.surface(&points, groups);
        let gains = look.gains(&surface, surface.offset[groups - 1], full);
        return Ok(Some(OwnLight { gains, reference: Reference::ClearFilm }));
    }
    for points in two.into_iter().chain([look.points.clone()]) {
        if let Some(surface) = look.to_bare(field, (plain, full), &points, asked, watch)? {
            let gains = look.gains(&surface, surface.offset[1], full);
            return Ok(Some(OwnLight { gains, reference: Reference::BareSeen }));
        }
    }
    let surface = look.surface(&look.points, 1);
    let gains = look.gains(&surface, surface.offset[0] - libm::log(f64::from(FILM_ALONE)), full);
    Ok(Some(OwnLight { gains, reference: Reference::FilmAlone }))
}

/// The light of a field in dark field, by what the film scatters: 1 is the film. `None` where too little scatters.
pub(super) fn scattered(
    field: &dyn Samples,
    plain: &Correction<'_>,
    asked: &Asked<'_>,
    watch: Watch<'_>,
) -> Result<Option<OwnLight>, Stop> {
    let cells = histograms(field, plain, watch)?;
    let all = Look::new(field.size(), &cells, |level| level > 5.0 * asked.noise);
    // Bare sub-areas scatter far less than those with film; clumps fill none.
    let least = 0.2 * libm::exp(median(all.points.iter().map(|p| p.value).collect()));
    let look = Look::new(field.size(), &cells, |level| level > (5.0 * asked.noise).max(least));
    if look.points.is_empty() {
        return Ok(None);
    }
    let surface = look.surface(&look.points, 1);
    let gains = look.gains(&surface, surface.offset[0], asked.full());
    Ok(Some(OwnLight { gains, reference: Reference::BlackGround }))
}

impl<'a> Look<'a> {
    /// The sub-areas whose crowd is neither black nor at full scale, as far as `wanted` of its share of full scale.
    fn new(size: (u32, u32), cells: &'a Cells, wanted: impl Fn(f64) -> bool) -> Self {
        let (mut points, mut cell, mut at_full) = (Vec::new(), Vec::new(), 0);
        for (i, level) in cells.counts.iter().map(crowd).enumerate() {
            let level = level / f64::from(ONE);
            if level >= 0.995 {
                at_full += 1;
            } else if level > DARKEST && wanted(level) {
                points.push(Point { place: place_of(size, centre(cells, size, i)), value: libm::log(level), group: 0 });
                cell.push(i);
            }
        }
        Self { size, cells, points, cell, at_full }
    }

    fn surface(&self, points: &[Point], groups: usize) -> Surface {
        Surface::through(points, groups, Surface::degree_for(self.points.len()))
    }

    /// The light with bare places as group 1, where they are seen: found by the film's light first, and again by the light that both tell.
    fn to_bare(
        &self,
        field: &dyn Samples,
        (plain, full): (&Correction<'_>, f64),
        points: &[Point],
        asked: &Asked<'_>,
        watch: Watch<'_>,
    ) -> Result<Option<Surface>, Stop> {
        let film_points: Vec<Point> = points.iter().filter(|p| p.group == 0).copied().collect();
        let mut surface = self.surface(points, 2);
        for again in [false, true] {
            let film = surface.offset[0];
            let evened = plain.with_gains(self.gains(&surface, film - libm::log(FILM_LOOKED_AT), full));
            let question = bare::Question {
                film: FILM_LOOKED_AT * f64::from(ONE),
                spread: self.spread(&surface, points),
                noise: asked.noise / libm::exp(film),
                blur_px: asked.optics.expected_blur_px(),
                again,
            };
            let Some(places) = bare::find(field, &evened, &question, watch)? else { return Ok(None) };
            let bare = self.bare_points(&surface, film, &places);
            surface = self.surface(&film_points.iter().copied().chain(bare).collect::<Vec<_>>(), 2);
        }
        Ok(Some(surface))
    }

    /// The points in two groups, 0 the darker, where the sub-areas fall into two that lie well apart and the lighter one is even.
    fn in_two_groups(&self) -> Option<Vec<Point>> {
        const LEAST_SHARE: f64 = 0.05;
        const LEAST_JUMP: f64 = 0.06;
        const EVEN: f64 = 0.05;
        let first = Surface::by_steps(&self.points, &self.pairs(), Surface::degree_for(self.points.len()).min(2));
        let flat: Vec<f64> = self.points.iter().map(|p| p.value - first.at(p.place)).collect();
        let mut sorted = flat.clone();
        sorted.sort_by(f64::total_cmp);
        let n = sorted.len();
        let margin = pixels_up(LEAST_SHARE * n as f64).max(2);
        let cut = (margin..(n + 1).saturating_sub(margin))
            .max_by(|&a, &b| (sorted[a] - sorted[a - 1]).total_cmp(&(sorted[b] - sorted[b - 1])))?;
        let (low, high) = sorted.split_at(cut);
        let [film, bare] = [low, high].map(|g| median(g.to_vec()));
        let [film_spread, bare_spread] =
            [(low, film), (high, bare)].map(|(g, m)| 1.4826 * median(g.iter().map(|v| (v - m).abs()).collect()));
        let apart = sorted[cut] - sorted[cut - 1] > LEAST_JUMP && bare - film > 3.0 * (film_spread + bare_spread);
        (apart && bare_spread < EVEN).then(|| {
            let group = |v: f64| usize::from(v >= sorted[cut]);
            self.points.iter().zip(&flat).map(|(p, &v)| Point { group: group(v), ..*p }).collect()
        })
    }

    /// Neighbours to the right and below.
    fn pairs(&self) -> Vec<(usize, usize)> {
        let mut number = vec![usize::MAX; self.cells.counts.len()];
        self.cell.iter().enumerate().for_each(|(n, &i)| number[i] = n);
        let across = self.cells.across;
        let right = |i: usize| if (i + 1).is_multiple_of(across) { None } else { Some(i + 1) };
        let neighbours = self.cell.iter().flat_map(|&i| [right(i), Some(i + across)].into_iter().flatten().map(move |j| (i, j)));
        neighbours.filter(|&(_, j)| number.get(j).is_some_and(|&n| n != usize::MAX)).map(|(i, j)| (number[i], number[j])).collect()
    }

    /// Spread of the film's pixels about the surface, as a logarithm: 1.4826 × the median distance of those within a factor of 2.7.
    fn spread(&self, surface: &Surface, points: &[Point]) -> f64 {
        let mut distances = [0u64; 1000];
        for (point, &cell) in points.iter().zip(&self.cell).filter(|(p, _)| p.group == 0) {
            let film = surface.at(point.place) + surface.offset[0];
            for (bin, &count) in self.cells.counts[cell].iter().enumerate().filter(|(_, c)| **c > 0) {
                let off = (libm::log(middle(bin).max(1.0) / f64::from(ONE)) - film).abs() * 1000.0;
                if off < 1000.0 {
                    distances[pixels_down(off)] += u64::from(count);
                }
            }
        }
        let half = distances.iter().sum::<u64>().div_ceil(2);
        let mut below = 0;
        let place = distances.iter().position(|&c| {
            below += c;
            below >= half
        });
        1.4826 * (place.unwrap_or(0) as f64 + 0.5) / 1000.0
    }

    /// Bare places as points of group 1.
    fn bare_points(&self, surface: &Surface, film: f64, places: &Places) -> Vec<Point> {
        let point = |&(at, ratio): &([f64; 2], f64)| {
            let place = place_of(self.size, at);
            Point { place, value: surface.at(place) + film + ratio, group: 1 }
        };
        places.seen.iter().map(point).collect()
    }

    /// Levels per count at the centres of the cells, for which what lies `offset` above the surface is [`ONE`]. `full` is the share of full
    /// scale that a count stands for.
    fn gains(&self, surface: &Surface, offset: f64, full: f64) -> Plane<f32> {
        let (width, height) = (self.size.0.div_ceil(CELL) as usize, self.size.1.div_ceil(CELL) as usize);
        Plane::from_shape_fn((height, width), |(row, column)| {
            let at = [column, row].map(|i| (i as f64 + 0.5) * f64::from(CELL));
            single(f64::from(ONE) * full / libm::exp(surface.at(place_of(self.size, at)) + offset))
        })
    }
}

/// A place of the picture, px, as −1 to 1 from side to side.
fn place_of(size: (u32, u32), at: [f64; 2]) -> [f64; 2] {
    [2.0 * at[0] / f64::from(size.0.max(1)) - 1.0, 2.0 * at[1] / f64::from(size.1.max(1)) - 1.0]
}

/// Centre of a sub-area, px; of what is left of it at the sides of the picture.
fn centre(cells: &Cells, size: (u32, u32), index: usize) -> [f64; 2] {
    let middle = |i: usize, whole: u32| {
        let low = i as f64 * f64::from(cells.side);
        0.5 * (low + (low + f64::from(cells.side)).min(f64::from(whole)))
    };
    [middle(index % cells.across, size.0), middle(index / cells.across, size.1)]
}

/// The level at which pixels crowd: the mean over the fewest bins that hold two fifths of them. Bins are even in the square root of the level,
/// on which shot noise is the same at every level. 0 of nothing.
fn crowd(histogram: &[u32; BINS]) -> f64 {
    let wanted = CROWD * histogram.iter().map(|&c| f64::from(c)).sum::<f64>();
    let (mut low, mut held, mut best) = (0, 0.0, (BINS + 1, 0.0, 0, 0));
    for high in 0..BINS {
        held += f64::from(histogram[high]);
        while held - f64::from(histogram[low]) >= wanted && low < high {
            held -= f64::from(histogram[low]);
            low += 1;
        }
        let width = high - low + 1;
        if held >= wanted && (width < best.0 || width == best.0 && held > best.1) {
            best = (width, held, low, high);
        }
    }
    let (_, held, low, high) = best;
    if held <= 0.0 { 0.0 } else { (low..=high).map(|b| f64::from(histogram[b]) * middle(b)).sum::<f64>() / held }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small numbers that are not negative")]
fn pixels_up(number: f64) -> usize {
    number.ceil() as usize
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small numbers that are not negative")]
fn pixels_down(number: f64) -> usize {
    number as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_crowd_at_the_film_and_not_at_what_lies_in_it() {
        let mut histogram = [0u32; BINS];
        assert!(crowd(&histogram).abs() < 1e-12);
        // Film around bin 200, bare places at 300, particles spread below.
        for (bin, count) in [(199, 200), (200, 300), (201, 200), (300, 390)].into_iter().chain((50..150).map(|b| (b, 3))) {
            histogram[bin] = count;
        }
        assert!((crowd(&histogram) / middle(200) - 1.0).abs() < 0.01);
    }

    #[test]
    fn places_run_from_side_to_side() {
        let near = |found: [f64; 2], wanted: [f64; 2]| (0..2).all(|k| (found[k] - wanted[k]).abs() < 1e-12);
        assert!(near(place_of((200, 100), [0.0, 100.0]), [-1.0, 1.0]));
        let cells = Cells { side: 64, across: 4, counts: Vec::new() };
        assert!(near(centre(&cells, (200, 100), 0), [32.0, 32.0]) && near(centre(&cells, (200, 100), 7), [196.0, 82.0]));
    }
}
