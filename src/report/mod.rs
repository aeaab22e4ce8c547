//! Reports: the terminal's text, pictures, and one page that holds it all.

mod caution;
pub mod chart;
#[cfg(test)]
mod fixture;
pub mod number;
mod picture;
mod words;

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::files;
use crate::problem::Error;
use crate::solve::{Outcome, Remedy};
use crate::station::Station;
use crate::time::Utc;

pub use picture::pictures;
pub use words::{Meaning, compass_word, group_name, meanings, state_name, term_list, term_name};

/// Everything that a report tells of.
#[derive(Clone, Copy, Debug)]
pub struct Report<'a> {
    /// What was found.
    pub outcome: &'a Outcome,
    /// Where.
    pub station: &'a Station,
    /// What can be done about it.
    pub remedies: &'a [Remedy],
    /// The peaks file as the user named it.
    pub log_name: &'a str,
    /// Where the calibration stands or will stand, as the user named it.
    pub calibration_name: &'a str,
    /// When the report is made.
    pub created: Utc,
}

#[cfg(test)]
mod samples {
    use super::*;

    /// Writes every picture of several sessions below `target/report-samples`, to look at:
    /// `cargo test --lib report::samples -- --ignored`.
    #[test]
    #[ignore = "writes files to look at"]
    fn write_samples() {
        let station = fixture::station();
        let remedies = fixture::remedies();
        let usual = fixture::Session::default();
        let sessions = [
            ("usual", usual.clone()),
            (
                "unknown-north",
                fixture::Session {
                    azimuth_zero_deg: -143.2,
                    ..usual.clone()
                },
            ),
            (
                "one",
                fixture::Session {
                    peaks: 1,
                    ..usual.clone()
                },
            ),
            (
                "many",
                fixture::Session {
                    peaks: 100_000,
                    hours: 3000.0,
                    ..usual.clone()
                },
            ),
            (
                "perfect",
                fixture::Session {
                    noise_deg: 0.0,
                    bad_every: 0,
                    peaks: 20,
                    hours: 0.0,
                    ..usual.clone()
                },
            ),
        ];
        for (name, session) in sessions {
            let outcome = fixture::outcome(&session);
            let report = fixture::report(&outcome, &station, &remedies);
            let dir = Path::new("target/report-samples").join(name);
            std::fs::create_dir_all(&dir).unwrap();
            let start = std::time::Instant::now();
            write_report(&dir, &report).unwrap();
            eprintln!("{name}: {:?}", start.elapsed());
        }
    }
}

/// Writes the pictures into `dir`, which is made if need be.
///
/// # Errors
/// When a file cannot be written.
pub fn write_report(dir: &Path, report: &Report) -> Result<Vec<PathBuf>, Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io(&dir.display().to_string(), "create", e))?;
    let written: Result<Vec<Vec<PathBuf>>, Error> = pictures(report)
        .par_iter()
        .map(|p| {
            let svg = dir.join(format!("{}.svg", p.file_stem()));
            files::write_whole(&svg, p.svg().as_bytes())?;
            let png = dir.join(format!("{}.png", p.file_stem()));
            files::write_whole(&png, &p.png()?)?;
            Ok(vec![svg, png])
        })
        .collect();
    Ok(written?.into_iter().flatten().collect())
}
