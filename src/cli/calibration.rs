//! What `table` and `point` say about the calibration that they use.

use super::Console;
use crate::logbook::{Calibration, TermState};
use crate::station::Station;

/// Says what the user should know before trusting it.
pub fn tell(calibration: &Calibration, station: &Station, console: &mut Console) {
    if calibration.station != station.site.name {
        console.warning(&format!(
            "the calibration is of the station \"{}\", the station file of \"{}\"",
            calibration.station, station.site.name
        ));
    }
    let lost: Vec<&str> = calibration
        .terms
        .iter()
        .filter(|(_, record)| record.state == TermState::NotSeparable)
        .map(|(name, _)| name.as_str())
        .collect();
    if !lost.is_empty() {
        console.warning(&format!(
            "the calibration could not tell {} apart from other terms; where its peaks did not \
             reach, the corrections may be wrong",
            lost.join(", ")
        ));
    }
}
