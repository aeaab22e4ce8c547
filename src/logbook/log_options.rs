//! What the user says about a log where its text alone has two meanings.

use super::column_names::ColumnNames;
use super::peak::Readings;
use crate::time::{DateOrder, ZoneOffset};

/// What a compass point in a column of approaches is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CompassMeaning {
    /// The side from which the axis came.
    From,
    /// The side toward which it went.
    Toward,
}

/// Said of one or several logs that are read together.
#[derive(Clone, Debug, Default)]
pub struct LogOptions {
    /// Offset from UTC of times that say none.
    pub zone: Option<ZoneOffset>,
    /// Order of day and month in dates that could be read either way.
    pub dates: Option<DateOrder>,
    /// Headers that stand for known columns.
    pub columns: ColumnNames,
    /// The emitter of all rows of a log without a column of emitters.
    pub emitter: Option<String>,
    /// What a compass point in a column of approaches is.
    pub approach: Option<CompassMeaning>,
    /// What the readings are, when the log does not say.
    pub readings: Option<Readings>,
}
