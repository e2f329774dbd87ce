//! Who sits where: the operating system's user, the computer and its time zone.

use jiff::Timestamp;
use jiff::tz::TimeZone;

/// Where a program runs, as the operating system says. Empty texts are what it does not say.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// Name of the user that the program runs as. Nobody has proved to be that person.
    pub user: String,
    /// Name of the computer.
    pub computer: String,
    /// Time zone and its offset at this moment, as in `Europe/Vienna +01:00`.
    pub zone: String,
}

impl Origin {
    /// Asks the operating system.
    pub fn of_system() -> Self {
        let one_line = |text: String| text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>().trim().to_owned();
        let zone = TimeZone::system();
        let offset = zone.to_offset(Timestamp::now());
        let name = zone.iana_name().map_or_else(String::new, |name| format!("{name} "));
        Self {
            user: one_line(whoami::username().unwrap_or_default()),
            computer: one_line(whoami::hostname().unwrap_or_default()),
            zone: one_line(format!("{name}{}", offset_text(offset.seconds()))),
        }
    }
}

/// An offset as ISO 8601 writes it.
pub(crate) fn offset_text(seconds: i32) -> String {
    let sign = if seconds < 0 { '-' } else { '+' };
    let minutes = seconds.unsigned_abs() / 60;
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The values of `date +%:z` in such zones.
    #[test]
    fn offsets_are_written_as_iso_8601_does() {
        assert_eq!([0, 3600, -12_600, 20_700].map(offset_text), ["+00:00", "+01:00", "-03:30", "+05:45"]);
    }

    #[test]
    fn the_system_says_where_this_runs() {
        let origin = Origin::of_system();
        assert!(origin.zone.len() >= 6 && origin.zone.contains(':'), "{origin:?}");
        assert!([&origin.user, &origin.computer, &origin.zone].iter().all(|text| !text.contains(char::is_control)));
    }
}
