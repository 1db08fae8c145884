//! The batch book: every batch on this device.

use crate::again;
use crate::lists::toggle;
use crate::offline::{InstallInvitation, Persistence};
use crate::page::{BOOK, MORE, batch_address, go};
use crate::signals::{Callback, RwSignal, Signal, effect};
use crate::state::Shared;
use crate::store::{BATCH, Entry, Store, StoreError};
use crate::view::{Shows, View, tag};
use crate::widgets::{button, index_picker, live};
use crate::{clock, text_file};
use batch::compare::{liked, tasted};
use batch::document::{Batch, Step, TasteField};
use batch::house::{House, Lesson};
use batch::keep::{Envelope, Summary};
use batch::moment::Moment;
use leptos::prelude::*;

/// Entries drawn at a time: a long book must open at once.
const WINDOW: usize = 30;

/// The ways to order the book.
const ORDERS: [&str; 4] = ["Newest first", "By name", "Best tasted first", "Sourest first"];

/// What is looked for in the book.
#[derive(Clone, Copy)]
struct Find {
    /// Words in name, fruit or notes.
    words: RwSignal<String>,
    /// The place of an order.
    order: RwSignal<usize>,
    /// How many rows are drawn.
    shown: RwSignal<usize>,
    /// While batches are ticked to be compared: their identities.
    ticked: RwSignal<Option<Vec<String>>>,
    /// All batches at a glance, as far as they have been opened.
    all: RwSignal<Vec<Glance>>,
    /// Counts how often opening them was begun; nothing while nobody looks for anything.
    round: RwSignal<Option<u32>>,
}

/// So many batches are opened before a key may come between: a thousand in one go would hold it up for a second.
const AT_ONCE: usize = 8;

impl Find {
    /// Opens all batches, if that was not begun.
    fn begin(self) {
        if self.round.get_untracked().is_none() {
            self.begin_anew();
        }
    }

    fn begin_anew(self) {
        let round = self.round.get_untracked().map_or(0, |round| round.wrapping_add(1));
        self.round.set(Some(round));
        self.all.set(Vec::new());
        self.go_on(round, Store::batch_texts());
    }

    fn go_on(self, round: u32, mut texts: Vec<String>) {
        // The screen may be gone, or what is stored may be another by now.
        if self.round.try_get_untracked() != Some(Some(round)) || texts.is_empty() {
            return;
        }
        let rest = texts.split_off(AT_ONCE.min(texts.len()));
        self.all.update(|all| {
            let readable = texts.iter().filter_map(|text| Store::readable(text));
            all.extend(
                readable.filter(|envelope| envelope.deleted.is_none()).map(|envelope| glance(&envelope)),
            );
        });
        set_timeout(move || self.go_on(round, rest), std::time::Duration::ZERO);
    }
}

/// What the book knows of a batch without opening it again.
#[derive(Clone, Default, PartialEq)]
struct Glance {
    id: String,
    name: String,
    invented: bool,
    state: String,
    /// All that is searched, with small letters.
    text: String,
    saved: i64,
    liked: f64,
    sour: f64,
}

fn glance(envelope: &Envelope) -> Glance {
    let batch = &envelope.data;
    let mut text = batch.name.clone();
    let fruit = batch.fruit.iter().map(|fruit| fruit.called());
    let notes = batch.tastings.iter().map(|tasting| tasting.note.clone());
    for more in fruit.chain(notes).chain([batch.notes.clone()]) {
        text.push(' ');
        text.push_str(&more);
    }
    text.make_ascii_lowercase();
    Glance {
        id: batch.id.clone(),
        name: batch.name.clone(),
        invented: batch.invented,
        state: format!("{} · begun {}", state_of(batch), clock::day(batch.begun)),
        text,
        saved: envelope.saved.as_seconds(),
        liked: liked(batch).map_or(0.0, |mark| mark.value()),
        sour: tasted(batch, TasteField::Sourness).map_or(0.0, |mark| mark.value()),
    }
}

/// True when the first stands before the second in this order.
fn before(one: &Glance, other: &Glance, order: usize) -> bool {
    match order {
        1 => (&one.text, other.saved) < (&other.text, one.saved),
        2 => (one.liked, one.saved) > (other.liked, other.saved),
        3 => (one.sour, one.saved) > (other.sour, other.saved),
        _ => one.saved > other.saved,
    }
}

/// The batch book.
pub fn screen(shared: Shared) -> View {
    let find = Find {
        words: RwSignal::new(String::new()),
        order: RwSignal::new(0),
        shown: RwSignal::new(WINDOW),
        ticked: RwSignal::new(None),
        all: RwSignal::new(Vec::new()),
        round: RwSignal::new(None),
    };
    effect(move || {
        shared.stored.track();
        if find.round.get_untracked().is_some() {
            find.begin_anew();
        }
    });
    let body = move || {
        shared.stored.track();
        let listed = match Store::list() {
            Ok(entries) => listed(shared, entries, find),
            Err(problem) => {
                View::many(vec![(warning(&problem.to_string())).view(), (welcome(shared)).view()])
            }
        };
        View::many(vec![unsaved(shared), listed])
    };
    View::many(vec![
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

/// Batches that could not be stored: nothing but this page has them, so the way back to each stands first.
fn unsaved(shared: Shared) -> View {
    let row = |(envelope, problem): &(Envelope, StoreError)| {
        tag("li")
            .set("data-test", "unsaved")
            .child(
                tag("a")
                    .class("open")
                    .set("href", batch_address(&envelope.data.id))
                    .child(tag("span").class("name").child(envelope.data.name.clone()))
                    .child(tag("span").class("state").child(format!("Not saved. {problem}"))),
            )
            .view()
    };
    let rows: Vec<View> = shared.unsaved.with_value(|all| all.iter().map(row).collect());
    (!rows.is_empty()).then(|| tag("ul").class("book").child(rows)).view()
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
        .child(beginnings(shared))
        .child(
            tag("p").class("aside").child(
                "All of it happens on this device, with or without a network. Nothing is sent anywhere.",
            ),
        )
        // Last, for the browser allows it late: nothing may move away from a thumb.
        .child(invitation(shared))
        .view()
}

/// The offer to install, which comes before the first batch: a phone may give
/// an installed app a store of its own.
pub fn invitation(shared: Shared) -> View {
    let shown = move || match shared.offline.invitation().get() {
        InstallInvitation::None => View::nothing(),
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
pub fn fresh_id() -> String {
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
pub fn learned(shared: Shared) -> House {
    shared.preferences.with_untracked(|p| House::learn(&lessons(), &p.rules))
}

fn begin_new(shared: Shared) {
    let now = clock::now();
    begin(shared, Batch::new(fresh_id(), format!("Batch of {}", clock::day(now)), now, learned(shared)));
}

fn begin_demo(shared: Shared) {
    begin(shared, batch::demo::demo(fresh_id(), clock::now()));
}

/// Stores a new batch and opens it; where it cannot be stored it opens all the same.
pub fn begin(shared: Shared, batch: Batch) {
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

fn listed(shared: Shared, entries: Vec<Entry>, find: Find) -> View {
    let (mut kept, mut deleted, mut odd) = (Vec::new(), Vec::new(), Vec::new());
    for entry in entries {
        match entry {
            Entry::Sound(summary) if summary.deleted.is_some() => deleted.push(summary),
            Entry::Sound(summary) => kept.push(summary),
            Entry::Newer { .. } | Entry::Unreadable { .. } => odd.push(entry),
        }
    }
    let count = kept.len();
    let book = if count == 0 {
        welcome(shared)
    } else {
        View::many(vec![
            (beginnings(shared)).view(),
            tag("h2").child("Batch book").view(),
            (count > 1).then(|| tools(find)).view(),
            live(move || rows(shared, find, &kept)),
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
    View::many(vec![(book).view(), (odd).view(), (deleted).view()])
}

/// The stage a batch is in, in words.
fn state_of(batch: &Batch) -> &'static str {
    let next = match batch.ticks.last() {
        None => return "planned",
        Some(last) => Step::ALL.iter().find(|&&step| step > last.0),
    };
    next.map_or("finished", |step| step.stage().title())
}

/// Looking for batches, ordering them, and ticking some to be compared.
fn tools(find: Find) -> View {
    let comparing = move || find.ticked.with(Option::is_some);
    tag("div")
        .class("find")
        .child(
            tag("label").class("wide").child("Find by name, fruit or notes").child(
                tag("input")
                    .set("type", "search")
                    .set("name", "find")
                    .set("autocomplete", "off")
                    .property("value", move || find.words.get())
                    .on("focus", move |_| find.begin())
                    .on("input", move |event| {
                        find.begin();
                        find.shown.set(WINDOW);
                        find.words.set(event_target_value(&event));
                    }),
            ),
        )
        .child(index_picker(
            "Order",
            "order",
            ORDERS.map(str::to_owned).to_vec(),
            find.order.into(),
            Callback::new(move |place| {
                find.begin();
                find.order.set(place);
            }),
        ))
        .child(
            tag("div")
                .class("actions")
                .child(
                    tag("button")
                        .set("type", "button")
                        .set("data-test", "compare")
                        .live("aria-pressed", move || comparing().to_string())
                        .on("click", move |_| {
                            find.ticked.update(|ticked| *ticked = ticked.is_none().then(Vec::new));
                        })
                        .child("Compare"),
                )
                .child(tag("a").class("button").set("href", "#/trends").child("Trends")),
        )
        .view()
}

/// The rows of the book that are looked for, as many as are drawn, and how to see more.
fn rows(shared: Shared, find: Find, kept: &[Summary]) -> View {
    let (words, order, most) = (find.words.get(), find.order.get(), find.shown.get());
    let words = words.trim().to_ascii_lowercase();
    let (mut found, mut count) = (Vec::new(), kept.len());
    if words.is_empty() && order == 0 {
        // They come in this order, so only what is drawn is opened.
        for summary in kept.iter().take(most) {
            found.push(match Store::load(&summary.id) {
                Ok(envelope) => glance(&envelope),
                Err(problem) => Glance {
                    id: summary.id.clone(),
                    name: summary.name.clone(),
                    state: problem.to_string(),
                    ..Glance::default()
                },
            });
        }
    } else {
        find.all.with(|all| {
            let mut places: Vec<usize> = Vec::new();
            for (place, one) in all.iter().enumerate() {
                if one.text.contains(&words) {
                    let at = places.partition_point(|&other| !before(one, &all[other], order));
                    places.insert(at, place);
                }
            }
            count = places.len();
            found.extend(places.iter().take(most).map(|&place| all[place].clone()));
        });
    }
    let said = if words.is_empty() { String::new() } else { format!("{count} of {}", kept.len()) };
    let rest = (found.len() < count).then(|| {
        button("", "show-more", format!("Show more; {} are left", count - found.len()), move || {
            find.shown.update(|shown| *shown += WINDOW);
        })
    });
    let rows: Vec<View> = found.into_iter().map(|one| row(shared, find, one)).collect();
    let compare = move || {
        find.ticked.get().map(|ticked| {
            if ticked.len() < 2 {
                return tag("p").class("aside").child("Tick two or more.").view();
            }
            tag("a")
                .class("button")
                .set("data-test", "compare-now")
                .set("href", ["#/compare/", &ticked.join(",")].concat())
                .child(format!("Compare these {}", ticked.len()))
                .view()
        })
    };
    View::many(vec![
        tag("p").class("aside").set("role", "status").set("data-test", "found").child(said).view(),
        tag("ul").class("book").child(rows).view(),
        rest.view(),
        tag("div").class("compare-bar").set("role", "status").child(live(compare)).view(),
    ])
}

fn row(shared: Shared, find: Find, one: Glance) -> View {
    let Glance { id, name, invented, state, .. } = one;
    let (gone, removed) = (id.clone(), id.clone());
    // In a store that is full to the brim there is no room to note that it is deleted.
    let stuck = RwSignal::new(false);
    let remove = move || {
        let removed = removed.clone();
        stuck.get().then(|| remove_for_good(shared, move || Store::remove_batch(&removed)))
    };
    let shown = if name.trim().is_empty() { "Batch without a name".to_owned() } else { name.clone() };
    let this = id.clone();
    let tick = move || {
        find.ticked.with(Option::is_some).then(|| {
            let (held, put) = (this.clone(), this.clone());
            let has =
                move |ticked: &Option<Vec<String>>| ticked.as_ref().is_some_and(|all| all.contains(&held));
            toggle(
                "Compare".to_owned(),
                ["compare.", &this].concat(),
                Signal::derive(move || find.ticked.with(&has)),
                move |on| {
                    find.ticked.update(|ticked| {
                        if let Some(all) = ticked {
                            all.retain(|other| *other != put);
                            if on {
                                all.push(put.clone());
                            }
                        }
                    });
                },
            )
        })
    };
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
                        .child(
                            tag("a")
                                .class("button")
                                .set("data-test", "again")
                                .set("href", again::address(&id, None))
                                .child("Brew again"),
                        )
                        .child(button("", "delete", "Delete", move || {
                            // Where it went, its row goes as well.
                            if !delete(shared, gone.clone(), &name) {
                                stuck.set(true);
                            }
                        }))
                        .child(live(remove)),
                ),
        )
        .child(live(tick))
        .view()
}

/// Says whether it is deleted now.
fn delete(shared: Shared, id: String, name: &str) -> bool {
    let done = shared.stored_or_told(Store::delete(&id, clock::now()));
    if done {
        shared.tell_with_undo(format!("“{name}” deleted."), move || {
            shared.stored_or_told(Store::restore(&id, clock::now()));
        });
    }
    done
}

/// The button that removes for good, at its second press.
fn remove_for_good(shared: Shared, remove: impl Fn() -> Result<(), StoreError> + 'static) -> View {
    let sure = RwSignal::new(false);
    let words =
        move || if sure.get() { "Really remove? It cannot be brought back" } else { "Remove for good" };
    button("quiet", "remove-for-good", live(words), move || {
        // Not both: with what is removed the row goes, and what follows its signals must not be woken any more.
        if sure.get_untracked() {
            shared.stored_or_told(remove());
        } else {
            sure.set(true);
        }
    })
}

fn deleted_row(shared: Shared, summary: Summary) -> View {
    let Summary { id, name, deleted, .. } = summary;
    let gone = id.clone();
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
        .child(remove_for_good(shared, move || Store::remove_batch(&gone)))
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
    let forgotten = key.clone();
    let forget = aside.then(|| remove_for_good(shared, move || Store::forget(&forgotten)));
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
    View::many(vec![
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
    View::many(vec![
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
