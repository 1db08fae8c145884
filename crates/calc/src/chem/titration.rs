//! A water in a closed vessel, and the acid that brings it to a pH.

use super::carbonate::{Carbonate, ph_where};
use super::water::Ions;
use crate::data::acids::{Acid, AcidKind, given};
use crate::quantity::{ChargeConcentration, MolarConcentration, Ph, Temperature, Volume};

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
/// The ions are free: pairs such as those of calcium with bicarbonate are left out. What they
/// change is shown by the reference checks against the full database of PHREEQC.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClosedWater {
    at: Temperature,
    /// Ionic strength of what takes no part.
    others: MolarConcentration,
    alkalinity: ChargeConcentration,
    carbon: MolarConcentration,
}

/// A pKa so low that nothing of the acid is left whole at any pH.
const STRONG: f64 = -20.0;
/// Rounds until the ionic strength has settled; each brings it a hundred times closer or more.
const ROUNDS: usize = 8;
/// An ionic strength is settled when a round moves it by less, mmol/L.
const SETTLED: f64 = 1e-4;

impl ClosedWater {
    /// A water of this pH, 0..=90 °C. Concentrations are those at room temperature: warm water
    /// has grown, but kept its ions for each kilogram.
    pub fn new(water: &Ions, ph: Ph, at: Temperature) -> Self {
        let counted_as_bicarbonate = MolarConcentration::mmol_per_l(0.5 * water.alkalinity.as_meq_per_l());
        let others = water.ionic_strength() - counted_as_bicarbonate;
        let mut sample = Self { at, others, alkalinity: water.alkalinity, carbon: MolarConcentration::ZERO };
        settle(others + counted_as_bicarbonate, &mut |strength| {
            let system = Carbonate::new(at, strength);
            sample.carbon = system.carbon(water.alkalinity, ph);
            others + system.strength_of(sample.carbon, ph)
        });
        sample
    }

    /// Inorganic carbon.
    pub const fn carbon(&self) -> MolarConcentration {
        self.carbon
    }

    /// The acid that brings the water to a pH with no gas lost. pH 0..=14; what lies outside
    /// counts as the nearer end.
    pub fn acid_to(&self, to: Ph, with: Titrant) -> Dose {
        let mut dose = Dose { charge: ChargeConcentration::ZERO, amount: MolarConcentration::ZERO };
        settle(self.others, &mut |strength| {
            let system = Carbonate::new(self.at, strength);
            let (charge, squares) = given(with.constants(self.at, strength), to);
            dose.charge = self.alkalinity - system.alkalinity(self.carbon, to);
            let missing = dose.charge.as_meq_per_l();
            let amount = missing.max(0.0) / charge;
            dose.amount = MolarConcentration::mmol_per_l(amount);
            // Where a base is needed, its cation stands for the acid's anion.
            let brought = 0.5 * (amount * squares + (-missing).max(0.0));
            self.others + system.strength_of(self.carbon, to) + MolarConcentration::mmol_per_l(brought)
        });
        dose
    }

    /// The pH after so much acid, or without any the pH at this vessel's temperature.
    pub fn ph_after(&self, amount: MolarConcentration, of: Titrant) -> Ph {
        let poured = amount.as_mmol_per_l();
        let mut end = Ph::new(7.0);
        settle(self.others, &mut |strength| {
            let system = Carbonate::new(self.at, strength);
            let acid = of.constants(self.at, strength);
            end = ph_where(&|ph| {
                let left = system.alkalinity(self.carbon, ph) - self.alkalinity;
                left.as_meq_per_l() + poured * given(acid, ph).0
            });
            let brought = 0.5 * poured * given(acid, end).1;
            self.others + system.strength_of(self.carbon, end) + MolarConcentration::mmol_per_l(brought)
        });
        end
    }

    /// The same water at another temperature: carbon and alkalinity stay, the pH changes.
    #[must_use]
    pub const fn at(&self, temperature: Temperature) -> Self {
        Self { at: temperature, ..*self }
    }
}

impl Titrant {
    fn constants(self, at: Temperature, strength: MolarConcentration) -> [f64; 3] {
        match self {
            Self::Strong => [STRONG, f64::INFINITY, f64::INFINITY],
            Self::Weak(kind) => kind.pka_in(at, strength),
        }
    }
}

/// Follows the ionic strength until what it gives is what it was taken to be.
fn settle(first: MolarConcentration, next: &mut dyn FnMut(MolarConcentration) -> MolarConcentration) {
    let mut strength = first;
    for _ in 0..ROUNDS {
        let now = next(strength);
        let moved = (now - strength).as_mmol_per_l().abs();
        strength = now;
        if moved < SETTLED {
            break;
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
