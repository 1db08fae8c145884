//! The day: every step as it stands, with its time; what is said of it, and what can be done with it, on a tap.

use crate::page::focus;
use crate::signals::{Memo, RwSignal};
use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::{button, live, sentence};
use crate::{clock, timers};
use batch::document::Step;
use batch::moment::Moment;
use batch::plan::{NextMove, RunItem, RunState, run_list, souring_days};
use leptos::prelude::*;

/// Steps shown before and behind the one of now, until all are asked for.
const BEFORE: usize = 1;
const BEHIND: usize = 3;

/// What helps with a step: its details, what is to be clean, the caution, and timers to start.
pub fn aids(shared: Shared, open: Open, of: Memo<NextMove>) -> View {
    let details = Memo::new(move || of.with(|next| next.details.clone()));
    let words = Memo::new(move || of.with(|next| (next.sanitise, next.caution)));
    let offered = Memo::new(move || of.with(|next| next.timers.clone()));
    let lines = move || {
        let lines: Vec<View> =
            details.get().into_iter().map(|line| tag("li").child(sentence(line)).view()).collect();
        (!lines.is_empty()).then(|| tag("ul").class("details").child(lines).view())
    };
    let marked = |sign: &'static str, title: &'static str, words: &'static str| {
        (!words.is_empty()).then(|| {
            tag("p")
                .class("caution")
                .child(tag("span").class("sign").set("aria-hidden", "true").child(sign))
                .child(tag("strong").child(title))
                .child(words)
                .view()
        })
    };
    let said = move || {
        let (sanitise, caution) = words.get();
        View::many(vec![marked("◇", "Clean. ", sanitise).view(), marked("!", "Caution. ", caution).view()])
    };
    let offers = move || {
        let now = shared.now.get_untracked();
        let offer = |offer: batch::plan::TimerOffer| {
            let name = shared.preferences.with(|p| p.say(&offer.name, now));
            timers::offer(open, name, offer.lasts)
        };
        let offers: Vec<View> = offered.get().into_iter().map(offer).collect();
        (!offers.is_empty()).then(|| tag("div").class("actions").child(offers).view())
    };
    View::many(vec![live(lines), live(said), live(offers)])
}

/// The section of the day.
pub fn day(shared: Shared, open: Open) -> View {
    let list = Memo::new(move || {
        open.document.with(|batch| open.plan.with(|plan| run_list(batch, plan, shared.now.get())))
    });
    let (all, unfolded) = (RwSignal::new(false), RwSignal::new(None::<Step>));
    let shown = Memo::new(move || {
        list.with(|list| {
            let steps = list.iter().map(|item| item.step);
            if all.get() {
                return steps.collect::<Vec<_>>();
            }
            let now = list.iter().position(|item| item.state == RunState::Now).unwrap_or(list.len());
            let first = now.saturating_sub(BEFORE);
            steps.skip(first).take(now - first + BEHIND).collect()
        })
    });
    let rows = move || {
        let rows: Vec<View> =
            shown.get().into_iter().map(|step| row(shared, open, list, unfolded, step)).collect();
        rows
    };
    tag("section")
        .class("day")
        .set("aria-labelledby", "day")
        .set("data-test", "day")
        .child(tag("h2").set("id", "day").set("tabindex", "-1").child("The day"))
        .child(tag("ol").child(live(rows)))
        .child(
            tag("button")
                .set("type", "button")
                .class("quiet")
                .set("data-test", "whole-day")
                .live("aria-expanded", move || all.get().to_string())
                .on("click", move |_| all.update(|all| *all = !*all))
                .child(live(move || if all.get() { "Show only what is near" } else { "Show all steps" })),
        )
        .view()
}

/// The sign of a state and its word.
const fn sign(state: Option<RunState>) -> (&'static str, &'static str) {
    match state {
        Some(RunState::Done(_)) => ("✓", ""),
        Some(RunState::Skipped(_)) => ("–", "left out"),
        Some(RunState::Behind(_)) => ("?", "not ticked"),
        Some(RunState::Now) => ("▶", "now"),
        Some(RunState::Later) | None => ("○", ""),
    }
}

fn row(
    shared: Shared,
    open: Open,
    list: Memo<Vec<RunItem>>,
    unfolded: RwSignal<Option<Step>>,
    step: Step,
) -> View {
    let item = Memo::new(move || list.with(|list| list.iter().find(|item| item.step == step).copied()));
    let state = Memo::new(move || item.get().map(|item| item.state));
    let expanded = move || unfolded.get() == Some(step);
    let time = move || {
        let due = item.get().and_then(|item| item.starts);
        let clock = |at: Moment| clock::short(at, shared.now.get());
        match (state.get(), due) {
            (Some(RunState::Done(at)), _) => clock(at),
            (Some(RunState::Later), Some(due)) => format!("about {}", clock(due.about)),
            (Some(RunState::Later), None) => "time not known yet".to_owned(),
            (state, _) => sign(state).1.to_owned(),
        }
    };
    let days = Memo::new(move || {
        if step != Step::Soured || state.get() != Some(RunState::Now) {
            return Vec::new();
        }
        open.document.with(|batch| open.plan.with(|plan| souring_days(batch, plan, shared.now.get())))
    });
    let days = move || {
        let line = |day: batch::plan::SouringDay| {
            let time = clock::short(day.at, shared.now.get());
            let (class, sign, about) =
                if day.past { ("", "✓ ", "") } else { ("to-come", "○ ", "about ") };
            tag("li")
                .class(class)
                .child(tag("span").set("aria-hidden", "true").child(sign))
                .child(tag("b").child(about).child(time))
                .child(" ")
                .child(sentence(day.says))
                .view()
        };
        let days: Vec<View> = days.get().into_iter().map(line).collect();
        (!days.is_empty()).then(|| {
            tag("ol")
                .class("days")
                .set("aria-label", "The souring")
                .set("data-test", "souring-days")
                .child(days)
                .view()
        })
    };
    // The other states are words where the time would stand.
    let done_unseen = move || {
        matches!(state.get(), Some(RunState::Done(_)))
            .then(|| tag("span").class("unseen").child(", done").view())
    };
    let body = format!("run{}", step as usize);
    tag("li")
        .set("data-step", step.title())
        .class_while("now", move || state.get() == Some(RunState::Now))
        .class_while("past", move || state.get().is_some_and(|state| state.past().is_some()))
        .child(
            tag("button")
                .set("type", "button")
                .class("line")
                .live("aria-expanded", move || expanded().to_string())
                .set("aria-controls", body.clone())
                .on("click", move |_| {
                    unfolded.update(|open| *open = if *open == Some(step) { None } else { Some(step) });
                })
                .child(
                    tag("span")
                        .class("what")
                        .child(
                            tag("span")
                                .class("sign")
                                .set("aria-hidden", "true")
                                .child(live(move || sign(state.get()).0)),
                        )
                        .child(step.title())
                        .child(live(done_unseen)),
                )
                .child(tag("span").class("number").child(live(time))),
        )
        .child(live(days))
        .child(
            tag("div")
                .class("body")
                .set("id", body)
                .child(live(move || expanded().then(|| inside(shared, open, item, state, unfolded, step)))),
        )
        .view()
}

/// What is said of a step, and what can be done with it.
fn inside(
    shared: Shared,
    open: Open,
    item: Memo<Option<RunItem>>,
    state: Memo<Option<RunState>>,
    unfolded: RwSignal<Option<Step>>,
    step: Step,
) -> View {
    let words = Memo::new(move || {
        let item = item.get()?;
        let now = shared.now.get();
        Some(open.document.with(|batch| open.plan.with(|plan| item.words(batch, plan, now))))
    });
    let Some(first) = words.get_untracked() else { return View::nothing() };
    let of = Memo::new(move || words.get().unwrap_or_else(|| first.clone()));
    let earlier = RwSignal::new(None::<Moment>);
    let ended = move || {
        unfolded.set(None);
        // The button that was pressed goes; who works by keyboard stays in the list.
        focus("#day");
    };
    let ticked = move |at: Moment| {
        open.edit_with_undo(step.done(), |batch| batch.tick(step, Some(at)));
        ended();
    };
    let field = move || {
        earlier.get_untracked()?;
        let field = tag("label").class("wide").child("Done at").child(
            tag("input")
                .set("type", "datetime-local")
                .set("name", "done-at")
                .live("max", move || clock::field_text(shared.now.get()))
                .property("value", move || earlier.get().map(clock::field_text).unwrap_or_default())
                .on("change", move |event| {
                    if let Some(at) = clock::from_field(&event_target_value(&event)) {
                        earlier.set(Some(at));
                    }
                }),
        );
        let save = button("main", "save-done-at", "Save this time", move || {
            if let Some(at) = earlier.get_untracked() {
                ticked(at);
            }
        });
        Some(View::many(vec![field.view(), save]))
    };
    let asks = Memo::new(move || earlier.with(Option::is_some));
    let ways = move || {
        if asks.get() {
            return field().view();
        }
        let at = match state.get() {
            Some(RunState::Done(at)) => Some(at),
            Some(RunState::Skipped(_)) => None,
            other => {
                let leave = move || {
                    open.edit_with_undo("Left out.", |batch| batch.skip(step, clock::now()));
                    ended();
                };
                let from = other.and_then(RunState::past);
                return View::many(vec![
                    button("main", "step-done", step.done(), move || ticked(clock::now())),
                    button("", "done-earlier", "Done earlier", move || {
                        earlier.set(Some(from.unwrap_or_else(clock::now)));
                    }),
                    button("", "leave-out", "Leave out", leave),
                ]);
            }
        };
        let back = move || {
            open.edit_with_undo("To be done again.", |batch| batch.tick(step, None));
            ended();
        };
        View::many(vec![
            button("", "not-done", "Not done after all", back),
            button("", "done-earlier", "Done at another time", move || {
                earlier.set(Some(at.unwrap_or_else(clock::now)));
            }),
        ])
    };
    View::many(vec![
        tag("p").child(live(move || sentence(of.with(|next| next.says.clone())))).view(),
        aids(shared, open, of),
        tag("div").class("actions").child(live(ways)).view(),
    ])
}
