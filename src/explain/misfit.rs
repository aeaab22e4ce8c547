//! The distance of the modelled beam from the emitter, and how each term changes it.

use nalgebra::Vector3;

use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset, SkyBasis};
use crate::mount::{Beam, MountModel, Term};

use super::observe::Sighting;

/// The misfit of one peak: emitter minus modelled beam, resolved at the modelled beam.
#[derive(Clone, Copy, Debug)]
pub struct Misfit {
    /// The offset; the part along an unmeasured axis only reflects the filled-in reading and means
    /// nothing.
    pub offset: Offset,
    /// The reading, with an unmeasured axis filled in from the model.
    pub reading: EncoderReading,
}

/// The reading of a peak, with an unmeasured axis filled in by the reading at which the model
/// points at the emitter.
pub fn filled_reading(model: &MountModel, sighting: &Sighting) -> EncoderReading {
    if let (Some(azimuth), Some(elevation)) = (sighting.azimuth, sighting.elevation) {
        return EncoderReading { azimuth, elevation };
    }
    let target = sighting.target_at(model.terms().inside(Term::ClockOffset));
    let direction = Direction::<Apparent>::from_east_north_up(&target);
    let predicted = match model.readings(&direction, sighting.approach) {
        Ok(both) => {
            let over = sighting.elevation.is_some_and(|e| {
                (both.over_the_top.elevation - e).abs() < (both.direct.elevation - e).abs()
            });
            if over { both.over_the_top } else { both.direct }
        }
        // Inside the keyhole no reading points at the emitter; the reading of a mount without
        // errors is used.
        Err(_) => MountModel::ideal(*model.geometry())
            .readings(&direction, sighting.approach)
            .map_or_else(
                |_| EncoderReading::from_degrees(0.0, 90.0),
                |both| both.direct,
            ),
    };
    EncoderReading {
        azimuth: sighting.azimuth.unwrap_or(predicted.azimuth),
        elevation: sighting.elevation.unwrap_or(predicted.elevation),
    }
}

/// The reading at which the model points at the emitter, on the same turn and side of the zenith as
/// `reading`; `reading` itself inside the keyhole.
pub fn expected_reading(
    model: &MountModel,
    sighting: &Sighting,
    reading: EncoderReading,
) -> EncoderReading {
    let target = sighting.target_at(model.terms().inside(Term::ClockOffset));
    let direction = Direction::<Apparent>::from_east_north_up(&target);
    let Ok(both) = model.readings(&direction, sighting.approach) else {
        return reading;
    };
    let off = |r: &EncoderReading| (r.elevation - reading.elevation).abs();
    let near = if off(&both.over_the_top) < off(&both.direct) {
        both.over_the_top
    } else {
        both.direct
    };
    EncoderReading {
        azimuth: near.azimuth.nearest_turn_to(reading.azimuth),
        elevation: near.elevation,
    }
}

/// The misfit of one peak.
pub fn misfit(model: &MountModel, sighting: &Sighting) -> Misfit {
    let reading = filled_reading(model, sighting);
    let beam = model.beam_vector(reading, sighting.approach);
    let target = sighting.target_at(model.terms().inside(Term::ClockOffset));
    Misfit {
        offset: model.geometry().basis_at(&beam).offset_to(&target),
        reading,
    }
}

/// The misfit with its derivatives by the free terms: for each, the change of (cross-elevation,
/// elevation) in radians per unit of the term's internal value.
///
/// The derivatives are those of a small misfit: exact where the beam is on the emitter.
pub fn misfit_with_derivatives(
    model: &MountModel,
    sighting: &Sighting,
    free: &[Term],
    mut by_term: impl FnMut(usize, [f64; 2]),
) -> Misfit {
    let peak = LinearisedPeak::at(model, sighting);
    for (column, term) in free.iter().enumerate() {
        by_term(column, peak.by_term(*term));
    }
    peak.misfit
}

/// One peak to first order about a mount model.
#[derive(Clone, Debug)]
pub struct LinearisedPeak {
    /// The misfit at that model.
    pub misfit: Misfit,
    beam: Beam,
    basis: SkyBasis,
    follow: Following,
    target_rate: Vector3<f64>,
}

impl LinearisedPeak {
    /// Linearises a peak about `model`.
    pub fn at(model: &MountModel, sighting: &Sighting) -> LinearisedPeak {
        let reading = filled_reading(model, sighting);
        let beam = model.beam_with_derivatives(reading, sighting.approach);
        let basis = model.geometry().basis_at(&beam.vector);
        let resolved = |v: &Vector3<f64>| [basis.rightward.dot(v), basis.upward.dot(v)];
        let follow = Following::of(
            sighting,
            resolved(&beam.by_azimuth),
            resolved(&beam.by_elevation),
        );
        let target = sighting.target_at(model.terms().inside(Term::ClockOffset));
        LinearisedPeak {
            misfit: Misfit {
                offset: basis.offset_to(&target),
                reading,
            },
            beam,
            basis,
            follow,
            target_rate: sighting.target_rate,
        }
    }

    /// The change of (cross-elevation, elevation), radians, per unit of a term's internal value.
    pub fn by_term(&self, term: Term) -> [f64; 2] {
        match term {
            Term::ClockOffset => self.by_target(&self.target_rate),
            _ => self.resolved(&-self.beam.by_term[term as usize]),
        }
    }

    /// The same per step of the emitter's unit vector.
    pub fn by_target(&self, step: &Vector3<f64>) -> [f64; 2] {
        self.resolved(step)
    }

    fn resolved(&self, v: &Vector3<f64>) -> [f64; 2] {
        let change = [self.basis.rightward.dot(v), self.basis.upward.dot(v)];
        self.follow.less(change)
    }
}

/// From this misfit on, angles are compared at the encoders instead of on the sky, because there a
/// slip of any size simply adds; no peak of a working mount is off by nearly as much.
const FAR: Angle = Angle::from_degrees(6.0);
/// Cosine of the elevation below which the sky is used anyway: within 17 degrees of the zenith a
/// small step is a large azimuth.
const AWAY_FROM_ZENITH: f64 = 0.3;

/// The misfit on the sky while it is small; otherwise the difference between the encoder readings
/// and those that would put the beam on the target, with that of the azimuth times cos(elevation).
pub fn misfit_at_encoders(model: &MountModel, sighting: &Sighting) -> Offset {
    misfit_at_encoders_of(model, sighting, filled_reading(model, sighting))
}

/// The same for a reading other than the logged one.
pub fn misfit_at_encoders_of(
    model: &MountModel,
    sighting: &Sighting,
    reading: EncoderReading,
) -> Offset {
    let beam = model.beam_vector(reading, sighting.approach);
    let target = sighting.target_at(model.terms().inside(Term::ClockOffset));
    let offset = model.geometry().basis_at(&beam).offset_to(&target);
    if offset.size() < FAR || reading.elevation.cos().abs() < AWAY_FROM_ZENITH {
        return offset;
    }
    let direction = Direction::<Apparent>::from_east_north_up(&target);
    let Ok(wanted) = model.readings(&direction, sighting.approach) else {
        return offset;
    };
    let step = |to: EncoderReading| Offset {
        cross_elevation: (to.azimuth - reading.azimuth).wrapped_signed() * reading.elevation.cos(),
        elevation: (to.elevation - reading.elevation).wrapped_signed(),
    };
    let (direct, over) = (step(wanted.direct), step(wanted.over_the_top));
    if direct.elevation.abs() <= over.elevation.abs() {
        direct
    } else {
        over
    }
}

/// The response of a filled-in reading to a change of the misfit. It always points at the emitter,
/// so whatever the unmeasured axis can compensate is not a misfit; the zero of that axis, for
/// example, has no effect.
#[derive(Clone, Copy, Debug)]
enum Following {
    /// Both axes were measured.
    None,
    /// One was not: the change on the sky per unit of each reading (cross-elevation, elevation),
    /// and which reading is filled in.
    One {
        by_azimuth: [f64; 2],
        by_elevation: [f64; 2],
        azimuth: bool,
    },
}

impl Following {
    fn of(sighting: &Sighting, by_azimuth: [f64; 2], by_elevation: [f64; 2]) -> Following {
        match (sighting.azimuth, sighting.elevation) {
            (Some(_), Some(_)) => Following::None,
            (azimuth, _) => Following::One {
                by_azimuth,
                by_elevation,
                azimuth: azimuth.is_none(),
            },
        }
    }

    /// A change of the misfit minus what the filled-in reading compensates.
    fn less(&self, change: [f64; 2]) -> [f64; 2] {
        let Following::One {
            by_azimuth: a,
            by_elevation: e,
            azimuth,
        } = self
        else {
            return change;
        };
        // Changes of both readings that would keep the beam on the emitter; only one of them is
        // used.
        let whole = a[0] * e[1] - a[1] * e[0];
        if whole.abs() < f64::EPSILON {
            return change;
        }
        let (reading, by) = match azimuth {
            true => ((change[0] * e[1] - change[1] * e[0]) / whole, a),
            false => ((a[0] * change[1] - a[1] * change[0]) / whole, e),
        };
        [change[0] - by[0] * reading, change[1] - by[1] * reading]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mount::{ApproachSigns, TermValues};

    /// A peak with the beam on the emitter and one axis not measured.
    fn on_emitter(model: &MountModel, azimuth: bool) -> Sighting {
        let direction = Direction::apparent(Angle::from_degrees(130.0), Angle::from_degrees(40.0));
        let reading = (model.readings(&direction, ApproachSigns::UNKNOWN))
            .unwrap()
            .direct;
        Sighting {
            azimuth: azimuth.then_some(reading.azimuth),
            elevation: (!azimuth).then_some(reading.elevation),
            approach: ApproachSigns::UNKNOWN,
            target: direction.east_north_up(),
            target_rate: Vector3::new(3e-5, 4e-5, -2e-5).cross(&direction.east_north_up()),
            clock_offset_s: 0.0,
        }
    }

    #[test]
    fn derivatives_include_the_response_of_a_filled_in_axis() {
        /// The error of central differences is of the order of this step squared.
        const STEP: f64 = 1e-5;
        const DIFFERENCE: f64 = 1e-8;
        let terms = TermValues::ZERO
            .with_shown(Term::AzimuthZero, 12.0)
            .with_shown(Term::ElevationZero, -2.0)
            .with_shown(Term::TiltNorth, 1.5)
            .with_shown(Term::Collimation, 2.5)
            .with_shown(Term::AxisSkew, -1.0)
            .with_shown(Term::Droop, 0.7);
        let model = MountModel::az_el(terms);
        for azimuth in [true, false] {
            let sighting = on_emitter(&model, azimuth);
            misfit_with_derivatives(&model, &sighting, &Term::ALL, |i, change| {
                let term = Term::ALL[i];
                let at = |step: f64| {
                    let mut there = terms;
                    there.set_inside(term, terms.inside(term) + step);
                    let offset = misfit(&MountModel::az_el(there), &sighting).offset;
                    match azimuth {
                        true => offset.cross_elevation.radians(),
                        false => offset.elevation.radians(),
                    }
                };
                let measured = (at(STEP) - at(-STEP)) / (2.0 * STEP);
                let found = change[usize::from(!azimuth)];
                assert!(
                    (found - measured).abs() < DIFFERENCE,
                    "{term:?} {azimuth}: {found} {measured}"
                );
            });
        }
    }
}
