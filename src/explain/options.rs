//! The options of an explanation.

use crate::mount::{Term, TermValues};

/// How to explain a session.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Exactly these mount terms; `None` means the usual ones and whatever the data require.
    pub terms: Option<Vec<Term>>,
    /// Also fitted, whatever the data say about them.
    pub also: Vec<Term>,
    /// Not fitted, whatever the data say; that they may exist anyway is included in the expected
    /// pointing error.
    pub without: Vec<Term>,
    /// Terms held at a value in internal units.
    pub holds: Vec<(Term, f64)>,
    /// Seed of everything random.
    pub seed: u64,
    /// Use every peak: do not look for bad ones.
    pub trust_all: bool,
    /// Starting values; with `None` a start is found automatically.
    pub begin: Option<TermValues>,
    /// Separate encoder zeros for each log; otherwise only where the data require them.
    pub zeros_per_log: bool,
}

/// Which mount terms are fitted.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub enum TermChoice {
    /// The usual ones, and whatever the data require.
    #[default]
    ByTheData,
    /// Exactly these.
    Listed(Vec<Term>),
}
