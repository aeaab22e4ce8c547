//! Automatic calibration: drives a mount to the most informative emitters, scans each both ways,
//! records, reduces at once, and ends when the expected pointing error is as small as asked for.
//!
//! [`ObservationRun`] is a machine without input, output or clock: it holds a [`Relay`](crate::live::Relay),
//! so that every command to the mount passes the same guard. [`observe()`] runs it over sockets,
//! [`practise`] on a simulated dish with a simulated clock.

mod evaluation;
mod events;
mod identity;
mod journal;
mod knowledge;
mod machine;
mod moving;
mod over_sockets;
mod pattern;
mod power;
mod practice;
mod recorder;
mod safety;
mod search;
mod sequence;
mod source;
mod state;
mod stopping;
mod sun_cut;
mod tuned;
mod watch;

pub use evaluation::{Answer, EvaluatedScan, Job, NextMove, Solved, evaluate};
pub use events::{Action, Ending, Event, ObserveSettings, Progress, ScanRow, USUAL_ZEROS};
pub use identity::Missed;
pub use journal::{FORMAT, Journal, renamed};
pub use knowledge::{FoundEmitter, Knowledge};
pub use machine::{ObservationRun, sun_place};
pub use over_sockets::{Inbox, Inlet, inlet, observe};
pub use pattern::{Manner, Pattern};
pub use power::{Power, PowerForm, PowerLines, PowerSource};
pub use practice::{Practised, practise};
pub use source::{FromReceiver, Listening, listen};
pub use watch::{MISSING, NO_PROGRESS, SILENT, StopCause};
