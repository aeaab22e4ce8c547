//! A plotters backend for tests: it keeps what was drawn, so that layouts can be judged.

use std::convert::Infallible;

use plotters_backend::text_anchor::HPos;
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontStyle,
};

use super::canvas::Canvas;
use super::style::{SIZE_OVER_EM, TOP_TO_BASELINE_EM, UNITS, WIDER};
use super::{HEIGHT, Picture, Rect, WIDTH, font, output};

/// A line of text and the box it fills, pixels.
#[derive(Clone, Debug)]
pub struct SetText {
    /// What stands there.
    pub text: String,
    /// From the height of a capital to most of a descender.
    pub room: Rect,
}

/// What a picture drew.
#[derive(Clone, Debug, Default)]
pub struct Recording {
    /// In the order drawn.
    pub texts: Vec<SetText>,
}

impl Recording {
    /// Of a whole picture file, heading and caption included.
    pub fn of<P: Picture>(picture: &P) -> Recording {
        let mut recording = Recording::default();
        let mut canvas = Canvas::new(&mut recording);
        output::draw_whole(&mut canvas, picture);
        let _ = canvas.finish();
        recording
    }

    /// Pairs of texts that lie over one another.
    pub fn clashes(&self) -> Vec<(String, String)> {
        let mut found = Vec::new();
        for (i, a) in self.texts.iter().enumerate() {
            for b in &self.texts[i + 1..] {
                let apart = a.room.right <= b.room.left
                    || b.room.right <= a.room.left
                    || a.room.bottom <= b.room.top
                    || b.room.bottom <= a.room.top;
                if !apart {
                    found.push((a.text.clone(), b.text.clone()));
                }
            }
        }
        found
    }

    /// Texts that leave the sheet.
    pub fn strays(&self) -> Vec<String> {
        (self.texts.iter())
            .filter(|t| {
                let r = t.room;
                r.left < 0.0 || r.top < 0.0 || r.right > WIDTH || r.bottom > HEIGHT
            })
            .map(|t| t.text.clone())
            .collect()
    }
}

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

impl DrawingBackend for Recording {
    type ErrorType = Infallible;
    fn get_size(&self) -> (u32, u32) {
        ((WIDTH * UNITS) as u32, (HEIGHT * UNITS) as u32)
    }
    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }
    fn present(&mut self) -> Drawn {
        Ok(())
    }
    fn draw_pixel(&mut self, _: BackendCoord, _: BackendColor) -> Drawn {
        Ok(())
    }
    fn draw_line<S: BackendStyle>(&mut self, _: BackendCoord, _: BackendCoord, _: &S) -> Drawn {
        Ok(())
    }
    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        _: I,
        _: &S,
    ) -> Drawn {
        Ok(())
    }
    fn draw_rect<S: BackendStyle>(
        &mut self,
        _: BackendCoord,
        _: BackendCoord,
        _: &S,
        _: bool,
    ) -> Drawn {
        Ok(())
    }
    fn draw_circle<S: BackendStyle>(&mut self, _: BackendCoord, _: u32, _: &S, _: bool) -> Drawn {
        Ok(())
    }
    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        _: I,
        _: &S,
    ) -> Drawn {
        Ok(())
    }
    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, at: BackendCoord) -> Drawn {
        let em = style.size() / SIZE_OVER_EM / UNITS;
        let width = WIDER * font::text_width(text, em, matches!(style.style(), FontStyle::Bold));
        let (x, y) = (f64::from(at.0) / UNITS, f64::from(at.1) / UNITS);
        let left = match style.anchor().h_pos {
            HPos::Left => x,
            HPos::Center => x - width / 2.0,
            HPos::Right => x - width,
        };
        let baseline = y + TOP_TO_BASELINE_EM * em;
        self.texts.push(SetText {
            text: text.to_owned(),
            room: Rect {
                left,
                top: baseline - 0.74 * em,
                right: left + width,
                // Most of a descender; neighbouring lines may touch with less.
                bottom: baseline + 0.15 * em,
            },
        });
        Ok(())
    }
}
