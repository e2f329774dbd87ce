//! A measured lot in words: what the command line prints and the desk shows.

use std::fmt::Write as _;
use std::path::Path;

use crate::lot::{FieldFlag, LotOutcome, ObjectiveOutcome, Value};

use crate::names::printable;
use crate::round::{short, three_digits};

mod verdict;

pub use crate::round::words as value_words;
pub use verdict::{limit_lines, verdict_words};

/// What the numbers are not; shown wherever results are.
pub const CAUTION: &str = "\
Microscopy of a slide gives no SPF and clears no product for use. Protection claims rest on the official tests
(ISO 24444 in vivo SPF, ISO 24443 UVA, and those that local law names) and on licensed practice.";

/// What a signature beside a record is not; printed with every sign-off.
pub const PROCEDURE: &str = "Evenfilm supports a validated procedure and is none.";

/// Width of the left column.
const LABELS: usize = 36;

/// The summary of a lot, several lines: a block for each objective, and where the record is.
pub fn of_lot(lot: &LotOutcome) -> String {
    of_objectives(&lot.lot, lot.is_check, &lot.objectives, Some(&lot.record_dir))
}

/// The same of a lot of this name as it is measured: where no record is sealed yet, `record_dir` is `None` and no line names it.
pub fn of_objectives(lot: &str, is_check: bool, objectives: &[ObjectiveOutcome], record_dir: Option<&Path>) -> String {
    let mut text = format!("{}\n", printable(lot));
    for (i, objective) in objectives.iter().enumerate() {
        if objectives.len() > 1 {
            // A line between the blocks, so that no number is read as another objective's.
            text.push_str(if i > 0 { "\n" } else { "" });
            let name = Some(printable(&objective.microscope)).filter(|name| !name.is_empty());
            push(&mut text, "microscope", &name.unwrap_or_else(|| "the default one".into()));
        }
        push_objective(&mut text, objective, is_check);
    }
    if let Some(folder) = record_dir {
        push(&mut text, "record", &folder.display().to_string());
    }
    text
}

/// Adds a line: what it is about, and what there is to say.
pub fn push(text: &mut String, label: &str, what: &str) {
    let pad = LABELS.saturating_sub(label.chars().count());
    let _ = writeln!(text, "  {label}{:pad$} {what}", "");
}

fn push_objective(text: &mut String, seen: &ObjectiveOutcome, is_check: bool) {
    if let Some(verdict) = verdict_words(seen, is_check) {
        push(text, "verdict", &verdict);
    }
    for (label, what) in limit_lines(seen, is_check) {
        push(text, &format!("  {label}"), &what);
    }
    push(text, "looked at", &looked_at(seen));
    for (label, what) in sizes(seen).into_iter().chain(film(seen)) {
        push(text, &label, &what);
    }
    if let Some(what) = left_out(seen) {
        push(text, "left out", &what);
    }
    push(text, "±", &intervals(seen));
    for flag in flags(&seen.flags) {
        push(text, "note", &flag);
    }
    seen.notes.iter().for_each(|note| push(text, "note", note));
}

type Line = (String, String);

fn looked_at(seen: &ObjectiveOutcome) -> String {
    let area = number(seen, "field_area_mm2").map_or_else(String::new, |area| format!(", {} mm²", three_digits(area)));
    format!("{} on {}{area}", counted(seen.fields, "field"), counted(seen.slides, "slide"))
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

fn sizes(seen: &ObjectiveOutcome) -> Vec<Line> {
    let from = number(seen, "size_from_um").map_or_else(String::new, |um| format!(" ≥ {} µm", short(um)));
    let area = number(seen, "field_area_mm2").unwrap_or(0.0);
    if number(seen, "objects") == Some(0.0) {
        return vec![(format!("objects{from}"), format!("none in {} mm²", three_digits(area)))];
    }
    let mut lines = vec![(format!("objects{from}"), word(seen, "objects"))];
    let of = |what: &str| format!("{what} of objects{from}");
    lines.push((of("x50 by number"), word(seen, "x50_0_um")));
    lines.push(("x10 … x90 by number".into(), range(seen, ["x10_0_um", "x90_0_um"])));
    lines.push((of("x50 by volume"), word(seen, "x50_3_um")));
    lines.push(("x10 … x90 by volume".into(), range(seen, ["x10_3_um", "x90_3_um"])));
    lines.push((of("Sauter mean"), word(seen, "d32_um")));
    lines.push(("largest object seen (Feret)".into(), alone(seen, "largest_object_um")));
    lines.push(("particle area".into(), word(seen, "particle_area_pct")));
    if number(seen, "agglomerates") == Some(0.0) {
        lines.push(("agglomerates".into(), none(seen, "agglomerates_per_mm2", area)));
    } else {
        lines.push(("agglomerates".into(), format!("{}, {}", word(seen, "agglomerates"), word(seen, "agglomerates_per_mm2"))));
        lines.push(("particle area in agglomerates".into(), word(seen, "agglomerate_fraction_pct")));
    }
    lines.extend(by_chance(seen));
    lines
}

/// "none in A mm², at most U": nothing found is never ± 0.
fn none(seen: &ObjectiveOutcome, per_area: &str, area: f64) -> String {
    let most = at_most(seen, per_area).map_or_else(String::new, |most| format!(", {most}"));
    format!("none in {} mm²{most}", three_digits(area))
}

fn at_most(seen: &ObjectiveOutcome, id: &str) -> Option<String> {
    let value = seen.value(id)?;
    let high = value.ends95[1]?;
    Some(format!("at most {} {} (95 %)", three_digits(high), value.unit))
}

/// What particles at random would show in agglomerates, and what 95 % of such lots would.
fn by_chance(seen: &ObjectiveOutcome) -> Option<Line> {
    let id = "agglomerate_fraction_by_chance_pct";
    let [mean, low, high] = ["", "_low", "_high"].map(|end| number(seen, &format!("{id}{end}")).map(three_digits));
    let envelope = low.zip(high).map_or_else(String::new, |(low, high)| format!(" ({low} … {high})"));
    Some(("by chance alone".into(), format!("{} %{envelope}", mean?)))
}

/// What was found of the kinds that are left out; nothing where nothing was.
fn left_out(seen: &ObjectiveOutcome) -> Option<String> {
    let found = |kind: &str| number(seen, &format!("left_out_{kind}_objects")).filter(|&n| n > 0.0);
    let kinds =
        [("hollow", "hollow", "hollow"), ("fibre", "fibre", "fibres"), ("crystal", "crystal", "crystals"), ("dust", "dust", "dust")];
    let name = |n: f64, one, many| format!("{n} {}", if n > 1.0 { many } else { one });
    let words: Vec<String> = kinds.iter().filter_map(|&(id, one, many)| Some(name(found(id)?, one, many))).collect();
    let area = number(seen, "left_out_area_pct")?;
    (!words.is_empty()).then(|| format!("{}; they would add {} % of the area", words.join(", "), three_digits(area)))
}

fn film(seen: &ObjectiveOutcome) -> Vec<Line> {
    let from = number(seen, "gap_from_um").map_or_else(String::new, |um| format!(" ≥ {} µm", short(um)));
    let mut lines = Vec::new();
    let area = number(seen, "field_area_mm2").unwrap_or(0.0);
    match number(seen, "gaps") {
        None => lines.push(("uncovered area".into(), "not measured: bare places cannot be told from film here".into())),
        // Nothing found is no proof of nothing there.
        Some(0.0) => {
            lines.push((format!("gaps{from}"), none(seen, "gaps_per_mm2", area)));
            lines.push(("uncovered area".into(), at_most(seen, "uncovered_area_pct").unwrap_or_else(|| "none found".into())));
        }
        Some(_) => {
            lines.push(("uncovered area".into(), word(seen, "uncovered_area_pct")));
            lines.push((format!("gaps{from}"), word(seen, "gaps")));
            lines.push(("gaps per area".into(), word(seen, "gaps_per_mm2")));
            lines.push(("largest gap seen".into(), alone(seen, "largest_gap_um")));
        }
    }
    if number(seen, "thin_area_pct").is_some() {
        lines.push(("thin film".into(), word(seen, "thin_area_pct")));
    }
    if number(seen, "film_od").is_some() {
        lines.push(("optical density of the film".into(), word(seen, "film_od")));
    }
    lines
}

/// What the intervals rest on.
fn intervals(seen: &ObjectiveOutcome) -> String {
    match (seen.slides, seen.fields) {
        (0 | 1, 0 | 1) => "none from a single field; ends of rare events are from their number, edge and scale alone".into(),
        (0 | 1, n) => format!("95 %, from {n} fields and all that is known of edge and scale; of this slide, not of the lot"),
        (n, _) => format!("95 %, from {n} slides and all that is known of edge and scale"),
    }
}

/// One line for each kind of flag.
fn flags(flags: &[FieldFlag]) -> Vec<String> {
    let mut ids: Vec<&str> = Vec::new();
    for flag in flags {
        if !ids.contains(&flag.flag.id) {
            ids.push(flag.flag.id);
        }
    }
    ids.iter().map(|id| flag_line(id, flags)).collect()
}

fn flag_line(id: &str, flags: &[FieldFlag]) -> String {
    let of: Vec<&FieldFlag> = flags.iter().filter(|flag| flag.flag.id == id).collect();
    let mut fields: Vec<String> = of.iter().filter_map(|flag| Some(flag.field?.to_string())).collect();
    fields.dedup();
    let advice = of.first().map_or("", |flag| &flag.flag.advice);
    if fields.is_empty() {
        return format!("{}: {advice}", id.replace('_', " "));
    }
    let noun = if fields.len() == 1 { "field" } else { "fields" };
    format!("{} ({noun} {}): {advice}", id.replace('_', " "), fields.join(", "))
}

fn number(seen: &ObjectiveOutcome, id: &str) -> Option<f64> {
    seen.value(id).and_then(|value| value.value)
}

fn word(seen: &ObjectiveOutcome, id: &str) -> String {
    seen.value(id).map_or_else(|| "not measured".into(), value_words)
}

/// A value without its interval: what was seen, not an estimate.
fn alone(seen: &ObjectiveOutcome, id: &str) -> String {
    seen.value(id).map_or_else(|| "not measured".into(), |value| value_words(&Value { ci95: None, u95: None, ends95: [None; 2], ..*value }))
}

fn range(seen: &ObjectiveOutcome, ids: [&str; 2]) -> String {
    match ids.map(|id| number(seen, id)) {
        [Some(low), Some(high)] => format!("{} … {} µm", three_digits(low), three_digits(high)),
        _ => "not measured".into(),
    }
}
