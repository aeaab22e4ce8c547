//! Plausible sizes of mount errors: what is known before any peak.
//!
//! Two sizes serve two purposes. The *glaring* size is one that anybody sees with a spirit level, a
//! square and a watch: data that leave a term more uncertain than that say less than the naked eye,
//! and the term counts as not determined. The *careful* size is what a careful builder achieves for
//! this beam. Both are common practice, no source.

use crate::angle::Angle;
use crate::mount::{Group, Term, TermUnit};

/// Three degrees: a visibly leaning bottle, a door frame visibly out of square.
pub const GLARING: Angle = Angle::from_degrees(3.0);
/// A larger clock error is noticed: in 12 minutes the sky turns by [`GLARING`].
pub const GLARING_CLOCK_S: f64 = 720.0;
/// A careful builder stays within this share of the beamwidth.
const CAREFUL_SHARE: f64 = 1.0 / 10.0;
/// However narrow the beam, a mount built by hand is no better before its first calibration than a
/// spirit level and a square can measure: 1.7 mm per metre.
const LEAST_CAREFUL: Angle = Angle::from_degrees(0.1);
/// Once- and twice-per-turn errors within this are common.
pub const PERIODIC: Angle = Angle::from_degrees(2.0);
/// A zero may have any value: over a turn and a half, in radians, either way.
const ANY: f64 = 10.0;
/// A mistaken unit gives a scale error of this size.
const SCALE: f64 = 0.3;

/// The size at which anybody would see the error, in internal units.
pub fn glaring(term: Term) -> f64 {
    match term.unit() {
        // As a fraction of a radian: a scale error that amounts to GLARING over one radian.
        TermUnit::Angle | TermUnit::Fraction => GLARING.radians(),
        TermUnit::Seconds => GLARING_CLOCK_S,
    }
}

/// The size that a careful builder achieves, in internal units; one standard deviation.
pub fn careful(term: Term, beamwidth: Angle) -> f64 {
    let angle = (beamwidth * CAREFUL_SHARE).max(LEAST_CAREFUL);
    match term.unit() {
        TermUnit::Angle | TermUnit::Fraction => angle.radians(),
        TermUnit::Seconds => GLARING_CLOCK_S * (angle / GLARING),
    }
}

/// Whether a term is an error that every mount has to some degree and so is always fitted: with a
/// prior of the size that a careful builder achieves, or of its own size when it turns out to be
/// larger.
pub fn is_weakly_held(term: Term) -> bool {
    matches!(
        term.group(),
        Group::AxisSkew | Group::Droop | Group::AzimuthBacklash | Group::ElevationBacklash
    )
}

/// One standard deviation of a term before the data, in internal units.
pub fn prior(term: Term, beamwidth: Angle) -> f64 {
    match term.group() {
        Group::AzimuthZero | Group::ElevationZero => ANY,
        Group::Tilt | Group::Collimation => glaring(term),
        Group::AxisSkew | Group::Droop | Group::AzimuthBacklash | Group::ElevationBacklash => {
            careful(term, beamwidth)
        }
        Group::AzimuthRunout | Group::ElevationRunout | Group::TrackWarp => PERIODIC.radians(),
        Group::AzimuthScale | Group::ElevationScale => SCALE,
        Group::ClockOffset => GLARING_CLOCK_S,
    }
}

/// The same for a mount that was built with less care: a cause must convince even if the mount's
/// own terms may take up as much as this.
pub fn loose_prior(term: Term, beamwidth: Angle) -> f64 {
    prior(term, beamwidth).max(glaring(term))
}

/// One standard deviation of a term that the user requests by name: practically free.
pub fn listed_prior(term: Term) -> f64 {
    /// Five times the size that anybody would see.
    const TIMES_GLARING: f64 = 5.0;
    TIMES_GLARING * glaring(term)
}
