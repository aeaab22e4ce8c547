//! What a demanded direction means: with or without the bending of the air.

use std::fmt;

use crate::angle::{Angle, Apparent, Direction};
use crate::sky::Refraction;
use crate::station::Weather;

/// A demanded direction, degrees counted as its kind says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Demand {
    /// From true north, clockwise.
    pub azimuth: Angle,
    /// From the horizontal.
    pub elevation: Angle,
}

/// Which direction is demanded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DemandKind {
    /// Where the emitter would be seen without air.
    Geometric,
    /// Where the beam must point.
    Apparent,
}

impl DemandKind {
    /// The word in files and options.
    pub const fn name(self) -> &'static str {
        match self {
            DemandKind::Geometric => "geometric",
            DemandKind::Apparent => "apparent",
        }
    }
    /// The kind of that name.
    pub fn by_name(name: &str) -> Option<DemandKind> {
        [DemandKind::Geometric, DemandKind::Apparent]
            .into_iter()
            .find(|kind| kind.name() == name)
    }
}

impl fmt::Display for DemandKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// What lies between a demand and the apparent direction.
#[derive(Clone, Debug)]
pub enum Air {
    /// Nothing: demands are apparent.
    Included,
    /// Refraction: demands are geometric.
    Refracting {
        /// Of this weather.
        weather: Weather,
        /// The bend in it.
        refraction: Refraction,
    },
}

impl Air {
    /// For demands of a kind, in this weather.
    pub fn for_demand(kind: DemandKind, weather: Weather) -> Air {
        match kind {
            DemandKind::Apparent => Air::Included,
            DemandKind::Geometric => Air::Refracting {
                weather,
                refraction: Refraction::new(&weather),
            },
        }
    }

    /// Which demands it takes.
    pub fn demand(&self) -> DemandKind {
        match self {
            Air::Included => DemandKind::Apparent,
            Air::Refracting { .. } => DemandKind::Geometric,
        }
    }

    /// The weather assumed, if any.
    pub fn weather(&self) -> Option<Weather> {
        match self {
            Air::Included => None,
            Air::Refracting { weather, .. } => Some(*weather),
        }
    }

    /// Where the beam must point for a demand.
    pub fn apparent(&self, azimuth: Angle, elevation: Angle) -> Direction<Apparent> {
        match self {
            Air::Included => Direction::apparent(azimuth, elevation),
            Air::Refracting { refraction, .. } => {
                refraction.refract(&Direction::geometric(azimuth, elevation))
            }
        }
    }

    /// Azimuth and elevation of the demand whose apparent direction this is.
    pub fn demand_of(&self, direction: &Direction<Apparent>) -> (Angle, Angle) {
        match self {
            Air::Included => (direction.azimuth(), direction.elevation()),
            Air::Refracting { refraction, .. } => {
                let geometric = refraction.unrefract(direction);
                (geometric.azimuth(), geometric.elevation())
            }
        }
    }
}
