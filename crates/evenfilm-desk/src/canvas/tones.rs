//! Greys of samples and colours of what is drawn over them: those of the picture that a record keeps.
//!
//! The film is always drawn at the same grey, whatever its density; lightness goes with the square root of the level. Objects have a light
//! sand, gaps a dark blue with light blue between: far apart in lightness for every kind of colour vision, on film as on bare ground.

use egui::Color32;
use evenfilm_core::plane::ONE;

/// The grey at which the film is drawn.
const FILM_GREY: u8 = 116;

/// The lightest grey; what is drawn over it stays apart from it.
const LIGHTEST: u8 = 239;

/// Sand: objects.
pub(crate) const SAND: Color32 = Color32::from_rgb(255, 216, 160);
/// Dark blue: gaps.
pub(crate) const DEEP: Color32 = Color32::from_rgb(12, 0, 96);
/// Light blue between the dark dashes of a gap.
pub(crate) const SKY: Color32 = Color32::from_rgb(120, 200, 255);

/// The grey of every sample.
#[derive(Clone)]
pub(crate) struct Greys {
    /// One for each sample, so that looking up asks nothing.
    of: Box<[u8]>,
    whole: f64,
    grey: u8,
}

impl Greys {
    /// Of levels: the film (the empty slide where it is not known) at the film's grey.
    pub(crate) fn of_levels(film: Option<f64>) -> Self {
        Self::new(whole_of(film), FILM_GREY)
    }

    /// Of counts: where the camera saturates is lightest.
    pub(crate) fn of_counts(full_scale: u16) -> Self {
        Self::new(f64::from(full_scale.max(1)), LIGHTEST)
    }

    /// Whether [`Self::of_levels`] would give the same.
    pub(crate) fn is_of_levels(&self, film: Option<f64>) -> bool {
        self.grey == FILM_GREY && self.whole.to_bits() == whole_of(film).to_bits()
    }

    /// Whether [`Self::of_counts`] would give the same.
    pub(crate) fn is_of_counts(&self, full_scale: u16) -> bool {
        self.grey == LIGHTEST && self.whole.to_bits() == f64::from(full_scale.max(1)).to_bits()
    }

    fn new(whole: f64, grey: u8) -> Self {
        let top = f64::from(LIGHTEST);
        let tone = |sample: u16| (f64::from(grey) * (f64::from(sample) / whole).sqrt() + 0.5).min(top);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 239")]
        let of: Vec<u8> = (0..=u16::MAX).map(|sample| tone(sample) as u8).collect();
        Self { of: of.into(), whole, grey }
    }

    pub(crate) fn of(&self, sample: u16) -> u8 {
        self.table().map_or(LIGHTEST, |of| of[usize::from(sample)])
    }

    /// Greys of many samples.
    pub(crate) fn of_all(&self, samples: &[u16], out: &mut [u8]) {
        let Some(of) = self.table() else { return };
        out.iter_mut().zip(samples).for_each(|(grey, &sample)| *grey = of[usize::from(sample)]);
    }

    fn table(&self) -> Option<&[u8; 65_536]> {
        self.of.as_array()
    }
}

fn whole_of(film: Option<f64>) -> f64 {
    let film = film.filter(|level| level.is_finite()).unwrap_or_else(|| f64::from(ONE));
    film.clamp(f64::from(ONE) / 1000.0, f64::from(u16::MAX))
}

/// What a pixel is, as a place in [`Tints`].
pub(crate) const FILM: u8 = 0;
pub(crate) const PARTICLE: u8 = 1;
pub(crate) const GAP: u8 = 2;

/// The colour of every grey in each phase.
pub(crate) struct Tints([[Color32; 256]; 3]);

impl Tints {
    /// Phases tinted so strongly, 0 to 255.
    pub(crate) fn new(share: u8) -> Self {
        let grey = |at: usize| Color32::from_gray(u8::try_from(at).unwrap_or(u8::MAX));
        let toward = |colour: Color32| std::array::from_fn(|at| blend(grey(at), colour, share));
        Self([std::array::from_fn(grey), toward(SAND), toward(DEEP)])
    }

    pub(crate) fn phase(&self, phase: u8) -> &[Color32; 256] {
        match phase {
            PARTICLE => &self.0[1],
            GAP => &self.0[2],
            _ => &self.0[0],
        }
    }
}

/// A colour over another: 0 leaves the lower one, 255 shows the upper alone.
pub(crate) fn blend(under: Color32, over: Color32, share: u8) -> Color32 {
    match share {
        0 => under,
        255 => over,
        _ => {
            let mix = |a: u8, b: u8| {
                let sum = u32::from(a) * (255 - u32::from(share)) + u32::from(b) * u32::from(share) + 127;
                u8::try_from(sum / 255).unwrap_or(u8::MAX)
            };
            Color32::from_rgb(mix(under.r(), over.r()), mix(under.g(), over.g()), mix(under.b(), over.b()))
        }
    }
}

/// A share from 0 to 1 as 0 to 255.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 255")]
pub(crate) fn byte(share: f32) -> u8 {
    (share.clamp(0.0, 1.0) * 255.0 + 0.5) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_film_has_one_grey() {
        for film in [900.0, 8_000.0, 20_000.0, 32_768.0] {
            let greys = Greys::of_levels(Some(film));
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and small")]
            let level = film as u16;
            assert_eq!(greys.of(level), FILM_GREY);
            // A quarter of the light is half as light, by the square root.
            assert_eq!(greys.of(level / 4), FILM_GREY / 2);
            assert_eq!(greys.of(0), 0);
        }
        assert_eq!(Greys::of_levels(None).of(ONE), FILM_GREY);
        assert_eq!(Greys::of_levels(Some(f64::NAN)).of(u16::MAX), Greys::of_levels(None).of(u16::MAX));
        assert_eq!(Greys::of_counts(4095).of(4095), LIGHTEST);
        assert_eq!(Greys::of_counts(0).of(u16::MAX), LIGHTEST);
    }

    #[test]
    fn blends_end_at_their_colours() {
        assert_eq!(blend(SAND, DEEP, 0), SAND);
        assert_eq!(blend(SAND, DEEP, 255), DEEP);
        assert_eq!(blend(Color32::BLACK, Color32::WHITE, 128), Color32::from_gray(128));
        assert_eq!((byte(-1.0), byte(0.5), byte(2.0), byte(f32::NAN)), (0, 128, 255, 0));
    }
}
