//! What README.md tells those who host the app.

use crate::harness::{Visitor, built};
use serde_json::json;
use std::path::Path;
use xtask::server::{Port, Server};

/// The script that README.md gives for taking the app off the devices.
fn farewell() -> String {
    let readme = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let readme = std::fs::read_to_string(readme).unwrap();
    let script = readme.split("```js\n").nth(1).and_then(|rest| rest.split("```").next());
    script.expect("README.md has a script").to_owned()
}

#[tokio::test]
async fn the_readmes_way_out_leaves_the_batches_and_nothing_else() {
    let mut gone = built("/some/where/");
    let host = Server::start(gone.clone(), Port::Any).unwrap();
    let visitor = Visitor::phone().await;
    visitor.open(&host.url()).await;
    visitor.until_offline_ready().await;
    assert_eq!(visitor.value("caches.keys().then((names) => names.length)").await, json!(1));
    // Another copy of the app below another path of this host, and what somebody keeps in the browser.
    visitor.value("caches.open('tartwright-another /else/where/').then(() => null)").await;
    visitor.value("localStorage.setItem('tartwright.trial', 'kept')").await;

    gone.set("sw.js", farewell().into_bytes());
    host.replace(gone);
    visitor.reload().await;
    // The page registers the worker again when it is opened; there is none that keeps files.
    visitor
        .until("caches.keys().then((names) => !names.some((name) => name.endsWith(' /some/where/')))")
        .await;
    visitor.until("navigator.serviceWorker.getRegistrations().then((all) => all.length === 0)").await;
    assert_eq!(visitor.value("caches.keys()").await, json!(["tartwright-another /else/where/"]));
    assert_eq!(visitor.value("localStorage.getItem('tartwright.trial')").await, json!("kept"));
}

#[tokio::test]
async fn an_older_version_put_back_is_offered_like_a_new_one() {
    let older = built("/");
    let mut newer = older.clone();
    let worker = String::from_utf8(newer.find("/sw.js").unwrap().raw.clone()).unwrap();
    newer.set("sw.js", worker.replacen("const VERSION = \"", "const VERSION = \"newer", 1).into_bytes());
    let host = Server::start(newer, Port::Any).unwrap();
    let visitor = Visitor::phone().await;
    visitor.open(&host.url()).await;
    visitor.until_offline_ready().await;
    let shown = "caches.keys().then((names) => names.join())";
    assert!(visitor.value(shown).await.to_string().contains("newer"));

    host.replace(older);
    visitor.reload().await;
    visitor.until("navigator.serviceWorker.getRegistration().then((known) => known.waiting)").await;
    visitor
        .value("navigator.serviceWorker.getRegistration().then((known) => known.waiting.postMessage('take over'))")
        .await;
    visitor.until("caches.keys().then((names) => names.length === 1 && !names[0].includes('newer'))").await;
}
