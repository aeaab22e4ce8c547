//! Observations of pretended dishes, whole.

mod faults;
mod keys;
mod rig;
mod safety;
mod verb;
mod whole;
