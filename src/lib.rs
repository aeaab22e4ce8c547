//! plumbeam makes a motorised radio dish point true.
//!
//! Data flows one way: a [`station`] file and a [`logbook`] of peaks give, through the
//! [`sky`], where the beam should have pointed; [`mod@solve`] finds the mount errors of the
//! [`mount`] model that explain the encoder readings; tables, faults and reports follow
//! from those. Nothing below imports from above.
//!
//! A program can do what the command does: read a station and a log, solve, read a term, and
//! correct a direction.
//!
//! ```
//! use std::path::Path;
//!
//! use plumbeam::{Angle, ApproachSigns, Direction, Options, PeakLog, Sky, Station, Term, Wrap, solve};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
//! let station = Station::read(&folder.join("station.toml"))?;
//! let sky = Sky::new(&station)?;
//! let log = PeakLog::read(&folder.join("peaks.csv"), &station)?;
//!
//! let outcome = solve(&station, &sky, &log, &Options::default())?;
//! let zero = outcome.terms.iter().find(|t| t.term == Term::AzimuthZero).expect("always fitted");
//! let (value, sigma) = (zero.angle().expect("an angle"), zero.angle_sigma());
//! // The truth of the invented session is 3.4 degrees.
//! assert!((value - Angle::from_degrees(3.4)).abs() < sigma.expect("told by the data") * 4.0);
//!
//! // The encoder reading that puts the beam on an apparent direction.
//! let target = Direction::apparent(Angle::from_degrees(135.2), Angle::from_degrees(41.8));
//! let ranges = Wrap {
//!     azimuth_range: station.mount.azimuth_range,
//!     elevation_range: station.mount.elevation_range,
//!     present: None,
//! };
//! let arrival = ApproachSigns::UNKNOWN;
//! let reading = (outcome.model)
//!     .reading_to_command(&target, arrival, &ranges)?
//!     .ok_or("out of the mount's reach")?;
//! let beam = outcome.model.beam(reading, arrival);
//! assert!(beam.separation(&target) < Angle::from_degrees(1e-6));
//! # Ok(())
//! # }
//! ```

pub mod angle;
mod cli;
pub mod corrected;
pub mod demo;
#[allow(unnameable_types)] // asked for over a connection, not by callers
pub mod desk;
pub mod ephemeris;
pub mod explain;
pub mod faults;
pub mod files;
pub mod fit;
pub mod live;
pub mod logbook;
pub mod mount;
pub mod number;
pub mod observe;
pub mod outputs;
pub mod plan;
pub mod plot;
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

pub use angle::{Angle, Apparent, Direction, EncoderReading, Geometric};
#[doc(hidden)]
pub use cli::{run as run_command, understands};
pub use faults::{Diagnosis, diagnose};
pub use logbook::{Calibration, PeakLog};
pub use mount::{ApproachSigns, MountModel, Term, TermValues, Wrap};
pub use problem::Error;
pub use sky::Sky;
pub use solve::{Options, Outcome, calibration, remedies, solve};
pub use station::Station;
pub use time::Utc;
