//! Magnetic north taken for true north.
//!
//! A compass needle points to magnetic north, which lies east of true north by the declination. An
//! azimuth encoder set to zero along the needle therefore reads zero when the axis is at a true
//! azimuth equal to the declination: the axis is further clockwise than the encoder says, and the
//! azimuth zero comes out as plus the declination.

use statrs::distribution::{ContinuousCDF, Normal};
use world_magnetic_model::GeomagneticField;
use world_magnetic_model::time::Date;
use world_magnetic_model::uom::si::angle::degree;
use world_magnetic_model::uom::si::f32::{Angle as ModelAngle, Length};
use world_magnetic_model::uom::si::length::meter;

use crate::angle::Angle;
use crate::station::Site;
use crate::time::Utc;

/// Declination of the needle at a site.
#[derive(Clone, Copy, Debug)]
pub struct Declination {
    /// East positive.
    pub value: Angle,
    /// One standard deviation of the model at the site.
    pub sigma: Angle,
}

/// Declination by the World Magnetic Model (NOAA/NCEI and the British Geological Survey); `None`
/// outside its years.
pub fn declination(site: &Site, time: Utc) -> Option<Declination> {
    let (year, month, day, ..) = time.calendar();
    let month = world_magnetic_model::time::Month::try_from(month).ok()?;
    let date = Date::from_calendar_date(year, month, day).ok()?;
    let field = GeomagneticField::new(
        Length::new::<meter>(site.height_m as f32),
        ModelAngle::new::<degree>(site.latitude.degrees() as f32),
        ModelAngle::new::<degree>(site.longitude.degrees() as f32),
        date,
    )
    .ok()?;
    Some(Declination {
        value: Angle::from_degrees(f64::from(field.declination().get::<degree>())),
        sigma: Angle::from_degrees(f64::from(field.declination_uncertainty().get::<degree>())),
    })
}

/// Accuracy with which an axis can be set carefully by compass; common practice, no source.
const BY_HAND: Angle = Angle::from_degrees(0.4);
/// Smaller declinations do not matter with a hand-held compass, which is read to a degree or two; common practice, no source.
const LEAST: Angle = Angle::from_degrees(2.0);
/// A zero is either arbitrary, or set to true north within about this; common practice, no source.
const WELL_SET: Angle = Angle::from_degrees(3.0);
/// Up to this probability of a chance agreement it counts as a finding; above, it is only
/// mentioned. Common practice, no source.
pub const FALSE_ALARM: f64 = 0.005;

/// An azimuth zero that agrees with the declination.
#[derive(Clone, Copy, Debug)]
pub struct Compass {
    /// The declination at the site.
    pub declination: Declination,
    /// The azimuth zero found.
    pub zero: Angle,
    /// One standard deviation of the agreement.
    pub sigma: Angle,
    /// The probability that a zero set without a compass agrees as well.
    pub p_value: f64,
}

/// Whether an azimuth zero (with its standard deviation) is what a compass would have given.
///
/// A zero that was set toward true north is small by itself, and so is the declination in many
/// places: there the agreement says little, and its probability is not small.
pub fn compass(site: &Site, time: Utc, zero: Angle, sigma: Angle) -> Option<Compass> {
    let declination = declination(site, time)?;
    let zero = zero.wrapped_signed();
    let by_hand = BY_HAND.radians().hypot(declination.sigma.radians());
    let all = Angle::from_radians(by_hand.hypot(sigma.radians()));
    // A very uncertain zero agrees with anything.
    if declination.value.abs() < LEAST || sigma > BY_HAND {
        return None;
    }
    let near = (zero - declination.value).wrapped_signed().abs() < all;
    let anywhere = 2.0 * (all / Angle::TURN);
    let below = |a: Angle| Normal::standard().cdf(a / WELL_SET);
    let well_set = below(declination.value + all) - below(declination.value - all);
    near.then_some(Compass {
        declination,
        zero,
        sigma: all,
        p_value: 0.5 * (anywhere + well_set),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_needle_east_of_north_makes_a_positive_zero() {
        // The crate's own example, west of Spain: -0.17 deg; Seattle about 15 deg east; Sydney
        // about 12.8 deg east (published charts, from memory).
        let site = |latitude: f64, longitude: f64| Site {
            name: String::new(),
            latitude: Angle::from_degrees(latitude),
            longitude: Angle::from_degrees(longitude),
            height_m: 50.0,
            weather: crate::station::Weather {
                pressure_hpa: 1013.0,
                temperature_c: 15.0,
                relative_humidity: 0.5,
            },
            ut1_minus_utc_s: 0.0,
            electron_content_tecu: None,
            assumptions: Vec::new(),
        };
        let time = Utc::parse("2026-06-01T00:00:00Z").unwrap();
        let seattle = site(47.6, -122.3);
        let found = declination(&seattle, time).unwrap();
        assert!((found.value.degrees() - 15.0).abs() < 1.0, "{found:?}");
        let sydney = declination(&site(-33.9, 151.2), time).unwrap();
        assert!((sydney.value.degrees() - 12.8).abs() < 1.0, "{sydney:?}");
        let sigma = Angle::from_degrees(0.05);
        let agrees = compass(&seattle, time, found.value, sigma).unwrap();
        assert!(agrees.p_value < FALSE_ALARM);
        // In the middle of Europe a small zero is not proof of anything.
        let germany = site(49.8, 10.6);
        let small = declination(&germany, time).unwrap().value;
        let agrees = compass(&germany, time, small, sigma).unwrap();
        assert!(agrees.p_value > FALSE_ALARM, "{agrees:?}");
        assert!(compass(&seattle, time, -found.value, sigma).is_none());
        assert!(compass(&seattle, time, Angle::ZERO, sigma).is_none());
    }
}
