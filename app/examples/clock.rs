//! How long each job of `batch::jobs` takes in a browser. The page's text is a finished batch and one whose
//! souring is watched, a line each; in its place come the names of the jobs, each with its time in microseconds.
//! `cargo xtask bench` builds it with the app's own settings and reads what it says.
use std::hint::black_box;

use batch::jobs::{Job, jobs};
use batch::keep::{Envelope, Opened, decode};
use leptos::prelude::{document, window};
use web_sys::Performance;

/// Milliseconds of a group of runs: a browser's clock goes in steps of a tenth of one.
const GROUP: f64 = 20.0;

/// An odd number, so that the median is one of the measurements.
const GROUPS: usize = 7;

/// Milliseconds for so many runs.
fn time(clock: &Performance, job: &mut Job, runs: u32) -> f64 {
    let begun = clock.now();
    for _ in 0..runs {
        black_box(&mut *job).run();
    }
    clock.now() - begun
}

/// Microseconds of one run: the median of some groups.
fn each(clock: &Performance, job: &mut Job) -> f64 {
    // While the first runs, the browser still compiles what it finds to be used most.
    let mut runs = 1;
    while time(clock, job, runs) < GROUP {
        runs *= 2;
    }
    let mut groups = [(); GROUPS].map(|()| time(clock, job, runs) * 1000.0 / f64::from(runs));
    groups.sort_by(f64::total_cmp);
    groups[GROUPS / 2]
}

/// The batches in the page's text.
fn given() -> Option<[Envelope; 2]> {
    let text = document().body()?.text_content()?;
    let mut lines = text.lines().map(decode);
    match (lines.next()?, lines.next()?) {
        (Ok(Opened::Current(finished)), Ok(Opened::Current(watched))) => Some([*finished, *watched]),
        _ => None,
    }
}

fn measured() -> Option<String> {
    let [finished, watched] = given()?;
    let clock = window().performance()?;
    let mut said = String::new();
    for mut job in jobs(&finished, watched.data, &|| clock.now())? {
        let time = each(&clock, &mut job);
        said += &format!("{}\t{time}\n", job.name);
    }
    Some(said)
}

fn main() {
    let said = measured().unwrap_or_else(|| "no batches, no tables or no clock".to_owned());
    if let Some(body) = document().body() {
        body.set_text_content(Some(&said));
    }
}
