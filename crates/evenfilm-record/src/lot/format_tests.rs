//! One lot in many kinds of files: the same numbers, whatever its pictures are packed in and however they are read.

use std::fs::{self, File};
use std::io::BufWriter;

use evenfilm_core::plane::{Plane, Samples};
use tiff::encoder::colortype::{Gray16, Gray32Float};
use tiff::encoder::{Compression, DeflateLevel, Rational, TiffEncoder};
use tiff::tags::Tag;

use super::*;
use crate::folder::Options;
use crate::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use crate::pictures::{Budget, Picture, Reading};
use crate::time::Moment;

const SHEET: &str = "lot = \"L\"\n[microscope]\num_per_px = 0.25\nnumerical_aperture = 0.65\nwavelength_nm = 550\n";

struct Bench {
    folder: tempfile::TempDir,
    /// Two fields and the blank.
    pictures: Vec<Plane<u16>>,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let options = PhantomOptions { fields: 2, size: (480, 360), ..PhantomOptions::new(PhantomKind::Film, 5) };
        write_phantom(&folder.path().join("made"), &options).unwrap();
        let counts = |name: &str| Picture::open(&folder.path().join("made").join(name), &Reading::new(None)).unwrap().counts().unwrap();
        let pictures = ["f01.tif", "f02.tif", "blank.tif"].map(counts).to_vec();
        Self { folder, pictures }
    }

    /// A lot with this sheet whose pictures are written by `write`.
    fn lot(&self, name: &str, sheet: &str, write: impl Fn(&Path)) -> PathBuf {
        let lot = self.folder.path().join(name);
        fs::create_dir(&lot).unwrap();
        write(&lot);
        fs::write(lot.join("batch.toml"), SHEET.to_owned() + sheet).unwrap();
        lot
    }

    fn measured(&self, lot: &Path, budget: Budget, out: &str) -> LotOutcome {
        let options = Options { budget, ..Options::default() };
        let batch = Batch::open(lot, &options).unwrap();
        let moment = Moment::from_epoch("1772615700").unwrap();
        let cancel = AtomicBool::new(false);
        let out = self.folder.path().join(out);
        run(&batch, &Job { out: &out, occasion: &Occasion::at(moment.clone(), "0.0.0"), cancel: &cancel, tell: &|_| {} }).unwrap()
    }
}

type Packing = (Compression, u32);

fn tiff(path: &Path, pages: &[&Plane<u16>], (packing, rows): Packing, exposure: Option<u32>) {
    let mut file = TiffEncoder::new(BufWriter::new(File::create(path).unwrap())).unwrap().with_compression(packing);
    for page in pages {
        let (width, height) = page.size();
        let mut image = file.new_image::<Gray16>(width, height).unwrap();
        image.rows_per_strip(rows).unwrap();
        if let Some(ms) = exposure {
            image.encoder().write_tag(Tag::Unknown(33_434), Rational { n: ms, d: 1000 }).unwrap();
        }
        image.write_data(page.as_slice().unwrap()).unwrap();
    }
}

fn png(path: &Path, counts: &Plane<u16>) {
    let (width, height) = counts.size();
    let mut encoder = png::Encoder::new(BufWriter::new(File::create(path).unwrap()), width, height);
    encoder.set_depth(png::BitDepth::Sixteen);
    let bytes: Vec<u8> = counts.iter().flat_map(|count| count.to_be_bytes()).collect();
    encoder.write_header().unwrap().write_image_data(&bytes).unwrap();
}

fn tables(outcome: &LotOutcome) -> Vec<Vec<u8>> {
    ["record.csv", "objects.csv", "gaps.csv"].map(|name| fs::read(outcome.record_dir.join("data").join(name)).unwrap()).to_vec()
}

#[test]
fn files_and_budgets_change_no_number() {
    let bench = Bench::new();
    let deflate = || Compression::Deflate(DeflateLevel::default());
    let packings: [(&str, Packing); 4] = [
        ("plain", (Compression::Uncompressed, 7)),
        ("lzw", (Compression::Lzw, 11)),
        ("deflate", (deflate(), 360)),
        ("bits", (Compression::Packbits, 1)),
    ];
    let mut lots: Vec<(String, PathBuf)> = Vec::new();
    for (name, packing) in packings {
        let write = |lot: &Path| {
            let names = ["f01.tif", "f02.tif", "blank.tif"];
            names.iter().zip(&bench.pictures).for_each(|(file, counts)| tiff(&lot.join(file), &[counts], packing, None));
        };
        lots.push((name.into(), bench.lot(name, "blank = \"blank.tif\"\n", write)));
    }
    let write = |lot: &Path| {
        ["f01.png", "f02.png", "blank.png"].iter().zip(&bench.pictures).for_each(|(file, counts)| png(&lot.join(file), counts));
    };
    lots.push(("png".into(), bench.lot("png", "blank = \"blank.png\"\n", write)));
    let expected = tables(&bench.measured(&lots[0].1, Budget::default(), "out"));
    for (name, lot) in &lots {
        for (how, held, cache) in [("held", 1 << 20, 0), ("piecewise", 0, 0), ("cached", 0, 1 << 20)] {
            let found = bench.measured(lot, Budget { held, cache }, &format!("out-{name}-{how}"));
            assert!(tables(&found) == expected, "{name} {how} gives other numbers");
            let left = fs::read_dir(found.record_dir.parent().unwrap().parent().unwrap()).unwrap().count();
            assert_eq!(left, 2, "{name} {how} leaves something beside the record and the journal");
        }
    }
}

#[test]
fn pages_are_fields_of_their_own_and_their_file_is_kept_once() {
    let bench = Bench::new();
    let all: Vec<&Plane<u16>> = bench.pictures.iter().collect();
    let packing = (Compression::Lzw, 32);
    let separate = bench.lot("separate", "blank = \"blank.tif\"\n", |lot| {
        ["f01.tif", "f02.tif", "blank.tif"].iter().zip(&all).for_each(|(file, counts)| tiff(&lot.join(file), &[counts], packing, None));
    });
    let expected = tables(&bench.measured(&separate, Budget::default(), "out-separate"));
    let named = "blank = \"stack.tif#3\"\n[[picture]]\nfile = \"stack.tif#1\"\n[[picture]]\nfile = \"stack.tif#2\"\n";
    for (name, sheet) in [("unnamed", "blank = \"stack.tif#3\"\n"), ("named", named)] {
        let lot = bench.lot(name, sheet, |lot| tiff(&lot.join("stack.tif"), &all, packing, None));
        let outcome = bench.measured(&lot, Budget::default(), &format!("out-{name}"));
        assert!(tables(&outcome) == expected, "{name} gives other numbers");
        let data = outcome.record_dir.join("data");
        let fields = fs::read_to_string(data.join("fields.csv")).unwrap();
        assert!(fields.contains("stack.tif#1,images/stack.tif,") && fields.contains("stack.tif#2,images/stack.tif,"), "{fields}");
        let listed = |folder: &str| {
            let mut names: Vec<_> =
                fs::read_dir(data.join(folder)).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
            names.sort();
            names
        };
        assert_eq!(
            (listed("images"), listed("overlays")),
            (vec!["stack.tif".into()], vec!["stack-1.png".to_owned(), "stack-2.png".into()])
        );
        // What the record says was used can be read again.
        fs::copy(lot.join("stack.tif"), data.join("stack.tif")).unwrap();
        let again = Batch::open(&data, &Options::default()).unwrap();
        assert_eq!(again.fields.iter().map(|field| field.source.name.as_str()).collect::<Vec<_>>(), ["stack.tif#1", "stack.tif#2"]);
    }
    let beyond = bench.lot("beyond", "blank = \"stack.tif#4\"\n", |lot| tiff(&lot.join("stack.tif"), &all, packing, None));
    let fault = Batch::open(&beyond, &Options::default()).unwrap_err();
    assert!(fault.message.contains("names page 4 of the picture, which has 3 of one size"), "{fault}");
}

#[test]
fn another_exposure_than_the_blanks_is_flagged() {
    let bench = Bench::new();
    let lot = bench.lot("exposed", "blank = \"blank.tif\"\n", |lot| {
        let exposures = [("f01.tif", Some(20)), ("f02.tif", Some(25)), ("blank.tif", Some(20))];
        let packing = (Compression::Uncompressed, 64);
        exposures.iter().zip(&bench.pictures).for_each(|((file, ms), counts)| tiff(&lot.join(file), &[counts], packing, *ms));
    });
    let outcome = bench.measured(&lot, Budget::default(), "out");
    let flags: Vec<_> = outcome.flags().filter(|flag| flag.flag.id == "exposure_changed").collect();
    assert_eq!(
        flags.iter().map(|flag| (flag.field, flag.flag.value, flag.flag.limit)).collect::<Vec<_>>(),
        [(Some(2), Some(0.025), Some(0.02))]
    );
}

#[test]
fn floats_of_a_lot_share_one_scale() {
    let bench = Bench::new();
    let float = |path: &Path, counts: &Plane<u16>, times: f32| {
        let mut file = TiffEncoder::new(BufWriter::new(File::create(path).unwrap())).unwrap();
        let (width, height) = counts.size();
        let mut values: Vec<f32> = counts.iter().map(|count| f32::from(*count) / 65535.0 * times).collect();
        values[7] = f32::NAN;
        file.write_image::<Gray32Float>(width, height, &values).unwrap();
    };
    let lot = |name: &str, sheet: &str, times: f32| {
        bench.lot(name, &(sheet.to_owned() + "blank = \"blank.tif\"\n"), |lot| {
            ["f01.tif", "f02.tif", "blank.tif"]
                .iter()
                .zip(&bench.pictures)
                .for_each(|(file, counts)| float(&lot.join(file), counts, times));
        })
    };
    let objects =
        |lot: &Path, out: &str| fs::read(bench.measured(lot, Budget::default(), out).record_dir.join("data/objects.csv")).unwrap();
    let of_one = lot("one", "", 1.0);
    let expected = objects(&of_one, "out-one");
    let batch = Batch::open(&of_one, &Options::default()).unwrap();
    assert_eq!((batch.objectives[0].float_full_scale, batch.objectives[0].full_scale), (Some(1.0), 65535));
    assert!(batch.notes().iter().all(|note| note.ends_with("1 values are no numbers and are read as black")) && batch.notes().len() == 3);
    // Powers of two change nothing but the exponent.
    let wide = lot("wide", "full_scale = 4096\n", 4096.0);
    assert!(objects(&wide, "out-wide") == expected);
    let unsaid = Batch::open(&lot("unsaid", "", 4096.0), &Options::default()).unwrap();
    assert_eq!(unsaid.objectives[0].float_full_scale, Some(4096.0));
    assert!(unsaid.sheet_as_used().canonical().contains("full_scale = 4096.0"), "{}", unsaid.sheet_as_used().canonical());
    let endless = Batch::open(&lot("endless", "", f32::MAX), &Options::default()).unwrap();
    assert!(endless.objectives[0].float_full_scale.is_some_and(f64::is_finite));
}
