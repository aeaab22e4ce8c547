//! Tables of text: splits a file of any supported dialect into rows and cells, finds its columns,
//! and asks about or resolves ambiguities. Shared by peaks, scans, power logs and angle files.

mod asked;
mod columns;
mod decided;
mod dialect;
mod lines;
mod rows;
mod suggest;
mod survey;
mod synonyms;
mod taken;

use std::io::BufRead;

pub use asked::{Question, Questions};
pub use columns::{Columns, OWN_COLUMN, Schema};
pub use decided::Decided;
pub use dialect::Dialect;
pub(super) use lines::Lines;
pub use rows::{Row, RowReader};
pub use survey::{Request, Survey, survey};
pub use taken::{Taken, TakenKind, is};

use super::column_names::ColumnNames;
use crate::problem::{Error, Problems};
use crate::time::WrittenTime;

/// What is reported while a file is read: its faults, and what was read differently from how it is
/// written.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// Faults.
    pub problems: Problems,
    /// What was read differently from how it is written.
    pub taken: Taken,
}

/// The rows of a file with its columns.
pub struct Table<R> {
    rows: RowReader<R>,
    columns: Columns,
    schema: Schema,
    names: ColumnNames,
    time: usize,
    /// Whether the first row of a file without a header is still to be returned.
    waiting: bool,
    /// Line of the header, or of the first row.
    first_line: usize,
}

/// One row of a table.
pub struct Line<'a> {
    /// The row.
    pub row: Row<'a>,
    /// Its columns.
    pub columns: &'a Columns,
    /// Line of a repeated header directly before it.
    pub header_again: Option<usize>,
    /// What a comment before it says about the readings, with its line.
    pub readings: Option<(usize, String)>,
}

impl<R: BufRead> Table<R> {
    /// Reads the header of a file that messages call `file`; `time` is the index of the time column
    /// in the schema.
    ///
    /// # Errors
    /// If reading fails or there is no header.
    pub fn open(
        file: &str,
        input: R,
        dialect: Dialect,
        schema: &Schema,
        names: &ColumnNames,
        time: usize,
        told: &mut Told,
    ) -> Result<Table<R>, Error> {
        let mut rows = RowReader::new(file, input, dialect);
        let first = rows.header()?;
        let columns = Columns::find(&first, schema, names, told);
        let first_line = first.line;
        let waiting = columns.header_count().is_none();
        let usual = Dialect::default();
        if dialect != usual {
            told.taken.whole(TakenKind::Dialect, || {
                let ends = if dialect.returns {
                    ", lines ended by carriage returns"
                } else {
                    ""
                };
                format!("cells separated by {}{ends}", dialect.delimiters())
            });
        }
        for (line, title) in rows.titles() {
            told.taken.at(TakenKind::Titles, *line, || {
                format!("above the header skipped: {}", crate::text::quoted(title))
            });
        }
        // A repeated header need not have more columns than the first one had.
        let mut schema = schema.clone();
        let missing = columns.missing(&schema);
        schema.required.retain(|k| !missing.contains(k));
        Ok(Table {
            rows,
            columns,
            schema,
            names: names.clone(),
            time,
            waiting,
            first_line,
        })
    }

    /// The reader of its rows.
    pub fn rows(&self) -> &RowReader<R> {
        &self.rows
    }
    /// The reader of its rows, mutable.
    pub fn rows_mut(&mut self) -> &mut RowReader<R> {
        &mut self.rows
    }
    /// Its columns.
    pub fn columns(&self) -> &Columns {
        &self.columns
    }
    /// Line of its first row, which is the header if it has one.
    pub fn first_line(&self) -> usize {
        self.first_line
    }
    /// What the latest comment says about the readings, with its line; returned only once.
    pub fn take_readings(&mut self) -> Option<(usize, String)> {
        self.rows.take_readings()
    }

    /// Returns the next row of data. Blank rows are skipped and counted, a repeated header takes
    /// effect, and rows that do not fit the header are reported and skipped.
    ///
    /// # Errors
    /// If reading fails.
    pub fn next(&mut self, told: &mut Told) -> Result<Option<Line<'_>>, Error> {
        let mut header_again = None;
        loop {
            if !std::mem::take(&mut self.waiting) {
                if self.rows.next(&mut told.problems)?.is_none() {
                    return Ok(None);
                }
            } else {
                self.rows.count_first();
            }
            let row = self.rows.row();
            if self.is_header(&row) {
                let again = Columns::find(&row, &self.schema, &self.names, &mut Told::default());
                if again.missing(&self.schema).is_empty() {
                    header_again = Some(row.line);
                    let count = row.count();
                    self.columns = again;
                    self.rows.expect(count);
                    self.rows.uncount();
                    continue;
                }
            }
            let expected = self.columns.header_count();
            if let Some(expected) = expected.filter(|n| !self.fits(&row, *n)) {
                told.problems.push(row.miscounted(expected));
                continue;
            }
            break;
        }
        let readings = self.rows.take_readings();
        Ok(Some(Line {
            row: self.rows.row(),
            columns: &self.columns,
            header_again,
            readings,
        }))
    }

    /// Whether a row may be a header: its time cell does not hold a time.
    fn is_header(&self, row: &Row<'_>) -> bool {
        if self.columns.header_count().is_none() {
            return false;
        }
        let begins = |text: &str| text.starts_with(|c: char| c.is_alphabetic() || c == '"');
        self.columns.repeats_header(row, self.time)
            || (row.count() > 1
                && begins(&self.columns.cell(row, self.time).text)
                && !columns::is_values(row))
    }

    /// Whether a row has the header's fields. Trailing tabs are easily lost, so optional columns
    /// may be missing at the end of a row.
    fn fits(&self, row: &Row<'_>, expected: usize) -> bool {
        let optional = || {
            let required = self.schema.required.iter();
            let mut fields = required.filter_map(|k| self.columns.field_of(*k));
            fields.all(|field| field < row.fields())
        };
        row.count() <= expected
            && (row.fields() >= expected || (self.rows.dialect().delimiter == '\t' && optional()))
    }
}

/// Whether a text is a number or a time, and so not a column name.
fn is_value(text: &str) -> bool {
    let text = text.trim();
    let pointed = text.replace(',', ".");
    pointed.parse::<f64>().is_ok_and(f64::is_finite) || WrittenTime::parse(text).is_ok()
}
