//! Brewing salts: what a gram of each brings.

use super::Source;
use crate::quantity::{ChargeConcentration, Concentration, MolarMass};
use serde::{Deserialize, Serialize};

/// Source of every atomic weight of this table.
pub const WEIGHTS_SOURCE: Source = Source::from_memory("IUPAC CIAAW abridged standard atomic weights, 2021");

/// Atomic weights in g/mol.
mod weight {
    pub const H: f64 = 1.008;
    pub const C: f64 = 12.011;
    pub const O: f64 = 15.999;
    pub const NA: f64 = 22.990;
    pub const MG: f64 = 24.305;
    pub const S: f64 = 32.06;
    pub const CL: f64 = 35.45;
    pub const K: f64 = 39.098;
    pub const CA: f64 = 40.078;
    pub const WATER: f64 = 2.0 * H + O;
    pub const SULFATE: f64 = S + 4.0 * O;
    pub const BICARBONATE: f64 = H + C + 3.0 * O;
}

/// Molar mass and charge of the ions that water reports name.
pub mod ion {
    use super::{MolarMass, weight};

    /// Calcium, 2+.
    pub const CALCIUM: (MolarMass, f64) = (MolarMass::g_per_mol(weight::CA), 2.0);
    /// Magnesium, 2+.
    pub const MAGNESIUM: (MolarMass, f64) = (MolarMass::g_per_mol(weight::MG), 2.0);
    /// Sodium, 1+.
    pub const SODIUM: (MolarMass, f64) = (MolarMass::g_per_mol(weight::NA), 1.0);
    /// Potassium, 1+.
    pub const POTASSIUM: (MolarMass, f64) = (MolarMass::g_per_mol(weight::K), 1.0);
    /// Chloride, 1-.
    pub const CHLORIDE: (MolarMass, f64) = (MolarMass::g_per_mol(weight::CL), 1.0);
    /// Sulfate, 2-.
    pub const SULFATE: (MolarMass, f64) = (MolarMass::g_per_mol(weight::SULFATE), 2.0);
    /// Bicarbonate, 1-.
    pub const BICARBONATE: (MolarMass, f64) = (MolarMass::g_per_mol(weight::BICARBONATE), 1.0);
}

/// What one gram of a salt in one litre of water brings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Brings {
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

/// A salt that brewers add to water.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Salt {
    /// CaSO₄·2H₂O.
    Gypsum,
    /// CaCl₂·2H₂O.
    CalciumChlorideDihydrate,
    /// CaCl₂.
    CalciumChlorideAnhydrous,
    /// MgSO₄·7H₂O.
    Epsom,
    /// MgCl₂·6H₂O.
    MagnesiumChloride,
    /// NaCl.
    TableSalt,
    /// NaHCO₃.
    BakingSoda,
    /// Ca(OH)₂.
    SlakedLime,
    /// KCl.
    PotassiumChloride,
}

impl Salt {
    /// Every salt.
    pub const ALL: &[Self] = &[
        Self::Gypsum,
        Self::CalciumChlorideDihydrate,
        Self::CalciumChlorideAnhydrous,
        Self::Epsom,
        Self::MagnesiumChloride,
        Self::TableSalt,
        Self::BakingSoda,
        Self::SlakedLime,
        Self::PotassiumChloride,
    ];

    /// The trade's name, with the formula where two forms are sold.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Gypsum => "Gypsum",
            Self::CalciumChlorideDihydrate => "Calcium chloride, dihydrate",
            Self::CalciumChlorideAnhydrous => "Calcium chloride, anhydrous",
            Self::Epsom => "Epsom salt",
            Self::MagnesiumChloride => "Magnesium chloride, hexahydrate",
            Self::TableSalt => "Table salt, without iodine",
            Self::BakingSoda => "Baking soda",
            Self::SlakedLime => "Slaked lime",
            Self::PotassiumChloride => "Potassium chloride",
        }
    }

    /// Molar mass with the crystal water of the form named.
    pub const fn molar_mass(self) -> MolarMass {
        use weight::{BICARBONATE, CA, CL, H, K, MG, NA, O, SULFATE, WATER};
        MolarMass::g_per_mol(match self {
            Self::Gypsum => CA + SULFATE + 2.0 * WATER,
            Self::CalciumChlorideDihydrate => CA + 2.0 * CL + 2.0 * WATER,
            Self::CalciumChlorideAnhydrous => CA + 2.0 * CL,
            Self::Epsom => MG + SULFATE + 7.0 * WATER,
            Self::MagnesiumChloride => MG + 2.0 * CL + 6.0 * WATER,
            Self::TableSalt => NA + CL,
            Self::BakingSoda => NA + BICARBONATE,
            Self::SlakedLime => CA + 2.0 * (O + H),
            Self::PotassiumChloride => K + CL,
        })
    }

    /// What one gram in one litre brings. Source: [`WEIGHTS_SOURCE`].
    pub fn brings(self) -> Brings {
        use weight::{CA, CL, K, MG, NA, SULFATE};
        // Each: formula units of the element per formula unit of the salt.
        let per_gram =
            |grams_per_mol: f64| Concentration::g_per_l(grams_per_mol / self.molar_mass().as_g_per_mol());
        let alkalinity =
            |charges: f64| ChargeConcentration::meq_per_l(charges * 1e3 / self.molar_mass().as_g_per_mol());
        let none = Brings::default();
        match self {
            Self::Gypsum => Brings { calcium: per_gram(CA), sulfate: per_gram(SULFATE), ..none },
            Self::CalciumChlorideDihydrate | Self::CalciumChlorideAnhydrous => {
                Brings { calcium: per_gram(CA), chloride: per_gram(2.0 * CL), ..none }
            }
            Self::Epsom => Brings { magnesium: per_gram(MG), sulfate: per_gram(SULFATE), ..none },
            Self::MagnesiumChloride => {
                Brings { magnesium: per_gram(MG), chloride: per_gram(2.0 * CL), ..none }
            }
            Self::TableSalt => Brings { sodium: per_gram(NA), chloride: per_gram(CL), ..none },
            Self::BakingSoda => Brings { sodium: per_gram(NA), alkalinity: alkalinity(1.0), ..none },
            Self::SlakedLime => Brings { calcium: per_gram(CA), alkalinity: alkalinity(2.0), ..none },
            Self::PotassiumChloride => Brings { potassium: per_gram(K), chloride: per_gram(CL), ..none },
        }
    }
}
