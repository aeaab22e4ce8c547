//! The options of an explanation.

use crate::mount::{Term, TermValues};

/// What to explain a session by, and how.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Exactly these mount terms; none means the usual ones and whatever the data ask for.
    pub terms: Option<Vec<Term>>,
    /// Fitted too, whatever the data say of them.
    pub also: Vec<Term>,
    /// Not fitted, whatever the data say; that they may be there all the same is in the expected
    /// pointing error.
    pub without: Vec<Term>,
    /// Terms held at an inside value.
    pub holds: Vec<(Term, f64)>,
    /// Seed of everything random.
    pub seed: u64,
    /// Use every peak: do not look for bad ones.
    pub trust_all: bool,
    /// Where to begin; none finds its own start.
    pub begin: Option<TermValues>,
    /// Encoder zeros of its own for each log; else only where the data ask for them.
    pub zeros_per_log: bool,
}

/// Which mount terms are fitted.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub enum TermChoice {
    /// The usual ones, and whatever the data ask for.
    #[default]
    ByTheData,
    /// Exactly these.
    Listed(Vec<Term>),
}
