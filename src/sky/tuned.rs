//! Tuned constants of the sky: they trade time for accuracy, and no source gives their values.
//!
//! `cargo bench --bench sky` measures the time (docs/performance.md); the accuracy is held by the
//! tests of the files that use them and by `cargo test --test sky_reference`. Values that were
//! tried and dropped are not recorded: to change one, run both before and after.

use crate::angle::Angle;

// Refraction: the formula between the rays that are traced. Chosen by trying; no bench tries other
// values, and the tests of `refraction.rs` compare with traced rays in many climates.

/// Apparent elevations at which the ray is traced, degrees: from half a degree up the error of the
/// formula between them is then below 4 arcsec in climates from -60 to 42 degrees Celsius.
pub const ELEVATIONS_TRACED_DEG: [f64; 3] = [0.5, 2.5, 8.0];
/// Nothing is seen below the horizon, but searches and pictures want finite and smooth numbers:
/// the bending's slope fades out over this angle,
pub const SLOPE_FADES_OVER: Angle = Angle::from_degrees(0.5);
/// and the bending itself over this one. Both are such that what is lower stays lower in any
/// weather.
pub const BENDING_FADES_OVER: Angle = Angle::from_degrees(10.0);

// Tracks: how far apart the nodes lie between which a path is interpolated.
// `cargo bench --bench sky`.

/// Spacing of the nodes for what rises and sets with the stars, seconds. Six points then leave
/// 0.0005 arcsec of the Earth's turning: (w h)^6 x 3.5 / 720, with w its rate and h the spacing.
/// Nodes of satellites are not set farther apart, because the Earth turns under both.
pub const LONGEST_BETWEEN_NODES_S: f64 = 1200.0;
/// How far a satellite turns about the Earth between two nodes at its lowest, radians. Six points
/// leave some 1e-10 of its distance from the Earth's centre, so 0.01 arcsec at a range of 100 km;
/// eccentric orbits are ten times worse and ten times farther.
pub const TURN_BETWEEN_NODES: f64 = 0.06;
/// Intervals that are worked out together, when one of them is first needed: enough to pay for
/// the preparation, few enough for a short pass.
pub const INTERVALS_WORKED_OUT_TOGETHER: usize = 32;
