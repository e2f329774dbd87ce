//! Sign-offs written, read, and found wanting.

use std::fs;

use ssh_key::private::Ed25519Keypair;

use super::*;
use crate::archive::{Said, Staging};
use crate::journal::Entry;
use crate::occasion::Occasion;
use crate::settings::SETTINGS_FILE;

/// A record of a lot in a folder of its own, as far as sign-offs look at it; measured at 09:15.
fn bench() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let occasion = Occasion::at(Moment::from_epoch("1772615700").unwrap(), "0.0.0");
    let said = || Said { info: vec![("External-Identifier", "TS, 1".into())], before: Vec::new(), entry: Entry::new("record") };
    let mut staging = Staging::begin(folder.path(), "TS, 1", &occasion).unwrap();
    staging.bag.put("record.csv", b"lot,revision,measured_at\r\n\"TS, 1\",1,2026-03-04T09:15:00Z\r\n").unwrap();
    let sealed = staging.seal(&occasion, &mut |_, _, _| Ok(said())).unwrap();
    (folder, sealed.folder)
}

fn key(seed: u8) -> Key {
    sign::tests_key(Ed25519Keypair::from_seed(&[seed; 32]))
}

/// `minutes` after 09:15.
fn moment(minutes: i64) -> Moment {
    Moment { source: "clock", ..Moment::from_epoch(&(1_772_615_700 + 60 * minutes).to_string()).unwrap() }
}

fn signed_at(record: &Path, minutes: i64, asked: &Asked<'_>) -> Result<PathBuf, Fault> {
    let origin = Origin { user: "lab".into(), computer: "bench-2".into(), zone: "UTC +00:00".into() };
    let made = Made { moment: &moment(minutes), origin: &origin, program_version: "0.0.0" };
    sign_off(record, asked, &made, &Settings::of_record(record)?)
}

fn asked<'a>(name: &'a str, meaning: &'a str, key: Option<&'a Key>) -> Asked<'a> {
    Asked { name, meaning, comment: None, key }
}

fn ids(record: &Path) -> Vec<Vec<&'static str>> {
    let settings = Settings::of_record(record).unwrap();
    of_record(record, &settings).iter().map(|found| found.findings.iter().map(|finding| finding.id).collect()).collect()
}

fn settings(out: &Path, text: &str, signers: &[(&str, &Key)]) {
    let lines: Vec<String> = signers.iter().map(|(name, key)| format!("{name} {}\n", key.public().without_comment().text())).collect();
    fs::write(out.join("allowed_signers"), lines.concat()).unwrap();
    fs::write(out.join(SETTINGS_FILE), text).unwrap();
}

#[test]
fn what_is_said_stands_in_the_file_word_for_word() {
    let (_folder, record) = bench();
    let key = key(1);
    let with_comment = Asked { comment: Some("two fields\nlooked at twice"), ..asked(" R4 ", "measured", Some(&key)) };
    let file = signed_at(&record, 5, &with_comment).unwrap();
    assert_eq!(file, record.parent().unwrap().join("signoffs/r1-1.json"));
    let digest = crate::archive::tag_digest(&record).unwrap();
    let public = key.public().without_comment().text();
    let expected = format!(
        "{{\n  \"version\": 1,\n  \"lot\": \"TS, 1\",\n  \"revision\": 1,\n  \"tag_manifest_sha256\": \"{digest}\",\n  \"name\": \"R4\",\n  \
         \"meaning\": \"measured\",\n  \"comment\": \"two fields\\nlooked at twice\",\n  \"signed_at\": \"2026-03-04T09:20:00Z\",\n  \
         \"time_source\": \"clock\",\n  \"user\": \"lab\",\n  \"computer\": \"bench-2\",\n  \"zone\": \"UTC +00:00\",\n  \
         \"program\": \"evenfilm\",\n  \"program_version\": \"0.0.0\",\n  \"standing\": \"signed\",\n  \"signature\": \"{public}\"\n}}\n"
    );
    let text = fs::read_to_string(&file).unwrap();
    assert_eq!(text, expected);
    let armour = fs::read_to_string(place::signature_file(&file)).unwrap();
    assert_eq!(sign::verify(&armour, SIGNOFF, text.as_bytes()).unwrap(), key.public());

    let typed = signed_at(&record, 6, &asked("Q1", "reviewed", None)).unwrap();
    let said = Statement::parse(&fs::read(&typed).unwrap()).unwrap();
    assert_eq!((said.standing.as_str(), said.signature, said.comment), ("name typed, not signed", None, None));
    let found = of_record(&record, &Settings::default());
    assert_eq!(
        found.iter().map(|found| (found.number, found.key.is_some(), found.is_in_order())).collect::<Vec<_>>(),
        [(1, true, true), (2, false, true)]
    );
    assert!(bag::is_whole(&record), "a sign-off changes no record");
}

#[test]
fn what_cannot_be_signed_is_refused_and_nothing_is_written() {
    let (folder, record) = bench();
    let refused = |record: &Path, asked: &Asked<'_>, expected: &str| {
        let fault = signed_at(record, 5, asked).unwrap_err();
        assert!(fault.message.contains(expected) && !fault.remedy.is_empty(), "{fault}");
    };
    refused(&record, &asked("R4", "aproved", None), "unknown meaning aproved; known are measured, reviewed, approved");
    refused(&record, &asked(" ", "approved", None), "the name is empty");
    refused(&record, &asked("R\u{1b}4", "approved", None), "cannot be seen");
    refused(&record, &Asked { comment: Some("a\u{7}"), ..asked("R4", "approved", None) }, "the comment has characters");
    refused(folder.path(), &asked("R4", "approved", None), "this is no record");
    let copy = record.with_file_name("r7");
    fs::rename(&record, &copy).unwrap();
    refused(&copy, &asked("R4", "approved", None), "revision 1, and its folder has another name");
    fs::rename(&copy, &record).unwrap();
    let table = record.join("data/record.csv");
    let whole = fs::read(&table).unwrap();
    fs::write(&table, [&whole[..], b"\r\n"].concat()).unwrap();
    refused(&record, &asked("R4", "approved", None), "not as it was sealed");
    fs::write(&table, whole).unwrap();

    let (mine, other) = (key(1), key(2));
    settings(
        folder.path(),
        "controlled = true\nsigners = \"allowed_signers\"\n",
        &[("R4", &mine), ("Q1 namespaces=\"approval@evenfilm\"", &other)],
    );
    refused(&record, &asked("R5", "measured", Some(&mine)), "R5 cannot sign with this key: in the file of signers the key belongs to R4");
    refused(&record, &asked("Q1", "measured", Some(&other)), "does not let the key sign for this purpose");
    refused(&record, &asked("R4", "measured", Some(&key(3))), "does not have the key");
    let set = Moment::from_epoch("1772615800").unwrap();
    let made = Made { moment: &set, origin: &Origin::default(), program_version: "0" };
    let fault = sign_off(&record, &asked("R4", "measured", None), &made, &Settings::of_record(&record).unwrap()).unwrap_err();
    assert!(fault.message.contains("SOURCE_DATE_EPOCH is set"), "{fault}");
    assert!(!record.with_file_name("signoffs").exists());
    assert!(signed_at(&record, 5, &asked("R4", "measured", Some(&mine))).is_ok());
}

#[test]
fn a_signature_that_a_dead_program_left_is_replaced() {
    let (_folder, record) = bench();
    let folder = place::folder_of(&record);
    fs::create_dir(&folder).unwrap();
    // As far as a program comes that is killed before the statement.
    let first = place::statement_file(&folder, 1, 1);
    place::put_signature(&first, Some("left"), true).unwrap();
    assert!(of_record(&record, &Settings::default()).is_empty(), "a signature alone says nothing");
    let key = key(1);
    assert_eq!(signed_at(&record, 5, &asked("R4", "measured", Some(&key))).unwrap(), first);
    assert_eq!(ids(&record), [[""; 0]]);
    // Where the signature cannot be written, there is no statement either: the signature comes first.
    fs::create_dir(folder.join("r1-2.json.sig")).unwrap();
    assert!(signed_at(&record, 6, &asked("Q1", "reviewed", Some(&key))).is_err());
    assert!(!folder.join("r1-2.json").exists());
    fs::remove_dir(folder.join("r1-2.json.sig")).unwrap();
    // Without a key it would else lie beside a statement that is not signed.
    place::put_signature(&place::statement_file(&folder, 1, 2), Some("left"), true).unwrap();
    signed_at(&record, 6, &asked("Q1", "reviewed", None)).unwrap();
    assert_eq!(ids(&record), [[""; 0], [""; 0]]);
}

#[test]
fn without_locks_a_place_that_may_be_anothers_is_passed_over() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("r1-1.json");
    assert!(place::put_signature(&file, Some("mine"), false).unwrap());
    assert!(!place::put_signature(&file, Some("other"), false).unwrap() && !place::put_signature(&file, None, false).unwrap());
    assert_eq!(fs::read_to_string(place::signature_file(&file)).unwrap(), "mine");
}

#[test]
fn many_at_once_get_a_place_each() {
    let (_folder, record) = bench();
    let files = std::thread::scope(|scope| {
        let record = &record;
        let one = |seed: u8| {
            let key = key(seed);
            signed_at(record, 5, &asked("R4", "reviewed", (!seed.is_multiple_of(3)).then_some(&key))).unwrap()
        };
        let threads: Vec<_> = (0..12).map(|seed| scope.spawn(move || one(seed))).collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect::<Vec<_>>()
    });
    let found = of_record(&record, &Settings::default());
    assert_eq!(found.iter().map(|found| found.number).collect::<Vec<_>>(), (1..=12).collect::<Vec<_>>());
    assert!(found.iter().all(|found| found.is_in_order() && files.contains(&found.file)), "{found:?}");
    assert_eq!(found.iter().filter(|found| found.key.is_some()).count(), 8);
}

#[test]
fn every_fault_of_a_sign_off_is_found() {
    let (folder, record) = bench();
    let (mine, other) = (key(1), key(2));
    let file = signed_at(&record, 5, &asked("R4", "measured", Some(&mine))).unwrap();
    let signature = place::signature_file(&file);
    let [whole, armour] = [&file, &signature].map(|file| fs::read_to_string(file).unwrap());
    assert_eq!(ids(&record), [[""; 0]]);
    // Each changes statement or signature, and what is found then.
    let sign_again = |text: &str, key: &Key| {
        fs::write(&file, text).unwrap();
        fs::write(&signature, sign::sign(key, SIGNOFF, text.as_bytes()).unwrap()).unwrap();
    };
    let digest = crate::archive::tag_digest(&record).unwrap();
    let cases: [(String, &Key, &[&str]); 9] = [
        (whole.replace("\"R4\"", "\"R5\""), &mine, &[]),
        (whole.replace(&digest, &"0".repeat(64)), &mine, &["signoff_other_record"]),
        (whole.replace("TS, 1", "TS, 2"), &mine, &["signoff_other_record"]),
        (whole.clone(), &other, &["signature_other_key"]),
        (whole.replace("09:20", "09:14"), &mine, &["signed_before_sealing"]),
        (whole.replace("2026-03-04T09:20:00Z", "noon"), &mine, &["signoff_time_unreadable"]),
        (whole.replace("\"measured\"", "\"liked\""), &mine, &["signoff_meaning_unknown"]),
        (whole.replace("\"signed\"", "\"name typed, not signed\""), &mine, &["signoff_standing"]),
        (whole.replace("\"version\": 1", "\"version\": 2,\n  \"seal\": [1, {}]"), &mine, &["signoff_later_version"]),
    ];
    for (text, key, expected) in cases {
        sign_again(&text, key);
        assert_eq!(ids(&record), [expected], "{text}");
    }
    let found = of_record(&record, &Settings::default());
    assert!(found[0].is_in_order(), "a later version is a remark");
    assert_eq!(found[0].statement.as_ref().unwrap().others["seal"].to_string(), "[1,{}]");

    for (text, sig, expected) in [
        (whole.replace("\"R4\"", "\"R5\""), Some(armour.as_str()), "signature_invalid"),
        (whole.clone(), None, "signature_missing"),
        (whole.clone(), Some("-----BEGIN"), "signature_invalid"),
        (whole.replacen('{', "{ \"lot\": \"TS, 1\",", 1), Some(armour.as_str()), "signoff_unreadable"),
        (whole.replace("\"revision\": 1", "\"revision\": -1"), Some(armour.as_str()), "signoff_unreadable"),
        (String::new(), Some(armour.as_str()), "signoff_unreadable"),
    ] {
        fs::write(&file, &text).unwrap();
        let _ = fs::remove_file(&signature);
        if let Some(sig) = sig {
            fs::write(&signature, sig).unwrap();
        }
        assert_eq!(ids(&record), [[expected]], "{text}");
    }
    fs::write(&file, &whole).unwrap();
    fs::write(&signature, &armour).unwrap();
    settings(folder.path(), "signers = \"allowed_signers\"\n", &[("R5", &mine)]);
    assert_eq!(ids(&record), [["signer_not_allowed"]]);
    settings(folder.path(), "signers = \"allowed_signers\"\n", &[("R4 valid-before=\"202603040919Z\"", &mine)]);
    assert_eq!(ids(&record), [["signer_not_allowed"]]);
    settings(folder.path(), "signers = \"allowed_signers\"\n", &[("R4", &mine)]);
    assert_eq!(ids(&record), [[""; 0]]);
    // The record beside it was measured anew under the same name.
    fs::write(record.join(bag::TAG_MANIFEST), "0").unwrap();
    assert_eq!(ids(&record), [["signoff_other_record"]]);
}

#[test]
fn a_folder_that_cannot_be_read_is_no_silence() {
    let (_folder, record) = bench();
    assert!(ids(&record).is_empty());
    fs::write(record.with_file_name("signoffs"), "").unwrap();
    assert_eq!(ids(&record), [["signoff_unreadable"]]);
}

#[test]
fn order_gaps_and_different_keys() {
    let (folder, record) = bench();
    let (mine, other) = (key(1), key(2));
    let sign = |minutes, meaning, key| signed_at(&record, minutes, &asked("R4", meaning, key)).unwrap();
    sign(5, "measured", Some(&mine));
    sign(7, "approved", Some(&mine));
    sign(6, "reviewed", None);
    sign(8, "approved", Some(&other));
    sign(9, "approved", None);
    assert_eq!(ids(&record), [&[][..], &[], &["signed_out_of_order"], &[], &[]]);
    settings(folder.path(), "different_keys = true\n", &[]);
    assert_eq!(ids(&record), [&[][..], &["same_key"], &["signed_out_of_order"], &[], &["not_signed"]]);
    fs::remove_file(record.with_file_name("signoffs").join("r1-3.json")).unwrap();
    assert_eq!(ids(&record), [&[][..], &["same_key"], &["signoff_missing"], &["not_signed"]]);
}

/// The time of sealing, where the record names it, comes before the time of measuring.
#[test]
fn nobody_signs_before_the_record_is_sealed() {
    let (_folder, record) = bench();
    let info = record.join("bag-info.txt");
    let text = fs::read_to_string(&info).unwrap();
    signed_at(&record, 5, &asked("R4", "measured", None)).unwrap();
    fs::write(&info, format!("{text}Evenfilm-Sealed-At: 2026-03-04T09:19:59Z\n")).unwrap();
    assert_eq!(ids(&record), [[""; 0]]);
    fs::write(&info, format!("{text}Evenfilm-Sealed-At: 2026-03-04T09:20:01Z\n")).unwrap();
    assert_eq!(ids(&record), [["signed_before_sealing"]]);
}
