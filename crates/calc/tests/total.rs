//! Whatever finite numbers go in, an answer or an error comes out: never NaN, never an infinity.

use calc::brew::bitterness::{BoilingWort, HopCharge, isomerised, rager, tinseth};
use calc::brew::extract::{
    apparent_extract, correction_factor, fermented, fermented_after_souring, hydrometer, hydrometer_as_water,
    original_extract, refractometer_beer, refractometer_wort,
};
use calc::brew::ferment::{cells_to_pitch, dry_yeast, outcome, spunding, starter_cells};
use calc::brew::fruit::{FruitForm, FruitLoad, effect, fruited_ph, room_left};
use calc::brew::grist::{
    Day, MaltYield, extract_of, grist_for, mash_fit, runoff_needed, runoff_of, shares, water_for,
};
use calc::brew::heat::{boiled_off, boiling_point, boiling_point_at, heating_time, mash_temperature, strike};
use calc::brew::ledger::Wort;
use calc::brew::package::{BurstQuestion, PackageKind, PrimingSugar, burst_check, priming, residual};
use calc::chem::gas::{dissolved, in_water, pressure_for};
use calc::data::fruits::{Fruit, FruitAcid};
use calc::quantity::*;
use proptest::prelude::*;
use std::fmt::Debug;

/// Numbers a person may type, and numbers nobody should.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => 0.0..120.0f64,
        2 => 0.0..1.2f64,
        1 => -100.0..0.0f64,
        1 => Just(0.0),
        1 => -1e6..1e6f64,
    ]
}

fn sound(name: &str, answer: impl Debug) -> Result<(), TestCaseError> {
    let text = format!("{answer:?}");
    // An error may carry what was typed; that is finite too.
    prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{} gave {}", name, text);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn every_answer_is_finite(
        a in number(), b in number(), c in number(), d in number(), e in number(),
        place in 0..Fruit::ALL.len(), kind in 0usize..4, form in 0usize..6,
    ) {
        let celsius = Temperature::celsius;
        let plato = Plato::degrees;
        let litres = Volume::litres;
        let sg = SpecificGravity::ratio;
        let share = Fraction::of_one;
        let minutes = Duration::minutes;

        sound("hydrometer", hydrometer(sg(a), celsius(b), celsius(c)))?;
        sound("hydrometer_as_water", hydrometer_as_water(sg(a), celsius(b), celsius(c)))?;
        sound("correction_factor", correction_factor(plato(a), plato(b)))?;
        sound("refractometer_wort", refractometer_wort(plato(a), Count::of(b)))?;
        sound("refractometer_beer", refractometer_beer(plato(a), plato(b), Count::of(c)))?;
        sound("fermented", fermented(plato(a), plato(b)))?;
        sound("fermented_after_souring", fermented_after_souring(plato(a), plato(b), share(c)))?;
        sound("original_extract", original_extract(share(a), plato(b)))?;
        sound("apparent_extract", apparent_extract(share(a), plato(b)))?;

        let wort = Wort::of_wort(litres(a.abs()), plato(b), celsius(20.0));
        let later = wort.boil(VolumeRate::l_per_h(c), minutes(d));
        sound("boil", later)?;
        sound("take", wort.take(litres(c), celsius(d)))?;
        sound("ferment", wort.ferment(Mass::grams(e)))?;
        for wort in [Ok(wort), later].into_iter().flatten() {
            sound("wort", (wort.plato(), wort.sg(), wort.volume(celsius(c)), wort.alcohol(), wort.ibu(), wort.acidity()))?;
        }

        let malt = MaltYield { extract: share(a), moisture: share(b) };
        sound("extract_of", extract_of(&[(Mass::grams(c), malt)], share(d)))?;
        sound("grist_for", grist_for(Mass::grams(c), &[(share(d), malt)], share(e)))?;
        sound("shares", shares(&[Mass::grams(a), Mass::grams(b)]))?;
        let day = Day {
            batch: litres(a), gravity: plato(b), kettle_loss: litres(c), evaporation: VolumeRate::l_per_h(d),
            main_boil: minutes(e), set_aside: litres(c), first_boil: minutes(d),
        };
        sound("runoff_needed", runoff_needed(&day))?;
        sound("water_for", water_for(&wort, Mass::grams(c), VolumePerMass::l_per_kg(d)))?;
        sound("runoff_of", runoff_of(litres(a), Mass::grams(b), Mass::grams(c), VolumePerMass::l_per_kg(d)))?;
        sound("mash_fit", mash_fit(litres(a), litres(b), Mass::grams(c), celsius(d)))?;

        let thick = VolumePerMass::l_per_kg(c);
        sound("mash_temperature", mash_temperature(celsius(a), celsius(b), thick, share(d)))?;
        sound("strike", strike(celsius(a), celsius(b), thick, share(d)))?;
        let (power, losses) = (Power::kilowatts(d), Power::kilowatts(e));
        sound("heating_time", heating_time(Mass::grams(a), plato(b), celsius(b), celsius(c), power, losses))?;
        sound("boiled_off", boiled_off(power, losses, minutes(c)))?;
        sound("boiling_point", (boiling_point(AbsolutePressure::kpa(a)), boiling_point_at(Altitude::metres(b))))?;

        sound("utilisation", (tinseth(sg(a), minutes(b)), rager(sg(a), minutes(b)), isomerised(celsius(a), minutes(b))))?;
        let boiling = BoilingWort { volume: litres(a), gravity: sg(b), ph: Ph::new(c) };
        let hop = HopCharge { mass: Mass::grams(d), alpha: share(e), time: minutes(a) };
        sound("bitterness", boiling.bitterness(&[hop, hop]))?;
        sound("hop_for", boiling.hop_for(Bitterness::ibu(d), share(e), minutes(a)))?;

        let forms = [
            FruitForm::Whole, FruitForm::Frozen, FruitForm::Puree, FruitForm::Juice,
            FruitForm::Concentrate { brix: plato(b) }, FruitForm::Dried,
        ];
        let fruit = Fruit::ALL[place].composition();
        let own = fruit.with_brix(plato(c)).with_ph(Ph::new(d)).with_acid(share(e), FruitAcid::Malic);
        for composition in [fruit, own] {
            let load = FruitLoad::new(Mass::grams(a), forms[form], &composition);
            sound("load", load)?;
            let Ok(load) = load else { continue };
            sound("effect", effect(&wort, &[load]))?;
            let buffering = Estimate::relative(Buffering::meq_per_l_ph(c), 0.2);
            sound("fruited_ph", fruited_ph(litres(b), Estimate::exact(Ph::new(d)), buffering, &[load, load]))?;
            sound("room_left", room_left(litres(a), litres(b), &[load], share(c)))?;
            sound("outcome", outcome(&wort, share(c), Mass::grams(d), &[load], share(e)))?;
        }

        let cells = cells_to_pitch(litres(a), plato(b), CellDensity::millions_per_ml(c), Ph::new(d));
        sound("cells_to_pitch", cells)?;
        if let Ok(cells) = cells {
            sound("dry_yeast", dry_yeast(cells))?;
        }
        sound("starter_cells", starter_cells(Mass::grams(a)))?;
        sound("spunding", spunding(Carbonation::volumes(a), celsius(b), Some(GaugePressure::kpa(c))))?;
        sound("dissolved", (dissolved(GaugePressure::kpa(a), celsius(b)), pressure_for(Carbonation::volumes(a), celsius(b))))?;
        sound("in_water", in_water(celsius(a)))?;
        sound("residual", residual(celsius(a)))?;
        sound("priming", priming(litres(a), Carbonation::volumes(b), Carbonation::volumes(c), PrimingSugar::Sucrose))?;
        let question = BurstQuestion {
            kind: PackageKind::ALL[kind],
            limit: (a > 1.0).then_some(GaugePressure::kpa(b)),
            warmest: Some(celsius(b)),
            gas_space: Some(share(c)),
            present: Some(Carbonation::volumes(d)),
            fermentable: Some(Concentration::g_per_l(e)),
            fruit_sugar: Some(Concentration::g_per_l(a)),
            priming: Concentration::g_per_l(b),
            stable_for: Some(minutes(a)),
        };
        sound("burst_check", burst_check(&question))?;
    }
}
