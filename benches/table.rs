//! How long it takes to get from a demand to a reading: by the full model, by a table, by the
//! integer look-up that firmware does, and through the line stream; and how long to make a table.
//! `cargo bench --bench table`.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use plumbeam::angle::{Angle, EncoderReading};
use plumbeam::mount::{MountModel, Term, TermValues};
use plumbeam::station::Weather;
use plumbeam::table::{
    Air, ApproachChoice, Demand, DemandKind, EncoderRange, FullModel, Microdegrees, Pointer,
    Provenance, Source, StreamForm, TableRequest, Writing, firmware_table, serve, table,
};

/// An invented small dish with the usual terms.
fn full(kind: DemandKind) -> FullModel {
    let mut terms = TermValues::ZERO;
    for (term, value) in [
        (Term::AzimuthZero, 13.2),
        (Term::ElevationZero, -0.8),
        (Term::TiltNorth, 0.4),
        (Term::TiltEast, -0.3),
        (Term::Collimation, 0.35),
        (Term::Droop, 0.2),
        (Term::AzimuthRunoutCos, 0.1),
    ] {
        terms.set_shown(term, value);
    }
    let d = Angle::from_degrees;
    FullModel {
        mount: MountModel::az_el(terms),
        air: Air::for_demand(
            kind,
            Weather {
                pressure_hpa: 1000.0,
                temperature_c: 10.0,
                relative_humidity: 0.5,
            },
        ),
        range: EncoderRange {
            azimuth: (d(-180.0), d(540.0)),
            elevation: (d(0.0), d(90.0)),
        },
    }
}

const COUNT: usize = 1000;

/// Demands all over the sky that a table holds (additive recurrence).
fn demands() -> Vec<Demand> {
    let fraction = |i: usize, step: f64| (0.5 + i as f64 * step).fract();
    (0..COUNT)
        .map(|i| Demand {
            azimuth: Angle::from_degrees(360.0 * fraction(i, 0.754_877_666_246_693)),
            elevation: Angle::from_degrees(2.0 + 80.0 * fraction(i, 0.569_840_290_998_053)),
        })
        .collect()
}

fn pointers(c: &mut Criterion) {
    let demands = demands();
    let mut group = c.benchmark_group("a thousand demands");
    group.throughput(Throughput::Elements(COUNT as u64));
    let request = TableRequest::for_beam(Angle::from_degrees(5.0));
    let provenance = Provenance::default();
    let apparent = full(DemandKind::Apparent);
    let made = table(&apparent, &request, &provenance).expect("this table can be made");
    let approach = ApproachChoice::Fixed(Default::default());
    let start = Some(EncoderReading::from_degrees(180.0, 45.0));
    for (name, source) in [
        (
            "full model, apparent",
            Source::Full(Box::new(apparent.clone())),
        ),
        (
            "full model, geometric",
            Source::Full(Box::new(full(DemandKind::Geometric))),
        ),
        ("table", made.table.into()),
    ] {
        let mut pointer = Pointer::new(source, approach, start);
        group.bench_function(name, |b| {
            b.iter(|| {
                for demand in &demands {
                    let _ = black_box(pointer.command(black_box(*demand)));
                }
            });
        });
    }
    let mut pointer = Pointer::new(Source::Full(Box::new(apparent.clone())), approach, start);
    group.bench_function("full model, inverse", |b| {
        b.iter(|| {
            for demand in &demands {
                let reading = EncoderReading {
                    azimuth: demand.azimuth,
                    elevation: demand.elevation,
                };
                let _ = black_box(pointer.demand_at(black_box(reading)));
            }
        });
    });
    let firmware =
        firmware_table(&apparent, &request, &provenance, None).expect("this table can be made");
    let whole: Vec<(Microdegrees, Microdegrees)> = demands
        .iter()
        .filter_map(|d| Microdegrees::nearest(d.azimuth).zip(Microdegrees::nearest(d.elevation)))
        .collect();
    group.bench_function("integer look-up", |b| {
        b.iter(|| {
            for (azimuth, elevation) in &whole {
                let present = Microdegrees(180_000_000);
                let table = &firmware.table.table;
                let _ = black_box(table.command(black_box(*azimuth), *elevation, present));
            }
        });
    });
    let lines: String = demands
        .iter()
        .map(|d| format!("{:.4} {:.4}\n", d.azimuth.degrees(), d.elevation.degrees()))
        .collect();
    let form = StreamForm {
        inverse: false,
        writing: Writing::Plain,
        open_to_all: false,
    };
    group.bench_function("lines through the stream, full model", |b| {
        b.iter(|| {
            let sink = std::io::sink();
            serve(
                lines.as_bytes(),
                sink,
                &mut pointer,
                form,
                None,
                &mut |_| {},
            )
        });
    });
    group.finish();
}

fn making(c: &mut Criterion) {
    let mut group = c.benchmark_group("make a table");
    group.sample_size(10);
    for (beam, name) in [(10.0, "beam of 10 deg"), (0.7, "beam of 0.7 deg")] {
        let full = full(DemandKind::Geometric);
        let request = TableRequest::for_beam(Angle::from_degrees(beam));
        group.bench_function(name, |b| {
            b.iter(|| table(&full, &request, &Provenance::default()));
        });
        group.bench_function(format!("{name}, in 2000 bytes"), |b| {
            b.iter(|| firmware_table(&full, &request, &Provenance::default(), Some(2000)));
        });
    }
    group.finish();
}

criterion_group!(benches, pointers, making);
criterion_main!(benches);
