//! The one moment that a run puts into its records.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::Offset;

use crate::fault::Fault;

/// Environment variable that stands in for the clock, in seconds since 1970-01-01 00:00 UTC, so that a run can be repeated byte for byte.
pub const SOURCE_DATE_EPOCH: &str = "SOURCE_DATE_EPOCH";

/// What moments from the clock have as their source.
const CLOCK: &str = "clock";

/// When a measurement was made, in UTC to the second.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// As in `2026-03-04T09:15:00Z`.
    pub measured_at: String,
    /// As in `2026-03-04`.
    pub date: String,
    /// "clock" or [`SOURCE_DATE_EPOCH`].
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
            _ => Ok(Self::new(Timestamp::now(), CLOCK)),
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

    /// As a record writes it; `None` for what is no moment. Whatever comes later in the same run has this moment too.
    pub fn of_record(measured_at: &str) -> Option<Self> {
        Some(Self::new(measured_at.parse().ok()?, SOURCE_DATE_EPOCH))
    }

    /// The moment of something later in the same run: by the clock, or once more the one that stands in for it.
    #[must_use]
    pub fn again(&self) -> Self {
        if self.source == CLOCK { Self::new(Timestamp::now(), CLOCK) } else { self.clone() }
    }

    /// Whether the moment comes from the clock.
    pub fn is_clock(&self) -> bool {
        self.source == CLOCK
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

/// A moment as a file states it: a day and a time, and perhaps how far its clock was from UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stated {
    at: DateTime,
    offset: Option<Offset>,
}

impl Stated {
    /// From the words of EXIF 2.32 (4.6.5): `2026:03:04 09:15:00`, and the offset `+01:00` where there is one. `None` for what is no time,
    /// as in cameras whose clock was never set.
    pub(crate) fn of_exif(text: &str, offset: Option<&str>) -> Option<Self> {
        let at = DateTime::strptime("%Y:%m:%d %H:%M:%S", text.trim()).ok().filter(|at| at.year() > 0)?;
        Some(Self {
            at,
            offset: offset
                .and_then(|offset| Timestamp::strptime("%Y-%m-%d %H:%M %:z", format!("2000-01-01 12:00 {}", offset.trim())).ok())
                .and_then(noon_offset),
        })
    }

    /// From RFC 3339, with or without an offset.
    pub(crate) fn of_rfc3339(text: &str) -> Option<Self> {
        let text = text.trim();
        let at: DateTime = text.trim_end_matches('Z').parse().ok()?;
        let of_moment = |moment: Timestamp| {
            let seconds = Offset::UTC.to_timestamp(at).ok()?.as_second() - moment.as_second();
            Offset::from_seconds(i32::try_from(seconds).ok()?).ok()
        };
        Some(Self { at: at.round(jiff::Unit::Second).ok()?, offset: text.parse().ok().and_then(of_moment) })
    }

    /// Whether it lies after a moment, however far its clock may have been from UTC.
    pub fn is_after(self, moment: &Moment) -> bool {
        // No place on earth is further ahead.
        let offset = self.offset.unwrap_or_else(|| Offset::constant(14));
        let (Ok(stated), Ok(moment)) = (offset.to_timestamp(self.at), moment.measured_at.parse::<Timestamp>()) else { return false };
        stated > moment
    }
}

impl std::fmt::Display for Stated {
    /// As in `2026-03-04T09:15:00`, with the offset behind it where it is known.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.at.strftime("%Y-%m-%dT%H:%M:%S"))?;
        self.offset.map_or(Ok(()), |offset| f.write_str(&crate::origin::offset_words(offset)))
    }
}

/// The offset of the clock that showed noon of the first day of 2000.
fn noon_offset(moment: Timestamp) -> Option<Offset> {
    const NOON: i64 = 946_728_000;
    Offset::from_seconds(i32::try_from(NOON - moment.as_second()).ok()?).ok()
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

    /// EXIF 2.32, 4.6.5 (DateTimeOriginal, OffsetTimeOriginal), and RFC 3339.
    #[test]
    fn times_of_files_may_know_their_offset() {
        let text = |stated: Option<Stated>| stated.map_or_else(|| "none".into(), |stated| stated.to_string());
        assert_eq!(text(Stated::of_exif("2026:03:04 09:15:00", None)), "2026-03-04T09:15:00");
        assert_eq!(text(Stated::of_exif("2026:03:04 09:15:00\0", Some("-03:30"))), "none");
        assert_eq!(text(Stated::of_exif(" 2026:03:04 09:15:00", Some("-03:30"))), "2026-03-04T09:15:00-03:30");
        assert_eq!(text(Stated::of_exif("0000:00:00 00:00:00", None)), "none");
        assert_eq!(text(Stated::of_exif("2026:13:04 09:15:00", Some("x"))), "none");
        assert_eq!(text(Stated::of_rfc3339("2026-03-04T09:15:00")), "2026-03-04T09:15:00");
        assert_eq!(text(Stated::of_rfc3339("2026-03-04T09:15:00.25Z")), "2026-03-04T09:15:00+00:00");
        assert_eq!(text(Stated::of_rfc3339("2026-03-04T09:15:00+01:00")), "2026-03-04T09:15:00+01:00");
        assert_eq!(text(Stated::of_rfc3339("noon")), "none");
        let moment = Moment::from_epoch("1772615700").unwrap();
        let after = |text: &str| Stated::of_rfc3339(text).unwrap().is_after(&moment);
        assert!(!after("2026-03-04T09:15:00Z") && after("2026-03-04T09:15:01Z") && !after("2026-03-04T10:15:00+01:00"));
        assert!(!after("2026-03-04T23:15:00") && after("2026-03-04T23:15:01"), "somewhere it was that late already");
    }

    #[test]
    fn what_is_no_time_is_refused() {
        for text in ["yesterday", "1.5", "99999999999999999", ""] {
            assert!(Moment::from_epoch(text).unwrap_err().message.contains("no time"), "{text}");
        }
    }
}
