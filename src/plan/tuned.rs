//! Tuned constants of the search for a plan: they bound its time. Chosen by hand; no bench. To
//! change one, compare the errors that plans predict (`plan` on the demo's session) and the time
//! they take, before and after.

// The exchange of peaks: time against the plan's error. Chosen by hand; no bench.

/// Exchanges go on until a whole round improves less than this, far less than the digits printed.
pub const GAIN_OF_A_LAST_ROUND: f64 = 1e-6;
/// Rounds of exchange, so that the search ends; each only ever improves the plan.
pub const MOST_ROUNDS_OF_EXCHANGE: usize = 30;
/// Approximate number of slots over all searches together, so that the time is bounded: with few
/// slots there are many starts.
pub const SLOTS_OF_ALL_SEARCHES: usize = 400;

// The day ahead of a single emitter: time against the best hours found. Chosen by hand; no bench.

/// A span has at most this many slots for a step, so that the search stays within seconds.
pub const MOST_SLOTS_FOR_A_STEP: f64 = 5000.0;
/// Steps in which the day ahead is searched: twenty minutes, in which the sky turns by 5 degrees.
pub const STEP_OF_THE_DAY_AHEAD_S: f64 = 1200.0;
/// Emitters considered for the next to rise, so that the time is bounded; three of them are named.
pub const MOST_EMITTERS_LOOKED_AT: usize = 40;
