//! The parts of a written date and time of day.

use std::fmt;

use super::ZoneOffset;

/// Two-digit years below this are in this century: UTC began in 1960.
const CENTURY_TURNS: i64 = 60;

/// Order of the numbers in a date.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateOrder {
    /// 26/11/2026.
    DayMonthYear,
    /// 11/26/2026.
    MonthDayYear,
    /// 26/11/26, with a two-digit year.
    YearMonthDay,
}

impl DateOrder {
    /// All orders.
    pub const ALL: [DateOrder; 3] = [
        DateOrder::DayMonthYear,
        DateOrder::MonthDayYear,
        DateOrder::YearMonthDay,
    ];

    /// Name in an option.
    pub fn name(self) -> &'static str {
        match self {
            DateOrder::DayMonthYear => "day-month-year",
            DateOrder::MonthDayYear => "month-day-year",
            DateOrder::YearMonthDay => "year-month-day",
        }
    }
}

impl fmt::Display for DateOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// The zone of a written time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum WrittenZone {
    /// Given as an offset.
    Offset(ZoneOffset),
    /// Abbreviation whose meaning depends on the writer: CET, EST.
    Named(String),
    /// Not given.
    #[default]
    Missing,
}

/// How a time is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Form {
    /// ISO 8601, or year, month and day with other separators.
    YearFirst,
    /// 26.11.2026: day, month and year.
    Dots,
    /// 26/11/2026 or 26-11-2026, whose order must be known.
    Open,
    /// With the month in letters.
    MonthInLetters,
    /// Seconds since 1970-01-01.
    UnixSeconds,
    /// Milliseconds since 1970-01-01.
    UnixMilliseconds,
}

/// A date as it is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Date {
    /// Year, month and day.
    Known(i64, i64, i64),
    /// Three numbers in the order written, and whether the last is a four-digit year.
    Open([i64; 3], bool),
}

/// A time of day; the second is 60 in a leap second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Clock {
    pub hour: i64,
    pub minute: i64,
    pub second: i64,
    pub nanos: i64,
}

impl Date {
    /// Year, month and day, with the numbers in this order.
    pub fn read(self, order: DateOrder) -> Option<(i64, i64, i64)> {
        match self {
            Date::Known(year, month, day) => Some((year, month, day)),
            Date::Open([a, b, year], true) => match order {
                DateOrder::DayMonthYear => Some((year, b, a)),
                DateOrder::MonthDayYear => Some((year, a, b)),
                DateOrder::YearMonthDay => None,
            },
            Date::Open([a, b, c], false) => {
                let (year, month, day) = match order {
                    DateOrder::DayMonthYear => (c, b, a),
                    DateOrder::MonthDayYear => (c, a, b),
                    DateOrder::YearMonthDay => (a, b, c),
                };
                Some((this_century(year)?, month, day))
            }
        }
    }
}

/// Expands a two-digit year.
pub(super) fn this_century(year: i64) -> Option<i64> {
    (year < CENTURY_TURNS).then_some(2000 + year)
}
