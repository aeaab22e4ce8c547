//! What a picture of a finding must show: values only, drawing is the report's.

use crate::angle::Angle;

use super::cause::Cause;
use super::diagnose::Diagnosis;
use super::finding::{Finding, Subject};
use super::ground::{Ground, State};
use super::name::{Axis, Fault};
use super::rows::SIDELOBE;

/// What to draw.
#[derive(Clone, Debug)]
pub enum Shown {
    /// What a cause does to each peak, and what is left with it.
    Effect {
        /// Along which quantity.
        against: Against,
        /// In which axis.
        axis: Axis,
        /// The peaks.
        points: Vec<EffectPoint>,
    },
    /// How far each peak misses, the meant ones set off.
    Misses {
        /// The peaks.
        points: Vec<MissPoint>,
        /// Where the first sidelobe lies, if that is what is meant.
        sidelobe: Option<[Angle; 2]>,
    },
    /// Residuals without sign.
    Scatter {
        /// Along which quantity.
        against: Against,
        /// In which axis.
        axis: Axis,
        /// Place along it and size, degrees.
        points: Vec<(f64, Angle)>,
    },
    /// How far each peak misses as logged and with the mistake put right.
    Worlds {
        /// Row in the log, miss as logged, miss then.
        points: Vec<(usize, Angle, Angle)>,
    },
    /// The azimuth zero among the norths.
    Compass {
        /// The azimuth zero.
        zero: Angle,
        /// Magnetic north.
        declination: Angle,
        /// One standard deviation of the agreement.
        sigma: Angle,
    },
}

/// What a picture lays along.
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
    /// Place within a tooth or a turn of the pinion, degrees of its cycle.
    Phase,
}

/// One peak of an effect.
#[derive(Clone, Copy, Debug)]
pub struct EffectPoint {
    /// Along the quantity.
    pub x: f64,
    /// Row in the log.
    pub row: usize,
    /// Misfit of the peak when the cause is taken out of the model.
    pub seen: Angle,
    /// What the cause does to it by the model.
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
    /// Whether it is meant.
    pub meant: bool,
}

/// What to draw of a finding.
pub fn show(diagnosis: &Diagnosis, finding: &Finding) -> Option<Shown> {
    let (ground, state) = (&diagnosis.ground, &diagnosis.state);
    Some(match &finding.subject {
        Subject::Cause(index) => effect(ground, state, *index)?,
        Subject::Peaks(meant) => Shown::Misses {
            points: misses(ground, state)
                .into_iter()
                .enumerate()
                .map(|(i, (row, miss))| MissPoint {
                    row,
                    miss,
                    meant: meant.contains(&i),
                })
                .collect(),
            sidelobe: (finding.fault == Fault::Sidelobe)
                .then(|| SIDELOBE.map(|beams| ground.beamwidth * beams)),
        },
        Subject::Scatter { axis, by_azimuth } => scatter(ground, state, *axis, *by_azimuth),
        Subject::Compass(declination) => Shown::Compass {
            zero: Angle::from_degrees(finding.size?),
            declination: *declination,
            sigma: Angle::from_degrees(finding.sigma?),
        },
        Subject::Session => match &diagnosis.as_logged {
            Some(before) => Shown::Worlds {
                points: (misses(ground, state).into_iter().zip(before))
                    .map(|((row, after), before)| (row, *before, after))
                    .collect(),
            },
            None => Shown::Misses {
                points: (misses(ground, state).into_iter())
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
pub fn misses(ground: &Ground, state: &State) -> Vec<(usize, Angle)> {
    let explanation = ground.explanation(&state.columns, &state.sigmas);
    (ground.cases.iter().enumerate())
        .map(|(i, case)| {
            let mut off = explanation.misfit(i, &state.parameters);
            let peak = &case.observation.peak;
            if peak.azimuth.is_none() {
                off.cross_elevation = Angle::ZERO;
            }
            if peak.elevation.is_none() {
                off.elevation = Angle::ZERO;
            }
            (peak.row, off.size())
        })
        .collect()
}

fn effect(ground: &Ground, state: &State, index: usize) -> Option<Shown> {
    let cause = state.causes.get(index)?;
    let explanation = ground.explanation(&state.columns, &state.sigmas);
    let mut without = state.parameters.clone();
    for j in state.parameters_of(index) {
        without[j] = 0.0;
    }
    let both: Vec<([Angle; 2], [Angle; 2])> = (0..ground.cases.len())
        .map(|i| {
            let parts = |p: &[f64]| {
                let off = explanation.misfit(i, p);
                [off.cross_elevation, off.elevation]
            };
            (parts(&without), parts(&state.parameters))
        })
        .collect();
    let strength = |axis: usize| -> f64 {
        both.iter()
            .map(|(seen, left)| (seen[axis] - left[axis]).radians().powi(2))
            .sum()
    };
    // A cause of both axes is drawn in the one in which it does more.
    let axis = match cause.axis() {
        Axis::Azimuth => 0,
        Axis::Elevation => 1,
        Axis::Both => usize::from(strength(1) > strength(0)),
    };
    let against = against(cause);
    let points = (ground.cases.iter().enumerate())
        .filter(|(_, case)| {
            let peak = &case.observation.peak;
            [peak.azimuth, peak.elevation][axis].is_some()
        })
        .map(|(i, case)| {
            let reading = explanation.at(i, &state.parameters).reading;
            let (seen, left) = &both[i];
            let x = match against {
                Against::Hours => case.hours,
                Against::Azimuth => reading.azimuth.degrees(),
                Against::Elevation => case.raised().degrees(),
                Against::Arrival => {
                    let approach = case.observation.approach();
                    [approach.azimuth, approach.elevation][axis]
                }
                Against::Temperature => case.observation.peak.temperature_c.unwrap_or(f64::NAN),
                Against::SolarHours => case.day_angle.degrees() / 15.0,
                Against::Phase => phase(cause, reading.azimuth, reading.elevation),
            };
            EffectPoint {
                x,
                row: case.observation.peak.row,
                seen: seen[axis],
                effect: seen[axis] - left[axis],
                left: left[axis],
                kept: state.kept[i],
            }
        })
        .filter(|p| p.x.is_finite())
        .collect();
    Some(Shown::Effect {
        against,
        axis: if axis == 0 {
            Axis::Azimuth
        } else {
            Axis::Elevation
        },
        points,
    })
}

fn against(cause: &Cause) -> Against {
    match cause {
        Cause::Backlash(_) => Against::Arrival,
        Cause::BalanceFlip { .. }
        | Cause::Flop { .. }
        | Cause::LooseDish(_)
        | Cause::Air { .. } => Against::Elevation,
        Cause::Runout(Axis::Azimuth) | Cause::Warp { .. } => Against::Azimuth,
        Cause::Scale(Axis::Azimuth) | Cause::Grads(Axis::Azimuth) => Against::Azimuth,
        Cause::Runout(_) | Cause::Scale(_) | Cause::Grads(_) => Against::Elevation,
        Cause::Teeth { .. } => Against::Phase,
        Cause::Temperature { .. } => Against::Temperature,
        Cause::DayCycle(_) => Against::SolarHours,
        Cause::Slip { .. }
        | Cause::Creep { .. }
        | Cause::Settling { .. }
        | Cause::Clock
        | Cause::Stale { .. }
        | Cause::Relabelled { .. } => Against::Hours,
    }
}

fn phase(cause: &Cause, azimuth: Angle, elevation: Angle) -> f64 {
    match cause {
        Cause::Teeth { axis, per_turn, .. } => {
            let turned = match axis {
                Axis::Azimuth => azimuth,
                _ => elevation,
            };
            (turned * *per_turn).wrapped_positive().degrees()
        }
        _ => 0.0,
    }
}

fn scatter(ground: &Ground, state: &State, axis: Axis, by_azimuth: bool) -> Shown {
    let explanation = ground.explanation(&state.columns, &state.sigmas);
    let points = (0..ground.cases.len())
        .map(|i| {
            let off = explanation.misfit(i, &state.parameters);
            let size = match axis {
                Axis::Azimuth => off.cross_elevation.abs(),
                Axis::Elevation => off.elevation.abs(),
                Axis::Both => off.size(),
            };
            let reading = explanation.at(i, &state.parameters).reading;
            let x = if by_azimuth {
                reading.azimuth.wrapped_positive().degrees()
            } else {
                reading.elevation.degrees()
            };
            (x, size)
        })
        .collect();
    Shown::Scatter {
        against: if by_azimuth {
            Against::Azimuth
        } else {
            Against::Elevation
        },
        axis,
        points,
    }
}
