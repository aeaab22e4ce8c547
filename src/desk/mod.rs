//! The desk: a session edited live.
//!
//! A [`Desk`] holds a station, a log and the changes made to it, one line of an append-only file
//! for each change ([`edit_log`]). Each change is an [`Edit`]; all edits
//! together give the log and the options for [`explain`](crate::explain), as the command
//! line would. It runs on its own thread, and the newest change wins. [`serve`] shows the result to
//! browsers.

mod advice;
mod coach;
mod edit;
pub mod edit_log;
mod effective;
mod export;
mod foreign;
mod import;
mod live;
mod next;
mod peak_view;
mod rotator;
mod runs;
pub mod serve;
mod session;
mod sky;
mod solved;
mod state;
mod term_view;
mod tuned;
mod view;

pub use edit::{
    Addition, Choices, Edit, EditRequest, NoiseAsked, NoiseChoice, PeakName, TermAsked, Typed, Wish,
};
pub use effective::Effective;
pub use foreign::LogAnswers;
pub use live::{Live, News, PowerView, ReadingView, TakenReading, Wanted};
pub use next::NextPeaks;
pub use runs::RunView;
pub use session::DeskSession;
pub use sky::EmitterView;
pub use solved::{SessionFindings, SolvedSession};
pub use state::{Desk, Happened, RefusedEdit, Tell};
pub use view::View;
