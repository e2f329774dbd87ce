//! The reader of journals and of heads that were kept: whatever the text, it is judged line by line, and a head goes to text and back.
#![no_main]

use evenfilm_record::journal::check::{Head, check};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let checked = check(bytes, None);
    assert!(checked.entries <= bytes.split(|&b| b == b'\n').count());
    if let Some(head) = &checked.head {
        assert_eq!(Head::parse(&head.text()).as_ref(), Some(head));
        // What is whole goes on from its own head.
        assert_eq!(check(bytes, Some(head)).is_whole(), checked.is_whole());
    }
    if let Ok(text) = std::str::from_utf8(bytes)
        && let Some(head) = Head::parse(text)
    {
        assert_eq!(Head::parse(&head.text()), Some(head));
    }
});
