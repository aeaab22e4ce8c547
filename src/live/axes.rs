//! The two axes of a mount by number, and boxes of their readings: what the guard reasons about,
//! whatever kind of mount it is.

use nalgebra::Vector3;

use crate::angle::{Angle, EncoderReading};
use crate::station::limits::ENCODER_AZIMUTH;

/// Readings of both axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axes(pub [Angle; 2]);

impl Axes {
    /// From both readings in degrees.
    pub const fn from_degrees(first: f64, second: f64) -> Axes {
        Axes([Angle::from_degrees(first), Angle::from_degrees(second)])
    }
    /// Both in degrees.
    pub fn degrees(self) -> [f64; 2] {
        self.0.map(Angle::degrees)
    }
    /// Whether both are finite.
    pub fn is_finite(self) -> bool {
        self.0.iter().all(|a| a.is_finite())
    }
    /// Whether both are within what an encoder can show.
    pub fn makes_sense(self) -> bool {
        let sense = |degrees| ENCODER_AZIMUTH.check("", "", degrees).is_ok();
        self.degrees().into_iter().all(sense)
    }
    /// The larger of both axes' distances to another position.
    pub fn way_to(self, other: Axes) -> Angle {
        let way = |i: usize| (other.0[i] - self.0[i]).abs();
        way(0).max(way(1))
    }
    /// Combines both, axis by axis.
    pub fn with(self, other: Axes, f: impl Fn(Angle, Angle) -> Angle) -> Axes {
        Axes([f(self.0[0], other.0[0]), f(self.0[1], other.0[1])])
    }
    /// Toward `goal`, each axis by no more than `most`.
    pub fn toward(self, goal: Axes, most: Angle) -> Axes {
        self.with(goal, |here, there| {
            let way = there - here;
            if way.abs() <= most {
                there
            } else {
                here + most * way.radians().signum()
            }
        })
    }
}

impl From<EncoderReading> for Axes {
    fn from(reading: EncoderReading) -> Axes {
        Axes([reading.azimuth, reading.elevation])
    }
}

impl From<Axes> for EncoderReading {
    fn from(axes: Axes) -> EncoderReading {
        EncoderReading {
            azimuth: axes.0[0],
            elevation: axes.0[1],
        }
    }
}

/// All readings between two: where a mount can be on its way, as its axes arrive separately.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Travel {
    /// Lowest readings.
    pub low: Axes,
    /// Highest readings.
    pub high: Axes,
}

impl Travel {
    /// A single position.
    pub fn at(place: Axes) -> Travel {
        Travel {
            low: place,
            high: place,
        }
    }
    /// Everything between two positions.
    pub fn between(one: Axes, other: Axes) -> Travel {
        Travel::at(one).and(other)
    }
    /// Extends it to hold another position.
    #[must_use]
    pub fn and(self, place: Axes) -> Travel {
        Travel {
            low: self.low.with(place, Angle::min),
            high: self.high.with(place, Angle::max),
        }
    }
    /// How far a position lies outside, on the worse axis; zero inside.
    pub fn beyond(self, place: Axes) -> Angle {
        let out = |i: usize| {
            (self.low.0[i] - place.0[i])
                .max(place.0[i] - self.high.0[i])
                .max(Angle::ZERO)
        };
        out(0).max(out(1))
    }
    /// Whether a place lies within.
    pub fn holds(self, place: Axes) -> bool {
        // NaN is never inside.
        (0..2).all(|i| self.low.0[i] <= place.0[i] && place.0[i] <= self.high.0[i])
    }
    /// The nearest place within.
    pub fn nearest(self, place: Axes) -> Axes {
        place.with(self.low, Angle::max).with(self.high, Angle::min)
    }
    /// Its middle.
    pub fn middle(self) -> Axes {
        self.low.with(self.high, |low, high| (low + high) / 2.0)
    }
    /// From the middle to the ends, by axis.
    pub fn half_size(self) -> [Angle; 2] {
        [0, 1].map(|i| (self.high.0[i] - self.low.0[i]) / 2.0)
    }
    /// Both halves along its longer axis.
    pub fn halves(self) -> [Travel; 2] {
        let [first, second] = self.half_size();
        let longer = usize::from(second > first);
        let middle = self.middle().0[longer];
        let (mut one, mut other) = (self, self);
        one.high.0[longer] = middle;
        other.low.0[longer] = middle;
        [one, other]
    }
}

/// Where a mount's beam points.
pub trait Beam {
    /// Unit vector (east, north, up) of the beam at these readings.
    fn beam(&self, axes: Axes) -> Vector3<f64>;
}

impl<F: Fn(Axes) -> Vector3<f64>> Beam for F {
    fn beam(&self, axes: Axes) -> Vector3<f64> {
        self(axes)
    }
}
