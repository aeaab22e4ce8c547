//! Plain text in columns.

/// Breaks `text` into lines of at most `width` characters; the first starts with `lead`, the
/// others with as many spaces. A word longer than a line is cut.
pub fn wrapped(lead: &str, text: &str, width: usize) -> String {
    let indent = lead.chars().count();
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    // A narrow column still holds a short word.
    let options = textwrap::Options::new(width.saturating_sub(indent).max(8))
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    let lines = textwrap::wrap(&text, options);
    let gap = format!("\n{}", " ".repeat(indent));
    format!("{lead}{}", lines.join(&gap)).trim_end().to_owned()
}

/// `text` cut to `width` characters, the last one an ellipsis when something was cut.
pub fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    let kept: String = text.chars().take(width.saturating_sub(3)).collect();
    format!("{kept}...")
}

/// Numbers of one column with their decimal points under one another, all of equal width.
pub fn point_aligned(numbers: &[String]) -> Vec<String> {
    let split = |n: &String| match n.find('.') {
        Some(at) => (at, n.len() - at),
        None => (n.chars().count(), 0),
    };
    // What is not a number stands at the right and widens nothing after the point.
    let is_number = |n: &String| n.chars().any(|c| c.is_ascii_digit()) && !n.contains('e');
    let widths = || numbers.iter().filter(|n| is_number(n)).map(split);
    let before = widths().map(|w| w.0).max().unwrap_or(0);
    let after = widths().map(|w| w.1).max().unwrap_or(0);
    let whole = (numbers.iter().map(|n| n.chars().count()))
        .max()
        .unwrap_or(0)
        .max(before + after);
    numbers
        .iter()
        .map(|n| {
            if is_number(n) {
                let behind = " ".repeat(after - split(n).1);
                format!("{:>whole$}", format!("{n}{behind}"))
            } else {
                format!("{n:>whole$}")
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_keep_to_their_width() {
        let text = wrapped("- ", "one two three four five", 12);
        assert_eq!(text, "- one two\n  three four\n  five");
        let long = wrapped("  ", &"x".repeat(50), 20);
        assert!(long.lines().all(|l| l.chars().count() <= 20), "{long}");
        assert_eq!(wrapped("a  ", "", 20), "a");
    }

    #[test]
    fn points_stand_under_one_another() {
        let column = ["-1.483", "0.31", "12", "-"].map(str::to_owned);
        assert_eq!(
            point_aligned(&column),
            ["-1.483", " 0.31 ", "12    ", "     -"]
        );
    }

    #[test]
    fn long_names_are_cut() {
        assert_eq!(cut("a long name", 8), "a lon...");
        assert_eq!(cut("short", 8), "short");
    }
}
