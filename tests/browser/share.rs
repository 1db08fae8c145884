//! Out and in: the sheet on one page, a link that opens on another phone without a network, the readings as a table.

use crate::page::{Brewer, host};
use batch::document::Batch;
use batch::keep::{Envelope, link, write};
use batch::moment::Moment;
use batch::testing::{finished_batch, watched_souring};
use serde_json::{Value, json};

const SHEET: &str = "document.querySelector('[data-test=sheet]').innerText";

/// Puts a batch into the book and goes to its ways out.
async fn with(brewer: &Brewer, envelope: &Envelope) {
    brewer.to_the_settings().await;
    brewer.pastes_a_keepsake(&write(std::slice::from_ref(envelope), Moment::default()).unwrap()).await;
    brewer.tap("[data-test=import-confirm]").await;
    brewer.until("!document.querySelector('[data-test=import-preview]')").await;
    brewer.close_message().await;
    brewer.to_the_book().await;
    ways_out(brewer, &envelope.data).await;
}

async fn ways_out(brewer: &Brewer, batch: &Batch) {
    brewer.value(&format!("location.hash = {}", json!(format!("#/b/{}", batch.id)))).await;
    brewer.tap("[data-test=out]").await;
    brewer.until("document.querySelector('[data-test=sheet]')").await;
}

/// How many pages of paper so large, in inches, the screen prints on.
async fn pages(brewer: &Brewer, size: [f64; 2]) -> Value {
    let paper = json!({ "paperWidth": size[0], "paperHeight": size[1], "preferCSSPageSize": false });
    let printed = brewer.cdp("Page.printToPDF", paper).await;
    if let Ok(folder) = std::env::var("TARTWRIGHT_PRINTS") {
        let path = format!("{folder}/{}-{}.pdf.base64", brewer.session_id(), size[0]);
        std::fs::write(path, printed["data"].as_str().unwrap()).unwrap();
    }
    brewer
        .value(&format!("(atob({}).match(/\\/Type\\s*\\/Page\\b(?!s)/g) ?? []).length", printed["data"]))
        .await
}

const A4: [f64; 2] = [8.27, 11.69];
const LETTER: [f64; 2] = [8.5, 11.0];

#[tokio::test]
async fn a_batch_goes_to_another_phone_in_a_link_without_a_network() {
    let host = host();
    let batch = finished_batch();
    let from = Brewer::arrives(&host.url()).await;
    let to = Brewer::arrives(&host.url()).await;
    to.until_offline_ready().await;
    with(&from, &batch).await;

    let address = from.held("[data-test=link-text]").await;
    let (page, text) = address.split_once("#/open/").unwrap();
    assert!(host.url().starts_with(page.trim_end_matches('/')), "{address}");
    let carried = link::read(text).unwrap();
    assert_eq!(carried.data, batch.data);
    assert!(
        from.value("Boolean(document.querySelector('[data-test=qr] svg[role=img][aria-label] path'))").await
            == json!(true)
    );
    assert_eq!(from.smaller_than(48).await, json!([]));
    assert_eq!(from.sticking_out().await, json!([]));

    // The host is gone, and the other phone has never seen the batch.
    host.stop();
    to.goto("about:blank").await.unwrap();
    to.open(&address).await;
    to.until_says("[data-test=link-name]", "Raspberry and plum, late summer").await;
    to.until_says("[data-test=link-holds]", "60 readings").await;
    to.until_says("[data-test=import-preview]", "is added").await;
    assert_eq!(to.smaller_than(48).await, json!([]));
    let before = to.stored().await;
    assert!(!before.to_string().contains("tartwright.batch."), "stored before anybody said so: {before}");

    to.tap("[data-test=import-confirm]").await;
    to.until("document.querySelector('[data-test=next-move]')").await;
    ways_out(&to, &batch.data).await;
    assert_eq!(to.value(SHEET).await, from.value(SHEET).await);
    let key = format!("tartwright.batch.{}", batch.data.id);
    assert_eq!(to.stored().await[&key], from.stored().await[&key]);

    // Once more: it is here just so.
    to.goto("about:blank").await.unwrap();
    to.open(&address).await;
    to.until_says("[data-test=import-preview]", "is here just so").await;

    // Changed in both places: nothing is overwritten.
    let mut theirs = batch.clone();
    theirs.data.notes = "changed elsewhere".to_owned();
    let other = format!("{page}#/open/{}", link::write(&theirs, link::Part::Whole).unwrap());
    to.goto("about:blank").await.unwrap();
    to.open(&other).await;
    to.until_says("[data-test=import-preview]", "changed in both places").await;
    to.tap("[data-test=import-confirm]").await;
    to.until("!document.querySelector('[data-test=import-preview]')").await;
    assert_eq!(to.stored().await[&key], from.stored().await[&key]);
    let stored = to.stored().await;
    assert!(stored.to_string().contains("changed elsewhere"), "{stored}");

    // Cut on its way: refused, with the reason.
    to.goto("about:blank").await.unwrap();
    to.open(&address[..address.len() - 9]).await;
    to.until_says("[data-test=import-refused]", "The end of the link is missing").await;
    assert_eq!(to.stored().await, stored);
    to.assert_quiet(from.url()).await;
}

#[tokio::test]
async fn the_recipe_goes_alone_and_bringing_it_in_can_be_undone() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    with(&brewer, &finished_batch()).await;
    brewer.choose("select[name='link-part']", "The recipe only, nothing measured").await;
    brewer.until("document.querySelector('[data-test=link-text]').value.length < 320").await;
    let address = brewer.held("[data-test=link-text]").await;
    let before = brewer.stored().await;

    brewer.tap("[data-test=back]").await;
    brewer.to_the_book().await;
    brewer.to_the_settings().await;
    brewer.pastes_a_keepsake(&address).await;
    brewer.until_says("[data-test=import-preview]", "is added").await;
    brewer.tap("[data-test=import-confirm]").await;
    brewer.until("!document.querySelector('[data-test=import-preview]')").await;
    assert_ne!(brewer.stored().await, before);
    brewer.tap_words(".toast", "Undo").await;
    brewer.to_the_book().await;
    assert_eq!(brewer.value("document.querySelectorAll('main a.open').length").await, json!(1));
}

#[tokio::test]
async fn the_sheet_prints_on_one_page() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.opens_the_example().await;
    brewer.until_saved().await;
    brewer.tap("[data-test=out]").await;
    brewer.until("document.querySelector('[data-test=sheet]')").await;
    for size in [A4, LETTER] {
        assert_eq!(pages(&brewer, size).await, json!(1), "the example on {size:?}");
    }
    for envelope in [finished_batch(), Envelope::new(watched_souring())] {
        let brewer = Brewer::arrives(&host.url()).await;
        with(&brewer, &envelope).await;
        for size in [A4, LETTER] {
            assert_eq!(pages(&brewer, size).await, json!(1), "{} on {size:?}", envelope.data.name);
        }
        // Three columns hold all of it: nothing sticks out and nothing of the controls is printed.
        brewer.cdp("Emulation.setEmulatedMedia", json!({ "media": "print" })).await;
        let seen = "[...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() && !e.closest('[data-test=sheet]')).length";
        assert_eq!(brewer.value(seen).await, json!(0));
    }
}
