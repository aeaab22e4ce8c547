//! How far each peak misses as logged, and with a mistake put right.

use plotters_backend::DrawingBackend;

use super::Sheet;
use crate::angle::Angle;
use crate::report::chart::{
    Axis, Canvas, Key, Marker, Panel, Picture, Rect, Scale, colours, linear_ticks, notes,
    symlog_ticks,
};

/// The picture.
#[derive(Clone, Debug)]
pub struct WorldPicture {
    sheet: Sheet,
    points: Vec<(usize, Angle, Angle)>,
    straight_below: f64,
    most: f64,
}

impl WorldPicture {
    /// Prepares it.
    pub fn new(mut sheet: Sheet, points: Vec<(usize, Angle, Angle)>) -> WorldPicture {
        let mut after: Vec<f64> = points.iter().map(|p| p.2.degrees()).collect();
        after.sort_by(f64::total_cmp);
        let typical = after.get(after.len() / 2).copied().unwrap_or(0.1).max(1e-6);
        let most = (points.iter())
            .map(|p| p.1.degrees().max(p.2.degrees()))
            .fold(4.0 * typical, f64::max);
        "How far the beam misses each emitter: crosses as logged, with the best mount that the log \
         allows, discs with the mistake put right. The scale is logarithmic but for its lowest part."
            .clone_into(&mut sheet.caption);
        WorldPicture {
            sheet,
            points,
            straight_below: 2.0 * typical,
            most: 1.6 * most,
        }
    }
}

impl Picture for WorldPicture {
    fn file_stem(&self) -> &str {
        &self.sheet.stem
    }
    fn title(&self) -> String {
        self.sheet.title.clone()
    }
    fn stamp(&self) -> String {
        self.sheet.stamp.clone()
    }
    fn caption(&self) -> String {
        self.sheet.caption.clone()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let frame = body.inset(78.0, 46.0, 30.0, 66.0);
        let last = self.points.iter().map(|p| p.0).max().unwrap_or(1) as f64;
        let panel = Panel {
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
                scale: Scale::symlog(0.0, self.most, self.straight_below, frame.bottom, frame.top),
                ticks: symlog_ticks(0.0, self.most, self.straight_below),
                title: "Distance between emitter and beam (deg)".to_owned(),
            },
        };
        panel.draw(canvas, true);
        for (row, before, after) in &self.points {
            let x = *row as f64;
            let at = (x, before.degrees());
            panel.mark(canvas, at, Marker::Cross, 3.8, colours::VERMILLION);
            panel.mark(
                canvas,
                (x, after.degrees()),
                Marker::Disc,
                3.0,
                colours::BLUE,
            );
        }
        let said = [
            (
                Key::Mark(Marker::Cross, colours::VERMILLION),
                "as logged".to_owned(),
            ),
            (
                Key::Mark(Marker::Disc, colours::BLUE),
                "with the mistake put right".to_owned(),
            ),
        ];
        notes(canvas, (frame.left, body.top + 16.0), frame.right, &said);
    }
}
