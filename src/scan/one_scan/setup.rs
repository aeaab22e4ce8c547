//! From passes to a model: which offsets, heights and baselines a scan has.

use super::beam::{Beam, NARROWEST_DISC};
use super::beam_frame::Fixed;
use super::model::{AxisLayout, Column, Part, ScanModel, Slot, Turned};
use super::passes::{ScanPass, ScanShape};
use super::point::ScanPoint;
use super::tuned::{FACTOR_OF_THE_SAME_SPEED, MOST_PASSES_WITH_OWN_HEIGHTS};
use crate::scan::ScanAxis;

/// Passes of one axis with the same direction and about the same speed.
#[derive(Clone, Debug)]
pub(crate) struct Group {
    /// +1, -1, or 0 if there is no single direction.
    pub sign: f64,
    /// Speed of the encoder relative to the emitter, radians of the axis per second.
    pub speed: f64,
    /// Which passes.
    pub passes: Vec<usize>,
}

/// The expected sizes of the beam and the emitter.
#[derive(Clone, Debug)]
pub(crate) struct ExpectedBeam {
    /// Half-power width, radians.
    pub width: f64,
    /// Radius of the emitter's disc, radians; zero for a point.
    pub disc: f64,
}

impl ExpectedBeam {
    /// Twice the sine of half the width: the unit of distance.
    pub fn chord(&self) -> f64 {
        2.0 * (0.5 * self.width).sin()
    }
    /// The disc's radius over the width.
    pub fn radius(&self) -> f64 {
        let radius = self.disc / self.width;
        if radius < NARROWEST_DISC { 0.0 } else { radius }
    }
    /// The beam for the emitter's disc.
    pub fn beam(&self) -> Beam {
        Beam::of_disc(self.radius())
    }
}

/// The groups of the passes along an axis.
pub(crate) fn groups(passes: &[ScanPass], axis: ScanAxis) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (i, pass) in passes.iter().enumerate().filter(|(_, p)| p.axis == axis) {
        let fits = |g: &&mut Group| {
            let ratio = pass.speed / g.speed;
            g.sign == pass.sign
                && (1.0 / FACTOR_OF_THE_SAME_SPEED..=FACTOR_OF_THE_SAME_SPEED).contains(&ratio)
        };
        match groups.iter_mut().find(fits) {
            Some(group) => {
                let n = group.passes.len() as f64;
                group.speed = (group.speed * n + pass.speed) / (n + 1.0);
                group.passes.push(i);
            }
            None => groups.push(Group {
                sign: pass.sign,
                speed: pass.speed,
                passes: vec![i],
            }),
        }
    }
    groups
}

/// The single group of an axis that steps from row to row or moves irregularly.
fn stepping(passes: &[ScanPass], axis: ScanAxis) -> Group {
    let rows: Vec<&ScanPass> = passes.iter().filter(|p| p.axis != axis).collect();
    let mut sign = 0.0;
    if let (Some(first), Some(last)) = (rows.first(), rows.last()) {
        let steps = rows.windows(2).map(|w| w[1].across - w[0].across);
        let net = last.across - first.across;
        let way: f64 = steps.map(f64::abs).sum();
        // Rows in order are approached from one side; rows in no order from either.
        if way > 0.0 && net.abs() > 0.9 * way {
            sign = net.signum();
        }
    }
    Group {
        sign,
        speed: 0.0,
        passes: Vec::new(),
    }
}

/// The groups of both axes; empty for an axis that is not measured.
pub(crate) struct Groups {
    pub azimuth: Vec<Group>,
    pub elevation: Vec<Group>,
}

impl Groups {
    pub fn of(shape: ScanShape, passes: &[ScanPass]) -> Groups {
        let row = |axis: ScanAxis, along: ScanAxis| {
            if axis == along {
                groups(passes, axis)
            } else {
                vec![stepping(passes, axis)]
            }
        };
        let (azimuth, elevation) = (ScanAxis::Azimuth, ScanAxis::Elevation);
        match shape {
            ScanShape::Raster(along) => Groups {
                azimuth: row(azimuth, along),
                elevation: row(elevation, along),
            },
            ScanShape::Map => Groups {
                azimuth: vec![stepping(&[], azimuth)],
                elevation: vec![stepping(&[], elevation)],
            },
            _ => Groups {
                azimuth: groups(passes, azimuth),
                elevation: groups(passes, elevation),
            },
        }
    }
}

/// Whether a shape is fitted as an area, with one height and one baseline.
pub(crate) fn is_area(shape: ScanShape) -> bool {
    matches!(shape, ScanShape::Raster(_) | ScanShape::Map)
}

/// Builds the model of a scan about given encoder offsets (radians).
pub(crate) fn model<'a>(
    points: &'a [ScanPoint],
    shape: ScanShape,
    passes: &[ScanPass],
    groups: &Groups,
    expected: &ExpectedBeam,
    emitter: &Fixed,
    (azimuth, elevation): (f64, f64),
) -> ScanModel<'a> {
    let area = is_area(shape);
    let height_of = match area {
        true => vec![0; passes.len()],
        false => heights_of(passes, groups),
    };
    let part = |(i, pass): (usize, &ScanPass)| {
        let slot = |groups: &[Group]| {
            let own = groups.iter().position(|g| g.passes.contains(&i));
            own.map_or(Slot::Mean, Slot::Group)
        };
        Part {
            points: pass.from..pass.to,
            azimuth: slot(&groups.azimuth),
            elevation: slot(&groups.elevation),
            height: height_of[i],
        }
    };
    let mut parts: Vec<Part> = passes.iter().enumerate().map(part).collect();
    if parts.is_empty() {
        parts.push(Part {
            points: 0..points.len(),
            azimuth: Slot::Mean,
            elevation: Slot::Mean,
            height: 0,
        });
    }
    ScanModel {
        points,
        readings: Turned::of(points),
        parts,
        azimuth: AxisLayout {
            groups: groups.azimuth.len(),
            reference: azimuth,
            unit: expected.width / emitter.cos.max(LEAST_COSINE),
        },
        elevation: AxisLayout {
            groups: groups.elevation.len(),
            reference: elevation,
            unit: expected.width,
        },
        width: expected.chord(),
        beam: expected.beam(),
        radius: expected.radius(),
        elliptic: matches!(shape, ScanShape::Raster(_)) && rows_are_close(passes),
        heights: height_of.iter().max().map_or(1, |h| h + 1),
        baseline: baseline(points, shape, passes),
        noise: vec![1.0; points.len()],
    }
}

/// Keeps the unit of azimuth finite at the zenith: no nearer than 0.06 degrees.
const LEAST_COSINE: f64 = 1e-3;

/// Whether rows are close enough to determine an ellipse: at most half a beamwidth apart.
fn rows_are_close(passes: &[ScanPass]) -> bool {
    let mut rows: Vec<f64> = passes.iter().map(|p| p.across).collect();
    rows.sort_by(f64::total_cmp);
    let widest = rows.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
    widest <= 0.5 && passes.len() >= 5
}

/// Index of each pass's height: usually its own, since a satellite's signal or the receiver's gain
/// may change from one pass to the next.
fn heights_of(passes: &[ScanPass], groups: &Groups) -> Vec<usize> {
    if passes.len() <= MOST_PASSES_WITH_OWN_HEIGHTS {
        return (0..passes.len()).collect();
    }
    let all = groups.azimuth.iter().chain(&groups.elevation);
    let mut height_of = vec![0; passes.len()];
    for (k, group) in all.enumerate() {
        group.passes.iter().for_each(|i| height_of[*i] = k);
    }
    height_of
}

/// Time of each point, from -1 at the first to 1 at the last.
pub(crate) fn progress(points: &[ScanPoint]) -> Vec<f64> {
    let (first, last) = match (points.first(), points.last()) {
        (Some(a), Some(b)) if b.seconds > a.seconds => (a.seconds, b.seconds),
        _ => return vec![0.0; points.len()],
    };
    points
        .iter()
        .map(|p| 2.0 * (p.seconds - first) / (last - first) - 1.0)
        .collect()
}

/// Baseline columns: level and slope of each pass; for an area one level, a slope in time and one
/// along the rows.
fn baseline(points: &[ScanPoint], shape: ScanShape, passes: &[ScanPass]) -> Vec<Column> {
    let n = points.len();
    if is_area(shape) {
        let mut columns = vec![vec![1.0; n], progress(points)];
        if let ScanShape::Raster(axis) = shape {
            columns.push(along_rows(points, axis));
        }
        return columns.into_iter().map(|c| Column::new(0, c)).collect();
    }
    let level = |p: &ScanPass| Column::new(p.from, vec![1.0; p.to - p.from]);
    let slope = |p: &ScanPass| progress(&points[p.from..p.to]);
    let mut columns: Vec<Column> = passes.iter().map(level).collect();
    if passes.len() <= MOST_PASSES_WITH_OWN_HEIGHTS {
        columns.extend(passes.iter().map(|p| Column::new(p.from, slope(p))));
    } else {
        for axis in [ScanAxis::Azimuth, ScanAxis::Elevation] {
            let mut sum = vec![0.0; n];
            for pass in passes.iter().filter(|p| p.axis == axis) {
                for (s, x) in sum[pass.from..pass.to].iter_mut().zip(slope(pass)) {
                    *s += x * pass.speed.signum();
                }
            }
            if sum.iter().any(|s| *s != 0.0) {
                columns.push(Column::new(0, sum));
            }
        }
    }
    columns
}

/// Position along the rows of a raster, from -1 to 1.
fn along_rows(points: &[ScanPoint], axis: ScanAxis) -> Vec<f64> {
    let place = |p: &ScanPoint| match axis {
        ScanAxis::Azimuth => p.azimuth - p.emitter.azimuth,
        ScanAxis::Elevation => p.elevation - p.emitter.elevation,
    };
    let low = points.iter().map(place).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(place).fold(f64::NEG_INFINITY, f64::max);
    let half = (0.5 * (high - low)).max(f64::MIN_POSITIVE);
    points
        .iter()
        .map(|p| (place(p) - low) / half - 1.0)
        .collect()
}

/// A pass shorter than this many beamwidths cannot separate a curved baseline from the beam, since
/// it ends before the first nulls (1.19 either way).
const LONG_ENOUGH: f64 = 2.2;

/// Curvature columns of the baseline, which are added only if the data call for them.
pub(crate) fn curvatures(
    points: &[ScanPoint],
    shape: ScanShape,
    passes: &[ScanPass],
    width: f64,
) -> Vec<Column> {
    let bend = |from: usize, values: Vec<f64>| {
        Column::new(from, values.iter().map(|x| x * x - 1.0 / 3.0).collect())
    };
    if is_area(shape) {
        let mut columns = vec![bend(0, progress(points))];
        if let ScanShape::Raster(axis) = shape {
            columns.push(bend(0, along_rows(points, axis)));
        }
        return columns;
    }
    if passes.len() > MOST_PASSES_WITH_OWN_HEIGHTS {
        return Vec::new();
    }
    let own = |p: &ScanPass| bend(p.from, progress(&points[p.from..p.to]));
    let long = |p: &&ScanPass| {
        let (first, last) = (&points[p.from], &points[p.to - 1]);
        let on_sky = match p.axis {
            ScanAxis::Azimuth => first.emitter.cos,
            ScanAxis::Elevation => 1.0,
        };
        let way = p.speed * on_sky * (last.seconds - first.seconds);
        way.abs() >= LONG_ENOUGH * width
    };
    passes.iter().filter(long).map(own).collect()
}
