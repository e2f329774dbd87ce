//! The reader of corrections: what it takes, it writes out and reads again, each line of it.
#![no_main]

use std::path::Path;

use evenfilm_record::corrections::Corrections;

libfuzzer_sys::fuzz_target!(|text: &str| {
    let read = |text: &str| Corrections::parse(text, Path::new("corrections.csv"));
    if let Ok(corrections) = read(text) {
        let written = String::from_utf8(corrections.csv()).expect("tables are UTF-8");
        let again = read(&written).expect("what was written out can be read");
        let plain = |all: &Corrections| {
            all.lines
                .iter()
                .map(|line| (line.field.clone(), line.change, line.reason.clone(), line.by.clone(), line.at.clone()))
                .collect::<Vec<_>>()
        };
        assert_eq!(plain(&again), plain(&corrections));
    }
});
