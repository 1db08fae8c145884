//! The dose ladder: pour a part, stir, wait, measure, pour the next.
//!
//! How much acid is still to go comes from a [`Titration`] for wort, from the proton balance for a
//! mash, from a glass for finished beer. Each dose is kept so small that the pH hardly ever ends
//! below the target; each reading narrows what is left, so the next can be bolder.

use super::buffer::{DOSE_ERROR, ROOM, Titration, WORT_STRENGTH, charge_in_wort};
use crate::chem::carbonate::Carbonate;
use crate::data::Source;
use crate::data::acids::Acid;
use crate::data::salts::Salt;
use crate::quantity::{
    Buffering, ChargeConcentration, Concentration, Estimate, Mass, MolarConcentration, Ph, PhDifference,
    Volume,
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
/// Highest chance, one-sided, that a dose is allowed to overshoot by more than
/// [`OVERSHOOT`]: 5 %, the normal quantile of 95 %.
const Z95: f64 = 1.644_853_626_951_472_7;
/// What counts as overshooting the target.
pub const OVERSHOOT: PhDifference = PhDifference::units(0.05);
/// pH at which a drop can end.
const LOWEST: Ph = Ph::new(2.8);
const HIGHEST: Ph = Ph::new(7.0);

/// Why no dose can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DropError {
    /// Target lies outside 2.8..=7.
    TargetPh(Ph),
    /// Volume must be above zero.
    Volume(Volume),
    /// The acid gives nothing at the target: its strength is zero or above one.
    Acid(Acid),
    /// Error of the meter must be 0 or more.
    MeterError(PhDifference),
}

impl fmt::Display for DropError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TargetPh(ph) => write!(f, "the pH wanted must be 2.8 to 7, not {}", ph.value()),
            Self::Volume(v) => write!(f, "the volume of wort must be above 0 L, not {} L", v.as_litres()),
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

fn check(to: Ph, wort: Volume, acid: &Acid) -> Result<(), DropError> {
    if !(to >= LOWEST && to <= HIGHEST) {
        return Err(DropError::TargetPh(to));
    }
    if !(wort > Volume::ZERO && wort.is_finite()) {
        return Err(DropError::Volume(wort));
    }
    let strength = acid.strength.as_of_one();
    if strength > 0.0 && strength <= 1.0 { Ok(()) } else { Err(DropError::Acid(*acid)) }
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
fn next_rung(whole: Estimate<Volume>, per_ph: Volume, meter: PhDifference, first: bool) -> Ladder {
    let (to_go, per_ph) = (whole.value.as_litres(), per_ph.as_litres().max(1e-12));
    let (low, high) = (-OVERSHOOT.as_units() * per_ph, meter.as_units().max(0.0) * per_ph);
    let unsure = DISTRUST * whole.deviation();
    let mut pour = (to_go - low - Z95 * unsure.hypot(DOSE_ERROR * to_go)).min(to_go);
    if first {
        pour = pour.max(FIRST_DOSE[0] * to_go.max(0.0)).min(FIRST_DOSE[1] * to_go.max(0.0));
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
    check(to, wort, acid)?;
    if !(meter >= PhDifference::ZERO && meter.is_finite()) {
        return Err(DropError::MeterError(meter));
    }
    let volume = |amount: MolarConcentration| wort * (amount / acid.molarity());
    let (whole, bottom) = (titration.to_go(to).map(volume), titration.to_go(to - OVERSHOOT).map(volume));
    let per_ph = (bottom.value - whole.value) / OVERSHOOT.as_units();
    Ok(next_rung(whole, per_ph, meter, titration.acid() <= MolarConcentration::ZERO))
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
    // Part of its bicarbonate stays as it is and takes no proton.
    let per_gram = Salt::BakingSoda.brings().alkalinity;
    let taken = Carbonate::new(ROOM, WORT_STRENGTH).acid_to(per_gram, Ph::new(8.3), to);
    let baking_soda = Mass::grams((base * wort).as_meq() / taken.as_meq_per_l());
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
    use crate::quantity::{Count, Fraction, Plato};
    use proptest::prelude::*;

    const WORT: Volume = Volume::litres(20.0);
    const METER: PhDifference = PhDifference::units(0.03);

    fn lactic() -> Acid {
        Acid { kind: AcidKind::Lactic, strength: Fraction::of_one(0.8) }
    }
    fn one() -> Estimate<Count> {
        Estimate::exact(Count::of(1.0))
    }
    fn read(ph: f64) -> Estimate<Ph> {
        Estimate::normal(Ph::new(ph), METER.as_units())
    }
    /// Numbers a person may type, and numbers nobody should.
    fn number() -> impl Strategy<Value = f64> {
        prop_oneof![4 => 0.0..8.0f64, 2 => 0.0..1.0f64, 1 => Just(0.0), 1 => -100.0..0.0f64, 1 => -1e6..1e6f64]
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
    fn says_what_is_wrong() {
        let none = Acid { kind: AcidKind::Lactic, strength: Fraction::ZERO };
        let wort = titration(5.3, &[]);
        assert_eq!(ladder(&wort, Ph::new(4.5), WORT, &none, METER), Err(DropError::Acid(none)));
        let empty = Volume::ZERO;
        assert_eq!(ladder(&wort, Ph::new(4.5), empty, &lactic(), METER), Err(DropError::Volume(empty)));
        assert!(ladder(&wort, Ph::new(f64::NAN), WORT, &lactic(), METER).is_err());
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
    }
}
