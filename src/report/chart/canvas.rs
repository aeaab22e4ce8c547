//! A canvas in picture pixels over any plotters backend.

use plotters_backend::text_anchor::{HPos, Pos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontFamily, FontStyle, FontTransform,
};

use super::font;
use super::palette::Colour;

/// Backend units in a picture pixel: plotters' backends count in whole units, and a tenth of
/// a pixel keeps curves smooth and points where they belong, also when a print is enlarged.
pub(super) const UNITS: f64 = 10.0;

/// How far below the anchor plotters' SVG backend sets the baseline of a text whose anchor
/// is its top, in em.
pub(super) const TOP_TO_BASELINE_EM: f64 = 0.76;
/// plotters' SVG backend divides font sizes by this.
pub(super) const SIZE_OVER_EM: f64 = 1.24;

/// A place in the picture: pixels right of the left edge and below the top edge.
pub type Point = (f64, f64);

/// How a line is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Pen {
    colour: Colour,
    opacity: f64,
    width: f64,
    dash: Option<(f64, f64)>,
}

impl Pen {
    /// A solid line, `width` in pixels.
    pub const fn new(colour: Colour, width: f64) -> Pen {
        Pen {
            colour,
            opacity: 1.0,
            width,
            dash: None,
        }
    }
    /// The same, `on` pixels drawn and `off` pixels left out.
    pub const fn dashed(mut self, on: f64, off: f64) -> Pen {
        self.dash = Some((on, off));
        self
    }
    /// The same, see-through: 0 to 1.
    pub const fn opacity(mut self, opacity: f64) -> Pen {
        self.opacity = opacity;
        self
    }
}

impl BackendStyle for Pen {
    fn color(&self) -> BackendColor {
        backend_colour(self.colour, self.opacity)
    }
    fn stroke_width(&self) -> u32 {
        (self.width * UNITS).round().max(1.0) as u32
    }
}

fn backend_colour(colour: Colour, alpha: f64) -> BackendColor {
    BackendColor {
        alpha,
        rgb: (colour.0, colour.1, colour.2),
    }
}

/// Where a text's anchor is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// The text starts at the anchor.
    Left,
    /// The text is centred on the anchor.
    Centre,
    /// The text ends at the anchor.
    Right,
}

/// How a line of text is set; its anchor is on the baseline.
#[derive(Clone, Copy, Debug)]
pub struct Text {
    colour: Colour,
    size: f64,
    bold: bool,
    align: Align,
    upward: bool,
}

impl Text {
    /// Regular weight, starting at the anchor; `size` is the em in pixels.
    pub const fn new(colour: Colour, size: f64) -> Text {
        Text {
            colour,
            size,
            bold: false,
            align: Align::Left,
            upward: false,
        }
    }
    /// The same in the heavier weight.
    pub const fn bold(mut self) -> Text {
        self.bold = true;
        self
    }
    /// The same, anchored otherwise.
    pub const fn align(mut self, align: Align) -> Text {
        self.align = align;
        self
    }
    /// The same, reading upward.
    pub const fn upward(mut self) -> Text {
        self.upward = true;
        self
    }
    /// Width in pixels of `text` so set.
    pub fn width(&self, text: &str) -> f64 {
        font::text_width(text, self.size, self.bold)
    }
    /// `text`, or as much of it as fits `room` pixels with an ellipsis behind.
    pub fn fitted(&self, text: &str, room: f64) -> String {
        if self.width(text) <= room {
            return text.to_owned();
        }
        let mut kept: String = text.to_owned();
        while kept.pop().is_some() {
            let cut = format!("{}…", kept.trim_end());
            if self.width(&cut) <= room {
                return cut;
            }
        }
        String::new()
    }
    /// Half the height of a capital: how far below a point the baseline of a text lies that
    /// is centred on it.
    pub fn half_height(&self) -> f64 {
        0.36 * self.size
    }
}

impl BackendTextStyle for Text {
    type FontError = std::convert::Infallible;
    fn color(&self) -> BackendColor {
        backend_colour(self.colour, 1.0)
    }
    fn size(&self) -> f64 {
        self.size * UNITS * SIZE_OVER_EM
    }
    fn transform(&self) -> FontTransform {
        if self.upward {
            FontTransform::Rotate270
        } else {
            FontTransform::None
        }
    }
    fn style(&self) -> FontStyle {
        if self.bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        }
    }
    fn anchor(&self) -> Pos {
        let h_pos = match self.align {
            Align::Left => HPos::Left,
            Align::Centre => HPos::Center,
            Align::Right => HPos::Right,
        };
        Pos::new(h_pos, VPos::Top)
    }
    fn family(&self) -> FontFamily<'_> {
        FontFamily::SansSerif
    }
    fn layout_box(&self, text: &str) -> Result<((i32, i32), (i32, i32)), Self::FontError> {
        let width = (self.width(text) * UNITS).round() as i32;
        Ok(((0, 0), (width, (self.size * UNITS) as i32)))
    }
    fn draw<E, D: FnMut(i32, i32, BackendColor) -> Result<(), E>>(
        &self,
        _text: &str,
        _pos: BackendCoord,
        _draw: D,
    ) -> Result<Result<(), E>, Self::FontError> {
        // Backends here set text themselves, as text or as outlines.
        Ok(Ok(()))
    }
}

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
}

impl<'a, DB: DrawingBackend> Canvas<'a, DB> {
    /// A canvas on a backend whose size is [`UNITS`] times the picture's in pixels.
    pub(super) fn new(backend: &'a mut DB) -> Self {
        Canvas {
            backend,
            failure: None,
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

    #[test]
    fn a_long_name_is_cut_to_its_room() {
        let style = Text::new(super::super::colours::INK, 14.0);
        let cut = style.fitted("a very long name of a very small station", 80.0);
        assert!(cut.ends_with('…') && style.width(&cut) <= 80.0, "{cut}");
        assert_eq!(style.fitted("short", 80.0), "short");
    }
}
