//! How high an emitter rises at a latitude, and for how long, whatever the date.

use crate::angle::Angle;

/// Obliquity of the ecliptic: the Sun's greatest declination, degrees (from memory).
const SUN_DECLINATION_DEG: f64 = 23.44;
/// Greatest declination of the Moon, whose orbit is inclined to the ecliptic by 5.14 degrees (from
/// memory).
const MOON_DECLINATION_DEG: f64 = SUN_DECLINATION_DEG + 5.14;
/// Hours in which the sky turns by a degree; the four minutes a day between stars and Sun do not
/// matter here.
const HOURS_A_DEGREE: f64 = 24.0 / 360.0;

/// Values on the worst and the best date, which are equal for a source at a fixed celestial
/// position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// Highest elevation of the day; below zero if it does not rise.
    pub highest: (Angle, Angle),
    /// Hours a day above the lowest useful elevation.
    pub hours: (f64, f64),
}

impl Rise {
    /// Rise of a source at this declination.
    pub fn of_source(declination: Angle, latitude: Angle, lowest: Angle) -> Rise {
        let (highest, hours) = of_day(declination, latitude, lowest);
        Rise {
            highest: (highest, highest),
            hours: (hours, hours),
        }
    }

    /// Rise of the Sun.
    pub fn of_sun(latitude: Angle, lowest: Angle) -> Rise {
        Rise::between(SUN_DECLINATION_DEG, latitude, lowest)
    }

    /// Rise of the Moon.
    pub fn of_moon(latitude: Angle, lowest: Angle) -> Rise {
        Rise::between(MOON_DECLINATION_DEG, latitude, lowest)
    }

    /// Rise of a body whose declination varies between plus and minus `declination_deg`.
    fn between(declination_deg: f64, latitude: Angle, lowest: Angle) -> Rise {
        // The highest elevation decreases again past the zenith, so the ends alone are not enough.
        let steps = 48;
        let days: Vec<(Angle, f64)> = (0..=steps)
            .map(|i| declination_deg * (2.0 * f64::from(i) / f64::from(steps) - 1.0))
            .map(|degrees| of_day(Angle::from_degrees(degrees), latitude, lowest))
            .collect();
        let start = days[0];
        days.iter().fold(
            Rise {
                highest: (start.0, start.0),
                hours: (start.1, start.1),
            },
            |all, (highest, hours)| Rise {
                highest: (all.highest.0.min(*highest), all.highest.1.max(*highest)),
                hours: (all.hours.0.min(*hours), all.hours.1.max(*hours)),
            },
        )
    }

    /// Whether it is ever above the horizon.
    pub fn rises(&self) -> bool {
        self.highest.1 > Angle::ZERO
    }

    /// Whether it can ever be measured.
    pub fn useful(&self) -> bool {
        self.hours.1 > 0.0
    }

    /// In words: `rises to 14 to 61 deg, above 10 deg for 3.8 to 14.4 h a day`.
    pub fn in_words(&self, lowest: Angle) -> String {
        let range = |(low, high): (f64, f64), decimals: usize| {
            let (low, high) = (format!("{low:.decimals$}"), format!("{high:.decimals$}"));
            match low == high {
                true => low,
                false => format!("{low} to {high}"),
            }
        };
        let (worst, best) = self.highest;
        let rises = match worst < Angle::ZERO {
            true => format!(
                "rises to {:.0} deg at best, and at times not at all",
                best.degrees()
            ),
            false => format!(
                "rises to {} deg",
                range((worst.degrees(), best.degrees()), 0)
            ),
        };
        let long = match self.hours {
            (low, _) if low >= 24.0 => "all day".to_owned(),
            hours => format!("for {} h a day", range(hours, 1)),
        };
        format!("{rises}, above {:.0} deg {long}", lowest.degrees())
    }
}

/// Highest elevation of a day and hours above `lowest`, without refraction: sin(elevation) =
/// sin(latitude) sin(declination) + cos(latitude) cos(declination) cos(hour angle).
fn of_day(declination: Angle, latitude: Angle, lowest: Angle) -> (Angle, f64) {
    let highest = Angle::RIGHT - (latitude - declination).abs();
    let level = latitude.cos() * declination.cos();
    let cos_hour_angle = (lowest.sin() - latitude.sin() * declination.sin()) / level;
    // Above one it never gets that high, below minus one it is never lower.
    let half_day = match cos_hour_angle {
        c if c >= 1.0 => 0.0,
        c if c <= -1.0 => 180.0,
        c => c.acos().to_degrees(),
    };
    (highest, 2.0 * half_day * HOURS_A_DEGREE)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOWEST: Angle = Angle::from_degrees(10.0);

    fn degrees(value: f64) -> Angle {
        Angle::from_degrees(value)
    }

    #[test]
    fn a_source_at_the_latitude_passes_the_zenith_and_the_pole_is_fixed() {
        let overhead = Rise::of_source(degrees(48.0), degrees(48.0), LOWEST);
        assert!((overhead.highest.1.degrees() - 90.0).abs() < 1e-9);
        let pole = Rise::of_source(degrees(90.0), degrees(48.0), LOWEST);
        assert!((pole.highest.0.degrees() - 48.0).abs() < 1e-9);
        assert_eq!(pole.hours.0, 24.0);
        assert!(pole.in_words(LOWEST).ends_with("above 10 deg all day"));
    }

    #[test]
    fn an_equatorial_source_seen_from_the_equator_is_above_ten_degrees_for_160_of_360() {
        let source = Rise::of_source(Angle::ZERO, Angle::ZERO, LOWEST);
        assert!((source.hours.1 - 24.0 * 160.0 / 360.0).abs() < 1e-9);
    }

    #[test]
    fn a_source_near_the_other_pole_never_rises() {
        let south = Rise::of_source(degrees(-43.0), degrees(52.4), LOWEST);
        assert!(!south.rises() && !south.useful());
        // Above the horizon, but never high enough to be measured.
        let low = Rise::of_source(degrees(-33.0), degrees(52.4), LOWEST);
        assert!(low.rises() && !low.useful());
        // The same with north and south exchanged.
        let north = Rise::of_source(degrees(43.0), degrees(-52.4), LOWEST);
        assert!(!north.rises());
    }

    #[test]
    fn the_sun_is_highest_in_summer_and_beyond_the_polar_circle_does_not_always_rise() {
        // 90 - 52.41 -/+ 23.44.
        let sun = Rise::of_sun(degrees(52.41), LOWEST);
        assert!((sun.highest.0.degrees() - 14.15).abs() < 0.01);
        assert!((sun.highest.1.degrees() - 61.03).abs() < 0.01);
        // Between the tropics it passes the zenith.
        let tropics = Rise::of_sun(degrees(-10.0), LOWEST);
        assert!(tropics.highest.1.degrees() > 89.0);
        let polar = Rise::of_sun(degrees(75.0), LOWEST);
        assert!(polar.highest.0 < Angle::ZERO && polar.useful());
        assert!(polar.in_words(LOWEST).contains("at times not at all"));
        assert!(Rise::of_moon(degrees(75.0), LOWEST).highest.1 > polar.highest.1);
    }
}
