//! Notices that a calibration or table file has changed, reads it again, and judges whether it may
//! take the place of the old one.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crate::angle::{Angle, EncoderReading};
use crate::files::Stamp;
use crate::problem::{Error, printable};

use super::correction_table::short;
use super::header::in_words;
use super::jump::{Jump, WITHOUT_BEAM};
use super::pointer::Source;

/// How often at most the file is examined: at once to a person, and it costs nothing.
const INTERVAL: Duration = Duration::from_millis(200);

/// What a file gave.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// What to compute with.
    pub source: Source,
    /// Half-power width of the beam, when it is known.
    pub beamwidth: Option<Angle>,
    /// What must be known of it, a sentence each.
    pub caveats: Vec<String>,
}

/// Reads and judges the file.
pub type Load<'a> = dyn Fn() -> Result<Loaded, Error> + 'a;

/// A file and how to make a [`Source`] of it.
pub struct CalibrationWatch<'a> {
    path: PathBuf,
    load: &'a Load<'a>,
    seen: Option<Stamp>,
    looked: Option<Instant>,
    /// The state of the file whose jump was refused and may be confirmed.
    refused: Option<Stamp>,
    /// What confirms it, in words.
    confirmed_by: &'static str,
}

impl<'a> CalibrationWatch<'a> {
    /// Of a file that was read when it was as `seen` says.
    pub fn new(path: &Path, seen: Option<Stamp>, load: &'a Load<'a>) -> CalibrationWatch<'a> {
        CalibrationWatch {
            path: path.to_owned(),
            load,
            seen,
            looked: None,
            refused: None,
            confirmed_by: "a line `confirm`",
        }
    }

    /// The same, confirmed by something else than a line of a stream.
    #[must_use]
    pub fn confirmed_by(mut self, what: &'static str) -> CalibrationWatch<'a> {
        self.confirmed_by = what;
        self
    }

    /// Whether a file was refused for its jump and waits to be confirmed.
    pub fn waits(&self) -> bool {
        self.refused.is_some()
    }

    /// The file as the user named it, safe to print.
    pub fn name(&self) -> String {
        printable(&self.path.display().to_string())
    }

    /// What the file holds now, if it changed since it was last read and it is time to look.
    pub fn changed(
        &mut self,
        old: &Source,
        present: Option<EncoderReading>,
    ) -> Option<Result<Loaded, String>> {
        if self.looked.is_some_and(|at| at.elapsed() < INTERVAL) {
            return None;
        }
        self.looked = Some(Instant::now());
        if Stamp::of(&self.path) == self.seen {
            return None;
        }
        Some(self.read(old, present))
    }

    /// Reads it now, and refuses it when the readings would jump by more than a beamwidth.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(
        &mut self,
        old: &Source,
        present: Option<EncoderReading>,
    ) -> Result<Loaded, String> {
        self.refused = None;
        let loaded = self.load()?;
        let limit = loaded.beamwidth.unwrap_or(WITHOUT_BEAM);
        let limit_words = match loaded.beamwidth {
            Some(_) => format!("the beamwidth of {} deg", in_words(limit.degrees())),
            None => format!("{} deg", short(limit)),
        };
        let jump = Jump::between(old, &loaded.source, present);
        if jump.is_some_and(|jump| jump.largest <= limit) {
            return Ok(loaded);
        }
        self.refused = self.seen;
        Err(match jump {
            Some(jump) => format!(
                "{} moves the readings by up to {} deg on the sky (at azimuth {} and elevation {}), \
                 more than {limit_words}; {} accepts it anyway",
                self.name(),
                in_words(jump.largest.degrees()),
                short(jump.at.azimuth),
                short(jump.at.elevation),
                self.confirmed_by
            ),
            None => format!(
                "{} answers no demand that the old one answers; {} accepts it anyway",
                self.name(),
                self.confirmed_by
            ),
        })
    }

    /// Takes the file whose jump was refused. If it has changed since then, it is judged again.
    ///
    /// # Errors
    /// When nothing waits to be confirmed, and what is wrong with the file.
    pub fn confirm(
        &mut self,
        old: &Source,
        present: Option<EncoderReading>,
    ) -> Result<Loaded, String> {
        match self.refused.take() {
            None => Err("nothing waits to be confirmed".to_owned()),
            Some(refused) if Stamp::of(&self.path) != Some(refused) => self.read(old, present),
            Some(refused) => {
                let loaded = self.load()?;
                // Changed while it was read: the jump that was reported is not that of this file.
                if self.seen != Some(refused) {
                    return self.read(old, present);
                }
                Ok(loaded)
            }
        }
    }

    fn load(&mut self) -> Result<Loaded, String> {
        // Looked at before reading: a change in between is seen the next time.
        self.seen = Stamp::of(&self.path);
        self.looked = Some(Instant::now());
        (self.load)().map_err(|error| {
            // One line, whatever the message.
            let lines: Vec<String> = (error.to_string().lines())
                .map(|line| line.trim().to_owned())
                .collect();
            lines.join("; ")
        })
    }
}
