//! The parts that every screen is made of. They are plain functions that give
//! erased views: one copy of the code, however many fields there are.

use crate::preferences::Preferences;
use crate::state::{Open, Shared};
use batch::document::{Fallback, Slot, Spec};
use batch::plan::{Figure, Input, Origin, Shown, Unknown};
use batch::say::Sentence;
use calc::data::{Mark, Source};
use calc::quantity::{Amount, Unit};
use leptos::prelude::*;
use std::sync::atomic::{AtomicU32, Ordering};

static NEXT_ID: AtomicU32 = AtomicU32::new(0);

/// An element id that no other element of the page has.
fn fresh_id() -> String {
    format!("e{}", NEXT_ID.fetch_add(1, Ordering::Relaxed))
}

/// A part of the view that is drawn anew when something it reads changes. The
/// closure is boxed: the machinery around it is then compiled once, not once
/// for each place.
pub fn live<V: IntoAny>(mut draw: impl FnMut() -> V + Send + 'static) -> AnyView {
    let drawn: Box<dyn FnMut() -> AnyView + Send> = Box::new(move || draw().into_any());
    drawn.into_any()
}

/// A button; `test` is its stable name for tests, or empty.
pub fn button(
    class: &'static str,
    test: &'static str,
    label: impl IntoAny,
    press: impl Fn() + 'static,
) -> AnyView {
    boxed_button(class, test, label.into_any(), Box::new(press))
}

fn boxed_button(class: &'static str, test: &'static str, label: AnyView, press: Box<dyn Fn()>) -> AnyView {
    let test = (!test.is_empty()).then_some(test);
    view! { <button type="button" class=class data-test=test on:click=move |_| press()>{label}</button> }
        .into_any()
}

/// A field for one number with its unit, a stepper and its message.
pub struct NumberField {
    /// Label, unit and range.
    pub spec: &'static Spec,
    /// Stable name of the field for tests and for assistive technology.
    pub name: String,
    /// The value in the document.
    pub value: Signal<Option<Amount>>,
    /// What is used while the field is empty.
    pub hint: Signal<Option<Amount>>,
    /// A line under the field.
    pub note: Signal<String>,
    /// Takes a value that is in range, or nothing for an empty field.
    pub change: Callback<Option<Amount>>,
}

/// The message for a value outside the range, in the person's unit.
fn out_of_range(spec: &Spec, value: Amount, unit: &Unit) -> String {
    format!(
        "{} is out of range. Possible: {} to {}. Not saved yet; the earlier value stays.",
        value.text(unit),
        spec.low.entry_text(unit),
        spec.high.text(unit)
    )
}

/// Reads a typed text: the value to store, or a message.
fn read(spec: &'static Spec, unit: &Unit, text: &str) -> Result<Option<Amount>, String> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    let amount = Amount::parse(spec.dimension, unit, text).map_err(|problem| problem.to_string())?;
    spec.check(amount).map(Some).map_err(|found| out_of_range(spec, found.value, unit))
}

/// What a field shows of a stored amount: all its figures, unless they are
/// only what is left of another unit.
fn field_text(amount: Amount, unit: &Unit) -> String {
    let exact = amount.entry_text(unit);
    if exact.chars().count() > 7 { amount.number_text(unit) } else { exact }
}

impl NumberField {
    /// Draws the field.
    pub fn view(self) -> AnyView {
        let Self { spec, name, value, hint, note, change } = self;
        let preferences = Shared::here().preferences;
        let unit = Memo::new(move |_| preferences.with(|p| p.unit(spec.dimension)));
        let shown = move |amount: Option<Amount>| {
            amount.map_or_else(String::new, |a| field_text(a, &unit.get_untracked()))
        };
        let text = RwSignal::new(shown(value.get_untracked()));
        let problem = RwSignal::new(None::<String>);

        // A value that changed elsewhere (undo, another unit) replaces the text; one's own typing does not.
        Effect::new(move |before: Option<(Option<Amount>, Unit)>| {
            let now = (value.get(), unit.get());
            if before.is_some_and(|before| before != now) {
                let typed = read(spec, &now.1, &text.get_untracked());
                if before.is_some_and(|before| before.1 != now.1) || typed != Ok(now.0) {
                    text.set(shown(now.0));
                    problem.set(None);
                }
            }
            now
        });

        let take = move |typed: String| match read(spec, &unit.get_untracked(), &typed) {
            Ok(found) => {
                problem.set(None);
                text.set(typed);
                change.run(found);
            }
            Err(message) => {
                problem.set(Some(message));
                text.set(typed);
            }
        };
        let step = move |direction: f64| {
            let unit = unit.get_untracked();
            let from = value.get_untracked().or_else(|| hint.get_untracked()).unwrap_or(spec.low);
            let steps = (from.in_unit(&unit) / unit.step).round() + direction;
            let low = spec.low.in_unit(&unit).min(spec.high.in_unit(&unit));
            let high = spec.high.in_unit(&unit).max(spec.low.in_unit(&unit));
            let next = (steps * unit.step).clamp(low, high);
            let amount = Amount::from_unit(spec.dimension, &unit, next);
            text.set(amount.entry_text(&unit));
            problem.set(None);
            change.run(Some(amount));
        };

        let id = fresh_id();
        let (label_id, note_id) = (format!("{id}l"), format!("{id}n"));
        let several = spec.dimension.units().len() > 1;
        let unit_view = move || {
            let symbol = unit.get().symbol;
            if several {
                view! {
                    <button
                        type="button"
                        class="unit"
                        aria-label=format!("Unit: {symbol}. Change")
                        on:click=move |_| preferences.update(|p| p.next_unit(spec.dimension))
                    >
                        {symbol}
                    </button>
                }
                .into_any()
            } else if symbol.is_empty() {
                ().into_any()
            } else {
                view! { <span class="unit fixed">{symbol}</span> }.into_any()
            }
        };
        let placeholder = move || {
            let unit = unit.get();
            hint.get().map_or_else(String::new, |amount| field_text(amount, &unit))
        };
        let below = move || problem.get().unwrap_or_else(|| note.get());
        view! {
            <div class="field" class:wrong=move || problem.with(Option::is_some)>
                <label id=label_id.clone() for=id.clone()>{spec.label}</label>
                <div class="entry">
                    <button type="button" class="step" aria-label=format!("{}: less", spec.label) on:click=move |_| step(-1.0)>
                        "−"
                    </button>
                    <input
                        id=id
                        name=name
                        type="text"
                        inputmode="decimal"
                        autocomplete="off"
                        enterkeyhint="done"
                        placeholder=placeholder
                        prop:value=move || text.get()
                        aria-invalid=move || problem.with(|p| p.is_some().to_string())
                        aria-describedby=note_id.clone()
                        on:input=move |event| take(event_target_value(&event))
                    />
                    {live(unit_view)}
                    <button type="button" class="step" aria-label=format!("{}: more", spec.label) on:click=move |_| step(1.0)>
                        "+"
                    </button>
                </div>
                <p class="note" id=note_id role=move || problem.with(|p| p.as_ref().map(|_| "alert"))>
                    {live(below)}
                </p>
            </div>
        }
        .into_any()
    }
}

/// The entry field of a number of the document.
pub fn entry(slot: Slot) -> AnyView {
    let open = Open::here();
    let spec = slot.spec();
    let hint =
        Signal::derive(move || open.document.with(|batch| slot.fallback(batch).map(|(amount, _)| amount)));
    let note = Signal::derive(move || {
        open.document.with(|batch| {
            if slot.get(batch).is_some() {
                return String::new();
            }
            match slot.fallback(batch) {
                Some((_, Fallback::House { batches })) => {
                    format!(
                        "Empty: your house number, from {batches} {}.",
                        if batches == 1 { "batch" } else { "batches" }
                    )
                }
                Some((_, Fallback::Assumed(source))) => format!("Empty: assumed. {}", source.text),
                None => String::new(),
            }
        })
    });
    let place = match slot {
        Slot::Of(_) => String::new(),
        Slot::Malt(place, _) => format!("malt{place}."),
        Slot::Hop(place, _) => format!("hop{place}."),
        Slot::Fruit(place, _) => format!("fruit{place}."),
    };
    NumberField {
        spec,
        name: format!("{place}{}", spec.key),
        value: Signal::derive(move || open.document.with(|batch| slot.get(batch))),
        hint,
        note,
        change: Callback::new(move |value| {
            if open.document.with_untracked(|batch| slot.get(batch)) != value {
                open.edit(|batch| {
                    // The field has checked the range by the same table row; the document checks again.
                    let _ = slot.set(batch, value);
                });
            }
        }),
    }
    .view()
}

/// A choice from a short list, as a system menu.
pub fn picker<T: Copy + PartialEq + Send + Sync + 'static>(
    label: &'static str,
    name: &'static str,
    options: Vec<(T, String)>,
    value: impl Fn() -> T + Send + Sync + 'static,
    change: impl Fn(T) + Send + Sync + 'static,
) -> AnyView {
    let values: Vec<T> = options.iter().map(|(value, _)| *value).collect();
    let chosen = {
        let values = values.clone();
        move || {
            let value = value();
            values.iter().position(|v| *v == value).unwrap_or(0)
        }
    };
    let labels = options.into_iter().map(|(_, label)| label).collect();
    index_picker(
        label,
        name,
        labels,
        Signal::derive(chosen),
        Callback::new(move |place: usize| {
            if let Some(value) = values.get(place) {
                change(*value);
            }
        }),
    )
}

fn index_picker(
    label: &'static str,
    name: &'static str,
    labels: Vec<String>,
    chosen: Signal<usize>,
    change: Callback<usize>,
) -> AnyView {
    let id = fresh_id();
    let options: Vec<AnyView> = labels
        .into_iter()
        .enumerate()
        .map(|(place, label)| {
            let selected = chosen.get_untracked() == place;
            view! { <option value=place.to_string() selected=selected>{label}</option> }.into_any()
        })
        .collect();
    view! {
        <div class="field">
            <label for=id.clone()>{label}</label>
            <select
                id=id
                name=name
                prop:value=move || chosen.get().to_string()
                on:change=move |event| {
                    if let Ok(place) = event_target_value(&event).parse() {
                        change.run(place);
                    }
                }
            >
                {options}
            </select>
        </div>
    }
    .into_any()
}

/// How a spread is worded: "give or take" when it is even, both ends when it is not.
pub fn give_or_take(shown: &Shown, preferences: &Preferences) -> String {
    let unit = preferences.unit(shown.value.dimension);
    let (value, low, high) =
        (shown.value.in_unit(&unit), shown.low.in_unit(&unit), shown.high.in_unit(&unit));
    let (down, up) = ((value - low).abs(), (high - value).abs());
    let width = (down + up) / 2.0;
    if width < 0.5 * 0.1_f64.powi(i32::from(unit.decimals)) {
        return String::new();
    }
    if (up - down).abs() > 0.5 * width {
        return format!("likely {} to {}", shown.low.number_text(&unit), shown.high.text(&unit));
    }
    let half = Amount::from_unit(shown.value.dimension, &unit, low + width);
    let zero = Amount::from_unit(shown.value.dimension, &unit, low);
    // Through numbers of the unit itself: half a width is not a temperature.
    let decimals = usize::from(unit.decimals);
    let number = half.in_unit(&unit) - zero.in_unit(&unit);
    format!("give or take {number:.decimals$}")
}

/// Why a figure is not known yet.
pub fn unknown_text(unknown: Unknown, preferences: &Preferences, now: batch::moment::Moment) -> String {
    preferences.say(&unknown.sentence(), now)
}

fn source_view(source: &Source) -> AnyView {
    let mark = match source.mark {
        Mark::Published => "published",
        Mark::Derived => "derived from published figures",
        Mark::CommonPractice => "common practice, no source",
        Mark::FromMemory => "from memory of the named work",
        Mark::OurEstimate => "our estimate",
    };
    view! { <li>{source.text}" "<span class="mark">{mark}</span></li> }.into_any()
}

/// One figure of the plan: label, number, spread, and on tap the reason.
pub fn figure_line(figure: Figure) -> AnyView {
    let (shared, open) = (Shared::here(), Open::here());
    let current = Memo::new(move |_| open.plan.with(|plan| figure.of(&plan.figures)));
    let expanded = RwSignal::new(false);
    let number = move || {
        shared.preferences.with(|p| match current.get() {
            Ok(shown) => p.text(shown.value),
            Err(_) => "not known yet".to_owned(),
        })
    };
    let under = move || {
        shared.preferences.with(|p| match current.get() {
            Ok(shown) if shown.origin == Origin::Measured => {
                let spread = give_or_take(&shown, p);
                if spread.is_empty() { "measured".to_owned() } else { format!("measured, {spread}") }
            }
            Ok(shown) => give_or_take(&shown, p),
            Err(unknown) => unknown_text(unknown, p, shared.now.get()),
        })
    };
    let id = fresh_id();
    let panel = id.clone();
    view! {
        <div class="figure" data-figure=figure.key() class:unknown=move || current.get().is_err()>
            <button
                type="button"
                class="line"
                aria-expanded=move || expanded.get().to_string()
                aria-controls=panel.clone()
                on:click=move |_| expanded.update(|e| *e = !*e)
            >
                <span class="what">{figure.label()}"\u{a0}"<span class="why-sign" aria-hidden="true">"?"</span></span>
                <span class="number">{live(number)}</span>
                <span class="spread">{live(under)}</span>
            </button>
            <div id=id>
                {live(move || expanded.get().then(|| why_panel(figure, shared, open)))}
            </div>
        </div>
    }
    .into_any()
}

fn why_panel(figure: Figure, shared: Shared, open: Open) -> AnyView {
    let why = figure.why();
    let inputs: Vec<AnyView> = why
        .inputs
        .iter()
        .map(|&input| {
            let label = match input {
                Input::Field(field) => field.spec().label,
                Input::Figure(figure) => figure.label(),
            };
            let value = move || {
                let amount = match input {
                    Input::Field(field) => open.document.with(|batch| Slot::Of(field).effective(batch)),
                    Input::Figure(figure) => {
                        open.plan.with(|plan| figure.of(&plan.figures).ok().map(|s| s.value))
                    }
                };
                amount.map_or_else(|| "not known yet".to_owned(), |a| shared.preferences.with(|p| p.text(a)))
            };
            view! { <li><span>{label}</span><span class="number">{live(value)}</span></li> }.into_any()
        })
        .collect();
    let dimension = figure.dimension();
    let switch = (dimension.units().len() > 1).then(|| {
        view! {
            <button type="button" class="quiet" on:click=move |_| shared.preferences.update(|p| p.next_unit(dimension))>
                "Show in another unit"
            </button>
        }
        .into_any()
    });
    view! {
        <div class="why">
            <p>{why.says}</p>
            {(!inputs.is_empty()).then(|| view! { <h4>"From"</h4><ul class="inputs">{inputs}</ul> }.into_any())}
            <h4>"How sure"</h4>
            <p>{why.spread}</p>
            <h4>"Rests on"</h4>
            <ul class="sources">{why.sources.iter().map(source_view).collect::<Vec<_>>()}</ul>
            {switch}
        </div>
    }
    .into_any()
}

/// A sentence in the person's units.
pub fn sentence(sentence: Sentence) -> AnyView {
    let shared = Shared::here();
    view! { <span>{live(move || shared.preferences.with(|p| p.say(&sentence, shared.now.get())))}</span> }
        .into_any()
}

/// The message at the foot of the screen.
pub fn toast_view(shared: Shared) -> AnyView {
    // Long enough to read and reach; what it could undo is rarely wanted later.
    const STAYS: std::time::Duration = std::time::Duration::from_secs(20);
    Effect::new(move |before: Option<Option<TimeoutHandle>>| {
        if let Some(timer) = before.flatten() {
            timer.clear();
        }
        let shown = shared.toast.with(Option::is_some);
        shown.then(|| set_timeout_with_handle(move || shared.toast.set(None), STAYS).ok()).flatten()
    });
    let shown = move || {
        shared.toast.get().map(|toast| {
            let undo = toast.undo.map(|undo| {
                view! {
                    <button type="button" on:click=move |_| { undo(); shared.toast.set(None); }>"Undo"</button>
                }
                .into_any()
            });
            view! {
                <div class="toast">
                    <span>{toast.message}</span>
                    {undo}
                    <button type="button" aria-label="Close this message" on:click=move |_| shared.toast.set(None)>"×"</button>
                </div>
            }
            .into_any()
        })
    };
    view! { <div class="toasts" role="status" aria-live="polite">{live(shown)}</div> }.into_any()
}
