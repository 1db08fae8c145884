//! Acids for water, mash and wort.

use super::Source;
use crate::chem::activity::{Coefficients, hydrogen, power_of_ten};
use crate::quantity::{
    Charge, ChargeConcentration, Count, Density, Fraction, MolarConcentration, MolarMass, Ph, Temperature,
    Volume,
};

/// Source of the dissociation constants, 25 °C and no other salts in solution.
pub const PKA_SOURCE: Source =
    Source::from_memory("Goldberg, Kishore & Lennen 2002, J. Phys. Chem. Ref. Data 31:231");
/// Source of the change of the dissociation constants with temperature; that of malic acid is not
/// known and taken as none. Of the activities: [`crate::chem::activity::SOURCE`].
pub const PKA_TEMPERATURE_SOURCE: Source = Source::from_memory(
    "enthalpies and heat capacities of Goldberg, Kishore & Lennen 2002, J. Phys. Chem. Ref. Data 31:231",
);
/// Source of the densities of lactic acid.
pub const LACTIC_DENSITY_SOURCE: Source = Source::published(
    "80 %: CRC Handbook table as quoted by an engineering table; 88 to 92 %: British Pharmacopoeia",
);
/// Source of the densities of phosphoric acid.
pub const PHOSPHORIC_DENSITY_SOURCE: Source = Source::published("ECHA registration and supplier data sheets");
/// Source of the densities of solutions of the solid acids.
pub const SOLID_DENSITY_SOURCE: Source = Source::our_estimate(
    "dissolved solid taken as 1.62 g/mL, as for most fruit acids; within 1 % of handbook solutions",
);

/// An acid that brewers use.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum AcidKind {
    /// Lactic acid.
    #[default]
    Lactic,
    /// Phosphoric acid.
    Phosphoric,
    /// Citric acid.
    Citric,
    /// Malic acid.
    Malic,
    /// Tartaric acid.
    Tartaric,
}

impl AcidKind {
    /// Every acid.
    pub const ALL: &[Self] = &[Self::Lactic, Self::Phosphoric, Self::Citric, Self::Malic, Self::Tartaric];

    /// The trade's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Lactic => "Lactic acid",
            Self::Phosphoric => "Phosphoric acid",
            Self::Citric => "Citric acid",
            Self::Malic => "Malic acid",
            Self::Tartaric => "Tartaric acid",
        }
    }

    /// Molar mass of the acid without water.
    pub const fn molar_mass(self) -> MolarMass {
        MolarMass::g_per_mol(match self {
            Self::Lactic => 90.078,
            Self::Phosphoric => 97.994,
            Self::Citric => 192.123,
            Self::Malic => 134.087,
            Self::Tartaric => 150.086,
        })
    }

    /// Dissociation constants as pKa at 25 °C; unused places are infinite.
    /// Source: [`PKA_SOURCE`].
    pub(crate) const fn pka(self) -> [f64; 3] {
        const NONE: f64 = f64::INFINITY;
        match self {
            Self::Lactic => [3.86, NONE, NONE],
            Self::Phosphoric => [2.148, 7.198, 12.35],
            Self::Citric => [3.128, 4.761, 6.396],
            Self::Malic => [3.459, 5.097, NONE],
            Self::Tartaric => [3.036, 4.366, NONE],
        }
    }

    /// Enthalpy (kJ/mol) and heat capacity (J/(mol K)) of each dissociation at 25 °C.
    /// Source: [`PKA_TEMPERATURE_SOURCE`].
    const fn warmth(self) -> [(f64, f64); 3] {
        const NONE: (f64, f64) = (0.0, 0.0);
        match self {
            Self::Lactic => [(-0.33, 71.0), NONE, NONE],
            Self::Phosphoric => [(-8.0, -141.0), (3.6, -230.0), (16.0, -242.0)],
            Self::Citric => [(4.07, -131.0), (2.23, -178.0), (-3.38, -254.0)],
            Self::Malic => [NONE, NONE, NONE],
            Self::Tartaric => [(3.19, -147.0), (0.93, -218.0), NONE],
        }
    }

    /// The dissociation constants in water without salts at a temperature of 0..=90 °C, beyond that
    /// the nearer end; unused places are zero.
    pub(crate) fn ideal(self, at: Temperature) -> [f64; 3] {
        const GAS: f64 = 8.314_462_618;
        const REFERENCE: f64 = 298.15;
        let t = at.max(Temperature::celsius(0.0)).min(Temperature::celsius(90.0)).as_kelvin();
        let ratio = REFERENCE / t;
        let by_enthalpy = 1e3 * (1.0 - ratio) / (GAS * REFERENCE);
        let by_heat = (ratio - 1.0 - ratio.ln()) / GAS;
        let mut constants = self.pka().map(|pka| power_of_ten(-pka));
        for (constant, (enthalpy, heat)) in constants.iter_mut().zip(self.warmth()) {
            *constant *= (enthalpy * by_enthalpy + heat * by_heat).exp();
        }
        constants
    }

    /// Protons that one molecule has given at this pH, on average: 0 to 3. In water without
    /// salts at 25 °C. pH 0..=14; what lies outside counts as the nearer end.
    pub fn charge_per_mol(self, ph: Ph) -> Count {
        Count::of(charge(shares(self.pka().map(|pka| power_of_ten(-pka)), hydrogen(ph))))
    }

    /// Protons that one molecule has given at this pH, on average: 0 to 3. In a solution at a
    /// temperature of 0..=90 °C with an ionic strength up to 0.5 mol/L.
    /// pH 0..=14; what lies outside counts as the nearer end.
    /// Sources: [`PKA_SOURCE`], [`PKA_TEMPERATURE_SOURCE`].
    pub fn charge_per_mol_in(self, ph: Ph, at: Temperature, strength: MolarConcentration) -> Count {
        Count::of(charge(shares(self.constants_in(at, strength), hydrogen(ph))))
    }

    /// The constants of the activity of hydrogen and the concentrations of the acid's forms.
    pub(crate) fn constants_in(self, at: Temperature, strength: MolarConcentration) -> [f64; 3] {
        among(self.ideal(at), &Coefficients::new(strength, at))
    }
}

/// Constants for the activity of hydrogen and the concentrations of an acid's forms.
pub(crate) fn among([one, two, three]: [f64; 3], activity: &Coefficients) -> [f64; 3] {
    // Activity coefficients go with the square of the charge: their ratios are odd powers.
    let rise = activity.single.recip();
    let cube = rise * rise * rise;
    [one * activity.neutral * rise, two * cube, three * cube * rise * rise]
}

/// The shares of an acid's forms by the protons they have given at this activity of hydrogen:
/// none, one, two, three.
pub(crate) fn shares([one, two, three]: [f64; 3], h: f64) -> [f64; 4] {
    let dilution = h.recip();
    // Each relative to the whole acid.
    let single = one * dilution;
    let double = single * two * dilution;
    let triple = double * three * dilution;
    let whole = (1.0 + single + double + triple).recip();
    [whole, single * whole, double * whole, triple * whole]
}

/// The mean of the protons given.
pub(crate) fn charge([_, one, two, three]: [f64; 4]) -> f64 {
    one + 2.0 * two + 3.0 * three
}

/// An acid as it stands on the shelf.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Acid {
    /// Which acid.
    pub kind: AcidKind,
    /// Grams of acid in a gram of the solution: above 0, at most 1. What lies
    /// outside counts as nothing or as the acid itself.
    pub strength: Fraction,
}

/// (strength, g/mL) between which the density is read on a straight line.
const LACTIC_DENSITY: [(f64, f64); 4] = [(0.0, 0.9982), (0.80, 1.1848), (0.88, 1.206), (1.0, 1.225)];
const PHOSPHORIC_DENSITY: [(f64, f64); 4] = [(0.0, 0.9982), (0.10, 1.0523), (0.75, 1.575), (0.85, 1.685)];

impl Acid {
    /// Grams of acid in a gram, between none and all.
    const fn share(&self) -> f64 {
        self.strength.as_of_one().clamp(0.0, 1.0)
    }

    /// Density at 20 °C. Sources: [`LACTIC_DENSITY_SOURCE`],
    /// [`PHOSPHORIC_DENSITY_SOURCE`], [`SOLID_DENSITY_SOURCE`].
    pub fn density(&self) -> Density {
        let strength = self.share();
        let table = match self.kind {
            AcidKind::Lactic => LACTIC_DENSITY,
            AcidKind::Phosphoric => PHOSPHORIC_DENSITY,
            AcidKind::Citric | AcidKind::Malic | AcidKind::Tartaric => {
                // Volumes of water and dissolved solid add up.
                return Density::kg_per_m3(1e3 / ((1.0 - strength) / 0.9982 + strength / 1.62));
            }
        };
        let [first, second, third, fourth] = table;
        let (from, to) = match strength {
            s if s <= second.0 => (first, second),
            s if s <= third.0 => (second, third),
            _ => (third, fourth),
        };
        Density::kg_per_m3(1e3 * (from.1 + (strength - from.0) * (to.1 - from.1) / (to.0 - from.0)))
    }

    /// Acid in a litre of the solution.
    pub fn molarity(&self) -> MolarConcentration {
        let moles = self.density().as_kg_per_m3() * self.share() / self.kind.molar_mass().as_g_per_mol();
        MolarConcentration::mmol_per_l(1e3 * moles)
    }

    /// Charge that one litre of the solution gives to a wort or mash that ends at this pH.
    pub fn equivalents_per_litre(&self, ph: Ph) -> ChargeConcentration {
        ChargeConcentration::meq_per_l(self.molarity().as_mmol_per_l() * self.kind.charge_per_mol(ph).value())
    }

    /// Volume of the solution that gives this charge at this final pH.
    /// Zero for a strength of zero: such a bottle gives nothing.
    pub fn volume_for(&self, charge: Charge, ph: Ph) -> Volume {
        let per_litre = self.equivalents_per_litre(ph);
        if per_litre > ChargeConcentration::ZERO { charge / per_litre } else { Volume::ZERO }
    }

    /// Charge that this volume of the solution gives at this final pH.
    pub fn charge_of(&self, volume: Volume, ph: Ph) -> Charge {
        self.equivalents_per_litre(ph) * volume
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The pH at which this many protons are gone.
    fn ph_where_given(kind: AcidKind, protons: f64, celsius: f64, mmol: f64) -> f64 {
        let (at, strength) = (Temperature::celsius(celsius), MolarConcentration::mmol_per_l(mmol));
        let given = |ph| kind.charge_per_mol_in(Ph::new(ph), at, strength).value() - protons;
        crate::numeric::root::root(&given, 0.0, 14.0, 1e-9).unwrap()
    }

    #[test]
    fn salts_make_acids_stronger_and_warmth_hardly_moves_these() {
        let lactic = |celsius, mmol| ph_where_given(AcidKind::Lactic, 0.5, celsius, mmol);
        assert!((lactic(25.0, 0.0) - 3.86).abs() < 1e-6);
        // Davies for one charge at 0.05 mol/L: 0.086, and 0.005 for what has no charge.
        assert!((lactic(25.0, 50.0) - 3.769).abs() < 0.002);
        assert!((lactic(60.0, 0.0) - 3.86).abs() < 0.02);
        let phosphoric = |celsius, mmol| ph_where_given(AcidKind::Phosphoric, 1.5, celsius, mmol);
        assert!((phosphoric(25.0, 0.0) - 7.198).abs() < 0.001);
        // Bates & Acree measured a lowest value near 7.18 about 43 °C, from memory.
        assert!((phosphoric(43.0, 0.0) - 7.18).abs() < 0.01);
        assert!((phosphoric(60.0, 0.0) - 7.19).abs() < 0.02);
    }

    #[test]
    fn without_salts_at_25_c_both_ways_agree() {
        let (at, none) = (Temperature::celsius(25.0), MolarConcentration::ZERO);
        for &kind in AcidKind::ALL {
            for ph in [2.0, 4.5, 7.0, 11.0] {
                let apart = kind.charge_per_mol_in(Ph::new(ph), at, none).value()
                    - kind.charge_per_mol(Ph::new(ph)).value();
                assert!(apart.abs() < 1e-12, "{kind:?} {ph}");
            }
        }
    }

    proptest! {
        #[test]
        fn volume_and_charge_undo_each_other(kind in 0..AcidKind::ALL.len(), strength in 0.01..1.0f64, ph in 3.0..6.0f64, ml in 0.1..50.0f64) {
            let acid = Acid { kind: AcidKind::ALL[kind], strength: Fraction::of_one(strength) };
            let (ph, volume) = (Ph::new(ph), Volume::millilitres(ml));
            let back = acid.volume_for(acid.charge_of(volume, ph), ph);
            prop_assert!((back.as_millilitres() - ml).abs() < 1e-9 * ml);
        }

        #[test]
        fn a_higher_ph_draws_more_charge(kind in 0..AcidKind::ALL.len(), ph in 1.0..12.0f64) {
            let kind = AcidKind::ALL[kind];
            prop_assert!(kind.charge_per_mol(Ph::new(ph + 0.1)) > kind.charge_per_mol(Ph::new(ph)));
        }
    }
}
