//! Labels, distances, outlines: scikit-image, scipy, shapely, imageproc.

use evenfilm_core::gaps::{CIRCLE_TOLERANCE, circle_outside};
use evenfilm_core::objects::distance_squared;
use evenfilm_core::phases::{Run, RunMap, join};
use evenfilm_core::plane::Rect;
use evenfilm_core::shape::{Contour, Sides, convex_hull, feret, polygon_area, trace};
use evenfilm_tests::{bits, cases, check, digits, heights, number, numbers, reference};
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
    RunMap::from_pieces(rows, || pieces.iter().copied())
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
        let picture: Vec<bool> = digits(seed).map(|d| d < density).take(width * height).collect();
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

#[test]
fn largest_circles_agree_with_a_look_at_every_place() {
    // circles.json: scikit-image's outlines, scipy's tree of points, every place of a grid of 0.05 px. Ours leaves out the slanting corners
    // of outlines, at most 0.06 px.
    for case in cases("circles.json") {
        let (picture, width) = bits(&case);
        let particle = runs(&picture, width);
        let frame = Rect::new(0, 0, u32::try_from(width).unwrap(), u32::try_from(picture.len() / width).unwrap());
        let mut clear = particle.complement(frame.width);
        let nothing = vec![0; clear.runs.len()];
        let pieces = join(&mut clear, &nothing, false, |_| true);
        let radii = (0..).zip(&pieces).map(|(own, piece)| circle_outside(&particle, (&clear, own), piece.at, frame));
        let (found, expected) = (radii.fold(0.0, f64::max), number(&case["radius"]));
        assert!(found - expected < 0.1 && expected - found < CIRCLE_TOLERANCE + 1e-3, "{}: {found} {expected}", case["name"]);
    }
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

/// A binary picture of which each pixel is said to be inside or not, as heights with a ring of pixels outside.
fn ringed(width: usize, height: usize, inside: impl Fn(usize, usize) -> bool) -> (Vec<f32>, usize) {
    let across = width + 2;
    let at =
        |i: usize| (1..=width).contains(&(i % across)) && (1..=height).contains(&(i / across)) && inside(i % across - 1, i / across - 1);
    ((0..across * (height + 2)).map(|i| if at(i) { 0.5 } else { -0.5 }).collect(), across)
}

fn traced((values, width): &(Vec<f32>, usize)) -> Contour {
    let mut contour = Contour::default();
    trace(values, *width, 0.0, Sides::default(), true, &mut contour);
    contour
}

/// The Crofton perimeter of two directions: π/4 for each crossing of the line with the grid, which is where its straight pieces end.
fn crofton_2(contour: &Contour) -> f64 {
    std::f64::consts::FRAC_PI_4 * contour.points.len() as f64
}

#[test]
fn raster_shapes_agree_with_scikit_image() {
    // raster.*: scikit-image 0.26.0. Its area and equal-area diameter count pixels; its Euler number is our turning; its Crofton perimeter of
    // two directions counts grid crossings; its largest Feret diameter is that of the same line as ours around the picture's hull, so it
    // is compared where the hull has the same pixels (solidity 1) or the same farthest corners (the L).
    // Not compared: its other perimeters, which weigh pixels of the rim or count diagonals too, and its solidity, which divides pixels.
    type Inside = Box<dyn Fn(usize, usize) -> bool>;
    let disc = |r: f64| {
        let n = check(&format!("raster.disc_r{r:.1}"))["inputs"]["N"].as_u64().unwrap();
        let centre = (n as f64 - 1.0) / 2.0;
        let inside: Inside = Box::new(move |x, y| (x as f64 - centre).powi(2) + (y as f64 - centre).powi(2) <= r * r);
        (format!("raster.disc_r{r:.1}"), usize::try_from(n).unwrap(), inside)
    };
    let rectangle: Inside = Box::new(|x, y| (5..25).contains(&x) && (4..14).contains(&y));
    let corner: Inside = Box::new(|x, y| (5..15).contains(&x) && (5..35).contains(&y) || (5..30).contains(&x) && (25..35).contains(&y));
    let mut shapes: Vec<(String, usize, Inside)> = [3.0, 5.5, 10.0, 20.0, 50.0].map(disc).into();
    shapes.push(("raster.rect20x10".into(), 30, rectangle));
    shapes.push(("raster.L".into(), 40, corner));
    for (id, n, inside) in shapes {
        let expected = check(&id)["expected"].clone();
        let (_, found) = joined(&(0..n * n).map(|i| inside(i % n, i / n)).collect::<Vec<_>>(), n);
        assert_eq!((found.len(), found[0].0 as f64), (1, number(&expected["area_px"])), "{id}");
        let near =
            |found: f64, name: &str| assert!((found - number(&expected[name])).abs() < 1e-6, "{id} {name}: {found} {}", expected[name]);
        near(2.0 * (found[0].0 as f64 / std::f64::consts::PI).sqrt(), "equivalent_diameter_area");
        let contour = traced(&ringed(n, n, inside));
        near(contour.quarter_turns as f64 / 4.0, "euler_number");
        near(crofton_2(&contour), "perimeter_crofton (2 dir)");
        if id == "raster.L" || number(&expected["solidity"]) > 1.0 - 1e-9 {
            near(feret(&convex_hull(&contour.points)).0, "feret_diameter_max (skimage, subpixel marching squares)");
        }
    }
}

#[test]
fn the_line_around_the_coins_crosses_the_grid_as_often_as_printed() {
    // raster.perimeter.coins: docstring of skimage.measure.perimeter_crofton, two directions, printed to 3 decimals (cut, not rounded). The
    // other three perimeters printed there are of other estimators than ours (see above).
    let picture = image::open(reference().join("coins/coins.png")).unwrap().into_luma8();
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    // The picture is turned over: 255 − level > 110.
    let contour = traced(&ringed(width, height, |x, y| picture.as_raw()[y * width + x] < 145));
    let printed = number(&check("raster.perimeter.coins")["expected"]["perimeter_crofton(directions=2)"]);
    assert!((crofton_2(&contour) - printed).abs() < 1e-3, "{} {printed}", crofton_2(&contour));
}

proptest! {
    #[test]
    fn distances_agree_with_their_definition(width in 0usize..5, height in 0usize..80, seed in any::<u64>(), outside in 0u64..3, turned in any::<bool>()) {
        // Long thin pictures with few pixels outside or none: far and near distances, down the columns and along the rows.
        let (width, height) = if turned { (height, width) } else { (width, height) };
        let inside: Vec<bool> = digits(seed).zip(digits(!seed)).map(|(a, b)| a * 10 + b >= outside).take(width * height).collect();
        let out: Vec<usize> = (0..inside.len()).filter(|&i| !inside[i]).collect();
        let apart = |i: usize, j: usize| (i % width).abs_diff(j % width).pow(2) + (i / width).abs_diff(j / width).pow(2);
        let nothing_outside = (1 << 31) - 2;
        let expected: Vec<usize> = (0..inside.len()).map(|i| out.iter().map(|&j| apart(i, j)).min().unwrap_or(nothing_outside)).collect();
        let found: Vec<usize> = distance_squared(&inside, width).into_iter().map(|d| d as usize).collect();
        prop_assert_eq!(found, expected);
    }

    #[test]
    fn lines_agree_with_polygons_clipped_square_by_square(width in 0usize..9, height in 0usize..9, seed in any::<u64>(), sides in 0u8..16) {
        let values: Vec<f32> = digits(seed).map(|d| f32::from(u8::try_from(d).unwrap()) - 4.5).take(width * height).collect();
        let side = |bit: u8| sides & 1 << bit != 0;
        let frame = Sides { left: side(0), right: side(1), top: side(2), bottom: side(3) };
        let mut contour = Contour::default();
        trace(&values, width, 0.0, frame, true, &mut contour);
        let (columns, rows) = (lines(width, [frame.left, frame.right]), lines(height, [frame.top, frame.bottom]));
        let (mut area, mut perimeter, mut turns) = (0.0, 0.0, 0);
        for (top, bottom) in rows.iter().zip(rows.iter().skip(1)) {
            for (left, right) in columns.iter().zip(columns.iter().skip(1)) {
                let corner = |x: &(f64, usize), y: &(f64, usize)| ([x.0, y.0], f64::from(values[y.1 * width + x.1]));
                for piece in clipped([corner(left, top), corner(right, top), corner(right, bottom), corner(left, bottom)]) {
                    area += polygon_area(&piece.corners);
                    perimeter += piece.cut;
                    turns += piece.quarter_turns;
                }
            }
        }
        // Sums of f32.
        prop_assert!((contour.area_px2 - area).abs() < 1e-4, "area {} {area}", contour.area_px2);
        prop_assert!((contour.perimeter_px - perimeter).abs() < 1e-4, "perimeter {} {perimeter}", contour.perimeter_px);
        prop_assert_eq!(contour.quarter_turns, turns);
    }
}

/// Places of the grid lines through values in a row of `count`, with the value that stands there: on the frame the outermost once more.
fn lines(count: usize, [first, last]: [bool; 2]) -> Vec<(f64, usize)> {
    let mut lines: Vec<(f64, usize)> = (0..count).map(|i| (i as f64 + 0.5, i)).collect();
    if first && count > 0 {
        lines.insert(0, (0.0, 0));
    }
    if last && count > 0 {
        lines.push((count as f64, count - 1));
    }
    lines
}

/// What lies inside a square.
struct Piece {
    corners: Vec<[f64; 2]>,
    /// Length of its sides inside the square.
    cut: f64,
    /// Corners of the square that it turns around, less those that it leaves out.
    quarter_turns: i64,
}

/// The parts of a square with values at its corners, in order around it, where these are above 0: along its sides from crossing to crossing.
fn clipped(corners: [([f64; 2], f64); 4]) -> Vec<Piece> {
    let mut around: Vec<([f64; 2], bool, bool)> = Vec::new();
    for (k, &(place, value)) in corners.iter().enumerate() {
        let (next, other) = corners[(k + 1) % 4];
        if value > 0.0 {
            around.push((place, true, false));
        }
        if (value > 0.0) != (other > 0.0) {
            let share = value / (value - other);
            around.push(([0, 1].map(|k| place[k] + share * (next[k] - place[k])), false, value > 0.0));
        }
    }
    let length = |a: [f64; 2], b: [f64; 2]| libm::hypot(a[0] - b[0], a[1] - b[1]);
    let opposite = corners.iter().filter(|c| c.1 > 0.0).count() == 2 && (corners[0].1 > 0.0) == (corners[2].1 > 0.0);
    let apart = opposite && corners.iter().map(|c| c.1).sum::<f64>() <= 0.0;
    let rings: Vec<Vec<([f64; 2], bool, bool)>> = if apart {
        // Two triangles, each the corner and the crossings beside it.
        let n = around.len();
        let corner = |i: &usize| around[*i].1;
        (0..n).filter(corner).map(|i| vec![around[(i + n - 1) % n], around[i], around[(i + 1) % n]]).collect()
    } else {
        vec![around]
    };
    let piece = |ring: Vec<([f64; 2], bool, bool)>| {
        let inside = ring.iter().filter(|p| p.1).count();
        // A side that leaves the square's rim joins a crossing to the inside's left with the next crossing.
        let cut = (0..ring.len()).filter(|&i| ring[i].2).map(|i| length(ring[i].0, ring[(i + 1) % ring.len()].0)).sum();
        let quarter_turns = match (inside, opposite) {
            (1, _) => 1,
            (2, true) => -2,
            (3, _) => -1,
            _ => 0,
        };
        Piece { corners: ring.iter().map(|p| p.0).collect(), cut, quarter_turns }
    };
    rings.into_iter().map(piece).collect()
}
