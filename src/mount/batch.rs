//! The forward model for several readings at a time, resolved in the frame at the beam, for fits
//! of many peaks, which evaluate it many times.
//!
//! The same steps as [`MountModel::beam_with_derivatives`]; sines and cosines of readings are
//! computed by the caller, and constant zeros are added by the addition theorems. All vectors
//! here are in the mount's own frame, where its first axis points up
//! ([`super::Geometry::to_mount`]); for an az-el mount that is the local one.

use nalgebra::{Matrix3, Vector3};

use super::geometry::Turn;
use super::lanes::{LANES, Lanes};
use super::model::{Fixed, MountModel};
use super::sin_cos::SinCos;
use super::term::Term;
use crate::angle::SkyBasis;

/// Readings, with what is computed from them only once.
#[derive(Clone, Copy, Debug)]
pub struct Readings {
    /// Sine and cosine of the azimuth reading.
    pub azimuth: [Lanes; 2],
    /// Sine and cosine of the elevation reading.
    pub elevation: [Lanes; 2],
    /// Values that only a few terms need.
    pub more: Option<MoreOfReadings>,
}

/// Further values that a term may need; required if [`Batch::wants_more`] returns true.
#[derive(Clone, Copy, Debug)]
pub struct MoreOfReadings {
    /// The azimuth reading, unwrapped, radians.
    pub azimuth: Lanes,
    /// The elevation reading, radians.
    pub elevation: Lanes,
    /// Side from which the azimuth axis arrived: +1, -1 or 0.
    pub azimuth_approach: Lanes,
    /// Side from which the elevation axis arrived.
    pub elevation_approach: Lanes,
}

/// A mount model prepared for many readings.
#[derive(Clone, Debug)]
pub struct Batch {
    model: MountModel,
    fixed: Fixed,
    /// `None` for az-el.
    turn: Option<Turn>,
    tilt: Matrix3<f64>,
    azimuth_zero: SinCos,
    elevation_zero: SinCos,
    droop: f64,
    /// Whether the error of an axis is more than its zero.
    azimuth_varies: bool,
    elevation_varies: bool,
}

/// Where the beam points, and the frame there: toward increasing azimuth, toward increasing
/// elevation, outward; all of the mount's own frame.
#[derive(Clone, Copy, Debug)]
pub struct Sight {
    /// The beam before the tilt.
    untilted: [Lanes; 3],
    /// Sag of the beam on a mount whose first axis is not upright.
    sag: Option<Sagging>,
    /// Signs with which the mount's azimuth and elevation follow the readings.
    signs: [f64; 2],
    /// The up part of the beam, and the length of its horizontal part.
    up: Lanes,
    horizontal: Lanes,
    /// Sine and cosine of its azimuth.
    azimuth: [Lanes; 2],
    outward: [Lanes; 3],
    /// Sine and cosine of the azimuth axis, of the elevation axis before droop, and after it.
    a: [Lanes; 2],
    h0: [Lanes; 2],
    h: [Lanes; 2],
}

/// A beam that gravity turns toward the nadir, as in [`super::geometry::Sag`].
#[derive(Clone, Copy, Debug)]
struct Sagging {
    /// The beam before.
    before: [Lanes; 3],
    by_droop: [Lanes; 3],
    right: [Lanes; 3],
    up_before: [Lanes; 3],
    up_after: [Lanes; 3],
    across: Lanes,
    along: Lanes,
}

/// How the beam moves, each pair in radians toward (increasing first reading, increasing second)
/// for a radian of what is named.
#[derive(Clone, Copy, Debug)]
pub struct Moves {
    azimuth_axis: [Lanes; 2],
    elevation_axis: [Lanes; 2],
    collimation: [Lanes; 2],
    skew: [Lanes; 2],
    tilt_north: [Lanes; 2],
    tilt_east: [Lanes; 2],
    droop: [Lanes; 2],
}

impl Batch {
    /// Prepares a model.
    pub fn new(model: &MountModel) -> Batch {
        let value = |term| model.terms().inside(term);
        let any = |terms: &[Term]| terms.iter().any(|t| value(*t) != 0.0);
        let fixed = *model.fixed();
        let column = |v: Vector3<f64>| fixed.tilt.rotate(&v);
        Batch {
            model: *model,
            turn: model.geometry().turn().copied(),
            fixed,
            tilt: Matrix3::from_columns(&[
                column(Vector3::x()),
                column(Vector3::y()),
                column(Vector3::z()),
            ]),
            azimuth_zero: SinCos::of(value(Term::AzimuthZero)),
            elevation_zero: SinCos::of(value(Term::ElevationZero)),
            droop: value(Term::Droop),
            azimuth_varies: any(&[
                Term::AzimuthScale,
                Term::AzimuthRunoutCos,
                Term::AzimuthRunoutSin,
                Term::AzimuthBacklash,
            ]),
            elevation_varies: any(&[
                Term::ElevationScale,
                Term::ElevationRunoutCos,
                Term::ElevationRunoutSin,
                Term::TrackWarpCos,
                Term::TrackWarpSin,
                Term::ElevationBacklash,
            ]),
        }
    }

    /// Whether [`Readings::more`] is required, if derivatives by the terms `free` are.
    pub fn wants_more(&self, free: &[Term]) -> bool {
        let asks = |term: Term| free.contains(&term) || self.value(term) != 0.0;
        [
            Term::AzimuthScale,
            Term::ElevationScale,
            Term::AzimuthBacklash,
            Term::ElevationBacklash,
        ]
        .into_iter()
        .any(asks)
    }

    #[inline(always)]
    fn value(&self, term: Term) -> f64 {
        self.model.terms().inside(term)
    }

    /// Where the beam points.
    #[inline(always)]
    pub fn sight(&self, readings: &Readings) -> Sight {
        let mut a = turned(readings.azimuth, self.azimuth_zero);
        if self.azimuth_varies {
            a = added(a, self.azimuth_excess(readings).sin_cos());
        }
        let mut h0 = turned(readings.elevation, self.elevation_zero);
        if self.elevation_varies {
            h0 = added(h0, self.elevation_excess(readings).sin_cos());
        }
        let mut signs = [1.0; 2];
        let h = match &self.turn {
            None => added(h0, (h0[1] * -self.droop).sin_cos()),
            Some(of) => {
                signs = of.signs;
                a = turned([a[0] * signs[0], a[1]], of.zero_sin_cos);
                h0[0] = h0[0] * signs[1];
                h0
            }
        };

        let Fixed {
            collimation: c,
            skew: s,
            ..
        } = self.fixed;
        // Raised: (sin c, cos c cos h, cos c sin h); then the skew about north.
        let skewed = [
            Lanes::all(c.sin * s.cos) - h[0] * (c.cos * s.sin),
            h[1] * c.cos,
            Lanes::all(c.sin * s.sin) + h[0] * (c.cos * s.cos),
        ];
        let untilted = [
            skewed[0] * a[1] + skewed[1] * a[0],
            skewed[1] * a[1] - skewed[0] * a[0],
            skewed[2],
        ];
        let t = &self.tilt;
        let row =
            |i: usize| untilted[0] * t[(i, 0)] + untilted[1] * t[(i, 1)] + untilted[2] * t[(i, 2)];
        let mut outward = [row(0), row(1), row(2)];
        let sag = match &self.turn {
            Some(of) if self.droop != 0.0 => Some(sagging(&mut outward, &of.up, self.droop)),
            _ => None,
        };
        let horizontal = (outward[0] * outward[0] + outward[1] * outward[1]).sqrt();
        let mut azimuth = [Lanes::ZERO, Lanes::all(1.0)];
        if horizontal.every(|x| x > 0.0) {
            let inverse = horizontal.inverse();
            azimuth = [outward[0] * inverse, outward[1] * inverse];
        } else {
            // At the exact zenith the azimuth is taken as north.
            for (lane, horizontal) in horizontal.0.into_iter().enumerate() {
                if horizontal > 0.0 {
                    azimuth[0].0[lane] = outward[0].0[lane] / horizontal;
                    azimuth[1].0[lane] = outward[1].0[lane] / horizontal;
                }
            }
        }
        Sight {
            untilted,
            sag,
            signs,
            up: outward[2],
            horizontal,
            azimuth,
            outward,
            a,
            h0,
            h,
        }
    }

    /// Error of the azimuth axis beyond its zero, radians.
    #[inline(always)]
    fn azimuth_excess(&self, readings: &Readings) -> Lanes {
        let [sin, cos] = readings.azimuth;
        let runout =
            cos * self.value(Term::AzimuthRunoutCos) + sin * self.value(Term::AzimuthRunoutSin);
        let Some(more) = &readings.more else {
            return runout;
        };
        runout
            + more.azimuth * self.value(Term::AzimuthScale)
            + more.azimuth_approach * (0.5 * self.value(Term::AzimuthBacklash))
    }

    /// The same of the elevation axis.
    #[inline(always)]
    fn elevation_excess(&self, readings: &Readings) -> Lanes {
        let [sin, cos] = readings.elevation;
        let [twice_sin, twice_cos] = doubled(readings.azimuth);
        let wavy = cos * self.value(Term::ElevationRunoutCos)
            + sin * self.value(Term::ElevationRunoutSin)
            + twice_cos * self.value(Term::TrackWarpCos)
            + twice_sin * self.value(Term::TrackWarpSin);
        let Some(more) = &readings.more else {
            return wavy;
        };
        wavy + more.elevation * self.value(Term::ElevationScale)
            + more.elevation_approach * (0.5 * self.value(Term::ElevationBacklash))
    }

    /// Derivatives of the beam at a sight.
    ///
    /// Azimuth counts clockwise, so right = out x up in the frame at the beam, and a turn about
    /// an axis w moves the beam by w x out = -(w . up) right + (w . right) up.
    #[inline(always)]
    pub fn moves(&self, sight: &Sight) -> Moves {
        let [sin, cos] = sight.azimuth;
        let t = &self.tilt;
        // The steps of the beam that show as right and up, before gravity turns it; in az-el
        // mounts the frame itself.
        let moving = sight.sag.as_ref().map(|sag| {
            let ahead = [-(sight.up * sin), -(sight.up * cos), sight.horizontal];
            [[cos, -sin, Lanes::ZERO], ahead].map(|v| cross(&sag.before, &sag.drawn_back(&v)))
        });
        let (rightward, upward) = match &moving {
            None => {
                // Both directions of the frame, turned back by the tilt.
                let back = |j: usize| cos * t[(0, j)] - sin * t[(1, j)];
                let right = [back(0), back(1), back(2)];
                let up = cross(&right, &sight.untilted);
                (self.parts(sight, &right), self.parts(sight, &up))
            }
            Some([about_right, about_up]) => {
                let back = |v: &[Lanes; 3]| {
                    [0, 1, 2].map(|j| v[0] * t[(0, j)] + v[1] * t[(1, j)] + v[2] * t[(2, j)])
                };
                let less = |v: [Lanes; 3]| v.map(|x| -x);
                let rightward = self.parts(sight, &back(about_up));
                (rightward, self.parts(sight, &less(back(about_right))))
            }
        };
        let both = |of: fn(&Parts) -> Lanes| [-of(&upward), of(&rightward)];
        let less = |[x, y]: [Lanes; 2]| [-x, -y];
        let elevation_axis = both(|p| p.elevation_axis);
        let tilt = |axis: &Vector3<f64>| match &moving {
            None => {
                let ahead = sin * axis.x + cos * axis.y;
                [
                    sight.up * ahead - sight.horizontal * axis.z,
                    cos * axis.x - sin * axis.y,
                ]
            }
            Some(about) => about.map(|v| v[0] * axis.x + v[1] * axis.y + v[2] * axis.z),
        };
        let moves = Moves {
            azimuth_axis: less(both(|p| p.azimuth_axis)),
            elevation_axis,
            collimation: less(both(|p| p.collimation)),
            skew: less(both(|p| p.skew)),
            tilt_north: tilt(&self.fixed.tilt_axes[0]),
            tilt_east: tilt(&self.fixed.tilt_axes[1]),
            droop: [Lanes::ZERO; 2],
        };
        match &self.turn {
            None => Moves {
                elevation_axis: scaled(elevation_axis, Lanes::all(1.0) + sight.h0[0] * self.droop),
                droop: scaled(elevation_axis, -sight.h0[1]),
                ..moves
            },
            Some(of) => {
                let by_droop = match &sight.sag {
                    Some(sag) => sag.by_droop,
                    None => by_no_droop(&sight.outward, &of.up),
                };
                let shown = |[x, y]: [Lanes; 2]| [x * of.signs[0], y * of.signs[1]];
                Moves {
                    azimuth_axis: scaled(shown(moves.azimuth_axis), Lanes::all(of.signs[0])),
                    elevation_axis: scaled(shown(moves.elevation_axis), Lanes::all(of.signs[1])),
                    collimation: shown(moves.collimation),
                    skew: shown(moves.skew),
                    tilt_north: shown(moves.tilt_north),
                    tilt_east: shown(moves.tilt_east),
                    droop: sight.resolved(&by_droop),
                }
            }
        }
    }

    /// The parts of the untilted vector `v` along the axes about which the beam turns.
    #[inline(always)]
    fn parts(&self, sight: &Sight, v: &[Lanes; 3]) -> Parts {
        let s = self.fixed.skew;
        let ([sin_a, cos_a], [sin_h, cos_h]) = (sight.a, sight.h);
        let rightward = v[0] * cos_a - v[1] * sin_a;
        let forward = v[0] * sin_a + v[1] * cos_a;
        Parts {
            azimuth_axis: v[2],
            elevation_axis: rightward * s.cos + v[2] * s.sin,
            skew: forward,
            collimation: (v[2] * s.cos - rightward * s.sin) * cos_h - forward * sin_h,
        }
    }
}

/// See [`Batch::parts`]; each is named for what turns the beam about the axis.
struct Parts {
    azimuth_axis: Lanes,
    elevation_axis: Lanes,
    skew: Lanes,
    collimation: Lanes,
}

impl Sight {
    /// The step on the sky to a unit vector of the mount's own frame: see
    /// [`crate::angle::SkyBasis::offset_to`]. Radians toward increasing readings.
    #[inline(always)]
    pub fn offset_to(&self, target: &[Lanes; 3]) -> [Lanes; 2] {
        let [x, y] = self.resolved(target);
        let ahead = dot(target, &self.outward);
        let square = x * x + y * y;
        if !(ahead.every(|x| x > 0.0) & square.every(|x| x < NEAR * NEAR)) {
            return self.far_offset_to(target);
        }
        let stretch = (ANGLE_OVER_SINE.into_iter().rev())
            .fold(Lanes::ZERO, |sum, c| sum * square + Lanes::all(c));
        [x * stretch, y * stretch]
    }

    #[cold]
    fn far_offset_to(&self, target: &[Lanes; 3]) -> [Lanes; 2] {
        let mut found = [Lanes::ZERO; 2];
        for lane in 0..LANES {
            let at = |v: &[Lanes; 3]| Vector3::from(v.map(|x| x.0[lane]));
            let [sin, cos] = self.azimuth.map(|x| x.0[lane]);
            let (up, horizontal) = (self.up.0[lane], self.horizontal.0[lane]);
            let basis = SkyBasis {
                rightward: Vector3::new(cos, -sin, 0.0),
                upward: Vector3::new(-up * sin, -up * cos, horizontal),
                outward: at(&self.outward),
            };
            let offset = basis.offset_to(&at(target));
            found[0].0[lane] = offset.cross_elevation.radians() * self.signs[0];
            found[1].0[lane] = offset.elevation.radians() * self.signs[1];
        }
        found
    }

    /// The parts of a vector of the mount's own frame toward increasing readings.
    #[inline(always)]
    pub fn resolved(&self, v: &[Lanes; 3]) -> [Lanes; 2] {
        let [sin, cos] = self.azimuth;
        let ahead = v[0] * sin + v[1] * cos;
        [
            (v[0] * cos - v[1] * sin) * self.signs[0],
            (v[2] * self.horizontal - self.up * ahead) * self.signs[1],
        ]
    }
}

impl Moves {
    /// For a unit of a term's inside value; nothing for the clock offset, which moves the
    /// emitter.
    #[inline(always)]
    pub fn by(&self, term: Term, readings: &Readings) -> [Lanes; 2] {
        let of_azimuth = |factor: Lanes| scaled(self.azimuth_axis, factor);
        let of_elevation = |factor: Lanes| scaled(self.elevation_axis, factor);
        let more =
            |of: fn(&MoreOfReadings) -> Lanes| readings.more.as_ref().map_or(Lanes::ZERO, of);
        match term {
            Term::AzimuthZero => self.azimuth_axis,
            Term::ElevationZero => self.elevation_axis,
            Term::TiltNorth => self.tilt_north,
            Term::TiltEast => self.tilt_east,
            Term::Collimation => self.collimation,
            Term::AxisSkew => self.skew,
            Term::Droop => self.droop,
            Term::AzimuthScale => of_azimuth(more(|m| m.azimuth)),
            Term::ElevationScale => of_elevation(more(|m| m.elevation)),
            Term::AzimuthRunoutCos => of_azimuth(readings.azimuth[1]),
            Term::AzimuthRunoutSin => of_azimuth(readings.azimuth[0]),
            Term::ElevationRunoutCos => of_elevation(readings.elevation[1]),
            Term::ElevationRunoutSin => of_elevation(readings.elevation[0]),
            Term::TrackWarpCos => of_elevation(doubled(readings.azimuth)[1]),
            Term::TrackWarpSin => of_elevation(doubled(readings.azimuth)[0]),
            Term::AzimuthBacklash => of_azimuth(more(|m| m.azimuth_approach) * 0.5),
            Term::ElevationBacklash => of_elevation(more(|m| m.elevation_approach) * 0.5),
            Term::ClockOffset => [Lanes::ZERO; 2],
        }
    }
}

impl Sagging {
    /// The step before that shows as `v` after.
    #[inline(always)]
    fn drawn_back(&self, v: &[Lanes; 3]) -> [Lanes; 3] {
        let right = dot(&self.right, v) * self.across;
        let up = dot(&self.up_after, v) * self.along;
        [0, 1, 2].map(|i| self.right[i] * right + self.up_before[i] * up)
    }
}

/// Turns a beam toward the nadir, where the zenith is `up`.
#[inline(always)]
fn sagging(beam: &mut [Lanes; 3], up: &Vector3<f64>, droop: f64) -> Sagging {
    /// Straight up to rounding; any direction will do for the right there.
    const STRAIGHT: f64 = 1e-100;
    let before = *beam;
    let zenith = [up.x, up.y, up.z].map(Lanes::all);
    let sin = dot(&before, &zenith);
    let side = cross(&before, &zenith);
    let cos = dot(&side, &side).sqrt().map(|c| c.max(STRAIGHT));
    let (s, c) = (cos * droop).sin_cos();
    let inverse = cos.inverse();
    let share = s * inverse;
    let right = side.map(|x| x * inverse);
    let rise = [0, 1, 2].map(|i| zenith[i] - before[i] * sin);
    *beam = [0, 1, 2].map(|i| before[i] * c - rise[i] * share);
    Sagging {
        before,
        by_droop: [0, 1, 2].map(|i| -(before[i] * (cos * s) + rise[i] * c)),
        right,
        up_before: cross(&right, &before),
        up_after: cross(&right, beam),
        across: c + sin * share,
        along: Lanes::all(1.0) + sin * droop,
    }
}

/// How the first bit of droop moves a beam.
#[inline(always)]
fn by_no_droop(beam: &[Lanes; 3], up: &Vector3<f64>) -> [Lanes; 3] {
    let zenith = [up.x, up.y, up.z].map(Lanes::all);
    let sin = dot(beam, &zenith);
    [0, 1, 2].map(|i| beam[i] * sin - zenith[i])
}

/// The angle over its sine by powers of the square of the sine (the series of the arc sine).
const ANGLE_OVER_SINE: [f64; 7] = [
    1.0,
    1.0 / 6.0,
    3.0 / 40.0,
    5.0 / 112.0,
    35.0 / 1_152.0,
    63.0 / 2_816.0,
    231.0 / 13_312.0,
];
/// Below this sine the next term of the series is under 2e-16.
const NEAR: f64 = 0.1;

/// Sine and cosine of the sum of two angles given by theirs.
#[inline(always)]
fn added([sin, cos]: [Lanes; 2], (s, c): (Lanes, Lanes)) -> [Lanes; 2] {
    [sin * c + cos * s, cos * c - sin * s]
}

#[inline(always)]
fn turned([sin, cos]: [Lanes; 2], by: SinCos) -> [Lanes; 2] {
    [sin * by.cos + cos * by.sin, cos * by.cos - sin * by.sin]
}

/// Sine and cosine of twice the angle.
#[inline(always)]
fn doubled([sin, cos]: [Lanes; 2]) -> [Lanes; 2] {
    [sin * cos * 2.0, (cos - sin) * (cos + sin)]
}

#[inline(always)]
fn scaled([x, y]: [Lanes; 2], factor: Lanes) -> [Lanes; 2] {
    [x * factor, y * factor]
}

#[inline(always)]
fn dot(v: &[Lanes; 3], w: &[Lanes; 3]) -> Lanes {
    v[0] * w[0] + v[1] * w[1] + v[2] * w[2]
}

#[inline(always)]
fn cross(v: &[Lanes; 3], w: &[Lanes; 3]) -> [Lanes; 3] {
    [
        v[1] * w[2] - v[2] * w[1],
        v[2] * w[0] - v[0] * w[2],
        v[0] * w[1] - v[1] * w[0],
    ]
}

#[cfg(test)]
mod tests;
