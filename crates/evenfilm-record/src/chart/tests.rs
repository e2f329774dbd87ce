//! Charts under test: ticks, distributions, words, files.

use evenfilm_core::quantity::{Pool, QUANTITIES};
use evenfilm_core::sizes::Sized;

use super::axis::{Axis, Tick};
use super::*;
use crate::folder::{Batch, Options};
use crate::lot::{Job, Memo, inspect};
use crate::occasion::Occasion;
use crate::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use crate::time::Moment;

const NARROW: Canvas = Canvas { width: 320.0, height: 200.0, points: 10.0 };

fn labels(ticks: &[Tick]) -> Vec<&str> {
    ticks.iter().filter_map(|tick| tick.label.as_deref()).collect()
}

/// The 1-2-5 series is common practice (no source).
#[test]
fn ticks_are_those_that_a_person_would_draw() {
    let room = |label: &str| 6.0 * label.chars().count() as f64 + 8.0;
    let linear = |from, to, length| Axis::linear([from, to]).ticks(length, &room);
    assert_eq!(labels(&linear(0.0, 1.0, 300.0)), ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
    assert_eq!(labels(&linear(0.0, 1.0, 90.0)), ["0.0", "0.5", "1.0"]);
    assert_eq!(labels(&linear(-3.0, 7.0, 60.0)), ["0", "5"]);
    assert_eq!(labels(&linear(0.0, 47_000.0, 300.0)), ["0", "10000", "20000", "30000", "40000"]);
    let log = Axis::log([0.9, 120.0]).ticks(300.0, &room);
    assert_eq!(labels(&log), ["1", "2", "5", "10", "20", "50", "100"]);
    assert_eq!(log.len(), 20, "0.9, then 1 to 9, 10 to 90, and 100");
    assert_eq!(labels(&Axis::log([0.9, 120.0]).ticks(90.0, &room)), ["1", "10", "100"]);
    assert_eq!(labels(&Axis::log([3.1, 4.4]).ticks(200.0, &room)), ["3.2", "3.4", "3.6", "3.8", "4.0", "4.2", "4.4"]);
    assert_eq!(labels(&Axis::log([1e-4, 0.01]).ticks(300.0, &room)), ["0.0001", "0.0002", "0.0005", "0.001", "0.002", "0.005", "0.01"]);
}

#[test]
fn an_axis_of_nothing_is_still_an_axis() {
    for axis in [Axis::linear([f64::NAN, 1.0]), Axis::linear([2.0, 2.0]), Axis::linear([0.0, f64::INFINITY])] {
        assert_eq!((axis.from.to_bits(), axis.to.to_bits()), (0_f64.to_bits(), 1_f64.to_bits()));
    }
    for axis in [Axis::log([0.0, 1.0]), Axis::log([-1.0, 1.0]), Axis::log([5.0, 5.0]), Axis::log([1.0, f64::NAN])] {
        assert_eq!((axis.from.to_bits(), axis.to.to_bits()), (1_f64.to_bits(), 10_f64.to_bits()));
    }
}

/// Whatever an axis holds and however short it is.
#[test]
fn labels_stand_clear_of_each_other() {
    let room = |label: &str| 6.0 * label.chars().count() as f64;
    let mut seen = 0;
    for i in 0..4000_u32 {
        // Steps of an irrational part of each range reach all of it.
        let part = |by: f64| (f64::from(i) * by).fract();
        let (from, span, length) =
            (2e6 * (part(0.618_034) - 0.5), libm::exp10(12.0 * part(0.414_214) - 6.0), 5.0 + 895.0 * part(0.732_051));
        let low = libm::exp10(8.0 * part(0.236_068) - 4.0);
        for axis in [Axis::linear([from, from + span]), Axis::log([low, low * (1.001 + span.min(1e9))])] {
            let ticks = axis.ticks(length, &room);
            let at = |tick: &Tick| Some((axis.share_of(tick.value) * length, room(tick.label.as_deref()?)));
            let named: Vec<_> = ticks.iter().filter_map(at).collect();
            for pair in named.windows(2) {
                assert!(pair[1].0 - pair[0].0 >= f64::midpoint(pair[0].1, pair[1].1) - 1e-9, "{axis:?} {length}: {ticks:?}");
            }
            assert!(ticks.iter().all(|tick| (-1e-3..=1.0 + 1e-3).contains(&axis.share_of(tick.value))), "{axis:?}: {ticks:?}");
            seen += usize::from(length > 300.0 && named.len() > 1);
        }
    }
    assert!(seen > 4000, "most axes of some length have labels: {seen}");
}

fn data(diameters: &[f64]) -> SizeData {
    let mut sizes: Vec<Sized> = diameters.iter().map(|diameter| Sized { diameter: *diameter, weight: 1.0 }).collect();
    sizes.sort_by(|a, b| a.diameter.total_cmp(&b.diameter));
    let rests_on = RestsOn { things: sizes.len(), fields: 2 };
    SizeData { sizes, rests_on, from_um: Some(1.5), agglomerate_um: Some(5.0), limits: Vec::new() }
}

/// ISO 9276-1: the area below a density is 1.
#[test]
fn density_integrates_to_one() {
    let many: Vec<f64> = (0..1200).map(|i| 1.5 * libm::exp(f64::from(i % 131) / 60.0)).collect();
    for (diameters, by) in
        [(&many[..], SizesBy::Number), (&many, SizesBy::Volume), (&[2.0], SizesBy::Number), (&[1.5, 300.0], SizesBy::Volume)]
    {
        let steps = density(&data(diameters), by);
        let area: f64 = steps.iter().map(|(bin, density)| density * bin.decades()).sum();
        assert!((area - 1.0).abs() < 1e-12, "{area}");
        assert!(steps.windows(2).all(|pair| pair[0].0.to.to_bits() == pair[1].0.from.to_bits()), "bins meet");
    }
    assert!(density(&data(&[]), SizesBy::Number).is_empty());
}

/// Diameters spread evenly over the logarithm between 1.5 and 15 µm have a density of 1 per decade everywhere, also in the bin that the
/// smallest counted diameter cuts.
#[test]
fn an_even_spread_has_an_even_density() {
    let diameters: Vec<f64> = (0..20_000).map(|i| 1.5 * libm::exp10((f64::from(i) + 0.5) / 20_000.0)).collect();
    let steps = density(&data(&diameters), SizesBy::Number);
    let inner = &steps[..steps.len() - 1];
    assert!(inner.len() >= 38, "R40: 40 bins a decade");
    assert!(inner.iter().all(|(_, density)| (density - 1.0).abs() < 0.02), "{inner:?}");
}

fn circles(scene: &Scene) -> Vec<Point> {
    let circle = |mark: &Mark| if let Mark::Circle { at, .. } = mark { Some(*at) } else { None };
    scene.marks.iter().filter_map(circle).collect()
}

fn texts(scene: &Scene) -> Vec<&str> {
    let mut texts = Vec::new();
    for mark in &scene.marks {
        if let Mark::Text { text, .. } = mark {
            texts.push(text.as_str());
        }
    }
    texts
}

/// Place of the number that stands below an axis.
fn place_of(scene: &Scene, label: &str) -> f64 {
    let at = |mark: &Mark| match mark {
        Mark::Text { at, text, baseline: Baseline::Top, anchor: Anchor::Middle, .. } if text == label => Some(at[0]),
        _ => None,
    };
    scene.marks.iter().find_map(at).unwrap_or_else(|| panic!("no {label}"))
}

#[test]
fn a_measured_lot_is_drawn_as_its_table_says() {
    let folder = tempfile::tempdir().unwrap();
    let options = PhantomOptions { fields: 2, size: (480, 360), ..PhantomOptions::new(PhantomKind::Film, 5) };
    write_phantom(&folder.path().join("lot"), &options).unwrap();
    let batch = Batch::open(&folder.path().join("lot"), &Options::default()).unwrap();
    let (cancel, moment) = (std::sync::atomic::AtomicBool::new(false), Moment::from_epoch("1772615700").unwrap());
    let out = folder.path().join("out");
    let job = Job { out: &out, occasion: &Occasion::at(moment.clone(), "0.0.0"), cancel: &cancel, tell: &|_| () };
    let inspected = inspect(&batch, &job, &mut Memo::default()).unwrap();
    let (outcome, recipe) = (&inspected.objectives[0], &batch.objectives[0].recipe);
    let fields: Vec<_> = inspected.fields.iter().map(|field| &field.result).collect();
    let data = SizeData::of(&fields, recipe);
    assert_eq!(data.rests_on, RestsOn::of(outcome));
    for (by, r) in [(SizesBy::Number, 0), (SizesBy::Volume, 3)] {
        let scene = size_distribution(&data, &SizeOptions { by, ..SizeOptions::default() });
        // The axis is read as a person would: between two of its numbers.
        let (two, five) = (place_of(&scene, "2"), place_of(&scene, "5"));
        let read = |x: f64| 2.0 * libm::pow(2.5, (x - two) / (five - two));
        for (at, q) in circles(&scene).iter().zip([10, 50, 90]) {
            let stated = outcome.value(&format!("x{q}_{r}_um")).unwrap().value.unwrap();
            assert!((read(at[0]) / stated - 1.0).abs() < 1e-6, "x{q},{r}: {} for {stated}", read(at[0]));
            assert!(scene.description.contains(&super::words::short(stated)), "{}", scene.description);
        }
        assert!(scene.description.contains(&format!("{} objects in 2 fields", data.rests_on.things)), "{}", scene.description);
    }
    let gaps = GapsData::of(&fields, recipe);
    let of = |id: &str| outcome.value(id).unwrap().value.unwrap();
    for (by, id) in [(GapsBy::Area, "uncovered_area_pct"), (GapsBy::Number, "gaps_per_mm2")] {
        let sum: f64 = gaps.bars(by).iter().map(|bar| bar.amount).sum();
        assert!(of(id) > 0.0 && (sum / of(id) - 1.0).abs() < 1e-6, "{id}: {sum}");
    }
    let at = QUANTITIES.iter().position(|quantity| quantity.id == "x50_3_um").unwrap();
    for field in &inspected.fields {
        let value = FieldValue::of(field.number, &field.slide, &field.result, recipe, "x50_3_um");
        assert_eq!(value.value.map(f64::to_bits), field.values[at].map(f64::to_bits));
        let one = [&field.result];
        assert!(value.value.is_some() && Pool::new(&one, 1, 0, recipe).objects() > 0);
    }
}

fn answer(value: Option<f64>, ends: Option<[f64; 2]>, [min, max]: [Option<f64>; 2]) -> AnswerData {
    AnswerData { name: "x50,3".into(), unit: "µm".into(), value, ends, min, max, rests_on: RestsOn { things: 1, fields: 1 } }
}

/// Every chart of data that are whole, poor, or no numbers at all.
fn many_scenes() -> Vec<Scene> {
    let poor = |value: f64| SizeData {
        sizes: vec![Sized { diameter: value, weight: value }; 2],
        from_um: Some(value),
        limits: vec![LimitLine { quantity: "x50_0_um".into(), min: Some(value), max: Some(1e9) }],
        ..data(&[])
    };
    let mut scenes = Vec::new();
    let canvases =
        [NARROW, Canvas::default(), Canvas { width: 900.0, height: 420.0, points: 12.0 }, Canvas { width: 9.0, height: 3.0, points: 14.0 }];
    for canvas in canvases {
        for data in
            [data(&[]), data(&[2.0]), data(&[1.6, 1.7, 4.0, 9.0, 30.0]), poor(f64::NAN), poor(0.0), poor(f64::INFINITY), poor(1e-320)]
        {
            for curves in [Curves::Both, Curves::Density, Curves::Cumulative] {
                scenes.push(size_distribution(&data, &SizeOptions { canvas, by: SizesBy::Volume, curves }));
            }
        }
        for seen in [vec![], vec![3.0, 9.0], vec![f64::NAN, f64::INFINITY, 0.0]] {
            let seen = seen.iter().map(|um| GapSeen { diameter_um: *um, circle_um: *um, area_um2: um * um }).collect();
            for area_mm2 in [0.173, 0.0, f64::NAN] {
                let data = GapsData {
                    gaps: Some(Clone::clone(&seen)),
                    area_mm2,
                    fields: 3,
                    from_um: Some(2.0),
                    concern_um: Some(25.0),
                    limits: vec![],
                };
                scenes.push(gaps(&data, &GapOptions { canvas, by: GapsBy::Number }));
                scenes.push(gaps(&GapsData { gaps: None, ..data }, &GapOptions { canvas, by: GapsBy::Area }));
            }
        }
        for value in [Some(4.0), Some(f64::NAN), Some(0.0), Some(-3.0), None] {
            for ends in [Some([3.0, 5.0]), Some([f64::NEG_INFINITY, f64::NAN]), None] {
                for limits in [[Some(2.0), Some(4.5)], [None, Some(f64::INFINITY)], [None, None]] {
                    let bar = answer(value, ends, limits);
                    scenes.push(answer_bar(&bar, &canvas));
                    let field = |number| FieldValue { number, slide: "<A & \"B\">\u{1}".into(), value, rejected: number == 2 };
                    let AnswerData { name, unit, value: lot, ends, min, max, rests_on } = bar;
                    scenes.push(fields(
                        &FieldsData { name, unit, fields: (1..4).map(field).collect(), lot, ends, min, max, rests_on },
                        &canvas,
                    ));
                }
            }
        }
        for (bins, step) in
            [(vec![0; 4096], 1.0 / 2048.0), (vec![3, 900, u64::MAX], 0.5), (vec![], 0.1), (vec![1], f64::NAN), (vec![1], 0.0)]
        {
            for height in [LevelHeight::Root, LevelHeight::Log] {
                scenes.push(level_histogram(
                    &LevelData { bins: bins.clone(), from: 0.0, step },
                    &LevelOptions { canvas, height, light: [0.0, 2.0] },
                ));
            }
        }
    }
    scenes
}

/// The reader is roxmltree, a general-purpose library.
#[test]
fn every_scene_is_a_whole_svg_of_numbers() {
    for scene in many_scenes() {
        let text = svg(&scene, &Palette::LIGHT);
        let document = roxmltree::Document::parse(&text).unwrap_or_else(|err| panic!("{err}: {text}"));
        let child = |name: &str| document.root_element().children().find(|node| node.has_tag_name(("http://www.w3.org/2000/svg", name)));
        assert_eq!(child("title").and_then(|title| title.text()), Some(scene.title.as_str()));
        assert!(child("desc").and_then(|desc| desc.text()).is_some_and(|desc| desc.len() > 10));
        for node in document.descendants() {
            for attribute in node.attributes().filter(|a| !["font-family", "fill", "stroke", "xmlns", "role"].contains(&a.name())) {
                assert!(
                    !attribute.value().contains("NaN") && !attribute.value().contains("inf"),
                    "{}: {}",
                    attribute.name(),
                    attribute.value()
                );
            }
        }
        let said: Vec<&str> = document.descendants().filter(roxmltree::Node::is_text).filter_map(|node| node.text()).collect();
        assert!(said.iter().all(|text| !text.contains("NaN")), "{said:?}");
        assert_eq!(text, svg(&scene, &Palette::LIGHT));
    }
}

#[test]
fn an_empty_chart_says_why() {
    let none = GapsData { gaps: Some(vec![]), area_mm2: 0.173, fields: 3, from_um: Some(2.0), concern_um: Some(25.0), limits: vec![] };
    let scene = gaps(&none, &GapOptions { canvas: NARROW, by: GapsBy::Area });
    let said = texts(&scene);
    assert!(said.contains(&"no gap of at least 2 µm seen in 0.173 mm²"), "{said:?}");
    // 3.0 ÷ area: the rule of three (Hanley & Lippman-Hand 1983); exactly −ln 0.05 ÷ 0.173 = 17.3.
    assert!(said.contains(&"at most 17.3 per mm² (95 %)"), "{said:?}");
    let scene = size_distribution(&data(&[]), &SizeOptions::default());
    assert!(texts(&scene).contains(&"no object counted"));
    let scene = answer_bar(&answer(None, None, [None, Some(3.0)]), &ANSWER_CANVAS);
    assert!(texts(&scene).contains(&"not measured") && texts(&scene).contains(&"≤ 3"));
}

#[test]
fn limits_are_drawn_where_they_are_or_named_at_the_side() {
    let limit = |max: f64| vec![LimitLine { quantity: "x90_3_um".into(), min: None, max: Some(max) }];
    let drawn = |max: f64, canvas: Canvas| {
        let data = SizeData { limits: limit(max), ..data(&[1.6, 2.0, 4.0, 7.0]) };
        size_distribution(&data, &SizeOptions { canvas, by: SizesBy::Volume, curves: Curves::Both })
    };
    for canvas in [NARROW, Canvas::default()] {
        let near = drawn(10.0, canvas);
        assert!(texts(&near).contains(&"x90 ≤ 10 µm"), "{:?}", texts(&near));
        let upright = |mark: &&Mark| matches!(mark, Mark::Line { stroke: Ink::Limit, points, .. } if (points[0][0] - place_of(&near, "10")).abs() < 1e-9);
        assert_eq!(near.marks.iter().filter(upright).count(), 1);
        let far = drawn(5000.0, canvas);
        assert!(texts(&far).contains(&"x90 ≤ 5000 µm →"), "{:?}", texts(&far));
        assert!(!far.marks.iter().any(|mark| matches!(mark, Mark::Line { stroke: Ink::Limit, .. })));
    }
}

#[test]
fn the_bar_holds_value_interval_and_limits_in_their_order() {
    let scene = answer_bar(&answer(Some(4.2), Some([3.1, 5.6]), [Some(2.0), Some(5.0)]), &ANSWER_CANVAS);
    let upright = |ink: Ink| -> Vec<f64> {
        let x = |mark: &Mark| match mark {
            Mark::Line { points, stroke, .. } if *stroke == ink && points[0][0].to_bits() == points[1][0].to_bits() => Some(points[0][0]),
            _ => None,
        };
        scene.marks.iter().filter_map(x).collect()
    };
    let (limits, ends, value) = (upright(Ink::Limit), upright(Ink::Interval), circles(&scene)[0][0]);
    let order = [0.0, limits[0], ends[0], value, limits[1], ends[1], 240.0];
    assert!(order.is_sorted() && limits.len() == 2 && ends.len() == 2, "{order:?}");
    // One scale for all.
    let scale = (limits[1] - limits[0]) / 3.0;
    assert!((ends[1] - ends[0] - 2.5 * scale).abs() < 1e-9 && (value - limits[0] - 2.2 * scale).abs() < 1e-9);
}

#[test]
fn levels_stand_where_the_frame_says() {
    let options = LevelOptions::default();
    let frame = level_frame(&options);
    let mut bins = vec![0_u64; 2048];
    bins[460] = 100;
    let scene = level_histogram(&LevelData { bins, from: 0.0, step: 1.0 / 1024.0 }, &options);
    let highest = scene
        .marks
        .iter()
        .find_map(|mark| if let Mark::Fill { points, .. } = mark { points.iter().min_by(|a, b| a[1].total_cmp(&b[1])) } else { None });
    assert!((frame.at_x(highest.unwrap()[0]) - 460.0 / 1024.0).abs() < 0.01);
    // Half of the light is an optical density of 0.30 (−log10 ½ = 0.301).
    let density = scene.marks.iter().find_map(|mark| match mark {
        Mark::Text { at, text, .. } if text == "0.3" => Some(at[0]),
        _ => None,
    });
    assert!((frame.at_x(density.unwrap()) - 0.501).abs() < 0.001);
    assert!((frame.x_of(frame.at_x(123.0)) - 123.0).abs() < 1e-9);
}
