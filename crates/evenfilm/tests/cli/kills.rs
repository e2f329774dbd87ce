//! Runs that are killed at any instant, one after another and side by side: what they leave is whole or is nothing.

use std::collections::BTreeMap;
use std::process::{Child, Stdio};

use super::*;

/// Kills in all.
const KILLS: u32 = 500;

/// A number for each kill, spread evenly and unlike its neighbours (the golden ratio's multiples).
fn share(i: u32) -> f64 {
    (f64::from(i) * 0.618_033_988_749_895).fract()
}

fn start(bench: &Bench) -> Child {
    let mut command = bench.command(&["measure", "lot", "--out", "out", "--jobs", "1", "--reason", "again"]);
    command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

/// Every file of a record has the digest that its manifests give (coreutils), and its own tag manifest has the digest in the journal.
fn assert_whole(record: &Path, journal: &BTreeMap<String, String>) {
    for manifest in ["tagmanifest-sha256.txt", "manifest-sha256.txt"] {
        let done = Command::new("sha256sum").args(["--quiet", "--strict", "-c", manifest]).current_dir(record).output().unwrap();
        assert!(done.status.success(), "{}: {}{}", record.display(), text(&done.stdout), text(&done.stderr));
    }
    let done = Command::new("sha256sum").arg(record.join("tagmanifest-sha256.txt")).output().unwrap();
    let name = record.file_name().unwrap().to_str().unwrap();
    assert_eq!(journal.get(name).map(String::as_str), text(&done.stdout).split(' ').next(), "{name} in the journal");
}

/// Revisions by the journal, with the digests of their tag manifests.
fn sealed(bench: &Bench) -> BTreeMap<String, String> {
    let text = fs::read_to_string(bench.path("out/journal.jsonl")).unwrap();
    let entries = text.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap());
    let records = entries.filter(|entry| entry["event"] == "record");
    let mut sealed = BTreeMap::new();
    for entry in records {
        let name = format!("r{}", entry["revision"]);
        let digest = entry["tag_manifest_sha256"].as_str().unwrap().to_owned();
        assert!(sealed.insert(name.clone(), digest).is_none(), "{name} twice in the journal");
    }
    sealed
}

/// Two programs on one lot at once, each killed at some instant of its run.
#[test]
fn five_hundred_kills_leave_only_whole_records() {
    let bench = Bench(tempfile::tempdir().unwrap());
    bench.render("lot", "96x72", 2);
    // How long a run takes here, while another one runs beside it.
    let begun = Instant::now();
    let mut both = [start(&bench), start(&bench)];
    for run in &mut both {
        assert!(run.wait().unwrap().success());
    }
    let whole = begun.elapsed();
    let mut finished = 2;
    for i in 0..KILLS / 2 {
        let mut runs = [(start(&bench), share(2 * i)), (start(&bench), share(2 * i + 1))];
        let begun = Instant::now();
        runs.sort_by(|a, b| a.1.total_cmp(&b.1));
        for (run, share) in &mut runs {
            std::thread::sleep(whole.mul_f64(1.1 * *share).saturating_sub(begun.elapsed()));
            let _ = run.kill();
            // One that had ended by itself has kept its record.
            finished += u32::from(run.wait().unwrap().success());
        }
    }
    let lot = bench.path("out/phantom-film-1");
    let left = names(&lot).len();
    assert_eq!(code(&bench.run(&["measure", "lot", "--out", "out", "--reason", "the last"])), Some(0));
    let (journal, there) = (sealed(&bench), names(&lot));
    let kept: Vec<&String> = there.iter().filter(|name| !name.starts_with(".staging-")).collect();
    assert_eq!(kept.len(), there.len(), "the last run takes away what dead ones left: {there:?}");
    // Numbers follow each other, and each is in the journal and in its place.
    let mut numbers: Vec<u32> = kept.iter().map(|name| name[1..].parse().unwrap()).collect();
    numbers.sort_unstable();
    assert_eq!(numbers, (1..=u32::try_from(journal.len()).unwrap()).collect::<Vec<_>>());
    assert!(numbers.len() > finished as usize && finished < KILLS, "{finished} of {KILLS} ended by themselves, {left} were there");
    for name in kept {
        assert_whole(&lot.join(name), &journal);
    }
    // Each names the one before.
    for number in &numbers[1..] {
        let info = fs::read_to_string(lot.join(format!("r{number}/bag-info.txt"))).unwrap();
        let before = &journal[&format!("r{}", number - 1)];
        assert!(info.contains(&format!("Previous-Tag-Manifest-SHA256: {before}\n")), "r{number}");
    }
    let checked = bench.run(&["journal", "out"]);
    assert_eq!(code(&checked), Some(0), "{}", text(&checked.stdout));
}
