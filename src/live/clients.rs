//! The clients of the relay: which one may command, and replies in the order of the commands.

use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

use super::aim::AskedDirection;

/// A client by number; numbers are not used again.
pub type ClientId = u64;

/// One client commands until it has been silent for this long.
pub const SILENT: Duration = Duration::from_secs(10);

/// A reply, sent once those before it are sent.
#[derive(Clone, Debug, PartialEq)]
enum Reply {
    Ready(String),
    /// Waits for the answer of this number.
    Waits(u64),
}

/// One client.
#[derive(Clone, Debug)]
struct Client {
    name: String,
    heard: Duration,
    asked: Option<AskedDirection>,
    replies: VecDeque<Reply>,
}

/// All that are connected.
#[derive(Clone, Debug, Default)]
pub struct Clients {
    all: BTreeMap<ClientId, Client>,
    commander: Option<ClientId>,
}

impl Clients {
    /// Adds a client; `name` is its address.
    pub fn open(&mut self, id: ClientId, name: String, now: Duration) {
        let client = Client {
            name,
            heard: now,
            asked: None,
            replies: VecDeque::new(),
        };
        self.all.insert(id, client);
    }

    /// Removes a client. Returns whether it was the one that commands.
    pub fn close(&mut self, id: ClientId) -> bool {
        self.all.remove(&id);
        let commanded = self.commander == Some(id);
        if commanded {
            self.commander = None;
        }
        commanded
    }

    /// Notes that a client sent something.
    pub fn heard(&mut self, id: ClientId, now: Duration) {
        if let Some(client) = self.all.get_mut(&id) {
            client.heard = now;
        }
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        self.all.len()
    }

    /// Its address.
    pub fn name(&self, id: ClientId) -> &str {
        self.all.get(&id).map_or("a client", |client| &client.name)
    }

    /// What it last demanded.
    pub fn asked(&self, id: ClientId) -> Option<AskedDirection> {
        self.all.get(&id)?.asked
    }

    /// Whether a client may command now; it is then the one that does.
    pub fn may_command(&mut self, id: ClientId, now: Duration) -> bool {
        let taken = self.commander.filter(|commander| *commander != id);
        let taken = taken.and_then(|commander| self.all.get(&commander));
        if taken.is_some_and(|commander| now.saturating_sub(commander.heard) < SILENT) {
            return false;
        }
        self.commander = Some(id);
        self.heard(id, now);
        true
    }

    /// Remembers what it demanded.
    pub fn demanded(&mut self, id: ClientId, asked: AskedDirection) {
        if let Some(client) = self.all.get_mut(&id) {
            client.asked = Some(asked);
        }
    }

    /// Appends a reply to the client's queue.
    pub fn reply(&mut self, id: ClientId, text: String) {
        if let Some(client) = self.all.get_mut(&id) {
            client.replies.push_back(Reply::Ready(text));
        }
    }

    /// Reserves a place in the queue for the reply of this number.
    pub fn reply_later(&mut self, id: ClientId, number: u64) {
        if let Some(client) = self.all.get_mut(&id) {
            client.replies.push_back(Reply::Waits(number));
        }
    }

    /// Fills in the reply of that number.
    pub fn settle(&mut self, id: ClientId, number: u64, text: String) {
        let Some(client) = self.all.get_mut(&id) else {
            return;
        };
        for reply in &mut client.replies {
            if *reply == Reply::Waits(number) {
                *reply = Reply::Ready(text);
                return;
            }
        }
    }

    /// What can be sent to each client now, in one text each.
    pub fn ready(&mut self) -> Vec<(ClientId, String)> {
        let mut out = Vec::new();
        for (id, client) in &mut self.all {
            let mut text = String::new();
            while let Some(Reply::Ready(_)) = client.replies.front() {
                if let Some(Reply::Ready(next)) = client.replies.pop_front() {
                    text.push_str(&next);
                }
            }
            if !text.is_empty() {
                out.push((*id, text));
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn secs(s: u64) -> Duration {
        Duration::from_secs(s)
    }

    #[test]
    fn one_commands_until_it_closes_or_is_silent() {
        let mut clients = Clients::default();
        clients.open(1, "a".to_owned(), secs(0));
        clients.open(2, "b".to_owned(), secs(0));
        assert!(clients.may_command(1, secs(0)));
        assert!(!clients.may_command(2, secs(9)));
        clients.heard(1, secs(5));
        assert!(!clients.may_command(2, secs(14)));
        assert!(clients.may_command(2, secs(15)));
        assert!(!clients.may_command(1, secs(16)));
        assert!(clients.close(2));
        assert!(clients.may_command(1, secs(16)));
        assert!(!clients.close(2));
    }

    #[test]
    fn replies_keep_the_order_of_the_commands() {
        let mut clients = Clients::default();
        clients.open(1, "a".to_owned(), secs(0));
        clients.reply_later(1, 7);
        clients.reply(1, "second\n".to_owned());
        assert_eq!(clients.ready(), []);
        clients.settle(1, 7, "first\n".to_owned());
        assert_eq!(clients.ready(), [(1, "first\nsecond\n".to_owned())]);
        assert_eq!(clients.ready(), []);
        // A client that has gone.
        clients.settle(9, 7, String::new());
        clients.reply(9, String::new());
    }
}
