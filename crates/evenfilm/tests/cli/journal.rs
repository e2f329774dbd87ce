//! The journal as a shell sees it.

use super::*;

#[test]
fn a_head_that_was_kept_tells_what_the_journal_alone_cannot() {
    let bench = Bench::new();
    assert_eq!(code(&bench.run(&["journal", "lot"])), Some(2), "no journal there");
    for reason in ["first", "second", "third"] {
        assert_eq!(code(&bench.run(&["measure", "lot", "--out", "out", "--reason", reason])), Some(0));
    }
    let kept = bench.run(&["journal", "out", "--export", "head.json"]);
    assert_eq!(code(&kept), Some(0));
    assert!(text(&kept.stdout).contains("3 entries") && text(&kept.stdout).contains("keep it where nobody of the bench can write"));
    assert_eq!(code(&bench.run(&["journal", "out", "--export", "head.json"])), Some(2), "a head that was kept is not replaced");
    assert_eq!(code(&bench.run(&["measure", "lot", "--out", "out", "--reason", "fourth"])), Some(0));
    let since = bench.run(&["journal", "out", "--since", "head.json", "--json"]);
    assert_eq!((code(&since), &json(&since)["ok"], &json(&since)["entries"]), (Some(0), &true.into(), &4.into()));

    // The last two are taken out, and nobody can tell but who kept the head.
    let journal = bench.path("out/journal.jsonl");
    let whole = fs::read_to_string(&journal).unwrap();
    fs::write(&journal, whole.split_inclusive('\n').take(2).collect::<String>()).unwrap();
    assert_eq!(code(&bench.run(&["journal", "out"])), Some(0));
    let found = bench.run(&["journal", "out", "--since", "head.json", "--json"]);
    assert_eq!((code(&found), &json(&found)["faults"][0]["id"]), (Some(3), &"journal_head".into()));

    // One that was changed is found without it, and gives no head.
    fs::write(&journal, whole.replacen("\"reason\":\"first\"", "\"reason\":\"other\"", 1)).unwrap();
    let found = bench.run(&["journal", "out", "--export", "other.json"]);
    assert_eq!(code(&found), Some(3));
    assert!(text(&found.stdout).contains("FAULT line 2") && !bench.path("other.json").exists(), "{}", text(&found.stdout));
    // A record that is gone is told by the journal.
    fs::write(&journal, &whole).unwrap();
    fs::rename(bench.path("out/phantom-film-1/r4"), bench.path("r4")).unwrap();
    let found = bench.run(&["journal", "out", "--json"]);
    assert_eq!((code(&found), &json(&found)["faults"][0]["id"]), (Some(3), &"record_gone".into()));
    fs::rename(bench.path("r4"), bench.path("out/phantom-film-1/r4")).unwrap();
    // Nothing hinders the next record: what is broken was broken before.
    assert_eq!(code(&bench.run(&["measure", "lot", "--out", "out", "--reason", "fifth"])), Some(0));
}
