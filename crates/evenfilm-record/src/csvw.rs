//! Metadata beside each table: W3C CSV on the Web (Recommendation of 17 December 2015).

use serde_json::{Value, json};

use crate::tables::{Column, Table};

/// The content of `<name>.csv-metadata.json`: what each column holds, in which unit, and where its definition comes from.
///
/// The header is one of the titles of each column, as the recommendation asks; the symbol is another where there is one. Prefixes
/// (`dc`, `schema`) are those of its initial context.
pub fn metadata<R>(table: &Table<R>) -> Vec<u8> {
    let mut schema = json!({ "@type": "Schema", "columns": table.columns.iter().map(column).collect::<Vec<_>>() });
    if !key(table.name).is_empty() {
        schema["primaryKey"] = json!(key(table.name));
    }
    let document = json!({
        "@context": ["http://www.w3.org/ns/csvw", { "@language": "en" }],
        "@type": "Table",
        "url": format!("{}.csv", table.name),
        "dc:description": table.about,
        "dialect": { "encoding": "utf-8", "lineTerminators": ["\r\n"], "header": true },
        "tableSchema": schema,
    });
    let mut text = serde_json::to_vec_pretty(&document).unwrap_or_default();
    text.push(b'\n');
    text
}

/// The columns that tell the rows of a table apart, where some do and are never empty.
fn key(table: &str) -> &'static [&'static str] {
    match table {
        "fields" => &["field"],
        "objects" | "gaps" => &["field", "id"],
        _ => &[],
    }
}

fn column<R>(column: &Column<R>) -> Value {
    let titles = if column.symbol.is_empty() { json!(column.id) } else { json!([column.id, column.symbol]) };
    let mut described = json!({
        "name": column.id,
        "titles": titles,
        "datatype": column.datatype.word(),
        "dc:description": column.definition,
    });
    if !column.unit.is_empty() {
        described["schema:unitText"] = json!(column.unit);
    }
    if !column.source.is_empty() {
        described["dc:source"] = json!(column.source);
    }
    described
}
