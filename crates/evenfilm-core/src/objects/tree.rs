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
    /// Finds the objects among the window's own pixels.
    pub(crate) fn grow(&mut self, levels: &[Level], classes: &[u8], width: usize, rule: Rule) {
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
