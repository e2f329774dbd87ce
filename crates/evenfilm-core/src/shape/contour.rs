//! Level sets of sampled values: area, length and turning of the line on which values pass a threshold.
//!
//! Values stand at pixel centres and are linear along the edges of the squares between four centres, so that the line in each square is
//! a straight piece and every sum is a sum over squares: nothing has to be followed around, and a picture can be traced in strips.

use wide::f32x4;

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

/// The level set {value > threshold} of a window of `width` columns: its area and turning; with `line` also the line's length, the area's
/// moment and the ends of the pieces.
pub fn trace(values: &[f32], width: usize, threshold: f32, sides: Sides, line: bool, out: &mut Contour) {
    *out = Contour { points: std::mem::take(&mut out.points), ..Contour::default() };
    out.points.clear();
    if width == 0 || values.is_empty() {
        return;
    }
    trace_rows(values, (width, 0), threshold, sides, line, out);
}

/// Adds a strip of rows whose first row is row `first` of the window. The strip that follows must begin with this one's last row; `sides.top`
/// and `sides.bottom` hold for the first and last strip only.
pub fn trace_rows(values: &[f32], place: (usize, usize), threshold: f32, sides: Sides, line: bool, out: &mut Contour) {
    if line {
        Strip::<true> { threshold, sides, out }.trace(values, place);
    } else {
        Strip::<false> { threshold, sides, out }.trace(values, place);
    }
}

/// A strip that is traced, with or without its line.
struct Strip<'a, const LINE: bool> {
    threshold: f32,
    sides: Sides,
    out: &'a mut Contour,
}

/// One row of values: which of them are inside, and where it lies.
#[derive(Clone, Copy)]
struct Row<'a> {
    values: &'a [f32],
    inside: &'a [u64],
    y: f32,
}

/// Bits of a word.
const WORD: usize = u64::BITS as usize;

impl<const LINE: bool> Strip<'_, LINE> {
    fn trace(&mut self, values: &[f32], (width, first): (usize, usize)) {
        if width <= WORD {
            self.trace_between(values, (width, first), [&mut [0], &mut [0]]);
        } else {
            let words = width.div_ceil(WORD);
            self.trace_between(values, (width, first), [&mut vec![0; words], &mut vec![0; words]]);
        }
    }

    /// The same; the words are to say which values of two rows are inside, a bit each.
    #[inline]
    fn trace_between(&mut self, values: &[f32], (width, first): (usize, usize), words: [&mut [u64]; 2]) {
        let [mut above, mut below] = words;
        let centre = |row: usize| (first + row) as f32 + 0.5;
        let mut rows = values.chunks_exact(width).enumerate();
        let Some((_, mut last)) = rows.next() else { return };
        mark_inside(last, self.threshold, above);
        let top = Row { values: last, inside: above, y: centre(0) };
        if self.sides.top {
            self.between(Row { y: first as f32, ..top }, top);
        }
        for (k, row) in rows {
            mark_inside(row, self.threshold, below);
            // Nothing inside either row, and nothing passes between them.
            if above.iter().zip(&*below).any(|(above, below)| above | below != 0) {
                self.between(Row { values: last, inside: above, y: centre(k - 1) }, Row { values: row, inside: below, y: centre(k) });
            }
            std::mem::swap(&mut above, &mut below);
            last = row;
        }
        if self.sides.bottom {
            let count = values.len() / width;
            let last = Row { values: last, inside: above, y: centre(count - 1) };
            self.between(last, Row { y: (first + count) as f32, ..last });
        }
    }

    /// The squares between two rows of values.
    fn between(&mut self, upper: Row<'_>, lower: Row<'_>) {
        let t = self.threshold;
        let last = upper.values.len() - 1;
        let ys = [upper.y, lower.y];
        let (a, d) = (upper.values, lower.values);
        let mut pen = Pen::<LINE> { sums: Sums::default(), points: &mut self.out.points };
        if self.sides.left {
            pen.square([a[0] - t, a[0] - t, d[0] - t, d[0] - t], (0.0, 0.5), ys);
        }
        // Whole squares inside are gathered and counted once.
        let (mut whole, mut whole_x) = (0u64, 0u64);
        for k in 0..upper.inside.len() {
            let start = k * WORD;
            let both = |of: &[u64]| [of[k], of[k] >> 1 | of.get(k + 1).map_or(0, |next| next << (WORD - 1))];
            let ([a0, a1], [b0, b1]) = (both(upper.inside), both(lower.inside));
            let squares = last.saturating_sub(start).min(WORD);
            let there = if squares == WORD { u64::MAX } else { (1 << squares) - 1 };
            let mut filled = a0 & a1 & b0 & b1 & there;
            let mut passed = (a0 | a1 | b0 | b1) & there & !filled;
            while passed != 0 {
                let x = start + passed.trailing_zeros() as usize;
                passed &= passed - 1;
                let (a, d) = (&a[x..x + 2], &d[x..x + 2]);
                pen.square([a[0] - t, a[1] - t, d[1] - t, d[0] - t], (x as f32 + 0.5, 1.0), ys);
            }
            while filled != 0 {
                let from = filled.trailing_zeros();
                let length = (!(filled >> from)).trailing_zeros();
                filled &= !(u64::MAX >> (u64::BITS - length) << from);
                let (from, length) = (start as u64 + u64::from(from), u64::from(length));
                whole += length;
                whole_x += length * (from + 1) + length * (length - 1) / 2;
            }
        }
        let height = f64::from(ys[1] - ys[0]);
        pen.add(whole as f64 * height, [whole_x as f64 * height, whole as f64 * height * f64::from(ys[0] + ys[1]) * 0.5]);
        if self.sides.right {
            let (a, d) = (a[last] - t, d[last] - t);
            pen.square([a, a, d, d], (last as f32 + 0.5, 0.5), ys);
        }
        let Sums { area_px2, moment, perimeter_px, quarter_turns } = pen.sums;
        self.out.area_px2 += area_px2;
        self.out.quarter_turns += quarter_turns;
        self.out.perimeter_px += perimeter_px;
        self.out.moment[0] += moment[0];
        self.out.moment[1] += moment[1];
    }
}

/// Sums over one row of squares.
#[derive(Default)]
struct Sums {
    area_px2: f64,
    moment: [f64; 2],
    perimeter_px: f64,
    quarter_turns: i64,
}

/// Draws the squares of one row.
struct Pen<'a, const LINE: bool> {
    sums: Sums,
    points: &'a mut Vec<[f32; 2]>,
}

impl<const LINE: bool> Pen<'_, LINE> {
    /// Adds an area and its moment.
    #[inline]
    fn add(&mut self, area_px2: f64, moment: [f64; 2]) {
        self.sums.area_px2 += area_px2;
        if LINE {
            self.sums.moment[0] += moment[0];
            self.sums.moment[1] += moment[1];
        }
    }

    /// One square with values at its corners (clockwise from the top left) less the threshold: its left side and width, and the heights of its
    /// top and bottom. Which way the line goes is looked up: branches on it would be guesses.
    #[inline]
    fn square(&mut self, v: [f32; 4], (x, width): (f32, f32), [y0, y1]: [f32; 2]) {
        let square = Square { v, corner: [x, y0], size: [width, y1 - y0] };
        let inside = f32x4::from(v).simd_gt(f32x4::ZERO).to_bitmask();
        let (share, turns) = match inside {
            0b0000 => return,
            0b1111 => (1.0, 0),
            0b0101 => self.opposite(&square, 0),
            0b1010 => self.opposite(&square, 1),
            _ => self.cut(&square, &PIECES[inside as usize & 15]),
        };
        let [width, height] = square.size.map(f64::from);
        let area = f64::from(share) * width * height;
        self.add(area, [area * f64::from(x + (x + square.size[0])) * 0.5, area * f64::from(y0 + y1) * 0.5]);
        self.sums.quarter_turns += turns;
    }

    /// Draws a piece of the line; gives the share of the square inside and the turning.
    #[inline]
    fn cut(&mut self, square: &Square, piece: &Piece) -> (f32, i64) {
        let [(first, from), (second, to)] = [square.crossing(&piece.ends[0]), square.crossing(&piece.ends[1])];
        self.line(from, to);
        let [whole, triangle, strip] = piece.inside;
        // No choice between the two, or it becomes a branch.
        (whole + triangle * (first * second) + strip * (first + second), piece.turns)
    }

    /// The square where corners i and i + 2 are inside: they are joined where its middle is inside.
    #[cold]
    fn opposite(&mut self, square: &Square, i: usize) -> (f32, i64) {
        if square.v.iter().sum::<f32>() > 0.0 {
            let [one, other] = [1 - i, 3 - i].map(|i| self.cut(square, &Piece { inside: TRIANGLE, ..corner(i, false) }).0);
            (1.0 - (one + other), -2)
        } else {
            let [one, other] = [i, i + 2].map(|i| self.cut(square, &corner(i, true)).0);
            (one + other, 2)
        }
    }

    /// A piece of the line, with the inside always on the same hand, so that each end of a closed line is the beginning of one piece.
    #[inline]
    fn line(&mut self, from: [f32; 2], to: [f32; 2]) {
        if LINE {
            let (dx, dy) = (f64::from(from[0] - to[0]), f64::from(from[1] - to[1]));
            self.sums.perimeter_px += (dx * dx + dy * dy).sqrt();
            self.points.push(from);
        }
    }
}

/// A piece of the line through a square.
struct Piece {
    /// The edges that it crosses: where it begins and where it ends.
    ends: [Way; 2],
    /// The share of the square inside: this much, so much of the product of the crossings' shares, and so much of their sum.
    inside: [f32; 3],
    /// Quarter turns of the line.
    turns: i64,
}

/// What a corner cut off takes, and what two do.
const TRIANGLE: [f32; 3] = [0.0, 0.5, 0.0];
const STRIP: [f32; 3] = [0.0, 0.0, 0.5];

/// An edge of a square, from a corner inside to one outside or the other way round.
struct Way {
    from: usize,
    to: usize,
    /// Its beginning and its direction; the square's width and height are the units.
    begin: [f32; 2],
    along: [f32; 2],
}

const fn way(from: usize, to: usize) -> Way {
    // Clockwise from the top left.
    const PLACES: [[i8; 2]; 4] = [[0, 0], [1, 0], [1, 1], [0, 1]];
    let (here, there) = (PLACES[from % 4], PLACES[to % 4]);
    let along = [(there[0] - here[0]) as f32, (there[1] - here[1]) as f32];
    Way { from: from % 4, to: to % 4, begin: [here[0] as f32, here[1] as f32], along }
}

/// The piece that cuts corner i off; its long side is the line.
const fn corner(i: usize, inside: bool) -> Piece {
    let (next, previous) = (way(i, i + 1), way(i, i + 3));
    if inside {
        Piece { ends: [next, previous], inside: TRIANGLE, turns: 1 }
    } else {
        Piece { ends: [previous, next], inside: [1.0, -0.5, 0.0], turns: -1 }
    }
}

/// The piece that cuts off corners i and i + 1, which are inside.
const fn side(i: usize) -> Piece {
    Piece { ends: [way(i + 1, i + 2), way(i, i + 3)], inside: STRIP, turns: 0 }
}

/// The piece for each set of corners inside, corner i being bit i. Where none is, all are, or only opposite ones, the entry is not used.
static PIECES: [Piece; 16] = [
    corner(0, true),
    corner(0, true),
    corner(1, true),
    side(0),
    corner(2, true),
    corner(0, true),
    side(1),
    corner(3, false),
    corner(3, true),
    side(3),
    corner(1, true),
    corner(2, false),
    side(2),
    corner(1, false),
    corner(0, false),
    corner(0, true),
];

/// A bit for each value above the threshold. The corners of squares are tested as differences: one can round to 0 only where the values are
/// equal.
fn mark_inside(values: &[f32], threshold: f32, out: &mut [u64]) {
    /// Values looked at together.
    const SOME: usize = 4;
    for (values, out) in values.chunks(WORD).zip(out) {
        let (fours, rest) = values.as_chunks::<SOME>();
        // From the last to the first, so that a word is moved by the same each time.
        let rest = rest.iter().rev().fold(0, |word, &value| word << 1 | u64::from(value > threshold));
        let above = |four: &[f32; SOME]| u64::from(f32x4::from(*four).simd_gt(f32x4::splat(threshold)).to_bitmask());
        *out = fours.iter().rev().fold(rest, |word, four| word << SOME | above(four));
    }
}

struct Square {
    /// Values at the corners, clockwise from the top left.
    v: [f32; 4],
    /// Left side and top.
    corner: [f32; 2],
    /// Width and height.
    size: [f32; 2],
}

impl Square {
    /// Where the line crosses an edge: the share of the edge, and the place.
    #[inline]
    fn crossing(&self, way: &Way) -> (f32, [f32; 2]) {
        let [from, to] = [way.from, way.to].map(|corner| self.v[corner & 3]);
        let share = from / (from - to);
        let place = |k: usize| self.corner[k] + way.begin[k] * self.size[k] + way.along[k] * self.size[k] * share;
        (share, [place(0), place(1)])
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
        trace(&values, n, 0.0, Sides { top: true, bottom: true, ..Sides::default() }, true, &mut whole);
        let mut parts = Contour::default();
        trace_rows(&values[..n * 11], (n, 0), 0.0, Sides { top: true, ..Sides::default() }, true, &mut parts);
        trace_rows(&values[n * 10..], (n, 10), 0.0, Sides { bottom: true, ..Sides::default() }, true, &mut parts);
        assert!((whole.area_px2 - parts.area_px2).abs() < 1e-9 && (whole.perimeter_px - parts.perimeter_px).abs() < 1e-9);
        assert_eq!(whole.quarter_turns, parts.quarter_turns);
    }
}
