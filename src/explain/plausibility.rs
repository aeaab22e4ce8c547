//! Whether a session holds together: whether its peaks can be those of one mount at all.

use crate::angle::{Angle, Direction, EncoderReading};
use crate::mount::{ApproachSigns, Group, MountModel};

use super::joint_fit::JointFit;
use super::peak::SessionPeak;
use super::prior_size::glaring;
use super::session::Session;
use super::shape::Lever;
use super::tuned::{
    LEAST_EMITTERS_MISSED, MANY_CAUSES, SO_MANY_CAUSES, TIMES_GLARING_OF_A_TERM,
    TIMES_PLAUSIBLE_OF_A_CAUSE,
};

/// A session does not hold together when this share of its peaks is bad; common practice, no
/// source.
const MANY_BAD: f64 = 0.2;
/// Nor when emitters that are missed at every one of their peaks have this share of all; common
/// practice, no source.
const MISSED_SHARE: f64 = 0.05;
/// Nor when the scatter is this share of the beamwidth, since nobody peaks a signal that badly;
/// common practice, no source.
const MOST_SCATTER: f64 = 0.12;

/// From this elevation zero on the readings may mean something else, as angles from the zenith do;
/// common practice, no source.
pub const ABSURD_ZERO: Angle = Angle::from_degrees(45.0);

/// Whether the session as logged fails to hold together.
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

/// An explanation about which the peaks scatter by more beamwidths than this explains nothing:
/// a signal is lost half a beamwidth off, and a peak is found well within the beam (common
/// practice, no source).
const ABSURD_SCATTER: f64 = 1.0;

/// Whether an explanation explains nothing.
pub fn absurd(session: &Session, fit: &JointFit) -> bool {
    let causes = fit.admitted(session).len();
    let many = causes >= MANY_CAUSES;
    let most = if many { MOST_SCATTER } else { ABSURD_SCATTER };
    fit.scatter() > session.beamwidth * most
        || (many && has_implausible_cause(session, fit))
        || (causes >= SO_MANY_CAUSES && many_bad(fit))
}

/// Whether more of the peaks are bad than a sound log has.
pub fn many_bad(fit: &JointFit) -> bool {
    let bad = fit.kept.iter().filter(|k| !**k).count();
    bad as f64 > MANY_BAD * fit.kept.len() as f64
}

/// Whether an admitted error of the mount is far larger than errors of its kind are. A zero may
/// jump by any angle: an encoder restarts anywhere.
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

/// Peaks of emitters of which not one peak is explained.
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

/// Readings that equal the computed positions to less than this share of the beamwidth are no
/// readings, since no peak is found so well: a tenth of the best of usual practice (2 %). Common
/// practice, no source.
const TOO_GOOD: f64 = 1.0 / 500.0;
/// Peaks needed to say so: fewer can agree by chance.
const LEAST_TOO_GOOD: usize = 5;

/// Rms distance between the raw readings and the emitters' directions, when it is so small
/// that the log must hold the sky's positions instead of readings. The second tells
/// whether the directions are those without air.
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
