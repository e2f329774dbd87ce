//! Basins of a distance map: how many rounded parts a mask has, and how large each is.
//!
//! The map is flooded from its peaks downwards. Where basins meet, a rule of peak and saddle says which stand apart; the others join the one
//! that does, or the highest. All that happens at one distance happens at once, and what lies between basins that stand apart is shared by
//! them in equal parts: so mirrors and quarter turns of a mask have the same basins, to the last bit.
//!
//! With the rule "the peak rises at least h above the saddle" the basins are the maxima of dynamics h (M. Grimaud 1992, Proc. SPIE 1769,
//! 292) and their cells the watershed's (L. Vincent & P. Soille 1991, IEEE PAMI 13, 583).

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::phases::count32;

/// One basin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Basin {
    /// Squared distance at its peak.
    pub peak2: u64,
    /// Number of its cells; those shared count in part.
    pub cells: f64,
    /// A cell at its peak.
    pub at: usize,
}

/// Label of a cell that is being looked at.
const OPEN: u32 = u32::MAX;
/// Labels from here on are those of shared cells.
const SHARED: u32 = 1 << 31;

/// Buffers of one thread.
#[derive(Default)]
pub struct Flood {
    /// The map, with a ring of cells around that are outside.
    map: Vec<Cell>,
    /// Steps from a cell to its neighbours.
    around: [isize; 8],
    /// The cells inside, row after row, and the farthest first.
    inside: Vec<u32>,
    order: Vec<u32>,
    before: Vec<u32>,
    grown: Vec<Grown>,
    shared: Vec<Shared>,
    stack: Vec<u32>,
    cells: Vec<u32>,
    /// For each of the cells the label that it touches: 0 none, [`OPEN`] several.
    beside: Vec<u32>,
    touched: Vec<u32>,
    plateaus: Vec<Plateau>,
}

/// A cell of the map: both numbers side by side, since they are looked at together.
#[derive(Clone, Copy, Default)]
struct Cell {
    /// Its squared distance.
    level: u32,
    label: u32,
}

/// A basin while it grows.
struct Grown {
    basin: Basin,
    /// The basin that it has joined; itself where it has not.
    parent: u32,
    /// Where it was divided between others: its place among the shared cells.
    divided: Option<u32>,
}

/// Cells that belong to several basins in equal parts.
struct Shared {
    by: Vec<u32>,
    cells: f64,
}

/// Connected cells of one distance, and the labels that they touch.
struct Plateau {
    cells: Range<usize>,
    touched: Range<usize>,
}

/// The neighbours of a cell.
struct Around {
    cells: [usize; 8],
    /// Those of its own distance that have no label yet, a bit each.
    same: u8,
    /// Least label less 1, and largest label but the open one.
    least: u32,
    most: u32,
}

impl Around {
    /// The label beside: 0 for none, [`OPEN`] for several.
    const fn beside(&self) -> u32 {
        if self.most == 0 || self.least == self.most - 1 { self.most } else { OPEN }
    }
}

impl Flood {
    /// The basins of squared distances (0 outside the mask), rows of `width`, in no particular order. `apart(peak, saddle)` gets distances
    /// and says whether a basin stands apart from what it meets.
    pub fn basins(&mut self, distance2: &[u64], width: usize, apart: impl Fn(f64, f64) -> bool) -> Vec<Basin> {
        self.begin(distance2, width);
        let mut k = 0;
        while k < self.order.len() {
            let level = self.map[self.order[k] as usize].level;
            self.cells.clear();
            self.beside.clear();
            self.touched.clear();
            self.plateaus.clear();
            while k < self.order.len() && self.map[self.order[k] as usize].level == level {
                let cell = self.order[k] as usize;
                if self.map[cell].label == 0 && !self.place_plain(cell) {
                    self.gather(cell);
                }
                k += 1;
            }
            if !self.plateaus.is_empty() {
                let saddle = f64::from(level).sqrt();
                self.meet(&|basin: &Basin| apart((basin.peak2 as f64).sqrt(), saddle));
                self.place();
            }
        }
        self.share_out();
        let across = width + 2;
        let inner = |cell: usize| (cell / across - 1) * width + cell % across - 1;
        let found = (0..).zip(&self.grown).filter(|(i, g)| g.parent == *i && g.divided.is_none());
        found.map(|(_, g)| Basin { at: inner(g.basin.at), ..g.basin }).collect()
    }

    /// The cells of the last map on the lines between basins, in order: those that several share, and of two neighbours in different basins the
    /// upper or left one. Basins that are not `kept` part nothing.
    pub fn lines(&mut self, width: usize, kept: impl Fn(&Basin) -> bool) -> Vec<usize> {
        let across = width + 2;
        let labels: BTreeSet<u32> = self.inside.iter().map(|&cell| self.map[cell as usize].label).collect();
        let mut basins_of = |label: u32| {
            self.touched.clear();
            self.touched.push(label);
            let mut roots = if label == 0 { Vec::new() } else { self.roots_of(0..1, |_| true) };
            roots.retain(|&root| kept(&self.grown[root as usize].basin));
            roots
        };
        let basins: BTreeMap<u32, Vec<u32>> = labels.into_iter().map(|label| (label, basins_of(label))).collect();
        let of = |cell: usize| basins.get(&self.map[cell].label).map_or(&[][..], Vec::as_slice);
        let parted = |cell: usize, next: usize| !of(next).is_empty() && of(cell) != of(next) && of(next).len() == 1;
        let on_line = |cell: &usize| match of(*cell) {
            [] => false,
            [_] => parted(*cell, cell + 1) || parted(*cell, cell + across),
            _ => true,
        };
        let inner = |cell: usize| (cell / across - 1) * width + cell % across - 1;
        self.inside.iter().map(|&cell| cell as usize).filter(on_line).map(inner).collect()
    }

    /// Puts a ring around the map and its cells in order.
    fn begin(&mut self, distance2: &[u64], width: usize) {
        let across = width + 2;
        let height = distance2.len().checked_div(width).unwrap_or(0);
        let row = across.cast_signed();
        self.around = [-row - 1, -row, 1 - row, -1, 1, row - 1, row, row + 1];
        self.map.clear();
        self.map.resize(across * (height + 2), Cell::default());
        self.inside.clear();
        for (y, row) in distance2.chunks_exact(width.max(1)).enumerate() {
            let start = (y + 1) * across + 1;
            for (x, &distance) in row.iter().enumerate().filter(|(_, distance)| **distance > 0) {
                self.map[start + x].level = u32::try_from(distance).unwrap_or(u32::MAX);
                self.inside.push(count32(start + x));
            }
        }
        self.grown.clear();
        self.shared.clear();
        self.sort();
    }

    /// Puts the cells inside in order, the farthest first: by counting where distances are few, as they are in a compact mask.
    fn sort(&mut self) {
        let level = |i: u32| self.map[i as usize].level;
        self.order.clear();
        let largest = self.inside.iter().map(|&i| level(i)).max().unwrap_or(0);
        if largest as usize > 4 * self.map.len() {
            self.order.extend_from_slice(&self.inside);
            self.order.sort_unstable_by_key(|&i| (std::cmp::Reverse(level(i)), i));
            return;
        }
        // Of the squared distances that are larger, how many cells there are.
        self.before.clear();
        self.before.resize(largest as usize + 2, 0);
        self.inside.iter().for_each(|&i| self.before[(largest - level(i)) as usize + 1] += 1);
        for k in 1..self.before.len() {
            self.before[k] += self.before[k - 1];
        }
        self.order.resize(self.inside.len(), 0);
        for &i in &self.inside {
            let next = &mut self.before[(largest - level(i)) as usize];
            self.order[*next as usize] = i;
            *next += 1;
        }
    }

    /// The neighbours of a cell.
    fn around(&self, cell: usize) -> [usize; 8] {
        self.around.map(|step| cell.wrapping_add_signed(step))
    }

    /// What lies around a cell, told without a branch a neighbour.
    #[inline]
    fn look(&self, cell: usize) -> Around {
        let here = self.map[cell].level;
        let mut around = Around { cells: self.around(cell), same: 0, least: u32::MAX, most: 0 };
        for (k, &near) in around.cells.iter().enumerate() {
            let Cell { level, label } = self.map[near];
            around.same |= (u8::from(label == 0) & u8::from(level == here)) << k;
            // No label comes out as the largest number here, and an open one as the largest but one.
            around.least = around.least.min(label.wrapping_sub(1));
            around.most = around.most.max(if label == OPEN { 0 } else { label });
        }
        around
    }

    /// The plain case: a cell without neighbours of its own distance that touches but one basin, which it joins, or none, so that it begins
    /// one. Nothing else at this distance touches it, so it need not wait for the others.
    fn place_plain(&mut self, cell: usize) -> bool {
        let around = self.look(cell);
        if around.same != 0 {
            return false;
        }
        match around.beside() {
            0 => {
                self.begin_basin(cell, 1.0);
                true
            }
            SHARED.. => false,
            one => match self.whole_basin(one) {
                Some(label) => {
                    self.map[cell].label = label;
                    true
                }
                None => false,
            },
        }
    }

    /// Begins a basin of so many cells with its peak at a cell; returns its label.
    fn begin_basin(&mut self, at: usize, cells: f64) -> u32 {
        let parent = count32(self.grown.len());
        let basin = Basin { peak2: u64::from(self.map[at].level), cells, at };
        self.grown.push(Grown { basin, parent, divided: None });
        self.map[at].label = parent + 1;
        parent + 1
    }

    /// Gathers the cells of one distance around a cell, and the labels that they touch.
    fn gather(&mut self, cell: usize) {
        let (cells, touched) = (self.cells.len(), self.touched.len());
        self.stack.push(count32(cell));
        self.map[cell].label = OPEN;
        let mut last = 0;
        while let Some(cell) = self.stack.pop() {
            let around = self.look(cell as usize);
            for k in (0..8).filter(|k| around.same >> k & 1 == 1) {
                self.map[around.cells[k]].label = OPEN;
                self.stack.push(count32(around.cells[k]));
            }
            let beside = around.beside();
            self.cells.push(cell);
            self.beside.push(beside);
            match beside {
                0 => {}
                OPEN => around.cells.iter().for_each(|&near| self.touch(touched, self.map[near].label)),
                // The usual case.
                label if label == last => {}
                label => {
                    last = label;
                    self.touch(touched, label);
                }
            }
        }
        self.plateaus.push(Plateau { cells: cells..self.cells.len(), touched: touched..self.touched.len() });
    }

    /// Adds a label to those touched from the place `from` on.
    fn touch(&mut self, from: usize, label: u32) {
        if !matches!(label, 0 | OPEN) && !self.touched[from..].contains(&label) {
            self.touched.push(label);
        }
    }

    /// Joins basins that meet at the gathered cells and do not stand apart.
    fn meet(&mut self, apart: &impl Fn(&Basin) -> bool) {
        // Meetings over a common lesser basin are one.
        let mut meetings: Vec<Vec<u32>> = Vec::new();
        for k in 0..self.plateaus.len() {
            if self.only_basin(self.plateaus[k].touched.clone()).is_some() {
                continue;
            }
            let mut roots = self.roots_of(self.plateaus[k].touched.clone(), |_| true);
            if roots.len() < 2 {
                continue;
            }
            let lesser = |i: &u32| !apart(&self.grown[*i as usize].basin);
            meetings.retain(|meeting| {
                let same = meeting.iter().any(|i| roots.contains(i) && lesser(i));
                if same {
                    let more: Vec<u32> = meeting.iter().copied().filter(|root| !roots.contains(root)).collect();
                    roots.extend(more);
                }
                !same
            });
            meetings.push(roots);
        }
        for mut roots in meetings {
            let peak = |i: u32| self.grown[i as usize].basin.peak2;
            let mut standing: Vec<u32> = roots.iter().copied().filter(|&i| apart(&self.grown[i as usize].basin)).collect();
            if standing.is_empty() {
                standing.extend(roots.iter().copied().reduce(|a, b| if peak(b) > peak(a) { b } else { a }));
            }
            roots.retain(|i| !standing.contains(i));
            for lesser in roots {
                let cells = self.grown[lesser as usize].basin.cells;
                if let [one] = standing[..] {
                    self.grown[lesser as usize].parent = one;
                    self.grown[one as usize].basin.cells += cells;
                } else {
                    self.grown[lesser as usize].divided = Some(count32(self.shared.len()));
                    self.shared.push(Shared { by: standing.clone(), cells });
                }
            }
        }
    }

    /// Gives the gathered cells to the basins that they touch; those that touch none begin one.
    fn place(&mut self) {
        for k in 0..self.plateaus.len() {
            let range = self.plateaus[k].cells.clone();
            let (first, cells) = (self.cells[range.start] as usize, range.len() as f64);
            if let Some(one) = self.only_basin(self.plateaus[k].touched.clone()) {
                self.grown[one as usize].basin.cells += cells;
                self.cells[range].iter().for_each(|&cell| self.map[cell as usize].label = one + 1);
                continue;
            }
            let roots = self.roots_of(self.plateaus[k].touched.clone(), |_| true);
            let label = match roots[..] {
                [] => self.begin_basin(first, cells),
                [one] => {
                    self.grown[one as usize].basin.cells += cells;
                    one + 1
                }
                _ => {
                    self.divide(k);
                    continue;
                }
            };
            for &cell in &self.cells[range] {
                self.map[cell as usize].label = label;
            }
        }
    }

    /// Gives the cells of a plateau that touches several basins to those nearest along it, one layer of neighbours after the other: the rim
    /// of a mask is one plateau, and each basin has the part of it that lies around it.
    fn divide(&mut self, k: usize) {
        let all = self.plateaus[k].cells.clone();
        let mut layer: Vec<(u32, u32)> = Vec::with_capacity(all.len());
        for i in all.clone() {
            let (cell, beside) = (self.cells[i], self.beside[i]);
            if beside == 0 {
                continue;
            }
            let label = if beside < SHARED { self.whole_basin(beside) } else { None };
            layer.push((cell, label.unwrap_or_else(|| self.label_beside(cell))));
        }
        let mut left = all.len();
        loop {
            left -= layer.len();
            for &(cell, label) in &layer {
                self.map[cell as usize].label = label;
            }
            if left == 0 || layer.is_empty() {
                return;
            }
            let mut next: Vec<u32> = Vec::new();
            for &(cell, _) in &layer {
                next.extend(self.around(cell as usize).into_iter().filter(|&near| self.map[near].label == OPEN).map(count32));
            }
            next.sort_unstable();
            next.dedup();
            layer.clear();
            for cell in next {
                let label = self.label_beside(cell);
                layer.push((cell, label));
            }
        }
    }

    /// Counts a cell to the basin that a label stands for, where that is undivided; returns its label.
    fn whole_basin(&mut self, label: u32) -> Option<u32> {
        let root = self.root(label - 1);
        let grown = &mut self.grown[root as usize];
        grown.divided.is_none().then(|| {
            grown.basin.cells += 1.0;
            root + 1
        })
    }

    /// Counts a cell to the basins that lie beside it, and returns its label. Shared cells are given on only where nothing else is touched.
    fn label_beside(&mut self, cell: u32) -> u32 {
        let before = self.touched.len();
        for near in self.around(cell as usize) {
            let label = self.map[near].label;
            if !matches!(label, 0 | OPEN) && !self.touched[before..].contains(&label) {
                self.touched.push(label);
            }
        }
        if let Some(one) = self.only_basin(before..self.touched.len()) {
            self.touched.truncate(before);
            self.grown[one as usize].basin.cells += 1.0;
            return one + 1;
        }
        let mut roots = self.roots_of(before..self.touched.len(), |shared| !shared);
        if roots.is_empty() {
            roots = self.roots_of(before..self.touched.len(), |_| true);
        }
        self.touched.truncate(before);
        if let [one] = roots[..] {
            self.grown[one as usize].basin.cells += 1.0;
            return one + 1;
        }
        self.shared.push(Shared { by: roots, cells: 1.0 });
        SHARED + count32(self.shared.len() - 1)
    }

    /// Adds shared cells to their basins.
    fn share_out(&mut self) {
        let shared = std::mem::take(&mut self.shared);
        for Shared { by, cells } in &shared {
            let mut roots: Vec<u32> = by.iter().map(|&basin| self.root(basin)).collect();
            roots.sort_unstable();
            roots.dedup();
            for &root in &roots {
                self.grown[root as usize].basin.cells += cells / roots.len() as f64;
            }
        }
        self.shared = shared;
    }

    /// The basin that all of the touched labels stand for, where that is one undivided basin: the usual case.
    fn only_basin(&mut self, touched: Range<usize>) -> Option<u32> {
        let mut only = None;
        for j in touched {
            let label = self.touched[j];
            let root = if label < SHARED { self.root(label - 1) } else { return None };
            if only.is_some_and(|only| only != root) || self.grown[root as usize].divided.is_some() {
                return None;
            }
            only = Some(root);
        }
        only
    }

    /// The basins that some of the touched labels stand for, of those that are wanted: shared or not.
    fn roots_of(&mut self, touched: Range<usize>, wanted: impl Fn(bool) -> bool) -> Vec<u32> {
        let mut roots = Vec::new();
        for j in touched {
            let label = self.touched[j];
            let own = if label < SHARED { Some(self.root(label - 1)) } else { None };
            let place = own.map_or(Some(label.wrapping_sub(SHARED)), |root| self.grown[root as usize].divided);
            if !wanted(place.is_some()) {
                continue;
            }
            let by = place.map_or_else(|| own.into_iter().collect(), |place| self.shared[place as usize].by.clone());
            for basin in by {
                let root = self.root(basin);
                if !roots.contains(&root) {
                    roots.push(root);
                }
            }
        }
        roots
    }

    fn root(&mut self, mut i: u32) -> u32 {
        while self.grown[i as usize].parent != i {
            let up = self.grown[self.grown[i as usize].parent as usize].parent;
            self.grown[i as usize].parent = up;
            i = up;
        }
        i
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::objects::distance_squared;
    use proptest::prelude::*;

    fn sorted(mut basins: Vec<Basin>) -> Vec<(u64, f64)> {
        basins.sort_by(|a, b| (a.peak2, a.cells).partial_cmp(&(b.peak2, b.cells)).unwrap());
        basins.iter().map(|b| (b.peak2, b.cells)).collect()
    }

    fn found(distance2: &[u64], width: usize, h: f64) -> Vec<(u64, f64)> {
        sorted(Flood::default().basins(distance2, width, |peak, saddle| peak - saddle >= h))
    }

    /// Maxima of dynamics h by their definition: a peak counts if every way to a higher place passes at least h below it. Of peaks of one
    /// height that are joined above that, one counts.
    fn by_definition(distance: &[f64], width: usize, h: f64) -> usize {
        let height = distance.len() / width;
        let mut counted: Vec<usize> = Vec::new();
        for start in 0..distance.len() {
            if distance[start] <= 0.0 {
                continue;
            }
            let floor = distance[start] - h;
            let mut seen = vec![false; distance.len()];
            let mut stack = vec![start];
            seen[start] = true;
            let mut stands = true;
            while let Some(i) = stack.pop() {
                // An earlier peak of the same height stands for both.
                if distance[i] > distance[start] || (distance[i].total_cmp(&distance[start]).is_eq() && i < start) {
                    stands = false;
                    break;
                }
                let (x, y) = (i % width, i / width);
                for row in y.saturating_sub(1)..(y + 2).min(height) {
                    for near in row * width + x.saturating_sub(1)..row * width + (x + 2).min(width) {
                        if !seen[near] && distance[near] > 0.0 && distance[near] > floor {
                            seen[near] = true;
                            stack.push(near);
                        }
                    }
                }
            }
            if stands {
                counted.push(start);
            }
        }
        counted.len()
    }

    fn mirrored(of: &[bool], width: usize) -> Vec<bool> {
        of.chunks(width).flat_map(|row| row.iter().rev().copied()).collect()
    }

    fn turned(of: &[bool], width: usize) -> Vec<bool> {
        let height = of.len() / width;
        (0..of.len()).map(|i| of[(height - 1 - i % height) * width + i / height]).collect()
    }

    proptest! {
        #[test]
        fn basins_are_the_maxima_of_dynamics_h(width in 1usize..22, height in 0usize..22, seed in any::<u64>(), share in 2u64..9, h in prop::sample::select(vec![0.3, 0.7, 1.1, 2.3])) {
            let mut state = seed;
            let mask: Vec<bool> = (0..width * height).map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) % 10 < share + 1
            }).collect();
            // A mask without an outside has no distances.
            prop_assume!(mask.iter().any(|m| !m) || mask.is_empty());
            let distance2 = distance_squared(&mask, width);
            let basins = found(&distance2, width, h);
            let distance: Vec<f64> = distance2.iter().map(|&d| (d as f64).sqrt()).collect();
            prop_assert_eq!(basins.len(), by_definition(&distance, width, h));
            let cells: f64 = basins.iter().map(|b| b.1).sum();
            prop_assert!((cells - mask.iter().filter(|m| **m).count() as f64).abs() < 1e-9);
            if height > 0 {
                let (mirror, turn) = (mirrored(&mask, width), turned(&mask, width));
                let near = |other: Vec<(u64, f64)>| other.len() == basins.len()
                    && other.iter().zip(&basins).all(|(a, b)| a.0 == b.0 && (a.1 - b.1).abs() < 1e-9);
                prop_assert!(near(found(&distance_squared(&mirror, width), width, h)));
                prop_assert!(near(found(&distance_squared(&turn, height), height, h)));
            }
        }
    }

    #[test]
    fn two_discs_share_the_cells_of_their_neck() {
        let (width, height) = (31usize, 15usize);
        let inside = |x: usize, y: usize, cx: f64| ((x as f64 - cx).powi(2) + (y as f64 - 7.0).powi(2)) <= 36.0;
        let mask: Vec<bool> = (0..width * height).map(|i| [9.0, 21.0].iter().any(|&c| inside(i % width, i / width, c))).collect();
        let two = found(&distance_squared(&mask, width), width, 1.0);
        assert_eq!(two.len(), 2);
        assert!((two[0].1 - two[1].1).abs() < 1e-9, "{two:?}");
        assert_eq!(found(&distance_squared(&mask, width), width, 9.0).len(), 1);
    }
}
