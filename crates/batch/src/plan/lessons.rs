//! What the readings of one batch teach about the house.
//!
//! A lesson comes of readings alone: what was typed, assumed or learned before for the same number has no part
//! in it, so a batch with a typed value teaches as any other, and no number learns from itself.

use super::Plan;
use super::make::{ROOM, newest};
use crate::document::{Batch, Field, ReadingKind, Step};
use crate::house::{HouseNumber, Lesson};
use calc::quantity::{Amount, Duration, Estimate, Fraction, Mass, Quantity, VolumePerMass, VolumeRate};

/// Standard deviation of a volume read in kettle or fermenter, litres; our estimate for marks and dip sticks.
pub(super) const VOLUME_ERROR: f64 = 0.2;
/// The same of a gravity by hydrometer, degrees Plato: a line of its scale is half a point.
pub(super) const GRAVITY_ERROR: f64 = 0.08;
/// Relative error of the time to chill: when it was over is seen by a minute or so.
const CHILL_ERROR: f64 = 0.05;

/// An observation outside its field's range, or one no house can have, is a slip of the pen and teaches nothing.
fn credible(number: HouseNumber, observed: Amount) -> bool {
    let base = observed.base();
    match (number, number.field()) {
        (_, Some(field)) => field.spec().check(observed.seen_as(field.spec().dimension)).is_ok(),
        (HouseNumber::MashPhShift, None) => base.abs() <= 1.0,
        // What pulp keeps is the difference of two volumes, and may come out below nothing.
        (HouseNumber::FruitYield, None) => base.abs() <= 8.0,
        _ => (0.1..=10.0).contains(&base),
    }
}

/// Everything that the readings of this batch teach.
pub(super) fn lessons(batch: &Batch, plan: &Plan) -> Vec<Lesson> {
    let (Some(day), Some(weighed)) = (plan.day, plan.weighed) else { return Vec::new() };
    let read = |kind: ReadingKind| batch.readings.last(kind).is_some();
    let mut found = Vec::new();
    let mut teach = |number: HouseNumber, observed: Amount, noise: f64| {
        if credible(number, observed) && noise.is_finite() {
            found.push(Lesson { number, observed, begun: batch.begun, noise });
        }
    };
    let two_volumes = VOLUME_ERROR.hypot(VOLUME_ERROR);
    let original = day.fermenter.plato().as_degrees();
    let (before, grain) = (day.runoff.volume(ROOM).as_litres(), weighed.grain.as_kilograms());

    let pre_boil = read(ReadingKind::PreBoilVolume);
    if pre_boil && newest(batch, ReadingKind::PreBoilGravity, ReadingKind::PreBoilBrix).is_some() {
        let share = day.runoff.extract / weighed.potential;
        let noise = share * (VOLUME_ERROR / before).hypot(GRAVITY_ERROR / day.runoff.plato().as_degrees());
        teach(HouseNumber::Efficiency, Fraction::of_one(share).amount(), noise);
    }
    if pre_boil {
        let kept = VolumePerMass::l_per_kg((weighed.water.as_litres() - before) / grain);
        teach(HouseNumber::Absorption, kept.amount(), VOLUME_ERROR / grain);
    }
    if pre_boil && read(ReadingKind::PostBoilVolume) {
        let time = batch
            .value::<Duration>(Field::MainBoil)
            .zip(batch.value::<Duration>(Field::ClearBoil))
            .map_or(Duration::ZERO, |(main, first)| main + first);
        // Water that is gone from between the two readings, less what was set aside.
        let gone: Mass = day.runoff.water - day.set_aside.water - day.after_boil.water;
        if time > Duration::ZERO {
            let litres = calc::chem::density::water_density(ROOM).volume_of(gone);
            let rate = VolumeRate::l_per_h(litres.as_litres() / time.as_hours());
            teach(HouseNumber::Evaporation, rate.amount(), two_volumes / time.as_hours());
        }
    }
    if read(ReadingKind::PostBoilVolume) && read(ReadingKind::FermenterVolume) {
        let lost = day.after_boil.volume(ROOM) - day.fermenter.volume(ROOM);
        teach(HouseNumber::KettleLoss, lost.amount(), two_volumes);
    }
    // Fruit hides what the wort alone does.
    let wort_alone = || {
        let now = plan.figures.attenuation_now().ok().filter(|_| batch.fruit.is_empty())?;
        Some(Estimate::normal(now.estimate.value, now.estimate.deviation().max(GRAVITY_ERROR / original)))
    };
    if batch.ticked(Step::Stable).is_some()
        && let Some(seen) = wort_alone().or(plan.attenuation_seen)
    {
        teach(HouseNumber::Attenuation, seen.value.amount(), seen.deviation());
    }
    if let Some(chilling) = plan.chilling {
        teach(HouseNumber::Chilling, chilling.amount(), CHILL_ERROR * chilling.as_of_one());
    }
    if let Some(shift) = plan.mash_ph_shift {
        teach(HouseNumber::MashPhShift, shift.value.amount(), shift.deviation());
    }
    let factors =
        [(HouseNumber::WortBuffering, plan.buffer_scale), (HouseNumber::SouringSpeed, plan.souring_speed)];
    for (number, factor) in factors {
        if let Some(factor) = factor {
            // Learned on the logarithm.
            teach(number, factor.value.amount(), factor.deviation() / factor.value.value());
        }
    }
    if let Some(left) = plan.left_under {
        teach(HouseNumber::FermenterLoss, left.value.amount(), left.deviation());
    }
    if let Some(kept) = plan.pulp_kept {
        teach(HouseNumber::FruitYield, kept.value.amount(), kept.deviation());
    }
    found
}
