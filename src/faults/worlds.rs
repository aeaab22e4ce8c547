//! What if the log or the station file meant something else: another time zone, another site,
//! exchanged columns, another unit. Each such world is observed anew and fitted whole; it is
//! costly, and asked for only when the session as logged does not hold together.

use crate::angle::Angle;
use crate::logbook::PeakLog;
use crate::sky::Sky;
use crate::solve::observe::{Observation, observe};
use crate::station::Station;

use super::case::{Case, cases};
use super::name::{Axis, Fault};
use super::rows::UNITS;

/// Another meaning of a session.
#[derive(Clone, Debug, PartialEq)]
pub enum World {
    /// So many hours to add to the logged times.
    Hours(f64),
    /// The longitude with the other sign.
    LongitudeSign,
    /// The latitude with the other sign.
    LatitudeSign,
    /// Latitude and longitude exchanged.
    SiteSwapped,
    /// The azimuth counted the other way.
    AzimuthReversed,
    /// Azimuth and elevation exchanged.
    Exchanged,
    /// Readings of an axis in another unit.
    Unit {
        /// Which axis.
        axis: Axis,
        /// The unit's name.
        unit: &'static str,
        /// One of it in degrees.
        degrees: f64,
    },
    /// Minutes of arc written behind a decimal point: 12.30 for 12 degrees 30 minutes.
    PointedMinutes(Axis),
}

/// What worlds are made from.
#[derive(Clone, Copy, Debug)]
pub struct Setting<'a> {
    /// The station as given.
    pub station: &'a Station,
    /// Its sky.
    pub sky: &'a Sky,
    /// The log as given.
    pub log: &'a PeakLog,
    /// Clock offset held by the user, seconds.
    pub clock_s: f64,
}

impl World {
    /// The fault that it is.
    pub fn fault(&self) -> Fault {
        match self {
            World::Hours(_) => Fault::TimeZone,
            World::LongitudeSign => Fault::LongitudeSign,
            // No name of its own: the site is wrong in its latitude.
            World::LatitudeSign | World::SiteSwapped => Fault::SiteSwapped,
            World::AzimuthReversed => Fault::AzimuthReversed,
            World::Exchanged => Fault::ColumnsExchanged,
            World::Unit { .. } | World::PointedMinutes(_) => Fault::WrongUnit,
        }
    }

    /// All worlds that are asked for.
    pub fn all() -> Vec<World> {
        let whole = (1..=14).map(f64::from);
        let mut found: Vec<World> = (whole.chain(BROKEN))
            .flat_map(|h| [World::Hours(h), World::Hours(-h)])
            .collect();
        found.extend([
            World::LongitudeSign,
            World::LatitudeSign,
            World::SiteSwapped,
            World::AzimuthReversed,
            World::Exchanged,
        ]);
        for axis in [Axis::Both, Axis::Azimuth, Axis::Elevation] {
            found.extend(UNITS.map(|(unit, degrees)| World::Unit {
                axis,
                unit,
                degrees,
            }));
            found.push(World::PointedMinutes(axis));
        }
        found
    }

    /// The observations of this world; none when it makes no sense.
    pub fn observe(&self, setting: &Setting<'_>) -> Option<(Vec<Observation>, Station, Sky)> {
        let mut station = setting.station.clone();
        let mut sky = None;
        let mut log = setting.log.clone();
        let mut clock_s = setting.clock_s;
        match self {
            World::Hours(hours) => clock_s += hours * 3600.0,
            World::LongitudeSign => station.site.longitude = -station.site.longitude,
            World::LatitudeSign => station.site.latitude = -station.site.latitude,
            World::SiteSwapped => {
                if station.site.longitude.abs() > Angle::RIGHT {
                    return None;
                }
                std::mem::swap(&mut station.site.latitude, &mut station.site.longitude);
            }
            World::AzimuthReversed => {
                for peak in &mut log.peaks {
                    peak.azimuth = peak.azimuth.map(|a| -a);
                    peak.azimuth_approach = peak.azimuth_approach.reversed();
                }
            }
            World::Exchanged => {
                for peak in &mut log.peaks {
                    std::mem::swap(&mut peak.azimuth, &mut peak.elevation);
                }
            }
            World::Unit { axis, degrees, .. } => {
                for peak in &mut log.peaks {
                    if *axis != Axis::Elevation {
                        peak.azimuth = peak.azimuth.map(|a| a * *degrees);
                    }
                    if *axis != Axis::Azimuth {
                        peak.elevation = peak.elevation.map(|e| e * *degrees);
                    }
                }
            }
            World::PointedMinutes(axis) => {
                for peak in &mut log.peaks {
                    if *axis != Axis::Elevation {
                        peak.azimuth = unpointed(peak.azimuth)?;
                    }
                    if *axis != Axis::Azimuth {
                        peak.elevation = unpointed(peak.elevation)?;
                    }
                }
            }
        }
        if matches!(
            self,
            World::LongitudeSign | World::LatitudeSign | World::SiteSwapped
        ) {
            sky = Some(setting.sky.seen_from(&station));
        }
        let sky = sky.unwrap_or_else(|| setting.sky.clone());
        let found = observe(&station, &sky, &log, clock_s);
        Some((found.usable, station, sky))
    }
}

impl Setting<'_> {
    /// The cases with another clock offset, seconds to add beside the held one; none when an
    /// orbit does not reach there.
    pub fn look_again(&self, clock_s: f64) -> Vec<Case> {
        let found = observe(self.station, self.sky, self.log, self.clock_s + clock_s);
        cases(self.station, self.sky, &found.usable)
    }
}

/// Zones that are not whole hours from UTC, hours.
const BROKEN: [f64; 9] = [3.5, 4.5, 5.5, 5.75, 6.5, 8.75, 9.5, 10.5, 12.75];

/// The time zone, in hours, that a clock offset amounts to: within a minute, for nobody sets a
/// clock so far off by chance.
pub fn zone_of(clock_s: f64) -> Option<f64> {
    const NEAR_S: f64 = 60.0;
    let hours = (1..=14).map(f64::from).chain(BROKEN);
    hours
        .flat_map(|h| [h, -h])
        .find(|h| (clock_s - h * 3600.0).abs() < NEAR_S)
}

/// The unit that a scale error (a fraction, with its standard deviation) amounts to, and how many
/// degrees one of it is.
pub fn unit_of(scale: f64, sigma: f64) -> Option<(&'static str, f64)> {
    const NEAR: f64 = 3.0;
    /// However well it is measured, a gear is seldom exact.
    const LEAST: f64 = 5e-4;
    UNITS
        .into_iter()
        .find(|(_, degrees)| (1.0 + scale - degrees).abs() < (NEAR * sigma).max(LEAST))
}

/// 12.30 as 12 degrees 30 minutes; none when it cannot be that.
fn unpointed(reading: Option<Angle>) -> Option<Option<Angle>> {
    let Some(reading) = reading else {
        return Some(None);
    };
    let degrees = reading.degrees().abs();
    let minutes = (degrees.fract() * 1e6).round() / 1e4;
    if minutes >= 60.0 {
        return None;
    }
    let value = degrees.trunc() + minutes / 60.0;
    Some(Some(Angle::from_degrees(
        value * reading.degrees().signum(),
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pointed_minutes_are_read_as_minutes() {
        let value = unpointed(Some(Angle::from_degrees(-12.30)))
            .unwrap()
            .unwrap();
        assert!((value.degrees() + 12.5).abs() < 1e-9, "{value:?}");
        assert!(unpointed(Some(Angle::from_degrees(12.75))).is_none());
    }
}
