//! Grist and water: what must go into the mash for the beer that is wanted.

use super::ledger::{LedgerError, Wort, evaporated};
use crate::data::Source;
use crate::data::malts::MaltClass;
use crate::quantity::{Duration, Fraction, Mass, Plato, Temperature, Volume, VolumePerMass, VolumeRate};
use std::fmt;

const ROOM: Temperature = Temperature::celsius(20.0);

/// Why grist or water can't be worked out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum GristError {
    /// No malt gives any extract.
    NoExtract,
    /// A malt's figures lie outside 0..=1 for extract, 0..=0.4 for moisture, or its mass is below zero.
    MaltFigures {
        /// Fine-grind extract, dry basis.
        extract: Fraction,
        /// Moisture.
        moisture: Fraction,
    },
    /// Efficiency lies above 0 and up to 1.
    Efficiency(Fraction),
    /// Gravity wanted lies above 0 and up to 40 °P.
    Gravity(Plato),
    /// Batch volume lies above 0.
    BatchVolume(Volume),
    /// The grain keeps all of the water.
    NoRunoff {
        /// Water in the mash.
        water: Volume,
    },
    /// Losses, times, rates and weights can't be below zero.
    BelowNothing,
    /// The day's liquids don't add up.
    Ledger(LedgerError),
}

impl fmt::Display for GristError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoExtract => write!(f, "no malt in the grist gives extract"),
            Self::MaltFigures { extract, moisture } => write!(
                f,
                "extract must be 0 to 100 % and moisture 0 to 40 %, not {} % and {} %",
                extract.as_percent(),
                moisture.as_percent()
            ),
            Self::Efficiency(e) => {
                write!(f, "efficiency must be above 0 and up to 100 %, not {} %", e.as_percent())
            }
            Self::Gravity(p) => {
                write!(f, "gravity wanted must be above 0 and up to 40 °P, not {}", p.as_degrees())
            }
            Self::BatchVolume(v) => write!(f, "the batch must be above 0 L, not {} L", v.as_litres()),
            Self::NoRunoff { water } => write!(f, "the grain keeps all {:.1} L of water", water.as_litres()),
            Self::BelowNothing => write!(f, "losses, times, rates and weights can't be below zero"),
            Self::Ledger(error) => write!(f, "{error}"),
        }
    }
}

impl From<LedgerError> for GristError {
    fn from(error: LedgerError) -> Self {
        Self::Ledger(error)
    }
}

/// What one malt can give: its figures from the maltster's sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaltYield {
    /// Fine-grind extract on the dry malt, 0..=1.
    pub extract: Fraction,
    /// Moisture, 0..=0.4.
    pub moisture: Fraction,
}

impl MaltYield {
    /// Extract of a mass of this malt if all of it were won.
    ///
    /// # Errors
    /// [`GristError::MaltFigures`], [`GristError::BelowNothing`].
    pub fn potential(&self, mass: Mass) -> Result<Mass, GristError> {
        if mass < Mass::ZERO {
            return Err(GristError::BelowNothing);
        }
        Ok(mass * self.per_mass()?)
    }

    fn per_mass(&self) -> Result<Fraction, GristError> {
        let (extract, moisture) = (self.extract.as_of_one(), self.moisture.as_of_one());
        if (0.0..=1.0).contains(&extract) && (0.0..=0.4).contains(&moisture) {
            Ok(Fraction::of_one(extract * (1.0 - moisture)))
        } else {
            Err(GristError::MaltFigures { extract: self.extract, moisture: self.moisture })
        }
    }
}

/// Extract that reaches the kettle. Efficiency above 0..=1 of the fine-grind extract.
///
/// # Errors
/// [`GristError`] when a figure is out of range.
pub fn extract_of(malts: &[(Mass, MaltYield)], efficiency: Fraction) -> Result<Mass, GristError> {
    check_efficiency(efficiency)?;
    malts.iter().try_fold(Mass::ZERO, |sum, (mass, malt)| Ok(sum + malt.potential(*mass)? * efficiency))
}

/// Weight of the whole grist that brings this extract to the kettle, for malts
/// given by their shares of the weight. Shares need not add up to one.
///
/// # Errors
/// [`GristError::NoExtract`] when the shares give nothing; others when a figure is out of range.
pub fn grist_for(
    extract: Mass,
    malts: &[(Fraction, MaltYield)],
    efficiency: Fraction,
) -> Result<Mass, GristError> {
    check_efficiency(efficiency)?;
    let (mut yielded, mut all) = (0.0, 0.0);
    for (share, malt) in malts {
        if *share < Fraction::ZERO {
            return Err(GristError::BelowNothing);
        }
        yielded += share.as_of_one() * malt.per_mass()?.as_of_one();
        all += share.as_of_one();
    }
    let per_mass = yielded / all * efficiency.as_of_one();
    if per_mass.is_finite() && per_mass > 0.0 { Ok(extract / per_mass) } else { Err(GristError::NoExtract) }
}

/// The grist's weight shared out. Shares that add up to nothing give nothing.
pub fn amounts(total: Mass, shares: &[Fraction]) -> Vec<Mass> {
    let all: Fraction = shares.iter().copied().sum();
    shares
        .iter()
        .map(|share| if all > Fraction::ZERO { total * (*share / all) } else { Mass::ZERO })
        .collect()
}

/// Shares of the weight. Weights that add up to nothing give zero shares.
pub fn shares(amounts: &[Mass]) -> Vec<Fraction> {
    let all: Mass = amounts.iter().copied().sum();
    amounts
        .iter()
        .map(|mass| if all > Mass::ZERO { Fraction::of_one(*mass / all) } else { Fraction::ZERO })
        .collect()
}

fn check_efficiency(efficiency: Fraction) -> Result<(), GristError> {
    let e = efficiency.as_of_one();
    if e > 0.0 && e <= 1.0 { Ok(()) } else { Err(GristError::Efficiency(efficiency)) }
}

/// The day between mash and fermenter. Every volume is counted at 20 °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// Wort wanted in the fermenter, before fruit.
    pub batch: Volume,
    /// Its extract.
    pub gravity: Plato,
    /// Wort left behind with trub and in hoses after the main boil.
    pub kettle_loss: Volume,
    /// Cold water that a boil drives off per hour.
    pub evaporation: VolumeRate,
    /// Boil after souring.
    pub main_boil: Duration,
    /// Unsoured wort set aside after the first boil; it does not come back in this balance.
    pub set_aside: Volume,
    /// Boil before souring.
    pub first_boil: Duration,
}

/// The wort at each stage of the day, counted back from the fermenter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stages {
    /// In the fermenter.
    pub fermenter: Wort,
    /// At the end of the main boil.
    pub after_main_boil: Wort,
    /// During souring, and at the start of the main boil.
    pub souring: Wort,
    /// Set aside for the yeast.
    pub set_aside: Wort,
    /// At the end of the first boil.
    pub after_first_boil: Wort,
    /// Runoff: what the mash must give.
    pub runoff: Wort,
}

/// Counts the day back from the fermenter to the runoff, by mass.
///
/// Boiling and cooling change volumes; only what evaporates, stays behind or
/// is set aside changes masses, so thermal contraction needs no factor.
/// Gravity above 0..=40 °P, batch above zero, the rest from zero up.
///
/// # Errors
/// [`GristError`] when an argument is outside its range.
pub fn runoff_needed(day: &Day) -> Result<Stages, GristError> {
    let p = day.gravity.as_degrees();
    if !(p > 0.0 && p <= 40.0) {
        return Err(GristError::Gravity(day.gravity));
    }
    if day.batch <= Volume::ZERO {
        return Err(GristError::BatchVolume(day.batch));
    }
    let sound = day.kettle_loss >= Volume::ZERO
        && day.evaporation >= VolumeRate::ZERO
        && day.main_boil >= Duration::ZERO
        && day.first_boil >= Duration::ZERO
        && day.set_aside >= Volume::ZERO;
    if !sound {
        return Err(GristError::BelowNothing);
    }
    let before = |wort: Wort, time| Wort { water: wort.water + evaporated(day.evaporation, time), ..wort };
    let fermenter = Wort::of_wort(day.batch, day.gravity, ROOM);
    let after_main_boil = Wort::of_wort(day.batch + day.kettle_loss, day.gravity, ROOM);
    let souring = before(after_main_boil, day.main_boil);
    let set_aside = Wort::of_wort(day.set_aside, souring.plato(), ROOM);
    let after_first_boil = souring + set_aside;
    let runoff = before(after_first_boil, day.first_boil);
    Ok(Stages { fermenter, after_main_boil, souring, set_aside, after_first_boil, runoff })
}

/// Absorption when no reading has taught a better one.
pub const ABSORPTION: VolumePerMass = VolumePerMass::l_per_kg(0.8);
/// Source of [`ABSORPTION`].
pub const ABSORPTION_SOURCE: Source =
    Source::our_estimate("0.8 L/kg with a grain basket, from practice; 0.5 when pressed, 1.1 with flakes");

/// Water for mash and rinse together, at 20 °C.
///
/// `absorption` is water in less wort out, both at 20 °C, per weight of grain:
/// what a person can measure. (The grain holds more water than that: the extract in
/// the runoff takes up room.) Grain and absorption from zero up.
///
/// # Errors
/// [`GristError::BelowNothing`].
pub fn water_for(runoff: &Wort, grain: Mass, absorption: VolumePerMass) -> Result<Volume, GristError> {
    if grain < Mass::ZERO || absorption < VolumePerMass::ZERO {
        return Err(GristError::BelowNothing);
    }
    Ok(runoff.volume(ROOM) + absorption * grain)
}

/// What the mash gives, from water and grist: the forward way of [`water_for`].
///
/// # Errors
/// [`GristError::NoRunoff`] when the grain keeps all the water;
/// [`GristError::BelowNothing`].
pub fn runoff_of(
    water: Volume,
    extract: Mass,
    grain: Mass,
    absorption: VolumePerMass,
) -> Result<Wort, GristError> {
    if grain < Mass::ZERO || absorption < VolumePerMass::ZERO || extract < Mass::ZERO {
        return Err(GristError::BelowNothing);
    }
    let out = water - absorption * grain;
    if out <= Volume::ZERO {
        return Err(GristError::NoRunoff { water });
    }
    Ok(Wort { extract, ..Wort::of_water(out, ROOM) }.filled_to(out, ROOM))
}

/// Where the extract went, step by step; a step is known once both its ends were read.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct EfficiencySteps {
    /// Of the grist's extract, what dissolved in the mash.
    pub conversion: Option<Fraction>,
    /// Of what dissolved, what reached the kettle; the rest stayed in the grain.
    pub lauter: Option<Fraction>,
}

/// Where the extract went, from the gravity of the mash liquid before the basket is lifted and, once read, the
/// extract in the kettle. `water` is all water in the mash and in the malt; `potential` what the grist could give.
/// By balance of mass: the liquid in the grain is as strong as that around it. A figure above 1.1 is a slip and
/// is left out.
pub fn efficiency_steps(
    liquid: Plato,
    water: Mass,
    potential: Mass,
    in_kettle: Option<Mass>,
) -> EfficiencySteps {
    let share = (liquid.as_degrees() / 100.0).clamp(0.0, 0.5);
    let dissolved = water * (share / (1.0 - share));
    let of = |part: Mass, whole: Mass| {
        let share = part / whole;
        (share > 0.0 && share <= 1.1).then_some(Fraction::of_one(share))
    };
    EfficiencySteps {
        conversion: of(dissolved, potential),
        lauter: in_kettle.and_then(|extract| of(extract, dissolved)),
    }
}

/// What makes a mash run off slowly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LauterRisk {
    /// Nothing in the grist.
    None,
    /// Much grain without husk.
    Husks,
    /// Much gum from oats, rye or unmalted grain.
    Gums,
}

/// Source of [`lauter_risk`].
pub const LAUTER_SOURCE: Source = Source::common_practice(
    "Half of the grist without husk, or a fifth of oats, rye or unmalted grain, runs off slowly; one part of rice hulls opens about ten parts of it",
);

/// Whether a grist runs off slowly, from shares of its weight that need not add up to one.
pub fn lauter_risk(grist: &[(MaltClass, Fraction)]) -> LauterRisk {
    let sum = |wanted: fn(MaltClass) -> bool| -> f64 {
        grist.iter().filter(|(class, _)| wanted(*class)).map(|(_, share)| share.as_of_one().max(0.0)).sum()
    };
    let all = sum(|_| true);
    let opened = 10.0 * sum(|class| class == MaltClass::RiceHulls);
    if sum(MaltClass::is_gummy) - opened > 0.2 * all {
        LauterRisk::Gums
    } else if sum(MaltClass::is_huskless) - opened > 0.5 * all {
        LauterRisk::Husks
    } else {
        LauterRisk::None
    }
}

/// Room that a kilogram of grain takes up in the mash.
pub const DISPLACEMENT: VolumePerMass = VolumePerMass::l_per_kg(0.67);
/// Source of [`DISPLACEMENT`].
pub const DISPLACEMENT_SOURCE: Source =
    Source::common_practice("0.32 US quarts per pound, quoted as 0.67 L/kg; no source found");

/// How full a kettle gets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Volume filled.
    pub filled: Volume,
    /// Room left to the brim; below zero when it runs over.
    pub room: Volume,
}

impl Fit {
    /// A vessel filled so far.
    pub fn new(vessel: Volume, filled: Volume) -> Self {
        Self { filled, room: vessel - filled }
    }
    /// True when it does not run over.
    pub fn fits(&self) -> bool {
        self.room >= Volume::ZERO
    }
}

/// How full the kettle gets with water (counted at 20 °C) and grain at mash
/// temperature. [`DISPLACEMENT`] is used for the grain. From zero up, 0..=105 °C.
pub fn mash_fit(kettle: Volume, water: Volume, grain: Mass, at: Temperature) -> Fit {
    let hot = Wort::of_water(water, ROOM).volume(at);
    Fit::new(kettle, hot + DISPLACEMENT * grain)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PALE: MaltYield = MaltYield { extract: Fraction::of_one(0.81), moisture: Fraction::of_one(0.045) };
    const WHEAT: MaltYield = MaltYield { extract: Fraction::of_one(0.84), moisture: Fraction::of_one(0.05) };

    fn day(batch: f64, plato: f64, loss: f64, rate: f64, boil: f64, aside: f64) -> Day {
        Day {
            batch: Volume::litres(batch),
            gravity: Plato::degrees(plato),
            kettle_loss: Volume::litres(loss),
            evaporation: VolumeRate::l_per_h(rate),
            main_boil: Duration::minutes(boil),
            set_aside: Volume::litres(aside),
            first_boil: Duration::minutes(15.0),
        }
    }

    proptest! {
        #[test]
        fn extract_is_found_step_by_step(water in 8.0..60.0f64, grain in 1.0..12.0f64, conversion in 0.6..1.0f64, lauter in 0.5..1.0f64) {
            let (water, potential) = (Mass::kilograms(water), Mass::kilograms(grain * 0.77));
            let dissolved = potential * conversion;
            let liquid = Plato::degrees(100.0 * (dissolved / (dissolved + water)));
            let steps = efficiency_steps(liquid, water, potential, Some(dissolved * lauter));
            prop_assume!(liquid.as_degrees() < 50.0);
            prop_assert!((steps.conversion.unwrap().as_of_one() - conversion).abs() < 1e-9);
            prop_assert!((steps.lauter.unwrap().as_of_one() - lauter).abs() < 1e-9);
        }

        #[test]
        fn rice_hulls_never_make_it_worse(oats in 0.0..1.0f64, wheat in 0.0..1.0f64, hulls in 0.0..0.1f64) {
            let risk = |hulls: f64| {
                let share = Fraction::of_one;
                lauter_risk(&[(MaltClass::FlakedOats, share(oats)), (MaltClass::Wheat, share(wheat)), (MaltClass::Pilsner, share(1.0)), (MaltClass::RiceHulls, share(hulls))])
            };
            prop_assert!(risk(hulls) == LauterRisk::None || risk(0.0) != LauterRisk::None);
        }

        #[test]
        fn the_day_forward_ends_where_it_was_counted_from(
            batch in 4.0..60.0f64, plato in 4.0..20.0f64, loss in 0.0..4.0f64,
            rate in 0.0..5.0f64, boil in 0.0..90.0f64, aside in 0.0..3.0f64,
        ) {
            let day = day(batch, plato, loss, rate, boil, aside);
            let back = runoff_needed(&day).unwrap();
            let malts = [(Fraction::of_one(0.6), PALE), (Fraction::of_one(0.4), WHEAT)];
            let efficiency = Fraction::of_one(0.75);
            let grain = grist_for(back.runoff.extract, &malts, efficiency).unwrap();
            let weighed = [(grain * 0.6, PALE), (grain * 0.4, WHEAT)];
            let extract = extract_of(&weighed, efficiency).unwrap();
            let water = water_for(&back.runoff, grain, ABSORPTION).unwrap();
            let runoff = runoff_of(water, extract, grain, ABSORPTION).unwrap();
            let boiled = runoff.boil(day.evaporation, day.first_boil).unwrap();
            let (_, left) = boiled.take(day.set_aside, ROOM).unwrap();
            let done = left.boil(day.evaporation, day.main_boil).unwrap();
            let (_, fermenter) = done.take(day.kettle_loss, ROOM).unwrap();
            prop_assert!((fermenter.volume(ROOM).as_litres() - batch).abs() < 1e-6 * batch);
            prop_assert!((fermenter.plato().as_degrees() - plato).abs() < 1e-6);
        }

        #[test]
        fn shares_and_amounts_undo_each_other(a in 0.01..5.0f64, b in 0.0..5.0f64, c in 0.0..5.0f64) {
            let kilos = [a, b, c].map(Mass::kilograms);
            let total = kilos.iter().copied().sum();
            for (back, mass) in amounts(total, &shares(&kilos)).iter().zip(kilos) {
                prop_assert!((*back - mass).as_grams().abs() < 1e-9);
            }
        }

        #[test]
        fn more_of_anything_lost_needs_more_water(batch in 4.0..60.0f64, rate in 0.1..5.0f64, boil in 1.0..90.0f64) {
            let less = runoff_needed(&day(batch, 11.0, 1.0, rate, boil, 0.5)).unwrap().runoff;
            for other in [
                day(batch, 11.0, 1.5, rate, boil, 0.5),
                day(batch, 11.0, 1.0, rate * 1.1, boil, 0.5),
                day(batch, 11.0, 1.0, rate, boil * 1.1, 0.5),
                day(batch, 11.0, 1.0, rate, boil, 0.6),
            ] {
                prop_assert!(runoff_needed(&other).unwrap().runoff.water > less.water);
            }
        }
    }

    #[test]
    fn says_what_is_wrong() {
        assert_eq!(grist_for(Mass::kilograms(2.0), &[], Fraction::of_one(0.75)), Err(GristError::NoExtract));
        assert_eq!(extract_of(&[], Fraction::ZERO), Err(GristError::Efficiency(Fraction::ZERO)));
        let wet = MaltYield { moisture: Fraction::of_one(0.9), ..PALE };
        assert!(matches!(wet.potential(Mass::kilograms(1.0)), Err(GristError::MaltFigures { .. })));
        assert!(runoff_needed(&day(0.0, 11.0, 1.0, 1.0, 30.0, 0.0)).is_err());
        assert_eq!(amounts(Mass::kilograms(1.0), &[Fraction::ZERO]), [Mass::ZERO]);
    }
}
