//! The field of a chart between its axes.

use super::axis::Axis;
use super::scene::Canvas;

/// Where the data of a chart lie, and what its axes hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Left side, points.
    pub left: f64,
    /// Upper side.
    pub top: f64,
    /// Right side.
    pub right: f64,
    /// Lower side.
    pub bottom: f64,
    /// What runs from left to right.
    pub x: Axis,
    /// What runs from below upwards.
    pub y: Axis,
}

impl Frame {
    /// The field that margins leave, in sizes of the text: left, top, right, bottom. It is never empty, however small the canvas.
    pub(super) fn within(canvas: &Canvas, margins: [f64; 4], x: Axis, y: Axis) -> Self {
        let [left, top, right, bottom] = margins.map(|margin| margin * canvas.points);
        let (right, bottom) = (canvas.width - right, canvas.height - bottom);
        Self { left, top, right: right.max(left + 1.0), bottom: bottom.max(top + 1.0), x, y }
    }

    /// Place of a value on the axis below.
    pub fn x_of(&self, value: f64) -> f64 {
        self.left + self.x.share_of(value) * self.width()
    }

    /// The value at a place.
    pub fn at_x(&self, x: f64) -> f64 {
        self.x.at_share((x - self.left) / self.width())
    }

    /// Height of a value on the axis at the left.
    pub fn y_of(&self, value: f64) -> f64 {
        self.bottom - self.y.share_of(value) * self.height()
    }

    pub(super) fn width(&self) -> f64 {
        self.right - self.left
    }

    pub(super) fn height(&self) -> f64 {
        self.bottom - self.top
    }
}
