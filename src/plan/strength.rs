//! Strength of the sky's signals with a dish: for planning, good to a factor of two.

use std::fmt;

use crate::angle::Angle;
use crate::station::{Dish, Emitter, EmitterKind, SPEED_OF_LIGHT, catalogue};

/// Below this rise of the noise a peak cannot be found by hand (common practice, no source).
pub const FAINTEST_DB: f64 = 0.3;
/// System noise temperature (receiver, feed and sky) when the user gives none (common practice, no
/// source).
pub const SYSTEM_TEMPERATURE_K: f64 = 120.0;

/// Boltzmann's constant, joules per kelvin: exact, by definition of the kelvin (SI 2019).
const BOLTZMANN: f64 = 1.380_649e-23;
/// A jansky in watts per square metre and hertz, by definition.
const JANSKY: f64 = 1e-26;
/// Effective share of the dish's area (common practice, no source).
const APERTURE_EFFICIENCY: f64 = 0.55;
/// Angular diameter of the Sun and the Moon, degrees; both vary by a few percent.
const DISC_DEG: f64 = 0.53;
/// Mean radio brightness of the Moon, kelvin (from memory).
const MOON_K: f64 = 220.0;
/// Flux of the quiet Sun: megahertz, and units of 1e-22 W/m2/Hz (from memory; the active Sun is
/// several times as bright below 3 GHz).
const QUIET_SUN: [(f64, f64); 7] = [
    (200.0, 8.0),
    (400.0, 20.0),
    (1000.0, 42.0),
    (2800.0, 70.0),
    (5000.0, 120.0),
    (10_000.0, 280.0),
    (35_000.0, 2200.0),
];

/// How much an emitter raises the noise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strength {
    /// Kelvin at the feed.
    pub kelvin: f64,
    /// Decibels above the empty sky.
    pub decibels: f64,
}

impl fmt::Display for Strength {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = |v: f64| crate::number::two_digits(v);
        write!(f, "{} K, {} dB", digits(self.kelvin), digits(self.decibels))
    }
}

/// The strength of an emitter; `None` for transmitters and for sources whose brightness is not in
/// the catalogue.
pub fn strength(dish: &Dish, emitter: &Emitter, system_temperature_k: f64) -> Option<Strength> {
    let kelvin = match &emitter.kind {
        EmitterKind::Sun => disc_kelvin(dish, sun_brightness_k(dish.frequency_mhz)),
        EmitterKind::Moon => disc_kelvin(dish, MOON_K),
        EmitterKind::RadioSource { .. } => {
            let source = catalogue::by_name(&emitter.name)?;
            let flux = source.spectrum.flux_jy(dish.frequency_mhz)? * JANSKY;
            // A source wider than the beam fills only part of it.
            let filled = 1.0 / (1.0 + (source.extent / dish.beamwidth).powi(2));
            flux * working_area_m2(dish) / (2.0 * BOLTZMANN) * filled
        }
        _ => return None,
    };
    Some(Strength {
        kelvin,
        decibels: 10.0 * (kelvin / system_temperature_k).ln_1p() / std::f64::consts::LN_10,
    })
}

fn working_area_m2(dish: &Dish) -> f64 {
    APERTURE_EFFICIENCY * std::f64::consts::FRAC_PI_4 * dish.diameter_m * dish.diameter_m
}

/// Antenna temperature from a disc of uniform brightness at the centre of a Gaussian beam.
fn disc_kelvin(dish: &Dish, brightness_k: f64) -> f64 {
    let ratio = Angle::from_degrees(DISC_DEG) / dish.beamwidth;
    // A Gaussian beam of unit half-power width has 1 - 2^-(d^2) of its weight within the diameter
    // d; the beam efficiency is taken as equal to that of the aperture.
    brightness_k * (1.0 - (-std::f64::consts::LN_2 * ratio * ratio).exp()) * 0.75
}

/// Brightness of the quiet Sun, kelvin: its flux over the solid angle of the disc
/// (Rayleigh-Jeans: S = 2 k T / wavelength^2 x solid angle).
fn sun_brightness_k(frequency_mhz: f64) -> f64 {
    let wavelength = SPEED_OF_LIGHT / (frequency_mhz * 1e6);
    let radius = Angle::from_degrees(DISC_DEG / 2.0).radians();
    let solid_angle = std::f64::consts::PI * radius * radius;
    sun_flux(frequency_mhz) * 1e-22 * wavelength * wavelength / (2.0 * BOLTZMANN * solid_angle)
}

/// Linear interpolation in both logarithms between the table's rows, and extrapolation beyond its
/// ends.
fn sun_flux(frequency_mhz: f64) -> f64 {
    let after = (QUIET_SUN.iter())
        .position(|(f, _)| *f > frequency_mhz)
        .unwrap_or(QUIET_SUN.len() - 1)
        .max(1);
    let ((f0, s0), (f1, s1)) = (QUIET_SUN[after - 1], QUIET_SUN[after]);
    let share = (frequency_mhz / f0).ln() / (f1 / f0).ln();
    s0 * (s1 / s0).powf(share)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::station::EmitterKind;

    fn dish(diameter_m: f64, frequency_mhz: f64) -> Dish {
        Dish {
            diameter_m,
            frequency_mhz,
            beamwidth: Angle::from_degrees(
                70.0 * SPEED_OF_LIGHT / (frequency_mhz * 1e6) / diameter_m,
            ),
            beamwidth_assumed: true,
        }
    }

    fn of(kind: EmitterKind, name: &str, dish: &Dish) -> Strength {
        let emitter = Emitter {
            name: name.to_owned(),
            kind,
        };
        strength(dish, &emitter, 100.0).unwrap()
    }

    #[test]
    fn the_quiet_sun_is_a_million_kelvin_at_metres_and_ten_thousand_at_centimetres() {
        // J. D. Kraus, Radio Astronomy, chapter 8 (from memory): about 1e6 K at 150 MHz, 1e5 K
        // near 1.4 GHz, 1e4 K at 10 GHz. To a factor of two.
        for (frequency, kelvin) in [(200.0, 8e5), (1400.0, 1e5), (10_000.0, 1.2e4)] {
            let ratio = sun_brightness_k(frequency) / kelvin;
            assert!((0.5..2.0).contains(&ratio), "{frequency}: {ratio}");
        }
    }

    #[test]
    fn a_beam_inside_the_disc_sees_its_brightness_and_a_wide_one_the_flux() {
        let narrow = of(EmitterKind::Moon, "moon", &dish(100.0, 30_000.0));
        assert!(narrow.kelvin > 0.7 * MOON_K && narrow.kelvin < MOON_K);
        // A wide beam: flux times effective area over 2 k; the two efficiencies are of similar
        // size.
        let small = dish(1.2, 1420.0);
        let flux = sun_flux(1420.0) * 1e-22;
        let by_flux = flux * working_area_m2(&small) / (2.0 * BOLTZMANN);
        let ratio = of(EmitterKind::Sun, "sun", &small).kelvin / by_flux;
        assert!((0.6..1.6).contains(&ratio), "{ratio}");
    }

    #[test]
    fn a_strong_source_is_faint_on_a_small_dish() {
        let kind = EmitterKind::RadioSource {
            right_ascension: Angle::ZERO,
            declination: Angle::ZERO,
        };
        // 1 m2 x 0.55 x 1800 Jy / (2 k) is 0.36 K.
        let small = of(kind.clone(), "cassiopeia a", &dish(1.13, 1420.0));
        assert!((0.25..0.5).contains(&small.kelvin), "{small:?}");
        let large = of(kind, "cassiopeia a", &dish(11.3, 1420.0));
        assert!(large.kelvin > 80.0 * small.kelvin && large.decibels > 0.8);
    }
}
