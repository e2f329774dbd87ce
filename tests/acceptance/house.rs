//! Rules of the house that no compiler knows: every module says what it is, and no text claims what a slide under a microscope cannot show.

use std::path::{Path, PathBuf};

use evenfilm_core::quality::FLAGS;
use evenfilm_core::quantity::QUANTITIES;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Files below a folder whose name ends so, without build results.
fn files(folder: &Path, ending: &str, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && !path.ends_with("target") {
            files(&path, ending, found);
        } else if path.to_string_lossy().ends_with(ending) {
            found.push(path);
        }
    }
}

#[test]
fn every_module_says_what_it_is() {
    let mut sources = Vec::new();
    files(&root().join("crates"), ".rs", &mut sources);
    files(&root().join("tests"), ".rs", &mut sources);
    assert!(sources.len() > 50, "{} sources", sources.len());
    let silent: Vec<_> = sources.iter().filter(|p| !std::fs::read_to_string(p).unwrap().starts_with("//! ")).collect();
    assert!(silent.is_empty(), "without a first line: {silent:?}");
}

#[test]
fn the_table_of_flags_is_the_one_table() {
    let row = |f: &evenfilm_core::quality::About| format!("| `{}` | {} | {} | {} |\n", f.id, f.means, f.limit_in_words(), f.advice);
    let rows: String = FLAGS.iter().map(row).collect();
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    assert!(readme.contains(&format!("| --- | --- | --- | --- |\n{rows}\n")), "README.md must print:\n{rows}");
    for (i, flag) in FLAGS.iter().enumerate() {
        assert!(flag.id.bytes().all(|c| c.is_ascii_lowercase() || c == b'_'), "{}", flag.id);
        assert!(FLAGS[..i].iter().all(|other| other.id != flag.id), "{} twice", flag.id);
    }
    // No flag is made but from the table.
    let mut sources = Vec::new();
    files(&root().join("crates"), ".rs", &mut sources);
    let by_hand = sources.iter().filter(|p| std::fs::read_to_string(p).unwrap().contains("Flag { id: ")).collect::<Vec<_>>();
    assert!(by_hand.len() == 1 && by_hand[0].ends_with("evenfilm-core/src/quality.rs"), "{by_hand:?}");
}

/// Words that must not be claimed of a film, a lot or a record ("never printed or implied").
const NEVER: [&str; 21] = [
    "nano",
    "free of agglomerates",
    "homogeneous",
    "aggregate",
    "released",
    "passed",
    "compliant",
    "validated",
    "certified",
    "tamper-proof",
    "tamperproof",
    "protects",
    "cover on skin",
    "uva protection",
    "sun protection",
    "protection factor",
    "certifies",
    "validates",
    "conforms to part 11",
    "part 11",
    "gxp",
];

/// A sentence that denies may use a word that may not be claimed.
const DENIALS: [&str; 2] = ["supports a validated procedure and is none", "protection claims rest on the official tests"];

/// The words of [`NEVER`] in a text, and SPF or UVA outside a sentence that denies or defers.
fn claims(text: &str) -> Vec<String> {
    let mut lower = text.to_lowercase();
    for denial in DENIALS {
        lower = lower.replace(denial, "");
    }
    let word = |w: &str| lower.match_indices(w).any(|(at, _)| !lower[..at].ends_with(|c: char| c.is_alphabetic()));
    let mut found: Vec<String> = NEVER.iter().filter(|w| word(w)).map(|w| (*w).to_owned()).collect();
    for line in text.lines().filter(|l| l.contains("SPF") || l.contains("UVA")) {
        if !["no SPF", "official tests", "ISO 24444", "ISO 24443"].iter().any(|m| line.contains(m)) {
            found.push(line.to_owned());
        }
    }
    found
}

/// The string literals of a source, which are what it can print, and its documentation where that is the help of the command line.
fn literals(source: &str, with_help: bool) -> String {
    let mut found = String::new();
    let mut rest = source;
    while let Some(at) = rest.find(['"', '\'', '/']) {
        rest = &rest[at..];
        let taken = if rest.starts_with("//") {
            let end = rest.find('\n').unwrap_or(rest.len());
            if with_help && rest.starts_with("///") {
                found.push_str(&rest[..end]);
                found.push('\n');
            }
            end
        } else if rest.starts_with('"') {
            let end = end_of_text(rest);
            found.push_str(&rest[1..end - 1]);
            found.push('\n');
            end
        } else {
            // Characters that would look like the beginning of a text or of a comment.
            ["'\"'", "'\\\"'", "'\\''", "'/'"].into_iter().find(|c| rest.starts_with(c)).map_or(1, str::len)
        };
        rest = &rest[taken..];
    }
    found
}

/// The place behind the closing quote of a literal that begins with its opening one.
fn end_of_text(from: &str) -> usize {
    let mut escaped = false;
    let close = |(_, c): &(usize, char)| {
        let closes = *c == '"' && !escaped;
        escaped = *c == '\\' && !escaped;
        closes
    };
    from.char_indices().skip(1).find(close).map_or(from.len(), |(at, _)| at + 1)
}

#[test]
fn no_text_claims_what_a_slide_cannot_show() {
    let mut texts: Vec<(String, String)> =
        vec![("quantities".into(), QUANTITIES.iter().flat_map(|q| [q.definition, q.source, q.symbol]).collect::<Vec<_>>().join("\n"))];
    let mut whole = vec![root().join("README.md"), root().join("sample-images/README.md"), root().join("CHANGELOG.md")];
    files(&root().join("sample-images"), ".toml", &mut whole);
    // What a record says of itself, beside its numbers.
    let golden = root().join("tests/reference/records");
    for ending in ["bag-info.txt", ".csv-metadata.json", ".json"] {
        files(&golden, ending, &mut whole);
    }
    assert!(whole.len() > 20, "{whole:?}");
    texts.extend(whole.iter().map(|path| (path.display().to_string(), std::fs::read_to_string(path).unwrap())));
    let mut sources = Vec::new();
    for folder in ["crates/evenfilm/src", "crates/evenfilm-record/src", "crates/evenfilm-core/src", "crates/evenfilm-desk/src"] {
        files(&root().join(folder), ".rs", &mut sources);
    }
    sources.retain(|p| !p.to_string_lossy().contains("tests"));
    texts.extend(sources.iter().map(|p| {
        (p.display().to_string(), literals(&std::fs::read_to_string(p).unwrap(), p.starts_with(root().join("crates/evenfilm/src"))))
    }));
    let bad: Vec<_> = texts.iter().map(|(name, text)| (name, claims(text))).filter(|(_, c)| !c.is_empty()).collect();
    assert!(bad.is_empty(), "{bad:#?}");
    // The search finds what it looks for.
    assert_eq!(claims("This lot is certified.\nIts SPF is 30."), ["certified", "Its SPF is 30."]);
    assert!(claims("It gives no SPF. Instantaneous, unreleased.").is_empty());
    let source = "/// help\n// remark \"a\"\nif c == '\"' || c == '/' { say(\"one \\\" two\") } // \"b\"\nlet x = \"three\";";
    assert_eq!(literals(source, true), "/// help\none \\\" two\nthree\n");
    assert_eq!(literals(source, false), "one \\\" two\nthree\n");
}
