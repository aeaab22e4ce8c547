//! Events and actions of the machine of an observation.

use super::evaluation::{Answer, EvaluatedScan, Job, Solved};
use super::knowledge::Knowledge;
use super::pattern::{Manner, Pattern};
use super::power::Power;
use crate::angle::Angle;
use crate::live::{Axes, RelayNotice, Wire, usual_radius};
use crate::logbook::{PowerUnit, Scan};
use crate::sky::{EmitterId, Sky};
use crate::station::Station;
use crate::time::Utc;

/// Settings of an observation.
#[derive(Clone, Debug)]
pub struct ObserveSettings {
    /// Half-angle of the Sun zone without the pointing error; `None` if it is not guarded.
    pub zone: Option<Angle>,
    /// Largest pointing error assumed for an unknown mount.
    pub most_error: Angle,
    /// No reading is sent farther ahead of the mount.
    pub leash: Angle,
    /// It ends when the expected pointing error is no larger,
    pub wanted: Angle,
    /// or after so long.
    pub for_s: f64,
    /// Emitters that may be chosen.
    pub emitters: Vec<EmitterId>,
    /// Whether the user named them.
    pub named: bool,
    /// To be searched for first.
    pub search_on: Option<EmitterId>,
    /// The emitter that the user has put in the beam by hand, if any.
    pub start_on: Option<EmitterId>,
    /// What the receiver's powers are.
    pub unit: PowerUnit,
    /// What is known of the mount.
    pub prior: Knowledge,
    /// Whether there is no calibration: emitters are searched for then.
    pub uncalibrated: bool,
    /// The encoders' zeros are off by no more than this, if something is known of them.
    pub zeros: Option<Angle>,
    /// How emitters are scanned.
    pub pattern: Pattern,
    /// How the mount goes along a cut.
    pub manner: Manner,
    /// Ends when it has told what it would do.
    pub rehearse: bool,
    /// Whether stops have a connection of their own.
    pub own_stop: bool,
    /// Earlier scans, when an observation is resumed.
    pub scans: Vec<Scan>,
}

/// Without a calibration the zeros are off by no more than this, if nothing else is said.
pub const USUAL_ZEROS: Angle = Angle::from_degrees(10.0);

impl ObserveSettings {
    /// The usual settings at a station, for a mount of which it is known only that its zeros are
    /// off by at most `zeros`.
    pub fn usual(station: &Station, sky: &Sky, zeros: Angle) -> ObserveSettings {
        let beamwidth = station.dish.beamwidth;
        ObserveSettings {
            // The machine adds three times the error of what it knows at the time.
            zone: Some(usual_radius(beamwidth, Angle::ZERO)),
            most_error: zeros * 1.5 + Angle::from_degrees(3.0),
            leash: Angle::from_degrees(10.0),
            wanted: beamwidth / 20.0,
            for_s: 3600.0,
            emitters: sky.emitters().collect(),
            named: false,
            search_on: None,
            start_on: None,
            unit: PowerUnit::Decibels,
            prior: Knowledge::guess(zeros, beamwidth, station.mount.geometry),
            uncalibrated: true,
            zeros: Some(zeros),
            pattern: Pattern::Cross,
            manner: Manner::Sweep,
            rehearse: false,
            own_stop: true,
            scans: Vec::new(),
        }
    }
}

/// What happens.
#[derive(Debug)]
pub enum Event<'a> {
    /// A connection to the mount stands.
    WireUp(Wire),
    /// It brought something.
    WireBytes(Wire, &'a [u8]),
    /// It is gone, or could not be made: why.
    WireDown(Wire, String),
    /// A power from the receiver.
    Power(Power),
    /// A line of the receiver was invalid, or its source is gone: which.
    NoPower(String),
    /// A key.
    Key(u8),
    /// A signal to end.
    Signal,
    /// The stop file is there, or is gone.
    StopFile(bool),
    /// The answer to a job.
    Evaluated(Box<Answer>),
    /// Time has passed.
    Tick,
}

/// A sample for the log.
#[derive(Clone, Debug, PartialEq)]
pub struct ScanRow {
    /// Name of its scan.
    pub scan: String,
    /// Emitter.
    pub emitter: String,
    /// When.
    pub time: Utc,
    /// Readings.
    pub axes: Axes,
    /// In the receiver's unit.
    pub value: f64,
}

/// Where things stand, for the person.
#[derive(Clone, Debug, Default)]
pub struct Progress {
    /// The present task.
    pub doing: String,
    /// Where the mount stands.
    pub reading: Option<Axes>,
    /// The present cut: from the expected place along it in beamwidths, and power over the empty sky.
    pub cut: Vec<(f64, f64)>,
    /// Peaks so far.
    pub peaks: usize,
    /// Expected pointing error by now, and what is asked for.
    pub error: (Option<Angle>, Angle),
    /// Seconds left.
    pub left_s: f64,
    /// From the beam to the Sun.
    pub sun: Option<Angle>,
}

/// How it ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Ending {
    /// The expected pointing error is as small as asked for.
    Reached,
    /// The time is over, or nothing more can be measured: which.
    Over(String),
    /// The operator ended it.
    BrokenOff(String),
    /// It was a rehearsal.
    Rehearsed,
}

/// What is to be done.
#[derive(Debug)]
pub enum Action {
    /// Make a connection to the mount.
    Connect(Wire),
    /// Send this over it, at once.
    Write(Wire, String),
    /// Close it.
    Drop(Wire),
    /// Compute this, in another thread.
    Think(Box<Job>),
    /// Append these to the log of scans.
    Rows(Vec<ScanRow>),
    /// The rows of this scan belong to another emitter than assumed; `None` if unknown to which.
    Renamed(String, Option<String>),
    /// A scan was evaluated, with the result of all peaks so far.
    EvaluatedScan(Box<EvaluatedScan>, Option<Solved>),
    /// New contents of the peaks file.
    Peaks(String),
    /// Tell the person.
    Tell(RelayNotice),
    /// Show where things stand.
    Show(Box<Progress>),
    /// It has ended.
    End(Ending),
}
