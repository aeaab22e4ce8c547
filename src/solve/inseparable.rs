//! What the data cannot tell apart, in words.

use crate::mount::Term;

/// A direction among the terms that the data cannot tell apart.
#[derive(Clone, Debug)]
pub struct Inseparable {
    /// The terms in it, those with the largest part first, with their parts.
    pub terms: Vec<(Term, f64)>,
    /// What it means, in words.
    pub meaning: String,
    /// Which observation would separate them, in words.
    pub remedy: String,
}
