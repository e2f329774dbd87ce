//! The scale as a shell sees it.

use super::*;

/// A folder with a rendered ruling and an empty lot.
fn bench() -> Bench {
    let bench = Bench(tempfile::tempdir().unwrap());
    let done = bench.run(&["phantom", "ruling", "--kind", "ruling", "--size", "480x360", "--fields", "2", "--seed", "6"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    assert_eq!(names(&bench.path("ruling")), ["ruling01.tif", "ruling02.tif", "truth.json"]);
    fs::create_dir(bench.path("lot")).unwrap();
    fs::write(bench.path("lot/batch.toml"), "lot = \"L\" # mine\n[microscope]\num_per_px = 0.3 # old\n").unwrap();
    bench
}

#[test]
fn a_ruling_gives_the_scale_in_words_in_json_and_in_the_sheet() {
    let bench = bench();
    let truth: serde_json::Value = serde_json::from_slice(&fs::read(bench.path("ruling/truth.json")).unwrap()).unwrap();
    for (i, name) in ["ruling/ruling01.tif", "ruling/ruling02.tif"].into_iter().enumerate() {
        let done = bench.run(&["scale", name, "--pitch-um", "10", "--pitch-u-um", "0.001", "--json"]);
        assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
        let found = json(&done);
        let [um, u, x, angle] = ["um_per_px", "um_per_px_u", "um_per_px_x", "angle_deg"].map(|key| found[key].as_f64().unwrap());
        assert!((um / 0.25 - 1.0).abs() < 5e-4 && (um - 0.25).abs() < 3.0 * u && u < 2e-4 * um && (x - um).abs() < 1e-9, "{found}");
        assert!(found["um_per_px_y"].is_null() && found["lines"].as_u64().unwrap() >= 10, "{found}");
        assert!((angle - truth["pictures"][i]["angle_deg"].as_f64().unwrap()).abs() < 0.05, "{found}");
    }
    let done = bench.run(&["scale", "ruling/ruling01.tif", "--pitch-um", "10", "--write", "lot", "--picture", "found.png"]);
    assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
    let said = text(&done.stdout);
    for words in [" ± ", "µm per pixel", "lines cross x only", "--pitch-u-um", "um_per_px was 0.3", "covers the scale"] {
        assert!(said.contains(words), "{words} in:\n{said}");
    }
    let sheet = fs::read_to_string(bench.path("lot/batch.toml")).unwrap();
    assert!(sheet.starts_with("lot = \"L\" # mine\n[microscope]\num_per_px = 0.2"), "{sheet}");
    assert!(sheet.contains(" # old\n") && sheet.contains("scale_date = 2026-03-04\n"), "{sheet}");
    assert!(fs::read(bench.path("found.png")).unwrap().starts_with(b"\x89PNG"));
    assert_eq!(names(&bench.path("lot")), ["batch.toml"]);
}

#[test]
fn a_ruling_in_doubt_is_refused_with_2_and_changes_nothing() {
    let bench = bench();
    let film = bench.run(&["phantom", "film", "--size", "320x240", "--fields", "1"]);
    assert!(film.status.success());
    let before = fs::read(bench.path("lot/batch.toml")).unwrap();
    let done = bench.run(&["scale", "film/f01.tif", "--pitch-um", "10", "--write", "lot", "--picture", "found.png", "--json"]);
    assert_eq!(code(&done), Some(2));
    assert_eq!(json(&done)["error"]["kind"], "input");
    // A film is refused as no ruling, or as more than one set of lines; what to do is said in any case.
    let remedy = json(&done)["error"]["remedy"].as_str().unwrap().to_owned();
    assert!(remedy.contains("photograph") && text(&done.stderr).contains(&remedy), "{}", text(&done.stderr));
    assert!(!bench.path("found.png").exists() && fs::read(bench.path("lot/batch.toml")).unwrap() == before);
    for (arguments, words) in [
        (&["scale", "ruling/ruling01.tif"][..], "--pitch-um"),
        (&["scale", "ruling/ruling01.tif", "--pitch-um", "0"], "the pitch is 0 µm"),
        (&["scale", "absent.tif", "--pitch-um", "10"], "cannot be read"),
        (&["scale", "ruling/ruling01.tif", "--pitch-um", "10", "--write", "ruling"], "no sheet batch.toml"),
    ] {
        let done = bench.run(arguments);
        assert_eq!(code(&done), Some(2), "{arguments:?}");
        assert!(text(&done.stderr).contains(words), "{words} in:\n{}", text(&done.stderr));
    }
}
