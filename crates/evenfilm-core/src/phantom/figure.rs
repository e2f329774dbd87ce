//! Figures: the outline of each sort of stranger, and what it does to the light.

use super::floor_index;
use super::layer::{Layer, slope};
use super::outline::{Form, HARMONICS};
use super::path::Path;
use super::strangers::Sort;
use crate::random::Draws;
use std::f64::consts::{LN_10, TAU};

/// Optical densities that strangers add to the film: a bubble's ring, a droplet's at its darkest, fibres, crystals, dust.
const BUBBLE_OD: f64 = 0.6;
const DROPLET_OD: f64 = 0.6;
const FIBRE_OD: f64 = 0.5;
const CRYSTAL_OD: f64 = 0.6;
const DUST_OD: f64 = 0.8;
/// Light of a bubble's centre more than of the film, where the film is thinner.
const BUBBLE_CENTRE: f64 = 0.1;
/// Optical density of the film in a rim of dewetting ÷ that elsewhere.
const RIM_TIMES: f64 = 1.4;
/// Width of needle and crack at their tips ÷ the largest.
const TIP: f64 = 0.4;

/// What a stranger is made of, around its origin. Lengths are in pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// The outline that truth speaks of: outer edge of a ring, edge of a gap.
    pub form: Form,
    /// What it takes of the film's light; of a gap, its rim.
    pub layers: Vec<Layer>,
}

/// What figures depend on besides their own draws.
#[derive(Clone, Copy, Debug)]
pub(super) struct Surroundings {
    /// Mean optical density of the film.
    pub(super) film_od: f64,
    /// Blur of the lens, px.
    pub(super) sigma_px: f64,
}

impl Figure {
    /// The outermost outline, which others keep clear of.
    pub(super) fn outermost(&self) -> &Form {
        self.layers.iter().map(|l| &l.form).fold(&self.form, |a, b| if b.bound() > a.bound() { b } else { a })
    }

    /// A figure of this size and width, turned by `angle`, rad.
    pub(super) fn new(sort: Sort, [size, width]: [f64; 2], angle: f64, draws: &mut Draws, around: Surroundings) -> Self {
        let radius = 0.5 * size;
        let path = |path: Path| Form::Path(path.mapped(1.0, angle, [0.0; 2]));
        match sort {
            Sort::Bubble => {
                let (ring, inner) = (taken(BUBBLE_OD), radius - width);
                Self { form: Form::Disc { radius }, layers: vec![Layer::disc(radius, ring), Layer::disc(inner, -ring - BUBBLE_CENTRE)] }
            }
            Sort::Droplet => {
                let (darkest, middle) = (taken(DROPLET_OD), radius - 0.5 * width);
                let rise = slope([radius, middle], darkest, around.sigma_px);
                let layers = rise.chain(slope([middle, radius - width], -darkest, around.sigma_px)).collect();
                Self { form: Form::Disc { radius }, layers }
            }
            Sort::Fibre => Self::flat(path(fibre(size, width, draws)), FIBRE_OD),
            Sort::Needle => Self::flat(path(needle(size, width, draws)), CRYSTAL_OD),
            Sort::Plate => Self::flat(path(plate(size, width, draws)), CRYSTAL_OD),
            Sort::Dust => Self::flat(wobbly(radius, 0.5, draws), DUST_OD),
            Sort::Crack => Self { form: path(crack(size, width, draws)), layers: Vec::new() },
            Sort::Dewetting => {
                let form = wobbly(radius, 0.2, draws);
                let rim = 1.0 - libm::exp(-LN_10 * (RIM_TIMES - 1.0) * around.film_od);
                let outer = form.scaled(1.0 + width / radius);
                Self { layers: vec![Layer { form: outer, taken: rim }, Layer { form: form.clone(), taken: -rim }], form }
            }
        }
    }

    fn flat(form: Form, od: f64) -> Self {
        Self { layers: vec![Layer { form: form.clone(), taken: taken(od) }], form }
    }
}

/// Share of the light that an optical density takes.
fn taken(od: f64) -> f64 {
    1.0 - libm::exp(-LN_10 * od)
}

/// A wobbly outline of the area of a disc; its k-th harmonic is at most `most`/k.
pub(super) fn wobbly(radius: f64, most: f64, draws: &mut Draws) -> Form {
    let mut waves = [[0.0; 2]; HARMONICS];
    for (wave, k) in waves.iter_mut().zip(2_u32..) {
        *wave = [draws.between(0.0, most / f64::from(k)), TAU * draws.uniform()];
    }
    let excess: f64 = 1.0 + 0.5 * waves.iter().map(|w| w[0] * w[0]).sum::<f64>();
    Form::Wobbly { radius: radius / excess.sqrt(), waves }
}

/// A sign at random.
fn sign(draws: &mut Draws) -> f64 {
    if draws.uniform() < 0.5 { -1.0 } else { 1.0 }
}

/// An arc of 0.3–1.2 rad, or an S of two.
fn fibre(length: f64, width: f64, draws: &mut Draws) -> Path {
    let way = sign(draws);
    let [first, second] = [0, 1].map(|_| draws.between(0.3, 1.2));
    let split = length * draws.between(0.35, 0.65);
    let bends =
        if draws.uniform() < 0.5 { vec![[length, way * first]] } else { vec![[split, way * first], [length - split, -way * second]] };
    Path::band(&bends, width).centred()
}

fn needle(length: f64, width: f64, draws: &mut Draws) -> Path {
    let (a, b) = (0.5 * length, 0.5 * width);
    if draws.uniform() < 0.5 {
        Path::polygon(&[[-a, -b], [a, -b], [a, b], [-a, b]])
    } else {
        Path::polygon(&[[-a, -TIP * b], [0.0, -b], [a, -TIP * b], [a, TIP * b], [0.0, b], [-a, TIP * b]])
    }
}

fn plate(length: f64, width: f64, draws: &mut Draws) -> Path {
    let count = 4 + draws.below(3);
    let corners: Vec<[f64; 2]> = (0..count)
        .map(|i| libm::sincos(TAU * (i as f64 + draws.between(-0.2, 0.2)) / count as f64))
        .map(|(sin, cos)| [0.5 * length * cos, 0.5 * width * sin])
        .collect();
    Path::polygon(&corners).centred()
}

/// A zig-zag along x with corners where its direction changes sides.
fn crack(length: f64, width: f64, draws: &mut Draws) -> Path {
    let steps = floor_index(length / (2.5 * width)).clamp(4, 16);
    let mut way = sign(draws);
    let mut line = vec![[0.0; 2]];
    let mut p = [0.0; 2];
    for _ in 0..steps {
        let (sin, cos) = libm::sincos(way * draws.between(0.15, 0.55));
        let step = length / steps as f64;
        p = [p[0] + step * cos, p[1] + step * sin];
        line.push(p);
        way = -way;
    }
    let branch = (draws.uniform() < 0.5).then(|| [draws.uniform(), draws.between(0.25, 0.45), draws.between(0.7, 1.0)]);
    Path::polygon(&forked(&line, width, branch)).centred()
}

/// The corners of a line of this width, tapered to both tips; with a branch at an inner corner that points to one side: which of them (0 to
/// 1), its length in that of the line, its angle off the line, rad.
fn forked(line: &[[f64; 2]], width: f64, branch: Option<[f64; 3]>) -> Vec<[f64; 2]> {
    let last = line.len() - 1;
    let half = |i: usize| {
        let t = i as f64 / last as f64;
        0.5 * width * (TIP + (1.0 - TIP) * 4.0 * t * (1.0 - t))
    };
    // At an inner corner both sides run on by the mitre.
    let aside = |i: usize| {
        let along = |i: usize| unit([line[i + 1][0] - line[i][0], line[i + 1][1] - line[i][1]]);
        let (before, after) = (along(i.max(1) - 1), along(i.min(last - 1)));
        let middle = unit([before[0] + after[0], before[1] + after[1]]);
        let reach = half(i) / (middle[0] * after[0] + middle[1] * after[1]);
        [-middle[1] * reach, middle[0] * reach]
    };
    let right = (0..=last).map(|i| [line[i][0] - aside(i)[0], line[i][1] - aside(i)[1]]);
    let left = |i: usize| [line[i][0] + aside(i)[0], line[i][1] + aside(i)[1]];
    let outward: Vec<usize> = (1..last).filter(|&i| turn(line[i - 1], line[i], line[i + 1]) < 0.0).collect();
    let fork = branch.and_then(|[which, share, angle]| {
        let at = *outward.get(floor_index(which * outward.len() as f64))?;
        let (sin, cos) = libm::sincos(angle);
        let total = line.windows(2).map(|w| libm::hypot(w[1][0] - w[0][0], w[1][1] - w[0][1])).sum::<f64>();
        Some((at, [share * total * cos, share * total * sin]))
    });
    let mut corners: Vec<[f64; 2]> = right.collect();
    for i in (0..=last).rev() {
        match fork {
            Some((at, way)) if at == i => {
                let [ux, uy] = unit(way);
                let (root, tip) = (0.7 * half(i), 0.5 * TIP * width);
                let base = left(i);
                for (out, across) in [(0.0, root), (1.0, tip), (1.0, -tip), (0.0, -root)] {
                    corners.push([base[0] + out * way[0] + across * uy, base[1] + out * way[1] - across * ux]);
                }
            }
            _ => corners.push(left(i)),
        }
    }
    corners
}

/// Positive where a way turns from x towards y.
fn turn(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
}

fn unit([x, y]: [f64; 2]) -> [f64; 2] {
    let length = libm::hypot(x, y);
    [x / length, y / length]
}

#[cfg(test)]
mod tests {
    use super::super::polygon::bounds;
    use super::*;
    use crate::random::Source;

    const AROUND: Surroundings = Surroundings { film_od: 0.35, sigma_px: 0.7 };

    fn figures(sort: Sort, sizes: [f64; 2]) -> impl Iterator<Item = Figure> {
        let mut draws = Draws::new(Source::new(4, 2));
        (0..200).map(move |_| Figure::new(sort, sizes, TAU * draws.uniform(), &mut draws, AROUND))
    }

    /// Whether two segments cross.
    fn cross(a: [[f64; 2]; 2], b: [[f64; 2]; 2]) -> bool {
        // Neighbours on a straight side are in line but for rounding.
        let astride = |a: [[f64; 2]; 2], b: [[f64; 2]; 2]| turn(a[0], a[1], b[0]) * turn(a[0], a[1], b[1]) < -1e-9;
        astride(a, b) && astride(b, a)
    }

    /// No outline crosses itself, and all run from x to y: else neither area nor cover would be what they are said to be.
    #[test]
    fn outlines_are_simple() {
        for (sort, sizes) in [
            (Sort::Fibre, [240.0, 16.0]),
            (Sort::Needle, [60.0, 12.0]),
            (Sort::Plate, [40.0, 27.0]),
            (Sort::Dust, [30.0, 30.0]),
            (Sort::Crack, [120.0, 16.0]),
            (Sort::Crack, [360.0, 8.0]),
            (Sort::Dewetting, [50.0, 12.0]),
        ] {
            for figure in figures(sort, sizes) {
                let corners = figure.form.polygon([0.0; 2], 96);
                let sides: Vec<[[f64; 2]; 2]> = corners.iter().zip(corners.iter().cycle().skip(1)).map(|(&a, &b)| [a, b]).collect();
                let crossed = sides.iter().enumerate().any(|(i, &a)| sides[..i].iter().any(|&b| cross(a, b)));
                assert!(!crossed && figure.form.area() > 0.0, "{sort:?} {figure:?}");
            }
        }
    }

    /// Fibres and blunt needles have length times width, round things the disc of their size; a plate is convex, of 4–6 corners.
    #[test]
    fn sizes_are_as_stated() {
        for figure in figures(Sort::Fibre, [240.0, 12.0]) {
            assert!((figure.form.area() - 2880.0).abs() < 1e-6);
        }
        for figure in
            figures(Sort::Dust, [30.0, 30.0]).chain(figures(Sort::Dewetting, [30.0, 8.0])).chain(figures(Sort::Droplet, [30.0, 3.0]))
        {
            assert!((figure.form.area() - 225.0 * std::f64::consts::PI).abs() < 1e-6);
        }
        for figure in figures(Sort::Plate, [40.0, 30.0]) {
            let Form::Path(path) = &figure.form else { panic!("{figure:?}") };
            let corners: Vec<[f64; 2]> = path.curves().iter().map(|c| (c.at)(0.0)[0]).collect();
            let count = corners.len();
            let convex = (0..count).all(|i| turn(corners[i], corners[(i + 1) % count], corners[(i + 2) % count]) > 0.0);
            assert!(convex && (4..=6).contains(&count), "{corners:?}");
        }
    }

    /// A crack is as long as stated along its line: its box is no longer, and at least as long as its steepest zig-zag leaves it.
    #[test]
    fn cracks_run_their_length() {
        let mut branched = 0;
        for figure in figures(Sort::Crack, [200.0, 10.0]) {
            let [x0, y0, x1, y1] = bounds(&figure.form.polygon([0.0; 2], 256));
            let across = libm::hypot(x1 - x0, y1 - y0);
            assert!(across > 200.0 * libm::cos(0.55) * 0.9 && across < 260.0, "{across}");
            branched += usize::from(figure.form.curves().len() > 18);
        }
        assert!((60..140).contains(&branched), "{branched}");
    }
}
