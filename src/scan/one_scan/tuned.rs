//! Tuned constants of a scan's reduction by itself: they trade good scans refused for wrong peaks
//! accepted, or time for peaks missed, and no source gives their values.
//!
//! What the present values lead to is measured by `cargo bench --bench scan_study -- --scans 4000`
//! on simulated nights (docs/scans.md; with `--why`, what was judged wrong), and the time by
//! `cargo bench --bench scan` (docs/performance.md). Values that were tried and dropped are not
//! recorded: to change one, run the bench of its heading before and after and compare the tables
//! with the page.

// What a scan is trusted for: good scans refused against wrong peaks accepted.
// `cargo bench --bench scan_study -- --scans 4000`.

/// A peak less significant than this may be chance: among the places and widths tried, one scan in
/// some thousands of pure noise shows as much.
pub const SIGMAS_OF_A_SIGNAL: f64 = 5.0;
/// A place that is known no better than this, in beamwidths, was missed: the beam may have passed
/// it on either side.
pub const UNCERTAINTY_OF_A_MISS: f64 = 0.7;
/// The peak must lie at least this far inside the scan, in beamwidths, to have two flanks: half way
/// down to half power.
pub const INSIDE_FOR_TWO_FLANKS: f64 = 0.25;
/// Closer to the end than this the result leans on the beam's assumed shape, because one flank does
/// not reach half power.
pub const NEAR_THE_END: f64 = 0.4;
/// A baseline that moves by more than this many heights of the signal is remarked on: the signal is
/// then the smaller of the two.
pub const HEIGHTS_OF_A_DRIFT: f64 = 1.0;
/// What is left over smoothly counts as another shape from this part of the height on. A real dish,
/// whose rim is lit less than its middle, differs by half as much.
pub const LEFT_OVER_OF_ANOTHER_SHAPE: f64 = 0.03;
/// And only when the residuals correlate this much with their neighbours. Chosen by trial on
/// simulated scans.
pub const CORRELATION_OF_ANOTHER_SHAPE: f64 = 0.6;
/// Samples left out in a row are a second signal when their excess is at least this part of the
/// height: a smaller one hardly moves the peak.
pub const HEIGHT_OF_A_SECOND_SIGNAL: f64 = 0.1;
/// More bad points than this share are not outliers: near one half a robust fit may follow them.
pub const MOST_BAD_POINTS: f64 = 0.35;

// What is allowed for: a curved baseline, noise with a memory, a receiver at its limit, outliers.
// `cargo bench --bench scan_study -- --scans 4000`.

/// A curvature of the baseline is admitted when chance would make it look as large this often.
pub const CHANCE_OF_A_CURVATURE: f64 = 1e-3;
/// Points at the very top are compared within this many standard deviations of a point: 1 % of good
/// points on a true top lie beyond.
pub const SIGMAS_OF_EQUAL_TOPS: f64 = 2.5;
/// A beam fitted without the points of a flat top must stand above them by this many standard
/// deviations of a point in the mean. With the next chosen by trial on simulated scans.
pub const SIGMAS_ABOVE_A_FLAT_TOP: f64 = 2.0;
/// And by this many standard deviations of that mean.
pub const SIGMAS_OF_MEAN_ABOVE_A_FLAT_TOP: f64 = 7.0;
/// Standard deviations of a point by which the model must lie below the receiver's limit for a
/// point to count as unaffected: 7 % of them are above by chance, and lose nothing but a point.
pub const SIGMAS_BELOW_THE_LIMIT: f64 = 1.5;
/// A correlation of neighbours above this significance, in sigmas, is no chance and is reported: 7
/// in a million good scans.
pub const SIGMAS_OF_REPORTED_MEMORY: f64 = 4.5;
/// From here on it is allowed for: in one of a hundred scans without correlation needlessly.
pub const SIGMAS_OF_ALLOWED_MEMORY: f64 = 2.3;
/// A point that stands out by more standard deviations is left out: 7 in a million good ones.
pub const SIGMAS_OF_AN_OUTLIER: f64 = 4.5;
/// No sample weighs more than one of this fraction of the mean power, so that a modelled power near
/// nothing does not outweigh all others.
pub const LEAST_POWER_FOR_A_WEIGHT: f64 = 0.01;

// What the track of a scan is: cuts, crosses or maps.
// `cargo bench --bench scan_study -- --scans 4000`.

/// How far a track may stray from a straight line, in beamwidths: more than encoders jitter, less
/// than rows of a raster are apart.
pub const STRAY_OF_A_STRAIGHT_TRACK: f64 = 0.05;
/// A pass is at least this long, in beamwidths; a shorter one does not reach both half-power
/// points.
pub const SHORTEST_PASS: f64 = 0.6;
/// Rows of a raster are at least this far apart, in beamwidths: more than
/// [`STRAY_OF_A_STRAIGHT_TRACK`], or they are one row driven twice.
pub const LEAST_BETWEEN_ROWS: f64 = 0.08;
/// And cover together at least this much, in beamwidths, or the scan measures one axis only.
pub const LEAST_HEIGHT_OF_A_RASTER: f64 = 0.4;
/// Speeds within this factor count as one: hand-driven and slow motors keep no better speed. Less
/// than the factor that tells lag from backlash (1.3).
pub const FACTOR_OF_THE_SAME_SPEED: f64 = 1.25;

// What stands, steps or is missing: chosen by hand; no bench has such scans.

/// A track that covers less than this, in beamwidths, in both directions stands still: it shows no
/// flank.
pub const MOST_OF_A_STANDING_TRACK: f64 = 0.3;
/// An encoder that moves less than this part of a pass's motion stands still, and the sky moves
/// past the beam.
pub const MOST_OF_A_STANDING_ENCODER: f64 = 0.3;
/// A step from one stop to the next takes so many times as long as one from a sample to the next.
pub const TIMES_OF_A_STEP_BETWEEN_STOPS: f64 = 2.5;
/// So much of a way by steps is gone between two stops.
pub const WAY_BETWEEN_STOPS: f64 = 0.9;
/// An encoder keeps one reading for at least this many samples before it is called stuck, so that a
/// turn or a pause is not.
pub const LEAST_SAMPLES_OF_A_STUCK_ENCODER: usize = 5;
/// A stuck encoder makes up at once for what it missed, so its next step is longer than this many
/// usual ones; a mount that paused goes on by usual steps.
pub const CATCH_UP_OF_A_STUCK_ENCODER: f64 = 3.0;
/// A gap between samples is also this many times as long as usual, so that a coarse but even scan
/// has none.
pub const USUAL_STEPS_OF_A_GAP: f64 = 4.0;

// Where a fit begins and ends: time against peaks missed.
// `cargo bench --bench scan_study -- --scans 4000` shows what is missed, `cargo bench --bench scan`
// the time.

/// Steps between the places tried, in widths of the beam tried: a fit begun an eighth of a width
/// off finds the peak.
pub const STEP_BETWEEN_PLACES: f64 = 0.25;
/// Every other place is tried first, and the one between two where either explains this part of the
/// best: a beam a step off the place of one explains five sixths of what it would upon it.
pub const SHARE_BESIDE_A_BEAM: f64 = 0.5;
/// Widths tried, over that expected: also a sidelobe's, half as wide as the main lobe.
pub const WIDTHS_TRIED: [f64; 4] = [1.0, 0.5, 0.72, 1.5];
/// Places outside the scan are tried up to this many widths from its end: as far as the flank
/// shows.
pub const PLACES_OUTSIDE: f64 = 0.5;
/// In a map, steps are coarser, since their number grows with the square,
pub const STEP_BETWEEN_PLACES_OF_A_MAP: f64 = 0.3;
/// and so are the widths tried.
pub const WIDTHS_TRIED_IN_A_MAP: [f64; 3] = [1.0, 0.6, 1.6];
/// A template of which less than this share is left cannot be told from the baseline.
pub const SHARE_OF_A_LOST_TEMPLATE: f64 = 1e-3;
/// Beamwidths from an obvious beam within which other widths are tried: both sidelobes of a main
/// lobe taken for one, or a main lobe beside a sidelobe, lie within.
pub const NEAR_AN_OBVIOUS_BEAM: f64 = 2.0;
/// A beam of the expected width with this significance, in sigmas, is there: a map needs no search
/// for other widths, since the fit finds its width, and a cut none elsewhere.
pub const SIGMAS_OF_AN_OBVIOUS_BEAM: f64 = 15.0;
/// This many places of a cut are tried at most: a cut of a hundred beamwidths.
pub const MOST_PLACES_OF_A_CUT: f64 = 1000.0;
/// Places tried along each side of a map, so that the time is bounded; at the usual step that is 18
/// beamwidths.
pub const MOST_PLACES_ALONG_A_MAP: f64 = 60.0;
/// Points of a map used for the start, so that its time is bounded: the fit then uses all.
pub const MOST_POINTS_TO_START_A_MAP: usize = 400;
/// With more passes than this they share heights and slopes, so that the number of parameters stays
/// small.
pub const MOST_PASSES_WITH_OWN_HEIGHTS: usize = 8;
/// Weights need the power and the power weights; three rounds are enough, since a weight changes
/// little when the beam does.
pub const ROUNDS_OF_WEIGHTS: usize = 3;
/// Rounds in which the set of good points must settle, so that two sets that take turns come to an
/// end.
pub const MOST_ROUNDS_OF_GOOD_POINTS: usize = 8;
/// Passes over the data that a scan's fit may take: far more than a usual one takes, so that a
/// hopeless scan does not hold up a night.
pub const MOST_PASSES_OF_A_FIT: usize = 200;

// How a long scan is thinned: time against width. `cargo bench --bench scan` for the time; no bench
// measures what it costs, since the scans of the study are short.

/// Points for each beamwidth that are kept: averaging over a fortieth of the beam widens it by
/// a few parts in ten thousand and loses as little.
pub const POINTS_A_BEAM: f64 = 40.0;
/// From this many rows a point on, rows far from the others are left out of its mean: the median of
/// five survives two bad ones.
pub const LEAST_ROWS_TO_JUDGE_ONE: usize = 5;
/// This many robust standard deviations are far: 6 in ten million good rows lie beyond.
pub const SIGMAS_OF_A_FAR_ROW: f64 = 5.0;
