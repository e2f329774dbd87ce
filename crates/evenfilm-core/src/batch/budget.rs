//! What the uncertainty of a quantity is made of (JCGM 100:2008).

use super::{Basis, Nested, values_of};
use crate::quantity::{Interval, Pool, QUANTITIES, View};
use crate::recipe::Recipe;
use crate::statistics::budget::{Part, combine, expanded};
use crate::statistics::{mean_and_deviation, student_t_quantile};

/// One source of uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Component {
    /// Slides of one lot differ.
    Slides,
    /// Fields of one slide differ, more than the number of their objects explains.
    Fields,
    /// The number of objects is finite.
    Counting,
    /// The edge lies half way to within a tenth of the contrast.
    Edge,
    /// The scale is known only so well.
    Scale,
    /// Objects are no flat discs.
    ObjectModel,
}

impl Component {
    /// The word that tables use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Slides => "slides",
            Self::Fields => "fields",
            Self::Counting => "counting",
            Self::Edge => "edge",
            Self::Scale => "scale",
            Self::ObjectModel => "object_model",
        }
    }

    /// Whether more slides or fields make it smaller.
    pub const fn is_spread(self) -> bool {
        matches!(self, Self::Slides | Self::Fields | Self::Counting)
    }
}

/// The budget of one quantity. Standard uncertainties are in its unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// Every component that is known, with its standard uncertainty.
    pub components: Vec<(Component, f64)>,
    /// Degrees of freedom of what slides differ by, and of what the fields of a slide do.
    pub spread_dof: [f64; 2],
    /// Half width of the 95 % interval from the spread alone, which the expanded uncertainty is never below.
    pub least_u95: f64,
    /// Combined standard uncertainty with its effective degrees of freedom (Welch–Satterthwaite).
    pub combined: Part,
}

/// The quantities with one thing changed that is known only so well.
pub(super) struct Views {
    edge: [Vec<Option<f64>>; 2],
    scale: Option<Vec<Option<f64>>>,
    model: Option<Vec<Option<f64>>>,
}

impl Views {
    /// `pool` gives the fields as they look with the change.
    pub(super) fn of<'a>(pool: impl Fn(View) -> Pool<'a> + Sync, recipe: &Recipe, basis: &Basis) -> Self {
        let at = |view: View| values_of(&pool(view));
        let plain = View::default();
        let edge = || rayon::join(|| at(View { edge: 0, ..plain }), || at(View { edge: 2, ..plain }));
        let factor = |u: f64| (u > 0.0).then_some(1.0 + u);
        let (length, diameter) = (basis.scale_u.and_then(factor), factor(recipe.objects.model_u_pct / 100.0));
        let others = || (length.map(|length| at(View { length, ..plain })), diameter.map(|diameter| at(View { diameter, ..plain })));
        let ((low, high), (scale, model)) = rayon::join(edge, others);
        Self { edge: [low, high], scale, model }
    }

    /// Standard uncertainties of what does not shrink with more fields; what rounding alone moves is nothing.
    pub(super) fn systematic(&self, q: usize, value: f64) -> Vec<(Component, f64)> {
        let mut parts = Vec::new();
        // The edge level lies within a tenth of the contrast of where it should, and any place there is as likely (JCGM 100, 4.3.7).
        if let (Some(low), Some(high)) = (self.edge[0][q], self.edge[1][q]) {
            parts.push((Component::Edge, 0.5 * (high - low).abs() / 3f64.sqrt()));
        }
        let moved = |view: &Option<Vec<Option<f64>>>| Some((view.as_ref()?[q]? - value).abs());
        parts.extend(moved(&self.scale).map(|u| (Component::Scale, u)));
        parts.extend(moved(&self.model).map(|u| (Component::ObjectModel, u)));
        for (_, u) in &mut parts {
            *u = if *u > 1e-12 * value.abs() { *u } else { 0.0 };
        }
        parts
    }
}

impl Budget {
    /// The budget of a quantity; `None` where its spread is not known: counts and settings, one field, or a field that does not have it.
    pub(super) fn of(q: usize, pool: &Pool<'_>, systematic: &[(Component, f64)], nested: &Nested<'_>) -> Option<Self> {
        let quantity = &QUANTITIES[q];
        if matches!(quantity.interval, Interval::None | Interval::Largest) {
            return None;
        }
        let spread = Spread::of(&nested.values(q)?)?;
        let counting = (quantity.counting)(pool).filter(|u| u.is_finite()).unwrap_or(0.0);
        Some(Self::new(spread, counting, systematic.to_vec()))
    }

    fn new(spread: Spread, counting: f64, systematic: Vec<(Component, f64)>) -> Self {
        let Spread { u, u_fields, dof, fields_dof, slides } = spread;
        // Counting is part of what fields differ by. Where they agree better than so many objects can, by luck, it is the floor.
        let floor = (counting * counting - u * u).max(0.0).sqrt();
        let whole = u * u + floor * floor;
        let counted = (counting * counting).min(whole);
        let within = (u_fields * u_fields - counted).clamp(0.0, whole - counted);
        // What is left by rounding is nothing.
        let between = Some(whole - counted - within).filter(|left| *left > 1e-12 * whole).unwrap_or(0.0);
        let mut components = Vec::new();
        if slides > 1 {
            components.push((Component::Slides, between.sqrt()));
            components.push((Component::Fields, within.sqrt()));
        } else {
            components.push((Component::Fields, (within + between).sqrt()));
        }
        if counting > 0.0 {
            components.push((Component::Counting, counted.sqrt()));
        }
        let certain = |u: f64| Part { u, dof: f64::INFINITY };
        let mut parts = vec![Part { u, dof }, certain(floor)];
        parts.extend(systematic.iter().map(|(_, u)| certain(*u)));
        components.extend(systematic);
        let least_u95 = student_t_quantile(0.975, dof) * u;
        Self { components, spread_dof: [dof, fields_dof], least_u95, combined: combine(&parts) }
    }

    /// Expanded uncertainty, 95 %: never below the half width from the spread alone.
    pub fn u95(&self) -> f64 {
        self.half_width(0.95).max(self.least_u95)
    }

    /// Half width of the two-sided interval at a level.
    pub fn half_width(&self, level: f64) -> f64 {
        if self.combined.u > 0.0 { expanded(self.combined, level) } else { 0.0 }
    }

    /// Degrees of freedom of a component; `None` where there are so many that they do not matter.
    pub fn dof(&self, of: Component) -> Option<f64> {
        match of {
            Component::Slides => Some(self.spread_dof[0]),
            Component::Fields => Some(self.spread_dof[1]),
            _ => None,
        }
    }

    /// Share of a standard uncertainty in the combined variance, %; `None` where nothing varies.
    pub fn share_pct(&self, u: f64) -> Option<f64> {
        let combined = self.combined.u * self.combined.u;
        (combined > 0.0).then(|| 100.0 * u * u / combined)
    }
}

/// How far fields and slides differ.
#[derive(Clone, Copy)]
struct Spread {
    /// Standard error of the mean of the units: slide means where there are several slides, else fields.
    u: f64,
    /// What of it the fields of a slide explain.
    u_fields: f64,
    /// Of the units.
    dof: f64,
    /// Of the fields within their slides.
    fields_dof: f64,
    slides: usize,
}

impl Spread {
    /// From values by slide.
    fn of(slides: &[Vec<f64>]) -> Option<Self> {
        let error = |values: &[f64]| Some(mean_and_deviation(values)?.1? / (values.len() as f64).sqrt());
        let k = slides.len();
        if k < 2 {
            let fields = slides.first()?;
            let u = error(fields)?;
            let dof = fields.len() as f64 - 1.0;
            return Some(Self { u, u_fields: u, dof, fields_dof: dof, slides: k });
        }
        let means: Vec<f64> = slides.iter().map(|slide| slide.iter().sum::<f64>() / slide.len() as f64).collect();
        let squares = |slide: &Vec<f64>| mean_and_deviation(slide).and_then(|(_, deviation)| deviation).map(|d| d * d);
        let (sum, dof) = slides
            .iter()
            .filter_map(|slide| Some((squares(slide)?, slide.len() as f64 - 1.0)))
            .fold((0.0, 0.0), |a, s| (a.0 + s.0 * s.1, a.1 + s.1));
        let within = if dof > 0.0 { sum / dof } else { 0.0 };
        let of_means = slides.iter().map(|slide| within / slide.len() as f64).sum::<f64>() / (k * k) as f64;
        Some(Self { u: error(&means)?, u_fields: of_means.sqrt(), dof: k as f64 - 1.0, fields_dof: dof, slides: k })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64) {
        assert!((found - expected).abs() <= 1e-9 * expected.abs().max(1e-9), "{found} is not {expected}");
    }

    #[test]
    fn nested_slides_are_the_unit() {
        // Textbook nested design, by hand: slide means 2 and 4, so u = 1 on one degree of freedom; fields of a slide vary by s² = 2 each.
        let spread = Spread::of(&[vec![1.0, 3.0], vec![3.0, 5.0]]).unwrap();
        close(spread.u, 1.0);
        close(spread.u_fields, 0.5f64.sqrt());
        close(spread.dof, 1.0);
        let one = Spread::of(&[vec![1.0, 3.0, 5.0]]).unwrap();
        close(one.u, 2.0 / 3f64.sqrt());
        close(one.dof, 2.0);
        assert!(Spread::of(&[vec![1.0]]).is_none() && Spread::of(&[]).is_none());
        // A single field a slide says nothing of the fields.
        close(Spread::of(&[vec![1.0], vec![3.0]]).unwrap().u_fields, 0.0);
    }

    #[test]
    fn shares_add_up() {
        let spread = || Spread { u: 3.0, u_fields: 2.0, dof: 1.0, fields_dof: 6.0, slides: 2 };
        let budget = Budget::new(spread(), 1.0, vec![(Component::Edge, 4.0)]);
        let share = |c| budget.components.iter().find(|(found, _)| *found == c).map(|(_, u)| budget.share_pct(*u).unwrap()).unwrap();
        close(budget.combined.u, 5.0);
        // 25 = 5 slides + 3 fields + 1 counting + 16 edge.
        for (component, pct) in [(Component::Slides, 20.0), (Component::Fields, 12.0), (Component::Counting, 4.0), (Component::Edge, 64.0)]
        {
            close(share(component), pct);
        }
        // Welch–Satterthwaite: 625 / (81 / 1).
        close(budget.combined.dof, 625.0 / 81.0);
    }

    #[test]
    fn counting_is_the_floor_of_the_spread() {
        let lucky = Budget::new(Spread { u: 0.1, u_fields: 0.1, dof: 1.0, fields_dof: 6.0, slides: 2 }, 0.5, vec![]);
        close(lucky.combined.u, 0.5);
        close(lucky.components.iter().map(|(_, u)| u * u).sum::<f64>(), 0.25);
        let none = Budget::new(Spread { u: 0.0, u_fields: 0.0, dof: 1.0, fields_dof: 1.0, slides: 1 }, 0.0, vec![]);
        assert_eq!((none.half_width(0.95), none.share_pct(0.0)), (0.0, None));
    }
}
