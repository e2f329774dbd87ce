//! The verdict in words: what decides, and why.

use crate::lot::{Decision, Judged, Judgement, Needed, ObjectiveOutcome, Outcome, Verdict, Why};

use crate::round::{short, three_digits};

/// The verdict in one line, with what it is of; `None` without limits.
pub fn verdict_words(seen: &ObjectiveOutcome, is_check: bool) -> Option<String> {
    overall(&seen.judgement, seen.scope(), is_check)
}

/// Every limit ("uncovered_area_pct ≤ 1.5 %") and what came of it, one line each, where there is a verdict.
pub fn limit_lines(seen: &ObjectiveOutcome, is_check: bool) -> Vec<(String, String)> {
    if verdict_words(seen, is_check).is_none() {
        return Vec::new();
    }
    seen.judgement.decisions.iter().map(|judged| (limit(judged, seen), came(judged, seen))).collect()
}

fn overall(judgement: &Judgement, scope: &str, is_check: bool) -> Option<String> {
    let of = match (is_check, scope) {
        (true, _) => "a check, which says nothing of a lot",
        (false, "lot") => "the lot",
        (false, _) => "this slide, not the lot",
    };
    Some(match judgement.verdict? {
        Verdict::Provisional => {
            let would_be = judgement.would_be.map_or("undecided", Outcome::word);
            format!("provisional, of {of}; without what the notes below name it would be {would_be}")
        }
        verdict => format!("{}, of {of}: by this method, on what was looked at", verdict.word()),
    })
}

fn unit<'a>(judged: &Judged, seen: &'a ObjectiveOutcome) -> &'a str {
    seen.value(&judged.limit.quantity).map_or("", |value| value.unit)
}

fn limit(judged: &Judged, seen: &ObjectiveOutcome) -> String {
    let limit = &judged.limit;
    let range = match (limit.min, limit.max) {
        (Some(min), Some(max)) => format!("{} … {}", short(min), short(max)),
        (Some(min), None) => format!("≥ {}", short(min)),
        (None, Some(max)) => format!("≤ {}", short(max)),
        (None, None) => String::new(),
    };
    format!("{} {range} {}", limit.quantity, unit(judged, seen)).trim_end().to_owned()
}

/// What came of a limit.
fn came(judged: &Judged, seen: &ObjectiveOutcome) -> String {
    let Decision { outcome, why, value, interval, .. } = judged.decision;
    let unit = Some(unit(judged, seen)).filter(|unit| !unit.is_empty()).map_or_else(String::new, |unit| format!(" {unit}"));
    let value = value.map_or_else(String::new, |value| format!("{}{unit}", three_digits(value)));
    let interval = interval.map_or_else(String::new, |[low, high]| format!("{} … {}{unit}", three_digits(low), three_digits(high)));
    let area = seen.value("field_area_mm2").and_then(|area| area.value).map_or_else(String::new, three_digits);
    let reason = match why {
        Why::Whole => format!("{value}, and all of {interval} lies within"),
        Why::Beyond => format!("{value}, and all of {interval} lies beyond"),
        Why::Crosses => format!("{value}, but the limit lies inside {interval}; {}", settles(judged.decision.needed)),
        Why::Value => format!("{value}, compared without its interval, as the rule says"),
        Why::Seen => format!("one of {value} was seen"),
        Why::NotSeen => {
            let rate = judged
                .decision
                .at_most_per_mm2
                .map_or_else(String::new, |rate| format!("; such are at most {} per mm² (95 %)", three_digits(rate)));
            let guarded = if outcome == Outcome::Undecided { "; a guarded rule cannot be met by what was not seen" } else { "" };
            format!("none beyond it in {area} mm²{rate}{guarded}")
        }
        Why::NotMeasured => "not measured".into(),
        Why::NoInterval => format!("{value}, which has no interval: a count, too few fields, or too few objects for a tail"),
        Why::Relative => "bare places are known only beside the film; photograph an even scatterer".into(),
    };
    format!("{}: {reason}", outcome.word())
}

fn settles(needed: Option<Needed>) -> String {
    let more = |n: u32, what: &str| format!("about {n} more {what}{} of the same spread would settle it", if n == 1 { "" } else { "s" });
    match needed {
        Some(Needed::Slides(n)) => more(n, "slide"),
        Some(Needed::Fields(n)) => more(n, "field"),
        Some(Needed::More) | None => "no number of slides or fields within reason would settle it".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_settle_it() {
        assert_eq!(settles(Some(Needed::Slides(1))), "about 1 more slide of the same spread would settle it");
        assert_eq!(settles(Some(Needed::Fields(12))), "about 12 more fields of the same spread would settle it");
        assert!(settles(Some(Needed::More)).starts_with("no number"));
    }
}
