//! Whatever finite numbers go in, an answer or an error comes out: never NaN, never an infinity.

use crate::{number, sound};
use calc::brew::bitterness::{
    HopCharge, HopForm, HotSide, Leg, alpha_left, dissolves, isomerised, rager, tinseth,
};
use calc::brew::correction::corrections;
use calc::brew::extract::{
    apparent_extract, correction_factor, fermented, fermented_after_souring, hydrometer, hydrometer_as_water,
    original_extract, refractometer_beer, refractometer_wort,
};
use calc::brew::ferment::{gas_in_room, outcome, spunding};
use calc::brew::fruit::{FruitForm, FruitLoad, effect, room_left};
use calc::brew::grist::{
    Day, MaltYield, efficiency_steps, extract_of, grist_for, mash_fit, runoff_needed, runoff_of, shares,
    water_for,
};
use calc::brew::heat::{
    Body, Coil, Heater, Plates, boiling_point, boiling_point_at, mash_temperature, strike, usual_loss,
};
use calc::brew::ledger::{Rebase, Wort};
use calc::brew::package::{
    BurstQuestion, PackageKind, PrimingSugar, burst_check, in_bath, keg_pressure, pasteurising_time,
    pasteurising_units, priming, remedies, residual, warmest_safe,
};
use calc::brew::serving::{Contents, serving};
use calc::brew::yeast::{YeastForm, amount_for, cells_to_pitch, living, oxygen_time, starter_cells};
use calc::chem::gas::{Sealed, dissolved, in_water, pressure_for};
use calc::data::fruits::{Fruit, FruitAcid};
use calc::quantity::*;
use proptest::prelude::*;

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
        let heater = Heater { power: Power::kilowatts(d), loss: Power::kilowatts(e), room: celsius(a) };
        let body = Body { liquid: Mass::grams(a), extract: plato(b), grain: Mass::grams(c), vessel: Mass::grams(d) };
        sound("heating", heater.time(&body, celsius(b), celsius(c)))?;
        sound("cooled", heater.cooled(&body, celsius(b), minutes(c)))?;
        sound("evaporation", heater.evaporation(celsius(b)))?;
        sound("usual_loss", usual_loss(litres(a)))?;
        sound("infusion", body.infusion(celsius(a), celsius(b), celsius(c)))?;
        let coil = Coil { flow: VolumeRate::l_per_h(a), water: celsius(b), effectiveness: share(c) };
        sound("coil", coil.chill(&body, celsius(d), celsius(e)))?;
        sound("learned", coil.learned(&body, celsius(d), celsius(e), minutes(a)))?;
        let plates = Plates { wort: VolumeRate::l_per_h(d), flow: VolumeRate::l_per_h(a), water: celsius(b), effectiveness: share(c) };
        sound("plates", plates.chill(litres(e), celsius(d)))?;
        sound("boiling_point", (boiling_point(AbsolutePressure::kpa(a)), boiling_point_at(Altitude::metres(b))))?;

        sound("utilisation", (tinseth(sg(a), minutes(b)), rager(sg(a), minutes(b)), isomerised(celsius(a), minutes(b))))?;
        let legs = [
            Leg { time: minutes(a), from: celsius(b), to: celsius(c), toward: None },
            Leg { time: minutes(d), from: celsius(c), to: celsius(e), toward: Some(celsius(a)) },
        ];
        let side = HotSide { legs: &legs, volume: litres(a), ph: Ph::new(c), kept: Estimate::exact(share(d)) };
        let hop = HopCharge { mass: Mass::grams(d), alpha: share(e), form: HopForm::ALL[kind % HopForm::ALL.len()], at: minutes(a) };
        sound("bitterness", side.bitterness(&[hop, hop]))?;
        sound("hops_for", side.hops_for(Bitterness::ibu(d), &[hop, hop]))?;
        sound("by_formula", side.by_formula(&[hop], sg(b), tinseth))?;
        sound("course", side.course(&[hop], 5))?;
        sound("alpha_left", alpha_left(minutes(a), celsius(b)))?;
        sound("dissolves", dissolves(Ph::new(a)))?;
        sound("corrections", corrections(&wort, minutes(a), VolumeRate::l_per_h(b), plato(c)))?;
        for keep in [Rebase::Strength, Rebase::Extract] {
            sound("rebased", wort.rebased(Some((litres(a), celsius(b))), Some(plato(c)), keep))?;
            sound("rebased", wort.rebased(Some((litres(a), celsius(b))), None, keep))?;
            sound("rebased", wort.rebased(None, Some(plato(c)), keep))?;
        }
        sound("efficiency", efficiency_steps(plato(a), Mass::grams(b), Mass::grams(c), Some(Mass::grams(d))))?;
        sound("gas_in_room", gas_in_room(Mass::grams(a), minutes(b), litres(c)))?;

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
            sound("room_left", room_left(litres(a), litres(b), &[load], share(c)))?;
            sound("outcome", outcome(&wort, Estimate::normal(share(c), e), Mass::grams(d), &[load], share(e)))?;
        }

        let cells = cells_to_pitch(litres(a), plato(b), CellDensity::millions_per_ml(c), Ph::new(d));
        sound("cells_to_pitch", cells)?;
        if let Ok(cells) = cells {
            let alive = YeastForm::Liquid.viability(minutes(a), celsius(b));
            sound("viability", alive)?;
            if let Ok(alive) = alive {
                let each = living(Some(Cells::billions(c)), YeastForm::Liquid, alive);
                sound("amount_for", amount_for(cells, each))?;
            }
        }
        sound("starter_cells", starter_cells(Mass::grams(a)))?;
        sound("oxygen", oxygen_time(litres(a), Concentration::mg_per_l(b), VolumeRate::l_per_h(c), celsius(d), plato(e)))?;
        sound("spunding", spunding(Carbonation::volumes(a), celsius(b), Some(GaugePressure::kpa(c))))?;
        sound("dissolved", (dissolved(GaugePressure::kpa(a), celsius(b)), pressure_for(Carbonation::volumes(a), celsius(b))))?;
        sound("in_water", in_water(celsius(a)))?;
        sound("residual", residual(celsius(a), GaugePressure::kpa(b)))?;
        sound("keg_pressure", keg_pressure(Carbonation::volumes(a), celsius(b)))?;
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
            filled_at: (c > 0.5).then_some(celsius(e)),
        };
        sound("burst_check", burst_check(&question))?;
        sound("in_bath", burst_check(&in_bath(&question, celsius(c))))?;
        sound("warmest_safe", warmest_safe(&question))?;
        sound("remedies", remedies(&question))?;
        let package = Sealed {
            gas: Carbonation::volumes(a),
            gas_space: share(b),
            filled_at: celsius(c),
            air: AbsolutePressure::kpa(d),
        };
        sound("sealed", (package.pressure(celsius(e)), package.space_at(celsius(e))))?;
        sound("pasteurising", (pasteurising_units(celsius(a), minutes(b)), pasteurising_time(celsius(a))))?;
        let beer = Contents {
            alcohol: Estimate::exact(AlcoholByVolume::of_one(a)),
            extract: Estimate::exact(Concentration::g_per_l(b)),
            acid: Estimate::exact(Concentration::g_per_l(c)),
        };
        sound("serving", serving(litres(d), &beer))?;
    }
}
