//! How far the modelled beam is from the emitter, and how each term changes that.

use crate::angle::{EncoderReading, Offset, SkyBasis};
use crate::mount::{Beam, MountModel, Term};

use super::observe::Observation;

/// The misfit of one observation: emitter minus modelled beam, resolved at the modelled beam.
#[derive(Clone, Copy, Debug)]
pub struct Misfit {
    /// The offset; a part that was not measured is exactly what the filled-in reading
    /// leaves and means nothing.
    pub offset: Offset,
    /// The reading, with an unmeasured axis filled in from the model.
    pub reading: EncoderReading,
}

/// The reading of an observation, an unmeasured axis filled in with the reading at which the
/// model points at the emitter.
pub fn filled_reading(model: &MountModel, observation: &Observation) -> EncoderReading {
    let peak = &observation.peak;
    if let (Some(azimuth), Some(elevation)) = (peak.azimuth, peak.elevation) {
        return EncoderReading { azimuth, elevation };
    }
    let direction = observation.direction();
    let ideal = EncoderReading {
        azimuth: direction.azimuth(),
        elevation: direction.elevation(),
    };
    // Inside the keyhole no reading points at the emitter; its own direction stands in.
    let predicted = match model.readings(&direction, observation.approach()) {
        Ok(both) => {
            let over = peak.elevation.is_some_and(|e| {
                (both.over_the_top.elevation - e).abs() < (both.direct.elevation - e).abs()
            });
            if over { both.over_the_top } else { both.direct }
        }
        Err(_) => ideal,
    };
    EncoderReading {
        azimuth: peak.azimuth.unwrap_or(predicted.azimuth),
        elevation: peak.elevation.unwrap_or(predicted.elevation),
    }
}

/// The misfit of one observation.
pub fn misfit(model: &MountModel, observation: &Observation) -> Misfit {
    let reading = filled_reading(model, observation);
    let beam = model.beam_vector(reading, observation.approach());
    let target = observation.target_at(model.terms().inside(Term::ClockOffset));
    Misfit {
        offset: SkyBasis::at(&beam).offset_to(&target),
        reading,
    }
}

/// The misfit with its derivatives by the free terms: for each, the change of
/// (cross-elevation, elevation) in radians for a unit of the term's inside value.
///
/// The derivatives are those of a small misfit: exact where the beam is on the emitter.
pub fn misfit_with_derivatives(
    model: &MountModel,
    observation: &Observation,
    free: &[Term],
    mut by_term: impl FnMut(usize, [f64; 2]),
) -> Misfit {
    let reading = filled_reading(model, observation);
    let Beam {
        vector,
        by_term: beam_by_term,
        ..
    } = model.beam_with_derivatives(reading, observation.approach());
    let basis = SkyBasis::at(&vector);
    for (column, term) in free.iter().enumerate() {
        let change = match term {
            Term::ClockOffset => observation.target_rate,
            _ => -beam_by_term[*term as usize],
        };
        by_term(
            column,
            [basis.rightward.dot(&change), basis.upward.dot(&change)],
        );
    }
    let target = observation.target_at(model.terms().inside(Term::ClockOffset));
    Misfit {
        offset: basis.offset_to(&target),
        reading,
    }
}
