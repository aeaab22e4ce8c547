//! A pretended mount and its daemon, in memory and on a clock that the test moves: two axes with a
//! speed and a braking distance, the protocol's commands, and faults to order.

#![allow(dead_code)] // each user takes its own part

use std::collections::VecDeque;
use std::time::Duration;

/// What is wrong with the mount or its daemon.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// It answers so late; it acts at once.
    Slow(Duration),
    /// It answers nothing and hears nothing.
    Mute,
    /// It answers senselessly.
    Garbage,
    /// Positions are not numbers.
    NanPosition,
    /// A stop is acknowledged and not obeyed.
    DeafStop,
    /// It runs away from its targets on the first axis.
    Runaway,
    /// It does not move on the first axis.
    Stuck,
}

/// One axis.
#[derive(Clone, Copy, Debug)]
struct Axis {
    at: f64,
    speed: f64,
    target: Option<f64>,
}

/// Degrees a second, and the same a second of it.
const FASTEST: f64 = 6.0;
const BRAKE: f64 = 6.0;

impl Axis {
    fn step(&mut self, seconds: f64, away: bool) {
        let wanted = match self.target {
            None => 0.0,
            Some(target) => {
                let way = target - self.at;
                let slow = (2.0 * BRAKE * way.abs()).sqrt().min(way.abs() / seconds);
                let sign = if away { -1.0 } else { 1.0 };
                sign * way.signum() * slow.min(FASTEST)
            }
        };
        let change = (wanted - self.speed).clamp(-BRAKE * seconds, BRAKE * seconds);
        self.speed += change;
        if let Some(target) = self.target
            && (target - self.at).abs() < 1e-3
            && !away
        {
            self.at = target;
            self.speed = 0.0;
        }
        self.at += self.speed * seconds;
    }
}

/// A target that was sent, and where the mount stood then.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Target {
    pub at: Duration,
    pub target: [f64; 2],
    pub from: [f64; 2],
}

/// The mount and its daemon.
#[derive(Debug)]
pub struct Mount {
    axes: [Axis; 2],
    pub faults: Vec<Fault>,
    pub targets: Vec<Target>,
    /// When stops came.
    pub stops: Vec<Duration>,
    pub polls: Vec<Duration>,
    pub other: Vec<String>,
    now: Duration,
    /// Replies on their way: when, over which connection, what.
    replies: VecDeque<(Duration, u8, String)>,
}

impl Mount {
    pub fn new(first: f64, second: f64) -> Mount {
        let axis = |at| Axis {
            at,
            speed: 0.0,
            target: None,
        };
        Mount {
            axes: [axis(first), axis(second)],
            faults: Vec::new(),
            targets: Vec::new(),
            stops: Vec::new(),
            polls: Vec::new(),
            other: Vec::new(),
            now: Duration::ZERO,
            replies: VecDeque::new(),
        }
    }

    pub fn reading(&self) -> [f64; 2] {
        [self.axes[0].at, self.axes[1].at]
    }

    /// The encoder jumps.
    pub fn jump(&mut self, first: f64) {
        self.axes[0].at += first;
        if let Some(target) = &mut self.axes[0].target {
            *target += first;
        }
    }

    pub fn stands(&self) -> bool {
        self.axes.iter().all(|axis| axis.speed.abs() < 1e-9)
    }

    fn has(&self, fault: Fault) -> bool {
        self.faults.contains(&fault)
    }

    /// Its own time.
    pub fn now(&self) -> Duration {
        self.now
    }

    /// Time goes on.
    pub fn advance(&mut self, to: Duration) {
        const STEP: f64 = 0.005;
        let seconds = to.saturating_sub(self.now).as_secs_f64();
        let steps = (seconds / STEP).ceil() as usize;
        let (away, stuck) = (self.has(Fault::Runaway), self.has(Fault::Stuck));
        for _ in 0..steps {
            let dt = seconds / steps as f64;
            for (i, axis) in self.axes.iter_mut().enumerate() {
                if i == 0 && stuck {
                    axis.speed = 0.0;
                    continue;
                }
                axis.step(dt, i == 0 && away);
            }
        }
        self.now = self.now.max(to);
    }

    /// A command comes over one of the connections.
    pub fn command(&mut self, wire: u8, text: &str) {
        if self.has(Fault::Mute) {
            return;
        }
        for line in text.lines() {
            let words: Vec<&str> = line.split_whitespace().collect();
            let reply = match words.as_slice() {
                ["P", first, second] => {
                    let target = [first, second].map(|w| w.parse::<f64>().expect("a number"));
                    self.targets.push(Target {
                        at: self.now,
                        target,
                        from: self.reading(),
                    });
                    for (axis, target) in self.axes.iter_mut().zip(target) {
                        axis.target = Some(target);
                    }
                    "RPRT 0\n".to_owned()
                }
                ["p"] => {
                    self.polls.push(self.now);
                    let [first, second] = self.reading();
                    match self.has(Fault::NanPosition) {
                        true => "nan\nnan\n".to_owned(),
                        false => format!("{first:.2}\n{second:.2}\n"),
                    }
                }
                ["S"] => {
                    self.stops.push(self.now);
                    if !self.has(Fault::DeafStop) {
                        for axis in &mut self.axes {
                            axis.target = None;
                        }
                    }
                    "RPRT 0\n".to_owned()
                }
                _ => {
                    self.other.push(line.to_owned());
                    "RPRT 0\n".to_owned()
                }
            };
            let reply = match self.has(Fault::Garbage) {
                true => "!\u{7}%?~\n".to_owned(),
                false => reply,
            };
            let late = self.faults.iter().find_map(|fault| match fault {
                Fault::Slow(by) => Some(*by),
                _ => None,
            });
            let at = self.now + late.unwrap_or(Duration::from_millis(1));
            self.replies.push_back((at, wire, reply));
        }
    }

    /// When the next reply is due.
    pub fn next_reply(&self) -> Option<Duration> {
        self.replies.iter().map(|(at, ..)| *at).min()
    }

    /// A reply that is due by now.
    pub fn take_reply(&mut self) -> Option<(u8, String)> {
        let due = self.replies.iter().position(|(at, ..)| *at <= self.now)?;
        let (_, wire, text) = self.replies.remove(due)?;
        Some((wire, text))
    }

    /// What is on its way over connections that are gone is lost.
    pub fn lose_replies(&mut self) {
        self.replies.clear();
    }
}
