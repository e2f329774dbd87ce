//! The acceptance limits of a product, `limits.toml`.

use std::collections::BTreeMap;
use std::path::Path;

pub use evenfilm_core::limits::Rule;
use evenfilm_core::quantity::QUANTITIES;

use crate::fault::Fault;
use crate::toml_file::{Entry, Section, Span, TomlFile, Writer, nearest};

impl From<Rule> for Entry {
    fn from(rule: Rule) -> Self {
        Self::Text(rule.word().into())
    }
}

/// The limits of one quantity; one of `min` and `max` is always there.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Its id.
    pub quantity: String,
    /// The microscope whose numbers it holds for; `None` is every one.
    pub microscope: Option<String>,
    /// Smallest accepted value, in the quantity's unit.
    pub min: Option<f64>,
    /// Largest accepted value, in the quantity's unit; not below `min`.
    pub max: Option<f64>,
    /// Guarded where the file does not say.
    pub rule: Rule,
}

impl Limit {
    /// As the numbers are compared with it.
    pub fn as_core(&self) -> evenfilm_core::limits::Limit<'_> {
        evenfilm_core::limits::Limit { quantity: &self.quantity, min: self.min, max: self.max, rule: self.rule }
    }
}

/// The limits of a product.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Product.
    pub product: Option<String>,
    /// Version that the lab gave them; "1" where the file does not say.
    pub version: String,
    /// Who made them; `None` where the file does not say.
    pub author: Option<String>,
    /// Relative accuracy that the fields shall reach, %, above 0 (ASTM E562).
    pub wanted_relative_accuracy_pct: Option<f64>,
    /// In the order of the file; no quantity twice for one microscope.
    pub limits: Vec<Limit>,
}

/// Quantities that a limit may name before this version measures them: such a limit is undecided, not an error.
const NAMED_BY_THE_DESIGN: &[&str] = &[
    "slides",
    "fields",
    "fields_rejected",
    "objects",
    "size_from_um",
    "gap_from_um",
    "field_area_mm2",
    "x10_0_um",
    "x50_0_um",
    "x90_0_um",
    "mean_0_um",
    "x10_3_um",
    "x50_3_um",
    "x90_3_um",
    "span_3",
    "d32_um",
    "d43_um",
    "constituents_x50_0_um",
    "particle_area_pct",
    "agglomerates",
    "agglomerates_per_mm2",
    "agglomerate_fraction_pct",
    "agglomerate_fraction_by_chance_pct",
    "largest_object_um",
    "uncovered_area_pct",
    "gap_cut_od_pct",
    "thin_area_pct",
    "gaps",
    "gaps_per_mm2",
    "largest_gap_um",
    "left_out_area_pct",
    "left_out_objects",
    "film_od",
    "film_od_cv_pct",
    "clark_evans",
    "clark_evans_z",
    "morisita",
    "variance_to_mean",
    "besag_l_max",
    "expected_gap_area_pct",
    "tip_speed_m_s",
    "shear_rate_per_s",
    "specific_energy_kj_kg",
    "reynolds",
    "turnovers",
    "areal_mass_wet_mg_cm2",
    "areal_mass_powder_mg_cm2",
    "volume_fraction_pct",
    "settling_x50_mm_day",
    "settling_largest_mm_day",
    "uncovered_area_ra_pct",
    "fields_needed",
];

/// Every quantity that a limit may name.
pub fn known_quantities() -> Vec<&'static str> {
    let mut known = QUANTITIES.iter().map(|quantity| quantity.id).collect::<Vec<_>>();
    known.extend(NAMED_BY_THE_DESIGN.iter().filter(|&id| !QUANTITIES.iter().any(|quantity| quantity.id == *id)));
    known
}

impl Limits {
    /// Reads limits. `known` are the ids that they may name, usually [`known_quantities`].
    ///
    /// # Errors
    /// Broken TOML, unknown keys and quantities, wrong types, a limit without `min` and `max` or with `min` above `max`, a quantity twice.
    pub fn read(path: &Path, known: &[&str]) -> Result<Self, Fault> {
        Self::from_file(&TomlFile::read(path, "limits file")?, known)
    }

    /// Reads limits from text; `path` stands in messages.
    ///
    /// # Errors
    /// As [`Limits::read`].
    pub fn parse(text: &str, path: &Path, known: &[&str]) -> Result<Self, Fault> {
        Self::from_file(&TomlFile::parse(text.to_owned(), path)?, known)
    }

    fn from_file(file: &TomlFile, known: &[&str]) -> Result<Self, Fault> {
        let top = file.top();
        let product = top.text("product")?;
        let version = top.name("version")?.unwrap_or_else(|| "1".into());
        let author = top.name("author")?;
        let wanted_relative_accuracy_pct = top.number("wanted_relative_accuracy_pct", Span::POSITIVE)?;
        let mut limits = Vec::<Limit>::new();
        for section in top.sections("limit")? {
            let limit = Limit::read(&section, known)?;
            if limits.iter().any(|earlier| (&earlier.quantity, &earlier.microscope) == (&limit.quantity, &limit.microscope)) {
                let of = limit.microscope.as_ref().map_or_else(String::new, |name| format!(" for the microscope {name}"));
                let message = format!("{} has two limits{of}", limit.quantity);
                return Err(section.fault("quantity", message, "put min and max into one [[limit]]"));
            }
            limits.push(limit);
        }
        top.finish()?;
        Ok(Self { product, version, author, wanted_relative_accuracy_pct, limits })
    }

    /// The limits that hold for the numbers of a microscope; `None` is the default one.
    pub fn of_microscope<'a>(&'a self, name: Option<&'a str>) -> impl Iterator<Item = &'a Limit> {
        self.limits.iter().filter(move |limit| limit.microscope.is_none() || limit.microscope.as_deref() == name)
    }

    /// Makes sure that the sheet describes every microscope that a limit names: a misspelt one would hold for nothing.
    pub(crate) fn check_microscopes<T>(&self, known: &BTreeMap<String, T>) -> Result<(), Fault> {
        let mut named = self.limits.iter().filter_map(|limit| Some((limit, limit.microscope.as_ref()?)));
        let Some((limit, name)) = named.find(|(_, name)| !known.contains_key(*name)) else { return Ok(()) };
        let near = nearest(name, known.keys().map(String::as_str));
        let near = near.map_or_else(|| "it describes none by name".into(), |near| format!("the nearest known one is {near}"));
        let message = format!("the limit of {} names the microscope {name}, which the sheet does not describe; {near}", limit.quantity);
        Err(Fault::input(message, "correct microscope in [[limit]], or add a section [microscopes.NAME] to the sheet"))
    }

    /// The limits as text, every choice written out, in the order of the documentation. Reading it gives the same limits.
    pub fn canonical(&self) -> String {
        let mut out = Writer::default();
        if let Some(product) = &self.product {
            out.entry("product", product.as_str());
        }
        out.entry("version", self.version.as_str());
        if let Some(author) = &self.author {
            out.entry("author", author.as_str());
        }
        if let Some(pct) = self.wanted_relative_accuracy_pct {
            out.entry("wanted_relative_accuracy_pct", pct);
        }
        for limit in &self.limits {
            out.header(["[[", "]]"], &["limit"]);
            out.entry("quantity", limit.quantity.as_str());
            if let Some(name) = &limit.microscope {
                out.entry("microscope", name.as_str());
            }
            for (key, value) in [("min", limit.min), ("max", limit.max)] {
                if let Some(value) = value {
                    out.entry(key, value);
                }
            }
            out.entry("rule", limit.rule);
        }
        out.finish()
    }
}

impl Limit {
    fn read(section: &Section<'_>, known: &[&str]) -> Result<Self, Fault> {
        let (quantity, microscope) = (section.name("quantity")?, section.name("microscope")?);
        let (min, max) = (section.number("min", Span::ANY)?, section.number("max", Span::ANY)?);
        let rule = section.choice("rule", Rule::ALL, Rule::word)?.unwrap_or(Rule::Guarded);
        section.finish()?;
        let missing = || section.fault("quantity", "a [[limit]] names no quantity", "name it: quantity = \"uncovered_area_pct\"");
        let quantity = quantity.ok_or_else(missing)?;
        if !known.contains(&quantity.as_str()) {
            let close = nearest(&quantity, known.iter().copied()).unwrap_or_default();
            let message = format!("unknown quantity {quantity}; the nearest known one is {close}");
            return Err(section.fault("quantity", message, "write the id as it heads a column of record.csv"));
        }
        match (min, max) {
            (None, None) => Err(section.fault("quantity", format!("the limit of {quantity} has no value"), "give min, max or both")),
            (Some(min), Some(max)) if min > max => {
                let message = format!("the limits of {quantity} leave nothing: min {min} is above max {max}");
                Err(section.fault("min", message, "exchange or correct the two"))
            }
            (Some(_), _) if quantity.starts_with("largest_") => {
                let message = format!("{quantity} has a minimum, which nothing seen can show to be missed: larger ones may lie elsewhere");
                Err(section.fault("min", message, "give max alone"))
            }
            _ => Ok(Self { quantity, microscope, min, max, rule }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<Limits, Fault> {
        Limits::parse(text, Path::new("limits.toml"), &known_quantities())
    }

    #[test]
    fn what_is_read_is_written() {
        let text = "product = \"Mineral lotion\"\nversion = \"1\"\nwanted_relative_accuracy_pct = 10.0\n\n[[limit]]\n\
                    quantity = \"uncovered_area_pct\"\nmax = 1.5\nrule = \"guarded\"\n\n[[limit]]\nquantity = \"x50_3_um\"\nmin = 0.5\n\
                    max = 3.0\nrule = \"simple\"\n\n[[limit]]\nquantity = \"x50_3_um\"\nmicroscope = \"40x\"\nmax = 2.0\nrule = \"guarded\"\n";
        let limits = parse(text).unwrap();
        assert_eq!(limits.canonical(), text);
        assert_eq!(
            limits.limits[1],
            Limit { quantity: "x50_3_um".into(), microscope: None, min: Some(0.5), max: Some(3.0), rule: Rule::Simple }
        );
        let with_author = text.replacen("version = \"1\"\n", "version = \"1\"\nauthor = \"R4\"\n", 1);
        assert_eq!(parse(&with_author).unwrap().canonical(), with_author);
        let short = parse("[[limit]]\nquantity = \"gaps\"\nmax = 3").unwrap();
        assert_eq!(short.canonical(), "version = \"1\"\n\n[[limit]]\nquantity = \"gaps\"\nmax = 3.0\nrule = \"guarded\"\n");
    }

    #[test]
    fn no_id_is_known_twice() {
        let mut known = known_quantities();
        known.sort_unstable();
        let count = known.len();
        known.dedup();
        assert_eq!(known.len(), count);
    }

    #[test]
    fn bad_limits() {
        let cases = [
            (
                "[[limit]]\nquantity = \"uncoverd_area_pct\"\nmax = 1",
                "2: unknown quantity uncoverd_area_pct; the nearest known one is uncovered_area_pct",
            ),
            ("[[limit]]\nquantity = \"gaps\"", "2: the limit of gaps has no value"),
            ("[[limit]]\nquantity = \"gaps\"\nmin = 2\nmax = 1", "3: the limits of gaps leave nothing: min 2 is above max 1"),
            ("[[limit]]\nquantity = \"largest_gap_um\"\nmin = 1", "3: largest_gap_um has a minimum"),
            ("[[limit]]\nmax = 1", "1: a [[limit]] names no quantity"),
            ("[[limit]]\nquantity = \"gaps\"\nmax = inf", "3: max in [[limit]] is inf; it must be a finite number"),
            ("[[limit]]\nquantity = \"gaps\"\nmax = 1\n[[limit]]\nquantity = \"gaps\"\nmin = 0", "5: gaps has two limits"),
            (
                "[[limit]]\nquantity = \"gaps\"\nmicroscope = \"40x\"\nmax = 1\n[[limit]]\nquantity = \"gaps\"\nmicroscope = \"40x\"\nmin = 0",
                "6: gaps has two limits for the microscope 40x",
            ),
            ("[[limit]]\nquantity = \"gaps\"\nmaximum = 1", "3: unknown key maximum in [[limit]]; the nearest known one is max"),
            ("[limit]\nquantity = \"gaps\"", "1: limit is of type table; wanted is sections headed [[limit]]"),
            ("wanted_relative_accuracy_pct = 0", "1: wanted_relative_accuracy_pct is 0; it must be above 0"),
        ];
        for (text, expected) in cases {
            let fault = parse(text).unwrap_err();
            let found = format!("{}: {}", fault.line.unwrap_or(0), fault.message);
            assert!(found.starts_with(expected), "{text}\n  gave      {found}\n  expected  {expected}");
        }
    }
}
