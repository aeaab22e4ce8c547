//! The forward model: encoder readings to the beam's direction, rigorous, with the
//! derivative of the beam by every term.
//!
//! The steps are those of the design page, in its order; each is a proper rotation in the
//! local frame of east, north and up. docs/mount-model.md derives them with pictures.

use nalgebra::Vector3;

use super::term::{Term, TermValues};
use crate::angle::{Angle, Apparent, Direction, EncoderReading};

/// The mount model with given values of its terms.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct MountModel {
    terms: TermValues,
}

/// Where the beam points for one reading, and how that changes.
#[derive(Clone, Debug)]
pub struct Beam {
    /// Unit vector (east, north, up).
    pub vector: Vector3<f64>,
    /// By [`Term`] as index: the derivative of `vector` by the term's inside value (radian,
    /// fraction). The clock offset moves the emitter, not the beam: zero here.
    pub by_term: [Vector3<f64>; Term::COUNT],
    /// The derivative of `vector` by the azimuth reading, per radian.
    pub by_azimuth: Vector3<f64>,
    /// The derivative of `vector` by the elevation reading, per radian.
    pub by_elevation: Vector3<f64>,
}

/// An axis angle and how it follows its reading.
#[derive(Clone, Copy, Debug)]
pub(super) struct AxisAngle {
    /// The angle, radians.
    pub value: f64,
    /// Its derivative by the axis's own reading.
    pub by_reading: f64,
}

/// From which side each axis arrived: +1 with increasing reading, -1 with decreasing, 0 when
/// not known.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct ApproachSigns {
    /// Of the azimuth axis.
    pub azimuth: f64,
    /// Of the elevation axis.
    pub elevation: f64,
}

impl MountModel {
    /// The model with these values.
    pub const fn new(terms: TermValues) -> MountModel {
        MountModel { terms }
    }

    /// The values of its terms.
    pub fn terms(&self) -> &TermValues {
        &self.terms
    }

    fn term(&self, term: Term) -> f64 {
        self.terms.inside(term)
    }

    /// Azimuth axis angle a = A + azimuth zero + azimuth scale x A + runout(A) + half the
    /// backlash x approach sign, with A the unwrapped reading in radians.
    pub(super) fn azimuth_axis(&self, reading: f64, sign: f64) -> AxisAngle {
        let (s, c) = reading.sin_cos();
        let scale = 1.0 + self.term(Term::AzimuthScale);
        let cos_part = self.term(Term::AzimuthRunoutCos);
        let sin_part = self.term(Term::AzimuthRunoutSin);
        AxisAngle {
            value: reading * scale
                + self.term(Term::AzimuthZero)
                + cos_part * c
                + sin_part * s
                + 0.5 * self.term(Term::AzimuthBacklash) * sign,
            by_reading: scale - cos_part * s + sin_part * c,
        }
    }

    /// Elevation axis angle before droop: h0 = E + elevation zero + elevation scale x E +
    /// runout(E) + warp(A) + half the backlash x approach sign.
    pub(super) fn elevation_axis(&self, reading: f64, azimuth: f64, sign: f64) -> AxisAngle {
        let (s, c) = reading.sin_cos();
        let scale = 1.0 + self.term(Term::ElevationScale);
        let cos_part = self.term(Term::ElevationRunoutCos);
        let sin_part = self.term(Term::ElevationRunoutSin);
        AxisAngle {
            value: reading * scale
                + self.term(Term::ElevationZero)
                + cos_part * c
                + sin_part * s
                + self.warp(azimuth)
                + 0.5 * self.term(Term::ElevationBacklash) * sign,
            by_reading: scale - cos_part * s + sin_part * c,
        }
    }

    fn warp(&self, azimuth: f64) -> f64 {
        let (s, c) = (2.0 * azimuth).sin_cos();
        self.term(Term::TrackWarpCos) * c + self.term(Term::TrackWarpSin) * s
    }

    fn warp_by_azimuth(&self, azimuth: f64) -> f64 {
        let (s, c) = (2.0 * azimuth).sin_cos();
        2.0 * (self.term(Term::TrackWarpSin) * c - self.term(Term::TrackWarpCos) * s)
    }

    /// Step 6, the tilt, as a rotation vector w = -(tilt north) e + (tilt east) n.
    pub(super) fn tilt(&self) -> RotationVector {
        RotationVector(Vector3::new(
            -self.term(Term::TiltNorth),
            self.term(Term::TiltEast),
            0.0,
        ))
    }

    /// Where the beam points: the unit vector (east, north, up).
    pub fn beam_vector(&self, reading: EncoderReading, approach: ApproachSigns) -> Vector3<f64> {
        let azimuth = reading.azimuth.radians();
        let a = self.azimuth_axis(azimuth, approach.azimuth).value;
        let h0 = self
            .elevation_axis(reading.elevation.radians(), azimuth, approach.elevation)
            .value;
        let h = h0 - self.term(Term::Droop) * h0.cos();
        let raised = raise(self.term(Term::Collimation), h);
        let skewed = skew(&raised, self.term(Term::AxisSkew));
        self.tilt().rotate(&turn(&skewed, a))
    }

    /// Where the beam points for an encoder reading.
    pub fn beam(&self, reading: EncoderReading, approach: ApproachSigns) -> Direction<Apparent> {
        Direction::from_east_north_up(&self.beam_vector(reading, approach))
    }

    /// Where the beam points, with the derivatives by every term and by both readings.
    pub fn beam_with_derivatives(&self, reading: EncoderReading, approach: ApproachSigns) -> Beam {
        let azimuth = reading.azimuth.radians();
        let elevation = reading.elevation.radians();
        let azimuth_axis = self.azimuth_axis(azimuth, approach.azimuth);
        let elevation_axis = self.elevation_axis(elevation, azimuth, approach.elevation);
        let (a, h0) = (azimuth_axis.value, elevation_axis.value);
        let droop = self.term(Term::Droop);
        let h = h0 - droop * h0.cos();
        let h_by_h0 = 1.0 + droop * h0.sin();

        let collimation = self.term(Term::Collimation);
        let s = self.term(Term::AxisSkew);
        let raised = raise(collimation, h);
        let skewed = skew(&raised, s);
        let turned = turn(&skewed, a);
        let tilt = self.tilt();
        let vector = tilt.rotate(&turned);

        // Each partial is the derivative of one step, carried through the steps after it.
        let after_raise = |v: &Vector3<f64>| tilt.rotate(&turn(&skew(v, s), a));
        let (sh, ch) = h.sin_cos();
        let (sc, cc) = collimation.sin_cos();
        let by_h = after_raise(&Vector3::new(0.0, -cc * sh, cc * ch));
        let by_collimation = after_raise(&Vector3::new(cc, -sc * ch, -sc * sh));
        let (ss, cs) = s.sin_cos();
        let skew_rate = Vector3::new(
            -raised.x * ss - raised.z * cs,
            0.0,
            raised.x * cs - raised.z * ss,
        );
        let by_skew = tilt.rotate(&turn(&skew_rate, a));
        let by_a = tilt.rotate(&Vector3::new(turned.y, -turned.x, 0.0));
        let by_h0 = by_h * h_by_h0;

        let (s_az, c_az) = azimuth.sin_cos();
        let (s_el, c_el) = elevation.sin_cos();
        let (s_2az, c_2az) = (2.0 * azimuth).sin_cos();
        let mut by_term = [Vector3::zeros(); Term::COUNT];
        let mut set = |term: Term, value: Vector3<f64>| by_term[term as usize] = value;
        set(Term::AzimuthZero, by_a);
        set(Term::ElevationZero, by_h0);
        set(
            Term::TiltNorth,
            tilt.rotated_by(&vector, &Vector3::new(-1.0, 0.0, 0.0)),
        );
        set(
            Term::TiltEast,
            tilt.rotated_by(&vector, &Vector3::new(0.0, 1.0, 0.0)),
        );
        set(Term::Collimation, by_collimation);
        set(Term::AxisSkew, by_skew);
        set(Term::Droop, by_h * -h0.cos());
        set(Term::AzimuthScale, by_a * azimuth);
        set(Term::ElevationScale, by_h0 * elevation);
        set(Term::AzimuthRunoutCos, by_a * c_az);
        set(Term::AzimuthRunoutSin, by_a * s_az);
        set(Term::ElevationRunoutCos, by_h0 * c_el);
        set(Term::ElevationRunoutSin, by_h0 * s_el);
        set(Term::TrackWarpCos, by_h0 * c_2az);
        set(Term::TrackWarpSin, by_h0 * s_2az);
        set(Term::AzimuthBacklash, by_a * (0.5 * approach.azimuth));
        set(Term::ElevationBacklash, by_h0 * (0.5 * approach.elevation));
        Beam {
            vector,
            by_term,
            by_azimuth: by_a * azimuth_axis.by_reading + by_h0 * self.warp_by_azimuth(azimuth),
            by_elevation: by_h0 * elevation_axis.by_reading,
        }
    }
}

/// Steps 2 and 3: the beam in the dish, b = sin(collimation) e + cos(collimation) n, raised
/// by h about e: n goes to cos(h) n + sin(h) u.
pub(super) fn raise(collimation: f64, h: f64) -> Vector3<f64> {
    let (sc, cc) = collimation.sin_cos();
    let (sh, ch) = h.sin_cos();
    Vector3::new(sc, cc * ch, cc * sh)
}

/// Step 4: skew s about n: e goes to cos(s) e + sin(s) u.
pub(super) fn skew(v: &Vector3<f64>, s: f64) -> Vector3<f64> {
    let (ss, cs) = s.sin_cos();
    Vector3::new(v.x * cs - v.z * ss, v.y, v.x * ss + v.z * cs)
}

/// Step 5: azimuth a, clockwise about u: n goes to cos(a) n + sin(a) e.
fn turn(v: &Vector3<f64>, a: f64) -> Vector3<f64> {
    let (sa, ca) = a.sin_cos();
    Vector3::new(v.x * ca + v.y * sa, v.y * ca - v.x * sa, v.z)
}

/// A right-handed rotation about a vector by its length in radians.
#[derive(Clone, Copy, Debug)]
pub(super) struct RotationVector(pub Vector3<f64>);

impl RotationVector {
    /// sin(t)/t and (1 - cos(t))/t^2 for the length t, good down to zero.
    fn coefficients(&self) -> (f64, f64) {
        let t = self.0.norm();
        let half = 0.5 * t;
        (cardinal_sine(t), 0.5 * cardinal_sine(half).powi(2))
    }

    /// Rodrigues' formula: v + sin(t) k x v + (1 - cos(t)) k x (k x v), k the unit axis
    /// (Goldstein, Poole and Safko, Classical Mechanics, 3rd edition, section 4.7; from memory).
    pub fn rotate(&self, v: &Vector3<f64>) -> Vector3<f64> {
        let (f, g) = self.coefficients();
        let across = self.0.cross(v);
        v + across * f + self.0.cross(&across) * g
    }

    /// The rotation the other way.
    pub fn back(&self) -> RotationVector {
        RotationVector(-self.0)
    }

    /// The rate of an already rotated vector when the rotation vector changes by `rate`:
    /// (J rate) x rotated, with J = I sin(t)/t + k k' (1 - sin(t)/t) + [k]x (1 - cos(t))/t the left
    /// Jacobian of the rotation group (Barfoot, State Estimation for Robotics, 2017,
    /// equation 7.77; from memory).
    fn rotated_by(&self, rotated: &Vector3<f64>, rate: &Vector3<f64>) -> Vector3<f64> {
        let (f, g) = self.coefficients();
        let t2 = self.0.norm_squared();
        let along = if t2 > 0.0 {
            self.0 * (self.0.dot(rate) * (1.0 - f) / t2)
        } else {
            Vector3::zeros()
        };
        let spin = rate * f + along + self.0.cross(rate) * g;
        spin.cross(rotated)
    }
}

fn cardinal_sine(x: f64) -> f64 {
    if x.abs() < 1e-4 {
        // The next term of the series is below 1e-18.
        1.0 - x * x / 6.0
    } else {
        x.sin() / x
    }
}

impl ApproachSigns {
    /// Neither known.
    pub const UNKNOWN: ApproachSigns = ApproachSigns {
        azimuth: 0.0,
        elevation: 0.0,
    };
}

/// A tolerance on readings, used where the inverse iterates.
pub(super) const READING_TOLERANCE: Angle = Angle::from_degrees(1e-11);

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Central differences of a smooth function with step 1e-5: truncation 1e-10 times the
    /// third derivative, rounding 1e-11.
    const DIFFERENCE_ERROR: f64 = 1e-8;
    const STEP: f64 = 1e-5;

    fn some_terms() -> impl Strategy<Value = TermValues> {
        prop::array::uniform18(-0.1..0.1).prop_map(|values| {
            let mut terms = TermValues::ZERO;
            for (term, value) in Term::ALL.into_iter().zip(values) {
                terms.set_inside(term, value);
            }
            terms
        })
    }

    proptest! {
        #[test]
        fn derivatives_agree_with_central_differences(
            terms in some_terms(),
            azimuth in -4.0..10.0f64,
            elevation in -0.2..3.3f64,
            signs in prop::array::uniform2(-1i8..=1),
        ) {
            let approach = ApproachSigns {
                azimuth: f64::from(signs[0]),
                elevation: f64::from(signs[1]),
            };
            let reading = EncoderReading {
                azimuth: Angle::from_radians(azimuth),
                elevation: Angle::from_radians(elevation),
            };
            let beam = MountModel::new(terms).beam_with_derivatives(reading, approach);
            prop_assert!((beam.vector - MountModel::new(terms).beam_vector(reading, approach)).norm() < 1e-14);
            let difference = |change: &dyn Fn(f64) -> Vector3<f64>| {
                (change(STEP) - change(-STEP)) / (2.0 * STEP)
            };
            for term in Term::ALL {
                let numeric = difference(&|step| {
                    let mut moved = terms;
                    moved.set_inside(term, terms.inside(term) + step);
                    MountModel::new(moved).beam_vector(reading, approach)
                });
                let error = (beam.by_term[term as usize] - numeric).norm();
                // Scale terms multiply a reading of up to 10 radians.
                prop_assert!(error < DIFFERENCE_ERROR * 1e2, "{term}: {error}");
            }
            let model = MountModel::new(terms);
            let by_azimuth = difference(&|step| {
                let azimuth = Angle::from_radians(azimuth + step);
                model.beam_vector(EncoderReading { azimuth, ..reading }, approach)
            });
            let by_elevation = difference(&|step| {
                let elevation = Angle::from_radians(elevation + step);
                model.beam_vector(EncoderReading { elevation, ..reading }, approach)
            });
            prop_assert!((beam.by_azimuth - by_azimuth).norm() < DIFFERENCE_ERROR);
            prop_assert!((beam.by_elevation - by_elevation).norm() < DIFFERENCE_ERROR);
        }
    }
}
