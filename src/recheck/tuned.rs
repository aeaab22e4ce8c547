//! Tuned constants of the recheck: they trade needless alarms for changes missed, and no source
//! gives their values.
//!
//! What the present values lead to is measured by
//! `cargo bench --bench recheck_study -- --mounts 400` on simulated mounts (docs/recheck.md).
//! Values that were tried and dropped are not recorded: to change one, run the bench before and
//! after and compare the tables with the page.

// Moved or true: needless alarms against changes missed. `cargo bench --bench recheck_study --
// --mounts 400`.

/// Probability that is certain enough to say "moved" or "true".
pub const CERTAIN: f64 = 0.95;
/// Probability that unmoved peaks are called moved: a quarter of what the study allows, because an
/// old calibration may lack a term or have a wrong noise estimate.
pub const FALSE_ALARM_OF_MOVED: f64 = 0.005;
/// How often a term that has not changed is reported as changed; for all changes in a history
/// together, the probability that one is called real by chance.
pub const FALSE_ALARM_OF_A_CHANGE: f64 = 0.02;
/// New peaks may be this many limits off, rms, with the error over the sky still within one: a
/// change cannot be more than this much larger at the peaks than elsewhere.
pub const LIMITS_THAT_PEAKS_MAY_BE_OFF: f64 = 2.0;

// Peaks that contradict each other. `cargo bench --bench recheck_study -- --mounts 400`.

/// Peaks contradict each other below this probability.
pub const CHANCE_OF_A_CONTRADICTION: f64 = 1e-3;
/// With four peaks or fewer, leaving out any one of them restores agreement too easily.
pub const LEAST_PEAKS_TO_BLAME_ONE: usize = 5;

// Time against accuracy. Chosen by hand; no bench.

/// Samples of the terms' present values: a probability of one half is then known to 0.8 %, one of
/// 1 % to 0.16 %.
pub const SAMPLES_OF_TERMS: usize = 4000;
