//! The object rule: in the tree of threshold components, walking inwards from the detection level, an object is the first component whose
//! level reaches half way to its own core.
//!
//! The tree is built from the core outwards. Where two branches meet, at the level of the saddle between them, they are one object if the
//! saddle is already deeper than half way to the darker core (then walking inwards stopped before the branches parted), or if the fainter
//! branch rises too little above the saddle to be more than noise. Otherwise both are objects and the saddle parts them.

use super::window::class;
use crate::phases::count32;
use crate::plane::{Level, Rect};

/// Buffers of one thread, and the pixels' objects: 0 none, else 1 + the index of the object in order of its first pixel.
#[derive(Default)]
pub(crate) struct Tree {
    pub(crate) label: Vec<u32>,
    /// For each object its darkest level but one and its number of pixels.
    pub(crate) found: Vec<Branch>,
    order: Vec<u64>,
    parent: Vec<u32>,
    darkest: Vec<Level>,
    number: Vec<u32>,
}

/// One object of the tree.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Branch {
    /// Second darkest level, so that one pixel's noise does not decide.
    pub(crate) core: Level,
    /// Darkest level.
    pub(crate) darkest: Level,
    /// Pixels below the detection level.
    pub(crate) pixels: u32,
    /// Their box in the window.
    pub(crate) part: Rect,
}

/// Levels that the rule is held against.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Rule {
    /// Level around the component.
    pub(crate) surround: Level,
    /// A branch that rises less than this above its saddle is noise.
    pub(crate) prominence: f64,
    /// Where between surround and core an object begins.
    pub(crate) edge: f64,
}

impl Tree {
    /// Finds the objects among the window's own pixels, all of which lie in `part` of the window.
    pub(crate) fn grow(&mut self, levels: &[Level], classes: &[u8], (width, part): (usize, Rect), rule: Rule) {
        if self.grow_simple(levels, classes, (width, part), rule) {
            return;
        }
        self.grow_by_tree(levels, classes, width, rule);
    }

    fn grow_by_tree(&mut self, levels: &[Level], classes: &[u8], width: usize, rule: Rule) {
        self.order.clear();
        self.order.extend((0..levels.len()).filter(|&i| classes[i] == class::OWN).map(|i| u64::from(levels[i]) << 32 | i as u64));
        self.order.sort_unstable();
        self.label.clear();
        self.label.resize(levels.len(), 0);
        self.parent.clear();
        self.darkest.clear();
        self.parent.push(0);
        self.darkest.push(0);
        for k in 0..self.order.len() {
            let i = (self.order[k] & 0xffff_ffff) as usize;
            self.place(i, levels[i], (width, levels.len() / width), rule);
        }
        self.number_objects(levels, width);
    }

    /// The usual case without the tree, to the same end: one branch, where the pixels deeper than half way to the darkest are one piece and
    /// no other pixel is as dark as all around it. False where that cannot be told at a glance.
    fn grow_simple(&mut self, levels: &[Level], classes: &[u8], (width, part): (usize, Rect), rule: Rule) -> bool {
        let rows = || (part.y as usize..part.bottom() as usize).map(|y| y * width + part.x as usize..y * width + part.right() as usize);
        let own =
            || rows().flat_map(|row| levels[row.clone()].iter().zip(&classes[row])).filter(|(_, c)| **c == class::OWN).map(|(l, _)| *l);
        let darkest = own().min().unwrap_or(Level::MAX);
        let half = f64::from(rule.surround) - rule.edge * (f64::from(rule.surround) - f64::from(darkest));
        if part.x == 0 || part.y == 0 || part.right() as usize >= width || part.bottom() as usize * width >= levels.len() || half <= 0.0 {
            return false;
        }
        let deep = |i: usize| classes[i] == class::OWN && f64::from(levels[i]) <= half;
        if !is_one_piece(rows(), deep) {
            return false;
        }
        let around = [width + 1, width, width - 1, 1];
        let dimple = |i: usize| {
            let darker = |j: usize| classes[j] == class::OWN && levels[j] < levels[i];
            classes[i] == class::OWN && !deep(i) && !around.iter().any(|&d| darker(i - d) || darker(i + d))
        };
        if rows().any(|row| row.into_iter().any(dimple)) {
            return false;
        }
        self.label.clear();
        self.label.resize(levels.len(), 0);
        let mut branch = Branch { core: Level::MAX, darkest, pixels: 0, part };
        let mut first = true;
        for row in rows() {
            for (label, (&level, &class)) in self.label[row.clone()].iter_mut().zip(levels[row.clone()].iter().zip(&classes[row])) {
                if class == class::OWN {
                    *label = 1;
                    branch.pixels += 1;
                    if first && level == darkest {
                        first = false;
                    } else {
                        branch.core = branch.core.min(level);
                    }
                }
            }
        }
        branch.core = if branch.pixels == 1 { darkest } else { branch.core };
        self.found.clear();
        self.found.push(branch);
        true
    }

    /// Gives a pixel to the branch it touches, joining branches that are one object.
    fn place(&mut self, i: usize, level: Level, (width, height): (usize, usize), rule: Rule) {
        let (x, y) = (i % width, i / width);
        let (left, right) = (x.saturating_sub(1), (x + 2).min(width));
        let mut main = 0u32;
        let mut last = 0u32;
        for row in y.saturating_sub(1)..(y + 2).min(height) {
            for near in row * width + left..row * width + right {
                let label = self.label[near];
                if label == 0 || label == last {
                    continue;
                }
                last = label;
                let branch = self.root(label);
                if main == 0 {
                    main = branch;
                } else if branch != main {
                    main = self.meet(main, branch, level, rule);
                }
            }
        }
        if main == 0 {
            main = count32(self.parent.len());
            self.parent.push(main);
            self.darkest.push(level);
        }
        self.label[i] = main;
    }

    /// Two branches meet at a saddle; the darker one is returned, holding both if they are one object.
    fn meet(&mut self, a: u32, b: u32, saddle: Level, rule: Rule) -> u32 {
        let dark = |t: &Self, i: u32| (t.darkest[i as usize], i);
        let (main, faint) = if dark(self, a) <= dark(self, b) { (a, b) } else { (b, a) };
        let depth = |level: Level| f64::from(rule.surround) - f64::from(level);
        let rise = f64::from(saddle) - f64::from(self.darkest[faint as usize]);
        if rise < rule.prominence || depth(saddle) >= rule.edge * depth(self.darkest[main as usize]) {
            self.parent[faint as usize] = main;
        }
        main
    }

    fn root(&mut self, mut i: u32) -> u32 {
        while self.parent[i as usize] != i {
            let up = self.parent[self.parent[i as usize] as usize];
            self.parent[i as usize] = up;
            i = up;
        }
        i
    }

    fn number_objects(&mut self, levels: &[Level], width: usize) {
        self.number.clear();
        self.number.resize(self.parent.len(), 0);
        self.found.clear();
        for (i, &level) in levels.iter().enumerate() {
            if self.label[i] == 0 {
                continue;
            }
            let root = self.root(self.label[i]) as usize;
            let here = Rect::new(count32(i % width), count32(i / width), 1, 1);
            if self.number[root] == 0 {
                self.found.push(Branch { core: Level::MAX, darkest: Level::MAX, pixels: 0, part: here });
                self.number[root] = count32(self.found.len());
            }
            self.label[i] = self.number[root];
            let object = &mut self.found[self.number[root] as usize - 1];
            object.pixels += 1;
            object.part = object.part.union(here);
            if level < object.darkest {
                object.core = object.darkest;
                object.darkest = level;
            } else if level < object.core {
                object.core = level;
            }
        }
        for object in &mut self.found {
            object.core = if object.core == Level::MAX { object.darkest } else { object.core };
        }
    }
}

/// Whether the pixels are one piece in the plainest way: one run in each of some neighbouring rows, each touching the next.
fn is_one_piece(rows: impl Iterator<Item = std::ops::Range<usize>>, deep: impl Fn(usize) -> bool) -> bool {
    let mut last: Option<(usize, usize)> = None;
    let mut ended = false;
    for row in rows {
        let start = row.start;
        let (mut from, mut to, mut count) = (usize::MAX, 0, 0);
        for i in row.filter(|&i| deep(i)) {
            from = from.min(i - start);
            to = i - start + 1;
            count += 1;
        }
        if count == 0 {
            ended |= last.is_some();
            continue;
        }
        let touches = last.is_none_or(|(x0, x1)| from <= x1 && x0 <= to);
        if ended || count != to - from || !touches {
            return false;
        }
        last = Some((from, to));
    }
    last.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Random blobs on a surround of 20000: the short way must agree with the tree wherever it answers.
    #[test]
    fn the_short_way_agrees_with_the_tree() {
        let (width, height) = (26usize, 22usize);
        let (mut state, mut answered) = (5u64, 0);
        let mut next = |below: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % below
        };
        for _ in 0..2000 {
            let discs: Vec<[f64; 4]> = (0..=next(3))
                .map(|_| [6.0 + next(14) as f64, 6.0 + next(10) as f64, 1.0 + next(4) as f64, 4000.0 + next(12_000) as f64])
                .collect();
            let noise = next(3) * 150;
            let levels: Vec<Level> = (0..width * height)
                .map(|i| {
                    let (x, y) = ((i % width) as f64, (i / width) as f64);
                    let depth = |d: &[f64; 4]| d[3] * (1.5 - (((x - d[0]).powi(2) + (y - d[1]).powi(2)).sqrt() / d[2])).clamp(0.0, 1.0);
                    super::super::to_level(20_000.0 - discs.iter().map(depth).fold(0.0, f64::max) + next(noise + 1) as f64)
                })
                .collect();
            let classes: Vec<u8> = levels.iter().map(|&l| if l < 19_000 { class::OWN } else { class::FILM }).collect();
            let own: Vec<usize> = (0..classes.len()).filter(|&i| classes[i] == class::OWN).collect();
            let pixel = |i: usize| Rect::new(count32(i % width), count32(i / width), 1, 1);
            let Some(part) = own.iter().map(|&i| pixel(i)).reduce(Rect::union) else { continue };
            let rule = Rule { surround: 20_000, prominence: 600.0, edge: 0.5 };
            let (mut short, mut long) = (Tree::default(), Tree::default());
            if !short.grow_simple(&levels, &classes, (width, part), rule) {
                continue;
            }
            answered += 1;
            long.grow_by_tree(&levels, &classes, width, rule);
            let fields = |t: &Tree| t.found.iter().map(|b| (b.core, b.darkest, b.pixels, b.part)).collect::<Vec<_>>();
            // Blobs apart are separate components in use; here they may lie in one window.
            if long.found.len() == 1 {
                assert_eq!((fields(&short), &short.label), (fields(&long), &long.label));
            } else {
                panic!("one object by the short way, {} by the tree", long.found.len());
            }
        }
        assert!(answered > 300, "{answered}");
    }
}
