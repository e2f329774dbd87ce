//! The one document that `--json` prints.

use std::path::Path;

use evenfilm_record::fault::Fault;
use evenfilm_record::lot::{Check, Judged, LotOutcome, Needed, ObjectiveOutcome, Timing, Verdict};
use evenfilm_record::numbers;
use serde_json::{Map, Value, json};

/// A lot that was measured, one entry for each objective.
pub(crate) fn measured(lot: &LotOutcome) -> Vec<Value> {
    lot.objectives.iter().map(|objective| entry(lot, objective)).collect()
}

/// What an objective gave: where it is kept, then every quantity by its id and, where it has one, the half width of its interval.
fn entry(lot: &LotOutcome, objective: &ObjectiveOutcome) -> Value {
    let mut object = Map::new();
    object.insert("lot".into(), json!(lot.lot));
    object.insert("record_dir".into(), json!(lot.record_dir.display().to_string()));
    object.insert("revision".into(), json!(lot.revision));
    object.insert("microscope".into(), json!(objective.microscope));
    object.insert("verdict".into(), json!(objective.judgement.verdict.map(Verdict::word)));
    object.insert("verdict_scope".into(), json!(objective.judgement.verdict.map(|_| objective.scope())));
    object.insert("decisions".into(), objective.judgement.decisions.iter().map(decision).collect());
    object.insert("check".into(), json!(objective.judgement.check.as_ref().map(Check::word)));
    object.insert("flags".into(), objective.flags.iter().map(flag).collect());
    object.insert("notes".into(), json!(objective.notes));
    object.insert("timing".into(), timing(&objective.timing));
    for value in &objective.values {
        object.insert(value.id.into(), number(value.value));
        for (ending, beside) in value.intervals() {
            object.insert(format!("{}_{ending}", value.id), number(beside));
        }
    }
    Value::Object(object)
}

/// A lot that could not be measured.
pub(crate) fn failed(lot: Option<&str>, folder: &Path, fault: &Fault) -> Value {
    let error = error(fault);
    match lot {
        Some(lot) => json!({ "lot": lot, "folder": folder.display().to_string(), "error": error }),
        None => json!({ "folder": folder.display().to_string(), "error": error }),
    }
}

/// Who must act, where, what is wrong, what to do.
pub(crate) fn error(fault: &Fault) -> Value {
    json!({
        "kind": fault.kind.word(),
        "file": fault.file.as_ref().map(|file| file.display().to_string()),
        "line": fault.line,
        "message": fault.message,
        "remedy": fault.remedy,
    })
}

fn flag(flag: &evenfilm_record::lot::FieldFlag) -> Value {
    json!({
        "id": flag.flag.id,
        "field": flag.field,
        "file": flag.file,
        "value": number(flag.flag.value),
        "limit": number(flag.flag.limit),
        "advice": flag.flag.advice,
    })
}

fn decision(judged: &Judged) -> Value {
    let (limit, decision) = (&judged.limit, &judged.decision);
    let (slides, fields) = match decision.needed {
        Some(Needed::Slides(n)) => (Some(n), None),
        Some(Needed::Fields(n)) => (None, Some(n)),
        Some(Needed::More) | None => (None, None),
    };
    json!({
        "quantity": limit.quantity,
        "min": number(limit.min),
        "max": number(limit.max),
        "rule": limit.rule.word(),
        "value": number(decision.value),
        "low": number(decision.interval.map(|ends| ends[0])),
        "high": number(decision.interval.map(|ends| ends[1])),
        "outcome": decision.outcome.word(),
        "why": decision.why.word(),
        "probability": number(decision.probability),
        "slides_needed": slides,
        "fields_needed": fields,
        "at_most_per_mm2": number(decision.at_most_per_mm2),
    })
}

fn timing(timing: &Timing) -> Value {
    json!({
        "read_s": number(Some(timing.read_s)),
        "measure_s": number(Some(timing.measure_s)),
        "simulate_s": number(Some(timing.simulate_s)),
        "write_s": number(Some(timing.write_s)),
    })
}

/// A number with the digits that a record has; null for "not measured".
pub(crate) fn number(value: Option<f64>) -> Value {
    serde_json::from_str(&numbers::text(value)).unwrap_or(Value::Null)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_the_digits_of_the_record() {
        let texts = [None, Some(12.0), Some(2.0 / 3.0), Some(1e-9), Some(f64::NAN)].map(|v| number(v).to_string());
        assert_eq!(texts, ["null", "12", "0.666666667", "1e-9", "null"]);
    }

    #[test]
    fn a_failed_lot_says_who_must_do_what() {
        let fault = Fault::input("no scale", "add um_per_px").at("a/batch.toml").on_line(3);
        let value = failed(None, Path::new("a"), &fault);
        assert_eq!(
            value["error"],
            json!({"kind": "input", "file": "a/batch.toml", "line": 3, "message": "no scale", "remedy": "add um_per_px"})
        );
        assert_eq!(value["folder"], "a");
        assert_eq!(failed(Some("L"), Path::new("a"), &fault)["lot"], "L");
    }
}
