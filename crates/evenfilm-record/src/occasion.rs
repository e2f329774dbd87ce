//! The occasion of a run: when, where and why records are made.

use crate::fault::Fault;
use crate::origin::Origin;
use crate::time::Moment;

/// What all records of a call share beside their pictures.
#[derive(Clone, Debug, PartialEq)]
pub struct Occasion {
    /// The moment of measuring.
    pub moment: Moment,
    /// Who runs the program where.
    pub origin: Origin,
    /// Why lots that have a record already are measured again, in words; `None` where nobody said.
    pub reason: Option<String>,
    /// Version of the program.
    pub program_version: String,
}

impl Occasion {
    /// Here and now.
    ///
    /// # Errors
    /// The environment names a time that is none.
    pub fn now(program_version: &str) -> Result<Self, Fault> {
        Ok(Self { origin: Origin::of_system(), ..Self::at(Moment::now()?, program_version) })
    }

    /// At a moment, nobody knows where.
    pub fn at(moment: Moment, program_version: &str) -> Self {
        Self { moment, origin: Origin::default(), reason: None, program_version: program_version.to_owned() }
    }

    /// The same with a reason.
    #[must_use]
    pub fn because(self, reason: impl Into<String>) -> Self {
        Self { reason: Some(reason.into()), ..self }
    }
}
