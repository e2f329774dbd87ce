//! Pixels to numbers: how evenly a powder is dispersed in a dried film.
//!
//! No files, no clock, no window, no threads of its own beyond rayon. The modules stand in the order of the flow:
//!
//! [`plane`] (samples) → [`light`] (survey: counts to levels; film, noise, blur) → [`phases`] (cut: runs of gap, film, particle) →
//! [`objects`] (join and refine: one visit to each object's window) → [`shape`] → [`sizes`] · [`gaps`] → [`quality`] → [`field`] (all of it for
//! one picture) → [`dust`] (what lies on the optics) → [`chance`] (the same particles laid at random) → [`batch`] (fields to quantities with
//! intervals) → [`limits`] (verdict). Beside the flow: [`recipe`], [`quantity`], [`scale`] (micrometres per pixel from a ruling),
//! [`statistics`], [`interval`], [`random`],
//! [`order`] (work in turn), [`phantom`].
//!
//! Coordinates: x runs right, y runs down, the origin is the outer corner of the first pixel, so pixel `(i, j)` covers `[i, i+1) × [j, j+1)`
//! and its centre is `(i + ½, j + ½)`. Planes are indexed `[[row, column]]`.

pub mod batch;
pub mod chance;
pub mod dust;
pub mod field;
pub mod gaps;
pub mod interval;
pub mod light;
pub mod limits;
pub mod objects;
pub mod order;
pub mod phantom;
pub mod phases;
pub mod place;
pub mod plane;
pub mod pyramid;
pub mod quality;
pub mod quantity;
pub mod random;
pub mod recipe;
mod reuse;
pub mod scale;
pub mod shape;
pub mod sizes;
pub mod statistics;
