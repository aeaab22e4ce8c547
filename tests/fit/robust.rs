//! Gross errors. The full study is `cargo bench --bench breakdown`; this is its short form.

use crate::sky::{Sky, Spread, random, truth};
use crate::{Table, difference};
use plumbeam::fit::robust::{Loss, MOST_SEARCHED, cut_off, reweighted_fit, robust_fit};
use plumbeam::fit::{Noise, Options, Solution, fit};
use rand::RngExt;
use rand::seq::SliceRandom;

fn options() -> Options {
    Options {
        noise: Noise::Scatter,
        ..Options::default()
    }
}

/// A session with the given share of bad peaks, alike or scattered, and which they are.
fn spoilt(
    count: usize,
    terms: usize,
    share: f64,
    alike: bool,
    seed: u64,
) -> (Sky, Vec<usize>, Vec<f64>) {
    let mut random = random(seed);
    let truth = truth(&mut random)[..terms].to_vec();
    let mut sky = Sky::new(count, terms, Spread::Whole, &truth, &mut random);
    let mut bad: Vec<usize> = (0..count).collect();
    bad.shuffle(&mut random);
    bad.truncate((share * count as f64) as usize);
    for i in &bad {
        let mut side = || (4.0 * random.random::<f64>() - 2.0).to_radians();
        let shift = if alike {
            [0.5_f64.to_radians(), 0.3_f64.to_radians()]
        } else {
            [side(), side()]
        };
        for (seen, shift) in sky.peaks[*i].seen.iter_mut().zip(shift) {
            *seen += shift;
        }
    }
    (sky, bad, truth)
}

/// Root mean square error of the parameters in their own standard deviations.
fn off(solution: &Solution, truth: &[f64]) -> f64 {
    let error: Vec<f64> = (solution.parameters.iter().zip(truth))
        .map(|(a, b)| a - b)
        .collect();
    let error = nalgebra::DVector::from_vec(error);
    ((solution.triangle.r() * error).norm_squared() / truth.len() as f64).sqrt()
}

#[test]
fn a_third_of_bad_peaks_is_found() {
    for (count, terms) in [(20, 7), (40, 11), (60, 7), (120, 16)] {
        for alike in [false, true] {
            let (mut bad_found, mut bad_all, mut good_lost, mut good_all) = (0, 0, 0, 0);
            for seed in 0..12 {
                let (sky, bad, truth) = spoilt(count, terms, 0.35, alike, seed);
                let found = robust_fit(&sky, &vec![0.0; terms], &options(), seed).unwrap();
                assert!(
                    off(&found.solution, &truth) < 5.0,
                    "{count} peaks, {terms} terms, alike {alike}, seed {seed}"
                );
                assert!(found.breakdown.reliable && found.breakdown.tolerated >= bad.len());
                let hits = found.rejected.iter();
                let hits = hits.filter(|r| bad.contains(&r.observation)).count();
                bad_found += hits;
                bad_all += bad.len();
                good_lost += found.rejected.len() - hits;
                good_all += count - bad.len();
                for r in &found.rejected {
                    assert_eq!(found.weights[r.observation], 0.0);
                    assert!(r.deviations > 3.0 && r.probability < 1e-3);
                }
            }
            assert!(bad_found as f64 >= 0.97 * bad_all as f64);
            assert!(good_lost as f64 <= 0.02 * good_all as f64);
        }
    }
}

/// The limits on good peaks lost when nothing is bad, plus three standard errors of
/// the sessions tried here.
#[test]
fn good_peaks_are_kept() {
    for (count, terms, sessions, limit) in
        [(20, 7, 100, 0.01), (40, 7, 60, 0.003), (400, 7, 8, 0.003)]
    {
        let mut lost = 0;
        for seed in 0..sessions {
            let (sky, _, _) = spoilt(count, terms, 0.0, false, seed);
            let found = robust_fit(&sky, &vec![0.0; terms], &options(), seed).unwrap();
            lost += found.rejected.len();
        }
        let all = count as f64 * sessions as f64;
        let allowed = limit * all + 3.0 * (limit * all).sqrt();
        assert!((lost as f64) < allowed, "{count} peaks: {lost} lost");
    }
}

#[test]
fn a_bad_peak_alone_in_its_part_of_the_sky_is_found_and_good_ones_there_kept() {
    let (mut found, mut kept) = (0, 0);
    for seed in 0..20 {
        let mut random = random(seed);
        let truth = truth(&mut random);
        let mut sky = Sky::new(40, 7, Spread::PatchAndFew(4), &truth, &mut random);
        let clean = robust_fit(&sky, &[0.0; 7], &options(), seed).unwrap();
        kept += (0..4).filter(|i| clean.weights[*i] > 0.0).count();
        for seen in &mut sky.peaks[0].seen {
            *seen += 10.0 * sky.noise;
        }
        let solution = robust_fit(&sky, &[0.0; 7], &options(), seed).unwrap();
        found += usize::from(solution.weights[0] == 0.0);
        assert!(off(&solution.solution, &truth[..7]) < 5.0, "seed {seed}");
    }
    assert!(found >= 19, "{found} of 20 found");
    assert!(kept >= 78, "{kept} of 80 kept");
}

#[test]
fn exact_data_with_bad_ones_are_fitted_exactly() {
    // y = 3 x + 1 without noise, three of twelve wrong: the scale is zero.
    let rows = (0..12).map(|i| {
        let x = i as f64;
        let wrong = if i % 4 == 1 { 5.0 + x } else { 0.0 };
        vec![(3.0 * x + 1.0 + wrong, vec![x, 1.0])]
    });
    let table = Table {
        rows: rows.collect(),
    };
    let found = robust_fit(&table, &[0.0; 2], &options(), 1).unwrap();
    assert!(difference(&found.solution.parameters, &[3.0, 1.0]) < 1e-9);
    let rejected: Vec<usize> = found.rejected.iter().map(|r| r.observation).collect();
    assert_eq!(rejected, [1, 5, 9]);
}

#[test]
fn the_same_seed_gives_the_same_answer() {
    let (sky, _, _) = spoilt(700, 7, 0.3, true, 3);
    assert!(sky.peaks.len() > MOST_SEARCHED);
    let a = robust_fit(&sky, &[0.0; 7], &options(), 9).unwrap();
    let b = robust_fit(&sky, &[0.0; 7], &options(), 9).unwrap();
    assert_eq!(a.solution.parameters, b.solution.parameters);
    assert_eq!(a.weights, b.weights);
}

#[test]
fn few_observations_are_said_to_be_few() {
    let (sky, _, _) = spoilt(9, 5, 0.0, false, 3);
    let found = robust_fit(&sky, &[0.0; 5], &options(), 1).unwrap();
    assert!(!found.breakdown.reliable);
    assert!(found.breakdown.to_string().contains("cannot be told"));
    // Fewer rows than parameters: nothing is rejected, nothing breaks.
    let (sky, _, _) = spoilt(2, 5, 0.0, false, 3);
    let found = robust_fit(&sky, &[0.0; 5], &options(), 1).unwrap();
    assert!(found.rejected.is_empty());
    assert_eq!(found.solution.rank(), 4);
}

#[test]
fn reweighting_keeps_its_efficiency_and_resists_a_few() {
    let (clean, _, truth) = spoilt(60, 7, 0.0, false, 4);
    let (bad, which, _) = spoilt(60, 7, 0.1, false, 4);
    for loss in [Loss::Huber, Loss::Cauchy] {
        let fine = reweighted_fit(&clean, &[0.0; 7], loss, &options()).unwrap();
        let spoilt = reweighted_fit(&bad, &[0.0; 7], loss, &options()).unwrap();
        assert!(fine.settled && spoilt.settled);
        assert!((0.75..1.3).contains(&fine.scale), "{}", fine.scale);
        assert!(off(&fine.solution, &truth) < 2.0);
        assert!(off(&spoilt.solution, &truth) < 5.0);
        assert!(which.iter().all(|i| spoilt.weights[*i] < 0.5));
    }
    assert!((cut_off(2) - 3.717).abs() < 1e-3);
    let plain = fit(&bad, &[0.0; 7], &options()).unwrap();
    assert!(
        off(&plain, &truth) > 5.0,
        "the bad ones do harm a plain fit"
    );
}
