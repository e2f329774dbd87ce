//! Distance maps.

/// Squared Euclidean distance of every cell to the nearest cell that is not `inside`; cells beyond the map count as inside. Exact
/// (A. Meijster, J. Roerdink & W. Hesselink 2000, Mathematical Morphology and its Applications to Image and Signal Processing, 331).
/// `u64::MAX` where nothing is outside.
pub fn distance_squared(inside: &[bool], width: usize) -> Vec<u64> {
    let mut distance = Distance::default();
    distance.squared(inside, width);
    distance.squared
}

/// Buffers of a map, kept from one to the next.
#[derive(Default)]
pub(crate) struct Distance {
    /// Distance along the column.
    column: Vec<u32>,
    since: Vec<u32>,
    squared: Vec<u64>,
}

/// A distance along a column that stands for none, and anything beyond it.
const FAR: u32 = 1 << 30;

/// Up to this distance along the column, looking at the cells beside is faster than the envelope.
const NEAR: u32 = 24;

impl Distance {
    /// The same as [`distance_squared`].
    pub(crate) fn squared(&mut self, inside: &[bool], width: usize) -> &[u64] {
        let width = width.max(1);
        // Along columns first, row after row so that neighbours are worked on together.
        self.column.clear();
        self.column.resize(inside.len(), FAR);
        self.since.clear();
        self.since.resize(width, FAR);
        for (inside, column) in inside.chunks_exact(width).zip(self.column.chunks_exact_mut(width)) {
            for ((since, &inside), out) in self.since.iter_mut().zip(inside).zip(column) {
                *since = if inside { *since + 1 } else { 0 };
                *out = *since;
            }
        }
        self.since.fill(FAR);
        for column in self.column.chunks_exact_mut(width).rev() {
            for (since, out) in self.since.iter_mut().zip(column) {
                *since = (*since + 1).min(*out);
                *out = *since;
            }
        }
        self.squared.clear();
        self.squared.resize(inside.len(), u64::MAX);
        for (row, out) in self.column.chunks_exact(width).zip(self.squared.chunks_exact_mut(width)) {
            if row.iter().all(|&g| g <= NEAR) {
                near_cells(row, out);
            } else {
                lower_envelope(row, out);
            }
        }
        &self.squared
    }
}

/// For every x the least of (x − i)² + g(i)², from the cells around x outwards.
fn near_cells(g: &[u32], out: &mut [u64]) {
    for (x, out) in out.iter_mut().enumerate() {
        let mut least = g[x] * g[x];
        let mut d = 1;
        while d * d < least {
            let away = d as usize;
            if x >= away {
                least = least.min(d * d + g[x - away] * g[x - away]);
            }
            if x + away < g.len() {
                least = least.min(d * d + g[x + away] * g[x + away]);
            }
            d += 1;
        }
        *out = u64::from(least);
    }
}

/// For every x the least of (x − i)² + g(i)² over the columns i whose g is not far: the lower envelope of parabolas.
fn lower_envelope(g: &[u32], out: &mut [u64]) {
    let mut stack: Vec<(usize, i64)> = Vec::new();
    let height = |i: usize| i64::from(g[i]) * i64::from(g[i]);
    let place = |i: usize| i64::try_from(i).unwrap_or(i64::MAX);
    for u in (0..g.len()).filter(|&u| g[u] < FAR) {
        let mut from = 0;
        while let Some(&(i, start)) = stack.last() {
            // First whole x at which the parabola of u lies below that of i.
            let (pu, pi) = (place(u), place(i));
            from = (pu * pu - pi * pi + height(u) - height(i)).div_euclid(2 * (pu - pi)) + 1;
            if from > start {
                break;
            }
            stack.pop();
            from = 0;
        }
        if stack.is_empty() {
            from = 0;
        }
        if from < place(g.len()) {
            stack.push((u, from.max(0)));
        }
    }
    let mut k = 0;
    for (x, d) in out.iter_mut().enumerate() {
        while k + 1 < stack.len() && stack[k + 1].1 <= place(x) {
            k += 1;
        }
        if let Some(&(i, _)) = stack.get(k) {
            *d = (x.abs_diff(i) as u64).pow(2) + u64::from(g[i]).pow(2);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distance_agrees_with_the_naive_one() {
        let mut state = 9u64;
        for case in 0..40usize {
            let (width, height) = (1 + case % 9, 1 + case / 5);
            let inside: Vec<bool> = (0..width * height)
                .map(|_| {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    !(state >> 40).is_multiple_of(5)
                })
                .collect();
            let found = distance_squared(&inside, width);
            for (i, &distance) in found.iter().enumerate() {
                let to = |j: usize| ((i % width).abs_diff(j % width).pow(2) + (i / width).abs_diff(j / width).pow(2)) as u64;
                let naive = (0..inside.len()).filter(|&j| !inside[j]).map(to).min().unwrap_or(u64::MAX);
                assert_eq!(distance, naive, "case {case} cell {i}");
            }
        }
    }
}
