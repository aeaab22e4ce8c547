//! Automatic calibration: drives a mount through what tells most, scans each emitter both ways,
//! records, reduces at once, and ends when the expected pointing error is as small as asked for.
//!
//! [`Observation`] is a machine without input, output or clock: it holds a [`Relay`](crate::live::Relay),
//! so that whatever it wants of the mount passes the same guard. [`observe()`] runs it over sockets,
//! [`practise`] on a pretended dish and a clock of its own.

mod events;
mod flow;
mod identity;
mod journal;
mod knowledge;
mod machine;
mod moving;
mod pattern;
mod power;
mod practice;
mod real;
mod recorder;
mod safety;
mod search;
mod source;
mod stopping;
mod sun_cut;
mod think;
mod watch;

pub use events::{Action, Ending, Event, Progress, Row, Settings, USUAL_ZEROS};
pub use identity::Missed;
pub use journal::{FORMAT, Journal, renamed};
pub use knowledge::{FoundEmitter, Knowledge};
pub use machine::{Observation, sun_place};
pub use pattern::{Manner, Pattern};
pub use power::{Power, PowerForm, PowerLines, PowerSource};
pub use practice::{Practised, practise};
pub use real::{Inbox, Inlet, inlet, observe};
pub use source::{Heard, Listening, listen};
pub use think::{Answer, Job, Looked, Next, Solved, think};
pub use watch::{Cause, MISSING, NO_PROGRESS, SILENT};
