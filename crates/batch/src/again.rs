//! Brew again: a new batch from an old one, for another volume or with another kit.
//!
//! What was typed as a weight or a volume of something grows in step with the beer. Temperatures, pH, shares,
//! strengths and times stay. What is in no such step, as evaporation, losses, strike heat and the use of hops,
//! is not typed but planned, so it comes out anew by itself; the sentences say where that shows.

use crate::compare::{moved, new_warnings};
use crate::document::{Batch, Field, FruitField, HopField, MaltField, Readings, SaltField, Slot};
use crate::house::House;
use crate::moment::Moment;
use crate::plan::{Figure, plan};
use crate::say::{Sentence, say};
use calc::quantity::{Amount, Count, Quantity, Volume};

/// For what the new batch is.
#[derive(Clone, Copy, Debug, Default)]
pub struct Target<'a> {
    /// Beer in the fermenter before fruit; none for as much as before.
    pub volume: Option<Volume>,
    /// The batch whose kit is used; none for the same kit.
    pub kit_of: Option<&'a Batch>,
}

/// A new batch, and what is to be known of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Again {
    /// The new document.
    pub batch: Batch,
    /// What was changed, what comes out otherwise than in step, and what to look at; empty for a plain copy.
    pub says: Vec<Sentence>,
}

/// What belongs to the kit and the place, not to the beer.
const KIT: &[Field] = &[
    Field::KettleVolume,
    Field::FermenterVolume,
    Field::HeatingPower,
    Field::Altitude,
    Field::Barometer,
    Field::KettleWeight,
    Field::BasketGrain,
    Field::Room,
    Field::Tap,
    Field::CoolingFlow,
    Field::ChillerFlow,
    Field::Chilling,
    Field::PlateCooling,
    Field::Efficiency,
    Field::Absorption,
    Field::Evaporation,
    Field::KettleLoss,
    Field::FermenterLoss,
    Field::ScaleStep,
    Field::FermenterPressure,
    Field::MeterError,
    Field::Dropper,
    Field::RefractometerFactor,
    Field::OxygenFlow,
    Field::FermentRoom,
    Field::SecondVessel,
];

/// Figures that are in no step with the volume, to be told where they come out otherwise.
const OUT_OF_STEP: &[Figure] = &[
    Figure::TotalWater,
    Figure::GristMass,
    Figure::StrikeTemperature,
    Figure::StrikeHeating,
    Figure::MashLevel,
    Figure::BoilHeating,
    Figure::PreBoilVolume,
    Figure::ChillTime,
    Figure::OriginalGravity,
    Figure::BitternessFigure,
    Figure::RoomLeft,
    Figure::PackagedVolume,
];

/// True for an amount that grows with the beer.
pub(crate) const fn in_step(slot: Slot) -> bool {
    matches!(
        slot,
        Slot::Of(
            Field::BatchVolume
                | Field::Rinse
                | Field::StarterWort
                | Field::PackAmount
                | Field::StarterYeast
                | Field::OtherCost
        ) | Slot::Salt(_, SaltField::Locked | SaltField::Most)
            | Slot::Malt(_, MaltField::Mass)
            | Slot::Hop(_, HopField::Mass)
            | Slot::Fruit(_, FruitField::Mass)
    )
}

/// The same plan with nothing measured, nothing ticked, nothing tasted.
pub(crate) fn unmeasured(batch: &Batch) -> Batch {
    let mut plain = Batch {
        // The sample was of that wort.
        sample: Vec::new(),
        readings: Readings::default(),
        ticks: Vec::new(),
        skips: Vec::new(),
        timers: Vec::new(),
        tastings: Vec::new(),
        ..batch.clone()
    };
    // These too were observed of that beer, although they are entry fields.
    for field in [Field::StableHours, Field::TrialAcid] {
        // Clearing a field cannot fail.
        let _ = Slot::Of(field).set(&mut plain, None);
    }
    plain
}

impl Batch {
    /// A new batch from this one: the same plan and kit, the newest house
    /// numbers, nothing measured and nothing ticked.
    #[must_use]
    pub fn again(&self, id: String, name: String, begun: Moment, house: House) -> Self {
        Self { id, name, begun, invented: false, house, from: self.id.clone(), ..unmeasured(self) }
    }
}

/// A new batch from an old one, as [`Batch::again`], for another volume or with another batch's kit where the
/// target says so. An amount that would leave its field's
/// range stays at the end of the range, and a sentence says so.
pub fn again(
    old: &Batch,
    target: Target<'_>,
    id: String,
    name: String,
    begun: Moment,
    house: House,
) -> Again {
    let same = old.again(id, name, begun, house);
    let mut batch = same.clone();
    let mut says = Vec::new();
    if let Some(other) = target.kit_of {
        for &field in KIT {
            // What another document holds is in range.
            let _ = Slot::Of(field).set(&mut batch, Slot::Of(field).get(other));
        }
        batch.choices.chiller = other.choices.chiller;
        batch.choices.compensation = other.choices.compensation;
        says.push(say!["Vessels, losses, flows and instruments are those of “", other.name.clone(), "”."]);
    }
    scale(&mut batch, target.volume, &mut says);
    if !says.is_empty() {
        let (before, after) = (plan(&same), plan(&batch));
        says.extend(moved(OUT_OF_STEP, &before, &after));
        says.extend(new_warnings(&before, &after));
    }
    Again { batch, says }
}

/// Multiplies what is in step with the volume.
fn scale(batch: &mut Batch, volume: Option<Volume>, says: &mut Vec<Sentence>) {
    let slot = Slot::Of(Field::BatchVolume);
    let (Some(now), Some(wanted)) = (slot.effective(batch), volume.map(Quantity::amount)) else { return };
    let factor = wanted.base() / now.base();
    if (factor - 1.0).abs() < 1e-9 {
        return;
    }
    if slot.set(batch, Some(wanted)).is_err() {
        says.push(say![wanted, " is outside what can be planned; the size stays as it was."]);
        return;
    }
    let slots: Vec<Slot> = Slot::all(batch).filter(|other| in_step(*other) && *other != slot).collect();
    for slot in slots {
        let Some(amount) = slot.get(batch) else { continue };
        let spec = slot.spec();
        let grown = Amount::in_base(amount.dimension, amount.base() * factor);
        if slot.set(batch, Some(grown)).is_err() {
            let held = if factor > 1.0 { spec.high } else { spec.low };
            let _ = slot.set(batch, Some(held));
            says.push(say![spec.label, " would be ", grown, "; ", held, " is the end of its range."]);
        }
    }
    let words = say![
        "For ",
        wanted,
        " in place of ",
        now,
        ", typed weights and volumes are multiplied by ",
        Count::of(factor).amount(),
        ". Temperatures, pH, shares and times stay; the rest is planned anew."
    ];
    says.insert(0, words);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::demo;
    use crate::document::{GristBy, TasteField, Tasting};
    use crate::plan::Level;
    use crate::testing::any_batch;
    use calc::quantity::Mass;
    use proptest::prelude::*;

    fn anew(old: &Batch, target: Target<'_>) -> Again {
        again(old, target, "new".to_owned(), "New".to_owned(), Moment::from_seconds(9), House::default())
    }

    fn for_volume(old: &Batch, litres: f64) -> Again {
        anew(old, Target { volume: Some(Volume::litres(litres)), kit_of: None })
    }

    fn volume_of(batch: &Batch) -> f64 {
        Slot::Of(Field::BatchVolume).effective(batch).unwrap().base()
    }

    fn example() -> Batch {
        demo("old".to_owned(), Moment::from_seconds(1_000_000))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(256))]

        #[test]
        fn the_same_size_is_a_plain_copy(old in any_batch()) {
            let plain = anew(&old, Target::default());
            let same = for_volume(&old, volume_of(&old));
            prop_assert_eq!(&plain.batch, &same.batch);
            prop_assert!(plain.says.is_empty() && same.says.is_empty());
            prop_assert_eq!(plain.batch.from, old.id);
            prop_assert!(plain.batch.readings.is_empty() && plain.batch.ticks.is_empty());
        }

        #[test]
        fn scaling_there_and_back_returns_every_typed_amount(old in any_batch(), litres in 4.0..=60.0f64) {
            let plain = anew(&old, Target::default()).batch;
            let there = for_volume(&plain, litres);
            // What stops at the end of its range can't come back; the sentences tell of it.
            let factor = litres / volume_of(&plain);
            let held = Slot::all(&plain).any(|slot| {
                let grown = slot.get(&plain).map(|now| Amount::in_base(now.dimension, now.base() * factor));
                in_step(slot) && grown.is_some_and(|grown| slot.spec().check(grown).is_err())
            });
            prop_assert!(there.batch.check().is_ok());
            if held {
                prop_assert!(there.says.iter().any(|says| says.len() > 4), "{:?}", there.says);
                return Ok(());
            }
            let back = for_volume(&there.batch, volume_of(&plain)).batch;
            for slot in Slot::all(&plain) {
                let (first, last) = (slot.get(&plain), slot.get(&back));
                match (first, last) {
                    (Some(first), Some(last)) => {
                        prop_assert!((first.base() - last.base()).abs() <= 1e-9 * first.base().abs(), "{slot:?}");
                    }
                    // The size itself is typed from then on.
                    (first, last) => prop_assert!(first == last || slot == Slot::Of(Field::BatchVolume), "{slot:?}"),
                }
            }
        }

        #[test]
        fn what_does_not_grow_with_the_beer_stays(old in any_batch(), litres in 4.0..=60.0f64) {
            let scaled = for_volume(&old, litres).batch;
            prop_assert_eq!(&scaled.choices, &old.choices);
            let plain = unmeasured(&old);
            for slot in Slot::all(&plain).filter(|slot| !in_step(*slot)) {
                prop_assert_eq!(slot.get(&plain), slot.get(&scaled), "{:?}", slot);
            }
        }

        #[test]
        fn strength_and_load_do_not_depend_on_the_size(litres in 8.0..=30.0f64) {
            let old = example();
            let (before, after) = (plan(&old), plan(&for_volume(&old, litres).batch));
            // Shares, so the malts follow; the fruit's weight grew with the beer. The boil drives off a smaller part
            // of a larger batch, and with it thickens the acid of the souring less: that shows in what ferments.
            for (figure, off) in [
                (Figure::FruitLoad, 1e-6),
                (Figure::OriginalGravity, 1e-6),
                (Figure::FinalGravity, 5e-3),
                (Figure::AlcoholBeforeFruit, 5e-3),
            ] {
                let [one, other] = [&before, &after].map(|plan| figure.of(&plan.figures).unwrap().value.base());
                prop_assert!((one - other).abs() < off * one, "{figure:?} {one} {other}");
            }
        }
    }

    #[test]
    fn what_was_observed_of_the_old_beer_does_not_come_along() {
        let mut old = example();
        Slot::Of(Field::StableHours)
            .set(&mut old, Some(Amount::in_base(Field::StableHours.spec().dimension, 4_320.0)))
            .unwrap();
        old.tastings.push(Tasting::default());
        Slot::Taste(0, TasteField::Body).set(&mut old, Some(Count::of(3.0).amount())).unwrap();
        let new = anew(&old, Target::default()).batch;
        assert_eq!((new.numbers.stable_hours(), new.tastings.len(), new.invented), (None, 0, false));
    }

    #[test]
    fn another_kit_brings_its_vessels_and_leaves_the_beer() {
        let mut other = example();
        other.name = "Small kettle".to_owned();
        let grams = Mass::grams(2_000.0).amount();
        Slot::Of(Field::BasketGrain).set(&mut other, Some(grams)).unwrap();
        Slot::Of(Field::FermenterVolume).set(&mut other, Some(Volume::litres(20.0).amount())).unwrap();
        let new = anew(&example(), Target { volume: None, kit_of: Some(&other) });
        assert_eq!(new.batch.numbers.basket_grain(), Some(Mass::grams(2_000.0)));
        assert_eq!(new.batch.numbers.batch_volume(), example().numbers.batch_volume());
        assert_eq!(new.batch.grist, example().grist);
        // The grain is over the basket's limit, the fruit over the fermenter's room: both are said.
        let warned: Vec<&'static str> = plan(&new.batch)
            .warnings
            .iter()
            .filter(|warning| warning.level > Level::Note)
            .map(|warning| warning.stage.title())
            .collect();
        let told = new.says.iter().filter(|says| says.first() == say!["Look at “"].first()).count();
        assert!(told >= 2, "{warned:?} {:?}", new.says);
    }

    #[test]
    fn an_amount_that_leaves_its_range_is_held_and_told() {
        let mut old = example();
        old.choices.grist_by = GristBy::Weights;
        Slot::Malt(0, MaltField::Mass).set(&mut old, Some(Mass::kilograms(25.0).amount())).unwrap();
        let new = for_volume(&old, 36.0);
        assert_eq!(Slot::Malt(0, MaltField::Mass).get(&new.batch), Some(Mass::kilograms(30.0).amount()));
        assert!(
            new.says
                .iter()
                .any(|says| says.contains(&crate::say::Piece::Amount(Mass::kilograms(50.0).amount())))
        );
    }
}
