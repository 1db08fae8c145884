//! Carbonic acid in water: constants by temperature, and the acid a water takes.

use super::activity::{Coefficients, hydrogen, power_of_ten};
use crate::data::Source;
use crate::numeric::root::root;
use crate::quantity::{AbsolutePressure, ChargeConcentration, Count, MolarConcentration, Ph, Temperature};

/// Source of the constants.
pub const SOURCE: Source =
    Source::published("Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011, valid 0 to 90 °C");

const KPA_PER_ATM: f64 = 101.325;

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
    /// Solubility product of calcite.
    pub pk_calcite: Count,
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
        pk_calcite: pk(-171.9065, -0.077_993, 2_839.319, 71.595, 0.0),
    }
}

/// The carbonate system of one water: constants at its temperature and ionic strength.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carbonate {
    /// First and second dissociation of carbonic acid and the ion product of water,
    /// with the activity of hydrogen and the concentration of everything else.
    k1: f64,
    k2: f64,
    kw: f64,
    /// Dissolved gas, mmol/L in each atm above it.
    kh: f64,
    /// The concentration of hydrogen for its activity.
    rise: f64,
    /// Calcium times carbonate (mol/L) of a water at rest with calcite.
    calcite: f64,
}

impl Carbonate {
    /// For a temperature of 0..=90 °C and an ionic strength up to 0.5 mol/L.
    pub fn new(at: Temperature, strength: MolarConcentration) -> Self {
        Self::ideal(at).among(&Coefficients::new(strength, at))
    }

    /// In a water without ions.
    pub(super) fn ideal(at: Temperature) -> Self {
        let pk = constants(at);
        let of = |pk: Count| power_of_ten(-pk.value());
        Self {
            k1: of(pk.pk1),
            k2: of(pk.pk2),
            kw: of(pk.pkw),
            kh: 1e3 * of(pk.pkh),
            rise: 1.0,
            calcite: of(pk.pk_calcite),
        }
    }

    /// The ideal system among ions with these activities.
    #[must_use]
    pub(super) fn among(&self, activity: &Coefficients) -> Self {
        // Mixed constants: pH is an activity, everything else a concentration. The activity
        // coefficient of an ion with two charges is the fourth power of that of one with one.
        let rise = activity.single.recip();
        let square = rise * rise;
        let fourth = square * square;
        Self {
            k1: self.k1 * activity.neutral * rise,
            k2: self.k2 * square * rise,
            kw: self.kw * rise,
            kh: self.kh / activity.neutral,
            rise,
            calcite: self.calcite * fourth * fourth,
        }
    }

    /// The system where bicarbonate and carbonate stand for those bound to metals too: so many
    /// times what of them is free.
    #[must_use]
    pub(super) fn bound(self, bicarbonate: f64, carbonate: f64) -> Self {
        Self { k1: self.k1 * bicarbonate, k2: self.k2 * carbonate / bicarbonate, ..self }
    }

    /// Bicarbonate, carbonate, and water's own ions together, mmol/L, at this activity of hydrogen.
    pub(super) fn ions(&self, carbon: MolarConcentration, h: f64) -> [f64; 3] {
        let dilution = h.recip();
        let one = self.k1 * dilution;
        let two = one * self.k2 * dilution;
        let gas = carbon.as_mmol_per_l() / (1.0 + one + two);
        [gas * one, gas * two, 1e3 * (self.kw * dilution + h * self.rise)]
    }

    /// The saturation index of calcite with free calcium and free carbonate, mmol/L.
    pub(super) fn calcite_index(&self, calcium: f64, carbonate: f64) -> Count {
        Count::of(((calcium * carbonate * 1e-6).max(1e-30) / self.calcite).log10())
    }

    /// Charge per mole of inorganic carbon, the share of that carbon which is dissolved gas, and
    /// the charge of water's own ions in mEq/L.
    fn parts(&self, h: f64) -> (f64, f64, f64) {
        let dilution = h.recip();
        let one = self.k1 * dilution;
        let two = one * self.k2 * dilution;
        let share = (1.0 + one + two).recip();
        ((one + 2.0 * two) * share, share, 1e3 * (self.kw * dilution - h * self.rise))
    }

    /// Inorganic carbon of a water of this alkalinity and pH.
    pub fn carbon(&self, alkalinity: ChargeConcentration, ph: Ph) -> MolarConcentration {
        self.carbon_at(alkalinity, hydrogen(ph))
    }

    pub(super) fn carbon_at(&self, alkalinity: ChargeConcentration, h: f64) -> MolarConcentration {
        let (charge, _, water) = self.parts(h);
        MolarConcentration::mmol_per_l(((alkalinity.as_meq_per_l() - water) / charge).max(0.0))
    }

    /// Alkalinity of a water with this carbon at this pH.
    pub fn alkalinity(&self, carbon: MolarConcentration, ph: Ph) -> ChargeConcentration {
        self.alkalinity_at(carbon, hydrogen(ph))
    }

    pub(super) fn alkalinity_at(&self, carbon: MolarConcentration, h: f64) -> ChargeConcentration {
        let (charge, _, water) = self.parts(h);
        ChargeConcentration::meq_per_l(carbon.as_mmol_per_l() * charge + water)
    }

    /// Acid that brings a water from one pH to another with no gas lost, the ionic strength
    /// taken as constant. Negative when base is needed.
    pub fn acid_to(&self, alkalinity: ChargeConcentration, from: Ph, to: Ph) -> ChargeConcentration {
        alkalinity - self.alkalinity(self.carbon(alkalinity, from), to)
    }

    /// The pH of a water with this alkalinity and this inorganic carbon. Both add up when
    /// waters are mixed; pH does not. 0..=14: what would lie outside is given as the nearer end.
    pub fn ph(&self, alkalinity: ChargeConcentration, carbon: MolarConcentration) -> Ph {
        ph_where(&|h| (self.alkalinity_at(carbon, h) - alkalinity).as_meq_per_l())
    }

    /// The pH and the inorganic carbon of a water with this alkalinity when it has come to rest
    /// with gas that holds carbon dioxide at this pressure (the air: 0.042 kPa).
    pub fn under_gas(
        &self,
        alkalinity: ChargeConcentration,
        gas: AbsolutePressure,
    ) -> (Ph, MolarConcentration) {
        let dissolved = self.kh * gas.as_kpa().max(0.0) / KPA_PER_ATM;
        let ph = ph_where(&|h| {
            let (charge, share, water) = self.parts(h);
            dissolved * charge / share + water - alkalinity.as_meq_per_l()
        });
        (ph, MolarConcentration::mmol_per_l(dissolved / self.parts(hydrogen(ph)).1))
    }

    /// The saturation index of calcite: the decimal logarithm of how many times the product of
    /// calcium and carbonate is that of a water at rest with chalk. Above zero it can scale,
    /// below it can dissolve chalk. Very low, but finite, without calcium or alkalinity.
    pub fn calcite_saturation(
        &self,
        calcium: MolarConcentration,
        alkalinity: ChargeConcentration,
        ph: Ph,
    ) -> Count {
        let h = hydrogen(ph);
        let [_, carbonate, _] = self.ions(self.carbon_at(alkalinity, h), h);
        self.calcite_index(calcium.as_mmol_per_l().max(0.0), carbonate)
    }
}

/// The pH at which a balance is zero that falls with the activity of hydrogen; the nearer end of
/// 0..=14 when it is nowhere.
pub(super) fn ph_where(balance: &dyn Fn(f64) -> f64) -> Ph {
    let of = |ph: f64| balance(hydrogen(Ph::new(ph)));
    Ph::new(root(&of, 0.0, 14.0, 1e-9).unwrap_or_else(|_| if of(7.0) > 0.0 { 0.0 } else { 14.0 }))
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
            let carbon = system.carbon(alkalinity, Ph::new(ph));
            let back = system.alkalinity(carbon, Ph::new(ph));
            prop_assert!((back - alkalinity).as_meq_per_l().abs() < 1e-9);
            prop_assert!((system.ph(alkalinity, carbon).value() - ph).abs() < 1e-6);
        }

        /// The pressure of the gas that a water holds at a pH gives that pH back.
        #[test]
        fn gas_above_a_water_keeps_it(alk in -0.05..10.0f64, kpa in 0.001..200.0f64, t in 2.0..80.0f64) {
            let system = Carbonate::new(Temperature::celsius(t), MolarConcentration::mmol_per_l(5.0));
            let alkalinity = ChargeConcentration::meq_per_l(alk);
            let (ph, carbon) = system.under_gas(alkalinity, AbsolutePressure::kpa(kpa));
            let closed = system.ph(alkalinity, carbon);
            prop_assert!((closed.value() - ph.value()).abs() < 1e-6, "{closed:?} {ph:?}");
        }

        #[test]
        fn a_lower_ph_takes_more_acid(alk in 0.1..10.0f64, to in 4.5..6.5f64) {
            let system = Carbonate::new(Temperature::celsius(20.0), MolarConcentration::ZERO);
            let acid = |to: f64| system.acid_to(ChargeConcentration::meq_per_l(alk), Ph::new(7.5), Ph::new(to));
            prop_assert!(acid(to - 0.1) > acid(to));
        }
    }

    #[test]
    fn what_no_ph_can_hold_is_given_as_the_end_of_the_scale() {
        let system = Carbonate::new(Temperature::celsius(20.0), MolarConcentration::ZERO);
        let ph = |meq| system.ph(ChargeConcentration::meq_per_l(meq), MolarConcentration::ZERO).value();
        assert_eq!((ph(1e7), ph(-1e7)), (14.0, 0.0));
        assert!((ph(0.0) - 7.08).abs() < 0.01);
    }

    #[test]
    fn chalk_in_air_rests_near_ph_8_3() {
        let system = Carbonate::new(Temperature::celsius(25.0), MolarConcentration::mmol_per_l(1.5));
        let alkalinity = ChargeConcentration::meq_per_l(0.98);
        let (ph, _) = system.under_gas(alkalinity, AbsolutePressure::kpa(0.0355));
        assert!((ph.value() - 8.27).abs() < 0.05, "{ph:?}");
        let index = system.calcite_saturation(MolarConcentration::mmol_per_l(0.49), alkalinity, ph);
        assert!(index.value().abs() < 0.05, "{index:?}");
    }
}
