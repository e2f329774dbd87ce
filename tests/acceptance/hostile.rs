//! Pictures, sheets and recipes that are damaged, cut short or made to harm: an error that says what to do, never a panic.

use std::fs;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use evenfilm_core::plane::{Rect, Samples};
use evenfilm_record::corrections::Corrections;
use evenfilm_record::fault::Fault;
use evenfilm_record::folder::{Batch, Options, open_all};
use evenfilm_record::lot::{Job, LotOutcome, run};
use evenfilm_record::occasion::Occasion;
use evenfilm_record::pictures::{Picture, Reading};
use evenfilm_record::recipe_file;
use evenfilm_record::sheet::{Sheet, Tone};
use evenfilm_record::time::Moment;
use evenfilm_tests::reference;

/// Numbers that look like noise and are the same everywhere (SplitMix64, public domain).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }
    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % end as u64).unwrap()
    }
}

/// The files of all kinds, smallest names first.
fn samples() -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<_> = fs::read_dir(reference().join("formats")).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files.iter().map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read(path).unwrap())).collect()
}

/// A tenth of a million pixels and 16 MiB at most; nothing held where `streamed`.
fn reading(streamed: bool) -> Reading<'static> {
    let mut reading = Reading::new(Some(Tone::Linear));
    (reading.ceiling.pixels, reading.ceiling.bytes) = (1 << 20, 1 << 24);
    if streamed {
        (reading.budget.held, reading.budget.cache) = (0, 0);
    }
    reading
}

/// The counts of a file, or none where an error says what is wrong and what to do.
fn counts(bytes: &[u8], streamed: bool) -> Option<Vec<u16>> {
    match Picture::decode(bytes, &reading(streamed)) {
        Ok(picture) => {
            let mut out = vec![0; usize::try_from(Rect::whole(picture.size()).area()).unwrap()];
            picture.read(Rect::whole(picture.size()), &mut out).ok().map(|()| out)
        }
        Err(fault) => {
            assert!(!fault.message.is_empty() && !fault.remedy.is_empty(), "{fault:?}");
            None
        }
    }
}

#[test]
fn a_picture_cut_at_any_byte_is_refused_or_whole() {
    for (name, file) in samples() {
        let whole = counts(&file, false).unwrap();
        for length in 0..file.len() {
            if let Some(found) = counts(&file[..length], false) {
                assert!(found == whole, "{name}, cut at {length} of {}, gives another picture", file.len());
            }
        }
    }
}

#[test]
fn what_fuzzing_found_is_refused_before_the_decoder_sees_it() {
    let file = fs::read(reference().join("../../fuzz/corpus/png/short-palette.png")).unwrap();
    let fault = Picture::decode(&file, &reading(false)).unwrap_err();
    assert!(fault.message.contains("its table of colours has 49 bytes"), "{fault}");
}

#[test]
fn flipped_bits_never_make_a_reader_panic() {
    let (mut noise, mut done) = (Noise(11), 0);
    for (_, file) in samples() {
        for turn in 0..500 {
            let mut flipped = file.clone();
            for _ in 0..=noise.below(4) {
                let at = noise.below(flipped.len());
                flipped[at] ^= 1 << noise.below(8);
            }
            counts(&flipped, turn % 3 == 0);
            done += 1;
        }
    }
    assert!(done > 40_000, "{done}");
}

#[test]
fn absurd_sizes_counts_and_offsets_never_make_a_reader_panic() {
    const ABSURD: [u32; 6] = [0, 1, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF, 0x0001_0000];
    for (_, file) in samples() {
        for at in (0..file.len().min(900).saturating_sub(4)).step_by(2) {
            for value in ABSURD {
                let mut changed = file.clone();
                changed[at..at + 4].copy_from_slice(&value.to_le_bytes());
                counts(&changed, at % 3 == 0);
            }
        }
    }
}

/// A grey TIFF of 16 bits in one strip.
fn grey(width: u32, height: u32) -> Vec<u8> {
    let entries = [(256, 4, width), (257, 4, height), (258, 3, 16), (259, 3, 1), (262, 3, 1), (273, 4, 110), (277, 3, 1), (278, 4, height)];
    let mut file = b"II*\0\x08\0\0\0\x08\0".to_vec();
    for (tag, kind, value) in entries {
        file.extend([u16::to_le_bytes(tag), u16::to_le_bytes(kind)].concat());
        file.extend([u32::to_le_bytes(1), u32::to_le_bytes(value)].concat());
    }
    file.extend([0; 4]);
    file.resize(110, 0);
    file.extend((0..width * height).flat_map(|i| u16::try_from(i % 65_536).unwrap().to_le_bytes()));
    file
}

#[test]
fn single_pixels_and_single_columns() {
    for (width, height) in [(1, 1), (1, 100_000), (100_000, 1)] {
        let file = grey(width, height);
        let expected: Vec<u16> = (0..width * height).map(|i| u16::try_from(i % 65_536).unwrap()).collect();
        for streamed in [false, true] {
            assert!(counts(&file, streamed).is_some_and(|found| found == expected), "{width} × {height}");
        }
    }
}

/// A TIFF of 32-bit floats in one strip, with a description.
fn floats(width: u32, values: &[f32], description: &str) -> Vec<u8> {
    let height = u32::try_from(values.len()).unwrap() / width;
    let told = u32::try_from(description.len() + 1).unwrap();
    let entries = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 1, 32),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (270, 2, told, 134),
        (273, 4, 1, 134 + told),
        (277, 3, 1, 1),
        (278, 4, 1, height),
        (339, 3, 1, 3),
    ];
    let mut file = b"II*\0\x08\0\0\0\x0A\0".to_vec();
    for (tag, kind, count, value) in entries {
        file.extend([u16::to_le_bytes(tag), u16::to_le_bytes(kind)].concat());
        file.extend([u32::to_le_bytes(count), u32::to_le_bytes(value)].concat());
    }
    file.extend([0; 4]);
    file.resize(134, 0);
    file.extend(description.bytes().chain([0]));
    file.extend(values.iter().flat_map(|value| value.to_le_bytes()));
    file
}

/// A lot of one field through the whole workflow.
fn measured(field: &[u8]) -> Result<LotOutcome, Fault> {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("f.tif"), field).unwrap();
    fs::write(folder.path().join("batch.toml"), "lot = \"L\"\n[microscope]\num_per_px = 0.25\n").unwrap();
    let (moment, cancel) = (Moment::from_epoch("0")?, AtomicBool::new(false));
    let job = Job { out: &folder.path().join("out"), occasion: &Occasion::at(moment.clone(), "test"), cancel: &cancel, tell: &|_| () };
    run(&Batch::open(folder.path(), &Options::default())?, &job)
}

#[test]
fn odd_shapes_and_values_that_are_no_light_become_records() {
    for (width, height) in [(1, 1), (1, 100_000), (100_000, 1)] {
        let outcome = measured(&grey(width, height)).unwrap();
        assert_eq!(outcome.value("fields").unwrap().value, Some(1.0));
        assert!(outcome.flags().count() > 0, "{width} × {height}");
    }
    let (nan, inf) = (f32::NAN, f32::INFINITY);
    for values in [vec![nan; 4096], vec![inf; 4096], vec![-inf; 4096], [0.4, nan, inf, -inf, f32::MAX, f32::MIN, 1e-45, -0.0].repeat(512)] {
        let outcome = measured(&floats(64, &values, "")).unwrap();
        let notes = &outcome.objectives[0].notes;
        assert!(notes.iter().any(|note| note.contains("values are no numbers and are read as black")), "{notes:?}");
        assert!(outcome.objectives[0].values.iter().all(|value| value.value.is_none_or(f64::is_finite)));
    }
}

/// Entities that grow, that read files, and that nobody defined (W3C XML 1.0, section 4).
#[test]
fn descriptions_with_entities_are_refused() {
    let grow = "<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\"><!ENTITY c \"&b;&b;&b;&b;&b;&b;&b;&b;\">";
    let files = "<!ENTITY c SYSTEM \"file:///etc/passwd\">";
    for description in [
        format!("<?xml version=\"1.0\"?><!DOCTYPE OME [{grow}]><OME>&c;</OME>"),
        format!("<?xml version=\"1.0\"?><!DOCTYPE OME [{files}]><OME>&c;</OME>"),
        "<!DOCTYPE OME SYSTEM \"file:///dev/zero\"><OME/>".into(),
        "<OME><Image><Pixels PhysicalSizeX=\"&size;\"/></Image></OME>".into(),
    ] {
        let fault = measured(&floats(64, &[0.5; 4096], &description)).unwrap_err();
        assert!(fault.message.contains("OME description cannot be read") && !fault.remedy.is_empty(), "{fault}");
    }
    assert!(measured(&floats(64, &[0.5; 4096], "<OME><Image><Pixels PhysicalSizeX=\"0.25\"/></Image></OME>")).is_ok());
}

#[test]
fn damaged_corrections_are_errors() {
    let whole = fs::read_to_string(reference().join("../../fuzz/corpus/corrections/all.csv")).unwrap();
    let read = |text: &str| Corrections::parse(text, Path::new("corrections.csv"));
    assert_eq!(read(&whole).unwrap().lines.len(), 3);
    let mut noise = Noise(13);
    for turn in 0..6000 {
        let mut bytes = whole.as_bytes().to_vec();
        for _ in 0..=noise.below(4) {
            let at = noise.below(bytes.len());
            bytes[at] ^= 1 << noise.below(7);
        }
        bytes.truncate(if turn % 2 == 0 { bytes.len() } else { noise.below(bytes.len()) });
        match read(&String::from_utf8_lossy(&bytes)) {
            Ok(corrections) => assert!(read(&String::from_utf8(corrections.csv()).unwrap()).is_ok(), "what was written out can be read"),
            Err(fault) => assert!(!fault.message.is_empty() && !fault.remedy.is_empty() && fault.file.is_some(), "{fault:?}"),
        }
    }
}

#[test]
fn damaged_sheets_and_recipes_are_errors() {
    let sheet = fs::read_to_string(reference().join("../../sample-images/TS-0402/batch.toml")).unwrap();
    let recipe = recipe_file::canonical(&evenfilm_core::recipe::Recipe::default());
    let path = Path::new("batch.toml");
    let mut noise = Noise(12);
    let mut damaged = |text: &str| {
        let mut bytes = text.as_bytes().to_vec();
        for _ in 0..=noise.below(4) {
            let at = noise.below(bytes.len());
            bytes[at] ^= 1 << noise.below(7);
        }
        String::from_utf8_lossy(&bytes).into_owned()
    };
    for _ in 0..4000 {
        let told = |fault: evenfilm_record::fault::Fault| assert!(!fault.message.is_empty(), "{fault:?}");
        let _ = Sheet::parse(&damaged(&sheet), path).map_err(told);
        let _ = recipe_file::parse(&damaged(&recipe), path).map_err(told);
    }
}

#[cfg(unix)]
#[test]
fn links_that_lead_in_a_circle_end() {
    let folder = tempfile::tempdir().unwrap();
    std::os::unix::fs::symlink(folder.path(), folder.path().join("round")).unwrap();
    std::os::unix::fs::symlink("self.tif", folder.path().join("self.tif")).unwrap();
    let opened = open_all(&[folder.path().to_path_buf()], &Options::default());
    assert!(opened[0].batch.as_ref().unwrap_err().message.contains("there is no sheet"));
    fs::write(folder.path().join("batch.toml"), "lot = \"L\"\n[microscope]\num_per_px = 0.25\n").unwrap();
    let opened = open_all(&[folder.path().to_path_buf()], &Options::default());
    assert!(opened[0].batch.as_ref().unwrap_err().message.contains("no picture of a field"));
    fs::write(folder.path().join("batch.toml"), "lot = \"L\"\n[microscope]\num_per_px = 0.25\n[[picture]]\nfile = \"self.tif\"\n").unwrap();
    let opened = open_all(&[folder.path().to_path_buf()], &Options::default());
    assert!(opened[0].batch.as_ref().unwrap_err().message.contains("self.tif"));
    // A file of corrections that leads to itself is not taken for none.
    fs::write(folder.path().join("f.tif"), grey(4, 4)).unwrap();
    fs::write(folder.path().join("batch.toml"), "lot = \"L\"\n[microscope]\num_per_px = 0.25\n").unwrap();
    std::os::unix::fs::symlink("corrections.csv", folder.path().join("corrections.csv")).unwrap();
    let opened = open_all(&[folder.path().to_path_buf()], &Options::default());
    let fault = opened[0].batch.as_ref().unwrap_err();
    assert!(fault.message.contains("the file of corrections cannot be read"), "{fault}");
}
