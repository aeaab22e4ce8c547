//! How verbs take a calibration, and what they say about it.

use std::path::Path;

use clap::Args as ClapArgs;

use super::Console;
pub use crate::corrected::full_model;
use crate::logbook::{Calibration, Standing};
use crate::problem::{Error, printable};
use crate::station::Station;
use crate::table::FullModel;

/// `--feed`.
#[derive(ClapArgs, Clone, Debug)]
pub struct FeedOption {
    /// With which feed of the station file to point; the first, if not given
    #[arg(long, value_name = "NAME")]
    pub feed: Option<String>,
}

impl FeedOption {
    /// The full model as it points with that feed.
    ///
    /// # Errors
    /// A feed that the station does not have, or that the calibration does not know.
    pub fn of(
        &self,
        full: FullModel,
        calibration: &Calibration,
        station: &Station,
    ) -> Result<FullModel, Error> {
        let Some(name) = &self.feed else {
            return Ok(full);
        };
        let Some(place) = station.feed(name) else {
            let names: Vec<&str> = station.feeds.iter().map(|f| f.name.as_str()).collect();
            let help = match names.is_empty() {
                true => "it has none: add [[feed]] sections, that of [dish] first".to_owned(),
                false => format!("it has {}", names.join(", ")),
            };
            return Err(Error::Usage(format!(
                "the station file has no feed {}\n  help: {help}",
                printable(name)
            )));
        };
        if place == 0 {
            return Ok(full);
        }
        match calibration.feed(name) {
            Some(offset) => Ok(FullModel {
                mount: full.mount.with_feed(offset),
                ..full
            }),
            None => Err(Error::Unsupported(format!(
                "the calibration does not tell where the beam of the feed {} lies\n  help: take peaks \
                 with it and with the feed {}, its name in the column feed, and solve them together",
                printable(name),
                station.feeds[0].name
            ))),
        }
    }
}

/// `--anyway`.
#[derive(ClapArgs, Clone, Copy, Debug)]
pub struct TrustOption {
    /// Use a calibration even if it is of another station, or states that its numbers mean
    /// nothing
    #[arg(long)]
    pub anyway: bool,
}

impl TrustOption {
    /// Reads a calibration that may be used at this station, and says what must be known of it.
    ///
    /// # Errors
    /// As [`Calibration::read`]; [`Error::Unsupported`] when it must not be used.
    pub fn read(
        self,
        path: &Path,
        station: &Station,
        console: &mut Console,
    ) -> Result<Calibration, Error> {
        let calibration = Calibration::read(path)?;
        let standing = calibration.standing(&station.site.name, station.mount.kind());
        self.allow(path, &standing, console)?;
        Ok(calibration)
    }

    /// Allows the use of a file's content, and says what must be known about it.
    ///
    /// # Errors
    /// [`Error::Unsupported`] when it must not be used.
    pub fn allow(
        self,
        path: &Path,
        standing: &Standing,
        console: &mut Console,
    ) -> Result<(), Error> {
        if !self.anyway {
            refuse(path, standing, "go on with --anyway if you know better")?;
        }
        for caveat in standing.caveats() {
            console.warning(&caveat);
        }
        Ok(())
    }
}

/// Refuses what must not be used; `otherwise` says what else can be done.
///
/// # Errors
/// [`Error::Unsupported`].
pub fn refuse(path: &Path, standing: &Standing, otherwise: &str) -> Result<(), Error> {
    match standing.refusal() {
        None => Ok(()),
        Some(why) => Err(Error::Unsupported(format!(
            "{}: {why}\n  help: take the calibration of this station, or correct what it reports \
             and solve again; {otherwise}",
            printable(&path.display().to_string())
        ))),
    }
}
