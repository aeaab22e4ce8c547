//! The embedded typeface: Open Sans, subset (see `font/README.md` for source and licence).

use std::sync::OnceLock;

use tiny_skia::{Path, PathBuilder, PathSegment, Transform};
use ttf_parser::{Face, GlyphId, OutlineBuilder};

/// The regular weight, as a TrueType file.
pub const REGULAR_TTF: &[u8] = include_bytes!("font/OpenSans-Regular.ttf");
/// The semi-bold weight, as a TrueType file.
pub const SEMIBOLD_TTF: &[u8] = include_bytes!("font/OpenSans-Semibold.ttf");

/// A typeface, and what was read of it: to read a glyph takes longer than to draw it, and a page
/// sets the same few thousands of times.
struct Typeface {
    face: Face<'static>,
    /// By number of the glyph.
    glyphs: Vec<OnceLock<Glyph>>,
    /// The numbers of the characters of ASCII.
    ascii: [GlyphId; 128],
}

/// A glyph in font units, y up.
struct Glyph {
    advance: u16,
    outline: Option<Path>,
}

impl Typeface {
    fn parsed(bytes: &'static [u8]) -> Option<Typeface> {
        let face = Face::parse(bytes, 0).ok()?;
        Some(Typeface {
            glyphs: (0..face.number_of_glyphs())
                .map(|_| OnceLock::new())
                .collect(),
            ascii: std::array::from_fn(|c| number(&face, char::from(c as u8))),
            face,
        })
    }

    /// The glyph of a character; the font's own "missing" box where it has none.
    fn glyph(&self, c: char) -> Option<&Glyph> {
        let id = match self.ascii.get(c as usize) {
            Some(id) => *id,
            None => number(&self.face, c),
        };
        let read = || {
            let mut outline = Outline(PathBuilder::new());
            self.face.outline_glyph(id, &mut outline);
            Glyph {
                advance: self.face.glyph_hor_advance(id).unwrap_or(0),
                outline: outline.0.finish(),
            }
        };
        let place = self.glyphs.get(usize::from(id.0))?;
        Some(place.get_or_init(read))
    }
}

fn number(face: &Face, c: char) -> GlyphId {
    face.glyph_index(c).unwrap_or(GlyphId(0))
}

fn typeface(bold: bool) -> Option<&'static Typeface> {
    static FACES: [OnceLock<Option<Typeface>>; 2] = [OnceLock::new(), OnceLock::new()];
    let bytes = if bold { SEMIBOLD_TTF } else { REGULAR_TTF };
    FACES[usize::from(bold)]
        .get_or_init(|| Typeface::parsed(bytes))
        .as_ref()
}

/// Width of a line of text in the embedded typeface, in the unit of `size` (the em).
pub fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    let Some(typeface) = typeface(bold) else {
        return 0.0;
    };
    let units: u32 = (text.chars())
        .filter_map(|c| Some(u32::from(typeface.glyph(c)?.advance)))
        .sum();
    f64::from(units) * size / f64::from(typeface.face.units_per_em())
}

/// The outline of a line of text of this `size`, `placed` from where its baseline starts at the
/// origin, y down. None when there is nothing to draw.
pub(super) fn text_outline(text: &str, size: f64, bold: bool, placed: Transform) -> Option<Path> {
    let typeface = typeface(bold)?;
    let scale = size as f32 / f32::from(typeface.face.units_per_em());
    let mut line = PathBuilder::new();
    let mut at = 0.0;
    for glyph in text.chars().filter_map(|c| typeface.glyph(c)) {
        if let Some(outline) = &glyph.outline {
            append(&mut line, outline, at);
        }
        at += f32::from(glyph.advance);
    }
    line.finish()?.transform(placed.pre_scale(scale, -scale))
}

/// Sets a glyph so many font units right of the origin.
fn append(line: &mut PathBuilder, outline: &Path, at: f32) {
    for segment in outline.segments() {
        match segment {
            PathSegment::MoveTo(p) => line.move_to(p.x + at, p.y),
            PathSegment::LineTo(p) => line.line_to(p.x + at, p.y),
            PathSegment::QuadTo(c, p) => line.quad_to(c.x + at, c.y, p.x + at, p.y),
            PathSegment::CubicTo(c, d, p) => {
                line.cubic_to(c.x + at, c.y, d.x + at, d.y, p.x + at, p.y);
            }
            PathSegment::Close => line.close(),
        }
    }
}

/// Gathers a glyph, in font units.
struct Outline(PathBuilder);

impl OutlineBuilder for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.0.move_to(x, y);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.0.line_to(x, y);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.0.quad_to(x1, y1, x, y);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.0.cubic_to(x1, y1, x2, y2, x, y);
    }
    fn close(&mut self) {
        self.0.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sign_that_pictures_use_has_a_glyph() {
        for bold in [false, true] {
            let face = &typeface(bold).unwrap().face;
            for c in "0123456789.−+±×°%≤≥≈…–σχµ½äéøßŁжΩ".chars() {
                if c != '½' {
                    assert!(face.glyph_index(c).is_some(), "no glyph for {c}");
                }
            }
        }
    }

    #[test]
    fn digits_stand_in_columns() {
        assert_eq!(
            text_width("1111", 10.0, false),
            text_width("8888", 10.0, false)
        );
        assert!(text_width("MM", 10.0, true) > text_width("ii", 10.0, true));
        assert!(text_outline(" ", 10.0, false, Transform::identity()).is_none());
    }
}
