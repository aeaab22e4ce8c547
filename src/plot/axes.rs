//! Framed panels with axes.

use plotters_backend::DrawingBackend;

use super::canvas::{Canvas, Marker, Point};
use super::palette::Colour;
use super::style::{Align, Pen, Text};
use super::{Scale, Tick, colours};

const TICK_TEXT: Text = Text::new(colours::SOFT_INK, 13.0);
const TITLE_TEXT: Text = Text::new(colours::INK, 13.5).bold();
const X_TITLE_TEXT: Text = Text::new(colours::INK, 13.5);
/// Room between neighbouring tick labels, pixels. SVG text may be set in another typeface
/// than the one measured here: as much again as a wide one needs.
const LABEL_GAP: f64 = 12.0;

/// A rectangle of the sheet, pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rect {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Lower edge.
    pub bottom: f64,
}

impl Rect {
    /// Pixels across.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }
    /// Pixels down.
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }
    /// Its middle.
    pub fn centre(&self) -> Point {
        (
            (self.left + self.right) / 2.0,
            (self.top + self.bottom) / 2.0,
        )
    }
    /// Smaller by this many pixels on the left, top, right and bottom.
    pub fn inset(&self, left: f64, top: f64, right: f64, bottom: f64) -> Rect {
        Rect {
            left: self.left + left,
            top: self.top + top,
            right: self.right - right,
            bottom: self.bottom - bottom,
        }
    }
    /// Cut into equal columns with `gap` pixels between them.
    pub fn columns(&self, count: usize, gap: f64) -> Vec<Rect> {
        let width = (self.width() - gap * (count as f64 - 1.0)) / count as f64;
        (0..count)
            .map(|i| {
                let left = self.left + i as f64 * (width + gap);
                Rect {
                    left,
                    right: left + width,
                    ..*self
                }
            })
            .collect()
    }
    /// Cut into equal rows with `gap` pixels between them.
    pub fn rows(&self, count: usize, gap: f64) -> Vec<Rect> {
        let height = (self.height() - gap * (count as f64 - 1.0)) / count as f64;
        (0..count)
            .map(|i| {
                let top = self.top + i as f64 * (height + gap);
                Rect {
                    top,
                    bottom: top + height,
                    ..*self
                }
            })
            .collect()
    }
}

/// One axis of a panel.
#[derive(Clone, Debug)]
pub struct Axis {
    /// Where values stand.
    pub scale: Scale,
    /// Its marks.
    pub ticks: Vec<Tick>,
    /// What it measures, with the unit; may be empty.
    pub title: String,
}

/// A framed rectangle with two axes.
#[derive(Clone, Debug)]
pub struct Panel {
    /// The frame.
    pub frame: Rect,
    /// The horizontal axis.
    pub x: Axis,
    /// The vertical axis; its title stands above the panel.
    pub y: Axis,
}

/// How far a pointer may miss a mark, pixels: a mouse hits it at once, and marks beside it can
/// still be hit.
pub const REACH_OF_MARK: f64 = 7.0;

impl Panel {
    /// The place of a pair of values.
    pub fn at(&self, x: f64, y: f64) -> Point {
        (self.x.scale.at(x), self.y.scale.at(y))
    }

    /// Grid, frame, tick labels and titles; the horizontal axis's labels only if asked, so
    /// that stacked panels can share them.
    pub fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, label_x: bool) {
        let f = self.frame;
        let grid = Pen::new(colours::GRID, 1.0);
        let frame = Pen::new(colours::FRAME, 1.0);
        for tick in self.x.ticks.iter().filter(|t| self.x.scale.holds(t.value)) {
            let x = self.x.scale.at(tick.value);
            canvas.line((x, f.top), (x, f.bottom), &grid);
        }
        for tick in self.y.ticks.iter().filter(|t| self.y.scale.holds(t.value)) {
            let y = self.y.scale.at(tick.value);
            canvas.line((f.left, y), (f.right, y), &grid);
        }
        if self.y.scale.low() < 0.0 && self.y.scale.high() > 0.0 {
            let y = self.y.scale.at(0.0);
            canvas.line((f.left, y), (f.right, y), &frame);
        }
        canvas.path(
            &[
                (f.left, f.top),
                (f.left, f.bottom),
                (f.right, f.bottom),
                (f.right, f.top),
                (f.left, f.top),
            ],
            &frame,
        );
        self.label_y(canvas);
        if label_x {
            self.label_x(canvas);
        }
        canvas.text((f.left, f.top - 9.0), &self.y.title, &TITLE_TEXT);
    }

    fn label_y<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>) {
        let style = TICK_TEXT.align(Align::Right);
        let mut last = f64::INFINITY;
        for tick in self.y.ticks.iter().filter(|t| self.y.scale.holds(t.value)) {
            let y = self.y.scale.at(tick.value);
            if (last - y).abs() >= 14.0 {
                last = y;
                let at = (self.frame.left - 7.0, y + style.half_height());
                canvas.text(at, &tick.label, &style);
            }
        }
    }

    fn label_x<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>) {
        let f = self.frame;
        let style = TICK_TEXT.align(Align::Centre);
        let shown: Vec<&Tick> = (self.x.ticks.iter())
            .filter(|t| self.x.scale.holds(t.value))
            .collect();
        let mut free_from = f64::NEG_INFINITY;
        for tick in &shown {
            let x = self.x.scale.at(tick.value);
            let half = style.width(&tick.label) / 2.0;
            if x - half >= free_from {
                free_from = x + half + LABEL_GAP;
                canvas.text((x, f.bottom + 18.0), &tick.label, &style);
            }
        }
        // The second line from the right: a new day's date matters more than the first one's.
        let mut free_to = f64::INFINITY;
        let mut two_lines = false;
        for tick in shown.iter().rev() {
            let Some(under) = &tick.under else { continue };
            two_lines = true;
            let x = self.x.scale.at(tick.value);
            let half = style.width(under) / 2.0;
            if x + half <= free_to {
                free_to = x - half - LABEL_GAP;
                canvas.text((x, f.bottom + 34.0), under, &style);
            }
        }
        let title = X_TITLE_TEXT.align(Align::Centre);
        let below = if two_lines { 55.0 } else { 40.0 };
        canvas.text((f.centre().0, f.bottom + below), &self.x.title, &title);
    }

    /// As [`Panel::mark`], for a row of the data that a page can point at.
    pub fn row_mark<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        row: usize,
        at: (f64, f64),
        marker: Marker,
        radius: f64,
        colour: Colour,
    ) -> bool {
        canvas.tag(row, self.at_edge(self.at(at.0, at.1)), REACH_OF_MARK);
        self.mark(canvas, at, marker, radius, colour)
    }

    /// The nearest place within the frame that leaves room for a mark.
    fn at_edge(&self, (x, y): Point) -> Point {
        let f = self.frame;
        (
            x.clamp(f.left + 6.0, f.right - 6.0),
            y.clamp(f.top + 6.0, f.bottom - 6.0),
        )
    }

    /// A mark at a pair of values; where that lies outside the frame, a triangle at the edge
    /// that points to it. Says whether it lay inside.
    pub fn mark<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        (x, y): (f64, f64),
        marker: Marker,
        radius: f64,
        colour: Colour,
    ) -> bool {
        let f = self.frame;
        let (px, py) = self.at(x, y);
        let edge = self.at_edge((px, py));
        let beyond = if py < f.top {
            Some(Marker::Up)
        } else if py > f.bottom {
            Some(Marker::Down)
        } else if px < f.left {
            Some(Marker::Left)
        } else if px > f.right {
            Some(Marker::Right)
        } else {
            None
        };
        match beyond {
            Some(pointer) => canvas.marker(edge, pointer, 5.0, colour),
            None => canvas.marker((px, py), marker, radius, colour),
        }
        beyond.is_none()
    }
}

/// What a note explains.
#[derive(Clone, Copy, Debug)]
pub enum Key {
    /// A mark.
    Mark(Marker, Colour),
    /// A line.
    Line(Pen),
    /// Nothing that is drawn.
    Plain,
}

/// Says what marks and lines mean, side by side from `at` on. What would reach past `right`
/// goes to a further line.
pub fn notes<DB: DrawingBackend>(
    canvas: &mut Canvas<DB>,
    at: Point,
    right: f64,
    items: &[(Key, String)],
) {
    let style = Text::new(colours::SOFT_INK, 13.0);
    let (mut x, mut y) = at;
    for (key, text) in items {
        let lead = match key {
            Key::Mark(..) => 14.0,
            Key::Line(_) => 32.0,
            Key::Plain => 0.0,
        };
        // SVG may be set in a wider typeface than the one measured.
        let width = lead + style.width(text) * 1.08;
        if x > at.0 && x + width > right {
            (x, y) = (at.0, y + 19.0);
        }
        let middle = y - style.half_height();
        match key {
            Key::Mark(marker, colour) => canvas.marker((x + 5.0, middle), *marker, 4.0, *colour),
            Key::Line(pen) => canvas.line((x, middle), (x + 26.0, middle), pen),
            Key::Plain => {}
        }
        canvas.text((x + lead, y), text, &style);
        x += width + 22.0;
    }
}
