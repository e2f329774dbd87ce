//! What the tables say of other files of the record: the pictures that were measured, the overlays drawn of them, the recipe, the sheet.

use std::path::Path;

use super::{Record, column, table_of};
use crate::bag::read::RESTORE;
use crate::finding::{Finding, Findings};
use crate::names::printable;
use crate::sheet::Sheet;

const FIELDS: &str = "data/fields.csv";
const RECIPE: &str = "data/recipe.toml";
const SHEET: &str = "data/batch.toml";

pub(super) fn check(record: &Record<'_>, findings: &mut Findings) {
    let fields = table_of(record.folder, record.bag, FIELDS);
    let digest = |file: &str| record.bag.digests.get(&("sha256", file.to_owned()));
    let (places, digests) = (column(&fields, "archived_as"), column(&fields, "picture_sha256"));
    for (place, stated) in places.iter().zip(&digests) {
        let file = format!("data/{place}");
        match digest(&file) {
            // It is on no list, or gone from its place, which is told already.
            None if record.bag.files.contains_key(&file) || record.bag.listed.contains(&file) => {}
            None => {
                let message = format!("the picture {} is nowhere in the record, though it was measured", printable(place));
                findings.push(Finding::fault("picture_missing", message, RESTORE).at(FIELDS));
            }
            Some(found) if found != stated => {
                let message = format!("is not the picture that was measured: {FIELDS} gives another digest");
                findings.push(Finding::fault("picture_differs", message, RESTORE).at(file));
            }
            Some(_) => {}
        }
    }
    let overlays = record.bag.files.keys().filter(|file| file.starts_with("data/overlays/")).count();
    if overlays != places.len() {
        let message = format!("holds {overlays} overlays for {} fields", places.len());
        findings.push(Finding::fault("overlays", message, RESTORE).at("data/overlays"));
    }
    if let Some((stated, found)) = record.column("recipe_sha256").first().zip(digest(RECIPE))
        && found != stated
    {
        let message = "is not the recipe that data/record.csv names by its digest";
        findings.push(Finding::fault("recipe_differs", message, RESTORE).at(RECIPE));
    }
    let sheet = record.open(SHEET).and_then(|open| std::io::read_to_string(std::io::Read::take(open, 4 << 20)).ok());
    if let Some((sheet, lot)) = sheet.and_then(|text| Sheet::parse(&text, Path::new(SHEET)).ok()).zip(record.column("lot").first())
        && sheet.lot != *lot
    {
        let message = format!("is the sheet of the lot {}, not of {}", printable(&sheet.lot), printable(lot));
        findings.push(Finding::fault("lot_differs", message, RESTORE).at(SHEET));
    }
}
