//! The relay itself, as a machine without input, output or clock of its own: events go in with the
//! time at which they came, and what is to be done about them comes out.
//!
//! The caller owns the sockets and the clock. Tests drive it with a simulated mount and clock.

mod clients;
mod deciding;
mod driving;
mod mount;
mod replies;
mod stopping;
mod time;

use std::time::Duration;

use nalgebra::Vector3;

use super::aim::{Aim, AskedDirection};
use super::axes::Axes;
use super::clients::{ClientId, Clients};
use super::link::Connection;
use super::messages::{Loudness, RelayNotice, RelayStatus};
use super::protocol::{DaemonLine, DaemonRequest, Way};
use super::record::RelayRow;
use crate::angle::Angle;
use crate::table::FullModel;
use crate::time::Utc;
pub use driving::{Drive, Driven};

/// What happens when the client that commands goes away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnDisconnect {
    /// Its last move ends.
    Finish,
    /// The mount is stopped.
    Stop,
}

/// How a relay behaves.
#[derive(Clone, Debug)]
pub struct RelaySettings {
    /// No reading is sent farther ahead of the mount.
    pub leash: Angle,
    /// Smaller changes are not sent on.
    pub deadband: Angle,
    /// Half-angle of the zone round the Sun; `None` if it is not guarded.
    pub zone: Option<Angle>,
    /// Half-power width of the beam.
    pub beamwidth: Angle,
    /// When the client that commands goes away.
    pub on_disconnect: OnDisconnect,
    /// Where `K` goes.
    pub park: Option<Axes>,
    /// Whether moves without an end are let through, guarded.
    pub allow_move: bool,
    /// Whether resets are let through.
    pub allow_reset: bool,
    /// Whether stops have a connection of their own.
    pub own_stop: bool,
    /// Who answers `_`.
    pub who: String,
}

/// Where the Sun is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SunPlace {
    /// Below the horizon: it heats nothing.
    Down,
    /// Unit vector (east, north, up).
    Up(Vector3<f64>),
    /// Not known: the clock is beyond the ephemerides.
    Unknown,
}

/// Gives the place of the Sun.
pub type SunAt = Box<dyn Fn(Utc) -> SunPlace + Send>;

/// One of the two connections to the mount's daemon.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wire {
    /// For everything.
    Main,
    /// For stops alone.
    Stop,
}

/// What a person does at the relay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Operator {
    /// Stops the mount; demands are refused until acknowledged.
    Stop,
    /// Acknowledges the alarm: demands are accepted again.
    Acknowledge,
    /// Stops the mount and ends the relay.
    End,
}

/// What happens.
#[derive(Debug)]
pub enum Event<'a> {
    /// A client connects; its address.
    Opened(ClientId, String),
    /// A client sent a line; the number counts all lines of all clients in the order in which they
    /// came.
    Line(ClientId, DaemonLine, u64),
    /// A client is gone.
    Closed(ClientId),
    /// The line of this number is a stop; the line itself follows in its turn.
    Urgent(ClientId, u64),
    /// A connection to the mount is up.
    WireUp(Wire),
    /// Bytes came in over it.
    WireBytes(Wire, &'a [u8]),
    /// It was lost, or could not be made: the reason.
    WireDown(Wire, String),
    /// An action of the operator, and how it came.
    Operator(Operator, &'static str),
    /// The stop file is there, or is gone.
    StopFile(bool),
    /// Another calibration.
    Calibration(Box<FullModel>, Vec<String>),
    /// A message for the operator.
    Tell(RelayNotice),
    /// The program that owns the relay wants something of the mount.
    Drive(Drive),
    /// Time has passed.
    Tick,
}

/// What is to be done.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Send this to a client, in one write.
    Send(ClientId, String),
    /// Close a client's connection.
    Close(ClientId),
    /// Make a connection to the mount.
    Connect(Wire),
    /// Send this over it, at once.
    Write(Wire, String),
    /// Close it.
    Drop(Wire),
    /// Write a row of the log.
    Log(RelayRow),
    /// Tell the person.
    Tell(RelayNotice),
    /// Show where things stand.
    Show(RelayStatus),
    /// For the program that owns the relay, if it drives the mount itself.
    Driven(Driven),
    /// The relay has ended.
    End,
}

/// Shortest time between two polls of the mount's position,
const POLL: Duration = Duration::from_millis(200);
/// and the time between them when nothing moves and no client asks.
const IDLE_POLL: Duration = Duration::from_secs(1);
/// Time between two checks of deadlines.
const TICK: Duration = Duration::from_millis(100);
/// A position older than this is neither reported nor used for decisions.
const STALE: Duration = Duration::from_secs(2);
/// How long a client waits for a position, or a demand for one to be decided by; common clients give
/// up after two seconds.
const PATIENCE: Duration = Duration::from_millis(1500);
/// How long a client waits for the mount to acknowledge.
const ACKNOWLEDGE: Duration = Duration::from_secs(2);
/// A moving mount that reports no position for this long is stopped.
const MISSING: Duration = Duration::from_secs(3);
/// A stop that is not acknowledged by then is sent over the other connection too.
const STOP_UNANSWERED: Duration = Duration::from_millis(300);
/// A mount that still moves this long after a stop does not obey; the stop is then sent again.
const STOP_IGNORED: Duration = Duration::from_secs(2);
/// A change by this much between two polls counts as motion.
const MOTION: Angle = Angle::from_degrees(0.02);
/// A mount brakes from its old target for no longer than this.
const BRAKING: Duration = Duration::from_secs(5);
/// After a move is demanded the mount is polled quickly for at least this long.
const LIVELY: Duration = Duration::from_secs(3);
/// Time after which a lasting alarm is repeated.
const ALARM_AGAIN: Duration = Duration::from_secs(60);
/// When the relay ends, the mount has this long to come to rest.
const FAREWELL: Duration = Duration::from_secs(3);
/// A demand not renewed for this long no longer counts as followed in the log.
const FOLLOWED: Duration = Duration::from_secs(60);
/// The Sun moves by a quarter of a degree a minute: its place is computed this often.
const SUN_EVERY: Duration = Duration::from_secs(1);
/// Reason given when the mount cannot be asked anything.
const NOT_CONNECTED: &str = "the mount is not connected";

/// A client's request of the mount, waiting for a position to be decided by.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Wish {
    Demand(AskedDirection),
    Readings(Axes),
    Park,
    Move(Way),
}

#[derive(Clone, Debug)]
struct Pending {
    number: u64,
    wish: Wish,
    since: Duration,
}

/// A command whose reply is still to come.
#[derive(Clone, Debug)]
struct Waiting {
    number: u64,
    client: ClientId,
    request: DaemonRequest,
    text: String,
    at: Utc,
    since: Duration,
    kind: WaitingFor,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum WaitingFor {
    Position,
    GuardDecision,
    Acknowledgement,
}

/// A stop that was sent, and its progress.
#[derive(Clone, Copy, Debug)]
struct Stopping {
    since: Duration,
    acknowledged: bool,
    doubled: bool,
    told_at: Duration,
}

/// Why demands are refused until the operator acts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Holds {
    jump: bool,
    operator: bool,
    file: bool,
}

/// The relay.
pub struct Relay {
    settings: RelaySettings,
    aim: Aim,
    sun_at: SunAt,
    clients: Clients,
    main: Connection,
    stop_wire: Connection,
    out: Vec<Action>,
    now: Duration,
    utc: Utc,
    numbers: u64,
    waiting: Vec<Waiting>,
    pending: Option<Pending>,
    /// Last position of the mount, and when it was asked for.
    reading: Option<(Axes, Duration)>,
    moved_at: Option<Duration>,
    asked_at: Option<Duration>,
    /// The target last sent, if it still holds.
    sent: Option<Axes>,
    /// Where the mount was sent lately, and where it stood then: its way.
    ways: Vec<(Axes, Axes, Duration)>,
    /// The final readings.
    goal: Option<Axes>,
    /// What is demanded.
    demand: Option<AskedDirection>,
    /// Lines that came before this one are overtaken by a stop.
    stopped_at: u64,
    stopping: Option<Stopping>,
    /// Whether a stop could not be sent because no connection was up.
    owed_stop: bool,
    holds: Holds,
    sun: Option<(SunPlace, Duration)>,
    sun_told: Option<Duration>,
    outside_told: bool,
    guard: String,
    /// Whether the main connection has answered: the one for stops is made only then.
    main_answers: bool,
    /// Whether the target last sent may not have been accepted.
    doubtful: bool,
    stop_opened: Option<Duration>,
    /// Whether the connection for stops has answered: until then stops go over both.
    stop_proven: bool,
    /// How often it was closed soon after it was made.
    short_lives: u32,
    demanded_at: Option<Duration>,
    ending: Option<Duration>,
    ended: bool,
}

impl Relay {
    /// Ready to run.
    pub fn new(settings: RelaySettings, aim: Aim, sun_at: SunAt) -> Relay {
        Relay {
            main: Connection::new(true),
            stop_wire: Connection::new(settings.own_stop),
            settings,
            aim,
            sun_at,
            clients: Clients::default(),
            out: Vec::new(),
            now: Duration::ZERO,
            utc: Utc::from_unix_nanos(0),
            numbers: 0,
            waiting: Vec::new(),
            pending: None,
            reading: None,
            moved_at: None,
            asked_at: None,
            sent: None,
            ways: Vec::new(),
            goal: None,
            demand: None,
            stopped_at: 0,
            stopping: None,
            owed_stop: false,
            holds: Holds::default(),
            sun: None,
            sun_told: None,
            outside_told: false,
            guard: String::new(),
            main_answers: false,
            doubtful: false,
            stop_opened: None,
            stop_proven: false,
            short_lives: 0,
            demanded_at: None,
            ending: None,
            ended: false,
        }
    }

    /// Takes an event that came at `now` on a clock that only goes forward, at the time of day `utc`,
    /// and returns the actions to carry out, in order.
    pub fn handle(&mut self, event: Event<'_>, now: Duration, utc: Utc) -> Vec<Action> {
        self.now = self.now.max(now);
        self.utc = utc;
        match event {
            Event::Opened(id, name) => self.clients.open(id, name, now),
            Event::Line(id, line, count) => self.line(id, line, count),
            Event::Closed(id) => self.closed(id),
            Event::Urgent(id, count) => {
                let who = self.clients.name(id).to_owned();
                self.stopped_at = self.stopped_at.max(count);
                self.stop(&format!("{who} asked for a stop"));
            }
            Event::WireUp(wire) => self.wire_up(wire),
            Event::WireBytes(wire, bytes) => self.wire_bytes(wire, bytes),
            Event::WireDown(wire, why) => self.wire_down(wire, &why),
            Event::Operator(what, how) => self.operator(what, how),
            Event::StopFile(there) => self.stop_file(there),
            Event::Calibration(full, caveats) => {
                for caveat in &caveats {
                    self.tell(Loudness::Warning, caveat.clone());
                }
                self.aim.replace(full);
            }
            Event::Tell(told) => self.out.push(Action::Tell(told)),
            Event::Drive(drive) => self.drive(drive),
            Event::Tick => {}
        }
        self.look_after();
        for (id, text) in self.clients.ready() {
            self.out.push(Action::Send(id, text));
        }
        std::mem::take(&mut self.out)
    }

    /// When to call again with [`Event::Tick`] if nothing else happens, on the clock of `now`.
    pub fn next_tick(&self) -> Duration {
        let mut next = self.now + TICK;
        if let Some(at) = self.asked_at
            && self.main.is_up()
            && !self.main.awaits_position()
        {
            next = next.min(at + self.poll_every());
        }
        if let Some(at) = self.main.next() {
            next = next.min(at);
        }
        if let Some(at) = self.stop_wire.next()
            && self.main_answers
        {
            next = next.min(at);
        }
        next.max(self.now + Duration::from_millis(5))
    }

    /// Where the mount stood when that was last known.
    pub fn reading(&self) -> Option<Axes> {
        self.reading.map(|(axes, _)| axes)
    }
}
