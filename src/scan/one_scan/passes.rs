//! The shape of a scan, found from its readings: straight passes along one axis, and the pattern
//! they form.

use super::point::{ScanPoint, ScanPoints, median};
use super::tuned::{
    LEAST_BETWEEN_ROWS, LEAST_HEIGHT_OF_A_RASTER, MOST_OF_A_STANDING_ENCODER,
    MOST_OF_A_STANDING_TRACK, SHORTEST_PASS, STRAY_OF_A_STRAIGHT_TRACK,
    TIMES_OF_A_STEP_BETWEEN_STOPS, WAY_BETWEEN_STOPS,
};
use crate::scan::ScanAxis;

/// The pattern that a scan's passes form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScanShape {
    /// One or more passes along one axis, all at about the same position on the other.
    Cut(ScanAxis),
    /// Passes along both axes.
    Cross,
    /// Parallel rows side by side, along this axis.
    Raster(ScanAxis),
    /// Any other track that covers an area.
    Map,
    /// A track along both axes at once that covers no area.
    Slanting,
    /// The beam did not move relative to the emitter, or the mount did not move at all.
    Still,
}

impl ScanShape {
    /// The shape as one word.
    pub fn word(self) -> &'static str {
        match self {
            ScanShape::Cut(ScanAxis::Azimuth) => "azimuth",
            ScanShape::Cut(ScanAxis::Elevation) => "elevation",
            ScanShape::Cross => "cross",
            ScanShape::Raster(_) => "raster",
            ScanShape::Map => "map",
            ScanShape::Slanting => "slanting",
            ScanShape::Still => "still",
        }
    }
}

/// A straight stretch along one axis.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ScanPass {
    /// The axis along which it runs.
    pub axis: ScanAxis,
    /// First point.
    pub from: usize,
    /// One past its last point.
    pub to: usize,
    /// +1 when the encoder reading increases, -1 when it decreases, 0 when this encoder stands
    /// and the emitter moves.
    pub sign: f64,
    /// Speed of the encoder relative to the emitter along the axis, radians of the axis per second.
    pub speed: f64,
    /// Whether it is stepped and sampled only while the mount is stopped: then a lag has no effect.
    pub by_steps: bool,
    /// Its position on the other axis, in beamwidths.
    pub across: f64,
}

/// The track of the beam relative to the emitter, in beamwidths from the first point.
struct Way {
    x: Vec<f64>,
    y: Vec<f64>,
}

/// A pass deviates from its axis by at most this fraction of its length: about 19 degrees of slant,
/// from a mount that turns slowly on its other axis. Common practice, no source.
const ALONG: f64 = 0.35;
/// A pass has at least this many points: two always lie on a line.
const FEWEST_POINTS: usize = 3;
/// A raster has at least this many rows: with two, a peak between them is not bracketed.
const FEWEST_ROWS: usize = 3;
/// Rows contain at least this fraction of a raster's points, passes this fraction of a cut's or
/// cross's; the rest are taken while turning round. Common practice, no source.
const MOSTLY: f64 = 0.6;

/// Finds the passes of a scan and its shape, for a beam of `width` radians.
pub(crate) fn passes(points: &ScanPoints, width: f64) -> (ScanShape, Vec<ScanPass>) {
    let way = way(points, width);
    let corners = corners(&way);
    let mut found: Vec<ScanPass> = Vec::new();
    let mut slanting = 0;
    let mut before = None;
    for corner in corners.windows(2) {
        let (i, j) = (corner[0], corner[1]);
        let (dx, dy) = (way.x[j] - way.x[i], way.y[j] - way.y[i]);
        let (axis, forward) = if dy.abs() <= ALONG * dx.abs() {
            (ScanAxis::Azimuth, dx > 0.0)
        } else if dx.abs() <= ALONG * dy.abs() {
            (ScanAxis::Elevation, dy > 0.0)
        } else {
            slanting += j - i;
            before = None;
            continue;
        };
        // A track that is slightly bent is still one pass.
        match found.last_mut() {
            Some(pass) if before == Some((axis, forward)) => pass.to = j + 1,
            _ => found.push(ScanPass {
                axis,
                from: i,
                to: j + 1,
                sign: 0.0,
                speed: 0.0,
                by_steps: false,
                across: 0.0,
            }),
        }
        before = Some((axis, forward));
    }
    found.retain(|pass| {
        let (i, j) = (pass.from, pass.to - 1);
        let length = (way.x[j] - way.x[i]).abs().max((way.y[j] - way.y[i]).abs());
        length >= SHORTEST_PASS && pass.to - pass.from >= FEWEST_POINTS
    });
    // A corner between two passes belongs to the first.
    for i in 1..found.len() {
        found[i].from = found[i].from.max(found[i - 1].to);
    }
    for pass in &mut found {
        measure(pass, &points.points, &way);
    }
    (shape(&way, &found, slanting), found)
}

fn way(points: &ScanPoints, width: f64) -> Way {
    let all = &points.points;
    let x = |p: &ScanPoint| (p.azimuth - p.emitter.azimuth) * p.emitter.cos / width;
    let y = |p: &ScanPoint| (p.elevation - p.emitter.elevation) / width;
    let (x0, y0) = all.first().map_or((0.0, 0.0), |p| (x(p), y(p)));
    Way {
        x: all.iter().map(|p| x(p) - x0).collect(),
        y: all.iter().map(|p| y(p) - y0).collect(),
    }
}

/// The corners between which the track is straight (Ramer 1972; Douglas and Peucker 1973).
fn corners(way: &Way) -> Vec<usize> {
    let last = way.x.len().saturating_sub(1);
    let mut corner = vec![false; way.x.len()];
    let mut open = vec![(0, last)];
    while let Some((i, j)) = open.pop() {
        corner[i] = true;
        corner[j] = true;
        let (dx, dy) = (way.x[j] - way.x[i], way.y[j] - way.y[i]);
        let square = dx * dx + dy * dy;
        let mut farthest = (i, STRAY_OF_A_STRAIGHT_TRACK.powi(2));
        for k in i + 1..j {
            let (px, py) = (way.x[k] - way.x[i], way.y[k] - way.y[i]);
            // Distance from the segment, not from the infinite line: a track there and back has a
            // corner.
            let t = if square > 0.0 {
                ((px * dx + py * dy) / square).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let squared = (px - t * dx).powi(2) + (py - t * dy).powi(2);
            if squared > farthest.1 {
                farthest = (k, squared);
            }
        }
        let corner = if farthest.0 > i {
            farthest.0
        } else {
            turn(way, i, j).unwrap_or(i)
        };
        if corner > i {
            open.push((i, corner));
            open.push((corner, j));
        }
    }
    (0..corner.len()).filter(|i| corner[*i]).collect()
}

/// The point of farthest reversal of a track that stays on the segment between its ends: a track
/// there, back and there again never leaves that segment.
fn turn(way: &Way, i: usize, j: usize) -> Option<usize> {
    let (dx, dy) = (way.x[j] - way.x[i], way.y[j] - way.y[i]);
    let length = dx.hypot(dy);
    let mut foremost = (i, 0.0);
    let mut back = (i, STRAY_OF_A_STRAIGHT_TRACK);
    for k in i + 1..=j {
        let along = ((way.x[k] - way.x[i]) * dx + (way.y[k] - way.y[i]) * dy) / length;
        if along > foremost.1 {
            foremost = (k, along);
        } else if foremost.1 - along > back.1 {
            back = (foremost.0, foremost.1 - along);
        }
    }
    (back.0 > i).then_some(back.0)
}

fn measure(pass: &mut ScanPass, points: &[ScanPoint], way: &Way) {
    let (first, last) = (&points[pass.from], &points[pass.to - 1]);
    let seconds = last.seconds - first.seconds;
    let (encoder, emitter) = match pass.axis {
        ScanAxis::Azimuth => (
            last.azimuth - first.azimuth,
            last.emitter.azimuth - first.emitter.azimuth,
        ),
        ScanAxis::Elevation => (
            last.elevation - first.elevation,
            last.emitter.elevation - first.emitter.elevation,
        ),
    };
    let moved = encoder - emitter;
    pass.speed = if seconds > 0.0 { moved / seconds } else { 0.0 };
    pass.sign = if encoder.abs() < MOST_OF_A_STANDING_ENCODER * moved.abs() {
        0.0
    } else {
        encoder.signum()
    };
    let across = match pass.axis {
        ScanAxis::Azimuth => &way.y,
        ScanAxis::Elevation => &way.x,
    };
    pass.across = median(across[pass.from..pass.to].to_vec());
    pass.by_steps = goes_by_steps(&points[pass.from..pass.to], pass.axis);
}

/// The points before which the mount stepped to its next stop, with no sample taken meanwhile.
pub(crate) fn steps(points: &[ScanPoint]) -> Vec<usize> {
    let seconds = |i: usize| points[i].seconds - points[i - 1].seconds;
    let usual = median((1..points.len()).map(seconds).collect());
    (1..points.len())
        .filter(|i| usual > 0.0 && seconds(*i) > TIMES_OF_A_STEP_BETWEEN_STOPS * usual)
        .collect()
}

/// Whether nearly all of the motion happens while no samples are taken.
fn goes_by_steps(points: &[ScanPoint], axis: ScanAxis) -> bool {
    if points.len() < 2 * FEWEST_POINTS {
        return false;
    }
    let way = |i: usize| (points[i].offset(axis) - points[i - 1].offset(axis)).abs();
    let steps = steps(points);
    let all: f64 = (1..points.len()).map(way).sum();
    let between: f64 = steps.iter().map(|i| way(*i)).sum();
    steps.len() + 1 >= FEWEST_POINTS && between > WAY_BETWEEN_STOPS * all
}

fn shape(way: &Way, passes: &[ScanPass], slanting: usize) -> ScanShape {
    let extent = |values: &[f64]| {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        high - low
    };
    let (wide, high) = (extent(&way.x), extent(&way.y));
    let all = way.x.len() as f64;
    let along = |axis: ScanAxis| passes.iter().filter(move |p| p.axis == axis);
    let rows = |axis: ScanAxis| {
        let mut places: Vec<f64> = along(axis).map(|p| p.across).collect();
        places.sort_by(f64::total_cmp);
        let apart = places
            .windows(2)
            .filter(|w| w[1] - w[0] > LEAST_BETWEEN_ROWS);
        let count = apart.count() + usize::from(!places.is_empty());
        let points: usize = along(axis).map(|p| p.to - p.from).sum();
        count >= FEWEST_ROWS
            && extent(&places) >= LEAST_HEIGHT_OF_A_RASTER
            && points as f64 >= MOSTLY * all
    };
    let (azimuth, elevation) = (
        along(ScanAxis::Azimuth).count(),
        along(ScanAxis::Elevation).count(),
    );
    if rows(ScanAxis::Azimuth) && azimuth >= elevation {
        ScanShape::Raster(ScanAxis::Azimuth)
    } else if rows(ScanAxis::Elevation) {
        ScanShape::Raster(ScanAxis::Elevation)
    } else if slanting as f64 > (1.0 - MOSTLY) * all {
        if wide.min(high) > 1.0 && is_area(way) {
            ScanShape::Map
        } else {
            ScanShape::Slanting
        }
    } else {
        match (azimuth, elevation) {
            (0, 0) if wide.max(high) < MOST_OF_A_STANDING_TRACK => ScanShape::Still,
            (0, 0) if wide.min(high) > 1.0 => ScanShape::Map,
            (0, 0) => ScanShape::Slanting,
            (_, 0) => ScanShape::Cut(ScanAxis::Azimuth),
            (0, _) => ScanShape::Cut(ScanAxis::Elevation),
            _ => ScanShape::Cross,
        }
    }
}

/// Whether a track covers an area: its points are spread out even in the direction of least spread.
fn is_area(way: &Way) -> bool {
    let n = way.x.len() as f64;
    let mean = |values: &[f64]| values.iter().sum::<f64>() / n;
    let (mx, my) = (mean(&way.x), mean(&way.y));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (x, y) in way.x.iter().zip(&way.y) {
        xx += (x - mx) * (x - mx) / n;
        xy += (x - mx) * (y - my) / n;
        yy += (y - my) * (y - my) / n;
    }
    let half = 0.5 * (xx + yy);
    let least = half - (half * half - (xx * yy - xy * xy)).max(0.0).sqrt();
    least.max(0.0).sqrt() > LEAST_HEIGHT_OF_A_RASTER / 2.0
}

#[cfg(test)]
mod tests {
    use super::super::beam_frame::Fixed;
    use super::*;
    use crate::time::Utc;

    /// Points of a track given in beamwidths of one degree, a second apart, about a stationary
    /// emitter at elevation 60.
    fn points(way: impl IntoIterator<Item = (f64, f64)>) -> ScanPoints {
        let emitter = Fixed::new(1.0, 60f64.to_radians());
        let points = way
            .into_iter()
            .enumerate()
            .map(|(i, (x, y))| ScanPoint {
                seconds: i as f64,
                azimuth: 3.0 + x.to_radians() / emitter.cos,
                elevation: 1.0 + y.to_radians(),
                emitter,
                power: 1.0,
                rows: 1.0,
            })
            .collect();
        ScanPoints {
            mid: Utc::parse("2026-01-01T00:00:00Z").unwrap(),
            emitter,
            points,
            reasons: Vec::new(),
        }
    }
    fn line(from: (f64, f64), to: (f64, f64), n: usize) -> Vec<(f64, f64)> {
        (0..n)
            .map(|i| {
                let t = i as f64 / (n - 1) as f64;
                // A jitter of a fiftieth of a beamwidth.
                let jitter = 0.02 * ((i * 7919 % 13) as f64 / 6.0 - 1.0);
                (
                    from.0 + t * (to.0 - from.0),
                    from.1 + t * (to.1 - from.1) + jitter,
                )
            })
            .collect()
    }
    fn found(way: Vec<(f64, f64)>) -> (ScanShape, Vec<ScanPass>) {
        passes(&points(way), 1f64.to_radians())
    }

    #[test]
    fn a_cut_there_and_back_has_two_passes() {
        let way = [
            line((-2.0, 0.0), (2.0, 0.0), 41),
            line((2.0, 0.0), (-2.0, 0.0), 81),
        ]
        .concat();
        let (shape, passes) = found(way);
        assert_eq!(shape, ScanShape::Cut(ScanAxis::Azimuth));
        let signs: Vec<f64> = passes.iter().map(|p| p.sign).collect();
        assert_eq!(signs, [1.0, -1.0]);
        // One degree on the sky at elevation 60 is two of azimuth.
        assert!((passes[0].speed.to_degrees() - 0.2).abs() < 0.01);
        assert!((passes[1].speed.to_degrees() + 0.1).abs() < 0.01);
    }

    #[test]
    fn a_way_there_and_back_again_and_again_has_a_pass_each() {
        for passes in [3, 4, 7, 20] {
            let way: Vec<_> = (0..passes)
                .flat_map(|k| {
                    let from = if k % 2 == 0 { -2.0 } else { 2.0 };
                    line((from, 0.0), (-from, 0.0), 31)
                })
                .collect();
            let (shape, found) = found(way);
            assert_eq!(shape, ScanShape::Cut(ScanAxis::Azimuth));
            assert_eq!(found.len(), passes);
            for (k, pass) in found.iter().enumerate() {
                let forward = if k % 2 == 0 { 1.0 } else { -1.0 };
                assert_eq!(pass.sign, forward);
                assert!((pass.speed.abs().to_degrees() - 0.26).abs() < 0.02);
            }
        }
    }

    #[test]
    fn a_cross_has_a_pass_along_each_axis() {
        let way = [
            line((-2.0, 0.2), (2.0, 0.2), 41),
            line((-0.1, 2.0), (-0.1, -2.0), 41),
        ]
        .concat();
        let (shape, passes) = found(way);
        assert_eq!(shape, ScanShape::Cross);
        assert_eq!(passes.len(), 2);
        assert_eq!(
            (passes[1].axis, passes[1].sign),
            (ScanAxis::Elevation, -1.0)
        );
        let all: usize = passes.iter().map(|p| p.to - p.from).sum();
        assert!(all >= 80, "{all}");
    }

    #[test]
    fn a_raster_has_rows_whichever_way_they_run() {
        let row = |i: usize, turn: bool| {
            let y = -1.2 + 0.3 * i as f64;
            if turn && i % 2 == 1 {
                line((1.5, y), (-1.5, y), 31)
            } else {
                line((-1.5, y), (1.5, y), 31)
            }
        };
        for serpentine in [true, false] {
            let way: Vec<_> = (0..9).flat_map(|i| row(i, serpentine)).collect();
            let (shape, passes) = found(way.clone());
            assert_eq!(shape, ScanShape::Raster(ScanAxis::Azimuth), "{serpentine}");
            assert_eq!(passes.len(), 9);
            let turned = way.into_iter().map(|(x, y)| (y, x)).collect();
            assert_eq!(found(turned).0, ScanShape::Raster(ScanAxis::Elevation));
        }
    }

    #[test]
    fn what_is_no_pass_is_named() {
        assert_eq!(found(line((0.0, 0.0), (0.1, 0.0), 50)).0, ScanShape::Still);
        assert_eq!(
            found(line((-2.0, -2.0), (2.0, 2.0), 50)).0,
            ScanShape::Slanting
        );
        let spiral = (0..400).map(|i| {
            let t = i as f64 * 0.1;
            (0.05 * t * t.cos(), 0.05 * t * t.sin())
        });
        assert_eq!(found(spiral.collect()).0, ScanShape::Map);
    }

    #[test]
    fn a_way_by_steps_is_told_from_a_steady_one() {
        let stops = |pause: f64| {
            let mut way = points(
                (0..13).flat_map(|k| std::iter::repeat_n((-1.5 + 0.25 * f64::from(k), 0.0), 5)),
            );
            for (i, point) in way.points.iter_mut().enumerate() {
                point.seconds = 0.1 * i as f64 + pause * (i / 5) as f64;
            }
            way
        };
        let by_steps = |way: &ScanPoints| passes(way, 1f64.to_radians()).1[0].by_steps;
        assert!(by_steps(&stops(1.0)));
        // Infrequent encoder readings look like stops, but samples continue between them.
        assert!(!by_steps(&stops(0.0)));
        let steady = points(line((-2.0, 0.0), (2.0, 0.0), 41));
        assert!(!by_steps(&steady));
        // A gap in a steady track is not a step.
        let mut gap = points(line((-2.0, 0.0), (2.0, 0.0), 41));
        gap.points.drain(30..36);
        assert!(!by_steps(&gap));
    }

    #[test]
    fn a_standing_dish_has_passes_without_a_sign() {
        let mut drifting = points(line((0.0, 0.0), (0.0, 0.0), 60));
        for (i, point) in drifting.points.iter_mut().enumerate() {
            let azimuth = 1.0 + (i as f64 / 15.0 - 2.0).to_radians();
            point.emitter = Fixed::new(azimuth, point.emitter.elevation);
        }
        let (shape, passes) = passes(&drifting, 1f64.to_radians());
        assert_eq!(shape, ScanShape::Cut(ScanAxis::Azimuth));
        assert_eq!(passes[0].sign, 0.0);
        assert!(passes[0].speed < 0.0);
    }
}
