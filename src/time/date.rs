//! The parts of a written date and time of day.

use std::fmt;

use super::ZoneOffset;

/// Years of two digits below this are of this century: UTC began in 1960.
const CENTURY_TURNS: i64 = 60;

/// Which number of a date stands for what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateOrder {
    /// 26/11/2026.
    DayMonthYear,
    /// 11/26/2026.
    MonthDayYear,
    /// 26/11/26, with a year of two digits.
    YearMonthDay,
}

impl DateOrder {
    /// All there are.
    pub const ALL: [DateOrder; 3] = [
        DateOrder::DayMonthYear,
        DateOrder::MonthDayYear,
        DateOrder::YearMonthDay,
    ];

    /// As an option names it.
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
    /// Said.
    Offset(ZoneOffset),
    /// Letters whose meaning depends on who wrote them: CET, EST.
    Named(String),
    /// Nothing said.
    #[default]
    Missing,
}

/// How a time is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Form {
    /// ISO 8601, or year, month and day with other marks between them.
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
    /// Three numbers as they stand, and whether the last is a year of four digits.
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
    /// Year, month and day, when the numbers stand in this order.
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

/// A year of two digits.
pub(super) fn this_century(year: i64) -> Option<i64> {
    (year < CENTURY_TURNS).then_some(2000 + year)
}
