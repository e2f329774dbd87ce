//! Rulings from files, and sheets that take their scale.

use std::fs;

use super::*;
use crate::phantom_files::{RulingOptions, write_ruling};

fn rendered(folder: &Path) -> PathBuf {
    let mut options = RulingOptions::new(4);
    options.picture.size = (400, 300);
    options.picture.fields = 1;
    let folder = folder.join("ruling");
    write_ruling(&folder, &options).unwrap();
    folder.join("ruling.tif")
}

fn ruled(folder: &Path) -> Ruled {
    measure_ruling(&rendered(folder), Pitch { um: 10.0, u_um: 0.002 }).unwrap()
}

fn moment() -> Moment {
    Moment::from_epoch("1772615700").unwrap()
}

const SHEET_TEXT: &str = "\
# a lot
lot = \"TS-0412\"   # its name

[microscopes.40x] # the other one
um_per_px = 0.1
[microscope]
tone = \"linear\" # as the camera says
um_per_px = 0.25            # from last year

# the blank was taken at noon
blank = \"blank.tif\"

[note]
dilution = \"1:1\"
";

#[test]
fn a_sheet_keeps_everything_but_its_scale() {
    let folder = tempfile::tempdir().unwrap();
    let ruled = ruled(folder.path());
    for windows in [false, true] {
        let text = if windows { SHEET_TEXT.replace('\n', "\r\n") } else { SHEET_TEXT.to_owned() };
        fs::write(folder.path().join("batch.toml"), &text).unwrap();
        let written = ruled.write_into(folder.path(), &moment()).unwrap();
        assert_eq!((written.before, written.kept), (Some(0.25), vec!["40x".to_owned()]));
        let new = fs::read_to_string(folder.path().join("batch.toml")).unwrap();
        assert_eq!(new.contains("\r\n"), windows);
        assert_eq!(new.matches('\n').count(), new.matches("\r\n").count().max(if windows { 0 } else { new.matches('\n').count() }));
        let (old, new) = (text.replace("\r\n", "\n"), new.replace("\r\n", "\n"));
        let changed: Vec<&str> = new.lines().filter(|line| !old.lines().any(|before| before == *line)).collect();
        let source = format!("scale_source = \"ruling 10 µm (u 0.002 µm), {} lines of ruling.tif\"", ruled.scale.lines());
        assert!(changed[0].starts_with("um_per_px = 0.2") && changed[0].ends_with("            # from last year"), "{new}");
        assert!(changed[1].starts_with("um_per_px_u = 0.000"), "{new}");
        assert_eq!(changed[2..], [source.as_str(), "scale_date = 2026-03-04"]);
        let kept: Vec<&str> = new.lines().filter(|line| !changed.contains(line)).collect();
        let before: Vec<&str> = old.lines().filter(|line| *line != "um_per_px = 0.25            # from last year").collect();
        assert_eq!(kept, before);
        let sheet = Sheet::read(&folder.path().join("batch.toml")).unwrap();
        let [um, u] = [sheet.microscope.um_per_px, sheet.microscope.um_per_px_u].map(Option::unwrap);
        assert!((um - ruled.scale.um_per_px).abs() <= 0.01 * ruled.scale.um_per_px_u && (u / ruled.scale.um_per_px_u - 1.0).abs() < 0.01);
    }
    let left: Vec<String> = fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    assert_eq!(left.len(), 2, "nothing staged is left: {left:?}");
}

#[test]
fn a_sheet_without_microscope_gets_one() {
    let folder = tempfile::tempdir().unwrap();
    let ruled = ruled(folder.path());
    fs::write(folder.path().join("batch.toml"), "lot = \"L\"\n[note]\na = 1\n").unwrap();
    let written = ruled.write_into(folder.path(), &moment()).unwrap();
    assert_eq!((written.before, written.kept.len()), (None, 0));
    let text = fs::read_to_string(&written.sheet).unwrap();
    assert!(text.starts_with("lot = \"L\"\n[note]\na = 1\n\n[microscope]\num_per_px = 0.2"), "{text}");
}

#[test]
fn sheets_that_cannot_take_a_scale_stay_as_they_are() {
    let folder = tempfile::tempdir().unwrap();
    let ruled = ruled(folder.path());
    let missing = ruled.write_into(folder.path(), &moment()).unwrap_err();
    assert!(missing.message.contains("no sheet batch.toml") && missing.remedy.contains("lot = "), "{missing}");
    for broken in ["lot = \n", "lot = \"L\"\nmicroscope = 3\n", "lot = \"L\"\n[microscope]\num_per_pixel = 1\n"] {
        fs::write(folder.path().join("batch.toml"), broken).unwrap();
        assert!(ruled.write_into(folder.path(), &moment()).is_err(), "{broken}");
        assert_eq!(fs::read_to_string(folder.path().join("batch.toml")).unwrap(), broken);
    }
}

#[test]
fn the_drawing_shows_lines_in_colour_and_never_replaces_the_ruling() {
    let folder = tempfile::tempdir().unwrap();
    let ruled = ruled(folder.path());
    let to = folder.path().join("found.png");
    ruled.draw(&to).unwrap();
    let mut reader = png::Decoder::new(std::io::BufReader::new(fs::File::open(&to).unwrap())).read_info().unwrap();
    let mut indices = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut indices).unwrap();
    // Sand: the place of the colour of used lines in the palette.
    let sand: u32 = indices.iter().map(|&index| u32::from(index == 240)).sum();
    let expected: f64 = ruled.scale.sets[0].lines.iter().filter(|l| l.used).map(|l| l.stroke.to[1] - l.stroke.from[1]).sum();
    assert!((f64::from(sand) / expected - 1.0).abs() < 0.15, "{sand} {expected}");
    let before = fs::read(&ruled.path).unwrap();
    assert!(ruled.draw(&ruled.path).unwrap_err().message.contains("replace the ruling itself"));
    assert_eq!(fs::read(&ruled.path).unwrap(), before);
    assert!(ruled.draw(&folder.path().join("absent/found.png")).unwrap_err().message.contains("its folder is missing"));
}

#[test]
fn pitches_that_are_none_are_refused() {
    for (um, u_um) in [(0.0, 0.0), (-1.0, 0.0), (f64::NAN, 0.0), (f64::INFINITY, 0.0), (10.0, -1.0), (10.0, 5.0), (10.0, f64::NAN)] {
        let fault = measure_ruling(Path::new("absent.png"), Pitch { um, u_um }).unwrap_err();
        assert!(fault.message.contains("pitch"), "{fault}");
    }
    let texts = [(0.250_123_456, 0.000_043), (0.000_043_219, 0.000_043_219)].map(|(v, u)| to_hundredths_of(v, u).to_string());
    assert_eq!(texts, ["0.2501235", "0.0000432"]);
}
