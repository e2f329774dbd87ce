//! Proof of an installation: films of known truth over the working range, rendered, measured the way any lot is, and held against what they
//! hold. The truth is geometry; what a kind of particle is known to read too small or too large is stated with each check, from films that
//! another renderer made (DEVELOPERS.md).

use std::fs;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use serde_json::Value;

use crate::fault::Fault;
use crate::folder::{self, Options};
use crate::lot::{self, Job, Memo, ObjectiveOutcome};
use crate::occasion::Occasion;
use crate::phantom_files::{PhantomOptions, RulingOptions, write_phantom, write_ruling};
use crate::ruling::{Pitch, measure_ruling};
use crate::time::Moment;

mod cases;

use cases::{Allowed, Truth};
pub use cases::{Case, cases};

/// One number held against what it should be.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// Case and quantity, as in `discs-8-px.x50_0_um`.
    pub id: String,
    /// What it should be: the truth, with the known bias of what the edge rule does not hold for.
    pub expected: f64,
    /// What was measured; `None` where it was not measured at all.
    pub found: Option<f64>,
    /// How far from the expected value it may lie, in its unit.
    pub allowed: f64,
    /// Its unit.
    pub unit: &'static str,
    /// What is known to bias it, in words; empty where nothing is.
    pub known: &'static str,
}

impl Check {
    /// Whether it lies as near as it must.
    pub fn ok(&self) -> bool {
        self.found.is_some_and(|found| (found - self.expected).abs() <= self.allowed)
    }
}

/// Renders and measures every case in a scratch folder, which is gone afterwards. `tell` hears each case as it begins, with its place among
/// all.
///
/// # Errors
/// The scratch folder cannot be written, or the work was stopped. A film that cannot be measured is a check that fails, not an error.
pub fn run(program_version: &str, cancel: &AtomicBool, tell: &(dyn Fn(&str, usize, usize) + Sync)) -> Result<Vec<Check>, Fault> {
    let scratch = tempfile::tempdir()
        .map_err(|e| Fault::work(format!("cannot make a scratch folder: {e}"), "make room in the folder for temporary files"))?;
    let moment = Moment::from_epoch("0")?;
    // What chance alone would show plays no part here: the least of it.
    let recipe = scratch.path().join("recipe.toml");
    fs::write(&recipe, "[chance]\nplacements = 1\n")
        .map_err(|e| Fault::work(format!("cannot write: {e}"), "make room in the folder for temporary files").at(&recipe))?;
    let cases = cases();
    let mut checks = Vec::new();
    for (i, case) in cases.iter().enumerate() {
        tell(case.id, i + 1, cases.len() + 1);
        let job =
            Job { out: &scratch.path().join("records"), occasion: &Occasion::at(moment.clone(), program_version), cancel, tell: &|_| () };
        checks.extend(check(case, &scratch.path().join(case.id), &job)?);
    }
    tell("ruling", cases.len() + 1, cases.len() + 1);
    checks.push(scale(&scratch.path().join("ruling"))?);
    Ok(checks)
}

/// Renders a ruling and measures the scale.
fn scale(folder: &Path) -> Result<Check, Fault> {
    let options = RulingOptions::new(20_260_304);
    let options = RulingOptions { picture: PhantomOptions { fields: 1, ..options.picture }, ..options };
    write_ruling(folder, &options)?;
    let ruled = measure_ruling(&folder.join("ruling.tif"), Pitch { um: options.ruling.pitch_um, u_um: 0.0 });
    let expected = options.picture.um_per_px;
    let found = ruled.ok().map(|ruled| ruled.scale.um_per_px);
    Ok(Check { id: "ruling.um_per_px".into(), expected, found, allowed: 0.0005 * expected, unit: "µm", known: "" })
}

/// Renders and measures one case.
fn check(case: &Case, folder: &Path, job: &Job<'_>) -> Result<Vec<Check>, Fault> {
    write_phantom(folder, &case.options)?;
    let text = fs::read(folder.join("truth.json"))
        .map_err(|e| Fault::work(format!("cannot read the truth: {e}"), "let no other program clean up the folder for temporary files"))?;
    let truth: Value = serde_json::from_slice(&text).unwrap_or_default();
    let opened = folder::open_all(&[folder.to_path_buf()], &Options::default());
    let measured = opened
        .into_iter()
        .next()
        .map(|opened| opened.batch.and_then(|batch| Ok(lot::inspect(&batch, job, &mut Memo::default())?.objectives)));
    let found = match measured {
        Some(Ok(objectives)) => objectives.into_iter().next(),
        Some(Err(fault)) if fault.kind == crate::fault::FaultKind::Interrupted => return Err(fault),
        Some(Err(_)) | None => None,
    };
    let _ = fs::remove_dir_all(folder);
    let checks = case.expects.iter().map(|expects| {
        let value = found.as_ref().and_then(|found| found.value(expects.quantity));
        let expected = expects.truth.of(&truth, found.as_ref()).unwrap_or(f64::NAN) * (1.0 + expects.bias_pct / 100.0);
        Check {
            id: format!("{}.{}", case.id, expects.quantity),
            expected,
            found: value.and_then(|value| value.value),
            allowed: match expects.allowed {
                Allowed::Percent(pct) => expected.abs() * pct / 100.0,
                Allowed::Points(points) => points,
            },
            unit: value.map_or("", |value| value.unit),
            known: expects.known,
        }
    });
    Ok(checks.collect())
}

impl Truth {
    /// The number; `None` where the truth does not have it. What counts depends on the smallest diameter that the program counts.
    fn of(self, truth: &Value, found: Option<&ObjectiveOutcome>) -> Option<f64> {
        match self {
            Self::Pooled(path) => path.iter().try_fold(&truth["pooled"], |value, key| value.get(key))?.as_f64(),
            Self::Counted => {
                let from = found?.value("size_from_um")?.value?;
                let least = std::f64::consts::PI / 4.0 * from * from;
                let objects = truth["fields"].as_array()?.iter().filter_map(|field| field["objects"].as_array()).flatten();
                Some(objects.filter(|object| object["area_in_frame_um2"].as_f64().is_some_and(|area| area >= least)).count() as f64)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use cases::Expects;

    #[test]
    fn a_wrong_number_fails() {
        let check = Check { id: "x".into(), expected: 10.0, found: Some(10.2), allowed: 0.1, unit: "µm", known: "" };
        assert!(!check.ok() && Check { allowed: 0.200_000_1, ..check.clone() }.ok());
        assert!(!Check { found: None, ..check.clone() }.ok() && !Check { found: Some(f64::NAN), ..check.clone() }.ok());
        assert!(!Check { expected: f64::NAN, ..check }.ok());
    }

    #[test]
    fn names_are_unique_and_every_quantity_is_reported() {
        let ids: Vec<String> = cases().iter().flat_map(|case| case.expects.iter().map(|e| format!("{}.{}", case.id, e.quantity))).collect();
        let once: std::collections::BTreeSet<&String> = ids.iter().collect();
        assert_eq!(once.len(), ids.len());
        let known = |e: &Expects| evenfilm_core::quantity::index_of(e.quantity).is_some();
        assert!(cases().iter().all(|case| case.expects.iter().all(known)));
    }

    #[test]
    fn a_case_is_measured_and_a_broken_scale_is_found() {
        let folder = tempfile::tempdir().unwrap();
        let moment = Moment::from_epoch("0").unwrap();
        let cancel = AtomicBool::new(false);
        let job = Job { out: &folder.path().join("records"), occasion: &Occasion::at(moment.clone(), "t"), cancel: &cancel, tell: &|_| () };
        let mut case = cases().into_iter().next().unwrap();
        let found = check(&case, &folder.path().join("a"), &job).unwrap();
        assert!(!found.is_empty() && found.iter().all(Check::ok), "{found:?}");
        // The same film beside a truth that is 3 % larger.
        case.expects.iter_mut().filter(|e| e.quantity.ends_with("_um")).for_each(|e| e.bias_pct = 3.0);
        let found = check(&case, &folder.path().join("b"), &job).unwrap();
        assert!(found.iter().any(|check| !check.ok()), "{found:?}");
        assert!(fs::read_dir(folder.path()).unwrap().flatten().all(|e| e.file_name() == "records"), "the films are gone");
    }
}
