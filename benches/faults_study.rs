//! How well the diagnosis is calibrated: false alarms on healthy sessions, detection and right
//! names of single faults by their size. Its tables are those of docs/faults.md.
//!
//! `cargo bench --bench faults_study -- healthy 2000 [tails | coarse | unequal]`,
//! `cargo bench --bench faults_study -- faults 100 [NAME ...]`,
//! `cargo bench --bench faults_study -- pairs 1000`; seeds count from 1. A single session
//! with all that is said of it: `show healthy SEED`, `show NAME SIZE SEED`.

#![allow(clippy::print_stdout)] // a study prints its tables
#![allow(missing_docs)]

#[path = "../tests/support/practice.rs"]
#[allow(dead_code)]
mod practice;

use std::collections::BTreeMap;

use practice::{DatedStation, Design, Scatter, designs, examine, healthy, healthy_with, stations};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with("--"))
        .collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let stations = stations();
    let count =
        |text: Option<&&str>, usual: u64| text.and_then(|t| t.parse::<u64>().ok()).unwrap_or(usual);
    match words.first() {
        Some(&"healthy") => {
            let scatter = match words.get(2) {
                Some(&"tails") => Scatter::HeavyTails,
                Some(&"coarse") => Scatter::Coarse,
                Some(&"unequal") => Scatter::Unequal,
                _ => Scatter::Usual,
            };
            false_alarms(&stations, count(words.get(1), 2000), scatter);
        }
        Some(&"pairs") => pairs(&stations, count(words.get(1), 1000)),
        Some(&"show") => show(&stations, &words[1..]),
        Some(&"faults") => detection(
            &stations,
            count(words.get(1), 100),
            &words[2.min(words.len())..],
        ),
        _ => {
            false_alarms(&stations, 200, Scatter::Usual);
            detection(&stations, 20, &[]);
        }
    }
}

fn false_alarms(stations: &[DatedStation], sessions: u64, scatter: Scatter) {
    let told: Vec<(usize, usize, Vec<String>)> = (1..=sessions)
        .into_par_iter()
        .filter_map(|seed| {
            let made = healthy_with(stations, seed, scatter)?;
            let found = examine(stations, &made)?;
            let lines = found.findings.iter().map(|f| f.one_line()).collect();
            Some((made.log.peaks.len(), seed as usize, lines))
        })
        .collect();
    let bad: Vec<_> = told.iter().filter(|t| !t.2.is_empty()).collect();
    println!(
        "healthy sessions: {} (7 to 400 peaks), accused {} ({:.2} %)",
        told.len(),
        bad.len(),
        100.0 * bad.len() as f64 / told.len().max(1) as f64
    );
    for (low, high) in [(7, 11), (12, 24), (25, 59), (60, 149), (150, 400)] {
        let of = |t: &&(usize, usize, Vec<String>)| (low..=high).contains(&t.0);
        let all = told.iter().filter(of).count();
        let accused = bad.iter().filter(|t| (low..=high).contains(&t.0)).count();
        println!("  {low} to {high} peaks: {all} sessions, {accused} accused");
    }
    for (peaks, seed, lines) in bad {
        println!("  seed {seed}, {peaks} peaks: {}", lines.join(" | "));
    }
}

fn detection(stations: &[DatedStation], sessions: u64, only: &[&str]) {
    println!(
        "| fault | size is | size | found, by its name | its name first, of those in which anything is found | mostly mistaken for |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    for design in designs() {
        if !only.is_empty() && !only.contains(&design.fault.name()) {
            continue;
        }
        for size in design.sizes {
            row(stations, &design, *size, sessions);
        }
    }
}

fn row(stations: &[DatedStation], design: &Design, size: f64, sessions: u64) {
    let told: Vec<Vec<&'static str>> = (1..=sessions)
        .into_par_iter()
        .filter_map(|seed| {
            let made = design.make(stations, size, seed)?;
            let found = examine(stations, &made);
            Some(found.map_or(Vec::new(), |d| {
                d.findings.iter().map(|f| f.fault.name()).collect()
            }))
        })
        .collect();
    let name = design.fault.name();
    let anything = told.iter().filter(|t| !t.is_empty()).count();
    let found = told.iter().filter(|t| t.contains(&name)).count();
    let first = told.iter().filter(|t| t.first() == Some(&name)).count();
    let mut mistaken: BTreeMap<&str, usize> = BTreeMap::new();
    for other in told
        .iter()
        .filter_map(|t| t.first())
        .filter(|f| **f != name)
    {
        *mistaken.entry(other).or_default() += 1;
    }
    let mistaken: Vec<String> = mistaken.iter().map(|(n, c)| format!("{n} {c}")).collect();
    let percent = |part: usize, whole: usize| 100.0 * part as f64 / whole.max(1) as f64;
    println!(
        "| {name} | {} | {size} | {:.0} % of {} | {:.0} % | {} |",
        design.meaning,
        percent(found, told.len()),
        told.len(),
        percent(first, anything),
        mistaken.join(", ")
    );
}

/// Two faults at once, drawn from those of the mount and of single rows, each of the size from which
/// it is promised to be found alone.
fn pairs(stations: &[DatedStation], sessions: u64) {
    let misread = [
        "time-zone",
        "longitude-sign",
        "site-swapped",
        "azimuth-reversed",
        "magnetic-north",
        "columns-exchanged",
        "wrong-unit",
    ];
    let all: Vec<Design> = (designs().into_iter())
        .filter(|d| !misread.contains(&d.fault.name()))
        .collect();
    let told: Vec<([&str; 2], Vec<&str>)> = (1..=sessions)
        .into_par_iter()
        .filter_map(|seed| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let mut draw = || &all[rng.random_range(0..all.len())];
            let (first, second) = (draw(), draw());
            let names = [first.fault.name(), second.fault.name()];
            if names[0] == names[1] {
                return None;
            }
            let other = Some((second, second.promised));
            let made = first.make_with(other, stations, first.promised, seed)?;
            let found = examine(stations, &made).map_or(Vec::new(), |d| {
                d.findings.iter().map(|f| f.fault.name()).collect()
            });
            Some((names, found))
        })
        .collect();
    let percent = |part: usize| 100.0 * part as f64 / told.len().max(1) as f64;
    let named = |count: usize| {
        let of = |(names, found): &&([&str; 2], Vec<&str>)| {
            names.iter().filter(|n| found.contains(n)).count() == count
        };
        told.iter().filter(of).count()
    };
    let more = |(names, found): &&([&str; 2], Vec<&str>)| found.iter().any(|f| !names.contains(f));
    println!(
        "{} sessions with two faults: both named {:.1} %, one of them {:.1} %, none {:.1} %; another \
         named beside them {:.1} %",
        told.len(),
        percent(named(2)),
        percent(named(1)),
        percent(named(0)),
        percent(told.iter().filter(more).count())
    );
    println!("\n| fault | named beside another |\n| --- | --- |");
    let mut by_name: BTreeMap<&str, [usize; 2]> = BTreeMap::new();
    for (names, found) in &told {
        for name in names {
            let counts = by_name.entry(name).or_default();
            counts[0] += usize::from(found.contains(name));
            counts[1] += 1;
        }
    }
    for (name, [found, all]) in by_name {
        println!(
            "| {name} | {:.0} % of {all} |",
            100.0 * found as f64 / all as f64
        );
    }
}

/// One session with everything that is said of it.
fn show(stations: &[DatedStation], words: &[&str]) {
    let number = |k: usize| words.get(k).and_then(|w| w.parse::<f64>().ok());
    let made = match words.first() {
        Some(&"healthy") => healthy(stations, number(1).unwrap_or(1.0) as u64),
        Some(name) => designs()
            .iter()
            .find(|d| d.fault.name() == *name)
            .and_then(|d| {
                d.make(
                    stations,
                    number(1).unwrap_or(1.0),
                    number(2).unwrap_or(1.0) as u64,
                )
            }),
        None => None,
    };
    let Some(made) = made else {
        println!("no such session");
        return;
    };
    println!("{} peaks under sky {}", made.log.peaks.len(), made.place);
    println!(
        "{:?} {:?} {:?}",
        made.truth.terms, made.truth.noise, made.truth.spoil
    );
    match examine(stations, &made) {
        None => println!("cannot be diagnosed"),
        Some(diagnosis) => {
            for finding in &diagnosis.findings {
                println!("{}\n  {}", finding.one_line(), finding.evidence);
                for rival in &finding.rivals {
                    println!(
                        "  or {} {} {}: {}",
                        rival.fault, rival.size, rival.size_unit, rival.tell
                    );
                }
            }
            let fit = &diagnosis.explanation.fit;
            println!(
                "scatter {:.2} of the sigmas ({:?} deg), {} of {} peaks kept, cost {:.1}, parameters {:?}",
                fit.variance.sqrt(),
                fit.sigmas[0].map(|s| (s.degrees() * 1e4).round() / 1e4),
                fit.kept.iter().filter(|k| **k).count(),
                fit.kept.len(),
                fit.cost,
                fit.parameters
                    .iter()
                    .map(|p| (p.to_degrees() * 1e4).round() / 1e4)
                    .collect::<Vec<_>>()
            );
            for note in &diagnosis.notes {
                println!("note: {note}");
            }
        }
    }
    if words.contains(&"csv") {
        println!("{}", made.log.to_csv());
    }
}
