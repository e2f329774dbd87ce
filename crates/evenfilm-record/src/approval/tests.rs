//! Approved files, and what is none.

use super::*;
use crate::sign::tests_key;
use ssh_key::private::Ed25519Keypair;

const RECIPE: &str = "name = \"thin\"\nversion = \"3\"\nauthor = \"R4\"\nlocked = true\n";
const LIMITS: &str = "product = \"Lotion\"\nauthor = \"R4\"\n\n[[limit]]\nquantity = \"gaps\"\nmax = 3\n";

fn key(seed: u8) -> Key {
    tests_key(Ed25519Keypair::from_seed(&[seed; 32]))
}

/// A folder of approved files with a recipe, and settings that name it; Q1 may approve with key 1 until noon, R4 may only sign off.
fn lab() -> (tempfile::TempDir, Settings) {
    let lab = tempfile::tempdir().unwrap();
    let line = |name: &str, seed| format!("{name} {}\n", key(seed).public().without_comment().text());
    let signers =
        line("Q1 namespaces=\"approval@evenfilm\",valid-before=\"202603041200Z\"", 1) + &line("R4 namespaces=\"signoff@evenfilm\"", 2);
    fs::create_dir_all(lab.path().join("approved/lotions")).unwrap();
    fs::write(lab.path().join("approved/recipe.toml"), RECIPE).unwrap();
    fs::write(lab.path().join("signers"), signers).unwrap();
    fs::write(lab.path().join("settings.toml"), "approved = \"approved\"\nsigners = \"signers\"\n").unwrap();
    let settings = Settings::read(&lab.path().join("settings.toml")).unwrap();
    (lab, settings)
}

fn why(standing: Standing) -> String {
    match standing {
        Standing::NotApproved(why) => why,
        Standing::Approved(approval) => panic!("{approval:?}"),
    }
}

#[test]
fn the_same_bytes_with_a_signature_that_may_approve_are_approved() {
    let (lab, settings) = lab();
    let moment = Moment::from_epoch("1772615700").unwrap();
    let of = |bytes: &str| standing(bytes.as_bytes(), &settings, &moment);
    let recipe = lab.path().join("approved/recipe.toml");
    assert!(why(of(RECIPE)).contains("nobody has signed it"));
    approve(&recipe, &key(2)).unwrap();
    assert!(why(of(RECIPE)).contains("does not let the key sign for this purpose"));
    fs::remove_file(signature_file(&recipe)).unwrap();
    approve(&recipe, &key(3)).unwrap();
    assert!(why(of(RECIPE)).contains("does not have the key"));
    fs::remove_file(signature_file(&recipe)).unwrap();
    assert_eq!(approve(&recipe, &key(1)).unwrap(), lab.path().join("approved/recipe.toml.sig"));
    let signature = fs::read_to_string(signature_file(&recipe)).unwrap();
    let expected =
        Approval { by: "Q1".into(), fingerprint: key(1).public().fingerprint(), file: recipe.clone(), signature: signature.clone() };
    assert_eq!(of(RECIPE), Standing::Approved(expected));
    assert!(why(standing(RECIPE.as_bytes(), &settings, &Moment::from_epoch("1772626000").unwrap())).contains("held only until"));
    assert!(why(of(&RECIPE.replace('3', "4"))).contains("has the same bytes"));
    // A copy below that nobody signed does no harm, wherever it stands in the order.
    fs::write(lab.path().join("approved/a.toml"), RECIPE).unwrap();
    fs::write(lab.path().join("approved/z.toml"), RECIPE).unwrap();
    assert!(matches!(of(RECIPE), Standing::Approved(_)));
    // Signed in another namespace, or another text.
    for other in [sign::sign(&key(1), sign::SIGNOFF, RECIPE.as_bytes()), sign::sign(&key(1), APPROVAL, b"other")] {
        fs::write(signature_file(&recipe), other.unwrap()).unwrap();
        assert!(matches!(of(RECIPE), Standing::NotApproved(_)));
    }
    for lacking in [Settings { approved: None, ..settings.clone() }, Settings { signers: None, ..settings.clone() }, Settings::default()] {
        assert!(why(standing(RECIPE.as_bytes(), &lacking, &moment)).contains("settings name no"));
    }
    let gone = Settings { approved: Some(lab.path().join("none")), ..settings.clone() };
    assert!(why(standing(RECIPE.as_bytes(), &gone, &moment)).contains("cannot be read"));
}

#[test]
fn limits_below_the_folder_count_and_the_default_lies_in_it() {
    let (lab, settings) = lab();
    let limits = lab.path().join("approved/lotions/limits.toml");
    fs::write(&limits, LIMITS).unwrap();
    approve(&limits, &key(1)).unwrap();
    let moment = Moment::from_epoch("1772615700").unwrap();
    assert!(matches!(standing(LIMITS.as_bytes(), &settings, &moment), Standing::Approved(approval) if approval.file == limits));
    assert_eq!(candidate(&settings, "recipe.toml"), Some(lab.path().join("approved/recipe.toml")));
    assert_eq!(candidate(&settings, "limits.toml"), None);
    assert_eq!(candidate(&Settings::default(), "recipe.toml"), None);
}

#[test]
fn only_what_can_be_measured_with_is_signed_and_no_signature_is_lost() {
    let (lab, _) = lab();
    for (text, expected) in [
        ("edgy = 1\n", "unknown key edgy"),
        ("[[limit]]\nquantity = \"gasp\"\nmax = 1\n", "unknown quantity gasp"),
        ("lot = \"TS\"\n[microscope]\num_per_px = 0.25\n", "unknown key"),
    ] {
        let file = lab.path().join("approved/other.toml");
        fs::write(&file, text).unwrap();
        let fault = approve(&file, &key(1)).unwrap_err();
        assert!(fault.message.contains(expected), "{text}: {fault}");
        assert!(!signature_file(&file).exists());
    }
    let recipe = lab.path().join("approved/recipe.toml");
    approve(&recipe, &key(1)).unwrap();
    approve(&recipe, &key(1)).unwrap();
    assert!(approve(&recipe, &key(2)).unwrap_err().message.contains("has approved this file already"));
    fs::write(&recipe, RECIPE.replace('3', "4")).unwrap();
    approve(&recipe, &key(2)).unwrap();
}
