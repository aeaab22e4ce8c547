//! Is the mount still true? A few new peaks against an old calibration.
//!
//! The old calibration is what is known beforehand: its values, with their covariance. If the
//! mount was moved, its placement (azimuth zero and tilt) and whatever else a hypothesis frees
//! may have changed by anything; all other terms are as they were. Both are priors of the same
//! kind, so three peaks are enough to weigh one against the other, and what three peaks
//! cannot tell shows as an uncertainty.

mod history;
mod hypothesis;
mod old;
mod sky_error;

use crate::angle::Angle;
use crate::fit::{Noise, Options as FitOptions, Prior, Solution, fit, quantile};
use crate::logbook::{Calibration, CalibrationPeak, PeakLog};
use crate::mount::{MountModel, Term};
use crate::problem::Error;
use crate::sky::Sky;
use crate::solve::misfit::misfit;
use crate::solve::observe::{Observation, observe};
use crate::solve::{MountProblem, words};
use crate::station::Station;
use crate::time::Utc;

pub use history::{Entry, History, Point, REAL_BELOW, TermHistory, history};
pub use hypothesis::{Change, Kind};
pub use old::Old;
use sky_error::SkyError;

/// What to decide by.
#[derive(Clone, Copy, Debug)]
pub struct Request {
    /// The mount counts as true while its error over the sky, rms, stays within this.
    pub limit: Angle,
    /// Seed of the sampling.
    pub seed: u64,
}

/// The limit when none is given: a tenth of the beamwidth, which costs 0.12 dB.
pub fn usual_limit(station: &Station) -> Angle {
    station.dish.beamwidth / 10.0
}

/// The answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limit.
    True,
    /// Beyond the limit, and no accident.
    Moved,
    /// The peaks are too few, too alike or contradict each other.
    CannotTell,
}

impl Verdict {
    /// As the machine-readable form says it.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::True => "true",
            Verdict::Moved => "moved",
            Verdict::CannotTell => "cannot tell",
        }
    }
}

/// One term that moved.
#[derive(Clone, Copy, Debug)]
pub struct Moved {
    /// Which.
    pub term: Term,
    /// Inside value before.
    pub before: f64,
    /// Inside value now.
    pub now: f64,
    /// One standard deviation of the change.
    pub sigma: f64,
}

/// What the new peaks say.
#[derive(Clone, Debug)]
pub struct Recheck {
    /// The answer.
    pub verdict: Verdict,
    /// Probability that the error over the sky exceeds the limit.
    pub probability: f64,
    /// Probability that unmoved peaks would lie as far off by chance.
    pub chance: f64,
    /// Error of the old calibration now, rms over the reachable sky; with its standard
    /// deviation.
    pub error: Angle,
    /// One standard deviation of `error`.
    pub error_sigma: Angle,
    /// What that costs on this beam, in decibels.
    pub loss_db: f64,
    /// The limit asked for.
    pub limit: Angle,
    /// The change that explains the peaks best, and what it looks like.
    pub kind: Kind,
    /// The other changes, with how much worse they explain the peaks.
    pub rivals: Vec<(Kind, f64)>,
    /// Terms that moved, those beyond three standard deviations of their change.
    pub moved_terms: Vec<Moved>,
    /// New peaks that contradict all others, by row, with how far off they are.
    pub odd_rows: Vec<(usize, Angle)>,
    /// Distance of each usable peak from the old calibration's beam, by row.
    pub distances: Vec<(usize, Angle)>,
    /// What to observe so that the answer becomes clear; empty when it is.
    pub advice: String,
    /// What was assumed and should be known.
    pub notes: Vec<String>,
    /// Old and new joined into one calibration.
    pub joined: Calibration,
}

/// Certain enough to say "moved" or "true".
const CERTAIN: f64 = 0.95;
/// Chance that unmoved peaks are called moved; half of what the study allows, since noise
/// estimated from few peaks is itself uncertain.
const FALSE_ALARM: f64 = 0.01;
/// Peaks contradict each other below this probability.
const CONTRADICTION: f64 = 1e-3;
/// A moved term is named from so many standard deviations on.
const NAMED_FROM: f64 = 3.0;

/// Compares new peaks with an old calibration.
///
/// # Errors
/// When no new peak can be used, or the calibration gives no uncertainties to compare with.
pub fn recheck(
    station: &Station,
    sky: &Sky,
    old: &Old,
    log: &PeakLog,
    request: &Request,
) -> Result<Recheck, Error> {
    let clock = old.model.terms().inside(Term::ClockOffset);
    let found = observe(station, sky, log, clock);
    if found.usable.is_empty() {
        return Err(Error::Unsupported(match found.unusable.first() {
            Some(first) => format!(
                "none of the new peaks can be used; the first (row {}): {}",
                first.peak.row, first.why
            ),
            None => "the log has no peaks".to_owned(),
        }));
    }
    let mut notes = found.notices.clone();
    let (observations, sigmas) = with_sigmas(found.usable, old, station, &mut notes);
    let (kept, odd) = consistent(&observations, &sigmas, old)?;
    let peaks: Vec<Observation> = kept.iter().map(|i| observations[*i].clone()).collect();
    let sigmas: Vec<[Angle; 2]> = kept.iter().map(|i| sigmas[*i]).collect();
    if !odd.is_empty() {
        let rows: Vec<usize> = odd.iter().map(|i| observations[*i].peak.row).collect();
        notes.push(format!(
            "{} left out: the other peaks agree without {}",
            words::rows(&rows),
            if rows.len() == 1 { "it" } else { "them" }
        ));
    }

    let unmoved = fit_with(old, &peaks, &sigmas, &Kind::Unmoved)?;
    let chance = quantile::chi_square_exceeds(
        unmoved.chi_square + unmoved.prior_chi_square,
        unmoved.rows as f64,
    );
    let Best {
        kind,
        solution: best,
        rivals,
    } = best_change(old, &peaks, &sigmas, &unmoved)?;
    // The verdict rests on the widest change that a move of the mount can make: what the kind
    // looks like must not make it look surer than it is.
    let placed = fit_with(old, &peaks, &sigmas, &Kind::WholeMount)?;
    let widest = if kind.frees_more_than_placement() {
        &best
    } else {
        &placed
    };
    let contradictory = contradicts(widest);
    let error = SkyError::of(station, old, widest, request);
    let gain =
        unmoved.chi_square + unmoved.prior_chi_square - widest.chi_square - widest.prior_chi_square;
    let freed = if kind.frees_more_than_placement() {
        kind
    } else {
        Kind::WholeMount
    };
    let by_accident =
        quantile::chi_square_exceeds(gain.max(0.0), freed.terms().len().max(1) as f64);
    let verdict = if contradictory {
        Verdict::CannotTell
    } else if error.beyond > CERTAIN && by_accident < FALSE_ALARM {
        Verdict::Moved
    } else if error.beyond < 1.0 - CERTAIN {
        Verdict::True
    } else {
        Verdict::CannotTell
    };
    if contradictory {
        notes.push(
            "the new peaks contradict each other more than their noise allows: one of them may be \
             bad, or something other than a move has changed; look at plumbeam faults"
                .to_owned(),
        );
    }
    let answer = if kind == Kind::Unmoved {
        &placed
    } else {
        &best
    };
    Ok(Recheck {
        verdict,
        probability: error.beyond,
        chance,
        error: error.rms,
        error_sigma: error.sigma,
        loss_db: station.dish.loss_db(error.rms),
        limit: request.limit,
        kind,
        rivals,
        moved_terms: moved_terms(old, answer),
        odd_rows: (odd.iter())
            .map(|i| {
                (
                    observations[*i].peak.row,
                    distance(&old.model, &observations[*i]),
                )
            })
            .collect(),
        distances: (observations.iter())
            .map(|o| (o.peak.row, distance(&old.model, o)))
            .collect(),
        advice: match verdict {
            Verdict::CannotTell => SkyError::advice(station, old, widest, &sigmas),
            _ => String::new(),
        },
        notes,
        joined: join(station, old, answer, &observations, &kept),
    })
}

/// How far the old calibration's beam is from the emitter.
fn distance(model: &MountModel, observation: &Observation) -> Angle {
    let mut offset = misfit(model, observation).offset;
    if observation.peak.azimuth.is_none() {
        offset.cross_elevation = Angle::ZERO;
    }
    if observation.peak.elevation.is_none() {
        offset.elevation = Angle::ZERO;
    }
    offset.size()
}

/// Standard deviations from the log; where it has none, from the old calibration's scatter.
fn with_sigmas(
    usable: Vec<Observation>,
    old: &Old,
    station: &Station,
    notes: &mut Vec<String>,
) -> (Vec<Observation>, Vec<[Angle; 2]>) {
    let fallback = if old.peak_sigma > Angle::ZERO {
        old.peak_sigma
    } else {
        station.dish.beamwidth / 50.0
    };
    let missing = usable.iter().filter(|o| o.logged_sigma().is_none()).count();
    if missing > 0 {
        notes.push(format!(
            "{missing} of the new peaks have no standard deviation in the log: {:.4} deg an axis \
             is taken, as the old calibration's peaks scattered",
            fallback.degrees()
        ));
    }
    let sigmas = usable
        .iter()
        .map(|o| {
            let logged = o.logged_sigma().unwrap_or([fallback; 2]);
            logged.map(|s| if s > Angle::ZERO { s } else { fallback })
        })
        .collect();
    (usable, sigmas)
}

/// The fit of the old terms to new peaks when the change `kind` may have happened.
fn fit_with(
    old: &Old,
    peaks: &[Observation],
    sigmas: &[[Angle; 2]],
    kind: &Kind,
) -> Result<Solution, Error> {
    let problem = MountProblem::new(peaks, sigmas, &old.terms, *old.model.terms());
    let options = FitOptions {
        priors: old.priors(&kind.terms())?,
        noise: Noise::Logged,
        ..FitOptions::default()
    };
    let start = old.values();
    fit(&problem, &start, &options)
        .map_err(|e| Error::Unsupported(format!("the new peaks could not be fitted: {e}")))
}

/// Whether the peaks scatter about a fit more than their noise allows.
fn contradicts(solution: &Solution) -> bool {
    let freedom = solution.degrees_of_freedom;
    freedom >= 0.5 && quantile::chi_square_exceeds(solution.chi_square, freedom) < CONTRADICTION
}

/// Which peaks agree with each other under any change: with five or more peaks, the ones
/// whose leaving-out restores agreement are odd.
fn consistent(
    observations: &[Observation],
    sigmas: &[[Angle; 2]],
    old: &Old,
) -> Result<(Vec<usize>, Vec<usize>), Error> {
    const LEAST_TO_JUDGE: usize = 5;
    let mut kept: Vec<usize> = (0..observations.len()).collect();
    let mut odd = Vec::new();
    let fit_of = |chosen: &[usize]| {
        let peaks: Vec<Observation> = chosen.iter().map(|i| observations[*i].clone()).collect();
        let s: Vec<[Angle; 2]> = chosen.iter().map(|i| sigmas[*i]).collect();
        fit_with(old, &peaks, &s, &Kind::Anything)
    };
    while kept.len() >= LEAST_TO_JUDGE && odd.len() * 3 < observations.len() {
        let all = fit_of(&kept)?;
        if !contradicts(&all) {
            break;
        }
        let mut best: Option<(f64, usize)> = None;
        for leave in 0..kept.len() {
            let mut rest = kept.clone();
            rest.remove(leave);
            let chi_square = fit_of(&rest)?.chi_square;
            if best.is_none_or(|(least, _)| chi_square < least) {
                best = Some((chi_square, leave));
            }
        }
        let Some((_, leave)) = best else { break };
        odd.push(kept.remove(leave));
    }
    Ok((kept, odd))
}

/// The change that explains the peaks best for its number of terms.
struct Best {
    kind: Kind,
    solution: Solution,
    /// The others, with how much worse they do.
    rivals: Vec<(Kind, f64)>,
}

/// The change that explains the peaks best for its number of terms.
fn best_change(
    old: &Old,
    peaks: &[Observation],
    sigmas: &[[Angle; 2]],
    unmoved: &Solution,
) -> Result<Best, Error> {
    let price = (unmoved.rows.max(2) as f64).ln();
    let mut tried = Vec::new();
    for kind in Kind::ALL {
        let solution = fit_with(old, peaks, sigmas, &kind)?;
        let cost =
            solution.chi_square + solution.prior_chi_square + price * kind.terms().len() as f64;
        tried.push((cost, kind, solution));
    }
    tried.sort_by(|p, q| p.0.total_cmp(&q.0));
    let mut tried = tried.into_iter();
    let Some((least, kind, solution)) = tried.next() else {
        return Ok(Best {
            kind: Kind::Unmoved,
            solution: unmoved.clone(),
            rivals: Vec::new(),
        });
    };
    Ok(Best {
        kind,
        solution,
        rivals: tried.map(|(cost, kind, _)| (kind, cost - least)).collect(),
    })
}

fn moved_terms(old: &Old, now: &Solution) -> Vec<Moved> {
    let covariance = now.covariance();
    (old.terms.iter().enumerate())
        .filter_map(|(i, term)| {
            let before = old.model.terms().inside(*term);
            let value = now.parameters[i];
            let sigma = (covariance[(i, i)] + old.covariance[(i, i)])
                .max(0.0)
                .sqrt();
            let change = value - before;
            (change.abs() > NAMED_FROM * sigma).then_some(Moved {
                term: *term,
                before,
                now: value,
                sigma,
            })
        })
        .collect()
}

/// Old and new joined: the fitted terms after the new peaks, the held ones as they were.
fn join(
    station: &Station,
    old: &Old,
    now: &Solution,
    observations: &[Observation],
    kept: &[usize],
) -> Calibration {
    let mut joined = old.calibration.clone();
    let model = old.model_with(&now.parameters);
    let covariance = now.covariance();
    old.write_terms(&mut joined, &now.parameters, &covariance);
    let rms = |model: &MountModel| {
        let squares: f64 = (kept.iter())
            .map(|i| distance(model, &observations[*i]).radians().powi(2))
            .sum();
        Angle::from_radians((squares / kept.len().max(1) as f64).sqrt()).degrees()
    };
    joined.created_utc = Utc::now();
    joined.station.clone_from(&station.site.name);
    joined.rms_before_deg = rms(&old.model);
    joined.rms_after_deg = rms(&model);
    joined.degrees_of_freedom = now.degrees_of_freedom.round().max(0.0) as usize;
    joined.warnings.push(format!(
        "joined from the calibration of {} and {} new peaks; rms before is that of the new peaks \
         with the old calibration",
        old.calibration.created_utc,
        kept.len()
    ));
    joined.peaks = observations
        .iter()
        .enumerate()
        .map(|(i, o)| {
            let left = misfit(&model, o).offset;
            let used = kept.contains(&i);
            CalibrationPeak {
                row: o.peak.row,
                time_utc: o.peak.time,
                emitter: o.peak.emitter.clone(),
                cross_elevation_residual_deg: (o.peak.azimuth.is_some())
                    .then(|| left.cross_elevation.degrees()),
                elevation_residual_deg: (o.peak.elevation.is_some())
                    .then(|| left.elevation.degrees()),
                used,
                why: if used {
                    String::new()
                } else {
                    "contradicts the other new peaks".to_owned()
                },
            }
        })
        .collect();
    joined
}

/// Prior rows for parameters with a mean and a covariance, n by n: the rows of the inverse of its
/// Cholesky factor.
pub(crate) fn priors_of(mean: &[f64], covariance: &nalgebra::DMatrix<f64>) -> Option<Vec<Prior>> {
    let n = mean.len();
    let inverse = covariance.clone().cholesky()?.l().try_inverse()?;
    Some(
        (0..n)
            .map(|i| {
                let row: Vec<(usize, f64)> = (0..=i).map(|j| (j, inverse[(i, j)])).collect();
                let at: f64 = row.iter().map(|(j, c)| c * mean[*j]).sum();
                Prior::on_combination(row, at, 1.0)
            })
            .collect(),
    )
}
