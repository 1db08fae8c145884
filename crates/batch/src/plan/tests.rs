//! The plan as a whole: total, sound, and in step with physics and readings.

use super::*;
use crate::demo::demo;
use crate::document::{Batch, Field, FruitField, MaltField, Reading, Slot, Step, WaterField};
use crate::house::House;
use crate::moment::Moment;
use crate::report::plan_json;
use crate::say::Piece;
use crate::testing::any_batch;
use calc::quantity::{Amount, Duration, Ph};
use proptest::prelude::*;

fn example() -> Batch {
    let mut batch = demo("x".to_owned(), Moment::from_seconds(1_000_000));
    batch.invented = false;
    batch
}

fn with(batch: &Batch, slot: Slot, value: f64) -> Batch {
    let mut changed = batch.clone();
    slot.set(&mut changed, Some(Amount::in_base(slot.spec().dimension, value))).unwrap();
    changed
}

fn number(batch: &Batch, figure: Figure) -> f64 {
    figure.of(&plan(batch).figures).unwrap_or_else(|why| panic!("{figure:?}: {why:?}")).value.base()
}

fn read(batch: &mut Batch, kind: ReadingKind, value: f64, at_hours: f64) {
    batch.readings.add(Reading {
        kind,
        value: Amount::in_base(kind.spec().dimension, value),
        at: batch.begun + Duration::hours(at_hours),
        temperature: None,
        note: String::new(),
    });
}

/// A null in the report is a number that was none.
fn has_no_null(value: &serde_json::Value) -> bool {
    match value {
        serde_json::Value::Null => false,
        serde_json::Value::Array(items) => items.iter().all(has_no_null),
        serde_json::Value::Object(entries) => entries.iter().all(|(key, value)| {
            // Weights and shares of malts and the verdict may be unknown, and say so by null.
            matches!(key.as_str(), "mass_g" | "share_percent" | "burst_check") || has_no_null(value)
        }),
        _ => true,
    }
}

fn all_in_order(batch: &Batch) {
    let plan = plan(batch);
    for &figure in Figure::ALL {
        if let Ok(shown) = figure.of(&plan.figures) {
            let (low, value, high) = (shown.low.base(), shown.value.base(), shown.high.base());
            assert!(
                low.is_finite() && high.is_finite() && low <= value && value <= high,
                "{figure:?} {shown:?}"
            );
        }
    }
    assert!(has_no_null(&plan_json(batch, &plan, batch.begun)));
}

#[test]
fn a_wort_that_was_read_to_be_water_has_no_share_of_its_extract() {
    for gravity in [0.0, 5e-324, 1e-300, 1e-9] {
        let mut batch = example();
        read(&mut batch, ReadingKind::PreBoilVolume, 25.0, 1.0);
        read(&mut batch, ReadingKind::PreBoilGravity, gravity, 1.0);
        assert!(plan(&batch).figures.kettle_share().is_err());
        all_in_order(&batch);
    }
}

#[test]
fn next_to_no_pulp_teaches_nothing_of_pulp() {
    for grams in [5e-324, 1e-300, 1e-9] {
        let mut batch = with(&example(), Slot::Fruit(0, FruitField::Mass), grams);
        batch.fruit.truncate(1);
        read(&mut batch, ReadingKind::FermenterVolume, 20.0, 10.0);
        read(&mut batch, ReadingKind::PackagedVolume, 15.0, 400.0);
        assert_eq!(plan(&batch).pulp_kept, None);
        all_in_order(&batch);
    }
}

#[test]
fn a_beer_brewed_of_water_has_no_attenuation() {
    for gravity in [0.0, 5e-324, 1e-300, 1e-9] {
        let mut batch = example();
        read(&mut batch, ReadingKind::OriginalGravity, gravity, 2.0);
        read(&mut batch, ReadingKind::Gravity, -1.0, 50.0);
        assert!(plan(&batch).figures.attenuation_now().is_err());
        all_in_order(&batch);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn every_sound_document_plans_without_a_panic_or_a_number_that_is_none(batch in any_batch(), hours in -100.0..2000.0f64) {
        prop_assert!(batch.check().is_ok());
        let plan = plan(&batch);
        for &figure in Figure::ALL {
            if let Ok(shown) = figure.of(&plan.figures) {
                let (low, value, high) = (shown.low.base(), shown.value.base(), shown.high.base());
                prop_assert!(low.is_finite() && high.is_finite(), "{figure:?} {shown:?}");
                prop_assert!(low <= value && value <= high, "{figure:?} {shown:?}");
            }
        }
        for point in &plan.course {
            prop_assert!(point.low.is_finite() && point.value.is_finite() && point.high.is_finite() && point.at.is_finite());
        }
        for lesson in &plan.lessons {
            prop_assert!(lesson.observed.is_finite(), "{lesson:?}");
        }
        let now = batch.begun + Duration::hours(hours);
        prop_assert!(!next_move(&batch, &plan, now).says.is_empty());
        prop_assert!(has_no_null(&plan_json(&batch, &plan, now)));
    }

    #[test]
    fn more_beer_takes_more_of_everything(litres in 8.0..30.0f64) {
        let volume = Slot::Of(Field::BatchVolume);
        let (less, more) = (with(&example(), volume, litres), with(&example(), volume, litres + 1.0));
        for figure in [Figure::TotalWater, Figure::GristMass, Figure::MashAcid, Figure::DropAcid, Figure::YeastCells] {
            prop_assert!(number(&more, figure) > number(&less, figure), "{figure:?}");
        }
        prop_assert!(number(&more, Figure::BitternessFigure) < number(&less, Figure::BitternessFigure));
    }

    #[test]
    fn more_fruit_brings_more_sugar_acid_and_volume_and_leaves_less_room(grams in 100.0..5000.0f64) {
        let mass = Slot::Fruit(0, FruitField::Mass);
        let (less, more) = (with(&example(), mass, grams), with(&example(), mass, grams + 100.0));
        for figure in [Figure::FruitSugar, Figure::FruitedVolume, Figure::FruitedAcidity] {
            prop_assert!(number(&more, figure) > number(&less, figure), "{figure:?}");
        }
        for figure in [Figure::RoomLeft, Figure::FruitedBitterness] {
            prop_assert!(number(&more, figure) < number(&less, figure), "{figure:?}");
        }
    }

    #[test]
    fn the_day_leads_to_the_beer_and_the_gravity_wanted(litres in 8.0..40.0f64, plato in 6.0..18.0f64) {
        let batch = with(&with(&example(), Slot::Of(Field::BatchVolume), litres), Slot::Of(Field::WantedGravity), plato);
        let batch = with(&batch, Slot::Of(Field::KettleVolume), 120.0);
        prop_assert!((number(&batch, Figure::FermenterVolume) - litres).abs() < 1e-6 * litres);
        prop_assert!((number(&batch, Figure::OriginalGravity) - plato).abs() < 1e-6 * plato);
    }

    #[test]
    fn weights_and_shares_give_the_same_day(litres in 8.0..40.0f64) {
        let by_shares = with(&example(), Slot::Of(Field::BatchVolume), litres);
        let planned = plan(&by_shares);
        let mut by_weights = by_shares.clone();
        by_weights.choices.grist_by = crate::document::GristBy::Weights;
        for (place, line) in planned.malts.iter().enumerate() {
            let mass = line.mass.unwrap().as_grams();
            by_weights = with(&by_weights, Slot::Malt(place, MaltField::Mass), mass);
        }
        for figure in [Figure::TotalWater, Figure::OriginalGravity, Figure::FermenterVolume] {
            let (one, other) = (number(&by_shares, figure), number(&by_weights, figure));
            prop_assert!((one - other).abs() < 1e-6 * one, "{figure:?} {one} {other}");
        }
    }
}

#[test]
fn an_empty_batch_says_what_it_waits_for() {
    let batch = Batch::new("x".to_owned(), "new".to_owned(), Moment::default(), Default::default());
    let plan = plan(&batch);
    assert_eq!(plan.figures.total_water(), Err(Unknown::NoGrist));
    assert!(plan.figures.keg_pressure().is_ok());
    assert!(plan.warnings.is_empty());
    assert_eq!(next_move(&batch, &plan, Moment::default()).stage, Stage::Grist);
}

#[test]
fn a_reading_replaces_the_prediction_and_all_that_follows_from_it() {
    let mut batch = example();
    let before = number(&batch, Figure::OriginalGravity);
    read(&mut batch, ReadingKind::PreBoilGravity, 12.5, 2.0);
    read(&mut batch, ReadingKind::PreBoilVolume, 22.0, 2.0);
    let plan = plan(&batch);
    let gravity = plan.figures.pre_boil_gravity().unwrap();
    assert_eq!(gravity.origin, Origin::Measured);
    assert!((gravity.estimate.value.as_degrees() - 12.5).abs() < 1e-9);
    assert!(number(&batch, Figure::OriginalGravity) > before + 1.0);
    assert!(plan.lessons.iter().any(|lesson| lesson.number == crate::house::HouseNumber::Efficiency));
}

#[test]
fn a_mash_reading_gives_the_correction_still_worth_making() {
    let mut batch = example();
    read(&mut batch, ReadingKind::MashAcid, 0.003, 1.0);
    read(&mut batch, ReadingKind::MashPh, 5.6, 1.2);
    let high = number(&batch, Figure::MashAcid);
    read(&mut batch, ReadingKind::MashAcid, 0.002, 1.3);
    read(&mut batch, ReadingKind::MashPh, 5.45, 1.5);
    let low = number(&batch, Figure::MashAcid);
    assert!(high > low && low > 0.0, "{high} {low}");
    assert_eq!(plan(&batch).figures.mash_ph().unwrap().estimate.value, Ph::new(5.45));
}

#[test]
fn a_dose_and_its_reading_narrow_the_buffering_and_the_next_dose_does_not_pass() {
    let mut batch = example();
    read(&mut batch, ReadingKind::WortPh, 5.3, 5.0);
    let before = plan(&batch).figures.buffering().unwrap().estimate;
    let dose = plan(&batch).figures.next_dose().unwrap().estimate.value;
    let whole = plan(&batch).figures.drop_acid().unwrap().estimate;
    assert!(dose <= whole.value, "the first dose is a safe part of the whole");
    read(&mut batch, ReadingKind::DropAcid, dose.as_litres(), 5.1);
    let poured = plan(&batch).figures.wort_ph().unwrap();
    assert_eq!(poured.origin, Origin::Predicted);
    assert!(poured.estimate.value < Ph::new(5.3));
    read(&mut batch, ReadingKind::WortPh, 4.75, 5.2);
    let after = plan(&batch).figures.buffering().unwrap().estimate;
    assert!(after.deviation() < before.deviation());
}

#[test]
fn souring_readings_narrow_the_forecast() {
    let mut batch = example();
    batch.tick(Step::AcidDrop, Some(batch.begun + Duration::hours(6.0)));
    batch.tick(Step::Culture, Some(batch.begun + Duration::hours(6.0)));
    let width = |batch: &Batch| {
        let time = plan(batch).figures.sour_time().unwrap().estimate;
        time.high - time.low
    };
    read(&mut batch, ReadingKind::WortPh, 4.5, 5.9);
    let before = width(&batch);
    read(&mut batch, ReadingKind::SourPh, 4.2, 26.0);
    read(&mut batch, ReadingKind::SourPh, 3.8, 40.0);
    assert!(width(&batch) < before);
}

#[test]
fn the_usual_practice_comes_out() {
    let batch = example();
    let days = number(&batch, Figure::SourTime) / 1440.0;
    assert!((1.5..=5.0).contains(&days), "near 24 °C pH 3.4 comes in a few days: {days}");
    assert_eq!(Field::MashOut.spec().assumed.unwrap().0.base(), 77.0);
    assert_eq!(Field::DropPh.spec().assumed.unwrap().0.base(), 4.5);
    assert_eq!(Field::ClearBoil.spec().assumed.unwrap().0.base(), 15.0);
    assert!(Field::FermentPressure.spec().assumed.unwrap().0.base() < 14.0);
}

#[test]
fn a_kettle_that_boils_dry_and_a_vessel_that_runs_over_are_stops() {
    let dry = with(&with(&example(), Slot::Of(Field::Evaporation), 20.0), Slot::Of(Field::MainBoil), 240.0);
    // The plan adds the water such a boil needs: the kettle cannot hold it.
    assert!(plan(&dry).warnings.iter().any(|w| w.level == Level::Stop));
    let mut read_low = dry.clone();
    read(&mut read_low, ReadingKind::PreBoilVolume, 20.0, 2.0);
    assert_eq!(plan(&read_low).figures.original_gravity(), Err(Unknown::BoiledDry));
    let full = with(&example(), Slot::Fruit(0, FruitField::Mass), 30_000.0);
    let stops: Vec<Stage> =
        plan(&full).warnings.iter().filter(|w| w.level == Level::Stop).map(|w| w.stage).collect();
    assert!(stops.contains(&Stage::Fruit), "{stops:?}");
}

#[test]
fn a_report_that_does_not_balance_is_named() {
    let wrong = with(&example(), Slot::Water(0, WaterField::Sulfate), 300.0);
    assert!(plan(&wrong).warnings.iter().any(|w| w.stage == Stage::Water && w.level == Level::Caution));
    assert!(!plan(&example()).warnings.iter().any(|w| w.stage == Stage::Water && w.level == Level::Caution));
}

#[test]
fn a_package_is_safe_only_after_a_stable_gravity() {
    let mut batch = example();
    batch.tick(Step::PastPeak, Some(batch.begun + Duration::hours(200.0)));
    batch.tick(Step::FruitIn, Some(batch.begun + Duration::hours(201.0)));
    read(&mut batch, ReadingKind::Gravity, 4.0, 210.0);
    let early = plan(&batch).verdict.unwrap().0;
    assert_eq!(early, calc::brew::package::Verdict::Stop);
    read(&mut batch, ReadingKind::Gravity, 2.5, 300.0);
    read(&mut batch, ReadingKind::Gravity, 2.5, 380.0);
    let late = plan(&batch).verdict.unwrap().0;
    assert!(late < early, "{late:?} {:?}", plan(&batch).verdict);
}

#[test]
fn either_instrument_tells_gravity_and_alcohol() {
    let mut batch = example();
    read(&mut batch, ReadingKind::PreBoilBrix, 10.4, 2.0);
    assert!((number(&batch, Figure::PreBoilGravity) - 10.0).abs() < 1e-9, "10.4 °Bx over a factor of 1.04");
    read(&mut batch, ReadingKind::OriginalGravity, 11.5, 100.0);
    read(&mut batch, ReadingKind::Gravity, 3.0, 200.0);
    let hydrometer = number(&batch, Figure::AlcoholNow);
    assert!((number(&batch, Figure::AttenuationNow) - (1.0 - 3.0 / 11.5)).abs() < 1e-6);
    // The refractometer reading that belongs to this beer, found by trying, gives the same alcohol.
    let brix = (50..100).map(|tenths| f64::from(tenths) / 10.0).find(|&brix| {
        let mut other = batch.clone();
        read(&mut other, ReadingKind::Brix, brix, 201.0);
        number(&other, Figure::GravityNow) >= 3.0
    });
    read(&mut batch, ReadingKind::Brix, brix.unwrap(), 201.0);
    assert!((number(&batch, Figure::AlcoholNow) - hydrometer).abs() < 0.002);
}

#[test]
fn acidulated_malt_gives_the_same_charge_as_the_acid() {
    let figures = plan(&example()).figures;
    let malt = figures.mash_acid_malt().unwrap().estimate.value.as_grams();
    let acid = figures.mash_acid().unwrap().estimate.value.as_millilitres();
    // 80 % lactic gives 10.2 mEq/mL at pH 5.4, the malt 247 mEq/kg: one millilitre is about 41 g.
    assert!((35.0..50.0).contains(&(malt / acid)), "{malt} g for {acid} mL");
}

#[test]
fn a_finished_batch_has_a_last_word() {
    let mut batch = example();
    for &step in Step::ALL {
        batch.tick(step, Some(batch.begun));
    }
    let next = next_move(&batch, &plan(&batch), batch.begun);
    assert_eq!(next.step, None);
}

#[test]
fn a_mash_reading_teaches_the_malts_shift_whatever_acid_was_in() {
    let lesson = |batch: &Batch| {
        let number = crate::house::HouseNumber::MashPhShift;
        plan(batch)
            .lessons
            .into_iter()
            .find(|lesson| lesson.number == number)
            .map(|lesson| lesson.observed.base())
    };
    let mut as_tabled = example();
    read(&mut as_tabled, ReadingKind::MashPh, number(&example(), Figure::MashPhPlain), 1.0);
    assert!(lesson(&as_tabled).unwrap().abs() < 1e-4, "a mash that reads as predicted teaches nothing");
    // The acid asked for, and the pH it was asked for: as tabled again.
    let mut with_acid = example();
    read(&mut with_acid, ReadingKind::MashAcid, number(&example(), Figure::MashAcid), 0.9);
    read(&mut with_acid, ReadingKind::MashPh, 5.4, 1.0);
    assert!(lesson(&with_acid).unwrap().abs() < 1e-3, "{:?}", lesson(&with_acid));
    let mut higher = with_acid.clone();
    higher.readings.remove(1);
    read(&mut higher, ReadingKind::MashPh, 5.5, 1.0);
    assert!(lesson(&higher).unwrap() > 0.1, "the malts pull harder than the mash shows");
}

#[test]
fn two_offers_lead_from_nothing_to_the_first_amount() {
    let mut batch = Batch::new("new".to_owned(), String::new(), Moment::default(), House::default());
    let mut taken = Vec::new();
    while let Some(offer) = next_move(&batch, &plan(&batch), Moment::default()).offer {
        assert!(!taken.contains(&offer), "{offer:?} changed nothing");
        offer.take(&mut batch);
        taken.push(offer);
    }
    assert_eq!(taken, [Offer::UsualGrist, Offer::DistilledOnly]);
    assert_eq!(batch.check(), Ok(()));
    let next = next_move(&batch, &plan(&batch), Moment::default());
    assert_eq!(next.step, Some(Step::Salts));
    assert!(next.says.iter().any(|piece| matches!(piece, Piece::Amount(_))), "{:?}", next.says);
}

#[test]
fn a_drop_that_nobody_read_counts_as_done_to_its_aim() {
    let planned = example();
    let mut ticked = planned.clone();
    ticked.tick(Step::AcidDrop, Some(Moment::from_seconds(1_020_000)));
    assert_eq!(number(&ticked, Figure::SourTime), number(&planned, Figure::SourTime));
}
