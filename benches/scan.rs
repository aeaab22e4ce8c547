//! How fast scans are read and fitted: rows a second against passes of the csv crate over the same
//! bytes, for long scans and for many short ones, and fits a second on one core.
//! `cargo bench --bench scan`; `SHORT_SCAN_ROWS=10000000` in the environment takes so many rows of
//! short scans in place of 48,800.

use std::f64::consts::LN_10;
use std::fs::File;
use std::hint::black_box;
use std::io::{BufReader, BufWriter, Write};
use std::path::Path;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use plumbeam::logbook::{Scan, ScanOptions, ScanReader};
use plumbeam::mount::{MountModel, TermValues};
use plumbeam::scan::{ReduceOptions, ScanAxis, reduce, reduce_scans};
use plumbeam::simulate::{ScanPlan, Signal, Way, made_up};
use plumbeam::sky::Sky;
use plumbeam::station::Station;
use plumbeam::time::Utc;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// An invented station with one mark.
fn station() -> Station {
    let text = "
[site]
name = \"invented\"
latitude_deg = 48.0
longitude_deg = 11.0
height_m = 500.0
[mount]
kind = \"az-el\"
azimuth_range_deg = [-180.0, 540.0]
elevation_range_deg = [-10.0, 100.0]
[dish]
diameter_m = 1.8
frequency_mhz = 1700.0
[[emitter]]
name = \"mark\"
kind = \"mark\"
azimuth_deg = 180.0
elevation_deg = 40.0
";
    Station::parse("station.toml", Path::new("."), text.as_bytes()).expect("a good station")
}

fn scan(station: &Station, sky: &Sky, way: Way, samples: usize, name: usize) -> Scan {
    let once = ScanPlan {
        way,
        samples,
        ..ScanPlan::default()
    };
    planned(station, sky, once, name)
}

/// A cross there and back, 244 samples.
fn short_scan(station: &Station, sky: &Sky, name: usize) -> Scan {
    let plan = ScanPlan {
        way: Way::Cross,
        samples: 61,
        repeats: 2,
        ..ScanPlan::default()
    };
    planned(station, sky, plan, name)
}

fn planned(station: &Station, sky: &Sky, plan: ScanPlan, name: usize) -> Scan {
    let plan = ScanPlan {
        name: name.to_string(),
        emitter: "mark".to_owned(),
        start: Utc::parse("2026-06-10T08:00:00Z")
            .expect("a time")
            .plus_seconds(120.0 * name as f64),
        centre: (0.1, -0.1),
        ..plan
    };
    let mut rng = ChaCha8Rng::seed_from_u64(name as u64);
    let model = MountModel::az_el(TermValues::ZERO);
    made_up(&plan, &Signal::default(), station, sky, &model, &mut rng)
        .expect("within reach")
        .scan
}

fn write_log(scans: impl Iterator<Item = Scan>, file: &File) -> std::io::Result<()> {
    let mut text = BufWriter::new(file);
    writeln!(
        text,
        "scan,time_utc,emitter,azimuth_deg,elevation_deg,power_db"
    )?;
    for scan in scans {
        for s in &scan.samples {
            writeln!(
                text,
                "{},{},{},{:.4},{:.4},{:.3}",
                scan.name,
                s.time,
                scan.emitter,
                s.azimuth.degrees(),
                s.elevation.degrees(),
                10.0 * s.power.ln() / LN_10
            )?;
        }
    }
    text.flush()
}

fn rows(criterion: &mut Criterion) {
    let station = station();
    let sky = Sky::new(&station).expect("a good station");
    let reading = ScanOptions::default();
    let rows = 10_000_000;
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let way = Way::Cut(ScanAxis::Azimuth);
    let scans = (0..rows / 20_000).map(|name| scan(&station, &sky, way, 20_000, name));
    write_log(scans, file.as_file()).expect("room for 700 MB");
    let open = || BufReader::with_capacity(1 << 18, File::open(file.path()).expect("the file"));
    let mut group = criterion.benchmark_group("rows of a scans file");
    group
        .throughput(Throughput::Elements(rows as u64))
        .sample_size(10);
    group.bench_function("csv crate, bare pass", |b| {
        b.iter(|| {
            let mut reader = csv::Reader::from_reader(open());
            let mut record = csv::ByteRecord::new();
            let mut count = 0;
            while reader.read_byte_record(&mut record).expect("good rows") {
                count += 1;
            }
            assert_eq!(count, rows);
        });
    });
    group.bench_function("read", |b| {
        b.iter(|| {
            let mut reader = ScanReader::new("log", open(), &station, &reading).expect("a header");
            while let Some(scan) = reader.next_scan().expect("good rows") {
                black_box(scan);
            }
        });
    });
    group.bench_function("read and reduce", |b| {
        b.iter(|| {
            let mut reader = ScanReader::new("log", open(), &station, &reading).expect("a header");
            reduce(&mut reader, &station, &sky, &ReduceOptions::default()).expect("good rows")
        });
    });
    group.finish();
}

fn short_scans(criterion: &mut Criterion) {
    let station = station();
    let sky = Sky::new(&station).expect("a good station");
    let reading = ScanOptions::default();
    let asked = std::env::var("SHORT_SCAN_ROWS").ok();
    let asked = asked.map_or(48_800, |rows| rows.parse().expect("a number of rows"));
    let scans = usize::div_ceil(asked, 244);
    let rows = scans * 244;
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let all = (0..scans).map(|name| short_scan(&station, &sky, name));
    write_log(all, file.as_file()).expect("room for 70 bytes a row");
    let open = || BufReader::with_capacity(1 << 18, File::open(file.path()).expect("the file"));
    let mut group = criterion.benchmark_group("rows of short scans");
    group
        .throughput(Throughput::Elements(rows as u64))
        .sample_size(10);
    group.bench_function("csv crate, time and numbers parsed", |b| {
        b.iter(|| {
            let mut reader = csv::Reader::from_reader(open());
            let mut record = csv::StringRecord::new();
            let mut count = 0;
            while reader.read_record(&mut record).expect("good rows") {
                black_box(Utc::parse(&record[1]).expect("a time"));
                for field in [3, 4, 5] {
                    black_box(record[field].parse::<f64>().expect("a number"));
                }
                count += 1;
            }
            assert_eq!(count, rows);
        });
    });
    group.bench_function("read and reduce", |b| {
        b.iter(|| {
            let mut reader = ScanReader::new("log", open(), &station, &reading).expect("a header");
            reduce(&mut reader, &station, &sky, &ReduceOptions::default()).expect("good rows")
        });
    });
    group.finish();
}

fn fits(criterion: &mut Criterion) {
    let station = station();
    let sky = Sky::new(&station).expect("a good station");
    let one_core = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .expect("a thread");
    let mut group = criterion.benchmark_group("scans on one core");
    for (name, way, samples) in [
        ("cut of 61 samples", Way::Cut(ScanAxis::Azimuth), 61),
        ("cross of 122 samples", Way::Cross, 61),
        ("raster of 369 samples", Way::Raster { rows: 9 }, 41),
    ] {
        let scans: Vec<Scan> = (0..100)
            .map(|k| scan(&station, &sky, way, samples, k))
            .collect();
        group.throughput(Throughput::Elements(scans.len() as u64));
        group.bench_function(BenchmarkId::from_parameter(name), |b| {
            b.iter(|| {
                one_core.install(|| reduce_scans(&scans, &station, &sky, &ReduceOptions::default()))
            });
        });
    }
    group.finish();
}

criterion_group!(benches, rows, short_scans, fits);
criterion_main!(benches);
