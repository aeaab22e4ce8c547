//! Terms that the data cannot separate, in words.

use crate::mount::Term;

/// A combination of terms that the data cannot separate.
#[derive(Clone, Debug)]
pub struct Inseparable {
    /// The terms in it with their shares, the largest first.
    pub terms: Vec<(Term, f64)>,
    /// What it means, in words.
    pub meaning: String,
    /// The observation that would separate them, in words.
    pub remedy: String,
}
