//! The scale of a microscope from a picture of a ruling: measured, drawn, and written into a sheet.

use std::path::{Path, PathBuf};

pub use evenfilm_core::scale::Pitch;
use evenfilm_core::scale::{Axis, Scale, Unscaled, measure};
use jiff::civil::Date;

use crate::fault::Fault;
use crate::keep::{Edited, NewValue};
use crate::pictures::{Picture, Reading, float_range, probe};
use crate::sheet::form::SHEET;
use crate::sheet::{Sheet, Tone};
use crate::time::Moment;
use crate::{disk, overlay};

#[cfg(test)]
mod tests;

/// A picture of a ruling and what it gave.
#[derive(Debug)]
pub struct Ruled {
    /// The file.
    pub path: PathBuf,
    /// What the certificate says.
    pub pitch: Pitch,
    /// The scale.
    pub scale: Scale,
    picture: Picture,
}

/// What [`Ruled::write_into`] did.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// The sheet.
    pub sheet: PathBuf,
    /// The scale that it stated before.
    pub before: Option<f64>,
    /// Objectives whose sections state a scale of their own, which they keep.
    pub kept: Vec<String>,
}

/// Measures the scale of a picture of a ruling.
///
/// Counts are taken as they are, also of 8 bits that are coded for a display: the middle of a line does not hang on it.
///
/// # Errors
/// An input fault where the pitch is no length, the picture cannot be read, or it leaves the scale in doubt: then the message is the reason.
pub fn measure_ruling(path: &Path, pitch: Pitch) -> Result<Ruled, Fault> {
    check(pitch)?;
    let mut reading = Reading::new(Some(Tone::Linear));
    if probe(path, &reading.ceiling)?.bits > 16 {
        let largest = float_range(path, 0, &reading)?.largest;
        reading.float_full_scale = if largest > 0.0 { largest } else { 1.0 };
    }
    let picture = Picture::open(path, &reading)?;
    let scale = measure(&picture, pitch).map_err(|unscaled| match unscaled {
        Unscaled::Refused(refusal) => Fault::input(refusal.to_string(), refusal.remedy()).at(path),
        Unscaled::Stopped(stop) => Fault::input(stop.to_string(), "copy the picture again from the camera's computer").at(path),
    })?;
    Ok(Ruled { path: path.to_path_buf(), pitch, scale, picture })
}

fn check(pitch: Pitch) -> Result<(), Fault> {
    if !(pitch.um > 0.0 && pitch.um <= 1e6) {
        return Err(Fault::input(format!("the pitch is {} µm", pitch.um), "give the distance from line to line in µm, above 0"));
    }
    if !(pitch.u_um >= 0.0 && pitch.u_um < 0.1 * pitch.um) {
        let remedy = "give the standard uncertainty of the pitch in µm: half of an expanded one with k = 2, from 0 to a tenth of the pitch";
        return Err(Fault::input(format!("the uncertainty of a pitch of {} µm is {} µm", pitch.um, pitch.u_um), remedy));
    }
    Ok(())
}

impl Ruled {
    /// What a reader of the number should know.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if let [set] = &self.scale.sets[..] {
            let (crossed, other) = if set.axis == Axis::X { ("x", "y") } else { ("y", "x") };
            notes.push(format!("lines cross {crossed} only: pixels are taken to be square, and nothing was measured along {other}"));
        }
        if self.pitch.u_um <= 0.0 {
            notes.push("the certificate's uncertainty is not in it: give the pitch's standard uncertainty as --pitch-u-um".into());
        }
        if self.scale.sets.iter().any(|set| set.stretched) {
            notes.push("neighbouring lines lie off in the same way: the lens stretches the picture, or the ruling is uneven; the uncertainty is widened".into());
        }
        notes
    }

    /// Lines found but not used, and what goes on like a line but stands elsewhere.
    pub fn left_out(&self) -> usize {
        self.scale.sets.iter().map(|set| set.lines.len() - set.used() + set.strays.len()).sum()
    }

    /// Largest standard deviation of the lines' places about an even ruling, µm.
    pub fn residual_um(&self) -> f64 {
        self.scale.sets.iter().fold(0.0, |most: f64, set| most.max(set.residual_px)) * self.scale.um_per_px
    }

    /// Writes a PNG that shows the lines, which were used, and their numbers.
    ///
    /// # Errors
    /// `to` is the ruling itself or cannot be written.
    pub fn draw(&self, to: &Path) -> Result<(), Fault> {
        let same = |path: &Path| path.canonicalize().ok();
        if same(to).is_some_and(|to| Some(to) == same(&self.path)) {
            return Err(Fault::input("the picture of what was found would replace the ruling itself", "give it another name").at(to));
        }
        let drawn = overlay::draw_ruling(&self.picture, &self.scale);
        let png =
            drawn.map_err(|stop| Fault::input(stop.to_string(), "copy the picture again from the camera's computer").at(&self.path))?;
        disk::replace(to, &png)
    }

    /// Puts the scale into `[microscope]` of the sheet in `folder`; everything else in it stays as it is.
    ///
    /// # Errors
    /// There is no sheet, it is not valid, or it cannot be written.
    pub fn write_into(&self, folder: &Path, moment: &Moment) -> Result<Written, Fault> {
        let path = folder.join(SHEET);
        if !path.exists() {
            let remedy = "name the folder of a lot, or begin its sheet with one line: lot = \"TS-0412\"";
            return Err(Fault::input("there is no sheet batch.toml", remedy).at(folder));
        }
        // A link stays a link: its file is replaced.
        let path = path.canonicalize().unwrap_or(path);
        let sheet = Sheet::read(&path)?;
        let mut file = Edited::open(&path, "sheet")?;
        self.put_into(&mut file, moment).map_err(|fault| fault.at(&path))?;
        // What is not a sheet any more must not replace one.
        Sheet::parse(file.text(), &path)?;
        file.save(&path)?;
        let own = |name: &&String| sheet.microscopes[*name].um_per_px.is_some_and(|um| Some(um) != sheet.microscope.um_per_px);
        let kept = sheet.microscopes.keys().filter(own).cloned().collect();
        Ok(Written { sheet: path, before: sheet.microscope.um_per_px, kept })
    }

    fn put_into(&self, sheet: &mut Edited, moment: &Moment) -> Result<(), Fault> {
        let date: Date = moment.date.parse().map_err(|_| Fault::input(format!("{} is no date", moment.date), "set the clock"))?;
        let mut put = |key, value: NewValue| sheet.set(&["microscope"], key, Some(value));
        put("um_per_px", to_hundredths_of(self.scale.um_per_px, self.scale.um_per_px_u).into())?;
        put("um_per_px_u", to_hundredths_of(self.scale.um_per_px_u, self.scale.um_per_px_u).into())?;
        put("scale_source", self.source().into())?;
        put("scale_date", date.into())
    }

    /// Where the scale comes from, as the sheet says it.
    pub fn source(&self) -> String {
        let certificate = if self.pitch.u_um > 0.0 { format!(" (u {} µm)", self.pitch.u_um) } else { String::new() };
        let file = self.path.file_name().map(|name| name.to_string_lossy()).unwrap_or_default();
        let file: String = file.chars().filter(|c| !c.is_control()).collect();
        format!("ruling {} µm{certificate}, {} lines of {file}", self.pitch.um, self.scale.lines())
    }
}

/// A number to a hundredth of the leading digit of its uncertainty: more digits say nothing.
fn to_hundredths_of(value: f64, uncertainty: f64) -> f64 {
    let step = libm::floor(libm::log10(uncertainty)) - 2.0;
    let decimals = (-step).clamp(0.0, 12.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 12")]
    let decimals = if decimals.is_finite() { decimals as usize } else { 9 };
    format!("{value:.decimals$}").parse().unwrap_or(value)
}
