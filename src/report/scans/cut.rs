//! A cut or a cross: signal and fit along each axis, and what is left.

use plotters_backend::DrawingBackend;

use super::words::range;
use crate::plot::{
    Align, Axis as ChartAxis, Canvas, Key, Marker, Panel, Pen, Point, Rect, Scale, Text, colours,
    linear_ticks, notes,
};
use crate::scan::{CurvePoint, FittedCurve, ReducedScan, ScanAxis};

const FIT: Pen = Pen::new(colours::INK, 1.6);
const BASELINE: Pen = Pen::new(colours::PURPLE, 1.4).dashed(6.0, 4.0);
const PEAK: Pen = Pen::new(colours::GREEN, 1.2).dashed(3.0, 3.0);
/// Residuals are shown to this many standard deviations: just beyond what is left out as an
/// outlier.
const SIGMAS: f64 = 5.0;

/// The passes along one axis.
struct Column {
    axis: ScanAxis,
    /// One list a pass: offset in degrees with the point; and whether it runs backward.
    passes: Vec<(Vec<(f64, CurvePoint)>, bool)>,
}

/// What is drawn.
pub(super) struct CutDrawing {
    columns: Vec<Column>,
    fitted: bool,
    any_back: bool,
    any_left_out: bool,
    measured: [bool; 2],
}

impl CutDrawing {
    pub fn of(scan: &ReducedScan, curve: &FittedCurve) -> CutDrawing {
        let along = |axis: ScanAxis, p: &CurvePoint| match axis {
            ScanAxis::Azimuth => p.x.to_degrees(),
            ScanAxis::Elevation => p.y.to_degrees(),
        };
        let column = |axis: ScanAxis| Column {
            axis,
            passes: curve
                .passes
                .iter()
                .filter(|p| p.axis == axis)
                .map(|p| {
                    let own = &curve.points[p.from..p.to];
                    let points = own.iter().map(|q| (along(axis, q), *q)).collect();
                    (points, p.speed < 0.0)
                })
                .collect(),
        };
        let mut columns: Vec<Column> = [ScanAxis::Azimuth, ScanAxis::Elevation]
            .into_iter()
            .map(column)
            .filter(|c| !c.passes.is_empty())
            .collect();
        if columns.is_empty() {
            // A scan without passes: its samples along the axis on which it moved more.
            let span = |axis: ScanAxis| {
                let all = || curve.points.iter().map(|p| along(axis, p));
                all().fold(f64::MIN, f64::max) - all().fold(f64::MAX, f64::min)
            };
            let axis = if span(ScanAxis::Azimuth) >= span(ScanAxis::Elevation) {
                ScanAxis::Azimuth
            } else {
                ScanAxis::Elevation
            };
            let points = curve.points.iter().map(|q| (along(axis, q), *q)).collect();
            columns.push(Column {
                axis,
                passes: vec![(points, false)],
            });
        }
        let all = || columns.iter().flat_map(|c| &c.passes);
        CutDrawing {
            fitted: curve.lobe.is_some(),
            any_back: all().any(|(_, back)| *back),
            any_left_out: curve.points.iter().any(|p| !p.used),
            measured: [scan.azimuth.is_some(), scan.elevation.is_some()],
            columns,
        }
    }

    fn draw_column<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        column: &Column,
        room: Rect,
        power: (f64, f64),
    ) {
        let split = room.top + 0.66 * room.height();
        let upper = Rect {
            bottom: split - 16.0,
            ..room
        };
        let lower = Rect {
            top: split + 16.0,
            ..room
        };
        let points = || column.passes.iter().flat_map(|(points, _)| points);
        let (low, high) = range(points().map(|(x, _)| *x), 0.03);
        let what = match column.axis {
            ScanAxis::Azimuth => "cross-elevation",
            ScanAxis::Elevation => "elevation",
        };
        let from = if self.fitted {
            "from the peak"
        } else {
            "from the middle"
        };
        let x = |frame: Rect| ChartAxis {
            scale: Scale::linear(low, high, frame.left, frame.right),
            ticks: linear_ticks(low, high, 8),
            title: format!("{what} {from} (deg)"),
        };
        let panel = Panel {
            frame: upper,
            x: x(upper),
            y: ChartAxis {
                scale: Scale::linear(power.0, power.1, upper.bottom, upper.top),
                ticks: linear_ticks(power.0, power.1, 7),
                title: format!("Power along {} (linear)", column.axis),
            },
        };
        panel.draw(canvas, !self.fitted);
        for (points, back) in &column.passes {
            self.draw_signal(canvas, &panel, points, *back);
        }
        if !self.fitted {
            return;
        }
        let index = usize::from(column.axis == ScanAxis::Elevation);
        if self.measured[index] && panel.x.scale.holds(0.0) {
            let at = panel.x.scale.at(0.0);
            canvas.line((at, upper.top), (at, upper.bottom), &PEAK);
        }
        let left = Panel {
            frame: lower,
            x: x(lower),
            y: ChartAxis {
                scale: Scale::linear(-SIGMAS, SIGMAS, lower.bottom, lower.top),
                ticks: linear_ticks(-SIGMAS, SIGMAS, 5),
                title: "Signal less fit (standard deviations)".to_owned(),
            },
        };
        left.draw(canvas, true);
        for (points, back) in &column.passes {
            for (offset, p) in points.iter().filter(|(_, p)| p.noise > 0.0) {
                let sigmas = (p.power - p.fit) / p.noise;
                draw_point(
                    canvas,
                    &left,
                    (*offset, sigmas),
                    p.used,
                    *back,
                    points.len(),
                );
            }
        }
    }

    fn draw_signal<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        panel: &Panel,
        points: &[(f64, CurvePoint)],
        back: bool,
    ) {
        let line = |value: fn(&CurvePoint) -> f64| -> Vec<Point> {
            points.iter().map(|(x, p)| panel.at(*x, value(p))).collect()
        };
        for (x, p) in points {
            draw_point(canvas, panel, (*x, p.power), p.used, back, points.len());
        }
        canvas.path(&line(|p| p.baseline), &BASELINE);
        canvas.path(&line(|p| p.fit), &FIT);
    }
}

fn draw_point<DB: DrawingBackend>(
    canvas: &mut Canvas<DB>,
    panel: &Panel,
    at: (f64, f64),
    used: bool,
    back: bool,
    count: usize,
) {
    let radius = if count > 150 { 1.8 } else { 2.6 };
    match (used, back) {
        (true, false) => panel.mark(canvas, at, Marker::Disc, radius, colours::BLUE),
        (true, true) => panel.mark(canvas, at, Marker::Ring, radius, colours::BLUE),
        (false, _) => panel.mark(canvas, at, Marker::Cross, 3.4, colours::VERMILLION),
    };
}

impl CutDrawing {
    /// Draws it within `body`.
    pub fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(84.0, 52.0, 40.0, 50.0);
        // Spikes may stand out of the frame, with a mark at its edge; the rest may not.
        let all = self.columns.iter().flat_map(|c| &c.passes);
        let shown = all
            .flat_map(|(points, _)| points)
            .flat_map(|(_, p)| [if p.used { p.power } else { p.fit }, p.fit]);
        let power = range(shown, 0.08);
        let columns = room.columns(self.columns.len(), 84.0);
        for (column, frame) in self.columns.iter().zip(columns) {
            self.draw_column(canvas, column, frame, power);
        }
        if self
            .columns
            .iter()
            .all(|c| c.passes.iter().all(|p| p.0.is_empty()))
        {
            let style = Text::new(colours::SOFT_INK, 15.0).align(Align::Centre);
            canvas.text(room.centre(), "no samples", &style);
        }
        let there = if self.any_back {
            "sample, there"
        } else {
            "sample"
        };
        let mut items = vec![(Key::Mark(Marker::Disc, colours::BLUE), there.to_owned())];
        if self.any_back {
            let back = "sample, back".to_owned();
            items.push((Key::Mark(Marker::Ring, colours::BLUE), back));
        }
        if self.any_left_out {
            let out = "left out".to_owned();
            items.push((Key::Mark(Marker::Cross, colours::VERMILLION), out));
        }
        if self.fitted {
            items.push((Key::Line(FIT), "fit".to_owned()));
            items.push((Key::Line(BASELINE), "its baseline".to_owned()));
            if self.measured.contains(&true) {
                items.push((Key::Line(PEAK), "peak".to_owned()));
            }
        }
        notes(
            canvas,
            (room.left, body.top + 16.0),
            body.right - 20.0,
            &items,
        );
    }
}
