//! Small phrases that several messages share.

use crate::angle::Angle;

/// `a`, `a and b`, `a, b and c`.
pub fn list(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [head @ .., last] => format!("{} and {last}", head.join(", ")),
    }
}

/// `row 7`, `rows 1, 2, 5`, or the first few and how many more.
pub fn rows(rows: &[usize]) -> String {
    const SHOWN: usize = 8;
    let list: Vec<String> = rows.iter().take(SHOWN).map(usize::to_string).collect();
    let list = list.join(", ");
    match rows.len() {
        1 => format!("row {list}"),
        n if n <= SHOWN => format!("rows {list}"),
        n => format!("rows {list} and {} more", n - SHOWN),
    }
}

/// The text with a capital in front.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// A number to two significant digits, without exponent where that stays readable.
pub fn two_digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let decimals = 1 - value.abs().log10().floor() as i32;
    match decimals {
        0..=8 => format!("{value:.*}", decimals as usize),
        d if d < 0 => format!("{value:.0}"),
        _ => format!("{value:.1e}"),
    }
}

/// A value to the digits that its standard deviation supports: to the second digit of that.
pub fn by_sigma(value: f64, sigma: f64) -> String {
    if !(sigma.is_finite() && sigma > 0.0) {
        return two_digits(value);
    }
    let decimals = (1 - sigma.log10().floor() as i32).clamp(0, 8);
    format!("{value:.*}", decimals as usize)
}

/// A probability: `0.03`, `4e-6`, never a false zero.
pub fn probability(p: f64) -> String {
    if p >= 0.001 {
        two_digits(p)
    } else if p >= 1e-12 {
        format!("{p:.0e}")
    } else {
        "under 1e-12".to_owned()
    }
}

/// A heading in one of sixteen compass words.
pub fn compass_word(azimuth: Angle) -> &'static str {
    const WORDS: [&str; 16] = [
        "north",
        "north-north-east",
        "north-east",
        "east-north-east",
        "east",
        "east-south-east",
        "south-east",
        "south-south-east",
        "south",
        "south-south-west",
        "south-west",
        "west-south-west",
        "west",
        "west-north-west",
        "north-west",
        "north-north-west",
    ];
    let sixteenth = (azimuth.wrapped_positive().degrees() / 22.5).round() as usize;
    WORDS[sixteenth % 16]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_two_digits() {
        assert_eq!(two_digits(0.01234), "0.012");
        assert_eq!(two_digits(1.26), "1.3");
        assert_eq!(two_digits(123.4), "123");
        assert_eq!(probability(3.2e-7), "3e-7");
    }

    #[test]
    fn lists_read_as_speech() {
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
        assert_eq!(rows(&[3]), "row 3");
        assert_eq!(
            rows(&(1..=10).collect::<Vec<_>>()),
            "rows 1, 2, 3, 4, 5, 6, 7, 8 and 2 more"
        );
    }

    #[test]
    fn headings_have_sixteen_words() {
        for (degrees, word) in [
            (-10.0, "north"),
            (200.0, "south-south-west"),
            (327.5, "north-north-west"),
            (315.0, "north-west"),
            (359.0, "north"),
        ] {
            assert_eq!(compass_word(Angle::from_degrees(degrees)), word);
        }
    }
}
