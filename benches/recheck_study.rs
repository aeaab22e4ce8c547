//! The study behind docs/recheck.md, on made-up mounts: how often a few new peaks are
//! answered rightly.
//!
//! `cargo bench --bench recheck_study -- --mounts 1000` prints the tables of that page; with the
//! environment variable PLUMBEAM_STUDY_LIST every single answer, too.

#![allow(clippy::print_stdout)] // a study prints its tables

#[path = "../tests/study/mod.rs"]
mod study;

use plumbeam::recheck::{ChangeKind, RecheckVerdict};
use plumbeam::solve::Options;
use rayon::prelude::*;
use study::again::{After, Before, Size};
use study::{HEALTHY, session};

const PEAKS: [usize; 4] = [3, 5, 8, 12];
const MOVES: [ChangeKind; 5] = [
    ChangeKind::WholeMount,
    ChangeKind::Lean,
    ChangeKind::AzimuthSlip,
    ChangeKind::ElevationSlip,
    ChangeKind::Dish,
];

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if arguments.iter().any(|a| a == "--test") {
        return;
    }
    let mounts: u64 = (arguments.iter().position(|a| a == "--mounts"))
        .and_then(|i| arguments.get(i + 1)?.parse().ok())
        .unwrap_or(100);
    let befores: Vec<Before> = (0..mounts)
        .into_par_iter()
        .filter_map(|number| Before::of(session(number, HEALTHY), number, &Options::default()))
        .collect();
    println!(
        "{} made-up mounts, {} with an old calibration of fewer than 16 peaks",
        befores.len(),
        befores.iter().filter(|b| few(b)).count()
    );
    let all = |_: &Before| true;
    println!("\n# New peaks where the old ones lay\n");
    let beams = [0.05, 0.15, 0.2, 0.3];
    table(&befores, false, "beams", Size::Beams, &beams, &all);
    let noises = [3.0, 5.0, 8.0, 12.0];
    table(&befores, false, "noises", Size::Noises, &noises, &all);
    println!("The same, old calibrations of fewer than 16 peaks:\n");
    table(&befores, false, "noises", Size::Noises, &[12.0], &few);
    println!("\n# New peaks all over the sky\n");
    table(&befores, true, "beams", Size::Beams, &[0.2, 0.3], &all);
    table(&befores, true, "noises", Size::Noises, &[8.0, 12.0], &all);
}

fn few(before: &Before) -> bool {
    before.session.observations.usable.len() < 16
}

fn table(
    befores: &[Before],
    wide: bool,
    unit: &str,
    size: fn(f64) -> Size,
    sizes: &[f64],
    which: &(dyn Fn(&Before) -> bool + Sync),
) {
    let by_peaks = PEAKS.map(|n| n.to_string()).join(" | ");
    println!(
        "In per cent: moved / cannot tell with so many peaks; rightly named / that or nearly as likely.\n"
    );
    println!("| change | error in {unit} | {by_peaks} | named: {by_peaks} |");
    println!("| {} |", ["---"; 2 + 2 * PEAKS.len()].join(" | "));
    let row = |kind: ChangeKind, amount: f64| {
        let cells = PEAKS.map(|peaks| {
            let after = After {
                kind,
                size: size(amount),
                peaks,
                wide,
            };
            shares(befores, &after, which)
        });
        let column = |i: usize| {
            let cell = |c: [f64; 4]| format!("{:.1} / {:.1}", c[i], c[i + 1]);
            cells.map(cell).join(" | ")
        };
        println!(
            "| {} | {amount} | {} | {} |",
            kind.in_words(plumbeam::mount::Kind::AzEl),
            column(0),
            column(2)
        );
    };
    row(ChangeKind::Unmoved, 0.0);
    for kind in MOVES {
        for amount in sizes {
            row(kind, *amount);
        }
    }
    println!();
}

/// In per cent: called moved, cannot tell, of those that are answered the right kind named, and
/// named or nearly as likely.
fn shares(befores: &[Before], after: &After, which: &(dyn Fn(&Before) -> bool + Sync)) -> [f64; 4] {
    let answers: Vec<_> = befores
        .par_iter()
        .filter(|b| which(b))
        .filter_map(|before| {
            let found = before.again(after).ok()?;
            if std::env::var_os("PLUMBEAM_STUDY_LIST").is_some() {
                list(before, after, &found);
            }
            let named = found.kind == after.kind;
            let near = (found.rivals.iter()).any(|(k, d)| *k == after.kind && *d < 2.0);
            Some((found.verdict, named, named || near))
        })
        .collect();
    let all = answers.len().max(1) as f64;
    let count = |is: &dyn Fn(&(RecheckVerdict, bool, bool)) -> bool| {
        answers.iter().filter(|a| is(a)).count() as f64
    };
    [
        count(&|a| a.0 == RecheckVerdict::Moved),
        count(&|a| matches!(a.0, RecheckVerdict::CannotTell(_))),
        count(&|a| a.1),
        count(&|a| a.2),
    ]
    .map(|n| 100.0 * n / all)
}

fn list(before: &Before, after: &After, found: &plumbeam::recheck::Recheck) {
    println!(
        "{:?} {:?} {} peaks: {:?} p {:.3} chance {:.4} kind {:?} sky {:?} old {} peaks {} terms, noise {:.4} taken {:.4} error {:.3} +- {:.3} beams",
        after.kind,
        after.size,
        after.peaks,
        found.verdict,
        found.probability,
        found.chance,
        found.kind,
        before.session.sky,
        before.session.observations.usable.len(),
        before.session.terms.len(),
        before.session.noise.degrees(),
        before.old.peak_sigma.degrees(),
        found.error / before.session.station.dish.beamwidth,
        found.error_sigma / before.session.station.dish.beamwidth,
    );
}
