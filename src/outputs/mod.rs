//! Output of verbs: an output never destroys an input.
//!
//! Every file and folder that a verb writes goes through a [`Guard`], which knows what the verb
//! reads. It refuses (exit code 2) to overwrite any of that, by whatever path or link, a log with
//! filled rows, or a file clearly of another kind; an older result is kept beside the new one with
//! its own time in its name.

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
