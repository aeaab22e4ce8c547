//! A sensor whose readings are not in degrees, and its section `[mount.axis_1.sensor]`.

use toml_edit::Item;

use super::curve::MonotoneCurve;
use super::keys::SENSOR;
use super::limits;
use super::section::{Section, Source, kind_of, value_item};
use crate::angle::Angle;
use crate::problem::Wrong;
use crate::quantity::Quantity;

/// The sensor of an axis, with the conversion of its raw readings to degrees.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensor {
    scale: Scale,
    /// Unit of its readings: pulses, V.
    pub unit: String,
}

#[derive(Clone, Debug, PartialEq)]
enum Scale {
    /// Linear: counts per degree, and the reading at 0 degrees.
    Counts { per_degree: f64, at_zero: f64 },
    /// Degrees as a function of the reading.
    Knots(MonotoneCurve),
}

/// Decimals of a count that are written.
const COUNT_DECIMALS: usize = 2;
/// Readings of a curve are written with this many significant figures relative to its span.
const FIGURES: i32 = 6;

impl Sensor {
    /// A sensor with this many counts per degree (negative if counts decrease as the degrees
    /// increase), which reads `at_zero` at 0 degrees.
    pub fn counts(per_degree: f64, at_zero: f64) -> Sensor {
        Sensor {
            scale: Scale::Counts {
                per_degree,
                at_zero,
            },
            unit: "counts".to_owned(),
        }
    }

    /// A sensor with a curve through knots of reading and degrees, by increasing reading; `None` if
    /// the curve is not monotone.
    pub fn knots(knots: &[(f64, f64)]) -> Option<Sensor> {
        Some(Sensor {
            scale: Scale::Knots(MonotoneCurve::through(knots)?),
            unit: String::new(),
        })
    }

    /// Converts a sensor reading to degrees.
    ///
    /// # Errors
    /// If the reading is beyond the knots, with the permitted range.
    pub fn angle(&self, reading: f64) -> Result<Angle, Wrong> {
        let degrees = match &self.scale {
            Scale::Counts {
                per_degree,
                at_zero,
            } => Some((reading - at_zero) / per_degree),
            Scale::Knots(curve) => curve.at(reading),
        };
        degrees.map(Angle::from_degrees).ok_or_else(|| {
            let ((low, high), (from, to)) = self.ends().unwrap_or_default();
            Wrong::new(
                format!("{reading} lies beyond the knots of this axis's sensor"),
                format!("a reading from {low} to {high}, which are {from} to {to} degrees"),
            )
            .mend("add knots to the station file as far as the axis goes")
        })
    }

    /// Converts degrees to a sensor reading; `None` beyond its knots.
    pub fn reading(&self, angle: Angle) -> Option<f64> {
        /// Rounding may put an end of a range slightly beyond the last knot.
        const HAIR_DEG: f64 = 1e-7;
        let degrees = angle.degrees();
        match &self.scale {
            Scale::Counts {
                per_degree,
                at_zero,
            } => Some(degrees * per_degree + at_zero),
            Scale::Knots(curve) => {
                let (low, high) = curve.value_ends();
                let near = (low - HAIR_DEG..=high + HAIR_DEG).contains(&degrees);
                near.then(|| curve.place_of(degrees.clamp(low, high)))?
            }
        }
    }

    /// The angle nearest to this one that the sensor can resolve: a whole count.
    pub fn rounded(&self, angle: Angle) -> Angle {
        match &self.scale {
            Scale::Counts { .. } => (self.reading(angle))
                .and_then(|reading| self.angle(reading.round()).ok())
                .unwrap_or(angle),
            Scale::Knots(_) => angle,
        }
    }

    /// Whether its reading increases with the degrees.
    pub fn rises(&self) -> bool {
        match &self.scale {
            Scale::Counts { per_degree, .. } => *per_degree > 0.0,
            Scale::Knots(curve) => curve.rises(),
        }
    }

    /// First and last reading of its knots, in order of degrees, and the lowest and highest
    /// degrees.
    fn ends(&self) -> Option<((f64, f64), (f64, f64))> {
        match &self.scale {
            Scale::Counts { .. } => None,
            Scale::Knots(curve) => {
                let (first, last) = curve.ends();
                let readings = if curve.rises() {
                    (first, last)
                } else {
                    (last, first)
                };
                Some((readings, curve.value_ends()))
            }
        }
    }

    /// Lowest and highest angle covered by its knots; `None` if it has no limits.
    pub fn range(&self) -> Option<(Angle, Angle)> {
        let (_, (low, high)) = self.ends()?;
        Some((Angle::from_degrees(low), Angle::from_degrees(high)))
    }

    /// Number of decimals of a reading worth writing.
    pub fn decimals(&self) -> usize {
        match self.ends() {
            None => COUNT_DECIMALS,
            Some(((low, high), _)) => {
                let leading = (high - low).abs().log10().floor() as i32;
                usize::try_from(FIGURES - 1 - leading).unwrap_or(0)
            }
        }
    }

    /// Sensor reading at an angle, rounded to the decimals worth writing.
    pub fn shown(&self, angle: Angle) -> Option<f64> {
        let scale = 10f64.powi(self.decimals() as i32);
        Some((self.reading(angle)? * scale).round() / scale)
    }

    /// The same in words, with its unit.
    pub fn shown_words(&self, angle: Angle) -> Option<String> {
        let shown = self.shown(angle)?;
        Some(format!("{shown} {}", self.unit).trim_end().to_owned())
    }
}

/// Reads the sensor of the first or second axis, with these permitted degrees; `None` if there is
/// none, or if something is wrong with it, which is reported.
pub(super) fn sensor(
    source: &mut Source<'_>,
    mount: &Section<'_>,
    number: usize,
    degrees: &Quantity,
) -> Option<Sensor> {
    let name = format!("axis_{number}");
    let table = inner(source, mount, &name)?;
    let axis_section = Section::new(format!("[mount.{name}]"), start(mount.get(&name)?), table);
    source.unknown_keys(&axis_section, &["sensor"], |key| {
        SENSOR
            .contains(&key)
            .then(|| format!("[mount.{name}.sensor]"))
    });
    let table = inner(source, &axis_section, "sensor")?;
    let section = Section::new(
        format!("[mount.{name}.sensor]"),
        start(axis_section.get("sensor")?),
        table,
    );
    source.unknown_keys(&section, &SENSOR, |_| None);
    let unit = match section.has("unit") {
        true => source.text(
            &section,
            "unit",
            "what it counts in, such as \"pulses\" or \"V\"",
        ),
        false => None,
    };
    let scale = match (section.get("counts_per_degree"), section.get("knots")) {
        (Some(_), Some(item)) => {
            let wrong = Wrong::new(
                "counts_per_degree and knots together",
                "one of the two: a sensor that counts evenly, or a curve",
            );
            source.wrong_item(item, wrong);
            None
        }
        (None, None) => {
            if !source.was_meant(&section, "counts_per_degree")
                && !source.was_meant(&section, "knots")
            {
                let wrong = Wrong::new(
                    format!("{} has no counts_per_degree and no knots", section.heading),
                    "counts_per_degree = …, or knots = [[reading, degrees], …]",
                );
                source.wrong_at(section.start, wrong);
            }
            None
        }
        (Some(item), None) => counts(source, &section, item),
        (None, Some(item)) => knots(source, &section, item, degrees),
    }?;
    Some(match unit {
        Some(unit) => Sensor {
            unit: unit.to_owned(),
            ..scale
        },
        None => scale,
    })
}

fn start(item: &Item) -> usize {
    item.span().map_or(0, |span| span.start)
}

/// Reads the table under an optional key.
fn inner<'s>(
    source: &mut Source<'_>,
    section: &Section<'s>,
    key: &str,
) -> Option<&'s dyn toml_edit::TableLike> {
    let item = section.get(key)?;
    let table = item.as_table_like();
    if table.is_none() {
        let heading = section.heading.trim_end_matches(']').to_owned();
        let wrong = Wrong::new(
            format!("{key} is {}", kind_of(item)),
            format!("a section {heading}.{key}]"),
        );
        source.wrong_item(item, wrong);
    }
    table
}

fn counts(source: &mut Source<'_>, section: &Section<'_>, item: &Item) -> Option<Sensor> {
    let at_zero =
        (source.optional_number(section, "count_at_zero", &limits::SENSOR)).unwrap_or(0.0);
    let per_degree = source.number(section, "counts_per_degree", &limits::SENSOR)?;
    if per_degree == 0.0 {
        let wrong = Wrong::new("counts_per_degree is 0", "how many counts make one degree")
            .mend("negative when the counts fall as the axis's degrees rise");
        source.wrong_item(item, wrong);
        return None;
    }
    Some(Sensor::counts(per_degree, at_zero))
}

const KNOTS: &str = "two knots or more, each a reading of the sensor and its degrees, such as \
                     [[0.42, 12.0], [4.87, 78.0]]";

fn knots(
    source: &mut Source<'_>,
    section: &Section<'_>,
    item: &Item,
    degrees: &Quantity,
) -> Option<Sensor> {
    if let Some(zero) = section.get("count_at_zero") {
        let wrong = Wrong::new(
            "count_at_zero beside knots",
            "none there: the knots say where 0 degrees is",
        )
        .mend("delete the line");
        source.wrong_item(zero, wrong);
    }
    let list = source.optional_list(section, "knots", KNOTS)?;
    let mut knots: Vec<(f64, f64)> = Vec::new();
    let mut whole = true;
    let mut sense = (0.0, 0.0);
    for value in list {
        let item = value_item(value);
        let Some([reading, degrees]) =
            source.pair(&item, "a knot", KNOTS, [&limits::SENSOR, degrees])
        else {
            whole = false;
            continue;
        };
        if let Some((earlier, before)) = knots.last().copied() {
            let way = ((reading - earlier).signum(), (degrees - before).signum());
            let stays = reading == earlier || degrees == before;
            if stays || (knots.len() > 1 && way != sense) {
                let wrong = Wrong::new(
                    format!(
                        "the knot [{reading}, {degrees}] after [{earlier}, {before}] turns back"
                    ),
                    "readings that only rise or only fall from knot to knot, and degrees likewise",
                );
                source.wrong_item(&item, wrong);
                return None;
            }
            sense = way;
        }
        knots.push((reading, degrees));
    }
    if knots.len() < 2 && whole {
        let wrong = Wrong::new(format!("knots is a list of {}", knots.len()), KNOTS);
        source.wrong_item(item, wrong);
    }
    knots.sort_by(|a, b| a.0.total_cmp(&b.0));
    Sensor::knots(&knots).filter(|_| whole)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn degrees(sensor: &Sensor, reading: f64) -> f64 {
        sensor.angle(reading).unwrap().degrees()
    }

    #[test]
    fn counts_convert_to_degrees_and_back() {
        let sensor = Sensor::counts(-20.0, 900.0);
        assert!((degrees(&sensor, 900.0)).abs() < 1e-12);
        assert!((degrees(&sensor, 300.0) - 30.0).abs() < 1e-12);
        assert_eq!(sensor.shown(Angle::from_degrees(30.0)), Some(300.0));
        assert!(!sensor.rises() && sensor.range().is_none());
        let rounded = sensor.rounded(Angle::from_degrees(30.02));
        assert!((rounded.degrees() - 30.0).abs() < 1e-12);
    }

    #[test]
    fn a_curve_has_no_value_beyond_its_knots() {
        let sensor = Sensor::knots(&[(0.5, 80.0), (2.5, 40.0), (4.5, 10.0)]).unwrap();
        assert!((degrees(&sensor, 2.5) - 40.0).abs() < 1e-12);
        let told = sensor.angle(4.6).unwrap_err();
        assert!(told.found.contains("beyond"), "{told:?}");
        assert!(told.expected.contains("from 4.5 to 0.5"), "{told:?}");
        assert_eq!(sensor.reading(Angle::from_degrees(81.0)), None);
        assert_eq!(sensor.shown(Angle::from_degrees(10.0)), Some(4.5));
        assert_eq!(sensor.decimals(), 5);
    }
}
