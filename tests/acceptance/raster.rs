//! Labels, distances, outlines: scikit-image, scipy, shapely, imageproc.

use evenfilm_core::gaps::distance_squared;
use evenfilm_core::phases::{Run, RunMap, join};
use evenfilm_core::plane::Rect;
use evenfilm_core::shape::{Contour, Shape, Sides, convex_hull, feret, polygon_area, trace};
use evenfilm_tests::{bits, cases, check, number, numbers};
use proptest::prelude::*;
use serde_json::Value;

/// Runs of a binary picture.
fn runs(bits: &[bool], width: usize) -> RunMap {
    let mut pieces = Vec::new();
    for (y, row) in (0u32..).zip(bits.chunks(width.max(1))) {
        let mut x = 0;
        while x < row.len() {
            let length = row[x..].iter().take_while(|&&b| b == row[x]).count();
            if row[x] {
                pieces.push((y, Run { x0: u32::try_from(x).unwrap(), x1: u32::try_from(x + length).unwrap() }, 0));
            }
            x += length;
        }
    }
    let rows = u32::try_from(bits.len() / width.max(1)).unwrap();
    RunMap::from_pieces(rows, &pieces)
}

fn joined(bits: &[bool], width: usize) -> (RunMap, Vec<(u64, Rect)>) {
    let mut map = runs(bits, width);
    let levels = vec![0; map.runs.len()];
    let found = join(&mut map, &levels, true, |_| true);
    (map, found.iter().map(|c| (c.area, c.at)).collect())
}

fn corners(at: Rect) -> Vec<f64> {
    [at.x, at.y, at.right(), at.bottom()].map(f64::from).to_vec()
}

#[test]
fn components_agree_with_scikit_image() {
    // labels.json: skimage.measure.label, 8-connected; areas and boxes in order of first pixel.
    for case in cases("labels.json") {
        let (picture, width) = bits(&case);
        let (_, found) = joined(&picture, width);
        let expected = &case["connectivity_8"];
        let areas: Vec<f64> = found.iter().map(|f| f.0 as f64).collect();
        assert_eq!(areas, numbers(&expected["areas"]), "{}", case["name"]);
        let boxes: Vec<Vec<f64>> = expected["boxes"].as_array().unwrap().iter().map(numbers).collect();
        assert_eq!(found.iter().map(|f| corners(f.1)).collect::<Vec<_>>(), boxes, "{}", case["name"]);
    }
}

#[test]
fn areas_and_boxes_agree_with_regionprops() {
    // moments.json: skimage.measure.regionprops.
    for case in cases("moments.json") {
        let (picture, width) = bits(&case);
        let (_, found) = joined(&picture, width);
        let objects = case["objects"].as_array().unwrap();
        assert_eq!(found.len(), objects.len(), "{}", case["name"]);
        for ((area, at), object) in found.iter().zip(objects) {
            assert_eq!(Some(*area), object["area"].as_u64());
            assert_eq!(corners(*at), numbers(&object["box"]));
        }
    }
}

proptest! {
    #[test]
    fn components_agree_with_imageproc(width in 2usize..24, height in 2usize..24, seed in any::<u64>(), density in 1u64..10) {
        // imageproc 0.27 region_labelling::connected_components, eight neighbours; it panics itself on pictures of one row or column,
        // which labels.json covers.
        let mut state = seed;
        let mut next = || { state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407); (state >> 33) % 10 < density };
        let picture: Vec<bool> = (0..width * height).map(|_| next()).collect();
        let (map, found) = joined(&picture, width);
        let grey = image::GrayImage::from_vec(u32::try_from(width).unwrap(), u32::try_from(height).unwrap(), picture.iter().map(|&b| u8::from(b) * 255).collect()).unwrap();
        let labels = imageproc::region_labelling::connected_components(&grey, imageproc::region_labelling::Connectivity::Eight, image::Luma([0u8]));
        let theirs = labels.pixels().map(|p| p[0]).max().unwrap_or(0);
        prop_assert_eq!(found.len(), theirs as usize);
        // Pixels of one run have one of their labels, and each of ours maps to one of theirs.
        let mut known = vec![0u32; found.len()];
        for y in 0..u32::try_from(map.row_start.len() - 1).unwrap() {
            for i in map.row(y) {
                for x in map.runs[i].x0..map.runs[i].x1 {
                    let label = labels.get_pixel(x, y)[0];
                    let ours = &mut known[map.owner[i] as usize];
                    prop_assert!(*ours == 0 || *ours == label);
                    *ours = label;
                }
            }
        }
    }
}

#[test]
fn distances_agree_with_scipy() {
    // distance.json: scipy.ndimage.distance_transform_edt, squared; includes check id gap.edt4discs.
    for case in cases("distance.json") {
        let (picture, width) = bits(&case);
        let found = distance_squared(&picture, width);
        let expected: Vec<f64> = case["squared"].as_array().map(|rows| rows.iter().flat_map(numbers).collect()).unwrap_or_default();
        if expected.len() == found.len() {
            assert_eq!(found.iter().map(|&d| d as f64).collect::<Vec<_>>(), expected, "{}", case["name"]);
        }
        if picture.contains(&false) && !case["largest"].is_null() {
            let largest = found.iter().max().map_or(0.0, |&d| (d as f64).sqrt());
            assert!((largest - number(&case["largest"])).abs() < 1e-9, "{}", case["name"]);
        }
    }
}

/// Height inside positive, twice the levels so that half levels are whole.
fn heights(case: &Value) -> (Vec<f32>, usize) {
    let darker = case["inside_is_darker"] == true;
    let level = number(&case["level"]);
    let rows: Vec<Vec<f64>> = case["pixels"].as_array().unwrap().iter().map(numbers).collect();
    let width = rows[0].len();
    #[expect(clippy::cast_possible_truncation, reason = "levels and halves are exact in f32")]
    let values = rows.concat().iter().map(|v| (if darker { level - v } else { v - level }) as f32).collect();
    (values, width)
}

#[test]
fn outlines_agree_with_find_contours_and_shapely() {
    // outlines.json: skimage.measure.find_contours; area, length, hull by shapely. Ours read in f32: 2e-5.
    for case in cases("outlines.json") {
        let (values, width) = heights(&case);
        let mut contour = Contour::default();
        trace(&values, width, 0.0, Sides::default(), true, &mut contour);
        let rings = case["rings"].as_array().unwrap();
        let near = |found: f64, expected: &Value, what: &str| {
            let expected = number(expected);
            assert!((found - expected).abs() < 2e-5 * expected.max(1.0), "{} {what}: {found} {expected}", case["name"]);
        };
        near(contour.area_px2, &case["area"], "area");
        near(contour.perimeter_px, &case["perimeter"], "perimeter");
        let turns: i64 = rings.iter().map(|r| if r["hole"] == true { -4 } else { 4 }).sum();
        assert_eq!(contour.quarter_turns, turns, "{}", case["name"]);
        if rings.iter().filter(|r| r["hole"] == false).count() == 1 {
            let hull = convex_hull(&contour.points);
            let (largest, smallest) = feret(&hull);
            near(largest, &rings[0]["feret_max"], "largest Feret diameter");
            near(smallest, &rings[0]["feret_min"], "smallest Feret diameter");
            near(polygon_area(&hull), &rings[0]["hull_area"], "hull");
        }
    }
}

#[test]
fn raster_discs_have_the_printed_area() {
    // raster.*: scikit-image 0.26.0. Its Feret diameter of a mask is that of a hull picture of pixel corners, another measure than ours.
    for r in [3.0, 5.5, 10.0, 20.0, 50.0] {
        let case = check(&format!("raster.disc_r{r:.1}"));
        let n = usize::try_from(case["inputs"]["N"].as_u64().unwrap()).unwrap();
        let centre = (n as f64 - 1.0) / 2.0;
        let inside = |i: usize| ((i % n) as f64 - centre).powi(2) + ((i / n) as f64 - centre).powi(2) <= r * r;
        let (_, found) = joined(&(0..n * n).map(inside).collect::<Vec<_>>(), n);
        assert_eq!((found.len(), found[0].0 as f64), (1, number(&case["expected"]["area_px"])));
        let diameter = 2.0 * (found[0].0 as f64 / std::f64::consts::PI).sqrt();
        assert!((diameter - number(&case["expected"]["equivalent_diameter_area"])).abs() < 1e-9);
    }
}

#[test]
fn polygons_have_the_printed_shape() {
    // shape.*: shapely/numpy and closed forms.
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
        let corners: Vec<[f64; 2]> =
            case["inputs"]["vertices"].as_array().unwrap().iter().map(|v| [number(&v[0]), number(&v[1])]).collect();
        #[expect(clippy::cast_possible_truncation, reason = "outlines are kept in f32")]
        let points: Vec<[f32; 2]> = corners.iter().map(|c| [c[0] as f32, c[1] as f32]).collect();
        let hull = convex_hull(&points);
        let (largest, smallest) = feret(&hull);
        let expected = &case["expected"];
        for (found, name) in [
            (polygon_area(&corners), "A"),
            (largest, "Feret max"),
            (smallest, "Feret min"),
            (smallest / largest, "aspect ratio Fmin/Fmax"),
            (polygon_area(&corners) / polygon_area(&hull), "solidity A/A_hull"),
        ] {
            assert!((found - number(&expected[name])).abs() < 1e-6, "{id} {name}: {found} {}", expected[name]);
        }
    }
    assert!(Shape::of(&Contour::default(), &[], 0.0, [0.0; 2]).perimeter_px.abs() < 1e-12);
}
