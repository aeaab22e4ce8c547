//! The desk as a whole: the built binary, its server asked over plain sockets.

#[path = "../common/command.rs"]
mod command;

mod client;
#[path = "../common/dish.rs"]
mod dish;
mod edits;
mod export;
mod import;
mod live;
mod log;
mod safety;
