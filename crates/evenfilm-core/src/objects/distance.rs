//! Distance maps.

/// Squared Euclidean distance of every cell to the nearest cell that is not `inside`; cells beyond the map count as inside. Exact
/// (A. Meijster, J. Roerdink & W. Hesselink 2000, Mathematical Morphology and its Applications to Image and Signal Processing, 331).
/// 2³¹ − 2 where nothing is outside, or only what lies 2¹⁵ − 1 rows away or more; no distance is put larger.
pub fn distance_squared(inside: &[bool], width: usize) -> Vec<u32> {
    let mut distance = Distance::default();
    distance.squared(inside, width);
    distance.squared
}

/// Buffers of a map, kept from one to the next.
#[derive(Default)]
pub(crate) struct Distance {
    /// Distance along the column.
    column: Vec<i16>,
    since: Vec<i16>,
    near: Near,
    squared: Vec<u32>,
}

/// A squared distance that stands for none, and anything beyond it.
const FARTHEST: u32 = (1 << 31) - 2;

/// A distance along a column that stands for none, and anything beyond it.
const FAR: i16 = i16::MAX;

/// Up to this distance along the column, looking at the cells beside is faster than the envelope. Twice its square must fit 16 bits.
const NEAR: i16 = 64;

impl Distance {
    /// The same as [`distance_squared`].
    pub(crate) fn squared(&mut self, inside: &[bool], width: usize) -> &[u32] {
        let width = width.max(1);
        // Along columns first, row after row so that neighbours are worked on together.
        self.column.resize(inside.len(), FAR);
        self.since.clear();
        self.since.resize(width, FAR);
        for (inside, column) in inside.chunks_exact(width).zip(self.column.chunks_exact_mut(width)) {
            for ((since, &inside), out) in self.since.iter_mut().zip(inside).zip(column) {
                *since = if inside { since.saturating_add(1) } else { 0 };
                *out = *since;
            }
        }
        self.since.fill(FAR);
        for column in self.column.chunks_exact_mut(width).rev() {
            for (since, out) in self.since.iter_mut().zip(column) {
                *since = since.saturating_add(1).min(*out);
                *out = *since;
            }
        }
        self.squared.resize(inside.len(), FARTHEST);
        for (row, out) in self.column.chunks_exact(width).zip(self.squared.chunks_exact_mut(width)) {
            if row.iter().fold(0, |most, &g| most.max(g)) <= NEAR {
                self.near.squared(row, out);
            } else {
                lower_envelope(row, out);
            }
        }
        &self.squared
    }
}

/// Buffers of a row all of whose distances along the column are short.
#[derive(Default)]
struct Near {
    /// Their squares, with cells around that are far.
    column: Vec<i16>,
    /// The least so far, and zeros up to a whole number of vectors.
    least: Vec<i16>,
}

impl Near {
    /// For every x the least of (x − i)² + g(i)², from the cells around x outwards: a step away for the whole row at once, in whole vectors of
    /// short numbers.
    fn squared(&mut self, g: &[i16], out: &mut [u32]) {
        const AROUND: usize = NEAR.cast_unsigned() as usize;
        const BEYOND: i16 = 1 << 14;
        const LANES: usize = 16;
        let count = g.len().next_multiple_of(LANES);
        self.least.clear();
        self.least.extend(g.iter().map(|g| g * g));
        self.column.clear();
        self.column.resize(AROUND, BEYOND);
        self.column.extend_from_slice(&self.least);
        self.column.resize(count + 2 * AROUND, BEYOND);
        self.least.resize(count, 0);
        let mut farthest = self.least.iter().fold(0, |most, &d| most.max(d));
        for away in 1..=AROUND {
            let step = i16::try_from(away * away).unwrap_or(BEYOND);
            if step >= farthest {
                break;
            }
            let [left, right] = [AROUND - away, AROUND + away].map(|from| &self.column[from..from + count]);
            farthest = 0;
            for ((least, left), right) in self.least.iter_mut().zip(left).zip(right) {
                *least = (*least).min(*left.min(right) + step);
                farthest = farthest.max(*least);
            }
        }
        for (out, least) in out.iter_mut().zip(&self.least) {
            *out = u32::from(least.cast_unsigned());
        }
    }
}

/// For every x the least of (x − i)² + g(i)² over the columns i whose g is not far: the lower envelope of parabolas.
fn lower_envelope(g: &[i16], out: &mut [u32]) {
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
        *d = stack.get(k).map_or(FARTHEST, |&(i, _)| {
            let squared = (x.abs_diff(i) as u64).pow(2) + u64::from(g[i].unsigned_abs()).pow(2);
            u32::try_from(squared).unwrap_or(FARTHEST).min(FARTHEST)
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phases::count32;

    #[test]
    fn distance_agrees_with_the_naive_one() {
        let mut state = 9u64;
        for case in 0..40usize {
            // Rows of less and more than a vector, distances along columns that are short and long, and cells outside that are rare.
            let (width, height) = if case % 8 == 7 { (3 + case, 2 * case + 3) } else { (1 + case % 9 * (1 + case % 5), 1 + case / 5) };
            let share = [5, 5, 60, 900][case % 4];
            let inside: Vec<bool> = (0..width * height)
                .map(|_| {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    !(state >> 40).is_multiple_of(share)
                })
                .collect();
            let found = distance_squared(&inside, width);
            for (i, &distance) in found.iter().enumerate() {
                let to = |j: usize| count32((i % width).abs_diff(j % width).pow(2) + (i / width).abs_diff(j / width).pow(2));
                let naive = (0..inside.len()).filter(|&j| !inside[j]).map(to).min().unwrap_or(FARTHEST);
                assert_eq!(distance, naive, "case {case} cell {i}");
            }
        }
    }
}
