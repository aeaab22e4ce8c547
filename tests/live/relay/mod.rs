//! `plumbeam relay`: the guard by properties, the relay against a pretended mount in memory, and the
//! whole command over loopback sockets.

#[cfg(unix)]
mod command;
mod engine;
mod faults;
mod guard;
mod logs;
mod mount;
mod operated;
mod random;
mod rig;
mod verb;
