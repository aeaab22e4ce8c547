//! How the residuals spread, in units of their standard deviation.

use plotters_backend::DrawingBackend;

use super::peaks::{Measured, stamp};
use crate::number;
use crate::plot::{
    Align, Axis, Canvas, Panel, Pen, Picture, Point, Rect, Scale, Text, Tick, colours, linear_ticks,
};
use crate::report::Report;
use crate::report::words::sentence;
use crate::solve::{NoiseSource, PeakOutcome};

/// The axis reaches this many standard deviations to both sides: good peaks lie within.
const REACH: f64 = 5.0;

/// One axis's residuals.
#[derive(Clone, Debug)]
struct Spread {
    title: String,
    /// Counts in bins from -REACH to REACH.
    bins: Vec<usize>,
    below: usize,
    above: usize,
    count: usize,
    /// How many could not be divided: no standard deviation.
    without: usize,
    rms: f64,
}

/// The picture.
#[derive(Clone, Debug)]
pub struct HistogramPicture {
    spreads: [Spread; 2],
    /// Width of the normal curve: fitted residuals are narrower than their noise.
    expected: f64,
    from_scatter: bool,
    stamp: String,
}

impl HistogramPicture {
    /// Prepares it.
    pub fn of(report: &Report) -> HistogramPicture {
        let outcome = report.outcome;
        let [_, axis_2] = outcome.model.kind().axes();
        let used = || outcome.peaks.iter().filter(|p| p.used);
        let cross = |p: &PeakOutcome| {
            (
                Measured::of(p, p.residual).cross_elevation,
                p.cross_elevation_sigma.degrees(),
            )
        };
        let elevation = |p: &PeakOutcome| {
            (
                Measured::of(p, p.residual).elevation,
                p.elevation_sigma.degrees(),
            )
        };
        let spreads = [
            Spread::of(&sentence(axis_2.cross_words()), used().map(cross)),
            Spread::of(axis_2.heading(), used().map(elevation)),
        ];
        let measured: usize = used()
            .map(|p| usize::from(p.azimuth_measured) + usize::from(p.elevation_measured))
            .sum();
        let share = outcome.degrees_of_freedom as f64 / measured.max(1) as f64;
        HistogramPicture {
            spreads,
            expected: if share > 0.0 {
                share.min(1.0).sqrt()
            } else {
                1.0
            },
            from_scatter: outcome.noise == NoiseSource::Scatter,
            stamp: stamp(report),
        }
    }
}

impl Spread {
    /// Of pairs of residual and standard deviation.
    fn of(name: &str, pairs: impl Iterator<Item = (Option<f64>, f64)>) -> Spread {
        let mut ratios = Vec::new();
        let mut without = 0;
        for (value, sigma) in pairs {
            let Some(value) = value else { continue };
            if sigma > 0.0 && (value / sigma).is_finite() {
                ratios.push(value / sigma);
            } else {
                without += 1;
            }
        }
        let width = match ratios.len() {
            0..=30 => 1.0,
            31..=400 => 0.5,
            _ => 0.25,
        };
        let mut bins = vec![0; (2.0 * REACH / width) as usize];
        let (mut below, mut above) = (0, 0);
        for r in &ratios {
            if *r < -REACH {
                below += 1;
            } else if *r >= REACH {
                above += 1;
            } else {
                let last = bins.len() - 1;
                bins[(((r + REACH) / width) as usize).min(last)] += 1;
            }
        }
        let count = ratios.len();
        let mean_square = ratios.iter().map(|r| r * r).sum::<f64>() / count.max(1) as f64;
        Spread {
            title: format!("{name}: number of peaks"),
            bins,
            below,
            above,
            count,
            without,
            rms: mean_square.sqrt(),
        }
    }

    fn bin_width(&self) -> f64 {
        2.0 * REACH / self.bins.len() as f64
    }

    /// Peaks expected in a bin around `x` if all is normal.
    fn normal(&self, x: f64, width: f64) -> f64 {
        let density = (-0.5 * (x / width).powi(2)).exp() / (width * std::f64::consts::TAU.sqrt());
        self.count as f64 * self.bin_width() * density
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, frame: Rect, expected: f64) {
        let tallest = (self.bins.iter().copied().max().unwrap_or(0) as f64)
            .max(self.normal(0.0, expected))
            .max(1.0);
        let top = tallest * 1.12;
        let panel = Panel {
            frame,
            x: Axis {
                scale: Scale::linear(-REACH, REACH, frame.left, frame.right),
                ticks: linear_ticks(-REACH, REACH, 10),
                title: "residual / its standard deviation".to_owned(),
            },
            y: Axis {
                scale: Scale::linear(0.0, top, frame.bottom, frame.top),
                ticks: whole(linear_ticks(0.0, top, 6)),
                title: self.title.clone(),
            },
        };
        panel.draw(canvas, true);
        let soft = Text::new(colours::SOFT_INK, 13.0);
        if self.count == 0 {
            let words = if self.without > 0 {
                "no standard deviation to divide by"
            } else {
                "this axis was not measured"
            };
            canvas.text(frame.centre(), words, &soft.align(Align::Centre));
            return;
        }
        let width = self.bin_width();
        for (i, &n) in self.bins.iter().enumerate().filter(|(_, n)| **n > 0) {
            let from = -REACH + i as f64 * width;
            let (left, y) = panel.at(from, n as f64);
            let (right, base) = panel.at(from + width, 0.0);
            canvas.rectangle((left + 0.6, y), (right - 0.6, base), colours::SKY);
        }
        let curve: Vec<Point> = (0..=200)
            .map(|i| {
                let x = -REACH + 2.0 * REACH * f64::from(i) / 200.0;
                panel.at(x, self.normal(x, expected))
            })
            .collect();
        canvas.path(&curve, &Pen::new(colours::INK, 1.8));
        let width_words = format!("rms of these: {}", number::rms(self.rms, self.count));
        canvas.text((frame.left + 10.0, frame.top + 20.0), &width_words, &soft);
        let expected_words = format!("of pure noise: {}", number::significant(expected, 2));
        canvas.text(
            (frame.left + 10.0, frame.top + 38.0),
            &expected_words,
            &soft,
        );
        let right = soft.align(Align::Right);
        if self.above > 0 {
            let words = format!("{} above {REACH:.0}", number::count(self.above));
            canvas.text((frame.right - 10.0, frame.top + 20.0), &words, &right);
        }
        if self.below > 0 {
            let words = format!("{} below −{REACH:.0}", number::count(self.below));
            canvas.text((frame.right - 10.0, frame.top + 38.0), &words, &right);
        }
    }
}

/// Only whole numbers: peaks are counted.
fn whole(ticks: Vec<Tick>) -> Vec<Tick> {
    let whole = |t: &Tick| (t.value - t.value.round()).abs() < 1e-9;
    (ticks.into_iter().filter(whole))
        .map(|t| Tick::new(t.value, number::count(t.value.round().max(0.0) as usize)))
        .collect()
}

impl Picture for HistogramPicture {
    fn file_stem(&self) -> &str {
        "histogram"
    }
    fn title(&self) -> String {
        "How the residuals spread".to_owned()
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        let source = if self.from_scatter {
            "The standard deviations come from the scatter itself, so only the shape says anything: \
             look for lone bars far out (bad peaks left in) and for two humps (something slipped)."
        } else {
            "The standard deviations are those of the log: look for bars wider than the curve (more \
             goes wrong than the log says) or narrower (the log is too careful)."
        };
        format!(
            "Used peaks only; each residual divided by its standard deviation, with the normal curve \
             that pure noise would give. {source}"
        )
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(90.0, 44.0, 40.0, 62.0);
        let frames = room.columns(2, 76.0);
        for (spread, frame) in self.spreads.iter().zip(frames) {
            spread.draw(canvas, frame, self.expected);
        }
    }
}
