//! Acceptance of the measurement against values from outside: published standards and worked examples, general-purpose libraries, and films
//! rendered independently of this program. The source of each value stands in its file under `reference/` and beside the check.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod agreement;
mod bags;
mod chance;
mod films;
mod formats;
mod hostile;
mod house;
mod interval;
mod kinds;
mod large;
mod lot;
mod objectives;
mod pictures;
mod properties;
mod raster;
mod records;
mod scale;
mod shape;
mod sizes;
mod split;
mod statistics;
mod tables;
