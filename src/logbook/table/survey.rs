//! A first pass over a file before its rows are read: which content is ambiguous, what resolves it,
//! and what must be asked, all at once.

use super::super::cell::is_bare_compass_point;
use super::super::log_options::CompassMeaning;
use super::super::log_options::LogOptions;
use super::asked::Questions;
use super::columns::{Columns, Schema, is_values};
use super::dialect::Dialect;
use super::rows::{Row, RowReader};
use super::suggest::{CellSample, Suggestion, suggest};
use super::{
    Told,
    decided::{Decided, OrderFrom},
};
use crate::mount::AxisKind;
use std::io::BufRead;

use crate::problem::{Error, Problem, Problems, Wrong};
use crate::station::Station;
use crate::text::quoted;
use crate::time::{DateOrder, WrittenTime, WrittenZone};

/// The kind of file to survey.
pub struct Request<'a> {
    pub file: &'a str,
    pub schema: &'a Schema,
    /// Indices of the columns of times, emitters and approaches in the schema; those of approaches
    /// with their axes.
    pub time: usize,
    pub emitter: Option<usize>,
    pub approaches: Vec<(usize, AxisKind)>,
    pub station: &'a Station,
    pub options: &'a LogOptions,
    /// Required columns that an option can replace, all together, with the option.
    pub or_else: Option<(Vec<usize>, &'static str)>,
}

/// Result of the survey.
pub struct Survey {
    pub dialect: Dialect,
    pub decided: Decided,
    /// What must be asked before the file can be read.
    pub asked: Questions,
    /// Whether the columns are known without asking.
    pub columns_known: bool,
    /// Whether reading more of the file might determine the order of its dates.
    pub order_open: bool,
}

/// Number of rows from which the meaning of each column is found; more would add nothing.
const SAMPLE_ROWS: usize = 60;

/// Surveys the rows of `input`, which is a file that begins with `head`, or a part of it.
///
/// # Errors
/// If the file is not a table at all, or contradicts itself.
pub fn survey(request: &Request<'_>, head: &[u8], input: impl BufRead) -> Result<Survey, Error> {
    let dialect = Dialect::of(head);
    let mut told = Told::default();
    let mut rows = RowReader::new(request.file, input, dialect);
    let first = rows.header()?;
    let headerless = is_values(&first);
    let names = &request.options.columns;
    let columns = Columns::find(&first, request.schema, names, &mut told);
    let mut missing = columns.missing(request.schema);
    let one_of = &request.schema.one_of;
    let no_choice = !one_of.is_empty() && !one_of.iter().any(|k| columns.has(*k));
    let header_line = first.line;
    let mut look = Look {
        request,
        columns,
        found: Found::default(),
    };
    let mut asked = Questions::default();
    if !missing.is_empty() || no_choice {
        let header = Header::of(&first);
        let sample = sample_rows(request.file, head, dialect, headerless)?;
        let mut suggestion = look.suggestion(&header, &sample, &missing, headerless);
        if no_choice {
            // The first of them represents all.
            missing.push(one_of[0]);
            if !suggestion.names_one_of(one_of, request.schema) {
                suggestion.open.push(one_of[0]);
            }
        }
        look.ask_columns(&header, &suggestion, &missing, &mut asked);
        let mut with = names.clone();
        with.extend(suggestion.names);
        look.columns = Columns::find(&first, request.schema, &with, &mut Told::default());
    }
    if headerless {
        look.see(&first);
    }
    let mut problems = Problems::new();
    while let Some(row) = rows.next(&mut problems)? {
        look.see(&row);
    }
    look.ask_emitter(header_line, &mut asked);
    let decided = look.decide(&mut asked)?;
    let columns_known = !asked.has("--columns");
    Ok(Survey {
        dialect,
        order_open: look.found.is_order_open(request.options),
        decided,
        asked,
        columns_known,
    })
}

fn sample_rows(
    file: &str,
    head: &[u8],
    dialect: Dialect,
    headerless: bool,
) -> Result<Vec<Vec<String>>, Error> {
    let texts = |row: &Row<'_>| row.texts().map(str::to_owned).collect::<Vec<_>>();
    let mut rows = RowReader::new(file, head, dialect);
    let mut sample = Vec::new();
    let first = rows.header()?;
    if headerless {
        sample.push(texts(&first));
    }
    let mut problems = Problems::new();
    while sample.len() < SAMPLE_ROWS
        && let Some(row) = rows.next(&mut problems)?
    {
        sample.push(texts(&row));
    }
    Ok(sample)
}

/// The stored first row.
struct Header {
    line: usize,
    /// Its fields, or their numbers in a file without a header.
    names: Vec<String>,
    /// Whether the file has no header.
    is_values: bool,
}

impl Header {
    fn of(first: &Row<'_>) -> Header {
        let count = first.count();
        let is_values = is_values(first);
        Header {
            line: first.line,
            is_values,
            names: if is_values {
                (1..=count).map(|i| i.to_string()).collect()
            } else {
                (0..count)
                    .map(|i| first.text(i).trim().to_owned())
                    .collect()
            },
        }
    }
}

/// The survey with its findings so far.
struct Look<'a> {
    request: &'a Request<'a>,
    columns: Columns,
    found: Found,
}

/// Where something was first found.
#[derive(Clone, Debug)]
struct FirstSeen {
    line: usize,
    column: usize,
    text: String,
}

/// What was found in the cells of a file.
#[derive(Default)]
struct Found {
    /// The first date whose order must be known.
    open: Option<(FirstSeen, WrittenTime)>,
    /// For each order, the first date that is invalid in it.
    excluded: [Option<FirstSeen>; 3],
    /// The first time without a zone.
    no_zone: Option<FirstSeen>,
    /// The first time with each zone abbreviation.
    named_zones: Vec<(FirstSeen, String)>,
    points: bool,
    /// The first ambiguous compass point.
    compass: Option<FirstSeen>,
}

impl Found {
    fn orders(&self) -> Vec<DateOrder> {
        (DateOrder::ALL.into_iter().zip(&self.excluded))
            .filter_map(|(order, excluded)| excluded.is_none().then_some(order))
            .collect()
    }
    fn is_order_open(&self, options: &LogOptions) -> bool {
        self.open.is_some() && options.dates.is_none() && self.orders().len() > 1
    }
}

impl Look<'_> {
    fn suggestion(
        &self,
        header: &Header,
        rows: &[Vec<String>],
        missing: &[usize],
        headerless: bool,
    ) -> Suggestion {
        let schema = self.request.schema;
        let used: Vec<usize> = (0..header.names.len())
            .filter(|i| self.columns.uses(*i))
            .collect();
        // First the required columns, then the optional ones.
        let optional = (0..schema.known.len())
            .filter(|k| !schema.required.contains(k) && !self.columns.has(*k));
        let wanted: Vec<usize> = missing.iter().copied().chain(optional).collect();
        let sample = CellSample {
            header: &header.names,
            headerless,
            rows,
            used: &used,
        };
        let mut found = suggest(&sample, schema, &wanted, self.request.station);
        let suggested: Vec<&str> = found.names.iter().map(|(column, _)| column).collect();
        let instead = |k: usize| {
            let mut others = schema
                .instead
                .iter()
                .filter(move |(required, _)| *required == k);
            others.any(|(_, other)| suggested.contains(&schema.known[*other]))
        };
        let open: Vec<usize> = (found.open.iter().copied())
            .filter(|k| missing.contains(k) && !instead(*k))
            .collect();
        found.open = open;
        found
    }

    /// Asks for the required columns, with those that seem to be meant.
    fn ask_columns(
        &self,
        header: &Header,
        suggestion: &Suggestion,
        missing: &[usize],
        asked: &mut Questions,
    ) {
        let request = self.request;
        let schema = request.schema;
        let known = |k: &usize| schema.known[*k];
        let open = |k: usize| suggestion.open.contains(&k);
        // What an option can supply is asked for separately: the emitter of all rows, angles.
        let otherwise = |k: &usize| {
            open(*k) && (request.emitter == Some(*k) || self.is_given_otherwise(*k, suggestion))
        };
        if let Some((columns, option)) = &request.or_else
            && columns.iter().any(|k| missing.contains(k) && otherwise(k))
        {
            let names: Vec<&str> = columns.iter().map(known).collect();
            let wrong = Wrong::new(
                format!("the header has no column {}", names.join(" and no ")),
                format!("these, or {option} that has them by time_utc"),
            );
            asked.push((*option).to_owned(), wrong.at(request.file, header.line, 1));
        }
        let missing: Vec<usize> = missing.iter().copied().filter(|k| !otherwise(k)).collect();
        if missing.is_empty() {
            return;
        }
        let power = |k: &usize| schema.one_of.contains(k);
        let choice: Vec<&str> = schema.one_of.iter().map(known).collect();
        let names: Vec<&str> = missing.iter().filter(|k| !power(k)).map(known).collect();
        let required: Vec<&str> = schema.required.iter().map(known).collect();
        let wrong = if header.is_values {
            Wrong::new(
                "the first line holds values, not names",
                "a header line that names the columns",
            )
        } else if names.is_empty() {
            Wrong::new(
                "no column of power",
                format!("exactly one of {}", choice.join(", ")),
            )
        } else {
            Wrong::new(
                format!("the header has no column {}", names.join(" and no ")),
                format!("the columns {}", required.join(", ")),
            )
        };
        let remedy = self.columns_remedy(header, suggestion, &missing, &required);
        let mut option = suggestion.names.to_option();
        for column in suggestion
            .open
            .iter()
            .filter(|k| missing.contains(k))
            .map(known)
        {
            let comma = if option.is_empty() { "" } else { "," };
            option.push_str(&format!("{comma}{column}=HEADER"));
        }
        let problem = wrong.mend(remedy).at(request.file, header.line, 1);
        asked.push(format!("--columns {option}"), problem);
        let whole = missing.iter().all(|k| !open(*k)) && !suggestion.names.is_empty();
        let choices = whole.then(|| (format!("these: {option}"), option));
        asked.choices("columns", choices.into_iter().collect());
    }

    /// Whether all the columns that an option can replace are open.
    fn is_given_otherwise(&self, column: usize, suggestion: &Suggestion) -> bool {
        let Some((columns, _)) = &self.request.or_else else {
            return false;
        };
        columns.contains(&column) && columns.iter().all(|k| suggestion.open.contains(k))
    }

    /// What to do about missing columns.
    fn columns_remedy(
        &self,
        header: &Header,
        suggestion: &Suggestion,
        missing: &[usize],
        required: &[&str],
    ) -> String {
        let known = self.request.schema.known;
        let mut remedy = Vec::new();
        for (column, wanted) in self.columns.unmatched() {
            if missing.iter().any(|k| known[*k] == column) {
                remedy.push(format!(
                    "--columns says {} for {column}, which is not a header here",
                    quoted(wanted)
                ));
            }
        }
        if !suggestion.names.is_empty() {
            remedy.push(format!(
                "if these are meant, add --columns {}",
                suggestion.names.to_option()
            ));
        }
        for (column, rival) in &suggestion.rivals {
            remedy.push(format!("{} may be {column} as well", quoted(rival)));
        }
        let open: Vec<&str> = (suggestion.open.iter())
            .filter(|k| missing.contains(k))
            .map(|k| known[*k])
            .collect();
        if let Some(first) = open.first() {
            remedy.push(format!(
                "say which header is {}: --columns {first}=HEADER",
                open.join(" and which ")
            ));
        }
        if header.is_values {
            remedy.push(format!("or put above it: {}", required.join(",")));
        }
        remedy.join("; ")
    }

    fn ask_emitter(&self, header_line: usize, asked: &mut Questions) {
        let request = self.request;
        if request
            .emitter
            .is_some_and(|column| !self.columns.has(column))
        {
            let said = request.options.emitter.is_some();
            asked.emitter(request.file, header_line, said, request.station);
        }
    }

    /// Examines a row.
    fn see(&mut self, row: &Row<'_>) {
        if self.columns.has(self.request.time) {
            self.see_time(row);
        }
        if !self.found.points {
            let is_point = |text: &str| text.contains('.') && text.parse::<f64>().is_ok();
            self.found.points = (0..self.request.schema.known.len())
                .filter(|k| *k != self.request.time && self.columns.has(*k))
                .any(|k| is_point(self.columns.cell(row, k).text.trim()));
        }
        if self.found.compass.is_none() {
            for (k, axis) in &self.request.approaches {
                let cell = self.columns.cell(row, *k);
                if is_bare_compass_point(&cell.text, *axis) {
                    let at = cell.problem(Wrong::default());
                    self.found.compass = Some(FirstSeen::of(&at, &cell.text));
                }
            }
        }
    }

    fn see_time(&mut self, row: &Row<'_>) {
        let cell = self.columns.cell(row, self.request.time);
        let text = cell.text.trim();
        // The documented form.
        if text.is_empty() || (text.ends_with('Z') && text.as_bytes().get(4) == Some(&b'-')) {
            return;
        }
        let Ok(written) = WrittenTime::parse(text) else {
            return;
        };
        let place = || FirstSeen::of(&cell.problem(Wrong::default()), text);
        match &written.zone {
            WrittenZone::Offset(_) => {}
            WrittenZone::Missing => {
                self.found.no_zone.get_or_insert_with(place);
            }
            WrittenZone::Named(letters) => {
                if self.found.named_zones.iter().all(|(_, l)| l != letters) {
                    self.found.named_zones.push((place(), letters.clone()));
                }
            }
        }
        if written.is_open() {
            let possible: Vec<DateOrder> = written.orders().collect();
            for (order, excluded) in DateOrder::ALL.into_iter().zip(&mut self.found.excluded) {
                if excluded.is_none() && !possible.contains(&order) {
                    *excluded = Some(place());
                }
            }
            let open = &mut self.found.open;
            // Show an ambiguous date as the example.
            let better = open.as_ref().is_none_or(|(_, w)| w.orders().count() == 1);
            if better && (open.is_none() || possible.len() > 1) {
                *open = Some((place(), written));
            }
        }
    }

    /// Returns what is decided, and adds what else must be asked.
    fn decide(&self, asked: &mut Questions) -> Result<Decided, Error> {
        let options = self.request.options;
        self.ask_zone(asked);
        let mut decided = Decided {
            offset: options.zone,
            order: options.dates,
            order_from: OrderFrom::Option,
            points: self.found.points,
            compass: options.approach,
        };
        if let Some((place, written)) = &self.found.open
            && options.dates.is_none()
        {
            match self.found.orders()[..] {
                [] => {
                    if let Some(problem) = self.two_orders() {
                        return Err(problem.into());
                    }
                }
                [one] => {
                    decided.order = Some(one);
                    // The date that excluded the last other order is the evidence.
                    let last = self.found.excluded.iter().flatten().max_by_key(|p| p.line);
                    decided.order_from = OrderFrom::Row(
                        last.map_or(place.line, |p| p.line),
                        last.map_or(String::new(), |p| p.text.clone()),
                    );
                }
                _ => {
                    let at = (place.line, place.column);
                    asked.dates(self.request.file, at, &place.text, written);
                    decided.order = written.orders().next();
                }
            }
        }
        if let Some(place) = &self.found.compass
            && options.approach.is_none()
        {
            let wrong = Wrong::new(
                format!("{} may be where the axis came from or where it went", quoted(&place.text)),
                "\"from\" or \"toward\" before it, or --approach",
            )
            .mend("add --approach from when compass points say where the axis came from, --approach toward when they say where it went");
            asked.push(
                "--approach from".to_owned(),
                place.problem(self.request.file, wrong),
            );
            let side =
                |value: &str, words: &str| (format!("where the axis {words}"), value.to_owned());
            asked.choices(
                "approach",
                vec![side("from", "came from"), side("toward", "went")],
            );
            decided.compass = Some(CompassMeaning::From);
        }
        // An assumed zone, so that the rows can be examined anyway.
        if asked.has("--zone") {
            decided.offset = Some(crate::time::ZoneOffset::ZERO);
        }
        Ok(decided)
    }

    fn ask_zone(&self, asked: &mut Questions) {
        let found = &self.found;
        let request = self.request;
        let named =
            (found.named_zones.first()).map(|(place, l)| (place, WrittenZone::Named(l.clone())));
        let first = (found.no_zone.as_ref())
            .map(|place| (place, WrittenZone::Missing))
            .or(named);
        if let Some((place, zone)) = first {
            let at = (place.line, place.column);
            let said = request.options.zone;
            asked.zone(request.file, at, &place.text, &zone, said, request.station);
        }
        if let [(_, first), (place, second), ..] = &found.named_zones[..] {
            let wrong = Wrong::new(
                format!(
                    "{}: {second}, after {first} further up",
                    quoted(&place.text)
                ),
                "one zone in a file, since --zone gives one offset",
            );
            asked.fault(place.problem(
                request.file,
                wrong.mend("write the offsets in place of the letters"),
            ));
        }
    }

    /// Reports dates that cannot all be in the same order: one that is not day first, and one that
    /// is not month first.
    fn two_orders(&self) -> Option<Problem> {
        let [day_first, month_first, _] = &self.found.excluded;
        let (a, b) = (day_first.as_ref()?, month_first.as_ref()?);
        let (first, other) = if a.line < b.line { (a, b) } else { (b, a) };
        let wrong = Wrong::new(
            format!(
                "{} cannot be written the same way as {} in line {}",
                quoted(&other.text),
                quoted(&first.text),
                first.line
            ),
            "day and month in the same order in all dates of a file",
        )
        .mend("write the dates as year-month-day");
        Some(other.problem(self.request.file, wrong))
    }
}

impl FirstSeen {
    fn of(at: &Problem, text: &str) -> FirstSeen {
        FirstSeen {
            line: at.line.unwrap_or(0),
            column: at.column.unwrap_or(0),
            text: text.to_owned(),
        }
    }
    fn problem(&self, file: &str, wrong: Wrong) -> Problem {
        wrong.at(file, self.line, self.column)
    }
}
