//! The field of a chart between its axes.

use super::axis::Axis;

/// Where the data of a chart lie, and what its axes hold.
#[derive(Clone, Debug, PartialEq)]
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
    /// Place of a value on the axis below.
    pub fn x_of(&self, value: f64) -> f64 {
        self.left + self.x.share_of(value) * (self.right - self.left)
    }

    /// The value at a place.
    pub fn at_x(&self, x: f64) -> f64 {
        self.x.at_share((x - self.left) / (self.right - self.left))
    }

    /// Height of a value on the axis at the left.
    pub fn y_of(&self, value: f64) -> f64 {
        self.bottom - self.y.share_of(value) * (self.bottom - self.top)
    }
}
