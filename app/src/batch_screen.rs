//! One batch: the next move, the warnings, and the stages in the order they happen.

use crate::page::{BOOK, focus, mark_root};
use crate::stages::{Headline, IONS, layout};
use crate::state::{Open, Saved, Shared};
use crate::store::StoreError;
use crate::widgets::{button, entry, figure_line, live, sentence};
use crate::{clock, lists, pictures, readings, text_file};
use batch::document::{Batch, Field, ReadingKind, Slot, Stage, Step};
use batch::plan::{Figure, Level, Unknown, Warning, next_move};
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
pub fn screen(shared: Shared) -> AnyView {
    let open = Open::here();
    let opened = Opened(RwSignal::new(Vec::new()));
    let first_fruit =
        Memo::new(move |_| open.document.with(|batch| batch.fruit.first().map(|item| item.fruit)));
    Effect::new(move |_| mark_root("data-fruit", fruit_colour(first_fruit.get())));
    let stages: Vec<AnyView> =
        Stage::ALL.iter().map(|&stage| stage_view(shared, open, opened, stage)).collect();
    view! {
        <header class="top">
            <a class="button quiet" href=BOOK data-test="back">"Batch book"</a>
            {saved_words(open)}
        </header>
        <main class="batch" tabindex="-1">
            <div class="column">
                {name(open)}
                {not_saved(shared, open)}
                {next(shared, open, opened)}
                <div class="narrow">{warnings(open)}</div>
                <div class="stages">{stages}</div>
            </div>
            <aside class="second" aria-label="Pictures and warnings" tabindex="0">
                {warnings(open)}
                {pictures::ions()}
                {pictures::course()}
                {pictures::level()}
            </aside>
        </main>
    }
    .into_any()
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

fn saved_words(open: Open) -> AnyView {
    let words = move || match open.saved.get() {
        Saved::Yes => "Saved",
        Saved::Soon => "Saving",
        Saved::No(_) => "Not saved",
    };
    view! { <span class="saved" data-test="saved">{live(words)}</span> }.into_any()
}

fn name(open: Open) -> AnyView {
    let invented = Memo::new(move |_| open.document.with(|batch| batch.invented));
    view! {
        <h1 class="unseen">{live(move || open.document.with(|batch| batch.name.clone()))}</h1>
        <input
            class="name"
            name="name"
            type="text"
            aria-label="Name of the batch"
            autocomplete="off"
            maxlength="200"
            prop:value=move || open.document.with(|batch| batch.name.clone())
            on:input=move |event| open.edit(|batch| batch.name = event_target_value(&event))
        />
        {live(move || invented.get().then(|| view! { <p><span class="tag">"invented example"</span></p> }.into_any()))}
    }
    .into_any()
}

/// The banner while what is on the screen is not stored, with the ways out.
fn not_saved(shared: Shared, open: Open) -> AnyView {
    let shown = move || {
        let Saved::No(problem) = open.saved.get() else { return ().into_any() };
        let export = move |_| {
            let done = open.keepsake().is_some_and(|text| text_file::save("tartwright-batch.json", &text));
            if !done {
                shared.tell(
                    "This browser did not save the file. Copy the batch from the keepsake under Settings.",
                );
            }
        };
        let ways = match problem {
            StoreError::OtherTab { .. } | StoreError::NotFound => view! {
                {button("", "keep-mine", "Keep what is here", move || open.keep_mine())}
                {button("", "load-theirs", "Load theirs", move || open.load_theirs())}
            }
            .into_any(),
            _ => button("", "", "Try again", move || open.keep_mine()),
        };
        view! {
            <div class="banner stop" role="alert" data-test="not-saved">
                <p><strong>"Not saved. "</strong>{problem.to_string()}</p>
                <div class="actions">
                    {button("", "export-batch", "Export this batch", move || export(()))}
                    {ways}
                </div>
            </div>
        }
        .into_any()
    };
    live(shown)
}

fn next(shared: Shared, open: Open, opened: Opened) -> AnyView {
    let current = Memo::new(move |_| {
        open.document.with(|batch| open.plan.with(|plan| next_move(batch, plan, shared.now.get())))
    });
    // The field for the reading must survive a change of the words around it: it may hold half a number.
    let wanted = Memo::new(move |_| current.with(|next| next.reading));
    let step = Memo::new(move |_| current.with(|next| next.step));
    let words = move || current.with(|next| sentence(next.says.clone()));
    let details = move || {
        current.with(|next| {
            let lines =
                next.details.iter().map(|line| view! { <li>{sentence(line.clone())}</li> }.into_any());
            let lines: Vec<AnyView> = lines.collect();
            (!lines.is_empty()).then(|| view! { <ul class="details">{lines}</ul> }.into_any())
        })
    };
    let caution = move || {
        let caution = current.with(|next| next.caution);
        (!caution.is_empty()).then(|| {
            view! {
                <p class="caution"><span class="sign" aria-hidden="true">"!"</span><strong>"Caution. "</strong>{caution}</p>
            }
            .into_any()
        })
    };
    let form =
        move || wanted.get().map(|kind: ReadingKind| readings::form(kind, "next", Callback::new(|()| ())));
    let done = move || {
        step.get().map(|step: Step| {
            button(
                "main done",
                "done",
                view! { <span aria-hidden="true">"✓ "</span>
                {step.done()} },
                move || {
                    open.edit_with_undo(step.done(), |batch| batch.tick(step, Some(clock::now())));
                    // The button may go with its step; who works by keyboard stays at the card.
                    focus("#next");
                },
            )
        })
    };
    let place = move || {
        let stage = current.with(|next| next.stage);
        button("quiet", "show-stage", format!("Go to {}", stage.title()), move || opened.show(stage))
    };
    view! {
        <section class="next" aria-labelledby="next" data-test="next-move">
            <h2 id="next" tabindex="-1">"Next move"</h2>
            <p class="says" aria-live="polite">{live(words)}</p>
            {live(details)}
            {live(caution)}
            {live(form)}
            {live(done)}
            {live(place)}
        </section>
    }
    .into_any()
}

fn warning_line(warning: Warning) -> AnyView {
    let (class, sign) = match warning.level {
        Level::Stop => ("warning stop", "■"),
        Level::Caution => ("warning caution", "▲"),
        Level::Note => ("warning", "●"),
    };
    view! {
        <li class=class>
            <span class="sign" aria-hidden="true">{sign}</span>
            <strong>{warning.level.word()}", "{warning.stage.title()}". "</strong>
            {sentence(warning.says)}
        </li>
    }
    .into_any()
}

/// All warnings, the gravest first; notes under a fold, so that they drown nothing.
fn warnings(open: Open) -> AnyView {
    let all = Memo::new(move |_| open.plan.with(|plan| plan.warnings.clone()));
    let shown = move || {
        let (stops, others): (Vec<_>, Vec<_>) = all.get().into_iter().partition(|w| w.level == Level::Stop);
        let (notes, cautions): (Vec<_>, Vec<_>) = others.into_iter().partition(|w| w.level == Level::Note);
        let count = notes.len();
        let lines = |warnings: Vec<Warning>| warnings.into_iter().map(warning_line).collect::<Vec<AnyView>>();
        view! {
            <ul class="warnings">{lines(stops)}{lines(cautions)}</ul>
            {(count > 0).then(|| {
                view! {
                    <details class="fold">
                        <summary>{if count == 1 { "1 note".to_owned() } else { format!("{count} notes") }}</summary>
                        <ul class="warnings">{lines(notes)}</ul>
                    </details>
                }
                .into_any()
            })}
        }
        .into_any()
    };
    view! { <section aria-label="Warnings" data-test="warnings">{live(shown)}</section> }.into_any()
}

fn steps_of(stage: Stage) -> impl Iterator<Item = Step> {
    Step::ALL.iter().copied().filter(move |step| step.stage() == stage)
}

fn all_done(batch: &Batch, stage: Stage) -> bool {
    let mut steps = steps_of(stage).peekable();
    steps.peek().is_some() && steps.all(|step| batch.ticked(step).is_some())
}

fn stage_view(shared: Shared, open: Open, opened: Opened, stage: Stage) -> AnyView {
    let expanded = Memo::new(move |_| opened.0.with(|opened| opened.contains(&stage)));
    let done = Memo::new(move |_| open.document.with(|batch| all_done(batch, stage)));
    let graver = Memo::new(move |_| {
        open.plan.with(|plan| {
            let levels =
                plan.warnings.iter().filter(|warning| warning.stage == stage).map(|warning| warning.level);
            levels.max().filter(|level| *level > Level::Note)
        })
    });
    let number = move || {
        let amount = match layout(stage).headline {
            Headline::Field(field) => open.document.with(|batch| Slot::Of(field).effective(batch)),
            Headline::Figure(figure) => {
                open.plan.with(|plan| figure.of(&plan.figures).ok().map(|shown| shown.value))
            }
        };
        match amount {
            Some(amount) => shared.preferences.with(|p| p.text(amount)).into_any(),
            None => view! { <span class="none">"not yet"</span> }.into_any(),
        }
    };
    let what = match layout(stage).headline {
        Headline::Field(field) => field.spec().label,
        Headline::Figure(figure) => figure.label(),
    };
    let signs = move || {
        let warned = graver.get().map(|level| {
            let (sign, class) =
                if level == Level::Stop { ("■", "sign stop") } else { ("▲", "sign caution") };
            view! { <span class=class role="img" aria-label=level.word()>{sign}</span> }.into_any()
        });
        let done = done
            .get()
            .then(|| view! { <span class="tick" role="img" aria-label="done">"✓"</span> }.into_any());
        view! { {warned}{done} }.into_any()
    };
    let body = format!("{}-body", stage.key());
    view! {
        <section class="stage" id=stage.key() data-stage=stage.key() class:done=move || done.get()>
            <h2>
                <button
                    type="button"
                    class="stage-line"
                    aria-expanded=move || expanded.get().to_string()
                    aria-controls=body.clone()
                    on:click=move |_| opened.toggle(stage)
                >
                    <span class="title">{stage.title()}{live(signs)}</span>
                    <span class="number">{live(number)}</span>
                    <span class="spread">{what}</span>
                </button>
            </h2>
            <div class="body" id=body>{live(move || expanded.get().then(|| stage_body(shared, open, stage)))}</div>
        </section>
    }
    .into_any()
}

fn entries(fields: &[Field]) -> Vec<AnyView> {
    fields.iter().map(|&field| entry(Slot::Of(field))).collect()
}

fn figure_lines(figures: impl Iterator<Item = Figure>, open: Open) -> Vec<AnyView> {
    figures
        .map(|figure| {
            // What does not apply to what was chosen would only be in the way.
            let used = Memo::new(move |_| {
                open.plan.with(|plan| !matches!(figure.of(&plan.figures), Err(Unknown::NotUsed)))
            });
            live(move || used.get().then(|| figure_line(figure)))
        })
        .collect()
}

fn stage_body(shared: Shared, open: Open, stage: Stage) -> AnyView {
    let layout = layout(stage);
    let rare = (!layout.rare.is_empty()).then(|| {
        let fold = RwSignal::new(false);
        view! {
            <details class="fold" on:toggle=move |_| fold.set(true)>
                <summary>{layout.fold}</summary>
                {live(move || fold.get().then(|| entries(layout.rare)))}
            </details>
        }
        .into_any()
    });
    let figures = figure_lines(
        Figure::ALL.iter().copied().filter(move |figure| figure.stage() == stage && !IONS.contains(figure)),
        open,
    );
    let ions = (stage == Stage::Water).then(|| {
        view! {
            <details class="fold">
                <summary>"The finished water, ion by ion"</summary>
                {figure_lines(IONS.iter().copied(), open)}
            </details>
        }
        .into_any()
    });
    let picture = match stage {
        Stage::Water => pictures::ions(),
        Stage::Souring => pictures::course(),
        Stage::Fruit => pictures::level(),
        _ => ().into_any(),
    };
    let ticks: Vec<AnyView> = steps_of(stage)
        .map(|step| {
            let ticked = Signal::derive(move || open.document.with(|batch| batch.ticked(step).is_some()));
            lists::toggle(step.done().to_owned(), format!("step.{step:?}"), ticked, move |on| {
                open.edit(|batch| batch.tick(step, on.then(clock::now)));
            })
        })
        .collect();
    let ticks =
        (!ticks.is_empty()).then(|| view! { <h3>"Done"</h3><div class="ticks">{ticks}</div> }.into_any());
    let figures = (!figures.is_empty()).then(|| view! { <h3>"Figures"</h3>{figures} }.into_any());
    view! {
        {help(shared, layout.help)}
        {lists::of_stage(stage)}
        {entries(layout.fields)}
        {rare}
        {figures}
        {ions}
        <div class="narrow">{picture}</div>
        {readings::of_stage(stage)}
        {ticks}
    }
    .into_any()
}

fn help(shared: Shared, words: &'static str) -> AnyView {
    let shown = move || {
        (!shared.preferences.with(|p| p.hide_help)).then(|| {
            view! {
                <div class="help">
                    <p>{words}</p>
                    {button("quiet", "", "Hide help", move || {
                            shared.preferences.update(|p| p.hide_help = true);
                            shared.tell_with_undo("Help hidden everywhere. Settings bring it back.", move || {
                                shared.preferences.update(|p| p.hide_help = false);
                            });
                        })}
                </div>
            }
            .into_any()
        })
    };
    live(shown)
}
