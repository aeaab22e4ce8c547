//! Diagnosis: mechanical or human causes, with their evidence, how to confirm and how to repair
//! them. One view of an [explanation](crate::explain).

mod advice;
mod diagnose;
mod evidence;
mod finding;
mod plot_data;

pub use crate::explain::{Declination, Fault, FaultAxis, Options, declination};
pub use diagnose::{Diagnosis, diagnose};
pub use finding::{Finding, Rival, Subject, measured};
pub use plot_data::{Against, EffectPoint, MissPoint, PlotData, plot_data};
