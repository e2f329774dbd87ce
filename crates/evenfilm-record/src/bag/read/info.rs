//! `bag-info.txt`: labels and values (RFC 8493, 2.2.2).

use super::declaration::Version;
use super::{RESTORE, text::lines};
use crate::finding::{Finding, Findings};
use crate::names::printable;

/// A label and its value. Labels may stand several times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Element {
    /// Its first line, from 1.
    pub line: usize,
    /// The label as it is written; capitals make no difference.
    pub label: String,
    /// The value; where it goes on over lines, each line break and the blanks around it are one blank.
    pub value: String,
}

impl Element {
    /// The value for a message: a few words of it, nothing that steers a terminal.
    pub(crate) fn shown(&self) -> String {
        printable(&self.value.chars().take(80).collect::<String>())
    }
}

/// Reads the text of a file of elements, in their order; `file` stands in findings. Lines without anything are skipped.
pub fn parse(text: &str, file: &str, version: Version, findings: &mut Findings) -> Vec<Element> {
    const BLANKS: [char; 2] = [' ', '\t'];
    let mut elements: Vec<Element> = Vec::new();
    let mut bad = |message: &str, line| findings.push(Finding::fault("info_line", message, RESTORE).at(file).on_line(line));
    for (line, text) in lines(text) {
        if text.trim_matches(BLANKS).is_empty() {
            continue;
        }
        if text.starts_with(BLANKS) {
            match elements.last_mut() {
                Some(element) => {
                    let more = text.trim_matches(BLANKS);
                    let gap = if element.value.is_empty() { "" } else { " " };
                    element.value.extend([gap, more]);
                }
                None => bad("goes on with a value that nothing has begun", line),
            }
            continue;
        }
        let Some((label, value)) = text.split_once(':') else {
            bad("is no label, colon and value", line);
            continue;
        };
        // Drafts before 1.0 let blanks stand around the colon, or leave them out.
        let exact = !label.ends_with(BLANKS) && value.starts_with(BLANKS);
        let label = label.trim_matches(BLANKS);
        if label.is_empty() || label.contains(char::is_control) || (version.is_final() && !exact) {
            bad("is no label, colon, blank and value", line);
            continue;
        }
        elements.push(Element { line, label: label.into(), value: value.trim_matches(BLANKS).into() });
    }
    elements
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, version: Version) -> (Vec<(usize, String, String)>, Vec<usize>) {
        let mut findings = Findings::default();
        let elements = parse(text, "bag-info.txt", version, &mut findings);
        let lines = findings.into_list().iter().map(|f| f.line.unwrap()).collect();
        (elements.into_iter().map(|e| (e.line, e.label, e.value)).collect(), lines)
    }

    #[test]
    fn values_go_on_over_lines_and_labels_repeat() {
        let (elements, bad) = read("A: one\r\n   two\n\tthree\nB: \n   x\nA: 2: 3\n", Version::FINAL);
        let text = |line, label: &str, value: &str| (line, label.to_owned(), value.to_owned());
        assert_eq!(elements, [text(1, "A", "one two three"), text(4, "B", "x"), text(6, "A", "2: 3")]);
        assert_eq!(bad, [0; 0]);
    }

    #[test]
    fn what_is_no_element_is_named_by_its_line() {
        let text = "  first\nA: 1\nno colon\nB : 2\nC:3\n: 4\n\nD\u{7}: 5\n";
        assert_eq!(read(text, Version::FINAL).1, [1, 3, 4, 5, 6, 8]);
        let (elements, bad) = read(text, Version { major: 0, minor: 97 });
        assert_eq!(bad, [1, 3, 6, 8]);
        assert_eq!(elements.iter().map(|e| e.2.as_str()).collect::<Vec<_>>(), ["1", "2", "3"]);
    }
}
