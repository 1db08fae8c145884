//! Whatever finite numbers go into the models of fruit, an answer or an error comes out: never NaN,
//! never an infinity.

use crate::{number, sound};
use calc::brew::fruit::{
    FruitForm, FruitLoad, Preserved, SourBeer, Wanted, additions, amount_for, blend_ph, fruited_acidity,
    fruited_ph, purge, split,
};
use calc::brew::ledger::Wort;
use calc::data::acids::AcidKind;
use calc::data::fruits::{Fruit, FruitAcid, FruitComposition};
use calc::quantity::*;
use proptest::prelude::*;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn every_answer_is_finite(
        a in number(), b in number(), c in number(), d in number(), e in number(), f in number(),
        place in 0..Fruit::ALL.len(), form in 0usize..6,
    ) {
        let litres = Volume::litres;
        let share = Fraction::of_one;
        let forms = [
            FruitForm::Whole, FruitForm::Frozen, FruitForm::Puree, FruitForm::Juice,
            FruitForm::Concentrate { brix: Plato::degrees(b) }, FruitForm::Dried,
        ];
        let beer = Wort { ethanol: Mass::grams(d.abs()), ..Wort::of_wort(litres(a.abs()), Plato::degrees(b), Temperature::celsius(20.0)) };
        let sour = SourBeer {
            beer,
            ph: Estimate::exact(Ph::new(d)),
            buffering: Estimate::relative(Buffering::meq_per_l_ph(c), 0.2),
            lactic: Mass::grams(e),
            acidity: Estimate::exact(TitratableAcidity::g_per_l_lactic(f)),
        };
        let titrated = Some((share(e / 100.0), FruitAcid::Malic));
        for composition in [
            Fruit::ALL[place].composition(),
            FruitComposition::own(Plato::degrees(c), Ph::new(d), titrated),
            FruitComposition::own(Plato::degrees(c), Ph::new(d), None),
        ] {
            let load = FruitLoad::new(Mass::grams(a), forms[form], &composition);
            sound("load", load)?;
            let Ok(load) = load else { continue };
            sound("parts", (load.fermentable(), load.alcohol(), load.body(), load.titratable()))?;
            sound("fruited_ph", fruited_ph(&sour, &[load, load]))?;
            sound("fruited_acidity", fruited_acidity(&sour, &[load]))?;
            for wanted in [
                Wanted::Puree(Concentration::g_per_l(a)),
                Wanted::Alcohol(AlcoholByVolume::of_one(b / 100.0)),
                Wanted::Ph(Ph::new(c)),
                Wanted::Acidity(TitratableAcidity::g_per_l_lactic(d)),
            ] {
                sound("amount_for", amount_for(wanted, &sour, &load))?;
            }
            for level in additions(litres(a), &beer, &[load, load], &[share(c), share(d / 100.0)]) {
                sound("additions", level)?;
            }
        }
        let acids = [(AcidKind::Citric, MolarConcentration::mmol_per_l(a)), (AcidKind::Lactic, MolarConcentration::mmol_per_l(b))];
        sound("blend_ph", blend_ph(&acids, ChargeConcentration::meq_per_l(c), MolarConcentration::mmol_per_l(d)))?;
        sound("split", split(litres(a), [litres(b), litres(c)], share(d / 100.0)))?;
        sound("purge", purge(litres(a), GaugePressure::kpa(b), share(c / 100.0)))?;
        for kept in [Preserved::None, Preserved::Sulfite, Preserved::Sorbate] {
            sound("preserved", kept.in_beer(Mass::grams(a), litres(b), Ph::new(c)))?;
        }
    }
}
