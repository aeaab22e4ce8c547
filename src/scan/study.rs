//! Seeded studies of made-up nights: is the scatter as small as it can be, are the
//! uncertainties honest, are spoilt scans named and good ones left in peace?

#![allow(clippy::print_stdout)] // a study prints its table; it runs in tests only

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::*;
use crate::fit::LeastSquares;
use crate::logbook::Scan;
use crate::mount::{MountModel, Term, TermValues};
use crate::simulate::{MadeUp, ScanPlan, Signal, Way, made_up};
use crate::sky::Sky;
use crate::station::Station;
use crate::time::Utc;

/// An invented station with marks all over the sky, and the Sun.
pub(super) fn station(diameter_m: f64) -> Station {
    let mut text = format!(
        "
[site]
name = \"invented\"
latitude_deg = 48.0
longitude_deg = 11.0
height_m = 500.0
[mount]
kind = \"az-el\"
azimuth_range_deg = [-180.0, 540.0]
elevation_range_deg = [-10.0, 100.0]
[dish]
diameter_m = {diameter_m}
frequency_mhz = 1700.0
[[emitter]]
name = \"sun\"
kind = \"sun\"
"
    );
    for k in 0..16 {
        let (azimuth, elevation) = (k as f64 * 137.5 % 360.0, 18.0 + (k as f64 * 17.3) % 50.0);
        text.push_str(&format!(
            "[[emitter]]\nname = \"mark-{k}\"\nkind = \"mark\"\nazimuth_deg = {azimuth}\nelevation_deg = {elevation}\n"
        ));
    }
    Station::parse("station.toml", std::path::Path::new("."), text.as_bytes()).unwrap()
}

/// A mount with the usual faults.
pub(super) fn mount(rng: &mut ChaCha8Rng) -> MountModel {
    let mut normal = |sigma: f64| -> f64 {
        let deviate: f64 = StandardNormal.sample(rng);
        sigma * deviate
    };
    let mut terms = TermValues::ZERO;
    for (term, sigma) in [
        (Term::AzimuthZero, 3.0),
        (Term::ElevationZero, 0.6),
        (Term::TiltNorth, 0.4),
        (Term::TiltEast, 0.4),
        (Term::Collimation, 0.4),
    ] {
        terms.set_shown(term, normal(sigma));
    }
    MountModel::new(terms)
}

/// A night of scans made up one by one.
pub(super) fn night(
    seed: u64,
    scans: usize,
    station: &Station,
    sky: &Sky,
    model: &MountModel,
    mut plan: impl FnMut(usize, &mut ChaCha8Rng) -> (ScanPlan, Signal),
) -> Vec<(ScanPlan, Signal, MadeUp)> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let evening = Utc::parse("2026-06-10T08:00:00Z").unwrap();
    (0..scans)
        .map(|i| {
            let (mut plan, signal) = plan(i, &mut rng);
            plan.name = (i + 1).to_string();
            plan.start = evening.plus_seconds(240.0 * i as f64 % 28_000.0);
            let made = made_up(&plan, &signal, station, sky, model, &mut rng).unwrap();
            (plan, signal, made)
        })
        .collect()
}

/// Any emitter, the Sun often.
pub(super) fn emitter(rng: &mut ChaCha8Rng) -> String {
    match rng.random_range(0..20) {
        k if k < 16 => format!("mark-{k}"),
        _ => "sun".to_owned(),
    }
}

/// Uniform within a quarter beamwidth.
pub(super) fn off_centre(rng: &mut ChaCha8Rng) -> (f64, f64) {
    (rng.random_range(-0.25..0.25), rng.random_range(-0.25..0.25))
}

/// The Cramér-Rao bound of both axes, degrees on the sky: from the derivatives of the model
/// that is fitted, at the truth, with the true noise.
pub(super) fn bound(
    scan: &Scan,
    made: &MadeUp,
    signal: &Signal,
    station: &Station,
    sky: &Sky,
) -> [Option<f64>; 2] {
    let id = sky.emitter(&scan.emitter).unwrap();
    let (first, last) = (
        scan.samples[0].time,
        scan.samples[scan.samples.len() - 1].time,
    );
    let track = sky.track_of(id, first, last);
    let points = point::Points::of(scan, &track).unwrap();
    let expected = setup::Expected {
        width: station.dish.beamwidth.radians(),
        disc: signal.disc_radius_deg.to_radians(),
    };
    let (shape, passes) = passes::passes(&points, expected.width);
    let (kept, passes) = thin::thinned(&points.points, &passes, expected.width);
    let groups = setup::Groups::of(shape, &passes);
    let truth = (
        made.peak.azimuth.radians() - made.apparent.azimuth().radians(),
        made.peak.elevation.radians() - made.apparent.elevation().radians(),
    );
    let mut model = setup::model(
        &kept,
        shape,
        &passes,
        &groups,
        &expected,
        &points.emitter,
        truth,
    );
    let layout = model.layout();
    let mut p = vec![0.0; layout.count];
    p[layout.heights..layout.baseline].fill(1.0);
    let powers: Vec<f64> = (0..kept.len())
        .map(|i| signal.baseline + model.at(i, &p, &layout).response)
        .collect();
    model.noise = powers
        .iter()
        .zip(&kept)
        .map(|(power, point)| {
            let law = match signal.noise {
                NoiseLaw::Steady => 1.0,
                NoiseLaw::Radiometer => power / (1.0 + signal.baseline),
            };
            law / signal.signal_to_noise.max(1.0) / point.rows.sqrt()
        })
        .collect();
    let triangle = LeastSquares::new(&model, 1).reduce(&p).unwrap();
    let r = triangle.r();
    let Some(covariance) = (r.tr_mul(r)).try_inverse() else {
        return [None; 2];
    };
    let mean = |from: usize, to: usize| {
        let n = (to - from) as f64;
        let block = covariance.view((from, from), (to - from, to - from));
        (to > from).then(|| station.dish.beamwidth.degrees() * (block.sum() / (n * n)).sqrt())
    };
    [
        mean(layout.azimuth, layout.elevation),
        mean(layout.elevation, layout.width),
    ]
}

/// What many peaks show.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    pub axes: usize,
    pub within_95: usize,
    /// Sum of squares of errors over the Cramér-Rao bound.
    pub over_bound: f64,
    /// Sum of squares of errors over sigma.
    pub over_sigma: f64,
    pub worst: f64,
    pub good: usize,
    pub poor: usize,
    pub refused: usize,
    pub whys: Vec<String>,
}

impl Tally {
    pub fn coverage(&self) -> f64 {
        self.within_95 as f64 / self.axes as f64
    }
    pub fn efficiency(&self) -> f64 {
        (self.over_bound / self.axes as f64).sqrt()
    }
    pub fn scaled(&self) -> f64 {
        (self.over_sigma / self.axes as f64).sqrt()
    }
    /// Adds a night.
    pub fn add(
        &mut self,
        night: &[(ScanPlan, Signal, MadeUp)],
        station: &Station,
        sky: &Sky,
        options: &Options,
    ) -> Reduction {
        let scans: Vec<Scan> = night.iter().map(|n| n.2.scan.clone()).collect();
        let reduction = reduce_scans(&scans, station, sky, options);
        if std::env::var("SHOW").is_ok() {
            println!(
                "   night: {:?} {:?}",
                reduction.azimuth, reduction.elevation
            );
        }
        for (scan, one) in reduction.scans.iter().zip(night) {
            self.take(scan, one, station, sky);
        }
        reduction
    }

    /// Adds a scan.
    pub fn take(
        &mut self,
        scan: &ReducedScan,
        (_, signal, made): &(ScanPlan, Signal, MadeUp),
        station: &Station,
        sky: &Sky,
    ) {
        {
            match scan.verdict {
                Verdict::Good => self.good += 1,
                Verdict::Poor => self.poor += 1,
                Verdict::Refused => self.refused += 1,
            }
            if scan.verdict != Verdict::Good {
                self.whys.push(scan.why());
            }
            let bounds = bound(&made.scan, made, signal, station, sky);
            let cos = made.apparent.elevation().cos();
            let errors = [
                (scan.azimuth, made.peak.azimuth, cos, bounds[0]),
                (scan.elevation, made.peak.elevation, 1.0, bounds[1]),
            ];
            for (found, truth, on_sky, bound) in errors {
                let (Some(found), Some(bound)) = (found, bound) else {
                    continue;
                };
                let error = (found.reading - truth).degrees() * on_sky;
                let z = error / found.sigma.degrees();
                self.axes += 1;
                self.within_95 += usize::from(z.abs() < 1.96);
                self.over_bound += (error / bound).powi(2);
                self.over_sigma += z * z;
                if z.abs() > 6.0 && std::env::var("SHOW").is_ok() {
                    println!(
                        "  z {z:.1} error {error:.4} sigma {:.4} {:?} {:?} el {:.1} width {:?} {} {}",
                        found.sigma.degrees(),
                        scan.shape,
                        scan.verdict,
                        made.apparent.elevation().degrees(),
                        scan.width,
                        scan.emitter,
                        scan.why()
                    );
                }
                self.worst = self.worst.max(z.abs());
            }
        }
    }
}

fn run(
    name: &str,
    nights: u64,
    scans: usize,
    plan: impl Fn(&mut ChaCha8Rng) -> (ScanPlan, Signal),
) -> Tally {
    let station = station(1.8);
    let sky = Sky::new(&station).unwrap();
    let mut tally = Tally::default();
    for seed in 7000..7000 + nights {
        let mut rng = ChaCha8Rng::seed_from_u64(1000 + seed);
        let model = mount(&mut rng);
        let night = night(seed, scans, &station, &sky, &model, |_, rng| plan(rng));
        tally.add(&night, &station, &sky, &Options::default());
    }
    println!(
        "{name}: axes {} coverage {:.4} scatter/bound {:.3} rms z {:.3} worst {:.2}; good {} poor {} refused {} {:?}",
        tally.axes,
        tally.coverage(),
        tally.efficiency(),
        tally.scaled(),
        tally.worst,
        tally.good,
        tally.poor,
        tally.refused,
        &tally.whys[..tally.whys.len().min(6)]
    );
    tally
}

type Case = Box<dyn Fn(&mut ChaCha8Rng) -> (ScanPlan, Signal)>;

fn way(rng: &mut ChaCha8Rng) -> ScanPlan {
    let plan = ScanPlan {
        emitter: emitter(rng),
        ..ScanPlan::default()
    };
    match rng.random_range(0..4) {
        0 => ScanPlan {
            way: Way::Cut(Axis::Azimuth),
            centre: (rng.random_range(-0.25..0.25), 0.0),
            ..plan
        },
        1 => ScanPlan {
            way: Way::Cut(Axis::Elevation),
            centre: (0.0, rng.random_range(-0.25..0.25)),
            ..plan
        },
        2 => ScanPlan {
            way: Way::Raster { rows: 9 },
            samples: 41,
            speed_deg_s: 1.14,
            centre: off_centre(rng),
            ..plan
        },
        _ => ScanPlan {
            centre: off_centre(rng),
            ..plan
        },
    }
}

fn cases() -> Vec<(&'static str, Case)> {
    let snr = |rng: &mut ChaCha8Rng| 10f64.powf(rng.random_range(0.8..2.0));
    let cut = |rng: &mut ChaCha8Rng, centre: f64| ScanPlan {
        emitter: emitter(rng),
        way: Way::Cut(Axis::Azimuth),
        centre: (centre, 0.0),
        ..ScanPlan::default()
    };
    vec![
        (
            "good",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        ..Signal::default()
                    },
                )
            }) as Case,
        ),
        (
            "spikes",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        spikes: rng.random_range(1..6),
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "half drift",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        drift: 0.5,
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "bend",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        bend: 0.3,
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "drift",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        drift: rng.random_range(1.5..5.0),
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "clipped",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        clipped_at: Some(rng.random_range(0.3..0.8)),
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "flank",
            Box::new(move |rng: &mut ChaCha8Rng| {
                let side = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
                let centre = side * (1.6 + rng.random_range(0.0..0.6));
                (
                    cut(rng, centre),
                    Signal {
                        signal_to_noise: snr(rng),
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "sidelobe",
            Box::new(move |rng: &mut ChaCha8Rng| {
                let side = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
                let plan = ScanPlan {
                    half_length: 0.6,
                    ..cut(rng, side * 1.65)
                };
                (
                    plan,
                    Signal {
                        signal_to_noise: 300.0,
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "nothing",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: 0.0,
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "two half",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        neighbour: Some((0.5, 0.5, 0.8)),
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "two one",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        neighbour: Some((1.0, 1.0, 0.6)),
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "two far",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        neighbour: Some((1.5, 1.5, 0.6)),
                        ..Signal::default()
                    },
                )
            }),
        ),
        (
            "memory",
            Box::new(move |rng: &mut ChaCha8Rng| {
                (
                    way(rng),
                    Signal {
                        signal_to_noise: snr(rng),
                        memory: 0.5,
                        ..Signal::default()
                    },
                )
            }),
        ),
    ]
}

/// Each case on nights of its own, half of whose scans are good ones; and alone.
#[test]
fn look() {
    let station = station(1.8);
    let sky = Sky::new(&station).unwrap();
    for (name, case) in cases() {
        for alone in [false, true] {
            let (mut spoilt, mut clean) = (Tally::default(), Tally::default());
            for seed in 100..110 {
                let mut rng = ChaCha8Rng::seed_from_u64(31 + seed);
                let model = mount(&mut rng);
                let all = night(seed, 40, &station, &sky, &model, |i, rng| {
                    if i % 2 == 0 {
                        case(rng)
                    } else {
                        (way(rng), Signal::default())
                    }
                });
                let scans: Vec<Scan> = all.iter().map(|n| n.2.scan.clone()).collect();
                if alone {
                    for one in all.chunks(1).step_by(2) {
                        spoilt.add(one, &station, &sky, &Options::default());
                    }
                } else {
                    let reduction = reduce_scans(&scans, &station, &sky, &Options::default());
                    for (i, scan) in reduction.scans.iter().enumerate() {
                        let tally = if i % 2 == 0 { &mut spoilt } else { &mut clean };
                        tally.take(scan, &all[i], &station, &sky);
                    }
                }
            }
            let show = |t: &Tally| {
                format!(
                    "good {} poor {} refused {}; axes {} coverage {:.3} rms z {:.2} worst {:.1}",
                    t.good,
                    t.poor,
                    t.refused,
                    t.axes,
                    t.coverage(),
                    t.scaled(),
                    t.worst
                )
            };
            println!(
                "{name} {}: {}",
                if alone { "alone" } else { "night" },
                show(&spoilt)
            );
            if !alone && (clean.poor + clean.refused > 0 || clean.worst > 4.0) {
                println!(
                    "    others {} {:?}",
                    show(&clean),
                    &clean.whys[..clean.whys.len().min(3)]
                );
            }
            let mut whys = spoilt.whys.clone();
            whys.sort();
            whys.dedup();
            if ["good", "spikes", "half drift", "bend"].contains(&name) {
                println!("    {:?}", &whys[..whys.len().min(4)]);
            }
        }
    }
}

#[test]
fn look_at_hard() {
    for (name, diameter) in [("wide", 1.8), ("narrow", 30.0), ("middle", 6.0)] {
        let mut station = station(diameter);
        if let Some(first) = station.emitters.first_mut() {
            first.name = "sun".to_owned();
        }
        for id in [99171u64, 99172, 99173, 99174, 99175] {
            station.emitters.push(crate::station::Emitter {
                name: format!("low-{id}"),
                kind: crate::station::EmitterKind::Satellite {
                    elements: std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
                        .join("tests/data/reference/satellites.tle"),
                    norad_id: id,
                },
            });
        }
        for k in 0..6 {
            station.emitters.push(crate::station::Emitter {
                name: format!("high-{k}"),
                kind: crate::station::EmitterKind::Mark {
                    azimuth: crate::angle::Angle::from_degrees(60.0 * k as f64),
                    elevation: crate::angle::Angle::from_degrees(72.0 + 2.0 * k as f64),
                },
            });
        }
        let sky = Sky::new(&station).unwrap();
        for (case, following) in [
            ("low", true),
            ("low", false),
            ("high", false),
            ("sun", false),
        ] {
            let mut tally = Tally::default();
            for seed in 0..10 {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                let model = mount(&mut rng);
                let mut made = Vec::new();
                let mut t = Utc::parse("2026-03-17T06:00:00Z").unwrap();
                let mut tries = 0;
                while made.len() < 30 && tries < 20000 {
                    tries += 1;
                    t = t.plus_seconds(61.0);
                    let mut plan = way(&mut rng);
                    plan.emitter = match case {
                        "low" => format!("low-{}", 99171 + rng.random_range(0..5)),
                        "high" => format!("high-{}", rng.random_range(0..6)),
                        _ => "sun".to_owned(),
                    };
                    plan.following = following;
                    plan.speed_deg_s =
                        if case == "low" { 2.0 } else { 0.5 } * 1.8 / diameter.min(6.0);
                    plan.start = t;
                    plan.name = (made.len() + 1).to_string();
                    let up = sky
                        .apparent(&plan.emitter, t)
                        .unwrap()
                        .elevation()
                        .degrees();
                    if up < 15.0 {
                        continue;
                    }
                    let disc = if case == "sun" { 0.2666 } else { 0.0 };
                    let signal = Signal {
                        signal_to_noise: 30.0,
                        disc_radius_deg: disc,
                        ..Signal::default()
                    };
                    if let Ok(one) = made_up(&plan, &signal, &station, &sky, &model, &mut rng) {
                        made.push((plan, signal, one));
                    }
                }
                tally.add(&made, &station, &sky, &Options::default());
            }
            let mut whys = tally.whys.clone();
            whys.sort();
            println!(
                "{name} {case} following {following}: axes {} coverage {:.3} z {:.2} worst {:.1} bound {:.2} good {} poor {} refused {} {:?}",
                tally.axes,
                tally.coverage(),
                tally.scaled(),
                tally.worst,
                tally.efficiency(),
                tally.good,
                tally.poor,
                tally.refused,
                whys.iter().step_by(whys.len() / 5 + 1).collect::<Vec<_>>()
            );
        }
    }
}

#[test]
fn look_at_lobes() {
    let station = station(1.8);
    let sky = Sky::new(&station).unwrap();
    for (name, case) in cases()
        .into_iter()
        .filter(|(n, _)| ["sidelobe", "nothing", "flank", "clipped"].contains(n))
    {
        let mut tally = Tally::default();
        for seed in 0..40 {
            let mut rng = ChaCha8Rng::seed_from_u64(31 + seed);
            let model = mount(&mut rng);
            let all = night(seed + 777, 40, &station, &sky, &model, |_, rng| case(rng));
            for one in all.chunks(1) {
                let scans = vec![one[0].2.scan.clone()];
                let reduction = reduce_scans(&scans, &station, &sky, &Options::default());
                let scan = &reduction.scans[0];
                tally.take(scan, &one[0], &station, &sky);
                if scan.verdict == Verdict::Good {
                    println!(
                        "   {name} good: {:?} snr {:?} width {:?} true snr {} clip {:?} centre {:?} {}",
                        scan.shape,
                        scan.signal_to_noise,
                        scan.width
                            .map(|(w, s)| (w / station.dish.beamwidth, s / station.dish.beamwidth)),
                        one[0].1.signal_to_noise,
                        one[0].1.clipped_at,
                        one[0].0.centre,
                        scan.why()
                    );
                }
            }
        }
        println!(
            "{name} good {} poor {} refused {} axes {} coverage {:.3} rms z {:.2} worst {:.2}",
            tally.good,
            tally.poor,
            tally.refused,
            tally.axes,
            tally.coverage(),
            tally.scaled(),
            tally.worst
        );
    }
}
