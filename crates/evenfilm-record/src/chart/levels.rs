//! How many pixels have which level.

use super::axis::Axis;
use super::frame::Frame;
use super::scene::{Canvas, Scene};

/// Counts of levels, in bins of one width.
#[derive(Clone, Debug, PartialEq)]
pub struct LevelData {
    /// Pixels per bin.
    pub bins: Vec<u64>,
    /// Relative light at the lower end of the first bin; 1 is the empty slide.
    pub from: f64,
    /// Width of a bin in relative light, above 0.
    pub step: f64,
}

/// What the height of a bar stands for; both let few pixels be seen beside very many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LevelHeight {
    /// The square root of the count.
    #[default]
    Root,
    /// The logarithm of one more than the count.
    Log,
}

/// How levels are drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelOptions {
    /// The plane.
    pub canvas: Canvas,
    /// What the height of a bar stands for.
    pub height: LevelHeight,
    /// Ends of the axis in relative light.
    pub light: [f64; 2],
}

impl Default for LevelOptions {
    /// Relative light from 0 to 2, heights as square roots.
    fn default() -> Self {
        Self { canvas: Canvas::default(), height: LevelHeight::Root, light: [0.0, 2.0] }
    }
}

/// Where the bars lie, for whoever draws marks on them: `frame.x_of(light)` and back.
pub fn level_frame(options: &LevelOptions) -> Frame {
    Frame {
        left: 0.0,
        top: 0.0,
        right: options.canvas.width,
        bottom: options.canvas.height,
        x: Axis::linear(options.light),
        y: Axis::linear([0.0, 1.0]),
    }
}

/// Draws counts of levels.
pub fn level_histogram(data: &LevelData, options: &LevelOptions) -> Scene {
    let pixels: u64 = data.bins.iter().sum();
    Scene::new(&options.canvas, "Levels".into(), format!("{pixels} pixels"))
}
