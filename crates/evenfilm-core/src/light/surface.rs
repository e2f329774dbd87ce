//! Smooth surfaces through scattered values, of which a good part may be wrong.
//!
//! The logarithm of the light is a sum of products of Legendre polynomials of low degree, found by least squares with Tukey's bisquare
//! weights (Beaton & Tukey 1974). Higher terms are held near nothing as far as the values leave them open, as a prior of stated width.

use crate::statistics::median;

/// A place in the picture, −1 to 1 from side to side, and a value there, of one of some groups that differ by a constant. Group 0 is as uneven
/// as its values show, group 1 is even: what lies off it is a fault of the surface.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    pub(super) place: [f64; 2],
    pub(super) value: f64,
    pub(super) group: usize,
}

/// A surface, and how far each group of values lies above it.
#[derive(Clone, Debug)]
pub(super) struct Surface {
    degree: usize,
    terms: Vec<f64>,
    /// Constants of the groups.
    pub(super) offset: Vec<f64>,
}

/// Expected size of the terms of degree 1 and 2, and of higher ones: the logarithm of a light that falls by half towards a side or the
/// corners has terms of 0.25 and 0.03.
const PRIOR: [f64; 2] = [0.3, 0.03];

/// Largest degree.
const MOST: usize = 4;

/// Values are never trusted to better than this.
const LEAST_SPREAD: f64 = 0.003;

/// Spread that the even group is taken to have. By its own, a few even values would never draw the surface to them against many uneven ones.
const EVEN_SPREAD: f64 = 0.005;

const ROUNDS: usize = 12;

/// Bisquare weights end at so many deviations (95 % efficiency for normal errors). A deviation is taken as [`LEAST_WRONG`] at least, so that few
/// very even values of one corner do not shut out those of another.
const REACH: f64 = 4.685;
const LEAST_WRONG: f64 = 0.02;

impl Surface {
    /// The degree that so many values bear.
    pub(super) const fn degree_for(values: usize) -> usize {
        match values {
            0..4 => 0,
            4..9 => 1,
            9..30 => 2,
            _ => MOST,
        }
    }

    /// Value at a place, without the constants of the groups.
    pub(super) fn at(&self, place: [f64; 2]) -> f64 {
        terms(self.degree, place).iter().zip(&self.terms).map(|(a, c)| a * c).sum()
    }

    /// The surface whose steps between neighbours fit most of theirs: `pairs` are indices of neighbouring points. Jumps between groups, which
    /// need not be known, are few beside them.
    pub(super) fn by_steps(points: &[Point], pairs: &[(usize, usize)], degree: usize) -> Self {
        let mut rows = Rows::new(degree, 0);
        for &(a, b) in pairs {
            let (from, to) = (terms(degree, points[a].place), terms(degree, points[b].place));
            rows.push(from.iter().zip(&to).map(|(f, t)| t - f), points[b].value - points[a].value, 0);
        }
        Self { degree, terms: rows.solve(), offset: Vec::new() }
    }

    /// The surface through points of `groups` groups.
    pub(super) fn through(points: &[Point], groups: usize, degree: usize) -> Self {
        let mut rows = Rows::new(degree, groups);
        for point in points {
            let own = (0..groups).map(|g| if g == point.group { 1.0 } else { 0.0 });
            rows.push(terms(degree, point.place).into_iter().chain(own), point.value, point.group);
        }
        let mut terms = rows.solve();
        let offset = terms.split_off(terms.len() - groups);
        Self { degree, terms, offset }
    }
}

/// Products of Legendre polynomials of the two coordinates, of degree 1 to `degree` together.
fn terms(degree: usize, place: [f64; 2]) -> Vec<f64> {
    let [u, v] = place.map(|x| {
        let x2 = x * x;
        [1.0, x, 1.5 * x2 - 0.5, (2.5 * x2 - 1.5) * x, (4.375 * x2 - 3.75) * x2 + 0.375]
    });
    (1..=degree).flat_map(|d| (0..=d).map(move |i| u[i] * v[d - i])).collect()
}

/// Equations of a fit.
struct Rows {
    prior: Vec<f64>,
    groups: usize,
    left: Vec<f64>,
    right: Vec<f64>,
    group: Vec<usize>,
}

impl Rows {
    fn new(degree: usize, groups: usize) -> Self {
        let one = |d: usize| 1.0 / (PRIOR[usize::from(d > 2)] * PRIOR[usize::from(d > 2)]);
        let mut prior: Vec<f64> = (1..=degree).flat_map(|d| std::iter::repeat_n(one(d), d + 1)).collect();
        // Constants are free; a trace keeps the equations of a group without values solvable.
        prior.extend(std::iter::repeat_n(1e-9, groups));
        Self { prior, groups, left: Vec::new(), right: Vec::new(), group: Vec::new() }
    }

    fn push(&mut self, left: impl Iterator<Item = f64>, right: f64, group: usize) {
        self.left.extend(left);
        self.right.push(right);
        self.group.push(group);
    }

    /// Least squares, weighted anew in each round by what the round before left over.
    fn solve(&self) -> Vec<f64> {
        let n = self.prior.len();
        if n == 0 {
            return Vec::new();
        }
        let mut found = vec![0.0; n];
        for g in 0..self.groups {
            let values = self.right.iter().zip(&self.group).filter(|(_, own)| **own == g).map(|(y, _)| *y).collect();
            found[n - self.groups + g] = median(values);
        }
        for _ in 0..ROUNDS {
            let rows = || self.left.chunks_exact(n).zip(&self.right).zip(&self.group);
            let left_over: Vec<f64> = rows().map(|((a, y), _)| y - a.iter().zip(&found).map(|(a, c)| a * c).sum::<f64>()).collect();
            let spread: Vec<f64> = (0..self.groups.max(1))
                .map(|g| {
                    let own = left_over.iter().zip(&self.group).filter(|(_, own)| **own == g).map(|(r, _)| r.abs()).collect();
                    (1.4826 * median(own)).max(LEAST_SPREAD)
                })
                .collect();
            let mut matrix = vec![0.0; n * n];
            let mut vector = vec![0.0; n];
            for (i, p) in self.prior.iter().enumerate() {
                matrix[i * n + i] = *p;
            }
            for (((a, y), &g), r) in rows().zip(&left_over) {
                let out = r / (REACH * spread[g].max(LEAST_WRONG));
                let share = (1.0 - out * out).max(0.0);
                let own = if g == 0 { spread[g] } else { spread[g].min(EVEN_SPREAD) };
                let weight = share * share / (own * own);
                for i in 0..n {
                    vector[i] += weight * a[i] * y;
                    for j in 0..=i {
                        matrix[i * n + j] += weight * a[i] * a[j];
                    }
                }
            }
            found = cholesky(matrix, vector);
        }
        found
    }
}

/// Solves a symmetric positive definite system of which the lower half is given.
fn cholesky(mut matrix: Vec<f64>, mut vector: Vec<f64>) -> Vec<f64> {
    let n = vector.len();
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| matrix[i * n + k] * matrix[j * n + k]).sum();
            let rest = matrix[i * n + j] - dot;
            matrix[i * n + j] = if i == j { rest.max(1e-12).sqrt() } else { rest / matrix[j * n + j] };
        }
        let dot: f64 = (0..i).map(|k| matrix[i * n + k] * vector[k]).sum();
        vector[i] = (vector[i] - dot) / matrix[i * n + i];
    }
    for i in (0..n).rev() {
        let dot: f64 = (i + 1..n).map(|k| matrix[k * n + i] * vector[k]).sum();
        vector[i] = (vector[i] - dot) / matrix[i * n + i];
    }
    vector
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tilted light with vignette on a grid, every third value another group's, a tenth of them wrong.
    fn points(jump: f64) -> (Vec<Point>, Vec<(usize, usize)>) {
        let at = |i: usize| f64::from(u32::try_from(i).unwrap()) / 9.5 - 1.0;
        let light = |u: f64, v: f64| libm::log((1.0 + 0.1 * u + 0.05 * v) * (1.0 - 0.15 * (u * u + v * v)));
        let points = (0..400)
            .map(|i| {
                let (u, v) = (at(i % 20), at(i / 20));
                let group = usize::from(u * u + v * v < 0.5);
                let wrong = if i % 11 == 0 { -1.3 } else { 0.0 };
                Point { place: [u, v], value: light(u, v) + if group == 1 { jump } else { 0.0 } + wrong, group }
            })
            .collect();
        let right = (0..400).filter(|i| i % 20 < 19).map(|i| (i, i + 1));
        (points, right.chain((0..380).map(|i| (i, i + 20))).collect())
    }

    #[test]
    fn light_is_found_through_jumps_and_wrong_values() {
        let (points, pairs) = points(0.8);
        let light = |p: [f64; 2]| libm::log((1.0 + 0.1 * p[0] + 0.05 * p[1]) * (1.0 - 0.15 * (p[0] * p[0] + p[1] * p[1])));
        let by_steps = Surface::by_steps(&points, &pairs, 2);
        let through = Surface::through(&points, 2, 4);
        assert!((through.offset[1] - through.offset[0] - 0.8).abs() < 0.002, "{:?}", through.offset);
        for (surface, allowed) in [(&by_steps, 0.03), (&through, 0.003)] {
            let base = surface.at([0.0, 0.0]);
            for place in [[-1.0, -1.0], [1.0, 1.0], [1.0, -1.0], [0.3, -0.6]] {
                let off = surface.at(place) - base - light(place);
                assert!(off.abs() < allowed, "{place:?}: {off}");
            }
        }
    }

    #[test]
    fn few_values_give_a_flat_light() {
        let one = [Point { place: [0.0, 0.0], value: 3.0, group: 0 }];
        let flat = Surface::through(&one, 1, Surface::degree_for(1));
        assert!((flat.offset[0] - 3.0).abs() < 1e-6 && flat.at([1.0, 1.0]).abs() < 1e-12);
    }
}
