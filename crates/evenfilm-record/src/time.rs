//! The one moment that a run puts into its records.

use jiff::Timestamp;
use jiff::civil::Date;

use crate::fault::Fault;

/// Environment variable that stands in for the clock, in seconds since 1970-01-01 00:00 UTC, so that a run can be repeated byte for byte.
pub const SOURCE_DATE_EPOCH: &str = "SOURCE_DATE_EPOCH";

/// When a measurement was made, in UTC to the second.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// As in `2026-03-04T09:15:00Z`.
    pub measured_at: String,
    /// As in `2026-03-04`.
    pub date: String,
    /// "clock" or "SOURCE_DATE_EPOCH".
    pub source: &'static str,
}

impl Moment {
    /// From the environment, else from the clock. Asked once a run.
    ///
    /// # Errors
    /// The variable is set to something that is no time.
    pub fn now() -> Result<Self, Fault> {
        match std::env::var(SOURCE_DATE_EPOCH) {
            Ok(text) if !text.trim().is_empty() => Self::from_epoch(&text),
            Err(std::env::VarError::NotUnicode(_)) => Self::from_epoch("?"),
            _ => Ok(Self::new(Timestamp::now(), "clock")),
        }
    }

    /// From the text of the variable.
    ///
    /// # Errors
    /// It is no whole number of seconds in the years −9999 to 9999.
    pub fn from_epoch(text: &str) -> Result<Self, Fault> {
        let time = text.trim().parse().ok().and_then(|seconds| Timestamp::from_second(seconds).ok());
        let fault =
            || Fault::input(format!("{SOURCE_DATE_EPOCH} is \"{text}\", which is no time"), "set it to seconds since 1970, or unset it");
        time.map(|time| Self::new(time, SOURCE_DATE_EPOCH)).ok_or_else(fault)
    }

    /// Days from a day to this moment's; negative where it is still to come. `None` where the moment was not made by this program.
    pub fn days_since(&self, day: Date) -> Option<f64> {
        let today: Date = self.date.parse().ok()?;
        Some(f64::from(day.until(today).ok()?.get_days()))
    }

    /// Days from a moment as records write it to this one; negative where it is still to come. `None` where the text is no moment.
    pub fn days_since_moment(&self, measured_at: &str) -> Option<f64> {
        let [then, now]: [Option<Timestamp>; 2] = [measured_at, &self.measured_at].map(|text| text.parse().ok());
        Some((now?.as_second() - then?.as_second()) as f64 / 86_400.0)
    }

    fn new(time: Timestamp, source: &'static str) -> Self {
        let measured_at = time.strftime("%Y-%m-%dT%H:%M:%SZ").to_string();
        let date = time.strftime("%Y-%m-%d").to_string();
        Self { measured_at, date, source }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_become_utc() {
        let moment = Moment::from_epoch(" 1772615700").unwrap();
        assert_eq!((moment.measured_at.as_str(), moment.date.as_str()), ("2026-03-04T09:15:00Z", "2026-03-04"));
    }

    #[test]
    fn days_between() {
        let moment = Moment::from_epoch("1772615700").unwrap();
        assert_eq!(moment.days_since(jiff::civil::date(2025, 3, 4)), Some(365.0));
        assert_eq!(moment.days_since(jiff::civil::date(2026, 3, 5)), Some(-1.0));
        assert_eq!(moment.days_since_moment("2026-03-03T21:15:00Z"), Some(0.5));
        assert_eq!(moment.days_since_moment("yesterday"), None);
    }

    #[test]
    fn what_is_no_time_is_refused() {
        for text in ["yesterday", "1.5", "99999999999999999", ""] {
            assert!(Moment::from_epoch(text).unwrap_err().message.contains("no time"), "{text}");
        }
    }
}
