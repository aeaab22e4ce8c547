//! Every term through time with its error bars, a panel each.

use plotters_backend::DrawingBackend;

use super::{change_words, day, shown, shown_in, signed_words};
use crate::number;
use crate::plot::{
    Align, Axis, Canvas, Key, Marker, Panel, Pen, Picture, Rect, Scale, Text, colours,
    linear_ticks, notes, time_ticks,
};
use crate::recheck::{History, TermHistory};
use crate::report::term_name;
use crate::time::Utc;

/// More panels than these stand in two columns, so that each keeps its height.
const ONE_COLUMN: usize = 3;
/// A change that is none.
const STEADY: Pen = Pen::new(colours::BLUE, 1.0).opacity(0.45);
/// A real change.
const CHANGE: Pen = Pen::new(colours::VERMILLION, 2.2);

/// One calibration's value of a term.
#[derive(Clone, Copy, Debug)]
struct Dot {
    /// Seconds after the first calibration.
    at: f64,
    value: f64,
    sigma: f64,
    real: bool,
}

/// One term.
#[derive(Clone, Debug)]
struct Row {
    title: String,
    said: String,
    dots: Vec<Dot>,
}

/// The picture.
#[derive(Clone, Debug)]
pub struct HistoryPicture {
    stem: String,
    stamp: String,
    rows: Vec<Row>,
    origin: Utc,
    span: f64,
}

impl HistoryPicture {
    /// Prepares it for some of a history's terms.
    pub fn new(stem: String, history: &History, terms: &[TermHistory]) -> HistoryPicture {
        let first = history.entries.first();
        let last = history.entries.last();
        let origin = first.map_or(Utc::from_unix_nanos(0), |e| e.created);
        let stamp = match (first, last) {
            (Some(first), Some(last)) => format!(
                "{}, {} to {}",
                last.calibration.station,
                day(first.created),
                day(last.created)
            ),
            _ => String::new(),
        };
        HistoryPicture {
            stem,
            stamp,
            rows: terms.iter().map(|t| Row::of(t, origin)).collect(),
            origin,
            span: last.map_or(0.0, |e| e.created.seconds_since(origin)),
        }
    }
}

impl Row {
    fn of(history: &TermHistory, origin: Utc) -> Row {
        let term = history.term;
        let dots = (history.points.iter().zip(history.values()))
            .map(|(p, value)| Dot {
                at: p.created.seconds_since(origin),
                value: shown(term, value),
                sigma: shown(term, p.sigma),
                real: p.real,
            })
            .collect();
        let real: Vec<_> = history.points.iter().filter(|p| p.real).collect();
        let said = match real.as_slice() {
            [] if history.creeps => {
                let (by, sigma) = history.overall();
                format!(
                    "creeps: {}",
                    signed_words(term, shown(term, by), shown(term, sigma))
                )
            }
            [] => String::new(),
            [one] => format!("real change: {}", change_words(term, one)),
            several => number::counted(several.len(), "real change"),
        };
        Row {
            title: format!("{} ({})", term_name(history.mount, term), shown_in(term)),
            said: number::typographic(&said.replace("+/-", "±")),
            dots,
        }
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, panel: &Panel) {
        let top = panel.frame.top - 9.0;
        let said = Text::new(colours::VERMILLION, 13.0).align(Align::Right);
        canvas.text((panel.frame.right, top), &self.said, &said);
        for pair in self.dots.windows(2) {
            let pen = if pair[1].real { &CHANGE } else { &STEADY };
            let (from, to) = (
                panel.at(pair[0].at, pair[0].value),
                panel.at(pair[1].at, pair[1].value),
            );
            canvas.line(from, to, pen);
        }
        let bar = Pen::new(colours::BLUE, 1.6);
        for dot in &self.dots {
            let (x, low) = panel.at(dot.at, dot.value - dot.sigma);
            let (_, high) = panel.at(dot.at, dot.value + dot.sigma);
            canvas.line((x, low), (x, high), &bar);
            for end in [low, high] {
                canvas.line((x - 4.0, end), (x + 4.0, end), &bar);
            }
            let (marker, colour) = if dot.real {
                (Marker::Diamond, colours::VERMILLION)
            } else {
                (Marker::Disc, colours::BLUE)
            };
            canvas.marker(panel.at(dot.at, dot.value), marker, 4.0, colour);
        }
    }

    /// Lowest and highest value with their bars, and a little room.
    fn reach(&self) -> (f64, f64) {
        let low = (self.dots.iter()).fold(f64::INFINITY, |l, d| l.min(d.value - d.sigma));
        let high = (self.dots.iter()).fold(f64::NEG_INFINITY, |h, d| h.max(d.value + d.sigma));
        let room = 0.12 * (high - low).max(1e-6);
        (low - room, high + room)
    }
}

impl Picture for HistoryPicture {
    fn file_stem(&self) -> &str {
        &self.stem
    }
    fn title(&self) -> String {
        "The mount errors through time".to_owned()
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        "Each calibration's value with one standard deviation. A thick line to a diamond is a change \
         that is real; everything else is within chance. A panel fills its height with \
         whatever is there: read its numbers before its slopes."
            .to_owned()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let count = self.rows.len();
        if count == 0 {
            let style = Text::new(colours::SOFT_INK, 15.0).align(Align::Centre);
            canvas.text(body.centre(), "no term was fitted", &style);
            return;
        }
        let columns = if count > ONE_COLUMN { 2 } else { 1 };
        let lines = count.div_ceil(columns);
        let room = body.inset(84.0, 54.0, 34.0, 50.0);
        let (width, height) = (room.width(), room.height());
        let (gap_across, gap_down) = (84.0, 34.0);
        let wide = (width - gap_across * (columns as f64 - 1.0)) / columns as f64;
        let high = (height - gap_down * (lines as f64 - 1.0)) / lines as f64;
        let margin = (0.04 * self.span).max(1800.0);
        let (from, to) = (-margin, self.span + margin);
        let said = [
            (
                Key::Mark(Marker::Disc, colours::BLUE),
                "as before, or the first".to_owned(),
            ),
            (
                Key::Mark(Marker::Diamond, colours::VERMILLION),
                "a real change".to_owned(),
            ),
        ];
        notes(canvas, (room.left, body.top + 14.0), room.right, &said);
        for (i, row) in self.rows.iter().enumerate() {
            // Down the first column, then the second: the order of the terms is kept.
            let (column, line) = (i / lines, i % lines);
            let left = room.left + column as f64 * (wide + gap_across);
            let top = room.top + line as f64 * (high + gap_down);
            let frame = Rect {
                left,
                top,
                right: left + wide,
                bottom: top + high,
            };
            let (low, top_value) = row.reach();
            let panel = Panel {
                frame,
                x: Axis {
                    scale: Scale::linear(from, to, frame.left, frame.right),
                    ticks: time_ticks(self.origin, from, to, (wide / 95.0) as usize).ticks,
                    title: String::new(),
                },
                y: Axis {
                    scale: Scale::linear(low, top_value, frame.bottom, frame.top),
                    ticks: linear_ticks(low, top_value, (high / 22.0).max(2.0) as usize),
                    title: row.title.clone(),
                },
            };
            let last = line + 1 == lines || i + 1 == count;
            panel.draw(canvas, last);
            row.draw(canvas, &panel);
        }
    }
}
