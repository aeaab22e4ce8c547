//! `plumbeam relay`: the guard by properties, the relay against a pretended mount in memory, and the
//! whole command over loopback sockets.

mod engine;
mod faults;
mod guard;
mod logs;
mod mount;
mod random;
mod verb;
mod world;
