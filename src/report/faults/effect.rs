//! What a cause does to each peak, and what is left with it.

use plotters_backend::DrawingBackend;

use super::Drawing;
use crate::faults::{Against, EffectPoint, FaultAxis};
use crate::mount::Kind;
use crate::plot::{
    Axis, Canvas, Key, Marker, Panel, Pen, Point, Rect, Scale, Tick, azimuth_ticks, colours,
    linear_ticks, notes,
};

/// The effect by the model.
const EFFECT: Pen = Pen::new(colours::INK, 1.8);

/// The picture.
#[derive(Clone, Debug)]
pub struct EffectPicture {
    kind: Kind,
    against: Against,
    axis: FaultAxis,
    points: Vec<EffectPoint>,
    low: f64,
    high: f64,
    half_range: f64,
}

impl EffectPicture {
    /// Prepares it.
    pub fn new(
        kind: Kind,
        against: Against,
        axis: FaultAxis,
        mut points: Vec<EffectPoint>,
    ) -> EffectPicture {
        // The two sides of arrival are spread by row, so that dots do not cover each other.
        if against == Against::Arrival {
            let rows = points.iter().map(|p| p.row).max().unwrap_or(1) as f64;
            for p in &mut points {
                p.x += 0.7 * (p.row as f64 / rows - 0.5);
            }
        }
        points.sort_by(|a, b| a.x.total_cmp(&b.x));
        let (low, high) = (points.iter()).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| {
            (a.min(p.x), b.max(p.x))
        });
        let (low, high) = match against {
            Against::Arrival => (-1.6, 1.6),
            Against::Phase => (0.0, 360.0),
            _ if low < high => (low - 0.03 * (high - low), high + 0.03 * (high - low)),
            _ => (low - 1.0, low + 1.0),
        };
        let mut sizes: Vec<f64> = (points.iter().filter(|p| p.kept))
            .map(|p| p.seen.degrees().abs().max(p.left.degrees().abs()))
            .collect();
        sizes.sort_by(f64::total_cmp);
        let most = sizes.last().copied().unwrap_or(1.0).max(1e-9);
        EffectPicture {
            kind,
            against,
            axis,
            points,
            low,
            high,
            half_range: 1.15 * most,
        }
    }

    fn ticks(&self) -> Vec<Tick> {
        match self.against {
            Against::Arrival => {
                let mut ticks = vec![
                    Tick::new(-1.0, "arrived with decreasing reading"),
                    Tick::new(1.0, "arrived with increasing reading"),
                ];
                if self.points.iter().any(|p| p.x.abs() < 0.5) {
                    ticks.insert(1, Tick::new(0.0, "not logged"));
                }
                ticks
            }
            Against::Azimuth | Against::Phase => azimuth_ticks(self.low, self.high, 13),
            _ => linear_ticks(self.low, self.high, 10),
        }
    }

    fn along(&self) -> String {
        match self.against {
            Against::Hours => "hours since the first peak",
            Against::Azimuth => {
                return format!("{} encoder reading (deg)", self.kind.axes()[0].words());
            }
            Against::Elevation => "elevation (deg)",
            Against::Arrival => "",
            Against::Temperature => "logged temperature (C)",
            Against::SolarHours => "local solar time (h)",
            Against::Phase => "place within one cycle (deg)",
        }
        .to_owned()
    }

    fn panel(&self, frame: Rect, title: &str) -> Panel {
        let axis = match self.axis {
            FaultAxis::Azimuth => self.kind.axes()[1].cross_words(),
            _ => self.kind.axes()[1].words(),
        };
        let half = self.half_range;
        Panel {
            frame,
            x: Axis {
                scale: Scale::linear(self.low, self.high, frame.left, frame.right),
                ticks: self.ticks(),
                title: self.along(),
            },
            y: Axis {
                scale: Scale::linear(-half, half, frame.bottom, frame.top),
                ticks: linear_ticks(-half, half, 6),
                title: format!("Misfit in {axis} {title} (deg)"),
            },
        }
    }

    /// Whether the effect is a curve along the quantity, and not different for each peak: a
    /// curve, even a wave, goes little farther up and down than its range.
    fn is_curve(&self) -> bool {
        /// A whole wave goes up and down by twice its range; the rest allows for where it begins
        /// and ends.
        const MOST_TRAVEL: f64 = 2.5;
        let effects: Vec<f64> = (self.points.iter().filter(|p| p.kept))
            .map(|p| p.effect.degrees())
            .collect();
        let travel: f64 = effects.windows(2).map(|w| (w[1] - w[0]).abs()).sum();
        let low = effects.iter().copied().fold(f64::INFINITY, f64::min);
        let high = effects.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        self.against != Against::Arrival && travel <= MOST_TRAVEL * (high - low)
    }
}

impl Drawing for EffectPicture {
    fn caption(&self) -> String {
        format!(
            "Above: how far each peak is off when this cause is taken out of the model; the line \
             is what the cause does by the model. Below: what is left with it, on the same scale. \
             The {} peaks should follow the line above and lie along zero below.",
            self.points.len()
        )
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let inner = body.inset(78.0, 56.0, 30.0, 70.0);
        let frames = inner.rows(2, 46.0);
        let above = self.panel(frames[0], "without it");
        let below = self.panel(frames[1], "with it");
        above.draw(canvas, false);
        below.draw(canvas, true);
        let radius = match self.points.len() {
            0..=150 => 3.2,
            151..=600 => 2.4,
            _ => 1.7,
        };
        for p in &self.points {
            let (marker, colour) = if p.kept {
                (Marker::Disc, colours::BLUE)
            } else {
                (Marker::Cross, colours::VERMILLION)
            };
            let (seen, left) = ((p.x, p.seen.degrees()), (p.x, p.left.degrees()));
            above.row_mark(canvas, p.row, seen, marker, radius, colour);
            below.row_mark(canvas, p.row, left, marker, radius, colour);
        }
        if self.is_curve() {
            let line: Vec<Point> = (self.points.iter().filter(|p| p.kept))
                .map(|p| above.at(p.x, p.effect.degrees()))
                .collect();
            canvas.path(&line, &EFFECT);
        } else {
            // Where the effect depends on more than the place along, each peak has its own dash.
            for p in self.points.iter().filter(|p| p.kept) {
                let (x, y) = above.at(p.x, p.effect.degrees());
                canvas.line((x - 4.0, y), (x + 4.0, y), &EFFECT);
            }
        }
        let mut said = vec![
            (Key::Mark(Marker::Disc, colours::BLUE), "a peak".to_owned()),
            (
                Key::Line(EFFECT),
                "what the cause does by the model".to_owned(),
            ),
        ];
        if self.points.iter().any(|p| !p.kept) {
            let cross = Key::Mark(Marker::Cross, colours::VERMILLION);
            said.push((cross, "a peak that nothing explains".to_owned()));
        }
        notes(canvas, (inner.left, body.top + 16.0), inner.right, &said);
    }
}
