//! Offsets of clocks from UTC, read and written.

use std::fmt;
use std::str::FromStr;

/// How far a clock is ahead of UTC; east of Greenwich is positive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ZoneOffset {
    seconds: i32,
}

/// Largest offset from UTC, hours; no country exceeds it.
const FARTHEST_HOURS: i32 = 18;

impl ZoneOffset {
    /// UTC itself.
    pub const ZERO: ZoneOffset = ZoneOffset { seconds: 0 };

    /// This many whole hours east of Greenwich.
    pub fn from_hours(hours: i32) -> ZoneOffset {
        ZoneOffset {
            seconds: hours.clamp(-FARTHEST_HOURS, FARTHEST_HOURS) * 3600,
        }
    }

    /// Reads `+11:00`, `-0330`, `+11`, `UTC`, `UTC+2`.
    ///
    /// # Errors
    /// If the text is anything else, with the expected form of an offset.
    pub fn parse(text: &str) -> Result<ZoneOffset, String> {
        let text = text.trim();
        worded_offset(text)
            .or_else(|| signed_offset(text, 1))
            .ok_or_else(|| {
                let unsigned = text.starts_with(|c: char| c.is_ascii_digit());
                match signed_offset(&format!("+{text}"), 1) {
                    Some(east) if unsigned => format!(
                        "say on which side of UTC, such as {east} east of Greenwich or -{} west of it",
                        &east.to_string()[1..]
                    ),
                    _ => "expected hours and minutes ahead of UTC, such as +11:00 or -03:30"
                        .to_owned(),
                }
            })
    }

    /// Seconds to subtract from the clock's time to get UTC.
    pub fn seconds(self) -> i64 {
        i64::from(self.seconds)
    }
}

impl FromStr for ZoneOffset {
    type Err = String;
    /// As [`ZoneOffset::parse`].
    fn from_str(text: &str) -> Result<ZoneOffset, String> {
        ZoneOffset::parse(text)
    }
}

impl fmt::Display for ZoneOffset {
    /// As written after a time: `+11:00`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.seconds < 0 { '-' } else { '+' };
        let minutes = self.seconds.abs() / 60;
        write!(f, "{sign}{:02}:{:02}", minutes / 60, minutes % 60)
    }
}

/// `+02:00`, `+0200` or `+02`, with at least this many digits for the hours.
pub(super) fn signed_offset(text: &str, fewest: usize) -> Option<ZoneOffset> {
    let sign = match text.chars().next()? {
        '+' => 1,
        '-' | '\u{2212}' => -1,
        _ => return None,
    };
    let digits = text.trim_start_matches(['+', '-', '\u{2212}']);
    let (hours, minutes) = match digits.split_once(':') {
        Some((hours, minutes)) if minutes.len() == 2 => (hours, minutes),
        Some(_) => return None,
        None if digits.len() == 4 && digits.is_ascii() => digits.split_at(2),
        None => (digits, "0"),
    };
    let fits = (fewest..=2).contains(&hours.len()) && text.chars().count() == 1 + digits.len();
    // At most two digits each: nothing below can overflow.
    let (hours, minutes) = match fits {
        true => (number(hours)? as i32, number(minutes)? as i32),
        false => return None,
    };
    (hours <= FARTHEST_HOURS && minutes < 60).then_some(ZoneOffset {
        seconds: sign * (hours * 3600 + minutes * 60),
    })
}

/// `UTC`, `GMT`, `Z`, or one of the first two followed by hours.
pub(super) fn worded_offset(text: &str) -> Option<ZoneOffset> {
    if text.eq_ignore_ascii_case("z") {
        return Some(ZoneOffset::ZERO);
    }
    let word = text.get(..3)?;
    if !["utc", "gmt"].contains(&word.to_ascii_lowercase().as_str()) {
        return None;
    }
    match text[3..].trim_start() {
        "" => Some(ZoneOffset::ZERO),
        signed => signed_offset(signed, 1),
    }
}

/// A whole number without a sign.
pub(super) fn number(text: &str) -> Option<i64> {
    let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    text.parse().ok().filter(|_| plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_many_digits_are_not_an_offset() {
        for text in [
            "+99999999999:00",
            "-4294967296",
            "UTC+1000000000000",
            "+020000",
        ] {
            assert_eq!(
                signed_offset(text, 1).or_else(|| worded_offset(text)),
                None,
                "{text}"
            );
        }
    }

    #[test]
    fn offsets_are_read_and_written() {
        for (text, shown) in [
            ("+11:00", "+11:00"),
            ("-0330", "-03:30"),
            ("+5", "+05:00"),
            ("UTC", "+00:00"),
            ("Z", "+00:00"),
            ("UTC-3", "-03:00"),
            ("-3:30", "-03:30"),
        ] {
            assert_eq!(
                ZoneOffset::parse(text).unwrap().to_string(),
                shown,
                "{text}"
            );
        }
        assert!(
            ZoneOffset::parse("11:00")
                .unwrap_err()
                .contains("+11:00 east")
        );
        for text in ["", "CET", "+25:00", "+1:5", "+12345", "++1", "+1:60"] {
            assert!(ZoneOffset::parse(text).is_err(), "{text}");
        }
    }
}
