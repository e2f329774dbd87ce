//! Settings found, read, refused.

use std::fs;

use super::*;

fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

const KEY: &str = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAINdamAGCsQq31Uv+08lkBzoO4XLz2qYjJa8CGmj3B1Ea";

#[test]
fn every_key_is_read() {
    let text = "controlled = true\napproved = \"approved\"\nsigners = \"allowed\"\ndifferent_keys = true\nreason_required = true\n\
                organization = \"Film lab\"\naddress = \"Street 1\"\ncontact = \"the bench\"\n";
    let folder = folder(&[("settings.toml", text), ("allowed", &format!("R4 {KEY}\n"))]);
    let path = folder.path().join(SETTINGS_FILE);
    let settings = Settings::read(&path).unwrap();
    assert!(settings.controlled && settings.different_keys && settings.reason_required);
    assert_eq!(settings.approved, Some(folder.path().join("approved")));
    assert_eq!(settings.signers().unwrap().lines()[0].names(), "R4");
    assert_eq!((settings.path.as_deref(), settings.sha256.as_str()), (Some(path.as_path()), sha256_hex(text.as_bytes()).as_str()));
    let lines = [("Source-Organization", "Film lab"), ("Organization-Address", "Street 1"), ("Contact-Name", "the bench")];
    assert_eq!(settings.bag_info(), lines.map(|(label, value)| (label, value.to_owned())));
}

#[test]
fn a_file_for_the_computer_comes_first_and_none_is_no_control() {
    let (computer, out) = (folder(&[("settings.toml", "contact = \"a\"\n")]), folder(&[("settings.toml", "contact = \"b\"\n")]));
    let [first, second] = [&computer, &out].map(|folder| folder.path().join(SETTINGS_FILE));
    let contact = |places: &[PathBuf]| Settings::first_of(places).unwrap().contact;
    assert_eq!(contact(&[first.clone(), second.clone()]).as_deref(), Some("a"));
    assert_eq!(contact(&[computer.path().join("none/x"), second.clone()]).as_deref(), Some("b"));
    // A file where a folder is meant holds no settings either.
    assert_eq!(contact(&[first.join("x"), second]).as_deref(), Some("b"));
    let none = Settings::first_of(&[out.path().join("none")]).unwrap();
    assert!(none.path.is_none() && !none.controlled && none.sha256.is_empty() && none.bag_info().is_empty());
}

#[test]
fn broken_settings_are_never_passed_over() {
    let cases = [
        ("controled = true\n", "unknown key controled; the nearest known one is controlled", Some(1)),
        ("\ncontrolled = \"yes\"\n", "controlled is of type string; wanted is true or false", Some(2)),
        ("signers = \"\"\n", "signers is empty", Some(1)),
        ("signers = \"nobody\"\n", "the file of signers cannot be read", None),
        ("controlled = \n", "the file is not valid TOML", Some(1)),
        ("controlled = true\n[more]\n", "unknown key more", Some(2)),
    ];
    for (text, expected, line) in cases {
        let folder = folder(&[("settings.toml", text)]);
        let fault = Settings::find(folder.path()).unwrap_err();
        assert!(fault.message.contains(expected) && fault.line == line && fault.file.is_some(), "{text}: {fault:?}");
    }
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join(SETTINGS_FILE)).unwrap();
    assert!(Settings::find(folder.path()).unwrap_err().message.contains("is not a file"));
}

#[test]
fn in_control_the_time_is_the_clocks() {
    let [clock, environment] = [Moment::from_epoch("1772615700").unwrap(), Moment::from_epoch("1772615700").unwrap()];
    let clock = Moment { source: "clock", ..clock };
    let mut settings = Settings::default();
    assert!(settings.check_time(&environment).is_ok());
    settings.controlled = true;
    assert!(settings.check_time(&clock).is_ok());
    assert!(settings.check_time(&environment).unwrap_err().message.contains("SOURCE_DATE_EPOCH is set"));
}

/// As the superuser and as any other owner alike: a file that nobody may write counts as safe only if it belongs to somebody else.
#[cfg(unix)]
#[test]
fn who_could_write_is_told_and_nothing_is_changed() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    let folder = folder(&[("settings.toml", "controlled = true\n")]);
    let path = folder.path().join(SETTINGS_FILE);
    let before = path.metadata().unwrap().modified().unwrap();
    assert!(Settings::read(&path).unwrap().could_be_changed);
    fs::set_permissions(&path, fs::Permissions::from_mode(0o444)).unwrap();
    let is_root = path.metadata().unwrap().uid() == 0;
    assert_eq!(Settings::read(&path).unwrap().could_be_changed, !is_root, "an owner can give themselves the right; root is told by it");
    assert_eq!(path.metadata().unwrap().modified().unwrap(), before);
    assert_eq!(fs::read(&path).unwrap(), b"controlled = true\n");
}
