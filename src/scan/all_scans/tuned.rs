//! Tuned constants of the comparison of all scans: they trade false alarms on good peaks against
//! wrong peaks accepted, and were chosen by trial on simulated nights.
//!
//! The results with the present values are measured by `cargo bench --bench scan_study -- --scans
//! 4000` (docs/scans.md; with `--why`, what was judged wrong). Values that were tried and dropped
//! are not recorded: to change one, run the bench before and after and compare the tables with the
//! page.

// How wide the beam is by all scans. `cargo bench --bench scan_study -- --scans 4000`.

/// Scans agree on a beam's width when at least this many lie within [`AGREEMENT_OF_WIDTHS`] of it:
/// fewer may agree by chance.
pub const FEWEST_TO_AGREE_ON_A_WIDTH: usize = 5;
/// And at least this fraction of all.
pub const PART_THAT_AGREES_ON_A_WIDTH: f64 = 0.4;
/// In the logarithm of the width: about 6 %. A width is used if the standard deviation of its
/// logarithm is smaller than this.
pub const AGREEMENT_OF_WIDTHS: f64 = 0.06;
/// An agreed width may differ from the station's by this factor: beams of common dishes are 58 to
/// 85 degrees times wavelength over diameter wide (from memory). Beyond that, the station's is
/// kept.
pub const BELIEVABLE_FACTOR_OF_WIDTHS: f64 = 1.45;
/// Beyond this factor the report says so; a smaller difference changes no verdict.
pub const FACTOR_OF_WIDTHS_WORTH_A_REMARK: f64 = 1.1;

// Which scan shows another beam than the others. `cargo bench --bench scan_study -- --scans 4000`.

/// A single peak may differ by this factor from the width that the others agree on,
pub const FACTOR_OF_WIDTHS_TO_OTHERS: f64 = 1.07;
/// by this one from a width given in the station file, which is often read off a data sheet,
pub const FACTOR_OF_WIDTHS_TO_GIVEN: f64 = 1.2;
/// and by this one from a width worked out from the dish, because the feed's taper is not known.
pub const FACTOR_OF_WIDTHS_TO_WORKED_OUT: f64 = 1.3;
/// A width must also differ by this many standard deviations: 7 in a million good ones do.
pub const SIGMAS_OF_ANOTHER_WIDTH: f64 = 4.5;
/// A faint sidelobe differs so much that fewer are enough.
pub const SIGMAS_OF_A_SIDELOBE: f64 = 3.5;
/// A first sidelobe is half as wide as the main lobe (nulls at u = 3.83 and 7.02). The limit is
/// half way between.
pub const WIDTH_OF_A_SIDELOBE: f64 = 0.75;

// Which scan lies elsewhere than the others. `cargo bench --bench scan_study -- --scans 4000`.

/// A peak this many beamwidths from where the others put it is another lobe or another emitter: the
/// first null of a round dish is at 1.2 beamwidths, so it is nearer to a sidelobe.
pub const BEAMS_OF_A_DISPLACED_PEAK: f64 = 0.75;
/// It must also be off by this many standard deviations, so that a night of thousands has none by
/// chance.
pub const SIGMAS_OF_A_DISPLACED_PEAK: f64 = 6.0;
/// This many scans are needed to predict a peak from the others: one more than the number of mount
/// errors fitted.
pub const FEWEST_TO_PLACE_A_PEAK: usize = 6;

// Time against the last digits. Chosen by hand; no bench tried other values.

/// Rounds of weighting, enough for the weights to converge; each is a small linear fit.
pub const ROUNDS_OF_WEIGHTS: usize = 10;
