//! What can be observed in each slot, and what cannot and why.

use std::collections::{BTreeMap, HashMap, HashSet};

use nalgebra::Vector3;

use super::strength::{FAINTEST_DB, SYSTEM_TEMPERATURE_K, Strength, strength};
use super::{Known, PlanRequest, Slots, Step};
use crate::angle::{Angle, Apparent, Direction};
use crate::ephemeris::{Reach, near_sun};
use crate::sky::{EmitterError, EmitterId, Notices, Sky, Track};
use crate::station::{Emitter, Station};
use crate::time::Utc;

/// Above this elevation a peak hardly determines the azimuth, and the mount must run fast: an error
/// is ten times larger in azimuth than on the sky. Common practice, no source.
const HIGHEST: Angle = Angle::from_degrees(85.0);
/// An emitter that crosses more beamwidths per minute cannot be peaked by hand (common practice, no
/// source).
const FASTEST_BEAMWIDTHS_A_MINUTE: f64 = 6.0;
/// Half the step over which an emitter's motion is taken, seconds: short compared with the minutes
/// of a low satellite's pass, long enough to avoid rounding errors.
const RATE_STEP_S: f64 = 1.0;

/// One emitter at one slot's time.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Number of the slot, from 0.
    pub slot: usize,
    /// Its middle.
    pub time: Utc,
    /// The emitter.
    pub emitter: EmitterId,
    /// Its name.
    pub name: String,
    /// Whether it is the Sun.
    pub is_sun: bool,
    /// Required direction of the beam.
    pub direction: Direction<Apparent>,
    /// Rate of change of the unit vector per second.
    pub rate: Vector3<f64>,
    /// How much it raises the noise, where that is known.
    pub strength: Option<Strength>,
}

impl Candidate {
    /// How fast it crosses the sky.
    pub fn degrees_a_minute(&self) -> f64 {
        Angle::from_radians(self.rate.norm()).degrees() * 60.0
    }
}

/// An emitter without a step.
#[derive(Clone, Debug)]
pub struct PassedOver {
    /// Its name.
    pub emitter: String,
    /// The reason.
    pub why: String,
}

/// What can be observed over the span.
#[derive(Clone, Debug)]
pub struct Offer {
    /// In order of slots.
    pub candidates: Vec<Candidate>,
    /// Emitters that are strong enough, whether or not they can be observed now.
    pub heard: Vec<EmitterId>,
    /// Emitters that are not a candidate in any slot.
    pub reasons: Vec<PassedOver>,
    /// Assumptions.
    pub assumed: Vec<String>,
    /// Warnings about the positions on the sky.
    pub warnings: Vec<String>,
}

impl Offer {
    /// Emitters without a step: those that could not be observed, and those that were not
    /// needed.
    pub fn passed_over(&self, sky: &Sky, steps: &[Step], request: &PlanRequest) -> Vec<PassedOver> {
        let used: HashSet<EmitterId> = steps.iter().map(|s| s.candidate.emitter).collect();
        let offered: HashSet<EmitterId> = self.candidates.iter().map(|c| c.emitter).collect();
        let mut over = self.reasons.clone();
        for id in &request.emitters {
            if offered.contains(id) && !used.contains(id) {
                over.push(PassedOver {
                    emitter: sky.name(*id).to_owned(),
                    why: "could be observed, but the others tell more".to_owned(),
                });
            }
        }
        over
    }
}

pub fn offer(
    station: &Station,
    sky: &Sky,
    known: &Known,
    request: &PlanRequest,
    slots: &Slots,
) -> Offer {
    let mut offer = Offer {
        candidates: Vec::new(),
        heard: Vec::new(),
        reasons: Vec::new(),
        assumed: Vec::new(),
        warnings: Vec::new(),
    };
    let mut notices = Notices::default();
    let judge = Judge::new(station, sky, known, request, (request.from, request.to));
    let mut strengths_used = false;
    for id in &request.emitters {
        let name = sky.name(*id).to_owned();
        let seen = judge.strength(*id);
        strengths_used |= seen.is_some();
        if let Some(faint) = seen.filter(|s| s.decibels < FAINTEST_DB && !request.named) {
            offer.reasons.push(PassedOver {
                emitter: name,
                why: format!(
                    "too faint to peak by hand on this dish: about {faint}; name it to include it \
                     anyway"
                ),
            });
            continue;
        }
        offer.heard.push(*id);
        for time in &slots.times {
            notices.add(sky.at(*time).notices_on_data(*id));
        }
        match judge.watch(*id, &slots.times) {
            Ok(candidates) => offer.candidates.extend(candidates),
            Err(why) => offer.reasons.push(PassedOver { emitter: name, why }),
        }
    }
    offer.candidates.sort_by_key(|c| (c.slot, c.emitter));
    offer.warnings = notices.in_words();
    if strengths_used && request.system_temperature_k.is_none() {
        offer.assumed.push(format!(
            "receiver, feed and sky together make {SYSTEM_TEMPERATURE_K:.0} K of noise (give \
             --system-temperature); the strengths of Sun, Moon and sources are good to a factor of \
             two"
        ));
    }
    offer
}

/// Decides which emitters are candidates.
pub struct Judge<'a> {
    station: &'a Station,
    sky: &'a Sky,
    emitters: HashMap<&'a str, &'a Emitter>,
    reach: Reach<'a>,
    request: &'a PlanRequest,
    span: (Utc, Utc),
    fastest: f64,
    near_sun: Angle,
    sun: Track<'a>,
}

impl<'a> Judge<'a> {
    /// For times mostly within a span.
    pub fn new(
        station: &'a Station,
        sky: &'a Sky,
        known: &Known,
        request: &'a PlanRequest,
        span: (Utc, Utc),
    ) -> Judge<'a> {
        Judge {
            station,
            sky,
            emitters: (station.emitters.iter().map(|e| (e.name.as_str(), e))).collect(),
            reach: Reach::new(station, known.model(station)),
            request,
            span,
            fastest: station.dish.beamwidth.degrees() * FASTEST_BEAMWIDTHS_A_MINUTE,
            near_sun: near_sun(station),
            sun: sky.track_of(sky.sun(), span.0, span.1),
        }
    }

    fn emitter(&self, id: EmitterId) -> Option<&'a Emitter> {
        self.emitters.get(self.sky.name(id)).copied()
    }

    /// How much an emitter raises the noise, where that is known.
    fn strength(&self, id: EmitterId) -> Option<Strength> {
        let system_k = (self.request.system_temperature_k).unwrap_or(SYSTEM_TEMPERATURE_K);
        strength(&self.station.dish, self.emitter(id)?, system_k)
    }

    /// Whether it moves with the stars, or nearly so.
    pub fn turns_with_the_sky(&self, id: EmitterId) -> bool {
        self.emitter(id)
            .is_some_and(|e| e.kind.turns_with_the_sky())
    }

    /// An emitter at those of some times at which it can be observed, with the index of the time as
    /// its slot; if there are none, the most frequent reason.
    ///
    /// # Errors
    /// The reason that holds at most of the times.
    pub fn watch(&self, id: EmitterId, times: &[Utc]) -> Result<Vec<Candidate>, String> {
        let emitter = self.emitter(id);
        let strength = self.strength(id);
        let track = self.sky.track_of(id, self.span.0, self.span.1);
        let mut against: BTreeMap<String, usize> = BTreeMap::new();
        let mut candidates = Vec::new();
        for (slot, time) in times.iter().enumerate() {
            match self.see(&track, id, emitter, *time) {
                Ok((direction, rate)) => candidates.push(Candidate {
                    slot,
                    time: *time,
                    emitter: id,
                    is_sun: id == self.sky.sun(),
                    name: self.sky.name(id).to_owned(),
                    direction,
                    rate,
                    strength,
                }),
                Err(why) => *against.entry(why).or_default() += 1,
            }
        }
        match against.into_iter().max_by_key(|(_, n)| *n) {
            Some((why, _)) if candidates.is_empty() => Err(why),
            _ => Ok(candidates),
        }
    }

    /// Position and motion of the emitter, or why it cannot be observed at that time.
    fn see(
        &self,
        track: &Track<'_>,
        id: EmitterId,
        emitter: Option<&Emitter>,
        time: Utc,
    ) -> Result<(Direction<Apparent>, Vector3<f64>), String> {
        let said = |e: EmitterError| e.to_string();
        let direction = track.apparent(time).map_err(said)?;
        let fixed = emitter.is_some_and(|e| e.kind.is_fixed());
        // A beacon is fixed: it is expected to be near the horizon.
        let obstacle = match fixed {
            true => self.reach.obstacle_in_mount(&direction),
            false => self.reach.obstacle(&direction),
        };
        if let Some(obstacle) = obstacle {
            return Err(obstacle.words_on(self.reach.mount()));
        }
        if direction.elevation() < self.request.lowest && !fixed {
            return Err(format!(
                "below {:.0} deg, where the air bends most",
                self.request.lowest.degrees()
            ));
        }
        let mount = self.reach.mount();
        if mount.is_az_el() && direction.elevation() > HIGHEST {
            return Err("too near the zenith".to_owned());
        }
        // Near either end of the axis itself, the first reading changes too fast.
        let near = (self.reach.readings(&direction))
            .is_some_and(|reading| reading.elevation.abs() > HIGHEST);
        if !mount.is_az_el() && near {
            return Err(format!("too near {}", mount.keyhole()));
        }
        let geometric = track.geometric(time).map_err(said)?;
        let from_sun = geometric.separation(&self.sun.geometric(time).map_err(said)?);
        if id != self.sky.sun() && !fixed && from_sun < self.near_sun {
            return Err(format!(
                "within {:.1} deg of the Sun, whose noise drowns it and whose heat gathers at the \
                 feed",
                self.near_sun.degrees()
            ));
        }
        let at = |s: f64| {
            let there = track.apparent(time.plus_seconds(s)).map_err(said)?;
            Ok::<_, String>(there.east_north_up())
        };
        let rate = match fixed {
            true => Vector3::zeros(),
            false => (at(RATE_STEP_S)? - at(-RATE_STEP_S)?) / (2.0 * RATE_STEP_S),
        };
        if Angle::from_radians(rate.norm()).degrees() * 60.0 > self.fastest {
            return Err("too fast to peak by hand on this beam".to_owned());
        }
        Ok((direction, rate))
    }
}
