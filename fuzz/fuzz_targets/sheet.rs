//! The reader of sheets: what it takes, it writes out and reads again.
#![no_main]

use std::path::Path;

use evenfilm_record::sheet::Sheet;

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Ok(sheet) = Sheet::parse(text, Path::new("batch.toml")) {
        let again = Sheet::parse(&sheet.canonical(), Path::new("batch.toml")).expect("what was written out can be read");
        assert_eq!(again.canonical(), sheet.canonical());
    }
});
