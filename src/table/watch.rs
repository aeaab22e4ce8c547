//! Notices that a calibration or table file has changed and reads it again.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crate::files::Stamp;
use crate::problem::Error;

use super::pointer::Source;

/// How often at most the file is looked at.
const INTERVAL: Duration = Duration::from_millis(200);

/// A file and how to make a [`Source`] of it.
pub struct Watch<'a> {
    path: PathBuf,
    load: &'a dyn Fn() -> Result<Source, Error>,
    seen: Option<Stamp>,
    looked: Instant,
}

impl<'a> Watch<'a> {
    /// Of a file as it is now.
    pub fn new(path: &Path, load: &'a dyn Fn() -> Result<Source, Error>) -> Watch<'a> {
        Watch {
            path: path.to_owned(),
            load,
            seen: Stamp::of(path),
            looked: Instant::now(),
        }
    }

    /// The file as the user named it.
    pub fn name(&self) -> String {
        self.path.display().to_string()
    }

    /// What the file holds now, if it changed since it was last read and it is time to look.
    pub fn changed(&mut self) -> Option<Result<Source, Error>> {
        if self.looked.elapsed() < INTERVAL {
            return None;
        }
        self.looked = Instant::now();
        if Stamp::of(&self.path) == self.seen {
            return None;
        }
        Some(self.read())
    }

    /// Reads it now.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(&mut self) -> Result<Source, Error> {
        // Looked at before reading: a change in between is seen the next time.
        self.seen = Stamp::of(&self.path);
        self.looked = Instant::now();
        (self.load)()
    }
}
