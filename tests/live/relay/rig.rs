//! A relay between pretended clients and a pretended mount, all in memory, on a clock that the test
//! moves.

#![allow(dead_code)] // each user takes its own part

use std::collections::BTreeMap;
use std::time::Duration;

use plumbeam::angle::{Angle, EncoderReading};
use plumbeam::live::protocol::{DaemonLine, Lines};
use plumbeam::live::{
    Action, Aim, Event, InKeyhole, Loudness, OnDisconnect, Operator, Relay, RelayNotice, RelayRow,
    RelaySettings, RelayStatus, ReportTurn, SunPlace, Wire,
};
use plumbeam::mount::{MountModel, Term, TermValues};
use plumbeam::station::Weather;
use plumbeam::table::{Air, DemandKind, EncoderRange, FullModel};
use plumbeam::time::Utc;

use super::mount::Mount;

pub const fn deg(degrees: f64) -> Angle {
    Angle::from_degrees(degrees)
}

pub fn seconds(s: f64) -> Duration {
    Duration::from_secs_f64(s)
}

/// An az-el mount with these terms, and ranges of -180 to 540 and 0 to 90 degrees.
pub fn model(terms: &[(Term, f64)], kind: DemandKind) -> Box<FullModel> {
    let values = terms.iter().fold(TermValues::ZERO, |values, (term, v)| {
        values.with_shown(*term, *v)
    });
    let weather = Weather {
        pressure_hpa: 1013.25,
        temperature_c: 15.0,
        relative_humidity: 0.5,
    };
    Box::new(FullModel {
        mount: MountModel::az_el(values),
        air: Air::for_demand(kind, weather),
        range: EncoderRange {
            azimuth: (deg(-180.0), deg(540.0)),
            elevation: (deg(0.0), deg(90.0)),
        },
    })
}

pub fn settings() -> RelaySettings {
    RelaySettings {
        leash: deg(10.0),
        deadband: deg(0.05),
        zone: None,
        beamwidth: deg(2.0),
        on_disconnect: OnDisconnect::Finish,
        park: None,
        allow_move: false,
        allow_reset: false,
        own_stop: true,
        who: "relay under test".to_owned(),
    }
}

pub struct Rig {
    pub relay: Relay,
    pub mount: Mount,
    pub now: Duration,
    start: Utc,
    /// What each client received and has not read.
    received: BTreeMap<u64, String>,
    splits: BTreeMap<u64, Lines>,
    pub rows: Vec<RelayRow>,
    pub told: Vec<RelayNotice>,
    pub shown: Option<RelayStatus>,
    pub ended: bool,
    /// Whether the daemon takes connections.
    pub reachable: bool,
    /// Whether it takes a second one beside the first.
    pub two_doors: bool,
    up: [bool; 2],
    /// Connections asked for: when.
    pub tries: Vec<(Duration, Wire)>,
    /// When the relay wrote a stop.
    pub stops_written: Vec<(Duration, Wire)>,
    lines: u64,
}

impl Rig {
    pub fn new(settings: RelaySettings, full: Box<FullModel>, mount: Mount) -> Rig {
        Rig::under(settings, full, mount, ReportTurn::AsAsked, SunPlace::Down)
    }

    pub fn under(
        settings: RelaySettings,
        full: Box<FullModel>,
        mount: Mount,
        report: ReportTurn,
        sun: SunPlace,
    ) -> Rig {
        Rig::with_sky(settings, full, mount, report, Box::new(move |_| sun))
    }

    pub fn with_sky(
        settings: RelaySettings,
        full: Box<FullModel>,
        mount: Mount,
        report: ReportTurn,
        sun: plumbeam::live::SunAt,
    ) -> Rig {
        let aim = Aim::new(full, InKeyhole::Hold, report);
        Rig {
            relay: Relay::new(settings, aim, sun),
            mount,
            now: Duration::ZERO,
            start: Utc::parse("2026-09-12T10:00:00Z").unwrap(),
            received: BTreeMap::new(),
            splits: BTreeMap::new(),
            rows: Vec::new(),
            told: Vec::new(),
            shown: None,
            ended: false,
            reachable: true,
            two_doors: true,
            up: [false; 2],
            tries: Vec::new(),
            stops_written: Vec::new(),
            lines: 0,
        }
    }

    /// The same, connected and with a first position.
    pub fn ready(mut self) -> Rig {
        self.run(0.5);
        self
    }

    pub fn handle(&mut self, event: Event<'_>) {
        let utc = self.start.plus_seconds(self.now.as_secs_f64());
        let actions = self.relay.handle(event, self.now, utc);
        for action in actions {
            self.act(action);
        }
    }

    fn act(&mut self, action: Action) {
        let number = |wire| u8::from(wire == Wire::Stop);
        match action {
            Action::Send(id, text) => self.received.entry(id).or_default().push_str(&text),
            Action::Close(id) => self.close(id),
            Action::Connect(wire) => {
                self.tries.push((self.now, wire));
                let welcome = self.reachable && (self.two_doors || wire == Wire::Main);
                if welcome {
                    self.up[usize::from(number(wire))] = true;
                    self.handle(Event::WireUp(wire));
                } else {
                    self.handle(Event::WireDown(wire, "refused".to_owned()));
                }
            }
            Action::Write(wire, text) => {
                if text.starts_with('S') {
                    self.stops_written.push((self.now, wire));
                }
                if self.up[usize::from(number(wire))] {
                    self.mount.command(number(wire), &text);
                }
            }
            Action::Drop(wire) => self.up[usize::from(number(wire))] = false,
            Action::Log(row) => self.rows.push(row),
            Action::Tell(told) => self.told.push(told),
            Action::Show(status) => self.shown = Some(status),
            Action::Driven(_) => {}
            Action::End => self.ended = true,
        }
    }

    /// Both connections to the daemon break, and it takes no new ones.
    pub fn break_wires(&mut self) {
        self.reachable = false;
        self.mount.lose_replies();
        for (i, wire) in [(0, Wire::Main), (1, Wire::Stop)] {
            if std::mem::take(&mut self.up[i]) {
                self.handle(Event::WireDown(wire, "broken".to_owned()));
            }
        }
    }

    pub fn open(&mut self, id: u64) {
        self.handle(Event::Opened(id, format!("client {id}")));
    }

    pub fn close(&mut self, id: u64) {
        self.splits.remove(&id);
        self.handle(Event::Closed(id));
    }

    /// A client sends this, in one packet.
    pub fn send(&mut self, id: u64, text: &str) {
        let mut came = Vec::new();
        self.splits
            .entry(id)
            .or_default()
            .feed(text.as_bytes(), |line| came.push(line));
        let counted: Vec<(DaemonLine, u64)> = came
            .into_iter()
            .map(|line| {
                self.lines += 1;
                (line, self.lines)
            })
            .collect();
        for (line, number) in counted {
            self.handle(Event::Line(id, line, number));
        }
    }

    /// What a client has received and not read yet.
    pub fn read(&mut self, id: u64) -> String {
        self.received.remove(&id).unwrap_or_default()
    }

    /// A client sends a command and waits for its reply, at most so long.
    pub fn ask(&mut self, id: u64, text: &str) -> String {
        self.send(id, text);
        let until = self.now + seconds(2.5);
        while !self.received.contains_key(&id) && self.now < until {
            self.step(until);
        }
        self.read(id)
    }

    /// The position that a client reads.
    pub fn position(&mut self, id: u64) -> [f64; 2] {
        let reply = self.ask(id, "p\n");
        let numbers: Vec<f64> = reply
            .lines()
            .map(|line| {
                line.parse()
                    .unwrap_or_else(|_| panic!("a number: {reply:?}"))
            })
            .collect();
        numbers.try_into().expect("two lines")
    }

    pub fn operator(&mut self, what: Operator) {
        self.handle(Event::Operator(what, "the test"));
    }

    /// Time goes on by so many seconds.
    pub fn run(&mut self, s: f64) {
        let until = self.now + seconds(s);
        while self.now < until {
            self.step(until);
        }
    }

    /// To the next thing that happens.
    fn step(&mut self, until: Duration) {
        let mut next = until.min(self.relay.next_tick());
        if let Some(at) = self.mount.next_reply() {
            next = next.min(at.max(self.now));
        }
        self.now = next.max(self.now);
        self.mount.advance(self.now);
        let mut any = false;
        while let Some((wire, text)) = self.mount.take_reply() {
            any = true;
            if self.up[usize::from(wire)] {
                let wire = match wire {
                    0 => Wire::Main,
                    _ => Wire::Stop,
                };
                self.handle(Event::WireBytes(wire, text.as_bytes()));
            }
        }
        if !any {
            self.handle(Event::Tick);
        }
    }

    /// Whether something like this was told at least so loud.
    pub fn was_told(&self, loudness: Loudness, words: &str) -> bool {
        self.told
            .iter()
            .any(|told| told.loudness >= loudness && told.text.contains(words))
    }

    /// Where the beam truly points.
    pub fn reading(&self) -> EncoderReading {
        let [first, second] = self.mount.reading();
        EncoderReading::from_degrees(first, second)
    }
}
