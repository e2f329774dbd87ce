//! Gaps by their diameter.

use std::fmt::Write as _;

use evenfilm_core::field::FieldResult;
use evenfilm_core::quantity::gap_counted;
use evenfilm_core::recipe::Recipe;
use evenfilm_core::sizes::Sized;
use evenfilm_core::statistics::rare::most_where_none;

use super::RestsOn;
use super::axis::Axis;
use super::bins::{self, Bin};
use super::frame::Frame;
use super::limit_lines::LimitLine;
use super::pen::Pen;
use super::rests_on::GAPS;
use super::scene::{Anchor, Baseline, Canvas, Ink, Mark, Scene};
use super::words;
use crate::lot::Judgement;

/// One gap that counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GapSeen {
    /// Area-equivalent diameter, µm.
    pub diameter_um: f64,
    /// Diameter of the largest circle inside it, µm.
    pub circle_um: f64,
    /// Area, µm².
    pub area_um2: f64,
}

/// The gaps of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct GapsData {
    /// Gaps that count; `None` where bare places cannot be told from film.
    pub gaps: Option<Vec<GapSeen>>,
    /// Area looked at, mm².
    pub area_mm2: f64,
    /// Number of fields looked at.
    pub fields: usize,
    /// Smallest diameter counted, µm.
    pub from_um: Option<f64>,
    /// The event of concern, diameter in µm.
    pub concern_um: Option<f64>,
    /// Limits; those on `largest_gap_um` are drawn.
    pub limits: Vec<LimitLine>,
}

impl GapsData {
    /// The gaps of the fields that count in a lot.
    pub fn of(fields: &[&FieldResult], recipe: &Recipe) -> Self {
        let seen = |field: &FieldResult| {
            let side = field.um_per_px;
            let gaps = field.gaps.iter().filter(|gap| gap_counted(field, gap));
            let of = |gap: &evenfilm_core::gaps::Gap| GapSeen {
                diameter_um: gap.diameter_px() * side,
                circle_um: gap.largest_circle_px * side,
                area_um2: gap.area_px2[1] * side * side,
            };
            gaps.map(of).collect::<Vec<_>>()
        };
        let gaps = fields.iter().all(|field| field.bare_measured).then(|| fields.iter().flat_map(|field| seen(field)).collect());
        Self {
            gaps,
            area_mm2: fields.iter().map(|field| field.area_px2() * field.um_per_px * field.um_per_px * 1e-6).sum(),
            fields: fields.len(),
            from_um: fields.iter().map(|field| field.counted_from_um[1]).max_by(f64::total_cmp),
            concern_um: Some(recipe.concern.gap_um),
            limits: Vec::new(),
        }
    }

    /// The same with the limits that the lot was judged by.
    #[must_use]
    pub fn with_limits(self, judgement: &Judgement) -> Self {
        Self { limits: LimitLine::of(judgement), ..self }
    }
}

/// What the height of a bar stands for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum GapsBy {
    /// Area of the gaps, µm² per mm² looked at.
    #[default]
    Area,
    /// Number of gaps per mm² looked at.
    Number,
}

/// How gaps are drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GapOptions {
    /// The plane.
    pub canvas: Canvas,
    /// What the height of a bar stands for.
    pub by: GapsBy,
}

/// A limit or diameter further off than this factor does not widen the axis; it is named at the side.
const NEAR: f64 = 4.0;

/// Opacity of the bars.
const BARS: f64 = 0.45;

impl GapsData {
    /// What a gap adds to the height of its bar.
    fn amount(&self, gap: &GapSeen, by: GapsBy) -> f64 {
        match by {
            GapsBy::Area => 100.0 * gap.area_um2 * 1e-6 / self.area_mm2,
            GapsBy::Number => 1.0 / self.area_mm2,
        }
    }

    /// Bars: what the gaps of each bin amount to, % of the area looked at or number per mm². They sum to the uncovered area, or to the
    /// number of gaps per mm². Empty without gaps.
    pub fn bars(&self, by: GapsBy) -> Vec<Bin> {
        let sized = |gap: &GapSeen| Sized { diameter: gap.diameter_um, weight: self.amount(gap, by) };
        let sized: Vec<Sized> = self.gaps.iter().flatten().map(sized).collect();
        bins::bins(&sized, self.from_um, bins::per_decade(sized.iter().map(|size| size.weight)))
    }

    /// "no gap of at least 2 µm seen in 0.17 mm²", and how many there may be at most.
    fn nothing_seen(&self) -> [String; 2] {
        let from = self.from_um.map_or_else(String::new, |from| format!(" of at least {}", words::with_unit(from, "µm")));
        let most = most_where_none(self.area_mm2, 0.95);
        let most = if most.is_finite() { format!("at most {} per mm² (95 %)", words::short(most)) } else { String::new() };
        [format!("no gap{from} seen in {} mm²", words::short(self.area_mm2)), most]
    }
}

/// Draws the gaps by their area-equivalent diameter, with the event of concern and the limits on the largest circle as lines. A lot without
/// gaps gives an empty chart that says so.
pub fn gaps(data: &GapsData, options: &GapOptions) -> Scene {
    let canvas = &options.canvas;
    let mut pen = Pen::new(canvas, "Gaps by diameter".into(), described(data));
    let bars = data.bars(options.by);
    let most = bars.iter().map(|bar| bar.amount).fold(0.0, f64::max);
    let (top, bottom) = (1.9, 3.1);
    let named = lines(data);
    let air = pen.headroom(canvas.height - (top + bottom) * pen.points, named.len());
    let heights = Axis::linear([0.0, if most > 0.0 { most * air } else { 1.0 }]);
    let beside = if bars.is_empty() { 0.0 } else { pen.beside(&heights, canvas.height - (top + bottom) * pen.points) };
    let frame = Frame::within(canvas, [1.9 + beside, top, 0.9, bottom], diameters(data, &bars), heights);
    pen.not_counted(&frame, data.from_um);
    if !bars.is_empty() {
        let name = match options.by {
            GapsBy::Area => "bare area, %",
            GapsBy::Number => "gaps per mm²",
        };
        pen.axis_left(&frame, name);
        draw_bars(&mut pen, &frame, &bars);
    }
    pen.axis_below(&frame, "diameter, µm");
    let largest = largest_circle(data);
    if let Some(circle) = largest.filter(|circle| frame.x.holds(*circle)) {
        let p = pen.points;
        let at = [frame.x_of(circle), frame.bottom];
        pen.scene.push(Mark::Circle { at, radius: 0.38 * p, ink: Ink::DataAlso, hollow: Some(0.16 * p) });
    }
    let said = instead(data);
    for (row, text) in (0..).zip(&said) {
        let p = pen.points;
        let at = [f64::midpoint(frame.left, frame.right), frame.bottom - 0.35 * frame.height() + 1.4 * p * f64::from(row)];
        pen.small((at, Anchor::Middle, Baseline::Middle), text, if row == 0 { Ink::Text } else { Ink::Quiet });
    }
    pen.upright_lines(&frame, &named);
    head(&mut pen, &frame, data, largest);
    pen.done()
}

/// What an empty chart says.
fn instead(data: &GapsData) -> Vec<String> {
    match &data.gaps {
        None => vec!["not measured".into(), "bare places cannot be told from film".into()],
        Some(gaps) if gaps.is_empty() => data.nothing_seen().into_iter().filter(|text| !text.is_empty()).collect(),
        Some(_) => Vec::new(),
    }
}

fn largest_circle(data: &GapsData) -> Option<f64> {
    data.gaps.iter().flatten().map(|gap| gap.circle_um).filter(|circle| circle.is_finite() && *circle > 0.0).max_by(f64::total_cmp)
}

fn limits_of(data: &GapsData) -> impl Iterator<Item = &LimitLine> {
    data.limits.iter().filter(|limit| limit.quantity == "largest_gap_um")
}

fn lines(data: &GapsData) -> Vec<(f64, String, Ink)> {
    let mut lines = Vec::new();
    for limit in limits_of(data) {
        lines.extend(limit.min.map(|min| (min, format!("largest circle ≥ {} µm", words::short(min)), Ink::Limit)));
        lines.extend(limit.max.map(|max| (max, format!("largest circle ≤ {} µm", words::short(max)), Ink::Limit)));
    }
    lines.extend(data.concern_um.map(|um| (um, format!("of concern from {} µm", words::short(um)), Ink::Warn)));
    lines
}

fn diameters(data: &GapsData, bars: &[Bin]) -> Axis {
    let from = data.from_um.filter(|from| *from > 0.0);
    let seen = bars.first().zip(bars.last()).map(|(first, last)| [first.from, last.to]);
    let [mut low, mut high] = seen.unwrap_or_else(|| from.map_or([1.0, 10.0], |from| [from, 10.0 * from]));
    let near = [low / NEAR, high * NEAR];
    let limits = limits_of(data).flat_map(|limit| [limit.min, limit.max]).chain([data.concern_um, from, largest_circle(data)]);
    for value in limits.flatten().filter(|value| near[0] <= *value && *value <= near[1]) {
        [low, high] = [low.min(value), high.max(value)];
    }
    Axis::log([low / 1.3, high * 1.25])
}

fn draw_bars(pen: &mut Pen, frame: &Frame, bars: &[Bin]) {
    for bar in bars.iter().filter(|bar| bar.amount > 0.0) {
        let [left, right, top] = [frame.x_of(bar.from), frame.x_of(bar.to), frame.y_of(bar.amount)];
        pen.scene.rect([left, top, right, frame.bottom], Ink::Data, BARS);
        let outline = vec![[left, frame.bottom], [left, top], [right, top], [right, frame.bottom]];
        pen.line(outline, Ink::Data, pen.fine(), None);
        pen.take([left, top, right, frame.bottom]);
    }
}

fn head(pen: &mut Pen, frame: &Frame, data: &GapsData, largest: Option<f64>) {
    let p = pen.points;
    let mut x = frame.left;
    if let Some(largest) = largest {
        pen.scene.push(Mark::Circle { at: [x + 0.4 * p, 0.8 * p], radius: 0.38 * p, ink: Ink::DataAlso, hollow: Some(0.16 * p) });
        x = pen.named(x + 1.2 * p, 0.45 * p, &format!("largest circle {} µm", words::short(largest)));
    }
    let Some(seen) = &data.gaps else { return };
    let rests_on = RestsOn { things: seen.len(), fields: data.fields }.words(GAPS);
    let end = pen.scene.width - 0.6 * p;
    pen.row(x, 0.45 * p, end - x, &[format!("{rests_on}, {} mm²", words::short(data.area_mm2)), rests_on]);
}

fn described(data: &GapsData) -> String {
    let Some(seen) = &data.gaps else { return "Gaps were not measured: bare places cannot be told from film.".into() };
    let fields = RestsOn { things: seen.len(), fields: data.fields }.words(GAPS);
    let mut text = if seen.is_empty() {
        let [none, most] = data.nothing_seen();
        format!("{}{}; {most} ({fields}).", none[..1].to_uppercase(), &none[1..])
    } else {
        let area: f64 = seen.iter().map(|gap| data.amount(gap, GapsBy::Area)).sum();
        let largest =
            largest_circle(data).map_or_else(String::new, |um| format!(", the largest circle inside one {} µm", words::short(um)));
        format!("{fields}, {} mm²: {} % of it bare{largest}.", words::short(data.area_mm2), words::short(area))
    };
    if let Some(limits) = limits_of(data).find_map(|limit| words::limits(limit.min, limit.max, "µm")) {
        let _ = write!(text, " Limit on the largest circle: {limits}.");
    }
    text
}
