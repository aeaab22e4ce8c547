//! A standard atmosphere above given weather, and the path of radio rays through it.

use crate::station::Weather;

/// Mean radius of the Earth, metres (IUGG, from memory); the local one differs by a third of a
/// percent.
pub(super) const EARTH_RADIUS_M: f64 = 6_371_000.0;
/// Fall of temperature with height in the lower air, kelvin per metre (US Standard Atmosphere
/// 1976).
const LAPSE_RATE: f64 = 0.0065;
/// Temperature at which the fall ends (US Standard Atmosphere 1976), kelvin.
const TROPOPAUSE_K: f64 = 216.65;
/// Hydrostatic constant g M / R of dry air, kelvin per metre (US Standard Atmosphere 1976).
const HYDROSTATIC: f64 = 0.034_163_2;
/// Height over which water vapour thins e times, metres (common textbook value, from memory).
const VAPOUR_SCALE_M: f64 = 2_100.0;
/// More vapour than this is taken as this: the highest dew point on record is 35 degrees
/// Celsius, 56 hPa (from memory), and above some 70 hPa such an atmosphere would catch level rays.
const MOST_VAPOUR_HPA: f64 = 60.0;
/// Where the trace ends, metres; above it 1e-5 of the air is left.
const TOP_M: f64 = 90_000.0;

/// A standard atmosphere above given weather at the ground: temperature falls with height to
/// the tropopause and stays there, pressure is hydrostatic, vapour thins exponentially.
#[derive(Clone, Copy, Debug)]
pub(super) struct Air {
    pressure: f64,
    temperature: f64,
    vapour: f64,
    tropopause_m: f64,
}

impl Air {
    pub fn above(weather: &Weather) -> Air {
        let temperature = weather.temperature_c + 273.15;
        Air {
            pressure: weather.pressure_hpa,
            temperature,
            vapour: vapour_pressure_hpa(weather),
            tropopause_m: ((temperature - TROPOPAUSE_K) / LAPSE_RATE).max(0.0),
        }
    }

    /// Refractivity and its derivative by the height, per metre.
    fn refractivity_and_slope(&self, height: f64) -> (f64, f64) {
        let below = height < self.tropopause_m;
        let at = height.min(self.tropopause_m);
        let t = self.temperature - LAPSE_RATE * at;
        let mut p = self.pressure * (t / self.temperature).powf(HYDROSTATIC / LAPSE_RATE);
        if !below {
            p *= (-HYDROSTATIC / t * (height - self.tropopause_m)).exp();
        }
        let e = self.vapour * (-height / VAPOUR_SCALE_M).exp();
        let t_slope = if below { -LAPSE_RATE } else { 0.0 };
        let p_slope = -HYDROSTATIC * p / t;
        let e_slope = -e / VAPOUR_SCALE_M;
        /// Rueger's coefficients as in SOFA `refco`: (77.6890e-6 p - (6.3938e-6 - 0.375463 / t) e)
        /// / t.
        const DRY: f64 = 77.6890e-6;
        /// As above.
        const WET: f64 = 6.3938e-6;
        /// As above.
        const WET_SQUARE: f64 = 0.375463;
        let value = (DRY * p - (WET - WET_SQUARE / t) * e) / t;
        let slope = (DRY * p_slope
            - (WET - WET_SQUARE / t) * e_slope
            - WET_SQUARE * t_slope / (t * t) * e
            - value * t_slope)
            / t;
        (value, slope)
    }

    /// Refractivity n - 1 at a height above the ground, metres.
    pub fn refractivity(&self, height: f64) -> f64 {
        self.refractivity_and_slope(height).0
    }

    /// The whole bending of a ray that reaches the ground at an apparent elevation, radians: the
    /// integral of -tan(z) d(ln n) along the ray, with n r sin(z) constant (Snell's law in round
    /// shells). Heights run as a square, which spreads the steep start of a low ray.
    pub fn bending(&self, elevation: f64) -> f64 {
        let invariant = (1.0 + self.refractivity(0.0)) * EARTH_RADIUS_M * elevation.cos();
        let part = |root: f64| {
            let height = root * root;
            let (n, slope) = self.refractivity_and_slope(height);
            let index = 1.0 + n;
            let sin_z = invariant / (index * (EARTH_RADIUS_M + height));
            // A ray caught in a duct has no tangent; keep it just short of level.
            let cos_z = (1.0 - sin_z * sin_z).max(1e-8).sqrt();
            -sin_z / cos_z * slope / index * 2.0 * root
        };
        let (middle, end) = (self.tropopause_m.sqrt(), TOP_M.sqrt());
        simpson(0.0, middle, part) + simpson(middle, end, part)
    }
}

/// Simpson's rule with enough steps for 0.01 arcsec here.
fn simpson(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    /// Pairs of intervals, which leave less than 0.01 arcsec here.
    const PAIRS: usize = 100;
    let step = (to - from) / (2 * PAIRS) as f64;
    // Just inside the ends: the air's slope jumps at the tropopause.
    let inside = 1e-9 * (to - from);
    let ends = f(from + inside) + f(to - inside);
    let inner: f64 = (1..2 * PAIRS)
        .map(|i| f(from + step * i as f64) * if i % 2 == 1 { 4.0 } else { 2.0 })
        .sum();
    (ends + inner) * step / 3.0
}

/// Partial pressure of water vapour, as SOFA `refco` has it (Gill 1982, Atmosphere-Ocean
/// Dynamics; Crane 1976).
fn vapour_pressure_hpa(weather: &Weather) -> f64 {
    let (p, t, humidity) = (
        weather.pressure_hpa,
        weather.temperature_c,
        weather.relative_humidity,
    );
    if p <= 0.0 {
        return 0.0;
    }
    let saturated = 10f64.powf((0.7859 + 0.03477 * t) / (1.0 + 0.00412 * t))
        * (1.0 + p * (4.5e-6 + 6e-10 * t * t));
    let vapour = humidity * saturated / (1.0 - (1.0 - humidity) * saturated / p);
    // Where the boiling point is passed the formula turns negative: all is vapour then.
    if (0.0..=MOST_VAPOUR_HPA).contains(&vapour) {
        vapour
    } else {
        MOST_VAPOUR_HPA.min(p)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Angle;

    const HOT_AND_HUMID: Weather = Weather {
        pressure_hpa: 1005.0,
        temperature_c: 32.0,
        relative_humidity: 0.85,
    };

    #[test]
    fn the_trace_does_not_depend_on_its_steps() {
        // The midpoint rule with a hundred times the steps, over height on another scale
        // (height = exp(x) - 1 decametres).
        let air = Air::above(&HOT_AND_HUMID);
        let elevation = 0.5_f64.to_radians();
        let invariant = (1.0 + air.refractivity(0.0)) * EARTH_RADIUS_M * elevation.cos();
        let steps = 60_000;
        let end = (1.0 + TOP_M / 10.0).ln();
        let fine: f64 = (0..steps)
            .map(|i| {
                let x = end * (f64::from(i) + 0.5) / f64::from(steps);
                let height = 10.0 * (x.exp() - 1.0);
                let (n, slope) = air.refractivity_and_slope(height);
                let sin_z = invariant / ((1.0 + n) * (EARTH_RADIUS_M + height));
                -sin_z.asin().tan() * slope / (1.0 + n) * 10.0 * x.exp() * end / f64::from(steps)
            })
            .sum();
        let off = Angle::from_radians(air.bending(elevation) - fine).arcseconds();
        assert!(off.abs() < 0.02, "{off} arcsec of {fine} rad");
    }
}
