//! Logs and calibration files.

mod calibration;
mod calibration_faults;
mod calibration_json;
mod calibration_trust;
mod columns;
mod json_place;
mod lines;
mod peak;
mod peaks_csv;
mod plain_row;
mod rows;
mod scan;
mod scans_csv;
mod scans_remarks;
mod scans_write;
mod standing;

pub use calibration::{Calibration, CalibrationPeak, Correlation, FORMAT, TermRecord, TermState};
pub use calibration_faults::{TERMS, ValueUnit, term_quantity};
pub use calibration_trust::{CauseRecord, ExpectedPointingError, SkyPlace, Trust};
pub use columns::{Cell, Columns, OWN_COLUMN};
pub use peak::{Approach, Peak, PeakLog};
pub use peaks_csv::AZIMUTH_READING;
pub use rows::{Row, RowReader};
pub use scan::{MOST_SAMPLES, PowerUnit, Sample, Scan, ScanBuilder};
pub use scans_csv::ScanReader;
pub use scans_write::scans_csv;
pub use standing::Standing;
