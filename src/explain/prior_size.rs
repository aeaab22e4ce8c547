//! How large mount errors plausibly are: what is known before any peak.
//!
//! Two sizes serve two purposes. The *glaring* size is one that anybody sees with a spirit
//! level, a square and a watch: data that leave a term more uncertain than that say less
//! than the naked eye, and the term counts as not determined. The *careful* size is what a builder
//! who cares for this beam leaves. Both are common practice, no source.

use crate::angle::Angle;
use crate::mount::{Group, Term, TermUnit};

/// Three degrees: the lean of a bottle, a door frame visibly out of square.
pub const GLARING: Angle = Angle::from_degrees(3.0);
/// A clock wrong by more is noticed: in 12 minutes the sky turns by [`GLARING`].
pub const GLARING_CLOCK_S: f64 = 720.0;
/// A careful builder stays within this share of the beamwidth.
const CAREFUL_SHARE: f64 = 1.0 / 10.0;
/// However fine the beam, a mount built by hand is no better than a spirit level and a square
/// show before its first calibration: 1.7 mm on a metre.
const LEAST_CAREFUL: Angle = Angle::from_degrees(0.1);
/// Once- and twice-per-turn errors within this are common.
pub const PERIODIC: Angle = Angle::from_degrees(2.0);
/// A zero may be anything: over a turn and a half, in radians, either way.
const ANY: f64 = 10.0;
/// A unit taken for another makes a scale of this size.
const SCALE: f64 = 0.3;

/// The size at which anybody would see the error, as an inside value.
pub fn glaring(term: Term) -> f64 {
    match term.unit() {
        // As a fraction of a radian: a scale error that amounts to GLARING over one radian.
        TermUnit::Angle | TermUnit::Fraction => GLARING.radians(),
        TermUnit::Seconds => GLARING_CLOCK_S,
    }
}

/// The size that a careful builder leaves, as an inside value; one standard deviation.
pub fn careful(term: Term, beamwidth: Angle) -> f64 {
    let angle = (beamwidth * CAREFUL_SHARE).max(LEAST_CAREFUL);
    match term.unit() {
        TermUnit::Angle | TermUnit::Fraction => angle.radians(),
        TermUnit::Seconds => GLARING_CLOCK_S * (angle / GLARING),
    }
}

/// Errors that every mount has to some degree, and so fitted always: under a prior of the size
/// that a careful builder leaves, or of their own size when they turn out to be larger.
pub fn is_weakly_held(term: Term) -> bool {
    matches!(
        term.group(),
        Group::AxisSkew | Group::Droop | Group::AzimuthBacklash | Group::ElevationBacklash
    )
}

/// One standard deviation of a term before the data, inside value.
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

/// The same for a mount that was built with less care: a cause must convince although the mount's
/// own terms may take up as much as this.
pub fn loose_prior(term: Term, beamwidth: Angle) -> f64 {
    prior(term, beamwidth).max(glaring(term))
}

/// One standard deviation of a term that the user asks for by name: practically free.
pub fn listed_prior(term: Term) -> f64 {
    /// Five times what anybody would see.
    const TIMES_GLARING: f64 = 5.0;
    TIMES_GLARING * glaring(term)
}
