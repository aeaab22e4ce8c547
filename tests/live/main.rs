//! What runs until it is stopped: the relay, an observation, the desk. In one program, since their
//! tests wait for sockets and deadlines most of the time and can do so side by side.

#[path = "../common/command.rs"]
mod command;
mod desk;
#[path = "../common/dish.rs"]
mod dish;
mod observe;
mod relay;
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
#[path = "../common/terminal.rs"]
mod terminal;
