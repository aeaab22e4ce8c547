//! A pass over the rows of a model: block by block, and in parts that threads can share.

use super::block::Block;
use super::model::{Model, Stretch, Unevaluable};
use super::triangle::Triangle;
use super::tuned::{BLOCK_OBSERVATIONS, MOST_PARTS, OBSERVATIONS_OF_A_PART};
use rayon::prelude::*;
use std::fmt;
use std::ops::Range;

/// Why a pass over the data gave nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PassError {
    /// The model is not finite at these parameters.
    Unevaluable(Unevaluable),
    /// The budget of passes is spent.
    BudgetSpent,
}

impl fmt::Display for PassError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PassError::Unevaluable(inner) => inner.fmt(f),
            PassError::BudgetSpent => f.write_str("the budget of evaluations is spent"),
        }
    }
}

impl std::error::Error for PassError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            PassError::Unevaluable(inner) => Some(inner),
            PassError::BudgetSpent => None,
        }
    }
}

/// The rows of a model, each observation times the root of its weight.
pub(super) struct Rows<'a, M: Model + ?Sized> {
    pub model: &'a M,
    /// For each observation, zero or more.
    pub weights: Option<&'a [f64]>,
    /// Only these, ascending.
    pub chosen: Option<&'a [usize]>,
    /// What the model says of its stretches.
    pub stretches: Vec<Stretch>,
    /// Times this.
    pub data_factor: f64,
}

impl<'a, M: Model + ?Sized> Rows<'a, M> {
    /// All, as they are.
    pub fn of(model: &'a M) -> Rows<'a, M> {
        Rows {
            model,
            weights: None,
            chosen: None,
            stretches: worth_it(model.stretches(), model.parameters()),
            data_factor: 1.0,
        }
    }

    /// Number of observations to go through, those of weight zero included.
    pub fn items(&self) -> usize {
        (self.chosen).map_or_else(|| self.model.observations(), <[usize]>::len)
    }

    /// The reduction of all rows, below those that `first` holds already.
    pub fn reduce(
        &self,
        parameters: &[f64],
        first: Triangle,
        block: &mut Option<Block>,
    ) -> Result<Triangle, PassError> {
        let none = || Triangle::new(parameters.len());
        let add =
            |triangle: &mut Triangle, block: &mut Block| triangle.absorb(block).map_err(not_finite);
        let mut parts = self.in_parts(parameters, true, block, first, none, add)?;
        let others = parts.split_off(1);
        let mut whole = parts.swap_remove(0);
        for other in others {
            let room = block.get_or_insert_default();
            whole.absorb_triangle(&other, room);
        }
        Ok(whole)
    }

    /// The sum of the squares of all rows.
    pub fn sum_of_squares(
        &self,
        parameters: &[f64],
        block: &mut Option<Block>,
    ) -> Result<f64, PassError> {
        let add = |sum: &mut f64, block: &mut Block| {
            let squares = block.sum_of_squares();
            if !squares.is_finite() {
                return Err(not_finite(block.first_not_finite()));
            }
            *sum += squares;
            Ok(())
        };
        let parts = self.in_parts(parameters, false, block, 0.0, || 0.0, add)?;
        Ok(parts.iter().sum())
    }

    /// Sums up the rows in parts, the first of which begins with `first`.
    fn in_parts<T: Send>(
        &self,
        parameters: &[f64],
        derivatives: bool,
        block: &mut Option<Block>,
        first: T,
        none: impl Fn() -> T,
        add: impl Fn(&mut T, &mut Block) -> Result<(), PassError> + Sync,
    ) -> Result<Vec<T>, PassError> {
        let items = self.items();
        let size = (items.div_ceil(MOST_PARTS))
            .next_multiple_of(BLOCK_OBSERVATIONS)
            .max(OBSERVATIONS_OF_A_PART);
        if items <= size {
            let mut sum = first;
            self.pass(0..items, parameters, derivatives, block, |b| {
                add(&mut sum, b)
            })?;
            return Ok(vec![sum]);
        }
        let ranges = (0..items).step_by(size).map(|i| i..items.min(i + size));
        let begun = std::iter::once(first).chain(std::iter::repeat_with(none));
        let parts: Vec<(Range<usize>, T)> = ranges.zip(begun).collect();
        match self.model.shared() {
            Some(model) if rayon::current_num_threads() > 1 => {
                let rows = self.with_model(model);
                let one = |(range, mut sum): (Range<usize>, T)| {
                    rows.pass(range, parameters, derivatives, &mut None, |b| {
                        add(&mut sum, b)
                    })?;
                    Ok(sum)
                };
                let sums: Vec<Result<T, PassError>> = parts.into_par_iter().map(one).collect();
                sums.into_iter().collect()
            }
            _ => (parts.into_iter())
                .map(|(range, mut sum)| {
                    self.pass(range, parameters, derivatives, block, |b| add(&mut sum, b))?;
                    Ok(sum)
                })
                .collect(),
        }
    }

    fn with_model<N: Model + ?Sized>(&self, model: &'a N) -> Rows<'a, N> {
        Rows {
            model,
            weights: self.weights,
            chosen: self.chosen,
            stretches: self.stretches.clone(),
            data_factor: self.data_factor,
        }
    }

    /// Goes through some of the observations in order, block by block; `room` is used again
    /// if it is there.
    pub fn pass(
        &self,
        items: Range<usize>,
        parameters: &[f64],
        derivatives: bool,
        room: &mut Option<Block>,
        mut use_rows: impl FnMut(&mut Block) -> Result<(), PassError>,
    ) -> Result<(), PassError> {
        let most = items.len().min(BLOCK_OBSERVATIONS);
        let (n, most_rows) = (parameters.len(), self.model.most_rows());
        let block = room.get_or_insert_default();
        block.begin(n, derivatives, most * most_rows);
        // Items chosen from a list are not numbered as the observations are.
        if !derivatives || self.chosen.is_some() || self.stretches.is_empty() {
            return self.pass_over(items, parameters, block, &mut use_rows);
        }
        for stretch in &self.stretches {
            let Range { start, end } = stretch.observations;
            let own = items.start.max(start)..items.end.min(end);
            block.take_only(&stretch.parameters);
            self.pass_over(own, parameters, block, &mut use_rows)?;
        }
        Ok(())
    }

    /// The same over observations whose rows have the same columns.
    fn pass_over(
        &self,
        items: Range<usize>,
        parameters: &[f64],
        block: &mut Block,
        mut use_rows: impl FnMut(&mut Block) -> Result<(), PassError>,
    ) -> Result<(), PassError> {
        let mut finish = |block: &mut Block| {
            if self.weights.is_some() || self.data_factor != 1.0 {
                let weight = |i: usize| self.weights.map_or(1.0, |w| w[i].sqrt());
                block.scale_rows(|i| self.data_factor * weight(i));
            }
            use_rows(block)?;
            block.clear();
            Ok(())
        };
        if self.chosen.is_none() && self.weights.is_none() {
            for start in items.clone().step_by(BLOCK_OBSERVATIONS) {
                block.ask(start..items.end.min(start + BLOCK_OBSERVATIONS));
                (self.model.evaluate(parameters, block)).map_err(PassError::Unevaluable)?;
                finish(block)?;
            }
            return Ok(());
        }
        let mut wanted = items
            .map(|item| self.chosen.map_or(item, |chosen| chosen[item]))
            .filter(|i| self.weights.is_none_or(|w| w[*i] > 0.0));
        let mut list = [0; BLOCK_OBSERVATIONS];
        loop {
            let mut count = 0;
            for (place, i) in list.iter_mut().zip(wanted.by_ref()) {
                *place = i;
                count += 1;
            }
            if count == 0 {
                return Ok(());
            }
            self.evaluate(parameters, &list[..count], block)?;
            finish(block)?;
        }
    }

    /// Evaluates a list, ascending and not empty.
    fn evaluate(
        &self,
        parameters: &[f64],
        list: &[usize],
        block: &mut Block,
    ) -> Result<(), PassError> {
        let (first, last) = (list[0], list[list.len() - 1]);
        let done = if last - first + 1 == list.len() {
            block.ask(first..last + 1);
            self.model.evaluate(parameters, block)
        } else {
            self.model.evaluate_listed(parameters, list, block)
        };
        done.map_err(PassError::Unevaluable)
    }
}

/// The stretches, or none where reducing each by itself would take more multiplications than all
/// rows at once: m rows of n columns take m n^2, and k rows of their triangle come on top.
fn worth_it(stretches: Vec<Stretch>, parameters: usize) -> Vec<Stretch> {
    let square = parameters * parameters;
    let (mut apart, mut at_once) = (0, 0);
    for stretch in &stretches {
        let (rows, k) = (stretch.observations.len(), stretch.parameters.len());
        apart += rows * k * k + k * square;
        at_once += rows * square;
    }
    if apart < at_once {
        stretches
    } else {
        Vec::new()
    }
}

fn not_finite(observation: usize) -> PassError {
    PassError::Unevaluable(Unevaluable { observation })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Roundings of well-conditioned rows.
    const ROUNDING: f64 = 1e-13;

    /// Two stretches of 200 observations: a level and a slope each, and an amplitude of both; in
    /// whole stretches, or as if every row might depend on all.
    struct Levels {
        told: bool,
    }

    impl Model for Levels {
        fn parameters(&self) -> usize {
            5
        }
        fn observations(&self) -> usize {
            400
        }
        fn evaluate(&self, p: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
            for i in block.range() {
                let (half, x) = (i / 200, (i % 200) as f64 / 200.0);
                let mut row = [0.0; 5];
                row[2 * half] = 1.0;
                row[2 * half + 1] = x;
                row[4] = (7.0 * x).sin() * if half == 0 { 1.0 } else { 0.5 };
                let value: f64 = row.iter().zip(p).map(|(d, p)| d * p).sum();
                block.push(i, value - (i as f64).cos(), &row);
            }
            Ok(())
        }
        fn stretches(&self) -> Vec<Stretch> {
            let stretch = |half: usize| Stretch {
                observations: 200 * half..200 * (half + 1),
                parameters: vec![2 * half, 2 * half + 1, 4],
            };
            match self.told {
                true => vec![stretch(0), stretch(1)],
                false => Vec::new(),
            }
        }
    }

    fn reduced(told: bool, weights: Option<&[f64]>, first: &Triangle) -> Triangle {
        let model = Levels { told };
        let rows = Rows {
            weights,
            ..Rows::of(&model)
        };
        assert_eq!(rows.stretches.len(), if told { 2 } else { 0 });
        let p = [0.3, -0.2, 0.1, 0.5, 1.0];
        rows.reduce(&p, first.clone(), &mut None).unwrap()
    }

    #[test]
    fn stretches_give_the_same_triangle() {
        let weights: Vec<f64> = (0..400).map(|i| [1.0, 0.5, 0.0][i % 3]).collect();
        let mut prior = Triangle::new(5);
        prior.absorb_row(0.7, &[0.0, 0.0, 0.0, 2.0, 3.0]);
        for weights in [None, Some(&weights[..])] {
            for first in [&Triangle::new(5), &prior] {
                let [apart, at_once] = [true, false].map(|told| reduced(told, weights, first));
                let product = |t: &Triangle| t.r().tr_mul(t.r());
                let whole = product(&at_once);
                assert!((product(&apart) - &whole).norm() < ROUNDING * whole.norm());
                let gradient = at_once.gradient();
                assert!((apart.gradient() - &gradient).norm() < ROUNDING * gradient.norm());
                let close = |a: f64, b: f64| (a - b).abs() < ROUNDING * b;
                assert!(close(apart.squares(), at_once.squares()));
                assert!(close(apart.least_squares(), at_once.least_squares()));
                assert_eq!(apart.rows(), at_once.rows());
            }
        }
    }
}
