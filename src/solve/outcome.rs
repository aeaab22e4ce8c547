//! The complete result of a solve, from which reports, files and checks are made. It is one view of
//! an [explanation](crate::explain).

use std::sync::Arc;

use super::inseparable::Inseparable;
use super::remarks;
use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset};
use crate::explain::misfit::misfit;
use crate::explain::observe::Unusable;
use crate::explain::{Explanation, Grounds, Numbers, Remark, SkyError, TermEstimate};
use crate::fit::Noise;
use crate::mount::{MountModel, Term, TermValues};
use crate::station::Station;
use crate::time::Utc;

/// Result of a solve.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The mount model with the values fitted and held.
    pub model: MountModel,
    /// Every term requested or admitted, in the order of [`Term::ALL`].
    pub terms: Vec<TermEstimate>,
    /// Correlation of each pair of fitted terms.
    pub correlations: Vec<(Term, Term, f64)>,
    /// All peaks of the log, in file order.
    pub peaks: Vec<PeakOutcome>,
    /// RMS of the whole offset on the sky over the used peaks with the readings uncorrected.
    pub rms_before: Angle,
    /// Corrections made before `rms_before` could be computed, if any (a whole-turn and zero
    /// offset); in words.
    pub before_note: Option<String>,
    /// RMS of the whole offset on the sky over the used peaks after the fit.
    pub rms_after: Angle,
    /// Measured coordinates of used peaks minus fitted terms.
    pub degrees_of_freedom: usize,
    /// Where the uncertainties come from.
    pub noise: NoiseSource,
    /// Which terms were admitted or left out, and why.
    pub decisions: Vec<Decision>,
    /// Combinations of terms that the data cannot separate.
    pub not_separable: Vec<Inseparable>,
    /// Assumptions, and other remarks for the user.
    pub warnings: Vec<Warning>,
    /// The expected pointing error of the corrected mount; `None` where the mount reaches nothing.
    pub sky_error: Option<SkyError>,
    /// How the log or the station file was misread, and the correction; as long as this is set no
    /// work on the bolts is suggested.
    pub misread: Option<String>,
    /// The explanation that the outcome is based on; `None` for one made by hand.
    pub explanation: Option<Arc<Explanation>>,
}

/// A remark for the user: its kind, for code to match on, and its text.
#[derive(Clone, Debug)]
pub struct Warning {
    /// The kind.
    pub remark: Remark,
    /// The text for this session.
    pub words: String,
}

/// Result for one peak.
#[derive(Clone, Debug)]
pub struct PeakOutcome {
    /// Data row in the log, counted from 1.
    pub row: usize,
    /// Line in the log, counted from 1.
    pub line: usize,
    /// Time.
    pub time: Utc,
    /// Name of its emitter.
    pub emitter: String,
    /// Direction in which the beam should have pointed.
    pub target: Direction<Apparent>,
    /// The encoder reading; an axis that was not measured is filled in from the model.
    pub reading: EncoderReading,
    /// Emitter minus encoder reading, on the sky, before any correction (after the whole-turn and
    /// zero offset, if one was needed).
    pub before: Offset,
    /// Emitter minus modelled beam, on the sky.
    pub residual: Offset,
    /// Whether the azimuth was measured: if not, the cross-elevation parts mean nothing.
    pub azimuth_measured: bool,
    /// Whether the elevation was measured.
    pub elevation_measured: bool,
    /// One standard deviation in cross-elevation as used by the fit (or from the scatter).
    pub cross_elevation_sigma: Angle,
    /// One standard deviation in elevation as used by the fit (or from the scatter).
    pub elevation_sigma: Angle,
    /// Whether the fit used it.
    pub used: bool,
    /// Why not; empty when used.
    pub why: String,
}

/// Where the uncertainties come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoiseSource {
    /// From the standard deviations in the log.
    Logged,
    /// From the scatter of the residuals.
    Scatter,
}

/// Whether a hypothesis was admitted.
#[derive(Clone, Debug)]
pub struct Decision {
    /// The mount terms decided together; empty for a cause that is not a mount term.
    pub terms: Vec<Term>,
    /// Name of the hypothesis.
    pub name: String,
    /// Admitted to the fit.
    pub admitted: bool,
    /// The grounds.
    pub grounds: Grounds,
}

impl Decision {
    /// The numbers behind it, where there are any.
    pub fn numbers(&self) -> Option<Numbers> {
        match self.grounds {
            Grounds::Usual(numbers) => numbers,
            Grounds::Evidence(numbers) => Some(numbers),
            _ => None,
        }
    }
    /// The grounds in words.
    pub fn reason(&self) -> String {
        remarks::grounds_words(&self.grounds)
    }
}

/// From this median error on, the readings without a model mean nothing: the encoders were never
/// set to north. Common practice, no source.
const MEANINGLESS: Angle = Angle::from_degrees(30.0);

impl Outcome {
    /// The mount errors of an explanation.
    pub fn of(explanation: Arc<Explanation>, station: &Station) -> Outcome {
        let e = explanation.as_ref();
        let (session, fit) = (&e.session, &e.fit);
        let raw = MountModel::ideal(session.geometry);
        let off = |model: &MountModel, i: usize| {
            let sighting = &session.peaks[i].sighting;
            masked(misfit(model, sighting).offset, sighting.measured())
        };
        let places = 0..session.peaks.len();
        let distances = places.clone().map(|i| off(&raw, i).size()).collect();
        let (before_model, before_note) = if median(distances) > MEANINGLESS {
            let mut terms = TermValues::ZERO;
            terms.set_inside(Term::AzimuthZero, e.start.azimuth_zero.radians());
            terms.set_inside(Term::ElevationZero, e.start.elevation_zero.radians());
            let note = format!(
                "the raw readings mean nothing by themselves: the error before is taken after \
                 adding {:.1} deg to the azimuth and {:.1} deg to the elevation readings",
                terms.shown(Term::AzimuthZero),
                terms.shown(Term::ElevationZero)
            );
            (raw.with_terms(terms), Some(note))
        } else {
            (raw, None)
        };
        let problem = fit.problem(session);
        let bare = problem.mount(&fit.parameters);
        let mut peaks: Vec<PeakOutcome> = places
            .map(|i| {
                let peak = &session.peaks[i];
                let after = problem.at_about(&bare, i, &fit.parameters);
                let sigma = fit.sigmas[i].map(|s| s * e.noise_factor);
                let used = e.is_used(i);
                let [azimuth_measured, elevation_measured] = peak.sighting.measured();
                PeakOutcome {
                    row: peak.row,
                    line: peak.line,
                    time: peak.time,
                    emitter: peak.emitter_name.to_string(),
                    target: Direction::from_east_north_up(&after.target()),
                    reading: after.reading,
                    before: misfit(&before_model, &peak.sighting).offset,
                    residual: after.misfit(),
                    azimuth_measured,
                    elevation_measured,
                    cross_elevation_sigma: sigma[0],
                    elevation_sigma: sigma[1],
                    used,
                    why: match used {
                        true => String::new(),
                        false => remarks::bad_peak_words(e, i),
                    },
                }
            })
            .collect();
        let rms = |of: &dyn Fn(&PeakOutcome) -> Offset| {
            let squares: Vec<f64> = (peaks.iter().filter(|p| p.used))
                .map(|p| {
                    let measured = [p.azimuth_measured, p.elevation_measured];
                    masked(of(p), measured).size().radians().powi(2)
                })
                .collect();
            Angle::from_radians((squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt())
        };
        let (rms_before, rms_after) = (rms(&|p| p.before), rms(&|p| p.residual));
        let rows: usize = (session.peaks.iter().zip(&fit.kept))
            .filter(|(_, used)| **used)
            .map(|(p, _)| p.sighting.coordinates())
            .sum();
        peaks.extend(e.unusable.iter().map(unusable_peak));
        peaks.sort_by_key(|p| p.row);
        Outcome {
            model: e.model,
            terms: e.terms.clone(),
            correlations: e.correlations.clone(),
            peaks,
            rms_before,
            before_note,
            rms_after,
            degrees_of_freedom: rows.saturating_sub(fit.count()),
            noise: match session.noise {
                Noise::Logged => NoiseSource::Logged,
                Noise::Scatter => NoiseSource::Scatter,
            },
            decisions: (e.decisions.iter())
                .map(|d| {
                    let name = remarks::hypothesis_name(&d.hypothesis, station);
                    let dropped = (e.dropped.iter()).any(|h| h.same_kind(&d.hypothesis));
                    Decision {
                        terms: d.hypothesis.terms(),
                        name: match dropped && !d.fitted {
                            true => format!("{name} (admitted, then dropped)"),
                            false => name,
                        },
                        admitted: d.fitted,
                        grounds: d.grounds.clone(),
                    }
                })
                .collect(),
            not_separable: remarks::inseparable(e),
            warnings: (e.remarks.iter())
                .map(|r| Warning {
                    remark: r.clone(),
                    words: remarks::remark_words(r, e, station),
                })
                .collect(),
            sky_error: e.sky_error.clone(),
            misread: remarks::misread_words(e, station),
            explanation: Some(explanation.clone()),
        }
    }
}

fn unusable_peak(unusable: &Unusable) -> PeakOutcome {
    let peak = &unusable.peak;
    let reading = EncoderReading {
        azimuth: peak.azimuth.unwrap_or(Angle::ZERO),
        elevation: peak.elevation.unwrap_or(Angle::ZERO),
    };
    PeakOutcome {
        row: peak.row,
        line: peak.line,
        time: peak.time,
        emitter: peak.emitter.clone(),
        // Without an emitter position there is no residual.
        target: Direction::apparent(reading.azimuth, reading.elevation),
        reading,
        before: Offset::default(),
        residual: Offset::default(),
        azimuth_measured: false,
        elevation_measured: false,
        cross_elevation_sigma: Angle::ZERO,
        elevation_sigma: Angle::ZERO,
        used: false,
        why: unusable.why.clone(),
    }
}

/// The offset with unmeasured parts zero.
fn masked(offset: Offset, [azimuth, elevation]: [bool; 2]) -> Offset {
    Offset {
        cross_elevation: if azimuth {
            offset.cross_elevation
        } else {
            Angle::ZERO
        },
        elevation: if elevation {
            offset.elevation
        } else {
            Angle::ZERO
        },
    }
}

fn median(mut angles: Vec<Angle>) -> Angle {
    angles.sort_by(|p, q| p.radians().total_cmp(&q.radians()));
    angles.get(angles.len() / 2).copied().unwrap_or(Angle::ZERO)
}

impl Outcome {
    /// Size and direction of two parts (x, y) in the units of files, with their standard deviations
    /// when both parts have one: first-order propagation with the correlation of the parts.
    pub fn size_and_direction(
        &self,
        x: &TermEstimate,
        y: &TermEstimate,
    ) -> (f64, Option<f64>, Angle, Option<Angle>) {
        let (vx, vy) = (x.shown(), y.shown());
        let size = vx.hypot(vy);
        let direction = Angle::from_radians(vy.atan2(vx));
        let (Some(sx), Some(sy)) = (x.shown_sigma(), y.shown_sigma()) else {
            return (size, None, direction, None);
        };
        if size == 0.0 {
            return (size, Some(sx.hypot(sy)), direction, None);
        }
        let rho = self
            .correlations
            .iter()
            .find(|(a, b, _)| (*a == x.term && *b == y.term) || (*a == y.term && *b == x.term))
            .map_or(0.0, |(_, _, r)| *r);
        let along = (vx * sx).powi(2) + (vy * sy).powi(2) + 2.0 * rho * vx * vy * sx * sy;
        let across = (vy * sx).powi(2) + (vx * sy).powi(2) - 2.0 * rho * vx * vy * sx * sy;
        (
            size,
            Some(along.max(0.0).sqrt() / size),
            direction,
            Some(Angle::from_radians(across.max(0.0).sqrt() / size.powi(2))),
        )
    }
}
