//! plumbeam makes a motorised radio dish point true.
//!
//! Data flows one way: a [`station`] file and a [`logbook`] of peaks give, through the
//! [`sky`], where the beam should have pointed; [`solve`] finds the mount errors of the
//! [`mount`] model that explain the encoder readings; tables, faults and reports follow
//! from those. Nothing below imports from above.

pub mod angle;
pub mod cli;
pub mod demo;
pub mod ephemeris;
pub mod explain;
pub mod faults;
pub mod files;
pub mod fit;
pub mod logbook;
pub mod mount;
pub mod outputs;
pub mod plan;
pub mod problem;
pub mod quantity;
pub mod recheck;
pub mod report;
pub mod scan;
pub mod setup;
pub mod simulate;
pub mod sky;
pub mod solve;
pub mod station;
pub mod table;
pub mod text;
pub mod time;
