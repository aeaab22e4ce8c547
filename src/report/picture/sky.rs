//! Where the peaks lie on the sky, with an arrow for how far the beam was off.

use plotters_backend::DrawingBackend;

use super::peaks::{Measured, quantile, stamp, thinning, used_words};
use super::round_sky::{RoundSky, mask_line};
use crate::angle::{Angle, Apparent, Direction, Offset, SkyBasis};
use crate::mount::Geometry;
use crate::number;
use crate::plot::{
    Align, Canvas, Key, Marker, Pen, Picture, Point, REACH_OF_MARK, Rect, Text, colours,
    nice_at_most, notes,
};
use crate::report::Report;
use crate::solve::PeakOutcome;

/// Above this many used peaks the sky is cut into cells and their means are shown, because arrows
/// would cover each other.
const MOST_SINGLE_ARROWS: usize = 1200;
/// Above this many, only some of the peaks not used are shown, so that the used ones stay visible.
const MOST_REJECTED: usize = 400;
/// Degrees of elevation of one cell: fifteen rings of cells, about as many arrows as find room.
const CELL_DEG: f64 = 6.0;
/// Up to this many peaks not used have arrows too.
const MOST_REJECTED_ARROWS: usize = 60;
/// Length, pixels, of an arrow as long as nine tenths of all, when there is room for it.
const USUAL_ARROW: f64 = 40.0;
/// The same, when there is little room.
const CROWDED_ARROW: f64 = 13.0;
/// Up to this many peaks there is room.
const ROOMY: f64 = 60.0;
/// Longer arrows are cut to this many usual ones, so that one bad peak does not cross the picture.
const LONGEST_OVER_USUAL: f64 = 1.55;

/// One arrow of the sky.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Arrow {
    /// The row in the log; none for the mean of many.
    row: Option<usize>,
    azimuth_rad: f64,
    elevation_deg: f64,
    cross_elevation: f64,
    elevation: f64,
    used: bool,
    /// Only one axis was measured.
    partial: bool,
}

/// One of the two skies.
#[derive(Clone, Debug)]
struct Side {
    heading: String,
    arrows: Vec<Arrow>,
    /// Length of the scale arrow, degrees; zero when there is nothing to scale.
    scale_deg: f64,
    pixels_per_degree: f64,
    /// Longer ones are cut to this, pixels.
    longest: f64,
    marker_radius: f64,
}

/// The picture.
#[derive(Clone, Debug)]
pub struct SkyPicture {
    before: Side,
    after: Side,
    horizon: Vec<(f64, f64)>,
    /// Where the ends of a first axis that does not stand upright show, azimuth in radians and
    /// elevation in degrees.
    ends: Vec<(f64, f64)>,
    axis_1: &'static str,
    grouped: bool,
    stamp: String,
    used: String,
    rejected: String,
    any_rejected: bool,
    any_partial: bool,
}

impl SkyPicture {
    /// Prepares it.
    pub fn of(report: &Report) -> SkyPicture {
        let outcome = report.outcome;
        let side = |name: &str, rms: f64, offset: fn(&PeakOutcome) -> Offset| {
            let rms = number::rms(rms, outcome.degrees_of_freedom);
            Side::new(
                format!("{name}: rms {rms} deg"),
                outcome.model.geometry(),
                &outcome.peaks,
                offset,
            )
        };
        let used_count = outcome.peaks.iter().filter(|p| p.used).count();
        let (used, rejected) = used_words(report);
        SkyPicture {
            before: side("Before", outcome.rms_before.degrees(), |p| p.before),
            after: side("After", outcome.rms_after.degrees(), |p| p.residual),
            horizon: mask_line(&report.station.horizon),
            ends: axis_ends(outcome.model.geometry()),
            axis_1: outcome.model.kind().axis_1(),
            grouped: used_count > MOST_SINGLE_ARROWS,
            stamp: stamp(report),
            used,
            rejected,
            any_rejected: used_count < outcome.peaks.len(),
            any_partial: (outcome.peaks.iter())
                .any(|p| !(p.azimuth_measured && p.elevation_measured)),
        }
    }
}

/// Radius of the mark of an axis, pixels.
const AXIS_RING: f64 = 7.0;

/// The ends of a first axis that stand above the horizon or on it; of an upright one none, for
/// there the zenith is marked.
fn axis_ends(geometry: &Geometry) -> Vec<(f64, f64)> {
    if geometry.kind().is_az_el() {
        return Vec::new();
    }
    let axis = geometry.axis_1();
    ([axis, -axis].iter())
        .map(Direction::<Apparent>::from_east_north_up)
        .filter(|end| end.elevation() > -HAIR)
        .map(|end| (end.azimuth().radians(), end.elevation().degrees()))
        .collect()
}

/// A level axis may lie below the horizon by rounding.
const HAIR: Angle = Angle::from_degrees(1e-6);

/// A step along the axes of a mount as one in azimuth (on the sky) and elevation, degrees.
fn on_sky(geometry: &Geometry, peak: &PeakOutcome, step: Measured) -> (f64, f64) {
    let (first, second) = (
        step.cross_elevation.unwrap_or(0.0),
        step.elevation.unwrap_or(0.0),
    );
    if geometry.kind().is_az_el() {
        return (first, second);
    }
    let target = peak.target.east_north_up();
    let (axes, sky) = (geometry.basis_at(&target), SkyBasis::at(&target));
    let step = axes.rightward * first + axes.upward * second;
    (sky.rightward.dot(&step), sky.upward.dot(&step))
}

impl Side {
    fn new(
        heading: String,
        geometry: &Geometry,
        peaks: &[PeakOutcome],
        offset: fn(&PeakOutcome) -> Offset,
    ) -> Side {
        let arrow = |p: &PeakOutcome| {
            let step = on_sky(geometry, p, Measured::of(p, offset(p)));
            Arrow {
                row: Some(p.row),
                azimuth_rad: p.target.azimuth().radians(),
                elevation_deg: p.target.elevation().degrees(),
                cross_elevation: step.0,
                elevation: step.1,
                used: p.used,
                partial: !(p.azimuth_measured && p.elevation_measured),
            }
        };
        let used: Vec<Arrow> = peaks.iter().filter(|p| p.used).map(arrow).collect();
        let shown_used = if used.len() > MOST_SINGLE_ARROWS {
            cell_means(&used)
        } else {
            used
        };
        let rejected = peaks.iter().filter(|p| !p.used).count();
        let step = thinning(rejected, MOST_REJECTED);
        let mut arrows: Vec<Arrow> = (peaks.iter())
            .filter(|p| !p.used)
            .step_by(step)
            .map(arrow)
            .collect();
        let scaled_by = if shown_used.is_empty() {
            &arrows
        } else {
            &shown_used
        };
        let mut sizes: Vec<f64> = scaled_by.iter().map(Arrow::size).collect();
        let usual = quantile(&mut sizes, 0.9).unwrap_or(0.0);
        // What was used is drawn over what was not.
        arrows.extend(shown_used);
        let crowd = (ROOMY / arrows.len().max(1) as f64).sqrt();
        let usual_pixels = (USUAL_ARROW * crowd).clamp(CROWDED_ARROW, USUAL_ARROW);
        let (scale_deg, pixels_per_degree) = if usual > 1e-9 {
            (nice_at_most(usual), usual_pixels / usual)
        } else {
            (0.0, 0.0)
        };
        Side {
            heading,
            arrows,
            scale_deg,
            pixels_per_degree,
            longest: usual_pixels * LONGEST_OVER_USUAL,
            marker_radius: (2.6 * crowd).clamp(1.5, 2.6),
        }
    }
}

impl Arrow {
    fn size(&self) -> f64 {
        self.cross_elevation.hypot(self.elevation)
    }

    /// The offset on the sheet, right and down, degrees: increasing azimuth is clockwise
    /// round the zenith, increasing elevation inward.
    fn step(&self) -> (f64, f64) {
        let (s, c) = self.azimuth_rad.sin_cos();
        (
            self.cross_elevation * c - self.elevation * s,
            self.cross_elevation * s + self.elevation * c,
        )
    }
}

/// Means over cells of about equal size on the sky.
fn cell_means(arrows: &[Arrow]) -> Vec<Arrow> {
    let mut cells: std::collections::BTreeMap<(i32, i32), (usize, Arrow)> = Default::default();
    for a in arrows {
        let band = (a.elevation_deg / CELL_DEG).floor() as i32;
        let middle = ((f64::from(band) + 0.5) * CELL_DEG).to_radians();
        let round = (360.0 / CELL_DEG * middle.cos().abs()).ceil().max(1.0);
        let turn = (a.azimuth_rad / std::f64::consts::TAU).rem_euclid(1.0);
        let sector = (turn * round) as i32;
        let centre = (f64::from(sector) + 0.5) / round * std::f64::consts::TAU;
        let (n, sum) = cells.entry((band, sector)).or_insert((
            0,
            Arrow {
                row: None,
                azimuth_rad: centre,
                elevation_deg: middle.to_degrees(),
                cross_elevation: 0.0,
                elevation: 0.0,
                used: true,
                partial: false,
            },
        ));
        *n += 1;
        sum.cross_elevation += a.cross_elevation;
        sum.elevation += a.elevation;
    }
    cells
        .into_values()
        .map(|(n, sum)| Arrow {
            cross_elevation: sum.cross_elevation / n as f64,
            elevation: sum.elevation / n as f64,
            ..sum
        })
        .collect()
}

impl Side {
    fn draw_arrow<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, sky: &RoundSky, a: &Arrow) {
        let at = sky.at(a.azimuth_rad, a.elevation_deg);
        let colour = if a.used {
            colours::BLUE
        } else {
            colours::VERMILLION
        };
        let size = a.size() * self.pixels_per_degree;
        if size > 0.5 && (a.used || self.rejected_have_arrows()) {
            let cut = (self.longest / size).min(1.0) * self.pixels_per_degree;
            let (dx, dy) = a.step();
            let tip = (at.0 + dx * cut, at.1 + dy * cut);
            canvas.arrow(at, tip, &Pen::new(colour, 1.3));
        }
        if let Some(row) = a.row {
            canvas.tag(row, at, REACH_OF_MARK);
        }
        match (a.used, a.partial) {
            (true, false) => canvas.marker(at, Marker::Disc, self.marker_radius, colour),
            (true, true) => canvas.marker(at, Marker::Ring, self.marker_radius + 0.6, colour),
            (false, _) => canvas.marker(at, Marker::Cross, self.marker_radius + 1.0, colour),
        }
    }

    fn rejected_have_arrows(&self) -> bool {
        self.arrows.iter().filter(|a| !a.used).count() <= MOST_REJECTED_ARROWS
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, room: Rect, picture: &SkyPicture) {
        let heading = Text::new(colours::INK, 15.0).bold().align(Align::Centre);
        let radius = (room.width() / 2.0 - 44.0).min((room.height() - 112.0) / 2.0);
        let sky = RoundSky {
            centre: (room.centre().0, room.top + 54.0 + radius),
            radius,
        };
        canvas.text((sky.centre.0, room.top + 14.0), &self.heading, &heading);
        sky.draw_grid(canvas, &picture.horizon);
        for (azimuth, elevation) in &picture.ends {
            canvas.marker(
                sky.at(*azimuth, *elevation),
                Marker::Ring,
                AXIS_RING,
                colours::GREEN,
            );
        }
        let places = self.arrows.iter().map(|a| (a.azimuth_rad, a.elevation_deg));
        sky.label_circles(canvas, &places.collect::<Vec<_>>());
        for arrow in &self.arrows {
            self.draw_arrow(canvas, &sky, arrow);
        }
        sky.label_quarters(canvas);
        self.draw_scale(canvas, (sky.centre.0, room.bottom - 10.0));
    }

    fn draw_scale<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, at: Point) {
        let style = Text::new(colours::INK, 13.0);
        if self.scale_deg <= 0.0 {
            let none = "no arrows: nothing is off";
            canvas.text(at, none, &style.align(Align::Centre));
            return;
        }
        let label = format!("{} deg on the sky", number::significant(self.scale_deg, 1));
        let length = self.scale_deg * self.pixels_per_degree;
        let left = at.0 - (length + 10.0 + style.width(&label)) / 2.0;
        let y = at.1 - style.half_height();
        canvas.arrow((left, y), (left + length, y), &Pen::new(colours::INK, 1.3));
        canvas.text((left + length + 10.0, at.1), &label, &style);
        let cut = (self.arrows.iter())
            .filter(|a| a.used || self.rejected_have_arrows())
            .filter(|a| a.size() * self.pixels_per_degree > self.longest)
            .count();
        if cut > 0 {
            let note = format!("{}, cut short", number::counted(cut, "longer arrow"));
            let soft = Text::new(colours::SOFT_INK, 13.0).align(Align::Centre);
            canvas.text((at.0, at.1 + 18.0), &note, &soft);
        }
    }
}

impl Picture for SkyPicture {
    fn file_stem(&self) -> &str {
        "sky"
    }
    fn title(&self) -> String {
        "Where the peaks lie on the sky".to_owned()
    }
    fn stamp(&self) -> String {
        self.stamp.clone()
    }
    fn caption(&self) -> String {
        "Seen from above, like a map: zenith in the middle, horizon at the rim, circles at elevations \
         30 and 60 deg. An arrow points from the beam to the emitter; note the two scales. \
         Look for gaps in the sky, and after the fit for neighbours that still point the same way."
            .to_owned()
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(20.0, 8.0, 20.0, 50.0);
        let columns = room.columns(2, 20.0);
        self.before.draw(canvas, columns[0], self);
        self.after.draw(canvas, columns[1], self);
        let used = if self.grouped {
            format!("{}: means of cells 6 deg wide", self.used)
        } else {
            self.used.clone()
        };
        let mut items = vec![(Key::Mark(Marker::Disc, colours::BLUE), used)];
        if self.any_partial && !self.grouped {
            let words = "one axis measured".to_owned();
            items.push((Key::Mark(Marker::Ring, colours::BLUE), words));
        }
        if self.any_rejected {
            let words = self.rejected.clone();
            items.push((Key::Mark(Marker::Cross, colours::VERMILLION), words));
        }
        if !self.ends.is_empty() {
            let words = format!("where the {} points: the keyhole is around it", self.axis_1);
            items.push((Key::Mark(Marker::Ring, colours::GREEN), words));
        }
        if !self.horizon.is_empty() {
            let words = "grey rim: below the station's horizon".to_owned();
            items.push((Key::Plain, words));
        }
        notes(canvas, (40.0, body.bottom - 6.0), body.right - 40.0, &items);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arrow(azimuth_deg: f64, cross_elevation: f64, elevation: f64) -> Arrow {
        Arrow {
            row: None,
            azimuth_rad: azimuth_deg.to_radians(),
            elevation_deg: 40.0,
            cross_elevation,
            elevation,
            used: true,
            partial: false,
        }
    }

    const SKY: RoundSky = RoundSky {
        centre: (300.0, 300.0),
        radius: 200.0,
    };

    #[test]
    fn arrows_follow_the_sky() {
        // The tip is where a real step of that kind would lead on the map.
        for azimuth in [0.0, 50.0, 90.0, 200.0, 300.0f64] {
            let here = SKY.at(azimuth.to_radians(), 40.0);
            let further = SKY.at((azimuth + 0.01).to_radians(), 40.0);
            let higher = SKY.at(azimuth.to_radians(), 40.01);
            for (there, step) in [
                (further, arrow(azimuth, 1.0, 0.0).step()),
                (higher, arrow(azimuth, 0.0, 1.0).step()),
            ] {
                let (dx, dy) = (there.0 - here.0, there.1 - here.1);
                let along = (dx * step.0 + dy * step.1) / dx.hypot(dy);
                assert!((along - 1.0).abs() < 1e-3, "{azimuth}: {step:?}");
            }
        }
    }

    #[test]
    fn cells_keep_the_mean_and_the_place() {
        let near = [arrow(10.0, 0.2, 0.0), arrow(11.0, 0.4, -0.1)];
        let cells = cell_means(&near);
        assert_eq!(cells.len(), 1);
        assert!((cells[0].cross_elevation - 0.3).abs() < 1e-12);
        assert!((cells[0].elevation + 0.05).abs() < 1e-12);
        assert!((cells[0].azimuth_rad.to_degrees() - 10.5).abs() < 5.0);
        assert!((cells[0].elevation_deg - 40.0).abs() < 3.0 + 1e-9);
    }
}
