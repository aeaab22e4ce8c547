//! Observations of pretended dishes, whole.

mod faults;
mod keys;
mod safety;
mod verb;
mod whole;
mod world;
