//! A simulated session: the readings at which a mount with known errors finds its peaks.

use std::borrow::Cow;

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal, Uniform};

use super::spoil::{Circumstance, Spoil, temperature};
use super::truth::Truth;
use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset};
use crate::logbook::{Approach, Axes, Peak, PeakLog, Readings};
use crate::mount::{ApproachSigns, Geometry, MountModel, Term, TermValues, Wrap};
use crate::problem::Error;
use crate::sky::Sky;
use crate::station::{EmitterKind, Sensor, Station};
use crate::text::some_of;
use crate::time::Utc;

/// The reading at which the signal peaks when the peak is found `noise` away from the
/// emitter's direction; `None` when the mount cannot reach it.
pub fn reading_at_peak(
    model: &MountModel,
    emitter: &Direction<Apparent>,
    noise: Offset,
    approach: ApproachSigns,
    wrap: &Wrap,
) -> Option<EncoderReading> {
    let beam = shifted(model.geometry(), emitter, noise);
    model.reading_to_command(&beam, approach, wrap).ok()?
}

/// The direction a small step away on the sky, across and along the second axis.
fn shifted(geometry: &Geometry, from: &Direction<Apparent>, step: Offset) -> Direction<Apparent> {
    let basis = geometry.basis_at(&from.east_north_up());
    let v = basis.outward
        + basis.rightward * step.cross_elevation.radians()
        + basis.upward * step.elevation.radians();
    Direction::from_east_north_up(&v)
}

/// Simulates the session of `truth`, the same for the same `seed`.
///
/// Peaks are spread evenly in time; each uses the emitter, of those up and within reach, that has
/// been used least so far, so that the sky is well covered. The noise is Gaussian and independent
/// from peak to peak.
///
/// # Errors
/// When no emitter is ever up, or an emitter has no place.
pub fn session(station: &Station, sky: &Sky, truth: &Truth, seed: u64) -> Result<PeakLog, Error> {
    let spoils = truth.spoil.as_slice();
    let real = Real::of(station, sky, truth);
    let mut log = PeakLog {
        files: vec!["simulated session".to_owned()],
        readings: vec![Readings::Encoder],
        file: "simulated session".to_owned(),
        axes: Axes::of(station),
        sensors: station.mount.sensors.clone(),
        feeds: station.feeds.iter().map(|f| f.name.clone()).collect(),
        ..PeakLog::default()
    };
    let models = truth.models(&real.station)?;
    for take in takes(&real, truth, seed, &models, |_, _| true)? {
        let reading = Spoil::reading(spoils, take.when.row, take.reading, &take.emitter);
        let reading = as_shown(reading, truth.noise.resolution_deg, &station.mount.sensors);
        let (row, time) = (take.when.row, take.logged_time);
        let mut peak = peak(truth, row, time, take.name, reading, take.approach);
        peak.feed = take.feed;
        // The side of arrival is read from the encoder, so it is reversed too.
        if spoils.iter().any(|s| matches!(s, Spoil::AzimuthReversed)) {
            peak.azimuth_approach = peak.azimuth_approach.reversed();
        }
        if station.mount.fixed_declination.is_some() {
            // The declination is bolted: it is not moved from satellite to satellite.
            peak.elevation = None;
            peak.elevation_sigma = None;
            peak.elevation_approach = Approach::Unknown;
        }
        if Spoil::logs_temperature(spoils) {
            peak.temperature_c = Some((take.when.temperature_c * 10.0).round() / 10.0);
        }
        log.peaks.push(peak);
    }
    // Rows without an emitter in reach are dropped; renumber the rest.
    for (i, peak) in log.peaks.iter_mut().enumerate() {
        peak.row = i + 1;
        peak.line = i + 2;
    }
    Ok(log)
}

/// The true station and sky, which may differ from those in the files.
pub(super) struct Real<'a> {
    pub station: Cow<'a, Station>,
    pub sky: Cow<'a, Sky>,
}

impl<'a> Real<'a> {
    pub fn of(station: &'a Station, sky: &'a Sky, truth: &Truth) -> Real<'a> {
        match Spoil::real_station(&truth.spoil, station) {
            Some(real) => Real {
                sky: Cow::Owned(sky.seen_from(&real)),
                station: Cow::Owned(real),
            },
            None => Real {
                station: Cow::Borrowed(station),
                sky: Cow::Borrowed(sky),
            },
        }
    }
}

/// One observation: a peak, or the peak of a scan.
pub(super) struct Take<'a> {
    /// Row, time and weather.
    pub when: Circumstance,
    /// True time.
    pub time: Utc,
    /// Time by the clock of the log.
    pub logged_time: Utc,
    /// Name of the emitter in the log.
    pub name: &'a str,
    /// The emitter really observed.
    pub observed: &'a str,
    /// Direction of the emitter observed.
    pub emitter: Direction<Apparent>,
    /// Encoder readings at the peak, noise included.
    pub reading: EncoderReading,
    /// The mount's terms at this time and reading.
    pub terms: TermValues,
    /// Offset of the peak of a whole scan from the emitter: a sidelobe, and the noise that a loose
    /// joint adds to a peak.
    pub displaced: Offset,
    /// Side from which each axis arrived.
    pub approach: [Approach; 2],
    /// Index of the feed used.
    pub feed: usize,
}

/// Returns the observations of a session in order of time, with the feeds (one model each) in
/// turn; only emitters for which `fits` holds at the reading of their peak are used.
///
/// # Errors
/// When no emitter is ever up, or an emitter has no place.
pub(super) fn takes<'a>(
    real: &'a Real<'_>,
    truth: &'a Truth,
    seed: u64,
    models: &[MountModel],
    fits: impl Fn(&Direction<Apparent>, EncoderReading) -> bool,
) -> Result<Vec<Take<'a>>, Error> {
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let spoils = truth.spoil.as_slice();
    let Some(first) = models.first() else {
        return Ok(Vec::new());
    };
    let usual = *first.terms();
    let plan = &truth.session;
    let (station, sky) = (real.station.as_ref(), real.sky.as_ref());
    // The logged time is the true time less the clock's offset.
    let behind_s = usual.inside(Term::ClockOffset) + Spoil::behind_s(spoils);
    let names: Vec<&str> = if plan.emitters.is_empty() {
        station.emitters.iter().map(|e| e.name.as_str()).collect()
    } else {
        plan.emitters.iter().map(String::as_str).collect()
    };
    for name in &names {
        if station.emitter(name).is_none() {
            let known: Vec<&str> = station.emitters.iter().map(|e| e.name.as_str()).collect();
            return Err(Error::Usage(format!(
                "the truth file observes {name:?}, which the station file does not have\n  help: it has \
                 {}",
                some_of(&known)
            )));
        }
    }
    let span = plan.to.seconds_since(plan.from);
    let mut taken = vec![0usize; names.len()];
    let mut present: Option<EncoderReading> = None;
    let mut takes = Vec::new();
    for row in 1..=plan.peaks {
        let feed = (row - 1) % models.len();
        let model = &models[feed];
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
        // A random present azimuth, so that the wrap varies as it would over a night.
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
            let Some((still, _)) =
                spoilt_reading(truth, model, &when, &emitter, quiet, signs, &wrap)
            else {
                continue;
            };
            if !fits(&emitter, still) {
                continue;
            }
            let louder = Spoil::louder(spoils, still.azimuth);
            let by = |factors: [f64; 2]| Offset {
                cross_elevation: Angle::from_degrees(
                    unit_noise[0] * truth.noise.cross_elevation_deg * factors[0],
                ),
                elevation: Angle::from_degrees(
                    unit_noise[1] * truth.noise.elevation_deg * factors[1],
                ),
            };
            let mut noise = by(louder);
            // Variances add: noise f times the usual is the usual plus sqrt(f^2 - 1) times it.
            let mut displaced = by(louder.map(|f| (f * f - 1.0).max(0.0).sqrt()));
            if Spoil::on_sidelobe(spoils, row) {
                let round = uniform(&mut rng, (Angle::ZERO, Angle::TURN));
                let lobe = Spoil::sidelobe(station.dish.beamwidth, round);
                for offset in [&mut noise, &mut displaced] {
                    offset.cross_elevation += lobe.cross_elevation;
                    offset.elevation += lobe.elevation;
                }
            }
            let Some((reading, terms)) =
                spoilt_reading(truth, model, &when, &emitter, noise, signs, &wrap)
            else {
                continue;
            };
            present = Some(EncoderReading {
                azimuth: uniform(&mut rng, station.mount.azimuth_range),
                ..reading
            });
            taken[i] += 1;
            takes.push(Take {
                when,
                time,
                logged_time,
                name: names[i],
                observed,
                emitter,
                reading,
                terms,
                displaced,
                approach,
                feed,
            });
            break;
        }
    }
    if takes.is_empty() {
        return Err(Error::Unsupported(
            "none of the emitters is up and within the mount's reach during the session".to_owned(),
        ));
    }
    Ok(takes)
}

fn peak(
    truth: &Truth,
    row: usize,
    time: Utc,
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
        by_lag: [None; 2],
        azimuth_approach: logged(truth.session.approach_logged, approach[0]),
        elevation_approach: logged(truth.session.approach_logged, approach[1]),
        peak_db: None,
        temperature_c: None,
        use_it: true,
        note: String::new(),
        feed: 0,
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

/// Direction of the emitter, with stale elements and refraction faults applied.
pub(super) fn seen(
    sky: &Sky,
    spoils: &[Spoil],
    name: &str,
    time: Utc,
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

/// The reading at the peak and the terms there; where the terms depend on the reading, both are
/// found by iteration.
fn spoilt_reading(
    truth: &Truth,
    usual: &MountModel,
    when: &Circumstance,
    emitter: &Direction<Apparent>,
    noise: Offset,
    signs: ApproachSigns,
    wrap: &Wrap,
) -> Option<(EncoderReading, TermValues)> {
    /// Rounds of repetition; errors change slowly with the reading, so a few suffice.
    const ROUNDS: usize = 6;
    let mut reading = reading_at_peak(usual, emitter, noise, signs, wrap)?;
    let mut terms = *usual.terms();
    for _ in 0..ROUNDS {
        terms = Spoil::terms(&truth.spoil, usual.terms(), when, &reading);
        if terms == *usual.terms() {
            break;
        }
        // From here on the wrap is fixed: take the nearest reading.
        let near = Wrap {
            present: Some(reading),
            ..*wrap
        };
        reading = reading_at_peak(&usual.with_terms(terms), emitter, noise, signs, &near)?;
    }
    Some((reading, terms))
}

pub(super) fn rounded(reading: EncoderReading, step_deg: f64) -> EncoderReading {
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

/// Readings as displayed: rounded to the step of an encoder, or to whole counts of a sensor.
fn as_shown(
    reading: EncoderReading,
    step_deg: f64,
    sensors: &[Option<Sensor>; 2],
) -> EncoderReading {
    let stepped = rounded(reading, step_deg);
    let shown = |plain: Angle, stepped: Angle, sensor: &Option<Sensor>| match sensor {
        Some(sensor) => sensor.rounded(plain),
        None => stepped,
    };
    EncoderReading {
        azimuth: shown(reading.azimuth, stepped.azimuth, &sensors[0]),
        elevation: shown(reading.elevation, stepped.elevation, &sensors[1]),
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
