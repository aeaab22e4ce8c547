//! The `[[emitter]]` sections of a station file.

use std::path::Path;

use toml_edit::Item;

use super::limits;
use super::read::home_of;
use super::section::{Section, Source, kind_of};
use super::{Emitter, EmitterKind};
use crate::angle::Angle;
use crate::problem::{Wrong, nearest_name};
use crate::text::quoted;

/// Kinds and their keys beside `name` and `kind`.
const KINDS: [(&str, &[&str]); 6] = [
    ("sun", &[]),
    ("moon", &[]),
    ("satellite", &["elements", "norad_id"]),
    ("radio-source", &["right_ascension_deg", "declination_deg"]),
    ("beacon", &["latitude_deg", "longitude_deg", "height_m"]),
    ("mark", &["azimuth_deg", "elevation_deg"]),
];

/// All emitters, in file order.
pub(super) fn read_emitters(
    source: &mut Source<'_>,
    item: Option<&Item>,
    folder: &Path,
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
    let mut earlier: Vec<(&str, usize)> = Vec::new();
    for table in tables {
        let start = table.span().map_or(0, |s| s.start);
        let heading = match table.get("name").and_then(Item::as_str) {
            Some(name) => format!("the emitter {}", quoted(name)),
            None => "this emitter".to_owned(),
        };
        let section = Section::new(heading, start, table);
        let name = source.text(&section, "name", "the emitter's name in quotes");
        if let Some(name) = name {
            let folded = |n: &str| n.to_lowercase();
            if let Some((first, line)) = earlier.iter().find(|(n, _)| folded(n) == folded(name)) {
                let wrong = Wrong::new(
                    if *first == name {
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
                    },
                    "a name of its own for each emitter",
                );
                source.wrong_item(&table["name"], wrong);
            }
            earlier.push((name, source.line(start)));
        }
        let kind = emitter_kind(source, &section, name, folder);
        if let (Some(name), Some(kind)) = (name, kind) {
            emitters.push(Emitter {
                name: name.to_owned(),
                kind,
            });
        }
    }
    emitters
}

/// What the emitter is and where; none when something is wrong with it, which is told.
fn emitter_kind(
    source: &mut Source<'_>,
    section: &Section<'_>,
    name: Option<&str>,
    folder: &Path,
) -> Option<EmitterKind> {
    let words = "one of \"sun\", \"moon\", \"satellite\", \"radio-source\", \"beacon\", \"mark\"";
    let kind = source.text(section, "kind", words)?;
    let Some((_, keys)) = KINDS.iter().find(|(k, _)| *k == kind) else {
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
    };
    let mut known = vec!["name", "kind"];
    known.extend(*keys);
    source.unknown_keys(section, &known, |key| {
        KINDS
            .iter()
            .find(|(_, keys)| keys.contains(&key))
            .map(|(other, _)| format!("an emitter of kind \"{other}\""))
            .or_else(|| home_of(key).map(str::to_owned))
    });
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
        "radio-source" => {
            let given = section.has("right_ascension_deg") || section.has("declination_deg");
            if let Some((right_ascension, declination)) =
                name.filter(|_| !given).and_then(catalogue_place)
            {
                return Some(EmitterKind::RadioSource {
                    right_ascension,
                    declination,
                });
            }
            let right_ascension = angle("right_ascension_deg", &limits::RIGHT_ASCENSION);
            let declination = angle("declination_deg", &limits::DECLINATION);
            Some(EmitterKind::RadioSource {
                right_ascension: right_ascension?,
                declination: declination?,
            })
        }
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

/// Right ascension and declination (ICRS) of a strong source by its name alone.
fn catalogue_place(name: &str) -> Option<(Angle, Angle)> {
    super::catalogue::by_name(name).map(|s| (s.right_ascension, s.declination))
}
