//! Recipes read, written, refused and kept.

use super::*;

fn check(text: &str, expected: &str) {
    let found = parse(text, Path::new("recipe.toml")).unwrap_err();
    let found = format!("{}: {}", found.line.unwrap_or(0), found.message);
    assert!(found.contains(expected), "{text}\n  gave      {found}\n  expected  {expected}");
}

#[test]
fn an_empty_file_is_the_built_in_recipe() {
    assert_eq!(parse("", Path::new("r")).unwrap(), Recipe::default());
    assert_eq!(parse("[particles]\n[gaps]", Path::new("r")).unwrap(), Recipe::default());
}

#[test]
fn every_key_is_read_and_written() {
    let text = r#"name = "thin films"
version = "7"
locked = true

[light]
channel = "green"
from = "picture"
film = "clear"

[particles]
detect = "entropy_max"
noise_factor = 5.0
fixed_level = 0.4
edge = 0.45
min_diameter_um = 1.5
contrast = "own"
fill_holes = "never"

[gaps]
edge = 0.6
min_diameter_um = 3.0

[objects]
split = false
split_depth_um = 0.2
frame = "all"
model_u_pct = 2.5

[kinds]
leave_out = ["hollow", "dust"]

[agglomerates]
rule = "either"
min_diameter_um = 6.0
min_constituents = 5

[fields]
reject = []
scale_max_age_days = 30
check_max_age_days = 2

[chance]
placements = 99
seed = 12

[concern]
gap_um = 30.0
agglomerate_um = 40.0
"#;
    assert_eq!(canonical(&parse(text, Path::new("r")).unwrap()), text);
}

#[test]
fn identity_does_not_depend_on_how_it_is_written() {
    let one = parse("[gaps]\nmin_diameter_um = 2\n[kinds]\nleave_out = [\"dust\", \"hollow\", \"dust\"]", Path::new("r")).unwrap();
    let two = parse("kinds.leave_out = ['hollow', 'dust'] # two\n[gaps]\nmin_diameter_um = 2.0e0", Path::new("r")).unwrap();
    assert_eq!(sha256(&one), sha256(&two));
    assert_ne!(sha256(&one), sha256(&Recipe::default()));
    assert_eq!(sha256(&one).len(), 64);
}

/// A change here changes the identity of every recipe in the archive: it must be meant.
#[test]
fn identity_of_the_built_in_recipe() {
    let built_in = resolved(&Recipe::default(), true).unwrap();
    assert_eq!(sha256(&built_in), "6054bf818675017426a06219ff46fad5e4b4c07795964bd85404be941245d7a8", "{}", canonical(&built_in));
}

#[test]
fn the_light_is_decided_with_the_lot() {
    let recipe = Recipe::default();
    assert!(!canonical(&recipe).contains("from"));
    assert!(canonical(&resolved(&recipe, true).unwrap()).contains("from = \"blank\""));
    assert!(canonical(&resolved(&recipe, false).unwrap()).contains("from = \"picture\""));
    let later = parse("[particles]\ndetect = \"otsu\"", Path::new("r")).unwrap();
    assert!(resolved(&later, true).unwrap_err().message.contains("otsu"));
    let asks = parse("[light]\nfrom = \"blank\"", Path::new("r")).unwrap();
    assert!(resolved(&asks, false).unwrap_err().message.contains("names none"));
}

#[test]
fn bad_recipes() {
    check("[particles]\n\nedge = 1.0", "3: edge in [particles] is 1; it must be above 0 and below 1");
    check("[particles]\nmin_diameter_um = \"small\"", "2: min_diameter_um in [particles] is of type string; wanted is a number or");
    check("[particles]\nmin_diameter_um = 0", "2: min_diameter_um in [particles] is 0; it must be above 0");
    check("[particels]\nedge = 0.5", "1: unknown key particels; the nearest known one is particles");
    check("[particles]\nedgy = 0.5", "2: unknown key edgy in [particles]; the nearest known one is edge");
    check("[light]\nchannel = \"gren\"", "2: channel in [light] is \"gren\"; known are \"luminance\", \"red\", \"green\", \"blue\"");
    check("[kinds]\nleave_out = [\"powder\"]", "2: leave_out in [kinds] names the powder");
    check("[kinds]\nleave_out = [1]", "2: leave_out in [kinds] is of type array; wanted is a list of texts");
    check("[chance]\nseed = -1", "2: seed in [chance] is -1");
    check("[chance]\nplacements = 100001", "2: placements in [chance] is 100001; it must be a whole number from 1 to 100000");
    check("[chance]\nplacements = 1.5", "2: placements in [chance] is of type float; wanted is a whole number");
    check("locked = \"yes\"", "1: locked is of type string; wanted is true or false");
    check("objects = 3", "1: objects is of type integer; wanted is a section headed [objects]");
    check("[gaps]\nedge = nan", "2: edge in [gaps] is NaN");
}

/// Recipes without an author have the identity that they had before there were authors: the SHA-256 of the text without the key.
#[test]
fn an_author_is_kept_and_changes_the_identity_only_where_there_is_one() {
    let mut recipe = Recipe::default();
    let [without, identity] = [canonical(&recipe), sha256(&recipe)];
    assert!(!without.contains("author"));
    recipe.author = "R4".into();
    let with = without.replace("version = \"1\"\n", "version = \"1\"\nauthor = \"R4\"\n");
    assert_eq!(canonical(&recipe), with);
    assert_eq!(parse(&with, Path::new("r")).unwrap(), recipe);
    assert_ne!(sha256(&recipe), identity);
    check("author = \"\"", "1: author is empty");

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recipe.toml");
    std::fs::write(&path, "author = 'R4' # agreed\n").unwrap();
    let mut kept = read(&path).unwrap();
    kept.version = "2".into();
    save(&path, &kept).unwrap();
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "author = 'R4' # agreed\nversion = \"2\"\n");
}

/// A recipe as a lab writes it: some keys, in its own order, with its reasons.
const KEPT: &str = "# thin films, agreed in spring\r\nversion = '3' # see the log\r\ngaps.min_diameter_um = 3 # pinholes\r\n\r\n\
    [kinds]\r\nleave_out = [\r\n 'dust', # the bench is dusty\r\n]\r\n\r\n[light]\r\nfrom = \"blank\"\r\n";

#[test]
fn a_saved_recipe_keeps_what_people_wrote() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recipe.toml");
    let saved = |recipe: &Recipe| {
        save(&path, recipe).unwrap();
        assert_eq!(read(&path).unwrap(), *recipe);
        std::fs::read_to_string(&path).unwrap()
    };
    std::fs::write(&path, KEPT).unwrap();
    let mut recipe = read(&path).unwrap();
    assert_eq!(saved(&recipe), KEPT);
    recipe.version = "4".into();
    recipe.gaps.edge = 0.6;
    recipe.light.from = None;
    recipe.chance.placements = 400;
    let changed = KEPT
        .replace("'3'", "\"4\"")
        .replace("# pinholes\r\n", "# pinholes\r\ngaps.edge = 0.6\r\n")
        .replace("from = \"blank\"\r\n", "\r\n[chance]\r\nplacements = 400\r\n");
    assert_eq!(saved(&recipe), changed);
    recipe.leave_out = vec![Kind::Fibre, Kind::Dust];
    assert_eq!(saved(&recipe), changed.replace("[\r\n 'dust', # the bench is dusty\r\n]", "[\"fibre\", \"dust\"]"));

    std::fs::remove_file(&path).unwrap();
    assert_eq!(saved(&recipe), canonical(&recipe));
    std::fs::write(&path, "").unwrap();
    assert_eq!(saved(&Recipe::default()), "", "an empty file is the built-in recipe");
}

#[test]
fn a_recipe_that_cannot_be_saved_leaves_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recipe.toml");
    let mut recipe = Recipe::default();
    recipe.gaps.edge = 1.5;
    assert!(save(&path, &recipe).unwrap_err().message.contains("edge in [gaps] is 1.5"));
    assert!(!path.exists());
    for text in ["[gaps]\nedge = 0.4\n", "[gaps]\nedgy = 1\n", "[gaps"] {
        std::fs::write(&path, text).unwrap();
        assert!(save(&path, &recipe).is_err(), "{text}");
        assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
    }
}
