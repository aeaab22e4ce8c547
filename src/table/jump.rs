//! How far a new calibration or table moves the readings.

use crate::angle::{Angle, EncoderReading};
use crate::mount::ApproachSigns;

use super::demand::Demand;
use super::pointer::Source;

/// The largest change of readings for the same demand, as an angle on the sky.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    /// How large.
    pub largest: Angle,
    /// For which demand.
    pub at: Demand,
}

/// A jump is refused when it is larger than this and no beamwidth is known: about the beam of a
/// small dish. Common practice, no source.
pub const WITHOUT_BEAM: Angle = Angle::from_degrees(1.0);

impl Jump {
    /// From one source to another, for demands all over the sky from where the mount stands. None
    /// when there is no demand that both can answer.
    pub fn between(old: &Source, new: &Source, present: Option<EncoderReading>) -> Option<Jump> {
        /// Corrections change slowly over the sky: these steps, degrees, are enough to see a beam.
        const STEP: usize = 10;
        let demand = |azimuth: usize, elevation: usize| Demand {
            azimuth: Angle::from_degrees(azimuth as f64),
            elevation: Angle::from_degrees(elevation as f64),
        };
        let around = (0..360).step_by(STEP);
        let demands =
            around.flat_map(|azimuth| (0..90).step_by(STEP).map(move |up| demand(azimuth, up)));
        let reading = |source: &Source, demand: Demand| {
            source.command(demand, ApproachSigns::UNKNOWN, present).ok()
        };
        demands
            .filter_map(|at| {
                let (old, new) = (reading(old, at)?, reading(new, at)?);
                let across = (new.azimuth - old.azimuth).wrapped_signed().radians();
                let across = across * old.elevation.radians().cos();
                let up = (new.elevation - old.elevation).radians();
                let largest = Angle::from_radians(across.hypot(up));
                Some(Jump { largest, at })
            })
            .max_by(|a, b| a.largest.radians().total_cmp(&b.largest.radians()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mount::{MountModel, Term, TermValues};
    use crate::table::{Air, EncoderRange, FullModel};

    fn model(term: Term, degrees: f64) -> Source {
        let d = Angle::from_degrees;
        Source::Full(Box::new(FullModel {
            mount: MountModel::az_el(TermValues::ZERO.with_shown(term, degrees)),
            air: Air::Included,
            range: EncoderRange {
                azimuth: (d(-180.0), d(540.0)),
                elevation: (d(0.0), d(90.0)),
            },
        }))
    }

    #[test]
    fn a_jump_is_the_largest_angle_on_the_sky() {
        /// Near the zenith the readings of an elevation zero are out of reach.
        const NEAR: f64 = 1e-6;
        let zero = model(Term::AzimuthZero, 0.0);
        let of = |new: &Source| Jump::between(&zero, new, None).unwrap();
        assert_eq!(of(&zero).largest, Angle::ZERO);
        // At the horizon an azimuth is what it says; up there it is less.
        let azimuth = of(&model(Term::AzimuthZero, -3.0));
        assert!((azimuth.largest.degrees() - 3.0).abs() < NEAR);
        assert_eq!(azimuth.at.elevation, Angle::ZERO);
        let elevation = of(&model(Term::ElevationZero, -2.0));
        assert!((elevation.largest.degrees() - 2.0).abs() < NEAR);
        // A whole turn is not a jump.
        let turn = of(&model(Term::AzimuthZero, 360.0));
        assert!(turn.largest.degrees() < NEAR);
    }
}
