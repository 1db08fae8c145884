//! The mass ledger of a liquid through the day. Volumes swell, shrink and
//! don't add up; masses do. Everything that happens to wort is booked as mass
//! here, and litres are only read off at a temperature.

use super::extract::{CO2_PER_ETHANOL, EXTRACT_PER_ETHANOL, apparent_extract};
use crate::chem::density::{sg_from_plato, sucrose_density, water_density};
use crate::chem::water::Ions;
use crate::quantity::{
    AlcoholByVolume, Bitterness, Charge, ChargeConcentration, Density, Duration, Fraction, Mass, Plato,
    SpecificGravity, Temperature, Volume, VolumeRate,
};
use std::fmt;
use std::iter::Sum;
use std::ops::Add;

const ROOM: Temperature = Temperature::celsius(20.0);
/// Density of ethanol at 20 °C (OIML R 22).
const ETHANOL_DENSITY: Density = Density::kg_per_m3(789.24);

/// Why an entry can't be booked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LedgerError {
    /// More water would boil off than there is.
    BoiledDry {
        /// Water that would leave.
        asked: Mass,
        /// Water there is.
        held: Mass,
    },
    /// More would be taken than there is.
    NotEnough {
        /// Volume to take.
        asked: Volume,
        /// Volume there is, at the same temperature.
        held: Volume,
    },
    /// More extract would ferment than there is.
    NotEnoughExtract {
        /// Extract to ferment.
        asked: Mass,
        /// Extract there is.
        held: Mass,
    },
    /// A rate, time, mass or volume below nothing.
    BelowNothing,
}

impl fmt::Display for LedgerError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BoiledDry { asked, held } => write!(
                f,
                "{:.1} kg of water would boil off and only {:.1} kg is there",
                asked.as_kilograms(),
                held.as_kilograms()
            ),
            Self::NotEnough { asked, held } => {
                write!(f, "{:.1} L can't be taken from {:.1} L", asked.as_litres(), held.as_litres())
            }
            Self::NotEnoughExtract { asked, held } => {
                write!(f, "{:.0} g of extract can't ferment of {:.0} g", asked.as_grams(), held.as_grams())
            }
            Self::BelowNothing => write!(f, "an amount can't be below zero"),
        }
    }
}

/// Ions as masses: what [`Ions`] are in a volume, without the alkalinity.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct IonMasses {
    /// Calcium.
    pub calcium: Mass,
    /// Magnesium.
    pub magnesium: Mass,
    /// Sodium.
    pub sodium: Mass,
    /// Potassium.
    pub potassium: Mass,
    /// Chloride.
    pub chloride: Mass,
    /// Sulfate.
    pub sulfate: Mass,
}

impl IonMasses {
    /// No ions.
    pub const NOTHING: Self = Self {
        calcium: Mass::ZERO,
        magnesium: Mass::ZERO,
        sodium: Mass::ZERO,
        potassium: Mass::ZERO,
        chloride: Mass::ZERO,
        sulfate: Mass::ZERO,
    };

    /// So many times as much.
    pub(crate) fn scaled(self, factor: f64) -> Self {
        Self {
            calcium: self.calcium * factor,
            magnesium: self.magnesium * factor,
            sodium: self.sodium * factor,
            potassium: self.potassium * factor,
            chloride: self.chloride * factor,
            sulfate: self.sulfate * factor,
        }
    }
}

impl Add for IonMasses {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            calcium: self.calcium + other.calcium,
            magnesium: self.magnesium + other.magnesium,
            sodium: self.sodium + other.sodium,
            potassium: self.potassium + other.potassium,
            chloride: self.chloride + other.chloride,
            sulfate: self.sulfate + other.sulfate,
        }
    }
}

/// A liquid as the masses it is made of. Sums of wort are wort.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wort {
    /// Water.
    pub water: Mass,
    /// Dissolved solids: sugars, dextrins, acids, salts.
    pub extract: Mass,
    /// Ethanol.
    pub ethanol: Mass,
    /// Iso-alpha-acids.
    pub bitterness: Mass,
    /// Acid added or formed, as the charge that neutralises it.
    pub acid: Charge,
    /// Minerals of the water, its salts and the fruit; malt brings more, as part of its extract. Those of the
    /// water are below 0.2 % of the mass and not counted in it. Alkalinity is not carried: mash and acid use it up.
    pub ions: IonMasses,
}

impl Add for Wort {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            water: self.water + other.water,
            extract: self.extract + other.extract,
            ethanol: self.ethanol + other.ethanol,
            bitterness: self.bitterness + other.bitterness,
            acid: self.acid + other.acid,
            ions: self.ions + other.ions,
        }
    }
}

impl Sum for Wort {
    fn sum<I: Iterator<Item = Self>>(worts: I) -> Self {
        worts.fold(Self::NOTHING, Add::add)
    }
}

impl Wort {
    /// An empty vessel.
    pub const NOTHING: Self = Self {
        water: Mass::ZERO,
        extract: Mass::ZERO,
        ethanol: Mass::ZERO,
        bitterness: Mass::ZERO,
        acid: Charge::ZERO,
        ions: IonMasses::NOTHING,
    };

    /// Plain water.
    pub fn of_water(volume: Volume, at: Temperature) -> Self {
        Self { water: water_density(at).mass_of(volume), ..Self::NOTHING }
    }

    /// Unfermented wort of a volume and an extract. Extract 0..=70 °P; outside, the nearest end holds.
    pub fn of_wort(volume: Volume, extract: Plato, at: Temperature) -> Self {
        let share = (extract.as_degrees() / 100.0).clamp(0.0, 0.7);
        let mass = sucrose_density(Plato::degrees(100.0 * share), at).mass_of(volume);
        Self { water: mass * (1.0 - share), extract: mass * share, ..Self::NOTHING }
    }

    /// The mass of the liquid. Iso-alpha-acids weigh milligrams and are left out.
    pub fn mass(&self) -> Mass {
        self.water + self.extract + self.ethanol
    }

    /// True when there is nothing in it.
    pub fn is_empty(&self) -> bool {
        self.mass() <= Mass::ZERO
    }

    fn share(&self, part: Mass) -> Fraction {
        Fraction::of_one(if self.is_empty() { 0.0 } else { (part / self.mass()).clamp(0.0, 1.0) })
    }

    /// Extract really in it; zero for an empty vessel.
    pub fn real_extract(&self) -> Plato {
        Plato::degrees(self.share(self.extract).as_percent())
    }

    /// Extract a hydrometer shows: the alcohol pulls it down, by Balling.
    pub fn plato(&self) -> Plato {
        // Without alcohol the two are the same, and no rounding may part them.
        if self.ethanol <= Mass::ZERO {
            return self.real_extract();
        }
        apparent_extract(self.share(self.ethanol), self.real_extract())
    }

    /// Specific gravity a hydrometer shows at 20/20 °C.
    pub fn sg(&self) -> SpecificGravity {
        sg_from_plato(self.plato())
    }

    /// Density at a temperature: that of a sucrose solution of the extract a hydrometer shows.
    pub fn density(&self, at: Temperature) -> Density {
        sucrose_density(self.plato(), at)
    }

    /// Volume at a temperature, 0..=105 °C.
    pub fn volume(&self, at: Temperature) -> Volume {
        self.density(at).volume_of(self.mass())
    }

    /// Alcohol by volume at 20 °C.
    pub fn alcohol(&self) -> AlcoholByVolume {
        if self.is_empty() {
            return AlcoholByVolume::ZERO;
        }
        AlcoholByVolume::of_one(ETHANOL_DENSITY.volume_of(self.ethanol) / self.volume(ROOM))
    }

    /// Iso-alpha-acids per litre at 20 °C; zero for an empty vessel.
    pub fn ibu(&self) -> Bitterness {
        if self.is_empty() {
            return Bitterness::ZERO;
        }
        Bitterness::ibu(self.bitterness.as_grams() * 1e3 / self.volume(ROOM).as_litres())
    }

    /// Booked acid per litre at 20 °C; zero for an empty vessel.
    pub fn acidity(&self) -> ChargeConcentration {
        if self.is_empty() {
            return ChargeConcentration::ZERO;
        }
        self.acid / self.volume(ROOM)
    }

    /// The wort without some of its water.
    ///
    /// # Errors
    /// [`LedgerError::BoiledDry`] when that is all of the water or more;
    /// [`LedgerError::BelowNothing`].
    pub fn boil_off(self, water: Mass) -> Result<Self, LedgerError> {
        check(water >= Mass::ZERO)?;
        if water >= self.water && water > Mass::ZERO {
            return Err(LedgerError::BoiledDry { asked: water, held: self.water });
        }
        Ok(Self { water: self.water - water, ..self })
    }

    /// The wort after a boil. The rate counts litres of cold water (20 °C), as
    /// a person measures it: what was there before less what is there after.
    ///
    /// # Errors
    /// As [`Wort::boil_off`].
    pub fn boil(self, rate: VolumeRate, time: Duration) -> Result<Self, LedgerError> {
        check(rate >= VolumeRate::ZERO && time >= Duration::ZERO)?;
        self.boil_off(evaporated(rate, time))
    }

    /// What is taken, and what is left, measured at a temperature.
    ///
    /// # Errors
    /// [`LedgerError::NotEnough`], [`LedgerError::BelowNothing`].
    pub fn take(self, volume: Volume, at: Temperature) -> Result<(Self, Self), LedgerError> {
        check(volume >= Volume::ZERO)?;
        let held = self.volume(at);
        // The last drop may differ by rounding.
        if volume > held * (1.0 + 1e-12) {
            return Err(LedgerError::NotEnough { asked: volume, held });
        }
        let share = if held > Volume::ZERO { (volume / held).min(1.0) } else { 0.0 };
        Ok((self.scaled(share), self.scaled(1.0 - share)))
    }

    fn scaled(self, factor: f64) -> Self {
        Self {
            water: self.water * factor,
            extract: self.extract * factor,
            ethanol: self.ethanol * factor,
            bitterness: self.bitterness * factor,
            acid: self.acid * factor,
            ions: self.ions.scaled(factor),
        }
    }

    /// With the ions of a volume of this water; its alkalinity is left out.
    #[must_use]
    pub fn with_ions(self, ions: &Ions, water: Volume) -> Self {
        let added = IonMasses {
            calcium: ions.calcium * water,
            magnesium: ions.magnesium * water,
            sodium: ions.sodium * water,
            potassium: ions.potassium * water,
            chloride: ions.chloride * water,
            sulfate: ions.sulfate * water,
        };
        Self { ions: self.ions + added, ..self }
    }

    /// With a share of another liquid's ions, 0..=1: of the water that the grain did not keep.
    #[must_use]
    pub fn with_ions_of(self, other: &Self, share: Fraction) -> Self {
        Self { ions: self.ions + other.ions.scaled(share.as_of_one()), ..self }
    }

    /// Its ions per litre at 20 °C, without alkalinity; none in an empty vessel.
    pub fn ion_load(&self) -> Ions {
        if self.is_empty() {
            return Ions::default();
        }
        let volume = self.volume(ROOM);
        Ions {
            calcium: self.ions.calcium / volume,
            magnesium: self.ions.magnesium / volume,
            sodium: self.ions.sodium / volume,
            potassium: self.ions.potassium / volume,
            chloride: self.ions.chloride / volume,
            sulfate: self.ions.sulfate / volume,
            ..Ions::default()
        }
    }

    /// The water that makes a wort of this extract in the water's place fill a volume: its room is nearly the
    /// same at every strength, so the steps shrink fast. The rest stays as it is.
    pub(super) fn filled_to(self, volume: Volume, at: Temperature) -> Self {
        let target = volume.as_litres();
        let mut wort = self;
        for _ in 0..12 {
            let missing = target - wort.volume(at).as_litres();
            let water = wort.water + water_density(at).mass_of(Volume::litres(missing));
            wort.water = water.max(Mass::ZERO);
            if missing.abs() < 1e-12 * target {
                break;
            }
        }
        wort
    }

    /// The wort as it was read: a volume at its temperature, a gravity, or both. What was
    /// predicted and read alike stays, acid, bitterness and minerals included.
    ///
    /// With [`Rebase::Strength`] a volume says that there is more or less of the same wort, and a gravity that
    /// the same volume holds more or less extract: before a boil. With [`Rebase::Extract`] either says how much
    /// water has gone: after a boil, when the extract is known. A gravity of nothing leaves such a wort as it is.
    #[must_use]
    pub fn rebased(
        self,
        volume: Option<(Volume, Temperature)>,
        gravity: Option<Plato>,
        keep: Rebase,
    ) -> Self {
        let share = gravity.map(|plato| (plato.as_degrees() / 100.0).clamp(0.0, 0.7));
        match (volume, share, keep) {
            (None, None, _) => self,
            (Some((volume, at)), Some(share), _) => {
                let read = Self::of_wort(volume, Plato::degrees(100.0 * share), at);
                let factor = match keep {
                    Rebase::Strength if !self.is_empty() => volume / self.volume(at),
                    _ => 1.0,
                };
                Self { water: read.water, extract: read.extract, ..self.scaled(factor) }
            }
            (Some((volume, at)), None, Rebase::Strength) => {
                self.scaled(if self.is_empty() { 1.0 } else { volume / self.volume(at) })
            }
            (Some((volume, at)), None, Rebase::Extract) => self.filled_to(volume, at),
            (None, Some(share), Rebase::Strength) => {
                let read = Self::of_wort(self.volume(ROOM), Plato::degrees(100.0 * share), ROOM);
                Self { water: read.water, extract: read.extract, ..self }
            }
            (None, Some(share), Rebase::Extract) => {
                let water = if share > 0.0 { self.extract * (1.0 / share - 1.0) } else { self.water };
                Self { water, ..self }
            }
        }
    }

    /// With iso-alpha-acids in it, such as give this bitterness at 20 °C.
    #[must_use]
    pub fn with_bitterness(self, bitterness: Bitterness) -> Self {
        let added = Mass::grams(bitterness.as_ibu() * self.volume(ROOM).as_litres() / 1e3);
        Self { bitterness: self.bitterness + added, ..self }
    }

    /// The beer after some of the extract has fermented, and the carbon
    /// dioxide that came of it (Balling); the yeast that grew is left out of the beer.
    ///
    /// # Errors
    /// [`LedgerError::NotEnoughExtract`], [`LedgerError::BelowNothing`].
    pub fn ferment(self, extract: Mass) -> Result<(Self, Mass), LedgerError> {
        check(extract >= Mass::ZERO)?;
        if extract > self.extract {
            return Err(LedgerError::NotEnoughExtract { asked: extract, held: self.extract });
        }
        let ethanol = extract / EXTRACT_PER_ETHANOL;
        let beer = Self { extract: self.extract - extract, ethanol: self.ethanol + ethanol, ..self };
        Ok((beer, ethanol * CO2_PER_ETHANOL))
    }
}

/// What a reading leaves as it was predicted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rebase {
    /// The strength of the wort.
    Strength,
    /// The mass of its extract.
    Extract,
}

/// Water that a boil drives off; the rate counts litres of cold water (20 °C).
pub fn evaporated(rate: VolumeRate, time: Duration) -> Mass {
    water_density(ROOM).mass_of(rate * time)
}

fn check(sound: bool) -> Result<(), LedgerError> {
    if sound { Ok(()) } else { Err(LedgerError::BelowNothing) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Concentration;
    use proptest::prelude::*;

    fn minerals([calcium, magnesium, sodium, potassium, chloride, sulfate]: [Mass; 6]) -> IonMasses {
        IonMasses { calcium, magnesium, sodium, potassium, chloride, sulfate }
    }
    fn masses(wort: &Wort) -> [f64; 6] {
        let IonMasses { calcium, magnesium, sodium, potassium, chloride, sulfate } = wort.ions;
        [calcium, magnesium, sodium, potassium, chloride, sulfate].map(|mass| mass.as_grams())
    }
    fn wort(litres: f64, plato: f64) -> Wort {
        Wort {
            bitterness: Mass::grams(litres * 0.01),
            acid: Charge::meq(litres * 20.0),
            ions: minerals([1.0, 0.2, 0.6, 0.1, 1.4, 0.9].map(|grams| Mass::grams(0.1 * grams * litres))),
            ..Wort::of_wort(Volume::litres(litres), Plato::degrees(plato), ROOM)
        }
    }

    fn near(one: Wort, other: Wort) -> bool {
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(1e-3);
        close(one.water.as_grams(), other.water.as_grams())
            && close(one.extract.as_grams(), other.extract.as_grams())
            && close(one.ethanol.as_grams(), other.ethanol.as_grams())
            && close(one.bitterness.as_grams(), other.bitterness.as_grams())
            && close(one.acid.as_meq(), other.acid.as_meq())
            && masses(&one).iter().zip(masses(&other)).all(|(one, other)| close(*one, other))
    }

    proptest! {
        #[test]
        fn taking_and_pouring_back_changes_nothing(v in 1.0..60.0f64, p in 0.0..25.0f64, part in 0.0..1.0f64, t in 0.0..100.0f64) {
            let whole = wort(v, p);
            let at = Temperature::celsius(t);
            let (taken, rest) = whole.take(whole.volume(at) * part, at).unwrap();
            prop_assert!(near(taken + rest, whole));
            prop_assert!((taken.volume(at) + rest.volume(at) - whole.volume(at)).as_litres().abs() < 1e-9 * v);
        }

        #[test]
        fn a_boil_loses_water_and_nothing_else(v in 5.0..60.0f64, p in 1.0..20.0f64, rate in 0.0..4.0f64, time in 0.0..60.0f64) {
            let before = wort(v, p);
            let after = before.boil(VolumeRate::l_per_h(rate), Duration::minutes(time)).unwrap();
            let lost = before.water - after.water;
            prop_assert!((lost.as_grams() - rate * time / 60.0 * 998.2).abs() < 0.1 * (1.0 + rate));
            let refilled = Wort { water: before.water, ..after };
            prop_assert!(near(refilled, before));
            prop_assert!(after.plato().as_degrees() >= before.plato().as_degrees());
        }

        #[test]
        fn a_whole_day_closes_to_the_gram(
            tap in 10.0..60.0f64, ions in proptest::array::uniform6(0.0..300.0f64), plato in 4.0..18.0f64, steps in proptest::collection::vec((0u8..9, 0.0..1.0f64, 2.0..100.0f64), 12..40),
        ) {
            let [calcium, magnesium, sodium, potassium, chloride, sulfate] = ions.map(Concentration::mg_per_l);
            let ions = Ions { calcium, magnesium, sodium, potassium, chloride, sulfate, ..Ions::default() };
            let water = Wort::of_water(Volume::litres(tap), ROOM).with_ions(&ions, Volume::litres(tap));
            let malt = Wort { extract: water.water * (plato / (100.0 - plato)), ..Wort::NOTHING };
            let (mut brought, mut left, mut kettle) = (water + malt, Wort::NOTHING, water + malt);
            let mut gone = Mass::ZERO;
            for (step, part, celsius) in steps {
                let at = Temperature::celsius(celsius);
                match step {
                    // Samples, starter wort, what grain, kettle, yeast, pulp and package keep.
                    0..=2 => {
                        let (taken, rest) = kettle.take(kettle.volume(at) * (0.4 * part), at).unwrap();
                        (left, kettle) = (left + taken, rest);
                    }
                    3 => {
                        let steam = kettle.water * (0.2 * part);
                        kettle = kettle.boil_off(steam).unwrap();
                        left = left + Wort { water: steam, ..Wort::NOTHING };
                    }
                    4 => {
                        // Acid comes in water.
                        let acid = Wort { water: Mass::grams(10.0 * part), acid: Charge::meq(50.0 * part), ..Wort::NOTHING };
                        (brought, kettle) = (brought + acid, kettle + acid);
                    }
                    5 => {
                        let hopped = kettle.with_bitterness(Bitterness::ibu(20.0 * part));
                        let came = Wort { bitterness: hopped.bitterness - kettle.bitterness, ..Wort::NOTHING };
                        (brought, kettle) = (brought + came, hopped);
                    }
                    6 => {
                        let before = kettle;
                        let (beer, gas) = kettle.ferment(kettle.extract * (0.5 * part)).unwrap();
                        // Extract became ethanol, gas and yeast (Balling's 0.11).
                        let ethanol = beer.ethanol - before.ethanol;
                        gone += gas + ethanol * 0.11;
                        kettle = beer;
                        let made = before.extract - beer.extract;
                        prop_assert!((made - ethanol - gas - ethanol * 0.11).as_grams().abs() < 1e-9 * made.as_grams().max(1e-3));
                    }
                    7 => {
                        let fruit = Wort { acid: Charge::meq(300.0 * part), ..Wort::of_wort(Volume::litres(3.0 * part), Plato::degrees(11.0), ROOM) };
                        (brought, kettle) = (brought + fruit, kettle + fruit);
                    }
                    _ => {
                        let sugar = Wort { extract: Mass::grams(500.0 * part), ..Wort::NOTHING };
                        (brought, kettle) = (brought + sugar, kettle + sugar);
                    }
                }
            }
            let end = left + kettle;
            let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(b.abs());
            prop_assert!(close(brought.water.as_grams(), end.water.as_grams()));
            prop_assert!(close(brought.bitterness.as_grams(), end.bitterness.as_grams()));
            prop_assert!(close(brought.acid.as_meq(), end.acid.as_meq()));
            for (one, other) in masses(&brought).into_iter().zip(masses(&end)) {
                prop_assert!(close(one, other));
            }
            // Extract that fermented is in ethanol, gas and yeast.
            let solids = end.extract + end.ethanol + gone;
            prop_assert!(close(brought.extract.as_grams(), solids.as_grams()));
        }

        #[test]
        fn a_reading_is_what_the_wort_then_shows(v in 4.0..60.0f64, p in 2.0..20.0f64, part in 0.8..1.25f64, other in 2.0..20.0f64, t in 10.0..100.0f64) {
            let (wort, at) = (wort(v, p), Temperature::celsius(t));
            let read = wort.volume(at) * part;
            for keep in [Rebase::Strength, Rebase::Extract] {
                let both = wort.rebased(Some((read, at)), Some(Plato::degrees(other)), keep);
                prop_assert!((both.volume(at) / read - 1.0).abs() < 1e-9);
                prop_assert!((both.plato().as_degrees() - other).abs() < 1e-9);
                let volume = wort.rebased(Some((read, at)), None, keep);
                prop_assert!((volume.volume(at) / read - 1.0).abs() < 1e-9);
                let gravity = wort.rebased(None, Some(Plato::degrees(other)), keep);
                prop_assert!((gravity.plato().as_degrees() - other).abs() < 1e-9);
                prop_assert!(near(wort.rebased(None, None, keep), wort));
            }
            let less = wort.rebased(Some((read, at)), None, Rebase::Strength);
            prop_assert!((less.plato().as_degrees() - wort.plato().as_degrees()).abs() < 1e-9);
            prop_assert!((less.acid / wort.acid - part).abs() < 1e-9);
            let boiled = wort.rebased(Some((read, at)), None, Rebase::Extract);
            let refilled = Wort { water: wort.water, ..boiled };
            prop_assert!(near(refilled, wort));
            let boiled = wort.rebased(None, Some(Plato::degrees(other)), Rebase::Extract);
            let refilled = Wort { water: wort.water, ..boiled };
            prop_assert!(near(refilled, wort));
        }

        #[test]
        fn minerals_are_read_back(v in 4.0..60.0f64, sodium in 0.0..300.0f64) {
            let ions = Ions { sodium: Concentration::mg_per_l(sodium), ..Ions::default() };
            let water = Wort::of_water(Volume::litres(v), ROOM).with_ions(&ions, Volume::litres(v));
            // Two fits of the density of water differ by some millionths.
            prop_assert!((water.ion_load().sodium.as_mg_per_l() - sodium).abs() < 1e-5 * (1.0 + sodium));
        }

        #[test]
        fn volume_and_extract_are_read_back(v in 1.0..60.0f64, p in 0.0..25.0f64, t in 0.0..100.0f64) {
            let at = Temperature::celsius(t);
            let made = Wort::of_wort(Volume::litres(v), Plato::degrees(p), at);
            prop_assert!((made.volume(at).as_litres() - v).abs() < 1e-9 * v);
            prop_assert!((made.plato().as_degrees() - p).abs() < 1e-9);
        }

        #[test]
        fn fermentation_closes_the_mass(v in 1.0..60.0f64, p in 2.0..20.0f64, share in 0.0..0.8f64) {
            let before = wort(v, p);
            let (beer, gas) = before.ferment(before.extract * share).unwrap();
            let yeast = (beer.ethanol - before.ethanol) * 0.11;
            let whole = beer.mass() + gas + yeast;
            prop_assert!((whole - before.mass()).as_grams().abs() < 1e-6 * before.mass().as_grams());
            prop_assert!(beer.plato().as_degrees() <= before.plato().as_degrees() + 1e-9);
        }

        #[test]
        fn the_ledger_and_ballings_formula_agree(oe in 4.0..18.0f64, left in 0.1..0.9f64) {
            let beer = super::super::extract::fermented(Plato::degrees(oe), Plato::degrees(oe * left)).unwrap();
            let a = beer.alcohol_by_mass.as_percent();
            // 100 g of beer come of 100 + 1.0665 A grams of wort.
            let before = Wort { water: Mass::grams((100.0 + 1.0665 * a) * (1.0 - oe / 100.0)), extract: Mass::grams((100.0 + 1.0665 * a) * oe / 100.0), ..Wort::NOTHING };
            let (booked, _) = before.ferment(Mass::grams(2.0665 * a)).unwrap();
            prop_assert!((booked.plato().as_degrees() - oe * left).abs() < 1e-6);
            prop_assert!((booked.alcohol().as_percent() - beer.alcohol.as_percent()).abs() < 0.02);
        }
    }

    #[test]
    fn says_when_it_boils_dry() {
        let pot = wort(2.0, 12.0);
        assert!(matches!(
            pot.boil(VolumeRate::l_per_h(3.0), Duration::minutes(60.0)),
            Err(LedgerError::BoiledDry { .. })
        ));
        assert!(matches!(pot.take(Volume::litres(3.0), ROOM), Err(LedgerError::NotEnough { .. })));
        assert!(matches!(pot.ferment(Mass::kilograms(1.0)), Err(LedgerError::NotEnoughExtract { .. })));
        assert_eq!(pot.boil_off(Mass::grams(-1.0)), Err(LedgerError::BelowNothing));
    }

    #[test]
    fn an_empty_vessel_has_no_nan() {
        let empty = Wort::NOTHING;
        assert_eq!(empty.plato().as_degrees(), 0.0);
        assert_eq!(empty.volume(ROOM), Volume::ZERO);
        assert_eq!(empty.ibu(), Bitterness::ZERO);
        assert_eq!(empty.alcohol(), AlcoholByVolume::ZERO);
        assert_eq!(empty.ion_load(), Ions::default());
        let (taken, rest) = empty.take(Volume::ZERO, ROOM).unwrap();
        assert!(taken.is_empty() && rest.is_empty());
    }
}
