//! Angles and directions.
//!
//! An [`Angle`] hides its unit: it is created and read only by named functions, so degrees and
//! radians cannot be confused. A [`Direction`] carries in its type whether it is [`Geometric`]
//! (without air) or [`Apparent`] (where the beam must point); an [`EncoderReading`] is a third
//! type. Only named functions convert between them: refraction between the first two, the mount
//! model between the last two.

use std::f64::consts::{PI, TAU};
use std::fmt;
use std::iter::Sum;
use std::marker::PhantomData;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

use nalgebra::Vector3;

/// A plane angle of any size. It is never wrapped except by an explicit call.
#[derive(Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Angle {
    radians: f64,
}

impl Angle {
    /// No angle.
    pub const ZERO: Angle = Angle { radians: 0.0 };
    /// A whole turn.
    pub const TURN: Angle = Angle { radians: TAU };
    /// A millionth of a degree.
    pub const MICRODEGREE: Angle = Angle {
        radians: PI / 180e6,
    };
    /// Half a turn.
    pub const HALF_TURN: Angle = Angle { radians: PI };
    /// A right angle.
    pub const RIGHT: Angle = Angle { radians: PI / 2.0 };

    /// From radians.
    pub const fn from_radians(radians: f64) -> Angle {
        Angle { radians }
    }
    /// From degrees.
    pub const fn from_degrees(degrees: f64) -> Angle {
        Angle {
            radians: degrees * (PI / 180.0),
        }
    }
    /// From seconds of arc.
    pub const fn from_arcseconds(arcseconds: f64) -> Angle {
        Angle::from_degrees(arcseconds / 3600.0)
    }
    /// In radians.
    pub const fn radians(self) -> f64 {
        self.radians
    }
    /// In degrees.
    pub const fn degrees(self) -> f64 {
        self.radians * (180.0 / PI)
    }
    /// In seconds of arc.
    pub const fn arcseconds(self) -> f64 {
        self.degrees() * 3600.0
    }

    /// Sine.
    pub fn sin(self) -> f64 {
        self.radians.sin()
    }
    /// Cosine.
    pub fn cos(self) -> f64 {
        self.radians.cos()
    }
    /// Tangent.
    pub fn tan(self) -> f64 {
        self.radians.tan()
    }
    /// Sine and cosine.
    pub fn sin_cos(self) -> (f64, f64) {
        self.radians.sin_cos()
    }
    /// Absolute value.
    pub fn abs(self) -> Angle {
        Angle::from_radians(self.radians.abs())
    }
    /// The same heading in [0, 360) degrees.
    pub fn wrapped_positive(self) -> Angle {
        if (0.0..TAU).contains(&self.radians) {
            return self;
        }
        let r = self.radians.rem_euclid(TAU);
        // `rem_euclid` of a tiny negative number may round up to a full turn.
        Angle::from_radians(if r >= TAU { 0.0 } else { r })
    }
    /// The same heading in (-180, 180] degrees.
    pub fn wrapped_signed(self) -> Angle {
        let r = self.wrapped_positive().radians;
        Angle::from_radians(if r > PI { r - TAU } else { r })
    }
    /// The heading of `self` plus the whole turns that bring it nearest to `other`.
    pub fn nearest_turn_to(self, other: Angle) -> Angle {
        other + (self - other).wrapped_signed()
    }
    /// The whole turns in it, rounded down.
    pub fn whole_turns(self) -> i64 {
        let turns = self.radians * (1.0 / TAU);
        let toward_zero = turns as i64;
        toward_zero - i64::from(turns < toward_zero as f64)
    }
    /// The smaller of two.
    pub fn min(self, other: Angle) -> Angle {
        Angle::from_radians(self.radians.min(other.radians))
    }
    /// The larger of two.
    pub fn max(self, other: Angle) -> Angle {
        Angle::from_radians(self.radians.max(other.radians))
    }
    /// Neither NaN nor infinite.
    pub fn is_finite(self) -> bool {
        self.radians.is_finite()
    }
}

impl fmt::Debug for Angle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} deg", self.degrees())
    }
}
impl Add for Angle {
    type Output = Angle;
    fn add(self, other: Angle) -> Angle {
        Angle::from_radians(self.radians + other.radians)
    }
}
impl Sub for Angle {
    type Output = Angle;
    fn sub(self, other: Angle) -> Angle {
        Angle::from_radians(self.radians - other.radians)
    }
}
impl AddAssign for Angle {
    fn add_assign(&mut self, other: Angle) {
        self.radians += other.radians;
    }
}
impl SubAssign for Angle {
    fn sub_assign(&mut self, other: Angle) {
        self.radians -= other.radians;
    }
}
impl Neg for Angle {
    type Output = Angle;
    fn neg(self) -> Angle {
        Angle::from_radians(-self.radians)
    }
}
impl Mul<f64> for Angle {
    type Output = Angle;
    fn mul(self, factor: f64) -> Angle {
        Angle::from_radians(self.radians * factor)
    }
}
impl Div<f64> for Angle {
    type Output = Angle;
    fn div(self, divisor: f64) -> Angle {
        Angle::from_radians(self.radians / divisor)
    }
}
/// Ratio of two angles.
impl Div<Angle> for Angle {
    type Output = f64;
    fn div(self, other: Angle) -> f64 {
        self.radians / other.radians
    }
}
impl Sum for Angle {
    fn sum<I: Iterator<Item = Angle>>(angles: I) -> Angle {
        angles.fold(Angle::ZERO, Add::add)
    }
}

/// Marks a direction without refraction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Geometric {}
/// Marks a direction in which the beam must point: geometric plus radio refraction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Apparent {}

/// A direction in the local horizon frame, of one [`Geometric`] or [`Apparent`] kind.
///
/// Azimuth from true north, clockwise seen from above; elevation from the horizontal plane, up
/// positive. Two directions cannot be added; the difference between two of a kind is an [`Offset`].
pub struct Direction<Kind> {
    azimuth: Angle,
    elevation: Angle,
    kind: PhantomData<Kind>,
}

impl<Kind> Clone for Direction<Kind> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<Kind> Copy for Direction<Kind> {}
impl<Kind> PartialEq for Direction<Kind> {
    fn eq(&self, other: &Self) -> bool {
        self.azimuth == other.azimuth && self.elevation == other.elevation
    }
}
impl<Kind> fmt::Debug for Direction<Kind> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "azimuth {:?}, elevation {:?}",
            self.azimuth, self.elevation
        )
    }
}

impl Direction<Apparent> {
    /// Direction in which the beam must point, including refraction; the azimuth is kept as given.
    /// An encoder reading is not a direction: only a mount model converts it to one.
    pub const fn apparent(azimuth: Angle, elevation: Angle) -> Self {
        Direction::of(azimuth, elevation)
    }
}

impl Direction<Geometric> {
    /// Direction of an emitter without refraction; the azimuth is kept as given.
    pub const fn geometric(azimuth: Angle, elevation: Angle) -> Self {
        Direction::of(azimuth, elevation)
    }
}

impl<Kind> Direction<Kind> {
    const fn of(azimuth: Angle, elevation: Angle) -> Self {
        Direction {
            azimuth,
            elevation,
            kind: PhantomData,
        }
    }
    /// From a vector (east, north, up) of any length; the azimuth is in [0, 360) degrees. The
    /// zenith has azimuth zero.
    pub fn from_east_north_up(v: &Vector3<f64>) -> Self {
        let horizontal = v.x.hypot(v.y);
        Direction::of(
            Angle::from_radians(v.x.atan2(v.y)).wrapped_positive(),
            Angle::from_radians(v.z.atan2(horizontal)),
        )
    }
    /// The unit vector (east, north, up).
    pub fn east_north_up(&self) -> Vector3<f64> {
        let (sa, ca) = self.azimuth.sin_cos();
        let (se, ce) = self.elevation.sin_cos();
        Vector3::new(ce * sa, ce * ca, se)
    }
    /// Azimuth from true north, clockwise.
    pub fn azimuth(&self) -> Angle {
        self.azimuth
    }
    /// Elevation from the horizontal plane.
    pub fn elevation(&self) -> Angle {
        self.elevation
    }
    /// The angle on the sky to another direction of the same kind.
    pub fn separation(&self, other: &Self) -> Angle {
        angle_between(&self.east_north_up(), &other.east_north_up())
    }
    /// Offset on the sky from here to `target`, resolved here into cross-elevation and elevation.
    /// Its length is the true separation, however large.
    pub fn offset_to(&self, target: &Self) -> Offset {
        let basis = SkyBasis::at(&self.east_north_up());
        basis.offset_to(&target.east_north_up())
    }
}

/// Angle between two vectors, accurate for all angles (Kahan, "How futile are mindless assessments
/// of roundoff", 2006, section 12; from memory).
pub fn angle_between(a: &Vector3<f64>, b: &Vector3<f64>) -> Angle {
    let (a, b) = (a.normalize(), b.normalize());
    Angle::from_radians(2.0 * (a - b).norm().atan2((a + b).norm()))
}

/// Local tangent frame on the sky at a direction: toward increasing azimuth, toward increasing
/// elevation, outward.
#[derive(Clone, Copy, Debug)]
pub struct SkyBasis {
    /// Unit vector toward increasing azimuth.
    pub rightward: Vector3<f64>,
    /// Unit vector toward increasing elevation.
    pub upward: Vector3<f64>,
    /// The direction itself.
    pub outward: Vector3<f64>,
}

impl SkyBasis {
    /// The frame at unit vector `v` (east, north, up). At the exact zenith, where azimuth is
    /// undefined, north is used.
    pub fn at(v: &Vector3<f64>) -> SkyBasis {
        let horizontal = (v.x * v.x + v.y * v.y).sqrt();
        let (s, c) = if horizontal > 0.0 {
            (v.x / horizontal, v.y / horizontal)
        } else {
            (0.0, 1.0)
        };
        SkyBasis {
            rightward: Vector3::new(c, -s, 0.0),
            upward: Vector3::new(-v.z * s, -v.z * c, horizontal),
            outward: *v,
        }
    }
    /// Offset on the sky from here to unit vector `target`.
    pub fn offset_to(&self, target: &Vector3<f64>) -> Offset {
        let x = target.dot(&self.rightward);
        let y = target.dot(&self.upward);
        let across = (x * x + y * y).sqrt();
        let ahead = target.dot(&self.outward);
        // Ratio of angle to sine. Below 0.003 radian the series' next term is under 1e-16.
        let stretch = if ahead > 0.0 && across < 0.003 {
            let square = across * across;
            1.0 + square * (1.0 / 6.0 + square * (3.0 / 40.0))
        } else {
            across.atan2(ahead) / across
        };
        Offset {
            cross_elevation: Angle::from_radians(x * stretch),
            elevation: Angle::from_radians(y * stretch),
        }
    }
}

/// An offset on the sky: both components are angles on the sky, so cross-elevation is an azimuth
/// difference already multiplied by cos(elevation).
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Offset {
    /// Toward increasing azimuth.
    pub cross_elevation: Angle,
    /// Toward increasing elevation.
    pub elevation: Angle,
}

impl Offset {
    /// Length on the sky.
    pub fn size(&self) -> Angle {
        Angle::from_radians(
            self.cross_elevation
                .radians()
                .hypot(self.elevation.radians()),
        )
    }
}

/// Readings of the mount's encoders. The azimuth is unwrapped: at 370 degrees the cable is wound
/// one turn further than at 10. Elevation above 90 degrees is an over-the-top position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EncoderReading {
    /// Azimuth encoder, unwrapped.
    pub azimuth: Angle,
    /// Elevation encoder.
    pub elevation: Angle,
}

impl EncoderReading {
    /// From both readings in degrees.
    pub const fn from_degrees(azimuth: f64, elevation: f64) -> EncoderReading {
        EncoderReading {
            azimuth: Angle::from_degrees(azimuth),
            elevation: Angle::from_degrees(elevation),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn apparent(azimuth: f64, elevation: f64) -> Direction<Apparent> {
        Direction::apparent(Angle::from_degrees(azimuth), Angle::from_degrees(elevation))
    }

    #[test]
    fn east_is_azimuth_ninety() {
        let east = Direction::<Apparent>::from_east_north_up(&Vector3::new(1.0, 0.0, 0.0));
        assert!((east.azimuth().degrees() - 90.0).abs() < 1e-12);
        assert!((apparent(90.0, 0.0).east_north_up().x - 1.0).abs() < 1e-12);
    }

    #[test]
    fn wrapping_keeps_its_half_open_ends() {
        assert_eq!(
            Angle::from_degrees(-180.0).wrapped_signed().degrees(),
            180.0
        );
        assert_eq!(Angle::from_degrees(720.0).wrapped_positive().degrees(), 0.0);
        assert_eq!(
            Angle::from_radians(-1e-30).wrapped_positive().degrees(),
            0.0
        );
        let near = Angle::from_degrees(10.0).nearest_turn_to(Angle::from_degrees(400.0));
        assert!((near.degrees() - 370.0).abs() < 1e-9);
    }

    #[test]
    fn an_offset_is_an_angle_on_the_sky() {
        // One degree of azimuth at elevation 60 is half a degree of cross-elevation.
        let step = apparent(10.0, 60.0).offset_to(&apparent(10.01, 60.0));
        assert!((step.cross_elevation.degrees() - 0.005).abs() < 1e-6);
        let up = apparent(200.0, 30.0).offset_to(&apparent(200.0, 31.0));
        assert!((up.elevation.degrees() - 1.0).abs() < 1e-12);
        assert!(up.cross_elevation.degrees().abs() < 1e-12);
    }

    #[test]
    fn a_large_offset_keeps_its_true_length() {
        let step = apparent(0.0, 10.0).offset_to(&apparent(170.0, 20.0));
        let separation = apparent(0.0, 10.0).separation(&apparent(170.0, 20.0));
        assert!((step.size() - separation).abs().degrees() < 1e-9);
    }
}
