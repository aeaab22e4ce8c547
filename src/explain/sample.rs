//! A representative sample of a long log: causes are searched for and weighed on it, and the final
//! fit uses all peaks.

use std::sync::Arc;

use nalgebra::Vector3;

use super::candidates::direction_of;
use super::hypothesis::Hypothesis;
use super::inquiry::Context;
use super::joint_fit::JointFit;
use super::session::Session;
use super::tuned::MOST_PEAKS_SEARCHED;

/// The peaks on which causes are searched for, by place; `None` when that is all of them.
pub fn sample(peaks: usize) -> Option<Vec<usize>> {
    (peaks > MOST_PEAKS_SEARCHED).then(|| {
        let stride = peaks.div_ceil(MOST_PEAKS_SEARCHED);
        (0..peaks).step_by(stride).collect()
    })
}

impl Session {
    /// Only some of the peaks, by place.
    pub fn thinned(&self, places: &[usize]) -> Session {
        Session {
            peaks: places.iter().map(|i| self.peaks[*i].clone()).collect(),
            sigmas: places.iter().map(|i| self.sigmas[*i]).collect(),
            noise: self.noise,
            beamwidth: self.beamwidth,
            geometry: self.geometry,
            held: self.held,
            held_terms: self.held_terms.clone(),
            left_out: self.left_out.clone(),
            choice: self.choice.clone(),
            also: self.also.clone(),
            base: self.base.clone(),
            trusts_all: self.trusts_all,
            seed: self.seed,
            logs: self.logs.clone(),
        }
    }
}

impl JointFit {
    /// The same fit restricted to some of the peaks: `some` is its session with only these.
    pub fn thinned(&self, some: &Session, places: &[usize]) -> Option<JointFit> {
        let hypotheses: Vec<Hypothesis> = (self.hypotheses.iter())
            .map(|h| h.with_steps(|steps| places.iter().map(|i| steps[*i]).collect()))
            .collect();
        let mut columns = some.columns_of(&hypotheses);
        for (column, own) in columns.iter_mut().zip(&self.columns) {
            column.spread = own.spread;
        }
        let mut fit = JointFit {
            hypotheses,
            columns,
            parameters: self.parameters.clone(),
            kept: places.iter().map(|i| self.kept[*i]).collect(),
            variance: self.variance,
            sigmas: some.sigmas.clone(),
            cost: 0.0,
        };
        let linearised = some.linearised(&fit, &[]);
        let all: Vec<usize> = (0..fit.count()).collect();
        fit.cost = linearised.cost(&linearised.fit(&all, &fit.kept, fit.variance)?);
        fit.sigmas = places.iter().map(|i| self.sigmas[*i]).collect();
        Some(fit)
    }
}

impl Hypothesis {
    /// The same with its steps by peak, if it has any, for other peaks.
    fn with_steps(&self, of: impl Fn(&[Vector3<f64>]) -> Vec<Vector3<f64>>) -> Hypothesis {
        match self {
            Hypothesis::Relabelled {
                emitter,
                really,
                steps,
            } => Hypothesis::Relabelled {
                emitter: *emitter,
                really: really.clone(),
                steps: Arc::new(of(steps)),
            },
            other => other.clone(),
        }
    }

    /// The same hypothesis for all peaks of a session, found on some of them.
    pub(crate) fn everywhere(&self, context: Context<'_>, session: &Session) -> Hypothesis {
        let Hypothesis::Relabelled {
            emitter, really, ..
        } = self
        else {
            return self.clone();
        };
        let step = |peak: &super::peak::SessionPeak| {
            let moment = context
                .sky?
                .at(peak.time.plus_seconds(peak.sighting.clock_offset_s));
            let there = direction_of(context.sky?, &moment, really)?;
            Some(there - peak.sighting.target)
        };
        self.with_steps(|_| {
            let moved = |p: &super::peak::SessionPeak| p.emitter == *emitter;
            (session.peaks.iter())
                .map(|p| moved(p).then(|| step(p)).flatten().unwrap_or_default())
                .collect()
        })
    }
}
