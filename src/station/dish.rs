//! The `[dish]` section: the reflector, its receiver and its beam.

use super::keys::{DISH, elsewhere};
use super::section::{Section, Source};
use super::{Dish, limits};
use crate::angle::Angle;
use crate::problem::Wrong;

/// Speed of light, metres per second (exact, SI Brochure, 9th edition).
pub(crate) const SPEED_OF_LIGHT: f64 = 299_792_458.0;
/// Half-power width in degrees of a beam, times diameter over wavelength: common practice for a
/// round dish with a tapered illumination, no source.
const BEAMWIDTH_FACTOR_DEG: f64 = 70.0;
/// A beamwidth that differs from the usual one by more than this factor is reported.
const ODD_BEAMWIDTH_RATIO: f64 = 3.0;
/// Reads the dish; `None` if something is wrong with it, which is reported. What is assumed about
/// its beam is added to `assumptions`.
pub(super) fn dish(
    source: &mut Source<'_>,
    section: &Section<'_>,
    assumptions: &mut Vec<String>,
) -> Option<Dish> {
    source.unknown_keys(section, &DISH, elsewhere);
    let diameter = source.number(section, "diameter_m", &limits::DIAMETER);
    let frequency = source.number(section, "frequency_mhz", &limits::FREQUENCY);
    let given = source
        .optional_number(section, "beamwidth_deg", &limits::BEAMWIDTH)
        .filter(|width| *width > 0.0);
    let (diameter_m, frequency_mhz) = (diameter?, frequency?);
    let wavelength_m = wavelength_m(frequency_mhz);
    let usual = BEAMWIDTH_FACTOR_DEG * wavelength_m / diameter_m;
    if given.is_none() && usual > limits::BEAMWIDTH.high {
        let wrong = Wrong::new(
            format!(
                "a dish of {diameter_m} m at {frequency_mhz} MHz has no beam: it measures {:.1} wavelengths",
                diameter_m / wavelength_m
            ),
            "a dish wider than the wave is long",
        )
        .mend("check diameter_m and frequency_mhz, or give beamwidth_deg");
        source.wrong_at(section.start, wrong);
        return None;
    }
    match given {
        None => assumptions.push(format!(
            "no beamwidth_deg: {usual:.3} degrees assumed, 70 x wavelength / diameter"
        )),
        Some(width) => {
            let ratio = width / usual;
            if !(1.0 / ODD_BEAMWIDTH_RATIO..=ODD_BEAMWIDTH_RATIO).contains(&ratio) {
                assumptions.push(format!(
                    "beamwidth_deg {width} is taken as given, though a dish of {diameter_m} m at {frequency_mhz} MHz usually has about {usual:.3} degrees"
                ));
            }
        }
    }
    Some(Dish {
        diameter_m,
        frequency_mhz,
        beamwidth: Angle::from_degrees(given.unwrap_or(usual)),
        beamwidth_assumed: given.is_none(),
    })
}

fn wavelength_m(frequency_mhz: f64) -> f64 {
    SPEED_OF_LIGHT / (frequency_mhz * 1e6)
}

impl Dish {
    /// A dish with the usual beam for its size; `None` if it has no usable beam at that frequency.
    pub fn with_usual_beam(diameter_m: f64, frequency_mhz: f64) -> Option<Dish> {
        let usual = BEAMWIDTH_FACTOR_DEG * wavelength_m(frequency_mhz) / diameter_m;
        (usual <= limits::BEAMWIDTH.high).then(|| Dish {
            diameter_m,
            frequency_mhz,
            beamwidth: Angle::from_degrees(usual),
            beamwidth_assumed: true,
        })
    }
}
