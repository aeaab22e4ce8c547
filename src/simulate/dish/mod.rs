//! A simulated dish: a mount with its daemon and a receiver, described by a truth file and driven
//! by the caller's clock. For practice, for tests and for other programs.

mod axis;
mod fault;
mod receiver;
mod serve;

use std::collections::VecDeque;
use std::time::Duration;

use nalgebra::Vector3;

pub use fault::{Fault, FaultKind};
pub use serve::serve;

use super::truth::{Practice, Truth};
use crate::angle::{Angle, EncoderReading, angle_between};
use crate::live::protocol::{Code, Command, DaemonRequest, DemandLimits, Lines};
use crate::mount::{ApproachSigns, MountModel, Term};
use crate::problem::Error;
use crate::sky::Sky;
use crate::station::Station;
use crate::time::Utc;
use axis::{Failing, PretendedAxis};
use receiver::Receiver;

/// Longest step of the motion, seconds: short against braking, which takes tenths of one.
const STEP_S: f64 = 0.005;
/// Delay of a reply, as from a daemon on the same network; invented.
const REPLY: Duration = Duration::from_millis(4);

/// Identifies one connection to the daemon.
pub type Link = u64;

/// Positions of the axes at one time.
#[derive(Clone, Copy, Debug)]
struct Was {
    seconds: f64,
    axes: [f64; 2],
    sides: [f64; 2],
}

/// A simulated mount, its daemon and a receiver.
pub struct Dish {
    axes: [PretendedAxis; 2],
    model: MountModel,
    practice: Practice,
    resolution: f64,
    lag_s: f64,
    ahead_s: f64,
    faults: Vec<Fault>,
    slipped: Vec<bool>,
    receiver: Receiver,
    range: [(f64, f64); 2],
    now: Duration,
    first_motion: Option<Duration>,
    frozen: Option<[f64; 2]>,
    past: VecDeque<Was>,
    replies: VecDeque<(Duration, Link, String)>,
    power_due: Duration,
    lines: Vec<(Link, Lines)>,
    /// Seconds of the run and separation of beam and Sun, while the Sun was up.
    sun: Vec<(f64, Angle)>,
}

impl Dish {
    /// Makes the dish that a truth file describes, starting at `start`.
    ///
    /// # Errors
    /// Terms that this kind of mount does not have.
    pub fn new(
        station: &Station,
        sky: &Sky,
        truth: &Truth,
        faults: Vec<Fault>,
        (start, seed): (Utc, u64),
    ) -> Result<Dish, Error> {
        let degrees = |(low, high): (Angle, Angle)| (low.degrees(), high.degrees());
        let range = [
            degrees(station.mount.azimuth_range),
            degrees(station.mount.elevation_range),
        ];
        let practice = truth.practice;
        let axis = |i: usize| {
            let start = practice.start_deg[i].clamp(range[i].0, range[i].1);
            PretendedAxis::new(
                range[i],
                practice.speed_deg_s,
                practice.braking_deg_s2,
                start,
            )
        };
        let model = truth.model(&station.mount.geometry)?;
        Ok(Dish {
            axes: [axis(0), axis(1)],
            resolution: truth.noise.resolution_deg,
            lag_s: truth.scans.lag_s,
            ahead_s: model.terms().inside(Term::ClockOffset),
            slipped: vec![false; faults.len()],
            faults,
            receiver: Receiver::new(
                station,
                sky,
                (practice, truth.scans.signal_to_noise),
                (start, seed),
            ),
            model,
            practice,
            range,
            now: Duration::ZERO,
            first_motion: None,
            frozen: None,
            past: VecDeque::new(),
            replies: VecDeque::new(),
            power_due: Duration::ZERO,
            lines: Vec::new(),
            sun: Vec::new(),
        })
    }

    fn fault(&self, kind: FaultKind) -> Option<&Fault> {
        let since = self.first_motion.map(|at| self.now.saturating_sub(at));
        self.faults
            .iter()
            .find(|f| f.kind == kind && f.is_on(since))
    }

    /// Whether the daemon accepts connections.
    pub fn is_reachable(&self) -> bool {
        self.fault(FaultKind::DropRotator).is_none()
    }

    /// Direction in which the beam really points, as a unit vector east, north, up.
    pub fn beam(&self) -> Vector3<f64> {
        self.beam_of(&self.was())
    }

    /// Sets the counts of the drives, degrees, as if the mount were turned by hand.
    pub fn stand_at(&mut self, readings: [f64; 2]) {
        for (axis, reading) in self.axes.iter_mut().zip(readings) {
            axis.count = reading;
        }
    }

    /// Seconds of the run and separation of beam and Sun while the Sun was up, once for each line
    /// of the receiver.
    pub fn sun_distances(&self) -> &[(f64, Angle)] {
        &self.sun
    }

    /// Time of the first motion on the caller's clock, from which faults are timed; `None` before.
    pub fn first_motion(&self) -> Option<Duration> {
        self.first_motion
    }

    /// Whether neither axis has a command to move or stop.
    pub fn is_standing(&self) -> bool {
        self.axes.iter().all(PretendedAxis::is_holding)
    }

    fn was(&self) -> Was {
        Was {
            seconds: self.now.as_secs_f64(),
            axes: self.axes.map(|a| a.count + a.slip),
            sides: self.axes.map(|a| a.side),
        }
    }

    fn beam_of(&self, was: &Was) -> Vector3<f64> {
        let approach = ApproachSigns {
            azimuth: was.sides[0],
            elevation: was.sides[1],
        };
        let reading = EncoderReading::from_degrees(was.axes[0], was.axes[1]);
        self.model.beam_vector(reading, approach)
    }

    /// Advances the dish to the time `to`.
    pub fn advance(&mut self, to: Duration) {
        let seconds = to.saturating_sub(self.now).as_secs_f64();
        if seconds <= 0.0 {
            return;
        }
        let steps = (seconds / STEP_S).ceil().max(1.0) as usize;
        let failing = [0, 1].map(|i| Failing {
            stuck: self.fault(FaultKind::Stuck(i)).is_some(),
            runaway: self.fault(FaultKind::Runaway(i)).is_some(),
        });
        if !self.is_standing() {
            self.first_motion = self.first_motion.or(Some(self.now));
            for _ in 0..steps {
                for (axis, failing) in self.axes.iter_mut().zip(failing) {
                    axis.step(seconds / steps as f64, failing);
                }
            }
        }
        self.now = to;
        self.order_faults();
        let was = self.was();
        self.past.push_back(was);
        let oldest = to.as_secs_f64() - self.lag_s.abs() - 1.0;
        while self.past.len() > 2 && self.past[1].seconds < oldest {
            self.past.pop_front();
        }
    }

    /// Applies slips and jumps once when they begin and takes them back when they end, and freezes
    /// the readings.
    fn order_faults(&mut self) {
        let since = self.first_motion.map(|at| self.now.saturating_sub(at));
        for (fault, done) in self.faults.iter().zip(&mut self.slipped) {
            let on = fault.is_on(since);
            let (FaultKind::Slip(_) | FaultKind::JumpReading) = fault.kind else {
                continue;
            };
            if on == *done {
                continue;
            }
            *done = on;
            let by = if on { fault.size } else { -fault.size };
            match fault.kind {
                FaultKind::Slip(i) => self.axes[i].slip += by,
                _ => self.axes[0].jump += by,
            }
        }
        let freezes = self.fault(FaultKind::FreezeReading).is_some();
        match (freezes, self.frozen) {
            (true, None) => self.frozen = Some(self.reading()),
            (false, Some(_)) => self.frozen = None,
            _ => {}
        }
    }

    /// Encoder readings, degrees, rounded to their step.
    pub fn reading(&self) -> [f64; 2] {
        if let Some(frozen) = self.frozen {
            return frozen;
        }
        self.axes.map(|axis| {
            let reading = axis.count + axis.jump;
            match self.resolution {
                step if step > 0.0 => (reading / step).round() * step,
                _ => reading,
            }
        })
    }

    /// Takes bytes that a client sent over a link; replies come later from [`Dish::take_reply`].
    pub fn hear(&mut self, link: Link, bytes: &[u8]) {
        let place = match self.lines.iter().position(|(known, _)| *known == link) {
            Some(place) => place,
            None => {
                self.lines.push((link, Lines::default()));
                self.lines.len() - 1
            }
        };
        let mut came = Vec::new();
        self.lines[place].1.feed(bytes, |line| came.push(line));
        for line in came {
            let reply = match line {
                crate::live::protocol::DaemonLine::Text(text) => self.reply(&text),
                crate::live::protocol::DaemonLine::TooLong => Some(format!("{}\n", Code::Protocol)),
            };
            let Some(reply) = reply else { continue };
            let reply = match self.fault(FaultKind::Garbage) {
                Some(_) => "!\u{7}%?~\n".to_owned(),
                None => reply,
            };
            let late = self.fault(FaultKind::Slow);
            let delay = late.map_or(REPLY, |f| Duration::from_secs_f64(f.size.max(0.0)));
            self.replies.push_back((self.now + delay, link, reply));
        }
    }

    /// Forgets a connection that was closed.
    pub fn close(&mut self, link: Link) {
        self.lines.retain(|(known, _)| *known != link);
        self.replies.retain(|(_, known, _)| *known != link);
    }

    fn reply(&mut self, text: &str) -> Option<String> {
        let request = DaemonRequest::parse(text)?;
        let done = request.answer(Code::Done);
        Some(match request.command {
            Command::SetPosition { azimuth, elevation } => {
                let target = [azimuth, elevation];
                let within = target
                    .iter()
                    .zip(self.range)
                    .all(|(at, (low, high))| (low..=high).contains(at));
                if !within {
                    return Some(request.answer(Code::Invalid));
                }
                for (axis, target) in self.axes.iter_mut().zip(target) {
                    axis.go(target);
                }
                done
            }
            Command::GetPosition => {
                let [one, two] = match self.fault(FaultKind::NanPosition) {
                    Some(_) => [f64::NAN; 2],
                    None => self.reading(),
                };
                self.position(&request, one, two)
            }
            Command::Stop => {
                if self.fault(FaultKind::DeafStop).is_none() {
                    self.axes.iter_mut().for_each(PretendedAxis::stop);
                }
                done
            }
            Command::Info => request.info("plumbeam's pretended mount"),
            Command::DumpState => request.state(&DemandLimits {
                azimuth: self.range[0],
                elevation: self.range[1],
            }),
            Command::Quit => return None,
            Command::Faulty => request.answer(Code::Invalid),
            _ => request.answer(Code::Unknown),
        })
    }

    fn position(&self, request: &DaemonRequest, one: f64, two: f64) -> String {
        // Enough decimals for the encoder's step.
        let fine = self.resolution > 0.0 && self.resolution < 0.01;
        match fine && one.is_finite() && request.answer(Code::Done) == "RPRT 0\n" {
            true => format!("{one:.4}\n{two:.4}\n"),
            false => request.position(one, two),
        }
    }

    /// Takes a reply that is due; `None` if there is none.
    pub fn take_reply(&mut self) -> Option<(Link, String)> {
        let due = self.replies.iter().position(|(at, ..)| *at <= self.now)?;
        let (_, link, text) = self.replies.remove(due)?;
        Some((link, text))
    }

    /// Takes a line of the receiver that is due: the power in decibels. `None` if none is due.
    pub fn take_power(&mut self) -> Option<String> {
        if self.now < self.power_due {
            return None;
        }
        self.power_due += Duration::from_secs_f64(1.0 / self.practice.lines_a_second);
        let seconds = self.now.as_secs_f64();
        if let Some(sun) = self.receiver.sun(seconds) {
            self.sun.push((seconds, angle_between(&self.beam(), &sun)));
        }
        if self.fault(FaultKind::SilentReceiver).is_some() {
            return None;
        }
        let then = self.now.as_secs_f64() - self.lag_s;
        let was = self.at(then);
        let beam = self.beam_of(&was);
        let saturated = self.fault(FaultKind::Saturate).is_some();
        Some(self.receiver.line(&beam, then + self.ahead_s, saturated))
    }

    /// Positions of the axes at a past time, interpolated.
    fn at(&self, seconds: f64) -> Was {
        let after = self.past.iter().position(|was| was.seconds >= seconds);
        match after {
            None => self.was(),
            Some(0) => self.past[0],
            Some(i) => {
                let (one, other) = (self.past[i - 1], self.past[i]);
                let share = (seconds - one.seconds) / (other.seconds - one.seconds);
                Was {
                    seconds,
                    axes: [0, 1].map(|k| one.axes[k] + (other.axes[k] - one.axes[k]) * share),
                    sides: other.sides,
                }
            }
        }
    }

    /// When the next reply or line is due.
    pub fn next(&self) -> Duration {
        let reply = self.replies.iter().map(|(at, ..)| *at).min();
        reply.map_or(self.power_due, |at| at.min(self.power_due))
    }
}
