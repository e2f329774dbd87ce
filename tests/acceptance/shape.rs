//! Shapes of outlines: shapely, closed forms.

use evenfilm_core::shape::{Contour, Outline, Shape, Sides, convex_hull, polygon_area, polygon_length, trace};
use evenfilm_tests::{check, heights, number, values};
use serde_json::Value;

/// Largest Feret diameter to which polygons are drawn, px: that of a large object, so that the search for the circle, which ends at steps of
/// 0.02 px, has room.
const DRAWN_PX: f64 = 100.0;
/// Distance of the points along a drawn side, px.
const APART_PX: f64 = 0.1;

/// An outline of straight sides, with its holes, and how many px a unit of it has.
struct Drawn {
    rings: Vec<Vec<[f64; 2]>>,
    px: f64,
}

fn ring(of: &Value) -> Vec<[f64; 2]> {
    of.as_array().unwrap().iter().map(|v| [number(&v[0]), number(&v[1])]).collect()
}

impl Drawn {
    fn new(rings: &[Vec<[f64; 2]>], feret_max: f64) -> Self {
        let px = DRAWN_PX / feret_max;
        Self { rings: rings.iter().map(|r| r.iter().map(|p| p.map(|c| c * px)).collect()).collect(), px }
    }

    fn sides(&self) -> impl Iterator<Item = ([f64; 2], [f64; 2])> {
        self.rings.iter().flat_map(|r| (0..r.len()).map(move |i| (r[i], r[(i + 1) % r.len()])))
    }

    /// Its outline as the program traces one: area and length with holes, and points along it.
    fn contour(&self) -> Contour {
        let mut contour = Contour {
            area_px2: polygon_area(&self.rings[0]) - self.rings[1..].iter().map(|r| polygon_area(r)).sum::<f64>(),
            perimeter_px: self.rings.iter().map(|r| polygon_length(r)).sum(),
            ..Contour::default()
        };
        for (a, b) in self.sides() {
            let steps = (libm::hypot(b[0] - a[0], b[1] - a[1]) / APART_PX).ceil();
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "outlines are kept in f32; a few hundred steps")]
            contour.points.extend((0..steps as u32).map(|k| {
                let t = f64::from(k) / steps;
                [0, 1].map(|i| (a[i] + t * (b[i] - a[i])) as f32)
            }));
        }
        contour
    }

    /// Of the places of a grid that lie inside, the one farthest from all sides: within a grid step of where the largest circle is.
    fn widest(&self) -> [f32; 2] {
        const STEPS: u32 = 24;
        let ends = |k: usize| self.rings[0].iter().fold([f64::MAX, f64::MIN], |e, p| [e[0].min(p[k]), e[1].max(p[k])]);
        let (x, y) = (ends(0), ends(1));
        let along = |e: [f64; 2], i: u32| e[0] + (e[1] - e[0]) * (f64::from(i) + 0.5) / f64::from(STEPS);
        let places = (0..STEPS * STEPS).map(|i| [along(x, i % STEPS), along(y, i / STEPS)]);
        let (_, place) = places.map(|p| (self.clear(p), p)).fold((0.0, [0.0; 2]), |top, next| if next.0 > top.0 { next } else { top });
        #[expect(clippy::cast_possible_truncation, reason = "places are kept in f32")]
        place.map(|c| c as f32)
    }

    /// Distance of a place inside from the nearest side; 0 outside (by counting the sides that a line to the right crosses).
    fn clear(&self, p: [f64; 2]) -> f64 {
        let crossed =
            |(a, b): &([f64; 2], [f64; 2])| (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
        if self.sides().filter(crossed).count() % 2 == 0 {
            return 0.0;
        }
        let far = |(a, b): ([f64; 2], [f64; 2])| {
            let d = [b[0] - a[0], b[1] - a[1]];
            let t = (((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / (d[0] * d[0] + d[1] * d[1])).clamp(0.0, 1.0);
            libm::hypot(p[0] - a[0] - t * d[0], p[1] - a[1] - t * d[1])
        };
        self.sides().map(far).fold(f64::MAX, f64::min)
    }

    /// Its shape by the program.
    fn shape(&self) -> Shape {
        let contour = self.contour();
        Shape::of(&contour, &convex_hull(&contour.points), contour.area_px2, (&mut Outline::default(), self.widest()))
    }
}

/// Points are kept in f32.
const SINGLE: f64 = 2e-6;
/// The search for the circle stops where leaps of a pixel lead no higher, so its diameter may be this much too small; what points 0.1 px apart
/// add is less.
const CIRCLE_PX: f64 = 0.06;

/// Holds the diameter of the largest circle against the true one, in px.
fn circle_near(found: f64, expected: f64, what: &str) {
    assert!((found - expected).abs() <= CIRCLE_PX, "{what}: circle found {found}, expected {expected}");
}

fn near(found: f64, expected: f64, allowed: f64, what: &str) {
    assert!((found - expected).abs() <= allowed, "{what}: found {found}, expected {expected}");
}

#[test]
fn polygons_have_the_shape_that_shapely_gives() {
    // shapes.json: shapely area, length, convex_hull and maximum_inscribed_circle; smallest Feret diameter over hull edges. Convexity as here:
    // hull's length over the whole length, holes with it.
    for case in values("shapes.json")["polygons"].as_array().unwrap() {
        let expected = |id: &str| number(&case[id]);
        let mut rings = vec![ring(&case["vertices"])];
        rings.extend(case["holes"].as_array().unwrap().iter().map(ring));
        let drawn = Drawn::new(&rings, expected("feret_max"));
        let (shape, name) = (drawn.shape(), case["name"].as_str().unwrap());
        for (found, expected, what) in [
            (shape.feret_max_px, DRAWN_PX, "largest Feret diameter"),
            (shape.feret_min_px, drawn.px * expected("feret_min"), "smallest Feret diameter"),
            (shape.perimeter_px, drawn.px * expected("perimeter"), "perimeter"),
        ] {
            near(found, expected, SINGLE * DRAWN_PX, &format!("{name}: {what}"));
        }
        near(shape.solidity, expected("solidity"), SINGLE, &format!("{name}: solidity"));
        near(shape.convexity, expected("hull_perimeter") / expected("perimeter"), SINGLE, &format!("{name}: convexity"));
        near(shape.aspect_ratio, expected("feret_min") / expected("feret_max"), SINGLE, &format!("{name}: aspect ratio"));
        circle_near(shape.inscribed_px, drawn.px * expected("inscribed_diameter"), name);
    }
}

#[test]
fn polygons_have_the_printed_shape() {
    // shape.*: shapely, numpy and closed forms.
    let ids = [
        "unit_square",
        "rectangle_3x1",
        "equilateral_triangle_side_1",
        "regular_hexagon_side_1",
        "L-shape",
        "right_triangle_3-4-5",
        "plus_(5_unit_cells)",
        "star_5/2_R=1",
        "irregular_9-gon",
    ];
    for id in ids {
        let case = check(&format!("shape.{id}"));
        let expected = |name: &str| number(&case["expected"][name]);
        let drawn = Drawn::new(&[ring(&case["inputs"]["vertices"])], expected("Feret max"));
        let shape = drawn.shape();
        near(drawn.contour().area_px2 / drawn.px / drawn.px, expected("A"), 1e-9 * expected("A"), id);
        near(shape.perimeter_px / drawn.px, expected("P"), 1e-9 * expected("P"), id);
        near(shape.feret_max_px, DRAWN_PX, SINGLE * DRAWN_PX, id);
        near(shape.feret_min_px, drawn.px * expected("Feret min"), SINGLE * DRAWN_PX, id);
        near(shape.aspect_ratio, expected("aspect ratio Fmin/Fmax"), SINGLE, id);
        near(shape.circularity, expected("circularity sqrt(4piA/P2)"), SINGLE, id);
        near(shape.solidity, expected("solidity A/A_hull"), SINGLE, id);
        near(shape.convexity, expected("convexity P_hull/P"), SINGLE, id);
        circle_near(shape.inscribed_px, drawn.px * expected("d_inscribed max"), id);
    }
    // An ellipse as a polygon of 5000 sides.
    let ellipse = |i: i32| {
        let turn = std::f64::consts::TAU * f64::from(i) / 5000.0;
        [2.0 * libm::cos(turn), libm::sin(turn)]
    };
    let expected = check("shape.ellipse2x1")["expected"].clone();
    let shape = Drawn::new(&[(0..5000).map(ellipse).collect()], 4.0).shape();
    near(shape.circularity, number(&expected["circularity"]), SINGLE, "ellipse");
    near(shape.aspect_ratio, number(&expected["Feret min"]) / number(&expected["Feret max"]), SINGLE, "ellipse");
    circle_near(shape.inscribed_px, DRAWN_PX / 2.0, "ellipse");
}

#[test]
fn outlines_of_pictures_have_the_shape_that_shapely_gives() {
    // shapes.json: skimage.measure.find_contours, then as above. Ours reads in f32. The circle is held by the ends of the line's pieces alone,
    // up to √2 px apart: between two of them it may reach beyond the line by 1 / 4r, on each side.
    for case in values("shapes.json")["pictures"].as_array().unwrap() {
        let expected = |id: &str| number(&case[id]);
        let (picture, width) = heights(case);
        let mut contour = Contour::default();
        trace(&picture, width, 0.0, Sides::default(), true, &mut contour);
        let hull = convex_hull(&contour.points);
        // Pixel centres lie at whole numbers there, half a pixel on here; the search begins a quarter of the radius aside.
        let aside = 0.25 * 0.5 * expected("inscribed_diameter") + 0.5;
        #[expect(clippy::cast_possible_truncation, reason = "places are kept in f32")]
        let start = [0, 1].map(|k| (number(&case["inscribed_at"][k]) + aside) as f32);
        let shape = Shape::of(&contour, &hull, contour.area_px2, (&mut Outline::default(), start));
        let name = case["name"].as_str().unwrap();
        for (found, expected, what) in [
            (contour.area_px2, expected("area"), "area"),
            (shape.perimeter_px, expected("perimeter"), "perimeter"),
            (polygon_area(&hull), expected("hull_area"), "hull area"),
            (polygon_length(&hull), expected("hull_perimeter"), "hull length"),
            (shape.solidity, expected("solidity"), "solidity"),
            (shape.convexity, expected("hull_perimeter") / expected("perimeter"), "convexity"),
            (shape.feret_max_px, expected("feret_max"), "largest Feret diameter"),
            (shape.feret_min_px, expected("feret_min"), "smallest Feret diameter"),
        ] {
            near(found, expected, 2e-5 * expected.max(1.0), &format!("{name}: {what}"));
        }
        let circle = expected("inscribed_diameter");
        let off = shape.inscribed_px - circle;
        assert!(-CIRCLE_PX <= off && off <= 1.0 / circle, "{name}: circle {} {circle}", shape.inscribed_px);
    }
}
