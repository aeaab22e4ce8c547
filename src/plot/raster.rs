//! A plotters backend that rasters with smooth edges, by tiny-skia.

use std::convert::Infallible;

use ab_glyph_rasterizer::{Rasterizer, point};
use plotters_backend::text_anchor::HPos;
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontStyle, FontTransform,
};
use tiny_skia::{
    Color, FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, PathSegment, Pixmap, Rect,
    Stroke, Transform,
};

use super::font;
use super::style::{SIZE_OVER_EM, TOP_TO_BASELINE_EM, UNITS};

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// Pixels in memory, white at first.
pub(super) struct Raster {
    pixels: Pixmap,
    /// From backend units to pixels.
    to_pixels: Transform,
}

impl Raster {
    /// A white sheet; none when a side is zero.
    pub fn new(width: u32, height: u32) -> Option<Raster> {
        let mut pixels = Pixmap::new(width, height)?;
        pixels.fill(Color::WHITE);
        let scale = (1.0 / UNITS) as f32;
        Some(Raster {
            pixels,
            to_pixels: Transform::from_scale(scale, scale),
        })
    }

    /// Red, green, blue and full opacity of every pixel, row by row.
    pub fn rgba(&self) -> &[u8] {
        self.pixels.data()
    }

    fn fill(&mut self, path: Option<Path>, colour: BackendColor, transform: Transform) {
        if let Some(path) = path {
            self.pixels
                .fill_path(&path, &paint(colour), FillRule::Winding, transform, None);
        }
    }

    /// Fills the outline of letters, each pixel by the share that they cover: for so many small
    /// shapes a third of the work of [`Raster::fill`].
    fn fill_letters(&mut self, outline: Option<Path>, colour: BackendColor, placed: Transform) {
        let Some(outline) = outline.and_then(|outline| outline.transform(placed)) else {
            return;
        };
        let bounds = outline.bounds();
        let (left, top) = (bounds.left().floor(), bounds.top().floor());
        let side = |from: f32, to: f32| (to - from).ceil() as usize + 1;
        let (wide, high) = (side(left, bounds.right()), side(top, bounds.bottom()));
        if wide.saturating_mul(high) > MOST_LETTER_PIXELS {
            return self.fill(Some(outline), colour, Transform::identity());
        }
        let mut covered = Rasterizer::new(wide, high);
        draw_outline(&outline, (left, top), &mut covered);
        let (width, height) = (self.pixels.width() as i32, self.pixels.height() as i32);
        let (r, g, b) = colour.rgb;
        let opacity = colour.alpha.clamp(0.0, 1.0) as f32;
        let pixels = self.pixels.data_mut();
        covered.for_each_pixel(|i, share| {
            if share <= 0.0 {
                return;
            }
            let (x, y) = (
                left as i32 + (i % wide) as i32,
                top as i32 + (i / wide) as i32,
            );
            if !(0..width).contains(&x) || !(0..height).contains(&y) {
                return;
            }
            let share = share.min(1.0) * opacity;
            let place = 4 * (y * width + x) as usize;
            for (under, over) in pixels[place..place + 3].iter_mut().zip([r, g, b]) {
                let (from, to) = (f32::from(*under), f32::from(over));
                *under = (from + (to - from) * share).round() as u8;
            }
        });
    }

    fn stroke<S: BackendStyle>(&mut self, path: Option<Path>, style: &S) {
        if let Some(path) = path {
            let stroke = Stroke {
                width: style.stroke_width() as f32,
                line_cap: LineCap::Butt,
                line_join: LineJoin::Round,
                ..Stroke::default()
            };
            self.pixels
                .stroke_path(&path, &paint(style.color()), &stroke, self.to_pixels, None);
        }
    }
}

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
            path.move_to(x as f32, y as f32);
        } else {
            path.line_to(x as f32, y as f32);
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
        let cell = Rect::from_xywh(at.0 as f32, at.1 as f32, 1.0, 1.0);
        self.fill(cell.map(PathBuilder::from_rect), colour, self.to_pixels);
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
            upper_left.0 as f32,
            upper_left.1 as f32,
            bottom_right.0 as f32,
            bottom_right.1 as f32,
        );
        let path = rect.map(PathBuilder::from_rect);
        if fill {
            self.fill(path, style.color(), self.to_pixels);
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
        self.fill(through(corners, true), style.color(), self.to_pixels);
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        centre: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let path = PathBuilder::from_circle(centre.0 as f32, centre.1 as f32, radius as f32);
        if fill {
            self.fill(path, style.color(), self.to_pixels);
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
        self.fill_letters(font::text_outline(text, em, bold), style.color(), placed);
        Ok(())
    }
}
