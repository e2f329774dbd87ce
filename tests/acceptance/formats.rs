//! Pictures written by other libraries (`make_formats.py`) against the counts that they stand for, read in every way.

use std::path::PathBuf;

use evenfilm_core::plane::{Rect, Samples};
use evenfilm_core::recipe::Channel;
use evenfilm_record::pictures::{Budget, Ceiling, Picture, Reading, probe, probe_pages};
use evenfilm_record::sheet::Tone;
use evenfilm_tests::{reference, values};

fn formats() -> PathBuf {
    reference().join("formats")
}

fn channel(word: &str) -> Channel {
    match word {
        "red" => Channel::Red,
        "green" => Channel::Green,
        "blue" => Channel::Blue,
        _ => Channel::Luminance,
    }
}

/// Everything in memory; nothing, and one piece at a time; nothing, and all pieces that are wanted.
fn budgets() -> [Budget; 3] {
    let budget = |held, cache| {
        let mut budget = Budget::default();
        (budget.held, budget.cache) = (held, cache);
        budget
    };
    [Budget::default(), budget(0, 0), budget(0, 1 << 20)]
}

#[test]
fn pictures_of_other_libraries_give_their_counts_held_tiled_and_spooled() {
    let values = values("formats.json");
    let mut checked = 0;
    for entry in values["files"].as_array().unwrap() {
        let file = entry["file"].as_str().unwrap();
        let number = |key: &str| entry[key].as_u64().unwrap();
        let path = formats().join(file);
        let expected: Vec<i64> =
            values["planes"][entry["plane"].as_str().unwrap()].as_array().unwrap().iter().map(|count| count.as_i64().unwrap()).collect();
        let mut reading = Reading::new((entry["tone"] == "linear").then_some(Tone::Linear));
        reading.channel = channel(entry["channel"].as_str().unwrap());
        reading.float_full_scale = entry["float_full_scale"].as_f64().unwrap();
        let info = probe(&path, &Ceiling::default()).unwrap_or_else(|fault| panic!("{file}: {fault}"));
        assert_eq!((u64::from(info.width), u64::from(info.height)), (number("width"), number("height")), "{file}");
        let mut first: Option<Vec<u16>> = None;
        for budget in budgets() {
            reading.budget = budget;
            let picture = Picture::open(&path, &reading).unwrap_or_else(|fault| panic!("{file}: {fault}"));
            assert_eq!(picture.info, info, "{file}");
            let counts = picture.counts().unwrap().into_raw_vec_and_offset().0;
            let worst = counts.iter().zip(&expected).map(|(found, expected)| (i64::from(*found) - expected).unsigned_abs()).max().unwrap();
            assert!(counts.len() == expected.len() && worst <= number("within"), "{file}: off by up to {worst}");
            let at = Rect::new(5, 3, 20, 19);
            let mut part = vec![0; 380];
            picture.read(at, &mut part).unwrap();
            let asked: Vec<u16> = (3..22_usize).flat_map(|y| counts[y * 37 + 5..y * 37 + 25].to_vec()).collect();
            assert_eq!(part, asked, "{file}");
            assert!(first.as_ref().is_none_or(|first| *first == counts), "{file}: what is read depends on the budget");
            first = Some(counts);
        }
        checked += 1;
    }
    assert!(checked > 150, "{checked}");
}

#[test]
fn what_files_say_beside_their_pixels() {
    let info = |file: &str| probe(&formats().join(file), &Ceiling::default()).unwrap();
    let jpeg = info("turned-6-exposed.jpg");
    assert_eq!((jpeg.exposure_s, jpeg.gain, jpeg.lossy), (Some(0.02), Some(200.0), true));
    assert!(info("jpeg-grey-strips.tif").lossy && !info("g16-lzw-strips.tif").lossy);

    let pages = probe_pages(&formats().join("two-pages.ome.tif"), &Ceiling::default()).unwrap();
    let said: Vec<_> = pages.iter().map(|page| (page.scale.map(|scale| scale.um_per_px_x), page.exposure_s, page.full_scale)).collect();
    assert_eq!(said, [(Some(0.107), Some(0.02), Some(4095)), (Some(0.107), Some(0.04), Some(4095))]);

    let pages = probe_pages(&formats().join("stack.tif"), &Ceiling::default()).unwrap();
    assert_eq!(
        (pages.len(), pages[0].notes.as_slice()),
        (2, ["1 pages of another size than the first are left aside".to_owned()].as_slice())
    );
    let mut both = Vec::new();
    for page in 0..2 {
        let picture = Picture::open_page(&formats().join("stack.tif"), page, &Reading::new(None)).unwrap();
        both.push(picture.counts().unwrap());
    }
    assert!(both[0].iter().zip(&both[1]).all(|(a, b)| *a == 65535 - *b));
}

#[test]
fn values_that_are_no_numbers_are_counted() {
    let path = formats().join("f32-not-numbers.tif");
    let range = evenfilm_record::pictures::float_range(&path, 0, &Reading::new(None)).unwrap();
    assert_eq!(range.not_numbers, 3);
    let path = formats().join("f32-wide.tif");
    let range = evenfilm_record::pictures::float_range(&path, 0, &Reading::new(None)).unwrap();
    assert_eq!((range.largest, range.not_numbers), (5000.0, 0));
}
