//! The columns of a log, found by name, and their fields as numbers, angles and times.

use super::rows::Row;
use crate::angle::Angle;
use crate::problem::{Error, Problem, Problems, Wrong, nearest_name};
use crate::quantity::Quantity;
use crate::text::quoted;
use crate::time::{TimeTextError, Utc};

/// A column of this beginning is the user's own.
pub const OWN_COLUMN: &str = "x_";

/// Years in which a measurement can have been taken: UTC began in 1960, and the theories of
/// precession and of the Moon's and Sun's motion are not to be trusted after 2100.
const YEARS: std::ops::Range<i32> = 1960..2100;

/// Where each known column stands in a file.
#[derive(Clone, Debug)]
pub struct Columns {
    known: &'static [&'static str],
    /// By index in `known`.
    place: Vec<Option<usize>>,
    own: Vec<usize>,
    own_names: Vec<String>,
}

impl Columns {
    /// Finds the `known` columns in a header, of which the first `required` must be there. What
    /// is wrong with a name is told in `problems`; the rows can be read all the same.
    ///
    /// # Errors
    /// When the line is no header but a row.
    pub fn find(
        header: &Row<'_>,
        known: &'static [&'static str],
        required: usize,
        problems: &mut Problems,
    ) -> Result<Columns, Error> {
        if (0..header.count()).any(|i| is_value(header.text(i))) {
            let wrong = Wrong::new(
                "the first line holds values, not names",
                "a header line that names the columns",
            )
            .mend(format!("put above it: {}", known[..required].join(",")));
            return Err(header.problem(0, wrong).into());
        }
        let mut columns = Columns {
            known,
            place: vec![None; known.len()],
            own: Vec::new(),
            own_names: Vec::new(),
        };
        let mut meant = Vec::new();
        for i in 0..header.count() {
            let name = header.text(i);
            let first = match known.iter().position(|k| *k == name) {
                Some(k) => columns.place[k].replace(i),
                None if name.starts_with(OWN_COLUMN) => {
                    let first = columns.own_names.iter().position(|n| n == name);
                    columns.own.push(i);
                    columns.own_names.push(name.to_owned());
                    first.map(|k| columns.own[k])
                }
                None => {
                    let near = nearest_column(name, known);
                    meant.extend(near);
                    problems.push(header.problem(i, unknown_column(name, near, known)));
                    None
                }
            };
            if let Some(first) = first {
                let wrong = Wrong::new(
                    format!("column {name} stands here again, after field {}", first + 1),
                    "each column once",
                )
                .mend("delete one, or rename it to begin with x_ to keep it as your own");
                problems.push(header.problem(i, wrong));
            }
        }
        // A misspelt name has been told already.
        let missing: Vec<&str> = (0..required)
            .filter(|k| columns.place[*k].is_none() && !meant.contains(&known[*k]))
            .map(|k| known[k])
            .collect();
        if !missing.is_empty() {
            let wrong = Wrong::new(
                format!("the header has no column {}", missing.join(" and no ")),
                format!("the columns {}", known[..required].join(", ")),
            );
            problems.push(header.problem(0, wrong));
        }
        Ok(columns)
    }

    /// Whether the file has the column of that index.
    pub fn has(&self, column: usize) -> bool {
        self.place[column].is_some()
    }

    /// Which field of a row the known column of that index is.
    pub fn place(&self, column: usize) -> Option<usize> {
        self.place[column]
    }

    /// A row's field in the known column of that index; empty when the file has no such column.
    pub fn cell<'a>(&self, row: &Row<'a>, column: usize) -> Cell<'a> {
        let index = self.place[column];
        Cell {
            row: *row,
            index,
            name: self.known[column],
            text: index.map_or("", |i| row.text(i)),
        }
    }

    /// Names of the user's own columns, in file order.
    pub fn own_names(&self) -> &[String] {
        &self.own_names
    }

    /// A row's fields in the user's own columns, in file order.
    pub fn own<'a>(&self, row: &Row<'a>) -> impl Iterator<Item = &'a str> {
        self.own.iter().map(|i| row.text(*i))
    }
}

fn is_value(text: &str) -> bool {
    text.parse::<f64>().is_ok_and(f64::is_finite)
        || matches!(Utc::parse(text), Ok(_) | Err(TimeTextError::NoZone))
}

/// The column that a wrong name was probably meant for.
fn nearest_column(given: &str, known: &'static [&'static str]) -> Option<&'static str> {
    let folded = given.to_lowercase().replace([' ', '-'], "_");
    let begins = |k: &&&str| folded.len() >= 2 && k.starts_with(&folded);
    known
        .iter()
        .find(begins)
        .copied()
        .or_else(|| nearest_name(given, known.iter().copied()))
}

fn unknown_column(name: &str, near: Option<&str>, known: &[&str]) -> Wrong {
    if name.is_empty() {
        return Wrong::new("a column without a name", "a name for each column").mend(
            "delete the column, or the comma at the end of each line, or name it to begin with x_",
        );
    }
    let found = format!("no column is called {}", quoted(name));
    match near {
        Some(near) => Wrong::new(found, near).mend(format!(
            "rename it {near}, or x_{name} to keep it as your own"
        )),
        None => Wrong::new(found, format!("one of {}", known.join(", "))).mend(format!(
            "rename it x_{name} to keep it as your own, or delete it"
        )),
    }
}

/// One field of one row.
#[derive(Clone, Copy)]
pub struct Cell<'a> {
    row: Row<'a>,
    index: Option<usize>,
    /// The column's name.
    pub name: &'static str,
    /// The field's text; empty when the file has no such column.
    pub text: &'a str,
}

impl Cell<'_> {
    /// Whether there is nothing in it.
    pub fn is_empty(&self) -> bool {
        self.text.trim().is_empty()
    }
    /// A problem at this field.
    pub fn problem(&self, wrong: Wrong) -> Problem {
        self.row.problem(self.index.unwrap_or(0), wrong)
    }
    /// Its number; none when it is empty, or wrong and told.
    pub fn number(&self, quantity: &Quantity, problems: &mut Problems) -> Option<f64> {
        let text = self.text.trim();
        if text.is_empty() {
            return None;
        }
        match quantity.read(self.name, text) {
            Ok(value) => Some(value),
            Err(wrong) => {
                problems.push(self.problem(wrong));
                None
            }
        }
    }
    /// Its number of degrees as an angle; none when it is empty, or wrong and told.
    pub fn angle(&self, degrees: &Quantity, problems: &mut Problems) -> Option<Angle> {
        self.number(degrees, problems).map(Angle::from_degrees)
    }
    /// Its time; none when it is wrong, or empty, and told.
    pub fn time(&self, problems: &mut Problems) -> Option<Utc> {
        let wrong = match Utc::parse(self.text) {
            Ok(time) if YEARS.contains(&time.calendar().0) => return Some(time),
            Ok(_) => Wrong::new(
                format!(
                    "{} is {}, far from any measurement",
                    self.name,
                    quoted(self.text)
                ),
                format!("a year from {} to {}", YEARS.start, YEARS.end - 1),
            ),
            Err(_) if self.index.is_none() => return None,
            Err(_) if self.is_empty() => Wrong::new(format!("{} is empty", self.name), TIME_WORDS),
            Err(TimeTextError::NoZone) => Wrong::new(
                format!("{} is {} without a zone", self.name, quoted(self.text)),
                "Z or an offset behind it",
            )
            .mend(format!(
                "if it is UTC write {}Z; if your clock showed local time write its offset, such as +02:00",
                self.text.trim()
            )),
            Err(TimeTextError::NotATime(why)) => {
                let found = format!("{} is {}, which is no time", self.name, quoted(self.text));
                let remedy = time_remedy(self.text);
                let why = if remedy.is_empty() { &*why } else { "" };
                let found = if why.is_empty() { found } else { format!("{found}: {why}") };
                Wrong::new(found, TIME_WORDS).mend(remedy)
            }
        };
        problems.push(self.problem(wrong));
        None
    }
    /// Its text if it is not empty; else none, and told if the column is there.
    pub fn required(&self, expected: &str, problems: &mut Problems) -> Option<&str> {
        if self.index.is_some() && self.is_empty() {
            problems.push(self.problem(Wrong::new(format!("{} is empty", self.name), expected)));
        }
        (!self.is_empty()).then_some(self.text)
    }
}

const TIME_WORDS: &str = "date and time in UTC, such as 2026-04-04T05:00:48.771Z";

/// How to mend a text that is no time, when it shows what was meant.
fn time_remedy(text: &str) -> String {
    let text = text.trim();
    let date = text.split(['T', ' ']).next().unwrap_or_default();
    let parts: Vec<&str> = date.split(['.', '/', '-']).collect();
    let digits = |part: &&str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    if parts.len() == 3 && parts.iter().all(digits) && (parts[0].len() != 4 || !date.contains('-'))
    {
        return "write the date as year-month-day, with four digits for the year".to_owned();
    }
    // Letters behind the seconds, other than Z: CET, UTC, EST.
    let zone = text
        .rsplit(|c: char| !c.is_ascii_alphabetic())
        .next()
        .unwrap_or_default();
    match zone {
        "UTC" | "GMT" | "utc" | "gmt" => format!("write Z in place of {zone}"),
        _ if zone.len() >= 2 && zone.len() < text.len() => {
            format!("write the offset from UTC, such as +02:00, in place of {zone}")
        }
        _ => String::new(),
    }
}
