//! A simulated night of scans, as input of `reduce`: the same mount and the same choice of emitters
//! as a simulated session of peaks.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use super::scans::{ScanPlan, Signal, Way, made_up_toward};
use super::session::{Real, Take, rounded, seen, takes};
use super::spoil::Spoil;
use super::truth::{ScanWay, Scans, Truth};
use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset};
use crate::logbook::Scan;
use crate::mount::{ApproachSigns, MountModel, Term, TermValues, Wrap};
use crate::problem::Error;
use crate::scan::ScanAxis;
use crate::sky::Sky;
use crate::station::{EmitterKind, Station};
use crate::time::Utc;

/// Angular radius of the Sun and the Moon, degrees; both vary by a few percent.
pub(super) const DISC_RADIUS_DEG: f64 = 0.265;
/// Above this elevation a scan along azimuth would need too wide a sweep of the axis.
const HIGHEST: Angle = Angle::from_degrees(80.0);
/// An emitter that moves farther than this during a scan, in beamwidths, is tracked while it is
/// scanned: more would smear into the next cut. Common practice, no source.
const FOLLOWED_FROM: f64 = 0.3;

/// Simulates a scan for each peak of the session of `truth`, the same for the same `seed`. The
/// noise is the receiver's, as given in `[scans]`; the scatter of `[noise]` is not added. For a
/// mount whose terms change with time or direction, each scan uses the terms at its middle.
///
/// # Errors
/// When no emitter is ever up, an emitter has no place, or scans follow each other faster than they
/// are taken.
pub fn scan_session(
    station: &Station,
    sky: &Sky,
    truth: &Truth,
    seed: u64,
) -> Result<Vec<Scan>, Error> {
    let real = Real::of(station, sky, truth);
    let beamwidth = station.dish.beamwidth;
    let fast = form(&truth.scans, beamwidth);
    let slow = ScanPlan {
        speed_deg_s: fast.speed_deg_s / truth.scans.slower,
        ..fast.clone()
    };
    let length_s = slow.duration_s(beamwidth);
    let apart_s = truth.session.to.seconds_since(truth.session.from) / truth.session.peaks as f64;
    if apart_s < length_s {
        return Err(Error::Usage(format!(
            "the truth file has a scan every {apart_s:.0} s, and one takes {length_s:.0} s: take fewer \
             peaks or a longer time in [session], or a smaller seconds_a_pass or slower in [scans]"
        )));
    }
    let reach = beamwidth * (fast.half_length + truth.scans.beside);
    let fits = |emitter: &Direction<Apparent>, reading: EncoderReading| {
        let raised = match station.mount.kind().is_az_el() {
            true => emitter.elevation(),
            // Distance from the equator of the first axis, toward either pole.
            false => reading.elevation.abs(),
        };
        let (across, up) = (reach / raised.cos(), reach);
        let within =
            |at: Angle, by: Angle, (low, high): (Angle, Angle)| at - by >= low && at + by <= high;
        raised < HIGHEST
            && within(reading.azimuth, across, station.mount.azimuth_range)
            && within(reading.elevation, up, station.mount.elevation_range)
    };
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    // The session itself draws from stream 0.
    rng.set_stream(1);
    // All scans use the first feed.
    let models = [truth.model(&real.station.mount.geometry)?];
    (takes(&real, truth, seed, &models, fits)?.iter().enumerate())
        .map(|(i, take)| {
            // At random, so that every emitter is scanned at both speeds.
            let form = if rng.random_bool(0.5) { &slow } else { &fast };
            let plan = ScanPlan {
                name: (i + 1).to_string(),
                emitter: take.name.to_owned(),
                start: take.time.plus_seconds(-0.5 * form.duration_s(beamwidth)),
                backward: rng.random_bool(0.5),
                centre: beside(&truth.scans, &mut rng),
                ..form.clone()
            };
            scan(&real, truth, take, plan, &mut rng)
        })
        .collect()
}

/// Random offset of the middle of a scan from the emitter, beamwidths: no scan is centred exactly.
fn beside(scans: &Scans, rng: &mut ChaCha12Rng) -> (f64, f64) {
    let mut one = || scans.beside * rng.random_range(-1.0..=1.0);
    (one(), one())
}

/// Plan of the scans of a truth file, without name, emitter and time.
fn form(scans: &Scans, beamwidth: Angle) -> ScanPlan {
    ScanPlan {
        way: match scans.way {
            ScanWay::Cross => Way::Cross,
            ScanWay::Azimuth => Way::Cut(ScanAxis::Azimuth),
            ScanWay::Elevation => Way::Cut(ScanAxis::Elevation),
            ScanWay::Raster => Way::Raster { rows: scans.rows },
        },
        half_length: scans.half_length,
        samples: scans.samples,
        speed_deg_s: 2.0 * scans.half_length * beamwidth.degrees() / scans.seconds_a_pass,
        repeats: scans.repeats,
        ..ScanPlan::default()
    }
}

fn scan(
    real: &Real<'_>,
    truth: &Truth,
    take: &Take<'_>,
    plan: ScanPlan,
    rng: &mut ChaCha12Rng,
) -> Result<Scan, Error> {
    let (station, sky) = (real.station.as_ref(), real.sky.as_ref());
    let spoils = truth.spoil.as_slice();
    let beamwidth = station.dish.beamwidth;
    let toward = |time: Utc| {
        seen(sky, spoils, take.observed, time)
            .ok_or_else(|| Error::Unsupported(format!("{} has no place at {time}", take.observed)))
    };
    let disc = station
        .emitter(take.observed)
        .is_some_and(|e| matches!(e.kind, EmitterKind::Sun | EmitterKind::Moon));
    let signal = Signal {
        signal_to_noise: truth.scans.signal_to_noise,
        lag_s: truth.scans.lag_s,
        disc_radius_deg: if disc { DISC_RADIUS_DEG } else { 0.0 },
        ..Signal::default()
    };
    let ends = (
        toward(plan.start)?,
        toward(plan.start.plus_seconds(plan.duration_s(beamwidth)))?,
    );
    let plan = ScanPlan {
        following: ends.0.separation(&ends.1) > beamwidth * FOLLOWED_FROM,
        ..plan
    };
    let wrap = Wrap {
        azimuth_range: station.mount.azimuth_range,
        elevation_range: station.mount.elevation_range,
        present: Some(take.reading),
    };
    let model = MountModel::new(
        station.mount.geometry,
        displaced(take.terms, take.displaced),
    );
    let made = made_up_toward(&plan, &signal, beamwidth, &toward, (&model, &wrap), rng)?;
    let mut scan = made.scan;
    let behind_s = take.time.seconds_since(take.logged_time);
    for sample in &mut scan.samples {
        let reading = EncoderReading {
            azimuth: sample.azimuth,
            elevation: sample.elevation,
        };
        let beam = model.beam(reading, ApproachSigns::UNKNOWN);
        let logged = Spoil::reading(spoils, take.when.row, reading, &beam);
        let logged = rounded(logged, truth.noise.resolution_deg);
        sample.time = sample.time.plus_seconds(-behind_s);
        sample.azimuth = logged.azimuth;
        sample.elevation = logged.elevation;
    }
    Ok(scan)
}

/// Terms of a mount whose peak lies `by` away from the emitter: the beam receives from there, so
/// the model points less far by as much.
fn displaced(mut terms: TermValues, by: Offset) -> TermValues {
    for (term, angle) in [
        (Term::Collimation, by.cross_elevation),
        (Term::ElevationZero, by.elevation),
    ] {
        terms.set_shown(term, terms.shown(term) - angle.degrees());
    }
    terms
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::simulate::session;

    const TRUTH: &str = "
[terms]
azimuth-zero = 3.0
collimation = 0.4
azimuth-backlash = 0.3
[noise]
resolution_deg = 0.0
[session]
from = \"2026-09-12T06:10:00Z\"
to = \"2026-09-12T16:40:00Z\"
peaks = 20
";

    fn station_and_sky() -> (Station, Sky) {
        let station = Station::read(Path::new("demo-data/station.toml")).unwrap();
        let sky = Sky::new(&station).unwrap();
        (station, sky)
    }

    fn scans_of_a_night(more: &str, seed: u64) -> Result<Vec<Scan>, Error> {
        let (station, sky) = station_and_sky();
        let truth = Truth::parse("truth.toml", &format!("{TRUTH}{more}")).unwrap();
        scan_session(&station, &sky, &truth, seed)
    }

    #[test]
    fn the_strongest_sample_stands_where_the_beam_is_on_the_emitter() {
        let (station, sky) = station_and_sky();
        let truth = Truth::parse("truth.toml", TRUTH).unwrap();
        let scans = scans_of_a_night("", 4).unwrap();
        assert!(scans.len() >= 15);
        let model = truth.model(&station.mount.geometry).unwrap();
        for scan in &scans {
            let strongest = (scan.samples.iter())
                .max_by(|a, b| a.power.total_cmp(&b.power))
                .unwrap();
            let reading = EncoderReading {
                azimuth: strongest.azimuth,
                elevation: strongest.elevation,
            };
            let beam = model.beam(reading, ApproachSigns::UNKNOWN);
            let emitter = sky.apparent(&scan.emitter, strongest.time).unwrap();
            // The offset of the scan from the emitter and the effect of noise of 1/30 on a flat
            // top add up to a quarter of a beam.
            let off = beam.separation(&emitter) / station.dish.beamwidth;
            assert!(off < 0.4, "{} {}: {off}", scan.name, scan.emitter);
        }
    }

    #[test]
    fn the_same_seed_makes_the_same_night_on_the_emitters_of_the_peaks() {
        let (station, sky) = station_and_sky();
        let truth = Truth::parse("truth.toml", TRUTH).unwrap();
        assert_eq!(
            scans_of_a_night("", 4).unwrap(),
            scans_of_a_night("", 4).unwrap()
        );
        assert_ne!(
            scans_of_a_night("", 4).unwrap(),
            scans_of_a_night("", 5).unwrap()
        );
        let peaks = session(&station, &sky, &truth, 4).unwrap().peaks;
        let same = (scans_of_a_night("", 4).unwrap().iter().zip(&peaks))
            .filter(|(scan, peak)| scan.emitter == peak.emitter)
            .count();
        // Where a scan would leave the encoder's range, another emitter is used.
        assert!(same >= 3, "{same}");
    }

    #[test]
    fn scans_are_made_as_the_truth_file_says() {
        let raster = "[scans]\nway = \"raster\"\nrows = 5\nsamples = 21\nseconds_a_pass = 10.0\nslower = 1.0\n";
        for scan in scans_of_a_night(raster, 4).unwrap() {
            assert_eq!(scan.samples.len(), 5 * 21);
            let last = scan.samples.last().unwrap().time;
            let seconds = last.seconds_since(scan.samples[0].time);
            assert!(
                (seconds - (5.0 * 10.0 + 4.0 * 2.0)).abs() < 1e-3,
                "{seconds}"
            );
        }
        // About half of the scans take twice as long.
        let length = |scan: &Scan| {
            let last = scan.samples[scan.samples.len() - 1].time;
            last.seconds_since(scan.samples[0].time)
        };
        let lengths: Vec<f64> = scans_of_a_night("", 4)
            .unwrap()
            .iter()
            .map(length)
            .collect();
        let near = |s: f64| lengths.iter().filter(|l| (**l - s).abs() < 1e-3).count();
        assert_eq!(
            near(4.0 * 20.0 + 6.0) + near(4.0 * 40.0 + 6.0),
            lengths.len()
        );
        assert!(near(86.0) > 3 && near(166.0) > 3, "{lengths:?}");
        let slow = scans_of_a_night("[scans]\nseconds_a_pass = 1000.0\n", 4).unwrap_err();
        assert_eq!(slow.exit_code(), 2);
        assert!(slow.to_string().contains("one takes 8006 s"), "{slow}");
    }

    #[test]
    fn a_sidelobe_displaces_its_scan_and_a_time_zone_all_times() {
        let lobe = "[[spoil]]\nkind = \"sidelobe\"\nrows = [3]\n";
        let (plain, spoilt) = (
            scans_of_a_night("", 4).unwrap(),
            scans_of_a_night(lobe, 4).unwrap(),
        );
        let centre = |scan: &Scan| {
            let n = scan.samples.len() as f64;
            scan.samples
                .iter()
                .map(|s| s.elevation.degrees())
                .sum::<f64>()
                / n
        };
        let off = |i: usize| (centre(&plain[i]) - centre(&spoilt[i])).abs();
        // Off by 1.5 beams of 5 degrees somewhere round the beam, in elevation or across.
        let across = (plain[2].samples[0].azimuth - spoilt[2].samples[0].azimuth).abs();
        assert!(off(2) + across.degrees() > 1.0, "{} {across:?}", off(2));
        assert!(off(0) < 1e-9 && off(1) < 1e-9);
        let zone = scans_of_a_night("[[spoil]]\nkind = \"time-zone\"\nhours = 1.0\n", 4).unwrap();
        let (_, sky) = station_and_sky();
        let true_time = zone[0].samples[0].time.plus_seconds(3600.0);
        let beam_on = sky.apparent(&zone[0].emitter, true_time).unwrap();
        let by_log = sky
            .apparent(&zone[0].emitter, zone[0].samples[0].time)
            .unwrap();
        assert!(beam_on.elevation() > Angle::ZERO && by_log.azimuth() != beam_on.azimuth());
    }
}
