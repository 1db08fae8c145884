//! What is dissolved in water.

use crate::data::salts::{Brings, ion};
use crate::quantity::{
    ChargeConcentration, Concentration, Fraction, Mass, MolarConcentration, MolarMass, Volume,
};

/// The ions of a water.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ions {
    /// Calcium.
    pub calcium: Concentration,
    /// Magnesium.
    pub magnesium: Concentration,
    /// Sodium.
    pub sodium: Concentration,
    /// Potassium.
    pub potassium: Concentration,
    /// Chloride.
    pub chloride: Concentration,
    /// Sulfate.
    pub sulfate: Concentration,
    /// Alkalinity.
    pub alkalinity: ChargeConcentration,
}

fn charge_of(concentration: Concentration, ion: (MolarMass, f64)) -> ChargeConcentration {
    ChargeConcentration::meq_per_l(concentration.as_mg_per_l() * ion.1 / ion.0.as_g_per_mol())
}

impl Ions {
    /// Calcium as charge.
    pub fn calcium_charge(&self) -> ChargeConcentration {
        charge_of(self.calcium, ion::CALCIUM)
    }

    /// Magnesium as charge.
    pub fn magnesium_charge(&self) -> ChargeConcentration {
        charge_of(self.magnesium, ion::MAGNESIUM)
    }

    /// Positive charge.
    pub fn cations(&self) -> ChargeConcentration {
        self.hardness() + charge_of(self.sodium, ion::SODIUM) + charge_of(self.potassium, ion::POTASSIUM)
    }

    /// Negative charge, the alkalinity counted as bicarbonate.
    pub fn anions(&self) -> ChargeConcentration {
        charge_of(self.chloride, ion::CHLORIDE) + charge_of(self.sulfate, ion::SULFATE) + self.alkalinity
    }

    /// Calcium and magnesium as charge.
    pub fn hardness(&self) -> ChargeConcentration {
        self.calcium_charge() + self.magnesium_charge()
    }

    /// Alkalinity less calcium / 3.5 and magnesium / 7.
    /// Source: Kolbach 1953, Monatsschrift für Brauerei 6:49, from memory.
    pub fn residual_alkalinity(&self) -> ChargeConcentration {
        self.alkalinity - self.calcium_charge() / 3.5 - self.magnesium_charge() / 7.0
    }

    /// Ionic strength, the alkalinity counted as bicarbonate.
    pub fn ionic_strength(&self) -> MolarConcentration {
        let twice = [
            (self.calcium_charge(), 2.0),
            (self.magnesium_charge(), 2.0),
            (charge_of(self.sodium, ion::SODIUM), 1.0),
            (charge_of(self.potassium, ion::POTASSIUM), 1.0),
            (charge_of(self.chloride, ion::CHLORIDE), 1.0),
            (charge_of(self.sulfate, ion::SULFATE), 2.0),
            (self.alkalinity, 1.0),
        ];
        // Half the sum of c z², with c z as charge.
        MolarConcentration::mmol_per_l(
            0.5 * twice.iter().map(|(charge, z)| charge.as_meq_per_l() * z).sum::<f64>(),
        )
    }

    /// This water with a share of it replaced by another.
    #[must_use]
    pub fn blended(&self, share: Fraction, other: &Self) -> Self {
        let part = |own: Concentration, others: Concentration| own * share.rest() + others * share;
        Self {
            calcium: part(self.calcium, other.calcium),
            magnesium: part(self.magnesium, other.magnesium),
            sodium: part(self.sodium, other.sodium),
            potassium: part(self.potassium, other.potassium),
            chloride: part(self.chloride, other.chloride),
            sulfate: part(self.sulfate, other.sulfate),
            alkalinity: self.alkalinity * share.rest() + other.alkalinity * share,
        }
    }

    /// This water with a salt dissolved in a volume of it; unchanged when there is no water. A pure
    /// [`Salt`](crate::data::salts::Salt) stands for what it brings.
    #[must_use]
    pub fn with_salt(&self, brings: impl Into<Brings>, mass: Mass, volume: Volume) -> Self {
        let grams_per_litre = mass.as_grams() / volume.as_litres();
        if !grams_per_litre.is_finite() {
            return *self;
        }
        let brings = brings.into();
        Self {
            calcium: self.calcium + brings.calcium * grams_per_litre,
            magnesium: self.magnesium + brings.magnesium * grams_per_litre,
            sodium: self.sodium + brings.sodium * grams_per_litre,
            potassium: self.potassium + brings.potassium * grams_per_litre,
            chloride: self.chloride + brings.chloride * grams_per_litre,
            sulfate: self.sulfate + brings.sulfate * grams_per_litre,
            alkalinity: self.alkalinity + brings.alkalinity * grams_per_litre,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::data::salts::Salt;
    use proptest::prelude::*;

    proptest! {
        /// Every salt is neutral: it moves both sides of the charge balance alike.
        #[test]
        fn salts_keep_the_charge_balance(place in 0..Salt::ALL.len(), grams in 0.0..20.0f64) {
            let before = Ions::default();
            let after = before.with_salt(Salt::ALL[place], Mass::grams(grams), Volume::litres(10.0));
            prop_assert!((after.cations() - after.anions()).as_meq_per_l().abs() < 1e-9);
        }

        #[test]
        fn a_blend_lies_between_its_parts(share in 0.0..1.0f64, calcium in 0.0..300.0f64) {
            let water = Ions { calcium: Concentration::mg_per_l(calcium), ..Ions::default() };
            let blend = water.blended(Fraction::of_one(share), &Ions::default());
            prop_assert!((blend.calcium.as_mg_per_l() - calcium * (1.0 - share)).abs() < 1e-9);
        }
    }
}
