//! Fast path for the rows of a long scan: plain text of the usual form that continues the scan of
//! the previous row. Any other row takes the general path, which also produces the error messages.

use super::scan::{PowerUnit, Sample, from_decibels};
use crate::angle::Angle;
use crate::time::{NANOS_PER_SECOND, Utc};

/// What a field of a row holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Field {
    Scan,
    Time,
    Emitter,
    Azimuth,
    Elevation,
    Power,
    /// A column of the user's own, which is skipped.
    Own,
}

/// Layout of the rows of a file.
#[derive(Clone, Debug)]
pub(super) struct Form {
    /// Fields in the order of the file.
    pub fields: Vec<Field>,
    /// Delimiter between two fields.
    pub delimiter: u8,
    pub unit: PowerUnit,
    /// Lowest and highest permitted azimuth, elevation and power.
    pub azimuth: (f64, f64),
    pub elevation: (f64, f64),
    pub power: (f64, f64),
}

/// Date of a row read by the general path: its text, and days since 1970-01-01.
#[derive(Clone, Copy, Debug)]
pub(super) struct Date {
    text: [u8; 10],
    day: i64,
}

impl Date {
    /// Date of a time written `2026-04-07T08:03:00Z`, with or without decimals.
    pub fn of(text: &str) -> Option<Date> {
        let date = text.get(..10)?;
        let midnight = Utc::parse(&format!("{date}T00:00:00Z")).ok()?;
        Some(Date {
            text: date.as_bytes().try_into().ok()?,
            day: midnight.unix_day(),
        })
    }
}

/// Reads the first line of a text if it continues this scan of this emitter on this date; returns
/// its length including the line feed, or `None` if it is not clearly such a row.
pub(super) fn read(
    text: &[u8],
    form: &Form,
    scan: &str,
    emitter: &str,
    date: &Date,
) -> Option<(Sample, usize)> {
    let mut rest = text;
    let (mut time, mut azimuth, mut elevation, mut power) = (None, 0.0, 0.0, 0.0);
    let last = form.fields.len() - 1;
    for (i, field) in form.fields.iter().enumerate() {
        rest = match field {
            Field::Scan => rest.strip_prefix(scan.as_bytes())?,
            Field::Emitter => rest.strip_prefix(emitter.as_bytes())?,
            Field::Time => {
                let (found, behind) = time_at(rest, date)?;
                time = Some(found);
                behind
            }
            Field::Azimuth => {
                let behind;
                (azimuth, behind) = decimal_at(rest)?;
                behind
            }
            Field::Elevation => {
                let behind;
                (elevation, behind) = decimal_at(rest)?;
                behind
            }
            Field::Power => {
                let behind;
                (power, behind) = decimal_at(rest)?;
                behind
            }
            Field::Own => own_at(rest, form.delimiter)?,
        };
        match rest.split_first() {
            Some((delimiter, behind)) if i < last && *delimiter == form.delimiter => rest = behind,
            Some((b'\n', behind)) if i == last => rest = behind,
            Some((b'\r', [b'\n', behind @ ..])) if i == last => rest = behind,
            _ => return None,
        }
    }
    let within = |value: f64, (low, high): (f64, f64)| low <= value && value <= high;
    let all_within = within(azimuth, form.azimuth)
        && within(elevation, form.elevation)
        && within(power, form.power);
    if !all_within {
        return None;
    }
    let sample = Sample {
        time: time?,
        azimuth: Angle::from_degrees(azimuth),
        elevation: Angle::from_degrees(elevation),
        power: match form.unit {
            PowerUnit::Decibels => from_decibels(power),
            PowerUnit::Linear | PowerUnit::Counts => power,
        },
    };
    Some((sample, text.len() - rest.len()))
}

/// Skips a field of the user's own; `None` unless it is plain printable text.
fn own_at(text: &[u8], delimiter: u8) -> Option<&[u8]> {
    let ends = |b: &u8| *b == delimiter || *b == b'\r' || *b == b'\n';
    let end = text.iter().position(ends)?;
    let plain = |b: &u8| b.is_ascii_graphic() && *b != b'"' || *b == b' ';
    text[..end].iter().all(plain).then_some(&text[end..])
}

/// Powers of ten that double precision holds exactly.
const TENS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Reads a decimal of up to 15 digits without exponent; returns it with the rest of the text. Its
/// digits and the power of ten are exact, so that their quotient is the nearest float (Clinger, How
/// to read floating point numbers accurately, 1990; from memory).
#[inline]
fn decimal_at(text: &[u8]) -> Option<(f64, &[u8])> {
    let negative = text.first() == Some(&b'-');
    let start = usize::from(negative);
    let mut value = 0u64;
    let mut i = start;
    while let Some(digit) = text
        .get(i)
        .map(|b| b.wrapping_sub(b'0'))
        .filter(|d| *d < 10)
    {
        value = value.wrapping_mul(10).wrapping_add(u64::from(digit));
        i += 1;
    }
    let mut digits = i - start;
    let mut behind = 0;
    if text.get(i) == Some(&b'.') {
        i += 1;
        let point = i;
        while let Some(digit) = text
            .get(i)
            .map(|b| b.wrapping_sub(b'0'))
            .filter(|d| *d < 10)
        {
            value = value.wrapping_mul(10).wrapping_add(u64::from(digit));
            i += 1;
        }
        behind = i - point;
        digits += behind;
    }
    if digits == 0 || digits > 15 {
        return None;
    }
    let size = value as f64 / TENS[behind];
    Some((if negative { -size } else { size }, &text[i..]))
}

/// Reads a time on this date, to the nanosecond; returns it with the rest of the text.
#[inline]
fn time_at<'a>(text: &'a [u8], date: &Date) -> Option<(Utc, &'a [u8])> {
    let (day, clock) = text.split_first_chunk::<10>()?;
    let (clock, mut rest) = clock.split_first_chunk::<9>()?;
    if *day != date.text || clock[0] != b'T' || clock[3] != b':' || clock[6] != b':' {
        return None;
    }
    let two = |i: usize| {
        let (tens, ones) = (clock[i].wrapping_sub(b'0'), clock[i + 1].wrapping_sub(b'0'));
        (tens < 10 && ones < 10).then_some(10 * i64::from(tens) + i64::from(ones))
    };
    let (hour, minute, second) = (two(1)?, two(4)?, two(7)?);
    if hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let mut nanos = 0;
    if let [b'.', fraction @ ..] = rest {
        let mut unit = NANOS_PER_SECOND / 10;
        let mut i = 0;
        while let Some(digit) = fraction
            .get(i)
            .map(|b| b.wrapping_sub(b'0'))
            .filter(|d| *d < 10)
        {
            nanos += unit * i64::from(digit);
            unit /= 10;
            i += 1;
        }
        if i == 0 || i > 9 {
            return None;
        }
        rest = &fraction[i..];
    }
    let seconds = hour * 3600 + minute * 60 + second;
    let time = Utc::on_day(date.day, seconds * NANOS_PER_SECOND + nanos);
    Some((time, rest.strip_prefix(b"Z")?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn decimal(text: &str) -> Option<f64> {
        decimal_at(text.as_bytes())
            .filter(|(_, rest)| rest.is_empty())
            .map(|(value, _)| value)
    }

    #[test]
    fn only_plain_numbers_take_the_fast_path() {
        assert_eq!(decimal("-12.50"), Some(-12.5));
        assert_eq!(decimal("7"), Some(7.0));
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
            assert_eq!(decimal(text), None, "{text}");
        }
    }

    #[test]
    fn only_plain_times_take_the_fast_path() {
        let date = Date::of("2026-04-07T08:03:00Z").unwrap();
        let time = |text: &'static str| {
            time_at(text.as_bytes(), &date)
                .filter(|(_, rest)| rest.is_empty())
                .map(|(time, _)| time)
        };
        for text in [
            "2026-04-07T08:03:00Z",
            "2026-04-07T23:59:59.999999999Z",
            "2026-04-07T08:03:00.5Z",
        ] {
            assert_eq!(time(text), Some(Utc::parse(text).unwrap()), "{text}");
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
            assert_eq!(time(text), None, "{text}");
        }
    }

    #[test]
    fn a_row_of_another_form_takes_the_general_path() {
        let form = Form {
            fields: vec![
                Field::Emitter,
                Field::Own,
                Field::Time,
                Field::Scan,
                Field::Power,
                Field::Elevation,
                Field::Azimuth,
            ],
            delimiter: b',',
            unit: PowerUnit::Counts,
            azimuth: (-1e5, 1e5),
            elevation: (-90.0, 270.0),
            power: (-1e30, 1e30),
        };
        let date = Date::of("2026-04-07T08:03:00Z").unwrap();
        // Length of the text that is consumed.
        let taken = |text: &str| Some(read(text.as_bytes(), &form, "7", "sun", &date)?.1);
        let good = "sun,own text,2026-04-07T08:03:00Z,7,12,30.5,180.25";
        assert_eq!(taken(&format!("{good}\r\nnext")), Some(good.len() + 2));
        assert_eq!(taken(&format!("{good}\n")), Some(good.len() + 1));
        // A line without an end may continue after the buffer.
        assert_eq!(taken(good), None);
        for line in [
            "moon,own text,2026-04-07T08:03:00Z,7,12,30.5,180.25",
            "sun,\"own\",2026-04-07T08:03:00Z,7,12,30.5,180.25",
            "sun,größe,2026-04-07T08:03:00Z,7,12,30.5,180.25",
            "sun,own text,2026-04-07T08:03:00Z,77,12,30.5,180.25",
            "sun,own text,2026-04-07T08:03:00Z,7,12,400,180.25",
            "sun,own text,2026-04-07T08:03:00Z,7,12,30.5",
            "sun,own text,2026-04-07T08:03:00Z,7,12,30.5,180.25,",
            "sun,own text,2026-04-07T08:03:00Z,7,12,30.5,180,25",
            "",
        ] {
            assert_eq!(taken(&format!("{line}\n")), None, "{line}");
        }
    }

    proptest! {
        #[test]
        fn fast_and_general_path_give_the_same_numbers(
            mantissa in -999_999_999_999_999i64..=999_999_999_999_999,
            decimals in 0usize..=14,
        ) {
            let digits = format!("{:0>16}", mantissa.abs());
            let (whole, rest) = digits.split_at(digits.len() - decimals);
            let sign = if mantissa < 0 { "-" } else { "" };
            let text = format!("{sign}{}.{rest}", whole.trim_start_matches('0'));
            if let Some(quick) = decimal(&text) {
                prop_assert_eq!(quick.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{}", text);
            }
        }
    }
}
