//! Satellites: SGP4 as tracking practice has it.

use nalgebra::Vector3;

use super::earth::turn_with_earth;
use super::timescale::ut1;
use crate::time::{DAY_S, Utc};

const METRES_PER_KM: f64 = 1000.0;
const SECONDS_PER_MINUTE: f64 = 60.0;

/// Mean elements of one satellite at one epoch, ready to be propagated.
#[derive(Clone, Debug)]
pub(super) struct Orbit {
    pub epoch: Utc,
    /// Radians per second that it turns about the Earth at its lowest, by the elements.
    pub fastest: f64,
    constants: sgp4::Constants,
}

/// The mean elements as element sets give them.
#[derive(Clone, Copy, Debug)]
pub(super) struct MeanElements {
    pub epoch: Utc,
    /// Radians.
    pub inclination: f64,
    /// Radians.
    pub right_ascension: f64,
    pub eccentricity: f64,
    /// Radians.
    pub argument_of_perigee: f64,
    /// Radians.
    pub mean_anomaly: f64,
    /// Kozai's, radians per minute.
    pub mean_motion: f64,
    /// Per Earth radius.
    pub drag_term: f64,
}

impl Orbit {
    /// Prepares the elements, with WGS 72 constants and the IAU sidereal time: with them SGP4
    /// reproduces the published verification vectors (Vallado and others 2006, "Revisiting
    /// Spacetrack Report #3").
    ///
    /// # Errors
    /// In words, when no orbit has such elements.
    pub fn new(elements: &MeanElements) -> Result<Orbit, String> {
        let orbit = sgp4::Orbit::from_kozai_elements(
            &sgp4::WGS72,
            elements.inclination,
            elements.right_ascension,
            elements.eccentricity,
            elements.argument_of_perigee,
            elements.mean_anomaly,
            elements.mean_motion,
        )
        .map_err(|e| e.to_string())?;
        let constants = sgp4::Constants::new(
            sgp4::WGS72,
            sgp4::iau_epoch_to_sidereal_time,
            julian_years_since_j2000(elements.epoch),
            elements.drag_term,
            orbit,
        )
        .map_err(|e| e.to_string())?;
        let e = elements.eccentricity;
        Ok(Orbit {
            epoch: elements.epoch,
            // Kepler's second law at perigee: n sqrt(1 + e) / (1 - e)^(3/2).
            fastest: elements.mean_motion / SECONDS_PER_MINUTE * (1.0 + e).sqrt()
                / (1.0 - e).powf(1.5),
            constants,
        })
    }

    /// Position in the true-equator mean-equinox frame of date, km, this many minutes after the
    /// epoch.
    ///
    /// # Errors
    /// In words, when the orbit no longer exists then.
    pub fn position_km(&self, minutes: f64) -> Result<Vector3<f64>, String> {
        let state = self
            .constants
            .propagate(sgp4::MinutesSinceEpoch(minutes))
            .map_err(|e| e.to_string())?;
        let position = Vector3::from(state.position);
        // Not-a-number must fail here too.
        if position.norm() >= sgp4::WGS72.ae {
            Ok(position)
        } else {
            Err("it would be inside the Earth: the orbit has decayed".to_owned())
        }
    }

    /// Earth-fixed position, metres: turned by the sidereal time of 1982 on UT1, without polar
    /// motion.
    ///
    /// # Errors
    /// In words, when the orbit no longer exists then.
    pub fn earth_fixed(&self, time: Utc, ut1_minus_utc_s: f64) -> Result<Vector3<f64>, String> {
        self.earth_fixed_ahead(time, ut1_minus_utc_s, 0.0)
    }

    /// The same for a satellite that runs `ahead_s` seconds ahead of its elements: the Earth
    /// stands as at `time`.
    ///
    /// # Errors
    /// As [`Orbit::earth_fixed`].
    pub fn earth_fixed_ahead(
        &self,
        time: Utc,
        ut1_minus_utc_s: f64,
        ahead_s: f64,
    ) -> Result<Vector3<f64>, String> {
        let minutes = (time.seconds_since(self.epoch) + ahead_s) / SECONDS_PER_MINUTE;
        let position = self.position_km(minutes)? * METRES_PER_KM;
        let ut1 = ut1(time, ut1_minus_utc_s);
        Ok(turn_with_earth(
            sofars::erst::gmst82(ut1.0, ut1.1),
            &position,
        ))
    }
}

/// The element set whose epoch is nearest to `time`.
pub(super) fn nearest_orbit(orbits: &[Orbit], time: Utc) -> &Orbit {
    let after = orbits.partition_point(|o| o.epoch <= time);
    match (after.checked_sub(1).map(|i| &orbits[i]), orbits.get(after)) {
        (Some(before), Some(next)) => {
            if time.seconds_since(before.epoch) <= next.epoch.seconds_since(time) {
                before
            } else {
                next
            }
        }
        (Some(only), None) => only,
        (None, _) => &orbits[0],
    }
}

fn julian_years_since_j2000(time: Utc) -> f64 {
    // 2000-01-01T12:00 is day 10,957.5 since 1970.
    (time.unix_day() as f64 - 10_957.5 + time.seconds_of_day() / DAY_S) / 365.25
}

#[cfg(test)]
mod tests {
    use super::super::elements;

    /// The vectors are printed to 1e-8 km; rounding in the 1e6-minute case is the worst.
    const AGREEMENT_KM: f64 = 1e-5;

    /// Made to provoke an error; the published results repeat the line before.
    const NEVER_AN_ORBIT: u64 = 33334;

    fn with_checksum(line: &str) -> String {
        let digits = line[..68].bytes().map(|b| match b {
            b'-' => 1,
            b'0'..=b'9' => u32::from(b - b'0'),
            _ => 0,
        });
        format!("{}{}", &line[..68], digits.sum::<u32>() % 10)
    }

    #[test]
    fn reproduces_the_published_verification_vectors() {
        // tests/data/sgp4/SOURCE.md
        let sets = include_str!("../../tests/data/sgp4/SGP4-VER.TLE");
        let mut results: Vec<Vec<[f64; 4]>> = Vec::new();
        for line in include_str!("../../tests/data/sgp4/tcppver.out").lines() {
            if line.contains("xx") {
                results.push(Vec::new());
            } else {
                let words = line.split_whitespace().take(4);
                let x: Vec<f64> = words.map(|w| w.parse().unwrap()).collect();
                results.last_mut().unwrap().push([x[0], x[1], x[2], x[3]]);
            }
        }
        let lines: Vec<&str> = sets.lines().filter(|l| !l.starts_with('#')).collect();
        assert_eq!((lines.len(), results.len()), (66, 33));
        let (mut vectors, mut worst) = (0, 0.0_f64);
        for (pair, results) in lines.chunks(2).zip(&results) {
            // Three times stand behind column 69.
            let times = &pair[1][69..];
            let number: u64 = pair[0][2..7].trim().parse().unwrap();
            // The sets 33333 on are published with wrong checksums.
            let set = [pair[0], &pair[1][..69]].map(with_checksum).join("\n");
            let file = elements::parse("set", set.as_bytes()).unwrap();
            let orbit = &file.orbits[&number][0];
            if number == NEVER_AN_ORBIT {
                assert!(orbit.position_km(0.0).is_err());
                continue;
            }
            let mut last = f64::NEG_INFINITY;
            for [minutes, x, y, z] in results {
                let found = orbit.position_km(*minutes).unwrap();
                let off = (found - nalgebra::Vector3::new(*x, *y, *z)).norm();
                assert!(off < AGREEMENT_KM, "{number} at {minutes}: {off} km");
                worst = worst.max(off);
                vectors += 1;
                last = *minutes;
            }
            // Where the published results end early, the orbit has decayed.
            let times: Vec<f64> = times
                .split_whitespace()
                .map(|w| w.parse().unwrap())
                .collect();
            if last + times[2] <= times[1] {
                assert!(
                    orbit.position_km(last + times[2]).is_err(),
                    "{number} after {last}"
                );
            }
        }
        assert_eq!(vectors, 666, "worst {worst} km");
    }
}
