//! Whether a session is consistent: whether its peaks can be those of one mount at all.

use crate::angle::{Angle, Direction, EncoderReading};
use crate::mount::{ApproachSigns, Group, MountModel};

use super::joint_fit::JointFit;
use super::peak::SessionPeak;
use super::prior_size::glaring;
use super::session::Session;
use super::shape::Lever;
use super::tuned::{
    CAUSES_THAT_MUST_FIT_CLOSELY, CAUSES_THAT_MUST_FIT_MOST_PEAKS, LEAST_EMITTERS_MISSED,
    TIMES_GLARING_OF_A_TERM, TIMES_PLAUSIBLE_OF_A_CAUSE,
};

/// A session is inconsistent when this share of its peaks is bad; common practice, no source.
const MANY_BAD: f64 = 0.2;
/// Also when emitters that are missed at every one of their peaks have this share of all peaks;
/// common practice, no source.
const MISSED_SHARE: f64 = 0.05;
/// Also when the scatter is this share of the beamwidth, because a signal is never peaked that
/// badly; common practice, no source.
const MOST_SCATTER: f64 = 0.12;

/// An elevation zero this large suggests that the readings mean something else, such as angles from
/// the zenith; common practice, no source.
pub const ABSURD_ZERO: Angle = Angle::from_degrees(45.0);

/// Whether the session as logged is inconsistent.
pub fn falls_apart(session: &Session, fit: &JointFit) -> bool {
    let peaks = fit.kept.len() as f64;
    let missed = wholly_missed(session, fit);
    let many =
        many_bad(fit) || (missed >= LEAST_EMITTERS_MISSED && missed as f64 >= MISSED_SHARE * peaks);
    let glaring_term = (fit.columns.iter().zip(&fit.parameters)).any(|(column, value)| {
        column
            .constant_term()
            .is_some_and(|term| match term.group() {
                Group::Tilt | Group::Collimation | Group::AxisSkew | Group::Droop => {
                    value.abs() > TIMES_GLARING_OF_A_TERM * glaring(term)
                }
                _ => false,
            })
    });
    many || glaring_term || fit.scatter() > session.beamwidth * MOST_SCATTER
}

/// An explanation is useless if the peaks scatter about it by more beamwidths than this: a signal
/// is lost half a beamwidth off, and a peak is found well within the beam (common practice, no
/// source).
const ABSURD_SCATTER: f64 = 1.0;

/// Whether an explanation is useless.
pub fn absurd(session: &Session, fit: &JointFit) -> bool {
    let causes = fit.admitted(session).len();
    let many = causes >= CAUSES_THAT_MUST_FIT_CLOSELY;
    let most = if many { MOST_SCATTER } else { ABSURD_SCATTER };
    fit.scatter() > session.beamwidth * most
        || (many && has_implausible_cause(session, fit))
        || (causes >= CAUSES_THAT_MUST_FIT_MOST_PEAKS && many_bad(fit))
}

/// Whether more of the peaks are bad than in a normal log.
pub fn many_bad(fit: &JointFit) -> bool {
    let bad = fit.kept.iter().filter(|k| !**k).count();
    bad as f64 > MANY_BAD * fit.kept.len() as f64
}

/// Whether an admitted mount error is far larger than errors of its kind are. A zero may jump by
/// any angle: an encoder restarts anywhere.
fn has_implausible_cause(session: &Session, fit: &JointFit) -> bool {
    (fit.admitted(session))
        .filter(|k| !fit.hypotheses[*k].is_jump_of_a_zero())
        .flat_map(|k| fit.columns_of(session, k))
        .any(|j| {
            let column = &fit.columns[j];
            let times = (fit.parameters[j] - column.expected).abs() / column.spread;
            matches!(column.lever, Lever::Term(_)) && times > TIMES_PLAUSIBLE_OF_A_CAUSE
        })
}

/// Number of peaks of emitters that have no explained peak.
fn wholly_missed(session: &Session, fit: &JointFit) -> usize {
    let emitter_of = |i: usize| session.peaks[i].emitter;
    let explained: Vec<usize> = (0..fit.kept.len())
        .filter(|i| fit.kept[*i])
        .map(emitter_of)
        .collect();
    (0..fit.kept.len())
        .filter(|i| !explained.contains(&emitter_of(*i)))
        .count()
}

/// Readings that equal the computed positions to less than this share of the beamwidth are not real
/// readings, because no peak is found that well: a tenth of the best of usual practice (2 %).
/// Common practice, no source.
const TOO_GOOD: f64 = 1.0 / 500.0;
/// Peaks needed for this conclusion: fewer can agree by chance.
const LEAST_TOO_GOOD: usize = 5;

/// RMS distance between the raw readings and the emitters' directions, when it is so small that the
/// log must contain computed positions instead of readings; with whether the directions are those
/// without refraction.
pub fn too_good(session: &Session) -> Option<(Angle, bool)> {
    let both: Vec<&SessionPeak> = (session.peaks.iter())
        .filter(|c| c.sighting.coordinates() == 2)
        .collect();
    if both.len() < LEAST_TOO_GOOD {
        return None;
    }
    let ideal = MountModel::ideal(session.geometry);
    let rms = |airless: bool| {
        let squares: f64 = both
            .iter()
            .filter_map(|c| {
                let reading = EncoderReading {
                    azimuth: c.sighting.azimuth?,
                    elevation: c.sighting.elevation?,
                };
                let bend = if airless {
                    c.bend
                } else {
                    nalgebra::Vector3::zeros()
                };
                let target = (c.sighting.target - bend).normalize();
                let read = ideal.beam(reading, ApproachSigns::UNKNOWN);
                let there = Direction::from_east_north_up(&target);
                Some(read.separation(&there).radians().powi(2))
            })
            .sum();
        Angle::from_radians((squares / both.len() as f64).sqrt())
    };
    let (apparent, airless) = (rms(false), rms(true));
    let (least, without_air) = if airless < apparent {
        (airless, true)
    } else {
        (apparent, false)
    };
    (least < session.beamwidth * TOO_GOOD).then_some((least, without_air))
}
