//! What the passes tell about lag and backlash, and what they cannot.

use std::fmt::Write;

use super::Axis;
use super::analyse::AxisFit;
use super::trend::{Estimate, Trend};

/// What is known about one axis's lag and backlash.
#[derive(Clone, Debug, PartialEq)]
pub struct Timing {
    /// Seconds: the power logged now belongs to where mount and emitter were so long ago. None
    /// when it cannot be told.
    pub lag_s: Option<Estimate>,
    /// Full width, degrees of the axis. None when it cannot be told.
    pub backlash_deg: Option<Estimate>,
    /// What cannot be told and which scan would tell it; empty when all is told.
    pub why: String,
}

/// Speeds that differ by less than this factor do not tell lag from backlash.
const OTHER_SPEED: f64 = 1.3;

/// The speeds (degrees a second, without sign) and directions of all passes along an axis.
#[derive(Clone, Debug, Default)]
pub(crate) struct Ways {
    forward: Vec<f64>,
    back: Vec<f64>,
}

impl Ways {
    pub fn add(&mut self, fit: &AxisFit) {
        for group in fit.groups.iter().filter(|g| g.speed != 0.0) {
            let speed = group.speed.abs().to_degrees();
            if group.sign > 0.0 {
                self.forward.push(speed);
            } else if group.sign < 0.0 {
                self.back.push(speed);
            }
        }
    }
    fn range(speeds: &[f64]) -> (f64, f64) {
        let low = speeds.iter().copied().fold(f64::INFINITY, f64::min);
        let high = speeds.iter().copied().fold(0.0, f64::max);
        (low, high)
    }
    /// Passes at two speeds in one direction at least: lag shows.
    pub fn several_speeds(&self) -> bool {
        [&self.forward, &self.back].into_iter().any(|speeds| {
            let (low, high) = Ways::range(speeds);
            high > OTHER_SPEED * low
        })
    }
    pub fn both_ways(&self) -> bool {
        !self.forward.is_empty() && !self.back.is_empty()
    }
    fn is_empty(&self) -> bool {
        self.forward.is_empty() && self.back.is_empty()
    }
    fn fastest(&self) -> f64 {
        Ways::range(&self.forward).1.max(Ways::range(&self.back).1)
    }
    fn typical(&self) -> f64 {
        super::point::median(self.forward.iter().chain(&self.back).copied().collect())
    }
}

/// A lag whose shift at the fastest speed, or a backlash, is known no better than this part of
/// the beam is not known.
const KNOWN: f64 = 0.25;

/// What an axis's passes tell.
pub(crate) fn timing(axis: Axis, ways: &Ways, trend: Option<&Trend>, width_deg: f64) -> Timing {
    let none = |why: String| Timing {
        lag_s: None,
        backlash_deg: None,
        why,
    };
    let Some(trend) = trend.filter(|_| !ways.is_empty()) else {
        return none(format!(
            "no usable scan runs along {axis}: lag and backlash of this axis cannot be told; scan along it both ways, at two speeds"
        ));
    };
    let speed = ways.typical();
    let lag = trend.lag(axis);
    let backlash = trend.backlash(axis);
    let lag_known = ways.several_speeds() && lag.sigma * ways.fastest() < KNOWN * width_deg;
    let backlash_known = lag_known && ways.both_ways() && backlash.sigma < KNOWN * width_deg;
    let mut why = String::new();
    if !ways.both_ways() && !ways.several_speeds() {
        why = format!(
            "all scans along {axis} run the same way at about {speed:.3} deg/s: neither lag nor backlash can be told; scan one emitter there and back, and again at half or double the speed"
        );
    } else if !ways.several_speeds() {
        let shift = trend.shift(axis, speed, 1.0);
        let _ = write!(
            why,
            "scans along {axis} run both ways, but at one speed of about {speed:.3} deg/s: forward passes read {:+.4} +- {:.4} deg, which may be a lag of {:.3} s or a backlash of {:.4} deg or some of both; scan one emitter both ways at half or double the speed",
            shift.value,
            shift.sigma,
            shift.value / speed,
            -2.0 * shift.value
        );
    } else if !lag_known {
        why = format!(
            "the scans along {axis} are too few or too different to tell its lag (+- {:.2} s); scan one emitter both ways at two speeds that differ more",
            lag.sigma
        );
    } else if !ways.both_ways() {
        why = format!(
            "all scans along {axis} run the same way: its backlash cannot be told; scan one emitter the other way too"
        );
    } else if !backlash_known {
        why = format!(
            "the scans along {axis} are too few or too different to tell its backlash (+- {:.2} deg); scan one emitter there and back",
            backlash.sigma
        );
    }
    Timing {
        lag_s: lag_known.then_some(lag),
        backlash_deg: backlash_known.then_some(backlash),
        why,
    }
}
