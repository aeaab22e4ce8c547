//! How far each peak misses, the bad ones set off.

use plotters_backend::DrawingBackend;

use super::{Drawing, by_row};
use crate::angle::Angle;
use crate::faults::MissPoint;
use crate::plot::{Align, Canvas, Key, Marker, Panel, Rect, Text, colours, notes};

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

impl MissPicture {
    /// The rows of those that are meant, above their marks: the worst first, and those that find
    /// room.
    fn name_rows<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        panel: &Panel,
        mut taken: Vec<Rect>,
    ) {
        let style = Text::new(colours::INK, 13.0).align(Align::Centre);
        let mut meant: Vec<&MissPoint> = self.points.iter().filter(|p| p.meant).collect();
        meant.sort_by(|a, b| b.miss.radians().total_cmp(&a.miss.radians()));
        for p in meant {
            let (x, y) = panel.at(p.row as f64, p.miss.degrees());
            let row = p.row.to_string();
            let half = style.room_for(&row) / 2.0 + 1.0;
            let room = Rect {
                left: x - half,
                top: y - 21.0,
                right: x + half,
                bottom: y - 7.0,
            };
            let free = |o: &Rect| {
                room.right <= o.left
                    || o.right <= room.left
                    || room.bottom <= o.top
                    || o.bottom <= room.top
            };
            if taken.iter().all(free) {
                canvas.text((x, y - 10.0), &row, &style);
                taken.push(room);
            }
        }
    }
}

impl Drawing for MissPicture {
    fn caption(&self) -> String {
        let scale = "The scale is logarithmic except for its lowest part.";
        match self.points.iter().filter(|p| p.meant).count() {
            0 => format!(
                "How far the readings, taken at their word, lie from where the emitters were computed \
                 to be, peak by peak: nearer than any peak can be found with this beam. {scale}"
            ),
            _ => format!(
                "How far the corrected beam misses the logged emitter, peak by peak: those named are \
                 labelled with their rows, far above the others. {scale}"
            ),
        }
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let frame = body.inset(78.0, 46.0, 30.0, 66.0);
        let last = self.points.iter().map(|p| p.row).max().unwrap_or(1);
        let panel = by_row(frame, last, self.most, self.straight_below);
        panel.draw(canvas, true);
        let mut taken = Vec::new();
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
            let words = "first sidelobe";
            canvas.text((frame.right - 8.0, far + 16.0), words, &style);
            taken.push(Rect {
                left: frame.right - 8.0 - style.room_for(words),
                top: far + 4.0,
                right: frame.right,
                bottom: far + 20.0,
            });
        }
        for p in self.points.iter().filter(|p| !p.meant) {
            panel.row_mark(
                canvas,
                p.row,
                (p.row as f64, p.miss.degrees()),
                Marker::Disc,
                2.8,
                colours::BLUE,
            );
        }
        for p in self.points.iter().filter(|p| p.meant) {
            let at = (p.row as f64, p.miss.degrees());
            panel.row_mark(canvas, p.row, at, Marker::Cross, 5.0, colours::VERMILLION);
        }
        self.name_rows(canvas, &panel, taken);
        let meant = Key::Mark(Marker::Cross, colours::VERMILLION);
        let other = Key::Mark(Marker::Disc, colours::BLUE);
        let said = if self.points.iter().any(|p| p.meant) {
            vec![
                (
                    meant,
                    "named here, with its row where there is room".to_owned(),
                ),
                (other, "every other peak".to_owned()),
            ]
        } else {
            vec![(other, "a peak".to_owned())]
        };
        notes(canvas, (frame.left, body.top + 16.0), frame.right, &said);
    }
}
