//! The reader of bag-info.txt: what it takes, written out, is read as the same.
#![no_main]

use evenfilm_record::bag::read::declaration::Version;
use evenfilm_record::bag::read::info::parse;
use evenfilm_record::finding::Findings;

libfuzzer_sys::fuzz_target!(|text: &str| {
    for version in [Version { major: 0, minor: 97 }, Version::FINAL] {
        let elements = parse(text, "bag-info.txt", version, &mut Findings::default());
        let again: String = elements.iter().map(|element| format!("{}: {}\n", element.label, element.value)).collect();
        let mut findings = Findings::default();
        let again = parse(&again, "bag-info.txt", Version::FINAL, &mut findings);
        let plain = |elements: &[evenfilm_record::bag::read::info::Element]| {
            elements.iter().map(|element| (element.label.clone(), element.value.clone())).collect::<Vec<_>>()
        };
        assert_eq!(plain(&again), plain(&elements));
        assert_eq!(findings.faults(), 0);
    }
});
