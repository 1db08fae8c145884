//! At the kettle: a brew day and four days of souring, cut off in the middle of every stage, worked with a thumb,
//! with keys alone, and by ear.

use crate::page::{Brewer, first_number, host};
use serde_json::{Value, json};
use std::time::Instant;
use thirtyfour::prelude::*;

impl Brewer {
    /// The page goes away in the middle of something and comes back, with no host to ask: all is as it was.
    async fn is_cut_off(&self, during: &str) {
        self.until_saved().await;
        let (before, stored) = (self.next().await, self.stored().await);
        self.reload().await;
        self.until("document.querySelector('[data-test=next-move]')").await;
        assert_eq!(self.next().await, before, "{during}");
        assert_eq!(self.stored().await, stored, "{during}");
    }

    /// A finger on the glass, and nothing that hovers.
    async fn thumb(&self, css: &str) {
        self.show(css).await;
        let at = self
            .value(&format!(
                "(() => {{
                    const box = document.querySelector({css}).getBoundingClientRect();
                    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
                    return {{ x, y, hit: Boolean(document.elementFromPoint(x, y)?.closest({css})) }};
                }})()",
                css = json!(css)
            ))
            .await;
        assert_eq!(at["hit"], json!(true), "something lies on top of {css}");
        let point = json!([{ "x": at["x"], "y": at["y"] }]);
        self.cdp("Input.dispatchTouchEvent", json!({ "type": "touchStart", "touchPoints": point })).await;
        self.cdp("Input.dispatchTouchEvent", json!({ "type": "touchEnd", "touchPoints": [] })).await;
    }

    /// Presses a key where the focus is.
    async fn press(&self, key: Key) {
        self.action_chain().send_keys(key).perform().await.unwrap();
    }

    /// Goes on by the Tab key until the focus is on what matches.
    async fn tab_to(&self, css: &str) {
        let there = format!("Boolean(document.activeElement?.matches({}))", json!(css));
        for _ in 0..200 {
            if self.value(&there).await == json!(true) {
                let seen = "getComputedStyle(document.activeElement).outlineStyle !== 'none' || \
                            getComputedStyle(document.activeElement.closest('.entry') ?? document.body).outlineStyle !== 'none'";
                assert_eq!(self.value(seen).await, json!(true), "{css}: the focus can be seen");
                return;
            }
            self.press(Key::Tab).await;
        }
        panic!("no way to {css} with the Tab key");
    }

    /// Ticks the next move with keys alone; the focus stays near.
    async fn key_done(&self, words: &str) {
        self.until_says("[data-test=done]", words).await;
        self.tab_to("[data-test=done]").await;
        self.press(Key::Enter).await;
        self.until(&format!(
            "!document.querySelector('[data-test=done]')?.innerText.includes({})",
            json!(words)
        ))
        .await;
        let near = "document.activeElement?.closest('[data-test=next-move]') !== null";
        assert_eq!(self.value(near).await, json!(true), "after “{words}” the focus is lost");
    }

    /// Reads with keys alone.
    async fn key_reads(&self, kind: &str, value: &str) {
        self.tab_to(&format!("input[name='next.{kind}']")).await;
        self.action_chain().send_keys(value).perform().await.unwrap();
        self.tab_to("[data-test=next-move] [data-test=save-reading]").await;
        self.press(Key::Enter).await;
        self.until_says(".toast", "Reading saved").await;
    }

    /// What a screen reader is told of everything that can be used: role and name.
    async fn by_ear(&self) -> Vec<(String, String)> {
        let tree = self.cdp("Accessibility.getFullAXTree", json!({})).await;
        let nodes = tree["nodes"].as_array().cloned().unwrap_or_default();
        let told =
            |node: &Value, what: &str| node[what]["value"].as_str().unwrap_or_default().trim().to_owned();
        let used = [
            "button",
            "link",
            "textbox",
            "spinbutton",
            "combobox",
            "checkbox",
            "radio",
            "image",
            "DisclosureTriangle",
        ];
        nodes
            .iter()
            .filter(|node| node["ignored"] != json!(true))
            .map(|node| (told(node, "role"), told(node, "name")))
            .filter(|(role, _)| used.contains(&role.as_str()))
            .collect()
    }
}

/// From the strike water to the bacteria, and the page cut off in the middle of each stage.
async fn brews(brewer: &Brewer) {
    brewer.is_cut_off("before the salts").await;
    brewer.done("Salts are in the water").await;
    brewer.is_cut_off("water").await;
    brewer.done("Grain is in").await;
    brewer.wait_hours(0.25).await;
    brewer.reads("mash_ph", "5.60").await;
    brewer.is_cut_off("mash").await;
    brewer.until_says(".next .says", "Stir in").await;
    let acid = first_number(&brewer.says().await).unwrap();
    brewer.notes("mash", "mash_acid_l", &format!("{acid}"), 0.0).await;
    brewer.wait_hours(0.2).await;
    brewer.reads("mash_ph", "5.42").await;
    brewer.done("Mash pH is settled").await;
    brewer.wait_hours(0.8).await;
    brewer.done("Mash-out done").await;
    brewer.reads("pre_boil_volume_l", "21.8").await;
    brewer.is_cut_off("sanitising boil").await;
    brewer.reads("pre_boil_gravity_plato", "10.6").await;
    brewer.wait_hours(0.9).await;
    brewer.done("Sanitising boil done").await;
    brewer.done("Unsoured wort set aside").await;
    brewer.wait_hours(0.5).await;
    brewer.done("Cooled to souring temperature").await;
    brewer.reads("wort_ph", "5.35").await;
    brewer.until_says(".next .says", "Pour").await;
    let dose = first_number(&brewer.says().await).unwrap();
    brewer.notes("acid_drop", "drop_acid_l", &format!("{dose}"), 0.0).await;
    brewer.is_cut_off("acid drop").await;
    brewer.wait_hours(0.1).await;
    brewer.reads("wort_ph", "4.52").await;
    brewer.done("pH is where the bacteria want it").await;
    brewer.done("Bacteria pitched").await;
}

/// Four days: three readings a day, and two days in a row on which nobody opened the page.
async fn sours(brewer: &Brewer) {
    for (hours, ph) in [(10.0, "4.41"), (8.0, "4.23"), (6.0, "4.10")] {
        brewer.wait_hours(hours).await;
        brewer.until_says("[data-test=next-move]", "pH").await;
        brewer.reads("sour_ph", ph).await;
        brewer.is_cut_off("souring").await;
    }
    brewer.wait_hours(48.0).await;
    brewer.reload().await;
    brewer.until_says(".next .says", "Read the pH now").await;
    brewer.reads("sour_ph", "3.61").await;
    brewer.until_says(".next .says", "Wait").await;
    brewer.wait_hours(48.0).await;
    brewer.reload().await;
    brewer.until_says(".next .says", "Read the pH now").await;
    brewer.reads("sour_ph", "3.39").await;
    brewer.until_says(".next .says", "Sour enough").await;
    brewer.done("Sour enough").await;
}

async fn ferments(brewer: &Brewer) {
    brewer.is_cut_off("main boil").await;
    brewer.wait_hours(1.5).await;
    brewer.done("Main boil done").await;
    brewer.reads("original_gravity_plato", "11.6").await;
    brewer.is_cut_off("chilling").await;
    brewer.reads("fermenter_volume_l", "17.8").await;
    brewer.done("Chilled and in the fermenter").await;
    brewer.done("Oxygen given, yeast pitched").await;
    brewer.wait_hours(72.0).await;
    brewer.reads("gravity_plato", "4.1").await;
    brewer.is_cut_off("fermentation").await;
    brewer.done("Past the peak of fermentation").await;
    brewer.is_cut_off("fruit").await;
    brewer.done("Fruit is in").await;
    brewer.wait_hours(150.0).await;
    brewer.reads("gravity_plato", "2.4").await;
    brewer.wait_hours(96.0).await;
    brewer.reads("gravity_plato", "2.4").await;
    brewer.done("Gravity is stable").await;
    brewer.is_cut_off("package").await;
    brewer.reads("packaged_volume_l", "17.2").await;
    brewer.done("Packaged").await;
    brewer.until_says(".next .says", "This batch is done").await;
}

#[tokio::test]
async fn the_day_goes_on_wherever_it_is_cut_off() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.opens_the_example().await;
    brewer.until_offline_ready().await;
    brewer.until_saved().await;
    brewer.assert_quiet(brewer.url()).await;
    // From here on there is no network at all.
    host.stop();
    brews(&brewer).await;
    sours(&brewer).await;
    ferments(&brewer).await;
}

#[tokio::test]
async fn a_thumb_is_enough() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    assert_eq!(brewer.value("matchMedia('(hover: none)').matches").await, json!(true), "a screen to touch");
    brewer.thumb("[data-test=demo]").await;
    brewer.until_says("[data-test=done]", "Salts are in the water").await;
    for words in ["Salts are in the water", "Grain is in"] {
        brewer.until_says("[data-test=done]", words).await;
        brewer.thumb("[data-test=done]").await;
    }
    let field = "[data-test=next-move] input[name='next.mash_ph']";
    brewer.until(&format!("document.querySelector({})", json!(field))).await;
    brewer.thumb(field).await;
    brewer.until(&format!("document.activeElement === document.querySelector({})", json!(field))).await;
    brewer.cdp("Input.insertText", json!({ "text": "5.42" })).await;
    brewer.thumb("[data-test=next-move] [data-test=save-reading]").await;
    brewer.until_says(".toast", "Reading saved").await;
    brewer.thumb(".toast [aria-label='Close this message']").await;
    brewer.thumb("[data-stage=mash] .stage-line").await;
    brewer.until("document.querySelector('[data-stage=mash] .figure')").await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn keys_are_enough() {
    let host = host();
    let brewer = Brewer::at_a_desk(&host.url()).await;
    brewer.tab_to("[data-test=demo]").await;
    brewer.press(Key::Enter).await;
    brewer.until("document.querySelector('[data-test=next-move]')").await;
    brewer.key_done("Salts are in the water").await;
    brewer.tab_to(".toast button").await;
    brewer.press(Key::Enter).await;
    let kept = "document.activeElement?.closest('main') !== null";
    assert_eq!(brewer.value(kept).await, json!(true), "after taking back, the focus is lost");
    brewer.key_done("Salts are in the water").await;
    brewer.key_done("Grain is in").await;
    brewer.key_reads("mash_ph", "5.58").await;
    brewer.tab_to("[data-stage=mash] .stage-line").await;
    brewer.press(Key::Enter).await;
    brewer.tab_to("[data-stage=mash] input[name='mash_temperature_c']").await;
    brewer.action_chain().send_keys("67").perform().await.unwrap();
    brewer.press(Key::Tab).await;
    brewer.until_saved().await;
    brewer.tab_to("[data-stage=mash] [data-figure=mash_ph] .line").await;
    brewer.press(Key::Enter).await;
    brewer.until("document.querySelector('[data-stage=mash] .why')").await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn everything_has_a_name_to_be_heard() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    let nameless = |used: Vec<(String, String)>| -> Vec<String> {
        used.into_iter().filter(|(_, name)| name.is_empty()).map(|(role, _)| role).collect()
    };
    assert_eq!(nameless(brewer.by_ear().await), Vec::<String>::new(), "welcome");
    brewer.opens_the_example().await;
    brewer.open_everything().await;
    let used = brewer.by_ear().await;
    assert!(used.len() > 200, "only {} things to use were found", used.len());
    assert_eq!(nameless(used), Vec::<String>::new(), "a batch with everything open");
    brewer.to_the_book().await;
    assert_eq!(nameless(brewer.by_ear().await), Vec::<String>::new(), "the batch book");
    brewer.to_the_settings().await;
    assert_eq!(nameless(brewer.by_ear().await), Vec::<String>::new(), "the settings");
}

/// Taps and time from the address to the first amount that is of use.
async fn walk(brewer: &Brewer, taps: &[&str], amount: &str) -> (usize, f64) {
    let begun = Instant::now();
    brewer.open(brewer.url()).await;
    for tap in taps {
        brewer.tap(tap).await;
    }
    brewer.until_says("[data-test=next-move]", amount).await;
    assert!(first_number(&brewer.next().await).is_some());
    (taps.len(), begun.elapsed().as_secs_f64())
}

#[tokio::test]
async fn the_first_amount_is_a_few_taps_away() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    let own = ["[data-test=new-batch]", "[data-test=offer]", "[data-test=offer]"];
    let (own_taps, own_time) = walk(&brewer, &own, "weigh in the salts").await;
    brewer.value("localStorage.clear()").await;
    let brewer = Brewer::arrives(&host.url()).await;
    let (demo_taps, demo_time) = walk(&brewer, &["[data-test=demo]"], "weigh in the salts").await;
    println!(
        "a batch of one's own: {own_taps} taps, {own_time:.2} s; the example: {demo_taps}, {demo_time:.2} s"
    );
    assert!(own_time < 20.0 && demo_time < 20.0);
}
