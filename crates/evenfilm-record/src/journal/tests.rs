//! The journal under test: lines that follow each other, torn ends, what is changed or taken out, and several writers at once.

use std::thread;

use super::*;
use crate::time::Moment;

fn occasion() -> Occasion {
    Occasion::at(Moment::from_epoch("1772615700").unwrap(), "0.0.0")
}

fn add(out: &Path, event: &'static str, note: usize) -> Head {
    Journal::open(out, &occasion()).unwrap().append(&Entry::new(event).with("note", note), &occasion()).unwrap()
}

fn bytes(out: &Path) -> Vec<u8> {
    fs::read(out.join(JOURNAL)).unwrap()
}

fn ids(checked: &Checked) -> Vec<&'static str> {
    checked.findings.iter().map(|finding| finding.id).collect()
}

#[test]
fn lines_follow_each_other_and_name_the_one_before() {
    let out = tempfile::tempdir().unwrap();
    let heads: Vec<Head> = (0..3).map(|i| add(out.path(), "shown", i)).collect();
    let text = String::from_utf8(bytes(out.path())).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 3);
    assert!(lines[0].starts_with(
        r#"{"n":1,"previous":null,"at":"2026-03-04T09:15:00Z","time_source":"SOURCE_DATE_EPOCH","program":"evenfilm 0.0.0","#
    ));
    for (i, head) in heads.iter().enumerate() {
        assert_eq!((head.number, &head.sha256), (i as u64 + 1, &sha256_hex(lines[i].as_bytes())));
        assert_eq!(Head::parse(&head.text()).as_ref(), Some(head));
    }
    assert!(lines[2].contains(&format!(r#""previous":"{}""#, heads[1].sha256)));
    let checked = check::check(text.as_bytes(), Some(&heads[0]));
    assert_eq!((checked.entries, checked.head.as_ref(), checked.findings.len()), (3, Some(&heads[2]), 0));
}

/// A stop can leave any part of a line: whatever it is, the next writer takes it off, says so, and the chain goes on.
#[test]
fn a_torn_line_is_taken_off_and_told_of() {
    let out = tempfile::tempdir().unwrap();
    add(out.path(), "shown", 1);
    let whole = bytes(out.path());
    let mut next = whole.clone();
    next.extend_from_slice(&whole[..whole.len() - 1]);
    for end in whole.len() + 1..=next.len() {
        fs::write(out.path().join(JOURNAL), &next[..end]).unwrap();
        let torn = check::check(&bytes(out.path()), None);
        assert_eq!((ids(&torn), torn.is_whole()), (vec!["journal_torn"], true), "{end}");
        assert_eq!(add(out.path(), "shown", 2).number, 3);
        let after = bytes(out.path());
        assert!(after.starts_with(&whole) && String::from_utf8_lossy(&after).contains(r#""event":"mended""#));
        assert!(check::check(&after, None).findings.is_empty());
    }
    // A first line that was torn.
    fs::write(out.path().join(JOURNAL), "{\"n\":1").unwrap();
    assert_eq!(add(out.path(), "shown", 1).number, 2);
}

#[test]
fn whatever_is_changed_or_taken_out_is_found() {
    let out = tempfile::tempdir().unwrap();
    let heads: Vec<Head> = (0..5).map(|i| add(out.path(), "shown", i)).collect();
    let whole = bytes(out.path());
    // Any byte of any line but the last one's, which only a head that was kept can tell.
    let last = whole[..whole.len() - 1].iter().rposition(|&b| b == b'\n').unwrap() + 1;
    for at in 0..whole.len() {
        let mut changed = whole.clone();
        changed[at] ^= 1;
        let found = check::check(&changed, (at >= last).then(|| &heads[4]));
        // The last line feed, without which the line counts as torn, is found by the head too.
        assert!(!found.is_whole(), "byte {at}");
    }
    let lines: Vec<&[u8]> = whole.split_inclusive(|&b| b == b'\n').collect();
    let without =
        |gone: usize| lines.iter().enumerate().filter(|(i, _)| *i != gone).flat_map(|(_, line)| line.to_vec()).collect::<Vec<u8>>();
    for gone in 0..4 {
        assert!(ids(&check::check(&without(gone), None)).contains(&"journal_chain"), "{gone}");
    }
    // What the end of a journal loses, only somebody who kept its head can tell.
    assert!(check::check(&without(4), None).is_whole());
    assert_eq!(ids(&check::check(&without(4), Some(&heads[4]))), ["journal_head"]);
    assert_eq!(ids(&check::check(b"", Some(&heads[0]))), ["journal_head"]);
    // Somebody who writes all of it anew is found in the same way.
    let other = tempfile::tempdir().unwrap();
    (0..6).for_each(|i| drop(add(other.path(), "shown", i + 10)));
    assert!(check::check(&bytes(other.path()), None).is_whole());
    assert_eq!(ids(&check::check(&bytes(other.path()), Some(&heads[2]))), ["journal_head"]);
}

#[test]
fn a_clock_that_was_set_back_is_told() {
    let out = tempfile::tempdir().unwrap();
    add(out.path(), "shown", 1);
    let early = Occasion::at(Moment::from_epoch("1772615699").unwrap(), "0.0.0");
    Journal::open(out.path(), &early).unwrap().append(&Entry::new("shown"), &early).unwrap();
    let checked = check::check(&bytes(out.path()), None);
    assert_eq!((ids(&checked), checked.is_whole()), (vec!["journal_time"], true));
}

#[test]
fn writers_wait_for_each_other() {
    let out = tempfile::tempdir().unwrap();
    thread::scope(|scope| {
        for writer in 0..8 {
            let out = out.path();
            scope.spawn(move || (0..12).for_each(|i| drop(add(out, "shown", 100 * writer + i))));
        }
    });
    let checked = check::check(&bytes(out.path()), None);
    assert_eq!((checked.entries, checked.findings.len()), (96, 0));
}

#[test]
fn nothing_is_added_to_what_is_no_journal() {
    let out = tempfile::tempdir().unwrap();
    for text in ["Dear colleague\n", "{\"n\":1}\n", "{\"n\":0,\"at\":\"2026-03-04T09:15:00Z\"}\n", "[1]\n", "\n"] {
        fs::write(out.path().join(JOURNAL), text).unwrap();
        let fault = Journal::open(out.path(), &occasion()).unwrap_err();
        assert!(fault.message.contains("no entry") && fault.remedy.contains("keep it"), "{fault}");
        assert_eq!(bytes(out.path()), text.as_bytes());
        assert_eq!(ids(&check::check(text.as_bytes(), None)), ["journal_line"]);
    }
}

#[test]
fn the_last_line_is_found_whatever_its_length() {
    let out = tempfile::tempdir().unwrap();
    for length in [1_usize, 1 << 16, 300_000, 5_000_000, 10] {
        let entry = Entry::new("shown").with("text", "x".repeat(length));
        let head = Journal::open(out.path(), &occasion()).unwrap().append(&entry, &occasion()).unwrap();
        assert_eq!(Journal::open(out.path(), &occasion()).unwrap().head(), Some(&head), "{length}");
    }
    assert!(check::check(&bytes(out.path()), None).findings.is_empty());
}

#[test]
fn a_head_goes_to_a_file_and_back_and_replaces_none() {
    let out = tempfile::tempdir().unwrap();
    let (head, file) = (add(out.path(), "shown", 1), out.path().join("head.json"));
    export(&head, &file).unwrap();
    assert_eq!(import(&file).unwrap(), head);
    assert!(export(&head, &file).unwrap_err().message.contains("exists already"));
    for text in ["", "{}", "{\"n\":0,\"sha256\":\"00\",\"at\":\"\"}", "{\"n\":1,\"sha256\":\"zz\",\"at\":\"\"}"] {
        fs::write(&file, text).unwrap();
        assert!(import(&file).unwrap_err().message.contains("no head"), "{text}");
    }
}
