//! The recipe's file `recipe.toml`: read with the built-in values for what it leaves out, written with every choice.

use std::fmt::Write as _;
use std::path::Path;

use evenfilm_core::recipe::{
    AgglomerateRule, Agglomerates, Chance, Channel, Concern, Contrast, Detect, Fields, FillHoles, Film, FrameRule, Gaps, Kind, Light,
    LightFrom, Objects, Particles, Recipe, Reject,
};
use sha2::{Digest, Sha256};

use crate::fault::Fault;
use crate::toml_file::{Section, Span, TomlFile, Writer};

/// Reads a recipe; what the file leaves out has the built-in value.
///
/// # Errors
/// Broken TOML, unknown keys, wrong types and values out of range, each with line and key.
pub fn read(path: &Path) -> Result<Recipe, Fault> {
    from_file(&TomlFile::read(path, "recipe")?)
}

/// Reads a recipe from text; `path` stands in messages.
///
/// # Errors
/// As [`read`].
pub fn parse(text: &str, path: &Path) -> Result<Recipe, Fault> {
    from_file(&TomlFile::parse(text.to_owned(), path)?)
}

fn from_file(file: &TomlFile) -> Result<Recipe, Fault> {
    let top = file.top();
    let built_in = Recipe::default();
    let recipe = Recipe {
        name: top.name("name")?.unwrap_or(built_in.name),
        version: top.name("version")?.unwrap_or(built_in.version),
        locked: top.flag("locked")?.unwrap_or(built_in.locked),
        light: part(&top, "light", built_in.light, light)?,
        particles: part(&top, "particles", built_in.particles, particles)?,
        gaps: part(&top, "gaps", built_in.gaps, gaps)?,
        objects: part(&top, "objects", built_in.objects, objects)?,
        leave_out: part(&top, "kinds", built_in.leave_out, leave_out)?,
        agglomerates: part(&top, "agglomerates", built_in.agglomerates, agglomerates)?,
        fields: part(&top, "fields", built_in.fields, fields)?,
        chance: part(&top, "chance", built_in.chance, chance)?,
        concern: part(&top, "concern", built_in.concern, concern)?,
    };
    top.finish()?;
    Ok(recipe)
}

/// One section, or the built-in values where the file has none.
fn part<P>(top: &Section<'_>, key: &'static str, built_in: P, read: impl Fn(&Section<'_>, P) -> Result<P, Fault>) -> Result<P, Fault> {
    let Some(section) = top.section(key)? else { return Ok(built_in) };
    let part = read(&section, built_in)?;
    section.finish()?;
    Ok(part)
}

fn light(section: &Section<'_>, built_in: Light) -> Result<Light, Fault> {
    Ok(Light {
        channel: section.choice("channel", Channel::ALL, Channel::word)?.unwrap_or(built_in.channel),
        from: section.choice("from", LightFrom::ALL, LightFrom::word)?.or(built_in.from),
        film: section.choice("film", Film::ALL, Film::word)?.unwrap_or(built_in.film),
    })
}

fn particles(section: &Section<'_>, built_in: Particles) -> Result<Particles, Fault> {
    Ok(Particles {
        detect: section.choice("detect", Detect::ALL, Detect::word)?.unwrap_or(built_in.detect),
        noise_factor: section.number("noise_factor", Span::up_to(100.0))?.unwrap_or(built_in.noise_factor),
        fixed_level: section.number("fixed_level", Span::SHARE)?.unwrap_or(built_in.fixed_level),
        edge: section.number("edge", Span::SHARE)?.unwrap_or(built_in.edge),
        min_diameter_um: section.number_or_auto("min_diameter_um", Span::POSITIVE, built_in.min_diameter_um)?,
        contrast: section.choice("contrast", Contrast::ALL, Contrast::word)?.unwrap_or(built_in.contrast),
        fill_holes: section.choice("fill_holes", FillHoles::ALL, FillHoles::word)?.unwrap_or(built_in.fill_holes),
    })
}

fn gaps(section: &Section<'_>, built_in: Gaps) -> Result<Gaps, Fault> {
    Ok(Gaps {
        edge: section.number("edge", Span::SHARE)?.unwrap_or(built_in.edge),
        min_diameter_um: section.number("min_diameter_um", Span::POSITIVE)?.unwrap_or(built_in.min_diameter_um),
    })
}

fn objects(section: &Section<'_>, built_in: Objects) -> Result<Objects, Fault> {
    Ok(Objects {
        split: section.flag("split")?.unwrap_or(built_in.split),
        split_depth_um: section.number("split_depth_um", Span::NOT_NEGATIVE)?.unwrap_or(built_in.split_depth_um),
        frame: section.choice("frame", FrameRule::ALL, FrameRule::word)?.unwrap_or(built_in.frame),
        model_u_pct: section.number("model_u_pct", Span::PERCENT)?.unwrap_or(built_in.model_u_pct),
    })
}

/// Kinds in their own order, each once, so that two files that mean the same have one identity.
fn leave_out(section: &Section<'_>, built_in: Vec<Kind>) -> Result<Vec<Kind>, Fault> {
    let Some(mut kinds) = section.choices("leave_out", Kind::ALL, Kind::word)? else { return Ok(built_in) };
    if kinds.contains(&Kind::Powder) {
        let remedy = "name kinds that are not the powder: \"hollow\", \"fibre\", \"crystal\", \"dust\", \"unsure\"";
        return Err(section.fault("leave_out", "leave_out in [kinds] names the powder, which is what is measured", remedy));
    }
    kinds.sort_unstable();
    kinds.dedup();
    Ok(kinds)
}

fn agglomerates(section: &Section<'_>, built_in: Agglomerates) -> Result<Agglomerates, Fault> {
    Ok(Agglomerates {
        rule: section.choice("rule", AgglomerateRule::ALL, AgglomerateRule::word)?.unwrap_or(built_in.rule),
        min_diameter_um: section.number("min_diameter_um", Span::POSITIVE)?.unwrap_or(built_in.min_diameter_um),
        min_constituents: section.whole("min_constituents", 2)?.unwrap_or(built_in.min_constituents),
    })
}

fn fields(section: &Section<'_>, built_in: Fields) -> Result<Fields, Fault> {
    let mut reject = section.choices("reject", Reject::ALL, Reject::word)?.unwrap_or(built_in.reject);
    reject.sort_unstable();
    reject.dedup();
    let days = |key, built_in| Ok(section.whole(key, 1)?.unwrap_or(built_in));
    let scale_max_age_days = days("scale_max_age_days", built_in.scale_max_age_days)?;
    Ok(Fields { reject, scale_max_age_days, check_max_age_days: days("check_max_age_days", built_in.check_max_age_days)? })
}

/// More layings than this tell nothing new.
const MOST_PLACEMENTS: u32 = 100_000;

fn chance(section: &Section<'_>, built_in: Chance) -> Result<Chance, Fault> {
    Ok(Chance {
        placements: section.whole_within("placements", 1, MOST_PLACEMENTS)?.unwrap_or(built_in.placements),
        seed: section.seed("seed")?.unwrap_or(built_in.seed),
    })
}

fn concern(section: &Section<'_>, built_in: Concern) -> Result<Concern, Fault> {
    Ok(Concern {
        gap_um: section.number("gap_um", Span::POSITIVE)?.unwrap_or(built_in.gap_um),
        agglomerate_um: section.number("agglomerate_um", Span::POSITIVE)?.unwrap_or(built_in.agglomerate_um),
    })
}

/// The recipe with its light decided: "blank" where a blank is named, else "picture".
///
/// # Errors
/// The recipe asks for a blank and none is named, or for a way of finding particles that is not there yet: a record must not state a choice
/// that was not made.
pub fn resolved(recipe: &Recipe, has_blank: bool) -> Result<Recipe, Fault> {
    let detect = recipe.particles.detect;
    if ![Detect::Auto, Detect::Noise, Detect::Fixed].contains(&detect) {
        let message = format!("detect = \"{}\" in [particles] is not measured by this version", detect.word());
        return Err(Fault::input(message, "take \"auto\", \"noise\" or \"fixed\""));
    }
    let from = match (recipe.light.from, has_blank) {
        (Some(LightFrom::Blank), false) => {
            let remedy = "name the picture of the empty slide in the sheet: blank = \"blank.tif\" in [microscope]";
            return Err(Fault::input("the recipe takes the light from a blank, and the sheet names none", remedy));
        }
        (Some(from), _) => from,
        (None, true) => LightFrom::Blank,
        (None, false) => LightFrom::Picture,
    };
    Ok(Recipe { light: Light { from: Some(from), ..recipe.light }, ..recipe.clone() })
}

/// The recipe as text, every choice written out, in the order of the documentation. Reading it gives the same recipe.
///
/// Where the light comes from is a choice of recipe and lot together; [`resolved`] makes it. An undecided `light.from` is left out.
pub fn canonical(recipe: &Recipe) -> String {
    let mut out = Writer::default();
    out.entry("name", recipe.name.as_str());
    out.entry("version", recipe.version.as_str());
    out.entry("locked", recipe.locked);
    write_detection(recipe, &mut out);
    out.section(&["objects"]);
    out.entry("split", recipe.objects.split);
    out.entry("split_depth_um", recipe.objects.split_depth_um);
    out.entry("frame", recipe.objects.frame.word());
    out.entry("model_u_pct", recipe.objects.model_u_pct);
    out.section(&["kinds"]);
    out.list("leave_out", &words(&recipe.leave_out, Kind::word));
    out.section(&["agglomerates"]);
    out.entry("rule", recipe.agglomerates.rule.word());
    out.entry("min_diameter_um", recipe.agglomerates.min_diameter_um);
    out.entry("min_constituents", recipe.agglomerates.min_constituents);
    out.section(&["fields"]);
    out.list("reject", &words(&recipe.fields.reject, Reject::word));
    out.entry("scale_max_age_days", recipe.fields.scale_max_age_days);
    out.entry("check_max_age_days", recipe.fields.check_max_age_days);
    out.section(&["chance"]);
    out.entry("placements", recipe.chance.placements);
    out.entry("seed", recipe.chance.seed);
    out.section(&["concern"]);
    out.entry("gap_um", recipe.concern.gap_um);
    out.entry("agglomerate_um", recipe.concern.agglomerate_um);
    out.finish()
}

fn write_detection(recipe: &Recipe, out: &mut Writer) {
    let particles = &recipe.particles;
    out.section(&["light"]);
    out.entry("channel", recipe.light.channel.word());
    if let Some(from) = recipe.light.from {
        out.entry("from", from.word());
    }
    out.entry("film", recipe.light.film.word());
    out.section(&["particles"]);
    out.entry("detect", particles.detect.word());
    out.entry("noise_factor", particles.noise_factor);
    out.entry("fixed_level", particles.fixed_level);
    out.entry("edge", particles.edge);
    match particles.min_diameter_um {
        Some(um) => out.entry("min_diameter_um", um),
        None => out.entry("min_diameter_um", "auto"),
    }
    out.entry("contrast", particles.contrast.word());
    out.entry("fill_holes", particles.fill_holes.word());
    out.section(&["gaps"]);
    out.entry("edge", recipe.gaps.edge);
    out.entry("min_diameter_um", recipe.gaps.min_diameter_um);
}

/// The words of a list, each once, in the order of the documentation.
fn words<T: Copy + Ord>(list: &[T], word: fn(T) -> &'static str) -> Vec<&'static str> {
    let mut list = list.to_vec();
    list.sort_unstable();
    list.dedup();
    list.into_iter().map(word).collect()
}

/// The recipe's identity: SHA-256 of [`canonical`], in lower-case hex.
pub fn sha256(recipe: &Recipe) -> String {
    let mut hex = String::new();
    for byte in Sha256::digest(canonical(recipe)) {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
    }
    hex
}

#[cfg(test)]
mod tests {
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
}
