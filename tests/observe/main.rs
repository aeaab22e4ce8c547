//! Observations of pretended dishes, whole.

mod faults;
mod safety;
mod verb;
mod whole;
mod world;
