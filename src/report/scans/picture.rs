//! The picture of one scan: its heading, and a cut or a map below.

use plotters_backend::DrawingBackend;

use super::cut::CutDrawing;
use super::map::MapDrawing;
use super::words::{caption, shape_words};
use crate::plot::{Canvas, Picture, Rect};
use crate::scan::{FittedCurve, ReducedScan, ScanShape};
use crate::station::Station;

enum Drawing {
    Cut(CutDrawing),
    Map(MapDrawing),
}

/// The picture.
pub(super) struct ScanPicture {
    title: String,
    stamp: String,
    caption: String,
    stem: String,
    drawing: Drawing,
}

impl ScanPicture {
    /// Of a scan and its samples; its files are called after `stem`.
    pub fn of(
        scan: &ReducedScan,
        curve: &FittedCurve,
        station: &Station,
        stem: String,
    ) -> ScanPicture {
        ScanPicture {
            title: format!(
                "Scan {}: {}, {}",
                scan.name,
                scan.emitter,
                shape_words(scan)
            ),
            stamp: format!("{}, {}", station.site.name, scan.time),
            caption: caption(scan),
            stem,
            drawing: match scan.shape {
                ScanShape::Raster(_) | ScanShape::Map => Drawing::Map(MapDrawing::of(scan, curve)),
                _ => Drawing::Cut(CutDrawing::of(scan, curve)),
            },
        }
    }
}

impl Picture for ScanPicture {
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
        self.caption.clone()
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        match &self.drawing {
            Drawing::Cut(cut) => cut.draw(canvas, body),
            Drawing::Map(map) => map.draw(canvas, body),
        }
    }
}
