//! Questions to be answered before logs can be read: all in one message, with the options to type.

use crate::problem::{Problem, Problems, Wrong};
use crate::station::Station;
use crate::text::quoted;
use crate::time::{DateOrder, WrittenTime, WrittenZone, ZoneOffset};

/// Maximum number of emitters listed, to keep a message readable.
const MOST_NAMES: usize = 6;

/// A question left open by an ambiguous text, with answers to choose from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// The option that answers it, without its dashes: `zone`, `dates`, `columns`, `emitter`,
    /// `approach`.
    pub option: &'static str,
    /// What was found, for people.
    pub text: String,
    /// What each answer means, and the option's value; empty if only the user can know.
    pub choices: Vec<(String, String)>,
}

/// Questions, each with the option that answers it.
#[derive(Clone, Debug, Default)]
pub struct Questions {
    /// The questions with their answers, in order.
    pub open: Vec<Question>,
    /// Options with their values, in reporting order.
    options: Vec<String>,
    questions: Vec<Problem>,
    /// Faults that no option resolves.
    faults: Vec<Problem>,
}

impl Questions {
    /// Adds the answers to the latest question.
    pub fn choices(&mut self, option: &'static str, choices: Vec<(String, String)>) {
        let text = self
            .questions
            .last()
            .map_or_else(String::new, |q| q.found.clone());
        self.open.push(Question {
            option,
            text,
            choices,
        });
    }

    /// Asks for an option.
    pub fn push(&mut self, option: String, question: Problem) {
        if !self.options.contains(&option) {
            self.options.push(option);
        }
        self.questions.push(question);
    }

    /// Asks for the zone of the clock if a time at that place has none and no option gives it.
    pub fn zone(
        &mut self,
        file: &str,
        (line, column): (usize, usize),
        text: &str,
        zone: &WrittenZone,
        said: Option<ZoneOffset>,
        station: &Station,
    ) {
        let wrong = match (zone, said) {
            (WrittenZone::Offset(_), _) | (_, Some(_)) => return,
            (WrittenZone::Missing, None) => Wrong::new(
                format!("{} is without a zone", quoted(text)),
                "Z or an offset behind it, or --zone",
            ),
            (WrittenZone::Named(letters), None) => Wrong::new(
                format!(
                    "{}: {letters} means another offset from UTC to others",
                    quoted(text)
                ),
                "UTC, an offset such as +02:00, or --zone",
            ),
        };
        let longitude = station.site.longitude.degrees();
        let hours = (longitude / 15.0).round() as i32;
        let usual = ZoneOffset::from_hours(hours);
        let wrong = wrong.mend(format!(
            "--zone +00:00 if the clock showed UTC, else its offset from UTC: at this longitude most clocks show --zone {usual} to {}",
            ZoneOffset::from_hours(hours + 2)
        ));
        self.push(format!("--zone {usual}"), wrong.at(file, line, column));
        let local = (hours..=hours + 2).filter(|h| *h != 0).map(|h| {
            let offset = ZoneOffset::from_hours(h).to_string();
            (format!("the clock showed {offset}"), offset)
        });
        let utc = (
            "the clock showed UTC".to_owned(),
            ZoneOffset::ZERO.to_string(),
        );
        self.choices("zone", std::iter::once(utc).chain(local).collect());
    }

    /// Asks for the order of a date at that place.
    pub fn dates(
        &mut self,
        file: &str,
        (line, column): (usize, usize),
        text: &str,
        date: &WrittenTime,
    ) {
        let readings: Vec<(DateOrder, String)> = (date.orders())
            .filter_map(|o| Some((o, date.date_text(o)?)))
            .collect();
        let dates: Vec<&str> = readings.iter().map(|(_, date)| date.as_str()).collect();
        let choices: Vec<String> = (readings.iter())
            .map(|(order, date)| format!("--dates {order} for {date}"))
            .collect();
        let wrong = Wrong::new(
            format!(
                "{} may be {}, and no date of this file decides",
                quoted(text),
                dates.join(" or ")
            ),
            "a date with one meaning, or --dates",
        )
        .mend(choices.join(", "));
        let first = readings
            .first()
            .map_or(DateOrder::DayMonthYear, |(o, _)| *o);
        self.push(format!("--dates {first}"), wrong.at(file, line, column));
        let choices = (readings.iter())
            .map(|(order, date)| {
                let words = order.name().replace('-', ", ");
                (format!("{words}: {date}"), order.name().to_owned())
            })
            .collect();
        self.choices("dates", choices);
    }

    /// Asks which emitter was observed if no option gives it and the station has several.
    pub fn emitter(&mut self, file: &str, line: usize, said: bool, station: &Station) {
        if said || station.emitters.len() == 1 {
            return;
        }
        let names: Vec<&str> = station.emitters.iter().map(|e| e.name.as_str()).collect();
        let some = names
            .iter()
            .take(MOST_NAMES)
            .copied()
            .collect::<Vec<_>>()
            .join(", ");
        let more = if names.len() > MOST_NAMES {
            ", …"
        } else {
            ""
        };
        let wrong = Wrong::new(
            "no column says which emitter was observed",
            format!("a column emitter, or --emitter with one of {some}{more}"),
        )
        .mend("add --emitter NAME when all rows are of one emitter");
        self.push("--emitter NAME".to_owned(), wrong.at(file, line, 1));
        let choices = names
            .iter()
            .map(|name| (format!("all rows are of {name}"), (*name).to_owned()));
        self.choices("emitter", choices.collect());
    }

    /// Adds a fault to the questions.
    pub fn fault(&mut self, fault: Problem) {
        self.faults.push(fault);
    }

    /// Adds the questions of another file.
    pub fn extend(&mut self, other: Questions) {
        for option in other.options {
            if !self.options.contains(&option) {
                self.options.push(option);
            }
        }
        self.questions.extend(other.questions);
        self.open.extend(other.open);
        self.faults.extend(other.faults);
    }

    /// Whether there are no questions.
    pub fn is_empty(&self) -> bool {
        self.questions.is_empty() && self.faults.is_empty()
    }

    /// Whether an option of that name is needed.
    pub fn has(&self, option: &str) -> bool {
        self.options
            .iter()
            .any(|o| o.split(' ').next() == Some(option))
    }

    /// Returns the questions as faults of the input: first all options together, if there are
    /// several.
    pub fn problems(self) -> Problems {
        let mut problems = Problems::new();
        if self.questions.len() > 1
            && let Some(first) = self.questions.first()
        {
            let mut options = self.options;
            // The longest option goes last.
            options.sort_by_key(|o| o.starts_with("--columns"));
            let n = options.len();
            let wrong = Wrong::new(
                "the file alone does not say all that is needed",
                match n {
                    1 => "an option that does".to_owned(),
                    _ => format!("{n} options that do"),
                },
            )
            .mend(format!(
                "add {}, each with the value that applies to you: see below",
                options.join(" ")
            ));
            problems.push(wrong.of_file(&first.file));
        }
        problems.extend(self.questions);
        problems.extend(self.faults);
        problems
    }
}
