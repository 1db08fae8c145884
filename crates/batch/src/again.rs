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
