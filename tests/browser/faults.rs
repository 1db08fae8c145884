//! Faults at every write, at every text, of the clock and of the host: nothing is lost, and each is said.
//! What a person does wrong in a kitchen is in `trouble.rs`, what a kill does in `kills.rs`.

use std::fs;
use std::path::Path;

use crate::harness::{Visitor, built};
use crate::page::{Brewer, field, host};
use batch::demo::demo;
use batch::keep::{Envelope, Opened, SCHEMA, decode, stored_text, unpack, write};
use batch::moment::Moment;
use serde_json::{Value, json};
use thirtyfour::prelude::*;
use xtask::server::{Port, Server};
use xtask::site::{Asset, Site};

/// A store that is full from the nth write on, counted from when that is said.
const WRITES: &str = "
    (() => {
        const set = Storage.prototype.setItem;
        Storage.prototype.setItem = function (key, text) {
            if (this === sessionStorage) return set.call(this, key, text);
            const left = Number(sessionStorage.getItem('test.room') ?? 'Infinity');
            if (left <= 0) throw new DOMException('no room is left', 'QuotaExceededError');
            set.call(sessionStorage, 'test.room', String(left - 1));
            set.call(this, key, text);
        };
    })();";

/// Fills the store with what is not ours, to the last character.
const FILL: &str = "
    (() => { for (let size = 1 << 22, n = 0; size >= 1; size >>= 1) {
        try { for (;;) localStorage.setItem(`filler${n++}`, 'x'.repeat(size)); } catch {}
    } })()";

fn fixture(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)).unwrap()
}

/// The example as it would be stored under an identity of its own.
fn example(id: &str) -> Envelope {
    let mut envelope = Envelope::new(demo(id.to_owned(), Moment::from_seconds(1_754_300_000)));
    envelope.revision = 1;
    envelope.data.name = format!("Example {id}");
    envelope
}

fn key(id: &str) -> String {
    format!("tartwright.batch.{id}")
}

async fn store(brewer: &Brewer, key: &str, text: &str) {
    brewer.value(&format!("localStorage.setItem({}, {})", json!(key), json!(text))).await;
}

async fn stored_text_of(brewer: &Brewer, key: &str) -> String {
    let text = brewer.value(&format!("localStorage.getItem({})", json!(key))).await;
    text.as_str().unwrap_or_else(|| panic!("{key} is stored")).to_owned()
}

/// The identity of the batch that is open.
async fn open_id(brewer: &Brewer) -> String {
    let address = brewer.current_url().await.unwrap();
    address.fragment().unwrap().replace("/b/", "")
}

/// Runs a script before those of the page, from the next load on.
async fn before_each_load(visitor: &Visitor, script: &str) {
    visitor.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": script })).await;
}

async fn room(brewer: &Brewer, writes: &str) {
    brewer.value(&format!("sessionStorage.setItem('test.room', '{writes}')")).await;
}

/// Does something that has to be stored while there is no room, and holds the page to its promises.
async fn refused(brewer: &Brewer, what: &str, act: impl AsyncFnOnce()) -> Value {
    let before = brewer.stored().await;
    room(brewer, "0").await;
    act().await;
    brewer.until_says("[data-test=not-saved]", "The browser's storage for this page is full.").await;
    assert_eq!(brewer.words("[data-test=saved]").await, "Not saved", "{what}");
    assert_eq!(brewer.stored().await, before, "{what}: what was stored stays");
    before
}

/// There is room again, and the person says so.
async fn tried_again(brewer: &Brewer, what: &str, before: Value) {
    room(brewer, "Infinity").await;
    brewer.tap_words("[data-test=not-saved]", "Try again").await;
    brewer.until_saved().await;
    assert_ne!(brewer.stored().await, before, "{what} is stored");
}

#[tokio::test]
async fn whichever_write_finds_no_room_it_is_said_and_made_up_for() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    before_each_load(&brewer, WRITES).await;
    brewer.reload().await;

    // The first write of all: the batch is on this page only, and the book leads back to it.
    room(&brewer, "0").await;
    brewer.begins().await;
    brewer.until_says("[data-test=not-saved]", "full").await;
    brewer.fill("aim", "batch_volume_l", "21").await;
    brewer.until_says("[data-test=not-saved]", "full").await;
    brewer.to_the_book().await;
    brewer.until_says("[data-test=unsaved]", "Not saved.").await;
    brewer.tap("[data-test=unsaved] a.open").await;
    brewer.open_stage("aim").await;
    assert_eq!(brewer.held(&field("aim", "batch_volume_l")).await, "21");
    assert_eq!(brewer.stored().await, json!({}));
    tried_again(&brewer, "a new batch", json!({})).await;
    let id = open_id(&brewer).await;

    // A field, saved when the person tries again.
    let before = refused(&brewer, "a field", async || brewer.fill("aim", "batch_volume_l", "22").await).await;
    tried_again(&brewer, "a field", before).await;
    // A name, saved by the next key.
    let before = refused(&brewer, "a name", async || brewer.write("input.name", "First").await).await;
    room(&brewer, "Infinity").await;
    brewer.write("input.name", "First of all").await;
    brewer.until_saved().await;
    assert_ne!(brewer.stored().await, before);
    // A reading, a tick, a timer.
    let before = refused(&brewer, "a reading", async || {
        brewer.notes("first_boil", "pre_boil_volume_l", "24", 0.0).await;
    })
    .await;
    tried_again(&brewer, "a reading", before).await;
    let before = refused(&brewer, "a tick", async || {
        brewer.tap("[data-test=all-before]").await;
    })
    .await;
    tried_again(&brewer, "a tick", before).await;
    let before = refused(&brewer, "a timer", async || {
        brewer.tap(".timers summary").await;
        brewer.write("input[name=timer_name]", "Mash").await;
        brewer.write("input[name=timer_min]", "60").await;
        brewer.tap("[data-test=start-own]").await;
        brewer.until_says(".timer strong", "Mash").await;
    })
    .await;
    tried_again(&brewer, "a timer", before).await;

    // The message with the way back lies over the way out.
    brewer.close_message().await;

    // All of it is there, as it was on the screen.
    let Ok(Opened::Current(kept)) = decode(&stored_text_of(&brewer, &key(&id)).await) else {
        panic!("opens")
    };
    assert_eq!(kept.data.name, "First of all");
    assert_eq!((kept.data.readings.len(), kept.data.timers.len()), (1, 1));
    assert!(!kept.data.ticks.is_empty());
    let text = unpack(&stored_text_of(&brewer, &key(&id)).await);
    assert!(text.contains("\"batch_volume_l\":22"), "{text}");

    // To delete, and to bring back.
    brewer.to_the_book().await;
    let before = brewer.stored().await;
    room(&brewer, "0").await;
    brewer.tap("[data-test=batch] .menu summary").await;
    brewer.tap("[data-test=delete]").await;
    brewer.until_says(".toast", "full").await;
    brewer.close_message().await;
    assert_eq!(brewer.stored().await, before);
    brewer.until_says("[data-test=batch]", "First of all").await;
    room(&brewer, "Infinity").await;
    brewer.tap("[data-test=delete]").await;
    brewer.until("!document.querySelector('[data-test=batch]')").await;
    brewer.close_message().await;
    let before = brewer.stored().await;
    room(&brewer, "0").await;
    brewer.tap("[data-test=deleted] summary").await;
    brewer.tap("[data-test=restore]").await;
    brewer.until_says(".toast", "full").await;
    brewer.close_message().await;
    assert_eq!(brewer.stored().await, before);
    room(&brewer, "Infinity").await;
    brewer.tap("[data-test=restore]").await;
    brewer.until_says("[data-test=batch]", "First of all").await;

    // To brew again.
    let before = brewer.stored().await;
    room(&brewer, "0").await;
    brewer.tap("[data-test=batch] .menu summary").await;
    brewer.tap("[data-test=again]").await;
    brewer.tap("[data-test=begin-again]").await;
    brewer.until_says("[data-test=not-saved]", "full").await;
    assert_eq!(brewer.held("input.name").await, "First of all, again");
    assert_eq!(brewer.stored().await, before);
    tried_again(&brewer, "brewed again", before).await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn a_keepsake_that_finds_no_room_half_way_is_brought_in_at_the_next_try() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    before_each_load(&brewer, WRITES).await;
    let here = stored_text(&example("here")).unwrap();
    store(&brewer, &key("here"), &here).await;
    brewer.reload().await;
    brewer.to_the_settings().await;
    let batches: Vec<Envelope> = ["x", "y", "z"].map(example).to_vec();
    let keepsake = write(&batches, Moment::from_seconds(1_754_400_000)).unwrap();
    for writes in 0..=3 {
        brewer
            .value("['x', 'y', 'z'].forEach((id) => localStorage.removeItem(`tartwright.batch.${id}`))")
            .await;
        room(&brewer, &writes.to_string()).await;
        brewer.pastes_a_keepsake(&keepsake).await;
        brewer.tap("[data-test=import-confirm]").await;
        if writes < 3 {
            brewer.until_says(".toast", "The browser's storage for this page is full.").await;
            brewer.close_message().await;
            // What was written is whole, and the preview stays to try again.
            let stored = brewer.stored().await;
            assert_eq!(stored.as_object().unwrap().len(), 1 + writes, "{stored}");
            room(&brewer, "Infinity").await;
            brewer.tap("[data-test=import-confirm]").await;
        }
        brewer.until_says(".toast", "brought in").await;
        brewer.close_message().await;
        for batch in &batches {
            let text = stored_text_of(&brewer, &key(&batch.data.id)).await;
            assert_eq!(decode(&text), Ok(Opened::Current(Box::new(batch.clone()))));
        }
        assert_eq!(stored_text_of(&brewer, &key("here")).await, here);
    }
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn what_cannot_be_read_waits_for_room_and_is_not_written_over() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    before_each_load(&brewer, WRITES).await;
    let (torn, torn_choice) = ("{\"schema\":1,\"data\":{\"id\":\"torn", "{\"system\":\"us\",\"un");
    store(&brewer, &key("torn"), torn).await;
    store(&brewer, "tartwright.preferences", torn_choice).await;
    room(&brewer, "0").await;
    brewer.reload().await;
    brewer.until_says("[data-test=unreadable]", "A text that cannot be read").await;
    let both = json!({ "tartwright.batch.torn": torn, "tartwright.preferences": torn_choice });
    assert_eq!(brewer.stored().await, both);
    // A choice has no place while the old ones could not be set aside.
    brewer.to_the_settings().await;
    brewer.choose("select[name=theme]", "Dark").await;
    brewer.until_says(".toast", "full").await;
    brewer.close_message().await;
    brewer.until("document.documentElement.dataset.theme === 'dark'").await;
    assert_eq!(brewer.stored().await, both);

    room(&brewer, "Infinity").await;
    brewer.choose("select[name=theme]", "Sun").await;
    brewer.until("JSON.parse(localStorage.getItem('tartwright.preferences')).theme === 'sun'").await;
    assert_eq!(stored_text_of(&brewer, "tartwright.set-aside.preferences.1").await, torn_choice);
    brewer.tap("[data-test=back]").await;
    brewer.until_says("[data-test=unreadable]", "A text that cannot be read").await;
    assert_eq!(stored_text_of(&brewer, "tartwright.set-aside.torn.1").await, torn);
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn a_store_full_to_the_brim_can_be_emptied_from_the_book() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    for id in ["old", "new"] {
        store(&brewer, &key(id), &stored_text(&example(id)).unwrap()).await;
    }
    brewer.value(FILL).await;
    brewer.open(&format!("{}#/b/new", brewer.url())).await;
    brewer.until("document.querySelector('[data-test=next-move]')").await;
    brewer.write("input.name", "A name that needs more room than there was").await;
    brewer.until_says("[data-test=not-saved]", "delete old batches and remove them for good").await;
    brewer.to_the_book().await;
    // Even to note that it is deleted there is no room.
    let row = "[data-test=batch]:has([href='#/b/old'])";
    brewer.tap(&format!("{row} .menu summary")).await;
    brewer.tap(&format!("{row} [data-test=delete]")).await;
    brewer.until_says(".toast", "full").await;
    brewer.close_message().await;
    brewer.tap(&format!("{row} [data-test=remove-for-good]")).await;
    brewer.until_says(&format!("{row} [data-test=remove-for-good]"), "Really remove?").await;
    assert!(stored_text_of(&brewer, &key("old")).await.contains("Example old"), "not at the first press");
    brewer.tap(&format!("{row} [data-test=remove-for-good]")).await;
    brewer.until(&format!("!document.querySelector({})", json!(row))).await;
    brewer.tap("[data-test=unsaved] a.open").await;
    brewer.tap_words("[data-test=not-saved]", "Try again").await;
    brewer.until_saved().await;
    assert!(stored_text_of(&brewer, &key("new")).await.contains("more room than there was"));

    // What was deleted before can be removed as well, and nothing else goes with it.
    brewer.value("Object.keys(localStorage).filter((key) => key.startsWith('filler')).forEach((key) => localStorage.removeItem(key))").await;
    store(&brewer, &key("third"), &stored_text(&example("third")).unwrap()).await;
    brewer.to_the_book().await;
    brewer.tap("[data-test=batch]:has([href='#/b/third']) .menu summary").await;
    brewer.tap("[data-test=batch]:has([href='#/b/third']) [data-test=delete]").await;
    brewer.tap("[data-test=deleted] summary").await;
    brewer.close_message().await;
    for _ in 0..2 {
        brewer.tap("[data-test=deleted] [data-test=remove-for-good]").await;
    }
    brewer.until("!document.querySelector('[data-test=deleted]')").await;
    let left = brewer.value("Object.keys(localStorage)").await;
    assert_eq!(left, json!(["tartwright.batch.new"]));
    brewer.assert_quiet(brewer.url()).await;
}

/// How many texts are damaged.
const DAMAGED: usize = 90;

/// A text with one fault, by its number: cut short all along, or with a character changed, taken out or doubled.
fn damaged(text: &str, number: usize) -> String {
    const CUT: usize = 30;
    let mut letters: Vec<char> = text.chars().collect();
    if number < CUT {
        letters.truncate(letters.len() * number / CUT);
        return letters.into_iter().collect();
    }
    // A prime, so that the places lie all over.
    let place = number * 7_919 % letters.len();
    match number % 3 {
        0 => letters[place] = ['"', '0', '{', '\u{fffd}', 'Z', '}'][number / 3 % 6],
        1 => drop(letters.remove(place)),
        _ => letters.insert(place, letters[place]),
    }
    letters.into_iter().collect()
}

#[tokio::test]
async fn a_text_damaged_anywhere_is_kept_and_harms_no_other() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    let good: Vec<(String, String)> =
        ["a", "b", "c"].map(|id| (key(id), stored_text(&example(id)).unwrap())).to_vec();
    let damaged: Vec<String> = (0..DAMAGED)
        .map(|number| damaged(&stored_text(&example(&format!("d{number}"))).unwrap(), number))
        .collect();
    let all = damaged.iter().enumerate().map(|(place, text)| (key(&format!("d{place}")), text.clone()));
    let all: Vec<(String, String)> = all.chain(good.clone()).collect();
    brewer.value(&format!("{}.forEach(([key, text]) => localStorage.setItem(key, text))", json!(all))).await;
    brewer.reload().await;
    // Twice, as the first look moves texts about.
    for _ in 0..2 {
        brewer.until("document.querySelector('[data-test=unreadable]')").await;
        let stored = brewer.stored().await;
        let stored = stored.as_object().unwrap();
        for (key, text) in &good {
            assert_eq!(stored.get(key), Some(&json!(text)), "{key}");
        }
        let texts: Vec<&Value> = stored.values().collect();
        for text in &damaged {
            assert!(texts.contains(&&json!(text)), "gone: {text}");
        }
        brewer.reload().await;
    }
    // Every address either opens or says why not; no text changes by looking at it.
    // From another screen each: a browser holds back who goes more than two hundred times in ten seconds.
    let (mut opened, mut refused) = (0, 0);
    for place in 20..DAMAGED {
        brewer.value("location.hash = '#/words'").await;
        brewer.until("document.querySelector('main h1')?.innerText === 'What the words mean'").await;
        brewer.value(&format!("location.hash = '#/b/d{place}'")).await;
        let opens = "document.querySelector('[data-test=next-move]')";
        brewer
            .until(&format!("{opens} || document.querySelector('main h1')?.innerText === 'Not opened'"))
            .await;
        if brewer.value(&format!("Boolean({opens})")).await == json!(true) {
            opened += 1
        } else {
            refused += 1
        }
    }
    brewer.assert_quiet(brewer.url()).await;
    // A changed digit is a number all the same.
    assert!(opened > 5 && refused > DAMAGED / 3, "{opened} and {refused}");
    brewer.open(brewer.url()).await;
    let stored = brewer.stored().await;
    let texts: Vec<&Value> = stored.as_object().unwrap().values().collect();
    for text in damaged.iter().chain(good.iter().map(|(_, text)| text)) {
        assert!(texts.contains(&&json!(text)), "gone: {text}");
    }
    // All of it goes into the keepsake, word by word.
    brewer.to_the_settings().await;
    brewer.tap("[data-test=export]").await;
    let keepsake = brewer.held("[data-test=export-text]").await;
    let keepsake = batch::keep::read(&keepsake).unwrap();
    let aside: Vec<&String> = keepsake.set_aside.iter().map(|aside| &aside.text).collect();
    assert!(keepsake.batches.len() >= good.len());
    for text in &damaged {
        let opens = matches!(decode(text), Ok(Opened::Current(_)));
        assert!(
            opens || aside.contains(&text) || keepsake.damaged.iter().any(|one| unpack(text) == one.raw),
            "{text}"
        );
    }
}

#[tokio::test]
async fn damaged_choices_are_set_aside_and_the_app_starts() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    let whole = r#"{"system":"us","units":{"gravity":"plato"},"theme":"sun","hide_help":false,"house":{}}"#;
    for length in [0, 1, 9, 21, 33, 48, 70, whole.len() - 1] {
        brewer.value("localStorage.clear()").await;
        store(&brewer, "tartwright.preferences", &whole[..length]).await;
        brewer.reload().await;
        brewer.until("document.querySelector('[data-test=new-batch]')").await;
        assert_eq!(
            brewer.stored().await,
            json!({ "tartwright.set-aside.preferences.1": &whole[..length] }),
            "{length}"
        );
    }
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn a_browser_that_keeps_nothing_says_so_and_lets_the_batch_out() {
    let host = host();
    for (what, script, said) in [
        (
            "reading it is forbidden",
            "Object.defineProperty(globalThis, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } });",
            "does not let the page keep anything",
        ),
        (
            "there is none",
            "Object.defineProperty(globalThis, 'localStorage', { value: null });",
            "does not let the page keep anything",
        ),
        (
            "it is unknown",
            "Object.defineProperty(globalThis, 'localStorage', { value: undefined });",
            "does not let the page keep anything",
        ),
        (
            "every write is forbidden",
            "Storage.prototype.setItem = () => { throw new DOMException('no', 'SecurityError'); };",
            "does not let the page keep anything",
        ),
        (
            "every write fails for no known reason",
            "Storage.prototype.setItem = () => { throw new DOMException('no', 'UnknownError'); };",
            "The browser refused to save (UnknownError)",
        ),
    ] {
        let brewer = Brewer::arrives(&host.url()).await;
        before_each_load(&brewer, script).await;
        brewer.reload().await;
        brewer.begins().await;
        brewer.until_says("[data-test=not-saved]", said).await;
        brewer.fill("aim", "batch_volume_l", "23.5").await;
        brewer.until_says("[data-test=not-saved]", said).await;
        brewer.until_says("[data-stage=aim] .stage-line", "23.5 L").await;
        brewer.tap("[data-test=export-batch]").await;
        let file = fs::read_to_string(brewer.downloaded().await).unwrap();
        assert!(file.contains("\"batch_volume_l\":23.5"), "{what}: {file}");
        // The way through the book does not lose it, and the file can be looked at.
        brewer.to_the_book().await;
        brewer.until_says("[data-test=unsaved]", said).await;
        brewer.to_the_settings().await;
        brewer.choose("select[name=theme]", "Dark").await;
        brewer.until_says(".toast", said).await;
        brewer.close_message().await;
        brewer.tap("[data-test=back]").await;
        brewer.tap("[data-test=unsaved] a.open").await;
        brewer.open_stage("aim").await;
        assert_eq!(brewer.held(&field("aim", "batch_volume_l")).await, "23.5", "{what}");
        brewer.assert_quiet(brewer.url()).await;
    }
}

#[tokio::test]
async fn a_store_cleared_under_an_open_batch_gets_it_back() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.begins().await;
    brewer.fill("aim", "batch_volume_l", "22").await;
    brewer.until_saved().await;
    let id = open_id(&brewer).await;
    let first = brewer.window().await.unwrap();
    let second = brewer.new_tab().await.unwrap();
    // By another tab: said, and the person decides.
    brewer.switch_to_window(second).await.unwrap();
    brewer.open(brewer.url()).await;
    brewer.value("localStorage.clear()").await;
    brewer.switch_to_window(first).await.unwrap();
    brewer.until_says("[data-test=not-saved]", "This batch is not in the batch book.").await;
    brewer.tap("[data-test=keep-mine]").await;
    brewer.until_saved().await;
    assert!(unpack(&stored_text_of(&brewer, &key(&id)).await).contains("\"batch_volume_l\":22"));
    // By the browser, which tells nobody: the next save brings all of it back.
    brewer.value("localStorage.clear()").await;
    brewer.fill("aim", "wanted_gravity_plato", "12.5").await;
    brewer.until("localStorage.length === 1").await;
    let text = unpack(&stored_text_of(&brewer, &key(&id)).await);
    assert!(text.contains("\"batch_volume_l\":22") && text.contains("12.5"), "{text}");
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn two_tabs_that_save_in_one_moment_are_told_of_each_other() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.begins().await;
    brewer.fill("aim", "batch_volume_l", "20").await;
    brewer.until_saved().await;
    let id = open_id(&brewer).await;
    let first = brewer.window().await.unwrap();
    let text = stored_text_of(&brewer, &key(&id)).await;
    let Ok(Opened::Current(mut theirs)) = decode(&text) else { panic!("opens: {text}") };
    // Both counted up from the same revision, and the other tab's text came last.
    theirs.data.name = "Theirs".to_owned();
    let theirs = stored_text(&theirs).unwrap();
    let second = brewer.new_tab().await.unwrap();
    brewer.switch_to_window(second).await.unwrap();
    brewer.open(brewer.url()).await;
    store(&brewer, &key(&id), &theirs).await;
    brewer.switch_to_window(first).await.unwrap();
    brewer.until_says("[data-test=not-saved]", "“Theirs” was changed in another tab").await;
    brewer.fill("aim", "batch_volume_l", "25").await;
    brewer.value("dispatchEvent(new Event('pagehide'))").await;
    assert_eq!(stored_text_of(&brewer, &key(&id)).await, theirs, "not written over unasked");
    brewer.tap("[data-test=keep-mine]").await;
    brewer.until_saved().await;
    assert!(unpack(&stored_text_of(&brewer, &key(&id)).await).contains("\"batch_volume_l\":25"));
}

#[tokio::test]
async fn who_types_on_and_on_is_saved_meanwhile() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.begins().await;
    brewer.until_saved().await;
    let id = open_id(&brewer).await;
    brewer.tap("input.name").await;
    // A key every 50 ms for two seconds: never a pause that would be long enough.
    let stored = brewer
        .value(&format!(
            "(async () => {{
                const name = document.querySelector('input.name'), texts = new Set();
                for (let key = 0; key < 40; key++) {{
                    name.value = `Typed ${{key}}`;
                    name.dispatchEvent(new InputEvent('input', {{ bubbles: true }}));
                    await new Promise((done) => setTimeout(done, 50));
                    texts.add(localStorage.getItem('{}'));
                }}
                return texts.size;
            }})()",
            key(&id)
        ))
        .await;
    assert!(stored.as_u64().unwrap() > 4, "{stored} texts in two seconds");
}

#[tokio::test]
async fn a_clock_put_back_or_forward_loses_nothing() {
    const YEAR: f64 = 365.0 * 24.0;
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.opens_the_example().await;
    brewer.until_saved().await;
    let id = open_id(&brewer).await;
    let revision = async || {
        let text = stored_text_of(&brewer, &key(&id)).await;
        let Ok(Opened::Current(envelope)) = decode(&text) else { panic!("opens: {text}") };
        envelope.revision
    };
    let mut last = revision().await;
    for (place, hours) in [-1.0, -YEAR, -40.0 * YEAR, 42.0 * YEAR].into_iter().enumerate() {
        brewer.wait_hours(hours).await;
        let volume = format!("{}", 21 + place);
        brewer.fill("aim", "batch_volume_l", &volume).await;
        brewer.notes("first_boil", "pre_boil_volume_l", &format!("{}", 25 + place), 0.0).await;
        brewer.until_saved().await;
        assert!(revision().await > last, "the clock went {hours} h");
        last = revision().await;
        brewer.reload().await;
        brewer.open_all_stages().await;
        assert_eq!(brewer.held(&field("aim", "batch_volume_l")).await, volume);
        let words = brewer.words("main").await;
        for word in words.split(|c: char| !c.is_alphanumeric()) {
            assert!(!["NaN", "inf", "null", "undefined", "Invalid"].contains(&word), "{hours} h: {word}");
        }
    }
    // Back to the right time.
    brewer.value("sessionStorage.removeItem('test.later-ms')").await;
    brewer.reload().await;
    let Ok(Opened::Current(kept)) = decode(&stored_text_of(&brewer, &key(&id)).await) else {
        panic!("opens")
    };
    let volumes =
        kept.data.readings.iter().filter(|one| one.kind == batch::document::ReadingKind::PreBoilVolume);
    assert_eq!(volumes.count(), 4, "every reading is there, whatever its clock said");

    // A timer is by the clock: while that is wrong it says so, and shows no number that could be believed.
    brewer.tap(".timers summary").await;
    brewer.write("input[name=timer_name]", "Mash").await;
    brewer.write("input[name=timer_min]", "30").await;
    brewer.tap("[data-test=start-own]").await;
    brewer.until_says(".timer .count", ":").await;
    brewer.wait_hours(-1.0).await;
    brewer.until_says(".timer", "The clock was set back since it was started.").await;
    assert_eq!(brewer.words(".timer .count").await, "?");
    brewer.wait_hours(1.0).await;
    brewer.until("/^(29|30):/.test(document.querySelector('.timer .count').innerText)").await;
    brewer.until_saved().await;

    // Deleted while the clock was a year behind, or looked at while it is years ahead: it can be brought back.
    brewer.to_the_book().await;
    brewer.wait_hours(-YEAR).await;
    brewer.tap("[data-test=batch] .menu summary").await;
    brewer.tap("[data-test=delete]").await;
    brewer.until_says("[data-test=deleted]", "Recently deleted (1)").await;
    for hours in [YEAR, 5.0 * YEAR, -5.0 * YEAR] {
        brewer.wait_hours(hours).await;
        brewer.reload().await;
        brewer.until_says("[data-test=deleted]", "Recently deleted (1)").await;
    }
    brewer.tap("[data-test=deleted] summary").await;
    brewer.tap("[data-test=restore]").await;
    brewer.until_says("[data-test=batch]", "Cherry and apricot").await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn texts_of_every_schema_open_and_one_of_the_next_is_left_as_it_is() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    for schema in 1..=SCHEMA {
        for kind in ["json", "packed"] {
            let text = fixture(&format!("batch-schema-{schema}.{kind}"));
            let Ok(Opened::Current(old)) = decode(&text) else { panic!("{schema}.{kind}") };
            let place = key(&old.data.id);
            brewer.value("localStorage.clear()").await;
            store(&brewer, &place, &text).await;
            brewer.open(&format!("{}#/b/{}", brewer.url(), old.data.id)).await;
            brewer.reload().await;
            brewer.until("document.querySelector('[data-test=next-move]')").await;
            assert_eq!(stored_text_of(&brewer, &place).await, text, "looking changes nothing");
            brewer.write("input.name", "Carried over").await;
            brewer.until_saved().await;
            let now = stored_text_of(&brewer, &place).await;
            assert!(unpack(&now).starts_with(&format!("{{\"schema\":{SCHEMA},")), "{now}");
            let Ok(Opened::Current(mut new)) = decode(&now) else { panic!("{schema}.{kind}: {now}") };
            new.data.name.clone_from(&old.data.name);
            assert_eq!(new.data, old.data, "{schema}.{kind}");
        }
    }
    // What the next version stored, under this version's worker: shown, exported, never changed.
    let next = SCHEMA + 1;
    let text = fixture(&format!("batch-schema-{SCHEMA}.packed")).replacen(
        &format!(":{SCHEMA},"),
        &format!(":{next},"),
        1,
    );
    brewer.value("localStorage.clear()").await;
    store(&brewer, &key("full-0"), &text).await;
    brewer.open(&format!("{}#/b/full-0", brewer.url())).await;
    brewer.reload().await;
    brewer.until_says("main", "This version can show and export it, not change it").await;
    assert_eq!(brewer.held("main textarea").await, unpack(&text));
    brewer.open(brewer.url()).await;
    brewer.until_says("[data-test=unreadable]", "A newer version of Tartwright saved this batch").await;
    brewer.to_the_settings().await;
    brewer.tap("[data-test=export]").await;
    let keepsake = batch::keep::read(&brewer.held("[data-test=export-text]").await).unwrap();
    assert_eq!(keepsake.newer.len(), 1);
    assert_eq!(stored_text_of(&brewer, &key("full-0")).await, text);

    // It came from another tab of the next version while the batch was open here.
    let ours = stored_text(&example("x")).unwrap();
    store(&brewer, &key("x"), &ours).await;
    brewer.open(&format!("{}#/b/x", brewer.url())).await;
    brewer.until("document.querySelector('[data-test=next-move]')").await;
    let theirs = ours.replacen(&format!(":{SCHEMA},"), &format!(":{next},"), 1);
    assert_ne!(theirs, ours);
    store(&brewer, &key("x"), &theirs).await;
    brewer.write("input.name", "Typed in the old version").await;
    brewer.until_says("[data-test=not-saved]", "A newer version of Tartwright saved this batch").await;
    brewer.tap_words("[data-test=not-saved]", "Try again").await;
    brewer.until_says("[data-test=not-saved]", "A newer version of Tartwright saved this batch").await;
    assert_eq!(stored_text_of(&brewer, &key("x")).await, theirs);
    brewer.tap("[data-test=export-batch]").await;
    let file = fs::read_to_string(brewer.downloaded().await).unwrap();
    assert!(file.contains("Typed in the old version"), "{file}");
    brewer.assert_quiet(brewer.url()).await;
}

/// The same build, which the browser takes for another version by its worker.
fn next_version() -> Site {
    let mut next = built("/");
    let worker = String::from_utf8(next.find("/sw.js").unwrap().raw.clone()).unwrap();
    next.set("sw.js", worker.replacen("const VERSION = \"", "const VERSION = \"next", 1).into_bytes());
    next
}

/// The name of a built file, whatever its hash.
fn named(site: &Site, begins: &str, ends: &str) -> String {
    let mut names = site.assets().map(|(name, _)| name);
    names.find(|name| name.starts_with(begins) && name.ends_with(ends)).unwrap().to_owned()
}

const LOOK_FOR_UPDATE: &str =
    "navigator.serviceWorker.getRegistration().then((known) => known.update()).then(() => true, () => true)";

#[tokio::test]
async fn an_update_in_the_middle_of_an_entry_disturbs_nobody() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.until_offline_ready().await;
    brewer.begins().await;
    brewer.until_saved().await;
    let address = brewer.current_url().await.unwrap();
    let id = open_id(&brewer).await;
    let first = brewer.window().await.unwrap();
    let second = brewer.new_tab().await.unwrap();
    brewer.switch_to_window(second.clone()).await.unwrap();
    brewer.open(brewer.url()).await;
    brewer.value("globalThis.same = true").await;
    brewer.switch_to_window(first).await.unwrap();
    brewer.value("globalThis.same = true").await;

    // Half a number, the caret within it.
    brewer.fill("aim", "wanted_gravity_plato", "12.").await;
    brewer.value("document.activeElement.setSelectionRange(1, 1)").await;
    host.replace(next_version());
    brewer.value(LOOK_FOR_UPDATE).await;
    brewer.until_says("[data-test=update]", "A newer version is on this device").await;
    let there = "[document.activeElement.name, document.activeElement.value, document.activeElement.selectionStart, globalThis.same]";
    assert_eq!(brewer.value(there).await, json!(["wanted_gravity_plato", "12.", 1, true]));
    brewer.find(By::Css(field("aim", "wanted_gravity_plato"))).await.unwrap().send_keys("3").await.unwrap();
    brewer.until_says("[data-test=saved]", "Saved").await;

    // What is typed at the moment of changing over is stored.
    brewer.hold_timers().await;
    brewer.write("input.name", "Typed just before").await;
    assert_eq!(brewer.words("[data-test=saved]").await, "Saving");
    brewer.tap("[data-test=update-now]").await;
    brewer.until("!globalThis.same").await;
    brewer.ready().await;
    brewer.until("caches.keys().then((names) => names.length === 1 && names[0].includes('next'))").await;
    assert_eq!(brewer.current_url().await.unwrap(), address);
    assert_eq!(brewer.held("input.name").await, "Typed just before");
    assert!(unpack(&stored_text_of(&brewer, &key(&id)).await).contains("Typed just before"));

    // The other tab was not reloaded under its person's hands, and still works.
    brewer.switch_to_window(second).await.unwrap();
    assert_eq!(brewer.value("globalThis.same").await, json!(true));
    brewer.until_says("[data-test=update]", "A newer version is on this device").await;
    brewer.tap("[data-test=batch] a.open").await;
    brewer.write("input.name", "From the old tab").await;
    brewer.until_saved().await;
    brewer.tap("[data-test=update-now]").await;
    brewer.until("!globalThis.same").await;
    brewer.ready().await;
    assert_eq!(brewer.held("input.name").await, "From the old tab");
}

#[tokio::test]
async fn a_deployment_that_went_wrong_leaves_the_old_version_at_work() {
    let whole = next_version();
    let (app, module) = (named(&whole, "app-", ".js"), named(&whole, "app-", ".wasm"));
    let index = whole.find("/").unwrap().clone();
    let page_for = |name: &str| {
        let mut site = whole.clone();
        site.put(name, index.clone());
        site
    };
    let without = |name: &str| {
        let mut site = whole.clone();
        site.remove(name).unwrap();
        site
    };
    let mut cut = whole.clone();
    let bytes = cut.find(&format!("/{module}")).unwrap().raw.clone();
    cut.put(
        &module,
        Asset {
            raw: bytes[..bytes.len() / 2].to_vec(),
            brotli: bytes,
            mime: "application/wasm",
            immutable: true,
        },
    );
    let mut changed = whole.clone();
    changed.set("manifest.webmanifest", b"{}".to_vec());
    let worker = whole.find("/sw.js").unwrap().clone();
    let mut plain = whole.clone();
    plain.put("sw.js", Asset { mime: "text/plain", ..worker });

    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.until_offline_ready().await;
    brewer.begins().await;
    brewer.write("input.name", "Before").await;
    brewer.until_saved().await;
    let old = brewer.value("caches.keys()").await;
    for (what, site) in [
        ("a script is missing", without(&app)),
        ("an icon is missing", without("icons/mark.svg")),
        ("the page itself is missing", without("index.html")),
        ("a file has other bytes", changed),
        ("a file stops half way", cut),
        ("the page comes in place of a script", page_for(&app)),
        ("the worker is missing", without("sw.js")),
        ("the page comes in place of the worker", page_for("sw.js")),
        ("the worker comes as plain text", plain),
    ] {
        host.replace(site);
        // What the browser kept of the same build must not help out.
        brewer.cdp("Network.clearBrowserCache", json!({})).await;
        brewer.value(LOOK_FOR_UPDATE).await;
        brewer.until("navigator.serviceWorker.getRegistration().then((known) => !known.installing)").await;
        let waiting = "navigator.serviceWorker.getRegistration().then((known) => Boolean(known.waiting))";
        assert_eq!(brewer.value(waiting).await, json!(false), "{what}");
        assert_eq!(brewer.value("caches.keys()").await, old, "{what}: nothing of it stays behind");
        brewer.reload().await;
        assert_eq!(brewer.held("input.name").await, "Before", "{what}");
    }
    host.replace(whole);
    brewer.value(LOOK_FOR_UPDATE).await;
    brewer.until_says("[data-test=update]", "A newer version is on this device").await;
}

#[tokio::test]
async fn a_first_visit_to_a_broken_host_says_what_to_do() {
    let whole = built("/");
    let (boot, app, module) =
        (named(&whole, "boot-", ".js"), named(&whole, "app-", ".js"), named(&whole, "app-", ".wasm"));
    let index = whole.find("/").unwrap().clone();
    let without = |name: &str| {
        let mut site = whole.clone();
        site.remove(name).unwrap();
        site
    };
    let mut page_for_all = whole.clone();
    for name in [&app, &module] {
        page_for_all.put(name, index.clone());
    }
    let host = Server::start(whole.clone(), Port::Any).unwrap();
    for site in [without(&app), without(&module), page_for_all] {
        host.replace(site);
        let visitor = Visitor::phone().await;
        visitor.goto(&host.url()).await.unwrap();
        visitor
            .until("document.querySelector('#shell-note').innerText.startsWith('The app could not start. What you saved is untouched.')")
            .await;
        assert_eq!(
            visitor.value("document.querySelector('#shell-late').checkVisibility()").await,
            json!(false)
        );
        // The host is mended, and one more try is enough.
        host.replace(whole.clone());
        visitor.cdp("Network.clearBrowserCache", json!({})).await;
        visitor.reload().await;
        visitor.until("document.querySelector('[data-test=new-batch]')").await;
    }
    // Not even the script is there that could say so.
    host.replace(without(&boot));
    let visitor = Visitor::phone().await;
    visitor.goto(&host.url()).await.unwrap();
    let late = "getComputedStyle(document.querySelector('#shell-late')).visibility";
    assert_eq!(visitor.value(late).await, json!("hidden"), "nobody is alarmed at once");
    visitor.value("document.getAnimations().forEach((one) => one.finish())").await;
    visitor.until(&format!("{late} === 'visible'")).await;

    // A host that has no worker, or the page in its place: the app works, and needs its host.
    let mut page_for_worker = whole.clone();
    page_for_worker.put("sw.js", index.clone());
    for site in [without("sw.js"), page_for_worker] {
        host.replace(site);
        let brewer = Brewer::arrives(&host.url()).await;
        brewer.begins().await;
        brewer.fill("aim", "batch_volume_l", "22").await;
        brewer.until_saved().await;
        brewer.reload().await;
        brewer.open_stage("aim").await;
        assert_eq!(brewer.held(&field("aim", "batch_volume_l")).await, "22");
    }
}

#[tokio::test]
async fn two_copies_under_one_host_keep_out_of_each_others_way() {
    // One host with two folders, each with all files.
    let mut both = built("/");
    let files: Vec<(String, Asset)> =
        both.assets().map(|(name, asset)| (name.to_owned(), asset.clone())).collect();
    for folder in ["some/where/", "some/where/else/"] {
        for (name, asset) in &files {
            // A folder answers with its page.
            let name = if name == "index.html" { "" } else { name };
            both.put(&format!("{folder}{name}"), asset.clone());
        }
    }
    let host = Server::start(both.clone(), Port::Any).unwrap();
    let visitor = Visitor::phone().await;
    let (outer, inner) = (format!("{}some/where/", host.url()), format!("{}some/where/else/", host.url()));
    for url in [&outer, &inner] {
        visitor.open(url).await;
        visitor.until_offline_ready().await;
    }
    // The page of the inner folder is ready at once, by the worker of the outer one; its own takes its time.
    visitor.until("caches.keys().then((names) => names.length === 2)").await;
    // A new version of one leaves the files of the other alone.
    let worker = String::from_utf8(both.find("/sw.js").unwrap().raw.clone()).unwrap();
    both.set(
        "some/where/sw.js",
        worker.replacen("const VERSION = \"", "const VERSION = \"next", 1).into_bytes(),
    );
    host.replace(both);
    visitor.open(&outer).await;
    visitor.value(LOOK_FOR_UPDATE).await;
    visitor.until("document.querySelector('[data-test=update-now]')").await;
    visitor.value("document.querySelector('[data-test=update-now]').click()").await;
    visitor.until("caches.keys().then((names) => names.length === 2 && names.some((name) => name.includes('next')))").await;
    host.stop();
    for url in [&outer, &inner] {
        visitor.open(url).await;
        visitor.until("document.querySelector('[data-test=new-batch]')").await;
    }
}

#[tokio::test]
async fn an_app_that_stopped_says_so_and_loads_again() {
    /// A module whose one function is a trap, and the app's clock that runs into it when told to.
    const TRAP: &str = "
        const trap = new WebAssembly.Module(new Uint8Array([
            0, 97, 115, 109, 1, 0, 0, 0, 1, 4, 1, 96, 0, 0, 3, 2, 1, 0, 7, 5, 1, 1, 116, 0, 0, 10, 5, 1, 3, 0, 0, 11]));
        const stop = new WebAssembly.Instance(trap).exports.t;
        const rightTime = Date.now;
        Date.now = () => (globalThis.stopped ? stop() : rightTime());
    ";
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    before_each_load(&brewer, TRAP).await;
    brewer.reload().await;
    brewer.begins().await;
    brewer.write("input.name", "Before it stopped").await;
    brewer.until_saved().await;
    assert_eq!(brewer.value("document.getElementById('stopped')").await, Value::Null);
    // What others do wrong on the page is no stop of the app.
    brewer.value("void Promise.reject(new DOMException('no', 'NotAllowedError'))").await;
    brewer.value("globalThis.stopped = true").await;
    brewer.value("dispatchEvent(new Event('focus'))").await;
    brewer.until_says("#stopped", "The app stopped. What you saved is untouched.").await;
    brewer.value("dispatchEvent(new Event('focus'))").await;
    assert_eq!(brewer.value("document.querySelectorAll('#stopped').length").await, json!(1));
    brewer.tap("#stopped button").await;
    brewer.until("!globalThis.stopped").await;
    brewer.ready().await;
    assert_eq!(brewer.held("input.name").await, "Before it stopped");
}
