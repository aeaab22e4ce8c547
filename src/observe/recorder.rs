//! Joins readings of encoders and receiver: a sample is a power with the readings at its time.

use std::collections::VecDeque;
use std::time::Duration;

use crate::angle::Angle;
use crate::live::Axes;

/// A power with the readings at its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Joined {
    /// On the clock of the machine.
    pub at: Duration,
    /// Readings.
    pub axes: Axes,
    /// In the receiver's unit.
    pub value: f64,
}

/// Readings farther apart than this are not interpolated.
const GAP: Duration = Duration::from_millis(1200);
/// Most powers that wait for a reading.
const MOST_WAITING: usize = 100_000;

/// Joins readings and powers.
#[derive(Clone, Debug, Default)]
pub struct Recorder {
    last: Option<(Axes, Duration)>,
    waiting: VecDeque<(Duration, f64)>,
}

impl Recorder {
    /// A power came.
    pub fn power(&mut self, at: Duration, value: f64) {
        if self.waiting.len() < MOST_WAITING {
            self.waiting.push_back((at, value));
        }
    }

    /// Takes a reading and returns the samples that it completes.
    pub fn reading(&mut self, axes: Axes, at: Duration) -> Vec<Joined> {
        let mut joined = Vec::new();
        let before = self.last.replace((axes, at));
        let Some((from, since)) = before.filter(|(_, since)| *since < at) else {
            return joined;
        };
        let near = at - since <= GAP;
        while let Some((time, value)) = self.waiting.front().copied() {
            if time > at {
                break;
            }
            self.waiting.pop_front();
            if time < since || !near {
                continue;
            }
            let share = (time - since).as_secs_f64() / (at - since).as_secs_f64();
            let between = |one: Angle, other: Angle| one + (other - one) * share;
            joined.push(Joined {
                at: time,
                axes: from.with(axes, between),
                value,
            });
        }
        joined
    }

    /// Discards everything taken so far.
    pub fn forget(&mut self) {
        self.last = None;
        self.waiting.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn ms(ms: u64) -> Duration {
        Duration::from_millis(ms)
    }

    #[test]
    fn a_power_gets_the_readings_of_its_own_time() {
        let mut recorder = Recorder::default();
        recorder.power(ms(50), 1.0);
        assert_eq!(
            recorder.reading(Axes::from_degrees(10.0, 20.0), ms(100)),
            []
        );
        recorder.power(ms(150), 2.0);
        recorder.power(ms(320), 3.0);
        let joined = recorder.reading(Axes::from_degrees(12.0, 20.0), ms(300));
        // What came before the first reading has none.
        assert_eq!(joined.len(), 1);
        assert_eq!(joined[0].value, 2.0);
        let [one, two] = joined[0].axes.degrees();
        assert!((one - 10.5).abs() < 1e-9 && (two - 20.0).abs() < 1e-9);
        // Over a gap in the readings nothing is joined.
        recorder.power(ms(900), 4.0);
        assert_eq!(
            recorder.reading(Axes::from_degrees(14.0, 20.0), ms(2000)),
            []
        );
    }
}
