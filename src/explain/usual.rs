//! Errors that every mount has to some degree, and how much of each estimate to believe.
//!
//! Axis skew, droop and, where the sides of arrival are logged, backlash are always fitted. Left
//! free they cost accuracy where they are small and the peaks few; left out until they are certain
//! they spoil their neighbours. So each is weighted by the odds of two models, present and as large
//! as on a carefully built mount (or as large as it turns out to be), or absent: a Bayesian model
//! average with equal prior odds (Hoeting, Madigan, Raftery and Volinsky, Bayesian model averaging:
//! a tutorial, 1999; from memory). With x the estimate and sigma its standard deviation without any
//! prior, s the plausible size and k = s^2 / (s^2 + sigma^2),
//!
//! odds = sqrt(1 - k) exp(k x^2 / (2 sigma^2)), P = odds / (1 + odds),
//!
//! the estimate becomes P k x. Its uncertainty is that of an error that is present, because no
//! mount is without any: k sigma^2 about k x, and so k sigma^2 + ((1 - P) k x)^2 about P k x. (The
//! variance over both models, P k sigma^2 + P (1 - P) (k x)^2, would cover a true value of zero too
//! often and all others not often enough: 95 % intervals of droop, skew and backlash contained the
//! true value in four cases of five.)

use nalgebra::DMatrix;

use super::joint_fit::JointFit;
use super::linearised::Weighted;
use super::options::TermChoice;
use super::prior_size::{careful, is_weakly_held};
use super::session::Session;

/// Odds are kept this far from certainty, so that the equations of the fit can still be solved.
const LEAST_BELIEF: f64 = 1e-6;

/// Refits with each usual error weighted by its credibility; also returns the covariance that the
/// doubt about them adds, p by p, for parameters in the fit's order.
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
        // The prior spread with which a fit takes exactly that share of the estimate.
        weighed.columns[j].spread = (variance * share / (1.0 - share)).sqrt();
        // Change of the other parameters when this one changes.
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
