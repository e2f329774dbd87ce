//! Basins of distances: scipy, scikit-image.

use evenfilm_core::objects::basins::{Basin, Flood};
use evenfilm_core::objects::distance_squared;
use evenfilm_tests::{bits, cases, number, numbers};

/// The basins of a mask with a ring of pixels outside around it, deeper than `h`.
fn basins(flood: &mut Flood, (mask, width): (&[bool], usize), h: f64) -> Vec<Basin> {
    let across = width + 2;
    let mut ringed = vec![false; across];
    for row in mask.chunks(width.max(1)) {
        ringed.push(false);
        ringed.extend_from_slice(row);
        ringed.push(false);
    }
    ringed.resize(ringed.len() + across, false);
    // As in split.json, a depth of exactly h counts whichever way its root was rounded.
    flood.basins(&distance_squared(&ringed, across), across, |peak, saddle| peak - saddle >= h - 1e-9)
}

#[test]
fn basins_agree_with_scikit_image() {
    // split.json: distances by scipy.ndimage.distance_transform_edt; peaks by skimage.morphology.reconstruction and local_maxima, agreed with
    // merging from the top.
    let mut flood = Flood::default();
    for case in cases("split.json") {
        let (mask, width) = bits(&case);
        for h in [0.5, 0.6, 1.0, 2.0] {
            let found = basins(&mut flood, (&mask, width), h);
            assert_eq!(Some(found.len() as u64), case[format!("h {h}")]["basins"].as_u64(), "{} at {h}", case["name"]);
            let largest = found.iter().map(|b| b.peak2).max().map_or(0.0, |d| (d as f64).sqrt());
            assert!((largest - number(&case["largest_distance"])).abs() < 1e-9, "{}", case["name"]);
        }
    }
}

#[test]
fn areas_of_basins_agree_with_the_watershed() {
    // split.json: skimage.segmentation.watershed, as a range over the eight orders of flooding that flips and turns give. The source gives
    // each cell that lies equally near to two basins to one of them; ours shares it. So up to 2.5 % of a mask's cells may lie outside the
    // ranges, and up to 11 % where whole basins that are not deep enough lie between others at saddles of one height: in masks of a few
    // cells' width, an uneven ring, and at a depth of 2 px.
    let mut flood = Flood::default();
    for case in cases("split.json") {
        let (mask, width) = bits(&case);
        let name = case["name"].as_str().unwrap();
        let many = ["density", "blobs, length 1.0", "ring, eccentric"].iter().any(|n| name.starts_with(n));
        let cells = mask.iter().filter(|m| **m).count() as f64;
        for h in [0.5, 0.6, 1.0, 2.0] {
            let mut areas: Vec<f64> = basins(&mut flood, (&mask, width), h).iter().map(|b| b.cells).collect();
            areas.sort_by(|a, b| b.total_cmp(a));
            assert!((areas.iter().sum::<f64>() - cells).abs() < 1e-6, "{name}");
            let expected = &case[format!("h {h}")];
            let ranges = numbers(&expected["areas_low"]).into_iter().zip(numbers(&expected["areas_high"]));
            let outside: f64 = areas.iter().zip(ranges).map(|(area, (low, high))| (low - area).max(area - high).max(0.0)).sum();
            let allowed = if many || h > 1.5 { 0.11 } else { 0.025 };
            assert!(outside <= allowed * cells, "{name} at {h}: {outside} of {cells} cells");
        }
    }
}

#[test]
fn masks_without_an_outside_or_without_cells_have_their_basins() {
    // By definition: without an outside all places are equally far, which is one basin; nothing has none.
    let mut flood = Flood::default();
    for (width, height) in [(1, 1), (1, 7), (7, 1), (5, 4)] {
        let found = flood.basins(&distance_squared(&vec![true; width * height], width), width, |_, _| true);
        assert_eq!(found.iter().map(|b| b.cells).collect::<Vec<_>>(), [(width * height) as f64]);
        assert!(flood.basins(&distance_squared(&vec![false; width * height], width), width, |_, _| true).is_empty());
    }
    for width in [0, 3] {
        assert!(flood.basins(&distance_squared(&[], width), width, |_, _| true).is_empty());
    }
}
