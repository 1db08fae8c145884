//! How long each job takes on this machine itself.

// The harness generates a function that cannot carry a comment.
#![allow(missing_docs)]

use batch::jobs::jobs;
use batch::testing::{finished_batch, watched_souring};
use criterion::{Criterion, criterion_group, criterion_main};
use std::time::{Duration, Instant};

fn all(criterion: &mut Criterion) {
    let begun = Instant::now();
    let clock = || begun.elapsed().as_secs_f64() * 1e3;
    let Some(all) = jobs(&finished_batch(), watched_souring(), &clock) else {
        // A bench that leaves something out must not look like one that measured it.
        std::process::exit(1);
    };
    for mut job in all {
        criterion.bench_function(&job.name.clone(), |bencher| bencher.iter(|| job.run()));
    }
}

criterion_group! {
    name = benches;
    config = Criterion::default()
        // A whole book takes a while.
        .sample_size(30)
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(2));
    targets = all
}
criterion_main!(benches);
