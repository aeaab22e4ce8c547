//! The `[horizon]` section: the lowest usable elevation by azimuth.

use super::keys::{HORIZON, elsewhere};
use super::section::{Section, Source, value_item};
use super::{Horizon, limits};
use crate::angle::Angle;
use crate::problem::Wrong;

/// Reads the mask; faults are reported.
pub(super) fn horizon(source: &mut Source<'_>, section: &Section<'_>) -> Horizon {
    const EXPECTED: &str =
        "pairs of azimuth and lowest usable elevation, such as [[0.0, 5.0], [90.0, 12.0]]";
    source.unknown_keys(section, &HORIZON, elsewhere);
    let mut mask: Vec<(Angle, Angle)> = Vec::new();
    for value in source
        .optional_list(section, "mask", EXPECTED)
        .into_iter()
        .flatten()
    {
        let item = value_item(value);
        let pair = source.pair(
            &item,
            "mask",
            EXPECTED,
            [&limits::AZIMUTH, &limits::ELEVATION],
        );
        let Some([azimuth, lowest]) = pair else {
            // A flat list would produce the same message for each of its numbers.
            if !item.is_array() {
                break;
            }
            continue;
        };
        let point = (
            Angle::from_degrees(azimuth).wrapped_positive(),
            Angle::from_degrees(lowest),
        );
        match mask.iter().find(|(a, _)| *a == point.0) {
            // Equal elevations at 0 and 360 close the circle.
            Some(earlier) if *earlier == point => {}
            Some((_, other)) => {
                let wrong = Wrong::new(
                    format!(
                        "azimuth {azimuth} has two lowest elevations, {} and {lowest}",
                        (other.degrees() * 1e6).round() / 1e6
                    ),
                    "one for each azimuth",
                )
                .mend("for a wall write two azimuths close together");
                source.wrong_item(&item, wrong);
            }
            None => mask.push(point),
        }
    }
    mask.sort_by(|a, b| a.0.radians().total_cmp(&b.0.radians()));
    Horizon { mask }
}
