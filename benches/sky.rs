//! Positions by kind of emitter: rigorous ones, and those on a track.
//!
//! `cargo bench --bench sky`; what was measured stands in docs/performance.md.

use std::hint::black_box;
use std::path::Path;
use std::time::Duration;

use criterion::{Criterion, criterion_group, criterion_main};
use plumbeam::sky::{Refraction, Sky};
use plumbeam::station::Station;
use plumbeam::time::Utc;

/// An invented station with one emitter of each kind.
const STATION: &str = r#"
[site]
name = "Invented"
latitude_deg = 48.0
longitude_deg = 11.0
height_m = 300.0
[mount]
kind = "az-el"
azimuth_range_deg = [-180.0, 540.0]
elevation_range_deg = [0.0, 90.0]
[dish]
diameter_m = 3.0
frequency_mhz = 1700.0
[[emitter]]
name = "sun"
kind = "sun"
[[emitter]]
name = "moon"
kind = "moon"
[[emitter]]
name = "Cas A"
kind = "radio-source"
[[emitter]]
name = "low-satellite"
kind = "satellite"
elements = "satellites.tle"
norad_id = 99171
[[emitter]]
name = "geostationary"
kind = "satellite"
elements = "satellites.tle"
norad_id = 99151
[[emitter]]
name = "beacon"
kind = "beacon"
latitude_deg = 48.1
longitude_deg = 11.1
height_m = 500.0
"#;

fn bench(c: &mut Criterion) {
    let folder = Path::new("tests/data/reference");
    let station = Station::parse("station.toml", folder, STATION.as_bytes()).unwrap();
    c.bench_function("prepare the sky of a station", |b| {
        b.iter(|| Sky::new(black_box(&station)).unwrap())
    });
    c.bench_function("prepare refraction", |b| {
        b.iter(|| Refraction::new(black_box(&station.site.weather)))
    });
    let sky = Sky::new(&station).unwrap();
    let from = Utc::parse("2026-03-18T00:00:00Z").unwrap();
    let to = from.plus_seconds(86_400.0);
    // Times spread over the day by the golden ratio.
    let times: Vec<Utc> = (0..4096)
        .map(|i| from.plus_seconds(86_400.0 * (f64::from(i) * 0.618_033_988_75).fract()))
        .collect();
    let mut next = times.iter().cycle();
    for id in sky.emitters() {
        let name = sky.name(id).to_owned();
        c.bench_function(&format!("rigorous, {name}"), |b| {
            b.iter(|| sky.apparent_of(id, *next.next().unwrap()).unwrap())
        });
    }
    for id in sky.emitters() {
        let name = sky.name(id).to_owned();
        let track = sky.track_of(id, from, to);
        for time in &times {
            track.apparent(*time).unwrap();
        }
        c.bench_function(&format!("on a track, {name}"), |b| {
            b.iter(|| track.apparent(*next.next().unwrap()).unwrap())
        });
    }
    let all = sky.emitters().collect::<Vec<_>>();
    c.bench_function("all six at one instant", |b| {
        b.iter(|| {
            let moment = sky.at(*next.next().unwrap());
            for id in &all {
                black_box(moment.apparent(*id).unwrap());
            }
        })
    });
}

criterion_group! {
    name = benches;
    config = Criterion::default()
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(2));
    targets = bench
}
criterion_main!(benches);
