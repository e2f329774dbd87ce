//! Keys, sign-offs and approvals as a shell sees them, held against OpenSSH's ssh-keygen in both directions.

use std::io::Write as _;
use std::process::Stdio;

use super::*;

const PASSPHRASE: &str = "correct horse";

/// Runs ssh-keygen in a folder, with `input` on its standard input.
fn ssh_keygen(folder: &Path, arguments: &[&str], input: &[u8]) -> Output {
    let mut command = Command::new("ssh-keygen");
    command.current_dir(folder).args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    // Where it must ask for a passphrase, this answers for the terminal.
    command.env("SSH_ASKPASS", folder.join("askpass")).env("SSH_ASKPASS_REQUIRE", "force").env("DISPLAY", ":none");
    let spawned = command.spawn();
    let mut child = spawned.expect("ssh-keygen is needed for this test: install OpenSSH's client (Debian: openssh-client)");
    // It may end before it has read everything.
    let _ = child.stdin.take().unwrap().write_all(input);
    child.wait_with_output().unwrap()
}

fn good(output: &Output) -> String {
    assert!(output.status.success(), "{}{}", text(&output.stdout), text(&output.stderr));
    text(&output.stdout)
}

/// A measured lot, and a key of ours named R4.
fn bench() -> Bench {
    let bench = Bench::new();
    good(&bench.run(&["measure", "lot", "--out", "out"]));
    let made = with_passphrase(&bench, &["key", "new", "r4", "--name", "R4"]);
    let said = good(&made);
    let public = fs::read_to_string(bench.path("r4.pub")).unwrap();
    assert!(said.contains(public.trim_end()) && said.contains("SHA256:"), "{said}");
    let line = said.lines().find_map(|line| line.split_once("line for the file of signers")).unwrap().1.trim();
    fs::write(bench.path("allowed_signers"), format!("{line}\n")).unwrap();
    fs::write(bench.path("askpass"), format!("#!/bin/sh\necho '{PASSPHRASE}'\n")).unwrap();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(bench.path("askpass"), fs::Permissions::from_mode(0o755)).unwrap();
    }
    bench
}

fn with_passphrase(bench: &Bench, arguments: &[&str]) -> Output {
    bench.command(arguments).env("EVENFILM_PASSPHRASE", PASSPHRASE).output().unwrap()
}

const RECORD: &str = "out/phantom-film-1/r1";

#[test]
fn what_we_sign_ssh_keygen_verifies_and_the_other_way_round() {
    let bench = bench();
    let here = bench.0.path();
    // Our key, opened by ssh-keygen.
    let public = good(&ssh_keygen(here, &["-y", "-P", PASSPHRASE, "-f", "r4"], b""));
    assert_eq!(public, fs::read_to_string(bench.path("r4.pub")).unwrap());
    assert!(!ssh_keygen(here, &["-y", "-P", "wrong horse", "-f", "r4"], b"").status.success());
    let print = good(&ssh_keygen(here, &["-lf", "r4.pub"], b""));

    let done =
        with_passphrase(&bench, &["signoff", RECORD, "--as", "R4", "--meaning", "measured", "--key", "r4", "--comment", "µm", "--json"]);
    good(&done);
    let found = &json(&done)["signoff"];
    assert_eq!(
        (&found["number"], &found["statement"]["standing"], &found["findings"]),
        (&1.into(), &"signed".into(), &serde_json::json!([]))
    );
    assert!(print.contains(found["fingerprint"].as_str().unwrap()), "{print}");
    let folder = bench.path("out/phantom-film-1/signoffs");
    let statement = fs::read(folder.join("r1-1.json")).unwrap();
    let verify = |namespace: &str, name: &str, said: &[u8]| {
        let signers = bench.path("allowed_signers");
        let arguments = ["-Y", "verify", "-f", signers.to_str().unwrap(), "-I", name, "-n", namespace, "-s", "r1-1.json.sig"];
        ssh_keygen(&folder, &arguments, said)
    };
    assert!(good(&verify("signoff@evenfilm", "R4", &statement)).contains("Good \"signoff@evenfilm\" signature for R4"));
    let mut other = statement.clone();
    other[100] ^= 1;
    for (namespace, name, said) in [("file", "R4", &statement), ("signoff@evenfilm", "R5", &statement), ("signoff@evenfilm", "R4", &other)]
    {
        assert!(!verify(namespace, name, said).status.success(), "{namespace} {name}");
    }

    // ssh-keygen's key, used by us.
    good(&ssh_keygen(here, &["-q", "-t", "ed25519", "-N", PASSPHRASE, "-C", "Q1", "-f", "q1"], b""));
    let done = with_passphrase(&bench, &["signoff", RECORD, "--as", "Q1", "--meaning", "approved", "--key", "q1"]);
    let said = good(&done);
    for words in ["phantom-film-1 r1", "by Q1, signed", "SHA256:", "signoffs/r1-2.json", "gives no SPF"] {
        assert!(said.contains(words), "{words} in:\n{said}");
    }
    let public = fs::read_to_string(bench.path("q1.pub")).unwrap();
    fs::write(bench.path("q1_signers"), format!("Q1 {public}")).unwrap();
    let signers = bench.path("q1_signers");
    let arguments = ["-Y", "verify", "-f", signers.to_str().unwrap(), "-I", "Q1", "-n", "signoff@evenfilm", "-s", "r1-2.json.sig"];
    good(&ssh_keygen(&folder, &arguments, &fs::read(folder.join("r1-2.json")).unwrap()));
    assert_eq!(names(&folder), [".lock", "r1-1.json", "r1-1.json.sig", "r1-2.json", "r1-2.json.sig"]);
}

#[test]
fn approvals_are_what_ssh_keygen_writes() {
    let bench = bench();
    let recipe = "name = \"thin\"\nauthor = \"R4\"\n";
    for name in ["recipe.toml", "by-hand.toml"] {
        fs::write(bench.path(name), recipe).unwrap();
    }
    fs::write(bench.path("broken.toml"), "edgy = 1\n").unwrap();
    let done = with_passphrase(&bench, &["approve", "recipe.toml", "broken.toml", "--key", "r4"]);
    assert_eq!(code(&done), Some(1), "one of two failed");
    assert!(text(&done.stdout).contains("recipe.toml.sig") && text(&done.stderr).contains("unknown key edgy"));
    good(&ssh_keygen(bench.0.path(), &["-q", "-Y", "sign", "-n", "approval@evenfilm", "-f", "r4", "by-hand.toml"], b""));
    let [ours, theirs] = ["recipe.toml.sig", "by-hand.toml.sig"].map(|name| fs::read_to_string(bench.path(name)).unwrap());
    assert_eq!(ours, theirs, "Ed25519 signatures have no random part");
    assert!(!bench.path("broken.toml.sig").exists());
    assert_eq!(code(&with_passphrase(&bench, &["approve", "broken.toml", "--key", "r4"])), Some(2));
}

#[test]
fn a_typed_name_is_called_what_it_is_and_refusals_write_nothing() {
    let bench = bench();
    let done = bench.run(&["signoff", RECORD, "--as", "R4", "--meaning", "reviewed"]);
    assert!(good(&done).contains("by R4, name typed, not signed"));
    let sealed = names(&bench.path("out/phantom-film-1/signoffs"));
    assert_eq!(sealed, [".lock", "r1-1.json"]);
    let wrong = bench
        .command(&["signoff", RECORD, "--as", "R4", "--meaning", "reviewed", "--key", "r4"])
        .env("EVENFILM_PASSPHRASE", "wrong")
        .output();
    let cases = [
        (wrong.unwrap(), "the passphrase does not open the key"),
        (bench.run(&["signoff", RECORD, "--as", "R4", "--meaning", "released"]), "unknown meaning released"),
        (bench.run(&["signoff", "lot", "--as", "R4", "--meaning", "reviewed"]), "this is no record"),
        (with_passphrase(&bench, &["signoff", RECORD, "--as", "R4", "--meaning", "reviewed", "--key", "r4.pub"]), "public half"),
        (with_passphrase(&bench, &["key", "new", "r4", "--name", "R4"]), "is there already"),
        (bench.command(&["key", "new", "short", "--name", "R4"]).env("EVENFILM_PASSPHRASE", "1234567").output().unwrap(), "fewer than 8"),
    ];
    for (done, words) in cases {
        assert_eq!((code(&done), text(&done.stdout).as_str()), (Some(2), ""), "{words}");
        assert!(text(&done.stderr).contains(words), "{words} in {}", text(&done.stderr));
    }
    // The lab's settings: only its own signers, under their own names, and the clock.
    fs::copy(bench.path("allowed_signers"), bench.path("out/allowed_signers")).unwrap();
    fs::write(bench.path("out/settings.toml"), "signers = \"allowed_signers\"\n").unwrap();
    let done = with_passphrase(&bench, &["signoff", RECORD, "--as", "R5", "--meaning", "reviewed", "--key", "r4", "--json"]);
    assert_eq!(code(&done), Some(2));
    assert!(json(&done)["error"]["message"].as_str().unwrap().contains("the key belongs to R4"), "{}", json(&done));
    fs::write(bench.path("out/settings.toml"), "controlled = true\n").unwrap();
    let done = bench.run(&["signoff", RECORD, "--as", "R4", "--meaning", "reviewed"]);
    assert!(code(&done) == Some(2) && text(&done.stderr).contains("SOURCE_DATE_EPOCH is set"));
    assert_eq!(names(&bench.path("out/phantom-film-1/signoffs")), sealed);
    assert!(!bench.path("short").exists() && !bench.path("short.pub").exists());
}
