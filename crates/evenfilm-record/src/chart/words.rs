//! Numbers as charts say them.

use evenfilm_core::quantity::QUANTITIES;

use crate::numbers;

/// A number with three significant digits.
pub(super) fn short(value: f64) -> String {
    let rounded = format!("{value:.2e}").parse().ok();
    numbers::text(rounded)
}

/// A number with three significant digits and its unit, "" for none.
pub(super) fn with_unit(value: f64, unit: &str) -> String {
    if unit.is_empty() { short(value) } else { format!("{} {unit}", short(value)) }
}

/// The limits of a quantity: "at most 10 µm".
pub(super) fn limits(min: Option<f64>, max: Option<f64>, unit: &str) -> Option<String> {
    match (min, max) {
        (Some(min), Some(max)) => Some(format!("{} to {}", short(min), with_unit(max, unit))),
        (Some(min), None) => Some(format!("at least {}", with_unit(min, unit))),
        (None, Some(max)) => Some(format!("at most {}", with_unit(max, unit))),
        (None, None) => None,
    }
}

/// The name of a quantity as read out: its symbol where that is one of sizes, else its id without the unit, blanks for underscores.
pub(super) fn id_name(id: &str) -> String {
    let symbol = QUANTITIES.iter().find(|quantity| quantity.id == id).map_or("", |quantity| quantity.symbol);
    if symbol.contains(char::is_numeric) {
        return symbol.into();
    }
    let unit = QUANTITIES.iter().find(|quantity| quantity.id == id).map_or("", |quantity| quantity.unit);
    let ending = match unit {
        "µm" => "_um",
        "%" => "_pct",
        "mm²" => "_mm2",
        "mm⁻²" => "_per_mm2",
        _ => "",
    };
    id.strip_suffix(ending).unwrap_or(id).replace('_', " ").replace(" od", " OD")
}
