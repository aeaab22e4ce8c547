//! One driven axis: speed, braking, hard stops, the encoder.

/// Current command of an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Told {
    /// Hold the present position.
    Hold,
    /// Brake to a stop.
    Stop,
    /// Go to this position, in counts of the drive, degrees.
    To(f64),
}

/// Faults of an axis that are active now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Failing {
    pub stuck: bool,
    pub runaway: bool,
}

/// One simulated axis; degrees, seconds.
#[derive(Clone, Copy, Debug)]
pub struct PretendedAxis {
    low: f64,
    high: f64,
    fastest: f64,
    brake: f64,
    speed: f64,
    told: Told,
    /// Position that the drive counts; the true axis differs by `slip`, the reading by `jump`.
    pub count: f64,
    pub slip: f64,
    pub jump: f64,
    /// Direction of the last motion: +1 or -1.
    pub side: f64,
}

/// Distance of the hard stops beyond the range, degrees; invented.
const HARD_STOP: f64 = 5.0;
/// Degrees: an axis this near its target and slower than [`AT_REST`] has arrived; finer than any
/// encoder.
const ARRIVED: f64 = 1e-4;
/// Degrees a second below which an axis counts as stationary.
const AT_REST: f64 = 0.05;

impl PretendedAxis {
    pub fn new((low, high): (f64, f64), fastest: f64, brake: f64, start: f64) -> PretendedAxis {
        PretendedAxis {
            low,
            high,
            fastest,
            brake,
            speed: 0.0,
            told: Told::Hold,
            count: start,
            slip: 0.0,
            jump: 0.0,
            side: 1.0,
        }
    }

    pub fn go(&mut self, reading: f64) {
        self.told = Told::To(reading - self.jump);
    }

    pub fn stop(&mut self) {
        if self.told != Told::Hold {
            self.told = Told::Stop;
        }
    }

    pub fn is_holding(&self) -> bool {
        self.told == Told::Hold
    }

    pub fn step(&mut self, seconds: f64, failing: Failing) {
        if failing.stuck {
            self.speed = 0.0;
            return;
        }
        let wanted = match self.told {
            Told::Hold => return,
            Told::Stop => 0.0,
            Told::To(target) => {
                let way = target - self.count;
                if way.abs() < ARRIVED && self.speed.abs() < AT_REST && !failing.runaway {
                    self.count = target;
                    self.speed = 0.0;
                    self.told = Told::Hold;
                    return;
                }
                // Highest speed from which it can still brake in time, half a step ahead.
                let half = 0.5 * self.brake * seconds;
                let fastest = (2.0 * self.brake * way.abs() + half * half).sqrt() - half;
                let fastest = fastest.min(way.abs() / seconds).min(self.fastest);
                match failing.runaway {
                    true => -way.signum() * self.fastest,
                    false => way.signum() * fastest,
                }
            }
        };
        let most = self.brake * seconds;
        let braking = wanted * self.speed > 0.0 && wanted.abs() < self.speed.abs();
        // Braking follows the profile exactly: lagging it would end in an overshoot.
        let change = match braking && self.speed.abs() - wanted.abs() < 2.0 * most {
            true => wanted - self.speed,
            false => (wanted - self.speed).clamp(-most, most),
        };
        self.speed += change;
        if self.told == Told::Stop && self.speed == 0.0 {
            self.told = Told::Hold;
        }
        let way = self.speed * seconds;
        if way != 0.0 {
            self.side = way.signum();
        }
        let there = self.count + way + self.slip;
        let held = there.clamp(self.low - HARD_STOP, self.high + HARD_STOP);
        if held != there {
            self.speed = 0.0;
        }
        self.count = held - self.slip;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(axis: &mut PretendedAxis, seconds: f64, failing: Failing) {
        for _ in 0..(seconds / 0.005).round() as usize {
            axis.step(0.005, failing);
        }
    }

    #[test]
    fn it_goes_where_it_is_told_by_a_trapezoid_and_does_not_overshoot() {
        let mut axis = PretendedAxis::new((-180.0, 540.0), 6.0, 6.0, 0.0);
        axis.go(30.0);
        let mut most: f64 = 0.0;
        let mut seconds: f64 = 0.0;
        while !axis.is_holding() && seconds < 20.0 {
            run(&mut axis, 0.01, Failing::default());
            most = most.max(axis.count);
            seconds += 0.01;
        }
        // 30 degrees at 6 deg/s with a second of speeding up and of braking: 6 s.
        assert!((seconds - 6.0).abs() < 0.1, "{seconds}");
        assert!(
            most < 30.0 + 1e-3 && (axis.count - 30.0).abs() < 1e-9,
            "{most}"
        );
        assert_eq!(axis.side, 1.0);
    }

    #[test]
    fn it_brakes_when_stopped_and_stands_when_stuck_and_runs_away_to_its_hard_stop() {
        let mut axis = PretendedAxis::new((-10.0, 90.0), 6.0, 6.0, 0.0);
        axis.go(60.0);
        run(&mut axis, 3.0, Failing::default());
        axis.stop();
        let at = axis.count;
        run(&mut axis, 2.0, Failing::default());
        // v^2 / 2 a = 3 degrees.
        assert!(axis.is_holding() && (axis.count - at - 3.0).abs() < 0.1);
        axis.go(60.0);
        let stuck = Failing {
            stuck: true,
            runaway: false,
        };
        let at = axis.count;
        run(&mut axis, 2.0, stuck);
        assert_eq!(axis.count, at);
        let away = Failing {
            stuck: false,
            runaway: true,
        };
        run(&mut axis, 30.0, away);
        assert!((axis.count + 15.0).abs() < 0.1, "{}", axis.count);
    }
}
