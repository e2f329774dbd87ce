//! Tables: the strict reader against csv-spectrum, and our own writer read back by it and by a library.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use evenfilm_record::corrections::{Change, Correction, Corrections};
use evenfilm_record::rfc4180::{LineEnd, Row, Rows};
use proptest::prelude::*;

fn read(input: impl std::io::BufRead, ends: LineEnd) -> Result<Vec<Vec<String>>, String> {
    let (mut rows, mut row, mut all) = (Rows::new(input, ends), Row::default(), Vec::new());
    while rows.read(&mut row).map_err(|broken| broken.what)? {
        all.push(row.cells().map(|cell| String::from_utf8(cell.to_vec()).unwrap()).collect());
    }
    Ok(all)
}

/// csv-spectrum 2.0.0 (BSD-2-Clause), twelve tables with what they hold as JSON. The strict reader is given line feeds alone as well, since
/// most of these have them. One is no CSV by RFC 4180: it has quotes within cells that do not begin with one.
#[test]
fn csv_spectrum() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/csv-spectrum");
    let mut names: Vec<_> = std::fs::read_dir(folder.join("csvs")).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort();
    assert_eq!(names.len(), 12);
    let mut refused = Vec::new();
    for path in names {
        let name = path.file_stem().unwrap().to_str().unwrap();
        let rows = match read(BufReader::new(File::open(&path).unwrap()), LineEnd::AlsoLf) {
            Ok(rows) => rows,
            Err(what) => {
                refused.push((name.to_owned(), what));
                continue;
            }
        };
        let expected: serde_json::Value =
            serde_json::from_slice(&std::fs::read(folder.join(format!("json/{name}.json"))).unwrap()).unwrap();
        let (header, rows) = rows.split_first().unwrap();
        let objects = rows.iter().map(|row| {
            assert_eq!(row.len(), header.len(), "{name}");
            header.iter().cloned().zip(row.iter().map(|cell| serde_json::json!(cell))).collect::<serde_json::Map<_, _>>().into()
        });
        assert_eq!(serde_json::Value::Array(objects.collect()), expected, "{name}");
    }
    assert_eq!(refused, [("location_coordinates".into(), "has a quote within a cell that does not begin with one".into())]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever people write into cells, our writer's table is RFC 4180 for the strict reader and for the csv library (1.4, Unlicense or
    /// MIT), which reads the same, and only an apostrophe before what a spreadsheet would run differs from what was written.
    #[test]
    fn what_is_written_is_read_back(texts in prop::collection::vec(prop::array::uniform3("[ -~\r\n\tµé😀\",=+@;']{0,12}"), 0..5)) {
        let line = |[field, reason, by]: &[String; 3]| Correction {
            line: 0, field: field.clone(), change: Change::LeaveOut, reason: reason.clone(), by: by.clone(), at: String::new(),
        };
        let csv = Corrections { lines: texts.iter().map(line).collect() }.csv();
        let strict = read(&csv[..], LineEnd::CrLf).map_err(TestCaseError::fail)?;
        let mut library = csv::ReaderBuilder::new().has_headers(false).from_reader(&csv[..]);
        let library: Vec<Vec<String>> = library.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
        prop_assert_eq!(&strict, &library);
        prop_assert_eq!(strict.len(), 1 + texts.len());
        for (row, [field, reason, by]) in strict[1..].iter().zip(&texts) {
            let guarded = |text: &String| format!("{}{text}", if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) { "'" } else { "" });
            let expected = [guarded(field), "field".into(), String::new(), String::new(), "leave_out".into(), String::new(), guarded(reason), guarded(by), String::new()];
            prop_assert_eq!(row, &expected);
        }
    }

    /// Any text: what the strict reader takes, the csv library reads in the same way.
    #[test]
    fn what_is_taken_is_read_as_the_library_reads_it(text in "[ab,\"\r\n]{0,24}") {
        let Ok(strict) = read(text.as_bytes(), LineEnd::CrLf) else { return Ok(()) };
        // The library skips lines without anything, and the standard does not.
        let strict: Vec<_> = strict.into_iter().filter(|row| row != &[""]).collect();
        let mut library = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
        let library: Vec<Vec<String>> = library.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).filter(|row: &Vec<String>| row != &[""]).collect();
        prop_assert_eq!(strict, library);
    }
}
