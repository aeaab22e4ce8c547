//! The emitter's position relative to the beam.

/// The emitter's position in the beam's frame: sines of the angles toward increasing azimuth and
/// toward increasing elevation, with their derivatives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct InBeam {
    /// Toward increasing azimuth.
    pub x: f64,
    /// Toward increasing elevation.
    pub y: f64,
    /// dx with respect to the azimuth offset. (x does not depend on the elevation offset.)
    pub x_azimuth: f64,
    /// dy with respect to the azimuth offset.
    pub y_azimuth: f64,
    /// dy with respect to the elevation offset; negative if the emitter is behind.
    pub y_elevation: f64,
}

/// A direction's azimuth and elevation in radians, with the sine and cosine of its elevation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Fixed {
    pub azimuth: f64,
    pub elevation: f64,
    pub sin: f64,
    pub cos: f64,
}

impl Fixed {
    pub fn new(azimuth: f64, elevation: f64) -> Fixed {
        let (sin, cos) = elevation.sin_cos();
        Fixed {
            azimuth,
            elevation,
            sin,
            cos,
        }
    }
}

/// An angle as its sine and cosine, so that angles can be added without trigonometric functions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct PlaneRotation {
    sin: f64,
    cos: f64,
}

impl PlaneRotation {
    /// The rotation by an angle in radians.
    pub fn new(angle: f64) -> PlaneRotation {
        let (sin, cos) = angle.sin_cos();
        PlaneRotation { sin, cos }
    }
    /// The rotation by the sum of both angles.
    pub fn plus(self, other: PlaneRotation) -> PlaneRotation {
        PlaneRotation {
            sin: self.sin * other.cos + self.cos * other.sin,
            cos: self.cos * other.cos - self.sin * other.sin,
        }
    }
}

/// The position of `emitter` in the frame of a beam whose azimuth axis must turn by `across`,
/// clockwise, to face it, and whose elevation axis is at `up`.
///
/// With A' = A - azimuth offset, E' = E - elevation offset (`up`) and p = emitter azimuth - A'
/// (`across`), the emitter's unit vector in the beam's frame is
/// (cos e sin p, sin e cos E' - cos e sin E' cos p, sin e sin E' + cos e cos E' cos p).
#[inline]
pub(crate) fn in_beam(emitter: &Fixed, across: PlaneRotation, up: PlaneRotation) -> InBeam {
    let (sp, cp) = (across.sin, across.cos);
    let (se, ce) = (up.sin, up.cos);
    InBeam {
        x: emitter.cos * sp,
        y: emitter.sin * ce - emitter.cos * se * cp,
        x_azimuth: emitter.cos * cp,
        y_azimuth: emitter.cos * se * sp,
        y_elevation: emitter.sin * se + emitter.cos * ce * cp,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::{Angle, Direction};

    fn radians(degrees: f64) -> f64 {
        degrees.to_radians()
    }

    /// The emitter's position for given readings and their excess over the true axis angles.
    fn seen(emitter: &Fixed, readings: (f64, f64), offsets: (f64, f64)) -> InBeam {
        let across =
            PlaneRotation::new(emitter.azimuth - readings.0).plus(PlaneRotation::new(offsets.0));
        let up = PlaneRotation::new(readings.1).plus(PlaneRotation::new(-offsets.1));
        in_beam(emitter, across, up)
    }

    #[test]
    fn it_is_the_step_on_the_sky_from_beam_to_emitter() {
        for (az, el, daz, del) in [
            (10.0, 40.0, 1.0, 0.5),
            (200.0, 80.0, -9.0, 1.5),
            (0.1, 5.0, -0.4, -2.0),
        ] {
            let emitter = Fixed::new(radians(az + daz), radians(el + del));
            // Encoders that read 30 degrees too much in azimuth and 2 in elevation.
            let at = seen(
                &emitter,
                (radians(az + 30.0), radians(el + 2.0)),
                (radians(30.0), radians(2.0)),
            );
            let direction = |az: f64, el: f64| {
                Direction::apparent(Angle::from_degrees(az), Angle::from_degrees(el))
            };
            let step = direction(az, el).offset_to(&direction(az + daz, el + del));
            let size = step.size().radians();
            let sine = size.sin() / size;
            assert!((at.x - step.cross_elevation.radians() * sine).abs() < 1e-12);
            assert!((at.y - step.elevation.radians() * sine).abs() < 1e-12);
        }
    }

    #[test]
    fn derivatives_are_those_of_differences() {
        let emitter = Fixed::new(1.0, 0.9);
        let at = |a: f64, b: f64| seen(&emitter, (1.3, 0.8), (0.2 + a, -0.05 + b));
        let (here, h) = (at(0.0, 0.0), 1e-6);
        let slope =
            |up: InBeam, down: InBeam| ((up.x - down.x) / (2.0 * h), (up.y - down.y) / (2.0 * h));
        let (x_a, y_a) = slope(at(h, 0.0), at(-h, 0.0));
        let (x_e, y_e) = slope(at(0.0, h), at(0.0, -h));
        for (found, expected) in [
            (here.x_azimuth, x_a),
            (here.y_azimuth, y_a),
            (0.0, x_e),
            (here.y_elevation, y_e),
        ] {
            assert!((found - expected).abs() < 1e-9, "{found} {expected}");
        }
    }
}
