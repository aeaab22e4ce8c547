//! The causes that are fitted jointly with the mount terms, and what each does.

use std::sync::Arc;

use nalgebra::Vector3;

use crate::angle::Angle;
use crate::mount::Term;

use super::name::{Axis, Fault};
use super::shape::{Column, Lever, Shape};

/// A change of the model, refitted together with the mount terms.
#[derive(Clone, Debug, PartialEq)]
pub enum Cause {
    /// Play of an axis, by the side from which it arrived.
    Backlash(Axis),
    /// Play of the elevation axis that flips where the dish is in balance: at this reading.
    BalanceFlip {
        /// Elevation at which the load changes its side.
        at: Angle,
    },
    /// An axis and its encoder jumped against each other.
    Slip {
        /// Which axis.
        axis: Axis,
        /// When: hours after the first peak, halfway between the two peaks.
        hours: f64,
        /// The rows between which it happened.
        between: (usize, usize),
    },
    /// An axis and its encoder move slowly against each other.
    Creep {
        /// Which axis.
        axis: Axis,
        /// The middle of the session, hours.
        middle: f64,
    },
    /// An axis follows the logged temperature.
    Temperature {
        /// Which axis.
        axis: Axis,
        /// Mean of the logged temperatures.
        mean_c: f64,
    },
    /// An axis follows the time of day, as the Sun's heat would make it.
    DayCycle(Axis),
    /// An error once per turn.
    Runout(Axis),
    /// The track's lift, two or three times per turn.
    Warp {
        /// How many times per turn.
        times: u8,
    },
    /// An error many times per turn.
    Teeth {
        /// Which axis.
        axis: Axis,
        /// How many times per turn.
        per_turn: f64,
        /// Whether it is the pinion's turn and not the big gear's tooth.
        pinion: bool,
    },
    /// The axis moves further or less far than its encoder says.
    Scale(Axis),
    /// The dish or the feed yields as the dish is raised: across (azimuth) or up and down.
    LooseDish(Axis),
    /// The dish or the feed flops over sideways at this elevation.
    Flop {
        /// Elevation.
        at: Angle,
    },
    /// The tilt grows.
    Settling {
        /// The middle of the session, hours.
        middle: f64,
    },
    /// The clock is off.
    Clock,
    /// A satellite is early or late on its orbit.
    Stale {
        /// Its number in the station file.
        emitter: usize,
        /// Its name.
        name: String,
    },
    /// The readings carry the air's bend so many times: twice, or not at all.
    Air {
        /// 2 or 0.
        times: f64,
    },
    /// All peaks of one emitter were those of another.
    Relabelled {
        /// The emitter's number in the station file.
        emitter: usize,
        /// As logged.
        logged: String,
        /// What it really was.
        really: String,
        /// By case, the step from the one's direction to the other's.
        steps: Arc<Vec<Vector3<f64>>>,
    },
    /// Readings of an axis in another unit that is nearly a degree: grads.
    Grads(Axis),
}

/// A size with its unit and standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// In `unit`.
    pub value: f64,
    /// One standard deviation, in `unit`.
    pub sigma: f64,
    /// `deg`, `deg/h`, `s` ...
    pub unit: &'static str,
}

/// Plausible sizes, one standard deviation; common practice, no source. They only keep the fit
/// from absurd values where the data tell nothing.
mod plausible {
    use crate::angle::Angle;
    pub const PLAY: f64 = Angle::from_degrees(2.0).radians();
    pub const SLIP: f64 = Angle::from_degrees(30.0).radians();
    pub const PER_HOUR: f64 = Angle::from_degrees(0.5).radians();
    pub const PER_KELVIN: f64 = Angle::from_degrees(0.2).radians();
    pub const PERIODIC: f64 = Angle::from_degrees(2.0).radians();
    pub const SCALE: f64 = 0.3;
    pub const CLOCK_S: f64 = 720.0;
    /// Refraction counts this much more or less than a whole time: weather, and the model.
    pub const AIR: f64 = 0.1;
    /// A relabelled peak is wholly the other emitter's.
    pub const WHOLE: f64 = 1e-4;
    /// A unit is exact.
    pub const EXACT: f64 = 1e-6;
}

/// A grad is 0.9 degrees: an axis logged in grads moves by that fraction less than its number.
pub const GRADS_SCALE: f64 = -0.1;

impl Cause {
    /// The fault that it is a case of.
    pub fn fault(&self) -> Fault {
        match self {
            Cause::Backlash(Axis::Azimuth) => Fault::AzimuthBacklash,
            Cause::Backlash(_) | Cause::BalanceFlip { .. } => Fault::ElevationBacklash,
            Cause::Slip {
                axis: Axis::Azimuth,
                ..
            } => Fault::AzimuthSlip,
            Cause::Slip { .. } => Fault::ElevationSlip,
            Cause::Creep { .. } => Fault::Creep,
            Cause::Temperature { .. } | Cause::DayCycle(_) => Fault::ThermalDrift,
            Cause::Runout(Axis::Azimuth) => Fault::AzimuthRunout,
            Cause::Runout(_) => Fault::ElevationRunout,
            Cause::Warp { .. } => Fault::WarpedTrack,
            Cause::Teeth { .. } => Fault::ToothError,
            Cause::Scale(_) => Fault::WrongScale,
            Cause::LooseDish(_) | Cause::Flop { .. } => Fault::LooseDish,
            Cause::Settling { .. } => Fault::Settling,
            Cause::Clock => Fault::Clock,
            Cause::Stale { .. } => Fault::StaleElements,
            Cause::Air { .. } => Fault::Refraction,
            Cause::Relabelled { .. } => Fault::WrongEmitter,
            Cause::Grads(_) => Fault::WrongUnit,
        }
    }

    /// The axis in which it shows.
    pub fn axis(&self) -> Axis {
        match self {
            Cause::Backlash(axis)
            | Cause::Slip { axis, .. }
            | Cause::Creep { axis, .. }
            | Cause::Temperature { axis, .. }
            | Cause::DayCycle(axis)
            | Cause::Runout(axis)
            | Cause::Teeth { axis, .. }
            | Cause::Scale(axis)
            | Cause::Grads(axis)
            | Cause::LooseDish(axis) => *axis,
            Cause::BalanceFlip { .. } | Cause::Warp { .. } | Cause::Air { .. } => Axis::Elevation,
            Cause::Flop { .. } => Axis::Azimuth,
            Cause::Settling { .. }
            | Cause::Clock
            | Cause::Stale { .. }
            | Cause::Relabelled { .. } => Axis::Both,
        }
    }

    /// Its columns in the joint fit.
    pub fn columns(&self) -> Vec<Column> {
        use Shape::{
            After, Always, CosAzimuth, CosElevation, HoursSince, SinAzimuth, SinElevation,
        };
        let pair = |term: Term, shapes: [Shape; 2], spread: f64| {
            shapes.map(|s| Column::term(term, s, spread)).to_vec()
        };
        match self {
            Cause::Backlash(Axis::Azimuth) => {
                vec![Column::term(Term::AzimuthBacklash, Always, plausible::PLAY)]
            }
            Cause::Backlash(_) => {
                vec![Column::term(
                    Term::ElevationBacklash,
                    Always,
                    plausible::PLAY,
                )]
            }
            Cause::BalanceFlip { at } => vec![Column::term(
                Term::ElevationZero,
                Shape::Above(*at),
                plausible::PLAY,
            )],
            Cause::Flop { at } => vec![Column::term(
                Term::Collimation,
                Shape::Above(*at),
                plausible::PLAY,
            )],
            Cause::Slip { axis, hours, .. } => {
                vec![Column::term(zero(*axis), After(*hours), plausible::SLIP)]
            }
            Cause::Creep { axis, middle } => vec![Column::term(
                zero(*axis),
                HoursSince(*middle),
                plausible::PER_HOUR,
            )],
            Cause::Temperature { axis, mean_c } => vec![Column::term(
                zero(*axis),
                Shape::WarmerThan(*mean_c),
                plausible::PER_KELVIN,
            )],
            Cause::DayCycle(axis) => pair(
                zero(*axis),
                [Shape::CosDay, Shape::SinDay],
                plausible::PERIODIC,
            ),
            Cause::Runout(Axis::Azimuth) => [Term::AzimuthRunoutCos, Term::AzimuthRunoutSin]
                .map(|t| Column::term(t, Always, plausible::PERIODIC))
                .to_vec(),
            // Its cos part is droop.
            Cause::Runout(_) => vec![Column::term(
                Term::ElevationRunoutSin,
                Always,
                plausible::PERIODIC,
            )],
            Cause::Warp { times } => {
                let k = f64::from(*times);
                let shapes = [CosAzimuth(k), SinAzimuth(k)];
                pair(Term::ElevationZero, shapes, plausible::PERIODIC)
            }
            Cause::Teeth { axis, per_turn, .. } => {
                let shapes = match axis {
                    Axis::Azimuth => [CosAzimuth(*per_turn), SinAzimuth(*per_turn)],
                    _ => [CosElevation(*per_turn), SinElevation(*per_turn)],
                };
                pair(zero(*axis), shapes, plausible::PERIODIC)
            }
            Cause::Scale(axis) => vec![Column::term(scale(*axis), Always, plausible::SCALE)],
            Cause::Grads(axis) => vec![
                Column::term(scale(*axis), Always, plausible::SCALE)
                    .known(GRADS_SCALE, plausible::EXACT),
            ],
            // Beyond collimation (constant), skew (sine) and azimuth zero (cosine); up and down
            // beyond elevation zero and droop.
            Cause::LooseDish(axis) => {
                let term = match axis {
                    Axis::Azimuth => Term::Collimation,
                    _ => Term::ElevationZero,
                };
                vec![Column::term(term, SinElevation(2.0), plausible::PERIODIC)]
            }
            Cause::Settling { middle } => [Term::TiltNorth, Term::TiltEast]
                .map(|t| Column::term(t, HoursSince(*middle), plausible::PER_HOUR))
                .to_vec(),
            Cause::Clock => vec![Column::target(Lever::Clock, plausible::CLOCK_S)],
            Cause::Stale { emitter, .. } => {
                vec![Column::target(Lever::Orbit(*emitter), plausible::CLOCK_S)]
            }
            Cause::Air { times } => {
                // The target itself is bent once.
                vec![Column::target(Lever::Air, 1.0).known(times - 1.0, plausible::AIR)]
            }
            Cause::Relabelled { steps, .. } => {
                vec![
                    Column::target(Lever::Retarget(steps.clone()), 1.0)
                        .known(1.0, plausible::WHOLE),
                ]
            }
        }
    }

    /// How many parameters it has for an information criterion: coefficients that are not known
    /// beforehand, and places that were searched for.
    pub fn parameters(&self) -> f64 {
        let free = match self {
            Cause::Air { .. } | Cause::Relabelled { .. } | Cause::Grads(_) => 0,
            _ => self.columns().len(),
        };
        let searched = match self {
            Cause::Slip { .. }
            | Cause::BalanceFlip { .. }
            | Cause::Flop { .. }
            | Cause::Relabelled { .. } => 1,
            _ => 0,
        };
        (free + searched) as f64
    }

    /// The size from the fitted coefficients and their covariance, row by row.
    pub fn size(&self, values: &[f64], covariance: &[Vec<f64>]) -> Size {
        let degrees = 180.0 / std::f64::consts::PI;
        let one = |factor: f64, unit| Size {
            value: values[0] * factor,
            sigma: covariance[0][0].max(0.0).sqrt() * factor.abs(),
            unit,
        };
        match self {
            // The reading after less the reading before, for one and the same direction.
            Cause::Slip { .. } => one(-degrees, "deg"),
            Cause::Creep { .. } => one(-degrees, "deg/h"),
            Cause::Temperature { .. } => one(-degrees, "deg/K"),
            Cause::Scale(_) | Cause::Grads(_) => one(1.0, "fraction"),
            Cause::Clock | Cause::Stale { .. } => one(1.0, "s"),
            Cause::Air { .. } => Size {
                value: 1.0 + values[0],
                ..one(1.0, "times")
            },
            Cause::Relabelled { .. } => one(1.0, "emitter"),
            Cause::Settling { .. } => amplitude(values, covariance, degrees, "deg/h"),
            _ if values.len() == 2 => amplitude(values, covariance, degrees, "deg"),
            _ => one(degrees, "deg"),
        }
    }

    /// Whether two causes are the same but for where they were found.
    pub fn same_kind(&self, other: &Cause) -> bool {
        match (self, other) {
            (Cause::Warp { times: a }, Cause::Warp { times: b }) => a == b,
            (Cause::Stale { emitter: a, .. }, Cause::Stale { emitter: b, .. })
            | (Cause::Relabelled { emitter: a, .. }, Cause::Relabelled { emitter: b, .. }) => {
                a == b
            }
            (
                Cause::Teeth {
                    axis, per_turn: p, ..
                },
                Cause::Teeth {
                    axis: other,
                    per_turn: q,
                    ..
                },
            ) => axis == other && p == q,
            _ => {
                std::mem::discriminant(self) == std::mem::discriminant(other)
                    && self.axis() == other.axis()
            }
        }
    }
}

/// Length of a pair of coefficients, with its standard deviation to first order.
fn amplitude(values: &[f64], covariance: &[Vec<f64>], factor: f64, unit: &'static str) -> Size {
    let length = values[0].hypot(values[1]).max(1e-300);
    let along = [values[0] / length, values[1] / length];
    let variance: f64 = (0..2)
        .flat_map(|i| (0..2).map(move |j| (i, j)))
        .map(|(i, j)| along[i] * covariance[i][j] * along[j])
        .sum();
    Size {
        value: length * factor,
        sigma: variance.max(0.0).sqrt() * factor,
        unit,
    }
}

fn zero(axis: Axis) -> Term {
    match axis {
        Axis::Azimuth => Term::AzimuthZero,
        _ => Term::ElevationZero,
    }
}

fn scale(axis: Axis) -> Term {
    match axis {
        Axis::Azimuth => Term::AzimuthScale,
        _ => Term::ElevationScale,
    }
}
