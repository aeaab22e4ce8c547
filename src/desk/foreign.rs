//! How to read a log from another source, and where its file is.

use std::ffi::OsStr;
use std::path::{Component, Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::logbook::{ColumnNames, CompassMeaning, LogOptions, Readings};
use crate::problem::Error;
use crate::text::quoted;
use crate::time::{DateOrder, ZoneOffset};

/// Answers for a log whose text is ambiguous: options of the command line, as written there.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct LogAnswers {
    /// Offset from UTC of times without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// Order of day, month and year.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dates: Option<String>,
    /// Headers to read as known columns.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub columns: Option<String>,
    /// The emitter of all rows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub emitter: Option<String>,
    /// Meaning of a compass point in a column of approaches: `from` or `toward`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub approach: Option<String>,
    /// What the readings are.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub readings: Option<String>,
}

impl LogAnswers {
    /// The equivalent options of the readers.
    ///
    /// # Errors
    /// A text that its option does not accept, in words.
    pub fn options(&self) -> Result<LogOptions, String> {
        let dates = |text: &String| {
            DateOrder::ALL
                .into_iter()
                .find(|order| order.name() == text)
                .ok_or_else(|| format!("{text:?} is no order of day, month and year"))
        };
        let approach = |text: &String| match text.as_str() {
            "from" => Ok(CompassMeaning::From),
            "toward" => Ok(CompassMeaning::Toward),
            _ => Err(format!("{text:?} is neither from nor toward")),
        };
        Ok(LogOptions {
            zone: (self.zone.as_deref()).map(ZoneOffset::parse).transpose()?,
            dates: self.dates.as_ref().map(dates).transpose()?,
            columns: (self.columns.as_deref())
                .map(ColumnNames::parse)
                .transpose()?
                .unwrap_or_default(),
            emitter: self.emitter.clone(),
            approach: self.approach.as_ref().map(approach).transpose()?,
            readings: (self.readings.as_deref())
                .map(Readings::parse)
                .transpose()?,
        })
    }
}

/// The path of a file named by a page, which must be directly in the session's folder.
///
/// # Errors
/// [`Error::Usage`] for a name that points elsewhere.
pub fn inside(folder: &Path, file: &str) -> Result<PathBuf, Error> {
    let mut parts = Path::new(file).components();
    let plain = matches!(
        (parts.next(), parts.next()),
        (Some(Component::Normal(name)), None) if name == OsStr::new(file)
    );
    let path = folder.join(file);
    let is_file = || std::fs::symlink_metadata(&path).is_ok_and(|m| m.is_file());
    match plain && !file.contains(['/', '\\', ':', '\0']) && is_file() {
        true => Ok(path),
        false => Err(Error::Usage(format!(
            "{} is no file in the folder of this session",
            quoted(file)
        ))),
    }
}

impl LogAnswers {
    /// The same answers with one more.
    pub(super) fn with(&self, option: &str, value: &str) -> LogAnswers {
        let mut told = self.clone();
        let place = match option {
            "zone" => &mut told.zone,
            "dates" => &mut told.dates,
            "columns" => &mut told.columns,
            "emitter" => &mut told.emitter,
            "approach" => &mut told.approach,
            _ => &mut told.readings,
        };
        // Headers may be given one after the other.
        *place = match (option, place.take()) {
            ("columns", Some(before)) => Some(format!("{before},{value}")),
            _ => Some(value.to_owned()),
        };
        told
    }
}
