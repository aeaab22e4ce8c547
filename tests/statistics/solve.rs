//! A little of the study behind docs/accuracy.md: are answers as good as the data allow, and
//! uncertainties honest?

use crate::study::{HEALTHY, Recipe, Tally, merge, other_kinds, session, session_on, tally};
use plumbeam::solve::Options;

/// Sessions here; the whole study has 2,000.
const SESSIONS: u64 = 100;
/// The scatter over the bound is one; of about 650 fitted terms, correlated within a
/// session, it wanders by a few per cent. The whole study stays below 1.05.
const MOST_SCATTER: f64 = 1.13;
/// Of as many intervals the share that covers wanders by 1.8 %; the whole study lies within
/// 93 to 97 %.
const LEAST_COVER: f64 = 0.91;
const MOST_COVER: f64 = 0.985;

#[test]
fn answers_scatter_as_little_as_the_data_allow_and_intervals_cover() {
    let mut tallies = crate::study::Tallies::new();
    let (mut lost, mut peaks) = (0, 0);
    for number in 0..SESSIONS {
        let session = session(number, HEALTHY);
        let bound = session.bound().expect("made-up sessions tell their terms");
        let options = Options {
            terms: Some(session.terms.clone()),
            ..Options::default()
        };
        let outcome = session
            .solve(&options)
            .unwrap_or_else(|e| panic!("session {number}: {e}"));
        lost += outcome.peaks.iter().filter(|p| !p.used).count();
        peaks += outcome.peaks.len();
        tallies = merge(tallies, tally(&session, &bound, &outcome));
    }
    let mut all = Tally::default();
    tallies.values().for_each(|t| all.add(t));
    assert!(all.fitted > 530, "{} terms", all.fitted);
    assert!(all.scatter() < MOST_SCATTER, "scatter {}", all.scatter());
    let coverage = all.coverage();
    assert!((LEAST_COVER..MOST_COVER).contains(&coverage), "{coverage}");
    // One good peak in a thousand is lost; three times that is not an accident among 9,000.
    assert!(lost * 333 < peaks, "{lost} of {peaks} good peaks lost");
}

/// Sessions of each kind of mount here; the study has 500.
const SESSIONS_A_KIND: u64 = 30;

#[test]
fn on_every_kind_of_mount_answers_scatter_as_little_and_intervals_cover_as_well() {
    for (name, geometry) in other_kinds() {
        let mut all = Tally::default();
        for number in 0..SESSIONS_A_KIND {
            let session = session_on(number, HEALTHY, geometry);
            let bound = session.bound().expect("made-up sessions tell their terms");
            let options = Options {
                terms: Some(session.terms.clone()),
                ..Options::default()
            };
            let outcome = session
                .solve(&options)
                .unwrap_or_else(|e| panic!("{name} {number}: {e}"));
            let tallies = tally(&session, &bound, &outcome);
            tallies.values().for_each(|t| all.add(t));
        }
        let (scatter, coverage) = (all.scatter(), all.coverage());
        assert!(all.fitted > 125, "{name}: {} terms", all.fitted);
        // Of 200 terms, correlated within a session, both wander more than above.
        assert!(scatter < 1.23, "{name}: scatter {scatter}");
        assert!((0.88..0.995).contains(&coverage), "{name}: {coverage}");
    }
}

/// Sessions here in which terms are chosen, which takes four times as long; the study has 2,000.
const SESSIONS_WITH_A_CHOICE: u64 = 50;
/// Of half as many intervals as above the share that covers wanders by 2.5 %.
const LEAST_COVER_WITH_A_CHOICE: f64 = 0.89;

#[test]
fn left_to_choose_it_admits_nothing_that_is_not_there_and_covers() {
    let mut all = Tally::default();
    let mut wrong = 0;
    let usual = |t: plumbeam::mount::Term| {
        plumbeam::mount::Term::BASIC.contains(&t)
            || plumbeam::explain::prior_size::is_weakly_held(t)
    };
    for number in 0..SESSIONS_WITH_A_CHOICE {
        let session = session(number, HEALTHY);
        let bound = session.bound().expect("made-up sessions tell their terms");
        let outcome = session
            .solve(&Options::default())
            .unwrap_or_else(|e| panic!("session {number}: {e}"));
        wrong += (outcome.terms.iter())
            .filter(|t| !session.terms.contains(&t.term) && !usual(t.term))
            .count();
        tally(&session, &bound, &outcome)
            .values()
            .for_each(|t| all.add(t));
    }
    // 12 in 2,000 sessions: a third expected here, three is not an accident.
    assert!(wrong < 3, "{wrong} terms admitted that are not there");
    let coverage = all.coverage();
    assert!(coverage > LEAST_COVER_WITH_A_CHOICE, "{coverage}");
}

#[test]
fn a_third_of_bad_peaks_is_survived() {
    for alike in [false, true] {
        let (mut spoilt, mut found, mut bad, mut lost) = (0, 0, 0, 0);
        for number in 0..10 {
            let recipe = Recipe {
                peaks: Some(40),
                bad_share: 0.35,
                alike,
            };
            let session = session(number, recipe);
            let bound = session.bound().expect("made-up sessions tell their terms");
            let outcome = session
                .solve(&Options::default())
                .unwrap_or_else(|e| panic!("session {number}: {e}"));
            let rejected = |i: usize| !outcome.peaks[i].used;
            let named = session.bad.iter().filter(|i| rejected(**i)).count();
            found += named;
            bad += session.bad.len();
            lost += outcome.peaks.iter().filter(|p| !p.used).count() - named;
            let far = outcome.terms.iter().any(|t| {
                let place = session.terms.iter().position(|s| *s == t.term);
                place.zip(t.shown_sigma()).is_some_and(|(i, sigma)| {
                    let sigma = t.term.unit().inward(sigma);
                    plumbeam::angle::Angle::from_radians(session.off(t))
                        .wrapped_signed()
                        .radians()
                        .abs()
                        > 6.0 * sigma.max(bound[i])
                })
            });
            spoilt += usize::from(far);
        }
        // The whole study finds none spoilt in 300; one may be chance.
        assert!(spoilt <= 1, "{spoilt} answers spoilt, alike: {alike}");
        assert!(found * 20 >= bad * 19, "{found} of {bad} bad peaks found");
        assert!(lost < 5, "{lost} good peaks lost of 260");
    }
}

/// Peaks that stand off alike, the last few of them after one another: no knock of the mount.
#[test]
fn a_third_of_bad_peaks_alike_is_told_from_a_knock_at_twenty_peaks() {
    let recipe = Recipe {
        peaks: Some(20),
        bad_share: 0.35,
        alike: true,
    };
    let missed = (0..40).filter(|number| {
        let session = session(*number, recipe);
        let outcome = session
            .solve(&Options::default())
            .unwrap_or_else(|e| panic!("session {number}: {e}"));
        session.bad.iter().any(|i| outcome.peaks[*i].used)
    });
    // One of sixty; without the weighing of one displacement, four.
    let missed = missed.count();
    assert!(
        missed <= 1,
        "bad peaks were used in {missed} of 40 sessions"
    );
}
