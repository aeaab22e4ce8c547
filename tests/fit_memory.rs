//! Memory of a fit does not grow with the number of observations. Alone in its process, so
//! that nothing else counts.

use plumbeam::fit::{BLOCK_OBSERVATIONS, Block, Model, Options, Unevaluable, fit};
use std::cell::Cell;

/// A straight line in many observations that are nowhere stored, only computed; it notes the
/// longest range it was asked for.
struct Endless {
    observations: usize,
    longest: Cell<usize>,
}

impl Model for Endless {
    fn parameters(&self) -> usize {
        7
    }
    fn observations(&self) -> usize {
        self.observations
    }
    fn evaluate(&self, p: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        self.longest
            .set(self.longest.get().max(block.range().len()));
        for i in block.range() {
            let x = i as f64 / self.observations as f64;
            let mut slopes = [0.0; 7];
            let mut value = 0.0;
            for (j, slope) in slopes.iter_mut().enumerate() {
                let wave = ((j + 1) as f64 * x).cos();
                *slope = -wave;
                value += p[j] * wave;
            }
            // A deterministic stand-in for noise.
            let noise = (0.5 + i as f64 * 0.754_877_666_246_693).fract() - 0.5;
            block.push(i, x + noise - value, &slopes);
        }
        Ok(())
    }
}

/// The most memory this process has had resident, in bytes, where the system tells.
fn peak_memory() -> Option<usize> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kilobytes: usize = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(1024 * kilobytes)
}

/// The Jacobian alone of two million rows would be 112 million bytes; what the fit needs is below one.
const ROOM: usize = 4_000_000;

#[test]
fn two_million_observations_fit_in_the_room_of_a_block() {
    let model = Endless {
        observations: 2_000_000,
        longest: Cell::new(0),
    };
    let before = peak_memory();
    let solution = fit(&model, &[0.0; 7], &Options::default()).unwrap();
    assert!(solution.ending.converged());
    assert_eq!(solution.rows, 2_000_000);
    assert!(model.longest.get() <= BLOCK_OBSERVATIONS);
    if let (Some(before), Some(after)) = (before, peak_memory()) {
        assert!(after - before < ROOM, "{} bytes more", after - before);
    }
}
