//! Settings, house numbers, the keepsake, and what the app is.

use crate::book::invitation;
use crate::house_screen::house;
use crate::keepsake_screen::keepsake;
use crate::lists::toggle;
use crate::offline::Persistence;
use crate::page::{BOOK, WORDS, themes};
use crate::preferences::Theme;
use crate::signals::Signal;
use crate::state::Shared;
use crate::view::{Shows, View, tag};
use crate::widgets::{back, button, live, picker};
use calc::quantity::System;

/// The settings.
pub fn screen(shared: Shared) -> View {
    View::many(vec![
        back(BOOK, "Batch book"),
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
        .child(
            tag("a")
                .class("button quiet")
                .set("href", WORDS)
                .set("data-test", "to-words")
                .child("What the words mean"),
        )
        .child(toggle("Help at each stage".to_owned(), "help".to_owned(), help, move |on| {
            shared.preferences.update(|p| p.hide_help = !on);
        }))
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
