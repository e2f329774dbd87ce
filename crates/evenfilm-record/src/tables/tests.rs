//! Tables under test: columns, quoting, metadata.

use std::time::Instant;

use evenfilm_core::gaps::{Gap, GapMeasure, ToldGap};
use evenfilm_core::objects::{CoreFrom, Measure, Object, SizedBy, Told};
use evenfilm_core::plane::Rect;
use evenfilm_core::quantity::{Interval, QUANTITIES};
use evenfilm_core::recipe::{GapKind, Kind};
use evenfilm_core::shape::Shape;

use super::*;
use crate::csvw;

fn read(csv: &[u8]) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(csv);
    reader.records().map(|line| line.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn object(x: f64) -> Object {
    Object {
        at: Rect::new(0, 0, 9, 9),
        centroid_px: [x, 20.25],
        surround: 1000,
        core: 100,
        core_from: CoreFrom::Own,
        area_px2: [70.0, 64.123_456_789_1, 60.0],
        sized_by: SizedBy::Deficit,
        shape: Shape {
            feret_max_px: 9.5,
            feret_min_px: 8.5,
            perimeter_px: 28.3,
            circularity: 0.991,
            solidity: 0.99,
            aspect_ratio: 0.9,
            convexity: 0.98,
            inscribed_px: 8.25,
        },
        od: [0.61, 0.95],
        touches_frame: false,
        weight: Some(1.02),
        constituents_px2: Box::default(),
        necks_px: Box::default(),
        told: Told { kind: Kind::Powder, by: Measure::Elongation, value: 1.25 },
    }
}

fn cells<R>(table: &Table<R>, row: &R) -> Vec<(String, String)> {
    let lines = read(&table.csv([row]));
    lines[0].iter().cloned().zip(lines[1].iter().cloned()).collect()
}

fn cell(cells: &[(String, String)], id: &str) -> String {
    cells.iter().find(|(name, _)| name == id).unwrap_or_else(|| panic!("no column {id}")).1.clone()
}

/// `csv.rfc4180` of the check values (RFC 4180, section 2).
#[test]
fn quoting_is_that_of_the_standard() {
    let mut out = Vec::new();
    for (text, end) in [("1", b','), ("ha \"ha\" ha", b';')] {
        push_text(&mut out, text);
        out.push(end);
    }
    assert_eq!(String::from_utf8(out).unwrap(), "1,\"ha \"\"ha\"\" ha\";");
    let all = ["a,b", "two\r\nlines", "\"", "Φ µm 🧴", " blank ", "", "\n"];
    let row = RecordRow { texts: vec![("lot", String::new()), ("product", "x".into())], ..RecordRow::default() };
    for text in all {
        let row = RecordRow { texts: vec![("lot", text.into()), ("product", "x".into())], ..row.clone() };
        let expected = if text.starts_with('\n') { format!("'{text}") } else { text.into() };
        assert_eq!(cell(&cells(&record(), &row), "lot"), expected);
    }
}

#[test]
fn formulas_are_neutralised_and_numbers_are_not() {
    for text in ["=cmd|' /C calc'!A0", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"] {
        let row = RecordRow { texts: vec![("lot", text.into())], um_per_px: -0.25, ..RecordRow::default() };
        let cells = cells(&record(), &row);
        assert_eq!(cell(&cells, "lot"), format!("'{text}"));
        assert_eq!(cell(&cells, "um_per_px"), "-0.25");
    }
}

#[test]
fn lines_end_with_cr_lf_and_have_all_cells() {
    let table = objects();
    let object = object(1.0);
    let rows = [1, 2].map(|id| ObjectRow {
        field: 1,
        id,
        object: &object,
        counted: true,
        agglomerate: false,
        um_per_px: 0.25,
        microscope: "",
        by_hand: false,
        edge: None,
    });
    let csv = String::from_utf8(table.csv(&rows)).unwrap();
    assert_eq!(csv.matches("\r\n").count(), 3);
    assert_eq!(csv.matches('\n').count(), 3);
    assert!(csv.lines().all(|line| line.split(',').count() == table.columns.len()));
}

#[test]
fn objects_are_in_micrometres() {
    let object = object(10.5);
    let row = ObjectRow {
        field: 3,
        id: 7,
        object: &object,
        counted: false,
        agglomerate: false,
        um_per_px: 0.25,
        microscope: "",
        by_hand: false,
        edge: Some((1.5, true)),
    };
    let cells = cells(&objects(), &row);
    let expected = "field id x_um y_um kind counted area_um2 diameter_um feret_max_um feret_min_um perimeter_um circularity solidity \
                    aspect_ratio od_mean od_peak constituents agglomerate touches_frame weight sized_by convexity inscribed_um kind_by \
                    kind_value microscope edge_um unsharp";
    assert_eq!(cells.iter().map(|(id, _)| id.as_str()).collect::<Vec<_>>(), expected.split(' ').collect::<Vec<_>>());
    let values: Vec<&str> = cells.iter().map(|(_, value)| value.as_str()).collect();
    let expected = "3 7 2.625 5.0625 powder false 4.00771605 2.25893394 2.375 2.125 7.075 0.991 0.99 0.9 0.61 0.95 1 false false 1.02 deficit 0.98 2.0625 \
                    elongation 1.25  0.375 true";
    assert_eq!(values, expected.split(' ').collect::<Vec<_>>());
}

#[test]
fn the_shape_of_what_the_frame_cuts_is_not_measured() {
    let object = Object { touches_frame: true, weight: None, ..object(10.5) };
    let cells = cells(
        &objects(),
        &ObjectRow {
            field: 3,
            id: 7,
            object: &object,
            counted: true,
            agglomerate: false,
            um_per_px: 0.25,
            microscope: "",
            by_hand: false,
            edge: None,
        },
    );
    for id in ["perimeter_um", "circularity", "solidity", "aspect_ratio", "convexity", "inscribed_um", "weight"] {
        assert_eq!(cell(&cells, id), "", "{id}");
    }
    assert_eq!(cell(&cells, "feret_max_um"), "2.375");
    assert_eq!(cell(&cells, "diameter_um"), "2.25893394");
}

#[test]
fn gaps_have_the_columns_of_the_design() {
    let gap = Gap {
        at: Rect::new(0, 0, 40, 40),
        centroid_px: [100.0, 50.0],
        area_px2: [1000.0, 900.0, 800.0],
        perimeter_px: 110.0,
        largest_circle_px: 30.0,
        circle_centre_px: [100.0, 50.0],
        touches_frame: true,
        told: ToldGap { kind: GapKind::Unsure, by: GapMeasure::Size, value: 4.5 },
        in_hollow: false,
    };
    let cells = cells(&gaps(), &GapRow { field: 1, id: 1, gap: &gap, counted: true, um_per_px: 0.5, microscope: "40x", by_hand: false });
    let line: Vec<String> = cells.iter().map(|(id, value)| format!("{id}={value}")).collect();
    let expected = "field=1 id=1 x_um=50 y_um=25 kind=unsure area_um2=225 diameter_um=16.9256875 largest_circle_um=15 touches_frame=true counted=true kind_by=size kind_value=4.5 microscope=40x";
    assert_eq!(line.join(" "), expected);
}

#[test]
fn the_record_begins_as_designed_and_has_every_quantity() {
    let count = QUANTITIES.len();
    let row = RecordRow { values: vec![Some(1.5); count], ci95: vec![None; count], ..RecordRow::default() };
    let cells = cells(&record(), &row);
    let expected = "lot product purpose revision sampled_on measured_at operator bench setting recipe recipe_sha256 scale_source scale_date \
                    um_per_px program_version verdict verdict_scope flags microscope";
    let ids: Vec<&str> = cells.iter().map(|(id, _)| id.as_str()).collect();
    assert_eq!(ids[..19], expected.split(' ').collect::<Vec<_>>());
    for quantity in QUANTITIES {
        assert_eq!(cell(&cells, quantity.id), "1.5");
        let has = |ending: &str| ids.contains(&format!("{}_{ending}", quantity.id).as_str());
        let expected = match quantity.interval {
            Interval::None => [false; 4],
            Interval::Largest => [true, false, false, false],
            Interval::BetweenFields => [true, true, false, false],
            Interval::Rare(_) | Interval::Tail(_) => [true, false, true, true],
        };
        assert_eq!(["ci95", "u95", "low95", "high95"].map(has), expected, "{}", quantity.id);
    }
    let mut once = ids.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), ids.len(), "no column stands twice");
}

#[test]
fn metadata_names_every_column_once_in_order() {
    fn check<R>(table: &Table<R>) {
        let metadata: serde_json::Value = serde_json::from_slice(&csvw::metadata(table)).unwrap();
        assert_eq!(metadata["@context"][0], "http://www.w3.org/ns/csvw");
        assert_eq!(metadata["url"], format!("{}.csv", table.name));
        let columns = metadata["tableSchema"]["columns"].as_array().unwrap();
        assert_eq!(columns.len(), table.columns.len());
        for (described, column) in columns.iter().zip(&table.columns) {
            assert_eq!(described["name"], *column.id);
            let title = described["titles"].as_str().or(described["titles"][0].as_str());
            assert_eq!(title, Some(&*column.id));
            assert!(!described["dc:description"].as_str().unwrap().is_empty(), "{}", column.id);
            assert_eq!(described.get("schema:unitText").is_some(), !column.unit.is_empty());
        }
    }
    check(&record());
    check(&fields());
    check(&objects());
    check(&gaps());
    check(&corrections());
    check(&uncertainty());
    check(&decisions());
    check(&record_uncorrected());
    check(&record_without_rejected());
}

/// 30,000 objects take some 10 ms; the bar is wide so that a busy machine does not fail it.
#[test]
fn many_objects_are_written_fast() {
    let many: Vec<Object> = (0..30_000).map(|i| object(f64::from(i) * 0.137)).collect();
    let row = |(i, object)| ObjectRow {
        field: 1,
        id: i + 1,
        object,
        counted: true,
        agglomerate: false,
        um_per_px: 0.2501,
        microscope: "",
        by_hand: false,
        edge: None,
    };
    let start = Instant::now();
    let rows: Vec<_> = many.iter().enumerate().map(row).collect();
    let csv = objects().csv(&rows);
    let took = start.elapsed();
    println!("30,000 objects: {} bytes in {took:?}", csv.len());
    assert!(took.as_millis() < 500);
}
