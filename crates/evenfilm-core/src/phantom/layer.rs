//! Layers: what a thing does to the light, as a sum of covers.
//!
//! Blur is linear in intensity, so any flat picture of a thing that is built of steps is a sum of blurred covers: a ring is its outer less
//! its inner disc, and a profile that varies smoothly with the radius is an integral over concentric discs.

use super::outline::Form;
use super::trace::gauss;

/// A share of the light that is taken all over an outline; below 0 it is given back.
#[derive(Clone, Debug, PartialEq)]
pub struct Layer {
    /// Where.
    pub form: Form,
    /// Share of the light beneath.
    pub taken: f64,
}

impl Layer {
    /// A disc.
    pub(super) const fn disc(radius: f64, taken: f64) -> Self {
        Self { form: Form::Disc { radius }, taken }
    }
}

/// A round slope: the share taken rises evenly from 0 at the first radius to `taken` at the second, which is the smaller.
pub(super) fn slope(radii: [f64; 2], taken: f64, sigma_px: f64) -> impl Iterator<Item = Layer> {
    let [outer, inner] = radii;
    let width = outer - inner;
    gauss(inner, outer, panels(width, sigma_px)).map(move |[radius, weight]| Layer::disc(radius, taken * weight / width))
}

/// Panels of the Gauss rule for layers whose radii lie within this length: four radii in 3 σ.
pub(super) fn panels(length: f64, sigma_px: f64) -> u32 {
    u32::try_from(super::floor_index(length / (3.0 * sigma_px))).unwrap_or(u32::MAX >> 1) + 1
}
