//! Logs and calibration files.

mod calibration;
mod calibration_json;
mod columns;
mod lines;
mod peak;
mod peaks_csv;
mod rows;

pub use calibration::{Calibration, CalibrationPeak, Correlation, FORMAT, TermRecord, TermState};
pub use columns::{Cell, Columns, OWN_COLUMN};
pub use peak::{Approach, Peak, PeakLog};
pub use rows::{Row, RowReader};
