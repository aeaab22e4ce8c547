//! One scan, from its points to encoder offsets with their uncertainty, and what to think of
//! them.

use nalgebra::DMatrix;

use super::Axis;
use super::curve::{Curve, POINTS_OF_A_MAP};
use super::examine::{
    Influence, Memory, below, curvature_asked, flat_top, influence, memory, stands_above,
};
use super::judge;
use super::model::ScanModel;
use super::passes::{Pass, Shape, passes};
use super::place::Fixed;
use super::point::{Point, Points};
use super::reason::Reason;
use super::settle::{Settled, settle, start};
use super::setup::{Expected, Group, Groups, is_area, model};
use super::start::{Found, along, over, without_spikes};
use super::thin::{thinned, thinned_points};
use crate::time::Utc;

/// How the noise of a sample depends on its power.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NoiseLaw {
    /// The same for all samples of a scan, as of a detector or of a reading's last digit.
    #[default]
    Steady,
    /// In proportion to the whole power, as of a total-power receiver: the radiometer equation
    /// (Dicke 1946).
    Radiometer,
}

impl NoiseLaw {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            NoiseLaw::Steady => "steady",
            NoiseLaw::Radiometer => "in proportion to power",
        }
    }
}

/// The encoder offsets (reading less the emitter's apparent place) of one axis.
#[derive(Clone, Debug)]
pub(crate) struct AxisFit {
    /// One for each group, radians of the axis.
    pub offsets: Vec<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// Direction and speed of each, the speed taken where the peak is.
    pub groups: Vec<Group>,
    /// By how many degrees each offset is moved by a degree of each error of the mount because
    /// the scan covers some part of the sky: one row a group.
    pub pull: DMatrix<f64>,
}

/// What was fitted to a scan.
#[derive(Clone, Debug)]
pub(crate) struct Fitted {
    pub azimuth: Option<AxisFit>,
    pub elevation: Option<AxisFit>,
    /// Width over that expected, and the standard deviation of its logarithm.
    pub stretch: f64,
    pub stretch_sigma: f64,
    /// Of the strongest pass.
    pub height: f64,
    /// Standard deviation of a row there.
    pub noise: f64,
    /// Baseline below the peak.
    pub level: f64,
    /// By how much likelier the radiometer law is than steady noise (logarithm).
    pub radiometer_evidence: Option<f64>,
    pub curve: Curve,
}

impl Fitted {
    /// What was fitted along an axis; none when it was not measured.
    pub fn axis(&self, axis: Axis) -> Option<&AxisFit> {
        match axis {
            Axis::Azimuth => self.azimuth.as_ref(),
            Axis::Elevation => self.elevation.as_ref(),
        }
    }
}

/// A scan looked at by itself.
#[derive(Clone, Debug)]
pub(crate) struct Analysis {
    pub mid: Utc,
    /// Where the emitter stands at mid time.
    pub emitter: Fixed,
    pub shape: Shape,
    /// An encoder reading near the middle of the scan, radians: tells the turn.
    pub near: (f64, f64),
    pub reasons: Vec<Reason>,
    pub fitted: Option<Fitted>,
    /// The samples when nothing was fitted, for pictures.
    pub bare: Option<Curve>,
}

/// A peak less significant than this may be chance: among the places and widths tried, one
/// scan in some thousands of pure noise shows as much.
pub(crate) const SIGNIFICANT: f64 = 5.0;
/// Fewer points are no scan.
const FEWEST: usize = 8;

/// Looks at one scan.
pub(crate) fn analyse(points: Points, expected: &Expected, law: NoiseLaw) -> Analysis {
    let mut analysis = Analysis {
        mid: points.mid,
        emitter: points.emitter,
        shape: Shape::Still,
        near: near(&points.points),
        reasons: points.reasons.clone(),
        fitted: None,
        bare: None,
    };
    if points.points.len() < FEWEST {
        analysis.reasons.push(Reason::TooFew {
            samples: points.points.len(),
        });
        return analysis;
    }
    let (shape, all) = passes(&points, expected.width);
    analysis.shape = shape;
    if let Some(beams) = unfollowed(&points, expected.width) {
        analysis.reasons.push(Reason::Unfollowed { beams });
    }
    match shape {
        Shape::Still => analysis.reasons.push(Reason::Still),
        Shape::Slanting => analysis.reasons.push(Reason::Slanting),
        _ => {
            analysis.fitted = look(&points, shape, &all, expected, law, &mut analysis.reasons);
        }
    }
    analysis
}

/// How many beamwidths the emitter ran away from a mount that did not follow it, when they are
/// many.
fn unfollowed(points: &Points, width: f64) -> Option<f64> {
    let first = points.points.first()?;
    let last = points.points.last()?;
    let step = |from: (f64, f64), to: (f64, f64)| {
        let cross = (to.0 - from.0) * points.emitter.cos;
        cross.hypot(to.1 - from.1) / width
    };
    let emitter = |p: &Point| (p.emitter.azimuth, p.emitter.elevation);
    let offset = |p: &Point| (p.offset(Axis::Azimuth), p.offset(Axis::Elevation));
    let moved = step(emitter(first), emitter(last));
    let away = step(offset(first), offset(last));
    (moved.min(away) > FAR_AWAY).then_some(moved)
}

/// An emitter that runs so many beamwidths is not where a mount that stands looks.
const FAR_AWAY: f64 = 5.0;

/// A reading near the middle of the scan.
fn near(points: &[Point]) -> (f64, f64) {
    points
        .get(points.len() / 2)
        .map_or((0.0, 0.0), |p| (p.azimuth, p.elevation))
}

fn look(
    all: &Points,
    shape: Shape,
    passes: &[Pass],
    expected: &Expected,
    law: NoiseLaw,
    reasons: &mut Vec<Reason>,
) -> Option<Fitted> {
    let (mut points, mut passes) = if shape == Shape::Map {
        let beams = all.points.len() as f64 / POINTS_OF_A_MAP;
        (thinned_points(&all.points, beams), Vec::new())
    } else {
        thinned(&all.points, passes, expected.width)
    };
    if points.len() < FEWEST {
        reasons.push(Reason::TooFew {
            samples: points.len(),
        });
        return None;
    }
    let found = find(&points, shape, &passes, expected, reasons)?;
    for axis in [Axis::Azimuth, Axis::Elevation] {
        let unseen = reasons
            .iter()
            .any(|r| matches!(r, Reason::NoSignal { axis: Some(a), .. } if *a == axis));
        if unseen {
            (points, passes) = without(&points, &passes, axis);
        }
    }
    if points.len() < FEWEST {
        reasons.push(Reason::TooFew {
            samples: points.len(),
        });
        return None;
    }
    let groups = Groups::of(shape, &passes);
    let ranges: Vec<(usize, usize)> = passes.iter().map(|p| (p.from, p.to)).collect();
    let clean = without_spikes(&points, &ranges);
    let emitter = all.emitter;
    let mut model = model(
        &points,
        shape,
        &passes,
        &groups,
        expected,
        &emitter,
        (found.azimuth, found.elevation),
    );
    set_noise(&mut model, found.noise, |_| 1.0);
    let usable = vec![true; points.len()];
    let first = start(&model, &clean, found.stretch.ln(), &usable);
    // A fit that begins with spikes in it may take one for the beam.
    let no_spike: Vec<bool> = points
        .iter()
        .zip(&clean)
        .map(|(p, c)| p.power == *c)
        .collect();
    let mut settled = settle(&model, &first, &usable, &no_spike).ok()?;
    let mut evidence = None;
    // Noise, curvature and a flat top each change the model; two rounds settle them.
    evidence = radiometer_evidence(&model, &settled).or(evidence);
    if law == NoiseLaw::Radiometer {
        settled = with_radiometer_noise(&mut model, settled, found.noise, &usable)?;
    }
    let columns = curvature_asked(&model, &settled, shape, &passes);
    if !columns.is_empty() {
        settled = with_columns(&mut model, &settled, columns, &usable)?;
    }
    let mut left_over = memory(&model, &settled, &passes);
    let (stretch, stretch_sigma) = stretch(&model, &settled);
    let suspicious = left_over.significance > 3.0 || stretch > 1.05 + 2.0 * stretch_sigma;
    if let Some(suspect) = flat_top(&model, &settled, suspicious) {
        let fit =
            |keep: &[bool]| settle(&model, &start(&model, &clean, 0.0, keep), keep, &no_spike).ok();
        let flat = fit(&suspect.keep).filter(|without| {
            suspect.certain || stands_above(&model, without, &suspect.keep, &settled.used)
        });
        if let Some(without) = flat {
            // Next to the limit the noise is cut on one side, so what may be left out is told
            // by the fit and not by the power.
            let keep = below(&model, &without, suspect.top);
            let again = fit(&keep).filter(|_| keep.iter().filter(|k| **k).count() > FEWEST);
            settled = again.unwrap_or(without);
            let samples = keep.iter().filter(|k| !**k).count();
            reasons.push(Reason::FlatTop { samples });
            left_over = memory(&model, &settled, &passes);
        }
    }
    let moved = influence(&model, &settled, shape, &passes, &emitter);
    let fitted = gather(
        &model, &settled, &groups, &passes, &moved, &left_over, evidence,
    );
    judge::add_reasons(
        &model, &settled, &fitted, &left_over, &passes, shape, reasons,
    );
    Some(fitted)
}

/// Where the emitter is, roughly; none when it is nowhere.
fn find(
    points: &[Point],
    shape: Shape,
    passes: &[Pass],
    expected: &Expected,
    reasons: &mut Vec<Reason>,
) -> Option<Found> {
    let beam = expected.beam();
    let width = expected.chord();
    let beam = (&beam, expected.radius());
    let seen = |found: &Option<Found>| {
        let significance = found.map_or(0.0, |f| f.significance);
        (significance >= SIGNIFICANT, significance)
    };
    if is_area(shape) {
        let found = over(points, width, beam);
        let (yes, significance) = seen(&found);
        if !yes {
            reasons.push(Reason::NoSignal {
                axis: None,
                significance,
            });
        }
        return found.filter(|_| yes);
    }
    let azimuth = along(points, passes, Axis::Azimuth, width, beam);
    let elevation = along(points, passes, Axis::Elevation, width, beam);
    let ((a_seen, a), (e_seen, e)) = (seen(&azimuth), seen(&elevation));
    if !a_seen && !e_seen {
        reasons.push(Reason::NoSignal {
            axis: None,
            significance: a.max(e),
        });
        return None;
    }
    if shape == Shape::Cross && !(a_seen && e_seen) {
        let (axis, significance) = if a_seen {
            (Axis::Elevation, e)
        } else {
            (Axis::Azimuth, a)
        };
        reasons.push(Reason::NoSignal {
            axis: Some(axis),
            significance,
        });
    }
    let azimuth = azimuth.filter(|_| a_seen);
    let elevation = elevation.filter(|_| e_seen);
    // Off the axis of a cut the beam is taken to have run over the emitter when it passed it.
    let beside = |along: Axis, place: f64, axis: Axis| {
        let nearest = points.iter().min_by(|p, q| {
            let away = |p: &Point| (p.offset(along) - place).abs();
            away(p).total_cmp(&away(q))
        });
        nearest.map_or(0.0, |p| p.offset(axis))
    };
    let strongest = match (azimuth, elevation) {
        (Some(a), Some(e)) if a.significance >= e.significance => a,
        (_, Some(e)) => e,
        (Some(a), None) => a,
        (None, None) => return None,
    };
    let by_elevation = || beside(Axis::Elevation, strongest.elevation, Axis::Azimuth);
    let by_azimuth = || beside(Axis::Azimuth, strongest.azimuth, Axis::Elevation);
    Some(Found {
        azimuth: azimuth.map_or_else(by_elevation, |f| f.azimuth),
        elevation: elevation.map_or_else(by_azimuth, |f| f.elevation),
        ..strongest
    })
}

/// The points and passes without those along an axis.
fn without(points: &[Point], passes: &[Pass], axis: Axis) -> (Vec<Point>, Vec<Pass>) {
    let mut kept = Vec::new();
    let mut moved = Vec::new();
    for pass in passes.iter().filter(|p| p.axis != axis) {
        let from = kept.len();
        kept.extend_from_slice(&points[pass.from..pass.to]);
        moved.push(Pass {
            from,
            to: kept.len(),
            ..*pass
        });
    }
    (kept, moved)
}

/// Sets the standard deviation of each point: `noise` for a row, times the factor of its law.
fn set_noise(model: &mut ScanModel<'_>, noise: f64, law: impl Fn(usize) -> f64) {
    // Noise of zero is possible in made-up data only; the scatter then stays zero.
    let noise = if noise > 0.0 { noise } else { 1.0 };
    model.noise = (0..model.points.len())
        .map(|i| noise * law(i) / model.points[i].rows.sqrt())
        .collect();
}

/// Log-likelihood of noise in proportion to the modelled power less that of steady noise.
fn radiometer_evidence(model: &ScanModel<'_>, settled: &Settled) -> Option<f64> {
    let layout = model.layout();
    let (mut steady, mut weighted, mut logs, mut n) = (0.0, 0.0, 0.0, 0.0);
    for i in (0..model.points.len()).filter(|i| settled.used[*i]) {
        let power = model.at(i, settled.parameters(), &layout).power();
        if power <= 0.0 {
            return None;
        }
        let rows = model.points[i].rows;
        let square = rows * (model.points[i].power - power).powi(2);
        steady += square;
        weighted += square / (power * power);
        logs += power.ln();
        n += 1.0;
    }
    (steady > 0.0).then(|| 0.5 * n * (steady.ln() - weighted.ln()) - logs)
}

fn with_radiometer_noise(
    model: &mut ScanModel<'_>,
    mut settled: Settled,
    noise: f64,
    usable: &[bool],
) -> Option<Settled> {
    let layout = model.layout();
    // Weights need the power and the power weights.
    for _ in 0..WEIGHT_ROUNDS {
        let power: Vec<f64> = (0..model.points.len())
            .map(|i| model.at(i, settled.parameters(), &layout).power())
            .collect();
        let mean = power.iter().sum::<f64>() / power.len() as f64;
        if mean <= 0.0 {
            return Some(settled);
        }
        // A modelled power that is nearly nothing must not outweigh all others.
        let least = LEAST_POWER * mean;
        set_noise(model, noise, |i| power[i].max(least) / mean);
        settled = settle(model, settled.parameters(), usable, &settled.used).ok()?;
    }
    Some(settled)
}

const WEIGHT_ROUNDS: usize = 3;
/// No sample counts for more than that of this fraction of the mean power.
const LEAST_POWER: f64 = 0.01;

/// The fit with more baseline columns.
fn with_columns(
    model: &mut ScanModel<'_>,
    settled: &Settled,
    columns: Vec<Vec<f64>>,
    usable: &[bool],
) -> Option<Settled> {
    let mut p = settled.parameters().to_vec();
    p.extend(columns.iter().map(|_| 0.0));
    model.baseline.extend(columns);
    settle(model, &p, usable, &settled.used).ok()
}

/// Width over that expected, and the standard deviation of its logarithm.
fn stretch(model: &ScanModel<'_>, settled: &Settled) -> (f64, f64) {
    let j = model.layout().width;
    let variance = settled.solution.covariance()[(j, j)];
    (
        settled.parameters()[j].exp(),
        variance.max(0.0).sqrt() * settled.scatter,
    )
}

#[allow(clippy::too_many_arguments)]
fn gather(
    model: &ScanModel<'_>,
    settled: &Settled,
    groups: &Groups,
    passes: &[Pass],
    moved: &Influence,
    left_over: &Memory,
    evidence: Option<f64>,
) -> Fitted {
    let layout = model.layout();
    let p = settled.parameters();
    let sigmas = settled.solution.sigmas();
    let scale = settled.scatter * inflation(left_over) * few_samples(settled);
    let covariance = settled.solution.covariance() * scale.powi(2) + &moved.covariance;
    let axis = |axis: Axis, groups: &[Group], first: usize| -> Option<AxisFit> {
        if groups.is_empty() {
            return None;
        }
        let own = match axis {
            Axis::Azimuth => &model.azimuth,
            Axis::Elevation => &model.elevation,
        };
        // A group of passes that missed the emitter tells nothing, whatever its covariance says.
        let sigma = |k: &usize| sigmas[first + k] * settled.scatter;
        let told: Vec<usize> = (0..groups.len()).filter(|k| sigma(k) < MISSED).collect();
        if told.is_empty() {
            return None;
        }
        let places: Vec<usize> = told.iter().map(|k| first + k).collect();
        let offset = |j: &usize| own.reference + own.unit * (p[*j] + moved.shift[*j]);
        let offsets: Vec<f64> = places.iter().map(offset).collect();
        let own_covariance = covariance.select_rows(&places).select_columns(&places);
        let mut groups: Vec<Group> = told.iter().map(|k| groups[*k].clone()).collect();
        for (group, offset) in groups.iter_mut().zip(&offsets) {
            refine_speed(group, *offset, axis, model, passes);
        }
        Some(AxisFit {
            offsets,
            covariance: own_covariance * (own.unit * own.unit),
            groups,
            pull: moved.pull.select_rows(&places) * own.unit.to_degrees(),
        })
    };
    let azimuth = axis(Axis::Azimuth, &groups.azimuth, layout.azimuth);
    let elevation = axis(Axis::Elevation, &groups.elevation, layout.elevation);
    let curve = Curve::of(model, settled, passes);
    let (stretch, stretch_sigma) = stretch(model, settled);
    let (mut height, mut at_top) = (f64::NEG_INFINITY, 0);
    for h in 0..model.heights {
        if p[layout.heights + h] > height {
            height = p[layout.heights + h];
            let own = (0..model.points.len()).filter(|i| model.parts[*i].height == h);
            let nearest = own.min_by(|a, b| {
                let response = |i: &usize| model.at(*i, p, &layout).response;
                response(b).total_cmp(&response(a))
            });
            at_top = nearest.unwrap_or(0);
        }
    }
    let row_noise = model.noise[at_top] * model.points[at_top].rows.sqrt();
    Fitted {
        azimuth,
        elevation,
        stretch,
        stretch_sigma,
        height,
        noise: row_noise * settled.scatter,
        level: model.at(at_top, p, &layout).baseline,
        radiometer_evidence: evidence,
        curve,
    }
}

/// Noise with a memory says less than it has points: for neighbours of correlation r the mean
/// of many is uncertain by sqrt((1 + r)/(1 - r)) more (an autoregressive process of order one).
pub(crate) fn inflation(left_over: &Memory) -> f64 {
    if left_over.significance < PERHAPS_REMEMBERS {
        return 1.0;
    }
    let r = (left_over.correlation - left_over.expected).clamp(0.0, 0.95);
    ((1.0 + r) / (1.0 - r)).sqrt()
}

/// The noise is known from the scan's own scatter only: an error over such a sigma follows
/// Student's distribution, whose standard deviation this is (from memory: any textbook on
/// statistics).
fn few_samples(settled: &Settled) -> f64 {
    let freedom = settled.solution.degrees_of_freedom.max(FEWEST_FREEDOM);
    (freedom / (freedom - 2.0)).sqrt()
}

/// With less freedom than this there is no telling.
const FEWEST_FREEDOM: f64 = 4.0;

/// A place that is not known to this many beamwidths was missed.
const MISSED: f64 = 0.7;

/// Memory above this significance is no chance, and is said.
pub(crate) const REMEMBERS: f64 = 4.5;
/// From here on it is reckoned with: in one of a hundred scans without memory for nothing.
const PERHAPS_REMEMBERS: f64 = 2.3;

/// The group's speed where the emitter is, by a straight line through the points within half a
/// beamwidth of it.
fn refine_speed(
    group: &mut Group,
    offset: f64,
    axis: Axis,
    model: &ScanModel<'_>,
    passes: &[Pass],
) {
    let unit = match axis {
        Axis::Azimuth => model.azimuth.unit,
        Axis::Elevation => model.elevation.unit,
    };
    let mut speeds = Vec::new();
    for pass in group.passes.iter().map(|i| &passes[*i]) {
        let near: Vec<(f64, f64)> = model.points[pass.from..pass.to]
            .iter()
            .map(|p| match axis {
                Axis::Azimuth => (p.seconds, p.azimuth - p.emitter.azimuth),
                Axis::Elevation => (p.seconds, p.elevation - p.emitter.elevation),
            })
            .filter(|(_, place)| (place - offset).abs() < 0.5 * unit)
            .collect();
        let n = near.len() as f64;
        let (mt, mx) = near
            .iter()
            .fold((0.0, 0.0), |(t, x), p| (t + p.0 / n, x + p.1 / n));
        let (mut tt, mut tx) = (0.0, 0.0);
        for (t, x) in &near {
            tt += (t - mt) * (t - mt);
            tx += (t - mt) * (x - mx);
        }
        if near.len() >= 3 && tt > 0.0 {
            speeds.push(tx / tt);
        }
    }
    if !speeds.is_empty() {
        group.speed = speeds.iter().sum::<f64>() / speeds.len() as f64;
    }
}
