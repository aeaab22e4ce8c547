//! Emitters that are harder: discs as wide as the beam, and satellites that run over the sky.

use std::path::Path;

use plumbeam::logbook::Scan;
use plumbeam::mount::MountModel;
use plumbeam::scan::{ReduceOptions, reduce_scans};
use plumbeam::simulate::{ScanPlan, Signal, made_up};
use plumbeam::sky::Sky;
use plumbeam::station::{Emitter, EmitterKind};
use plumbeam::time::Utc;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::kinds::any_way;
use super::{Made, NO_BOUNDS, StationAndSky, Tally, mount};

/// Angular radii in June, degrees: the Sun is then far away, and the Moon anywhere. The fit
/// takes mean distances.
const SUN_IN_JUNE: f64 = 0.2625;
const MOON: f64 = 0.2591;
/// Low satellites, invented, of the reference elements.
const LOW: [u64; 5] = [99171, 99172, 99173, 99174, 99175];
/// Nothing lower is scanned, degrees.
const LOWEST: f64 = 15.0;
/// Scans are this far apart at least.
const APART_S: f64 = 61.0;
const MOST_TRIES: usize = 20_000;

/// The Sun and the Moon in a dish whose beam is little wider than they are.
pub fn discs(seed: u64, scans: usize) -> Tally {
    night(
        seed,
        scans,
        StationAndSky::new(20.0),
        "2026-06-10T06:00:00Z",
        |rng| {
            let (emitter, disc_radius_deg) = if rng.random_bool(0.5) {
                ("sun", SUN_IN_JUNE)
            } else {
                ("moon", MOON)
            };
            let plan = ScanPlan {
                emitter: emitter.to_owned(),
                speed_deg_s: 0.06,
                ..any_way(rng)
            };
            let signal = Signal {
                signal_to_noise: 30.0,
                disc_radius_deg,
                ..Signal::default()
            };
            (plan, signal)
        },
    )
}

/// Low satellites, followed while they are scanned.
pub fn followed(seed: u64, scans: usize) -> Tally {
    let mut place = StationAndSky::new(1.8);
    let elements =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/reference/satellites.tle");
    for norad_id in LOW {
        place.station.emitters.push(Emitter {
            name: format!("low-{norad_id}"),
            kind: EmitterKind::Satellite {
                elements: elements.clone(),
                norad_id,
            },
        });
    }
    place.sky = Sky::new(&place.station).expect("good elements");
    night(seed, scans, place, "2026-03-17T06:00:00Z", |rng| {
        let plan = ScanPlan {
            emitter: format!("low-{}", LOW[rng.random_range(0..LOW.len())]),
            following: true,
            speed_deg_s: 2.0,
            ..any_way(rng)
        };
        let signal = Signal {
            signal_to_noise: 30.0,
            ..Signal::default()
        };
        (plan, signal)
    })
}

/// Scans as soon as their emitters are up, from a time on.
fn night(
    seed: u64,
    scans: usize,
    place: StationAndSky,
    from: &str,
    plan: impl Fn(&mut ChaCha8Rng) -> (ScanPlan, Signal),
) -> Tally {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let model = MountModel::az_el(mount(seed));
    let mut time = Utc::parse(from).expect("a time");
    let mut all: Vec<Made> = Vec::new();
    for _ in 0..MOST_TRIES {
        if all.len() == scans {
            break;
        }
        time = time.plus_seconds(APART_S);
        let (mut plan, signal) = plan(&mut rng);
        plan.start = time;
        plan.name = (all.len() + 1).to_string();
        let up = place.sky.apparent(&plan.emitter, time).expect("a place");
        if up.elevation().degrees() < LOWEST {
            continue;
        }
        // Some pass through the keyhole, or below the horizon, while they are scanned.
        let (station, sky) = (&place.station, &place.sky);
        if let Ok(made) = made_up(&plan, &signal, station, sky, &model, &mut rng) {
            all.push(Made { plan, signal, made });
        }
    }
    let log: Vec<Scan> = all.iter().map(|n| n.made.scan.clone()).collect();
    let reduction = reduce_scans(&log, &place.station, &place.sky, &ReduceOptions::default());
    let mut tally = Tally::default();
    for (found, truth) in reduction.scans.iter().zip(&all) {
        tally.take(found, truth, NO_BOUNDS);
    }
    tally
}
