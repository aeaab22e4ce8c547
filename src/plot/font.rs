//! The embedded typeface: Open Sans, subset (see `font/README.md` for source and licence).

use std::sync::OnceLock;

use tiny_skia::{Path, PathBuilder, Transform};
use ttf_parser::{Face, OutlineBuilder};

/// The regular weight, as a TrueType file.
pub const REGULAR_TTF: &[u8] = include_bytes!("font/OpenSans-Regular.ttf");
/// The semi-bold weight, as a TrueType file.
pub const SEMIBOLD_TTF: &[u8] = include_bytes!("font/OpenSans-Semibold.ttf");

fn face(bold: bool) -> Option<&'static Face<'static>> {
    static FACES: [OnceLock<Option<Face<'static>>>; 2] = [OnceLock::new(), OnceLock::new()];
    let bytes = if bold { SEMIBOLD_TTF } else { REGULAR_TTF };
    FACES[usize::from(bold)]
        .get_or_init(|| Face::parse(bytes, 0).ok())
        .as_ref()
}

/// Width of a line of text in the embedded typeface, in the unit of `size` (the em).
pub fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    let Some(face) = face(bold) else { return 0.0 };
    let units: u32 = text
        .chars()
        .map(|c| u32::from(face.glyph_hor_advance(glyph(face, c)).unwrap_or(0)))
        .sum();
    f64::from(units) * size / f64::from(face.units_per_em())
}

/// The outline of a line of text of this `size`, `placed` from where its baseline starts at the
/// origin, y down. None when there is nothing to draw.
pub(super) fn text_outline(text: &str, size: f64, bold: bool, placed: Transform) -> Option<Path> {
    let face = face(bold)?;
    let scale = size as f32 / f32::from(face.units_per_em());
    let mut outline = Outline {
        path: PathBuilder::new(),
        at: 0.0,
    };
    for c in text.chars() {
        let id = glyph(face, c);
        face.outline_glyph(id, &mut outline);
        outline.at += f32::from(face.glyph_hor_advance(id).unwrap_or(0));
    }
    outline
        .path
        .finish()?
        .transform(placed.pre_scale(scale, -scale))
}

/// The glyph of a character; the font's own "missing" box where it has none.
fn glyph(face: &Face, c: char) -> ttf_parser::GlyphId {
    face.glyph_index(c).unwrap_or(ttf_parser::GlyphId(0))
}

/// Gathers glyphs side by side, in font units.
struct Outline {
    path: PathBuilder,
    at: f32,
}

impl OutlineBuilder for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.path.move_to(x + self.at, y);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.path.line_to(x + self.at, y);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.path.quad_to(x1 + self.at, y1, x + self.at, y);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let at = self.at;
        self.path.cubic_to(x1 + at, y1, x2 + at, y2, x + at, y);
    }
    fn close(&mut self) {
        self.path.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sign_that_pictures_use_has_a_glyph() {
        for bold in [false, true] {
            let face = face(bold).unwrap();
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
