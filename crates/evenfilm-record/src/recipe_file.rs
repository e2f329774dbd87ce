//! The recipe's file `recipe.toml`: read with the built-in values for what it leaves out, written with every choice.

use std::fmt::Write as _;
use std::path::Path;

use evenfilm_core::recipe::{
    AgglomerateRule, Agglomerates, Chance, Channel, Concern, Contrast, Detect, Fields, FillHoles, Film, FrameRule, Gaps, Kind, Light,
    LightFrom, Objects, Particles, Recipe, Reject,
};
use sha2::{Digest, Sha256};
use toml_edit::{Item, Value};

use crate::fault::Fault;
use crate::keep::{Edited, NewValue};
use crate::toml_file::{Entry, Section, TomlFile, Writer};

pub mod form;

/// Ranges of numbers, for the reader and the form.
mod range {
    use crate::toml_file::Span;

    pub(super) const NOISE_FACTOR: Span = Span::up_to(100.0);
    pub(super) const SHARE: Span = Span::SHARE;
    pub(super) const DIAMETER: Span = Span::POSITIVE;
    pub(super) const DEPTH: Span = Span::NOT_NEGATIVE;
    pub(super) const MODEL: Span = Span::PERCENT;
    pub(super) const FEWEST_CONSTITUENTS: u32 = 2;
    pub(super) const FEWEST_DAYS: u32 = 1;
    /// More layings than this tell nothing new.
    pub(super) const MOST_PLACEMENTS: u32 = 100_000;
}

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
        author: top.name("author")?.unwrap_or(built_in.author),
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
        noise_factor: section.number("noise_factor", range::NOISE_FACTOR)?.unwrap_or(built_in.noise_factor),
        fixed_level: section.number("fixed_level", range::SHARE)?.unwrap_or(built_in.fixed_level),
        edge: section.number("edge", range::SHARE)?.unwrap_or(built_in.edge),
        min_diameter_um: section.number_or_auto("min_diameter_um", range::DIAMETER, built_in.min_diameter_um)?,
        contrast: section.choice("contrast", Contrast::ALL, Contrast::word)?.unwrap_or(built_in.contrast),
        fill_holes: section.choice("fill_holes", FillHoles::ALL, FillHoles::word)?.unwrap_or(built_in.fill_holes),
    })
}

fn gaps(section: &Section<'_>, built_in: Gaps) -> Result<Gaps, Fault> {
    Ok(Gaps {
        edge: section.number("edge", range::SHARE)?.unwrap_or(built_in.edge),
        min_diameter_um: section.number("min_diameter_um", range::DIAMETER)?.unwrap_or(built_in.min_diameter_um),
    })
}

fn objects(section: &Section<'_>, built_in: Objects) -> Result<Objects, Fault> {
    Ok(Objects {
        split: section.flag("split")?.unwrap_or(built_in.split),
        split_depth_um: section.number("split_depth_um", range::DEPTH)?.unwrap_or(built_in.split_depth_um),
        frame: section.choice("frame", FrameRule::ALL, FrameRule::word)?.unwrap_or(built_in.frame),
        model_u_pct: section.number("model_u_pct", range::MODEL)?.unwrap_or(built_in.model_u_pct),
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
        min_diameter_um: section.number("min_diameter_um", range::DIAMETER)?.unwrap_or(built_in.min_diameter_um),
        min_constituents: section.whole("min_constituents", range::FEWEST_CONSTITUENTS)?.unwrap_or(built_in.min_constituents),
    })
}

fn fields(section: &Section<'_>, built_in: Fields) -> Result<Fields, Fault> {
    let mut reject = section.choices("reject", Reject::ALL, Reject::word)?.unwrap_or(built_in.reject);
    reject.sort_unstable();
    reject.dedup();
    let days = |key, built_in| Ok(section.whole(key, range::FEWEST_DAYS)?.unwrap_or(built_in));
    let scale_max_age_days = days("scale_max_age_days", built_in.scale_max_age_days)?;
    Ok(Fields { reject, scale_max_age_days, check_max_age_days: days("check_max_age_days", built_in.check_max_age_days)? })
}

fn chance(section: &Section<'_>, built_in: Chance) -> Result<Chance, Fault> {
    Ok(Chance {
        placements: section.whole_within("placements", 1, range::MOST_PLACEMENTS)?.unwrap_or(built_in.placements),
        seed: section.seed("seed")?.unwrap_or(built_in.seed),
    })
}

fn concern(section: &Section<'_>, built_in: Concern) -> Result<Concern, Fault> {
    Ok(Concern {
        gap_um: section.number("gap_um", range::DIAMETER)?.unwrap_or(built_in.gap_um),
        agglomerate_um: section.number("agglomerate_um", range::DIAMETER)?.unwrap_or(built_in.agglomerate_um),
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
    // Only where there is one, so that recipes without keep the identity that they have always had.
    if !recipe.author.is_empty() {
        out.entry("author", recipe.author.as_str());
    }
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

/// Writes a recipe. In a file that is there only the choices that differ from what it says are changed or added, and all else stays to the
/// byte; where there is none, every choice is written out.
///
/// # Errors
/// The file that is there is no recipe, a choice is out of range, or it cannot be written; the file is then as it was.
pub fn save(path: &Path, recipe: &Recipe) -> Result<(), Fault> {
    let wanted = canonical(recipe);
    let is_there = path.symlink_metadata().is_ok();
    let mut file = if is_there { Edited::open(path, "recipe")? } else { Edited::of_text(&wanted)? };
    let said = canonical(&parse(file.text(), path)?);
    let [wanted, said] = [wanted, said].map(|text| TomlFile::parse(text, path));
    let (wanted, said) = (values(&wanted?), values(&said?));
    for (section, key, value) in &wanted {
        if !said.iter().any(|(in_section, of, is)| (in_section, of, is) == (section, key, value)) {
            file.set(&section.iter().map(String::as_str).collect::<Vec<_>>(), key, Some(value.clone()))?;
        }
    }
    for (section, key, _) in &said {
        if !wanted.iter().any(|(in_section, of, _)| (in_section, of) == (section, key)) {
            file.set(&section.iter().map(String::as_str).collect::<Vec<_>>(), key, None)?;
        }
    }
    if canonical(&parse(file.text(), path)?) != canonical(recipe) {
        return Err(Fault::input("the recipe would not read as it was meant; nothing was written", "change it in a text editor").at(path));
    }
    file.save(path)
}

/// Section, key and value of everything in a canonical recipe.
fn values(file: &TomlFile) -> Vec<(Option<String>, String, NewValue)> {
    let mut found = Vec::new();
    let mut add = |section: Option<&str>, key: &str, item: &Item| {
        let words = || item.as_array().map(|array| array.iter().filter_map(Value::as_str).map(str::to_owned).collect::<Vec<_>>().into());
        let value = Entry::of(item).map(NewValue::One).or_else(words);
        found.extend(value.map(|value| (section.map(str::to_owned), key.to_owned(), value)));
    };
    for (name, item) in file.document().as_table() {
        match item.as_table() {
            Some(section) => section.iter().for_each(|(key, item)| add(Some(name), key, item)),
            None => add(None, name, item),
        }
    }
    found
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
mod tests;
