//! Settings, house numbers, the keepsake, and what the app is.

use crate::book::{invitation, learned};
use crate::lists::toggle;
use crate::offline::Persistence;
use crate::page::{BOOK, themes};
use crate::preferences::Theme;
use crate::state::Shared;
use crate::store::Store;
use crate::widgets::{button, give_or_take, live, picker};
use crate::{clock, text_file};
use batch::house::HouseNumber;
use batch::keep::{Action, Keepsake, Merged};
use batch::plan::{Origin, Shown};
use calc::quantity::{Amount, Count, System};
use leptos::prelude::*;

/// The settings.
pub fn screen(shared: Shared) -> AnyView {
    view! {
        <header class="top"><a class="button quiet" href=BOOK data-test="back">"Batch book"</a></header>
        <main class="settings" tabindex="-1">
            <h1>"Settings"</h1>
            {choices(shared)}
            {house(shared)}
            {keepsake(shared)}
            {device(shared)}
            {about()}
        </main>
    }
    .into_any()
}

fn choices(shared: Shared) -> AnyView {
    let systems = vec![(System::Metric, "Metric".to_owned()), (System::Us, "US".to_owned())];
    let system = move || shared.preferences.with(|p| p.system);
    let theme = move || shared.preferences.with(|p| p.theme);
    let help = Signal::derive(move || shared.preferences.with(|p| !p.hide_help));
    view! {
        <section>
            {picker("Units", "units", systems, system, move |system| {
                shared.preferences.update(|p| p.set_system(system));
            })}
            <p class="aside">"A unit beside a number can also be switched there, and stays switched."</p>
            {picker("Look", "theme", themes(), theme, move |theme: Theme| {
                shared.preferences.update(|p| p.theme = theme);
            })}
            {toggle("Help at each stage".to_owned(), "help".to_owned(), help, move |on| {
                shared.preferences.update(|p| p.hide_help = !on);
            })}
        </section>
    }
    .into_any()
}

/// House numbers, learned from every batch of the book that is not invented.
fn house(shared: Shared) -> AnyView {
    let rows = move || {
        shared.stored.track();
        let house = learned();
        let rows = HouseNumber::ALL.iter().map(|&number| {
            let (expected, batches) = house.expect::<Count>(number);
            let seen = |count: Count| Amount::in_base(number.dimension(), count.value());
            let shown = Shown {
                value: seen(expected.value),
                low: seen(expected.low),
                high: seen(expected.high),
                origin: Origin::Predicted,
            };
            let rests = match batches {
                0 => "nothing learned yet; the usual value".to_owned(),
                1 => "from 1 batch".to_owned(),
                more => format!("from {more} batches"),
            };
            let text = move || shared.preferences.with(|p| p.text(shown.value));
            let under = move || {
                let spread = shared.preferences.with(|p| give_or_take(&shown, p));
                if spread.is_empty() { rests.clone() } else { format!("{spread} · {rests}") }
            };
            view! {
                <li data-house=format!("{number:?}")>
                    <span class="what">{number.label()}</span>
                    <span class="number">{live(text)}</span>
                    <span class="spread">{live(under)}</span>
                </li>
            }
            .into_any()
        });
        rows.collect::<Vec<AnyView>>()
    };
    view! {
        <section data-test="house">
            <h2>"House numbers"</h2>
            <p class="aside">
                "What your kit and your hands taught, from the readings of all batches. New batches start from these."
            </p>
            <ul class="ledger">{live(rows)}</ul>
        </section>
    }
    .into_any()
}

fn keepsake(shared: Shared) -> AnyView {
    let text = RwSignal::new(String::new());
    let opened = RwSignal::new(None::<Result<(Keepsake, Merged), String>>);
    let pasted = RwSignal::new(String::new());
    let open = move |text: &str| {
        opened.set(Some(Store::open_keepsake(text).map_err(|problem| problem.to_string())));
    };
    let export = move |_| match Store::export_all(clock::now()) {
        Ok(all) => {
            if !text_file::save(&format!("tartwright-{}.json", clock::day(clock::now())), &all) {
                shared.tell("This browser did not save the file. Copy the text instead.");
            }
            text.set(all);
        }
        Err(problem) => shared.tell(problem.to_string()),
    };
    let copyable = move || {
        (!text.with(String::is_empty)).then(|| {
            view! {
                <label class="wide">
                    "The same as text, to copy"
                    <textarea readonly rows="4" data-test="export-text" prop:value=move || text.get()></textarea>
                </label>
                {button("", "copy", "Copy the text", move || {
                        text_file::copy(&text.get_untracked(), move |done| {
                            shared.tell(if done { "Copied." } else { "Copying is not allowed here. Select the text and copy it." });
                        });
                    })}
            }
            .into_any()
        })
    };
    let preview = move || {
        opened.get().map(|opened_now| match opened_now {
            Err(problem) => view! { <p class="banner stop" role="alert">{problem}</p> }.into_any(),
            Ok((keepsake, merged)) => plan_view(shared, keepsake, &merged, opened),
        })
    };
    view! {
        <section data-test="keepsake">
            <h2>"Keepsake"</h2>
            <p class="aside">
                "One file with the whole batch book, to keep elsewhere or to carry to another device. "
                "Browsers can lose what they store; a file in your hands stays."
            </p>
            {button("main", "export", "Save a keepsake file", move || export(()))}
            {live(copyable)}
            <h3>"Bring a keepsake in"</h3>
            <label class="wide">
                "A keepsake file"
                <input
                    type="file"
                    accept="application/json,.json"
                    data-test="import-file"
                    on:change=move |event| text_file::read_chosen(&event, move |text| open(&text))
                />
            </label>
            <details class="fold">
                <summary>"Or paste its text"</summary>
                <label class="wide">
                    "Text of a keepsake"
                    <textarea
                        rows="4"
                        data-test="import-text"
                        prop:value=move || pasted.get()
                        on:input=move |event| pasted.set(event_target_value(&event))
                    ></textarea>
                </label>
                {button("", "import-open", "See what it would do", move || pasted.with_untracked(|text| open(text)))}
            </details>
            {live(preview)}
        </section>
    }
    .into_any()
}

/// What bringing a keepsake in would do, and the button that does it.
fn plan_view(
    shared: Shared,
    keepsake: Keepsake,
    merged: &Merged,
    opened: RwSignal<Option<Result<(Keepsake, Merged), String>>>,
) -> AnyView {
    let lines: Vec<AnyView> = merged
        .lines
        .iter()
        .map(|line| {
            let what = match &line.action {
                Action::Add => "is added".to_owned(),
                Action::Newer { ours, theirs } => {
                    format!("replaces the one here: saved {} times, here {}", theirs.revision, ours.revision)
                }
                Action::Same => "is here just so".to_owned(),
                Action::OlderKept { .. } => "is older than the one here, which stays".to_owned(),
                Action::Conflict { copy } => {
                    format!("was changed in both places: both are kept, the file's as “{copy}”")
                }
            };
            view! { <li><span class="name">{line.name.clone()}</span><span class="state">{what}</span></li> }
                .into_any()
        })
        .collect();
    let odd = keepsake.newer.len() + keepsake.damaged.len() + keepsake.set_aside.len();
    let odd = (odd > 0).then(|| {
        view! { <p class="aside">{format!("{odd} more that cannot be opened here are kept as they are.")}</p> }.into_any()
    });
    let bring = move |_| match Store::import(&keepsake) {
        Ok(done) => {
            let count = done.changed.len();
            opened.set(None);
            shared.stored_changed();
            shared.tell(if count == 1 {
                "1 batch brought in.".to_owned()
            } else {
                format!("{count} batches brought in.")
            });
        }
        Err(problem) => shared.tell(problem.to_string()),
    };
    view! {
        <div class="banner" data-test="import-preview">
            <h3>"This is what it will do"</h3>
            <ul class="book">{lines}</ul>
            {odd}
            <div class="actions">
                {button("main", "import-confirm", "Bring it in", move || bring(()))}
                {button("", "", "Leave it", move || opened.set(None))}
            </div>
        </div>
    }
    .into_any()
}

fn device(shared: Shared) -> AnyView {
    let answer = move || match shared.offline.persistence().get() {
        Persistence::Unknown => "Not asked yet. The first saved batch asks.",
        Persistence::Kept => "This browser promised to keep what you save.",
        Persistence::AtRisk => {
            "This browser made no promise: it may clear saved batches when space runs short. Installing the app, or \
             using it often, can change its mind. Save a keepsake file now and then."
        }
        Persistence::Unavailable => {
            "This browser makes no promises about stored data. Save a keepsake file now and then."
        }
    };
    view! {
        <section>
            <h2>"On this device"</h2>
            <p data-test="persistence">{live(answer)}</p>
            {button("", "", "Ask the browser to keep it", move || shared.offline.ask_to_keep())}
            {invitation(shared)}
            <p class="aside">
                "To install where no button is offered: open the browser's share or page menu and add the page to the home \
                 screen. All of the app works without a network from then on."
            </p>
        </section>
    }
    .into_any()
}

fn about() -> AnyView {
    view! {
        <section>
            <h2>"Safety and the law"</h2>
            <p>
                "Tartwright reckons; it does not watch your kettle. Hot liquids, acids, pressure and carbon dioxide can hurt \
                 and kill. The rating on your vessels, the safety sheets of your chemicals and the rules where you live come \
                 before any number here. Whether, how much and at what age you may brew, and whether you may sell it, your \
                 local rules decide. Fruit and malt are allergens: tell your guests what is in it."
            </p>
            <h2>"About"</h2>
            <p>
                "Tartwright " {env!("CARGO_PKG_VERSION")} ". Free under the MIT licence, without any warranty. "
                "It counts nothing, sends nothing and asks for no account."
            </p>
        </section>
    }
    .into_any()
}
