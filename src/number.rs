//! Formats numbers: a value and its standard deviation with matched digits, the deviation to two
//! significant digits. All output uses these functions.
//!
//! Two digits of the deviation and the value to the same decimal place: Guide to the
//! Expression of Uncertainty in Measurement (JCGM 100:2008), 7.2.6; from memory.

/// More decimals than these are never shown: a hundred-millionth of a degree is finer than any
/// mount, and is the resolution limit of the files.
const MOST_DECIMALS: i32 = 8;
/// Shown in place of a number that is not finite.
const UNKNOWN: &str = "unknown";

/// Decimal place to which a standard deviation is rounded: 2 means hundredths, -1 means tens.
/// `None` if the deviation is not a positive number.
pub fn decimals_for(sigma: f64) -> Option<i32> {
    if !(sigma.is_finite() && sigma > 0.0) {
        return None;
    }
    let decimals = 1 - sigma.log10().floor() as i32;
    // 0.0996 rounds up to 0.10, which already has two digits.
    let rounded = (sigma * 10f64.powi(decimals)).round();
    let decimals = if rounded >= 100.0 {
        decimals - 1
    } else {
        decimals
    };
    Some(decimals.min(MOST_DECIMALS))
}

/// A value and its standard deviation, both to the place of the deviation's second digit.
/// Without a usable deviation the value gets three significant digits and the deviation is
/// `unknown`.
pub fn with_sigma(value: f64, sigma: f64) -> (String, String) {
    match decimals_for(sigma) {
        Some(decimals) => {
            let shown = to_place(sigma, decimals);
            let smallest = 10f64.powi(-MOST_DECIMALS);
            let sigma = if sigma < 0.5 * smallest {
                format!("<{smallest:.*}", MOST_DECIMALS as usize)
            } else {
                shown
            };
            (to_place(value, decimals), sigma)
        }
        None => (significant(value, 3), UNKNOWN.to_owned()),
    }
}

/// A value to the digits that its standard deviation supports, without the deviation.
pub fn by_sigma(value: f64, sigma: f64) -> String {
    with_sigma(value, sigma).0
}

/// An rms to the digits that its uncertainty supports: for `degrees_of_freedom` normal residuals
/// its standard deviation is rms / sqrt(2 x degrees of freedom), to first order.
pub fn rms(value: f64, degrees_of_freedom: usize) -> String {
    if degrees_of_freedom == 0 {
        return significant(value, 2);
    }
    by_sigma(value, value / (2.0 * degrees_of_freedom as f64).sqrt())
}

/// A value to this many significant digits, without an exponent.
pub fn significant(value: f64, digits: i32) -> String {
    if !value.is_finite() {
        return UNKNOWN.to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let decimals = digits - 1 - value.abs().log10().floor() as i32;
    let rounded = (value.abs() * 10f64.powi(decimals)).round();
    let carried = rounded >= 10f64.powi(digits);
    to_place(value, (decimals - i32::from(carried)).min(MOST_DECIMALS))
}

/// A value to at most this many significant digits: values entered by hand, such as 0.2, get no
/// trailing zeros.
pub fn at_most(value: f64, digits: i32) -> String {
    let text = significant(value, digits);
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// A value to two significant digits.
pub fn two_digits(value: f64) -> String {
    significant(value, 2)
}

/// A probability: `0.03`, `4e-6`, never rounded to zero.
pub fn probability(p: f64) -> String {
    if p >= 0.001 {
        two_digits(p)
    } else if p >= 1e-12 {
        format!("{p:.0e}")
    } else {
        "under 1e-12".to_owned()
    }
}

/// A value to a fixed number of decimals; zero has no sign.
pub fn fixed(value: f64, decimals: usize) -> String {
    to_place(value, decimals as i32)
}

fn to_place(value: f64, decimals: i32) -> String {
    if !value.is_finite() {
        return UNKNOWN.to_owned();
    }
    let text = if decimals >= 0 {
        format!("{value:.*}", decimals as usize)
    } else {
        let unit = 10f64.powi(-decimals);
        format!("{:.0}", (value / unit).round() * unit)
    };
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

/// The same number with a true minus sign, for pictures and pages.
pub fn typographic(number: &str) -> String {
    match number.strip_prefix('-') {
        Some(rest) => format!("−{rest}"),
        None => number.to_owned(),
    }
}

/// A text with true minus signs before its numbers, for pages.
pub fn with_minus_signs(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let sign = |i: usize| {
        let digit_follows = letters.get(i + 1).is_some_and(char::is_ascii_digit);
        let starts = i == 0 || matches!(letters[i - 1], ' ' | '(');
        letters[i] == '-' && digit_follows && starts
    };
    (0..letters.len())
        .map(|i| if sign(i) { '−' } else { letters[i] })
        .collect()
}

/// A count with a comma between thousands.
pub fn count(n: usize) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, d) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(d);
    }
    out
}

/// A count and its noun: `1 peak`, `2 peaks`.
pub fn counted(n: usize, noun: &str) -> String {
    let s = if n == 1 { "" } else { "s" };
    format!("{} {noun}{s}", count(n))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(value: f64, sigma: f64) -> String {
        let (v, s) = with_sigma(value, sigma);
        format!("{v} +/- {s}")
    }

    #[test]
    fn digits_match_the_deviation() {
        assert_eq!(pair(-1.482734, 0.01234), "-1.483 +/- 0.012");
        assert_eq!(pair(143.2, 0.5), "143.20 +/- 0.50");
        assert_eq!(pair(0.000012, 0.00034), "0.00001 +/- 0.00034");
        assert_eq!(pair(12345.6, 789.0), "12350 +/- 790");
        assert_eq!(pair(7.0, 12.0), "7 +/- 12");
        assert_eq!(pair(7.0, 9.96), "7 +/- 10");
    }

    #[test]
    fn rounding_up_carries() {
        assert_eq!(pair(1.0, 0.0996), "1.00 +/- 0.10");
        assert_eq!(pair(1.0, 0.0994), "1.000 +/- 0.099");
        assert_eq!(pair(1.0, 99.6), "0 +/- 100");
        assert_eq!(significant(0.9996, 3), "1.00");
        assert_eq!(significant(99.96, 3), "100");
    }

    #[test]
    fn zero_has_no_sign() {
        assert_eq!(fixed(-0.0004, 2), "0.00");
        assert_eq!(pair(-0.001, 0.5), "0.00 +/- 0.50");
        assert_eq!(fixed(-0.5, 1), "-0.5");
    }

    #[test]
    fn text_that_is_not_a_number_is_reported() {
        assert_eq!(pair(f64::NAN, 0.1), "unknown +/- 0.10");
        assert_eq!(pair(1.23456, 0.0), "1.23 +/- unknown");
        assert_eq!(pair(1.0, f64::INFINITY), "1.00 +/- unknown");
        assert_eq!(significant(f64::INFINITY, 3), "unknown");
    }

    #[test]
    fn decimals_are_limited() {
        assert_eq!(pair(0.1, 1e-15), "0.10000000 +/- <0.00000001");
        assert_eq!(significant(1e-12, 3), "0.00000000");
    }

    #[test]
    fn counts_and_minus_signs() {
        assert_eq!(count(1_234_567), "1,234,567");
        assert_eq!(count(999), "999");
        assert_eq!(counted(1, "peak"), "1 peak");
        assert_eq!(typographic("-3.1"), "−3.1");
        assert_eq!(
            with_minus_signs("-1 and (-0.5) on 2026-04-04, +/- 2, a-3"),
            "−1 and (−0.5) on 2026-04-04, +/- 2, a-3"
        );
    }

    proptest::proptest! {
        #[test]
        fn the_shown_value_is_within_half_a_last_digit(value in -1e6..1e6f64, log in -6.0..4.0f64) {
            let sigma = 10f64.powf(log);
            let shown: f64 = by_sigma(value, sigma).parse().unwrap();
            // Two digits of the deviation: a last digit is at most a tenth of it.
            proptest::prop_assert!((shown - value).abs() <= 0.0501 * sigma + 1e-9);
        }
    }

    #[test]
    fn numbers_are_rounded_to_two_digits() {
        assert_eq!(two_digits(0.01234), "0.012");
        assert_eq!(two_digits(1.26), "1.3");
        assert_eq!(two_digits(123.4), "120");
        assert_eq!(probability(3.2e-7), "3e-7");
    }

    #[test]
    fn trailing_zeros_are_left_out() {
        assert_eq!(at_most(0.2, 4), "0.2");
        assert_eq!(at_most(12.34567, 4), "12.35");
        assert_eq!(at_most(120.0, 4), "120");
        assert_eq!(at_most(0.0, 4), "0");
    }
}
