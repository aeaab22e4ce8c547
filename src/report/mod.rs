//! Reports: the terminal's text, pictures, and one page that holds it all.

mod caution;
mod faults;
#[cfg(test)]
mod fixture;
mod history;
#[cfg(test)]
mod labels;
mod layout;
mod page;
mod pass;
mod picture;
mod plan;
mod recheck;
mod resampled;
mod scans;
mod setup;
mod summary;
mod terminal;
#[cfg(test)]
mod tests;
mod text;
mod words;

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::faults::Diagnosis;
use crate::files;
use crate::problem::Error;
use crate::solve::{Outcome, Remedy};
use crate::station::Station;
use crate::time::Utc;

pub use caution::{MOUNT as MOUNT_CAUTION, SUN as SUN_CAUTION, sun_was_used};
pub use faults::{FAULTS_PAGE, fault_pictures, faults_json, faults_text, write_faults};
pub use history::{HISTORY_PAGE, history_json, history_pictures, history_text, write_history};
pub use pass::{PASS_PAGE, pass_pictures, pass_text, write_passes};
pub use picture::{
    MapTrack, SkyErrorMap, pictures, plan_picture, sky_error_map, write_plan_pictures,
};
pub use plan::{plan_json, plan_text};
pub use recheck::{AfterMove, recheck_json, recheck_text};
pub use resampled::bootstrap_text;
pub use scans::{scan_pictures, write_scan_pictures};
pub use setup::{setup_json, setup_text};
pub use summary::{
    Step, assumptions, dish_words, expected_words, loss_words, minute_words, next_steps,
    noise_words, site_words, unsolved, verdict,
};
pub use terminal::{Colour, ESCAPE_CODES, WIDTH};
pub use text::text;
pub use words::{Meaning, group_name, meanings, state_name, term_list, term_name, unit_name};

/// A paragraph in lines of at most [`WIDTH`] columns.
pub fn paragraph(text: &str) -> String {
    layout::wrapped("", text, WIDTH)
}

/// Name of the page in the report's folder.
pub const PAGE_NAME: &str = "report.html";

/// Everything that a report tells of.
#[derive(Clone, Copy, Debug)]
pub struct Report<'a> {
    /// What was found.
    pub outcome: &'a Outcome,
    /// Where.
    pub station: &'a Station,
    /// What can be done about it.
    pub remedies: &'a [Remedy],
    /// Faults behind what the mount errors leave, if they were looked for.
    pub diagnosis: Option<&'a Diagnosis>,
    /// The peaks file as the user named it.
    pub log_name: &'a str,
    /// Where the calibration stands or will stand, as the user named it.
    pub calibration_name: &'a str,
    /// Whether the decisions behind the fit are listed.
    pub explain: bool,
    /// When the report is made.
    pub created: Utc,
}

/// Writes the page and every picture, as SVG and PNG, into `dir`, which is made if need be.
/// Gives the files' paths, the page first.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written; files written before stay.
pub fn write_report(dir: &Path, report: &Report) -> Result<Vec<PathBuf>, Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io(&dir.display().to_string(), "create", e))?;
    let pictures = pictures(report);
    let write = |name: String, contents: &[u8]| -> Result<PathBuf, Error> {
        let path = dir.join(name);
        files::write_whole(&path, contents)?;
        Ok(path)
    };
    let page_and_svgs = || -> Result<Vec<PathBuf>, Error> {
        let html = page::page(report, &pictures);
        let mut paths = vec![write(PAGE_NAME.to_owned(), html.as_bytes())?];
        for p in &pictures {
            paths.push(write(format!("{}.svg", p.file_stem()), p.svg().as_bytes())?);
        }
        Ok(paths)
    };
    let pngs = || -> Result<Vec<PathBuf>, Error> {
        (pictures.par_iter())
            .map(|p| write(format!("{}.png", p.file_stem()), &p.png()?))
            .collect()
    };
    let (vector, raster) = rayon::join(page_and_svgs, pngs);
    let mut paths = vector?;
    paths.extend(raster?);
    Ok(paths)
}
