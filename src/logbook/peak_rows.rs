//! Reads the peak in a row of a log.

use super::axes::{Axes, reading_of};
use super::axis_reading::AxisReadings;
use super::cell::Cell;
use super::emitter_names::{check_emitter, emitter, find_emitter, one_emitter};
use super::log_options::LogOptions;
use super::peak::Peak;
use super::peaks_csv::{
    EMITTER, FEED, FIRST_APPROACH, FIRST_BY_LAG, FIRST_SIGMA, NOTE, PEAK_DB, PLACES,
    SECOND_APPROACH, SECOND_BY_LAG, SECOND_SIGMA, TEMPERATURE, TIME, USE, columns_of,
};
use super::table::{Columns, Decided, Request, Row, Schema, Survey, TakenKind, Told, survey};
use crate::angle::Angle;
use crate::problem::{Error, Wrong};
use crate::quantity::Quantity;
use crate::station::Station;
use crate::station::limits::{DECIBELS, PART_TEMPERATURE};
use crate::text::{from_cell, quoted};

/// A standard deviation; the lower limit is the smallest positive number, so that zero is excluded.
pub const SIGMA: Quantity = Quantity::new(
    f64::MIN_POSITIVE,
    90.0,
    "one standard deviation in degrees, above 0 and at most 90",
)
.hint(|value| (value <= 0.0).then(|| "leave it empty if it is not known".to_owned()));
/// Change of a reading for one standard deviation of the lag.
const BY_LAG: Quantity = Quantity::new(-90.0, 90.0, "degrees from -90 to 90");
/// Words that mark a row of sums or means below a log, in several languages.
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
pub(super) struct ReadingRules<'a> {
    pub station: &'a Station,
    pub options: &'a LogOptions,
    pub axes: Axes,
    pub readings: AxisReadings,
    pub schema: Schema,
    /// Permitted readings of the two axes.
    pub quantities: [Quantity; 2],
}

impl<'a> ReadingRules<'a> {
    pub fn new(station: &'a Station, options: &'a LogOptions) -> ReadingRules<'a> {
        ReadingRules::of_axes(station, options, Axes::of(station))
    }

    pub fn of_axes(station: &'a Station, options: &'a LogOptions, axes: Axes) -> ReadingRules<'a> {
        let readings = AxisReadings::new(station, axes, PLACES);
        ReadingRules {
            station,
            options,
            axes,
            schema: Schema {
                known: columns_of(axes),
                required: [vec![TIME, EMITTER], readings.required_columns()].concat(),
                instead: readings.instead(),
                one_of: Vec::new(),
            },
            readings,
            quantities: axes.kinds().map(reading_of),
        }
    }
}

impl ReadingRules<'_> {
    /// Checks that the station has the emitter named by an option.
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

impl ReadingRules<'_> {
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

    /// Second reading and both standard deviations of a peak on a mount whose second axis is bolted
    /// at `fixed`: a peak without a declination only shows that the emitter was within the beam.
    fn bolted(
        &self,
        fixed: Angle,
        second: Option<Angle>,
        sigmas: [Option<Angle>; 2],
        line: usize,
        told: &mut Told,
    ) -> (Option<Angle>, [Option<Angle>; 2]) {
        /// A peak centred by hand or by motor is accurate to this fraction of the beamwidth, one
        /// standard deviation (common practice, no source).
        const CENTRED: f64 = 1.0 / 20.0;
        /// Two standard deviations are the edge of the beam.
        const WITHIN: f64 = 1.0 / 4.0;
        let beamwidth = self.station.dish.beamwidth;
        let (centred, within) = (beamwidth * CENTRED, beamwidth * WITHIN);
        told.taken.at(TakenKind::OneMotor, line, || {
            format!(
                "one motor: what has no standard deviation is taken as good to {:.3} deg, and a peak \
                 without a declination as within the beam bolted at {:.2} deg, +/- {:.2} deg",
                centred.degrees(),
                fixed.degrees(),
                within.degrees()
            )
        });
        let along = if second.is_some() { centred } else { within };
        let sigmas = [sigmas[0].or(Some(centred)), sigmas[1].or(Some(along))];
        (second.or(Some(fixed)), sigmas)
    }

    /// Index of the feed named in a cell; the first if the cell is empty or the station has only
    /// one. `None` if there is no feed of that name, which is reported.
    fn feed(&self, cell: &Cell<'_>, line: usize, told: &mut Told) -> Option<usize> {
        let feeds = &self.station.feeds;
        if feeds.is_empty() {
            if !cell.is_empty() {
                told.taken.whole(TakenKind::Feeds, || {
                    "the column feed left out: the station file has no [[feed]]".to_owned()
                });
            }
            return Some(0);
        }
        if cell.is_empty() {
            told.taken.at(TakenKind::Feeds, line, || {
                format!("without a feed taken for the first, {}", feeds[0].name)
            });
            return Some(0);
        }
        let found = self.station.feed(from_cell(cell.text.trim()));
        if found.is_none() {
            let names: Vec<&str> = feeds.iter().map(|feed| feed.name.as_str()).collect();
            let wrong = Wrong::new(
                format!("no feed is called {}", quoted(cell.text.trim())),
                format!("one of {}", names.join(", ")),
            );
            told.problems.push(cell.problem(wrong));
        }
        found
    }

    /// Reads the peak in a row; `None` if something is wrong with it, which is reported.
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
        let line = (row, columns);
        let readings = &self.readings;
        let [first_degrees, second_degrees] = &self.quantities;
        let first = readings.read(0, first_degrees, line, decided, told);
        let second = readings.read(1, second_degrees, line, decided, told);
        let mut sigmas = [FIRST_SIGMA, SECOND_SIGMA].map(|c| cell(c).angle(&SIGMA, decided, told));
        let mut second = second;
        if let Some(fixed) = self.station.mount.fixed_declination {
            (second, sigmas) = self.bolted(fixed, second, sigmas, row.line, told);
        }
        let feed = self.feed(&cell(FEED), row.line, told);
        let peak = Peak {
            log: 0,
            row: row.number,
            line: row.line,
            time: time?,
            emitter: emitter?,
            azimuth: first,
            elevation: second,
            azimuth_sigma: sigmas[0],
            elevation_sigma: sigmas[1],
            by_lag: [FIRST_BY_LAG, SECOND_BY_LAG]
                .map(|column| cell(column).angle(&BY_LAG, decided, told)),
            azimuth_approach: readings.approach(0, FIRST_APPROACH, first, line, decided, told),
            elevation_approach: readings.approach(1, SECOND_APPROACH, second, line, decided, told),
            peak_db: cell(PEAK_DB).number(&DECIBELS, decided, told),
            temperature_c: cell(TEMPERATURE).number(&PART_TEMPERATURE, decided, told),
            use_it: cell(USE).yes(told),
            note: from_cell(&cell(NOTE).text).to_owned(),
            feed: feed?,
            extra: Vec::new(),
        };
        (told.problems.count() == before).then_some(peak)
    }

    /// Emitter of all rows.
    fn one_emitter(&self, told: &mut Told) -> Option<String> {
        one_emitter(self.station, self.options, told)
    }
}

/// Whether the first word of a text means a sum or a mean.
fn is_total_word(text: &str) -> bool {
    let lower = text.to_lowercase();
    let mut words = lower
        .split(|c: char| !c.is_alphabetic())
        .filter(|w| !w.is_empty());
    words.next().is_some_and(|word| TOTALS.contains(&word))
}
