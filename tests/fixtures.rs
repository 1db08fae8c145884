//! Old texts stay readable for ever.
//!
//! `fixtures/` holds what versions of the app wrote, one set per schema, and
//! `fixtures/refused/` what cannot be read, each named after its error. Files
//! there are never changed. After raising the schema, write the new set:
//!
//! ```text
//! cargo test -p checks --test fixtures -- --ignored
//! ```
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops where it fails")]

use batch::document::{
    Batch, Chiller, Field, FruitAddition, FruitForm, FruitPlace, Gas, GristBy, Hop, HopTime, MOST_ITEMS,
    Malt, Preserved, Reading, ReadingKind, Rest, SaltLine, Slot, Spec, Step, Tasting, Timer, Water,
};
use batch::house::{House, HouseNumber, Lesson, Rules};
use batch::keep::{
    Action, Envelope, KeepError, Keepsake, Opened, Peeked, SCHEMA, decode, encode, merge, peek, preview,
    read, stored_text, write,
};
use batch::moment::Moment;
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
use calc::quantity::{Amount, Concentration, Mass, Temperature};
use std::path::PathBuf;

const BEGUN: Moment = Moment::from_seconds(1_754_300_000);

fn place(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

fn fixture(name: &str) -> String {
    std::fs::read_to_string(place(name)).unwrap_or_else(|error| panic!("fixtures/{name}: {error}"))
}

fn opened(text: &str) -> Envelope {
    match decode(text) {
        Ok(Opened::Current(envelope)) => *envelope,
        other => panic!("{other:?}"),
    }
}

/// A value of the field's range that shows which field it is.
fn at(spec: &Spec, share: f64) -> Amount {
    let (low, high) = (spec.low.base(), spec.high.base());
    Amount::in_base(spec.dimension, ((low + share * (high - low)) * 1e4).round() / 1e4)
}

/// The nth of an enum's values, round and round.
fn nth<T: Copy>(all: &[T], n: usize) -> T {
    all[n % all.len()]
}

/// How many batches it takes to have every value of every enum.
fn batches() -> usize {
    let lists = [MaltClass::ALL.len(), Fruit::ALL.len()].map(|count| count.div_ceil(MOST_ITEMS));
    let choices =
        [Finish::ALL.len(), AcidKind::ALL.len(), Culture::ALL.len(), PackageKind::ALL.len(), Form::ALL.len()];
    lists.into_iter().chain(choices).max().unwrap_or(1)
}

/// Batches that together have every field, every enum value, every kind of
/// reading and every step of this schema.
fn full(n: usize) -> Envelope {
    use FruitForm::{Concentrate, Dried, Frozen, Juice, Puree, Whole};
    let lessons = HouseNumber::ALL.iter().map(|&number| {
        let observed = match number.field() {
            Some(field) => at(field.spec(), 0.4),
            None => Amount::in_base(number.dimension(), 1.1),
        };
        Lesson::exact(number, observed, BEGUN)
    });
    let mut batch = Batch::new(
        format!("full-{n}"),
        format!("Every field, “{n}”"),
        BEGUN,
        House::learn(&lessons.collect::<Vec<_>>(), &Rules::default()),
    );
    batch.invented = n == 0;
    batch.notes = "Line one\nline \"two\" \\ é 😀".to_owned();
    batch.choices.finish = nth(Finish::ALL, n);
    batch.choices.softening = nth(Softening::ALL, n);
    batch.choices.disinfectant = nth(Disinfectant::ALL, n);
    batch.choices.sulfite = nth(Sulfite::ALL, n);
    batch.choices.compensation = nth(Compensation::ALL, n + 1);
    batch.choices.acid = nth(AcidKind::ALL, n);
    batch.choices.culture = nth(Culture::ALL, n);
    batch.choices.package = nth(PackageKind::ALL, n);
    batch.choices.gas = nth(Gas::ALL, n + 1);
    batch.choices.grist_by = nth(&[GristBy::Weights, GristBy::Shares], n);
    batch.waters =
        ["My water", "The other"].map(|name| Water { name: name.to_owned(), ..Water::default() }).to_vec();
    batch.sample = vec![Default::default(); 3];
    batch.choices.form = nth(Form::ALL, n);
    batch.own_finish.name = "My finish".to_owned();
    batch.salts = Salt::ALL.iter().map(|&salt| SaltLine::new(salt)).collect();
    let malts = MaltClass::ALL.chunks(MOST_ITEMS).cycle().nth(n).unwrap_or_default();
    batch.grist = malts
        .iter()
        .map(|&class| Malt { class, name: "My malt".to_owned(), numbers: Default::default() })
        .collect();
    batch.choices.chiller = nth(Chiller::ALL, n);
    batch.choices.yeast = nth(YeastForm::ALL, n);
    batch.rests = vec![Rest { infusion: true, ..Rest::default() }, Rest::default()];
    batch.hops = (0..HopTime::ALL.len().max(HopForm::ALL.len()))
        .map(|n| Hop {
            name: "My hop".to_owned(),
            form: nth(HopForm::ALL, n),
            time: nth(HopTime::ALL, n),
            ..Hop::default()
        })
        .collect();
    let forms = [Whole, Frozen, Puree, Juice, Concentrate, Dried];
    let fruit = Fruit::ALL.chunks(MOST_ITEMS).cycle().nth(n).unwrap_or_default();
    batch.fruit = fruit
        .iter()
        .enumerate()
        .map(|(place, &fruit)| FruitAddition {
            fruit,
            form: nth(&forms, place),
            own: place % 3 == 1,
            name: "My fruit".to_owned(),
            preserved: nth(Preserved::ALL, place),
            place: nth(FruitPlace::ALL, place),
            numbers: Default::default(),
        })
        .collect();
    batch.timers = [false, true]
        .map(|heard| Timer { name: "Mash".to_owned(), from: BEGUN, until: BEGUN, heard })
        .to_vec();
    batch.tastings = vec![Tasting { at: BEGUN, note: "Bright".to_owned(), ..Tasting::default() }];
    batch.from = "another".to_owned();
    for (place, slot) in Slot::all(&batch).collect::<Vec<_>>().into_iter().enumerate() {
        slot.set(&mut batch, Some(at(slot.spec(), 0.2 + 0.01 * (place % 60) as f64))).unwrap();
    }
    for (place, &kind) in ReadingKind::ALL.iter().enumerate() {
        for again in 0..3 {
            batch.readings.add(Reading {
                kind,
                value: at(kind.spec(), 0.3 + 0.1 * again as f64),
                at: Moment::from_seconds(BEGUN.as_seconds() + 3_600 * place as i64 + 60 * again),
                temperature: (again > 0).then_some(Temperature::celsius(21.5)),
                note: if again > 1 { "after stirring".to_owned() } else { String::new() },
            });
        }
    }
    for (place, &step) in Step::ALL.iter().enumerate() {
        let at = Moment::from_seconds(BEGUN.as_seconds() + 5_000 * place as i64);
        if place % 8 == 5 {
            batch.skip(step, at);
        } else {
            batch.tick(step, Some(at));
        }
    }
    let envelope = Envelope { app: "0.1.0".to_owned(), revision: 7, saved: BEGUN, ..Envelope::new(batch) };
    // As it is kept: house numbers have more digits than that.
    opened(&encode(&envelope).unwrap())
}

#[test]
#[ignore = "writes the files of a new schema; never over old ones"]
fn write_the_fixtures_of_this_schema() {
    let all: Vec<Envelope> = (0..batches()).map(full).collect();
    let files = [
        (format!("batch-schema-{SCHEMA}.json"), encode(&all[0]).unwrap()),
        (format!("batch-schema-{SCHEMA}.packed"), stored_text(&all[0]).unwrap()),
        (format!("keepsake-schema-{SCHEMA}.json"), write(&all, BEGUN).unwrap()),
    ];
    for (name, text) in files {
        if !place(&name).exists() {
            std::fs::write(place(&name), text).unwrap();
        }
    }
}

#[test]
fn the_newest_fixtures_hold_all_there_is() {
    let expected: Vec<Envelope> = (0..batches()).map(full).collect();
    for name in [format!("batch-schema-{SCHEMA}.json"), format!("batch-schema-{SCHEMA}.packed")] {
        assert_eq!(opened(&fixture(&name)), expected[0], "{name}");
    }
    let keepsake = read(&fixture(&format!("keepsake-schema-{SCHEMA}.json"))).unwrap();
    assert_eq!(keepsake.batches, expected);
    assert!(Slot::all(&expected[0].data).all(|slot| slot.get(&expected[0].data).is_some()));
}

#[test]
fn every_schema_has_its_fixtures_and_they_are_read() {
    for schema in 1..=SCHEMA {
        let batch = fixture(&format!("batch-schema-{schema}.json"));
        let packed = fixture(&format!("batch-schema-{schema}.packed"));
        assert_eq!(opened(&batch), opened(&packed));
        assert!(matches!(peek(&batch), Ok(Peeked::Current(_))));
        let keepsake = read(&fixture(&format!("keepsake-schema-{schema}.json"))).unwrap();
        assert_eq!(keepsake.damaged, []);
        assert_eq!(keepsake.newer, []);
        assert_eq!(keepsake.batches[0], opened(&batch));
    }
}

/// What schema 1 said, in numbers of its own: tables and defaults may change, this may not.
#[test]
fn schema_1_still_means_what_it_meant() {
    let Envelope { app, revision, saved, deleted, data } = opened(&fixture("batch-schema-1.json"));
    assert_eq!((app.as_str(), revision, saved, deleted), ("0.1.0", 7, BEGUN, None));
    assert_eq!((data.id.as_str(), data.name.as_str(), data.begun), ("full-0", "Every field, “0”", BEGUN));
    assert_eq!(data.notes, "Line one\nline \"two\" \\ é 😀");
    assert!(data.invented);
    assert_eq!(data.choices.gas, Gas::PrimingSucrose);
    assert_eq!(data.salts.iter().map(|line| line.salt).collect::<Vec<_>>(), [Salt::Gypsum]);
    assert_eq!(data.salts[0].numbers.locked(), Some(Mass::grams(2.5)));
    assert_eq!(data.waters.len(), 1);
    assert_eq!(data.waters[0].numbers.calcium(), Some(Concentration::mg_per_l(330.0)));
    for (field, base) in [
        (Field::BatchVolume, 15.2),
        (Field::WantedGravity, 8.41),
        (Field::MashTemperature, 53.49),
        (Field::Carbonation, 3.29),
    ] {
        assert_eq!(field.get(&data.numbers).map(|amount| amount.base()), Some(base), "{field:?}");
    }
    assert_eq!(data.ticked(Step::Packaged), Some(Moment::from_seconds(1_754_380_000)));
    let last = data.readings.last(ReadingKind::SourPh).unwrap();
    assert_eq!((last.value.base(), last.temperature), (4.75, Some(Temperature::celsius(21.5))));
    assert_eq!((last.note.as_str(), last.at), ("after stirring", Moment::from_seconds(1_754_325_320)));
}

#[test]
fn a_keepsake_that_stops_too_early_is_refused_whole() {
    let refused = read(&fixture("refused/cut-short.json")).unwrap_err();
    assert!(matches!(refused, KeepError::CutShort { .. }));
    assert!(refused.to_string().contains("Nothing was changed"));
}

#[test]
fn what_is_no_keepsake_is_refused_by_its_name() {
    assert!(matches!(read(&fixture("refused/not-json.json")), Err(KeepError::NotJson { line: 3, .. })));
    assert_eq!(read(&fixture("refused/not-a-keepsake.json")), Err(KeepError::NotAKeepsake));
    assert_eq!(read(&fixture("refused/newer-keepsake.json")), Err(KeepError::NewerKeepsake(2)));
    assert_eq!(
        read(&fixture("refused/unknown-field.json")),
        Err(KeepError::UnknownField("shelves".to_owned()))
    );
}

#[test]
fn a_newer_batch_is_kept_beside_those_that_can_be_read() {
    let keepsake = read(&fixture("newer-schema.json")).unwrap();
    assert_eq!(names(&keepsake), ["Plain gose"]);
    let newer = &keepsake.newer[0];
    assert_eq!(
        (newer.schema, newer.id.as_deref(), newer.name.as_deref()),
        (999, Some("n1"), Some("From years to come"))
    );
    assert!(newer.raw.contains("kettles"));
}

#[test]
fn one_corrupt_record_does_not_spoil_the_book() {
    let keepsake = read(&fixture("corrupt-record.json")).unwrap();
    assert_eq!(names(&keepsake), ["Plain gose", "Cherry"]);
    let why: Vec<&KeepError> = keepsake.damaged.iter().map(|damaged| &damaged.why).collect();
    assert!(
        matches!(
            why[..],
            [
                KeepError::Damaged(_),
                KeepError::Document(_),
                KeepError::UnknownField(_),
                KeepError::NotAnEnvelope
            ]
        ),
        "{why:?}"
    );
    assert_eq!(keepsake.damaged[0].name.as_deref(), Some("Torn"));
    let lines = preview(&[], &keepsake);
    assert!(lines.iter().all(|line| line.action == Action::Add));
    assert_eq!(merge(&[], &keepsake).onto(Vec::new()).len(), 2);
}

fn names(keepsake: &Keepsake) -> Vec<&str> {
    keepsake.batches.iter().map(|envelope| envelope.data.name.as_str()).collect()
}
