//! The data of a picture of a finding: values only, the report draws them.

use crate::angle::Angle;

use super::diagnose::Diagnosis;
use super::finding::{Finding, Subject};
use crate::explain::{Explanation, Fault, FaultAxis, Hypothesis, SIDELOBE};
use crate::mount::Group;

/// What to draw.
#[derive(Clone, Debug)]
pub enum PlotData {
    /// Effect of a cause on each peak, and the residual with it.
    Effect {
        /// The quantity on the horizontal axis.
        against: Against,
        /// The mount axis.
        axis: FaultAxis,
        /// The peaks.
        points: Vec<EffectPoint>,
    },
    /// Distance by which each peak misses, with the peaks concerned highlighted.
    Misses {
        /// The peaks.
        points: Vec<MissPoint>,
        /// Distances of the first sidelobe, if the finding is about it.
        sidelobe: Option<[Angle; 2]>,
    },
    /// Absolute residuals.
    Scatter {
        /// The quantity on the horizontal axis.
        against: Against,
        /// The mount axis.
        axis: FaultAxis,
        /// Position along the quantity, and size, degrees.
        points: Vec<(f64, Angle)>,
    },
    /// Distance by which each peak misses as logged and with the mistake corrected.
    Misreading {
        /// Row in the log, miss as logged, miss when corrected.
        points: Vec<(usize, Angle, Angle)>,
    },
    /// The azimuth zero compared with true and magnetic north.
    Compass {
        /// The azimuth zero.
        zero: Angle,
        /// Magnetic north.
        declination: Angle,
        /// One standard deviation of the agreement.
        sigma: Angle,
    },
}

/// The quantity on the horizontal axis of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// Hours since the first peak.
    Hours,
    /// Azimuth reading, degrees.
    Azimuth,
    /// Elevation of the dish, degrees.
    Elevation,
    /// Side of arrival: -1 and 1.
    Arrival,
    /// Logged temperature, degrees Celsius.
    Temperature,
    /// Local solar time, hours.
    SolarHours,
    /// Phase within a tooth or a turn of the pinion, degrees of its cycle.
    Phase,
}

/// One peak of an effect.
#[derive(Clone, Copy, Debug)]
pub struct EffectPoint {
    /// Value of the quantity.
    pub x: f64,
    /// Row in the log.
    pub row: usize,
    /// Misfit of the peak with the cause removed from the model.
    pub seen: Angle,
    /// Effect of the cause on it by the model.
    pub effect: Angle,
    /// Misfit with the cause.
    pub left: Angle,
    /// Whether the peak is explained.
    pub kept: bool,
}

/// One peak among misses.
#[derive(Clone, Copy, Debug)]
pub struct MissPoint {
    /// Row in the log.
    pub row: usize,
    /// Distance on the sky between emitter and modelled beam.
    pub miss: Angle,
    /// Whether the finding is about it.
    pub meant: bool,
}

/// The data to draw for a finding.
pub fn plot_data(diagnosis: &Diagnosis, finding: &Finding) -> Option<PlotData> {
    let explanation = diagnosis.explanation.as_ref();
    let session = &explanation.session;
    Some(match &finding.subject {
        Subject::Cause(index) => effect(explanation, *index)?,
        Subject::Peaks(meant) => PlotData::Misses {
            points: misses(explanation)
                .into_iter()
                .enumerate()
                .map(|(i, (row, miss))| MissPoint {
                    row,
                    miss,
                    meant: meant.contains(&i),
                })
                .collect(),
            sidelobe: (finding.fault == Fault::Sidelobe)
                .then(|| SIDELOBE.map(|beams| session.beamwidth * beams)),
        },
        Subject::Scatter { axis, by_azimuth } => scatter(explanation, *axis, *by_azimuth),
        Subject::Compass(declination) => PlotData::Compass {
            zero: Angle::from_degrees(finding.size?),
            declination: *declination,
            sigma: Angle::from_degrees(finding.sigma?),
        },
        Subject::Session => match explanation
            .misread
            .as_ref()
            .and_then(|m| m.misses_as_logged.as_ref())
        {
            Some(before) => PlotData::Misreading {
                points: (misses(explanation).into_iter().zip(before))
                    .map(|((row, after), before)| (row, *before, after))
                    .collect(),
            },
            None => PlotData::Misses {
                points: (misses(explanation).into_iter())
                    .map(|(row, miss)| MissPoint {
                        row,
                        miss,
                        meant: false,
                    })
                    .collect(),
                sidelobe: None,
            },
        },
    })
}

/// Row and distance on the sky of each peak.
fn misses(explanation: &Explanation) -> Vec<(usize, Angle)> {
    let session = &explanation.session;
    let rows = session.peaks.iter().map(|p| p.row);
    rows.zip(explanation.fit.misses(session)).collect()
}

fn effect(explanation: &Explanation, place: usize) -> Option<PlotData> {
    let cause = explanation.causes.get(place)?;
    let (session, fit) = (&explanation.session, &explanation.fit);
    let problem = fit.problem(session);
    let mut without = fit.parameters.clone();
    for j in fit.columns_of(session, cause.index) {
        without[j] = 0.0;
    }
    let both: Vec<([Angle; 2], [Angle; 2])> = (0..session.peaks.len())
        .map(|i| {
            let parts = |p: &[f64]| {
                let off = problem.misfit(i, p);
                [off.cross_elevation, off.elevation]
            };
            (parts(&without), parts(&fit.parameters))
        })
        .collect();
    let strength = |axis: usize| -> f64 {
        both.iter()
            .map(|(seen, left)| (seen[axis] - left[axis]).radians().powi(2))
            .sum()
    };
    // A cause of both axes is drawn in the one where its effect is larger.
    let axis = match cause.hypothesis.axis() {
        FaultAxis::Azimuth => 0,
        FaultAxis::Elevation => 1,
        FaultAxis::Both => usize::from(strength(1) > strength(0)),
    };
    let against = against(&cause.hypothesis);
    let points = (session.peaks.iter().enumerate())
        .filter(|(_, peak)| peak.sighting.measured()[axis])
        .map(|(i, peak)| {
            let reading = problem.at(i, &fit.parameters).reading;
            let (seen, left) = &both[i];
            let x = match against {
                Against::Hours => peak.hours,
                Against::Azimuth => reading.azimuth.degrees(),
                Against::Elevation => peak.raised().degrees(),
                Against::Arrival => {
                    let approach = peak.sighting.approach;
                    [approach.azimuth, approach.elevation][axis]
                }
                Against::Temperature => peak.temperature_c.unwrap_or(f64::NAN),
                Against::SolarHours => peak.day_angle.degrees() / 15.0,
                Against::Phase => phase(&cause.hypothesis, reading.azimuth, reading.elevation),
            };
            EffectPoint {
                x,
                row: peak.row,
                seen: seen[axis],
                effect: seen[axis] - left[axis],
                left: left[axis],
                kept: fit.kept[i],
            }
        })
        .filter(|p| p.x.is_finite())
        .collect();
    Some(PlotData::Effect {
        against,
        axis: if axis == 0 {
            FaultAxis::Azimuth
        } else {
            FaultAxis::Elevation
        },
        points,
    })
}

fn against(hypothesis: &Hypothesis) -> Against {
    let of_axis = |axis: FaultAxis| match axis {
        FaultAxis::Azimuth => Against::Azimuth,
        _ => Against::Elevation,
    };
    match hypothesis {
        Hypothesis::Terms(terms) => match terms.first().map(|t| t.group()) {
            Some(Group::AzimuthBacklash | Group::ElevationBacklash) => Against::Arrival,
            Some(Group::AzimuthRunout | Group::AzimuthScale | Group::TrackWarp) => Against::Azimuth,
            Some(Group::ClockOffset) => Against::Hours,
            _ => Against::Elevation,
        },
        Hypothesis::BalanceFlip { .. }
        | Hypothesis::Flop { .. }
        | Hypothesis::LooseDish(_)
        | Hypothesis::Air { .. } => Against::Elevation,
        Hypothesis::WarpThrice => Against::Azimuth,
        Hypothesis::Grads(axis) => of_axis(*axis),
        Hypothesis::Pattern { with, .. } => of_axis(*with),
        Hypothesis::Teeth { .. } | Hypothesis::Ripple { .. } => Against::Phase,
        Hypothesis::Temperature { .. } => Against::Temperature,
        Hypothesis::DayCycle(_) => Against::SolarHours,
        Hypothesis::Slip { .. }
        | Hypothesis::LogZero(_)
        | Hypothesis::BaseKnock(_)
        | Hypothesis::DishKnock(_)
        | Hypothesis::Creep { .. }
        | Hypothesis::Feed(_)
        | Hypothesis::Settling { .. }
        | Hypothesis::Lag { .. }
        | Hypothesis::Stale { .. }
        | Hypothesis::Relabelled { .. } => Against::Hours,
    }
}

fn phase(hypothesis: &Hypothesis, azimuth: Angle, elevation: Angle) -> f64 {
    let (axis, per_turn) = match hypothesis {
        Hypothesis::Teeth { axis, per_turn, .. } => (axis, *per_turn),
        Hypothesis::Ripple { axis, per_turn } => (axis, f64::from(*per_turn)),
        _ => return 0.0,
    };
    let turned = match axis {
        FaultAxis::Azimuth => azimuth,
        _ => elevation,
    };
    (turned * per_turn).wrapped_positive().degrees()
}

fn scatter(explanation: &Explanation, axis: FaultAxis, by_azimuth: bool) -> PlotData {
    let (session, fit) = (&explanation.session, &explanation.fit);
    let problem = fit.problem(session);
    let points = (0..session.peaks.len())
        .map(|i| {
            let off = problem.misfit(i, &fit.parameters);
            let size = match axis {
                FaultAxis::Azimuth => off.cross_elevation.abs(),
                FaultAxis::Elevation => off.elevation.abs(),
                FaultAxis::Both => off.size(),
            };
            let reading = problem.at(i, &fit.parameters).reading;
            let x = if by_azimuth {
                reading.azimuth.wrapped_positive().degrees()
            } else {
                reading.elevation.degrees()
            };
            (x, size)
        })
        .collect();
    PlotData::Scatter {
        against: if by_azimuth {
            Against::Azimuth
        } else {
            Against::Elevation
        },
        axis,
        points,
    }
}
