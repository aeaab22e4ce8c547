//! The sky as a round map.

use plotters_backend::DrawingBackend;

use crate::angle::Angle;
use crate::plot::{Align, Canvas, Colour, Pen, Point, Rect, Text, colours};
use crate::station::Horizon;

/// The horizon mask as a line (azimuth in radians, elevation in degrees); empty without one.
pub fn mask_line(horizon: &Horizon) -> Vec<(f64, f64)> {
    if horizon.mask.is_empty() {
        return Vec::new();
    }
    (0..=180)
        .map(|i| {
            let azimuth = Angle::from_degrees(f64::from(i) * 2.0);
            (azimuth.radians(), horizon.lowest(azimuth).degrees())
        })
        .collect()
}

/// The round sky: zenith in the middle, horizon at the rim, seen from above.
pub struct RoundSky {
    /// Pixel of the zenith.
    pub centre: Point,
    /// Pixels from the zenith to the horizon.
    pub radius: f64,
}

impl RoundSky {
    /// Where a direction stands.
    pub fn at(&self, azimuth_rad: f64, elevation_deg: f64) -> Point {
        // Just outside the rim for what stands below the horizon.
        let r = self.radius * ((90.0 - elevation_deg) / 90.0).min(1.04);
        let (s, c) = azimuth_rad.sin_cos();
        (self.centre.0 + r * s, self.centre.1 - r * c)
    }

    /// Circles and spokes over the sky, what lies below the mask shaded.
    pub fn draw_grid<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, horizon: &[(f64, f64)]) {
        canvas.disc(self.centre, self.radius, colours::SHADE, 1.0);
        let mask: Vec<Point> = horizon.iter().map(|(a, e)| self.at(*a, *e)).collect();
        if mask.is_empty() {
            canvas.disc(self.centre, self.radius, colours::PAPER, 1.0);
        } else {
            canvas.polygon(&mask, colours::PAPER, 1.0);
        }
        self.draw_lines(canvas, horizon, colours::GRID);
    }

    /// The circles, spokes and the line of the mask alone, over whatever the sky shows.
    pub fn draw_lines<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        horizon: &[(f64, f64)],
        colour: Colour,
    ) {
        let grid = Pen::new(colour, 1.0);
        let mask: Vec<Point> = horizon.iter().map(|(a, e)| self.at(*a, *e)).collect();
        for eighth in 0..8 {
            let azimuth = f64::from(eighth) * std::f64::consts::FRAC_PI_4;
            canvas.line(self.at(azimuth, 80.0), self.at(azimuth, 0.0), &grid);
        }
        for elevation in [30.0, 60.0] {
            canvas.circle(self.centre, self.radius * (90.0 - elevation) / 90.0, &grid);
        }
        if !mask.is_empty() {
            canvas.path(&mask, &Pen::new(colours::FRAME, 1.0).dashed(3.0, 3.0));
        }
        canvas.circle(self.centre, self.radius, &Pen::new(colours::FRAME, 1.0));
        let zenith = Pen::new(colours::FRAME, 1.0);
        let (x, y) = self.centre;
        canvas.line((x - 4.0, y), (x + 4.0, y), &zenith);
        canvas.line((x, y - 4.0), (x, y + 4.0), &zenith);
    }

    /// Names of the four quarters, outside the rim; arrows that reach there give way. Gives the
    /// room that they take.
    pub fn label_quarters<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>) -> [Rect; 4] {
        let style = Text::new(colours::INK, 13.0).align(Align::Centre);
        let (x, y) = self.centre;
        let far = self.radius;
        let places = [
            ((x, y - far - 14.0), ["N 0°", ""]),
            ((x + far + 24.0, y - 2.0), ["E", "90°"]),
            ((x, y + far + 16.0), ["S 180°", ""]),
            ((x - far - 24.0, y - 2.0), ["W", "270°"]),
        ];
        places.map(|((x, y), lines)| {
            let second = !lines[1].is_empty();
            let half = style.width(lines[usize::from(second)]) / 2.0 + 3.0;
            let (up, down) = if second { (14.0, 19.0) } else { (8.0, 8.0) };
            let taken = Rect {
                left: x - half,
                top: y - up,
                right: x + half,
                bottom: y + down,
            };
            cover(canvas, taken);
            let first_at = if second {
                y - 1.0
            } else {
                y + style.half_height()
            };
            canvas.text((x, first_at), lines[0], &style);
            canvas.text((x, y + 14.0), lines[1], &style);
            taken
        })
    }

    /// Elevations of the two circles, half way between two spokes where the sky is emptiest of
    /// marks (azimuth in radians, elevation in degrees). Gives the room that they take.
    pub fn label_circles<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        marks: &[(f64, f64)],
    ) -> Vec<Rect> {
        let mut taken = Vec::new();
        let ring = Text::new(colours::SOFT_INK, 12.0).align(Align::Centre);
        for elevation in [30.0, 60.0] {
            let emptiness = |at: &Point| {
                (marks.iter())
                    .map(|(azimuth_rad, elevation_deg)| self.at(*azimuth_rad, *elevation_deg))
                    .map(|p| (p.0 - at.0).hypot(p.1 - at.1))
                    .fold(1e3, f64::min)
            };
            let places =
                (0..8).map(|i| self.at((22.5 + 45.0 * f64::from(i)).to_radians(), elevation));
            let Some(place) = places.max_by(|a, b| emptiness(a).total_cmp(&emptiness(b))) else {
                continue;
            };
            let label = format!("{elevation:.0}°");
            let half = ring.width(&label) / 2.0 + 2.0;
            let room = Rect {
                left: place.0 - half,
                top: place.1 - 8.0,
                right: place.0 + half,
                bottom: place.1 + 7.0,
            };
            cover(canvas, room);
            canvas.text((place.0, place.1 + ring.half_height()), &label, &ring);
            taken.push(room);
        }
        taken
    }
}

/// Makes room for a label.
fn cover<DB: DrawingBackend>(canvas: &mut Canvas<DB>, room: Rect) {
    canvas.rectangle(
        (room.left, room.top),
        (room.right, room.bottom),
        colours::PAPER,
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    const SKY: RoundSky = RoundSky {
        centre: (300.0, 300.0),
        radius: 200.0,
    };

    #[test]
    fn east_is_on_the_right_and_the_zenith_in_the_middle() {
        let (x, y) = SKY.at(90f64.to_radians(), 0.0);
        assert!((x - 500.0).abs() < 1e-9 && (y - 300.0).abs() < 1e-9);
        let (x, y) = SKY.at(0.0, 45.0);
        assert!((x - 300.0).abs() < 1e-9 && (y - 200.0).abs() < 1e-9);
        assert_eq!(SKY.at(1.0, 90.0), (300.0, 300.0));
    }
}
