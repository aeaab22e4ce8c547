//! Tuned constants for the reduction of a single scan: they trade good scans refused against wrong
//! peaks accepted, or time against peaks missed, and no source gives their values.
//!
//! The results with the present values are measured by `cargo bench --bench scan_study -- --scans
//! 4000` on simulated nights (docs/scans.md; with `--why`, what was judged wrong), and the time by
//! `cargo bench --bench scan` (docs/performance.md). Values that were tried and dropped are not
//! recorded: to change one, run the bench of its heading before and after and compare the tables
//! with the page.

// What a scan is trusted for: good scans refused against wrong peaks accepted.
// `cargo bench --bench scan_study -- --scans 4000`.

/// A peak less significant than this may be chance: among the places and widths tried, one scan in
/// some thousands of pure noise shows as much.
pub const SIGMAS_OF_A_SIGNAL: f64 = 5.0;
/// If the position's sigma is above this, in beamwidths, the emitter was missed: the beam may have
/// passed it on either side.
pub const UNCERTAINTY_OF_A_MISS: f64 = 0.7;
/// The peak must lie at least this far inside the scan, in beamwidths, to have two flanks: half way
/// down to half power.
pub const INSIDE_FOR_TWO_FLANKS: f64 = 0.25;
/// Closer to the end than this the result leans on the beam's assumed shape, because one flank does
/// not reach half power.
pub const NEAR_THE_END: f64 = 0.4;
/// A baseline that changes by more than this many heights of the signal is reported: the signal is
/// then the smaller of the two.
pub const HEIGHTS_OF_A_DRIFT: f64 = 1.0;
/// Smooth residuals count as another shape if their rms is above this fraction of the height. A
/// real dish, whose rim is illuminated less than its centre, differs by half as much.
pub const LEFT_OVER_OF_ANOTHER_SHAPE: f64 = 0.03;
/// And only if neighbouring residuals have at least this correlation. Chosen by trial on simulated
/// scans.
pub const CORRELATION_OF_ANOTHER_SHAPE: f64 = 0.6;
/// Samples left out in a row are a second signal if their excess is at least this fraction of the
/// height: a smaller one hardly moves the peak.
pub const HEIGHT_OF_A_SECOND_SIGNAL: f64 = 0.1;
/// If more than this share of the points is bad, they are not outliers: near one half a robust fit
/// may follow them.
pub const MOST_BAD_POINTS: f64 = 0.35;

// What is allowed for: a curved baseline, noise with a memory, a receiver at its limit, outliers.
// `cargo bench --bench scan_study -- --scans 4000`.

/// A curvature of the baseline is added if it would appear as large by chance with less than this
/// probability.
pub const CHANCE_OF_A_CURVATURE: f64 = 1e-3;
/// Points at the top count as equal within this many standard deviations of a point: 1 % of good
/// points on a flat top lie beyond.
pub const SIGMAS_OF_EQUAL_TOPS: f64 = 2.5;
/// A beam fitted without the points of a flat top must lie above them by a mean of this many
/// standard deviations of a point. Chosen with the next by trial on simulated scans.
pub const SIGMAS_ABOVE_A_FLAT_TOP: f64 = 2.0;
/// And by this many standard deviations of that mean.
pub const SIGMAS_OF_MEAN_ABOVE_A_FLAT_TOP: f64 = 7.0;
/// Standard deviations of a point by which the model must lie below the receiver's limit for a
/// point to count as unaffected: 7 % of them are above by chance, at the cost of one point each.
pub const SIGMAS_BELOW_THE_LIMIT: f64 = 1.5;
/// A correlation of neighbours above this significance, in sigmas, is not chance and is reported: 7
/// in a million good scans exceed it.
pub const SIGMAS_OF_REPORTED_MEMORY: f64 = 4.5;
/// From this significance on it is allowed for, which happens needlessly in one of a hundred scans
/// without correlation.
pub const SIGMAS_OF_ALLOWED_MEMORY: f64 = 2.3;
/// A point that stands out by more standard deviations is left out: 7 in a million good ones.
pub const SIGMAS_OF_AN_OUTLIER: f64 = 4.5;
/// No sample has more weight than one at this fraction of the mean power, so that a sample with
/// almost zero modelled power does not outweigh all others.
pub const LEAST_POWER_FOR_A_WEIGHT: f64 = 0.01;

// What the track of a scan is: cuts, crosses or maps.
// `cargo bench --bench scan_study -- --scans 4000`.

/// How far a track may deviate from a straight line, in beamwidths: more than the jitter of
/// encoders, less than the spacing of raster rows.
pub const STRAY_OF_A_STRAIGHT_TRACK: f64 = 0.05;
/// A pass is at least this long, in beamwidths; a shorter one does not reach both half-power
/// points.
pub const SHORTEST_PASS: f64 = 0.6;
/// Rows of a raster are at least this far apart, in beamwidths: more than
/// [`STRAY_OF_A_STRAIGHT_TRACK`], otherwise they are one row scanned twice.
pub const LEAST_BETWEEN_ROWS: f64 = 0.08;
/// And together they cover at least this much, in beamwidths; otherwise the scan measures one axis
/// only.
pub const LEAST_HEIGHT_OF_A_RASTER: f64 = 0.4;
/// Speeds within this factor count as one: motion by hand or by slow motors is no steadier. It is
/// less than the factor that separates lag from backlash (1.3).
pub const FACTOR_OF_THE_SAME_SPEED: f64 = 1.25;

// What stands, steps or is missing: chosen by hand; no bench has such scans.

/// A track that covers less than this, in beamwidths, in both directions stands still: it shows no
/// flank.
pub const MOST_OF_A_STANDING_TRACK: f64 = 0.3;
/// An encoder that moves less than this fraction of a pass's motion stands still, and the sky moves
/// past the beam.
pub const MOST_OF_A_STANDING_ENCODER: f64 = 0.3;
/// A step from one stop to the next takes at least this many times as long as one from a sample to
/// the next.
pub const TIMES_OF_A_STEP_BETWEEN_STOPS: f64 = 2.5;
/// At least this fraction of a stepped track is covered between stops.
pub const WAY_BETWEEN_STOPS: f64 = 0.9;
/// An encoder keeps one reading for at least this many samples before it is called stuck, so that a
/// turn or a pause is not.
pub const LEAST_SAMPLES_OF_A_STUCK_ENCODER: usize = 5;
/// A stuck encoder catches up at once, so its next step is longer than this many usual ones; a
/// mount that paused continues with usual steps.
pub const CATCH_UP_OF_A_STUCK_ENCODER: f64 = 3.0;
/// A gap between samples is also this many times as long as usual, so that a coarse but even scan
/// has none.
pub const USUAL_STEPS_OF_A_GAP: f64 = 4.0;

// Where a fit begins and ends: time against peaks missed.
// `cargo bench --bench scan_study -- --scans 4000` shows what is missed, `cargo bench --bench scan`
// the time.

/// Step between the positions tried, in widths of the beam tried: a fit started an eighth of a
/// width off finds the peak.
pub const STEP_BETWEEN_PLACES: f64 = 0.25;
/// Every other position is tried first, and the one between two if either explains this fraction of
/// the best: a beam one step away from the true position explains five sixths of what it would
/// there.
pub const SHARE_BESIDE_A_BEAM: f64 = 0.5;
/// Widths tried, over that expected, including that of a sidelobe, half as wide as the main lobe.
pub const WIDTHS_TRIED: [f64; 4] = [1.0, 0.5, 0.72, 1.5];
/// Positions outside the scan are tried up to this many widths from its end: as far as a flank is
/// visible.
pub const PLACES_OUTSIDE: f64 = 0.5;
/// In a map, steps are coarser, since their number grows with the square,
pub const STEP_BETWEEN_PLACES_OF_A_MAP: f64 = 0.3;
/// and so are the widths tried.
pub const WIDTHS_TRIED_IN_A_MAP: [f64; 3] = [1.0, 0.6, 1.6];
/// A template of which less than this share is left cannot be separated from the baseline.
pub const SHARE_OF_A_LOST_TEMPLATE: f64 = 1e-3;
/// Beamwidths from an obvious beam within which other widths are tried: both sidelobes of a main
/// lobe taken for one, or a main lobe beside a sidelobe, lie within.
pub const NEAR_AN_OBVIOUS_BEAM: f64 = 2.0;
/// A beam of the expected width with this significance, in sigmas, is certain: a map then needs no
/// search for other widths, since the fit finds its width, and a cut only needs them near the beam.
pub const SIGMAS_OF_AN_OBVIOUS_BEAM: f64 = 15.0;
/// At most this many positions of a cut are tried: a cut of a hundred beamwidths.
pub const MOST_PLACES_OF_A_CUT: f64 = 1000.0;
/// Positions tried along each side of a map, to bound the time; at the usual step that is 18
/// beamwidths.
pub const MOST_PLACES_ALONG_A_MAP: f64 = 60.0;
/// Points of a map used for the start, to bound its time: the fit then uses all.
pub const MOST_POINTS_TO_START_A_MAP: usize = 400;
/// With more passes than this they share heights and slopes, so that the number of parameters stays
/// small.
pub const MOST_PASSES_WITH_OWN_HEIGHTS: usize = 8;
/// Weights depend on the fitted power and the fit on the weights; three rounds are enough, since
/// weights change little when the beam does.
pub const ROUNDS_OF_WEIGHTS: usize = 3;
/// Most rounds for the set of good points to settle, so that two alternating sets do not loop for
/// ever.
pub const MOST_ROUNDS_OF_GOOD_POINTS: usize = 8;
/// Most passes over the data for a scan's fit: far more than a usual one takes, so that a hopeless
/// scan does not delay the others.
pub const MOST_PASSES_OF_A_FIT: usize = 200;

// How a long scan is thinned: time against width. `cargo bench --bench scan` for the time; no bench
// measures what it costs, since the scans of the study are short.

/// Points per beamwidth that are kept: averaging over a fortieth of the beam widens it by a few
/// parts in ten thousand and loses as little.
pub const POINTS_A_BEAM: f64 = 40.0;
/// With at least this many rows in a point, rows far from the others are left out of its mean: the
/// median of five survives two bad ones.
pub const LEAST_ROWS_TO_JUDGE_ONE: usize = 5;
/// A row this many robust standard deviations away is far: 6 in ten million good rows lie beyond.
pub const SIGMAS_OF_A_FAR_ROW: f64 = 5.0;
