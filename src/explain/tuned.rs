//! Tuned constants of the diagnosis: they trade one thing for another, false alarms for detection
//! or time for thoroughness, and no source gives their values.
//!
//! What the present values lead to is measured by `cargo bench --bench faults_study` (false alarms,
//! detection, right names: docs/faults.md) and `cargo bench --bench study` (terms and bad peaks:
//! docs/accuracy.md), on simulated sessions. A heading names the bench of what stands under it, or
//! says that there is none. Values that were tried and dropped are not recorded: to change one, run
//! its bench before and after and compare the tables with the page.

// Causes: false alarms against detection. `cargo bench --bench faults_study -- healthy 2000` (also
// with `tails`, `coarse`, `unequal`) for the alarms, `-- faults 100` for what is still found.

/// The probability that anything is found wrong in a healthy session, shared among all causes
/// tested.
pub const FALSE_ALARM_OF_A_SESSION: f64 = 0.01;
/// Without the peak that contributes most, a cause must still be this improbable by chance, so that
/// no cause hangs on one peak.
pub const CHANCE_WITHOUT_THE_BEST_PEAK: f64 = 1e-3;
/// Peaks needed to separate a ripple of unknown rate from chance: with fewer peaks there are far
/// more rates to try than peaks. The bench has ripples of known teeth only, so that it measures the
/// alarms of this one.
pub const LEAST_PEAKS_FOR_A_RIPPLE: usize = 24;
/// The probability that a loose joint is found in a healthy session, and also that one resting
/// position is taken for two: a fifth of what all causes share, because each is tested separately.
pub const FALSE_ALARM_OF_A_TEST_OF_SCATTER: f64 = 0.002;
/// With fewer peaks neither the scatter of two halves nor two humps can be separated: two groups of
/// eight determine their standard deviations to a quarter each.
pub const LEAST_PEAKS_FOR_TWO_GROUPS: usize = 16;
/// Where the scatter of one half is larger than that of the other by less than this factor there is
/// nothing to tighten: coarse encoders have the same effect, because the azimuth steps shrink with
/// the cosine of the elevation. Chosen on healthy sessions with coarse encoders.
pub const LEAST_RATIO_OF_A_LOOSE_JOINT: f64 = 1.5;

// Bad peaks: good ones lost against bad ones kept. `cargo bench --bench study -- --sessions 2000`.

/// The probability that any peak of a healthy session is called bad.
pub const FALSE_ALARM_OF_BAD_PEAKS: f64 = 0.005;
/// At most this share of the peaks is called bad: near one half a fit of the bad ones is as good as
/// one of the others. Up to where a search holds, the terms given, `cargo bench --bench breakdown`
/// measures.
pub const MOST_BAD_PEAKS: f64 = 0.4;
/// A peak within 3.5 sigmas (the root of twelve) of a fit is never called bad, however large the
/// noise: a good peak goes beyond in one case in 400 (chi-square with two degrees of freedom).
pub const LEAST_COST_OF_A_BAD_PEAK: f64 = 12.0;

// What bad peaks are called: right names. `cargo bench --bench faults_study -- faults 100`.

/// One kind is named from this probability on: better than even odds.
pub const LEAST_TO_NAME_A_BAD_PEAK: f64 = 0.5;
/// Others are mentioned with it from this probability on: the usual five per cent.
pub const LEAST_TO_MENTION_BESIDE: f64 = 0.05;
/// A digit is tested when one step of its place is this many standard deviations, because otherwise
/// some digit fits anything.
pub const SIGMAS_OF_A_TESTED_DIGIT: f64 = 8.0;

// Whether a log holds together and an explanation explains it. Chosen by hand; no bench.

/// A session is inconsistent when this many emitters are missed at every one of their peaks: an
/// error of the whole log affects whole emitters.
pub const LEAST_EMITTERS_MISSED: usize = 2;
/// Also when a term is this many times the size that anybody would see.
pub const TIMES_GLARING_OF_A_TERM: f64 = 1.2;
/// An explanation is absurd if it needs this many causes and the peaks still scatter widely, or one
/// of the causes is [`TIMES_PLAUSIBLE_OF_A_CAUSE`] times what is plausible.
pub const CAUSES_THAT_MUST_FIT_CLOSELY: usize = 2;
/// This many times its plausible size: several large causes together can be bent to fit anything.
/// Five sigmas do not happen by chance.
pub const TIMES_PLAUSIBLE_OF_A_CAUSE: f64 = 5.0;
/// Also if it needs this many causes and still leaves many peaks out. Chosen by trial on simulated
/// sessions.
pub const CAUSES_THAT_MUST_FIT_MOST_PEAKS: usize = 4;
/// From this scaled condition number on the report names the terms that are only determined
/// together. Peaks all over the sky give 10 to 20 with the basic terms, a narrow arc 100.
pub const POOR_CONDITION: f64 = 50.0;

// The search for causes: time against thoroughness. Chosen by hand; no bench tried other values.
// `cargo bench --bench solve` times a solve, `--bench faults_study -- faults 100` shows what is
// missed.

/// How many of the best causes are fitted in full each round. Chosen by trial on simulated
/// sessions; a larger number only costs time.
pub const CAUSES_REFITTED: usize = 3;
/// How many of the best pairs of causes are tested. Chosen by trial on simulated sessions; a larger
/// number only costs time.
pub const MOST_PAIRS_TESTED: usize = 3;
/// After this many rounds an explanation that is still absurd is given up. Chosen by trial on
/// simulated sessions; it only saves time.
pub const ROUNDS_FOR_THE_ABSURD: usize = 4;
/// The same where another reading of the log makes sense at once: four rounds took five times as
/// long for logs in another time zone and ended the same.
pub const ROUNDS_FOR_THE_ABSURD_BESIDE_ANOTHER: usize = 1;
/// Rivals of a cause that are fitted in full: more explanations than anybody would check by hand.
pub const RIVALS_REFITTED: usize = 8;
/// How far typical peaks of an emitter must lie off, in squared sigmas, before another emitter is
/// tried in its place: the usual three sigmas.
pub const SQUARED_SIGMAS_TO_TRY_ANOTHER_EMITTER: f64 = 9.0;
/// When a larger share of peaks looks bad, a missing term may be the reason, and the search is made
/// again with more terms in. Chosen by trial on simulated sessions; it only saves time.
pub const BAD_SHARE_TO_SEARCH_AGAIN: f64 = 0.1;
/// With a larger share of bad peaks a fit is also begun from the robust one, with a loss that grows
/// slowly. Chosen by trial on simulated sessions; it only saves time.
pub const BAD_SHARE_TO_BEGIN_ROBUSTLY: f64 = 0.1;
/// Causes are searched on at most this many peaks, so that the time is bounded; a cause too small
/// for them is far below the noise of a peak.
pub const MOST_PEAKS_SEARCHED: usize = 2000;
/// Cross-validation visits every peak, so its time grows with them; with this many the p-value and
/// the criterion suffice.
pub const MOST_CROSS_VALIDATED: usize = 5_000;
/// A ripple is worth a full fit when the sum of squares falls by this many variances: chi-square
/// with two degrees of freedom exceeds it with a probability of 1e-6.
pub const VARIANCES_TO_FIT_A_RIPPLE: f64 = 27.6;
/// The search for a ripple's rate uses at most this many peaks, so that its time is bounded; more
/// hardly sharpen the choice.
pub const MOST_PEAKS_FOR_A_RIPPLE: usize = 1000;
/// Distances of two resting places, and sizes of the noise about them, that are tried as shares of
/// the scatter.
pub const SIZES_OF_TWO_PLACES: usize = 60;
/// Every fourth line of that grid is tried first: the likelihood changes little between.
pub const COARSE_LINES_OF_TWO_PLACES: usize = 4;
/// The best places of the coarse grid that are searched closely: one could be a side maximum.
pub const CLIMBS_OF_TWO_PLACES: usize = 3;

// The start and the search for misreadings: time against thoroughness. Chosen by hand; no bench
// tried other values. `cargo bench --bench faults_study -- faults 100` shows which are found.

/// Peaks, at most, on which misreadings are screened: enough for twice the terms of a mount, few
/// enough that hundreds of misreadings cost a fraction of a second.
pub const PEAKS_TO_SCREEN_MISREADINGS: usize = 30;
/// A misreading is fitted in full when -2 ln likelihood falls by this much, a likelihood ratio of
/// 400. Chosen by trial on simulated sessions; it only saves time.
pub const FALL_TO_FIT_A_MISREADING: f64 = 12.0;
/// At most this many of the best are fitted in full, so that the time is bounded.
pub const MOST_MISREADINGS_FITTED: usize = 4;
/// Scales are tried in steps of 2 %, within which a fit finds the scale by itself,
pub const STEP_OF_SCALES_TRIED: f64 = 1.02;
/// as far as a factor of four either way: beyond any mistake in a gear ratio that leaves the dish
/// usable.
pub const MOST_STEPS_OF_SCALES_TRIED: i32 = 70;
/// At most this many peaks are used to propose the zeros; with a third of them wild, the probability
/// that none is good is below 1e-19.
pub const MOST_PEAKS_ASKED_FOR_ZEROS: usize = 40;
/// The share of peaks that the zeros of the start must fit: a little less than two thirds, so that
/// a third may be wild.
pub const SHARE_THAT_THE_START_FITS: f64 = 0.65;
/// More peaks than this make the start no better: it must only bring the fit within reach.
pub const MOST_PEAKS_THE_START_IS_TRIED_ON: usize = 400;

// Where a fit ends: time against the last digits. Chosen by hand; no bench tried other values.
// `cargo bench --bench solve` times them.

/// Passes over the peaks in one fit. Five to ten are usual. A fit that creeps on for hundreds, for
/// example along two columns that nearly cancel, gains nothing more.
pub const MOST_PASSES_OF_A_FIT: usize = 60;
/// Rounds in which the good peaks of a joint fit must settle, so that two alternating sets come to
/// an end.
pub const MOST_ROUNDS_OF_GOOD_PEAKS: usize = 8;
/// The same for the linearised fits of the search.
pub const MOST_ROUNDS_OF_LINEARISED_PEAKS: usize = 12;
/// A smaller relative change of the weights is not worth another round: it moves a term by far less
/// than its sigma.
pub const WEIGHTS_SETTLED: f64 = 0.05;

// The processor: time alone, answers do not depend on it beyond rounding. Chosen by hand; no bench
// tried other values.
// `cargo bench --bench solve` times them.

/// Peaks worked out in one go, so that their rows fit the processor's cache; more are shared among
/// threads.
pub const PEAKS_AT_A_TIME: usize = 512;
/// Rows multiplied with each other at a time, so that they stay in the fast cache.
pub const ROWS_AT_A_TIME: usize = 256;
/// Fewer peaks take less time than handing them to threads would cost.
pub const PEAKS_WORTH_SHARING: usize = 10_000;
