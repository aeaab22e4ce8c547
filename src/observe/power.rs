//! The receiver: where its power comes from, and what a line of it says.

use std::fmt;

use crate::logbook::PowerUnit;
use crate::time::Utc;

/// Where powers come from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PowerSource {
    /// Standard input.
    Standard,
    /// A server at `HOST:PORT`.
    Tcp(String),
    /// Datagrams to this address and port.
    Udp(String),
    /// A serial line: device, and baud.
    Serial(String, u32),
    /// What a command prints.
    Command(String),
}

impl PowerSource {
    /// Reads `-`, `tcp:HOST:PORT`, `udp:ADDRESS:PORT`, `serial:DEVICE@BAUD` or `command:…`.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn parse(text: &str) -> Result<PowerSource, String> {
        let bad = |what: &str| {
            format!(
                "{what}; expected -, tcp:HOST:PORT, udp:ADDRESS:PORT, serial:DEVICE@BAUD or \
                 command:WORDS"
            )
        };
        if text == "-" {
            return Ok(PowerSource::Standard);
        }
        let Some((kind, rest)) = text.split_once(':') else {
            return Err(bad("no such source"));
        };
        let has_port = |rest: &str| {
            let port = rest
                .rsplit_once(':')
                .map(|(host, port)| (host, port.parse::<u16>()));
            matches!(port, Some((host, Ok(port))) if !host.is_empty() && port > 0)
        };
        match kind {
            "tcp" if has_port(rest) => Ok(PowerSource::Tcp(rest.to_owned())),
            "udp" if has_port(rest) => Ok(PowerSource::Udp(rest.to_owned())),
            "tcp" | "udp" => Err(bad("an address without a port")),
            "serial" => match rest.rsplit_once('@').map(|(d, baud)| (d, baud.parse())) {
                Some((device, Ok(baud))) if !device.is_empty() && baud > 0 => {
                    Ok(PowerSource::Serial(device.to_owned(), baud))
                }
                _ => Err(bad("a serial line without its baud rate")),
            },
            "command" if !rest.trim().is_empty() => Ok(PowerSource::Command(rest.to_owned())),
            _ => Err(bad("no such source")),
        }
    }
}

impl fmt::Display for PowerSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PowerSource::Standard => f.write_str("standard input"),
            PowerSource::Tcp(place) => write!(f, "tcp:{place}"),
            PowerSource::Udp(place) => write!(f, "udp:{place}"),
            PowerSource::Serial(device, baud) => write!(f, "{device} at {baud} baud"),
            PowerSource::Command(words) => write!(f, "the command {words:?}"),
        }
    }
}

/// How lines are read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PowerForm {
    /// `power`, or `time_utc,power`.
    #[default]
    Line,
    /// Sweeps: date, time, lowest and highest frequency, step, samples, and a power in decibels for
    /// each step; sweeps of one time belong together.
    Sweep,
}

/// What a line says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Power {
    /// When, if the line says so.
    pub time: Option<Utc>,
    /// In the receiver's own unit.
    pub value: f64,
}

/// Reads lines of a receiver.
#[derive(Clone, Debug)]
pub struct PowerLines {
    form: PowerForm,
    unit: PowerUnit,
    /// Of the sweep that is coming in: its time as written, the sum of its powers, how many.
    sweep: Option<(String, f64, f64)>,
}

impl PowerLines {
    /// Of a form, in a unit.
    pub fn new(form: PowerForm, unit: PowerUnit) -> PowerLines {
        PowerLines {
            form,
            unit,
            sweep: None,
        }
    }

    /// Reads a line; `None` if it is empty, a comment, or the beginning of a sweep.
    ///
    /// # Errors
    /// What the line is, in words, if it is not a power.
    pub fn read(&mut self, line: &str) -> Result<Option<Power>, String> {
        let line = line.trim().trim_start_matches('\u{feff}').trim();
        if line.is_empty() || line.starts_with('#') {
            return Ok(None);
        }
        match self.form {
            PowerForm::Line => self.plain(line).map(Some),
            PowerForm::Sweep => self.sweep(line),
        }
    }

    fn plain(&self, line: &str) -> Result<Power, String> {
        let no_power = || format!("{:?} is no power", shortened(line));
        // With a semicolon between the cells, or alone, a comma is a decimal one.
        let cells: Vec<&str> = match line.contains([';', '\t']) {
            true => line.split([';', '\t']).map(str::trim).collect(),
            false => match decimal_comma(line) {
                Some(_) => vec![line],
                None => line.split(',').map(str::trim).collect(),
            },
        };
        let (time, power) = match cells.as_slice() {
            [power] => (None, power),
            [time, power] => {
                let time = Utc::parse(time)
                    .map_err(|why| format!("the time {:?} {why}", shortened(time)))?;
                (Some(time), power)
            }
            _ => return Err(no_power()),
        };
        let value = number(power).ok_or_else(no_power)?;
        self.plausible(value)
            .ok_or_else(no_power)
            .map(|value| Power { time, value })
    }

    /// Returns the mean power over the steps of the previous sweep, when a new one begins.
    fn sweep(&mut self, line: &str) -> Result<Option<Power>, String> {
        let no_sweep = || format!("{:?} is no sweep", shortened(line));
        let cells: Vec<&str> = line.split(',').map(str::trim).collect();
        if cells.len() < 7 {
            return Err(no_sweep());
        }
        let mut sum = 0.0;
        let mut steps = 0.0;
        for cell in &cells[6..] {
            let Some(db) = number(cell) else { continue };
            sum += 10f64.powf(db / 10.0);
            steps += 1.0;
        }
        if steps == 0.0 {
            return Err(no_sweep());
        }
        let time = cells[..2].join(" ");
        let before = match &mut self.sweep {
            Some((same, sum_so_far, steps_so_far)) if *same == time => {
                *sum_so_far += sum;
                *steps_so_far += steps;
                return Ok(None);
            }
            sweep => sweep.replace((time, sum, steps)),
        };
        let Some((_, sum, steps)) = before else {
            return Ok(None);
        };
        let value = match self.unit {
            PowerUnit::Decibels => 10.0 * (sum / steps).log10(),
            PowerUnit::Linear | PowerUnit::Counts => sum / steps,
        };
        self.plausible(value)
            .ok_or_else(no_sweep)
            .map(|value| Some(Power { time: None, value }))
    }

    /// Returns the value if it is a plausible power.
    fn plausible(&self, value: f64) -> Option<f64> {
        let most = match self.unit {
            PowerUnit::Decibels => 300.0,
            PowerUnit::Linear | PowerUnit::Counts => 1e30,
        };
        (value.is_finite() && value.abs() <= most).then_some(value)
    }
}

fn number(text: &str) -> Option<f64> {
    let text = decimal_comma(text).unwrap_or_else(|| text.to_owned());
    text.parse::<f64>().ok().filter(|v| v.is_finite())
}

/// Rewrites a number with a decimal comma with a point; `None` if it is not one.
fn decimal_comma(text: &str) -> Option<String> {
    let (whole, part) = text.split_once(',')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    (digits(whole.trim_start_matches(['-', '+'])) && digits(part))
        .then(|| format!("{whole}.{part}"))
}

/// A line as a part of a message.
fn shortened(line: &str) -> String {
    /// As much as stands in a line of a terminal beside the message.
    const MOST: usize = 60;
    match line.char_indices().nth(MOST) {
        Some((end, _)) => format!("{}…", &line[..end]),
        None => line.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sources_are_read_by_kind() {
        let read = |text: &str| PowerSource::parse(text);
        assert_eq!(read("-"), Ok(PowerSource::Standard));
        assert_eq!(
            read("tcp:127.0.0.1:4600"),
            Ok(PowerSource::Tcp("127.0.0.1:4600".to_owned()))
        );
        assert_eq!(
            read("serial:/dev/ttyUSB0@9600"),
            Ok(PowerSource::Serial("/dev/ttyUSB0".to_owned(), 9600))
        );
        assert_eq!(
            read("command:meter --fast"),
            Ok(PowerSource::Command("meter --fast".to_owned()))
        );
        for bad in [
            "tcp:here",
            "udp::5",
            "serial:/dev/x",
            "file",
            "http://x:1",
            "command: ",
        ] {
            assert!(read(bad).unwrap_err().contains("expected -, tcp:"), "{bad}");
        }
    }

    #[test]
    fn lines_are_a_power_or_a_time_and_a_power() {
        let mut lines = PowerLines::new(PowerForm::Line, PowerUnit::Decibels);
        let mut value = |line: &str| lines.read(line).map(|p| p.map(|p| p.value));
        assert_eq!(value("-71.25"), Ok(Some(-71.25)));
        assert_eq!(value(" -71,25 \r"), Ok(Some(-71.25)));
        assert_eq!(value(""), Ok(None));
        assert_eq!(value("# warming up"), Ok(None));
        let timed = lines
            .read("2026-09-12T10:00:00.25Z,-71.5")
            .unwrap()
            .unwrap();
        assert_eq!(timed.time, Utc::parse("2026-09-12T10:00:00.25Z").ok());
        assert_eq!(timed.value, -71.5);
        for bad in [
            "nan",
            "inf",
            "hello",
            "1,2,3",
            "2026-09-12 10:00,-71",
            "1e9",
        ] {
            assert!(lines.read(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn the_powers_of_a_sweep_are_averaged_over_all_its_lines() {
        let mut lines = PowerLines::new(PowerForm::Sweep, PowerUnit::Decibels);
        let line = |time: &str, powers: &str| {
            format!("2026-09-12, {time}, 1697000000, 1699000000, 1000000, 10, {powers}")
        };
        assert_eq!(lines.read(&line("10:00:00", "-70.0, nan")), Ok(None));
        assert_eq!(lines.read(&line("10:00:00", "-70.0, -70.0")), Ok(None));
        let power = lines.read(&line("10:00:01", "-60.0")).unwrap().unwrap();
        assert!((power.value + 70.0).abs() < 1e-9);
        let power = lines.read(&line("10:00:02", "-60.0")).unwrap().unwrap();
        assert!((power.value + 60.0).abs() < 1e-9);
        assert!(lines.read("2026-09-12, 10:00:00, 1, 2, 3, 4").is_err());
    }
}
