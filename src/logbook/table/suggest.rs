//! Suggests the meaning of columns in a file with unknown headers: times and emitters by their
//! content, the rest by their names.

use super::super::column_names::ColumnNames;
use super::columns::{Schema, folded};
use super::synonyms::fit;
use crate::station::Station;
use crate::time::WrittenTime;

/// A sample from the beginning of a file.
pub struct CellSample<'a> {
    /// One name per field; the field's number in a file without a header.
    pub header: &'a [String],
    pub headerless: bool,
    /// Some of its rows.
    pub rows: &'a [Vec<String>],
    /// Fields that are already identified.
    pub used: &'a [usize],
}

/// The suggested columns.
#[derive(Debug, Default)]
pub struct Suggestion {
    /// Headers of the columns for which one was found.
    pub names: ColumnNames,
    /// Columns for which none was found, as indices into the schema.
    pub open: Vec<usize>,
    /// Other headers that may also be meant, with the column.
    pub rivals: Vec<(&'static str, String)>,
}

impl Suggestion {
    /// Whether it names one of these columns of the schema.
    pub fn names_one_of(&self, columns: &[usize], schema: &Schema) -> bool {
        (self.names.iter()).any(|(named, _)| columns.iter().any(|k| schema.known[*k] == named))
    }
}

/// Suggests headers for the `wanted` columns of the schema, whose indices are given in order of
/// importance.
pub fn suggest(
    sample: &CellSample<'_>,
    schema: &Schema,
    wanted: &[usize],
    station: &Station,
) -> Suggestion {
    let mut free: Vec<usize> = (0..sample.header.len())
        .filter(|i| !sample.used.contains(i))
        .collect();
    let mut suggestion = Suggestion::default();
    for k in wanted {
        let known = schema.known[*k];
        let by_content = match known {
            "time_utc" => sample.times(&free),
            "emitter" => sample.emitters(&free, station),
            _ => None,
        };
        let found = by_content.or_else(|| {
            if sample.headerless {
                return sample.next_numbers(known, &free);
            }
            let best = sample.best_name(known, &free, &mut suggestion.rivals);
            Some(vec![best.or_else(|| sample.misspelt(known, &free))?])
        });
        match found {
            Some(fields) => {
                free.retain(|i| !fields.contains(i));
                let names: Vec<&str> = fields.iter().map(|i| sample.header[*i].as_str()).collect();
                suggestion.names.push(known, names.join("+"));
            }
            None => suggestion.open.push(*k),
        }
    }
    suggestion
}

impl CellSample<'_> {
    /// Fraction of the filled cells of a field that satisfy `is_so`.
    fn share(&self, field: usize, is_so: impl Fn(&str) -> bool) -> f64 {
        let cells = (self.rows.iter()).filter_map(|row| row.get(field));
        let filled: Vec<&String> = cells.filter(|c| !c.trim().is_empty()).collect();
        let so = filled.iter().filter(|c| is_so(c)).count();
        if filled.is_empty() {
            0.0
        } else {
            so as f64 / filled.len() as f64
        }
    }

    /// The field of times, or the two fields of dates and of times of day.
    fn times(&self, free: &[usize]) -> Option<Vec<usize>> {
        let first = |holds: (bool, bool)| {
            let most = |i: &&usize| self.share(**i, |c| WrittenTime::holds(c) == holds) > MOST;
            free.iter().find(most).copied()
        };
        if let Some(both) = first((true, true)) {
            return Some(vec![both]);
        }
        Some(vec![first((true, false))?, first((false, true))?])
    }

    /// The field with the largest fraction of cells that name one of the station's emitters.
    fn emitters(&self, free: &[usize], station: &Station) -> Option<Vec<usize>> {
        let is_emitter = |cell: &str| {
            let cell = cell.trim().to_lowercase();
            station
                .emitters
                .iter()
                .any(|e| e.name.to_lowercase() == cell)
        };
        let best = (free.iter())
            .map(|i| (self.share(*i, is_emitter), *i))
            .max_by(|a, b| a.0.total_cmp(&b.0))?;
        (best.0 > SOME).then(|| vec![best.1])
    }

    /// In a file without a header, the next field of numbers, for the readings and the power.
    fn next_numbers(&self, known: &str, free: &[usize]) -> Option<Vec<usize>> {
        let in_order = known.ends_with("_deg") && !known.contains("sigma") || known == "power_db";
        let is_number = |c: &str| c.trim().replace(',', ".").parse::<f64>().is_ok();
        let numbers = |i: &&usize| self.share(**i, is_number) > MOST;
        let next = free.iter().find(numbers).filter(|_| in_order)?;
        Some(vec![*next])
    }

    /// A header that is nearly the column's name.
    fn misspelt(&self, known: &str, free: &[usize]) -> Option<usize> {
        let near = |i: &&usize| {
            let header = &self.header[**i];
            if header.len() > 4 * known.len() {
                return false;
            }
            let name = folded(header);
            strsim::normalized_damerau_levenshtein(&name, known) > NEARLY
        };
        free.iter().find(near).copied()
    }

    fn best_name(
        &self,
        known: &'static str,
        free: &[usize],
        rivals: &mut Vec<(&'static str, String)>,
    ) -> Option<usize> {
        let mut fits: Vec<(f64, usize)> = (free.iter())
            .map(|i| (fit(known, &self.header[*i]), *i))
            .filter(|(fit, _)| *fit > 0.0)
            .collect();
        // In a tie, the first.
        fits.sort_by(|a, b| b.0.total_cmp(&a.0));
        let (best, field) = *fits.first()?;
        for (fit, other) in &fits[1..] {
            if *fit > best - CLOSE {
                rivals.push((known, self.header[*other].clone()));
            }
        }
        Some(field)
    }
}

/// A field holds times, or numbers, if a larger fraction of its cells does; a few may be empty or
/// damaged. This and the limits below only decide what is suggested; common practice, no source.
const MOST: f64 = 0.7;
/// A field holds emitters if a larger fraction of its cells names one of the station's.
const SOME: f64 = 0.3;
/// A header counts as a misspelt name if its similarity exceeds this.
const NEARLY: f64 = 0.8;
/// Headers whose fit is within this of the best are suggested too.
const CLOSE: f64 = 0.15;
