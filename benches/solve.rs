//! How long a solve takes: `cargo bench --bench solve`.

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use plumbeam::mount::{Group, Term};
use plumbeam::solve::{Options, solve_observed};

#[path = "../tests/study/mod.rs"]
mod study;

use study::{Recipe, session};

/// Seven terms: the basic five, droop and axis skew.
fn seven() -> Vec<Term> {
    let mut terms = Term::BASIC.to_vec();
    terms.extend(Group::AxisSkew.terms().chain(Group::Droop.terms()));
    terms
}

fn of(peaks: usize) -> study::Session {
    let recipe = Recipe {
        peaks: Some(peaks),
        bad_share: 0.0,
        alike: false,
    };
    // A made-up session whose peaks lie all over the sky.
    (0..)
        .map(|number| session(number, recipe))
        .find(|s| s.sky == study::SkyKind::Whole)
        .expect("one of the first few")
}

fn solving(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("solve, 7 terms given");
    for peaks in [100, 10_000, 1_000_000] {
        let session = of(peaks);
        let options = Options {
            terms: Some(seven()),
            ..Options::default()
        };
        if peaks > 1000 {
            group.sample_size(10);
        }
        group.bench_function(BenchmarkId::from_parameter(peaks), |b| {
            b.iter(|| solve_observed(&session.station, &session.observations, &options));
        });
    }
    group.finish();
    let session = of(120);
    criterion.bench_function("solve, choosing among all terms, 120 peaks", |b| {
        b.iter(|| solve_observed(&session.station, &session.observations, &Options::default()));
    });
}

criterion_group!(benches, solving);
criterion_main!(benches);
