//! Sessions computed by independent code (tests/data/reference/SOURCE.md), solved with the
//! terms of their truth.

use crate::common::{assert_terms_near_truth, sessions};
use plumbeam::explain::Remark;
use plumbeam::logbook::TermState;
use plumbeam::solve::{Options, Outcome};

/// The rms of n peaks scatters by 1/sqrt(4 n) of itself: 10 % for the smallest session; with
/// the fitted terms' share 25 % is beyond what chance does.
const RMS_SHARE: f64 = 0.25;

#[test]
fn every_clean_session_gives_back_its_truth() {
    for reference in sessions() {
        if reference.name == "one-corner" || !reference.bad_rows().is_empty() {
            continue;
        }
        let outcome = reference.solve(&Options {
            terms: Some(reference.fit_terms()),
            ..Options::default()
        });
        assert_terms_near_truth(&reference, &outcome);
        for term in reference.fit_terms() {
            let estimate = outcome.terms.iter().find(|t| t.term == term);
            let state = estimate.map(|e| e.state);
            assert_eq!(
                state,
                Some(TermState::Fitted),
                "{}: {term:?}",
                reference.name
            );
        }
        let expected = reference.noise_deg() * std::f64::consts::SQRT_2;
        let after = outcome.rms_after.degrees();
        assert!(
            (after / expected - 1.0).abs() <= RMS_SHARE,
            "{}: rms after {after}, expected about {expected}",
            reference.name
        );
        assert!(outcome.rms_before > outcome.rms_after * 3.0);
    }
}

#[test]
fn one_corner_cannot_tell_collimation_from_the_azimuth_zero() {
    let reference = crate::common::session("one-corner");
    let outcome = reference.solve(&Options {
        terms: Some(reference.fit_terms()),
        ..Options::default()
    });
    let held: Vec<_> = (outcome.terms.iter())
        .filter(|t| t.state == TermState::NotSeparable)
        .collect();
    assert!(!held.is_empty());
    for term in &held {
        assert_eq!(term.shown(), 0.0, "a term that is not told is held at zero");
        assert!(term.shown_sigma().is_none());
    }
    assert_terms_near_truth(&reference, &outcome);
    let said = &outcome.not_separable[0];
    assert!(said.meaning.contains("azimuth-zero") && said.meaning.contains("collimation"));
    assert!(said.remedy.contains("elevation"), "{}", said.remedy);
}

#[test]
fn an_arc_of_the_sky_gives_honest_wide_uncertainties() {
    let reference = crate::common::session("arc-only");
    let outcome = reference.solve(&Options {
        terms: Some(reference.fit_terms()),
        ..Options::default()
    });
    let wide = (outcome.terms.iter())
        .filter_map(|t| t.shown_sigma())
        .fold(0.0, f64::max);
    // The noise of a peak is 0.08 deg; a healthy sky tells each term to about a quarter of it.
    assert!(wide > 0.3, "widest sigma {wide}");
    assert!(
        outcome
            .warnings
            .iter()
            .any(|w| matches!(w.remark, Remark::ToldOnlyTogether { .. })),
        "{:?}",
        outcome.warnings
    );
}

#[test]
fn unknown_north_needs_no_guess() {
    let reference = crate::common::session("unknown-north");
    let outcome = reference.solve(&Options::default());
    assert_terms_near_truth(&reference, &outcome);
    assert!(outcome.before_note.is_some());
}

/// What every mount has a little of is fitted always.
fn is_usual(term: plumbeam::mount::Term) -> bool {
    use plumbeam::mount::Group;
    Group::ALL[..6].contains(&term.group())
        || matches!(
            term.group(),
            Group::AzimuthBacklash | Group::ElevationBacklash
        )
}

/// A truth counts as significant from so many of the sigmas that a fit with all true terms
/// gives it; weaker ones no data can be asked for.
const SIGNIFICANT: f64 = 5.0;

#[test]
fn left_to_choose_it_admits_what_is_there_and_nothing_else() {
    for reference in sessions() {
        let chosen = reference.solve(&Options::default());
        assert_terms_near_truth(&reference, &chosen);
        let fitted = |outcome: &Outcome, term| {
            (outcome.terms.iter()).any(|t| t.term == term && t.state == TermState::Fitted)
        };
        for estimate in &chosen.terms {
            assert!(
                reference.fit_terms().contains(&estimate.term) || is_usual(estimate.term),
                "{}: {:?} admitted but not there",
                reference.name,
                estimate.term
            );
        }
        if reference.name == "one-corner" {
            continue;
        }
        let told = reference.solve(&Options {
            terms: Some(reference.fit_terms()),
            ..Options::default()
        });
        for estimate in &told.terms {
            let Some(sigma) = estimate.shown_sigma() else {
                continue;
            };
            if reference.truth_of(estimate.term).abs() > SIGNIFICANT * sigma {
                assert!(
                    fitted(&chosen, estimate.term),
                    "{}: {:?} left out",
                    reference.name,
                    estimate.term
                );
            }
        }
    }
}

#[test]
fn bad_points_are_found_and_no_good_one_lost() {
    let reference = crate::common::session("bad-points");
    let outcome = reference.solve(&Options::default());
    let rejected: Vec<usize> = (outcome.peaks.iter())
        .filter(|p| !p.used)
        .map(|p| p.row)
        .collect();
    assert_eq!(rejected, reference.bad_rows());
}

#[test]
fn a_hard_choice_of_terms_is_made_right() {
    let reference = crate::common::of("choice", "skew-droop-runout");
    let chosen = reference.solve(&Options::default());
    // With skew, droop and runout given the fit leaves 0.018 deg; without one of them several
    // times as much.
    assert!(
        chosen.rms_after.degrees() < 0.02,
        "{}",
        chosen.rms_after.degrees()
    );
    for term in [
        "axis-skew",
        "droop",
        "azimuth-runout-cos",
        "azimuth-runout-sin",
    ] {
        let estimate = chosen
            .terms
            .iter()
            .find(|t| plumbeam::mount::Kind::AzEl.term_name(t.term) == term);
        assert_eq!(estimate.map(|e| e.state), Some(TermState::Fitted), "{term}");
    }
}
