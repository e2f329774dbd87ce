//! The object rule: in the tree of threshold components, walking inwards from the detection level, an object is the first component whose
//! level reaches half way to its own core.
//!
//! The tree is built from the core outwards. Where two branches meet, at the level of the saddle between them, they are one object if the
//! saddle is already deeper than half way to the darker core (then walking inwards stopped before the branches parted), or if the fainter
//! branch rises too little above the saddle to be more than noise. Otherwise both are objects and the saddle parts them.

use super::bits::Bits;
use crate::phases::count32;
use crate::plane::{Level, Rect};

/// Buffers of one thread, and what was found.
#[derive(Default)]
pub(crate) struct Tree {
    /// The objects, in order of their first pixel.
    pub(crate) found: Vec<Branch>,
    /// The pixels' objects: 0 none, else 1 + the index of the object. Empty where there is but one.
    label: Vec<u32>,
    deep: Bits,
    near: Bits,
    rim: Bits,
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
    pub(crate) fn grow(&mut self, levels: &[Level], own: &Bits, (width, part): (usize, Rect), rule: Rule) {
        if !self.grow_simple(levels, own, (width, part), rule) {
            self.grow_by_tree(levels, own, width, rule);
        }
    }

    /// The own pixels of an object.
    pub(crate) fn pixels_of(&self, object: usize, own: &Bits, out: &mut Bits) {
        if self.label.is_empty() { out.copy(own) } else { own.filtered(|i| self.label[i] as usize == object + 1, out) }
    }

    /// The own pixels of the objects after this one.
    pub(crate) fn pixels_after(&self, object: usize, own: &Bits, out: &mut Bits) {
        own.filtered(|i| self.label.get(i).is_some_and(|&label| label as usize > object + 1), out);
    }

    fn grow_by_tree(&mut self, levels: &[Level], own: &Bits, width: usize, rule: Rule) {
        self.order.clear();
        self.order.extend(own.places().map(|i| u64::from(levels[i]) << 32 | i as u64));
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
        self.number_objects(levels, own, width);
    }

    /// The usual case without the tree, to the same end: one branch, where the pixels deeper than half way to the darkest are one piece and
    /// no other pixel is as dark as all around it. False where that cannot be told at a glance.
    fn grow_simple(&mut self, levels: &[Level], own: &Bits, (width, part): (usize, Rect), rule: Rule) -> bool {
        let mut branch = Branch { core: Level::MAX, darkest: Level::MAX, pixels: 0, part };
        own.each_piece(|piece| {
            branch.pixels += count32(piece.len());
            for &level in &levels[piece] {
                branch.core = branch.core.min(level.max(branch.darkest));
                branch.darkest = branch.darkest.min(level);
            }
        });
        let half = f64::from(rule.surround) - rule.edge * (f64::from(rule.surround) - f64::from(branch.darkest));
        if part.x == 0 || part.y == 0 || part.right() as usize >= width || part.bottom() as usize * width >= levels.len() || half <= 0.0 {
            return false;
        }
        let half = level_above(half);
        own.darker(levels, half, &mut self.deep);
        if !(is_plainly_one_piece(&self.deep, part) || self.deep.is_one_piece(&mut self.near)) {
            return false;
        }
        let darker = |at: Level, x: usize, y: usize| levels[y * width + x] < at && own.get(x, y);
        let dimple = |(x, y): (usize, usize)| {
            let at = levels[y * width + x];
            !(y - 1..y + 2).any(|row| (x - 1..x + 2).any(|column| darker(at, column, row)))
        };
        // What is left is the rim; beside deep pixels nothing is a dimple.
        self.deep.with_corners(&mut self.rim, &mut self.near);
        self.rim.copy(own);
        self.rim.take(&self.near);
        if self.rim.pixels().any(dimple) {
            return false;
        }
        if branch.pixels == 1 {
            branch.core = branch.darkest;
        }
        self.label.clear();
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

    fn number_objects(&mut self, levels: &[Level], own: &Bits, width: usize) {
        self.number.clear();
        self.number.resize(self.parent.len(), 0);
        self.found.clear();
        for i in own.places() {
            let level = levels[i];
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

/// The smallest level that is above a positive number.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "what lies outside the range becomes its end")]
const fn level_above(of: f64) -> Level {
    (of as Level).saturating_add(1)
}

/// Whether the pixels set in a part of a mask are one piece in the plainest way: one run in each of some neighbouring rows, each touching
/// the next.
fn is_plainly_one_piece(deep: &Bits, part: Rect) -> bool {
    const CHUNK: usize = 64;
    let mut last: Option<(usize, usize)> = None;
    let mut ended = false;
    for y in part.y as usize..part.bottom() as usize {
        let (mut from, mut to, mut count) = (usize::MAX, 0, 0);
        for x in (part.x as usize..part.right() as usize).step_by(CHUNK) {
            let word = deep.piece(y, x, CHUNK.min(part.right() as usize - x));
            if word != 0 {
                from = from.min(x + word.trailing_zeros() as usize);
                to = x + CHUNK - word.leading_zeros() as usize;
                count += word.count_ones() as usize;
            }
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
            let mut own = Bits::default();
            own.reset(width, height);
            (0..levels.len()).filter(|&i| levels[i] < 19_000).for_each(|i| own.set(i));
            let pixel = |i: usize| Rect::new(count32(i % width), count32(i / width), 1, 1);
            let Some(part) = own.places().map(pixel).reduce(Rect::union) else { continue };
            let rule = Rule { surround: 20_000, prominence: 600.0, edge: 0.5 };
            let (mut short, mut long) = (Tree::default(), Tree::default());
            if !short.grow_simple(&levels, &own, (width, part), rule) {
                continue;
            }
            answered += 1;
            long.grow_by_tree(&levels, &own, width, rule);
            let fields = |t: &Tree| t.found.iter().map(|b| (b.core, b.darkest, b.pixels, b.part)).collect::<Vec<_>>();
            // Blobs apart are separate components in use; here they may lie in one window.
            if long.found.len() == 1 {
                assert_eq!(fields(&short), fields(&long));
                let of = |tree: &Tree| {
                    let mut out = Bits::default();
                    tree.pixels_of(0, &own, &mut out);
                    out.places().collect::<Vec<_>>()
                };
                assert_eq!(of(&short), of(&long));
            } else {
                panic!("one object by the short way, {} by the tree", long.found.len());
            }
        }
        assert!(answered > 300, "{answered}");
    }
}
