//! The engine on invented problems: what must hold whatever is fitted, rank, statistics,
//! robustness, and an independent solver's answers.

mod independent;
mod passes;
mod properties;
mod rank;
mod robust;
#[path = "../support/sky.rs"]
mod sky;
mod statistics;

use plumbeam::fit::{Block, Model, Unevaluable};

/// Rows given as numbers: residual = y - x . p, all observations with as many rows as given.
pub struct Table {
    /// For each observation its rows: y and the regressors x.
    pub rows: Vec<Vec<(f64, Vec<f64>)>>,
}

impl Model for Table {
    fn parameters(&self) -> usize {
        self.rows[0][0].1.len()
    }
    fn observations(&self) -> usize {
        self.rows.len()
    }
    fn most_rows(&self) -> usize {
        self.rows.iter().map(Vec::len).max().unwrap_or(1)
    }
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        for i in block.range() {
            for (y, x) in &self.rows[i] {
                let value: f64 = x.iter().zip(parameters).map(|(a, b)| a * b).sum();
                let slopes: Vec<f64> = x.iter().map(|a| -a).collect();
                block.push(i, y - value, &slopes);
            }
        }
        Ok(())
    }
}

/// Largest difference relative to the larger of the two sizes.
pub fn difference(a: &[f64], b: &[f64]) -> f64 {
    let size = a.iter().chain(b).fold(0.0_f64, |m, x| m.max(x.abs()));
    a.iter()
        .zip(b)
        .map(|(x, y)| (x - y).abs() / size)
        .fold(0.0, f64::max)
}
