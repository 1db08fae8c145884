//! Readings: what was measured, the form that takes one, what it changed, and a word where it looks mistaken.

use crate::clock;
use crate::page::focus;
use crate::signals::{Callback, Memo, RwSignal, Signal};
use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::{NumberField, Problem, Typed, button, fold, live, sentence};
use batch::document::{Batch, Reading, ReadingKind, SAMPLE_TEMPERATURE, Stage};
use batch::doubt::{Doubt, doubt, expected};
use batch::effect::effect;
use batch::moment::Moment;
use batch::plan::{Plan, next_move, plan};
use batch::say::Sentence;
use calc::quantity::{Amount, Duration, Quantity};
use leptos::prelude::*;
use std::sync::Arc;

/// The readings of a stage: each kind with what was noted and a form for more.
pub fn of_stage(stage: Stage) -> View {
    let kinds = ReadingKind::ALL.iter().filter(|kind| kind.stage() == stage);
    let parts: Vec<View> = kinds.map(|&kind| of_kind(kind)).collect();
    if parts.is_empty() {
        return View::nothing();
    }
    View::many(vec![tag("h3").child("Readings").view(), (parts).view()])
}

/// Every reading of the batch, the newest first.
pub fn all() -> View {
    tag("div")
        .class("readings")
        .set("data-test", "all-readings")
        .child(fold("All readings", || {
            View::many(vec![list(None), tag("p").class("aside").child("Tap one to change it.").view()])
        }))
        .view()
}

/// Moves the focus once the screen shows what has just changed.
fn focus_soon(selector: String) {
    request_animation_frame(move || focus(&selector));
}

/// Where the list of a kind, or of all kinds, is found on the page.
fn place_of(kind: Option<ReadingKind>) -> String {
    match kind {
        Some(kind) => format!("[data-reading={}]", kind.spec().key),
        None => "[data-test=all-readings]".to_owned(),
    }
}

fn of_kind(kind: ReadingKind) -> View {
    let adding = RwSignal::new(false);
    let add = move || focus_soon(format!("{} [data-test=add-reading]", place_of(Some(kind))));
    let form = move || {
        if adding.get() {
            let saved = Callback::new(move |_| {
                adding.set(false);
                add();
            });
            return form(kind, "reading", None, saved);
        }
        button("quiet", "add-reading", format!("Add: {}", kind.spec().label), move || {
            adding.set(true);
            focus_soon(format!("{} .form input", place_of(Some(kind))));
        })
    };
    tag("div")
        .class("readings")
        .set("data-reading", kind.spec().key)
        .child(list(Some(kind)))
        .child(live(form))
        .view()
}

/// The readings of a kind, or all, the newest first; a tap unfolds one to be changed.
fn list(kind: Option<ReadingKind>) -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let unfolded = RwSignal::new(None::<usize>);
    // Drawn anew only when the readings change, not with every key typed elsewhere.
    let noted = Memo::new(move || {
        open.document.with(|batch| {
            let all = batch.readings.iter().enumerate();
            let all = all.filter(|(_, reading)| kind.is_none_or(|kind| reading.kind == kind));
            all.map(|(place, reading)| (place, reading.clone())).collect::<Vec<_>>()
        })
    });
    let rows = move || {
        let rows = noted.get().into_iter().rev();
        rows.map(|(place, reading)| row(shared, open, (kind, unfolded), place, reading))
            .collect::<Vec<View>>()
    };
    tag("ul").class("ledger").child(live(rows)).view()
}

fn row(
    shared: Shared,
    open: Open,
    (list, unfolded): (Option<ReadingKind>, RwSignal<Option<usize>>),
    place: usize,
    reading: Reading,
) -> View {
    let label = reading.kind.spec().label;
    let (value, at, temperature) = (reading.value, reading.at, reading.temperature);
    let text = move || {
        shared.preferences.with(|p| match temperature {
            Some(temperature) => format!("{} at {}", p.text(value), p.text(temperature.amount())),
            None => p.text(value),
        })
    };
    let note = (!reading.note.is_empty()).then(|| format!(" · {}", reading.note));
    let is_open = Memo::new(move || unfolded.get() == Some(place));
    let inside = move || is_open.get().then(|| unfold(open, (list, unfolded), place, reading.clone()));
    tag("li")
        .set("data-place", place.to_string())
        .child(
            tag("button")
                .set("type", "button")
                .class("line")
                .live("aria-expanded", move || is_open.get().to_string())
                .on("click", move |_| unfolded.set((!is_open.get_untracked()).then_some(place)))
                .child(tag("span").class("what").child(label))
                .child(tag("span").class("number").child(live(text)))
                .child(
                    tag("span")
                        .class("spread")
                        .child(live(move || clock::short(at, shared.now.get())))
                        .child(note),
                ),
        )
        .child(live(inside))
        .view()
}

/// A reading unfolded: what it changes, what is odd about it, the form to change it, and how to delete it.
fn unfold(
    open: Open,
    (list, unfolded): (Option<ReadingKind>, RwSignal<Option<usize>>),
    place: usize,
    reading: Reading,
) -> View {
    let kind = reading.kind;
    let told = move || {
        let batch = open.document.get();
        let mut without = batch.clone();
        let Some(reading) = without.readings.remove(place) else { return View::nothing() };
        let (before, now) = (plan(&without), clock::now());
        let lines = open.plan.with(|plan| effect((&without, &before), (&batch, plan), kind, now));
        let nothing =
            lines.is_empty().then(|| tag("li").child("The plan would be the same without it.").view());
        let odd = doubt(&without, &reading, &before, now).map(|doubt| {
            let take = doubt.meant.map(|meant| {
                let words = take_words(Shared::here(), meant);
                button("", "take-meant", words, move || take(Shared::here(), open, &reading, meant))
            });
            tag("div").class("odd").child(tag("p").child(sentence(doubt.says))).child(take).view()
        });
        let lines: Vec<View> = lines.into_iter().map(|line| tag("li").child(sentence(line)).view()).collect();
        View::many(vec![odd.view(), tag("ul").class("details").child(nothing).child(lines).view()])
    };
    let line = move |place: usize| format!("{} [data-place='{place}'] .line", place_of(list));
    let saved = Callback::new(move |place: usize| {
        unfolded.set(None);
        focus_soon(line(place));
    });
    tag("div")
        .class("unfolded")
        .child(live(told))
        .child(form(kind, "edit", Some((place, reading)), saved))
        .child(button("quiet", "delete-reading", "Delete this reading", move || {
            unfolded.set(None);
            open.edit_with_undo("Reading deleted.", |batch| {
                batch.readings.remove(place);
            });
            focus_soon(match list {
                Some(_) => format!("{} [data-test=add-reading]", place_of(list)),
                None => format!("{} summary", place_of(list)),
            });
        }))
        .view()
}

fn take_words(shared: Shared, meant: Amount) -> String {
    format!("Take {}", shared.preferences.with_untracked(|p| p.text(meant)))
}

/// Puts what was meant in the place of what was typed.
fn take(shared: Shared, open: Open, typed: &Reading, meant: Amount) {
    // The batch may have been closed since, or the reading changed.
    let place = open.document.try_with_untracked(|batch| batch.readings.iter().position(|one| one == typed));
    if let Some(Some(place)) = place {
        save(shared, open, Some(place), Reading { value: meant, ..typed.clone() });
    }
}

/// Saves a reading, in the place of one or as a new one, tells what came of it, and says what is odd about it.
fn save(shared: Shared, open: Open, place: Option<usize>, reading: Reading) -> usize {
    let now = clock::now();
    let (before, planned) = (open.document.get_untracked(), open.plan.get_untracked());
    let doubted = match place {
        Some(place) => {
            let mut without = before.clone();
            without.readings.remove(place);
            doubt(&without, &reading, &plan(&without), now)
        }
        None => doubt(&before, &reading, &planned, now),
    };
    let mut at = 0;
    let put = |batch: &mut Batch| {
        at = match place {
            Some(place) => batch.readings.replace(place, reading.clone()),
            None => batch.readings.add(reading.clone()),
        };
    };
    let message = if doubted.is_some() { "Reading saved as typed." } else { "Reading saved." };
    open.edit_with_undo(message, put);
    // What came of a likely mistake is no news yet: the doubt stands alone.
    let (lines, offer): (Vec<Sentence>, _) = match doubted {
        Some(Doubt { says, meant }) => {
            let offer = meant.map(|meant| {
                let reading = reading.clone();
                let act: crate::state::Act = Arc::new(move || take(shared, open, &reading, meant));
                (take_words(shared, meant), act)
            });
            (vec![says], offer)
        }
        None => {
            let after = open.document.get_untracked();
            let changed = |plan: &Plan| effect((&before, &planned), (&after, plan), reading.kind, now);
            (open.plan.with_untracked(changed), None)
        }
    };
    shared.toast.update(|toast| {
        if let Some(toast) = toast {
            toast.lines = lines;
            toast.offer = offer;
        }
    });
    at
}

/// The choices of a time, each with its minutes back from now; the last asks for it.
const WHEN: [(&str, f64); 4] = [("Now", 0.0), ("10 min ago", 10.0), ("1 h ago", 60.0), ("Other time", 0.0)];
const OTHER: usize = WHEN.len() - 1;

/// A form for a new reading, or for one that is in the batch. `name` tells its fields from those of another form
/// of the same kind. Runs `saved` with the reading's place in the batch.
pub fn form(
    kind: ReadingKind,
    name: &'static str,
    old: Option<(usize, Reading)>,
    saved: Callback<usize>,
) -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let place = old.as_ref().map(|(place, _)| *place);
    let old = old.map(|(_, reading)| reading);
    let value = RwSignal::new(old.as_ref().map(|old| old.value));
    let temperature = RwSignal::new(old.as_ref().and_then(|old| old.temperature).map(Quantity::amount));
    let when = RwSignal::new(if old.is_some() { OTHER } else { 0 });
    let other = RwSignal::new(old.as_ref().map(|old| old.at));
    let note = RwSignal::new(old.as_ref().map_or_else(String::new, |old| old.note.clone()));
    let details = RwSignal::new(old.is_some());
    let (problem, warm_problem) = (RwSignal::new(None::<Problem>), RwSignal::new(None::<Problem>));
    let hint = Signal::derive(move || {
        open.document.with(|batch| {
            let expected = open.plan.with(|plan| expected(batch, plan, kind, clock::now()));
            expected.or_else(|| batch.readings.last(kind).map(|reading| reading.value))
        })
    });
    // Who noted the sample's temperature with the last reading of this meter will do so again.
    let last_warm = Signal::derive(move || {
        open.document.with(|batch| {
            let dimension = kind.spec().dimension;
            let last = batch.readings.iter().rfind(|reading| reading.kind.spec().dimension == dimension);
            last.and_then(|reading| reading.temperature)
                .filter(|_| kind.by_temperature())
                .map(Quantity::amount)
        })
    });
    // Not drawn anew for another temperature: half a number may stand in it.
    let warm_first = Memo::new(move || last_warm.get().is_some());
    let warm = move || {
        NumberField {
            spec: SAMPLE_TEMPERATURE,
            name: format!("{name}.{}.temperature", kind.spec().key),
            value: Signal::derive(move || Typed { value: temperature.get(), upper: None }),
            hint: last_warm,
            note: Signal::derive(String::new),
            ranged: false,
            change: Callback::new(move |typed: Typed| temperature.set(typed.value)),
        }
        .watched(warm_problem)
    };
    let key = kind.spec().key;
    let field = NumberField {
        spec: kind.spec(),
        name: format!("{name}.{key}"),
        value: Signal::derive(move || Typed { value: value.get(), upper: None }),
        hint,
        note: Signal::derive(String::new),
        ranged: false,
        change: Callback::new(move |typed: Typed| value.set(typed.value)),
    };
    let save_it = move || {
        // What was accepted before the last key is not what is in the field now.
        if problem.with_untracked(Option::is_some) || warm_problem.with_untracked(Option::is_some) {
            shared.tell("Not saved: mend the value first, or take what is offered.");
            return;
        }
        let Some(measured) = value.get_untracked() else {
            shared.tell("Type the value first.");
            return;
        };
        let chosen = when.get_untracked();
        let ago = clock::now() + Duration::minutes(-WHEN.get(chosen).map_or(0.0, |(_, minutes)| *minutes));
        let reading = Reading {
            kind,
            value: measured,
            at: other.get_untracked().filter(|_| chosen == OTHER).unwrap_or(ago),
            temperature: temperature.get_untracked().map(|amount| amount.typed()),
            note: note.get_untracked().trim().to_owned(),
        };
        let at = save(shared, open, place, reading);
        // A form in a list goes with the line that is drawn anew, and what it holds with it.
        if place.is_none() {
            value.set(None);
            temperature.set(None);
            when.set(0);
            other.set(None);
            note.set(String::new());
            details.set(false);
        }
        saved.run(at);
    };
    let more = move || {
        if !details.get() {
            let words = if warm_first.get() { "Earlier, or a note" } else { "Earlier, temperature or note" };
            return tag("button")
                .set("type", "button")
                .class("quiet")
                .set("aria-expanded", "false")
                .on("click", move |_| details.set(true))
                .child(words)
                .view();
        }
        View::many(vec![
            times(&format!("{name}.{key}.at"), when, other),
            if warm_first.get() { View::nothing() } else { warm() },
            tag("label")
                .class("wide")
                .child("Note")
                .child(
                    tag("input")
                        .set("type", "text")
                        .set("name", format!("{name}.{key}.note"))
                        .set("maxlength", "400")
                        .property("value", move || note.get())
                        .on("input", move |event| note.set(event_target_value(&event))),
                )
                .view(),
        ])
    };
    let save_words = if place.is_some() { "Save the change" } else { "Save reading" };
    tag("div")
        .class("form")
        .child(field.watched(problem))
        .child(live(move || warm_first.get().then(warm)))
        .child(live(more))
        .child(button("main", "save-reading", save_words, save_it))
        .view()
}

/// When it was read: one tap for what is usual, a date for the rest.
fn times(name: &str, when: RwSignal<usize>, other: RwSignal<Option<Moment>>) -> View {
    let shared = Shared::here();
    let chips: Vec<View> = WHEN
        .iter()
        .enumerate()
        .map(|(choice, (words, _))| {
            tag("button")
                .set("type", "button")
                .class("chip")
                .live("aria-pressed", move || (when.get() == choice).to_string())
                .on("click", move |_| when.set(choice))
                .child(*words)
                .view()
        })
        .collect();
    let name = name.to_owned();
    let date = move || {
        (when.get() == OTHER).then(|| {
            tag("label")
                .class("wide")
                .child("When; empty means now")
                .child(
                    tag("input")
                        .set("type", "datetime-local")
                        .set("name", name.clone())
                        .set("value", other.get_untracked().map(clock::field_text))
                        .live("max", move || clock::field_text(shared.now.get()))
                        .on("input", move |event| other.set(clock::from_field(&event_target_value(&event)))),
                )
                .view()
        })
    };
    View::many(vec![
        tag("div").class("chips").set("role", "group").set("aria-label", "When").child(chips).view(),
        live(date),
    ])
}

/// What the quick note shows.
#[derive(Clone, Copy, PartialEq)]
enum Quick {
    /// Its button only.
    Closed,
    /// The kinds that make sense now, or all of them.
    Kinds {
        /// All of them.
        all: bool,
    },
    /// The form of a kind.
    Form(ReadingKind),
}

/// "Note a reading", within reach of the thumb wherever the page stands.
pub fn quick() -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let state = RwSignal::new(Quick::Closed);
    let close = move || {
        state.set(Quick::Closed);
        focus_soon("[data-test=quick]".to_owned());
    };
    let kinds = move |all: bool| {
        let kinds: Vec<ReadingKind> = if all {
            ReadingKind::ALL.to_vec()
        } else {
            let next = open.document.with_untracked(|batch| {
                open.plan.with_untracked(|plan| next_move(batch, plan, shared.now.get_untracked()))
            });
            ReadingKind::near(next.reading, next.stage)
        };
        let choices: Vec<View> = kinds
            .into_iter()
            .map(|kind| {
                button("choice", kind.spec().key, kind.spec().label, move || {
                    state.set(Quick::Form(kind));
                    focus_soon(".quick .form input".to_owned());
                })
            })
            .collect();
        View::many(vec![
            choices.view(),
            (!all)
                .then(|| {
                    button("quiet", "quick-all", "Something else", move || {
                        state.set(Quick::Kinds { all: true });
                        focus_soon(".quick .choice".to_owned());
                    })
                })
                .view(),
        ])
    };
    let shown = move || {
        let inside = match state.get() {
            Quick::Closed => {
                return button("pill", "quick", "Note a reading", move || {
                    state.set(Quick::Kinds { all: false });
                    focus_soon(".quick .choice".to_owned());
                });
            }
            Quick::Kinds { all } => kinds(all),
            Quick::Form(kind) => form(kind, "quick", None, Callback::new(move |_| close())),
        };
        tag("section")
            .class("sheet")
            .set("aria-label", "Note a reading")
            .child(inside)
            .child(button("quiet", "quick-close", "Close", close))
            .view()
    };
    tag("div").class("quick").child(live(shown)).view()
}
