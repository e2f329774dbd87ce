//! What files say beside their pixels: how they are to be turned, and how and when they were taken (EXIF 2.32, 4.6.4 and 4.6.5).

use super::Info;
use super::tiff_file::ifd::{Container, Directory};
use super::turn::Turn;
use crate::time::Stated;

const ORIENTATION: u16 = 274;
const EXIF: u16 = 34_665;
const EXPOSURE_TIME: u16 = 33_434;
const SENSITIVITY: u16 = 34_855;
const CHANGED_AT: u16 = 306;
const TAKEN_AT: u16 = 36_867;
const OFFSET: u16 = 36_880;
const OFFSET_TAKEN: u16 = 36_881;

/// Turn, exposure and gain, where they are known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct About {
    turn: Turn,
    /// Seconds.
    exposure_s: Option<f64>,
    /// ISO speed.
    gain: Option<f64>,
    /// When it was taken, or else when the file was made.
    taken_at: Option<Stated>,
}

impl About {
    /// Reads EXIF data of their own. Such data are no reason to refuse a picture: what cannot be read is not known.
    pub(super) fn of_exif(exif: &[u8]) -> Self {
        let read = |container: &Container<'_>| container.directory(container.first).map(|page| Self::of_page(container, &page));
        Container::open(&exif).and_then(|container| read(&container)).unwrap_or_default()
    }

    /// Reads the tags of a page and of the directory of exposure that it may name.
    pub(super) fn of_page(container: &Container<'_>, page: &Directory) -> Self {
        let turn = container.one(page, ORIENTATION).ok().flatten().map_or(Turn::default(), Turn::of_tag);
        let of = |page: &Directory| (container.positive(page, EXPOSURE_TIME), container.positive(page, SENSITIVITY));
        let exif = container.one(page, EXIF).ok().flatten().and_then(|at| container.directory(at).ok());
        let (here, there) = (of(page), exif.as_ref().map_or((None, None), of));
        let text = |page: &Directory, tag| {
            let bytes = container.raw(page, tag, 64).ok().flatten()?;
            Some(String::from_utf8_lossy(bytes.split(|&b| b == 0).next()?).into_owned())
        };
        let stated = |page: &Directory, tag, offset| Stated::of_exif(&text(page, tag)?, text(page, offset).as_deref());
        let taken = |page: &Directory| stated(page, TAKEN_AT, OFFSET_TAKEN);
        let taken_at = exif.as_ref().and_then(taken).or_else(|| taken(page)).or_else(|| stated(page, CHANGED_AT, OFFSET));
        Self { turn, exposure_s: here.0.or(there.0), gain: here.1.or(there.1), taken_at }
    }

    /// Puts it down in what is known of a picture, whose sides change places where it is laid on its side.
    pub(super) fn tell(self, info: &mut Info) {
        info.taken_at = self.taken_at.or(info.taken_at);
        (info.turn, info.exposure_s, info.gain) = (self.turn, self.exposure_s.or(info.exposure_s), self.gain.or(info.gain));
        (info.width, info.height) = self.turn.size((info.width, info.height));
        if self.turn != Turn::default() {
            info.notes.push("the picture is turned as its file asks (orientation)".into());
        }
    }
}
