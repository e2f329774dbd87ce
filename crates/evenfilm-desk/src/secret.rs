//! A passphrase while it is typed. The box that shows it sees dots only, so that neither its undo, the clipboard nor those who listen to the
//! window ever get it; its own bytes are wiped when it goes.

use std::hint::black_box;
use std::ops::Range;

use egui::TextBuffer;
use egui::text::CharIndex;

/// Longest passphrase, bytes: its place in memory is made at once, so that growing leaves no copy behind.
const LONGEST: usize = 1024;

/// What stands in the box for each character.
const DOT: char = '•';

/// Text that nobody is shown.
pub(crate) struct Secret {
    text: String,
    dots: String,
}

impl Default for Secret {
    fn default() -> Self {
        Self { text: String::with_capacity(LONGEST), dots: String::new() }
    }
}

/// Never prints what it holds.
impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Secret")
    }
}

impl Drop for Secret {
    fn drop(&mut self) {
        let mut bytes = std::mem::take(&mut self.text).into_bytes();
        bytes.resize(bytes.capacity(), 0);
        bytes.fill(0);
        // Otherwise the compiler may leave out to wipe what nobody reads.
        black_box(&bytes);
    }
}

impl Secret {
    /// What was typed.
    pub(crate) fn typed(&self) -> &str {
        &self.text
    }

    fn byte(&self, at: CharIndex) -> usize {
        self.text.char_indices().nth(at.0).map_or(self.text.len(), |(byte, _)| byte)
    }

    fn count(&mut self) {
        let count = self.text.chars().count();
        self.dots.clear();
        self.dots.extend(std::iter::repeat_n(DOT, count));
    }
}

impl TextBuffer for Secret {
    fn is_mutable(&self) -> bool {
        true
    }

    fn as_str(&self) -> &str {
        &self.dots
    }

    fn insert_text(&mut self, text: &str, char_index: CharIndex) -> usize {
        // What does not fit is refused as a whole.
        if self.text.len() + text.len() > self.text.capacity() {
            return 0;
        }
        let at = self.byte(char_index);
        self.text.insert_str(at, text);
        self.count();
        text.chars().count()
    }

    fn delete_char_range(&mut self, char_range: Range<CharIndex>) {
        let (from, to) = (self.byte(char_range.start), self.byte(char_range.end));
        self.text.drain(from..to.max(from));
        self.count();
    }

    /// Undo knows dots only, and would put them in place of the text.
    fn replace_with(&mut self, _: &str) {}

    fn type_id(&self) -> std::any::TypeId {
        std::any::TypeId::of::<Self>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_is_kept_and_dots_are_shown() {
        let mut secret = Secret::default();
        assert_eq!(secret.insert_text("wählt", CharIndex(0)), 5);
        assert_eq!(secret.insert_text("é ", CharIndex(2)), 2);
        assert_eq!((secret.typed(), secret.as_str()), ("wäé hlt", "•••••••"));
        secret.delete_char_range(CharIndex(1)..CharIndex(4));
        assert_eq!((secret.typed(), secret.as_str()), ("whlt", "••••"));
        secret.replace_with("••");
        assert_eq!(secret.typed(), "whlt", "undo changes nothing");
        assert_eq!(format!("{secret:?}"), "Secret");
        secret.clear();
        assert!(secret.typed().is_empty() && secret.as_str().is_empty());
    }

    #[test]
    fn it_never_grows_out_of_its_place() {
        let mut secret = Secret::default();
        let place = secret.text.as_ptr();
        assert_eq!(secret.insert_text(&"x".repeat(LONGEST), CharIndex(0)), LONGEST);
        let room = secret.text.capacity() - LONGEST;
        assert_eq!(secret.insert_text(&"y".repeat(room + 1), CharIndex(0)), 0);
        assert_eq!((secret.text.as_ptr(), secret.text.len()), (place, LONGEST));
    }
}
