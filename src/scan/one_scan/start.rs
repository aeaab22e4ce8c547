//! Start values: the position at which a beam explains most of the signal, found by a grid search
//! with baseline and height solved linearly at each position.

use multiversion::multiversion;

use super::beam::Beam;
use super::passes::ScanPass;
use super::point::{SIGMA_OF_MEDIAN, ScanPoint, median};
use super::thin::mean;
use super::tuned::{
    MOST_PLACES_ALONG_A_MAP, MOST_PLACES_OF_A_CUT, MOST_POINTS_TO_START_A_MAP,
    NEAR_AN_OBVIOUS_BEAM, PLACES_OUTSIDE, SHARE_BESIDE_A_BEAM, SHARE_OF_A_LOST_TEMPLATE,
    SIGMAS_OF_AN_OBVIOUS_BEAM, STEP_BETWEEN_PLACES, STEP_BETWEEN_PLACES_OF_A_MAP, WIDTHS_TRIED,
    WIDTHS_TRIED_IN_A_MAP,
};
use crate::scan::ScanAxis;

/// Where the emitter was found, as encoder offsets in radians, and how significantly.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FoundBeam {
    /// Found along the axis of a cut; both are found in a map.
    pub azimuth: f64,
    /// As `azimuth`.
    pub elevation: f64,
    /// Its width over that expected.
    pub stretch: f64,
    /// Height over its own standard deviation.
    pub significance: f64,
    /// Standard deviation of one row.
    pub noise: f64,
}

/// Rows of a linear problem from which the baseline has been projected out.
struct Cleared {
    /// Orthonormal columns of the baseline, each with the range of rows it covers.
    baseline: Vec<(usize, Vec<f64>)>,
    /// Square root of the number of rows in each point.
    root: Vec<f64>,
    /// Signal without baseline, times `root`.
    signal: Vec<f64>,
    freedom: f64,
}

impl Cleared {
    /// Removes a level and a slope from the signal for each range of points.
    fn new(points: &[ScanPoint], signal: &[f64], ranges: &[(usize, usize)]) -> Cleared {
        let root: Vec<f64> = points.iter().map(|p| p.rows.sqrt()).collect();
        let mut cleared = Cleared {
            baseline: Vec::new(),
            signal: signal.iter().zip(&root).map(|(s, r)| s * r).collect(),
            freedom: points.len() as f64,
            root,
        };
        for (from, to) in ranges {
            let middle = points[(from + to) / 2].seconds;
            for power in 0..2 {
                let column: Vec<f64> = (*from..*to)
                    .map(|i| cleared.root[i] * (points[i].seconds - middle).powi(power))
                    .collect();
                cleared.add(*from, column);
            }
        }
        let mut signal = std::mem::take(&mut cleared.signal);
        cleared.clear(&mut signal);
        cleared.signal = signal;
        cleared
    }
    /// Adds a baseline column, made orthogonal to those before it.
    fn add(&mut self, from: usize, mut column: Vec<f64>) {
        let before = dot(&column, &column);
        for (other, b) in &self.baseline {
            if *other == from {
                let part = dot(b, &column);
                subtract(&mut column, part, b);
            }
        }
        let square = dot(&column, &column);
        if square > 1e-20 * before {
            let scale = 1.0 / square.sqrt();
            column.iter_mut().for_each(|c| *c *= scale);
            self.baseline.push((from, column));
            self.freedom -= 1.0;
        }
    }
    /// Projects the baseline out of a column.
    fn clear(&self, column: &mut [f64]) {
        for (from, b) in &self.baseline {
            let own = &mut column[*from..*from + b.len()];
            let part = dot(b, own);
            subtract(own, part, b);
        }
    }
    /// Decrease of the sum of squares with this template; `None` if the template cannot be
    /// separated from the baseline or its height is not positive.
    #[inline(always)]
    fn squares_explained(&self, template: &mut [f64]) -> Option<f64> {
        for (t, r) in template.iter_mut().zip(&self.root) {
            *t *= r;
        }
        // The signal has no baseline left, so its product with the template equals that with the
        // template's part orthogonal to the baseline.
        let product = dot(template, &self.signal);
        if product <= 0.0 {
            return None;
        }
        let before = dot(template, template);
        let parts = self.baseline.iter().map(|(from, b)| {
            let part = dot(b, &template[*from..*from + b.len()]);
            part * part
        });
        let square = before - parts.sum::<f64>();
        (square > SHARE_OF_A_LOST_TEMPLATE * before).then(|| product * product / square)
    }
    fn squares(&self) -> f64 {
        dot(&self.signal, &self.signal)
    }
}

#[inline(always)]
fn dot(a: &[f64], b: &[f64]) -> f64 {
    // Separate partial sums, so that several products are computed at once.
    let (ours, theirs) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest = ours.remainder().iter().zip(theirs.remainder());
    let mut sums = [0.0; LANES];
    for (x, y) in ours.zip(theirs) {
        for ((sum, x), y) in sums.iter_mut().zip(x).zip(y) {
            *sum += x * y;
        }
    }
    sums.iter().sum::<f64>() + rest.map(|(x, y)| x * y).sum::<f64>()
}
/// Twice the number of sums that usual processors compute at once, since each addition waits for
/// the one before.
const LANES: usize = 8;
fn subtract(a: &mut [f64], factor: f64, b: &[f64]) {
    for (x, y) in a.iter_mut().zip(b) {
        *x -= factor * y;
    }
}

/// The best trial so far.
struct Best {
    gain: f64,
    azimuth: f64,
    elevation: f64,
    stretch: f64,
}

impl Best {
    fn none() -> Best {
        Best {
            gain: 0.0,
            azimuth: 0.0,
            elevation: 0.0,
            stretch: 1.0,
        }
    }
    /// Standard deviation of one row.
    fn noise(&self, cleared: &Cleared) -> f64 {
        // Position, width and height were fitted too.
        let freedom = (cleared.freedom - 3.0).max(1.0);
        ((cleared.squares() - self.gain).max(0.0) / freedom).sqrt()
    }
    /// Height over its own standard deviation.
    fn significance(&self, cleared: &Cleared) -> f64 {
        let noise = self.noise(cleared);
        if self.gain > 0.0 && noise <= 0.0 {
            return f64::INFINITY;
        }
        self.gain.sqrt() / noise.max(f64::MIN_POSITIVE)
    }
    fn found(self, cleared: &Cleared) -> Option<FoundBeam> {
        (self.gain > 0.0 && cleared.freedom >= 4.0).then(|| FoundBeam {
            azimuth: self.azimuth,
            elevation: self.elevation,
            stretch: self.stretch,
            significance: self.significance(cleared),
            noise: self.noise(cleared),
        })
    }
}

/// Searches the passes along one axis for a beam of `width` radians; `radius` is that of the
/// emitter's disc over the width, `clean` the power without spikes. In the other axis the beam is
/// assumed to pass over the emitter.
pub(crate) fn along(
    points: &[ScanPoint],
    clean: &[f64],
    passes: &[ScanPass],
    axis: ScanAxis,
    width: f64,
    (beam, radius): (&Beam, f64),
) -> Option<FoundBeam> {
    let (mut own, mut signal) = (Vec::new(), Vec::new());
    let mut ranges = Vec::new();
    for pass in passes.iter().filter(|p| p.axis == axis) {
        let from = own.len();
        own.extend_from_slice(&points[pass.from..pass.to]);
        signal.extend_from_slice(&clean[pass.from..pass.to]);
        ranges.push((from, own.len()));
    }
    if own.is_empty() {
        return None;
    }
    let cleared = Cleared::new(&own, &signal, &ranges);
    // One radian of azimuth is less than a radian on the sky.
    let on_sky = |p: &ScanPoint| match axis {
        ScanAxis::Azimuth => p.emitter.cos,
        ScanAxis::Elevation => 1.0,
    };
    let scale = median(own.iter().map(on_sky).collect()) / width;
    let offsets: Vec<f64> = own.iter().map(|p| p.offset(axis)).collect();
    let low = offsets.iter().copied().fold(f64::INFINITY, f64::min);
    let high = offsets.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut best = Best::none();
    let mut template = vec![0.0; own.len()];
    let outside = PLACES_OUTSIDE / scale;
    let (mut from, mut to) = (low - outside, high + outside);
    for stretch in WIDTHS_TRIED {
        let (by, radius) = (scale / stretch, radius / stretch);
        let step = STEP_BETWEEN_PLACES / by;
        let steps = ((to - from) / step).ceil().min(MOST_PLACES_OF_A_CUT) as usize;
        let place = |k: usize| from + k as f64 * step;
        let mut gain_at = |k: usize| {
            along_gain(
                &cleared,
                &mut template,
                &offsets,
                place(k),
                beam,
                (by, radius),
            )
        };
        let mut gains = vec![0.0; steps + 1];
        (0..=steps).step_by(2).for_each(|k| gains[k] = gain_at(k));
        let enough = SHARE_BESIDE_A_BEAM * gains.iter().copied().fold(best.gain, f64::max);
        for k in (1..=steps).step_by(2) {
            let behind = gains.get(k + 1).copied().unwrap_or(0.0);
            if gains[k - 1].max(behind) >= enough {
                gains[k] = gain_at(k);
            }
        }
        for (k, gain) in gains.into_iter().enumerate() {
            if gain <= best.gain {
                continue;
            }
            let place = place(k);
            let (azimuth, elevation) = match axis {
                ScanAxis::Azimuth => (place, 0.0),
                ScanAxis::Elevation => (0.0, place),
            };
            best = Best {
                gain,
                azimuth,
                elevation,
                stretch,
            };
        }
        if stretch == 1.0 && best.significance(&cleared) > SIGMAS_OF_AN_OBVIOUS_BEAM {
            // The beam is found; other widths are tried only near its position.
            let place = match axis {
                ScanAxis::Azimuth => best.azimuth,
                ScanAxis::Elevation => best.elevation,
            };
            let near = NEAR_AN_OBVIOUS_BEAM / scale;
            (from, to) = (from.max(place - near), to.min(place + near));
        }
    }
    best.found(&cleared)
}

/// The gain of a beam at a position along a cut, with `by` widths per radian; zero if there is
/// none.
#[multiversion(targets("x86_64+avx2+fma"))]
fn along_gain(
    cleared: &Cleared,
    template: &mut [f64],
    offsets: &[f64],
    place: f64,
    beam: &Beam,
    (by, radius): (f64, f64),
) -> f64 {
    for (t, offset) in template.iter_mut().zip(offsets) {
        *t = beam.rough((offset - place) * by, radius);
    }
    cleared.squares_explained(template).unwrap_or(0.0)
}

/// Searches an area for a beam of `width` radians, with a plane in time as the baseline.
pub(crate) fn over(
    points: &[ScanPoint],
    width: f64,
    (beam, radius): (&Beam, f64),
) -> Option<FoundBeam> {
    // This only finds a start, for which a few hundred points are enough.
    let together = points.len() / MOST_POINTS_TO_START_A_MAP + 1;
    let own: Vec<ScanPoint> = points.chunks(together).map(mean).collect();
    let ranges = [(0, own.len())];
    let cleared = Cleared::new(&own, &without_spikes(&own, &ranges), &ranges);
    let cos = median(own.iter().map(|p| p.emitter.cos).collect());
    let place = |axis| -> Vec<f64> { own.iter().map(|p| p.offset(axis)).collect() };
    let (azimuths, elevations) = (place(ScanAxis::Azimuth), place(ScanAxis::Elevation));
    let span = |values: &[f64]| {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (low, high)
    };
    let (west, east) = span(&azimuths);
    let (low, high) = span(&elevations);
    let mut best = Best::none();
    let mut template = vec![0.0; own.len()];
    for stretch in WIDTHS_TRIED_IN_A_MAP {
        // If the beam is obvious the fit finds the width by itself.
        if best.significance(&cleared) > SIGMAS_OF_AN_OBVIOUS_BEAM {
            break;
        }
        let step = STEP_BETWEEN_PLACES_OF_A_MAP * stretch * width;
        let columns = ((east - west) * cos / step)
            .ceil()
            .min(MOST_PLACES_ALONG_A_MAP) as usize;
        let rows = ((high - low) / step).ceil().min(MOST_PLACES_ALONG_A_MAP) as usize;
        for column in 0..=columns {
            let azimuth = west + (east - west) * column as f64 / columns.max(1) as f64;
            for row in 0..=rows {
                let elevation = low + (high - low) * row as f64 / rows.max(1) as f64;
                for (i, t) in template.iter_mut().enumerate() {
                    let x = (azimuths[i] - azimuth) * own[i].emitter.cos;
                    let y = elevations[i] - elevation;
                    let square = (x * x + y * y) / (width * stretch).powi(2);
                    *t = beam.rough(square.sqrt(), radius / stretch);
                }
                if let Some(gain) = cleared.squares_explained(&mut template)
                    && gain > best.gain
                {
                    best = Best {
                        gain,
                        azimuth,
                        elevation,
                        stretch,
                    };
                }
            }
        }
    }
    best.found(&cleared)
}

/// Neighbours on each side used to judge a spike, as in Hampel's filter: their median survives
/// three spikes.
const NEIGHBOURS: usize = 3;
/// A spike differs by this many robust standard deviations of such differences: more than the usual
/// three of Hampel's filter, since the beam itself causes differences. Common practice, no source.
const SPIKE: f64 = 6.0;

/// The power with isolated outliers replaced by the level of their neighbours (Hampel's filter),
/// used only to find a start.
pub(crate) fn without_spikes(points: &[ScanPoint], ranges: &[(usize, usize)]) -> Vec<f64> {
    let mut power: Vec<f64> = points.iter().map(|p| p.power).collect();
    for (from, to) in ranges {
        let own: Vec<f64> = power[*from..*to].to_vec();
        if own.len() < 2 * NEIGHBOURS + 1 {
            continue;
        }
        let around: Vec<f64> = (0..own.len())
            .map(|i| {
                let near = &own[i.saturating_sub(NEIGHBOURS)..(i + NEIGHBOURS + 1).min(own.len())];
                let mut sorted = [0.0; 2 * NEIGHBOURS + 1];
                let sorted = &mut sorted[..near.len()];
                sorted.copy_from_slice(near);
                sorted.sort_unstable_by(f64::total_cmp);
                sorted[near.len() / 2]
            })
            .collect();
        let away = own.iter().zip(&around).map(|(p, m)| (p - m).abs());
        let limit = SPIKE * SIGMA_OF_MEDIAN * median(away.collect());
        for (i, value) in power[*from..*to].iter_mut().enumerate() {
            if (*value - around[i]).abs() > limit {
                *value = around[i];
            }
        }
    }
    power
}
