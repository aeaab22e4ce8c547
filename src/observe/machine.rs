//! The observation, as a machine without input, output or clock of its own: events go in with the
//! time at which they happened, and actions come out. The same machine runs over sockets and in
//! simulation.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use super::evaluation::Solved;
use super::events::{Action, Ending, Event, ObserveSettings, Progress};
use super::identity::Missed;
use super::knowledge::Knowledge;
use super::power::Power;
use super::recorder::Recorder;
use super::search::EmptySky;
use super::state::{Move, StopTest};
use super::watch::{MountWatch, StopCause};
use crate::angle::Angle;
use crate::live::{
    self, Aim, Axes, Drive, Driven, InKeyhole, Loudness, OnDisconnect, Operator, Relay,
    RelayNotice, ReportTurn, SunAt, SunPlace, Travel,
};
use crate::logbook::Scan;
use crate::sky::{EmitterId, Sky};
use crate::station::Station;
use crate::table::{Air, DemandKind, EncoderRange, FullModel};
use crate::time::Utc;

/// Phase of the observation.
#[derive(Clone, Debug)]
pub(super) enum Phase {
    /// Until the mount has reported its position and its ranges.
    Connecting,
    /// The plan was shown; waits for `arm`.
    Rehearsed,
    /// Each axis is moved and stopped.
    Testing(StopTest),
    /// Waits for `go`.
    Armed,
    /// A job is being computed.
    Thinking,
    /// The mount is moved.
    Moving(Box<Move>),
    /// Waits until then for this emitter.
    Pausing(Utc, EmitterId),
    /// Stopped; waits for the operator.
    Held(StopCause),
    /// Being ended; the mount is given time to come to rest.
    Ending(Duration, Ending),
    /// It has ended.
    Ended,
}

/// State of the work on the present emitter.
#[derive(Clone, Debug, Default)]
pub(super) struct Attempt {
    /// Which.
    pub emitter: Option<EmitterId>,
    /// Crosses that were centred again.
    pub centred: u32,
    /// Searches.
    pub searched: u32,
    /// Factor on the spread.
    pub wider: f64,
    /// Something was seen in the search.
    pub seen: bool,
    /// Offset on the sky at which it was last seen.
    pub middle: [Angle; 2],
    /// It is measured again to see whether something slipped: the emitter that was off, and by how
    /// much.
    pub checks: Option<(String, Angle)>,
}

/// The observation.
pub struct ObservationRun {
    pub(super) settings: ObserveSettings,
    pub(super) station: Arc<Station>,
    pub(super) sky: Arc<Sky>,
    relay: Relay,
    pub(super) out: Vec<Action>,
    pub(super) now: Duration,
    pub(super) utc: Utc,
    pub(super) phase: Phase,
    pub(super) watch: MountWatch,
    pub(super) recorder: Recorder,
    pub(super) reading: Option<(Axes, Duration)>,
    /// Recent readings, from which the encoder's step and the speed are taken.
    pub(super) lately: VecDeque<(Duration, Axes)>,
    pub(super) resolution: Angle,
    pub(super) fastest: Angle,
    pub(super) range: Travel,
    pub(super) limits_asked: bool,
    pub(super) limits: Option<Option<Travel>>,
    pub(super) empty: Option<EmptySky>,
    pub(super) knowledge: Knowledge,
    pub(super) prior: Knowledge,
    pub(super) scans: Vec<Scan>,
    /// Scans before this one do not apply to the mount as it is now.
    pub(super) since: usize,
    pub(super) scan_number: usize,
    /// Scans of the last cross, and of the one before a check.
    pub(super) new_scans: usize,
    pub(super) scans_before: usize,
    pub(super) aside: Vec<(EmitterId, Utc)>,
    pub(super) attempt: Attempt,
    /// The emitter of the last good peak.
    pub(super) last_good: Option<EmitterId>,
    pub(super) two_speeds: bool,
    pub(super) crosses: usize,
    /// Emitters with a good peak.
    pub(super) found_on: Vec<EmitterId>,
    pub(super) saturated: u32,
    pub(super) signal_to_noise: Option<f64>,
    pub(super) peaks: usize,
    pub(super) solved: Option<Solved>,
    pub(super) expected: Option<(Angle, Angle)>,
    pub(super) until: Option<Utc>,
    pub(super) words: String,
    /// Last target.
    pub(super) target: Option<Axes>,
    /// What the relay sent last.
    pub(super) last_sent: Option<Axes>,
    pub(super) zone_now: Option<Angle>,
    /// When the beam last was in the zone round the Sun for a cut.
    pub(super) sun_left: Option<Duration>,
    /// When it entered the zone, while it is in it.
    pub(super) in_zone: Option<Duration>,
    pub(super) clock_told: bool,
    pub(super) no_power_told: u32,
    pub(super) thinking_for: Option<Purpose>,
    pub(super) cut: Vec<(f64, f64)>,
    pub(super) seconds_a_peak: f64,
    pub(super) failures: u32,
    /// Emitters not found where they should have been.
    pub(super) missed: Vec<Missed>,
    /// Whether the identities of the emitters found are in doubt.
    pub(super) doubtful: bool,
}

/// Purpose of the job being computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    /// The plan.
    Rehearsal,
    /// What to do next.
    Choice,
    /// A new scan.
    Scan,
}

/// Shortest time between two polls of the mount, seconds.
pub(super) const POLL_S: f64 = 0.2;

impl ObservationRun {
    /// Ready to run. `sun_at` tells where the Sun is.
    pub fn new(
        settings: ObserveSettings,
        station: Arc<Station>,
        sky: Arc<Sky>,
        sun_at: SunAt,
    ) -> ObservationRun {
        let full = full_model(&station, &settings.prior);
        let aim = Aim::new(full, InKeyhole::Refuse, ReportTurn::AsAsked);
        let range = aim.range();
        let beamwidth = station.dish.beamwidth;
        let relay = Relay::new(
            live::RelaySettings {
                leash: settings.leash,
                deadband: beamwidth / 2000.0,
                zone: None,
                beamwidth,
                on_disconnect: OnDisconnect::Stop,
                park: None,
                allow_move: false,
                allow_reset: false,
                own_stop: settings.own_stop,
                who: String::new(),
            },
            aim,
            sun_at,
        );
        let number = settings
            .scans
            .iter()
            .filter_map(|scan| scan.name.parse::<usize>().ok())
            .max();
        let mut observation = ObservationRun {
            knowledge: settings.prior.clone(),
            prior: settings.prior.clone(),
            scans: settings.scans.clone(),
            scan_number: number.unwrap_or(0),
            settings,
            station,
            sky,
            relay,
            out: Vec::new(),
            now: Duration::ZERO,
            utc: Utc::from_unix_nanos(0),
            phase: Phase::Connecting,
            watch: MountWatch::new(range),
            recorder: Recorder::default(),
            reading: None,
            lately: VecDeque::new(),
            resolution: Angle::from_degrees(0.1),
            fastest: Angle::from_degrees(3.0),
            range,
            limits_asked: false,
            limits: None,
            empty: None,
            since: 0,
            new_scans: 0,
            scans_before: 0,
            aside: Vec::new(),
            attempt: Attempt::default(),
            last_good: None,
            two_speeds: number.is_some(),
            crosses: 0,
            found_on: Vec::new(),
            saturated: 0,
            signal_to_noise: None,
            peaks: 0,
            solved: None,
            expected: None,
            until: None,
            words: String::new(),
            target: None,
            last_sent: None,
            zone_now: None,
            sun_left: None,
            in_zone: None,
            clock_told: false,
            no_power_told: 0,
            thinking_for: None,
            cut: Vec::new(),
            seconds_a_peak: 120.0,
            failures: 0,
            missed: Vec::new(),
            doubtful: false,
        };
        observation.guard_sun();
        observation
    }

    /// The same with the Sun of a sky.
    pub fn under(
        settings: ObserveSettings,
        station: &Arc<Station>,
        sky: &Arc<Sky>,
    ) -> ObservationRun {
        let of_sun = Arc::clone(sky);
        ObservationRun::new(
            settings,
            Arc::clone(station),
            Arc::clone(sky),
            Box::new(move |time| sun_place(&of_sun, time)),
        )
    }

    /// Takes an event that happened at `now` on a clock that only goes forward, at the time of day
    /// `utc`, and returns the actions to carry out, in order.
    pub fn handle(&mut self, event: Event<'_>, now: Duration, utc: Utc) -> Vec<Action> {
        self.now = self.now.max(now);
        self.utc = utc;
        match event {
            Event::WireUp(wire) => self.relay(live::Event::WireUp(wire)),
            Event::WireBytes(wire, bytes) => self.relay(live::Event::WireBytes(wire, bytes)),
            Event::WireDown(wire, why) => self.relay(live::Event::WireDown(wire, why)),
            Event::Power(power) => self.power(power),
            Event::NoPower(what) => self.no_power(&what),
            Event::Key(key) => self.key(key),
            Event::Signal => self.end(Ending::BrokenOff("a signal to end".to_owned())),
            Event::StopFile(there) => self.stop_file(there),
            Event::Evaluated(answer) => self.thought(*answer),
            Event::Tick => self.relay(live::Event::Tick),
        }
        self.time_passes();
        std::mem::take(&mut self.out)
    }

    /// When to call again with [`Event::Tick`] if nothing else happens.
    pub fn next_tick(&self) -> Duration {
        self.relay.next_tick()
    }

    /// The word that is waited for, if any.
    pub fn waits_for(&self) -> Option<&'static str> {
        match self.phase {
            Phase::Rehearsed => Some("arm"),
            Phase::Armed => Some("go"),
            _ => None,
        }
    }

    /// Why it is stopped and waits for the operator; `None` if it is not.
    pub fn is_held(&self) -> Option<&StopCause> {
        match &self.phase {
            Phase::Held(cause) => Some(cause),
            _ => None,
        }
    }

    /// Hands an event to the relay and carries out its actions.
    pub(super) fn relay(&mut self, event: live::Event<'_>) {
        let actions = self.relay.handle(event, self.now, self.utc);
        let mut driven = Vec::new();
        for action in actions {
            match action {
                live::Action::Connect(wire) => self.out.push(Action::Connect(wire)),
                live::Action::Write(wire, text) => self.out.push(Action::Write(wire, text)),
                live::Action::Drop(wire) => self.out.push(Action::Drop(wire)),
                live::Action::Tell(told) => self.out.push(Action::Tell(told)),
                live::Action::Driven(what) => driven.push(what),
                _ => {}
            }
        }
        for what in driven {
            self.driven(what);
        }
    }

    pub(super) fn drive(&mut self, drive: Drive) {
        self.relay(live::Event::Drive(drive));
    }

    pub(super) fn operator(&mut self, what: Operator, how: &'static str) {
        self.relay(live::Event::Operator(what, how));
    }

    fn driven(&mut self, what: Driven) {
        match what {
            Driven::At(axes, at) => self.position(axes, at),
            Driven::Limits(limits) => {
                self.limits = Some(limits);
                self.connected();
            }
            Driven::Sent(to) => {
                self.last_sent = Some(to);
                if matches!(self.phase, Phase::Moving(_) | Phase::Testing(_)) {
                    self.watch.aim(to, self.now);
                }
                self.was_sent(to);
            }
            Driven::Refused(why) => self.refused(&why),
            Driven::Stopped(why) => self.was_stopped(&why),
            Driven::Disobeyed => self.disobeyed(),
            Driven::Lost(why) => {
                if !matches!(self.phase, Phase::Connecting) {
                    self.halt(StopCause::Lost(why));
                }
            }
        }
    }

    /// Handles a reading.
    fn position(&mut self, axes: Axes, at: Duration) {
        self.reading = Some((axes, at));
        self.lately.push_back((at, axes));
        if self.lately.len() > 400 {
            self.lately.pop_front();
        }
        let joined = self.recorder.reading(axes, at);
        if matches!(self.phase, Phase::Moving(_) | Phase::Testing(_))
            && let Some(cause) = self.watch.reading(axes, at)
        {
            self.halt(cause);
            return;
        }
        match &self.phase {
            Phase::Connecting => self.connected(),
            Phase::Testing(_) => self.test_position(axes),
            Phase::Moving(_) => self.move_position(axes, &joined),
            _ => {}
        }
        self.tell_progress();
    }

    /// Handles whatever is due by time alone.
    fn time_passes(&mut self) {
        let listening = match &self.phase {
            Phase::Moving(_) => true,
            Phase::Testing(_) => false,
            Phase::Pausing(at, _) => {
                if self.utc.seconds_since(*at) >= 0.0 {
                    self.pause_is_over();
                }
                return;
            }
            Phase::Ending(since, ending) => {
                let stands = self.target.is_none() || self.stands();
                if stands && self.now.saturating_sub(*since) > Duration::from_millis(600)
                    || self.now.saturating_sub(*since) > Duration::from_secs(3)
                {
                    let ending = ending.clone();
                    self.phase = Phase::Ended;
                    self.out.push(Action::End(ending));
                }
                return;
            }
            _ => return,
        };
        if let Some(cause) = self.watch.time_passes(self.now, listening) {
            self.halt(cause);
            return;
        }
        self.look_at_sun_time();
    }

    /// Whether the last readings are all the same.
    pub(super) fn stands(&self) -> bool {
        let step = self.resolution.min(self.resolution_lately());
        let lately = self.lately.iter().rev().take(3).collect::<Vec<_>>();
        lately.len() == 3
            && lately
                .windows(2)
                .all(|pair| pair[0].1.way_to(pair[1].1) < step * 0.9)
    }

    /// Sets the zone round the Sun by the present knowledge of the mount.
    pub(super) fn guard_sun(&mut self) {
        let zone = self.settings.zone.map(|least| {
            let error = self.knowledge.pointing_error(&self.station);
            least + (error * 3.0).min(self.settings.most_error)
        });
        self.zone_now = zone;
        self.drive(Drive::Zone(zone));
    }

    /// Gives the guard the present model of the mount.
    pub(super) fn replace_model(&mut self) {
        let full = full_model(&self.station, &self.knowledge);
        self.relay(live::Event::Calibration(full, Vec::new()));
        self.guard_sun();
    }

    pub(super) fn tell(&mut self, loudness: Loudness, text: String) {
        self.out.push(Action::Tell(RelayNotice { loudness, text }));
    }

    pub(super) fn milestone(&mut self, text: String) {
        self.tell(Loudness::Milestone, text);
    }

    pub(super) fn note(&mut self, text: String) {
        self.tell(Loudness::Note, text);
    }

    /// The time of day at a time of the machine's clock.
    pub(super) fn utc_of(&self, at: Duration) -> Utc {
        let ago = self.now.as_secs_f64() - at.as_secs_f64();
        self.utc.plus_seconds(-ago)
    }

    /// Handles a power from the receiver.
    fn power(&mut self, power: Power) {
        /// Largest error of a receiver's clock; beyond it the time of arrival is used.
        const CLOCK_S: f64 = 5.0;
        self.watch.power(self.now);
        let mut at = self.now;
        if let Some(time) = power.time {
            let ago = self.utc.seconds_since(time);
            if (0.0..=CLOCK_S).contains(&ago) {
                at = self.now.saturating_sub(Duration::from_secs_f64(ago));
            } else if !std::mem::replace(&mut self.clock_told, true) {
                self.tell(
                    Loudness::Warning,
                    format!(
                        "the receiver's times are {ago:+.1} s behind this machine's clock: the time at \
                         which its lines arrive is used"
                    ),
                );
            }
        }
        self.recorder.power(at, power.value);
    }

    fn no_power(&mut self, what: &str) {
        /// A few bad lines show what is wrong with the receiver; more would bury other messages.
        const MOST: u32 = 3;
        self.no_power_told += 1;
        if self.no_power_told <= MOST {
            self.tell(Loudness::Warning, format!("the receiver: {what}"));
        }
    }

    /// Proportional to power.
    pub(super) fn linear(&self, value: f64) -> f64 {
        self.settings.unit.proportional(value)
    }

    pub(super) fn left_s(&self) -> f64 {
        match self.until {
            Some(until) => until.seconds_since(self.utc).max(0.0),
            None => self.settings.for_s,
        }
    }

    pub(super) fn tell_progress(&mut self) {
        let progress = Progress {
            doing: self.doing(),
            reading: self.reading.map(|(axes, _)| axes),
            cut: self.cut.clone(),
            peaks: self.peaks,
            error: (
                self.solved
                    .as_ref()
                    .map(|s| s.rms_95)
                    .or(self.expected.map(|e| e.0)),
                self.settings.wanted,
            ),
            left_s: self.left_s(),
            sun: None,
        };
        self.out.push(Action::Show(Box::new(progress)));
    }

    fn doing(&self) -> String {
        match &self.phase {
            Phase::Connecting => "connecting to the mount".to_owned(),
            Phase::Rehearsed => "waits for arm".to_owned(),
            Phase::Armed => "waits for go".to_owned(),
            Phase::Testing(test) => test.doing(),
            Phase::Thinking => "working out".to_owned(),
            Phase::Moving(mv) => mv.doing(&self.sky),
            Phase::Pausing(at, id) => format!("waits until {at} for {}", self.sky.name(*id)),
            Phase::Held(cause) => format!("stopped: {cause}"),
            Phase::Ending(..) | Phase::Ended => "ends".to_owned(),
        }
    }
}

/// Where the Sun is, for a guard.
pub fn sun_place(sky: &Sky, time: Utc) -> SunPlace {
    /// Lower than this the Sun heats nothing: it is down, by refraction and all.
    const DOWN: Angle = Angle::from_degrees(-1.0);
    match sky.apparent_of(sky.sun(), time) {
        Ok(sun) if sun.elevation() < DOWN => SunPlace::Down,
        Ok(sun) => SunPlace::Up(sun.east_north_up()),
        Err(_) => SunPlace::Unknown,
    }
}

fn full_model(station: &Station, knowledge: &Knowledge) -> Box<FullModel> {
    Box::new(FullModel {
        mount: knowledge.model(),
        air: Air::for_demand(DemandKind::Apparent, station.site.weather),
        range: EncoderRange {
            azimuth: station.mount.azimuth_range,
            elevation: station.mount.elevation_range,
        },
    })
}
