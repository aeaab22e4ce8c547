//! Converts a tracker's demands to the readings to command, and readings back to what the tracker
//! should see: the full model of a calibration, in both directions.

use std::fmt;

use super::axes::{Axes, Beam, Travel};
use super::protocol::DemandLimits;
use super::zone::largest_rate;
use crate::angle::{Angle, Apparent, Direction};
use crate::mount::{ApproachSigns, Term};
use crate::table::{Demand, FullModel, Refusal};

/// What happens to a demand in the keyhole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InKeyhole {
    /// The nearest reachable reading is commanded.
    Hold,
    /// The demand is refused.
    Refuse,
}

/// On which turn azimuths are reported.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReportTurn {
    /// From 0 to 360 degrees.
    Positive,
    /// From -180 to 180 degrees.
    Signed,
    /// On the turn, and the side of the zenith, of what was last demanded.
    AsAsked,
}

/// A direction as a tracker writes it: any turn of azimuth, elevations to 180 degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AskedDirection {
    /// As written.
    pub azimuth: Angle,
    /// As written; above 90 degrees the other side of the sky.
    pub elevation: Angle,
}

impl AskedDirection {
    /// The direction on the sky; `None` if the numbers are not a valid direction.
    pub fn demand(self) -> Option<Demand> {
        /// Azimuths beyond these many degrees either way are a mistake, not a cable wrap.
        const MOST_AZIMUTH: Angle = Angle::from_degrees(36_000.0);
        let within = self.azimuth.abs() <= MOST_AZIMUTH
            && self.elevation >= -Angle::RIGHT
            && self.elevation <= Angle::HALF_TURN;
        if !within {
            return None;
        }
        Some(if self.elevation > Angle::RIGHT {
            Demand {
                azimuth: self.azimuth + Angle::HALF_TURN,
                elevation: Angle::HALF_TURN - self.elevation,
            }
        } else {
            Demand {
                azimuth: self.azimuth,
                elevation: self.elevation,
            }
        })
    }
}

/// The readings for a demand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aimed {
    /// What to command in the end.
    pub goal: Axes,
    /// From which side the axes arrive.
    approach: ApproachSigns,
    /// Where the beam must point for the demand.
    pub direction: Direction<Apparent>,
    /// Angle from the demand to the nearest reachable direction, if the demand is in the keyhole.
    pub held_off: Option<Angle>,
}

/// Why there are no readings for a demand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NoAim {
    /// The numbers are not a valid direction.
    NoDirection,
    /// The mount cannot go there.
    Refusal(Refusal),
}

impl fmt::Display for NoAim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NoAim::NoDirection => Refusal::NoDirection.fmt(f),
            NoAim::Refusal(refusal) => refusal.fmt(f),
        }
    }
}

/// Turns demands into readings and back.
#[derive(Clone, Debug)]
pub struct Aim {
    full: Box<FullModel>,
    keyhole: InKeyhole,
    report: ReportTurn,
    /// From which side each axis arrives at what was last sent.
    arrived: ApproachSigns,
    rate: f64,
    limits: DemandLimits,
}

impl Aim {
    /// With the full model of a calibration.
    pub fn new(full: Box<FullModel>, keyhole: InKeyhole, report: ReportTurn) -> Aim {
        let mut aim = Aim {
            full,
            keyhole,
            report,
            arrived: ApproachSigns::UNKNOWN,
            rate: 1.0,
            limits: DemandLimits {
                azimuth: (0.0, 360.0),
                elevation: (0.0, 90.0),
            },
        };
        aim.rate = largest_rate(&aim, aim.range());
        aim.limits = aim.reach();
        aim
    }

    /// Replaces the calibration; the sides from which the axes came are retained.
    pub fn replace(&mut self, full: Box<FullModel>) {
        let arrived = self.arrived;
        *self = Aim::new(full, self.keyhole, self.report);
        self.arrived = arrived;
    }

    /// The encoders' ranges.
    pub fn range(&self) -> Travel {
        let range = self.full.range;
        Travel {
            low: Axes([range.azimuth.0, range.elevation.0]),
            high: Axes([range.azimuth.1, range.elevation.1]),
        }
    }

    /// Largest motion of the beam on the sky per unit change of a reading.
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// Half of the backlash of both axes together: by so much the beam may lie off when it is not
    /// known from which side an axis came.
    pub fn play(&self) -> Angle {
        let terms = self.full.mount.terms();
        let half = |term| terms.angle(term).radians() / 2.0;
        Angle::from_radians(half(Term::AzimuthBacklash).hypot(half(Term::ElevationBacklash)))
    }

    /// The readings for a demand of a mount that stands at `here`; `sent` is what was last sent, if
    /// it still holds. An axis that changes by less than `deadband` from there comes from the side
    /// from which it came.
    ///
    /// # Errors
    /// [`NoAim`].
    pub fn aim(
        &self,
        asked: AskedDirection,
        here: Axes,
        sent: Option<Axes>,
        deadband: Angle,
    ) -> Result<Aimed, NoAim> {
        let demand = asked.demand().ok_or(NoAim::NoDirection)?;
        let wanted = self.full.air.apparent(demand.azimuth, demand.elevation);
        let (demand, held_off) = match self.reading(demand, self.arrived, here) {
            Err(Refusal::Keyhole(_)) if self.keyhole == InKeyhole::Hold => {
                let held = self.beside_keyhole(&wanted, here)?;
                let apparent = self.full.air.apparent(held.azimuth, held.elevation);
                (held, Some(apparent.separation(&wanted)))
            }
            _ => (demand, None),
        };
        let rough = self
            .reading(demand, self.arrived, here)
            .map_err(NoAim::Refusal)?;
        let approach = self.approach(rough, here, sent, deadband);
        let goal = self
            .reading(demand, approach, here)
            .map_err(NoAim::Refusal)?;
        Ok(Aimed {
            goal: self.range().nearest(goal),
            approach,
            direction: wanted,
            held_off,
        })
    }

    fn reading(
        &self,
        demand: Demand,
        approach: ApproachSigns,
        here: Axes,
    ) -> Result<Axes, Refusal> {
        self.full
            .command(demand, approach, Some(here.into()))
            .map(Axes::from)
    }

    /// The demand just outside of the cone that no reading reaches, nearest to a direction within it.
    fn beside_keyhole(&self, wanted: &Direction<Apparent>, here: Axes) -> Result<Demand, NoAim> {
        /// Clear of rounding.
        const RIM: Angle = Angle::from_arcseconds(0.1);
        let axis = self.full.axis().east_north_up();
        let half_angle = self.full.mount.keyhole() + RIM;
        let wanted = wanted.east_north_up();
        let mut aside = wanted - axis * wanted.dot(&axis);
        if aside.norm() < 1e-9 {
            // At its exact centre all directions are equal: the one nearest to the beam is taken.
            let beam = self.beam(here);
            aside = beam - axis * beam.dot(&axis);
        }
        let aside = aside
            .try_normalize(1e-12)
            .ok_or(NoAim::Refusal(Refusal::NoDirection))?;
        let (sin, cos) = half_angle.sin_cos();
        let direction = Direction::<Apparent>::from_east_north_up(&(axis * cos + aside * sin));
        let (azimuth, elevation) = self.full.air.demand_of(&direction);
        Ok(Demand { azimuth, elevation })
    }

    /// From which side each axis will arrive.
    fn approach(
        &self,
        rough: Axes,
        here: Axes,
        sent: Option<Axes>,
        deadband: Angle,
    ) -> ApproachSigns {
        /// Nearer than this the mount has arrived; the rounding of its reading does not show from
        /// which side it came.
        const ARRIVED: Angle = Angle::from_degrees(0.5);
        let sign = |axis: usize, last: f64| {
            let from = match sent {
                Some(sent) if (sent.0[axis] - here.0[axis]).abs() < ARRIVED => sent.0[axis],
                _ => here.0[axis],
            };
            let way = rough.0[axis] - from;
            if way.abs() < deadband || way == Angle::ZERO {
                last
            } else {
                way.radians().signum()
            }
        };
        ApproachSigns {
            azimuth: sign(0, self.arrived.azimuth),
            elevation: sign(1, self.arrived.elevation),
        }
    }

    /// Remembers from which side the axes come, when what was aimed at is sent.
    pub fn sent(&mut self, aimed: &Aimed) {
        self.arrived = aimed.approach;
    }

    /// Where the beam points at these readings.
    pub fn direction(&self, axes: Axes) -> Direction<Apparent> {
        self.full.mount.beam(axes.into(), self.arrived)
    }

    /// The direction at these readings as the tracker that asked last for `asked` should see it.
    pub fn seen(&self, axes: Axes, asked: Option<AskedDirection>) -> AskedDirection {
        let (azimuth, elevation) = self.full.air.demand_of(&self.direction(axes));
        let seen = AskedDirection { azimuth, elevation };
        match (self.report, asked) {
            (ReportTurn::Positive, _) | (ReportTurn::AsAsked, None) => AskedDirection {
                azimuth: azimuth.wrapped_positive(),
                ..seen
            },
            (ReportTurn::Signed, _) => AskedDirection {
                azimuth: azimuth.wrapped_signed(),
                ..seen
            },
            (ReportTurn::AsAsked, Some(asked)) if asked.elevation > Angle::RIGHT => {
                AskedDirection {
                    azimuth: (azimuth + Angle::HALF_TURN).nearest_turn_to(asked.azimuth),
                    elevation: Angle::HALF_TURN - elevation,
                }
            }
            (ReportTurn::AsAsked, Some(asked)) => AskedDirection {
                azimuth: azimuth.nearest_turn_to(asked.azimuth),
                ..seen
            },
        }
    }

    /// What can be demanded: the reach of the encoders as a tracker counts.
    pub fn demand_limits(&self) -> DemandLimits {
        self.limits
    }

    /// The reach of the encoders, sampled on a grid.
    fn reach(&self) -> DemandLimits {
        /// Places along each axis: corrections change slowly.
        const PLACES: usize = 36;
        let range = self.range();
        let along = |axis: usize, k: usize| {
            range.low.0[axis]
                + (range.high.0[axis] - range.low.0[axis]) * (k as f64 / PLACES as f64)
        };
        let mut azimuth = (f64::INFINITY, f64::NEG_INFINITY);
        let mut elevation = (f64::INFINITY, f64::NEG_INFINITY);
        let widen = |limits: &mut (f64, f64), value: f64| {
            *limits = (limits.0.min(value), limits.1.max(value));
        };
        for i in 0..=PLACES {
            for j in 0..=PLACES {
                let place = Axes([along(0, i), along(1, j)]);
                let (az, el) = self.full.air.demand_of(&self.direction(place));
                let rough = self.full.rough_demand_azimuth(place.0[0]);
                // Near the zenith an azimuth is not meaningful.
                if el.degrees() < 80.0 && self.full.mount.kind().is_az_el() {
                    widen(&mut azimuth, az.nearest_turn_to(rough).degrees());
                }
                widen(&mut elevation, el.degrees());
            }
        }
        if azimuth.0 > azimuth.1 {
            azimuth = (0.0, 360.0);
        }
        match self.report {
            ReportTurn::Positive if azimuth.1 - azimuth.0 >= 360.0 => azimuth = (0.0, 360.0),
            ReportTurn::Signed if azimuth.1 - azimuth.0 >= 360.0 => azimuth = (-180.0, 180.0),
            _ => {}
        }
        DemandLimits { azimuth, elevation }
    }

    /// Where the beam must point for a demand; `None` if it is not a valid direction.
    pub fn wanted(&self, asked: AskedDirection) -> Option<Direction<Apparent>> {
        let demand = asked.demand()?;
        Some(self.full.air.apparent(demand.azimuth, demand.elevation))
    }
}

impl Beam for Aim {
    fn beam(&self, axes: Axes) -> nalgebra::Vector3<f64> {
        self.full
            .mount
            .beam_vector(axes.into(), ApproachSigns::UNKNOWN)
    }
}
