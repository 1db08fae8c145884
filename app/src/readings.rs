//! Readings: what was measured, and the form that takes a new one.

use crate::clock;
use crate::state::{Open, Shared};
use crate::widgets::{NumberField, button, live};
use batch::document::{Reading, ReadingKind, SAMPLE_TEMPERATURE, Stage};
use batch::moment::Moment;
use calc::quantity::Amount;
use leptos::prelude::*;

/// The readings of a stage: each kind with what was noted and a form for more.
pub fn of_stage(stage: Stage) -> AnyView {
    let kinds = ReadingKind::ALL.iter().filter(|kind| kind.stage() == stage);
    let parts: Vec<AnyView> = kinds.map(|&kind| of_kind(kind)).collect();
    if parts.is_empty() {
        return ().into_any();
    }
    view! { <h3>"Readings"</h3>{parts} }.into_any()
}

fn of_kind(kind: ReadingKind) -> AnyView {
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
        rows.collect::<Vec<AnyView>>()
    };
    let form = move || {
        if adding.get() {
            return form(kind, "reading", Callback::new(move |()| adding.set(false)));
        }
        button("quiet", "add-reading", format!("Add: {}", kind.spec().label), move || adding.set(true))
    };
    view! {
        <div class="readings" data-reading=kind.spec().key>
            <ul class="ledger">{live(rows)}</ul>
            {live(form)}
        </div>
    }
    .into_any()
}

fn row(shared: Shared, open: Open, place: usize, reading: Reading) -> AnyView {
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
    view! {
        <li>
            <span class="what">{label}</span>
            <span class="number">{live(text)}</span>
            <span class="spread">
                {live(move || clock::short(at, shared.now.get()))}
                {(!reading.note.is_empty()).then(|| format!(" · {}", reading.note))}
            </span>
            <button
                type="button"
                class="quiet remove"
                aria-label=format!("Delete this reading: {label}")
                data-test="delete-reading"
                on:click=move |_| {
                    open.edit_with_undo("Reading deleted.", |batch| {
                        batch.readings.remove(place);
                    });
                }
            >
                "×"
            </button>
        </li>
    }
    .into_any()
}

/// A form for a new reading. `place` tells its fields from those of another form of the same kind.
pub fn form(kind: ReadingKind, place: &'static str, saved: Callback<()>) -> AnyView {
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
        value: value.into(),
        hint: last,
        note: Signal::derive(String::new),
        change: Callback::new(move |typed| value.set(typed)),
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
        open.edit_with_undo("Reading saved.", |batch| batch.readings.add(reading));
        value.set(None);
        temperature.set(None);
        earlier.set(None);
        note.set(String::new());
        details.set(false);
        saved.run(());
    };
    let more = move || {
        if !details.get() {
            return view! {
                <button type="button" class="quiet" aria-expanded="false" on:click=move |_| details.set(true)>
                    "Earlier, temperature or note"
                </button>
            }
            .into_any();
        }
        let warm = NumberField {
            spec: SAMPLE_TEMPERATURE,
            name: format!("{place}.{key}.temperature"),
            value: temperature.into(),
            hint: none,
            note: Signal::derive(String::new),
            change: Callback::new(move |typed| temperature.set(typed)),
        };
        view! {
            <label class="wide">
                "When; empty means now"
                <input
                    type="datetime-local"
                    name=format!("{place}.{key}.at")
                    max=move || clock::field_text(shared.now.get())
                    on:input=move |event| earlier.set(clock::from_field(&event_target_value(&event)))
                />
            </label>
            {warm.view()}
            <label class="wide">
                "Note"
                <input
                    type="text"
                    name=format!("{place}.{key}.note")
                    maxlength="400"
                    prop:value=move || note.get()
                    on:input=move |event| note.set(event_target_value(&event))
                />
            </label>
        }
        .into_any()
    };
    view! {
        <div class="form">
            {field.view()}
            {live(more)}
            {button("main", "save-reading", "Save reading", move || save(()))}
        </div>
    }
    .into_any()
}
