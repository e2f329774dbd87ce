//! The occasion of a run: when, where and why records are made.

use std::path::Path;

use crate::fault::Fault;
use crate::origin::Origin;
use crate::settings::Settings;
use crate::time::Moment;

/// What all records of a call share beside their pictures.
#[derive(Clone, Debug)]
pub struct Occasion {
    /// The moment of measuring.
    pub moment: Moment,
    /// Who runs the program where.
    pub origin: Origin,
    /// Why lots that have a record already are measured again, in words; `None` where nobody said.
    pub reason: Option<String>,
    /// What the lab has settled.
    pub settings: Settings,
    /// Version of the program.
    pub program_version: String,
}

impl Occasion {
    /// Here and now, for records in the folder `out`.
    ///
    /// # Errors
    /// The environment names a time that is none, or the lab's settings cannot be used or take no such time.
    pub fn now(out: &Path, program_version: &str) -> Result<Self, Fault> {
        let (moment, settings) = (Moment::now()?, Settings::find(out)?);
        settings.check_time(&moment)?;
        Ok(Self { origin: Origin::of_system(), settings, ..Self::at(moment, program_version) })
    }

    /// At a moment, nobody knows where, in a lab that has settled nothing.
    pub fn at(moment: Moment, program_version: &str) -> Self {
        Self { moment, origin: Origin::default(), reason: None, settings: Settings::default(), program_version: program_version.to_owned() }
    }

    /// The same with a reason.
    #[must_use]
    pub fn because(self, reason: impl Into<String>) -> Self {
        Self { reason: Some(reason.into()), ..self }
    }
}
