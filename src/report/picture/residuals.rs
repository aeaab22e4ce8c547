//! Residuals of both axes against azimuth, elevation, time or order.

use plotters_backend::DrawingBackend;

use super::peaks::{Measured, half_range, quantile, shaded_words, stamp, thinning, used_words};
use crate::mount::{AxisKind, Kind};
use crate::number;
use crate::plot::{
    Align, Axis, Canvas, Density, Key, MOST_SINGLE_MARKS, Marker, Panel, Pen, Picture, Point, Rect,
    Scale, Text, Tick, azimuth_ticks, colours, linear_ticks, notes, time_ticks,
};
use crate::report::Report;
use crate::report::words::sentence;
use crate::solve::PeakOutcome;
use crate::time::Utc;

/// Above this many, only some of the peaks not used are shown, so that the used ones stay visible.
const MOST_REJECTED: usize = 120;
/// Up to this many peaks each has its error bar; more bars cover each other.
const MOST_BARS: usize = 150;
/// Fewer used peaks than these have no trend worth a line: two points of ten and a few to spare.
const FEWEST_FOR_TREND: usize = 24;
/// Points of the trend at most: one each 30 degrees of a turn.
const MOST_TREND_POINTS: usize = 12;
/// Peaks in each point of the trend at least: its mean is then three times as certain as a peak.
const FEWEST_IN_TREND_POINT: usize = 10;

/// The running median's line.
const TREND: Pen = Pen::new(colours::INK, 1.6);
/// The line at a tenth of the beam.
const TENTH: Pen = Pen::new(colours::GREEN, 1.2).dashed(6.0, 4.0);

/// What stands along the horizontal axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// The azimuth encoder reading, unwrapped.
    Azimuth,
    /// The elevation encoder reading.
    Elevation,
    /// UTC.
    Time,
    /// The row in the log.
    Order,
}

/// One residual of one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Dot {
    row: usize,
    x: f64,
    y: f64,
    sigma: f64,
    used: bool,
}

/// The residuals of one axis.
#[derive(Clone, Debug)]
struct Row {
    title: String,
    dots: Vec<Dot>,
    half_range: f64,
    trend: Vec<(f64, f64)>,
}

/// The picture.
#[derive(Clone, Debug)]
pub struct ResidualPicture {
    kind: Kind,
    against: Against,
    rows: [Row; 2],
    low: f64,
    high: f64,
    origin: Utc,
    tenth_of_beam: f64,
    stamp: String,
    used: String,
    rejected: String,
    any_rejected: bool,
}

impl ResidualPicture {
    /// Prepares it.
    pub fn of(report: &Report, against: Against) -> ResidualPicture {
        let peaks = &report.outcome.peaks;
        let origin = (peaks.iter().map(|p| p.time).min()).unwrap_or(report.created);
        let x = |p: &PeakOutcome| match against {
            Against::Azimuth => p.reading.azimuth.degrees(),
            Against::Elevation => p.reading.elevation.degrees(),
            Against::Time => p.time.seconds_since(origin),
            Against::Order => p.row as f64,
        };
        let beamwidth = report.station.dish.beamwidth;
        let kind = report.outcome.model.kind();
        let row =
            |name: &str, part: fn(&PeakOutcome) -> Option<f64>, sigma: fn(&PeakOutcome) -> f64| {
                let dots: Vec<Dot> = (peaks.iter())
                    .filter_map(|p| {
                        Some(Dot {
                            row: p.row,
                            x: x(p),
                            y: part(p)?,
                            sigma: sigma(p),
                            used: p.used,
                        })
                    })
                    .filter(|d| d.x.is_finite())
                    .collect();
                let any_used = dots.iter().any(|d| d.used);
                let shown = || dots.iter().filter(|d| d.used || !any_used);
                let mut sigmas: Vec<f64> = shown().map(|d| d.sigma).collect();
                let bar = quantile(&mut sigmas, 0.5).unwrap_or(0.0);
                let sizes = shown().map(|d| d.y.abs()).chain([bar * 1.2]);
                Row {
                    title: format!("{name} residual (deg)"),
                    half_range: half_range(sizes, beamwidth),
                    trend: trend(&dots),
                    dots,
                }
            };
        let rows = [
            row(
                &sentence(kind.axes()[1].cross_words()),
                |p| Measured::of(p, p.residual).cross_elevation,
                |p| p.cross_elevation_sigma.degrees(),
            ),
            row(
                kind.axes()[1].heading(),
                |p| Measured::of(p, p.residual).elevation,
                |p| p.elevation_sigma.degrees(),
            ),
        ];
        let (low, high) = (peaks.iter().map(x).filter(|v| v.is_finite()))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
                (a.min(v), b.max(v))
            });
        let (low, high) = against.range(low, high);
        let (used, rejected) = used_words(report);
        ResidualPicture {
            kind,
            against,
            rows,
            low,
            high,
            origin,
            tenth_of_beam: beamwidth.degrees() / 10.0,
            stamp: stamp(report),
            used,
            rejected,
            any_rejected: peaks.iter().any(|p| !p.used),
        }
    }
}

impl Against {
    /// The axis's ends around the values' ends.
    fn range(self, low: f64, high: f64) -> (f64, f64) {
        if !(low.is_finite() && high.is_finite()) {
            return (0.0, 1.0);
        }
        // The smallest span worth showing: a degree, a minute, a row.
        let least = match self {
            Against::Azimuth | Against::Elevation => 1.0,
            Against::Time => 60.0,
            Against::Order => 1.0,
        };
        let pad = ((high - low) * 0.025).max(least / 2.0);
        (low - pad, high + pad)
    }

    fn ticks(self, low: f64, high: f64, origin: Utc) -> Vec<Tick> {
        match self {
            Against::Azimuth => azimuth_ticks(low, high, 13),
            Against::Elevation => azimuth_ticks(low, high, 10),
            Against::Time => time_ticks(origin, low, high, 9).ticks,
            Against::Order => linear_ticks(low.max(1.0), high, 10)
                .into_iter()
                .filter(|t| t.value.fract() == 0.0)
                .collect(),
        }
    }

    fn axis_title(self, kind: Kind) -> String {
        let [one, two] = kind.axes().map(AxisKind::words);
        match self {
            Against::Azimuth => format!("{one} encoder reading (deg)"),
            Against::Elevation => format!("{two} encoder reading (deg)"),
            Against::Time => "time (UTC)".to_owned(),
            Against::Order => "row in the log".to_owned(),
        }
    }
}

/// Medians of the used residuals in groups of equal count along the axis.
fn trend(dots: &[Dot]) -> Vec<(f64, f64)> {
    let mut used: Vec<(f64, f64)> = dots.iter().filter(|d| d.used).map(|d| (d.x, d.y)).collect();
    if used.len() < FEWEST_FOR_TREND {
        return Vec::new();
    }
    used.sort_by(|a, b| a.0.total_cmp(&b.0));
    let points = (used.len() / FEWEST_IN_TREND_POINT).clamp(2, MOST_TREND_POINTS);
    used.chunks(used.len().div_ceil(points))
        .map(|group| {
            let mut xs: Vec<f64> = group.iter().map(|p| p.0).collect();
            let mut ys: Vec<f64> = group.iter().map(|p| p.1).collect();
            let median = |v: &mut Vec<f64>| quantile(v, 0.5).unwrap_or(0.0);
            (median(&mut xs), median(&mut ys))
        })
        .collect()
}

impl ResidualPicture {
    fn draw_row<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        row: &Row,
        frame: Rect,
        labelled: bool,
    ) -> Option<u32> {
        let panel = Panel {
            frame,
            x: Axis {
                scale: Scale::linear(self.low, self.high, frame.left, frame.right),
                ticks: self.against.ticks(self.low, self.high, self.origin),
                title: self.against.axis_title(self.kind),
            },
            y: Axis {
                scale: Scale::linear(-row.half_range, row.half_range, frame.bottom, frame.top),
                ticks: linear_ticks(-row.half_range, row.half_range, 6),
                title: row.title.clone(),
            },
        };
        panel.draw(canvas, labelled);
        if row.dots.is_empty() {
            let style = Text::new(colours::SOFT_INK, 15.0).align(Align::Centre);
            let (x, y) = frame.centre();
            canvas.text((x, y - 12.0), "this axis was not measured", &style);
            return None;
        }
        let mut most = None;
        self.draw_beam_band(canvas, &panel);
        let used = row.dots.iter().filter(|d| d.used).count();
        if used > MOST_SINGLE_MARKS {
            let places = row
                .dots
                .iter()
                .filter(|d| d.used)
                .map(|d| panel.at(d.x, d.y));
            let density = Density::of(places, frame, 6.0);
            density.draw(canvas);
            most = Some(density.most());
        } else {
            draw_dots(canvas, &panel, row, used);
        }
        let rejected: Vec<&Dot> = row.dots.iter().filter(|d| !d.used).collect();
        for d in rejected
            .iter()
            .step_by(thinning(rejected.len(), MOST_REJECTED))
        {
            let at = (d.x, d.y);
            panel.row_mark(canvas, d.row, at, Marker::Cross, 3.8, colours::VERMILLION);
        }
        let line: Vec<Point> = row.trend.iter().map(|(x, y)| panel.at(*x, *y)).collect();
        if most.is_some() {
            // Over dark cells the line needs paper of its own.
            canvas.path(&line, &Pen::new(colours::PAPER, 4.0).opacity(0.8));
        }
        canvas.path(&line, &TREND);
        most
    }

    fn draw_beam_band<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, panel: &Panel) {
        if !panel.y.scale.holds(self.tenth_of_beam) {
            return;
        }

        let f = panel.frame;
        for y in [self.tenth_of_beam, -self.tenth_of_beam].map(|v| panel.y.scale.at(v)) {
            canvas.line((f.left, y), (f.right, y), &TENTH);
        }
    }

    fn single_bars(&self) -> bool {
        self.rows.iter().any(|r| {
            let used = r.dots.iter().filter(|d| d.used).count();
            used <= MOST_BARS && r.dots.iter().any(|d| d.used && d.sigma > 0.0)
        })
    }
}

fn draw_dots<DB: DrawingBackend>(canvas: &mut Canvas<DB>, panel: &Panel, row: &Row, used: usize) {
    let radius = match used {
        0..=150 => 3.2,
        151..=600 => 2.4,
        _ => 1.7,
    };
    if used <= MOST_BARS {
        let pen = Pen::new(colours::BLUE, 1.0).opacity(0.45);
        let f = panel.frame;
        for d in row.dots.iter().filter(|d| d.used && d.sigma.is_finite()) {
            let (x, up) = panel.at(d.x, d.y + d.sigma);
            let (_, down) = panel.at(d.x, d.y - d.sigma);
            canvas.line((x, up.max(f.top)), (x, down.min(f.bottom)), &pen);
        }
    }
    for d in row.dots.iter().filter(|d| d.used) {
        panel.row_mark(
            canvas,
            d.row,
            (d.x, d.y),
            Marker::Disc,
            radius,
            colours::BLUE,
        );
    }
}

impl Picture for ResidualPicture {
    fn file_stem(&self) -> &str {
        match self.against {
            Against::Azimuth => "residuals-by-azimuth",
            Against::Elevation => "residuals-by-elevation",
            Against::Time => "residuals-by-time",
            Against::Order => "residuals-by-order",
        }
    }
    fn title(&self) -> String {
        let [one, two] = self.kind.axes().map(AxisKind::words);
        let word = match self.against {
            Against::Azimuth => one,
            Against::Elevation => two,
            Against::Time => "time",
            Against::Order => "order",
        };
        format!("What is left, by {word}")
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        let look = match self.against {
            Against::Azimuth if !self.kind.has_track() => {
                "Look for a wave: once a turn means an eccentric drive or a misaligned \
                 axis."
            }
            Against::Azimuth => {
                "Look for a wave: once a turn means an eccentric drive or a tilt, twice a turn a \
                 warped track."
            }
            Against::Elevation => {
                "Look for a slope or a bend: sag, a wrong gear ratio or refraction leave one."
            }
            Against::Time => {
                "Look for a step (something slipped or was bumped) or a drift (warming, a clock)."
            }
            Against::Order => {
                "Look for a step between two rows, and for single rows far from their neighbours."
            }
        };
        let bars = if self.single_bars() {
            ", with one standard deviation"
        } else {
            ""
        };
        format!(
            "Emitter minus beam after the fit{bars}. A good fit is an even band around zero. {look}"
        )
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(104.0, 52.0, 40.0, 62.0);
        let frames = room.rows(2, 38.0);
        let upper = self.draw_row(canvas, &self.rows[0], frames[0], false);
        let lower = self.draw_row(canvas, &self.rows[1], frames[1], true);
        let used = match upper.max(lower) {
            Some(most) => shaded_words(&self.used, most),
            None => self.used.clone(),
        };
        let mut items = vec![(Key::Mark(Marker::Disc, colours::BLUE), used)];
        if self.any_rejected {
            let words = self.rejected.clone();
            items.push((Key::Mark(Marker::Cross, colours::VERMILLION), words));
            let outside = |r: &Row| (r.dots.iter()).any(|d| !d.used && d.y.abs() > r.half_range);
            if self.rows.iter().any(outside) {
                let words = "beyond the frame".to_owned();
                items.push((Key::Mark(Marker::Up, colours::VERMILLION), words));
            }
        }
        if self.rows.iter().any(|r| !r.trend.is_empty()) {
            items.push((Key::Line(TREND), "running median".to_owned()));
        }
        if (self.rows.iter()).any(|r| self.tenth_of_beam < r.half_range) {
            let size = number::significant(self.tenth_of_beam, 2);
            let words = format!("tenth of the beam, {size} deg");
            items.push((Key::Line(TENTH), words));
        }
        let at = (room.left, body.top + 16.0);
        notes(canvas, at, body.right - 20.0, &items);
    }
}
