//! A connection to the mount's daemon that may be lost, and when it is tried again.

use std::time::Duration;

use super::daemon::Conversation;

/// First and longest wait before it is tried again.
const WAITS: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(30));
/// A daemon that leaves a question open for this long counts as gone, though the connection is up.
pub const SILENT: Duration = Duration::from_secs(6);

/// The state of a connection.
#[derive(Clone, Debug)]
pub enum Link {
    /// It is not wanted.
    Unused,
    /// Being made.
    Opening,
    /// It is established.
    Up(Conversation),
    /// To be made again at this time.
    Down(Duration),
}

/// A connection and the wait before it is tried again.
#[derive(Clone, Debug)]
pub struct Connection {
    link: Link,
    wait: Duration,
}

impl Connection {
    /// A connection to be made at once, if `wanted`.
    pub fn new(wanted: bool) -> Connection {
        Connection {
            link: match wanted {
                true => Link::Down(Duration::ZERO),
                false => Link::Unused,
            },
            wait: WAITS.0,
        }
    }

    /// The conversation over it; `None` if it is not up.
    pub fn conversation(&mut self) -> Option<&mut Conversation> {
        match &mut self.link {
            Link::Up(conversation) => Some(conversation),
            _ => None,
        }
    }

    /// Whether it is up.
    pub fn is_up(&self) -> bool {
        matches!(self.link, Link::Up(_))
    }

    /// Notes that it is up.
    pub fn opened(&mut self) {
        self.link = Link::Up(Conversation::default());
    }

    /// Notes that it failed or was lost. Returns the time until it is tried again.
    pub fn closed(&mut self, now: Duration) -> Duration {
        let wait = self.wait;
        self.link = Link::Down(now + wait);
        self.wait = (wait * 2).min(WAITS.1);
        wait
    }

    /// Notes an answer: the next wait starts from the shortest again.
    pub fn answers(&mut self) {
        self.wait = WAITS.0;
    }

    /// Gives it up for good.
    pub fn give_up(&mut self) {
        self.link = Link::Unused;
    }

    /// Whether it is time to make it; if so it counts as being made.
    pub fn is_due(&mut self, now: Duration) -> bool {
        let due = matches!(self.link, Link::Down(at) if now >= at);
        if due {
            self.link = Link::Opening;
        }
        due
    }

    /// Whether a question has been open for too long.
    pub fn is_silent(&self, now: Duration) -> bool {
        match &self.link {
            Link::Up(conversation) => conversation
                .waits_since()
                .is_some_and(|since| now.saturating_sub(since) > SILENT),
            _ => false,
        }
    }

    /// Whether a position was asked for over it and has not come yet.
    pub fn awaits_position(&self) -> bool {
        match &self.link {
            Link::Up(conversation) => conversation.awaits_position(),
            _ => false,
        }
    }

    /// Whether a stop was sent over it and is not acknowledged yet.
    pub fn awaits_stop(&self) -> bool {
        match &self.link {
            Link::Up(conversation) => conversation.awaits_stop(),
            _ => false,
        }
    }

    /// Time of the next action on it, if any.
    pub fn next(&self) -> Option<Duration> {
        match self.link {
            Link::Down(at) => Some(at),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_tried_again_after_one_to_thirty_seconds() {
        let secs = Duration::from_secs;
        let mut connection = Connection::new(true);
        assert!(connection.is_due(Duration::ZERO));
        assert!(!connection.is_due(Duration::ZERO), "once at a time");
        let mut now = secs(0);
        for wait in [1, 2, 4, 8, 16, 30, 30] {
            assert_eq!(connection.closed(now), secs(wait));
            assert!(!connection.is_due(now + secs(wait) - Duration::from_millis(1)));
            now += secs(wait);
            assert!(connection.is_due(now));
        }
        connection.opened();
        assert!(connection.is_up());
        // A connection that is up but never answers does not shorten the wait.
        assert_eq!(connection.closed(now), secs(30));
        connection.opened();
        connection.answers();
        assert_eq!(connection.closed(now), secs(1));
        assert!(!Connection::new(false).is_due(secs(100)));
    }
}
