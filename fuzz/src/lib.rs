//! What all targets share.

use evenfilm_core::plane::{Rect, Samples};
use evenfilm_record::pictures::{Picture, Reading};
use evenfilm_record::sheet::Tone;

/// Reads a picture whole and by rectangles: both give the same, or both refuse.
pub fn picture(bytes: &[u8]) {
    let mut reading = Reading::new(Some(Tone::Linear));
    (reading.ceiling.pixels, reading.ceiling.bytes) = (1 << 20, 1 << 24);
    let held = Picture::decode(bytes, &reading).ok().and_then(|picture| picture.counts().ok());
    (reading.budget.held, reading.budget.cache) = (0, 0);
    let piecewise = Picture::decode(bytes, &reading).ok().and_then(|picture| {
        let frame = Rect::whole(picture.size());
        let mut corner = [0];
        picture.read(Rect::new(frame.width - 1, frame.height - 1, 1, 1), &mut corner).ok()?;
        picture.counts().ok()
    });
    assert_eq!(held, piecewise);
}
