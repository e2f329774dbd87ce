//! Basins of a distance map: how many rounded parts a mask has, and how large each is.
//!
//! The map is flooded from its peaks downwards. Where two basins meet, the lower one stands apart if a rule of its peak and of the saddle
//! says so; else it joins the higher one. Cells of one distance are worked on together, cells at which basins that stand apart meet are
//! shared by them in equal parts, and ties between peaks go to the larger basin: so mirrors and quarter turns of a mask have the same
//! basins, to the last bit.
//!
//! With the rule "the peak rises at least h above the saddle" the basins are the maxima of dynamics h (M. Grimaud 1992, Proc. SPIE 1769,
//! 292) and their cells the watershed's (L. Vincent & P. Soille 1991, IEEE PAMI 13, 583).

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
    label: Vec<u32>,
    order: Vec<u64>,
    grown: Vec<Grown>,
    shared: Vec<(Vec<u32>, u32)>,
    stack: Vec<u32>,
    plateau: Vec<u32>,
    touched: Vec<u32>,
    roots: Vec<u32>,
}

#[derive(Clone, Copy)]
struct Grown {
    parent: u32,
    basin: Basin,
    /// Cells before the distance at which it last grew, and that distance: ties must not hang on the order within one distance.
    before: f64,
    since: u64,
}

impl Grown {
    fn add(&mut self, cells: f64, level: u64) {
        if self.since != level {
            (self.before, self.since) = (self.basin.cells, level);
        }
        self.basin.cells += cells;
    }

    fn cells_above(&self, level: u64) -> f64 {
        if self.since == level { self.before } else { self.basin.cells }
    }
}

impl Flood {
    /// The basins of squared distances (0 outside the mask), rows of `width`, in no particular order. `apart(peak, saddle)` gets distances.
    pub fn basins(&mut self, distance2: &[u64], width: usize, apart: impl Fn(f64, f64) -> bool) -> Vec<Basin> {
        self.label.clear();
        self.label.resize(distance2.len(), 0);
        self.grown.clear();
        self.shared.clear();
        self.order.clear();
        let inside = distance2.iter().enumerate().filter(|(_, d)| **d > 0);
        self.order.extend(inside.map(|(i, &d)| (u64::from(u32::MAX) - d.min(u64::from(u32::MAX))) << 32 | i as u64));
        self.order.sort_unstable();
        for k in 0..self.order.len() {
            let i = count32((self.order[k] & u64::from(u32::MAX)) as usize);
            if self.label[i as usize] == 0 {
                self.gather(i, distance2, width);
                self.place(distance2[i as usize], &apart);
            }
        }
        for (of, cells) in std::mem::take(&mut self.shared) {
            let part = f64::from(cells) / of.len() as f64;
            for basin in of {
                let root = self.root(basin);
                self.grown[root as usize].basin.cells += part;
            }
        }
        (0..).zip(&self.grown).filter(|(i, g)| g.parent == *i).map(|(_, g)| g.basin).collect()
    }

    /// Gathers the cells of one distance around cell `i`, and the labels that they touch.
    fn gather(&mut self, i: u32, distance2: &[u64], width: usize) {
        let (level, height) = (distance2[i as usize], distance2.len() / width);
        self.plateau.clear();
        self.touched.clear();
        self.stack.push(i);
        self.label[i as usize] = OPEN;
        while let Some(cell) = self.stack.pop() {
            self.plateau.push(cell);
            let (x, y) = (cell as usize % width, cell as usize / width);
            for row in y.saturating_sub(1)..(y + 2).min(height) {
                for near in row * width + x.saturating_sub(1)..row * width + (x + 2).min(width) {
                    let label = self.label[near];
                    if label == 0 && distance2[near] == level {
                        self.label[near] = OPEN;
                        self.stack.push(count32(near));
                    } else if label != 0 && label != OPEN && !self.touched.contains(&label) {
                        self.touched.push(label);
                    }
                }
            }
        }
    }

    /// Gives the gathered cells to the basins that they touch, joining those that do not stand apart.
    fn place(&mut self, level: u64, apart: &impl Fn(f64, f64) -> bool) {
        let cells = self.plateau.len() as f64;
        self.find_roots();
        let label = match self.roots.len() {
            0 => {
                let new = count32(self.grown.len());
                let basin = Basin { peak2: level, cells, at: self.plateau[0] as usize };
                self.grown.push(Grown { parent: new, basin, before: 0.0, since: level });
                new + 1
            }
            1 => {
                self.grown[self.roots[0] as usize].add(cells, level);
                self.roots[0] + 1
            }
            _ => {
                self.meet(level, apart);
                if self.roots.len() == 1 {
                    self.grown[self.roots[0] as usize].add(cells, level);
                    self.roots[0] + 1
                } else {
                    self.shared.push((self.roots.clone(), count32(self.plateau.len())));
                    SHARED + count32(self.shared.len() - 1)
                }
            }
        };
        for &cell in &self.plateau {
            self.label[cell as usize] = label;
        }
    }

    /// The basins touched; where only shared cells are, those that share them.
    fn find_roots(&mut self) {
        self.roots.clear();
        let whole = self.touched.iter().any(|&l| l < SHARED);
        for k in 0..self.touched.len() {
            let label = self.touched[k];
            if label < SHARED {
                self.add_root(label - 1);
            } else if !whole {
                for j in 0..self.shared[(label - SHARED) as usize].0.len() {
                    self.add_root(self.shared[(label - SHARED) as usize].0[j]);
                }
            }
        }
    }

    fn add_root(&mut self, basin: u32) {
        let root = self.root(basin);
        if !self.roots.contains(&root) {
            self.roots.push(root);
        }
    }

    /// Joins the basins in `roots` that do not stand apart at this distance to the highest.
    fn meet(&mut self, level: u64, apart: &impl Fn(f64, f64) -> bool) {
        let saddle = (level as f64).sqrt();
        let rank = |g: &Grown| (g.basin.peak2, g.cells_above(level));
        let better = |a: u32, b: u32| rank(&self.grown[a as usize]) >= rank(&self.grown[b as usize]);
        let main = self.roots.iter().copied().reduce(|a, b| if better(a, b) { a } else { b }).unwrap_or(0);
        let mut kept = vec![main];
        for k in 0..self.roots.len() {
            let other = self.roots[k];
            if other == main {
                continue;
            }
            let Basin { peak2, cells, .. } = self.grown[other as usize].basin;
            if apart((peak2 as f64).sqrt(), saddle) {
                kept.push(other);
            } else {
                self.grown[other as usize].parent = main;
                self.grown[main as usize].add(cells, level);
            }
        }
        self.roots = kept;
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
    use crate::gaps::distance_squared;
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
                if distance[i] > distance[start] || (distance[i] == distance[start] && i < start) {
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
