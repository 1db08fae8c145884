//! The second batch: brewed again for another size, side by side with the first, tasted, and found in a long book.

use crate::page::{Brewer, field, host};
use serde_json::{Value, json};

const THUMB: u32 = 48;

async fn fits(brewer: &Brewer, screen: &str) {
    assert_eq!(brewer.smaller_than(THUMB).await, json!([]), "{screen}: too small to hit");
    let wide =
        brewer.value("document.documentElement.scrollWidth > document.documentElement.clientWidth").await;
    assert_eq!(wide, json!(false), "{screen}: the page itself rolls to the side");
}

async fn count(brewer: &Brewer, css: &str) -> u64 {
    brewer.value(&format!("document.querySelectorAll({}).length", json!(css))).await.as_u64().unwrap()
}

#[tokio::test]
async fn a_batch_is_tasted_brewed_again_larger_with_one_change_and_compared() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.opens_the_example().await;

    // Tasted with a thumb: five buttons to a scale, a second tap takes the mark back.
    brewer.tap("[data-test=add-tasting]").await;
    let mark = |scale: &str, mark: u8| format!("[data-scale={scale}] .marks button:nth-child({mark})");
    for (scale, at) in [("sourness", 3), ("body", 2), ("fruitiness", 4), ("cleanness", 4)] {
        brewer.tap(&mark(scale, at)).await;
        brewer
            .until(&format!("document.querySelector({}).ariaPressed === 'true'", json!(mark(scale, at))))
            .await;
    }
    brewer.tap(&mark("sourness", 3)).await;
    brewer.until("document.querySelector('[data-scale=sourness] [aria-pressed=true]') === null").await;
    brewer.write("[data-test=tasting] input[type=text]", "Thin, but clean").await;
    fits(&brewer, "tasting").await;
    brewer.until_saved().await;

    // Deleted by a slip, and back.
    brewer.tap("[data-test=delete-tasting]").await;
    brewer.until("!document.querySelector('[data-test=tasting]')").await;
    assert_eq!(brewer.value("document.activeElement.dataset.test").await, json!("add-tasting"));
    brewer.tap_words(".toast", "Undo").await;
    brewer.until("document.querySelector('[data-test=tasting]')").await;
    assert_eq!(brewer.held("[data-test=tasting] input[type=text]").await, "Thin, but clean");

    // The tasting points to more body; the form opens with that wish.
    brewer.tap_words("[data-test=tastings]", "More body · your tasting").await;
    brewer.until_says("h1", "Brew again: Cherry and apricot").await;
    brewer.until_says("[data-test=change]", "Mash temperature: 66.0 °C to 68.0 °C").await;
    brewer.until_says("[data-test=change]", "Final gravity, before fruit:").await;
    brewer.until_says("[data-test=change]", "likely").await;
    brewer.until_says("[data-test=change]", "can't predict").await;
    brewer.write("input[name='again.volume']", "24").await;
    brewer.until_says("[data-test=again-says]", "For 24.0 L in place of 18.0 L").await;
    brewer.until_says("[data-test=again-says]", "Water in all:").await;
    fits(&brewer, "the form").await;

    // Taken, taken back, taken.
    brewer.tap("[data-test=take]").await;
    brewer.until("document.querySelector('[data-test=taken]')").await;
    brewer.tap_words(".toast", "Undo").await;
    brewer.until("document.querySelector('[data-test=take]')").await;
    brewer.tap("[data-test=take]").await;
    brewer.until("document.querySelector('[data-test=taken]')").await;
    brewer.close_message().await;
    brewer.tap("[data-test=begin-again]").await;
    brewer.until("document.querySelector('input.name')?.value === 'Cherry and apricot, again'").await;
    brewer.open_stage("mash").await;
    assert_eq!(brewer.held(&field("mash", "mash_temperature_c")).await, "68");
    brewer.open_stage("fruit").await;
    assert_eq!(brewer.held(&field("fruit", "fruit1.mass_g")).await, "1.6", "grown by a third");
    assert_eq!(count(&brewer, "[data-test=tasting]").await, 0);
    brewer.to_the_book().await;

    // Side by side.
    brewer.tap("[data-test=compare]").await;
    brewer.until("document.querySelectorAll('[data-test=batch] .toggle').length === 2").await;
    brewer.tap("[data-test=batch]:nth-child(1) .toggle").await;
    brewer.tap("[data-test=batch]:nth-child(2) .toggle").await;
    fits(&brewer, "the book while comparing").await;
    brewer.tap("[data-test=compare-now]").await;
    brewer.until_says(".sides", "Mash temperature").await;
    let head: Value =
        brewer.value("[...document.querySelectorAll('.sides thead th')].map((th) => th.innerText)").await;
    assert_eq!(head.as_array().unwrap().len(), 2, "{head}");
    let row =
        "[...document.querySelectorAll('.sides tr')].find((tr) => tr.innerText.includes('Mash temperature'))";
    let cells = brewer
        .value(&format!("[...{row}.querySelectorAll('td')].map((td) => td.innerText)"))
        .await
        .to_string();
    assert!(cells.contains("66.0") && cells.contains("68.0"), "{cells}");
    let few = count(&brewer, ".sides tr").await;
    fits(&brewer, "side by side").await;
    let names_stay = brewer
        .value(
            "(() => { const box = document.querySelector('.sides'); box.scrollLeft = 200;
            const th = box.querySelector('tbody tr:nth-child(2) th').getBoundingClientRect();
            return Math.abs(th.left - box.getBoundingClientRect().left) < 2; })()",
        )
        .await;
    assert_eq!(names_stay, json!(true), "the names of the rows stay in sight");
    brewer.tap("[data-test=all-rows]").await;
    brewer.until(&format!("document.querySelectorAll('.sides tr').length > {few}")).await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn two_hundred_batches_are_searched_and_ordered_at_once() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer
        .value(
            "(() => { for (let n = 0; n < 200; n++) {
                const notes = n % 50 === 7 ? 'Guests liked the RHUBARB in it' : 'Plain';
                const name = `Batch number ${String(n).padStart(3, '0')}`;
                localStorage.setItem(`tartwright.batch.n${n}`, JSON.stringify({
                    schema: 1, app: '0.1.0', revision: 1, saved_s: 1754300000 + n,
                    data: { id: `n${n}`, name, notes, begun_s: 1754200000, numbers: { batch_volume_l: 20 } } }));
            } })()",
        )
        .await;
    brewer.reload().await;
    brewer.until("document.querySelectorAll('[data-test=batch]').length === 30").await;
    brewer.until_says("[data-test=batch]:first-child", "Batch number 199").await;
    brewer.tap("[data-test=show-more]").await;
    brewer.until("document.querySelectorAll('[data-test=batch]').length === 60").await;

    brewer.write("input[name=find]", "rhubarb").await;
    brewer.until_says("[data-test=found]", "4 of 200").await;
    assert_eq!(count(&brewer, "[data-test=batch]").await, 4);
    // One key, once the book was read: within a frame or two.
    let took = brewer
        .value(
            "(() => { const field = document.querySelector('input[name=find]'); field.value = 'number 1';
                const begun = performance.now();
                field.dispatchEvent(new InputEvent('input', { bubbles: true }));
                return new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now() - begun))));
            })()",
        )
        .await;
    assert!(took.as_f64().unwrap() < 150.0, "{took} ms for a key");
    brewer.until_says("[data-test=found]", "100 of 200").await;
    brewer.choose("select[name=order]", "By name").await;
    brewer.until_says("[data-test=batch]:first-child", "Batch number 100").await;
    brewer.write("input[name=find]", "no such words").await;
    brewer.until_says("[data-test=found]", "0 of 200").await;
    brewer.write("input[name=find]", "").await;
    brewer.until_says("[data-test=batch]:first-child", "Batch number 000").await;
    fits(&brewer, "a long book").await;

    brewer.tap_words("main", "Trends").await;
    brewer.until_says("main", "Two batches with the same thing measured").await;
    brewer.assert_quiet(brewer.url()).await;
}
