//! Faults that can be injected into a simulated dish.

use std::fmt;
use std::time::Duration;

use crate::problem::nearest_name;

/// Kind of fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// An axis and its reading stop moving.
    Stuck(usize),
    /// An axis moves away from its target; a stop is obeyed.
    Runaway(usize),
    /// An axis jumps; its reading does not.
    Slip(usize),
    /// The reading of the first axis jumps; the axis does not.
    JumpReading,
    /// Both readings freeze while the axes move.
    FreezeReading,
    /// A stop is acknowledged but not obeyed.
    DeafStop,
    /// The receiver sends nothing.
    SilentReceiver,
    /// The receiver saturates at half of the strongest peak.
    Saturate,
    /// The daemon closes its connections and accepts no new ones.
    DropRotator,
    /// Replies are delayed by `size` seconds; commands act at once.
    Slow,
    /// Replies are garbage.
    Garbage,
    /// Positions are not numbers.
    NanPosition,
}

/// A fault to inject.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// Kind of fault.
    pub kind: FaultKind,
    /// Size, where the kind has one: degrees, or seconds of delay.
    pub size: f64,
    /// Start, counted from the first motion.
    pub at: Duration,
    /// Duration; `None` for a fault that lasts for ever.
    pub lasts: Option<Duration>,
}

/// Name, usual size, usual duration in seconds.
const NAMES: [(&str, FaultKind, f64, Option<f64>); 15] = [
    ("stuck-axis-1", FaultKind::Stuck(0), 0.0, None),
    ("stuck-axis-2", FaultKind::Stuck(1), 0.0, None),
    ("runaway-axis-1", FaultKind::Runaway(0), 0.0, None),
    ("runaway-axis-2", FaultKind::Runaway(1), 0.0, None),
    ("slip-axis-1", FaultKind::Slip(0), 2.5, None),
    ("slip-axis-2", FaultKind::Slip(1), 2.5, None),
    ("jump-reading", FaultKind::JumpReading, 5.0, None),
    ("freeze-reading", FaultKind::FreezeReading, 0.0, None),
    ("deaf-stop", FaultKind::DeafStop, 0.0, None),
    ("silent-receiver", FaultKind::SilentReceiver, 0.0, None),
    ("saturate", FaultKind::Saturate, 0.0, None),
    ("drop-rotator", FaultKind::DropRotator, 0.0, Some(3.0)),
    ("slow", FaultKind::Slow, 3.0, None),
    ("garbage", FaultKind::Garbage, 0.0, None),
    ("nan-position", FaultKind::NanPosition, 0.0, None),
];

impl Fault {
    /// Reads `NAME[=SIZE]@SECONDS[+SECONDS]`: kind, size, start after the first motion, and
    /// duration.
    ///
    /// # Errors
    /// A message that says what is wrong with the text.
    pub fn parse(text: &str) -> Result<Fault, String> {
        let form = || {
            format!(
                "{text:?} is not NAME[=SIZE]@SECONDS[+SECONDS], such as stuck-axis-1@60 or \
                 drop-rotator@60+10"
            )
        };
        let (what, when) = text.split_once('@').ok_or_else(form)?;
        let (name, size) = match what.split_once('=') {
            Some((name, size)) => (name, Some(size)),
            None => (what, None),
        };
        let number = |text: &str| match text.parse::<f64>() {
            Ok(v) if v.is_finite() && v.abs() <= 1e5 => Ok(v),
            _ => Err(form()),
        };
        let seconds = |text: &str| match number(text)? {
            v if v >= 0.0 => Ok(Duration::from_secs_f64(v)),
            _ => Err(form()),
        };
        let (at, lasts) = match when.split_once('+') {
            Some((at, lasts)) => (seconds(at)?, Some(seconds(lasts)?)),
            None => (seconds(when)?, None),
        };
        let Some((_, kind, usual, duration)) = NAMES.iter().find(|(known, ..)| *known == name)
        else {
            let names = NAMES.map(|(name, ..)| name);
            return Err(match nearest_name(name, names) {
                Some(near) => format!("no fault is called {name:?}; did you mean {near}?"),
                None => format!(
                    "no fault is called {name:?}; there are {}",
                    names.join(", ")
                ),
            });
        };
        Ok(Fault {
            kind: *kind,
            size: size.map(number).transpose()?.unwrap_or(*usual),
            at,
            lasts: lasts.or(duration.map(Duration::from_secs_f64)),
        })
    }

    /// Whether the fault is active this long after the first motion; never before it (`None`).
    pub fn is_on(&self, since_motion: Option<Duration>) -> bool {
        since_motion.is_some_and(|since| {
            since >= self.at && self.lasts.is_none_or(|lasts| since < self.at + lasts)
        })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = NAMES.iter().find(|(_, kind, ..)| *kind == self.kind);
        f.write_str(name.map_or("fault", |(name, ..)| name))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faults_are_read_by_name_size_and_time() {
        let fault = Fault::parse("slip-axis-2=-1.5@60+10").unwrap();
        assert_eq!(fault.kind, FaultKind::Slip(1));
        assert_eq!(fault.size, -1.5);
        let on = |s: f64| fault.is_on(Some(Duration::from_secs_f64(s)));
        assert!(!on(59.9) && on(60.0) && on(69.9) && !on(70.0));
        assert!(!fault.is_on(None), "nothing has moved yet");
        let usual = Fault::parse("drop-rotator@5").unwrap();
        assert_eq!(usual.lasts, Some(Duration::from_secs(3)));
        for bad in ["stuck-axis-1", "stuck-axis-1@x", "slow=@3", "slow@-1", "@3"] {
            assert!(Fault::parse(bad).is_err(), "{bad}");
        }
        assert!(
            Fault::parse("stuck-axes-1@3")
                .unwrap_err()
                .contains("did you mean stuck-axis-1")
        );
    }
}
