//! The bending of radio rays in the ionosphere.

use super::air::EARTH_RADIUS_M;
use crate::angle::{Angle, Direction, Geometric};

/// Height of the thin shell in which the free electrons are taken to be, metres: that of ITU-R
/// P.531 (from memory).
const SHELL_M: f64 = 400_000.0;
/// The phase index of free electrons is n = 1 - 40.308 N / f^2, with N in electrons per cubic metre
/// and f in hertz (e^2 / (8 pi^2 epsilon_0 m), CODATA; ITU-R P.531).
const BY_FREQUENCY: f64 = 40.308;
/// Electrons per square metre in one unit of total electron content.
const UNIT: f64 = 1e16;

/// Free electrons in a thin shell.
///
/// A ray that passes a layer of spherical symmetry keeps a = n r cos(elevation) (Bouguer), and
/// bends by the derivative of its phase path by a (Born and Wolf, Principles of Optics, on rays in
/// media of spherical symmetry, from memory). Through a thin shell of radius R with the content T
/// (upright, electrons per square metre) the phase path is shorter by K / sqrt(1 - (a/R)^2) with K
/// = 40.308 T / f^2, so a source far beyond is raised by
///
/// K (a / R^2) / (1 - (a/R)^2)^(3/2),   a = r cos(elevation).
///
/// Of a source at a distance only the part behind the shell counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ionosphere {
    /// K, metres.
    shorter_m: f64,
}

impl Ionosphere {
    /// With this many units of total electron content, at a frequency in megahertz.
    pub fn new(content_tecu: f64, frequency_mhz: f64) -> Ionosphere {
        Ionosphere {
            shorter_m: BY_FREQUENCY * content_tecu * UNIT / (frequency_mhz * 1e6).powi(2),
        }
    }

    /// Where a source is seen from below the shell; `distance_m` is infinite for one among the
    /// stars.
    pub fn raised(
        &self,
        direction: &Direction<Geometric>,
        distance_m: f64,
    ) -> Direction<Geometric> {
        let bend = self.bend(direction.elevation(), distance_m);
        Direction::geometric(direction.azimuth(), direction.elevation() + bend)
    }

    fn bend(&self, elevation: Angle, distance_m: f64) -> Angle {
        let (sin, cos) = elevation.sin_cos();
        let shell = EARTH_RADIUS_M + SHELL_M;
        let a = EARTH_RADIUS_M * cos;
        let upright = 1.0 - (a / shell).powi(2);
        let whole = self.shorter_m * (a / shell.powi(2)) / (upright * upright.sqrt());
        // From here to the shell along the ray.
        let to_shell = (shell.powi(2) - a.powi(2)).sqrt() - EARTH_RADIUS_M * sin;
        let behind = (1.0 - to_shell / distance_m).max(0.0);
        Angle::from_radians(whole * behind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FREQUENCY_MHZ: f64 = 137.0;
    const CONTENT_TECU: f64 = 50.0;

    fn bend_deg(elevation: f64, distance_m: f64) -> f64 {
        Ionosphere::new(CONTENT_TECU, FREQUENCY_MHZ)
            .bend(Angle::from_degrees(elevation), distance_m)
            .degrees()
    }

    /// The bend of a ray through a layer of finite depth, by the integral of its curvature along
    /// the ray: a / r of the radial change of the index, no thin shell and no derivative of a path.
    fn by_ray_deg(elevation: f64) -> f64 {
        const DEPTH_M: f64 = 15_000.0;
        let k = BY_FREQUENCY / (FREQUENCY_MHZ * 1e6).powi(2);
        let peak = CONTENT_TECU * UNIT / (DEPTH_M * (2.0 * std::f64::consts::PI).sqrt());
        let a = EARTH_RADIUS_M * elevation.to_radians().cos();
        let steps = 40_000;
        let (low, high) = (SHELL_M - 6.0 * DEPTH_M, SHELL_M + 6.0 * DEPTH_M);
        let step = (high - low) / f64::from(steps);
        let bend: f64 = (0..steps)
            .map(|i| {
                let h = low + (f64::from(i) + 0.5) * step;
                let u = (h - SHELL_M) / DEPTH_M;
                let slope = k * peak * (-u * u / 2.0).exp() * u / DEPTH_M;
                let r = EARTH_RADIUS_M + h;
                // The index grows upward above the layer's middle: there the ray bends up.
                -slope * a / (r * r - a * a).sqrt() * step
            })
            .sum();
        bend.to_degrees()
    }

    #[test]
    fn it_is_the_bend_of_a_ray_through_a_layer() {
        /// A layer of 15 km depth is no thin shell, and the ray's own bend is left out.
        const DEPTH: f64 = 0.01;
        for elevation in [5.0, 10.0, 30.0, 60.0] {
            let (shell, ray) = (bend_deg(elevation, f64::INFINITY), by_ray_deg(elevation));
            assert!(
                ray > 0.0 && (shell / ray - 1.0).abs() < DEPTH,
                "{elevation}: {shell} {ray}"
            );
        }
    }

    #[test]
    fn it_falls_with_frequency_and_elevation_and_for_what_is_near() {
        let at = |mhz: f64| {
            let there = Direction::geometric(Angle::ZERO, Angle::from_degrees(10.0));
            Ionosphere::new(CONTENT_TECU, mhz)
                .raised(&there, f64::INFINITY)
                .elevation()
                .degrees()
                - 10.0
        };
        assert!((at(100.0) / at(200.0) - 4.0).abs() < 1e-6);
        assert!(bend_deg(10.0, f64::INFINITY) > 3.0 * bend_deg(40.0, f64::INFINITY));
        assert!(bend_deg(90.0, f64::INFINITY).abs() < 1e-12);
        // A satellite far beyond bends nearly wholly, one just behind the shell hardly.
        let far = bend_deg(30.0, 36e6) / bend_deg(30.0, f64::INFINITY);
        assert!((0.97..1.0).contains(&far), "{far}");
        assert!(bend_deg(90.0 - 1e-6, 400_001.0).abs() < 1e-9);
        assert_eq!(bend_deg(30.0, 100_000.0), 0.0);
    }
}
