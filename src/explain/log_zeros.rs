//! Several logs of one mount: encoder zeros that change from one log to the next, because the
//! encoders were zeroed again or lost their position while they were off.
//!
//! The zero in the mount model is that of the last log; each earlier change is a hypothesis of its
//! own that applies to all logs up to it.

use std::collections::HashMap;

use nalgebra::DMatrix;

use crate::angle::Angle;
use crate::mount::Term;

use super::explanation::Remark;
use super::fault::FaultAxis;
use super::hypothesis::Hypothesis;
use super::joint_fit::JointFit;
use super::log_change::{logs_in_order, measured, order_of, zero_changes};
use super::misreading_search::Beginning;
use super::plausibility::falls_apart;
use super::session::Session;
use super::start::{StartingZeros, start, start_of};

/// Starting values for the zeros of each log: those that its own peaks agree on.
struct Zeros {
    of_log: HashMap<usize, StartingZeros>,
}

impl Zeros {
    fn of(session: &Session) -> Zeros {
        let free = session.base_terms();
        let of_log = logs_in_order(&session.peaks)
            .into_iter()
            .map(|log| {
                let own: Vec<_> = (session.peaks.iter())
                    .filter(|p| p.log == log)
                    .map(|p| p.sighting)
                    .collect();
                (log, start_of(&own, &session.mount(), &free))
            })
            .collect();
        Zeros { of_log }
    }

    fn at(&self, log: usize, axis: FaultAxis) -> Angle {
        self.of_log.get(&log).map_or(Angle::ZERO, |s| match axis {
            FaultAxis::Azimuth => s.azimuth_zero,
            _ => s.elevation_zero,
        })
    }

    /// Of the last log in which the axis was measured.
    fn last(&self, session: &Session, axis: FaultAxis) -> Angle {
        let order = order_of(session.peaks.iter().filter(|p| measured(p, axis)));
        order.last().map_or(Angle::ZERO, |log| self.at(*log, axis))
    }
}

impl Session {
    /// Starting values of a fit of some hypotheses, by column: the zeros that most peaks agree on,
    /// for each log separately when its zeros are its own, and the clock offset.
    pub fn beginning_of(&self, hypotheses: &[Hypothesis]) -> Vec<f64> {
        self.beginning_from(hypotheses, &start(self))
    }

    /// The same where the zeros that most peaks agree on are already known.
    pub fn beginning_from(&self, hypotheses: &[Hypothesis], together: &StartingZeros) -> Vec<f64> {
        let per_log = hypotheses
            .iter()
            .any(|h| matches!(h, Hypothesis::LogZero(_)));
        let zeros = per_log.then(|| Zeros::of(self));
        let zero = |axis: FaultAxis| match (&zeros, axis) {
            (Some(zeros), axis) => zeros.last(self, axis),
            (None, FaultAxis::Azimuth) => together.azimuth_zero,
            (None, _) => together.elevation_zero,
        };
        let mut begin = Vec::new();
        for hypothesis in hypotheses {
            match (hypothesis, &zeros) {
                (Hypothesis::Terms(terms), _) => {
                    begin.extend(terms.iter().map(|term| match term {
                        Term::AzimuthZero => zero(FaultAxis::Azimuth).radians(),
                        Term::ElevationZero => zero(FaultAxis::Elevation).radians(),
                        Term::ClockOffset => self.clock_s(),
                        _ => 0.0,
                    }))
                }
                (Hypothesis::LogZero(change), Some(zeros)) => {
                    let (before, after) = change.logs;
                    let by = zeros.at(before, change.axis) - zeros.at(after, change.axis);
                    begin.push(by.wrapped_signed().radians());
                }
                (other, _) => begin.extend(other.columns(self.beamwidth).iter().map(|_| 0.0)),
            }
        }
        begin
    }
}

/// The mount without causes, but with separate zeros for each log: a possible start when the logs
/// are not consistent with each other. `None` for a single log, and when the zeros are separate
/// already.
pub fn apart(session: &Session) -> Option<Beginning> {
    let changes = zero_changes(&session.peaks, &session.choice, &session.held_terms);
    let more: Vec<Hypothesis> = (changes.into_iter())
        .map(Hypothesis::LogZero)
        .filter(|h| !session.base.iter().any(|known| known.same_kind(h)))
        .collect();
    if more.is_empty() {
        return None;
    }
    let hypotheses: Vec<Hypothesis> = session.base.iter().cloned().chain(more).collect();
    let begin = session.beginning_of(&hypotheses);
    let all = vec![true; session.peaks.len()];
    let plain = session.refit(&hypotheses, &begin, &all, 1.0);
    let together = |fit: &JointFit| !falls_apart(session, fit);
    let fit = match plain.filter(together) {
        Some(fit) => fit,
        None => session.robust_fit_of(&hypotheses, &begin).ok()?,
    };
    Some(Beginning {
        misreading: None,
        session: session.clone(),
        fit,
    })
}

/// Remarks on the encoder zeros of several logs; `covariance` is that of the fit's parameters.
pub fn zeros_of_logs(
    session: &Session,
    fit: &JointFit,
    covariance: &DMatrix<f64>,
) -> Option<Remark> {
    let order = logs_in_order(&session.peaks);
    let last = *order.last().filter(|_| order.len() > 1)?;
    let changes = (0..fit.hypotheses.len())
        .filter_map(|index| {
            let Hypothesis::LogZero(change) = fit.hypotheses[index] else {
                return None;
            };
            let place = fit.columns_of(session, index).start;
            let size = fit.hypotheses[index].size(
                &fit.parameters[place..=place],
                &[vec![covariance[(place, place)]]],
            );
            Some((change, size))
        })
        .collect();
    let asked = (session.base.iter()).any(Hypothesis::is_jump_of_a_zero);
    Some(Remark::ZerosOfLogs {
        changes,
        asked,
        last,
    })
}
