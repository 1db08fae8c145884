//! The dose ladder: pour a part, stir, wait, measure, pour the next.
//!
//! How much acid is still to go comes from a [`Titration`] for wort, from the proton balance for a
//! mash, from a glass for finished beer. Each dose is kept so small that the pH hardly ever ends
//! below the target; each reading narrows what is left, so the next can be bolder.

use super::buffer::{DOSE_ERROR, Titration, charge_in_wort};
use super::mash::baking_soda_for;
use crate::data::Source;
use crate::data::acids::Acid;
use crate::data::salts::Salt;
use crate::quantity::{
    Buffering, Charge, ChargeConcentration, Concentration, Count, Estimate, Mass, MolarConcentration, Ph,
    PhDifference, Plato, Volume,
};
use std::fmt;

/// Buffering of wort per degree Plato between pH 5 and 3.3, mEq/(L·pH·°P).
pub const WORT_BUFFERING: Buffering = Buffering::meq_per_l_ph(0.8);
/// Its standard deviation between worts.
pub const WORT_BUFFERING_DEVIATION: Buffering = Buffering::meq_per_l_ph(0.15);
/// Source of [`WORT_BUFFERING`].
pub const WORT_BUFFERING_SOURCE: Source = Source::derived(
    "Lactic acid formed in wort of 1.043 and 1.061 in a Heriot-Watt master's thesis: 0.67 to 0.97 mEq/(L·pH) per °P",
);
/// Acids are stronger among the salts of wort (ionic strength about 0.05) than
/// in pure water: lactic acid's pKa is 3.75 there, not 3.86. One shift stands for all acids.
pub const SALT_SHIFT: PhDifference = PhDifference::units(0.11);
/// Source of [`SALT_SHIFT`].
pub const SALT_SHIFT_SOURCE: Source =
    Source::derived("pKa 3.75 ± 0.05 at ionic strength 0.05, between the Davies equation's 3.69 and 3.86");

/// Highest chance, one-sided, that a dose is allowed to overshoot by more than
/// [`OVERSHOOT`]: 5 %, the normal quantile of 95 %.
const Z95: f64 = 1.644_853_626_951_472_7;
/// Half-width of an 80 % band in standard deviations.
const Z80: f64 = 1.281_551_565_544_600_4;
/// What counts as overshooting the target.
pub const OVERSHOOT: PhDifference = PhDifference::units(0.05);
/// A capacity outside these bounds is a mistyped reading, not wort.
const CREDIBLE: [f64; 2] = [0.25, 4.0];
/// pH at which a drop can start or end.
const LOWEST: Ph = Ph::new(2.8);
const HIGHEST: Ph = Ph::new(7.0);

/// Why no dose can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DropError {
    /// pH lies outside 2.8..=7.
    WortPh(Ph),
    /// Target lies outside 2.8..=7.
    TargetPh(Ph),
    /// Volume must be above zero.
    Volume(Volume),
    /// Buffering must be above zero.
    Buffering(Buffering),
    /// The acid gives nothing at the target: its strength is zero or above one.
    Acid(Acid),
    /// Error of the meter must be 0 or more.
    MeterError(PhDifference),
}

impl fmt::Display for DropError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::WortPh(ph) => write!(f, "the wort's pH must be 2.8 to 7, not {}", ph.value()),
            Self::TargetPh(ph) => write!(f, "the pH wanted must be 2.8 to 7, not {}", ph.value()),
            Self::Volume(v) => write!(f, "the volume of wort must be above 0 L, not {} L", v.as_litres()),
            Self::Buffering(b) => {
                write!(f, "buffering must be above 0 mEq/(L·pH), not {}", b.as_meq_per_l_ph())
            }
            Self::Acid(acid) => write!(
                f,
                "the acid's strength must be above 0 and up to 100 %, not {} %",
                acid.strength.as_percent()
            ),
            Self::MeterError(e) => {
                write!(f, "the meter's give or take can't be below 0, not {}", e.as_units())
            }
        }
    }
}

/// Charge that a litre of wort takes from one pH to a lower one: its buffers
/// and the free protons. Negative when `to` is higher. For the free protons,
/// what lies outside pH 0..=14 counts as the nearer end.
pub(crate) fn charge_per_litre(from: Ph, to: Ph, buffering: Buffering) -> ChargeConcentration {
    let free = |ph: Ph| ChargeConcentration::meq_per_l(1e3 * 10_f64.powf(-ph.value().clamp(0.0, 14.0)));
    buffering * (from - to) + free(to) - free(from)
}

/// Buffering expected of wort of this gravity: 0.8 ± 0.15 mEq/(L·pH) per
/// degree Plato, times the house's factor. The factor's own band, when it has
/// one, replaces the spread between worts. Gravity 0..=40 °P; below 0 counts as 0.
/// Source: [`WORT_BUFFERING_SOURCE`].
pub fn prior_buffering(gravity: Plato, house_factor: Estimate<Count>) -> Estimate<Buffering> {
    let middle = WORT_BUFFERING * gravity.as_degrees().max(0.0);
    let factor = house_factor.value.value();
    if house_factor.low < house_factor.high {
        house_factor.map(|factor| middle * factor.value().max(0.0))
    } else {
        Estimate::relative(middle * factor.max(0.0), WORT_BUFFERING_DEVIATION / WORT_BUFFERING)
    }
}

/// One dose that was stirred in and measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DoseStep {
    /// Acid added.
    pub acid: Volume,
    /// pH before it.
    pub before: Ph,
    /// pH after it.
    pub after: Ph,
}

impl DoseStep {
    /// The capacity this step shows, and its variance from two readings of the
    /// meter and 2 % of dose. `None` for a step smaller than two meter errors or one no wort could show.
    fn observed(
        &self,
        prior: Buffering,
        wort: Volume,
        acid: &Acid,
        meter_error: PhDifference,
    ) -> Option<(f64, f64)> {
        let change = (self.before - self.after).as_units();
        let error = meter_error.as_units().max(0.0);
        let ph_is_sane = self.after >= LOWEST && self.before <= HIGHEST;
        if !(change > 0.0 && change >= 2.0 * error && ph_is_sane && self.acid > Volume::ZERO) {
            return None;
        }
        // The free protons are no part of the buffers.
        let given = acid.charge_of(self.acid, self.after + SALT_SHIFT) / wort
            - charge_per_litre(self.before, self.after, Buffering::ZERO);
        let capacity = given.as_meq_per_l() / change;
        let likeness = capacity / prior.as_meq_per_l_ph();
        if !(CREDIBLE[0]..=CREDIBLE[1]).contains(&likeness) {
            return None;
        }
        let relative = (std::f64::consts::SQRT_2 * error / change).hypot(DOSE_ERROR);
        Some((capacity, (capacity * relative).powi(2)))
    }
}

/// The wort's buffering after measured doses: the normal posterior of a normal
/// prior. A step observes `charge / (volume · ΔpH)`. Steps smaller than two
/// meter errors, or more than four times off the prior, are left out.
/// Consecutive doses share a reading, so their errors partly cancel over the
/// whole drop; taking them as independent is the cautious side of a ladder of equal steps.
/// Without a usable step, volume or prior, the prior comes back.
pub fn update_buffering(
    prior: Estimate<Buffering>,
    steps: &[DoseStep],
    wort: Volume,
    acid: &Acid,
    meter_error: PhDifference,
) -> Estimate<Buffering> {
    let middle = prior.value.as_meq_per_l_ph();
    // A prior without spread has nothing to learn.
    let deviation = prior.deviation();
    if !(wort > Volume::ZERO && wort.is_finite() && middle > 0.0 && deviation > 0.0) {
        return prior;
    }
    let weight = deviation.powi(-2);
    let (weights, sum) = steps
        .iter()
        .filter_map(|step| step.observed(prior.value, wort, acid, meter_error))
        .fold((weight, weight * middle), |(weights, sum), (capacity, variance)| {
            (weights + variance.recip(), sum + capacity / variance)
        });
    if weights <= weight {
        return prior;
    }
    Estimate::normal(Buffering::meq_per_l_ph(sum / weights), weights.sqrt().recip())
}

fn check(from: Ph, to: Ph, buffering: Buffering, wort: Volume, acid: &Acid) -> Result<(), DropError> {
    let in_range = |ph: Ph| ph >= LOWEST && ph <= HIGHEST;
    if !in_range(from) {
        return Err(DropError::WortPh(from));
    }
    if !in_range(to) {
        return Err(DropError::TargetPh(to));
    }
    if !(wort > Volume::ZERO && wort.is_finite()) {
        return Err(DropError::Volume(wort));
    }
    if !(buffering > Buffering::ZERO && buffering.is_finite()) {
        return Err(DropError::Buffering(buffering));
    }
    let strength = acid.strength.as_of_one();
    if strength > 0.0 && strength <= 1.0 { Ok(()) } else { Err(DropError::Acid(*acid)) }
}

/// Acid for exactly these figures; never below zero.
fn volume(from: Ph, to: Ph, buffering: Buffering, wort: Volume, acid: &Acid) -> Volume {
    let charge: Charge = charge_per_litre(from, to, buffering) * wort;
    acid.volume_for(charge.max(Charge::ZERO), to + SALT_SHIFT)
}

/// Acid to bring wort from one pH to another; zero when it is there already.
/// pH 2.8..=7, buffering and volume above 0. The band takes the give or take of
/// the pH now and of the buffering, as independent.
///
/// # Errors
/// [`DropError`] when an argument is outside its range.
pub fn needed(
    from: Estimate<Ph>,
    to: Ph,
    buffering: Estimate<Buffering>,
    wort: Volume,
    acid: &Acid,
) -> Result<Estimate<Volume>, DropError> {
    check(from.value, to, buffering.value, wort, acid)?;
    let at = |from: Ph, buffering: Buffering| volume(from, to, buffering.max(Buffering::ZERO), wort, acid);
    let value = at(from.value, buffering.value);
    let off = |other: Volume| (other - value).as_litres();
    let more = off(at(from.high, buffering.value)).hypot(off(at(from.value, buffering.high)));
    let less = off(at(from.low, buffering.value)).hypot(off(at(from.value, buffering.low)));
    let low = (value - Volume::litres(less)).max(Volume::ZERO);
    Ok(Estimate::band(value, low, value + Volume::litres(more)))
}

/// The largest dose now that ends more than 0.05 pH below the target with a
/// chance of at most 5 %: the one-sided 95 % quantile of buffering and of the
/// pH now, as independent normals. Never more than [`needed`]: with little
/// spread it is the whole dose. Zero when what is left to go is less than the
/// meter's own error: no reading could tell whether another drop helps.
/// A pH without a band of its own is taken to have the meter's error.
///
/// # Errors
/// [`DropError`] when an argument is outside its range.
pub fn next_dose(
    from: Estimate<Ph>,
    to: Ph,
    buffering: Estimate<Buffering>,
    wort: Volume,
    acid: &Acid,
    meter_error: PhDifference,
) -> Result<Volume, DropError> {
    check(from.value, to, buffering.value, wort, acid)?;
    if !(meter_error >= PhDifference::ZERO && meter_error.is_finite()) {
        return Err(DropError::MeterError(meter_error));
    }
    if from.value - to <= meter_error {
        return Ok(Volume::ZERO);
    }
    let whole = volume(from.value, to, buffering.value, wort, acid);
    let bottom = to - OVERSHOOT;
    let middle = volume(from.value, bottom, buffering.value, wort, acid);
    // Both errors that overshoot: the wort is lower than read, its buffers are weaker than believed.
    let read_error = if from.low < from.value { from.value - from.low } else { meter_error * Z80 };
    let less = |from: Ph, buffering: Buffering| {
        (middle - volume(from, bottom, buffering.max(Buffering::ZERO), wort, acid)).as_litres()
    };
    let of_reading = less(from.value - read_error, buffering.value);
    let of_buffering = less(from.value, buffering.low);
    // The volume is nearly linear in both, so the deviations add as squares.
    let safe = middle - Volume::litres(Z95 / Z80 * of_reading.hypot(of_buffering));
    Ok(safe.min(whole).max(Volume::ZERO))
}

/// The ladder counts every spread this many times: worts outside the prior exist, and their curves
/// bend where no reading was taken. Set by the simulation in `calc/tests/ladder`.
const DISTRUST: f64 = 1.5;
/// Most of the expected acid that goes in before a dose was measured, and least: no wort takes less
/// than a fifth of what is expected.
const FIRST_DOSE: [f64; 2] = [0.2, 0.5];
/// Source of the ladder's rules.
pub const LADDER_SOURCE: Source = Source::our_estimate(
    "at most 5 % of the worts may end more than 0.05 below the target; the margin was set by simulated worts inside and outside the prior",
);

/// What to do with the acid now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rung {
    /// Pour this much, stir, wait and measure.
    Pour(Volume),
    /// Measure (again) first: so little is known that no dose is safe.
    Measure,
    /// Nothing: what is left is less than the meter can tell.
    Arrived,
    /// The target is passed by so much.
    Past(PhDifference),
}

/// Where the acid stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ladder {
    /// Acid still to go in all; below zero when the target is passed.
    pub whole: Estimate<Volume>,
    /// What to do now.
    pub now: Rung,
}

/// The next rung of any ladder of doses: the largest part of the acid to go that ends more than
/// 0.05 pH too low with a chance of at most 5 %, as a normal with `DISTRUST` times the spread,
/// together with the 2 % by which a dose is off. Never more than the whole; of a `first` dose, which
/// nothing measured speaks for yet, half of it at most and a fifth at least. Nothing when what is
/// left is less than the meter's error.
///
/// `per_ph` is the acid that moves the pH by one near the target, above 0.
pub fn next_rung(whole: Estimate<Volume>, per_ph: Volume, meter: PhDifference, first: bool) -> Ladder {
    let (to_go, per_ph) = (whole.value.as_litres(), per_ph.as_litres().max(1e-12));
    let (low, high) = (-OVERSHOOT.as_units() * per_ph, meter.as_units().max(0.0) * per_ph);
    let unsure = DISTRUST * whole.deviation();
    let mut pour = (to_go - low - Z95 * unsure.hypot(DOSE_ERROR * to_go)).min(to_go);
    if first {
        pour = pour.clamp(FIRST_DOSE[0] * to_go.max(0.0), FIRST_DOSE[1] * to_go.max(0.0));
    }
    let now = if to_go < low {
        Rung::Past(PhDifference::units(-to_go / per_ph))
    } else if to_go <= high {
        Rung::Arrived
    } else if pour > 0.0 {
        Rung::Pour(Volume::litres(pour))
    } else {
        Rung::Measure
    };
    Ladder { whole, now }
}

/// The next rung for wort: acid of this bottle until the target, and the part to pour now.
/// The meter's error is its standard deviation, target 2.8..=7.
///
/// # Errors
/// [`DropError`] when an argument is outside its range.
pub fn ladder(
    titration: &Titration,
    to: Ph,
    wort: Volume,
    acid: &Acid,
    meter: PhDifference,
) -> Result<Ladder, DropError> {
    check(to, to, WORT_BUFFERING, wort, acid)?;
    if !(meter >= PhDifference::ZERO && meter.is_finite()) {
        return Err(DropError::MeterError(meter));
    }
    let volume = |amount: MolarConcentration| wort * (amount / acid.molarity());
    let (whole, bottom) = (titration.to_go(to).map(volume), titration.to_go(to - OVERSHOOT).map(volume));
    let per_ph = (bottom.value - whole.value) / OVERSHOOT.as_units();
    Ok(next_rung(whole, per_ph, meter, titration.acid() <= MolarConcentration::ZERO))
}

/// The next rung for a mash: charge still to give, as
/// [`super::mash::Mash::charge_after_reading`] tells it or, before any reading,
/// [`super::mash::Mash::charge_to`]; `per_ph` is the charge that moves the mash by one pH, above 0.
/// `first` as in [`next_rung`]; target 2.8..=7.
///
/// # Errors
/// [`DropError`] when an argument is outside its range.
pub fn mash_ladder(
    whole: Estimate<Charge>,
    per_ph: Charge,
    to: Ph,
    acid: &Acid,
    meter: PhDifference,
    first: bool,
) -> Result<Ladder, DropError> {
    check(to, to, WORT_BUFFERING, Volume::litres(1.0), acid)?;
    if !(meter >= PhDifference::ZERO && meter.is_finite()) {
        return Err(DropError::MeterError(meter));
    }
    let per_litre = acid.molarity().as_mmol_per_l() * charge_in_wort(acid.kind, to).value();
    let volume = |charge: Charge| Volume::litres(charge.as_meq() / per_litre);
    Ok(next_rung(whole.map(volume), volume(per_ph), meter, first))
}

/// What a person can do about too much acid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Remedy {
    /// Let it be.
    LetItBe,
    /// Blend with wort that got no acid.
    Blend,
    /// Baking soda, all of it or the rest that blending leaves.
    BakingSoda,
}

impl Remedy {
    /// The advice, without its amounts.
    pub const fn text(self) -> &'static str {
        match self {
            Self::LetItBe => {
                "Let it be: the bacteria go lower anyway. They start more slowly below pH 4.5, so expect some hours more."
            }
            Self::Blend => {
                "Stir in wort that got no acid, cooled and handled as cleanly as the rest, a part at a time. Water does not help: it thins acid and buffers alike."
            }
            Self::BakingSoda => {
                "Stir in baking soda, half of it first: it foams. It leaves sodium in the beer, and the lactate stays."
            }
        }
    }
}

/// Source of the advice after an overshoot.
pub const REMEDY_SOURCE: Source = Source::our_estimate(
    "from pH 4.0 up L. plantarum grows at half its speed or more; blending more than a quarter is rarely at hand",
);

/// Too much acid, and what takes it back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Overshoot {
    /// How far below the target the wort is believed to be.
    pub below: PhDifference,
    /// Wort without acid, of the same kind, that brings the whole to the target. `None` when the wort was
    /// below it from the start.
    pub unsoured: Option<Volume>,
    /// Baking soda that does the same.
    pub baking_soda: Mass,
    /// Sodium that it adds.
    pub sodium: Concentration,
    /// What we would do.
    pub remedy: Remedy,
}

/// What to do when a wort is more than 0.05 below its target; `None` when it is not.
pub fn after_overshoot(titration: &Titration, to: Ph, wort: Volume) -> Option<Overshoot> {
    let (now, excess) = (titration.ph_at(titration.acid()).value, -titration.to_go(to).value);
    let below = to - now;
    if !(below > OVERSHOOT && excess > MolarConcentration::ZERO && wort > Volume::ZERO) {
        return None;
    }
    // Blended, the acid of all must be what the target takes for each litre.
    let right = titration.acid() - excess;
    let unsoured = (right > MolarConcentration::ZERO).then(|| wort * (excess / right));
    let base =
        ChargeConcentration::meq_per_l(excess.as_mmol_per_l() * charge_in_wort(titration.kind(), to).value());
    let baking_soda = baking_soda_for(Estimate::exact(-(base * wort)), to).value;
    let sodium = Salt::BakingSoda.brings().sodium * (baking_soda.as_grams() / wort.as_litres());
    let remedy = match unsoured {
        _ if now >= Ph::new(4.0) => Remedy::LetItBe,
        Some(volume) if volume <= wort * 0.25 => Remedy::Blend,
        _ => Remedy::BakingSoda,
    };
    Some(Overshoot { below, unsoured, baking_soda, sodium, remedy })
}

#[cfg(test)]
mod tests {
    use super::super::buffer::{BufferCurve, Step};
    use super::*;
    use crate::data::acids::AcidKind;
    use crate::quantity::Fraction;
    use proptest::prelude::*;

    const WORT: Volume = Volume::litres(20.0);
    const METER: PhDifference = PhDifference::units(0.03);

    fn lactic() -> Acid {
        Acid { kind: AcidKind::Lactic, strength: Fraction::of_one(0.8) }
    }
    fn one() -> Estimate<Count> {
        Estimate::exact(Count::of(1.0))
    }
    fn prior() -> Estimate<Buffering> {
        prior_buffering(Plato::degrees(11.0), one())
    }
    fn read(ph: f64) -> Estimate<Ph> {
        Estimate::normal(Ph::new(ph), METER.as_units())
    }
    /// A wort with this true capacity, dosed: its pH afterwards.
    fn stirred(from: f64, true_capacity: f64, dose: Volume) -> f64 {
        let (mut low, mut high) = (2.0, from);
        for _ in 0..60 {
            let mid = 0.5 * (low + high);
            let takes =
                volume(Ph::new(from), Ph::new(mid), Buffering::meq_per_l_ph(true_capacity), WORT, &lactic());
            if takes > dose { low = mid } else { high = mid }
        }
        0.5 * (low + high)
    }

    /// Hastings' approximation (Abramowitz & Stegun 26.2.23), within 0.00045.
    fn normal_quantile(share: f64) -> f64 {
        let t = (-2.0 * share.min(1.0 - share).ln()).sqrt();
        let z = t
            - (2.515_517 + t * (0.802_853 + t * 0.010_328))
                / (1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308)));
        if share < 0.5 { -z } else { z }
    }

    /// Numbers a person may type, and numbers nobody should.
    fn number() -> impl Strategy<Value = f64> {
        prop_oneof![4 => 0.0..8.0f64, 2 => 0.0..1.0f64, 1 => Just(0.0), 1 => -100.0..0.0f64, 1 => -1e6..1e6f64]
    }

    #[test]
    fn nothing_to_do_when_already_there() {
        let need = needed(read(4.4), Ph::new(4.5), prior(), WORT, &lactic()).unwrap();
        assert_eq!(need.value, Volume::ZERO);
        assert_eq!(next_dose(read(4.52), Ph::new(4.5), prior(), WORT, &lactic(), METER), Ok(Volume::ZERO));
    }

    #[test]
    fn a_well_known_wort_gets_the_whole_dose() {
        let known = Estimate::relative(Buffering::meq_per_l_ph(8.8), 0.01);
        let from = Estimate::normal(Ph::new(5.3), 0.01);
        let need = needed(from, Ph::new(4.5), known, WORT, &lactic()).unwrap();
        let dose = next_dose(from, Ph::new(4.5), known, WORT, &lactic(), PhDifference::units(0.01)).unwrap();
        assert_eq!(dose, need.value);
    }

    #[test]
    fn the_ladder_overshoots_in_at_most_one_of_twenty_worts_and_arrives() {
        // Quantiles of the prior stand for a thousand worts; the pH is read without error.
        let (mut overshot, mut doses, total) = (0, 0, 199);
        for place in 1..=total {
            let share = f64::from(place) / f64::from(total + 1);
            let z = normal_quantile(share);
            let truth = 8.8 * (1.0 + 0.1875 * z);
            let mut ph = 5.3;
            let mut steps = Vec::new();
            for _ in 0..6 {
                let belief = update_buffering(prior(), &steps, WORT, &lactic(), METER);
                let dose = next_dose(read(ph), Ph::new(4.5), belief, WORT, &lactic(), METER).unwrap();
                if dose <= Volume::ZERO {
                    break;
                }
                let after = stirred(ph, truth, dose);
                steps.push(DoseStep { acid: dose, before: Ph::new(ph), after: Ph::new(after) });
                (ph, doses) = (after, doses + 1);
            }
            overshot += i32::from(ph < 4.5 - OVERSHOOT.as_units());
            // Worts within two deviations end near the target.
            assert!(z.abs() > 2.0 || (4.38..4.6).contains(&ph), "{truth}: {ph}");
        }
        assert!(overshot * 20 <= total, "{overshot} of {total}");
        assert!(doses <= 4 * total, "{doses}");
    }

    #[test]
    fn says_what_is_wrong() {
        let none = Acid { kind: AcidKind::Lactic, strength: Fraction::ZERO };
        assert_eq!(needed(read(5.0), Ph::new(4.5), prior(), WORT, &none), Err(DropError::Acid(none)));
        assert_eq!(
            needed(read(5.0), Ph::new(4.5), prior(), Volume::ZERO, &lactic()),
            Err(DropError::Volume(Volume::ZERO))
        );
        assert!(needed(read(f64::NAN), Ph::new(4.5), prior(), WORT, &lactic()).is_err());
    }

    #[test]
    fn senseless_steps_teach_nothing() {
        let step = |ml: f64, before: f64, after: f64| DoseStep {
            acid: Volume::millilitres(ml),
            before: Ph::new(before),
            after: Ph::new(after),
        };
        for wrong in [
            step(10.0, 5.0, 4.97),
            step(10.0, 4.8, 5.0),
            step(0.0, 5.0, 4.5),
            step(2000.0, 5.0, 4.5),
            step(10.0, 5.0, f64::NAN),
        ] {
            assert_eq!(update_buffering(prior(), &[wrong], WORT, &lactic(), METER), prior());
        }
    }

    fn mmol(value: f64) -> MolarConcentration {
        MolarConcentration::mmol_per_l(value)
    }
    fn curve() -> BufferCurve {
        BufferCurve::prior(Plato::degrees(11.0), one())
    }
    fn titration(start: f64, steps: &[Step]) -> Titration {
        Titration::new(&curve(), read(start), steps, AcidKind::Lactic, METER)
    }
    fn climb(titration: &Titration, to: f64) -> Ladder {
        ladder(titration, Ph::new(to), WORT, &lactic(), METER).unwrap()
    }

    #[test]
    fn the_first_rung_is_at_most_half_and_the_last_is_nothing() {
        let first = climb(&titration(5.3, &[]), 4.5);
        let Rung::Pour(dose) = first.now else { unreachable!("{first:?}") };
        assert!(dose <= first.whole.value * 0.5 && dose >= first.whole.value * 0.2, "{first:?}");
        assert_eq!(climb(&titration(4.52, &[]), 4.5).now, Rung::Arrived);
        let past = climb(&titration(4.3, &[]), 4.5).now;
        assert!(matches!(past, Rung::Past(by) if (by.as_units() - 0.2).abs() < 0.03), "{past:?}");
    }

    #[test]
    fn nothing_is_poured_when_nothing_is_known() {
        // Acid poured, its pH not read: what is left may be nothing.
        let unread = [Step { acid: mmol(6.0), read: None }];
        assert_eq!(climb(&titration(5.3, &unread), 4.5).now, Rung::Measure);
    }

    #[test]
    fn a_mash_is_corrected_by_the_same_rungs() {
        // 200 mEq to the pH, 0.2 to go, known within a fifth and the meter's error.
        let per_ph = Charge::meq(200.0);
        let rung = |gap: f64, first: bool| {
            let whole = Estimate::normal(per_ph * gap, 200.0 * (0.2 * gap).hypot(0.03));
            mash_ladder(whole, per_ph, Ph::new(5.4), &lactic(), METER, first).unwrap()
        };
        let (Rung::Pour(first), Rung::Pour(later)) = (rung(0.2, true).now, rung(0.2, false).now) else {
            unreachable!()
        };
        let whole = rung(0.2, false).whole.value;
        // 10.2 mEq to the millilitre at pH 5.4.
        assert!((whole.as_millilitres() - 40.0 / 10.3).abs() < 0.05, "{whole:?}");
        assert!(first <= whole * 0.5 && later > first && later <= whole);
        assert_eq!(rung(0.02, false).now, Rung::Arrived);
        assert!(matches!(rung(-0.2, false).now, Rung::Past(by) if (by.as_units() - 0.2).abs() < 1e-9));
    }

    #[test]
    fn blending_and_soda_take_an_overshoot_back() {
        let wort = curve();
        let at = |acid: f64| wort.ph_with(Ph::new(5.3), AcidKind::Lactic, mmol(acid));
        let step = |acid: f64| Step { acid: mmol(acid), read: Some(at(acid)) };
        let sharp = PhDifference::units(0.001);
        let titration = |acid: f64| {
            let start = Estimate::normal(Ph::new(5.3), 0.001);
            Titration::new(&wort, start, &[step(acid)], AcidKind::Lactic, sharp)
        };
        let to = Ph::new(4.5);
        assert_eq!(after_overshoot(&titration(4.0), to, WORT), None);
        let over = after_overshoot(&titration(11.0), to, WORT).unwrap();
        assert_eq!(over.remedy, Remedy::LetItBe);
        // All the acid in the larger volume.
        let all = WORT + over.unsoured.unwrap();
        assert!((at(11.0 * (WORT / all)) - to).as_units().abs() < 0.01, "{over:?}");
        // Soda gives 11.9 mEq a gram; what is left of the acid's charge is right for the target.
        let base = over.baking_soda.as_grams() * 11.904 / WORT.as_litres();
        let charge = 11.0 * charge_in_wort(AcidKind::Lactic, to).value() - base;
        assert!(
            (wort.ph_after(Ph::new(5.3), ChargeConcentration::meq_per_l(charge)) - to).as_units().abs()
                < 0.02
        );
        assert!((over.sodium.as_mg_per_l() - over.baking_soda.as_grams() / 20.0 * 273.7).abs() < 0.5);
        let far = after_overshoot(&titration(40.0), to, WORT).unwrap();
        assert_eq!(far.remedy, Remedy::BakingSoda);
        assert!(far.below > over.below);
    }

    proptest! {
        #[test]
        fn no_rung_is_negative_or_more_than_the_whole(
            start in 4.0..6.5f64, to in 3.0..5.6f64, acid in prop::collection::vec((0.0..6.0f64, 3.5..5.5f64), 0..5), error in 0.0..0.3f64,
        ) {
            let steps: Vec<Step> =
                acid.iter().map(|&(acid, ph)| Step { acid: mmol(acid), read: Some(Ph::new(ph)) }).collect();
            let meter = PhDifference::units(error);
            let titration = Titration::new(&curve(), Estimate::exact(Ph::new(start)), &steps, AcidKind::Lactic, meter);
            let ladder = ladder(&titration, Ph::new(to), WORT, &lactic(), meter).unwrap();
            prop_assert!(ladder.whole.is_sound());
            if let Rung::Pour(dose) = ladder.now {
                prop_assert!(dose > Volume::ZERO && dose <= ladder.whole.value && dose.is_finite());
            }
        }

        #[test]
        fn no_finite_number_makes_a_nan_of_a_rung(a in number(), b in number(), c in number(), d in number(), e in number(), kind in 0..AcidKind::ALL.len()) {
            let acid = Acid { kind: AcidKind::ALL[kind], strength: Fraction::of_one(d) };
            let steps = [Step { acid: mmol(a), read: Some(Ph::new(b)) }, Step { acid: mmol(c), read: None }];
            let meter = PhDifference::units(e);
            let titration = Titration::new(&curve(), read(d), &steps, acid.kind, meter);
            let text = format!(
                "{:?} {:?} {:?}",
                ladder(&titration, Ph::new(b), Volume::litres(c), &acid, meter),
                after_overshoot(&titration, Ph::new(b), Volume::litres(c)),
                next_rung(Estimate::band(Volume::litres(a), Volume::litres(b), Volume::litres(c)), Volume::litres(d), meter, a > b),
            );
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
        }

        #[test]
        fn a_step_finds_the_true_capacity(truth in 6.0..12.0f64, ml in 5.0..25.0f64) {
            let after = stirred(5.4, truth, Volume::millilitres(ml));
            let step = DoseStep { acid: Volume::millilitres(ml), before: Ph::new(5.4), after: Ph::new(after) };
            let belief = update_buffering(prior(), &[step], WORT, &lactic(), PhDifference::units(0.005));
            let before = (prior().value.as_meq_per_l_ph() - truth).abs();
            prop_assert!((belief.value.as_meq_per_l_ph() - truth).abs() <= before + 1e-6);
            if 5.4 - after >= 0.01 {
                prop_assert!(belief.deviation() < prior().deviation());
            }
        }

        #[test]
        fn more_acid_for_more_buffering_and_for_a_lower_target(
            from in 4.8..6.0f64, to in 3.8..4.7f64, capacity in 2.0..20.0f64, kind in 0..AcidKind::ALL.len(), strength in 0.05..1.0f64,
        ) {
            let acid = Acid { kind: AcidKind::ALL[kind], strength: Fraction::of_one(strength) };
            let need = |to: f64, capacity: f64| {
                let buffering = Estimate::relative(Buffering::meq_per_l_ph(capacity), 0.19);
                needed(read(from), Ph::new(to), buffering, WORT, &acid).unwrap()
            };
            let base = need(to, capacity);
            prop_assert!(base.is_sound() && base.low >= Volume::ZERO);
            prop_assert!(need(to, capacity * 1.1).value > base.value);
            prop_assert!(need(to - 0.05, capacity).value > base.value);
        }

        #[test]
        fn no_finite_number_makes_a_nan(a in number(), b in number(), c in number(), d in number(), e in number(), kind in 0..AcidKind::ALL.len()) {
            let acid = Acid { kind: AcidKind::ALL[kind], strength: Fraction::of_one(d) };
            let factor = Estimate::band(Count::of(a), Count::of(b), Count::of(c));
            let belief = prior_buffering(Plato::degrees(e), factor);
            let (wort, meter) = (Volume::litres(c), PhDifference::units(b));
            let step = DoseStep { acid: Volume::litres(a), before: Ph::new(d), after: Ph::new(e) };
            let later = update_buffering(belief, &[step], wort, &acid, meter);
            let from = Estimate::band(Ph::new(a), Ph::new(b), Ph::new(c));
            let text = format!(
                "{belief:?} {later:?} {:?} {:?}",
                needed(from, Ph::new(e), later, wort, &acid),
                next_dose(from, Ph::new(e), later, wort, &acid, meter)
            );
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
        }

        #[test]
        fn the_next_dose_never_exceeds_the_need(
            from in 3.8..6.5f64, to in 3.8..5.6f64, capacity in 1.0..25.0f64, spread in 0.0..0.6f64, error in 0.005..0.3f64,
        ) {
            let buffering = Estimate::relative(Buffering::meq_per_l_ph(capacity), spread);
            let from = Estimate::normal(Ph::new(from), error);
            let need = needed(from, Ph::new(to), buffering, WORT, &lactic()).unwrap();
            let dose = next_dose(from, Ph::new(to), buffering, WORT, &lactic(), PhDifference::units(error)).unwrap();
            prop_assert!(dose >= Volume::ZERO && dose <= need.value && dose.is_finite());
        }
    }
}
