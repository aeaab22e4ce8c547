//! What a user should know about a position, in plain words.

use std::collections::HashSet;
use std::fmt;

use super::timescale::LeapSeconds;
use crate::text::some_of;
use crate::time::Utc;

/// Something about a position that a user should know.
#[derive(Clone, Debug, PartialEq)]
pub enum Notice {
    /// The orbit elements' epoch is more than [`OLD_ORBIT_DAYS`] days from the time.
    OldOrbit {
        /// As the station file calls it.
        emitter: String,
        /// Time less epoch, days: negative when the elements are younger than the time.
        days: f64,
    },
    /// The emitter is below the horizontal at the time.
    BelowHorizon {
        /// As the station file calls it.
        emitter: String,
        /// Of the log or the table.
        time: Utc,
        /// Apparent, degrees.
        elevation_deg: f64,
    },
    /// The emitter is above the horizontal, but below the station's horizon mask.
    BelowMask {
        /// As the station file calls it.
        emitter: String,
        /// Of the log or the table.
        time: Utc,
        /// Apparent, degrees.
        elevation_deg: f64,
        /// Lowest usable elevation at that azimuth, degrees.
        lowest_deg: f64,
    },
    /// The leap-second table says nothing about the time.
    OutsideLeapSecondTable {
        /// Of the log or the table.
        time: Utc,
        /// On which side of the table it lies.
        knowledge: LeapSeconds,
        /// What was taken for TAI minus UTC, seconds.
        assumed_s: f64,
    },
    /// A transmitter stands in the near field of the dish.
    NearField {
        /// As the station file calls it.
        emitter: String,
        /// How far it is.
        distance_m: f64,
        /// How far it should be.
        far_m: f64,
        /// By how many wavelengths its waves reach the rim of the dish later than the middle.
        late_waves: f64,
    },
    /// The receiver's frequency is so low that the ionosphere, which is not in the refraction,
    /// matters.
    IonosphereLeftOut {
        /// Of the receiver.
        frequency_mhz: f64,
    },
}

/// Beyond this age of its elements an orbit is called old. Positions of a low satellite drift by
/// kilometres a day (common practice, no source).
pub const OLD_ORBIT_DAYS: f64 = 14.0;

/// Below this frequency the ionosphere's bending is mentioned; it grows with the square of the
/// wavelength. Common practice, no source.
pub const IONOSPHERE_BELOW_MHZ: f64 = 1000.0;
/// That bend at an elevation of 10 degrees by day, 69 arcsec; it falls with the square of the
/// frequency (size by a common daytime electron content, no source).
const IONOSPHERE_DEG_AT_400_MHZ: f64 = 69.0 / 3600.0;

impl Notice {
    /// What it is about, without times and numbers: a fixed word and the emitter (empty where none
    /// is meant). Of the notices on one topic a log of many peaks needs to show only the first.
    pub fn topic(&self) -> (&'static str, &str) {
        match self {
            Notice::OldOrbit { emitter, .. } => ("old orbit", emitter),
            Notice::BelowHorizon { emitter, .. } => ("below the horizon", emitter),
            Notice::BelowMask { emitter, .. } => ("below the mask", emitter),
            Notice::OutsideLeapSecondTable { .. } => ("leap seconds", ""),
            Notice::NearField { emitter, .. } => ("near field", emitter),
            Notice::IonosphereLeftOut { .. } => ("ionosphere", ""),
        }
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Notice::OldOrbit { emitter, days } => {
                let days_off = format!("{:.1}", days.abs());
                write!(f, "{emitter}: its {}", old_orbit(&days_off, *days > 0.0))
            }
            Notice::BelowHorizon {
                emitter,
                time,
                elevation_deg,
            } => write!(
                f,
                "{emitter}: below the horizon at {time} (elevation {elevation_deg:.2} deg): check \
                 the clock, the time zone, the site and the emitter's name"
            ),
            Notice::BelowMask {
                emitter,
                time,
                elevation_deg,
                lowest_deg,
            } => write!(
                f,
                "{emitter}: at {time} its elevation of {elevation_deg:.2} deg is below the \
                 station's horizon mask ({lowest_deg:.2} deg there)"
            ),
            Notice::OutsideLeapSecondTable {
                time,
                knowledge,
                assumed_s,
            } => {
                let why = match knowledge {
                    LeapSeconds::BeforeTable => {
                        "before 1972, when UTC was not yet kept by leap seconds"
                    }
                    LeapSeconds::AfterTable => {
                        "later than this version's leap-second table can be trusted"
                    }
                    LeapSeconds::Known => "inside the leap-second table",
                };
                write!(
                    f,
                    "{time} is {why}: TAI-UTC was taken as {assumed_s:.3} s; each second that it is \
                     off moves the Moon by 0.5 arcsec and the Sun by 0.04"
                )
            }
            // The far field begins at 2 D^2 / wavelength (IEEE Std 145, from memory).
            Notice::NearField {
                emitter,
                distance_m,
                far_m,
                late_waves,
            } => write!(
                f,
                "{emitter}: {distance_m:.0} m away, nearer than 2 D^2 / wavelength = {far_m:.0} m: its waves \
                 reach the dish's rim {late_waves:.2} wavelengths late, so that its peak is broad and low \
                 and may lie beside; take a farther one, or move the feed out until the peak is highest"
            ),
            Notice::IonosphereLeftOut { frequency_mhz } => write!(
                f,
                "at {frequency_mhz} MHz the ionosphere, which is not in the refraction, raises an emitter \
                 at elevation 10 deg by some {:.2} deg by day: prefer high ones, or give the electron \
                 content (--tec)",
                IONOSPHERE_DEG_AT_400_MHZ * (400.0 / frequency_mhz).powi(2)
            ),
        }
    }
}

/// The notice on orbit elements whose epoch is this many days off.
fn old_orbit(days: &str, older: bool) -> String {
    format!(
        "orbit elements are {days} days {} than the requested time (more than {OLD_ORBIT_DAYS:.0}); \
         a low satellite may be degrees away by now: fetch elements of about that date",
        if older { "older" } else { "younger" },
    )
}

/// Notices on many emitters at many times, the first on each topic kept.
#[derive(Clone, Debug, Default)]
pub struct Notices {
    topics: HashSet<(&'static str, String)>,
    found: Vec<Notice>,
}

impl Notices {
    /// Takes in some, in the order in which they are to be reported.
    pub fn add(&mut self, notices: impl IntoIterator<Item = Notice>) {
        for notice in notices {
            let (word, emitter) = notice.topic();
            if self.topics.insert((word, emitter.to_owned())) {
                self.found.push(notice);
            }
        }
    }

    /// In words; old orbits of several satellites in one sentence that names them.
    pub fn in_words(&self) -> Vec<String> {
        let mut told = Vec::new();
        let mut told_of_orbits = [false; 2];
        for notice in &self.found {
            let Notice::OldOrbit { days, .. } = notice else {
                told.push(notice.to_string());
                continue;
            };
            let older = *days > 0.0;
            if !std::mem::replace(&mut told_of_orbits[usize::from(older)], true) {
                told.push(self.old_orbits(older));
            }
        }
        told
    }

    fn old_orbits(&self, older: bool) -> String {
        let alike: Vec<(&Notice, &str, f64)> = (self.found.iter())
            .filter_map(|notice| match notice {
                Notice::OldOrbit { emitter, days } if (*days > 0.0) == older => {
                    Some((notice, emitter.as_str(), days.abs()))
                }
                _ => None,
            })
            .collect();
        if let [(only, ..)] = alike.as_slice() {
            return only.to_string();
        }
        let names: Vec<&str> = alike.iter().map(|(_, name, _)| *name).collect();
        let of = |fold: fn(f64, f64) -> f64, start: f64| {
            alike.iter().map(|(.., days)| *days).fold(start, fold)
        };
        let (least, most) = (of(f64::min, f64::INFINITY), of(f64::max, 0.0));
        let days = match most - least < 0.05 {
            true => format!("{most:.1}"),
            false => format!("{least:.1} to {most:.1}"),
        };
        format!(
            "{} satellites ({}): their {}",
            alike.len(),
            some_of(&names),
            old_orbit(&days, older)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn old(emitter: &str, days: f64) -> Notice {
        Notice::OldOrbit {
            emitter: emitter.to_owned(),
            days,
        }
    }

    #[test]
    fn one_kind_of_notice_is_one_sentence_that_names_the_emitters() {
        let ionosphere = || Notice::IonosphereLeftOut {
            frequency_mhz: 137.5,
        };
        let mut notices = Notices::default();
        notices.add([old("a", 20.0), ionosphere(), old("b", 31.25)]);
        notices.add([old("a", 20.1), ionosphere(), old("early", -15.0)]);
        let words = notices.in_words();
        assert_eq!(words.len(), 3, "{words:?}");
        assert!(
            words[0].starts_with(
                "2 satellites (a, b): their orbit elements are 20.0 to 31.2 days older than"
            ),
            "{words:?}"
        );
        assert!(words[1].contains("ionosphere"));
        // A single one is reported as before.
        assert_eq!(words[2], old("early", -15.0).to_string());
    }

    #[test]
    fn of_very_many_satellites_some_are_named_and_all_counted() {
        let mut notices = Notices::default();
        notices.add((0..2000).map(|i| old(&format!("sat-{i}"), 20.0)));
        let words = notices.in_words();
        assert_eq!(words.len(), 1);
        assert!(words[0].starts_with("2000 satellites (sat-0, sat-1, "));
        assert!(words[0].contains(" and 1992 more): their orbit elements are 20.0 days older"));
        assert!(words[0].len() < 400);
    }
}
