//! Reads dates and times of day as people, spreadsheets and loggers write them.
//!
//! A text becomes a [`WrittenTime`]: its content before ambiguities are resolved. The caller then
//! supplies the order of day and month and the offset from UTC.

use jiff::civil;

use super::date::{Clock, Date, DateOrder, Form, WrittenZone};
use super::words::Parts;
use super::{NANOS_PER_SECOND, TimeTextError, Utc, ZoneOffset};

/// A date and a time of day as written.
#[derive(Clone, Debug, PartialEq)]
pub struct WrittenTime {
    date: Date,
    clock: Clock,
    /// Its zone.
    pub zone: WrittenZone,
    /// How its date is written.
    pub form: Form,
    /// Whether the hours are those before or after noon.
    pub twelve_hours: bool,
    /// Whether the zone is the word UTC or GMT.
    pub zone_in_words: bool,
}

/// Range of Unix times that are accepted, in seconds: September 2001 to the year 2099.
const UNIX_SECONDS: std::ops::Range<i64> = 1_000_000_000..4_100_000_000;
/// Spreadsheet day numbers, counted from 1900 or 1904: about 1954 to 2119.
const SPREADSHEET_DAYS: std::ops::Range<i64> = 20_000..80_000;
impl WrittenTime {
    /// Reads a date with a time of day.
    ///
    /// # Errors
    /// If the text is not a date and time, with the reason if there is more to say.
    pub fn parse(text: &str) -> Result<WrittenTime, TimeTextError> {
        let text = text.trim();
        if let Some(number) = Decimal::read(text) {
            return number.unix();
        }
        // The documented form and close variants of it.
        let strict = Utc::civil_of(text);
        if let Ok((civil, second, zone)) = &strict {
            return Ok(WrittenTime {
                date: Date::Known(
                    civil.year().into(),
                    civil.month().into(),
                    civil.day().into(),
                ),
                clock: Clock {
                    hour: civil.hour().into(),
                    minute: civil.minute().into(),
                    second: *second,
                    nanos: civil.subsec_nanosecond().into(),
                },
                zone: zone.clone(),
                form: Form::YearFirst,
                twelve_hours: false,
                zone_in_words: false,
            });
        }
        let not = |why: &str| Err(TimeTextError::NotATime(why.to_owned()));
        let Some(parts) = Parts::of(text) else {
            return match strict {
                Err(TimeTextError::NotATime(why)) => Err(TimeTextError::NotATime(why)),
                _ => not(""),
            };
        };
        match (parts.date, parts.clock) {
            (Some((date, form)), Some(clock)) => {
                let written = WrittenTime {
                    date,
                    clock,
                    zone: parts.zone,
                    form,
                    twelve_hours: parts.noon.is_some(),
                    zone_in_words: parts.zone_in_words,
                };
                // An impossible day is reported now, whatever the order.
                match written.orders().next() {
                    Some(_) => Ok(written),
                    None => not("there is no such day"),
                }
            }
            (Some(_), None) => not("hours and minutes are missing"),
            (None, Some(_)) => not("the date is missing"),
            (None, None) => not(""),
        }
    }

    /// Whether a text holds a date, and whether it holds a time of day.
    pub fn holds(text: &str) -> (bool, bool) {
        if WrittenTime::parse(text).is_ok() {
            return (true, true);
        }
        Parts::of(text.trim()).map_or((false, false), |p| (p.date.is_some(), p.clock.is_some()))
    }

    /// Whether the order of its numbers must be known.
    pub fn is_open(&self) -> bool {
        matches!(self.date, Date::Open(..))
    }

    /// The orders in which its date is valid; all of them if its order is known.
    pub fn orders(&self) -> impl Iterator<Item = DateOrder> + use<> {
        let date = self.date;
        (DateOrder::ALL.into_iter()).filter(move |order| {
            date.read(*order).is_some_and(|(year, month, day)| {
                civil::Date::new(year as i16, month as i8, day as i8).is_ok()
            })
        })
    }

    /// Its date in that order, `2026-11-26`; `None` if there is no such day.
    pub fn date_text(&self, order: DateOrder) -> Option<String> {
        let (year, month, day) = self.date.read(order)?;
        Some(format!("{year:04}-{month:02}-{day:02}"))
    }

    /// The instant, using this order for ambiguous dates and this offset for times without a zone.
    ///
    /// # Errors
    /// If there is no such day, or the second is 60 anywhere but at the end of a UTC day.
    pub fn instant(&self, order: DateOrder, offset: ZoneOffset) -> Result<Utc, TimeTextError> {
        let no_day = || TimeTextError::NotATime("there is no such day".to_owned());
        let (year, month, day) = self.date.read(order).ok_or_else(no_day)?;
        let date = civil::Date::new(year as i16, month as i8, day as i8).map_err(|_| no_day())?;
        let offset = match self.zone {
            WrittenZone::Offset(said) => said,
            WrittenZone::Named(_) | WrittenZone::Missing => offset,
        };
        let clock = self.clock;
        let minute = clock.hour * 60 + clock.minute;
        Utc::of_civil(date, minute, clock.second, clock.nanos, offset)
    }
}

/// Digits with or without a fraction.
struct Decimal {
    whole: i64,
    /// In units of 1e-9.
    fraction: i64,
}

impl Decimal {
    fn read(text: &str) -> Option<Decimal> {
        let (whole, fraction) = text.split_once(['.', ',']).unwrap_or((text, "0"));
        let digits = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || !digits(fraction) || whole.len() < 5 || whole.len() > 15 {
            return None;
        }
        // 20261126 with nothing after it is a date alone.
        if whole.len() == 8 {
            return None;
        }
        Some(Decimal {
            whole: whole.parse().ok()?,
            fraction: format!("{fraction:0<9}")[..9].parse().ok()?,
        })
    }
    fn unix(self) -> Result<WrittenTime, TimeTextError> {
        let (seconds, nanos, form) = if UNIX_SECONDS.contains(&self.whole) {
            (self.whole, self.fraction, Form::UnixSeconds)
        } else if UNIX_SECONDS.contains(&(self.whole / 1000)) {
            let nanos = self.whole % 1000 * 1_000_000 + self.fraction / 1000;
            (self.whole / 1000, nanos, Form::UnixMilliseconds)
        } else {
            let why = if SPREADSHEET_DAYS.contains(&self.whole) {
                "it looks like a spreadsheet's number of days"
            } else {
                "a number, but neither seconds since 1970 (1e9 to 4.1e9) nor milliseconds"
            };
            return Err(TimeTextError::NotATime(why.to_owned()));
        };
        let utc = Utc::from_unix_nanos(seconds * NANOS_PER_SECOND);
        let (year, month, day, hour, minute, second) = utc.calendar();
        Ok(WrittenTime {
            date: Date::Known(year.into(), month.into(), day.into()),
            clock: Clock {
                hour: hour.into(),
                minute: minute.into(),
                second: second as i64,
                nanos,
            },
            zone: WrittenZone::Offset(ZoneOffset::ZERO),
            form,
            twelve_hours: false,
            zone_in_words: false,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The instant in the only valid order of the date, at +11:00 if no zone is given.
    fn read(text: &str) -> String {
        let written = WrittenTime::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
        let orders: Vec<DateOrder> = written.orders().collect();
        assert!(
            !written.is_open() || orders.len() == 1,
            "{text}: {orders:?}"
        );
        written
            .instant(orders[0], ZoneOffset::from_hours(11))
            .unwrap()
            .to_string()
    }

    #[test]
    fn one_instant_in_many_notations() {
        for text in [
            "2026-11-26 10:00:05",
            "2026-11-26T10:00:05+11:00",
            "2026-11-25T23:00:05Z",
            "2026-11-25 23:00:05 UTC",
            "2026-11-25 23:00:05 gmt",
            "2026-11-26 12:00:05 UTC+13",
            "2026-11-26 12:00:05 GMT +13:00",
            "2026/11/26 10:00:05",
            "2026.11.26 10:00:05",
            "20261126T100005+1100",
            "26.11.2026 10:00:05",
            "26.11.26 10:00:05",
            "26.11.2026. 10:00:05",
            "26/11/2026 10:00:05",
            "26-11-2026 10:00:05",
            "11/26/2026 10:00:05 AM",
            "11/26/2026, 10:00:05 a.m.",
            "11/26/26 10:00:05",
            "26/11/2026T10:00:05",
            "10:00:05 26.11.2026",
            "26-Nov-2026 10:00:05",
            "26 Nov 2026 10:00:05",
            "Nov 26, 2026 10:00:05 AM",
            "November 26th, 2026 10:00:05",
            "Thu Nov 26 10:00:05 2026",
            "Thu Nov 25 23:00:05 UTC 2026",
            "Do, 26.11.2026 10:00:05 Uhr",
            "26. November 2026, 10:00:05 Uhr",
            "jeudi 26 novembre 2026 10:00:05",
            "26 de noviembre de 2026 10:00:05",
            "26.11.2026 10.00.05",
            "26/11/2026 10h00m05s",
            "1795647605",
            "1795647605000",
        ] {
            assert_eq!(read(text), "2026-11-25T23:00:05.000Z", "{text}");
        }
    }

    #[test]
    fn noon_and_midnight_have_their_hours() {
        assert_eq!(read("26.11.2026 12:30 PM"), "2026-11-26T01:30:00.000Z");
        assert_eq!(read("26.11.2026 12:30 AM"), "2026-11-25T13:30:00.000Z");
        assert_eq!(read("26.11.2026 1:30pm"), "2026-11-26T02:30:00.000Z");
        assert!(WrittenTime::parse("26.11.2026 13:30 PM").is_err());
    }

    #[test]
    fn fractions_keep_their_digits() {
        assert_eq!(read("1795647605.25"), "2026-11-25T23:00:05.250Z");
        assert_eq!(read("1795647605,5"), "2026-11-25T23:00:05.500Z");
        assert_eq!(read("1795647605250.5"), "2026-11-25T23:00:05.251Z");
        assert_eq!(read("26.11.2026 10:00:05,125"), "2026-11-25T23:00:05.125Z");
    }

    #[test]
    fn an_ambiguous_date_keeps_both_readings() {
        let written = WrittenTime::parse("03/04/2026 10:00").unwrap();
        assert!(written.is_open());
        let readings: Vec<_> = (written.orders())
            .map(|o| (o, written.date_text(o).unwrap()))
            .collect();
        assert_eq!(
            readings,
            [
                (DateOrder::DayMonthYear, "2026-04-03".to_owned()),
                (DateOrder::MonthDayYear, "2026-03-04".to_owned()),
            ]
        );
        // A two-digit year may come first.
        let short = WrittenTime::parse("25/11/26 10:00").unwrap();
        let orders: Vec<DateOrder> = short.orders().collect();
        assert_eq!(orders, [DateOrder::DayMonthYear, DateOrder::YearMonthDay]);
    }

    #[test]
    fn text_that_is_not_a_time_is_reported_with_the_reason() {
        let why = |text: &str| match WrittenTime::parse(text) {
            Err(TimeTextError::NotATime(why)) => why,
            other => panic!("{text}: {other:?}"),
        };
        assert_eq!(why("26.11.2026"), "hours and minutes are missing");
        assert_eq!(why("2026-11-26"), "hours and minutes are missing");
        assert_eq!(why("10:00:05"), "the date is missing");
        assert_eq!(why("31.02.2026 10:00"), "there is no such day");
        assert_eq!(why("31/02/2026 10:00"), "there is no such day");
        assert_eq!(
            why("46352.4167"),
            "it looks like a spreadsheet's number of days"
        );
        assert!(why("123456").contains("neither seconds"));
        // Half past ten, or 18 minutes past?
        assert!(WrittenTime::parse("26.11.2026 10.30").is_err());
        for text in ["yesterday", "", "Total", "12.5", "26.11.65 10:00", "1,2,3"] {
            assert_eq!(why(text), "", "{text}");
        }
    }

    #[test]
    fn zones_are_distinguished() {
        let zone = |text: &str| WrittenTime::parse(text).unwrap().zone;
        assert_eq!(zone("26.11.2026 10:00"), WrittenZone::Missing);
        assert_eq!(
            zone("26.11.2026 10:00 MEZ"),
            WrittenZone::Named("MEZ".to_owned())
        );
        assert_eq!(
            zone("26.11.2026 10:00 Z"),
            WrittenZone::Offset(ZoneOffset::ZERO)
        );
        assert_eq!(
            zone("26.11.2026 10:00+01:00"),
            WrittenZone::Offset(ZoneOffset::from_hours(1))
        );
        // Either a truncated +02:00 or +20:00.
        assert!(WrittenTime::parse("2026-04-04T05:00:48+2").is_err());
        assert!(WrittenTime::parse("26.11.2026 10:00 UTC CET").is_err());
    }

    #[test]
    fn dates_and_times_of_day_are_recognised_by_content() {
        assert_eq!(WrittenTime::holds("26/11/2026"), (true, false));
        assert_eq!(WrittenTime::holds("10:00"), (false, true));
        assert_eq!(WrittenTime::holds("1795647605"), (true, true));
        assert_eq!(WrittenTime::holds("sun"), (false, false));
    }
}
