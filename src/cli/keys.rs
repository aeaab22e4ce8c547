//! Single keys of a terminal, without waiting for the end of a line.

use std::io::{IsTerminal, Read};

/// While it lives, keys come one by one and are not shown; the terminal is as before afterwards.
/// Signals of the keyboard stay what they are.
#[derive(Debug)]
pub struct Keys {
    #[cfg(any(target_os = "linux", target_vendor = "apple"))]
    before: Option<rustix::termios::Termios>,
    /// The terminal, when it is not standard input.
    #[cfg(any(target_os = "linux", target_vendor = "apple"))]
    terminal: Option<std::fs::File>,
}

impl Keys {
    /// Calls `pressed` for every key from now on, when standard input is a terminal; its end means
    /// nothing.
    pub fn listen(mut pressed: impl FnMut(u8) + Send + 'static) -> Option<Keys> {
        let input = std::io::stdin();
        if !input.is_terminal() {
            return None;
        }
        let keys = Keys::single(None);
        std::thread::spawn(move || {
            for byte in std::io::stdin().lock().bytes() {
                match byte {
                    Ok(byte) => pressed(byte),
                    Err(_) => return,
                }
            }
        });
        Some(keys)
    }

    /// The same from the terminal itself, when standard input is used for something else; none where
    /// there is no terminal.
    pub fn listen_to_terminal(mut pressed: impl FnMut(u8) + Send + 'static) -> Option<Keys> {
        let terminal = std::fs::File::open("/dev/tty").ok()?;
        let reader = terminal.try_clone().ok()?;
        let keys = Keys::single(Some(terminal));
        std::thread::spawn(move || {
            // A terminal gives what there is: nothing waits for the buffer to fill.
            for byte in std::io::BufReader::new(reader).bytes() {
                match byte {
                    Ok(byte) => pressed(byte),
                    Err(_) => return,
                }
            }
        });
        Some(keys)
    }

    #[cfg(any(target_os = "linux", target_vendor = "apple"))]
    fn single(terminal: Option<std::fs::File>) -> Keys {
        use std::os::fd::AsFd;

        use rustix::termios::{LocalModes, OptionalActions, tcgetattr, tcsetattr};
        let stdin = std::io::stdin();
        let input = match &terminal {
            Some(terminal) => terminal.as_fd(),
            None => stdin.as_fd(),
        };
        let before = tcgetattr(input).ok();
        if let Some(before) = &before {
            let mut single = before.clone();
            single
                .local_modes
                .remove(LocalModes::ICANON | LocalModes::ECHO);
            // Where it cannot be set, keys come with the end of the line.
            let _ = tcsetattr(input, OptionalActions::Now, &single);
        }
        Keys { before, terminal }
    }

    #[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
    fn single(_terminal: Option<std::fs::File>) -> Keys {
        Keys {}
    }
}

#[cfg(any(target_os = "linux", target_vendor = "apple"))]
impl Drop for Keys {
    fn drop(&mut self) {
        use rustix::termios::{OptionalActions, tcsetattr};
        if let Some(before) = &self.before {
            let _ = match &self.terminal {
                Some(terminal) => tcsetattr(terminal, OptionalActions::Now, before),
                None => tcsetattr(std::io::stdin(), OptionalActions::Now, before),
            };
        }
    }
}

/// Tells from a thread of its own whenever a file appears or goes: a stop by a file is told within 25 ms.
pub fn watch_for(file: std::path::PathBuf, tell: impl Fn(bool) + Send + 'static) {
    /// A stop that takes longer to be seen is felt as late; a look at a file costs microseconds.
    const OFTEN: std::time::Duration = std::time::Duration::from_millis(25);
    std::thread::spawn(move || {
        let mut was = false;
        loop {
            let there = file.exists();
            if there != was {
                tell(there);
                was = there;
            }
            std::thread::sleep(OFTEN);
        }
    });
}
