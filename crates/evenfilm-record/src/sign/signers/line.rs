//! One line of a file of signers.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::{Patterns, Signer};
use crate::fault::Fault;
use crate::names::printable;
use crate::sign::{PublicKey, is_key_type};

const BLANK: [char; 2] = [' ', '\t'];

/// What options say.
#[derive(Debug, Default)]
struct Options {
    namespaces: Option<Patterns>,
    valid: [Option<Timestamp>; 2],
}

/// Reads a line; `None` where it is empty or a comment.
pub(super) fn parse(text: &str, line: usize) -> Result<Option<Signer>, Fault> {
    let text = text.trim_matches(BLANK);
    if text.is_empty() || text.starts_with('#') {
        return Ok(None);
    }
    let (names, rest) = names(text)?;
    let word = rest.split(BLANK).next().unwrap_or_default();
    let (options, key) = if is_key_type(word) { ("", rest) } else { rest.split_at(end_of_options(rest)) };
    let options = read_options(options)?;
    let key = PublicKey::parse(key.trim_start_matches(BLANK))?;
    Ok(Some(Signer { line, names: Patterns::new(names), namespaces: options.namespaces, valid: options.valid, key }))
}

/// The names, in quotes where they hold blanks, and what follows.
fn names(text: &str) -> Result<(&str, &str), Fault> {
    let parts = match text.strip_prefix('"') {
        Some(text) => text.split_once('"').ok_or_else(|| bad("a quote is not closed"))?,
        None => text.split_once(BLANK).unwrap_or((text, "")),
    };
    let (names, rest) = (parts.0, parts.1.trim_start_matches(BLANK));
    if names.is_empty() { Err(bad("the line names nobody")) } else { Ok((names, rest)) }
}

/// Where options end: at the first blank outside quotes.
fn end_of_options(text: &str) -> usize {
    let (mut is_quoted, mut is_escaped) = (false, false);
    let ends = |(_, c): &(usize, char)| {
        let ends = !is_quoted && BLANK.contains(c);
        is_quoted ^= *c == '"' && !is_escaped;
        is_escaped = *c == '\\' && !is_escaped;
        ends
    };
    text.char_indices().find(ends).map_or(text.len(), |(at, _)| at)
}

fn read_options(mut text: &str) -> Result<Options, Fault> {
    let mut options = Options::default();
    while !text.is_empty() {
        let name_end = text.find(['=', ',']).unwrap_or(text.len());
        let (name, rest) = text.split_at(name_end);
        let name = name.to_ascii_lowercase();
        if name == "cert-authority" {
            let message = "the line lets an authority vouch for keys by certificates, and certificates are not read";
            return Err(Fault::input(message, "give every signer a line with a key of their own"));
        }
        let (value, rest) = match rest.strip_prefix('=') {
            Some(quoted) => unquoted(quoted)?,
            None => (String::new(), rest),
        };
        let is_again = match name.as_str() {
            "namespaces" => options.namespaces.replace(Patterns::new(value)).is_some(),
            "valid-after" => options.valid[0].replace(time(&value)?).is_some(),
            "valid-before" => options.valid[1].replace(time(&value)?).is_some(),
            _ => return Err(bad(&format!("the option {} is not known", printable(&name)))),
        };
        if is_again {
            return Err(bad(&format!("the option {name} stands twice")));
        }
        text = match rest.strip_prefix(',') {
            Some("") => return Err(bad("after the last comma an option is missing")),
            Some(more) => more,
            None if rest.is_empty() => rest,
            None => return Err(bad("between options a comma is missing")),
        };
    }
    match options.valid {
        [Some(after), Some(before)] if before <= after => {
            Err(bad("valid-before is no later than valid-after, so that the key never holds"))
        }
        _ => Ok(options),
    }
}

/// A text in quotes, and what follows. `\"` in it is a quote.
fn unquoted(text: &str) -> Result<(String, &str), Fault> {
    let inner = text.strip_prefix('"').ok_or_else(|| bad("the value of an option is not in quotes"))?;
    let mut value = String::new();
    let mut rest = inner;
    loop {
        let at = rest.find('"').ok_or_else(|| bad("a quote is not closed"))?;
        let Some(before) = rest[..at].strip_suffix('\\') else {
            value.push_str(&rest[..at]);
            return Ok((value, &rest[at + 1..]));
        };
        value.push_str(before);
        value.push('"');
        rest = &rest[at + 1..];
    }
}

/// `YYYYMMDD`, `YYYYMMDDHHMM` or `YYYYMMDDHHMMSS`, with `Z` behind it in UTC, else in the zone of the system.
fn time(text: &str) -> Result<Timestamp, Fault> {
    let fault = || bad(&format!("{} is no time of the form YYYYMMDD or YYYYMMDDHHMM, with a Z for UTC", printable(text)));
    let (digits, is_utc) = text.strip_suffix(['Z', 'z']).map_or((text, false), |digits| (digits, true));
    if !matches!(digits.len(), 8 | 12 | 14) || !digits.bytes().all(|c| c.is_ascii_digit()) {
        return Err(fault());
    }
    let full = format!("{digits:0<14}");
    let part = |from: usize, to: usize| full[from..to].parse::<i16>().unwrap_or(0);
    let small = |from| i8::try_from(part(from, from + 2)).unwrap_or(-1);
    let time = DateTime::new(part(0, 4), small(4), small(6), small(8), small(10), small(12), 0).map_err(|_| fault())?;
    let zone = if is_utc { TimeZone::UTC } else { TimeZone::try_system().map_err(|_| fault())? };
    zone.to_timestamp(time).map_err(|_| fault())
}

fn bad(what: &str) -> Fault {
    Fault::input(what, "write lines as ssh-keygen(1) tells under ALLOWED SIGNERS: NAME namespaces=\"signoff@evenfilm\" ssh-ed25519 …")
}
