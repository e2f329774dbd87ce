//! Phantom folders under test.

use evenfilm_core::phantom::{FilmSpec, Placed, Sort};
use evenfilm_core::plane::Rect;

use super::pictures::rendered;
use super::*;

fn small(bits: Bits, file: PictureFile) -> PhantomOptions {
    let base = PhantomOptions::new(PhantomKind::Film, 3);
    PhantomOptions { size: (200, 150), fields: 2, slides: 2, bits, file, dark: true, ..base }
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_lot_is_whole_and_the_same_again() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("lot");
    let options = small(Bits::Sixteen, PictureFile::Tiff);
    let first = write_phantom(&folder, &options).unwrap();
    assert_eq!(names(&folder), ["batch.toml", "blank.tif", "dark.tif", "f01.tif", "f02.tif", "f03.tif", "f04.tif", "truth.json"]);
    assert_eq!(names(parent.path()), ["lot"]);
    let before: Vec<Vec<u8>> = names(&folder).iter().map(|n| fs::read(folder.join(n)).unwrap()).collect();
    assert_eq!(write_phantom(&folder, &options).unwrap(), first);
    let after: Vec<Vec<u8>> = names(&folder).iter().map(|n| fs::read(folder.join(n)).unwrap()).collect();
    assert!(before == after && first.fields == 4 && first.objects > 0);
}

/// The written picture read back by the decoder is what was rendered.
#[test]
fn pictures_hold_what_was_rendered() {
    let parent = tempfile::tempdir().unwrap();
    for (bits, file) in [(Bits::Eight, PictureFile::Tiff), (Bits::Sixteen, PictureFile::Tiff), (Bits::Eight, PictureFile::Png)] {
        let options = small(bits, file);
        let folder = parent.path().join(format!("{bits:?}-{file:?}"));
        write_phantom(&folder, &options).unwrap();
        let expected = rendered(&Film::lay(&options.spec(1), 1, 0), Rect::new(0, 0, 200, 150));
        let path = folder.join(format!("f03.{}", file.extension()));
        assert_eq!(decoded(&path), expected, "{}", path.display());
    }
}

fn decoded(path: &Path) -> Vec<u16> {
    if path.extension().unwrap() == "png" {
        let mut reader = png::Decoder::new(std::io::BufReader::new(File::open(path).unwrap())).read_info().unwrap();
        let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut bytes).unwrap();
        return bytes.into_iter().map(u16::from).collect();
    }
    let mut decoder = tiff::decoder::Decoder::new(std::io::BufReader::new(File::open(path).unwrap())).unwrap();
    match decoder.read_image().unwrap() {
        tiff::decoder::DecodingResult::U8(v) => v.into_iter().map(u16::from).collect(),
        tiff::decoder::DecodingResult::U16(v) => v,
        other => panic!("{other:?}"),
    }
}

/// Every kind of phantom writes what it is, and truth that tells powder from the rest.
#[test]
fn truth_names_the_kind_of_everything() {
    let parent = tempfile::tempdir().unwrap();
    let bubble = Placed { sort: Sort::Bubble, centre_um: [25.0, 20.0], size_um: 12.0, width_um: 1.2, angle_deg: 0.0 };
    for &kind in PhantomKind::ALL {
        let base = PhantomOptions { placed: vec![bubble], size: (200, 150), fields: 2, ..PhantomOptions::new(kind, 3) };
        let folder = parent.path().join(kind.word());
        let summary = write_phantom(&folder, &base).unwrap();
        let truth: serde_json::Value = serde_json::from_slice(&fs::read(folder.join(TRUTH_FILE)).unwrap()).unwrap();
        assert_eq!(truth["kind"], kind.word());
        let fields = truth["fields"].as_array().unwrap();
        let objects = || fields.iter().flat_map(|f| f["objects"].as_array().unwrap());
        let powder: Vec<_> = objects().filter(|o| o["kind"] == "powder").collect();
        assert_eq!(objects().filter(|o| o["kind"] == "hollow" && o["diameter_um"] == 12.0).count(), 2);
        let area: f64 = powder.iter().map(|o| o["area_in_frame_um2"].as_f64().unwrap()).sum();
        assert!((summary.particle_area_pct - 100.0 * area / (2.0 * 50.0 * 37.5)).abs() < 1e-3 && summary.objects == powder.len());
        assert_eq!(truth["pooled"]["left_out_objects"], summary.left_out_objects);
        assert_eq!(objects().any(|o| o["depth_um"].is_number()), kind == PhantomKind::Depth);
        assert!(fields.iter().flat_map(|f| f["gaps"].as_array().unwrap()).all(|g| g["kind"].is_string()));
    }
}

#[test]
fn a_folder_with_other_files_is_left_alone() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("lot");
    let options = small(Bits::Eight, PictureFile::Png);
    fs::create_dir(&folder).unwrap();
    write_phantom(&folder, &options).unwrap();
    fs::write(folder.join("corrections.csv"), "mine").unwrap();
    let fault = write_phantom(&folder, &options).unwrap_err();
    assert_eq!(fault.file.unwrap().file_name().unwrap(), "corrections.csv");
    assert_eq!(fs::read(folder.join("corrections.csv")).unwrap(), b"mine");
}

#[test]
fn options_out_of_range_are_refused() {
    let parent = tempfile::tempdir().unwrap();
    let base = small(Bits::Eight, PictureFile::Png);
    for options in [
        PhantomOptions { size: (0, 10), ..base.clone() },
        PhantomOptions { fields: 0, ..base.clone() },
        PhantomOptions { um_per_px: -1.0, ..base.clone() },
        PhantomOptions { blur: BlurChoice::Sigma(f64::NAN), ..base.clone() },
        PhantomOptions { numerical_aperture: 1.5, ..base.clone() },
        PhantomOptions { film: FilmSpec { depth_um: -1.0, ..FilmSpec::depth() }, ..base.clone() },
        PhantomOptions {
            placed: vec![Placed { sort: Sort::Fibre, centre_um: [9.0, 9.0], size_um: 20.0, width_um: 0.0, angle_deg: 0.0 }],
            ..base.clone()
        },
        PhantomOptions { blur: BlurChoice::Gaussian, film: FilmSpec::depth(), ..base.clone() },
        PhantomOptions { blur: BlurChoice::Gaussian, film: FilmSpec::refracting(), ..base.clone() },
    ] {
        assert!(write_phantom(&parent.path().join("lot"), &options).is_err());
    }
    assert!(names(parent.path()).is_empty());
}

#[test]
fn everything_says_that_it_is_rendered() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("lot");
    write_phantom(&folder, &small(Bits::Eight, PictureFile::Png)).unwrap();
    for name in names(&folder) {
        let bytes = fs::read(folder.join(&name)).unwrap();
        assert!(bytes.windows(ORIGIN.len()).any(|w| w == ORIGIN.as_bytes()), "{name}");
    }
}
