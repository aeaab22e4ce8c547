//! Errors that every mount has to some degree: how much of them to believe.
//!
//! Axis skew, droop and, where the sides of arrival are logged, backlash are fitted always. Left
//! free they cost accuracy where they are small and the peaks few; left out until they are
//! certain they spoil their neighbours. So each is weighed by the odds of two models, there and as
//! large as a careful builder leaves it (or as large as it shows itself to be), or not there at
//! all: a Bayesian model average, equal odds beforehand (Hoeting, Madigan, Raftery and Volinsky,
//! Bayesian model averaging: a tutorial, 1999; from memory). With x the estimate and sigma its
//! standard deviation without any prior, s the plausible size and k = s^2 / (s^2 + sigma^2),
//!
//! odds = sqrt(1 - k) exp(k x^2 / (2 sigma^2)), P = odds / (1 + odds),
//!
//! the estimate becomes P k x. Its uncertainty is that of an error that is there, since no mount is
//! without any: k sigma^2 about k x, and so k sigma^2 + ((1 - P) k x)^2 about P k x. (The variance over
//! both models, P k sigma^2 + P (1 - P) (k x)^2, would hold a truth of nought too well and all others
//! not well enough: of droop, skew and play 95 % intervals held four in five.)

use nalgebra::DMatrix;

use super::joint_fit::JointFit;
use super::linearised::Weighted;
use super::options::TermChoice;
use super::prior_size::{careful, is_weakly_held};
use super::session::Session;

/// Odds are kept this far from certainty, so that the equations of the fit still have an answer.
const LEAST_BELIEF: f64 = 1e-6;

/// The fit with each usual error as much as the data make it credible, and the covariance that
/// the doubt about them adds, p by p, for parameters in the fit's order.
pub fn weigh_usual_errors(session: &Session, fit: JointFit) -> (JointFit, DMatrix<f64>) {
    let p = fit.count();
    let nothing = DMatrix::zeros(p, p);
    if session.choice != TermChoice::ByTheData {
        return (fit, nothing);
    }
    let loose = session.loose_spreads(&fit);
    let linearised = session.linearised(&fit, &[]).with_spreads(&loose);
    let all: Vec<usize> = (0..p).collect();
    let Some(step) = linearised.solve(&all, &Weighted::Kept(&fit.kept), fit.variance) else {
        return (fit, nothing);
    };
    let values = linearised.values(&all, &step.step);
    let covariance = &step.inverse * step.inverse.transpose() * fit.variance;
    let mut weighed = fit.clone();
    let mut doubt = nothing;
    for j in 0..p {
        let Some(term) = fit.columns[j]
            .constant_term()
            .filter(|t| is_weakly_held(*t) && !session.asks_for(*t))
        else {
            continue;
        };
        let (x, variance) = (values[j], covariance[(j, j)].max(1e-300));
        let careful = careful(term, session.beamwidth);
        let plausible = (careful * careful).max(x * x - variance);
        let k = plausible / (plausible + variance);
        let log_odds = 0.5 * (1.0 - k).ln() + 0.5 * k * x * x / variance;
        let belief = 1.0 / (1.0 + (-log_odds).exp());
        let share = (belief * k).clamp(LEAST_BELIEF, 1.0 - LEAST_BELIEF);
        // The spread under which a fit takes just that share of the estimate.
        weighed.columns[j].spread = (variance * share / (1.0 - share)).sqrt();
        // What the others do when this one moves.
        let answer = covariance.column(j) / variance;
        let doubted = 1.0 - belief;
        let square = doubted * k * variance + (doubted * k * x).powi(2);
        doubt += &answer * answer.transpose() * square;
    }
    let kept = fit.kept.clone();
    match session.refit_as_held(&weighed, &kept) {
        Some(next) => (next, doubt),
        None => (fit, DMatrix::zeros(p, p)),
    }
}
