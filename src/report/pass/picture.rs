//! A pass: its path over the sky, how far the beam was from the demand, and what that cost.

use plotters_backend::DrawingBackend;

use super::document::clock;
use crate::angle::Angle;
use crate::live::{AskedDirection, LoggedPass, ON_TARGET_DB, PassSample, RelayLog, loss_db};
use crate::plot::{
    Axis, Canvas, Key, Marker, Panel, Pen, Picture, Rect, Scale, colours, linear_ticks, notes,
    time_ticks,
};
use crate::report::picture::RoundSky;
use crate::time::Utc;

/// Losses beyond this are drawn at the upper edge: that of a beam a beamwidth off.
const MOST_DB: f64 = 12.0;
/// This many dots of the beam's path are enough.
const MOST_DOTS: usize = 160;

/// The picture.
#[derive(Clone, Debug)]
pub struct PassPicture {
    stem: String,
    stamp: String,
    beamwidth: Angle,
    origin: Utc,
    samples: Vec<PassSample>,
}

impl PassPicture {
    /// Prepares it for a pass of a log.
    pub fn new(stem: String, log: &RelayLog, pass: &LoggedPass) -> PassPicture {
        let from = pass.figures.from_utc;
        PassPicture {
            stem,
            stamp: format!(
                "{}, {} {} to {} UTC",
                log.station,
                from.to_string().get(..10).unwrap_or_default(),
                clock(from),
                clock(pass.figures.to_utc)
            ),
            beamwidth: log.beamwidth,
            origin: from,
            samples: pass.samples.clone(),
        }
    }

    fn at(&self, sample: &PassSample) -> f64 {
        sample.time.seconds_since(self.origin)
    }

    fn sky<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, room: Rect) {
        // Beside the circle stand the names of the quarters.
        let radius = (room.width().min(room.height()) / 2.0 - 52.0).max(40.0);
        let sky = RoundSky {
            centre: room.centre(),
            radius,
        };
        sky.draw_grid(canvas, &[]);
        let place = |asked: AskedDirection| {
            // Beyond the zenith is the other side of the sky.
            let demand = asked.demand()?;
            Some(sky.at(demand.azimuth.radians(), demand.elevation.degrees()))
        };
        let path: Vec<_> = (self.samples.iter())
            .filter_map(|s| place(s.demand))
            .collect();
        canvas.path(&path, &Pen::new(colours::VERMILLION, 2.2));
        let step = self.samples.len().div_ceil(MOST_DOTS).max(1);
        for sample in self.samples.iter().step_by(step) {
            if let Some(at) = place(sample.beam) {
                canvas.marker(at, Marker::Disc, 2.6, colours::BLUE);
            }
        }
        sky.label_quarters(canvas);
    }

    /// A curve over time, cut off at the top of its panel.
    fn curve<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        panel: &Panel,
        top: f64,
        pen: &Pen,
        value: impl Fn(&PassSample) -> Option<f64>,
    ) {
        /// Between readings farther apart than this no line is drawn, for nothing is known: the
        /// relay reads the mount several times a second.
        const GAP_S: f64 = 5.0;
        let mut piece = Vec::new();
        let mut last = f64::NEG_INFINITY;
        for sample in &self.samples {
            let at = self.at(sample);
            let value = value(sample);
            if at - last > GAP_S || value.is_none() {
                canvas.path(&std::mem::take(&mut piece), pen);
            }
            if let Some(value) = value {
                piece.push(panel.at(at, value.min(top)));
            }
            last = at;
        }
        canvas.path(&piece, pen);
    }
}

impl Picture for PassPicture {
    fn file_stem(&self) -> &str {
        &self.stem
    }
    fn title(&self) -> String {
        "A pass through the relay".to_owned()
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        "The path demanded over the sky (line) and the path of the beam (dots); below each other \
         how far the beam was from the demand, and the signal that this cost, with the correction and \
         as it would have been without. What is larger than a panel is drawn at its upper edge."
            .to_owned()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let keys = [
            (
                Key::Line(Pen::new(colours::VERMILLION, 2.2)),
                "demand".to_owned(),
            ),
            (Key::Mark(Marker::Disc, colours::BLUE), "beam".to_owned()),
            (Key::Line(WITH), "with the correction".to_owned()),
            (Key::Line(WITHOUT), "without it".to_owned()),
            (Key::Line(TARGET), format!("{ON_TARGET_DB} dB: on target")),
        ];
        notes(
            canvas,
            (body.left + 20.0, body.top + 14.0),
            body.right,
            &keys,
        );
        // The meanings of lines stand above the titles of the panels.
        let room = body.inset(10.0, 60.0, 34.0, 56.0);
        let left = Rect {
            right: room.left + 0.42 * room.width(),
            ..room
        };
        self.sky(canvas, left);
        let right = Rect {
            left: left.right + 84.0,
            ..room
        };
        let end = self.samples.last().map_or(1.0, |s| self.at(s)).max(1.0);
        let (from, to) = (-0.02 * end, 1.02 * end);
        let most_off = (self.samples.iter())
            .flat_map(|s| [Some(s.miss), s.uncorrected])
            .flatten()
            .fold(Angle::ZERO, Angle::max);
        let off_top = most_off
            .min(self.beamwidth * 1.2)
            .max(self.beamwidth * 0.1)
            .degrees();
        let rows = right.rows(2, 34.0);
        for (i, frame) in rows.iter().enumerate() {
            let (top, title) = match i {
                0 => (off_top * 1.08, "off the demand (deg)"),
                _ => (
                    MOST_DB.min(1.08 * self.most_loss()).max(1.2),
                    "signal lost (dB)",
                ),
            };
            let panel = Panel {
                frame: *frame,
                x: Axis {
                    scale: Scale::linear(from, to, frame.left, frame.right),
                    ticks: time_ticks(self.origin, from, to, (frame.width() / 95.0) as usize).ticks,
                    title: String::new(),
                },
                y: Axis {
                    scale: Scale::linear(0.0, top, frame.bottom, frame.top),
                    ticks: linear_ticks(0.0, top, (frame.height() / 26.0).max(2.0) as usize),
                    title: title.to_owned(),
                },
            };
            panel.draw(canvas, i == 1);
            let width = self.beamwidth;
            if i == 0 {
                self.curve(canvas, &panel, top, &WITHOUT, |s| {
                    s.uncorrected.map(Angle::degrees)
                });
                self.curve(canvas, &panel, top, &WITH, |s| Some(s.miss.degrees()));
            } else {
                let line = panel.at(from, ON_TARGET_DB).1;
                canvas.line((frame.left, line), (frame.right, line), &TARGET);
                self.curve(canvas, &panel, top, &WITHOUT, |s| {
                    s.uncorrected
                        .map(|miss| loss_db(miss, width).unwrap_or(MOST_DB))
                });
                self.curve(canvas, &panel, top, &WITH, |s| {
                    Some(loss_db(s.miss, width).unwrap_or(MOST_DB))
                });
            }
        }
    }
}

impl PassPicture {
    fn most_loss(&self) -> f64 {
        (self.samples.iter())
            .flat_map(|s| [Some(s.miss), s.uncorrected])
            .flatten()
            .map(|miss| loss_db(miss, self.beamwidth).unwrap_or(MOST_DB))
            .fold(0.0, f64::max)
    }
}

/// With the correction.
const WITH: Pen = Pen::new(colours::BLUE, 2.0);
/// Below it the beam is on target.
const TARGET: Pen = Pen::new(colours::GREEN, 1.2);
/// Without it.
const WITHOUT: Pen = Pen::new(colours::ORANGE, 2.0).dashed(6.0, 4.0);
