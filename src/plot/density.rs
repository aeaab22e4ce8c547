//! Many points as cells shaded by how many fall into each.

use plotters_backend::DrawingBackend;

use super::axes::Rect;
use super::canvas::{Canvas, Point};
use super::palette::Colour;

/// Light to dark of one hue, so that it reads in grey print and by every eye.
pub const SHADES: [Colour; 5] = [
    Colour(200, 221, 238),
    Colour(150, 192, 222),
    Colour(95, 158, 201),
    Colour(30, 118, 172),
    Colour(0, 68, 116),
];

/// Above this many points a picture shows their density, because dots would cover each other.
pub const MOST_SINGLE_MARKS: usize = 2000;

/// Counts of points in square cells of a rectangle.
#[derive(Clone, Debug)]
pub struct Density {
    frame: Rect,
    cell: f64,
    across: usize,
    counts: Vec<u32>,
    most: u32,
}

impl Density {
    /// Counts the points that lie in `frame`, in cells of `cell` pixels.
    pub fn of(points: impl Iterator<Item = Point>, frame: Rect, cell: f64) -> Density {
        let across = (frame.width() / cell).ceil().max(1.0) as usize;
        let down = (frame.height() / cell).ceil().max(1.0) as usize;
        let mut counts = vec![0u32; across * down];
        for (x, y) in points {
            let inside = x >= frame.left && x < frame.right && y >= frame.top && y < frame.bottom;
            if inside {
                let column = ((x - frame.left) / cell) as usize;
                let row = ((y - frame.top) / cell) as usize;
                counts[row.min(down - 1) * across + column.min(across - 1)] += 1;
            }
        }
        let most = counts.iter().copied().max().unwrap_or(0);
        Density {
            frame,
            cell,
            across,
            counts,
            most,
        }
    }

    /// The most points in any cell.
    pub fn most(&self) -> u32 {
        self.most
    }

    /// Lowest count of each shade. Closer together where counts are low, so that both the
    /// thin outskirts and the full middle show their shape.
    fn steps(&self) -> [f64; SHADES.len()] {
        [0.0, 0.05, 0.2, 0.45, 0.75].map(|share| (share * f64::from(self.most)).max(1.0))
    }

    /// Draws the cells that are not empty.
    pub fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>) {
        let steps = self.steps();
        for (i, &count) in self.counts.iter().enumerate().filter(|(_, n)| **n > 0) {
            let shade = steps.partition_point(|s| *s <= f64::from(count));
            let x = self.frame.left + (i % self.across) as f64 * self.cell;
            let y = self.frame.top + (i / self.across) as f64 * self.cell;
            let to = (
                (x + self.cell).min(self.frame.right),
                (y + self.cell).min(self.frame.bottom),
            );
            canvas.rectangle((x, y), to, SHADES[shade.max(1) - 1]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_point_inside_is_counted_once() {
        let frame = Rect {
            left: 0.0,
            top: 0.0,
            right: 95.0,
            bottom: 50.0,
        };
        let points = (0..1000).map(|i| (f64::from(i) * 0.1, 25.0));
        let density = Density::of(points, frame, 10.0);
        assert_eq!(density.counts.iter().sum::<u32>(), 950);
        assert_eq!(density.most, 100);
        assert_eq!(density.steps()[0], 1.0);
        let nothing = Density::of(std::iter::empty(), frame, 10.0);
        assert_eq!(nothing.steps(), [1.0; 5]);
    }
}
