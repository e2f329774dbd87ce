//! The reader of manifests, and of the declaration: no accepted path leads out of the bag, and what is accepted is read again as the same.
#![no_main]

use evenfilm_record::bag::read::declaration::{self, Version};
use evenfilm_record::bag::read::manifest::{Kind, Rules, parse};
use evenfilm_record::finding::Findings;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    declaration::parse(bytes, &mut Findings::default());
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    for kind in [Kind::Payload, Kind::Tag] {
        for version in [Version { major: 0, minor: 97 }, Version::FINAL] {
            let rules = Rules { kind, version, digits: 8 };
            let mut findings = Findings::default();
            let entries = parse(text, "manifest-x.txt", rules, &mut findings);
            for entry in &entries {
                assert!(entry.path.split('/').all(|name| !matches!(name, "" | "." | "..")), "{:?}", entry.path);
                assert!(!entry.path.contains(['\\', '\0', ':']) && !entry.path.starts_with('~'), "{:?}", entry.path);
                assert_eq!(entry.path.starts_with("data/"), kind == Kind::Payload);
            }
            if version.is_final() {
                let path = |path: &str| path.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A");
                // Behind "./" a blank or an asterisk at the beginning is part of the name.
                let again: String = entries.iter().map(|entry| format!("{}  ./{}\n", entry.digest, path(&entry.path))).collect();
                let again = parse(&again, "manifest-x.txt", rules, &mut Findings::default());
                let plain = |entries: &[evenfilm_record::bag::read::manifest::Entry]| {
                    entries.iter().map(|entry| (entry.digest.clone(), entry.path.clone())).collect::<Vec<_>>()
                };
                assert_eq!(plain(&again), plain(&entries));
            }
        }
    }
});
