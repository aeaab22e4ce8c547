//! A little of the study of scans: is the scatter as small as it can be, do the intervals hold
//! the truth as often as they say, are spoilt scans named and good ones left in peace? The whole
//! of it is `cargo bench --bench scan_study`, its tables are in docs/scans.md.

use crate::scan_study::{
    StationAndSky, Tally, kinds, lags, mixed, mount, moving, night, statistics, tally,
};
use plumbeam::scan::{NoiseLaw, ReduceOptions};
use plumbeam::simulate::Signal;
use rayon::prelude::*;

/// Scans of a made-up night, and nights: 2,000 scans.
const SCANS: usize = 40;
const NIGHTS: u64 = 50;
/// Of a night in which one in five is of some kind.
const SCANS_OF_KINDS: usize = 30;
/// The best that is possible is 1; beyond this a fit wastes what was measured.
const NEARLY_THE_BEST: f64 = 1.05;
/// Of intervals that are to hold the truth in 95 of 100 cases.
const COVERAGE: std::ops::RangeInclusive<f64> = 0.93..=0.97;
/// Of good scans beside spoilt ones, fewer than this may be blamed.
const BLAMED: f64 = 0.005;
/// The rms of 60 errors over their sigmas, which is 1 give or take 0.09, stays below this.
const NEARLY_ONE: f64 = 1.3;
/// Errors beyond so many of their own sigmas are wrong.
const SIGMAS: f64 = 4.0;

fn good_scans(law: NoiseLaw, nights: u64) -> Tally {
    let place = StationAndSky::new(1.8);
    (7000..7000 + nights)
        .into_par_iter()
        .map(|seed| {
            let made = night(seed, SCANS, &place, mount(1000 + seed), |_, rng| {
                let (plan, signal) = statistics::any(rng);
                (
                    plan,
                    Signal {
                        noise: law,
                        ..signal
                    },
                )
            });
            tally(&made, &place, &ReduceOptions::default()).0
        })
        .reduce(Tally::default, Tally::merge)
}

#[test]
fn scatter_is_nearly_the_least_possible_and_intervals_are_honest() {
    for (law, nights) in [
        (NoiseLaw::Steady, NIGHTS),
        (NoiseLaw::Radiometer, NIGHTS / 2),
    ] {
        let sum = good_scans(law, nights);
        assert_eq!(sum.good, SCANS * nights as usize, "{:?}", sum.whys);
        let (efficiency, coverage) = (sum.over_bound(), sum.coverage());
        assert!(efficiency < NEARLY_THE_BEST, "{law:?}: {efficiency}");
        assert!(COVERAGE.contains(&coverage), "{law:?}: {coverage}");
    }
}

#[test]
fn kinds_of_scans_are_told() {
    let place = StationAndSky::new(1.8);
    for kind in kinds() {
        let nights: Vec<_> = (40..42u64)
            .into_par_iter()
            .map(|seed| mixed(&kind, seed, SCANS_OF_KINDS, &place))
            .collect();
        let (mut own, mut others, mut well, mut wrong) =
            (Tally::default(), Tally::default(), 0, Vec::new());
        for night in nights {
            own = own.merge(night.0);
            others = others.merge(night.1);
            well += night.2;
            wrong.extend(night.3);
        }
        let share = well as f64 / own.scans() as f64;
        assert!(share >= kind.told, "{}: {share} {wrong:#?}", kind.name);
        let blamed = (others.poor + others.refused) as f64 / others.scans() as f64;
        assert!(blamed < BLAMED, "{}: {:#?}", kind.name, others.whys);
    }
}

#[test]
fn discs_and_satellites_that_run_are_found_where_they_are() {
    for sum in [moving::discs(1, SCANS), moving::followed(2, SCANS)] {
        assert!(sum.good as f64 > 0.9 * SCANS as f64, "{:#?}", sum.whys);
        assert!(sum.worst < SIGMAS, "{:#?}", sum.far);
        assert!(sum.over_sigma() < NEARLY_ONE, "{}", sum.over_sigma());
    }
}

#[test]
fn lag_and_backlash_are_within_their_sigmas() {
    let place = StationAndSky::new(1.8);
    let nights: Vec<_> = (0..12u64)
        .into_par_iter()
        .map(|seed| lags(seed, &place))
        .collect();
    for night in nights {
        assert_eq!((night.lag.len(), night.backlash.len()), (2, 2), "told");
        for z in night.lag.iter().chain(&night.backlash) {
            assert!(z.abs() < SIGMAS, "{night:?}");
        }
    }
}
