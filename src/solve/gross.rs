//! What a bad peak most likely is.

use crate::angle::{Angle, EncoderReading, SkyBasis};
use crate::mount::{MountModel, Term};
use crate::sky::Sky;
use crate::station::Station;

use super::misfit::{filled_reading, misfit};
use super::observe::Observation;

/// A peak belongs to an explanation when it lies within so many standard deviations of it:
/// five, since the model itself is a little uncertain where a bad peak stands alone.
const NEAR: f64 = 5.0;
/// A sidelobe of a round dish lies between so many beamwidths from the axis: the first one of
/// an even to a strongly tapered aperture (common practice, no source).
const SIDELOBE: std::ops::Range<f64> = 1.1..2.4;
/// Digits that a person or a display gets wrong.
const DIGITS: [f64; 4] = [100.0, 10.0, 1.0, 0.1];
/// A digit explains an error that it leaves within so many standard deviations,
const DIGIT_NEAR: f64 = 3.0;
/// if any error whatever would be so near to a whole digit only this often.
const DIGIT_CHANCE: f64 = 0.1;

/// In words: how far the peak lies off and what it most likely is.
pub fn in_words(
    station: &Station,
    sky: Option<&Sky>,
    model: &MountModel,
    observation: &Observation,
    sigma: [Angle; 2],
) -> String {
    let off = misfit(model, observation).offset;
    let sizes: Vec<f64> = [
        (
            observation.peak.azimuth,
            off.cross_elevation / sigma[0].max(TINY),
        ),
        (
            observation.peak.elevation,
            off.elevation / sigma[1].max(TINY),
        ),
    ]
    .into_iter()
    .filter_map(|(measured, size)| measured.map(|_| size))
    .collect();
    let deviations = sizes.iter().map(|s| s * s).sum::<f64>().sqrt();
    let kind = sky
        .and_then(|sky| another_emitter(station, sky, model, observation, sigma))
        .or_else(|| digit(model, observation, sigma))
        .or_else(|| sidelobe(station, off.size()));
    format!(
        "misses by {:.3} deg, {deviations:.0} times its noise{}",
        off.size().degrees(),
        kind.map_or(String::new(), |k| format!(": {k}"))
    )
}

const TINY: Angle = Angle::from_degrees(1e-9);

/// The emitter of the station, other than the logged one, on which the beam was.
fn another_emitter(
    station: &Station,
    sky: &Sky,
    model: &MountModel,
    observation: &Observation,
    sigma: [Angle; 2],
) -> Option<String> {
    let peak = &observation.peak;
    if peak.azimuth.is_none() || peak.elevation.is_none() {
        return None;
    }
    let reading = filled_reading(model, observation);
    let beam = model.beam_vector(reading, observation.approach());
    let basis = SkyBasis::at(&beam);
    let time = peak
        .time
        .plus_seconds(model.terms().inside(Term::ClockOffset));
    station
        .emitters
        .iter()
        .filter(|e| e.name != peak.emitter)
        .filter_map(|e| {
            let there = sky.apparent(&e.name, time).ok()?;
            let off = basis.offset_to(&there.east_north_up());
            let far = (off.cross_elevation / sigma[0].max(TINY))
                .hypot(off.elevation / sigma[1].max(TINY));
            (far < NEAR).then_some((far, &e.name))
        })
        .min_by(|p, q| p.0.total_cmp(&q.0))
        .map(|(_, name)| format!("the beam was on {name}"))
}

/// One digit wrong in one of the readings.
fn digit(model: &MountModel, observation: &Observation, sigma: [Angle; 2]) -> Option<String> {
    let (azimuth, elevation) = (observation.peak.azimuth?, observation.peak.elevation?);
    let both = model
        .readings(&observation.direction(), observation.approach())
        .ok()?;
    let wanted = [both.direct, both.over_the_top]
        .into_iter()
        .min_by(|p, q| way(p, azimuth, elevation).total_cmp(&way(q, azimuth, elevation)))?;
    let across = (azimuth - wanted.azimuth).wrapped_signed();
    let up = elevation - wanted.elevation;
    let cosine = wanted.elevation.cos().abs().max(1e-3);
    let sigma_azimuth = sigma[0] / cosine;
    let slip = |value: Angle, sigma: Angle| {
        DIGITS.into_iter().find_map(|unit| {
            let count = (value.degrees() / unit).round();
            let rest = value - Angle::from_degrees(count * unit);
            let plain = (1.0..=9.0).contains(&count.abs());
            let by_chance = 2.0 * DIGIT_NEAR * sigma.degrees() / unit;
            (plain && by_chance < DIGIT_CHANCE && rest.abs() < sigma * DIGIT_NEAR)
                .then_some(count * unit)
        })
    };
    let said = |axis: &str, value: f64| {
        format!("one digit of the {axis} reading seems wrong, by {value:+} deg")
    };
    if up.abs() < sigma[1] * NEAR {
        slip(across, sigma_azimuth).map(|v| said("azimuth", v))
    } else if across.abs() < sigma_azimuth * NEAR {
        slip(up, sigma[1]).map(|v| said("elevation", v))
    } else {
        None
    }
}

fn way(reading: &EncoderReading, azimuth: Angle, elevation: Angle) -> f64 {
    (azimuth - reading.azimuth).wrapped_signed().abs().degrees()
        + (elevation - reading.elevation).abs().degrees()
}

fn sidelobe(station: &Station, off: Angle) -> Option<String> {
    let beams = off / station.dish.beamwidth;
    SIDELOBE
        .contains(&beams)
        .then(|| format!("{beams:.1} beamwidths off, as the peak of a sidelobe is"))
}
