//! Each observation's whole offset, and their scale.

use crate::fit::least_squares::LeastSquares;
use crate::fit::model::Model;
use crate::fit::pass::PassError;
use crate::fit::quantile;
use std::sync::LazyLock;

/// The length of one observation's residual vector.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Offset {
    pub observation: usize,
    pub rows: usize,
    /// Sum of the squares of its rows.
    pub square: f64,
}

impl Offset {
    pub fn radius(&self) -> f64 {
        self.square.sqrt()
    }
    /// The radius over the median radius of unit normal noise in as many rows, so that
    /// observations with different numbers of rows can be compared.
    pub fn comparable(&self, medians: &Medians) -> f64 {
        self.radius() / medians.of(self.rows)
    }
    /// Its square.
    pub fn comparable_square(&self, medians: &Medians) -> f64 {
        self.square / medians.of(self.rows).powi(2)
    }
}

/// The median radius of unit normal noise: 0.6745 in one row, 1.1774 in two. Worked out once.
#[derive(Clone, Copy)]
pub(crate) struct Medians(&'static [f64; MOST_TABULATED]);

/// Observations of more rows are taken to have this many: no measurement of a direction has as
/// many.
const MOST_TABULATED: usize = 8;

impl Medians {
    pub fn new() -> Medians {
        static VALUES: LazyLock<[f64; MOST_TABULATED]> = LazyLock::new(|| {
            let median = |i| quantile::chi_square_tail(0.5, (i + 1) as f64).sqrt();
            std::array::from_fn(median)
        });
        Medians(&VALUES)
    }
    pub fn of(&self, rows: usize) -> f64 {
        self.0[rows.clamp(1, MOST_TABULATED) - 1]
    }
}

/// The offsets of all observations in `problem` that have rows, in order.
pub(crate) fn offsets<M: Model + ?Sized>(
    problem: &LeastSquares<'_, M>,
    parameters: &[f64],
) -> Result<Vec<Offset>, PassError> {
    let mut offsets: Vec<Offset> = Vec::with_capacity(problem.items());
    problem.pass(parameters, false, |block| {
        for (observation, residual) in block.observation_of_rows().iter().zip(block.residuals()) {
            match offsets.last_mut() {
                Some(last) if last.observation == *observation => {
                    last.rows += 1;
                    last.square += residual * residual;
                }
                _ => offsets.push(Offset {
                    observation: *observation,
                    rows: 1,
                    square: residual * residual,
                }),
            }
        }
    })?;
    Ok(offsets)
}

/// The median absolute deviation of the offsets, in standard deviations of one row.
pub(crate) fn median_scale(offsets: &[Offset], medians: &Medians) -> f64 {
    let mut all: Vec<f64> = offsets.iter().map(|o| o.comparable(medians)).collect();
    median(&mut all)
}

/// The median; zero of nothing.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    let n = values.len();
    if n == 0 {
        return 0.0;
    }
    let (below, middle, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    let middle = *middle;
    if n % 2 == 1 {
        middle
    } else {
        let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        0.5 * (lower + middle)
    }
}

/// Offset over scale; with a scale of zero (most observations fitted exactly) an offset of
/// zero is nothing and any other is far away.
pub(crate) fn ratio(radius: f64, scale: f64) -> f64 {
    if radius == 0.0 { 0.0 } else { radius / scale }
}
