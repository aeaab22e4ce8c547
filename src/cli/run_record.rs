//! The record by which the desk finds a running observation or relay.

use std::path::Path;

use super::{Common, Console};
use crate::outputs::RunRecord;

/// Begins the record beside the station file; a run goes on without one where it cannot be written.
pub fn run_record(
    verb: &str,
    common: &Common,
    (rotator, log, stop_file): (&str, Option<&Path>, Option<&Path>),
    console: &mut Console,
) -> Option<RunRecord> {
    let folder = common.station.parent().unwrap_or(Path::new(""));
    match RunRecord::begin(verb, folder, rotator, log, stop_file) {
        Ok(record) => Some(record),
        Err(why) => {
            console.warning(&format!("plumbeam desk cannot watch this {verb}: {why}"));
            None
        }
    }
}
