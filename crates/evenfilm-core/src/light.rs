//! Survey: counts to levels; film level, noise and blur.

use crate::plane::{Level, Plane, Rect, Samples, Stop, Watch};

/// The microscope as far as numbers depend on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Optics {
    /// Width of a pixel in the film, µm, above 0.
    pub um_per_px: f64,
    /// Numerical aperture of the objective.
    pub numerical_aperture: Option<f64>,
    /// Mean wavelength of the light, nm.
    pub wavelength_nm: Option<f64>,
    /// The count at which the camera saturates.
    pub full_scale: u16,
}

/// Blank and dark picture, made ready once for all fields of one microscope.
pub struct Lamp<'a> {
    blank: Option<&'a dyn Samples>,
    dark: Option<&'a dyn Samples>,
}

impl<'a> Lamp<'a> {
    /// Reads blank and dark.
    ///
    /// # Errors
    /// [`Stop`] where they cannot be read or differ in size.
    pub fn new(blank: Option<&'a dyn Samples>, dark: Option<&'a dyn Samples>, _watch: Watch<'_>) -> Result<Self, Stop> {
        Ok(Self { blank, dark })
    }
}

/// What turns the counts of one field into levels.
pub struct Correction {}

impl Correction {
    /// Levels of a rectangle of the field: what every stage, the overlay and the desk see.
    ///
    /// # Errors
    /// [`Stop::Unreadable`].
    pub fn levels(&self, _field: &dyn Samples, _at: Rect) -> Result<Plane<Level>, Stop> {
        todo!()
    }
}
