//! The table as text, at most 100 columns wide.

use std::fmt::Write;

use super::{Ephemeris, Row};
use crate::problem::printable;

/// Longer names are cut.
const NAME_WIDTH: usize = 24;

/// The table for reading. A single instant stands in the heading, with one line for each
/// emitter; over a span each emitter has a heading, with one line for each time.
pub fn table(ephemeris: &Ephemeris) -> String {
    let rows = &ephemeris.rows;
    let one_instant = rows.iter().all(|r| r.time_utc == rows[0].time_utc);
    let mut text = String::new();
    let mut heading = String::new();
    for row in rows {
        let (title, first) = if one_instant {
            (time(row), shortened(&row.emitter))
        } else {
            (shortened(&row.emitter), time(row))
        };
        if title != heading || text.is_empty() {
            if !text.is_empty() {
                text.push('\n');
            }
            let what = if one_instant { "emitter" } else { "time (UTC)" };
            // Writing to a string does not fail.
            let _ = writeln!(
                text,
                "{title}\n{what:<NAME_WIDTH$} {:>9} {:>10} {:>9} {:>8} {:>8}  reachable",
                "azimuth", "elevation", "airless", "deg/min", "from Sun"
            );
            heading = title;
        }
        let reachable = match row.reachable {
            true => "yes".to_owned(),
            false => format!("no: {}", row.why),
        };
        let _ = writeln!(
            text,
            "{first:<NAME_WIDTH$} {:>9.4} {:>10.4} {:>9.4} {:>8.3} {:>8.2}  {reachable}",
            row.apparent_azimuth_deg,
            row.apparent_elevation_deg,
            row.geometric_elevation_deg,
            row.rate_deg_per_min,
            row.sun_distance_deg,
        );
    }
    text.push_str(
        "\nDegrees. The beam must point at azimuth and elevation; airless is the elevation without \
         the\nair's bend. deg/min is the motion on the sky.\n",
    );
    text
}

/// The time without a fraction that is zero.
fn time(row: &Row) -> String {
    row.time_utc.to_string().replace(".000Z", "Z")
}

fn shortened(name: &str) -> String {
    let name = printable(name);
    if name.chars().count() <= NAME_WIDTH {
        return name;
    }
    name.chars().take(NAME_WIDTH - 1).chain(['…']).collect()
}
