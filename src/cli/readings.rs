//! Logs whose positions went through a calibration: the verbs that take peaks undo it.

use std::path::{Path, PathBuf};

use super::Console;
use crate::corrected;
pub use crate::corrected::GEOMETRIC;
use crate::logbook::{Calibration, PeakLog, Readings, checksum};
use crate::mount::Term;
use crate::problem::{Error, printable};
use crate::station::Station;

/// Turns the positions of every log that went through a calibration back into encoder readings,
/// with that calibration: one of the files `named`, or one beside them or in the present folder.
///
/// # Errors
/// As [`corrected::encoder_readings`].
pub fn encoder_readings(
    log: &mut PeakLog,
    station: &Station,
    named: &[&Path],
    console: &mut Console,
) -> Result<(), Error> {
    let mut folders = vec![PathBuf::from(".")];
    for path in named {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        folders.extend(folder.map(Path::to_path_buf));
    }
    for done in corrected::encoder_readings(log, station, named, &folders)? {
        console.note(&done);
    }
    Ok(())
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
