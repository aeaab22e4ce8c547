//! How far each peak misses as logged, and with a mistake put right.

use plotters_backend::DrawingBackend;

use super::{Drawing, by_row};
use crate::angle::Angle;
use crate::plot::{Canvas, Key, Marker, Rect, colours, notes};

/// The picture.
#[derive(Clone, Debug)]
pub struct MisreadingPicture {
    points: Vec<(usize, Angle, Angle)>,
    straight_below: f64,
    most: f64,
}

impl MisreadingPicture {
    /// Prepares it.
    pub fn new(points: Vec<(usize, Angle, Angle)>) -> MisreadingPicture {
        let mut after: Vec<f64> = points.iter().map(|p| p.2.degrees()).collect();
        after.sort_by(f64::total_cmp);
        let typical = after.get(after.len() / 2).copied().unwrap_or(0.1).max(1e-6);
        let most = (points.iter())
            .map(|p| p.1.degrees().max(p.2.degrees()))
            .fold(4.0 * typical, f64::max);
        MisreadingPicture {
            points,
            straight_below: 2.0 * typical,
            most: 1.6 * most,
        }
    }
}

impl Drawing for MisreadingPicture {
    fn caption(&self) -> String {
        "How far the beam misses each emitter: crosses as logged, with the best mount that the log \
         allows, discs with the mistake put right. The scale is logarithmic except for its lowest part."
            .to_owned()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let frame = body.inset(78.0, 46.0, 30.0, 66.0);
        let last = self.points.iter().map(|p| p.0).max().unwrap_or(1);
        let panel = by_row(frame, last, self.most, self.straight_below);
        panel.draw(canvas, true);
        for (row, before, after) in &self.points {
            let x = *row as f64;
            let at = (x, before.degrees());
            panel.row_mark(canvas, *row, at, Marker::Cross, 3.8, colours::VERMILLION);
            panel.row_mark(
                canvas,
                *row,
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
