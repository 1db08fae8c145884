//! The keepsake, and a batch that came in a link: what bringing either in would do, and bringing it in.

use crate::page::{BOOK, batch_address, go, mark_root};
use crate::signals::RwSignal;
use crate::state::Shared;
use crate::store::{Store, StoreError};
use crate::view::{Shows, View, tag};
use crate::widgets::{back, button, live};
use crate::{clock, text_file};
use batch::document::{Field, Slot};
use batch::keep::link::{self, LinkError};
use batch::keep::{Action, Envelope, Keepsake, Merged, Stamp};
use leptos::prelude::*;

/// What stands in an address before the batch of a link.
pub const OPEN: &str = "#/open/";

type Opened = Result<(Keepsake, Merged), String>;

/// The part of the settings about the keepsake.
pub fn keepsake(shared: Shared) -> View {
    let text = RwSignal::new(String::new());
    let opened = RwSignal::new(None::<Opened>);
    let pasted = RwSignal::new(String::new());
    let open = move |text: &str| opened.set(Some(read(text)));
    let export = move || match Store::export_all(clock::now()) {
        Ok(all) => {
            if !text_file::save(&format!("tartwright-{}.json", clock::day(clock::now())), &all) {
                shared.tell("This browser did not save the file. Copy the text instead.");
            }
            text.set(all);
        }
        Err(problem) => shared.tell(problem.to_string()),
    };
    let copyable = move || {
        (!text.with(String::is_empty)).then(|| {
            View::many(vec![
                tag("label")
                    .class("wide")
                    .child("The same as text, to copy")
                    .child(
                        tag("textarea")
                            .set("readonly", true)
                            .set("rows", "4")
                            .set("data-test", "export-text")
                            .property("value", move || text.get()),
                    )
                    .view(),
                button("", "copy", "Copy the text", move || shared.copy(&text.get_untracked())),
            ])
        })
    };
    let preview = move || {
        opened.get().map(|found| {
            let left = move || opened.set(None);
            preview(shared, found, left, left)
        })
    };
    tag("section")
        .set("data-test", "keepsake")
        .child(tag("h2").child("Keepsake"))
        .child(
            tag("p")
                .class("aside")
                .child(
                    "One file with the whole batch book, to keep elsewhere or to carry to another device. ",
                )
                .child("Browsers can lose what they store; a file in your hands stays."),
        )
        .child(button("main", "export", "Save a keepsake file", export))
        .child(live(copyable))
        .child(tag("h3").child("Bring a keepsake in"))
        .child(
            tag("label").class("wide").child("A keepsake file").child(
                tag("input")
                    .set("type", "file")
                    .set("accept", "application/json,.json")
                    .set("data-test", "import-file")
                    .on("change", move |event| text_file::read_chosen(&event, move |text| open(&text))),
            ),
        )
        .child(
            tag("details")
                .class("fold")
                .child(tag("summary").child("Or paste its text, or a link"))
                .child(
                    tag("label").class("wide").child("Text of a keepsake, or a link with a batch").child(
                        tag("textarea")
                            .set("rows", "4")
                            .set("data-test", "import-text")
                            .property("value", move || pasted.get())
                            .on("input", move |event| pasted.set(event_target_value(&event))),
                    ),
                )
                .child(button("", "import-open", "See what it would do", move || {
                    pasted.with_untracked(|text| open(text))
                })),
        )
        .child(live(preview))
        .view()
}

/// The screen of a link with a batch in it: shows what it holds, and stores nothing before the person says so.
pub fn link_screen(shared: Shared, text: &str) -> View {
    mark_root("data-fruit", "red");
    let found = read_link(text);
    let id = found.as_ref().ok().and_then(|(keepsake, _)| Some(keepsake.batches.first()?.data.id.clone()));
    let holds = found
        .as_ref()
        .ok()
        .and_then(|(keepsake, _)| keepsake.batches.first())
        .map(|batch| holds(shared, batch));
    let done = move || go(&id.as_deref().map_or(BOOK.to_owned(), batch_address));
    View::many(vec![
        back(BOOK, "Batch book"),
        tag("main")
            .set("tabindex", "-1")
            .child(tag("h1").child("A batch in a link"))
            .child(holds)
            .child(preview(shared, found, done, || go(BOOK)))
            .view(),
    ])
}

/// What a batch is, in a line.
fn holds(shared: Shared, envelope: &Envelope) -> View {
    let batch = &envelope.data;
    let size = Slot::Of(Field::BatchVolume).effective(batch);
    let size = size.map(|volume| shared.preferences.with_untracked(|p| p.text(volume)));
    let readings = match batch.readings.len() {
        0 => "no readings".to_owned(),
        1 => "1 reading".to_owned(),
        more => format!("{more} readings"),
    };
    let begun = format!("begun {}", clock::day(batch.begun));
    let invented = batch.invented.then(|| "an invented example".to_owned());
    let parts: Vec<String> = [size, Some(readings), Some(begun), invented].into_iter().flatten().collect();
    View::many(vec![
        tag("h2").set("data-test", "link-name").child(batch.name.clone()).view(),
        tag("p").set("data-test", "link-holds").child(parts.join(", ")).view(),
    ])
}

/// What is in a text: a keepsake, or an address with a batch.
fn read(text: &str) -> Opened {
    match text.rsplit_once(OPEN) {
        Some((_, link)) => read_link(link),
        None => Store::open_keepsake(text).map_err(|problem| problem.to_string()),
    }
}

fn read_link(text: &str) -> Opened {
    let told = |problem: LinkError| format!("{problem} Nothing was changed.");
    let envelope = link::read(text).map_err(told)?;
    let keepsake = Keepsake {
        app: envelope.app.clone(),
        made: envelope.saved,
        batches: vec![envelope],
        ..Keepsake::default()
    };
    let merged = Store::would(&keepsake).map_err(|problem: StoreError| problem.to_string())?;
    Ok((keepsake, merged))
}

/// A state of a batch, as a person tells it from another.
fn told(stamp: &Stamp) -> String {
    let deleted = if stamp.deleted.is_some() { ", deleted" } else { "" };
    format!(
        "saved {} times, last {}{deleted}",
        stamp.revision,
        clock::short(stamp.saved, batch::moment::Moment::default())
    )
}

/// What bringing it in would do, and the button that does it. `done` comes after it was brought in, `left` after
/// it was left.
fn preview(shared: Shared, opened: Opened, done: impl Fn() + 'static, left: impl Fn() + 'static) -> View {
    let (keepsake, merged) = match opened {
        Ok(found) => found,
        Err(problem) => {
            return tag("p")
                .class("banner stop")
                .set("role", "alert")
                .set("data-test", "import-refused")
                .child(problem)
                .view();
        }
    };
    let line = |line: &batch::keep::Planned| {
        let what = match &line.action {
            Action::Add => "is added.".to_owned(),
            Action::Newer { ours, theirs } => {
                format!("replaces the older one here. Coming in: {}. Here: {}.", told(theirs), told(ours))
            }
            Action::Same => "is here just so. Nothing changes.".to_owned(),
            Action::OlderKept { ours, theirs } => {
                format!(
                    "is older than the one here, which stays. Coming in: {}. Here: {}.",
                    told(theirs),
                    told(ours)
                )
            }
            Action::Conflict { copy } => {
                format!(
                    "was changed in both places. Both are kept: the one here as it is, the other as “{copy}”."
                )
            }
        };
        let name = tag("span").class("name").child(line.name.clone());
        tag("li").child(name).child(" ").child(tag("span").class("state").child(what)).view()
    };
    let lines: Vec<View> = merged.lines.iter().map(line).collect();
    let odd = keepsake.newer.len() + keepsake.damaged.len() + keepsake.set_aside.len();
    let odd_words = (odd > 0).then(|| {
        tag("p").child(format!(
            "{odd} more that cannot be opened here are kept as they are, and listed in the batch book."
        ))
    });
    let settings = keepsake.preferences.is_some().then(|| {
        tag("p").class("aside").child("Its units and look are taken over only where none were chosen here.")
    });
    let nothing = merged.changed.is_empty() && odd == 0;
    let bring = move || match Store::import(&keepsake) {
        Ok(merged) => {
            shared.stored_changed();
            let words = match merged.changed.len() {
                0 if odd > 0 => "What cannot be opened was brought in as it is.".to_owned(),
                0 => "Nothing to bring in: it is here already.".to_owned(),
                1 => "1 batch brought in.".to_owned(),
                count => format!("{count} batches brought in."),
            };
            if merged.changed.is_empty() {
                shared.tell(words);
            } else {
                shared.tell_with_undo(words, move || take_back(shared, &merged));
            }
            done();
        }
        Err(problem) => shared.tell(problem.to_string()),
    };
    let label = if nothing { "Open what is here" } else { "Bring it in" };
    tag("div")
        .class("banner")
        .set("data-test", "import-preview")
        .child(tag("h3").child("This is what it will do"))
        .child(tag("ul").class("book").child(lines))
        .child(odd_words)
        .child(settings)
        .child(
            tag("p")
                .class("aside")
                .child("Nothing is stored until you say so, and no batch that is only here is touched."),
        )
        .child(
            tag("div").class("actions").child(button("main", "import-confirm", label, bring)).child(button(
                "",
                "import-leave",
                "Leave it",
                left,
            )),
        )
        .view()
}

/// Undoes a bringing in: what was replaced comes back, what was added is deleted, which can itself be undone.
fn take_back(shared: Shared, merged: &Merged) {
    let now = clock::now();
    for changed in &merged.changed {
        let id = &changed.data.id;
        let outcome = match merged.replaced.iter().find(|old| old.data.id == *id) {
            Some(old) => Store::overwrite(&mut old.clone(), now),
            None => Store::delete(id, now),
        };
        if !shared.stored_or_told(outcome) {
            return;
        }
    }
}
