//! A lot under `reference/`, measured through the workflow that the command line uses.

use std::path::Path;
use std::sync::atomic::AtomicBool;

use evenfilm_record::folder::{Batch, Options};
use evenfilm_record::lot::{Job, LotOutcome, run};
use evenfilm_record::occasion::Occasion;
use evenfilm_record::time::Moment;
use evenfilm_tests::{number, reference};
use serde_json::Value;

/// A table of a record: its rows by column name.
pub(crate) struct Table {
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    fn read(path: &Path) -> Self {
        let text = std::fs::read_to_string(path).unwrap();
        let mut lines = text.lines().map(|l| l.split(',').map(str::to_owned).collect::<Vec<_>>());
        Self { columns: lines.next().unwrap(), rows: lines.collect() }
    }

    pub(crate) fn column(&self, id: &str) -> Vec<&str> {
        let at = self.columns.iter().position(|c| c == id).unwrap();
        self.rows.iter().map(|row| row[at].as_str()).collect()
    }

    /// A column of numbers; NaN where a cell is empty.
    pub(crate) fn numbers(&self, id: &str) -> Vec<f64> {
        self.column(id).iter().map(|cell| if cell.is_empty() { f64::NAN } else { cell.parse().unwrap() }).collect()
    }
}

/// A lot: its truth where it has one, and what was measured.
pub(crate) struct Lot {
    pub(crate) name: String,
    pub(crate) truth: Value,
    pub(crate) outcome: LotOutcome,
    pub(crate) objects: Table,
    pub(crate) gaps: Option<Table>,
}

impl Lot {
    /// A kept film, measured by its own recipe.
    pub(crate) fn measured(name: &str) -> Self {
        Self::of(&format!("films/{name}"), None)
    }

    /// A lot under `reference/`, by the recipe beside it or by another one, given by its text.
    pub(crate) fn of(name: &str, recipe: Option<&str>) -> Self {
        let folder = reference().join(name);
        let out = tempfile::tempdir().unwrap();
        let mut options = Options::default();
        if let Some(text) = recipe {
            let path = out.path().join("recipe.toml");
            std::fs::write(&path, text).unwrap();
            options.recipe = Some(path);
        }
        let truth = std::fs::read_to_string(folder.join("truth.json")).map_or(Value::Null, |text| serde_json::from_str(&text).unwrap());
        let moment = Moment::now().unwrap();
        let cancel = AtomicBool::new(false);
        let job = Job { out: out.path(), occasion: &Occasion::at(moment.clone(), "test"), cancel: &cancel, tell: &|_| () };
        let outcome = run(&Batch::open(&folder, &options).unwrap(), &job).unwrap();
        let data = outcome.record_dir.join("data");
        let gaps = data.join("gaps.csv");
        let gaps = gaps.exists().then(|| Table::read(&gaps));
        Self { name: name.to_owned(), truth, objects: Table::read(&data.join("objects.csv")), gaps, outcome }
    }

    pub(crate) fn truth(&self, id: &str) -> f64 {
        number(&self.truth["truth"][id])
    }

    pub(crate) fn value(&self, id: &str) -> f64 {
        self.outcome.value(id).and_then(|v| v.value).unwrap_or_else(|| panic!("{}: {id} was not measured", self.name))
    }
}
