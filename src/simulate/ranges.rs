//! Allowed ranges of the numbers of a truth file, and the places of numbers out of range.

use toml_edit::{Document, Item, TableLike, Value};

use crate::logbook::term_quantity;
use crate::mount::{FeedOffset, Kind};
use crate::problem::{Problems, Wrong};
use crate::quantity::Quantity;
use crate::station::limits::{OFFSET, TURN};
use crate::text::problems_at;

/// Several nights give thousands of peaks; more than this would take too long.
const PEAKS: Quantity = Quantity::new(1.0, 100_000.0, "a number of peaks, 1 to 100000");
const NOISE: Quantity = Quantity::new(0.0, 90.0, "degrees from 0 to 90");
const ELEVATION: Quantity = Quantity::new(-90.0, 90.0, "degrees from -90 to 90");
const ROW: Quantity = Quantity::new(1.0, 1e6, "a data row, counted from 1");
const HOURS: Quantity = Quantity::new(-24.0, 24.0, "hours from -24 to 24");
const SECONDS: Quantity = Quantity::new(-86_400.0, 86_400.0, "seconds from -86400 to 86400");
const RATE: Quantity = Quantity::new(-360.0, 360.0, "a number from -360 to 360");
const TIMES: Quantity = Quantity::new(0.0, 100_000.0, "a number from 0 to 100000");
/// For any number without limits of its own.
const ANY: Quantity = Quantity::new(-1e6, 1e6, "a number from -1e6 to 1e6");

/// Range allowed for the number of a key in a section.
fn quantity(section: &str, key: &str) -> Quantity {
    match (section, key) {
        ("terms", name) => match Kind::term_of_any(name) {
            Some(term) => term_quantity(term),
            None if FeedOffset::part_of(name).is_some() => TURN,
            None => ANY,
        },
        ("session", "peaks") => PEAKS,
        ("session", "lowest_elevation_deg") => ELEVATION,
        ("noise", "resolution_deg") => OFFSET,
        ("noise", _) => NOISE,
        ("spoil", "rows" | "from_row") => ROW,
        ("spoil", "hours") => HOURS,
        ("spoil", "seconds") => SECONDS,
        ("spoil", "times" | "per_turn") => TIMES,
        ("spoil", key) if key.contains("_per_") => RATE,
        ("spoil", key) if key.ends_with("_deg") => TURN,
        _ => ANY,
    }
}

/// Returns every number of a truth file that is out of range, with its place; empty for a text
/// that is not TOML.
pub(super) fn faults(file: &str, text: &str) -> Problems {
    let Ok(document) = Document::parse(text) else {
        return Problems::new();
    };
    let mut found = Vec::new();
    for (section, item) in document.as_table().iter() {
        match item {
            Item::Table(table) => check_section(section, table, text, &mut found),
            Item::ArrayOfTables(tables) => {
                for table in tables {
                    check_section(section, table, text, &mut found);
                }
            }
            Item::Value(Value::InlineTable(table)) => {
                check_section(section, table, text, &mut found);
            }
            Item::Value(Value::Array(tables)) => {
                for table in tables.iter().filter_map(Value::as_inline_table) {
                    check_section(section, table, text, &mut found);
                }
            }
            _ => {}
        }
    }
    problems_at(file, text, found)
}

/// Checks the numbers of one section.
fn check_section(
    section: &str,
    table: &dyn TableLike,
    text: &str,
    found: &mut Vec<(Option<usize>, Wrong)>,
) {
    for (key, item) in table.iter() {
        let values: Vec<&Value> = match item {
            Item::Value(Value::Array(list)) => list.iter().collect(),
            Item::Value(value) => vec![value],
            _ => Vec::new(),
        };
        for value in values {
            let number = match value {
                Value::Integer(n) => *n.value() as f64,
                Value::Float(x) => *x.value(),
                _ => continue,
            };
            let span = value.span().unwrap_or(0..0);
            let written = text.get(span.clone()).unwrap_or_default().trim();
            let counts = matches!(
                (section, key),
                ("session", "peaks") | ("spoil", "rows" | "from_row")
            );
            let wrong = match quantity(section, key).check(key, written, number) {
                Err(wrong) => wrong,
                Ok(_) if counts && value.is_float() => Wrong::new(
                    format!("{key} is {written}, with a decimal point or an exponent"),
                    "a whole number",
                ),
                Ok(_) => continue,
            };
            found.push((Some(span.start), wrong));
        }
    }
}
