//! Between mount terms and their records in a calibration file.
