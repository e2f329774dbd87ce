//! Numbers and things of the picture in words.

use evenfilm_core::field::FieldResult;
use evenfilm_core::objects::{Object, SizedBy};
use evenfilm_core::recipe::{GapKind, Kind, Recipe};

use super::Canvas;
use super::things::Thing;
use crate::canvas::{Class, class_of};
use crate::state::{CardState, Lot};

/// "Field 2 of 4, f02.tif: 312 objects, 7 gaps".
pub(super) fn name(lot: &Lot, canvas: &Canvas) -> String {
    let file = lot.cards.get(lot.field).map_or("", |card| card.name.as_str());
    let found = canvas.found().map_or_else(
        || "no numbers yet".to_owned(),
        |(field, marks)| {
            let gaps = if field.result.bare_measured { count(marks.counted[1], "gap") } else { "gaps not measured".into() };
            format!("{}, {gaps}", count(marks.counted[0], "object"))
        },
    );
    format!("Field {} of {}, {file}: {found}", lot.field + 1, lot.cards.len().max(1))
}

fn count(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

/// A number with three significant digits.
pub(super) fn three(value: f64) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    let digits = match value.abs() {
        v if v >= 100.0 => 0,
        v if v >= 10.0 => 1,
        v if v >= 1.0 => 2,
        _ => 3,
    };
    format!("{value:.digits$}")
}

/// What a thing is, its own numbers, and whether it counts.
pub(super) fn thing(result: &FieldResult, thing: Thing, recipe: &Recipe) -> String {
    let um = result.um_per_px;
    if thing.gap {
        let Some(gap) = result.gaps.get(thing.place) else { return String::new() };
        let (diameter, area, circle) = (gap.diameter_px() * um, gap.area_px2[1] * um * um, gap.largest_circle_px * um);
        let circle = if circle > 0.0 { format!(" · largest circle {} µm", three(circle)) } else { String::new() };
        let counts = if gap.in_hollow {
            "not counted: the bright middle of a hollow thing".into()
        } else {
            too_small(diameter, result.counted_from_um[1])
        };
        return format!(
            "{} {} µm · {} µm²{circle}{} · {counts}",
            gap_kind(gap.told.kind),
            three(diameter),
            three(area),
            cut(gap.touches_frame)
        );
    }
    let Some(object) = result.objects.get(thing.place) else { return String::new() };
    let (diameter, area) = (object.diameter_px() * um, object.area_px2[1] * um * um);
    let class = class_of(result, object, recipe);
    let counts = match class {
        Class::LeftOut => "not counted: a kind that is left out".into(),
        _ => too_small(diameter, result.counted_from_um[0]),
    };
    let what =
        if class == Class::Agglomerate { format!("Agglomerate {}", of_kind(object.told.kind)) } else { capital(kind(object.told.kind)) };
    format!("{what} {} µm · {} µm²{}{}{} · {counts}", three(diameter), three(area), parts(object), dark(object), cut(object.touches_frame))
}

fn parts(object: &Object) -> String {
    if object.constituents() > 1 { format!(" · {} constituents", object.constituents()) } else { String::new() }
}

fn dark(object: &Object) -> String {
    let od = if object.od[0].is_finite() { format!(" · OD {}", three(object.od[0])) } else { String::new() };
    if object.sized_by == SizedBy::Deficit { format!("{od} · sized by its missing light") } else { od }
}

const fn cut(touches: bool) -> &'static str {
    if touches { " · cut by the frame" } else { "" }
}

fn too_small(diameter: f64, from: f64) -> String {
    if diameter >= from { "counted".into() } else { format!("not counted: below {} µm", three(from)) }
}

/// "of powder", "of unsure kind".
fn of_kind(of: Kind) -> String {
    if of == Kind::Unsure { kind(of).into() } else { format!("of {}", kind(of)) }
}

const fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Powder => "powder",
        Kind::Hollow => "bubble or droplet",
        Kind::Fibre => "fibre",
        Kind::Crystal => "needle or plate",
        Kind::Dust => "dust",
        Kind::Unsure => "of unsure kind",
    }
}

const fn gap_kind(kind: GapKind) -> &'static str {
    match kind {
        GapKind::Round => "Round gap",
        GapKind::Crack => "Crack",
        GapKind::Dewetting => "Dewetting",
        GapKind::Streak => "Streak",
        GapKind::Unsure => "Gap",
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// How large pixels are shown: in full, and in short.
pub(super) fn zoom(zoom: f64, um_per_px: f64) -> [String; 2] {
    let a_pixel = format!("{} µm a pixel", three(um_per_px));
    let plain = |value: f64| {
        let text = three(value);
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    };
    let short = match zoom {
        z if (z - 1.0).abs() < 1e-6 => "pixel for pixel".into(),
        z if z > 1.0 => format!("a pixel is {} screen dots", plain(z)),
        z => format!("a screen dot is {} pixels", plain(1.0 / z)),
    };
    let full = match zoom {
        z if (z - 1.0).abs() < 1e-6 => format!("{a_pixel}; each pixel of the picture is one dot of the screen"),
        z if z > 1.0 => format!("{a_pixel}; each pixel of the picture is {} dots of the screen wide", plain(z)),
        z => format!("{a_pixel}; each dot of the screen is {} pixels of the picture wide", plain(1.0 / z)),
    };
    [full, short]
}

/// The longest of 1, 2, 5 × 10ⁿ µm that takes at most so many points: its text and length in points.
pub(super) fn round_length(most: f64, um_per_point: f64) -> Option<(String, f64)> {
    let room = most * um_per_point;
    let lengths = (-3..=5).flat_map(|power| [1.0, 2.0, 5.0].map(|digit| (digit, power)));
    let (digit, power) = lengths.take_while(|(digit, power)| digit * libm::pow(10.0, f64::from(*power)) <= room).last()?;
    let um = digit * libm::pow(10.0, f64::from(power));
    let text = match power {
        ..0 => format!("{um:.*} µm", usize::try_from(-power).unwrap_or(0)),
        0..=2 => format!("{um:.0} µm"),
        _ => format!("{:.0} mm", um / 1000.0),
    };
    Some((text, um / um_per_point))
}

/// A flag's word as it is read.
pub(super) fn flag(id: &str) -> String {
    capital(&id.replace('_', " "))
}

/// What became of the field, where that is more than measured.
pub(super) fn left_out(lot: &Lot) -> Option<(String, String)> {
    match lot.cards.get(lot.field).map(|card| &card.state) {
        Some(CardState::LeftOut(why)) => Some((format!("Left out: {why}"), "the numbers are those of the other fields".into())),
        Some(CardState::SetAside(why)) => Some((
            format!("Set aside: {why}"),
            "it still counts, since only the reasons of the choices take a field out; the record has the numbers without it too".into(),
        )),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_digits() {
        for (value, text) in [(0.0, "0.000"), (0.5123, "0.512"), (1.234, "1.23"), (12.34, "12.3"), (1234.4, "1234"), (f64::NAN, "–")] {
            assert_eq!(three(value), text);
        }
    }

    #[test]
    fn lengths_are_round() {
        for (most, um_per_point, text, points) in
            [(120.0, 0.25, "20 µm", 80.0), (120.0, 0.001, "0.1 µm", 100.0), (120.0, 10.0, "1 mm", 100.0), (100.0, 1.0, "100 µm", 100.0)]
        {
            let (found, length) = round_length(most, um_per_point).unwrap();
            assert_eq!(found, text);
            assert!((length - points).abs() < 1e-6, "{length}");
        }
        assert_eq!(round_length(1.0, 1e-6), None);
        assert_eq!(round_length(f64::NAN, 1.0), None);
    }

    #[test]
    fn zoom_in_words() {
        let words = |z| zoom(z, 0.25)[0].clone();
        assert_eq!(words(2.0), "0.250 µm a pixel; each pixel of the picture is 2 dots of the screen wide");
        assert_eq!(words(1.0), "0.250 µm a pixel; each pixel of the picture is one dot of the screen");
        assert_eq!(words(0.25), "0.250 µm a pixel; each dot of the screen is 4 pixels of the picture wide");
        assert_eq!(zoom(0.1, 0.25)[1], "a screen dot is 10 pixels");
    }
}
