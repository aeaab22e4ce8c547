//! The plain-text rotator protocol as a client sees it: commands read and replies written, without
//! any input or output of its own.
//!
//! What it is was tried with the daemon of the protocol's home library, version 4.5.4 (see
//! docs/relay.md): a letter or a `\name`, its words, a line end; before it may stand `+`, `;`, `|`
//! or `,`, which ask for the long form of the reply.

use std::fmt;

use super::axes::Axes;

/// Result code of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Code {
    /// Done.
    Done,
    /// The parameters are invalid or out of range.
    Invalid,
    /// There is no such command.
    Unknown,
    /// Nothing came back in time.
    Timeout,
    /// The mount is not connected.
    Broken,
    /// The mount's answer made no sense.
    Protocol,
    /// Refused.
    Rejected,
    /// Not available here.
    Unavailable,
    /// Whatever else the mount's daemon said.
    Other(i32),
}

impl Code {
    /// As the protocol writes it.
    pub const fn number(self) -> i32 {
        match self {
            Code::Done => 0,
            Code::Invalid => -1,
            Code::Unknown => -4,
            Code::Timeout => -5,
            Code::Broken => -6,
            Code::Protocol => -8,
            Code::Rejected => -9,
            Code::Unavailable => -11,
            Code::Other(number) => number,
        }
    }
    /// Converts a number that a daemon wrote.
    pub const fn of(number: i32) -> Code {
        match number {
            0 => Code::Done,
            -1 => Code::Invalid,
            -4 => Code::Unknown,
            -5 => Code::Timeout,
            -6 => Code::Broken,
            -8 => Code::Protocol,
            -9 => Code::Rejected,
            -11 => Code::Unavailable,
            other => Code::Other(other),
        }
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "RPRT {}", self.number())
    }
}

/// What a client asks for. Angles are as it wrote them, degrees.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// Go there.
    SetPosition {
        /// Demanded azimuth.
        azimuth: f64,
        /// Demanded elevation; above 90 the other side of the sky.
        elevation: f64,
    },
    /// Where does the beam point?
    GetPosition,
    /// Stop.
    Stop,
    /// Go to the place to park.
    Park,
    /// Reset the mount's controller.
    Reset,
    /// Move on one axis until the next command.
    Move {
        /// Which way.
        way: Way,
    },
    /// Text for the mount's controller itself.
    Raw,
    /// Who are you?
    Info,
    /// What can you do?
    DumpState,
    /// Good bye.
    Quit,
    /// A known command with parameters that it cannot have.
    Faulty,
    /// No command of this protocol.
    Unknown,
}

/// Directions of the command that moves until the next one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Second axis, increasing.
    Up,
    /// Second axis, decreasing.
    Down,
    /// First axis, decreasing.
    Left,
    /// First axis, increasing.
    Right,
}

impl Way {
    fn of(number: f64) -> Option<Way> {
        [
            (2.0, Way::Up),
            (4.0, Way::Down),
            (8.0, Way::Left),
            (16.0, Way::Right),
        ]
        .into_iter()
        .find_map(|(n, way)| (n == number).then_some(way))
    }
}

/// A command and the form of its reply.
#[derive(Clone, Debug, PartialEq)]
pub struct DaemonRequest {
    /// What is asked for.
    pub command: Command,
    /// The command and its words as the long form repeats them.
    echo: String,
    /// Separator of the lines of the long form; `None` for the short one.
    separator: Option<char>,
}

impl DaemonRequest {
    /// Reads one line; `None` if it holds nothing to answer.
    pub fn parse(line: &str) -> Option<DaemonRequest> {
        let line = line.trim_matches(|c: char| c.is_whitespace() || c == '\0');
        let (separator, rest) = match line.chars().next()? {
            '#' => return None,
            '+' => (Some('\n'), &line[1..]),
            c @ (';' | '|' | ',') => (Some(c), &line[1..]),
            _ => (None, line),
        };
        let rest = rest.trim_start();
        let (name, words) = split_name(rest);
        let words: Vec<&str> = words.split_whitespace().collect();
        let (name, command) = command(name, &words);
        let mut echo = format!("{name}:");
        for word in &words {
            echo.push(' ');
            // What is repeated must stay one line of plain text.
            echo.extend(word.chars().filter(|c| c.is_ascii_graphic()).take(40));
        }
        Some(DaemonRequest {
            command,
            echo,
            separator,
        })
    }

    /// The reply that says how it went.
    pub fn answer(&self, code: Code) -> String {
        match self.separator {
            None => format!("{code}\n"),
            Some(separator) => format!("{}{separator}{code}\n", self.echo),
        }
    }

    /// The reply with a position, degrees; one text, so that one write carries it.
    pub fn position(&self, azimuth: f64, elevation: f64) -> String {
        let (azimuth, elevation) = (unsigned_zero(azimuth), unsigned_zero(elevation));
        self.lines(
            &[format!("{azimuth:.6}"), format!("{elevation:.6}")],
            &[
                format!("Azimuth: {azimuth:.6}"),
                format!("Elevation: {elevation:.6}"),
            ],
        )
    }

    /// The reply that says who answers.
    pub fn info(&self, who: &str) -> String {
        self.lines(&[who.to_owned()], &[format!("Info: {who}")])
    }

    /// The reply that says what can be demanded, degrees.
    pub fn state(&self, limits: &DemandLimits) -> String {
        let DemandLimits {
            azimuth: (min_az, max_az),
            elevation: (min_el, max_el),
        } = *limits;
        self.lines(
            &[
                "1".to_owned(),
                // The model number reported for the mount: a client needs one that it knows.
                "1".to_owned(),
                format!("min_az={min_az:.6}"),
                format!("max_az={max_az:.6}"),
                format!("min_el={min_el:.6}"),
                format!("max_el={max_el:.6}"),
                "south_zero=0".to_owned(),
                "rot_type=AzEl".to_owned(),
                "done".to_owned(),
            ],
            &[
                "rotctld Protocol Ver: 1".to_owned(),
                "Rotor Model: 1".to_owned(),
                format!("Minimum Azimuth: {min_az:.6}"),
                format!("Maximum Azimuth: {max_az:.6}"),
                format!("Minimum Elevation: {min_el:.6}"),
                format!("Maximum Elevation: {max_el:.6}"),
                "South Zero: 0".to_owned(),
                "rot_type=AzEl".to_owned(),
                "done".to_owned(),
            ],
        )
    }

    fn lines(&self, short: &[String], long: &[String]) -> String {
        match self.separator {
            None => short.iter().map(|line| format!("{line}\n")).collect(),
            Some(separator) => {
                let mut text = format!("{}{separator}", self.echo);
                for line in long {
                    text.push_str(line);
                    text.push(separator);
                }
                text + &format!("{}\n", Code::Done)
            }
        }
    }
}

/// What can be demanded, lowest and highest, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DemandLimits {
    /// Of azimuth.
    pub azimuth: (f64, f64),
    /// Of elevation.
    pub elevation: (f64, f64),
}

/// Avoids "-0".
fn unsigned_zero(value: f64) -> f64 {
    if value.abs() < 5e-7 { 0.0 } else { value }
}

/// The letter or the name behind a backslash, and what follows it.
fn split_name(text: &str) -> (&str, &str) {
    if let Some(long) = text.strip_prefix('\\') {
        let end = long
            .find(|c: char| !(c.is_ascii_alphanumeric() || c == '_'))
            .unwrap_or(long.len());
        return long.split_at(end);
    }
    let end = text.chars().next().map_or(0, char::len_utf8);
    text.split_at(end)
}

/// The full name of a command, and what it asks for with these words.
fn command(name: &str, words: &[&str]) -> (&'static str, Command) {
    let plain = |name, command| match words.is_empty() {
        true => (name, command),
        false => (name, Command::Faulty),
    };
    match name {
        "P" | "set_pos" => (
            "set_pos",
            match numbers(words) {
                Some([azimuth, elevation])
                    if Axes::from_degrees(azimuth, elevation).makes_sense() =>
                {
                    Command::SetPosition { azimuth, elevation }
                }
                _ => Command::Faulty,
            },
        ),
        "p" | "get_pos" => plain("get_pos", Command::GetPosition),
        // A stop is obeyed whatever follows it.
        "S" | "stop" => ("stop", Command::Stop),
        "K" | "park" => plain("park", Command::Park),
        "R" | "reset" => (
            "reset",
            numbers::<1>(words).map_or(Command::Faulty, |_| Command::Reset),
        ),
        "M" | "move" => (
            "move",
            match numbers(words) {
                Some([way, _speed]) => {
                    Way::of(way).map_or(Command::Faulty, |way| Command::Move { way })
                }
                None => Command::Faulty,
            },
        ),
        "w" | "W" | "send_cmd" => ("send_cmd", Command::Raw),
        "_" | "get_info" => plain("get_info", Command::Info),
        "dump_state" => plain("dump_state", Command::DumpState),
        "q" | "Q" | "quit" | "exit" => ("quit", Command::Quit),
        _ => ("unknown", Command::Unknown),
    }
}

/// Reads exactly `N` finite numbers. A comma between digits is a decimal comma.
fn numbers<const N: usize>(words: &[&str]) -> Option<[f64; N]> {
    let words: &[&str; N] = words.try_into().ok()?;
    let mut found = [0.0; N];
    for (word, place) in words.iter().zip(&mut found) {
        let value: f64 = word.replacen(',', ".", 1).parse().ok()?;
        if !value.is_finite() {
            return None;
        }
        *place = value;
    }
    Some(found)
}

/// Cuts what comes in into lines, over packets and line ends of every kind.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    part: Vec<u8>,
    /// The rest of a line that was too long is dropped.
    dropping: bool,
}

/// A line of a client.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DaemonLine {
    /// Its text.
    Text(String),
    /// It was longer than any command.
    TooLong,
}

/// No command is longer.
const LONGEST_LINE: usize = 512;

impl Lines {
    /// Takes bytes and passes the lines that they complete to `line`. A command of one letter
    /// without words counts as complete when nothing more has come: a stop must not wait for a line
    /// end.
    pub fn feed(&mut self, bytes: &[u8], mut line: impl FnMut(DaemonLine)) {
        for byte in bytes {
            if matches!(byte, b'\n' | b'\r') {
                if self.dropping {
                    self.dropping = false;
                } else if !self.part.is_empty() {
                    line(DaemonLine::Text(
                        String::from_utf8_lossy(&self.part).into_owned(),
                    ));
                }
                self.part.clear();
            } else if !self.dropping {
                self.part.push(*byte);
                if self.part.len() > LONGEST_LINE {
                    self.part.clear();
                    self.dropping = true;
                    line(DaemonLine::TooLong);
                }
            }
        }
        let waits = self.part.as_slice();
        if matches!(waits, b"S" | b"p" | b"q" | b"+S" | b"\\stop" | b"+\\stop") {
            line(DaemonLine::Text(
                String::from_utf8_lossy(waits).into_owned(),
            ));
            self.part.clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn command_of(line: &str) -> Command {
        DaemonRequest::parse(line).expect("a command").command
    }

    #[test]
    fn commands_are_read_by_letter_and_by_name() {
        let there = Command::SetPosition {
            azimuth: 10.5,
            elevation: -20.25,
        };
        for line in [
            "P 10.5 -20.25",
            "\\set_pos 10.5 -20.25",
            "  P  10,5   -20,25 ",
            "+P 10.5 -20.25",
            "P 1.05e1 -20.25\r",
            ";\\set_pos 10.50 -20.25",
        ] {
            assert_eq!(command_of(line), there, "{line}");
        }
        for (line, command) in [
            ("p", Command::GetPosition),
            ("\\get_pos", Command::GetPosition),
            ("S", Command::Stop),
            ("\\stop", Command::Stop),
            ("S now", Command::Stop),
            ("K", Command::Park),
            ("R 1", Command::Reset),
            ("M 2 50", Command::Move { way: Way::Up }),
            ("M 4 50", Command::Move { way: Way::Down }),
            ("M 8 -1", Command::Move { way: Way::Left }),
            ("M 16 100", Command::Move { way: Way::Right }),
            ("_", Command::Info),
            ("\\dump_state", Command::DumpState),
            ("q", Command::Quit),
            ("w XYZ", Command::Raw),
            ("\\send_cmd XYZ", Command::Raw),
            ("p 1", Command::Faulty),
            ("R", Command::Faulty),
            ("M 3 50", Command::Faulty),
            ("\\chk_vfo", Command::Unknown),
            ("x 3", Command::Unknown),
            ("+", Command::Unknown),
            ("\\", Command::Unknown),
            ("\u{e9}", Command::Unknown),
        ] {
            assert_eq!(command_of(line), command, "{line}");
        }
    }

    #[test]
    fn a_demand_is_exactly_two_numbers_that_an_angle_may_have() {
        for line in [
            "P",
            "P 1",
            "P 1 2 3",
            "P nan nan",
            "P 1 inf",
            "P 1 2p",
            "P a b",
            "P 1 2 p",
            "P 1;2",
            "P 1,2,3 4",
            "P 1e999 0",
            "P 1e300 0",
            "P 0 -100001",
            "P 0x10 3",
        ] {
            assert_eq!(command_of(line), Command::Faulty, "{line}");
        }
    }

    #[test]
    fn nothing_is_answered_to_nothing() {
        for line in ["", "   ", "\0", "# note"] {
            assert_eq!(DaemonRequest::parse(line), None);
        }
    }

    /// What the daemon of the protocol's home library, version 4.5.4, answered to the same, but for
    /// the number of decimals.
    #[test]
    fn replies_have_the_form_of_the_daemon() {
        let parse = |line| DaemonRequest::parse(line).unwrap();
        assert_eq!(parse("P 10 20").answer(Code::Done), "RPRT 0\n");
        assert_eq!(
            parse("+P 10 20").answer(Code::Done),
            "set_pos: 10 20\nRPRT 0\n"
        );
        assert_eq!(parse("p").position(1.2, 2.5), "1.200000\n2.500000\n");
        assert_eq!(
            parse("+p").position(1.2, -0.0),
            "get_pos:\nAzimuth: 1.200000\nElevation: 0.000000\nRPRT 0\n"
        );
        assert_eq!(
            parse(";p").position(1.2, 2.5),
            "get_pos:;Azimuth: 1.200000;Elevation: 2.500000;RPRT 0\n"
        );
        assert_eq!(parse("+p").answer(Code::Timeout), "get_pos:\nRPRT -5\n");
        assert_eq!(parse("_").info("x"), "x\n");
        assert_eq!(parse("+_").info("x"), "get_info:\nInfo: x\nRPRT 0\n");
        let limits = DemandLimits {
            azimuth: (-180.0, 450.0),
            elevation: (0.0, 90.0),
        };
        assert_eq!(
            parse("\\dump_state").state(&limits),
            "1\n1\nmin_az=-180.000000\nmax_az=450.000000\nmin_el=0.000000\nmax_el=90.000000\n\
             south_zero=0\nrot_type=AzEl\ndone\n"
        );
        assert_eq!(
            parse("+\\dump_state").state(&limits),
            "dump_state:\nrotctld Protocol Ver: 1\nRotor Model: 1\nMinimum Azimuth: -180.000000\n\
             Maximum Azimuth: 450.000000\nMinimum Elevation: 0.000000\n\
             Maximum Elevation: 90.000000\nSouth Zero: 0\nrot_type=AzEl\ndone\nRPRT 0\n"
        );
    }

    #[test]
    fn codes_are_those_of_the_protocol() {
        for number in -20..1 {
            assert_eq!(Code::of(number).number(), number);
        }
        assert_eq!(Code::Unavailable.to_string(), "RPRT -11");
    }

    fn cut(packets: &[&[u8]]) -> Vec<DaemonLine> {
        let (mut lines, mut all) = (Lines::default(), Vec::new());
        for packet in packets {
            lines.feed(packet, |line| all.push(line));
        }
        all
    }

    #[test]
    fn lines_pass_over_packets() {
        let text = |s: &str| DaemonLine::Text(s.to_owned());
        assert_eq!(
            cut(&[b"P 1 2\np\r\nS\n", b"P 3", b" 4\n"]),
            [text("P 1 2"), text("p"), text("S"), text("P 3 4")]
        );
        // A stop is complete without its line end, which is then nothing.
        assert_eq!(cut(&[b"S", b"\n"]), [text("S")]);
        assert_eq!(cut(&[b"p\nS"]), [text("p"), text("S")]);
        let long = vec![b'x'; 4 * LONGEST_LINE];
        assert_eq!(cut(&[&long, b"\np\n"]), [DaemonLine::TooLong, text("p")]);
    }

    proptest! {
        #[test]
        fn no_line_makes_it_panic_and_every_command_has_one_line_of_answer(line in ".{0,80}") {
            if let Some(request) = DaemonRequest::parse(&line) {
                let answer = request.answer(Code::Rejected);
                prop_assert!(answer.ends_with("RPRT -9\n"));
                if let Command::SetPosition { azimuth, elevation } = request.command {
                    prop_assert!(azimuth.is_finite() && elevation.is_finite());
                }
            }
        }

        #[test]
        fn packets_do_not_matter(bytes in prop::collection::vec(any::<u8>(), 0..300), at in 0usize..300) {
            // But for commands of one letter, which may end with the packet.
            let bytes: Vec<u8> = bytes.into_iter().filter(|b| !b"Spq".contains(b)).collect();
            let (first, second) = bytes.split_at(at.min(bytes.len()));
            prop_assert_eq!(cut(&[&bytes]), cut(&[first, second]));
        }
    }
}
