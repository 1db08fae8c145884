//! Treatment of the water before anything is brewed with it: chlorine out, alkalinity down, waters mixed.

use crate::chem::carbonate::Carbonate;
use crate::chem::water::Ions;
use crate::data::Source;
use crate::data::salts::Salt;
use crate::numeric::root::root;
use crate::quantity::{
    AbsolutePressure, ChargeConcentration, Concentration, Estimate, Fraction, Mass, MolarConcentration,
    MolarMass, Ph, Temperature, Volume,
};

/// Source of what metabisulfite does to chlorine.
pub const DECHLORINATION_SOURCE: Source = Source::derived(
    "S₂O₅²⁻ + H₂O → 2 HSO₃⁻; HOCl + HSO₃⁻ → Cl⁻ + SO₄²⁻ + 2 H⁺; NH₂Cl + HSO₃⁻ + H₂O → Cl⁻ + SO₄²⁻ + NH₄⁺ + H⁺",
);
/// Source of the excess that is added.
pub const EXCESS_SOURCE: Source = Source::our_estimate(
    "a fifth more than the reaction takes: old powder, air; a field guide to dechlorination doses 1.47 mg of \
     sodium metabisulfite for each mg of chlorine, a tenth more",
);
/// Source of the largest residual.
pub const RESIDUAL_SOURCE: Source = Source::published(
    "US EPA maximum residual disinfectant level, 4 mg/L as Cl₂, as printed in a city's report",
);
/// Source of the line from which sulfite is declared.
pub const SULFITE_SOURCE: Source = Source::from_memory("21 CFR 101.100: 10 mg/L of sulfur dioxide or more");
/// Source of how much chalk stays dissolved.
pub const CHALK_SOURCE: Source = Source::our_estimate(
    "solubility of calcite (Plummer & Busenberg 1982), at 90 °C with 0.13 kPa of carbon dioxide when boiled, at 20 °C \
     with none lost when limed, times what practice leaves: 0.6 to 1 mEq/L of alkalinity when boiled; when limed \
     30 to 45 mg/L as CaCO₃, as books on water works say",
);

/// Sulfite has to be declared from this much on, as SO₂. Source: [`SULFITE_SOURCE`].
pub const DECLARED_SULFITE: Concentration = Concentration::mg_per_l(10.0);
/// pH of distilled water that has stood in air.
pub const DISTILLED_PH: Ph = Ph::new(5.7);
/// What to know before handling metabisulfite.
pub const SULFITE_CAUTION: &str = "The powder irritates eyes and airways and can bring on asthma: don't breathe its \
     dust. Never bring it together with acid outside the water: it gives off sulfur dioxide. Sulfites are allergens.";
/// What to know before handling slaked lime.
pub const LIME_CAUTION: &str = "Slaked lime is caustic: keep it off skin and away from eyes, wear goggles and gloves. \
     Let the chalk settle, draw the clear water off, and check its pH before you use it.";

/// What the supply adds against germs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Disinfectant {
    /// Nothing.
    #[default]
    None,
    /// Free chlorine.
    Chlorine,
    /// Chloramine.
    Chloramine,
}

/// The salt that takes chlorine away.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Sulfite {
    /// Potassium metabisulfite, K₂S₂O₅.
    #[default]
    Potassium,
    /// Sodium metabisulfite, Na₂S₂O₅.
    Sodium,
}

impl Disinfectant {
    /// Every choice.
    pub const ALL: &[Self] = &[Self::None, Self::Chlorine, Self::Chloramine];
}

impl Softening {
    /// Every choice.
    pub const ALL: &[Self] = &[Self::None, Self::Boil, Self::Lime];
}

impl Sulfite {
    /// Both.
    pub const ALL: &[Self] = &[Self::Potassium, Self::Sodium];

    /// The trade's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Potassium => "potassium metabisulfite",
            Self::Sodium => "sodium metabisulfite",
        }
    }

    /// Molar mass.
    pub const fn molar_mass(self) -> MolarMass {
        MolarMass::g_per_mol(match self {
            Self::Potassium => 222.311,
            Self::Sodium => 190.095,
        })
    }
}

/// What is done about alkalinity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Softening {
    /// Nothing.
    #[default]
    None,
    /// The water is boiled and drawn off its chalk.
    Boil,
    /// Slaked lime is stirred in and the water drawn off its chalk.
    Lime,
}

/// Water without its chlorine.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Dechlorination {
    /// Metabisulfite to weigh.
    pub mass: Mass,
    /// Ions afterwards. The excess stands there with its metal; its sulfite is
    /// [`sulfite_left`](Self::sulfite_left), a bisulfite ion that takes no part in alkalinity.
    pub ions: Ions,
    /// Sulfite left over, as SO₂. Boiling drives it out, air turns it into sulfate.
    pub sulfite_left: Concentration,
    /// Ammonium that chloramine leaves, as nitrogen. Yeast takes it up.
    pub ammonium: Concentration,
}

/// The excess of metabisulfite over what the reaction takes. Source: [`EXCESS_SOURCE`].
const EXCESS: f64 = 0.2;
/// Molar masses.
const CHLORINE: f64 = 70.90;
const SULFUR_DIOXIDE: f64 = 64.058;

/// Removes chlorine or chloramine, given as mg/L of Cl₂ (zero or more). Source:
/// [`DECHLORINATION_SOURCE`], with an excess ([`EXCESS_SOURCE`]).
pub fn dechlorinate(
    ions: Ions,
    residual: Concentration,
    disinfectant: Disinfectant,
    sulfite: Sulfite,
    volume: Volume,
) -> Dechlorination {
    let (acid, ammonium) = match disinfectant {
        Disinfectant::None => return Dechlorination { ions, ..Dechlorination::default() },
        Disinfectant::Chlorine => (2.0, 0.0),
        Disinfectant::Chloramine => (1.0, 14.007),
    };
    // mmol/L of chlorine, and of bisulfite: two of it come out of one metabisulfite.
    let taken = residual.max(Concentration::ZERO).as_mg_per_l() / CHLORINE;
    let added = taken * (1.0 + EXCESS);
    let mg = Concentration::mg_per_l;
    let mut after = ions;
    match sulfite {
        Sulfite::Potassium => after.potassium += mg(added * 39.098),
        Sulfite::Sodium => after.sodium += mg(added * 22.990),
    }
    after.chloride += mg(taken * 0.5 * CHLORINE);
    after.sulfate += mg(taken * 96.056);
    after.alkalinity -= ChargeConcentration::meq_per_l(taken * acid);
    Dechlorination {
        mass: mg(0.5 * added * sulfite.molar_mass().as_g_per_mol()) * volume.max(Volume::ZERO),
        ions: after,
        sulfite_left: mg((added - taken) * SULFUR_DIOXIDE),
        ammonium: mg(taken * ammonium),
    }
}

/// Water that lost alkalinity as chalk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Softened {
    /// Ions afterwards.
    pub ions: Ions,
    /// The alkalinity left, with its spread: how much chalk stays in solution varies.
    pub alkalinity: Estimate<ChargeConcentration>,
    /// pH when it has cooled.
    pub ph: Ph,
    /// Slaked lime stirred in; none when boiled.
    pub lime: Mass,
    /// Chalk that settles.
    pub settled: Mass,
}

/// Room temperature: reports, mixing and lime.
const ROOM: Temperature = Temperature::celsius(20.0);
/// Carbon dioxide that half an hour of boiling leaves: three times what the air above would. Source:
/// [`CHALK_SOURCE`].
const BOILED_OFF: AbsolutePressure = AbsolutePressure::kpa(0.13);
/// Weights of one mEq: calcium, chalk, and slaked lime.
const CALCIUM: f64 = 20.039;
const CHALK: f64 = 50.043;
const LIME: f64 = 37.046;
/// Powers of ten above its solubility that chalk stays in solution: usual, least, most. Source:
/// [`CHALK_SOURCE`].
const BOILED: [f64; 3] = [0.6, 0.2, 1.0];
const LIMED: [f64; 3] = [1.1, 0.7, 1.5];

/// A water from which chalk falls until it is only so far above saturation.
struct Settling {
    ions: Ions,
    carbon: MolarConcentration,
    at: Temperature,
    /// Carbon dioxide escapes with the steam; otherwise it stays.
    open: bool,
}

impl Settling {
    /// This water with so much chalk gone, its pH and carbon.
    fn without(&self, chalk: f64) -> (Ions, Ph, MolarConcentration) {
        let mut ions = self.ions;
        ions.calcium -= Concentration::mg_per_l(chalk * CALCIUM);
        ions.alkalinity -= ChargeConcentration::meq_per_l(chalk);
        let system = Carbonate::new(self.at, ions.ionic_strength());
        if self.open {
            let (ph, carbon) = system.under_gas(ions.alkalinity, BOILED_OFF);
            (ions, ph, carbon)
        } else {
            let carbon = self.carbon - MolarConcentration::mmol_per_l(0.5 * chalk);
            (ions, system.ph(ions.alkalinity, carbon), carbon)
        }
    }

    /// mEq/L of chalk that fall until its saturation index is this.
    fn settled(&self, index: f64) -> f64 {
        let calcium = self.ions.calcium_charge().as_meq_per_l();
        let most = calcium.min(self.ions.alkalinity.as_meq_per_l()).min(2.0 * self.carbon.as_mmol_per_l());
        let above = |chalk: f64| {
            let (ions, ph, _) = self.without(chalk);
            let calcium = MolarConcentration::mmol_per_l(0.5 * ions.calcium_charge().as_meq_per_l());
            let system = Carbonate::new(self.at, ions.ionic_strength());
            system.calcite_saturation(calcium, ions.alkalinity, ph).value() - index
        };
        if !(most > 0.0 && most.is_finite() && above(0.0) > 0.0) {
            return 0.0;
        }
        // Nothing of the scarcer one left would be no saturation at all.
        root(&above, 0.0, most * (1.0 - 1e-9), 1e-7).unwrap_or(0.0)
    }

    fn softened(&self, indices: [f64; 3], lime: Mass, volume: Volume) -> Softened {
        let chalk = self.settled(indices[0]);
        let (ions, _, carbon) = self.without(chalk);
        let left = |index: f64| self.ions.alkalinity - ChargeConcentration::meq_per_l(self.settled(index));
        Softened {
            ions,
            alkalinity: Estimate::band(ions.alkalinity, left(indices[1]), left(indices[2])),
            ph: Carbonate::new(ROOM, ions.ionic_strength()).ph(ions.alkalinity, carbon),
            lime,
            settled: Concentration::mg_per_l(chalk * CHALK) * volume.max(Volume::ZERO),
        }
    }
}

/// Inorganic carbon of a water at room temperature; both alkalinity and carbon of at least nothing.
fn carbon_of(ions: &Ions, ph: Ph) -> MolarConcentration {
    Carbonate::new(ROOM, ions.ionic_strength()).carbon(ions.alkalinity, ph)
}

/// A water boiled for half an hour, cooled, and drawn off its chalk. Carbon dioxide escapes, chalk
/// falls as far as there is calcium; magnesium stays. Evaporation is not counted. Source: [`CHALK_SOURCE`].
pub fn boiled(ions: Ions, ph: Ph, volume: Volume) -> Softened {
    let water = Settling { ions, carbon: carbon_of(&ions, ph), at: Temperature::celsius(90.0), open: true };
    water.softened(BOILED, Mass::ZERO, volume)
}

/// A water with as much slaked lime as turns its carbon dioxide and its bicarbonate into chalk, as far
/// as there is calcium, drawn off when it has settled. The lime holds `purity` of Ca(OH)₂ and is weighed
/// in whole steps of the scale, rounded down: too much would leave caustic water. A water whose alkalinity
/// would hardly fall gets none. Source: [`CHALK_SOURCE`].
pub fn limed(ions: Ions, ph: Ph, volume: Volume, purity: Fraction, step: Mass) -> Softened {
    let carbon = carbon_of(&ions, ph);
    let alkalinity = ions.alkalinity.as_meq_per_l();
    // Dissolved gas takes two OH⁻ each, bicarbonate one; the carbonate that makes needs calcium, of
    // which each OH⁻ brings its own.
    let gas = (carbon.as_mmol_per_l() - alkalinity).max(0.0);
    let wanted = 2.0 * gas + alkalinity.min(ions.calcium_charge().as_meq_per_l()).max(0.0);
    let share = purity.as_of_one().clamp(0.0, 1.0);
    let exact = Concentration::mg_per_l(wanted * LIME) * volume.max(Volume::ZERO) / share;
    let lime = if step > Mass::ZERO { step * (exact / step).floor() } else { exact };
    let lime = if lime.is_finite() { lime } else { Mass::ZERO };
    let with = |lime: Mass| {
        let ions = ions.with_salt(Salt::SlakedLime, lime * share, volume);
        Settling { ions, carbon, at: ROOM, open: false }.softened(LIMED, lime, volume)
    };
    let softened = with(lime);
    if softened.alkalinity.high < ions.alkalinity {
        return softened;
    }
    Softened { ions, alkalinity: Estimate::exact(ions.alkalinity), ph, lime: Mass::ZERO, settled: Mass::ZERO }
}

/// Several waters mixed: shares, ions, pH. Ions, alkalinity and inorganic carbon add up, and the pH
/// follows from the last two. Shares below zero count as none; they need not come to one. Of no water
/// at all: distilled water.
pub fn mixed(parts: &[(Fraction, Ions, Ph)]) -> (Ions, Ph) {
    let (mut ions, mut carbon, mut whole) = (Ions::default(), MolarConcentration::ZERO, 0.0);
    for (share, part, ph) in parts {
        let share = share.as_of_one();
        if share > 0.0 {
            whole += share;
            let newest = Fraction::of_one(share / whole);
            ions = ions.blended(newest, part);
            carbon = carbon * newest.rest() + carbon_of(part, *ph) * newest;
        }
    }
    if whole > 0.0 {
        (ions, Carbonate::new(ROOM, ions.ionic_strength()).ph(ions.alkalinity, carbon))
    } else {
        (ions, DISTILLED_PH)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn water(ca: f64, mg: f64, na: f64, alk: f64) -> Ions {
        Ions {
            calcium: Concentration::mg_per_l(ca),
            magnesium: Concentration::mg_per_l(mg),
            sodium: Concentration::mg_per_l(na),
            alkalinity: ChargeConcentration::meq_per_l(alk),
            ..Ions::default()
        }
    }

    const LITRES: Volume = Volume::litres(20.0);

    proptest! {
        /// What the powder brings is found again: potassium or sodium, sulfur, charge.
        #[test]
        fn dechlorination_keeps_sulfur_and_charge(mg in 0.0..10.0f64, bound in any::<bool>(), sodium in any::<bool>()) {
            let kind = if bound { Disinfectant::Chloramine } else { Disinfectant::Chlorine };
            let salt = if sodium { Sulfite::Sodium } else { Sulfite::Potassium };
            let before = water(80.0, 10.0, 20.0, 3.0);
            let done = dechlorinate(before, Concentration::mg_per_l(mg), kind, salt, LITRES);
            let salt_mmol = done.mass.as_grams() * 1e3 / salt.molar_mass().as_g_per_mol() / LITRES.as_litres();
            let sulfate = (done.ions.sulfate - before.sulfate).as_mg_per_l() / 96.056;
            let sulfite = done.sulfite_left.as_mg_per_l() / SULFUR_DIOXIDE;
            prop_assert!((2.0 * salt_mmol - sulfate - sulfite).abs() < 1e-9);
            let metal = (done.ions.cations() - before.cations()).as_meq_per_l();
            prop_assert!((metal - 2.0 * salt_mmol).abs() < 1e-6);
            // Ammonium on the one side, bisulfite on the other; acid is alkalinity that is gone.
            let plus = done.ions.cations().as_meq_per_l() + done.ammonium.as_mg_per_l() / 14.007;
            let minus = done.ions.anions().as_meq_per_l() + sulfite;
            let off = (before.cations() - before.anions()).as_meq_per_l();
            prop_assert!((plus - minus - off).abs() < 1e-6);
            // Chlorine that was taken is the chloride that came, and half as much again for ammonia's.
            prop_assert!(((done.ions.chloride - before.chloride).as_mg_per_l() - 0.5 * mg).abs() < 1e-9);
        }

        /// Chalk takes calcium and alkalinity alike, and nothing else.
        #[test]
        fn softening_loses_chalk_only(ca in 0.0..300.0f64, mg in 0.0..40.0f64, na in 0.0..200.0f64, alk in 0.0..10.0f64, ph in 6.5..8.8f64) {
            let before = water(ca, mg, na, alk);
            for (softened, limed) in [
                (boiled(before, Ph::new(ph), LITRES), false),
                (limed(before, Ph::new(ph), LITRES, Fraction::of_one(0.9), Mass::grams(0.1)), true),
            ] {
                let lime = softened.lime.as_grams() * 0.9 * 1e3 / LIME / LITRES.as_litres();
                prop_assert!(limed || lime == 0.0);
                let chalk = softened.settled.as_grams() * 1e3 / CHALK / LITRES.as_litres();
                let calcium = (softened.ions.calcium_charge() - before.calcium_charge()).as_meq_per_l();
                let alkalinity = (softened.ions.alkalinity - before.alkalinity).as_meq_per_l();
                prop_assert!((calcium - lime + chalk).abs() < 2e-3 * (1.0 + chalk), "{calcium} {lime} {chalk}");
                prop_assert!((alkalinity - lime + chalk).abs() < 2e-3 * (1.0 + chalk), "{alkalinity} {lime} {chalk}");
                prop_assert!(softened.ions.calcium >= Concentration::ZERO);
                prop_assert!(alkalinity <= 1e-9 && softened.alkalinity.is_sound());
                prop_assert_eq!(softened.ions.magnesium, before.magnesium);
            }
        }

        #[test]
        fn totals_add_up_when_waters_are_mixed(a in 0.1..1.0f64, b in 0.1..1.0f64, alk in 0.2..8.0f64, ph in 6.5..8.8f64) {
            let one = (Fraction::of_one(a), water(100.0, 10.0, 0.0, alk), Ph::new(ph));
            let other = (Fraction::of_one(b), Ions::default(), DISTILLED_PH);
            let (ions, _) = mixed(&[one, other]);
            let share = a / (a + b);
            prop_assert!((ions.calcium.as_mg_per_l() - 100.0 * share).abs() < 1e-9);
            prop_assert!((ions.alkalinity.as_meq_per_l() - alk * share).abs() < 1e-9);
            // A water mixed with itself stays what it is.
            let (same, kept) = mixed(&[one, one]);
            prop_assert!((same.alkalinity.as_meq_per_l() - alk).abs() < 1e-9);
            prop_assert!((kept.value() - ph).abs() < 1e-4, "{kept:?}");
        }

        #[test]
        fn every_answer_is_finite(n in proptest::collection::vec(prop_oneof![-1e6..1e6f64, 0.0..10.0f64, Just(0.0), Just(1e300)], 8)) {
            let ions = water(n[0], n[1], n[2], n[3]);
            let (ph, volume) = (Ph::new(n[4]), Volume::litres(n[5]));
            let share = Fraction::of_one(n[6]);
            let all = (
                boiled(ions, ph, volume),
                limed(ions, ph, volume, share, Mass::grams(n[7])),
                dechlorinate(ions, Concentration::mg_per_l(n[6]), Disinfectant::Chlorine, Sulfite::Sodium, volume),
                mixed(&[(share, ions, ph), (Fraction::of_one(n[7]), Ions::default(), ph)]),
            );
            if n.iter().all(|number| number.abs() < 1e9) {
                let text = format!("{all:?}");
                prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
            }
        }
    }

    #[test]
    fn nothing_is_dosed_where_nothing_is_to_be_done() {
        let soft = water(10.0, 2.0, 5.0, 0.4);
        assert_eq!(limed(soft, Ph::new(7.5), LITRES, Fraction::ALL, Mass::grams(0.1)).lime, Mass::ZERO);
        let untouched =
            dechlorinate(soft, Concentration::mg_per_l(4.0), Disinfectant::None, Sulfite::Potassium, LITRES);
        assert_eq!((untouched.mass, untouched.ions), (Mass::ZERO, soft));
    }
}
