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
    /// More row numbers than these make a message hard to read.
    const SHOWN: usize = 8;
    let list: Vec<String> = rows.iter().take(SHOWN).map(usize::to_string).collect();
    let list = list.join(", ");
    match rows.len() {
        1 => format!("row {list}"),
        n if n <= SHOWN => format!("rows {list}"),
        n => format!("rows {list} and {} more", n - SHOWN),
    }
}

/// The text with its first letter capitalised.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// One of sixteen compass directions, in words.
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
    fn lists_read_as_a_sentence() {
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
