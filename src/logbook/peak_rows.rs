//! The peak in a row of a log.

use super::axes::{Axes, reading_of};
use super::cell::Unit;
use super::emitter_names::{check_emitter, emitter, find_emitter, one_emitter};
use super::log_options::LogOptions;
use super::peak::Peak;
use super::peaks_csv::{
    EMITTER, FIRST, FIRST_APPROACH, FIRST_BY_LAG, FIRST_IN_HOURS, FIRST_SIGMA, NOTE, PEAK_DB,
    SECOND, SECOND_APPROACH, SECOND_BY_LAG, SECOND_SIGMA, TEMPERATURE, TIME, USE, columns_of,
};
use super::table::{Columns, Decided, Request, Row, Schema, Survey, Told, survey};
use crate::problem::Error;
use crate::quantity::Quantity;
use crate::station::Station;
use crate::station::limits::{DECIBELS, PART_TEMPERATURE};
use crate::text::from_cell;

/// A standard deviation; the smallest number above zero stands for "above zero".
const SIGMA: Quantity = Quantity::new(
    f64::MIN_POSITIVE,
    90.0,
    "one standard deviation in degrees, above 0 and at most 90",
)
.hint(|value| (value <= 0.0).then(|| "leave it empty if it is not known".to_owned()));
/// What one standard deviation of the lag moves a reading by.
const BY_LAG: Quantity = Quantity::new(-90.0, 90.0, "degrees from -90 to 90");
/// What may stand in a row of sums or means below a log, in several languages.
const TOTALS: [&str; 18] = [
    "total",
    "totals",
    "totale",
    "totaal",
    "sum",
    "summe",
    "suma",
    "somme",
    "soma",
    "gesamt",
    "mean",
    "average",
    "mittel",
    "mittelwert",
    "moyenne",
    "media",
    "promedio",
    "gemiddelde",
];

/// How logs are read.
pub(super) struct Reading<'a> {
    pub station: &'a Station,
    pub options: &'a LogOptions,
    pub axes: Axes,
    pub schema: Schema,
    /// What the readings of the two axes may be.
    pub quantities: [Quantity; 2],
}

impl<'a> Reading<'a> {
    pub fn new(station: &'a Station, options: &'a LogOptions) -> Reading<'a> {
        Reading::of_axes(station, options, Axes::of(station))
    }

    pub fn of_axes(station: &'a Station, options: &'a LogOptions, axes: Axes) -> Reading<'a> {
        Reading {
            station,
            options,
            axes,
            schema: Schema {
                known: columns_of(axes),
                required: vec![TIME, EMITTER, FIRST, SECOND],
                instead: match axes {
                    Axes::HourAngleDeclination => vec![(FIRST, FIRST_IN_HOURS)],
                    Axes::AzimuthElevation | Axes::Xy => Vec::new(),
                },
                one_of: Vec::new(),
            },
            quantities: axes.kinds().map(reading_of),
        }
    }
}

impl Reading<'_> {
    /// Whether the station has the emitter that an option names.
    pub fn check_options(&self) -> Result<(), Error> {
        check_emitter(self.station, self.options)
    }

    pub fn survey(&self, file: &str, bytes: &[u8]) -> Result<Survey, Error> {
        let [first, second] = self.axes.kinds();
        let request = Request {
            file,
            schema: &self.schema,
            time: TIME,
            emitter: Some(EMITTER),
            approaches: vec![(FIRST_APPROACH, first), (SECOND_APPROACH, second)],
            station: self.station,
            options: self.options,
            or_else: None,
        };
        survey(&request, bytes, bytes)
    }
}

impl Reading<'_> {
    /// Whether a row has neither time nor emitter: a total, a mean, a remark.
    pub fn is_total(&self, row: &Row<'_>, columns: &Columns) -> bool {
        let (time, emitter) = (columns.cell(row, TIME), columns.cell(row, EMITTER));
        let no_digits = |text: &str| !text.contains(|c: char| c.is_ascii_digit());
        let no_time = no_digits(&time.text) || is_total_word(&time.text);
        if !columns.has(EMITTER) {
            return no_time && is_total_word(&time.text);
        }
        let known = || find_emitter(self.station, &emitter.text).is_some();
        no_time && (emitter.is_empty() || (is_total_word(&emitter.text) && !known()))
    }

    /// Whether the first reading stands in its column of hours.
    pub fn has_hours(&self, row: &Row<'_>, columns: &Columns) -> bool {
        self.axes == Axes::HourAngleDeclination && !columns.cell(row, FIRST_IN_HOURS).is_empty()
    }

    /// The peak in a row; none when something is wrong with it, which is told.
    pub fn peak(
        &self,
        row: &Row<'_>,
        columns: &Columns,
        decided: &Decided,
        told: &mut Told,
    ) -> Option<Peak> {
        let cell = |column| columns.cell(row, column);
        let before = told.problems.count();
        let time = cell(TIME).time(decided, told);
        let emitter = if columns.has(EMITTER) {
            emitter(&cell(EMITTER), row.line, self.station, told)
        } else {
            self.one_emitter(told)
        };
        let [first_axis, second_axis] = self.axes.kinds();
        let [first_degrees, second_degrees] = &self.quantities;
        let (first, unit) = if self.has_hours(row, columns) {
            (cell(FIRST_IN_HOURS), Unit::Hours)
        } else {
            (cell(FIRST), Unit::Degrees)
        };
        let first = first.reading(first_axis, unit, first_degrees, decided, told);
        let second =
            cell(SECOND).reading(second_axis, Unit::Degrees, second_degrees, decided, told);
        let peak = Peak {
            log: 0,
            row: row.number,
            line: row.line,
            time: time?,
            emitter: emitter?,
            azimuth: first,
            elevation: second,
            azimuth_sigma: cell(FIRST_SIGMA).angle(&SIGMA, decided, told),
            elevation_sigma: cell(SECOND_SIGMA).angle(&SIGMA, decided, told),
            by_lag: [FIRST_BY_LAG, SECOND_BY_LAG]
                .map(|column| cell(column).angle(&BY_LAG, decided, told)),
            azimuth_approach: cell(FIRST_APPROACH).approach(first_axis, first, decided, told),
            elevation_approach: cell(SECOND_APPROACH).approach(second_axis, second, decided, told),
            peak_db: cell(PEAK_DB).number(&DECIBELS, decided, told),
            temperature_c: cell(TEMPERATURE).number(&PART_TEMPERATURE, decided, told),
            use_it: cell(USE).yes(told),
            note: from_cell(&cell(NOTE).text).to_owned(),
            extra: Vec::new(),
        };
        (told.problems.count() == before).then_some(peak)
    }

    /// The emitter of all rows.
    fn one_emitter(&self, told: &mut Told) -> Option<String> {
        one_emitter(self.station, self.options, told)
    }
}

/// Whether the first word of a text is one for a sum or a mean.
fn is_total_word(text: &str) -> bool {
    let lower = text.to_lowercase();
    let mut words = lower
        .split(|c: char| !c.is_alphabetic())
        .filter(|w| !w.is_empty());
    words.next().is_some_and(|word| TOTALS.contains(&word))
}
