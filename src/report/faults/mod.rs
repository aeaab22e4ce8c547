//! What a diagnosis found: for the terminal, for machines, as pictures and as one page.

mod compass;
mod effect;
mod misses;
mod page;
mod scatter;
mod text;
mod worlds;

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::chart::Render;
use crate::faults::{Diagnosis, Finding, Shown, show};
use crate::files;
use crate::problem::Error;
use crate::station::Station;

pub use text::{faults_json, faults_section, faults_text};

/// Name of the page of a diagnosis in its folder.
pub const FAULTS_PAGE: &str = "faults.html";

/// What every picture of a finding has.
#[derive(Clone, Debug)]
struct Sheet {
    stem: String,
    title: String,
    stamp: String,
    caption: String,
}

/// A picture for each finding that has one, in the order of the findings, with the finding's
/// place among them.
pub fn fault_pictures(diagnosis: &Diagnosis, station: &Station) -> Vec<(usize, Box<dyn Render>)> {
    (diagnosis.findings.iter().enumerate())
        .filter_map(|(place, finding)| {
            let shown = show(diagnosis, finding)?;
            Some((place, picture(place, finding, shown, station)))
        })
        .collect()
}

fn picture(place: usize, finding: &Finding, shown: Shown, station: &Station) -> Box<dyn Render> {
    let sheet = Sheet {
        stem: format!("fault-{}-{}", place + 1, finding.fault),
        title: finding.title(),
        stamp: station.site.name.clone(),
        caption: String::new(),
    };
    match shown {
        Shown::Effect {
            against,
            axis,
            points,
        } => Box::new(effect::EffectPicture::new(sheet, against, axis, points)),
        Shown::Misses { points, sidelobe } => {
            Box::new(misses::MissPicture::new(sheet, points, sidelobe))
        }
        Shown::Scatter {
            against,
            axis,
            points,
        } => Box::new(scatter::ScatterPicture::new(sheet, against, axis, points)),
        Shown::Worlds { points } => Box::new(worlds::WorldPicture::new(sheet, points)),
        Shown::Compass {
            zero,
            declination,
            sigma,
        } => Box::new(compass::CompassPicture::new(
            sheet,
            zero,
            declination,
            sigma,
        )),
    }
}

/// Writes the page of a diagnosis and every picture, as SVG and PNG, into `dir`, which is made if
/// need be. Gives the files' paths, the page first.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written; files written before stay.
pub fn write_faults(
    dir: &Path,
    diagnosis: &Diagnosis,
    station: &Station,
    log_name: &str,
) -> Result<Vec<PathBuf>, Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io(&dir.display().to_string(), "create", e))?;
    let pictures = fault_pictures(diagnosis, station);
    let write = |name: String, contents: &[u8]| -> Result<PathBuf, Error> {
        let path = dir.join(name);
        files::write_whole(&path, contents)?;
        Ok(path)
    };
    let html = page::page(diagnosis, station, log_name, &pictures);
    let mut paths = vec![write(FAULTS_PAGE.to_owned(), html.as_bytes())?];
    for (_, p) in &pictures {
        paths.push(write(format!("{}.svg", p.file_stem()), p.svg().as_bytes())?);
    }
    let pngs: Result<Vec<PathBuf>, Error> = (pictures.par_iter())
        .map(|(_, p)| write(format!("{}.png", p.file_stem()), &p.png()?))
        .collect();
    paths.extend(pngs?);
    Ok(paths)
}
