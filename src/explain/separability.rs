//! Which terms the data can separate, which not, and what observation would.

use nalgebra::{DMatrix, DVector};

use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::mount::{ApproachSigns, Group, MountModel, Term};

use super::joint_fit::JointFit;
use super::linearised::Weighted;
use super::prior_size::{glaring, prior};
use super::session::Session;

/// A combination of terms that the data do not determine.
#[derive(Clone, Debug)]
pub struct Vague {
    /// The terms in it with their shares, the largest first; shares are of unit length.
    pub shares: Vec<(Term, f64)>,
    /// Those held at zero because of it.
    pub held: Vec<Term>,
    /// The observation that would determine it.
    pub advice: Advice,
}

/// The combination determined in place of terms that are not: a fitted term plus multiples of those
/// held.
#[derive(Clone, Debug)]
pub struct ToldInstead {
    /// The fitted term.
    pub term: Term,
    /// Coefficients of the terms held at zero.
    pub with: Vec<(Term, f64)>,
    /// Value of the sum, in internal units.
    pub value: f64,
    /// One standard deviation.
    pub sigma: f64,
}

/// The observation that would separate terms.
#[derive(Clone, Debug, PartialEq)]
pub enum Advice {
    /// The same emitters from both sides, with the approach columns logged.
    BothSides,
    /// An emitter that moves fast.
    FastEmitter,
    /// Two peaks near a direction.
    TwoPeaks {
        /// The direction.
        at: Direction<Apparent>,
        /// The terms that they would determine.
        terms: Vec<Term>,
        /// Standard deviation that the first would then have, in internal units.
        sigma: f64,
    },
    /// None is known.
    None,
}

/// Order in which the groups of an undetermined combination are fitted; the last is held at zero,
/// being the one that a careful builder most likely has small. The zeros come first: without them
/// nothing points.
const FIT_FIRST: [Group; 14] = [
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

/// A term counts as part of an undetermined combination from this share of the largest on; common
/// practice, no source. It only decides which names are printed.
const TAKES_PART: f64 = 0.3;

/// A combination that the data do not determine: its terms with their shares, and those to be held.
pub type Untold = (Vec<(Term, f64)>, Vec<Term>);

/// Returns the combinations that the data of a joint fit do not determine, without priors, and the
/// terms that must be held for the rest to be determined; the least determined first.
///
/// With J over the noise and D the sizes that anybody would see, a combination counts as not
/// determined when the matching eigenvalue of D J'J D is below one: its standard deviation is then
/// larger than such a size.
pub fn vague_directions(session: &Session, fit: &JointFit) -> Vec<Untold> {
    let linearised = session.linearised(fit, &[]);
    let all: Vec<usize> = (0..fit.count()).collect();
    let Some(information) = linearised.information(&all, &Weighted::Kept(&fit.kept)) else {
        return Vec::new();
    };
    let information = information / fit.variance.max(1e-300);
    let size = |j: usize| match fit.columns[j].constant_term() {
        Some(term) => glaring(term),
        None => fit.columns[j].spread,
    };
    let mut free = all;
    let mut found = Vec::new();
    while !free.is_empty() {
        let scaled = DMatrix::from_fn(free.len(), free.len(), |a, b| {
            information[(free[a], free[b])] * size(free[a]) * size(free[b])
        });
        let eigen = scaled.symmetric_eigen();
        let (place, least) = eigen.eigenvalues.argmin();
        if least >= 1.0 {
            break;
        }
        let vector = eigen.eigenvectors.column(place);
        let leading = vector.iter().fold(0.0_f64, |a, b| {
            if b.abs() > a.abs() * (1.0 + 1e-6) {
                *b
            } else {
                a
            }
        });
        let mut shares: Vec<(Term, f64)> = (free.iter().zip(vector.iter()))
            .filter(|(_, share)| share.abs() >= TAKES_PART * leading.abs())
            .filter_map(|(j, share)| {
                let term = fit.columns[*j].constant_term()?;
                Some((term, share * leading.signum()))
            })
            .collect();
        shares.sort_by(|p, q| q.1.abs().total_cmp(&p.1.abs()));
        let out = (shares.iter())
            .map(|(term, _)| term.group())
            .max_by_key(|g| FIT_FIRST.iter().position(|k| k == g));
        let Some(out) = out else {
            // A cause by itself: it was admitted, so it is determined well enough.
            break;
        };
        let held: Vec<Term> = (free.iter())
            .filter_map(|j| fit.columns[*j].constant_term())
            .filter(|t| t.group() == out)
            .collect();
        free.retain(|j| (fit.columns[*j].constant_term()).is_none_or(|t| t.group() != out));
        found.push((shares, held));
    }
    found
}

/// The data's sensitivity to terms left out, given the fitted columns.
#[derive(Clone, Debug)]
pub struct Sensitivity {
    /// Change of the columns' estimates per unit of each of the q values, p by q.
    pub moved: DMatrix<f64>,
    /// The information on the q values with the columns free, q by q, at unit noise.
    pub information: DMatrix<f64>,
    /// The information times the estimates of the q values, q.
    pub pull: DVector<f64>,
}

/// Sensitivity to some terms that are not in a joint fit.
pub fn sensitivity(session: &Session, fit: &JointFit, out: &[Term]) -> Option<Sensitivity> {
    let columns: Vec<_> = (out.iter())
        .map(|t| super::shape::ShapeColumn::term(*t, super::shape::Shape::Always, 1.0))
        .collect();
    let linearised = session.linearised(fit, &columns);
    let p = fit.count();
    let weights = Weighted::Kept(&fit.kept);
    let base: Vec<usize> = (0..p).collect();
    let all: Vec<usize> = (0..p + out.len()).collect();
    let whole = linearised.information(&all, &weights)?;
    let right = linearised.gradient(&all, &weights);
    let step = linearised.solve(&base, &weights, fit.variance)?;
    let q = out.len();
    let cross = whole.view((0, p), (p, q)).into_owned();
    // inverse inverse' is the inverse of the base's normal matrix, priors included.
    let taken = step.inverse.tr_mul(&cross);
    let moved = -(&step.inverse * &taken);
    let information = whole.view((p, p), (q, q)) - taken.tr_mul(&taken);
    let pull = -(right.rows(p, q) + cross.tr_mul(&step.step));
    Some(Sensitivity {
        moved,
        information,
        pull,
    })
}

/// The combinations that remain determined: each fitted term plus its change for the terms left
/// out. `sigmas` are those of the fit without them.
pub fn told_instead(
    fit: &JointFit,
    sigmas: &[f64],
    said: &Sensitivity,
    out: &[Term],
) -> Vec<ToldInstead> {
    /// A smaller share is not worth printing.
    const LEAST_SHARE: f64 = 0.2;
    (fit.columns.iter().enumerate())
        .filter_map(|(i, column)| {
            let term = column.constant_term()?;
            let with: Vec<(Term, f64)> = (out.iter().enumerate())
                .map(|(k, left)| (*left, -said.moved[(i, k)]))
                .filter(|(_, share)| share.abs() > LEAST_SHARE)
                .collect();
            (!with.is_empty()).then(|| ToldInstead {
                term,
                with,
                value: fit.parameters[i],
                sigma: sigmas[i],
            })
        })
        .collect()
}

/// The direction on the sky where two more peaks, approached from both sides, would improve the
/// terms left out most, with the accuracy they would then have.
pub fn what_would_tell(session: &Session, fit: &JointFit, out: &[Term]) -> Advice {
    match out.first().map(|t| t.group()) {
        Some(Group::AzimuthBacklash | Group::ElevationBacklash) => return Advice::BothSides,
        Some(Group::ClockOffset) => return Advice::FastEmitter,
        None => return Advice::None,
        _ => {}
    }
    let fitted: Vec<Term> = (fit.columns.iter())
        .filter_map(|c| c.constant_term())
        .filter(|t| !out.contains(t))
        .collect();
    let all: Vec<Term> = fitted.iter().chain(out).copied().collect();
    let columns: Vec<_> = (out.iter())
        .map(|t| super::shape::ShapeColumn::term(*t, super::shape::Shape::Always, 1.0))
        .collect();
    let linearised = session.linearised(fit, &columns);
    let places: Vec<usize> = (all.iter().enumerate())
        .filter_map(|(k, term)| match k < fitted.len() {
            true => fit.place_of(*term),
            false => Some(fit.count() + k - fitted.len()),
        })
        .collect();
    let Some(known) = linearised.information(&places, &Weighted::Kept(&fit.kept)) else {
        return Advice::None;
    };
    let noise = fit.scatter().radians().max(1e-12);
    // A wide prior of the glaring sizes makes the undetermined combinations finite.
    let mut information = known / fit.variance.max(1e-300);
    for (i, term) in all.iter().enumerate() {
        information[(i, i)] += prior(*term, session.beamwidth).max(glaring(*term)).powi(-2);
    }
    let model = fit.mount_at_the_end(session);
    let last = all.len() - out.len();
    let mut best: Option<(f64, Direction<Apparent>)> = None;
    for azimuth in (0..360).step_by(15) {
        for elevation in [10, 20, 30, 45, 60, 75] {
            let direction = Direction::apparent(
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
    best.map_or(Advice::None, |(sum, at)| Advice::TwoPeaks {
        at,
        sigma: (sum / out.len() as f64).sqrt() * glaring(out[0]),
        terms: out.to_vec(),
    })
}

/// Rows of derivatives of a peak at `direction` by `all` terms, 2 by n; `None` when the mount
/// cannot point there.
pub fn rows_at(
    model: &MountModel,
    all: &[Term],
    direction: &Direction<Apparent>,
) -> Option<DMatrix<f64>> {
    rows_from(model, all, direction, ApproachSigns::UNKNOWN)
}

/// The same when the axes arrive from given sides.
pub fn rows_from(
    model: &MountModel,
    all: &[Term],
    direction: &Direction<Apparent>,
    approach: ApproachSigns,
) -> Option<DMatrix<f64>> {
    let reading: EncoderReading = model.readings(direction, approach).ok()?.direct;
    let beam = model.beam_with_derivatives(reading, approach);
    let basis = model.geometry().basis_at(&beam.vector);
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
    Some(match columns.is_empty() {
        true => DMatrix::zeros(2, 0),
        false => DMatrix::from_columns(&columns),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::explain::options::TermChoice;
    use crate::explain::peak::SessionPeak;
    use crate::fit::Noise;
    use crate::mount::TermValues;
    use crate::time::Utc;

    /// A session of perfect peaks in a few directions.
    fn session(directions: &[(f64, f64)]) -> Session {
        let peaks = (directions.iter().enumerate())
            .map(|(i, (azimuth, elevation))| {
                let reading = EncoderReading::from_degrees(*azimuth, *elevation);
                let direction = Direction::apparent(reading.azimuth, reading.elevation);
                SessionPeak {
                    sighting: crate::explain::observe::Sighting {
                        azimuth: Some(reading.azimuth),
                        elevation: Some(reading.elevation),
                        approach: ApproachSigns::UNKNOWN,
                        target: direction.east_north_up(),
                        target_rate: nalgebra::Vector3::zeros(),
                        clock_offset_s: 0.0,
                    },
                    log: 0,
                    feed: 0,
                    row: i + 1,
                    line: i + 2,
                    emitter_name: "invented".into(),
                    time: Utc::from_unix_nanos(1_790_000_000_000_000_000),
                    emitter: 0,
                    hours: i as f64,
                    day_angle: Angle::ZERO,
                    place_sigma: Angle::ZERO,
                    by_lag: [Angle::ZERO; 2],
                    temperature_c: None,
                    along_orbit: nalgebra::Vector3::zeros(),
                    bend: nalgebra::Vector3::zeros(),
                }
            })
            .collect::<Vec<_>>();
        let sigma = Angle::from_degrees(0.05);
        Session::new(
            peaks.clone(),
            (vec![[sigma; 2]; peaks.len()], Noise::Logged),
            (Angle::from_degrees(2.0), crate::mount::Geometry::AZ_EL),
            (TermValues::ZERO, Vec::new()),
            (
                TermChoice::Listed(vec![
                    Term::AzimuthZero,
                    Term::ElevationZero,
                    Term::Collimation,
                ]),
                false,
            ),
            1,
        )
    }

    #[test]
    fn at_one_elevation_collimation_is_the_azimuth_zero() {
        let level: Vec<(f64, f64)> = (0..12).map(|k| (30.0 * f64::from(k), 40.0)).collect();
        let session = session(&level);
        let (fit, _) = session.plain_fit().unwrap();
        let vague = vague_directions(&session, &fit);
        assert_eq!(vague.len(), 1);
        assert_eq!(vague[0].1, [Term::Collimation]);
        let named: Vec<Term> = vague[0].0.iter().map(|(t, _)| *t).collect();
        assert!(named.contains(&Term::AzimuthZero));
        // Determined instead: on the sky a unit of collimation at 40 degrees is an azimuth of one
        // over cos 40.
        let fit = fit.without_terms(&session, &[Term::Collimation]).unwrap();
        let said = sensitivity(&session, &fit, &[Term::Collimation]).unwrap();
        let told = told_instead(&fit, &[0.01, 0.01], &said, &[Term::Collimation]);
        assert_eq!(told[0].term, Term::AzimuthZero);
        let share = told[0].with[0].1;
        let expected = 1.0 / 40.0_f64.to_radians().cos();
        assert!((share - expected).abs() < 1e-6, "{share}");
    }

    #[test]
    fn a_high_and_a_low_ring_separate_collimation_and_azimuth_zero() {
        let rings: Vec<(f64, f64)> = (0..12)
            .flat_map(|k| [20.0, 70.0].map(|e| (30.0 * f64::from(k), e)))
            .collect();
        let session = session(&rings);
        let (fit, _) = session.plain_fit().unwrap();
        assert!(vague_directions(&session, &fit).is_empty());
    }
}
