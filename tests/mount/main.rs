//! The model of the mount: its signs and its inverse.

mod inverse;
mod signs;
