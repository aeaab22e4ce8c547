//! The forward model: encoder readings to the beam's direction, rigorous, with the
//! derivative of the beam by every term.
//!
//! The steps are those of docs/mount-model.md, in its order; each is a proper rotation, in the
//! local frame of east, north and up or, for other kinds of mount than az-el, in the mount's own
//! frame, which a fixed turn carries to the local one. docs/mount-model.md derives them with
//! pictures.

use nalgebra::Vector3;

use super::geometry::{Geometry, Sag};
use super::kind::Kind;
use super::sin_cos::SinCos;
use super::term::{Term, TermValues};
use crate::angle::{Angle, Apparent, Direction, EncoderReading};

/// The mount model with given values of its terms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MountModel {
    geometry: Geometry,
    terms: TermValues,
    fixed: Fixed,
}

/// Values that are the same for every reading, computed once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fixed {
    /// Sine and cosine of the collimation.
    pub collimation: SinCos,
    /// Sine and cosine of the axis skew.
    pub skew: SinCos,
    /// Step 6, the tilt, as a rotation vector w = -(tilt north) e + (tilt east) n; of other kinds
    /// of mount the misdirection of the first axis, in the mount's frame.
    pub tilt: RotationVector,
    /// Axes about which its two parts turn the beam.
    pub tilt_axes: [Vector3<f64>; 2],
    /// Whether the azimuth runout, the elevation runout and the warp are not zero.
    azimuth_runout: bool,
    elevation_runout: bool,
    warp: bool,
}

/// Direction of the beam for one reading, with its derivatives.
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

/// An axis angle and its derivative by the reading.
#[derive(Clone, Copy, Debug)]
pub(super) struct AxisAngle {
    /// The angle, radians.
    pub value: f64,
    /// Its derivative by the axis's own reading.
    pub by_reading: f64,
}

/// Side from which each axis arrived: +1 with increasing reading, -1 with decreasing, 0 if
/// unknown.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct ApproachSigns {
    /// Of the azimuth axis.
    pub azimuth: f64,
    /// Of the elevation axis.
    pub elevation: f64,
}

impl MountModel {
    /// The model of a mount of this geometry, with these values.
    pub fn new(geometry: Geometry, terms: TermValues) -> MountModel {
        let any = |these: [Term; 2]| these.into_iter().any(|t| terms.inside(t) != 0.0);
        let lean = [Term::TiltNorth, Term::TiltEast].map(|t| terms.inside(t));
        let (tilt, lean_axes) = match geometry.turn() {
            None => (
                Vector3::new(-lean[0], lean[1], 0.0),
                [-Vector3::x(), Vector3::y()],
            ),
            Some(turn) => {
                let [one, other] = turn.lean_axes;
                (one * lean[0] + other * lean[1], turn.lean_axes)
            }
        };
        let tilt = RotationVector::new(tilt);
        MountModel {
            geometry,
            fixed: Fixed {
                collimation: SinCos::of(terms.inside(Term::Collimation)),
                skew: SinCos::of(terms.inside(Term::AxisSkew)),
                tilt,
                tilt_axes: lean_axes.map(|rate| tilt.axis_of(&rate)),
                azimuth_runout: any([Term::AzimuthRunoutCos, Term::AzimuthRunoutSin]),
                elevation_runout: any([Term::ElevationRunoutCos, Term::ElevationRunoutSin]),
                warp: any([Term::TrackWarpCos, Term::TrackWarpSin]),
            },
            terms,
        }
    }

    /// An az-el mount with these values.
    pub fn az_el(terms: TermValues) -> MountModel {
        MountModel::new(Geometry::AZ_EL, terms)
    }

    /// A mount of this geometry without errors.
    pub fn ideal(geometry: Geometry) -> MountModel {
        MountModel::new(geometry, TermValues::ZERO)
    }

    /// The same mount with other values.
    pub fn with_terms(&self, terms: TermValues) -> MountModel {
        MountModel::new(self.geometry, terms)
    }

    /// The geometry of the mount.
    pub fn geometry(&self) -> &Geometry {
        &self.geometry
    }

    /// The kind of mount.
    pub fn kind(&self) -> Kind {
        self.geometry.kind()
    }

    /// The unit vector (east, north, up) toward which the first axis's outer end points.
    pub fn axis_1(&self) -> Vector3<f64> {
        (self.geometry).to_local(&self.fixed.tilt.rotate(&Vector3::z()))
    }

    /// Values that are the same for every reading.
    pub(super) fn fixed(&self) -> &Fixed {
        &self.fixed
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
        let scale = 1.0 + self.term(Term::AzimuthScale);
        let steady = reading * scale
            + self.term(Term::AzimuthZero)
            + 0.5 * self.term(Term::AzimuthBacklash) * sign;
        let parts = [Term::AzimuthRunoutCos, Term::AzimuthRunoutSin];
        self.with_runout(self.fixed.azimuth_runout, parts, reading, steady, scale)
    }

    /// An axis that stands at `steady` and moves by `scale` a reading, with the runout of the
    /// terms `parts` added if there is any.
    fn with_runout(
        &self,
        any: bool,
        [cos_part, sin_part]: [Term; 2],
        reading: f64,
        steady: f64,
        scale: f64,
    ) -> AxisAngle {
        if !any {
            return AxisAngle {
                value: steady,
                by_reading: scale,
            };
        }
        let SinCos { sin, cos } = SinCos::of(reading);
        let (cos_part, sin_part) = (self.term(cos_part), self.term(sin_part));
        AxisAngle {
            value: steady + cos_part * cos + sin_part * sin,
            by_reading: scale - cos_part * sin + sin_part * cos,
        }
    }

    /// Elevation axis angle before droop: h0 = E + elevation zero + elevation scale x E +
    /// runout(E) + warp(A) + half the backlash x approach sign.
    pub(super) fn elevation_axis(&self, reading: f64, azimuth: f64, sign: f64) -> AxisAngle {
        let scale = 1.0 + self.term(Term::ElevationScale);
        let steady = reading * scale
            + self.term(Term::ElevationZero)
            + self.warp(azimuth)
            + 0.5 * self.term(Term::ElevationBacklash) * sign;
        let parts = [Term::ElevationRunoutCos, Term::ElevationRunoutSin];
        self.with_runout(self.fixed.elevation_runout, parts, reading, steady, scale)
    }

    fn warp(&self, azimuth: f64) -> f64 {
        if !self.fixed.warp {
            return 0.0;
        }
        let SinCos { sin, cos } = SinCos::of(2.0 * azimuth);
        self.term(Term::TrackWarpCos) * cos + self.term(Term::TrackWarpSin) * sin
    }

    /// Direction of the beam as a unit vector (east, north, up).
    pub fn beam_vector(&self, reading: EncoderReading, approach: ApproachSigns) -> Vector3<f64> {
        let azimuth = reading.azimuth.radians();
        let a = self.azimuth_axis(azimuth, approach.azimuth).value;
        let h0 = self
            .elevation_axis(reading.elevation.radians(), azimuth, approach.elevation)
            .value;
        let droop = self.term(Term::Droop);
        let pointed = |a: f64, h: f64| {
            let raised = raise(self.fixed.collimation, h);
            let skewed = skew(&raised, self.fixed.skew);
            self.fixed.tilt.rotate(&turn(&skewed, SinCos::of(a)))
        };
        let Some(of) = self.geometry.turn() else {
            let h = if droop == 0.0 {
                h0
            } else {
                h0 - droop * h0.cos()
            };
            return pointed(a, h);
        };
        let mut beam = pointed(of.a(a), of.h(h0));
        if droop != 0.0 {
            beam = Sag::of(&beam, &of.up, droop).beam;
        }
        self.geometry.to_local(&beam)
    }

    /// Direction of the beam for an encoder reading.
    pub fn beam(&self, reading: EncoderReading, approach: ApproachSigns) -> Direction<Apparent> {
        Direction::from_east_north_up(&self.beam_vector(reading, approach))
    }

    /// Direction of the beam, with the derivatives by every term and by both readings.
    ///
    /// Every step is a rotation, so whatever turns the beam turns it about an axis: the rate of
    /// the beam is axis x beam, with the axis as the steps after it have turned it.
    pub fn beam_with_derivatives(&self, reading: EncoderReading, approach: ApproachSigns) -> Beam {
        let azimuth = reading.azimuth.radians();
        let elevation = reading.elevation.radians();
        let azimuth_axis = self.azimuth_axis(azimuth, approach.azimuth);
        let elevation_axis = self.elevation_axis(elevation, azimuth, approach.elevation);
        let of = self.geometry.turn();
        let (a, h0) = match of {
            None => (azimuth_axis.value, elevation_axis.value),
            Some(of) => (of.a(azimuth_axis.value), of.h(elevation_axis.value)),
        };
        let a = SinCos::of(a);
        let at_h0 = SinCos::of(h0);
        let droop = self.term(Term::Droop);
        // The droop of an elevation axis; about any other axis it comes last.
        let axis_droop = if of.is_none() { droop } else { 0.0 };
        let h = SinCos::of(h0 - axis_droop * at_h0.cos);
        let h_by_h0 = 1.0 + axis_droop * at_h0.sin;

        let Fixed {
            collimation,
            skew: s,
            tilt,
            ..
        } = self.fixed;
        let turned = |v: Vector3<f64>| tilt.rotate(&turn(&v, a));
        let vector = turned(skew(&raise_by(collimation, h), s));
        // Azimuth, skew and collimation turn left-handed about these, elevation right-handed.
        let upward = tilt.rotate(&Vector3::z());
        let forward = turned(Vector3::y());
        let rightward = turned(skew(&Vector3::x(), s));
        let off_beam = turned(skew(&Vector3::new(0.0, -h.sin, h.cos), s));
        let mut by_a = vector.cross(&upward);
        let by_h = rightward.cross(&vector);
        let mut by_h0 = by_h * h_by_h0;
        let mut by_lean = self.fixed.tilt_axes.map(|axis| axis.cross(&vector));
        let mut by_collimation = vector.cross(&off_beam);
        let mut by_skew = vector.cross(&forward);
        let mut by_droop = by_h * -at_h0.cos;
        let mut beam = vector;
        if let Some(of) = of {
            let sag = Sag::of(&vector, &of.up, droop);
            let carried = |v: Vector3<f64>| self.geometry.to_local(&sag.carry(&v));
            by_a = carried(by_a) * of.signs[0];
            by_h0 = carried(by_h0) * of.signs[1];
            by_lean = by_lean.map(carried);
            by_collimation = carried(by_collimation);
            by_skew = carried(by_skew);
            by_droop = self.geometry.to_local(&sag.by_droop);
            beam = self.geometry.to_local(&sag.beam);
        }

        let at_azimuth = SinCos::of(azimuth);
        let twice_azimuth = at_azimuth.doubled();
        let at_elevation = SinCos::of(elevation);
        let warp_by_azimuth = 2.0
            * (self.term(Term::TrackWarpSin) * twice_azimuth.cos
                - self.term(Term::TrackWarpCos) * twice_azimuth.sin);
        let mut by_term = [Vector3::zeros(); Term::COUNT];
        let mut set = |term: Term, value: Vector3<f64>| by_term[term as usize] = value;
        set(Term::AzimuthZero, by_a);
        set(Term::ElevationZero, by_h0);
        set(Term::TiltNorth, by_lean[0]);
        set(Term::TiltEast, by_lean[1]);
        set(Term::Collimation, by_collimation);
        set(Term::AxisSkew, by_skew);
        set(Term::Droop, by_droop);
        set(Term::AzimuthScale, by_a * azimuth);
        set(Term::ElevationScale, by_h0 * elevation);
        set(Term::AzimuthRunoutCos, by_a * at_azimuth.cos);
        set(Term::AzimuthRunoutSin, by_a * at_azimuth.sin);
        set(Term::ElevationRunoutCos, by_h0 * at_elevation.cos);
        set(Term::ElevationRunoutSin, by_h0 * at_elevation.sin);
        set(Term::TrackWarpCos, by_h0 * twice_azimuth.cos);
        set(Term::TrackWarpSin, by_h0 * twice_azimuth.sin);
        set(Term::AzimuthBacklash, by_a * (0.5 * approach.azimuth));
        set(Term::ElevationBacklash, by_h0 * (0.5 * approach.elevation));
        Beam {
            vector: beam,
            by_term,
            by_azimuth: by_a * azimuth_axis.by_reading + by_h0 * warp_by_azimuth,
            by_elevation: by_h0 * elevation_axis.by_reading,
        }
    }
}

/// Steps 2 and 3: the beam in the dish, b = sin(collimation) e + cos(collimation) n, raised
/// by h about e: n goes to cos(h) n + sin(h) u.
pub(super) fn raise(collimation: SinCos, h: f64) -> Vector3<f64> {
    raise_by(collimation, SinCos::of(h))
}

fn raise_by(collimation: SinCos, h: SinCos) -> Vector3<f64> {
    Vector3::new(
        collimation.sin,
        collimation.cos * h.cos,
        collimation.cos * h.sin,
    )
}

/// Step 4: skew s about n: e goes to cos(s) e + sin(s) u.
pub(super) fn skew(v: &Vector3<f64>, s: SinCos) -> Vector3<f64> {
    Vector3::new(v.x * s.cos - v.z * s.sin, v.y, v.x * s.sin + v.z * s.cos)
}

/// Step 5: azimuth a, clockwise about u: n goes to cos(a) n + sin(a) e.
fn turn(v: &Vector3<f64>, a: SinCos) -> Vector3<f64> {
    Vector3::new(v.x * a.cos + v.y * a.sin, v.y * a.cos - v.x * a.sin, v.z)
}

/// A right-handed rotation about a vector by its length in radians.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RotationVector {
    vector: Vector3<f64>,
    /// sin(t)/t for the length t.
    sine: f64,
    /// (1 - cos(t))/t^2.
    versine: f64,
}

impl RotationVector {
    fn new(vector: Vector3<f64>) -> RotationVector {
        let t = vector.norm();
        RotationVector {
            vector,
            sine: cardinal_sine(t),
            versine: 0.5 * cardinal_sine(0.5 * t).powi(2),
        }
    }

    /// Rodrigues' formula: v + sin(t) k x v + (1 - cos(t)) k x (k x v), k the unit axis
    /// (Goldstein, Poole and Safko, Classical Mechanics, 3rd edition, section 4.7; from memory).
    pub fn rotate(&self, v: &Vector3<f64>) -> Vector3<f64> {
        let across = self.vector.cross(v);
        v + across * self.sine + self.vector.cross(&across) * self.versine
    }

    /// The inverse rotation.
    pub fn back(&self) -> RotationVector {
        RotationVector {
            vector: -self.vector,
            ..*self
        }
    }

    /// About which axis an already rotated vector turns when the rotation vector changes by
    /// `rate`: J rate, with J = I sin(t)/t + k k' (1 - sin(t)/t) + `[k]`x (1 - cos(t))/t the left
    /// Jacobian of the rotation group (Barfoot, State Estimation for Robotics, 2017,
    /// equation 7.77; from memory).
    fn axis_of(&self, rate: &Vector3<f64>) -> Vector3<f64> {
        let t2 = self.vector.norm_squared();
        let along = if t2 > 0.0 {
            self.vector * (self.vector.dot(rate) * (1.0 - self.sine) / t2)
        } else {
            Vector3::zeros()
        };
        rate * self.sine + along + self.vector.cross(rate) * self.versine
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
    /// Neither side known.
    pub const UNKNOWN: ApproachSigns = ApproachSigns {
        azimuth: 0.0,
        elevation: 0.0,
    };
}

/// Tolerance on readings where the inverse compares equivalent ones and checks a range.
pub(super) const READING_TOLERANCE: Angle = Angle::from_degrees(1e-11);

#[cfg(test)]
pub(super) mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::mount::LowerAxis;

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

    pub(in super::super) fn any_geometry() -> impl Strategy<Value = Geometry> {
        let degrees = Angle::from_degrees;
        prop_oneof![
            Just(Geometry::AZ_EL),
            (-89.0..89.0).prop_map(move |latitude| Geometry::polar(degrees(latitude))),
            Just(Geometry::x_y(LowerAxis::NorthSouth)),
            Just(Geometry::x_y(LowerAxis::EastWest)),
            (0.0..60.0, 0.0..360.0).prop_map(move |(tilt, azimuth)| {
                Geometry::slant(degrees(tilt), degrees(azimuth))
            }),
        ]
    }

    proptest! {
        #[test]
        fn derivatives_agree_with_central_differences(
            geometry in any_geometry(),
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
            let beam = MountModel::new(geometry, terms).beam_with_derivatives(reading, approach);
            prop_assert!((beam.vector - MountModel::new(geometry, terms).beam_vector(reading, approach)).norm() < 1e-14);
            let difference = |change: &dyn Fn(f64) -> Vector3<f64>| {
                (change(STEP) - change(-STEP)) / (2.0 * STEP)
            };
            for term in Term::ALL {
                let numeric = difference(&|step| {
                    let mut moved = terms;
                    moved.set_inside(term, terms.inside(term) + step);
                    MountModel::new(geometry, moved).beam_vector(reading, approach)
                });
                let error = (beam.by_term[term as usize] - numeric).norm();
                // Scale terms multiply a reading of up to 10 radians.
                prop_assert!(error < DIFFERENCE_ERROR * 1e2, "{term:?}: {error}");
            }
            let model = MountModel::new(geometry, terms);
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
