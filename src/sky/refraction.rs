//! Radio refraction: how much higher than its geometric direction an emitter appears.
//!
//! The bending is traced through a standard atmosphere that starts from the station's
//! weather, at three apparent elevations, and a formula that stays finite at the horizon is
//! laid through the three results:
//!
//! R(E) = N cos(E) / (sin(E) + a / (sin(E) + b / (sin(E) + c)))
//!
//! with E the apparent elevation and N the refractivity at the ground. The continued fraction
//! is that of Marini, "Correction of satellite tracking data for an arbitrary tropospheric
//! profile", Radio Science 7 (1972) 223 (from memory). The trace is the integral of Auer and
//! Standish, "Astronomical refraction: computational method for all zenith angles", The
//! Astronomical Journal 119 (2000) 2472 (from memory), taken over height. N is that of Rueger
//! as in the SOFA routine `refco`, which gives the vapour pressure too.
//!
//! How good it is: the formula is within 0.3 % of the trace from half a degree up, and within 1.2
//! arcsec of `refco` from 12 degrees up (tests below). Real air differs from any standard one by
//! more than that: by common experience a tenth of the bending is a fair guess near the horizon (no
//! source). The ionosphere is not in it.

use nalgebra::{Matrix3, Vector3};

use super::air::Air;
use super::tuned::{BENDING_FADES_OVER, ELEVATIONS_TRACED_DEG, SLOPE_FADES_OVER};
use crate::angle::{Angle, Apparent, Direction, Geometric};
use crate::station::Weather;

/// The bend of radio rays in the air, for one weather.
#[derive(Clone, Copy, Debug)]
pub struct Refraction {
    /// Refractivity n - 1 at the ground.
    ground: f64,
    /// Coefficients a, b, c of the continued fraction.
    fraction: [f64; 3],
    at_horizon: Bending,
}

/// A bending and its derivative by the apparent elevation, both in radians.
#[derive(Clone, Copy, Debug)]
struct Bending {
    angle: f64,
    slope: f64,
}

impl Refraction {
    /// For the weather at the ground.
    pub fn new(weather: &Weather) -> Refraction {
        let air = Air::above(weather);
        let ground = air.refractivity(0.0);
        /// Typical of all climates; only the start of the search.
        const TYPICAL: [f64; 3] = [0.001, 0.0036, 0.08];
        let fraction = if ground > 0.0 {
            fraction_through(&air, ground, TYPICAL)
        } else {
            TYPICAL
        };
        Refraction {
            ground,
            fraction,
            at_horizon: bending_above_horizon(ground, fraction, 0.0),
        }
    }

    /// Where the beam must point for an emitter in a geometric direction. Finite and smooth
    /// from nadir to zenith; the azimuth is unchanged.
    pub fn refract(&self, geometric: &Direction<Geometric>) -> Direction<Apparent> {
        Direction::apparent(
            geometric.azimuth(),
            Angle::from_radians(self.apparent_elevation(geometric.elevation().radians())),
        )
    }

    /// The geometric direction of an emitter that appears in the given one: the inverse of
    /// [`Refraction::refract`], to rounding.
    pub fn unrefract(&self, apparent: &Direction<Apparent>) -> Direction<Geometric> {
        let elevation = apparent.elevation().radians();
        Direction::geometric(
            apparent.azimuth(),
            Angle::from_radians(elevation - self.bending(elevation).angle),
        )
    }

    /// How much higher it appears than it is, by the apparent elevation.
    fn bending(&self, elevation: f64) -> Bending {
        if elevation >= 0.0 {
            return bending_above_horizon(self.ground, self.fraction, elevation);
        }
        // Joined at the horizon in value and slope.
        let at_horizon = self.at_horizon;
        let width = SLOPE_FADES_OVER.radians();
        let left = (elevation / width).exp();
        let angle = at_horizon.angle - at_horizon.slope * width * (1.0 - left);
        let depth = elevation / BENDING_FADES_OVER.radians();
        let fade = (-depth * depth).exp();
        Bending {
            angle: angle * fade,
            slope: (at_horizon.slope * left - angle * 2.0 * depth / BENDING_FADES_OVER.radians())
                * fade,
        }
    }

    /// Solves apparent - bending(apparent) = geometric by Newton's method, kept within bounds.
    fn apparent_elevation(&self, geometric: f64) -> f64 {
        /// The last digit of an angle below 90 degrees.
        const ENOUGH: f64 = 2.0 * f64::EPSILON;
        // No bending is larger than that far below the horizon.
        let horizon = self.at_horizon;
        let most = horizon.angle - horizon.slope * SLOPE_FADES_OVER.radians();
        let (mut low, mut high) = (geometric - most, geometric + most);
        let mut apparent = geometric + self.bending(geometric).angle;
        for _ in 0..60 {
            let bending = self.bending(apparent);
            let excess = apparent - bending.angle - geometric;
            if excess > 0.0 {
                high = apparent;
            } else {
                low = apparent;
            }
            let mut next = apparent - excess / (1.0 - bending.slope);
            if !(low..=high).contains(&next) {
                next = 0.5 * (low + high);
            }
            let step = next - apparent;
            apparent = next;
            if step.abs() <= ENOUGH {
                break;
            }
        }
        apparent
    }
}

/// By the continued fraction of coefficients a, b, c and the refractivity at the ground.
fn bending_above_horizon(ground: f64, [a, b, c]: [f64; 3], elevation: f64) -> Bending {
    let (sin, cos) = elevation.sin_cos();
    let inner = sin + c;
    let middle = sin + b / inner;
    let outer = sin + a / middle;
    let middle_slope = cos * (1.0 - b / (inner * inner));
    let outer_slope = cos - a * middle_slope / (middle * middle);
    Bending {
        angle: ground * cos / outer,
        slope: -ground * (sin * outer + cos * outer_slope) / (outer * outer),
    }
}

/// The coefficients with which the formula meets the traced bendings, by Newton's method on
/// a (s + c) = d (s^2 + c s + b), where s is the sine of the elevation and d = N cos(E)/R - s.
fn fraction_through(air: &Air, ground: f64, start: [f64; 3]) -> [f64; 3] {
    let traced = ELEVATIONS_TRACED_DEG.map(|degrees| {
        let elevation = Angle::from_degrees(degrees);
        let (s, cos) = elevation.sin_cos();
        (s, ground * cos / air.bending(elevation.radians()) - s)
    });
    let mut q = Vector3::from(start);
    for _ in 0..30 {
        let mut residual = Vector3::zeros();
        let mut slope = Matrix3::zeros();
        for (i, (s, d)) in traced.into_iter().enumerate() {
            // Scaled by 1/d, so that the three rows weigh alike.
            residual[i] = q[0] * (s + q[2]) / d - (s * s + q[2] * s + q[1]);
            slope[(i, 0)] = (s + q[2]) / d;
            slope[(i, 1)] = -1.0;
            slope[(i, 2)] = q[0] / d - s;
        }
        let Some(step) = slope.lu().solve(&residual) else {
            break;
        };
        q -= step;
        if step.abs().max() < 1e-15 {
            break;
        }
    }
    if q.iter().all(|x| x.is_finite() && *x > 0.0) {
        q.into()
    } else {
        // Only weather that no place on Earth has gets here.
        start
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLIMATES: [Weather; 13] = [
        weather(1013.25, 15.0, 0.5),
        weather(1013.25, 15.0, 0.0),
        weather(700.0, -10.0, 0.3),
        weather(1005.0, 32.0, 0.85),
        weather(850.0, 5.0, 0.7),
        weather(1040.0, -40.0, 0.5),
        weather(550.0, -5.0, 0.2),
        weather(1010.0, 40.0, 0.3),
        weather(1005.0, 42.0, 0.69),
        weather(980.0, 45.0, 0.1),
        weather(500.0, -60.0, 0.0),
        weather(1010.0, 35.0, 0.9),
        weather(1050.0, -60.0, 0.5),
    ];

    const fn weather(pressure_hpa: f64, temperature_c: f64, relative_humidity: f64) -> Weather {
        Weather {
            pressure_hpa,
            temperature_c,
            relative_humidity,
        }
    }

    fn refracted(air: &Refraction, degrees: f64) -> f64 {
        air.apparent_elevation(degrees.to_radians()).to_degrees()
    }

    /// Of the formula against the trace that it is laid through: 0.3 % of the bending, or 0.1
    /// arcsec where there is little of it.
    const FORMULA_SHARE: f64 = 0.003;

    #[test]
    fn the_formula_follows_the_trace_in_every_climate() {
        for weather in CLIMATES {
            let (model, air) = (Refraction::new(&weather), Air::above(&weather));
            for step in 2..=360 {
                let elevation = (0.25 * f64::from(step)).to_radians();
                let traced = air.bending(elevation);
                let off = (model.bending(elevation).angle - traced).abs();
                let most = (FORMULA_SHARE * traced).max(Angle::from_arcseconds(0.1).radians());
                assert!(
                    off < most,
                    "{weather:?} at {} deg: {off}",
                    elevation.to_degrees()
                );
            }
        }
    }

    /// `refco` leaves out the third power of the air's curvature; in hot humid air it and the
    /// formula differ by up to 1.02 arcsec at 12 degrees, elsewhere by half of that.
    const REFCO_ARCSEC: f64 = 1.2;
    /// Micrometres: 0.1 m. Everything above 100 is radio to `refco`.
    const RADIO_WAVELENGTH_UM: f64 = 1e5;

    #[test]
    fn agrees_with_the_sofa_constants_well_above_the_horizon() {
        for weather in CLIMATES {
            let model = Refraction::new(&weather);
            let (a, b) = sofars::astro::refco(
                weather.pressure_hpa,
                weather.temperature_c,
                weather.relative_humidity,
                RADIO_WAVELENGTH_UM,
            );
            for degrees in 12..90 {
                let elevation = f64::from(degrees).to_radians();
                let cot = 1.0 / elevation.tan();
                let sofa = a * cot + b * cot.powi(3);
                let off = Angle::from_radians(model.bending(elevation).angle - sofa);
                assert!(
                    off.arcseconds().abs() < REFCO_ARCSEC,
                    "{weather:?} at {degrees}: {off:?}"
                );
            }
        }
    }

    #[test]
    fn the_inverse_is_exact_and_everything_is_finite_and_rising() {
        // The last ones are no place on Earth.
        let impossible = [
            weather(1000.0, 48.0, 1.0),
            weather(1100.0, 60.0, 1.0),
            weather(1100.0, -90.0, 1.0),
            weather(10.0, 60.0, 1.0),
        ];
        for weather in CLIMATES.into_iter().chain(impossible) {
            let air = Refraction::new(&weather);
            let mut before = f64::NEG_INFINITY;
            for step in -9000..=9000 {
                let degrees = 0.01 * f64::from(step);
                let direction = Direction::geometric(Angle::ZERO, Angle::from_degrees(degrees));
                let apparent = air.refract(&direction);
                let back = air.unrefract(&apparent).elevation().degrees();
                assert!(
                    (back - degrees).abs() < 1e-12,
                    "{weather:?} at {degrees}: {back}"
                );
                assert!(
                    apparent.elevation().degrees() > before,
                    "{weather:?} at {degrees}"
                );
                before = apparent.elevation().degrees();
            }
        }
    }

    #[test]
    fn value_and_slope_pass_the_horizon_without_a_step() {
        let air = Refraction::new(&CLIMATES[3]);
        let (above, below) = (air.bending(1e-9), air.bending(-1e-9));
        assert!((above.angle - below.angle).abs() < 1e-8);
        assert!((above.slope - below.slope).abs() < 1e-6);
        for degrees in [-60.0, -3.0, -0.5, 0.2, 4.0, 50.0_f64] {
            let (e, h) = (degrees.to_radians(), 1e-6);
            let slope = (air.bending(e + h).angle - air.bending(e - h).angle) / (2.0 * h);
            assert!((slope - air.bending(e).slope).abs() < 1e-7, "at {degrees}");
        }
    }

    #[test]
    fn raises_and_spares_the_zenith() {
        let air = Refraction::new(&CLIMATES[0]);
        assert!(refracted(&air, 10.0) > 10.09);
        assert!((refracted(&air, 90.0) - 90.0).abs() < 1e-12);
        assert!((refracted(&air, -90.0) + 90.0).abs() < 1e-12);
        assert!((refracted(&air, -40.0) + 40.0).abs() < 1e-5);
        let vacuum = Refraction::new(&weather(0.0, 15.0, 0.0));
        assert_eq!(refracted(&vacuum, 0.0), 0.0);
    }
}
