//! Signing a record.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::kittest::{NodeT, Queryable};
use evenfilm_desk::Place;
use evenfilm_record::settings::Settings;
use evenfilm_record::sign::{Key as Signer, line_for};
use evenfilm_record::signoff::{self, Found};

use crate::bench::Bench;

const PASSPHRASE: &str = "wet paint, 42 µm";
const NAME: &str = "Ada Example";

/// A desk with a record, and the record.
fn with_record() -> (Bench, PathBuf) {
    let mut bench = Bench::with("TS-0402");
    let record = bench.lot().folder.parent().unwrap().join("records/TS-0402/r1");
    bench.press("Write the record");
    bench.settle();
    (bench, record)
}

/// A new key in a file.
fn key(bench: &Bench, name: &str) -> (PathBuf, Signer) {
    let (file, key) = (bench.folder.path().join(name), Signer::new(NAME).unwrap());
    key.write(&file, PASSPHRASE).unwrap();
    (file, key)
}

fn signoffs(record: &Path) -> Vec<Found> {
    signoff::of_record(record, &Settings::of_record(record).unwrap())
}

fn type_key(bench: &mut Bench, file: &Path, passphrase: &str) {
    bench.type_into("The file of your key", &file.display().to_string());
    bench.type_into("Its passphrase", passphrase);
}

#[test]
fn a_record_is_signed_with_a_key() {
    let (mut bench, record) = with_record();
    let (file, signer) = key(&bench, "key");
    bench.press("Sign this record… TS-0402 revision 1");
    bench.settle();
    assert!(bench.reads("Nobody has signed it yet"));
    assert!(bench.reads("Still needed: your name, what you say of it, the file of your key, its passphrase"));
    assert!(bench.window.get_by_label("Your name, as the lab writes it").is_focused());
    bench.type_into("Your name, as the lab writes it", NAME);
    bench.press_starting("reviewed: ");
    bench.type_into("A comment, if you like", "all four fields");
    // A wrong passphrase is told where it was typed, and is gone from there.
    type_key(&mut bench, &file, "wrong, and long enough");
    bench.press("Sign");
    bench.settle();
    assert_eq!(bench.window.state().state().signing.as_ref().unwrap().fault.as_ref().unwrap().0, Place::Passphrase);
    assert!(bench.reads("the passphrase does not open the key"));
    assert!(bench.reads("Still needed: its passphrase"));
    assert!(bench.window.get_by_label("Its passphrase").is_focused());
    assert!(signoffs(&record).is_empty());
    // Typed once more, and Enter.
    bench.window.get_by_label("Its passphrase").type_text(PASSPHRASE);
    bench.window.run_steps(2);
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    let found = signoffs(&record);
    let said = found[0].statement.as_ref().unwrap();
    assert!(found.len() == 1 && found[0].is_in_order());
    assert_eq!((said.name.as_str(), said.meaning.as_str(), said.comment.as_deref()), (NAME, "reviewed", Some("all four fields")));
    assert_eq!(found[0].key.as_ref(), Some(&signer.public()));
    assert!(bench.reads("Signed off.") && bench.reads(&format!("reviewed by {NAME}, 20")) && bench.reads("all four fields"));
    assert!(bench.reads(&format!("signed with {}", signer.public().fingerprint())));
    // The file is offered again, and no settings have the passphrase.
    bench.key(Modifiers::NONE, Key::Escape);
    assert!(bench.window.state().state().signing.is_none());
    let Bench { window, folder } = bench;
    drop(window);
    let settings = fs::read_to_string(folder.path().join("settings/settings.json")).unwrap();
    assert!(settings.contains(&file.display().to_string()) && !settings.contains("wet paint"));
}

#[test]
fn nobody_reads_a_passphrase() {
    let (mut bench, _) = with_record();
    bench.press("Close");
    bench.key(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::S);
    bench.settle();
    bench.type_into("Its passphrase", PASSPHRASE);
    assert_eq!(bench.window.get_by_label("Its passphrase").accesskit_node().role(), Role::PasswordInput);
    assert!(!bench.reads("wet") && !bench.reads("paint"), "it is not told to those who listen");
    assert!(bench.reads(&"•".repeat(PASSPHRASE.chars().count())), "control: it was typed");
    // Nor copied, nor brought back by undo after it was taken away.
    bench.key(Modifiers::COMMAND, Key::A);
    bench.key(Modifiers::NONE, Key::Delete);
    bench.key(Modifiers::COMMAND, Key::Z);
    assert!(!bench.reads("wet"));
    bench.type_into("Its passphrase", PASSPHRASE);
    bench.key(Modifiers::NONE, Key::Escape);
    bench.key(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::S);
    bench.settle();
    assert!(bench.reads("its passphrase") && !bench.reads("••"), "it goes with the box");
}

#[test]
fn a_name_that_is_only_typed_says_so() {
    let (mut bench, record) = with_record();
    bench.press("Sign this record… TS-0402 revision 1");
    bench.settle();
    bench.press("Type the name only");
    assert!(bench.reads("name typed, not signed"), "before it is done");
    bench.type_into("Your name, as the lab writes it", NAME);
    bench.press_starting("measured: ");
    bench.press("Put the name down");
    bench.settle();
    let found = signoffs(&record);
    assert!(found[0].key.is_none() && found[0].is_in_order());
    assert_eq!(found[0].statement.as_ref().unwrap().standing, signoff::TYPED);
    assert!(bench.reads(&format!("measured by {NAME}")) && bench.reads("name typed, not signed"));
    bench.press("Somebody else signs too…");
    assert!(bench.window.get_by_label("Your name, as the lab writes it").is_focused());
}

#[test]
fn a_key_that_the_lab_does_not_know_is_refused_beside_the_name() {
    let (mut bench, record) = with_record();
    let (file, signer) = key(&bench, "key");
    let (other, _) = key(&bench, "other");
    let records = record.ancestors().nth(2).unwrap();
    fs::write(records.join("signers"), line_for(NAME, &signer.public()).unwrap() + "\n").unwrap();
    fs::write(records.join("settings.toml"), "signers = \"signers\"\n").unwrap();
    bench.press("Sign this record… TS-0402 revision 1");
    bench.settle();
    bench.type_into("Your name, as the lab writes it", NAME);
    bench.press_starting("approved: ");
    for (file, place) in [(&other, Place::Name), (&bench.folder.path().join("nowhere"), Place::KeyFile)] {
        type_key(&mut bench, file, PASSPHRASE);
        bench.press("Sign");
        bench.settle();
        assert_eq!(bench.window.state().state().signing.as_ref().unwrap().fault.as_ref().unwrap().0, place);
        assert!(signoffs(&record).is_empty());
    }
    type_key(&mut bench, &file, PASSPHRASE);
    bench.press("Sign");
    bench.settle();
    assert_eq!(signoffs(&record).len(), 1);
    assert!(bench.reads("Signed off."));
    // The signature holds without the program: OpenSSH's own verifier, where the system has it.
    let statement = signoffs(&record)[0].file.clone();
    let signature = statement.with_extension("json.sig");
    let check = Command::new("ssh-keygen")
        .args(["-Y", "verify", "-n", "signoff@evenfilm", "-I", NAME, "-f"])
        .arg(records.join("signers"))
        .arg("-s")
        .arg(signature)
        .stdin(fs::File::open(&statement).unwrap())
        .output();
    if let Ok(check) = check {
        assert!(check.status.success(), "{}", String::from_utf8_lossy(&check.stderr));
    }
}

#[test]
fn a_record_that_was_changed_is_not_signed() {
    let (mut bench, record) = with_record();
    bench.press("Sign this record… TS-0402 revision 1");
    bench.settle();
    bench.press("Type the name only");
    bench.type_into("Your name, as the lab writes it", NAME);
    bench.press_starting("measured: ");
    let table = record.join("data/record.csv");
    fs::write(&table, fs::read_to_string(&table).unwrap() + " ").unwrap();
    bench.press("Put the name down");
    bench.settle();
    assert!(bench.reads("the record is not as it was sealed"));
    assert!(signoffs(&record).is_empty());
}

#[test]
fn a_lot_without_a_record_says_so() {
    let mut bench = Bench::with("TS-0402");
    bench.key(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::S);
    bench.settle();
    assert!(bench.reads("the lot has no record yet"));
}
