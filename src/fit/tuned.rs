//! Tuned constants of the engine: they trade breakdown, digits and time for each other, and no
//! source gives their values.
//!
//! The robust fits are studied by `cargo bench --bench breakdown` (docs/accuracy.md), the accuracy
//! of plain fits is held by the certified NIST regressions (`cargo test --test nist`), the speed is
//! measured by `cargo bench --bench fit` (docs/performance.md). Values that were tried and dropped
//! are not recorded, except where a reason tells of them: to change one, run what its heading names
//! before and after and compare.

// Which observations are rejected: good ones lost against bad ones kept. `cargo bench --bench
// breakdown`.

/// A good observation is rejected with this probability: 3.717 scales in two rows, 3.29 in one,
/// more with few degrees of freedom.
pub const REJECTION_TAIL: f64 = 1e-3;
/// With fewer observations bad ones cannot be told reliably: docs/accuracy.md has the
/// measured shares.
pub const LEAST_OBSERVATIONS: usize = 12;
/// The power of what an observation of that leverage leaves to the others, by which its probability
/// must be lower before it is rejected. Chosen on simulated sessions: it keeps what chance losses
/// cost below 5 % of the efficiency and loses no bad observation of more than a few standard
/// deviations more.
pub const POWER_OF_CAUTION: i32 = 3;
/// Rounds of rejecting and taking back, so that two sets that take turns come to an end.
pub const MOST_ROUNDS_OF_REJECTION: usize = 20;

// The search for what most observations agree on: breakdown against time. `cargo bench --bench
// breakdown`.

/// The search is meant to survive this share of bad observations. Beyond it two camps of equal size
/// come near.
pub const BAD_SHARE: f64 = 0.4;
/// The chance that no random subset is free of bad observations at that share: once in 10,000
/// searches.
pub const CHANCE_OF_NO_GOOD_SUBSET: f64 = 1e-4;
/// Never fewer subsets than this: Rousseeuw and Van Driessen 2006 use 500 without, 100 was measured
/// to be enough with the steps below.
pub const LEAST_SUBSETS: usize = 100;
/// And never more, so that the time is bounded.
pub const MOST_SUBSETS: usize = 2000;
/// A subset whose condition number is this many times that of all observations says little about
/// some parameter: it gets one observation more. Chosen by trial on simulated sessions; nothing
/// hangs on its exact value.
pub const CONDITION_OF_A_LEAN_SUBSET: f64 = 20.0;
/// Observations searched at most, a random sample of all; memory and time of the search do
/// not grow beyond. All are then judged by what the sample agreed on.
pub const MOST_SEARCHED: usize = 300;
/// Gauss-Newton steps from the start to a subset's own fit: mount problems are nearly linear near
/// the start.
pub const STEPS_TO_A_SUBSET: usize = 2;
/// Steps, at most, in which the best few are followed until nothing changes: of concentration, then
/// of reweighting.
pub const MOST_LATE_STEPS: usize = 30;
/// A refit, except the first, gains much less than this factor in the trimmed squares, so a
/// candidate this much worse is dropped.
pub const FACTOR_OF_THE_HOPELESS: f64 = 10.0;
/// Relative change of a bounded loss below which reweighting has converged: far below what tells
/// two fits apart.
pub const LOSS_SETTLED: f64 = 1e-9;
/// Reweighted steps with Cauchy's loss; it need not converge, only lead near.
pub const STEPS_WITH_A_SLOW_LOSS: usize = 15;
/// Beyond this many medians an offset counts as bad for the share that the search must survive; 1 %
/// of good ones lie beyond in two rows.
pub const MEDIANS_OF_A_MILD_CUT_OFF: f64 = 2.6;

// Reweighting: time against the last digits. Chosen by hand; no bench tried other values.
// `cargo bench --bench breakdown` shows the answers.

/// Rounds of reweighting, which converges slowly, each round by a constant factor.
pub const MOST_ROUNDS_OF_REWEIGHTING: usize = 60;
/// Weights that change by less than this have settled: far less than moves a parameter by a
/// hundredth of its sigma.
pub const WEIGHTS_SETTLED: f64 = 1e-6;
/// From this round on the scale stays, so that weights and scale cannot chase each other.
pub const ROUNDS_OF_SCALE: usize = 20;

// Plain fits: digits against passes. `cargo test --test nist` runs what chose them; no bench.

/// First radius over the scaled length of the start. One passed all of the NIST sets from
/// both starts; 100, as in MINPACK, did not.
pub const FIRST_RADIUS: f64 = 1.0;
/// Most Gauss-Newton steps after convergence. Where the residuals are large and the model
/// curved they gain half a digit each (ENSO): with five, 47 of the 54 NIST runs had eight
/// digits or more, with twenty all 54. Elsewhere one or two are enough and the gradient,
/// which must fall, stops them.
pub const MOST_POLISH_STEPS: usize = 20;
/// A polish step must bring the gradient below this fraction of what it was; if it does not, only
/// rounding is left.
pub const POLISH_GAIN: f64 = 0.7;
/// Default passes for each parameter and once more: the slowest of the NIST runs (Bennett5,
/// MGH17 from start 1) take about 1,000 in all, mount-like problems 5 to 20.
pub const PASSES_A_PARAMETER: usize = 500;
/// Most rounds of fitting when the size of the noise or the set of held directions depends on the
/// answer, so that two answers that take turns come to an end.
pub const MOST_ROUNDS_OF_NOISE: usize = 12;
/// Most fits with a changed set of held directions, so that two sets that take turns come to an
/// end.
pub const MOST_ROUNDS_OF_RANK: usize = 4;

// Speed alone, answers do not depend on it beyond rounding. `cargo bench --bench fit`.

/// Observations evaluated and reduced together. The rows of one block (at most this many
/// times [`Model::most_rows`](super::Model::most_rows)) stay in the fast cache with up to a dozen
/// parameters; larger blocks were measured to be slower, smaller ones to cost more in calls.
pub const BLOCK_OBSERVATIONS: usize = 128;
/// From this ratio of real to expected fall on, the next step is expected to be accepted as well,
/// and rows and derivatives are made in one pass instead of two. It only saves time.
pub const GAIN_TO_EXPECT_ANOTHER: f64 = 0.5;
/// Rows gathered before they are reduced, so that a block of usual width fits the fast cache.
pub const ROWS_GATHERED: usize = 64;
/// More observations than this are summed up in parts of no fewer, which threads can share.
/// The parts are the same whether they do or not, and so is the answer.
pub const OBSERVATIONS_OF_A_PART: usize = 64 * BLOCK_OBSERVATIONS;
/// No more parts than this, so that what is kept of each does not grow with the data.
pub const MOST_PARTS: usize = 64;
