//! How long a fit takes: the mount problem and one with its shape, both of seven parameters
//! with two rows an observation, from a zero start. `cargo bench --bench fit`.
//!
//! `benches/baseline/normal_equations.cpp` solves both, on the same invented peaks, by normal
//! equations written by hand.

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use nalgebra::Vector3;
use plumbeam::angle::{Angle, EncoderReading, SkyBasis};
use plumbeam::explain::observe::Sighting;
use plumbeam::explain::{JointProblem, SessionPeak, Shape, ShapeColumn};
use plumbeam::fit::robust::robust_fit;
use plumbeam::fit::{Block, Curve, LeastSquares, Model, Noise, Options, Unevaluable, fit};
use plumbeam::mount::{ApproachSigns, Geometry, MountModel, Term, TermValues};
use plumbeam::time::Utc;
use std::f64::consts::TAU;
use std::hint::black_box;
use std::sync::Arc;

/// Invented peaks all over the sky and a smooth seven-term model with the shape of a
/// pointing model, mildly nonlinear in all terms.
struct Sky {
    peaks: Vec<[f64; 6]>,
}

const NOISE: f64 = 1e-4;

const TRUTH: [f64; 7] = [0.02, -0.01, 0.005, -0.004, 0.003, 0.002, 0.001];

/// Low-discrepancy numbers from 0 to 1 (additive recurrence).
fn fraction(i: usize, step: f64) -> f64 {
    (0.5 + i as f64 * step).fract()
}

/// Azimuth and elevation of peak number `i`, and a rough bell of noise in both axes.
fn place(i: usize) -> ([f64; 2], [f64; 2]) {
    let bell = |a: f64, b: f64| NOISE * 2.4 * (fraction(i, a) + fraction(i, b) - 1.0);
    let azimuth = TAU * fraction(i, 0.754_877_666_246_693);
    let elevation = 0.2 + 1.1 * fraction(i, 0.569_840_290_998_053);
    (
        [azimuth, elevation],
        [
            bell(0.414_213_562, 0.732_050_808),
            bell(0.236_067_977, 0.645_751_311),
        ],
    )
}

impl Sky {
    fn new(observations: usize) -> Sky {
        let peaks = (0..observations)
            .map(|i| {
                let ([azimuth, elevation], noise) = place(i);
                let (sa, ca) = azimuth.sin_cos();
                let (se, ce) = elevation.sin_cos();
                let [cross, up] = modelled((sa, ca), (se, ce), &TRUTH).0;
                [sa, ca, se, ce, cross + noise[0], up + noise[1]]
            })
            .collect();
        Sky { peaks }
    }
}

/// The terms of the mount problem.
const TERMS: [Term; 7] = [
    Term::AzimuthZero,
    Term::ElevationZero,
    Term::TiltNorth,
    Term::TiltEast,
    Term::Collimation,
    Term::AxisSkew,
    Term::Droop,
];

/// Invented peaks of a mount whose terms are [`TRUTH`].
fn peaks(count: usize) -> Vec<SessionPeak> {
    let mut terms = TermValues::ZERO;
    for (term, value) in TERMS.into_iter().zip(TRUTH) {
        terms.set_angle(term, Angle::from_radians(value));
    }
    let model = MountModel::az_el(terms);
    let name: Arc<str> = "invented".into();
    let one = |i: usize| {
        let ([azimuth, elevation], noise) = place(i);
        let reading = EncoderReading {
            azimuth: Angle::from_radians(azimuth),
            elevation: Angle::from_radians(elevation),
        };
        let basis = SkyBasis::at(&model.beam_vector(reading, ApproachSigns::UNKNOWN));
        let target = basis.outward + basis.rightward * noise[0] + basis.upward * noise[1];
        SessionPeak {
            sighting: Sighting {
                azimuth: Some(reading.azimuth),
                elevation: Some(reading.elevation),
                approach: ApproachSigns::UNKNOWN,
                target: target.normalize(),
                target_rate: Vector3::zeros(),
                clock_offset_s: 0.0,
            },
            log: 0,
            feed: 0,
            row: i + 1,
            line: i + 2,
            time: Utc::from_unix_nanos(1_790_000_000_000_000_000),
            emitter_name: name.clone(),
            emitter: 0,
            hours: 0.0,
            day_angle: Angle::ZERO,
            place_sigma: Angle::ZERO,
            by_lag: [Angle::ZERO; 2],
            temperature_c: None,
            along_orbit: Vector3::zeros(),
            bend: Vector3::zeros(),
        }
    };
    (0..count).map(one).collect()
}

/// Cross-elevation and elevation error, and their derivatives.
#[inline]
fn modelled(
    (sa, ca): (f64, f64),
    (se, ce): (f64, f64),
    p: &[f64],
) -> ([f64; 2], [f64; 7], [f64; 7]) {
    let [a0, e0, tn, te, c, s, d] = [p[0], p[1], p[2], p[3], p[4], p[5], p[6]];
    let cross = [ce, 0.0, se * sa, -se * ca, 1.0, -se, 0.0];
    let up = [0.0, 1.0, -ca, -sa, 0.0, 0.0, -ce];
    let sideways = a0 * ce + (tn * sa - te * ca) * se + c - s * se;
    let raised = e0 - tn * ca - te * sa - d * ce;
    // A quadratic part of the size that real rotations have.
    let half = 0.5 * sideways * sideways;
    let mut up_slopes = up;
    for (slope, x) in up_slopes.iter_mut().zip(cross) {
        *slope -= sideways * x;
    }
    let mut cross_slopes = cross;
    for (slope, (x, y)) in cross_slopes.iter_mut().zip(cross.iter().zip(up)) {
        *slope += raised * x + sideways * y;
    }
    (
        [sideways + sideways * raised, raised - half],
        cross_slopes,
        up_slopes,
    )
}

impl Model for Sky {
    fn parameters(&self) -> usize {
        7
    }
    fn observations(&self) -> usize {
        self.peaks.len()
    }
    fn most_rows(&self) -> usize {
        2
    }
    fn evaluate(&self, p: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        let scale = -1.0 / NOISE;
        for i in block.range() {
            let [sa, ca, se, ce, cross, up] = self.peaks[i];
            let (value, mut cross_slopes, mut up_slopes) = modelled((sa, ca), (se, ce), p);
            for (a, b) in cross_slopes.iter_mut().zip(up_slopes.iter_mut()) {
                *a *= scale;
                *b *= scale;
            }
            block.push(i, (cross - value[0]) / NOISE, &cross_slopes);
            block.push(i, (up - value[1]) / NOISE, &up_slopes);
        }
        Ok(())
    }
    fn shared(&self) -> Option<&(dyn Model + Sync)> {
        Some(self)
    }
}

fn mounts(c: &mut Criterion) {
    let columns = TERMS.map(|term| ShapeColumn::term(term, Shape::Always, 1.0));
    for (name, robust) in [("fit", false), ("robust fit", true)] {
        let mut group = c.benchmark_group(format!("{name} of the mount problem"));
        for count in [100, 10_000, 1_000_000] {
            let peaks = peaks(count);
            let sigmas = vec![[Angle::from_radians(NOISE); 2]; count];
            if robust && count > 10_000 {
                continue;
            }
            if robust || count > 10_000 {
                group.sample_size(10);
            }
            group.bench_function(BenchmarkId::from_parameter(count), |b| {
                b.iter(|| {
                    let problem = JointProblem::new(
                        &peaks,
                        &sigmas,
                        &columns,
                        MountModel::ideal(Geometry::AZ_EL),
                    );
                    let (start, options) = ([0.0; 7], Options::default());
                    if robust {
                        black_box(robust_fit(&problem, &start, &options, 1)).is_ok()
                    } else {
                        black_box(fit(&problem, &start, &options)).is_ok()
                    }
                })
            });
        }
        group.finish();
    }
}

fn fits(c: &mut Criterion) {
    let mut group = c.benchmark_group("fit of seven parameters");
    for observations in [100, 10_000, 1_000_000] {
        let sky = Sky::new(observations);
        if observations > 10_000 {
            group.sample_size(10);
        }
        group.bench_with_input(BenchmarkId::from_parameter(observations), &sky, |b, sky| {
            b.iter(|| fit(black_box(sky), &[0.0; 7], &Options::default()))
        });
    }
    group.finish();
    let mut group = c.benchmark_group("robust fit of seven parameters");
    group.sample_size(20);
    for observations in [20, 60, 120, 400, 10_000] {
        let sky = Sky::new(observations);
        group.bench_with_input(BenchmarkId::from_parameter(observations), &sky, |b, sky| {
            b.iter(|| robust_fit(black_box(sky), &[0.0; 7], &Options::default(), 1))
        });
    }
    group.finish();
    let sky = Sky::new(1_000_000);
    let mut group = c.benchmark_group("one pass over 1,000,000");
    group.sample_size(10);
    let problem = LeastSquares::new(&sky, usize::MAX);
    group.bench_function("rows and triangle", |b| {
        b.iter(|| problem.reduce(&[0.01; 7]))
    });
    group.bench_function("sum of squares", |b| {
        b.iter(|| problem.sum_of_squares(&[0.01; 7]))
    });
    group.finish();
}

/// A beam on a sloping level: level, slope, height, centre, width.
fn beam(p: &[f64], x: f64, slope: &mut [f64]) -> f64 {
    let t = (x - p[3]) / p[4];
    let bell = (-0.5 * t * t).exp();
    let pull = p[2] * bell * t / p[4];
    slope.copy_from_slice(&[1.0, x, bell, pull, pull * t]);
    p[0] + p[1] * x + p[2] * bell
}

fn curves(c: &mut Criterion) {
    let mut group = c.benchmark_group("fit of a beam of five parameters");
    for samples in [30, 300, 3000] {
        let x: Vec<f64> = (0..samples)
            .map(|i| -3.0 + 6.0 * i as f64 / samples as f64)
            .collect();
        let noise = |i: usize| 0.05 * ((0.5 + i as f64 * 0.754_877_666).fract() - 0.5);
        let truth = [1.0, 0.05, 2.0, 0.3, 0.8];
        let y: Vec<f64> = (x.iter().enumerate())
            .map(|(i, x)| beam(&truth, *x, &mut [0.0; 5]) + noise(i))
            .collect();
        let curve = Curve::new(&x, &y, 5, beam);
        let options = Options {
            noise: Noise::Scatter,
            ..Options::default()
        };
        group.bench_function(BenchmarkId::from_parameter(samples), |b| {
            b.iter(|| fit(black_box(&curve), &[0.8, 0.0, 1.5, 0.0, 1.0], &options))
        });
    }
    group.finish();
}

criterion_group!(benches, mounts, fits, curves);
criterion_main!(benches);
