//! What the user specifies about a log whose text alone is ambiguous.

use super::column_names::ColumnNames;
use super::peak::Readings;
use crate::time::{DateOrder, ZoneOffset};

/// Meaning of a compass point in a column of approaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CompassMeaning {
    /// The direction from which the axis came.
    From,
    /// The direction toward which it moved.
    Toward,
}

/// Options for one or several logs that are read together.
#[derive(Clone, Debug, Default)]
pub struct LogOptions {
    /// Offset from UTC of times without a zone.
    pub zone: Option<ZoneOffset>,
    /// Order of day and month in ambiguous dates.
    pub dates: Option<DateOrder>,
    /// Headers assigned to known columns.
    pub columns: ColumnNames,
    /// Emitter of all rows of a log without an emitter column.
    pub emitter: Option<String>,
    /// Meaning of a compass point in a column of approaches.
    pub approach: Option<CompassMeaning>,
    /// What the readings are, if the log does not say.
    pub readings: Option<Readings>,
}
