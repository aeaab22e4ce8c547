//! How far each peak misses, the bad ones set off.

use plotters_backend::DrawingBackend;

use super::{Drawing, by_row};
use crate::angle::Angle;
use crate::faults::MissPoint;
use crate::report::chart::{Align, Canvas, Key, Marker, Rect, Text, colours, notes};

/// The picture.
#[derive(Clone, Debug)]
pub struct MissPicture {
    points: Vec<MissPoint>,
    sidelobe: Option<[Angle; 2]>,
    straight_below: f64,
    most: f64,
}

impl MissPicture {
    /// Prepares it.
    pub fn new(points: Vec<MissPoint>, sidelobe: Option<[Angle; 2]>) -> MissPicture {
        let mut sizes: Vec<f64> = points.iter().map(|p| p.miss.degrees()).collect();
        sizes.sort_by(f64::total_cmp);
        let typical = sizes.get(sizes.len() / 2).copied().unwrap_or(0.1).max(1e-6);
        let most = sizes.last().copied().unwrap_or(1.0).max(4.0 * typical);
        MissPicture {
            points,
            sidelobe,
            straight_below: 2.0 * typical,
            most: 1.6 * most,
        }
    }
}

impl Drawing for MissPicture {
    fn caption(&self) -> String {
        let scale = "The scale is logarithmic but for its lowest part.";
        match self.points.iter().filter(|p| p.meant).count() {
            0 => format!(
                "How far the readings, taken at their word, lie from where the emitters were computed \
                 to be, peak by peak: nearer than any peak can be found with this beam. {scale}"
            ),
            _ => format!(
                "How far the corrected beam misses the logged emitter, peak by peak: those that are \
                 meant stand with their rows, far above the others. {scale}"
            ),
        }
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let frame = body.inset(78.0, 46.0, 30.0, 66.0);
        let last = self.points.iter().map(|p| p.row).max().unwrap_or(1);
        let panel = by_row(frame, last, self.most, self.straight_below);
        panel.draw(canvas, true);
        if let Some(ring) = self.sidelobe {
            let [near, far] = ring.map(|r| panel.y.scale.at(r.degrees().min(self.most)));
            let corners = [
                (frame.left, near),
                (frame.right, near),
                (frame.right, far),
                (frame.left, far),
            ];
            canvas.polygon(&corners, colours::ORANGE, 0.18);
            let style = Text::new(colours::SOFT_INK, 13.0).align(Align::Right);
            canvas.text((frame.right - 8.0, far + 16.0), "first sidelobe", &style);
        }
        for p in self.points.iter().filter(|p| !p.meant) {
            panel.mark(
                canvas,
                (p.row as f64, p.miss.degrees()),
                Marker::Disc,
                2.8,
                colours::BLUE,
            );
        }
        let style = Text::new(colours::INK, 13.0).align(Align::Centre);
        for p in self.points.iter().filter(|p| p.meant) {
            let at = (p.row as f64, p.miss.degrees());
            panel.mark(canvas, at, Marker::Cross, 5.0, colours::VERMILLION);
            let (x, y) = panel.at(at.0, at.1);
            canvas.text((x, y - 10.0), &p.row.to_string(), &style);
        }
        let meant = Key::Mark(Marker::Cross, colours::VERMILLION);
        let other = Key::Mark(Marker::Disc, colours::BLUE);
        let said = if self.points.iter().any(|p| p.meant) {
            vec![
                (meant, "meant here, with its row".to_owned()),
                (other, "every other peak".to_owned()),
            ]
        } else {
            vec![(other, "a peak".to_owned())]
        };
        notes(canvas, (frame.left, body.top + 16.0), frame.right, &said);
    }
}
