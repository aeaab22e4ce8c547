//! Which terms beside the basic ones the data ask for.
//!
//! Terms enter in groups, the best first. A group is admitted when three judges agree: an
//! information criterion (Schwarz, Estimating the dimension of a model, 1978: the sum of
//! squares must fall enough for the number of terms), an F or chi-square test with its
//! false-alarm probability shared among all groups tried (Bonferroni), and cross-validation
//! (each peak predicted from the others). Afterwards each admitted group must still be
//! needed with the others in.

use nalgebra::{DMatrix, DVector};

use crate::fit::{Noise, quantile};
use crate::logbook::Approach;
use crate::mount::{Group, Term, TermValues};
use crate::problem::Error;

use super::linear::Subset;
use super::misfit::misfit_with_derivatives;
use super::night::{Fitted, Night};
use super::outcome::Decision;
use super::plausible::glaring;
use super::separate::{Told, fit_what_is_told};
use super::words::{probability, two_digits};

/// The probability of admitting any term that is not there, in one round over all groups.
/// A term must so stand about 3.6 sigmas from zero.
const FALSE_ADMISSION: f64 = 0.003;

/// Cross-validation visits every peak; with so many the other two judges suffice.
const MOST_CROSS_VALIDATED: usize = 20_000;

/// Groups that may be admitted by evidence. The elevation runout is not among them: its cos
/// part is droop to first order, and unless the user names the runout, it is droop.
const CANDIDATES: [Group; 9] = [
    Group::AxisSkew,
    Group::Droop,
    Group::AzimuthBacklash,
    Group::ElevationBacklash,
    Group::AzimuthRunout,
    Group::TrackWarp,
    Group::AzimuthScale,
    Group::ElevationScale,
    Group::ClockOffset,
];

/// The terms chosen, their fit, and why.
#[derive(Clone, Debug)]
pub struct Choice {
    /// The fit with what could not be told apart.
    pub told: Told,
    /// A decision for each group beside the basic terms.
    pub decisions: Vec<Decision>,
}

/// What three judges say of one group.
#[derive(Clone, Copy, Debug)]
struct Evidence {
    /// Probability of so large a gain by chance, for this group alone.
    probability: f64,
    /// Fall of the information criterion; positive is better with the group.
    criterion_fall: f64,
    /// Rms of peaks predicted from the others, with the group over without; below one is
    /// better with it. None when there were too many peaks to ask.
    cross_validation: Option<f64>,
}

/// What the criterion must gain more for a group that is seldom the cause: a gear is rarely cut
/// with a wrong number of teeth, and a clock rarely wrong by so little; structures always sag.
fn rarity(group: Group) -> f64 {
    match group {
        Group::AzimuthScale | Group::ElevationScale | Group::ClockOffset => 8.0,
        Group::AzimuthRunout | Group::TrackWarp => 4.0,
        _ => 0.0,
    }
}

impl Evidence {
    fn convinces(&self, tried: usize) -> bool {
        self.probability * tried as f64 <= FALSE_ADMISSION
            && self.criterion_fall > 0.0
            && self.cross_validation.is_none_or(|ratio| ratio < 1.0)
    }
    fn in_words(&self) -> String {
        let cross = self.cross_validation.map_or(String::new(), |ratio| {
            format!(
                ", peaks predicted from the others {} % {}",
                two_digits(100.0 * (1.0 - ratio).abs()),
                if ratio < 1.0 { "nearer" } else { "farther" }
            )
        });
        format!(
            "by chance with probability {}, information criterion {} by {:.1}{cross}",
            probability(self.probability),
            if self.criterion_fall > 0.0 {
                "better"
            } else {
                "worse"
            },
            self.criterion_fall.abs()
        )
    }
}

/// Chooses terms for the kept peaks: `basic` and whatever convinces.
///
/// # Errors
/// As [`fit_what_is_told`].
pub fn choose(
    night: &Night,
    basic: &[Term],
    offered: &[Group],
    kept: &[bool],
    start: &TermValues,
) -> Result<Choice, Error> {
    let mut told = fit_what_is_told(night, basic, kept, start)?;
    let mut decisions: Vec<Decision> = Vec::new();
    let refused = |group: &Group, reason: String| Decision {
        terms: group.terms().collect(),
        admitted: false,
        reason,
    };
    let mut open: Vec<Group> = Vec::new();
    for group in offered {
        match one_sided(night, kept, *group) {
            Some(reason) => decisions.push(refused(group, reason)),
            None => open.push(*group),
        }
    }
    let tried = open.len();
    let mut admitted: Vec<(Group, Evidence)> = Vec::new();
    // Each round admits the best of those that convince, or ends.
    while let Some(Addition {
        groups,
        evidence,
        fitted,
    }) = best_addition(night, &told.fitted, &open, kept, tried)?
    {
        open.retain(|g| !groups.contains(g));
        admitted.extend(groups.into_iter().map(|g| (g, evidence)));
        told.fitted = fitted;
        drop_idle(night, &mut told, &mut admitted, &mut open, kept, tried)?;
    }
    prefer_usual(night, &mut told, &mut admitted, &mut open, kept, tried)?;
    for (group, evidence) in &admitted {
        decisions.push(Decision {
            terms: group.terms().collect(),
            admitted: true,
            reason: evidence.in_words(),
        });
    }
    for group in &open {
        let reason = match with_group(night, &told.fitted, *group, kept)? {
            Some((_, evidence)) => evidence.in_words(),
            None => "not tried: these peaks cannot tell it from the other terms".to_owned(),
        };
        decisions.push(refused(group, reason));
    }
    decisions.sort_by_key(|d| d.terms.first().copied());
    Ok(Choice { told, decisions })
}

/// All groups that may be admitted for this session and are not asked for or held already.
pub fn candidates(taken: &[Term]) -> Vec<Group> {
    CANDIDATES
        .into_iter()
        .filter(|g| !g.terms().any(|t| taken.contains(&t)))
        .collect()
}

/// Whether these peaks could tell the group at all.
pub fn can_be_tried(night: &Night, fitted: &Fitted, kept: &[bool], group: Group) -> bool {
    one_sided(night, kept, group).is_none() && told_beside(night, fitted, kept, group)
}

/// Why play cannot be tried on these peaks: they do not arrive from both sides.
fn one_sided(night: &Night, kept: &[bool], group: Group) -> Option<String> {
    let approaches = |of: &dyn Fn(usize) -> Approach| {
        let count = |wanted: Approach| {
            (0..kept.len())
                .filter(|i| kept[*i] && of(*i) == wanted)
                .count()
        };
        (count(Approach::Increasing), count(Approach::Decreasing))
    };
    let sides = match group {
        Group::AzimuthBacklash => {
            Some(approaches(&|i| night.observations[i].peak.azimuth_approach))
        }
        Group::ElevationBacklash => Some(approaches(&|i| {
            night.observations[i].peak.elevation_approach
        })),
        _ => None,
    };
    // With one peak from a side the play could be that peak's own error.
    if let Some((up, down)) = sides
        && up.min(down) < 2
    {
        return Some(if up + down == 0 {
            "not tried: the log does not say from which side the axis arrived".to_owned()
        } else {
            "not tried: the axis nearly always arrived from the same side".to_owned()
        });
    }
    None
}

/// Whether the peaks tell the group's terms beside those fitted, by the noise of that fit.
fn told_beside(night: &Night, fitted: &Fitted, kept: &[bool], group: Group) -> bool {
    let terms: Vec<Term> = group.terms().collect();
    let Some(said) = super::separate::sensitivity(night, fitted, kept, &terms) else {
        return false;
    };
    let noise = fitted.solution.noise_factor();
    (0..terms.len()).all(|k| {
        let sigma = noise / said.information[(k, k)].max(1e-300).sqrt();
        sigma <= glaring(terms[k])
    })
}

/// Groups that could be added, with the fit that has them in.
struct Addition {
    groups: Vec<Group>,
    evidence: Evidence,
    fitted: Fitted,
}

impl Addition {
    /// Fall of the information criterion beyond what rare causes must gain.
    fn worth(&self) -> f64 {
        let rare: f64 = self.groups.iter().map(|g| rarity(*g)).sum();
        self.evidence.criterion_fall - rare
    }
}

/// So many of the most promising additions are refitted in full.
const REFITTED: usize = 3;

/// The most worthy addition among those that convince: one group, or else two groups together,
/// each of which alone is hidden by what the other does.
fn best_addition(
    night: &Night,
    fitted: &Fitted,
    open: &[Group],
    kept: &[bool],
    tried: usize,
) -> Result<Option<Addition>, Error> {
    let singles: Vec<Vec<Group>> = open.iter().map(|g| vec![*g]).collect();
    if let Some(found) = best_of(night, fitted, &singles, kept, tried)? {
        return Ok(Some(found));
    }
    let mut pairs = Vec::new();
    for (i, one) in open.iter().enumerate() {
        pairs.extend(open[i + 1..].iter().map(|other| vec![*one, *other]));
    }
    let both = tried * tried.saturating_sub(1) / 2;
    best_of(night, fitted, &pairs, kept, both)
}

/// The most worthy of several additions; `tried` is how many hypotheses are looked at.
fn best_of(
    night: &Night,
    fitted: &Fitted,
    additions: &[Vec<Group>],
    kept: &[bool],
    tried: usize,
) -> Result<Option<Addition>, Error> {
    // A first look to first order puts the promising ones first; only those are refitted.
    let mut all = fitted.free.clone();
    for term in additions.iter().flatten().flat_map(|g| g.terms()) {
        if !all.contains(&term) {
            all.push(term);
        }
    }
    let triangle = night.reduce(&all, kept, &fitted.terms)?;
    let mut order: Vec<(f64, &Vec<Group>)> = Vec::new();
    for groups in additions {
        let chosen: Vec<usize> = (0..all.len())
            .filter(|i| *i < fitted.free.len() || groups.contains(&all[*i].group()))
            .collect();
        if let Some(subset) = Subset::of(&triangle, &chosen) {
            order.push((subset.squares, groups));
        }
    }
    order.sort_by(|p, q| p.0.total_cmp(&q.0));
    let mut best: Option<Addition> = None;
    for (_, groups) in order.into_iter().take(REFITTED) {
        let Some((next, evidence)) = with_groups(night, fitted, groups, kept)? else {
            continue;
        };
        let addition = Addition {
            groups: groups.clone(),
            evidence,
            fitted: next,
        };
        let better = best.as_ref().is_none_or(|b| addition.worth() > b.worth());
        if evidence.convinces(tried) && better {
            best = Some(addition);
        }
    }
    Ok(best)
}

/// The fit with one more group, and what speaks for it; none when the data cannot tell it.
fn with_group(
    night: &Night,
    fitted: &Fitted,
    group: Group,
    kept: &[bool],
) -> Result<Option<(Fitted, Evidence)>, Error> {
    with_groups(night, fitted, &[group], kept)
}

/// The same with several more groups.
fn with_groups(
    night: &Night,
    fitted: &Fitted,
    groups: &[Group],
    kept: &[bool],
) -> Result<Option<(Fitted, Evidence)>, Error> {
    let mut free = fitted.free.clone();
    free.extend(groups.iter().flat_map(|g| g.terms()));
    let next = night.fit(&free, kept, &fitted.terms)?;
    if next.solution.rank() < free.len() {
        return Ok(None);
    }
    let evidence = evidence(night, fitted, &next, kept);
    Ok(Some((next, evidence)))
}

/// What speaks for the larger of two nested fits to the same peaks.
fn evidence(night: &Night, small: &Fitted, large: &Fitted, kept: &[bool]) -> Evidence {
    let rows = night.rows(kept) as f64;
    let more = (large.free.len() - small.free.len()) as f64;
    let (before, after) = (small.solution.chi_square, large.solution.chi_square);
    let freedom = rows - large.free.len() as f64;
    let (probability, fall) = match night.noise {
        Noise::Logged => {
            // When the scatter is larger than the logged sigmas say, it is the scatter that
            // counts.
            let excess = (after / freedom.max(1.0)).max(1.0);
            let gain = (before - after).max(0.0) / excess;
            (
                quantile::chi_square_exceeds(gain, more),
                gain - more * rows.ln(),
            )
        }
        Noise::Scatter if freedom > 0.0 && after > 0.0 => {
            let ratio = ((before - after).max(0.0) / more) / (after / freedom);
            (
                quantile::f_exceeds(ratio, more, freedom),
                rows * (before / after).ln() - more * rows.ln(),
            )
        }
        Noise::Scatter => (1.0, f64::NEG_INFINITY),
    };
    let count = kept.iter().filter(|k| **k).count();
    let cross_validation = (count <= MOST_CROSS_VALIDATED).then(|| {
        let with = predicted_from_others(night, large, kept);
        let without = predicted_from_others(night, small, kept);
        (with / without).sqrt()
    });
    Evidence {
        probability,
        criterion_fall: fall,
        cross_validation,
    }
}

/// Sum of squares of each kept peak's whitened residual when it is predicted from the others,
/// to first order: (I - J (J'J)^-1 J')^-1 r for the peak's own rows (Allen, The relationship
/// between variable selection and data augmentation, 1974: PRESS).
fn predicted_from_others(night: &Night, fitted: &Fitted, kept: &[bool]) -> f64 {
    let n = fitted.free.len();
    let Ok(triangle) = night.reduce(&fitted.free, kept, &fitted.terms) else {
        return f64::INFINITY;
    };
    let transposed = triangle.r().transpose();
    let model = fitted.model();
    let mut sum = 0.0;
    for (i, observation) in night
        .observations
        .iter()
        .enumerate()
        .filter(|(i, _)| kept[*i])
    {
        let mut rows = DMatrix::zeros(2, n);
        let sigma = night.sigmas[i].map(|s| s.radians());
        let found = misfit_with_derivatives(&model, observation, &fitted.free, |c, change| {
            rows[(0, c)] = change[0] / sigma[0];
            rows[(1, c)] = change[1] / sigma[1];
        });
        let mut residual = DVector::from_vec(vec![
            found.offset.cross_elevation.radians() / sigma[0],
            found.offset.elevation.radians() / sigma[1],
        ]);
        if observation.peak.azimuth.is_none() {
            rows.row_mut(0).fill(0.0);
            residual[0] = 0.0;
        }
        if observation.peak.elevation.is_none() {
            rows.row_mut(1).fill(0.0);
            residual[1] = 0.0;
        }
        // Leverage J (R'R)^-1 J' through the triangular solve R' y = J'.
        let Some(y) = transposed.solve_lower_triangular(&rows.transpose()) else {
            return f64::INFINITY;
        };
        let leverage = y.transpose() * y;
        let left = DMatrix::identity(2, 2) - leverage;
        sum += match left.try_inverse() {
            Some(inverse) => (inverse * residual).norm_squared(),
            None => f64::INFINITY,
        };
    }
    sum
}

/// Takes out again admitted groups that are no longer needed now that others are in.
fn drop_idle(
    night: &Night,
    told: &mut Told,
    admitted: &mut Vec<(Group, Evidence)>,
    open: &mut Vec<Group>,
    kept: &[bool],
    tried: usize,
) -> Result<(), Error> {
    let mut i = 0;
    while admitted.len() > 1 && i < admitted.len() {
        let group = admitted[i].0;
        let smaller: Vec<Term> = (told.fitted.free.iter())
            .copied()
            .filter(|t| t.group() != group)
            .collect();
        let without = night.fit(&smaller, kept, &told.fitted.terms.without(group))?;
        let now = evidence(night, &without, &told.fitted, kept);
        if now.convinces(tried) {
            admitted[i].1 = now;
            i += 1;
        } else {
            told.fitted = without;
            admitted.remove(i);
            // It may not come back, or the two could take turns for ever.
            open.retain(|g| *g != group);
            i = 0;
        }
    }
    Ok(())
}

/// Puts a usual cause in the place of a rare one that got in before it and explains no more:
/// sag for a wrong gear ratio, say.
fn prefer_usual(
    night: &Night,
    told: &mut Told,
    admitted: &mut [(Group, Evidence)],
    open: &mut [Group],
    kept: &[bool],
    tried: usize,
) -> Result<(), Error> {
    for (rare, was) in admitted.iter_mut().filter(|(g, _)| rarity(*g) > 0.0) {
        let smaller: Vec<Term> = (told.fitted.free.iter())
            .copied()
            .filter(|t| t.group() != *rare)
            .collect();
        let without = night.fit(&smaller, kept, &told.fitted.terms.without(*rare))?;
        *was = evidence(night, &without, &told.fitted, kept);
        for usual in open.iter_mut().filter(|g| rarity(**g) < rarity(*rare)) {
            let Some((next, now)) = with_group(night, &without, *usual, kept)? else {
                continue;
            };
            let better = now.criterion_fall - rarity(*usual) > was.criterion_fall - rarity(*rare);
            if now.convinces(tried) && better {
                std::mem::swap(rare, usual);
                *was = now;
                told.fitted = next;
                break;
            }
        }
    }
    Ok(())
}
