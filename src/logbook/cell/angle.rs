//! Reads a cell as an angle in degrees, minutes and seconds, or in hours.

use super::number::{DASHES, Marks};
use crate::problem::Wrong;
use crate::text::quoted;

/// Unit in which an angle is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    Degrees,
    /// Hours of 15 degrees: hour angles and right ascensions only.
    Hours,
}

/// An angle that was written in several parts or with a unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parted {
    pub degrees: f64,
    pub unit: Unit,
    /// Number of parts: degrees or hours, minutes, seconds.
    pub parts: usize,
}

/// One number with its unit symbol.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Part {
    value: f64,
    /// Digits before the decimal mark.
    digits: usize,
    decimals: bool,
    sign: Option<Sign>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sign {
    Degrees,
    Hours,
    Minutes,
    Seconds,
    Colon,
}

const SIGNS: [(&str, Sign); 27] = [
    ("°", Sign::Degrees),
    ("º", Sign::Degrees),
    ("˚", Sign::Degrees),
    ("degrees", Sign::Degrees),
    ("degree", Sign::Degrees),
    ("deg", Sign::Degrees),
    ("d", Sign::Degrees),
    ("hours", Sign::Hours),
    ("hrs", Sign::Hours),
    ("hr", Sign::Hours),
    ("h", Sign::Hours),
    ("''", Sign::Seconds),
    ("′′", Sign::Seconds),
    ("’’", Sign::Seconds),
    ("'", Sign::Minutes),
    ("′", Sign::Minutes),
    ("’", Sign::Minutes),
    ("\u{2018}", Sign::Minutes),
    ("min", Sign::Minutes),
    ("m", Sign::Minutes),
    ("\"", Sign::Seconds),
    ("″", Sign::Seconds),
    ("”", Sign::Seconds),
    ("\u{201c}", Sign::Seconds),
    ("sec", Sign::Seconds),
    ("s", Sign::Seconds),
    (":", Sign::Colon),
];

/// Reads an angle that is written in parts or in hours. `usual` is the default unit of the column,
/// `hours` whether the column is an hour angle or a right ascension.
///
/// # Errors
/// What is wrong with the angle called `name`; `Err(None)` if the text is not of this form but may
/// be a plain number.
pub fn parted(
    name: &str,
    text: &str,
    marks: Marks,
    usual: Unit,
    hours: bool,
) -> Result<Parted, Option<Wrong>> {
    let bare = text.trim();
    let unsigned = (bare.strip_prefix(['+', '-']))
        .or_else(|| bare.strip_prefix(DASHES))
        .unwrap_or(bare);
    let negative = unsigned.len() < bare.len() && !bare.starts_with('+');
    let parts = parts_of(unsigned.trim_start(), marks).ok_or(None)?;
    let signs: Vec<Option<Sign>> = parts.iter().map(|p| p.sign).collect();
    use Sign::{Colon, Degrees, Hours, Minutes, Seconds};
    let unit = match signs[..] {
        // A single number; one with a degree sign is also read as a number.
        [None | Some(Degrees)] => return Err(None),
        [Some(Hours)] => Unit::Hours,
        [Some(Degrees), None | Some(Minutes)]
        | [Some(Degrees), Some(Minutes), None | Some(Seconds)] => Unit::Degrees,
        [Some(Hours), None | Some(Minutes)]
        | [Some(Hours), Some(Minutes), None | Some(Seconds)] => Unit::Hours,
        // In 12 300 the blank separates thousands.
        [None, None] | [None, None, None] if parts[1..].iter().all(|p| p.digits <= 2) => usual,
        [Some(Colon), end] | [Some(Colon), Some(Colon), end] => match end {
            Some(Degrees) => Unit::Degrees,
            Some(Hours) => Unit::Hours,
            None if usual == Unit::Hours => Unit::Hours,
            None => return Err(Some(colons(name, text, &parts, negative, hours))),
            Some(_) => return Err(None),
        },
        _ => return Err(None),
    };
    if let Some(wrong) = untidy(name, text, &parts) {
        return Err(Some(wrong));
    }
    if unit == Unit::Hours && !hours {
        let degrees = value_of(&parts, negative);
        return Err(Some(
            Wrong::new(
                format!("{name} is {}, in hours", quoted(text)),
                "degrees: only an hour angle or a right ascension is given in hours",
            )
            .mend(format!("write {} if degrees were meant", shown(degrees))),
        ));
    }
    let value = value_of(&parts, negative);
    Ok(Parted {
        degrees: match unit {
            Unit::Degrees => value,
            Unit::Hours => 15.0 * value,
        },
        unit,
        parts: parts.len(),
    })
}

/// Combines the parts, in the unit of the first.
fn value_of(parts: &[Part], negative: bool) -> f64 {
    let size: f64 = (parts.iter().zip([1.0, 60.0, 3600.0]))
        .map(|(part, scale)| part.value / scale)
        .sum();
    if negative { -size } else { size }
}

/// Rounded to a thousandth of a second of arc.
fn shown(degrees: f64) -> f64 {
    (degrees * 3.6e6).round() / 3.6e6
}

/// What is wrong with the sizes of the parts.
fn untidy(name: &str, text: &str, parts: &[Part]) -> Option<Wrong> {
    let expected = "minutes and seconds below 60, decimals only in the last part";
    let last = parts.len() - 1;
    let too_large = parts[1..].iter().any(|p| p.value >= 60.0);
    let broken = parts[..last].iter().any(|p| p.decimals);
    (too_large || broken).then(|| Wrong::new(format!("{name} is {}", quoted(text)), expected))
}

/// Colons without a unit: degrees or hours?
fn colons(name: &str, text: &str, parts: &[Part], negative: bool, hours: bool) -> Wrong {
    let value = value_of(parts, negative);
    let size = |v: f64| format!("{}", (v * 1e6).round() / 1e6);
    let sign = if negative { "-" } else { "" };
    let digits: Vec<String> = parts.iter().map(|p| p.value.to_string()).collect();
    let with = |signs: [&str; 3]| {
        let marked = digits.iter().zip(signs).map(|(d, s)| format!("{d}{s}"));
        format!("{sign}{}", marked.collect::<String>())
    };
    let degrees = with(["°", "'", "\""]);
    let found = format!(
        "{name} is {}, colons without a unit: {} degrees, or {} degrees if these are hours",
        quoted(text),
        size(value),
        size(15.0 * value)
    );
    let wrong = Wrong::new(found, "a unit");
    if hours {
        wrong.mend(format!("write {degrees} or {}", with(["h", "m", "s"])))
    } else {
        wrong.mend(format!("write {degrees} or {}", size(value)))
    }
}

/// Splits a text into up to three numbers with their unit symbols; `None` if it has any other form.
fn parts_of(text: &str, marks: Marks) -> Option<Vec<Part>> {
    let mut parts = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let whole = rest.bytes().take_while(u8::is_ascii_digit).count();
        let behind = &rest[whole..];
        let mark =
            (behind.strip_prefix('.')).or_else(|| behind.strip_prefix(',').filter(|_| marks.comma));
        let fraction = mark.map_or("", |f| {
            &f[..f.bytes().take_while(u8::is_ascii_digit).count()]
        });
        let length = whole + mark.map_or(0, |_| 1 + fraction.len());
        if whole == 0 || (mark.is_some() && fraction.is_empty()) || parts.len() == 3 {
            return None;
        }
        let value = rest[..length].replace(',', ".").parse().ok()?;
        let gap = rest[length..].trim_start();
        let stands = |text: &str| {
            let first = gap.get(..text.len());
            first.is_some_and(|first| first.eq_ignore_ascii_case(text))
        };
        let sign = SIGNS.iter().find(|(text, _)| stands(text));
        let after = sign.map_or(gap, |(text, _)| &gap[text.len()..]);
        // 12m or 12mm? A unit made of letters must not be followed by another letter.
        if let Some((unit, _)) = sign
            && unit.starts_with(|c: char| c.is_ascii_alphabetic())
            && after.starts_with(char::is_alphabetic)
        {
            return None;
        }
        // Without a symbol, only a blank separates two numbers.
        if sign.is_none() && !gap.is_empty() && gap.len() == rest.len() - length {
            return None;
        }
        parts.push(Part {
            value,
            digits: whole,
            decimals: mark.is_some(),
            sign: sign.map(|(_, sign)| *sign),
        });
        rest = after.trim_start();
    }
    // A colon separates two numbers; after the last it is an error.
    let closed = parts
        .last()
        .is_some_and(|p: &Part| p.sign != Some(Sign::Colon));
    closed.then_some(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MARKS: Marks = Marks {
        comma: true,
        points: false,
    };

    fn degrees(text: &str) -> Option<f64> {
        parted("a", text, MARKS, Unit::Degrees, false)
            .ok()
            .map(|p| p.degrees)
    }
    fn hour_angle(text: &str) -> Option<(f64, Unit)> {
        parted("h", text, MARKS, Unit::Degrees, true)
            .ok()
            .map(|p| (p.degrees, p.unit))
    }
    fn told(text: &str, hours: bool) -> String {
        let wrong = parted("a", text, MARKS, Unit::Degrees, hours)
            .unwrap_err()
            .expect(text);
        wrong.of_file("f").to_string()
    }

    #[test]
    fn degrees_minutes_and_seconds() {
        for (text, expected) in [
            ("12°30'15\"", 12.0 + 30.0 / 60.0 + 15.0 / 3600.0),
            ("12° 30′ 15″", 12.0 + 30.0 / 60.0 + 15.0 / 3600.0),
            ("12d30m15s", 12.0 + 30.0 / 60.0 + 15.0 / 3600.0),
            ("12 30 15", 12.0 + 30.0 / 60.0 + 15.0 / 3600.0),
            ("12:30:15°", 12.0 + 30.0 / 60.0 + 15.0 / 3600.0),
            ("12:30:15 deg", 12.0 + 30.0 / 60.0 + 15.0 / 3600.0),
            ("12 deg 30 min 15 sec", 12.0 + 30.0 / 60.0 + 15.0 / 3600.0),
            ("12º30’15’’", 12.0 + 30.0 / 60.0 + 15.0 / 3600.0),
            ("-0 30 10", -(30.0 / 60.0 + 10.0 / 3600.0)),
            ("\u{2212}0°30'10,5\"", -(30.0 / 60.0 + 10.5 / 3600.0)),
            ("12°30.5'", 12.0 + 30.5 / 60.0),
            ("+12 30", 12.5),
            ("12°30", 12.5),
            ("-1°0'0\"", -1.0),
        ] {
            assert_eq!(degrees(text), Some(expected), "{text}");
        }
    }

    #[test]
    fn a_plain_number_is_not_an_angle_in_parts() {
        for text in [
            "12.5", "12.5°", "-3", "", "x", "1 234", "12m", "12,5", "1:", "1 2 3 4", "5-6",
        ] {
            assert_eq!(degrees(text), None, "{text}");
        }
    }

    #[test]
    fn hours_are_read_only_for_an_hour_angle() {
        assert_eq!(hour_angle("10h30m"), Some((157.5, Unit::Hours)));
        assert_eq!(hour_angle("-1h 30m 0s"), Some((-22.5, Unit::Hours)));
        assert_eq!(hour_angle("2.5 h"), Some((37.5, Unit::Hours)));
        assert_eq!(hour_angle("10:30 h"), Some((157.5, Unit::Hours)));
        assert_eq!(hour_angle("12°30'"), Some((12.5, Unit::Degrees)));
        assert_eq!(degrees("10h30m"), None);
        assert!(told("10h30m", false).contains("in hours; expected degrees"));
        let column = parted("h", "-0:30", MARKS, Unit::Hours, true).unwrap();
        assert_eq!(column.degrees, -7.5);
        let column = parted("h", "1 30 0", MARKS, Unit::Hours, true).unwrap();
        assert_eq!(column.degrees, 22.5);
    }

    #[test]
    fn colons_need_a_unit() {
        assert_eq!(
            told("-12:30:15", true),
            "f: a is \"-12:30:15\", colons without a unit: -12.504167 degrees, or -187.5625 degrees if these are hours; expected a unit\n  help: write -12°30'15\" or -12h30m15s"
        );
        assert!(told("12:30", false).ends_with("help: write 12°30' or 12.5"));
    }

    #[test]
    fn parts_are_below_sixty() {
        for text in ["12°60'", "12 75 0", "12°30.5'10\"", "12.5°30'"] {
            assert!(told(text, false).contains("below 60"), "{text}");
        }
    }
}
