//! A batch from the first visit to the package, as one person brews it with one thumb.

use crate::page::{Brewer, first_number, host};
use serde_json::json;

/// The water report of an invented town.
const REPORT: [(&str, &str); 6] = [
    ("water0.calcium_mg_per_l", "18"),
    ("water0.magnesium_mg_per_l", "3"),
    ("water0.sodium_mg_per_l", "9"),
    ("water0.chloride_mg_per_l", "12,5"),
    ("water0.sulfate_mg_per_l", "14"),
    ("water0.alkalinity_meq_per_l", "44"),
];

async fn plans(brewer: &Brewer) {
    brewer.begins().await;
    assert!(brewer.says().await.contains("add the malts"), "{}", brewer.says().await);
    brewer.fill("aim", "batch_volume_l", "18").await;
    brewer.fill("aim", "wanted_gravity_plato", "11.5").await;
    for (name, value) in REPORT {
        brewer.fill("water", name, value).await;
    }

    brewer.open_stage("grist").await;
    for (place, share) in ["60", "40"].into_iter().enumerate() {
        brewer.tap("[data-test=add-malt]").await;
        brewer.fill("grist", &format!("malt{place}.share"), share).await;
    }
    let malt = brewer.number("grist", "grist_mass").await;
    assert!((2.5..6.0).contains(&malt), "malt for 18 L of 11.5 °P: {malt} kg");
}

async fn mashes(brewer: &Brewer) {
    brewer.until_says("[data-test=next-move]", "weigh in the salts").await;
    let salts = brewer.words("[data-test=weigh]").await;
    let weights: Vec<f64> =
        salts.lines().filter(|line| line.ends_with(" g")).filter_map(first_number).collect();
    assert!(!weights.is_empty() && weights.iter().all(|weight| *weight > 0.0), "salts to weigh: {salts}");
    brewer.done("Salts are in the water").await;
    brewer.done("Grain is in").await;

    brewer.wait_hours(0.25).await;
    brewer.reads("mash_ph", "5.60").await;
    brewer.until_says(".next .says", "Stir in").await;
    let acid = first_number(&brewer.says().await).unwrap();
    assert!(acid > 0.0, "{}", brewer.says().await);
    brewer.wait_hours(0.25).await;
    brewer.reads("mash_ph", "5.42").await;
    brewer.until_says(".next .says", "Close enough: leave it").await;
    brewer.done("Mash pH is settled").await;
    brewer.done("Mash-out done").await;
}

async fn boils_and_drops(brewer: &Brewer) {
    brewer.reads("pre_boil_volume_l", "21.6").await;
    brewer.reads("pre_boil_gravity_plato", "10.4").await;
    assert_eq!(first_number(&brewer.figure("first_boil", "pre_boil_volume").await), Some(21.6));
    brewer.done("Sanitising boil done").await;
    brewer.done("Unsoured wort set aside").await;
    brewer.done("Cooled to souring temperature").await;

    brewer.reads("wort_ph", "5.35").await;
    brewer.until_says(".next .says", "Pour").await;
    let first = first_number(&brewer.says().await).unwrap();
    brewer.wait_hours(0.1).await;
    brewer.notes("acid_drop", "drop_acid_l", &format!("{first}"), 0.0).await;
    brewer.until_says(".next .says", "Stir for five minutes").await;
    brewer.wait_hours(0.1).await;
    brewer.reads("wort_ph", "4.80").await;
    brewer.until_says(".next .says", "Pour").await;
    let second = first_number(&brewer.says().await).unwrap();
    assert!(0.0 < second && second < first, "the dose after {first} mL is {second} mL");
    brewer.wait_hours(0.1).await;
    brewer.notes("acid_drop", "drop_acid_l", &format!("{second}"), 0.0).await;
    brewer.wait_hours(0.1).await;
    brewer.reads("wort_ph", "4.50").await;
    brewer.until_says(".next .says", "Pour no more").await;
    brewer.done("pH is where the bacteria want it").await;
}

async fn sours(brewer: &Brewer) {
    brewer.done("Bacteria pitched").await;
    let forecast =
        |card: String| card.lines().find(|line| line.contains("is expected at")).map(str::to_owned);
    let mut before = forecast(brewer.next().await).unwrap();
    let mut passed = 0.0;
    // What was read an hour ago is typed with its time.
    for (hours, ph) in [(9.0, "4.21"), (19.0, "3.76"), (27.0, "3.52")] {
        brewer.wait_hours(hours - passed + 1.0).await;
        passed = hours + 1.0;
        brewer.notes("souring", "sour_ph", ph, 1.0).await;
        let old = json!(before);
        brewer.until(&format!("!document.querySelector('.next').innerText.includes({old})")).await;
        let after = forecast(brewer.next().await).unwrap();
        assert_ne!(after, before);
        let clock_times = after.matches(':').count();
        assert!(clock_times >= 3, "the time expected, the earliest and the latest: {after}");
        before = after;
    }
    let rows = brewer.words("[data-stage=souring] [data-reading=sour_ph] .ledger").await;
    assert_eq!(rows.matches("pH while souring").count(), 3, "{rows}");
    brewer.wait_hours(6.0).await;
    brewer.reads("sour_ph", "3.38").await;
    brewer.until_says(".next .says", "Sour enough").await;
    brewer.done("Sour enough").await;
}

async fn finishes(brewer: &Brewer) {
    brewer.open_stage("main_boil").await;
    brewer.tap("[data-test=add-hop]").await;
    for (name, value) in [("hop0.mass_g", "12"), ("hop0.alpha", "6"), ("hop0.boil_min", "20")] {
        brewer.fill("main_boil", name, value).await;
    }
    assert!(brewer.number("main_boil", "bitterness").await > 0.0);
    brewer.until_says("[data-test=next-move]", "of hops, boiled for").await;
    brewer.done("Main boil done").await;
    brewer.reads("original_gravity_plato", "11.6").await;
    brewer.reads("fermenter_volume_l", "17.8").await;
    assert_eq!(brewer.number("main_boil", "original_gravity").await, 11.6);
    brewer.done("Chilled and in the fermenter").await;
    brewer.until_says("[data-test=next-move]", "of dry yeast").await;
    brewer.done("Oxygen given, yeast pitched").await;

    brewer.wait_hours(72.0).await;
    brewer.reads("gravity_plato", "4.1").await;
    brewer.done("Past the peak of fermentation").await;

    brewer.open_stage("fruit").await;
    brewer.tap("[data-test=add-fruit]").await;
    brewer.fill("fruit", "fruit0.mass_g", "2.5").await;
    let room = brewer.number("fruit", "room_left").await;
    assert!((5.0..12.0).contains(&room), "30 L less 17.8 L and 2.5 kg of fruit: {room}");
    brewer.until_says("[data-test=next-move]", "Room left then").await;
    brewer.wait_hours(0.5).await;
    brewer.done("Fruit is in").await;

    brewer.wait_hours(150.0).await;
    brewer.reads("gravity_plato", "2.2").await;
    assert!(!brewer.words("[data-test=verdict]").await.contains("Nothing found"));
    brewer.wait_hours(96.0).await;
    brewer.reads("gravity_plato", "2.2").await;
    brewer.done("Gravity is stable").await;

    brewer.open_stage("package").await;
    brewer.until_says("[data-test=verdict]", "Burst check").await;
    brewer.until_says("[data-test=next-move]", "Package and carbonate at").await;
    brewer.until_says("[data-test=next-move]", "Burst check: up to").await;
    brewer.reads("packaged_volume_l", "17.2").await;
    brewer.done("Packaged").await;
    brewer.until_says(".next .says", "This batch is done").await;
}

#[tokio::test]
async fn a_whole_batch_survives_its_host_and_its_browser() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    plans(&brewer).await;
    mashes(&brewer).await;
    boils_and_drops(&brewer).await;
    sours(&brewer).await;
    finishes(&brewer).await;
    brewer.until_saved().await;
    let (typed, stored) = (brewer.snapshot().await, brewer.stored().await);
    assert!(typed.iter().any(|line| line == "water: water0.chloride_mg_per_l=12,5"), "{typed:#?}");
    assert!(!typed.iter().any(|line| line.contains("does not fit")), "{typed:#?}");
    // A comma stays as it was typed until the page is loaded again.
    let shown: Vec<String> = typed.iter().map(|line| line.replace("=12,5", "=12.5")).collect();

    // No network: everything is there.
    brewer.until_offline_ready().await;
    brewer.assert_quiet(brewer.url()).await;
    host.stop();
    brewer.reload().await;
    assert_eq!(brewer.snapshot().await, shown);
    assert_eq!(brewer.stored().await, stored);

    // The file is out of the house.
    brewer.to_the_book().await;
    brewer.until_says("[data-test=batch]", "finished").await;
    brewer.to_the_settings().await;
    brewer.tap("[data-test=export]").await;
    let file = brewer.downloaded().await;
    let text = brewer.held("[data-test=export-text]").await;
    assert_eq!(std::fs::read_to_string(&file).unwrap(), text);
    let address =
        brewer.value("Object.keys(localStorage).find((key) => key.startsWith('tartwright.batch.'))").await;
    let address = address.as_str().unwrap().replace("tartwright.batch.", "#/b/");

    // The browser lost everything.
    brewer.value("localStorage.clear()").await;
    brewer.tap("[data-test=back]").await;
    brewer.reload().await;
    brewer.until("document.querySelector('[data-test=welcome]')").await;
    assert_eq!(brewer.stored().await, json!({}));

    // The file brings it back, and says first what it will do.
    brewer.to_the_settings().await;
    let chooser = brewer.show("[data-test=import-file]").await;
    chooser.send_keys(file.to_string_lossy()).await.unwrap();
    brewer.until_says("[data-test=import-preview]", "is added").await;
    assert_eq!(brewer.stored().await, json!({}), "a look changes nothing");
    brewer.tap("[data-test=import-confirm]").await;
    brewer.until_says(".toast", "1 batch brought in").await;
    brewer.close_message().await;
    brewer.open(&format!("{}{address}", brewer.url())).await;
    assert_eq!(brewer.snapshot().await, shown);
    assert_eq!(brewer.stored().await, stored);

    // The same text pasted finds nothing to do.
    brewer.to_the_book().await;
    brewer.to_the_settings().await;
    brewer.pastes_a_keepsake(&text).await;
    brewer.until_says("[data-test=import-preview]", "is here just so").await;
    brewer.assert_quiet(brewer.url()).await;
}
