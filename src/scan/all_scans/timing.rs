//! What the passes determine about lag and backlash, and what they leave open.

use std::fmt::Write;

use super::trend::{Estimate, Trend};
use crate::scan::ScanAxis;
use crate::scan::one_scan::fitted::AxisFit;
use crate::scan::one_scan::point::median;

/// What is known about one axis's lag and backlash.
#[derive(Clone, Debug, PartialEq)]
pub struct Timing {
    /// Seconds by which the logged power is late: it belongs to where mount and emitter were that
    /// long ago. `None` if it cannot be determined.
    pub lag_s: Option<Estimate>,
    /// Full width, degrees of the axis. `None` if it cannot be determined.
    pub backlash_deg: Option<Estimate>,
    /// What cannot be determined and which scan would determine it; empty if everything can be.
    pub why: String,
}

/// Speeds that differ by less than this factor do not separate lag from backlash: the difference
/// that separates them is then a third of either. Common practice, no source.
const OTHER_SPEED: f64 = 1.3;

/// The speeds of all passes along an axis, by their direction.
#[derive(Clone, Debug, Default)]
pub(crate) struct Ways {
    forward: Vec<Speed>,
    back: Vec<Speed>,
}

/// Degrees a second, without sign.
#[derive(Clone, Copy, Debug)]
struct Speed {
    /// On the sky. This is what must differ between scans: at a single speed on the sky a lag in
    /// azimuth moves peaks just as collimation does.
    on_sky: f64,
    of_axis: f64,
}

impl Ways {
    /// Adds the passes of a scan; a degree of the axis is `on_sky` degrees on the sky.
    pub fn add(&mut self, fit: &AxisFit, on_sky: f64) {
        // A stepped axis has a side of arrival but no speed; an axis that only steps from row to
        // row has no passes.
        for group in fit.groups.iter().filter(|g| !g.passes.is_empty()) {
            let of_axis = group.speed.abs().to_degrees();
            let speed = Speed {
                on_sky: of_axis * on_sky,
                of_axis,
            };
            if group.sign > 0.0 {
                self.forward.push(speed);
            } else if group.sign < 0.0 {
                self.back.push(speed);
            }
        }
    }
    /// Whether passes in at least one direction have two speeds, so that lag can be determined.
    pub fn several_speeds(&self) -> bool {
        [&self.forward, &self.back].into_iter().any(|speeds| {
            let low = speeds
                .iter()
                .map(|s| s.on_sky)
                .fold(f64::INFINITY, f64::min);
            let high = speeds.iter().map(|s| s.on_sky).fold(0.0, f64::max);
            high > OTHER_SPEED * low
        })
    }
    /// Whether all were sampled with the mount stopped, so that a lag has no effect.
    fn all_stand(&self) -> bool {
        self.all().all(|s| s.of_axis == 0.0)
    }
    /// Whether passes run in both directions, so that lag and backlash show in combination.
    pub fn both_ways(&self) -> bool {
        !self.forward.is_empty() && !self.back.is_empty()
    }
    fn is_empty(&self) -> bool {
        self.forward.is_empty() && self.back.is_empty()
    }
    fn all(&self) -> impl Iterator<Item = &Speed> {
        self.forward.iter().chain(&self.back)
    }
    fn fastest(&self) -> f64 {
        self.all().map(|s| s.of_axis).fold(0.0, f64::max)
    }
    fn typical(&self) -> Speed {
        Speed {
            on_sky: median(self.all().map(|s| s.on_sky).collect()),
            of_axis: median(self.all().map(|s| s.of_axis).collect()),
        }
    }
}

/// A lag counts as known if the uncertainty of its shift at the fastest speed is below this
/// fraction of the beamwidth, and so does a backlash. Common practice, no source.
const KNOWN: f64 = 0.25;

/// Returns the lag and backlash that an axis's passes determine, and why not where they do not.
pub(crate) fn timing(axis: ScanAxis, ways: &Ways, trend: Option<&Trend>, width_deg: f64) -> Timing {
    let none = |why: String| Timing {
        lag_s: None,
        backlash_deg: None,
        why,
    };
    let Some(trend) = trend.filter(|_| !ways.is_empty()) else {
        return none(format!(
            "no usable scan runs along {axis}: lag and backlash of this axis cannot be determined; scan along it both ways, at two speeds"
        ));
    };
    let speed = ways.typical();
    let lag = trend.lag(axis);
    let backlash = trend.backlash(axis);
    let lag_known = ways.several_speeds() && lag.sigma * ways.fastest() < KNOWN * width_deg;
    let backlash_known =
        (lag_known || ways.all_stand()) && ways.both_ways() && backlash.sigma < KNOWN * width_deg;
    let mut why = String::new();
    if ways.all_stand() {
        if !ways.both_ways() {
            why = format!(
                "all scans along {axis} arrive from the same side: its backlash cannot be told; scan one emitter there and back"
            );
        } else if !backlash_known {
            why = format!(
                "the scans along {axis} are too few or too different to tell its backlash (+/- {:.2} deg); scan one emitter there and back",
                backlash.sigma
            );
        }
    } else if !ways.both_ways() && !ways.several_speeds() {
        why = format!(
            "all scans along {axis} run the same way at about {:.3} deg/s on the sky: neither lag nor backlash can be determined; scan one emitter there and back, and again at half or double the speed",
            speed.on_sky
        );
    } else if !ways.several_speeds() {
        let shift = trend.shift(axis, speed.of_axis, 1.0);
        let _ = write!(
            why,
            "scans along {axis} run both ways, but at one speed of about {:.3} deg/s on the sky: forward passes read {:+.4} +/- {:.4} deg, which may be a lag of {:.3} s or a backlash of {:.4} deg or some of both; scan one emitter both ways at half or double the speed",
            speed.on_sky,
            shift.value,
            shift.sigma,
            shift.value / speed.of_axis,
            -2.0 * shift.value
        );
    } else if !lag_known {
        why = format!(
            "the scans along {axis} are too few or too different to determine its lag (+/- {:.2} s); scan one emitter both ways at two speeds that differ more",
            lag.sigma
        );
    } else if !ways.both_ways() {
        why = format!(
            "all scans along {axis} run the same way: its backlash cannot be determined; scan one emitter the other way too"
        );
    } else if !backlash_known {
        why = format!(
            "the scans along {axis} are too few or too different to determine its backlash (+/- {:.2} deg); scan one emitter there and back",
            backlash.sigma
        );
    }
    Timing {
        lag_s: lag_known.then_some(lag),
        backlash_deg: backlash_known.then_some(backlash),
        why,
    }
}
