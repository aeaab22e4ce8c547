//! Reports: the terminal's text, pictures, and one page that holds it all.

mod caution;
mod document;
mod faults;
#[cfg(test)]
mod fixture;
mod history;
#[cfg(test)]
mod labels;
mod layout;
mod pass;
mod peaks;
mod picture;
mod plan;
mod recheck;
mod resampled;
mod scans;
mod setup;
mod solve;
mod summary;
mod terminal;
#[cfg(test)]
mod tests;
mod words;

use std::path::{Path, PathBuf};

use crate::faults::Diagnosis;
use crate::plot::{Render, on_page};
use crate::problem::Error;
use crate::solve::{Outcome, Remedy};
use crate::station::Station;
use crate::time::Utc;

pub use caution::{MOUNT as MOUNT_CAUTION, SUN as SUN_CAUTION, sun_was_used};
pub use faults::{FAULTS_PAGE, fault_pictures, faults_json, faults_text, write_faults};
pub use history::{HISTORY_PAGE, history_json, history_pictures, history_text, write_history};
pub use pass::{PASS_PAGE, pass_pictures, pass_text, write_passes};
pub use picture::{MapTrack, SkyErrorMap, pictures, plan_picture, sky_error_map};
pub use plan::{PLAN_PAGE, plan_json, plan_text, write_plan};
pub use recheck::{AfterMove, RECHECK_PAGE, recheck_json, recheck_text, write_recheck};
pub use resampled::bootstrap_text;
pub use scans::{SCANS_PAGE, scan_pictures, write_scans};
pub use setup::{setup_json, setup_text};
pub use solve::text;
pub use summary::{
    NextStep, assumptions, dish_words, expected_words, in_one_sentence, loss_words, minute_words,
    next_steps, noise_words, site_words, unsolved, verdict,
};
pub use terminal::{Colour, ESCAPE_CODES, WIDTH};
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
    let pictures: Vec<_> = pictures(report).into_iter().map(on_page).collect();
    let drawn: Vec<&dyn Render> = pictures.iter().map(AsRef::as_ref).collect();
    document::write_document(dir, PAGE_NAME, &drawn, || solve::page(report, &pictures))
}

/// What made a page.
fn made_by() -> String {
    format!("Made by plumbeam {}.", env!("CARGO_PKG_VERSION"))
}
