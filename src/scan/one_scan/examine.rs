//! Residuals of a fit, and what it leaves out: curvature of the baseline, a flat top,
//! correlated noise, gain that drifts with the baseline.

use nalgebra::DMatrix;

use super::beam_frame::Fixed;
use super::error_changes;
use super::model::{Extra, ScanModel};
use super::passes::{Pass, ScanShape};
use super::settle::{Settled, reduced};
use super::setup::{curvatures, is_area, progress, within};
use super::tuned::{
    CHANCE_OF_A_CURVATURE, SIGMAS_ABOVE_A_FLAT_TOP, SIGMAS_BELOW_THE_LIMIT, SIGMAS_OF_EQUAL_TOPS,
    SIGMAS_OF_MEAN_ABOVE_A_FLAT_TOP,
};
use crate::fit::quantile::f_exceeds;
use crate::scan::ScanAxis;

/// The curvature columns that the data ask for: all of them or none (F test of the linearised
/// problem).
pub(crate) fn curvature_asked(
    model: &ScanModel<'_>,
    settled: &Settled,
    shape: ScanShape,
    passes: &[Pass],
) -> Vec<Vec<f64>> {
    let columns = curvatures(model.points, shape, passes, model.elevation.unit);
    let mut extended = model.clone();
    extended.extras = columns.iter().cloned().map(Extra::Column).collect();
    let k = columns.len();
    let freedom = settled.solution.degrees_of_freedom - k as f64;
    let Some(triangle) = reduced(&extended, settled).filter(|_| k > 0 && freedom >= 1.0) else {
        return Vec::new();
    };
    let gained = triangle
        .z()
        .rows(triangle.parameters() - k, k)
        .norm_squared();
    let left = (settled.solution.chi_square - gained).max(f64::MIN_POSITIVE);
    let f = gained / k as f64 / (left / freedom);
    if f_exceeds(f, k as f64, freedom) < CHANCE_OF_A_CURVATURE {
        columns
    } else {
        Vec::new()
    }
}

/// By how much the widths along the two axes of a cross differ from their mean (logarithm,
/// without sign), with its standard deviation; none without passes along both.
pub(crate) fn widths_apart(
    model: &ScanModel<'_>,
    settled: &Settled,
    passes: &[Pass],
) -> Option<(f64, f64)> {
    let mut sides = vec![0.0; model.points.len()];
    for pass in passes {
        sides[pass.from..pass.to].fill(match pass.axis {
            ScanAxis::Azimuth => 1.0,
            ScanAxis::Elevation => -1.0,
        });
    }
    if !sides.contains(&1.0) || !sides.contains(&-1.0) {
        return None;
    }
    let mut extended = model.clone();
    extended.extras = vec![Extra::Width(sides)];
    let triangle = reduced(&extended, settled)?;
    let last = triangle.parameters() - 1;
    let size = triangle.r()[(last, last)].abs();
    (size > 0.0).then(|| (triangle.z()[last].abs() / size, settled.scatter / size))
}

/// The memory of what is left over, point to point.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Memory {
    /// Correlation of neighbours.
    pub correlation: f64,
    /// What it is without memory: a little below zero, since fitting takes low frequencies out.
    pub expected: f64,
    /// In its own standard deviations.
    pub significance: f64,
    /// Rms of the smooth part of what is left over, in units of power.
    pub smooth: f64,
}

/// From differences of neighbouring points within passes (von Neumann's ratio).
pub(crate) fn memory(model: &ScanModel<'_>, settled: &Settled, passes: &[Pass]) -> Memory {
    let residuals = model.residuals(settled.parameters());
    let whitened: Vec<f64> = residuals
        .iter()
        .zip(&model.noise)
        .map(|(r, n)| r / n)
        .collect();
    let (mut squares, mut steps, mut n, mut pairs) = (0.0, 0.0, 0.0, 0.0);
    let all = [(0, residuals.len())];
    let ranges: Vec<(usize, usize)> = if passes.is_empty() {
        all.to_vec()
    } else {
        passes.iter().map(|p| (p.from, p.to)).collect()
    };
    for (from, to) in ranges {
        let mut before: Option<f64> = None;
        for i in (from..to).filter(|i| settled.used[*i]) {
            squares += whitened[i] * whitened[i];
            n += 1.0;
            if let Some(b) = before {
                steps += (whitened[i] - b).powi(2);
                pairs += 1.0;
            }
            before = Some(whitened[i]);
        }
    }
    if pairs < 8.0 || squares <= 0.0 {
        return Memory {
            correlation: 0.0,
            expected: 0.0,
            significance: 0.0,
            smooth: 0.0,
        };
    }
    let (mean, step) = (squares / n, steps / pairs);
    let correlation = 1.0 - 0.5 * step / mean;
    let expected = -(settled.solution.parameters.len() as f64) / n;
    let noise = model.noise.iter().sum::<f64>() / model.noise.len() as f64;
    Memory {
        correlation,
        expected,
        significance: (correlation - expected) * pairs.sqrt(),
        smooth: (mean - 0.5 * step).max(0.0).sqrt() * noise,
    }
}

/// Fewer points are no flat top: three equal readings happen by chance in a log of few digits.
/// Common practice, no source.
const FEWEST_AT_TOP: usize = 4;
/// Readings equal to the last digit count as equal within this fraction, which covers the rounding
/// of a change of units.
const EQUAL: f64 = 1e-9;
/// With more equal neighbours than this share off the top, the log is too coarse for equal readings
/// to mean anything. Common practice, no source.
const COARSE: f64 = 0.1;

/// A top that may be flat.
#[derive(Clone, Debug)]
pub(crate) struct Suspect {
    /// Its power.
    pub top: f64,
    /// The points below it.
    pub keep: Vec<bool>,
    /// Whether readings equal to the last digit leave no doubt.
    pub certain: bool,
}

/// Suspects a flat top; none when there is no reason to.
pub(crate) fn flat_top(
    model: &ScanModel<'_>,
    settled: &Settled,
    suspicious: bool,
) -> Option<Suspect> {
    let power = |i: usize| model.points[i].power;
    let n = model.points.len();
    // A spike is no top; but what a strong signal's flat top lacks may have been left out too.
    let residuals = model.residuals(settled.parameters());
    let used: Vec<usize> = (0..n)
        .filter(|i| settled.used[*i] || residuals[*i] < 0.0)
        .collect();
    let top = used
        .iter()
        .map(|i| power(*i))
        .fold(f64::NEG_INFINITY, f64::max);
    let is_equal = |i: usize| (power(i) - top).abs() <= EQUAL * top.abs();
    let equal = used.iter().filter(|i| is_equal(**i)).count();
    let neighbours = used.windows(2).filter(|w| !is_equal(w[0]));
    let twins = neighbours
        .clone()
        .filter(|w| power(w[0]) == power(w[1]))
        .count();
    let coarse = twins as f64 > COARSE * neighbours.count().max(1) as f64;
    let certain = equal >= FEWEST_AT_TOP && !coarse;
    if !certain && !suspicious {
        return None;
    }
    let margin = |i: usize| SIGMAS_OF_EQUAL_TOPS * model.noise[i] * settled.scatter;
    let keep: Vec<bool> = (0..n)
        .map(|i| match certain {
            true => !is_equal(i),
            false => power(i) < top - margin(i),
        })
        .collect();
    let at_top = used.iter().filter(|i| !keep[**i]).count();
    let enough = at_top >= FEWEST_AT_TOP && at_top * 2 < used.len();
    enough.then_some(Suspect { top, keep, certain })
}

/// The points that a fit puts clearly below a limit.
pub(crate) fn below(model: &ScanModel<'_>, fit: &Settled, limit: f64) -> Vec<bool> {
    let setting = model.setting(fit.parameters());
    (0..model.points.len())
        .map(|i| {
            let modelled = model.at(i, &setting).power();
            modelled < limit - SIGMAS_BELOW_THE_LIMIT * model.noise[i] * fit.scatter
        })
        .collect()
}

/// Whether a fit made without the points at the top stands clearly above them.
pub(crate) fn stands_above(
    model: &ScanModel<'_>,
    without: &Settled,
    keep: &[bool],
    was_used: &[bool],
) -> bool {
    let setting = model.setting(without.parameters());
    let above: Vec<f64> = (0..keep.len())
        .filter(|i| !keep[*i] && was_used[*i])
        .map(|i| {
            let modelled = model.at(i, &setting).power();
            (modelled - model.points[i].power) / (model.noise[i] * without.scatter)
        })
        .collect();
    let n = above.len() as f64;
    let mean = above.iter().sum::<f64>() / n.max(1.0);
    mean > SIGMAS_ABOVE_A_FLAT_TOP && mean * n.sqrt() > SIGMAS_OF_MEAN_ABOVE_A_FLAT_TOP
}

/// What is known from elsewhere about something the model leaves out: its mean and standard
/// deviation.
#[derive(Clone, Debug)]
struct KnownExtra {
    extra: Extra,
    mean: f64,
    sigma: f64,
}

/// By how much the offsets move, and how uncertain they become, through what the model leaves
/// out.
#[derive(Clone, Debug)]
pub(crate) struct Influence {
    /// To be added to the parameters.
    pub shift: Vec<f64>,
    /// To be added to their covariance.
    pub covariance: DMatrix<f64>,
    /// By how much a degree of each error of the mount moves the parameters because the scan
    /// covers some part of the sky (see [`error_changes`]).
    pub pull: DMatrix<f64>,
}

/// Relative slopes of the baseline that a drifting gain can explain, of one sigma; receivers drift
/// by a few per cent within a scan, and far larger slopes have another reason. Common practice, no
/// source.
const GAIN_DRIFT: f64 = 0.15;
/// On an axis that a cut does not measure, the emitter stands this far off its middle, in
/// beamwidths, one standard deviation: about as well as a dish is centred by ear. Common practice,
/// no source.
const OFF_CUT: f64 = 0.25;

/// What a gain that drifts along with the baseline, an emitter that moves across a cut at
/// an unknown place, and offsets that change over the sky do to the offsets.
///
/// How much of a baseline's slope is gain, which bends the signal too, the data cannot say: it
/// is taken as half, give or take half.
pub(crate) fn influence(
    model: &ScanModel<'_>,
    settled: &Settled,
    shape: ScanShape,
    passes: &[Pass],
    emitter: &Fixed,
) -> Influence {
    let known = known(model, settled, shape, passes);
    let core = settled.solution.parameters.len();
    let mut total = Influence {
        shift: vec![0.0; core],
        covariance: DMatrix::zeros(core, core),
        pull: DMatrix::zeros(core, error_changes::ERRORS),
    };
    let mut extended = model.clone();
    extended.extras = known.iter().map(|k| k.extra.clone()).collect();
    extended.extras.extend(changes(model, settled, emitter));
    let k = extended.extras.len();
    let Some(triangle) = reduced(&extended, settled) else {
        return total;
    };
    // With the extras at c: R11 d + R12 c = 0.
    let r = triangle.r();
    let head = r.view((0, 0), (core, core)).into_owned();
    let cross = r.view((0, core), (core, k)).into_owned();
    let Some(moved) = head.solve_upper_triangular(&cross) else {
        return total;
    };
    for (j, known) in known.iter().enumerate() {
        let by_one = -moved.column(j);
        for (s, b) in total.shift.iter_mut().zip(by_one.iter()) {
            *s += b * known.mean;
        }
        total.covariance += &by_one * by_one.transpose() * (known.sigma * known.sigma);
    }
    // Were the errors in the model, the parameters would move by minus `moved` times them: so
    // by as much they have been moved without.
    total
        .pull
        .copy_from(&moved.columns(known.len(), error_changes::ERRORS));
    total
}

/// How a degree of each error of the mount changes the offsets along the scan, against those at
/// the emitter's place at mid time.
fn changes(model: &ScanModel<'_>, settled: &Settled, emitter: &Fixed) -> Vec<Extra> {
    let layout = model.layout();
    let degree = 1f64.to_radians();
    let units = [degree / model.azimuth.unit, degree / model.elevation.unit];
    let mut columns = vec![Vec::new(); error_changes::ERRORS];
    for i in 0..model.points.len() {
        let beam = model.beam_at(i, settled.parameters(), &layout);
        let azimuth = error_changes::change(ScanAxis::Azimuth, emitter, &beam);
        let elevation = error_changes::change(ScanAxis::Elevation, emitter, &beam);
        for (column, (a, e)) in columns.iter_mut().zip(azimuth.iter().zip(elevation)) {
            column.push((a * units[0], e * units[1]));
        }
    }
    columns.into_iter().map(Extra::Offsets).collect()
}

fn known(
    model: &ScanModel<'_>,
    settled: &Settled,
    shape: ScanShape,
    passes: &[Pass],
) -> Vec<KnownExtra> {
    let setting = model.setting(settled.parameters());
    let mut known = Vec::new();
    let n = model.points.len();
    let whole = [(0, n)];
    let ranges: Vec<(usize, usize)> = if is_area(shape) {
        whole.to_vec()
    } else {
        passes.iter().map(|p| (p.from, p.to)).collect()
    };
    for (from, to) in ranges {
        let ends = [from, to - 1].map(|i| model.at(i, &setting).baseline);
        let level = 0.5 * (ends[0] + ends[1]);
        if level <= 0.0 {
            continue;
        }
        let slope = 0.5 * (ends[1] - ends[0]) / level;
        let share = 0.5 * slope / (1.0 + (slope / GAIN_DRIFT).powi(4));
        let column = within(n, from, progress(&model.points[from..to]));
        known.push(KnownExtra {
            extra: Extra::Height(column),
            mean: share,
            sigma: share.abs(),
        });
    }
    for (axis, groups) in [
        (ScanAxis::Azimuth, model.azimuth.groups),
        (ScanAxis::Elevation, model.elevation.groups),
    ] {
        if groups == 0 {
            known.push(KnownExtra {
                extra: Extra::Unmeasured(axis),
                mean: 0.0,
                sigma: OFF_CUT,
            });
        }
    }
    known
}
