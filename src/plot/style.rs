//! How lines and text are drawn, as plotters' backends ask for it.

use plotters_backend::text_anchor::{HPos, Pos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, FontFamily, FontStyle,
    FontTransform,
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

/// SVG is set in the reader's own sans-serif: layouts must hold in a wide one too. DejaVu Sans
/// sets common text an eighth wider than the embedded typeface; the rest is a margin.
pub(super) const WIDER: f64 = 1.14;

/// How a line is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Pen {
    pub(super) colour: Colour,
    pub(super) opacity: f64,
    pub(super) width: f64,
    pub(super) dash: Option<(f64, f64)>,
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
    pub(super) size: f64,
    bold: bool,
    align: Align,
    pub(super) upward: bool,
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
    /// The width to leave free for `text`, pixels.
    pub fn room_for(&self, text: &str) -> f64 {
        WIDER * self.width(text)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_name_is_cut_to_its_room() {
        let style = Text::new(crate::plot::colours::INK, 14.0);
        let cut = style.fitted("a very long name of a very small station", 80.0);
        assert!(cut.ends_with('…') && style.width(&cut) <= 80.0, "{cut}");
        assert_eq!(style.fitted("short", 80.0), "short");
    }
}
