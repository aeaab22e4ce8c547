//! What a diagnosis found: for the terminal, for machines, as pictures and as one page.

mod compass;
mod document;
mod effect;
mod misreading;
mod misses;
#[cfg(test)]
mod samples;
mod scatter;

use std::path::{Path, PathBuf};

use plotters_backend::DrawingBackend;

use super::document::write_document;
use crate::faults::{Diagnosis, Finding, PlotData, plot_data};
use crate::plot::{
    Axis, Canvas, Panel, Picture, Rect, Render, Scale, linear_ticks, on_page, symlog_ticks,
};
use crate::problem::Error;
use crate::station::Station;

pub use document::{faults_json, faults_text};
#[cfg(test)]
pub(super) use samples::sample_pictures;

/// Name of the page of a diagnosis in its folder.
pub const FAULTS_PAGE: &str = "faults.html";

/// What is drawn of a finding, and what to look for in it.
trait Drawing: Sync {
    fn caption(&self) -> String;
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect);
}

/// A drawing with the name and the headings that every picture of a finding has.
#[derive(Clone, Debug)]
struct Sheet<D> {
    stem: String,
    title: String,
    stamp: String,
    drawing: D,
}

impl<D: Drawing> Picture for Sheet<D> {
    fn file_stem(&self) -> &str {
        &self.stem
    }
    fn title(&self) -> String {
        self.title.clone()
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        self.drawing.caption()
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        self.drawing.draw(canvas, body);
    }
}

/// A panel of distances by the row in the log, on a scale that is logarithmic except for its
/// lowest part.
fn by_row(frame: Rect, last: usize, most: f64, straight_below: f64) -> Panel {
    let last = last as f64;
    Panel {
        frame,
        x: Axis {
            scale: Scale::linear(0.0, last + 1.0, frame.left, frame.right),
            ticks: linear_ticks(1.0, last, 10)
                .into_iter()
                .filter(|t| t.value.fract() == 0.0)
                .collect(),
            title: "row in the log".to_owned(),
        },
        y: Axis {
            scale: Scale::symlog(0.0, most, straight_below, frame.bottom, frame.top),
            ticks: symlog_ticks(0.0, most, straight_below),
            title: "Distance between emitter and beam (deg)".to_owned(),
        },
    }
}

/// A picture for each finding that has one, in the order of the findings, with the finding's
/// place among them.
pub fn fault_pictures(diagnosis: &Diagnosis, station: &Station) -> Vec<(usize, Box<dyn Render>)> {
    (diagnosis.findings.iter().enumerate())
        .filter_map(|(place, finding)| {
            let shown = plot_data(diagnosis, finding)?;
            Some((place, picture(place, finding, shown, station)))
        })
        .collect()
}

fn picture(place: usize, finding: &Finding, shown: PlotData, station: &Station) -> Box<dyn Render> {
    fn on_sheet<D: Drawing + 'static>(
        place: usize,
        finding: &Finding,
        station: &Station,
        drawing: D,
    ) -> Box<dyn Render> {
        Box::new(Sheet {
            stem: format!("fault-{}-{}", place + 1, finding.name),
            title: finding.title(),
            stamp: station.site.name.clone(),
            drawing,
        })
    }
    match shown {
        PlotData::Effect {
            against,
            axis,
            points,
        } => {
            let drawing = effect::EffectPicture::new(station.mount.kind(), against, axis, points);
            on_sheet(place, finding, station, drawing)
        }
        PlotData::Misses { points, sidelobe } => {
            let drawing = misses::MissPicture::new(points, sidelobe);
            on_sheet(place, finding, station, drawing)
        }
        PlotData::Scatter {
            against,
            axis,
            points,
        } => {
            let drawing = scatter::ScatterPicture::new(station.mount.kind(), against, axis, points);
            on_sheet(place, finding, station, drawing)
        }
        PlotData::Misreading { points } => {
            let drawing = misreading::MisreadingPicture::new(points);
            on_sheet(place, finding, station, drawing)
        }
        PlotData::Compass {
            zero,
            declination,
            sigma,
        } => {
            let drawing = compass::CompassPicture::new(zero, declination, sigma);
            on_sheet(place, finding, station, drawing)
        }
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
    let pictures: Vec<_> = (fault_pictures(diagnosis, station).into_iter())
        .map(|(place, picture)| (place, on_page(picture)))
        .collect();
    let drawn: Vec<&dyn Render> = pictures.iter().map(|(_, p)| p.as_ref()).collect();
    let page = || document::page(diagnosis, station, log_name, &pictures);
    write_document(dir, FAULTS_PAGE, &drawn, page)
}
