//! Round numbers along an axis, with their labels.

use crate::number;

/// One mark along an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Where.
    pub value: f64,
    /// What stands at it.
    pub label: String,
    /// What stands in a second line under it, such as the date.
    pub under: Option<String>,
}

impl Tick {
    /// A tick with one line.
    pub fn new(value: f64, label: impl Into<String>) -> Tick {
        Tick {
            value,
            label: label.into(),
            under: None,
        }
    }
}

/// The largest of 1, 2, 5 times a power of ten that is at most `value`.
pub fn nice_at_most(value: f64) -> f64 {
    if !value.is_finite() || value <= 0.0 {
        return 1.0;
    }
    let decade = 10f64.powi(value.log10().floor() as i32);
    let m = value / decade;
    let nice = if m >= 5.0 {
        5.0
    } else if m >= 2.0 {
        2.0
    } else {
        1.0
    };
    nice * decade
}

/// The smallest of 1, 2, 5 times a power of ten that is at least `value`.
fn nice_at_least(value: f64) -> f64 {
    let below = nice_at_most(value);
    if below >= value * (1.0 - 1e-9) {
        return below;
    }
    // From 2 to 5 it is 2.5 times, else twice.
    let leading = below / 10f64.powi(below.log10().round() as i32);
    let doubled = below * 2.0;
    if (leading - 2.0).abs() < 0.01 || (leading - 0.2).abs() < 0.001 {
        below * 2.5
    } else {
        doubled
    }
}

/// Decimals that tell multiples of a step apart.
pub fn decimals_of_step(step: f64) -> usize {
    if step >= 1.0 || step <= 0.0 || !step.is_finite() {
        return 0;
    }
    // A step of 0.2 needs one decimal; the small shift absorbs rounding in the logarithm.
    (-(step.log10() + 1e-9).floor()).clamp(0.0, 12.0) as usize
}

/// At most about `most` multiples of 1, 2 or 5 times a power of ten.
pub fn linear_ticks(low: f64, high: f64, most: usize) -> Vec<Tick> {
    let step = nice_at_least((high - low) / most.max(1) as f64);
    multiples(low, high, step)
}

/// Ticks of an angle in degrees that goes round: steps of 15, 30, 45, 90 where they fit.
pub fn azimuth_ticks(low: f64, high: f64, most: usize) -> Vec<Tick> {
    let wanted = (high - low) / most.max(1) as f64;
    let round = [5.0, 10.0, 15.0, 30.0, 45.0, 90.0, 180.0, 360.0];
    match round.into_iter().find(|step| *step >= wanted) {
        Some(step) if wanted > 2.0 => multiples(low, high, step),
        _ => linear_ticks(low, high, most),
    }
}

fn multiples(low: f64, high: f64, step: f64) -> Vec<Tick> {
    if !(low.is_finite() && high.is_finite() && step > 0.0) {
        return Vec::new();
    }
    let slack = 1e-9 * step;
    let first = ((low - slack) / step).ceil();
    let decimals = decimals_of_step(step);
    // No axis has more ticks than pixels; a step too small to count by gives none.
    (0..1000)
        .map(|i| (first + f64::from(i)) * step)
        .take_while(|v| *v <= high + slack)
        .map(|v| Tick::new(v, number::typographic(&number::fixed(v, decimals))))
        .collect()
}

/// Ticks of a [`super::Scale::symlog`]: zero, and powers of ten from `threshold` out.
pub fn symlog_ticks(low: f64, high: f64, threshold: f64) -> Vec<Tick> {
    let mut ticks = vec![Tick::new(0.0, "0")];
    let start = threshold.max(1e-12).log10().ceil() as i32;
    for exponent in start..=12 {
        let size = 10f64.powi(exponent);
        for value in [size, -size] {
            if value >= low && value <= high {
                let label = number::fixed(value, decimals_of_step(size));
                ticks.push(Tick::new(value, number::typographic(&label)));
            }
        }
    }
    ticks.retain(|t| t.value >= low && t.value <= high);
    ticks.sort_by(|a, b| a.value.total_cmp(&b.value));
    ticks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(ticks: &[Tick]) -> Vec<&str> {
        ticks.iter().map(|t| t.label.as_str()).collect()
    }

    #[test]
    fn steps_are_round_and_labels_tell_them_apart() {
        assert_eq!(
            labels(&linear_ticks(-0.031, 0.031, 6)),
            ["−0.02", "0.00", "0.02"]
        );
        assert_eq!(
            labels(&linear_ticks(0.0, 100.0, 5)),
            ["0", "20", "40", "60", "80", "100"]
        );
        assert_eq!(
            labels(&linear_ticks(-170.0, 170.0, 5)),
            ["−100", "0", "100"]
        );
        assert_eq!(labels(&linear_ticks(0.0, 1.3, 5)), ["0.0", "0.5", "1.0"]);
    }

    #[test]
    fn azimuths_go_in_parts_of_the_circle() {
        assert_eq!(
            labels(&azimuth_ticks(0.0, 360.0, 9)),
            ["0", "45", "90", "135", "180", "225", "270", "315", "360"]
        );
        assert_eq!(
            labels(&azimuth_ticks(-180.0, 540.0, 8)),
            ["−180", "−90", "0", "90", "180", "270", "360", "450", "540"]
        );
    }

    #[test]
    fn logarithmic_ticks_keep_to_their_axis() {
        assert_eq!(
            labels(&symlog_ticks(-150.0, 0.5, 0.1)),
            ["−100", "−10", "−1", "−0.1", "0", "0.1"]
        );
    }

    #[test]
    fn no_axis_is_too_odd() {
        for (low, high) in [
            (0.0, 0.0),
            (f64::NAN, 1.0),
            (1e-300, 2e-300),
            (-1e300, 1e300),
        ] {
            assert!(linear_ticks(low, high, 6).len() <= 1000);
            assert!(azimuth_ticks(low, high, 6).len() <= 1000);
        }
    }
}
