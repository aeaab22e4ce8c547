//! Where the first axis nominally points, and how readings become angles of the mount's own frame.
//!
//! In that frame the first axis points up and both angles are those of an az-el mount, a
//! (azimuth) and h (elevation); a fixed turn Q carries it to where the axis really points. An
//! az-el mount is the case without a turn. docs/mount-model.md has the table.

use nalgebra::{Matrix3, Vector3};

use super::kind::{Kind, LowerAxis, Pole};
use super::sin_cos::SinCos;
use crate::angle::{Angle, SkyBasis};

/// Geometry of a mount: its kind, and the rotation from its frame to the local one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Geometry {
    kind: Kind,
    /// `None` for az-el.
    turn: Option<Turn>,
}

/// The frame of a mount whose first axis is not nominally upright.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turn {
    /// From the mount's frame to the local one.
    q: Matrix3<f64>,
    /// Signs with which a and h follow the readings: +1 or -1.
    pub signs: [f64; 2],
    /// a where the first reading is zero, radians, and its sine and cosine.
    pub zero: f64,
    pub zero_sin_cos: SinCos,
    /// Axes in the mount's frame about which its two misdirections turn the first axis.
    pub lean_axes: [Vector3<f64>; 2],
    /// The zenith in the mount's frame.
    pub up: Vector3<f64>,
}

impl Default for Geometry {
    fn default() -> Geometry {
        Geometry::AZ_EL
    }
}

impl Geometry {
    /// An az-el mount.
    pub const AZ_EL: Geometry = Geometry {
        kind: Kind::AzEl,
        turn: None,
    };

    /// A polar mount at a latitude.
    pub fn polar(latitude: Angle) -> Geometry {
        let north = latitude >= Angle::ZERO;
        let (kind, azimuth) = match north {
            true => (Kind::Polar(Pole::North), Angle::ZERO),
            false => (Kind::Polar(Pole::South), Angle::HALF_TURN),
        };
        Geometry::turned(kind, azimuth, latitude.abs())
    }

    /// An x-y mount.
    pub fn x_y(lower: LowerAxis) -> Geometry {
        let azimuth = match lower {
            LowerAxis::NorthSouth => Angle::ZERO,
            LowerAxis::EastWest => Angle::RIGHT,
        };
        Geometry::turned(Kind::XY(lower), azimuth, Angle::ZERO)
    }

    /// An az-el mount on a base that leans on purpose, by `tilt` toward `azimuth`.
    pub fn slant(tilt: Angle, azimuth: Angle) -> Geometry {
        Geometry::turned(Kind::Slant, azimuth, Angle::RIGHT - tilt)
    }

    /// A mount with the first axis's outer end at that azimuth and elevation.
    fn turned(kind: Kind, azimuth: Angle, elevation: Angle) -> Geometry {
        // Exact where the axis points due north, east, south or west.
        let (sin, cos) = quarter_exact(azimuth);
        let (up, along) = quarter_exact(elevation);
        // The shortest rotation: about the horizontal vector 90 degrees left of the axis's
        // azimuth, by 90 degrees less its elevation, whose sine is `along`.
        let k = Vector3::new(-cos, sin, 0.0);
        let q =
            Matrix3::identity() * up + k.cross_matrix() * along + k * k.transpose() * (1.0 - up);
        let back = q.transpose();
        let axis = q * Vector3::z();
        let right = Vector3::new(cos, -sin, 0.0);
        let lean_axes = match kind {
            Kind::Polar(_) => [right, axis.cross(&Vector3::x())],
            Kind::XY(_) => [right, axis.cross(&right)],
            Kind::AzEl | Kind::Slant => [-Vector3::x(), Vector3::y()],
        }
        .map(|w| back * w);
        let (signs, zero) = match kind {
            Kind::Polar(Pole::North) => ([1.0, 1.0], Angle::HALF_TURN),
            Kind::Polar(Pole::South) => ([-1.0, -1.0], Angle::ZERO),
            Kind::XY(LowerAxis::NorthSouth) => ([-1.0, 1.0], Angle::HALF_TURN),
            Kind::XY(LowerAxis::EastWest) => ([1.0, 1.0], -Angle::RIGHT),
            Kind::AzEl | Kind::Slant => ([1.0, 1.0], Angle::ZERO),
        };
        let (sin, cos) = quarter_exact(zero);
        Geometry {
            kind,
            turn: Some(Turn {
                q,
                signs,
                zero: zero.radians(),
                zero_sin_cos: SinCos { sin, cos },
                lean_axes,
                up: back * Vector3::z(),
            }),
        }
    }

    /// The kind of mount.
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    pub(super) fn turn(&self) -> Option<&Turn> {
        self.turn.as_ref()
    }

    /// The unit vector (east, north, up) toward which the first axis's outer end nominally points.
    pub fn axis_1(&self) -> Vector3<f64> {
        self.to_local(&Vector3::z())
    }

    /// Transforms a vector (east, north, up) to the mount's own frame.
    pub fn to_mount(&self, v: &Vector3<f64>) -> Vector3<f64> {
        match &self.turn {
            None => *v,
            Some(turn) => turn.q.tr_mul(v),
        }
    }

    /// Transforms a vector of the mount's own frame to (east, north, up).
    pub fn to_local(&self, v: &Vector3<f64>) -> Vector3<f64> {
        match &self.turn {
            None => *v,
            Some(turn) => turn.q * v,
        }
    }

    /// The small frame along the mount's axes at unit vector `v` (east, north, up): its
    /// `rightward` goes with increasing reading of the first axis, its `upward` with that of the
    /// second. For an az-el mount the frame of azimuth and elevation.
    pub fn basis_at(&self, v: &Vector3<f64>) -> SkyBasis {
        let Some(turn) = &self.turn else {
            return SkyBasis::at(v);
        };
        let inside = SkyBasis::at(&turn.q.tr_mul(v));
        SkyBasis {
            rightward: turn.q * inside.rightward * turn.signs[0],
            upward: turn.q * inside.upward * turn.signs[1],
            outward: *v,
        }
    }
}

/// Sine and cosine, exact at quarter turns.
fn quarter_exact(angle: Angle) -> (f64, f64) {
    let quarters = angle / Angle::RIGHT;
    if quarters.fract() != 0.0 {
        return angle.sin_cos();
    }
    match quarters.rem_euclid(4.0) as u8 {
        0 => (0.0, 1.0),
        1 => (1.0, 0.0),
        2 => (0.0, -1.0),
        _ => (-1.0, 0.0),
    }
}

impl Turn {
    /// The mount's azimuth for an angle of the first axis, radians.
    pub fn a(&self, x: f64) -> f64 {
        self.signs[0] * x + self.zero
    }
    /// The mount's elevation for an angle of the second axis.
    pub fn h(&self, x: f64) -> f64 {
        self.signs[1] * x
    }
    /// The angle of the first axis at the mount's azimuth `a`.
    pub fn x(&self, a: f64) -> f64 {
        self.signs[0] * (a - self.zero)
    }
}

/// How gravity turns a beam toward the nadir in its vertical plane by droop x cos(elevation), in
/// the mount's frame: the same about every kind of first axis but the upright one, whose droop
/// belongs to its elevation axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sag {
    /// The beam after the sag.
    pub beam: Vector3<f64>,
    /// Derivative of `beam` by the droop, per radian.
    pub by_droop: Vector3<f64>,
    right: Vector3<f64>,
    up_before: Vector3<f64>,
    up_after: Vector3<f64>,
    across: f64,
    along: f64,
}

impl Sag {
    /// Sag of a beam where the zenith is `up`; `droop` in radians.
    pub fn of(beam: &Vector3<f64>, up: &Vector3<f64>, droop: f64) -> Sag {
        let sin = beam.dot(up);
        let side = beam.cross(up);
        let cos = side.norm();
        let by = droop * cos;
        let (s, c) = by.sin_cos();
        // Toward the zenith, of length cos.
        let rise = up - beam * sin;
        // sin(by) / cos: finite where the beam points straight up.
        let share = if cos > 1e-100 { s / cos } else { droop };
        let right = if cos > 1e-100 {
            side / cos
        } else {
            // Straight up any direction will do.
            any_square_to(beam)
        };
        let up_before = right.cross(beam);
        let after = beam * c - rise * share;
        Sag {
            beam: after,
            by_droop: -(beam * (cos * s) + rise * c),
            right,
            up_before,
            up_after: right.cross(&after),
            across: c + sin * share,
            along: 1.0 + droop * sin,
        }
    }

    /// Carries a small step of the beam through the sag.
    pub fn carry(&self, step: &Vector3<f64>) -> Vector3<f64> {
        self.right * (self.right.dot(step) * self.across)
            + self.up_after * (self.up_before.dot(step) * self.along)
    }
}

fn any_square_to(v: &Vector3<f64>) -> Vector3<f64> {
    let least = match v.iamin() {
        0 => Vector3::x(),
        1 => Vector3::y(),
        _ => Vector3::z(),
    };
    v.cross(&least).normalize()
}
