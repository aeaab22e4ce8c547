//! The one engine: from a log to its explanation.
//!
//! A mount term is a hypothesis like any cause, a lever of the mount pulled by a shape
//! (`shape`, `hypothesis`). All are fitted together in one problem with one likelihood
//! (`problem`, `joint_fit`), tested to first order in one pass (`linearised`), admitted
//! and dropped in one place with one correction for the number of tests (`admission`). Bad peaks
//! are found in `bad_peaks`, and their most likely causes in `row_causes`; `separability` and
//! `rivals` find what cannot be separated and what observation would help. The result is one
//! [`Explanation`], data without text; `solve` and `faults` are two views of it.

mod admission;
mod alike;
mod analyse;
mod bad_peaks;
mod base_fit;
mod candidates;
mod compass;
mod decided;
mod displaced;
mod error_field;
mod even_sky;
mod evidence;
mod explanation;
mod fault;
mod finish;
mod hypothesis;
mod inquiry;
mod joint_fit;
mod linearised;
mod log_change;
mod log_zeros;
mod loose_joint;
pub mod misfit;
mod misreading;
mod misreading_search;
pub mod observe;
mod one_mount;
mod options;
mod peak;
mod plausibility;
pub mod prior_size;
mod problem;
mod ripple;
mod rivals;
mod row_causes;
mod sample;
mod search;
mod separability;
mod session;
mod shape;
mod sky_error;
mod start;
mod step;
mod step_search;
mod tuned;
mod two_places;
mod uncertainty;
mod unexplained;
mod usual;

pub use alike::Alike;
pub use analyse::{LEAST_COORDINATES, explain, explain_observed};
pub use compass::{Compass, Declination, FALSE_ALARM as COMPASS_FALSE_ALARM, declination};
pub use error_field::ErrorField;
pub use even_sky::{even_sky, sky_weights};
pub use evidence::Evidence;
pub use explanation::{
    Cause, ComputedPositions, Decision, Explanation, FeedEstimate, Grounds, Misread, Numbers,
    Remark, TermEstimate, TwoPlaces,
};
pub use fault::{Fault, FaultAxis};
pub use hypothesis::{GRADS_SCALE, Hypothesis, Size};
pub use joint_fit::JointFit;
pub use log_change::{LogInstant, LogSet, MOST_LOGS, ZeroChange};
pub use loose_joint::{LooseJoint, Worst};
pub use misreading::{Misreading, unit_of, zone_of};
pub use options::{Options, TermChoice};
pub use peak::SessionPeak;
pub(crate) use plausibility::ABSURD_ZERO;
pub use prior_size::glaring;
pub use problem::JointProblem;
pub use rivals::{RivalHypothesis, Tell};
pub use row_causes::{BadKind, BadPeak, SIDELOBE};
pub use separability::{Advice, ToldInstead, Vague, rows_at};
pub use session::{Session, session_peaks};
pub use shape::{Lever, Shape, ShapeColumn};
pub use sky_error::{AllowedFor, SkyError};
pub use start::StartingZeros;
pub use unexplained::Unexplained;
