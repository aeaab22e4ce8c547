//! Statistics over made-up sessions, and sessions by other code.

mod agreement;
#[path = "../common/mod.rs"]
mod common;
mod faults;
#[path = "../support/practice.rs"]
#[allow(dead_code)]
mod practice;
mod recheck;
mod reference_sessions;
#[path = "../scan_study/mod.rs"]
mod scan_study;
mod scans;
mod solve;
#[path = "../study/mod.rs"]
mod study;
