//! The options of `plumbeam observe`.

use std::path::PathBuf;

use clap::{Args as ClapArgs, ValueEnum};

use super::calibration::TrustOption;
use super::relay::{SunOption, sun_zone};
use super::value::{above_zero, stretch_s, whole};
use super::zone::{Instant, ZoneOption};
use crate::logbook::PowerUnit;
use crate::observe::{PowerForm, PowerSource};
use crate::simulate::Fault;

const EXAMPLE: &str = "\
Examples:
  plumbeam observe --practice
  plumbeam observe --rotator 127.0.0.1:4533 --power tcp:127.0.0.1:4600 --for 1h
  plumbeam observe --rotator dish.local:4533 --power serial:/dev/ttyUSB1@9600 --start-on sun
  plumbeam observe --rotator 127.0.0.1:4533 --power 'command:my-meter' --rehearse

It connects, tells everything that it would do, and waits for arm and Enter; then it moves each axis
some degrees and stops it in the middle of the move; then it waits for go and Enter. From then on any
key stops the mount; c goes on, q ends, as SIGINT (Ctrl-C) and SIGTERM do. A file named with --stop-file
stops it when it appears. docs/observe.md lists every cause of a stop with its deadline.

Caution: this moves metal by itself and is no emergency stop. Keep the isolating switch in reach and
nobody near the axes and counterweights; set a wind limit and stow in time; transmitters off. The Sun in
the beam burns the feed: never look along the dish at it. Isolate the power before touching gears. Local
codes and licensed practice go first.

Exit code 0 when the pointing error that was asked for is reached, 1 when it was broken off, 4 when the
time was over before; 2 for wrong use, 3 for bad input.";

/// Drive the mount through a calibration: scan, record, solve
///
/// Drives the mount by the open rotator protocol through the emitters that tell most, scans each both
/// ways while its place is computed anew at every sample, reads the receiver's power, judges each scan at
/// once, and ends with the calibration and the report. An uncalibrated mount is searched for on its
/// strongest emitter first. What was measured is in the logs at once; the same command takes a started
/// observation up again.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The mount's daemon
    #[arg(long, value_name = "HOST:PORT", required_unless_present = "practice")]
    pub rotator: Option<String>,
    /// Where the receiver's power comes from: -, tcp:HOST:PORT, udp:ADDRESS:PORT, serial:DEVICE@BAUD or
    /// command:WORDS; each line a power, or a time and a power
    #[arg(long, value_name = "SOURCE", value_parser = PowerSource::parse, required_unless_present = "practice", allow_hyphen_values = true)]
    pub power: Option<PowerSource>,
    /// What a power is
    #[arg(long, value_enum, value_name = "UNIT", default_value_t = Unit::Db)]
    pub power_unit: Unit,
    /// How lines are written: a power, or sweeps
    #[arg(long, value_enum, value_name = "FORM", default_value_t = Form::Line)]
    pub power_form: Form,
    /// How emitters are scanned
    #[arg(long, value_enum, value_name = "PATTERN", default_value_t = Shape::Cross)]
    pub pattern: Shape,
    /// How the mount goes along each cut
    #[arg(long, value_enum, value_name = "HOW", default_value_t = Scan::Sweep)]
    pub scan: Scan,
    /// Emitters to choose from; all that are strong enough, if none is given
    #[arg(value_name = "EMITTER")]
    pub emitters: Vec<String>,
    /// Choose from the emitters of this plan (plan --json)
    #[arg(long, value_name = "FILE", conflicts_with = "emitters")]
    pub plan: Option<PathBuf>,
    /// How long it may take
    #[arg(long = "for", value_name = "TIME", value_parser = stretch_s, default_value = "1h", allow_hyphen_values = true)]
    pub span: f64,
    /// Stop when the pointing error is expected to be below this in 95 % of cases [default: a twentieth of
    /// the beamwidth]
    #[arg(long, value_name = "DEG", value_parser = above_zero, allow_hyphen_values = true)]
    pub error: Option<f64>,
    /// Start from what this calibration knows
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    #[command(flatten)]
    pub trust: TrustOption,
    /// Without a calibration: the encoders' zeros are off by no more than this
    #[arg(long, value_name = "DEG", value_parser = above_zero, default_value_t = 10.0, allow_hyphen_values = true)]
    pub zeros: f64,
    /// Without a calibration: this emitter is in the beam now, by hand
    #[arg(long, value_name = "EMITTER", conflicts_with = "calibration")]
    pub start_on: Option<String>,
    /// Without a calibration: search for this emitter first
    #[arg(long, value_name = "EMITTER")]
    pub search_on: Option<String>,
    /// The log of peaks that it writes
    #[arg(long, value_name = "FILE", default_value = "peaks.csv")]
    pub peaks: PathBuf,
    /// The calibration that it writes
    #[arg(long, value_name = "FILE", default_value = "calibration.json")]
    pub result: PathBuf,
    /// Write the report with its pictures into this folder
    #[arg(long, value_name = "DIR")]
    pub report: Option<PathBuf>,
    /// Half-angle of the zone round the Sun, or off; 3 sigma of the pointing error are added [default: the
    /// larger of 10 and 3 beamwidths]
    #[arg(long, value_name = "DEG|off", value_parser = sun_zone, allow_hyphen_values = true)]
    pub sun: Option<SunOption>,
    /// No reading is sent farther ahead of where the mount is than this
    #[arg(long, value_name = "DEG", default_value_t = 10.0, value_parser = above_zero, allow_hyphen_values = true)]
    pub leash: f64,
    /// Tell everything that would be done, and end without motion
    #[arg(long)]
    pub rehearse: bool,
    /// Stop the mount when this file appears
    #[arg(long, value_name = "FILE")]
    pub stop_file: Option<PathBuf>,
    /// Send stops over the same connection as everything else, for a daemon that takes only one
    #[arg(long)]
    pub one_connection: bool,
    /// Practise on a pretended mount and receiver inside the program: an hour takes seconds
    #[arg(long, conflicts_with_all = ["rotator", "power", "stop_file"])]
    pub practice: bool,
    /// Practice: the truth behind the pretended mount, as for simulate [default: an invented one]
    #[arg(long, value_name = "FILE", requires = "practice")]
    pub truth: Option<PathBuf>,
    /// Practice: let this go wrong, NAME[=SIZE]@SECONDS[+SECONDS] after the first motion, such as
    /// stuck-axis-1@300; may be given again
    #[arg(long, value_name = "FAULT", requires = "practice", value_parser = Fault::parse)]
    pub fault: Vec<Fault>,
    /// Practice: seed of the noise
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64>, allow_negative_numbers = true)]
    pub seed: u64,
    /// Practice: when it begins [default: now]
    #[arg(long, value_name = "T", requires = "practice")]
    pub at: Option<Instant>,
    #[command(flatten)]
    pub zone: ZoneOption,
}

/// `--power-unit`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Unit {
    /// Decibels, from any zero
    Db,
    /// In proportion to power
    Linear,
    /// Counts of a detector, in proportion to power
    Counts,
}

impl Unit {
    /// The same for the readers.
    pub fn unit(self) -> PowerUnit {
        match self {
            Unit::Db => PowerUnit::Decibels,
            Unit::Linear => PowerUnit::Linear,
            Unit::Counts => PowerUnit::Counts,
        }
    }
}

/// `--power-form`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Form {
    /// `power`, or `time_utc,power`
    Line,
    /// Date, time, lowest and highest frequency, step, samples, powers in decibels
    Sweep,
}

impl Form {
    /// The same for the readers.
    pub fn form(self) -> PowerForm {
        match self {
            Form::Line => PowerForm::Line,
            Form::Sweep => PowerForm::Sweep,
        }
    }
}

/// `--scan`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Scan {
    /// Steadily, sampled on the way: quick; passes at two speeds tell lag from backlash
    Sweep,
    /// By steps, sampled while the mount stands: some four times as long; for a mount that does not move
    /// steadily or a receiver that answers late
    Dwell,
}

/// `--pattern`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Shape {
    /// Both ways along each axis
    Cross,
    /// Rows
    Raster,
}
