//! The guard, proved by properties on random mounts, states and demands.

use nalgebra::Vector3;
use plumbeam::angle::{Angle, angle_between};
use plumbeam::live::{
    Axes, Beam, Goal, GuardDecision, Refused, Rules, Situation, SunZone, Travel, decide,
    largest_rate, strayed,
};
use plumbeam::mount::{ApproachSigns, MountModel, Term, TermValues};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// The guard rounds to the safe side; what is checked is checked to rounding.
const ROUNDING: f64 = 1e-9;

/// From inside the zone the guard looks at every quarter of a degree; what the distance may fall in
/// between, degrees.
const BETWEEN_LOOKS: f64 = 1e-4;

struct Case {
    mount: MountModel,
    rules: Rules,
    situation: Situation,
    goal: Goal,
}

impl Beam for Case {
    fn beam(&self, axes: Axes) -> Vector3<f64> {
        self.mount.beam_vector(axes.into(), ApproachSigns::UNKNOWN)
    }
}

/// A mount with errors of every kind, somewhere, with the Sun somewhere, told to go somewhere.
fn case(rng: &mut ChaCha8Rng) -> Case {
    let mut terms = TermValues::ZERO;
    for term in [
        Term::AzimuthZero,
        Term::ElevationZero,
        Term::TiltNorth,
        Term::TiltEast,
        Term::Collimation,
        Term::AxisSkew,
        Term::Droop,
        Term::AzimuthRunoutCos,
        Term::ElevationRunoutSin,
        Term::TrackWarpSin,
    ] {
        terms = terms.with_shown(term, rng.random_range(-2.0..2.0));
    }
    let mount = MountModel::az_el(terms);
    let low = Axes::from_degrees(rng.random_range(-270.0..0.0), rng.random_range(-5.0..5.0));
    let high = Axes::from_degrees(rng.random_range(270.0..540.0), rng.random_range(60.0..90.0));
    let range = Travel { low, high };
    let folder = |rng: &mut ChaCha8Rng, beyond: f64| {
        let beyond = Angle::from_degrees(beyond);
        let along = |low: Angle, high: Angle, share: f64| {
            (low - beyond) + (high - low + beyond * 2.0) * share
        };
        let (one, two) = (rng.random::<f64>(), rng.random::<f64>());
        Axes([
            along(low.0[0], high.0[0], one),
            along(low.0[1], high.0[1], two),
        ])
    };
    // Usually within the range, sometimes outside; often near the Sun.
    let outside = if rng.random_bool(0.05) { 12.0 } else { 0.0 };
    let mut here = folder(rng, outside);
    let beyond = if rng.random_bool(0.05) { 10.0 } else { 0.0 };
    let mut goal = folder(rng, beyond);
    let near = |rng: &mut ChaCha8Rng, at: Axes, within: f64| {
        let off = |rng: &mut ChaCha8Rng| Angle::from_degrees(rng.random_range(-within..within));
        Axes([at.0[0] + off(rng), at.0[1] + off(rng)])
    };
    if rng.random_bool(0.4) {
        goal = near(rng, here, 30.0);
    }
    let sent = match rng.random_range(0..3) {
        0 => None,
        1 => Some(goal),
        _ => Some(near(rng, here, 10.0)),
    };
    let beam = |axes: Axes| mount.beam_vector(axes.into(), ApproachSigns::UNKNOWN);
    let sun_at = match rng.random_range(0..4) {
        0 => folder(rng, 0.0),
        1 => near(rng, goal, 25.0),
        2 => near(rng, here, 25.0),
        _ => near(rng, range.nearest(here), 12.0),
    };
    let rules = Rules {
        range,
        leash: Angle::from_degrees(rng.random_range(1.0..15.0)),
        deadband: Angle::from_degrees(rng.random_range(0.0..0.3)),
    };
    let zone = rng.random_bool(0.9).then(|| SunZone {
        sun: beam(sun_at),
        radius: Angle::from_degrees(rng.random_range(2.0..20.0)),
        rate: 0.0,
    });
    let mut goal = Goal {
        at: goal,
        new: rng.random_bool(0.5),
    };
    if rng.random_bool(0.01) {
        goal.at.0[rng.random_range(0..2)] = Angle::from_radians(f64::NAN);
    }
    if rng.random_bool(0.01) {
        here.0[rng.random_range(0..2)] = Angle::from_radians(f64::INFINITY);
    }
    let mut case = Case {
        mount,
        rules,
        situation: Situation { here, sent, zone },
        goal,
    };
    // The same for all: the largest rate of errors of this size.
    let rate = 1.12;
    if let Some(zone) = &mut case.situation.zone {
        zone.rate = rate;
    }
    case
}

/// What is wrong with a decision; nothing when it keeps to what the guard promises.
fn fault(case: &Case, decision: GuardDecision, rng: &mut ChaCha8Rng) -> Option<String> {
    let GuardDecision::Send(to) = decision else {
        return None;
    };
    let here = case.situation.here;
    if !to.is_finite() {
        return Some("not a number".to_owned());
    }
    if !case.rules.range.holds(to) {
        return Some("outside the ranges".to_owned());
    }
    if here.way_to(to).degrees() > case.rules.leash.degrees() + ROUNDING {
        return Some("farther than the leash".to_owned());
    }
    let zone = case.situation.zone?;
    let distance = |axes: Axes| angle_between(&case.beam(axes), &zone.sun).degrees();
    let radius = zone.radius.degrees();
    let share = |a: Angle, b: Angle, t: f64| a + (b - a) * t;
    let at = |s: f64, t: f64| Axes([share(here.0[0], to.0[0], s), share(here.0[1], to.0[1], t)]);
    if distance(here) >= radius {
        // No reading of the whole box comes into the zone.
        for k in 0..60 {
            let (s, t) = match k {
                0..4 => (f64::from(k % 2), f64::from(k / 2)),
                _ => (rng.random(), rng.random()),
            };
            if distance(at(s, t)) < radius - ROUNDING {
                return Some(format!(
                    "the box of travel enters the zone at {:?}",
                    at(s, t)
                ));
            }
        }
        return None;
    }
    // From inside: on a way of the axes at their own speeds the distance grows until it is out.
    let pace: f64 = rng.random_range(0.0..4.0);
    let mut last = distance(here);
    for k in 1..=50 {
        let s = f64::from(k) / 50.0;
        let now = distance(at(s, (s * pace).min(1.0)));
        if last < radius && now < last - BETWEEN_LOOKS {
            return Some(format!("a way from inside comes nearer: {last} to {now}"));
        }
        if last >= radius && now < radius - ROUNDING {
            return Some("a way from inside comes back".to_owned());
        }
        last = now;
    }
    if distance(to) <= distance(here) {
        return Some("a way from inside does not lead out".to_owned());
    }
    None
}

/// How often each kind of decision was met, so that a proof of nothing is noticed.
#[derive(Debug, Default)]
pub struct Met {
    pub sent: u64,
    pub sent_from_inside: u64,
    pub sent_round_about: u64,
    pub kept: u64,
    pub refused: u64,
}

/// Tries so many random cases.
pub fn prove(cases: u64, seed: u64) -> Met {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut met = Met::default();
    for k in 0..cases {
        let case = case(&mut rng);
        let decision = decide(&case.rules, &case, &case.situation, case.goal);
        if let Some(fault) = fault(&case, decision, &mut rng) {
            panic!(
                "case {k} of seed {seed}: {fault}\n{:?}\n{:?}\n{:?}\n{decision:?}",
                case.rules, case.situation, case.goal
            );
        }
        match decision {
            GuardDecision::Send(to) => {
                met.sent += 1;
                let inside = |zone: SunZone| zone.holds(&case, case.situation.here);
                if case.situation.zone.is_some_and(inside) {
                    met.sent_from_inside += 1;
                } else if to != case.situation.here.toward(case.goal.at, case.rules.leash) {
                    met.sent_round_about += 1;
                }
            }
            GuardDecision::Keep => met.kept += 1,
            GuardDecision::Refuse(_) => met.refused += 1,
        }
    }
    met
}

#[test]
fn whatever_is_sent_keeps_the_promises() {
    // A million of them: cargo bench --bench relay -- guard
    let met = prove(3_000, 1);
    assert!(met.sent > 600 && met.sent_from_inside > 15, "{met:?}");
    assert!(met.sent_round_about > 15 && met.kept > 30, "{met:?}");
    assert!(met.refused > 150, "{met:?}");
}

#[test]
fn the_rate_of_the_proof_covers_its_mounts() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    for _ in 0..40 {
        let case = case(&mut rng);
        let rate = largest_rate(&case, case.rules.range);
        assert!(rate < 1.12 * 1.05, "{rate}");
    }
}

fn plain(axes: Axes) -> Vector3<f64> {
    let [a, e] = axes.0.map(Angle::radians);
    Vector3::new(e.cos() * a.sin(), e.cos() * a.cos(), e.sin())
}

fn rules() -> Rules {
    Rules {
        range: Travel::between(
            Axes::from_degrees(-180.0, 0.0),
            Axes::from_degrees(540.0, 90.0),
        ),
        leash: Angle::from_degrees(10.0),
        deadband: Angle::from_degrees(0.1),
    }
}

fn asked(
    here: (f64, f64),
    sent: Option<(f64, f64)>,
    goal: (f64, f64),
    zone: Option<SunZone>,
) -> GuardDecision {
    let at = |(one, two): (f64, f64)| Axes::from_degrees(one, two);
    let situation = Situation {
        here: at(here),
        sent: sent.map(at),
        zone,
    };
    let goal = Goal {
        at: at(goal),
        new: true,
    };
    decide(&rules(), &plain, &situation, goal)
}

#[test]
fn a_far_goal_is_approached_on_the_leash() {
    let send = |one, two| GuardDecision::Send(Axes::from_degrees(one, two));
    let near = |decision: GuardDecision, one: f64, two: f64| match (decision, send(one, two)) {
        (GuardDecision::Send(a), GuardDecision::Send(b)) => a.way_to(b).degrees() < ROUNDING,
        _ => false,
    };
    assert!(near(
        asked((0.0, 10.0), None, (100.0, 12.0), None),
        10.0,
        12.0
    ));
    assert!(near(
        asked((95.0, 12.0), None, (100.0, 12.0), None),
        100.0,
        12.0
    ));
    // Below the deadband from what was last sent, wherever the mount is.
    assert_eq!(
        asked((95.0, 12.0), Some((100.0, 12.0)), (100.05, 12.0), None),
        GuardDecision::Keep
    );
    assert!(near(
        asked((95.0, 12.0), Some((100.0, 12.0)), (100.15, 12.0), None),
        100.15,
        12.0
    ));
}

#[test]
fn what_is_out_of_range_is_refused_and_who_is_outside_may_return() {
    assert_eq!(
        asked((0.0, 10.0), None, (541.0, 12.0), None),
        GuardDecision::Refuse(Refused::OutOfRange)
    );
    assert!(
        matches!(asked((545.0, 10.0), None, (530.0, 12.0), None), GuardDecision::Send(to)
        if (to.degrees()[0] - 535.0).abs() < ROUNDING)
    );
    assert_eq!(
        asked((555.0, 10.0), None, (530.0, 12.0), None),
        GuardDecision::Refuse(Refused::TooFarOutside)
    );
    assert_eq!(
        asked((f64::NAN, 10.0), None, (530.0, 12.0), None),
        GuardDecision::Refuse(Refused::NoNumber)
    );
}

#[test]
fn round_about_the_sun_or_not_at_all() {
    let zone = SunZone {
        sun: plain(Axes::from_degrees(180.0, 40.0)),
        radius: Angle::from_degrees(10.0),
        rate: 1.05,
    };
    // Straight from east to west at its height passes the Sun: the first step goes up or down.
    let GuardDecision::Send(to) = asked((165.0, 40.0), None, (195.0, 40.0), Some(zone)) else {
        panic!("there is a way round");
    };
    assert!((to.degrees()[1] - 40.0).abs() > 1.0, "{to:?}");
    assert_eq!(
        asked((100.0, 40.0), None, (182.0, 38.0), Some(zone)),
        GuardDecision::Refuse(Refused::GoalNearSun)
    );
    // From inside only outward.
    assert!(matches!(
        asked((184.0, 44.0), None, (250.0, 80.0), Some(zone)),
        GuardDecision::Send(_)
    ));
    // A wall of Sun: nothing reaches past it.
    let wide = SunZone {
        radius: Angle::from_degrees(60.0),
        sun: plain(Axes::from_degrees(180.0, 45.0)),
        ..zone
    };
    assert_eq!(
        asked((60.0, 20.0), None, (180.0, 44.0), Some(wide)),
        GuardDecision::Refuse(Refused::GoalNearSun)
    );
}

#[test]
fn a_reading_off_its_way_has_strayed() {
    let at = Axes::from_degrees;
    let way = [at(10.0, 30.0), at(20.0, 30.0)];
    assert_eq!(strayed(&way, at(15.0, 31.0)), None);
    assert_eq!(strayed(&way, at(8.5, 30.0)), None);
    assert!(strayed(&way, at(7.5, 30.0)).is_some());
    assert!(strayed(&way, at(15.0, 32.5)).is_some());
    assert!(strayed(&way[..1], at(15.0, 30.0)).is_some());
    assert!(strayed(&way, at(f64::NAN, 30.0)).is_some());
}
