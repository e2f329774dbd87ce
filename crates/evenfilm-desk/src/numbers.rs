//! Numbers as they leave the desk: values as a table, charts as files.

use std::path::Path;
use std::sync::Arc;

use evenfilm_core::field::FieldResult;
use evenfilm_core::quantity::QUANTITIES;
use evenfilm_core::recipe::Recipe;
use evenfilm_record::chart::{
    Anchor, Baseline, Canvas, Curves, FieldValue, FieldsData, GapOptions, GapsBy, GapsData, Ink, Mark, Palette, Scene, SizeData,
    SizeOptions, SizesBy, fields, gaps, size_distribution, svg,
};
use evenfilm_record::disk;
use evenfilm_record::fault::Fault;
use evenfilm_record::folder::Batch;
use evenfilm_record::lot::{Inspected, ObjectiveOutcome};
use evenfilm_record::names::folder_name;
use evenfilm_record::summary;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{self, fontdb};

use crate::state::Lot;

/// Every value as a table with tabs, for a spreadsheet.
pub(crate) fn as_table(seen: &ObjectiveOutcome) -> String {
    let number = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let mut text = "quantity\tvalue\tunit\tci95\tu95\tlow95\thigh95\n".to_owned();
    for value in &seen.values {
        let [low, high] = value.ends95.map(number);
        let line = [value.id.into(), number(value.value), value.unit.into(), number(value.ci95), number(value.u95), low, high];
        text.push_str(&line.join("\t"));
        text.push('\n');
    }
    text.push_str(&summary::CAUTION.replace('\n', " "));
    text.push('\n');
    text
}

/// What charts of one objective are drawn from.
#[derive(Clone)]
pub(crate) struct Charted {
    /// The lot's name.
    name: String,
    place: usize,
    inspected: Arc<Inspected>,
    /// The lot as it was measured.
    batch: Arc<Batch>,
}

impl Charted {
    /// The objective that the shown field was taken with; `None` until the lot is measured.
    pub(crate) fn of(lot: &Lot) -> Option<Self> {
        let (inspected, batch) = (Arc::clone(lot.measured.as_ref()?), Arc::clone(lot.measured_batch.as_ref()?));
        let place = inspected.fields.get(lot.field).map_or(0, |field| field.objective);
        let known = place < inspected.objectives.len().min(batch.objectives.len());
        known.then(|| Self { name: lot.name.clone(), place, inspected, batch })
    }

    fn seen(&self) -> &ObjectiveOutcome {
        &self.inspected.objectives[self.place]
    }

    fn recipe(&self) -> &Recipe {
        &self.batch.objectives[self.place].recipe
    }

    /// Fields that stay in the numbers.
    fn counting(&self) -> Vec<&FieldResult> {
        self.inspected.fields.iter().filter(|field| field.objective == self.place && field.stays).map(|field| &field.result).collect()
    }

    /// Sizes of the objects.
    pub(crate) fn sizes(&self, canvas: Canvas, by: SizesBy, curves: Curves) -> Scene {
        let data = SizeData::of(&self.counting(), self.recipe()).with_limits(&self.seen().judgement);
        size_distribution(&data, &SizeOptions { canvas, by, curves })
    }

    /// Gaps by their diameter.
    pub(crate) fn gaps(&self, canvas: Canvas, by: GapsBy) -> Scene {
        let data = GapsData::of(&self.counting(), self.recipe()).with_limits(&self.seen().judgement);
        gaps(&data, &GapOptions { canvas, by })
    }

    /// One quantity, field by field.
    pub(crate) fn fields(&self, canvas: &Canvas, id: &str) -> Scene {
        let column = QUANTITIES.iter().position(|quantity| quantity.id == id);
        let value = |field: &evenfilm_record::lot::InspectedField| FieldValue {
            number: field.number,
            slide: field.slide.clone(),
            value: column.and_then(|column| field.values.get(column).copied().flatten()),
            rejected: !field.stays,
        };
        let values = self.inspected.fields.iter().filter(|field| field.objective == self.place).map(value).collect();
        fields(&FieldsData::of(self.seen(), id, values), canvas)
    }

    /// Writes the charts into a folder, as SVG and PNG; gives the number of files.
    ///
    /// # Errors
    /// A file cannot be written.
    pub(crate) fn save(&self, folder: &Path) -> Result<usize, Fault> {
        let mut charts = vec![
            ("sizes by number".to_owned(), self.sizes(FILE_CANVAS, SizesBy::Number, Curves::Both)),
            ("sizes by volume".to_owned(), self.sizes(FILE_CANVAS, SizesBy::Volume, Curves::Both)),
            ("gaps".to_owned(), self.gaps(FILE_CANVAS, GapsBy::Area)),
        ];
        charts.extend(BY_FIELD.iter().map(|id| (format!("{id} by field"), self.fields(&FILE_CANVAS, id))));
        let fonts = fonts();
        let files = 2 * charts.len();
        for (name, scene) in charts {
            let text = svg(&cautioned(scene), &Palette::LIGHT);
            let file = |end: &str| folder.join(format!("{} {name}.{end}", folder_name(&self.name)));
            disk::replace(&file("svg"), text.as_bytes())?;
            disk::replace(&file("png"), &png(&text, &fonts)?)?;
        }
        Ok(files)
    }
}

/// The plane of a chart in a file, points.
const FILE_CANVAS: Canvas = Canvas { width: 720.0, height: 400.0, points: 13.0 };

/// Pixels of a chart to a point.
const FILE_SCALE: f32 = 2.0;

/// Quantities whose fields are drawn.
pub(crate) const BY_FIELD: [&str; 3] = ["uncovered_area_pct", "x50_0_um", "agglomerate_fraction_pct"];

/// A chart with the cautions below it, since a file goes where nobody sees the desk.
fn cautioned(mut scene: Scene) -> Scene {
    let size = 0.8 * FILE_CANVAS.points;
    for line in summary::CAUTION.lines() {
        scene.height += 1.4 * size;
        let at = [size, scene.height - 0.5 * size];
        let (anchor, baseline) = (Anchor::Start, Baseline::Alphabetic);
        scene.marks.push(Mark::Text { at, text: line.into(), size, anchor, baseline, ink: Ink::Quiet, bold: false, turned: false });
    }
    scene.height += 0.5 * size;
    scene
}

/// The letters that charts ask for first, so that a chart looks alike on every machine.
fn fonts() -> Arc<fontdb::Database> {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(crate::theme::MORE_LETTERS.to_vec());
    fonts.set_sans_serif_family("DejaVu Sans");
    Arc::new(fonts)
}

/// A chart as pixels.
fn png(svg: &str, fonts: &Arc<fontdb::Database>) -> Result<Vec<u8>, Fault> {
    let failed = |why: String| Fault::work(format!("the chart cannot be drawn as pixels: {why}"), "take the SVG, which was written");
    let options = usvg::Options { fontdb: Arc::clone(fonts), ..usvg::Options::default() };
    let tree = usvg::Tree::from_str(svg, &options).map_err(|e| failed(e.to_string()))?;
    let side = |points: f32| (points * FILE_SCALE).ceil();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a chart of ours")]
    let (width, height) = (side(tree.size().width()) as u32, side(tree.size().height()) as u32);
    let mut pixels = Pixmap::new(width, height).ok_or_else(|| failed("it has no size".into()))?;
    resvg::render(&tree, Transform::from_scale(FILE_SCALE, FILE_SCALE), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| failed(e.to_string()))
}
