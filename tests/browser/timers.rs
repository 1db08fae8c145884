//! Timers: several at once, across a reload and three hours of sleep, heard and taken back, in two tabs.

use crate::page::{Brewer, host};
use serde_json::json;

/// Stands in for what makes itself heard, and notes what is asked of it.
const SPIES: &str = "
    globalThis.test = { tones: 0, shakes: 0, notes: [], locks: 0, heard: [] };
    const AudioContext = globalThis.AudioContext;
    globalThis.AudioContext = class extends AudioContext {
        createOscillator() { test.tones += 1; test.heard.push(this.state); return super.createOscillator(); }
    };
    navigator.vibrate = () => { test.shakes += 1; return true; };
    navigator.wakeLock.request = async () => {
        test.locks += 1;
        let held = true;
        return { release: async () => { if (held) { held = false; test.locks -= 1; } } };
    };
    Notification.requestPermission = async () => { test.asked = true; return 'granted'; };
    Object.defineProperty(Notification, 'permission', { get: () => sessionStorage.getItem('test.may') ?? 'default' });
    ServiceWorkerRegistration.prototype.showNotification = async (title, options) => {
        test.notes.push([title, options.body, options.data]);
    };
    Object.defineProperty(document, 'hidden', { get: () => Boolean(test.hidden), configurable: true });
";

async fn listen(brewer: &Brewer) {
    brewer.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": SPIES })).await;
    brewer.reload().await;
}

/// Starts a timer of the person's own.
async fn starts(brewer: &Brewer, name: &str, minutes: &str) {
    if brewer.value("!document.querySelector('.timers details[open]')").await == json!(true) {
        brewer.tap(".timers summary").await;
    }
    brewer.write("input[name=timer_name]", name).await;
    brewer.write("input[name=timer_min]", minutes).await;
    brewer.tap("[data-test=start-own]").await;
    brewer.until_says(".timer strong", name).await;
}

/// The seconds that the countdown of the timer at this place shows.
async fn seconds_left(brewer: &Brewer, place: usize) -> u32 {
    let text = brewer.words(&format!(".timers .timer:nth-child({place}) .count")).await;
    let parts =
        text.split(':').map(|part| part.parse::<u32>().unwrap_or_else(|_| panic!("a countdown: {text:?}")));
    parts.fold(0, |sum, part| sum * 60 + part)
}

#[tokio::test]
async fn timers_are_right_after_a_reload_and_three_hours_of_sleep() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    listen(&brewer).await;
    brewer.begins().await;
    assert_eq!(brewer.value("test.asked ?? false").await, json!(false), "nothing is asked at load");
    starts(&brewer, "Mash", "60").await;
    starts(&brewer, "Skim the foam", "15").await;
    assert_eq!(brewer.value("test.asked").await, json!(true));
    brewer.until("test.locks === 1").await;

    // The countdown follows the clock by itself, and nothing else is drawn anew meanwhile.
    let (mash, foam) = (seconds_left(&brewer, 1).await, seconds_left(&brewer, 2).await);
    assert!((3_580..=3_600).contains(&mash) && (880..=900).contains(&foam), "{mash} s and {foam} s");
    brewer
        .value(
            "(test.changed = new Set(), new MutationObserver((all) => all.forEach((one) => {
                const element = one.target.nodeType === 1 ? one.target : one.target.parentElement;
                test.changed.add(element?.closest('[role=timer]') ? 'count' : element?.outerHTML ?? '?');
            })).observe(document.body, { subtree: true, childList: true, characterData: true, attributes: true }))",
        )
        .await;
    brewer.until("test.changed.size > 0").await;
    tokio::time::sleep(std::time::Duration::from_millis(2_500)).await;
    assert_eq!(brewer.value("[...test.changed]").await, json!(["count"]));
    assert!(seconds_left(&brewer, 1).await <= mash - 2);

    // More minutes go to the end; a reload, and the screen is kept on again.
    brewer.tap(".timers .timer:nth-child(2) .actions button:nth-child(2)").await;
    brewer.until("/^(19|20):/.test(document.querySelectorAll('.timers .count')[1].innerText)").await;
    let more = seconds_left(&brewer, 2).await;
    assert!((foam + 280..=foam + 300).contains(&more), "{more} s, five minutes more than {foam} s");
    brewer.reload().await;
    brewer.until("document.querySelectorAll('.timers .timer').length === 2").await;
    assert!((3_000..mash).contains(&seconds_left(&brewer, 1).await));
    brewer.until("test.locks === 1").await;
    assert_eq!(brewer.value("test.tones + test.shakes").await, json!(0));
    assert_eq!(brewer.smaller_than(48).await, json!([]));
    assert_eq!(brewer.sticking_out().await, json!([]));

    // Asleep for three hours; the first tap after the reload lets it sound.
    brewer.tap(".timers h2").await;
    brewer.wait_hours(3.0).await;
    brewer.until("document.querySelectorAll('.timer.rung [role=alert]').length === 2").await;
    // What rang stands above the next move.
    let top = |css: &str| format!("document.querySelector('{css}').getBoundingClientRect().top");
    assert_eq!(brewer.value(&format!("{} < {}", top(".timers"), top(".next"))).await, json!(true));
    let ago =
        |line: String| crate::page::first_number(&line).unwrap_or_else(|| panic!("how long ago: {line:?}"));
    let mash = ago(brewer.words(".timers .timer:nth-child(1) .spread").await);
    let foam = ago(brewer.words(".timers .timer:nth-child(2) .spread").await);
    assert!((119.0..=121.0).contains(&mash), "rang {mash} min ago");
    assert!((159.0..=161.0).contains(&foam), "rang {foam} min ago");
    brewer.until("test.tones >= 2 && test.shakes >= 2").await;
    assert!(brewer.value("test.heard").await.as_array().unwrap().iter().all(|state| state == "running"));
    // Nobody is there to see the screen any more.
    brewer.until("test.locks === 0").await;

    // Heard, taken back, heard.
    for _ in 0..2 {
        brewer.tap(".timers .timer:nth-child(1) [data-test=heard]").await;
        brewer.until("document.querySelectorAll('.timers .timer').length === 1").await;
        brewer.until("document.activeElement.id === 'rang'").await;
        brewer.tap_words(".toast", "Undo").await;
        brewer.until("document.querySelectorAll('.timers .timer').length === 2").await;
    }
    for left in [1, 0] {
        brewer.tap("[data-test=heard]").await;
        brewer.until(&format!("document.querySelectorAll('.timers .timer').length === {left}")).await;
    }
    brewer.until_saved().await;
    brewer.value("test.tones = test.shakes = 0").await;
    tokio::time::sleep(std::time::Duration::from_millis(2_500)).await;
    assert_eq!(brewer.value("test.tones + test.shakes").await, json!(0), "silent when all are heard");
    brewer.reload().await;
    brewer.until("document.querySelector('.timers')").await;
    assert_eq!(brewer.value("document.querySelectorAll('.timer').length").await, json!(0));
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn a_hidden_page_counts_in_its_title_and_notifies_once() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.until_offline_ready().await;
    listen(&brewer).await;
    brewer.begins().await;
    let own = brewer.value("document.title").await;
    starts(&brewer, "Mash", "60").await;
    brewer.value("(sessionStorage.setItem('test.may', 'granted'), test.hidden = true, dispatchEvent(new Event('visibilitychange')))").await;
    brewer.until("/^59:\\d\\d Mash$/.test(document.title)").await;
    brewer.until("test.locks === 0").await;
    brewer.wait_hours(1.5).await;
    brewer.until("document.title === 'Mash rang' && test.notes.length > 0").await;
    tokio::time::sleep(std::time::Duration::from_millis(1_500)).await;
    let notes = brewer.value("test.notes").await;
    assert_eq!(notes.as_array().unwrap().len(), 1, "{notes}");
    assert_eq!(notes[0][0], json!("Mash rang"));
    assert!(notes[0][2].as_str().unwrap().starts_with("#/b/"), "{notes}");
    brewer.value("(test.hidden = false, dispatchEvent(new Event('visibilitychange')))").await;
    brewer.until(&format!("document.title === {own}")).await;

    // In the book it rings too, with the way to its batch.
    brewer.to_the_book().await;
    brewer.until_says("[data-test=rings]", "Mash rang").await;
    brewer.tap("[data-test=rings] a").await;
    brewer
        .until("document.querySelector('.timer.rung') && !document.querySelector('[data-test=rings]')")
        .await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn what_is_heard_in_one_tab_is_silent_in_the_other() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    listen(&brewer).await;
    brewer.begins().await;
    brewer.until_saved().await;
    let address = brewer.current_url().await.unwrap();
    let first = brewer.window().await.unwrap();
    let second = brewer.new_tab().await.unwrap();
    brewer.switch_to_window(second.clone()).await.unwrap();
    brewer.prepare().await;
    brewer.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": SPIES })).await;
    brewer.open(address.as_str()).await;
    starts(&brewer, "Mash", "0.05").await;
    brewer.until("test.tones > 0").await;

    // The first tab took it over without a question, and rings.
    brewer.switch_to_window(first.clone()).await.unwrap();
    brewer.until("document.querySelector('.timer.rung')").await;
    brewer.tap("[data-test=heard]").await;
    brewer.until("!document.querySelector('.timer')").await;
    assert_eq!(brewer.words("[data-test=not-saved]").await, "");

    brewer.switch_to_window(second).await.unwrap();
    brewer.until("!document.querySelector('.timer')").await;
    assert_eq!(brewer.words("[data-test=not-saved]").await, "");
    brewer.value("test.tones = test.shakes = 0").await;
    tokio::time::sleep(std::time::Duration::from_millis(2_500)).await;
    assert_eq!(brewer.value("test.tones + test.shakes").await, json!(0));
}
