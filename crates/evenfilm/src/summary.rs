//! A measured lot in words.

use std::fmt::Write as _;

use evenfilm_record::lot::{FieldFlag, LotOutcome, Value};

use crate::progress::printable;
use crate::round::{short, three_digits, words};

/// What the numbers are not; shown wherever results are.
pub(crate) const CAUTION: &str = "\
Microscopy of a slide gives no SPF and clears no product for use. Protection claims rest on the official tests
(ISO 24444 in vivo SPF, ISO 24443 UVA, and those that local law names) and on licensed practice.";

/// Width of the left column.
const LABELS: usize = 36;

/// The summary of a lot, several lines.
pub(crate) fn of_lot(lot: &LotOutcome) -> String {
    let mut text = format!("{}\n", printable(&lot.lot));
    let mut line = |label: &str, what: &str| {
        let pad = LABELS.saturating_sub(label.chars().count());
        let _ = writeln!(text, "  {label}{:pad$} {what}", "");
    };
    line("looked at", &looked_at(lot));
    for (label, what) in sizes(lot).into_iter().chain(film(lot)) {
        line(&label, &what);
    }
    if let Some(what) = left_out(lot) {
        line("left out", &what);
    }
    line("±", &intervals(lot));
    for flag in flags(&lot.flags) {
        line("note", &flag);
    }
    lot.notes.iter().for_each(|note| line("note", note));
    line("record", &lot.record_dir.display().to_string());
    text
}

type Line = (String, String);

fn looked_at(lot: &LotOutcome) -> String {
    let area = number(lot, "field_area_mm2").map_or_else(String::new, |area| format!(", {} mm²", three_digits(area)));
    format!("{} on {}{area}", counted(lot.fields, "field"), counted(lot.slides, "slide"))
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

fn sizes(lot: &LotOutcome) -> Vec<Line> {
    let from = number(lot, "size_from_um").map_or_else(String::new, |um| format!(" ≥ {} µm", short(um)));
    let area = number(lot, "field_area_mm2").unwrap_or(0.0);
    if number(lot, "objects") == Some(0.0) {
        return vec![(format!("objects{from}"), format!("none in {} mm²", three_digits(area)))];
    }
    let mut lines = vec![(format!("objects{from}"), word(lot, "objects"))];
    let of = |what: &str| format!("{what} of objects{from}");
    lines.push((of("x50 by number"), word(lot, "x50_0_um")));
    lines.push(("x10 … x90 by number".into(), range(lot, ["x10_0_um", "x90_0_um"])));
    lines.push((of("x50 by volume"), word(lot, "x50_3_um")));
    lines.push(("x10 … x90 by volume".into(), range(lot, ["x10_3_um", "x90_3_um"])));
    lines.push((of("Sauter mean"), word(lot, "d32_um")));
    lines.push(("largest object seen (Feret)".into(), alone(lot, "largest_object_um")));
    lines.push(("particle area".into(), word(lot, "particle_area_pct")));
    if number(lot, "agglomerates") == Some(0.0) {
        lines.push(("agglomerates".into(), format!("none in {} mm²", three_digits(area))));
    } else {
        lines.push(("agglomerates".into(), format!("{}, {}", word(lot, "agglomerates"), word(lot, "agglomerates_per_mm2"))));
        lines.push(("particle area in agglomerates".into(), word(lot, "agglomerate_fraction_pct")));
    }
    lines
}

/// What was found of the kinds that are left out; nothing where nothing was.
fn left_out(lot: &LotOutcome) -> Option<String> {
    let found = |kind: &str| number(lot, &format!("left_out_{kind}_objects")).filter(|&n| n > 0.0);
    let kinds =
        [("hollow", "hollow", "hollow"), ("fibre", "fibre", "fibres"), ("crystal", "crystal", "crystals"), ("dust", "dust", "dust")];
    let name = |n: f64, one, many| format!("{n} {}", if n > 1.0 { many } else { one });
    let words: Vec<String> = kinds.iter().filter_map(|&(id, one, many)| Some(name(found(id)?, one, many))).collect();
    let area = number(lot, "left_out_area_pct")?;
    (!words.is_empty()).then(|| format!("{}; they would add {} % of the area", words.join(", "), three_digits(area)))
}

fn film(lot: &LotOutcome) -> Vec<Line> {
    let from = number(lot, "gap_from_um").map_or_else(String::new, |um| format!(" ≥ {} µm", short(um)));
    let mut lines = Vec::new();
    let area = number(lot, "field_area_mm2").unwrap_or(0.0);
    match number(lot, "gaps") {
        None => lines.push(("uncovered area".into(), "not measured: bare places cannot be told from film here".into())),
        // Nothing found is no proof of nothing there.
        Some(0.0) => lines.push((format!("gaps{from}"), format!("none in {} mm²", three_digits(area)))),
        Some(_) => {
            lines.push(("uncovered area".into(), word(lot, "uncovered_area_pct")));
            lines.push((format!("gaps{from}"), word(lot, "gaps")));
            lines.push(("gaps per area".into(), word(lot, "gaps_per_mm2")));
            lines.push(("largest gap seen".into(), alone(lot, "largest_gap_um")));
        }
    }
    if number(lot, "thin_area_pct").is_some() {
        lines.push(("thin film".into(), word(lot, "thin_area_pct")));
    }
    if number(lot, "film_od").is_some() {
        lines.push(("optical density of the film".into(), word(lot, "film_od")));
    }
    lines
}

/// What the intervals rest on.
fn intervals(lot: &LotOutcome) -> String {
    match (lot.slides, lot.fields) {
        (0 | 1, 0 | 1) => "no interval from a single field: photograph more".into(),
        (0 | 1, n) => format!("half width of the 95 % interval between {n} fields; it speaks of this slide, not of the lot"),
        (n, _) => format!("half width of the 95 % interval between {n} slides"),
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
    let mut fields: Vec<String> = of.iter().map(|flag| flag.field.to_string()).collect();
    fields.dedup();
    let advice = of.first().map_or("", |flag| flag.flag.advice);
    let noun = if fields.len() == 1 { "field" } else { "fields" };
    format!("{} ({noun} {}): {advice}", id.replace('_', " "), fields.join(", "))
}

fn number(lot: &LotOutcome, id: &str) -> Option<f64> {
    lot.value(id).and_then(|value| value.value)
}

fn word(lot: &LotOutcome, id: &str) -> String {
    lot.value(id).map_or_else(|| "not measured".into(), words)
}

/// A value without its interval: what was seen, not an estimate.
fn alone(lot: &LotOutcome, id: &str) -> String {
    lot.value(id).map_or_else(|| "not measured".into(), |value| words(&Value { ci95: None, ..*value }))
}

fn range(lot: &LotOutcome, ids: [&str; 2]) -> String {
    match ids.map(|id| number(lot, id)) {
        [Some(low), Some(high)] => format!("{} … {} µm", three_digits(low), three_digits(high)),
        _ => "not measured".into(),
    }
}
