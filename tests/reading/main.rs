//! Readers of files: what they take, what they refuse, and in which words.

mod calibration_messages;
mod fuzz;
mod peaks_messages;
mod readers_properties;
mod station_messages;
mod station_reading;
#[path = "../../fuzz/targets.rs"]
mod targets;
