//! The inverse: which encoder readings put the beam on a direction.
//!
//! Undoing the tilt and the axis geometry is closed form; undoing droop, runout and warp
//! takes a few Newton steps. A mount has two answers, one with the dish on the near side of its
//! first axis (for an az-el mount below the zenith) and one over the top, and every whole turn of
//! an axis is another place of its encoder.

use std::fmt;

use nalgebra::Vector3;

use super::geometry::Sag;
use super::model::{ApproachSigns, AxisAngle, MountModel, READING_TOLERANCE, raise, skew};
use super::sin_cos::SinCos;
use super::term::Term;
use crate::angle::{Angle, Apparent, Direction, EncoderReading};

/// The direction lies inside the cone about the first axis that the beam cannot enter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Keyhole {
    /// What the first axis is called.
    pub axis: &'static str,
    /// Half-angle of the cone about the first axis that no reading reaches.
    pub half_angle: Angle,
    /// How far from the first axis the demanded direction lies.
    pub distance: Angle,
}

impl fmt::Display for Keyhole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the direction lies {:.4} deg from the {}, inside the keyhole of {:.4} deg that the beam \
             cannot enter",
            self.distance.degrees(),
            self.axis,
            self.half_angle.degrees()
        )
    }
}

impl std::error::Error for Keyhole {}

/// Both readings that put the beam on a direction, with the azimuth axis in
/// (-180, 180] degrees. Whole turns are in [`MountModel::readings_in_range`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BothReadings {
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

/// Where the axes must stand, radians; the elevation axis before droop.
#[derive(Clone, Copy, Debug)]
struct AxisAngles {
    azimuth: f64,
    elevation: f64,
}

impl MountModel {
    /// Half-angle of the cone about the first axis's outer end that the beam cannot enter:
    /// |collimation - axis skew|, for at the top the one turns the beam just as far to the right
    /// as the other turns it back.
    pub fn keyhole(&self) -> Angle {
        self.keyhole_about(1.0)
    }

    /// The same about the outer (+1) or inner (-1) end of the axis.
    fn keyhole_about(&self, end: f64) -> Angle {
        let collimation = self.terms().angle(Term::Collimation);
        (collimation - self.terms().angle(Term::AxisSkew) * end).abs()
    }

    /// Both readings that put the beam on `direction`.
    ///
    /// # Errors
    /// [`Keyhole`] when no reading does.
    pub fn readings(
        &self,
        direction: &Direction<Apparent>,
        approach: ApproachSigns,
    ) -> Result<BothReadings, Keyhole> {
        let [direct, over] = self.axes_for(direction)?;
        Ok(BothReadings {
            direct: self.reading_of(direct, approach),
            over_the_top: self.reading_of(over, approach),
        })
    }

    /// Where the axes must stand: below the zenith, and over the top.
    fn axes_for(&self, direction: &Direction<Apparent>) -> Result<[AxisAngles; 2], Keyhole> {
        let droop = self.terms().inside(Term::Droop);
        let of = self.geometry().turn();
        let inside = match of {
            None => direction.east_north_up(),
            Some(_) => {
                let elevation = Sag::undone(direction.elevation().radians(), droop);
                let before = Direction::<Apparent>::apparent(
                    direction.azimuth(),
                    Angle::from_radians(elevation),
                );
                self.geometry().to_mount(&before.east_north_up())
            }
        };
        let turned = self.fixed().tilt.back().rotate(&inside);
        let h = self.raised_angle(&turned)?;
        Ok([h, std::f64::consts::PI - h].map(|h| {
            let skewed = skew(&raise(self.fixed().collimation, h), self.fixed().skew);
            let azimuth = turned.x.atan2(turned.y) - skewed.x.atan2(skewed.y);
            if let Some(of) = of {
                let signed = |x: f64| Angle::from_radians(x).wrapped_signed().radians();
                return AxisAngles {
                    azimuth: signed(of.x(azimuth)),
                    elevation: signed(of.h(h)),
                };
            }
            AxisAngles {
                azimuth: Angle::from_radians(azimuth).wrapped_signed().radians(),
                elevation: newton(h, |h0| AxisAngle {
                    value: h0 - droop * h0.cos() - h,
                    by_reading: 1.0 + droop * h0.sin(),
                }),
            }
        }))
    }

    /// The angle, in [-90, 90] degrees, to which the dish must be raised so that the beam's part
    /// along the azimuth axis is that of `turned`, the direction as the untilted mount sees it.
    ///
    /// After the skew s the beam's parts are, with collimation c,
    /// x = sin(c) cos(s) - cos(c) sin(h) sin(s), y = cos(c) cos(h),
    /// z = sin(c) sin(s) + cos(c) sin(h) cos(s). z gives sin(h); near the top, where asin loses
    /// half the digits, the horizontal part, which the azimuth does not change, gives cos(h)
    /// from y^2 = horizontal^2 - x^2.
    fn raised_angle(&self, turned: &Vector3<f64>) -> Result<f64, Keyhole> {
        /// Rounding of the rotations may carry a direction on the very rim inside; the beam then
        /// misses it by no more than this many radians.
        const ROUNDING: f64 = 1e-14;
        let SinCos { sin: sc, cos: cc } = self.fixed().collimation;
        let SinCos { sin: ss, cos: cs } = self.fixed().skew;
        let sine = (turned.z - sc * ss) / (cc * cs);
        if sine.abs() <= 0.99 {
            return Ok(sine.asin());
        }
        let end = sine.signum();
        let sine = sine.clamp(-1.0, 1.0);
        let x = (sc * cs - cc * sine * ss).abs();
        let horizontal = turned.x.hypot(turned.y);
        if horizontal < x - ROUNDING {
            return Err(Keyhole {
                axis: self.kind().axis_1(),
                half_angle: self.keyhole_about(end),
                distance: Angle::from_radians(horizontal.atan2(turned.z * end)),
            });
        }
        let y_squared = (horizontal - x) * (horizontal + x);
        Ok(sine.atan2(y_squared.max(0.0).sqrt() / cc))
    }

    /// The reading at which the axes stand so.
    fn reading_of(&self, axes: AxisAngles, approach: ApproachSigns) -> EncoderReading {
        let azimuth = newton(axes.azimuth, |reading| {
            self.azimuth_axis(reading, approach.azimuth)
                .less(axes.azimuth)
        });
        let elevation = newton(axes.elevation, |reading| {
            self.elevation_axis(reading, azimuth, approach.elevation)
                .less(axes.elevation)
        });
        EncoderReading {
            azimuth: Angle::from_radians(azimuth),
            elevation: Angle::from_radians(elevation),
        }
    }

    /// The reading, dish below the zenith, that puts the beam on `direction`, with the whole turns
    /// of both axes that bring it nearest to `near`. With a scale error a turn of the
    /// axis is not simply 360 degrees of reading.
    ///
    /// # Errors
    /// [`Keyhole`] when no reading does.
    pub fn direct_reading_near(
        &self,
        direction: &Direction<Apparent>,
        approach: ApproachSigns,
        near: EncoderReading,
    ) -> Result<EncoderReading, Keyhole> {
        let [direct, _] = self.axes_for(direction)?;
        let azimuth = self.azimuth_axis(near.azimuth.radians(), approach.azimuth);
        let azimuth = Angle::from_radians(direct.azimuth)
            .nearest_turn_to(Angle::from_radians(azimuth.value))
            .radians();
        let elevation = self.elevation_axis(
            near.elevation.radians(),
            near.azimuth.radians(),
            approach.elevation,
        );
        let elevation = Angle::from_radians(direct.elevation)
            .nearest_turn_to(Angle::from_radians(elevation.value))
            .radians();
        Ok(self.reading_of(AxisAngles { azimuth, elevation }, approach))
    }

    /// Calls `found` with every reading within the ranges, the direct ones before those over the
    /// top (told by the second argument), each in ascending azimuth.
    fn for_each_in_range(
        &self,
        direction: &Direction<Apparent>,
        approach: ApproachSigns,
        wrap: &Wrap,
        mut found: impl FnMut(EncoderReading, bool),
    ) -> Result<(), Keyhole> {
        let both = self.axes_for(direction)?;
        for (axes, over_the_top) in both.into_iter().zip([false, true]) {
            let ends = |(low, high): (Angle, Angle), axis: &dyn Fn(f64) -> AxisAngle| {
                (axis(low.radians()).value, axis(high.radians()).value)
            };
            let range = ends(wrap.azimuth_range, &|r| {
                self.azimuth_axis(r, approach.azimuth)
            });
            for azimuth in turns_between(axes.azimuth, range) {
                let reading = newton(azimuth, |r| {
                    self.azimuth_axis(r, approach.azimuth).less(azimuth)
                });
                let range = ends(wrap.elevation_range, &|r| {
                    self.elevation_axis(r, reading, approach.elevation)
                });
                for elevation in turns_between(axes.elevation, range) {
                    let axes = AxisAngles { azimuth, elevation };
                    found(self.reading_of(axes, approach), over_the_top);
                }
            }
        }
        Ok(())
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
        let mut all = Vec::new();
        self.for_each_in_range(direction, approach, wrap, |reading, _| all.push(reading))?;
        Ok(all)
    }

    /// The reading to command: of those within the ranges the one nearest to the present
    /// position (the larger of the two axes' ways; of two equally near the direct one, then the
    /// smaller azimuth), or, without one, a direct one nearest to the middle of the azimuth
    /// range; none when the direction is out of reach.
    ///
    /// # Errors
    /// [`Keyhole`] when no reading does, in or out of range.
    pub fn reading_to_command(
        &self,
        direction: &Direction<Apparent>,
        approach: ApproachSigns,
        wrap: &Wrap,
    ) -> Result<Option<EncoderReading>, Keyhole> {
        let mut best: Option<(f64, EncoderReading)> = None;
        self.for_each_in_range(direction, approach, wrap, |reading, over_the_top| {
            let way = wrap.way_to(reading, over_the_top);
            // A hair of rounding must not decide between two equally near readings.
            if best.is_none_or(|(least, _)| way < least - READING_TOLERANCE.radians()) {
                best = Some((way, reading));
            }
        })?;
        Ok(best.map(|(_, reading)| reading))
    }
}

impl Wrap {
    /// How far a reading is from where the mount stands, radians; without a present position,
    /// from the middle of the azimuth range, the dish not carried over the top needlessly.
    fn way_to(&self, reading: EncoderReading, over_the_top: bool) -> f64 {
        match self.present {
            Some(now) => (reading.azimuth - now.azimuth)
                .abs()
                .max((reading.elevation - now.elevation).abs())
                .radians(),
            None => {
                let middle = (self.azimuth_range.0 + self.azimuth_range.1) / 2.0;
                let needless = if over_the_top { 1e6 } else { 0.0 };
                (reading.azimuth - middle).abs().radians() + needless
            }
        }
    }
}

impl AxisAngle {
    /// The same with the angle counted from `target`.
    fn less(self, target: f64) -> AxisAngle {
        AxisAngle {
            value: self.value - target,
            ..self
        }
    }
}

/// `angle` and its whole turns that lie within `range`, ascending; radians.
fn turns_between(angle: f64, (from, to): (f64, f64)) -> impl Iterator<Item = f64> {
    // An axis that runs against its encoder is beyond the model, but must not loop forever.
    let (low, high) = (from.min(to), from.max(to));
    let turn = Angle::TURN.radians();
    let slack = READING_TOLERANCE.radians();
    let first = ((low - slack - angle) / turn).ceil() as i64;
    let last = ((high + slack - angle) / turn).floor() as i64;
    (first..=last).map(move |k| angle + k as f64 * turn)
}

/// Newton's method on a function close to the identity, given with its slope.
pub(super) fn newton(start: f64, f: impl Fn(f64) -> AxisAngle) -> f64 {
    /// Convergence is quadratic: what remains after a step of this size (radians) is below its
    /// square, which is nothing.
    const LAST_STEP: f64 = 1e-9;
    let mut x = start;
    // Terms of a few degrees converge in four steps; the rest is for the absurd ones.
    for _ in 0..50 {
        let AxisAngle { value, by_reading } = f(x);
        let step = value / by_reading;
        x -= step;
        if step.abs() < LAST_STEP {
            break;
        }
    }
    x
}
impl Sag {
    /// The elevation before, for one after it; radians.
    pub fn undone(elevation: f64, droop: f64) -> f64 {
        newton(elevation, |e| AxisAngle {
            value: e - droop * e.cos() - elevation,
            by_reading: 1.0 + droop * e.sin(),
        })
    }
}
