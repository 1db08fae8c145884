//! How long the page takes on a cheap phone with a poor connection, and how long one plan takes in a
//! browser. Measured by `cargo xtask bench`.

use std::fmt::Write as _;
use std::time::Duration;
use std::{env, fs};

use crate::harness::{Visitor, host};
use batch::demo::demo;
use batch::keep::{Envelope, encode};
use batch::moment::Moment;
use batch::testing::{finished_batch, watched_souring};
use serde_json::json;

/// An odd number, so that the median is one of the measurements.
const RUNS: usize = 7;

/// Notes the largest paint and the layout shifts, which can only be observed from the start of a page.
const OBSERVE: &str = "
    globalThis.seen = { paint: 0, shift: 0 };
    new PerformanceObserver((list) => {
        for (const entry of list.getEntries()) seen.paint = entry.startTime;
    }).observe({ type: 'largest-contentful-paint', buffered: true });
    new PerformanceObserver((list) => {
        for (const entry of list.getEntries()) if (!entry.hadRecentInput) seen.shift += entry.value;
    }).observe({ type: 'layout-shift', buffered: true });
";

#[derive(Default)]
struct Timings {
    first_paint: Vec<f64>,
    largest_paint: Vec<f64>,
    interactive: Vec<f64>,
    shift: Vec<f64>,
}

impl Timings {
    async fn take(&mut self, visitor: &Visitor) {
        // Late paints would still count; give them their time.
        tokio::time::sleep(Duration::from_millis(500)).await;
        let number = async |expression: &str| visitor.value(expression).await.as_f64().unwrap();
        let first_paint = "performance.getEntriesByName('first-contentful-paint')[0].startTime";
        self.first_paint.push(number(first_paint).await);
        self.largest_paint.push(number("seen.paint").await);
        self.interactive.push(number("performance.getEntriesByName('tartwright-ready')[0].startTime").await);
        self.shift.push(number("seen.shift").await);
    }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

#[tokio::test]
#[ignore = "measures; run by cargo xtask bench"]
async fn slow_phone() {
    let host = host("/");
    let url = host.url();
    let visitor = Visitor::phone().await;
    visitor.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": OBSERVE })).await;

    let (mut cold, mut cached, mut offline) = (Timings::default(), Timings::default(), Timings::default());
    for _ in 0..RUNS {
        // From a page of another origin, so that nothing of the app is alive while it is forgotten.
        visitor.goto("about:blank").await.unwrap();
        let origin = url.trim_end_matches('/');
        visitor.cdp("Storage.clearDataForOrigin", json!({ "origin": origin, "storageTypes": "all" })).await;
        visitor.cdp("Network.clearBrowserCache", json!({})).await;
        visitor.slow_down().await;
        visitor.open(&url).await;
        cold.take(&visitor).await;
        visitor.until_offline_ready().await;
    }
    for _ in 0..RUNS {
        visitor.reload().await;
        cached.take(&visitor).await;
    }
    host.stop();
    for _ in 0..RUNS {
        visitor.reload().await;
        offline.take(&visitor).await;
    }

    let mut rows = String::new();
    // name, what was measured, budgets in ms for the largest paint and for being interactive
    for (name, timings, paint, interactive) in [
        ("cold", &cold, Some(1500), Some(3000)),
        ("from cache", &cached, None, Some(700)),
        ("offline", &offline, None, Some(700)),
    ] {
        let budget = |most: Option<u32>| most.map(|most| format!("\t{most}")).unwrap_or_default();
        let _ = writeln!(rows, "{name}: first paint\t{}\tms", median(&timings.first_paint));
        let _ =
            writeln!(rows, "{name}: largest paint\t{}\tms{}", median(&timings.largest_paint), budget(paint));
        let _ = writeln!(
            rows,
            "{name}: interactive\t{}\tms{}",
            median(&timings.interactive),
            budget(interactive)
        );
        let _ = writeln!(rows, "{name}: layout shift\t{}\t", median(&timings.shift));
    }
    report(&rows);
}

/// Against the page that `app/examples/plan_clock.rs` makes, not against the app.
#[tokio::test]
#[ignore = "measures; run by cargo xtask bench"]
async fn plan_in_wasm() {
    let host = host("/");
    let visitor = Visitor::phone().await;
    let example = Envelope::new(demo("x".to_owned(), Moment::default()));
    let watched = Envelope::new(watched_souring());
    // name, batch, what one plan of it may take in us
    let batches = [
        ("plan of the example", example, 400),
        ("plan of a finished batch with 60 readings", finished_batch(), 400),
        ("plan of a souring read 60 times", watched, 5000),
    ];
    let mut rows = String::new();
    for (processor, rate) in [("wasm", 1), ("wasm, 4x slower", 4)] {
        visitor.cdp("Emulation.setCPUThrottlingRate", json!({ "rate": rate })).await;
        for (name, batch, budget) in &batches {
            let budget = if rate == 1 { format!("\t{budget}") } else { String::new() };
            visitor.goto(&host.url()).await.unwrap();
            let text = json!(encode(batch).unwrap());
            visitor.value(&format!("document.body.textContent = {text}")).await;
            visitor
                .value("import(new URL('app.js', location)).then((app) => app.default()).then(() => 0)")
                .await;
            let title = visitor.title().await.unwrap();
            let time: f64 = title.parse().expect(&title);
            let _ = writeln!(rows, "{processor}: {name}\t{time}\tus{budget}");
        }
    }
    report(&rows);
}

/// Hands the rows to `cargo xtask bench`, or shows them.
fn report(rows: &str) {
    match env::var_os("TARTWRIGHT_MEASURES") {
        Some(file) => fs::write(file, rows).unwrap(),
        None => println!("{rows}"),
    }
}
