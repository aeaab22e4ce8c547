//! A plotters backend that rasters with smooth edges, by tiny-skia.

use std::convert::Infallible;

use ab_glyph_rasterizer::{Rasterizer, point};
use plotters_backend::text_anchor::HPos;
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontStyle, FontTransform,
};
use tiny_skia::{
    FillRule, IntSize, LineCap, LineJoin, Paint, Path, PathBuilder, PathSegment, PathStroker,
    Pixmap, Rect, Stroke, Transform,
};

use super::font;
use super::style::{SIZE_OVER_EM, TOP_TO_BASELINE_EM, UNITS};

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// Pixels in memory, white at first.
///
/// Shapes on few pixels, most of which are edge, are filled each pixel by the share that they
/// cover: for letters, marks and straight lines a third of the work of tiny-skia, which fills the
/// rest.
pub(super) struct Raster {
    pixels: Pixmap,
    /// Where shapes on few pixels are worked out.
    cover: Rasterizer,
    stroker: PathStroker,
}

impl Raster {
    /// A white sheet; none when a side is zero.
    pub fn new(width: u32, height: u32) -> Option<Raster> {
        let white = vec![0xff; 4 * width as usize * height as usize];
        Some(Raster {
            pixels: Pixmap::from_vec(white, IntSize::from_wh(width, height)?)?,
            cover: Rasterizer::new(0, 0),
            stroker: PathStroker::new(),
        })
    }

    /// White again, to be drawn on anew.
    pub fn clear(&mut self) {
        self.pixels.data_mut().fill(0xff);
    }

    /// Red, green, blue and full opacity of every pixel, row by row.
    pub fn rgba(&self) -> &[u8] {
        self.pixels.data()
    }

    /// Fills a shape in pixels.
    fn fill(&mut self, path: Option<Path>, colour: BackendColor, most_covered: usize) {
        let Some(path) = path else { return };
        match grid(path.bounds()) {
            (corner, size) if size.0.saturating_mul(size.1) <= most_covered => {
                self.cover_with(&path, corner, size, colour);
            }
            _ => self.pixels.fill_path(
                &path,
                &paint(colour),
                FillRule::Winding,
                Transform::identity(),
                None,
            ),
        }
    }

    /// Fills a shape by the share that it covers of each pixel of a grid that holds it.
    fn cover_with(
        &mut self,
        path: &Path,
        (left, top): (f32, f32),
        (wide, high): (usize, usize),
        colour: BackendColor,
    ) {
        self.cover.reset(wide, high);
        draw_outline(path, (left, top), &mut self.cover);
        let (left, top) = (left as i32, top as i32);
        let mut ink = Ink {
            size: (self.pixels.width() as i32, self.pixels.height() as i32),
            left,
            row: top,
            row_end: wide as u32,
            wide: wide as u32,
            colour: <[u8; 3]>::from(colour.rgb).map(f32::from),
            opacity: colour.alpha.clamp(0.0, 1.0) as f32,
            pixels: self.pixels.data_mut().as_chunks_mut().0,
        };
        // Most pixels of a grid are not covered: the test alone stands in the loop over them.
        self.cover.for_each_pixel(|i, share| {
            if share >= LEAST_SHARE {
                ink.lay(i as u32, share);
            }
        });
    }

    /// Draws a line in pixels, straight or bent.
    fn stroke<S: BackendStyle>(&mut self, path: Option<Path>, style: &S) {
        let Some(path) = path else { return };
        let stroke = Stroke {
            width: pixels(style.stroke_width()),
            line_cap: LineCap::Butt,
            line_join: LineJoin::Round,
            ..Stroke::default()
        };
        let bounds = path.bounds().outset(stroke.width, stroke.width);
        let small = bounds.is_some_and(|bounds| {
            let (_, (wide, high)) = grid(bounds);
            wide.saturating_mul(high) <= MOST_SHAPE_PIXELS
        });
        if small {
            let outline = self.stroker.stroke(&path, &stroke, 1.0);
            self.fill(outline, style.color(), MOST_SHAPE_PIXELS);
        } else {
            self.pixels.stroke_path(
                &path,
                &paint(style.color()),
                &stroke,
                Transform::identity(),
                None,
            );
        }
    }
}

/// One colour on its way to the pixels that a shape covers.
struct Ink<'a> {
    /// Width and height of the sheet.
    size: (i32, i32),
    /// Where on the sheet the grid that holds the shape begins at the left.
    left: i32,
    /// The row of the sheet at hand, and the number of the grid's first pixel below it: pixels come
    /// row by row, and to count rows takes less than to divide.
    row: i32,
    row_end: u32,
    /// How many pixels the grid goes across.
    wide: u32,
    colour: [f32; 3],
    opacity: f32,
    /// Those of the sheet.
    pixels: &'a mut [[u8; 4]],
}

impl Ink<'_> {
    /// Colours the share of a pixel, given by its number in the grid, unless it lies beside the
    /// sheet. The numbers ascend.
    #[inline(never)]
    fn lay(&mut self, number: u32, share: f32) {
        while number >= self.row_end {
            self.row_end += self.wide;
            self.row += 1;
        }
        let (width, height) = self.size;
        let x = self.left + (number + self.wide - self.row_end) as i32;
        let y = self.row;
        if !(0..width).contains(&x) || !(0..height).contains(&y) {
            return;
        }
        let share = share.min(1.0) * self.opacity;
        let pixel = &mut self.pixels[(y * width + x) as usize];
        for (under, over) in pixel.iter_mut().zip(self.colour) {
            let under_it = f32::from(*under);
            *under = (under_it + (over - under_it) * share + 0.5) as u8;
        }
    }
}

/// Backend units in pixels.
fn pixels(units: impl Into<f64>) -> f32 {
    (units.into() / UNITS) as f32
}

/// The whole pixels that hold a shape: the corner above and left, and how many across and down.
fn grid(bounds: Rect) -> ((f32, f32), (usize, usize)) {
    let (left, top) = (bounds.left().floor(), bounds.top().floor());
    let side = |from: f32, to: f32| (to - from).ceil() as usize + 1;
    (
        (left, top),
        (side(left, bounds.right()), side(top, bounds.bottom())),
    )
}

/// A smaller share of a pixel changes none of its 256 shades; behind a shape a tiny one is left of
/// what was added and taken away again.
const LEAST_SHARE: f32 = 1.0 / 512.0;
/// Shapes over more pixels than these are mostly inside or outside, not edge.
const MOST_SHAPE_PIXELS: usize = 1 << 12;

/// Letters over more pixels than this are no line of text on a sheet: they are filled like any
/// other shape, which takes no memory for what lies outside.
const MOST_LETTER_PIXELS: usize = 1 << 20;

/// Draws an outline, from a corner above and left of all of it.
fn draw_outline(outline: &Path, (left, top): (f32, f32), covered: &mut Rasterizer) {
    let at = |p: tiny_skia::Point| point(p.x - left, p.y - top);
    let (mut begun, mut here) = (point(0.0, 0.0), point(0.0, 0.0));
    for segment in outline.segments() {
        match segment {
            PathSegment::MoveTo(to) => {
                begun = at(to);
                here = begun;
            }
            PathSegment::LineTo(to) => {
                covered.draw_line(here, at(to));
                here = at(to);
            }
            PathSegment::QuadTo(control, to) => {
                covered.draw_quad(here, at(control), at(to));
                here = at(to);
            }
            PathSegment::CubicTo(first, second, to) => {
                covered.draw_cubic(here, at(first), at(second), at(to));
                here = at(to);
            }
            PathSegment::Close => {
                covered.draw_line(here, begun);
                here = begun;
            }
        }
    }
}

fn paint(colour: BackendColor) -> Paint<'static> {
    let (r, g, b) = colour.rgb;
    let mut paint = Paint::default();
    paint.set_color_rgba8(
        r,
        g,
        b,
        (colour.alpha.clamp(0.0, 1.0) * 255.0).round() as u8,
    );
    paint
}

fn through(points: impl IntoIterator<Item = BackendCoord>, closed: bool) -> Option<Path> {
    let mut path = PathBuilder::new();
    for (i, (x, y)) in points.into_iter().enumerate() {
        if i == 0 {
            path.move_to(pixels(x), pixels(y));
        } else {
            path.line_to(pixels(x), pixels(y));
        }
    }
    if closed {
        path.close();
    }
    path.finish()
}

impl DrawingBackend for Raster {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        let unit = UNITS as u32;
        (self.pixels.width() * unit, self.pixels.height() * unit)
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, at: BackendCoord, colour: BackendColor) -> Drawn {
        let cell = Rect::from_xywh(pixels(at.0), pixels(at.1), pixels(1), pixels(1));
        self.fill(cell.map(PathBuilder::from_rect), colour, MOST_SHAPE_PIXELS);
        Ok(())
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Drawn {
        self.stroke(through([from, to], false), style);
        Ok(())
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let rect = Rect::from_ltrb(
            pixels(upper_left.0),
            pixels(upper_left.1),
            pixels(bottom_right.0),
            pixels(bottom_right.1),
        );
        let path = rect.map(PathBuilder::from_rect);
        if fill {
            self.fill(path, style.color(), MOST_SHAPE_PIXELS);
        } else {
            self.stroke(path, style);
        }
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        self.stroke(through(path, false), style);
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        corners: I,
        style: &S,
    ) -> Drawn {
        self.fill(through(corners, true), style.color(), MOST_SHAPE_PIXELS);
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        centre: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let path = PathBuilder::from_circle(pixels(centre.0), pixels(centre.1), pixels(radius));
        if fill {
            self.fill(path, style.color(), MOST_SHAPE_PIXELS);
        } else {
            self.stroke(path, style);
        }
        Ok(())
    }

    /// Sets text as plotters' SVG backend does, with the anchor at the top of the line.
    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, at: BackendCoord) -> Drawn {
        let em = style.size() / SIZE_OVER_EM / UNITS;
        let bold = matches!(style.style(), FontStyle::Bold);
        let back = match style.anchor().h_pos {
            HPos::Left => 0.0,
            HPos::Center => 0.5,
            HPos::Right => 1.0,
        } * font::text_width(text, em, bold);
        let (x, y) = (f64::from(at.0) / UNITS, f64::from(at.1) / UNITS);
        let turned = match style.transform() {
            FontTransform::Rotate270 => Transform::from_row(0.0, -1.0, 1.0, 0.0, 0.0, 0.0),
            _ => Transform::identity(),
        };
        let placed = turned
            .pre_translate(-back as f32, (TOP_TO_BASELINE_EM * em) as f32)
            .post_translate(x as f32, y as f32);
        let letters = font::text_outline(text, em, bold, placed);
        self.fill(letters, style.color(), MOST_LETTER_PIXELS);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::{Colour, Pen};

    const SIDE: usize = 20;

    /// How dark each pixel of row ten is after drawing, 0 for paper to 1 for black.
    fn row_ten(draw: impl FnOnce(&mut Raster, &Pen) -> Drawn) -> Vec<f64> {
        let mut raster = Raster::new(SIDE as u32, SIDE as u32).unwrap();
        let black = Pen::new(Colour(0, 0, 0), 1.0);
        draw(&mut raster, &black).unwrap();
        let row = &raster.rgba()[4 * SIDE * 10..4 * SIDE * 11];
        (row.chunks(4))
            .map(|pixel| 1.0 - f64::from(pixel[0]) / 255.0)
            .collect()
    }

    /// Half a shade of 256, and what the sums of a coverage round to.
    const SHADE: f64 = 0.004;

    #[test]
    fn a_thin_line_darkens_each_pixel_by_the_share_that_it_covers() {
        // One pixel wide about 10.2: from 9.7 to 10.7.
        let row = row_ten(|raster, pen| raster.draw_line((102, 20), (102, 180), pen));
        for (x, dark) in row.into_iter().enumerate() {
            let share = match x {
                9 => 0.3,
                10 => 0.7,
                _ => 0.0,
            };
            assert!((dark - share).abs() < SHADE, "{x}: {dark}");
        }
    }

    #[test]
    fn what_lies_beside_the_sheet_shows_nowhere() {
        let row = row_ten(|raster, pen| raster.draw_circle((0, 105), 30, pen, true));
        assert!((row[0] - 1.0).abs() < SHADE && (row[1] - 1.0).abs() < SHADE);
        assert_eq!(row[4..], [0.0; SIDE - 4]);
        let row = row_ten(|raster, pen| raster.draw_circle((-100, 105), 30, pen, true));
        assert_eq!(row, [0.0; SIDE]);
    }

    #[test]
    fn small_and_large_shapes_are_filled_alike() {
        // The same disc, drawn as a small shape and by tiny-skia.
        let [small, large] = [MOST_SHAPE_PIXELS, 0].map(|most_covered| {
            row_ten(|raster, pen| {
                let disc = PathBuilder::from_circle(9.3, 8.7, 4.2);
                raster.fill(disc, BackendStyle::color(pen), most_covered);
                Ok(())
            })
        });
        /// tiny-skia looks at four lines to a pixel, and so errs by up to half a line.
        const HALF_A_LINE: f64 = 1.0 / 8.0;
        for (x, (small, large)) in small.iter().zip(&large).enumerate() {
            assert!((small - large).abs() < HALF_A_LINE, "{x}: {small}, {large}");
        }
        assert_ne!(small, [0.0; SIDE]);
    }
}
