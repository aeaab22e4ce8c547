//! Examines the beginning of a log of samples or sweeps: its format, and what must be asked.

use std::io::{BufRead, Cursor, Read};
use std::path::Path;

use super::axes::{Axes, reading_of};
use super::axis_reading::AxisReadings;
use super::plain_row::{Field, Form};
use super::scan::PowerUnit;
use super::scan_columns::{
    DECIBELS, EMITTER, FIRST, LINEAR, PLACES, POWERS, SCAN, SECOND, TIME, columns_of,
};
use super::scan_options::ScanOptions;
use super::scan_source::{Samples, Source};
use super::sweeps::{self, Sweeps};
use super::table::{Dialect, Questions, Request, Schema, Survey, Table, TakenKind, Told, survey};
use crate::files;
use crate::problem::{Error, Problems, Wrong};
use crate::quantity::Quantity;
use crate::station::Station;
use crate::text::quoted;
use crate::time::{Utc, WrittenZone, ZoneOffset};

/// Number of times at the beginning of a log used to find its usual step: a median of hundreds is
/// not affected by a few pauses.
const MOST_TIMES: usize = 400;

/// Examines the beginning of a table of samples; returns the table and the times of its first rows.
pub(super) fn begin_table<R: BufRead>(
    file: &str,
    head: Vec<u8>,
    input: R,
    station: &Station,
    options: &ScanOptions,
    again: Option<&Path>,
    told: &mut Told,
) -> Result<(Source<R>, Vec<Utc>), Error> {
    let axes = Axes::of(station);
    let readings = AxisReadings::new(station, axes, PLACES);
    let schema = schema_of(axes, &readings, options);
    let request = Request {
        file,
        schema: &schema,
        time: TIME,
        emitter: Some(EMITTER),
        approaches: Vec::new(),
        station,
        options: &options.log,
        or_else: Some((vec![FIRST, SECOND], "--angles FILE")),
    };
    let lines = complete_lines(&head);
    let mut found = survey(&request, &head, lines)?;
    if let (true, Some(path)) = (found.order_open, again) {
        found = survey(&request, &head, files::open(path)?.1)?;
    }
    with_angles(std::mem::take(&mut found.asked), options)
        .problems()
        .or_value(())?;
    let names = &options.log.columns;
    let times = first_times(file, lines, &found, &schema, options);
    let whole = Cursor::new(head).chain(input);
    let table = Table::open(file, whole, found.dialect, &schema, names, TIME, told)?;
    let columns = table.columns();
    let powers: Vec<_> = POWERS.iter().filter(|(c, _)| columns.has(*c)).collect();
    let power = match powers[..] {
        [one] => *one,
        // A missing power column has already been asked for.
        _ => {
            let names: Vec<&str> = powers.iter().map(|(c, _)| schema.known[*c]).collect();
            let wrong = Wrong::new(
                format!("the columns {} together", names.join(" and ")),
                "exactly one of power_db, power_linear and counts",
            )
            .mend("rename a column you want to keep so that it begins with x_");
            told.problems.push(wrong.at(file, table.first_line(), 1));
            POWERS[0]
        }
    };
    if let Some(wrong) = readings.without_sensor(columns) {
        told.problems.push(wrong.at(file, table.first_line(), 1));
    }
    if let (Some(angles), true) = (&options.angles, readings.has_both(columns)) {
        let wrong = Wrong::new(
            "this log has its own columns of angles",
            format!("none beside those of {}", angles.file),
        )
        .mend("leave --angles out, or rename the columns so that they begin with x_");
        told.problems.push(wrong.at(file, table.first_line(), 1));
    }
    check_names(&table, file, &schema, options, told);
    let form = match readings.has_sensor(columns) {
        true => None,
        false => form_of(&table, axes, power),
    };
    Ok((
        Source::Table(Box::new(Samples {
            table,
            decided: found.decided,
            axes: readings,
            power,
            form,
            date: None,
            emitter_text: None,
        })),
        times,
    ))
}

/// Combines the questions of the log and of its file of angles.
fn with_angles(mut asked: Questions, options: &ScanOptions) -> Questions {
    if let Some(angles) = &options.angles {
        asked.extend(angles.asked.clone());
    }
    asked
}

fn schema_of(axes: Axes, readings: &AxisReadings, options: &ScanOptions) -> Schema {
    let mut required = vec![TIME];
    if options.log.emitter.is_none() {
        required.push(EMITTER);
    }
    if options.angles.is_none() {
        required.extend(readings.required_columns());
    }
    Schema {
        known: columns_of(axes),
        required,
        instead: readings.instead(),
        one_of: POWERS.map(|(column, _)| column).to_vec(),
    }
}

/// Lines at the beginning of a file, without the last if it may be truncated.
fn complete_lines(head: &[u8]) -> &[u8] {
    let end = if Dialect::of(head).returns {
        b'\r'
    } else {
        b'\n'
    };
    let last = head.iter().rposition(|b| *b == end);
    last.map_or(head, |last| &head[..=last])
}

/// Reports headers named by an option that are neither here nor in the file of angles.
fn check_names<R: BufRead>(
    table: &Table<R>,
    file: &str,
    schema: &Schema,
    options: &ScanOptions,
    told: &mut Told,
) {
    for (column, header) in table.columns().unmatched() {
        let pair = (column.clone(), header.clone());
        if options
            .angles
            .as_ref()
            .is_some_and(|a| !a.unmatched.contains(&pair))
        {
            continue;
        }
        let wrong = if schema.known.contains(&column.as_str()) {
            Wrong::new(
                format!(
                    "--columns says that {} is {column}, but no header is that",
                    quoted(header)
                ),
                "a header of this file, as it is written there",
            )
        } else {
            Wrong::new(
                format!("--columns names {column}, which a log of scans does not have"),
                format!("one of {}", schema.known.join(", ")),
            )
        };
        told.problems.push(wrong.of_file(file));
    }
}

/// Layout of the plain rows of a table; `None` if the table cannot be read by the fast path.
fn form_of<R: BufRead>(table: &Table<R>, axes: Axes, power: (usize, PowerUnit)) -> Option<Form> {
    let columns = table.columns();
    let dialect = table.rows().dialect();
    let count = columns.header_count()?;
    let needed = [TIME, FIRST, SECOND, power.0];
    if dialect.returns || needed.iter().any(|c| columns.field_of(*c).is_none()) {
        return None;
    }
    let field = |i: usize| match (0..=power.0).find(|c| columns.field_of(*c) == Some(i)) {
        Some(SCAN) => Field::Scan,
        Some(TIME) => Field::Time,
        Some(EMITTER) => Field::Emitter,
        Some(FIRST) => Field::Azimuth,
        Some(SECOND) => Field::Elevation,
        Some(_) => Field::Power,
        None => Field::Own,
    };
    let limits = |q: Quantity| (q.low, q.high);
    let [first, second] = axes.kinds();
    Some(Form {
        fields: (0..count).map(field).collect(),
        delimiter: dialect.delimiter as u8,
        unit: power.1,
        azimuth: limits(reading_of(first)),
        elevation: limits(reading_of(second)),
        power: limits(match power.1 {
            PowerUnit::Decibels => DECIBELS,
            PowerUnit::Linear | PowerUnit::Counts => LINEAR,
        }),
    })
}

/// Times of the first rows of a table.
fn first_times(
    file: &str,
    lines: &[u8],
    found: &Survey,
    schema: &Schema,
    options: &ScanOptions,
) -> Vec<Utc> {
    let mut told = Told::default();
    let mut times = Vec::new();
    let names = &options.log.columns;
    let Ok(mut table) = Table::open(file, lines, found.dialect, schema, names, TIME, &mut told)
    else {
        return times;
    };
    while times.len() < MOST_TIMES
        && let Ok(Some(line)) = table.next(&mut told)
    {
        times.extend(
            line.columns
                .cell(&line.row, TIME)
                .time(&found.decided, &mut told),
        );
    }
    times
}

/// Examines the beginning of a log of sweeps.
pub(super) fn begin_sweeps<R: BufRead>(
    file: &str,
    head: Vec<u8>,
    input: R,
    beginning: &sweeps::Beginning,
    station: &Station,
    options: &ScanOptions,
    told: &mut Told,
) -> Result<Source<R>, Error> {
    let asked = ask_of_sweeps(file, beginning, station, options);
    with_angles(asked, options).problems().or_value(())?;
    let band = options.band.unwrap_or(beginning.span);
    if beginning.covers_hz(&band) <= 0.0 {
        let wrong = Wrong::new(
            format!(
                "its sweeps run over {}, the requested band over {band}",
                beginning.span
            ),
            "a --band within the sweeps",
        );
        return Err(wrong.of_file(file).into());
    }
    told.taken.whole(TakenKind::Sweeps, || match options.band {
        Some(_) => format!(
            "a log of sweeps over {}, summed over {band}",
            beginning.span
        ),
        None => format!("a log of sweeps, summed over all of {band} (--band takes a part)"),
    });
    if beginning.first.zone == WrittenZone::Missing
        && let Some(zone) = options.log.zone
    {
        told.taken.whole(TakenKind::Zone, || {
            format!("times without a zone at {zone}, as --zone says")
        });
    }
    let station_hz = station.dish.frequency_mhz * 1e6;
    if !band.holds(station_hz) {
        told.taken.whole(TakenKind::StationFrequency, || {
            format!(
                "the station's {} MHz lies outside the band of {band}",
                station.dish.frequency_mhz
            )
        });
    }
    let whole = Cursor::new(head).chain(input);
    let (zone, dates) = (options.log.zone, options.log.dates);
    let sweeps = Sweeps::new(file, whole, beginning, band, zone, dates);
    Ok(Source::Sweeps(Box::new(sweeps)))
}

/// Collects what must be asked before a log of sweeps can be read.
fn ask_of_sweeps(
    file: &str,
    beginning: &sweeps::Beginning,
    station: &Station,
    options: &ScanOptions,
) -> Questions {
    let mut asked = Questions::default();
    let (line, text) = (beginning.first_line, &beginning.first_text);
    let log = &options.log;
    asked.zone(
        file,
        (line, 1),
        text,
        &beginning.first.zone,
        log.zone,
        station,
    );
    if beginning.first.is_open() && log.dates.is_none() {
        asked.dates(file, (line, 1), text, &beginning.first);
    }
    asked.emitter(file, line, log.emitter.is_some(), station);
    if options.angles.is_none() {
        let wrong = Wrong::new(
            "a log of sweeps does not say where the mount stood",
            "--angles with a file of time_utc, azimuth_deg and elevation_deg",
        );
        asked.push("--angles FILE".to_owned(), wrong.at(file, line, 1));
    }
    asked
}

/// Times of the first sweeps.
pub(super) fn first_sweeps(
    file: &str,
    head: &[u8],
    beginning: &sweeps::Beginning,
    options: &ScanOptions,
) -> Vec<Utc> {
    let band = options.band.unwrap_or(beginning.span);
    let zone = Some(options.log.zone.unwrap_or(ZoneOffset::ZERO));
    let lines = complete_lines(head);
    let mut sweeps = Sweeps::new(file, lines, beginning, band, zone, options.log.dates);
    let mut problems = Problems::new();
    let mut times = Vec::new();
    while times.len() < MOST_TIMES
        && let Ok(Some(sweep)) = sweeps.next(&mut problems)
    {
        times.push(sweep.time);
    }
    times
}
