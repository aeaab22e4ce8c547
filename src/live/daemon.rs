//! The daemon's side of the protocol: which questions are open on one connection to the mount's
//! daemon, and which answer belongs to which. Bytes in, bytes out; no connection of its own.

use std::collections::VecDeque;
use std::time::Duration;

use super::axes::{Axes, Travel};
use super::protocol::{Code, DaemonLine, Lines};

/// A question to the daemon.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// Its position.
    Position,
    /// Its ranges.
    Limits,
    /// To go to a target; the answer goes to the command of this number.
    Target(u64),
    /// To stop.
    Stop,
    /// To reset its controller; the answer goes to the command of this number.
    Reset(u64),
}

/// An answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DaemonAnswer {
    /// Its position, and the time at which it was asked for: the position is no older than that.
    Position(Axes, Duration),
    /// The ranges that it has.
    Limits(Travel),
    /// The result code of any other question.
    Code(Question, Code),
    /// Not a valid answer; every question open so far counts as unanswered.
    Garbled,
}

/// Unanswered questions and the half-read answer of one connection.
#[derive(Clone, Debug, Default)]
pub struct Conversation {
    lines: Lines,
    open: VecDeque<(Question, Duration)>,
    /// The first line of a position.
    first: Option<f64>,
    /// Lowest and highest readings of a half-read answer on limits: both of the first axis, both of
    /// the second.
    limits: [Option<f64>; 4],
    /// After an invalid answer nothing is accepted until the line has been quiet.
    deaf_until: Option<Duration>,
}

/// After an invalid answer the line must be quiet for this long before the next one is accepted.
const QUIET: Duration = Duration::from_millis(300);

impl Conversation {
    /// Notes a question and returns the text to send.
    pub fn ask(&mut self, question: Question, target: Option<Axes>, now: Duration) -> String {
        self.open.push_back((question, now));
        match (question, target) {
            (Question::Target(_), Some(axes)) => {
                let [first, second] = axes.degrees();
                format!("P {first:.6} {second:.6}\n")
            }
            (Question::Reset(_), _) => "R 1\n".to_owned(),
            (Question::Stop, _) => "S\n".to_owned(),
            (Question::Limits, _) => "\\dump_state\n".to_owned(),
            _ => "p\n".to_owned(),
        }
    }

    /// Whether a position was asked for and has not come yet.
    pub fn awaits_position(&self) -> bool {
        self.open.iter().any(|(q, _)| *q == Question::Position)
    }

    /// Whether a target was sent and is not acknowledged yet.
    pub fn awaits_target(&self) -> bool {
        self.open
            .iter()
            .any(|(q, _)| matches!(q, Question::Target(_)))
    }

    /// Whether a stop was sent and is not acknowledged yet.
    pub fn awaits_stop(&self) -> bool {
        self.open.iter().any(|(q, _)| *q == Question::Stop)
    }

    /// Returns the time at which the oldest open question was asked.
    pub fn waits_since(&self) -> Option<Duration> {
        self.open.front().map(|(_, asked)| *asked)
    }

    /// Whether answers can be accepted.
    pub fn is_sound(&self, now: Duration) -> bool {
        self.deaf_until.is_none_or(|until| now >= until)
    }

    /// Takes the bytes that came in and returns the answers that they complete.
    pub fn feed(&mut self, bytes: &[u8], now: Duration) -> Vec<DaemonAnswer> {
        if !self.is_sound(now) {
            self.deaf_until = Some(now + QUIET);
            return Vec::new();
        }
        self.deaf_until = None;
        let mut came = Vec::new();
        self.lines.feed(bytes, |line| came.push(line));
        let mut answers = Vec::new();
        for line in came {
            match self.line(&line) {
                Ok(answer) => answers.extend(answer),
                Err(()) => {
                    self.open.clear();
                    self.first = None;
                    self.lines = Lines::default();
                    self.deaf_until = Some(now + QUIET);
                    answers.push(DaemonAnswer::Garbled);
                    break;
                }
            }
        }
        answers
    }

    /// Reads a line; an error if it does not answer the open question.
    fn line(&mut self, line: &DaemonLine) -> Result<Option<DaemonAnswer>, ()> {
        let DaemonLine::Text(text) = line else {
            return Err(());
        };
        let text = text.trim();
        if text.is_empty() {
            return Ok(None);
        }
        let &(question, asked) = self.open.front().ok_or(())?;
        if let Some(code) = text.strip_prefix("RPRT") {
            let code = Code::of(code.trim().parse().map_err(|_| ())?);
            self.open.pop_front();
            self.first = None;
            return Ok(Some(DaemonAnswer::Code(question, code)));
        }
        if question == Question::Limits {
            return Ok(self.limit(text));
        }
        if question != Question::Position {
            return Err(());
        }
        // Not-a-number is a number to the text, and no place to the guard, which is told; so is what
        // no encoder shows.
        let number: f64 = text.replacen(',', ".", 1).parse().map_err(|_| ())?;
        let Some(first) = self.first.take() else {
            self.first = Some(number);
            return Ok(None);
        };
        self.open.pop_front();
        let axes = Axes::from_degrees(first, number);
        Ok(Some(match axes.makes_sense() {
            true => DaemonAnswer::Position(axes, asked),
            false => DaemonAnswer::Code(question, Code::Protocol),
        }))
    }

    /// A line of the answer on limits: a key and its number, ended by `done`.
    fn limit(&mut self, text: &str) -> Option<DaemonAnswer> {
        const KEYS: [&str; 4] = ["min_az=", "max_az=", "min_el=", "max_el="];
        for (key, place) in KEYS.iter().zip(&mut self.limits) {
            if let Some(number) = text.strip_prefix(key) {
                *place = number.parse().ok().filter(|n: &f64| n.is_finite());
            }
        }
        if text != "done" {
            return None;
        }
        self.open.pop_front();
        Some(match std::mem::take(&mut self.limits) {
            [Some(low_1), Some(high_1), Some(low_2), Some(high_2)] => {
                DaemonAnswer::Limits(Travel {
                    low: Axes::from_degrees(low_1, low_2),
                    high: Axes::from_degrees(high_1, high_2),
                })
            }
            _ => DaemonAnswer::Code(Question::Limits, Code::Unavailable),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Duration = Duration::from_secs(100);

    fn ms(ms: u64) -> Duration {
        NOW + Duration::from_millis(ms)
    }

    #[test]
    fn answers_belong_to_questions_in_their_order() {
        let mut talk = Conversation::default();
        assert_eq!(talk.ask(Question::Position, None, NOW), "p\n");
        let target = Axes::from_degrees(-1.5, 90.0);
        assert_eq!(
            talk.ask(Question::Target(7), Some(target), ms(1)),
            "P -1.500000 90.000000\n"
        );
        assert_eq!(talk.ask(Question::Stop, None, ms(2)), "S\n");
        assert!(talk.awaits_target() && talk.awaits_position());
        assert_eq!(talk.waits_since(), Some(NOW));
        assert_eq!(talk.feed(b"10.0", ms(3)), []);
        assert_eq!(
            talk.feed(b"0\n20.5\nRPRT -1\nRP", ms(4)),
            [
                DaemonAnswer::Position(Axes::from_degrees(10.0, 20.5), NOW),
                DaemonAnswer::Code(Question::Target(7), Code::Invalid)
            ]
        );
        assert_eq!(
            talk.feed(b"RT 0\n", ms(5)),
            [DaemonAnswer::Code(Question::Stop, Code::Done)]
        );
        assert_eq!(talk.waits_since(), None);
    }

    #[test]
    fn the_ranges_of_the_daemon_are_read() {
        let mut talk = Conversation::default();
        assert_eq!(talk.ask(Question::Limits, None, NOW), "\\dump_state\n");
        talk.ask(Question::Position, None, NOW);
        let told = b"1\n1\nmin_az=-180.000000\nmax_az=450.000000\nmin_el=0.000000\n\
                     max_el=90.000000\nsouth_zero=0\nrot_type=AzEl\ndone\n1.0\n2.0\n";
        assert_eq!(
            talk.feed(told, NOW),
            [
                DaemonAnswer::Limits(Travel {
                    low: Axes::from_degrees(-180.0, 0.0),
                    high: Axes::from_degrees(450.0, 90.0),
                }),
                DaemonAnswer::Position(Axes::from_degrees(1.0, 2.0), NOW)
            ]
        );
        talk.ask(Question::Limits, None, NOW);
        assert_eq!(
            talk.feed(b"RPRT -4\n", NOW),
            [DaemonAnswer::Code(Question::Limits, Code::Unknown)]
        );
    }

    #[test]
    fn a_position_may_be_refused_or_no_number() {
        let mut talk = Conversation::default();
        talk.ask(Question::Position, None, NOW);
        assert_eq!(
            talk.feed(b"RPRT -6\n", NOW),
            [DaemonAnswer::Code(Question::Position, Code::Broken)]
        );
        talk.ask(Question::Position, None, NOW);
        assert_eq!(
            talk.feed(b"nan\nnan\n", NOW),
            [DaemonAnswer::Code(Question::Position, Code::Protocol)]
        );
        talk.ask(Question::Position, None, NOW);
        assert_eq!(
            talk.feed(b"1e300\n20\n", NOW),
            [DaemonAnswer::Code(Question::Position, Code::Protocol)]
        );
    }

    #[test]
    fn after_a_senseless_answer_nothing_is_believed_until_it_is_quiet() {
        for garbage in [
            &b"!\x00%?~\xff\n"[..],
            b"10.0\nhello\n",
            b"RPRT x\n",
            &[b'7'; 3000],
        ] {
            let mut talk = Conversation::default();
            talk.ask(Question::Position, None, NOW);
            talk.ask(Question::Target(1), None, NOW);
            assert_eq!(talk.feed(garbage, NOW), [DaemonAnswer::Garbled]);
            assert_eq!(talk.waits_since(), None);
            // Late, and ignored.
            assert_eq!(talk.feed(b"1.0\n2.0\nRPRT 0\n", ms(200)), []);
            assert!(!talk.is_sound(ms(499)));
            assert!(talk.is_sound(ms(500)));
            talk.ask(Question::Position, None, ms(600));
            assert_eq!(
                talk.feed(b"1.0\n2.0\n", ms(601)),
                [DaemonAnswer::Position(
                    Axes::from_degrees(1.0, 2.0),
                    ms(600)
                )]
            );
        }
        // An answer without a question.
        assert_eq!(
            Conversation::default().feed(b"RPRT 0\n", NOW),
            [DaemonAnswer::Garbled]
        );
    }
}
