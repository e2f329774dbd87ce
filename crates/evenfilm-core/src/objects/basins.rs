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

use super::bits::set_bits;
use crate::phases::count32;

#[cfg(test)]
mod tests;

/// One basin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Basin {
    /// Squared distance at its peak.
    pub peak2: u32,
    /// Number of its cells; those shared count in part.
    pub cells: f64,
    /// A cell at its peak.
    pub at: usize,
}

/// State of a cell that is being looked at.
const OPEN: u32 = LABEL - 1;
/// Labels are the states from here on: the number of a basin, or from [`SHARED`] on the number of shared cells.
const LABEL: u32 = 1 << 31;
const SHARED: u32 = LABEL | 1 << 30;
/// What lies beside a cell that touches no label, or more than one.
const NONE: u32 = 0;
const SEVERAL: u32 = u32::MAX;

/// Buffers of one thread.
#[derive(Default)]
pub struct Flood {
    /// States of the cells, with a ring around that is outside: the squared distance (0 outside), and once a cell has a label, that. So one
    /// look tells all.
    map: Vec<u32>,
    /// Cells of a row of the map.
    across: usize,
    /// Steps from a cell to its neighbours.
    steps: [isize; 8],
    /// The cells inside with their squared distances, row after row; and the farthest first.
    inside: Vec<(u32, u32)>,
    order: Vec<u32>,
    before: Vec<u32>,
    grown: Vec<Grown>,
    shared: Vec<Shared>,
    /// The basins that shared cells belong to.
    sharers: Vec<u32>,
    stack: Vec<u32>,
    /// The cells of the plateaus, each with the label that it touches, [`NONE`] or [`SEVERAL`].
    cells: Vec<(u32, u32)>,
    touched: Vec<u32>,
    plateaus: Vec<Plateau>,
    roots: Vec<u32>,
}

/// A basin while it grows.
struct Grown {
    basin: Basin,
    /// The basin that it has joined; itself where it has not.
    parent: u32,
    /// Where it was divided between others: its place among the shared cells.
    divided: Option<u32>,
    /// Whether it was seen to stand apart.
    stands: bool,
}

/// Cells that belong to several basins in equal parts.
struct Shared {
    /// Where its basins are.
    by: Range<usize>,
    cells: f64,
}

/// Connected cells of one distance, and the labels that they touch.
#[derive(Clone)]
struct Plateau {
    cells: Range<usize>,
    touched: Range<usize>,
}

/// What lies around a cell.
struct Around {
    /// Those of the eight neighbours that are of its own distance and have no label yet, a bit each.
    same: u32,
    /// The label that it touches, [`NONE`] or [`SEVERAL`].
    beside: u32,
}

impl Flood {
    /// The basins of squared distances (0 outside the mask; less than 2³¹ − 1), rows of `width`, in no particular order. `apart(peak, saddle)` gets
    /// distances and says whether a basin stands apart from what it meets; one that does must do so over every lower saddle.
    pub fn basins(&mut self, distance2: &[u32], width: usize, apart: impl Fn(f64, f64) -> bool) -> Vec<Basin> {
        self.begin(distance2, width);
        let mut k = 0;
        while k < self.order.len() {
            let here = self.map[self.order[k] as usize];
            let saddle = f64::from(here).sqrt();
            let apart = |basin: &Basin| apart((basin.peak2 as f64).sqrt(), saddle);
            self.cells.clear();
            self.touched.clear();
            self.plateaus.clear();
            while let Some(&cell) = self.order.get(k) {
                match self.map[cell as usize] {
                    state if state == here => self.visit(cell as usize, here, &apart),
                    OPEN.. => {}
                    _ => break,
                }
                k += 1;
            }
            if !self.plateaus.is_empty() {
                self.meet(&apart);
                self.place(here);
            }
        }
        self.share_out();
        let found = (0..).zip(&self.grown).filter(|(i, g)| g.parent == *i && g.divided.is_none());
        found.map(|(_, g)| Basin { at: self.inner(g.basin.at), ..g.basin }).collect()
    }

    /// The cells of the last map on the lines between basins, in order: those that several share, and of two neighbours in different basins the
    /// upper or left one. Basins that are not `kept` part nothing.
    pub fn lines(&mut self, kept: impl Fn(&Basin) -> bool) -> Vec<usize> {
        let labels: BTreeSet<u32> = self.map.iter().copied().filter(|&state| state >= LABEL).collect();
        let mut basins_of = |label: u32| {
            self.touched.clear();
            self.touched.push(label);
            self.roots_of(0..1, |_| true);
            self.roots.iter().copied().filter(|&root| kept(&self.grown[root as usize].basin)).collect()
        };
        let basins: BTreeMap<u32, Vec<u32>> = labels.into_iter().map(|label| (label, basins_of(label))).collect();
        let of = |cell: usize| basins.get(&self.map[cell]).map_or(&[][..], Vec::as_slice);
        let parted = |cell: usize, next: usize| !of(next).is_empty() && of(cell) != of(next) && of(next).len() == 1;
        let on_line = |cell: &usize| match of(*cell) {
            [] => false,
            [_] => parted(*cell, cell + 1) || parted(*cell, cell + self.across),
            _ => true,
        };
        (0..self.map.len()).filter(on_line).map(|cell| self.inner(cell)).collect()
    }

    /// The place without the ring of a cell of the map.
    fn inner(&self, cell: usize) -> usize {
        (cell / self.across - 1) * (self.across - 2) + cell % self.across - 1
    }

    /// Puts a ring around the map and its cells in order.
    fn begin(&mut self, distance2: &[u32], width: usize) {
        self.across = width + 2;
        let row = self.across.cast_signed();
        self.steps = [-row - 1, -row, 1 - row, -1, 1, row - 1, row, row + 1];
        self.map.clear();
        self.map.resize(self.across, 0);
        self.inside.clear();
        for row in distance2.chunks_exact(width.max(1)) {
            self.map.push(0);
            let start = self.map.len();
            for (x, &distance) in row.iter().enumerate() {
                if distance > 0 {
                    self.inside.push((count32(start + x), distance));
                }
            }
            self.map.extend_from_slice(row);
            self.map.push(0);
        }
        self.map.resize(self.map.len() + self.across, 0);
        self.grown.clear();
        self.shared.clear();
        self.sharers.clear();
        self.sort();
    }

    /// Puts the cells inside in order, the farthest first: by counting where distances are few, as they are in a compact mask.
    fn sort(&mut self) {
        let farthest = self.inside.iter().fold(0, |most, &(_, distance)| most.max(distance));
        if farthest as usize > 4 * self.map.len() {
            self.inside.sort_by_key(|&(_, distance)| std::cmp::Reverse(distance));
            self.order.clear();
            self.order.extend(self.inside.iter().map(|&(cell, _)| cell));
            return;
        }
        // Of the squared distances that are larger, how many cells there are.
        self.before.clear();
        self.before.resize(farthest as usize + 1, 0);
        for &(_, distance) in &self.inside {
            self.before[(farthest - distance) as usize + 1] += 1;
        }
        for k in 1..self.before.len() {
            self.before[k] += self.before[k - 1];
        }
        self.order.resize(self.inside.len(), 0);
        for &(cell, distance) in &self.inside {
            let next = &mut self.before[(farthest - distance) as usize];
            self.order[*next as usize] = cell;
            *next += 1;
        }
    }

    /// The states of the neighbours of a cell.
    #[inline]
    fn around(&self, cell: usize) -> [u32; 8] {
        // One check a row.
        let row = |start: usize| {
            let row = &self.map[start..start + 3];
            [row[0], row[1], row[2]]
        };
        let [a, b, c] = row(cell - self.across - 1);
        let [d, _, e] = row(cell - 1);
        let [f, g, h] = row(cell + self.across - 1);
        [a, b, c, d, e, f, g, h]
    }

    /// The `k`th neighbour of a cell.
    fn neighbour(&self, cell: usize, k: usize) -> usize {
        cell.wrapping_add_signed(self.steps[k])
    }

    /// The labels around a cell, each once, in the order of the neighbours.
    fn labels_around(&self, cell: usize) -> impl Iterator<Item = u32> + use<> {
        let around = self.around(cell);
        let mut left = bits(around, |state| state >= LABEL);
        std::iter::from_fn(move || {
            let label = *around.get(left.trailing_zeros() as usize)?;
            left &= !bits(around, |state| state == label);
            Some(label)
        })
    }

    /// What lies around a cell, told without a branch a neighbour.
    #[expect(clippy::inline_always, reason = "most of the work, in two places: a call would be a tenth of it")]
    #[inline(always)]
    fn look(&self, cell: usize, here: u32) -> Around {
        let around = self.around(cell);
        let (mut least, mut most) = (u32::MAX, 0);
        for state in around {
            // Turned over, what is no label comes out larger than any label.
            least = least.min(state ^ LABEL);
            most = most.max(state);
        }
        let beside = match most {
            LABEL.. if most ^ LABEL == least => most,
            LABEL.. => SEVERAL,
            _ => NONE,
        };
        Around { same: bits(around, |state| state == here), beside }
    }

    /// Gives a cell and all that hang together with it at its distance to the basin that they touch, where that cannot change at this
    /// distance; else they wait for the others.
    fn visit(&mut self, cell: usize, here: u32, apart: &impl Fn(&Basin) -> bool) {
        let around = self.look(cell, here);
        // The plain case: nothing of its own distance beside it, and at most one basin, which it joins, or begins.
        if around.same == 0 && around.beside < SHARED {
            let one = if around.beside == NONE { Some(self.begin_basin(cell, here)) } else { self.whole(around.beside) };
            if let Some(one) = one {
                self.map[cell] = self.add(one);
                return;
            }
        }
        let plateau = self.gather(cell, here, around);
        if let &[label] = &self.touched[plateau.touched.clone()]
            && label < SHARED
            && let Some(one) = self.whole(label)
            && self.stands(one, apart)
        {
            self.give(plateau.cells.clone(), one);
            self.cells.truncate(plateau.cells.start);
            self.touched.truncate(plateau.touched.start);
        } else {
            self.plateaus.push(plateau);
        }
    }

    /// Begins a basin with its peak at a cell.
    fn begin_basin(&mut self, at: usize, here: u32) -> u32 {
        let parent = count32(self.grown.len());
        let basin = Basin { peak2: here, cells: 0.0, at };
        self.grown.push(Grown { basin, parent, divided: None, stands: false });
        parent
    }

    /// Gathers the cells of one distance around a cell, and the labels that they touch.
    fn gather(&mut self, mut cell: usize, here: u32, mut around: Around) -> Plateau {
        let (cells, touched) = (self.cells.len(), self.touched.len());
        self.map[cell] = OPEN;
        let mut last = NONE;
        loop {
            let Around { same, beside } = around;
            for k in set_bits(same.into()) {
                let near = self.neighbour(cell, k);
                self.map[near] = OPEN;
                self.stack.push(count32(near));
            }
            self.cells.push((count32(cell), beside));
            if beside == SEVERAL {
                self.labels_around(cell).for_each(|label| self.touch(touched, label));
            } else if beside != last && beside != NONE {
                last = beside;
                self.touch(touched, beside);
            }
            let Some(next) = self.stack.pop() else { break };
            cell = next as usize;
            around = self.look(cell, here);
        }
        Plateau { cells: cells..self.cells.len(), touched: touched..self.touched.len() }
    }

    /// Adds a label to those touched from the place `from` on.
    fn touch(&mut self, from: usize, label: u32) {
        if !self.touched[from..].contains(&label) {
            self.touched.push(label);
        }
    }

    /// Whether a basin stands apart at this distance.
    fn stands(&mut self, basin: u32, apart: &impl Fn(&Basin) -> bool) -> bool {
        let grown = &mut self.grown[basin as usize];
        grown.stands = grown.stands || apart(&grown.basin);
        grown.stands
    }

    /// Joins basins that meet at the gathered cells and do not stand apart.
    fn meet(&mut self, apart: &impl Fn(&Basin) -> bool) {
        // Meetings over a common lesser basin are one; those without any change nothing.
        let mut meetings: Vec<Vec<u32>> = Vec::new();
        for k in 0..self.plateaus.len() {
            self.roots_of(self.plateaus[k].touched.clone(), |_| true);
            let standing = (0..self.roots.len()).filter(|&i| self.stands(self.roots[i], apart)).count();
            if self.roots.len() < 2 || standing == self.roots.len() {
                continue;
            }
            let mut roots = self.roots.clone();
            let lesser = |i: &u32| !self.grown[*i as usize].stands;
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
            let mut standing: Vec<u32> = roots.iter().copied().filter(|&i| self.grown[i as usize].stands).collect();
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
                    self.share(&standing, cells);
                }
            }
        }
    }

    /// Gives the gathered cells to the basins that they touch; those that touch none begin one.
    fn place(&mut self, here: u32) {
        for k in 0..self.plateaus.len() {
            let Plateau { cells, touched } = self.plateaus[k].clone();
            self.roots_of(touched, |_| true);
            match self.roots[..] {
                [] => {
                    let one = self.begin_basin(self.cells[cells.start].0 as usize, here);
                    self.give(cells, one);
                }
                [one] => self.give(cells, one),
                _ => self.divide(cells),
            }
        }
    }

    /// Gives gathered cells to a basin.
    fn give(&mut self, cells: Range<usize>, basin: u32) {
        self.grown[basin as usize].basin.cells += cells.len() as f64;
        for &(cell, _) in &self.cells[cells] {
            self.map[cell as usize] = LABEL | basin;
        }
    }

    /// Gives the cells of a plateau that touches several basins to those nearest along it, one layer of neighbours after the other: the rim
    /// of a mask is one plateau, and each basin has the part of it that lies around it.
    fn divide(&mut self, cells: Range<usize>) {
        let mut next = Vec::new();
        for i in cells.clone() {
            let (cell, beside) = self.cells[i];
            if beside == NONE {
                next.push(cell);
                continue;
            }
            let one = if beside < SHARED { self.whole(beside) } else { None };
            self.cells[i].1 = if let Some(one) = one { self.add(one) } else { self.label_beside(cell) };
        }
        for &(cell, label) in self.cells[cells].iter().filter(|(_, label)| *label != NONE) {
            self.map[cell as usize] = label;
        }
        next.retain(|&cell| bits(self.around(cell as usize), |state| state >= LABEL) > 0);
        while !next.is_empty() {
            next.sort_unstable();
            next.dedup();
            let layer: Vec<(u32, u32)> = next.iter().map(|&cell| (cell, self.label_beside(cell))).collect();
            next.clear();
            for &(cell, label) in &layer {
                self.map[cell as usize] = label;
            }
            for &(cell, _) in &layer {
                let open = bits(self.around(cell as usize), |state| state == OPEN);
                next.extend(set_bits(open.into()).map(|k| count32(self.neighbour(cell as usize, k))));
            }
        }
    }

    /// The basin that a label stands for, where that is undivided.
    fn whole(&mut self, label: u32) -> Option<u32> {
        let root = root(&mut self.grown, label ^ LABEL);
        self.grown[root as usize].divided.is_none().then_some(root)
    }

    /// Counts a cell to a basin; returns its label.
    fn add(&mut self, basin: u32) -> u32 {
        self.grown[basin as usize].basin.cells += 1.0;
        LABEL | basin
    }

    /// Counts a cell to the basins that lie beside it, and returns its label. Shared cells are given on only where nothing else is touched.
    fn label_beside(&mut self, cell: u32) -> u32 {
        let before = self.touched.len();
        for label in self.labels_around(cell as usize) {
            self.touched.push(label);
        }
        self.roots_of(before..self.touched.len(), |shared| !shared);
        if self.roots.is_empty() {
            self.roots_of(before..self.touched.len(), |_| true);
        }
        self.touched.truncate(before);
        if let [one] = self.roots[..] {
            return self.add(one);
        }
        let label = SHARED | count32(self.shared.len());
        let roots = std::mem::take(&mut self.roots);
        self.share(&roots, 1.0);
        self.roots = roots;
        label
    }

    /// Keeps in mind cells that belong to several basins.
    fn share(&mut self, by: &[u32], cells: f64) {
        let from = self.sharers.len();
        self.sharers.extend_from_slice(by);
        self.shared.push(Shared { by: from..self.sharers.len(), cells });
    }

    /// Adds shared cells to their basins.
    fn share_out(&mut self) {
        for Shared { by, cells } in &self.shared {
            self.roots.clear();
            self.roots.extend(self.sharers[by.clone()].iter().map(|&basin| root(&mut self.grown, basin)));
            self.roots.sort_unstable();
            self.roots.dedup();
            for &root in &self.roots {
                self.grown[root as usize].basin.cells += cells / self.roots.len() as f64;
            }
        }
    }

    /// Finds the basins that some of the touched labels stand for, of those that are wanted: shared or not.
    fn roots_of(&mut self, touched: Range<usize>, wanted: impl Fn(bool) -> bool) {
        self.roots.clear();
        for &label in &self.touched[touched] {
            let own = (label < SHARED).then(|| root(&mut self.grown, label ^ LABEL));
            let place = own.map_or(Some(label ^ SHARED), |root| self.grown[root as usize].divided);
            if !wanted(place.is_some()) {
                continue;
            }
            let by = place.map_or(0..0, |place| self.shared[place as usize].by.clone());
            let by = self.sharers[by].iter().map(|&basin| root(&mut self.grown, basin));
            for root in own.filter(|_| place.is_none()).into_iter().chain(by) {
                if !self.roots.contains(&root) {
                    self.roots.push(root);
                }
            }
        }
    }
}

/// A bit for each of the states that are wanted.
#[inline]
fn bits(states: [u32; 8], wanted: impl Fn(u32) -> bool) -> u32 {
    states.into_iter().rev().fold(0, |all, state| 2 * all + u32::from(wanted(state)))
}

/// The basin that a basin has joined in the end.
fn root(grown: &mut [Grown], mut i: u32) -> u32 {
    while grown[i as usize].parent != i {
        let up = grown[grown[i as usize].parent as usize].parent;
        grown[i as usize].parent = up;
        i = up;
    }
    i
}
