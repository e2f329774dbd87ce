//! The distribution of the diameters of objects.

use std::fmt::Write as _;

use evenfilm_core::field::FieldResult;
use evenfilm_core::quantity::Pool;
use evenfilm_core::recipe::{AgglomerateRule, Recipe};
use evenfilm_core::sizes::{Sized, quantile};

use super::RestsOn;
use super::axis::Axis;
use super::bins::{self, Bin};
use super::frame::Frame;
use super::limit_lines::LimitLine;
use super::pen::Pen;
use super::rests_on::OBJECTS;
use super::scene::{Anchor, Baseline, Canvas, Ink, Mark, Point, Scene};
use super::words;
use crate::lot::Judgement;

/// The diameters of the objects that count.
#[derive(Clone, Debug, PartialEq)]
pub struct SizeData {
    /// Diameters in µm and frame weights of the objects that lie whole in the frame, smallest first.
    pub sizes: Vec<Sized>,
    /// What they rest on; objects that the frame cuts count here and have no size.
    pub rests_on: RestsOn,
    /// Smallest diameter counted, µm.
    pub from_um: Option<f64>,
    /// The diameter from which the recipe calls an object an agglomerate, µm; `None` where its rule does not go by size.
    pub agglomerate_um: Option<f64>,
    /// Limits; those on x10, x50 and x90 are drawn.
    pub limits: Vec<LimitLine>,
}

impl SizeData {
    /// The objects of the fields that count in a lot.
    pub fn of(fields: &[&FieldResult], recipe: &Recipe) -> Self {
        let pool = Pool::new(fields, 1, 0, recipe);
        let rule = &recipe.agglomerates;
        Self {
            sizes: pool.sizes().to_vec(),
            rests_on: RestsOn { things: pool.objects(), fields: fields.len() },
            from_um: fields.iter().map(|field| field.counted_from_um[0]).max_by(f64::total_cmp),
            agglomerate_um: (rule.rule != AgglomerateRule::Constituents).then_some(rule.min_diameter_um),
            limits: Vec::new(),
        }
    }

    /// The same with the limits that the lot was judged by.
    #[must_use]
    pub fn with_limits(self, judgement: &Judgement) -> Self {
        Self { limits: LimitLine::of(judgement), ..self }
    }
}

/// What an object counts for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SizesBy {
    /// For one.
    #[default]
    Number,
    /// For its volume.
    Volume,
}

/// Which curves are drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Curves {
    /// Density as steps, the share below a diameter as a line over it.
    #[default]
    Both,
    /// Density alone.
    Density,
    /// The share below a diameter alone.
    Cumulative,
}

/// How a distribution is drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SizeOptions {
    /// The plane.
    pub canvas: Canvas,
    /// What an object counts for.
    pub by: SizesBy,
    /// Which curves are drawn.
    pub curves: Curves,
}

/// The quantiles that are marked: share, and what they are called.
const QUANTILES: [(f64, &str); 3] = [(0.1, "x10"), (0.5, "x50"), (0.9, "x90")];

/// A limit or diameter further off than this factor does not widen the axis; it is named at the side.
const NEAR: f64 = 4.0;

/// Opacity of the steps of the density.
pub(super) const DENSITY: f64 = 0.28;

impl SizesBy {
    /// Power of the diameter that an object counts with.
    const fn power(self) -> i32 {
        match self {
            Self::Number => 0,
            Self::Volume => 3,
        }
    }

    const fn words(self) -> &'static str {
        match self {
            Self::Number => "by number",
            Self::Volume => "by volume",
        }
    }
}

/// Density of a distribution in its bins: share ÷ width in decades, q\*r(lg x) of ISO 9276-1:1998 (density on a logarithmic abscissa), with
/// its bin. The bins are those of [`Bin`]; shares sum to 1.
pub fn density(data: &SizeData, by: SizesBy) -> Vec<(Bin, f64)> {
    let amount = |size: &Sized| size.weight * size.diameter.powi(by.power());
    let total: f64 = data.sizes.iter().map(amount).sum();
    let sized: Vec<Sized> = data.sizes.iter().map(|size| Sized { weight: amount(size) / total, ..*size }).collect();
    let per_decade = bins::per_decade(sized.iter().map(|size| size.weight));
    bins::bins(&sized, data.from_um, per_decade).into_iter().map(|bin| (bin, bin.amount / bin.decades())).collect()
}

/// A drawing of a distribution and what it is made from.
struct Drawing<'a> {
    data: &'a SizeData,
    options: &'a SizeOptions,
    /// x10, x50, x90.
    quantiles: [Option<f64>; 3],
    pen: Pen,
}

/// Draws a distribution of diameters: density as steps against the left axis, the share below each diameter as a line against the right one,
/// x10, x50 and x90 on it, what lies below the smallest diameter counted shaded, limits on those quantiles, and the diameter from which
/// objects are agglomerates.
pub fn size_distribution(data: &SizeData, options: &SizeOptions) -> Scene {
    let quantiles = QUANTILES.map(|(share, _)| quantile(&data.sizes, options.by.power(), share));
    let title = format!("Sizes of objects, {}", options.by.words());
    let pen = Pen::new(&options.canvas, title, described(data, options, quantiles));
    let mut drawing = Drawing { data, options, quantiles, pen };
    drawing.draw();
    drawing.pen.done()
}

fn described(data: &SizeData, options: &SizeOptions, quantiles: [Option<f64>; 3]) -> String {
    let from = data.from_um.map_or_else(String::new, |from| format!(" of at least {}", words::with_unit(from, "µm")));
    let [Some(x10), Some(x50), Some(x90)] = quantiles else {
        return format!("No object{from} has a size: {}.", data.rests_on.words(OBJECTS));
    };
    let [x10, x50, x90] = [x10, x50, x90].map(words::short);
    let mut text = format!(
        "Diameters {}, objects{from}: x10 {x10} µm, x50 {x50} µm, x90 {x90} µm, from {}.",
        options.by.words(),
        data.rests_on.words(OBJECTS)
    );
    let limits: Vec<String> = limits_of(data, options.by)
        .filter_map(|(name, limit)| Some(format!("{name} {}", words::limits(limit.min, limit.max, "µm")?)))
        .collect();
    if !limits.is_empty() {
        let _ = write!(text, " Limits: {}.", limits.join(", "));
    }
    text
}

/// The limits on the quantiles that are drawn, with the quantiles' names.
fn limits_of(data: &SizeData, by: SizesBy) -> impl Iterator<Item = (&'static str, &LimitLine)> {
    let of = move |limit| {
        let limit: &LimitLine = limit;
        let (_, name) = QUANTILES.iter().find(|(_, name)| limit.quantity == format!("{name}_{}_um", by.power()))?;
        Some((*name, limit))
    };
    data.limits.iter().filter_map(of)
}

impl Drawing<'_> {
    fn draw(&mut self) {
        let (data, curves) = (self.data, self.options.curves);
        let steps = density(data, self.options.by);
        let most = steps.iter().map(|(_, density)| *density).fold(0.0, f64::max);
        let (top, bottom) = (3.3, 3.1);
        let height = self.options.canvas.height - (top + bottom) * self.pen.points;
        let named = self.named_lines();
        let air = self.pen.headroom(height, named.len());
        let shares = Axis::linear([0.0, 100.0 * air]);
        let densities = Axis::linear([0.0, if most > 0.0 { 104.0 * most * air } else { 100.0 }]);
        let left = if curves == Curves::Cumulative { shares } else { densities };
        let beside =
            [1.9 + self.pen.beside(&left, height), if curves == Curves::Both { 2.4 + self.pen.beside(&shares, height) } else { 0.9 }];
        let frame = Frame::within(&self.options.canvas, [beside[0], top, beside[1], bottom], self.diameters(&steps), left);
        self.pen.not_counted(&frame, data.from_um);
        let name = if curves == Curves::Cumulative { "share below, %" } else { "density, % per decade" };
        self.pen.axis_left(&frame, name);
        if curves != Curves::Cumulative {
            self.steps(&frame, &steps);
        }
        let of_shares = Frame { y: shares, ..frame };
        if curves != Curves::Density {
            self.shares(&of_shares);
        }
        if curves == Curves::Both {
            self.pen.axis_right(&frame, &shares, "share below, %");
        }
        self.pen.axis_below(&frame, "diameter, µm");
        self.quantile_marks(&of_shares);
        self.pen.upright_lines(&frame, &named);
        self.quantile_names(&of_shares);
        self.head(&frame);
        if data.sizes.is_empty() {
            self.pen.say(&frame, "no object counted");
        }
    }

    /// The axis of diameters: all that was seen, the smallest counted, and what lies near.
    fn diameters(&self, steps: &[(Bin, f64)]) -> Axis {
        let seen = steps.first().zip(steps.last()).map(|(first, last)| [first.0.from, last.0.to]);
        let from = self.data.from_um.filter(|from| *from > 0.0);
        let [mut low, mut high] = seen.unwrap_or_else(|| from.map_or([1.0, 10.0], |from| [from, 10.0 * from]));
        let near = [low / NEAR, high * NEAR];
        let limits = limits_of(self.data, self.options.by).flat_map(|(_, limit)| [limit.min, limit.max]);
        for value in limits.chain([self.data.agglomerate_um, from]).flatten().filter(|value| near[0] <= *value && *value <= near[1]) {
            [low, high] = [low.min(value), high.max(value)];
        }
        Axis::log([low / 1.3, high * 1.12])
    }

    fn steps(&mut self, frame: &Frame, steps: &[(Bin, f64)]) {
        let (Some(first), Some(last)) = (steps.first(), steps.last()) else { return };
        let mut outline = vec![[frame.x_of(first.0.from), frame.bottom]];
        for (bin, density) in steps {
            let y = frame.y_of(100.0 * density);
            outline.extend([[frame.x_of(bin.from), y], [frame.x_of(bin.to), y]]);
        }
        outline.push([frame.x_of(last.0.to), frame.bottom]);
        self.pen.scene.push(Mark::Fill { points: outline.clone(), ink: Ink::Data, share: DENSITY });
        let width = self.pen.fine();
        self.pen.line(outline, Ink::Data, width, None);
    }

    /// The share below each diameter, as steps; at most two places for each half point of the axis.
    fn shares(&mut self, frame: &Frame) {
        let amount = |size: &Sized| size.weight * size.diameter.powi(self.options.by.power());
        let total: f64 = self.data.sizes.iter().map(amount).sum();
        // Nothing is known of what lies below the smallest diameter counted.
        let from = self.data.from_um.filter(|from| frame.x.holds(*from)).map_or(frame.left, |from| frame.x_of(from));
        let mut line = vec![[from, frame.bottom]];
        let mut below = 0.0;
        let mut y = frame.bottom;
        for size in &self.data.sizes {
            below += amount(size);
            let x = frame.x_of(size.diameter);
            let above = frame.y_of(100.0 * below / total);
            match line.last_mut() {
                Some(last) if line_is_near(*last, x) => last[1] = above,
                _ => line.extend([[x, y], [x, above]]),
            }
            y = above;
        }
        if self.data.sizes.is_empty() {
            return;
        }
        line.push([frame.right, y]);
        for pair in line.windows(2) {
            self.pen.keep_clear(pair[0], pair[1]);
        }
        let width = self.pen.strong();
        self.pen.line(line, Ink::DataAlso, width, None);
    }

    fn quantile_marks(&mut self, frame: &Frame) {
        let (p, fine) = (self.pen.points, self.pen.fine());
        for ((share, _), x) in QUANTILES.iter().zip(self.quantiles) {
            let Some(x) = x.map(|x| frame.x_of(x)) else { continue };
            let y = if self.options.curves == Curves::Density { frame.y_of(100.0) } else { frame.y_of(100.0 * share) };
            self.pen.line(vec![[x, frame.bottom], [x, y]], Ink::DataAlso, fine, Some([0.12 * p, 0.25 * p]));
            if self.options.curves != Curves::Density {
                let radius = 0.32 * p;
                self.pen.scene.push(Mark::Circle { at: [x, y], radius, ink: Ink::DataAlso, hollow: Some(0.14 * p) });
                self.pen.take([x - radius, y - radius, x + radius, y + radius]);
            }
        }
    }

    fn quantile_names(&mut self, frame: &Frame) {
        let p = self.pen.points;
        for ((share, name), x) in QUANTILES.iter().zip(self.quantiles) {
            let Some(x) = x.map(|x| frame.x_of(x)) else { continue };
            let y = if self.options.curves == Curves::Density { frame.y_of(100.0) + 0.6 * p } else { frame.y_of(100.0 * share) };
            let spots =
                [(0.7, 0.0), (0.7, 0.75), (-0.7, -0.75), (-0.7, 0.0), (0.7, -0.9), (-0.7, 0.9), (0.4, 1.6), (-0.4, -1.6), (0.4, 2.6)];
            let spot = |(dx, dy): (f64, f64)| {
                let anchor = if dx > 0.0 { Anchor::Start } else { Anchor::End };
                ([x + dx * p, y + dy * p], anchor, Baseline::Middle)
            };
            self.pen.try_small(&spots.map(spot), name, Ink::Text);
        }
    }

    /// Limits and the diameter of agglomerates.
    fn named_lines(&self) -> Vec<(f64, String, Ink)> {
        let mut lines = Vec::new();
        for (name, limit) in limits_of(self.data, self.options.by) {
            lines.extend(limit.min.map(|min| (min, format!("{name} ≥ {} µm", words::short(min)), Ink::Limit)));
            lines.extend(limit.max.map(|max| (max, format!("{name} ≤ {} µm", words::short(max)), Ink::Limit)));
        }
        lines.extend(self.data.agglomerate_um.map(|um| (um, format!("agglomerate ≥ {} µm", words::short(um)), Ink::Quiet)));
        lines
    }

    /// The key, and in words what the numbers are and rest on.
    fn head(&mut self, frame: &Frame) {
        let p = self.pen.points;
        let mut x = frame.left;
        if self.options.curves != Curves::Cumulative {
            self.pen.scene.rect([x, 0.45 * p, x + 1.4 * p, 1.1 * p], Ink::Data, DENSITY);
            let fine = self.pen.fine();
            let corners = vec![[x, 1.1 * p], [x, 0.45 * p], [x + 1.4 * p, 0.45 * p], [x + 1.4 * p, 1.1 * p], [x, 1.1 * p]];
            self.pen.line(corners, Ink::Data, fine, None);
            x = self.pen.named(x + 1.8 * p, 0.45 * p, "density");
        }
        if self.options.curves != Curves::Density {
            let strong = self.pen.strong();
            self.pen.line(vec![[x, 0.78 * p], [x + 1.4 * p, 0.78 * p]], Ink::DataAlso, strong, None);
            x = self.pen.named(x + 1.8 * p, 0.45 * p, "share below");
        }
        let end = self.pen.scene.width - 0.6 * p;
        let by = self.options.by.words();
        let rests_on = self.data.rests_on.words(OBJECTS);
        let from = self.data.from_um.map_or_else(String::new, |from| format!(", ≥ {} µm", words::short(from)));
        let source = [format!("{by}, {rests_on}{from}"), format!("{rests_on}{from}"), rests_on];
        let [Some(x10), Some(x50), Some(x90)] = self.quantiles else {
            return self.pen.row(frame.left, 1.85 * p, end - frame.left, &source);
        };
        let [x10, x50, x90] = [x10, x50, x90].map(words::short);
        let numbers = format!("x10 {x10} · x50 {x50} · x90 {x90} µm");
        if x + self.pen.width(&source[0]) <= end {
            self.pen.row(x, 0.45 * p, end - x, &source);
            self.pen.row(frame.left, 1.85 * p, end - frame.left, &[numbers]);
        } else {
            let all = source.iter().map(|source| format!("{numbers} · {source}")).chain([numbers.clone()]).collect::<Vec<_>>();
            self.pen.row(frame.left, 1.85 * p, end - frame.left, &all);
        }
    }
}

/// Whether a place lies within half a point of the end of a line, so that it needs no corner of its own.
fn line_is_near(last: Point, x: f64) -> bool {
    x - last[0] < 0.5
}
