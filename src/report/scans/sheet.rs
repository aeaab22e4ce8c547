//! All scans of a night at a glance.

use plotters_backend::DrawingBackend;

use super::words::{self, range};
use crate::number;
use crate::plot::{Align, Canvas, Key, Pen, Picture, Point, Rect, Text, colours, notes};
use crate::scan::{ReducedScan, ScanVerdict};
use crate::station::Station;

/// Scans on a sheet, so that each stays readable; more go on further sheets.
pub(super) const SCANS_A_SHEET: usize = 200;

/// The picture.
pub(super) struct SheetPicture<'a> {
    scans: &'a [ReducedScan],
    /// Number of the first of them in the log.
    first: usize,
    title: String,
    stamp: String,
    stem: String,
}

impl SheetPicture<'_> {
    pub fn of<'a>(
        scans: &'a [ReducedScan],
        sheet: usize,
        all: usize,
        station: &Station,
    ) -> SheetPicture<'a> {
        let first = sheet * SCANS_A_SHEET + 1;
        let days = scans.iter().map(|s| s.time.to_string()[..10].to_owned());
        let (from, to) = (days.clone().min(), days.max());
        let days = match (from, to) {
            (Some(from), Some(to)) if from != to => format!("{from} to {to}"),
            (Some(day), _) => day,
            _ => String::new(),
        };
        SheetPicture {
            scans,
            first,
            title: if all > SCANS_A_SHEET {
                format!("Scans {first} to {} of {all}", first + scans.len() - 1)
            } else {
                format!("All {all} scans")
            },
            stamp: format!("{}, {days}", station.site.name),
            stem: if all > SCANS_A_SHEET {
                format!("overview-{}", sheet + 1)
            } else {
                "overview".to_owned()
            },
        }
    }

    fn count(&self, verdict: ScanVerdict) -> usize {
        self.scans.iter().filter(|s| s.verdict == verdict).count()
    }
}

/// Columns and rows of cells somewhat wider than high.
fn grid(count: usize, room: Rect) -> (usize, usize) {
    let cell = (room.width() * room.height() / count.max(1) as f64).sqrt();
    let columns = ((room.width() / (1.15 * cell)).round() as usize).clamp(1, count.max(1));
    (columns, count.max(1).div_ceil(columns))
}

fn draw_cell<DB: DrawingBackend>(canvas: &mut Canvas<DB>, scan: &ReducedScan, cell: Rect) {
    let (marker, colour) = words::mark(scan.verdict);
    let label = 9.0f64.max((cell.height() * 0.14).min(13.0));
    canvas.rectangle(
        (cell.left, cell.top),
        (cell.right, cell.bottom),
        colours::SHADE,
    );
    let frame = cell.inset(3.0, label + 5.0, 3.0, 3.0);
    if let Some(curve) = &scan.curve {
        let shown = curve.points.iter();
        let shown = shown.flat_map(|p| [if p.used { p.power } else { p.fit }, p.fit]);
        let (low, high) = range(shown, 0.05);
        // Sample after sample, so that pauses and turns do not open gaps.
        let n = curve.points.len().max(2) as f64 - 1.0;
        let at = |i: usize, power: f64| -> Point {
            let part = ((power - low) / (high - low)).clamp(0.0, 1.0);
            (
                frame.left + frame.width() * i as f64 / n,
                frame.bottom - frame.height() * part,
            )
        };
        let radius = (frame.width() / n * 0.5).clamp(0.5, 1.6);
        let points = curve.points.iter().enumerate();
        // More points than pixels say nothing more.
        let every = curve.points.len() / (2 * frame.width() as usize).max(1) + 1;
        for (i, p) in points.clone().step_by(every) {
            let colour = if p.used {
                colours::SKY
            } else {
                colours::VERMILLION
            };
            canvas.disc(at(i, p.power), radius, colour, 1.0);
        }
        let fit: Vec<Point> = points.map(|(i, p)| at(i, p.fit)).collect();
        if curve.lobe.is_some() {
            canvas.path(&fit, &Pen::new(colours::INK, 1.0));
        }
    }
    let style = Text::new(colours::INK, label);
    let baseline = cell.top + label + 1.5;
    canvas.marker(
        (cell.left + 6.5, baseline - 0.36 * label),
        marker,
        3.0,
        colour,
    );
    let right = match (scan.verdict, scan.signal_to_noise) {
        (ScanVerdict::Refused, _) | (_, None) => String::new(),
        (_, Some(ratio)) => number::significant(ratio, 2),
    };
    let small = Text::new(colours::SOFT_INK, label).align(Align::Right);
    let taken = small.width(&right) + 18.0;
    let name = style.fitted(&scan.name, cell.width() - taken);
    canvas.text((cell.left + 12.5, baseline), &name, &style);
    canvas.text((cell.right - 3.0, baseline), &right, &small);
}

impl Picture for SheetPicture<'_> {
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
        "Each cell is a scan: its name, at the right its signal to noise, below its samples one after the \
         other with the fit. Look for cells that differ from their neighbours."
            .to_owned()
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(40.0, 34.0, 40.0, 4.0);
        let (columns, rows) = grid(self.scans.len(), room);
        let gap = if self.scans.len() > 60 { 3.0 } else { 6.0 };
        let lines = room.rows(rows, gap);
        let mut number = self.first - 1;
        for (scans, line) in self.scans.chunks(columns).zip(lines) {
            for (scan, cell) in scans.iter().zip(line.columns(columns, gap)) {
                number += 1;
                canvas.tag(number, cell.centre(), cell.height() * 0.5);
                draw_cell(canvas, scan, cell);
            }
        }
        let items: Vec<(Key, String)> =
            [ScanVerdict::Good, ScanVerdict::Poor, ScanVerdict::Refused]
                .into_iter()
                .filter(|v| self.count(*v) > 0)
                .map(|v| {
                    let (marker, colour) = words::mark(v);
                    (
                        Key::Mark(marker, colour),
                        format!("{} {}", self.count(v), v.word()),
                    )
                })
                .collect();
        notes(
            canvas,
            (room.left, body.top + 16.0),
            body.right - 20.0,
            &items,
        );
    }
}
