//! The desk as a whole: the built binary, its server asked over plain sockets.

mod client;
mod edits;
mod export;
mod import;
mod live;
mod log;
mod safety;
