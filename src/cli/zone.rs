//! Times on the command line, and local time beside UTC.

use std::str::FromStr;

use clap::Args as ClapArgs;

use crate::problem::{Error, printable};
use crate::time::{TimeTextError, Utc, ZoneOffset};

/// `--zone`.
#[derive(ClapArgs, Clone, Copy, Debug)]
pub struct ZoneOption {
    /// Your clock's offset from UTC: local time is shown next to UTC, and times given without Z or
    /// an offset are local ones
    #[arg(long, value_name = "+HH:MM", allow_hyphen_values = true)]
    pub zone: Option<ZoneOffset>,
}

impl ZoneOption {
    /// The instant that was given to an option, if one was.
    ///
    /// # Errors
    /// A time that says neither itself nor by `--zone` how far it is from UTC.
    pub fn instant(self, option: &str, given: &Option<Instant>) -> Result<Option<Utc>, Error> {
        let text = match given {
            None => return Ok(None),
            Some(Instant::Utc(time)) => return Ok(Some(*time)),
            Some(Instant::Local(text)) => text,
        };
        let Some(zone) = self.zone else {
            return Err(Error::Usage(format!(
                "{option} {}: the time {}\n  help: add Z if it is UTC, or say your clock's offset, \
                 such as --zone +02:00",
                printable(text),
                TimeTextError::NoZone
            )));
        };
        Utc::parse(&format!("{text}{zone}"))
            .map(Some)
            .map_err(|e| Error::Usage(format!("{option} {}: the time {e}", printable(text))))
    }
}

/// A time as given: an instant, or what a clock on the wall shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Instant {
    /// With Z or an offset.
    Utc(Utc),
    /// Without.
    Local(String),
}

impl FromStr for Instant {
    type Err = TimeTextError;
    fn from_str(text: &str) -> Result<Instant, TimeTextError> {
        match Utc::parse(text) {
            Ok(time) => Ok(Instant::Utc(time)),
            Err(TimeTextError::NoZone) => Ok(Instant::Local(text.trim().to_owned())),
            Err(other) => Err(other),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_local_time_needs_the_zone_and_an_instant_does_not() {
        let read = |text: &str, zone: Option<&str>| {
            let zone = zone.map(|z| z.parse().unwrap());
            let given = Some(text.parse::<Instant>().unwrap());
            ZoneOption { zone }.instant("--at", &given)
        };
        let noon = Utc::parse("2026-09-12T12:00:00Z").unwrap();
        let found = |r: Result<Option<Utc>, Error>| r.unwrap().unwrap();
        assert_eq!(found(read("2026-09-12T23:00", Some("+11:00"))), noon);
        assert_eq!(found(read("2026-09-12T14:00+02:00", Some("+11:00"))), noon);
        assert_eq!(found(read("2026-09-12T12:00Z", None)), noon);
        let refused = read("2026-09-12T12:00", None).unwrap_err();
        assert_eq!(refused.exit_code(), 2);
        assert!(refused.to_string().contains("--zone +02:00"), "{refused}");
        assert!("noon".parse::<Instant>().is_err());
    }
}
