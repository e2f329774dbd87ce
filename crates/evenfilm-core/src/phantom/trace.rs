//! Tracing: the cover of an outline as a lens shows it, summed around the curve.

use super::lens::Lens;
use super::outline::{Curve, Form};
use std::f64::consts::PI;

/// Nodes and weights of the four-point Gauss–Legendre rule on [0, 1] (Abramowitz & Stegun, table 25.4).
const GAUSS: [[f64; 2]; 4] = [
    [0.069_431_844_202_973_71, 0.173_927_422_568_726_93],
    [0.330_009_478_207_571_87, 0.326_072_577_431_273_07],
    [0.669_990_521_792_428_1, 0.326_072_577_431_273_07],
    [0.930_568_155_797_026_3, 0.173_927_422_568_726_93],
];

/// A piece of a curve with its quadrature: points and weighted tangents.
#[derive(Clone, Copy, Debug)]
struct Arc {
    middle: [f64; 2],
    /// Distance² from the middle beyond which four nodes stand for the whole piece.
    far2: f64,
    nodes: [[f64; 4]; 4],
}

impl Arc {
    fn new(curve: &Curve<'_>, t0: f64, t1: f64) -> Self {
        let mut length = 0.0;
        let nodes = GAUSS.map(|[node, weight]| {
            let [[x, y], [dx, dy]] = (curve.at)(t0 + (t1 - t0) * node);
            let w = weight * (t1 - t0);
            length += w * (dx * dx + dy * dy).sqrt();
            [x, y, w * dx, w * dy]
        });
        let [middle, _] = (curve.at)(0.5 * (t0 + t1));
        Self { middle, far2: 2.25 * length * length, nodes }
    }

    fn sum(&self, lens: &Lens, p: [f64; 2]) -> f64 {
        let mut sum = 0.0;
        for [x, y, dx, dy] in self.nodes {
            let (ux, uy) = (x - p[0], y - p[1]);
            sum += lens.weight(ux * ux + uy * uy) * (ux * dy - uy * dx);
        }
        sum
    }
}

/// Nodes and weights of a rule over `from..to`: in each of `panels` equal parts the four-point Gauss–Legendre rule.
pub fn gauss(from: f64, to: f64, panels: u32) -> impl Iterator<Item = [f64; 2]> {
    let step = (to - from) / f64::from(panels);
    (0..panels).flat_map(move |i| GAUSS.map(|[node, weight]| [from + step * (f64::from(i) + node), step * weight]))
}

/// A smooth curve made ready for a lens: a binary tree of arcs, the finest no longer than 2 σ.
#[derive(Clone, Debug)]
struct Tree {
    /// Heap order: the children of `i` are `2i` and `2i + 1`; place 0 is unused.
    arcs: Vec<Arc>,
    coarsest: usize,
}

impl Tree {
    fn new(curve: &Curve<'_>, sigma_px: f64) -> Self {
        let mut leaves = curve.parts;
        while curve.length / f64::from(leaves) > 2.0 * sigma_px && leaves < 1 << 20 {
            leaves *= 2;
        }
        let mut arcs = vec![Arc::new(curve, 0.0, curve.end)];
        let mut pieces = 1_u32;
        while pieces <= leaves {
            let step = curve.end / f64::from(pieces);
            arcs.extend((0..pieces).map(|i| Arc::new(curve, f64::from(i) * step, f64::from(i + 1) * step)));
            pieces *= 2;
        }
        Self { arcs, coarsest: curve.parts as usize }
    }

    fn below(&self, i: usize, lens: &Lens, p: [f64; 2]) -> f64 {
        let arc = &self.arcs[i];
        let (dx, dy) = (arc.middle[0] - p[0], arc.middle[1] - p[1]);
        if 2 * i >= self.arcs.len() || (i >= self.coarsest && dx * dx + dy * dy > arc.far2) {
            return arc.sum(lens, p);
        }
        self.below(2 * i, lens, p) + self.below(2 * i + 1, lens, p)
    }
}

/// An outline made ready for a lens: its smooth pieces.
#[derive(Clone, Debug)]
pub struct Traced {
    pieces: Vec<Tree>,
}

impl Traced {
    /// Prepares an outline around the origin.
    pub fn new(form: &Form, sigma_px: f64) -> Self {
        Self { pieces: form.curves().iter().map(|curve| Tree::new(curve, sigma_px)).collect() }
    }

    /// The half of a circle with y > 0: for a point on the x axis its sum is half of the cover.
    pub fn half_disc(radius: f64, sigma_px: f64) -> Self {
        let disc = Form::Disc { radius };
        let halves = disc.curves().into_iter().map(|c| Curve { end: PI, parts: 4, length: PI * radius, ..c });
        Self { pieces: halves.map(|curve| Tree::new(&curve, sigma_px)).collect() }
    }

    /// Cover of the blurred shape at a point relative to its centre: 1 deep inside, 0 far outside.
    pub fn cover(&self, lens: &Lens, p: [f64; 2]) -> f64 {
        self.pieces.iter().map(|tree| tree.below(1, lens, p)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::super::lens::Blur;
    use super::super::path::Path;
    use super::*;
    use std::f64::consts::TAU;

    fn wobbly() -> Form {
        Form::Wobbly { radius: 20.0, waves: [[0.12, 0.3], [0.08, 1.0], [0.05, 2.0], [0.03, 4.0], [0.02, 5.0]] }
    }

    fn gaussian(sigma_px: f64) -> Lens {
        Lens::new(Blur::Gaussian { sigma_um: sigma_px }, 1.0)
    }

    /// Closed form: a disc under a Gaussian has 1 − exp(−r²/2σ²) in its centre; under an Airy pattern the encircled energy of its radius.
    #[test]
    fn centre_of_a_blurred_disc() {
        for radius in [0.5, 2.0, 6.0, 40.0] {
            let traced = Traced::new(&Form::Disc { radius }, 0.9);
            let expected = 1.0 - libm::exp(-0.5 * radius * radius / 0.81);
            assert!((traced.cover(&gaussian(0.9), [0.0, 0.0]) - expected).abs() < 2e-5, "{radius}");
            let airy = Lens::new(Blur::Airy { numerical_aperture: 0.65, wavelength_nm: 550.0 }, 0.25);
            let a = TAU * 0.65 / 0.55 * 0.25;
            let found = Traced::new(&Form::Disc { radius }, airy.sigma_px).cover(&airy, [0.0, 0.0]);
            assert!((found - super::super::lens::airy_energy(a * radius)).abs() < 1e-4, "{radius} {found}");
        }
    }

    /// A straight edge is at half intensity; a round one σ²/(2r) further in, by the second-order term of the blur.
    #[test]
    fn half_way_edge_of_a_blurred_disc() {
        let (radius, sigma, lens) = (30.0, 1.0, gaussian(1.0));
        let traced = Traced::new(&Form::Disc { radius }, sigma);
        let at = |shift: f64| traced.cover(&lens, [radius - shift, 0.0]);
        let pulled = sigma * sigma / (2.0 * radius);
        assert!((at(pulled) - 0.5).abs() < 2e-4, "{}", at(pulled));
        assert!(at(0.0) < 0.4951);
        // One σ inside a nearly straight edge: Φ(1) = 0.8413, less the same shift.
        assert!((at(1.0 + pulled) - 0.8413).abs() < 2e-3);
    }

    /// Off the centre there is no closed form: the point spread summed over the shape on a fine grid, without the divergence theorem.
    #[test]
    fn off_centre_cover_is_the_sum_of_the_point_spread() {
        let a = TAU * 0.65 / 0.55 * 0.25;
        let airy = Lens::new(Blur::Airy { numerical_aperture: 0.65, wavelength_nm: 550.0 }, 0.25);
        let spread = |rho: f64| {
            let v = (a * rho).max(1e-6);
            let amplitude = 2.0 * libm::j1(v) / v;
            a * a / (4.0 * PI) * amplitude * amplitude
        };
        let form = Form::Ellipse { half_axes: [6.0, 4.0], angle: 0.0 };
        let traced = Traced::new(&form, airy.sigma_px);
        for p in [[5.0, 0.5], [6.0, 0.0], [7.3, 1.0], [2.0, 4.4], [14.0, -9.0]] {
            let mut sum = 0.0;
            for i in -400..400 {
                for j in -300..300 {
                    let (x, y) = (0.0151 * (f64::from(i) + 0.5), 0.0151 * (f64::from(j) + 0.5));
                    if x * x / 36.0 + y * y / 16.0 < 1.0 {
                        sum += 0.0151 * 0.0151 * spread(libm::hypot(x - p[0], y - p[1]));
                    }
                }
            }
            let found = traced.cover(&airy, p);
            assert!((found - sum).abs() < 3e-4, "{p:?} {found} {sum}");
        }
    }

    /// Blur moves light but keeps it: cover summed over the plane is the area.
    #[test]
    fn blur_keeps_the_area() {
        for (form, tolerance) in [(wobbly(), 1e-4), (Form::Ellipse { half_axes: [18.0, 7.0], angle: 0.4 }, 1e-4)] {
            let (lens, traced) = (gaussian(0.8), Traced::new(&form, 0.8));
            let mut sum = 0.0;
            for y in -40..40 {
                for x in -40..40 {
                    sum += traced.cover(&lens, [f64::from(x) + 0.21, f64::from(y) + 0.37]);
                }
            }
            assert!((sum / form.area() - 1.0).abs() < tolerance, "{form:?} {sum}");
        }
    }

    /// Deep inside and far outside a curve that is not round.
    #[test]
    fn cover_is_one_inside_and_nothing_outside() {
        let (lens, traced) = (gaussian(0.7), Traced::new(&wobbly(), 0.7));
        assert!((traced.cover(&lens, [1.0, -2.0]) - 1.0).abs() < 2e-4);
        for p in [[31.0, 3.0], [60.0, 60.0], [-700.0, 20.0]] {
            assert!(traced.cover(&lens, p).abs() < 2e-4, "{p:?} {}", traced.cover(&lens, p));
        }
    }

    /// A rectangle under a Gaussian is a product of differences of error functions, at its middle, sides, corners and outside.
    #[test]
    fn blurred_rectangle_is_a_product_of_error_functions() {
        let (sigma, half) = (0.8, [9.0, 2.5]);
        let corners = [[-half[0], -half[1]], [half[0], -half[1]], [half[0], half[1]], [-half[0], half[1]]];
        let traced = Traced::new(&Form::Path(Path::polygon(&corners)), sigma);
        let along = |x: f64, half: f64| {
            let step = |x: f64| libm::erf(x / (sigma * std::f64::consts::SQRT_2));
            0.5 * (step(half - x) + step(half + x))
        };
        for p in [[0.0, 0.0], [9.0, 0.0], [9.0, 2.5], [8.4, -1.9], [3.0, 3.1], [11.0, 4.0]] {
            let expected = along(p[0], half[0]) * along(p[1], half[1]);
            let found = traced.cover(&gaussian(sigma), p);
            assert!((found - expected).abs() < 1e-4, "{p:?} {found} {expected}");
        }
    }

    /// A straight band is the same rectangle, however it is turned; a bent one keeps its light.
    #[test]
    fn blurred_bands() {
        let straight = Path::band(&[[18.0, 0.0]], 5.0).centred().mapped(1.0, 0.7, [0.0; 2]);
        let middle = Traced::new(&Form::Path(straight), 0.8).cover(&gaussian(0.8), [0.0; 2]);
        assert!((middle - libm::erf(2.5 / (0.8 * std::f64::consts::SQRT_2))).abs() < 1e-4, "{middle}");
        let bent = Form::Path(Path::band(&[[25.0, 0.9], [20.0, -0.7]], 4.0).centred());
        let (lens, traced) = (gaussian(0.8), Traced::new(&bent, 0.8));
        let mut sum = 0.0;
        for y in -40..40 {
            for x in -40..40 {
                sum += traced.cover(&lens, [f64::from(x) + 0.21, f64::from(y) + 0.37]);
            }
        }
        assert!((sum / 180.0 - 1.0).abs() < 1e-4, "{sum}");
    }
}
