//! Passes through a relay: for the terminal, as pictures and as one page.

mod document;
mod picture;

use std::path::Path;

use super::document::write_document;
use crate::live::RelayLog;
use crate::plot::{Render, on_page};
use crate::problem::Error;

pub use document::pass_text;
use picture::PassPicture;

/// Name of the page of passes in its folder.
pub const PASS_PAGE: &str = "passes.html";

/// Passes that are drawn, the last ones: a night's worth.
const MOST_DRAWN: usize = 12;

/// The pictures of a log, one a pass.
pub fn pass_pictures(log: &RelayLog) -> Vec<Box<dyn Render>> {
    let skipped = log.passes.len().saturating_sub(MOST_DRAWN);
    (log.passes.iter().enumerate().skip(skipped))
        .map(|(i, pass)| {
            let picture: Box<dyn Render> =
                Box::new(PassPicture::new(format!("pass-{}", i + 1), log, pass));
            picture
        })
        .collect()
}

/// Writes the page and every picture, as SVG and PNG, into `dir`.
///
/// # Errors
/// When a file cannot be written.
pub fn write_passes(dir: &Path, log: &RelayLog) -> Result<(), Error> {
    let pictures: Vec<_> = pass_pictures(log).into_iter().map(on_page).collect();
    let drawn: Vec<&dyn Render> = pictures.iter().map(AsRef::as_ref).collect();
    let page = || document::page(log, &pictures);
    write_document(dir, PASS_PAGE, &drawn, page).map(drop)
}
