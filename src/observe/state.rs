//! State of an observation's present task: a move about an emitter, or the test that the axes stop.

use std::collections::VecDeque;
use std::time::Duration;

use super::pattern::Stretch;
use super::search::{PowerAtOffset, Search};
use super::watch::axis_name;
use crate::angle::Angle;
use crate::live::Axes;
use crate::logbook::Sample;
use crate::mount::MountModel;
use crate::sky::{EmitterId, Sky};

/// What a move is for.
#[derive(Clone, Debug)]
pub(super) enum Errand {
    /// The receiver's noise on empty sky.
    Empty,
    /// To find an emitter.
    Search(Search),
    /// Scans, the first of this number.
    Cross(usize),
}

/// Stage of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Stage {
    /// To its beginning, or to where the beam is clear of the Sun before it.
    Approach,
    /// Into the zone round the Sun, to its beginning.
    In,
    /// Along it, since then.
    Along(Duration),
    /// At one of its stops, sampled from this time on; `None` while the mount still moves.
    Stop(usize, Option<Duration>),
    /// Out of the zone round the Sun.
    Out,
}

/// A move.
#[derive(Clone, Debug)]
pub(super) struct Move {
    pub errand: Errand,
    pub emitter: Option<EmitterId>,
    pub model: MountModel,
    /// Readings on the emitter, now and at the reading before.
    pub base: (Duration, Axes),
    pub base_before: (Duration, Axes),
    /// Motion of the beam on the sky per unit change of each reading.
    pub rates: [f64; 2],
    pub stretches: VecDeque<Stretch>,
    pub stretch: Option<Stretch>,
    pub stage: Stage,
    pub settled: u32,
    /// Before and behind the present stretch, clear of the Sun.
    pub clear: Option<[[Angle; 2]; 2]>,
    pub seen: Vec<PowerAtOffset>,
    /// Of each scan.
    pub samples: [Vec<Sample>; 2],
    pub powers: Vec<f64>,
    pub began: Duration,
    pub done: usize,
}

impl Move {
    pub(super) fn doing(&self, sky: &Sky) -> String {
        let name = self.emitter.map_or("", |id| sky.name(id));
        match &self.errand {
            Errand::Empty => "listens to the empty sky".to_owned(),
            Errand::Search(search) => {
                let (done, all) = search.progress();
                format!("searches for {name}, row {done} of {all}")
            }
            Errand::Cross(scan) => {
                let all = self.done + self.stretches.len();
                format!("scan {scan}, {name}, cut {} of {all}", self.done.max(1))
            }
        }
    }

    /// Readings at an offset on the sky.
    pub(super) fn at(&self, offset: [Angle; 2]) -> Axes {
        let base = self.base.1;
        Axes([0, 1].map(|i| base.0[i] + offset[i] / self.rates[i]))
    }

    /// The offset on the sky of readings at a time.
    pub(super) fn offset_of(&self, axes: Axes, at: Duration) -> [Angle; 2] {
        let ((t1, before), (t2, now)) = (self.base_before, self.base);
        let share = match t2 > t1 {
            true => (at.as_secs_f64() - t1.as_secs_f64()) / (t2 - t1).as_secs_f64(),
            false => 1.0,
        };
        [0, 1].map(|i| {
            let base = before.0[i] + (now.0[i] - before.0[i]) * share;
            (axes.0[i] - base) * self.rates[i]
        })
    }

    /// Offset of the strongest sample.
    pub(super) fn strongest(&self) -> Option<[Angle; 2]> {
        let best = (self.seen.iter()).max_by(|a, b| a.power.total_cmp(&b.power))?;
        Some(best.offset)
    }
}

/// The test of one axis after the other.
#[derive(Clone, Debug)]
pub struct StopTest {
    pub axis: usize,
    pub side: f64,
    pub from: Axes,
    pub target: Axes,
    /// When it first moved.
    pub moved: Option<Duration>,
    /// When the stop was sent, and where it was then.
    pub stopped: Option<(Duration, Axes)>,
    pub fastest: Angle,
    pub began: Duration,
    pub refused: bool,
}

impl StopTest {
    pub(super) fn doing(&self) -> String {
        match self.stopped {
            None => format!("tests {}: moves", axis_name(self.axis)),
            Some(_) => format!("tests {}: stops", axis_name(self.axis)),
        }
    }
}
