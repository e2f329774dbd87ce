//! Fields that show one place: found, told, left out.

use std::fs::{self, File};

use tiff::decoder::{Decoder, DecodingResult};
use tiff::encoder::{TiffEncoder, colortype};

use super::tests::rows;
use super::*;
use crate::folder::Options;
use crate::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use crate::time::Moment;

const WIDTH: usize = 360;
const HEIGHT: usize = 280;
const SHEET: &str =
    "lot = 'L'\n[microscope]\num_per_px = 0.25\nnumerical_aperture = 0.65\nwavelength_nm = 550\ntone = 'linear'\nblank = 'blank.tif'\n";

fn picture(path: &Path) -> (usize, Vec<u16>) {
    let mut decoder = Decoder::new(File::open(path).unwrap()).unwrap();
    let width = decoder.dimensions().unwrap().0 as usize;
    let DecodingResult::U16(counts) = decoder.read_image().unwrap() else { panic!("no counts of 16 bits") };
    (width, counts)
}

/// Parts of one film as the fields of a lot: `b.tif` shows 53 % of `a.tif` again, `c.tif` another place.
fn lot() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let options = PhantomOptions { fields: 1, size: (760, 600), ..PhantomOptions::new(PhantomKind::Film, 8) };
    write_phantom(&folder.path().join("film"), &options).unwrap();
    fs::create_dir(folder.path().join("lot")).unwrap();
    for (name, from, (x, y)) in [("a", "f01", (10, 10)), ("b", "f01", (90, 100)), ("c", "f01", (390, 310)), ("blank", "blank", (200, 150))]
    {
        let (width, counts) = picture(&folder.path().join("film").join(format!("{from}.tif")));
        let part: Vec<u16> = (y..y + HEIGHT).flat_map(|y| counts[y * width + x..y * width + x + WIDTH].iter().copied()).collect();
        let file = File::create(folder.path().join("lot").join(format!("{name}.tif"))).unwrap();
        let [width, height] = [WIDTH, HEIGHT].map(|side| u32::try_from(side).unwrap());
        TiffEncoder::new(file).unwrap().write_image::<colortype::Gray16>(width, height, &part).unwrap();
    }
    fs::write(folder.path().join("lot/batch.toml"), SHEET).unwrap();
    folder
}

fn measured(folder: &tempfile::TempDir) -> LotOutcome {
    let (moment, cancel) = (Moment::from_epoch("1772615700").unwrap(), AtomicBool::new(false));
    let out = folder.path().join("out");
    let job = Job { out: &out, occasion: &Occasion::at(moment.clone(), "0.0.0"), cancel: &cancel, tell: &|_| {} };
    run(&Batch::open(&folder.path().join("lot"), &Options::default()).unwrap(), &job).unwrap()
}

/// Why each field was rejected.
fn rejected(outcome: &LotOutcome) -> Vec<String> {
    let mut reader = csv::Reader::from_path(outcome.record_dir.join("data/fields.csv")).unwrap();
    let at = reader.headers().unwrap().iter().position(|id| id == "rejected").unwrap();
    rows(&outcome.record_dir, "fields.csv").iter().map(|row| row[at].to_owned()).collect()
}

fn flagged(outcome: &LotOutcome) -> Vec<(Option<usize>, String)> {
    outcome.flags().filter(|f| f.flag.id == "overlap").map(|f| (f.field, f.flag.advice.to_string())).collect()
}

fn numbers(outcome: &LotOutcome) -> Vec<(&'static str, Option<f64>)> {
    let values = outcome.objectives[0].values.iter().filter(|value| value.id != "fields_rejected");
    values.map(|value| (value.id, value.value)).collect()
}

fn count(outcome: &LotOutcome, id: &str) -> f64 {
    outcome.value(id).unwrap().value.unwrap()
}

#[test]
fn the_later_of_two_fields_that_overlap_is_left_out() {
    let folder = lot();
    let with = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| measured(&folder));
    let both = with(2);
    // (1 − 80/360) × (1 − 90/280) = 0.528.
    assert_eq!(rejected(&both), ["", "overlap: 53 % of it lie in a.tif", ""]);
    assert_eq!((count(&both, "fields"), count(&both, "fields_rejected")), (2.0, 1.0));
    assert_eq!(flagged(&both).len(), 1);
    let (field, advice) = &flagged(&both)[0];
    assert!(*field == Some(2) && advice.starts_with("53 % of it lie in a.tif too, by their objects"), "{advice}");
    assert!(!both.record_dir.join("data/record-without-rejected.csv").exists());
    let one = with(1);
    let fields = |outcome: &LotOutcome| fs::read(outcome.record_dir.join("data/fields.csv")).unwrap();
    assert!(fields(&both) == fields(&one), "the same at any number of threads");
    let (there, away) = (folder.path().join("lot/b.tif"), folder.path().join("b.tif"));
    fs::rename(&there, &away).unwrap();
    assert_eq!(numbers(&measured(&folder)), numbers(&both), "as if it had never been photographed");
    fs::rename(&away, &there).unwrap();
    // The recipe may ask for the flag alone.
    fs::write(folder.path().join("lot/recipe.toml"), "[fields]\nreject = []\n").unwrap();
    let told = measured(&folder);
    assert_eq!((rejected(&told).concat(), count(&told, "fields"), flagged(&told)), (String::new(), 3.0, flagged(&both)));
}

#[test]
fn corrections_by_hand_and_overlap_together() {
    let folder = lot();
    let both = measured(&folder);
    // Somebody leaves out the earlier one: the later one stays.
    let head = "field,thing,x_um,y_um,change,to,reason,by,at\n";
    fs::write(folder.path().join("lot/corrections.csv"), format!("{head}a.tif,field,,,leave_out,,overlap,R4,\n")).unwrap();
    let by_hand = measured(&folder);
    assert_eq!(rejected(&by_hand), ["overlap", "", ""]);
    let row = |outcome: &LotOutcome, name: &str| rows(&outcome.record_dir, name)[0].iter().skip(20).map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(row(&by_hand, "record-uncorrected.csv"), row(&both, "record.csv"), "without corrections the later one is out");
    // Somebody dislikes the earlier one: it stays, and the later one is out; without the earlier one the later one comes back.
    fs::write(folder.path().join("lot/corrections.csv"), format!("{head}a.tif,field,,,leave_out,,ugly,R4,\n")).unwrap();
    let disliked = measured(&folder);
    assert_eq!(rejected(&disliked), ["ugly", "overlap: 53 % of it lie in a.tif", ""]);
    assert_eq!(row(&disliked, "record-without-rejected.csv"), row(&by_hand, "record.csv"));
}

#[test]
fn repeats_of_a_study_are_meant() {
    let folder = lot();
    let numbered = "[[picture]]\nfile = 'a.tif'\nrepeat = 1\n[[picture]]\nfile = 'b.tif'\nrepeat = 2\n";
    for (purpose, found) in [("study", ["", ""]), ("lot", ["", "overlap: 53 % of it lie in a.tif"])] {
        fs::write(folder.path().join("lot/batch.toml"), format!("purpose = \"{purpose}\"\n{SHEET}{numbered}")).unwrap();
        assert_eq!(rejected(&measured(&folder)), found, "{purpose}");
    }
}

#[test]
fn one_picture_twice_and_what_the_sheet_says() {
    let folder = lot();
    let path = |name: &str| folder.path().join("lot").join(name);
    fs::copy(path("a.tif"), path("d.tif")).unwrap();
    fs::remove_file(path("b.tif")).unwrap();
    let twice = measured(&folder);
    assert_eq!(rejected(&twice), ["", "", "overlap: 100 % of it lie in a.tif"]);
    assert!(flagged(&twice)[0].1.starts_with("it is the same picture as a.tif"));
    let sheet = |pictures: &str| fs::write(path("batch.toml"), format!("{SHEET}{pictures}")).unwrap();
    // No number makes a repeat of one picture.
    sheet("[[picture]]\nfile = 'a.tif'\nrepeat = 1\n[[picture]]\nfile = 'd.tif'\nrepeat = 2\n");
    assert_eq!(rejected(&measured(&folder)), ["", "overlap: 100 % of it lie in a.tif"]);
    // By the sheet c shows a place of a, but its objects are others: that is told, and nothing is left out.
    sheet("[[picture]]\nfile = 'a.tif'\nx_mm = 1.0\ny_mm = 2.0\n[[picture]]\nfile = 'c.tif'\nx_mm = 1.01\ny_mm = 2.0\n");
    let wrong = measured(&folder);
    assert_eq!(rejected(&wrong).concat(), "");
    assert!(flagged(&wrong)[0].1.contains("check x_mm and y_mm"), "{:?}", flagged(&wrong));
    // Another slide has places of its own.
    sheet(
        "[[picture]]\nfile = 'a.tif'\nslide = 'A'\nx_mm = 1.0\ny_mm = 2.0\n[[picture]]\nfile = 'c.tif'\nslide = 'B'\nx_mm = 1.0\ny_mm = 2.0\n",
    );
    assert!(flagged(&measured(&folder)).is_empty());
}
