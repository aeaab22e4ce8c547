//! One cell of a row, read as a number, an angle, a time or an approach.

mod angle;
mod approach;
mod number;

use std::borrow::Cow;

pub use angle::Unit;
pub use number::{Marks, number};

use super::peak::Approach;
use super::table::{Decided, Row, TakenKind, Told, is};
use crate::angle::Angle;
use crate::mount::AxisKind;
use crate::problem::{Problem, Wrong};
use crate::quantity::Quantity;
use crate::text::quoted;
use crate::time::{Form, TimeTextError, Utc, WrittenTime, WrittenZone};

/// Years in which a measurement can have been taken: UTC began in 1960, and the models of
/// precession and of the Moon's and Sun's motion are not reliable after 2100.
const YEARS: std::ops::Range<i32> = 1960..2100;

/// One field of one row; a date and a time of day in two columns are one cell here.
#[derive(Clone)]
pub struct Cell<'a> {
    row: Row<'a>,
    index: Option<usize>,
    /// The column's name.
    pub name: &'static str,
    /// The field's text; empty when the file has no such column.
    pub text: Cow<'a, str>,
}

impl<'a> Cell<'a> {
    /// The field of that index, or an empty cell if the file has no such column.
    pub fn new(row: Row<'a>, index: Option<usize>, name: &'static str) -> Cell<'a> {
        Cell {
            row,
            index,
            name,
            text: Cow::Borrowed(index.map_or("", |i| row.text(i))),
        }
    }
    /// The same with the text of another field appended, as for a date and its time of day.
    pub fn joined(self, behind: usize) -> Cell<'a> {
        let behind = self.row.text(behind).trim();
        let text = format!("{} {behind}", self.text.trim()).trim().to_owned();
        Cell {
            text: Cow::Owned(text),
            ..self
        }
    }

    /// Whether it is empty.
    pub fn is_empty(&self) -> bool {
        self.text.trim().is_empty()
    }
    /// Places a problem at this field.
    pub fn problem(&self, wrong: Wrong) -> Problem {
        self.row.problem(self.index.unwrap_or(0), wrong)
    }
    fn marks(&self, decided: &Decided) -> Marks {
        Marks {
            comma: !self.row.parts_by_comma() || self.index.is_some_and(|i| self.row.quoted(i)),
            points: decided.points,
        }
    }

    /// Reads its number; `None` if it is empty, or invalid and reported.
    pub fn number(&self, quantity: &Quantity, decided: &Decided, told: &mut Told) -> Option<f64> {
        let text = self.text.trim();
        if text.is_empty() {
            return None;
        }
        let read = number(self.name, text, self.marks(decided), units_of(self.name));
        let found = match read {
            Ok(found) => quantity.check(self.name, text, found.value).map(|_| found),
            Err(Some(wrong)) => Err(wrong),
            // The message for what is not a number.
            Err(None) => match quantity.read(self.name, text) {
                Err(wrong) => Err(wrong),
                Ok(value) => return Some(value),
            },
        };
        match found {
            Ok(found) => {
                let line = self.row.line;
                let value = found.value;
                let mut took = |kind, what: &str| {
                    told.taken
                        .at(kind, line, || format!("{what}: {}", is(text, value)));
                };
                if found.comma {
                    took(TakenKind::DecimalComma, "decimal commas");
                }
                if found.dash {
                    took(TakenKind::Dash, "dashes as minus signs");
                }
                if found.unit {
                    took(TakenKind::UnitBehind, "units behind numbers left out");
                }
                Some(found.value)
            }
            Err(wrong) => {
                // A value that parses but is not a valid number, such as inf, keeps the message of
                // the range check.
                let wrong = match text.parse::<f64>() {
                    Ok(_) => quantity.read(self.name, text).err().unwrap_or(wrong),
                    Err(_) => wrong,
                };
                told.problems.push(self.problem(wrong));
                None
            }
        }
    }

    /// Reads its number of degrees as an angle; `None` if it is empty, or invalid and reported.
    pub fn angle(&self, degrees: &Quantity, decided: &Decided, told: &mut Told) -> Option<Angle> {
        self.number(degrees, decided, told).map(Angle::from_degrees)
    }

    /// Reads an axis reading, in decimal degrees or in parts; `None` if it is empty, or invalid and
    /// reported.
    pub fn reading(
        &self,
        axis: AxisKind,
        usual: Unit,
        degrees: &Quantity,
        decided: &Decided,
        told: &mut Told,
    ) -> Option<Angle> {
        let text = self.text.trim();
        let hours = axis == AxisKind::HourAngle;
        match angle::parted(self.name, text, self.marks(decided), usual, hours) {
            Ok(parted) => {
                let value = match degrees.check(self.name, text, parted.degrees) {
                    Ok(value) => value,
                    Err(wrong) => {
                        told.problems.push(self.problem(wrong));
                        return None;
                    }
                };
                let shown = (value * 1e6).round() / 1e6;
                let (kind, what) = match parted.unit {
                    Unit::Hours => (TakenKind::Hours, "hours of 15 degrees each"),
                    Unit::Degrees => (TakenKind::Sexagesimal, "degrees, minutes and seconds"),
                };
                told.taken.at(kind, self.row.line, || {
                    format!("{what}: {} degrees", is(text, shown))
                });
                Some(Angle::from_degrees(value))
            }
            Err(Some(wrong)) => {
                told.problems.push(self.problem(wrong));
                None
            }
            Err(None) if usual == Unit::Hours => {
                const HOURS: Quantity = Quantity::new(-6700.0, 6700.0, "hours from -6700 to 6700");
                let hours = self.number(&HOURS, decided, told)?;
                told.taken.at(TakenKind::Hours, self.row.line, || {
                    format!(
                        "hours of 15 degrees each: {} degrees",
                        is(text, 15.0 * hours)
                    )
                });
                Some(Angle::from_degrees(15.0 * hours))
            }
            Err(None) => self.angle(degrees, decided, told),
        }
    }

    /// Reads its time; `None` if it is invalid or empty, which is reported.
    pub fn time(&self, decided: &Decided, told: &mut Told) -> Option<Utc> {
        let time = match Utc::parse(&self.text) {
            Ok(time) => Ok(time),
            // Any other way of writing a time.
            Err(_) if self.index.is_none() => return None,
            Err(_) if self.is_empty() => {
                Err(Wrong::new(format!("{} is empty", self.name), TIME_WORDS))
            }
            Err(_) => self.written_time(decided, told),
        };
        let wrong = match time {
            Ok(time) if YEARS.contains(&time.calendar().0) => return Some(time),
            Ok(_) => Wrong::new(
                format!(
                    "{} is {}, far from any measurement",
                    self.name,
                    quoted(&self.text)
                ),
                format!("a year from {} to {}", YEARS.start, YEARS.end - 1),
            ),
            Err(wrong) => wrong,
        };
        told.problems.push(self.problem(wrong));
        None
    }

    fn written_time(&self, decided: &Decided, told: &mut Told) -> Result<Utc, Wrong> {
        let text = self.text.trim();
        let written = WrittenTime::parse(text).map_err(|e| self.no_time(&e))?;
        let order = match decided.order {
            Some(order) => order,
            None if written.is_open() => return Err(self.two_dates(&written)),
            None => crate::time::DateOrder::DayMonthYear,
        };
        if written.is_open() && written.orders().all(|o| o != order) {
            let found = format!("{} is {}", self.name, quoted(text));
            let wrong = Wrong::new(found, format!("a date written {order}, as the others"));
            return Err(wrong.mend("write all dates of a file the same way"));
        }
        let offset = match (&written.zone, decided.offset) {
            (WrittenZone::Offset(said), _) => *said,
            (_, Some(offset)) => offset,
            (WrittenZone::Missing, None) => return Err(self.no_zone()),
            (WrittenZone::Named(letters), None) => {
                return Err(Wrong::new(
                    format!("{} is {}: {letters} means another offset from UTC to others", self.name, quoted(text)),
                    TIME_WORDS,
                )
                .mend(format!(
                    "write the offset from UTC, such as +02:00, in place of {letters}, or add --zone with it"
                )));
            }
        };
        let time = (written.instant(order, offset)).map_err(|e| self.no_time(&e))?;
        self.note_time(&written, time, decided, told);
        Ok(time)
    }

    /// Notes how a time was written.
    fn note_time(&self, written: &WrittenTime, time: Utc, decided: &Decided, told: &mut Told) {
        let text = self.text.trim();
        let shown = time.to_string().replace(".000Z", "Z");
        let mut took = |kind, what: String| {
            told.taken.at(kind, self.row.line, || {
                format!("{what}: {}", is(text, &shown))
            });
        };
        match written.form {
            Form::YearFirst if text.get(..4).is_some_and(|y| y.parse::<u32>().is_ok()) => {
                if text
                    .as_bytes()
                    .get(4)
                    .is_some_and(|b| matches!(b, b'/' | b'.'))
                {
                    took(TakenKind::YearFirst, "dates as year, month, day".to_owned());
                }
            }
            Form::YearFirst => took(TakenKind::YearFirst, "dates as year, month, day".to_owned()),
            Form::Dots => took(
                TakenKind::Dots,
                "dates with dots as day.month.year".to_owned(),
            ),
            Form::Open => took(TakenKind::Order, decided.order_words()),
            Form::MonthInLetters => {
                took(
                    TakenKind::MonthInLetters,
                    "dates with the month in letters".to_owned(),
                );
            }
            Form::UnixSeconds => took(
                TakenKind::UnixSeconds,
                "times as Unix seconds (since 1970, UTC)".to_owned(),
            ),
            Form::UnixMilliseconds => took(
                TakenKind::UnixMilliseconds,
                "times as Unix milliseconds (since 1970, UTC)".to_owned(),
            ),
        }
        if written.twelve_hours {
            took(
                TakenKind::TwelveHours,
                "hours before and after noon".to_owned(),
            );
        }
        if written.zone_in_words {
            took(TakenKind::ZoneInWords, "UTC in words as Z".to_owned());
        }
        match (&written.zone, decided.offset) {
            (WrittenZone::Missing, Some(offset)) => took(
                TakenKind::Zone,
                format!("times without a zone at {offset}, as --zone says"),
            ),
            (WrittenZone::Named(letters), Some(offset)) => took(
                TakenKind::NamedZone,
                format!("{letters} as {offset}, as --zone says"),
            ),
            _ => {}
        }
    }

    fn no_zone(&self) -> Wrong {
        let text = self.text.trim();
        Wrong::new(
            format!("{} is {} without a zone", self.name, quoted(text)),
            "Z or an offset behind it",
        )
        .mend(format!(
            "if it is UTC write {text}Z; if your clock showed local time write its offset, such as +02:00; or add --zone with the offset"
        ))
    }

    /// Reports a date with two possible meanings.
    fn two_dates(&self, written: &WrittenTime) -> Wrong {
        let readings: Vec<String> = (written.orders())
            .filter_map(|o| Some(format!("{} ({o})", written.date_text(o)?)))
            .collect();
        Wrong::new(
            format!(
                "{} is {}, which may be {}",
                self.name,
                quoted(&self.text),
                readings.join(" or ")
            ),
            "a date with one meaning, or --dates",
        )
    }

    fn no_time(&self, error: &TimeTextError) -> Wrong {
        let why = match error {
            TimeTextError::NoZone => return self.no_zone(),
            TimeTextError::NotATime(why) => why.as_str(),
        };
        let found = format!(
            "{} is {}, which is not a time",
            self.name,
            quoted(&self.text)
        );
        let remedy = time_remedy(&self.text);
        let found = if why.is_empty() {
            found
        } else {
            format!("{found}: {why}")
        };
        Wrong::new(found, TIME_WORDS).mend(remedy)
    }

    /// Side from which an axis of that kind, at this reading, arrived.
    pub fn approach(
        &self,
        axis: AxisKind,
        reading: Option<Angle>,
        decided: &Decided,
        told: &mut Told,
    ) -> Approach {
        let text = self.text.trim();
        let Some(side) = approach::side(text, axis) else {
            let wrong = Wrong::new(
                format!("{} is {}", self.name, quoted(text)),
                approach_words(axis),
            )
            .mend("+ if the reading was increasing when the axis arrived, - if decreasing; empty if it is not known");
            told.problems.push(self.problem(wrong));
            return Approach::Unknown;
        };
        let approach = side.approach(axis, reading.map(Angle::degrees), decided.compass);
        let compass = matches!(side, approach::Side::Compass(..));
        let line = self.row.line;
        match approach {
            Some(approach) => {
                let said = ["", "+", "-"].contains(&text);
                let (kind, what) = if compass {
                    (TakenKind::ApproachByCompass, "approaches by compass points")
                } else {
                    (TakenKind::ApproachInWords, "approaches in words")
                };
                if !said {
                    told.taken.at(kind, line, || {
                        format!("{what}: {}", is(text, approach.symbol()))
                    });
                }
                approach
            }
            None => {
                told.taken.at(TakenKind::CompassUntold, line, || {
                    "with a compass point for the approach that lies ahead or astern, taken as not logged".to_owned()
                });
                Approach::Unknown
            }
        }
    }

    /// Whether it gives an approach by the change in the reading: `+`, `decreasing`.
    pub fn says_reading(&self) -> bool {
        approach::by_reading(&self.text).is_some()
    }

    /// Its line number.
    pub fn line(&self) -> usize {
        self.row.line
    }

    /// Whether it says yes; empty means yes.
    pub fn yes(&self, told: &mut Told) -> bool {
        const YES: [&str; 9] = ["yes", "y", "true", "1", "ja", "oui", "si", "sí", "sim"];
        const NO: [&str; 8] = ["no", "n", "false", "0", "nein", "non", "nee", "não"];
        let text = self.text.trim();
        let folded = text.to_lowercase();
        let answer = if YES.contains(&folded.as_str()) {
            true
        } else if NO.contains(&folded.as_str()) {
            false
        } else {
            if !text.is_empty() {
                let wrong = Wrong::new(
                    format!("{} is {}", self.name, quoted(text)),
                    "yes or no, or nothing, which means yes",
                );
                told.problems.push(self.problem(wrong));
            }
            return true;
        };
        let word = if answer { "yes" } else { "no" };
        if text != word {
            told.taken.at(TakenKind::UseInWords, self.row.line, || {
                format!("yes and no in other words: {}", is(text, word))
            });
        }
        answer
    }

    /// Its text, or `None` if it is empty, which is reported if the file has the column.
    pub fn required(&self, expected: &str, told: &mut Told) -> Option<&str> {
        if self.index.is_some() && self.is_empty() {
            let wrong = Wrong::new(format!("{} is empty", self.name), expected);
            told.problems.push(self.problem(wrong));
        }
        (!self.is_empty()).then_some(&*self.text)
    }
}

/// Whether a text is a compass point that does not say whether the axis came from it.
pub fn is_bare_compass_point(text: &str, axis: AxisKind) -> bool {
    let side = approach::side(text, axis);
    matches!(side, Some(approach::Side::Compass(_, None)))
}

fn approach_words(axis: AxisKind) -> &'static str {
    match axis {
        AxisKind::Azimuth => "+ or -, clockwise or counter-clockwise",
        AxisKind::Elevation => "+ or -, up or down",
        _ => "+ or -",
    }
}

/// Units that may follow the number of a column.
fn units_of(column: &str) -> &'static [&'static str] {
    match column.rsplit('_').next() {
        Some("deg") => &["°", "º", "deg", "degree", "degrees"],
        Some("db") => &["dB", "dBm", "dBc", "dBFS"],
        Some("c") => &["°C", "ºC", "C"],
        Some("hours") => &["h"],
        _ => &[],
    }
}

const TIME_WORDS: &str = "date and time in UTC, such as 2026-04-04T05:00:48.771Z";

/// How to correct a text that is not a time, if it shows what was meant.
fn time_remedy(text: &str) -> String {
    let text = text.trim();
    let clock = text.rsplit([' ', 'T']).next().unwrap_or_default();
    let dotted = clock.len() <= 5
        && clock.split_once('.').is_some_and(|(hour, minute)| {
            let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
            (1..=2).contains(&hour.len()) && minute.len() == 2 && digits(hour) && digits(minute)
        });
    if dotted && clock.len() < text.len() {
        return format!(
            "write the hours and minutes with a colon: {}",
            clock.replace('.', ":")
        );
    }
    if text.parse::<f64>().is_ok() {
        return "give the cells a format of date and time and export the sheet again".to_owned();
    }
    // Letters after the seconds: a zone other than UTC.
    let zone = text
        .rsplit(|c: char| !c.is_ascii_alphabetic())
        .next()
        .unwrap_or_default();
    if zone.len() >= 2 && zone.len() < text.len() {
        format!("write the offset from UTC, such as +02:00, in place of {zone}")
    } else {
        String::new()
    }
}
