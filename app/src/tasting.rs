//! Tastings: four plain scales of five, a note, and what to change next time.

use crate::again::address;
use crate::clock;
use crate::state::Open;
use crate::view::{Shows, View, tag};
use crate::widgets::{button, live, text_entry};
use batch::change::{Wish, pointed};
use batch::document::{Slot, TasteField, Tasting};
use calc::quantity::{Count, Quantity};
use leptos::prelude::*;

/// The words at both ends of a scale.
const fn ends(scale: TasteField) -> (&'static str, &'static str) {
    match scale {
        TasteField::Sourness => ("hardly sour", "very sour"),
        TasteField::Body => ("thin", "full"),
        TasteField::Fruit => ("hardly any", "very much"),
        TasteField::Clean => ("off-flavours", "clean"),
    }
}

/// The tastings of the open batch.
pub fn section() -> View {
    let open = Open::here();
    let count = open.seen(|batch, _| batch.tastings.len());
    // The newest is at the top, and unfolded.
    let rows = move || (0..count.get()).rev().map(|place| one(open, place)).collect::<Vec<View>>();
    let add = button("", "add-tasting", "Add a tasting", move || {
        open.edit_with_undo("Tasting added.", |batch| {
            batch.tastings.push(Tasting { at: clock::now(), ..Tasting::default() });
        });
    });
    let next = move || {
        let (id, points) = open.document.with(|batch| (batch.id.clone(), pointed(batch)));
        (count.get() > 0).then(|| {
            let wishes = Wish::ALL.iter().enumerate().map(|(place, &wish)| {
                tag("a")
                    .class("button")
                    .set("data-test", "wish")
                    .set("href", address(&id, Some(place)))
                    .child(wish.words())
                    .child((points == Some(wish)).then_some(" · your tasting"))
                    .view()
            });
            let wishes: Vec<View> = wishes.collect();
            View::many(vec![
                tag("h3").child("Brew again with").view(),
                tag("div").class("actions").child(wishes).view(),
            ])
        })
    };
    tag("section")
        .class("tastings")
        .set("data-test", "tastings")
        .child(tag("h2").child("How it tastes"))
        .child(live(rows))
        .child(add)
        .child(live(next))
        .view()
}

fn one(open: Open, place: usize) -> View {
    let at = move || open.document.with(|batch| batch.tastings.get(place).map(|tasting| tasting.at));
    let when = move || at().map_or_else(String::new, |at| ["Tasted ", &clock::day(at)].concat());
    let newest = open.document.with_untracked(|batch| batch.tastings.len() == place + 1);
    let scales: Vec<View> = TasteField::ALL.iter().map(|&scale| scale_view(open, place, scale)).collect();
    tag("details")
        .class("fold")
        .set("data-test", "tasting")
        .set("open", newest)
        .child(tag("summary").child(live(when)))
        .child(scales)
        .child(text_entry(
            "In words",
            ["taste", &place.to_string(), ".note"].concat(),
            move |batch| batch.tastings.get(place).map_or_else(String::new, |tasting| tasting.note.clone()),
            move |batch, note| {
                if let Some(tasting) = batch.tastings.get_mut(place) {
                    tasting.note = note;
                }
            },
        ))
        .child(
            tag("label").class("wide").child("When").child(
                tag("input")
                    .set("type", "datetime-local")
                    .set("name", ["taste", &place.to_string(), ".at"].concat())
                    .property("value", move || at().map_or_else(String::new, clock::field_text))
                    .on("change", move |event| {
                        if let Some(at) = clock::from_field(&event_target_value(&event)) {
                            open.edit(|batch| {
                                if let Some(tasting) = batch.tastings.get_mut(place) {
                                    tasting.at = at;
                                }
                            });
                        }
                    }),
            ),
        )
        .child(button("quiet", "delete-tasting", "Delete this tasting", move || {
            open.edit_with_undo("Tasting deleted.", |batch| {
                if place < batch.tastings.len() {
                    batch.tastings.remove(place);
                }
            });
            crate::page::focus("[data-test=add-tasting]");
        }))
        .view()
}

/// Five buttons with words at both ends; a second tap on the same takes the mark back.
fn scale_view(open: Open, place: usize, scale: TasteField) -> View {
    let slot = Slot::Taste(place, scale);
    let label = scale.spec().label;
    let held = open.seen(move |batch, _| slot.get(batch));
    let marks = (1..=5_u8).map(|mark| {
        let amount = Count::of(f64::from(mark)).amount();
        tag("button")
            .set("type", "button")
            .set("aria-label", [label, " ", &mark.to_string(), " of 5"].concat())
            .live("aria-pressed", move || (held.get() == Some(amount)).to_string())
            .on("click", move |_| {
                open.edit(|batch| {
                    // One to five is the range of the field.
                    let _ = slot.set(batch, (slot.get(batch) != Some(amount)).then_some(amount));
                });
            })
            .child(mark.to_string())
            .view()
    });
    let marks: Vec<View> = marks.collect();
    let (low, high) = ends(scale);
    tag("div")
        .class("taste")
        .set("role", "group")
        .set("aria-label", label)
        .set("data-scale", scale.spec().key)
        .child(tag("p").child(tag("strong").child(label)))
        .child(tag("div").class("marks").child(marks))
        .child(tag("p").class("ends").child(tag("span").child(low)).child(tag("span").child(high)))
        .view()
}
