//! How far the modelled beam is from the emitter, and how each term changes that.

use nalgebra::Vector3;

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
        by_azimuth,
        by_elevation,
    } = model.beam_with_derivatives(reading, observation.approach());
    let basis = SkyBasis::at(&vector);
    let resolved = |v: &Vector3<f64>| [basis.rightward.dot(v), basis.upward.dot(v)];
    let follow = Following::of(observation, resolved(&by_azimuth), resolved(&by_elevation));
    for (column, term) in free.iter().enumerate() {
        let change = match term {
            Term::ClockOffset => observation.target_rate,
            _ => -beam_by_term[*term as usize],
        };
        by_term(column, follow.less(resolved(&change)));
    }
    let target = observation.target_at(model.terms().inside(Term::ClockOffset));
    Misfit {
        offset: basis.offset_to(&target),
        reading,
    }
}

/// How a filled-in reading answers a change of the misfit. It always points at the emitter, so
/// what the unmeasured axis can undo is no misfit: a zero of that axis, for one, leaves none.
#[derive(Clone, Copy, Debug)]
enum Following {
    /// Both axes were measured.
    None,
    /// One was not: the change on the sky by each reading (cross-elevation, elevation), and which
    /// reading follows.
    One {
        by_azimuth: [f64; 2],
        by_elevation: [f64; 2],
        azimuth: bool,
    },
}

impl Following {
    fn of(observation: &Observation, by_azimuth: [f64; 2], by_elevation: [f64; 2]) -> Following {
        let peak = &observation.peak;
        match (peak.azimuth, peak.elevation) {
            (Some(_), Some(_)) => Following::None,
            (azimuth, _) => Following::One {
                by_azimuth,
                by_elevation,
                azimuth: azimuth.is_none(),
            },
        }
    }

    /// A change of the misfit less what the filled-in reading undoes of it.
    fn less(&self, change: [f64; 2]) -> [f64; 2] {
        let Following::One {
            by_azimuth: a,
            by_elevation: e,
            azimuth,
        } = self
        else {
            return change;
        };
        // Both readings that would keep the beam on the emitter, of which one is taken.
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
    use crate::angle::{Angle, Apparent, Direction};
    use crate::logbook::{Approach, Peak};
    use crate::mount::{ApproachSigns, TermValues};
    use crate::time::Utc;

    /// A peak on the emitter, one axis of it not measured.
    fn on_emitter(model: &MountModel, azimuth: bool) -> Observation {
        let direction =
            Direction::<Apparent>::new(Angle::from_degrees(130.0), Angle::from_degrees(40.0));
        let reading = (model.readings(&direction, ApproachSigns::UNKNOWN))
            .unwrap()
            .direct;
        Observation {
            peak: Peak {
                log: 0,
                row: 1,
                line: 2,
                time: Utc::from_unix_nanos(1_790_000_000_000_000_000),
                emitter: "invented".to_owned(),
                azimuth: azimuth.then_some(reading.azimuth),
                elevation: (!azimuth).then_some(reading.elevation),
                azimuth_sigma: None,
                elevation_sigma: None,
                azimuth_approach: Approach::Unknown,
                elevation_approach: Approach::Unknown,
                peak_db: None,
                temperature_c: None,
                use_it: true,
                note: String::new(),
                extra: Vec::new(),
            },
            target: direction.east_north_up(),
            target_rate: Vector3::zeros(),
            clock_offset_s: 0.0,
        }
    }

    #[test]
    fn a_filled_in_axis_answers_in_the_derivatives_too() {
        /// Central differences over this step are good to its square.
        const STEP: f64 = 1e-5;
        const DIFFERENCE: f64 = 1e-8;
        let terms = TermValues::ZERO
            .with_shown(Term::AzimuthZero, 12.0)
            .with_shown(Term::ElevationZero, -2.0)
            .with_shown(Term::TiltNorth, 1.5)
            .with_shown(Term::Collimation, 2.5)
            .with_shown(Term::AxisSkew, -1.0)
            .with_shown(Term::Droop, 0.7);
        let model = MountModel::new(terms);
        for azimuth in [true, false] {
            let observation = on_emitter(&model, azimuth);
            misfit_with_derivatives(&model, &observation, &Term::ALL, |i, change| {
                let term = Term::ALL[i];
                if term == Term::ClockOffset {
                    return;
                }
                let at = |step: f64| {
                    let mut there = terms;
                    there.set_inside(term, terms.inside(term) + step);
                    let offset = misfit(&MountModel::new(there), &observation).offset;
                    match azimuth {
                        true => offset.cross_elevation.radians(),
                        false => offset.elevation.radians(),
                    }
                };
                let measured = (at(STEP) - at(-STEP)) / (2.0 * STEP);
                let found = change[usize::from(!azimuth)];
                assert!(
                    (found - measured).abs() < DIFFERENCE,
                    "{} {azimuth}: {found} {measured}",
                    term.name()
                );
            });
        }
    }
}
