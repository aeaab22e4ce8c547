//! `solve` and `faults` are two views of one analysis: for the same log and options they never
//! differ in a value, a bad row or its name.

use crate::practice::{designs, healthy, stations};
use plumbeam::faults::{Fault, diagnose};
use plumbeam::logbook::PeakLog;
use plumbeam::mount::Group;
use plumbeam::sky::Sky;
use plumbeam::solve::{Options, Outcome, solve};
use plumbeam::station::Station;
use rayon::prelude::*;

/// Simulated sessions.
const SESSIONS: u64 = 60;

/// The fault that a group of mount terms is, with how its size follows from the values.
fn size_of(outcome: &Outcome, fault: Fault) -> Option<f64> {
    let group = match fault {
        Fault::AzimuthBacklash => Group::AzimuthBacklash,
        Fault::ElevationBacklash => Group::ElevationBacklash,
        Fault::AzimuthRunout => Group::AzimuthRunout,
        Fault::Clock => Group::ClockOffset,
        _ => return None,
    };
    let values: Vec<f64> = (outcome.terms.iter())
        .filter(|t| t.term.group() == group)
        .map(|t| t.shown())
        .collect();
    match values.as_slice() {
        [one] => Some(*one),
        [cos, sin] => Some(cos.hypot(*sin)),
        _ => None,
    }
}

/// What the two verbs say of a session; `false` when neither can say anything.
fn agree(station: &Station, sky: &Sky, log: &PeakLog, name: &str) -> bool {
    let options = Options {
        seed: 1,
        ..Options::default()
    };
    let (Ok(outcome), Ok(diagnosis)) = (
        solve(station, sky, log, &options),
        diagnose(station, sky, log, &options),
    ) else {
        return false;
    };
    // A degree through radians and back costs a rounding error.
    const ROUNDING: f64 = 1e-12;
    for finding in &diagnosis.findings {
        let two_places = diagnosis
            .explanation
            .two_places
            .iter()
            .any(|t| finding.size == Some(t.apart.degrees()));
        if let (Some(size), Some(value), false) =
            (finding.size, size_of(&outcome, finding.fault), two_places)
            && finding.rows.is_empty()
        {
            assert!(
                (size - value).abs() <= ROUNDING * size.abs().max(1.0),
                "{name}: {} {size} and {value}",
                finding.fault
            );
        }
    }
    let mut bad: Vec<usize> = (diagnosis.explanation.bad_peaks.iter())
        .map(|b| b.row)
        .collect();
    bad.sort_unstable();
    let rejected: Vec<usize> = (outcome.peaks.iter())
        .filter(|p| !p.used && !p.why.starts_with("the log says"))
        .map(|p| p.row)
        .collect();
    let rejected: Vec<usize> = (rejected.into_iter())
        .filter(|r| {
            diagnosis
                .explanation
                .session
                .peaks
                .iter()
                .any(|p| p.row == *r)
        })
        .collect();
    assert_eq!(bad, rejected, "{name}");
    for finding in diagnosis
        .findings
        .iter()
        .filter(|f| matches!(f.fault, Fault::Sidelobe | Fault::DigitSlip) && !f.rows.is_empty())
    {
        let word = match finding.fault {
            Fault::Sidelobe => "sidelobe",
            _ => "digit",
        };
        for row in &finding.rows {
            let why = outcome.peaks.iter().find(|p| p.row == *row).map(|p| &p.why);
            assert!(
                why.is_some_and(|w| w.contains(word)),
                "{name} row {row}: {why:?}"
            );
        }
    }
    true
}

#[test]
fn the_two_views_agree_on_every_reference_session() {
    for reference in crate::common::sessions() {
        let (station, sky, log) = reference.read();
        assert!(agree(&station, &sky, &log, &reference.name));
    }
    for name in ["base-knock", "dish-knock", "three-per-turn", "heavy-tails"] {
        let (station, sky, log) = crate::common::of("knocks", name).read();
        assert!(agree(&station, &sky, &log, name));
    }
}

#[test]
fn the_two_views_agree_on_simulated_sessions() {
    let stations = stations();
    let designs = designs();
    let compared: usize = (1..=SESSIONS)
        .into_par_iter()
        .map(|seed| {
            let made = if seed % 2 == 0 {
                healthy(&stations, 40_000 + seed)
            } else {
                let design = &designs[seed as usize / 2 % designs.len()];
                design.make(&stations, design.promised, 40_000 + seed)
            };
            let Some(made) = made.filter(|m| m.log.peaks.len() <= 130) else {
                return 0;
            };
            let sky = made.sky.as_ref().unwrap_or(&stations[made.place].sky);
            usize::from(agree(
                &made.station,
                sky,
                &made.log,
                &format!("seed {seed}"),
            ))
        })
        .sum();
    assert!(compared > 45, "{compared} sessions compared");
}
