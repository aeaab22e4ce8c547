//! What `table` and `point` make of a calibration and say about it.

use super::Console;
use crate::logbook::{Calibration, TermState};
use crate::problem::Error;
use crate::solve::record::model_of;
use crate::station::Station;
use crate::table::{Air, DemandKind, EncoderRange, FullModel};

/// The full model of a calibration at its station.
///
/// # Errors
/// As [`model_of`].
pub fn full_model(
    calibration: &Calibration,
    station: &Station,
    kind: DemandKind,
) -> Result<FullModel, Error> {
    Ok(FullModel {
        mount: model_of(calibration)?,
        air: Air::for_demand(kind, station.site.weather),
        range: EncoderRange {
            azimuth: station.mount.azimuth_range,
            elevation: station.mount.elevation_range,
        },
    })
}

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
