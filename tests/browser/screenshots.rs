//! The README's pictures. Taken by `cargo xtask screenshots`.

use std::env;
use std::path::PathBuf;

use crate::page::{Brewer, host};
use serde_json::json;

/// The example on its brew day, up to the evening it sours.
async fn to_the_mash(brewer: &Brewer) {
    brewer.opens_the_example().await;
    brewer.done("Salts are in the water").await;
    brewer.done("Grain is in").await;
    brewer.wait_hours(0.25).await;
    brewer.reads("mash_ph", "5.58").await;
    brewer.until_says(".next .says", "Stir in").await;
}

async fn to_the_souring(brewer: &Brewer) {
    brewer.notes("mash", "mash_acid_l", "3", 0.0).await;
    brewer.wait_hours(0.25).await;
    brewer.reads("mash_ph", "5.42").await;
    brewer.done("Mash pH is settled").await;
    brewer.wait_hours(0.75).await;
    brewer.done("Mash-out done").await;
    brewer.reads("pre_boil_volume_l", "21.8").await;
    brewer.reads("pre_boil_gravity_plato", "10.5").await;
    brewer.done("Sanitising boil done").await;
    brewer.done("Unsoured wort set aside").await;
    brewer.done("Cooled to souring temperature").await;
    brewer.reads("wort_ph", "5.32").await;
    brewer.wait_hours(0.1).await;
    brewer.notes("acid_drop", "drop_acid_l", "9", 0.0).await;
    brewer.wait_hours(0.1).await;
    brewer.reads("wort_ph", "4.52").await;
    brewer.done("pH is where the bacteria want it").await;
    brewer.done("Bacteria pitched").await;
    brewer.wait_hours(10.0).await;
    brewer.reads("sour_ph", "4.35").await;
    brewer.wait_hours(9.0).await;
    brewer.reads("sour_ph", "3.77").await;
    brewer.fold_all_stages().await;
}

/// The top of an element at the top of the screen.
async fn look_at(brewer: &Brewer, css: &str) {
    let quoted = json!(css);
    brewer.until(&format!("document.querySelector({quoted})")).await;
    brewer
        .value(&format!(
            "(document.activeElement.blur(), \
             document.querySelector({quoted}).scrollIntoView({{ block: 'start', behavior: 'instant' }}))"
        ))
        .await;
}

async fn to_the_top(brewer: &Brewer) {
    brewer.value("(document.activeElement.blur(), scrollTo({ top: 0, behavior: 'instant' }))").await;
}

#[tokio::test]
#[ignore = "takes the README's pictures; run by cargo xtask screenshots"]
async fn readme() {
    let folder = env::var_os("TARTWRIGHT_PICTURES").map_or_else(env::temp_dir, PathBuf::from);
    let to = |name: &str| folder.join(format!("{name}.png"));
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    // The flash under a finger is no part of the picture.
    let no_flash = "document.documentElement.style.webkitTapHighlightColor = 'transparent'";
    brewer.value(no_flash).await;
    to_the_mash(&brewer).await;
    brewer.until_saved().await;
    to_the_top(&brewer).await;
    brewer.picture(&to("next-move")).await;
    for theme in ["sun", "dark"] {
        brewer.value(&format!("document.documentElement.dataset.theme = '{theme}'")).await;
        brewer.picture(&to(&format!("next-move-{theme}"))).await;
    }
    brewer.value("document.documentElement.dataset.theme = 'device'").await;
    brewer.open_stage("mash").await;
    look_at(&brewer, "[data-stage=mash] [data-figure=strike]").await;
    brewer.picture(&to("mash")).await;
    brewer.tap("[data-stage=mash] .stage-line").await;

    to_the_souring(&brewer).await;
    brewer.open_stage("souring").await;
    look_at(&brewer, "[data-stage=souring] .picture").await;
    brewer.picture(&to("souring")).await;
    brewer.fold_all_stages().await;
    brewer.open_stage("fruit").await;
    look_at(&brewer, "[data-stage=fruit] .picture").await;
    brewer.picture(&to("fruit")).await;
    brewer.fold_all_stages().await;
    brewer.until_saved().await;
    let brewed = brewer.stored().await;

    brewer.to_the_book().await;
    brewer.until("document.querySelector('[data-test=batch]')").await;
    to_the_top(&brewer).await;
    brewer.picture(&to("batch-book")).await;
    let later = brewer.value("sessionStorage.getItem('test.later-ms')").await;
    drop(brewer);

    // The same batch at a desk.
    let brewer = Brewer::at_a_desk(&host.url()).await;
    brewer
        .value(&format!(
            "(Object.entries({brewed}).forEach(([key, text]) => localStorage.setItem(key, text)), \
             sessionStorage.setItem('test.later-ms', {later}))"
        ))
        .await;
    brewer.reload().await;
    brewer.tap("[data-test=batch] a.open").await;
    brewer.open_stage("souring").await;
    to_the_top(&brewer).await;
    brewer.picture(&to("desktop")).await;
}
