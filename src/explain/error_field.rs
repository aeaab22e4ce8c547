//! The expected pointing error in any direction, interpolated between the directions for which it
//! was calculated.

use crate::angle::{Angle, Apparent, Direction};

use super::sky_error::SkyError;

/// How far beyond the outermost direction of the map its value is still used: the step between its
/// rings. Every term of the model changes slowly over that distance.
const REACH: Angle = Angle::from_degrees(5.0);

/// The expected error as a field over the sky: linear between neighbours of the map, first along a
/// ring of equal elevation and then from ring to ring.
#[derive(Clone, Debug)]
pub struct ErrorField {
    rings: Vec<Ring>,
}

/// Directions of one elevation in order of azimuth, all within one turn from zero.
#[derive(Clone, Debug)]
struct Ring {
    elevation: Angle,
    errors: Vec<(Angle, Angle)>,
    /// Azimuths no farther apart than this are neighbours.
    spacing: Angle,
}

impl ErrorField {
    /// Builds the field from a map.
    pub fn of(expected: &SkyError) -> ErrorField {
        let near = |a: Angle, b: Angle| (a - b).abs() < Angle::from_degrees(1e-6);
        let rings = (expected.map)
            .chunk_by(|(a, _), (b, _)| near(a.elevation(), b.elevation()))
            .map(|chunk| {
                let mut errors: Vec<(Angle, Angle)> = (chunk.iter())
                    .map(|(to, error)| (to.azimuth().wrapped_positive(), *error))
                    .collect();
                errors.sort_by(|a, b| a.0.radians().total_cmp(&b.0.radians()));
                // Where the mask cuts a ring, its gaps are wider than its steps.
                let step =
                    (errors.windows(2).map(|w| w[1].0 - w[0].0)).fold(Angle::TURN, Angle::min);
                Ring {
                    elevation: chunk[0].0.elevation(),
                    errors,
                    spacing: step * 1.01,
                }
            })
            .collect();
        ErrorField { rings }
    }

    /// The expected error towards a direction, one standard deviation; `None` outside the map:
    /// beyond the mount's range, far below the mask, or near the zenith of an az-el mount.
    pub fn towards(&self, to: &Direction<Apparent>) -> Option<Angle> {
        let (azimuth, elevation) = (to.azimuth().wrapped_positive(), to.elevation());
        let mut below: Option<(Angle, Angle)> = None;
        let mut above: Option<(Angle, Angle)> = None;
        for ring in &self.rings {
            let apart = ring.elevation - elevation;
            if apart.abs() > REACH {
                continue;
            }
            let Some(error) = ring.at(azimuth) else {
                continue;
            };
            let slot = if apart <= Angle::ZERO {
                &mut below
            } else {
                &mut above
            };
            if slot.is_none_or(|(nearest, _)| apart.abs() < nearest) {
                *slot = Some((apart.abs(), error));
            }
        }
        match (below, above) {
            (Some((down, low)), Some((up, high))) => {
                let share = down / (down + up);
                Some(low * (1.0 - share) + high * share)
            }
            (Some((_, only)), None) | (None, Some((_, only))) => Some(only),
            (None, None) => None,
        }
    }
}

impl Ring {
    fn at(&self, azimuth: Angle) -> Option<Angle> {
        let before = |a: Angle| (azimuth - a).wrapped_positive();
        let after = |a: Angle| (a - azimuth).wrapped_positive();
        let nearest = |apart: &dyn Fn(Angle) -> Angle| {
            (self.errors.iter())
                .map(|(a, error)| (apart(*a), *error))
                .filter(|(apart, _)| *apart <= self.spacing)
                .min_by(|a, b| a.0.radians().total_cmp(&b.0.radians()))
        };
        match (nearest(&before), nearest(&after)) {
            (Some((left, a)), Some((right, b))) if left + right > Angle::ZERO => {
                let share = left / (left + right);
                Some(a * (1.0 - share) + b * share)
            }
            (Some((apart, only)), _) | (None, Some((apart, only))) => {
                (apart <= self.spacing / 2.0).then_some(only)
            }
            (None, None) => None,
        }
    }
}

impl SkyError {
    /// The expected error towards a direction: see [`ErrorField::towards`].
    pub fn towards(&self, to: &Direction<Apparent>) -> Option<Angle> {
        ErrorField::of(self).towards(to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn direction(azimuth: f64, elevation: f64) -> Direction<Apparent> {
        Direction::apparent(Angle::from_degrees(azimuth), Angle::from_degrees(elevation))
    }

    /// A map on rings at 10, 15 and 20 degrees whose error is a tenth of the elevation plus a
    /// hundredth of the azimuth, from azimuth 300 over north to 60.
    fn map() -> SkyError {
        let mut map = Vec::new();
        for elevation in [10.0, 15.0, 20.0] {
            for step in -4..=4 {
                let azimuth = 15.0 * f64::from(step);
                let error = Angle::from_degrees(0.1 * elevation + 0.01 * azimuth);
                map.push((direction(azimuth, elevation), error));
            }
        }
        SkyError {
            rms: Angle::ZERO,
            rms_95: Angle::ZERO,
            largest: Angle::ZERO,
            at: direction(0.0, 20.0),
            allowed_for: Vec::new(),
            map,
        }
    }

    #[test]
    fn it_is_linear_between_the_directions_of_the_map_also_across_north() {
        let map = map();
        for (azimuth, elevation) in [(0.0, 10.0), (7.0, 12.0), (-3.0, 18.0), (52.5, 15.0)] {
            let error = map.towards(&direction(azimuth, elevation)).unwrap();
            let straight = 0.1 * elevation + 0.01 * azimuth;
            assert!(
                (error.degrees() - straight).abs() < 1e-9,
                "{azimuth} {elevation}"
            );
        }
    }

    #[test]
    fn outside_the_map_there_is_no_value() {
        let map = map();
        assert!(map.towards(&direction(0.0, 24.0)).is_some());
        assert!(map.towards(&direction(66.0, 15.0)).is_some());
        for (azimuth, elevation) in [(0.0, 30.0), (0.0, 3.0), (70.0, 15.0), (180.0, 15.0)] {
            let to = direction(azimuth, elevation);
            assert!(map.towards(&to).is_none(), "{azimuth} {elevation}");
        }
    }
}
