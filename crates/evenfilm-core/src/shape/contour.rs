//! Level sets of sampled values: area, length and turning of the line on which values pass a threshold.
//!
//! Values stand at pixel centres and are linear along the edges of the squares between four centres, so that the line in each square is
//! a straight piece and every sum is a sum over squares: nothing has to be followed around, and a picture can be traced in strips.

/// Which sides of the window lie on the frame. There the values of the outermost pixels reach on to the frame, half a pixel out.
#[expect(clippy::struct_excessive_bools, reason = "a rectangle has four sides")]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sides {
    /// The window's left side lies on the frame.
    pub left: bool,
    /// The window's right side lies on the frame.
    pub right: bool,
    /// The window's top lies on the frame.
    pub top: bool,
    /// The window's bottom lies on the frame.
    pub bottom: bool,
}

/// Sums over one level set. Positions are in the window: its outer corner is the origin.
#[derive(Clone, Debug, Default)]
pub struct Contour {
    /// Enclosed area, px².
    pub area_px2: f64,
    /// Length of the line, px.
    pub perimeter_px: f64,
    /// Net turning of the line in quarter turns: 4 for each piece, −4 for each hole.
    pub quarter_turns: i64,
    /// Area × centroid (x, y), px³.
    pub moment: [f64; 2],
    /// Ends of the straight pieces (x, y), each once, in no useful order.
    pub points: Vec<[f32; 2]>,
    /// Which values of the rows above and below the squares are inside, and how many corners of each square.
    inside: [Vec<u8>; 3],
}

/// Blur moves an edge of curvature κ by s²κ/2 (s² = variance of the blur), so over a whole line the enclosed area changes by s²/2 × its
/// turning: this much per quarter turn and px² of blur variance.
pub const TURN_TO_AREA: f64 = std::f64::consts::PI / 4.0;

impl Contour {
    /// Enclosed area without the blur of variance `blur2` px².
    pub fn area_without_blur(&self, blur2: f64) -> f64 {
        (self.area_px2 + self.quarter_turns as f64 * TURN_TO_AREA * blur2).max(0.0)
    }

    /// Centroid (x, y) in the window.
    pub fn centroid(&self) -> [f64; 2] {
        let area = self.area_px2.max(f64::MIN_POSITIVE);
        [self.moment[0] / area, self.moment[1] / area]
    }

    /// Adds the sums of the strip that follows.
    pub fn add(&mut self, other: &Self) {
        self.area_px2 += other.area_px2;
        self.perimeter_px += other.perimeter_px;
        self.quarter_turns += other.quarter_turns;
        self.moment[0] += other.moment[0];
        self.moment[1] += other.moment[1];
        self.points.extend_from_slice(&other.points);
    }
}

/// The level set {value > threshold} of a window of `width` columns. `keep_points` keeps the ends of the pieces.
pub fn trace(values: &[f32], width: usize, threshold: f32, sides: Sides, keep_points: bool, out: &mut Contour) {
    *out = Contour { points: std::mem::take(&mut out.points), inside: std::mem::take(&mut out.inside), ..Contour::default() };
    out.points.clear();
    if width == 0 || values.is_empty() {
        return;
    }
    trace_rows(values, (width, 0), threshold, sides, keep_points, out);
}

/// Adds a strip of rows whose first row is row `first` of the window. The strip that follows must begin with this one's last row; `sides.top`
/// and `sides.bottom` hold for the first and last strip only.
pub fn trace_rows(values: &[f32], (width, first): (usize, usize), threshold: f32, sides: Sides, keep_points: bool, out: &mut Contour) {
    let mut rows = values.chunks_exact(width);
    let count = rows.len();
    let Some(top) = rows.next() else { return };
    let centre = |row: usize| (first + row) as f32 + 0.5;
    let mut strip = Strip { threshold, sides, keep_points, out };
    if sides.top {
        strip.between((top, first as f32), (top, centre(0)));
    }
    let mut upper = top;
    for (row, lower) in rows.enumerate() {
        strip.between((upper, centre(row)), (lower, centre(row + 1)));
        upper = lower;
    }
    if sides.bottom {
        strip.between((upper, centre(count - 1)), (upper, (first + count) as f32));
    }
}

struct Strip<'a> {
    threshold: f32,
    sides: Sides,
    keep_points: bool,
    out: &'a mut Contour,
}

impl Strip<'_> {
    /// The squares between two rows of values at heights y.
    fn between(&mut self, (upper, y0): (&[f32], f32), (lower, y1): (&[f32], f32)) {
        let t = self.threshold;
        let last = upper.len() - 1;
        if self.sides.left {
            self.square([upper[0] - t, upper[0] - t, lower[0] - t, lower[0] - t], [0.0, 0.5], [y0, y1]);
        }
        let [above, below, mut corners] = std::mem::take(&mut self.out.inside);
        let (above, below) = (mark_inside(upper, t, above), mark_inside(lower, t, below));
        corners.clear();
        let pairs = above.windows(2).zip(below.windows(2));
        corners.extend(pairs.map(|(a, b)| a[0] + a[1] + b[0] + b[1]));
        // Whole squares inside are gathered and counted once.
        let (mut whole, mut whole_x) = (0u32, 0u64);
        for (x, &inside) in corners.iter().enumerate() {
            if inside == 4 {
                whole += 1;
                whole_x += x as u64 + 1;
            } else if inside > 0 {
                let corner_values = [upper[x] - t, upper[x + 1] - t, lower[x + 1] - t, lower[x] - t];
                self.square(corner_values, [x as f32 + 0.5, x as f32 + 1.5], [y0, y1]);
            }
        }
        self.out.inside = [above, below, corners];
        let (a, d) = (upper[last] - t, lower[last] - t);
        let whole_x = whole_x as f64;
        let height = f64::from(y1 - y0);
        self.out.area_px2 += f64::from(whole) * height;
        self.out.moment[0] += whole_x * height;
        self.out.moment[1] += f64::from(whole) * height * f64::from(y0 + y1) * 0.5;
        if self.sides.right {
            self.square([a, a, d, d], [last as f32 + 0.5, last as f32 + 1.0], [y0, y1]);
        }
    }

    /// One square with values at its corners (clockwise from the top left) less the threshold.
    fn square(&mut self, v: [f32; 4], [x0, x1]: [f32; 2], [y0, y1]: [f32; 2]) {
        let square = Square { v, at: [[x0, y0], [x1, y0], [x1, y1], [x0, y1]] };
        let inside = v.map(|v| v > 0.0);
        let odd = |wanted: bool| inside.iter().position(|&i| i == wanted).unwrap_or(0);
        let (share, turns) = match inside.iter().filter(|&&i| i).count() {
            0 => return,
            1 => (self.corner(&square, odd(true), true), 1),
            3 => (1.0 - self.corner(&square, odd(false), false), -1),
            4 => (1.0, 0),
            _ if inside[0] == inside[2] => {
                // Two opposite corners: joined where the middle of the square is inside.
                let joined = v.iter().sum::<f32>() > 0.0;
                let first = odd(!joined);
                let cut = self.corner(&square, first, !joined) + self.corner(&square, first + 2, !joined);
                if joined { (1.0 - cut, -2) } else { (cut, 2) }
            }
            _ => {
                let first = (0..4).find(|&i| inside[i] && inside[(i + 1) % 4]).unwrap_or(0);
                let (far, near) = (square.crossing((first + 1) % 4, (first + 2) % 4), square.crossing(first, (first + 3) % 4));
                self.line(far.1, near.1);
                ((far.0 + near.0) * 0.5, 0)
            }
        };
        let area = f64::from(share) * f64::from(x1 - x0) * f64::from(y1 - y0);
        self.out.area_px2 += area;
        self.out.moment[0] += area * f64::from(x0 + x1) * 0.5;
        self.out.moment[1] += area * f64::from(y0 + y1) * 0.5;
        self.out.quarter_turns += turns;
    }

    /// Share of the square that the triangle at this corner takes; its long side is a piece of the line.
    fn corner(&mut self, square: &Square, i: usize, inside: bool) -> f32 {
        let (next, previous) = (square.crossing(i, (i + 1) % 4), square.crossing(i, (i + 3) % 4));
        let (from, to) = if inside { (next.1, previous.1) } else { (previous.1, next.1) };
        self.line(from, to);
        next.0 * previous.0 * 0.5
    }

    /// A piece of the line, with the inside always on the same hand, so that each end of a closed line is the beginning of one piece.
    fn line(&mut self, from: [f32; 2], to: [f32; 2]) {
        let (dx, dy) = (f64::from(from[0] - to[0]), f64::from(from[1] - to[1]));
        self.out.perimeter_px += (dx * dx + dy * dy).sqrt();
        if self.keep_points {
            self.out.points.push(from);
        }
    }
}

/// One for each value above the threshold, in a buffer used before.
fn mark_inside(values: &[f32], threshold: f32, mut out: Vec<u8>) -> Vec<u8> {
    out.clear();
    // The same test as that of the corners: a difference can round to 0 only where the values are equal.
    out.extend(values.iter().map(|&v| u8::from(v - threshold > 0.0)));
    out
}

struct Square {
    v: [f32; 4],
    at: [[f32; 2]; 4],
}

impl Square {
    /// Where the line crosses the edge from corner i to corner j: the share of the edge, and the place.
    fn crossing(&self, i: usize, j: usize) -> (f32, [f32; 2]) {
        let share = self.v[i] / (self.v[i] - self.v[j]);
        let ([xi, yi], [xj, yj]) = (self.at[i], self.at[j]);
        (share, [xi + (xj - xi) * share, yi + (yj - yi) * share])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn traced(rows: &[&[f32]], threshold: f32, sides: Sides) -> Contour {
        let mut out = Contour::default();
        trace(&rows.concat(), rows[0].len(), threshold, sides, true, &mut out);
        out
    }

    #[test]
    fn a_cone_of_values_gives_a_circle() {
        // Closed form: values fall by 1 per pixel from the centre, so the line at R − r = 0 is a circle; linear reading cuts it by a chord.
        let (n, radius) = (41usize, 14.3f32);
        let values: Vec<f32> = (0..n * n)
            .map(|i| {
                let (x, y) = ((i % n) as f32 + 0.5 - 20.4, (i / n) as f32 + 0.5 - 20.6);
                radius - (x * x + y * y).sqrt()
            })
            .collect();
        let mut out = Contour::default();
        trace(&values, n, 0.0, Sides::default(), true, &mut out);
        let area = std::f64::consts::PI * f64::from(radius * radius);
        assert!((out.area_px2 / area - 1.0).abs() < 2e-3, "{}", out.area_px2);
        assert!((out.perimeter_px / (2.0 * std::f64::consts::PI * f64::from(radius)) - 1.0).abs() < 2e-3);
        assert_eq!(out.quarter_turns, 4);
        assert!((out.centroid()[0] - 20.4).abs() < 0.01 && (out.centroid()[1] - 20.6).abs() < 0.01);
    }

    #[test]
    fn turning_counts_pieces_less_holes() {
        let ring: Vec<&[f32]> = vec![&[-1.; 5], &[-1., 1., 1., 1., -1.], &[-1., 1., -1., 1., -1.], &[-1., 1., 1., 1., -1.], &[-1.; 5]];
        assert_eq!(traced(&ring, 0.0, Sides::default()).quarter_turns, 0);
        let two: Vec<&[f32]> = vec![&[-1.; 5], &[-1., 1., -1., -1., -1.], &[-1., -1., -2., 1., -1.], &[-1.; 5]];
        assert_eq!(traced(&two, 0.0, Sides::default()).quarter_turns, 8);
    }

    #[test]
    fn the_whole_frame_counts_to_its_sides() {
        let all = Sides { left: true, right: true, top: true, bottom: true };
        let full: Vec<&[f32]> = vec![&[1.; 7]; 3];
        let contour = traced(&full, 0.0, all);
        assert!((contour.area_px2 - 21.0).abs() < 1e-9 && contour.points.is_empty());
        let half: Vec<&[f32]> = vec![&[1., 1., 1., -1., -1., -1.]; 4];
        let contour = traced(&half, 0.0, all);
        assert!((contour.area_px2 - 12.0).abs() < 1e-6 && (contour.perimeter_px - 4.0).abs() < 1e-6);
        assert_eq!(contour.quarter_turns, 0);
    }

    #[test]
    fn strips_add_up_to_the_whole() {
        let n = 32usize;
        let values: Vec<f32> = (0..n * n).map(|i| ((i * 7919 % 104_729) % 211) as f32 - 150.0).collect();
        let mut whole = Contour::default();
        trace(&values, n, 0.0, Sides { top: true, bottom: true, ..Sides::default() }, false, &mut whole);
        let mut parts = Contour::default();
        trace_rows(&values[..n * 11], (n, 0), 0.0, Sides { top: true, ..Sides::default() }, false, &mut parts);
        trace_rows(&values[n * 10..], (n, 10), 0.0, Sides { bottom: true, ..Sides::default() }, false, &mut parts);
        assert!((whole.area_px2 - parts.area_px2).abs() < 1e-9 && (whole.perimeter_px - parts.perimeter_px).abs() < 1e-9);
        assert_eq!(whole.quarter_turns, parts.quarter_turns);
    }
}
