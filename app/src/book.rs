//! The batch book: every batch on this device.

use crate::offline::{InstallInvitation, Persistence};
use crate::page::{BOOK, MORE, batch_address, go};
use crate::state::Shared;
use crate::store::{BATCH, Entry, Store, StoreError};
use crate::widgets::{button, live};
use crate::{clock, text_file};
use batch::document::{Batch, Step};
use batch::house::{House, Lesson};
use batch::keep::{Envelope, Summary};
use batch::moment::Moment;
use leptos::prelude::*;

/// Entries drawn before the person asks for all: a long book must open at once.
const FIRST: usize = 30;

/// The batch book.
pub fn screen(shared: Shared) -> AnyView {
    let all = RwSignal::new(false);
    let body = move || {
        shared.stored.track();
        match Store::list() {
            Ok(entries) => listed(shared, entries, all),
            Err(problem) => view! {
                {warning(&problem.to_string())}
                {welcome(shared)}
            }
            .into_any(),
        }
    };
    view! {
        <header class="top">
            <h1 class="mark">"Tartwright"</h1>
            <a class="button quiet" href=MORE data-test="more">"Settings"</a>
        </header>
        <main tabindex="-1">
            {at_risk(shared)}
            {live(body)}
        </main>
    }
    .into_any()
}

fn warning(message: &str) -> AnyView {
    view! { <div class="banner stop" role="alert"><p>{message.to_owned()}</p></div> }.into_any()
}

/// A browser that made no promise is worth a line, once there is something to lose.
fn at_risk(shared: Shared) -> AnyView {
    let shown = move || {
        (shared.offline.persistence().get() == Persistence::AtRisk).then(|| {
            view! {
                <p class="aside">
                    "This browser may clear saved batches when space runs short. "
                    <a href=MORE>"Save a keepsake file"</a> " now and then."
                </p>
            }
            .into_any()
        })
    };
    live(shown)
}

fn welcome(shared: Shared) -> AnyView {
    view! {
        <section class="welcome" data-test="welcome">
            <p class="lead">
                "Plan a quick-soured fruited beer, follow it from the water to the package, "
                "and let every reading sharpen what comes next."
            </p>
            {invitation(shared)}
            {beginnings(shared)}
            <p class="aside">
                "All of it happens on this device, with or without a network. Nothing is sent anywhere."
            </p>
        </section>
    }
    .into_any()
}

/// The offer to install, which comes before the first batch: a phone may give
/// an installed app a store of its own.
pub fn invitation(shared: Shared) -> AnyView {
    let shown = move || {
        match shared.offline.invitation().get() {
        InstallInvitation::None => ().into_any(),
        InstallInvitation::Accepted => {
            view! { <p class="aside" role="status">"Installed. Open it from the home screen from now on."</p> }.into_any()
        }
        InstallInvitation::Open => view! {
            <div class="banner">
                <p>"Put Tartwright on the home screen first: some phones give it a store of its own there."</p>
                {button("", "install", "Install", move || shared.offline.install())}
            </div>
        }
        .into_any(),
    }
    };
    live(shown)
}

fn beginnings(shared: Shared) -> AnyView {
    view! {
        <div class="beginnings">
            {button("main", "new-batch", "New batch", move || begin_new(shared))}
            {button("", "demo", "Open the invented example", move || begin_demo(shared))}
        </div>
    }
    .into_any()
}

/// An identity that no other batch has, on any device.
fn fresh_id() -> String {
    let random = (js_sys::Math::random() * f64::from(u32::MAX)) as u32;
    format!("{:x}{random:08x}", clock::now().as_seconds())
}

/// What all finished and unfinished batches of this book taught so far.
pub fn learned() -> House {
    let batches = Store::envelopes().unwrap_or_default();
    let real = batches.iter().filter(|envelope| envelope.deleted.is_none() && !envelope.data.invented);
    let lessons: Vec<Lesson> = real.flat_map(|envelope| batch::plan::plan(&envelope.data).lessons).collect();
    House::learn(&lessons)
}

fn begin_new(shared: Shared) {
    let now = clock::now();
    begin(shared, Batch::new(fresh_id(), format!("Batch of {}", clock::day(now)), now, learned()));
}

fn begin_demo(shared: Shared) {
    begin(shared, batch::demo::demo(fresh_id(), clock::now()));
}

fn begin_again(shared: Shared, id: &str) {
    match Store::load(id) {
        Ok(old) => {
            let name = format!("{}, again", old.data.name);
            begin(shared, old.data.again(fresh_id(), name, clock::now(), learned()));
        }
        Err(problem) => shared.tell(problem.to_string()),
    }
}

/// Stores a new batch and opens it; where it cannot be stored it opens all the same.
fn begin(shared: Shared, batch: Batch) {
    let address = batch_address(&batch.id);
    let mut envelope = Envelope::new(batch);
    match Store::save(&mut envelope, clock::now()) {
        Ok(()) => {
            shared.offline.ask_to_keep();
            shared.stored_changed();
        }
        Err(problem) => shared.unsaved.update_value(|unsaved| unsaved.push((envelope, problem))),
    }
    go(&address);
}

fn listed(shared: Shared, entries: Vec<Entry>, all: RwSignal<bool>) -> AnyView {
    let (mut kept, mut deleted, mut odd) = (Vec::new(), Vec::new(), Vec::new());
    for entry in entries {
        match entry {
            Entry::Sound(summary) if summary.deleted.is_some() => deleted.push(summary),
            Entry::Sound(summary) => kept.push(summary),
            Entry::Newer { .. } | Entry::Unreadable { .. } => odd.push(entry),
        }
    }
    let count = kept.len();
    let shown = if all.get() { count } else { count.min(FIRST) };
    let rows: Vec<AnyView> = kept.into_iter().take(shown).map(|summary| row(shared, summary)).collect();
    let book = if count == 0 {
        welcome(shared)
    } else {
        let rest = (shown < count)
            .then(|| button("", "", format!("Show all {count} batches"), move || all.set(true)));
        view! {
            {beginnings(shared)}
            <h2>"Batch book"</h2>
            <ul class="book">{rows}</ul>
            {rest}
        }
        .into_any()
    };
    let odd = (!odd.is_empty()).then(|| {
        let rows: Vec<AnyView> = odd.into_iter().map(|entry| odd_row(shared, entry)).collect();
        view! {
            <section data-test="unreadable">
                <h2>"Kept, but not opened"</h2>
                <ul class="book">{rows}</ul>
            </section>
        }
        .into_any()
    });
    let deleted = (!deleted.is_empty()).then(|| {
        let count = deleted.len();
        let rows: Vec<AnyView> = deleted.into_iter().map(|summary| deleted_row(shared, summary)).collect();
        view! {
            <details class="fold" data-test="deleted">
                <summary>{format!("Recently deleted ({count})")}</summary>
                <p class="aside">{format!("Kept for {} days, then removed for good.", batch::keep::DAYS_KEPT)}</p>
                <ul class="book">{rows}</ul>
            </details>
        }
        .into_any()
    });
    view! {
        {book}
        {odd}
        {deleted}
    }
    .into_any()
}

/// The stage a batch is in, in words.
fn state_of(batch: &Batch) -> &'static str {
    let next = match batch.ticks.last() {
        None => return "planned",
        Some(last) => Step::ALL.iter().find(|&&step| step > last.0),
    };
    next.map_or("finished", |step| step.stage().title())
}

fn row(shared: Shared, summary: Summary) -> AnyView {
    let Summary { id, name, invented, .. } = summary;
    let state = match Store::load(&id) {
        Ok(envelope) => {
            format!("{} · begun {}", state_of(&envelope.data), clock::day(envelope.data.begun))
        }
        Err(problem) => problem.to_string(),
    };
    let (again, gone) = (id.clone(), id.clone());
    let shown = if name.trim().is_empty() { "Batch without a name".to_owned() } else { name.clone() };
    view! {
        <li data-test="batch">
            <a class="open" href=batch_address(&id)>
                <span class="name">{shown.clone()}</span>
                {invented.then(|| view! { <span class="tag">"invented example"</span> }.into_any())}
                <span class="state">{state}</span>
            </a>
            <details class="menu">
                <summary aria-label=format!("More for {shown}")>"⋯"</summary>
                <div class="actions">
                    {button("", "again", "Brew again", move || begin_again(shared, &again))}
                    {button("", "delete", "Delete", move || delete(shared, gone.clone(), &name))}
                </div>
            </details>
        </li>
    }
    .into_any()
}

fn delete(shared: Shared, id: String, name: &str) {
    if shared.stored_or_told(Store::delete(&id, clock::now())) {
        shared.tell_with_undo(format!("“{name}” deleted."), move || {
            shared.stored_or_told(Store::restore(&id, clock::now()));
        });
    }
}

fn deleted_row(shared: Shared, summary: Summary) -> AnyView {
    let Summary { id, name, deleted, .. } = summary;
    let when = clock::day(deleted.unwrap_or(Moment::from_seconds(0)));
    view! {
        <li>
            <span class="open"><span class="name">{name}</span><span class="state">{format!("deleted {when}")}</span></span>
            {button("", "restore", "Restore", move || {
                    shared.stored_or_told(Store::restore(&id, clock::now()));
                })}
        </li>
    }
    .into_any()
}

/// A text that is kept but cannot be opened: why, and the way to save it.
fn odd_row(shared: Shared, entry: Entry) -> AnyView {
    let (key, name, why, aside) = match entry {
        Entry::Newer { key, newer } => {
            let name = newer.name.unwrap_or_else(|| "A batch of a newer version".to_owned());
            (key, name, StoreError::NewerSchema(newer.schema).to_string(), false)
        }
        Entry::Unreadable { key, why } => {
            (key, "A text that cannot be read".to_owned(), why.to_string(), true)
        }
        Entry::Sound(summary) => (String::new(), summary.name, String::new(), false),
    };
    let sure = RwSignal::new(false);
    let forgotten = key.clone();
    let forget = aside.then(|| {
        button(
            "quiet",
            "",
            live(
                move || {
                    if sure.get() { "Really remove? It cannot be brought back" } else { "Remove for good" }
                },
            ),
            move || {
                if sure.get_untracked() {
                    shared.stored_or_told(Store::forget(&forgotten));
                }
                sure.set(true);
            },
        )
    });
    view! {
        <li class="odd">
            <span class="open"><span class="name">{name}</span><span class="state">{why}</span></span>
            <details class="fold">
                <summary>"Show and save the text"</summary>
                {raw_text(&key)}
                {forget}
            </details>
        </li>
    }
    .into_any()
}

/// A stored text as it is, to read, copy and save.
fn raw_text(key: &str) -> AnyView {
    let text = Store::text(key).unwrap_or_default();
    let saved = text.clone();
    view! {
        <label class="wide">
            "The stored text"
            <textarea readonly rows="6" prop:value=text></textarea>
        </label>
        {button("", "", "Save it as a file", move || { text_file::save("tartwright-text.json", &saved); })}
    }
    .into_any()
}

/// The screen for an address whose batch cannot be opened.
pub fn unopened(id: &str, problem: &StoreError) -> AnyView {
    let key = match problem {
        StoreError::Unreadable { key, .. } => Some(key.clone()),
        StoreError::NewerSchema(_) => Some(format!("{BATCH}{id}")),
        _ => None,
    };
    view! {
        <header class="top"><a class="button quiet" href=BOOK>"Batch book"</a></header>
        <main tabindex="-1">
            <h1>"Not opened"</h1>
            {warning(&problem.to_string())}
            {key.map(|key| raw_text(&key))}
        </main>
    }
    .into_any()
}
