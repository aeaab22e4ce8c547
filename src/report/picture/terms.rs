//! The mount errors found, with their error bars.

use plotters_backend::DrawingBackend;

use super::peaks::stamp;
use crate::logbook::TermState;
use crate::mount::TermUnit;
use crate::number;
use crate::plot::{
    Align, Canvas, Marker, Pen, Picture, Rect, Scale, Text, Tick, colours, symlog_ticks,
};
use crate::report::{Report, words};

/// One term.
#[derive(Clone, Debug)]
struct Row {
    name: &'static str,
    value: f64,
    sigma: Option<f64>,
    state: TermState,
    label: String,
}

/// The terms of one unit, on one axis.
#[derive(Clone, Debug)]
struct Block {
    axis_title: &'static str,
    rows: Vec<Row>,
}

/// The picture.
#[derive(Clone, Debug)]
pub struct TermsPicture {
    blocks: Vec<Block>,
    stamp: String,
}

impl TermsPicture {
    /// Prepares it.
    pub fn of(report: &Report) -> TermsPicture {
        let units = [
            (TermUnit::Angle, "degrees"),
            (TermUnit::Fraction, "percent"),
            (TermUnit::Seconds, "seconds"),
        ];
        let blocks = units
            .into_iter()
            .map(|(unit, axis_title)| Block {
                axis_title,
                rows: (report.outcome.terms.iter())
                    .filter(|t| t.term.unit() == unit && t.value.is_finite())
                    .map(|t| {
                        let factor = if unit == TermUnit::Fraction {
                            100.0
                        } else {
                            1.0
                        };
                        let value = t.shown() * factor;
                        let sigma = (t.shown_sigma().map(|s| s * factor))
                            .filter(|s| s.is_finite() && *s > 0.0);
                        Row {
                            name: words::term_name(report.outcome.model.kind(), t.term),
                            value,
                            sigma,
                            state: t.state,
                            label: label(value, sigma, t.state, axis_title),
                        }
                    })
                    .collect(),
            })
            .filter(|b| !b.rows.is_empty())
            .collect();
        TermsPicture {
            blocks,
            stamp: stamp(report),
        }
    }
}

fn label(value: f64, sigma: Option<f64>, state: TermState, unit: &str) -> String {
    let unit = match unit {
        "degrees" => "deg",
        "percent" => "%",
        _ => "s",
    };
    let value = match (state, sigma) {
        (TermState::NotSeparable, _) => return "not separable".to_owned(),
        (TermState::Fitted, Some(sigma)) => {
            let (v, s) = number::with_sigma(value, sigma);
            return format!("{} ± {s} {unit}", number::typographic(&v));
        }
        (_, _) => number::typographic(&number::significant(value, 3)),
    };
    match state {
        TermState::Held => format!("held at {value} {unit}"),
        _ => format!("{value} {unit}"),
    }
}

impl Block {
    /// Where the axis turns from straight to logarithmic, and how far it reaches.
    fn axis(&self) -> (f64, f64) {
        let sizes = || {
            (self.rows.iter()).flat_map(|r| {
                let far = r.value.abs() + r.sigma.unwrap_or(0.0);
                [r.value.abs(), r.sigma.unwrap_or(0.0), far]
            })
        };
        let largest = sizes().fold(0.0, f64::max);
        if largest <= 0.0 {
            // Nothing but zeros held: any axis will do.
            return (0.1, 1.0);
        }
        let smallest_sigma = (self.rows.iter())
            .filter_map(|r| r.sigma)
            .fold(f64::INFINITY, f64::min);
        // Straight as far as the best-known term is uncertain, but over no more than six decades.
        let straight = if smallest_sigma.is_finite() {
            smallest_sigma
        } else {
            largest / 100.0
        };
        let straight = straight.max(largest * 1e-5).min(largest);
        (10f64.powf(straight.log10().floor()), largest * 1.6)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, frame: Rect, row_height: f64) {
        let (straight, reach) = self.axis();
        let scale = Scale::symlog(-reach, reach, straight, frame.left, frame.right);
        let grid = Pen::new(colours::GRID, 1.0);
        let ticks: Vec<Tick> = symlog_ticks(-reach, reach, straight);
        let tick_style = Text::new(colours::SOFT_INK, 12.5).align(Align::Centre);
        let mut free_from = f64::NEG_INFINITY;
        for tick in &ticks {
            let x = scale.at(tick.value);
            canvas.line((x, frame.top), (x, frame.bottom), &grid);
            let half = tick_style.width(&tick.label) / 2.0;
            if x - half >= free_from {
                free_from = x + half + 12.0;
                canvas.text((x, frame.bottom + 16.0), &tick.label, &tick_style);
            }
        }
        let edge = Pen::new(colours::FRAME, 1.0);
        canvas.line(
            (frame.left, frame.bottom),
            (frame.right, frame.bottom),
            &edge,
        );
        let zero = scale.at(0.0);
        canvas.line(
            (zero, frame.top),
            (zero, frame.bottom),
            &Pen::new(colours::FRAME, 1.4),
        );
        let unit = Text::new(colours::INK, 13.0);
        canvas.text(
            (frame.right + 14.0, frame.bottom + 16.0),
            self.axis_title,
            &unit,
        );
        for (i, row) in self.rows.iter().enumerate() {
            let y = frame.top + (i as f64 + 0.5) * row_height;
            row.draw(canvas, &scale, frame, y);
        }
    }
}

impl Row {
    fn draw<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        scale: &Scale,
        frame: Rect,
        y: f64,
    ) {
        let name = Text::new(colours::INK, 14.0).align(Align::Right);
        let below = name.half_height();
        canvas.text((frame.left - 14.0, y + below), self.name, &name);
        let soft = self.state != TermState::Fitted;
        let ink = if soft {
            colours::SOFT_INK
        } else {
            colours::INK
        };
        canvas.text(
            (frame.right + 14.0, y + below),
            &self.label,
            &Text::new(ink, 14.0),
        );
        let x = scale.at(self.value);
        match self.state {
            TermState::Fitted => {
                let stem = Pen::new(colours::BLUE, 1.0).opacity(0.35);
                canvas.line((scale.at(0.0), y), (x, y), &stem);
                if let Some(sigma) = self.sigma {
                    let (low, high) = (scale.at(self.value - sigma), scale.at(self.value + sigma));
                    let pen = Pen::new(colours::BLUE, 2.0);
                    canvas.line((low, y), (high, y), &pen);
                    for end in [low, high] {
                        canvas.line((end, y - 5.0), (end, y + 5.0), &pen);
                    }
                }
                canvas.marker((x, y), Marker::Disc, 3.6, colours::BLUE);
            }
            TermState::Held => canvas.marker((x, y), Marker::Square, 4.0, colours::SOFT_INK),
            TermState::NotSeparable => {
                canvas.marker((x, y), Marker::Cross, 4.5, colours::VERMILLION)
            }
        }
    }
}

impl Picture for TermsPicture {
    fn file_stem(&self) -> &str {
        "terms"
    }
    fn title(&self) -> String {
        "The mount errors found".to_owned()
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        "Each error with one standard deviation; the axis is stretched near zero so that large and \
         small errors both show. A bar that crosses zero means no significant error. Hollow squares \
         were held, crosses could not be told apart from other errors."
            .to_owned()
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(232.0, 4.0, 212.0, 4.0);
        let rows: usize = self.blocks.iter().map(|b| b.rows.len()).sum();
        if rows == 0 {
            let style = Text::new(colours::SOFT_INK, 15.0).align(Align::Centre);
            canvas.text(body.centre(), "no mount error was requested", &style);
            return;
        }
        // Below each block, room for its axis.
        let axis = 36.0;
        let row_height =
            ((room.height() - axis * self.blocks.len() as f64) / rows as f64).clamp(12.0, 46.0);
        let mut top = room.top;
        for block in &self.blocks {
            let bottom = top + block.rows.len() as f64 * row_height;
            let frame = Rect {
                top,
                bottom,
                ..room
            };
            block.draw(canvas, frame, row_height);
            top = bottom + axis;
        }
    }
}
