//! Laying: where the particles of a chance film lie, and which of them come within reach of each other.

use super::singles::Singles;
use super::{Purpose, floor, stream};
use crate::phases::count32;
use crate::random::Source;

/// A particle in its place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Laid {
    /// Which single it is.
    pub(super) single: u32,
    /// Its centroid, px; the frame begins at 0.
    pub(super) at: [f64; 2],
    /// By how much it is turned, in whole turns.
    pub(super) turn: f64,
}

/// What is laid in one laying.
#[derive(Clone, Copy)]
pub(super) struct Order<'a> {
    /// Seed and number of the laying.
    pub(super) seed: u64,
    pub(super) number: u64,
    /// Width and height of each frame, px.
    pub(super) frames: &'a [[f64; 2]],
    /// Particles are laid so far outside the frames too, px.
    pub(super) beyond: f64,
    /// Area of particles whose middle lies in a frame, px².
    pub(super) area: f64,
    /// How many singles are drawn to lay from.
    pub(super) drawn: usize,
}

/// Lays particles at random, independently of each other, until their area is reached; a list for each frame. They are taken from singles
/// drawn anew with each laying, so that the spread between layings also holds what a few singles leave open.
pub(super) fn lay(order: &Order<'_>, singles: &Singles) -> Vec<Vec<Laid>> {
    let source = |purpose| Source::new(order.seed, stream(order.number + 1, purpose));
    let draw = source(Purpose::Draw);
    let drawn: Vec<u32> = (0..order.drawn as u64).map(|k| singles.pick(draw.uniform(k))).collect();
    let mut laid = vec![Vec::new(); order.frames.len()];
    let sides = |frame: &[f64; 2]| frame.map(|side| side + 2.0 * order.beyond);
    let mut ends = Vec::with_capacity(order.frames.len());
    let mut whole = 0.0;
    for frame in order.frames {
        let [width, height] = sides(frame);
        whole += width * height;
        ends.push(whole);
    }
    if drawn.is_empty() || whole.is_nan() || whole <= 0.0 {
        return laid;
    }
    let (places, looks, last) = (source(Purpose::Place), source(Purpose::Look), source(Purpose::Last));
    let mut left = order.area;
    for k in 0..u64::MAX {
        let [u, v] = places.uniforms(k);
        let [which, turn] = looks.uniforms(k);
        let single = drawn[floor(which * drawn.len() as f64).min(drawn.len() - 1)];
        let along = u * whole;
        let frame = ends.partition_point(|&end| end <= along).min(ends.len() - 1);
        let [width, height] = sides(&order.frames[frame]);
        let from = if frame == 0 { 0.0 } else { ends[frame - 1] };
        let at = [(along - from) / height - order.beyond, v * height - order.beyond];
        debug_assert!(at[0] <= width, "{at:?}");
        if (0..2).all(|k| (0.0..order.frames[frame][k]).contains(&at[k])) {
            // The last one is laid as often as what is left asks for.
            let area = singles.all[single as usize].area;
            if left < area && last.uniform(0) * area >= left {
                break;
            }
            left -= area;
        }
        laid[frame].push(Laid { single, at, turn });
        if left <= 0.0 {
            break;
        }
    }
    laid
}

/// The groups of particles that come within `reach` px of each other by the circles around them, each with at least two, in order of their
/// first particle.
pub(super) fn groups(laid: &[Laid], singles: &Singles, reach: f64) -> Vec<Vec<u32>> {
    // Side by side: singles lie far apart, and each is asked for by all its neighbours.
    let bounds: Vec<f64> = laid.iter().map(|one| singles.all[one.single as usize].bound).collect();
    let widest = bounds.iter().copied().fold(0.0, f64::max);
    let grid = Grid::of(laid, (2.0 * widest + reach).max(1.0));
    let mut parent: Vec<u32> = (0..count32(laid.len())).collect();
    let mut met = vec![false; laid.len()];
    for (i, one) in laid.iter().enumerate() {
        grid.near(one.at, |j| {
            if j as usize >= i {
                return;
            }
            let other = &laid[j as usize];
            let [dx, dy] = [0, 1].map(|k| one.at[k] - other.at[k]);
            let least = bounds[i] + bounds[j as usize] + reach;
            if dx * dx + dy * dy < least * least {
                (met[i], met[j as usize]) = (true, true);
                unite(&mut parent, count32(i), j);
            }
        });
    }
    let mut group = vec![u32::MAX; laid.len()];
    let mut groups: Vec<Vec<u32>> = Vec::new();
    for i in (0..laid.len()).filter(|&i| met[i]) {
        let root = find(&mut parent, count32(i)) as usize;
        if group[root] == u32::MAX {
            group[root] = count32(groups.len());
            groups.push(Vec::new());
        }
        groups[group[root] as usize].push(count32(i));
    }
    groups
}

fn find(parent: &mut [u32], mut i: u32) -> u32 {
    while parent[i as usize] != i {
        parent[i as usize] = parent[parent[i as usize] as usize];
        i = parent[i as usize];
    }
    i
}

fn unite(parent: &mut [u32], a: u32, b: u32) {
    let (a, b) = (find(parent, a), find(parent, b));
    parent[a.max(b) as usize] = a.min(b);
}

/// Particles by square cells.
struct Grid {
    side: f64,
    corner: [f64; 2],
    across: usize,
    down: usize,
    /// Where the particles of each cell begin.
    first: Vec<u32>,
    members: Vec<u32>,
}

impl Grid {
    fn of(laid: &[Laid], side: f64) -> Self {
        let end = |pick: fn(f64, f64) -> f64, k: usize| laid.iter().map(|l| l.at[k]).reduce(pick).unwrap_or(0.0);
        let corner = [0, 1].map(|k| end(f64::min, k));
        let [across, down] = [0, 1].map(|k| floor((end(f64::max, k) - corner[k]) / side) + 1);
        let mut grid = Self { side, corner, across, down, first: vec![0; across * down + 1], members: vec![0; laid.len()] };
        let cells: Vec<usize> = laid.iter().map(|l| grid.cell(l.at)).map(|[x, y]| y * across + x).collect();
        for &cell in &cells {
            grid.first[cell + 1] += 1;
        }
        for cell in 1..grid.first.len() {
            grid.first[cell] += grid.first[cell - 1];
        }
        let mut next = grid.first.clone();
        for (i, &cell) in cells.iter().enumerate() {
            grid.members[next[cell] as usize] = count32(i);
            next[cell] += 1;
        }
        grid
    }

    fn cell(&self, at: [f64; 2]) -> [usize; 2] {
        [0, 1].map(|k| floor((at[k] - self.corner[k]) / self.side))
    }

    /// Gives the members of a place's cell and those around it.
    fn near(&self, at: [f64; 2], mut found: impl FnMut(u32)) {
        let [x, y] = self.cell(at);
        for row in y.saturating_sub(1)..(y + 2).min(self.down) {
            let (from, to) = (row * self.across + x.saturating_sub(1), row * self.across + (x + 2).min(self.across));
            self.members[self.first[from] as usize..self.first[to] as usize].iter().for_each(|&i| found(i));
        }
    }
}
