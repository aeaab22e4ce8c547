//! The verbs as whole commands: the built binary, started in a folder.

mod air;
mod believed_input;
#[path = "../common/command.rs"]
mod command;
mod feeds;
mod hill;
mod logs;
mod manual;
mod mounts;
mod new;
mod one_motor;
mod outputs;
mod pages;
mod plan;
mod point;
mod point_emitter;
mod recheck;
mod reduce;
mod reduce_spoilt;
mod refused_calibrations;
mod sensors;
mod several_nights;
mod simulate_scans;
mod sky;
mod solve;
mod solve_wrong_input;
#[path = "../study/mod.rs"]
mod study;
#[cfg(unix)] // a kill that cannot be caught
mod survival;
mod trust;
