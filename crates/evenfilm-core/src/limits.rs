//! Quantities against acceptance limits, with guard bands (JCGM 106:2012; ILAC-G8:09/2019).

use crate::batch::LotResult;
use crate::choices;
use crate::quantity::{Interval, QUANTITIES, index_of};
use crate::statistics::rare::most_where_none;
use crate::statistics::{conformity, normal_quantile, student_t_975};

choices! {
    /// How a quantity is compared with its limit.
    Rule {
        /// The whole interval must lie within the limits.
        Guarded = "guarded",
        /// The value must lie within the limits.
        Simple = "simple",
    }
}
choices! {
    /// What came of a comparison. `within` means within the stated limits of this method on what was looked at, and no more.
    Outcome {
        /// Within the limits.
        Within = "within",
        /// Outside them.
        Outside = "outside",
        /// Neither can be said.
        Undecided = "undecided",
    }
}
choices! {
    /// What a lot is told.
    Verdict {
        /// Every quantity is within its limits.
        Within = "within",
        /// One is outside.
        Outside = "outside",
        /// None is outside, and of one it cannot be said.
        Undecided = "undecided",
        /// What it rests on was not fixed beforehand.
        Provisional = "provisional",
    }
}
choices! {
    /// Why a comparison came out as it did.
    Why {
        /// The whole interval lies within.
        Whole = "interval within",
        /// The whole interval lies beyond a limit.
        Beyond = "interval beyond",
        /// A limit lies inside the interval.
        Crosses = "limit inside the interval",
        /// The value was compared alone, as the rule says.
        Value = "value alone",
        /// The largest seen lies beyond.
        Seen = "seen beyond",
        /// The largest seen lies within, which says only how rare larger ones are.
        NotSeen = "none seen beyond",
        /// It was not measured.
        NotMeasured = "not measured",
        /// It has no interval, and the rule needs one.
        NoInterval = "no interval",
        /// Bare places are known only beside the film.
        Relative = "bare area only beside the film",
    }
}

/// The limits of one quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit<'a> {
    /// Its id.
    pub quantity: &'a str,
    /// Smallest accepted value, in the quantity's unit.
    pub min: Option<f64>,
    /// Largest accepted value, in the quantity's unit.
    pub max: Option<f64>,
    /// How it is compared.
    pub rule: Rule,
}

/// What would settle a comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needed {
    /// So many more slides, each with as many fields as those before.
    Slides(u32),
    /// So many more fields of the slide.
    Fields(u32),
    /// Nothing of the kind within reason: the value lies too near the limit, or edge, scale and object model are too uncertain.
    More,
}

/// One quantity held against its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decision {
    /// What came of it.
    pub outcome: Outcome,
    /// Why.
    pub why: Why,
    /// The value.
    pub value: Option<f64>,
    /// The interval that decided.
    pub interval: Option<[f64; 2]>,
    /// What would settle it, where it is undecided for want of slides or fields.
    pub needed: Option<Needed>,
    /// Probability that the quantity lies within its limits, given what was measured (JCGM 106, 7): only where the uncertainty is symmetric.
    pub probability: Option<f64>,
    /// Rate per mm² that things beyond the limit do not exceed (95 %), where none was seen.
    pub at_most_per_mm2: Option<f64>,
}

/// Whatever else is known of a lot that its comparisons depend on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Circumstances {
    /// A field's bare places are known only beside its film.
    pub bare_relative: bool,
}

/// Most slides or fields that anyone is told to add.
const REASONABLE: u32 = 1000;

/// Quantities that speak of bare places.
const OF_BARE: &[&str] = &["uncovered_area_pct", "gaps", "gaps_per_mm2", "largest_gap_um", "thin_area_pct"];

/// Compares a quantity with its limits. One that is not measured, or has no interval where the rule needs one, is undecided, never within.
pub fn decide(limit: &Limit<'_>, lot: &LotResult, circumstances: Circumstances) -> Decision {
    let at = index_of(limit.quantity);
    let value = at.and_then(|q| lot.values.get(q).copied().flatten());
    let interval = at.and_then(|q| lot.decisive.get(q).copied().flatten());
    let of = |outcome, why| Decision { outcome, why, value, interval, needed: None, probability: None, at_most_per_mm2: None };
    let (Some(q), Some(value)) = (at, value) else { return of(Outcome::Undecided, Why::NotMeasured) };
    if circumstances.bare_relative && OF_BARE.contains(&limit.quantity) {
        return of(Outcome::Undecided, Why::Relative);
    }
    if QUANTITIES[q].interval == Interval::Largest {
        return of_largest(limit, value, lot, of);
    }
    let mut decision = match (limit.rule, interval) {
        (Rule::Simple, _) => {
            let outcome = if limit.holds(value) { Outcome::Within } else { Outcome::Outside };
            Decision { interval: None, ..of(outcome, Why::Value) }
        }
        (Rule::Guarded, None) => of(Outcome::Undecided, Why::NoInterval),
        (Rule::Guarded, Some([low, high])) if limit.holds(low) && limit.holds(high) => of(Outcome::Within, Why::Whole),
        (Rule::Guarded, Some([low, high])) if limit.is_beyond(low, high) => of(Outcome::Outside, Why::Beyond),
        (Rule::Guarded, Some(_)) => of(Outcome::Undecided, Why::Crosses),
    };
    decision.probability = probability(limit, q, value, lot);
    if decision.why == Why::Crosses {
        decision.needed = interval.map(|interval| needed(limit, q, (value, interval), lot));
    }
    decision
}

/// The largest thing seen can show that a limit is exceeded. Where it does not, larger ones are only rare: so many per area at most.
fn of_largest(limit: &Limit<'_>, value: f64, lot: &LotResult, of: impl Fn(Outcome, Why) -> Decision) -> Decision {
    if !limit.holds(value) {
        return of(Outcome::Outside, Why::Seen);
    }
    let area = index_of("field_area_mm2").and_then(|q| lot.values.get(q).copied().flatten()).filter(|&area| area > 0.0);
    let outcome = if limit.rule == Rule::Simple { Outcome::Within } else { Outcome::Undecided };
    let rate = area.map(|area| most_where_none(area, 0.95));
    Decision { at_most_per_mm2: rate, ..of(outcome, Why::NotSeen) }
}

impl Limit<'_> {
    /// Whether a value lies within.
    pub fn holds(&self, value: f64) -> bool {
        self.min.is_none_or(|min| value >= min) && self.max.is_none_or(|max| value <= max)
    }

    fn is_beyond(&self, low: f64, high: f64) -> bool {
        self.max.is_some_and(|max| low > max) || self.min.is_some_and(|min| high < min)
    }
}

/// Probability of conformity of a quantity with a symmetric uncertainty.
fn probability(limit: &Limit<'_>, q: usize, value: f64, lot: &LotResult) -> Option<f64> {
    if QUANTITIES[q].interval != Interval::BetweenFields {
        return None;
    }
    // The normal distribution of the expanded uncertainty rather than of the standard one: few slides must not look sure.
    let u = lot.u95.get(q).copied().flatten()? / normal_quantile(0.975);
    let below = |limit: f64| conformity::probability_below(value, u, limit);
    (u > 0.0).then(|| limit.max.map_or(1.0, below) - limit.min.map_or(0.0, below))
}

/// Slides or fields that would bring the interval to one side of the limit, if value and spread stay as they are.
fn needed(limit: &Limit<'_>, q: usize, (value, [low, high]): (f64, [f64; 2]), lot: &LotResult) -> Needed {
    let units = u32::try_from(lot.units).unwrap_or(u32::MAX).max(1);
    let systematic = lot.systematic.get(q).copied().unwrap_or(0.0) * normal_quantile(0.975);
    let half = [value - low, high - value].map(|half| (half * half - systematic * systematic).max(0.0).sqrt());
    let spread = lot.ci95.get(q).copied().flatten().filter(|_| units > 1);
    let rare = matches!(QUANTITIES[q].interval, Interval::Rare(_));
    let factor = spread.filter(|_| rare && value > 0.0).map(|ci95| Factor { unit: ci95 / value / t(units) * f64::from(units).sqrt() });
    let factor = factor.filter(|factor| value * factor.of(units) >= 0.9 * high);
    let settles = |n: u32| {
        let ratio = f64::from(units) / f64::from(n);
        let [down, up] = match factor {
            Some(factor) => [value - value / factor.of(n), value * factor.of(n) - value],
            // What was not found at all gets rarer with the area; what scatters, with its root, and is better known where more units say how much.
            None if value == 0.0 => half.map(|half| half * ratio),
            None if rare || spread.is_none() => half.map(|half| half * ratio.sqrt()),
            None => half.map(|half| half * ratio.sqrt() * t(n) / t(units)),
        };
        let [down, up] = [down, up].map(|half| (half * half + systematic * systematic).sqrt());
        (limit.holds((value - down).max(0.0)) && limit.holds(value + up)) || limit.is_beyond(value - down, value + up)
    };
    match (units + 1..=units.saturating_add(REASONABLE)).find(|&n| settles(n)) {
        Some(n) if lot.slides > 1 => Needed::Slides(n - units),
        Some(n) => Needed::Fields(n - units),
        None => Needed::More,
    }
}

/// Student's quantile for so many slides or fields.
fn t(units: u32) -> f64 {
    student_t_975(f64::from(units) - 1.0)
}

/// The factor by which the rate of rare events may be off, as [`crate::interval::rare`] has it from the spread.
#[derive(Clone, Copy)]
struct Factor {
    /// Relative standard deviation of one slide or field.
    unit: f64,
}

impl Factor {
    fn of(self, units: u32) -> f64 {
        let s = self.unit / f64::from(units).sqrt();
        let h = t(units) * s;
        1.0 + h + h * normal_quantile(0.975) * s
    }
}

/// What a lot is told: outside where one quantity is, else undecided where one is; provisional whatever came of it where it does not rest on
/// a locked recipe, a plan that was kept and a check. `None` without limits.
pub fn verdict(outcomes: &[Outcome], provisional: bool) -> Option<Verdict> {
    if outcomes.is_empty() {
        return None;
    }
    Some(match overall(outcomes) {
        _ if provisional => Verdict::Provisional,
        Outcome::Outside => Verdict::Outside,
        Outcome::Undecided => Verdict::Undecided,
        Outcome::Within => Verdict::Within,
    })
}

/// What came of all comparisons together.
pub fn overall(outcomes: &[Outcome]) -> Outcome {
    if outcomes.contains(&Outcome::Outside) {
        Outcome::Outside
    } else if outcomes.contains(&Outcome::Undecided) {
        Outcome::Undecided
    } else {
        Outcome::Within
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A lot in which one quantity has this value and interval, seen on two slides.
    fn lot(id: &str, value: f64, half: Option<f64>) -> LotResult {
        let n = QUANTITIES.len();
        let mut lot = LotResult {
            values: vec![None; n],
            ci95: vec![None; n],
            u95: vec![None; n],
            decisive: vec![None; n],
            budgets: vec![None; n],
            systematic: vec![0.0; n],
            units: 2,
            slides: 2,
            ..LotResult::default()
        };
        let q = index_of(id).unwrap();
        lot.values[index_of("field_area_mm2").unwrap()] = Some(2.0);
        lot.values[q] = Some(value);
        lot.u95[q] = half;
        lot.decisive[q] = half.map(|half| [value - half, value + half]);
        lot
    }

    fn max(quantity: &str, max: f64, rule: Rule) -> Limit<'_> {
        Limit { quantity, min: None, max: Some(max), rule }
    }

    fn came(limit: &Limit<'_>, lot: &LotResult) -> (Outcome, Why) {
        let decision = decide(limit, lot, Circumstances::default());
        (decision.outcome, decision.why)
    }

    #[test]
    fn the_guard_band_is_the_expanded_uncertainty() {
        // check id jcgm106.guard (JCGM 106, ILAC-G8): acceptance limit = tolerance limit − U.
        let limit = max("x50_0_um", 5.0, Rule::Guarded);
        assert_eq!(came(&limit, &lot("x50_0_um", 4.49, Some(0.5))), (Outcome::Within, Why::Whole));
        assert_eq!(came(&limit, &lot("x50_0_um", 4.51, Some(0.5))), (Outcome::Undecided, Why::Crosses));
        assert_eq!(came(&limit, &lot("x50_0_um", 5.51, Some(0.5))), (Outcome::Outside, Why::Beyond));
        let between = Limit { min: Some(4.0), ..limit };
        assert_eq!(came(&between, &lot("x50_0_um", 4.4, Some(0.5))), (Outcome::Undecided, Why::Crosses));
        assert_eq!(came(&between, &lot("x50_0_um", 4.5, Some(0.45))), (Outcome::Within, Why::Whole));
        let simple = max("x50_0_um", 5.0, Rule::Simple);
        assert_eq!(came(&simple, &lot("x50_0_um", 4.99, Some(0.5))), (Outcome::Within, Why::Value));
        assert_eq!(came(&simple, &lot("x50_0_um", 5.01, None)), (Outcome::Outside, Why::Value));
    }

    #[test]
    fn probability_of_conformity() {
        // check id jcgm106.pc: y 4.6, u 0.25, T 5 gives 0.945201.
        let decision = decide(
            &max("x50_0_um", 5.0, Rule::Guarded),
            &lot("x50_0_um", 4.6, Some(0.25 * normal_quantile(0.975))),
            Circumstances::default(),
        );
        assert!((decision.probability.unwrap() - 0.945_201).abs() < 1e-6, "{decision:?}");
    }

    #[test]
    fn what_is_not_known_is_never_within() {
        let area = max("uncovered_area_pct", 1.0, Rule::Guarded);
        assert_eq!(came(&area, &lot("x50_0_um", 1.0, None)), (Outcome::Undecided, Why::NotMeasured));
        assert_eq!(came(&area, &lot("uncovered_area_pct", 0.0, None)), (Outcome::Undecided, Why::NoInterval));
        assert_eq!(came(&max("no_such_thing", 1.0, Rule::Simple), &lot("x50_0_um", 1.0, None)), (Outcome::Undecided, Why::NotMeasured));
        let relative = Circumstances { bare_relative: true };
        let decision = decide(&max("uncovered_area_pct", 1.0, Rule::Simple), &lot("uncovered_area_pct", 0.1, Some(0.05)), relative);
        assert_eq!((decision.outcome, decision.why), (Outcome::Undecided, Why::Relative));
    }

    #[test]
    fn the_largest_seen_can_only_exceed() {
        let lot = lot("largest_gap_um", 20.0, None);
        assert_eq!(came(&max("largest_gap_um", 15.0, Rule::Guarded), &lot), (Outcome::Outside, Why::Seen));
        assert_eq!(came(&max("largest_gap_um", 25.0, Rule::Guarded), &lot), (Outcome::Undecided, Why::NotSeen));
        let simple = decide(&max("largest_gap_um", 25.0, Rule::Simple), &lot, Circumstances::default());
        assert_eq!((simple.outcome, simple.why), (Outcome::Within, Why::NotSeen));
        // None in 2 mm²: at most 2.995732 / 2 per mm² (exact Poisson; the "rule of three").
        assert!((simple.at_most_per_mm2.unwrap() - 1.497_866).abs() < 1e-6);
    }

    #[test]
    fn how_many_more() {
        // Half width 0.5, a quarter from the limit, without a spread: four times as many, by the root.
        let decision = decide(&max("x50_0_um", 5.0, Rule::Guarded), &lot("x50_0_um", 4.75, Some(0.5)), Circumstances::default());
        assert_eq!(decision.needed, Some(Needed::Slides(6)));
        // From a spread between two slides: three are enough, since t falls from 12.71 to 4.30 (0.5 × 4.30 ÷ 12.71 × √(2/3) = 0.138).
        let mut spread = lot("x50_0_um", 4.75, Some(0.5));
        spread.ci95[index_of("x50_0_um").unwrap()] = Some(0.5);
        let decision = decide(&max("x50_0_um", 5.0, Rule::Guarded), &spread, Circumstances::default());
        assert_eq!(decision.needed, Some(Needed::Slides(1)));
        let mut one_slide = lot("x50_0_um", 4.75, Some(0.5));
        (one_slide.slides, one_slide.units) = (1, 4);
        let decision = decide(&max("x50_0_um", 5.0, Rule::Guarded), &one_slide, Circumstances::default());
        assert_eq!(decision.needed, Some(Needed::Fields(12)));
        let decision = decide(&max("x50_0_um", 5.0, Rule::Guarded), &lot("x50_0_um", 5.0, Some(0.5)), Circumstances::default());
        assert_eq!(decision.needed, Some(Needed::More));
        // Rare events between two slides: 2.91 with 0.412 … 20.5 has the factor 7.06, so 0.300 a slide times the root of two; against 1.5 the
        // lower end passes with five slides (1.72), not with four (1.95).
        let mut rare = lot("uncovered_area_pct", 2.91, None);
        let q = index_of("uncovered_area_pct").unwrap();
        (rare.decisive[q], rare.ci95[q]) = (Some([0.412, 20.5]), Some(2.91 * 0.3 * student_t_975(1.0)));
        let decision = decide(&max("uncovered_area_pct", 1.5, Rule::Guarded), &rare, Circumstances::default());
        assert_eq!(decision.needed, Some(Needed::Slides(3)));
    }

    #[test]
    fn one_outside_decides_and_what_was_not_fixed_is_provisional() {
        use Outcome::{Outside, Undecided, Within};
        let cases = [
            (&[][..], false, None),
            (&[Within, Within], false, Some(Verdict::Within)),
            (&[Within, Undecided], false, Some(Verdict::Undecided)),
            (&[Undecided, Outside], false, Some(Verdict::Outside)),
            (&[Within], true, Some(Verdict::Provisional)),
            (&[Outside], true, Some(Verdict::Provisional)),
        ];
        for (outcomes, provisional, expected) in cases {
            assert_eq!(verdict(outcomes, provisional), expected, "{outcomes:?} {provisional}");
        }
    }
}
