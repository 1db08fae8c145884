//! Timers on the screen: the button that starts one, the bar of those that wait, and the banner for those of
//! other batches.

use crate::alarm::{Alarm, Waiting, wake_lock};
use crate::clock;
use crate::lists::toggle;
use crate::page::{batch_address, focus};
use crate::signals::{Callback, Memo, RwSignal, Signal};
use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::{NumberField, Typed, button, fold, live};
use batch::document::Timer;
use batch::moment::Moment;
use batch::timer::{LASTS, Left, add, countdown, left, says, start_words};
use calc::quantity::{Amount, Duration};
use leptos::prelude::*;

/// Where the focus goes when a row goes.
const BAR: &str = "#timers";

/// Where it goes when a ringing one was heard: to the others that ring, or on with the day.
const RANG: &str = "#rang, #next";

/// A timer in one word or number.
fn short(timer: &Timer, now: Moment) -> String {
    match left(timer, now) {
        Left::Running(left) => countdown(left),
        Left::Rung(_) => "rang".to_owned(),
        Left::Untold => "?".to_owned(),
    }
}

/// The button that starts a timer of this name and length. While one of this name waits to ring or to be heard,
/// the button shows that one instead, and leads to it.
pub fn offer(open: Open, name: String, lasts: Duration) -> View {
    let (shared, alarm) = (Shared::here(), Alarm::here());
    let started = name.clone();
    let waits = move || {
        open.document
            .with(|batch| batch.timers.iter().find(|timer| !timer.heard && timer.name == started).cloned())
    };
    let words = {
        let (waits, name) = (waits.clone(), name.clone());
        move || match waits() {
            Some(timer) => format!("{name}: {}", short(&timer, alarm.now())),
            None => shared.preferences.with(|p| p.say(&start_words(name.clone(), lasts), Moment::default())),
        }
    };
    button("", "start-timer", live(words), move || {
        if untrack(&waits).is_some() {
            focus(BAR);
        } else {
            alarm.start(open, name.clone(), lasts);
        }
    })
}

/// The timers of the open batch that rang, or those that run, within `around`; nothing where there are none.
fn rows(shared: Shared, open: Open, rung: bool, around: fn(View) -> View) -> View {
    let alarm = Alarm::here();
    // The rows are drawn anew when one comes, goes or rings; within them only the numbers follow the clock.
    let waiting = Memo::new(move || {
        let mut waiting = alarm.waiting_here(open);
        waiting.retain(|row| row.rung == rung);
        waiting
    });
    live(move || {
        let rows: Vec<View> =
            waiting.get().into_iter().map(|row| row_view(shared, open, alarm, row)).collect();
        (!rows.is_empty()).then(|| around(tag("ul").child(rows).view()))
    })
}

fn section(id: &'static str, title: &'static str, inside: View) -> View {
    tag("section")
        .class("timers")
        .set("aria-labelledby", id)
        .set("data-test", id)
        .child(tag("h2").set("id", id).set("tabindex", "-1").child(title))
        .child(inside)
        .view()
}

/// What rang and nobody heard. It comes before all else on the screen: also for those who go through it by ear
/// or by keyboard, so no style may put it there.
pub fn rang(shared: Shared, open: Open) -> View {
    rows(shared, open, true, |rows| section("rang", "Rang", rows))
}

/// The timers of the open batch that run, and the form for an own one.
pub fn bar(shared: Shared, open: Open) -> View {
    let alarm = Alarm::here();
    alarm.opens(open);
    let rows = rows(shared, open, false, |rows| {
        let words = "A phone that is locked or silenced may hold back the sound. The times stay right.";
        View::many(vec![rows, tag("p").class("aside").child(words).view()])
    });
    let own = fold("Own timer, keep the screen on", move || own(shared, open, alarm));
    section("timers", "Timers", View::many(vec![rows, own]))
}

fn row_view(shared: Shared, open: Open, alarm: Alarm, row: Waiting) -> View {
    let Waiting { place, timer, rung, .. } = row;
    let Timer { name, .. } = timer.clone();
    let told = timer.clone();
    let number = move || short(&timer, alarm.now());
    let words = move || {
        let now = alarm.now();
        shared.preferences.with(|p| p.say(&says(&told, now), now))
    };
    let of = |label: &'static str| {
        View::many(vec![label.view(), tag("span").class("unseen").child(": ").child(name.clone()).view()])
    };
    let more = |label, test, minutes: f64| {
        button("", test, of(label), move || {
            open.edit(|batch| {
                if let Some(timer) = batch.timers.get_mut(place) {
                    add(timer, Duration::minutes(minutes), clock::now());
                }
            });
            open.flush();
        })
    };
    let stopped = format!("Timer stopped: {name}.");
    let actions = if rung {
        vec![
            button("main", "heard", of("Heard"), move || {
                open.edit_with_undo("Heard.", |batch| {
                    if let Some(timer) = batch.timers.get_mut(place) {
                        timer.heard = true;
                    }
                });
                // Other tabs ring until it is stored.
                open.flush();
                request_animation_frame(|| focus(RANG));
            }),
            more("+5 min", "more", 5.0),
        ]
    } else {
        vec![
            more("+1 min", "more", 1.0),
            more("+5 min", "more", 5.0),
            button("", "stop-timer", of("Stop"), move || {
                open.edit_with_undo(&stopped, |batch| {
                    if place < batch.timers.len() {
                        batch.timers.remove(place);
                    }
                });
                open.flush();
                focus(BAR);
            }),
        ]
    };
    tag("li")
        .class(if rung { "timer rung" } else { "timer" })
        .child(
            tag("strong")
                .set("role", rung.then_some("alert"))
                .child(name.clone())
                .child(rung.then_some(" rang")),
        )
        .child(tag("span").class("count").set("role", "timer").child((!rung).then(|| live(number))))
        .child(tag("span").class("spread").child(live(words)))
        .child(tag("div").class("actions").child(actions))
        .view()
}

fn own(shared: Shared, open: Open, alarm: Alarm) -> View {
    let name = RwSignal::new(String::new());
    let lasts = RwSignal::new(None::<Amount>);
    let field = NumberField {
        spec: LASTS,
        name: LASTS.key.to_owned(),
        value: Signal::derive(move || Typed { value: lasts.get(), upper: None }),
        hint: Signal::derive(|| None),
        note: Signal::derive(String::new),
        ranged: false,
        change: Callback::new(move |typed: Typed| lasts.set(typed.value)),
    };
    let start = move || {
        let Some(length) = lasts.get_untracked() else {
            shared.tell("Type the minutes first.");
            return;
        };
        let typed = name.get_untracked();
        let typed = typed.trim();
        let called = if typed.is_empty() { "Timer" } else { typed };
        alarm.start(open, called.to_owned(), length.typed());
        name.set(String::new());
        lasts.set(None);
    };
    let keep_on = wake_lock().map(|_| {
        toggle("Keep the screen on".to_owned(), "keep_on".to_owned(), alarm.keep_on.into(), move |on| {
            alarm.keep_on.set(on);
        })
    });
    tag("div")
        .class("form")
        .child(
            tag("label").class("wide").child("What for").child(
                tag("input")
                    .set("type", "text")
                    .set("name", "timer_name")
                    .set("maxlength", "120")
                    .set("autocomplete", "off")
                    .property("value", move || name.get())
                    .on("input", move |event| name.set(event_target_value(&event))),
            ),
        )
        .child(field.view())
        .child(button("main", "start-own", "Start timer", start))
        .child(keep_on)
        .view()
}

/// What rang in batches that are not on the screen, with the way there.
pub fn elsewhere() -> View {
    let alarm = Alarm::here();
    let rung = Memo::new(move || alarm.rung_elsewhere());
    live(move || {
        let lines = rung.get().into_iter().map(|waiting| {
            tag("p")
                .child(tag("strong").child(waiting.timer.name).child(" rang. "))
                .child(tag("a").class("button").set("href", batch_address(&waiting.id)).child(waiting.batch))
                .view()
        });
        let lines: Vec<View> = lines.collect();
        (!lines.is_empty()).then(|| {
            tag("div").class("banner stop").set("role", "alert").set("data-test", "rings").child(lines).view()
        })
    })
}
