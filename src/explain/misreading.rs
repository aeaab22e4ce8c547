//! Possible misreadings of the log or the station file: another time zone, another site, exchanged
//! columns, another unit. Each such reading of the log is evaluated and fitted in full; this is
//! costly, and tried only when the session as logged is inconsistent.

use crate::angle::Angle;
use crate::logbook::PeakLog;
use crate::mount::{Geometry, Kind};
use crate::sky::Sky;
use crate::station::Station;

use super::fault::{Fault, FaultAxis};
use super::observe::{observe, observe_places};
use super::peak::SessionPeak;
use super::row_causes::UNITS;
use super::session::{Session, session_peaks};

/// Another meaning of a session.
#[derive(Clone, Debug, PartialEq)]
pub enum Misreading {
    /// This many hours to add to the logged times.
    Hours(f64),
    /// The longitude with the other sign.
    LongitudeSign,
    /// The latitude with the other sign.
    LatitudeSign,
    /// Latitude and longitude exchanged.
    SiteSwapped,
    /// The azimuth counted in the opposite direction.
    AzimuthReversed,
    /// Azimuth and elevation exchanged.
    Exchanged,
    /// Readings of an axis in another unit.
    Unit {
        /// The axis.
        axis: FaultAxis,
        /// The unit's name.
        unit: &'static str,
        /// One of it in degrees.
        degrees: f64,
    },
    /// Minutes of arc written after a decimal point: 12.30 for 12 degrees 30 minutes.
    PointedMinutes(FaultAxis),
    /// Elevations counted from the zenith: 90 degrees minus the elevation.
    FromTheZenith,
}

/// The log and the station file as given.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LogReading<'a> {
    /// The station as given.
    pub station: &'a Station,
    /// Its sky.
    pub sky: &'a Sky,
    /// The log as given.
    pub log: &'a PeakLog,
    /// Clock offset held by the user, seconds.
    pub clock_s: f64,
}

impl Misreading {
    /// The fault that it represents.
    pub fn fault(&self) -> Fault {
        match self {
            Misreading::Hours(_) => Fault::TimeZone,
            Misreading::LongitudeSign => Fault::LongitudeSign,
            // It has no name of its own: the site is wrong in its latitude.
            Misreading::LatitudeSign | Misreading::SiteSwapped => Fault::SiteSwapped,
            Misreading::AzimuthReversed => Fault::AzimuthReversed,
            Misreading::Exchanged => Fault::ColumnsExchanged,
            Misreading::Unit { .. } | Misreading::PointedMinutes(_) | Misreading::FromTheZenith => {
                Fault::WrongUnit
            }
        }
    }

    /// All misreadings tried when the session is inconsistent; elevations from the zenith fit as
    /// well as those of a dish driven over the top, and the zeros separate the two.
    pub fn all() -> Vec<Misreading> {
        let whole = (1..=14).map(f64::from);
        let mut found: Vec<Misreading> = (whole.chain(BROKEN))
            .flat_map(|h| [Misreading::Hours(h), Misreading::Hours(-h)])
            .collect();
        found.extend([
            Misreading::LongitudeSign,
            Misreading::LatitudeSign,
            Misreading::SiteSwapped,
            Misreading::AzimuthReversed,
            Misreading::Exchanged,
        ]);
        for axis in [FaultAxis::Both, FaultAxis::Azimuth, FaultAxis::Elevation] {
            found.extend(UNITS.map(|(unit, degrees)| Misreading::Unit {
                axis,
                unit,
                degrees,
            }));
            found.push(Misreading::PointedMinutes(axis));
        }
        found
    }

    /// The log, station and sky under this reading; `None` when it is impossible.
    fn reread(&self, setting: &LogReading<'_>) -> Option<(PeakLog, Station, Option<Sky>)> {
        let mut station = setting.station.clone();
        let mut log = setting.log.clone();
        let mut sky = None;
        if *self == Misreading::FromTheZenith && !station.mount.kind().has_track() {
            // Declination and Y are not counted from the horizon.
            return None;
        }
        match self {
            Misreading::Hours(hours) => {
                for peak in &mut log.peaks {
                    peak.time = peak.time.plus_seconds(hours * 3600.0);
                }
            }
            Misreading::LongitudeSign => station.site.longitude = -station.site.longitude,
            Misreading::LatitudeSign => station.site.latitude = -station.site.latitude,
            Misreading::SiteSwapped => {
                if station.site.longitude.abs() > Angle::RIGHT {
                    return None;
                }
                std::mem::swap(&mut station.site.latitude, &mut station.site.longitude);
            }
            Misreading::AzimuthReversed => {
                for peak in &mut log.peaks {
                    peak.azimuth = peak.azimuth.map(|a| -a);
                    peak.azimuth_approach = peak.azimuth_approach.reversed();
                }
            }
            Misreading::Exchanged => {
                for peak in &mut log.peaks {
                    std::mem::swap(&mut peak.azimuth, &mut peak.elevation);
                }
            }
            Misreading::FromTheZenith => {
                for peak in &mut log.peaks {
                    peak.elevation = peak.elevation.map(|e| Angle::RIGHT - e);
                    peak.elevation_approach = peak.elevation_approach.reversed();
                }
            }
            Misreading::Unit { axis, degrees, .. } => {
                for peak in &mut log.peaks {
                    if *axis != FaultAxis::Elevation {
                        peak.azimuth = peak.azimuth.map(|a| a * *degrees);
                    }
                    if *axis != FaultAxis::Azimuth {
                        peak.elevation = peak.elevation.map(|e| e * *degrees);
                    }
                }
            }
            Misreading::PointedMinutes(axis) => {
                for peak in &mut log.peaks {
                    if *axis != FaultAxis::Elevation {
                        peak.azimuth = unpointed(peak.azimuth)?;
                    }
                    if *axis != FaultAxis::Azimuth {
                        peak.elevation = unpointed(peak.elevation)?;
                    }
                }
            }
        }
        if let Kind::Polar(_) = station.mount.kind() {
            // The axis of a polar mount is tilted by the latitude.
            station.mount.geometry = Geometry::polar(station.site.latitude);
        }
        if matches!(
            self,
            Misreading::LongitudeSign | Misreading::LatitudeSign | Misreading::SiteSwapped
        ) {
            sky = Some(setting.sky.seen_from(&station));
        }
        Some((log, station, sky))
    }

    /// A session with its peaks under this reading, and the mount geometry that follows from it;
    /// `None` when it is impossible.
    pub(crate) fn applied(&self, session: &Session, setting: &LogReading<'_>) -> Option<Session> {
        let (log, station, other) = self.reread(setting)?;
        let sky = other.as_ref().unwrap_or(setting.sky);
        let found = observe(&station, sky, &log, setting.clock_s);
        let peaks = session_peaks(&station, Some(sky), &found.usable);
        session.read_otherwise(peaks, station.mount.geometry)
    }

    /// The same with readings and positions only: enough for a first fit.
    pub(crate) fn placed(&self, session: &Session, setting: &LogReading<'_>) -> Option<Session> {
        let (log, station, other) = self.reread(setting)?;
        let sky = other.as_ref().unwrap_or(setting.sky);
        let found = observe_places(&station, sky, &log, setting.clock_s);
        let peaks = session_peaks(&station, None, &found.usable);
        session.read_otherwise(peaks, station.mount.geometry)
    }
}

impl LogReading<'_> {
    /// The session's peaks as logged, for another clock offset in seconds.
    pub fn peaks_at(&self, clock_s: f64) -> Vec<SessionPeak> {
        let found = observe(self.station, self.sky, self.log, clock_s);
        session_peaks(self.station, Some(self.sky), &found.usable)
    }
}

/// Time zones in use that are not whole hours from UTC, hours either way; from memory.
const BROKEN: [f64; 9] = [3.5, 4.5, 5.5, 5.75, 6.5, 8.75, 9.5, 10.5, 12.75];

/// The time zone, in hours, that a clock offset corresponds to, within a minute: no clock is off by
/// that much by chance.
pub fn zone_of(clock_s: f64) -> Option<f64> {
    /// A minute: no clock is off by a whole zone to within a minute by chance.
    const NEAR_S: f64 = 60.0;
    let hours = (1..=14).map(f64::from).chain(BROKEN);
    hours
        .flat_map(|h| [h, -h])
        .find(|h| (clock_s - h * 3600.0).abs() < NEAR_S)
}

/// The unit that a scale error (a fraction, with its standard deviation) corresponds to, and its
/// size in degrees.
pub fn unit_of(scale: f64, sigma: f64) -> Option<(&'static str, f64)> {
    /// The usual three sigmas.
    const NEAR: f64 = 3.0;
    /// Even if the scale is measured better, a gear ratio is seldom set more exactly; common
    /// practice, no source.
    const LEAST: f64 = 5e-4;
    UNITS
        .into_iter()
        .find(|(_, degrees)| (1.0 + scale - degrees).abs() < (NEAR * sigma).max(LEAST))
}

/// 12.30 as 12 degrees 30 minutes; `None` when it cannot be that.
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
