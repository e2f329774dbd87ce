//! The columns of each table.

use evenfilm_core::field::FieldResult;
use evenfilm_core::gaps::Gap;
use evenfilm_core::objects::Object;
use evenfilm_core::quantity::{Interval, QUANTITIES};

use super::{Cell, Column, Datatype, Table, Value};
use crate::corrections::{Change, Correction};

const ISO_9276_6: &str = "ISO 9276-6:2008";
const MILES_LANTUEJOUL: &str = "Miles–Lantuéjoul, on the measured region";

/// What decided on a kind that data/corrections.csv gives.
const HAND: &str = "hand";

/// Numbers of different objectives are never pooled.
pub(super) const MICROSCOPE: &str =
    "microscope setting (objective) that it was taken with, as the sheet names it; empty for the default one";

/// What `record.csv` says of a lot, or of what one objective of several showed of it.
#[derive(Clone, Debug, Default)]
pub struct RecordRow {
    /// The text columns, each under its column's name; those that are not here are empty.
    pub texts: Vec<(&'static str, String)>,
    /// Width of a pixel, µm.
    pub um_per_px: f64,
    /// Values in the order of the quantity table.
    pub values: Vec<Option<f64>>,
    /// Half widths of their 95 % intervals from the spread alone.
    pub ci95: Vec<Option<f64>>,
    /// Expanded uncertainties, 95 %.
    pub u95: Vec<Option<f64>>,
    /// Lower ends of the 95 % intervals of rare events and tails.
    pub low95: Vec<Option<f64>>,
    /// Upper ends.
    pub high95: Vec<Option<f64>>,
}

/// What `fields.csv` says of a field.
#[derive(Clone, Debug)]
pub struct FieldRow<'a> {
    /// Number of the field in the lot, from 1.
    pub field: usize,
    /// Name of its slide.
    pub slide: &'a str,
    /// Name of its microscope.
    pub microscope: &'a str,
    /// The picture as the sheet or the folder names it.
    pub file: &'a str,
    /// Where the record keeps it, below `data/`.
    pub archived_as: &'a str,
    /// SHA-256 of the picture.
    pub sha256: &'a str,
    /// Why it was rejected by hand; empty for the others.
    pub rejected: &'a str,
    /// Names of its flags, a blank between.
    pub flags: &'a str,
    /// What was measured.
    pub result: &'a FieldResult,
    /// Values in the order of the quantity table.
    pub values: &'a [Option<f64>],
}

/// What `objects.csv` says of an object.
#[derive(Clone, Copy, Debug)]
pub struct ObjectRow<'a> {
    /// Number of its field, from 1.
    pub field: usize,
    /// Its number in the field, from 1.
    pub id: usize,
    /// The object.
    pub object: &'a Object,
    /// Whether it is at least as large as the smallest counted and of a kind that counts.
    pub counted: bool,
    /// Whether the recipe's rule calls it an agglomerate.
    pub agglomerate: bool,
    /// Width of a pixel, µm.
    pub um_per_px: f64,
    /// Name of its microscope; empty for the default one.
    pub microscope: &'a str,
    /// Whether its kind was given by hand.
    pub by_hand: bool,
    /// Width of its own edge, px, and whether that makes it unsharp; `None` where it has none.
    pub edge: Option<(f64, bool)>,
}

impl ObjectRow<'_> {
    fn length(&self, px: f64) -> Cell<'static> {
        measured(px * self.um_per_px)
    }

    /// What only a whole outline has: where the frame cuts the object, its side is no outline.
    fn whole(&self, value: f64) -> Cell<'static> {
        if self.object.touches_frame { Cell::Empty } else { measured(value) }
    }
}

/// What `gaps.csv` says of a gap.
#[derive(Clone, Copy, Debug)]
pub struct GapRow<'a> {
    /// Number of its field, from 1.
    pub field: usize,
    /// Its number in the field, from 1.
    pub id: usize,
    /// The gap.
    pub gap: &'a Gap,
    /// Whether it is at least as large as the smallest counted and not the bright centre of a hollow thing.
    pub counted: bool,
    /// Width of a pixel, µm.
    pub um_per_px: f64,
    /// Name of its microscope; empty for the default one.
    pub microscope: &'a str,
    /// Whether its kind was given by hand.
    pub by_hand: bool,
}

impl GapRow<'_> {
    fn length(&self, px: f64) -> Cell<'static> {
        measured(px * self.um_per_px)
    }
}

type Of<R> = fn(&R) -> Cell<'_>;
type Numbers<R> = fn(&R) -> &[Option<f64>];

/// A column that is a function of the row. `meaning` is definition and source.
pub(super) fn column<R>(id: &'static str, unit: &'static str, datatype: Datatype, meaning: [&'static str; 2], value: Of<R>) -> Column<R> {
    Column { id: id.into(), unit, symbol: "", datatype, definition: meaning[0].into(), source: meaning[1], value: Value::Of(value) }
}

pub(super) fn number<R>(id: &'static str, unit: &'static str, meaning: [&'static str; 2], value: Of<R>) -> Column<R> {
    column(id, unit, Datatype::Number, meaning, value)
}

pub(super) fn whole<R>(id: &'static str, definition: &'static str, value: Of<R>) -> Column<R> {
    column(id, "", Datatype::Whole, [definition, ""], value)
}

pub(super) fn text<R>(id: &'static str, definition: &'static str, value: Of<R>) -> Column<R> {
    column(id, "", Datatype::Text, [definition, ""], value)
}

fn flag<R>(id: &'static str, definition: &'static str, value: Of<R>) -> Column<R> {
    column(id, "", Datatype::Flag, [definition, ""], value)
}

const fn measured(value: f64) -> Cell<'static> {
    Cell::Number(if value.is_finite() { Some(value) } else { None })
}

/// Texts of `record.csv` up to the scale, and after it.
const RECORD_TEXTS: [&[(&str, Datatype, &str)]; 2] = [
    &[
        ("lot", Datatype::Text, "name of the lot"),
        ("product", Datatype::Text, "product"),
        ("purpose", Datatype::Text, "why it was measured: lot, check (the reference slide) or study"),
        ("revision", Datatype::Whole, "number of this measurement of the lot, from 1"),
        ("sampled_on", Datatype::Date, "day of sampling"),
        ("measured_at", Datatype::DateTime, "when it was measured, UTC"),
        ("operator", Datatype::Text, "code of the person who prepared it"),
        ("bench", Datatype::Text, "where it was prepared"),
        ("setting", Datatype::Text, "mixing setting in words"),
        ("recipe", Datatype::Text, "name and version of the recipe"),
        ("recipe_sha256", Datatype::Text, "SHA-256 of the recipe with every choice written out: data/recipe.toml"),
        ("scale_source", Datatype::Text, "where the scale comes from"),
        ("scale_date", Datatype::Date, "when the scale was measured"),
    ],
    &[
        ("program_version", Datatype::Text, "version of the program that measured"),
        ("verdict", Datatype::Text, "within, outside, undecided or provisional, against the stated limits; empty without one"),
        ("verdict_scope", Datatype::Text, "what the verdict speaks of: slide or lot"),
        ("flags", Datatype::Text, "what a reader should know: names of flags, a blank between"),
        ("microscope", Datatype::Text, MICROSCOPE),
        ("check", Datatype::Text, "the record of the check slide that the verdict rests on, when it was measured, and its verdict"),
        ("check_sha256", Datatype::Text, "SHA-256 of the tag manifest of that record"),
    ],
];

fn record_text(&(id, datatype, definition): &(&'static str, Datatype, &'static str)) -> Column<RecordRow> {
    let value = Value::Named(|row: &RecordRow, id: &str| {
        row.texts.iter().find(|(name, _)| *name == id).map_or(Cell::Empty, |(_, text)| Cell::Text(text))
    });
    Column { value, ..column(id, "", datatype, [definition, ""], |_| Cell::Empty) }
}

/// The quantities, one column each.
fn quantities<R>(values: Numbers<R>) -> Vec<Column<R>> {
    (0..QUANTITIES.len()).map(|place| quantity(place, values)).collect()
}

fn quantity<R>(place: usize, values: Numbers<R>) -> Column<R> {
    let quantity = &QUANTITIES[place];
    let own = number(quantity.id, quantity.unit, [quantity.definition, quantity.source], |_| Cell::Empty);
    Column { symbol: quantity.symbol, value: Value::At(values, place), ..own }
}

/// A column of an interval that stands behind its quantity.
fn beside<R>(place: usize, ending: &str, [what, source]: [&'static str; 2], numbers: Numbers<R>) -> Column<R> {
    let quantity = &QUANTITIES[place];
    let plain = number("", quantity.unit, ["", source], |_| Cell::Empty);
    let id = format!("{}_{ending}", quantity.id).into();
    Column { id, definition: format!("{what} of {}", quantity.id).into(), value: Value::At(numbers, place), ..plain }
}

const FAY_FEUER: &str =
    "Fay & Feuer 1997, doi:10.1002/(SICI)1097-0258(19970415)16:7<791::AID-SIM500>3.0.CO;2-#; Student t where that is wider";
const RESAMPLED: &str = "resampling of slides and fields";

/// The quantities of a lot, each with its intervals behind it.
fn quantities_of_lot() -> Vec<Column<RecordRow>> {
    let mut columns = Vec::new();
    for (place, of) in QUANTITIES.iter().enumerate() {
        columns.push(quantity(place, |row: &RecordRow| &row.values));
        if of.interval == Interval::None {
            continue;
        }
        let spread = ["half width of the 95 % interval, from the spread between fields, or between slides,", "Student t"];
        columns.push(beside(place, "ci95", spread, |row: &RecordRow| &row.ci95));
        match of.interval {
            Interval::None | Interval::Largest => {}
            Interval::BetweenFields => {
                let expanded = ["expanded uncertainty (95 %) of everything known to matter", "JCGM 100:2008"];
                columns.push(beside(place, "u95", expanded, |row: &RecordRow| &row.u95));
            }
            Interval::Rare(_) | Interval::Tail(_) => {
                let source = if matches!(of.interval, Interval::Tail(_)) { RESAMPLED } else { FAY_FEUER };
                columns.push(beside(place, "low95", ["lower end of the 95 % interval", source], |row: &RecordRow| &row.low95));
                columns.push(beside(place, "high95", ["upper end of the 95 % interval", source], |row: &RecordRow| &row.high95));
            }
        }
    }
    columns
}

/// `record.csv`: a row per objective; most lots have one.
pub fn record() -> Table<RecordRow> {
    let [before, after] = RECORD_TEXTS;
    let mut columns: Vec<_> = before.iter().map(record_text).collect();
    columns.push(number("um_per_px", "µm", ["width of a pixel in the film", ""], |row: &RecordRow| measured(row.um_per_px)));
    columns.extend(after.iter().map(record_text));
    columns.extend(quantities_of_lot());
    Table { name: "record", about: "a row per objective that the lot was photographed with: the lot", columns }
}

/// `record-uncorrected.csv`: the same without corrections by hand.
pub fn record_uncorrected() -> Table<RecordRow> {
    Table { name: "record-uncorrected", about: "as record.csv, without the changes of corrections.csv", ..record() }
}

/// `record-without-rejected.csv`: the same without any field that was rejected by hand.
pub fn record_without_rejected() -> Table<RecordRow> {
    let about = "as record.csv, also without the fields that were rejected by hand for reasons that are not the recipe's";
    Table { name: "record-without-rejected", about, ..record() }
}

/// `corrections.csv`: a row per correction by hand, in the order in which they hold.
pub fn corrections() -> Table<Correction> {
    type Row = Correction;
    let columns = vec![
        text("field", "picture of the field, as fields.csv names it", |row: &Row| Cell::Text(&row.field)),
        text("thing", "what is changed: object, gap or field", |row| {
            Cell::Text(match row.change {
                Change::Object(..) => "object",
                Change::Gap(..) => "gap",
                Change::LeaveOut => "field",
            })
        }),
        number("x_um", "µm", ["place upon the thing from the left side of the picture; empty for a field", ""], |row| place_of(row, 0)),
        number("y_um", "µm", ["place upon the thing from the top of the picture; empty for a field", ""], |row| place_of(row, 1)),
        text("change", "kind: it is of another kind; leave_out: the field is rejected", |row| {
            Cell::Text(if row.change == Change::LeaveOut { "leave_out" } else { "kind" })
        }),
        text("to", "the kind that it is of; empty for a field", |row| match row.change {
            Change::Object(_, kind) => Cell::Text(kind.word()),
            Change::Gap(_, kind) => Cell::Text(kind.word()),
            Change::LeaveOut => Cell::Empty,
        }),
        text("reason", "why", |row| Cell::Text(&row.reason)),
        text("by", "who", |row| Cell::Text(&row.by)),
        text("at", "when: a date, or a moment (RFC 3339)", |row| Cell::Text(&row.at)),
    ];
    Table { name: "corrections", about: "a row per correction by hand, in the order in which they hold", columns }
}

fn place_of(row: &Correction, i: usize) -> Cell<'static> {
    match row.change {
        Change::Object(at, _) | Change::Gap(at, _) => Cell::Number(Some(at[i])),
        Change::LeaveOut => Cell::Empty,
    }
}

/// `fields.csv`: a row per field.
pub fn fields<'a>() -> Table<FieldRow<'a>> {
    type Row<'a> = FieldRow<'a>;
    let mut columns = vec![
        whole("field", "number of the field in the lot", |row: &Row<'a>| Cell::Whole(row.field as u64)),
        text("slide", "slide that it shows", |row| Cell::Text(row.slide)),
        text("microscope", MICROSCOPE, |row| Cell::Text(row.microscope)),
        text("file", "picture, as the sheet or the folder names it", |row| Cell::Text(row.file)),
        text("archived_as", "where this record keeps the picture, below data/", |row| Cell::Text(row.archived_as)),
        text("picture_sha256", "SHA-256 of the picture", |row| Cell::Text(row.sha256)),
        whole("width_px", "columns of the picture", |row| Cell::Whole(u64::from(row.result.size.0))),
        whole("height_px", "rows of the picture", |row| Cell::Whole(u64::from(row.result.size.1))),
        text(
            "rejected",
            "why it was rejected, by hand or because it overlaps; it is left out of the numbers, unless its flags say rejected_by_hand",
            |row| Cell::Text(row.rejected),
        ),
        text("flags", "what a reader should know: names of flags, a blank between", |row| Cell::Text(row.flags)),
        number("blur_px", "px", ["standard deviation of the blur that outlines are corrected for", ""], |row| {
            measured(row.result.calibration.blur_px)
        }),
        whole("blur_edges", "edges that the blur was measured on; 0: it comes from the optics or is assumed", |row| {
            Cell::Whole(row.result.calibration.blur_edges as u64)
        }),
        number("core_ratio", "", ["level of the powder's core ÷ level around it, shared by small objects", ""], |row| {
            Cell::Number((row.result.calibration.cores > 0).then_some(row.result.calibration.core_ratio))
        }),
        whole("cores", "cores that the ratio was measured on", |row| Cell::Whole(row.result.calibration.cores as u64)),
        number(
            "edge_ratio",
            "",
            ["width of the edges ÷ what aperture and wavelength allow; empty where the sheet does not give them", ""],
            |row| {
                let fitness = &row.result.fitness;
                Cell::Number(fitness.edge_px.filter(|_| fitness.allowed_by_optics).map(|width| width / fitness.allowed_px))
            },
        ),
        number(
            "motion_ratio",
            "",
            ["width of the edges in the direction in which they are widest ÷ in that in which they are narrowest", ""],
            |row| Cell::Number(row.result.fitness.motion),
        ),
        number("noise_ratio", "", ["noise of a pixel ÷ level of the film", ""], |row| measured(row.result.fitness.noise)),
        number("brightness", "", ["count of the empty slide ÷ full scale of the camera", ""], |row| {
            Cell::Number(row.result.fitness.brightness)
        }),
        number("light_ratio", "", ["darkest ÷ lightest part of the light", ""], |row| Cell::Number(row.result.fitness.evenness)),
        number("bare_level", "", ["level of plainly bare places ÷ that of the blank; empty where none are seen", ""], |row| {
            Cell::Number(row.result.fitness.bare_level)
        }),
    ];
    columns.extend(quantities(|row: &Row<'a>| row.values));
    Table { name: "fields", about: "a row per field", columns }
}

/// `objects.csv`: a row per object detected.
pub fn objects<'a>() -> Table<ObjectRow<'a>> {
    type Row<'a> = ObjectRow<'a>;
    let columns = vec![
        whole("field", "number of the field in the lot", |row: &Row<'a>| Cell::Whole(row.field as u64)),
        whole("id", "number of the object in the field, in the order of first pixels", |row| Cell::Whole(row.id as u64)),
        number("x_um", "µm", ["centroid from the left side of the picture", ""], |row| row.length(row.object.centroid_px[0])),
        number("y_um", "µm", ["centroid from the top of the picture", ""], |row| row.length(row.object.centroid_px[1])),
        text("kind", "powder, hollow, fibre, crystal, dust or unsure", |row| Cell::Text(row.object.told.kind.word())),
        flag("counted", "whether it is at least size_from_um across and of a kind that counts", |row| Cell::Flag(row.counted)),
        number("area_um2", "µm²", ["projected area", ISO_9276_6], |row| measured(row.object.area_px2[1] * row.um_per_px * row.um_per_px)),
        number("diameter_um", "µm", ["diameter of the circle of the same area", ISO_9276_6], |row| row.length(row.object.diameter_px())),
        number("feret_max_um", "µm", ["largest distance between parallel tangents, of what is seen", ISO_9276_6], |row| {
            row.length(row.object.shape.feret_max_px)
        }),
        number("feret_min_um", "µm", ["smallest distance between parallel tangents, of what is seen", ISO_9276_6], |row| {
            row.length(row.object.shape.feret_min_px)
        }),
        number("perimeter_um", "µm", ["length of the outline; empty where the frame cuts it", ISO_9276_6], |row| {
            row.whole(row.object.shape.perimeter_px * row.um_per_px)
        }),
        number("circularity", "", ["√(4πA)/P of area A and perimeter P; empty where the frame cuts it", ISO_9276_6], |row| {
            row.whole(row.object.shape.circularity)
        }),
        number("solidity", "", ["area ÷ area of the convex hull; empty where the frame cuts it", ISO_9276_6], |row| {
            row.whole(row.object.shape.solidity)
        }),
        number("aspect_ratio", "", ["smallest ÷ largest Feret diameter; empty where the frame cuts it", ISO_9276_6], |row| {
            row.whole(row.object.shape.aspect_ratio)
        }),
        number("od_mean", "", ["mean optical density above the surround", ""], |row| measured(row.object.od[0])),
        number("od_peak", "", ["largest optical density above the surround", ""], |row| measured(row.object.od[1])),
        whole("constituents", "parts after splitting at necks", |row| Cell::Whole(row.object.constituents() as u64)),
        flag("agglomerate", "whether it counts and the recipe's rule calls it an agglomerate", |row| Cell::Flag(row.agglomerate)),
        flag("touches_frame", "whether a side of the measured region cuts it", |row| Cell::Flag(row.object.touches_frame)),
        number(
            "weight",
            "",
            ["1 ÷ share of the measured region in which it lies whole; empty where the frame cuts it", MILES_LANTUEJOUL],
            |row| Cell::Number(row.object.weight),
        ),
        text("sized_by", "what the area comes from: the outline, or the deficit of light", |row| Cell::Text(row.object.sized_by.word())),
        number("convexity", "", ["length of the convex hull ÷ perimeter; empty where the frame cuts it", ISO_9276_6], |row| {
            row.whole(row.object.shape.convexity)
        }),
        number("inscribed_um", "µm", ["diameter of the largest circle inside; empty where the frame cuts it", ISO_9276_6], |row| {
            row.whole(row.object.shape.inscribed_px * row.um_per_px)
        }),
        text(
            "kind_by",
            "the measure that decided on the kind: frame, size, ring, elongation, corners or repeat; hand: a person did",
            |row| Cell::Text(if row.by_hand { HAND } else { row.object.told.by.word() }),
        ),
        number("kind_value", "", ["its value: see the table of kinds in the documentation of the program", ""], |row| {
            if row.by_hand { Cell::Empty } else { measured(f64::from(row.object.told.value)) }
        }),
        text("microscope", MICROSCOPE, |row| Cell::Text(row.microscope)),
        number(
            "edge_um",
            "µm",
            ["standard deviation of the blur that its own edge shows; empty where the frame cuts it or its missing light sizes it", ""],
            |row| row.edge.map_or(Cell::Empty, |(width, _)| row.length(width)),
        ),
        flag("unsharp", "whether that is more than 1.5 times what aperture and wavelength allow; empty where edge_um is", |row| {
            row.edge.map_or(Cell::Empty, |(_, unsharp)| Cell::Flag(unsharp))
        }),
    ];
    Table { name: "objects", about: "a row per object detected, counted or not", columns }
}

/// `gaps.csv`: a row per gap.
pub fn gaps<'a>() -> Table<GapRow<'a>> {
    type Row<'a> = GapRow<'a>;
    let columns = vec![
        whole("field", "number of the field in the lot", |row: &Row<'a>| Cell::Whole(row.field as u64)),
        whole("id", "number of the gap in the field, in the order of first pixels", |row| Cell::Whole(row.id as u64)),
        number("x_um", "µm", ["centroid from the left side of the picture", ""], |row| row.length(row.gap.centroid_px[0])),
        number("y_um", "µm", ["centroid from the top of the picture", ""], |row| row.length(row.gap.centroid_px[1])),
        text("kind", "round, crack, dewetting, streak or unsure", |row| Cell::Text(row.gap.told.kind.word())),
        number("area_um2", "µm²", ["bare area", ""], |row| measured(row.gap.area_px2[1] * row.um_per_px * row.um_per_px)),
        number("diameter_um", "µm", ["diameter of the circle of the same area", ISO_9276_6], |row| row.length(row.gap.diameter_px())),
        number("largest_circle_um", "µm", ["diameter of the largest circle that fits inside the gap and the frame", ""], |row| {
            row.length(row.gap.largest_circle_px)
        }),
        flag("touches_frame", "whether a side of the measured region cuts it", |row| Cell::Flag(row.gap.touches_frame)),
        flag("counted", "whether it is at least gap_from_um across and not the bright centre of a hollow thing", |row| {
            Cell::Flag(row.counted)
        }),
        text(
            "kind_by",
            "the measure that decided on the kind: size, span, elongation, frame, rim or circularity; hand: a person did",
            |row| Cell::Text(if row.by_hand { HAND } else { row.gap.told.by.word() }),
        ),
        number("kind_value", "", ["its value: see the table of kinds in the documentation of the program", ""], |row| {
            if row.by_hand { Cell::Empty } else { measured(row.gap.told.value) }
        }),
        text("microscope", MICROSCOPE, |row| Cell::Text(row.microscope)),
    ];
    Table { name: "gaps", about: "a row per gap", columns }
}
