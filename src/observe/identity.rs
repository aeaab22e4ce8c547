//! Checks whether the emitters found are those they were taken for.
//!
//! Where nothing is known of a mount, what a search finds first may be a neighbour of what it looked
//! for, and emitters in a regular array (a row of satellites) fit as well one place farther on. Two
//! sets of names are weighed like two hypotheses: by how well the peaks fit, by what is known
//! of the zeros, and by what was not found where it should have been.

use super::knowledge::{FoundEmitter, Knowledge};
use super::tuned::{
    COST_OF_A_ZERO_BEYOND, COST_OF_CLEARLY_OTHER_NAMES, LOOSENESS_OF_NAMES, ROUNDS_OF_NAMES,
    SIGMAS_COVERED,
};
use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::mount::{ApproachSigns, Term};
use crate::sky::{EmitterId, Sky};
use crate::time::Utc;

/// An emitter that was found.
#[derive(Clone, Debug)]
pub(super) struct NamedEmitter {
    pub emitter: EmitterId,
    pub time: Utc,
    pub found: FoundEmitter,
}

/// An emitter that was not found where it should have been.
#[derive(Clone, Debug)]
pub struct Missed {
    /// Which.
    pub emitter: EmitterId,
    /// When.
    pub time: Utc,
    /// Where it was looked for.
    pub reading: EncoderReading,
    /// Something was seen there that did not fit.
    pub seen: bool,
}

/// Verdict on the names.
#[derive(Clone, Debug)]
pub(super) enum Names {
    /// No others fit nearly as well.
    Right,
    /// Others fit about as well: this is the mount then.
    Doubtful(Box<Knowledge>),
    /// Others fit clearly better: this is the mount then.
    Others(Box<Knowledge>),
}

/// One emitter in ten is silent on an evening: minus twice the logarithm (common practice, no source).
const SILENT: f64 = 4.6;

/// The evidence to weigh.
pub(super) struct Inquiry<'a> {
    pub sky: &'a Sky,
    pub prior: &'a Knowledge,
    /// Largest error of the zeros, as given by the user.
    pub zeros: Angle,
    pub beamwidth: Angle,
    pub sightings: Vec<NamedEmitter>,
    pub missed: &'a [Missed],
}

impl Inquiry<'_> {
    /// Weighs the names of the emitters found against others.
    pub fn names(&self) -> Names {
        let Some(first) = self.sightings.first() else {
            return Names::Right;
        };
        let own: Vec<EmitterId> = self.sightings.iter().map(|s| s.emitter).collect();
        let (_, cost) = self.weighed(&own);
        let silent = self.missed.len() as f64 * SILENT;
        let mut best: Option<(f64, Knowledge)> = None;
        for other in self.sky.emitters().filter(|id| *id != first.emitter) {
            let Some((knowledge, other_cost)) = self.other(first, other, &own) else {
                continue;
            };
            if best.as_ref().is_none_or(|(least, _)| other_cost < *least) {
                best = Some((other_cost, knowledge));
            }
        }
        match best {
            Some((other, knowledge)) if other + COST_OF_CLEARLY_OTHER_NAMES < cost + silent => {
                Names::Others(Box::new(knowledge))
            }
            Some((other, knowledge)) if other < cost + silent + COST_OF_CLEARLY_OTHER_NAMES => {
                Names::Doubtful(Box::new(knowledge))
            }
            _ => Names::Right,
        }
    }

    fn direction(&self, emitter: EmitterId, time: Utc) -> Option<Direction<Apparent>> {
        let there = self.sky.apparent_of(emitter, time).ok()?;
        (there.elevation() > Angle::ZERO).then_some(there)
    }

    /// The mount fitted with these names, and its cost.
    fn weighed(&self, names: &[EmitterId]) -> (Knowledge, f64) {
        let loose = (self.beamwidth * LOOSENESS_OF_NAMES.0).max(LOOSENESS_OF_NAMES.1);
        let peaks: Vec<FoundEmitter> = (self.sightings.iter().zip(names))
            .filter_map(|(sighting, name)| {
                Some(FoundEmitter {
                    target: self.direction(*name, sighting.time)?,
                    sigma: [Some(loose); 2],
                    ..sighting.found.clone()
                })
            })
            .collect();
        let knowledge = self.prior.with(&peaks);
        let mut cost = knowledge.cost(&peaks);
        for zero in [Term::AzimuthZero, Term::ElevationZero] {
            let value = knowledge.model().terms().angle(zero).wrapped_signed();
            if value.abs() > self.zeros + COST_OF_A_ZERO_BEYOND.0 {
                cost += COST_OF_A_ZERO_BEYOND.1;
            }
        }
        (knowledge, cost)
    }

    /// The mount if the first was `other`, and its cost; `None` if the rest match no emitter then.
    fn other(
        &self,
        first: &NamedEmitter,
        other: EmitterId,
        own: &[EmitterId],
    ) -> Option<(Knowledge, f64)> {
        let there = FoundEmitter {
            target: self.direction(other, first.time)?,
            ..first.found.clone()
        };
        let mut knowledge = self.prior.with(std::slice::from_ref(&there));
        let zero = knowledge.model().terms().angle(Term::AzimuthZero);
        // The search did not go far beyond the stated zeros.
        if zero.wrapped_signed().abs() > self.zeros * 2.0 + Angle::from_degrees(3.0) {
            return None;
        }
        let mut cost = f64::INFINITY;
        let mut names: Vec<EmitterId> = Vec::new();
        for _ in 0..ROUNDS_OF_NAMES {
            let named: Vec<EmitterId> = (self.sightings.iter())
                .map(|sighting| {
                    let reading = sighting.found.reading;
                    let [across, up] = knowledge.spread_at(reading);
                    let room = self.beamwidth + across.max(up) * SIGMAS_COVERED;
                    self.stands_at(&knowledge, reading, sighting.time, room)
                })
                .collect::<Option<_>>()?;
            if named == names {
                break;
            }
            names = named;
            (knowledge, cost) = self.weighed(&names);
        }
        if names == own {
            return None;
        }
        // An emitter that these names place where nothing was seen must have been silent.
        let near = self.beamwidth + Angle::from_degrees(1.0);
        let unseen = self.missed.iter().filter(|missed| !missed.seen);
        let silent = unseen
            .filter(|m| {
                self.stands_at(&knowledge, m.reading, m.time, near)
                    .is_some()
            })
            .count();
        Some((knowledge, cost + silent as f64 * SILENT))
    }

    /// What stands where the beam points at a reading, within some room.
    pub fn stands_at(
        &self,
        knowledge: &Knowledge,
        reading: EncoderReading,
        time: Utc,
        room: Angle,
    ) -> Option<EmitterId> {
        let beam = knowledge.model().beam(reading, ApproachSigns::UNKNOWN);
        (self.sky.emitters())
            .filter_map(|id| Some((beam.separation(&self.direction(id, time)?), id)))
            .filter(|(off, _)| *off <= room)
            .min_by(|a, b| a.0.radians().total_cmp(&b.0.radians()))
            .map(|(_, id)| id)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mount::{Geometry, MountModel, TermValues};
    use crate::station::Station;

    const BEAM: Angle = Angle::from_degrees(1.0);
    const ZEROS: Angle = Angle::from_degrees(10.0);

    fn sky() -> Sky {
        // Emitters in a regular array: the same angles from each to the next.
        let station = Station::read(std::path::Path::new("tests/data/rig/station-narrow.toml"));
        Sky::new(&station.unwrap()).unwrap()
    }

    fn time() -> Utc {
        Utc::parse("2026-09-12T10:00:00Z").unwrap()
    }

    fn mount(azimuth: f64, elevation: f64) -> MountModel {
        MountModel::new(
            Geometry::AZ_EL,
            TermValues::ZERO
                .with_shown(Term::AzimuthZero, azimuth)
                .with_shown(Term::ElevationZero, elevation)
                .with_shown(Term::TiltEast, 0.3),
        )
    }

    /// What such a mount shows of these emitters, taken for others.
    fn sightings(sky: &Sky, mount: &MountModel, names: &[(&str, &str)]) -> Vec<NamedEmitter> {
        (names.iter())
            .map(|(really, taken)| {
                let direction = sky.apparent(really, time()).unwrap();
                let emitter = sky.emitter_named(taken).unwrap();
                NamedEmitter {
                    emitter,
                    time: time(),
                    found: FoundEmitter {
                        reading: mount
                            .readings(&direction, ApproachSigns::UNKNOWN)
                            .unwrap()
                            .direct,
                        target: sky.apparent_of(emitter, time()).unwrap(),
                        sigma: [Some(Angle::from_degrees(0.05)); 2],
                    },
                }
            })
            .collect()
    }

    fn names(sky: &Sky, sightings: Vec<NamedEmitter>, missed: &[Missed]) -> Names {
        let prior = Knowledge::guess(ZEROS, BEAM, Geometry::AZ_EL);
        let inquiry = Inquiry {
            sky,
            prior: &prior,
            zeros: ZEROS,
            beamwidth: BEAM,
            sightings,
            missed,
        };
        inquiry.names()
    }

    #[test]
    fn right_names_are_kept_and_neighbours_in_a_regular_array_are_told_by_what_is_missing() {
        let sky = sky();
        let right = ["mark-3", "mark-9", "mark-15", "mark-18"].map(|n| (n, n));
        let here = mount(3.0, -4.0);
        assert!(matches!(
            names(&sky, sightings(&sky, &here, &right), &[]),
            Names::Right
        ));
        // Thirteen on in the array is 12.4 degrees less in azimuth and 2.5 more in elevation or so.
        let wrong = [
            ("mark-16", "mark-3"),
            ("mark-14", "mark-1"),
            ("mark-18", "mark-5"),
        ];
        let there = mount(-4.6, 7.0);
        let found = sightings(&sky, &there, &wrong);
        assert!(!matches!(names(&sky, found.clone(), &[]), Names::Right));
        let missed: Vec<Missed> = (["mark-10", "mark-9", "mark-11"].iter())
            .map(|name| {
                let emitter = sky.emitter_named(name).unwrap();
                let direction = sky.apparent_of(emitter, time()).unwrap();
                Missed {
                    emitter,
                    time: time(),
                    // Where it would stand if the names were right.
                    reading: mount(7.8, 9.5)
                        .readings(&direction, ApproachSigns::UNKNOWN)
                        .unwrap()
                        .direct,
                    seen: false,
                }
            })
            .collect();
        let Names::Others(knowledge) = names(&sky, found, &missed) else {
            panic!("the wrong names are believed");
        };
        let zero = knowledge.model().terms().angle(Term::AzimuthZero);
        assert!((zero.degrees() + 4.6).abs() < 1.0, "{zero:?}");
    }
}
