//! The columns of a log, found by name.

use std::collections::HashMap;

use super::super::cell::Cell;
use super::super::column_names::ColumnNames;
use super::rows::Row;
use super::taken::TakenKind;
use super::{Told, is_value};
use crate::problem::{Wrong, nearest_name};
use crate::text::{quoted, some_of};

/// Maximum number of unknown columns for which a known one is suggested, to keep a message
/// readable.
const MOST_HINTS: usize = 8;

/// A column whose name has this prefix is the user's own.
pub const OWN_COLUMN: &str = "x_";

/// The columns that a kind of log may have, and those it must have.
#[derive(Clone, Debug)]
pub struct Schema {
    /// All known columns.
    pub known: &'static [&'static str],
    /// Required columns, as indices into `known`.
    pub required: Vec<usize>,
    /// Columns that can replace a required one: the required one, and its replacement.
    pub instead: Vec<(usize, usize)>,
    /// Columns of which one is required.
    pub one_of: Vec<usize>,
}

/// Position of each known column in a file.
#[derive(Clone, Debug)]
pub struct Columns {
    known: &'static [&'static str],
    /// By index in `known`.
    place: Vec<Option<FieldPlace>>,
    own: Vec<usize>,
    own_names: Vec<String>,
    unnamed: Vec<bool>,
    /// Texts of the header; empty in a file without a header.
    header: Vec<String>,
    /// Headers named by an option that are not in this file, with their columns.
    unmatched: Vec<(String, String)>,
}

/// One field, or a date and a time of day in two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct FieldPlace {
    first: usize,
    second: Option<usize>,
}

impl Columns {
    /// Finds the known columns in the first row of a file, whether it holds a header or values.
    /// Faults in names, and what was read differently from how it is written, are reported.
    pub fn find(first: &Row<'_>, schema: &Schema, names: &ColumnNames, told: &mut Told) -> Columns {
        let headerless = is_values(first);
        let count = first.count();
        let header: Vec<String> = if headerless {
            (1..=count).map(|i| i.to_string()).collect()
        } else {
            (0..count)
                .map(|i| first.text(i).trim().to_owned())
                .collect()
        };
        let mut columns = Columns {
            known: schema.known,
            place: vec![None; schema.known.len()],
            own: Vec::new(),
            own_names: Vec::new(),
            unnamed: Vec::new(),
            header: if headerless {
                Vec::new()
            } else {
                header.clone()
            },
            unmatched: Vec::new(),
        };
        columns.take_named(&header, names, told);
        if !headerless {
            columns.take_known(first, told);
        }
        columns.keep_the_rest(first, &header, headerless, told);
        columns
    }

    /// Finds the columns named by an option.
    fn take_named(&mut self, header: &[String], names: &ColumnNames, told: &mut Told) {
        let mut taken = Vec::new();
        for (column, wanted) in names.iter() {
            let Some(k) = self.known.iter().position(|known| *known == column) else {
                self.unmatched.push((column.to_owned(), wanted.to_owned()));
                continue;
            };
            match place_of(header, wanted) {
                Some(place) => {
                    if self.place[k].is_none() {
                        self.place[k] = Some(place);
                        taken.push(format!("{} is {column}", quoted(wanted)));
                    }
                }
                None => self.unmatched.push((column.to_owned(), wanted.to_owned())),
            }
        }
        if !taken.is_empty() {
            told.taken.whole(TakenKind::Headers, || {
                format!("columns as --columns says: {}", taken.join(", "))
            });
        }
    }

    /// Finds the columns that have their documented names, exactly or folded.
    fn take_known(&mut self, first: &Row<'_>, told: &mut Told) {
        let header = self.header.clone();
        let mut folded_names = Vec::new();
        for (k, known) in self.known.iter().enumerate() {
            let exact: Vec<usize> = (0..header.len()).filter(|i| header[*i] == *known).collect();
            let folded = || {
                let same = |i: &usize| folded(&header[*i]) == *known;
                (0..header.len()).filter(same).collect::<Vec<usize>>()
            };
            let by_option = self.place[k].is_some();
            let found = if exact.is_empty() && !by_option {
                folded()
            } else {
                exact
            };
            match found[..] {
                [] => {}
                [one] if !by_option => {
                    self.place[k] = Some(FieldPlace {
                        first: one,
                        second: None,
                    });
                    if header[one] != *known {
                        folded_names.push(format!("{} is {known}", quoted(&header[one])));
                    }
                }
                [_] => {}
                [one, again, ..] => {
                    let found = if header[one] == header[again] {
                        format!("column {known} appears again, after field {}", one + 1)
                    } else {
                        format!(
                            "{} and {} may both be {known}",
                            quoted(&header[one]),
                            quoted(&header[again])
                        )
                    };
                    let wrong = Wrong::new(found, "each column once")
                        .mend("delete one, or rename it to begin with x_ to keep it as your own");
                    told.problems.push(first.problem(again, wrong));
                    self.place[k].get_or_insert(FieldPlace {
                        first: one,
                        second: None,
                    });
                }
            }
        }
        if !folded_names.is_empty() {
            told.taken.whole(TakenKind::Headers, || {
                format!("headers in other letters: {}", folded_names.join(", "))
            });
        }
    }

    /// Keeps all other columns as the user's own.
    fn keep_the_rest(
        &mut self,
        first: &Row<'_>,
        header: &[String],
        headerless: bool,
        told: &mut Told,
    ) {
        let used: Vec<usize> = (self.place.iter().flatten())
            .flat_map(|p| [Some(p.first), p.second])
            .flatten()
            .collect();
        let mut times: HashMap<String, usize> = HashMap::new();
        let mut unknown = Vec::new();
        for (i, name) in header.iter().enumerate().filter(|(i, _)| !used.contains(i)) {
            let unnamed = headerless || name.is_empty();
            let own = if unnamed {
                format!("{OWN_COLUMN}column_{}", i + 1)
            } else if name.starts_with(OWN_COLUMN) {
                name.clone()
            } else {
                unknown.push((name.clone(), format!("{OWN_COLUMN}{name}")));
                format!("{OWN_COLUMN}{name}")
            };
            let nth = times.entry(own.clone()).or_default();
            *nth += 1;
            if *nth == 2 && own == *name {
                let wrong = Wrong::new(format!("column {name} appears again"), "each column once");
                told.problems
                    .push(first.problem(i, wrong.mend("delete one, or give it another name")));
            }
            self.own_names.push(match *nth {
                1 => own,
                n => format!("{own}_{n}"),
            });
            self.own.push(i);
            self.unnamed.push(unnamed);
        }
        // A header that repeats a known column has already been reported as a fault.
        unknown.retain(|(name, _)| !self.known.contains(&folded(name).as_str()));
        if !unknown.is_empty() {
            told.taken
                .whole(TakenKind::UnknownColumns, || self.unknown_words(&unknown));
        }
    }

    fn unknown_words(&self, unknown: &[(String, String)]) -> String {
        let named: Vec<String> = (unknown.iter()).map(|(name, _)| quoted(name)).collect();
        let owns: Vec<&str> = unknown.iter().map(|(_, own)| own.as_str()).collect();
        let (which, is) = match named.len() {
            1 => ("column", "is"),
            _ => ("columns", "are"),
        };
        let mut words = format!(
            "{which} {} {is} not used, but passed on as {}",
            some_of(&named),
            some_of(&owns)
        );
        let missing = (self.known.iter().enumerate()).filter(|(k, _)| self.place[*k].is_none());
        let missing: Vec<&str> = missing.map(|(_, known)| *known).collect();
        for (name, _) in unknown.iter().take(MOST_HINTS) {
            if let Some(near) = nearest_name(name, missing.iter().copied()) {
                let mut names = ColumnNames::default();
                names.push(near, name.clone());
                words.push_str(&format!(
                    "; if {} is {near}, add --columns {}",
                    quoted(name),
                    names.to_option()
                ));
            }
        }
        words
    }

    /// Headers named by an option that are not in this file, with their columns.
    pub fn unmatched(&self) -> &[(String, String)] {
        &self.unmatched
    }

    /// Required columns that the file lacks, as indices into the known ones.
    pub fn missing(&self, schema: &Schema) -> Vec<usize> {
        let instead = |k: usize| {
            let mut others = schema
                .instead
                .iter()
                .filter(move |(required, _)| *required == k);
            others.any(|(_, other)| self.has(*other))
        };
        let absent = |k: &usize| !self.has(*k) && !instead(*k);
        schema.required.iter().copied().filter(absent).collect()
    }

    /// Whether the file has the column of that index.
    pub fn has(&self, column: usize) -> bool {
        self.place[column].is_some()
    }

    /// Field of a row that holds the known column of that index; `None` also if it takes two
    /// fields.
    pub fn field_of(&self, column: usize) -> Option<usize> {
        (self.place[column])
            .filter(|p| p.second.is_none())
            .map(|p| p.first)
    }

    /// Whether a field belongs to a known column.
    pub fn uses(&self, field: usize) -> bool {
        (self.place.iter().flatten()).any(|p| p.first == field || p.second == Some(field))
    }

    /// A row's field in the known column of that index; empty if the file has no such column.
    pub fn cell<'a>(&self, row: &Row<'a>, column: usize) -> Cell<'a> {
        let place = self.place[column];
        let cell = Cell::new(*row, place.map(|p| p.first), self.known[column]);
        match place.and_then(|p| p.second) {
            Some(behind) => cell.joined(behind),
            None => cell,
        }
    }

    /// Whether a row repeats the header in the fields of this column.
    pub fn repeats_header(&self, row: &Row<'_>, column: usize) -> bool {
        self.place[column].is_some_and(|p| {
            (self.header.get(p.first)).is_some_and(|name| row.text(p.first).trim() == name)
        })
    }

    /// Number of fields in the header; `None` if the file has no header.
    pub fn header_count(&self) -> Option<usize> {
        (!self.header.is_empty()).then_some(self.header.len())
    }

    /// Names under which the user's own columns are kept, in file order.
    pub fn own_names(&self) -> &[String] {
        &self.own_names
    }

    /// Which of the user's own columns have no name in the file.
    pub fn unnamed(&self) -> &[bool] {
        &self.unnamed
    }

    /// A row's fields in the user's own columns, in file order.
    pub fn own<'a>(&self, row: &Row<'a>) -> impl Iterator<Item = &'a str> {
        self.own.iter().map(|i| row.text(*i))
    }
}

/// Whether a row holds values rather than names.
pub fn is_values(row: &Row<'_>) -> bool {
    row.texts().any(is_value)
}

/// Position of a requested header: as written, in other capitals, or as two joined by a plus.
fn place_of(header: &[String], wanted: &str) -> Option<FieldPlace> {
    let find = |wanted: &str| {
        let wanted = wanted.trim();
        let exact = header.iter().position(|h| h == wanted);
        let lower = wanted.to_lowercase();
        exact.or_else(|| {
            let mut alike = (0..header.len()).filter(|i| header[*i].to_lowercase() == lower);
            alike.next().filter(|_| alike.next().is_none())
        })
    };
    if let Some(first) = find(wanted) {
        return Some(FieldPlace {
            first,
            second: None,
        });
    }
    let (date, clock) = wanted.split_once('+')?;
    Some(FieldPlace {
        first: find(date)?,
        second: Some(find(clock)?),
    })
}

/// A header in lower case, its words joined by underscores: `Azimuth (deg)` becomes `azimuth_deg`.
pub fn folded(header: &str) -> String {
    let lower = header.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric());
    words
        .filter(|w| !w.is_empty())
        .collect::<Vec<_>>()
        .join("_")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_fold_to_names() {
        for (header, name) in [
            ("Azimuth (deg)", "azimuth_deg"),
            ("TIME_UTC", "time_utc"),
            (" Time UTC ", "time_utc"),
            ("Höhe [°]", "höhe"),
        ] {
            assert_eq!(folded(header), name);
        }
    }

    #[test]
    fn an_exact_header_match_comes_first() {
        let header: Vec<String> = ["AZ", "az", "Date", "Time", "Date+Time", "El"]
            .map(str::to_owned)
            .into();
        let at = |wanted: &str| place_of(&header, wanted).map(|p| (p.first, p.second));
        assert_eq!(at("az"), Some((1, None)));
        assert_eq!(at("el"), Some((5, None)));
        assert_eq!(at("Date+Time"), Some((4, None)));
        assert_eq!(at("date+time"), Some((4, None)));
        assert_eq!(at("Date + Time"), Some((2, Some(3))));
        // Two headers that differ only in case.
        assert_eq!(at("Az"), None);
        assert_eq!(at("x"), None);
    }
}
