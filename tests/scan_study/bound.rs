//! The Cramér-Rao bound of a scan's peak, worked out apart from the code that is studied.
//!
//! For Gaussian noise of known size the covariance of any unbiased estimate is at least the
//! inverse of J' W J, with the derivatives J of the signal with respect to all that is unknown
//! and W one over the variance of each sample (Rao 1945, Cramér 1946; any textbook). Unknown
//! are here: the place along each axis, the beam's width, the height of each pass, and a
//! baseline of level and slope under each pass; in a raster one height, the ellipse of the beam,
//! and a baseline with one level, a slope in time and one along the rows.

use std::f64::consts::PI;

use nalgebra::{DMatrix, DVector};
use plumbeam::angle::Angle;
use plumbeam::scan::NoiseLaw;
use plumbeam::simulate::Way;

use super::{Made, StationAndSky};

/// Where (2 J1(u) / u)^2 is one half.
const HALF_POWER: f64 = 1.616_339_948;

/// J1 by Bessel's integral; the midpoint rule is exact to rounding for such arguments.
fn j1(u: f64) -> f64 {
    const STEPS: usize = 20;
    let term = |k: usize| {
        let t = PI * (k as f64 + 0.5) / STEPS as f64;
        (t - u * t.sin()).cos()
    };
    (0..STEPS).map(term).sum::<f64>() / STEPS as f64
}

/// Power of a uniformly lit round dish at so many half-power widths from the middle.
fn pattern(distance: f64) -> f64 {
    let u = 2.0 * HALF_POWER * distance;
    if u < 1e-6 {
        return 1.0;
    }
    (2.0 * j1(u) / u).powi(2)
}

/// One sample: offsets in beamwidths from the peak, its time and its pass.
struct Seen {
    x: f64,
    y: f64,
    seconds: f64,
    pass: usize,
}

/// The bound for azimuth (on the sky) and elevation in degrees, for the axes that the scan
/// measures.
pub fn bound(truth: &Made, place: &StationAndSky) -> [Option<f64>; 2] {
    let (plan, signal) = (&truth.plan, &truth.signal);
    let raster = matches!(plan.way, Way::Raster { .. });
    let seen = seen(truth, place);
    let passes = seen.last().map_or(0, |s| s.pass) + 1;
    let measured = match plan.way {
        Way::Cut(axis) => [
            axis == plumbeam::scan::ScanAxis::Azimuth,
            axis == plumbeam::scan::ScanAxis::Elevation,
        ],
        _ => [true, true],
    };
    // Azimuth, elevation, width, two of the ellipse, heights and baselines behind them.
    let heights = if raster { 1 } else { passes };
    let response = |p: &[f64; 5], s: &Seen| {
        let (x, y) = (s.x - p[0], s.y - p[1]);
        let (wide, slant) = (p[3].exp(), p[4]);
        let square = x * x / (wide * wide) + y * y * wide * wide + 2.0 * slant * x * y;
        pattern(square.max(0.0).sqrt() / p[2].exp())
    };
    let still = [0.0; 5];
    let free: Vec<usize> = (0..5)
        .filter(|j| match j {
            0 | 1 => measured[*j],
            2 => true,
            _ => raster,
        })
        .collect();
    let rows: Vec<Vec<f64>> = seen
        .iter()
        .map(|s| {
            const STEP: f64 = 1e-4;
            let at = response(&still, s);
            let mut row: Vec<f64> = free
                .iter()
                .map(|j| {
                    let (mut up, mut down) = (still, still);
                    up[*j] += STEP;
                    down[*j] -= STEP;
                    (response(&up, s) - response(&down, s)) / (2.0 * STEP)
                })
                .collect();
            row.extend((0..heights).map(|h| if raster || h == s.pass { at } else { 0.0 }));
            if raster {
                row.extend([1.0, s.seconds, s.x]);
            } else {
                for pass in 0..passes {
                    let own = if pass == s.pass { 1.0 } else { 0.0 };
                    row.extend([own, own * s.seconds]);
                }
            }
            let power = signal.baseline + at;
            let noise = match signal.noise {
                NoiseLaw::Steady => 1.0,
                NoiseLaw::Radiometer => power / (1.0 + signal.baseline),
            } / signal.signal_to_noise;
            row.iter_mut().for_each(|v| *v /= noise);
            row
        })
        .collect();
    let m = rows.first().map_or(0, Vec::len);
    let mut information = DMatrix::<f64>::zeros(m, m);
    for row in &rows {
        let row = DVector::from_column_slice(row);
        information += &row * row.transpose();
    }
    let covariance = information.try_inverse();
    let beam = place.station.dish.beamwidth.degrees();
    [0, 1].map(|axis| {
        let j = free.iter().position(|k| *k == axis)?;
        Some(beam * covariance.as_ref()?[(j, j)].sqrt())
    })
}

fn seen(truth: &Made, place: &StationAndSky) -> Vec<Seen> {
    let made = &truth.made;
    let samples = &made.scan.samples;
    let (first, last) = (samples[0].time, samples[samples.len() - 1].time);
    let id = place.sky.emitter(&made.scan.emitter).expect("an emitter");
    let track = place.sky.track_of(id, first, last);
    let beam = place.station.dish.beamwidth;
    let wound = |a: Angle| (a.radians() + PI).rem_euclid(2.0 * PI) - PI;
    samples
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let emitter = track.apparent(s.time).expect("a place");
            let moved = wound(emitter.azimuth() - made.apparent.azimuth());
            let x = wound(s.azimuth - made.peak.azimuth) - moved;
            let y = (s.elevation - made.peak.elevation)
                - (emitter.elevation() - made.apparent.elevation());
            Seen {
                x: x * emitter.elevation().cos() / beam.radians(),
                y: y.radians() / beam.radians(),
                seconds: s.time.seconds_since(first) / last.seconds_since(first) - 0.5,
                pass: i / truth.plan.samples,
            }
        })
        .collect()
}
