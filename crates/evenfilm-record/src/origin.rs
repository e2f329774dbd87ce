//! Where something was done: whose session, which computer, which time zone.

use jiff::Timestamp;
use jiff::tz::{Offset, TimeZone};

/// What the system says of itself. A text is empty where it says nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// The user of the operating system, by the name of the account.
    pub user: String,
    /// The computer's name in its network.
    pub computer: String,
    /// The time zone by its IANA name, where it has one, and its offset from UTC now, as in `Europe/Berlin +01:00`.
    pub zone: String,
}

impl Origin {
    /// Asks the system.
    pub fn of_system() -> Self {
        let known = |text: whoami::Result<String>| text.map(|text| without_controls(&text)).unwrap_or_default();
        let zone = TimeZone::try_system().map(|zone| zone_words(&zone, Timestamp::now())).unwrap_or_default();
        Self { user: known(whoami::username()), computer: known(whoami::hostname()), zone }
    }
}

/// Name and offset of a zone at a time.
fn zone_words(zone: &TimeZone, at: Timestamp) -> String {
    let offset = offset_words(zone.to_offset(at));
    zone.iana_name().map_or_else(|| offset.clone(), |name| format!("{} {offset}", without_controls(name)))
}

/// An offset from UTC as ISO 8601 writes it.
pub(crate) fn offset_words(offset: Offset) -> String {
    let minutes = offset.seconds().unsigned_abs() / 60;
    let sign = if offset.is_negative() { '-' } else { '+' };
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

fn without_controls(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).collect::<String>().trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// POSIX rules as the IANA time zone database has them for Berlin, Kolkata and Marquesas.
    #[test]
    fn zones_are_named_with_their_offset() {
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        let zone = TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        assert_eq!(zone_words(&zone, at("2026-01-15T12:00:00Z")), "+01:00");
        assert_eq!(zone_words(&zone, at("2026-07-15T12:00:00Z")), "+02:00");
        for (rule, words) in [("IST-5:30", "+05:30"), ("MART9:30", "-09:30")] {
            assert_eq!(zone_words(&TimeZone::posix(rule).unwrap(), at("2026-01-15T12:00:00Z")), words);
        }
        assert_eq!(zone_words(&TimeZone::UTC, at("2026-01-15T12:00:00Z")), "UTC +00:00");
    }

    #[test]
    fn the_system_gives_one_line_each() {
        let Origin { user, computer, zone } = Origin::of_system();
        assert!([&user, &computer, &zone].iter().all(|text| !text.contains(char::is_control)));
        assert!(!computer.is_empty(), "every system that runs tests has a name");
    }
}
