//! Reference values kept beside the tests, and where they lie.

pub mod simulate;

use std::path::{Path, PathBuf};

use serde_json::Value;

/// The folder of outside references.
pub fn reference() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("reference")
}

/// A file of reference values.
///
/// # Panics
/// When the file is missing or no JSON: then the tests have nothing to stand on.
pub fn values(name: &str) -> Value {
    let path = reference().join("values").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The cases of a file of reference values.
///
/// # Panics
/// When there are none.
pub fn cases(name: &str) -> Vec<Value> {
    let cases = values(name)["cases"].as_array().cloned().unwrap_or_default();
    assert!(!cases.is_empty(), "{name} holds no cases");
    cases
}

/// Expected values of one published or computed check.
///
/// # Panics
/// When the id is unknown.
pub fn check(id: &str) -> Value {
    let all = values("check-values.json");
    let found = all["checks"].as_array().and_then(|c| c.iter().find(|c| c["id"] == id)).cloned();
    found.unwrap_or_else(|| panic!("no check {id}"))
}

/// A number of a reference.
///
/// # Panics
/// When it is none.
pub fn number(of: &Value) -> f64 {
    of.as_f64().unwrap_or_else(|| panic!("{of} is no number"))
}

/// Numbers of a reference.
pub fn numbers(of: &Value) -> Vec<f64> {
    of.as_array().map(|a| a.iter().map(number).collect()).unwrap_or_default()
}

/// Rows of '0' and '1' as booleans, row after row, with the width.
pub fn bits(case: &Value) -> (Vec<bool>, usize) {
    let rows: Vec<&str> = case["rows"].as_array().map(|r| r.iter().filter_map(Value::as_str).collect()).unwrap_or_default();
    (rows.iter().flat_map(|r| r.bytes().map(|b| b == b'1')).collect(), rows.first().map_or(0, |r| r.len()))
}

/// A picture of a reference as heights over its level, inside positive, row after row, with the width.
pub fn heights(case: &Value) -> (Vec<f32>, usize) {
    let darker = case["inside_is_darker"] == true;
    let level = number(&case["level"]);
    let rows: Vec<Vec<f64>> = case["pixels"].as_array().map(|r| r.iter().map(numbers).collect()).unwrap_or_default();
    #[expect(clippy::cast_possible_truncation, reason = "levels and halves are exact in f32")]
    let values = rows.concat().iter().map(|v| (if darker { level - v } else { v - level }) as f32).collect();
    (values, rows.first().map_or(0, Vec::len))
}

/// Whole numbers from 0 to 9, the same for a seed.
pub fn digits(seed: u64) -> impl Iterator<Item = u64> {
    let mut state = seed;
    std::iter::repeat_with(move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % 10
    })
}
