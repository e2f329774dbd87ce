//! What the levels of a field stand on.

use super::{Correction, Lamp, Optics, noise_of_counts, own, scatter};
use crate::plane::{ONE, Samples, Stop, Watch};
use crate::recipe::Film;

/// What is known of the light, and so what a level means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reference {
    /// The picture of the empty slide: [`ONE`] is the empty slide.
    Blank,
    /// The picture's own light and bare places seen in it: [`ONE`] is what they show.
    BareSeen,
    /// The picture's own light and a recipe that calls the film clear: [`ONE`] is what lies between the particles.
    ClearFilm,
    /// The picture's own light: half of [`ONE`] is the film, and what is bare is not known.
    FilmAlone,
    /// Dark field with the picture of an even scatterer: [`ONE`] scatters nothing.
    Scatterer,
    /// Dark field by the picture's own light: [`ONE`] scatters nothing, and all else is relative to the film.
    BlackGround,
}

impl Reference {
    /// Whether [`ONE`] is the level of a bare place.
    pub const fn bare_known(self) -> bool {
        !matches!(self, Self::FilmAlone)
    }

    /// Whether levels are scattered light rather than transmission.
    pub const fn is_dark_field(self) -> bool {
        matches!(self, Self::Scatterer | Self::BlackGround)
    }
}

/// What turns the counts of a field into levels, and what they stand on.
pub struct Light<'a> {
    /// Counts to levels.
    pub correction: Correction<'a>,
    /// Noise of a pixel, as a share of [`ONE`].
    pub noise: f64,
    /// What the levels stand on.
    pub reference: Reference,
    /// Whether a dark picture was given.
    pub has_dark: bool,
    /// Count of the empty slide as a share of the camera's full scale; of twice the film where that is not known. `None` in dark field
    /// without the picture of a scatterer.
    pub brightness: Option<f64>,
    /// Darkest ÷ lightest part of the light.
    pub evenness: Option<f64>,
}

impl<'a> Lamp<'a> {
    /// The light of a field: by the blank where there is one, else by the picture itself. `film` is what the recipe says of it.
    ///
    /// # Errors
    /// [`Stop`].
    pub fn light(&self, field: &dyn Samples, film: Film, optics: &Optics, watch: Watch<'_>) -> Result<Light<'a>, Stop> {
        let counts = noise_of_counts(field)?;
        let plain = self.correction(field.size(), counts, optics)?;
        let gain = self.typical_gain(optics);
        let has_dark = self.dark.is_some();
        let asked = own::Asked { film, noise: counts * gain, optics };
        let brightness = |gain: f64| Some(1.0 / (gain * f64::from(optics.full_scale.max(1)))).filter(|share| share.is_finite());
        let light = |correction, gain: f64, reference| {
            let (noise, brightness, evenness) = (counts * gain, brightness(gain), self.evenness);
            Light { correction, noise, reference, has_dark, brightness, evenness }
        };
        match (self.dark_field, self.blank.is_some()) {
            (false, true) => Ok(light(plain, gain, Reference::Blank)),
            (true, true) => {
                let factor = scatter::room(field, &plain.scaled(scatter::LOOK), watch)?;
                Ok(Light {
                    brightness: brightness(gain),
                    ..light(plain.scaled(factor).inverted(), gain * f64::from(factor), Reference::Scatterer)
                })
            }
            (false, false) => {
                let found = own::transmitted(field, &plain, &asked, watch)?;
                let Some(own) = found else {
                    return Ok(Light { brightness: None, ..light(plain, gain, Reference::FilmAlone) });
                };
                let (gain, evenness) = (own.typical(), own.evenness());
                Ok(Light { evenness, ..light(plain.with_gains(own.gains), gain, own.reference) })
            }
            (true, false) => {
                let found = own::scattered(field, &plain, &asked, watch)?;
                let Some(own) = found else {
                    return Ok(Light { brightness: None, ..light(plain.inverted(), gain, Reference::BlackGround) });
                };
                let (gain, evenness) = (own.typical(), own.evenness());
                let evened = plain.with_gains(own.gains);
                // The film alone must leave room for what scatters more.
                let factor = scatter::room(field, &evened.scaled(scatter::LOOK), watch)?.min(own::FILM_ALONE);
                let light = light(evened.scaled(factor).inverted(), gain * f64::from(factor), Reference::BlackGround);
                Ok(Light { brightness: None, evenness, ..light })
            }
        }
    }
}

/// A picture whose median is below this transmission shows nothing: no film, and nothing bare.
const BLACK: f64 = 0.002;

/// Whether a level is that of a picture that shows nothing at all, by its share of [`ONE`].
pub(crate) fn is_black(median: f64, reference: Reference) -> bool {
    !reference.is_dark_field() && median < BLACK * f64::from(ONE)
}
