//! A water in a closed vessel, and the acid that brings it to a pH.

use super::activity::{Coefficients, hydrogen};
use super::carbonate::{Carbonate, ph_where};
use super::pairs::{ANIONS, Bonds};
use super::water::Ions;
use crate::data::acids::{Acid, AcidKind, among, charge, shares};
use crate::data::salts::ion;
use crate::quantity::{ChargeConcentration, Count, MolarConcentration, Ph, Temperature, Volume};

/// What is poured into a water.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Titrant {
    /// An acid that gives all its protons, such as hydrochloric acid. One proton to a mole.
    Strong,
    /// An acid that keeps some of its protons, more of them the lower the pH.
    Weak(AcidKind),
}

/// Acid for a litre of water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dose {
    /// The charge it must bring; below zero where a base is needed.
    pub charge: ChargeConcentration,
    /// The acid that brings it; zero where a base is needed.
    pub amount: MolarConcentration,
}

impl Dose {
    /// The volume of a bottle's acid for so much water. Zero for an acid of strength zero.
    pub fn volume(&self, of: &Acid, water: Volume) -> Volume {
        let molarity = of.molarity();
        if molarity > MolarConcentration::ZERO { water * (self.amount / molarity) } else { Volume::ZERO }
    }
}

/// A water whose carbon stays in it, at one temperature.
///
/// Calcium and magnesium hold some of the bicarbonate, carbonate, sulfate and phosphate
/// ([`super::pairs::SOURCE`]); what they hold of organic acids is left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClosedWater {
    at: Temperature,
    /// Without ions.
    carbonate: Carbonate,
    bonds: Bonds,
    /// Calcium and magnesium, free or bound, mmol/L.
    metals: [f64; 2],
    /// Sulfate, free or bound, mmol/L.
    sulfate: f64,
    /// Ionic strength of what takes no part, mmol/L.
    others: f64,
    alkalinity: ChargeConcentration,
    carbon: MolarConcentration,
    calcite: Count,
    /// As it stands before anything is poured.
    rest: State,
}

/// What settles, mmol/L.
#[derive(Clone, Copy, Debug, PartialEq)]
struct State {
    strength: f64,
    /// Free calcium and magnesium.
    free: [f64; 2],
}

/// A constant so large that nothing of the acid is left whole at any pH.
const STRONG: f64 = 1e20;
/// Rounds until ionic strength and free metals have settled.
const ROUNDS: u32 = 60;
/// They are settled when a round moves them by less, mmol/L.
const SETTLED: f64 = 5e-4;

/// The solution in one round: what is free is taken from the round before.
struct Round {
    system: Carbonate,
    activity: Coefficients,
    /// How many times each anion is there for what of it is free.
    times_free: [f64; ANIONS],
}

/// What a round finds, mmol/L.
#[derive(Default)]
struct Found {
    carbon: MolarConcentration,
    /// The acid's forms by the protons they have given.
    acid: [f64; 4],
    /// Cation of a base.
    base: f64,
    /// Activity of hydrogen.
    h: f64,
}

impl ClosedWater {
    /// A water of this pH, 0..=90 °C. Concentrations are those at room temperature: warm water
    /// has grown, but kept its ions for each kilogram.
    pub fn new(water: &Ions, ph: Ph, at: Temperature) -> Self {
        let half = |charge: ChargeConcentration| 0.5 * charge.as_meq_per_l();
        let metals = [half(water.calcium_charge()), half(water.magnesium_charge())];
        let sulfate = water.sulfate.as_mg_per_l() / ion::SULFATE.0.as_g_per_mol();
        let strength = water.ionic_strength().as_mmol_per_l();
        let divalent: f64 = metals.iter().sum::<f64>() + sulfate;
        let vessel = Self {
            at,
            carbonate: Carbonate::ideal(at),
            bonds: Bonds::ideal(at),
            metals,
            sulfate,
            others: strength - 2.0 * divalent - half(water.alkalinity),
            alkalinity: water.alkalinity,
            carbon: MolarConcentration::ZERO,
            calcite: Count::default(),
            rest: State { strength, free: metals },
        };
        let h = hydrogen(ph);
        let mut carbon = MolarConcentration::ZERO;
        let (rest, calcite) = vessel.settle(false, &mut |round| {
            carbon = round.system.carbon_at(water.alkalinity, h);
            Found { carbon, h, ..Found::default() }
        });
        Self { rest, carbon, calcite, ..vessel }
    }

    /// The same water at another temperature, 0..=90 °C: it keeps its carbon, and gets another pH.
    #[must_use]
    pub fn brought_to(&self, at: Temperature) -> Self {
        let vessel = Self { at, carbonate: Carbonate::ideal(at), bonds: Bonds::ideal(at), ..*self };
        let (rest, calcite) = vessel.settle(false, &mut |round| {
            let balance = |h| (round.system.alkalinity_at(self.carbon, h) - self.alkalinity).as_meq_per_l();
            Found { carbon: self.carbon, h: hydrogen(ph_where(&balance)), ..Found::default() }
        });
        Self { rest, calcite, ..vessel }
    }

    /// Inorganic carbon, pairs included.
    pub const fn carbon(&self) -> MolarConcentration {
        self.carbon
    }

    /// The saturation index of calcite, with the calcium and the carbonate that are free. Above
    /// zero the water can scale, below it can dissolve chalk. Very low without calcium or carbonate.
    pub const fn calcite_saturation(&self) -> Count {
        self.calcite
    }

    /// The acid that brings the water to a pH with no gas lost. pH 0..=14; what lies outside
    /// counts as the nearer end.
    pub fn acid_to(&self, to: Ph, with: Titrant) -> Dose {
        let mut dose = Dose { charge: ChargeConcentration::ZERO, amount: MolarConcentration::ZERO };
        let h = hydrogen(to);
        let ideal = with.ideal(self.at);
        self.settle(with.is_held(), &mut |round| {
            let forms = shares(round.constants(ideal, with), h);
            dose.charge = self.alkalinity - round.system.alkalinity_at(self.carbon, h);
            let missing = dose.charge.as_meq_per_l();
            let amount = missing.max(0.0) / charge(forms);
            dose.amount = MolarConcentration::mmol_per_l(amount);
            let acid = forms.map(|share| amount * share);
            Found { carbon: self.carbon, h, acid, base: (-missing).max(0.0) }
        });
        dose
    }

    /// The pH after so much acid; after none it is that of the water.
    pub fn ph_after(&self, amount: MolarConcentration, of: Titrant) -> Ph {
        let mut end = Ph::new(7.0);
        let ideal = of.ideal(self.at);
        self.settle(of.is_held(), &mut |round| {
            let constants = round.constants(ideal, of);
            let poured = |h| shares(constants, h).map(|share| amount.as_mmol_per_l() * share);
            end = ph_where(&|h| {
                let left = round.system.alkalinity_at(self.carbon, h) - self.alkalinity;
                left.as_meq_per_l() + charge(poured(h))
            });
            let h = hydrogen(end);
            Found { carbon: self.carbon, h, acid: poured(h), base: 0.0 }
        });
        end
    }

    /// Follows ionic strength and free metals until what they give is what they were taken to be.
    /// Gives them, and the saturation index of calcite.
    fn settle(&self, acid_is_held: bool, find: &mut dyn FnMut(&Round) -> Found) -> (State, Count) {
        let mut state = self.rest;
        let mut rounds = 0;
        loop {
            let activity = Coefficients::new(MolarConcentration::mmol_per_l(state.strength), self.at);
            let bonds = self.bonds.among(&activity);
            let times_free = bonds.times_free(state.free);
            let [bicarbonate, carbonate, ..] = times_free;
            let system = self.carbonate.among(&activity).bound(bicarbonate, carbonate);
            let round = Round { system, activity, times_free };
            let found = find(&round);
            let [bicarbonate, carbonate, own] = system.ions(found.carbon, found.h);
            let [_, one, two, three] = found.acid;
            let (held, aside) = if acid_is_held { ([one, two], 0.0) } else { ([0.0; 2], one + 4.0 * two) };
            let mut anions = [bicarbonate, carbonate, self.sulfate, held[0], held[1]];
            for (anion, times) in anions.iter_mut().zip(times_free) {
                *anion /= times;
            }
            let (free, together) = bonds.hold(self.metals, anions);
            let strength = self.others + together + 0.5 * (own + aside + 9.0 * three + found.base);
            let mut moved = (strength - state.strength).abs();
            for (now, before) in free.iter().zip(state.free) {
                moved = moved.max((now - before).abs());
            }
            state = State { strength, free };
            rounds += 1;
            if moved < SETTLED || rounds == ROUNDS {
                return (state, system.calcite_index(free[0], anions[1]));
            }
        }
    }
}

impl Round {
    /// An acid's constants here, what is held by metals counted with the form it comes from.
    fn constants(&self, ideal: [f64; 3], of: Titrant) -> [f64; 3] {
        let [one, two, three] = among(ideal, &self.activity);
        if !of.is_held() {
            return [one, two, three];
        }
        let [.., single, double] = self.times_free;
        [one * single, two * double / single, three / double]
    }
}

impl Titrant {
    /// Whether metals hold the acid's anions.
    const fn is_held(self) -> bool {
        matches!(self, Self::Weak(AcidKind::Phosphoric))
    }

    /// Dissociation constants in water without ions.
    fn ideal(self, at: Temperature) -> [f64; 3] {
        match self {
            Self::Strong => [STRONG, 0.0, 0.0],
            Self::Weak(kind) => kind.ideal(at),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Concentration, Fraction};
    use proptest::prelude::*;

    const TITRANTS: [Titrant; 6] = [
        Titrant::Strong,
        Titrant::Weak(AcidKind::Lactic),
        Titrant::Weak(AcidKind::Phosphoric),
        Titrant::Weak(AcidKind::Citric),
        Titrant::Weak(AcidKind::Malic),
        Titrant::Weak(AcidKind::Tartaric),
    ];

    fn water(calcium: f64, alkalinity: f64) -> Ions {
        Ions {
            calcium: Concentration::mg_per_l(calcium),
            alkalinity: ChargeConcentration::meq_per_l(alkalinity),
            ..Ions::default()
        }
    }

    proptest! {
        #[test]
        fn the_dose_ends_where_it_was_meant_to(calcium in 0.0..200.0f64, alk in 0.2..8.0f64, ph in 6.5..8.8f64, t in 5.0..70.0f64, to in 3.5..6.2f64, with in 0..TITRANTS.len()) {
            let vessel = ClosedWater::new(&water(calcium, alk), Ph::new(ph), Temperature::celsius(t));
            let dose = vessel.acid_to(Ph::new(to), TITRANTS[with]);
            let end = vessel.ph_after(dose.amount, TITRANTS[with]);
            prop_assert!((end.value() - to).abs() < 1e-4, "{end:?} {to}");
            prop_assert!((vessel.ph_after(MolarConcentration::ZERO, TITRANTS[with]).value() - ph).abs() < 1e-4);
        }
    }

    proptest! {
        /// Whatever is entered, no dose and no pH is NaN or infinite.
        #[test]
        fn nothing_breaks_it(calcium in 0.0..1e6f64, alk in -1e6..1e6f64, ph in -1e3..1e3f64, t in -1e3..1e3f64, to in -1e3..1e3f64, poured in 0.0..1e6f64, with in 0..TITRANTS.len()) {
            let vessel = ClosedWater::new(&water(calcium, alk), Ph::new(ph), Temperature::celsius(t));
            let dose = vessel.acid_to(Ph::new(to), TITRANTS[with]);
            prop_assert!(dose.charge.is_finite() && dose.amount.is_finite(), "{dose:?}");
            prop_assert!(vessel.carbon().is_finite() && vessel.calcite_saturation().is_finite());
            let end = vessel.ph_after(MolarConcentration::mmol_per_l(poured), TITRANTS[with]);
            prop_assert!((0.0..=14.0).contains(&end.value()), "{end:?}");
        }
    }

    #[test]
    fn calcium_holds_phosphate_and_so_draws_more_protons_from_it() {
        let dose = |calcium| {
            let vessel = ClosedWater::new(&water(calcium, 4.0), Ph::new(7.5), Temperature::celsius(60.0));
            vessel.acid_to(Ph::new(5.4), Titrant::Weak(AcidKind::Phosphoric)).amount.as_mmol_per_l()
        };
        assert!(dose(150.0) < 0.98 * dose(0.0));
    }

    #[test]
    fn base_is_needed_for_a_higher_ph() {
        let vessel = ClosedWater::new(&water(40.0, 1.0), Ph::new(7.0), Temperature::celsius(20.0));
        let dose = vessel.acid_to(Ph::new(8.0), Titrant::Weak(AcidKind::Lactic));
        assert!(dose.charge < ChargeConcentration::ZERO);
        assert_eq!(dose.amount, MolarConcentration::ZERO);
    }

    #[test]
    fn a_bottle_of_nothing_gives_nothing() {
        let vessel = ClosedWater::new(&water(40.0, 2.0), Ph::new(7.5), Temperature::celsius(20.0));
        let dose = vessel.acid_to(Ph::new(5.4), Titrant::Weak(AcidKind::Lactic));
        let bottle = |percent| Acid { kind: AcidKind::Lactic, strength: Fraction::percent(percent) };
        assert_eq!(dose.volume(&bottle(0.0), Volume::litres(10.0)), Volume::ZERO);
        // 1.8 mEq/L from an acid that has 11.78 mol/L and gives 98 % of its protons.
        let volume = dose.volume(&bottle(88.0), Volume::litres(10.0)).as_millilitres();
        assert!((volume - 1.56).abs() < 0.02, "{volume}");
    }
}
