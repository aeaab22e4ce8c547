//! Sessions simulated from a known truth, for practice, for the demo and for tests.

mod dish;
mod ranges;
mod scan_session;
mod scans;
mod session;
mod spoil;
mod truth;

pub use dish::{Dish, Fault, FaultKind, Link, serve};
pub use scan_session::scan_session;
pub use scans::{MadeUp, ScanPlan, Signal, Way, made_up};
pub use session::{reading_at_peak, session};
pub use spoil::{Spoil, SpoilAxis, SpoilUnit};
pub use truth::{PRACTICE, PeakNoise, Practice, ScanWay, Scans, SessionPlan, Truth};
