//! Editors of the document's lists and choices: malts, hops, fruit, salts, and
//! the short lists to pick from.

use crate::signals::{Callback, Signal};
use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::{button, entry, fold, index_picker, item_picker, live, picker, text_entry};
use batch::document::{
    Batch, Chiller, Choices, Field, FruitAddition, FruitField, FruitForm, FruitPlace, Gas, GristBy, Hop,
    HopField, HopTime, MOST_ITEMS, Malt, MaltField, Preserved, Rest, RestField, SampleField, Slot, Stage,
};
use batch::label::label;
use calc::brew::bitterness::HopForm;
use calc::brew::dosing::{DROPPER_PROCEDURE, STIR_AND_MEASURE};
use calc::brew::package::{PackageKind, Verdict};
use calc::brew::souring::ADVICE;
use calc::brew::titration::PROCEDURE;
use calc::brew::yeast::YeastForm;
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
        Stage::Mash => View::many(vec![fold("More rests", rests), acid(), meter()]),
        Stage::AcidDrop => View::many(vec![
            acid(),
            fold("Before you handle the acid", hazards),
            fold("Drops and small doses", drops),
            fold("Titrate a glass of it instead", sample),
        ]),
        Stage::Souring => souring(),
        Stage::MainBoil => View::many(vec![
            hops(),
            choice(
                "Chilled by",
                "chiller",
                named(Chiller::ALL, |chiller| chiller.name().to_owned()),
                |choices| &mut choices.chiller,
            ),
        ]),
        Stage::Ferment => {
            choice("Yeast", "yeast", named(YeastForm::ALL, |form| headed(form.name())), |choices| {
                &mut choices.yeast
            })
        }
        Stage::Fruit => fruit(),
        Stage::Package => View::many(vec![
            package(),
            fold("Words for a label", label_words),
            fold("Sourness by a glass", taste_trial),
        ]),
        Stage::FirstBoil => View::nothing(),
    }
}

/// Each value with its name, for a picker.
pub fn named<T: Copy>(all: &[T], name: impl Fn(T) -> String) -> Vec<(T, String)> {
    all.iter().map(|&value| (value, name(value))).collect()
}

/// "sour cherry" as it stands at the head of a line.
pub fn headed(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_ascii_uppercase().to_string() + letters.as_str())
}

/// A picker for one of the document's choices.
pub fn choice<T: Copy + PartialEq + Send + Sync + 'static>(
    label: &'static str,
    name: &'static str,
    options: Vec<(T, String)>,
    place: fn(&mut Choices) -> &mut T,
) -> View {
    let open = Open::here();
    let (values, labels): (Vec<T>, Vec<String>) = options.into_iter().unzip();
    let all = values.clone();
    // Its place, not itself: what follows is there once, not for each kind of choice.
    let chosen = open.seen(move |batch, _| {
        let value = *place(&mut batch.choices.clone());
        all.iter().position(|other| *other == value).unwrap_or(0)
    });
    let change = Callback::new(move |chosen: usize| {
        if let Some(value) = values.get(chosen) {
            open.edit(|batch| *place(&mut batch.choices) = *value);
        }
    });
    index_picker(label, name, labels, chosen.into(), change)
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
    View::many(fields.iter().map(|&field| entry(Slot::Of(field))).collect())
}

/// What the acid does to people, and how it is handled.
fn hazards() -> View {
    let open = Open::here();
    let own = open.seen(|batch, _| {
        let strength = batch.numbers.acid_strength().unwrap_or(Fraction::ALL);
        Acid { kind: batch.choices.acid, strength }.hazard()
    });
    let lines: Vec<View> = HAZARDS.iter().map(|line| tag("li").child(*line).view()).collect();
    tag("ul").class("details").child(tag("li").child(live(move || own.get()))).child(lines).view()
}

fn drops() -> View {
    View::many(vec![
        aside(DROPPER_PROCEDURE),
        fields(&[Field::Dropper, Field::ScaleStep]),
        aside(STIR_AND_MEASURE),
    ])
}

/// The points of a titrated sample.
fn sample() -> View {
    View::many(vec![
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
    View::many(vec![
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
    View::many(vec![
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
    View::many(vec![
        aside("Advice, not law: local rules and your own judgement decide."),
        tag("ul").class("details").child(lines).view(),
    ])
}

/// Acid for the finished beer, found in a glass.
fn taste_trial() -> View {
    View::many(vec![
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
    let text = open.seen(|batch, _| batch.notes.clone());
    tag("label")
        .class("wide")
        .child("Notes")
        .child(
            tag("textarea")
                .set("name", "notes")
                .set("rows", "3")
                .set("maxlength", "4000")
                .property("value", move || text.get())
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
    count: impl Fn(&Batch) -> usize + 'static,
    item: fn(usize) -> View,
    add: (&'static str, &'static str, fn(&mut Batch)),
) -> View {
    let open = Open::here();
    let count = open.seen(move |batch, _| count(batch));
    let items = move || (0..count.get()).map(item).collect::<Vec<View>>();
    let (label, test, push) = add;
    View::many(vec![
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
    View::many(vec![
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
    let class =
        open.seen(move |batch, _| batch.grist.get(place).map_or(MaltClass::Pilsner, |malt| malt.class));
    let by = open.seen(|batch, _| batch.choices.grist_by);
    let line = open.seen(move |_, plan| plan.malts.get(place).copied());
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
        let amount = line.get().and_then(|line| match by.get() {
            GristBy::Shares => line.mass.map(|mass| mass.amount()),
            GristBy::Weights => line.share.map(|share| share.amount()),
        });
        amount.map(|amount| shared.preferences.with(|p| p.text(amount)))
    };
    let classes = named(MaltClass::ALL, |class| class.data().name.to_owned());
    tag("li")
        .class("item")
        .set("data-item", "malt")
        .child(picker(
            "Malt",
            "malt",
            classes,
            move || class.get(),
            move |class| {
                open.edit(|batch| {
                    if let Some(malt) = batch.grist.get_mut(place) {
                        malt.class = class;
                    }
                });
            },
        ))
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
    View::many(fields.iter().map(|&field| entry(Slot::Malt(place, field))).collect())
}

fn bag(place: usize) -> View {
    View::many(vec![
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
    View::many(vec![
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

/// The names of a list of choices.
fn names<T: Copy>(all: &[T], name: fn(T) -> &'static str) -> Vec<String> {
    all.iter().map(|&value| headed(name(value))).collect()
}

fn hop(place: usize) -> View {
    let open = Open::here();
    let boiled =
        open.seen(move |batch, _| batch.hops.get(place).is_some_and(|hop| hop.time == HopTime::Boil));
    let gives = open.seen(move |_, plan| plan.hops.get(place).copied());
    let slot = move |field| entry(Slot::Hop(place, field));
    tag("li")
        .class("item")
        .set("data-item", "hop")
        .child(item_picker(
            ("When", "hop_time"),
            names(HopTime::ALL, HopTime::name),
            place,
            |batch, place| Some(batch.hops.get(place)?.time as usize),
            |batch, place, chosen| {
                batch.hops.get_mut(place)?.time = *HopTime::ALL.get(chosen)?;
                Some(())
            },
        ))
        .child(slot(HopField::Mass))
        .child(slot(HopField::Alpha))
        .child(live(move || boiled.get().then(|| slot(HopField::Minutes))))
        .child(fold("Form, age and name", move || {
            View::many(vec![
                item_picker(
                    ("Form", "hop_form"),
                    names(HopForm::ALL, HopForm::name),
                    place,
                    |batch, place| Some(batch.hops.get(place)?.form as usize),
                    |batch, place, chosen| {
                        batch.hops.get_mut(place)?.form = *HopForm::ALL.get(chosen)?;
                        Some(())
                    },
                ),
                slot(HopField::Age),
                slot(HopField::Kept),
                text_entry(
                    "Own name, if you like",
                    format!("hop{place}.name"),
                    move |batch| batch.hops.get(place).map_or_else(String::new, |hop| hop.name.clone()),
                    move |batch, name| {
                        if let Some(hop) = batch.hops.get_mut(place) {
                            hop.name = name;
                        }
                    },
                ),
            ])
        }))
        .child(
            tag("div")
                .class("item-foot")
                .child(remove_button("Hops removed.", move |batch| {
                    if place < batch.hops.len() {
                        batch.hops.remove(place);
                    }
                }))
                .child(tag("p").class("result").child(live(move || {
                    gives.get().map(|ibu| Shared::here().preferences.with(|p| p.text(ibu.amount())))
                }))),
        )
        .view()
}

/// Rests after the first.
fn rests() -> View {
    View::many(vec![
        aside(
            "The first rest is the mash temperature above. Each rest below follows it, before the mash-out.",
        ),
        list(
            |batch| batch.rests.len(),
            rest,
            ("Add a rest", "add-rest", |batch| batch.rests.push(Rest::default())),
        ),
    ])
}

fn rest(place: usize) -> View {
    let open = Open::here();
    let infusion = open.seen(move |batch, _| batch.rests.get(place).is_some_and(|rest| rest.infusion));
    let line = open.seen(move |_, plan| plan.rests.get(place).cloned());
    tag("li")
        .class("item")
        .set("data-item", "rest")
        .child(entry(Slot::Rest(place, RestField::Temperature)))
        .child(entry(Slot::Rest(place, RestField::Time)))
        .child(toggle(
            "Reached with boiling water kept back".to_owned(),
            format!("rest{place}.infusion"),
            infusion.into(),
            move |on| {
                open.edit(|batch| {
                    if let Some(rest) = batch.rests.get_mut(place) {
                        rest.infusion = on;
                    }
                });
            },
        ))
        .child(
            tag("div")
                .class("item-foot")
                .child(remove_button("Rest removed.", move |batch| {
                    if place < batch.rests.len() {
                        batch.rests.remove(place);
                    }
                }))
                .child(
                    tag("p").class("result").child(live(move || line.get().map(crate::widgets::sentence))),
                ),
        )
        .view()
}

/// The form names, in the order the forms are declared.
const FORMS: [&str; 6] =
    ["Fresh, with stones and skins", "Frozen, then thawed", "Purée", "Juice", "Concentrate", "Dried"];

fn fruit() -> View {
    View::many(vec![
        list(
            |batch| batch.fruit.len(),
            fruit_addition,
            ("Add fruit", "add-fruit", |batch| batch.fruit.push(FruitAddition::new(Fruit::SourCherry))),
        ),
        fold("How much fruit for what you want?", || {
            View::many(vec![
                aside(
                    "Purée for a litre of beer, as is usual: light 50 to 100 g, middling to 175 g, heavy to 300 g.",
                ),
                fields(&[Field::WantedLoad, Field::WantedAlcohol, Field::WantedFruitPh]),
            ])
        }),
    ])
}

fn fruit_addition(place: usize) -> View {
    let open = Open::here();
    let slot = move |field| entry(Slot::Fruit(place, field));
    let gives = open.seen(move |_, plan| plan.fruit.get(place).cloned());
    let own = open.seen(move |batch, _| batch.fruit.get(place).is_some_and(|item| item.own));
    tag("li")
        .class("item")
        .set("data-item", "fruit")
        .child(item_picker(
            ("Fruit", "fruit"),
            names(Fruit::ALL, Fruit::name),
            place,
            |batch, place| Some(batch.fruit.get(place)?.fruit as usize),
            |batch, place, chosen| {
                batch.fruit.get_mut(place)?.fruit = *Fruit::ALL.get(chosen)?;
                Some(())
            },
        ))
        .child(item_picker(
            ("Form", "fruit_form"),
            FORMS.map(str::to_owned).to_vec(),
            place,
            |batch, place| Some(batch.fruit.get(place)?.form as usize),
            |batch, place, chosen| {
                batch.fruit.get_mut(place)?.form = *FruitForm::ALL.get(chosen)?;
                Some(())
            },
        ))
        .child(slot(FruitField::Mass))
        .child(toggle(
            "Another fruit: go by its Brix, pH and acid".to_owned(),
            format!("fruit{place}.own"),
            own.into(),
            move |on| {
                open.edit(|batch| {
                    if let Some(item) = batch.fruit.get_mut(place) {
                        item.own = on;
                    }
                });
            },
        ))
        .child(item_picker(
            ("Preserved", "preserved"),
            names(Preserved::ALL, Preserved::name),
            place,
            |batch, place| Some(batch.fruit.get(place)?.preserved as usize),
            |batch, place, chosen| {
                batch.fruit.get_mut(place)?.preserved = *Preserved::ALL.get(chosen)?;
                Some(())
            },
        ))
        .child(fold("From the pack, or measured", move || {
            View::many(vec![
                slot(FruitField::Brix),
                slot(FruitField::Ph),
                slot(FruitField::Acid),
                slot(FruitField::Price),
                item_picker(
                    ("Goes in", "fruit_place"),
                    names(FruitPlace::ALL, FruitPlace::name),
                    place,
                    |batch, place| Some(batch.fruit.get(place)?.place as usize),
                    |batch, place, chosen| {
                        batch.fruit.get_mut(place)?.place = *FruitPlace::ALL.get(chosen)?;
                        Some(())
                    },
                ),
                text_entry(
                    "Own name, if you like",
                    format!("fruit{place}.name"),
                    move |batch| batch.fruit.get(place).map_or_else(String::new, |item| item.name.clone()),
                    move |batch, name| {
                        if let Some(item) = batch.fruit.get_mut(place) {
                            item.name = name;
                        }
                    },
                ),
            ])
        }))
        .child(tag("p").class("gives").child(live(move || gives.get().map(crate::widgets::sentence))))
        .child(remove_button("Fruit removed.", move |batch| {
            if place < batch.fruit.len() {
                batch.fruit.remove(place);
            }
        }))
        .view()
}

/// What a label could say.
fn label_words() -> View {
    let open = Open::here();
    let lines = open.seen(label);
    let shown = move || {
        let lines: Vec<View> = lines
            .get()
            .into_iter()
            .map(|line| tag("p").child(crate::widgets::sentence(line)).view())
            .collect();
        tag("div").class("label-words").child(lines).view()
    };
    View::many(vec![aside("Local rules decide what a label must say, and how large."), live(shown)])
}

fn package() -> View {
    let open = Open::here();
    let gases = vec![
        (Gas::Cylinder, "From a cylinder".to_owned()),
        (Gas::PrimingSucrose, "From table sugar at packaging".to_owned()),
        (Gas::PrimingGlucose, "From corn sugar at packaging".to_owned()),
        (Gas::PrimingExtract, "From dry malt extract at packaging".to_owned()),
    ];
    let verdict = open.seen(|_, plan| plan.verdict.as_ref().map(|verdict| verdict.0));
    let remedies = open.seen(|_, plan| plan.remedies.clone());
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
    let ways = move || {
        let ways = remedies.get();
        (!ways.is_empty()).then(|| {
            let lines: Vec<View> = ways.into_iter().map(|way| tag("li").child(way).view()).collect();
            View::many(vec![
                aside("What would make it safe, each on its own; the package's rating decides:"),
                tag("ul").class("details").child(lines).view(),
            ])
        })
    };
    View::many(vec![
        (live(check)).view(),
        (live(ways)).view(),
        (choice("Package", "package", named(PackageKind::ALL, |kind| headed(kind.name())), |choices| {
            &mut choices.package
        }))
        .view(),
        (choice("Gas", "gas", gases, |choices| &mut choices.gas)).view(),
    ])
}
