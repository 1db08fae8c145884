//! Measuring a dose of acid out: drops, weights, a diluted stock; and the two ways to find a dose
//! in a glass before the whole batch gets it.

use super::buffer::Step;
use super::drop::{Ladder, Rung};
use crate::data::Source;
use crate::data::acids::Acid;
use crate::quantity::{Count, Density, Estimate, Fraction, Mass, MolarConcentration, Ph, Quantity, Volume};
use std::fmt;

/// How to find the drops of a millilitre, for the person.
pub const DROPPER_PROCEDURE: &str = "Put a small glass on the scale and tare. Hold the dropper upright, count 50 drops of the liquid you will dose into the glass, one each second, and read the grams. Other liquids make other drops: do it again for each.";
/// How a wort is measured after a dose, for the person.
pub const STIR_AND_MEASURE: &str = "Stir for two minutes from the bottom up, wait three, take a sample, cool it to room temperature, rinse the probe with it, and read when the figure stands still.";
/// Source of the rules of this module.
pub const DOSING_SOURCE: Source = Source::our_estimate(
    "a dose of ten steps of the scale or one millilitre is within 5 %; a jug or glass is within 2 %",
);

/// A dose below this many steps of the scale is not weighed.
const LEAST_STEPS: f64 = 10.0;
/// Nor is one below this poured.
const LEAST_VOLUME: Volume = Volume::millilitres(1.0);
/// Times that an acid is diluted tenfold at most.
const MOST_DILUTIONS: u8 = 3;
/// Acid in a stock, at least.
const STOCK_ACID: Mass = Mass::grams(10.0);
/// Parts of water to one of acid, by weight.
const STOCK_WATER: f64 = 9.0;

/// Why a dose can't be measured out or found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DosingError {
    /// Dose must be 0 L or more.
    Dose(Volume),
    /// Strength must be above 0 and at most 100 %.
    Acid(Acid),
    /// Step of the scale must be above 0 g.
    ScaleStep(Mass),
    /// Drops must be counted and weighed: both above 0.
    Drops(Count, Mass),
    /// Volume of the glass must be above 0 L.
    Glass(Volume),
    /// Volume of the batch must be above 0 L.
    Batch(Volume),
}

impl fmt::Display for DosingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Dose(v) => write!(f, "the dose can't be below 0, not {} L", v.as_litres()),
            Self::Acid(acid) => write!(
                f,
                "the acid's strength must be above 0 and up to 100 %, not {} %",
                acid.strength.as_percent()
            ),
            Self::ScaleStep(m) => write!(f, "the scale's step must be above 0 g, not {} g", m.as_grams()),
            Self::Drops(drops, mass) => write!(
                f,
                "count and weigh some drops: {} drops of {} g are none",
                drops.value(),
                mass.as_grams()
            ),
            Self::Glass(v) => write!(f, "the glass must hold more than 0 L, not {} L", v.as_litres()),
            Self::Batch(v) => write!(f, "the batch must be above 0 L, not {} L", v.as_litres()),
        }
    }
}

/// A dropper, as the person found it with one liquid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dropper {
    drops_per_ml: Count,
}

impl Dropper {
    /// From drops that were counted and weighed; see [`DROPPER_PROCEDURE`].
    ///
    /// # Errors
    /// [`DosingError::Drops`] when there are none.
    pub fn weighed(drops: Count, mass: Mass, liquid: Density) -> Result<Self, DosingError> {
        let per_ml = drops.value() / liquid.volume_of(mass).as_millilitres();
        if drops.value() > 0.0 && mass > Mass::ZERO && per_ml > 0.0 && per_ml.is_finite() {
            Ok(Self { drops_per_ml: Count::of(per_ml) })
        } else {
            Err(DosingError::Drops(drops, mass))
        }
    }

    /// Drops of a millilitre.
    pub const fn drops_per_ml(&self) -> Count {
        self.drops_per_ml
    }

    /// Drops of a volume; not rounded.
    pub const fn drops(&self, volume: Volume) -> Count {
        Count::of(volume.as_millilitres() * self.drops_per_ml.value())
    }

    /// Volume of so many drops.
    pub const fn volume(&self, drops: Count) -> Volume {
        Volume::millilitres(drops.value() / self.drops_per_ml.value())
    }
}

/// A dose as it is measured out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The liquid or the crystals that are measured: the acid itself or a stock of it.
    pub of: Acid,
    /// Times that the acid is first diluted tenfold: 0 for the acid as it is.
    pub dilutions: u8,
    /// Weight of the dose.
    pub mass: Mass,
    /// Volume of the dose.
    pub volume: Volume,
}

/// What goes into a stock, or into each of its dilutions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stock {
    /// Water, which is weighed first.
    pub water: Mass,
    /// Acid, or the stock before, which is poured into it.
    pub acid: Mass,
}

impl Acid {
    /// The same acid with nine parts of water by weight.
    #[must_use]
    pub fn diluted(&self) -> Self {
        Self { strength: self.strength / (1.0 + STOCK_WATER), ..*self }
    }
}

/// How a dose of acid is measured out with a scale of this step. When it is less than ten steps or,
/// for a liquid, less than a millilitre, a stock of one part and nine of water by weight takes its
/// place; up to three times.
///
/// # Errors
/// [`DosingError`] when an argument is outside its range.
pub fn measured_out(dose: Volume, acid: &Acid, scale_step: Mass) -> Result<Measured, DosingError> {
    if !(dose >= Volume::ZERO && dose.is_finite()) {
        return Err(DosingError::Dose(dose));
    }
    if !(acid.strength > Fraction::ZERO && acid.strength <= Fraction::ALL) {
        return Err(DosingError::Acid(*acid));
    }
    if !(scale_step > Mass::ZERO && scale_step.is_finite()) {
        return Err(DosingError::ScaleStep(scale_step));
    }
    let mut of = *acid;
    let mut mass = acid.density().mass_of(dose);
    let mut dilutions = 0;
    while mass > Mass::ZERO && dilutions < MOST_DILUTIONS {
        let crystals = of.kind.is_solid() && of.strength > Fraction::percent(90.0);
        let pours = crystals || of.density().volume_of(mass) >= LEAST_VOLUME;
        if pours && mass >= scale_step * LEAST_STEPS {
            break;
        }
        of = of.diluted();
        mass = mass * (1.0 + STOCK_WATER);
        dilutions += 1;
    }
    Ok(Measured { of, dilutions, mass, volume: of.density().volume_of(mass) })
}

/// What to weigh for a stock, with a scale of this step: 10 g of acid, or ten steps when that is more.
pub fn stock(scale_step: Mass) -> Stock {
    let acid = STOCK_ACID.max(scale_step * LEAST_STEPS);
    Stock { water: acid * STOCK_WATER, acid }
}

/// Points of a titrated sample as the steps of a titration: acid in all and the pH then, in any order.
/// The sample's own volume counts, before any acid; the water of the acid does not, see [`super::buffer`].
///
/// # Errors
/// [`DosingError`] when glass or acid are none.
pub fn sample_steps(
    points: &[(Volume, Ph)],
    sample: Volume,
    liquid: &Acid,
) -> Result<Vec<Step>, DosingError> {
    if !(sample > Volume::ZERO && sample.is_finite()) {
        return Err(DosingError::Glass(sample));
    }
    if !(liquid.strength > Fraction::ZERO && liquid.strength <= Fraction::ALL) {
        return Err(DosingError::Acid(*liquid));
    }
    let mut sorted: Vec<(f64, Ph)> = Vec::with_capacity(points.len());
    for (volume, ph) in points {
        let litres = volume.as_litres().max(0.0);
        let place = sorted.partition_point(|other| other.0 <= litres);
        sorted.insert(place, (litres, *ph));
    }
    let mut before = 0.0;
    let steps = sorted.into_iter().map(|(litres, ph)| {
        let acid = liquid.molarity() * ((litres - before) / sample.as_litres());
        before = litres;
        Step { acid, read: Some(ph) }
    });
    Ok(steps.collect())
}

/// A glass of finished beer that was made sour enough, drop by drop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BenchTrial {
    /// Beer in the glass before.
    pub glass: Volume,
    /// What was dropped in, in all.
    pub added: Volume,
    /// What is in the dropper or syringe.
    pub liquid: Acid,
    /// The smallest part that was added at a time: taste can't tell less.
    pub part: Volume,
}

/// What a glass says about the batch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// Acid for the whole batch, and the part of it to pour first.
    pub ladder: Ladder,
    /// Acid that the beer then holds more than before.
    pub more: MolarConcentration,
}

/// Relative error of glass, batch volume and dose, each; our estimate.
const VOLUME_ERROR: f64 = 0.02;
/// Part of the acid that a batch gets first: the beer is colder and livelier there than in the glass.
const FIRST_PART: f64 = 0.75;

/// The dose of a whole batch of beer from a trial in a glass. The band holds the volumes, 2 % each,
/// and the part that taste can't tell; the first part to pour is three quarters, or less where the
/// trial was coarse. Then stir, taste, and pour the rest.
///
/// # Errors
/// [`DosingError`] when an argument is outside its range.
pub fn scaled_up(trial: &BenchTrial, batch: Volume, acid: &Acid) -> Result<Trial, DosingError> {
    let positive = |volume: Volume| volume > Volume::ZERO && volume.is_finite();
    if !positive(trial.glass) {
        return Err(DosingError::Glass(trial.glass));
    }
    if !positive(batch) {
        return Err(DosingError::Batch(batch));
    }
    for wrong in [trial.added, trial.part] {
        if !(wrong >= Volume::ZERO && wrong.is_finite()) {
            return Err(DosingError::Dose(wrong));
        }
    }
    for one in [trial.liquid, *acid] {
        if !(one.strength > Fraction::ZERO && one.strength <= Fraction::ALL) {
            return Err(DosingError::Acid(one));
        }
    }
    let more = trial.liquid.molarity() * (trial.added / trial.glass);
    let whole = batch * (more / acid.molarity());
    // The right amount lies anywhere between the last part and the one before.
    let coarse = trial.part.min(trial.added) / trial.added.max(Volume::from_base(1e-12)) / 12_f64.sqrt();
    let relative = (3_f64.sqrt() * VOLUME_ERROR).hypot(coarse);
    let whole = Estimate::relative(whole, relative);
    let pour = (whole.value * FIRST_PART).min(whole.low);
    let now = if pour > Volume::ZERO { Rung::Pour(pour) } else { Rung::Arrived };
    Ok(Trial { ladder: Ladder { whole, now }, more })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::data::acids::AcidKind;
    use proptest::prelude::*;

    const LACTIC: Acid = Acid { kind: AcidKind::Lactic, strength: Fraction::of_one(0.8) };
    const STEP: Mass = Mass::grams(0.1);

    fn number() -> impl Strategy<Value = f64> {
        prop_oneof![4 => 0.0..8.0f64, 2 => 0.0..1.0f64, 1 => Just(0.0), 1 => -100.0..0.0f64, 1 => -1e6..1e6f64]
    }

    #[test]
    fn fifty_drops_of_water() {
        let dropper =
            Dropper::weighed(Count::of(50.0), Mass::grams(2.5), Density::kg_per_m3(1000.0)).unwrap();
        assert!((dropper.drops_per_ml().value() - 20.0).abs() < 1e-9);
        assert!((dropper.drops(Volume::millilitres(1.5)).value() - 30.0).abs() < 1e-9);
        assert!((dropper.volume(Count::of(30.0)).as_millilitres() - 1.5).abs() < 1e-9);
        assert!(Dropper::weighed(Count::of(0.0), Mass::grams(2.5), Density::kg_per_m3(1000.0)).is_err());
    }

    #[test]
    fn small_doses_come_from_a_stock() {
        let plain = measured_out(Volume::millilitres(8.0), &LACTIC, STEP).unwrap();
        assert_eq!((plain.dilutions, plain.of), (0, LACTIC));
        assert!((plain.mass.as_grams() - 8.0 * 1.1848).abs() < 1e-9);
        // Half a millilitre is 0.59 g: below ten steps and below a millilitre.
        let small = measured_out(Volume::millilitres(0.5), &LACTIC, STEP).unwrap();
        assert_eq!(small.dilutions, 1);
        assert!((small.of.strength.as_percent() - 8.0).abs() < 1e-12);
        assert!((small.mass.as_grams() - 10.0 * 0.5 * 1.1848).abs() < 1e-9);
        // Crystals are only weighed: 2 g are 20 steps of the scale.
        let crystals = Acid { kind: AcidKind::Citric, strength: Fraction::ALL };
        let dose = crystals.density().volume_of(Mass::grams(1.2));
        assert_eq!(measured_out(dose, &crystals, STEP).unwrap().dilutions, 0);
        assert_eq!(stock(STEP), Stock { water: Mass::grams(90.0), acid: Mass::grams(10.0) });
        assert_eq!(stock(Mass::grams(5.0)).acid, Mass::grams(50.0));
    }

    #[test]
    fn a_glass_says_what_the_batch_takes() {
        // 2 mL of 8 % lactic acid made 100 mL right, in steps of 0.2 mL: 1.6 g/L.
        let trial = BenchTrial {
            glass: Volume::millilitres(100.0),
            added: Volume::millilitres(2.0),
            liquid: LACTIC.diluted(),
            part: Volume::millilitres(0.2),
        };
        let told = scaled_up(&trial, Volume::litres(20.0), &LACTIC).unwrap();
        let grams = LACTIC.density().mass_of(told.ladder.whole.value).as_grams() * 0.8;
        let by_hand = 2.0e-3 * LACTIC.diluted().density().as_kg_per_m3() * 0.08 / 0.1 * 20.0;
        assert!((grams - by_hand).abs() < 1e-9 * grams);
        let Rung::Pour(first) = told.ladder.now else { unreachable!("{told:?}") };
        assert!(first <= told.ladder.whole.low && first >= told.ladder.whole.value * 0.7);
        // One coarse step tells little.
        let coarse = BenchTrial { part: trial.added, ..trial };
        let Rung::Pour(less) = scaled_up(&coarse, Volume::litres(20.0), &LACTIC).unwrap().ladder.now else {
            unreachable!()
        };
        assert!(less < first);
    }

    proptest! {
        #[test]
        fn a_stock_holds_the_same_acid(ml in 0.001..50.0f64, kind in 0..AcidKind::ALL.len(), strength in 0.05..1.0f64, step in 0.01..2.0f64) {
            let acid = Acid { kind: AcidKind::ALL[kind], strength: Fraction::of_one(strength) };
            let out = measured_out(Volume::millilitres(ml), &acid, Mass::grams(step)).unwrap();
            let pure = acid.density().mass_of(Volume::millilitres(ml)) * acid.strength;
            let held = out.mass * out.of.strength;
            prop_assert!((held / pure - 1.0).abs() < 1e-9);
            prop_assert!(out.dilutions == MOST_DILUTIONS || out.mass >= Mass::grams(step * LEAST_STEPS));
        }

        #[test]
        fn the_order_of_points_does_not_matter(points in prop::collection::vec((0.0..30.0f64, 3.0..6.0f64), 0..8)) {
            let typed: Vec<(Volume, Ph)> =
                points.iter().map(|(ml, ph)| (Volume::millilitres(*ml), Ph::new(*ph))).collect();
            let back: Vec<(Volume, Ph)> = typed.iter().rev().copied().collect();
            let steps = |points: &[(Volume, Ph)]| sample_steps(points, Volume::millilitres(100.0), &LACTIC.diluted()).unwrap();
            let (one, other) = (steps(&typed), steps(&back));
            prop_assert!(one.iter().all(|step| step.acid >= MolarConcentration::ZERO));
            let all = |steps: &[Step]| steps.iter().map(|step| step.acid.as_mmol_per_l()).sum::<f64>();
            prop_assert!((all(&one) - all(&other)).abs() < 1e-9 && one.len() == other.len());
        }

        #[test]
        fn no_finite_number_makes_a_nan(a in number(), b in number(), c in number(), d in number(), e in number(), kind in 0..AcidKind::ALL.len()) {
            let acid = Acid { kind: AcidKind::ALL[kind], strength: Fraction::of_one(d) };
            let trial = BenchTrial { glass: Volume::litres(a), added: Volume::litres(b), liquid: acid, part: Volume::litres(c) };
            let text = format!(
                "{:?} {:?} {:?} {:?} {:?}",
                scaled_up(&trial, Volume::litres(e), &LACTIC),
                measured_out(Volume::litres(a), &acid, Mass::grams(b)),
                stock(Mass::grams(c)),
                sample_steps(&[(Volume::litres(a), Ph::new(b)), (Volume::litres(c), Ph::new(e))], Volume::litres(d), &acid),
                Dropper::weighed(Count::of(a), Mass::grams(b), Density::kg_per_m3(c)),
            );
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
        }
    }
}
