//! Lists of patterns as OpenSSH has them (ssh_config(5), PATTERNS).

/// Patterns with commas between: `*` is any characters, `?` any one, `!` in front of a pattern excludes what it matches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Patterns(String);

impl Patterns {
    pub(super) fn new(text: impl Into<String>) -> Self {
        Self(text.into())
    }

    pub(super) fn text(&self) -> &str {
        &self.0
    }

    /// Whether the list has a pattern for the text and none that excludes it. Capitals count.
    pub(super) fn match_text(&self, text: &str) -> bool {
        let is_excluded = |pattern: &str| pattern.strip_prefix('!').is_some_and(|pattern| matches(text, pattern));
        let is_included = |pattern: &str| !pattern.starts_with('!') && matches(text, pattern);
        self.0.split(',').any(is_included) && !self.0.split(',').any(is_excluded)
    }
}

/// One pattern against one text. Time is at most text × pattern: after a failure only the latest `*` takes one character more.
fn matches(text: &str, pattern: &str) -> bool {
    let (text, pattern): (Vec<char>, Vec<char>) = (text.chars().collect(), pattern.chars().collect());
    let (mut t, mut p) = (0, 0);
    let mut star = None;
    while t < text.len() {
        match pattern.get(p) {
            Some('*') => {
                star = Some((t, p));
                p += 1;
            }
            Some(&c) if c == '?' || c == text[t] => (t, p) = (t + 1, p + 1),
            _ => {
                let Some((from, at)) = star else { return false };
                (t, p) = (from + 1, at + 1);
                star = Some((from + 1, at));
            }
        }
    }
    pattern[p..].iter().all(|&c| c == '*')
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The forms of ssh_config(5), PATTERNS; what is excluded as in OpenSSH's match_pattern_list.
    #[test]
    fn patterns() {
        let cases = [
            ("*.example", "lab.example", true),
            ("*.example", "example", false),
            ("192.168.0.?", "192.168.0.7", true),
            ("192.168.0.?", "192.168.0.17", false),
            ("!*.dialup.example,*.example", "a.dialup.example", false),
            ("!*.dialup.example,*.example", "a.example", true),
            ("!R4", "R5", false),
            ("*,!R4", "R4", false),
            ("R4,R5", "R5", true),
            ("r4", "R4", false),
            ("a*b*c", "axxbyyc", true),
            ("a*b*c", "axxbyy", false),
            ("**", "", true),
            ("?", "µ", true),
            ("", "", true),
        ];
        for (list, text, expected) in cases {
            assert_eq!(Patterns::new(list).match_text(text), expected, "{list} {text}");
        }
    }
}
