//! A plan on the sky, and what each step leaves of the pointing error.

use std::path::{Path, PathBuf};

use plotters_backend::DrawingBackend;

use super::round_sky::{RoundSky, mask_line};
use crate::files;
use crate::plan::Plan;
use crate::problem::{Error, printable};
use crate::report::chart::{
    Align, Axis, Canvas, Key, Marker, Panel, Pen, Picture, Point, Rect, Render, Scale, Text, Tick,
    colours, linear_ticks, notes,
};
use crate::report::layout::cut;
use crate::report::number;
use crate::station::Station;

/// Longer plans get no numbers beside the marks.
const MOST_NUMBERS: usize = 60;
/// Added to logarithms so that the axis has no zero, which would be drawn as a line of its own.
const SHIFT: f64 = 20.0;
/// The curve of the error spans so many powers of ten at most, counted from its end.
const DECADES: f64 = 2.0;

/// The picture.
#[derive(Clone, Debug)]
struct PlanPicture {
    steps: Vec<Mark>,
    horizon: Vec<(f64, f64)>,
    /// Left after no, one, two ... steps, degrees.
    left: Vec<f64>,
    beamwidth: f64,
    stamp: String,
}

#[derive(Clone, Copy, Debug)]
struct Mark {
    azimuth_rad: f64,
    elevation_deg: f64,
    is_sun: bool,
}

impl PlanPicture {
    fn of(plan: &Plan, station: &Station) -> PlanPicture {
        let day = |i: usize| plan.steps.get(i).map(|s| s.candidate.time.calendar());
        PlanPicture {
            steps: (plan.steps.iter())
                .map(|s| Mark {
                    azimuth_rad: s.candidate.direction.azimuth().radians(),
                    elevation_deg: s.candidate.direction.elevation().degrees(),
                    is_sun: s.candidate.is_sun,
                })
                .collect(),
            horizon: mask_line(&station.horizon),
            left: std::iter::once(plan.error.0)
                .chain(plan.steps.iter().map(|s| s.left))
                .map(|a| a.degrees())
                .collect(),
            beamwidth: station.dish.beamwidth.degrees(),
            stamp: format!(
                "{}{}",
                cut(&printable(&station.site.name), 40),
                day(0).map_or(String::new(), |(y, m, d, ..)| format!(
                    ", {y}-{m:02}-{d:02} UTC"
                ))
            ),
        }
    }

    fn draw_sky<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, room: Rect) {
        let radius = (room.width() / 2.0 - 44.0).min(room.height() / 2.0 - 30.0);
        let sky = RoundSky {
            centre: room.centre(),
            radius,
        };
        sky.draw_grid(canvas, &self.horizon);
        let places: Vec<(f64, f64)> = (self.steps.iter())
            .map(|m| (m.azimuth_rad, m.elevation_deg))
            .collect();
        sky.label_circles(canvas, &places);
        sky.label_quarters(canvas);
        let points: Vec<Point> = places.iter().map(|(a, e)| sky.at(*a, *e)).collect();
        canvas.path(&points, &Pen::new(colours::FRAME, 1.0).dashed(4.0, 3.0));
        for (mark, at) in self.steps.iter().zip(&points) {
            let (shape, colour) = match mark.is_sun {
                true => (Marker::Disc, colours::ORANGE),
                false => (Marker::Disc, colours::BLUE),
            };
            canvas.marker(*at, shape, if mark.is_sun { 5.0 } else { 3.5 }, colour);
        }
        if points.len() <= MOST_NUMBERS {
            self.number(canvas, &points);
        }
    }

    /// The steps' numbers beside their places; steps at one place share a label.
    fn number<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, points: &[Point]) {
        const SAME_PLACE: f64 = 13.0;
        let style = Text::new(colours::INK, 12.0);
        let mut labels: Vec<(Point, Vec<usize>)> = Vec::new();
        for (i, at) in points.iter().enumerate() {
            let near = |p: &Point| (p.0 - at.0).hypot(p.1 - at.1) < SAME_PLACE;
            match labels.iter_mut().find(|(p, _)| near(p)) {
                Some((_, numbers)) => numbers.push(i + 1),
                None => labels.push((*at, vec![i + 1])),
            }
        }
        let mut taken: Vec<Rect> = Vec::new();
        for (at, numbers) in labels {
            let text = runs(&numbers);
            let (width, height) = (style.width(&text), 12.0);
            // Right, left, above, below: the first that is free.
            let places = [
                (at.0 + 7.0, at.1 - height / 2.0),
                (at.0 - 7.0 - width, at.1 - height / 2.0),
                (at.0 - width / 2.0, at.1 - 7.0 - height),
                (at.0 - width / 2.0, at.1 + 7.0),
            ];
            let room = |(left, top): &Point| Rect {
                left: *left,
                top: *top,
                right: left + width,
                bottom: top + height,
            };
            let free = |r: &Rect| {
                let hits = |o: &Rect| {
                    r.left < o.right && o.left < r.right && r.top < o.bottom && o.top < r.bottom
                };
                let covers = |p: &&Point| {
                    (r.left - 4.0..r.right + 4.0).contains(&p.0)
                        && (r.top - 3.0..r.bottom + 3.0).contains(&p.1)
                };
                !taken.iter().any(hits) && !points.iter().any(|p| covers(&p))
            };
            let place = (places.iter().map(room).find(free)).unwrap_or_else(|| room(&places[0]));
            canvas.text((place.left, place.bottom - 2.0), &text, &style);
            taken.push(place);
        }
    }

    fn draw_error<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, frame: Rect) {
        let height = |degrees: f64| degrees.max(1e-9).log10() + SHIFT;
        let least = height(self.left.iter().copied().fold(f64::INFINITY, f64::min));
        let most = height(self.left.first().copied().unwrap_or(1.0));
        let low = least.floor();
        let high = most.min(least + DECADES);
        let steps = self.left.len().saturating_sub(1) as f64;
        let decades = (low - SHIFT) as i32..=(high - SHIFT).ceil() as i32;
        let panel = Panel {
            frame,
            x: Axis {
                scale: Scale::linear(0.0, steps, frame.left, frame.right),
                ticks: linear_ticks(0.0, steps, 8)
                    .into_iter()
                    .filter(|t| t.value.fract() == 0.0)
                    .collect(),
                title: "steps done".to_owned(),
            },
            y: Axis {
                scale: Scale::linear(low, high, frame.bottom, frame.top),
                ticks: decades
                    .flat_map(|d| [1.0, 2.0, 5.0].map(|m| m * 10f64.powi(d)))
                    .map(|v| Tick::new(height(v), number::significant(v, 1)))
                    .collect(),
                title: "left of the pointing error over the sky, deg".to_owned(),
            },
        };
        panel.draw(canvas, true);
        let tenth = height(self.beamwidth / 10.0);
        if panel.y.scale.holds(tenth) {
            let (left, y) = panel.at(0.0, tenth);
            let pen = Pen::new(colours::GREEN, 1.5).dashed(6.0, 4.0);
            canvas.line((left, y), (frame.right, y), &pen);
            let words = Text::new(colours::SOFT_INK, 12.0).align(Align::Right);
            canvas.text(
                (frame.right - 6.0, y - 5.0),
                "a tenth of the beamwidth",
                &words,
            );
        }
        let inside: Vec<Point> = (self.left.iter().enumerate())
            .map(|(i, e)| (i as f64, height(*e)))
            .filter(|(_, e)| *e <= high)
            .map(|(i, e)| panel.at(i, e))
            .collect();
        canvas.path(&inside, &Pen::new(colours::BLUE, 1.8));
        for at in inside {
            canvas.marker(at, Marker::Disc, 2.6, colours::BLUE);
        }
    }
}

/// `3`, `3, 4`, `3–6, 9`.
fn runs(numbers: &[usize]) -> String {
    let mut text: Vec<String> = Vec::new();
    let mut rest = numbers;
    while let Some(first) = rest.first() {
        let length = (rest.iter().zip(*first..))
            .take_while(|(n, k)| **n == *k)
            .count();
        match length {
            1 => text.push(first.to_string()),
            _ => text.push(format!("{first}–{}", first + length - 1)),
        }
        rest = &rest[length..];
    }
    text.join(", ")
}

impl Picture for PlanPicture {
    fn file_stem(&self) -> &str {
        "plan"
    }
    fn title(&self) -> String {
        "What to measure, in this order".to_owned()
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        format!(
            "Left: the steps by number on the sky seen from above, zenith in the middle, horizon at \
             the rim, circles at elevations 30 and 60 deg. Right: what they leave of the pointing \
             error over the reachable sky. When time runs short, stop where the curve lies below \
             what you need; the beam is {} deg wide.",
            number::significant(self.beamwidth, 3)
        )
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(20.0, 8.0, 30.0, 30.0);
        let columns = room.columns(2, 10.0);
        self.draw_sky(canvas, columns[0]);
        self.draw_error(canvas, columns[1].inset(60.0, 50.0, 0.0, 60.0));
        let mut items = vec![(
            Key::Mark(Marker::Disc, colours::BLUE),
            "a peak to take".to_owned(),
        )];
        if self.steps.iter().any(|m| m.is_sun) {
            let words = "the Sun: mind its heat at the feed".to_owned();
            items.push((Key::Mark(Marker::Disc, colours::ORANGE), words));
        }
        if !self.horizon.is_empty() {
            let words = "grey rim: below the station's horizon".to_owned();
            items.push((Key::Plain, words));
        }
        notes(canvas, (40.0, body.bottom - 6.0), body.right - 40.0, &items);
    }
}

/// Writes the picture, as SVG and PNG, into `dir`, which is made if need be. Gives the files'
/// paths.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written; files written before stay.
pub fn write_plan_pictures(
    dir: &Path,
    plan: &Plan,
    station: &Station,
) -> Result<Vec<PathBuf>, Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io(&dir.display().to_string(), "create", e))?;
    let picture = PlanPicture::of(plan, station);
    let (svg, png) = (dir.join("plan.svg"), dir.join("plan.png"));
    files::write_whole(&svg, picture.svg().as_bytes())?;
    files::write_whole(&png, &picture.png()?)?;
    Ok(vec![svg, png])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_a_row_are_joined() {
        assert_eq!(runs(&[3]), "3");
        assert_eq!(runs(&[3, 4, 7]), "3–4, 7");
        assert_eq!(runs(&[1, 2, 3, 9, 10]), "1–3, 9–10");
    }
}
