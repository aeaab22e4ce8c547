//! Mount errors as a page shows them: every term of this kind of mount, fitted or not.

use serde::Serialize;

use crate::logbook::TermState;
use crate::mount::{Group, Term};
use crate::number;
use crate::report::{meanings, unit_name};
use crate::solve::Decision;

use super::edit::{Choices, Wish};
use super::session::DeskSession;
use super::solved::SessionFindings;

/// A term as a page shows it.
#[derive(Clone, Debug, Serialize)]
pub struct TermView {
    name: &'static str,
    label: &'static str,
    unit: &'static str,
    value: Option<f64>,
    value_shown: String,
    sigma: Option<f64>,
    sigma_shown: Option<String>,
    state: &'static str,
    asked: &'static str,
    hold_value: Option<f64>,
    can_leave_out: bool,
    meaning: String,
    why: String,
}

/// All terms, in the model's order.
pub fn terms(
    session: &DeskSession,
    found: Option<&SessionFindings>,
    choices: &Choices,
) -> Vec<TermView> {
    let kind = session.station.mount.kind();
    let meanings = found.map_or_else(Vec::new, |f| meanings(&f.outcome));
    let meaning = |group: Group| {
        let said = meanings.iter().find(|m| m.group == group);
        said.map_or_else(String::new, |m| number::with_minus_signs(&m.text))
    };
    kind.terms()
        .map(|term| {
            let estimate = found.and_then(|f| f.outcome.terms.iter().find(|t| t.term == term));
            let sigma = estimate.and_then(|t| t.shown_sigma());
            let (value_shown, sigma_shown) = match (estimate, sigma) {
                (Some(t), Some(sigma)) if t.state == TermState::Fitted => {
                    let (value, sigma) = number::with_sigma(t.shown(), sigma);
                    (number::typographic(&value), Some(sigma))
                }
                (Some(t), _) => (
                    number::typographic(&number::significant(t.shown(), 3)),
                    None,
                ),
                (None, _) => (String::new(), None),
            };
            let wish = choices.terms.get(&term);
            let decision =
                found.and_then(|f| (f.outcome.decisions.iter()).find(|d| d.terms.contains(&term)));
            TermView {
                name: kind.term_name(term),
                label: kind.term_words(term),
                unit: unit_name(term.unit()),
                value: estimate.map(|t| t.shown()),
                value_shown,
                sigma,
                sigma_shown,
                state: match estimate.map(|t| t.state) {
                    Some(TermState::Fitted) => "fitted",
                    Some(TermState::Held) => "held",
                    Some(TermState::NotSeparable) => "not separable",
                    None => "left out",
                },
                asked: match wish {
                    None => "data",
                    Some(Wish::Add) => "add",
                    Some(Wish::LeaveOut) => "leave-out",
                    Some(Wish::Hold(_)) => "hold",
                },
                hold_value: match wish {
                    Some(Wish::Hold(value)) => Some(term.unit().outward(*value)),
                    _ => None,
                },
                can_leave_out: can_leave_out(term),
                meaning: estimate.map_or_else(String::new, |_| meaning(term.group())),
                why: match (wish, decision) {
                    (Some(Wish::Add), _) => "fitted because it was asked for".to_owned(),
                    (Some(Wish::LeaveOut), _) => "left out by hand".to_owned(),
                    (Some(Wish::Hold(_)), _) => "held by hand".to_owned(),
                    (None, Some(decision)) => why(decision),
                    (None, None) => String::new(),
                },
            }
        })
        .collect()
}

/// Whether a fit makes sense without a term: an encoder's zero is never known to be exactly 0.
pub fn can_leave_out(term: Term) -> bool {
    !matches!(term.group(), Group::AzimuthZero | Group::ElevationZero)
}

fn why(decision: &Decision) -> String {
    decision.reason()
}
