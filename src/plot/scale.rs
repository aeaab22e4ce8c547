//! From values to places along an axis.

/// Maps values to pixels along one axis, straight or, for values of very different sizes,
/// straight near zero and logarithmic beyond (by the inverse hyperbolic sine).
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    low: f64,
    high: f64,
    start: f64,
    end: f64,
    straight_below: Option<f64>,
}

impl Scale {
    /// From `low` at pixel `start` to `high` at pixel `end`. A span that is empty or not
    /// finite is widened, so that every scale can be drawn.
    pub fn linear(low: f64, high: f64, start: f64, end: f64) -> Scale {
        let (low, high) = drawable(low, high);
        Scale {
            low,
            high,
            start,
            end,
            straight_below: None,
        }
    }

    /// The same, logarithmic beyond `straight_below` on both sides of zero.
    pub fn symlog(low: f64, high: f64, straight_below: f64, start: f64, end: f64) -> Scale {
        let threshold = if straight_below.is_finite() {
            straight_below.max(f64::MIN_POSITIVE)
        } else {
            1.0
        };
        Scale {
            straight_below: Some(threshold),
            ..Scale::linear(low, high, start, end)
        }
    }

    fn stretched(&self, value: f64) -> f64 {
        match self.straight_below {
            Some(threshold) => (value / threshold).asinh(),
            None => value,
        }
    }

    /// The pixel of a value; runs on beyond both ends.
    pub fn at(&self, value: f64) -> f64 {
        let (low, high) = (self.stretched(self.low), self.stretched(self.high));
        let part = (self.stretched(value) - low) / (high - low);
        self.start + part * (self.end - self.start)
    }

    /// Lowest value shown.
    pub fn low(&self) -> f64 {
        self.low
    }
    /// Highest value shown.
    pub fn high(&self) -> f64 {
        self.high
    }
    /// Whether a value lies on the axis.
    pub fn holds(&self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }
    /// Pixels of a step of one unit on a straight scale.
    pub fn pixels_per_unit(&self) -> f64 {
        (self.end - self.start).abs() / (self.high - self.low)
    }
}

fn drawable(low: f64, high: f64) -> (f64, f64) {
    match (low.is_finite(), high.is_finite()) {
        (true, true) if high > low => (low, high),
        (true, true) => {
            let half = (low.abs() * 1e-6).max(1e-9);
            (low.min(high) - half, low.max(high) + half)
        }
        _ => (0.0, 1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_meet_their_pixels() {
        let y = Scale::linear(-1.0, 1.0, 300.0, 100.0);
        assert_eq!((y.at(-1.0), y.at(0.0), y.at(1.0)), (300.0, 200.0, 100.0));
        let s = Scale::symlog(-100.0, 100.0, 0.01, 0.0, 400.0);
        assert!((s.at(0.0) - 200.0).abs() < 1e-9);
        // Decades far from zero are evenly spaced.
        assert!(((s.at(100.0) - s.at(10.0)) - (s.at(10.0) - s.at(1.0))).abs() < 0.01);
    }

    #[test]
    fn an_empty_or_absurd_span_can_still_be_drawn() {
        for (low, high) in [(5.0, 5.0), (0.0, 0.0), (f64::NAN, 1.0), (2.0, 1.0)] {
            let s = Scale::linear(low, high, 0.0, 100.0);
            assert!(s.at(1.5).is_finite() && s.high() > s.low());
        }
    }
}
