//! Which terms the data can tell apart, which not, and what observation would.

use nalgebra::{DMatrix, DVector};

use crate::angle::{Angle, Apparent, Direction, EncoderReading, SkyBasis};
use crate::mount::{ApproachSigns, Group, MountModel, Term, TermUnit, TermValues};
use crate::problem::Error;

use super::linear::{Sensitivity, Subset};
use super::night::{Fitted, Night};
use super::outcome::Inseparable;
use super::plausible::glaring;
use super::words::{list, two_digits};

/// A fit of those of the wanted terms that the data tell apart.
#[derive(Clone, Debug)]
pub struct Told {
    /// The fit.
    pub fitted: Fitted,
    /// Terms that had to be held at zero, whole groups.
    pub left_out: Vec<Term>,
    /// What could not be told apart, in words.
    pub inseparable: Vec<Inseparable>,
}

/// A direction that the data do not tell.
struct Vague {
    /// The terms in it with their shares, the largest first.
    shares: Vec<(Term, f64)>,
    /// Those held at zero because of it.
    out: Vec<Term>,
}

/// Which of a vague direction's groups is held at zero: the one that a careful builder most
/// likely has small, so the later in this list the sooner. The zeros come first: without them
/// nothing points.
const KEEP_FIRST: [Group; 14] = [
    Group::AzimuthZero,
    Group::ElevationZero,
    Group::Tilt,
    Group::Collimation,
    Group::AxisSkew,
    Group::Droop,
    Group::AzimuthBacklash,
    Group::ElevationBacklash,
    Group::AzimuthRunout,
    Group::TrackWarp,
    Group::ElevationRunout,
    Group::AzimuthScale,
    Group::ElevationScale,
    Group::ClockOffset,
];

/// A term takes part in a vague direction from this share on (shares are of unit length).
const TAKES_PART: f64 = 0.3;

/// Fits the wanted terms as far as the data tell them apart; of each vague direction one
/// group of terms is held at zero.
///
/// # Errors
/// When nothing useful can be fitted: not even the zeros.
pub fn fit_what_is_told(
    night: &Night,
    wanted: &[Term],
    kept: &[bool],
    start: &TermValues,
) -> Result<Told, Error> {
    let mut free = wanted.to_vec();
    let mut vague: Vec<Vague> = Vec::new();
    loop {
        let fitted = night.fit(&free, kept, start)?;
        let Some(direction) = fitted.solution.undetermined().into_iter().next_back() else {
            let left_out: Vec<Term> = vague.iter().flat_map(|v| v.out.clone()).collect();
            // What is told in their place is one statement about all that are held.
            let told = told_instead(night, &fitted, kept, &left_out);
            let inseparable = (vague.iter().enumerate())
                .map(|(i, v)| {
                    let told = told.clone().filter(|_| i == 0);
                    in_words(night, &fitted, kept, v, told)
                })
                .collect();
            return Ok(Told {
                fitted,
                left_out,
                inseparable,
            });
        };
        let mut shares: Vec<(Term, f64)> = free
            .iter()
            .copied()
            .zip(direction.shares.iter().copied())
            .collect();
        shares.sort_by(|p, q| q.1.abs().total_cmp(&p.1.abs()));
        let largest = shares.first().map_or(0.0, |s| s.1.abs());
        let part: Vec<(Term, f64)> = shares
            .into_iter()
            .filter(|(_, share)| share.abs() >= TAKES_PART * largest)
            .collect();
        let out = part
            .iter()
            .map(|(term, _)| term.group())
            .max_by_key(|g| KEEP_FIRST.iter().position(|k| k == g))
            .unwrap_or(Group::AzimuthZero);
        let out: Vec<Term> = free.iter().copied().filter(|t| t.group() == out).collect();
        free.retain(|t| !out.contains(t));
        vague.push(Vague { shares: part, out });
        if free.is_empty() {
            return Err(Error::Unsupported(
                "the peaks cannot tell any of the terms asked for; log peaks of emitters in \
                 other parts of the sky"
                    .to_owned(),
            ));
        }
    }
}

/// Says what a vague direction means, what is told in its place, and what would help.
fn in_words(
    night: &Night,
    fitted: &Fitted,
    kept: &[bool],
    Vague { shares, out }: &Vague,
    told: Option<String>,
) -> Inseparable {
    let names: Vec<&str> = shares.iter().map(|(t, _)| t.name()).collect();
    let held: Vec<&str> = out.iter().map(|t| t.name()).collect();
    let meaning = match names.as_slice() {
        [one] => format!(
            "these peaks do not tell {one}; it is held at zero{}",
            told.map_or(String::new(), |t| format!(". What is told: {t}"))
        ),
        _ => format!(
            "{} move the beam alike over these peaks and cannot be told apart; {} held at zero{}",
            list(&names),
            if held.len() == 1 {
                format!("{} is", held[0])
            } else {
                format!("{} are", list(&held))
            },
            told.map_or(String::new(), |t| format!(". What is told: {t}"))
        ),
    };
    Inseparable {
        terms: shares.clone(),
        meaning,
        remedy: what_would_tell(night, fitted, kept, out),
    }
}

/// The combinations that stay told: each fitted term plus what it would change by for the
/// left-out one.
fn told_instead(night: &Night, fitted: &Fitted, kept: &[bool], out: &[Term]) -> Option<String> {
    let moved = sensitivity(night, fitted, kept, out)?.moved;
    let sigmas = fitted.solution.sigmas();
    let mut told = Vec::new();
    for (i, term) in fitted.free.iter().enumerate() {
        let parts: Vec<String> = out
            .iter()
            .enumerate()
            .filter(|(k, _)| moved[(i, *k)].abs() > 0.2)
            .map(|(k, left)| format!("{:+.2} x {}", -moved[(i, k)], left.name()))
            .collect();
        if parts.is_empty() {
            continue;
        }
        let unit = term.unit();
        told.push(format!(
            "{} {} = {:.4} +/- {:.4} {}",
            term.name(),
            parts.join(" "),
            unit.outward(fitted.terms.inside(*term)),
            unit.outward(sigmas[i]),
            unit.symbol()
        ));
    }
    (!told.is_empty()).then(|| told.join("; "))
}

/// What the data say of left-out terms beside the fitted ones, in units of the logged sigmas.
pub fn sensitivity(
    night: &Night,
    fitted: &Fitted,
    kept: &[bool],
    out: &[Term],
) -> Option<Sensitivity> {
    let mut all = fitted.free.clone();
    all.extend_from_slice(out);
    let triangle = night.reduce(&all, kept, &fitted.terms).ok()?;
    let chosen: Vec<usize> = (0..all.len()).collect();
    match Subset::of(&triangle, &chosen) {
        Some(subset) => subset.sensitivity(out.len()),
        // Exactly dependent columns: minimum-norm answer, no information.
        None => {
            let k = fitted.free.len();
            let r = triangle.r();
            let head = r.columns(0, k).into_owned();
            let moved = -head
                .svd(true, true)
                .solve(&r.columns(k, out.len()).into_owned(), 1e-12)
                .ok()?;
            Some(Sensitivity {
                moved,
                information: DMatrix::zeros(out.len(), out.len()),
                pull: DVector::zeros(out.len()),
            })
        }
    }
}

/// The one direction on the sky where two more peaks, arrived at from both sides, would narrow
/// the left-out terms most, in words with what they would then be known to.
pub fn what_would_tell(night: &Night, fitted: &Fitted, kept: &[bool], out: &[Term]) -> String {
    let special = match out.first().map(|t| t.group()) {
        Some(Group::AzimuthBacklash | Group::ElevationBacklash) => {
            Some("arrive at the same emitters from both sides and log the approach columns")
        }
        Some(Group::ClockOffset) => Some("peak an emitter that moves fast: an orbiting satellite"),
        _ => None,
    };
    if let Some(text) = special {
        return text.to_owned();
    }
    let mut all = fitted.free.clone();
    all.extend_from_slice(out);
    let Ok(triangle) = night.reduce(&all, kept, &fitted.terms) else {
        return String::new();
    };
    let noise = night.typical_noise(fitted).radians().max(1e-12);
    // A faint prior of the glaring sizes makes the untold directions finite.
    let factor = 1.0 / fitted.solution.noise_factor().max(1e-300);
    let mut information = triangle.r().transpose() * triangle.r() * factor * factor;
    for (i, term) in all.iter().enumerate() {
        information[(i, i)] += glaring(*term).powi(-2);
    }
    let model = fitted.model();
    let last = all.len() - out.len();
    let mut best: Option<(f64, Direction<Apparent>)> = None;
    for azimuth in (0..360).step_by(15) {
        for elevation in [10, 20, 30, 45, 60, 75] {
            let direction = Direction::<Apparent>::new(
                Angle::from_degrees(f64::from(azimuth)),
                Angle::from_degrees(f64::from(elevation)),
            );
            let Some(rows) = rows_at(&model, &all, &direction) else {
                continue;
            };
            let more = &information + rows.transpose() * &rows * (2.0 / (noise * noise));
            let Some(covariance) = more.try_inverse() else {
                continue;
            };
            let sum: f64 = (last..all.len())
                .map(|i| covariance[(i, i)] / glaring(all[i]).powi(2))
                .sum();
            if best.as_ref().is_none_or(|(least, _)| sum < *least) {
                best = Some((sum, direction));
            }
        }
    }
    let Some((sum, direction)) = best else {
        return String::new();
    };
    let term = out[0];
    let sigma = (sum / out.len() as f64).sqrt() * glaring(term);
    format!(
        "two peaks near azimuth {:.0} deg, elevation {:.0} deg would help most: {} would then be \
         known to about {} {}",
        direction.azimuth().degrees(),
        direction.elevation().degrees(),
        list(&out.iter().map(|t| t.name()).collect::<Vec<_>>()),
        two_digits(term.unit().outward(sigma)),
        if term.unit() == TermUnit::Fraction {
            "(fraction)"
        } else {
            term.unit().symbol()
        }
    )
}

/// Rows of derivatives of a peak at `direction` by `all` terms, 2 by n; none when the mount
/// cannot point there.
pub fn rows_at(
    model: &MountModel,
    all: &[Term],
    direction: &Direction<Apparent>,
) -> Option<DMatrix<f64>> {
    let reading: EncoderReading = model
        .readings(direction, ApproachSigns::UNKNOWN)
        .ok()?
        .direct;
    let beam = model.beam_with_derivatives(reading, ApproachSigns::UNKNOWN);
    let basis = SkyBasis::at(&beam.vector);
    let columns: Vec<DVector<f64>> = all
        .iter()
        .map(|t| {
            let change = -beam.by_term[*t as usize];
            DVector::from_vec(vec![
                basis.rightward.dot(&change),
                basis.upward.dot(&change),
            ])
        })
        .collect();
    Some(DMatrix::from_columns(&columns))
}
