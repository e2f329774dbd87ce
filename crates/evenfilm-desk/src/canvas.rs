//! The picture: what is read of a field, where the eye is, and what is painted. Everything is composed on the processor at the resolution of
//! the screen, from a pyramid, the runs of the phases and a table of colours.

use evenfilm_core::field::{FilmSeen, detection_level};
use evenfilm_core::phases::Cuts;
use evenfilm_core::plane::{Plane, Rect};
use evenfilm_core::pyramid::Pyramid;
use evenfilm_core::recipe::Recipe;

mod camera;
mod coarse;
mod compose;
mod grid;
mod labels;
mod lines;
mod marks;
mod samples;
#[cfg(test)]
mod tests;
mod tones;

pub use camera::Camera;
pub(crate) use camera::Seen;
pub(crate) use coarse::Coarse;
pub(crate) use compose::{Scene, compose};
pub(crate) use labels::runs_within;
pub(crate) use marks::{Class, Marks, class_of};
pub(crate) use samples::reduction_for;
pub(crate) use tones::Greys;

/// All that the window holds of a field's picture.
pub struct FieldPicture {
    /// A place in the lot's fields.
    pub field: usize,
    /// Columns and rows.
    pub size: (u32, u32),
    /// Width of a pixel, µm.
    pub um_per_px: f64,
    /// The count at which the camera saturates.
    pub full_scale: u16,
    /// Levels: the light corrected.
    pub light: Pyramid,
    /// Linear counts: as photographed.
    pub shot: Pyramid,
    /// The film, where enough of it is seen.
    pub film: Option<FilmSeen>,
    /// Whether bare places can be told.
    pub bare_known: bool,
    /// What a noise factor of 1 would cut at.
    pub(crate) cuts: Cuts,
    /// Levels in 512 equal bins from 0 to twice the empty slide.
    pub levels_seen: Vec<u64>,
}

impl FieldPicture {
    /// What a measurement with these choices would cut at: what the picture shows while a choice is being changed.
    pub fn cuts(&self, recipe: &Recipe) -> Cuts {
        let spread = 1.0 - self.cuts.particle;
        let particle = detection_level(recipe, spread);
        Cuts { film: self.cuts.film.clone(), particle, gap: self.cuts.gap.map(|_| recipe.gaps.edge) }
    }
}

/// A part of a picture that is not held in memory, finer than the pyramid.
pub(crate) struct Detail {
    /// Which part, px of the picture.
    pub at: Rect,
    /// log2 of its reduction.
    pub reduction: u32,
    /// Levels.
    pub light: Plane<u16>,
    /// Counts.
    pub shot: Plane<u16>,
}

/// A small picture.
pub struct Thumb {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Levels, row after row.
    pub levels: Vec<u16>,
    /// Level of the film, where enough of it is seen.
    pub film: Option<u16>,
}

/// A thing that is drawn over the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layer {
    /// The light as corrected rather than as photographed.
    Light,
    /// Gap, film and particle as tints.
    Phases,
    /// Outlines of objects.
    Outlines,
    /// Lines between the constituents of objects.
    Constituents,
    /// Hatching of agglomerates.
    Agglomerates,
    /// Outlines of gaps, and the largest circle in each.
    Gaps,
    /// Objects of kinds that are left out.
    LeftOut,
    /// What should be looked at.
    Flags,
}

impl Layer {
    /// All, from the ground up.
    pub const ALL: [Self; 8] =
        [Self::Light, Self::Phases, Self::Outlines, Self::Constituents, Self::Agglomerates, Self::Gaps, Self::LeftOut, Self::Flags];

    /// Its name.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Light => "Corrected light",
            Self::Phases => "Phases",
            Self::Outlines => "Outlines",
            Self::Constituents => "Constituents",
            Self::Agglomerates => "Agglomerates",
            Self::Gaps => "Gaps and circles",
            Self::LeftOut => "Left-out kinds",
            Self::Flags => "Flags",
        }
    }
}

/// How strongly each layer is drawn, 0 to 1, in the order of [`Layer::ALL`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Layers(pub [f32; 8]);

impl Default for Layers {
    fn default() -> Self {
        Self([1.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    }
}

impl Layers {
    /// How strongly a layer is drawn.
    pub fn of(&self, layer: Layer) -> f32 {
        self.0[layer as usize]
    }

    /// Draws a layer more or less strongly.
    pub fn set(&mut self, layer: Layer, share: f32) {
        self.0[layer as usize] = share.clamp(0.0, 1.0);
    }
}
