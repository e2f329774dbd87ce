//! Overlays under test: colours, patterns, sizes.

use std::time::Instant;

use evenfilm_core::field::{Ground, Judged};
use evenfilm_core::gaps::{Gap, GapMeasure, ToldGap};
use evenfilm_core::objects::{Calibration, CoreFrom, Measure, Object, SizedBy, Told};
use evenfilm_core::phases::{Run, RunMap};
use evenfilm_core::quality::FlagId;
use evenfilm_core::quality::field::Fitness;
use evenfilm_core::recipe::{GapKind, Kind};
use evenfilm_core::shape::Shape;

use super::*;

/// A disc: centre and radius in pixels.
type Disc = (f64, f64, f64);

const FILM: Level = 14_636;

/// Runs of discs that do not meet; the owner of a run is the number of its disc.
fn runs(size: (u32, u32), discs: &[Disc]) -> RunMap {
    let mut map = RunMap { row_start: vec![0], ..RunMap::default() };
    for y in 0..size.1 {
        let mut row: Vec<(Run, u32)> = Vec::new();
        for (owner, &(cx, cy, r)) in discs.iter().enumerate() {
            let half = (r * r - (f64::from(y) + 0.5 - cy).powi(2)).max(0.0).sqrt();
            let (x0, x1) = ((cx - half).round().max(0.0) as u32, ((cx + half).round() as u32).min(size.0));
            if x0 < x1 {
                row.push((Run { x0, x1 }, owner as u32));
            }
        }
        row.sort_by_key(|(run, _)| run.x0);
        map.runs.extend(row.iter().map(|(run, _)| *run));
        map.owner.extend(row.iter().map(|(_, owner)| *owner));
        map.row_start.push(map.runs.len() as u32);
    }
    map
}

fn object(&(x, y, r): &Disc) -> Object {
    Object {
        at: Rect::default(),
        centroid_px: [x, y],
        surround: FILM,
        core: 2000,
        core_from: CoreFrom::Own,
        area_px2: [std::f64::consts::PI * r * r; 3],
        sized_by: SizedBy::Outline,
        shape: Shape::default(),
        od: [0.5, 0.9],
        touches_frame: false,
        weight: Some(1.0),
        constituents_px2: Box::default(),
        necks_px: Box::default(),
        told: Told { kind: Kind::Powder, by: Measure::Elongation, value: 1.25 },
    }
}

fn gap(&(x, y, r): &Disc) -> Gap {
    Gap {
        at: Rect::default(),
        centroid_px: [x, y],
        area_px2: [std::f64::consts::PI * r * r; 3],
        perimeter_px: 2.0 * std::f64::consts::PI * r,
        largest_circle_px: 2.0 * r,
        circle_centre_px: [x, y],
        touches_frame: false,
        told: ToldGap { kind: GapKind::Unsure, by: GapMeasure::Size, value: 4.5 },
        in_hollow: false,
    }
}

/// A field of discs and round gaps at 0.25 µm per pixel that counts from 1.5 µm and 2 µm.
fn field(size: (u32, u32), discs: &[Disc], gaps: &[Disc]) -> FieldResult {
    FieldResult {
        size,
        um_per_px: 0.25,
        resolution_px: 2.1,
        objects: discs.iter().map(object).collect(),
        gaps: gaps.iter().map(gap).collect(),
        bare_measured: true,
        counted_from_um: [1.5, 2.0],
        phases: [runs(size, discs), runs(size, gaps)],
        gap_cut_od_pct: None,
        thin_area_px2: None,
        film_od: Some(0.35),
        film_od_cv_pct: None,
        calibration: Calibration { blur_px: 1.0, blur_edges: 0, core_ratio: 0.2, cores: 0 },
        fitness: Fitness::default(),
        ground: Ground::default(),
        judged: Judged::default(),
        flags: Vec::new(),
    }
}

/// Levels of such a field, with a little texture.
fn levels(result: &FieldResult) -> Plane<Level> {
    let size = (result.size.1 as usize, result.size.0 as usize);
    let mut plane = Plane::from_shape_fn(size, |(y, x)| FILM + ((x * 31 + y * 17) % 23 * 40) as Level);
    for (map, level) in result.phases.iter().zip([3000, ONE]) {
        for y in 0..size.0 {
            for run in &map.runs[map.row(y as u32)] {
                (run.x0..run.x1).for_each(|x| plane[[y, x as usize]] = level);
            }
        }
    }
    plane
}

fn drawn(result: &FieldResult) -> Vec<u8> {
    let all = levels(result);
    let part = |at: Rect| {
        let (y, x) = (at.y as usize..at.bottom() as usize, at.x as usize..at.right() as usize);
        Ok(Plane::from_shape_fn((y.len(), x.len()), |(j, i)| all[[y.start + j, x.start + i]]))
    };
    draw(result, &Recipe::default(), &part).unwrap()
}

/// Columns, rows and indices of a PNG.
fn decoded(png: &[u8]) -> (u32, u32, Vec<u8>) {
    let mut decoder = png::Decoder::new(std::io::Cursor::new(png));
    decoder.set_transformations(png::Transformations::IDENTITY);
    let mut reader = decoder.read_info().unwrap();
    let mut indices = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut indices).unwrap();
    (info.width, info.height, indices)
}

fn share(indices: &[u8], width: usize, index: u8, pixels: impl Iterator<Item = (usize, usize)>) -> f64 {
    let marks: Vec<bool> = pixels.map(|(x, y)| indices[y * width + x] == index).collect();
    marks.iter().filter(|m| **m).count() as f64 / marks.len() as f64
}

#[test]
fn lines_lie_on_the_edge_and_differ_by_pattern() {
    let result = field((200, 160), &[(50.0, 50.0, 20.0), (100.0, 20.0, 2.0)], &[(140.0, 60.0, 30.0)]);
    let (width, height, indices) = decoded(&drawn(&result));
    assert_eq!((width, height), (200, 160));
    let edge = |map: &RunMap, of: u32| -> Vec<(usize, usize)> {
        let ends = |y: usize| map.row(y as u32).filter(|i| map.owner[*i] == of).map(move |i| (map.runs[i].x0 as usize, y));
        (0..160).flat_map(ends).collect()
    };
    assert!(share(&indices, 200, OBJECT, edge(&result.phases[0], 0).into_iter()) >= 1.0, "solid");
    let dashed = share(&indices, 200, GAP, edge(&result.phases[1], 0).into_iter());
    assert!((0.4..0.8).contains(&dashed), "dashed: {dashed}");
    let edged = dashed + share(&indices, 200, GAP_BETWEEN, edge(&result.phases[1], 0).into_iter());
    assert!(edged > 0.999, "without a break: {edged}");
    let small = indices.iter().enumerate().filter(|(i, v)| i % 200 > 90 && **v == OBJECT).count();
    assert!((2..=7).contains(&small), "dotted: {small}");
    let inside = (120..160).flat_map(|x| (45..75).map(move |y| (x, y)));
    let hatched = share(&indices, 200, GAP, inside);
    assert!((0.04..0.09).contains(&hatched), "sparse hatch: {hatched}");
    assert_eq!(indices[50 * 200 + 50], grey_table(Some(0.35))[3000], "objects are not hatched");
}

#[test]
fn the_ground_of_a_clear_film_is_not_marked() {
    let mut result = field((200, 160), &[], &[(140.0, 60.0, 30.0)]);
    result.flags = vec![FlagId::ClearFilm.flag(None, None)];
    let (_, _, indices) = decoded(&drawn(&result));
    assert!(!indices.contains(&GAP) && !indices.contains(&GAP_BETWEEN));
}

#[test]
fn no_direction_swallows_a_line() {
    for (dx, dy) in [(1, 0), (0, 1), (1, 1), (1, -1)] {
        let path: Vec<(usize, usize)> = (0..60).map(|i| (100 + i, (100 + dy * i as i64) as usize * usize::from(dy != 0) + 100)).collect();
        let path: Vec<_> = path.into_iter().map(|(x, y)| if dx == 0 { (100, y) } else { (x, y) }).collect();
        for line in [lines::GAP, lines::SMALL_GAP] {
            let seen = path.iter().filter(|(x, y)| line.shows(*x, *y)).count();
            assert!((20..=48).contains(&seen), "{dx} {dy}: {seen} of 60");
        }
    }
}

#[test]
fn large_fields_are_reduced_by_a_whole_factor() {
    assert_eq!([4096, 4097, 8192, 8193, 1].map(|w| reduction((w, 1))), [1, 2, 2, 3, 1]);
    let plane = Plane::from_shape_fn((4, 5), |(y, x)| (10 * y + x) as Level);
    assert_eq!(reduced(&plane, [2, 2]), [6, 8, 26, 28]);
    assert_eq!(reduced(&plane.slice(ndarray::s![.., ..1]).to_owned(), [1, 2]), [5, 25], "a picture narrower than a square");
    let result = field((4100, 50), &[(2000.0, 25.0, 20.0)], &[]);
    let (width, height, indices) = decoded(&drawn(&result));
    assert_eq!((width, height), (2050, 25));
    assert!(indices.contains(&OBJECT));
}

#[test]
fn the_film_has_one_grey_whatever_its_density() {
    for od in [0.1, 0.35, 1.0] {
        let level = (f64::from(ONE) * libm::pow(10.0, -od)).round() as usize;
        assert!(grey_table(Some(od))[level].abs_diff(FILM_GREY) <= 1);
    }
    assert_eq!(grey_table(None)[usize::from(ONE)], FILM_GREY);
    assert_eq!(*grey_table(Some(9.0)).last().unwrap(), LIGHTEST);
}

/// Linear primaries of a colour, sRGB (IEC 61966-2-1).
fn linear(colour: [u8; 3]) -> [f64; 3] {
    colour.map(|v| {
        let v = f64::from(v) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { libm::pow((v + 0.055) / 1.055, 2.4) }
    })
}

/// Full protanopia, deuteranopia and tritanopia on linear primaries: Machado, Oliveira & Fernandes 2009, IEEE Trans. Vis. Comput. Graph.
/// 15(6) 1291-1298, severity 1.0 (copied from memory; that each row keeps grey grey is checked).
const DICHROMATS: [[[f64; 3]; 3]; 3] = [
    [[0.152_286, 1.052_583, -0.204_868], [0.114_503, 0.786_281, 0.099_216], [-0.003_882, -0.048_116, 1.051_998]],
    [[0.367_322, 0.860_646, -0.227_968], [0.280_085, 0.672_501, 0.047_413], [-0.011_820, 0.042_940, 0.968_881]],
    [[1.255_528, -0.076_749, -0.178_779], [-0.078_411, 0.930_809, 0.147_602], [0.004_733, 0.691_367, 0.303_900]],
];

const ANYONE: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// Relative luminance (Rec. ITU-R BT.709 weights) of a colour as seen through `eyes`.
fn luminance(colour: [u8; 3], eyes: &[[f64; 3]; 3]) -> f64 {
    let light = linear(colour);
    let seen = eyes.map(|row| row.iter().zip(light).map(|(a, b)| a * b).sum::<f64>().clamp(0.0, 1.0));
    0.2126 * seen[0] + 0.7152 * seen[1] + 0.0722 * seen[2]
}

/// Contrast ratio of WCAG 2.
fn contrast(a: [u8; 3], b: [u8; 3], eyes: &[[f64; 3]; 3]) -> f64 {
    let (a, b) = (luminance(a, eyes), luminance(b, eyes));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn everybody_tells_the_lines_from_the_film_and_from_each_other() {
    let [object, gap, plate, ink, between] = COLOURS;
    let film = [FILM_GREY; 3];
    let bare = [grey_table(Some(0.35))[usize::from(ONE)]; 3];
    let core = [grey_table(Some(0.35))[3000]; 3];
    for eyes in DICHROMATS.iter().chain([&ANYONE]) {
        assert!(eyes.iter().all(|row| (row.iter().sum::<f64>() - 1.0).abs() < 1e-5), "grey stays grey");
        let found = [(object, film), (gap, film), (object, core), (gap, bare), (object, gap), (ink, plate), (between, gap)]
            .map(|(a, b)| contrast(a, b, eyes));
        println!(
            "object:film {:.1} gap:film {:.1} object:core {:.1} gap:bare {:.1} object:gap {:.1} ink:plate {:.1} dash:dash {:.1}",
            found[0], found[1], found[2], found[3], found[4], found[5], found[6]
        );
        // 3 is what WCAG 2.1 (1.4.11) asks of graphics; lines that must never be mixed up get more than twice that.
        assert!(found[..4].iter().all(|c| *c >= 3.0), "{found:?}");
        assert!(found[4] >= 7.0 && found[5] >= 15.0 && found[6] >= 7.0, "{found:?}");
    }
}

#[test]
fn the_scale_bar_is_as_long_as_it_says() {
    let result = field((960, 720), &[], &[]);
    let (_, _, indices) = decoded(&drawn(&result));
    let rows = indices.chunks(960).filter(|row| longest_run(row, INK) == 80).count();
    assert_eq!(rows, 6, "20 µm at 0.25 µm per pixel, two dots of three rows");
}

fn longest_run(row: &[u8], index: u8) -> usize {
    row.split(|i| *i != index).map(<[u8]>::len).max().unwrap_or(0)
}

#[test]
fn the_same_field_gives_the_same_bytes_and_soon() {
    let discs: Vec<Disc> = (0..6000).map(|i| (f64::from(i % 100) * 39.0 + 20.0, f64::from(i / 100) * 49.0 + 20.0, 6.0)).collect();
    let result = field((4000, 3000), &discs, &[]);
    let all = levels(&result);
    let part = |at: Rect| Ok(all.slice(ndarray::s![at.y as usize..at.bottom() as usize, ..]).to_owned());
    let start = Instant::now();
    let png = draw(&result, &Recipe::default(), &part).unwrap();
    println!("12 million pixels, 6000 objects: {} bytes in {:?}", png.len(), start.elapsed());
    assert_eq!(png, draw(&result, &Recipe::default(), &part).unwrap());
}
