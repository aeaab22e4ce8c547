//! A canvas in picture pixels over any plotters backend.

use plotters_backend::{BackendCoord, DrawingBackend, DrawingErrorKind};

use super::palette::Colour;
use super::style::{Pen, TOP_TO_BASELINE_EM, Text, UNITS};
use crate::problem::printable;

/// A place in the picture: pixels right of the left edge and below the top edge.
pub type Point = (f64, f64);

/// The marks for single values. Their shapes differ as well as their colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Marker {
    /// A filled disc.
    Disc,
    /// A ring.
    Ring,
    /// A diagonal cross.
    Cross,
    /// A filled triangle pointing up: the value lies above the frame.
    Up,
    /// Pointing down.
    Down,
    /// Pointing left.
    Left,
    /// Pointing right.
    Right,
    /// A filled diamond.
    Diamond,
    /// A hollow square.
    Square,
}

/// Draws on a plotters backend in picture pixels.
///
/// The first failure of the backend is kept and ends the drawing; [`Canvas::finish`] tells it.
/// Places that are not finite are not drawn.
pub struct Canvas<'a, DB: DrawingBackend> {
    backend: &'a mut DB,
    failure: Option<DrawingErrorKind<DB::ErrorType>>,
    tags: Vec<Tag>,
}

/// A place in a picture that shows one row of the data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tag {
    /// Number of the row.
    pub row: usize,
    /// Where it is shown.
    pub at: Point,
    /// How far around it a pointer may miss, pixels.
    pub reach: f64,
}

impl<'a, DB: DrawingBackend> Canvas<'a, DB> {
    /// A canvas on a backend whose size is [`UNITS`] times the picture's in pixels.
    pub(super) fn new(backend: &'a mut DB) -> Self {
        Canvas {
            backend,
            failure: None,
            tags: Vec::new(),
        }
    }

    /// Ends the drawing.
    ///
    /// # Errors
    /// The backend's first failure.
    pub fn finish(self) -> Result<(), DrawingErrorKind<DB::ErrorType>> {
        match self.failure {
            Some(failure) => Err(failure),
            None => self.backend.present(),
        }
    }

    /// Says that a row of the data is shown at a place, so that a page can point at it. Rows
    /// outside the sheet are not pointed at.
    pub fn tag(&mut self, row: usize, at: Point, reach: f64) {
        if at.0.is_finite() && at.1.is_finite() {
            self.tags.push(Tag { row, at, reach });
        }
    }

    /// All that was tagged.
    pub(super) fn tags(&self) -> &[Tag] {
        &self.tags
    }

    fn attempt(
        &mut self,
        draw: impl FnOnce(&mut DB) -> Result<(), DrawingErrorKind<DB::ErrorType>>,
    ) {
        if self.failure.is_none() {
            self.failure = draw(self.backend).err();
        }
    }

    /// A straight line.
    pub fn line(&mut self, from: Point, to: Point, pen: &Pen) {
        self.path(&[from, to], pen);
    }

    /// A line through points.
    pub fn path(&mut self, points: &[Point], pen: &Pen) {
        if let Some((on, off)) = pen.dash {
            let solid = Pen { dash: None, ..*pen };
            for piece in dashes(points, on, off) {
                self.path(&piece, &solid);
            }
            return;
        }
        let units: Vec<BackendCoord> = points.iter().copied().filter_map(to_units).collect();
        if units.len() > 1 {
            self.attempt(|b| b.draw_path(units, pen));
        }
    }

    /// A filled shape with straight sides.
    pub fn polygon(&mut self, points: &[Point], colour: Colour, opacity: f64) {
        let units: Vec<BackendCoord> = points.iter().copied().filter_map(to_units).collect();
        if units.len() > 2 {
            let fill = Pen::new(colour, 1.0).opacity(opacity);
            self.attempt(|b| b.fill_polygon(units, &fill));
        }
    }

    /// A filled rectangle from its upper left to its lower right corner.
    pub fn rectangle(&mut self, from: Point, to: Point, colour: Colour) {
        if let (Some(from), Some(to)) = (to_units(from), to_units(to)) {
            let fill = Pen::new(colour, 1.0);
            self.attempt(|b| b.draw_rect(from, to, &fill, true));
        }
    }

    /// A filled disc.
    pub fn disc(&mut self, centre: Point, radius: f64, colour: Colour, opacity: f64) {
        if let Some(centre) = to_units(centre) {
            let fill = Pen::new(colour, 1.0).opacity(opacity);
            let radius = radius_units(radius);
            self.attempt(|b| b.draw_circle(centre, radius, &fill, true));
        }
    }

    /// A circle.
    pub fn circle(&mut self, centre: Point, radius: f64, pen: &Pen) {
        if pen.dash.is_some() {
            // Fine enough that no corner shows at the sizes of a picture.
            let steps = (radius * 2.0).clamp(24.0, 720.0) as usize;
            let points: Vec<Point> = (0..=steps)
                .map(|i| {
                    let (s, c) = (i as f64 / steps as f64 * std::f64::consts::TAU).sin_cos();
                    (centre.0 + radius * s, centre.1 - radius * c)
                })
                .collect();
            self.path(&points, pen);
        } else if let Some(centre) = to_units(centre) {
            let radius = radius_units(radius);
            self.attempt(|b| b.draw_circle(centre, radius, pen, false));
        }
    }

    /// A line of text with its anchor on the baseline.
    pub fn text(&mut self, at: Point, text: &str, style: &Text) {
        if text.is_empty() {
            return;
        }
        let text = &printable_text(text);
        let rise = TOP_TO_BASELINE_EM * style.size;
        let anchor = if style.upward {
            (at.0 - rise, at.1)
        } else {
            (at.0, at.1 - rise)
        };
        if let Some(anchor) = to_units(anchor) {
            self.attempt(|b| b.draw_text(text, style, anchor));
        }
    }

    /// A mark of `radius` pixels.
    pub fn marker(&mut self, at: Point, marker: Marker, radius: f64, colour: Colour) {
        let r = radius;
        let around = |corners: &[(f64, f64)]| -> Vec<Point> {
            corners
                .iter()
                .map(|(x, y)| (at.0 + x * r, at.1 + y * r))
                .collect()
        };
        let pen = Pen::new(colour, (r * 0.45).clamp(1.0, 2.0));
        match marker {
            Marker::Disc => self.disc(at, r, colour, 1.0),
            Marker::Ring => {
                self.disc(at, r, super::colours::PAPER, 1.0);
                self.circle(at, r, &pen);
            }
            Marker::Cross => {
                self.path(&around(&[(-1.0, -1.0), (1.0, 1.0)]), &pen);
                self.path(&around(&[(-1.0, 1.0), (1.0, -1.0)]), &pen);
            }
            Marker::Square => {
                let square = [
                    (-1.0, -1.0),
                    (1.0, -1.0),
                    (1.0, 1.0),
                    (-1.0, 1.0),
                    (-1.0, -1.0),
                ];
                self.polygon(&around(&square[..4]), super::colours::PAPER, 1.0);
                self.path(&around(&square), &pen);
            }
            Marker::Diamond => {
                let diamond = [(0.0, -1.2), (1.2, 0.0), (0.0, 1.2), (-1.2, 0.0)];
                self.polygon(&around(&diamond), colour, 1.0);
            }
            Marker::Up => self.polygon(
                &around(&[(-1.0, 0.8), (1.0, 0.8), (0.0, -1.0)]),
                colour,
                1.0,
            ),
            Marker::Down => self.polygon(
                &around(&[(-1.0, -0.8), (1.0, -0.8), (0.0, 1.0)]),
                colour,
                1.0,
            ),
            Marker::Left => self.polygon(
                &around(&[(0.8, -1.0), (0.8, 1.0), (-1.0, 0.0)]),
                colour,
                1.0,
            ),
            Marker::Right => self.polygon(
                &around(&[(-0.8, -1.0), (-0.8, 1.0), (1.0, 0.0)]),
                colour,
                1.0,
            ),
        }
    }

    /// A line with a filled head at its far end. Steps shorter than the head are drawn as
    /// the line alone.
    pub fn arrow(&mut self, from: Point, to: Point, pen: &Pen) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy);
        let head = 3.0 + 2.2 * pen.width;
        if !length.is_finite() || length < head {
            self.line(from, to, pen);
            return;
        }
        let (ux, uy) = (dx / length, dy / length);
        let base = (to.0 - ux * head, to.1 - uy * head);
        self.line(from, base, pen);
        let half = 0.42 * head;
        self.polygon(
            &[
                to,
                (base.0 - uy * half, base.1 + ux * half),
                (base.0 + uy * half, base.1 - ux * half),
            ],
            pen.colour,
            pen.opacity,
        );
    }
}

/// Text without what no XML file may hold: control characters are shown as escapes, and the
/// two code points that are not characters are left out (XML 1.0, section 2.2).
fn printable_text(text: &str) -> String {
    printable(text)
        .chars()
        .filter(|c| !matches!(c, '\u{fffe}' | '\u{ffff}'))
        .collect()
}

fn to_units(p: Point) -> Option<BackendCoord> {
    // Far outside the sheet is as good as any place there; the bound keeps sums in `i32`.
    let unit = |v: f64| (v * UNITS).round().clamp(-1e7, 1e7) as i32;
    (p.0.is_finite() && p.1.is_finite()).then(|| (unit(p.0), unit(p.1)))
}

fn radius_units(radius: f64) -> u32 {
    (radius * UNITS).round().clamp(1.0, 1e7) as u32
}

/// Cuts a line into dashes, `on` drawn and `off` left out, running on round corners.
fn dashes(points: &[Point], on: f64, off: f64) -> Vec<Vec<Point>> {
    let mut pieces = Vec::new();
    let mut piece: Vec<Point> = Vec::new();
    let (mut drawing, mut left) = (true, on);
    for pair in points.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        let mut rest = (to.0 - from.0).hypot(to.1 - from.1);
        if !rest.is_finite() {
            continue;
        }
        if drawing && piece.is_empty() {
            piece.push(from);
        }
        while rest >= left {
            let part = left / rest;
            from = (
                from.0 + (to.0 - from.0) * part,
                from.1 + (to.1 - from.1) * part,
            );
            rest -= left;
            if drawing {
                piece.push(from);
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece.push(from);
            }
            drawing = !drawing;
            left = if drawing { on } else { off };
        }
        left -= rest;
        if drawing {
            piece.push(to);
        }
    }
    if piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_run_on_round_corners_and_keep_their_length() {
        let pieces = dashes(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0)], 4.0, 2.0);
        let length = |piece: &Vec<Point>| -> f64 {
            piece
                .windows(2)
                .map(|p| (p[1].0 - p[0].0).hypot(p[1].1 - p[0].1))
                .sum()
        };
        let lengths: Vec<f64> = pieces.iter().map(length).collect();
        assert_eq!(lengths, [4.0, 4.0, 4.0, 2.0]);
        assert_eq!(pieces[1], [(6.0, 0.0), (10.0, 0.0)]);
    }
}
