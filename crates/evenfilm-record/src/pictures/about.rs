//! What files say beside their pixels: how they are to be turned, and how they were exposed (EXIF 2.32, 4.6.4 and 4.6.5).

use super::Info;
use super::tiff_file::ifd::{Container, Directory};
use super::turn::Turn;

const ORIENTATION: u16 = 274;
const EXIF: u16 = 34_665;
const EXPOSURE_TIME: u16 = 33_434;
const SENSITIVITY: u16 = 34_855;

/// Turn, exposure and gain, where they are known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct About {
    turn: Turn,
    /// Seconds.
    exposure_s: Option<f64>,
    /// ISO speed.
    gain: Option<f64>,
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
        let (here, there) = (of(page), exif.map_or((None, None), |exif| of(&exif)));
        Self { turn, exposure_s: here.0.or(there.0), gain: here.1.or(there.1) }
    }

    /// Puts it down in what is known of a picture, whose sides change places where it is laid on its side.
    pub(super) fn tell(self, info: &mut Info) {
        (info.turn, info.exposure_s, info.gain) = (self.turn, self.exposure_s.or(info.exposure_s), self.gain.or(info.gain));
        (info.width, info.height) = self.turn.size((info.width, info.height));
        if self.turn != Turn::default() {
            info.notes.push("the picture is turned as its file asks (orientation)".into());
        }
    }
}
