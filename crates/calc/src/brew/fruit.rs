//! What fruit brings into the beer, and what it keeps.

use super::ledger::Wort;
use crate::data::Source;
use crate::data::fruits::{FruitAcid, FruitComposition};
use crate::quantity::{
    AlcoholByVolume, Buffering, Charge, Concentration, Count, Density, Estimate, Fraction, Mass, Ph, Plato,
    Temperature, Volume, VolumePerMass,
};
use serde::{Deserialize, Serialize};
use std::fmt;

const ROOM: Temperature = Temperature::celsius(20.0);
/// Density of cell walls and seeds.
const PULP_DENSITY: Density = Density::kg_per_m3(1400.0);
/// Density of stones and peel.
const REFUSE_DENSITY: Density = Density::kg_per_m3(1100.0);
/// Density of ethanol at 20 °C (OIML R 22).
const ETHANOL_DENSITY: Density = Density::kg_per_m3(789.24);
/// Source of the densities of pulp and refuse.
pub const PULP_SOURCE: Source =
    Source::our_estimate("Dry cell walls about 1.4 kg/L, stones and peel about 1.1 kg/L");
/// Relative half-width of the 80 % band of a fruit's sugar.
pub const SUGAR_BAND: Fraction = Fraction::of_one(0.20);
/// Relative half-width of the 80 % band of a fruit's acid.
pub const ACID_BAND: Fraction = Fraction::of_one(0.25);
/// Source of both bands.
pub const LOT_SOURCE: Source = Source::our_estimate("Lots differ by variety, ripeness and year");
/// Source of [`FruitLoad::held`].
pub const HELD_SOURCE: Source = Source::our_estimate(
    "Beer kept per kilogram of dry pulp: whole 7 (4 to 10) L, frozen 5 (3 to 8), purée 4 (2.5 to 7), dried 5 (3 to 9)",
);
/// [H+] at pH 8.2, where titration ends.
const TITRATION_END: f64 = 6.309_573_444_801_93e-9;
/// Moisture of dried fruit.
const DRIED_MOISTURE: f64 = 0.18;
/// Source of the moisture of dried fruit.
pub const DRIED_SOURCE: Source = Source::our_estimate("Dried fruit holds about 18 % water");

/// The form fruit comes in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
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
        })
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
    /// Sugar per litre of the mixture.
    pub sugar: Estimate<Concentration>,
    /// Alcohol that the sugar becomes, as a share of the mixture's volume.
    pub alcohol: Estimate<AlcoholByVolume>,
    /// Juice that comes in, at 20 °C.
    pub liquid: Volume,
    /// Beer that the pulp keeps at the end.
    pub held: Estimate<Volume>,
    /// What is left of a bitterness.
    pub bitterness_left: Fraction,
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
    let sugar: Mass = loads.iter().map(|load| load.sugar).sum();
    let per_litre = Concentration::g_per_l(sugar.as_grams() / after.as_litres());
    let band = SUGAR_BAND.as_of_one();
    // Ethanol per sugar: 0.46 to 0.511 (all of it, as hexose), about 0.48 in practice.
    let alcohol =
        |sugar: Mass, yield_: f64| AlcoholByVolume::of_one(ETHANOL_DENSITY.volume_of(sugar * yield_) / after);
    Ok(FruitEffect {
        mixed,
        sugar: Estimate::band(per_litre, per_litre * (1.0 - band), per_litre * (1.0 + band)),
        alcohol: Estimate::band(
            alcohol(sugar, 0.48),
            alcohol(sugar * (1.0 - band), 0.46),
            alcohol(sugar * (1.0 + band), 0.511),
        ),
        liquid: loads.iter().map(FruitLoad::liquid_volume).sum(),
        held: Estimate {
            value: loads.iter().map(|load| load.held.value).sum(),
            low: loads.iter().map(|load| load.held.low).sum(),
            high: loads.iter().map(|load| load.held.high).sum(),
        },
        bitterness_left: Fraction::of_one(before / after),
    })
}

/// Products of the acid constants: first, first two, all three.
type Constants = [f64; 3];

fn constants(acid: FruitAcid) -> Constants {
    let mut product = 1.0;
    let mut all = [0.0; 3];
    for (slot, pka) in all.iter_mut().zip(acid.kind().pka()) {
        // An acid without this proton has an infinite constant: the product is zero from there on.
        product *= power_of_ten(-pka);
        *slot = product;
    }
    all
}

/// Cheaper than `powf` by half, and this runs some hundred times for one beer.
fn power_of_ten(exponent: f64) -> f64 {
    (exponent * std::f64::consts::LN_10).exp()
}

/// Average negative charge of an acid's molecule, from [H+].
fn charge_of([one, two, three]: &Constants, hydrogen: f64) -> f64 {
    let (a, b, c) = (one * hydrogen * hydrogen, two * hydrogen, *three);
    (a + 2.0 * b + 3.0 * c) / (hydrogen * hydrogen * hydrogen + a + b + c)
}

/// Protons that a mole of the acid gives off on the way from one pH to another.
/// Any pH in 0..=14; outside, the nearest end holds.
pub fn protons_given(acid: FruitAcid, from: Ph, to: Ph) -> Count {
    let constants = constants(acid);
    let at = |ph: Ph| charge_of(&constants, power_of_ten(-ph.value().clamp(0.0, 14.0)));
    Count::of(at(to) - at(from))
}

/// pH of beer with fruit in it.
///
/// The beer's buffering and the fruit's acids share the protons: the fruit's
/// acid, counted from its titration between its own pH and 8.2, gives off or
/// takes up what its acid constants say, the beer takes up its buffering times the step in
/// pH. The band takes the buffering's ends, ±25 % of acid and the fruit's range
/// of pH, all leaning the same way, so it is rather wide.
/// Beer pH 2..=8, buffering above 0..=100 mEq/(L·pH), counted at the beer's volume.
///
/// # Errors
/// [`FruitError`] when an argument is outside its range.
pub fn fruited_ph(
    beer: Volume,
    beer_ph: Estimate<Ph>,
    buffering: Estimate<Buffering>,
    loads: &[FruitLoad],
) -> Result<Estimate<Ph>, FruitError> {
    if beer <= Volume::ZERO {
        return Err(FruitError::NoBeer);
    }
    for ph in [beer_ph.low, beer_ph.value, beer_ph.high] {
        if !(2.0..=8.0).contains(&ph.value()) {
            return Err(FruitError::BeerPh(ph));
        }
    }
    for b in [buffering.low, buffering.value, buffering.high] {
        if !(b.as_meq_per_l_ph() > 0.0 && b.as_meq_per_l_ph() <= 100.0) {
            return Err(FruitError::Buffering(b));
        }
    }
    let acids = [FruitAcid::Citric, FruitAcid::Malic, FruitAcid::Tartaric].map(constants);
    let solve = |ph: Ph, b: Buffering, acid: f64, own: fn(&FruitLoad) -> Ph| {
        balance(beer.as_litres() * b.as_meq_per_l_ph(), ph.value(), acid, own, loads, &acids)
    };
    let more = 1.0 + ACID_BAND.as_of_one();
    let less = 1.0 - ACID_BAND.as_of_one();
    let value = solve(beer_ph.value, buffering.value, 1.0, |load| load.ph.1);
    // A fruit may be sourer or milder than the beer, so buffering and acid can lean either way.
    let mut estimate = Estimate::exact(Ph::new(value));
    for (b, acid) in [(buffering.low, more), (buffering.high, less)] {
        let low = solve(beer_ph.low, b, acid, |load| load.ph.0);
        let high = solve(beer_ph.high, b, acid, |load| load.ph.2);
        estimate.low = estimate.low.min(Ph::new(low));
        estimate.high = estimate.high.max(Ph::new(high));
    }
    Ok(estimate)
}

/// Finds the pH at which the protons balance, between the lowest and the highest pH that meet.
fn balance(
    capacity: f64,
    beer_ph: f64,
    acid: f64,
    own: fn(&FruitLoad) -> Ph,
    loads: &[FruitLoad],
    acids: &[Constants; 3],
) -> f64 {
    let (mut low, mut high) = (beer_ph, beer_ph);
    // At the fruit's own pH its acid neither gives nor takes: what it holds then is its zero.
    let mut held = 0.0;
    let mut amounts = [0.0; 3];
    for load in loads {
        let ph = own(load).value().clamp(1.5, 7.6);
        (low, high) = (low.min(ph), high.max(ph));
        let kind = load.main_acid as usize;
        let start = charge_of(&acids[kind], power_of_ten(-ph));
        let end = charge_of(&acids[kind], TITRATION_END);
        let millimoles = acid * load.titratable().as_meq() / (end - start);
        held += millimoles * start;
        amounts[kind] += millimoles;
    }
    let over = |ph: f64| {
        let hydrogen = power_of_ten(-ph);
        let given: f64 =
            acids.iter().zip(amounts).map(|(acid, amount)| amount * charge_of(acid, hydrogen)).sum();
        capacity * (ph - beer_ph) + given - held
    };
    // Rising in pH, and of opposite signs at the ends: a secant kept inside the bracket.
    let (mut at_low, mut at_high) = (over(low), over(high));
    let mut ph = beer_ph;
    for _ in 0..60 {
        let width = high - low;
        if width < 1e-9 || at_high - at_low <= 0.0 {
            break;
        }
        ph = (low - at_low * width / (at_high - at_low)).max(low).min(high);
        let here = over(ph);
        if here.abs() < 1e-10 * capacity {
            break;
        }
        // Halving the end that stays keeps the secant from creeping (Illinois).
        if here < 0.0 {
            (low, at_low) = (ph, here);
            at_high /= 2.0;
        } else {
            (high, at_high) = (ph, here);
            at_low /= 2.0;
        }
    }
    ph
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
    if !(0.0..=0.6).contains(&foam.as_of_one()) {
        return Err(FruitError::FoamReserve(foam));
    }
    let fruit: Volume = loads.iter().map(|load| load.liquid_volume() + load.solid_volume()).sum();
    let (filled, foam) = (beer + fruit, vessel * foam);
    Ok(Room { filled, foam, left: vessel - filled - foam })
}

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
        Wort::of_wort(Volume::litres(10.0), Plato::degrees(11.0), ROOM)
            .with_bitterness(crate::quantity::Bitterness::ibu(5.0))
    }

    fn ph_of(beer_ph: f64, b: f64, loads: &[FruitLoad]) -> Estimate<Ph> {
        let b = Estimate::relative(Buffering::meq_per_l_ph(b), 0.15);
        fruited_ph(Volume::litres(10.0), Estimate::exact(Ph::new(beer_ph)), b, loads).unwrap()
    }

    proptest! {
        #[test]
        fn the_parts_make_the_whole(place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 0.0..9000.0f64) {
            let load = load(place, form, grams);
            prop_assert!((load.mass().as_grams() - grams).abs() < 1e-6 * (1.0 + grams), "{load:?}");
            prop_assert!(load.held.is_sound());
        }

        #[test]
        fn more_fruit_is_more_of_all(place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 10.0..5000.0f64) {
            let (one, more) = (load(place, form, grams), load(place, form, grams * 1.1));
            prop_assert!(more.sugar > one.sugar && more.liquid_volume() > one.liquid_volume());
            let (a, b) = (effect(&beer(), &[one]).unwrap(), effect(&beer(), &[more]).unwrap());
            prop_assert!(b.sugar.value > a.sugar.value && b.alcohol.value > a.alcohol.value);
            prop_assert!(b.bitterness_left < a.bitterness_left);
            let room = |load| room_left(Volume::litres(30.0), Volume::litres(10.0), &[load], Fraction::of_one(0.2)).unwrap().left;
            prop_assert!(room(more) < room(one));
        }

        #[test]
        fn the_mixture_holds_all_the_mass(place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 0.0..5000.0f64) {
            let load = load(place, form, grams);
            let mixed = effect(&beer(), &[load]).unwrap().mixed;
            let parts = beer().mass() + load.mass() - load.insoluble - load.refuse;
            prop_assert!((mixed.mass() - parts).as_grams().abs() < 1e-6);
        }

        #[test]
        fn the_ph_lies_between_those_that_meet(
            place in 0..Fruit::ALL.len(), form in 0usize..6, grams in 0.0..5000.0f64, ph in 3.0..5.4f64, b in 1.0..20.0f64,
        ) {
            let load = load(place, form, grams);
            let got = ph_of(ph, b, &[load]);
            prop_assert!(got.is_sound(), "{got:?}");
            let (low, high) = (ph.min(load.ph.1.value()), ph.max(load.ph.1.value()));
            prop_assert!((low - 1e-9..=high + 1e-9).contains(&got.value.value()));
        }

        #[test]
        fn the_charges_balance(place in 0..Fruit::ALL.len(), grams in 1.0..5000.0f64, ph in 3.0..5.4f64, b in 1.0..20.0f64) {
            let load = load(place, 2, grams);
            let own = load.ph.1;
            let got = ph_of(ph, b, &[load]).value;
            let millimoles = load.titratable().as_meq() / protons_given(load.main_acid, own, Ph::new(8.2)).value();
            let given = millimoles * protons_given(load.main_acid, own, got).value();
            let taken = 10.0 * b * (ph - got.value());
            prop_assert!((given - taken).abs() < 1e-6 * (1.0 + given.abs()), "{given} {taken}");
        }

        #[test]
        fn sourer_fruit_in_greater_amount_never_raises_the_ph(grams in 10.0..4000.0f64, b in 2.0..20.0f64) {
            let less = ph_of(4.2, b, &[load(0, 2, grams)]).value;
            let more = ph_of(4.2, b, &[load(0, 2, grams * 1.2)]).value;
            prop_assert!(more <= less);
        }
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
    }
}
