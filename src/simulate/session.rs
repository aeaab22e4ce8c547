//! A made-up session: the readings at which a mount of known faults would have peaked.

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal, Uniform};

use super::spoil::{Circumstance, Spoil, temperature};
use super::truth::Truth;
use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset, SkyBasis};
use crate::logbook::{Approach, Peak, PeakLog, Readings};
use crate::mount::{ApproachSigns, MountModel, Term, Wrap};
use crate::problem::Error;
use crate::sky::Sky;
use crate::station::{EmitterKind, Station};

/// The reading at which the signal peaks when the peak is found `noise` away from the
/// emitter's direction; none when the mount cannot reach it.
pub fn reading_at_peak(
    model: &MountModel,
    emitter: &Direction<Apparent>,
    noise: Offset,
    approach: ApproachSigns,
    wrap: &Wrap,
) -> Option<EncoderReading> {
    let beam = shifted(emitter, noise);
    model.reading_to_command(&beam, approach, wrap).ok()?
}

/// The direction a small step away on the sky.
fn shifted(from: &Direction<Apparent>, step: Offset) -> Direction<Apparent> {
    let basis = SkyBasis::at(&from.east_north_up());
    let v = basis.outward
        + basis.rightward * step.cross_elevation.radians()
        + basis.upward * step.elevation.radians();
    Direction::from_east_north_up(&v)
}

/// Makes up the session of `truth`, the same for the same `seed`.
///
/// Peaks are spread evenly in time; each takes, of the emitters up and within reach, one
/// that has been taken least so far, so that the sky is well covered. The noise of each
/// peak is Gaussian and its own.
///
/// # Errors
/// When no emitter is ever up, or an emitter has no place.
pub fn session(station: &Station, sky: &Sky, truth: &Truth, seed: u64) -> Result<PeakLog, Error> {
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let spoils = truth.spoil.as_slice();
    let usual = *truth.model().terms();
    let plan = &truth.session;
    let real_station = Spoil::real_station(spoils, station);
    let real_sky = real_station.as_ref().map(|real| sky.seen_from(real));
    let station = real_station.as_ref().unwrap_or(station);
    let sky = real_sky.as_ref().unwrap_or(sky);
    // The logged time is the true one less the clock's offset.
    let behind_s = usual.inside(Term::ClockOffset) + Spoil::behind_s(spoils);
    let names: Vec<&str> = if plan.emitters.is_empty() {
        station.emitters.iter().map(|e| e.name.as_str()).collect()
    } else {
        plan.emitters.iter().map(String::as_str).collect()
    };
    for name in &names {
        if station.emitter(name).is_none() {
            return Err(Error::Usage(format!(
                "the truth file observes {name:?}, which the station file does not have"
            )));
        }
    }
    let span = plan.to.seconds_since(plan.from);
    let mut taken = vec![0usize; names.len()];
    let mut present: Option<EncoderReading> = None;
    let mut log = PeakLog {
        file: "simulated session".to_owned(),
        files: vec!["simulated session".to_owned()],
        readings: vec![Readings::Encoder],
        ..PeakLog::default()
    };
    for row in 1..=plan.peaks {
        let share = (row as f64 - 0.5) / plan.peaks as f64;
        let logged_time = plan.from.plus_seconds(span * share);
        let time = logged_time.plus_seconds(behind_s);
        let mut order: Vec<usize> = (0..names.len()).collect();
        order.shuffle(&mut rng);
        order.sort_by_key(|i| taken[*i]);
        let unit_noise = [gaussian(&mut rng), gaussian(&mut rng)];
        let approach = [coin(&mut rng), coin(&mut rng)];
        let signs = ApproachSigns {
            azimuth: approach[0].sign(),
            elevation: approach[1].sign(),
        };
        // The wrap is chosen from anywhere, as a night's work would.
        let from = present.unwrap_or(EncoderReading {
            azimuth: uniform(&mut rng, station.mount.azimuth_range),
            elevation: Angle::ZERO,
        });
        let wrap = Wrap {
            azimuth_range: station.mount.azimuth_range,
            elevation_range: station.mount.elevation_range,
            present: Some(from),
        };
        let solar = time.seconds_of_day() / 3600.0 + station.site.longitude.degrees() / 15.0;
        let usual_c = station.site.weather.temperature_c;
        let when = Circumstance {
            row,
            hours: span * share / 3600.0,
            temperature_c: temperature(usual_c, solar),
            usual_c,
        };
        for i in order {
            let observed = Spoil::really(spoils, row).unwrap_or(names[i]);
            let Some(emitter) = seen(sky, spoils, observed, time) else {
                continue;
            };
            if !visible(station, names[i], &emitter, plan.lowest_elevation_deg) {
                continue;
            }
            let quiet = Offset::default();
            let Some(still) = spoilt_reading(truth, &usual, &when, &emitter, quiet, signs, &wrap)
            else {
                continue;
            };
            let louder = Spoil::louder(spoils, still.azimuth);
            let mut noise = Offset {
                cross_elevation: Angle::from_degrees(
                    unit_noise[0] * truth.noise.cross_elevation_deg * louder[0],
                ),
                elevation: Angle::from_degrees(
                    unit_noise[1] * truth.noise.elevation_deg * louder[1],
                ),
            };
            if Spoil::on_sidelobe(spoils, row) {
                let round = uniform(&mut rng, (Angle::ZERO, Angle::TURN));
                let lobe = Spoil::sidelobe(station.dish.beamwidth, round);
                noise.cross_elevation += lobe.cross_elevation;
                noise.elevation += lobe.elevation;
            }
            let Some(reading) = spoilt_reading(truth, &usual, &when, &emitter, noise, signs, &wrap)
            else {
                continue;
            };
            present = Some(EncoderReading {
                azimuth: uniform(&mut rng, station.mount.azimuth_range),
                ..reading
            });
            let sky_there = emitter;
            let reading = rounded(
                Spoil::reading(spoils, row, reading, &sky_there),
                truth.noise.resolution_deg,
            );
            taken[i] += 1;
            let mut peak = peak(truth, row, logged_time, names[i], reading, approach);
            // Whoever logs the side of arrival reads it from the encoder.
            if spoils.iter().any(|s| matches!(s, Spoil::AzimuthReversed)) {
                peak.azimuth_approach = peak.azimuth_approach.reversed();
            }
            if Spoil::logs_temperature(spoils) {
                peak.temperature_c = Some((when.temperature_c * 10.0).round() / 10.0);
            }
            log.peaks.push(peak);
            break;
        }
    }
    // Rows without anything in reach fall away; those that are left count on.
    for (i, peak) in log.peaks.iter_mut().enumerate() {
        peak.row = i + 1;
        peak.line = i + 2;
    }
    if log.peaks.is_empty() {
        return Err(Error::Unsupported(
            "none of the emitters is up and within the mount's reach during the session".to_owned(),
        ));
    }
    Ok(log)
}

fn peak(
    truth: &Truth,
    row: usize,
    time: crate::time::Utc,
    emitter: &str,
    reading: EncoderReading,
    approach: [Approach; 2],
) -> Peak {
    let logged = |on: bool, value: Approach| if on { value } else { Approach::Unknown };
    let sigma = |deg: f64| truth.noise.logged.then(|| Angle::from_degrees(deg));
    Peak {
        log: 0,
        row,
        line: row + 1,
        time,
        emitter: emitter.to_owned(),
        azimuth: Some(reading.azimuth),
        elevation: Some(reading.elevation),
        azimuth_sigma: sigma(truth.noise.cross_elevation_deg),
        elevation_sigma: sigma(truth.noise.elevation_deg),
        azimuth_approach: logged(truth.session.approach_logged, approach[0]),
        elevation_approach: logged(truth.session.approach_logged, approach[1]),
        peak_db: None,
        temperature_c: None,
        use_it: true,
        note: String::new(),
        extra: Vec::new(),
    }
}

fn visible(
    station: &Station,
    name: &str,
    emitter: &Direction<Apparent>,
    lowest_elevation_deg: f64,
) -> bool {
    let fixed = station.emitter(name).is_some_and(|e| {
        matches!(
            e.kind,
            EmitterKind::Beacon { .. } | EmitterKind::Mark { .. }
        )
    });
    let floor = if fixed {
        Angle::ZERO
    } else {
        station
            .horizon
            .lowest(emitter.azimuth())
            .max(Angle::from_degrees(lowest_elevation_deg))
    };
    emitter.elevation() > floor
}

/// Where the emitter stands, spoilt elements and air included.
fn seen(
    sky: &Sky,
    spoils: &[Spoil],
    name: &str,
    time: crate::time::Utc,
) -> Option<Direction<Apparent>> {
    let id = sky.emitter(name)?;
    let moment = sky.at(time);
    let ahead_s = Spoil::ahead_s(spoils, name);
    let apparent = if ahead_s == 0.0 {
        moment.apparent(id).ok()?
    } else {
        moment.ahead(id, ahead_s).ok()??
    };
    let airless = moment.geometric(id).ok()?;
    let bend = moment.apparent(id).ok()?.elevation() - airless.elevation();
    Some(Spoil::bent(spoils, apparent, bend))
}

/// The reading at the peak when the terms themselves depend on it: a few rounds settle it.
fn spoilt_reading(
    truth: &Truth,
    usual: &crate::mount::TermValues,
    when: &Circumstance,
    emitter: &Direction<Apparent>,
    noise: Offset,
    signs: ApproachSigns,
    wrap: &Wrap,
) -> Option<EncoderReading> {
    const ROUNDS: usize = 6;
    let mut reading = reading_at_peak(&MountModel::new(*usual), emitter, noise, signs, wrap)?;
    for _ in 0..ROUNDS {
        let terms = Spoil::terms(&truth.spoil, usual, when, &reading);
        if terms == *usual {
            break;
        }
        // From then on the wrap is settled: the nearest reading is meant.
        let near = Wrap {
            present: Some(reading),
            ..*wrap
        };
        reading = reading_at_peak(&MountModel::new(terms), emitter, noise, signs, &near)?;
    }
    Some(reading)
}

fn rounded(reading: EncoderReading, step_deg: f64) -> EncoderReading {
    if step_deg <= 0.0 {
        return reading;
    }
    let round = |a: Angle| {
        // Through text, so that a log shows 12.345 and not 12.345000000000001.
        let steps = (a.degrees() / step_deg).round();
        let decimals = (-step_deg.log10()).ceil().max(0.0) as usize;
        let text = format!("{:.decimals$}", steps * step_deg);
        Angle::from_degrees(text.parse().unwrap_or(steps * step_deg))
    };
    EncoderReading {
        azimuth: round(reading.azimuth),
        elevation: round(reading.elevation),
    }
}

fn gaussian(rng: &mut ChaCha12Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn coin(rng: &mut ChaCha12Rng) -> Approach {
    if rand::RngExt::random_bool(rng, 0.5) {
        Approach::Increasing
    } else {
        Approach::Decreasing
    }
}

fn uniform(rng: &mut ChaCha12Rng, (low, high): (Angle, Angle)) -> Angle {
    match Uniform::new(low.radians(), high.radians()) {
        Ok(range) => Angle::from_radians(range.sample(rng)),
        // An empty range: a mount that does not turn.
        Err(_) => low,
    }
}
