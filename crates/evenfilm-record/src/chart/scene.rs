//! What is drawn: primitives in a plane.

/// A place in the plane, points: x to the right, y down, from the top left corner.
pub type Point = [f64; 2];

/// The plane that a chart is drawn into.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Canvas {
    /// Width, points.
    pub width: f64,
    /// Height, points.
    pub height: f64,
    /// Size of text, points; margins, strokes and marks scale with it.
    pub points: f64,
}

impl Default for Canvas {
    /// 480 × 300 points with text of 10.
    fn default() -> Self {
        Self { width: 480.0, height: 300.0, points: 10.0 }
    }
}

/// What a mark stands for; the painter's palette says how that looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ink {
    /// What everything lies on.
    Ground,
    /// Axes and their ticks.
    Axis,
    /// Lines of the grid, fainter than everything else.
    Grid,
    /// Words and numbers.
    Text,
    /// Words beside the matter: units, sources.
    Quiet,
    /// The first series.
    Data,
    /// The second series.
    DataAlso,
    /// Limits.
    Limit,
    /// Intervals of uncertainty.
    Interval,
    /// What needs attention.
    Warn,
}

impl Ink {
    /// Every role.
    pub const ALL: [Self; 10] = [
        Self::Ground,
        Self::Axis,
        Self::Grid,
        Self::Text,
        Self::Quiet,
        Self::Data,
        Self::DataAlso,
        Self::Limit,
        Self::Interval,
        Self::Warn,
    ];
}

/// Which end of a text lies at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Its first letter.
    Start,
    /// Its middle.
    Middle,
    /// Its last letter.
    End,
}

/// Which height of a text lies at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Baseline {
    /// The line that letters stand on.
    Alphabetic,
    /// Half the height of a capital.
    Middle,
    /// The top of a capital.
    Top,
}

/// One thing drawn. Later marks lie on top of earlier ones.
#[derive(Clone, Debug, PartialEq)]
pub enum Mark {
    /// An open line through points.
    Line {
        /// At least two.
        points: Vec<Point>,
        /// Its role.
        stroke: Ink,
        /// Width, points.
        width: f64,
        /// Lengths of stroke and gap by turns, points; `None` is solid.
        dash: Option<[f64; 2]>,
    },
    /// A closed area.
    Fill {
        /// Its corners, at least three.
        points: Vec<Point>,
        /// Its role.
        ink: Ink,
        /// Opacity, 0 to 1.
        share: f64,
    },
    /// A filled rectangle.
    Rect {
        /// Its upper left corner.
        at: Point,
        /// Width and height, points.
        size: [f64; 2],
        /// Its role.
        ink: Ink,
        /// Opacity, 0 to 1.
        share: f64,
    },
    /// A circle.
    Circle {
        /// Its centre.
        at: Point,
        /// Radius, points.
        radius: f64,
        /// Its role.
        ink: Ink,
        /// Width of the line of a hollow one, points; `None` is filled.
        hollow: Option<f64>,
    },
    /// Words or a number.
    Text {
        /// Where anchor and baseline meet.
        at: Point,
        /// The text.
        text: String,
        /// Size, points.
        size: f64,
        /// Which end lies there.
        anchor: Anchor,
        /// Which height lies there.
        baseline: Baseline,
        /// Its role.
        ink: Ink,
        /// Whether it is heavy.
        bold: bool,
        /// Whether it is turned by a quarter against the clock about its place, to be read from below upwards.
        turned: bool,
    },
}

/// A chart, drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Width, points.
    pub width: f64,
    /// Height, points.
    pub height: f64,
    /// What it is.
    pub title: String,
    /// What it shows, with its main numbers, for those who cannot see it: one or two sentences.
    pub description: String,
    /// What is drawn, from below upwards. All places are finite.
    pub marks: Vec<Mark>,
}

impl Scene {
    /// An empty scene.
    pub(super) fn new(canvas: &Canvas, title: String, description: String) -> Self {
        let side = |side: f64| if side.is_finite() { side.max(1.0) } else { 1.0 };
        Self { width: side(canvas.width), height: side(canvas.height), title, description, marks: Vec::new() }
    }

    /// Draws a mark; one with a place that is no number is left away.
    pub(super) fn push(&mut self, mark: Mark) {
        if mark.is_finite() {
            self.marks.push(mark);
        }
    }

    pub(super) fn line(&mut self, points: Vec<Point>, stroke: Ink, width: f64, dash: Option<[f64; 2]>) {
        self.push(Mark::Line { points, stroke, width, dash });
    }

    pub(super) fn rect(&mut self, [left, top, right, bottom]: [f64; 4], ink: Ink, share: f64) {
        if right > left && bottom > top {
            self.push(Mark::Rect { at: [left, top], size: [right - left, bottom - top], ink, share });
        }
    }

    /// A line of text of the look's size.
    pub(super) fn text(&mut self, at: Point, text: impl Into<String>, size: f64, (anchor, baseline): (Anchor, Baseline), ink: Ink) {
        self.push(Mark::Text { at, text: text.into(), size, anchor, baseline, ink, bold: false, turned: false });
    }
}

impl Mark {
    /// Whether every number in it is one.
    fn is_finite(&self) -> bool {
        let all = |points: &[Point]| points.iter().flatten().all(|v| v.is_finite());
        match self {
            Self::Line { points, width, dash, .. } => {
                points.len() > 1 && all(points) && width.is_finite() && dash.iter().flatten().all(|d| d.is_finite())
            }
            Self::Fill { points, share, .. } => points.len() > 2 && all(points) && share.is_finite(),
            Self::Rect { at, size, share, .. } => all(&[*at, *size]) && share.is_finite(),
            Self::Circle { at, radius, hollow, .. } => all(&[*at]) && radius.is_finite() && hollow.is_none_or(f64::is_finite),
            Self::Text { at, size, .. } => all(&[*at]) && size.is_finite(),
        }
    }
}
