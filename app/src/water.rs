//! The water stage: the finish wanted, what to weigh, salts at hand, the waters
//! with their reports, and their treatment.

use crate::lists::{aside, choice, headed, list, named, remove_button, toggle};
use crate::state::{Open, Shared};
use crate::store::Store;
use crate::view::{Shows, View, tag};
use crate::widgets::{button, entry, fold, live, text_entry};
use batch::document::{Batch, Field, SaltField, SaltLine, Slot, Water, WaterField};
use calc::brew::treatment::{Disinfectant, Softening, Sulfite};
use calc::brew::water::{Finish, Ion};
use calc::chem::report::{Check, WaterRead};
use calc::data::salts::Salt;
use calc::quantity::{Amount, Dimension, Mass, Quantity};

/// What every report has, in the order reports print it.
const USUAL: [WaterField; 6] = [
    WaterField::Calcium,
    WaterField::Magnesium,
    WaterField::Sodium,
    WaterField::Chloride,
    WaterField::Sulfate,
    WaterField::Alkalinity,
];

/// What many reports have too: it fills gaps and checks the rest.
const MORE: [WaterField; 6] = [
    WaterField::Hardness,
    WaterField::Ph,
    WaterField::Conductivity,
    WaterField::DissolvedSolids,
    WaterField::Potassium,
    WaterField::Nitrate,
];

/// Finish, salts, waters and treatment.
pub fn stage() -> View {
    let open = Open::here();
    let finishes = named(Finish::ALL, |finish| finish.name().to_owned());
    let finish = open.seen(|batch, _| batch.choices.finish);
    View::many(vec![
        choice("Finish wanted", "finish", finishes, |choices| &mut choices.finish),
        aside(live(move || headed(finish.get().reason()))),
        fold("Own ranges instead", own_finish),
        tag("h3").child("Weigh").view(),
        weigh(),
        fold("Salts at hand", salts),
        tag("h3").child("Waters").view(),
        list(
            |batch| batch.waters.len(),
            water,
            ("Add another water", "add-water", |batch| batch.waters.push(Water::default())),
        ),
        fold("Chlorine and hard water", treatment),
    ])
}

fn entries(slots: impl Iterator<Item = Slot>) -> View {
    View::many(slots.map(entry).collect())
}

/// A list of names and amounts; several amounts stand with a plus between them.
fn ledger(rows: Vec<(&'static str, Vec<Amount>)>) -> View {
    let shared = Shared::here();
    let rows: Vec<View> = rows
        .into_iter()
        .map(|(what, amounts)| {
            let text = move || {
                shared.preferences.with(|p| {
                    let texts: Vec<String> = amounts.iter().map(|amount| p.text(*amount)).collect();
                    texts.join(" + ")
                })
            };
            tag("li")
                .child(tag("span").class("what").child(what))
                .child(tag("span").class("number").child(live(text)))
                .view()
        })
        .collect();
    tag("ul").class("ledger weigh").set("data-test", "weigh").child(rows).view()
}

fn small(mass: Mass) -> Amount {
    mass.amount().seen_as(Dimension::SmallMass)
}

/// The salts to weigh, and the recipe with one salt fewer.
fn weigh() -> View {
    let open = Open::here();
    let (salts, simpler) =
        (open.seen(|_, plan| plan.salts.clone()), open.seen(|_, plan| plan.simpler.clone()));
    let amounts = move || {
        let salts = salts.get();
        if salts.is_empty() {
            return aside("Nothing to weigh: no salts are needed, or the water is not known yet.");
        }
        let split = salts.iter().any(|line| line.rinse > Mass::ZERO);
        let parts =
            |mash: Mass, rinse: Mass| if split { vec![small(mash), small(rinse)] } else { vec![small(mash)] };
        let rows = salts.iter().map(|line| (line.salt.name(), parts(line.mash, line.rinse))).collect();
        let place = if split { "Into the mash water + into the rest." } else { "All into the mash water." };
        View::many(vec![ledger(rows), aside(place)])
    };
    let fewer = move || {
        simpler.get().map(|recipe| {
            let salts = recipe.amounts.iter().map(|(salt, mass)| (salt.name(), vec![small(*mass)]));
            let ions = Ion::ALL.iter().map(|&ion| (ion.name(), vec![ion.of(&recipe.water).amount()]));
            tag("details")
                .class("fold")
                .child(tag("summary").child("One salt fewer"))
                .child(aside("The best recipe with one salt less to weigh, and the water it makes."))
                .child(ledger(salts.chain(ions).collect()))
                .view()
        })
    };
    View::many(vec![live(amounts), live(fewer)])
}

/// Which salts are at hand, and how each may be used.
fn salts() -> View {
    let open = Open::here();
    let toggles: Vec<View> = Salt::ALL
        .iter()
        .map(|&salt| {
            let at_hand = open.seen(move |batch, _| batch.salts.iter().any(|line| line.salt == salt));
            toggle(salt.name().to_owned(), format!("salt.{salt:?}"), at_hand.into(), move |on| {
                open.edit(|batch| {
                    batch.salts.retain(|line| line.salt != salt);
                    if on {
                        batch.salts.push(SaltLine::new(salt));
                    }
                });
            })
        })
        .collect();
    View::many(vec![
        tag("div").class("toggles").child(toggles).view(),
        fold("Limits, purity, own amounts", limits),
    ])
}

fn limits() -> View {
    let open = Open::here();
    // The fields must not be drawn anew while something is typed into one.
    let at_hand = open.seen(|batch, _| batch.salts.iter().map(|line| line.salt).collect::<Vec<Salt>>());
    let lines = move || {
        let lines = at_hand.get().into_iter().enumerate().map(|(place, salt)| {
            let fields = [SaltField::Locked, SaltField::Most, SaltField::Purity];
            let density = (salt == Salt::CalciumChlorideSolution).then_some(SaltField::Density);
            let fields = fields.into_iter().chain(density).map(move |field| Slot::Salt(place, field));
            tag("div")
                .class("named")
                .child(tag("h4").child(salt.name()))
                .child(salt.caveat().map(aside))
                .child(entries(fields))
                .view()
        });
        lines.collect::<Vec<View>>()
    };
    View::many(vec![
        aside("“Use exactly” fixes an amount, and zero bars a salt; the others are chosen around it."),
        live(lines),
    ])
}

/// One water: its report, what was read from it, and where to take one from.
fn water(place: usize) -> View {
    let open = Open::here();
    let several = open.seen(|batch, _| batch.waters.len() > 1);
    let read = open.seen(move |_, plan| plan.waters.get(place).cloned().flatten());
    let share = move || {
        several.get().then(|| {
            View::many(vec![
                entry(Slot::Water(place, WaterField::Share)),
                remove_button("Water removed.", move |batch: &mut Batch| {
                    if batch.waters.len() > 1 && place < batch.waters.len() {
                        batch.waters.remove(place);
                    }
                }),
            ])
        })
    };
    let name = text_entry(
        "Name of this water, to use it again",
        format!("water{place}.name"),
        move |batch| batch.waters.get(place).map_or_else(String::new, |water| water.name.clone()),
        move |batch, name| {
            if let Some(water) = batch.waters.get_mut(place) {
                water.name = name;
            }
        },
    );
    let take = move |batch: &mut Batch, kept: Water| {
        if let Some(water) = batch.waters.get_mut(place) {
            let share = water.numbers.share().map(Quantity::amount);
            *water = kept;
            // The share belongs to this batch; it was in range before.
            let _ = WaterField::Share.set(&mut water.numbers, share);
        }
    };
    tag("li")
        .class("item")
        .set("data-item", "water")
        .child(offered(|batch| batch.waters.clone(), take))
        .child(entries(USUAL.into_iter().map(move |field| Slot::Water(place, field))))
        .child(fold("More from the report", move || {
            entries(MORE.into_iter().map(move |field| Slot::Water(place, field)))
        }))
        .child(live(share))
        .child(name)
        .child(live(move || read.get().map(read_lines)))
        .view()
}

/// The named waters or ranges of the batch book, to take one from; looked up when the fold is opened.
fn offered(
    of: fn(&Batch) -> Vec<Water>,
    take: impl Fn(&mut Batch, Water) + Copy + Send + Sync + 'static,
) -> View {
    fold("Take one from the batch book", move || {
        let open = Open::here();
        let mut kept: Vec<Water> = Vec::new();
        for envelope in Store::envelopes().unwrap_or_default() {
            if envelope.deleted.is_some() {
                continue;
            }
            for water in of(&envelope.data).into_iter().filter(|water| !water.name.is_empty()) {
                let place = kept.partition_point(|other| other.name < water.name);
                if !kept[place..]
                    .iter()
                    .take_while(|other| other.name == water.name)
                    .any(|other| *other == water)
                {
                    kept.insert(place, water);
                }
            }
        }
        if kept.is_empty() {
            return aside("Nothing has a name yet. Name one, and every batch can use it.");
        }
        let buttons = kept.into_iter().map(|water| {
            button("", "take", water.name.clone(), move || {
                open.edit_with_undo("Taken from the batch book.", |batch| take(batch, water.clone()));
            })
        });
        tag("div").class("actions").child(buttons.collect::<Vec<View>>()).view()
    })
}

/// Own ranges in place of the finish's.
fn own_finish() -> View {
    View::many(vec![
        aside("A range, such as 50-100, or one number. What stays empty is the finish's own."),
        offered(|batch| vec![batch.own_finish.clone()], |batch, kept| batch.own_finish = kept),
        entries(WaterField::WANTED.iter().map(|&(field, _)| Slot::Finish(field))),
        text_entry(
            "Name of these ranges, to use them again",
            "finish.name".to_owned(),
            |batch| batch.own_finish.name.clone(),
            |batch, name| batch.own_finish.name = name,
        ),
    ])
}

/// What was read from a report: what had to be inferred, and whether it fits together.
fn read_lines(read: WaterRead) -> View {
    let shared = Shared::here();
    let inferred = read.inferred.into_iter().map(|line| {
        let words = move || {
            shared.preferences.with(|p| {
                let (value, low, high) = (p.text(line.value), p.text(line.low), p.text(line.high));
                format!("{}: {value}, likely {low} to {high}, {}.", line.item.name(), line.from.text())
            })
        };
        tag("li").child(live(words)).view()
    });
    let ratio = |check: Option<Check>| check.map(|check| (check.ratio.amount(), check.ok));
    let checks = [
        ("Charges, positive less negative", read.balance_ok.map(|ok| (read.balance.amount(), ok))),
        ("Hardness over calcium and magnesium", ratio(read.hardness)),
        ("Conductivity over that of the ions", ratio(read.conductivity)),
        ("Dissolved solids over the sum of the ions", ratio(read.solids)),
        ("Dissolved solids over conductivity", ratio(read.solids_by_conductivity)),
    ];
    let checks = checks.into_iter().filter_map(|(what, check)| {
        let (amount, ok) = check?;
        let verdict = if ok { "fits" } else { "does not fit" };
        let words = move || shared.preferences.with(|p| format!("{what}: {}, {verdict}.", p.text(amount)));
        Some(tag("li").child(live(words)).view())
    });
    let lines = |title: &'static str, test: &'static str, lines: Vec<View>| {
        (!lines.is_empty()).then(|| {
            let list = tag("ul").class("details").set("data-test", test).child(lines);
            View::many(vec![aside(title), list.view()])
        })
    };
    View::many(vec![
        lines("Not in the report, so inferred:", "inferred", inferred.collect()).view(),
        lines("Checked:", "checks", checks.collect()).view(),
    ])
}

/// Chlorine taken out, chalk taken out.
fn treatment() -> View {
    let germs = vec![
        (Disinfectant::None, "Nothing, or it was filtered out".to_owned()),
        (Disinfectant::Chlorine, "Chlorine".to_owned()),
        (Disinfectant::Chloramine, "Chloramine".to_owned()),
    ];
    let soft = vec![
        (Softening::None, "Used as it is".to_owned()),
        (Softening::Boil, "Boiled and drawn off the chalk".to_owned()),
        (Softening::Lime, "Treated with slaked lime, drawn off the chalk".to_owned()),
    ];
    let sulfites = named(Sulfite::ALL, |kind| headed(kind.name()));
    View::many(vec![
        choice("The supplier adds", "disinfectant", germs, |choices| &mut choices.disinfectant),
        entry(Slot::Of(Field::Chlorine)),
        choice("Taken out with", "sulfite", sulfites, |choices| &mut choices.sulfite),
        choice("Hard tap water is", "softening", soft, |choices| &mut choices.softening),
    ])
}
