//! Everything fits every screen, and a wet thumb hits what it aims at.

use crate::page::{Brewer, host};
use serde_json::json;

/// Pixels of a target that a wet thumb hits.
const THUMB: u32 = 48;

async fn assert_fits(brewer: &Brewer, screen: &str) {
    for width in [360, 390, 768, 1280] {
        brewer.be_wide(width).await;
        assert_eq!(brewer.sticking_out().await, json!([]), "{screen}, {width} px wide: sticks out");
        assert_eq!(
            brewer.smaller_than(THUMB).await,
            json!([]),
            "{screen}, {width} px wide: too small to hit"
        );
    }
    brewer.be_wide(390).await;
}

#[tokio::test]
async fn every_screen_fits_and_can_be_hit() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    assert_fits(&brewer, "welcome").await;
    brewer.opens_the_example().await;
    assert_fits(&brewer, "folded batch").await;
    brewer.notes("ferment", "gravity_plato", "4.2", 0.0).await;
    brewer.open_everything().await;
    assert_fits(&brewer, "batch with everything open").await;
    brewer.to_the_book().await;
    brewer.tap("[data-test=batch] .menu summary").await;
    assert_fits(&brewer, "book").await;
    brewer.to_the_settings().await;
    brewer.value("document.querySelectorAll('details').forEach((fold) => fold.open = true)").await;
    brewer.tap("[data-test=export]").await;
    assert_fits(&brewer, "settings").await;
    brewer.assert_quiet(brewer.url()).await;
}
