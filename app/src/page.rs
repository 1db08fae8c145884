//! The page around every screen: what is shared, which screen the address
//! names, and the banners that hold for all of them.

use crate::alarm::Alarm;
use crate::offline::{Offline, Update, call, property};
use crate::preferences::{Preferences, Theme};
use crate::signals::{RwSignal, StoredValue, effect};
use crate::state::{Open, Saved, Shared, SharedParts};
use crate::store::{Change, Store, StoreError};
use crate::view::{Shows, View, tag};
use crate::widgets::{button, live, toast_view};
use crate::{again, batch_screen, book, clock, compare, glossary, keepsake_screen, more, share, timers};
use batch::keep::Envelope;
use leptos::prelude::*;
use wasm_bindgen::JsCast;

/// Which screen the address names.
#[derive(Clone, Debug, PartialEq)]
enum Route {
    /// All batches.
    Book,
    /// The batch of this identity.
    Batch(String),
    /// Settings, house numbers, keepsake.
    More,
    /// The form between an old batch and a new one.
    Again(String),
    /// Batches side by side, their identities between commas.
    Compare(String),
    /// What was measured from batch to batch.
    Trends,
    /// The ways out of this batch: print, share, link, table.
    Out(String),
    /// A batch that came in a link.
    Open(String),
    /// What the words mean.
    Words,
}

/// The address of the batch book.
pub const BOOK: &str = "#/";
/// The address of the settings.
pub const MORE: &str = "#/more";

/// The address of the glossary.
pub const WORDS: &str = "#/words";

/// The address of a batch.
pub fn batch_address(id: &str) -> String {
    format!("#/b/{id}")
}

/// The address of a batch's ways out.
pub fn out_address(id: &str) -> String {
    format!("#/out/{id}")
}

/// Goes to an address within the app.
pub fn go(address: &str) {
    // Setting the fragment of the page's own address cannot be refused.
    let _ = window().location().set_hash(address);
}

fn route() -> Route {
    let hash = window().location().hash().unwrap_or_default();
    match hash.strip_prefix("#/").unwrap_or_default() {
        "more" => Route::More,
        "trends" => Route::Trends,
        "words" => Route::Words,
        rest => match rest.split_once('/') {
            Some(("b", id)) => Route::Batch(id.to_owned()),
            Some(("out", id)) => Route::Out(id.to_owned()),
            Some(("open", text)) => Route::Open(text.to_owned()),
            Some(("again", rest)) => Route::Again(rest.to_owned()),
            Some(("compare", ids)) => Route::Compare(ids.to_owned()),
            _ => Route::Book,
        },
    }
}

/// Sets an attribute of the page's root, where the style sheet looks for it.
pub fn mark_root(attribute: &str, value: &str) {
    if let Some(root) = document().document_element() {
        let _ = root.set_attribute(attribute, value);
    }
}

/// Moves the focus to the first element that matches, if it can take it.
pub fn focus(selector: &str) {
    let found = document().query_selector(selector).ok().flatten();
    if let Some(element) = found.and_then(|element| element.dyn_into::<web_sys::HtmlElement>().ok()) {
        let _ = element.focus();
    }
}

/// Names the page after its first heading: tabs, windows and screen readers tell screens apart by it.
pub fn retitle() {
    let heading = document().query_selector("h1").ok().flatten();
    if let Some(words) = heading.and_then(|heading| heading.text_content()) {
        let app = if words == "Tartwright" { "" } else { " · Tartwright" };
        document().set_title(&[&words, app].concat());
    }
}

/// Keeps the focus on the screen when what had it goes, without moving the screen.
pub fn rest_focus() {
    let main = document().query_selector("main").ok().flatten();
    if let Some(main) = main.and_then(|element| element.dyn_into::<web_sys::HtmlElement>().ok()) {
        let still = web_sys::FocusOptions::new();
        still.set_prevent_scroll(true);
        let _ = main.focus_with_options(&still);
    }
}

/// The screen has room for a second column, from the same width on as in the style sheet.
fn is_wide() -> bool {
    let found = call(&window(), "matchMedia", &["(min-width: 62.5rem)".into()]);
    found.and_then(|found| property(&found, "matches")?.as_bool()).unwrap_or_default()
}

/// The whole app.
pub fn page() -> View {
    let shared = Shared::new(SharedParts {
        // What cannot be read was set aside, and is listed in the batch book.
        preferences: RwSignal::new(
            Store::preferences(Preferences::of_text).ok().flatten().unwrap_or_default(),
        ),
        now: clock::ticking(),
        wide: RwSignal::new(is_wide()),
        toast: RwSignal::new(None),
        offline: Offline::register(),
        stored: RwSignal::new(0),
        unsaved: StoredValue::new(Vec::new()),
    });
    provide_context(shared);
    provide_context(Alarm::set_up(shared));
    // A store that cannot be read cannot be tidied either; the batch book says so.
    let _ = Store::purge_old(clock::now());

    let mut before = None::<Preferences>;
    effect(move || {
        let now = shared.preferences.get();
        mark_root("data-theme", now.theme.key());
        if before.as_ref().is_some_and(|before| *before != now)
            && let Err(problem) = Store::save_preferences(&now.to_text())
        {
            shared.tell(problem.to_string());
        }
        before = Some(now);
    });
    let _ = Store::watch(move |change| {
        if change == Change::Preferences
            && let Ok(Some(theirs)) = Store::preferences(Preferences::of_text)
        {
            shared.preferences.set(theirs);
        }
        shared.stored_changed();
    });

    let _ = window_event_listener_untyped("resize", move |_| {
        if shared.wide.get_untracked() != is_wide() {
            shared.wide.set(is_wide());
        }
    });

    // The enter key sends the form that a field is in, which would leave the page.
    let _ = window_event_listener_untyped("submit", |event| event.prevent_default());

    let current = RwSignal::new(route());
    let _ = window_event_listener_untyped("hashchange", move |_| {
        let next = route();
        if current.get_untracked() != next {
            current.set(next);
            // A new screen begins at its top, and is read out from there.
            request_animation_frame(|| {
                focus("main");
                window().scroll_to_with_x_and_y(0.0, 0.0);
                retitle();
            });
        }
    });
    let screen = move || match current.get() {
        Route::Book => {
            mark_root("data-fruit", "red");
            book::screen(shared)
        }
        Route::More => {
            mark_root("data-fruit", "red");
            more::screen(shared)
        }
        Route::Words => glossary::screen(),
        Route::Again(rest) => again::screen(shared, &rest),
        Route::Compare(ids) => compare::screen(shared, &ids),
        Route::Trends => compare::trends_screen(shared),
        Route::Batch(id) => batch(shared, &id, batch_screen::screen),
        Route::Out(id) => batch(shared, &id, share::screen),
        Route::Open(text) => keepsake_screen::link_screen(shared, &text),
    };
    request_animation_frame(retitle);
    View::many(vec![
        // Above the screen, so also before it for those who go through it by ear or by keyboard.
        toast_view(shared),
        tag("div")
            .class("page")
            .child(live(move || {
                (shared.offline.update().get() == Update::Ready).then(|| update_banner(shared))
            }))
            .child(timers::elsewhere())
            .child(live(screen))
            .view(),
    ])
}

fn update_banner(shared: Shared) -> View {
    tag("div")
        .class("banner")
        .set("role", "status")
        .set("data-test", "update")
        .child(tag("p").child(
            "A newer version is on this device. Change over when no entry is half typed; all batches stay.",
        ))
        .child(button("", "update-now", "Change over now", move || shared.offline.accept_update()))
        .view()
}

fn batch(shared: Shared, id: &str, screen: fn(Shared) -> View) -> View {
    let unsaved = shared.unsaved.try_update_value(|unsaved| {
        let place = unsaved.iter().position(|(envelope, _)| envelope.data.id == id)?;
        Some(unsaved.swap_remove(place))
    });
    let found: Result<(Envelope, Saved), StoreError> = match unsaved.flatten() {
        Some((envelope, problem)) => Ok((envelope, Saved::No(problem))),
        None => Store::load(id).map(|envelope| (envelope, Saved::Yes)),
    };
    match found {
        Ok((envelope, saved)) => {
            provide_context(Open::new(shared, envelope, saved));
            screen(shared)
        }
        Err(problem) => {
            mark_root("data-fruit", "red");
            book::unopened(id, &problem)
        }
    }
}

/// The looks, for the picker in the settings.
pub fn themes() -> Vec<(Theme, String)> {
    Theme::ALL.iter().map(|&(theme, name)| (theme, name.to_owned())).collect()
}
