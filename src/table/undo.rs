//! A log of positions that went through a calibration: directions of the beam turned back into what
//! the encoders read.

use super::demand::Demand;
use super::full::FullModel;
use crate::angle::{Angle, EncoderReading};
use crate::logbook::{Approach, Peak, PeakLog, Readings};
use crate::mount::ApproachSigns;
use crate::problem::{Problem, Problems};

/// Turns the readings of one of the logs that were read together back, with the model through which
/// they went; that log's readings are then those of the encoders.
///
/// # Errors
/// Every peak for which that cannot be done: one that gives one axis only, or none that the mount
/// can reach.
pub fn undo(log: &mut PeakLog, index: usize, full: &FullModel) -> Result<(), Problems> {
    let mut problems = Problems::new();
    let file = log.files.get(index).cloned().unwrap_or_default();
    for peak in log.peaks.iter_mut().filter(|peak| peak.log == index) {
        match reading(peak, full) {
            Ok(reading) => {
                peak.azimuth = Some(reading.azimuth);
                peak.elevation = Some(reading.elevation);
            }
            Err(found) => problems.push(
                Problem::of_file(&file, found, "azimuth and elevation of the beam")
                    .at(peak.line, 1)
                    .mend("leave the row out (use = no does not help), or log encoder readings"),
            ),
        }
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    if let Some(readings) = log.readings.get_mut(index) {
        *readings = Readings::Encoder;
    }
    Ok(())
}

fn reading(peak: &Peak, full: &FullModel) -> Result<EncoderReading, String> {
    let (Some(azimuth), Some(elevation)) = (peak.azimuth, peak.elevation) else {
        return Err(
            "one axis only, and the correction of each depends on both: it cannot be undone"
                .to_owned(),
        );
    };
    let sign = |approach| match approach {
        Approach::Increasing => 1.0,
        Approach::Decreasing => -1.0,
        Approach::Unknown => 0.0,
    };
    let signs = ApproachSigns {
        azimuth: sign(peak.azimuth_approach),
        elevation: sign(peak.elevation_approach),
    };
    let near = EncoderReading { azimuth, elevation };
    // Beyond the zenith is the other side of the sky.
    let demand = match elevation > Angle::RIGHT {
        _ if !full.mount.kind().is_az_el() => full.coordinates().demand(azimuth, elevation),
        true => Demand {
            azimuth: azimuth + Angle::HALF_TURN,
            elevation: Angle::HALF_TURN - elevation,
        },
        false => Demand { azimuth, elevation },
    };
    full.command(demand, signs, Some(near))
        .map_err(|refusal| format!("a direction that cannot be turned back: {refusal}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mount::{MountModel, Term, TermValues};
    use crate::table::{Air, EncoderRange};

    #[test]
    fn what_the_relay_tells_is_turned_back_into_what_the_encoders_read() {
        /// Of the inverse of the mount model.
        const ROUNDING_DEG: f64 = 1e-8;
        let d = Angle::from_degrees;
        let full = FullModel {
            mount: MountModel::az_el(
                TermValues::ZERO
                    .with_shown(Term::AzimuthZero, 3.0)
                    .with_shown(Term::TiltNorth, 0.4)
                    .with_shown(Term::ElevationBacklash, 0.3),
            ),
            air: Air::Included,
            range: EncoderRange {
                azimuth: (d(-180.0), d(540.0)),
                elevation: (d(0.0), d(90.0)),
            },
        };
        let station =
            crate::station::Station::read(std::path::Path::new("demo-data/station.toml")).unwrap();
        let encoders = [(100.0, 30.0), (-170.0, 70.0), (300.0, 12.0)];
        let mut text = "# readings = corrected:1a2b3c4d\n\
                        time_utc,emitter,azimuth_deg,elevation_deg,elevation_approach\n"
            .to_owned();
        for (azimuth, elevation) in encoders {
            let signs = ApproachSigns {
                azimuth: 0.0,
                elevation: -1.0,
            };
            let at = EncoderReading::from_degrees(azimuth, elevation);
            let beam = full.mount.beam(at, signs);
            let near = beam.azimuth().nearest_turn_to(at.azimuth);
            text.push_str(&format!(
                "2026-09-12T10:00:00Z,sun,{},{},-\n",
                near.degrees(),
                beam.elevation().degrees()
            ));
        }
        let mut log = PeakLog::parse("p.csv", text.as_bytes(), &station).unwrap();
        assert_eq!(log.readings, [Readings::Corrected("1a2b3c4d".to_owned())]);
        undo(&mut log, 0, &full).unwrap();
        assert_eq!(log.readings, [Readings::Encoder]);
        for (peak, (azimuth, elevation)) in log.peaks.iter().zip(encoders) {
            assert!((peak.azimuth.unwrap().degrees() - azimuth).abs() < ROUNDING_DEG);
            assert!((peak.elevation.unwrap().degrees() - elevation).abs() < ROUNDING_DEG);
        }
        log.peaks[1].azimuth = None;
        let told = undo(&mut log, 0, &full).unwrap_err().to_string();
        assert!(told.contains("p.csv:4:1: one axis only"), "{told}");
    }
}
