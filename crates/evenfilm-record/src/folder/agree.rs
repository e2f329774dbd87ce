//! What must hold for all pictures of an objective together: one scale, one tone, one size.

use super::{Field, Objective, Scale, Source};
use crate::fault::Fault;
use crate::limits_file::Limits;
use crate::pictures::{FULL_SCALE, FileScale, Reading, float_range, tone_of};
use crate::sheet::{Microscope, Tone};

/// The pictures of one objective.
pub(super) struct Pictures<'a> {
    pub(super) fields: Vec<&'a Field>,
    pub(super) blank: Option<&'a Source>,
    pub(super) dark: Option<&'a Source>,
}

/// Two scales that differ by more than this share of one another are two scales.
const SCALES_AGREE: f64 = 0.01;

fn disagree(a: f64, b: f64) -> bool {
    (a - b).abs() > SCALES_AGREE * a.max(b)
}

/// The scale of the sheet, else that of the files. `whose` is what follows "the scale" in a message,
/// and the section that should say it.
pub(super) fn scale(microscope: &Microscope, pictures: &Pictures<'_>, whose: [&str; 2]) -> Result<Scale, Fault> {
    let stated = microscope.um_per_px.map(|um| (um, "the sheet".to_owned()));
    let mut known = stated.clone();
    for field in &pictures.fields {
        let Some(found) = field.source.info.scale.map(|scale| square(&field.source, scale)).transpose()? else {
            if stated.is_none() {
                return Err(missing(&field.source, whose));
            }
            continue;
        };
        match &known {
            Some((um, from)) if disagree(*um, found) => {
                let message = format!("two scales disagree: the picture says {found} µm per pixel, {from} {um}");
                let remedy = "correct um_per_px in the sheet, or save the picture without its resolution if that is wrong";
                return Err(Fault::input(message, remedy).at(&field.source.path));
            }
            Some(_) => {}
            None => known = Some((found, field.source.name.clone())),
        }
    }
    let (um_per_px, _) = known.ok_or_else(|| Fault::input("the scale is missing", ADD_SCALE))?;
    let source = if stated.is_some() { microscope.scale_source.clone() } else { Some("picture file".into()) };
    Ok(Scale { um_per_px, um_per_px_u: microscope.um_per_px_u, source, date: microscope.scale_date })
}

const ADD_SCALE: &str = "state it in the sheet, below [microscope]: um_per_px = 0.25, as measured with a ruling";

fn missing(source: &Source, [of, section]: [&str; 2]) -> Fault {
    let ignored = source.info.notes.iter().fold(String::new(), |text, note| text + "; " + note);
    let remedy = ADD_SCALE.replace("[microscope]", section);
    Fault::input(format!("the scale{of} is missing: neither sheet nor picture states it{ignored}"), remedy).at(&source.path)
}

fn square(source: &Source, scale: FileScale) -> Result<f64, Fault> {
    let (x, y) = (scale.um_per_px_x, scale.um_per_px_y);
    if disagree(x, y) {
        let message = format!("the picture says that its pixels are not square: {x} × {y} µm");
        return Err(Fault::input(message, "save it without its resolution, or take it with a camera of square pixels").at(&source.path));
    }
    Ok(f64::midpoint(x, y))
}

/// The one tone of all pictures.
pub(super) fn tone(microscope: &Microscope, pictures: &Pictures<'_>) -> Result<Tone, Fault> {
    let mut tone = Tone::Linear;
    for source in all(pictures) {
        tone = tone_of(source.info.bits, microscope.tone).map_err(|fault| fault.at(&source.path))?;
    }
    Ok(tone)
}

/// The value of float pictures that becomes the largest count, one for all pictures of the lot: that of the sheet; else 1 where no value
/// is above 1; else the smallest power of two that no value exceeds. Where values are no numbers, a note says how many.
pub(super) fn float_full_scale(
    microscope: &Microscope,
    pictures: &Pictures<'_>,
    reading: &Reading<'_>,
    notes: &mut Vec<String>,
) -> Result<Option<f64>, Fault> {
    let (mut any, mut largest) = (false, 0.0_f64);
    for source in all(pictures).filter(|source| source.info.is_float()) {
        let range = float_range(&source.path, source.info.page, reading)?;
        (any, largest) = (true, largest.max(range.largest));
        if range.not_numbers > 0 {
            notes.push(format!("{}: {} values are no numbers and are read as black", source.name, range.not_numbers));
        }
    }
    let power = |largest: f64| {
        let mut power = 1.0;
        while power < largest {
            power *= 2.0;
        }
        power
    };
    let scale = microscope.full_scale.unwrap_or_else(|| power(largest));
    if any && !scale.is_finite() {
        let message = format!("the float pictures hold values up to {largest:e}, which is no light");
        return Err(Fault::input(message, "state in [microscope] which value is the camera's full scale: full_scale = 65535"));
    }
    if any && microscope.full_scale.is_none() && largest > 1.0 {
        notes.push(format!("the values of the float pictures go up to {largest}; {scale} is taken for full scale"));
    }
    Ok(any.then_some(scale))
}

/// The linear count at which the camera saturates: as the sheet says, or as all files say, or the largest.
pub(super) fn full_scale(microscope: &Microscope, pictures: &Pictures<'_>, tone: Tone) -> u16 {
    // Display counts and floats are stretched, so that only the largest is full.
    if tone == Tone::Srgb || all(pictures).any(|source| source.info.is_float()) {
        return FULL_SCALE;
    }
    if let Some(stated) = microscope.full_scale {
        let wide = if all(pictures).all(|source| source.info.bits == 8) { stated * 257.0 } else { stated };
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the range of counts")]
        return wide.clamp(1.0, f64::from(FULL_SCALE)) as u16;
    }
    let stated = all(pictures).map(|source| source.info.full_scale);
    stated.collect::<Option<Vec<_>>>().and_then(|all| all.into_iter().max()).unwrap_or(FULL_SCALE)
}

/// Blank, dark and fields are as large as the first field.
pub(super) fn size(pictures: &Pictures<'_>) -> Result<(), Fault> {
    let Some(first) = pictures.fields.first().map(|field| &field.source) else { return Ok(()) };
    let (width, height) = (first.info.width, first.info.height);
    let role = |source: &Source| {
        let is = |lamp: Option<&Source>| lamp.is_some_and(|lamp| std::ptr::eq(lamp, source));
        if is(pictures.blank) {
            "blank"
        } else if is(pictures.dark) {
            "dark picture"
        } else {
            "field"
        }
    };
    match all(pictures).find(|source| (source.info.width, source.info.height) != (width, height)) {
        None => Ok(()),
        Some(other) => {
            let (what, info) = (role(other), &other.info);
            let message = format!("the {what} is {} × {} pixels, the field {} {width} × {height}", info.width, info.height, first.name);
            Err(Fault::input(message, "take all pictures of a lot with one camera setting").at(&other.path))
        }
    }
}

/// What the heads of the pictures leave to know, each with the picture's name.
pub(super) fn notes(pictures: &Pictures<'_>) -> Vec<String> {
    let mut notes =
        all(pictures).flat_map(|source| source.info.notes.iter().map(move |note| format!("{}: {note}", source.name))).collect::<Vec<_>>();
    if all(pictures).all(|source| source.info.lossy) {
        notes.push("all pictures were packed with loss (JPEG), which blurs and shifts edges; TIFF and PNG keep what the camera saw".into());
    }
    if all(pictures).any(|source| source.info.bits == 8) && all(pictures).any(|source| source.info.bits == 16) {
        notes.push("some pictures of the lot have 8 bits and some 16".into());
    }
    notes
}

fn all<'a>(pictures: &Pictures<'a>) -> impl Iterator<Item = &'a Source> {
    pictures.fields.iter().map(|field| &field.source).chain(pictures.blank).chain(pictures.dark)
}

/// Notes on blanks that serve several objectives: another objective lights the camera in another way.
pub(super) fn shared_lamps(objectives: &mut [Objective]) {
    let blanks: Vec<_> = objectives.iter().map(|objective| objective.blank.as_ref().map(|blank| blank.path.clone())).collect();
    for (i, objective) in objectives.iter_mut().enumerate() {
        let shared = blanks.iter().enumerate().any(|(j, other)| j != i && other.is_some() && *other == blanks[i]);
        if let Some(blank) = objective.blank.as_ref().filter(|_| shared) {
            objective.notes.push(format!("{}: serves as the blank of several microscopes; take one with each", blank.name));
        }
    }
}

/// Notes on limits for microscopes that no field was taken with: they hold for nothing here.
pub(super) fn unheld_limits(limits: Option<&Limits>, objectives: &mut [Objective]) {
    let used: Vec<String> = objectives.iter().map(|objective| objective.word().to_owned()).collect();
    let Some(first) = objectives.first_mut() else { return };
    for limit in limits.iter().flat_map(|limits| &limits.limits) {
        if let Some(name) = limit.microscope.as_ref().filter(|name| !used.contains(name)) {
            first.notes.push(format!("the limit of {} is for the microscope {name}, which no field was taken with", limit.quantity));
        }
    }
}
