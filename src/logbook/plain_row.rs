//! The quick way through the rows of a long scan: plain text of the usual form, going on with
//! the scan of the row before. Whatever else a row may be, it goes the careful way, which also
//! finds the words for what is wrong.

use super::scan::{PowerUnit, Sample};
use crate::angle::Angle;
use crate::time::Utc;

const NANOS_PER_SECOND: i64 = 1_000_000_000;

/// What the rows of a file look like.
#[derive(Clone, Debug)]
pub(super) struct Form {
    /// How many fields a row has.
    pub fields: usize,
    /// Which fields hold scan, time, emitter, azimuth, elevation and power.
    pub places: [usize; 6],
    pub unit: PowerUnit,
    /// Lowest and highest azimuth, elevation and power.
    pub limits: [(f64, f64); 3],
}

/// The date of a row that went the careful way: its text and the midnight before it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Date {
    text: [u8; 10],
    midnight: i64,
}

impl Date {
    /// Of a time written `2026-04-07T08:03:00Z`, with or without decimals.
    pub fn of(text: &str) -> Option<Date> {
        let date: [u8; 10] = text.as_bytes().get(..10)?.try_into().ok()?;
        let midnight = Utc::parse(&format!("{}T00:00:00Z", text.get(..10)?)).ok()?;
        let nanos = midnight.unix_day() * 86_400 * NANOS_PER_SECOND;
        Some(Date {
            text: date,
            midnight: nanos,
        })
    }
}

/// Power from decibels: ten to the tenth part of them.
pub(super) fn from_decibels(db: f64) -> f64 {
    (db * (std::f64::consts::LN_10 / 10.0)).exp()
}

/// Most fields of a row that goes the quick way.
const MOST_FIELDS: usize = 16;

/// Reads a row that goes on with this scan of this emitter on this date; none when it is not
/// plainly such a row.
pub(super) fn read(
    line: &str,
    form: &Form,
    scan: &str,
    emitter: &str,
    date: &Date,
) -> Option<Sample> {
    let line = line.as_bytes();
    if form.fields > MOST_FIELDS {
        return None;
    }
    let mut ends = [0usize; MOST_FIELDS];
    let mut count = 0;
    for (i, byte) in line.iter().enumerate() {
        match byte {
            b',' => {
                *ends.get_mut(count)? = i;
                count += 1;
            }
            b'"' => return None,
            _ => {}
        }
    }
    *ends.get_mut(count)? = line.len();
    if count + 1 != form.fields {
        return None;
    }
    let field = |k: usize| {
        let place = form.places[k];
        let start = if place == 0 { 0 } else { ends[place - 1] + 1 };
        &line[start..ends[place]]
    };
    if field(0) != scan.as_bytes() || field(2) != emitter.as_bytes() {
        return None;
    }
    let within =
        |k: usize, (low, high): (f64, f64)| decimal(field(k)).filter(|v| low <= *v && *v <= high);
    let power = within(5, form.limits[2])?;
    Some(Sample {
        time: time(field(1), date)?,
        azimuth: Angle::from_degrees(within(3, form.limits[0])?),
        elevation: Angle::from_degrees(within(4, form.limits[1])?),
        power: match form.unit {
            PowerUnit::Decibels => from_decibels(power),
            PowerUnit::Linear | PowerUnit::Counts => power,
        },
    })
}

/// Powers of ten that a float holds exactly.
const TENS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// A decimal of up to 15 digits without exponent: its digits and the power of ten are exact,
/// so that their quotient is the nearest float (Clinger, How to read floating point numbers
/// accurately, 1990; from memory).
fn decimal(text: &[u8]) -> Option<f64> {
    let (negative, digits) = match text.split_first()? {
        (b'-', rest) => (true, rest),
        _ => (false, text),
    };
    let (mut value, mut count, mut behind, mut point) = (0u64, 0usize, 0usize, false);
    for byte in digits {
        match byte {
            b'0'..=b'9' => {
                value = value * 10 + u64::from(byte - b'0');
                count += 1;
                behind += usize::from(point);
                if count > 15 {
                    return None;
                }
            }
            b'.' if !point => point = true,
            _ => return None,
        }
    }
    if count == 0 {
        return None;
    }
    let size = value as f64 / TENS[behind];
    Some(if negative { -size } else { size })
}

/// A time on this date, to the nanosecond.
fn time(text: &[u8], date: &Date) -> Option<Utc> {
    if text.len() < 20 || text[..10] != date.text || text[text.len() - 1] != b'Z' {
        return None;
    }
    if text[10] != b'T' || text[13] != b':' || text[16] != b':' {
        return None;
    }
    let digit = |i: usize| match text[i] {
        byte @ b'0'..=b'9' => Some(i64::from(byte - b'0')),
        _ => None,
    };
    let two = |i: usize| Some(10 * digit(i)? + digit(i + 1)?);
    let (hour, minute, second) = (two(11)?, two(14)?, two(17)?);
    if hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let mut nanos = 0;
    if text.len() > 20 {
        if text[19] != b'.' || text.len() < 22 || text.len() > 30 {
            return None;
        }
        let mut unit = NANOS_PER_SECOND / 10;
        for i in 20..text.len() - 1 {
            nanos += unit * digit(i)?;
            unit /= 10;
        }
    }
    let seconds = hour * 3600 + minute * 60 + second;
    Some(Utc::from_unix_nanos(
        date.midnight + seconds * NANOS_PER_SECOND + nanos,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn only_plain_numbers_go_the_quick_way() {
        assert_eq!(decimal(b"-12.50"), Some(-12.5));
        assert_eq!(decimal(b"7"), Some(7.0));
        for text in [
            "",
            "-",
            "+1",
            "1e3",
            "nan",
            "1.2.3",
            " 1",
            "0x1",
            "1234567890123456",
        ] {
            assert_eq!(decimal(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn only_plain_times_go_the_quick_way() {
        let date = Date::of("2026-04-07T08:03:00Z").unwrap();
        for text in [
            "2026-04-07T08:03:00Z",
            "2026-04-07T23:59:59.999999999Z",
            "2026-04-07T08:03:00.5Z",
        ] {
            assert_eq!(
                time(text.as_bytes(), &date),
                Some(Utc::parse(text).unwrap()),
                "{text}"
            );
        }
        for text in [
            "2026-04-08T08:03:00Z",
            "2026-04-07T24:03:00Z",
            "2026-04-07T08:03:60Z",
            "2026-04-07T08:03:00",
            "2026-04-07T08:03:00+02:00",
            "2026-04-07T08:03:00.Z",
            "2026-04-07T08:03:00.1234567890Z",
            "2026-04-07 08:03:00Z",
        ] {
            assert_eq!(time(text.as_bytes(), &date), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn numbers_are_those_of_the_careful_way(mantissa in -999_999_999_999_999i64..=999_999_999_999_999, decimals in 0usize..=14) {
            let digits = format!("{:0>16}", mantissa.abs());
            let (whole, rest) = digits.split_at(digits.len() - decimals);
            let sign = if mantissa < 0 { "-" } else { "" };
            let text = format!("{sign}{}.{rest}", whole.trim_start_matches('0'));
            if let Some(quick) = decimal(text.as_bytes()) {
                prop_assert_eq!(quick.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{}", text);
            }
        }
    }
}
