//! Peaking by hand while watching the receiver: the best signal so far and where the peak lies.
//!
//! Near its middle the main lobe of any dish is a parabola in decibels (common practice, no source;
//! of a Gaussian beam it is one everywhere). With enough readings on either side its top is found by
//! least squares; until then only the best reading so far is known.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use super::tuned::{
    DEEP_BELOW_THE_BEST_DB, FACTOR_OF_A_BELIEVED_WIDTH, FARTHEST_BELIEVED_TOP,
    LEAST_REACH_OF_READINGS, UNCERTAINTY_OF_A_BELIEVED_TOP,
};
use crate::angle::Angle;
use crate::fit::Linear;

/// Readings kept: more than a minute from the fastest receiver that a person can follow.
const MOST: usize = 1200;
/// Older readings no longer compare: gain, atmosphere and emitter have changed.
const OLDEST: Duration = Duration::from_secs(300);
/// Fewest readings near the top for a parabola: two more than its parameters.
const LEAST: usize = 7;

/// A power reading and the mount's position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerSample {
    /// When.
    pub at: Instant,
    /// Decibels, with any reference.
    pub power_db: f64,
    /// Along the axes, from the emitter's expected position or a point moving with it,
    /// or `None` without a mount.
    pub place: Option<[Angle; 2]>,
}

/// The peak as known so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PeakSoFar {
    /// The latest power.
    pub now: PowerSample,
    /// The best power so far.
    pub best: PowerSample,
    /// The top along each axis with one standard deviation; `None` if not well determined.
    pub top: [Option<(Angle, Angle)>; 2],
    /// Number of readings in the fit.
    pub readings: usize,
}

/// Readings since peaking began.
#[derive(Clone, Debug)]
pub struct Coach {
    beamwidth: Angle,
    samples: VecDeque<PowerSample>,
}

impl Coach {
    /// Starts without readings, for a dish of that beamwidth.
    pub fn new(beamwidth: Angle) -> Coach {
        Coach {
            beamwidth,
            samples: VecDeque::new(),
        }
    }

    /// Discards all readings, for another emitter or another peak.
    pub fn restart(&mut self) {
        self.samples.clear();
    }

    /// Adds a reading.
    pub fn take(&mut self, sample: PowerSample) {
        if !sample.power_db.is_finite() {
            return;
        }
        let old = |s: &PowerSample| sample.at.saturating_duration_since(s.at) > OLDEST;
        while self.samples.front().is_some_and(old) {
            self.samples.pop_front();
        }
        if self.samples.len() == MOST {
            self.samples.pop_front();
        }
        self.samples.push_back(sample);
    }

    /// Returns the peak so far; `lean` is the degrees on the sky per degree of the first axis.
    pub fn standing(&self, lean: f64) -> Option<PeakSoFar> {
        let now = *self.samples.back()?;
        let best = (self.samples.iter())
            .max_by(|a, b| a.power_db.total_cmp(&b.power_db))
            .copied()?;
        let near: Vec<(f64, [f64; 2])> = (self.samples.iter())
            .filter(|s| s.power_db >= best.power_db - DEEP_BELOW_THE_BEST_DB)
            .filter_map(|s| {
                let [a, b] = s.place?;
                let of = |angle: Angle| angle / self.beamwidth;
                Some((s.power_db, [of(a) * lean, of(b)]))
            })
            .collect();
        let top = self.top(&near);
        let unleaned = |axis: usize, share: f64| {
            let by = if axis == 0 { lean.max(1e-3) } else { 1.0 };
            self.beamwidth * (share / by)
        };
        Some(PeakSoFar {
            now,
            best,
            top: [0, 1].map(|axis| {
                top[axis].map(|(at, sigma)| (unleaned(axis, at), unleaned(axis, sigma)))
            }),
            readings: near.len(),
        })
    }

    /// Returns the top of the paraboloid along each axis and its standard deviation, beamwidths.
    fn top(&self, near: &[(f64, [f64; 2])]) -> [Option<(f64, f64)>; 2] {
        let span = |axis: usize| {
            let places = near.iter().map(|(_, place)| place[axis]);
            let low = places.clone().fold(f64::INFINITY, f64::min);
            (low, places.fold(f64::NEG_INFINITY, f64::max))
        };
        let free: Vec<usize> = (0..2)
            .filter(|axis| {
                let (low, high) = span(*axis);
                high - low >= LEAST_REACH_OF_READINGS
            })
            .collect();
        let mut found = [None; 2];
        let unknowns = 1 + 2 * free.len();
        if free.is_empty() || near.len() < LEAST.max(unknowns + 2) {
            return found;
        }
        let mut paraboloid = Linear::new(unknowns);
        for (power, place) in near {
            let along = free
                .iter()
                .flat_map(|axis| [place[*axis], place[*axis].powi(2)]);
            let row: Vec<f64> = std::iter::once(1.0).chain(along).collect();
            paraboloid.add(*power, &row, 1.0);
        }
        let fitted = paraboloid.solve();
        if fitted.rank < unknowns {
            return found;
        }
        let (numbers, covariance) = (&fitted.coefficients, &fitted.covariance);
        let variance = fitted.sum_of_squares / fitted.degrees_of_freedom as f64;
        for (k, axis) in free.iter().enumerate() {
            let (line, curve) = (1 + 2 * k, 2 + 2 * k);
            let (b, a) = (numbers[line], numbers[curve]);
            // A Gaussian beam is down 12 dB at one beamwidth.
            let width = (12.0 / -a).sqrt();
            if a >= 0.0
                || !(1.0 / FACTOR_OF_A_BELIEVED_WIDTH..=FACTOR_OF_A_BELIEVED_WIDTH).contains(&width)
            {
                continue;
            }
            let at = -b / (2.0 * a);
            // First-order propagation through -b / 2a.
            let (by_b, by_a) = (-1.0 / (2.0 * a), b / (2.0 * a * a));
            let squared = variance
                * (by_b * by_b * covariance[(line, line)]
                    + 2.0 * by_a * by_b * covariance[(line, curve)]
                    + by_a * by_a * covariance[(curve, curve)]);
            let sigma = squared.max(0.0).sqrt();
            let (low, high) = span(*axis);
            if sigma <= UNCERTAINTY_OF_A_BELIEVED_TOP
                && at > low - FARTHEST_BELIEVED_TOP
                && at < high + FARTHEST_BELIEVED_TOP
            {
                found[*axis] = Some((at, sigma));
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BEAM: f64 = 5.0;

    fn readings(x: f64, y: f64) -> Option<[Angle; 2]> {
        Some([Angle::from_degrees(x), Angle::from_degrees(y)])
    }

    /// A Gaussian beam, its top at 12.3 and 45.6 degrees, with the noise of a cheap receiver.
    fn power(x: f64, y: f64, i: usize) -> f64 {
        let noise = 0.1 * ((i * 7919) as f64).sin();
        -60.0 - 12.0 * (((x - 12.3) / BEAM).powi(2) + ((y - 45.6) / BEAM).powi(2)) + noise
    }

    fn coach(places: &[(f64, f64)]) -> Coach {
        let mut coach = Coach::new(Angle::from_degrees(BEAM));
        let start = Instant::now();
        for (i, (x, y)) in places.iter().enumerate() {
            coach.take(PowerSample {
                at: start + Duration::from_millis(200 * i as u64),
                power_db: power(*x, *y, i),
                place: readings(*x, *y),
            });
        }
        coach
    }

    #[test]
    fn the_top_is_found_before_anybody_stood_on_it() {
        // From the left and from below, never farther than a degree from the top.
        let along: Vec<(f64, f64)> = (0..12).map(|i| (9.0 + 0.22 * i as f64, 44.0)).collect();
        let up: Vec<(f64, f64)> = (0..12).map(|i| (11.4, 44.0 + 0.1 * i as f64)).collect();
        let standing = coach(&[along, up].concat()).standing(1.0).unwrap();
        for (axis, truth) in [(0, 12.3), (1, 45.6)] {
            let (top, sigma) = standing.top[axis].expect("enough readings");
            let off = top.degrees() - truth;
            assert!(
                off.abs() < 4.0 * sigma.degrees() + 0.05,
                "axis {axis}: {top:?} {sigma:?}"
            );
            assert!(sigma.degrees() < 0.5);
        }
        assert_eq!(standing.best.place, readings(11.4, 45.1));
    }

    #[test]
    fn along_an_axis_that_did_not_move_nothing_is_said() {
        let along: Vec<(f64, f64)> = (0..20).map(|i| (10.5 + 0.2 * i as f64, 44.0)).collect();
        let standing = coach(&along).standing(1.0).unwrap();
        assert!(standing.top[0].is_some() && standing.top[1].is_none());
    }

    #[test]
    fn too_few_readings_and_a_slope_give_no_top() {
        let few: Vec<(f64, f64)> = (0..5).map(|i| (11.0 + 0.5 * i as f64, 45.0)).collect();
        assert_eq!(coach(&few).standing(1.0).unwrap().top, [None; 2]);
        assert!(
            Coach::new(Angle::from_degrees(BEAM))
                .standing(1.0)
                .is_none()
        );
        // Noise only: a receiver without a signal.
        let mut coach = Coach::new(Angle::from_degrees(BEAM));
        let start = Instant::now();
        for i in 0..60 {
            coach.take(PowerSample {
                at: start + Duration::from_millis(200 * i),
                power_db: -90.0 + 0.3 * ((i * i) as f64).sin(),
                place: readings(0.1 * i as f64, 45.0),
            });
        }
        assert_eq!(coach.standing(1.0).unwrap().top, [None; 2]);
    }

    /// At high elevation a degree of azimuth is smaller on the sky, so the same beam looks wider in
    /// azimuth.
    #[test]
    fn high_up_the_beam_is_wide_in_azimuth() {
        let lean = Angle::from_degrees(75.0).cos();
        let mut coach = Coach::new(Angle::from_degrees(BEAM));
        let start = Instant::now();
        for i in 0..30 {
            let x = 100.0 + 0.6 * i as f64;
            let off = (x - 110.0) * lean / BEAM;
            coach.take(PowerSample {
                at: start + Duration::from_millis(200 * i as u64),
                power_db: -60.0 - 12.0 * off * off,
                place: readings(x, 75.0),
            });
        }
        let (top, _) = coach.standing(lean).unwrap().top[0].expect("a top");
        assert!((top.degrees() - 110.0).abs() < 1e-6, "{top:?}");
    }

    #[test]
    fn old_readings_are_forgotten_and_memory_is_bounded() {
        let mut coach = Coach::new(Angle::from_degrees(BEAM));
        let start = Instant::now();
        let sample = |s: f64, power_db: f64| PowerSample {
            at: start + Duration::from_secs_f64(s),
            power_db,
            place: None,
        };
        coach.take(sample(0.0, -10.0));
        coach.take(sample(1.0, f64::NAN));
        coach.take(sample(100.0, -20.0));
        assert_eq!(coach.standing(1.0).unwrap().best.power_db, -10.0);
        coach.take(sample(350.0, -30.0));
        assert_eq!(coach.standing(1.0).unwrap().best.power_db, -20.0);
        for i in 0..5000 {
            coach.take(sample(350.0 + 0.001 * i as f64, -40.0));
        }
        assert!(coach.samples.len() <= MOST);
        coach.restart();
        assert!(coach.standing(1.0).is_none());
    }
}
