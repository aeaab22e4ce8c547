//! Logs and calibration files.

mod angles;
mod axes;
mod axis_reading;
mod calibration;
mod calibration_faults;
mod calibration_json;
mod calibration_trust;
mod cell;
mod column_names;
mod column_option;
mod emitter_names;
mod json_place;
mod log_options;
mod peak;
mod peak_rows;
mod peaks_csv;
mod peaks_read;
mod peaks_write;
mod plain_row;
mod scan;
mod scan_begin;
mod scan_columns;
mod scan_options;
mod scan_rows;
mod scan_source;
mod scans_csv;
mod scans_remarks;
mod scans_write;
mod standing;
mod sweeps;
mod table;
mod term_names;

pub use angles::Angles;
pub use axes::{AZIMUTH_READING, Axes, keyed, reading_of};
pub use calibration::{
    Calibration, CalibrationPeak, Correlation, FORMAT, JoinedFrom, LowerAxisRecord, MountRecord,
    TermRecord, TermState, checksum, residual_keys,
};
pub use calibration_faults::{ValueUnit, term_quantity};
pub use calibration_trust::{CauseRecord, ExpectedPointingError, SkyPlace, Trust};
pub use column_names::ColumnNames;
pub use log_options::{CompassMeaning, LogOptions};
pub use peak::{Approach, Peak, PeakLog, Readings};
pub use peak_rows::SIGMA as PEAK_SIGMA;
pub use peaks_read::questions;
pub use scan::{MOST_SAMPLES, PowerUnit, Sample, Scan, ScanBuilder};
pub use scan_options::ScanOptions;
pub use scans_csv::ScanReader;
pub use scans_write::scans_csv;
pub use standing::Standing;
pub use sweeps::Band;
pub use table::{Dialect, OWN_COLUMN, Question, Row, RowReader};
pub use term_names::{holdable, term_named, terms_named};
