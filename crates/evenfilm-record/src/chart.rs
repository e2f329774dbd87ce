//! Charts of a lot: what was measured, drawn, for the window and for the report.
//!
//! A chart is a function from plain numbers to a [`Scene`]: lines, fills and words in a plane, each in a role ([`Ink`]) rather than a colour.
//! Whoever paints a scene has a [`Palette`]; [`svg`] is one such painter. The numbers come from what a lot gave ([`SizeData::of`] and its
//! like): nothing is measured here. Same data, same scene, on every machine.
//!
//! No series is told from another by its colour alone: they differ by dash, by marker, or by being a line rather than a fill.

mod answer;
pub mod axis;
mod bins;
mod fields;
mod frame;
mod gaps;
mod letters;
mod levels;
mod limit_lines;
mod palette;
#[cfg(test)]
mod palette_tests;
mod pen;
mod rests_on;
mod scene;
mod sizes;
mod svg;
#[cfg(test)]
mod tests;
mod words;

pub use answer::{ANSWER_CANVAS, AnswerData, answer_bar};
pub use bins::Bin;
pub use fields::{FieldValue, FieldsData, fields};
pub use frame::Frame;
pub use gaps::{GapOptions, GapSeen, GapsBy, GapsData, gaps};
pub use levels::{LevelData, LevelHeight, LevelOptions, level_frame, level_histogram};
pub use limit_lines::LimitLine;
pub use palette::Palette;
pub use rests_on::RestsOn;
pub use scene::{Anchor, Baseline, Canvas, Ink, Mark, Point, Scene};
pub use sizes::{Curves, SizeData, SizeOptions, SizesBy, density, size_distribution};
pub use svg::svg;
