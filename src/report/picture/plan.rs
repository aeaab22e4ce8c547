//! A plan on the sky, and what each step leaves of the pointing error.

use plotters_backend::DrawingBackend;

use super::round_sky::{RoundSky, mask_line};
use super::step_numbers;
use crate::number;
use crate::plan::Plan;
use crate::plot::{
    Align, Axis, Canvas, Key, Marker, Panel, Pen, Picture, Point, Rect, Render, Scale, Text, Tick,
    colours, linear_ticks, notes,
};
use crate::problem::printable;
use crate::report::layout::cut;
use crate::station::Station;

/// Longer plans get no numbers beside the marks: there is no room.
const MOST_NUMBERS: usize = 60;
/// Added to logarithms so that the axis has no zero, which would be drawn as a line of its own.
const SHIFT: f64 = 20.0;
/// The curve of the error spans at most this many powers of ten, counted from its end, so that the
/// end stays readable.
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
        let mut taken = sky.label_circles(canvas, &places);
        taken.extend(sky.label_quarters(canvas));
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
            step_numbers::draw(canvas, &points, room, &taken);
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
            // The error falls from the upper left to the lower right: beside the line on the side
            // where it is not.
            let reached = self.left.iter().position(|e| height(*e) <= tenth);
            let reached = reached.map_or(frame.right, |step| panel.at(step as f64, tenth).0);
            let (place, align) = if reached < 0.5 * (frame.left + frame.right) {
                ((frame.right - 6.0, y - 5.0), Align::Right)
            } else {
                ((frame.left + 6.0, y + 15.0), Align::Left)
            };
            let words = Text::new(colours::SOFT_INK, 12.0).align(align);
            canvas.text(place, "a tenth of the beamwidth", &words);
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

/// The picture of a plan.
pub fn plan_picture(plan: &Plan, station: &Station) -> impl Render + use<> {
    PlanPicture::of(plan, station)
}
