//! How long the page takes on a cheap phone with a poor connection, how long a book of a thousand batches takes to
//! open, and how long each job of `batch::jobs` takes in a browser. Measured by `cargo xtask bench`.

use std::fmt::Write as _;
use std::time::Duration;
use std::{env, fs};

use crate::harness::{Visitor, host};
use crate::typing::{NOTE, fill_book, press};
use batch::keep::{Envelope, encode, stored_text};
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
        let most = timings.shift.iter().copied().fold(0.0, f64::max);
        let _ = writeln!(rows, "{name}: layout shift, the most of {RUNS}\t{most}\t\t0");
    }
    report(&rows);
}

/// Against the page that `app/examples/clock.rs` makes, not against the app.
#[tokio::test]
#[ignore = "measures; run by cargo xtask bench"]
async fn jobs_in_wasm() {
    let host = host("/");
    let visitor = Visitor::phone().await;
    // The slow half of it takes longer than a script may by default.
    visitor.set_script_timeout(Duration::from_secs(600)).await.unwrap();
    let batches = [finished_batch(), Envelope::new(watched_souring())];
    let text = batches.map(|batch| encode(&batch).unwrap()).join("\n");
    let mut rows = String::new();
    for (processor, rate) in [("wasm", 1), ("wasm, 4x slower", 4)] {
        visitor.cdp("Emulation.setCPUThrottlingRate", json!({ "rate": rate })).await;
        visitor.goto(&host.url()).await.unwrap();
        visitor.value(&format!("document.body.textContent = {}", json!(text))).await;
        visitor.value("import(new URL('app.js', location)).then((app) => app.default()).then(() => 0)").await;
        let said = visitor.value("document.body.textContent").await;
        let said = said.as_str().unwrap();
        for line in said.lines() {
            let (name, time) = line.split_once('\t').expect(said);
            let time: f64 = time.parse().expect(said);
            let _ = writeln!(rows, "{processor}: {name}\t{time}\tus");
        }
    }
    report(&rows);
}

/// Notes when the first lines of the book are out of the page's hands, from the start of the navigation.
const LISTED: &str = "
    globalThis.listed = 0;
    {
        const channel = new MessageChannel();
        channel.port1.onmessage = () => { listed ||= performance.now(); };
        const watch = new MutationObserver(() => {
            if (!document.querySelector('[data-test=batch]')) return;
            watch.disconnect();
            requestAnimationFrame(() => channel.port2.postMessage(0));
        });
        watch.observe(document, { subtree: true, childList: true });
    }
";

#[tokio::test]
#[ignore = "measures; run by cargo xtask bench"]
async fn book() {
    let host = host("/");
    let url = host.url();
    let visitor = Visitor::phone().await;
    visitor.open(&url).await;
    visitor.until_offline_ready().await;
    visitor.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": LISTED })).await;
    visitor.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": NOTE })).await;
    let mut rows = String::new();
    let size = stored_text(&finished_batch()).unwrap().encode_utf16().count();
    let _ = writeln!(rows, "stored size of a finished batch with 60 readings\t{size}\tcharacters\t2000");

    let mut before = None;
    for count in [10, 100, 1000] {
        let (stored, characters) = fill_book(&visitor, count).await;
        if count == 1000 {
            let _ = writeln!(rows, "of 1,000 batches, stored at once\t{stored}\t\t>=1000");
            let _ = writeln!(rows, "their keys and texts together\t{characters}\tcharacters\t5000000");
        }
        visitor.cdp("Emulation.setCPUThrottlingRate", json!({ "rate": 4 })).await;
        let mut listed = Vec::new();
        for _ in 0..RUNS {
            visitor.goto("about:blank").await.unwrap();
            visitor.open(&url).await;
            visitor.until("listed > 0").await;
            listed.push(visitor.value("listed").await.as_f64().unwrap());
        }
        let time = median(&listed);
        let _ = writeln!(rows, "book of {count} batches, 4x slower: opening to painted list\t{time}\tms");
        if let Some((less, short)) = before {
            let grown = time / short;
            let _ = writeln!(rows, "book of {count} batches beside {less}, 10 times as many\t{grown}\ttimes");
        }
        before = Some((count, time));
    }

    visitor.until("document.querySelector('input[name=find]')").await;
    visitor.value("document.querySelector('input[name=find]').focus()").await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    visitor.value("typing.keys.length = 0").await;
    for sign in "summer 77".chars() {
        press(&visitor, Some(sign)).await;
        tokio::time::sleep(Duration::from_millis(400)).await;
    }
    let times = visitor.value("typing.keys.map((key) => key.all)").await;
    let times: Vec<f64> = times.as_array().unwrap().iter().map(|time| time.as_f64().unwrap()).collect();
    assert_eq!(times.len(), 9, "every key came");
    let found = visitor.value("document.querySelectorAll('[data-test=batch]').length").await;
    assert_eq!(found, json!(11), "77 and 770 to 779 are found");
    let (first, rest) = times.split_first().unwrap();
    let _ = writeln!(rows, "search in 1,000 batches, 4x slower: first key to painted list\t{first}\tms");
    let slowest = rest.iter().copied().fold(0.0, f64::max);
    let _ = writeln!(rows, "search in 1,000 batches, 4x slower: longest of the other keys\t{slowest}\tms");
    report(&rows);
}

/// Hands the rows to `cargo xtask bench`, or shows them.
pub fn report(rows: &str) {
    match env::var_os("TARTWRIGHT_MEASURES") {
        Some(file) => fs::write(file, rows).unwrap(),
        None => println!("{rows}"),
    }
}
