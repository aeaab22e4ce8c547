//! Tuned constants of an observation: they trade its time for peaks found and names believed, and
//! no source gives their values. Deadlines and limits of safety are none of them: they stand in
//! `safety.rs`, `watch.rs` and `sun_cut.rs`, and no study may loosen them.
//!
//! What the present values lead to (peaks found and missed, the error that is left, the time it
//! takes) is measured by `cargo bench --bench observe_study -- 200` on pretended dishes
//! (docs/observe.md; `-- N --tell` for all that observation N told). Values that were tried and
//! dropped are not recorded: to change one, run the bench before and after and compare with the
//! page.

use crate::angle::Angle;

// How an emitter is scanned by sweeping crosses: time against the certainty of a peak.
// `cargo bench --bench observe_study -- 200`; what `reduce` makes of such scans,
// `cargo bench --bench scan_study -- --scans 4000`.

/// From the middle of a cut to its ends, beamwidths: the baseline is seen on both sides.
pub const HALF_LENGTH_OF_A_CUT: f64 = 1.5;
/// Standard deviations of an uncertain place that are scanned and searched.
pub const SIGMAS_COVERED: f64 = 2.5;
/// Most that is added to a scan for an uncertain place, beamwidths.
pub const MOST_ADDED_TO_A_SCAN: f64 = 1.0;
/// Samples while the beam passes by its width: as many as a good fit needs, and at most.
pub const SAMPLES_A_BEAM: (f64, f64) = (14.0, 60.0);
/// Wanted height of a peak in standard deviations, all its samples taken together.
pub const WANTED_SIGNIFICANCE: f64 = 60.0;
/// Share of the mount's speed that a scan uses: enough is left to catch up.
pub const SHARE_OF_SPEED: f64 = 0.5;
/// Two speeds that differ by this factor separate lag from backlash.
pub const SLOWER: f64 = 2.0;
/// Later crosses alternate between full speed and this factor slower, to improve that separation.
pub const SLOWER_BY_TURNS: f64 = 1.5;

// Rasters, and scans that stop: chosen by hand; no bench runs them.

/// From the middle row of a raster to the last, beamwidths.
pub const HALF_HEIGHT_OF_A_RASTER: f64 = 0.9;
/// Spacing of its rows, beamwidths: as close as `reduce` needs to determine an ellipse, well under
/// half a beamwidth.
pub const ROWS_OF_A_RASTER_APART: f64 = 0.3;
/// Stops while the beam passes by its width.
pub const STOPS_A_BEAM: f64 = 5.0;
/// Time that the mount stands before a stop is sampled: seconds, or a number of powers, whichever
/// is longer.
pub const SETTLING_BEFORE_A_STOP: (f64, f64) = (1.0, 1.5);

// How the mount is led along a stretch, and the empty sky.
// `cargo bench --bench observe_study -- 200`.

/// Lead of the target over the mount's planned position, so that the mount does not stop between.
pub const LEAD_OF_THE_TARGET_S: f64 = 0.35;
/// Largest delay of the end of a stretch.
pub const LATENESS_OF_A_STRETCH_S: f64 = 3.0;
/// The empty sky is measured for this long, seconds,
pub const EMPTY_SKY_S: f64 = 4.0;
/// and for at least this many lines.
pub const EMPTY_SKY_LINES: usize = 24;
/// Empty sky is taken above this elevation.
pub const LOWEST_EMPTY_SKY: Angle = Angle::from_degrees(20.0);
/// Fewer lines of the empty sky do not determine the scatter.
pub const FEWEST_LINES_FOR_SCATTER: usize = 8;

// The search for an emitter: time against emitters missed.
// `cargo bench --bench observe_study -- 200`.

/// A place known to this share of the beam needs no search.
pub const BEAMS_THAT_NEED_NO_SEARCH: f64 = 0.9;
/// What errors other than the zeros may do when nothing is known.
pub const ERRORS_BESIDE_THE_ZEROS: Angle = Angle::from_degrees(2.0);
/// Upper limit of the half-width of a search.
pub const WIDEST_SEARCH: Angle = Angle::from_degrees(30.0);
/// Spacing of the rows of a search, beamwidths: half-way between two rows four fifths of the peak
/// remain.
pub const ROWS_OF_A_SEARCH_APART: f64 = 0.6;
/// Samples while the beam passes by its width in a search: fewer do than in a scan.
pub const SAMPLES_A_BEAM_SEARCHING: f64 = 6.0;
/// This many standard deviations are not noise, however many places a search has.
pub const SIGMAS_OF_A_RISE: f64 = 7.0;
/// The signal is looked for over this share of the beam at a time.
pub const WINDOW_OF_A_RISE: f64 = 0.6;

// What is believed of what was found: wrong names against needless doubt. `cargo bench --bench
// observe_study -- 200`.

/// Odds of some 100 to 1 that emitters were taken for others are clear: minus twice the logarithm.
pub const COST_OF_CLEARLY_OTHER_NAMES: f64 = 9.0;
/// A zero beyond what the user said, and what that costs.
pub const COST_OF_A_ZERO_BEYOND: (Angle, f64) = (Angle::from_degrees(1.0), 20.0);
/// Allowance for unmodelled terms while identities are weighed: a share of the beam, and a minimum.
pub const LOOSENESS_OF_NAMES: (f64, Angle) = (0.1, Angle::from_degrees(0.3));
/// Rounds in which identities are reassigned for the same mount.
pub const ROUNDS_OF_NAMES: usize = 3;
/// Unmodelled errors (an eccentric gear, play) may move a peak by this share of the beam,
pub const UNMODELLED_SHARE: f64 = 0.03;
/// and by this at least.
pub const LEAST_UNMODELLED: Angle = Angle::from_degrees(0.03);
/// Rounds of the fit: it converges in a few; the limit ends an alternation between two solutions.
pub const MOST_ROUNDS_OF_A_FIT: usize = 20;
/// A peak this many standard deviations and this many beamwidths off indicates a slip, if another
/// peak confirms it.
pub const STANDS_OFF: (f64, f64) = (5.0, 0.3);

// What follows when an emitter is not found, and when it is enough.
// `cargo bench --bench observe_study -- 200`.

/// An emitter that was not found is not tried again for this long, seconds.
pub const LEFT_ALONE_S: f64 = 900.0;
/// This many failures in a row are not chance.
pub const MOST_FAILURES: u32 = 4;
/// After this many failures the identity of the only emitter found is in doubt.
pub const FAILURES_THAT_CAST_DOUBT: u32 = 2;
/// Fewer peaks than these do not make a calibration, whatever error they predict.
pub const FEWEST_PEAKS_OF_A_CALIBRATION: usize = 8;
