//! The `[mount]` section: the axes, their ranges and gears, and the feet.

use super::keys::{AZ_EL, MOUNTS, elsewhere};
use super::section::{Section, Source, value_item};
use super::sensor::{Sensor, sensor};
use super::{Bearings, Bolts, GearTeeth, Mount, limits};
use crate::angle::{Angle, EncoderReading};
use crate::mount::{AxisKind, Geometry, LowerAxis};
use crate::problem::{Wrong, nearest_name};
use crate::quantity::Quantity;
use crate::text::quoted;

/// Reads the mount, at that latitude; `None` if something is wrong with it, which is reported.
/// Ranges shortened by the limits of a sensor are listed in `assumptions`.
pub(super) fn mount(
    source: &mut Source<'_>,
    section: &Section<'_>,
    latitude: Option<Angle>,
    assumptions: &mut Vec<String>,
) -> Option<Mount> {
    let Some(name) = mount_kind(source, section) else {
        let of_all = MOUNTS.iter().flat_map(|(_, keys)| *keys).copied();
        let known: Vec<&str> = of_all.chain(AXES).collect();
        source.unknown_keys(section, &known, elsewhere);
        return None;
    };
    let keys = MOUNTS.iter().find(|(kind, _)| *kind == name);
    let keys = keys.map_or(&AZ_EL[..], |(_, keys)| keys);
    foreign_keys(source, section, name, keys);
    let (axes, geometry) = match name {
        "polar" => (
            [AxisKind::HourAngle, AxisKind::Declination],
            latitude.map(Geometry::polar),
        ),
        "x-y" => (
            [AxisKind::X, AxisKind::Y],
            lower_axis(source, section).map(Geometry::x_y),
        ),
        "slant" => (
            [AxisKind::Azimuth, AxisKind::Elevation],
            slant(source, section),
        ),
        _ => (
            [AxisKind::Azimuth, AxisKind::Elevation],
            Some(Geometry::AZ_EL),
        ),
    };
    let sensors = [0, 1].map(|i| sensor(source, section, i + 1, readings_of(axes[i])));
    let fixed = (name == "polar")
        .then(|| fixed_declination(source, section))
        .flatten();
    let ranges = [0, 1].map(|i| {
        if let (1, Some(fixed)) = (i, fixed) {
            return Some((fixed, fixed));
        }
        let range = range(source, section, axes[i])?;
        within_sensor(
            source,
            section,
            (axes[i], i + 1),
            range,
            sensors[i].as_ref(),
            assumptions,
        )
    });
    let [azimuth_teeth, elevation_teeth] = axes.map(|axis| teeth(source, section, axis));
    let bearings = Bearings {
        base_radius_m: source
            .optional_number(section, "base_radius_m", &limits::BASE_RADIUS)
            .filter(|radius| *radius > 0.0),
        base_feet_azimuth: feet(source, section),
        polar_bolts: bolts(source, section),
        distance_m: source.optional_number(
            section,
            "lower_bearing_distance_m",
            &limits::BEARING_DISTANCE,
        ),
    };
    let park = park(source, section, axes, ranges);
    let axis_offset_m = axis_offset(source, section);
    let [azimuth_range, elevation_range] = ranges;
    Some(Mount {
        geometry: geometry?,
        azimuth_range: azimuth_range?,
        elevation_range: elevation_range?,
        azimuth_teeth,
        elevation_teeth,
        bearings,
        park,
        sensors,
        fixed_declination: fixed,
        axis_offset_m,
    })
}

/// Subsections for the axes.
const AXES: [&str; 2] = ["axis_1", "axis_2"];

/// Reports keys that this kind of mount does not have; keys of other kinds are named as such.
fn foreign_keys(source: &mut Source<'_>, section: &Section<'_>, kind: &str, keys: &[&str]) {
    let mut known = keys.to_vec();
    known.extend(AXES);
    for (other, theirs) in MOUNTS {
        for key in theirs.iter().filter(|key| !keys.contains(key)) {
            if known.contains(key) {
                continue;
            }
            let Some(item) = section.get(key) else {
                continue;
            };
            known.push(key);
            let found =
                format!("a mount of kind \"{kind}\" has no {key}, which is of kind \"{other}\"");
            let wrong = match own_key(kind, other, key).filter(|own| keys.contains(&own.as_str())) {
                Some(own) => {
                    source.mean(section, &own);
                    Wrong::new(found, own.clone())
                        .mend(format!("rename it {own}, with what that axis reads"))
                }
                None => Wrong::new(found, "none of that name").mend("delete the line"),
            };
            source.wrong_item(item, wrong);
        }
    }
    source.unknown_keys(section, &known, elsewhere);
}

/// Translates a key of another kind of mount into this kind's key for the same axis.
fn own_key(kind: &str, other: &str, key: &str) -> Option<String> {
    let axes = |kind: &str| match kind {
        "polar" => [AxisKind::HourAngle, AxisKind::Declination],
        "x-y" => [AxisKind::X, AxisKind::Y],
        _ => [AxisKind::Azimuth, AxisKind::Elevation],
    };
    (axes(other).into_iter().zip(axes(kind))).find_map(|(theirs, own)| {
        let rest = key.strip_prefix(theirs.key())?;
        Some(format!("{}{rest}", own.key()))
    })
}

/// Reads the kind of mount, if it is valid.
fn mount_kind(source: &mut Source<'_>, section: &Section<'_>) -> Option<&'static str> {
    let kinds = MOUNTS.map(|(kind, _)| kind);
    let expected = "\"az-el\", \"polar\", \"x-y\" or \"slant\"";
    let kind = source.text(section, "kind", expected)?;
    if let Some(known) = kinds.into_iter().find(|known| *known == kind) {
        return Some(known);
    }
    let plain = (kind.to_lowercase()).replace(['-', '_', '/', ' ', '.'], "");
    let near = match plain.as_str() {
        "azel" | "altaz" | "azalt" | "elaz" | "elevationoverazimuth" => Some("az-el"),
        "xy" => Some("x-y"),
        "equatorial" | "hadec" | "hourangledeclination" => Some("polar"),
        "slanted" => Some("slant"),
        _ => nearest_name(kind, kinds),
    };
    let wrong = Wrong::new(
        format!("no kind of mount is called {}", quoted(kind)),
        expected,
    );
    let wrong = match near {
        Some(near) => wrong.mend(format!("write kind = \"{near}\"")),
        None => wrong,
    };
    source.wrong_item(section.get("kind")?, wrong);
    None
}

/// Reads the orientation of the lower axis of an x-y mount.
fn lower_axis(source: &mut Source<'_>, section: &Section<'_>) -> Option<LowerAxis> {
    const KEY: &str = "lower_axis";
    let expected = "\"north-south\" or \"east-west\": how the axis on the ground lies";
    let lies = source.text(section, KEY, expected)?;
    match lies {
        "north-south" => return Some(LowerAxis::NorthSouth),
        "east-west" => return Some(LowerAxis::EastWest),
        _ => {}
    }
    let wrong = Wrong::new(format!("{KEY} is {}", quoted(lies)), expected);
    let wrong = match nearest_name(lies, ["north-south", "east-west"]) {
        Some(near) => wrong.mend(format!("write {KEY} = \"{near}\"")),
        None => wrong,
    };
    source.wrong_item(section.get(KEY)?, wrong);
    None
}

/// Reads the direction of the azimuth axis on a tilted base.
fn slant(source: &mut Source<'_>, section: &Section<'_>) -> Option<Geometry> {
    let tilt = source.number(section, "axis_tilt_deg", &limits::AXIS_TILT);
    let azimuth = source.number(section, "axis_tilt_azimuth_deg", &limits::AZIMUTH);
    Some(Geometry::slant(
        Angle::from_degrees(tilt?),
        Angle::from_degrees(azimuth?),
    ))
}

/// Reads the bolts of a polar axis; both keys or neither must be present.
fn bolts(source: &mut Source<'_>, section: &Section<'_>) -> Option<Bolts> {
    const KEYS: [&str; 2] = ["polar_bolt_pitch_mm", "polar_bolt_distance_mm"];
    let pitch = source.optional_number(section, KEYS[0], &limits::BOLT_PITCH);
    let distance = source.optional_number(section, KEYS[1], &limits::BOLT_DISTANCE);
    for (here, other) in [(KEYS[0], KEYS[1]), (KEYS[1], KEYS[0])] {
        if let (Some(item), false) = (section.get(here), section.has(other)) {
            let wrong = Wrong::new(format!("{here} is there but {other} is missing"), "both")
                .mend(format!("add {other}"));
            source.wrong_item(item, wrong);
        }
    }
    Some(Bolts {
        pitch_mm: pitch?,
        distance_mm: distance?,
    })
}

/// Permitted readings of an axis.
fn readings_of(axis: AxisKind) -> &'static Quantity {
    match axis {
        AxisKind::Azimuth | AxisKind::HourAngle => &limits::ENCODER_AZIMUTH,
        AxisKind::Elevation => &limits::ENCODER_ELEVATION,
        AxisKind::Declination | AxisKind::X | AxisKind::Y => &limits::ENCODER_OTHER,
    }
}

/// Reads the lowest and highest reading of an axis.
fn range(source: &mut Source<'_>, section: &Section<'_>, axis: AxisKind) -> Option<(Angle, Angle)> {
    let example = match axis {
        AxisKind::Azimuth => "[-180.0, 540.0]",
        AxisKind::Elevation => "[0.0, 90.0]",
        AxisKind::HourAngle => "[-100.0, 100.0]",
        AxisKind::Declination => "[-40.0, 85.0]",
        AxisKind::X | AxisKind::Y => "[-85.0, 85.0]",
    };
    let (key, words) = (format!("{}_range_deg", axis.key()), axis.words());
    let expected = format!("lowest and highest {words} reading in degrees, such as {example}");
    let (key, expected, degrees) = (key.as_str(), expected.as_str(), readings_of(axis));
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
        if low > high && axis == AxisKind::Azimuth {
            wrong.mend(format!(
                "write [{high:?}, {low:?}]; readings do not jump at 360, so a range across north is written like [-90.0, 270.0]"
            ))
        } else if low > high {
            wrong.mend(format!("write [{high:?}, {low:?}]"))
        } else {
            wrong
        },
    );
    None
}

/// Reads the offset of the beam from the intersection of the axes, metres.
fn axis_offset(source: &mut Source<'_>, section: &Section<'_>) -> [f64; 2] {
    const KEY: &str = "axis_offset_m";
    let expected = "how far the beam passes to the right of the crossing of the axes and above it, \
                    metres, such as [0.0, 0.35]";
    (section.get(KEY))
        .and_then(|item| source.pair(item, KEY, expected, [&limits::AXIS_OFFSET; 2]))
        .unwrap_or_default()
}

/// Reads the declination at which the second axis of a mount with one motor is bolted.
fn fixed_declination(source: &mut Source<'_>, section: &Section<'_>) -> Option<Angle> {
    const KEY: &str = "declination_offset_deg";
    let item = section.get(KEY)?;
    if section.has("declination_range_deg") {
        let wrong = Wrong::new(
            format!("{KEY} beside declination_range_deg"),
            "one of the two: the range of a second motor, or the declination at which a mount with \
             one motor is bolted",
        );
        source.wrong_item(item, wrong);
        return None;
    }
    source
        .optional_number(section, KEY, &limits::DECLINATION)
        .map(Angle::from_degrees)
}

/// Limits a range to what the axis's sensor covers.
fn within_sensor(
    source: &mut Source<'_>,
    section: &Section<'_>,
    (axis, number): (AxisKind, usize),
    range: (Angle, Angle),
    sensor: Option<&Sensor>,
    assumptions: &mut Vec<String>,
) -> Option<(Angle, Angle)> {
    let Some((low, high)) = sensor.and_then(Sensor::range) else {
        return Some(range);
    };
    let cut = (range.0.max(low), range.1.min(high));
    if cut == range {
        return Some(range);
    }
    let (key, words) = (format!("{}_range_deg", axis.key()), axis.words());
    let [from, to] = [low, high].map(short);
    if cut.0 >= cut.1 {
        let wrong = Wrong::new(
            format!(
                "the knots of [mount.axis_{number}.sensor] reach from {from} to {to} degrees, none of {key}"
            ),
            format!("knots within the {words} readings of {key}"),
        );
        source.wrong_item(section.get(&key)?, wrong);
        return None;
    }
    assumptions.push(format!(
        "{key} is cut to {} to {}: the knots of [mount.axis_{number}.sensor] reach from {from} to {to} degrees",
        short(cut.0),
        short(cut.1),
    ));
    Some(cut)
}

/// Degrees with rounding errors removed.
fn short(angle: Angle) -> f64 {
    (angle.degrees() * 1e6).round() / 1e6
}

/// Reads the park position, within the ranges.
fn park(
    source: &mut Source<'_>,
    section: &Section<'_>,
    axes: [AxisKind; 2],
    ranges: [Option<(Angle, Angle)>; 2],
) -> Option<EncoderReading> {
    const KEY: &str = "park";
    let item = section.get(KEY)?;
    let expected = "the readings of axis 1 and axis 2 at which the dish is parked, degrees, such as \
                    [180.0, 85.0]";
    let degrees = axes.map(readings_of);
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

fn teeth(source: &mut Source<'_>, section: &Section<'_>, axis: AxisKind) -> Option<GearTeeth> {
    let gear_key = &format!("{}_gear_teeth", axis.key());
    let pinion_key = &format!("{}_pinion_teeth", axis.key());
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
