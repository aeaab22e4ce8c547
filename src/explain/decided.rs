//! The decision on every hypothesis, and which hypotheses are reported as causes.

use nalgebra::DMatrix;

use crate::mount::{Group, Term};

use super::admission::is_usual;
use super::explanation::{Cause, Decision, Grounds, Numbers};
use super::hypothesis::Hypothesis;
use super::inquiry::Inquiry;
use super::joint_fit::JointFit;
use super::options::TermChoice;
use super::rivals::rivals;
use super::session::{Session, both_sides};

/// Returns everything found apart from the errors that every mount has, and those of it that
/// convince by themselves: the best-supported first.
pub fn causes(
    inquiry: &Inquiry<'_>,
    session: &Session,
    fit: &JointFit,
    covariance: &DMatrix<f64>,
    tried: usize,
) -> Vec<Cause> {
    let admitted = fit.admitted(session);
    let mut found: Vec<Cause> = (0..fit.hypotheses.len())
        .filter(|k| fit.hypotheses[*k].fault().is_some())
        // Separate zeros for each log that the user requested are not a fault.
        .filter(|k| *k >= session.base.len() || !fit.hypotheses[*k].is_jump_of_a_zero())
        .filter_map(|index| {
            let answer = inquiry.speaks_for(index, tried)?;
            (admitted.contains(&index) || answer.convinces()).then_some(())?;
            let own = fit.columns_of(session, index);
            let values = fit.parameters[own.clone()].to_vec();
            let own_covariance: Vec<Vec<f64>> = (own.clone())
                .map(|i| own.clone().map(|j| covariance[(i, j)]).collect())
                .collect();
            let hypothesis = fit.hypotheses[index].clone();
            Some(Cause {
                size: hypothesis.size(&values, &own_covariance),
                rivals: rivals(inquiry, session, fit, index),
                index,
                hypothesis,
                values,
                p_value: answer.p_value,
                bic_fall: answer.bic_fall,
                evidence: answer.evidence,
            })
        })
        .collect();
    found.sort_by(|a, b| b.bic_fall.total_cmp(&a.bic_fall));
    found
}

/// The decision on every group of mount terms and on every cause.
pub fn decisions(
    inquiry: &Inquiry<'_>,
    session: &Session,
    fit: &JointFit,
    tried: usize,
) -> Vec<Decision> {
    let listed = session.choice != TermChoice::ByTheData;
    let numbers = |answer: &super::inquiry::TestedHypothesis| Numbers {
        p_value: answer.p_value,
        bic_fall: answer.bic_fall,
        cross_validation: answer.evidence.cross_validation,
    };
    let asked_for = |h: &Hypothesis| h.terms().iter().any(|t| session.also.contains(t));
    let mut found = Vec::new();
    for index in 0..fit.hypotheses.len() {
        let hypothesis = &fit.hypotheses[index];
        let always = index < session.base.len();
        if matches!(hypothesis, Hypothesis::Feed(_) | Hypothesis::Lag { .. })
            || always && !listed && !is_usual(hypothesis) && !asked_for(hypothesis)
        {
            continue;
        }
        let answer = inquiry.speaks_for(index, tried);
        let grounds = match (always, listed || asked_for(hypothesis), &answer) {
            (true, true, _) => Grounds::Asked,
            (true, false, answer) => Grounds::Usual(answer.as_ref().map(numbers)),
            (false, _, Some(answer)) => Grounds::Evidence(numbers(answer)),
            (false, _, None) => Grounds::NotTold,
        };
        found.push(Decision {
            hypothesis: hypothesis.clone(),
            fitted: true,
            grounds,
        });
    }
    let mut asked: Vec<Hypothesis> = Vec::new();
    for answer in inquiry.ask_all() {
        if answer.hypothesis.group().is_none() && !answer.convinces() && asked.len() > 60 {
            continue;
        }
        asked.push(answer.hypothesis.clone());
        found.push(Decision {
            hypothesis: answer.hypothesis.clone(),
            fitted: false,
            grounds: Grounds::Evidence(numbers(&answer)),
        });
    }
    if !listed {
        for hypothesis in super::candidates::candidates(inquiry.station(), session) {
            let known = |h: &Hypothesis| h.same_kind(&hypothesis);
            if !asked.iter().any(known) && !fit.hypotheses.iter().any(known) {
                found.push(Decision {
                    hypothesis,
                    fitted: false,
                    grounds: Grounds::NotTold,
                });
            }
        }
        for (group, sign) in [
            (
                Group::AzimuthBacklash,
                (|p: &super::peak::SessionPeak| p.sighting.approach.azimuth)
                    as fn(&super::peak::SessionPeak) -> f64,
            ),
            (Group::ElevationBacklash, |p| p.sighting.approach.elevation),
        ] {
            let terms: Vec<Term> = (group.terms())
                .filter(|t| !session.held_terms.contains(t))
                .collect();
            if terms.is_empty() || both_sides(&session.peaks, sign) {
                continue;
            }
            let any = session.peaks.iter().any(|p| sign(p) != 0.0);
            found.push(Decision {
                hypothesis: Hypothesis::Terms(terms),
                fitted: false,
                grounds: if any {
                    Grounds::OneSide
                } else {
                    Grounds::SidesNotLogged
                },
            });
        }
    }
    found
}
