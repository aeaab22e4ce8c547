//! Logs and calibration files.

mod calibration;
mod peak;

pub use calibration::{Calibration, CalibrationPeak, Correlation, FORMAT, TermRecord, TermState};
pub use peak::{Approach, Peak, PeakLog};
