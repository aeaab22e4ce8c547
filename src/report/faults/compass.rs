//! The azimuth zero among the norths.

use plotters_backend::DrawingBackend;

use super::Drawing;
use crate::angle::Angle;
use crate::plot::{Align, Canvas, Key, Pen, Point, Rect, Text, colours, notes};

/// The picture.
#[derive(Clone, Debug)]
pub struct CompassPicture {
    zero: Angle,
    declination: Angle,
    sigma: Angle,
}

impl CompassPicture {
    /// Prepares it.
    pub fn new(zero: Angle, declination: Angle, sigma: Angle) -> CompassPicture {
        CompassPicture {
            zero,
            declination,
            sigma,
        }
    }
}

impl Drawing for CompassPicture {
    fn caption(&self) -> String {
        "Seen from above. The encoder reads zero along the dark arrow; the shaded wedge is where a \
         compass set with care would have put it."
            .to_owned()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let centre = body.centre();
        let radius = 0.4 * body.height().min(body.width());
        let at = |azimuth: Angle, share: f64| -> Point {
            let (s, c) = azimuth.sin_cos();
            (centre.0 + radius * share * s, centre.1 - radius * share * c)
        };
        canvas.circle(centre, radius, &Pen::new(colours::FRAME, 1.2));
        for k in 0..36 {
            let azimuth = Angle::from_degrees(f64::from(k) * 10.0);
            let inner = if k % 9 == 0 { 0.93 } else { 0.97 };
            let pen = Pen::new(colours::FRAME, 1.0);
            canvas.line(at(azimuth, inner), at(azimuth, 1.0), &pen);
        }
        let letter = Text::new(colours::INK, 16.0).bold().align(Align::Centre);
        for (name, degrees) in [("N", 0.0), ("E", 90.0), ("S", 180.0), ("W", 270.0)] {
            let (x, y) = at(Angle::from_degrees(degrees), 1.08);
            canvas.text((x, y + 6.0), name, &letter);
        }
        let mut wedge = vec![centre];
        for k in -6..=6 {
            let off = self.sigma * (f64::from(k) / 6.0);
            wedge.push(at(self.declination + off, 0.97));
        }
        canvas.polygon(&wedge, colours::ORANGE, 0.35);
        canvas.arrow(centre, at(Angle::ZERO, 0.9), &Pen::new(colours::GREEN, 2.0));
        canvas.arrow(centre, at(self.zero, 0.9), &Pen::new(colours::INK, 2.4));
        let said = [
            (
                Key::Line(Pen::new(colours::INK, 2.4)),
                format!("encoder's zero, {:+.2} deg", self.zero.degrees()),
            ),
            (
                Key::Line(Pen::new(colours::ORANGE, 6.0)),
                format!("magnetic north, {:+.2} deg", self.declination.degrees()),
            ),
            (
                Key::Line(Pen::new(colours::GREEN, 2.0)),
                "true north".to_owned(),
            ),
        ];
        notes(
            canvas,
            (body.left + 40.0, body.top + 16.0),
            body.right,
            &said,
        );
    }
}
