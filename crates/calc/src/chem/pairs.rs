//! Ion pairs of calcium and magnesium: what of them, and of what they hold, is free.

use super::activity::{Coefficients, power_of_ten};
use crate::data::Source;
use crate::quantity::Temperature;

/// Source of the constants.
pub const SOURCE: Source = Source::published(
    "Plummer & Busenberg 1982 for calcium with (bi)carbonate; else phreeqc.dat of the US Geological Survey",
);

/// How many kinds of anion are held, and their charges: bicarbonate, carbonate, sulfate, dihydrogen
/// phosphate, hydrogen phosphate.
pub(super) const ANIONS: usize = 5;
const CHARGES: [i8; ANIONS] = [1, 2, 2, 1, 2];
/// Calcium, magnesium.
const METALS: usize = 2;

/// The logarithm of a pair's constant (L/mol) is a + b T + c / T + d log T, in kelvin.
type Terms = [f64; 4];

/// A constant at 25 °C and the enthalpy of pairing in kcal/mol.
const fn warmed(log_k: f64, enthalpy: f64) -> Terms {
    // kcal/mol over R ln 10.
    let slope = enthalpy * 4184.0 / 19.144_758;
    [log_k + slope / 298.15, 0.0, -slope, 0.0]
}

/// For each metal its pairs with the anions in their order. Source: [`SOURCE`].
const TERMS: [[Terms; ANIONS]; METALS] = [
    [
        [1_209.120, 0.312_94, -34_765.05, -478.782],
        [-1_228.732, -0.299_440, 35_512.75, 485.818],
        warmed(2.25, 1.325),
        warmed(1.408, 3.4),
        warmed(2.739, 3.3),
    ],
    [
        [-59.215, 0.0, 2_537.455, 20.922_98],
        [0.991, 0.006_67, 0.0, 0.0],
        warmed(2.37, 4.55),
        warmed(1.513, 3.4),
        warmed(2.87, 3.3),
    ],
];

/// The constants of the pairs, L/mmol.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bonds([[f64; ANIONS]; METALS]);

impl Bonds {
    /// In a water without ions, 0..=90 °C, beyond that the nearer end.
    pub fn ideal(at: Temperature) -> Self {
        let t = at.max(Temperature::celsius(0.0)).min(Temperature::celsius(90.0)).as_kelvin();
        let (ratio, log) = (t.recip(), t.log10());
        Self(
            TERMS.map(|metal| metal.map(|[a, b, c, d]| 1e-3 * power_of_ten(a + b * t + c * ratio + d * log))),
        )
    }

    /// The ideal constants for concentrations among ions with these activities.
    #[must_use]
    pub fn among(&self, activity: &Coefficients) -> Self {
        // A pair with an ion of one charge has as much charge as that ion.
        let single = activity.single.powi(4);
        let double = single * single / activity.neutral;
        let mut constants = self.0;
        for metal in &mut constants {
            for (constant, charge) in metal.iter_mut().zip(CHARGES) {
                *constant *= if charge == 1 { single } else { double };
            }
        }
        Self(constants)
    }

    /// How many times each anion is there, free and bound, for what of it is free.
    pub fn times_free(&self, metals: [f64; METALS]) -> [f64; ANIONS] {
        let mut times = [1.0; ANIONS];
        for (constants, metal) in self.0.iter().zip(metals) {
            for (times, constant) in times.iter_mut().zip(constants) {
                *times += constant * metal;
            }
        }
        times
    }

    /// The free metals among these free anions, and the ionic strength of all of them, mmol/L.
    pub fn hold(&self, metals: [f64; METALS], anions: [f64; ANIONS]) -> ([f64; METALS], f64) {
        let mut strength = 0.0;
        for (anion, charge) in anions.iter().zip(CHARGES) {
            strength += 0.5 * f64::from(charge * charge) * anion;
        }
        let mut free = metals;
        for (metal, constants) in free.iter_mut().zip(&self.0) {
            let (mut held, mut held_single) = (0.0, 0.0);
            for ((constant, anion), charge) in constants.iter().zip(anions).zip(CHARGES) {
                held += constant * anion;
                held_single += if charge == 1 { constant * anion } else { 0.0 };
            }
            *metal /= 1.0 + held;
            // Two charges on the metal, one on its pairs with ions of one charge.
            strength += *metal * (2.0 + 0.5 * held_single);
        }
        (free, strength)
    }
}
