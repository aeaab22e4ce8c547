//! Outcomes made by hand for the tests of this room. Every number, name and place in them is
//! invented.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, Uniform};

use super::Report;
use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset, SkyBasis};
use crate::explain::{Grounds, Numbers, Remark};
use crate::logbook::TermState;
use crate::mount::{ApproachSigns, Geometry, MountModel, Term, TermValues};
use crate::solve::{
    Decision, Inseparable, NoiseSource, Outcome, PeakOutcome, Remedy, TermEstimate, Warning,
};
use crate::station::{
    Bearings, Dish, Emitter, EmitterKind, Horizon, Mount, Site, Station, Weather,
};
use crate::time::Utc;

/// What a made-up session is like.
#[derive(Clone, Debug)]
pub struct Session {
    pub peaks: usize,
    pub noise_deg: f64,
    pub bad_every: usize,
    pub one_axis_every: usize,
    pub azimuth_zero_deg: f64,
    pub hours: f64,
}

impl Default for Session {
    fn default() -> Session {
        Session {
            peaks: 60,
            noise_deg: 0.04,
            bad_every: 17,
            one_axis_every: 13,
            azimuth_zero_deg: -1.4827,
            hours: 9.0,
        }
    }
}

/// An invented station with a dish of 1.8 m.
pub fn station() -> Station {
    let emitter = |name: &str, kind| Emitter {
        name: name.to_owned(),
        kind,
    };
    Station {
        site: Site {
            name: "Orchard Wall".to_owned(),
            latitude: Angle::from_degrees(47.0),
            longitude: Angle::from_degrees(8.0),
            height_m: 512.0,
            weather: Weather {
                pressure_hpa: 955.0,
                temperature_c: 12.0,
                relative_humidity: 0.6,
            },
            ut1_minus_utc_s: 0.0,
            electron_content_tecu: None,
            assumptions: vec!["UT1 taken equal to UTC".to_owned()],
        },
        mount: Mount {
            geometry: Geometry::AZ_EL,
            azimuth_range: (Angle::from_degrees(-180.0), Angle::from_degrees(540.0)),
            elevation_range: (Angle::ZERO, Angle::RIGHT),
            azimuth_teeth: None,
            elevation_teeth: None,
            bearings: Bearings {
                base_radius_m: Some(0.6),
                ..Bearings::default()
            },
            park: None,
            sensors: [None, None],
            fixed_declination: None,
            axis_offset_m: [0.0; 2],
        },
        dish: Dish {
            diameter_m: 1.8,
            frequency_mhz: 1700.0,
            beamwidth: Angle::from_degrees(6.86),
            beamwidth_assumed: true,
        },
        feeds: Vec::new(),
        horizon: Horizon {
            mask: [(0.0, 5.0), (90.0, 12.0), (150.0, 18.0), (200.0, 6.0)]
                .map(|(a, e)| (Angle::from_degrees(a), Angle::from_degrees(e)))
                .to_vec(),
        },
        emitters: vec![
            emitter("sun", EmitterKind::Sun),
            emitter("moon", EmitterKind::Moon),
            emitter(
                "hill",
                EmitterKind::Mark {
                    azimuth: Angle::from_degrees(70.0),
                    elevation: Angle::from_degrees(9.0),
                },
            ),
        ],
    }
}

/// A direction a small step away.
fn displaced(from: &Direction<Apparent>, by: Offset) -> Direction<Apparent> {
    let basis = SkyBasis::at(&from.east_north_up());
    let v = basis.outward
        + basis.rightward * by.cross_elevation.tan()
        + basis.upward * by.elevation.tan();
    Direction::from_east_north_up(&v)
}

/// An outcome of a session: readings put through a known model, and the emitter a known step
/// from where the beam then was.
pub fn outcome(session: &Session) -> Outcome {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let noise = Normal::new(0.0, session.noise_deg.max(1e-300)).unwrap();
    let azimuths = Uniform::new(-170.0, 380.0).unwrap();
    let elevations = Uniform::new(0.1f64, 0.98).unwrap();
    let start = Utc::parse("2026-04-04T19:40:12.250Z").unwrap();
    let terms = TermValues::ZERO
        .with_shown(Term::AzimuthZero, session.azimuth_zero_deg)
        .with_shown(Term::ElevationZero, 0.3142)
        .with_shown(Term::TiltNorth, 0.5231)
        .with_shown(Term::TiltEast, -0.3307)
        .with_shown(Term::Collimation, 0.2119)
        .with_shown(Term::Droop, 0.1042);
    let model = MountModel::az_el(terms);
    let emitters = ["sun", "moon", "hill"];
    let peaks: Vec<PeakOutcome> = (0..session.peaks)
        .map(|i| {
            let reading = EncoderReading::from_degrees(
                azimuths.sample(&mut rng),
                elevations.sample(&mut rng).asin().to_degrees(),
            );
            let bad = session.bad_every > 0 && i % session.bad_every == session.bad_every - 1;
            let step = |deg: f64| Angle::from_degrees(deg);
            let residual = if bad {
                Offset {
                    cross_elevation: step(1.9),
                    elevation: step(-0.7),
                }
            } else {
                Offset {
                    cross_elevation: step(noise.sample(&mut rng)),
                    elevation: step(noise.sample(&mut rng)),
                }
            };
            let beam = model.beam(reading, ApproachSigns::UNKNOWN);
            let target = displaced(&beam, residual);
            let encoder = Direction::apparent(reading.azimuth, reading.elevation);
            let one_axis = session.one_axis_every > 0
                && i % session.one_axis_every == session.one_axis_every - 1;
            let share = i as f64 / session.peaks.max(2) as f64;
            PeakOutcome {
                row: i + 1,
                line: i + 2,
                time: start.plus_seconds(share * session.hours * 3600.0),
                emitter: emitters[i % 3].to_owned(),
                target,
                reading,
                before: encoder.offset_to(&target),
                residual: beam.offset_to(&target),
                azimuth_measured: true,
                elevation_measured: !one_axis,
                cross_elevation_sigma: step(session.noise_deg),
                elevation_sigma: step(session.noise_deg),
                used: !bad,
                why: if bad {
                    "1.9 deg off, 48 times the scatter of the others".to_owned()
                } else {
                    String::new()
                },
            }
        })
        .collect();
    finish(model, peaks, session)
}

fn rms(peaks: &[PeakOutcome], offset: impl Fn(&PeakOutcome) -> Offset) -> Angle {
    let used: Vec<f64> = (peaks.iter())
        .filter(|p| p.used)
        .map(|p| {
            let o = offset(p);
            let part = |on: bool, a: Angle| if on { a.radians().powi(2) } else { 0.0 };
            part(p.azimuth_measured, o.cross_elevation) + part(p.elevation_measured, o.elevation)
        })
        .collect();
    let mean = used.iter().sum::<f64>() / used.len().max(1) as f64;
    Angle::from_radians(mean.sqrt())
}

fn finish(model: MountModel, peaks: Vec<PeakOutcome>, session: &Session) -> Outcome {
    let count = peaks.iter().filter(|p| p.used).count().max(1) as f64;
    let sigma = |factor: f64| {
        Some(Angle::from_degrees(factor * session.noise_deg / count.sqrt()).radians())
    };
    let estimate = |term: Term, sigma, state| TermEstimate {
        prior_sigma: None,
        term,
        value: model.terms().inside(term),
        sigma,
        state,
    };
    let terms = vec![
        estimate(Term::AzimuthZero, sigma(3.1), TermState::Fitted),
        estimate(Term::ElevationZero, sigma(2.2), TermState::Fitted),
        estimate(Term::TiltNorth, sigma(1.4), TermState::Fitted),
        estimate(Term::TiltEast, sigma(1.5), TermState::Fitted),
        estimate(Term::Collimation, sigma(2.9), TermState::Fitted),
        estimate(Term::AxisSkew, None, TermState::NotSeparable),
        estimate(Term::Droop, sigma(3.4), TermState::Fitted),
        estimate(Term::AzimuthScale, None, TermState::Held),
        estimate(Term::ClockOffset, Some(0.31), TermState::Fitted),
    ];
    let measured: usize = (peaks.iter())
        .filter(|p| p.used)
        .map(|p| usize::from(p.azimuth_measured) + usize::from(p.elevation_measured))
        .sum();
    let rejected = peaks.iter().filter(|p| !p.used).count();
    Outcome {
        sky_error: None,
        misread: None,
        explanation: None,
        model,
        terms,
        correlations: vec![
            (Term::AzimuthZero, Term::Collimation, -0.967),
            (Term::ElevationZero, Term::Droop, -0.91),
            (Term::TiltNorth, Term::TiltEast, 0.12),
        ],
        rms_before: rms(&peaks, |p| p.before),
        before_note: None,
        rms_after: rms(&peaks, |p| p.residual),
        degrees_of_freedom: measured.saturating_sub(7),
        noise: NoiseSource::Scatter,
        decisions: vec![
            Decision {
                terms: vec![Term::Droop],
                name: "droop".to_owned(),
                admitted: true,
                grounds: Grounds::Usual(Some(Numbers {
                    p_value: 2e-7,
                    bic_fall: 31.2,
                    cross_validation: Some(0.83),
                })),
            },
            Decision {
                terms: vec![Term::TrackWarpCos, Term::TrackWarpSin],
                name: "track warp".to_owned(),
                admitted: false,
                grounds: Grounds::Evidence(Numbers {
                    p_value: 0.6,
                    bic_fall: -7.1,
                    cross_validation: None,
                }),
            },
        ],
        not_separable: vec![Inseparable {
            terms: vec![(Term::AxisSkew, 0.81), (Term::Collimation, -0.52)],
            meaning: "all peaks lie between elevations 30 and 45 deg, where axis skew and \
                      collimation move the beam alike"
                .to_owned(),
            remedy: "peak one emitter above elevation 65 deg and one below 15 deg".to_owned(),
        }],
        warnings: if rejected > 0 {
            vec![Warning {
                remark: Remark::ManyBad {
                    bad: rejected,
                    peaks: peaks.len(),
                },
                words: format!("{rejected} peaks were kept out of the fit"),
            }]
        } else {
            Vec::new()
        },
        peaks,
    }
}

/// Remedies as another room would put them.
pub fn remedies() -> Vec<Remedy> {
    vec![
        Remedy {
            term: Term::TiltNorth,
            title: "Level the azimuth axis".to_owned(),
            text: "Raise the north foot by 5.4 mm and lower the opposite side by as much."
                .to_owned(),
            caution: "The dish is heavy: prop it before loosening a foot.".to_owned(),
        },
        Remedy {
            term: Term::AzimuthZero,
            title: "Set the azimuth encoder".to_owned(),
            text: "Enter an azimuth zero of -1.483 deg, or turn the encoder by as much.".to_owned(),
            caution: String::new(),
        },
    ]
}

/// A report on an outcome.
pub fn report<'a>(
    outcome: &'a Outcome,
    station: &'a Station,
    remedies: &'a [Remedy],
) -> Report<'a> {
    Report {
        outcome,
        station,
        remedies,
        log_name: "peaks.csv",
        diagnosis: None,
        calibration_name: "calibration.json",
        explain: true,
        created: Utc::parse("2026-04-05T08:00:00Z").unwrap(),
    }
}
