//! What a person can do by hand about a mount error.

use crate::mount::Term;

/// One remedy, in words ready to print.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// The mount error that it mends (of a group, its first term).
    pub term: Term,
    /// What to do, in a few words.
    pub title: String,
    /// How, with the numbers and their units.
    pub text: String,
    /// What can hurt while doing so; may be empty.
    pub caution: String,
}
