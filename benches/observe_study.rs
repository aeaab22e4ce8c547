//! Practised observations of mounts with random errors: what `docs/observe.md` says of them.
//!
//! `cargo bench --bench observe_study -- 200`

#![allow(clippy::print_stdout)]

#[path = "../tests/live/observe/rig.rs"]
mod rig;

use plumbeam::angle::EncoderReading;
use plumbeam::logbook::{PeakLog, Trust};
use plumbeam::mount::{ApproachSigns, Term};
use plumbeam::observe::Ending;
use plumbeam::simulate::session;
use plumbeam::solve::{Options, calibration, solve};
use plumbeam::time::Utc;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

use rig::{Rig, apart, deg, station, truth};

/// What one observation came to.
struct Result {
    kind: usize,
    signal_to_noise: f64,
    minutes: f64,
    scans: usize,
    ending: String,
    /// Off over the sky, and the bound promised in 95 % of cases; none without a calibration.
    off: Option<(f64, f64, Trust)>,
    /// Fitted terms with how far off each is, in its own standard deviations.
    terms: Vec<(Term, f64)>,
    /// The same of the peaks' two axes.
    peaks: [Vec<f64>; 2],
    /// Peaks by hand, evenly over the sky, until the same is promised.
    by_hand: Option<usize>,
}

/// By hand a peak takes so long (common practice, no source) ...
const MINUTES_BY_HAND: f64 = 5.0;
/// ... and is good to this share of the beam (the same).
const SIGMA_BY_HAND: f64 = 1.0 / 50.0;
/// More nobody does in an evening.
const MOST_BY_HAND: usize = 72;

/// How many peaks by hand, evenly over the sky, promise what the observation was asked for.
fn by_hand(rig: &Rig, seed: u64) -> Option<usize> {
    let mut truth = rig.truth.clone();
    let sigma = rig.station.dish.beamwidth.degrees() * SIGMA_BY_HAND;
    truth.noise.cross_elevation_deg = sigma;
    truth.noise.elevation_deg = sigma;
    truth.noise.logged = true;
    truth.session.peaks = MOST_BY_HAND;
    truth.session.to =
        (truth.session.from).plus_seconds(60.0 * MINUTES_BY_HAND * MOST_BY_HAND as f64);
    truth.session.approach_logged = true;
    let log = session(&rig.station, &rig.sky, &truth, seed).ok()?;
    let now = Utc::parse(rig::START).expect("a time");
    (8..=MOST_BY_HAND).step_by(4).find(|count| {
        let mut part = log.clone();
        part.peaks.truncate(*count);
        let Ok(outcome) = solve(&rig.station, &rig.sky, &part, &Options::default()) else {
            return false;
        };
        let promised = outcome.sky_error.as_ref().map(|e| e.rms_95);
        promised.is_some_and(|promised| promised <= rig.settings.wanted)
            && calibration(&outcome, &rig.station, now).trust == Trust::Good
    })
}

const KINDS: [(&str, f64); 3] = [
    ("station-plain.toml", 5.0),
    ("station-plain.toml", 2.5),
    ("station-narrow.toml", 1.0),
];

fn one(seed: u64, tells: bool) -> Result {
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let kind = (seed % 3) as usize;
    let (file, beamwidth) = KINDS[kind];
    let mut normal = |sigma: f64| -> f64 {
        let deviate: f64 = StandardNormal.sample(&mut rng);
        sigma * deviate
    };
    let mut terms = String::new();
    for (name, sigma) in [
        ("tilt-north", 0.5),
        ("tilt-east", 0.5),
        ("collimation", 0.4),
        ("axis-skew", 0.1),
        ("droop", 0.15),
    ] {
        terms.push_str(&format!("{name} = {}\n", normal(sigma)));
    }
    for (name, most) in [
        ("azimuth-zero", 10.0),
        ("elevation-zero", 10.0),
        ("azimuth-backlash", 0.4),
        ("elevation-backlash", 0.3),
    ] {
        let low = if name.ends_with("zero") { -most } else { 0.0 };
        terms.push_str(&format!("{name} = {}\n", rng.random_range(low..most)));
    }
    if rng.random_bool(0.3) {
        let size = rng.random_range(0.1..0.4);
        terms.push_str(&format!("azimuth-runout-cos = {size}\n"));
    }
    let signal_to_noise = 5f64 * 200f64.powf(rng.random_range(0.0..1.0));
    let more = format!(
        "[scans]\nsignal_to_noise = {signal_to_noise}\nlag_s = {}\n[practice]\nspikes_per_minute = {}\n\
         drift_db_per_hour = {}\nstart_deg = [0.0, 30.0]\n",
        rng.random_range(0.0..0.3),
        rng.random_range(0.0..2.0),
        rng.random_range(-0.5..0.5),
    );
    let more = match kind {
        2 => more.replace("[practice]\n", "[practice]\nspeed_deg_s = 3.0\n"),
        _ => more,
    };
    let mut station = station(file);
    station.dish.beamwidth = deg(beamwidth);
    let mut truth = truth(&terms, &more);
    truth.noise.resolution_deg = if kind == 2 { 0.01 } else { 0.1 };
    let mut rig = Rig::new(station, truth);
    rig.seed = seed;
    rig.settings.for_s = 5400.0;
    let (owner, took, _) = rig.run();
    if tells {
        println!("{terms}{more}");
        for (at, told) in &owner.told {
            println!("{:6.1} {}", at.as_secs_f64(), told.text);
        }
        println!("{}", owner.peaks_csv);
    }
    let ending = match (&owner.ending, &owner.stopped) {
        (Some(Ending::Reached), _) => "reached".to_owned(),
        (Some(Ending::Over(why)), _) => format!("over: {why}"),
        (_, Some((_, cause))) => format!("stopped: {cause}"),
        (other, _) => format!("{other:?}"),
    };
    let mut result = Result {
        kind,
        signal_to_noise,
        minutes: took.as_secs_f64() / 60.0,
        scans: owner.looked.len(),
        ending,
        off: None,
        terms: Vec::new(),
        peaks: [Vec::new(), Vec::new()],
        by_hand: by_hand(&rig, seed),
    };
    let parsed = PeakLog::parse("peaks.csv", owner.peaks_csv.as_bytes(), &rig.station);
    let Ok(log) = parsed else { return result };
    let Ok(outcome) = solve(&rig.station, &rig.sky, &log, &Options::default()) else {
        return result;
    };
    let now = Utc::parse(rig::START).expect("a time");
    let trust = calibration(&outcome, &rig.station, now).trust;
    let real = rig.truth.model(&rig.station.mount.geometry).unwrap();
    let off = apart(&outcome.model, &real).degrees();
    let promised = (outcome.sky_error.as_ref()).map_or(f64::NAN, |e| e.rms_95.degrees());
    result.off = Some((off, promised, trust));
    for estimate in &outcome.terms {
        let Some(sigma) = estimate.shown_sigma() else {
            continue;
        };
        if estimate.term == Term::ClockOffset {
            continue;
        }
        let unit = estimate.term.unit();
        let [sigma, value, real] = [sigma, estimate.shown(), real.terms().shown(estimate.term)]
            .map(|shown| unit.inward(shown));
        let miss = value - real;
        let miss = if estimate.term == Term::AzimuthZero {
            plumbeam::angle::Angle::from_radians(miss)
                .wrapped_signed()
                .radians()
        } else {
            miss
        };
        if tells {
            println!(
                "T {:?} {:+.5} sigma {:.5} off {:+.1}",
                estimate.term,
                value.to_degrees(),
                sigma.to_degrees(),
                miss / sigma
            );
        }
        result.terms.push((estimate.term, miss / sigma));
    }
    for peak in &log.peaks {
        let Ok(id) = rig.sky.emitter_named(&peak.emitter) else {
            continue;
        };
        let Ok(direction) = rig.sky.apparent_of(id, peak.time) else {
            continue;
        };
        let signs = ApproachSigns {
            azimuth: peak.azimuth_approach.sign(),
            elevation: peak.elevation_approach.sign(),
        };
        let (Some(azimuth), Some(elevation)) = (peak.azimuth, peak.elevation) else {
            continue;
        };
        let reading = EncoderReading { azimuth, elevation };
        let beam = real.beam_vector(reading, signs);
        let basis = rig.station.mount.geometry.basis_at(&beam);
        let offset = basis.offset_to(&direction.east_north_up());
        for (i, (off, sigma)) in [
            (offset.cross_elevation, peak.azimuth_sigma),
            (offset.elevation, peak.elevation_sigma),
        ]
        .into_iter()
        .enumerate()
        {
            if tells && let Some(sigma) = sigma {
                println!(
                    "P {} axis {} sign {:+} off {:+.4} sigma {:.4} by lag {:+.4}: {:+.1}",
                    peak.emitter,
                    i + 1,
                    [signs.azimuth, signs.elevation][i],
                    off.degrees(),
                    sigma.degrees(),
                    peak.by_lag[i].map_or(0.0, |a| a.degrees()),
                    off / sigma
                );
            }
            if let Some(sigma) = sigma {
                result.peaks[i].push(off / sigma);
            }
        }
    }
    result
}

/// How many, how many within 1.96, their mean and their rms.
fn of_deviates(all: &[f64]) -> (usize, f64, f64, f64) {
    let n = all.len().max(1) as f64;
    let within = all.iter().filter(|z| z.abs() <= 1.96).count() as f64;
    let mean = all.iter().sum::<f64>() / n;
    let rms = (all.iter().map(|z| z * z).sum::<f64>() / n).sqrt();
    (all.len(), 100.0 * within / n, mean, rms)
}

fn main() {
    let count = std::env::args()
        .filter_map(|a| a.parse::<u64>().ok())
        .next()
        .unwrap_or(60);
    // `-- 23 --tell`: everything that this one tells.
    match std::env::args().any(|a| a == "--tell") {
        true => drop(one(count, true)),
        false => report(count),
    }
}

fn report(count: u64) {
    let results: Vec<Result> = (0..count)
        .into_par_iter()
        .map(|seed| one(seed, false))
        .collect();
    println!(
        "| beam | observations | reached | stopped | over | minutes | scans | within the promised 95 % | 95 % intervals hold | wrong though called good | minutes by hand |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    for (kind, (_, beam)) in KINDS.iter().enumerate() {
        let of: Vec<&Result> = results.iter().filter(|r| r.kind == kind).collect();
        let starts = |words: &str| of.iter().filter(|r| r.ending.starts_with(words)).count();
        let reached: Vec<&&Result> = of.iter().filter(|r| r.ending == "reached").collect();
        let mean = |f: &dyn Fn(&Result) -> f64| {
            reached.iter().map(|r| f(r)).sum::<f64>() / reached.len().max(1) as f64
        };
        let held = (reached.iter())
            .filter(|r| {
                r.off
                    .as_ref()
                    .is_some_and(|(off, promised, _)| off <= promised)
            })
            .count();
        let deviates: Vec<f64> = (reached.iter().flat_map(|r| &r.terms))
            .map(|(_, z)| *z)
            .collect();
        let (all, within, ..) = of_deviates(&deviates);
        let wrong = (of.iter())
            .filter(|r| {
                r.off.as_ref().is_some_and(|(off, promised, trust)| {
                    *trust == Trust::Good && *off > 2.0 * promised
                })
            })
            .count();
        let mut hands: Vec<usize> = of
            .iter()
            .map(|r| r.by_hand.unwrap_or(MOST_BY_HAND + 1))
            .collect();
        hands.sort_unstable();
        let middle = hands.get(hands.len() / 2).copied().unwrap_or(0);
        let hand = match middle > MOST_BY_HAND {
            true => format!("more than {}", MOST_BY_HAND as f64 * MINUTES_BY_HAND),
            false => format!("{}", middle as f64 * MINUTES_BY_HAND),
        };
        println!(
            "| {beam} deg | {} | {} | {} | {} | {:.1} | {:.1} | {:.1} % | {:.1} % of {all} | {wrong} | {hand} |",
            of.len(),
            reached.len(),
            starts("stopped"),
            starts("over"),
            mean(&|r| r.minutes),
            mean(&|r| r.scans as f64),
            100.0 * held as f64 / reached.len().max(1) as f64,
            within,
        );
    }
    println!(
        "\n| term | fitted | 95 % intervals hold | mean | rms |\n| --- | --- | --- | --- | --- |"
    );
    for term in Term::ALL {
        let own: Vec<f64> = (results.iter().flat_map(|r| &r.terms))
            .filter(|(t, _)| *t == term)
            .map(|(_, z)| *z)
            .collect();
        if !own.is_empty() {
            let (n, within, mean, rms) = of_deviates(&own);
            println!(
                "| {} | {n} | {within:.1} % | {mean:+.2} | {rms:.2} |",
                plumbeam::mount::Kind::AzEl.term_name(term)
            );
        }
    }
    for axis in [0, 1] {
        let own: Vec<f64> = results
            .iter()
            .flat_map(|r| &r.peaks[axis])
            .copied()
            .collect();
        let (n, within, mean, rms) = of_deviates(&own);
        println!(
            "| peaks, axis {} | {n} | {within:.1} % | {mean:+.2} | {rms:.2} |",
            axis + 1
        );
        let means: Vec<f64> = results
            .iter()
            .map(|r| &r.peaks[axis])
            .filter(|p| !p.is_empty())
            .map(|p| p.iter().sum::<f64>() / (p.len() as f64).sqrt())
            .collect();
        let (n, within, mean, rms) = of_deviates(&means);
        println!(
            "| their means, axis {} | {n} | {within:.1} % | {mean:+.2} | {rms:.2} |",
            axis + 1
        );
    }
    for (seed, result) in results.iter().enumerate() {
        for (term, z) in &result.terms {
            if z.abs() > 2.6 {
                println!(
                    "{seed}: snr {:.0}, {} {z:+.1} sigma",
                    result.signal_to_noise,
                    plumbeam::mount::Kind::AzEl.term_name(*term)
                );
            }
        }
        if result.ending != "reached" {
            println!(
                "{seed}: beam {}, signal to noise {:.0}: {} after {:.0} minutes and {} scans",
                KINDS[result.kind].1,
                result.signal_to_noise,
                result.ending,
                result.minutes,
                result.scans
            );
        }
    }
}
