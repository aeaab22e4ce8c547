//! The hypotheses: mount terms and causes alike, each represented by a few columns of the joint
//! fit.

use std::sync::Arc;

use nalgebra::Vector3;

use crate::angle::Angle;
use crate::mount::{Group, Term};

use super::fault::{Fault, FaultAxis};
use super::log_change::{LogInstant, ZeroChange, zero_of};
use super::prior_size;
use super::shape::{Lever, Shape, ShapeColumn};

/// Something that moves the beam or the target, fitted together with everything else.
#[derive(Clone, Debug, PartialEq)]
pub enum Hypothesis {
    /// Constant terms of the mount model that are fitted together: all of one group.
    Terms(Vec<Term>),
    /// Backlash of the elevation axis that changes sides where the dish is balanced: at this
    /// elevation.
    BalanceFlip {
        /// Elevation at which the load changes sides.
        at: Angle,
    },
    /// An encoder jumped relative to its axis.
    Slip {
        /// The axis.
        axis: FaultAxis,
        /// When.
        instant: LogInstant,
    },
    /// The encoder zero of an axis changes from one log to the next.
    LogZero(ZeroChange),
    /// Beam offset of a further feed, by its place in the station's list, from that of the first.
    Feed(usize),
    /// The tilt of the azimuth axis changes from one peak on.
    BaseKnock(LogInstant),
    /// The beam changes its direction on the dish from one peak on.
    DishKnock(LogInstant),
    /// An encoder drifts slowly relative to its axis.
    Creep {
        /// The axis.
        axis: FaultAxis,
        /// The middle of the session, hours.
        middle: f64,
    },
    /// An axis follows the logged temperature.
    Temperature {
        /// The axis.
        axis: FaultAxis,
        /// Mean of the logged temperatures.
        mean_c: f64,
    },
    /// An axis follows the time of day, as the Sun's heat would make it.
    DayCycle(FaultAxis),
    /// The track's lift three times per turn; twice is a mount term.
    WarpThrice,
    /// An error many times per turn, at the rate of a known gear.
    Teeth {
        /// The axis.
        axis: FaultAxis,
        /// How many times per turn.
        per_turn: f64,
        /// Whether it is once per pinion turn instead of once per tooth of the big gear.
        pinion: bool,
    },
    /// A fast ripple of any origin: this many times per turn.
    Ripple {
        /// The axis.
        axis: FaultAxis,
        /// How many times per turn.
        per_turn: u16,
    },
    /// A pattern without a name: this many times per turn of an axis.
    Pattern {
        /// The axis in which it is seen.
        axis: FaultAxis,
        /// The reading on which it depends.
        with: FaultAxis,
        /// How many times per turn of that reading.
        times: u8,
    },
    /// The dish or the feed flexes as the dish is raised: across (azimuth) or up and down.
    LooseDish(FaultAxis),
    /// The dish or the feed drops to the other side at this elevation.
    Flop {
        /// Elevation.
        at: Angle,
    },
    /// The tilt grows with time.
    Settling {
        /// The middle of the session, hours.
        middle: f64,
    },
    /// A satellite is early or late on its orbit.
    Stale {
        /// Its number in the station file.
        emitter: usize,
    },
    /// The readings include refraction this many times: twice, or not at all.
    Air {
        /// 2 or 0.
        times: f64,
    },
    /// All peaks of one emitter really belong to another.
    Relabelled {
        /// The emitter's number in the station file.
        emitter: usize,
        /// Name of the true emitter.
        really: String,
        /// By peak, the step from the direction of the logged emitter to that of the true one.
        steps: Arc<Vec<Vector3<f64>>>,
    },
    /// Error of the lag removed from the scans of a log, in units of its standard deviation.
    Lag {
        /// The log's number.
        log: usize,
        /// The axis.
        axis: FaultAxis,
    },
    /// Readings of an axis in another unit close to a degree: grads.
    Grads(FaultAxis),
}

/// A size with its unit and standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// In `unit`.
    pub value: f64,
    /// One standard deviation, in `unit`.
    pub sigma: f64,
    /// `deg`, `deg/h`, `s` ...; empty for a fraction.
    pub unit: &'static str,
}

/// Plausible sizes, one standard deviation; common practice, no source. They only keep the fit from
/// absurd values where the data determine nothing.
mod plausible {
    use super::super::prior_size::{GLARING, GLARING_CLOCK_S, PERIODIC as ONCE_PER_TURN};
    use crate::angle::Angle;

    /// Backlash of an axis, or of a part that falls to the other side.
    pub const PLAY: f64 = Angle::from_degrees(2.0).radians();
    /// A slip of an axis: a clutch may slip by any amount.
    pub const SLIP: f64 = Angle::from_degrees(30.0).radians();
    /// A knock after which the dish still works.
    pub const KNOCK: f64 = GLARING.radians();
    /// Feeds side by side at the focus of a dish, which lie within a few beams.
    pub const FEED: f64 = Angle::from_degrees(10.0).radians();
    /// Creep and settling, per hour.
    pub const PER_HOUR: f64 = Angle::from_degrees(0.5).radians();
    /// Bending by heat, per kelvin.
    pub const PER_KELVIN: f64 = Angle::from_degrees(0.2).radians();
    /// Anything that repeats with each turn or day.
    pub const PERIODIC: f64 = ONCE_PER_TURN.radians();
    /// A satellite early or late on its orbit, seconds: as much as a clock may be off.
    pub const ORBIT_S: f64 = GLARING_CLOCK_S;
    /// Refraction differs from the model by this share of itself, by weather and by the model's own
    /// error.
    pub const AIR: f64 = 0.1;
    /// A relabelled peak belongs entirely to the other emitter: practically exact, and the
    /// equations can still be solved.
    pub const WHOLE: f64 = 1e-4;
    /// Prior on the error of a lag, in its standard deviations.
    pub const LAG_SIGMAS: f64 = 5.0;
    /// The factor of a unit is exact; this is practically zero.
    pub const EXACT: f64 = 1e-6;
}

/// A grad is 0.9 degrees by definition: an axis logged in grads moves by a tenth less than the
/// number logged.
pub const GRADS_SCALE: f64 = -0.1;

impl Hypothesis {
    /// The fault that it represents; `None` for the errors of every mount.
    pub fn fault(&self) -> Option<Fault> {
        Some(match self {
            Hypothesis::Terms(terms) => return terms.first().and_then(|t| fault_of(t.group())),
            Hypothesis::Feed(_) | Hypothesis::Lag { .. } => return None,
            Hypothesis::BalanceFlip { .. } => Fault::ElevationBacklash,
            Hypothesis::Slip { axis, .. } | Hypothesis::LogZero(ZeroChange { axis, .. }) => {
                match axis {
                    FaultAxis::Azimuth => Fault::AzimuthSlip,
                    _ => Fault::ElevationSlip,
                }
            }
            Hypothesis::BaseKnock(_) => Fault::BaseKnock,
            Hypothesis::DishKnock(_) => Fault::DishKnock,
            Hypothesis::Creep { .. } => Fault::Creep,
            Hypothesis::Temperature { .. } | Hypothesis::DayCycle(_) => Fault::ThermalDrift,
            Hypothesis::WarpThrice => Fault::WarpedTrack,
            Hypothesis::Teeth { .. } | Hypothesis::Ripple { .. } => Fault::ToothError,
            Hypothesis::Pattern { .. } => Fault::Unexplained,
            Hypothesis::LooseDish(_) | Hypothesis::Flop { .. } => Fault::LooseDish,
            Hypothesis::Settling { .. } => Fault::Settling,
            Hypothesis::Stale { .. } => Fault::StaleElements,
            Hypothesis::Air { .. } => Fault::Refraction,
            Hypothesis::Relabelled { .. } => Fault::WrongEmitter,
            Hypothesis::Grads(_) => Fault::WrongUnit,
        })
    }

    /// The axis in which it shows.
    pub fn axis(&self) -> FaultAxis {
        match self {
            Hypothesis::Terms(terms) => terms
                .first()
                .map_or(FaultAxis::Both, |t| axis_of(t.group())),
            Hypothesis::Slip { axis, .. }
            | Hypothesis::Creep { axis, .. }
            | Hypothesis::Temperature { axis, .. }
            | Hypothesis::DayCycle(axis)
            | Hypothesis::Teeth { axis, .. }
            | Hypothesis::Ripple { axis, .. }
            | Hypothesis::Pattern { axis, .. }
            | Hypothesis::Grads(axis)
            | Hypothesis::LogZero(ZeroChange { axis, .. })
            | Hypothesis::Lag { axis, .. }
            | Hypothesis::LooseDish(axis) => *axis,
            Hypothesis::BalanceFlip { .. } | Hypothesis::WarpThrice | Hypothesis::Air { .. } => {
                FaultAxis::Elevation
            }
            Hypothesis::Flop { .. } => FaultAxis::Azimuth,
            Hypothesis::BaseKnock(_)
            | Hypothesis::DishKnock(_)
            | Hypothesis::Feed(_)
            | Hypothesis::Settling { .. }
            | Hypothesis::Stale { .. }
            | Hypothesis::Relabelled { .. } => FaultAxis::Both,
        }
    }

    /// The mount terms among its coefficients; empty for anything but constant terms.
    pub fn terms(&self) -> Vec<Term> {
        match self {
            Hypothesis::Terms(terms) => terms.clone(),
            _ => Vec::new(),
        }
    }

    /// The same without some mount terms; `None` when no term is left.
    pub fn without_terms(&self, held: &[Term]) -> Option<Hypothesis> {
        match self {
            Hypothesis::Terms(terms) => {
                let left: Vec<Term> = (terms.iter().copied())
                    .filter(|t| !held.contains(t))
                    .collect();
                (!left.is_empty()).then_some(Hypothesis::Terms(left))
            }
            other => Some(other.clone()),
        }
    }

    /// The group of its mount terms.
    pub fn group(&self) -> Option<Group> {
        match self {
            Hypothesis::Terms(terms) => terms.first().map(|t| t.group()),
            _ => None,
        }
    }

    /// Its columns in the joint fit, for a beam of that width.
    pub fn columns(&self, beamwidth: Angle) -> Vec<ShapeColumn> {
        use Shape::{After, CosAzimuth, CosElevation, HoursSince, SinAzimuth, SinElevation};
        let pair = |term: Term, shapes: [Shape; 2], spread: f64| {
            shapes.map(|s| ShapeColumn::term(term, s, spread)).to_vec()
        };
        let both = |terms: [Term; 2], shape: Shape, spread: f64| {
            terms.map(|t| ShapeColumn::term(t, shape, spread)).to_vec()
        };
        let waves = |with: FaultAxis, k: f64| match with {
            FaultAxis::Azimuth => [CosAzimuth(k), SinAzimuth(k)],
            _ => [CosElevation(k), SinElevation(k)],
        };
        match self {
            Hypothesis::Terms(terms) => (terms.iter())
                .map(|t| ShapeColumn::term(*t, Shape::Always, prior_size::prior(*t, beamwidth)))
                .collect(),
            Hypothesis::BalanceFlip { at } => vec![ShapeColumn::term(
                Term::ElevationZero,
                Shape::Above(*at),
                plausible::PLAY,
            )],
            Hypothesis::Flop { at } => vec![ShapeColumn::term(
                Term::Collimation,
                Shape::Above(*at),
                plausible::PLAY,
            )],
            Hypothesis::Slip { axis, instant } => {
                vec![ShapeColumn::term(
                    zero(*axis),
                    After(instant.hours),
                    plausible::SLIP,
                )]
            }
            Hypothesis::LogZero(change) => {
                let term = zero_of(change.axis);
                // An encoder that was zeroed again may be anywhere.
                let spread = prior_size::prior(term, beamwidth);
                vec![ShapeColumn::term(
                    term,
                    Shape::InLogs(change.before),
                    spread,
                )]
            }
            Hypothesis::BaseKnock(instant) => both(
                [Term::TiltNorth, Term::TiltEast],
                After(instant.hours),
                plausible::KNOCK,
            ),
            Hypothesis::DishKnock(instant) => both(
                [Term::Collimation, Term::ElevationZero],
                After(instant.hours),
                plausible::KNOCK,
            ),
            // Right adds to the collimation, up to the second axis.
            Hypothesis::Feed(feed) => both(
                [Term::Collimation, Term::ElevationZero],
                Shape::OfFeed(*feed),
                plausible::FEED,
            ),
            Hypothesis::Creep { axis, middle } => vec![ShapeColumn::term(
                zero(*axis),
                HoursSince(*middle),
                plausible::PER_HOUR,
            )],
            Hypothesis::Temperature { axis, mean_c } => vec![ShapeColumn::term(
                zero(*axis),
                Shape::WarmerThan(*mean_c),
                plausible::PER_KELVIN,
            )],
            Hypothesis::DayCycle(axis) => pair(
                zero(*axis),
                [Shape::CosDay, Shape::SinDay],
                plausible::PERIODIC,
            ),
            Hypothesis::WarpThrice => pair(
                Term::ElevationZero,
                waves(FaultAxis::Azimuth, 3.0),
                plausible::PERIODIC,
            ),
            Hypothesis::Teeth { axis, per_turn, .. } => {
                pair(zero(*axis), waves(*axis, *per_turn), plausible::PERIODIC)
            }
            Hypothesis::Ripple { axis, per_turn } => pair(
                zero(*axis),
                waves(*axis, f64::from(*per_turn)),
                plausible::PERIODIC,
            ),
            Hypothesis::Pattern { axis, with, times } => pair(
                zero(*axis),
                waves(*with, f64::from(*times)),
                plausible::PERIODIC,
            ),
            Hypothesis::Lag { log, axis } => {
                let shape = Shape::ByLag {
                    log: *log,
                    second: *axis == FaultAxis::Elevation,
                };
                // The lag was estimated from these same peaks: they determine it again here, and
                // count only once.
                vec![ShapeColumn::term(zero(*axis), shape, plausible::LAG_SIGMAS)]
            }
            Hypothesis::Grads(axis) => {
                vec![
                    ShapeColumn::term(scale(*axis), Shape::Always, 1.0)
                        .known(GRADS_SCALE, plausible::EXACT),
                ]
            }
            // In addition to collimation (constant), skew (sine) and azimuth zero (cosine); up and
            // down in addition to elevation zero and droop.
            Hypothesis::LooseDish(axis) => {
                let term = match axis {
                    FaultAxis::Azimuth => Term::Collimation,
                    _ => Term::ElevationZero,
                };
                vec![ShapeColumn::term(
                    term,
                    SinElevation(2.0),
                    plausible::PERIODIC,
                )]
            }
            Hypothesis::Settling { middle } => both(
                [Term::TiltNorth, Term::TiltEast],
                HoursSince(*middle),
                plausible::PER_HOUR,
            ),
            Hypothesis::Stale { emitter } => {
                vec![ShapeColumn::target(
                    Lever::Orbit(*emitter),
                    plausible::ORBIT_S,
                )]
            }
            Hypothesis::Air { times } => {
                // The target direction already includes refraction once.
                vec![ShapeColumn::target(Lever::Air, 1.0).known(times - 1.0, plausible::AIR)]
            }
            Hypothesis::Relabelled { steps, .. } => {
                vec![
                    ShapeColumn::target(Lever::Retarget(steps.clone()), 1.0)
                        .known(1.0, plausible::WHOLE),
                ]
            }
        }
    }

    /// Number of parameters for an information criterion: coefficients not known beforehand, and
    /// places that were searched for.
    pub fn parameters(&self) -> f64 {
        let free = match self {
            Hypothesis::Terms(terms) => terms.len(),
            Hypothesis::Air { .. }
            | Hypothesis::Relabelled { .. }
            | Hypothesis::Grads(_)
            | Hypothesis::Lag { .. } => 0,
            Hypothesis::DayCycle(_)
            | Hypothesis::WarpThrice
            | Hypothesis::Teeth { .. }
            | Hypothesis::Ripple { .. }
            | Hypothesis::Pattern { .. }
            | Hypothesis::Settling { .. }
            | Hypothesis::Feed(_)
            | Hypothesis::BaseKnock(_)
            | Hypothesis::DishKnock(_) => 2,
            _ => 1,
        };
        let searched = match self {
            Hypothesis::Slip { .. }
            | Hypothesis::BalanceFlip { .. }
            | Hypothesis::Flop { .. }
            | Hypothesis::BaseKnock(_)
            | Hypothesis::DishKnock(_)
            | Hypothesis::Ripple { .. }
            | Hypothesis::Relabelled { .. } => 1,
            _ => 0,
        };
        (free + searched) as f64
    }

    /// Whether its size is known beforehand, so that the only question is whether it is present.
    pub fn is_of_known_size(&self) -> bool {
        matches!(
            self,
            Hypothesis::Air { .. } | Hypothesis::Relabelled { .. } | Hypothesis::Grads(_)
        )
    }

    /// When the change happened, if it was a sudden one.
    pub fn instant(&self) -> Option<LogInstant> {
        match self {
            Hypothesis::Slip { instant, .. }
            | Hypothesis::BaseKnock(instant)
            | Hypothesis::DishKnock(instant) => Some(*instant),
            Hypothesis::LogZero(change) => Some(change.instant),
            _ => None,
        }
    }

    /// Whether it is a jump of a zero.
    pub fn is_jump_of_a_zero(&self) -> bool {
        matches!(self, Hypothesis::Slip { .. } | Hypothesis::LogZero(_))
    }

    /// Whether it changes slowly during a session.
    pub fn is_drift(&self) -> bool {
        matches!(
            self,
            Hypothesis::Creep { .. }
                | Hypothesis::Temperature { .. }
                | Hypothesis::DayCycle(_)
                | Hypothesis::Settling { .. }
        )
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
            // The reading after minus the reading before, for the same direction.
            Hypothesis::Slip { .. } => one(-degrees, "deg"),
            // The coefficient is the zero before minus the zero after, which is the same.
            Hypothesis::LogZero(_) => one(degrees, "deg"),
            Hypothesis::Creep { .. } => one(-degrees, "deg/h"),
            Hypothesis::Temperature { .. } => one(-degrees, "deg/K"),
            Hypothesis::Terms(terms) => match terms.first().map(|t| t.group()) {
                Some(Group::AzimuthScale | Group::ElevationScale) => one(1.0, ""),
                Some(Group::ClockOffset) => one(1.0, "s"),
                _ if values.len() == 2 => amplitude(values, covariance, degrees, "deg"),
                _ => one(degrees, "deg"),
            },
            Hypothesis::Grads(_) => Size {
                value: 1.0 + GRADS_SCALE,
                sigma: 0.0,
                unit: "deg per unit",
            },
            Hypothesis::Stale { .. } => one(1.0, "s"),
            Hypothesis::Lag { .. } => one(1.0, ""),
            Hypothesis::Air { .. } => Size {
                value: 1.0 + values[0],
                ..one(1.0, "times")
            },
            Hypothesis::Relabelled { steps, .. } => {
                let mut off: Vec<f64> = (steps.iter().map(|s| s.norm()))
                    .filter(|s| *s > 0.0)
                    .collect();
                off.sort_by(f64::total_cmp);
                let middle = off.get(off.len() / 2).copied().unwrap_or(0.0);
                Size {
                    value: middle * degrees,
                    sigma: 0.0,
                    unit: "deg",
                }
            }
            Hypothesis::Settling { .. } => amplitude(values, covariance, degrees, "deg/h"),
            _ if values.len() == 2 => amplitude(values, covariance, degrees, "deg"),
            _ => one(degrees, "deg"),
        }
    }

    /// Whether two are the same apart from where they were found.
    pub fn same_kind(&self, other: &Hypothesis) -> bool {
        use Hypothesis::{Feed, Lag, LogZero, Pattern, Relabelled, Stale, Teeth, Terms};
        match (self, other) {
            (Terms(a), Terms(b)) => a.first().map(|t| t.group()) == b.first().map(|t| t.group()),
            (Stale { emitter: a }, Stale { emitter: b })
            | (Relabelled { emitter: a, .. }, Relabelled { emitter: b, .. }) => a == b,
            (Teeth { .. }, Teeth { .. }) | (Pattern { .. }, Pattern { .. }) => self == other,
            (Lag { .. }, Lag { .. }) => self == other,
            (Feed(a), Feed(b)) => a == b,
            (LogZero(a), LogZero(b)) => a.axis == b.axis && a.logs == b.logs,
            _ => {
                std::mem::discriminant(self) == std::mem::discriminant(other)
                    && self.axis() == other.axis()
            }
        }
    }
}

/// The fault that a group of mount terms represents, if any.
fn fault_of(group: Group) -> Option<Fault> {
    Some(match group {
        Group::AzimuthBacklash => Fault::AzimuthBacklash,
        Group::ElevationBacklash => Fault::ElevationBacklash,
        Group::AzimuthRunout => Fault::AzimuthRunout,
        Group::ElevationRunout => Fault::ElevationRunout,
        Group::TrackWarp => Fault::WarpedTrack,
        Group::AzimuthScale | Group::ElevationScale => Fault::WrongScale,
        Group::ClockOffset => Fault::Clock,
        Group::AzimuthZero
        | Group::ElevationZero
        | Group::Tilt
        | Group::Collimation
        | Group::AxisSkew
        | Group::Droop => return None,
    })
}

fn axis_of(group: Group) -> FaultAxis {
    match group {
        Group::AzimuthZero
        | Group::AzimuthScale
        | Group::AzimuthRunout
        | Group::AzimuthBacklash => FaultAxis::Azimuth,
        Group::ElevationZero
        | Group::ElevationScale
        | Group::ElevationRunout
        | Group::TrackWarp
        | Group::ElevationBacklash
        | Group::Droop => FaultAxis::Elevation,
        Group::Tilt | Group::Collimation | Group::AxisSkew | Group::ClockOffset => FaultAxis::Both,
    }
}

/// Magnitude of a pair of coefficients, with its standard deviation to first order.
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

fn zero(axis: FaultAxis) -> Term {
    match axis {
        FaultAxis::Azimuth => Term::AzimuthZero,
        _ => Term::ElevationZero,
    }
}

fn scale(axis: FaultAxis) -> Term {
    match axis {
        FaultAxis::Azimuth => Term::AzimuthScale,
        _ => Term::ElevationScale,
    }
}
