//! The pictures of a reduction: one of each scan, and sheets that show a whole night.

mod cut;
mod map;
mod sheet;
mod words;

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::files;
use crate::plot::Render;
use crate::problem::Error;
use crate::scan::{Reduction, ScanShape};
use crate::station::Station;

use cut::CutPicture;
use map::MapPicture;
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
        let stem = words::file_stem(i, &scan.name);
        match (&scan.curve, scan.shape) {
            (None, _) => {}
            (Some(curve), ScanShape::Raster(_) | ScanShape::Map) => {
                pictures.push(Box::new(MapPicture::of(scan, curve, station, stem)));
            }
            (Some(curve), _) => {
                pictures.push(Box::new(CutPicture::of(scan, curve, station, stem)));
            }
        }
    }
    pictures
}

/// Writes every picture, as SVG and PNG, into `dir`, which is made if need be. Gives the
/// files' paths.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written; files written before stay.
pub fn write_scan_pictures(
    dir: &Path,
    reduction: &Reduction,
    station: &Station,
) -> Result<Vec<PathBuf>, Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io(&dir.display().to_string(), "create", e))?;
    let written: Result<Vec<[PathBuf; 2]>, Error> = scan_pictures(reduction, station)
        .par_iter()
        .map(|picture| {
            let svg = dir.join(format!("{}.svg", picture.file_stem()));
            files::write_whole(&svg, picture.svg().as_bytes())?;
            let png = dir.join(format!("{}.png", picture.file_stem()));
            files::write_whole(&png, &picture.png()?)?;
            Ok([svg, png])
        })
        .collect();
    Ok(written?.into_iter().flatten().collect())
}
