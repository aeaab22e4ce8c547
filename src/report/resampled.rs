//! What resampling the peaks says about the uncertainties, in words.

use super::words::term_name;
use crate::mount::Term;
use crate::number::significant;
use crate::solve::Outcome;

/// One paragraph: the spread of each term over the resamplings beside its printed sigma.
pub fn bootstrap_text(outcome: &Outcome, spread: &[(Term, f64)], resamplings: usize) -> String {
    let terms: Vec<String> = (spread.iter())
        .map(|(term, sigma)| {
            let unit = term.unit();
            let printed = (outcome.terms.iter())
                .find(|t| t.term == *term)
                .and_then(|t| t.shown_sigma())
                .map_or_else(|| "none".to_owned(), |s| significant(s, 2));
            format!(
                "{} {} (printed {printed}) {}",
                term_name(outcome.model.kind(), *term),
                significant(unit.outward(*sigma), 2),
                unit.symbol()
            )
        })
        .collect();
    format!(
        "Uncertainty by {resamplings} resamplings of the peaks: {}. The printed ones also \
         include what omitted terms may do.",
        terms.join("; ")
    )
}
