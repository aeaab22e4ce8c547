//! The `[[emitter]]` sections of a station file.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::path::Path;

use toml_edit::Item;

use super::catalogue;
use super::keys::{KINDS, home_of};
use super::limits;
use super::section::{Section, Source, kind_of};
use super::{Emitter, EmitterKind, GEOSTATIONARY_SIGMA};
use crate::angle::Angle;
use crate::problem::{Wrong, nearest_name};
use crate::text::quoted;

/// Reads all emitters, in file order; what was taken from the catalogue is listed in `assumptions`.
pub(super) fn emitters(
    source: &mut Source<'_>,
    item: Option<&Item>,
    folder: &Path,
    assumptions: &mut Vec<String>,
) -> Vec<Emitter> {
    let Some(item) = item else {
        return Vec::new();
    };
    let Some(tables) = item.as_array_of_tables() else {
        let wrong = Wrong::new(
            format!("emitter is {}", kind_of(item)),
            "[[emitter]] above each emitter",
        )
        .mend("write the heading with double brackets: [[emitter]]");
        source.wrong_item(item, wrong);
        return Vec::new();
    };
    let mut emitters = Vec::new();
    // By name in lower case: the name as written, and the start of its section.
    let mut earlier: HashMap<String, (&str, usize)> = HashMap::new();
    for table in tables {
        let start = table.span().map_or(0, |s| s.start);
        let heading = match table.get("name").and_then(Item::as_str) {
            Some(name) => format!("the emitter {}", quoted(name)),
            None => "this emitter".to_owned(),
        };
        let section = Section::new(heading, start, table);
        unknown_keys(source, &section);
        let name = source.text(&section, "name", "the emitter's name in quotes");
        if let Some(name) = name {
            match earlier.entry(name.to_lowercase()) {
                Entry::Vacant(free) => {
                    free.insert((name, start));
                }
                Entry::Occupied(taken) => {
                    let wrong = name_again(source, name, *taken.get());
                    source.wrong_item(&table["name"], wrong);
                }
            }
        }
        let kind = emitter_kind(source, &section, name, folder, assumptions);
        if let (Some(name), Some(kind)) = (name, kind) {
            emitters.push(Emitter {
                name: name.to_owned(),
                kind,
            });
        }
    }
    emitters
}

/// Reports a name that occurs earlier in the file, as `first` in the section at `start`.
fn name_again(source: &Source<'_>, name: &str, (first, start): (&str, usize)) -> Wrong {
    let line = source.line(start);
    let found = if first == name {
        format!(
            "an emitter on line {line} is called {} already",
            quoted(name)
        )
    } else {
        format!(
            "{} and {} on line {line} differ only in capitals",
            quoted(name),
            quoted(first)
        )
    };
    Wrong::new(found, "a name of its own for each emitter")
}

/// Reports keys that an emitter of this kind does not have.
fn unknown_keys(source: &mut Source<'_>, section: &Section<'_>) {
    let kind = section.get("kind").and_then(Item::as_str);
    let mut known = vec!["name", "kind"];
    match KINDS.iter().find(|(name, _)| Some(*name) == kind) {
        Some((_, keys)) => known.extend(*keys),
        // Unknown kind: any key of any kind may be right.
        None => known.extend(KINDS.iter().flat_map(|(_, keys)| *keys)),
    }
    source.unknown_keys(section, &known, |key| {
        KINDS
            .iter()
            .find(|(_, keys)| keys.contains(&key))
            .map(|(other, _)| format!("an emitter of kind \"{other}\""))
            .or_else(|| home_of(key).map(str::to_owned))
    });
}

/// Reads the kind and position of an emitter; `None` if something is wrong with it, which is
/// reported.
fn emitter_kind(
    source: &mut Source<'_>,
    section: &Section<'_>,
    name: Option<&str>,
    folder: &Path,
    assumptions: &mut Vec<String>,
) -> Option<EmitterKind> {
    let words = "one of \"sun\", \"moon\", \"satellite\", \"radio-source\", \"beacon\", \
                 \"geostationary\", \"mark\"";
    let kind = source.text(section, "kind", words)?;
    if !KINDS.iter().any(|(known, _)| *known == kind) {
        let wrong = Wrong::new(
            format!("no kind of emitter is called {}", quoted(kind)),
            words,
        );
        let near = nearest_name(kind, KINDS.iter().map(|(k, _)| *k));
        source.wrong_item(
            section.get("kind")?,
            match near {
                Some(near) => wrong.mend(format!("write kind = \"{near}\"")),
                None => wrong,
            },
        );
        return None;
    }
    let mut angle = |key, quantity| {
        source
            .number(section, key, quantity)
            .map(Angle::from_degrees)
    };
    match kind {
        "sun" => Some(EmitterKind::Sun),
        "moon" => Some(EmitterKind::Moon),
        "satellite" => {
            let file = source.text(
                section,
                "elements",
                "the name of a file of orbital elements in quotes",
            );
            source.required(section, "norad_id", limits::NORAD_ID.words);
            let norad_id = source.optional_whole(section, "norad_id", &limits::NORAD_ID);
            Some(EmitterKind::Satellite {
                elements: folder.join(file?),
                norad_id: u64::from(norad_id?),
            })
        }
        "radio-source" => radio_source(source, section, name, assumptions),
        "beacon" => {
            let latitude = angle("latitude_deg", &limits::LATITUDE);
            let longitude = angle("longitude_deg", &limits::LONGITUDE);
            let height_m = source.number(section, "height_m", &limits::HEIGHT);
            Some(EmitterKind::Beacon {
                latitude: latitude?,
                longitude: longitude?,
                height_m: height_m?,
            })
        }
        "geostationary" => {
            let longitude = angle("longitude_deg", &limits::LONGITUDE)?;
            assumptions.push(format!(
                "{}: without orbit elements it is taken to stand over the equator at {} deg, which \
                 is right to some {} deg; a peak of it counts for no better than that",
                name.unwrap_or("a geostationary satellite"),
                longitude.degrees(),
                GEOSTATIONARY_SIGMA.degrees()
            ));
            Some(EmitterKind::Geostationary { longitude })
        }
        _ => {
            let azimuth = angle("azimuth_deg", &limits::AZIMUTH);
            let elevation = angle("elevation_deg", &limits::ELEVATION);
            Some(EmitterKind::Mark {
                azimuth: azimuth?,
                elevation: elevation?,
            })
        }
    }
}

/// Position of a radio source: from the file or, if only a name is given, from the catalogue.
fn radio_source(
    source: &mut Source<'_>,
    section: &Section<'_>,
    name: Option<&str>,
    assumptions: &mut Vec<String>,
) -> Option<EmitterKind> {
    let known = name.and_then(catalogue::by_name);
    let given = section.has("right_ascension_deg") || section.has("declination_deg");
    if given || name.is_none() {
        let right_ascension =
            source.number(section, "right_ascension_deg", &limits::RIGHT_ASCENSION);
        let declination = source.number(section, "declination_deg", &limits::DECLINATION);
        let right_ascension = Angle::from_degrees(right_ascension?);
        let declination = Angle::from_degrees(declination?);
        assumptions.extend(known.and_then(|k| odd_place(k, right_ascension, declination)));
        return Some(EmitterKind::RadioSource {
            right_ascension,
            declination,
        });
    }
    let Some(known) = known else {
        let wrong = Wrong::new(
            format!(
                "{} has no right_ascension_deg and no declination_deg, and is not in the built-in catalogue",
                section.heading
            ),
            "a place, or a name of the catalogue",
        );
        let names = catalogue::ALL.iter().map(|s| s.name);
        let near = nearest_name(name.unwrap_or_default(), names.clone());
        let remedy = match near {
            Some(near) => format!("if {near} is meant, write that name; else add its place"),
            None => format!(
                "add its place; the catalogue knows {}",
                names.collect::<Vec<_>>().join(", ")
            ),
        };
        source.wrong_at(section.start, wrong.mend(remedy));
        return None;
    };
    assumptions.push(format!(
        "{} has no place: right ascension {:.3}, declination {:.3} degrees taken from the built-in catalogue",
        section.heading,
        known.right_ascension.degrees(),
        known.declination.degrees()
    ));
    Some(EmitterKind::RadioSource {
        right_ascension: known.right_ascension,
        declination: known.declination,
    })
}

/// Message for a source whose positions in the file and the catalogue differ by more than its size.
fn odd_place(
    known: &catalogue::RadioSource,
    right_ascension: Angle,
    declination: Angle,
) -> Option<String> {
    /// Precession is 50 arcsec a year (general precession in longitude, IAU 2006; from memory): a
    /// position of the present equinox is up to 0.4 degrees from that of J2000 and is not called a
    /// mistake, one of B1950 is up to 0.7 degrees away and often is.
    const ODD: Angle = Angle::from_degrees(0.5);
    let across = (right_ascension - known.right_ascension).wrapped_signed() * declination.cos();
    let along = declination - known.declination;
    let off = Angle::from_radians(across.radians().hypot(along.radians()));
    (off > ODD + known.extent).then(|| {
        format!(
            "the place of {} is taken as given, though the built-in catalogue has right ascension {:.3}, declination {:.3} degrees, {:.1} degrees away",
            known.name,
            known.right_ascension.degrees(),
            known.declination.degrees(),
            off.degrees()
        )
    })
}
