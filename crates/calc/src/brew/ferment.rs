//! What yeast leaves, and the gas it makes.

use super::extract::{CO2_PER_ETHANOL, EXTRACT_PER_ETHANOL, ExtractError, fermented};
use super::fruit::FruitLoad;
use super::ledger::{LedgerError, Wort};
use crate::chem::gas::{GRAMS_PER_VOLUME, GasError, pressure_for};
use crate::data::Source;
use crate::quantity::{
    AlcoholByVolume, Carbonation, Duration, Estimate, Fraction, GaugePressure, Mass, Plato, Temperature,
    Volume,
};
use std::fmt;

/// Share of a fruit's sugar that yeast ferments.
pub const FRUIT_FERMENTABILITY: Fraction = Fraction::of_one(0.97);
/// Source of [`FRUIT_FERMENTABILITY`].
pub const FRUIT_FERMENTABILITY_SOURCE: Source =
    Source::our_estimate("Glucose, fructose and sucrose ferment almost wholly; 94 to 100 %");

/// Why a fermentation can't be foreseen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FermentError {
    /// Apparent attenuation lies in 0..=1.1.
    Attenuation(Fraction),
    /// Share of fruit sugar that ferments lies in 0..=1.
    FruitFermentability(Fraction),
    /// A mass below zero.
    BelowNothing,
    /// Extract and alcohol don't agree.
    Extract(ExtractError),
    /// Masses don't agree.
    Ledger(LedgerError),
    /// No gas equilibrium.
    Gas(GasError),
    /// The vessel's plate does not allow this pressure.
    AboveVesselLimit {
        /// Pressure the carbonation needs.
        needed: GaugePressure,
        /// Pressure the vessel is made for.
        limit: GaugePressure,
    },
}

impl fmt::Display for FermentError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Attenuation(a) => write!(f, "attenuation must be 0 to 110 %, not {} %", a.as_percent()),
            Self::FruitFermentability(s) => {
                write!(f, "0 to 100 % of fruit sugar ferments, not {} %", s.as_percent())
            }
            Self::BelowNothing => write!(f, "an amount can't be below zero"),
            Self::Extract(error) => write!(f, "{error}"),
            Self::Ledger(error) => write!(f, "{error}"),
            Self::Gas(error) => write!(f, "{error}"),
            Self::AboveVesselLimit { needed, limit } => write!(
                f,
                "{:.0} kPa is needed and the vessel is made for {:.0} kPa",
                needed.as_kpa(),
                limit.as_kpa()
            ),
        }
    }
}

impl From<ExtractError> for FermentError {
    fn from(error: ExtractError) -> Self {
        Self::Extract(error)
    }
}
impl From<LedgerError> for FermentError {
    fn from(error: LedgerError) -> Self {
        Self::Ledger(error)
    }
}
impl From<GasError> for FermentError {
    fn from(error: GasError) -> Self {
        Self::Gas(error)
    }
}

/// What fermentation leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outcome {
    /// The beer, fruit juice in it.
    pub beer: Wort,
    /// What a hydrometer shows at the end.
    pub apparent: Estimate<Plato>,
    /// Alcohol.
    pub alcohol: Estimate<AlcoholByVolume>,
    /// Carbon dioxide made, most of which leaves.
    pub gas: Mass,
    /// Extract that fermented, of wort and fruit together.
    pub extract_fermented: Mass,
}

/// Where a fermentation ends. The wort's extract ferments to the apparent
/// attenuation, fruit sugar almost wholly (`fruit_share`, 0..=1); `lactic` is
/// acid that bacteria made of the wort's extract, which is still booked as
/// extract and does not ferment. Attenuation 0..=1.1.
/// The band takes that of the attenuation and each fruit's band of sugar.
///
/// # Errors
/// [`FermentError`] when an argument is outside its range.
pub fn outcome(
    wort: &Wort,
    attenuation: Estimate<Fraction>,
    lactic: Mass,
    loads: &[FruitLoad],
    fruit_share: Fraction,
) -> Result<Outcome, FermentError> {
    if !(0.0..=1.1).contains(&attenuation.value.as_of_one()) {
        return Err(FermentError::Attenuation(attenuation.value));
    }
    if !(0.0..=1.0).contains(&fruit_share.as_of_one()) {
        return Err(FermentError::FruitFermentability(fruit_share));
    }
    if lactic < Mass::ZERO {
        return Err(FermentError::BelowNothing);
    }
    // An attenuation, and half-widths of the fruit sugar's band.
    let lean = |attenuation: Fraction, sugar: f64| -> Result<(Wort, Mass, Mass), FermentError> {
        let a = Fraction::of_one(attenuation.as_of_one().clamp(0.0, 1.1));
        let from_wort = fermentable(wort, a, lactic)?;
        let mut mixed = *wort;
        let mut from_fruit = Mass::ZERO;
        for load in loads {
            let extra = load.sugar * (sugar * load.sugar_band.as_of_one());
            // More sugar in the same fruit stands in the place of water.
            mixed = mixed + load.liquid();
            mixed.extract += extra;
            mixed.water = (mixed.water - extra).max(Mass::ZERO);
            from_fruit += (load.sugar + extra) * fruit_share;
        }
        let fermented = from_wort + from_fruit;
        let (beer, gas) = mixed.ferment(fermented)?;
        Ok((beer, gas, fermented))
    };
    let (beer, gas, extract_fermented) = lean(attenuation.value, 0.0)?;
    let weak = lean(attenuation.low, 0.0)?.0;
    let strong = lean(attenuation.high, 0.0)?.0;
    let (lean_fruit, rich_fruit) = (lean(attenuation.value, -1.0)?.0, lean(attenuation.value, 1.0)?.0);
    let alcohol = spread(
        beer.alcohol().as_of_one(),
        [weak.alcohol().as_of_one(), strong.alcohol().as_of_one()],
        [lean_fruit.alcohol().as_of_one(), rich_fruit.alcohol().as_of_one()],
    );
    let apparent = spread(
        beer.plato().as_degrees(),
        [weak.plato().as_degrees(), strong.plato().as_degrees()],
        [lean_fruit.plato().as_degrees(), rich_fruit.plato().as_degrees()],
    );
    Ok(Outcome {
        beer,
        apparent: Estimate {
            value: Plato::degrees(apparent.0),
            low: Plato::degrees(apparent.1),
            high: Plato::degrees(apparent.2),
        },
        alcohol: Estimate {
            value: AlcoholByVolume::of_one(alcohol.0),
            low: AlcoholByVolume::of_one(alcohol.1),
            high: AlcoholByVolume::of_one(alcohol.2),
        },
        gas,
        extract_fermented,
    })
}

/// Value and ends of a band from two independent causes, each by its two ends.
fn spread(value: f64, one: [f64; 2], other: [f64; 2]) -> (f64, f64, f64) {
    let half = ((one[1] - one[0]) / 2.0).hypot((other[1] - other[0]) / 2.0);
    (value, value - half, value + half)
}

/// Extract of the wort that ferments at an apparent attenuation, by Balling.
fn fermentable(wort: &Wort, attenuation: Fraction, lactic: Mass) -> Result<Mass, FermentError> {
    let extract = (wort.extract - lactic).max(Mass::ZERO);
    if extract <= Mass::ZERO {
        return Ok(Mass::ZERO);
    }
    let mass = wort.mass();
    let oe = 100.0 * (extract / mass);
    let beer =
        fermented(Plato::degrees(oe), Plato::degrees((oe * attenuation.rest().as_of_one()).max(-5.0)))?;
    let a = beer.alcohol_by_mass.as_percent();
    // 100 g of beer come of 100 + 1.0665 A grams of wort.
    let fermented = mass * (EXTRACT_PER_ETHANOL * a / (100.0 + (EXTRACT_PER_ETHANOL - 1.0) * a));
    Ok(fermented.min(extract))
}

/// Pressure for the spunding valve that leaves this much carbon dioxide in the
/// beer at this temperature. -1..=60 °C.
///
/// # Errors
/// [`FermentError::Gas`]; [`FermentError::AboveVesselLimit`] when the vessel's plate forbids it.
pub fn spunding(
    wanted: Carbonation,
    at: Temperature,
    vessel_limit: Option<GaugePressure>,
) -> Result<GaugePressure, FermentError> {
    let needed = pressure_for(wanted, at)?;
    match vessel_limit {
        Some(limit) if needed > limit => Err(FermentError::AboveVesselLimit { needed, limit }),
        _ => Ok(needed),
    }
}

/// Extract that must still ferment under the closed valve to carbonate beer, by Balling. Never below zero.
pub fn extract_for_gas(volume: Volume, from: Carbonation, to: Carbonation) -> Mass {
    let gas = GRAMS_PER_VOLUME.as_g_per_l() * (to - from).as_volumes().max(0.0) * volume.as_litres().max(0.0);
    Mass::grams(gas * EXTRACT_PER_ETHANOL / CO2_PER_ETHANOL)
}

/// Source of [`gas_in_room`].
pub const ROOM_SOURCE: Source = Source::from_memory(
    "Limits at work, US OSHA and ACGIH: 0.5 % over eight hours, 3 % for a quarter of an hour; the room as one well-mixed box is our simplification",
);
/// Carbon dioxide in a room that people may work in for eight hours.
pub const ROOM_LIMIT: Fraction = Fraction::of_one(0.005);
/// Air changes per hour of a room with doors and windows shut; our estimate.
const AIR_CHANGES: f64 = 0.3;
/// Litres that a gram of carbon dioxide takes at 20 °C and 1 atm: 24.06 L/mol over 44.01 g/mol.
const LITRES_PER_GRAM: f64 = 24.06 / 44.01;

/// Share of a shut room's air that is carbon dioxide after a fermentation has given off this much gas, evenly,
/// over a time. A box that is always mixed, with the air changed 0.3 times in an hour; heavy gas near the floor,
/// in a pit or a fridge is far worse. Room and time above zero; otherwise `None`.
pub fn gas_in_room(gas: Mass, over: Duration, room: Volume) -> Option<Fraction> {
    let hours = over.as_hours();
    if !(hours > 0.0 && room > Volume::ZERO && gas >= Mass::ZERO) {
        return None;
    }
    let per_hour = gas.as_grams() * LITRES_PER_GRAM / hours / room.as_litres();
    let share = per_hour / AIR_CHANGES * (1.0 - (-AIR_CHANGES * hours).exp());
    Some(Fraction::of_one(share.min(1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brew::fruit::FruitForm;
    use crate::data::fruits::Fruit;
    use proptest::prelude::*;

    const ROOM: Temperature = Temperature::celsius(20.0);

    fn wort(p: f64) -> Wort {
        Wort::of_wort(Volume::litres(18.0), Plato::degrees(p), ROOM)
    }
    fn puree(fruit: Fruit, grams: f64) -> FruitLoad {
        FruitLoad::new(Mass::grams(grams), FruitForm::Puree, &fruit.composition()).unwrap()
    }

    proptest! {
        #[test]
        fn without_fruit_it_ends_where_the_attenuation_says(p in 4.0..20.0f64, a in 0.4..1.0f64) {
            let end = outcome(&wort(p), Estimate::normal(Fraction::of_one(a), 0.03), Mass::ZERO, &[], FRUIT_FERMENTABILITY).unwrap();
            prop_assert!((end.apparent.value.as_degrees() - p * (1.0 - a)).abs() < 1e-6);
            prop_assert!(end.apparent.is_sound() && end.alcohol.is_sound());
        }

        #[test]
        fn masses_close_with_fruit(p in 4.0..20.0f64, a in 0.4..0.9f64, grams in 0.0..5000.0f64, place in 0..Fruit::ALL.len()) {
            let load = puree(Fruit::ALL[place], grams);
            let end = outcome(&wort(p), Estimate::normal(Fraction::of_one(a), 0.03), Mass::ZERO, &[load], FRUIT_FERMENTABILITY).unwrap();
            let yeast = end.beer.ethanol * 0.11;
            let all = end.beer.mass() + end.gas + yeast;
            let put_in = wort(p).mass() + load.liquid().mass();
            prop_assert!((all - put_in).as_grams().abs() < 1e-6 * put_in.as_grams());
        }

        #[test]
        fn lactic_acid_of_bacteria_takes_alcohol_away(p in 6.0..16.0f64, acid in 10.0..180.0f64) {
            let plain = outcome(&wort(p), Estimate::exact(Fraction::of_one(0.78)), Mass::ZERO, &[], FRUIT_FERMENTABILITY).unwrap();
            let soured = outcome(&wort(p), Estimate::exact(Fraction::of_one(0.78)), Mass::grams(acid), &[], FRUIT_FERMENTABILITY).unwrap();
            prop_assert!(soured.alcohol.value < plain.alcohol.value);
        }
    }

    #[test]
    fn a_shut_room_fills_to_what_leaves_it() {
        let room = Volume::litres(20_000.0);
        let share = |grams: f64, hours: f64| {
            gas_in_room(Mass::grams(grams), Duration::hours(hours), room).unwrap().as_of_one()
        };
        // In a short time nothing leaves; over a long one as much leaves as comes.
        assert!((share(100.0, 0.01) - 54.67 / 20_000.0).abs() < 1e-5);
        assert!((share(4000.0, 400.0) - 10.0 * LITRES_PER_GRAM / 20_000.0 / 0.3).abs() < 1e-9);
        assert_eq!(share(1e9, 1.0), 1.0);
        assert_eq!(gas_in_room(Mass::grams(1.0), Duration::ZERO, room), None);
    }

    #[test]
    fn says_what_is_wrong() {
        let limit = Some(GaugePressure::kpa(100.0));
        let high = spunding(Carbonation::volumes(2.6), ROOM, limit);
        assert!(matches!(high, Err(FermentError::AboveVesselLimit { .. })));
        assert!(matches!(
            spunding(Carbonation::volumes(2.6), Temperature::celsius(70.0), None),
            Err(FermentError::Gas(_))
        ));
    }
}
