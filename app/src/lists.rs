//! Editors of the document's lists and choices: malts, hops, fruit, salts, and
//! the short lists to pick from.

use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::{button, entry, fold, live, picker, text_entry};
use batch::document::{
    Batch, Choices, Field, FruitAddition, FruitField, FruitForm, Gas, GristBy, Hop, HopField, MOST_ITEMS,
    Malt, MaltField, SampleField, Slot, Stage,
};
use calc::brew::dosing::{DROPPER_PROCEDURE, STIR_AND_MEASURE};
use calc::brew::package::{PackageKind, Verdict};
use calc::brew::souring::ADVICE;
use calc::brew::titration::PROCEDURE;
use calc::chem::meter::Compensation;
use calc::data::acid_notes::{HAZARDS, SOURNESS};
use calc::data::acids::{Acid, AcidKind};
use calc::data::cultures::{Culture, Form};
use calc::data::fruits::Fruit;
use calc::data::malts::MaltClass;
use calc::quantity::{Fraction, Quantity};
use leptos::prelude::*;

/// What a stage has besides number fields: lists and choices.
pub fn of_stage(stage: Stage) -> View {
    match stage {
        Stage::Aim => notes(),
        Stage::Water => crate::water::stage(),
        Stage::Grist => grist(),
        Stage::Mash => View::Many(vec![acid(), meter()]),
        Stage::AcidDrop => View::Many(vec![
            acid(),
            fold("Before you handle the acid", hazards),
            fold("Drops and small doses", drops),
            fold("Titrate a glass of it instead", sample),
        ]),
        Stage::Souring => souring(),
        Stage::MainBoil => hops(),
        Stage::Fruit => fruit(),
        Stage::Package => View::Many(vec![package(), fold("Sourness by a glass", taste_trial)]),
        Stage::FirstBoil | Stage::Ferment => View::Nothing,
    }
}

/// Each value with its name, for a picker.
pub fn named<T: Copy>(all: &[T], name: impl Fn(T) -> String) -> Vec<(T, String)> {
    all.iter().map(|&value| (value, name(value))).collect()
}

/// "sour cherry" as it stands at the head of a line.
pub fn headed(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A picker for one of the document's choices.
pub fn choice<T: Copy + PartialEq + Send + Sync + 'static>(
    label: &'static str,
    name: &'static str,
    options: Vec<(T, String)>,
    place: fn(&mut Choices) -> &mut T,
) -> View {
    let open = Open::here();
    let value = move || open.document.with(|batch| *place(&mut batch.choices.clone()));
    picker(label, name, options, value, move |chosen| open.edit(|batch| *place(&mut batch.choices) = chosen))
}

fn acid() -> View {
    choice("Acid at hand", "acid", named(AcidKind::ALL, |acid| headed(acid.name())), |choices| {
        &mut choices.acid
    })
}

/// A remark.
pub fn aside(words: impl Into<View>) -> View {
    tag("p").class("aside").child(words).view()
}

fn fields(fields: &[Field]) -> View {
    View::Many(fields.iter().map(|&field| entry(Slot::Of(field))).collect())
}

/// What the acid does to people, and how it is handled.
fn hazards() -> View {
    let open = Open::here();
    let own = move || {
        open.document.with(|batch| {
            let strength = batch.numbers.acid_strength().unwrap_or(Fraction::ALL);
            Acid { kind: batch.choices.acid, strength }.hazard()
        })
    };
    let lines: Vec<View> = HAZARDS.iter().map(|line| tag("li").child(*line).view()).collect();
    tag("ul").class("details").child(tag("li").child(live(own))).child(lines).view()
}

fn drops() -> View {
    View::Many(vec![
        aside(DROPPER_PROCEDURE),
        fields(&[Field::Dropper, Field::ScaleStep]),
        aside(STIR_AND_MEASURE),
    ])
}

/// The points of a titrated sample.
fn sample() -> View {
    View::Many(vec![
        aside(
            "Take a glass of the cooled wort and read its pH. Stir in acid, one part in nine parts of water by weight, \
             a little at a time; type how much is in it in all and the pH then. Three points down to the pH wanted tell \
             the dose of the whole batch. Throw the glass away.",
        ),
        fields(&[Field::Sample]),
        list(
            |batch| batch.sample.len(),
            |place| {
                tag("li")
                    .class("item")
                    .set("data-item", "sample")
                    .child(entry(Slot::Sample(place, SampleField::Acid)))
                    .child(entry(Slot::Sample(place, SampleField::Ph)))
                    .child(remove_button("Point removed.", move |batch| {
                        if place < batch.sample.len() {
                            batch.sample.remove(place);
                        }
                    }))
                    .view()
            },
            ("Add a point", "add-point", |batch| batch.sample.push(Default::default())),
        ),
    ])
}

fn souring() -> View {
    let cultures = named(Culture::ALL, |culture| culture.name().to_owned());
    View::Many(vec![
        choice("Bacteria", "culture", cultures, |choices| &mut choices.culture),
        fold("From the pack", pack),
        fold("What keeps it safe", advice),
    ])
}

fn pack() -> View {
    let forms = vec![
        (Form::Capsules, "Capsules".to_owned()),
        (Form::Dry, "Dry, by the gram".to_owned()),
        (Form::Liquid, "Liquid, by the millilitre".to_owned()),
        (Form::Starter, "Grown at home, by the millilitre".to_owned()),
    ];
    View::Many(vec![
        choice("It comes as", "form", forms, |choices| &mut choices.form),
        fields(&[Field::PackAmount, Field::PackCells, Field::PackAge, Field::PackKept]),
    ])
}

/// Advice, with where it comes from.
fn advice() -> View {
    let lines: Vec<View> = ADVICE
        .iter()
        .map(|advice| {
            tag("li")
                .child(advice.says)
                .child(" ")
                .child(tag("span").class("mark").child(advice.source.text))
                .view()
        })
        .collect();
    View::Many(vec![
        aside("Advice, not law: local rules and your own judgement decide."),
        tag("ul").class("details").child(lines).view(),
    ])
}

/// Acid for the finished beer, found in a glass.
fn taste_trial() -> View {
    View::Many(vec![
        aside(
            "Pour a measured glass of the beer. Stir in acid, one part in nine parts of water by weight, a little at a time, \
             and taste; stop when it is sour enough. The figures then tell the acid for all of it.",
        ),
        aside(SOURNESS),
        fields(&[Field::TrialGlass, Field::TrialAcid, Field::TrialPart]),
    ])
}

/// Matters only for samples read warm.
fn meter() -> View {
    let kinds = named(Compensation::ALL, |kind| kind.name().to_owned());
    choice("Your pH meter", "compensation", kinds, |choices| &mut choices.compensation)
}

fn notes() -> View {
    let open = Open::here();
    tag("label")
        .class("wide")
        .child("Notes")
        .child(
            tag("textarea")
                .set("name", "notes")
                .set("rows", "3")
                .set("maxlength", "4000")
                .property("value", move || open.document.with(|batch| batch.notes.clone()))
                .on("input", move |event| open.edit(|batch| batch.notes = event_target_value(&event))),
        )
        .view()
}

/// A check box with its label, as large as a thumb.
pub fn toggle(
    label: String,
    name: String,
    value: Signal<bool>,
    change: impl Fn(bool) + Send + Sync + 'static,
) -> View {
    tag("label")
        .class("toggle")
        .child(
            tag("input")
                .set("type", "checkbox")
                .set("name", name)
                .property("checked", move || value.get())
                .on("change", move |event| change(event_target_checked(&event))),
        )
        .child(tag("span").child(label))
        .view()
}

/// One of the document's lists: its items, and the button that adds one.
pub fn list(
    count: impl Fn(&Batch) -> usize + Send + Sync + 'static,
    item: fn(usize) -> View,
    add: (&'static str, &'static str, fn(&mut Batch)),
) -> View {
    let open = Open::here();
    let count = Memo::new(move |_| open.document.with(&count));
    let items = move || (0..count.get()).map(item).collect::<Vec<View>>();
    let (label, test, push) = add;
    View::Many(vec![
        tag("ol").class("items").child(live(items)).view(),
        tag("button")
            .set("type", "button")
            .set("data-test", test)
            .live("disabled", move || count.get() >= MOST_ITEMS)
            .on("click", move |_| open.edit(push))
            .child(label)
            .view(),
    ])
}

/// A button that takes an item from its list, with a way back.
pub fn remove_button(what: &'static str, remove: impl Fn(&mut Batch) + Send + Sync + 'static) -> View {
    let open = Open::here();
    button("quiet remove-item", "remove", "Remove", move || open.edit_with_undo(what, &remove))
}

fn grist() -> View {
    let by =
        vec![(GristBy::Shares, "Shares of the grist".to_owned()), (GristBy::Weights, "Weights".to_owned())];
    View::Many(vec![
        (choice("Malts are given as", "grist_by", by, |choices| &mut choices.grist_by)).view(),
        (list(
            |batch| batch.grist.len(),
            malt,
            ("Add a malt", "add-malt", |batch| {
                // The two that most sour wort is made of come first.
                let class = if batch.grist.is_empty() { MaltClass::Pilsner } else { MaltClass::Wheat };
                batch.grist.push(Malt { class, name: String::new(), numbers: Default::default() });
            }),
        ))
        .view(),
    ])
}

fn malt(place: usize) -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let class = move || {
        open.document.with(|batch| batch.grist.get(place).map_or(MaltClass::Pilsner, |malt| malt.class))
    };
    let by = Memo::new(move |_| open.document.with(|batch| batch.choices.grist_by));
    let amount = move || {
        entry(Slot::Malt(
            place,
            match by.get() {
                GristBy::Shares => MaltField::Share,
                GristBy::Weights => MaltField::Mass,
            },
        ))
    };
    // What the other way of giving it comes to.
    let other = move || {
        let line = open.plan.with(|plan| plan.malts.get(place).copied());
        let amount = line.and_then(|line| match by.get() {
            GristBy::Shares => line.mass.map(|mass| mass.amount()),
            GristBy::Weights => line.share.map(|share| share.amount()),
        });
        amount.map(|amount| shared.preferences.with(|p| p.text(amount)))
    };
    let classes = named(MaltClass::ALL, |class| class.data().name.to_owned());
    tag("li")
        .class("item")
        .set("data-item", "malt")
        .child(picker("Malt", "malt", classes, class, move |class| {
            open.edit(|batch| {
                if let Some(malt) = batch.grist.get_mut(place) {
                    malt.class = class;
                }
            });
        }))
        .child(live(amount))
        .child(fold("From the bag, or measured at home", move || bag(place)))
        .child(
            tag("div")
                .class("item-foot")
                .child(remove_button("Malt removed.", move |batch| {
                    if place < batch.grist.len() {
                        batch.grist.remove(place);
                    }
                }))
                .child(tag("p").class("result").child(live(other))),
        )
        .view()
}

fn malt_entries(place: usize, fields: &[MaltField]) -> View {
    View::Many(fields.iter().map(|&field| entry(Slot::Malt(place, field))).collect())
}

fn bag(place: usize) -> View {
    View::Many(vec![
        text_entry(
            "Own name, if you like",
            format!("malt{place}.name"),
            move |batch| batch.grist.get(place).map_or_else(String::new, |malt| malt.name.clone()),
            move |batch, name| {
                if let Some(malt) = batch.grist.get_mut(place) {
                    malt.name = name;
                }
            },
        ),
        malt_entries(
            place,
            &[MaltField::Extract, MaltField::Moisture, MaltField::OwnPh, MaltField::Buffering],
        ),
        fold("A test at home", move || home_test(place)),
    ])
}

/// The small mash and titration that replace the class's pH and buffering.
fn home_test(place: usize) -> View {
    View::Many(vec![
        aside(PROCEDURE),
        malt_entries(
            place,
            &[
                MaltField::TestedMass,
                MaltField::FirstAcid,
                MaltField::FirstPh,
                MaltField::SecondAcid,
                MaltField::SecondPh,
            ],
        ),
    ])
}

fn hops() -> View {
    list(|batch| batch.hops.len(), hop, ("Add hops", "add-hop", |batch| batch.hops.push(Hop::default())))
}

fn hop(place: usize) -> View {
    tag("li")
        .class("item")
        .set("data-item", "hop")
        .child(
            [HopField::Mass, HopField::Alpha, HopField::Minutes]
                .map(|field| entry(Slot::Hop(place, field)))
                .into_iter()
                .collect::<Vec<_>>(),
        )
        .child(text_entry(
            "Own name, if you like",
            format!("hop{place}.name"),
            move |batch| batch.hops.get(place).map_or_else(String::new, |hop| hop.name.clone()),
            move |batch, name| {
                if let Some(hop) = batch.hops.get_mut(place) {
                    hop.name = name;
                }
            },
        ))
        .child(remove_button("Hops removed.", move |batch| {
            if place < batch.hops.len() {
                batch.hops.remove(place);
            }
        }))
        .view()
}

const FORMS: &[(FruitForm, &str)] = &[
    (FruitForm::Puree, "Purée"),
    (FruitForm::Frozen, "Frozen, then thawed"),
    (FruitForm::Whole, "Fresh, with stones and skins"),
    (FruitForm::Juice, "Juice"),
    (FruitForm::Concentrate, "Concentrate"),
    (FruitForm::Dried, "Dried"),
];

fn fruit() -> View {
    list(
        |batch| batch.fruit.len(),
        fruit_addition,
        ("Add fruit", "add-fruit", |batch| {
            batch.fruit.push(FruitAddition {
                fruit: Fruit::SourCherry,
                form: FruitForm::default(),
                preserved: false,
                numbers: Default::default(),
            });
        }),
    )
}

fn fruit_addition(place: usize) -> View {
    let open = Open::here();
    let at = move |batch: &Batch| {
        let item = batch.fruit.get(place);
        item.map_or((Fruit::SourCherry, FruitForm::Puree, false), |item| {
            (item.fruit, item.form, item.preserved)
        })
    };
    let change = move |change: &dyn Fn(&mut FruitAddition)| {
        open.edit(|batch| {
            if let Some(item) = batch.fruit.get_mut(place) {
                change(item);
            }
        });
    };
    let fruits = named(Fruit::ALL, |fruit| headed(fruit.data().name));
    let forms = FORMS.iter().map(|&(form, name)| (form, name.to_owned())).collect();
    tag("li")
        .class("item")
        .set("data-item", "fruit")
        .child(picker(
            "Fruit",
            "fruit",
            fruits,
            move || open.document.with(at).0,
            move |fruit| {
                change(&|item| item.fruit = fruit);
            },
        ))
        .child(picker(
            "Form",
            "fruit_form",
            forms,
            move || open.document.with(at).1,
            move |form| {
                change(&|item| item.form = form);
            },
        ))
        .child(entry(Slot::Fruit(place, FruitField::Mass)))
        .child(toggle(
            "The pack names sorbate or sulfite".to_owned(),
            format!("fruit{place}.preserved"),
            Signal::derive(move || open.document.with(at).2),
            move |on| change(&|item| item.preserved = on),
        ))
        .child(
            tag("details").class("fold").child(tag("summary").child("From the pack, or measured")).child(
                [FruitField::Brix, FruitField::Ph, FruitField::Acid]
                    .map(|field| entry(Slot::Fruit(place, field)))
                    .into_iter()
                    .collect::<Vec<_>>(),
            ),
        )
        .child(remove_button("Fruit removed.", move |batch| {
            if place < batch.fruit.len() {
                batch.fruit.remove(place);
            }
        }))
        .view()
}

fn package() -> View {
    let open = Open::here();
    let gases = vec![
        (Gas::Cylinder, "From a cylinder".to_owned()),
        (Gas::PrimingSucrose, "From table sugar at packaging".to_owned()),
        (Gas::PrimingGlucose, "From corn sugar at packaging".to_owned()),
    ];
    let verdict = Memo::new(move |_| open.plan.with(|plan| plan.verdict.as_ref().map(|verdict| verdict.0)));
    let check = move || {
        verdict.get().map(|verdict| {
            let (sign, word, class) = match verdict {
                Verdict::Safe => ("✓", "Nothing found against closing it", "verdict safe"),
                Verdict::Caution => ("!", "With care: see the warnings", "verdict caution"),
                Verdict::NotKnown => {
                    ("?", "Not known yet: something must be typed or measured first", "verdict caution")
                }
                Verdict::Stop => ("■", "Stop: do not close this package", "verdict stop"),
            };
            tag("p")
                .class(class)
                .set("data-test", "verdict")
                .child(tag("span").class("sign").set("aria-hidden", "true").child(sign))
                .child(tag("strong").child("Burst check: "))
                .child(word)
                .view()
        })
    };
    View::Many(vec![
        (live(check)).view(),
        (choice("Package", "package", named(PackageKind::ALL, |kind| headed(kind.name())), |choices| {
            &mut choices.package
        }))
        .view(),
        (choice("Gas", "gas", gases, |choices| &mut choices.gas)).view(),
    ])
}
