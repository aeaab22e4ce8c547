//! The inverse: which encoder readings put the beam on a direction.
//!
//! Undoing the tilt and the axis geometry is closed form; undoing droop, runout and warp
//! takes a few Newton steps. An az-el mount has two answers, one with the dish below the
//! zenith and one over the top, and every whole turn of the cable is another place.

use std::fmt;

use nalgebra::Vector3;

use super::model::{ApproachSigns, MountModel, READING_TOLERANCE, raise, skew};
use super::term::Term;
use crate::angle::{Angle, Apparent, Direction, EncoderReading};

/// The direction lies inside the cone about the azimuth axis that the beam cannot enter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Keyhole {
    /// Half-angle of the cone about the azimuth axis that no reading reaches.
    pub half_angle: Angle,
    /// How far from the azimuth axis the demanded direction lies.
    pub distance: Angle,
}

impl fmt::Display for Keyhole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the direction lies {:.4} deg from the azimuth axis, inside the keyhole of {:.4} deg \
             that the beam cannot enter",
            self.distance.degrees(),
            self.half_angle.degrees()
        )
    }
}

impl std::error::Error for Keyhole {}

/// Both readings that put the beam on a direction. The azimuths may be turned by whole
/// turns with [`MountModel::wrapped`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Solution {
    /// Dish below the azimuth axis's own zenith.
    pub direct: EncoderReading,
    /// Dish carried over the top.
    pub over_the_top: EncoderReading,
}

/// Which of the equivalent readings to take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wrap {
    /// Lowest and highest azimuth reading.
    pub azimuth_range: (Angle, Angle),
    /// Lowest and highest elevation reading.
    pub elevation_range: (Angle, Angle),
    /// Where the mount stands now; the nearest reading is chosen. Without it the reading
    /// nearest to the middle of the azimuth range.
    pub present: Option<EncoderReading>,
}

impl MountModel {
    /// Both readings that put the beam on `direction`.
    ///
    /// # Errors
    /// [`Keyhole`] when no reading does.
    pub fn readings(
        &self,
        direction: &Direction<Apparent>,
        approach: ApproachSigns,
    ) -> Result<Solution, Keyhole> {
        let turned = self.tilt().back().rotate(&direction.east_north_up());
        let (sc, cc) = self.terms().inside(Term::Collimation).sin_cos();
        let (ss, cs) = self.terms().inside(Term::AxisSkew).sin_cos();
        // The up part after the skew: sin(c) sin(s) + cos(c) cos(s) sin(h).
        let sine = (turned.z - sc * ss) / (cc * cs);
        let h = self.raised_angle(sine, &turned)?;
        Ok(Solution {
            direct: self.reading_at(h, &turned, approach),
            over_the_top: self.reading_at(std::f64::consts::PI - h, &turned, approach),
        })
    }

    /// Asin of the raised sine, taken through the horizontal part near the top, where asin
    /// alone would lose half the digits.
    fn raised_angle(&self, sine: f64, turned: &Vector3<f64>) -> Result<f64, Keyhole> {
        // Rounding may carry an exact grazing case over 1 by a few units in the last place.
        const ROUNDING: f64 = 4.0 * f64::EPSILON;
        if sine.abs() <= 0.99 {
            return Ok(sine.asin());
        }
        if sine.abs() > 1.0 + ROUNDING {
            let (sc, cc) = self.terms().inside(Term::Collimation).sin_cos();
            let (ss, cs) = self.terms().inside(Term::AxisSkew).sin_cos();
            let reach = (sc * ss).mul_add(sine.signum(), cc * cs).min(1.0);
            return Err(Keyhole {
                half_angle: Angle::from_radians(reach.acos()),
                distance: Angle::from_radians(
                    turned.x.hypot(turned.y).atan2(turned.z * sine.signum()),
                ),
            });
        }
        // |horizontal|^2 = x2^2 + y2^2 with x2 = sin(c) cos(s) - cos(c) sin(h) sin(s) and
        // y2 = cos(c) cos(h): so cos(h) without cancellation.
        let (sc, cc) = self.terms().inside(Term::Collimation).sin_cos();
        let (ss, cs) = self.terms().inside(Term::AxisSkew).sin_cos();
        let x2 = sc * cs - cc * sine * ss;
        let horizontal = turned.x.hypot(turned.y);
        let y2_squared = (horizontal - x2.abs()) * (horizontal + x2.abs());
        Ok(sine.atan2(y2_squared.max(0.0).sqrt() / cc))
    }

    fn reading_at(&self, h: f64, turned: &Vector3<f64>, approach: ApproachSigns) -> EncoderReading {
        let terms = self.terms();
        let skewed = skew(
            &raise(terms.inside(Term::Collimation), h),
            terms.inside(Term::AxisSkew),
        );
        let a = turned.x.atan2(turned.y) - skewed.x.atan2(skewed.y);
        let a = Angle::from_radians(a).wrapped_signed().radians();
        let azimuth = newton(a, |reading| {
            let axis = self.azimuth_axis(reading, approach.azimuth);
            (axis.value - a, axis.by_reading)
        });
        let droop = terms.inside(Term::Droop);
        let h0 = newton(h, |h0| (h0 - droop * h0.cos() - h, 1.0 + droop * h0.sin()));
        let elevation = newton(h0, |reading| {
            let axis = self.elevation_axis(reading, azimuth, approach.elevation);
            (axis.value - h0, axis.by_reading)
        });
        EncoderReading {
            azimuth: Angle::from_radians(azimuth),
            elevation: Angle::from_radians(elevation),
        }
    }

    /// The reading that puts the beam on `direction` with the azimuth axis `turns` whole turns
    /// further: with a scale error or a warp that is not simply 360 degrees more.
    fn turned_reading(
        &self,
        reading: EncoderReading,
        turns: f64,
        approach: ApproachSigns,
    ) -> EncoderReading {
        let was = reading.azimuth.radians();
        let a = self.azimuth_axis(was, approach.azimuth).value + turns * Angle::TURN.radians();
        let azimuth = newton(was + turns * Angle::TURN.radians(), |r| {
            let axis = self.azimuth_axis(r, approach.azimuth);
            (axis.value - a, axis.by_reading)
        });
        let h0 = self
            .elevation_axis(reading.elevation.radians(), was, approach.elevation)
            .value;
        let elevation = newton(reading.elevation.radians(), |r| {
            let axis = self.elevation_axis(r, azimuth, approach.elevation);
            (axis.value - h0, axis.by_reading)
        });
        EncoderReading {
            azimuth: Angle::from_radians(azimuth),
            elevation: Angle::from_radians(elevation),
        }
    }

    /// Every reading within the ranges that puts the beam on `direction`, the direct ones
    /// before those over the top, each in ascending azimuth.
    ///
    /// # Errors
    /// [`Keyhole`] when no reading does, in or out of range.
    pub fn readings_in_range(
        &self,
        direction: &Direction<Apparent>,
        approach: ApproachSigns,
        wrap: &Wrap,
    ) -> Result<Vec<EncoderReading>, Keyhole> {
        let both = self.readings(direction, approach)?;
        let (low, high) = wrap.azimuth_range;
        let inside = |v: Angle, (low, high): (Angle, Angle)| {
            v >= low - READING_TOLERANCE && v <= high + READING_TOLERANCE
        };
        let mut found = Vec::new();
        for reading in [both.direct, both.over_the_top] {
            // One turn of slack on either side: a scale error shifts the count.
            let first = ((low - reading.azimuth) / Angle::TURN).floor() as i64 - 1;
            let last = ((high - reading.azimuth) / Angle::TURN).ceil() as i64 + 1;
            for turns in first..=last {
                let turned = self.turned_reading(reading, turns as f64, approach);
                if inside(turned.azimuth, wrap.azimuth_range)
                    && inside(turned.elevation, wrap.elevation_range)
                {
                    found.push(turned);
                }
            }
        }
        Ok(found)
    }

    /// The reading to command: of those within the ranges the one nearest to the present
    /// position (the larger of the two axes' ways), or to the middle of the azimuth range; none
    /// when the direction is out of reach.
    ///
    /// # Errors
    /// [`Keyhole`] when no reading does, in or out of range.
    pub fn reading_to_command(
        &self,
        direction: &Direction<Apparent>,
        approach: ApproachSigns,
        wrap: &Wrap,
    ) -> Result<Option<EncoderReading>, Keyhole> {
        let middle = (wrap.azimuth_range.0 + wrap.azimuth_range.1) / 2.0;
        let way = |r: &EncoderReading| match wrap.present {
            Some(now) => (r.azimuth - now.azimuth)
                .abs()
                .max((r.elevation - now.elevation).abs())
                .radians(),
            // Without a present position the dish is not carried over the top needlessly.
            None => {
                (r.azimuth - middle).abs().radians()
                    + if r.elevation > Angle::RIGHT { 1e3 } else { 0.0 }
            }
        };
        let readings = self.readings_in_range(direction, approach, wrap)?;
        Ok(readings
            .into_iter()
            .min_by(|p, q| way(p).total_cmp(&way(q))))
    }
}

/// Newton's method on a function close to the identity; `f` gives value and slope.
fn newton(start: f64, f: impl Fn(f64) -> (f64, f64)) -> f64 {
    let mut x = start;
    // Terms of a few degrees converge in four steps; the rest is for the absurd ones.
    for _ in 0..50 {
        let (value, slope) = f(x);
        let step = value / slope;
        x -= step;
        if step.abs() < READING_TOLERANCE.radians() * 1e-2 {
            break;
        }
    }
    x
}
