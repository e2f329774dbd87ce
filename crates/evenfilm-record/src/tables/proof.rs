//! The columns of what numbers and verdict rest on.

use evenfilm_core::limits::Needed;
use evenfilm_core::quantity::Quantity;

use super::rows::{MICROSCOPE, column, number, text, whole};
use super::{Cell, Datatype, Table};
use crate::lot::Judged;

/// What `uncertainty.csv` says of one component of a quantity's uncertainty.
#[derive(Clone, Copy, Debug)]
pub struct UncertaintyRow<'a> {
    /// Name of its microscope; empty for the default one.
    pub microscope: &'a str,
    /// The quantity.
    pub quantity: &'a Quantity,
    /// The component, or `combined`.
    pub component: &'static str,
    /// Standard uncertainty in the unit of the quantity.
    pub u: f64,
    /// Degrees of freedom; `None` where there are so many that they do not matter.
    pub dof: Option<f64>,
    /// Share of the combined variance, %.
    pub share_pct: Option<f64>,
}

/// What `decisions.csv` says of one limit.
#[derive(Clone, Debug)]
pub struct DecisionRow {
    /// Name of the microscope; empty for the default one.
    pub microscope: String,
    /// The limit and what came of it.
    pub judged: Judged,
}

/// What `pictures.csv` says of a picture that lies in the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PictureRow {
    /// Where the record keeps it, below `data/`.
    pub archived_as: String,
    /// As the sheet or the folder names it.
    pub file: String,
    /// What it shows: a word of the sheet.
    pub role: &'static str,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// When it was taken, as its file says; empty where it does not.
    pub taken_at: String,
}

/// `pictures.csv`: a row per picture in the record.
pub fn pictures() -> Table<PictureRow> {
    type Row = PictureRow;
    let columns = vec![
        text("archived_as", "place of the file in the record, below data/", |row: &Row| Cell::Text(&row.archived_as)),
        text("file", "the file as the sheet or the folder names it", |row| Cell::Text(&row.file)),
        text("role", "what it shows: field, blank, dark, ruling, overview, label or evidence", |row| Cell::Text(row.role)),
        text("sha256", "SHA-256 of the file", |row| Cell::Text(&row.sha256)),
        text(
            "taken_at",
            "when it was taken, as its file says (EXIF, TIFF or OME), by the camera's clock; with the offset from UTC where it says that",
            |row| Cell::Text(&row.taken_at),
        ),
    ];
    Table { name: "pictures", about: "a row per picture that lies in the record, by its place there", columns }
}

/// `uncertainty.csv`: a row per component of each quantity.
pub fn uncertainty<'a>() -> Table<UncertaintyRow<'a>> {
    type Row<'a> = UncertaintyRow<'a>;
    let columns = vec![
        text("microscope", MICROSCOPE, |row: &Row<'a>| Cell::Text(row.microscope)),
        text("quantity", "id of the quantity", |row| Cell::Text(row.quantity.id)),
        text("unit", "its unit, in which u is stated", |row| Cell::Text(row.quantity.unit)),
        text(
            "component",
            "slides, fields and counting (spread), edge (its level is known to a tenth of the contrast), scale, object_model; combined; expanded",
            |row| Cell::Text(row.component),
        ),
        number(
            "u",
            "",
            [
                "standard uncertainty; of expanded the expanded one at 95 %, which is never below that from the spread alone",
                "JCGM 100:2008",
            ],
            |row| Cell::Number(Some(row.u)),
        ),
        number("dof", "", ["degrees of freedom; empty: so many that they do not matter", "JCGM 100:2008, G.4"], |row| {
            Cell::Number(row.dof)
        }),
        number("share_pct", "%", ["share of the combined variance", "JCGM 100:2008"], |row| Cell::Number(row.share_pct)),
    ];
    Table { name: "uncertainty", about: "a row per component of the uncertainty of each quantity", columns }
}

/// `decisions.csv`: a row per limit that holds for a microscope.
pub fn decisions() -> Table<DecisionRow> {
    type Row = DecisionRow;
    let columns = vec![
        text("microscope", MICROSCOPE, |row: &Row| Cell::Text(&row.microscope)),
        text("quantity", "id of the quantity", |row| Cell::Text(&row.judged.limit.quantity)),
        number("min", "", ["smallest accepted value", ""], |row| Cell::Number(row.judged.limit.min)),
        number("max", "", ["largest accepted value", ""], |row| Cell::Number(row.judged.limit.max)),
        text("rule", "guarded: the whole interval must lie within; simple: the value must", |row| Cell::Text(row.judged.limit.rule.word())),
        number("value", "", ["the quantity", ""], |row| Cell::Number(row.judged.decision.value)),
        number(
            "low",
            "",
            [
                "lower end of the interval that was compared: of 95 %, or of 97.5 % where an extension was planned; empty for rule simple",
                "",
            ],
            |row| Cell::Number(row.judged.decision.interval.map(|ends| ends[0])),
        ),
        number("high", "", ["upper end of that interval", ""], |row| Cell::Number(row.judged.decision.interval.map(|ends| ends[1]))),
        text("outcome", "within, outside or undecided", |row| Cell::Text(row.judged.decision.outcome.word())),
        text("why", "why it came out so", |row| Cell::Text(row.judged.decision.why.word())),
        column(
            "probability",
            "",
            Datatype::Number,
            ["probability that the quantity lies within its limits, given what was measured", "JCGM 106:2012"],
            |row| Cell::Number(row.judged.decision.probability),
        ),
        whole("slides_needed", "more slides that would settle it, if value and spread stay as they are", |row| {
            match row.judged.decision.needed {
                Some(Needed::Slides(n)) => Cell::Whole(n.into()),
                _ => Cell::Empty,
            }
        }),
        whole("fields_needed", "more fields of the slide that would settle it, if value and spread stay as they are", |row| {
            match row.judged.decision.needed {
                Some(Needed::Fields(n)) => Cell::Whole(n.into()),
                _ => Cell::Empty,
            }
        }),
        column(
            "at_most_per_mm2",
            "mm⁻²",
            Datatype::Number,
            ["where nothing beyond the limit was seen: such things are at most so many (95 %)", "exact Poisson"],
            |row| Cell::Number(row.judged.decision.at_most_per_mm2),
        ),
    ];
    Table { name: "decisions", about: "a row per limit: what came of it and why", columns }
}
