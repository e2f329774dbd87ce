//! What a look at a bag or a record finds: faults, and notes that make nothing wrong.

/// One thing found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// What it is, in a word that never changes its meaning: `changed`, `missing`, …
    pub id: &'static str,
    /// Whether the record is not as it must be; else it is only worth knowing.
    pub is_fault: bool,
    /// The file it is about, its path below the record with `/` between names; `None` for the whole.
    pub file: Option<String>,
    /// The line in that file, from 1.
    pub line: Option<usize>,
    /// What is wrong: one sentence without a full stop.
    pub message: String,
    /// What to do: one sentence without a full stop.
    pub remedy: &'static str,
}

impl Finding {
    /// What makes a record not as it must be.
    pub fn fault(id: &'static str, message: impl Into<String>, remedy: &'static str) -> Self {
        Self { id, is_fault: true, file: None, line: None, message: message.into(), remedy }
    }

    /// What is worth knowing and no fault.
    pub fn note(id: &'static str, message: impl Into<String>, remedy: &'static str) -> Self {
        Self { is_fault: false, ..Self::fault(id, message, remedy) }
    }

    /// The same, naming the file.
    #[must_use]
    pub fn at(mut self, file: impl Into<String>) -> Self {
        self.file = Some(file.into());
        self
    }

    /// The same, naming the line.
    #[must_use]
    pub fn on_line(mut self, line: usize) -> Self {
        self.line = Some(line);
        self
    }

    /// The same as a fault where `is_fault`, else as a note.
    #[must_use]
    pub fn as_fault(mut self, is_fault: bool) -> Self {
        self.is_fault = is_fault;
        self
    }
}

/// Faults, and notes, that are kept in words; further ones are counted, so that hostile text fills no memory.
pub const MOST: usize = 1000;

/// Findings in the order in which they were met.
#[derive(Debug, Default)]
pub struct Findings {
    kept: Vec<Finding>,
    /// Notes and faults among them.
    held: [usize; 2],
    /// Notes and faults that were too many.
    more: [usize; 2],
}

impl Findings {
    /// Adds one.
    pub fn push(&mut self, finding: Finding) {
        let kind = usize::from(finding.is_fault);
        if self.held[kind] < MOST {
            self.held[kind] += 1;
            self.kept.push(finding);
        } else {
            self.more[kind] += 1;
        }
    }

    /// Adds several.
    pub fn extend(&mut self, findings: impl IntoIterator<Item = Finding>) {
        findings.into_iter().for_each(|finding| self.push(finding));
    }

    /// Makes faults of the notes with an id.
    pub fn raise(&mut self, id: &str) {
        for finding in self.kept.iter_mut().filter(|finding| finding.id == id && !finding.is_fault) {
            finding.is_fault = true;
            self.held[0] -= 1;
            self.held[1] += 1;
        }
    }

    /// How many faults were met.
    pub const fn faults(&self) -> usize {
        self.held[1] + self.more[1]
    }

    /// All that were kept; the last ones say how many more there were.
    pub fn into_list(mut self) -> Vec<Finding> {
        for is_fault in [true, false] {
            let more = self.more[usize::from(is_fault)];
            if more > 0 {
                let what = if is_fault { "faults" } else { "notes" };
                self.kept.push(
                    Finding::fault("more", format!("{more} more {what} of this record are not named"), "see to these first")
                        .as_fault(is_fault),
                );
            }
        }
        self.kept
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_too_much_is_counted() {
        let mut findings = Findings::default();
        findings.extend((0..MOST + 7).map(|i| Finding::fault("missing", i.to_string(), "")));
        findings.push(Finding::note("other", "", ""));
        assert_eq!(findings.faults(), MOST + 7);
        let list = findings.into_list();
        assert_eq!(list.len(), MOST + 2);
        assert_eq!((list[MOST].id, list[MOST].is_fault), ("other", false));
        assert!(list[MOST + 1].message.starts_with("7 more faults") && list[MOST + 1].is_fault);
    }
}
