//! Logs whose positions went through a calibration: the verbs that take peaks undo it.

use std::path::{Path, PathBuf};

use super::Console;
use super::calibration::full_model;
use crate::logbook::{Calibration, PeakLog, Readings, checksum};
use crate::mount::Term;
use crate::problem::{Error, printable};
use crate::station::Station;
use crate::table::{DemandKind, undo};

/// What stands behind the checksum when positions were given without the bending of the air.
pub const GEOMETRIC: &str = "-geometric";

/// Turns the positions of every log that went through a calibration back into encoder readings,
/// with that calibration: one of the files `named`, or one beside them or in the present folder.
///
/// # Errors
/// [`Error::Unsupported`] when it is not at hand or another station's; peaks for which it cannot be
/// done.
pub fn encoder_readings(
    log: &mut PeakLog,
    station: &Station,
    named: &[&Path],
    console: &mut Console,
) -> Result<(), Error> {
    for index in 0..log.readings.len() {
        let Readings::Corrected(said) = log.readings[index].clone() else {
            continue;
        };
        let file = log.files.get(index).cloned().unwrap_or_default();
        let (sum, kind) = match said.strip_suffix(GEOMETRIC) {
            Some(sum) => (sum, DemandKind::Geometric),
            None => (said.as_str(), DemandKind::Apparent),
        };
        let Some((path, bytes)) = at_hand(sum, named) else {
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
        console.note(&format!(
            "{file}: its positions, corrected by {}, were turned back into encoder readings",
            printable(&name)
        ));
    }
    Ok(())
}

/// The calibration file with that checksum.
fn at_hand(sum: &str, named: &[&Path]) -> Option<(PathBuf, Vec<u8>)> {
    /// A larger file, in bytes, is not a calibration: far beyond that of the longest session.
    const LARGEST: u64 = 256 << 20;
    let mut files: Vec<PathBuf> = named.iter().map(|path| path.to_path_buf()).collect();
    let mut folders = vec![PathBuf::from(".")];
    for path in named {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        folders.extend(folder.map(Path::to_path_buf));
    }
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

/// What must be known when a log that does not say what its readings are gives zeros of 0, and
/// an earlier calibration beside it has others: probably its positions went through that.
pub fn suspicion(log: &PeakLog, found: &Calibration, earlier: &Path) -> Option<String> {
    /// Zeros within this, degrees, are set well: nothing is left for a calibration to undo. Common
    /// practice, no source.
    const NOUGHT_DEG: f64 = 0.1;
    /// A zero this many times larger, or this many sigmas from zero, is no chance: the usual three.
    const TIMES: f64 = 3.0;
    let zero = |calibration: &Calibration, name: &str| {
        let record = calibration.terms.get(name)?;
        Some((record.value_deg?, record.sigma_deg.unwrap_or(0.0)))
    };
    if log.readings.contains(&Readings::Encoder) {
        return None;
    }
    // A regular file only: what is written to may be a device, which would keep it waiting.
    if !earlier.is_file() {
        return None;
    }
    let bytes = std::fs::read(earlier).ok()?;
    let old = Calibration::parse(&earlier.display().to_string(), &bytes).ok()?;
    if old.station != found.station {
        return None;
    }
    let kind = found.kind();
    let names = [Term::AzimuthZero, Term::ElevationZero].map(|term| kind.term_name(term));
    let nought = names.iter().all(|name| {
        zero(found, name).is_some_and(|(value, sigma)| value.abs() < NOUGHT_DEG.max(TIMES * sigma))
    });
    let other = names.iter().find_map(|name| {
        let (value, sigma) = zero(&old, name)?;
        (value.abs() > TIMES * NOUGHT_DEG.max(sigma)).then_some((name, value))
    });
    let (name, value) = other.filter(|_| nought)?;
    Some(format!(
        "both zeros come out as zero, and {} has {name} {value:.2} deg: were the positions read \
         through plumbeam relay, so that they are directions and not encoder readings? Then say \
         --readings corrected:{}",
        printable(&earlier.display().to_string()),
        checksum(&bytes)
    ))
}
