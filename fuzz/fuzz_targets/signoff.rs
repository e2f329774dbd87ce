//! Sign-offs: statements that can be read can be written and read again, and no text is a signature of ours or breaks the reader of signers.
#![no_main]

use std::path::Path;

use evenfilm_record::sign::{SIGNOFF, Signers, verify};
use evenfilm_record::signoff::Statement;

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Ok(statement) = Statement::parse(text.as_bytes()) {
        let again = Statement::parse(statement.text().as_bytes()).expect("what was written out can be read");
        // Fractions among the words of later versions may be rounded.
        assert_eq!(Statement { others: Default::default(), ..again }, Statement { others: Default::default(), ..statement });
    }
    assert!(verify(text, SIGNOFF, b"nobody signed this").is_err());
    if let Ok(signers) = Signers::parse(text, Path::new("allowed_signers")) {
        for signer in signers.lines() {
            let _ = signers.find(signer.key(), SIGNOFF, Default::default());
            let _ = signers.allows(signer.key(), signer.names(), SIGNOFF, Default::default());
        }
    }
});
