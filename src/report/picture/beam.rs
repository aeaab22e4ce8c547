//! Residuals in cross-elevation and elevation, with the beam drawn in.

use plotters_backend::DrawingBackend;

use super::peaks::{Measured, half_range, shaded_words, stamp, thinning, used_words};
use crate::angle::Angle;
use crate::mount::AxisKind;
use crate::number;
use crate::plot::{
    Axis, Canvas, Density, Key, MOST_SINGLE_MARKS, Marker, Panel, Pen, Picture, Rect, Scale, Text,
    colours, linear_ticks, notes,
};
use crate::report::{Report, summary};

/// Above this many, only some of the peaks not used, or measured in one axis, are shown.
const MOST_OTHERS: usize = 400;

/// The picture.
#[derive(Clone, Debug)]
pub struct BeamPicture {
    axis_2: AxisKind,
    /// Row and both axes, degrees, of the used peaks.
    used: Vec<(usize, f64, f64)>,
    /// Of the others.
    rejected: Vec<(usize, f64, f64)>,
    /// Used peaks with one axis only.
    partial: Vec<Measured>,
    beamwidth: f64,
    /// Radius in degrees, how it is drawn and what it means.
    rings: [(f64, Pen, String); 3],
    close_range: f64,
    stamp: String,
    used_words: String,
    rejected_words: String,
}

impl BeamPicture {
    /// Prepares it.
    pub fn of(report: &Report) -> BeamPicture {
        let peaks = &report.outcome.peaks;
        let measured = |used: bool| {
            (peaks.iter().filter(move |p| p.used == used))
                .map(|p| (p.row, Measured::of(p, p.residual)))
        };
        let both = |(row, m): (usize, Measured)| m.both().map(|(x, y)| (row, x, y));
        let used: Vec<(usize, f64, f64)> = measured(true).filter_map(both).collect();
        let rejected: Vec<(usize, f64, f64)> = measured(false).filter_map(both).collect();
        let partial: Vec<Measured> = (measured(true).map(|(_, m)| m))
            .filter(|m| m.both().is_none())
            .collect();
        let shown = if used.is_empty() { &rejected } else { &used };
        let sizes = (shown.iter().flat_map(|(_, x, y)| [x.abs(), y.abs()]))
            .chain(partial.iter().map(Measured::size));
        let (used_words, rejected_words) = used_words(report);
        BeamPicture {
            axis_2: report.outcome.model.kind().axes()[1],
            close_range: half_range(sizes, report.station.dish.beamwidth),
            beamwidth: report.station.dish.beamwidth.degrees(),
            rings: rings(report),
            stamp: stamp(report),
            used,
            rejected,
            partial,
            used_words,
            rejected_words,
        }
    }

    fn panel(&self, frame: Rect, half_range: f64) -> Panel {
        let axis = |start, end, title: &str| Axis {
            scale: Scale::linear(-half_range, half_range, start, end),
            ticks: linear_ticks(-half_range, half_range, 6),
            title: title.to_owned(),
        };
        Panel {
            frame,
            x: axis(
                frame.left,
                frame.right,
                &format!("{} residual (deg)", self.axis_2.cross_words()),
            ),
            y: axis(frame.bottom, frame.top, ""),
        }
    }

    fn draw_panel<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        heading: &str,
        frame: Rect,
        half_range: f64,
    ) -> Option<u32> {
        let panel = self.panel(frame, half_range);
        let title = Text::new(colours::INK, 15.0).bold();
        canvas.text((frame.left, frame.top - 28.0), heading, &title);
        let soft = Text::new(colours::INK, 13.5);
        canvas.text(
            (frame.left, frame.top - 9.0),
            &format!("{} residual (deg), upward", self.axis_2.words()),
            &soft,
        );
        panel.draw(canvas, true);
        let (x0, y0) = panel.at(0.0, 0.0);
        let axis = Pen::new(colours::FRAME, 1.0);
        canvas.line((x0, frame.top), (x0, frame.bottom), &axis);

        let most = self.draw_peaks(canvas, &panel);

        let pixels = panel.x.scale.pixels_per_unit();
        let edge = (frame.right - frame.left) / 2.0;
        let mut items = Vec::new();
        for (radius_deg, pen, words) in &self.rings {
            let r = radius_deg * pixels;
            if r > 3.0 && r < edge {
                canvas.circle((x0, y0), r, pen);
                items.push((Key::Line(*pen), words.clone()));
            }
        }
        let at = (frame.left, frame.bottom + 62.0);
        // One below the other: a right edge at the left one.
        notes(canvas, at, frame.left, &items);
        most
    }

    /// Says how many peaks the fullest cell holds where cells are shown.
    fn draw_peaks<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        panel: &Panel,
    ) -> Option<u32> {
        let mut most = None;
        if self.used.len() > MOST_SINGLE_MARKS {
            let places = self.used.iter().map(|(_, x, y)| panel.at(*x, *y));
            let density = Density::of(places, panel.frame, 6.0);
            density.draw(canvas);
            most = Some(density.most());
        } else {
            let radius = if self.used.len() > 300 { 1.8 } else { 2.8 };
            for &(row, x, y) in &self.used {
                panel.row_mark(canvas, row, (x, y), Marker::Disc, radius, colours::BLUE);
            }
        }
        let f = panel.frame;
        let pen = Pen::new(colours::BLUE, 1.4);
        for m in (self.partial.iter()).step_by(thinning(self.partial.len(), MOST_OTHERS)) {
            let (x, y) = panel.at(m.cross_elevation.unwrap_or(0.0), m.elevation.unwrap_or(0.0));
            if m.cross_elevation.is_some() && x >= f.left && x <= f.right {
                canvas.line((x, f.bottom), (x, f.bottom - 9.0), &pen);
            }
            if m.elevation.is_some() && y >= f.top && y <= f.bottom {
                canvas.line((f.left, y), (f.left + 9.0, y), &pen);
            }
        }
        for &(row, x, y) in
            (self.rejected.iter()).step_by(thinning(self.rejected.len(), MOST_OTHERS))
        {
            panel.row_mark(canvas, row, (x, y), Marker::Cross, 3.8, colours::VERMILLION);
        }
        most
    }
}

impl Picture for BeamPicture {
    fn file_stem(&self) -> &str {
        "beam"
    }
    fn title(&self) -> String {
        "What is left, against the size of the beam".to_owned()
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        "Emitter minus beam after the fit, as a target seen along the beam: left to the scale of the \
         beam, right close up. Within the dashed circle hardly any signal is lost. Look for a cloud \
         that is round and centred; one stretched along an axis points to play or noise in that axis."
            .to_owned()
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(96.0, 52.0, 40.0, 150.0);
        let side = room.height();
        let square = |left: f64| Rect {
            left,
            top: room.top,
            right: left + side,
            bottom: room.top + side,
        };
        let whole = self.beamwidth * 0.62;
        let heading = "To the scale of the beam";
        self.draw_panel(canvas, heading, square(room.left), whole);
        let middle = body.centre().0 + 60.0;
        let right = self.draw_panel(canvas, "Close up", square(middle), self.close_range);
        let used = match right {
            Some(most) => shaded_words(&self.used_words, most),
            None => self.used_words.clone(),
        };
        let mut items = vec![(Key::Mark(Marker::Disc, colours::BLUE), used)];
        if !self.rejected.is_empty() {
            let words = self.rejected_words.clone();
            items.push((Key::Mark(Marker::Cross, colours::VERMILLION), words));
        }
        let out = |limit: f64| {
            (self.rejected.iter().chain(&self.used)).any(|(_, x, y)| x.abs().max(y.abs()) > limit)
        };
        if out(self.close_range) || out(whole) {
            let words = "beyond the frame".to_owned();
            items.push((Key::Mark(Marker::Up, colours::SOFT_INK), words));
        }
        if !self.partial.is_empty() {
            let words = "ticks at the edge: one axis measured".to_owned();
            items.push((Key::Plain, words));
        }
        let at = (room.left, body.bottom - 25.0);
        notes(canvas, at, body.right - 20.0, &items);
    }
}

/// The half-power circle, the circle at a tenth of the beam, and the rms.
fn rings(report: &Report) -> [(f64, Pen, String); 3] {
    let dish = &report.station.dish;
    let rms = report.outcome.rms_after;
    let (half, tenth) = (dish.beamwidth / 2.0, dish.beamwidth / 10.0);
    let words = |name: &str, size: String, offset: Angle| match summary::loss_words(dish, offset) {
        Some(loss) => format!("{name}: {size} deg off, {loss} dB lost"),
        None => format!("{name}: {size} deg off, beyond the main beam"),
    };
    let digits = |size: Angle| number::significant(size.degrees(), 3);
    [
        (
            half.degrees(),
            Pen::new(colours::GREEN, 1.7),
            words("half power", digits(half), half),
        ),
        (
            tenth.degrees(),
            Pen::new(colours::GREEN, 1.7).dashed(6.0, 4.0),
            words("tenth of the beam", digits(tenth), tenth),
        ),
        (
            rms.degrees(),
            Pen::new(colours::INK, 1.3),
            words(
                "rms",
                number::rms(rms.degrees(), report.outcome.degrees_of_freedom),
                rms,
            ),
        ),
    ]
}
