//! Names of lots and pictures to names of files that every common file system takes.
//!
//! A name that is fine stays as it is, in Unicode NFC. Any other becomes a safe form of itself, a hyphen, and 8 hexadecimal digits of the
//! SHA-256 of the whole name (NFC, UTF-8), so that two names never meet.

use std::collections::BTreeSet;

use unicode_normalization::UnicodeNormalization;

use crate::digest::sha256_hex;
use crate::journal::JOURNAL;

/// Longest name in bytes: leaves room for a revision, a suffix and the limits of 143 and 255 bytes that file systems have.
pub const LONGEST_BYTES: usize = 100;

/// What stands in for a name of which nothing safe is left.
const NAMELESS: &str = "lot";

/// Names in the folder of all records that no lot may have.
const BESIDE: [&str; 2] = [JOURNAL, "settings.toml"];

/// The folder of a lot.
pub fn folder_name(lot: &str) -> String {
    let nfc: String = lot.nfc().collect();
    // Files that lie beside the lots' folders.
    let taken = BESIDE.iter().any(|name| nfc.to_lowercase() == *name);
    if is_safe(&nfc) && !taken { nfc } else { made_safe(&nfc, &nfc, NAMELESS) }
}

/// The file that a picture is archived as; its ending stays. Also free of `%`, which checkers of bags read in two ways.
pub fn file_name(name: &str) -> String {
    let nfc: String = name.nfc().collect();
    if is_safe(&nfc) && !nfc.contains('%') {
        return nfc;
    }
    let (stem, ending) = match nfc.rsplit_once('.') {
        Some((stem, ending)) if is_ending(ending) => (stem, format!(".{ending}")),
        _ => (nfc.as_str(), String::new()),
    };
    format!("{}{ending}", made_safe(&stem.replace('%', "_"), &nfc, "picture"))
}

/// A name without what would steer a terminal.
pub fn printable(name: &str) -> String {
    name.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}

/// Gives every picture of a lot a place of its own, also where a file system does not tell capitals apart.
#[derive(Debug, Default)]
pub struct Places {
    taken: BTreeSet<String>,
}

impl Places {
    /// The place of a picture that the sheet calls `name`: its path with `/` between safe names. What leads out of the lot's folder (a
    /// root, a drive, `..`) is left away.
    pub fn give(&mut self, name: &str) -> String {
        let parts = name.split(['/', '\\']).filter(|part| !matches!(*part, "" | "." | "..") && !part.ends_with(':'));
        let mut parts: Vec<String> = parts.map(file_name).collect();
        let place = parts.join("/");
        if !place.is_empty() && self.taken.insert(place.to_lowercase()) {
            return place;
        }
        let last = parts.pop().unwrap_or_else(|| "picture".into());
        let (stem, ending) = last.rsplit_once('.').map_or((last.as_str(), String::new()), |(s, e)| (s, format!(".{e}")));
        let digest = sha256_hex(name.as_bytes());
        parts.push(format!("{stem}-{}{ending}", &digest[..8]));
        let place = parts.join("/");
        self.taken.insert(place.to_lowercase());
        place
    }
}

fn is_ending(ending: &str) -> bool {
    (1..=8).contains(&ending.len()) && ending.bytes().all(|b| b.is_ascii_alphanumeric())
}

/// The safe form of `part` with the digest of `whole`.
fn made_safe(part: &str, whole: &str, nameless: &str) -> String {
    let digest = sha256_hex(whole.as_bytes());
    let replaced: String = part.chars().map(|c| if is_forbidden(c) { '_' } else { c }).collect();
    let replaced = replaced.replace("..", "_");
    let mut safe = trim(shortened(&replaced, LONGEST_BYTES - 20));
    if safe.chars().all(|c| c == '_') {
        safe = nameless;
    }
    // The hyphen ends what Windows takes for a device: "CON" is one, "CON-1a2b3c4d" is none, but "CON.x-1a2b3c4d" is.
    let safe = if is_reserved(safe) { safe.replace('.', "_") } else { safe.to_owned() };
    format!("{safe}-{}", &digest[..8])
}

fn is_safe(nfc: &str) -> bool {
    !nfc.is_empty()
        && nfc.len() <= LONGEST_BYTES
        && !nfc.contains(is_forbidden)
        && trim(nfc) == nfc
        && !nfc.contains("..")
        && !is_reserved(nfc)
}

/// Characters that a file system, a shell or a reader of lists takes for something else: also marks that cannot be seen.
fn is_forbidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '/' | '\\' | ':' | '*' | '?' | '"' | '<' | '>' | '|')
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}' | '\u{fffd}')
}

/// Without what may not stand first (a dot hides, a hyphen looks like an option, a tilde like a home, `=+@` like a formula) or last.
fn trim(name: &str) -> &str {
    name.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, '.' | '-' | '~' | '=' | '+' | '@'))
        .trim_end_matches(|c: char| c.is_whitespace() || c == '.')
}

/// Names of devices on Windows, with any ending.
fn is_reserved(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default().trim_end().to_ascii_uppercase();
    let numbered = |device: &str| {
        let digit = stem.strip_prefix(device).unwrap_or_default();
        matches!(digit, "0" | "1" | "2" | "3" | "4" | "5" | "6" | "7" | "8" | "9" | "¹" | "²" | "³")
    };
    matches!(stem.as_str(), "CON" | "PRN" | "AUX" | "NUL" | "CONIN$" | "CONOUT$") || numbered("COM") || numbered("LPT")
}

/// The longest start of at most `bytes` bytes that ends between characters.
fn shortened(name: &str, bytes: usize) -> &str {
    let end = (0..=bytes.min(name.len())).rev().find(|&i| name.is_char_boundary(i)).unwrap_or(0);
    &name[..end]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn good_names_stay() {
        for name in ["TS-0412", "Φιλμ 3", "lot 🧴", "a.b", "COM10", "100%", "é"] {
            assert_eq!(folder_name(name), name);
        }
    }

    #[test]
    fn composed_and_decomposed_names_are_one() {
        assert_eq!(folder_name("e\u{301}"), "é");
        assert_eq!(folder_name("e\u{301}/"), folder_name("é/"));
    }

    #[test]
    fn bad_names_are_made_safe_and_stay_apart() {
        let long = "x".repeat(300);
        let names = [
            "a/b",
            "a\\b",
            "a:b",
            "a_b/",
            "..",
            ".",
            "",
            "../../etc",
            "CON",
            "con",
            "nul.txt",
            "LPT1",
            "=cmd",
            "-rf",
            "~root",
            " a",
            "a ",
            "a.",
            ".a",
            "a\nb",
            "a\u{202e}b",
            "\u{7f}",
            long.as_str(),
            "a..b",
            "CON.x:y",
            "@x",
            "+x",
        ];
        let mut made: Vec<String> = names.iter().map(|n| folder_name(n)).collect();
        for (name, safe) in names.iter().zip(&made) {
            assert!(is_safe(safe), "{name:?} became {safe:?}");
            assert_eq!(&folder_name(safe), safe, "a safe form is fine itself");
            assert_eq!(safe.rsplit_once('-').unwrap().1, &sha256_hex(name.as_bytes())[..8]);
        }
        made.sort();
        made.dedup();
        assert_eq!(made.len(), names.len());
    }

    #[test]
    fn formulas_and_slashes_read_as_before() {
        assert!(folder_name("=cmd").starts_with("cmd-"));
        assert!(folder_name("TS/12").starts_with("TS_12-"));
        assert!(folder_name("..").starts_with("lot-"));
        assert!(folder_name("Journal.jsonl").starts_with("Journal.jsonl-"), "the journal lies there");
    }

    #[test]
    fn long_names_end_between_characters() {
        let name = folder_name(&"🧴".repeat(75));
        assert!(name.len() <= LONGEST_BYTES && name.starts_with("🧴🧴"));
    }

    #[test]
    fn pictures_do_not_meet_or_leave() {
        let mut places = Places::default();
        assert_eq!(places.give("a/f01.tif"), "a/f01.tif");
        assert_eq!(places.give("blank.tif"), "blank.tif");
        assert_eq!(places.give("../blank.tif"), format!("blank-{}.tif", &sha256_hex(b"../blank.tif")[..8]));
        assert!(places.give("Blank.tif").starts_with("Blank-"));
        assert_eq!(places.give("C:\\x\\é.png"), "x/é.png");
        assert!(places.give("..").starts_with("picture-"));
    }

    #[test]
    fn pictures_keep_their_ending() {
        assert_eq!(file_name("f01.tif"), "f01.tif");
        for odd in ["CON.tif", "100% A.tif", "a:b.tif", &format!("{}.tif", "y".repeat(300))] {
            let name = file_name(odd);
            assert!(is_safe(&name) && name.rsplit_once('.').is_some_and(|(_, e)| e == "tif") && !name.contains('%'), "{name}");
        }
    }
}
