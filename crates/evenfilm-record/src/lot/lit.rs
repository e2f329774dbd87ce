//! Blank and dark of an objective: opened, tested, and made ready for its fields.

use evenfilm_core::light::Lamp;
use evenfilm_core::plane::{Rect, Samples, Watch};
use evenfilm_core::recipe::LightFrom;

use crate::fault::Fault;
use crate::folder::{Batch, Objective, Source};
use crate::pictures::Picture;
use crate::sheet::Mode;

use super::pictures::{Read, Scratch, read};
use super::stopped;

/// A blank without a single count as bright as this is black: one 256th of full scale.
const DARKEST_BLANK: u16 = 256;

/// Opens blank and dark.
pub(super) fn open(batch: &Batch, objective: &Objective, scratch: Scratch<'_>) -> Result<[Option<Read>; 2], Fault> {
    let open = |source: &Option<Source>| source.as_ref().map(|source| read((batch, objective), source, scratch)).transpose();
    Ok([open(&objective.blank)?, open(&objective.dark)?])
}

/// The lamp of an objective from its opened pictures.
pub(super) fn lamp<'a>(
    batch: &Batch,
    objective: &Objective,
    [blank, dark]: [Option<&'a Read>; 2],
    watch: Watch<'_>,
) -> Result<Lamp<'a>, Fault> {
    let samples = |read: Option<&'a Read>| read.map(|read| &read.picture as &dyn Samples);
    let blank = blank.filter(|_| objective.recipe.light.from != Some(LightFrom::Picture));
    let lamp = Lamp::new(samples(blank), samples(dark), watch).map_err(|stop| {
        let source = objective.blank.as_ref().or(objective.dark.as_ref()).map_or(batch.folder.as_path(), |source| &source.path);
        stopped(&stop, source)
    })?;
    Ok(if objective.microscope.mode == Some(Mode::Darkfield) { lamp.in_dark_field() } else { lamp })
}

/// Refuses a blank that tells nothing about the light.
pub(super) fn check_blank(blank: &Picture, source: &Source, full_scale: u16) -> Result<(), Fault> {
    let (mut least, mut most) = (u16::MAX, 0);
    let frame = Rect::whole(blank.size());
    let mut counts = Vec::new();
    for y in (0..frame.height).step_by(64) {
        let band = Rect::new(0, y, frame.width, 64.min(frame.height - y));
        counts.resize(band.width as usize * band.height as usize, 0);
        blank.read(band, &mut counts).map_err(|stop| stopped(&stop, &source.path))?;
        (least, most) = counts.iter().fold((least, most), |(least, most), &count| (least.min(count), most.max(count)));
        if most >= DARKEST_BLANK && least < full_scale {
            return Ok(());
        }
    }
    let (message, remedy) = if most < DARKEST_BLANK {
        ("the blank is black, so it does not tell how bright the empty slide is", "check lamp and shutter, then take it again")
    } else if least >= full_scale {
        ("the blank is at the camera's full scale everywhere", "expose less, then take blank and fields again with one setting")
    } else {
        return Ok(());
    };
    Err(Fault::input(message, remedy).at(&source.path))
}
