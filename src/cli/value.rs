//! Values of options, read so that the message for a wrong one says what was expected.
//!
//! Options that take numbers let a minus sign through to these readers: clap's own message
//! takes `-1` for an unknown option.

use std::str::FromStr;

use crate::time::parse_duration_s;

/// A number above zero.
pub fn above_zero(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v.is_finite() && v > 0.0 => Ok(v),
        _ => Err("expected a number above zero".to_owned()),
    }
}

/// A whole number, zero or more.
pub fn whole<T: FromStr>(text: &str) -> Result<T, String> {
    text.parse().map_err(|_| {
        let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        match digits {
            true => "expected a smaller number",
            false => "expected a whole number, 0 or more",
        }
        .to_owned()
    })
}

/// A stretch of time above zero, in seconds.
pub fn stretch_s(text: &str) -> Result<f64, String> {
    match parse_duration_s(text)? {
        s if s > 0.0 => Ok(s),
        _ => Err("expected a stretch of time above zero, such as 30s, 10m or 1h30m".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_sensible_values_are_taken() {
        assert_eq!(above_zero("0.3"), Ok(0.3));
        for bad in ["0", "-1", "nan", "inf", "one"] {
            assert!(above_zero(bad).is_err(), "{bad}");
        }
        assert_eq!(whole::<u64>("7"), Ok(7));
        for (bad, said) in [
            ("-1", "0 or more"),
            ("1.5", "0 or more"),
            ("", "0 or more"),
            ("99999999999999999999", "smaller"),
        ] {
            assert!(whole::<u64>(bad).unwrap_err().contains(said), "{bad}");
        }
        assert_eq!(stretch_s("1h30m"), Ok(5400.0));
        for bad in ["0m", "-1h", "10", "soon"] {
            assert!(stretch_s(bad).is_err(), "{bad}");
        }
    }
}
