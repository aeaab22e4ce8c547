//! `calibration.json`
