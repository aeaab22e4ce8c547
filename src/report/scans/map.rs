//! A raster: the signal as a map with the fitted beam's contours, and what is left.

use plotters_backend::DrawingBackend;

use super::words::range;
use crate::number;
use crate::plot::{
    Axis as ChartAxis, Canvas, Colour, Key, Marker, Panel, Pen, Point, Rect, Scale, Text, colours,
    linear_ticks, notes,
};
use crate::scan::{CurvePoint, FittedCurve, ReducedScan, ScanAxis};

/// Contours of the fitted beam, parts of its height; half power lies on one.
const LEVELS: [f64; 5] = [0.9, 0.7, 0.5, 0.3, 0.1];
const CONTOUR: Pen = Pen::new(colours::INK, 1.3);
const HALF: Pen = Pen::new(colours::INK, 2.2);
/// Residuals are coloured up to this many standard deviations; good ones lie within.
const SIGMAS: f64 = 4.0;
/// From no signal to the strongest: light to dark, also in grey.
const POWER: [Colour; 4] = [
    Colour(250, 248, 240),
    Colour(170, 208, 228),
    colours::BLUE,
    Colour(0, 38, 78),
];
/// From below the fit over none to above.
const LEFT: [Colour; 3] = [colours::BLUE, Colour(250, 250, 250), colours::VERMILLION];

/// What is drawn.
pub(super) struct MapDrawing {
    points: Vec<CurvePoint>,
    cells: Vec<Cell>,
    contours: Vec<(f64, Vec<(f64, f64)>)>,
    measured: bool,
}

impl MapDrawing {
    pub fn of(scan: &ReducedScan, curve: &FittedCurve) -> MapDrawing {
        let contours = curve.lobe.as_ref().map_or(Vec::new(), |lobe| {
            LEVELS.iter().map(|l| (*l, lobe.contour(*l))).collect()
        });
        MapDrawing {
            points: curve.points.clone(),
            cells: cells(curve),
            contours,
            measured: scan.azimuth.is_some() || scan.elevation.is_some(),
        }
    }

    /// Two square frames of the same scale.
    fn panel(&self, frame: Rect, title: &str) -> Panel {
        let degrees = |value: fn(&CurvePoint) -> f64| {
            range(self.points.iter().map(|p| value(p).to_degrees()), 0.06)
        };
        let (left, right) = degrees(|p| p.x);
        let (low, high) = degrees(|p| p.y);
        // A degree is as long in both directions.
        let scale = (frame.width() / (right - left)).min(frame.height() / (high - low));
        let (cx, cy) = (0.5 * (left + right), 0.5 * (low + high));
        let (hx, hy) = (0.5 * frame.width() / scale, 0.5 * frame.height() / scale);
        Panel {
            frame,
            x: ChartAxis {
                scale: Scale::linear(cx - hx, cx + hx, frame.left, frame.right),
                ticks: linear_ticks(cx - hx, cx + hx, 7),
                title: format!("cross-elevation from the {} (deg)", self.origin()),
            },
            y: ChartAxis {
                scale: Scale::linear(cy - hy, cy + hy, frame.bottom, frame.top),
                ticks: linear_ticks(cy - hy, cy + hy, 7),
                title: title.to_owned(),
            },
        }
    }

    fn origin(&self) -> &'static str {
        if self.contours.is_empty() {
            "middle"
        } else {
            "peak"
        }
    }

    /// Each point as a cell half way to its neighbours; the others' marks on top.
    fn draw_points<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        panel: &Panel,
        colour: impl Fn(&CurvePoint) -> Colour,
    ) {
        let f = panel.frame;
        let degrees = |p: &CurvePoint| (p.x.to_degrees(), p.y.to_degrees());
        for (p, cell) in self.points.iter().zip(&self.cells) {
            let (from, to) = (
                panel.at(cell.left, cell.high),
                panel.at(cell.right, cell.low),
            );
            // A hair more, so that no seam shows between cells.
            let from = (from.0.max(f.left), from.1.max(f.top));
            let to = ((to.0 + SEAM).min(f.right), (to.1 + SEAM).min(f.bottom));
            if p.used && from.0 < to.0 && from.1 < to.1 {
                canvas.rectangle(from, to, colour(p));
            }
        }
        for p in self.points.iter().filter(|p| !p.used) {
            panel.mark(canvas, degrees(p), Marker::Cross, 3.4, colours::VERMILLION);
        }
    }
}

/// Pixels by which neighbouring cells overlap, so that no white line shows between them.
const SEAM: f64 = 0.4;

/// A rectangle of the sky, degrees from the peak.
#[derive(Clone, Copy, Debug)]
struct Cell {
    left: f64,
    right: f64,
    low: f64,
    high: f64,
}

/// The cell of each point: half way to the neighbours in its row and to the next rows; without
/// rows even squares.
fn cells(curve: &FittedCurve) -> Vec<Cell> {
    let n = curve.points.len().max(1);
    let span = |value: fn(&CurvePoint) -> f64| {
        let (low, high) = range(curve.points.iter().map(value), 0.0);
        (high - low).to_degrees()
    };
    let even = 0.5 * (span(|p| p.x) * span(|p| p.y) / n as f64).sqrt();
    let square = |p: &CurvePoint| Cell {
        left: p.x.to_degrees() - even,
        right: p.x.to_degrees() + even,
        low: p.y.to_degrees() - even,
        high: p.y.to_degrees() + even,
    };
    let mut cells: Vec<Cell> = curve.points.iter().map(square).collect();
    let mut rows: Vec<f64> = curve.passes.iter().map(|p| p.across).collect();
    rows.sort_by(f64::total_cmp);
    let mut apart: Vec<f64> = rows.windows(2).map(|w| w[1] - w[0]).collect();
    apart.sort_by(f64::total_cmp);
    let Some(apart) = apart.get(apart.len() / 2) else {
        return cells;
    };
    let half = 0.5 * (apart * curve.width).to_degrees();
    for pass in &curve.passes {
        let own = &curve.points[pass.from..pass.to];
        let along = |p: &CurvePoint| match pass.axis {
            ScanAxis::Azimuth => p.x.to_degrees(),
            ScanAxis::Elevation => p.y.to_degrees(),
        };
        for (i, (p, cell)) in own.iter().zip(&mut cells[pass.from..pass.to]).enumerate() {
            let middle = |j: Option<usize>| {
                let other = j.and_then(|j| own.get(j));
                other.map(|q| 0.5 * (along(p) + along(q)))
            };
            let (before, behind) = (middle(i.checked_sub(1)), middle(Some(i + 1)));
            // At the ends of a row there is one neighbour only.
            let mirrored = |m: f64| 2.0 * along(p) - m;
            let from = before.or(behind.map(mirrored)).unwrap_or(along(p));
            let to = behind.or(before.map(mirrored)).unwrap_or(along(p));
            let (from, to) = (from.min(to), from.max(to));
            let (x, y) = (p.x.to_degrees(), p.y.to_degrees());
            *cell = match pass.axis {
                ScanAxis::Azimuth => Cell {
                    left: from,
                    right: to,
                    low: y - half,
                    high: y + half,
                },
                ScanAxis::Elevation => Cell {
                    left: x - half,
                    right: x + half,
                    low: from,
                    high: to,
                },
            };
        }
    }
    cells
}

/// Shades of a ramp: finer steps cannot be seen, and a PNG file has few colours.
const SHADES: usize = 40;

/// The colour at `t` from 0 to 1 along a ramp.
fn ramp(ramp: &[Colour], t: f64) -> Colour {
    let last = SHADES as f64 - 1.0;
    let t = (t.clamp(0.0, 1.0) * last).round() / last;
    let place = t * (ramp.len() - 1) as f64;
    let i = (place as usize).min(ramp.len() - 2);
    let part = place - i as f64;
    let mix = |a: u8, b: u8| (f64::from(a) + part * (f64::from(b) - f64::from(a))).round() as u8;
    let (a, b) = (ramp[i], ramp[i + 1]);
    Colour(mix(a.0, b.0), mix(a.1, b.1), mix(a.2, b.2))
}

/// A colour key with the values at its ends.
fn bar<DB: DrawingBackend>(
    canvas: &mut Canvas<DB>,
    (left, top): Point,
    colours_of: &[Colour],
    ends: [&str; 2],
) {
    /// Width of the legend's ramp, pixels.
    const WIDTH: f64 = 150.0;
    let style = Text::new(colours::SOFT_INK, 13.0);
    canvas.text((left, top + 10.0), ends[0], &style);
    let start = left + style.width(ends[0]) * 1.08 + 8.0;
    for i in 0..SHADES {
        let at = |k: usize| start + WIDTH * k as f64 / SHADES as f64;
        let colour = ramp(colours_of, i as f64 / (SHADES as f64 - 1.0));
        canvas.rectangle((at(i), top), (at(i + 1) + SEAM, top + 11.0), colour);
    }
    canvas.text((start + WIDTH + 8.0, top + 10.0), ends[1], &style);
}

impl MapDrawing {
    /// Draws it within `body`.
    pub fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(84.0, 64.0, 40.0, 50.0);
        let frames = room.columns(2, 84.0);
        let power = range(self.points.iter().filter(|p| p.used).map(|p| p.power), 0.0);
        let signal = self.panel(frames[0], "Power; elevation from the peak (deg)");
        signal.draw(canvas, true);
        self.draw_points(canvas, &signal, |p| {
            ramp(&POWER, (p.power - power.0) / (power.1 - power.0))
        });
        for (level, contour) in &self.contours {
            let line: Vec<Point> = contour
                .iter()
                .map(|(x, y)| signal.at(x.to_degrees(), y.to_degrees()))
                .collect();
            canvas.path(&line, &Pen::new(colours::PAPER, 3.2).opacity(0.55));
            let pen = if (*level - 0.5).abs() < 0.01 {
                HALF
            } else {
                CONTOUR
            };
            canvas.path(&line, &pen);
        }
        let ends = [power.0, power.1].map(|v| number::significant(v, 3));
        let ends = [ends[0].as_str(), ends[1].as_str()];
        bar(canvas, (frames[0].left, body.top + 6.0), &POWER, ends);
        let mut items = Vec::new();
        if !self.contours.is_empty() {
            if self.measured {
                signal.mark(canvas, (0.0, 0.0), Marker::Diamond, 3.2, colours::GREEN);
                items.push((
                    Key::Mark(Marker::Diamond, colours::GREEN),
                    "peak".to_owned(),
                ));
            }
            items.push((Key::Line(HALF), "half power".to_owned()));
            items.push((
                Key::Line(CONTOUR),
                "0.9, 0.7, 0.3, 0.1 of the peak".to_owned(),
            ));
            let left = self.panel(frames[1], "Signal less fit; elevation from the peak (deg)");
            left.draw(canvas, true);
            self.draw_points(canvas, &left, |p| {
                ramp(&LEFT, 0.5 + 0.5 * (p.power - p.fit) / p.noise / SIGMAS)
            });
            let ends = [
                format!("-{SIGMAS}"),
                format!("{SIGMAS} standard deviations"),
            ];
            let ends = [ends[0].as_str(), ends[1].as_str()];
            bar(canvas, (frames[1].left, body.top + 6.0), &LEFT, ends);
        }
        if self.points.iter().any(|p| !p.used) {
            let out = "left out".to_owned();
            items.push((Key::Mark(Marker::Cross, colours::VERMILLION), out));
        }
        notes(
            canvas,
            (frames[0].left, body.top + 36.0),
            frames[0].right + 20.0,
            &items,
        );
    }
}
