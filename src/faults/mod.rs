//! Diagnosis: residuals to named causes, mechanical or human.
//!
//! Causes compete. Each is a change to the model, refitted jointly with the mount terms and not a
//! curve drawn through leftovers: a lever of the mount pulled by a shape (`shape`), asked for to
//! first order in one pass over the peaks (`look`) and confirmed in full (`contest`). Peaks
//! that nothing explains have bounded influence, so that a slip is found although half of the peaks
//! look bad without it, and a few bad ones do not pass for a fault. Mistakes that change what the
//! log means (`worlds`: time zone, site, units) are observed anew, when the session as
//! logged falls apart. Bad peaks are then named each by itself (`rows`), the scatter is asked
//! for a loose joint (`scatter`) and the azimuth zero for a compass (`north`).

mod advice;
mod alike;
mod beginnings;
mod case;
mod cause;
mod contest;
mod diagnose;
mod evidence;
mod explain;
mod finding;
mod gain;
mod ground;
mod look;
mod name;
mod north;
mod rivals;
mod rows;
mod scan;
mod scatter;
mod searched;
mod shape;
mod show;
mod sound;
mod suspects;
mod worlds;

pub use diagnose::{Diagnosis, Options, diagnose};
pub use finding::{Finding, Rival, Subject, measured};
pub use name::{Axis, Fault};
pub use north::{Declination, declination};
pub use show::{Against, EffectPoint, MissPoint, Shown, show};
