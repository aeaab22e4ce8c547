//! A reduction as one page with its pictures: one of each scan, and sheets that show all scans at
//! once.

mod cut;
mod document;
mod map;
mod picture;
mod sheet;
mod words;

use std::path::{Path, PathBuf};

use super::document::write_document;
use crate::plot::Render;
use crate::problem::Error;
use crate::scan::Reduction;
use crate::station::Station;

use picture::ScanPicture;
use sheet::{SCANS_A_SHEET, SheetPicture};

/// The pictures of all scans whose samples were kept, the sheets of all scans first.
pub fn scan_pictures<'a>(
    reduction: &'a Reduction,
    station: &'a Station,
) -> Vec<Box<dyn Render + 'a>> {
    let mut pictures: Vec<Box<dyn Render + 'a>> = Vec::new();
    for (i, scans) in reduction.scans.chunks(SCANS_A_SHEET).enumerate() {
        pictures.push(Box::new(SheetPicture::of(
            scans,
            i,
            reduction.scans.len(),
            station,
        )));
    }
    for (i, scan) in reduction.scans.iter().enumerate() {
        if let Some(curve) = &scan.curve {
            let stem = words::file_stem(i, &scan.name);
            pictures.push(Box::new(ScanPicture::of(scan, curve, station, stem)));
        }
    }
    pictures
}

/// Name of the page of a reduction in its folder.
pub const SCANS_PAGE: &str = "scans.html";

/// Writes the page of a reduction, from which each scan opens, and every picture, as SVG and PNG,
/// into `dir`, which is made if need be. Gives the files' paths, the page first.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written; files written before stay.
pub fn write_scans(
    dir: &Path,
    reduction: &Reduction,
    station: &Station,
) -> Result<Vec<PathBuf>, Error> {
    let pictures = scan_pictures(reduction, station);
    let drawn: Vec<&dyn Render> = pictures.iter().map(AsRef::as_ref).collect();
    let sheets = reduction.scans.len().div_ceil(SCANS_A_SHEET);
    write_document(dir, SCANS_PAGE, &drawn, || {
        document::page(reduction, station, &drawn[..sheets])
    })
}
