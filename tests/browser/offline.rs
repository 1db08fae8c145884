//! The app keeps working when its host is gone, wherever it was hosted.

use crate::harness::{Visitor, built, host};
use serde_json::json;

async fn loads_again_without_its_host(base: &str) {
    let host = host(base);
    let url = host.url();
    let visitor = Visitor::phone().await;
    visitor.open(&url).await;
    visitor.until_offline_ready().await;
    let online = visitor.value("document.body.innerText").await;
    visitor.assert_quiet(&url).await;

    host.stop();
    visitor.reload().await;
    assert_eq!(visitor.value("document.body.innerText").await, online);
    // A link or a bookmark may carry more than the bare address.
    visitor.open(&format!("{url}?from=home#somewhere")).await;
    visitor.assert_quiet(&url).await;
}

#[tokio::test]
async fn from_the_root_of_a_host() {
    loads_again_without_its_host("/").await;
}

#[tokio::test]
async fn from_a_path_below_a_host() {
    loads_again_without_its_host("/some/where/").await;
}

#[tokio::test]
async fn a_half_deployed_version_is_never_installed() {
    let host = host("/");
    let mut broken = built("/");
    broken.set("manifest.webmanifest", b"{}".to_vec());
    host.replace(broken);
    let visitor = Visitor::phone().await;
    visitor.open(&host.url()).await;
    let fate = visitor
        .value(
            // The app registers it as well, and that try may end just now: then there is no worker to ask.
            "(async () => {
                for (;;) {
                    const known = await navigator.serviceWorker.register('sw.js');
                    const worker = known.installing ?? known.waiting ?? known.active;
                    while (worker?.state === 'installing') await new Promise((turn) => setTimeout(turn, 10));
                    if (worker) return worker.state;
                }
            })()",
        )
        .await;
    assert_eq!(fate, json!("redundant"));
    assert_eq!(visitor.value("caches.keys()").await, json!([]));
}

#[tokio::test]
async fn a_new_version_waits_until_it_is_let_in() {
    let host = host("/");
    let visitor = Visitor::phone().await;
    visitor.open(&host.url()).await;
    visitor.until_offline_ready().await;
    let first = visitor.value("caches.keys()").await;

    // Another worker file is another version to the browser, even with the same list of files.
    let mut next = built("/");
    let worker = next.find("/sw.js").unwrap().raw.clone();
    let worker =
        String::from_utf8(worker).unwrap().replacen("const VERSION = \"", "const VERSION = \"next", 1);
    next.set("sw.js", worker.into_bytes());
    host.replace(next);

    visitor.reload().await;
    visitor.until("navigator.serviceWorker.getRegistration().then((known) => known.waiting)").await;
    visitor.reload().await;
    assert_eq!(visitor.value("caches.keys().then((names) => names.length)").await, json!(2));

    let take_over = "navigator.serviceWorker.getRegistration()\
         .then((known) => known.waiting.postMessage('take over'))";
    visitor.value(take_over).await;
    visitor.until("caches.keys().then((names) => names.length === 1)").await;
    assert_ne!(visitor.value("caches.keys()").await, first);
}
