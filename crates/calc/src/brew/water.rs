//! Salts for the finish wanted, and what a water's ions mean for people.

use crate::chem::water::Ions;
use crate::data::Source;
use crate::data::salts::Salt;
use crate::numeric::nnls::{EQUATIONS, UNKNOWNS};
use crate::numeric::weigh::weigh;
use crate::quantity::{ChargeConcentration, Concentration, Mass, Volume};
use serde::{Deserialize, Serialize};

/// What the water should do for the beer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Finish {
    /// Dries.
    Lean,
    /// Neither dries nor rounds.
    Even,
    /// Rounds.
    #[default]
    Plush,
    /// Tastes of salt.
    Saline,
}

/// An ion that a finish asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ion {
    /// Calcium.
    Calcium,
    /// Magnesium.
    Magnesium,
    /// Sodium.
    Sodium,
    /// Chloride.
    Chloride,
    /// Sulfate.
    Sulfate,
}

impl Ion {
    /// Every ion that finishes name.
    pub const ALL: &[Self] = &[Self::Calcium, Self::Magnesium, Self::Sodium, Self::Chloride, Self::Sulfate];

    /// The ion's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Calcium => "Calcium",
            Self::Magnesium => "Magnesium",
            Self::Sodium => "Sodium",
            Self::Chloride => "Chloride",
            Self::Sulfate => "Sulfate",
        }
    }

    /// How much of it a water holds.
    pub const fn of(self, ions: &Ions) -> Concentration {
        match self {
            Self::Calcium => ions.calcium,
            Self::Magnesium => ions.magnesium,
            Self::Sodium => ions.sodium,
            Self::Chloride => ions.chloride,
            Self::Sulfate => ions.sulfate,
        }
    }
}

/// Source of the ranges of every finish.
pub const FINISH_SOURCE: Source = Source::common_practice(
    "calcium 50 to 150 mg/L, sulfate seen as drying and chloride as rounding; the ranges are our choice inside that",
);

impl Finish {
    /// Every finish.
    pub const ALL: &[Self] = &[Self::Lean, Self::Even, Self::Plush, Self::Saline];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Lean => "Lean",
            Self::Even => "Even",
            Self::Plush => "Plush",
            Self::Saline => "Saline",
        }
    }

    /// What it does, in one line.
    pub const fn reason(self) -> &'static str {
        match self {
            Self::Lean => "dries: more sulfate than chloride",
            Self::Even => "neither dries nor rounds",
            Self::Plush => "rounds: more chloride than sulfate",
            Self::Saline => "tastes of salt: sodium and chloride well above what drinking water should hold",
        }
    }

    /// The range wanted of an ion. Source: [`FINISH_SOURCE`].
    pub const fn range(self, ion: Ion) -> (Concentration, Concentration) {
        let (low, high) = match (self, ion) {
            (Self::Lean, Ion::Calcium) => (50.0, 110.0),
            (Self::Even, Ion::Calcium) => (50.0, 100.0),
            (Self::Plush | Self::Saline, Ion::Calcium) => (50.0, 120.0),
            (_, Ion::Magnesium) => (0.0, 25.0),
            (Self::Lean, Ion::Sodium) => (0.0, 40.0),
            (Self::Even, Ion::Sodium) => (0.0, 60.0),
            (Self::Plush, Ion::Sodium) => (0.0, 80.0),
            (Self::Saline, Ion::Sodium) => (150.0, 300.0),
            (Self::Lean, Ion::Chloride) => (30.0, 70.0),
            (Self::Even, Ion::Chloride) => (60.0, 110.0),
            (Self::Plush, Ion::Chloride) => (120.0, 200.0),
            (Self::Saline, Ion::Chloride) => (250.0, 450.0),
            (Self::Lean, Ion::Sulfate) => (120.0, 220.0),
            (Self::Even, Ion::Sulfate) => (60.0, 110.0),
            (Self::Plush | Self::Saline, Ion::Sulfate) => (20.0, 80.0),
        };
        (Concentration::mg_per_l(low), Concentration::mg_per_l(high))
    }
}

/// Salts to weigh, and the water they make.
#[derive(Clone, Debug, PartialEq)]
pub struct SaltRecipe {
    /// Amounts for all the water, multiples of the scale's step, none zero.
    pub amounts: Vec<(Salt, Mass)>,
    /// The water with them.
    pub water: Ions,
}

/// The water with these salts in a volume of it.
pub fn water_with(water: Ions, amounts: &[(Salt, Mass)], volume: Volume) -> Ions {
    amounts.iter().fold(water, |ions, &(salt, mass)| ions.with_salt(salt, mass, volume))
}

/// Potassium that counts as much as the width of another ion's range. No finish
/// asks for it and wort is full of it, but it tastes bitter: our estimate.
const POTASSIUM_WIDTH: f64 = 50.0;
/// A salt that brings the sum of squared misses down by less is not worth
/// weighing: a miss of a tenth of one ion's range.
const FEE: f64 = 0.01;

/// How far each ion is to move, in widths of its range, and those widths in mg/L.
/// Potassium comes last and is not to move.
fn aim(finish: Finish, water: &Ions) -> ([f64; EQUATIONS], [f64; EQUATIONS]) {
    let mut wanted = [0.0; EQUATIONS];
    let mut widths = [POTASSIUM_WIDTH; EQUATIONS];
    for (place, &ion) in Ion::ALL.iter().enumerate() {
        let (low, high) = finish.range(ion);
        let (low, high) = (low.as_mg_per_l(), high.as_mg_per_l());
        let quarter = (high - low) / 4.0;
        let present = ion.of(water).as_mg_per_l();
        // Ranges that begin at nothing ask for nothing.
        let floor = if low > 0.0 { low + quarter } else { low };
        widths[place] = high - low;
        wanted[place] = (present.clamp(floor, high - quarter) - present) / widths[place];
    }
    (wanted, widths)
}

/// What is added to a water, in widths of each ion's range; potassium last.
fn moved(added: &Ions, widths: &[f64; EQUATIONS]) -> [f64; EQUATIONS] {
    let mut column = [0.0; EQUATIONS];
    for (place, &ion) in Ion::ALL.iter().enumerate() {
        column[place] = ion.of(added).as_mg_per_l() / widths[place];
    }
    let last = Ion::ALL.len();
    column[last] = added.potassium.as_mg_per_l() / widths[last];
    column
}

/// Amounts of the salts at hand that bring a water nearest to a finish, in whole
/// steps of the scale and with as few salts as will do.
///
/// Each ion aims at the nearest point of the middle half of its range; misses
/// count in widths of the range. Basic salts are left out: they raise the mash's
/// pH, which is decided at the mash. Of the two calcium chlorides the first at
/// hand is used, and at most ten salts. With no water there is nothing to weigh.
pub fn salts_for(finish: Finish, water: Ions, volume: Volume, at_hand: &[Salt], step: Mass) -> SaltRecipe {
    if !(volume > Volume::ZERO && step > Mass::ZERO) {
        return SaltRecipe { amounts: Vec::new(), water };
    }
    let is_calcium_chloride =
        |salt: Salt| matches!(salt, Salt::CalciumChlorideDihydrate | Salt::CalciumChlorideAnhydrous);
    let calcium_chloride = at_hand.iter().copied().find(|salt| is_calcium_chloride(*salt));
    let at_hand: Vec<Salt> = at_hand
        .iter()
        .copied()
        .filter(|salt| salt.brings().alkalinity == ChargeConcentration::ZERO)
        .filter(|salt| !is_calcium_chloride(*salt) || Some(*salt) == calcium_chloride)
        .take(UNKNOWNS)
        .collect();
    let (wanted, widths) = aim(finish, &water);
    let columns: Vec<[f64; EQUATIONS]> =
        at_hand.iter().map(|salt| moved(&Ions::default().with_salt(*salt, step, volume), &widths)).collect();
    let amounts: Vec<(Salt, Mass)> = at_hand
        .iter()
        .zip(weigh(&columns, &wanted, FEE))
        .map(|(&salt, steps)| (salt, step * steps))
        .filter(|(_, mass)| *mass > Mass::ZERO)
        .collect();
    let water = water_with(water, &amounts, volume);
    SaltRecipe { amounts, water }
}

/// What drinking-water rules or tasters say about an ion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advice {
    /// The ion.
    pub ion: Ion,
    /// How much the water holds.
    pub holds: Concentration,
    /// Where the advice begins.
    pub limit: Concentration,
    /// Who says it.
    pub source: Source,
}

/// Ions above the taste or notice values for drinking water. A salty beer
/// exceeds them on purpose: advice, not a ban.
pub fn advice(water: &Ions) -> impl Iterator<Item = Advice> + '_ {
    const WHO: Source = Source::from_memory("WHO drinking-water guidelines, taste and notice values");
    [(Ion::Sodium, 200.0), (Ion::Chloride, 250.0), (Ion::Sulfate, 500.0)]
        .into_iter()
        .map(|(ion, limit)| Advice {
            ion,
            holds: ion.of(water),
            limit: Concentration::mg_per_l(limit),
            source: WHO,
        })
        .filter(|advice| advice.holds > advice.limit)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn miss(finish: Finish, water: &Ions) -> f64 {
        Ion::ALL
            .iter()
            .map(|&ion| {
                let (low, high) = finish.range(ion);
                let value = ion.of(water);
                ((low - value).max(value - high).max(Concentration::ZERO)) / (high - low)
            })
            .sum()
    }

    #[test]
    fn pure_water_reaches_every_finish_with_all_salts() {
        for &finish in Finish::ALL {
            let recipe =
                salts_for(finish, Ions::default(), Volume::litres(25.0), Salt::ALL, Mass::grams(0.1));
            assert!(miss(finish, &recipe.water) < 0.05, "{finish:?}: {:?}", recipe.water);
            assert!(
                !recipe.amounts.iter().any(|(salt, _)| matches!(salt, Salt::BakingSoda | Salt::SlakedLime))
            );
        }
    }

    #[test]
    fn no_salt_is_weighed_twice_and_potassium_stays_low() {
        let hard = Ions {
            calcium: Concentration::mg_per_l(110.0),
            magnesium: Concentration::mg_per_l(20.0),
            ..Ions::default()
        };
        for &finish in Finish::ALL {
            for water in [Ions::default(), hard] {
                let recipe = salts_for(finish, water, Volume::litres(25.0), Salt::ALL, Mass::grams(0.1));
                let has = |salt: Salt| recipe.amounts.iter().any(|(used, _)| *used == salt);
                assert!(!has(Salt::CalciumChlorideAnhydrous), "{:?}", recipe.amounts);
                assert!(recipe.water.potassium < Concentration::mg_per_l(40.0), "{:?}", recipe.amounts);
            }
        }
    }

    proptest! {
        #[test]
        fn salts_never_lead_away_from_the_finish(place in 0..4usize, ca in 0.0..150.0f64, so4 in 0.0..200.0f64, cl in 0.0..200.0f64) {
            let finish = Finish::ALL[place];
            let water = Ions {
                calcium: Concentration::mg_per_l(ca),
                sulfate: Concentration::mg_per_l(so4),
                chloride: Concentration::mg_per_l(cl),
                ..Ions::default()
            };
            let step = Mass::grams(0.1);
            let recipe = salts_for(finish, water, Volume::litres(25.0), Salt::ALL, step);
            let (wanted, widths) = aim(finish, &water);
            let squares = |ions: &Ions| -> f64 {
                let misses = Ion::ALL.iter().zip(wanted).zip(widths).map(|((ion, wanted), width)| {
                    (ion.of(ions) - ion.of(&water)).as_mg_per_l() / width - wanted
                });
                misses.map(|miss| miss * miss).sum()
            };
            prop_assert!(squares(&recipe.water) <= squares(&water));
            for (_, mass) in recipe.amounts {
                let steps = mass / step;
                prop_assert!((steps - steps.round()).abs() < 1e-9 && mass > Mass::ZERO);
            }
        }
    }
}
