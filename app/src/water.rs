//! The water stage: the finish wanted, what to weigh, salts at hand, the waters
//! with their reports, and their treatment.

use crate::lists::{choice, headed, list, named, remove_button, toggle};
use crate::state::{Open, Shared};
use crate::store::Store;
use crate::widgets::{button, entry, live, text_entry};
use batch::document::{Batch, Field, SaltField, SaltLine, Slot, Water, WaterField};
use calc::brew::treatment::{Disinfectant, Softening, Sulfite};
use calc::brew::water::{Finish, Ion, Recipe};
use calc::chem::report::{Check, WaterRead};
use calc::data::salts::Salt;
use calc::quantity::{Amount, Dimension, Mass, Quantity};
use leptos::prelude::*;

/// What every report has, in the order reports print it.
const USUAL: &[WaterField] = &[
    WaterField::Calcium,
    WaterField::Magnesium,
    WaterField::Sodium,
    WaterField::Chloride,
    WaterField::Sulfate,
    WaterField::Alkalinity,
];

/// What many reports have too: it fills gaps and checks the rest.
const MORE: &[WaterField] = &[
    WaterField::Hardness,
    WaterField::Ph,
    WaterField::Conductivity,
    WaterField::DissolvedSolids,
    WaterField::Potassium,
    WaterField::Nitrate,
];

/// Finish, salts, waters and treatment.
pub fn stage() -> AnyView {
    let open = Open::here();
    let finishes = named(Finish::ALL, |finish| finish.name().to_owned());
    let reason = move || open.document.with(|batch| headed(batch.choices.finish.reason()));
    view! {
        {choice("Finish wanted", "finish", finishes, |choices| &mut choices.finish)}
        <p class="aside">{live(reason)}"."</p>
        {fold("Own ranges instead", own_finish)}
        <h3>"Weigh"</h3>
        {weigh()}
        {fold("Salts at hand", salts)}
        <h3>"Waters"</h3>
        {waters()}
        {fold("Chlorine and hard water", treatment)}
    }
    .into_any()
}

/// A fold whose inside is built when it is first opened.
fn fold(title: &'static str, inside: fn() -> AnyView) -> AnyView {
    let opened = RwSignal::new(false);
    view! {
        <details class="fold" on:toggle=move |_| opened.set(true)>
            <summary>{title}</summary>
            {live(move || opened.get().then(inside))}
        </details>
    }
    .into_any()
}

fn entries(slots: impl Iterator<Item = Slot>) -> Vec<AnyView> {
    slots.map(entry).collect()
}

/// A list of names and amounts.
fn ledger(rows: Vec<(String, Vec<Amount>)>) -> AnyView {
    let shared = Shared::here();
    let rows: Vec<AnyView> = rows
        .into_iter()
        .map(|(what, amounts)| {
            let text = move || {
                shared.preferences.with(|p| {
                    let texts: Vec<String> = amounts.iter().map(|amount| p.text(*amount)).collect();
                    texts.join(" + ")
                })
            };
            view! { <li><span class="what">{what}</span><span class="number">{live(text)}</span></li> }.into_any()
        })
        .collect();
    view! { <ul class="ledger weigh" data-test="weigh">{rows}</ul> }.into_any()
}

fn small(mass: Mass) -> Amount {
    mass.amount().seen_as(Dimension::SmallMass)
}

/// The salts to weigh, and the recipe with one salt fewer.
fn weigh() -> AnyView {
    let open = Open::here();
    let salts = Memo::new(move |_| open.plan.with(|plan| plan.salts.clone()));
    let simpler = Memo::new(move |_| open.plan.with(|plan| plan.simpler.clone()));
    let amounts = move || {
        let salts = salts.get();
        if salts.is_empty() {
            return view! { <p class="aside">"Nothing to weigh: no salts are needed, or the water is not known yet."</p> }
                .into_any();
        }
        let split = salts.iter().any(|line| line.rinse > Mass::ZERO);
        let rows = salts
            .iter()
            .map(|line| {
                let parts = if split { vec![small(line.mash), small(line.rinse)] } else { vec![small(line.mash)] };
                (line.salt.name().to_owned(), parts)
            })
            .collect();
        let where_to = if split { "Mash water + the rest. " } else { "All into the mash water. " };
        view! { {ledger(rows)}<p class="aside">{where_to}</p> }.into_any()
    };
    let fewer = move || {
        simpler.get().map(|recipe: Recipe| {
            let rows = recipe.amounts.iter().map(|(salt, mass)| (salt.name().to_owned(), vec![small(*mass)]));
            let ions = Ion::ALL.iter().map(|&ion| (ion.name().to_owned(), vec![ion.of(&recipe.water).amount()]));
            let rows = rows.chain(ions).collect();
            view! {
                <details class="fold">
                    <summary>"One salt fewer"</summary>
                    <p class="aside">"The best recipe with one salt less to weigh, and the water it makes."</p>
                    {ledger(rows)}
                </details>
            }
            .into_any()
        })
    };
    view! { {live(amounts)}{live(fewer)} }.into_any()
}

/// Which salts are at hand, and how each may be used.
fn salts() -> AnyView {
    let open = Open::here();
    let toggles: Vec<AnyView> = Salt::ALL
        .iter()
        .map(|&salt| {
            let at_hand =
                Signal::derive(move || open.document.with(|batch| batch.salts.iter().any(|line| line.salt == salt)));
            toggle(salt.name().to_owned(), format!("salt.{salt:?}"), at_hand, move |on| {
                open.edit(|batch| {
                    batch.salts.retain(|line| line.salt != salt);
                    if on {
                        batch.salts.push(SaltLine::new(salt));
                    }
                });
            })
        })
        .collect();
    let at_hand = Memo::new(move |_| {
        open.document.with(|batch| batch.salts.iter().map(|line| line.salt).collect::<Vec<Salt>>())
    });
    let limits = move || {
        let lines = at_hand.get().into_iter().enumerate().map(|(place, salt)| {
            let fields = [SaltField::Locked, SaltField::Most, SaltField::Purity];
            let density = (salt == Salt::CalciumChlorideSolution).then_some(SaltField::Density);
            let fields = fields.into_iter().chain(density).map(move |field| Slot::Salt(place, field));
            view! { <div class="named"><h4>{salt.name()}</h4>{salt.caveat()}{entries(fields)}</div> }.into_any()
        });
        lines.collect::<Vec<AnyView>>()
    };
    view! {
        <div class="toggles">{toggles}</div>
        <details class="fold">
            <summary>"Limits, purity, own amounts"</summary>
            <p class="aside">"“Use exactly” fixes an amount, zero bars a salt; the others are chosen around it."</p>
            {live(limits)}
        </details>
    }
    .into_any()
}

fn waters() -> AnyView {
    list(
        |batch| batch.waters.len(),
        water,
        ("Add another water", "add-water", |batch| batch.waters.push(Water::default())),
    )
}

/// One water: its report, what was read from it, and where to take one from.
fn water(place: usize) -> AnyView {
    let open = Open::here();
    let several = Memo::new(move |_| open.document.with(|batch| batch.waters.len() > 1));
    let read = Memo::new(move |_| open.plan.with(|plan| plan.waters.get(place).cloned().flatten()));
    let share = move || {
        several.get().then(|| {
            view! {
                {entry(Slot::Water(place, WaterField::Share))}
                {remove_button("Water removed.", move |batch: &mut Batch| {
                    if batch.waters.len() > 1 && place < batch.waters.len() {
                        batch.waters.remove(place);
                    }
                })}
            }
            .into_any()
        })
    };
    let more = move || entries(MORE.iter().map(move |&field| Slot::Water(place, field)));
    let opened = RwSignal::new(false);
    view! {
        <li class="item" data-item="water">
            {text_entry(
                "Name of this water, to use it again",
                format!("water{place}.name"),
                move |batch: &Batch| batch.waters.get(place).map_or_else(String::new, |water| water.name.clone()),
                move |batch: &mut Batch, name| if let Some(water) = batch.waters.get_mut(place) { water.name = name },
            )}
            {offered(
                |batch| batch.waters.clone(),
                move |batch, kept| if let Some(water) = batch.waters.get_mut(place) {
                    let share = water.numbers.share();
                    *water = kept;
                    let _ = WaterField::Share.set(&mut water.numbers, share.map(Quantity::amount));
                },
            )}
            {entries(USUAL.iter().map(move |&field| Slot::Water(place, field)))}
            <details class="fold" on:toggle=move |_| opened.set(true)>
                <summary>"More from the report"</summary>
                {live(move || opened.get().then(more))}
            </details>
            {live(share)}
            {live(move || read.get().map(read_lines))}
        </li>
    }
    .into_any()
}

/// The named waters or ranges of the batch book, to take one from; looked up when the fold is opened.
fn offered(of: fn(&Batch) -> Vec<Water>, take: impl Fn(&mut Batch, Water) + Copy + Send + Sync + 'static) -> AnyView {
    let open = Open::here();
    let opened = RwSignal::new(false);
    let kept = move || {
        let mut kept: Vec<Water> = Store::envelopes()
            .unwrap_or_default()
            .iter()
            .filter(|envelope| envelope.deleted.is_none())
            .flat_map(|envelope| of(&envelope.data))
            .filter(|water| !water.name.is_empty())
            .collect();
        kept.sort_by(|one, other| one.name.cmp(&other.name));
        kept.dedup();
        let buttons: Vec<AnyView> = kept
            .into_iter()
            .map(|water| {
                let name = water.name.clone();
                button("", "take", name, move || {
                    open.edit_with_undo("Taken from the batch book.", |batch| take(batch, water.clone()));
                })
            })
            .collect();
        if buttons.is_empty() {
            return view! { <p class="aside">"Nothing has a name yet. Name one here, and every batch can use it."</p> }.into_any();
        }
        view! { <div class="actions">{buttons}</div> }.into_any()
    };
    view! {
        <details class="fold" on:toggle=move |_| opened.set(true)>
            <summary>"Take one from the batch book"</summary>
            {live(move || opened.get().then(kept))}
        </details>
    }
    .into_any()
}

/// Own ranges in place of the finish's.
fn own_finish() -> AnyView {
    view! {
        <p class="aside">"A range, such as 50-100, or one number. What stays empty is the finish's own."</p>
        {text_entry(
            "Name of these ranges, to use them again",
            "finish.name".to_owned(),
            |batch: &Batch| batch.own_finish.name.clone(),
            |batch: &mut Batch, name| batch.own_finish.name = name,
        )}
        {offered(|batch| vec![batch.own_finish.clone()], |batch, kept| batch.own_finish = kept)}
        {entries(WaterField::WANTED.iter().map(|&(field, _)| Slot::Finish(field)))}
    }
    .into_any()
}

/// What was read from a report: what had to be inferred, and whether it fits together.
fn read_lines(read: WaterRead) -> AnyView {
    let shared = Shared::here();
    let inferred: Vec<AnyView> = read
        .inferred
        .into_iter()
        .map(|line| {
            let words = move || {
                shared.preferences.with(|p| {
                    format!(
                        "{}: {}, likely {} to {}, {}.",
                        line.item.name(),
                        p.text(line.value),
                        p.text(line.low),
                        p.text(line.high),
                        line.from.text()
                    )
                })
            };
            view! { <li>{live(words)}</li> }.into_any()
        })
        .collect();
    let checks = [
        ("Charges", read.balance_ok.map(|ok| (read.balance.amount(), ok))),
        ("Hardness against calcium and magnesium", read.hardness.map(ratio)),
        ("Conductivity against the ions", read.conductivity.map(ratio)),
        ("Dissolved solids against the ions", read.solids.map(ratio)),
        ("Dissolved solids against conductivity", read.solids_by_conductivity.map(ratio)),
    ];
    let checks: Vec<AnyView> = checks
        .into_iter()
        .filter_map(|(what, check)| check.map(|(amount, ok)| (what, amount, ok)))
        .map(|(what, amount, ok)| {
            let words = move || {
                let verdict = if ok { "fits" } else { "does not fit" };
                shared.preferences.with(|p| format!("{what}: {} ({verdict})", p.text(amount)))
            };
            view! { <li>{live(words)}</li> }.into_any()
        })
        .collect();
    let inferred = (!inferred.is_empty())
        .then(|| view! { <p class="aside">"Not in the report, so inferred:"</p><ul class="details">{inferred}</ul> }.into_any());
    let checks = (!checks.is_empty())
        .then(|| view! { <p class="aside">"Checked:"</p><ul class="details" data-test="checks">{checks}</ul> }.into_any());
    view! { <div data-test="read">{inferred}{checks}</div> }.into_any()
}

fn ratio(check: Check) -> (Amount, bool) {
    (check.ratio.amount(), check.ok)
}

/// Chlorine taken out, chalk taken out.
fn treatment() -> AnyView {
    let germs = vec![
        (Disinfectant::None, "Nothing, or it was filtered out".to_owned()),
        (Disinfectant::Chlorine, "Chlorine".to_owned()),
        (Disinfectant::Chloramine, "Chloramine".to_owned()),
    ];
    let soft = vec![
        (Softening::None, "Used as it is".to_owned()),
        (Softening::Boil, "Boiled and drawn off the chalk".to_owned()),
        (Softening::Lime, "Slaked lime, drawn off the chalk".to_owned()),
    ];
    view! {
        {choice("The supplier adds", "disinfectant", germs, |choices| &mut choices.disinfectant)}
        {entry(Slot::Of(Field::Chlorine))}
        {choice("Taken out with", "sulfite", named(Sulfite::ALL, |kind| headed(kind.name())), |choices| &mut choices.sulfite)}
        {choice("Hard tap water is", "softening", soft, |choices| &mut choices.softening)}
    }
    .into_any()
}
