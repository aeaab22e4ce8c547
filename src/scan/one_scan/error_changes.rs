//! How the errors of a mount change an axis's offset (encoder less sky) over the sky, to first
//! order: common to the scans of a file, and also felt within one scan, which covers part of the
//! sky.
//!
//! From the mount model (docs/mount-model.md), at azimuth a and elevation e, in degrees for a
//! degree of each error:
//!
//! ```text
//! azimuth, on the sky:  t_n sin e sin a - t_e sin e cos a - c + s sin e
//! elevation:            t_n cos a + t_e sin a + d cos e
//! ```
//!
//! with the tilts t, collimation c, skew s and droop d. The zeros are the same everywhere. The same
//! functions hold in the own coordinates of other kinds of mount, with other signs of the errors,
//! except for droop, which follows the horizon.

use super::beam_frame::Fixed;
use crate::scan::ScanAxis;

/// Tilt north, tilt east, minus collimation, skew, droop: the first-order terms of
/// docs/mount-model.md that change over the sky.
pub(crate) const ERRORS: usize = 5;

/// Cosine of the elevation nearest to the zenith: within about a degree of it azimuth is undefined
/// in practice.
const LEAST_COSINE: f64 = 0.02;

/// Degrees of the azimuth and of the elevation axis per degree of each error, in a given direction.
pub(crate) fn offsets_of_both(at: &Fixed) -> [[f64; ERRORS]; 2] {
    let (sa, ca) = at.azimuth.sin_cos();
    let sec = 1.0 / at.cos.max(LEAST_COSINE);
    let tan = at.sin * sec;
    [
        [tan * sa, -tan * ca, sec, tan, 0.0],
        [ca, sa, 0.0, 0.0, at.cos],
    ]
}

/// The same for one axis.
pub(crate) fn offsets(axis: ScanAxis, at: &Fixed) -> [f64; ERRORS] {
    let [azimuth, elevation] = offsets_of_both(at);
    match axis {
        ScanAxis::Azimuth => azimuth,
        ScanAxis::Elevation => elevation,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::{Angle, Direction, EncoderReading};
    use crate::mount::{ApproachSigns, MountModel, Term, TermValues};

    /// For errors of a hundredth of a degree the second-order terms are smaller than this fraction.
    const SECOND_ORDER: f64 = 0.02;

    #[test]
    fn they_are_those_of_the_mount_model() {
        const ERROR: f64 = 0.01;
        let terms = [
            (Term::TiltNorth, 1.0),
            (Term::TiltEast, 1.0),
            (Term::Collimation, -1.0),
            (Term::AxisSkew, 1.0),
            (Term::Droop, 1.0),
        ];
        for (azimuth, elevation) in [(10.0, 20.0), (100.0, 50.0), (200.0, 70.0), (310.0, 35.0)] {
            let sky =
                Direction::apparent(Angle::from_degrees(azimuth), Angle::from_degrees(elevation));
            let at = Fixed::new(sky.azimuth().radians(), sky.elevation().radians());
            for (j, (term, sign)) in terms.into_iter().enumerate() {
                let model = MountModel::az_el(TermValues::ZERO.with_shown(term, sign * ERROR));
                let near = EncoderReading::from_degrees(azimuth, elevation);
                let reading = model
                    .direct_reading_near(&sky, ApproachSigns::default(), near)
                    .unwrap();
                let found = [
                    (ScanAxis::Azimuth, reading.azimuth - sky.azimuth()),
                    (ScanAxis::Elevation, reading.elevation - sky.elevation()),
                ];
                for (axis, offset) in found {
                    let expected = ERROR * offsets(axis, &at)[j];
                    let off = (offset.degrees() - expected).abs();
                    assert!(
                        off < SECOND_ORDER * ERROR,
                        "{term:?} {axis} {offset:?} {expected}"
                    );
                }
            }
        }
    }
}
