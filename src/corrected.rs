//! Converts logs of calibrated positions back to encoder readings.

use std::path::{Path, PathBuf};

use crate::logbook::{Calibration, PeakLog, Readings, checksum};
use crate::problem::{Error, printable};
use crate::solve::record::model_of;
use crate::station::Station;
use crate::table::{Air, DemandKind, EncoderRange, FullModel, undo};

/// Suffix of the checksum if positions were logged without refraction.
pub const GEOMETRIC: &str = "-geometric";

/// The full model of a calibration at its station.
///
/// # Errors
/// As [`model_of`].
pub fn full_model(
    calibration: &Calibration,
    station: &Station,
    kind: DemandKind,
) -> Result<FullModel, Error> {
    if calibration.kind() != station.mount.kind() {
        // Ranges and grids of one kind of mount are meaningless for another, whatever the user
        // insists on.
        return Err(Error::Unsupported(format!(
            "the calibration is of a mount of kind {}, the station file of one of kind {}",
            calibration.kind(),
            station.mount.kind()
        )));
    }
    Ok(FullModel {
        mount: model_of(calibration)?,
        air: Air::for_demand(kind, station.site.weather),
        range: EncoderRange {
            azimuth: station.mount.azimuth_range,
            elevation: station.mount.elevation_range,
        },
    })
}

/// Converts the positions of every log made with a calibration back to encoder readings, using that
/// calibration: one of the files `named`, or one in the `folders`. Returns what was done, in words.
///
/// # Errors
/// [`Error::Unsupported`] if the calibration is not found or belongs to another station; or the
/// peaks that cannot be converted.
pub fn encoder_readings(
    log: &mut PeakLog,
    station: &Station,
    named: &[&Path],
    folders: &[PathBuf],
) -> Result<Vec<String>, Error> {
    let mut done = Vec::new();
    for index in 0..log.readings.len() {
        let Readings::Corrected(said) = log.readings[index].clone() else {
            continue;
        };
        let file = log.files.get(index).cloned().unwrap_or_default();
        let (sum, kind) = match said.strip_suffix(GEOMETRIC) {
            Some(sum) => (sum, DemandKind::Geometric),
            None => (said.as_str(), DemandKind::Apparent),
        };
        let Some((path, bytes)) = at_hand(sum, named, folders) else {
            return Err(Error::Unsupported(format!(
                "{file}: its positions are directions corrected by the calibration with checksum \
                 {}, which was not found: what the encoders read is not known\n  help: put that \
                 calibration beside the log; or, if they are encoder readings after all, say so in \
                 the log: # readings = encoder",
                printable(sum)
            )));
        };
        let name = path.display().to_string();
        let calibration = Calibration::parse(&name, &bytes)?;
        if calibration.station != station.site.name {
            return Err(Error::Unsupported(format!(
                "{file}: its positions were corrected by {}, which is of the station {}",
                printable(&name),
                printable(&calibration.station)
            )));
        }
        let full = full_model(&calibration, station, kind)?;
        undo(log, index, &full)?;
        done.push(format!(
            "{file}: its positions, corrected by {}, were turned back into encoder readings",
            printable(&name)
        ));
    }
    Ok(done)
}

/// Finds the calibration file with that checksum.
fn at_hand(sum: &str, named: &[&Path], folders: &[PathBuf]) -> Option<(PathBuf, Vec<u8>)> {
    /// Maximum size of a calibration file, bytes: far more than the longest session needs.
    const LARGEST: u64 = 256 << 20;
    let mut files: Vec<PathBuf> = named.iter().map(|path| path.to_path_buf()).collect();
    for folder in folders {
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        let json = entries
            .map(|entry| entry.path())
            .filter(|path| path.extension().is_some_and(|e| e == "json"));
        files.extend(json);
    }
    files.into_iter().find_map(|path| {
        let small = std::fs::metadata(&path).is_ok_and(|m| m.is_file() && m.len() < LARGEST);
        let bytes = small.then(|| std::fs::read(&path).ok()).flatten()?;
        (checksum(&bytes) == sum).then_some((path, bytes))
    })
}
