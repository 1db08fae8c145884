//! Batches for tests: any that could be typed, and one that was brewed to its end.
//!
//! Here, not in the tests, because several crates test with them; behind a
//! feature, because the app has no use for them.

use crate::document::{
    Batch, Chiller, Choices, Field, FruitAddition, FruitField, FruitForm, FruitNumbers, FruitPlace, Gas,
    GristBy, Hop, HopField, HopNumbers, HopTime, Malt, MaltField, MaltNumbers, Preserved, Reading,
    ReadingKind, Rest, SaltLine, SampleNumbers, Slot, Spec, Step, Tasting, Timer, Water, WaterField,
};
use crate::house::{House, HouseNumber, Lesson, Rules};
use crate::json::{Json, text_of};
use crate::keep::Envelope;
use crate::moment::Moment;
use calc::brew::bitterness::HopForm;
use calc::brew::package::PackageKind;
use calc::brew::treatment::{Disinfectant, Softening, Sulfite};
use calc::brew::water::Finish;
use calc::brew::yeast::YeastForm;
use calc::chem::meter::Compensation;
use calc::data::acids::AcidKind;
use calc::data::cultures::{Culture, Form};
use calc::data::fruits::Fruit;
use calc::data::malts::MaltClass;
use calc::data::salts::Salt;
use calc::quantity::{Amount, Temperature, settled};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::{select, subsequence};

/// A value of the field's range, at a share of it, as it would be kept.
fn at_share(spec: &Spec, share: f64) -> Amount {
    let (low, high) = (spec.low.base(), spec.high.base());
    Amount::in_base(spec.dimension, settled(low + share * (high - low)))
}

fn fill(batch: &mut Batch, shares: &[Option<f64>]) {
    let slots: Vec<Slot> = Slot::all(batch).collect();
    for (slot, share) in slots.into_iter().zip(shares.iter().cycle()) {
        let value = share.map(|share| at_share(slot.spec(), share));
        // The value comes from the field's own range; were it refused, the field would stay empty.
        let _ = slot.set(batch, value);
    }
}

/// Any text, with what JSON must escape among it.
pub fn any_text() -> impl Strategy<Value = String> {
    prop_oneof![Just(String::new()), "\\PC{1,24}", "[\"\\\\/\u{0}-\u{1f}\u{7f}\u{2028}é😀 a]{1,12}"]
}

/// Any point in time, most of them in this century.
pub fn any_moment() -> impl Strategy<Value = Moment> {
    prop_oneof![9 => 946_684_800..4_102_444_800_i64, 1 => any::<i64>()].prop_map(Moment::from_seconds)
}

fn any_choices() -> impl Strategy<Value = Choices> {
    let treatment =
        (select(Softening::ALL), select(Disinfectant::ALL), select(Sulfite::ALL), select(Compensation::ALL));
    (
        select(Finish::ALL),
        treatment,
        select(GristBy::ALL),
        select(AcidKind::ALL),
        (select(Culture::ALL), select(Form::ALL)),
        (select(PackageKind::ALL), select(Chiller::ALL), select(YeastForm::ALL)),
        select(Gas::ALL),
    )
        .prop_map(
            |(
                finish,
                (softening, disinfectant, sulfite, compensation),
                grist_by,
                acid,
                (culture, form),
                (package, chiller, yeast),
                gas,
            )| Choices {
                finish,
                softening,
                disinfectant,
                sulfite,
                compensation,
                grist_by,
                acid,
                culture,
                form,
                chiller,
                yeast,
                package,
                gas,
            },
        )
}

fn any_fruit() -> impl Strategy<Value = FruitAddition> {
    use FruitForm::{Concentrate, Dried, Frozen, Juice, Puree, Whole};
    let form = select(&[Whole, Frozen, Puree, Juice, Concentrate, Dried][..]);
    (select(Fruit::ALL), form, select(Preserved::ALL), (select(FruitPlace::ALL), any::<bool>()), any_text())
        .prop_map(|(fruit, form, preserved, (place, own), name)| FruitAddition {
            fruit,
            own,
            form,
            name,
            preserved,
            place,
            numbers: FruitNumbers::default(),
        })
}

fn any_reading() -> impl Strategy<Value = Reading> {
    let warm = option::of((-10.0..=110.0f64).prop_map(|celsius| Temperature::celsius(settled(celsius))));
    (select(ReadingKind::ALL), 0.0..=1.0f64, any_moment(), warm, any_text()).prop_map(
        |(kind, share, at, temperature, note)| Reading {
            kind,
            value: at_share(kind.spec(), share),
            at,
            temperature,
            note,
        },
    )
}

/// Any lessons a house could have had.
pub fn any_house() -> impl Strategy<Value = House> {
    vec((select(HouseNumber::ALL), 0.0..=1.0f64), 0..12).prop_map(|lessons| {
        let lessons: Vec<Lesson> = lessons
            .into_iter()
            .map(|(number, share)| {
                let observed = match number.field() {
                    Some(field) => at_share(field.spec(), share),
                    None => Amount::in_base(number.dimension(), share + 0.5),
                };
                Lesson::exact(number, observed, Moment::default())
            })
            .collect();
        as_kept(House::learn(&lessons, &Rules::default()))
    })
}

/// The house numbers with as many digits as are kept.
fn as_kept(house: House) -> House {
    let text = text_of(&house);
    Json::of(&text).and_then(crate::json::read).unwrap_or(house)
}

/// Any batch that could be typed: every field of every table, every choice,
/// readings, ticks, texts that need escaping. Numbers have the digits that are
/// kept, so each batch must read back exactly as it is.
pub fn any_batch() -> impl Strategy<Value = Batch> {
    let identity = ("[a-z0-9.-]{1,16}", any_text(), any_text(), any::<bool>(), any_moment());
    let lists = (
        vec(any_text(), 1..4),
        any_text(),
        (subsequence(Salt::ALL, 0..=Salt::ALL.len()), 0..6_usize, vec(any::<bool>(), 0..4)),
        vec((select(MaltClass::ALL), any_text()), 0..5),
        vec((any_text(), select(HopForm::ALL), select(HopTime::ALL)), 0..4),
        vec(any_fruit(), 0..4),
        vec(any_reading(), 0..30),
        (
            vec((select(Step::ALL), any_moment(), any::<bool>()), 0..12),
            vec((any_text(), any_moment(), any_moment(), any::<bool>()), 0..3),
            vec((any_moment(), any_text()), 0..3),
            prop_oneof![Just(String::new()), "[a-z0-9]{1,12}"],
        ),
    );
    let shares = vec(option::of(prop_oneof![8 => 0.0..=1.0f64, 1 => Just(0.0), 1 => Just(1.0)]), 1..97);
    (identity, any_choices(), lists, shares, any_house()).prop_map(
        |(identity, choices, lists, shares, house)| {
            let (id, name, notes, invented, begun) = identity;
            let (
                waters,
                finish,
                (salts, points, rests),
                malts,
                hops,
                fruit,
                readings,
                (ticks, timers, tastings, from),
            ) = lists;
            let malt = |(class, name)| Malt { class, name, numbers: MaltNumbers::default() };
            let hop = |(name, form, time)| Hop { name, form, time, numbers: HopNumbers::default() };
            let mut batch = Batch::new(id, name, begun, house);
            batch.notes = notes;
            batch.invented = invented;
            batch.choices = choices;
            batch.waters = waters.into_iter().map(|name| Water { name, ..Water::default() }).collect();
            batch.own_finish = Water { name: finish, ..Water::default() };
            batch.sample = vec![SampleNumbers::default(); points];
            batch.rests = rests.into_iter().map(|infusion| Rest { infusion, ..Rest::default() }).collect();
            batch.salts = salts.into_iter().map(SaltLine::new).collect();
            batch.grist = malts.into_iter().map(malt).collect();
            batch.hops = hops.into_iter().map(hop).collect();
            batch.fruit = fruit;
            for reading in readings {
                batch.readings.add(reading);
            }
            for (step, at, done) in ticks {
                if done {
                    batch.tick(step, Some(at));
                } else {
                    batch.skip(step, at);
                }
            }
            batch.timers = timers
                .into_iter()
                .map(|(name, from, until, heard)| Timer { name, from, until, heard })
                .collect();
            batch.tastings =
                tastings.into_iter().map(|(at, note)| Tasting { at, note, ..Tasting::default() }).collect();
            batch.from = from;
            fill(&mut batch, &shares);
            batch
        },
    )
}

/// Any batch, saved any number of times, deleted or not.
pub fn any_envelope() -> impl Strategy<Value = Envelope> {
    (any_batch(), any::<u32>(), any_moment(), option::of(any_moment())).prop_map(
        |(data, revision, saved, deleted)| Envelope { revision, saved, deleted, ..Envelope::new(data) },
    )
}

/// An invented batch, brewed to its end: what is typed and measured in a
/// careful brewer's fortnight, sixty readings of it. Without free notes: their
/// length is the person's own affair.
pub fn finished_batch() -> Envelope {
    const BEGUN: i64 = 1_754_294_400;
    const HOUR: i64 = 3_600;
    let lessons: Vec<Lesson> = [
        (HouseNumber::Efficiency, 0.74),
        (HouseNumber::Evaporation, 2.6),
        (HouseNumber::KettleLoss, 1.3),
        (HouseNumber::WortBuffering, 1.08),
        (HouseNumber::SouringSpeed, 1.21),
    ]
    .map(|(number, observed)| {
        Lesson::exact(number, Amount::in_base(number.dimension(), observed), Moment::default())
    })
    .to_vec();
    let mut batch = Batch::new(
        "m5x0c2qk8r1t".to_owned(),
        "Raspberry and plum, late summer".to_owned(),
        Moment::from_seconds(BEGUN),
        as_kept(House::learn(&lessons, &Rules::default())),
    );
    for (field, base) in [
        (Field::BatchVolume, 20.0),
        (Field::WantedGravity, 11.5),
        (Field::MashTemperature, 67.0),
        (Field::SourTemperature, 35.0),
        (Field::SourPh, 3.35),
        (Field::WantedBitterness, 6.0),
        (Field::Carbonation, 2.7),
    ] {
        let _ = Slot::Of(field).set(&mut batch, Some(Amount::in_base(field.spec().dimension, base)));
    }
    for (field, base) in [
        (WaterField::Calcium, 62.0),
        (WaterField::Magnesium, 7.0),
        (WaterField::Sodium, 12.0),
        (WaterField::Chloride, 21.0),
        (WaterField::Sulfate, 35.0),
        (WaterField::Alkalinity, 2.9),
        (WaterField::Ph, 7.6),
    ] {
        let value = Amount::in_base(field.spec().dimension, base);
        let _ = Slot::Water(0, field).set(&mut batch, Some(value));
    }
    for (place, share) in [0.6, 0.35, 0.05].into_iter().enumerate() {
        let class = MaltClass::ALL[place % MaltClass::ALL.len()];
        batch.grist.push(Malt { class, name: String::new(), numbers: MaltNumbers::default() });
        let value = Amount::in_base(MaltField::Share.spec().dimension, share);
        let _ = Slot::Malt(place, MaltField::Share).set(&mut batch, Some(value));
    }
    batch.hops.push(Hop::default());
    for (field, base) in [(HopField::Alpha, 0.052), (HopField::Minutes, 30.0)] {
        let value = Amount::in_base(field.spec().dimension, base);
        let _ = Slot::Hop(0, field).set(&mut batch, Some(value));
    }
    for (place, mass) in [2_500.0, 1_500.0].into_iter().enumerate() {
        let fruit = Fruit::ALL[place % Fruit::ALL.len()];
        batch.fruit.push(FruitAddition {
            fruit,
            form: FruitForm::default(),
            own: false,
            name: String::new(),
            preserved: Preserved::No,
            place: FruitPlace::Fermenter,
            numbers: FruitNumbers::default(),
        });
        let value = Amount::in_base(FruitField::Mass.spec().dimension, mass);
        let _ = Slot::Fruit(place, FruitField::Mass).set(&mut batch, Some(value));
    }
    for (place, &step) in Step::ALL.iter().enumerate() {
        batch.tick(step, Some(Moment::from_seconds(BEGUN + 20 * HOUR * place as i64 + 97)));
    }
    // Day one: acid in two parts each, volumes and gravities.
    let mut add = |kind: ReadingKind, minutes: i64, value: f64| {
        batch.readings.add(Reading {
            kind,
            value: Amount::in_base(kind.spec().dimension, value),
            at: Moment::from_seconds(BEGUN + minutes * 60 + 31),
            temperature: None,
            note: String::new(),
        });
    };
    for (kind, minutes, value) in [
        (ReadingKind::MashPh, 15, 5.62),
        (ReadingKind::MashAcid, 17, 0.004),
        (ReadingKind::MashPh, 24, 5.43),
        (ReadingKind::PreBoilVolume, 110, 25.5),
        (ReadingKind::PreBoilGravity, 112, 10.4),
        (ReadingKind::WortPh, 150, 5.38),
        (ReadingKind::DropAcid, 152, 0.012),
        (ReadingKind::WortPh, 157, 4.71),
        (ReadingKind::DropAcid, 158, 0.004),
        (ReadingKind::WortPh, 163, 4.49),
        (ReadingKind::SourAcidity, 2_800, 6.8),
        (ReadingKind::PostBoilVolume, 2_900, 22.8),
        (ReadingKind::OriginalGravity, 2_905, 11.4),
        (ReadingKind::FermenterVolume, 2_950, 20.5),
        (ReadingKind::BeerPh, 10_000, 3.41),
        (ReadingKind::BeerPh, 14_500, 3.36),
        (ReadingKind::PackagedVolume, 20_000, 19.2),
    ] {
        add(kind, minutes, value);
    }
    // Souring, every two hours by day; then fermentation, twice a day.
    for place in 0..22_i64 {
        add(ReadingKind::SourPh, 180 + 117 * place, ((4.49 - 0.05 * place as f64) * 100.0).round() / 100.0);
    }
    for place in 0..9_i64 {
        add(ReadingKind::SourTemperature, 185 + 290 * place, 35.0 - 0.5 * (place % 3) as f64);
    }
    for place in 0..12_i64 {
        let gravity = 2.2 + 9.2 * (-0.45 * place as f64).exp();
        add(ReadingKind::Gravity, 3_600 + 731 * place, (gravity * 10.0).round() / 10.0);
    }
    let saved = Moment::from_seconds(BEGUN + 16 * 24 * HOUR);
    Envelope { revision: 143, saved, ..Envelope::new(batch) }
}

/// An invented souring that somebody watches closely: sixty readings of its pH.
pub fn watched_souring() -> Batch {
    let mut batch = crate::demo::demo("watched".to_owned(), Moment::from_seconds(1_754_294_400));
    let at = |minutes: i64| Moment::from_seconds(1_754_294_400 + 60 * minutes);
    batch.tick(Step::AcidDrop, Some(at(300)));
    batch.tick(Step::Culture, Some(at(305)));
    let mut add = |kind: ReadingKind, minutes: i64, value: f64| {
        let value = Amount::in_base(kind.spec().dimension, value);
        batch.readings.add(Reading { kind, value, at: at(minutes), temperature: None, note: String::new() });
    };
    add(ReadingKind::WortPh, 280, 5.31);
    add(ReadingKind::DropAcid, 285, 0.012);
    add(ReadingKind::WortPh, 295, 4.52);
    for place in 0..60 {
        let ph = 3.38 + 1.14 * (-0.045 * f64::from(place)).exp();
        add(ReadingKind::SourPh, 310 + 60 * i64::from(place), (ph * 100.0).round() / 100.0);
    }
    batch
}
