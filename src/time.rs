//! Instants of UTC: reading, writing and counting seconds.
//!
//! A [`Utc`] stores the civil day and the time within it separately, so that a leap second
//! (`23:59:60`) is a distinct time. Time scales and leap-second tables belong to the sky room; this
//! file only reads and writes clock times.

mod date;
mod offset;
mod words;
mod written;
mod zone;

use std::fmt;

use jiff::civil;

pub use date::{DateOrder, Form, WrittenZone};
pub use offset::ZoneOffset;
pub use written::WrittenTime;

/// By definition.
pub(crate) const NANOS_PER_SECOND: i64 = 1_000_000_000;
/// Without a leap second.
const SECONDS_PER_DAY: i64 = 86_400;
/// A day of UTC without a leap second, seconds.
pub(crate) const DAY_S: f64 = SECONDS_PER_DAY as f64;

/// An instant of Coordinated Universal Time, to the nanosecond.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Utc {
    /// Days since 1970-01-01.
    day: i64,
    /// Nanoseconds since the start of that day; reaches into the 86,401st second in a leap second.
    nanos: i64,
}

/// Why a text is not a time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TimeTextError {
    /// A date and time without `Z` or an offset.
    NoZone,
    /// Not an ISO 8601 date and time, with the reason if there is more to say.
    NotATime(String),
}

impl fmt::Display for TimeTextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TimeTextError::NoZone => f.write_str("has neither Z nor an offset from UTC"),
            TimeTextError::NotATime(why) if why.is_empty() => {
                f.write_str("is not an ISO 8601 time")
            }
            TimeTextError::NotATime(why) => write!(f, "is not an ISO 8601 time ({why})"),
        }
    }
}

impl std::error::Error for TimeTextError {}

impl Utc {
    /// Reads ISO 8601 with `Z` or an explicit offset: `2026-04-04T05:00:48.771Z`,
    /// `2026-04-04 07:00+02:00`. A second of 60 is read as the leap second it names.
    ///
    /// # Errors
    /// If the time has no zone, or the text is not a time.
    pub fn parse(text: &str) -> Result<Utc, TimeTextError> {
        let (civil, second, zone) = Utc::civil_of(text)?;
        let WrittenZone::Offset(offset) = zone else {
            return Err(TimeTextError::NoZone);
        };
        let minute = i64::from(civil.hour()) * 60 + i64::from(civil.minute());
        let nanos = civil.subsec_nanosecond().into();
        Utc::of_civil(civil.date(), minute, second, nanos, offset)
    }

    /// Reads an ISO 8601 text: date and time of day, the second (60 in a leap second, which jiff
    /// reads as 59), and the zone, if any.
    fn civil_of(text: &str) -> Result<(civil::DateTime, i64, WrittenZone), TimeTextError> {
        let text = text.trim();
        // jiff reads a date alone as its midnight; that would be a guess.
        if text
            .get(..10)
            .is_some_and(|d| d.parse::<civil::Date>().is_ok())
            && digits_behind_date(text) < 4
        {
            return Err(TimeTextError::NotATime(
                "hours and minutes are missing".to_owned(),
            ));
        }
        let (clock, zone) = split_zone(text)?;
        let leap = second_field(clock) == Some("60");
        let civil: civil::DateTime = clock
            .parse()
            .map_err(|e| TimeTextError::NotATime(reason(&e)))?;
        let second = if leap { 60 } else { i64::from(civil.second()) };
        Ok((civil, second, zone))
    }

    /// The instant at which a clock with this offset from UTC shows a date, a minute of its day and
    /// a second, which is 60 in a leap second.
    fn of_civil(
        date: civil::Date,
        minute_of_day: i64,
        second: i64,
        nanos: i64,
        offset: ZoneOffset,
    ) -> Result<Utc, TimeTextError> {
        let day = unix_day(date).map_err(|e| TimeTextError::NotATime(reason(&e)))?;
        let leap = second == 60;
        let whole = minute_of_day * 60 + second.min(59) - offset.seconds();
        let (carry, within) = (
            whole.div_euclid(SECONDS_PER_DAY),
            whole.rem_euclid(SECONDS_PER_DAY),
        );
        if leap && within != SECONDS_PER_DAY - 1 {
            return Err(TimeTextError::NotATime(
                "a second of 60 stands only at 23:59:60 UTC".to_owned(),
            ));
        }
        Ok(Utc {
            day: day + carry,
            nanos: (within + i64::from(leap)) * NANOS_PER_SECOND + nanos,
        })
    }

    /// Current time of the system clock.
    pub fn now() -> Utc {
        Utc::from_unix_nanos(jiff::Timestamp::now().as_nanosecond() as i64)
    }

    /// From nanoseconds since 1970-01-01T00:00:00Z, leap seconds not counted.
    pub fn from_unix_nanos(nanos: i64) -> Utc {
        let per_day = SECONDS_PER_DAY * NANOS_PER_SECOND;
        Utc {
            day: nanos.div_euclid(per_day),
            nanos: nanos.rem_euclid(per_day),
        }
    }

    /// This many nanoseconds after the start of a day, counted from 1970-01-01; less than a day.
    pub(crate) fn on_day(day: i64, nanos: i64) -> Utc {
        debug_assert!((0..SECONDS_PER_DAY * NANOS_PER_SECOND).contains(&nanos));
        Utc { day, nanos }
    }

    /// Year, month, day, hour, minute and fractional second (60.x in a leap second).
    pub fn calendar(self) -> (i32, u8, u8, u8, u8, f64) {
        let date = self.civil_date();
        let whole = (self.nanos / NANOS_PER_SECOND).min(SECONDS_PER_DAY - 1);
        let second =
            (self.nanos - (whole - whole % 60) * NANOS_PER_SECOND) as f64 / NANOS_PER_SECOND as f64;
        (
            i32::from(date.year()),
            date.month() as u8,
            date.day() as u8,
            (whole / 3600) as u8,
            (whole / 60 % 60) as u8,
            second,
        )
    }

    /// Days since 1970-01-01.
    pub fn unix_day(self) -> i64 {
        self.day
    }

    /// Seconds since the start of that day; 86,400 plus a fraction in a leap second.
    pub fn seconds_of_day(self) -> f64 {
        self.nanos as f64 / NANOS_PER_SECOND as f64
    }

    /// Seconds from `earlier` to `self` by the civil clock; a leap second between them is
    /// not counted.
    pub fn seconds_since(self, earlier: Utc) -> f64 {
        (self.day - earlier.day) as f64 * SECONDS_PER_DAY as f64
            + (self.nanos - earlier.nanos) as f64 / NANOS_PER_SECOND as f64
    }

    /// The instant this many seconds later by the civil clock.
    pub fn plus_seconds(self, seconds: f64) -> Utc {
        // Day and nanoseconds separately: combined they would overflow in the year 2262.
        let per_day = SECONDS_PER_DAY * NANOS_PER_SECOND;
        let nanos = self.nanos.saturating_add((seconds * 1e9).round() as i64);
        Utc {
            day: self.day + nanos.div_euclid(per_day),
            nanos: nanos.rem_euclid(per_day),
        }
    }

    /// This instant if it is a full minute, otherwise the next full minute.
    pub fn next_minute(self) -> Utc {
        let past = self.seconds_of_day() % 60.0;
        match past > 0.0 {
            true => self.plus_seconds(60.0 - past),
            false => self,
        }
    }

    /// Halfway between the two.
    pub fn midpoint(self, other: Utc) -> Utc {
        self.plus_seconds(other.seconds_since(self) / 2.0)
    }

    /// ISO 8601 with `Z` and as many decimals as needed to be exact, at least three.
    pub fn to_exact_text(self) -> String {
        let (year, month, day, hour, minute, second) = self.calendar();
        let nanos = self.nanos % NANOS_PER_SECOND;
        let fraction = format!("{nanos:09}");
        let decimals = fraction.trim_end_matches('0').len().max(3);
        format!(
            "{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{:02}.{}Z",
            second as i64,
            &fraction[..decimals]
        )
    }

    fn civil_date(self) -> civil::Date {
        // The day came from a civil date or a shift of one; jiff supports the years -9999 to 9999,
        // to which it is clamped.
        const ABOUT_TEN_THOUSAND_YEARS: i64 = 4_400_000;
        let days = self
            .day
            .clamp(-ABOUT_TEN_THOUSAND_YEARS, ABOUT_TEN_THOUSAND_YEARS);
        civil::date(1970, 1, 1).saturating_add(jiff::Span::new().days(days))
    }
}

/// Reads a duration such as `30s`, `10m` or `1h30m`, in seconds.
///
/// # Errors
/// If the text is not a duration, with the expected form.
pub fn parse_duration_s(text: &str) -> Result<f64, String> {
    text.trim()
        .parse::<jiff::SignedDuration>()
        .map(|d| d.as_secs_f64())
        .map_err(|_| "a stretch of time is written like 30s, 10m or 1h30m".to_owned())
}

/// Days from 1970-01-01 to a date.
fn unix_day(date: civil::Date) -> Result<i64, jiff::Error> {
    Ok(i64::from(civil::date(1970, 1, 1).until(date)?.get_days()))
}

/// Number of digits in hours, minutes and seconds.
fn digits_behind_date(text: &str) -> usize {
    let clock = text
        .split_once(['T', 't', ' '])
        .map_or("", |(_, clock)| clock);
    clock
        .bytes()
        .take_while(|b| b.is_ascii_digit() || *b == b':')
        .filter(u8::is_ascii_digit)
        .count()
}

/// Why the parser rejected a date and time, in plain words.
fn reason(error: &jiff::Error) -> String {
    let text = error.to_string();
    let part = ["month", "day", "hour", "minute", "second"]
        .into_iter()
        .find(|part| text.contains(&format!("parameter '{part}'")));
    match part {
        Some(part) => format!("there is no such {part}"),
        None => String::new(),
    }
}

/// Splits the zone off.
fn split_zone(text: &str) -> Result<(&str, WrittenZone), TimeTextError> {
    if let Some(clock) = text.strip_suffix(['Z', 'z']) {
        return Ok((clock, WrittenZone::Offset(ZoneOffset::ZERO)));
    }
    // The sign of an offset comes after the time of day; the hyphens of the date come before it.
    let clock_starts = text.find(['T', 't', ' ']).unwrap_or(text.len());
    let Some(sign_at) = text[clock_starts..]
        .find(['+', '-'])
        .map(|i| i + clock_starts)
    else {
        return Ok((text, WrittenZone::Missing));
    };
    let (clock, zone) = text.split_at(sign_at);
    match offset::signed_offset(zone, 2) {
        Some(offset) => Ok((clock, WrittenZone::Offset(offset))),
        None => {
            /// Number of characters shown of a text that is not an offset.
            const SHOWN: usize = 20;
            let cut = if zone.chars().count() > SHOWN {
                "…"
            } else {
                ""
            };
            let shown = zone.chars().take(SHOWN).collect::<String>() + cut;
            Err(TimeTextError::NotATime(format!(
                "{shown:?} is not an offset such as +02:00"
            )))
        }
    }
}

/// The two digits of the seconds field, if the text has one.
fn second_field(clock: &str) -> Option<&str> {
    clock.split(':').nth(2).and_then(|s| s.get(..2))
}

impl fmt::Display for Utc {
    /// ISO 8601 with `Z`, to the millisecond.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // In a leap second the fraction is truncated, so that it does not round into the next day.
        let shown = if self.nanos >= SECONDS_PER_DAY * NANOS_PER_SECOND {
            *self
        } else {
            self.plus_seconds(0.0005)
        };
        let (year, month, day, hour, minute, second) = shown.calendar();
        let millis = shown.nanos % NANOS_PER_SECOND / 1_000_000;
        write!(
            f,
            "{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{:02}.{millis:03}Z",
            second as i64
        )
    }
}

impl fmt::Debug for Utc {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl serde::Serialize for Utc {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> serde::Deserialize<'de> for Utc {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Utc, D::Error> {
        let text = String::deserialize(deserializer)?;
        Utc::parse(&text).map_err(|e| serde::de::Error::custom(format!("time {text:?} {e}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_zones_and_fractions() {
        let z = Utc::parse("2026-04-04T05:00:48.771Z").unwrap();
        assert_eq!(z.to_string(), "2026-04-04T05:00:48.771Z");
        let east = Utc::parse("2026-04-04T07:00:48.771+02:00").unwrap();
        assert_eq!(z, east);
        assert_eq!(
            Utc::parse("2026-01-01T00:30+01").unwrap().to_string(),
            "2025-12-31T23:30:00.000Z"
        );
        assert_eq!(
            Utc::parse("2026-04-04 05:00:00-0330").unwrap().to_string(),
            "2026-04-04T08:30:00.000Z"
        );
    }

    #[test]
    fn a_time_without_zone_is_refused() {
        assert_eq!(
            Utc::parse("2026-04-04T05:00:48"),
            Err(TimeTextError::NoZone)
        );
        assert!(matches!(
            Utc::parse("yesterday"),
            Err(TimeTextError::NotATime(_))
        ));
        // A date alone is not an instant, with or without a zone.
        assert!(Utc::parse("2026-04-04").is_err() && Utc::parse("2026-04-04Z").is_err());
        assert!(Utc::parse("2026-04-04T05Z").is_err() && Utc::parse("20260404T0500Z").is_ok());
        assert!(matches!(
            Utc::parse("2026-02-30T00:00:00Z"),
            Err(TimeTextError::NotATime(_))
        ));
    }

    #[test]
    fn a_leap_second_is_a_distinct_time() {
        let leap = Utc::parse("2016-12-31T23:59:60.5Z").unwrap();
        assert_eq!(leap.calendar(), (2016, 12, 31, 23, 59, 60.5));
        assert_eq!(leap.to_string(), "2016-12-31T23:59:60.500Z");
        assert!(leap > Utc::parse("2016-12-31T23:59:59.9Z").unwrap());
        assert!(Utc::parse("2016-12-31T12:00:60Z").is_err());
        assert!(Utc::parse("2017-01-01T01:59:60+02:00").is_ok());
    }

    #[test]
    fn seconds_add_and_subtract() {
        let t = Utc::parse("2026-12-31T23:59:59.25Z").unwrap();
        let later = t.plus_seconds(1.5);
        assert_eq!(later.to_string(), "2027-01-01T00:00:00.750Z");
        assert_eq!(later.seconds_since(t), 1.5);
        assert_eq!(t.midpoint(later).to_string(), "2027-01-01T00:00:00.000Z");
    }

    #[test]
    fn the_next_full_minute_may_be_this_one() {
        let next = |text: &str| Utc::parse(text).unwrap().next_minute().to_exact_text();
        assert_eq!(next("2026-12-31T23:59:59.25Z"), "2027-01-01T00:00:00.000Z");
        assert_eq!(
            next("2026-12-31T10:01:00.000000001Z"),
            "2026-12-31T10:02:00.000Z"
        );
        assert_eq!(next("2026-12-31T10:01:00Z"), "2026-12-31T10:01:00.000Z");
    }

    #[test]
    fn far_years_do_not_overflow() {
        let far = Utc::parse("9998-12-31T23:59:59.5Z").unwrap();
        assert_eq!(far.to_string(), "9998-12-31T23:59:59.500Z");
        assert_eq!(
            far.plus_seconds(0.5).to_string(),
            "9999-01-01T00:00:00.000Z"
        );
    }

    #[test]
    fn exact_text_reads_back_exactly() {
        for text in [
            "2026-12-31T23:59:59.999600001Z",
            "2016-12-31T23:59:60.500Z",
            "2026-12-31T10:00:00.000Z",
        ] {
            assert_eq!(Utc::parse(text).unwrap().to_exact_text(), text);
        }
    }

    #[test]
    fn durations_need_a_unit() {
        assert_eq!(parse_duration_s("10m"), Ok(600.0));
        assert_eq!(parse_duration_s("1h30m"), Ok(5400.0));
        assert_eq!(parse_duration_s("0.5s"), Ok(0.5));
        assert!(parse_duration_s("10").is_err());
        assert!(parse_duration_s("soon").is_err());
    }

    #[test]
    fn display_rounds_to_the_millisecond() {
        assert_eq!(
            Utc::parse("2026-12-31T23:59:59.9996Z").unwrap().to_string(),
            "2027-01-01T00:00:00.000Z"
        );
        assert_eq!(
            Utc::parse("2026-12-31T10:00:00.0004Z").unwrap().to_string(),
            "2026-12-31T10:00:00.000Z"
        );
    }
}
