//! The store against a real browser's storage.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops where it fails")]

use app::preferences::{Preferences, Theme};
use app::store::{BATCH, Change, Entry, PREFERENCES, PREFIX, SET_ASIDE, Store, StoreError};
use batch::document::{Batch, DocumentError, MOST_TEXT};
use batch::house::House;
use batch::keep::{Action, DAYS_KEPT, Envelope, KeepError, stored_text};
use batch::moment::Moment;
use calc::quantity::{Dimension, System};
use std::cell::RefCell;
use std::rc::Rc;
use wasm_bindgen_test::{wasm_bindgen_test, wasm_bindgen_test_configure};
use web_sys::{Storage, StorageEvent, StorageEventInit};

wasm_bindgen_test_configure!(run_in_browser);

const NOW: Moment = Moment::from_seconds(1_754_300_000);

fn later(days: i64) -> Moment {
    Moment::from_seconds(NOW.as_seconds() + days * 86_400)
}

fn shelf() -> Storage {
    web_sys::window().unwrap().local_storage().unwrap().unwrap()
}

/// An empty store; what is not ours stays.
fn fresh() -> Storage {
    let shelf = shelf();
    for key in keys("") {
        if key.starts_with(PREFIX) || key.starts_with("filler") {
            shelf.remove_item(&key).unwrap();
        }
    }
    shelf
}

fn keys(prefix: &str) -> Vec<String> {
    let shelf = shelf();
    let mut keys: Vec<String> = (0..shelf.length().unwrap())
        .filter_map(|place| shelf.key(place).unwrap())
        .filter(|key| key.starts_with(prefix))
        .collect();
    keys.sort();
    keys
}

fn batch(id: &str) -> Envelope {
    Envelope::new(Batch::new(id.to_owned(), format!("Batch {id}"), NOW, House::default()))
}

fn saved(id: &str) -> Envelope {
    let mut envelope = batch(id);
    Store::save(&mut envelope, NOW).unwrap();
    envelope
}

#[wasm_bindgen_test]
fn what_was_saved_loads_equal() {
    fresh();
    let mut envelope = batch("a");
    envelope.data.notes = "“Purée”, \"quoted\"\n\u{1f347} \\ ¡¢£".to_owned();
    Store::save(&mut envelope, NOW).unwrap();
    assert_eq!((envelope.revision, envelope.saved), (1, NOW));
    assert_eq!(Store::load("a"), Ok(envelope.clone()));
    Store::save(&mut envelope, later(1)).unwrap();
    assert_eq!(Store::load("a").unwrap().revision, 2);
    assert_eq!(Store::list().unwrap(), [Entry::Sound(envelope.summary())]);
    assert_eq!(Store::load("b"), Err(StoreError::NotFound));
}

#[wasm_bindgen_test]
fn the_newest_comes_first_and_other_keys_are_left_alone() {
    let shelf = fresh();
    shelf.set_item("filler", "not ours").unwrap();
    for (id, day) in [("a", 1), ("b", 3), ("c", 2)] {
        Store::save(&mut batch(id), later(day)).unwrap();
    }
    let ids: Vec<String> = Store::list()
        .unwrap()
        .into_iter()
        .map(|entry| match entry {
            Entry::Sound(summary) => summary.id,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(ids, ["b", "c", "a"]);
    assert_eq!(shelf.get_item("filler").unwrap().as_deref(), Some("not ours"));
}

#[wasm_bindgen_test]
fn a_second_tab_is_never_overwritten_unasked() {
    let shelf = fresh();
    let mut here = saved("a");
    // The other tab writes by itself.
    let mut there = here.clone();
    there.data.notes = "theirs".to_owned();
    there.revision += 1;
    shelf.set_item(&format!("{BATCH}a"), &stored_text(&there).unwrap()).unwrap();
    here.data.notes = "mine".to_owned();
    let before = here.clone();
    let refused = Store::save(&mut here, later(1));
    assert_eq!(refused, Err(StoreError::OtherTab { theirs: Box::new(there.summary()) }));
    assert_eq!(here, before);
    assert_eq!(Store::load("a"), Ok(there));
    Store::overwrite(&mut here, later(1)).unwrap();
    assert_eq!(here.revision, 3);
    assert_eq!(Store::load("a"), Ok(here));
}

#[wasm_bindgen_test]
fn a_batch_deleted_elsewhere_says_so() {
    fresh();
    let mut here = saved("a");
    Store::delete("a", later(1)).unwrap();
    let refused = Store::save(&mut here, later(1)).unwrap_err();
    assert!(refused.to_string().contains("deleted elsewhere"), "{refused}");
}

#[wasm_bindgen_test]
fn a_full_store_says_so_and_keeps_the_old_text() {
    let shelf = fresh();
    let mut envelope = saved("a");
    let before = envelope.clone();
    let mut size = 4 << 20;
    let mut number = 0;
    // Down to the last character.
    while size > 0 {
        match shelf.set_item(&format!("filler{number}"), &"x".repeat(size)) {
            Ok(()) => number += 1,
            Err(_) => size /= 2,
        }
    }
    envelope.data.notes = "x".repeat(MOST_TEXT);
    let outcome = Store::save(&mut envelope, later(1));
    let unread = Store::load("a");
    fresh_fillers();
    assert_eq!(outcome, Err(StoreError::Full));
    assert_eq!(unread, Ok(before));
    assert_eq!((envelope.revision, envelope.data.notes.len()), (1, MOST_TEXT));
    Store::save(&mut envelope, later(1)).unwrap();
}

fn fresh_fillers() {
    for key in keys("filler") {
        shelf().remove_item(&key).unwrap();
    }
}

#[wasm_bindgen_test]
fn a_batch_too_long_to_read_again_is_not_written() {
    fresh();
    let mut envelope = saved("a");
    envelope.data.notes = "x".repeat(MOST_TEXT + 1);
    let why = DocumentError::TextTooLong("notes", MOST_TEXT + 1);
    assert_eq!(Store::save(&mut envelope, NOW), Err(StoreError::Unsound(KeepError::Document(why))));
    assert_eq!(Store::load("a").unwrap().data.notes, "");
}

#[wasm_bindgen_test]
fn unreadable_text_is_set_aside_whole_listed_and_exported() {
    let shelf = fresh();
    saved("good");
    let torn = "{\"schema\":1,\"data\":{\"id\":\"bad";
    shelf.set_item(&format!("{BATCH}bad"), torn).unwrap();
    let aside = format!("{SET_ASIDE}bad.1");
    for _ in 0..2 {
        let entries = Store::list().unwrap();
        assert_eq!(entries.len(), 2);
        assert!(
            matches!(&entries[1], Entry::Unreadable { key, why: KeepError::CutShort { .. } } if *key == aside)
        );
    }
    assert_eq!(keys(BATCH), [format!("{BATCH}good")]);
    assert_eq!(shelf.get_item(&aside).unwrap().as_deref(), Some(torn));
    // A second one of the same name does not replace the first.
    shelf.set_item(&format!("{BATCH}bad"), "{torn again").unwrap();
    assert!(matches!(Store::load("bad"), Err(StoreError::Unreadable { key, .. }) if key.ends_with("bad.2")));
    let keepsake = Store::export_all(NOW).unwrap();
    assert!(keepsake.contains("torn again"));
    let (read, _) = Store::open_keepsake(&keepsake).unwrap();
    assert_eq!((read.batches.len(), read.set_aside.len()), (1, 2));
    assert_eq!(read.set_aside[0].text, torn);
    assert_eq!(Store::forget(&aside), Ok(()));
    assert_eq!(Store::forget(&format!("{BATCH}good")), Err(StoreError::NotFound));
    assert_eq!((keys(SET_ASIDE).len(), keys(BATCH).len()), (1, 1));
}

#[wasm_bindgen_test]
fn saving_over_unreadable_text_sets_it_aside_first() {
    let shelf = fresh();
    let mut envelope = saved("a");
    shelf.set_item(&format!("{BATCH}a"), "torn").unwrap();
    Store::save(&mut envelope, NOW).unwrap();
    assert_eq!(shelf.get_item(&format!("{SET_ASIDE}a.1")).unwrap().as_deref(), Some("torn"));
    assert_eq!(Store::load("a"), Ok(envelope));
}

#[wasm_bindgen_test]
fn what_has_become_readable_comes_back() {
    let shelf = fresh();
    let envelope = saved("a");
    let text = shelf.get_item(&format!("{BATCH}a")).unwrap().unwrap();
    shelf.remove_item(&format!("{BATCH}a")).unwrap();
    shelf.set_item(&format!("{SET_ASIDE}a.7"), &text).unwrap();
    assert_eq!(Store::list().unwrap(), [Entry::Sound(envelope.summary())]);
    assert_eq!(keys(SET_ASIDE), Vec::<String>::new());
}

#[wasm_bindgen_test]
fn a_newer_schema_is_listed_and_never_changed() {
    let shelf = fresh();
    let text = r#"{"schema":9,"data":{"id":"a","name":"From next year"}}"#;
    shelf.set_item(&format!("{BATCH}a"), text).unwrap();
    assert!(
        matches!(&Store::list().unwrap()[0], Entry::Newer { newer, .. } if newer.name.as_deref() == Some("From next year"))
    );
    assert_eq!(Store::load("a"), Err(StoreError::NewerSchema(9)));
    assert_eq!(Store::save(&mut batch("a"), NOW), Err(StoreError::NewerSchema(9)));
    assert_eq!(Store::overwrite(&mut batch("a"), NOW), Err(StoreError::NewerSchema(9)));
    assert_eq!(Store::purge_old(later(9_999)), Ok(0));
    let keepsake = Store::export_all(NOW).unwrap();
    let (read, _) = Store::open_keepsake(&keepsake).unwrap();
    assert_eq!(read.newer[0].raw, text);
    fresh();
    Store::import(&read).unwrap();
    assert_eq!(shelf.get_item(&format!("{BATCH}a")).unwrap().as_deref(), Some(text));
}

#[wasm_bindgen_test]
fn deleted_batches_come_back_for_thirty_days() {
    fresh();
    let original = saved("a");
    saved("b");
    Store::delete("a", NOW).unwrap();
    assert_eq!(Store::load("a").unwrap().deleted, Some(NOW));
    assert_eq!(Store::purge_old(later(DAYS_KEPT)), Ok(0));
    Store::restore("a", later(1)).unwrap();
    let restored = Store::load("a").unwrap();
    assert_eq!((restored.deleted, restored.revision), (None, 3));
    assert_eq!(restored.data, original.data);
    Store::delete("a", later(1)).unwrap();
    // By the clock alone no time passes: it may be wrong.
    assert_eq!(Store::purge_old(later(DAYS_KEPT + 400)), Ok(0));
    Store::save(&mut batch("c"), later(DAYS_KEPT + 1)).unwrap();
    assert_eq!(Store::purge_old(later(DAYS_KEPT + 400)), Ok(0));
    Store::save(&mut batch("d"), later(DAYS_KEPT + 2)).unwrap();
    assert_eq!(Store::purge_old(later(DAYS_KEPT + 1)), Ok(0));
    assert_eq!(Store::purge_old(later(DAYS_KEPT + 2)), Ok(1));
    assert_eq!(Store::load("a"), Err(StoreError::NotFound));
    assert!(Store::load("b").is_ok());
}

#[wasm_bindgen_test]
fn what_is_deleted_under_a_clock_put_back_counts_from_its_last_save() {
    fresh();
    saved("a");
    Store::delete("a", later(-400)).unwrap();
    assert_eq!(Store::load("a").unwrap().deleted, Some(NOW));
}

#[wasm_bindgen_test]
fn a_text_under_the_key_of_another_batch_opens_as_neither() {
    let shelf = fresh();
    let envelope = saved("a");
    let text = shelf.get_item(&format!("{BATCH}a")).unwrap().unwrap();
    shelf.set_item(&format!("{BATCH}b"), &text).unwrap();
    assert!(matches!(Store::load("b"), Err(StoreError::Unreadable { .. })));
    shelf.set_item(&format!("{BATCH}b"), &text).unwrap();
    Store::list().unwrap();
    assert_eq!(Store::list().unwrap().len(), 1, "it is the same text once more");
    shelf.remove_item(&format!("{BATCH}a")).unwrap();
    shelf.set_item(&format!("{BATCH}b"), &text).unwrap();
    Store::list().unwrap();
    assert_eq!(Store::list().unwrap(), [Entry::Sound(envelope.summary())], "it is back under its own");
    assert_eq!(keys(BATCH), [format!("{BATCH}a")]);
}

#[wasm_bindgen_test]
fn a_batch_is_removed_for_good_alone() {
    fresh();
    saved("a");
    saved("b");
    assert_eq!(Store::remove_batch("a"), Ok(()));
    assert_eq!(Store::remove_batch("a"), Err(StoreError::NotFound));
    assert_eq!(keys(PREFIX), [format!("{BATCH}b")]);
}

#[wasm_bindgen_test]
fn preferences_are_kept_and_unreadable_ones_set_aside() {
    let shelf = fresh();
    let read = || Store::preferences(Preferences::of_text);
    assert_eq!(read(), Ok(None));
    let mut kept = Preferences { theme: Theme::Sun, hide_help: true, ..Preferences::default() };
    kept.set_system(System::Us);
    kept.next_unit(Dimension::Pressure);
    Store::save_preferences(&kept.to_text()).unwrap();
    assert_eq!(read(), Ok(Some(kept)));
    // What an earlier version wrote is read as well.
    let earlier = r#"{"system":"us","units":{"gravity":"plato"},"theme":"dark","hide_help":false}"#;
    shelf.set_item(PREFERENCES, earlier).unwrap();
    let found = read().unwrap().unwrap();
    assert_eq!((found.system, found.theme, found.hide_help), (System::Us, Theme::Dark, false));
    assert_eq!(found.unit(Dimension::Gravity).key, "plato");
    shelf.set_item(PREFERENCES, "{\"size\":").unwrap();
    assert!(matches!(read(), Err(StoreError::Unreadable { .. })));
    assert_eq!(read(), Ok(None));
    assert_eq!(shelf.get_item(&format!("{SET_ASIDE}preferences.1")).unwrap().as_deref(), Some("{\"size\":"));
}

#[wasm_bindgen_test]
fn a_keepsake_brings_everything_to_an_empty_browser() {
    let shelf = fresh();
    let (one, two) = (saved("a"), saved("b"));
    Store::delete("b", later(1)).unwrap();
    let chosen = Preferences { hide_help: true, ..Preferences::default() };
    Store::save_preferences(&chosen.to_text()).unwrap();
    shelf.set_item(&format!("{SET_ASIDE}c.1"), "torn").unwrap();
    let keepsake = Store::export_all(later(2)).unwrap();
    let before: Vec<_> = keys(PREFIX).into_iter().map(|key| shelf.get_item(&key).unwrap()).collect();

    // Into the same book: nothing changes.
    let (read, merged) = Store::open_keepsake(&keepsake).unwrap();
    assert!(merged.lines.iter().all(|line| line.action == Action::Same));
    assert_eq!(Store::import(&read).unwrap().changed, []);
    let after: Vec<_> = keys(PREFIX).into_iter().map(|key| shelf.get_item(&key).unwrap()).collect();
    assert_eq!(before, after);

    // Into an empty one, twice: all is there, once.
    fresh();
    for _ in 0..2 {
        Store::import(&read).unwrap();
        let after: Vec<_> = keys(PREFIX).into_iter().map(|key| shelf.get_item(&key).unwrap()).collect();
        assert_eq!(before, after);
    }
    assert_eq!(Store::load("a"), Ok(one));
    assert_eq!(Store::load("b").unwrap().data, two.data);
    assert_eq!(Store::preferences(Preferences::of_text), Ok(Some(chosen)));
}

#[wasm_bindgen_test]
fn a_keepsake_never_replaces_what_cannot_be_read() {
    let shelf = fresh();
    saved("a");
    let keepsake = Store::export_all(NOW).unwrap();
    let (read, _) = Store::open_keepsake(&keepsake).unwrap();
    shelf.set_item(&format!("{BATCH}a"), "torn").unwrap();
    Store::import(&read).unwrap();
    assert!(Store::load("a").is_ok());
    assert_eq!(shelf.get_item(&format!("{SET_ASIDE}a.1")).unwrap().as_deref(), Some("torn"));
}

#[wasm_bindgen_test]
fn half_a_keepsake_changes_nothing() {
    fresh();
    saved("a");
    let keepsake = Store::export_all(NOW).unwrap();
    let refused = Store::open_keepsake(&keepsake[..keepsake.len() / 2]).unwrap_err();
    assert!(refused.to_string().contains("Nothing was changed"), "{refused}");
    assert!(matches!(refused, StoreError::Unsound(KeepError::CutShort { .. })));
}

#[wasm_bindgen_test]
fn other_tabs_are_heard_until_the_watch_ends() {
    fresh();
    let heard = Rc::new(RefCell::new(Vec::new()));
    let watch = Store::watch({
        let heard = Rc::clone(&heard);
        move |change| heard.borrow_mut().push(change)
    });
    let tell = |key: Option<&str>| {
        let init = StorageEventInit::new();
        init.set_key(key);
        let event = StorageEvent::new_with_event_init_dict("storage", &init).unwrap();
        web_sys::window().unwrap().dispatch_event(&event).unwrap();
    };
    tell(Some("tartwright.batch.a.b"));
    tell(Some(PREFERENCES));
    tell(Some("tartwright.set-aside.a.1"));
    tell(Some("of another program"));
    tell(None);
    watch.remove();
    tell(Some(PREFERENCES));
    let heard = heard.borrow();
    assert_eq!(
        *heard,
        [Change::Batch("a.b".to_owned()), Change::Preferences, Change::SetAside, Change::Everything]
    );
}

#[wasm_bindgen_test]
fn a_thousand_batches_fit_and_open_fast() {
    fresh();
    // A finished batch is held to 2,000 characters; notes stand in for its readings here.
    let mut envelope = batch("a");
    envelope.data.notes = "n".repeat(1_700);
    for number in 0..1_000 {
        let mut envelope = envelope.clone();
        envelope.data.id = format!("b{number}");
        Store::save(&mut envelope, NOW).unwrap();
    }
    let clock = web_sys::window().unwrap().performance().unwrap();
    let start = clock.now();
    let listed = Store::list().unwrap().len();
    let listing = clock.now() - start;
    let start = clock.now();
    let read = Store::envelopes().unwrap().len();
    let reading = clock.now() - start;
    fresh();
    assert_eq!((listed, read), (1_000, 1_000));
    wasm_bindgen_test::console_log!("1,000 batches: {listing:.0} ms to list, {reading:.0} ms to read");
    // Generous: a test machine may be busy, and this is an unoptimised build.
    assert!(listing < 2_000.0, "{listing} ms");
}
