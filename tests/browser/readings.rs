//! Readings: two taps each, what they change is said, mistakes are guessed at, and nothing typed is lost.

use crate::page::{Brewer, host};
use serde_json::json;

/// Begins to count taps.
async fn count_taps(brewer: &Brewer) {
    brewer
        .value(
            "(globalThis.taps ??= (addEventListener('pointerdown', () => globalThis.taps.count += 1, true), { count: 0 }),
              globalThis.taps.count = 0)",
        )
        .await;
}

async fn taps(brewer: &Brewer) -> u64 {
    brewer.value("globalThis.taps.count").await.as_u64().unwrap()
}

/// Notes a reading at its stage, and leaves the message that follows.
async fn note_on(brewer: &Brewer, stage: &str, kind: &str, value: &str) {
    brewer.open_stage(stage).await;
    brewer.tap(&format!("[data-reading={kind}] [data-test=add-reading]")).await;
    brewer.write(&format!("[data-reading={kind}] input[name='reading.{kind}']"), value).await;
    brewer.tap(&format!("[data-reading={kind}] [data-test=save-reading]")).await;
}

/// Types where the focus is, as a phone's keypad does.
async fn type_on(brewer: &Brewer, text: &str) {
    brewer.until("document.activeElement?.tagName === 'INPUT'").await;
    brewer.active_element().await.unwrap().send_keys(text).await.unwrap();
}

async fn until_focus_is_on(brewer: &Brewer, css: &str) {
    brewer.until(&format!("document.activeElement?.matches({})", json!(css))).await;
}

async fn until_row(brewer: &Brewer, kind: &str, words: &str) {
    brewer.until_says(&format!("[data-reading={kind}] .ledger .line"), words).await;
}

async fn at_the_mash(url: &str) -> Brewer {
    let brewer = Brewer::arrives(url).await;
    brewer.opens_the_example().await;
    brewer.done("Salts are in the water").await;
    brewer.done("Grain is in").await;
    brewer.close_message().await;
    brewer.wait_hours(0.25).await;
    brewer
}

#[tokio::test]
async fn a_reading_takes_two_taps_and_tells_what_it_changed() {
    let host = host();
    let brewer = at_the_mash(&host.url()).await;

    // From the next move.
    count_taps(&brewer).await;
    brewer.tap("[data-test=next-move] input[name='next.mash_ph']").await;
    type_on(&brewer, "5.75").await;
    brewer.tap("[data-test=next-move] [data-test=save-reading]").await;
    brewer.until_says(".toasts[role=status] .toast", "Reading saved").await;
    assert_eq!(taps(&brewer).await, 2);
    let told = brewer.words(".toast").await;
    assert!(told.contains("Stir in") && told.contains("was") && told.contains("now"), "{told}");
    until_focus_is_on(&brewer, "#next").await;
    brewer.close_message().await;

    // From anywhere, with the thumb: the wanted kind comes first.
    brewer.wait_hours(0.3).await;
    brewer.value("scrollTo(0, document.body.scrollHeight)").await;
    brewer.tap("[data-test=quick]").await;
    until_focus_is_on(&brewer, ".sheet .choice").await;
    assert_eq!(brewer.words(".sheet .choice").await, "Mash pH");
    let kinds = brewer.words(".sheet").await;
    assert!(kinds.contains("Gravity before the boil") && !kinds.contains("Beer pH"), "{kinds}");
    brewer.tap(".sheet .choice").await;
    type_on(&brewer, "5,48").await;
    brewer.tap_words(".sheet", "Earlier, temperature or note").await;
    brewer.tap_words(".sheet", "10 min ago").await;
    brewer.write(".sheet input[name='quick.mash_ph.note']", "stirred").await;
    brewer.write(".sheet input[name='quick.mash_ph.temperature']", "21").await;
    brewer.tap(".sheet [data-test=save-reading]").await;
    brewer.until_says(".toast", "Reading saved").await;
    until_focus_is_on(&brewer, "[data-test=quick]").await;
    brewer.close_message().await;
    brewer.open_stage("mash").await;
    until_row(&brewer, "mash_ph", "5.48 pH at 21.0 °C").await;
    until_row(&brewer, "mash_ph", "stirred").await;

    // Who noted the temperature once is asked for it at once.
    brewer.until("document.querySelector(\"input[name='next.mash_ph.temperature']\")").await;

    // From a stage: the first tap opens the form with the cursor in its field.
    brewer.open_stage("first_boil").await;
    let here = "[data-reading=pre_boil_volume_l]";
    count_taps(&brewer).await;
    brewer.tap(&format!("{here} [data-test=add-reading]")).await;
    until_focus_is_on(&brewer, &format!("{here} input")).await;
    type_on(&brewer, "24").await;
    brewer.tap(&format!("{here} [data-test=save-reading]")).await;
    brewer.until_says(".toast", "Reading saved").await;
    assert_eq!(taps(&brewer).await, 2);
    until_focus_is_on(&brewer, &format!("{here} [data-test=add-reading]")).await;
    until_row(&brewer, "pre_boil_volume_l", "24.0 L").await;
    brewer.close_message().await;

    assert_eq!(brewer.smaller_than(48).await, json!([]));
    assert_eq!(brewer.sticking_out().await, json!([]));
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn a_reading_is_changed_and_deleted_and_both_are_undone() {
    let host = host();
    let brewer = at_the_mash(&host.url()).await;
    brewer.reads("mash_ph", "5.60").await;
    brewer.wait_hours(0.2).await;
    brewer.reads("mash_ph", "5.50").await;
    brewer.open_stage("mash").await;
    let row = "[data-reading=mash_ph] [data-place='0']";
    let line = format!("{row} .line");
    brewer.until_says(&line, "5.60").await;
    brewer.tap(&line).await;
    let typed = format!("{row} input[name='edit.mash_ph']");
    assert_eq!(brewer.held(&typed).await, "5.6");
    brewer
        .until(&format!(
            "document.querySelector({}).innerText.trim() !== ''",
            json!(format!("{row} .details"))
        ))
        .await;
    brewer.write(&typed, "5.65").await;
    brewer.tap(&format!("{row} [data-test=save-reading]")).await;
    brewer.until_says(&line, "5.65").await;
    until_focus_is_on(&brewer, &line).await;
    assert_eq!(brewer.words("[data-reading=mash_ph] .ledger").await.matches("Mash pH").count(), 2);
    brewer.tap_words(".toast", "Undo").await;
    brewer.until_says(&line, "5.60").await;

    // A time to come is said, and kept.
    brewer.tap(&line).await;
    brewer.set_time(&format!("{row} input[type=datetime-local]"), -3.0).await;
    brewer.tap(&format!("{row} [data-test=save-reading]")).await;
    brewer.until_says(".toast", "The time is still to come.").await;
    let moved = "[data-reading=mash_ph] [data-place='1'] .line";
    brewer.until_says(moved, "5.60").await;
    until_focus_is_on(&brewer, moved).await;
    brewer.tap_words(".toast", "Undo").await;
    brewer.until_says(&line, "5.60").await;

    // Deleted in the list of all, and undone.
    brewer.tap_words("[data-test=all-readings]", "All readings").await;
    let all = "[data-test=all-readings] [data-place='1']";
    brewer.tap(&format!("{all} .line")).await;
    brewer.tap(&format!("{all} [data-test=delete-reading]")).await;
    brewer.until_says(".toast", "Reading deleted").await;
    brewer.until(&format!("!document.querySelector({})", json!(all))).await;
    until_focus_is_on(&brewer, "[data-test=all-readings] summary").await;
    brewer.tap_words(".toast", "Undo").await;
    brewer.until_says(&format!("{all} .line"), "5.50").await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn a_mistake_is_guessed_at_and_what_was_typed_stays() {
    let host = host();
    let brewer = at_the_mash(&host.url()).await;

    // Refused, with a guess: nothing half typed is saved.
    let ph = "[data-test=next-move] input[name='next.mash_ph']";
    brewer.write(ph, "538").await;
    brewer.until_says(".next .wrong .note", "Was 5.38 pH meant?").await;
    brewer.tap("[data-test=next-move] [data-test=save-reading]").await;
    brewer.until_says(".toast", "Not saved: mend the value first").await;
    brewer.close_message().await;
    assert_eq!(brewer.held(ph).await, "538");
    brewer.tap("[data-test=next-move] [data-test=take]").await;
    assert_eq!(brewer.held(ph).await, "5.38");
    until_focus_is_on(&brewer, ph).await;
    brewer.tap("[data-test=next-move] [data-test=save-reading]").await;
    brewer.until_says(".toast", "Reading saved").await;
    brewer.close_message().await;
    brewer.open_stage("mash").await;
    until_row(&brewer, "mash_ph", "5.38 pH").await;

    // In range, and odd: kept as typed.
    note_on(&brewer, "first_boil", "pre_boil_gravity_plato", "1,045").await;
    brewer.until_says(".toast", "looks like a specific gravity").await;
    until_row(&brewer, "pre_boil_gravity_plato", "1.0 °P").await;
    brewer.tap("[data-test=keep-typed]").await;
    brewer.until("!document.querySelector('.toast')").await;
    until_row(&brewer, "pre_boil_gravity_plato", "1.0 °P").await;

    // The doubt waits at the reading, where the offer can still be taken.
    let row = "[data-reading=pre_boil_gravity_plato] li";
    brewer.tap(&format!("{row} .line")).await;
    brewer.until_says(&format!("{row} .odd"), "looks like a specific gravity").await;
    brewer.tap(&format!("{row} [data-test=take-meant]")).await;
    until_row(&brewer, "pre_boil_gravity_plato", "11.2 °P").await;
    brewer.close_message().await;

    // Gallons typed as litres, the offer taken from the message.
    note_on(&brewer, "first_boil", "pre_boil_volume_l", "6.2").await;
    brewer.until_says(".toast", "is far from the").await;
    brewer.tap("[data-test=take-meant]").await;
    until_row(&brewer, "pre_boil_volume_l", "23.5 L").await;
    brewer.close_message().await;
    brewer.until_saved().await;
    brewer.reload().await;
    brewer.open_stage("first_boil").await;
    until_row(&brewer, "pre_boil_volume_l", "23.5 L").await;
    until_row(&brewer, "pre_boil_gravity_plato", "11.2 °P").await;

    // Any other field guesses too.
    brewer.fill("mash", "mash_temperature_c", "150").await;
    brewer.until_says("[data-stage=mash] .wrong .note", "meant?").await;
    brewer.tap("[data-stage=mash] .wrong [data-test=take]").await;
    brewer.until("!document.querySelector('[data-stage=mash] .wrong')").await;
    brewer.assert_quiet(brewer.url()).await;
}
