//! The size of what is left, against where the dish points.

use plotters_backend::DrawingBackend;

use super::Drawing;
use crate::angle::Angle;
use crate::faults::{Against, FaultAxis};
use crate::mount::Kind;
use crate::plot::{
    Axis, Canvas, Key, Marker, Panel, Pen, Point, Rect, Scale, azimuth_ticks, colours,
    linear_ticks, notes,
};

/// The running rms.
const RMS: Pen = Pen::new(colours::INK, 1.8);
/// The axis goes at least this far, degrees, so that perfect peaks do not divide by zero; no mount
/// points better.
const LEAST_RANGE_DEG: f64 = 1e-4;
/// Peaks in each point of the running rms, which is then known to a quarter.
const IN_POINT: usize = 10;

/// The picture.
#[derive(Clone, Debug)]
pub struct ScatterPicture {
    kind: Kind,
    against: Against,
    axis: FaultAxis,
    points: Vec<(f64, Angle)>,
    most: f64,
}

impl ScatterPicture {
    /// Prepares it.
    pub fn new(
        kind: Kind,
        against: Against,
        axis: FaultAxis,
        mut points: Vec<(f64, Angle)>,
    ) -> ScatterPicture {
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut sizes: Vec<f64> = points.iter().map(|p| p.1.degrees()).collect();
        sizes.sort_by(f64::total_cmp);
        // The very worst may lie at the edge.
        let high = sizes.len().saturating_sub(1) * 98 / 100;
        let most = sizes.get(high).copied().unwrap_or(1.0).max(LEAST_RANGE_DEG);
        ScatterPicture {
            kind,
            against,
            axis,
            points,
            most: 1.2 * most,
        }
    }

    fn running(&self) -> Vec<(f64, f64)> {
        (self.points.windows(IN_POINT))
            .step_by(IN_POINT / 2)
            .map(|w| {
                let squares: f64 = w.iter().map(|p| p.1.degrees().powi(2)).sum();
                let middle = 0.5 * (w[0].0 + w[w.len() - 1].0);
                (middle, (squares / w.len() as f64).sqrt())
            })
            .collect()
    }
}

impl Drawing for ScatterPicture {
    fn caption(&self) -> String {
        "The size of each peak's residual. The line is the rms of ten neighbours: level \
         when the noise is the same everywhere, high where something rattles."
            .to_owned()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let frame = body.inset(78.0, 46.0, 30.0, 66.0);
        let by_azimuth = self.against == Against::Azimuth;
        let ends = (
            self.points.first().map_or(0.0, |p| p.0),
            self.points.last().map_or(90.0, |p| p.0),
        );
        let (low, high) = if by_azimuth {
            (0.0, 360.0)
        } else {
            (ends.0 - 1.0, ends.1 + 1.0)
        };
        let [one, two] = self.kind.axes();
        let axis = match self.axis {
            FaultAxis::Azimuth => two.cross_words(),
            FaultAxis::Elevation => two.words(),
            FaultAxis::Both => "both axes together",
        };
        let panel = Panel {
            frame,
            x: Axis {
                scale: Scale::linear(low, high, frame.left, frame.right),
                ticks: if by_azimuth {
                    azimuth_ticks(low, high, 13)
                } else {
                    linear_ticks(low, high, 10)
                },
                title: if by_azimuth {
                    format!("{} encoder reading (deg)", one.words())
                } else {
                    format!("{} encoder reading (deg)", two.words())
                },
            },
            y: Axis {
                scale: Scale::linear(0.0, self.most, frame.bottom, frame.top),
                ticks: linear_ticks(0.0, self.most, 6),
                title: format!("Size of what is left in {axis} (deg)"),
            },
        };
        panel.draw(canvas, true);
        for (x, size) in &self.points {
            let at = (*x, size.degrees());
            panel.mark(canvas, at, Marker::Disc, 3.0, colours::BLUE);
        }
        let line: Vec<Point> = (self.running().into_iter())
            .map(|(x, y)| panel.at(x, y.min(self.most)))
            .collect();
        canvas.path(&line, &RMS);
        let said = [
            (Key::Mark(Marker::Disc, colours::BLUE), "a peak".to_owned()),
            (Key::Line(RMS), "rms of ten neighbours".to_owned()),
        ];
        notes(canvas, (frame.left, body.top + 16.0), frame.right, &said);
    }
}
