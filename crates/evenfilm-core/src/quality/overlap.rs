//! Fields that show one place of a slide, told from where their objects lie and how large they are.
//!
//! Of each field the largest objects that the frame does not cut are taken. Two objects of two fields that are about as large may be the same;
//! if the fields overlap, many such pairs lie apart by the same shift, and chance pairs by all kinds. The shifts that most pairs agree on are
//! tried: where half of the objects that should be seen in both fields are, and enough of them that chance cannot do it, the fields overlap.

use rayon::prelude::*;

use crate::field::FieldResult;
use crate::objects::Object;
use crate::recipe::Kind;

/// Objects of a field that are looked at.
const MOST_OBJECTS: usize = 200;
/// Diameters of one object in two pictures agree to this.
const SIZE: f64 = 0.04;
/// Its places agree to this, px.
const PLACE_PX: f64 = 2.0;
/// Shifts are first counted in squares of this side, px.
const SIDE: f64 = 4.0;
/// Pairs that must agree on a square for its shift to be tried.
const LEAST_VOTES: usize = 3;
/// Objects that must be found again.
const LEAST_MATCHES: usize = 6;
/// The share of those that should be.
const LEAST_SHARE: f64 = 0.5;
/// Shifts that are tried for two fields.
const MOST_SHIFTS: usize = 6;
/// Expected number of chance finds over all shifts of two fields that is taken to be none.
const CHANCE: f64 = 1e-7;

/// Two fields that show one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Overlap {
    /// Place of the earlier field among those looked at.
    pub earlier: usize,
    /// Place of the later one.
    pub later: usize,
    /// Where the upper left corner of the later field lies in the earlier one, px.
    pub shift_px: [f64; 2],
    /// The share of the field that both show, 0 to 1.
    pub share: f64,
}

/// The share of a field of this size that one shifted by so much shows too.
pub fn shared(size: (u32, u32), shift_px: [f64; 2]) -> f64 {
    let along = |shift: f64, end: u32| (1.0 - shift.abs() / f64::from(end.max(1))).max(0.0);
    along(shift_px[0], size.0) * along(shift_px[1], size.1)
}

/// All pairs of fields of one objective that show one place, in their order. Fields of different sizes are no pair, and `pair` says which
/// others are not to be asked. Shifts only: a slide that was turned between two pictures is not found.
pub fn overlaps(fields: &[FieldResult], pair: impl Fn(usize, usize) -> bool + Sync) -> Vec<Overlap> {
    let looks: Vec<Vec<Point>> = fields.par_iter().map(points).collect();
    let pairs: Vec<(usize, usize)> =
        (0..fields.len()).flat_map(|later| (0..later).map(move |earlier| (earlier, later))).filter(|&(a, b)| pair(a, b)).collect();
    let found = pairs.into_par_iter().filter_map(|(earlier, later)| {
        let size = fields[earlier].size;
        let shift_px = if size == fields[later].size { shift(&looks[earlier], &looks[later], size)? } else { return None };
        Some(Overlap { earlier, later, shift_px, share: shared(size, shift_px) })
    });
    found.collect()
}

/// An object as the match sees it.
#[derive(Clone, Copy, Debug)]
struct Point {
    at: [f64; 2],
    /// Logarithm of the diameter.
    size: f64,
}

/// The largest objects of a field, smallest first. Dust moves with the camera, not with the slide.
fn points(field: &FieldResult) -> Vec<Point> {
    let fit = |o: &&Object| !o.touches_frame && o.told.kind != Kind::Dust;
    let point = |o: &Object| Point { at: o.centroid_px, size: 0.5 * libm::log(o.area_px2[1]) };
    let mut points: Vec<Point> = field.objects.iter().filter(fit).map(point).collect();
    let larger_first = |a: &Point, b: &Point| b.size.total_cmp(&a.size).then(a.at[1].total_cmp(&b.at[1])).then(a.at[0].total_cmp(&b.at[0]));
    if points.len() > MOST_OBJECTS {
        points.select_nth_unstable_by(MOST_OBJECTS, larger_first);
        points.truncate(MOST_OBJECTS);
    }
    points.sort_unstable_by(larger_first);
    points.reverse();
    points
}

/// The shift between two fields, where they show one place.
fn shift(a: &[Point], b: &[Point], size: (u32, u32)) -> Option<[f64; 2]> {
    let shifts = shifts(a, b);
    let mut squares = agreeing(&shifts);
    squares.sort_unstable();
    let mut counts: Vec<([i32; 2], usize)> =
        squares.chunk_by(|a, b| a == b).map(|same| (same[0], same.len())).filter(|(_, count)| *count >= LEAST_VOTES).collect();
    counts.sort_unstable_by_key(|(square, count)| (std::cmp::Reverse(*count), *square));
    counts.truncate(MOST_SHIFTS);
    counts.into_iter().find_map(|([x, y], _)| {
        let middle = [x, y].map(|k| (f64::from(k) + 0.5) * SIDE);
        // A cluster may lie over the border of its square.
        let near: Vec<[f64; 2]> =
            shifts.iter().filter(|s| (s[0] - middle[0]).abs() <= SIDE && (s[1] - middle[1]).abs() <= SIDE).copied().collect();
        let guess = [0, 1].map(|k| crate::statistics::median(near.iter().map(|s| s[k]).collect()));
        is_one_place((a, b), guess, size, shifts.len()).then_some(guess)
    })
}

/// The squares of those shifts that may agree with others: a small table counts them under a number that few share by chance, which is
/// faster than sorting all.
fn agreeing(shifts: &[[f64; 2]]) -> Vec<[i32; 2]> {
    const PLACES: usize = 1 << 14;
    #[expect(clippy::cast_possible_truncation, reason = "pictures are far smaller than 2³¹ squares across")]
    let square = |s: &[f64; 2]| s.map(|k| (k / SIDE + 0.5 * f64::from(1 << 24)) as i32 - (1 << 23));
    let place = |[x, y]: [i32; 2]| (x.wrapping_mul(0x9E37).wrapping_add(y.wrapping_mul(0x3C6F)) & 0x3FFF).unsigned_abs() as usize;
    let squares: Vec<[i32; 2]> = shifts.iter().map(square).collect();
    let mut votes = vec![0u16; PLACES];
    for at in &squares {
        let vote = &mut votes[place(*at)];
        *vote = vote.saturating_add(1);
    }
    squares.into_iter().filter(|at| usize::from(votes[place(*at)]) >= LEAST_VOTES).collect()
}

/// The shifts of all pairs of objects that are about as large.
fn shifts(a: &[Point], b: &[Point]) -> Vec<[f64; 2]> {
    let (mut from, mut out) = (0, Vec::new());
    for p in a {
        while from < b.len() && b[from].size < p.size - SIZE {
            from += 1;
        }
        out.extend(b[from..].iter().take_while(|q| q.size <= p.size + SIZE).map(|q| [p.at[0] - q.at[0], p.at[1] - q.at[1]]));
    }
    out
}

/// Whether enough objects of both fields are found again at this shift.
fn is_one_place((a, b): (&[Point], &[Point]), shift: [f64; 2], size: (u32, u32), tried: usize) -> bool {
    let frame = [f64::from(size.0), f64::from(size.1)];
    let moved = |p: &Point, by: f64| [0, 1].map(|k| p.at[k] + by * shift[k]);
    let within = |at: [f64; 2]| (0..2).all(|k| at[k] > PLACE_PX && at[k] < frame[k] - PLACE_PX);
    // The smallest that either list holds may have just missed the other.
    let least = a.first().zip(b.first()).map_or(0.0, |(a, b)| a.size.max(b.size)) + SIZE;
    let expected = |of: &[Point], by: f64| of.iter().filter(|p| p.size >= least && within(moved(p, by))).count();
    let expected = expected(a, -1.0).min(expected(b, 1.0));
    let mut matches = 0;
    let mut from = 0;
    for p in a {
        while from < b.len() && b[from].size < p.size - SIZE {
            from += 1;
        }
        let near = |q: &Point| (0..2).all(|k| (moved(q, 1.0)[k] - p.at[k]).abs() <= PLACE_PX);
        matches += usize::from(b[from..].iter().take_while(|q| q.size <= p.size + SIZE).any(near));
    }
    // Pairs as large as each other are `tried` in all; this share of them falls into the square by chance.
    let square = (2.0 * PLACE_PX + 1.0) * (2.0 * PLACE_PX + 1.0) / (frame[0] * frame[1]);
    let by_chance = tried as f64 * square;
    matches >= LEAST_MATCHES && matches as f64 >= LEAST_SHARE * expected as f64 && tried as f64 * tail(by_chance, matches) < CHANCE
}

/// Probability, or a little more, that a Poisson variable of this mean is at least `n`: the first term over 1 less the ratio of the next.
fn tail(mean: f64, n: usize) -> f64 {
    let n = n as f64;
    if mean >= n {
        return 1.0;
    }
    libm::exp(n * libm::log(mean.max(f64::MIN_POSITIVE)) - mean - libm::lgamma(n + 1.0)) / (1.0 - mean / (n + 1.0))
}

/// Whether two fields that have this share in common hold enough objects that [`overlaps`] would find them again.
pub fn decides(fields: [&FieldResult; 2], share: f64) -> bool {
    let [a, b] = fields.map(|field| points(field).len() as f64 * share);
    a.min(b) >= (3 * LEAST_MATCHES) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Source;

    const SIZE_PX: (u32, u32) = (4000, 3000);

    /// The largest of some objects of a film; of those within the field, with errors of a tenth of a pixel and 1 % of the diameter that
    /// are new for each picture.
    fn seen(film: &[Point], corner: [f64; 2], picture: u64) -> Vec<Point> {
        let errors = Source::new(3, picture);
        let frame = [f64::from(SIZE_PX.0), f64::from(SIZE_PX.1)];
        let at = |p: &Point| [0, 1].map(|k| p.at[k] - corner[k]);
        let within = |p: &Point| (0..2).all(|k| at(p)[k] > 8.0 && at(p)[k] < frame[k] - 8.0);
        let mut points: Vec<Point> = (0..)
            .zip(film)
            .filter(|(_, p)| within(p))
            .map(|(i, p)| {
                let ([dx, dy], [ds, _]) = (errors.normals(2 * i), errors.normals(2 * i + 1));
                Point { at: [at(p)[0] + 0.1 * dx, at(p)[1] + 0.1 * dy], size: p.size + 0.01 * ds }
            })
            .collect();
        points.sort_by(|a, b| b.size.total_cmp(&a.size));
        points.truncate(MOST_OBJECTS);
        points.reverse();
        points
    }

    /// A film of 30 000 objects on 8000 × 9000 px, log-normal with a geometric standard deviation of 1.4; `crowded` ones lie in clouds.
    fn film(seed: u64, crowded: bool) -> Vec<Point> {
        let random = Source::new(seed, 1);
        let anywhere = |k: u64| [8000.0 * random.uniform(2 * k), 9000.0 * random.uniform(2 * k + 1)];
        let one = |i: u64| {
            let ([size, _], [a, b]) = (random.normals(3 * i + 1), random.normals(3 * i + 2));
            let cloud = anywhere((1 << 40) + i % 60);
            let at = if crowded { [cloud[0] + 150.0 * a, cloud[1] + 150.0 * b] } else { anywhere(i) };
            Point { at, size: 2.0 + 0.34 * size }
        };
        (0..30_000).map(one).collect()
    }

    #[test]
    fn a_tenth_in_common_is_found_and_nothing_else() {
        let mut wrong = [0, 0, 0];
        for i in 0..120u16 {
            let (seed, crowded) = (u64::from(i), i % 4 == 3);
            let film = film(seed, crowded);
            // From all of it down to a tenth, to all sides.
            let share = [1.0, 0.7, 0.4, 0.2, 0.1][usize::from(i) % 5];
            let along = Source::new(9, seed).uniform(0);
            let shares = [libm::pow(share, along), libm::pow(share, 1.0 - along)];
            let shift = [4000.0 * (1.0 - shares[0]), 3000.0 * (1.0 - shares[1]) * if i % 2 == 0 { 1.0 } else { -1.0 }];
            let a = seen(&film, [0.0, 3000.0], 1);
            let b = seen(&film, [shift[0], 3000.0 + shift[1]], 2);
            match super::shift(&a, &b, SIZE_PX) {
                Some(found) => wrong[1] += usize::from((0..2).any(|k| (found[k] - shift[k]).abs() > 0.5)),
                None => wrong[0] += 1,
            }
            let other = seen(&super::tests::film(1000 + seed, crowded), [0.0, 3000.0], 3);
            wrong[2] += usize::from(super::shift(&a, &other, SIZE_PX).is_some());
        }
        // Missed, misplaced, invented.
        assert!(wrong[0] <= 3 && wrong[1..] == [0, 0], "{wrong:?}");
    }

    #[test]
    fn the_tail_of_a_poisson_count() {
        // scipy 1.17.1 poisson.sf(n - 1, mean).
        for (mean, n, p) in [(0.5, 6, 1.416_493_732_234_249_5e-5), (1.5, 16, 7.678_825_671_260_364e-12), (4.0, 5, 0.371_163_064_820_126_6)]
        {
            assert!(tail(mean, n) >= p * (1.0 - 1e-9) && tail(mean, n) < 1.6 * p, "{mean} {n}: {}", tail(mean, n));
        }
    }
}
