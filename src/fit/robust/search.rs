//! The search for the fit that most observations agree on.

use super::loss::Loss;
use super::offsets::{Offset, median_scale, ratio};
use super::relax::{Relax, condition};
use super::reweight::correction;
use crate::fit::model::Model;
use crate::fit::tuned::{
    BAD_SHARE, CHANCE_OF_NO_GOOD_SUBSET, CONDITION_OF_A_LEAN_SUBSET, FACTOR_OF_THE_HOPELESS,
    LEAST_SUBSETS, LOSS_SETTLED, MEDIANS_OF_A_MILD_CUT_OFF, MOST_LATE_STEPS, MOST_SUBSETS,
    STEPS_TO_A_SUBSET, STEPS_WITH_A_SLOW_LOSS,
};
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// Rows that a subset has beyond the unknowns: the fewest that leave a residual in each coordinate.
const SPARE_ROWS: usize = 2;
/// Concentration steps for each subset: two, as Rousseeuw and Van Driessen 2006 propose.
const EARLY_STEPS: usize = 2;
/// How many of the best are followed to convergence: ten, as Rousseeuw and Van Driessen 2006
/// propose.
const FOLLOWED: usize = 10;

/// A fit found in the search and how good it is; less is better.
#[derive(Clone)]
struct Candidate {
    parameters: Vec<f64>,
    goodness: f64,
}

/// What the search found.
pub(crate) struct Found {
    /// Fits, the best first.
    pub candidates: Vec<Vec<f64>>,
    /// Standard deviation of one row, from the median of the best one's offsets, not yet
    /// corrected for the parameters fitted.
    pub scale: f64,
}

/// Least trimmed squares from random subsets, then the best of all fits met by Tukey's
/// bounded loss at the scale so found.
///
/// Rousseeuw and Van Driessen, Computing LTS regression for large data sets (2006), with
/// Gauss-Newton steps instead of linear fits. Trimmed squares alone ignore the worse
/// half of the observations, and with it those that stand alone in their part of the data;
/// the bounded loss at a fixed scale (the MM idea of Yohai 1987) counts every one of them.
pub(crate) fn search<M: Model + ?Sized>(
    relax: &Relax<'_, M>,
    start: &[f64],
    plain: &[f64],
    seed: u64,
) -> Option<Found> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let all = relax.offsets(start)?;
    let rows: usize = all.iter().map(|o| o.rows).sum();
    let rows_each = (rows as f64 / all.len().max(1) as f64).max(1.0);
    let needed = ((relax.unknowns() + SPARE_ROWS) as f64 / rows_each).ceil() as usize;
    if all.len() <= needed {
        return None;
    }
    let half = (all.len() + needed).div_ceil(2).min(all.len());
    let reference = condition(&relax.reduce(start, &relax.pool, None)?);

    let mut raw = Vec::new();
    let mut concentrated = Vec::new();
    let mut best = Best::default();
    let mut wanted = subsets(needed, BAD_SHARE);
    let mut drawn = 0;
    while drawn < wanted {
        drawn += 1;
        let Some(parameters) = subset_fit(relax, start, &all, needed, reference, &mut random)
        else {
            continue;
        };
        raw.push(parameters.clone());
        let mut candidate = Candidate {
            parameters,
            goodness: f64::INFINITY,
        };
        concentrate(relax, &mut candidate, half, EARLY_STEPS, best.hopeless());
        if best.add(candidate.goodness) && all.len() > FEW {
            let bad = bad_share(relax, &candidate.parameters).unwrap_or(BAD_SHARE);
            wanted = wanted.min(subsets(needed, bad));
        }
        concentrated.push(candidate);
    }
    best_first(&mut concentrated);
    for candidate in concentrated.iter_mut().take(FOLLOWED) {
        concentrate(relax, candidate, half, MOST_LATE_STEPS, f64::INFINITY);
    }
    best_first(&mut concentrated);
    let trimmed = concentrated.first()?;
    let raised = correction(rows, relax.unknowns());
    let scale = median_scale(&relax.offsets(&trimmed.parameters)?, &relax.medians);

    let judged = |parameters: Vec<f64>| {
        let goodness = bounded_loss(&relax.offsets(&parameters)?, scale);
        Some(Candidate {
            parameters,
            goodness,
        })
    };
    let met = raw
        .into_iter()
        .chain(concentrated.into_iter().map(|c| c.parameters));
    let mut candidates: Vec<Candidate> = met.filter_map(judged).collect();
    best_first(&mut candidates);
    candidates.truncate(FOLLOWED);
    // The fits of everything go along whatever they look like: all of the best may have left
    // out the same good observations that stand apart.
    let everything = [plain.to_vec()].into_iter();
    let everything = everything.chain(slow_growing(relax, plain, raised));
    candidates.extend(everything.filter_map(judged));
    for candidate in &mut candidates {
        descend(relax, candidate, scale);
    }
    best_first(&mut candidates);
    let best = candidates.first()?;
    let scale = median_scale(&relax.offsets(&best.parameters)?, &relax.medians);
    Some(Found {
        candidates: candidates.into_iter().map(|c| c.parameters).collect(),
        scale,
    })
}

/// The fit by Cauchy's loss, reweighted from the plain one: where few are bad but they stand
/// apart, subsets may all miss what this finds.
fn slow_growing<M: Model + ?Sized>(
    relax: &Relax<'_, M>,
    plain: &[f64],
    raised: f64,
) -> Option<Vec<f64>> {
    let mut parameters = plain.to_vec();
    for _ in 0..STEPS_WITH_A_SLOW_LOSS {
        let offsets = relax.offsets(&parameters)?;
        let scale = raised * median_scale(&offsets, &relax.medians);
        let weights = relax.weights(&offsets, scale, Loss::Cauchy);
        parameters = relax.step(&parameters, &relax.pool, Some(&weights))?;
    }
    Some(parameters)
}

fn best_first(candidates: &mut [Candidate]) {
    candidates.sort_by(|a, b| a.goodness.total_cmp(&b.goodness));
}

/// The share of observations beyond a mild cut-off from a fit: no less than the share of bad
/// ones if the fit is right, and close to a half if it is not.
fn bad_share<M: Model + ?Sized>(relax: &Relax<'_, M>, parameters: &[f64]) -> Option<f64> {
    let offsets = relax.offsets(parameters)?;
    let scale = median_scale(&offsets, &relax.medians);
    let far = |o: &&Offset| o.comparable(&relax.medians) > MEDIANS_OF_A_MILD_CUT_OFF * scale;
    let share = offsets.iter().filter(far).count() as f64 / offsets.len() as f64;
    Some(share.clamp(LEAST_BAD_SHARE, BAD_SHARE))
}

/// Among so few observations a wrong fit may look right, and subsets are cheap: all are drawn.
/// Common practice, no source.
const FEW: usize = 50;
/// However good a fit looks, this share of bad observations is provided for; common practice, no
/// source.
const LEAST_BAD_SHARE: f64 = 0.25;

/// How many subsets of `size` make it all but certain that one is free of bad observations,
/// when `bad` is their share.
fn subsets(size: usize, bad: f64) -> usize {
    let clean = (1.0 - bad).powi(size as i32);
    let wanted = (CHANCE_OF_NO_GOOD_SUBSET.ln() / (-clean).ln_1p()).ceil() as usize;
    wanted.clamp(LEAST_SUBSETS, MOST_SUBSETS)
}

/// The fit of a random subset, enlarged while it tells some parameter too badly.
fn subset_fit<M: Model + ?Sized>(
    relax: &Relax<'_, M>,
    start: &[f64],
    all: &[Offset],
    needed: usize,
    reference: f64,
    random: &mut ChaCha8Rng,
) -> Option<Vec<f64>> {
    let mut order: Vec<usize> = all.iter().map(|o| o.observation).collect();
    let most = (2 * needed).min(order.len());
    let (drawn, _) = order.partial_shuffle(random, most);
    let mut size = needed;
    loop {
        let mut chosen = drawn[..size].to_vec();
        chosen.sort_unstable();
        let triangle = relax.reduce(start, &chosen, None)?;
        if size < most && condition(&triangle) > CONDITION_OF_A_LEAN_SUBSET * reference {
            size += 1;
            continue;
        }
        let mut parameters = relax.step_of(start, &triangle)?;
        for _ in 1..STEPS_TO_A_SUBSET {
            parameters = relax.step(&parameters, &chosen, None)?;
        }
        return Some(parameters);
    }
}

/// The goodness of those that will be followed, as far as known.
#[derive(Default)]
struct Best {
    /// Ascending.
    goodness: Vec<f64>,
}

impl Best {
    /// Takes note of one more; true when it is the best so far.
    fn add(&mut self, goodness: f64) -> bool {
        let place = self.goodness.partition_point(|known| *known <= goodness);
        self.goodness.insert(place, goodness);
        self.goodness.truncate(FOLLOWED);
        place == 0 && goodness < f64::INFINITY
    }
    /// From here on a candidate will not be followed, whatever its next step gains.
    fn hopeless(&self) -> f64 {
        let last = self.goodness.get(FOLLOWED - 1);
        last.map_or(f64::INFINITY, |last| FACTOR_OF_THE_HOPELESS * last)
    }
}

/// Refits to the `half` with the smallest offsets, again and again; goodness is the sum of
/// their squares. Gives up after the first refit that leaves it above `hopeless`.
fn concentrate<M: Model + ?Sized>(
    relax: &Relax<'_, M>,
    candidate: &mut Candidate,
    half: usize,
    steps: usize,
    hopeless: f64,
) {
    let mut before: Vec<usize> = Vec::new();
    for step in 0..=steps {
        let Some(offsets) = relax.offsets(&candidate.parameters) else {
            candidate.goodness = f64::INFINITY;
            return;
        };
        let sized = |o: &Offset| (o.comparable_square(&relax.medians), o.observation);
        let mut sizes: Vec<(f64, usize)> = offsets.iter().map(sized).collect();
        sizes.select_nth_unstable_by(half - 1, |a, b| a.0.total_cmp(&b.0));
        let kept = &sizes[..half];
        candidate.goodness = kept.iter().map(|(square, _)| square).sum();
        if step == steps || (step > 0 && candidate.goodness > hopeless) {
            return;
        }
        let mut chosen: Vec<usize> = kept.iter().map(|(_, observation)| *observation).collect();
        chosen.sort_unstable();
        if chosen == before {
            return;
        }
        match relax.step(&candidate.parameters, &chosen, None) {
            Some(parameters) => candidate.parameters = parameters,
            None => return,
        }
        before = chosen;
    }
}

fn bounded_loss(offsets: &[Offset], scale: f64) -> f64 {
    let loss = |o: &Offset| Loss::Tukey.loss(ratio(o.radius(), scale), o.rows);
    offsets.iter().map(loss).sum()
}

/// Reweighting by Tukey's loss at a fixed scale until the loss settles.
fn descend<M: Model + ?Sized>(relax: &Relax<'_, M>, candidate: &mut Candidate, scale: f64) {
    for _ in 0..MOST_LATE_STEPS {
        let Some(offsets) = relax.offsets(&candidate.parameters) else {
            return;
        };
        let weights = relax.weights(&offsets, scale, Loss::Tukey);
        let Some(parameters) = relax.step(&candidate.parameters, &relax.pool, Some(&weights))
        else {
            return;
        };
        let Some(goodness) = relax.offsets(&parameters).map(|o| bounded_loss(&o, scale)) else {
            return;
        };
        if goodness >= candidate.goodness {
            return;
        }
        let settled = candidate.goodness - goodness <= LOSS_SETTLED * candidate.goodness;
        *candidate = Candidate {
            parameters,
            goodness,
        };
        if settled {
            return;
        }
    }
}
