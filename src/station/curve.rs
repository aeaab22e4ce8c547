//! A smooth monotone curve through knots.

/// Knots with increasing abscissae and values that only increase or only decrease, joined by cubics
/// with a common slope at each knot.
///
/// The slopes are the weighted harmonic means of F. N. Fritsch and J. Butland, "A method for
/// constructing local monotone piecewise cubic interpolants", SIAM J. Sci. Stat. Comput. 5 (1984)
/// 300, with three-point slopes at the ends, limited where they would overshoot (C. Moler,
/// "Numerical Computing with MATLAB", section 3.6). Two knots give a straight line.
#[derive(Clone, Debug, PartialEq)]
pub struct MonotoneCurve {
    places: Vec<f64>,
    values: Vec<f64>,
    slopes: Vec<f64>,
}

impl MonotoneCurve {
    /// Builds a curve through at least two knots, each with abscissa and value; `None` if the
    /// abscissae do not increase, or the values are not strictly monotone, from knot to knot.
    pub fn through(knots: &[(f64, f64)]) -> Option<MonotoneCurve> {
        let (places, values): (Vec<f64>, Vec<f64>) = knots.iter().copied().unzip();
        let steps: Vec<f64> = places.windows(2).map(|w| w[1] - w[0]).collect();
        let chords: Vec<f64> = (values.windows(2).zip(&steps))
            .map(|(w, step)| (w[1] - w[0]) / step)
            .collect();
        let sense = chords.first()?.signum();
        let monotonic = (steps.iter().zip(&chords)).all(|(h, d)| *h > 0.0 && d * sense > 0.0);
        if !monotonic || !chords.iter().all(|d| d.is_finite()) {
            return None;
        }
        let last = chords.len() - 1;
        let mut slopes = vec![end_slope(&steps, &chords)];
        for (h, d) in steps.windows(2).zip(chords.windows(2)) {
            let (one, two) = (2.0 * h[1] + h[0], h[1] + 2.0 * h[0]);
            slopes.push((one + two) / (one / d[0] + two / d[1]));
        }
        let back = |list: &[f64]| -> Vec<f64> { list.iter().rev().take(2).copied().collect() };
        slopes.push(match last {
            0 => chords[0],
            _ => end_slope(&back(&steps), &back(&chords)),
        });
        Some(MonotoneCurve {
            places,
            values,
            slopes,
        })
    }

    /// The first and the last abscissa.
    pub fn ends(&self) -> (f64, f64) {
        (self.places[0], self.places[self.places.len() - 1])
    }

    /// The lowest and the highest value.
    pub fn value_ends(&self) -> (f64, f64) {
        let (first, last) = (self.values[0], self.values[self.values.len() - 1]);
        (first.min(last), first.max(last))
    }

    /// Whether the curve increases.
    pub fn rises(&self) -> bool {
        self.values[1] > self.values[0]
    }

    /// The value at an abscissa; `None` beyond the ends.
    pub fn at(&self, place: f64) -> Option<f64> {
        let (low, high) = self.ends();
        if !(low..=high).contains(&place) {
            return None;
        }
        let behind = self.places.partition_point(|p| *p <= place);
        let piece = behind.clamp(1, self.places.len() - 1) - 1;
        Some(self.in_piece(piece, place))
    }

    /// The abscissa of a value; `None` beyond the ends.
    pub fn place_of(&self, value: f64) -> Option<f64> {
        let (low, high) = self.value_ends();
        if !(low..=high).contains(&value) {
            return None;
        }
        let sense = if self.rises() { 1.0 } else { -1.0 };
        let behind = (self.values).partition_point(|v| sense * v <= sense * value);
        let piece = behind.clamp(1, self.places.len() - 1) - 1;
        // Bisection never leaves the piece, and ends when there is no number left between the
        // limits.
        let (mut low, mut high) = (self.places[piece], self.places[piece + 1]);
        loop {
            let middle = low + (high - low) / 2.0;
            if middle <= low || middle >= high {
                break;
            }
            match sense * self.in_piece(piece, middle) < sense * value {
                true => low = middle,
                false => high = middle,
            }
        }
        let off = |place: f64| (self.in_piece(piece, place) - value).abs();
        Some(if off(low) < off(high) { low } else { high })
    }

    fn in_piece(&self, piece: usize, place: f64) -> f64 {
        let step = self.places[piece + 1] - self.places[piece];
        let t = (place - self.places[piece]) / step;
        let (one, two) = (self.values[piece], self.values[piece + 1]);
        let (from, to) = (self.slopes[piece] * step, self.slopes[piece + 1] * step);
        let rest = 1.0 - t;
        // Cubic Hermite basis.
        one * (1.0 + 2.0 * t) * rest * rest + from * t * rest * rest + two * t * t * (3.0 - 2.0 * t)
            - to * t * t * rest
    }
}

/// Slope at the first knot, from the first two steps and the slopes of their chords.
fn end_slope(steps: &[f64], chords: &[f64]) -> f64 {
    let ([h0, h1, ..], [d0, d1, ..]) = (steps, chords) else {
        return chords[0];
    };
    let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if slope * d0 <= 0.0 {
        0.0
    } else if slope.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bisection error and rounding.
    const ROUNDING: f64 = 1e-12;

    fn bent() -> MonotoneCurve {
        let knots = [
            (0.0, 10.0),
            (1.0, 12.0),
            (3.0, 30.0),
            (3.5, 30.5),
            (9.0, 80.0),
        ];
        MonotoneCurve::through(&knots).unwrap()
    }

    #[test]
    fn a_curve_passes_through_its_knots_and_is_monotone() {
        let curve = bent();
        for (place, value) in [
            (0.0, 10.0),
            (1.0, 12.0),
            (3.0, 30.0),
            (3.5, 30.5),
            (9.0, 80.0),
        ] {
            assert!((curve.at(place).unwrap() - value).abs() < ROUNDING);
        }
        let values: Vec<f64> = (0..=900)
            .map(|i| curve.at(f64::from(i) / 100.0).unwrap())
            .collect();
        assert!(values.windows(2).all(|w| w[1] > w[0]));
    }

    #[test]
    fn curve_and_inverse_agree() {
        let falling = MonotoneCurve::through(&[(-2.0, 5.0), (0.5, 1.0), (4.0, -7.0)]).unwrap();
        assert!(bent().rises() && !falling.rises());
        for curve in [bent(), falling] {
            let (low, high) = curve.ends();
            for i in 0..=500 {
                let place = low + (high - low) * f64::from(i) / 500.0;
                let back = curve.place_of(curve.at(place).unwrap()).unwrap();
                // Where the curve is flat, an abscissa is determined less precisely than a value.
                assert!((back - place).abs() < 1e-7, "{place} {back}");
                let value = curve.at(back).unwrap();
                assert!((value - curve.at(place).unwrap()).abs() < ROUNDING * 100.0);
            }
        }
    }

    #[test]
    fn a_curve_has_no_value_beyond_its_ends() {
        let curve = bent();
        assert_eq!(
            (curve.at(-0.001), curve.at(9.001), curve.at(f64::NAN)),
            (None, None, None)
        );
        assert_eq!((curve.place_of(9.99), curve.place_of(80.01)), (None, None));
    }

    /// A parabola y = x^2 at x = 1, 2, 3: the middle slope is the harmonic mean of 3 and 5, the end
    /// slopes are those of the parabola, 2 and 6.
    #[test]
    fn slopes_match_the_published_formulas() {
        let curve = MonotoneCurve::through(&[(1.0, 1.0), (2.0, 4.0), (3.0, 9.0)]).unwrap();
        let expected = [2.0, 3.75, 6.0];
        for (found, expected) in curve.slopes.iter().zip(expected) {
            assert!((found - expected).abs() < ROUNDING);
        }
        let line = MonotoneCurve::through(&[(1.0, 1.0), (3.0, 2.0)]).unwrap();
        assert_eq!(line.at(2.0), Some(1.5));
    }

    #[test]
    fn knots_that_are_not_monotone_are_refused() {
        for knots in [
            &[(0.0, 1.0)][..],
            &[(0.0, 1.0), (0.0, 2.0)],
            &[(0.0, 1.0), (1.0, 1.0)],
            &[(0.0, 1.0), (1.0, 2.0), (2.0, 1.5)],
            &[(0.0, 1.0), (2.0, 2.0), (1.0, 3.0)],
        ] {
            assert_eq!(MonotoneCurve::through(knots), None);
        }
    }
}
