//! The model of the mount: its signs and its inverse, and the kinds of mount.

#[path = "../common/mod.rs"]
mod common;
mod inverse;
mod kinds;
mod names;
mod one_motor;
mod sensors;
mod signs;
