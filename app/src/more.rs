//! Settings, house numbers, the keepsake, and what the app is.

use crate::book::{invitation, learned};
use crate::lists::toggle;
use crate::offline::Persistence;
use crate::page::{BOOK, WORDS, themes};
use crate::preferences::Theme;
use crate::state::Shared;
use crate::store::Store;
use crate::view::{Shows, View, tag};
use crate::widgets::{button, give_or_take, live, picker};
use crate::{clock, text_file};
use batch::house::HouseNumber;
use batch::keep::{Action, Keepsake, Merged};
use batch::plan::{Origin, Shown};
use calc::quantity::{Amount, Count, System};
use leptos::prelude::*;

/// The settings.
pub fn screen(shared: Shared) -> View {
    View::Many(vec![
        tag("header")
            .class("top")
            .child(
                tag("a").class("button quiet").set("href", BOOK).set("data-test", "back").child("Batch book"),
            )
            .view(),
        tag("main")
            .class("settings")
            .set("tabindex", "-1")
            .child(tag("h1").child("Settings"))
            .child(choices(shared))
            .child(house(shared))
            .child(keepsake(shared))
            .child(device(shared))
            .child(about())
            .view(),
    ])
}

fn choices(shared: Shared) -> View {
    let systems = vec![(System::Metric, "Metric".to_owned()), (System::Us, "US".to_owned())];
    let system = move || shared.preferences.with(|p| p.system);
    let theme = move || shared.preferences.with(|p| p.theme);
    let help = Signal::derive(move || shared.preferences.with(|p| !p.hide_help));
    tag("section")
        .child(picker("Units", "units", systems, system, move |system| {
            shared.preferences.update(|p| p.set_system(system));
        }))
        .child(
            tag("p")
                .class("aside")
                .child("A unit beside a number can also be switched there, and stays switched."),
        )
        .child(picker("Look", "theme", themes(), theme, move |theme: Theme| {
            shared.preferences.update(|p| p.theme = theme);
        }))
        .child(tag("a").class("button quiet").set("href", WORDS).set("data-test", "to-words").child("What the words mean"))
        .child(toggle("Help at each stage".to_owned(), "help".to_owned(), help, move |on| {
            shared.preferences.update(|p| p.hide_help = !on);
        }))
        .view()
}

/// House numbers, learned from every batch of the book that is not invented.
fn house(shared: Shared) -> View {
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
            tag("li")
                .set("data-house", format!("{number:?}"))
                .child(tag("span").class("what").child(number.label()))
                .child(tag("span").class("number").child(live(text)))
                .child(tag("span").class("spread").child(live(under)))
                .view()
        });
        rows.collect::<Vec<View>>()
    };
    tag("section").set("data-test", "house").child(tag("h2").child("House numbers")).child(tag("p").class("aside").child("What your kit and your hands taught, from the readings of all batches. New batches start from these.")).child(tag("ul").class("ledger").child(live(rows))).view()
}

fn keepsake(shared: Shared) -> View {
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
            View::Many(vec![
                tag("label")
                    .class("wide")
                    .child("The same as text, to copy")
                    .child(
                        tag("textarea")
                            .set("readonly", true)
                            .set("rows", "4")
                            .set("data-test", "export-text")
                            .property("value", move || text.get()),
                    )
                    .view(),
                (button("", "copy", "Copy the text", move || {
                    text_file::copy(&text.get_untracked(), move |done| {
                        shared.tell(if done {
                            "Copied."
                        } else {
                            "Copying is not allowed here. Select the text and copy it."
                        });
                    });
                }))
                .view(),
            ])
        })
    };
    let preview = move || {
        opened.get().map(|opened_now| match opened_now {
            Err(problem) => tag("p").class("banner stop").set("role", "alert").child(problem).view(),
            Ok((keepsake, merged)) => plan_view(shared, keepsake, &merged, opened),
        })
    };
    tag("section")
        .set("data-test", "keepsake")
        .child(tag("h2").child("Keepsake"))
        .child(
            tag("p")
                .class("aside")
                .child(
                    "One file with the whole batch book, to keep elsewhere or to carry to another device. ",
                )
                .child("Browsers can lose what they store; a file in your hands stays."),
        )
        .child(button("main", "export", "Save a keepsake file", move || export(())))
        .child(live(copyable))
        .child(tag("h3").child("Bring a keepsake in"))
        .child(
            tag("label").class("wide").child("A keepsake file").child(
                tag("input")
                    .set("type", "file")
                    .set("accept", "application/json,.json")
                    .set("data-test", "import-file")
                    .on("change", move |event| text_file::read_chosen(&event, move |text| open(&text))),
            ),
        )
        .child(
            tag("details")
                .class("fold")
                .child(tag("summary").child("Or paste its text"))
                .child(
                    tag("label").class("wide").child("Text of a keepsake").child(
                        tag("textarea")
                            .set("rows", "4")
                            .set("data-test", "import-text")
                            .property("value", move || pasted.get())
                            .on("input", move |event| pasted.set(event_target_value(&event))),
                    ),
                )
                .child(button("", "import-open", "See what it would do", move || {
                    pasted.with_untracked(|text| open(text))
                })),
        )
        .child(live(preview))
        .view()
}

/// What bringing a keepsake in would do, and the button that does it.
fn plan_view(
    shared: Shared,
    keepsake: Keepsake,
    merged: &Merged,
    opened: RwSignal<Option<Result<(Keepsake, Merged), String>>>,
) -> View {
    let lines: Vec<View> = merged
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
            tag("li")
                .child(tag("span").class("name").child(line.name.clone()))
                .child(tag("span").class("state").child(what))
                .view()
        })
        .collect();
    let odd = keepsake.newer.len() + keepsake.damaged.len() + keepsake.set_aside.len();
    let odd = (odd > 0).then(|| {
        tag("p")
            .class("aside")
            .child(format!("{odd} more that cannot be opened here are kept as they are."))
            .view()
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
    tag("div")
        .class("banner")
        .set("data-test", "import-preview")
        .child(tag("h3").child("This is what it will do"))
        .child(tag("ul").class("book").child(lines))
        .child(odd)
        .child(
            tag("div")
                .class("actions")
                .child(button("main", "import-confirm", "Bring it in", move || bring(())))
                .child(button("", "", "Leave it", move || opened.set(None))),
        )
        .view()
}

fn device(shared: Shared) -> View {
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
    tag("section").child(tag("h2").child("On this device")).child(tag("p").set("data-test", "persistence").child(live(answer))).child(button("", "", "Ask the browser to keep it", move || shared.offline.ask_to_keep())).child(invitation(shared)).child(tag("p").class("aside").child("To install where no button is offered: open the browser's share or page menu and add the page to the home \
                 screen. All of the app works without a network from then on.")).view()
}

fn about() -> View {
    tag("section").child(tag("h2").child("Safety and the law")).child(tag("p").child("Tartwright reckons; it does not watch your kettle. Hot liquids, acids, pressure and carbon dioxide can hurt \
                 and kill. The rating on your vessels, the safety sheets of your chemicals and the rules where you live come \
                 before any number here. Whether, how much and at what age you may brew, and whether you may sell it, your \
                 local rules decide. Fruit and malt are allergens: tell your guests what is in it.")).child(tag("h2").child("About")).child(tag("p").child("Tartwright ").child(env!("CARGO_PKG_VERSION")).child(". Free under the MIT licence, without any warranty. ").child("It counts nothing, sends nothing and asks for no account.")).view()
}
