//! The table as text, at most 100 columns wide.

use std::fmt::Write;

use super::{Ephemeris, Readings, Row};
use crate::mount::AxisKind;
use crate::problem::printable;
use crate::time::ZoneOffset;

/// Width of a name, and of a time; longer names are cut.
const NAME_WIDTH: usize = 24;
/// Width of a time to the second.
const SHORT_TIME_WIDTH: usize = 20;
/// Width of a local time of day to the second, with a mark for another day.
const LOCAL_WIDTH: usize = 12;

/// Widths of the columns of numbers, each including the blank before it.
struct Widths {
    azimuth: usize,
    elevation: usize,
    airless: usize,
    rate: usize,
    /// Extra blanks before the last column.
    gap: &'static str,
}

const USUAL: Widths = Widths {
    azimuth: 9,
    elevation: 10,
    airless: 9,
    rate: 8,
    gap: " ",
};
/// Widths of the mount's own readings, each as wide as the longest name of such an axis. They
/// replace the distance of the Sun and, beside a column of local times, also the motion.
const OWN_WIDTHS: [usize; 2] = [10, 11];
/// Widths beside a column of local times.
const NARROW: Widths = Widths {
    azimuth: 8,
    elevation: 9,
    airless: 8,
    rate: 7,
    gap: "",
};

/// Returns the table as text, with local time beside UTC if a zone is given. A single instant is
/// in the heading, with one line for each emitter; over a span each emitter has a heading, with
/// one line for each time.
pub fn table(ephemeris: &Ephemeris, zone: Option<ZoneOffset>) -> String {
    let rows = &ephemeris.rows;
    let one_instant = rows.iter().all(|r| r.time_utc == rows[0].time_utc);
    // Local times have a column of their own when times have one.
    let local = zone.filter(|_| !one_instant);
    let widths = if local.is_some() { &NARROW } else { &USUAL };
    let gap = widths.gap;
    let mut text = String::new();
    let mut heading = String::new();
    for row in rows {
        let (title, first) = if one_instant {
            (titled(row, zone), shortened(&row.emitter))
        } else {
            (shortened(&row.emitter), time(row))
        };
        let first = leading(&first, local.map(|z| z.clock(row.time_utc)));
        if title != heading || text.is_empty() {
            if !text.is_empty() {
                text.push('\n');
            }
            let what = if one_instant { "emitter" } else { "time (UTC)" };
            let what = leading(what, local.map(|z| z.to_string()));
            // Writing to a string does not fail.
            let columns = match &row.readings {
                None => format!(
                    "{:>2$} {:>3$} from Sun {gap}",
                    "airless", "deg/min", widths.airless, widths.rate
                ),
                Some(readings) => {
                    let [one, two] = readings.axes.map(AxisKind::words);
                    own_columns(
                        [one, two].map(str::to_owned),
                        local.is_none().then(|| "deg/min".to_owned()),
                    )
                }
            };
            let _ = writeln!(
                text,
                "{title}\n{what} {:>2$} {:>3$} {columns}reachable",
                "azimuth", "elevation", widths.azimuth, widths.elevation,
            );
            heading = title;
        }
        let _ = writeln!(text, "{first} {}", numbers(row, widths, local.is_some()));
    }
    text.push_str(match rows.iter().find_map(|r| r.readings.as_ref()) {
        None => {
            "\nDegrees. The beam must point at azimuth and elevation; airless is the elevation \
             without the\nair's bend. deg/min is the motion on the sky.\n"
        }
        Some(_) => {
            "\nDegrees. The beam must point at azimuth and elevation; beside them stands what the \
             mount's own\nencoders would read there without any error. deg/min is the motion on the \
             sky.\n"
        }
    });
    if let Some(zone) = local {
        let _ = writeln!(
            text,
            "The second column is local time at {zone}; +1d: on the next day there."
        );
    }
    text
}

fn numbers(row: &Row, widths: &Widths, beside_local_times: bool) -> String {
    let gap = widths.gap;
    let reachable = match row.reachable {
        true => "yes".to_owned(),
        false => format!("no: {}", row.why),
    };
    let columns = match &row.readings {
        None => format!(
            "{:>1$.4} {2:>3$.3} {4:>8.2} {gap}",
            row.geometric_elevation_deg,
            widths.airless,
            row.rate_deg_per_min,
            widths.rate,
            row.sun_distance_deg,
        ),
        Some(Readings { degrees, .. }) => own_columns(
            degrees.map(|reading| format!("{reading:.4}")),
            (!beside_local_times).then(|| format!("{:.3}", row.rate_deg_per_min)),
        ),
    };
    format!(
        "{:>1$.4} {2:>3$.4} {columns}{reachable}",
        row.apparent_azimuth_deg, widths.azimuth, row.apparent_elevation_deg, widths.elevation,
    )
}

/// Columns of a mount's own readings, and of the motion where there is room.
fn own_columns([one, two]: [String; 2], rate: Option<String>) -> String {
    let [first, second] = OWN_WIDTHS;
    let rate = rate.map_or(String::new(), |rate| format!("{rate:>8} "));
    format!("{one:>first$} {two:>second$} {rate}")
}

/// The first column, followed by local time if it has a column.
fn leading(first: &str, local: Option<String>) -> String {
    match local {
        None => format!("{first:<NAME_WIDTH$}"),
        Some(local) => format!("{first:<SHORT_TIME_WIDTH$} {local:<LOCAL_WIDTH$}"),
    }
}

/// The heading of an instant.
fn titled(row: &Row, zone: Option<ZoneOffset>) -> String {
    match zone {
        None => time(row),
        Some(zone) => format!("{}, local {}", time(row), zone.date_and_clock(row.time_utc)),
    }
}

/// The time, without its fraction if that is zero.
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
