//! Passes through a relay: for the terminal, as pictures and as one page.

mod page;
mod picture;
mod text;

use std::path::Path;

use crate::files;
use crate::live::RelayLog;
use crate::plot::Render;
use crate::problem::Error;

use picture::PassPicture;
pub use text::pass_text;

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
    let pictures = pass_pictures(log);
    let html = page::page(log, &pictures);
    files::write_whole(&dir.join(PASS_PAGE), html.as_bytes())?;
    for picture in &pictures {
        let stem = picture.file_stem();
        files::write_whole(&dir.join(format!("{stem}.svg")), picture.svg().as_bytes())?;
        files::write_whole(&dir.join(format!("{stem}.png")), &picture.png()?)?;
    }
    Ok(())
}
