//! The instants for which an emitter is computed, by a clock or all at once.

use crate::time::Utc;

/// A clock that can be waited for.
pub trait Clock {
    /// What it shows.
    fn now(&mut self) -> Utc;
    /// Comes back when it shows `time` or later.
    fn wait_until(&mut self, time: Utc);
}

/// The clock of this machine.
#[derive(Clone, Copy, Debug, Default)]
pub struct WallClock;

impl Clock for WallClock {
    fn now(&mut self) -> Utc {
        Utc::now()
    }
    fn wait_until(&mut self, time: Utc) {
        let left = time.seconds_since(Utc::now());
        if left > 0.0 {
            std::thread::sleep(std::time::Duration::from_secs_f64(left));
        }
    }
}

/// Instants in even steps: as a clock reaches them, or all at once.
#[derive(Clone, Debug)]
pub struct Instants<C> {
    clock: Option<C>,
    start: Utc,
    every_s: f64,
    step: u64,
    last: Option<Utc>,
}

impl Instants<WallClock> {
    /// From an instant on for this many seconds, without waiting.
    pub fn given(start: Utc, every_s: f64, for_s: f64) -> Instants<WallClock> {
        Instants {
            clock: None,
            start,
            every_s,
            step: 0,
            last: Some(start.plus_seconds(for_s)),
        }
    }
}

impl<C: Clock> Instants<C> {
    /// From now on, each when the clock has reached it, for this many seconds or without end. Those
    /// that were missed, as when the machine slept, are left out.
    pub fn live(mut clock: C, every_s: f64, for_s: Option<f64>) -> Instants<C> {
        let start = clock.now();
        Instants {
            clock: Some(clock),
            start,
            every_s,
            step: 0,
            last: for_s.map(|s| start.plus_seconds(s)),
        }
    }

    fn instant(&self, step: u64) -> Utc {
        self.start.plus_seconds(self.every_s * step as f64)
    }
}

impl<C: Clock> Iterator for Instants<C> {
    type Item = Utc;
    fn next(&mut self) -> Option<Utc> {
        if let Some(clock) = &mut self.clock {
            let behind = clock.now().seconds_since(self.start) / self.every_s;
            // The one that is due now counts, the ones before it do not.
            self.step = self.step.max(behind.max(0.0).floor() as u64);
        }
        let time = self.instant(self.step);
        if self.last.is_some_and(|last| time > last) {
            return None;
        }
        if let Some(clock) = &mut self.clock {
            clock.wait_until(time);
        }
        self.step += 1;
        Some(time)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A clock that goes only when it is waited for, and sometimes sleeps in.
    struct Puppet {
        shows: Utc,
        naps_s: Vec<f64>,
    }

    impl Clock for Puppet {
        fn now(&mut self) -> Utc {
            self.shows
        }
        fn wait_until(&mut self, time: Utc) {
            let nap_s = self.naps_s.pop().unwrap_or(0.0);
            self.shows = time.max(self.shows).plus_seconds(nap_s);
        }
    }

    fn start() -> Utc {
        Utc::parse("2026-09-12T09:30:00Z").unwrap()
    }

    fn seconds(instants: impl Iterator<Item = Utc>) -> Vec<f64> {
        instants.map(|t| t.seconds_since(start())).collect()
    }

    #[test]
    fn instants_come_in_even_steps_and_missed_ones_are_left_out() {
        let given = Instants::given(start(), 2.0, 5.0);
        assert_eq!(seconds(given), [0.0, 2.0, 4.0]);
        let punctual = Puppet {
            shows: start(),
            naps_s: vec![],
        };
        let live = Instants::live(punctual, 1.0, Some(3.0));
        assert_eq!(seconds(live), [0.0, 1.0, 2.0, 3.0]);
        // After the second instant the machine sleeps for three and a half seconds.
        let sleepy = Puppet {
            shows: start(),
            naps_s: vec![3.5, 0.1],
        };
        let live = Instants::live(sleepy, 1.0, Some(7.0));
        assert_eq!(seconds(live), [0.0, 1.0, 4.0, 5.0, 6.0, 7.0]);
        let endless = Puppet {
            shows: start(),
            naps_s: vec![],
        };
        assert_eq!(Instants::live(endless, 1.0, None).take(5000).count(), 5000);
    }
}
