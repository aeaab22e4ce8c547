//! The statistical study behind docs/accuracy.md, on made-up sessions.
//!
//! `cargo bench --bench study -- --sessions 2000` prints the tables of that page; with
//! `--peaks N` all sessions have that many peaks, and bad ones are left out of the study;
//! `--kinds` makes the table of the other kinds of mount.

#![allow(clippy::print_stdout)] // a study prints its tables

#[path = "../tests/study/mod.rs"]
mod study;

use plumbeam::mount::Geometry;
use plumbeam::solve::Options;
use rayon::prelude::*;
use study::{HEALTHY, Recipe, Tallies, merge, other_kinds, session, session_on, tally};

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let number = |name: &str| {
        let at = arguments.iter().position(|a| a == name)?;
        arguments.get(at + 1)?.parse::<u64>().ok()
    };
    let sessions = number("--sessions").unwrap_or(200);
    let recipe = Recipe {
        peaks: number("--peaks").map(|n| n as usize),
        ..HEALTHY
    };
    if arguments.iter().any(|a| a == "--test") {
        return;
    }
    if arguments.iter().any(|a| a == "--bad-only") {
        breakdown(sessions.min(300));
        return;
    }
    if arguments.iter().any(|a| a == "--kinds") {
        kinds(sessions, recipe);
        return;
    }
    match recipe.peaks {
        Some(n) => println!("{sessions} made-up sessions of {n} peaks, 3 to 11 true terms\n"),
        None => println!("{sessions} made-up sessions of 7 to 400 peaks, 3 to 11 true terms\n"),
    }
    println!("## The true terms given, every peak good\n");
    let robust = run(sessions, recipe, Geometry::AZ_EL, &Options::default(), true);
    print(&robust.tallies);
    println!(
        "\ngood peaks lost: {} of {} ({:.3} %) from 40 peaks up; {} of {} ({:.3} %) below\n",
        robust.lost[1],
        robust.peaks[1],
        100.0 * robust.lost[1] as f64 / robust.peaks[1].max(1) as f64,
        robust.lost[0],
        robust.peaks[0],
        100.0 * robust.lost[0] as f64 / robust.peaks[0].max(1) as f64,
    );
    println!("## The same without looking for bad peaks\n");
    let trusting = Options {
        trust_all: true,
        ..Options::default()
    };
    print(&run(sessions, recipe, Geometry::AZ_EL, &trusting, true).tallies);
    println!("\n## Terms chosen by the data\n");
    let chosen = run(
        sessions,
        recipe,
        Geometry::AZ_EL,
        &Options::default(),
        false,
    );
    print(&chosen.tallies);
    println!("\n## The promise over the sky\n");
    promised("the true terms given", &robust.promises);
    promised("terms chosen by the data", &chosen.promises);
    println!(
        "\nterms admitted that are not there: {} in {} sessions\n",
        chosen.false_terms, chosen.solved
    );
    println!("| true size | left out |\n| --- | --- |");
    for (k, (low, high)) in STRENGTHS.iter().enumerate() {
        let size = match high.is_finite() {
            true => format!("{low} to {high} sigmas"),
            false => format!("over {low} sigmas"),
        };
        println!(
            "| {size} | {} of {} ({:.1} %) |",
            chosen.missed[k],
            chosen.strong[k],
            100.0 * chosen.missed[k] as f64 / chosen.strong[k].max(1) as f64
        );
    }
    println!();
    if recipe.peaks.is_none() && !arguments.iter().any(|a| a == "--no-bad") {
        breakdown(sessions.min(300));
    }
}

/// The same for one mount of each other kind.
fn kinds(sessions: u64, recipe: Recipe) {
    println!("{sessions} made-up sessions a kind of mount, as for az-el\n");
    for (given, title) in [
        (true, "the true terms given"),
        (false, "terms chosen by the data"),
    ] {
        println!("## By kind of mount, {title}\n");
        println!("| mount | terms | scatter / bound | 95 % interval covers | mean sigma / bound |");
        println!("| --- | --- | --- | --- | --- |");
        for (name, geometry) in other_kinds() {
            let sums = run(sessions, recipe, geometry, &Options::default(), given);
            let mut all = study::Tally::default();
            sums.tallies.values().for_each(|tally| all.add(tally));
            row(name, &all);
        }
        println!();
    }
}

/// True sizes of a term, in its own Cramér-Rao bounds.
const STRENGTHS: [(f64, f64); 4] = [(2.0, 4.0), (4.0, 6.0), (6.0, 10.0), (10.0, f64::INFINITY)];

/// Fitted always.
const USUAL: [plumbeam::mount::Term; 9] = {
    use plumbeam::mount::Term::*;
    [
        AzimuthZero,
        ElevationZero,
        TiltNorth,
        TiltEast,
        Collimation,
        AxisSkew,
        Droop,
        AzimuthBacklash,
        ElevationBacklash,
    ]
};

#[derive(Default)]
struct Sums {
    tallies: Tallies,
    promises: Vec<Promise>,
    solved: usize,
    lost: [usize; 2],
    peaks: [usize; 2],
    false_terms: usize,
    /// By strength: true terms left out, of so many, beside those always fitted.
    missed: [usize; STRENGTHS.len()],
    strong: [usize; STRENGTHS.len()],
}

fn run(sessions: u64, recipe: Recipe, geometry: Geometry, options: &Options, given: bool) -> Sums {
    (0..sessions)
        .into_par_iter()
        .map(|number| {
            let mut sums = Sums::default();
            let session = session_on(number, recipe, geometry);
            let Some(bound) = session.bound() else {
                return sums;
            };
            let options = Options {
                terms: given.then(|| session.terms.clone()),
                ..options.clone()
            };
            let Ok(outcome) = session.solve(&options) else {
                return sums;
            };
            sums.solved = 1;
            sums.tallies = tally(&session, &bound, &outcome);
            sums.promises.extend(Promise::of(&session, &outcome));
            let many = usize::from(outcome.peaks.len() >= 40);
            sums.peaks[many] = outcome.peaks.len();
            sums.lost[many] = outcome.peaks.iter().filter(|p| !p.used).count();
            let basic = USUAL;
            if std::env::var_os("PLUMBEAM_STUDY_LIST").is_some() && !given {
                list(number, &session, &bound, &outcome);
            }
            sums.false_terms = (outcome.terms.iter())
                .filter(|t| !session.terms.contains(&t.term) && !basic.contains(&t.term))
                .count();
            for (term, bound) in session.terms.iter().zip(&bound) {
                let strength = session.true_value(*term).abs() / bound;
                let bin =
                    (STRENGTHS.iter()).position(|(low, high)| (*low..*high).contains(&strength));
                if let Some(bin) = bin.filter(|_| !basic.contains(term)) {
                    sums.strong[bin] += 1;
                    sums.missed[bin] += usize::from(!outcome.terms.iter().any(|t| t.term == *term));
                }
            }
            sums
        })
        .reduce(Sums::default, |a, b| Sums {
            tallies: merge(a.tallies, b.tallies),
            promises: [a.promises, b.promises].concat(),
            solved: a.solved + b.solved,
            lost: [a.lost[0] + b.lost[0], a.lost[1] + b.lost[1]],
            peaks: [a.peaks[0] + b.peaks[0], a.peaks[1] + b.peaks[1]],
            false_terms: a.false_terms + b.false_terms,
            missed: std::array::from_fn(|k| a.missed[k] + b.missed[k]),
            strong: std::array::from_fn(|k| a.strong[k] + b.strong[k]),
        })
}

/// What a solve promises of the pointing, and what comes true.
#[derive(Clone, Copy)]
struct Promise {
    /// Rms over the sky of the error left, in noises of a peak.
    error: f64,
    /// The same as promised, one standard deviation.
    expected: f64,
    /// The bound promised for 95 %.
    bound: f64,
    peaks: usize,
}

impl Promise {
    fn of(session: &study::Session, outcome: &plumbeam::solve::Outcome) -> Option<Promise> {
        let promised = outcome.sky_error.as_ref()?;
        let left = study::again::error_over_sky(&session.truth, outcome.model.terms());
        let noise = session.noise.radians();
        Some(Promise {
            error: left.radians() / noise,
            expected: promised.rms.radians() / noise,
            bound: promised.rms_95.radians() / noise,
            peaks: outcome.peaks.len(),
        })
    }
}

fn promised(name: &str, all: &[Promise]) {
    println!(
        "| peaks | sessions | error over the sky, median | 90th percentile | promised, median | true over promised, rms | within the 95 % bound |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for (low, high) in [(7, 11), (12, 24), (25, 59), (60, 149), (150, 400), (7, 400)] {
        let of: Vec<Promise> = (all.iter().copied())
            .filter(|p| (low..=high).contains(&p.peaks))
            .collect();
        if of.is_empty() {
            continue;
        }
        let at = |share: f64, value: &dyn Fn(&Promise) -> f64| {
            let mut values: Vec<f64> = of.iter().map(value).collect();
            values.sort_by(f64::total_cmp);
            values[((values.len() as f64 * share) as usize).min(values.len() - 1)]
        };
        let ratio: f64 = of.iter().map(|p| (p.error / p.expected).powi(2)).sum();
        let within = of.iter().filter(|p| p.error <= p.bound).count();
        println!(
            "| {low} to {high} | {} | {:.2} | {:.2} | {:.2} | {:.2} | {:.1} % |",
            of.len(),
            at(0.5, &|p| p.error),
            at(0.9, &|p| p.error),
            at(0.5, &|p| p.expected),
            (ratio / of.len() as f64).sqrt(),
            100.0 * within as f64 / of.len() as f64
        );
    }
    println!("\n({name}; errors in noises of a peak's coordinate)\n");
}

fn print(tallies: &Tallies) {
    println!("| term | sessions | scatter / bound | 95 % interval covers | mean sigma / bound |");
    println!("| --- | --- | --- | --- | --- |");
    let mut all = study::Tally::default();
    for (term, tally) in tallies {
        row(plumbeam::mount::Kind::AzEl.term_name(*term), tally);
        all.add(tally);
    }
    row("all", &all);
}

fn row(name: &str, tally: &study::Tally) {
    println!(
        "| {name} | {} | {:.3} | {:.1} % | {:.2} |",
        tally.fitted,
        tally.scatter(),
        100.0 * tally.coverage(),
        tally.sigmas / tally.fitted.max(1) as f64
    );
}

/// How often bad peaks spoil the answer.
fn breakdown(sessions: u64) {
    println!("## Bad peaks\n");
    println!("| peaks | bad | kind | answers spoilt | bad found | good lost |");
    println!("| --- | --- | --- | --- | --- | --- |");
    for peaks in [20, 40, 60, 120] {
        for share in [0.1, 0.25, 0.35] {
            for alike in [false, true] {
                let recipe = Recipe {
                    peaks: Some(peaks),
                    bad_share: share,
                    alike,
                };
                let found: Vec<[usize; 5]> = (0..sessions)
                    .into_par_iter()
                    .filter_map(|number| spoilt(number, recipe))
                    .collect();
                let sum = |i: usize| found.iter().map(|f| f[i]).sum::<usize>();
                println!(
                    "| {peaks} | {:.0} % | {} | {:.1} % | {:.1} % | {:.2} % |",
                    100.0 * share,
                    if alike { "all alike" } else { "scattered" },
                    100.0 * sum(0) as f64 / found.len().max(1) as f64,
                    100.0 * sum(1) as f64 / sum(2).max(1) as f64,
                    100.0 * sum(3) as f64 / sum(4).max(1) as f64,
                );
            }
        }
    }
}

/// Whether the answer is spoilt (a term more than 6 bounds off), bad found, bad, good lost,
/// good.
fn spoilt(number: u64, recipe: Recipe) -> Option<[usize; 5]> {
    let session = session(number, recipe);
    let bound = session.bound()?;
    let options = Options::default();
    let outcome = session.solve(&options).ok()?;
    let worst = (outcome.terms.iter())
        .filter_map(|t| {
            let i = session.terms.iter().position(|s| *s == t.term)?;
            let sigma = t.term.unit().inward(t.shown_sigma()?).max(bound[i]);
            let error = plumbeam::angle::Angle::from_radians(session.off(t));
            Some(error.wrapped_signed().radians().abs() / sigma)
        })
        .fold(0.0, f64::max);
    let rejected = |i: &usize| !outcome.peaks[*i].used;
    let found = session.bad.iter().filter(|i| rejected(i)).count();
    let all = outcome.peaks.iter().filter(|p| !p.used).count();
    Some([
        usize::from(worst > 6.0),
        found,
        session.bad.len(),
        all - found,
        outcome.peaks.len() - session.bad.len(),
    ])
}

/// One line for each wrongly admitted or left-out term, to look into.
fn list(number: u64, session: &study::Session, bound: &[f64], outcome: &plumbeam::solve::Outcome) {
    let basic = USUAL;
    let chosen: Vec<_> = outcome.terms.iter().map(|t| t.term).collect();
    let wrong: Vec<_> = (chosen.iter())
        .filter(|t| !session.terms.contains(t) && !basic.contains(t))
        .map(|t| plumbeam::mount::Kind::AzEl.term_name(*t))
        .collect();
    let missed: Vec<String> = (session.terms.iter().zip(bound))
        .filter(|(t, b)| session.true_value(**t).abs() > 5.0 * **b && !chosen.contains(t))
        .map(|(t, b)| {
            format!(
                "{} {:.1}",
                plumbeam::mount::Kind::AzEl.term_name(*t),
                session.true_value(*t) / b
            )
        })
        .collect();
    if !wrong.is_empty() || !missed.is_empty() {
        let rejected = outcome.peaks.iter().filter(|p| !p.used).count();
        println!(
            "session {number}: {:?}, {} peaks ({rejected} rejected), {} true terms; wrong {wrong:?}, \
             missed {missed:?}",
            session.sky,
            outcome.peaks.len(),
            session.terms.len()
        );
        for decision in &outcome.decisions {
            println!(
                "    {:?} {} {}",
                decision.name,
                decision.admitted,
                decision.reason()
            );
        }
    }
}
