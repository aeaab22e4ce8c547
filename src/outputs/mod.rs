//! Where verbs write: an output never destroys an input.
//!
//! Every file and folder that a verb writes goes through a [`Guard`], which knows what the verb
//! reads. It refuses (exit code 2) to write over any of that, by whatever path or link, over a
//! log with filled rows, and over what is plainly of another kind; an older result is kept next to
//! the new one under its own time.

mod folder;
mod guard;
mod kind;
mod mark;
mod older_results;
mod run;

pub use folder::{Delivered, OutputFolder};
pub use guard::{Growing, Guard, Output, Pending};
pub use kind::{FileContents, Old, OutputKind};
pub use run::{Run, RunRecord, runs_in};
