//! How long the whole plan of a full batch takes.

// The harness generates a function that cannot carry a comment.
#![allow(missing_docs)]

use batch::demo::demo;
use batch::document::Batch;
use batch::moment::Moment;
use batch::plan::plan;
use batch::testing::{finished_batch, watched_souring};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;

fn plans(criterion: &mut Criterion) {
    let example: Batch = demo("x".to_owned(), Moment::default());
    criterion.bench_function("plan of the example", |bencher| bencher.iter(|| plan(black_box(&example))));
    let finished = finished_batch().data;
    criterion.bench_function("plan of a finished batch with 60 readings", |bencher| {
        bencher.iter(|| plan(black_box(&finished)));
    });
    let watched = watched_souring();
    criterion.bench_function("plan of a souring read 60 times", |bencher| {
        bencher.iter(|| plan(black_box(&watched)));
    });
}

criterion_group!(benches, plans);
criterion_main!(benches);
