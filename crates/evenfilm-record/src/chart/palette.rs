//! Colours of the roles, light and dark.

use super::scene::Ink;

/// sRGB colours, one for each role.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Palette {
    /// What everything lies on.
    pub ground: [u8; 3],
    /// Axes and ticks.
    pub axis: [u8; 3],
    /// Grid.
    pub grid: [u8; 3],
    /// Words.
    pub text: [u8; 3],
    /// Words beside the matter.
    pub quiet: [u8; 3],
    /// The first series.
    pub data: [u8; 3],
    /// The second series.
    pub data_also: [u8; 3],
    /// Limits.
    pub limit: [u8; 3],
    /// Intervals.
    pub interval: [u8; 3],
    /// What needs attention.
    pub warn: [u8; 3],
}

impl Palette {
    /// Dark on a light ground.
    pub const LIGHT: Self = Self {
        ground: [255, 255, 255],
        axis: [84, 88, 94],
        grid: [226, 229, 233],
        text: [26, 30, 36],
        quiet: [84, 90, 98],
        data: [38, 96, 150],
        data_also: [20, 40, 60],
        limit: [158, 30, 14],
        interval: [110, 120, 132],
        warn: [150, 84, 0],
    };

    /// Light on a dark ground.
    pub const DARK: Self = Self {
        ground: [24, 27, 31],
        axis: [160, 166, 174],
        grid: [52, 57, 64],
        text: [232, 235, 240],
        quiet: [170, 177, 186],
        data: [110, 170, 226],
        data_also: [214, 232, 250],
        limit: [255, 150, 122],
        interval: [150, 160, 172],
        warn: [240, 180, 80],
    };

    /// The colour of a role.
    pub const fn of(&self, ink: Ink) -> [u8; 3] {
        match ink {
            Ink::Ground => self.ground,
            Ink::Axis => self.axis,
            Ink::Grid => self.grid,
            Ink::Text => self.text,
            Ink::Quiet => self.quiet,
            Ink::Data => self.data,
            Ink::DataAlso => self.data_also,
            Ink::Limit => self.limit,
            Ink::Interval => self.interval,
            Ink::Warn => self.warn,
        }
    }
}
