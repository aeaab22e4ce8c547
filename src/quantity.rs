//! Numbers as people write them: their limits, and what a wrong one probably meant.

use crate::problem::Wrong;
use crate::text::quoted;

/// Permitted values of a number in a file.
#[derive(Clone, Copy, Debug)]
pub struct Quantity {
    /// In words with unit and limits: `degrees from -90 to 90`.
    pub words: &'static str,
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// How to correct a value outside the limits, if it shows what was meant.
    pub hint: fn(f64) -> Option<String>,
}

fn no_hint(_: f64) -> Option<String> {
    None
}

impl Quantity {
    /// A quantity between two limits, inclusive.
    pub const fn new(low: f64, high: f64, words: &'static str) -> Quantity {
        Quantity {
            words,
            low,
            high,
            hint: no_hint,
        }
    }
    /// The same, with a hint for values outside the limits.
    pub const fn hint(mut self, hint: fn(f64) -> Option<String>) -> Quantity {
        self.hint = hint;
        self
    }
    /// Returns the value if it is finite and within the limits.
    ///
    /// # Errors
    /// What is wrong with the value called `name` and written as `shown`.
    pub fn check(&self, name: &str, shown: &str, value: f64) -> Result<f64, Wrong> {
        if self.low <= value && value <= self.high {
            return Ok(value);
        }
        let wrong = |what: &str| Wrong::new(format!("{name} is {shown}{what}"), self.words);
        Err(if value.is_nan() {
            wrong(", which is not a number")
        } else if value.is_infinite() && shown.contains(|c: char| c.is_ascii_digit()) {
            wrong(", which is too large for a number")
        } else if value.is_infinite() {
            wrong(", which is not finite")
        } else {
            wrong("").mend((self.hint)(value).unwrap_or_default())
        })
    }
    /// Reads the value called `name` from the `text` of a field.
    ///
    /// # Errors
    /// If the text is not a number, or the number is outside the limits.
    pub fn read(&self, name: &str, text: &str) -> Result<f64, Wrong> {
        match text.parse::<f64>() {
            Ok(value) => self.check(name, text, value).map_err(|wrong| {
                if text.contains(|c: char| c.is_ascii_digit()) {
                    wrong
                } else {
                    wrong.mend(NO_VALUE)
                }
            }),
            Err(_) => Err(self.not_a_number(name, text)),
        }
    }
    /// Describes a `text` that does not parse.
    fn not_a_number(&self, name: &str, text: &str) -> Wrong {
        let wrong = Wrong::new(
            format!("{name} is {}, which is not a number", quoted(text)),
            self.words,
        );
        let parses = |s: &str| s.parse::<f64>().is_ok_and(f64::is_finite);
        let pointed = text.replace(',', ".");
        if text.matches(',').count() == 1 && parses(&pointed) {
            return Wrong::new(
                format!("{name} is {}, with a decimal comma", quoted(text)),
                "a decimal point",
            )
            .mend(format!("write {pointed}"));
        }
        let hyphened = text.replace(['\u{2212}', '\u{2013}'], "-");
        if hyphened != text && parses(&hyphened) {
            return wrong.mend(format!(
                "its minus sign is a typographer's dash; write {hyphened}"
            ));
        }
        if let Some(decimal) = sexagesimal(&hyphened) {
            return wrong.mend(format!("write decimals: {decimal}"));
        }
        if let Some(number) = without_unit(&hyphened).filter(|n| parses(n)) {
            return wrong.mend(format!("write the number alone: {number}"));
        }
        let digits = hyphened
            .replace(['o', 'O'], "0")
            .replace(['l', 'I', '|'], "1");
        if parses(&digits) {
            return wrong.mend(format!("a letter stands for a digit; is it {digits}?"));
        }
        let blank = ["-", "--", "null", "none", "n/a", "na", "#n/a", "?"];
        if blank.contains(&text.to_ascii_lowercase().as_str()) {
            return wrong.mend(NO_VALUE);
        }
        wrong
    }
}

/// Remedy for a field that states that there is no value.
pub const NO_VALUE: &str = "leave the field empty if there is no value";

/// The number before a unit or a compass letter, if the text has that form. South and west are
/// negative.
fn without_unit(text: &str) -> Option<String> {
    const UNITS: [&str; 24] = [
        "°", "deg", "degrees", "'", "′", "\"", "″", "%", "m", "mm", "cm", "km", "hpa", "mbar",
        "°c", "c", "k", "db", "dbm", "s", "ms", "hz", "mhz", "ghz",
    ];
    let start = text.find(|c: char| c.is_alphabetic() || "°%'\"′″".contains(c))?;
    let (number, unit) = text.split_at(start);
    let (number, unit) = (number.trim_end(), unit.trim_start_matches(['°', ' ']));
    match unit {
        "S" | "W" if !number.starts_with('-') => Some(format!("-{number}")),
        "N" | "E" | "" => Some(number.to_owned()),
        _ if UNITS.contains(&unit.to_lowercase().as_str()) => Some(number.to_owned()),
        _ => None,
    }
}

/// Converts `12:30:00`, `12 30 00` or `12° 30' 00" S` to decimal degrees (or hours).
fn sexagesimal(text: &str) -> Option<String> {
    let letter = text.trim_end().chars().last()?;
    let number = text.trim_end().trim_end_matches(['N', 'E', 'S', 'W']);
    let parts: Vec<&str> = number
        .split([':', ' ', '°', '\'', '′', '"', '″'])
        .filter(|p| !p.is_empty())
        .collect();
    if !(2..=3).contains(&parts.len()) {
        return None;
    }
    let mut value = 0.0;
    for (part, scale) in parts.iter().zip([1.0, 60.0, 3600.0]) {
        let number: f64 = part.parse().ok().filter(|n: &f64| n.is_finite())?;
        if scale > 1.0 && !(0.0..60.0).contains(&number) {
            return None;
        }
        value += number.abs() / scale;
    }
    let negative = text.trim_start().starts_with('-') || matches!(letter, 'S' | 'W');
    let sign = if negative { "-" } else { "" };
    Some(format!("{sign}{}", (value * 1e6).round() / 1e6))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ANGLE: Quantity = Quantity::new(-90.0, 90.0, "degrees from -90 to 90");

    fn told(text: &str) -> String {
        ANGLE
            .read("a_deg", text)
            .unwrap_err()
            .of_file("f")
            .to_string()
    }

    #[test]
    fn numbers_within_limits_are_read() {
        for (text, value) in [("45", 45.0), ("-90", -90.0), ("+.5", 0.5), ("1e1", 10.0)] {
            assert_eq!(ANGLE.read("a_deg", text), Ok(value));
        }
    }

    #[test]
    fn each_wrong_number_has_its_own_message() {
        for (text, message) in [
            ("400", "f: a_deg is 400; expected degrees from -90 to 90"),
            (
                "NaN",
                "f: a_deg is NaN, which is not a number; expected degrees from -90 to 90\n  help: leave the field empty if there is no value",
            ),
            (
                "-inf",
                "f: a_deg is -inf, which is not finite; expected degrees from -90 to 90\n  help: leave the field empty if there is no value",
            ),
            (
                "1e999",
                "f: a_deg is 1e999, which is too large for a number; expected degrees from -90 to 90",
            ),
            (
                "12o",
                "f: a_deg is \"12o\", which is not a number; expected degrees from -90 to 90\n  help: a letter stands for a digit; is it 120?",
            ),
            (
                "high",
                "f: a_deg is \"high\", which is not a number; expected degrees from -90 to 90",
            ),
            (
                "12,5",
                "f: a_deg is \"12,5\", with a decimal comma; expected a decimal point\n  help: write 12.5",
            ),
            (
                "\u{2212}12.5",
                "f: a_deg is \"\u{2212}12.5\", which is not a number; expected degrees from -90 to 90\n  help: its minus sign is a typographer's dash; write -12.5",
            ),
            (
                "-0:30:18",
                "f: a_deg is \"-0:30:18\", which is not a number; expected degrees from -90 to 90\n  help: write decimals: -0.505",
            ),
            (
                "12° 30'",
                "f: a_deg is \"12° 30'\", which is not a number; expected degrees from -90 to 90\n  help: write decimals: 12.5",
            ),
            (
                "12.5 S",
                "f: a_deg is \"12.5 S\", which is not a number; expected degrees from -90 to 90\n  help: write the number alone: -12.5",
            ),
            (
                "12.5°",
                "f: a_deg is \"12.5°\", which is not a number; expected degrees from -90 to 90\n  help: write the number alone: 12.5",
            ),
            (
                "n/a",
                "f: a_deg is \"n/a\", which is not a number; expected degrees from -90 to 90\n  help: leave the field empty if there is no value",
            ),
        ] {
            assert_eq!(told(text), message);
        }
    }
}
