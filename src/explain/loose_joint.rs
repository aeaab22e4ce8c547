//! Scatter that depends on the dish's direction: something is loose.

use nalgebra::{Matrix3, Vector3};

use crate::angle::{Angle, EncoderReading};
use crate::fit::quantile;

use super::fault::FaultAxis;
use super::joint_fit::JointFit;
use super::session::Session;
use super::tuned::{
    FALSE_ALARM_OF_A_TEST_OF_SCATTER, LEAST_PEAKS_FOR_TWO_GROUPS, LEAST_RATIO_OF_A_LOOSE_JOINT,
};

/// Axes times shapes tested; the p-value is multiplied by this.
const TRIED: f64 = 6.0;
/// Peaks farther off than this share of the beamwidth are beyond the half-power point: bad for
/// other reasons, and not counted.
const FARTHEST: f64 = 0.5;

/// Where the scatter is larger than elsewhere.
#[derive(Clone, Debug)]
pub struct LooseJoint {
    /// The axis in which it shows.
    pub axis: FaultAxis,
    /// Where it is worst.
    pub worst: Worst,
    /// Scatter in the worse half of the peaks over that in the better half.
    pub ratio: f64,
    /// One standard deviation of the ratio.
    pub sigma: f64,
    /// Scatter of one coordinate in the worse half of the peaks.
    pub loud: Angle,
    /// The same in the better half.
    pub quiet: Angle,
    /// The probability of as strong an effect by chance, corrected for everything tried.
    pub p_value: f64,
    /// By peak, its scatter in units of the common noise; one where the trend says nothing.
    pub louder: Vec<f64>,
}

/// What the scatter depends on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Worst {
    /// Worst at this azimuth reading.
    Azimuth(Angle),
    /// Worst at high or at low elevation.
    High,
    /// Worst at low elevation.
    Low,
}

/// The loose joint with the smallest p-value, if one convinces.
///
/// Residuals to the power 2/3 are nearly normal whatever the noise's size (Wilson and Hilferty,
/// The distribution of chi-square, 1931: the cube root of chi-square is nearly normal), so that
/// an ordinary F test for a trend in them keeps its false-alarm probability far into the tail.
///
/// The peaks `apart`, by their place among the session's peaks, are not counted.
pub fn loose_joint(session: &Session, fit: &JointFit, apart: &[usize]) -> Option<LooseJoint> {
    let mut found = members(session, fit)?;
    if !apart.is_empty() {
        found.retain(|m| !apart.contains(&m.index));
    }
    let problem = fit.problem(session);
    let bare = problem.mount(&fit.parameters);
    let place = |i: usize| Standpoint::of(problem.at_about(&bare, i, &fit.parameters).reading);
    let places: Vec<Standpoint> = (0..session.peaks.len()).map(place).collect();
    let mut best: Option<LooseJoint> = None;
    for axis in [FaultAxis::Azimuth, FaultAxis::Elevation, FaultAxis::Both] {
        let sizes: Vec<(usize, f64)> = found
            .iter()
            .filter_map(|m| {
                let size = match axis {
                    FaultAxis::Azimuth => m.parts[0]?.abs(),
                    FaultAxis::Elevation => m.parts[1]?.abs(),
                    FaultAxis::Both => m.parts[0]?.hypot(m.parts[1]?),
                };
                Some((m.index, size))
            })
            .collect();
        for by_azimuth in [true, false] {
            if let Some(joint) = trend(&places, fit, axis, &sizes, by_azimuth)
                && best.as_ref().is_none_or(|b| joint.p_value < b.p_value)
            {
                best = Some(joint);
            }
        }
    }
    best
}

struct Member {
    index: usize,
    /// Residuals over their own standard deviations, in units of the noise.
    parts: [Option<f64>; 2],
}

fn members(session: &Session, fit: &JointFit) -> Option<Vec<Member>> {
    let linearised = session.linearised(fit, &[]);
    let chosen: Vec<usize> = (0..fit.count()).collect();
    let (leverages, _) = linearised.leverages(&chosen, &fit.kept, fit.variance)?;
    let noise = fit.variance.sqrt();
    let members: Vec<Member> = (leverages.iter().enumerate())
        .map(|(i, hat)| {
            let [azimuth, elevation] = session.peaks[i].sighting.measured();
            let mut rows = linearised.rows_of(i).enumerate();
            let mut part = |measured: bool| {
                let (k, row) = measured.then(|| rows.next()).flatten()?;
                let own = if fit.kept[i] {
                    (1.0 - hat[(k, k)]).max(0.05)
                } else {
                    1.0
                };
                Some(linearised.residual(row) / noise / own.sqrt())
            };
            Member {
                index: i,
                parts: [part(azimuth), part(elevation)],
            }
        })
        // Their sigma reflects the uncertainty of the emitter's position instead of the peaking.
        .filter(|m| {
            let floor = session.peaks[m.index].place_sigma;
            floor == Angle::ZERO || session.sigmas[m.index].iter().all(|s| *s > floor)
        })
        .filter(|m| {
            let sigma = fit.sigmas[m.index].map(|s| s * noise);
            (m.parts.iter().zip(sigma))
                .all(|(p, s)| p.is_none_or(|p| s * p.abs() < session.beamwidth * FARTHEST))
        })
        .collect();
    (members.len() >= LEAST_PEAKS_FOR_TWO_GROUPS).then_some(members)
}

/// A dish direction in the form needed for a trend.
struct Standpoint {
    /// Cosine and sine of the azimuth reading.
    azimuth: [f64; 2],
    /// Elevation reading, radians.
    elevation: f64,
}

impl Standpoint {
    fn of(reading: EncoderReading) -> Standpoint {
        let (sin, cos) = reading.azimuth.sin_cos();
        Standpoint {
            azimuth: [cos, sin],
            elevation: reading.elevation.radians(),
        }
    }
    /// The components of a trend, either once per turn of azimuth or with elevation.
    fn shapes(&self, by_azimuth: bool) -> Vector3<f64> {
        match by_azimuth {
            true => Vector3::new(1.0, self.azimuth[0], self.azimuth[1]),
            false => Vector3::new(1.0, self.elevation, 0.0),
        }
    }
}

/// The trend of the scatter with azimuth (once per turn) or elevation, if it convinces.
fn trend(
    places: &[Standpoint],
    fit: &JointFit,
    axis: FaultAxis,
    sizes: &[(usize, f64)],
    by_azimuth: bool,
) -> Option<LooseJoint> {
    let n = sizes.len();
    if n < LEAST_PEAKS_FOR_TWO_GROUPS {
        return None;
    }
    let more = if by_azimuth { 2 } else { 1 };
    let shapes = |k: usize| places[sizes[k].0].shapes(by_azimuth);
    let values: Vec<f64> = sizes.iter().map(|(_, size)| size.powf(2.0 / 3.0)).collect();
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    for (k, value) in values.iter().enumerate() {
        let row = shapes(k);
        normal += row * row.transpose();
        right += row * *value;
    }
    if !by_azimuth {
        // The third shape is absent.
        normal[(2, 2)] = 1.0;
    }
    let slope = normal.try_inverse()? * right;
    let fitted: Vec<f64> = (0..n).map(|k| shapes(k).dot(&slope)).collect();
    let square = |x: f64| x * x;
    let after: f64 = values.iter().zip(&fitted).map(|(v, f)| square(v - f)).sum();
    let mean = values.iter().sum::<f64>() / n as f64;
    let before: f64 = values.iter().map(|v| square(v - mean)).sum();
    let freedom = (n - 1 - more) as f64;
    let ratio = ((before - after) / more as f64) / (after / freedom);
    let chance = quantile::f_exceeds(ratio, more as f64, freedom);
    (chance * TRIED <= FALSE_ALARM_OF_A_TEST_OF_SCATTER).then_some(())?;
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| fitted[*a].total_cmp(&fitted[*b]));
    let (better, worse) = order.split_at(n / 2);
    let coordinates = if axis == FaultAxis::Both { 2.0 } else { 1.0 };
    let typical = |half: &[usize]| {
        let squares: f64 = half
            .iter()
            .map(|k| {
                let (i, size) = sizes[*k];
                let sigma = match axis {
                    FaultAxis::Azimuth => fit.sigmas[i][0],
                    FaultAxis::Elevation => fit.sigmas[i][1],
                    FaultAxis::Both => Angle::from_radians(
                        (fit.sigmas[i][0].radians() * fit.sigmas[i][1].radians()).sqrt(),
                    ),
                };
                size * size / coordinates * fit.variance * sigma.radians().powi(2)
            })
            .sum();
        (squares / half.len() as f64).sqrt()
    };
    let (loud, quiet) = (typical(worse), typical(better).max(1e-12));
    (loud >= LEAST_RATIO_OF_A_LOOSE_JOINT * quiet).then_some(())?;
    // The standard deviation of m values is known to 1/sqrt(2 m) of itself.
    let share = |m: usize| 1.0 / (2.0 * coordinates * m as f64);
    let spread = (share(worse.len()) + share(better.len())).sqrt();
    Some(LooseJoint {
        axis,
        worst: if by_azimuth {
            Worst::Azimuth(Angle::from_radians(slope[2].atan2(slope[1])).wrapped_positive())
        } else if slope[1] > 0.0 {
            Worst::High
        } else {
            Worst::Low
        },
        ratio: loud / quiet,
        sigma: loud / quiet * spread,
        loud: Angle::from_radians(loud),
        quiet: Angle::from_radians(quiet),
        p_value: (chance * TRIED).min(1.0),
        louder: (places.iter())
            .map(|place| {
                let trend = place.shapes(by_azimuth).dot(&slope);
                // Mean of |noise|^(2/3) for unit noise in one and in two coordinates.
                let unit = if axis == FaultAxis::Both {
                    1.1252
                } else {
                    0.8024
                };
                (trend / unit).max(0.1).powf(1.5)
            })
            .collect(),
    })
}
