//! Splits a date and time of day into words, in any order and several languages.

use super::ZoneOffset;
use super::date::{Clock, Date, Form, WrittenZone, this_century};
use super::offset::{number, signed_offset, worded_offset};

/// Meaning of the words of a time.
#[derive(Default)]
pub(super) struct Parts {
    pub date: Option<(Date, Form)>,
    pub clock: Option<Clock>,
    pub zone: WrittenZone,
    pub zone_in_words: bool,
    /// Whether the time is PM; `None` for 24-hour times.
    pub noon: Option<bool>,
    /// Month of a date in several words.
    month: Option<i64>,
    day: Option<i64>,
    year: Option<i64>,
}

impl Parts {
    /// Returns `None` if a word does not belong to a date or time.
    pub fn of(text: &str) -> Option<Parts> {
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

    /// Handles a word after the time of day: AM, PM or the zone.
    fn take_behind_clock(&mut self, word: &str) -> Option<()> {
        let folded = word.to_ascii_lowercase().replace('.', "");
        if let ("am" | "pm", None) = (folded.as_str(), self.noon) {
            self.noon = Some(folded == "pm");
            return Some(());
        }
        if self.zone != WrittenZone::Missing {
            // UTC +2 in two words.
            let offset = signed_offset(word, 1).filter(|_| {
                self.zone_in_words && self.zone == WrittenZone::Offset(ZoneOffset::ZERO)
            })?;
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

    /// Handles the day or the year of a date whose month is in letters.
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

/// Replaces the `T` between a date and a time of day by a blank.
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

/// Reads a date written as one word.
fn date_of(word: &str) -> Option<(Date, Form)> {
    let mark = word.chars().find(|c| matches!(c, '.' | '/' | '-'))?;
    // A dot after a day or a year is ignored: `26.11.2026.` is Croatian for 26.11.2026.
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

/// Reads a time of day at the beginning of a word; returns it with the rest.
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

/// Reads an integer of this many digits at the beginning of a text; returns it with the rest.
fn digits(text: &str, count: std::ops::RangeInclusive<usize>) -> Option<(i64, &str)> {
    let found = text.bytes().take_while(u8::is_ascii_digit).count();
    let (digits, rest) = text.split_at(found);
    Some((number(digits).filter(|_| count.contains(&found))?, rest))
}

/// Words without meaning for the date or time.
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

/// Prefixes of the names of the months in English, German, French, Spanish, Italian, Dutch,
/// Portuguese and the Scandinavian languages. No prefix fits two months.
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
    // mardi, martes and martedì mean Tuesday.
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

    #[test]
    fn months_are_read_in_several_languages() {
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
