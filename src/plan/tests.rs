use std::path::Path;

use super::design::Design;
use super::*;
use crate::station::EmitterKind;

/// The demo's simulated station.
fn station() -> Station {
    Station::read(Path::new("demo-data/station.toml")).unwrap()
}

fn span(sky: &Sky, minutes: f64) -> PlanRequest {
    let from = Utc::parse("2026-09-12T09:00:00Z").unwrap();
    PlanRequest::new(sky, from, from.plus_seconds(60.0 * minutes))
}

fn planned(request: impl FnOnce(&Sky) -> PlanRequest) -> Plan {
    let station = station();
    let sky = Sky::new(&station).unwrap();
    let request = request(&sky);
    plan(&station, &sky, &Known::default(), &request).unwrap()
}

#[test]
fn steps_are_in_order_one_per_slot_within_the_span_and_in_reach() {
    let station = station();
    let sky = Sky::new(&station).unwrap();
    let request = span(&sky, 120.0);
    let plan = plan(&station, &sky, &Known::default(), &request).unwrap();
    assert_eq!(plan.steps.len(), 24);
    for pair in plan.steps.windows(2) {
        let between = pair[1].candidate.time.seconds_since(pair[0].candidate.time);
        assert!(between >= request.every_s - 1e-6);
    }
    for step in &plan.steps {
        let c = &step.candidate;
        assert!(request.from <= c.time && c.time <= request.to);
        let now = sky.apparent(&c.name, c.time).unwrap();
        // A track is interpolated to 0.001 arcsec.
        assert!(now.separation(&c.direction).arcseconds() < 0.01);
        let fixed = matches!(
            station.emitter(&c.name).unwrap().kind,
            EmitterKind::Beacon { .. }
        );
        assert!(fixed || now.elevation() >= request.lowest);
        let (low, high) = station.mount.azimuth_range;
        assert!(low <= step.reading.azimuth && step.reading.azimuth <= high);
    }
}

#[test]
fn more_peaks_leave_a_smaller_error() {
    let left = |minutes: f64| planned(|sky| span(sky, minutes)).error.1;
    assert!(left(30.0) > left(60.0) && left(60.0) > left(120.0));
}

#[test]
fn too_many_slots_are_spread_over_the_span() {
    let plan = planned(|sky| PlanRequest {
        most: 6,
        ..span(sky, 120.0)
    });
    assert_eq!(plan.steps.len(), 6);
    assert!((plan.every_s - 1200.0).abs() < 1e-9);
}

/// Candidates of a short span, few enough to try every combination.
#[test]
fn the_search_finds_nearly_the_best_of_all_combinations() {
    /// An exchange may stop at a neighbour of the best.
    const NEARLY: f64 = 1.02;
    let station = station();
    let sky = Sky::new(&station).unwrap();
    let request = PlanRequest {
        every_s: 900.0,
        ..span(&sky, 60.0)
    };
    let known = Known::default();
    let slots = slots(&request).unwrap();
    let offer = offer(&station, &sky, &known, &request, &slots);
    let sigma = station.dish.beamwidth * BY_HAND;
    let design = Design::new(&station, &known, &Term::BASIC, sigma, &offer.candidates);
    let found = design.price(&design.search());
    let least = design.least_price_of_all();
    assert!(found <= NEARLY * least, "{found} {least}");
    assert!(found >= least * (1.0 - 1e-9));
}

#[test]
fn the_plan_beats_staying_on_one_emitter() {
    let whole = planned(|sky| span(sky, 120.0));
    for name in ["sun", "fenlight-1", "hightide-1"] {
        let one = planned(|sky| PlanRequest {
            emitters: vec![sky.emitter(name).unwrap()],
            named: true,
            ..span(sky, 120.0)
        });
        assert!(one.error.1 > whole.error.1 * 2.0, "{name}");
    }
}

#[test]
fn one_beacon_alone_leaves_terms_undetermined_and_says_what_would_help() {
    let plan = planned(|sky| PlanRequest {
        emitters: vec![sky.emitter("mill-beacon").unwrap()],
        named: true,
        ..span(sky, 60.0)
    });
    let untold = plan.not_separable();
    // Two readings of one direction determine two combinations of seven terms.
    assert!(untold.len() >= 5, "{untold:?}");
    assert!(
        plan.to_tell.contains("two peaks near azimuth"),
        "{}",
        plan.to_tell
    );
    assert!(
        plan.steps
            .iter()
            .all(|s| s.candidate.degrees_a_minute() == 0.0)
    );
}

#[test]
fn backlash_is_measured_from_both_sides() {
    let with = planned(|sky| PlanRequest {
        terms: Some([&Term::BASIC[..], &[Term::AzimuthBacklash]].concat()),
        ..span(sky, 120.0)
    });
    let sides = |sign: f64| {
        (with.steps.iter())
            .filter(|s| s.approach.azimuth == sign)
            .count()
    };
    assert!(sides(1.0) >= 6 && sides(-1.0) >= 6 && sides(0.0) == 0);
    assert!(with.steps.iter().all(|s| s.approach.elevation == 0.0));
    assert!(!with.not_separable().contains(&Term::AzimuthBacklash));
}

#[test]
fn a_clock_offset_is_determined_by_a_fast_emitter() {
    let with = |names: &[&str]| {
        planned(|sky| PlanRequest {
            emitters: names.iter().map(|n| sky.emitter(n).unwrap()).collect(),
            named: true,
            terms: Some([&Term::BASIC[..], &[Term::ClockOffset]].concat()),
            ..span(sky, 120.0)
        })
    };
    let clock = |plan: &Plan| {
        (plan.predictions.iter())
            .find(|p| p.term == Term::ClockOffset)
            .unwrap()
            .after
    };
    let still = with(&["fenlight-1", "fenlight-2", "fenlight-3"]);
    assert!(still.not_separable().contains(&Term::ClockOffset));
    assert!(clock(&with(&["fenlight-1", "fenlight-2", "marshbird-1"])) < clock(&still) / 20.0);
}

#[test]
fn a_source_too_faint_for_the_dish_is_passed_over_unless_named() {
    let mut station = station();
    station.emitters.push(crate::station::Emitter {
        name: "Cas A".to_owned(),
        kind: EmitterKind::RadioSource {
            right_ascension: Angle::from_degrees(350.85),
            declination: Angle::from_degrees(58.815),
        },
    });
    let sky = Sky::new(&station).unwrap();
    let all = span(&sky, 60.0);
    let without = plan(&station, &sky, &Known::default(), &all).unwrap();
    let over = (without.passed_over.iter())
        .find(|p| p.emitter == "Cas A")
        .unwrap();
    assert!(over.why.contains("too faint"), "{}", over.why);
    let named = PlanRequest {
        emitters: vec![sky.emitter("Cas A").unwrap()],
        named: true,
        ..all
    };
    let with = plan(&station, &sky, &Known::default(), &named).unwrap();
    assert!(with.steps.iter().all(|s| s.candidate.name == "Cas A"));
    assert_eq!(with.steps.len(), 6);
}

/// The demo's station as one whose dish hears the Sun only.
fn sun_only(from: &str, hours: f64, change: impl FnOnce(&mut PlanRequest)) -> Plan {
    let mut station = station();
    station.emitters.retain(|e| e.kind.is_sun());
    let sky = Sky::new(&station).unwrap();
    let from = Utc::parse(from).unwrap();
    let mut request = PlanRequest::new(&sky, from, from.plus_seconds(3600.0 * hours));
    change(&mut request);
    plan(&station, &sky, &Known::default(), &request).unwrap()
}

#[test]
fn with_the_sun_alone_the_peaks_are_visits_spread_over_the_day() {
    let day = sun_only("2026-09-12T04:00:00Z", 14.0, |_| {});
    let visits = day.visits();
    assert!((5..=8).contains(&visits.len()), "{visits:?}");
    assert_eq!(day.steps.len(), 3 * visits.len());
    let time = |i: usize| day.steps[i].candidate.time;
    for pair in visits.windows(2) {
        let hours = time(pair[1]).seconds_since(time(pair[0])) / 3600.0;
        assert!((1.0..3.0).contains(&hours), "{hours}");
    }
    // From soon after it rises above the limit until soon before it sinks below it.
    let elevations: Vec<f64> = (day.steps.iter())
        .map(|s| s.candidate.direction.elevation().degrees())
        .collect();
    assert!(elevations[0] < 16.0 && elevations[elevations.len() - 1] < 16.0);
    assert!(elevations.iter().any(|e| *e > 40.0));
    // The same number of peaks in a row at noon is worth less.
    let row = sun_only("2026-09-12T11:00:00Z", 0.9, |r| {
        r.every_s = 54.0 * 60.0 / day.steps.len() as f64;
    });
    assert!(row.steps.len() >= day.steps.len() - 1);
    assert!(
        row.error.1 > day.error.1 * 2.0,
        "{:?} {:?}",
        row.error,
        day.error
    );
}

#[test]
fn with_the_sun_alone_the_plan_says_when_to_come_back_and_that_helps() {
    let morning = sun_only("2026-09-12T07:00:00Z", 2.0, |_| {});
    let alone = morning.alone.as_ref().unwrap();
    assert_eq!(alone.emitter, "sun");
    assert!(!alone.returns.is_empty());
    let mut left = morning.error.1;
    for next in &alone.returns {
        let after = next
            .time
            .seconds_since(morning.steps.last().unwrap().candidate.time);
        assert!((0.0..=86_400.0 + 3600.0).contains(&after), "{after}");
        assert!(next.direction.elevation().degrees() >= 10.0);
        assert!(next.left < left);
        left = next.left;
    }
    assert!(
        left < morning.error.1 * 0.7,
        "{left:?} {:?}",
        morning.error.1
    );
    // The stated remaining error is that of a plan that includes those peaks.
    let first = &alone.returns[0];
    let both = sun_only("2026-09-12T07:00:00Z", 2.0, |r| {
        r.to = first.time.plus_seconds(450.0);
        r.most = morning.steps.len() + 3;
    });
    /// The visits between do not lie at the same times.
    const ABOUT: f64 = 1.5;
    let ratio = both.error.1 / first.left;
    assert!((1.0 / ABOUT..ABOUT).contains(&ratio), "{ratio}");
    // One path across the sky leaves something undetermined, and that is named.
    let by_day = sun_only("2026-09-12T04:00:00Z", 14.0, |r| r.every_s = 1200.0);
    assert!(!alone.not_told_in_a_day.is_empty());
    for term in &alone.not_told_in_a_day {
        assert!(by_day.not_separable().contains(term), "{term:?}");
    }
}

#[test]
fn single_emitter_advice_needs_one_emitter_that_moves() {
    let station = station();
    let sky = Sky::new(&station).unwrap();
    let all = span(&sky, 120.0);
    let whole = plan(&station, &sky, &Known::default(), &all).unwrap();
    assert!(whole.alone.is_none());
    assert_eq!(whole.visits(), [0]);
    // A beacon does not move: there is nothing to spread and no reason to come back.
    let beacon = planned(|sky| PlanRequest {
        emitters: vec![sky.emitter("mill-beacon").unwrap()],
        named: true,
        ..span(sky, 120.0)
    });
    assert!(beacon.alone.is_none());
    assert_eq!(beacon.steps.len(), 24);
}

#[test]
fn when_nothing_is_up_the_plan_names_what_rises_next() {
    let mut station = station();
    station.emitters.retain(|e| e.kind.is_sun());
    let sky = Sky::new(&station).unwrap();
    let from = Utc::parse("2026-09-12T22:00:00Z").unwrap();
    let request = PlanRequest::new(&sky, from, from.plus_seconds(3600.0));
    let error = plan(&station, &sky, &Known::default(), &request).unwrap_err();
    assert_eq!(error.exit_code(), 4);
    let said = error.to_string();
    assert!(said.contains("sun (below the horizon)"), "{said}");
    // Sunrise there and then is at about 5 h UTC, and the horizon mask takes 14 degrees in the
    // east.
    assert!(
        said.contains("help: can be observed next: sun from 2026-09-13T06:"),
        "{said}"
    );
}

#[test]
fn a_trial_of_one_more_choice_has_the_price_computed_from_scratch() {
    /// Rounding of sums of squares that differ by five orders of magnitude.
    const ROUNDING: f64 = 1e-7;
    let station = station();
    let sky = Sky::new(&station).unwrap();
    let request = span(&sky, 90.0);
    let known = Known::default();
    let offer = offer(&station, &sky, &known, &request, &slots(&request).unwrap());
    let terms = [
        &Term::BASIC[..],
        &[Term::Droop, Term::AzimuthBacklash, Term::ClockOffset],
    ]
    .concat();
    let sigma = station.dish.beamwidth * BY_HAND;
    let design = Design::new(&station, &known, &terms, sigma, &offer.candidates);
    let worst = design.worst_trial(&design.search());
    assert!(worst < ROUNDING, "{worst}");
}

#[test]
fn old_orbits_of_many_satellites_are_one_warning() {
    let station = station();
    let sky = Sky::new(&station).unwrap();
    let from = Utc::parse("2026-11-12T09:00:00Z").unwrap();
    let request = PlanRequest::new(&sky, from, from.plus_seconds(7200.0));
    let plan = plan(&station, &sky, &Known::default(), &request).unwrap();
    let old: Vec<&String> = (plan.warnings.iter())
        .filter(|w| w.contains("orbit elements"))
        .collect();
    assert_eq!(old.len(), 1, "{old:?}");
    assert!(old[0].starts_with("10 satellites (fenlight-1, "), "{old:?}");
}

#[test]
fn a_source_close_to_the_sun_is_passed_over_but_the_sun_is_not() {
    let mut station = station();
    let sky = Sky::new(&station).unwrap();
    let request = span(&sky, 60.0);
    // Position of the Sun on that day, from the Astronomical Almanac's low-precision formula (from
    // memory): right ascension 170.9, declination 3.9 degrees, to half a degree.
    station.emitters.push(crate::station::Emitter {
        name: "hidden".to_owned(),
        kind: EmitterKind::RadioSource {
            right_ascension: Angle::from_degrees(170.9),
            declination: Angle::from_degrees(3.9),
        },
    });
    let sky_with = Sky::new(&station).unwrap();
    let request = PlanRequest {
        emitters: sky_with.emitters().collect(),
        ..request
    };
    let plan = plan(&station, &sky_with, &Known::default(), &request).unwrap();
    let over = (plan.passed_over.iter())
        .find(|p| p.emitter == "hidden")
        .unwrap();
    assert!(over.why.contains("of the Sun"), "{}", over.why);
    assert!(plan.steps.iter().any(|s| s.candidate.is_sun));
}

#[test]
fn a_span_that_makes_no_sense_is_refused() {
    let station = station();
    let sky = Sky::new(&station).unwrap();
    let mut timeless = span(&sky, 60.0);
    timeless.every_s = 0.0;
    for (request, says) in [
        (span(&sky, -10.0), "no later than it begins"),
        (timeless, "choose a longer --each"),
        (span(&sky, 3.0), "shorter than one peak"),
    ] {
        let error = plan(&station, &sky, &Known::default(), &request).unwrap_err();
        assert!(matches!(error, Error::Usage(_)) && error.to_string().contains(says));
    }
}
