//! One batch: the next move, the warnings, and the stages in the order they happen.

use crate::page::{BOOK, WORDS, focus, mark_root, out_address, retitle};
use crate::signals::{Callback, Memo, RwSignal, effect};
use crate::stages::{Headline, IONS, layout};
use crate::state::{Open, Saved, Shared};
use crate::store::StoreError;
use crate::view::{Shows, View, tag};
use crate::widgets::{button, entry, figure_line, live, sentence};
use crate::{clock, lists, pictures, readings, run, tasting, text_file, timers};
use batch::document::{Batch, Field, ReadingKind, Slot, Stage, Step};
use batch::plan::{Figure, Level, Unknown, Warning, catch_up, next_move};
use calc::data::fruits::Fruit;
use leptos::prelude::*;

/// Which stages are open.
#[derive(Clone, Copy)]
struct Opened(RwSignal<Vec<Stage>>);

impl Opened {
    fn toggle(self, stage: Stage) {
        self.0.update(|opened| match opened.iter().position(|other| *other == stage) {
            Some(place) => {
                opened.swap_remove(place);
            }
            None => opened.push(stage),
        });
    }

    fn show(self, stage: Stage) {
        if !self.0.with_untracked(|opened| opened.contains(&stage)) {
            self.toggle(stage);
        }
        if let Some(section) = document().get_element_by_id(stage.key()) {
            section.scroll_into_view();
        }
    }
}

/// The screen of the open batch.
pub fn screen(shared: Shared) -> View {
    let open = Open::here();
    let opened = Opened(RwSignal::new(Vec::new()));
    let first_fruit = open.seen(|batch, _| batch.fruit.first().map(|item| item.fruit));
    effect(move || mark_root("data-fruit", fruit_colour(first_fruit.get())));
    let stages: Vec<View> = Stage::ALL.iter().map(|&stage| stage_view(shared, open, opened, stage)).collect();
    View::many(vec![
        tag("header")
            .class("top")
            .child(
                tag("a").class("button quiet").set("href", BOOK).set("data-test", "back").child("Batch book"),
            )
            .child(saved_words(open))
            .view(),
        tag("main")
            .class("batch")
            .set("tabindex", "-1")
            .child(
                tag("div")
                    .class("column")
                    .child(name(open))
                    .child(timers::rang(shared, open))
                    .child(not_saved(shared, open))
                    .child(next(shared, open, opened))
                    .child(run::day(shared, open))
                    .child(timers::bar(shared, open))
                    .child(tag("div").class("narrow").child(warnings(open)))
                    .child(tag("div").class("stages").child(stages))
                    .child(tasting::section())
                    .child(readings::all())
                    .child(ways_out(open))
                    .child(readings::quick()),
            )
            .child(
                tag("section")
                    .class("second")
                    .set("aria-label", "Pictures and warnings")
                    .set("tabindex", "0")
                    .child(warnings(open))
                    .child(live(move || {
                        shared.wide.get().then(|| {
                            View::many(Stage::ALL.iter().map(|&stage| stage_pictures(stage)).collect())
                        })
                    })),
            )
            .view(),
    ])
}

/// The way to the sheet, and to all that leaves the app.
fn ways_out(open: Open) -> View {
    let address = open.document.with_untracked(|batch| out_address(&batch.id));
    tag("p")
        .child(
            tag("a").class("button").set("href", address).set("data-test", "out").child("Print, share, link"),
        )
        .view()
}

/// The family of colour a fruit lends to the page; the style sheet knows each in every theme.
const fn fruit_colour(fruit: Option<Fruit>) -> &'static str {
    match fruit {
        None
        | Some(
            Fruit::Raspberry | Fruit::SourCherry | Fruit::Strawberry | Fruit::Cranberry | Fruit::Pomegranate,
        ) => "red",
        Some(Fruit::Blackberry | Fruit::Blackcurrant | Fruit::Plum | Fruit::SweetCherry) => "plum",
        Some(Fruit::Blueberry) => "blue",
        Some(Fruit::Guava | Fruit::DragonFruit | Fruit::Grapefruit | Fruit::Rhubarb) => "pink",
        Some(Fruit::Peach | Fruit::Apricot | Fruit::Mango | Fruit::Papaya | Fruit::Orange) => "orange",
        Some(
            Fruit::PassionFruit
            | Fruit::PassionFruitJuice
            | Fruit::Pineapple
            | Fruit::Banana
            | Fruit::Lemon
            | Fruit::CoconutWater,
        ) => "gold",
        Some(Fruit::Lime | Fruit::Kiwi) => "green",
    }
}

fn saved_words(open: Open) -> View {
    let words = move || match open.saved.get() {
        Saved::Yes => "Saved",
        Saved::Soon => "Saving",
        Saved::No(_) => "Not saved",
    };
    tag("span").class("saved").set("role", "status").set("data-test", "saved").child(live(words)).view()
}

fn name(open: Open) -> View {
    let (invented, name) = (open.seen(|batch, _| batch.invented), open.seen(|batch, _| batch.name.clone()));
    // Typed, undone or changed in another tab.
    effect(move || {
        name.track();
        request_animation_frame(retitle);
    });
    View::many(vec![
        tag("h1").class("unseen").child(live(move || name.get())).view(),
        tag("input")
            .class("name")
            .set("name", "name")
            .set("type", "text")
            .set("aria-label", "Name of the batch")
            .set("autocomplete", "off")
            .set("maxlength", "200")
            .property("value", move || name.get())
            .on("input", move |event| open.edit(|batch| batch.name = event_target_value(&event)))
            .view(),
        (live(move || {
            invented.get().then(|| tag("p").child(tag("span").class("tag").child("invented example")).view())
        }))
        .view(),
    ])
}

/// The banner while what is on the screen is not stored, with the ways out.
fn not_saved(shared: Shared, open: Open) -> View {
    let shown = move || {
        let Saved::No(problem) = open.saved.get() else { return View::nothing() };
        let export = move |_| {
            let done = open.keepsake().is_some_and(|text| text_file::save("tartwright-batch.json", &text));
            if !done {
                shared.tell(
                    "This browser did not save the file. Copy the batch from the keepsake under Settings.",
                );
            }
        };
        let ways = match problem {
            StoreError::OtherTab { .. } | StoreError::NotFound => View::many(vec![
                (button("", "keep-mine", "Keep what is here", move || open.keep_mine())).view(),
                (button("", "load-theirs", "Load theirs", move || open.load_theirs())).view(),
            ]),
            _ => button("", "", "Try again", move || open.keep_mine()),
        };
        tag("div")
            .class("banner stop")
            .set("role", "alert")
            .set("data-test", "not-saved")
            .child(tag("p").child(tag("strong").child("Not saved. ")).child(problem.to_string()))
            .child(
                tag("div")
                    .class("actions")
                    .child(button("", "export-batch", "Export this batch", move || export(())))
                    .child(ways),
            )
            .view()
    };
    live(shown)
}

fn next(shared: Shared, open: Open, opened: Opened) -> View {
    let current = Memo::new(move || {
        open.document.with(|batch| open.plan.with(|plan| next_move(batch, plan, shared.now.get())))
    });
    // The field for the reading must survive a change of the words around it: it may hold half a number.
    let wanted = Memo::new(move || current.with(|next| next.reading));
    let step = Memo::new(move || current.with(|next| next.step));
    let words = move || current.with(|next| sentence(next.says.clone()));
    let form =
        // The form may go with its reading; who works by keyboard stays at the card.
        move || wanted.get().map(|kind: ReadingKind| readings::form(kind, "next", None, Callback::new(|_| focus("#next"))));
    let done = move || {
        step.get().map(|step: Step| {
            button(
                "main done",
                "done",
                View::many(vec![
                    tag("span").set("aria-hidden", "true").child("✓ ").view(),
                    (step.done()).view(),
                ]),
                move || {
                    open.edit_with_undo(step.done(), |batch| batch.tick(step, Some(clock::now())));
                    // The button may go with its step; who works by keyboard stays at the card.
                    focus("#next");
                },
            )
        })
    };
    let behind = Memo::new(move || current.with(|next| !next.behind.is_empty()));
    let all_before = move || {
        behind.get().then(|| {
            button("", "all-before", "All before this is done", move || {
                open.edit_with_undo("All before this is ticked.", catch_up);
                focus("#next");
            })
        })
    };
    let offer = Memo::new(move || current.with(|next| next.offer));
    let offered = move || {
        offer.get().map(|offer| {
            button("main", "offer", offer.words(), move || {
                open.edit_with_undo(offer.words(), |batch| offer.take(batch));
                focus("#next");
            })
        })
    };
    let place = move || {
        let stage = current.with(|next| next.stage);
        button("quiet", "show-stage", format!("Go to {}", stage.title()), move || opened.show(stage))
    };
    tag("section")
        .class("next")
        .set("aria-labelledby", "next")
        .set("data-test", "next-move")
        .child(tag("h2").set("id", "next").set("tabindex", "-1").child("Next move"))
        .child(tag("p").class("says").set("aria-live", "polite").child(live(words)))
        .child(live(all_before))
        .child(live(offered))
        .child(run::aids(shared, open, current))
        .child(live(form))
        .child(live(done))
        .child(live(place))
        .view()
}

fn warning_line(warning: Warning) -> View {
    let (class, sign) = match warning.level {
        Level::Stop => ("warning stop", "■"),
        Level::Caution => ("warning caution", "▲"),
        Level::Note => ("warning", "●"),
    };
    tag("li")
        .class(class)
        .child(tag("span").class("sign").set("aria-hidden", "true").child(sign))
        .child(tag("strong").child(warning.level.word()).child(", ").child(warning.stage.title()).child(". "))
        .child(sentence(warning.says))
        .view()
}

/// All warnings, the gravest first; notes under a fold, so that they drown nothing.
fn warnings(open: Open) -> View {
    let all = open.seen(|_, plan| plan.warnings.clone());
    let shown = move || {
        let (stops, others): (Vec<_>, Vec<_>) = all.get().into_iter().partition(|w| w.level == Level::Stop);
        let (notes, cautions): (Vec<_>, Vec<_>) = others.into_iter().partition(|w| w.level == Level::Note);
        let count = notes.len();
        let lines = |warnings: Vec<Warning>| warnings.into_iter().map(warning_line).collect::<Vec<View>>();
        View::many(vec![
            tag("ul").class("warnings").child(lines(stops)).child(lines(cautions)).view(),
            ((count > 0).then(|| {
                tag("details")
                    .class("fold")
                    .child(tag("summary").child(if count == 1 {
                        "1 note".to_owned()
                    } else {
                        format!("{count} notes")
                    }))
                    .child(tag("ul").class("warnings").child(lines(notes)))
                    .view()
            }))
            .view(),
        ])
    };
    tag("section").set("aria-label", "Warnings").set("data-test", "warnings").child(live(shown)).view()
}

fn steps_of(stage: Stage) -> impl Iterator<Item = Step> {
    Step::ALL.iter().copied().filter(move |step| step.stage() == stage)
}

fn all_done(batch: &Batch, stage: Stage) -> bool {
    let mut steps = steps_of(stage).peekable();
    steps.peek().is_some() && steps.all(|step| batch.passed(step))
}

fn stage_view(shared: Shared, open: Open, opened: Opened, stage: Stage) -> View {
    let expanded = Memo::new(move || opened.0.with(|opened| opened.contains(&stage)));
    let done = open.seen(move |batch, _| all_done(batch, stage));
    let graver = open.seen(move |_, plan| {
        let levels =
            plan.warnings.iter().filter(|warning| warning.stage == stage).map(|warning| warning.level);
        levels.max().filter(|level| *level > Level::Note)
    });
    let headline = open.seen(move |batch, plan| match layout(stage).headline {
        Headline::Field(field) => Slot::Of(field).effective(batch),
        Headline::Figure(figure) => figure.of(&plan.figures).ok().map(|shown| shown.value),
    });
    let number = move || match headline.get() {
        Some(amount) => shared.preferences.with(|p| p.text(amount)).view(),
        None => tag("span").class("none").child("not yet").view(),
    };
    let what = match layout(stage).headline {
        Headline::Field(field) => field.spec().label,
        Headline::Figure(figure) => figure.label(),
    };
    let signs = move || {
        let warned = graver.get().map(|level| {
            let (sign, class) =
                if level == Level::Stop { ("■", "sign stop") } else { ("▲", "sign caution") };
            tag("span").class(class).set("role", "img").set("aria-label", level.word()).child(sign).view()
        });
        let done = done.get().then(|| {
            tag("span").class("tick").set("role", "img").set("aria-label", "done").child("✓").view()
        });
        View::many(vec![(warned).view(), (done).view()])
    };
    let body = format!("{}-body", stage.key());
    tag("section")
        .class("stage")
        .set("id", stage.key())
        .set("data-stage", stage.key())
        .class_while("done", move || done.get())
        .child(
            tag("h2").child(
                tag("button")
                    .set("type", "button")
                    .class("stage-line")
                    .live("aria-expanded", move || expanded.get().to_string())
                    .set("aria-controls", body.clone())
                    .on("click", move |_| opened.toggle(stage))
                    .child(tag("span").class("title").child(stage.title()).child(live(signs)))
                    .child(tag("span").class("number").child(live(number)))
                    .child(tag("span").class("spread").child(what)),
            ),
        )
        .child(
            tag("div")
                .class("body")
                .set("id", body)
                .child(live(move || expanded.get().then(|| stage_body(shared, open, stage)))),
        )
        .view()
}

fn stage_pictures(stage: Stage) -> View {
    match stage {
        Stage::Water => pictures::ions(),
        Stage::Mash => pictures::mash(),
        Stage::AcidDrop => pictures::drop(),
        Stage::Souring => pictures::course(),
        Stage::FirstBoil => pictures::kettle(),
        Stage::MainBoil => pictures::bitterness(),
        Stage::Fruit => View::many(vec![pictures::level(), pictures::sources()]),
        Stage::Package => pictures::pressure(),
        _ => View::nothing(),
    }
}

fn entries(fields: &[Field]) -> Vec<View> {
    fields.iter().map(|&field| entry(Slot::Of(field))).collect()
}

fn figure_lines(figures: impl Iterator<Item = Figure>, open: Open) -> Vec<View> {
    figures
        .map(|figure| {
            // What does not apply to what was chosen would only be in the way.
            let used = open.seen(move |_, plan| !matches!(figure.of(&plan.figures), Err(Unknown::NotUsed)));
            live(move || used.get().then(|| figure_line(figure)))
        })
        .collect()
}

fn stage_body(shared: Shared, open: Open, stage: Stage) -> View {
    let layout = layout(stage);
    let rare = (!layout.rare.is_empty()).then(|| {
        let fold = RwSignal::new(false);
        tag("details")
            .class("fold")
            .on("toggle", move |_| fold.set(true))
            .child(tag("summary").child(layout.fold))
            .child(live(move || fold.get().then(|| entries(layout.rare))))
            .view()
    });
    let figures = figure_lines(
        Figure::ALL.iter().copied().filter(move |figure| figure.stage() == stage && !IONS.contains(figure)),
        open,
    );
    let ions = (stage == Stage::Water).then(|| {
        tag("details")
            .class("fold")
            .child(tag("summary").child("The finished water, ion by ion"))
            .child(figure_lines(IONS.iter().copied(), open))
            .view()
    });
    // Where there is room they are in the second column.
    let picture = live(move || (!shared.wide.get()).then(|| stage_pictures(stage)));
    let figures =
        (!figures.is_empty()).then(|| View::many(vec![tag("h3").child("Figures").view(), (figures).view()]));
    View::many(vec![
        (help(shared, layout.help)).view(),
        (lists::of_stage(stage)).view(),
        (entries(layout.fields)).view(),
        (rare).view(),
        (figures).view(),
        (ions).view(),
        picture,
        (readings::of_stage(stage)).view(),
    ])
}

fn help(shared: Shared, words: &'static str) -> View {
    let shown = move || {
        (!shared.preferences.with(|p| p.hide_help)).then(|| {
            tag("div")
                .class("help")
                .child(tag("p").child(words))
                .child(tag("a").class("button quiet").set("href", WORDS).child("What the words mean"))
                .child(button("quiet", "", "Hide help", move || {
                    shared.preferences.update(|p| p.hide_help = true);
                    shared.tell_with_undo("Help hidden everywhere. Settings bring it back.", move || {
                        shared.preferences.update(|p| p.hide_help = false);
                    });
                }))
                .view()
        })
    };
    live(shown)
}
