//! How many bad observations the robust fits survive: a study on invented sessions, printed
//! as the tables of docs/accuracy.md. `cargo bench --bench breakdown [-- TRIALS]`.
#![allow(clippy::print_stdout)]

#[path = "../tests/support/sky.rs"]
mod sky;

use nalgebra::DVector;
use plumbeam::fit::robust::{Loss, reweighted_fit, robust_fit};
use plumbeam::fit::{Noise, Options, Solution, fit};
use rand::seq::SliceRandom;
use rand::{Rng, RngExt};
use sky::{MOST_TERMS, Sky, Spread, random, truth};

/// How the bad ones are bad.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    /// Anywhere within two degrees.
    Scattered,
    /// All displaced by the same half degree or so.
    Alike,
    /// All displaced by the same ten standard deviations.
    AlikeNear,
}

/// The fit is broken when its parameters are off by more than this many of their own
/// standard deviations (root of the mean square, in the covariance of the good ones' fit).
const BROKEN: f64 = 5.0;

fn spoil(sky: &mut Sky, bad: &[usize], kind: Kind, random: &mut impl Rng) {
    let degree = 1.0_f64.to_radians();
    for i in bad {
        let shift = match kind {
            Kind::Scattered => {
                let side = |random: &mut _| 4.0 * RngExt::random::<f64>(random) - 2.0;
                [side(random) * degree, side(random) * degree]
            }
            Kind::Alike => [0.5 * degree, 0.3 * degree],
            Kind::AlikeNear => [8.0 * sky.noise, 6.0 * sky.noise],
        };
        for (seen, shift) in sky.peaks[*i].seen.iter_mut().zip(shift) {
            *seen += shift;
        }
    }
}

fn off(good: &Solution, parameters: &[f64], truth: &[f64]) -> f64 {
    let n = parameters.len();
    let d = DVector::from_fn(n, |j, _| parameters[j] - truth[j]);
    ((good.triangle.r() * d).norm_squared() / n as f64).sqrt()
}

#[derive(Default)]
struct Tally {
    broken: [usize; 5],
    bad: usize,
    found: usize,
    good: usize,
    lost: usize,
    /// Squared errors of the robust fit and of the fit of the good ones alone.
    robust_square: f64,
    good_square: f64,
}

fn trial(count: usize, terms: usize, spread: Spread, bad: &Bad, seed: u64, tally: &mut Tally) {
    let mut random = random(seed);
    let truth = truth(&mut random);
    let truth = &truth[..terms];
    let mut sky = Sky::new(count, terms, spread, truth, &mut random);
    let bad_ones = bad.choose(count, &mut random);
    spoil(&mut sky, &bad_ones, bad.kind, &mut random);
    let start = vec![0.0; terms];
    let options = Options {
        noise: Noise::Scatter,
        ..Options::default()
    };
    let weights = (0..count)
        .map(|i| if bad_ones.contains(&i) { 0.0 } else { 1.0 })
        .collect();
    let good = fit(
        &sky,
        &start,
        &Options {
            weights: Some(weights),
            ..Options::default()
        },
    )
    .unwrap();
    let plain = fit(&sky, &start, &options).unwrap();
    let huber = reweighted_fit(&sky, &start, Loss::Huber, &options).unwrap();
    let cauchy = reweighted_fit(&sky, &start, Loss::Cauchy, &options).unwrap();
    let tukey = reweighted_fit(&sky, &cauchy.solution.parameters, Loss::Tukey, &options).unwrap();
    let robust = robust_fit(&sky, &start, &options, seed).unwrap();
    let fits = [
        &plain.parameters,
        &huber.solution.parameters,
        &cauchy.solution.parameters,
        &tukey.solution.parameters,
        &robust.solution.parameters,
    ];
    for (broken, parameters) in tally.broken.iter_mut().zip(fits) {
        *broken += usize::from(off(&good, parameters, truth) > BROKEN);
    }
    tally.robust_square += off(&good, &robust.solution.parameters, truth).powi(2);
    tally.good_square += off(&good, &good.parameters, truth).powi(2);
    let found = (robust.rejected.iter())
        .filter(|r| bad_ones.contains(&r.observation))
        .count();
    tally.bad += bad_ones.len();
    tally.found += found;
    tally.good += count - bad_ones.len();
    tally.lost += robust.rejected.len() - found;
}

/// Which ones are bad.
struct Bad {
    kind: Kind,
    share: f64,
    /// Not a share of all but this many of those that stand apart.
    apart: Option<usize>,
}

impl Bad {
    fn choose(&self, count: usize, random: &mut impl Rng) -> Vec<usize> {
        match self.apart {
            Some(apart) => (0..apart).collect(),
            None => {
                let mut all: Vec<usize> = (0..count).collect();
                all.shuffle(random);
                all.truncate((self.share * count as f64).round() as usize);
                all
            }
        }
    }
}

fn row(trials: usize, count: usize, terms: usize, spread: Spread, bad: Bad) {
    let mut tally = Tally::default();
    for t in 0..trials {
        trial(
            count,
            terms,
            spread,
            &bad,
            1000 * count as u64 + t as u64,
            &mut tally,
        );
    }
    let percent = |part: usize, whole: usize| 100.0 * part as f64 / whole.max(1) as f64;
    let [plain, huber, cauchy, tukey, robust] = tally.broken.map(|b| percent(b, trials));
    let kind = match bad.kind {
        Kind::Scattered => "scattered",
        Kind::Alike => "alike, far",
        Kind::AlikeNear => "alike, near",
    };
    let what = match (bad.apart, spread) {
        (Some(0), _) => "none".to_owned(),
        (Some(bad), Spread::PatchAndFew(few)) => format!("{bad} of {few} apart, {kind}"),
        _ if bad.share == 0.0 => "none".to_owned(),
        _ => format!("{:.0} %, {kind}", 100.0 * bad.share),
    };
    println!(
        "| {count} | {terms} | {what} | {plain:.1} | {huber:.1} | {cauchy:.1} | {tukey:.1} | {robust:.1} | {:.1} | {:.2} | {:.1} |",
        percent(tally.found, tally.bad),
        percent(tally.lost, tally.good),
        100.0 * tally.good_square / tally.robust_square,
    );
}

fn head() {
    println!(
        "| peaks | terms | bad ones | least squares | Huber | Cauchy | Tukey from Cauchy | robust fit | found | good lost | efficiency |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let trials = arguments.iter().find_map(|a| a.parse().ok()).unwrap_or(100);
    let share = |kind, share| Bad {
        kind,
        share,
        apart: None,
    };
    println!(
        "Broken fits in % of {trials} sessions ({} where nothing is bad); for the robust fit also \
         the bad ones found, the good ones lost and the efficiency against the fit of the good \
         ones alone, all in %. Scattered: within 2 degrees; alike: all by 0.58 degree (far) or by \
         10 standard deviations (near).\n",
        5 * trials
    );
    println!("Nothing bad:\n");
    head();
    let none = || share(Kind::Scattered, 0.0);
    for (count, terms) in [
        (8, 5),
        (12, 5),
        (20, 5),
        (20, 7),
        (20, 11),
        (40, 7),
        (40, 11),
        (60, 7),
        (60, MOST_TERMS),
        (120, 11),
        (400, 7),
    ] {
        row(5 * trials, count, terms, Spread::Whole, none());
    }
    println!("\nBad ones anywhere:\n");
    head();
    for (count, terms) in [
        (8, 5),
        (12, 5),
        (20, 5),
        (20, 7),
        (20, 11),
        (40, 7),
        (40, 11),
        (60, 7),
        (60, MOST_TERMS),
        (120, 11),
        (400, 7),
    ] {
        for kind in [Kind::Scattered, Kind::Alike, Kind::AlikeNear] {
            for part in [0.2, 0.35, 0.4] {
                row(trials, count, terms, Spread::Whole, share(kind, part));
            }
        }
    }
    println!("\nAll but a few in one patch of 60 by 30 degrees, bad ones among those apart:\n");
    head();
    for (count, terms) in [(20, 7), (40, 7), (60, 11)] {
        for (few, bad) in [(3, 0), (3, 1), (4, 1), (5, 2), (8, 3)] {
            for kind in [Kind::Scattered, Kind::AlikeNear] {
                if bad > 0 || kind == Kind::Scattered {
                    let apart = Some(bad);
                    let bad = Bad {
                        kind,
                        share: 0.0,
                        apart,
                    };
                    row(trials, count, terms, Spread::PatchAndFew(few), bad);
                }
            }
        }
    }
}
