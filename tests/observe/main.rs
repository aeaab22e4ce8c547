//! Observations of pretended dishes, whole.

#[path = "../common/dish.rs"]
mod dish;
mod faults;
mod keys;
mod rig;
mod safety;
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
#[path = "../common/terminal.rs"]
mod terminal;
mod verb;
mod whole;
