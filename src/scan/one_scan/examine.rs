//! Residuals of a fit, and effects it leaves out: curvature of the baseline, a flat top, correlated
//! noise, gain that drifts with the baseline.

use nalgebra::DMatrix;

use super::beam_frame::Fixed;
use super::error_changes;
use super::model::{Column, Extra, ScanModel};
use super::passes::{ScanPass, ScanShape};
use super::settle::{SettledFit, reduced};
use super::setup::{is_area, progress};
use super::tuned::{
    CHANCE_OF_A_CURVATURE, SIGMAS_ABOVE_A_FLAT_TOP, SIGMAS_BELOW_THE_LIMIT, SIGMAS_OF_EQUAL_TOPS,
    SIGMAS_OF_MEAN_ABOVE_A_FLAT_TOP,
};
use crate::fit::Triangle;
use crate::fit::quantile::f_exceeds;
use crate::scan::ScanAxis;

/// The linearised problem at a fit, with effects that the model leaves out as columns after its
/// own: curvatures of the baseline, a width that differs between the axes of a cross, effects with
/// a prior, and offsets that change over the sky. All are reduced at once: the part of a column
/// that is independent of the model's own, and what the data say about it, does not depend on the
/// other columns.
pub(crate) struct LeftOut {
    triangle: Triangle,
    /// Number of the model's own columns.
    core: usize,
    /// They follow the model's own columns.
    curvatures: Vec<Column>,
    /// Column of the width difference, in a scan with passes along both axes.
    widths: Option<usize>,
    /// First column of the effects with a prior; the changes over the sky follow.
    first_known: usize,
    known: Vec<Known>,
}

impl LeftOut {
    /// Builds the problem at a fit; `None` if the model has no finite derivatives there.
    pub fn of(
        model: &ScanModel<'_>,
        settled: &SettledFit,
        shape: ScanShape,
        passes: &[ScanPass],
        emitter: &Fixed,
        curvatures: Vec<Column>,
    ) -> Option<LeftOut> {
        let core = settled.parameters().len();
        let mut extras: Vec<Extra> = curvatures.iter().cloned().map(Extra::Column).collect();
        let sides = sides(passes).filter(|_| !model.elliptic);
        let widths = sides.map(|sides| {
            extras.push(Extra::Width(sides));
            core + extras.len() - 1
        });
        let first_known = core + extras.len();
        let mut known = Vec::new();
        for (extra, mean_and_sigma) in known_extras(model, settled, shape, passes) {
            extras.push(extra);
            known.push(mean_and_sigma);
        }
        extras.extend(changes(model, settled, emitter));
        Some(LeftOut {
            triangle: reduced(model, settled, &extras)?,
            core,
            curvatures,
            widths,
            first_known,
            known,
        })
    }

    /// The curvature columns that the data call for: all of them or none (F test of the linearised
    /// problem).
    pub fn curvatures_asked(&self, settled: &SettledFit) -> &[Column] {
        let k = self.curvatures.len();
        let freedom = settled.solution.degrees_of_freedom - k as f64;
        if k == 0 || freedom < 1.0 {
            return &[];
        }
        let gained = self.triangle.z().rows(self.core, k).norm_squared();
        let left = (settled.solution.chi_square - gained).max(f64::MIN_POSITIVE);
        let f = gained / k as f64 / (left / freedom);
        if f_exceeds(f, k as f64, freedom) < CHANCE_OF_A_CURVATURE {
            &self.curvatures
        } else {
            &[]
        }
    }

    /// By how much the widths along the two axes of a cross differ from their mean (logarithm,
    /// without sign), with its standard deviation; `None` without passes along both.
    pub fn widths_apart(&self, settled: &SettledFit) -> Option<(f64, f64)> {
        let j = self.widths?;
        // The part of this column independent of the model's own is in the rows below theirs.
        let rows = self.core..=j;
        let column = || rows.clone().map(|i| self.triangle.r()[(i, j)]);
        let size = column().map(|x| x * x).sum::<f64>().sqrt();
        let product: f64 = rows
            .clone()
            .zip(column())
            .map(|(i, x)| x * self.triangle.z()[i])
            .sum();
        (size > 0.0).then(|| (product.abs() / (size * size), settled.scatter / size))
    }
}

/// One along azimuth passes, minus one along elevation passes; `None` unless there are both.
fn sides(passes: &[ScanPass]) -> Option<Column> {
    let along = |axis: ScanAxis| passes.iter().any(|p| p.axis == axis);
    if !along(ScanAxis::Azimuth) || !along(ScanAxis::Elevation) {
        return None;
    }
    let side = |pass: &ScanPass| match pass.axis {
        ScanAxis::Azimuth => 1.0,
        ScanAxis::Elevation => -1.0,
    };
    let values = passes.iter().flat_map(|p| vec![side(p); p.to - p.from]);
    Some(Column::new(0, values.collect()))
}

/// Correlation of the residuals from point to point.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Memory {
    /// Correlation of neighbours.
    pub correlation: f64,
    /// Its value for uncorrelated noise: a little below zero, since fitting removes low
    /// frequencies.
    pub expected: f64,
    /// Excess of the correlation in its own standard deviations.
    pub significance: f64,
    /// Rms of the smooth part of the residuals, in units of power.
    pub smooth: f64,
}

/// Estimates the correlation from differences of neighbouring points within passes (von Neumann's
/// ratio).
pub(crate) fn memory(model: &ScanModel<'_>, settled: &SettledFit, passes: &[ScanPass]) -> Memory {
    let whitened: Vec<f64> = (0..model.points.len())
        .map(|i| settled.left(model, i) / model.noise[i])
        .collect();
    let (mut squares, mut steps, mut n, mut pairs) = (0.0, 0.0, 0.0, 0.0);
    let all = [(0, whitened.len())];
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

/// Fewer points than this are not a flat top: three equal readings happen by chance in a log of few
/// digits. Common practice, no source.
const FEWEST_AT_TOP: usize = 4;
/// Readings equal to the last digit count as equal within this fraction, which covers the rounding
/// of a change of units.
const EQUAL: f64 = 1e-9;
/// With a larger share of equal neighbours than this away from the top, the log is too coarse for
/// equal readings to mean anything. Common practice, no source.
const COARSE: f64 = 0.1;

/// A top that may be flat.
#[derive(Clone, Debug)]
pub(crate) struct Suspect {
    /// Its power.
    pub top: f64,
    /// The points below it.
    pub keep: Vec<bool>,
    /// Whether it is certain, because readings are equal to the last digit.
    pub certain: bool,
}

/// Looks for a flat top; `None` if there is no sign of one.
pub(crate) fn flat_top(
    model: &ScanModel<'_>,
    settled: &SettledFit,
    suspicious: bool,
) -> Option<Suspect> {
    let power = |i: usize| model.points[i].power;
    let n = model.points.len();
    // A spike is not a top; but the clipped points of a strong signal may also have been rejected.
    let used: Vec<usize> = (0..n)
        .filter(|i| settled.used[*i] || settled.left(model, *i) < 0.0)
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

/// For each point, whether the fit puts it clearly below a limit.
pub(crate) fn below(model: &ScanModel<'_>, fit: &SettledFit, limit: f64) -> Vec<bool> {
    (0..model.points.len())
        .map(|i| {
            let modelled = fit.at[i].power();
            modelled < limit - SIGMAS_BELOW_THE_LIMIT * model.noise[i] * fit.scatter
        })
        .collect()
}

/// Whether a fit made without the points at the top lies clearly above them.
pub(crate) fn stands_above(
    model: &ScanModel<'_>,
    without: &SettledFit,
    keep: &[bool],
    was_used: &[bool],
) -> bool {
    let above: Vec<f64> = (0..keep.len())
        .filter(|i| !keep[*i] && was_used[*i])
        .map(|i| -without.left(model, i) / (model.noise[i] * without.scatter))
        .collect();
    let n = above.len() as f64;
    let mean = above.iter().sum::<f64>() / n.max(1.0);
    mean > SIGMAS_ABOVE_A_FLAT_TOP && mean * n.sqrt() > SIGMAS_OF_MEAN_ABOVE_A_FLAT_TOP
}

/// Prior mean and standard deviation of an effect that the model leaves out.
#[derive(Clone, Copy, Debug)]
struct Known {
    mean: f64,
    sigma: f64,
}

/// How far the offsets shift, and how uncertain they become, because of effects that the model
/// leaves out.
#[derive(Clone, Debug)]
pub(crate) struct Influence {
    /// To be added to the parameters.
    pub shift: Vec<f64>,
    /// To be added to their covariance.
    pub covariance: DMatrix<f64>,
    /// How far one degree of each mount error shifts the parameters because the scan covers part of
    /// the sky (see [`error_changes`]).
    pub pull: DMatrix<f64>,
}

/// Relative slope of the baseline that a drifting gain can explain, one sigma; receivers drift by a
/// few per cent within a scan, and far larger slopes have another cause. Common practice, no
/// source.
const GAIN_DRIFT: f64 = 0.15;
/// Distance of the emitter from a cut along the axis that the cut does not measure, in beamwidths,
/// one standard deviation: about as well as a dish is centred by ear. Common practice, no source.
const OFF_CUT: f64 = 0.25;

/// Effect on the offsets of a gain that drifts with the baseline, of an emitter that moves across a
/// cut at an unknown distance, and of offsets that change over the sky.
///
/// The data cannot say how much of a baseline's slope is gain, which distorts the signal too: it is
/// taken as half, plus or minus half.
pub(crate) fn influence(left_out: Option<&LeftOut>, core: usize) -> Influence {
    let mut total = Influence {
        shift: vec![0.0; core],
        covariance: DMatrix::zeros(core, core),
        pull: DMatrix::zeros(core, error_changes::ERRORS),
    };
    let Some(left_out) = left_out else {
        return total;
    };
    let (known, r) = (&left_out.known, left_out.triangle.r());
    let k = known.len() + error_changes::ERRORS;
    // With the extras at c: R11 d + R12 c = 0.
    let head = r.view((0, 0), (core, core));
    let mut moved = r.view((0, left_out.first_known), (core, k)).into_owned();
    if !head.solve_upper_triangular_mut(&mut moved) {
        return total;
    }
    for (j, known) in known.iter().enumerate() {
        let by_one = -moved.column(j);
        for (s, b) in total.shift.iter_mut().zip(by_one.iter()) {
            *s += b * known.mean;
        }
        total.covariance += &by_one * by_one.transpose() * (known.sigma * known.sigma);
    }
    // With the errors in the model, the parameters would change by minus `moved` times them; so
    // leaving them out has shifted the parameters by that much.
    total
        .pull
        .copy_from(&moved.columns(known.len(), error_changes::ERRORS));
    total
}

/// Change of the offsets along the scan per degree of each mount error, relative to the emitter's
/// position at mid time.
fn changes(model: &ScanModel<'_>, settled: &SettledFit, emitter: &Fixed) -> Vec<Extra> {
    let degree = 1f64.to_radians();
    let units = [degree / model.azimuth.unit, degree / model.elevation.unit];
    let [azimuth, elevation] = error_changes::offsets_of_both(emitter);
    let mut columns: [Vec<(f64, f64)>; error_changes::ERRORS] =
        std::array::from_fn(|_| Vec::with_capacity(model.points.len()));
    for part in &model.parts {
        let offsets = model.offsets(part, settled.parameters());
        for point in &model.points[part.points.clone()] {
            let beam = Fixed::new(point.azimuth - offsets.0, point.elevation - offsets.1);
            let [a, e] = error_changes::offsets_of_both(&beam);
            for (j, column) in columns.iter_mut().enumerate() {
                column.push((
                    (a[j] - azimuth[j]) * units[0],
                    (e[j] - elevation[j]) * units[1],
                ));
            }
        }
    }
    columns.into_iter().map(Extra::Offsets).collect()
}

fn known_extras(
    model: &ScanModel<'_>,
    settled: &SettledFit,
    shape: ScanShape,
    passes: &[ScanPass],
) -> Vec<(Extra, Known)> {
    let mut known = Vec::new();
    let whole = [(0, model.points.len())];
    let ranges: Vec<(usize, usize)> = if is_area(shape) {
        whole.to_vec()
    } else {
        passes.iter().map(|p| (p.from, p.to)).collect()
    };
    for (from, to) in ranges {
        let ends = [from, to - 1].map(|i| settled.at[i].baseline);
        let level = 0.5 * (ends[0] + ends[1]);
        if level <= 0.0 {
            continue;
        }
        let slope = 0.5 * (ends[1] - ends[0]) / level;
        let share = 0.5 * slope / (1.0 + (slope / GAIN_DRIFT).powi(4));
        let column = Column::new(from, progress(&model.points[from..to]));
        let known_share = Known {
            mean: share,
            sigma: share.abs(),
        };
        known.push((Extra::Height(column), known_share));
    }
    for (axis, groups) in [
        (ScanAxis::Azimuth, model.azimuth.groups),
        (ScanAxis::Elevation, model.elevation.groups),
    ] {
        if groups == 0 {
            let off_cut = Known {
                mean: 0.0,
                sigma: OFF_CUT,
            };
            known.push((Extra::Unmeasured(axis), off_cut));
        }
    }
    known
}
