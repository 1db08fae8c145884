//! The invented example: our own scenario, labelled as invented wherever it is shown.

use crate::document::{
    Batch, Field, FruitAddition, FruitField, Hop, HopField, Malt, MaltField, Slot, WaterField,
};
use crate::house::House;
use crate::moment::Moment;
use calc::brew::water::Finish;
use calc::data::fruits::Fruit;
use calc::data::malts::MaltClass;
use calc::quantity::{
    Altitude, Bitterness, ChargeConcentration, Concentration, Duration, Fraction, Mass, Plato, Quantity,
    Volume,
};

/// An 18 L sour cherry and apricot batch on soft tap water. Every number is
/// invented; none is a check of anything.
pub fn demo(id: String, begun: Moment) -> Batch {
    let mut batch = Batch::new(id, "Cherry and apricot".to_owned(), begun, House::default());
    batch.invented = true;
    batch.choices.finish = Finish::Plush;
    batch.notes =
        "An invented batch to look around in. Change anything; delete it when you are done.".to_owned();

    let malt = |class| Malt { class, name: String::new(), numbers: Default::default() };
    batch.grist = vec![
        malt(MaltClass::Pilsner),
        malt(MaltClass::Wheat),
        malt(MaltClass::FlakedOats),
        malt(MaltClass::RiceHulls),
    ];
    batch.hops = vec![Hop::default()];
    batch.fruit = [Fruit::SourCherry, Fruit::Apricot].map(FruitAddition::new).to_vec();

    let mg = |value: f64| Concentration::mg_per_l(value).amount();
    let of = Slot::Of;
    let water = |field| Slot::Water(0, field);
    let typed = [
        (of(Field::BatchVolume), Volume::litres(18.0).amount()),
        (of(Field::WantedGravity), Plato::degrees(11.5).amount()),
        (of(Field::KettleVolume), Volume::litres(35.0).amount()),
        (of(Field::FermenterVolume), Volume::litres(30.0).amount()),
        (of(Field::Altitude), Altitude::metres(120.0).amount()),
        (water(WaterField::Calcium), mg(18.0)),
        (water(WaterField::Magnesium), mg(3.0)),
        (water(WaterField::Sodium), mg(9.0)),
        (water(WaterField::Chloride), mg(12.0)),
        (water(WaterField::Sulfate), mg(14.0)),
        (water(WaterField::Alkalinity), ChargeConcentration::meq_per_l(0.88).amount()),
        (of(Field::WantedBitterness), Bitterness::ibu(6.0).amount()),
        (Slot::Malt(0, MaltField::Share), Fraction::percent(55.0).amount()),
        (Slot::Malt(1, MaltField::Share), Fraction::percent(30.0).amount()),
        (Slot::Malt(2, MaltField::Share), Fraction::percent(12.0).amount()),
        (Slot::Malt(3, MaltField::Share), Fraction::percent(3.0).amount()),
        (Slot::Hop(0, HopField::Mass), Mass::grams(20.0).amount()),
        (Slot::Hop(0, HopField::Alpha), Fraction::percent(6.0).amount()),
        (Slot::Hop(0, HopField::Minutes), Duration::minutes(20.0).amount()),
        (Slot::Fruit(0, FruitField::Mass), Mass::kilograms(2.0).amount()),
        (Slot::Fruit(1, FruitField::Mass), Mass::kilograms(1.2).amount()),
    ];
    for (slot, amount) in typed {
        // Every value above is in its field's range; a test holds the whole document to it.
        let _ = slot.set(&mut batch, Some(amount));
    }
    batch
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{Figure, Level, plan};

    #[test]
    fn the_example_is_sound_complete_and_harmless() {
        let batch = demo("demo".to_owned(), Moment::default());
        batch.check().unwrap();
        assert_eq!(Slot::Fruit(1, FruitField::Mass).get(&batch), Some(Mass::kilograms(1.2).amount()));
        let plan = plan(&batch);
        assert!(
            plan.warnings.iter().all(|w| w.level < Level::Stop || w.stage == crate::document::Stage::Package)
        );
        let open: Vec<Figure> =
            Figure::ALL.iter().copied().filter(|f| f.of(&plan.figures).is_err()).collect();
        // What only a reading or another choice can tell.
        assert_eq!(
            open,
            [
                Figure::Metabisulfite,
                Figure::SofteningLime,
                Figure::MashBase,
                Figure::RinseAcid,
                Figure::Conversion,
                Figure::Lauter,
                Figure::DoseStock,
                Figure::DoseDrops,
                Figure::SourPhNow,
                Figure::Manganese,
                Figure::Hold,
                Figure::YeastPacks,
                Figure::YeastSlurry,
                Figure::StarterCells,
                Figure::GravityNow,
                Figure::AttenuationNow,
                Figure::AlcoholNow,
                Figure::FruitWanted,
                Figure::WarmestSafe,
                Figure::LitreCost,
                Figure::TrialAcid,
                Figure::TrialFirst,
                Figure::PrimingSugar,
                Figure::PotentialCarbonation,
                Figure::PackagePressure
            ]
        );
    }
}
