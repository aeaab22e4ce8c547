//! How a hypothesis moves the beam or the target: a lever times a shape.
//!
//! A mount term and nearly every mechanical fault are the same thing: a term of the mount model,
//! constant or not. Backlash depends on the approach, a zero jumps at some hour, a tilt grows. So a
//! column of the joint fit is a *lever* (which term, or what else moves the target) times a *shape*
//! (how that depends on the peak), and the model with it stays rigorous: each peak has its own
//! terms.

use std::sync::Arc;

use nalgebra::Vector3;

use crate::angle::{Angle, EncoderReading};
use crate::mount::Term;

use super::log_change::LogSet;
use super::peak::SessionPeak;

/// What is moved.
#[derive(Clone, Debug, PartialEq)]
pub enum Lever {
    /// A term of the mount model, in radians (a scale as a fraction, the clock in seconds).
    Term(Term),
    /// One satellite along its own orbit: seconds that it runs ahead of its elements. The value is
    /// the emitter's number in the station file.
    Orbit(usize),
    /// Refraction, as a multiple of itself.
    Air,
    /// Other targets instead of the logged ones: by peak, the step to the other target, zero where
    /// nothing changes. A coefficient of one is the whole step.
    Retarget(Arc<Vec<Vector3<f64>>>),
}

/// How the effect depends on the peak; multiplied by the coefficient of the fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// The same for all peaks.
    Always,
    /// Hours since the middle of the session, given in hours after the first peak.
    HoursSince(f64),
    /// One from this many hours after the first peak on.
    After(f64),
    /// One in these logs, which come before the last.
    InLogs(LogSet),
    /// One at peaks taken with this further feed.
    OfFeed(usize),
    /// One above this elevation of the target, counted over the top like the axis angle. Not the
    /// elevation of the reading: its noise would sort the peaks of one emitter by their own error.
    Above(Angle),
    /// Cosine of this many times the azimuth reading.
    CosAzimuth(f64),
    /// Sine of the same.
    SinAzimuth(f64),
    /// Cosine of this many times the elevation reading.
    CosElevation(f64),
    /// Sine of the same.
    SinElevation(f64),
    /// Cosine of the local solar time as an angle.
    CosDay,
    /// Sine of the same.
    SinDay,
    /// Change of an axis reading for one standard deviation of the lag of a log, radians; zero in
    /// other logs.
    ByLag {
        /// The log's number.
        log: usize,
        /// Whether it is the second axis.
        second: bool,
    },
    /// Logged temperature minus this one, degrees Celsius; zero where none is logged.
    WarmerThan(f64),
}

impl Shape {
    /// Whether it varies so quickly that the error of a reading would shift its phase: then the
    /// reading that the model expects is used instead of the logged one, or the shape would explain
    /// the very errors that it depends on.
    pub fn is_fast(self) -> bool {
        /// Waves per turn from which the phase must be computed at the true axis angle: a degree of
        /// error then shifts it by a tenth of a radian. It lies between the harmonics tested (six)
        /// and the ripples (seven and more).
        const FAST: f64 = 6.5;
        match self {
            Shape::CosAzimuth(k)
            | Shape::SinAzimuth(k)
            | Shape::CosElevation(k)
            | Shape::SinElevation(k) => k > FAST,
            _ => false,
        }
    }

    /// Value at a peak with the encoder reading `reading`.
    pub fn at(self, peak: &SessionPeak, reading: &EncoderReading) -> f64 {
        let (a, e) = (reading.azimuth, reading.elevation);
        match self {
            Shape::Always => 1.0,
            Shape::HoursSince(middle) => peak.hours - middle,
            Shape::After(_) | Shape::InLogs(_) | Shape::OfFeed(_) | Shape::Above(_) => {
                self.step_at(peak)
            }
            Shape::CosAzimuth(k) => (a * k).cos(),
            Shape::SinAzimuth(k) => (a * k).sin(),
            Shape::CosElevation(k) => (e * k).cos(),
            Shape::SinElevation(k) => (e * k).sin(),
            Shape::CosDay => peak.day_angle.cos(),
            Shape::SinDay => peak.day_angle.sin(),
            Shape::ByLag { log, second } if peak.log == log => {
                peak.by_lag[usize::from(second)].radians()
            }
            Shape::ByLag { .. } => 0.0,
            Shape::WarmerThan(mean) => peak.temperature_c.map_or(0.0, |t| t - mean),
        }
    }

    /// Value at a peak of a step, regardless of the encoder readings; zero for other shapes.
    pub fn step_at(self, peak: &SessionPeak) -> f64 {
        let step = |over: bool| f64::from(u8::from(over));
        match self {
            Shape::After(hours) => step(peak.hours > hours),
            Shape::InLogs(logs) => step(logs.holds(peak.log)),
            Shape::OfFeed(feed) => step(peak.feed == feed),
            Shape::Above(elevation) => step(peak.raised() > elevation),
            _ => 0.0,
        }
    }

    /// Value at the end of a log that lasts this many hours, where it does not depend on the dish's
    /// direction; `None` where it does, or where it depends on something unknown at the end of the
    /// log.
    pub fn at_the_end(self, hours: f64) -> Option<f64> {
        match self {
            Shape::Always | Shape::After(_) => Some(1.0),
            // The mount's own terms are those of the first feed; a mount at rest during a
            // measurement has no lag.
            Shape::InLogs(_) | Shape::OfFeed(_) | Shape::ByLag { .. } => Some(0.0),
            Shape::HoursSince(middle) => Some(hours - middle),
            _ => None,
        }
    }
}

/// One column of a joint fit.
#[derive(Clone, Debug, PartialEq)]
pub struct ShapeColumn {
    /// What is moved.
    pub lever: Lever,
    /// How it depends on the peak.
    pub shape: Shape,
    /// Prior of the coefficient: its mean ...
    pub expected: f64,
    /// ... and standard deviation: the plausible size of such an effect.
    pub spread: f64,
}

impl ShapeColumn {
    /// A term times a shape; plausibly of size `spread` (internal value per unit of the shape).
    pub fn term(term: Term, shape: Shape, spread: f64) -> ShapeColumn {
        ShapeColumn {
            lever: Lever::Term(term),
            shape,
            expected: 0.0,
            spread,
        }
    }

    /// A displacement of the target; plausibly by `spread`.
    pub fn target(lever: Lever, spread: f64) -> ShapeColumn {
        ShapeColumn {
            lever,
            shape: Shape::Always,
            expected: 0.0,
            spread,
        }
    }

    /// The same column with a coefficient that is known beforehand.
    pub fn known(mut self, expected: f64, spread: f64) -> ShapeColumn {
        self.expected = expected;
        self.spread = spread;
        self
    }

    /// The mount term of the coefficient, if it is one.
    pub fn constant_term(&self) -> Option<Term> {
        match (&self.lever, self.shape) {
            (Lever::Term(term), Shape::Always) => Some(*term),
            _ => None,
        }
    }

    /// Change of the target of peak number `index` per unit of the coefficient; `None` when the
    /// column moves the beam.
    pub fn target_step(&self, index: usize, peak: &SessionPeak) -> Option<Vector3<f64>> {
        match &self.lever {
            Lever::Term(_) => None,
            Lever::Orbit(emitter) if *emitter == peak.emitter => Some(peak.along_orbit),
            Lever::Orbit(_) => Some(Vector3::zeros()),
            Lever::Air => Some(peak.bend),
            Lever::Retarget(steps) => Some(steps.get(index).copied().unwrap_or_default()),
        }
    }
}
