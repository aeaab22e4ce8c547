//! The choice among candidates: optimum experimental design, by coordinate exchange.
//!
//! The quantity to minimise is the pointing error over the whole reachable sky (the mean prediction
//! variance: the I- or V-criterion of Atkinson, Donev and Tobias, Optimum Experimental Designs,
//! with SAS, 2007, sections 10.6 and 12; from memory).

use nalgebra::DMatrix;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha12Rng;
use rayon::prelude::*;

use super::effect::{rows, sides, weights};
use super::tuned::{GAIN_OF_A_LAST_ROUND, MOST_ROUNDS_OF_EXCHANGE, SLOTS_OF_ALL_SEARCHES};
use super::{Candidate, Known, Step};
use crate::angle::{Angle, Direction, EncoderReading};
use crate::explain::{even_sky, rows_at};
use crate::mount::{ApproachSigns, MountModel, Term, Wrap};
use crate::number::two_digits;
use crate::solve::words::list;
use crate::station::{Mount, Station};

/// Error allowed for an emitter's computed position, or for reception by a reflection, in standard
/// deviations of a peak; because of it, peaks are spread over several emitters. Common practice, no
/// source.
const PLACE_SHARE: f64 = 1.0;
/// How much of the pointing error is given up to avoid a move of half a turn at every step; common
/// practice, no source.
const PRICE_OF_WAYS: f64 = 0.1;
/// A share of the prior that keeps what the peaks do not determine finite, and has no other effect.
const FAINT: f64 = 1e-4;

/// The candidates, in the form that the search needs.
pub struct Design<'a> {
    candidates: &'a [Candidate],
    model: MountModel,
    terms: &'a [Term],
    sigma: Angle,
    /// Derivatives of each choice, in units of a peak's sigma, 2 by n.
    choices: Vec<Choice>,
    /// Choices by slot.
    by_slot: Vec<Vec<usize>>,
    /// Inverse of the prior covariance.
    prior: DMatrix<f64>,
    /// Mean of J'J over the reachable sky, n by n.
    sky: DMatrix<f64>,
    mount: Mount,
}

/// A candidate with the side of arrival.
struct Choice {
    candidate: usize,
    emitter: usize,
    approach: ApproachSigns,
    rows: DMatrix<f64>,
}

/// Sums over the chosen peaks of one emitter.
struct Sums {
    emitter: usize,
    squares: DMatrix<f64>,
    rows: DMatrix<f64>,
    count: f64,
}

impl Sums {
    /// The information about the emitter's position, in units of that of a peak.
    fn weight(&self) -> f64 {
        self.count + PLACE_SHARE.powi(-2)
    }
}

/// The price factor for moves of this many half turns in total, from each chosen peak to the next.
fn price_of(ways: f64, chosen: usize) -> f64 {
    1.0 + PRICE_OF_WAYS * ways / chosen.saturating_sub(1).max(1) as f64
}

/// Some choices, prepared for trials of one more: a trial then costs a few products of two rows,
/// however many emitters there are.
struct Beside<'d> {
    design: &'d Design<'d>,
    others: &'d [usize],
    ways: f64,
    sums: Vec<Sums>,
    /// Covariance from the others, that times the sky's weights times itself, and the squared error
    /// left; `None` when it cannot be computed.
    known: Option<(DMatrix<f64>, DMatrix<f64>, f64)>,
}

impl<'d> Beside<'d> {
    fn of(design: &'d Design<'d>, others: &'d [usize]) -> Beside<'d> {
        let sums = design.sums(others);
        let known = design.information(&sums).cholesky().map(|factor| {
            let covariance = factor.inverse();
            let weighted = &covariance * &design.sky * &covariance;
            let squared = (&design.sky * &covariance).trace();
            (covariance, weighted, squared)
        });
        Beside {
            ways: design.ways(others),
            design,
            others,
            sums,
            known,
        }
    }

    /// The price of the others with one more choice.
    fn price_with(&self, choice: usize) -> f64 {
        let place = self.others.partition_point(|o| *o < choice);
        let before = place.checked_sub(1).map(|i| self.others[i]);
        let after = self.others.get(place).copied();
        let way = |from: Option<usize>, to: Option<usize>| {
            from.zip(to)
                .map_or(0.0, |(from, to)| self.design.way(from, to))
        };
        let here = Some(choice);
        let ways = self.ways + way(before, here) + way(here, after) - way(before, after);
        self.error_with(choice) * price_of(ways, self.others.len() + 1)
    }

    /// Remaining error over the sky, rms, radians, with one more choice.
    ///
    /// The new rows R of an emitter whose rows so far add up to r with the weight a, its position
    /// eliminated, add w D'D to the information, with D = R - r / a and w = a / (a + 1). With the
    /// covariance P and the sky's weights S the squared error tr(S P) then falls by tr((I / w + D P
    /// D')^-1 D P S P D') (the matrix inversion lemma).
    fn error_with(&self, choice: usize) -> f64 {
        let Some((covariance, weighted, squared)) = &self.known else {
            return f64::INFINITY;
        };
        let choice = &self.design.choices[choice];
        let so_far = self.sums.iter().find(|s| s.emitter == choice.emitter);
        let (rows, weight) = match so_far {
            Some(sum) => (&choice.rows - &sum.rows / sum.weight(), sum.weight()),
            None => (choice.rows.clone(), PLACE_SHARE.powi(-2)),
        };
        let columns = rows.transpose();
        let inner =
            &rows * covariance * &columns + DMatrix::identity(2, 2) * ((weight + 1.0) / weight);
        let falls = match inner.try_inverse() {
            Some(inverse) => (inverse * (&rows * weighted * &columns)).trace(),
            None => 0.0,
        };
        (squared - falls).max(0.0).sqrt()
    }
}

impl<'a> Design<'a> {
    pub fn new(
        station: &Station,
        known: &Known,
        terms: &'a [Term],
        sigma: Angle,
        candidates: &'a [Candidate],
    ) -> Design<'a> {
        let model = known.model(station);
        let slots = candidates.iter().map(|c| c.slot + 1).max().unwrap_or(0);
        let mut emitters: Vec<_> = candidates.iter().map(|c| c.emitter).collect();
        emitters.sort();
        emitters.dedup();
        let mut choices = Vec::new();
        let mut by_slot = vec![Vec::new(); slots];
        for (index, candidate) in candidates.iter().enumerate() {
            for approach in sides(terms) {
                let Some(rows) = rows(&model, terms, candidate, approach) else {
                    continue;
                };
                by_slot[candidate.slot].push(choices.len());
                choices.push(Choice {
                    candidate: index,
                    emitter: emitters.binary_search(&candidate.emitter).unwrap_or(0),
                    approach,
                    rows: rows / sigma.radians(),
                });
            }
        }
        let prior = known.covariance(terms, station.dish.beamwidth);
        let n = terms.len();
        Design {
            candidates,
            terms,
            sigma,
            choices,
            by_slot,
            prior: prior
                .try_inverse()
                .unwrap_or_else(|| DMatrix::identity(n, n)),
            sky: weights(station, &model, terms),
            mount: station.mount.clone(),
            model,
        }
    }

    /// The choice of the first candidate of a slot with that side of arrival.
    pub fn choice(&self, slot: usize, approach: ApproachSigns) -> Option<usize> {
        let of_slot = self.by_slot.get(slot)?;
        of_slot
            .iter()
            .copied()
            .find(|c| self.choices[*c].approach == approach)
    }

    /// A choice of a slot; increasing `k` steps through the other sides of arrival.
    pub fn side(&self, slot: usize, k: usize) -> Option<usize> {
        let of_slot = self.by_slot.get(slot)?;
        of_slot.get(k % of_slot.len().max(1)).copied()
    }

    /// Returns one choice per slot, where the slot has any: the best of several searches, which
    /// fill the slots in different orders.
    pub fn search(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.by_slot.len())
            .filter(|s| !self.by_slot[*s].is_empty())
            .collect();
        // Slots with the fewest choices come first: the others can make up for them.
        order.sort_by_key(|s| (self.by_slot[*s].len(), *s));
        let starts = (SLOTS_OF_ALL_SEARCHES / order.len().max(1)).max(1);
        (0..starts)
            .into_par_iter()
            .map(|start| {
                let mut order = order.clone();
                if start > 0 {
                    order.shuffle(&mut ChaCha12Rng::seed_from_u64(start as u64));
                }
                let chosen = self.search_from(&order);
                (self.price(&chosen), start, chosen)
            })
            // Of equal results the first, however the work was divided.
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            .map_or_else(Vec::new, |(_, _, chosen)| chosen)
    }

    /// Fills the slots in some order, and then exchanges while that helps.
    fn search_from(&self, order: &[usize]) -> Vec<usize> {
        let mut chosen: Vec<usize> = Vec::new();
        for slot in order {
            chosen.extend(self.best_of(&chosen, *slot));
            chosen.sort_unstable();
        }
        let mut price = self.price(&chosen);
        for _ in 0..MOST_ROUNDS_OF_EXCHANGE {
            for place in 0..chosen.len() {
                let taken = chosen.remove(place);
                let slot = self.candidates[self.choices[taken].candidate].slot;
                let best = self.best_of(&chosen, slot).unwrap_or(taken);
                chosen.insert(place, best);
            }
            let now = self.price(&chosen);
            if now > price * (1.0 - GAIN_OF_A_LAST_ROUND) {
                break;
            }
            price = now;
        }
        chosen
    }

    /// The choice of a slot that minimises the price together with `others` (ascending).
    fn best_of(&self, others: &[usize], slot: usize) -> Option<usize> {
        let beside = Beside::of(self, others);
        (self.by_slot[slot].iter().copied())
            .map(|choice| (beside.price_with(choice), choice))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, choice)| choice)
    }

    /// The objective of the search: the remaining error times the price of the moves.
    pub(super) fn price(&self, chosen: &[usize]) -> f64 {
        self.error_of(&self.sums(chosen)) * self.price_of_ways(chosen)
    }

    /// Sums for the emitters among the chosen.
    fn sums(&self, chosen: &[usize]) -> Vec<Sums> {
        let n = self.terms.len();
        let mut sums: Vec<Sums> = Vec::new();
        for choice in chosen.iter().map(|c| &self.choices[*c]) {
            let place = match sums.iter().position(|s| s.emitter == choice.emitter) {
                Some(place) => place,
                None => {
                    sums.push(Sums {
                        emitter: choice.emitter,
                        squares: DMatrix::zeros(n, n),
                        rows: DMatrix::zeros(2, n),
                        count: 0.0,
                    });
                    sums.len() - 1
                }
            };
            let sum = &mut sums[place];
            sum.squares += choice.rows.transpose() * &choice.rows;
            sum.rows += &choice.rows;
            sum.count += 1.0;
        }
        sums
    }

    /// Information about the terms when each emitter may be off its position: the position is a
    /// parameter of its own, and is eliminated.
    fn information(&self, sums: &[Sums]) -> DMatrix<f64> {
        let mut information = self.prior.clone();
        for sum in sums {
            information += &sum.squares;
            information -= sum.rows.transpose() * &sum.rows / sum.weight();
        }
        information
    }

    /// Remaining error over the sky, rms, radians.
    fn error_of(&self, sums: &[Sums]) -> f64 {
        match self.information(sums).cholesky() {
            Some(factor) => (&self.sky * factor.inverse()).trace().max(0.0).sqrt(),
            None => f64::INFINITY,
        }
    }

    /// Length of the move from one choice to the next, in half turns.
    fn way(&self, from: usize, to: usize) -> f64 {
        let at = |choice: usize| &self.candidates[self.choices[choice].candidate].direction;
        let (from, to) = (at(from), at(to));
        let azimuth = (to.azimuth() - from.azimuth()).wrapped_signed().abs();
        azimuth.max((to.elevation() - from.elevation()).abs()) / Angle::HALF_TURN
    }

    fn ways(&self, chosen: &[usize]) -> f64 {
        (chosen.windows(2)).map(|p| self.way(p[0], p[1])).sum()
    }

    fn price_of_ways(&self, chosen: &[usize]) -> f64 {
        price_of(self.ways(chosen), chosen.len())
    }

    /// Covariance before any peak.
    pub fn prior_covariance(&self) -> DMatrix<f64> {
        self.covariance_of(&[])
    }

    /// Covariance of the terms after some peaks, with the emitters at their computed positions.
    pub fn covariance_of(&self, chosen: &[usize]) -> DMatrix<f64> {
        self.covariance_from(&self.prior, chosen)
    }

    /// The same from the peaks alone: as [`Design::covariance_of`] when there is an earlier
    /// calibration, and otherwise without the prior from visual inspection, which a solve does not
    /// have either.
    pub fn covariance_by_peaks(&self, known: &Known, chosen: &[usize]) -> DMatrix<f64> {
        match known.is_calibrated() {
            true => self.covariance_of(chosen),
            false => self.covariance_from(&(&self.prior * FAINT), chosen),
        }
    }

    fn covariance_from(&self, prior: &DMatrix<f64>, chosen: &[usize]) -> DMatrix<f64> {
        let mut information = prior.clone();
        for choice in chosen {
            let rows = &self.choices[*choice].rows;
            information += rows.transpose() * rows;
        }
        let n = self.terms.len();
        information
            .try_inverse()
            .unwrap_or_else(|| DMatrix::zeros(n, n))
    }

    /// Pointing error over the reachable sky, rms.
    pub fn error(&self, covariance: &DMatrix<f64>) -> Angle {
        Angle::from_radians((&self.sky * covariance).trace().max(0.0).sqrt())
    }

    /// The chosen peaks as steps.
    pub fn steps(&self, chosen: &[usize]) -> Vec<Step> {
        let whole = self.covariance_of(chosen);
        let mut present: Option<EncoderReading> = None;
        (0..chosen.len())
            .map(|k| {
                let choice = &self.choices[chosen[k]];
                let candidate = self.candidates[choice.candidate].clone();
                let wrap = Wrap {
                    azimuth_range: self.mount.azimuth_range,
                    elevation_range: self.mount.elevation_range,
                    present,
                };
                let command =
                    (self.model).reading_to_command(&candidate.direction, choice.approach, &wrap);
                let reading = command.ok().flatten().unwrap_or(EncoderReading {
                    azimuth: candidate.direction.azimuth(),
                    elevation: candidate.direction.elevation(),
                });
                let way = present.map(|from| {
                    let azimuth = (reading.azimuth - from.azimuth).abs();
                    azimuth.max((reading.elevation - from.elevation).abs())
                });
                present = Some(reading);
                let mut without = chosen.to_vec();
                without.remove(k);
                Step {
                    candidate,
                    reading,
                    approach: choice.approach,
                    way,
                    left: self.error(&self.covariance_of(&chosen[..=k])),
                    tells: self.told_most(&whole, &self.covariance_of(&without)),
                }
            })
            .collect()
    }

    /// The term whose uncertainty increases most from one covariance to the other.
    fn told_most(&self, with: &DMatrix<f64>, without: &DMatrix<f64>) -> (Term, f64) {
        (self.terms.iter().enumerate())
            .map(|(i, term)| (*term, (without[(i, i)] / with[(i, i)]).sqrt() - 1.0))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or((Term::AzimuthZero, 0.0))
    }

    /// The direction where two more peaks would best determine the undetermined terms, in words.
    pub fn what_would_tell(&self, after: &DMatrix<f64>, untold: &[usize]) -> String {
        let kind = self.model.kind();
        let names: Vec<&str> = untold
            .iter()
            .map(|i| kind.term_name(self.terms[*i]))
            .collect();
        let terms: Vec<Term> = untold.iter().map(|i| self.terms[*i]).collect();
        match terms.as_slice() {
            [] => return String::new(),
            [Term::ClockOffset] => {
                return "an emitter that moves fast, an orbiting satellite, would tell \
                        clock-offset"
                    .to_owned();
            }
            _ => {}
        }
        let Some(information) = after.clone().try_inverse() else {
            return String::new();
        };
        let left = |covariance: &DMatrix<f64>| -> f64 {
            (untold.iter())
                .map(|i| covariance[(*i, *i)] * self.prior[(*i, *i)])
                .sum()
        };
        let mut best: Option<(f64, Direction<crate::angle::Apparent>, DMatrix<f64>)> = None;
        for direction in even_sky(&self.mount, None) {
            let Some(rows) = rows_at(&self.model, self.terms, &direction) else {
                continue;
            };
            let rows = rows / self.sigma.radians();
            let more = &information + rows.transpose() * &rows * 2.0;
            let Some(covariance) = more.try_inverse() else {
                continue;
            };
            if best.as_ref().is_none_or(|b| left(&covariance) < b.0) {
                best = Some((left(&covariance), direction, covariance));
            }
        }
        let Some((_, direction, covariance)) = best else {
            return String::new();
        };
        let unit = terms[0].unit();
        format!(
            "two peaks near azimuth {:.0} deg, elevation {:.0} deg would help {} most: {} would then \
             be known to {} {}",
            direction.azimuth().degrees(),
            direction.elevation().degrees(),
            list(&names),
            names[0],
            two_digits(unit.outward(covariance[(untold[0], untold[0])].sqrt())),
            unit.symbol()
        )
    }
}

#[cfg(test)]
impl Design<'_> {
    /// Largest relative difference between a trial with one more choice and the price computed from
    /// scratch.
    pub(super) fn worst_trial(&self, chosen: &[usize]) -> f64 {
        let mut worst: f64 = 0.0;
        for place in 0..chosen.len() {
            let mut others = chosen.to_vec();
            let slot = self.candidates[self.choices[others.remove(place)].candidate].slot;
            let beside = Beside::of(self, &others);
            for choice in &self.by_slot[slot] {
                let mut all = others.clone();
                all.push(*choice);
                all.sort_unstable();
                worst = worst.max((beside.price_with(*choice) / self.price(&all) - 1.0).abs());
            }
        }
        worst
    }

    /// The smallest price over every combination of one choice per slot.
    pub(super) fn least_price_of_all(&self) -> f64 {
        fn walk(design: &Design<'_>, slot: usize, chosen: &mut Vec<usize>) -> f64 {
            let Some(choices) = design.by_slot.get(slot) else {
                return design.price(chosen);
            };
            let mut least = f64::INFINITY;
            for choice in choices {
                chosen.push(*choice);
                least = least.min(walk(design, slot + 1, chosen));
                chosen.pop();
            }
            least
        }
        walk(self, 0, &mut Vec::new())
    }
}
