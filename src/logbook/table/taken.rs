//! What was read from a form other than docs/files.md describes: one line per kind, not one per
//! row.

use std::collections::BTreeMap;

use crate::text::quoted;

/// Maximum number of lines named; the rest are counted, so that a remark stays on one line.
const MOST_LINES_NAMED: usize = 6;

/// A kind of deviation, in reporting order.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TakenKind {
    /// Delimiter and line ends.
    Dialect,
    /// A log of sweeps, and its band.
    Sweeps,
    /// The band does not contain the station's frequency.
    StationFrequency,
    /// Lines above the header.
    Titles,
    /// Headers in other capitals, or mapped by an option.
    Headers,
    /// Columns that are not recognised.
    UnknownColumns,
    /// One emitter for all rows.
    OneEmitter,
    /// Scans separated by pauses.
    Pauses,
    /// Feeds that are not named, or not asked for.
    Feeds,
    /// Emitters in other capitals.
    EmitterCase,
    /// Dates with dots.
    Dots,
    /// Dates whose order was found or given.
    Order,
    /// Dates with the month in letters.
    MonthInLetters,
    /// Dates with the year first and marks other than hyphens, or times before dates.
    YearFirst,
    /// Times with AM or PM.
    TwelveHours,
    /// UTC in words.
    ZoneInWords,
    /// Zone of the clock, from an option.
    Zone,
    /// Zone abbreviation, defined by an option.
    NamedZone,
    /// Seconds since 1970.
    UnixSeconds,
    /// Milliseconds since 1970.
    UnixMilliseconds,
    /// Decimal commas.
    DecimalComma,
    /// Dashes used as minus signs.
    Dash,
    /// Units after numbers.
    UnitBehind,
    /// Degrees, minutes and seconds.
    Sexagesimal,
    /// Hours of an hour angle.
    Hours,
    /// Raw sensor readings.
    Sensor,
    /// Degrees next to raw sensor readings.
    BesideSensor,
    /// Approaches given by a sensor whose reading decreases as the degrees increase.
    FallingSensor,
    /// Peaks of a mount with one motor.
    OneMotor,
    /// Approaches in words.
    ApproachInWords,
    /// Approaches by a compass point.
    ApproachByCompass,
    /// Compass points that do not determine a side.
    CompassUntold,
    /// Yes and no in other words.
    UseInWords,
    /// Rows of empty cells.
    Blank,
    /// Rows without readings.
    NotTaken,
    /// Rows without time and emitter.
    Totals,
    /// A header repeated within the file.
    HeaderAgain,
}

/// All deviations noted in one file.
#[derive(Clone, Debug, Default)]
pub struct Taken {
    kinds: BTreeMap<TakenKind, Seen>,
}

#[derive(Clone, Debug, Default)]
struct Seen {
    /// What was first found and how it was read.
    words: String,
    lines: Vec<usize>,
    count: usize,
    /// Whether lines and counts are worth reporting.
    placed: bool,
}

impl Taken {
    /// Notes a deviation that holds for the whole file.
    pub fn whole(&mut self, kind: TakenKind, words: impl FnOnce() -> String) {
        let seen = self.kinds.entry(kind).or_default();
        if seen.count == 0 {
            seen.words = words();
        }
        seen.count += 1;
    }

    /// Notes a deviation on a line; the words are those of the first of its kind.
    pub fn at(&mut self, kind: TakenKind, line: usize, words: impl FnOnce() -> String) {
        let seen = self.kinds.entry(kind).or_default();
        if seen.count == 0 {
            seen.words = words();
            seen.placed = true;
        }
        seen.count += 1;
        if seen.lines.len() < MOST_LINES_NAMED && seen.lines.last() != Some(&line) {
            seen.lines.push(line);
        }
    }

    /// How often a kind of deviation was noted.
    pub fn count(&self, kind: &TakenKind) -> usize {
        self.kinds.get(kind).map_or(0, |seen| seen.count)
    }

    /// One line per kind of deviation, for a file of that name.
    pub fn told(&self, file: &str) -> Vec<String> {
        (self.kinds.iter())
            .map(|(kind, seen)| format!("{file}: {}", seen.told(kind)))
            .collect()
    }
}

impl Seen {
    fn told(&self, kind: &TakenKind) -> String {
        let words = &self.words;
        if !self.placed {
            return words.clone();
        }
        let lines: Vec<String> = self.lines.iter().map(usize::to_string).collect();
        let n = self.count;
        match kind {
            TakenKind::NotTaken
            | TakenKind::Blank
            | TakenKind::Totals
            | TakenKind::CompassUntold => {
                let rows = if n == 1 { "row" } else { "rows" };
                let place = if n == 1 { "line" } else { "lines" };
                let more = match n.saturating_sub(lines.len()) {
                    0 => String::new(),
                    more => format!(" and {more} more"),
                };
                format!("{n} {rows} {words} ({place} {}{more})", lines.join(", "))
            }
            TakenKind::HeaderAgain => format!("{words} in line {}", lines.join(", ")),
            _ if n == 1 => format!("{words} (line {})", lines[0]),
            _ => format!("{words} ({n} times, first in line {})", lines[0]),
        }
    }
}

/// `"12,5" is 12.5`.
pub fn is(found: &str, taken: impl std::fmt::Display) -> String {
    format!("{} is {taken}", quoted(found.trim()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_line_per_kind_with_count_and_position() {
        let mut taken = Taken::default();
        for line in 3..13 {
            taken.at(TakenKind::DecimalComma, line, || {
                format!("decimal commas: {}", is("12,5", 12.5))
            });
            taken.at(TakenKind::NotTaken, line, || {
                "without readings skipped".to_owned()
            });
        }
        taken.at(TakenKind::Dots, 4, || "dates".to_owned());
        taken.whole(TakenKind::Dialect, || "cells separated by tabs".to_owned());
        assert_eq!(
            taken.told("a.csv"),
            [
                "a.csv: cells separated by tabs",
                "a.csv: dates (line 4)",
                "a.csv: decimal commas: \"12,5\" is 12.5 (10 times, first in line 3)",
                "a.csv: 10 rows without readings skipped (lines 3, 4, 5, 6, 7, 8 and 4 more)",
            ]
        );
    }
}
