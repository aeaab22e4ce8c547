//! From the emitters of a station file to what the sky needs of them.

use std::collections::{BTreeMap, HashSet};
use std::path::PathBuf;

use nalgebra::Vector3;

use super::arc;
use super::earth::EarthPlace;
use super::elements::{self, ElementFile};
use super::refraction::Refraction;
use super::satellite::Orbit;
use super::suppose::Catalogued;
use super::terrestrial::{self, Seat};
use super::{KnownEmitter, Motion};
use crate::angle::{Angle, Direction};
use crate::problem::{Problem, Problems};
use crate::station::{Emitter, EmitterKind};

/// Prepares emitters seen from `place`, gives the satellites that their element files hold
/// beside them, and tells all faults of those files.
pub(super) fn emitters(
    emitters: &[Emitter],
    place: &EarthPlace,
    air: &Refraction,
    seat: &Seat,
) -> (Vec<KnownEmitter>, Vec<Catalogued>, Problems) {
    let mut files = ElementFiles::default();
    let mut known = Vec::with_capacity(emitters.len());
    for emitter in emitters {
        let motion = match &emitter.kind {
            EmitterKind::Sun => Motion::Sun,
            EmitterKind::Moon => Motion::Moon,
            EmitterKind::RadioSource {
                right_ascension,
                declination,
            } => Motion::Source(celestial_vector(*right_ascension, *declination)),
            EmitterKind::Satellite { elements, norad_id } => {
                match files.orbits_of(&emitter.name, elements, *norad_id) {
                    Some(orbits) => Motion::Satellite(orbits),
                    None => continue,
                }
            }
            EmitterKind::Beacon {
                latitude,
                longitude,
                height_m,
            } => {
                let there =
                    EarthPlace::geodetic(longitude.radians(), latitude.radians(), *height_m);
                Motion::Beacon(terrestrial::beacon(place, &there, air, seat))
            }
            EmitterKind::Geostationary { longitude } => {
                Motion::Geostationary(arc::towards(place, *longitude))
            }
            EmitterKind::Mark { azimuth, elevation } => {
                Motion::Mark(Direction::apparent(*azimuth, *elevation))
            }
        };
        known.push(KnownEmitter {
            name: emitter.name.clone(),
            motion,
        });
    }
    let taken: HashSet<u64> = emitters.iter().filter_map(norad_id).collect();
    let catalogue = files.others(&taken);
    (known, catalogue, files.problems)
}

fn norad_id(emitter: &Emitter) -> Option<u64> {
    match emitter.kind {
        EmitterKind::Satellite { norad_id, .. } => Some(norad_id),
        _ => None,
    }
}

fn celestial_vector(right_ascension: Angle, declination: Angle) -> Vector3<f64> {
    let (sa, ca) = right_ascension.sin_cos();
    let (sd, cd) = declination.sin_cos();
    Vector3::new(ca * cd, sa * cd, sd)
}

/// Element files, each read once, with all their faults.
#[derive(Default)]
struct ElementFiles {
    read: BTreeMap<PathBuf, Option<ElementFile>>,
    problems: Problems,
}

impl ElementFiles {
    /// All satellites of all files but those `taken`, each once, ascending in number.
    fn others(&self, taken: &HashSet<u64>) -> Vec<Catalogued> {
        let mut others: BTreeMap<u64, &Vec<Orbit>> = BTreeMap::new();
        for file in self.read.values().flatten() {
            for (norad_id, orbits) in &file.orbits {
                if !taken.contains(norad_id) && !orbits.is_empty() {
                    others.insert(*norad_id, orbits);
                }
            }
        }
        others
            .into_iter()
            .map(|(norad_id, orbits)| Catalogued {
                norad_id,
                orbits: orbits.clone(),
            })
            .collect()
    }

    /// The element sets of one satellite; none, with the fault noted, when there are none.
    fn orbits_of(&mut self, emitter: &str, path: &PathBuf, norad_id: u64) -> Option<Vec<Orbit>> {
        if !self.read.contains_key(path) {
            let file = match elements::read(path) {
                Ok(file) => Some(file),
                Err(found) => {
                    self.problems.append(found);
                    None
                }
            };
            self.read.insert(path.clone(), file);
        }
        // A file that could not be read has been complained about already.
        let file = self.read.get(path)?.as_ref()?;
        let orbits = file.orbits.get(&norad_id).cloned();
        if orbits.is_none() {
            self.problems.push(
                Problem::of_file(
                    &file.name,
                    format!("no elements of number {norad_id}, which emitter {emitter:?} needs"),
                    format!("one of {}", listed(file.orbits.keys())),
                )
                .mend("correct norad_id in the station file, or fetch that satellite's elements"),
            );
        }
        orbits
    }
}

/// Some numbers in a row, cut short when there are many.
fn listed<'a>(numbers: impl ExactSizeIterator<Item = &'a u64>) -> String {
    /// Numbers listed in a message, so that it stays readable.
    const MOST: usize = 8;
    let more = numbers.len().saturating_sub(MOST);
    let mut text = numbers
        .take(MOST)
        .map(u64::to_string)
        .collect::<Vec<_>>()
        .join(", ");
    if more > 0 {
        text.push_str(&format!(" and {more} more"));
    }
    text
}
