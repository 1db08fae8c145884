//! Carbonic acid in water: constants by temperature, and the acid a water takes.

use super::activity::activity_exponent;
use crate::data::Source;
use crate::quantity::{ChargeConcentration, Count, MolarConcentration, Ph, Temperature};

/// Source of the constants.
pub const SOURCE: Source =
    Source::published("Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011, valid 0 to 90 °C");

/// Negative logarithms of the equilibrium constants of carbonic acid and water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Constants {
    /// First dissociation of carbonic acid (with dissolved gas).
    pub pk1: Count,
    /// Second dissociation.
    pub pk2: Count,
    /// Henry's law, mol/(L·atm).
    pub pkh: Count,
    /// Ion product of water.
    pub pkw: Count,
}

/// The constants at a temperature, 0..=90 °C, at zero ionic strength; beyond the
/// range those of its nearer end. Source: [`SOURCE`].
pub fn constants(at: Temperature) -> Constants {
    let t = at.max(Temperature::celsius(0.0)).min(Temperature::celsius(90.0)).as_kelvin();
    let (ratio, log, square) = (t.recip(), t.log10(), (t * t).recip());
    let pk =
        |a: f64, b: f64, c: f64, d: f64, e: f64| Count::of(-(a + b * t + c * ratio + d * log + e * square));
    Constants {
        pk1: pk(-356.3094, -0.060_919_64, 21_834.37, 126.8339, -1_684_915.0),
        pk2: pk(-107.8871, -0.032_528_49, 5_151.79, 38.925_61, -563_713.9),
        pkh: pk(108.3865, 0.019_850_76, -6_919.53, -40.451_54, 669_365.0),
        pkw: pk(-283.9710, -0.050_698_42, 13_323.00, 102.244_47, -1_119_669.0),
    }
}

/// The carbonate system of one water: constants at its temperature and ionic strength.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carbonate {
    k1: f64,
    k2: f64,
    kw: f64,
    gamma: f64,
}

impl Carbonate {
    /// For a temperature of 0..=90 °C and an ionic strength up to 0.5 mol/L.
    pub fn new(at: Temperature, strength: MolarConcentration) -> Self {
        let pk = constants(at);
        let g1 = activity_exponent(1, strength, at).value();
        let g2 = activity_exponent(2, strength, at).value();
        // Mixed constants: pH is an activity, everything else a concentration.
        Self {
            k1: 10_f64.powf(-pk.pk1.value() - g1),
            k2: 10_f64.powf(-pk.pk2.value() + g1 - g2),
            kw: 10_f64.powf(-pk.pkw.value() - g1),
            gamma: 10_f64.powf(g1),
        }
    }

    /// Charge per mole of inorganic carbon, and that of water's own ions in mEq/L.
    /// pH 0..=14; what lies outside counts as the nearer end, so that no power overflows.
    fn parts(&self, ph: Ph) -> (f64, f64) {
        let h = 10_f64.powf(-ph.value().clamp(0.0, 14.0));
        let (one, two) = (self.k1 / h, self.k1 * self.k2 / (h * h));
        ((one + 2.0 * two) / (1.0 + one + two), 1e3 * (self.kw / h - h / self.gamma))
    }

    /// Inorganic carbon of a water of this alkalinity and pH.
    pub fn carbon(&self, alkalinity: ChargeConcentration, ph: Ph) -> MolarConcentration {
        let (charge, water) = self.parts(ph);
        MolarConcentration::mmol_per_l(((alkalinity.as_meq_per_l() - water) / charge).max(0.0))
    }

    /// Alkalinity of a water with this carbon at this pH.
    pub fn alkalinity(&self, carbon: MolarConcentration, ph: Ph) -> ChargeConcentration {
        let (charge, water) = self.parts(ph);
        ChargeConcentration::meq_per_l(carbon.as_mmol_per_l() * charge + water)
    }

    /// Acid that brings a water from one pH to another with no gas lost.
    /// Negative when base is needed.
    pub fn acid_to(&self, alkalinity: ChargeConcentration, from: Ph, to: Ph) -> ChargeConcentration {
        alkalinity - self.alkalinity(self.carbon(alkalinity, from), to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn carbon_and_alkalinity_undo_each_other(alk in 0.1..10.0f64, ph in 6.0..9.0f64, t in 2.0..80.0f64, i in 0.0..50.0f64) {
            let system = Carbonate::new(Temperature::celsius(t), MolarConcentration::mmol_per_l(i));
            let alkalinity = ChargeConcentration::meq_per_l(alk);
            let back = system.alkalinity(system.carbon(alkalinity, Ph::new(ph)), Ph::new(ph));
            prop_assert!((back - alkalinity).as_meq_per_l().abs() < 1e-9);
        }

        #[test]
        fn a_lower_ph_takes_more_acid(alk in 0.1..10.0f64, to in 4.5..6.5f64) {
            let system = Carbonate::new(Temperature::celsius(20.0), MolarConcentration::ZERO);
            let acid = |to: f64| system.acid_to(ChargeConcentration::meq_per_l(alk), Ph::new(7.5), Ph::new(to));
            prop_assert!(acid(to - 0.1) > acid(to));
        }
    }
}
