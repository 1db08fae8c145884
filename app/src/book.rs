//! The batch book: every batch on this device.

use crate::offline::{InstallInvitation, Persistence};
use crate::page::{BOOK, MORE, batch_address, go};
use crate::state::Shared;
use crate::store::{BATCH, Entry, Store, StoreError};
use crate::view::{Shows, View, tag};
use crate::widgets::{button, live};
use crate::{clock, text_file};
use batch::again::{Target, again};
use batch::document::{Batch, Step};
use batch::house::{House, Lesson};
use batch::keep::{Envelope, Summary};
use batch::moment::Moment;
use leptos::prelude::*;

/// Entries drawn before the person asks for all: a long book must open at once.
const FIRST: usize = 30;

/// The batch book.
pub fn screen(shared: Shared) -> View {
    let all = RwSignal::new(false);
    let body = move || {
        shared.stored.track();
        match Store::list() {
            Ok(entries) => listed(shared, entries, all),
            Err(problem) => {
                View::Many(vec![(warning(&problem.to_string())).view(), (welcome(shared)).view()])
            }
        }
    };
    View::Many(vec![
        tag("header")
            .class("top")
            .child(tag("h1").class("mark").child("Tartwright"))
            .child(
                tag("a").class("button quiet").set("href", MORE).set("data-test", "more").child("Settings"),
            )
            .view(),
        tag("main").set("tabindex", "-1").child(at_risk(shared)).child(live(body)).view(),
    ])
}

fn warning(message: &str) -> View {
    tag("div").class("banner stop").set("role", "alert").child(tag("p").child(message.to_owned())).view()
}

/// A browser that made no promise is worth a line, once there is something to lose.
fn at_risk(shared: Shared) -> View {
    let shown = move || {
        (shared.offline.persistence().get() == Persistence::AtRisk).then(|| {
            tag("p")
                .class("aside")
                .child("This browser may clear saved batches when space runs short. ")
                .child(tag("a").set("href", MORE).child("Save a keepsake file"))
                .child(" now and then.")
                .view()
        })
    };
    live(shown)
}

fn welcome(shared: Shared) -> View {
    tag("section")
        .class("welcome")
        .set("data-test", "welcome")
        .child(
            tag("p")
                .class("lead")
                .child("Plan a quick-soured fruited beer, follow it from the water to the package, ")
                .child("and let every reading sharpen what comes next."),
        )
        .child(invitation(shared))
        .child(beginnings(shared))
        .child(
            tag("p").class("aside").child(
                "All of it happens on this device, with or without a network. Nothing is sent anywhere.",
            ),
        )
        .view()
}

/// The offer to install, which comes before the first batch: a phone may give
/// an installed app a store of its own.
pub fn invitation(shared: Shared) -> View {
    let shown = move || match shared.offline.invitation().get() {
        InstallInvitation::None => View::Nothing,
        InstallInvitation::Accepted => tag("p")
            .class("aside")
            .set("role", "status")
            .child("Installed. Open it from the home screen from now on.")
            .view(),
        InstallInvitation::Open => tag("div")
            .class("banner")
            .child(tag("p").child(
                "Put Tartwright on the home screen first: some phones give it a store of its own there.",
            ))
            .child(button("", "install", "Install", move || shared.offline.install()))
            .view(),
    };
    live(shown)
}

fn beginnings(shared: Shared) -> View {
    tag("div")
        .class("beginnings")
        .child(button("main", "new-batch", "New batch", move || begin_new(shared)))
        .child(button("", "demo", "Open the invented example", move || begin_demo(shared)))
        .view()
}

/// An identity that no other batch has, on any device.
fn fresh_id() -> String {
    let random = (js_sys::Math::random() * f64::from(u32::MAX)) as u32;
    format!("{:x}{random:08x}", clock::now().as_seconds())
}

/// What all finished and unfinished batches of this book taught so far, those left out that are invented.
pub fn lessons() -> Vec<Lesson> {
    let batches = Store::envelopes().unwrap_or_default();
    let real = batches.iter().filter(|envelope| envelope.deleted.is_none() && !envelope.data.invented);
    real.flat_map(|envelope| batch::plan::plan(&envelope.data).lessons).collect()
}

/// The house numbers for a new batch.
fn learned(shared: Shared) -> House {
    shared.preferences.with_untracked(|p| House::learn(&lessons(), &p.rules))
}

fn begin_new(shared: Shared) {
    let now = clock::now();
    begin(shared, Batch::new(fresh_id(), format!("Batch of {}", clock::day(now)), now, learned(shared)));
}

fn begin_demo(shared: Shared) {
    begin(shared, batch::demo::demo(fresh_id(), clock::now()));
}

fn begin_again(shared: Shared, id: &str) {
    match Store::load(id) {
        Ok(old) => {
            let name = format!("{}, again", old.data.name);
            let new = again(&old.data, Target::default(), fresh_id(), name, clock::now(), learned(shared));
            begin(shared, new.batch);
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

fn listed(shared: Shared, entries: Vec<Entry>, all: RwSignal<bool>) -> View {
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
    let rows: Vec<View> = kept.into_iter().take(shown).map(|summary| row(shared, summary)).collect();
    let book = if count == 0 {
        welcome(shared)
    } else {
        let rest = (shown < count)
            .then(|| button("", "", format!("Show all {count} batches"), move || all.set(true)));
        View::Many(vec![
            (beginnings(shared)).view(),
            tag("h2").child("Batch book").view(),
            tag("ul").class("book").child(rows).view(),
            (rest).view(),
        ])
    };
    let odd = (!odd.is_empty()).then(|| {
        let rows: Vec<View> = odd.into_iter().map(|entry| odd_row(shared, entry)).collect();
        tag("section")
            .set("data-test", "unreadable")
            .child(tag("h2").child("Kept, but not opened"))
            .child(tag("ul").class("book").child(rows))
            .view()
    });
    let deleted = (!deleted.is_empty()).then(|| {
        let count = deleted.len();
        let rows: Vec<View> = deleted.into_iter().map(|summary| deleted_row(shared, summary)).collect();
        tag("details")
            .class("fold")
            .set("data-test", "deleted")
            .child(tag("summary").child(format!("Recently deleted ({count})")))
            .child(
                tag("p")
                    .class("aside")
                    .child(format!("Kept for {} days, then removed for good.", batch::keep::DAYS_KEPT)),
            )
            .child(tag("ul").class("book").child(rows))
            .view()
    });
    View::Many(vec![(book).view(), (odd).view(), (deleted).view()])
}

/// The stage a batch is in, in words.
fn state_of(batch: &Batch) -> &'static str {
    let next = match batch.ticks.last() {
        None => return "planned",
        Some(last) => Step::ALL.iter().find(|&&step| step > last.0),
    };
    next.map_or("finished", |step| step.stage().title())
}

fn row(shared: Shared, summary: Summary) -> View {
    let Summary { id, name, invented, .. } = summary;
    let state = match Store::load(&id) {
        Ok(envelope) => {
            format!("{} · begun {}", state_of(&envelope.data), clock::day(envelope.data.begun))
        }
        Err(problem) => problem.to_string(),
    };
    let (again, gone) = (id.clone(), id.clone());
    let shown = if name.trim().is_empty() { "Batch without a name".to_owned() } else { name.clone() };
    tag("li")
        .set("data-test", "batch")
        .child(
            tag("a")
                .class("open")
                .set("href", batch_address(&id))
                .child(tag("span").class("name").child(shown.clone()))
                .child(invented.then(|| tag("span").class("tag").child("invented example").view()))
                .child(tag("span").class("state").child(state)),
        )
        .child(
            tag("details")
                .class("menu")
                .child(tag("summary").set("aria-label", format!("More for {shown}")).child("⋯"))
                .child(
                    tag("div")
                        .class("actions")
                        .child(button("", "again", "Brew again", move || begin_again(shared, &again)))
                        .child(button("", "delete", "Delete", move || delete(shared, gone.clone(), &name))),
                ),
        )
        .view()
}

fn delete(shared: Shared, id: String, name: &str) {
    if shared.stored_or_told(Store::delete(&id, clock::now())) {
        shared.tell_with_undo(format!("“{name}” deleted."), move || {
            shared.stored_or_told(Store::restore(&id, clock::now()));
        });
    }
}

fn deleted_row(shared: Shared, summary: Summary) -> View {
    let Summary { id, name, deleted, .. } = summary;
    let when = clock::day(deleted.unwrap_or(Moment::from_seconds(0)));
    tag("li")
        .child(
            tag("span")
                .class("open")
                .child(tag("span").class("name").child(name))
                .child(tag("span").class("state").child(format!("deleted {when}"))),
        )
        .child(button("", "restore", "Restore", move || {
            shared.stored_or_told(Store::restore(&id, clock::now()));
        }))
        .view()
}

/// A text that is kept but cannot be opened: why, and the way to save it.
fn odd_row(shared: Shared, entry: Entry) -> View {
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
    tag("li")
        .class("odd")
        .child(
            tag("span")
                .class("open")
                .child(tag("span").class("name").child(name))
                .child(tag("span").class("state").child(why)),
        )
        .child(
            tag("details")
                .class("fold")
                .child(tag("summary").child("Show and save the text"))
                .child(raw_text(&key))
                .child(forget),
        )
        .view()
}

/// A stored text as it is, to read, copy and save.
fn raw_text(key: &str) -> View {
    let text = Store::text(key).unwrap_or_default();
    let saved = text.clone();
    View::Many(vec![
        tag("label")
            .class("wide")
            .child("The stored text")
            .child(
                tag("textarea")
                    .set("readonly", true)
                    .set("rows", "6")
                    .property("value", move || text.clone()),
            )
            .view(),
        (button("", "", "Save it as a file", move || {
            text_file::save("tartwright-text.json", &saved);
        }))
        .view(),
    ])
}

/// The screen for an address whose batch cannot be opened.
pub fn unopened(id: &str, problem: &StoreError) -> View {
    let key = match problem {
        StoreError::Unreadable { key, .. } => Some(key.clone()),
        StoreError::NewerSchema(_) => Some(format!("{BATCH}{id}")),
        _ => None,
    };
    View::Many(vec![
        tag("header")
            .class("top")
            .child(tag("a").class("button quiet").set("href", BOOK).child("Batch book"))
            .view(),
        tag("main")
            .set("tabindex", "-1")
            .child(tag("h1").child("Not opened"))
            .child(warning(&problem.to_string()))
            .child(key.map(|key| raw_text(&key)))
            .view(),
    ])
}
