//! What fruit brings into the beer, and what it keeps; the room it needs; the pH that beer and
//! fruit settle on; how much of it for what is wanted.
//!
//! What a [`FruitLoad`] brings grows in proportion to its weight. So what a kilogram brings is
//! [`FruitLoad::new`] of a kilogram, what a litre gets is that over the litres, and what money
//! buys is that over the price of a kilogram.

use super::buffer::{ROOM, WORT_STRENGTH};
use super::ferment::FRUIT_FERMENTABILITY;
use super::ledger::{IonMasses, Wort};
use crate::chem::activity::{Coefficients, hydrogen};
use crate::data::Source;
use crate::data::acids::{AcidKind, among, shares};
use crate::data::fruits::{FruitAcid, FruitComposition};
use crate::numeric::root::root;
use crate::quantity::{
    ATMOSPHERE, AlcoholByVolume, Buffering, Charge, ChargeConcentration, Concentration, Density, Estimate,
    Fraction, GaugePressure, Mass, MolarConcentration, Ph, Plato, TitratableAcidity, Volume, VolumePerMass,
};
use std::fmt;
use std::iter::Sum;

/// Density of cell walls and seeds.
const PULP_DENSITY: Density = Density::kg_per_m3(1400.0);
/// Density of stones and peel.
const REFUSE_DENSITY: Density = Density::kg_per_m3(1100.0);
/// Density of ethanol at 20 °C (OIML R 22).
const ETHANOL_DENSITY: Density = Density::kg_per_m3(789.24);
/// Source of the densities of pulp and refuse.
pub const PULP_SOURCE: Source =
    Source::our_estimate("Dry cell walls about 1.4 kg/L, stones and peel about 1.1 kg/L");
/// Source of [`FruitLoad::held`].
pub const HELD_SOURCE: Source = Source::our_estimate(
    "Beer kept per kilogram of dry pulp: whole 7 (4 to 10) L, frozen 5 (3 to 8), purée 4 (2.5 to 7), dried 5 (3 to 9)",
);
/// Ethanol from a gram of hexose: usual, least, all of it.
const ETHANOL_YIELD: [f64; 3] = [0.48, 0.46, 0.511];
/// Sucrose takes up water before it ferments: grams of hexose from a gram of it, less one.
const INVERSION: f64 = 18.015 / 342.297;
/// Source of the alcohol that fruit sugar makes.
pub const YIELD_SOURCE: Source = Source::derived(
    "C6H12O6 gives 2 C2H5OH, 0.511 g/g; about 0.48 (0.46 at the least) beside the yeast that grows; sucrose gives 1.053 g of hexose",
);
/// pH at which titration ends.
const TITRATION_END: Ph = Ph::new(8.2);
/// Grams of lactic acid to a mEq.
const LACTIC_PER_MEQ: f64 = AcidKind::Lactic.molar_mass().as_g_per_mol() * 1e-3;
/// Moisture of dried fruit.
const DRIED_MOISTURE: f64 = 0.18;
/// Source of the moisture of dried fruit.
pub const DRIED_SOURCE: Source = Source::our_estimate("Dried fruit holds about 18 % water");
/// What the straight buffer and the one acid of each fruit can't follow, as a share of the step in pH.
const MODEL_ERROR: f64 = 0.1;
/// Source of the band of [`fruited_ph`].
pub const FRUITED_PH_SOURCE: Source = Source::derived(
    "Charge balance of lactic acid, the beer's buffering and the fruit's main acid, activities by Davies; 10 % of the step for what that leaves out",
);

/// Room for foam while the wort ferments first, as a share of the vessel.
pub const FOAM_PRIMARY: Fraction = Fraction::of_one(0.22);
/// Room for foam once the peak is over and fruit starts it again.
pub const FOAM_AFTER_PEAK: Fraction = Fraction::of_one(0.10);
/// Room in a keg.
pub const FOAM_KEG: Fraction = Fraction::of_one(0.03);
/// Source of the three.
pub const FOAM_SOURCE: Source = Source::common_practice(
    "A fifth to a quarter of the vessel for the first fermentation, a tenth after its peak, 3 % in a keg",
);

/// How much the fruit is to be tasted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Intensity {
    /// Beer first, fruit behind.
    Light,
    /// Beer and fruit side by side.
    Usual,
    /// Fruit first.
    Heavy,
}

impl Intensity {
    /// All of them, from little to much.
    pub const ALL: [Self; 3] = [Self::Light, Self::Usual, Self::Heavy];

    /// Purée for a litre of beer: the range of the trade, and its middle. Source: [`INTENSITY_SOURCE`].
    pub const fn puree(self) -> Estimate<Concentration> {
        let (low, value, high) = match self {
            Self::Light => (50.0, 75.0, 100.0),
            Self::Usual => (100.0, 135.0, 175.0),
            Self::Heavy => (175.0, 230.0, 300.0),
        };
        Estimate {
            value: Concentration::g_per_l(value),
            low: Concentration::g_per_l(low),
            high: Concentration::g_per_l(high),
        }
    }
}

/// Source of [`Intensity::puree`], and of when fruit goes in.
pub const INTENSITY_SOURCE: Source = Source::common_practice(
    "Purée per litre: light 50 to 100 g, usual 100 to 175, heavily fruited from 175 to 300; added after the peak of fermentation and left until the gravity is stable",
);

/// What keeps a pack of fruit from spoiling, and yeast from working.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Preserved {
    /// Neither.
    #[default]
    None,
    /// Sulfite, counted as sulfur dioxide.
    Sulfite,
    /// Sorbate, counted as sorbic acid.
    Sorbate,
}

/// Sulfur dioxide from which a label has to name it. Source: [`SULFITE_DECLARED_SOURCE`].
pub const SULFITE_DECLARED: Concentration = Concentration::mg_per_l(10.0);
/// Source of [`SULFITE_DECLARED`].
pub const SULFITE_DECLARED_SOURCE: Source = Source::published(
    "21 CFR 130.9(a): 10 parts per million or more in the finished food is a detectable amount",
);
/// Source of the levels in packs.
pub const PRESERVED_SOURCE: Source = Source::from_memory(
    "Fruit preparations: sorbic acid 300 to 1000 mg/kg (Regulation (EC) 1333/2008 allows 1000), sulfur dioxide 20 to 500 mg/kg, mostly below 100",
);
/// Source of what they do to yeast.
pub const HINDRANCE_SOURCE: Source = Source::from_memory(
    "Wine trade: 125 to 200 mg/L of sorbic acid or 0.8 mg/L of molecular sulfur dioxide keep yeast from growing; pKa 4.76 and 1.81; about half of the sulfite is bound",
);

/// What a preservative does to yeast.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hindrance {
    /// Nothing to speak of.
    None,
    /// Fruit sugar starts late and ferments slowly.
    Slowed,
    /// Yeast may stop growing and leave the sugar, which may ferment in the package later.
    MayStop,
}

/// A preservative in the beer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Preservation {
    /// Of sulfur dioxide or sorbic acid in the beer, at the levels usual in packs.
    pub dose: Estimate<Concentration>,
    /// What it does, judged at the upper end of the dose.
    pub yeast: Hindrance,
}

impl Preserved {
    /// What it comes to in beer with this much preserved fruit in it, fruit included, at its pH.
    /// Volume above zero, mass not below; else nothing is found. Sources: [`PRESERVED_SOURCE`],
    /// [`HINDRANCE_SOURCE`].
    pub fn in_beer(self, fruit: Mass, volume: Volume, ph: Ph) -> Preservation {
        // mg/kg in the pack; mg/L in the beer that slow yeast; share of it that acts; what stops yeast.
        let ([low, value, high], slows, free, pka, stops) = match self {
            Self::None => ([0.0; 3], 0.0, 0.0, 0.0, 0.0),
            Self::Sulfite => ([20.0, 80.0, 500.0], 10.0, 0.5, 1.81, 0.8),
            Self::Sorbate => ([300.0, 700.0, 1000.0], 25.0, 1.0, 4.76, 125.0),
        };
        let kilos_per_litre = if volume > Volume::ZERO {
            fruit.max(Mass::ZERO).as_kilograms() / volume.as_litres()
        } else {
            0.0
        };
        let dose = |level: f64| Concentration::mg_per_l(level * kilos_per_litre);
        let most = high * kilos_per_litre;
        let active = most * free / (1.0 + hydrogen(Ph::new(pka)) / hydrogen(ph));
        let yeast = if most <= slows {
            Hindrance::None
        } else if active < stops {
            Hindrance::Slowed
        } else {
            Hindrance::MayStop
        };
        Preservation { dose: Estimate { value: dose(value), low: dose(low), high: dose(high) }, yeast }
    }
}

/// The form fruit comes in.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum FruitForm {
    /// Fresh as bought, with stones, peel and skins.
    Whole,
    /// Frozen ready to use, then thawed.
    Frozen,
    /// Purée: the edible part, crushed.
    #[default]
    Puree,
    /// Juice without pulp.
    Juice,
    /// Juice concentrate.
    Concentrate {
        /// Its Brix, from the pack.
        brix: Plato,
    },
    /// Dried to about 18 % water, without stones.
    Dried,
}

impl FruitForm {
    /// Beer that a kilogram of dry pulp keeps.
    fn keeps(self) -> Estimate<VolumePerMass> {
        let (value, low, high) = match self {
            Self::Whole => (7.0, 4.0, 10.0),
            Self::Frozen => (5.0, 3.0, 8.0),
            Self::Puree => (4.0, 2.5, 7.0),
            Self::Dried => (5.0, 3.0, 9.0),
            Self::Juice | Self::Concentrate { .. } => (0.0, 0.0, 0.0),
        };
        Estimate {
            value: VolumePerMass::l_per_kg(value),
            low: VolumePerMass::l_per_kg(low),
            high: VolumePerMass::l_per_kg(high),
        }
    }
}

/// Why fruit can't be reckoned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FruitError {
    /// A mass or volume below zero.
    BelowNothing,
    /// A concentrate has 10 to 80 °Bx.
    ConcentrateBrix(Plato),
    /// The fruit's solids and water don't make a whole.
    Composition,
    /// Beer has pH 2 to 8.
    BeerPh(Ph),
    /// Buffering of beer lies above 0..=100 mEq/(L·pH).
    Buffering(Buffering),
    /// There must be beer to add fruit to.
    NoBeer,
    /// No amount up to 3 kg for a litre gives what is wanted.
    OutOfReach,
    /// Two vessels are too small for the beer, by this much.
    TooMuchForTwo(Volume),
    /// Purging takes a pressure above 0..=1000 kPa.
    PurgePressure(GaugePressure),
    /// A share of air to be left lies in 0.0001..=1.
    AirLeft(Fraction),
    /// The room kept for foam lies in 0..=0.6 of the vessel.
    FoamReserve(Fraction),
}

impl fmt::Display for FruitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BelowNothing => write!(f, "an amount can't be below zero"),
            Self::ConcentrateBrix(b) => write!(f, "a concentrate has 10 to 80 °Bx, not {}", b.as_degrees()),
            Self::Composition => write!(f, "the fruit's parts don't make a whole"),
            Self::BeerPh(p) => write!(f, "beer has pH 2 to 8, not {}", p.value()),
            Self::Buffering(b) => {
                write!(f, "buffering must be above 0 and up to 100 mEq/(L·pH), not {}", b.as_meq_per_l_ph())
            }
            Self::NoBeer => write!(f, "there is no beer to add fruit to"),
            Self::OutOfReach => write!(f, "no amount of this fruit gives that"),
            Self::TooMuchForTwo(v) => write!(f, "the two vessels are {} L too small", v.as_litres()),
            Self::PurgePressure(p) => write!(f, "purge with above 0 and up to 1000 kPa, not {}", p.as_kpa()),
            Self::AirLeft(a) => write!(f, "0.01 to 100 % of the air may be left, not {} %", a.as_percent()),
            Self::FoamReserve(r) => write!(f, "room for foam must be 0 to 60 %, not {} %", r.as_percent()),
        }
    }
}

/// A weighed amount of fruit as its parts; they add up to the weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FruitLoad {
    /// Sugars.
    pub sugar: Mass,
    /// Other dissolved solids.
    pub other: Mass,
    /// Titratable acid, as the main acid.
    pub acid: Mass,
    /// Water.
    pub water: Mass,
    /// Solids that don't dissolve.
    pub insoluble: Mass,
    /// Stones and peel.
    pub refuse: Mass,
    /// The acid it is counted as.
    pub main_acid: FruitAcid,
    /// pH of the fruit: lowest, likely and highest.
    pub ph: (Ph, Ph, Ph),
    /// Beer that the pulp keeps at the end.
    pub held: Estimate<Volume>,
    /// Purée of the same fruit with the same dissolved solids in it.
    pub as_puree: Mass,
    /// Sucrose, part of the sugars already counted; zero when not known.
    pub sucrose: Mass,
    /// Minerals, part of the solids already counted; zero when not known. All count as dissolved,
    /// though some of the calcium stays with the pulp. Chloride and sulfate no table gives.
    pub ions: IonMasses,
    /// Relative half-width of the 80 % band of the sugar.
    pub sugar_band: Fraction,
    /// Relative half-width of the 80 % band of the acid.
    pub acid_band: Fraction,
}

impl FruitLoad {
    /// Takes a weight of fruit apart. The composition is of the fruit itself;
    /// juice, concentrate and dried fruit follow from it.
    ///
    /// # Errors
    /// [`FruitError::BelowNothing`], [`FruitError::ConcentrateBrix`],
    /// [`FruitError::Composition`].
    pub fn new(mass: Mass, form: FruitForm, of: &FruitComposition) -> Result<Self, FruitError> {
        if mass < Mass::ZERO {
            return Err(FruitError::BelowNothing);
        }
        let parts = [of.water, of.sugars, of.other, of.acid, of.insoluble].map(Fraction::as_of_one);
        let whole: f64 = parts.iter().sum();
        if (whole - 1.0).abs() > 1e-6
            || parts.iter().any(|part| *part < 0.0)
            || !(0.0..1.0).contains(&of.refuse.as_of_one())
        {
            return Err(FruitError::Composition);
        }
        let solids = of.sugars + of.other + of.acid;
        let juice = solids + of.water;
        // Per gram of the fruit as it comes: how much of each part the form holds.
        let (dissolved, water, insoluble, refuse) = match form {
            FruitForm::Whole => {
                let edible = of.refuse.rest().as_of_one();
                (edible, of.water * edible, of.insoluble * edible, of.refuse)
            }
            FruitForm::Frozen | FruitForm::Puree => (1.0, of.water, of.insoluble, Fraction::ZERO),
            FruitForm::Juice if juice > Fraction::ZERO => {
                (1.0 / juice.as_of_one(), of.water / juice.as_of_one(), Fraction::ZERO, Fraction::ZERO)
            }
            FruitForm::Concentrate { brix } => {
                let share = brix.as_degrees() / 100.0;
                if !(0.1..=0.8).contains(&share) {
                    return Err(FruitError::ConcentrateBrix(brix));
                }
                if solids <= Fraction::ZERO {
                    return Err(FruitError::Composition);
                }
                (share / solids.as_of_one(), Fraction::of_one(1.0 - share), Fraction::ZERO, Fraction::ZERO)
            }
            FruitForm::Dried if of.water < Fraction::ALL => {
                let factor = (1.0 - DRIED_MOISTURE) / of.water.rest().as_of_one();
                (factor, Fraction::of_one(DRIED_MOISTURE), of.insoluble * factor, Fraction::ZERO)
            }
            FruitForm::Juice | FruitForm::Dried => return Err(FruitError::Composition),
        };
        let insoluble = mass * insoluble;
        let keeps = form.keeps();
        Ok(Self {
            sugar: mass * of.sugars * dissolved,
            other: mass * of.other * dissolved,
            acid: mass * of.acid * dissolved,
            water: mass * water,
            insoluble,
            refuse: mass * refuse,
            main_acid: of.main_acid,
            ph: of.ph,
            held: keeps.map(|k| k * insoluble),
            as_puree: mass * dissolved,
            sucrose: mass * of.sucrose * dissolved,
            ions: IonMasses {
                calcium: mass * of.minerals.calcium * dissolved,
                magnesium: mass * of.minerals.magnesium * dissolved,
                sodium: mass * of.minerals.sodium * dissolved,
                potassium: mass * of.minerals.potassium * dissolved,
                ..IonMasses::NOTHING
            },
            sugar_band: of.sugar_band,
            acid_band: of.acid_band,
        })
    }

    /// So many times as much of the same.
    fn times(&self, factor: f64) -> Self {
        Self {
            sugar: self.sugar * factor,
            other: self.other * factor,
            acid: self.acid * factor,
            water: self.water * factor,
            insoluble: self.insoluble * factor,
            refuse: self.refuse * factor,
            held: self.held.map(|held| held * factor),
            as_puree: self.as_puree * factor,
            sucrose: self.sucrose * factor,
            ions: self.ions.scaled(factor),
            ..*self
        }
    }

    /// The weight of all parts.
    pub fn mass(&self) -> Mass {
        self.sugar + self.other + self.acid + self.water + self.insoluble + self.refuse
    }

    /// The juice: what mixes with the beer.
    pub fn liquid(&self) -> Wort {
        Wort {
            water: self.water,
            extract: self.sugar + self.other + self.acid,
            acid: self.titratable(),
            ions: self.ions,
            ..Wort::NOTHING
        }
    }

    /// Volume of the juice at 20 °C.
    pub fn liquid_volume(&self) -> Volume {
        self.liquid().volume(ROOM)
    }

    /// Volume of pulp, stones and peel.
    pub fn solid_volume(&self) -> Volume {
        PULP_DENSITY.volume_of(self.insoluble) + REFUSE_DENSITY.volume_of(self.refuse)
    }

    /// Sugar that yeast ferments: not the Brix, which counts acid, sorbitol and soluble fibre too.
    /// Source of the share: [`super::ferment::FRUIT_FERMENTABILITY_SOURCE`].
    pub fn fermentable(&self) -> Estimate<Mass> {
        let band = self.sugar_band.as_of_one();
        Estimate {
            value: self.sugar * FRUIT_FERMENTABILITY,
            low: self.sugar * FRUIT_FERMENTABILITY * (1.0 - band),
            high: self.sugar * (1.0 + band),
        }
    }

    /// Alcohol that comes of it, as a volume at 20 °C. Source: [`YIELD_SOURCE`].
    pub fn alcohol(&self) -> Estimate<Volume> {
        let sugar = self.fermentable();
        let inverted =
            if self.sugar > Mass::ZERO { 1.0 + INVERSION * (self.sucrose / self.sugar) } else { 1.0 };
        let [value, low, high] = ETHANOL_YIELD.map(|grams| grams * inverted);
        Estimate {
            value: ETHANOL_DENSITY.volume_of(sugar.value * value),
            low: ETHANOL_DENSITY.volume_of(sugar.low * low),
            high: ETHANOL_DENSITY.volume_of(sugar.high * high),
        }
    }

    /// Dissolved solids that stay when the sugar has fermented: body. Acid, sorbitol, soluble
    /// pectin, minerals.
    pub fn body(&self) -> Mass {
        self.sugar * FRUIT_FERMENTABILITY.rest() + self.other + self.acid
    }

    /// Acid that titration finds.
    pub fn titratable(&self) -> Charge {
        let moles = self.acid.as_grams() / self.main_acid.kind().molar_mass().as_g_per_mol();
        Charge::meq(1e3 * moles * f64::from(self.main_acid.protons()))
    }
}

/// What fruit does to beer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FruitEffect {
    /// Beer or wort and juice together, before any of the sugar ferments.
    pub mixed: Wort,
    /// Fermentable sugar per litre of the mixture.
    pub sugar: Estimate<Concentration>,
    /// Alcohol that the sugar becomes, as a share of the mixture's volume.
    pub alcohol: Estimate<AlcoholByVolume>,
    /// Solids of the fruit that stay dissolved, per litre of the mixture.
    pub body: Concentration,
    /// Juice that comes in, at 20 °C.
    pub liquid: Volume,
    /// Beer that the pulp keeps at the end.
    pub held: Estimate<Volume>,
    /// What is left of a bitterness.
    pub bitterness_left: Fraction,
}

/// The sum over all loads; their bands lean the same way.
fn total<Q: Sum>(loads: &[FruitLoad], of: impl Fn(&FruitLoad) -> Estimate<Q>) -> Estimate<Q> {
    Estimate {
        value: loads.iter().map(|load| of(load).value).sum(),
        low: loads.iter().map(|load| of(load).low).sum(),
        high: loads.iter().map(|load| of(load).high).sum(),
    }
}

/// What fruit does to a beer or wort: gravity, alcohol, volume and bitterness.
///
/// # Errors
/// [`FruitError::NoBeer`].
pub fn effect(beer: &Wort, loads: &[FruitLoad]) -> Result<FruitEffect, FruitError> {
    let before = beer.volume(ROOM);
    if before <= Volume::ZERO {
        return Err(FruitError::NoBeer);
    }
    let mixed = loads.iter().fold(*beer, |sum, load| sum + load.liquid());
    let after = mixed.volume(ROOM);
    Ok(FruitEffect {
        mixed,
        sugar: total(loads, FruitLoad::fermentable).map(|sugar| sugar / after),
        alcohol: total(loads, FruitLoad::alcohol).map(|alcohol| AlcoholByVolume::of_one(alcohol / after)),
        body: loads.iter().map(FruitLoad::body).sum::<Mass>() / after,
        liquid: loads.iter().map(FruitLoad::liquid_volume).sum(),
        held: total(loads, |load| load.held),
        bitterness_left: Fraction::of_one(before / after),
    })
}

/// Number of acids.
const ACIDS: usize = AcidKind::ALL.len();
/// Ionic product of water at 20 °C (Plummer & Busenberg 1982).
const WATER: f64 = 6.79e-15;
/// Ionic strength and pH depend on each other; this many rounds settle both.
const ROUNDS: usize = 3;
/// How near a pH is looked for, and on the way or for a band.
const NEAR: f64 = 1e-6;
const ROUGH: f64 = 1e-4;

/// Constants of the acids, one row for each.
type Constants = [[f64; 3]; ACIDS];

/// The acids' constants in pure water at room temperature.
fn ideal_constants() -> Constants {
    let mut all = [[0.0; 3]; ACIDS];
    for (slot, kind) in all.iter_mut().zip(AcidKind::ALL) {
        *slot = kind.ideal(ROOM);
    }
    all
}

/// The constants at one ionic strength.
struct Chemistry {
    acids: Constants,
    /// Activity coefficient of ions with one charge.
    single: f64,
}

impl Chemistry {
    /// Ionic strength in mmol/L; from 500 on, the value there holds.
    fn new(ideal: &Constants, strength: f64) -> Self {
        let activity = Coefficients::new(MolarConcentration::mmol_per_l(strength), ROOM);
        Self { acids: ideal.map(|acid| among(acid, &activity)), single: activity.single }
    }

    /// Free protons less hydroxide, mmol/L.
    fn free(&self, hydrogen: f64) -> f64 {
        1e3 * (hydrogen - WATER / hydrogen) / self.single
    }
}

/// What shares the protons.
#[derive(Clone, Copy, Default)]
struct Mixture {
    /// Each acid, mmol.
    acids: [f64; ACIDS],
    /// Cations but hydrogen, less the anions of strong acids, mEq.
    base: f64,
    /// Volume, litres.
    litres: f64,
    /// A straight buffer, mEq for each unit of pH, and the pH at which it is at rest.
    buffer: f64,
    rest: f64,
}

impl Mixture {
    /// Only the acid at this place, one mmol of it.
    fn one(kind: AcidKind) -> Self {
        let mut one = Self::default();
        if let Some(slot) = one.acids.get_mut(kind as usize) {
            *slot = 1.0;
        }
        one
    }

    /// With so many times a part that has no straight buffer.
    fn and(mut self, part: &Self, times: f64) -> Self {
        for (slot, amount) in self.acids.iter_mut().zip(part.acids) {
            *slot += times * amount;
        }
        self.base += times * part.base;
        self.litres += times * part.litres;
        self
    }

    /// Charge of the acids' ions, mEq, and the same with each charge squared.
    fn ions_of_acids(&self, here: &Chemistry, hydrogen: f64) -> (f64, f64) {
        let (mut single, mut squared) = (0.0, 0.0);
        for (constants, amount) in here.acids.iter().zip(self.acids) {
            if amount != 0.0 {
                let [_, one, two, three] = shares(*constants, hydrogen);
                single += amount * (one + 2.0 * two + 3.0 * three);
                squared += amount * (one + 4.0 * two + 9.0 * three);
            }
        }
        (single, squared)
    }

    /// Negative charge less positive; rises with the pH.
    fn over(&self, here: &Chemistry, ph: f64) -> f64 {
        let hydrogen = hydrogen(Ph::new(ph));
        self.ions_of_acids(here, hydrogen).0 + self.buffer * (ph - self.rest)
            - self.base
            - self.litres * here.free(hydrogen)
    }

    /// The pH at which the charges balance; the nearer end when that lies outside.
    fn ph(&self, here: &Chemistry, [low, high]: [f64; 2], near: f64) -> f64 {
        let over = |ph| self.over(here, ph);
        let found = root(&over, low, high, near);
        found.unwrap_or(if over(low) > 0.0 { low } else { high })
    }

    /// Ions as they make ionic strength, mmol.
    fn ions(&self, here: &Chemistry, ph: f64) -> f64 {
        let hydrogen = hydrogen(Ph::new(ph));
        let protons = self.litres * here.free(hydrogen).abs();
        0.5 * (self.ions_of_acids(here, hydrogen).1 + self.base.abs() + protons)
    }
}

/// pH of acids and a strong base in water, at room temperature: what [`fruited_ph`] reckons with.
/// Salts that take no part are given as the ionic strength they make, together with the ions of
/// acids and base up to 500 mmol/L. pH 0..=14.
pub fn blend_ph(
    acids: &[(AcidKind, MolarConcentration)],
    base: ChargeConcentration,
    salts: MolarConcentration,
) -> Ph {
    let mut mixture = Mixture { base: base.as_meq_per_l(), litres: 1.0, ..Mixture::default() };
    for (kind, amount) in acids {
        if let Some(slot) = mixture.acids.get_mut(*kind as usize) {
            *slot += amount.as_mmol_per_l().max(0.0);
        }
    }
    let (ideal, salts) = (ideal_constants(), salts.as_mmol_per_l());
    let (mut ph, mut strength) = (7.0, salts);
    for _ in 0..ROUNDS {
        let here = Chemistry::new(&ideal, strength);
        ph = mixture.ph(&here, [0.0, 14.0], NEAR);
        strength = salts + mixture.ions(&here, ph);
    }
    Ph::new(ph)
}

/// Beer before fruit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SourBeer {
    /// The beer.
    pub beer: Wort,
    /// Its pH, 2..=8.
    pub ph: Estimate<Ph>,
    /// What the wort buffers for each litre, without the lactic acid: above 0..=100 mEq/(L·pH).
    pub buffering: Estimate<Buffering>,
    /// Lactic acid in it, poured and formed, with its lactate.
    pub lactic: Mass,
    /// Its titratable acidity.
    pub acidity: Estimate<TitratableAcidity>,
}

/// A beer's or a fruit's number at the low end of its band, in the middle or at the high end: -1, 0, 1.
fn leaning<Q: Copy>(low: Q, value: Q, high: Q, lean: f64) -> Q {
    match lean {
        l if l < 0.0 => low,
        l if l > 0.0 => high,
        _ => value,
    }
}

impl SourBeer {
    fn check(&self) -> Result<Volume, FruitError> {
        for ph in [self.ph.low, self.ph.value, self.ph.high] {
            if !(2.0..=8.0).contains(&ph.value()) {
                return Err(FruitError::BeerPh(ph));
            }
        }
        for b in [self.buffering.low, self.buffering.value, self.buffering.high] {
            if !(b.as_meq_per_l_ph() > 0.0 && b.as_meq_per_l_ph() <= 100.0) {
                return Err(FruitError::Buffering(b));
            }
        }
        if self.lactic < Mass::ZERO {
            return Err(FruitError::BelowNothing);
        }
        let volume = self.beer.volume(ROOM);
        if volume > Volume::ZERO { Ok(volume) } else { Err(FruitError::NoBeer) }
    }

    /// The beer as what shares the protons: at its own pH it neither gives nor takes any, which
    /// fixes the base it holds.
    fn shares(&self, volume: Volume, ideal: &Constants, ph: f64, buffering: f64) -> Mixture {
        let rest = leaning(self.ph.low, self.ph.value, self.ph.high, ph).value();
        let b = leaning(self.buffering.low, self.buffering.value, self.buffering.high, buffering);
        let lactic = 1e3 * self.lactic.as_grams() / AcidKind::Lactic.molar_mass().as_g_per_mol();
        let empty = Mixture {
            litres: volume.as_litres(),
            buffer: b.as_meq_per_l_ph() * volume.as_litres(),
            rest,
            ..Mixture::default()
        };
        let beer = empty.and(&Mixture::one(AcidKind::Lactic), lactic);
        let base = beer.over(&Chemistry::new(ideal, WORT_STRENGTH.as_mmol_per_l()), rest);
        Mixture { base, ..beer }
    }

    /// The pH of beer and juice between two bounds, and the constants there.
    fn settle(
        &self,
        beer: &Mixture,
        juice: &Mixture,
        ideal: &Constants,
        bounds: [f64; 2],
    ) -> (f64, Chemistry) {
        let both = beer.and(juice, 1.0);
        // Ions of the beer itself, its lactate among them, thin out as the juice comes in.
        let salts = WORT_STRENGTH.as_mmol_per_l() * beer.litres;
        let mut strength = WORT_STRENGTH.as_mmol_per_l();
        for _ in 1..ROUNDS {
            let here = Chemistry::new(ideal, strength);
            let ph = both.ph(&here, bounds, ROUGH);
            strength = (salts + juice.ions(&here, ph)) / both.litres;
        }
        let here = Chemistry::new(ideal, strength);
        (both.ph(&here, bounds, NEAR), here)
    }

    /// The lowest and the highest pH that meet, with room for what the ions do as they thin out.
    fn bounds(&self, loads: &[FruitLoad]) -> [f64; 2] {
        let (mut low, mut high) = (self.ph.low, self.ph.high);
        for load in loads {
            (low, high) = (low.min(load.ph.0), high.max(load.ph.2));
        }
        [(low.value() - 0.5).max(1.0), (high.value() + 0.5).min(9.0)]
    }
}

/// The fruit as what shares the protons. At its own pH and with the ions of its fresh juice it
/// neither gives nor takes any: that fixes the base it holds. Acid leans by a share of its band.
fn juice_of(loads: &[FruitLoad], ideal: &Constants, acid: f64, ph: f64) -> Mixture {
    let mut all = Mixture::default();
    for load in loads {
        let unit = Mixture::one(load.main_acid.kind());
        let (low, likely, high) = load.ph;
        // Titration ends at 8.2, so a fruit's own pH must lie below.
        let own = leaning(low, likely, high, ph).value().clamp(1.5, 7.6);
        let (start, end) = (hydrogen(Ph::new(own)), hydrogen(TITRATION_END));
        // The table's pH is that of fresh fruit, not of what is left when its water is gone.
        let litres = load.as_puree.as_kilograms();
        if litres <= 0.0 {
            continue;
        }
        let titratable = load.titratable().as_meq() * (1.0 + acid * load.acid_band.as_of_one());
        let mut fresh = Mixture::default();
        let mut strength = WORT_STRENGTH.as_mmol_per_l();
        for _ in 0..ROUNDS {
            let here = Chemistry::new(ideal, strength);
            let given = unit.ions_of_acids(&here, start).0;
            // Titration counts the free protons too.
            let free = litres * here.free(start);
            let amount = (titratable - free) / (unit.ions_of_acids(&here, end).0 - given);
            let empty = Mixture { litres, base: -free, ..Mixture::default() };
            fresh = empty.and(&Mixture { base: given, ..unit }, amount.max(0.0));
            strength = fresh.ions(&here, own) / litres;
        }
        all = all.and(&Mixture { litres: load.liquid_volume().as_litres(), ..fresh }, 1.0);
    }
    all
}

/// pH of beer with fruit in it.
///
/// Beer and fruit share the protons: the beer as its lactic acid and a straight buffer, each fruit
/// as its main acid, counted from its titration between its own pH and 8.2 and partly neutralised
/// as its pH says. The ionic strength is that of beer, of each juice, and then of the mixture. The
/// band adds in quadrature those of the beer's pH and buffering and of the fruits' acid and pH (all
/// fruits leaning the same way) and what the model leaves out. Source: [`FRUITED_PH_SOURCE`].
///
/// # Errors
/// [`FruitError`] when an argument is outside its range.
pub fn fruited_ph(beer: &SourBeer, loads: &[FruitLoad]) -> Result<Estimate<Ph>, FruitError> {
    let volume = beer.check()?;
    let (ideal, bounds) = (ideal_constants(), beer.bounds(loads));
    let (own, juice) = (beer.shares(volume, &ideal, 0.0, 0.0), juice_of(loads, &ideal, 0.0, 0.0));
    let (ph, here) = beer.settle(&own, &juice, &ideal, bounds);
    let model = MODEL_ERROR * (ph - beer.ph.value.value());
    let (mut below, mut above) = (model * model, model * model);
    for step in [-1.0, 1.0] {
        for mixture in [
            beer.shares(volume, &ideal, step, 0.0).and(&juice, 1.0),
            beer.shares(volume, &ideal, 0.0, step).and(&juice, 1.0),
            own.and(&juice_of(loads, &ideal, step, 0.0), 1.0),
            own.and(&juice_of(loads, &ideal, 0.0, step), 1.0),
        ] {
            let shift = mixture.ph(&here, bounds, ROUGH) - ph;
            if shift < 0.0 {
                below += shift * shift;
            } else {
                above += shift * shift;
            }
        }
    }
    Ok(Estimate { value: Ph::new(ph), low: Ph::new(ph - below.sqrt()), high: Ph::new(ph + above.sqrt()) })
}

/// Titratable acidity of beer with fruit in it: the acid of both over the larger volume.
///
/// # Errors
/// [`FruitError::NoBeer`].
pub fn fruited_acidity(
    beer: &SourBeer,
    loads: &[FruitLoad],
) -> Result<Estimate<TitratableAcidity>, FruitError> {
    let effect = effect(&beer.beer, loads)?;
    let after = effect.mixed.volume(ROOM).as_litres();
    let (mut brought, mut band) = (0.0, 0.0);
    for load in loads {
        let acid = load.titratable().as_meq() * LACTIC_PER_MEQ / after;
        brought += acid;
        band += acid * load.acid_band.as_of_one();
    }
    let share = effect.bitterness_left.as_of_one();
    let of_beer = beer.acidity.map(|acidity| acidity * share);
    let value = of_beer.value + TitratableAcidity::g_per_l_lactic(brought);
    let below = (of_beer.value - of_beer.low).as_g_per_l_lactic().hypot(band);
    let above = (of_beer.high - of_beer.value).as_g_per_l_lactic().hypot(band);
    Ok(Estimate {
        value,
        low: value - TitratableAcidity::g_per_l_lactic(below),
        high: value + TitratableAcidity::g_per_l_lactic(above),
    })
}

/// What a person wants of the fruit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    /// Purée, or as much of another form as holds the same solids, for a litre of beer before
    /// fruit: see [`Intensity::puree`].
    Puree(Concentration),
    /// Alcohol in the end, once the fruit has fermented. Sour fruit has little sugar and much water
    /// and may thin the alcohol instead.
    Alcohol(AlcoholByVolume),
    /// pH of the mixture.
    Ph(Ph),
    /// Titratable acidity of the mixture.
    Acidity(TitratableAcidity),
}

/// Most fruit that is looked for, kilograms to a litre of beer.
const MOST: f64 = 3.0;

/// The weight of a fruit that gives what is wanted. `of` is any amount of it, above nothing, in the
/// form it is added in.
///
/// # Errors
/// [`FruitError::OutOfReach`] when no amount up to 3 kg for a litre gives that; others when an
/// argument is outside its range.
pub fn amount_for(wanted: Wanted, beer: &SourBeer, of: &FruitLoad) -> Result<Mass, FruitError> {
    let volume = beer.check()?;
    if of.mass() <= Mass::ZERO {
        return Err(FruitError::BelowNothing);
    }
    let ideal = ideal_constants();
    let one = std::slice::from_ref(of);
    let (own, juice) = (beer.shares(volume, &ideal, 0.0, 0.0), juice_of(one, &ideal, 0.0, 0.0));
    let bounds = beer.bounds(one);
    let most = Mass::kilograms(MOST * volume.as_litres()) / of.mass();
    let over = |share: f64| {
        let load = [of.times(share)];
        match wanted {
            Wanted::Puree(puree) => (load[0].as_puree / volume - puree).as_g_per_l(),
            Wanted::Alcohol(alcohol) => {
                let ethanol = ETHANOL_DENSITY.volume_of(beer.beer.ethanol) + load[0].alcohol().value;
                let after = (beer.beer + load[0].liquid()).volume(ROOM);
                ethanol / after - alcohol.as_of_one()
            }
            Wanted::Ph(ph) => {
                let juice = Mixture::default().and(&juice, share);
                beer.settle(&own, &juice, &ideal, bounds).0 - ph.value()
            }
            Wanted::Acidity(acidity) => {
                fruited_acidity(beer, &load).map_or(f64::NAN, |got| (got.value - acidity).as_g_per_l_lactic())
            }
        }
    };
    let share = root(&over, 0.0, most, 1e-7 * most);
    share.map(|share| of.mass() * share).map_err(|_| FruitError::OutOfReach)
}

/// Room in a vessel with beer and fruit in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Room {
    /// Beer, juice, pulp and stones together.
    pub filled: Volume,
    /// Kept for foam.
    pub foam: Volume,
    /// What is left above both; below zero when it will run over.
    pub left: Volume,
}

fn check_foam(foam: Fraction) -> Result<(), FruitError> {
    if (0.0..=0.6).contains(&foam.as_of_one()) { Ok(()) } else { Err(FruitError::FoamReserve(foam)) }
}

/// Room left in a vessel, with a share of it kept for foam, 0..=0.6.
///
/// # Errors
/// [`FruitError::FoamReserve`], [`FruitError::BelowNothing`].
pub fn room_left(
    vessel: Volume,
    beer: Volume,
    loads: &[FruitLoad],
    foam: Fraction,
) -> Result<Room, FruitError> {
    if vessel < Volume::ZERO || beer < Volume::ZERO {
        return Err(FruitError::BelowNothing);
    }
    check_foam(foam)?;
    let fruit: Volume = loads.iter().map(|load| load.liquid_volume() + load.solid_volume()).sum();
    let (filled, foam) = (beer + fruit, vessel * foam);
    Ok(Room { filled, foam, left: vessel - filled - foam })
}

/// The mixture and the room after each addition in turn, before any of its sugar ferments: the most
/// the vessel has to hold. Each addition comes with the room kept for foam at its time, as
/// [`FOAM_AFTER_PEAK`].
pub fn additions<'a>(
    vessel: Volume,
    beer: &'a Wort,
    loads: &'a [FruitLoad],
    foam: &'a [Fraction],
) -> impl Iterator<Item = Result<(FruitEffect, Room), FruitError>> + 'a {
    foam.iter().zip(1..=loads.len()).map(move |(foam, count)| {
        let so_far = loads.get(..count).unwrap_or(loads);
        Ok((effect(beer, so_far)?, room_left(vessel, beer.volume(ROOM), so_far, *foam)?))
    })
}

/// Beer and fruit shared out over two vessels so that both are equally full, each with the same
/// share of it kept for foam, 0..=0.6.
///
/// # Errors
/// [`FruitError::TooMuchForTwo`] when they don't hold it; [`FruitError::FoamReserve`],
/// [`FruitError::BelowNothing`].
pub fn split(filled: Volume, vessels: [Volume; 2], foam: Fraction) -> Result<[Volume; 2], FruitError> {
    let [one, other] = vessels;
    if filled < Volume::ZERO || one.min(other) < Volume::ZERO {
        return Err(FruitError::BelowNothing);
    }
    check_foam(foam)?;
    let both = one + other;
    let usable = both * foam.rest();
    if filled > usable {
        return Err(FruitError::TooMuchForTwo(filled - usable));
    }
    let share = if both > Volume::ZERO { filled / both } else { 0.0 };
    Ok([one * share, other * share])
}

/// Filling a space with carbon dioxide and letting it out again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Purge {
    /// Times to fill and let out.
    pub cycles: u32,
    /// Air left then, as a share of the air at first.
    pub left: Fraction,
    /// Carbon dioxide that takes.
    pub gas: Mass,
}

/// Purges until no more than a share of the air is left, 0.0001..=1. Each time the space is filled
/// to a pressure (above 0..=1000 kPa, within what the vessel's plate allows) and let out to the air's,
/// which leaves what the absolute pressures say. Gas at 20 °C. Source: [`PURGE_SOURCE`].
///
/// # Errors
/// [`FruitError::PurgePressure`], [`FruitError::AirLeft`], [`FruitError::BelowNothing`].
pub fn purge(space: Volume, pressure: GaugePressure, most_left: Fraction) -> Result<Purge, FruitError> {
    if space < Volume::ZERO {
        return Err(FruitError::BelowNothing);
    }
    if !(pressure > GaugePressure::ZERO && pressure.as_kpa() <= 1000.0) {
        return Err(FruitError::PurgePressure(pressure));
    }
    if !(1e-4..=1.0).contains(&most_left.as_of_one()) {
        return Err(FruitError::AirLeft(most_left));
    }
    let ratio = ATMOSPHERE / pressure.absolute();
    let (mut cycles, mut left) = (0, 1.0);
    // Hardly any pressure would take for ever: a thousand times is no way to purge.
    while left > most_left.as_of_one() && cycles < 1000 {
        left *= ratio;
        cycles += 1;
    }
    // Ideal gas at 20 °C: 44.01 g/mol over 8.314 J/(mol·K) and 293.15 K, in g/(L·kPa).
    let per_cycle = 44.01 / (8.314_462_618 * 293.15) * pressure.as_kpa() * space.as_litres();
    Ok(Purge { cycles, left: Fraction::of_one(left), gas: Mass::grams(per_cycle * f64::from(cycles)) })
}

/// Source of [`purge`].
pub const PURGE_SOURCE: Source =
    Source::derived("Each filling thins the air by the ratio of absolute pressures");

#[cfg(test)]
mod tests {
    use super::*;
    use crate::data::fruits::Fruit;
    use proptest::prelude::*;

    const FORMS: [FruitForm; 6] = [
        FruitForm::Whole,
        FruitForm::Frozen,
        FruitForm::Puree,
        FruitForm::Juice,
        FruitForm::Concentrate { brix: Plato::degrees(65.0) },
        FruitForm::Dried,
    ];

    fn load(place: usize, form: usize, grams: f64) -> FruitLoad {
        let composition = Fruit::ALL[place].composition();
        FruitLoad::new(Mass::grams(grams), FORMS[form], &composition).unwrap()
    }

    fn beer() -> Wort {
        let wort = Wort::of_wort(Volume::litres(10.0), Plato::degrees(11.0), ROOM)
            .with_bitterness(crate::quantity::Bitterness::ibu(5.0));
        wort.ferment(wort.extract * 0.6).unwrap().0
    }

    fn sour(ph: f64, buffering: f64, lactic: f64) -> SourBeer {
        SourBeer {
            beer: beer(),
            ph: Estimate::exact(Ph::new(ph)),
            buffering: Estimate::relative(Buffering::meq_per_l_ph(buffering), 0.15),
            lactic: Mass::grams(lactic),
            acidity: Estimate::exact(TitratableAcidity::g_per_l_lactic(6.0)),
        }
    }

    /// What loads give, and the wish for that much of it.
    type Question<'a> = (&'a dyn Fn(&[FruitLoad]) -> f64, &'a dyn Fn(f64) -> Wanted);

    fn settled(ph: f64, buffering: f64, lactic: f64, loads: &[FruitLoad]) -> Estimate<Ph> {
        fruited_ph(&sour(ph, buffering, lactic), loads).unwrap()
    }

    proptest! {
        #[test]
        fn the_parts_make_the_whole(place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 0.0..9000.0f64) {
            let load = load(place, form, grams);
            prop_assert!((load.mass().as_grams() - grams).abs() < 1e-6 * (1.0 + grams), "{load:?}");
            prop_assert!(load.held.is_sound() && load.fermentable().is_sound() && load.alcohol().is_sound());
            prop_assert!(load.sucrose <= load.sugar * 1.001);
            let dissolved = load.sugar + load.other + load.acid;
            let fermented = load.sugar * FRUIT_FERMENTABILITY;
            prop_assert!((load.body() + fermented - dissolved).as_grams().abs() < 1e-9 * (1.0 + grams));
        }

        #[test]
        fn more_fruit_is_more_of_all(place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 10.0..5000.0f64) {
            let (one, more) = (load(place, form, grams), load(place, form, grams * 1.1));
            prop_assert!(more.sugar > one.sugar && more.liquid_volume() > one.liquid_volume());
            prop_assert!(more.titratable() > one.titratable() && more.body() > one.body());
            prop_assert!(more.solid_volume() >= one.solid_volume() && more.alcohol().value > one.alcohol().value);
            let (a, b) = (effect(&beer(), &[one]).unwrap(), effect(&beer(), &[more]).unwrap());
            prop_assert!(b.sugar.value > a.sugar.value && b.alcohol.value > a.alcohol.value);
            prop_assert!(b.bitterness_left < a.bitterness_left && b.mixed.acid > a.mixed.acid);
            prop_assert!(b.mixed.volume(ROOM) > a.mixed.volume(ROOM));
            let room = |load| room_left(Volume::litres(30.0), Volume::litres(10.0), &[load], FOAM_PRIMARY).unwrap().left;
            prop_assert!(room(more) < room(one));
            // Scaling is the same as weighing in more.
            let scaled = one.times(1.1);
            prop_assert!((scaled.body() - more.body()).as_grams().abs() < 1e-9 * grams);
            prop_assert!((scaled.as_puree - more.as_puree).as_grams().abs() < 1e-8 * grams);
        }

        #[test]
        fn a_second_addition_brings_what_it_would_alone(
            place in 0..Fruit::ALL.len(), other in 0..Fruit::ALL.len(), form in 0usize..6, grams in 10.0..3000.0f64,
        ) {
            let loads = [load(place, form, grams), load(other, 2, 500.0)];
            let foam = [FOAM_PRIMARY, FOAM_AFTER_PEAK];
            let beer = beer();
            let vessel = Volume::litres(20.0);
            let levels: Vec<_> = additions(vessel, &beer, &loads, &foam).map(Result::unwrap).collect();
            prop_assert_eq!(levels.len(), 2);
            prop_assert_eq!(levels[0].0, effect(&beer, &loads[..1]).unwrap());
            prop_assert_eq!(levels[1].0, effect(&beer, &loads).unwrap());
            let rise = levels[1].1.filled - levels[0].1.filled;
            let brought = loads[1].liquid_volume() + loads[1].solid_volume();
            prop_assert!((rise - brought).as_litres().abs() < 1e-9);
            prop_assert_eq!(levels[1].1.foam, vessel * FOAM_AFTER_PEAK);
        }

        #[test]
        fn the_mixture_holds_all_the_mass(place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 0.0..5000.0f64) {
            let load = load(place, form, grams);
            let mixed = effect(&beer(), &[load]).unwrap().mixed;
            let parts = beer().mass() + load.mass() - load.insoluble - load.refuse;
            prop_assert!((mixed.mass() - parts).as_grams().abs() < 1e-6);
            prop_assert!((mixed.ions.potassium - beer().ions.potassium - load.ions.potassium).as_grams().abs() < 1e-9);
        }

        #[test]
        fn the_ph_lies_about_between_those_that_meet(
            place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 0.0..5000.0f64, ph in 3.0..5.4f64,
            b in 1.0..20.0f64, lactic in 0.0..90.0f64,
        ) {
            let load = load(place, form, grams);
            let got = settled(ph, b, lactic, &[load]);
            prop_assert!(got.is_sound(), "{got:?}");
            let (low, high) = (ph.min(load.ph.1.value()), ph.max(load.ph.1.value()));
            // Ions thin out or crowd as the two meet, which moves the pH a little by itself.
            prop_assert!((low - 0.1..=high + 0.1).contains(&got.value.value()), "{low} {high} {got:?}");
        }

        #[test]
        fn no_fruit_leaves_the_ph(ph in 2.8..5.4f64, b in 1.0..20.0f64, lactic in 0.0..90.0f64, place in 0..Fruit::ALL.len()) {
            for loads in [&[][..], &[load(place, 2, 0.0)]] {
                let got = settled(ph, b, lactic, loads);
                prop_assert!((got.value.value() - ph).abs() < 2.0 * NEAR, "{got:?}");
                // Eight shifts of nothing, each found this nearly, added in quadrature.
                let most = 8.0_f64.sqrt() * ROUGH + 2.0 * NEAR;
                prop_assert!(ph - got.low.value() < most && got.high.value() - ph < most, "{got:?}");
            }
        }

        /// At the pH found, beer and juice together hold as much negative charge as positive.
        #[test]
        fn the_charges_balance(
            place in 0..Fruit::ALL.len(), grams in 1.0..5000.0f64, ph in 3.0..5.4f64, b in 1.0..20.0f64, lactic in 0.0..90.0f64,
        ) {
            let (beer, ideal) = (sour(ph, b, lactic), ideal_constants());
            let own = beer.shares(beer.beer.volume(ROOM), &ideal, 0.0, 0.0);
            let juice = juice_of(&[load(place, 2, grams)], &ideal, 0.0, 0.0);
            let (got, here) = beer.settle(&own, &juice, &ideal, [1.0, 9.0]);
            let both = own.and(&juice, 1.0);
            prop_assert!(both.over(&here, got - 2.0 * NEAR) < 0.0 && both.over(&here, got + 2.0 * NEAR) > 0.0);
        }

        #[test]
        fn sourer_fruit_in_greater_amount_never_raises_the_ph(grams in 10.0..4000.0f64, b in 2.0..20.0f64, lactic in 0.0..50.0f64) {
            let less = settled(4.2, b, lactic, &[load(0, 2, grams)]).value;
            let more = settled(4.2, b, lactic, &[load(0, 2, grams * 1.2)]).value;
            prop_assert!(more.value() <= less.value() + 1e-6);
        }

        /// The amount found gives what was wanted.
        #[test]
        fn amount_for_inverts(
            place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 100.0..8000.0f64, ph in 3.0..4.4f64, b in 2.0..20.0f64,
        ) {
            let beer = sour(ph, b, 50.0);
            let volume = beer.beer.volume(ROOM);
            let meant = [load(place, form, grams)];
            let one = load(place, form, 1.0);
            let alcohol = |loads: &[FruitLoad]| {
                let mixed = effect(&beer.beer, loads).unwrap();
                let after = mixed.mixed.volume(ROOM);
                AlcoholByVolume::of_one(ETHANOL_DENSITY.volume_of(beer.beer.ethanol) / after) + mixed.alcohol.value
            };
            let found = amount_for(Wanted::Puree(meant[0].as_puree / volume), &beer, &one).unwrap();
            prop_assert!((found.as_grams() / grams - 1.0).abs() < 1e-4, "{found:?}");
            // Fruit much like the beer hardly moves it, and more than one amount may give the same: what
            // the amount gives counts. Whatever lies between no fruit and the most is found.
            let most = [one.times(1e3 * MOST * volume.as_litres())];
            let ph = |loads: &[FruitLoad]| fruited_ph(&beer, loads).unwrap().value.value();
            let acidity = |loads: &[FruitLoad]| fruited_acidity(&beer, loads).unwrap().value.as_g_per_l_lactic();
            let percent = |loads: &[FruitLoad]| alcohol(loads).as_percent();
            let of: [Question; 3] = [
                (&percent, &|wanted| Wanted::Alcohol(AlcoholByVolume::of_one(wanted / 100.0))),
                (&acidity, &|wanted| Wanted::Acidity(TitratableAcidity::g_per_l_lactic(wanted))),
                (&ph, &|wanted| Wanted::Ph(Ph::new(wanted))),
            ];
            for (gives, wanted) in of {
                let (none, all, target) = (gives(&[]), gives(&most), gives(&meant));
                let between = (none - target) * (all - target) < -1e-9;
                match amount_for(wanted(target), &beer, &one) {
                    Ok(found) => {
                        let got = gives(&[one.times(found / one.mass())]);
                        prop_assert!((got - target).abs() < 2e-4, "{got} {target}");
                    }
                    Err(error) => prop_assert!(!between && error == FruitError::OutOfReach, "{target} of {none}, {all}"),
                }
            }
        }

        #[test]
        fn two_vessels_hold_what_one_does_not(filled in 0.0..60.0f64, one in 0.0..40.0f64, other in 0.0..40.0f64, foam in 0.0..0.5f64) {
            let vessels = [Volume::litres(one), Volume::litres(other)];
            match split(Volume::litres(filled), vessels, Fraction::of_one(foam)) {
                Ok(shares) => {
                    prop_assert!((shares[0] + shares[1] - Volume::litres(filled)).as_litres().abs() < 1e-9);
                    for (share, vessel) in shares.iter().zip(vessels) {
                        prop_assert!(share.as_litres() <= vessel.as_litres() * (1.0 - foam) + 1e-9);
                    }
                }
                Err(FruitError::TooMuchForTwo(over)) => {
                    let room = (one + other) * (1.0 - foam);
                    prop_assert!((over.as_litres() - (filled - room)).abs() < 1e-9 && over > Volume::ZERO);
                }
                Err(error) => prop_assert!(false, "{error}"),
            }
        }

        #[test]
        fn a_purge_is_as_short_as_it_can_be(space in 0.0..20.0f64, kpa in 5.0..400.0f64, left in 0.0005..1.0f64) {
            let found = purge(Volume::litres(space), GaugePressure::kpa(kpa), Fraction::of_one(left)).unwrap();
            let ratio: f64 = 101.325 / (101.325 + kpa);
            prop_assert!((found.left.as_of_one() - ratio.powi(found.cycles as i32)).abs() < 1e-9);
            prop_assert!(found.left.as_of_one() <= left);
            prop_assert!(found.cycles == 0 || ratio.powi(found.cycles as i32 - 1) > left);
        }

        #[test]
        fn more_preserved_fruit_never_hinders_less(grams in 0.0..9000.0f64, litres in 1.0..30.0f64, ph in 2.8..4.6f64) {
            for kind in [Preserved::None, Preserved::Sulfite, Preserved::Sorbate] {
                let of = |grams| kind.in_beer(Mass::grams(grams), Volume::litres(litres), Ph::new(ph));
                let (less, more) = (of(grams), of(grams * 1.3));
                prop_assert!(less.dose.is_sound() && more.dose.high >= less.dose.high);
                prop_assert!(more.yeast as u8 >= less.yeast as u8);
            }
        }
    }

    #[test]
    fn a_heavy_load_of_sorbated_puree_may_stop_yeast() {
        // 175 g for a litre, 1.17 L after; 1000 mg/kg at the most.
        let of = |kind: Preserved| kind.in_beer(Mass::grams(175.0), Volume::litres(1.17), Ph::new(3.4));
        assert_eq!(of(Preserved::Sorbate).yeast, Hindrance::MayStop);
        assert!((of(Preserved::Sorbate).dose.high.as_mg_per_l() - 149.6).abs() < 0.1);
        assert_eq!(of(Preserved::None).yeast, Hindrance::None);
        let light = Preserved::Sulfite.in_beer(Mass::grams(15.0), Volume::litres(1.0), Ph::new(3.4));
        assert_eq!(light.yeast, Hindrance::None);
    }

    #[test]
    fn intensities_follow_on_each_other() {
        for pair in Intensity::ALL.windows(2) {
            assert_eq!(pair[0].puree().high, pair[1].puree().low);
        }
        assert!(Intensity::ALL.iter().all(|wanted| wanted.puree().is_sound()));
    }

    #[test]
    fn says_what_is_wrong() {
        let c = Fruit::Mango.composition();
        let weak = FruitForm::Concentrate { brix: Plato::degrees(5.0) };
        assert!(matches!(FruitLoad::new(Mass::grams(1.0), weak, &c), Err(FruitError::ConcentrateBrix(_))));
        let broken = FruitComposition { water: Fraction::of_one(0.1), ..c };
        assert_eq!(FruitLoad::new(Mass::grams(1.0), FruitForm::Puree, &broken), Err(FruitError::Composition));
        assert_eq!(effect(&Wort::NOTHING, &[]), Err(FruitError::NoBeer));
        let none = room_left(Volume::litres(1.0), Volume::ZERO, &[], Fraction::ALL);
        assert!(matches!(none, Err(FruitError::FoamReserve(_))));
        // Raspberry has too little sugar to bring beer of 4 % to 12 %.
        let beer = sour(3.4, 8.0, 50.0);
        let strong = Wanted::Alcohol(AlcoholByVolume::of_one(0.12));
        assert_eq!(amount_for(strong, &beer, &load(0, 2, 1.0)), Err(FruitError::OutOfReach));
    }
}
