//! The parts that every screen is made of. They are plain functions that give
//! erased views: one copy of the code, however many fields there are.

use crate::page::focus;
use crate::page::rest_focus;
use crate::preferences::Preferences;
use crate::signals::{Callback, Memo, RwSignal, Signal, effect};
use crate::state::{Open, Shared};
use crate::view::{Shows, Tag, View, tag};
use batch::document::{Batch, Fallback, Slot, Spec};
use batch::doubt::meant;
use batch::plan::{Figure, Input, Origin, Shown, Unknown};
use batch::say::Sentence;
use calc::data::{Mark, Source};
use calc::quantity::{Amount, Unit, fixed, parse_number};
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
pub fn live<V: Into<View>>(mut draw: impl FnMut() -> V + 'static) -> View {
    View::live(Box::new(move || draw().into()))
}

/// The head of a screen that leads back to another.
pub fn back(address: impl Into<crate::view::Value>, words: &'static str) -> View {
    let link = tag("a").class("button quiet").set("href", address).set("data-test", "back").child(words);
    tag("header").class("top").child(link).view()
}

/// A button; `test` is its stable name for tests, or empty.
pub fn button(
    class: &'static str,
    test: &'static str,
    label: impl Into<View>,
    press: impl Fn() + 'static,
) -> View {
    boxed_button(class, test, label.view(), Box::new(press))
}

fn boxed_button(class: &'static str, test: &'static str, label: View, press: Box<dyn Fn()>) -> View {
    let test = (!test.is_empty()).then_some(test);
    tag("button")
        .set("type", "button")
        .class(class)
        .set("data-test", test)
        .on("click", move |_| press())
        .child(label)
        .view()
}

/// A form for one field. Nothing is ever sent; but at every key browsers look through all fields of the form for
/// what they could fill in, and through all fields of the page where there is no form: a good part of a frame.
fn form() -> Tag {
    tag("form")
}

/// A field for one number with its unit, a stepper and its message.
pub struct NumberField {
    /// Label, unit and range.
    pub spec: &'static Spec,
    /// Stable name of the field for tests and for assistive technology.
    pub name: String,
    /// The value in the document.
    pub value: Signal<Typed>,
    /// What is used while the field is empty.
    pub hint: Signal<Option<Amount>>,
    /// A line under the field.
    pub note: Signal<String>,
    /// Whether two ends may be typed.
    pub ranged: bool,
    /// Takes a value that is in range, or nothing for an empty field.
    pub change: Callback<Typed>,
}

/// What is wrong with what is typed: the words for it, and what was probably meant.
pub type Problem = (String, Option<Amount>);

/// What is in a field: nothing, one value, or both ends of a range.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Typed {
    /// The value, or the lower end.
    pub value: Option<Amount>,
    /// The upper end.
    pub upper: Option<Amount>,
}

/// The message for a value outside the range, in the person's unit. A single number is said as it was typed:
/// far outside, gravity does not come back from its base unit.
fn out_of_range(spec: &Spec, value: Amount, unit: &Unit, text: &str) -> String {
    let value = match parse_number(text) {
        Ok(number) => [&fixed(number, unit.decimals), "\u{202f}", unit.symbol].concat(),
        Err(_) => value.text(unit),
    };
    format!(
        "{} is out of range. Possible: {} to {}. Not saved yet; the earlier value stays.",
        value.trim_end(),
        spec.low.entry_text(unit),
        spec.high.text(unit)
    )
}

/// Reads a typed text: what to store, or a message.
fn read(spec: &'static Spec, unit: &Unit, text: &str, ranged: bool) -> Result<Typed, String> {
    if text.trim().is_empty() {
        return Ok(Typed::default());
    }
    let typed = if ranged {
        Amount::parse_range(spec.dimension, unit, text)
    } else {
        Amount::parse(spec.dimension, unit, text).map(|amount| (amount, None))
    };
    let (value, upper) = typed.map_err(|problem| problem.to_string())?;
    for end in [Some(value), upper].into_iter().flatten() {
        spec.check(end).map_err(|found| out_of_range(spec, found.value, unit, text))?;
    }
    Ok(Typed { value: Some(value), upper })
}

/// What a field shows of a stored amount: all its figures, unless they are
/// only what is left of another unit.
fn field_text(amount: Amount, unit: &Unit) -> String {
    let exact = amount.entry_text(unit);
    if exact.chars().count() > 7 { amount.number_text(unit) } else { exact }
}

impl NumberField {
    /// Draws the field.
    pub fn view(self) -> View {
        self.watched(RwSignal::new(None))
    }

    /// Draws the field for a form that must know what is wrong with what is typed now: `problem` is a signal
    /// without one, for the field to set.
    pub fn watched(self, problem: RwSignal<Option<Problem>>) -> View {
        let Self { spec, name, value, hint, note, ranged, change } = self;
        let preferences = Shared::here().preferences;
        let unit = Memo::new(move || preferences.with(|p| p.unit(spec.dimension)));
        let shown = move |typed: Typed| {
            let ends = [typed.value, typed.upper].into_iter().flatten();
            let texts: Vec<String> = ends.map(|amount| field_text(amount, &unit.get_untracked())).collect();
            texts.join("–")
        };
        let text = RwSignal::new(shown(value.get_untracked()));

        // A value that changed elsewhere (undo, another unit) replaces the text; one's own typing does not.
        let mut before = None::<(Typed, Unit)>;
        effect(move || {
            let now = (value.get(), unit.get());
            if before.is_some_and(|before| before != now) {
                let typed = read(spec, &now.1, &text.get_untracked(), ranged);
                if before.is_some_and(|before| before.1 != now.1) || typed != Ok(now.0) {
                    text.set(shown(now.0));
                    problem.set(None);
                }
            }
            before = Some(now);
        });

        let take = move |typed: String| match read(spec, &unit.get_untracked(), &typed, ranged) {
            Ok(found) => {
                problem.set(None);
                text.set(typed);
                change.run(found);
            }
            Err(mut message) => {
                let unit = unit.get_untracked();
                let near = value.get_untracked().value.or_else(|| hint.get_untracked());
                let guess = meant(spec, &unit, &typed, near).filter(|_| !ranged);
                if let Some(guess) = guess {
                    message.push_str(" Was ");
                    message.push_str(&guess.text(&unit));
                    message.push_str(" meant?");
                }
                problem.set(Some((message, guess)));
                text.set(typed);
            }
        };
        let step = move |direction: f64| {
            let unit = unit.get_untracked();
            let from = value.get_untracked().value.or_else(|| hint.get_untracked()).unwrap_or(spec.low);
            let steps = (from.in_unit(&unit) / unit.step).round() + direction;
            let low = spec.low.in_unit(&unit).min(spec.high.in_unit(&unit));
            let high = spec.high.in_unit(&unit).max(spec.low.in_unit(&unit));
            let next = (steps * unit.step).max(low).min(high);
            let amount = Amount::from_unit(spec.dimension, &unit, next);
            text.set(amount.entry_text(&unit));
            problem.set(None);
            change.run(Typed { value: Some(amount), upper: None });
        };

        let id = fresh_id();
        let (label_id, note_id) = (format!("{id}l"), format!("{id}n"));
        let field = id.clone();
        let taken = move || {
            problem.get().and_then(|(_, guess)| guess).map(|guess| {
                let field = field.clone();
                let words = format!("Take {}", guess.text(&unit.get_untracked()));
                button("", "take", words, move || {
                    text.set(field_text(guess, &unit.get_untracked()));
                    problem.set(None);
                    change.run(Typed { value: Some(guess), upper: None });
                    focus(&format!("#{field}"));
                })
            })
        };
        let several = spec.dimension.units().len() > 1;
        let unit_view = move || {
            let symbol = unit.get().symbol;
            if several {
                tag("button")
                    .set("type", "button")
                    .class("unit")
                    .set("aria-label", format!("Unit: {symbol}. Change"))
                    .on("click", move |_| preferences.update(|p| p.next_unit(spec.dimension)))
                    .child(symbol)
                    .view()
            } else if symbol.is_empty() {
                View::nothing()
            } else {
                tag("span").class("unit fixed").child(symbol).view()
            }
        };
        let placeholder = move || {
            let unit = unit.get();
            hint.get().map_or_else(String::new, |amount| field_text(amount, &unit))
        };
        // A note that goes leaves its room behind: nothing below may jump away from the thumb.
        let mut kept = String::new();
        let below = move || {
            let words = problem.get().map_or_else(|| note.get(), |(message, _)| message);
            if words.is_empty() {
                return tag("span").class("room").child(kept.clone()).view();
            }
            if problem.with_untracked(Option::is_none) {
                kept.clone_from(&words);
            }
            words.view()
        };
        tag("div")
            .class("field")
            .class_while("wrong", move || problem.with(Option::is_some))
            .child(tag("label").set("id", label_id.clone()).set("for", id.clone()).child(spec.label))
            .child(
                form()
                    .class("entry")
                    .child(
                        tag("button")
                            .set("type", "button")
                            .class("step")
                            .set("aria-label", format!("{}: less", spec.label))
                            .on("click", move |_| step(-1.0))
                            .child("−"),
                    )
                    .child(
                        tag("span").class("typed").child(
                            tag("input")
                                .set("id", id)
                                .set("name", name)
                                .set("type", "text")
                                .set("inputmode", "decimal")
                                .set("autocomplete", "off")
                                .set("enterkeyhint", "done")
                                .live("placeholder", placeholder)
                                .property("value", move || text.get())
                                .live("aria-invalid", move || problem.with(|p| p.is_some().to_string()))
                                .set("aria-describedby", note_id.clone())
                                .on("input", move |event| take(event_target_value(&event))),
                        ),
                    )
                    .child(live(unit_view))
                    .child(
                        tag("button")
                            .set("type", "button")
                            .class("step")
                            .set("aria-label", format!("{}: more", spec.label))
                            .on("click", move |_| step(1.0))
                            .child("+"),
                    ),
            )
            .child(
                tag("p")
                    .class("note")
                    .set("id", note_id)
                    .live("role", move || problem.with(|p| p.as_ref().map(|_| "alert")))
                    .child(live(below)),
            )
            .child(live(taken))
            .view()
    }
}

/// The entry field of a number of the document.
pub fn entry(slot: Slot) -> View {
    let open = Open::here();
    let spec = slot.spec();
    let upper = slot.upper();
    let held = move |batch: &Batch| Typed {
        value: slot.get(batch),
        upper: upper.and_then(|upper| upper.get(batch)),
    };
    let seen = open.seen(move |batch, _| (held(batch), slot.fallback(batch)));
    let note = Signal::derive(move || {
        seen.with(|(held, fallback)| match fallback {
            Some((_, Fallback::House { batches })) if held.value.is_none() => format!(
                "Empty: your house number, from {batches} {}.",
                if *batches == 1 { "batch" } else { "batches" }
            ),
            Some((_, Fallback::Assumed(source))) if held.value.is_none() => {
                format!("Empty: assumed. {}", source.text)
            }
            _ => String::new(),
        })
    });
    let place = match slot {
        Slot::Of(_) => String::new(),
        Slot::Water(place, _) | Slot::WaterTo(place, _) => format!("water{place}."),
        Slot::Finish(_) | Slot::FinishTo(_) => "finish.".to_owned(),
        Slot::Salt(place, _) => format!("salt{place}."),
        Slot::Sample(place, _) => format!("sample{place}."),
        Slot::Rest(place, _) => format!("rest{place}."),
        Slot::Malt(place, _) => format!("malt{place}."),
        Slot::Hop(place, _) => format!("hop{place}."),
        Slot::Fruit(place, _) => format!("fruit{place}."),
        Slot::Taste(place, _) => format!("taste{place}."),
    };
    NumberField {
        spec,
        name: format!("{place}{}", spec.key),
        value: Signal::derive(move || seen.with(|seen| seen.0)),
        hint: Signal::derive(move || seen.with(|seen| seen.1.map(|(amount, _)| amount))),
        note,
        ranged: upper.is_some(),
        change: Callback::new(move |typed: Typed| {
            if open.document.with_untracked(held) != typed {
                open.edit(|batch| {
                    // The field has checked the range by the same table row; the document checks again.
                    let _ = slot.set(batch, typed.value);
                    if let Some(upper) = upper {
                        let _ = upper.set(batch, typed.upper);
                    }
                });
            }
        }),
    }
    .view()
}

/// A fold whose inside is built when it is first opened.
pub fn fold<V: Into<View>>(title: &'static str, inside: impl Fn() -> V + 'static) -> View {
    let opened = RwSignal::new(false);
    tag("details")
        .class("fold")
        .on("toggle", move |_| opened.set(true))
        .child(tag("summary").child(title))
        .child(live(move || opened.get().then(&inside)))
        .view()
}

/// A field for a name.
pub fn text_entry(
    label: &'static str,
    name: String,
    value: impl Fn(&Batch) -> String + 'static,
    set: impl Fn(&mut Batch, String) + Send + Sync + 'static,
) -> View {
    let open = Open::here();
    let text = open.seen(move |batch, _| value(batch));
    let field = tag("input")
        .set("type", "text")
        .set("name", name)
        .set("maxlength", "120")
        .set("autocomplete", "off")
        .property("value", move || text.get())
        .on("input", move |event| open.edit(|batch| set(batch, event_target_value(&event))));
    form().child(tag("label").class("wide").child(label).child(field)).view()
}

/// A choice from a short list, as a system menu.
pub fn picker<T: Copy + PartialEq + Send + Sync + 'static>(
    label: &'static str,
    name: &'static str,
    options: Vec<(T, String)>,
    value: impl Fn() -> T + Send + Sync + 'static,
    change: impl Fn(T) + Send + Sync + 'static,
) -> View {
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

/// A choice of an item of one of the document's lists; each value goes by its place in the list of names.
pub fn item_picker(
    (label, name): (&'static str, &'static str),
    labels: Vec<String>,
    item: usize,
    get: fn(&Batch, usize) -> Option<usize>,
    set: fn(&mut Batch, usize, usize) -> Option<()>,
) -> View {
    let open = Open::here();
    let chosen = open.seen(move |batch, _| get(batch, item).unwrap_or(0));
    index_picker(
        label,
        name,
        labels,
        chosen.into(),
        Callback::new(move |place| {
            open.edit(|batch| {
                // An item that is gone by now is left alone.
                let _ = set(batch, item, place);
            });
        }),
    )
}

/// A choice from a list of names by its place in it.
pub fn index_picker(
    label: &'static str,
    name: &'static str,
    labels: Vec<String>,
    chosen: Signal<usize>,
    change: Callback<usize>,
) -> View {
    let id = fresh_id();
    let options: Vec<View> = labels
        .into_iter()
        .enumerate()
        .map(|(place, label)| {
            let selected = chosen.get_untracked() == place;
            tag("option").set("value", place.to_string()).set("selected", selected).child(label).view()
        })
        .collect();
    tag("div")
        .class("field")
        .child(tag("label").set("for", id.clone()).child(label))
        .child(
            tag("select")
                .set("id", id)
                .set("name", name)
                .property("value", move || chosen.get().to_string())
                .on("change", move |event| {
                    if let Ok(place) = event_target_value(&event).parse() {
                        change.run(place);
                    }
                })
                .child(options),
        )
        .view()
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
    let number = half.in_unit(&unit) - zero.in_unit(&unit);
    format!("give or take {}", fixed(number, unit.decimals))
}

/// Why a figure is not known yet.
pub fn unknown_text(unknown: Unknown, preferences: &Preferences, now: batch::moment::Moment) -> String {
    preferences.say(&unknown.sentence(), now)
}

/// Where a figure comes from, with its mark.
pub fn source_view(source: &Source) -> View {
    let mark = match source.mark {
        Mark::Published => "published",
        Mark::Derived => "derived from published figures",
        Mark::CommonPractice => "common practice, no source",
        Mark::FromMemory => "from memory of the named work",
        Mark::OurEstimate => "our estimate",
    };
    tag("li").child(source.text).child(" ").child(tag("span").class("mark").child(mark)).view()
}

/// One figure of the plan: label, number, spread, and on tap the reason.
pub fn figure_line(figure: Figure) -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let current = open.seen(move |_, plan| figure.of(&plan.figures));
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
    tag("div")
        .class("figure")
        .set("data-figure", figure.key())
        .class_while("unknown", move || current.get().is_err())
        .child(
            tag("button")
                .set("type", "button")
                .class("line")
                .live("aria-expanded", move || expanded.get().to_string())
                .set("aria-controls", panel.clone())
                .on("click", move |_| expanded.update(|e| *e = !*e))
                .child(
                    tag("span")
                        .class("what")
                        .child(figure.label())
                        .child("\u{a0}")
                        .child(tag("span").class("why-sign").set("aria-hidden", "true").child("?")),
                )
                .child(tag("span").class("number").child(live(number)))
                .child(tag("span").class("spread").child(live(under))),
        )
        .child(
            tag("div")
                .set("id", id)
                .child(live(move || expanded.get().then(|| why_panel(figure, shared, open)))),
        )
        .view()
}

fn why_panel(figure: Figure, shared: Shared, open: Open) -> View {
    let why = figure.why();
    let inputs: Vec<View> = why
        .inputs
        .iter()
        .map(|&input| {
            let label = match input {
                Input::Field(field) => field.spec().label,
                Input::Report(field) => field.spec().label,
                Input::Figure(figure) => figure.label(),
            };
            let value = move || {
                let amount = match input {
                    Input::Field(field) => open.document.with(|batch| Slot::Of(field).effective(batch)),
                    Input::Report(field) => open.document.with(|batch| Slot::Water(0, field).get(batch)),
                    Input::Figure(figure) => {
                        open.plan.with(|plan| figure.of(&plan.figures).ok().map(|s| s.value))
                    }
                };
                amount.map_or_else(|| "not known yet".to_owned(), |a| shared.preferences.with(|p| p.text(a)))
            };
            tag("li")
                .child(tag("span").child(label))
                .child(tag("span").class("number").child(live(value)))
                .view()
        })
        .collect();
    let dimension = figure.dimension();
    let switch = (dimension.units().len() > 1).then(|| {
        tag("button")
            .set("type", "button")
            .class("quiet")
            .on("click", move |_| shared.preferences.update(|p| p.next_unit(dimension)))
            .child("Show in another unit")
            .view()
    });
    tag("div")
        .class("why")
        .child(tag("p").child(why.says))
        .child((!inputs.is_empty()).then(|| {
            View::many(vec![tag("h4").child("From").view(), tag("ul").class("inputs").child(inputs).view()])
        }))
        .child(tag("h4").child("How sure"))
        .child(tag("p").child(why.spread))
        .child(tag("h4").child("Rests on"))
        .child(tag("ul").class("sources").child(why.sources.iter().map(source_view).collect::<Vec<_>>()))
        .child(switch)
        .view()
}

/// A sentence in the person's units.
pub fn sentence(sentence: Sentence) -> View {
    let shared = Shared::here();
    tag("span").child(live(move || shared.preferences.with(|p| p.say(&sentence, shared.now.get())))).view()
}

/// The message at the foot of the screen.
pub fn toast_view(shared: Shared) -> View {
    // Long enough to read and reach; what it could undo is rarely wanted later.
    const STAYS: std::time::Duration = std::time::Duration::from_secs(20);
    let mut before = None::<TimeoutHandle>;
    effect(move || {
        if let Some(timer) = before.take() {
            timer.clear();
        }
        // What is told takes its time to read, and an offer stays until it is answered.
        let stays = shared.toast.with(|toast| {
            let toast = toast.as_ref().filter(|toast| toast.offer.is_none())?;
            Some(STAYS * (1 + toast.lines.len() as u32))
        });
        before = stays.and_then(|stays| set_timeout_with_handle(move || shared.toast.set(None), stays).ok());
    });
    let close = move || {
        shared.toast.set(None);
        rest_focus();
    };
    let shown = move || {
        shared.toast.get().map(|toast| {
            let undo = toast.undo.map(|undo| {
                tag("button")
                    .set("type", "button")
                    .on("click", move |_| {
                        undo();
                        close();
                    })
                    .child("Undo")
                    .view()
            });
            let lines: Vec<View> =
                toast.lines.into_iter().map(|line| tag("p").child(sentence(line)).view()).collect();
            let offer = toast.offer.map(|(words, take)| {
                View::many(vec![
                    button("", "take-meant", words, move || take()),
                    button("", "keep-typed", "Keep as typed", close),
                ])
            });
            tag("div")
                .class("toast")
                .child(tag("div").child(tag("span").child(toast.message)).child(lines))
                .child(offer)
                .child(undo)
                .child(
                    tag("button")
                        .set("type", "button")
                        .set("aria-label", "Close this message")
                        .on("click", move |_| close())
                        .child("×"),
                )
                .view()
        })
    };
    tag("div").class("toasts").set("role", "status").set("aria-live", "polite").child(live(shown)).view()
}
