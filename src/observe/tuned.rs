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
/// So many standard deviations of an uncertain place are scanned and searched.
pub const SIGMAS_COVERED: f64 = 2.5;
/// So much, beamwidths, is added to a scan for a place that is uncertain, at most.
pub const MOST_ADDED_TO_A_SCAN: f64 = 1.0;
/// Samples while the beam passes by its width: as many as a good fit needs, and at most.
pub const SAMPLES_A_BEAM: (f64, f64) = (14.0, 60.0);
/// A peak is to stand so many standard deviations high when its samples are taken together.
pub const WANTED_SIGNIFICANCE: f64 = 60.0;
/// Share of the mount's speed that a scan uses: enough is left to catch up.
pub const SHARE_OF_SPEED: f64 = 0.5;
/// Two speeds that differ by this factor tell lag from backlash.
pub const SLOWER: f64 = 2.0;
/// Later crosses go by turns at full speed and so much slower: that tells it better and better.
pub const SLOWER_BY_TURNS: f64 = 1.5;

// Rasters, and scans that stop: chosen by hand; no bench runs them.

/// From the middle row of a raster to the last, beamwidths.
pub const HALF_HEIGHT_OF_A_RASTER: f64 = 0.9;
/// How far its rows lie apart, beamwidths: as close as `reduce` needs to tell an ellipse, well
/// under half a beamwidth.
pub const ROWS_OF_A_RASTER_APART: f64 = 0.3;
/// Stops while the beam passes by its width.
pub const STOPS_A_BEAM: f64 = 5.0;
/// The mount stands for so long, seconds, before a stop is sampled, or for so many powers,
/// whichever is longer.
pub const SETTLING_BEFORE_A_STOP: (f64, f64) = (1.0, 1.5);

// How the mount is led along a stretch, and the empty sky.
// `cargo bench --bench observe_study -- 200`.

/// The target runs ahead of where the mount should be by so much, so that it does not stop between.
pub const LEAD_OF_THE_TARGET_S: f64 = 0.35;
/// A stretch may end so late.
pub const LATENESS_OF_A_STRETCH_S: f64 = 3.0;
/// The empty sky is looked at for so long, seconds,
pub const EMPTY_SKY_S: f64 = 4.0;
/// and at least for so many lines.
pub const EMPTY_SKY_LINES: usize = 24;
/// It is looked for above this.
pub const LOWEST_EMPTY_SKY: Angle = Angle::from_degrees(20.0);
/// Fewer lines of the empty sky tell no scatter.
pub const FEWEST_LINES_FOR_SCATTER: usize = 8;

// The search for an emitter: time against emitters missed.
// `cargo bench --bench observe_study -- 200`.

/// A place known to this share of the beam needs no search.
pub const BEAMS_THAT_NEED_NO_SEARCH: f64 = 0.9;
/// What errors other than the zeros may do when nothing is known.
pub const ERRORS_BESIDE_THE_ZEROS: Angle = Angle::from_degrees(2.0);
/// But never is more than this searched.
pub const WIDEST_SEARCH: Angle = Angle::from_degrees(30.0);
/// Rows of a search lie so far apart, beamwidths: half-way between two rows four fifths of the peak
/// are left.
pub const ROWS_OF_A_SEARCH_APART: f64 = 0.6;
/// Samples while the beam passes by its width in a search: fewer do than in a scan.
pub const SAMPLES_A_BEAM_SEARCHING: f64 = 6.0;
/// So many standard deviations are no noise, however many places a search has.
pub const SIGMAS_OF_A_RISE: f64 = 7.0;
/// The signal is looked for over this share of the beam at a time.
pub const WINDOW_OF_A_RISE: f64 = 0.6;

// What is believed of what was found: wrong names against needless doubt. `cargo bench --bench
// observe_study -- 200`.

/// Odds of some 100 to 1 that emitters were taken for others are clear: minus twice the logarithm.
pub const COST_OF_CLEARLY_OTHER_NAMES: f64 = 9.0;
/// A zero beyond what the user said, and what that costs.
pub const COST_OF_A_ZERO_BEYOND: (Angle, f64) = (Angle::from_degrees(1.0), 20.0);
/// What terms that are not reckoned with may do while names are weighed: a share of the beam, and
/// at least.
pub const LOOSENESS_OF_NAMES: (f64, Angle) = (0.1, Angle::from_degrees(0.3));
/// Names are given anew so often for the same mount.
pub const ROUNDS_OF_NAMES: usize = 3;
/// What the terms reckoned with do not hold (an eccentric gear, play) may move a peak by this share
/// of the beam,
pub const UNMODELLED_SHARE: f64 = 0.03;
/// and by this at least.
pub const LEAST_UNMODELLED: Angle = Angle::from_degrees(0.03);
/// Rounds of the fit: it converges in a few, and two places that take turns come to an end.
pub const MOST_ROUNDS_OF_A_FIT: usize = 20;
/// A peak so many standard deviations, and so many beamwidths, from its place says that something
/// slipped, when another says so too.
pub const STANDS_OFF: (f64, f64) = (5.0, 0.3);

// What follows when an emitter is not found, and when it is enough.
// `cargo bench --bench observe_study -- 200`.

/// An emitter that was not found is left alone for so long, seconds.
pub const LEFT_ALONE_S: f64 = 900.0;
/// So many in a row that are not found are no accident.
pub const MOST_FAILURES: u32 = 4;
/// After so many the one emitter that was found is doubted.
pub const FAILURES_THAT_CAST_DOUBT: u32 = 2;
/// Fewer peaks than these are no calibration, whatever they promise.
pub const FEWEST_PEAKS_OF_A_CALIBRATION: usize = 8;
