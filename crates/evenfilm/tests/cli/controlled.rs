//! A lab in controlled mode: approved recipes and limits, the clock, reasons, keys; and records measured again.

use super::*;

const PASSPHRASE: &str = "four words of mine";

/// A lot with limits and a recipe of its own, a check, and a lab whose settings are in the folder of records.
struct Lab(Bench);

impl Lab {
    fn new(settings: &str) -> Self {
        let lab = Self(Bench::new());
        fs::create_dir_all(lab.0.path("out/approved")).unwrap();
        fs::write(lab.0.path("out/settings.toml"), settings).unwrap();
        for name in ["r4", "q1"] {
            let made = lab.key_of(name);
            let said = text(&made.stdout);
            let line = said[said.find(&format!("{name} namespaces=")).unwrap()..].lines().next().unwrap().to_owned();
            let signers = fs::read_to_string(lab.0.path("out/allowed_signers")).unwrap_or_default();
            let line = if name == "q1" { line.replace("signoff@evenfilm", "signoff@evenfilm,approval@evenfilm") } else { line };
            fs::write(lab.0.path("out/allowed_signers"), format!("{signers}{line}\n")).unwrap();
        }
        lab
    }

    fn key_of(&self, name: &str) -> Output {
        let done = self.command(&["key", "new", name, "--name", name]).output().unwrap();
        assert!(done.status.success(), "{}", text(&done.stderr));
        done
    }

    /// By the clock, as such a lab asks.
    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = self.0.command(arguments);
        command.env_remove("SOURCE_DATE_EPOCH").env("EVENFILM_PASSPHRASE", PASSPHRASE);
        command
    }

    fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().unwrap()
    }

    fn flags(&self, reason: &str) -> Vec<String> {
        let done = self.run(&["measure", "lot", "--out", "out", "--reason", reason, "--json"]);
        assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
        let flags = json(&done)["lots"][0]["flags"].as_array().unwrap().clone();
        flags.iter().filter(|flag| flag["field"].is_null()).map(|flag| flag["id"].as_str().unwrap().to_owned()).collect()
    }

    fn put(&self, name: &str, content: &str) {
        fs::write(self.0.path(name), content).unwrap();
    }
}

const CONTROLLED: &str = "controlled = true\napproved = \"approved\"\nsigners = \"allowed_signers\"\ndifferent_keys = true\n\
                          reason_required = true\norganization = \"Lab of the tests\"\n";
const LIMITS: &str = "product = \"p\"\nversion = \"1\"\nauthor = \"r4\"\n[[limit]]\nquantity = \"uncovered_area_pct\"\nmax = 50\n";
const RECIPE: &str = "name = \"mine\"\nversion = \"2\"\nauthor = \"r4\"\nlocked = true\n";

#[test]
fn only_what_is_approved_gives_more_than_a_provisional_verdict() {
    let lab = Lab::new(CONTROLLED);
    lab.put("limits.toml", LIMITS);
    lab.put("recipe.toml", RECIPE);
    assert!(lab.flags("first").contains(&"not_approved".to_owned()));
    // The same bytes in the approved folder, signed by somebody who may only sign records, and then by somebody who may approve.
    for name in ["recipe.toml", "limits.toml"] {
        fs::copy(lab.0.path(name), lab.0.path("out/approved").join(name)).unwrap();
    }
    let approve = |key: &str| lab.run(&["approve", "out/approved/recipe.toml", "out/approved/limits.toml", "--key", key]);
    assert_eq!(code(&approve("r4")), Some(0));
    assert!(lab.flags("second").contains(&"not_approved".to_owned()), "r4 may not approve");
    for name in ["recipe.toml.sig", "limits.toml.sig"] {
        fs::remove_file(lab.0.path("out/approved").join(name)).unwrap();
    }
    assert_eq!(code(&approve("q1")), Some(0));
    let flags = lab.flags("third");
    assert!(!flags.contains(&"not_approved".to_owned()), "{flags:?}");
    assert!(flags.contains(&"settings_open".to_owned()), "who runs this owns the file: {flags:?}");
    let record = lab.0.path("out/phantom-film-1/r3");
    let info = fs::read_to_string(record.join("bag-info.txt")).unwrap();
    for words in [
        "Source-Organization: Lab of the tests\n",
        "Evenfilm-Recipe-Approval: by q1 with SHA256:",
        "Evenfilm-Limits-Approval: by q1",
        "controlled; could be changed",
    ] {
        assert!(info.contains(words), "{words} in:\n{info}");
    }
    assert_eq!(fs::read_to_string(record.join("data/approved/recipe.toml")).unwrap(), RECIPE);
    // Without files of its own the lot has the approved ones.
    fs::remove_file(lab.0.path("recipe.toml")).unwrap();
    fs::remove_file(lab.0.path("limits.toml")).unwrap();
    assert!(!lab.flags("fourth").contains(&"not_approved".to_owned()));
    // A single byte more is another recipe.
    lab.put("recipe.toml", &format!("{RECIPE}\n"));
    assert!(lab.flags("fifth").contains(&"not_approved".to_owned()));
    assert_eq!(code(&lab.run(&["verify", "out"])), Some(0));
}

#[test]
fn the_clock_and_a_reason_are_asked_for() {
    let lab = Lab::new(CONTROLLED);
    let set = lab.command(&["measure", "lot", "--out", "out"]).env("SOURCE_DATE_EPOCH", "1772615700").output().unwrap();
    assert_eq!(code(&set), Some(2));
    assert!(text(&set.stderr).contains("SOURCE_DATE_EPOCH") && text(&set.stderr).contains("unset"), "{}", text(&set.stderr));
    assert_eq!(code(&lab.run(&["measure", "lot", "--out", "out"])), Some(0), "the first record needs no reason");
    let silent = lab.run(&["measure", "lot", "--out", "out", "--reason", " "]);
    assert_eq!(code(&silent), Some(2));
    assert!(text(&silent.stderr).contains("--reason"), "{}", text(&silent.stderr));
    assert_eq!(names(&lab.0.path("out/phantom-film-1")), ["r1"]);
    // Settings that cannot be used are never passed over.
    lab.put("out/settings.toml", "controled = true\n");
    let broken = lab.run(&["measure", "lot", "--out", "out"]);
    assert_eq!(code(&broken), Some(2));
    assert!(text(&broken.stderr).contains("controlled"), "{}", text(&broken.stderr));
}

#[test]
fn one_key_does_not_measure_and_approve() {
    let lab = Lab::new(CONTROLLED);
    assert_eq!(code(&lab.run(&["measure", "lot", "--out", "out"])), Some(0));
    let record = "out/phantom-film-1/r1";
    let sign = |name: &str, meaning: &str| lab.run(&["signoff", record, "--as", name, "--meaning", meaning, "--key", name]);
    assert_eq!(code(&sign("r4", "measured")), Some(0));
    let same = sign("r4", "approved");
    assert_eq!(code(&same), Some(2));
    assert!(text(&same.stderr).contains("different keys"), "{}", text(&same.stderr));
    assert_eq!(code(&lab.run(&["signoff", record, "--as", "r4", "--meaning", "approved"])), Some(2), "a typed name is no key");
    assert_eq!(code(&sign("q1", "approved")), Some(0));
    assert_eq!(code(&lab.run(&["verify", record])), Some(0));
    // What is taken away or changed is told by the journal and by the signature.
    let file = lab.0.path("out/phantom-film-1/signoffs/r1-1.json");
    let statement = fs::read_to_string(&file).unwrap();
    let ids = || {
        let done = lab.run(&["verify", record, "--json"]);
        let faults = json(&done)["records"][0]["faults"].as_array().unwrap().clone();
        (code(&done), faults.iter().map(|fault| fault["id"].as_str().unwrap().to_owned()).collect::<Vec<_>>())
    };
    fs::write(&file, statement.replace("\"r4\"", "\"r5\"")).unwrap();
    let (exit, found) = ids();
    assert!(
        exit == Some(3) && found.contains(&"signature_invalid".to_owned()) && found.contains(&"signoff_changed".to_owned()),
        "{found:?}"
    );
    fs::remove_file(&file).unwrap();
    let (exit, found) = ids();
    assert!(exit == Some(3) && found.contains(&"signoff_gone".to_owned()), "{found:?}");
}

#[test]
fn records_are_measured_again() {
    let bench = Bench::new();
    assert_eq!(code(&bench.run(&["measure", "lot", "--out", "out"])), Some(0));
    let again = bench.run(&["verify", "out", "--again", "--json"]);
    let record = &json(&again)["records"][0];
    assert_eq!((code(&again), &record["ok"], &record["again"]["differing"]), (Some(0), &true.into(), &0.into()));
    assert!(record["again"]["compared"].as_u64().unwrap() > 1000);
    // A number that was changed with all digests made anew: the journal and the pictures tell.
    let (folder, table) = (bench.path("out/phantom-film-1/r1"), "data/objects.csv");
    let objects = fs::read_to_string(folder.join(table)).unwrap();
    let mut lines: Vec<String> = objects.split("\r\n").map(str::to_owned).collect();
    let mut cells: Vec<&str> = lines[1].split(',').collect();
    cells[lines[0].split(',').position(|id| id == "area_um2").unwrap()] = "7";
    lines[1] = cells.join(",");
    fs::write(folder.join(table), lines.join("\r\n")).unwrap();
    let seal = "sha256sum $(cut -c67- manifest-sha256.txt) >m && mv m manifest-sha256.txt && sha256sum bag-info.txt bagit.txt manifest-sha256.txt >tagmanifest-sha256.txt";
    assert!(Command::new("sh").args(["-c", seal]).current_dir(&folder).status().unwrap().success());
    let said = bench.run(&["verify", "out", "--again"]);
    let said = (code(&said), text(&said.stdout));
    assert_eq!(said.0, Some(3), "{}", said.1);
    for words in ["fault journal_differs", "MEASURED AGAIN: 1 difference of", "objects.csv, field 1, id 1 area_um2: archived 7, now "] {
        assert!(said.1.contains(words), "{words} in:\n{}", said.1);
    }
}
