//! The statistical study behind docs/scans.md, on made-up nights of scans.
//!
//! `cargo bench --bench scan_study -- --scans 4000` prints the tables of that page.

#![allow(clippy::print_stdout)] // a study prints its tables

#[path = "../tests/scan_study/mod.rs"]
mod scan_study;

use plumbeam::scan::{NoiseLaw, ReduceOptions};
use plumbeam::simulate::{ScanPlan, Signal, Way};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use scan_study::{
    Kind, Lags, StationAndSky, Tally, kinds, lags, mount, moving, night, statistics, tally,
};

/// Scans in a made-up night.
const NIGHT: usize = 40;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if arguments.iter().any(|a| a == "--test") {
        return;
    }
    let scans: usize = (arguments.iter().position(|a| a == "--scans"))
        .and_then(|i| arguments.get(i + 1)?.parse().ok())
        .unwrap_or(2000);
    let place = StationAndSky::new(1.8);
    let nights = scans.div_ceil(NIGHT) as u64;
    let why = arguments.iter().any(|a| a == "--why");
    let only = (arguments.iter().position(|a| a == "--only")).and_then(|i| arguments.get(i + 1));

    println!("## Scatter and intervals, {scans} good scans a row, signal to noise 10 to 100\n");
    println!(
        "| scans | axes | rms error over Cramér-Rao bound | within 95 % | rms error over sigma | worst |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    type Make = fn(&mut ChaCha8Rng) -> (ScanPlan, Signal);
    let rows: [(&str, Make); 6] = [
        ("all shapes, steady noise", statistics::any),
        ("all shapes, radiometer noise", |rng| {
            let (plan, signal) = statistics::any(rng);
            let noise = NoiseLaw::Radiometer;
            (plan, Signal { noise, ..signal })
        }),
        ("cuts along azimuth", |rng| {
            statistics::of(rng, |w| {
                matches!(w, Way::Cut(plumbeam::scan::ScanAxis::Azimuth))
            })
        }),
        ("cuts along elevation", |rng| {
            statistics::of(rng, |w| {
                matches!(w, Way::Cut(plumbeam::scan::ScanAxis::Elevation))
            })
        }),
        ("crosses", |rng| {
            statistics::of(rng, |w| matches!(w, Way::Cross))
        }),
        ("rasters of nine rows", |rng| {
            statistics::of(rng, |w| matches!(w, Way::Raster { .. }))
        }),
    ];
    for (name, make) in rows.into_iter().filter(|_| only.is_none()) {
        let sum = nights_of(nights, 7000, &place, |_, rng| make(rng));
        println!(
            "| {name} | {} | {:.3} | {:.1} % | {:.2} | {:.1} |",
            sum.axes,
            sum.over_bound(),
            100.0 * sum.coverage(),
            sum.over_sigma(),
            sum.worst
        );
    }

    println!("\n## Kinds of scans, one scan in five of a night of this kind, the others good\n");
    println!(
        "| kind | good | poor | refused | judged as it should be | within 95 % | rms error over sigma | worst | good ones of the night blamed |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    for kind in kinds()
        .iter()
        .filter(|k| only.is_none_or(|o| k.name.contains(o.as_str())))
    {
        row(kind, nights.div_ceil(2), &place, why);
    }

    println!("\n## Emitters that move or are wide\n");
    println!("| scans | good | poor | refused | within 95 % | rms error over sigma | worst |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    type Hard = fn(u64, usize) -> Tally;
    let hard: [(&str, Hard); 2] = [
        (
            "the Sun and the Moon, 0.53 deg wide, in a beam of 0.62 deg",
            moving::discs,
        ),
        ("low satellites, followed", moving::followed),
    ];
    for (name, make) in hard {
        let sum = (0..nights.div_ceil(4))
            .into_par_iter()
            .map(|seed| make(seed, NIGHT))
            .reduce(Tally::default, Tally::merge);
        println!(
            "| {name} | {} | {} | {} | {:.1} % | {:.2} | {:.1} |",
            sum.good,
            sum.poor,
            sum.refused,
            100.0 * sum.coverage(),
            sum.over_sigma(),
            sum.worst
        );
        if why {
            for why in sum.whys.iter().chain(&sum.far).take(6) {
                println!("    {why}");
            }
        }
    }

    println!(
        "\n## Lag and backlash, nights of 32 cuts both ways at two speeds, signal to noise 40\n"
    );
    let sum: Lags = (0..nights)
        .into_par_iter()
        .map(|seed| lags(seed, &place))
        .reduce(Lags::default, Lags::merge);
    println!("| what | told | within 95 % | rms error over sigma | worst |");
    println!("| --- | --- | --- | --- | --- |");
    for (name, z) in [("lag", &sum.lag), ("backlash", &sum.backlash)] {
        println!(
            "| {name} | {} of {} | {:.1} % | {:.2} | {:.1} |",
            z.len(),
            2 * nights,
            100.0 * z.iter().filter(|z| z.abs() < 1.96).count() as f64 / z.len() as f64,
            (z.iter().map(|z| z * z).sum::<f64>() / z.len() as f64).sqrt(),
            z.iter().fold(0.0f64, |m, z| m.max(z.abs()))
        );
    }
    let peaks = &sum.peaks;
    println!(
        "| peaks, freed of both | {} | {:.1} % | {:.2} | {:.1} |",
        peaks.axes,
        100.0 * peaks.coverage(),
        peaks.over_sigma(),
        peaks.worst
    );
}

fn nights_of(
    nights: u64,
    first: u64,
    place: &StationAndSky,
    plan: impl Fn(usize, &mut ChaCha8Rng) -> (ScanPlan, Signal) + Sync,
) -> Tally {
    (first..first + nights)
        .into_par_iter()
        .map(|seed| {
            let made = night(seed, NIGHT, place, mount(1000 + seed), &plan);
            tally(&made, place, &ReduceOptions::default()).0
        })
        .reduce(Tally::default, Tally::merge)
}

/// Nights of which every fifth scan is of a kind.
fn row(kind: &Kind, nights: u64, place: &StationAndSky, show_why: bool) {
    let (own, others, well, wrong) = (0..nights)
        .into_par_iter()
        .map(|seed| scan_study::mixed(kind, 300 + seed, NIGHT, place))
        .reduce(
            || (Tally::default(), Tally::default(), 0, Vec::new()),
            |a, b| {
                let wrong = [a.3, b.3].concat();
                (a.0.merge(b.0), a.1.merge(b.1), a.2 + b.2, wrong)
            },
        );
    println!(
        "| {} | {} | {} | {} | {:.1} % | {:.1} % | {:.2} | {:.1} | {} of {} |",
        kind.name,
        own.good,
        own.poor,
        own.refused,
        100.0 * well as f64 / own.scans() as f64,
        100.0 * own.coverage(),
        own.over_sigma(),
        own.worst,
        others.poor + others.refused,
        others.scans()
    );
    if show_why {
        for why in wrong.iter().take(6) {
            println!("    wrong: {why}");
        }
        for far in own.far.iter().take(12) {
            println!("    far: {far}");
        }
        for why in others.whys.iter().take(4) {
            println!("    blamed: {why}");
        }
    }
}
