//! Brewing salts: what a gram of each brings.

use super::Source;
use crate::quantity::{ChargeConcentration, Concentration, Density, Fraction, MolarMass};

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
    pub const CARBONATE: f64 = C + 3.0 * O;
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

impl Brings {
    /// What a gram brings of which only this share is the salt, or dissolves.
    #[must_use]
    pub fn share(self, share: Fraction) -> Self {
        Self {
            calcium: self.calcium * share,
            magnesium: self.magnesium * share,
            sodium: self.sodium * share,
            potassium: self.potassium * share,
            chloride: self.chloride * share,
            sulfate: self.sulfate * share,
            alkalinity: self.alkalinity * share,
        }
    }
}

impl From<Salt> for Brings {
    fn from(salt: Salt) -> Self {
        salt.brings()
    }
}

/// A salt that brewers add to water.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
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
    /// CaCO₃.
    Chalk,
    /// CaCl₂ in water; the share of the compound in it is its strength.
    CalciumChlorideSolution,
    /// CaCl₂·6H₂O.
    CalciumChlorideHexahydrate,
    /// MgSO₄.
    MagnesiumSulfateAnhydrous,
    /// Na₂SO₄.
    SodiumSulfate,
    /// K₂SO₄.
    PotassiumSulfate,
    /// KHCO₃.
    PotassiumBicarbonate,
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
        Self::Chalk,
        Self::CalciumChlorideSolution,
        Self::CalciumChlorideHexahydrate,
        Self::MagnesiumSulfateAnhydrous,
        Self::SodiumSulfate,
        Self::PotassiumSulfate,
        Self::PotassiumBicarbonate,
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
            Self::Chalk => "Chalk",
            Self::CalciumChlorideSolution => "Calcium chloride, solution",
            Self::CalciumChlorideHexahydrate => "Calcium chloride, hexahydrate",
            Self::MagnesiumSulfateAnhydrous => "Magnesium sulfate, anhydrous",
            Self::SodiumSulfate => "Sodium sulfate, anhydrous",
            Self::PotassiumSulfate => "Potassium sulfate",
            Self::PotassiumBicarbonate => "Potassium bicarbonate",
        }
    }

    /// What to mind when it is used, in plain words; `None` where there is nothing.
    pub const fn caveat(self) -> Option<&'static str> {
        match self {
            Self::Gypsum => Some("Dissolves slowly, and better in cold water than in hot: stir well."),
            Self::CalciumChlorideDihydrate | Self::CalciumChlorideHexahydrate => Some(
                "Draws water from the air: keep the jar shut, or less of it is salt than the label says.",
            ),
            Self::CalciumChlorideAnhydrous => Some(
                "Gets hot as it dissolves: add it to the water, never water to it. Draws water from the air: keep \
                 the jar shut.",
            ),
            Self::MagnesiumSulfateAnhydrous => {
                Some("Gets warm as it dissolves. Draws water from the air: keep the jar shut.")
            }
            Self::MagnesiumChloride => Some("Draws water from the air: keep the jar shut."),
            Self::SlakedLime => Some(
                "Caustic: wear gloves and eye protection, and keep the dust down. Old lime has turned to chalk in part.",
            ),
            Self::Chalk => Some(
                "Hardly dissolves in water, and in a mash only in part: how much works is a guess. Baking soda or \
                 slaked lime is surer.",
            ),
            Self::CalciumChlorideSolution => {
                Some("Weigh it. Its strength is on the label, or follows from its density at 20 °C.")
            }
            Self::PotassiumChloride | Self::PotassiumSulfate | Self::PotassiumBicarbonate => {
                Some("Potassium tastes bitter, and people told to avoid it must be told that it is there.")
            }
            Self::Epsom | Self::TableSalt | Self::BakingSoda | Self::SodiumSulfate => None,
        }
    }

    /// Whether it raises the pH of a mash.
    pub fn is_alkaline(self) -> bool {
        self.brings().alkalinity > ChargeConcentration::ZERO
    }

    /// The share of what is weighed that is the named compound and ends up
    /// dissolved, when nobody says otherwise: all of it, but half of chalk
    /// ([`CHALK_SOURCE`]) and a third of a calcium chloride solution ([`SOLUTION_SOURCE`]).
    pub const fn usual_share(self) -> Fraction {
        Fraction::of_one(match self {
            Self::Chalk => 0.5,
            Self::CalciumChlorideSolution => 0.33,
            _ => 1.0,
        })
    }

    /// Molar mass with the crystal water of the form named; of a solution, that of the compound dissolved.
    pub const fn molar_mass(self) -> MolarMass {
        use weight::{BICARBONATE, CA, CARBONATE, CL, H, K, MG, NA, O, SULFATE, WATER};
        MolarMass::g_per_mol(match self {
            Self::Gypsum => CA + SULFATE + 2.0 * WATER,
            Self::CalciumChlorideDihydrate => CA + 2.0 * CL + 2.0 * WATER,
            Self::CalciumChlorideAnhydrous | Self::CalciumChlorideSolution => CA + 2.0 * CL,
            Self::CalciumChlorideHexahydrate => CA + 2.0 * CL + 6.0 * WATER,
            Self::Epsom => MG + SULFATE + 7.0 * WATER,
            Self::MagnesiumChloride => MG + 2.0 * CL + 6.0 * WATER,
            Self::TableSalt => NA + CL,
            Self::BakingSoda => NA + BICARBONATE,
            Self::SlakedLime => CA + 2.0 * (O + H),
            Self::PotassiumChloride => K + CL,
            Self::Chalk => CA + CARBONATE,
            Self::MagnesiumSulfateAnhydrous => MG + SULFATE,
            Self::SodiumSulfate => 2.0 * NA + SULFATE,
            Self::PotassiumSulfate => 2.0 * K + SULFATE,
            Self::PotassiumBicarbonate => K + BICARBONATE,
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
            Self::CalciumChlorideDihydrate
            | Self::CalciumChlorideAnhydrous
            | Self::CalciumChlorideSolution
            | Self::CalciumChlorideHexahydrate => {
                Brings { calcium: per_gram(CA), chloride: per_gram(2.0 * CL), ..none }
            }
            Self::Epsom | Self::MagnesiumSulfateAnhydrous => {
                Brings { magnesium: per_gram(MG), sulfate: per_gram(SULFATE), ..none }
            }
            Self::MagnesiumChloride => {
                Brings { magnesium: per_gram(MG), chloride: per_gram(2.0 * CL), ..none }
            }
            Self::TableSalt => Brings { sodium: per_gram(NA), chloride: per_gram(CL), ..none },
            Self::BakingSoda => Brings { sodium: per_gram(NA), alkalinity: alkalinity(1.0), ..none },
            Self::SlakedLime | Self::Chalk => {
                Brings { calcium: per_gram(CA), alkalinity: alkalinity(2.0), ..none }
            }
            Self::PotassiumChloride => Brings { potassium: per_gram(K), chloride: per_gram(CL), ..none },
            Self::SodiumSulfate => Brings { sodium: per_gram(2.0 * NA), sulfate: per_gram(SULFATE), ..none },
            Self::PotassiumSulfate => {
                Brings { potassium: per_gram(2.0 * K), sulfate: per_gram(SULFATE), ..none }
            }
            Self::PotassiumBicarbonate => {
                Brings { potassium: per_gram(K), alkalinity: alkalinity(1.0), ..none }
            }
        }
    }
}

/// Source of the share of chalk that dissolves.
pub const CHALK_SOURCE: Source =
    Source::our_estimate("half of the chalk in a mash dissolves in time; in plain water next to none does");
/// Source of the usual strength of a calcium chloride solution.
pub const SOLUTION_SOURCE: Source =
    Source::our_estimate("solutions for food are sold at about a third by mass");
/// Source of the density of calcium chloride solutions.
pub const SOLUTION_DENSITY_SOURCE: Source = Source::from_memory(
    "CRC Handbook of Chemistry and Physics, Concentrative Properties of Aqueous Solutions, 20 °C",
);

/// Density in kg/m³ at 20 °C of 0, 4, 8, ... 40 g of CaCl₂ in 100 g of solution; read on straight lines, which
/// is 0.2 kg/m³ at most beside the handbook's closer rows.
const SOLUTION_DENSITY: [f64; 11] =
    [998.2, 1031.6, 1065.9, 1101.4, 1138.6, 1177.5, 1218.0, 1260.0, 1303.6, 1348.8, 1395.7];
/// From one row to the next, as a share of the solution's mass.
const SOLUTION_STEP: f64 = 0.04;

/// Why a calcium chloride solution has no strength, or no density.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SolutionError {
    /// The density is not one of a solution up to 40 % at 20 °C.
    Density {
        /// What was given.
        given: Density,
        /// That of water.
        low: Density,
        /// That of a solution of 40 %.
        high: Density,
    },
    /// The share is not between nothing and 40 %.
    Share {
        /// What was given.
        given: Fraction,
        /// The strongest solution of the table.
        high: Fraction,
    },
}

/// Grams of CaCl₂ in a gram of a solution of this density at 20 °C. Source: [`SOLUTION_DENSITY_SOURCE`].
///
/// # Errors
/// [`SolutionError::Density`] outside 998.2 to 1395.7 kg/m³.
pub fn calcium_chloride_share(density: Density) -> Result<Fraction, SolutionError> {
    let given = density.as_kg_per_m3();
    let rows = SOLUTION_DENSITY.windows(2).zip(0_u8..);
    for (pair, place) in rows {
        if let &[from, to] = pair
            && (from..=to).contains(&given)
        {
            return Ok(Fraction::of_one(SOLUTION_STEP * (f64::from(place) + (given - from) / (to - from))));
        }
    }
    let end = |place: usize| Density::kg_per_m3(SOLUTION_DENSITY[place]);
    Err(SolutionError::Density { given: density, low: end(0), high: end(SOLUTION_DENSITY.len() - 1) })
}

/// Density at 20 °C of a solution with this share of CaCl₂ by mass. Source: [`SOLUTION_DENSITY_SOURCE`].
///
/// # Errors
/// [`SolutionError::Share`] outside 0 to 0.40.
pub fn calcium_chloride_density(share: Fraction) -> Result<Density, SolutionError> {
    let place = share.as_of_one() / SOLUTION_STEP;
    let last = (SOLUTION_DENSITY.len() - 1) as f64;
    // Ten rows of 0.04 may come to a hair more than 0.40.
    if !(0.0..=last + 1e-9).contains(&place) {
        return Err(SolutionError::Share { given: share, high: Fraction::of_one(SOLUTION_STEP * last) });
    }
    let row = (place as usize).min(SOLUTION_DENSITY.len() - 2);
    let (from, to) = (SOLUTION_DENSITY[row], SOLUTION_DENSITY[row + 1]);
    Ok(Density::kg_per_m3(from + (place - row as f64) * (to - from)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_lies_outside_the_table_is_an_error() {
        for density in [-1.0, 998.0, 1396.0, f64::NAN] {
            assert!(calcium_chloride_share(Density::kg_per_m3(density)).is_err(), "{density}");
        }
        for share in [-0.01, 0.41, f64::NAN] {
            assert!(calcium_chloride_density(Fraction::of_one(share)).is_err(), "{share}");
        }
    }

    proptest! {
        #[test]
        fn strength_and_density_undo_each_other(share in 0.0..=0.4f64) {
            let density = calcium_chloride_density(Fraction::of_one(share)).unwrap();
            let back = calcium_chloride_share(density).unwrap();
            prop_assert!((back.as_of_one() - share).abs() < 1e-9);
        }

        /// Conde 2004, Int. J. Therm. Sci. 43:367, fits measurements of many authors within half a percent.
        #[test]
        fn densities_agree_with_another_work(share in 0.0..=0.4f64) {
            let density = calcium_chloride_density(Fraction::of_one(share)).unwrap().as_kg_per_m3();
            let ratio = share / (1.0 - share);
            let other = 998.2 * (1.0 + ratio * (0.836014 + ratio * (-0.436300 + ratio * 0.105642)));
            prop_assert!((density / other - 1.0).abs() < 0.005, "{density} {other}");
        }
    }
}
