//! Limits of the numbers in files, with hints on what a wrong one probably meant: for the station
//! file and all other files with the same quantities.

use crate::quantity::Quantity;

pub(crate) const LATITUDE: Quantity =
    Quantity::new(-90.0, 90.0, "degrees from -90 to 90, north positive");
pub(crate) const LONGITUDE: Quantity =
    Quantity::new(-180.0, 360.0, "degrees from -180 to 360, east positive");
/// From below the shore of the Dead Sea to the highest mountains.
pub(crate) const HEIGHT: Quantity = Quantity::new(
    -500.0,
    9000.0,
    "metres above the WGS 84 ellipsoid, from -500 to 9000",
)
.hint(|value| {
    (9000.0..30_000.0)
        .contains(&value)
        .then(|| format!("if that is feet, write {:.1}", value * 0.3048))
});
pub(crate) const PRESSURE: Quantity = Quantity::new(
    300.0,
    1100.0,
    "the pressure at the station in hectopascal, from 300 to 1100",
)
.hint(|value| match value {
    30_000.0..=110_000.0 => Some(format!("if that is pascal, write {:.1}", value / 100.0)),
    30.0..=110.0 => Some(format!("if that is kilopascal, write {:.1}", value * 10.0)),
    9.0..30.0 => Some(format!(
        "if that is inches of mercury, write {:.1}",
        value * 25.4 * HPA_PER_MMHG
    )),
    0.3..=1.1 => Some(format!("if that is bar, write {:.1}", value * 1000.0)),
    _ => None,
});
/// The conventional millimetre of mercury.
pub(crate) const HPA_PER_MMHG: f64 = 1.333_22;
pub(crate) const TEMPERATURE: Quantity =
    Quantity::new(-90.0, 60.0, "degrees Celsius from -90 to 60").hint(|value| match value {
        180.0..=335.0 => Some(format!("if that is kelvin, write {:.1}", value - 273.15)),
        60.0..=140.0 => Some(format!(
            "if that is Fahrenheit, write {:.1}",
            (value - 32.0) / 1.8
        )),
        _ => None,
    });
/// Temperature of a part of the mount: in the sun it may be hotter than the air ever is.
pub(crate) const PART_TEMPERATURE: Quantity =
    Quantity::new(-100.0, 100.0, "degrees Celsius from -100 to 100").hint(|value| {
        (150.0..400.0)
            .contains(&value)
            .then(|| format!("if that is kelvin, write {:.1}", value - 273.15))
    });
pub(crate) const HUMIDITY: Quantity =
    Quantity::new(0.0, 1.0, "a fraction from 0 to 1").hint(|value| {
        (1.0..=100.0)
            .contains(&value)
            .then(|| format!("if that is per cent, write {}", value / 100.0))
    });
/// From a quiet night to the stormiest day on record.
pub(crate) const ELECTRON_CONTENT: Quantity = Quantity::new(
    0.0,
    1000.0,
    "the total electron content in units of 1e16 per square metre, from 0 to 1000",
)
.hint(|value| {
    (value >= 1e14).then(|| {
        format!(
            "if that is electrons per square metre, write {:.1}",
            value / 1e16
        )
    })
});
/// Distance from the intersection of the axes to the beam.
pub(crate) const AXIS_OFFSET: Quantity = Quantity::new(-50.0, 50.0, "metres from -50 to 50");
/// Kept below 0.9 s by leap seconds (Recommendation ITU-R TF.460-6, from memory).
pub(crate) const UT1_MINUS_UTC: Quantity = Quantity::new(-0.9, 0.9, "seconds from -0.9 to 0.9")
    .hint(|value| {
        Some(format!(
            "if that is milliseconds, write {}; if UT1 is not known, leave the line out",
            value / 1000.0
        ))
    });
pub(crate) const ENCODER_AZIMUTH: Quantity =
    Quantity::new(-100_000.0, 100_000.0, "degrees from -100000 to 100000");
pub(crate) const ENCODER_ELEVATION: Quantity =
    Quantity::new(-90.0, 270.0, "degrees from -90 to 270");
/// A reading of an axis that turns less than a full turn either way.
pub(crate) const ENCODER_OTHER: Quantity = Quantity::new(-270.0, 270.0, "degrees from -270 to 270");
/// Raw reading of a sensor, pulses or volts.
pub(crate) const SENSOR: Quantity = Quantity::new(-1e9, 1e9, "a number from -1e9 to 1e9");
/// Tilt of a deliberately tilted first axis; at 90 degrees it is horizontal.
pub(crate) const AXIS_TILT: Quantity = Quantity::new(0.0, 90.0, "degrees from 0 to 90");
pub(crate) const BOLT_PITCH: Quantity =
    Quantity::new(0.05, 50.0, "millimetres a turn, from 0.05 to 50");
pub(crate) const BOLT_DISTANCE: Quantity =
    Quantity::new(5.0, 20_000.0, "millimetres from 5 to 20000");
pub(crate) const BEARING_DISTANCE: Quantity =
    Quantity::new(0.01, 100.0, "metres from 0.01 to 100").hint(in_metres);
pub(crate) const AZIMUTH: Quantity = Quantity::new(
    -360.0,
    360.0,
    "degrees from -360 to 360, from true north, clockwise",
);
pub(crate) const ELEVATION: Quantity = Quantity::new(
    -90.0,
    90.0,
    "degrees from -90 to 90, up from the horizontal",
);
/// Zero means "not given", as in the template of the file.
pub(crate) const TEETH: Quantity =
    Quantity::new(0.0, 100_000.0, "a whole number of teeth, at most 100000");
pub(crate) const BASE_RADIUS: Quantity =
    Quantity::new(0.0, 100.0, "metres from 0 to 100").hint(in_metres);
/// The largest steerable dishes are about 100 m in diameter.
pub(crate) const DIAMETER: Quantity =
    Quantity::new(0.1, 110.0, "metres from 0.1 to 110").hint(in_metres);
pub(crate) const FREQUENCY: Quantity =
    Quantity::new(30.0, 1_000_000.0, "megahertz from 30 to 1000000").hint(|value| match value {
        0.03..30.0 => Some(format!("if that is gigahertz, write {}", value * 1000.0)),
        3e7.. => Some(format!("if that is hertz, write {}", value / 1e6)),
        1e6..3e7 => Some(format!("if that is kilohertz, write {}", value / 1e3)),
        _ => None,
    });
pub(crate) const BEAMWIDTH: Quantity =
    Quantity::new(0.0, 90.0, "the half-power width in degrees, up to 90");
pub(crate) const RIGHT_ASCENSION: Quantity =
    Quantity::new(0.0, 360.0, "degrees from 0 to 360 (hours x 15)");
pub(crate) const DECLINATION: Quantity = Quantity::new(-90.0, 90.0, "degrees from -90 to 90");
/// Catalogue numbers have up to nine digits.
pub(crate) const NORAD_ID: Quantity = Quantity::new(
    1.0,
    999_999_999.0,
    "the satellite's catalogue number, a whole number",
);

/// Power relative to the receiver's own reference.
pub(crate) const DECIBELS: Quantity = Quantity::new(-400.0, 400.0, "decibels from -400 to 400");
/// An angle between two directions.
pub(crate) const OFFSET: Quantity = Quantity::new(0.0, 180.0, "degrees from 0 to 180");
/// An error of an encoder reading, or an offset added to one: at most a turn and a half more than a
/// cable allows.
pub(crate) const SHIFT: Quantity = Quantity::new(-1000.0, 1000.0, "degrees from -1000 to 1000");
/// Largest clock error, also for a calibration.
pub(crate) const CLOCK: Quantity = Quantity::new(-1e9, 1e9, "seconds from -1e9 to 1e9");
/// Loss from pointing off the beam axis: one beamwidth costs 12 decibels, and beyond it no loss is
/// given.
pub(crate) const BEAM_LOSS: Quantity =
    Quantity::new(0.0, 12.0, "decibels from 0 to 12, or null beyond that");
/// One turn either way.
pub(crate) const TURN: Quantity = Quantity::new(-360.0, 360.0, "degrees from -360 to 360");
/// From one revolution in 2,700 years, as in a published set of SGP4 test elements, to more than
/// any orbit above the ground has: the fastest satellites circle the Earth 17 times a day.
pub(crate) const MEAN_MOTION: Quantity =
    Quantity::new(1e-6, 20.0, "turns a day, from 0.000001 to 20");
pub(crate) const ECCENTRICITY: Quantity =
    Quantity::new(0.0, 0.999_999_9, "a number from 0 to below 1");
pub(crate) const INCLINATION: Quantity = Quantity::new(0.0, 180.0, "degrees from 0 to 180");
/// Drag term, per Earth radius.
pub(crate) const DRAG_TERM: Quantity = Quantity::new(-10.0, 10.0, "a number from -10 to 10");

fn in_metres(value: f64) -> Option<String> {
    match value {
        100.0..=3000.0 => Some(format!(
            "in metres: {} if that is centimetres, {} if millimetres",
            value / 100.0,
            value / 1000.0
        )),
        _ if value > 3000.0 => Some(format!("if that is millimetres, write {}", value / 1000.0)),
        _ => None,
    }
}
