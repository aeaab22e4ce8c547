//! How a fault moves the beam or the target: a lever, pulled by a shape.
//!
//! Nearly every mechanical fault is one of the mount model's terms that is not constant: play
//! that depends on the approach, a zero that jumps at some hour, a tilt that grows. So a column of
//! the joint fit is a *lever* (which term, or what else moves the target) times a *shape* (how
//! that depends on the peak), and the model with it stays rigorous: each peak has its own terms.

use std::sync::Arc;

use nalgebra::Vector3;

use crate::angle::{Angle, EncoderReading};
use crate::mount::Term;

use super::case::Case;

/// What is moved.
#[derive(Clone, Debug, PartialEq)]
pub enum Lever {
    /// A term of the mount model, in radians (a scale as a fraction).
    Term(Term),
    /// The clock: seconds to add to the logged times.
    Clock,
    /// One satellite along its own orbit: seconds that it runs ahead of its elements. The
    /// emitter's number in the station file.
    Orbit(usize),
    /// The air's bend of the rays: times its own size.
    Air,
    /// Other targets in the place of the logged ones: by case, the step to the other target,
    /// zero where nothing changes. One takes the whole step.
    Retarget(Arc<Vec<Vector3<f64>>>),
}

/// How far the lever is pulled, by the peak; the coefficient of the fit multiplies it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Always alike.
    Always,
    /// Hours since the middle of the session, given in hours after the first peak.
    HoursSince(f64),
    /// One from so many hours after the first peak on.
    After(f64),
    /// One above this elevation of the target, counted over the top as the axis does. Not of the
    /// reading: its noise would sort the peaks of one emitter by their own error.
    Above(Angle),
    /// Cosine of so many times the azimuth reading.
    CosAzimuth(f64),
    /// Sine of the same.
    SinAzimuth(f64),
    /// Cosine of so many times the elevation reading.
    CosElevation(f64),
    /// Sine of the same.
    SinElevation(f64),
    /// Cosine of the local solar time as an angle.
    CosDay,
    /// Sine of the same.
    SinDay,
    /// Logged temperature above this one, degrees Celsius; zero where none is logged.
    WarmerThan(f64),
}

impl Shape {
    /// The pull at a peak whose encoders read `reading`.
    pub fn at(self, case: &Case, reading: &EncoderReading) -> f64 {
        let (a, e) = (reading.azimuth, reading.elevation);
        let step = |over: bool| f64::from(u8::from(over));
        match self {
            Shape::Always => 1.0,
            Shape::HoursSince(middle) => case.hours - middle,
            Shape::After(hours) => step(case.hours > hours),
            Shape::Above(elevation) => step(case.raised() > elevation),
            Shape::CosAzimuth(k) => (a * k).cos(),
            Shape::SinAzimuth(k) => (a * k).sin(),
            Shape::CosElevation(k) => (e * k).cos(),
            Shape::SinElevation(k) => (e * k).sin(),
            Shape::CosDay => case.day_angle.cos(),
            Shape::SinDay => case.day_angle.sin(),
            Shape::WarmerThan(mean) => {
                (case.observation.peak.temperature_c).map_or(0.0, |t| t - mean)
            }
        }
    }
}

/// One column of a joint fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// What is moved.
    pub lever: Lever,
    /// How far, by the peak.
    pub shape: Shape,
    /// What the coefficient is before the data: its mean ...
    pub expected: f64,
    /// ... and standard deviation: the size that such a fault plausibly has.
    pub spread: f64,
}

impl Column {
    /// A term moved by a shape; plausibly of size `spread` (inside value for a unit of the
    /// shape).
    pub fn term(term: Term, shape: Shape, spread: f64) -> Column {
        Column {
            lever: Lever::Term(term),
            shape,
            expected: 0.0,
            spread,
        }
    }

    /// The target moved; plausibly by `spread`.
    pub fn target(lever: Lever, spread: f64) -> Column {
        Column {
            lever,
            shape: Shape::Always,
            expected: 0.0,
            spread,
        }
    }

    /// The same column with a coefficient that is known beforehand.
    pub fn known(mut self, expected: f64, spread: f64) -> Column {
        self.expected = expected;
        self.spread = spread;
        self
    }

    /// How the target of case number `index` moves for a unit of the coefficient; none when it
    /// is the beam that moves.
    pub fn target_step(&self, index: usize, case: &Case) -> Option<Vector3<f64>> {
        match &self.lever {
            Lever::Term(_) => None,
            Lever::Clock => Some(case.observation.target_rate),
            Lever::Orbit(emitter) if *emitter == case.emitter => Some(case.along_orbit),
            Lever::Orbit(_) => Some(Vector3::zeros()),
            Lever::Air => Some(case.bend),
            Lever::Retarget(steps) => Some(steps.get(index).copied().unwrap_or_default()),
        }
    }
}
