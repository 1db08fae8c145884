//! What the readings of one batch teach about the house.

use super::Plan;
use super::make::{ROOM, newest};
use crate::document::{Batch, Field, ReadingKind, Step};
use crate::house::{HouseNumber, Lesson};
use calc::quantity::{Amount, Duration, Fraction, Mass, Quantity, Volume, VolumePerMass, VolumeRate};

/// An observation outside its field's range is a slip of the pen and teaches nothing.
fn credible(number: HouseNumber, observed: Amount) -> Option<Lesson> {
    let in_range = match number.field() {
        Some(field) => field.spec().check(observed.seen_as(field.spec().dimension)).is_ok(),
        None => observed.is_finite(),
    };
    in_range.then_some(Lesson { number, observed })
}

/// Everything that the readings of this batch teach.
pub(super) fn lessons(batch: &Batch, plan: &Plan) -> Vec<Lesson> {
    let (Some(day), Some(weighed)) = (plan.day, plan.weighed) else { return Vec::new() };
    let read = |kind: ReadingKind| batch.readings.last(kind);
    let mut found = Vec::new();
    let mut teach = |number: HouseNumber, observed: Amount| found.extend(credible(number, observed));

    let pre_boil = read(ReadingKind::PreBoilVolume).is_some();
    if pre_boil && newest(batch, ReadingKind::PreBoilGravity, ReadingKind::PreBoilBrix).is_some() {
        teach(HouseNumber::Efficiency, Fraction::of_one(day.runoff.extract / weighed.potential).amount());
    }
    if pre_boil {
        let kept = weighed.water - day.runoff.volume(ROOM);
        let per_kilogram = VolumePerMass::l_per_kg(kept.as_litres() / weighed.grain.as_kilograms());
        teach(HouseNumber::Absorption, per_kilogram.amount());
    }
    if pre_boil && read(ReadingKind::PostBoilVolume).is_some() {
        let time = batch
            .value::<Duration>(Field::MainBoil)
            .zip(batch.value::<Duration>(Field::ClearBoil))
            .map_or(Duration::ZERO, |(main, first)| main + first);
        // Water that is gone from between the two readings, less what was set aside.
        let gone: Mass = day.runoff.water - day.set_aside.water - day.after_boil.water;
        if time > Duration::ZERO {
            let litres = calc::chem::density::water_density(ROOM).volume_of(gone);
            teach(
                HouseNumber::Evaporation,
                VolumeRate::l_per_h(litres.as_litres() / time.as_hours()).amount(),
            );
        }
    }
    if read(ReadingKind::PostBoilVolume).is_some() && read(ReadingKind::FermenterVolume).is_some() {
        let lost: Volume = day.after_boil.volume(ROOM) - day.fermenter.volume(ROOM);
        teach(HouseNumber::KettleLoss, lost.amount());
    }
    // Fruit hides what the wort alone does.
    if batch.fruit.is_empty()
        && batch.ticked(Step::Stable).is_some()
        && let Ok(attenuation) = plan.figures.attenuation_now()
    {
        teach(HouseNumber::Attenuation, attenuation.estimate.value.amount());
    }
    if let Some(chilling) = plan.chilling {
        teach(HouseNumber::Chilling, chilling.amount());
    }
    if let Some(shift) = plan.mash_ph_shift {
        teach(HouseNumber::MashPhShift, shift.amount());
    }
    if let Some(scale) = plan.buffer_scale {
        teach(HouseNumber::WortBuffering, scale.amount());
    }
    if let Some(speed) = plan.souring_speed {
        teach(HouseNumber::SouringSpeed, speed.amount());
    }
    found
}
