//! The program as a shell sees it: output, exit codes, and what it leaves on disk.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

mod bad_input;
#[cfg(unix)]
mod controlled;
mod journal;
#[cfg(target_os = "linux")]
mod kills;
#[cfg(target_os = "linux")]
mod memory;
mod scale;
mod signing;
mod verify;

/// A folder with a small rendered lot named `lot`.
struct Bench(tempfile::TempDir);

impl Bench {
    fn new() -> Self {
        let bench = Self(tempfile::tempdir().unwrap());
        bench.render("lot", "320x240", 2);
        bench
    }

    fn render(&self, name: &str, size: &str, fields: u32) {
        let done = self.run(&["phantom", name, "--size", size, "--fields", &fields.to_string()]);
        assert!(done.status.success(), "{}", text(&done.stderr));
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenfilm"));
        command.current_dir(self.0.path()).args(arguments).env("SOURCE_DATE_EPOCH", "1772615700");
        command
    }

    fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().unwrap()
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn code(output: &Output) -> Option<i32> {
    output.status.code()
}

fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {}", text(&output.stdout)))
}

fn names(folder: &Path) -> Vec<String> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_lot_becomes_a_record_and_a_summary_in_words() {
    let bench = Bench::new();
    let done = bench.run(&["measure", "lot", "--out", "out"]);
    assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
    let said = text(&done.stdout);
    for words in [
        "of objects ≥ 1.5 µm",
        " ± ",
        "uncovered area",
        "from 2 fields and all that is known of edge and scale; of this slide, not of the lot",
        "out/phantom-film-1/r1",
        "gives no SPF",
    ] {
        assert!(said.contains(words), "{words} in:\n{said}");
    }
    assert!(text(&done.stderr).contains("phantom-film-1: 2 of 2 fields: f02.tif\n"), "plain lines away from a terminal");
    assert_eq!(names(&bench.path("out/phantom-film-1")), ["r1"]);
}

#[test]
fn json_is_one_document_with_every_quantity() {
    let bench = Bench::new();
    let done = bench.run(&["measure", "lot", "--out", "out", "--json", "--jobs", "1"]);
    let document = json(&done);
    let lot = &document["lots"][0];
    assert_eq!(lot["lot"], "phantom-film-1");
    assert_eq!(lot["revision"], 1);
    assert!(Path::new(lot["record_dir"].as_str().unwrap()).is_absolute());
    assert!(lot["flags"].is_array() && lot["timing"]["measure_s"].as_f64().unwrap() > 0.0);
    let mut table = csv_columns(&bench.path("out/phantom-film-1/r1/data/record.csv"));
    table.drain(..19);
    for (id, value) in table {
        let expected = if value.is_empty() { serde_json::Value::Null } else { serde_json::from_str(&value).unwrap() };
        assert_eq!(lot[&id], expected, "{id}");
    }
}

/// Header and only line of a table without quotes.
fn csv_columns(path: &Path) -> Vec<(String, String)> {
    let table = fs::read_to_string(path).unwrap().replace("\"rendered, invented data\"", "invented");
    let mut lines = table.split("\r\n").map(|line| line.split(',').map(str::to_owned));
    let header = lines.next().unwrap();
    header.zip(lines.next().unwrap()).collect()
}

/// The sheet of a lot whose two fields were taken with two objectives, the second one named as given.
fn with_two_objectives(bench: &Bench, second: &str) {
    let sheet = fs::read_to_string(bench.path("lot/batch.toml")).unwrap();
    let more = format!(
        "\n[microscopes.40x]\num_per_px = 0.251\n[[picture]]\nfile = \"f01.tif\"\n[[picture]]\nfile = \"f02.tif\"\nmicroscope = \"{second}\"\n"
    );
    fs::write(bench.path("lot/batch.toml"), sheet + &more).unwrap();
}

#[test]
fn objectives_are_told_apart_in_one_record() {
    let bench = Bench::new();
    with_two_objectives(&bench, "40x");
    let done = bench.run(&["measure", "lot", "--out", "out", "--json"]);
    assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
    let lots = json(&done)["lots"].clone();
    let named = |key: &str| lots.as_array().unwrap().iter().map(|lot| lot[key].clone()).collect::<Vec<_>>();
    assert_eq!(named("microscope"), ["", "40x"]);
    assert_eq!(named("fields"), [1, 1]);
    assert_eq!(named("lot")[0], named("lot")[1]);
    assert_eq!(named("record_dir")[0], named("record_dir")[1]);
    assert!(named("um_per_px").iter().all(serde_json::Value::is_null) && named("size_from_um")[0] != named("size_from_um")[1]);
    assert_eq!(names(&bench.path("out/phantom-film-1")), ["r1"]);
    let done = bench.run(&["measure", "lot", "--out", "out"]);
    let said = text(&done.stdout);
    assert_eq!(said.matches("phantom-film-1\n").count(), 1, "{said}");
    let blocks: Vec<_> = said.lines().filter(|line| line.starts_with("  microscope")).map(|line| line[12..].trim()).collect();
    assert_eq!(blocks, ["the default one", "40x"]);
    assert_eq!(said.matches("  looked at").count(), 2);
    assert_eq!(said.matches("out/phantom-film-1/r2").count(), 1, "{said}");
}

#[test]
fn an_unknown_objective_is_2() {
    let bench = Bench::new();
    with_two_objectives(&bench, "40");
    let done = bench.run(&["measure", "lot", "--out", "out"]);
    assert_eq!(code(&done), Some(2));
    let said = text(&done.stderr);
    assert!(said.contains("names the microscope 40, which the sheet does not describe; the nearest known one is 40x"), "{said}");
    assert!(!bench.path("out").exists());
}

#[test]
fn wrong_usage_and_unusable_input_are_2() {
    let bench = Bench::new();
    for arguments in [&["measure"][..], &["measure", "lot"], &["measure", "lot", "--out", "o", "--jobs", "0"], &["weigh"], &["--fast"]] {
        let done = bench.run(arguments);
        assert_eq!(code(&done), Some(2), "{arguments:?}");
        assert!(done.stdout.is_empty() && !done.stderr.is_empty());
    }
    fs::create_dir(bench.path("empty")).unwrap();
    let done = bench.run(&["measure", "empty", "--out", "out", "--json"]);
    assert_eq!(code(&done), Some(2));
    let lot = &json(&done)["lots"][0];
    assert!(lot["folder"].as_str().unwrap().ends_with("empty"));
    assert_eq!(lot["error"]["kind"], "input");
    assert!(!bench.path("out").exists());
    let done = bench.command(&["measure", "lot", "--out", "out"]).env("SOURCE_DATE_EPOCH", "noon").output().unwrap();
    assert_eq!(code(&done), Some(2));
}

#[test]
fn one_lot_of_several_fails_and_the_others_go_on() {
    let bench = Bench::new();
    fs::create_dir(bench.path("bad")).unwrap();
    fs::write(bench.path("bad/batch.toml"), "lot = \"B\"\ncolour = 1\n").unwrap();
    let done = bench.run(&["measure", "bad", "lot", "--out", "out", "--json"]);
    assert_eq!(code(&done), Some(1));
    let lots = &json(&done)["lots"];
    assert!(lots[0]["error"]["message"].is_string() && lots[1]["revision"] == 1, "{lots}");
    assert!(text(&done.stderr).contains("batch.toml, line 2"));
    assert_eq!(names(&bench.path("out")), ["journal.jsonl", "phantom-film-1"]);
    let said = text(&bench.run(&["measure", "bad", "lot", "--out", "out"]).stdout);
    assert!(said.contains("1 of 2 lots measured"), "{said}");
}

#[test]
fn work_that_fails_is_1() {
    let bench = Bench::new();
    fs::write(bench.path("file"), "x").unwrap();
    let done = bench.run(&["measure", "lot", "--out", "file", "--json"]);
    assert_eq!(code(&done), Some(1));
    let error = &json(&done)["lots"][0]["error"];
    assert_eq!(error["kind"], "work");
    assert!(error["remedy"].as_str().unwrap().contains("output folder"), "{error}");
}

#[test]
fn odd_names_stay_below_the_output_folder() {
    let bench = Bench::new();
    let long = "x".repeat(300);
    let odd = ["=cmd", "a/b", "..", "../../x", "c:d", "CON", "Φιλμ", "🧴 5 %", &long];
    let sheet = fs::read_to_string(bench.path("lot/batch.toml")).unwrap();
    for (i, name) in odd.iter().enumerate() {
        let folder = bench.path(&format!("all/{i}"));
        fs::create_dir_all(&folder).unwrap();
        for picture in ["blank.tif", "f01.tif", "f02.tif"] {
            fs::copy(bench.path("lot").join(picture), folder.join(picture)).unwrap();
        }
        fs::write(folder.join("batch.toml"), sheet.replace("\"phantom-film-1\"", &format!("\"{name}\""))).unwrap();
    }
    let done = bench.run(&["measure", "all", "--out", "deep/out", "--json"]);
    assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
    for (lot, name) in json(&done)["lots"].as_array().unwrap().iter().zip(odd) {
        assert_eq!(lot["lot"], name);
        let record = PathBuf::from(lot["record_dir"].as_str().unwrap());
        assert!(record.ends_with("r1") && record.join("bagit.txt").is_file());
        assert_eq!(record.parent().unwrap().parent().unwrap(), bench.path("deep/out"));
    }
    assert_eq!(names(&bench.path("deep/out")).len(), odd.len() + 1, "the journal too");
    let first = json(&done)["lots"][0]["record_dir"].as_str().unwrap().to_owned();
    let table = fs::read_to_string(Path::new(&first).join("data/record.csv")).unwrap();
    assert!(table.contains("\r\n'=cmd,"), "a spreadsheet does not run it");
}

#[test]
fn the_gate_passes_only_what_is_within() {
    let bench = Bench::new();
    let gate = || bench.run(&["measure", "lot", "--out", "out", "--gate"]);
    let done = gate();
    assert_eq!(code(&done), Some(3), "a lot without limits is not within them");
    assert!(text(&done.stderr).contains("without limits") && !text(&done.stdout).contains("verdict"));

    fs::write(bench.path("lot/limits.toml"), "[[limit]]\nquantity = \"x50_0_um\"\nmax = 9\nrule = \"simple\"\n").unwrap();
    let done = gate();
    assert_eq!(code(&done), Some(3), "{}", text(&done.stderr));
    let said = text(&done.stdout);
    assert!(said.contains("provisional, of this slide, not the lot; without what the notes below name it would be within"), "{said}");
    assert!(["not locked:", "no plan:", "no check:"].iter().all(|flag| said.contains(flag)), "{said}");

    // The same slide as a check: locked, it needs neither plan nor check.
    fs::write(bench.path("lot/recipe.toml"), "locked = true\n").unwrap();
    let sheet = fs::read_to_string(bench.path("lot/batch.toml")).unwrap();
    fs::write(bench.path("lot/batch.toml"), sheet.replacen('\n', "\npurpose = \"check\"\n", 1)).unwrap();
    let done = gate();
    assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
    assert!(text(&done.stdout).contains("x50_0_um ≤ 9 µm"), "{}", text(&done.stdout));
    let done = bench.run(&["measure", "lot", "--out", "out", "--json"]);
    let lot = &json(&done)["lots"][0];
    assert_eq!((lot["verdict"].as_str(), lot["verdict_scope"].as_str()), (Some("within"), Some("slide")));
    assert_eq!(lot["decisions"][0]["why"], "value alone");
    assert!(lot["x50_0_um_u95"].is_number() && lot["uncovered_area_pct_high95"].is_number());
}

#[test]
fn this_build_proves_itself() {
    let bench = Bench(tempfile::tempdir().unwrap());
    let done = bench.run(&["prove", "--json"]);
    let proof = json(&done);
    let checks = proof["checks"].as_array().unwrap();
    assert!(checks.len() >= 80, "{}", checks.len());
    let failed: Vec<_> = checks.iter().filter(|check| check["ok"] != true).collect();
    assert!(failed.is_empty(), "{failed:?}");
    assert_eq!((proof["ok"].as_bool(), code(&done)), (Some(true), Some(0)));
    assert!(checks.iter().all(|check| check["expected"].is_number() && check["found"].is_number() && check["allowed"].is_number()));
}

#[test]
fn it_helps() {
    let bench = Bench(tempfile::tempdir().unwrap());
    for arguments in [&["--help"][..], &["--version"], &["measure", "--help"]] {
        let done = bench.run(arguments);
        assert_eq!(code(&done), Some(0), "{arguments:?}");
        assert!(text(&done.stdout).contains("evenfilm"), "{arguments:?}");
    }
}

#[test]
fn a_misspelt_command_is_no_folder() {
    let bench = Bench(tempfile::tempdir().unwrap());
    let done = bench.run(&["mesure"]);
    assert_eq!(code(&done), Some(2));
    let said = text(&done.stderr);
    assert!(
        said.contains("there is no folder mesure") && ["measure", "scale", "journal", "prove"].iter().all(|name| said.contains(name)),
        "{said}"
    );
}

#[cfg(target_os = "linux")]
#[test]
fn without_a_screen_the_desk_says_so() {
    let bench = Bench(tempfile::tempdir().unwrap());
    let mut command = bench.command(&[]);
    for name in ["DISPLAY", "WAYLAND_DISPLAY", "WAYLAND_SOCKET"] {
        command.env_remove(name);
    }
    // Its settings stay away from the user's.
    command.env("XDG_CONFIG_HOME", bench.path("config")).env("XDG_DATA_HOME", bench.path("data"));
    let done = command.output().unwrap();
    let said = text(&done.stderr);
    assert_eq!(code(&done), Some(1), "{said}");
    assert!(said.contains("cannot open a window") && said.contains("evenfilm measure"), "{said}");
    assert!(!said.contains(".rs:"), "no place in somebody's source: {said}");
}

/// Sends a signal by its name.
#[cfg(unix)]
fn signal(process: u32, name: &str) {
    assert!(Command::new("kill").args([name, &process.to_string()]).status().unwrap().success());
}

/// Waits until something is true, or half a minute.
#[cfg(unix)]
fn wait_for(mut what: impl FnMut() -> bool) {
    let start = Instant::now();
    while !what() {
        assert!(start.elapsed() < Duration::from_secs(30), "waited in vain");
        std::thread::sleep(Duration::from_millis(1));
    }
}

#[cfg(unix)]
#[test]
fn ctrl_c_and_kill_leave_no_half_record() {
    let bench = Bench::new();
    bench.render("large", "1600x1200", 6);
    let lot = bench.path("out/phantom-film-1");
    let mut killed = bench.command(&["measure", "large", "--out", "out"]).stderr(std::process::Stdio::null()).spawn().unwrap();
    wait_for(|| names(&lot).iter().any(|name| name.starts_with(".staging-") && !names(&lot.join(name).join("bag/data")).is_empty()));
    signal(killed.id(), "-KILL");
    killed.wait().unwrap();
    assert!(names(&lot).iter().all(|name| name.starts_with(".staging-")), "no record, only what the next run takes away");

    let mut stopped = bench.command(&["measure", "large", "--out", "out"]).stderr(std::process::Stdio::null()).spawn().unwrap();
    wait_for(|| names(&lot).iter().any(|name| name.starts_with(&format!(".staging-{}-", stopped.id()))));
    signal(stopped.id(), "-INT");
    assert_eq!(stopped.wait().unwrap().code(), Some(130));
    assert_eq!(names(&lot), Vec::<String>::new(), "the killed run's leftovers are gone too");

    assert_eq!(code(&bench.run(&["measure", "lot", "--out", "out"])), Some(0));
    assert_eq!(names(&lot), ["r1"]);
}
