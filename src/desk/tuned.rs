//! Tuned constants of peaking with the eye on the receiver: when a top is believed. They trade tops
//! shown too soon for tops shown too late. Chosen by hand; no bench: whoever changes one peaks on
//! the simulated dish (`simulate --rotator-port --power-port`), before and after.

// Which readings make a parabola. Chosen by hand; no bench.

/// Readings this far below the best are outside the main lobe or in the noise, decibels.
pub const DEEP_BELOW_THE_BEST_DB: f64 = 6.0;
/// Least span of the readings along an axis, as a share of the beamwidth.
pub const LEAST_REACH_OF_READINGS: f64 = 0.15;

// When its top is believed. Chosen by hand; no bench.

/// A parabola this many times wider or narrower than the beam is not the main lobe.
pub const FACTOR_OF_A_BELIEVED_WIDTH: f64 = 2.5;
/// The top is believed when its position is known to this share of the beamwidth.
pub const UNCERTAINTY_OF_A_BELIEVED_TOP: f64 = 0.15;
/// A top farther than this from every reading, in beamwidths, is extrapolated too far.
pub const FARTHEST_BELIEVED_TOP: f64 = 0.5;
