//! Brew again: the small form between an old batch and a new one, with the one change that is wished.

use crate::book::{begin, fresh_id, learned, unopened};
use crate::clock;
use crate::page::{BOOK, batch_address, mark_root};
use crate::signals::{Callback, Memo, RwSignal, Signal};
use crate::state::Shared;
use crate::store::{Entry, Store};
use crate::view::{Shows, View, tag};
use crate::widgets::{NumberField, Typed, button, index_picker, live, sentence, source_view};
use batch::again::{Again, Target, again};
use batch::change::{Change, Wish, change, pointed};
use batch::document::{Batch, Field, Slot};
use batch::say::Sentence;
use calc::quantity::Amount;

/// Batches whose kit is offered: the newest. A longer menu is not read.
const KITS: usize = 40;

/// The address of the form for a batch, with the place of a wish in their list.
pub fn address(id: &str, wish: Option<usize>) -> String {
    let mut address = ["#/again/", id].concat();
    if let Some(place) = wish {
        address.push('/');
        address.push_str(&place.to_string());
    }
    address
}

/// The form that such an address names; `rest` is what stands behind `again/`.
pub fn screen(shared: Shared, rest: &str) -> View {
    mark_root("data-fruit", "red");
    let (id, wish) = rest.split_once('/').unwrap_or((rest, ""));
    match Store::load(id) {
        Ok(envelope) => form(shared, envelope.data, wish.parse().ok()),
        Err(problem) => unopened(id, &problem),
    }
}

/// Sentences as a list.
pub fn lines(all: Vec<Sentence>) -> View {
    let rows: Vec<View> = all.into_iter().map(|says| tag("li").child(sentence(says)).view()).collect();
    tag("ul").class("details").child(rows).view()
}

fn form(shared: Shared, old: Batch, wish: Option<usize>) -> View {
    let size = Slot::Of(Field::BatchVolume);
    let (volume, kit) = (RwSignal::new(None::<Amount>), RwSignal::new(0_usize));
    let wish = RwSignal::new(wish);
    let taken = RwSignal::new(None::<Change>);
    let (back, name, usual) = (batch_address(&old.id), old.name.clone(), size.effective(&old));
    let points = pointed(&old);
    // The other batches, by the kit they were brewed with.
    let (mut kits, mut labels) = (Vec::new(), vec!["The same kit".to_owned()]);
    for entry in Store::list().unwrap_or_default() {
        if let Entry::Sound(other) = entry
            && other.deleted.is_none()
            && other.id != old.id
            && kits.len() < KITS
        {
            labels.push(["That of “", &other.name, "”"].concat());
            kits.push(other.id);
        }
    }
    let (id, begun, house) = (fresh_id(), clock::now(), learned(shared));
    let made: Memo<Again> = Memo::new(move || {
        let kit = kit.get().checked_sub(1).and_then(|place| kits.get(place));
        let other = kit.and_then(|id| Store::load(id).ok());
        let target = Target {
            volume: volume.get().map(|amount| amount.typed()),
            kit_of: other.as_ref().map(|envelope| &envelope.data),
        };
        again(&old, target, id.clone(), [&old.name, ", again"].concat(), begun, house.clone())
    });
    let field = NumberField {
        spec: size.spec(),
        name: "again.volume".to_owned(),
        value: Signal::derive(move || Typed { value: volume.get(), upper: None }),
        hint: Signal::derive(move || usual),
        note: Signal::derive(move || {
            if volume.get().is_none() { "Empty: as much as before." } else { "" }.to_owned()
        }),
        ranged: false,
        change: Callback::new(move |typed: Typed| volume.set(typed.value)),
    };
    let wishes: Vec<View> = Wish::ALL
        .iter()
        .enumerate()
        .map(|(place, &one)| {
            tag("button")
                .set("type", "button")
                .set("data-test", "wish")
                .live("aria-pressed", move || (wish.get() == Some(place)).to_string())
                .on("click", move |_| wish.update(|now| *now = (*now != Some(place)).then_some(place)))
                .child(one.words())
                .child((points == Some(one)).then_some(" · your tasting"))
                .view()
        })
        .collect();
    let offer = move || {
        let wish = *Wish::ALL.get(wish.get()?)?;
        let Some(found) = made.with(|made| change(wish, &made.batch)) else {
            return Some(
                tag("p")
                    .set("data-test", "change")
                    .child("No single change is known that would do this here.")
                    .view(),
            );
        };
        let held = found.clone();
        let take = button("", "take", "Take this change", move || {
            taken.set(Some(held.clone()));
            shared.tell_with_undo("Change taken.", move || {
                // The form may have been left since.
                taken.set(None);
            });
        });
        let in_it = taken.with(|taken| taken.as_ref() == Some(&found));
        Some(
            tag("div")
                .class("banner")
                .set("data-test", "change")
                .set("aria-live", "polite")
                .child(tag("p").child(tag("strong").child(sentence(found.says))))
                .child(lines(found.effect))
                .child(tag("p").class("aside").child(wish.unpredicted()))
                .child(tag("ul").class("sources").child(source_view(&found.grounds)))
                .child(if in_it {
                    tag("p").set("data-test", "taken").child("✓ It is in the new batch.").view()
                } else {
                    take
                })
                .view(),
        )
    };
    let start = move || {
        let mut batch = made.with(|made| made.batch.clone());
        taken.with(|taken| {
            if let Some(change) = taken {
                change.make(&mut batch);
            }
        });
        begin(shared, batch);
    };
    View::many(vec![
        tag("header")
            .class("top")
            .child(tag("a").class("button quiet").set("href", BOOK).child("Batch book"))
            .child(tag("a").class("button quiet").set("href", back).child("The old batch"))
            .view(),
        tag("main")
            .set("tabindex", "-1")
            .child(tag("h1").child(["Brew again: ", &name].concat()))
            .child(field.view())
            .child(index_picker(
                "Brewed with",
                "again.kit",
                labels,
                kit.into(),
                Callback::new(move |place| kit.set(place)),
            ))
            .child(
                tag("div")
                    .set("data-test", "again-says")
                    .set("aria-live", "polite")
                    .child(live(move || lines(made.with(|made| made.says.clone())))),
            )
            .child(tag("h2").class("again").child("One change, if you like"))
            .child(tag("div").class("actions").child(wishes))
            .child(live(offer))
            .child(tag("div").class("beginnings").child(button(
                "main",
                "begin-again",
                "Begin the new batch",
                start,
            )))
            .view(),
    ])
}
