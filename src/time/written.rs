//! Dates and times of day as people, spreadsheets and loggers write them.
//!
//! A text becomes a [`Written`]: what stands there, before what has two meanings is decided. The
//! order of day and month and the offset from UTC are then given by whoever knows them.

use std::fmt;

use jiff::civil;

use super::{NANOS_PER_SECOND, TimeTextError, Utc};

/// How far a clock stands ahead of UTC; east of Greenwich is positive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Offset {
    seconds: i32,
}

/// No clock of any country is further from UTC.
const FARTHEST_HOURS: i32 = 18;

impl Offset {
    /// UTC itself.
    pub const ZERO: Offset = Offset { seconds: 0 };

    /// So many whole hours east of Greenwich.
    pub fn from_hours(hours: i32) -> Offset {
        Offset {
            seconds: hours.clamp(-FARTHEST_HOURS, FARTHEST_HOURS) * 3600,
        }
    }

    /// Reads `+11:00`, `-0330`, `+11`, `UTC`, `UTC+2`.
    ///
    /// # Errors
    /// Any other text, with what an offset looks like.
    pub fn parse(text: &str) -> Result<Offset, String> {
        let text = text.trim();
        worded_offset(text)
            .or_else(|| signed_offset(text, 1))
            .ok_or_else(|| {
                let unsigned = text.starts_with(|c: char| c.is_ascii_digit());
                match signed_offset(&format!("+{text}"), 1) {
                    Some(east) if unsigned => format!(
                        "say on which side of UTC: {east} east of Greenwich, -{} west of it",
                        &east.to_string()[1..]
                    ),
                    _ => "expected hours and minutes ahead of UTC, such as +11:00 or -03:30"
                        .to_owned(),
                }
            })
    }

    /// Seconds to take from the clock's time to get UTC.
    pub fn seconds(self) -> i64 {
        i64::from(self.seconds)
    }
}

impl fmt::Display for Offset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.seconds < 0 { '-' } else { '+' };
        let minutes = self.seconds.abs() / 60;
        write!(f, "{sign}{:02}:{:02}", minutes / 60, minutes % 60)
    }
}

/// `+02:00`, `+0200` or `+02`, with at least so many digits for the hours.
pub(super) fn signed_offset(text: &str, fewest: usize) -> Option<Offset> {
    let sign = match text.chars().next()? {
        '+' => 1,
        '-' | '\u{2212}' => -1,
        _ => return None,
    };
    let digits = text.trim_start_matches(['+', '-', '\u{2212}']);
    let (hours, minutes) = match digits.split_once(':') {
        Some((hours, minutes)) if minutes.len() == 2 => (hours, minutes),
        Some(_) => return None,
        None if digits.len() == 4 && digits.is_ascii() => digits.split_at(2),
        None => (digits, "0"),
    };
    let fits = (fewest..=2).contains(&hours.len()) && text.chars().count() == 1 + digits.len();
    let (hours, minutes) = (number(hours)? as i32, number(minutes)? as i32);
    (fits && hours <= FARTHEST_HOURS && minutes < 60).then_some(Offset {
        seconds: sign * (hours * 3600 + minutes * 60),
    })
}

/// `UTC`, `GMT`, `Z`, or one of the first two with hours behind it.
fn worded_offset(text: &str) -> Option<Offset> {
    if text.eq_ignore_ascii_case("z") {
        return Some(Offset::ZERO);
    }
    let word = text.get(..3)?;
    if !["utc", "gmt"].contains(&word.to_ascii_lowercase().as_str()) {
        return None;
    }
    match text[3..].trim_start() {
        "" => Some(Offset::ZERO),
        signed => signed_offset(signed, 1),
    }
}

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
    Offset(Offset),
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

/// A date and a time of day as they are written.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
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

#[derive(Clone, Copy, Debug, PartialEq)]
enum Date {
    /// Year, month and day.
    Known(i64, i64, i64),
    /// Three numbers as they stand, and whether the last is a year of four digits.
    Open([i64; 3], bool),
}

/// A time of day; the second is 60 in a leap second.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Clock {
    hour: i64,
    minute: i64,
    second: i64,
    nanos: i64,
}

/// Unix seconds and milliseconds that are read: September 2001 to the year 2099.
const UNIX_SECONDS: std::ops::Range<i64> = 1_000_000_000..4_100_000_000;
/// Numbers of days since 1900 or 1904 as spreadsheets count them, about 1954 to 2119.
const SPREADSHEET_DAYS: std::ops::Range<i64> = 20_000..80_000;
/// Years of two digits below this are of this century: UTC began in 1960.
const CENTURY_TURNS: i64 = 60;

impl Written {
    /// Reads a date with a time of day.
    ///
    /// # Errors
    /// A text that is none, with the reason where there is more to say.
    pub fn parse(text: &str) -> Result<Written, TimeTextError> {
        let text = text.trim();
        if let Some(number) = Decimal::read(text) {
            return number.unix();
        }
        // What the page of formats itself writes, and its near kin.
        let strict = Utc::civil_of(text);
        if let Ok((civil, second, zone)) = &strict {
            return Ok(Written {
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
                let written = Written {
                    date,
                    clock,
                    zone: parts.zone,
                    form,
                    twelve_hours: parts.noon.is_some(),
                    zone_in_words: parts.zone_in_words,
                };
                // A day that no month has is told now, whatever the order.
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
        if Written::parse(text).is_ok() {
            return (true, true);
        }
        Parts::of(text.trim()).map_or((false, false), |p| (p.date.is_some(), p.clock.is_some()))
    }

    /// Whether the order of its numbers must be known.
    pub fn is_open(&self) -> bool {
        matches!(self.date, Date::Open(..))
    }

    /// The orders in which its date exists; all of them when its order is known.
    pub fn orders(&self) -> impl Iterator<Item = DateOrder> + use<> {
        let date = self.date;
        (DateOrder::ALL.into_iter()).filter(move |order| {
            date.read(*order).is_some_and(|(year, month, day)| {
                civil::Date::new(year as i16, month as i8, day as i8).is_ok()
            })
        })
    }

    /// Its date in that order, `2026-11-26`; none when there is no such day.
    pub fn date_text(&self, order: DateOrder) -> Option<String> {
        let (year, month, day) = self.date.read(order)?;
        Some(format!("{year:04}-{month:02}-{day:02}"))
    }

    /// The instant, when open dates have this order and times without a zone this offset.
    ///
    /// # Errors
    /// No such day, and a second of 60 at another time than the end of a day of UTC.
    pub fn instant(&self, order: DateOrder, offset: Offset) -> Result<Utc, TimeTextError> {
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

impl Date {
    fn read(self, order: DateOrder) -> Option<(i64, i64, i64)> {
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
fn this_century(year: i64) -> Option<i64> {
    (year < CENTURY_TURNS).then_some(2000 + year)
}

/// Digits with a fraction or without.
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
        // 20261126 with nothing behind it is a date alone.
        if whole.len() == 8 {
            return None;
        }
        Some(Decimal {
            whole: whole.parse().ok()?,
            fraction: format!("{fraction:0<9}")[..9].parse().ok()?,
        })
    }
    fn unix(self) -> Result<Written, TimeTextError> {
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
        Ok(Written {
            date: Date::Known(year.into(), month.into(), day.into()),
            clock: Clock {
                hour: hour.into(),
                minute: minute.into(),
                second: second as i64,
                nanos,
            },
            zone: WrittenZone::Offset(Offset::ZERO),
            form,
            twelve_hours: false,
            zone_in_words: false,
        })
    }
}

/// What the words of a time are.
#[derive(Default)]
struct Parts {
    date: Option<(Date, Form)>,
    clock: Option<Clock>,
    zone: WrittenZone,
    zone_in_words: bool,
    /// Whether the hours are those after noon.
    noon: Option<bool>,
    /// Of a date in several words.
    month: Option<i64>,
    day: Option<i64>,
    year: Option<i64>,
}

impl Parts {
    /// None when a word has no place in a date or time.
    fn of(text: &str) -> Option<Parts> {
        let text = with_t_as_blank(text);
        let mut parts = Parts::default();
        for word in text.split([' ', '\u{a0}', '\u{202f}', '\t']) {
            let word = word.strip_suffix(',').unwrap_or(word);
            if !word.is_empty() {
                parts.take(word)?;
            }
        }
        if parts.date.is_none()
            && let (Some(month), Some(day), Some(year)) = (parts.month, parts.day, parts.year)
        {
            parts.date = Some((Date::Known(year, month, day), Form::MonthInLetters));
        } else if parts.month.is_some() || parts.day.is_some() || parts.year.is_some() {
            return None;
        }
        if let (Some(after_noon), Some(clock)) = (parts.noon, &mut parts.clock) {
            if !(1..=12).contains(&clock.hour) {
                return None;
            }
            clock.hour = clock.hour % 12 + if after_noon { 12 } else { 0 };
        }
        Some(parts)
    }

    fn take(&mut self, word: &str) -> Option<()> {
        if let Some((date, form)) = date_of(word).filter(|_| self.date.is_none()) {
            self.date = Some((date, form));
            return Some(());
        }
        if let Some((clock, behind)) = clock_of(word).filter(|_| self.clock.is_none()) {
            self.clock = Some(clock);
            return match behind {
                "" => Some(()),
                _ => self.take_behind_clock(behind),
            };
        }
        if word.starts_with(|c: char| c.is_ascii_digit()) {
            return self.take_number(word);
        }
        let letters = word.trim_end_matches('.');
        if let Some(month) = month_of(letters).filter(|_| self.month.is_none()) {
            self.month = Some(month);
            return Some(());
        }
        let folded = letters.to_lowercase();
        if FILLERS.contains(&folded.as_str()) || WEEKDAYS.contains(&folded.as_str()) {
            return Some(());
        }
        self.take_behind_clock(word)
    }

    /// Before or after noon, or the zone.
    fn take_behind_clock(&mut self, word: &str) -> Option<()> {
        let folded = word.to_ascii_lowercase().replace('.', "");
        if let ("am" | "pm", None) = (folded.as_str(), self.noon) {
            self.noon = Some(folded == "pm");
            return Some(());
        }
        if self.zone != WrittenZone::Missing {
            // UTC +2 in two words.
            let offset = signed_offset(word, 1)
                .filter(|_| self.zone_in_words && self.zone == WrittenZone::Offset(Offset::ZERO))?;
            self.zone = WrittenZone::Offset(offset);
            return Some(());
        }
        self.zone = if let Some(offset) = worded_offset(word) {
            self.zone_in_words = !word.eq_ignore_ascii_case("z");
            WrittenZone::Offset(offset)
        } else if let Some(offset) = signed_offset(word, 2) {
            WrittenZone::Offset(offset)
        } else if (2..=5).contains(&word.len()) && word.bytes().all(|b| b.is_ascii_uppercase()) {
            WrittenZone::Named(word.to_owned())
        } else {
            return None;
        };
        Some(())
    }

    /// The day or the year of a date whose month stands in letters.
    fn take_number(&mut self, word: &str) -> Option<()> {
        let digits = word.trim_end_matches(['.', 's', 't', 'n', 'd', 'r', 'h', 'e', 'º', 'ª']);
        let value = number(digits)?;
        let slot = match digits.len() {
            1 | 2 => &mut self.day,
            4 => &mut self.year,
            _ => return None,
        };
        slot.is_none().then(|| *slot = Some(value))
    }
}

/// The `T` between a date and a time of day as a blank.
fn with_t_as_blank(text: &str) -> String {
    let mut changed = text.to_owned();
    let bytes = text.as_bytes();
    for i in 1..bytes.len().saturating_sub(1) {
        let between = bytes[i - 1].is_ascii_digit() && bytes[i + 1].is_ascii_digit();
        if between && matches!(bytes[i], b'T' | b't') {
            changed.replace_range(i..=i, " ");
        }
    }
    changed
}

/// A date in one word.
fn date_of(word: &str) -> Option<(Date, Form)> {
    let mark = word.chars().find(|c| matches!(c, '.' | '/' | '-'))?;
    // The dot behind a day or a year closes nothing: `26.11.2026.` is Croatian for 26.11.2026.
    let word = if mark == '.' {
        word.strip_suffix('.').unwrap_or(word)
    } else {
        word
    };
    let parts: Vec<&str> = word.split(mark).collect();
    let [first, middle, last] = parts[..] else {
        return None;
    };
    let short = |text: &str| (1..=2).contains(&text.len());
    if let Some(month) = month_of(middle) {
        let (day, year) = (number(first)?, number(last)?);
        let year = match last.len() {
            4 => year,
            2 => this_century(year)?,
            _ => return None,
        };
        return short(first).then_some((Date::Known(year, month, day), Form::MonthInLetters));
    }
    let numbers = [number(first)?, number(middle)?, number(last)?];
    if first.len() == 4 && short(middle) && short(last) {
        let [year, month, day] = numbers;
        return Some((Date::Known(year, month, day), Form::YearFirst));
    }
    if !short(first) || !short(middle) || !matches!(last.len(), 2 | 4) {
        return None;
    }
    let whole_year = last.len() == 4;
    if mark == '.' {
        let [day, month, year] = numbers;
        let year = if whole_year {
            year
        } else {
            this_century(year)?
        };
        return Some((Date::Known(year, month, day), Form::Dots));
    }
    Some((Date::Open(numbers, whole_year), Form::Open))
}

/// A time of day at the beginning of a word, and what stands behind it.
fn clock_of(word: &str) -> Option<(Clock, &str)> {
    let (hour, rest) = digits(word, 1..=2)?;
    let mark = rest.chars().next()?;
    let (minute, mut rest) = match mark {
        ':' | 'h' | '.' => digits(&rest[1..], 2..=2)?,
        _ => return None,
    };
    let (mut second, mut nanos) = (0, 0);
    let next = match mark {
        'h' => rest.strip_prefix('m').or(rest.strip_prefix(':')),
        _ => rest.strip_prefix(mark),
    };
    if let Some((value, behind)) = next.and_then(|next| digits(next, 2..=2)) {
        (second, rest) = (value, behind);
        if let Some(fraction) = behind.strip_prefix(['.', ',']) {
            let count = fraction.bytes().take_while(u8::is_ascii_digit).count();
            let shown = &fraction[..count.min(9)];
            nanos = number(&format!("{shown:0<9}")).filter(|_| count > 0)?;
            rest = &fraction[count..];
        }
        if mark == 'h' {
            rest = rest.strip_prefix('s').unwrap_or(rest);
        }
    } else if mark == '.' {
        // 10.30 may be half past ten or 18 minutes past.
        return None;
    } else if mark == 'h' {
        rest = rest.strip_prefix('m').unwrap_or(rest);
    }
    let within = hour < 24 && minute < 60 && second <= 60;
    within.then_some((
        Clock {
            hour,
            minute,
            second,
            nanos,
        },
        rest,
    ))
}

/// A whole number of so many digits at the beginning of a text, and what stands behind it.
fn digits(text: &str, count: std::ops::RangeInclusive<usize>) -> Option<(i64, &str)> {
    let found = text.bytes().take_while(u8::is_ascii_digit).count();
    let (digits, rest) = text.split_at(found);
    Some((number(digits).filter(|_| count.contains(&found))?, rest))
}

fn number(text: &str) -> Option<i64> {
    let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    text.parse().ok().filter(|_| plain)
}

/// Words that only make a time easier to say.
const FILLERS: [&str; 9] = ["de", "del", "at", "um", "uhr", "h", "kl", "klo", "à"];

/// Days of the week, short and long, in the languages of [`MONTHS`].
const WEEKDAYS: [&str; 84] = [
    "mon",
    "tue",
    "wed",
    "thu",
    "fri",
    "sat",
    "sun",
    "monday",
    "tuesday",
    "wednesday",
    "thursday",
    "friday",
    "saturday",
    "sunday",
    "mo",
    "di",
    "mi",
    "do",
    "fr",
    "sa",
    "so",
    "montag",
    "dienstag",
    "mittwoch",
    "donnerstag",
    "freitag",
    "samstag",
    "sonntag",
    "lun",
    "mar",
    "mer",
    "jeu",
    "ven",
    "sam",
    "dim",
    "lundi",
    "mardi",
    "mercredi",
    "jeudi",
    "vendredi",
    "samedi",
    "dimanche",
    "lu",
    "mié",
    "jue",
    "vie",
    "sáb",
    "dom",
    "lunes",
    "martes",
    "miércoles",
    "jueves",
    "viernes",
    "sábado",
    "domingo",
    "gio",
    "sab",
    "lunedì",
    "martedì",
    "mercoledì",
    "giovedì",
    "venerdì",
    "sabato",
    "domenica",
    "ma",
    "wo",
    "vr",
    "za",
    "zo",
    "maandag",
    "dinsdag",
    "woensdag",
    "donderdag",
    "vrijdag",
    "zaterdag",
    "zondag",
    "seg",
    "ter",
    "qua",
    "qui",
    "sex",
    "segunda",
    "terça",
    "quarta",
];

/// Beginnings of the names of the months in English, German, French, Spanish, Italian, Dutch,
/// Portuguese and the Scandinavian languages. None begins one of another month.
const MONTHS: [(&str, i64); 40] = [
    ("jan", 1),
    ("ene", 1),
    ("gen", 1),
    ("jän", 1),
    ("janv", 1),
    ("feb", 2),
    ("fév", 2),
    ("fev", 2),
    ("mar", 3),
    ("mär", 3),
    ("maa", 3),
    ("mrt", 3),
    ("mrz", 3),
    ("apr", 4),
    ("abr", 4),
    ("avr", 4),
    ("may", 5),
    ("mai", 5),
    ("maj", 5),
    ("mei", 5),
    ("mag", 5),
    ("jun", 6),
    ("juin", 6),
    ("giu", 6),
    ("jul", 7),
    ("juil", 7),
    ("lug", 7),
    ("aug", 8),
    ("aoû", 8),
    ("ago", 8),
    ("sep", 9),
    ("set", 9),
    ("oct", 10),
    ("okt", 10),
    ("out", 10),
    ("ott", 10),
    ("nov", 11),
    ("dec", 12),
    ("déc", 12),
    ("dez", 12),
];

fn month_of(word: &str) -> Option<i64> {
    let folded = word.trim_end_matches('.').to_lowercase();
    if !folded.chars().all(char::is_alphabetic) {
        return None;
    }
    // mardi and martes are Tuesdays, martedì too.
    if folded.chars().count() > 3 && WEEKDAYS.contains(&folded.as_str()) {
        return None;
    }
    let known = [("dic", 12), ("août", 8)];
    (MONTHS.iter().chain(&known))
        .find(|(beginning, _)| folded.starts_with(beginning))
        .map(|(_, month)| *month)
}

#[cfg(test)]
mod tests {
    use super::*;

    const EAST: Offset = Offset { seconds: 39_600 };

    /// The instant in the only order that the date has, at +11:00 where no zone is said.
    fn read(text: &str) -> String {
        let written = Written::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
        let orders: Vec<DateOrder> = written.orders().collect();
        assert!(
            !written.is_open() || orders.len() == 1,
            "{text}: {orders:?}"
        );
        written.instant(orders[0], EAST).unwrap().to_string()
    }

    #[test]
    fn one_instant_in_many_hands() {
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
        assert!(Written::parse("26.11.2026 13:30 PM").is_err());
    }

    #[test]
    fn fractions_keep_their_digits() {
        assert_eq!(read("1795647605.25"), "2026-11-25T23:00:05.250Z");
        assert_eq!(read("1795647605,5"), "2026-11-25T23:00:05.500Z");
        assert_eq!(read("1795647605250.5"), "2026-11-25T23:00:05.251Z");
        assert_eq!(read("26.11.2026 10:00:05,125"), "2026-11-25T23:00:05.125Z");
    }

    #[test]
    fn a_date_with_two_meanings_keeps_both() {
        let written = Written::parse("03/04/2026 10:00").unwrap();
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
        // A year of two digits may stand first.
        let short = Written::parse("25/11/26 10:00").unwrap();
        let orders: Vec<DateOrder> = short.orders().collect();
        assert_eq!(orders, [DateOrder::DayMonthYear, DateOrder::YearMonthDay]);
    }

    #[test]
    fn what_is_no_time_says_why() {
        let why = |text: &str| match Written::parse(text) {
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
        assert!(Written::parse("26.11.2026 10.30").is_err());
        for text in ["yesterday", "", "Total", "12.5", "26.11.65 10:00", "1,2,3"] {
            assert_eq!(why(text), "", "{text}");
        }
    }

    #[test]
    fn zones_are_told_apart() {
        let zone = |text: &str| Written::parse(text).unwrap().zone;
        assert_eq!(zone("26.11.2026 10:00"), WrittenZone::Missing);
        assert_eq!(
            zone("26.11.2026 10:00 MEZ"),
            WrittenZone::Named("MEZ".to_owned())
        );
        assert_eq!(
            zone("26.11.2026 10:00 Z"),
            WrittenZone::Offset(Offset::ZERO)
        );
        assert_eq!(
            zone("26.11.2026 10:00+01:00"),
            WrittenZone::Offset(Offset::from_hours(1))
        );
        // Perhaps +02:00 cut short, perhaps +20:00.
        assert!(Written::parse("2026-04-04T05:00:48+2").is_err());
        assert!(Written::parse("26.11.2026 10:00 UTC CET").is_err());
    }

    #[test]
    fn offsets_are_read_and_written() {
        for (text, shown) in [
            ("+11:00", "+11:00"),
            ("-0330", "-03:30"),
            ("+5", "+05:00"),
            ("UTC", "+00:00"),
            ("Z", "+00:00"),
            ("UTC-3", "-03:00"),
            ("-3:30", "-03:30"),
        ] {
            assert_eq!(Offset::parse(text).unwrap().to_string(), shown, "{text}");
        }
        assert!(Offset::parse("11:00").unwrap_err().contains("+11:00 east"));
        for text in ["", "CET", "+25:00", "+1:5", "+12345", "++1", "+1:60"] {
            assert!(Offset::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn parts_of_a_time_are_known_by_what_they_hold() {
        assert_eq!(Written::holds("26/11/2026"), (true, false));
        assert_eq!(Written::holds("10:00"), (false, true));
        assert_eq!(Written::holds("1795647605"), (true, true));
        assert_eq!(Written::holds("sun"), (false, false));
    }

    #[test]
    fn months_are_told_in_several_languages() {
        for (word, month) in [
            ("März", 3),
            ("mai", 5),
            ("maggio", 5),
            ("juin", 6),
            ("juillet", 7),
            ("août", 8),
            ("diciembre", 12),
            ("Dezember", 12),
            ("décembre", 12),
            ("Oct.", 10),
            ("maart", 3),
        ] {
            assert_eq!(month_of(word), Some(month), "{word}");
        }
        for word in ["mardi", "martes", "sun", "x", "", "3"] {
            assert_eq!(month_of(word), None, "{word}");
        }
    }
}
