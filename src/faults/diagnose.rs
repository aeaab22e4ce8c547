//! The diagnosis, from a log to its findings.

use crate::angle::Angle;
use crate::logbook::PeakLog;
use crate::mount::{Term, TermValues};
use crate::problem::Error;
use crate::sky::Sky;
use crate::solve::observe::observe;
use crate::solve::uncertainty::standard_deviations;
use crate::solve::words;
use crate::station::Station;

use super::alike::alike;
use super::beginnings::{Beginning, beginnings};
use super::case::cases;
use super::cause::Cause;
use super::contest::{Verdict, contest, price};
use super::evidence;
use super::finding::Finding;
use super::ground::{Ground, State};
use super::north::{self, compass};
use super::rivals::rivals;
use super::rows::bad_peaks;
use super::scatter::loose_joint;
use super::show::misses;
use super::sound::{absurd, falls_apart, scatter, too_good};
use super::worlds::{Setting, World};

/// How to diagnose.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Terms held at an inside value.
    pub holds: Vec<(Term, f64)>,
    /// Seed of everything random.
    pub seed: u64,
    /// Where to begin; none finds its own start.
    pub begin: Option<TermValues>,
}

/// What was found, and what it was found in.
#[derive(Clone, Debug)]
pub struct Diagnosis {
    /// Named faults, the best-supported first; empty when the session is healthy.
    pub findings: Vec<Finding>,
    /// What else the user should know: what could not be asked, bad peaks without a name.
    pub notes: Vec<String>,
    /// The peaks, with what was put right about the log as a whole.
    pub ground: Ground,
    /// The explanation found.
    pub state: State,
    /// How far each peak misses as logged, when something about the log as a whole was put
    /// right; none otherwise.
    pub as_logged: Option<Vec<Angle>>,
}

/// Fewer peaks, of two coordinates each, leave hardly any freedom beside the terms of a healthy
/// mount: their scatter is then near nothing in any world that shrinks the readings, and the
/// likelihood of such a world without bound.
const LEAST_PEAKS: usize = 6;

/// A world must be so improbable to look better by chance.
const FALSE_WORLD: f64 = 0.003;

/// Names the faults of a session.
///
/// Every false alarm is counted: of healthy sessions at most 2 % are accused of anything, as
/// measured in docs/faults.md.
///
/// # Errors
/// [`Error::Unsupported`] when there are too few usable peaks to judge anything by.
pub fn diagnose(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    options: &Options,
) -> Result<Diagnosis, Error> {
    let mut held = TermValues::ZERO;
    for (term, value) in &options.holds {
        held.set_inside(*term, *value);
    }
    let held_terms: Vec<Term> = options.holds.iter().map(|(t, _)| *t).collect();
    let setting = Setting {
        station,
        sky,
        log,
        clock_s: held.inside(Term::ClockOffset),
    };
    let found = observe(station, sky, log, setting.clock_s);
    if found.usable.is_empty() {
        return Err(Error::Unsupported(match found.unusable.first() {
            Some(first) => format!(
                "none of the {} peaks can be used; the first (row {}): {}",
                found.unusable.len(),
                first.peak.row,
                first.why
            ),
            None => "the log has no peaks".to_owned(),
        }));
    }
    let coordinates: usize = found.usable.iter().map(|o| o.coordinates()).sum();
    if coordinates < 2 * LEAST_PEAKS {
        return Err(Error::Unsupported(format!(
            "too few peaks to judge anything by ({} that can be used): log at least six, in \
             different parts of the sky, or twelve where only one axis is read",
            found.usable.len()
        )));
    }
    let mut notes = found.notices.clone();
    let sigmas = standard_deviations(&found.usable, station, &mut notes);
    let ground = Ground::new(
        cases(station, sky, &found.usable),
        sigmas,
        station.dish.beamwidth,
        held,
        &held_terms,
        options.seed,
    );
    notes.extend(not_asked(station, &ground));
    let plain = match &options.begin {
        None => ground.plain(),
        Some(_) => None,
    };
    if let Some((rms, without_air)) = too_good(&ground) {
        let finding = evidence::of_too_good(rms, without_air, ground.cases.len());
        return Ok(Diagnosis {
            findings: vec![finding],
            notes,
            state: first_state(&ground, options)?,
            ground,
            as_logged: None,
        });
    }
    let (as_logged, elsewhere) = match plain {
        Some((state, true)) => (Ok(state), Vec::new()),
        plain => whole_or_elsewhere(&setting, &ground, options, plain.map(|(state, _)| state)),
    };
    let begins: Vec<Beginning> = (as_logged.iter())
        .map(|state| Beginning {
            world: None,
            ground: ground.clone(),
            state: state.clone(),
        })
        .chain(elsewhere)
        .collect();
    let Some(best) = best_of(&setting, begins) else {
        return Err(as_logged
            .err()
            .unwrap_or_else(|| Error::Unsupported("the peaks cannot be fitted".to_owned())));
    };
    let logged_ground = ground;
    let Contestant {
        world,
        ground,
        verdict,
        false_alarm,
        sibling_worlds,
    } = best;
    if absurd(&ground, &verdict.state) {
        return Err(Error::Unsupported(makes_no_sense(&verdict.state)));
    }
    let mut findings = Vec::new();
    if let Some(world) = &world {
        let mut finding = evidence::of_world(
            world,
            station,
            as_logged.as_ref().ok(),
            &verdict.state,
            false_alarm,
            World::all().len(),
        );
        finding.strength = f64::INFINITY;
        notes.extend(sibling_worlds);
        findings.push(finding);
    }
    let missed = (world.is_some())
        .then_some(())
        .and(as_logged.as_ref().ok())
        .map(|state| misses(&logged_ground, state))
        .map(|all| all.into_iter().map(|(_, miss)| miss).collect());
    let tried = verdict.tried;
    let state = verdict.state;
    for (index, answer) in verdict.answers.iter().enumerate() {
        let mut finding = evidence::of_cause(&ground, &state, index, answer, tried);
        finding.rivals = rivals(station, sky, &ground, &state, index);
        findings.push(finding);
    }
    let mut loose = loose_joint(&ground, &state, &[]);
    if loose.is_some() {
        // Peaks that stand off alike are displaced, not loose.
        let bad = bad_peaks(station, sky, &ground, &state, None);
        if let Some(found) = alike(&ground, &state, &bad) {
            let apart: Vec<usize> = found.members.iter().map(|p| bad[*p].index).collect();
            loose = loose_joint(&ground, &state, &apart);
        }
    }
    let louder = loose.as_ref().map(|j| j.louder.as_slice());
    let bad = bad_peaks(station, sky, &ground, &state, louder);
    let (of_rows, unnamed) =
        evidence::of_rows(&ground, &bad, alike(&ground, &state, &bad).as_ref());
    findings.extend(of_rows);
    notes.extend(unnamed);
    findings.extend(loose.map(|j| evidence::of_scatter(&j)));
    match by_compass(station, &ground, &state) {
        Some(c) if c.false_alarm <= north::FALSE_ALARM => findings.push(evidence::of_compass(&c)),
        Some(c) => notes.push(evidence::hint_of_compass(&c)),
        None => {}
    }
    findings.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    Ok(Diagnosis {
        findings,
        notes,
        ground,
        state,
        as_logged: missed,
    })
}

/// Why nothing is named in a session that nothing explains.
fn makes_no_sense(state: &State) -> String {
    format!(
        "these peaks scatter by {} deg about the best explanation of all that were tried, more \
         than a beamwidth: no name would mean anything. Check the site, the times, the emitters' \
         names and the units of the readings; several of them may be wrong together",
        words::two_digits(scatter(state).degrees())
    )
}

/// The healthy mount as logged when it is not plain to see, and where else a contest may begin.
/// The search for it is costly: it is left out when another world makes sense at once.
fn whole_or_elsewhere(
    setting: &Setting<'_>,
    ground: &Ground,
    options: &Options,
    plain: Option<State>,
) -> (Result<State, Error>, Vec<Beginning>) {
    let apart = plain.as_ref().is_some_and(|s| falls_apart(ground, s));
    if let Some(plain) = plain.filter(|_| apart) {
        let elsewhere = beginnings(setting, ground);
        let sound = |b: &Beginning| !falls_apart(&b.ground, &b.state);
        if elsewhere.iter().any(sound) {
            return (Ok(plain), elsewhere);
        }
        return (first_state(ground, options), elsewhere);
    }
    let searched = first_state(ground, options);
    match &searched {
        Ok(state) if !falls_apart(ground, state) => (searched, Vec::new()),
        _ => (searched, beginnings(setting, ground)),
    }
}

/// The healthy mount as logged, from the given start if that is the better one.
fn first_state(ground: &Ground, options: &Options) -> Result<State, Error> {
    let own = ground.healthy();
    let Some(begin) = &options.begin else {
        return own;
    };
    let values: Vec<f64> = ground.free.iter().map(|t| begin.inside(*t)).collect();
    match (own, ground.healthy_from(&values)) {
        (Ok(own), Ok(given)) if given.cost < own.cost => Ok(given),
        (Ok(own), _) => Ok(own),
        (Err(_), given) => given,
    }
}

struct Contestant {
    world: Option<World>,
    ground: Ground,
    verdict: Verdict,
    /// The probability that the world looks so much better by chance; one for the session as
    /// logged.
    false_alarm: f64,
    /// Other worlds that look about as good, in words.
    sibling_worlds: Option<String>,
}

/// Holds the contest from every beginning and takes the best explanation of all.
fn best_of(setting: &Setting<'_>, begins: Vec<Beginning>) -> Option<Contestant> {
    let worlds = World::all().len() as f64;
    let mut ended: Vec<(f64, Option<World>, Ground, Verdict)> = begins
        .into_iter()
        .map(|begin| {
            let Beginning {
                world,
                mut ground,
                state,
            } = begin;
            let moved = world.is_some();
            let again = |clock_s: f64| (!moved).then(|| setting.look_again(clock_s));
            let verdict = contest(setting.station, setting.sky, &mut ground, state, &again);
            let total = verdict.state.cost + price(&verdict.state);
            (total, world, ground, verdict)
        })
        .collect();
    let as_logged = (ended.iter())
        .filter(|(_, world, _, _)| world.is_none())
        .map(|(total, ..)| *total)
        .fold(f64::INFINITY, f64::min);
    // A wrong explanation is K times as likely as the right one with probability 1/K at most
    // (Markov's inequality on the likelihood ratio; Royall, Statistical Evidence, 1997; from
    // memory), here of the best of all worlds.
    let chance = |total: f64| (-(as_logged - total) / 2.0).exp() * worlds;
    ended.retain(|(total, world, ground, verdict)| {
        let makes_sense = || chance(*total) <= FALSE_WORLD && !absurd(ground, &verdict.state);
        world.is_none() || makes_sense()
    });
    ended.sort_by(|a, b| a.0.total_cmp(&b.0));
    let about_as_good: Vec<String> = ended
        .iter()
        .skip(1)
        .filter(|(total, ..)| *total < ended[0].0 + ABOUT)
        .filter_map(|(_, world, ..)| world.as_ref().map(|w| w.fault().name().to_owned()))
        .collect();
    let (total, world, ground, verdict) = ended.into_iter().next()?;
    let false_alarm = world.as_ref().map_or(1.0, |_| chance(total).min(1.0));
    let sibling_worlds = (world.is_some() && !about_as_good.is_empty()).then(|| {
        format!(
            "these peaks fit as well with {}: satellites and beacons would tell",
            about_as_good.join(" or ")
        )
    });
    Some(Contestant {
        world,
        ground,
        verdict,
        false_alarm,
        sibling_worlds,
    })
}

/// Worlds whose criterion is worse by less than this are about as good.
const ABOUT: f64 = 6.0;

fn by_compass(station: &Station, ground: &Ground, state: &State) -> Option<super::north::Compass> {
    let place = ground.free.iter().position(|t| *t == Term::AzimuthZero)?;
    let look = ground.look(state, &[]);
    let chosen: Vec<usize> = (0..state.count()).collect();
    let (half, _) = look.half_covariance(&chosen, &state.kept, state.variance)?;
    let sigma = half.row(place).norm() * state.variance.sqrt();
    let time = ground.cases.first()?.observation.peak.time;
    // A zero that is confounded with other faults says nothing.
    let scaled = (state.causes.iter()).any(|c| matches!(c, Cause::Scale(_) | Cause::Grads(_)));
    if scaled {
        return None;
    }
    compass(
        &station.site,
        time,
        Angle::from_radians(state.parameters[place]),
        Angle::from_radians(sigma),
    )
}

/// What the log and the station file did not allow to ask.
fn not_asked(station: &Station, ground: &Ground) -> Vec<String> {
    let mut notes = Vec::new();
    let logged = |of: &dyn Fn(&super::case::Case) -> f64| {
        ground.cases.iter().filter(|c| of(c) != 0.0).count()
    };
    let azimuth = logged(&|c| c.observation.approach().azimuth);
    let elevation = logged(&|c| c.observation.approach().elevation);
    if azimuth + elevation == 0 {
        notes.push(
            "backlash was not asked for: the log does not say from which side the axes arrived \
             (azimuth_approach, elevation_approach)"
                .to_owned(),
        );
    }
    if station.mount.azimuth_teeth.is_none() && station.mount.elevation_teeth.is_none() {
        notes.push(
            "tooth errors were not asked for: the station file does not give the gears' teeth"
                .to_owned(),
        );
    }
    notes
}
