//! Options of the verbs that read logs: what the user says about a log.

use clap::{Args as ClapArgs, ValueEnum};

use super::Console;
use crate::explain::MOST_LOGS;
use crate::logbook::{ColumnNames, CompassMeaning, LogOptions, PeakLog, Readings};
use crate::problem::Error;
use crate::time::{DateOrder, ZoneOffset};

/// What decides where a log has two meanings. A log that needs one of these says which, all at
/// once.
#[derive(ClapArgs, Clone, Debug, Default)]
pub struct LogArgs {
    /// Offset from UTC of times in the log that say none, such as +11:00
    #[arg(long, value_name = "+HH:MM", value_parser = ZoneOffset::parse, allow_hyphen_values = true)]
    pub zone: Option<ZoneOffset>,
    #[command(flatten)]
    pub habits: LogHabits,
}

/// The same without the zone, for verbs that show times by `--zone` too.
#[derive(ClapArgs, Clone, Debug, Default)]
pub struct LogHabits {
    /// Order of dates in the log that could be read either way, such as 03/04/2026
    #[arg(long, value_name = "ORDER")]
    pub dates: Option<Dates>,
    /// Headers of the log that stand for known columns: time_utc="Date Time",azimuth_deg=AZ; two
    /// joined by a plus (time_utc=Date+Time), or fields by number where there is no header
    #[arg(long, value_name = "COLUMN=HEADER,…", value_parser = ColumnNames::parse)]
    pub columns: Vec<ColumnNames>,
    /// The emitter of all rows of a log that does not name it
    #[arg(long, value_name = "NAME")]
    pub emitter: Option<String>,
    /// What a compass point in a column of approaches is: where the axis came from, or went
    #[arg(long, value_name = "SIDE")]
    pub approach: Option<Approaches>,
    /// What the readings of the log are, when it does not say: encoder, or corrected:CHECKSUM of
    /// the calibration that they went through
    #[arg(long, value_name = "KIND", value_parser = Readings::parse)]
    pub readings: Option<Readings>,
}

/// Order of day, month and year.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Dates {
    /// 26/11/2026
    DayMonthYear,
    /// 11/26/2026
    MonthDayYear,
    /// 26/11/26, with a year of two digits
    YearMonthDay,
}

/// What a compass point in a column of approaches is.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Approaches {
    /// Where the axis came from
    From,
    /// Where it went
    Toward,
}

impl LogArgs {
    /// What they say.
    pub fn options(&self) -> LogOptions {
        self.habits.options(self.zone)
    }
}

impl LogHabits {
    /// What they say, with the offset from UTC of times that say none.
    pub fn options(&self, zone: Option<ZoneOffset>) -> LogOptions {
        let mut columns = ColumnNames::default();
        for names in &self.columns {
            columns.extend(names.clone());
        }
        LogOptions {
            zone,
            dates: self.dates.map(|dates| match dates {
                Dates::DayMonthYear => DateOrder::DayMonthYear,
                Dates::MonthDayYear => DateOrder::MonthDayYear,
                Dates::YearMonthDay => DateOrder::YearMonthDay,
            }),
            columns,
            emitter: self.emitter.clone(),
            approach: self.approach.map(|approach| match approach {
                Approaches::From => CompassMeaning::From,
                Approaches::Toward => CompassMeaning::Toward,
            }),
            readings: self.readings.clone(),
        }
    }
}

/// For verbs that take several logs of one mount.
#[derive(ClapArgs, Clone, Debug, Default)]
pub struct SeveralLogs {
    #[command(flatten)]
    pub log: LogArgs,
    /// Let each log have its own encoder zeros, as when the encoders are zeroed again each night;
    /// the calibration has those of the last. Without it only where the data call for them
    #[arg(long)]
    pub zeros_per_log: bool,
}

impl SeveralLogs {
    /// Warns where the option has no effect.
    ///
    /// # Errors
    /// [`Error::Usage`] for more logs than it can take.
    pub fn check(&self, log: &PeakLog, console: &mut Console) -> Result<(), Error> {
        match log.files.len() {
            _ if !self.zeros_per_log => {}
            0 | 1 => console.warning("--zeros-per-log changes nothing: there is one log only"),
            logs if logs > MOST_LOGS => {
                return Err(Error::Usage(format!(
                    "--zeros-per-log takes {MOST_LOGS} logs at most, and these are {logs}\n  help: \
                     solve the latest of them"
                )));
            }
            _ => {}
        }
        Ok(())
    }
}
