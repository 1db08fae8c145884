//! Readings: what was measured, and the form that takes a new one.

use crate::clock;
use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::{NumberField, Typed, button, live};
use batch::document::{Reading, ReadingKind, SAMPLE_TEMPERATURE, Stage};
use batch::moment::Moment;
use calc::quantity::Amount;
use leptos::prelude::*;

/// The readings of a stage: each kind with what was noted and a form for more.
pub fn of_stage(stage: Stage) -> View {
    let kinds = ReadingKind::ALL.iter().filter(|kind| kind.stage() == stage);
    let parts: Vec<View> = kinds.map(|&kind| of_kind(kind)).collect();
    if parts.is_empty() {
        return View::Nothing;
    }
    View::Many(vec![tag("h3").child("Readings").view(), (parts).view()])
}

fn of_kind(kind: ReadingKind) -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let adding = RwSignal::new(false);
    // Drawn anew only when the readings change, not with every key typed elsewhere.
    let noted = Memo::new(move |_| {
        open.document.with(|batch| {
            let all = batch.readings.iter().enumerate().filter(|(_, reading)| reading.kind == kind);
            all.map(|(place, reading)| (place, reading.clone())).collect::<Vec<_>>()
        })
    });
    let rows = move || {
        let rows = noted.get().into_iter().rev().map(|(place, reading)| row(shared, open, place, reading));
        rows.collect::<Vec<View>>()
    };
    let form = move || {
        if adding.get() {
            return form(kind, "reading", Callback::new(move |()| adding.set(false)));
        }
        button("quiet", "add-reading", format!("Add: {}", kind.spec().label), move || adding.set(true))
    };
    tag("div")
        .class("readings")
        .set("data-reading", kind.spec().key)
        .child(tag("ul").class("ledger").child(live(rows)))
        .child(live(form))
        .view()
}

fn row(shared: Shared, open: Open, place: usize, reading: Reading) -> View {
    let label = reading.kind.spec().label;
    let (value, at, temperature) = (reading.value, reading.at, reading.temperature);
    let text = move || {
        shared.preferences.with(|p| match temperature {
            Some(temperature) => {
                let warm = calc::quantity::Quantity::amount(temperature);
                format!("{} at {}", p.text(value), p.text(warm))
            }
            None => p.text(value),
        })
    };
    tag("li")
        .child(tag("span").class("what").child(label))
        .child(tag("span").class("number").child(live(text)))
        .child(
            tag("span")
                .class("spread")
                .child(live(move || clock::short(at, shared.now.get())))
                .child((!reading.note.is_empty()).then(|| format!(" · {}", reading.note))),
        )
        .child(
            tag("button")
                .set("type", "button")
                .class("quiet remove")
                .set("aria-label", format!("Delete this reading: {label}"))
                .set("data-test", "delete-reading")
                .on("click", move |_| {
                    open.edit_with_undo("Reading deleted.", |batch| {
                        batch.readings.remove(place);
                    });
                })
                .child("×"),
        )
        .view()
}

/// A form for a new reading. `place` tells its fields from those of another form of the same kind.
pub fn form(kind: ReadingKind, place: &'static str, saved: Callback<()>) -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let value = RwSignal::new(None::<Amount>);
    let temperature = RwSignal::new(None::<Amount>);
    let earlier = RwSignal::new(None::<Moment>);
    let note = RwSignal::new(String::new());
    let details = RwSignal::new(false);
    let none = Signal::derive(|| None::<Amount>);
    let last = Signal::derive(move || {
        open.document.with(|batch| batch.readings.last(kind).map(|reading| reading.value))
    });
    let key = kind.spec().key;
    let field = NumberField {
        spec: kind.spec(),
        name: format!("{place}.{key}"),
        value: Signal::derive(move || Typed { value: value.get(), upper: None }),
        hint: last,
        note: Signal::derive(String::new),
        ranged: false,
        change: Callback::new(move |typed: Typed| value.set(typed.value)),
    };
    let save = move |_| {
        let Some(measured) = value.get_untracked() else {
            shared.tell("Type the value first.");
            return;
        };
        let reading = Reading {
            kind,
            value: measured,
            at: earlier.get_untracked().unwrap_or_else(clock::now),
            temperature: temperature.get_untracked().map(|amount| amount.typed()),
            note: note.get_untracked().trim().to_owned(),
        };
        open.edit_with_undo("Reading saved.", |batch| {
            batch.readings.add(reading);
        });
        value.set(None);
        temperature.set(None);
        earlier.set(None);
        note.set(String::new());
        details.set(false);
        saved.run(());
    };
    let more = move || {
        if !details.get() {
            return tag("button")
                .set("type", "button")
                .class("quiet")
                .set("aria-expanded", "false")
                .on("click", move |_| details.set(true))
                .child("Earlier, temperature or note")
                .view();
        }
        let warm = NumberField {
            spec: SAMPLE_TEMPERATURE,
            name: format!("{place}.{key}.temperature"),
            value: Signal::derive(move || Typed { value: temperature.get(), upper: None }),
            hint: none,
            note: Signal::derive(String::new),
            ranged: false,
            change: Callback::new(move |typed: Typed| temperature.set(typed.value)),
        };
        View::Many(vec![
            tag("label")
                .class("wide")
                .child("When; empty means now")
                .child(
                    tag("input")
                        .set("type", "datetime-local")
                        .set("name", format!("{place}.{key}.at"))
                        .live("max", move || clock::field_text(shared.now.get()))
                        .on("input", move |event| {
                            earlier.set(clock::from_field(&event_target_value(&event)))
                        }),
                )
                .view(),
            (warm.view()).view(),
            tag("label")
                .class("wide")
                .child("Note")
                .child(
                    tag("input")
                        .set("type", "text")
                        .set("name", format!("{place}.{key}.note"))
                        .set("maxlength", "400")
                        .property("value", move || note.get())
                        .on("input", move |event| note.set(event_target_value(&event))),
                )
                .view(),
        ])
    };
    tag("div")
        .class("form")
        .child(field.view())
        .child(live(more))
        .child(button("main", "save-reading", "Save reading", move || save(())))
        .view()
}
