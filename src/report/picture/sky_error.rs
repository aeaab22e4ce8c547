//! The expected pointing error of the corrected mount over the sky, with a pass drawn through it.

use plotters_backend::DrawingBackend;

use super::peaks::{stamp_of, thinning};
use super::round_sky::{RoundSky, mask_line};
use crate::angle::{Angle, Apparent, Direction};
use crate::explain::{ErrorField, SkyError};
use crate::number;
use crate::plot::{
    Canvas, Colour, Key, Marker, Pen, Picture, Point, REACH_OF_MARK, Rect, Render, Text, colours,
    linear_ticks, notes,
};
use crate::problem::printable;
use crate::report::layout::cut;
use crate::report::summary::loss_words;
use crate::solve::PeakOutcome;
use crate::station::{Dish, Station};
use crate::time::Utc;

/// Above this ratio of the largest to the smallest error, the shades grow by steps of 1, 2 and 5.
const STRAIGHT_UP_TO: f64 = 6.0;
/// Height of a cell, degrees of elevation.
const CELL_UP_DEG: f64 = 1.5;
/// Width of a cell, degrees of azimuth.
const CELL_ROUND_DEG: f64 = 2.5;
/// Cells overlap by this, so that no seam shows between them, degrees.
const SEAM_DEG: f64 = 0.12;
/// More peaks than these would hide the map.
const MOST_PEAKS: usize = 300;
/// Marks along a track that get their loss written beside them.
const MOST_MARKS: usize = 6;
/// A mark nearer to another than this says nothing new, pixels.
const MARKS_APART: f64 = 46.0;
/// Less loss than this is not told apart: nobody can measure it.
const LEAST_LOSS_DB: f64 = 0.001;

/// A pass, or a stretch of an emitter's track, to draw through the map.
#[derive(Clone, Debug)]
pub struct MapTrack {
    /// As the station file calls it.
    pub emitter: String,
    /// In the order of time.
    pub points: Vec<(Utc, Direction<Apparent>)>,
}

/// What the map shows.
#[derive(Clone, Copy, Debug)]
pub struct SkyErrorMap<'a> {
    /// Where.
    pub station: &'a Station,
    /// The map.
    pub expected: &'a SkyError,
    /// Another that it is compared with: both then share one key.
    pub beside: Option<&'a SkyError>,
    /// Which of the two this is, for the heading; may be empty.
    pub which: &'a str,
    /// The peaks behind it.
    pub peaks: &'a [PeakOutcome],
    /// What to draw through it.
    pub track: Option<&'a MapTrack>,
}

/// The picture.
#[derive(Clone, Debug)]
struct MapPicture {
    field: ErrorField,
    bands: Bands,
    dish: Dish,
    horizon: Vec<(f64, f64)>,
    lowest: crate::station::Horizon,
    /// Row, azimuth in radians, elevation in degrees.
    used: Vec<(usize, f64, f64)>,
    not_used: Vec<(usize, f64, f64)>,
    track: Option<MapTrack>,
    which: String,
    stamp: String,
}

/// Errors by shade: band 0 is below the first edge, the last above the last one.
#[derive(Clone, Debug, PartialEq)]
struct Bands {
    edges: Vec<f64>,
}

impl Bands {
    /// Bands over errors, degrees.
    fn over(errors: impl Iterator<Item = f64>) -> Bands {
        let (low, high) = (errors.filter(|e| e.is_finite()))
            .fold((f64::INFINITY, 0.0), |(a, b): (f64, f64), e| {
                (a.min(e), b.max(e))
            });
        if !(low.is_finite() && high > 0.0) {
            return Bands { edges: Vec::new() };
        }
        let inside = |edge: &f64| *edge > low * (1.0 + 1e-9) && *edge < high * (1.0 - 1e-9);
        let most = colours::RAMP.len() - 1;
        let mut edges: Vec<f64> = if high <= STRAIGHT_UP_TO * low {
            let ticks = linear_ticks(low, high, most);
            ticks.iter().map(|t| t.value).filter(inside).collect()
        } else {
            let top = high.log10().ceil() as i32;
            (top - 8..=top)
                .flat_map(|decade| [1.0, 2.0, 5.0].map(|m| m * 10f64.powi(decade)))
                .filter(inside)
                .collect()
        };
        // The smallest errors share a shade rather than the largest.
        edges.drain(..edges.len().saturating_sub(most));
        Bands { edges }
    }

    fn band(&self, error_deg: f64) -> usize {
        self.edges.partition_point(|edge| *edge <= error_deg)
    }

    /// The shades used stand as far apart as the ramp allows.
    fn colour(&self, band: usize) -> Colour {
        let last = colours::RAMP.len() - 1;
        match self.edges.len() {
            0 => colours::RAMP[last / 2],
            most => colours::RAMP[(band.min(most) * last + most / 2) / most],
        }
    }
}

impl MapPicture {
    fn of(map: &SkyErrorMap) -> MapPicture {
        let both = (map.expected.map.iter()).chain(map.beside.iter().flat_map(|b| b.map.iter()));
        let places = |used: bool| -> Vec<(usize, f64, f64)> {
            (map.peaks.iter().filter(|p| p.used == used))
                .map(|p| {
                    let (azimuth, elevation) = (p.target.azimuth(), p.target.elevation());
                    (p.row, azimuth.radians(), elevation.degrees())
                })
                .collect()
        };
        MapPicture {
            field: ErrorField::of(map.expected),
            bands: Bands::over(both.map(|(_, error)| error.degrees())),
            dish: map.station.dish,
            horizon: mask_line(&map.station.horizon),
            lowest: map.station.horizon.clone(),
            used: places(true),
            not_used: places(false),
            track: map.track.cloned(),
            which: map.which.to_owned(),
            stamp: stamp_of(&map.station.site.name, map.peaks),
        }
    }

    /// The band of a cell by its middle; none where nothing is promised.
    fn band_at(&self, azimuth_deg: f64, elevation_deg: f64) -> Option<usize> {
        let (azimuth, elevation) = (
            Angle::from_degrees(azimuth_deg),
            Angle::from_degrees(elevation_deg),
        );
        if elevation < self.lowest.lowest(azimuth) {
            return None;
        }
        let error = self
            .field
            .towards(&Direction::apparent(azimuth, elevation))?;
        Some(self.bands.band(error.degrees()))
    }

    /// Cells of one shade that stand side by side are drawn as one.
    fn draw_cells<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, sky: &RoundSky) {
        let rows = (90.0 / CELL_UP_DEG) as usize;
        let columns = (360.0 / CELL_ROUND_DEG) as usize;
        for row in 0..rows {
            let low = row as f64 * CELL_UP_DEG;
            let bands: Vec<Option<usize>> = (0..columns)
                .map(|column| {
                    let azimuth = (column as f64 + 0.5) * CELL_ROUND_DEG;
                    self.band_at(azimuth, low + CELL_UP_DEG / 2.0)
                })
                .collect();
            let mut first = 0;
            for run in bands.chunk_by(|a, b| a == b) {
                let (from, to) = (first, first + run.len());
                first = to;
                let Some(band) = run[0] else { continue };
                let (bottom, top) = ((low - SEAM_DEG).max(0.0), low + CELL_UP_DEG + SEAM_DEG);
                let corner = |column: usize, elevation: f64| {
                    let seam = if column == to { SEAM_DEG } else { 0.0 };
                    let azimuth = column as f64 * CELL_ROUND_DEG + seam;
                    sky.at(azimuth.to_radians(), elevation)
                };
                let outline: Vec<Point> = (from..=to)
                    .map(|column| corner(column, bottom))
                    .chain((from..=to).rev().map(|column| corner(column, top)))
                    .collect();
                canvas.polygon(&outline, self.bands.colour(band), 1.0);
            }
        }
    }

    fn draw_peaks<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, sky: &RoundSky) {
        let peaks = [
            (&self.used, Marker::Ring, 3.0, colours::INK),
            (&self.not_used, Marker::Cross, 3.6, colours::VERMILLION),
        ];
        for (places, marker, radius, colour) in peaks {
            for (row, azimuth, elevation) in every(places) {
                let at = sky.at(*azimuth, *elevation);
                canvas.tag(*row, at, REACH_OF_MARK);
                canvas.marker(at, marker, radius, colour);
            }
        }
    }

    /// What is lost where the beam is expected to miss by this.
    fn loss(&self, error: Angle) -> String {
        if self.dish.loss_db(error) < LEAST_LOSS_DB {
            return format!("under {LEAST_LOSS_DB} dB");
        }
        match loss_words(&self.dish, error) {
            Some(loss) => format!("{loss} dB"),
            None => "outside the beam".to_owned(),
        }
    }

    fn draw_track<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        sky: &RoundSky,
        track: &MapTrack,
        mut taken: Vec<Rect>,
    ) {
        let places: Vec<Point> = (track.points.iter())
            .map(|(_, to)| sky.at(to.azimuth().radians(), to.elevation().degrees()))
            .collect();
        canvas.path(&places, &Pen::new(colours::PAPER, 5.0));
        canvas.path(&places, &Pen::new(colours::ORANGE, 2.4));
        let style = Text::new(colours::INK, 12.5).bold();
        for i in marks(&self.field, track, &places) {
            let at = places[i];
            canvas.marker(at, Marker::Disc, 5.5, colours::PAPER);
            canvas.marker(at, Marker::Disc, 4.0, colours::ORANGE);
            let Some(error) = self.field.towards(&track.points[i].1) else {
                continue;
            };
            let words = self.loss(error);
            // As wide as the reader's own typeface may set it.
            let width = style.width(&words) * 1.15;
            let right = |x: f64, y: f64| Rect {
                left: x,
                top: y - 9.0,
                right: x + width + 6.0,
                bottom: y + 9.0,
            };
            let (x, y) = at;
            let rooms = [
                right(x + 9.0, y),
                right(x - width - 15.0, y),
                right(x - width / 2.0, y - 19.0),
                right(x - width / 2.0, y + 19.0),
            ];
            let free = rooms.into_iter().find(|room| {
                let crosses = |p: &Point| {
                    p.0 > room.left && p.0 < room.right && p.1 > room.top && p.1 < room.bottom
                };
                let outside = (room.left - sky.centre.0)
                    .abs()
                    .max((room.right - sky.centre.0).abs());
                !taken.iter().any(|t| overlap(t, room))
                    && !places.iter().any(crosses)
                    && outside < sky.radius + 40.0
            });
            if let Some(room) = free {
                canvas.rectangle(
                    (room.left, room.top),
                    (room.right, room.bottom),
                    colours::PAPER,
                );
                let start = (room.left + 3.0, room.centre().1 + style.half_height());
                canvas.text(start, &words, &style);
                taken.push(room);
            }
        }
    }

    /// The shades with the errors and losses that they stand for, from the largest down. Gives the
    /// height at which it ends.
    fn draw_key<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, at: Point) -> f64 {
        let heading = Text::new(colours::INK, 13.5).bold();
        let style = Text::new(colours::INK, 13.0);
        let soft = Text::new(colours::SOFT_INK, 13.0);
        let (x, mut y) = at;
        let second = x + 200.0;
        canvas.text((x, y), "expected error", &heading);
        canvas.text((second, y), "signal lost", &heading);
        y += 12.0;
        for band in (0..=self.bands.edges.len()).rev() {
            canvas.rectangle((x, y), (x + 30.0, y + 25.0), self.bands.colour(band));
            let base = y + 12.5 + style.half_height();
            let digits = |edge: f64| number::at_most(edge, 3);
            let lost = |edge: f64| self.loss(Angle::from_degrees(edge));
            let (low, high) = (
                band.checked_sub(1).map(|b| self.bands.edges[b]),
                self.bands.edges.get(band).copied(),
            );
            let error = match (low, high) {
                (Some(low), Some(high)) => format!("{} to {} deg", digits(low), digits(high)),
                (None, Some(high)) => format!("under {} deg", digits(high)),
                (Some(low), None) => format!("over {} deg", digits(low)),
                (None, None) => "alike everywhere".to_owned(),
            };
            let loss = match (low, high) {
                (_, Some(high)) => up_to(lost(high)),
                (Some(low), None) => format!("over {}", lost(low)).replace("over under", "about"),
                (None, None) => String::new(),
            };
            canvas.text((x + 40.0, base), &error, &style);
            canvas.text((second, base), &loss, &soft);
            y += 25.0;
        }
        y
    }

    /// What the pass costs, in words below the key.
    fn draw_track_words<DB: DrawingBackend>(
        &self,
        canvas: &mut Canvas<DB>,
        track: &MapTrack,
        (x, y): Point,
        room: f64,
    ) {
        let heading = Text::new(colours::INK, 13.5).bold();
        let style = Text::new(colours::INK, 13.0);
        let name = heading.fitted(&printable(&track.emitter), 0.88 * room);
        canvas.text((x, y), &name, &heading);
        let place = |(time, to): &(Utc, Direction<Apparent>)| {
            let loss = match self.field.towards(to) {
                Some(error) => self.loss(error),
                None => "not known".to_owned(),
            };
            let elevation = to.elevation().degrees();
            format!("{}, {elevation:.0} deg up: {loss}", clock(*time))
        };
        let highest = (track.points.iter()).max_by(|a, b| {
            a.1.elevation()
                .radians()
                .total_cmp(&b.1.elevation().radians())
        });
        let lines = [
            ("first", track.points.first()),
            ("highest", highest),
            ("last", track.points.last()),
            (
                "most lost",
                worst(&self.field, track).map(|i| &track.points[i]),
            ),
        ];
        for (i, (what, point)) in lines.iter().enumerate() {
            let Some(point) = point else { continue };
            let base = y + 22.0 + 20.0 * i as f64;
            canvas.text((x, base), what, &Text::new(colours::SOFT_INK, 13.0));
            canvas.text(
                (x + 80.0, base),
                &style.fitted(&place(point), 0.88 * (room - 80.0)),
                &style,
            );
        }
    }
}

/// All of them, or every how-manyth where there are too many.
fn every(places: &[(usize, f64, f64)]) -> impl Iterator<Item = &(usize, f64, f64)> {
    places.iter().step_by(thinning(places.len(), MOST_PEAKS))
}

/// A loss as an upper limit.
fn up_to(loss: String) -> String {
    match loss.starts_with(|c: char| c.is_ascii_digit()) {
        true => format!("up to {loss}"),
        false => loss,
    }
}

fn clock(time: Utc) -> String {
    let (_, _, _, hour, minute, _) = time.calendar();
    format!("{hour:02}:{minute:02} UTC")
}

fn overlap(a: &Rect, b: &Rect) -> bool {
    a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom
}

/// Where along a track the most is lost.
fn worst(field: &ErrorField, track: &MapTrack) -> Option<usize> {
    (track.points.iter().enumerate())
        .filter_map(|(i, (_, to))| Some((i, field.towards(to)?.radians())))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(i, _)| i)
}

/// Points of a track that get a mark: where the most is lost, the highest, both ends, then evenly
/// between, none too near another.
fn marks(field: &ErrorField, track: &MapTrack, places: &[Point]) -> Vec<usize> {
    let Some(last) = track.points.len().checked_sub(1) else {
        return Vec::new();
    };
    let up = |i: &usize| track.points[*i].1.elevation().radians();
    let highest = (0..=last).max_by(|a, b| up(a).total_cmp(&up(b)));
    let evenly = [last / 2, last / 4, last * 3 / 4, last / 8, last * 7 / 8];
    let wanted = (worst(field, track).into_iter())
        .chain(highest)
        .chain([0, last])
        .chain(evenly);
    let mut kept: Vec<usize> = Vec::new();
    for i in wanted {
        let apart = |j: &usize| (places[i].0 - places[*j].0).hypot(places[i].1 - places[*j].1);
        if kept.len() < MOST_MARKS && kept.iter().all(|j| apart(j) >= MARKS_APART) {
            kept.push(i);
        }
    }
    kept
}

impl Picture for MapPicture {
    fn file_stem(&self) -> &str {
        "expected-error"
    }
    fn title(&self) -> String {
        match self.which.as_str() {
            "" => "Expected pointing error".to_owned(),
            which => format!("Expected pointing error, {which}"),
        }
    }
    fn stamp(&self) -> String {
        cut(&self.stamp, 40)
    }
    fn caption(&self) -> String {
        "How far the corrected mount is expected to point beside its target, one standard \
         deviation, on the sky seen from above: zenith in the middle, horizon at the rim, circles \
         at elevations 30 and 60 deg. The upper shades of the key want a \
         peak. White: out of reach, below the \
         horizon, or so near the zenith that nothing is promised."
            .to_owned()
    }
    fn draw<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>, body: Rect) {
        let room = body.inset(30.0, 8.0, 20.0, 30.0);
        let radius = room.height() / 2.0 - 28.0;
        let sky = RoundSky {
            centre: (room.left + radius + 50.0, room.centre().1),
            radius,
        };
        canvas.disc(sky.centre, sky.radius, colours::PAPER, 1.0);
        self.draw_cells(canvas, &sky);
        sky.draw_lines(canvas, &self.horizon, colours::FRAME);
        let on_track = (self.track.iter())
            .flat_map(|t| t.points.iter())
            .map(|(_, to)| (to.azimuth().radians(), to.elevation().degrees()));
        let marked: Vec<(f64, f64)> = (self.used.iter().chain(&self.not_used))
            .map(|(_, azimuth, elevation)| (*azimuth, *elevation))
            .chain(on_track)
            .collect();
        self.draw_peaks(canvas, &sky);
        let mut taken = sky.label_circles(canvas, &marked);
        taken.extend(sky.label_quarters(canvas));
        let left = sky.centre.0 + radius + 70.0;
        let end = self.draw_key(canvas, (left, room.top + 40.0));
        if let Some(track) = &self.track {
            self.draw_track(canvas, &sky, track, taken);
            self.draw_track_words(canvas, track, (left, end + 44.0), room.right - left);
        }
        let mut items = Vec::new();
        if !self.used.is_empty() {
            items.push((
                Key::Mark(Marker::Ring, colours::INK),
                "peak used".to_owned(),
            ));
        }
        if !self.not_used.is_empty() {
            let words = "peak not used".to_owned();
            items.push((Key::Mark(Marker::Cross, colours::VERMILLION), words));
        }
        if self.track.is_some() {
            let pen = Pen::new(colours::ORANGE, 2.4);
            items.push((Key::Line(pen), "the pass, with what is lost".to_owned()));
        }
        notes(canvas, (40.0, body.bottom - 6.0), body.right - 40.0, &items);
    }
}

/// The map of the expected error.
pub fn sky_error_map(of: &SkyErrorMap) -> impl Render + use<> {
    MapPicture::of(of)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_narrow_span_gets_even_bands_and_a_wide_one_growing_ones() {
        let even = Bands::over([0.036, 0.05, 0.078].into_iter());
        assert!(even.edges.len() >= 4 && even.edges.len() < colours::RAMP.len());
        let steps: Vec<f64> = even.edges.windows(2).map(|w| w[1] - w[0]).collect();
        assert!(
            steps.iter().all(|s| (s - steps[0]).abs() < 1e-9),
            "{steps:?}"
        );
        let wide = Bands::over([0.03, 0.9].into_iter());
        assert_eq!(wide.edges.len(), 4, "{:?}", wide.edges);
        assert_eq!(wide.band(0.06), 1);
        assert_eq!(wide.band(0.9), 4);
    }

    #[test]
    fn a_larger_error_is_never_lighter() {
        for errors in [[0.03, 0.9], [0.036, 0.078], [1e-6, 170.0], [0.1, 0.1]] {
            let bands = Bands::over(errors.into_iter());
            let light = |band| u32::from(bands.colour(band).0) + u32::from(bands.colour(band).1);
            for band in 0..bands.edges.len() {
                assert!(light(band) > light(band + 1), "{errors:?} {band}");
            }
        }
        assert!(Bands::over(std::iter::empty()).edges.is_empty());
    }
}
