//! The `[mount]` section: the axes, their ranges and gears, and the feet.

use super::keys::{MOUNT, elsewhere};
use super::section::{Section, Source, value_item};
use super::{GearTeeth, Mount, MountKind, limits};
use crate::angle::{Angle, EncoderReading};
use crate::problem::{Wrong, nearest_name};
use crate::quantity::Quantity;
use crate::text::quoted;

/// The mount; none when something is wrong with it, which is told.
pub(super) fn mount(source: &mut Source<'_>, section: &Section<'_>) -> Option<Mount> {
    source.unknown_keys(section, &MOUNT, elsewhere);
    let kind = mount_kind(source, section);
    let azimuth_range = range(
        source,
        section,
        "azimuth_range_deg",
        &limits::ENCODER_AZIMUTH,
        "lowest and highest azimuth reading in degrees, such as [-180.0, 540.0]",
    );
    let elevation_range = range(
        source,
        section,
        "elevation_range_deg",
        &limits::ENCODER_ELEVATION,
        "lowest and highest elevation reading in degrees, such as [0.0, 90.0]",
    );
    let azimuth_teeth = teeth(
        source,
        section,
        "azimuth_gear_teeth",
        "azimuth_pinion_teeth",
    );
    let elevation_teeth = teeth(
        source,
        section,
        "elevation_gear_teeth",
        "elevation_pinion_teeth",
    );
    let base_radius_m = source
        .optional_number(section, "base_radius_m", &limits::BASE_RADIUS)
        .filter(|radius| *radius > 0.0);
    let base_feet_azimuth = feet(source, section);
    let park = park(source, section, [azimuth_range, elevation_range]);
    Some(Mount {
        kind: kind?,
        azimuth_range: azimuth_range?,
        elevation_range: elevation_range?,
        azimuth_teeth,
        elevation_teeth,
        base_radius_m,
        base_feet_azimuth,
        park,
    })
}

fn mount_kind(source: &mut Source<'_>, section: &Section<'_>) -> Option<MountKind> {
    const KINDS: [&str; 3] = ["az-el", "x-y", "polar"];
    let kind = source.text(section, "kind", "\"az-el\"")?;
    let wrong = match kind {
        "az-el" => return Some(MountKind::AzEl),
        "x-y" | "polar" => Wrong::new(
            format!("this version does not know {kind} mounts yet"),
            "\"az-el\"",
        ),
        _ => {
            let near = match kind
                .to_lowercase()
                .replace(['-', '_', '/', ' '], "")
                .as_str()
            {
                "azel" | "altaz" | "azalt" | "elaz" | "elevationoverazimuth" => Some("az-el"),
                _ => nearest_name(kind, KINDS).filter(|near| *near == "az-el"),
            };
            let wrong = Wrong::new(
                format!("no kind of mount is called {}", quoted(kind)),
                "\"az-el\"",
            );
            match near {
                Some(near) => wrong.mend(format!("write kind = \"{near}\"")),
                None => wrong,
            }
        }
    };
    source.wrong_item(section.get("kind")?, wrong);
    None
}

/// A lowest and a highest reading.
fn range(
    source: &mut Source<'_>,
    section: &Section<'_>,
    key: &str,
    degrees: &Quantity,
    expected: &str,
) -> Option<(Angle, Angle)> {
    let item = source.required(section, key, expected)?;
    let [low, high] = source.pair(item, key, expected, [degrees, degrees])?;
    if low < high {
        return Some((Angle::from_degrees(low), Angle::from_degrees(high)));
    }
    let wrong = Wrong::new(
        format!("{key} runs from {low} to {high}"),
        "the lower end first, and a range that is not empty",
    );
    source.wrong_item(
        item,
        if low > high {
            wrong.mend(format!(
                "write [{high:?}, {low:?}]; readings do not jump at 360, so a range across north is written like [-90.0, 270.0]"
            ))
        } else {
            wrong
        },
    );
    None
}

/// The readings to park at, within the ranges.
fn park(
    source: &mut Source<'_>,
    section: &Section<'_>,
    ranges: [Option<(Angle, Angle)>; 2],
) -> Option<EncoderReading> {
    const KEY: &str = "park";
    let item = section.get(KEY)?;
    let expected = "the readings of axis 1 and axis 2 at which the dish is parked, degrees, such as \
                    [180.0, 85.0]";
    let degrees = [&limits::ENCODER_AZIMUTH, &limits::ENCODER_ELEVATION];
    let place = source.pair(item, KEY, expected, degrees)?;
    for (axis, (value, range)) in place.into_iter().zip(ranges).enumerate() {
        let (low, high) = range?;
        let value = Angle::from_degrees(value);
        if value < low || value > high {
            let wrong = Wrong::new(
                format!(
                    "{KEY} puts axis {} at {} deg, and its readings go from {} to {}",
                    axis + 1,
                    value.degrees(),
                    low.degrees(),
                    high.degrees()
                ),
                "a place within the ranges",
            );
            source.wrong_item(item, wrong);
            return None;
        }
    }
    Some(EncoderReading::from_degrees(place[0], place[1]))
}

fn teeth(
    source: &mut Source<'_>,
    section: &Section<'_>,
    gear_key: &str,
    pinion_key: &str,
) -> Option<GearTeeth> {
    let mut count = |key| {
        source
            .optional_whole(section, key, &limits::TEETH)
            .filter(|teeth| *teeth > 0)
    };
    let (gear, pinion) = (count(gear_key), count(pinion_key));
    let wrong = match (gear, pinion) {
        (Some(gear), Some(pinion)) if pinion > gear => Wrong::new(
            format!("{pinion_key} is {pinion}, more than {gear_key} with {gear}"),
            "the smaller gear, on the motor's side",
        )
        .mend("exchange the two numbers"),
        (None, Some(pinion)) if !section.has(gear_key) => Wrong::new(
            format!("{pinion_key} is {pinion} but {gear_key} is missing"),
            "both",
        )
        .mend(format!(
            "add {gear_key}, the teeth of the big gear on the axis"
        )),
        _ => return gear.map(|gear| GearTeeth { gear, pinion }),
    };
    source.wrong_item(section.get(pinion_key)?, wrong);
    None
}

fn feet(source: &mut Source<'_>, section: &Section<'_>) -> Vec<Angle> {
    const KEY: &str = "base_feet_azimuth_deg";
    let mut feet: Vec<Angle> = Vec::new();
    let expected = "a list of azimuths in degrees, such as [0.0, 120.0, 240.0]";
    for value in source
        .optional_list(section, KEY, expected)
        .into_iter()
        .flatten()
    {
        let item = value_item(value);
        let Some(degrees) = source.as_number(&item, KEY, &limits::AZIMUTH) else {
            continue;
        };
        let foot = Angle::from_degrees(degrees).wrapped_positive();
        if feet.contains(&foot) {
            let wrong = Wrong::new(
                format!("a foot stands at {degrees} already"),
                "each foot once",
            );
            source.wrong_item(&item, wrong);
        }
        feet.push(foot);
    }
    feet
}
