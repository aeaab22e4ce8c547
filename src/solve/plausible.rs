//! How large mount errors plausibly are: what is known before any peak.
//!
//! Two sizes serve two purposes. The *glaring* size is one that anybody sees with a spirit
//! level, a square and a watch: data that leave a term more uncertain than that tell less
//! than a look does, and the term counts as not told. The *careful* size is what a builder
//! who cares for this beam leaves: it stands in for the uncertainty of a term that had to be
//! left out. Both are common practice, no source.

use crate::angle::Angle;
use crate::mount::{Term, TermUnit};

/// Three degrees: the lean of a bottle, a door frame visibly out of square.
const GLARING: Angle = Angle::from_degrees(3.0);
/// A clock wrong by more is noticed: in 12 minutes the sky turns by [`GLARING`].
const GLARING_CLOCK_S: f64 = 720.0;
/// A careful builder stays within this share of the beamwidth.
const CAREFUL_SHARE: f64 = 1.0 / 10.0;
/// However fine the beam, a mount built by hand is no better than a spirit level and a square
/// show before its first calibration: 1.7 mm on a metre.
const LEAST_CAREFUL: Angle = Angle::from_degrees(0.1);

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
