//! Reads a cell as the side from which an axis arrived.

use super::super::log_options::CompassMeaning;
use super::super::peak::Approach;
use crate::mount::AxisKind;

/// Content of a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Side {
    /// Given by the sign of the change in the reading.
    Approach(Approach),
    /// A compass point, in degrees from north, and its meaning if the cell says it.
    Compass(f64, Option<CompassMeaning>),
}

/// Reads a side given by the change in the reading; `None` if the text gives it in another way or
/// not at all.
pub fn by_reading(text: &str) -> Option<Approach> {
    let folded = folded(text);
    match (text.trim(), folded.trim()) {
        ("", _) => Some(Approach::Unknown),
        ("+" | "+1", _) | (_, "increasing" | "rising reading") => Some(Approach::Increasing),
        ("-" | "-1" | "\u{2212}" | "\u{2013}" | "\u{2212}1", _)
        | (_, "decreasing" | "falling reading") => Some(Approach::Decreasing),
        _ => None,
    }
}

fn folded(text: &str) -> String {
    text.trim().to_lowercase().replace(['-', '_'], " ")
}

/// Reads the side from which an axis of that kind arrived; `None` if the text gives none.
pub fn side(text: &str, axis: AxisKind) -> Option<Side> {
    if let Some(approach) = by_reading(text) {
        return Some(Side::Approach(approach));
    }
    let folded = folded(text);
    let folded = folded.trim();
    let turning = match folded {
        "cw" | "clockwise" => Some(Approach::Increasing),
        "ccw" | "acw" | "counter clockwise" | "counterclockwise" | "anti clockwise"
        | "anticlockwise" => Some(Approach::Decreasing),
        _ => None,
    };
    let lifting = match folded {
        "up" | "upward" | "upwards" => Some(Approach::Increasing),
        "down" | "downward" | "downwards" => Some(Approach::Decreasing),
        _ => None,
    };
    match axis {
        AxisKind::Azimuth => turning.map(Side::Approach).or_else(|| compass(folded)),
        AxisKind::Elevation => lifting.map(Side::Approach),
        AxisKind::HourAngle | AxisKind::Declination | AxisKind::X | AxisKind::Y => compass(folded),
    }
}

impl Side {
    /// Returns the approach of an axis of that kind at this reading in degrees. `None` if the
    /// compass point does not determine it or its meaning is not known.
    pub fn approach(
        self,
        axis: AxisKind,
        reading_deg: Option<f64>,
        meaning: Option<CompassMeaning>,
    ) -> Option<Approach> {
        let (point, meaning) = match self {
            Side::Approach(approach) => return Some(approach),
            Side::Compass(point, said) => (point, said.or(meaning)?),
        };
        // Positive if the reading increases on the way toward the point.
        let grows = match axis {
            // By the shorter way round.
            AxisKind::Azimuth => (point - reading_deg?).to_radians().sin(),
            // Hour angles increase westward, declinations northward.
            AxisKind::HourAngle => -point.to_radians().sin(),
            AxisKind::Declination => point.to_radians().cos(),
            AxisKind::Elevation | AxisKind::X | AxisKind::Y => return None,
        };
        let grows = match meaning {
            CompassMeaning::Toward => grows,
            CompassMeaning::From => -grows,
        };
        if grows.abs() < LEAST_SIDEWAYS {
            None
        } else if grows > 0.0 {
            Some(Approach::Increasing)
        } else {
            Some(Approach::Decreasing)
        }
    }
}

/// Sine of 20 degrees: a point nearer than that to straight ahead or astern does not determine a
/// side, since the encoder's zero may be off by as much. Common practice, no source.
const LEAST_SIDEWAYS: f64 = 0.342;

/// A compass point, preceded by "from" or "toward" or followed by "ward".
fn compass(folded: &str) -> Option<Side> {
    let mut words: Vec<&str> = (folded.split_whitespace())
        .filter(|w| *w != "the")
        .collect();
    let meaning = match words.first().copied() {
        Some("from") => Some(CompassMeaning::From),
        Some("to" | "toward" | "towards") => Some(CompassMeaning::Toward),
        _ => None,
    };
    if meaning.is_some() {
        words.remove(0);
    }
    let [word] = words[..] else {
        return None;
    };
    let (word, meaning) = match word.strip_suffix("wards").or(word.strip_suffix("ward")) {
        Some(word) if meaning.is_none() => (word, Some(CompassMeaning::Toward)),
        _ => (word, meaning),
    };
    let degrees = match word {
        "n" | "north" => 0.0,
        "ne" | "northeast" => 45.0,
        "e" | "east" => 90.0,
        "se" | "southeast" => 135.0,
        "s" | "south" => 180.0,
        "sw" | "southwest" => 225.0,
        "w" | "west" => 270.0,
        "nw" | "northwest" => 315.0,
        _ => return None,
    };
    Some(Side::Compass(degrees, meaning))
}

#[cfg(test)]
mod tests {
    use super::*;
    use Approach::{Decreasing, Increasing, Unknown};

    fn azimuth(text: &str, reading: f64) -> Option<Approach> {
        side(text, AxisKind::Azimuth)?.approach(AxisKind::Azimuth, Some(reading), None)
    }

    #[test]
    fn signs_and_words() {
        for (text, expected) in [
            ("", Unknown),
            ("+", Increasing),
            ("-", Decreasing),
            ("\u{2212}", Decreasing),
            ("CW", Increasing),
            ("clockwise", Increasing),
            ("Counter-Clockwise", Decreasing),
            ("ccw", Decreasing),
            ("anticlockwise", Decreasing),
            ("increasing", Increasing),
        ] {
            assert_eq!(azimuth(text, 10.0), Some(expected), "{text}");
        }
        let elevation = |text: &str| match side(text, AxisKind::Elevation) {
            Some(Side::Approach(approach)) => Some(approach),
            _ => None,
        };
        assert_eq!(elevation("Up"), Some(Increasing));
        assert_eq!(elevation("downwards"), Some(Decreasing));
        // Neither axis accepts the other's words, and O is east in some languages and west in
        // others.
        assert_eq!(elevation("cw"), None);
        assert_eq!(elevation("west"), None);
        for text in ["up", "left", "O", "ost", "yes"] {
            assert_eq!(azimuth(text, 10.0), None, "{text}");
        }
    }

    /// Azimuth counts clockwise: from the west to the south it decreases, from the west to the
    /// north it increases.
    #[test]
    fn a_compass_point_gives_the_side_by_the_azimuth_of_the_dish() {
        assert_eq!(azimuth("from W", 180.0), Some(Decreasing));
        assert_eq!(azimuth("from the west", 0.0), Some(Increasing));
        assert_eq!(azimuth("from the west", 360.0), Some(Increasing));
        assert_eq!(azimuth("toward W", 180.0), Some(Increasing));
        assert_eq!(azimuth("eastward", 180.0), Some(Decreasing));
        assert_eq!(azimuth("from E", 180.0), Some(Increasing));
        assert_eq!(azimuth("from S", 250.0), Some(Increasing));
        // From straight ahead or behind.
        assert_eq!(azimuth("from W", 265.0), None);
        assert_eq!(azimuth("from W", 95.0), None);
        // From or toward?
        assert_eq!(azimuth("W", 180.0), None);
        let bare = side("W", AxisKind::Azimuth).unwrap();
        let told = |m| bare.approach(AxisKind::Azimuth, Some(180.0), Some(m));
        assert_eq!(told(CompassMeaning::From), Some(Decreasing));
        assert_eq!(told(CompassMeaning::Toward), Some(Increasing));
    }

    #[test]
    fn hour_angles_grow_westward_and_declinations_northward() {
        let told = |text: &str, axis| side(text, axis)?.approach(axis, None, None);
        assert_eq!(told("from E", AxisKind::HourAngle), Some(Increasing));
        assert_eq!(told("westward", AxisKind::HourAngle), Some(Increasing));
        assert_eq!(told("from N", AxisKind::Declination), Some(Decreasing));
        assert_eq!(told("from E", AxisKind::Declination), None);
    }
}
