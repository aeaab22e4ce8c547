//! Good scans for the statistics of scatter and intervals.

use plumbeam::simulate::{ScanPlan, Signal, Way};
use rand_chacha::ChaCha8Rng;

use super::kinds::{any_way, strong};

/// Of any shape, signal to noise 10 to 100.
pub fn any(rng: &mut ChaCha8Rng) -> (ScanPlan, Signal) {
    (any_way(rng), strong(rng))
}

/// Of some shapes.
pub fn of(rng: &mut ChaCha8Rng, shape: fn(&Way) -> bool) -> (ScanPlan, Signal) {
    let mut plan = any_way(rng);
    while !shape(&plan.way) {
        plan = any_way(rng);
    }
    (plan, strong(rng))
}
