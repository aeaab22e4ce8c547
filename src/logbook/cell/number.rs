//! Reads a cell as a number.

use crate::problem::Wrong;
use crate::text::quoted;

/// Marks that may occur in a number.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Marks {
    /// Whether a comma may be the decimal mark: the cell is quoted, or the delimiter is not a
    /// comma.
    pub comma: bool,
    /// Whether other numbers of the file have decimal points, so that a comma may separate
    /// thousands.
    pub points: bool,
}

/// A number, with what was unusual in the way it is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Number {
    pub value: f64,
    /// It has a decimal comma.
    pub comma: bool,
    /// Its minus sign is a dash or the mathematical minus sign.
    pub dash: bool,
    /// It is followed by a unit.
    pub unit: bool,
}

/// Reads a number, optionally followed by one of these units.
///
/// # Errors
/// What is wrong with the number called `name`, if its marks are ambiguous or separate thousands.
/// `Err(None)` if the text is not a number at all.
pub fn number(
    name: &str,
    text: &str,
    marks: Marks,
    units: &[&str],
) -> Result<Number, Option<Wrong>> {
    let (bare, unit) = without_unit(text, units);
    let signed = bare.strip_prefix(DASHES);
    let dash = signed.is_some();
    let unsigned = signed.unwrap_or(bare);
    let unsigned = if dash {
        unsigned
    } else {
        unsigned.strip_prefix(['+', '-']).unwrap_or(unsigned)
    };
    let negative = dash || bare.starts_with('-');
    if unsigned.starts_with(['+', '-']) {
        return Err(None);
    }
    if parts_thousands(unsigned) {
        return Err(Some(thousands(name, text)));
    }
    let comma = unsigned.contains(',');
    if comma && !marks.comma {
        return Err(None);
    }
    if comma && marks.points && may_part_thousands(unsigned) {
        let point = unsigned.replace(',', ".");
        let whole = unsigned.replace(',', "");
        let wrong = Wrong::new(
            format!(
                "{name} is {}, which may be {point} or {whole}: other numbers of this file have decimal points",
                quoted(text)
            ),
            "a decimal point",
        );
        return Err(Some(wrong.mend(format!("write {point} or {whole}"))));
    }
    let plain = unsigned.replace(',', ".");
    // Values that parse but are not written numbers, such as inf, are left to the range check.
    let value: f64 = plain.parse().map_err(|_| None)?;
    Ok(Number {
        value: if negative { -value } else { value },
        comma,
        dash,
        unit,
    })
}

/// The mathematical minus sign and the dashes that editors substitute for it.
pub const DASHES: [char; 3] = ['\u{2212}', '\u{2013}', '\u{2012}'];

/// The text before one of these units, and whether there is one.
fn without_unit<'a>(text: &'a str, units: &[&str]) -> (&'a str, bool) {
    let start = text.find(|c: char| {
        !c.is_ascii_digit() && !"+-.,eE \u{a0}".contains(c) && !DASHES.contains(&c)
    });
    let Some(start) = start.filter(|start| *start > 0) else {
        return (text, false);
    };
    let (number, unit) = text.split_at(start);
    if units.iter().any(|u| u.eq_ignore_ascii_case(unit.trim())) {
        (number.trim_end(), true)
    } else {
        (text, false)
    }
}

/// Whether the marks of an unsigned number can only separate thousands: more than one mark, or a
/// blank or an apostrophe before three digits.
fn parts_thousands(text: &str) -> bool {
    let mut groups = text.split(['.', ',', ' ', '\'', '\u{a0}', '\u{202f}', '\u{2019}']);
    let marks = groups.clone().count().saturating_sub(1);
    let digits = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
    if marks == 0 || !groups.clone().all(digits) {
        return false;
    }
    let points = text.matches(['.', ',']).count();
    let blanks = marks - points;
    // The first group has up to three digits, each further group before a decimal mark exactly
    // three.
    let first = groups.next().is_some_and(|g| g.len() <= 3);
    let (middle, last): (Vec<&str>, _) = {
        let rest: Vec<&str> = groups.collect();
        let last = rest.last().copied();
        (rest[..rest.len().saturating_sub(1)].to_vec(), last)
    };
    let three = |g: &&str| g.len() == 3;
    let grouped = first && middle.iter().all(three);
    if points > 1 || (points == 1 && blanks > 0) {
        return grouped;
    }
    blanks > 0 && grouped && last.is_some_and(|g| g.len() == 3)
}

/// Whether the only comma of an unsigned number may be a thousands separator.
fn may_part_thousands(text: &str) -> bool {
    let Some((whole, rest)) = text.split_once(',') else {
        return false;
    };
    let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    let zero = whole.starts_with('0');
    (1..=3).contains(&whole.len()) && !zero && rest.len() == 3 && digits(whole) && digits(rest)
}

fn thousands(name: &str, text: &str) -> Wrong {
    Wrong::new(
        format!("{name} is {}, with marks between thousands", quoted(text)),
        "a number without them",
    )
    .mend("write the digits together, with one decimal mark at most")
}

#[cfg(test)]
mod tests {
    use super::*;

    const COMMA: Marks = Marks {
        comma: true,
        points: false,
    };

    fn value(text: &str, marks: Marks) -> Option<f64> {
        number("x", text, marks, &["°", "deg"])
            .ok()
            .map(|n| n.value)
    }
    fn told(text: &str, marks: Marks) -> String {
        let wrong = number("x", text, marks, &[]).unwrap_err().expect(text);
        wrong.of_file("f").to_string()
    }

    #[test]
    fn points_and_commas() {
        for (text, expected) in [
            ("12.5", 12.5),
            ("12,5", 12.5),
            ("-0,25", -0.25),
            ("+,5", 0.5),
            ("\u{2212}12,5", -12.5),
            ("\u{2013}3", -3.0),
            ("1,234", 1.234),
            ("12.5 deg", 12.5),
            ("12,5\u{b0}", 12.5),
            ("1e-3", 0.001),
            ("1234,5678", 1234.5678),
        ] {
            assert_eq!(value(text, COMMA), Some(expected), "{text}");
        }
        assert_eq!(value("12,5", Marks::default()), None);
        for text in ["", "-", "--5", "+-5", "5 m", "deg", "1,2,x", "12h"] {
            assert_eq!(value(text, COMMA), None, "{text}");
        }
    }

    #[test]
    fn a_comma_may_separate_thousands_if_other_numbers_have_points() {
        let both = Marks {
            comma: true,
            points: true,
        };
        assert_eq!(
            told("-1,234", both),
            "f: x is \"-1,234\", which may be 1.234 or 1234: other numbers of this file have decimal points; expected a decimal point\n  help: write 1.234 or 1234"
        );
        for (text, expected) in [("0,234", 0.234), ("1,23", 1.23), ("1234,567", 1234.567)] {
            assert_eq!(value(text, both), Some(expected));
        }
    }

    #[test]
    fn thousands_are_not_read() {
        for text in [
            "1,234.5",
            "1.234,5",
            "1 234,5",
            "1'234.5",
            "12 345",
            "1.234.567",
            "1,234,567",
            "1\u{a0}234",
        ] {
            assert!(told(text, COMMA).contains("between thousands"), "{text}");
        }
    }
}
