//! The cost of calling a peak bad.
//!
//! A peak is either good, with Gaussian noise, or bad, and then either near the beam and its side
//! lobes or anywhere on the sky.

use crate::angle::Angle;

/// Prior probability that a peak is bad; common practice, no source.
const BAD_CHANCE: f64 = 0.05;
/// The odds against a bad peak.
pub const OF_BAD: f64 = (1.0 - BAD_CHANCE) / BAD_CHANCE;
/// Solid angle of the whole sky, steradians, over which a bad peak may lie.
const SKY: f64 = 4.0 * std::f64::consts::PI;
/// A bad peak is as likely to be a side lobe, or a scan stopped on the flank of the beam, within
/// this many beamwidths, as anything else anywhere on the sky; common practice, no source.
const NEAR_BEAMS: f64 = 10.0;
/// Share of the bad peaks that are near: even odds.
const NEAR_SHARE: f64 = 0.5;

/// Cost of calling a peak bad at unit noise: -2 ln of the ratio of the density of bad peaks to the
/// peak of the Gaussian with the logged sigmas.
#[derive(Clone, Copy, Debug)]
pub struct BadCost {
    near: f64,
    far: f64,
    /// Squared residual, in units of the logged sigmas, up to which it is near.
    near_square: f64,
}

impl BadCost {
    /// For a peak with these standard deviations, radians, and this many rows.
    pub fn new(sigma: [f64; 2], rows: usize, beamwidth: Angle) -> BadCost {
        let radius = (beamwidth * NEAR_BEAMS).radians().min(std::f64::consts::PI);
        let cap = std::f64::consts::TAU * (1.0 - radius.cos());
        let anywhere = (1.0 - NEAR_SHARE) / SKY;
        let top = 1.0 / (std::f64::consts::TAU * sigma[0] * sigma[1]);
        let chance = 2.0 * OF_BAD.ln();
        // Half as much for a single measured coordinate.
        let cost = |density: f64| rows as f64 * (top / density).ln() + chance;
        BadCost {
            near: cost(anywhere + NEAR_SHARE / cap),
            far: cost(anywhere),
            near_square: radius * radius / (sigma[0] * sigma[1]),
        }
    }

    /// Cost for a peak with this sum of squares of its whitened residuals.
    pub fn at(&self, square: f64) -> f64 {
        if square <= self.near_square {
            self.near
        } else {
            self.far
        }
    }
}
