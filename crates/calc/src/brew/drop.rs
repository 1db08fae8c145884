//! The acid drop: wort is acidified before the bacteria go in.
//!
//! Wort takes `β · ΔpH` of charge to change its pH, plus the free protons
//! themselves; the acid gives its charge at the pH where the wort ends. Each
//! measured dose tells what β of this wort is, and the next dose is kept so
//! small that the wort hardly ever ends below the target.

use crate::data::Source;
use crate::data::acids::Acid;
use crate::quantity::{
    Buffering, Charge, ChargeConcentration, Count, Estimate, Ph, PhDifference, Plato, Volume,
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
/// Relative standard deviation of a measured dose of acid.
const DOSE_ERROR: f64 = 0.02;
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

#[cfg(test)]
mod tests {
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

    proptest! {
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
