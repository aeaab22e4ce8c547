//! In every picture that plumbeam draws no label lies over another or leaves the sheet: awkward
//! sessions, plans, scans, faults and histories. A new picture comes with its line here.

use std::path::Path;

use super::faults::sample_pictures;
use super::fixture::{self, Session};
use super::{
    MapTrack, SkyErrorMap, history_pictures, pass_pictures, pictures, plan_picture, scan_pictures,
    sky_error_map,
};
use crate::angle::{Angle, Apparent, Direction, Offset};
use crate::explain::{SkyError, even_sky};
use crate::live::{About, RELAY, RelayRow, head, parse_log};
use crate::logbook::ScanReader;
use crate::mount::Term;
use crate::plan::{Known, Plan, PlanRequest, plan};
use crate::plot::Render;
use crate::recheck::{History, Point, TermHistory};
use crate::scan;
use crate::sky::Sky;
use crate::solve::Outcome;
use crate::station::Station;
use crate::time::Utc;

/// What is wrong with the labels of a picture, a line each.
fn faults_of(what: &str, picture: &(impl Render + ?Sized)) -> Vec<String> {
    let recording = picture.recorded();
    let mut faults = Vec::new();
    if recording.texts.len() < 3 {
        faults.push("empty".to_owned());
    }
    for (a, b) in recording.clashes() {
        faults.push(format!("{a:?} over {b:?}"));
    }
    for text in recording.strays() {
        faults.push(format!("{text:?} leaves the sheet"));
    }
    for t in &recording.texts {
        if t.text.contains("NaN") || t.text.contains("inf") {
            faults.push(format!("{:?} is shown", t.text));
        }
    }
    let name = picture.file_stem();
    (faults.into_iter())
        .map(|fault| format!("{what}, {name}: {fault}"))
        .collect()
}

#[track_caller]
fn assert_clear(faults: Vec<String>) {
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Sessions of every awkward kind, by name.
fn sessions() -> Vec<(&'static str, Outcome)> {
    let usual = Session::default();
    let with = |change: fn(&mut Session)| {
        let mut session = usual.clone();
        change(&mut session);
        fixture::outcome(&session)
    };
    let mut one_axis = fixture::outcome(&usual);
    one_axis
        .peaks
        .iter_mut()
        .for_each(|p| p.azimuth_measured = false);
    let mut nothing_used = fixture::outcome(&usual);
    nothing_used.peaks.iter_mut().for_each(|p| p.used = false);
    let mut huge = fixture::outcome(&usual);
    for (i, p) in huge.peaks.iter_mut().enumerate() {
        let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
        p.residual = Offset {
            cross_elevation: Angle::from_degrees(170.0 * sign),
            elevation: Angle::from_degrees(-170.0 * sign),
        };
        p.before = p.residual;
    }
    let mut not_finite = fixture::outcome(&usual);
    for p in &mut not_finite.peaks {
        p.residual.elevation = Angle::from_radians(f64::NAN);
        p.elevation_sigma = Angle::from_radians(f64::INFINITY);
        p.cross_elevation_sigma = Angle::ZERO;
    }
    not_finite.rms_after = Angle::from_radians(f64::NAN);
    let mut no_terms = fixture::outcome(&usual);
    no_terms.terms.clear();
    let mut tiny = fixture::outcome(&usual);
    tiny.terms.iter_mut().for_each(|t| t.value *= 1e-9);
    vec![
        ("usual", fixture::outcome(&usual)),
        ("none", with(|s| s.peaks = 0)),
        ("one", with(|s| s.peaks = 1)),
        ("two", with(|s| s.peaks = 2)),
        ("crowded", with(|s| s.peaks = 700)),
        ("dense", with(|s| s.peaks = 6000)),
        ("at once", with(|s| s.hours = 0.0)),
        ("in a minute", with(|s| s.hours = 0.01)),
        ("a week", with(|s| s.hours = 170.0)),
        ("years", with(|s| s.hours = 60_000.0)),
        ("perfect", with(|s| s.noise_deg = 0.0)),
        ("coarse", with(|s| s.noise_deg = 9.0)),
        ("unknown north", with(|s| s.azimuth_zero_deg = -143.2)),
        ("one axis", one_axis),
        ("nothing used", nothing_used),
        ("huge", huge),
        ("not finite", not_finite),
        ("no terms", no_terms),
        ("tiny", tiny),
    ]
}

#[test]
fn of_a_solve() {
    let station = fixture::station();
    let mut faults = Vec::new();
    for (session, outcome) in sessions() {
        for picture in pictures(&fixture::report(&outcome, &station, &[])) {
            faults.extend(faults_of(session, picture.as_ref()));
        }
    }
    assert_clear(faults);
}

/// The demo's invented station with the emitters named; all of them when none is.
fn planned(names: &[&str], hours: f64, change: impl Fn(&mut PlanRequest)) -> (Plan, Station) {
    let station = Station::read(Path::new("demo-data/station.toml")).unwrap();
    let sky = Sky::new(&station).unwrap();
    let from = Utc::parse("2026-09-12T06:00:00Z").unwrap();
    let mut request = PlanRequest::new(&sky, from, from.plus_seconds(3600.0 * hours));
    if !names.is_empty() {
        request.named = true;
        request.emitters = names.iter().map(|n| sky.emitter(n).unwrap()).collect();
    }
    change(&mut request);
    let plan = plan(&station, &sky, &Known::default(), &request).unwrap();
    (plan, station)
}

#[test]
fn of_a_plan() {
    let as_usual = |_: &mut PlanRequest| {};
    let often = |request: &mut PlanRequest| {
        request.every_s = 60.0;
        request.most = 60;
    };
    let mut plans = vec![
        ("all", planned(&[], 4.0, as_usual)),
        ("all, often", planned(&[], 1.0, often)),
        ("the Sun for two hours", planned(&["sun"], 3.0, as_usual)),
        ("the Sun for a day", planned(&["sun"], 12.0, as_usual)),
        ("the Sun for three days", planned(&["sun"], 72.0, as_usual)),
        ("the Sun, often", planned(&["sun"], 3.0, often)),
        ("a beacon", planned(&["mill-beacon"], 1.0, as_usual)),
        (
            "a satellite that stands",
            planned(&["fenlight-1"], 4.0, often),
        ),
        (
            "a satellite that moves",
            planned(&["hightide-1"], 4.0, often),
        ),
    ];
    // Every step near one place, in a spiral about it; and all along the horizon.
    let place = |azimuth: f64, elevation: f64| {
        Direction::apparent(Angle::from_degrees(azimuth), Angle::from_degrees(elevation))
    };
    let moved = |to: &dyn Fn(f64) -> (f64, f64)| {
        let (mut plan, station) = planned(&[], 1.0, often);
        for (i, step) in plan.steps.iter_mut().enumerate() {
            let (azimuth, elevation) = to(i as f64);
            step.candidate.direction = place(azimuth, elevation);
        }
        (plan, station)
    };
    plans.push((
        "a spiral",
        moved(&|i| {
            let angle = 0.7 * i;
            (180.0 + 0.3 * i * angle.sin(), 30.0 + 0.3 * i * angle.cos())
        }),
    ));
    plans.push(("the horizon", moved(&|i| (6.0 * i, 0.5))));
    plans.push(("one place", moved(&|_| (0.0, 30.0))));
    let mut faults = Vec::new();
    for (what, (plan, station)) in &plans {
        assert!(plan.steps.len() > 3, "{what}");
        faults.extend(faults_of(what, &plan_picture(plan, station)));
    }
    assert_clear(faults);
}

#[test]
fn of_scans() {
    let mut faults = Vec::new();
    for night in [
        "clean-crosses",
        "clipped-and-sidelobes",
        "lagging-both-ways",
        "noisy-rasters",
    ] {
        let folder = Path::new("tests/data/reference/scans").join(night);
        let station = Station::read(&folder.join("station.toml")).unwrap();
        let sky = Sky::new(&station).unwrap();
        let log = std::fs::read(folder.join("scans.csv")).unwrap();
        let reading = crate::logbook::ScanOptions::default();
        let mut reader = ScanReader::new("scans.csv", log.as_slice(), &station, &reading).unwrap();
        let options = scan::ReduceOptions {
            keep_curves: true,
            ..scan::ReduceOptions::default()
        };
        let reduction = scan::reduce(&mut reader, &station, &sky, &options).unwrap();
        let pictures = scan_pictures(&reduction, &station);
        assert!(pictures.len() > 3, "{night}");
        for picture in pictures {
            faults.extend(faults_of(night, picture.as_ref()));
        }
    }
    assert_clear(faults);
}

#[test]
fn of_faults() {
    let mut faults = Vec::new();
    for (what, picture) in sample_pictures() {
        faults.extend(faults_of(what, picture.as_ref()));
    }
    assert_clear(faults);
}

/// Some terms of some calibrations, `apart_s` from each other, whose values change by `steps`.
fn history_of(terms: &[Term], calibrations: usize, apart_s: f64, steps: f64) -> History {
    let start = Utc::parse("2026-01-31T22:15:00Z").unwrap();
    let of_term = |term: &Term| TermHistory {
        term: *term,
        mount: crate::mount::Kind::AzEl,
        points: (0..calibrations)
            .map(|i| {
                let real = i % 3 == 1;
                Point {
                    file: format!("calibration-{i}.json"),
                    created: start.plus_seconds(apart_s * i as f64),
                    value: term.unit().inward(steps * (i as f64).sin()),
                    sigma: term.unit().inward(0.3 * steps),
                    freedom: 40.0,
                    change: (i > 0).then(|| term.unit().inward(steps)),
                    change_sigma: term.unit().inward(0.2 * steps),
                    chance: 0.001,
                    real,
                }
            })
            .collect(),
        steady: Some(0.001),
        creeps: calibrations > 3,
    };
    History {
        entries: Vec::new(),
        terms: terms.iter().map(of_term).collect(),
        notes: Vec::new(),
        left_out: Vec::new(),
    }
}

#[test]
fn of_a_history() {
    const MONTH_S: f64 = 30.0 * 86_400.0;
    let mut faults = Vec::new();
    for (what, history) in [
        ("one calibration", history_of(&Term::BASIC, 1, MONTH_S, 0.1)),
        ("two", history_of(&Term::BASIC, 2, MONTH_S, 0.1)),
        ("a minute apart", history_of(&Term::BASIC, 3, 60.0, 0.1)),
        ("years", history_of(&Term::BASIC, 40, 3.0 * MONTH_S, 3.0)),
        ("all terms", history_of(&Term::ALL, 12, MONTH_S, 0.02)),
        ("tiny changes", history_of(&Term::ALL, 12, MONTH_S, 1e-4)),
        ("huge changes", history_of(&Term::ALL, 12, MONTH_S, 170.0)),
    ] {
        let pictures = history_pictures(&history);
        assert!(!pictures.is_empty(), "{what}");
        for picture in pictures {
            faults.extend(faults_of(what, picture.as_ref()));
        }
    }
    assert_clear(faults);
}

/// A log of a relay with a reading at this interval, seconds: `at` gives, for the share of the time
/// that has gone, what is demanded, where the beam is and what the encoders read.
fn relayed(
    readings: usize,
    every_s: f64,
    kind: &str,
    at: impl Fn(f64) -> [(f64, f64); 3],
) -> Vec<u8> {
    let about = About {
        station: "A station with a name that is rather long".to_owned(),
        mount_kind: kind.to_owned(),
        beamwidth_deg: 2.0,
        demand: "apparent".to_owned(),
        checksum: "00000000".to_owned(),
    };
    let start = Utc::parse("2026-09-12T22:57:00Z").unwrap();
    let mut text = head(&about);
    for k in 0..readings {
        let [demand, beam, reading] = at(k as f64 / readings as f64);
        let reply = format!("{} {}", beam.0, beam.1);
        let row = RelayRow {
            demand_azimuth_deg: Some(demand.0),
            demand_elevation_deg: Some(demand.1),
            reading_1_deg: Some(reading.0),
            reading_2_deg: Some(reading.1),
            ..RelayRow::new(start.plus_seconds(every_s * k as f64), RELAY, "p", &reply)
        };
        text.push_str(&row.line());
    }
    text.into_bytes()
}

#[test]
fn of_passes() {
    let arc = |t: f64| {
        (
            40.0 + 200.0 * t,
            5.0 + 80.0 * (std::f64::consts::PI * t).sin(),
        )
    };
    let beside = |(az, el): (f64, f64), by: f64| (az - by, el + by);
    let mut faults = Vec::new();
    for (what, log) in [
        (
            "usual",
            relayed(2000, 0.3, "az-el", |t| {
                [arc(t), beside(arc(t), 0.05), beside(arc(t), 0.9)]
            }),
        ),
        (
            "without correction lost",
            relayed(2000, 0.3, "az-el", |t| {
                [arc(t), arc(t), beside(arc(t), 30.0)]
            }),
        ),
        (
            "far off",
            relayed(500, 1.0, "az-el", |t| {
                [arc(t), beside(arc(t), 60.0), arc(t)]
            }),
        ),
        ("one reading", relayed(1, 1.0, "az-el", |t| [arc(t); 3])),
        ("perfect", relayed(200, 1.0, "az-el", |_| [(10.0, 20.0); 3])),
        (
            "another kind of mount",
            relayed(200, 1.0, "polar", |t| [arc(t), arc(t), (5.0, 6.0)]),
        ),
        (
            "a day",
            relayed(5000, 17.0, "az-el", |t| {
                [arc(t), beside(arc(t), 0.3), arc(t)]
            }),
        ),
    ] {
        let log = parse_log("relay.csv", &log).unwrap();
        let pictures = pass_pictures(&log);
        assert_eq!(pictures.len(), 1, "{what}");
        for picture in pictures {
            faults.extend(faults_of(what, picture.as_ref()));
        }
    }
    assert_clear(faults);
}

/// An expected error over what the fixture's mount reaches.
fn expected(station: &Station, error_deg: impl Fn(&Direction<Apparent>) -> f64) -> SkyError {
    let map: Vec<_> = (even_sky(&station.mount, Some(&station.horizon)).into_iter())
        .map(|to| (to, Angle::from_degrees(error_deg(&to))))
        .collect();
    SkyError {
        rms: Angle::ZERO,
        rms_95: Angle::ZERO,
        largest: Angle::ZERO,
        at: Direction::apparent(Angle::ZERO, Angle::RIGHT),
        allowed_for: Vec::new(),
        map,
    }
}

#[test]
fn of_the_expected_error() {
    let station = fixture::station();
    let mut open = fixture::station();
    open.horizon.mask.clear();
    open.site.name = "A station with a name so long that no heading has room for all of it".into();
    let up = |to: &Direction<Apparent>| to.elevation().degrees();
    let maps = [
        ("usual", expected(&station, |to| 0.04 + 0.0004 * up(to))),
        ("wide", expected(&station, |to| 0.002 * 1.1f64.powf(up(to)))),
        ("alike", expected(&station, |_| 0.1)),
        ("tiny", expected(&station, |to| 1e-7 * (1.0 + up(to)))),
        ("huge", expected(&station, |to| 2.0 * up(to))),
        ("not finite", expected(&station, |_| f64::NAN)),
    ];
    let start = Utc::parse("2026-04-04T19:40:12Z").unwrap();
    let track = |emitter: &str, points: usize, at: &dyn Fn(f64) -> (f64, f64)| MapTrack {
        emitter: emitter.to_owned(),
        points: (0..points)
            .map(|k| {
                let (azimuth, elevation) = at(k as f64 / points as f64);
                let to = Direction::apparent(
                    Angle::from_degrees(azimuth),
                    Angle::from_degrees(elevation),
                );
                (start.plus_seconds(20.0 * k as f64), to)
            })
            .collect(),
    };
    let arc = |t: f64| (40.0 + 200.0 * t, 80.0 * (std::f64::consts::PI * t).sin());
    let tracks = [
        ("no pass", None),
        ("empty", Some(track("none", 0, &arc))),
        ("a point", Some(track("one", 1, &arc))),
        ("a pass", Some(track("hightide-1", 40, &arc))),
        (
            "through the zenith",
            Some(track("over", 60, &|t| {
                (
                    if t < 0.5 { 0.0 } else { 180.0 },
                    90.0 - (180.0 * (t - 0.5)).abs(),
                )
            })),
        ),
        (
            "the horizon",
            Some(track("a <name> & more".repeat(9).as_str(), 200, &|t| {
                (360.0 * t, 1.0)
            })),
        ),
        ("one place", Some(track("stands", 100, &|_| (181.0, 32.0)))),
    ];
    let outcome = fixture::outcome(&Session::default());
    let mut faults = Vec::new();
    for (what, map) in &maps {
        for (which, track) in &tracks {
            for station in [&station, &open] {
                let picture = sky_error_map(&SkyErrorMap {
                    station,
                    expected: map,
                    beside: Some(&maps[0].1),
                    which: "before the edits",
                    peaks: &outcome.peaks,
                    track: track.as_ref(),
                });
                faults.extend(faults_of(&format!("{what}, {which}"), &picture));
            }
        }
    }
    assert_clear(faults);
}
