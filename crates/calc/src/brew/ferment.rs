//! Yeast, what it leaves, and the gas it makes.

use super::extract::{CO2_PER_ETHANOL, EXTRACT_PER_ETHANOL, ExtractError, fermented};
use super::fruit::{FruitLoad, SUGAR_BAND};
use super::ledger::{LedgerError, Wort};
use crate::chem::gas::{GRAMS_PER_VOLUME, GasError, pressure_for};
use crate::data::Source;
use crate::quantity::{
    AlcoholByVolume, Carbonation, CellDensity, Cells, Estimate, Fraction, GaugePressure, Mass, Ph, Plato,
    Temperature, Volume,
};
use std::fmt;

/// Usual pitch of ale yeast per mL and degree Plato.
pub const ALE_PITCH: CellDensity = CellDensity::millions_per_ml(0.75);
/// Source of [`ALE_PITCH`].
pub const PITCH_SOURCE: Source =
    Source::from_memory("Ale 0.75 to 1.0, lager 1.5 million viable cells per mL and °P");
/// Source of the extra yeast for sour wort.
pub const SOUR_PITCH_SOURCE: Source =
    Source::our_estimate("1.5 to 2 times the yeast below pH 3.5, none extra above 4.0");
/// Source of [`dry_yeast`].
pub const DRY_YEAST_SOURCE: Source = Source::from_memory(
    "Dry yeast: at least 5, up to 20 billion viable cells per gram; the label's is the least",
);
/// Source of [`starter_cells`].
pub const STARTER_SOURCE: Source = Source::published(
    "Shaner 2022: 0.94 to 1.4 billion cells per gram of extract for ale strains; Johnson 2011, 19 aerated runs: 2.4 ± 1.1",
);
/// Share of a fruit's sugar that yeast ferments.
pub const FRUIT_FERMENTABILITY: Fraction = Fraction::of_one(0.97);
/// Source of [`FRUIT_FERMENTABILITY`].
pub const FRUIT_FERMENTABILITY_SOURCE: Source =
    Source::our_estimate("Glucose, fructose and sucrose ferment almost wholly; 94 to 100 %");

/// Why a fermentation can't be foreseen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FermentError {
    /// Gravity lies above 0..=40 °P.
    Gravity(Plato),
    /// Volume must be above zero.
    Volume(Volume),
    /// Pitch rate lies above 0..=5 million per mL and °P.
    PitchRate(CellDensity),
    /// pH of wort lies in 2.5..=6.5.
    WortPh(Ph),
    /// Apparent attenuation lies in 0..=1.1.
    Attenuation(Fraction),
    /// Share of fruit sugar that ferments lies in 0..=1.
    FruitFermentability(Fraction),
    /// A mass or number of cells below zero.
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
            Self::Gravity(p) => write!(f, "gravity must be above 0 and up to 40 °P, not {}", p.as_degrees()),
            Self::Volume(v) => write!(f, "the volume must be above 0 L, not {} L", v.as_litres()),
            Self::PitchRate(r) => write!(
                f,
                "the pitch must be above 0 and up to 5 million per mL and °P, not {}",
                r.as_millions_per_ml()
            ),
            Self::WortPh(p) => write!(f, "wort has pH 2.5 to 6.5, not {}", p.value()),
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

/// Living yeast to pitch: rate × volume × °P, and 1.75 (1.5 to 2) times as much
/// in wort below pH 3.5, falling to none extra at pH 4.0.
/// Volume above 0, gravity above 0..=40 °P, rate above 0..=5, pH 2.5..=6.5.
///
/// # Errors
/// [`FermentError`] when an argument is outside its range.
pub fn cells_to_pitch(
    volume: Volume,
    gravity: Plato,
    rate: CellDensity,
    ph: Ph,
) -> Result<Estimate<Cells>, FermentError> {
    if !(volume > Volume::ZERO && volume.is_finite()) {
        return Err(FermentError::Volume(volume));
    }
    let p = gravity.as_degrees();
    if !(p > 0.0 && p <= 40.0) {
        return Err(FermentError::Gravity(gravity));
    }
    if !(rate > CellDensity::ZERO && rate.as_millions_per_ml() <= 5.0) {
        return Err(FermentError::PitchRate(rate));
    }
    if !(2.5..=6.5).contains(&ph.value()) {
        return Err(FermentError::WortPh(ph));
    }
    let sour = ((4.0 - ph.value()) / 0.5).clamp(0.0, 1.0);
    let cells = rate * p * volume;
    Ok(Estimate {
        value: cells * (1.0 + 0.75 * sour),
        low: cells * (1.0 + 0.5 * sour),
        high: cells * (1.0 + sour),
    })
}

/// Dry yeast that holds these cells: 10 (5 to 20) billion living cells per
/// gram. The upper end is what the label's least asks for.
///
/// # Errors
/// [`FermentError::BelowNothing`].
pub fn dry_yeast(cells: Estimate<Cells>) -> Result<Estimate<Mass>, FermentError> {
    if cells.low < Cells::ZERO {
        return Err(FermentError::BelowNothing);
    }
    let grams = |cells: Cells, per_gram: f64| Mass::grams(cells.as_billions() / per_gram);
    Ok(Estimate::band(grams(cells.value, 10.0), grams(cells.value, 20.0), grams(cells.value, 5.0)))
}

/// Cells that grow in a starter on this much extract: 1.5 (0.9 to 3) billion
/// per gram; strains differ five-fold.
///
/// # Errors
/// [`FermentError::BelowNothing`].
pub fn starter_cells(extract: Mass) -> Result<Estimate<Cells>, FermentError> {
    if extract < Mass::ZERO {
        return Err(FermentError::BelowNothing);
    }
    let cells = |per_gram: f64| Cells::billions(extract.as_grams() * per_gram);
    Ok(Estimate { value: cells(1.5), low: cells(0.9), high: cells(3.0) })
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

/// Half-width of the 80 % band of the attenuation; our estimate.
const ATTENUATION_BAND: f64 = 0.03;

/// Where a fermentation ends. The wort's extract ferments to the apparent
/// attenuation, fruit sugar almost wholly (`fruit_share`, 0..=1); `lactic` is
/// acid that bacteria made of the wort's extract, which is still booked as
/// extract and does not ferment. Attenuation 0..=1.1.
/// The band takes ±3 points of attenuation and ±20 % of fruit sugar.
///
/// # Errors
/// [`FermentError`] when an argument is outside its range.
pub fn outcome(
    wort: &Wort,
    attenuation: Fraction,
    lactic: Mass,
    loads: &[FruitLoad],
    fruit_share: Fraction,
) -> Result<Outcome, FermentError> {
    if !(0.0..=1.1).contains(&attenuation.as_of_one()) {
        return Err(FermentError::Attenuation(attenuation));
    }
    if !(0.0..=1.0).contains(&fruit_share.as_of_one()) {
        return Err(FermentError::FruitFermentability(fruit_share));
    }
    if lactic < Mass::ZERO {
        return Err(FermentError::BelowNothing);
    }
    let lean = |points: f64, sugar: f64| -> Result<(Wort, Mass, Mass), FermentError> {
        let a = Fraction::of_one((attenuation.as_of_one() + points).clamp(0.0, 1.1));
        let from_wort = fermentable(wort, a, lactic)?;
        let mut mixed = *wort;
        let mut from_fruit = Mass::ZERO;
        for load in loads {
            let extra = load.sugar * sugar;
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
    let (beer, gas, extract_fermented) = lean(0.0, 0.0)?;
    let sugar = SUGAR_BAND.as_of_one();
    let weak = lean(-ATTENUATION_BAND, 0.0)?.0;
    let strong = lean(ATTENUATION_BAND, 0.0)?.0;
    let (lean_fruit, rich_fruit) = (lean(0.0, -sugar)?.0, lean(0.0, sugar)?.0);
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
/// beer at this temperature. -1..=25 °C.
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
            let end = outcome(&wort(p), Fraction::of_one(a), Mass::ZERO, &[], FRUIT_FERMENTABILITY).unwrap();
            prop_assert!((end.apparent.value.as_degrees() - p * (1.0 - a)).abs() < 1e-6);
            prop_assert!(end.apparent.is_sound() && end.alcohol.is_sound());
        }

        #[test]
        fn masses_close_with_fruit(p in 4.0..20.0f64, a in 0.4..0.9f64, grams in 0.0..5000.0f64, place in 0..Fruit::ALL.len()) {
            let load = puree(Fruit::ALL[place], grams);
            let end = outcome(&wort(p), Fraction::of_one(a), Mass::ZERO, &[load], FRUIT_FERMENTABILITY).unwrap();
            let yeast = end.beer.ethanol * 0.11;
            let all = end.beer.mass() + end.gas + yeast;
            let put_in = wort(p).mass() + load.liquid().mass();
            prop_assert!((all - put_in).as_grams().abs() < 1e-6 * put_in.as_grams());
        }

        #[test]
        fn lactic_acid_of_bacteria_takes_alcohol_away(p in 6.0..16.0f64, acid in 10.0..180.0f64) {
            let plain = outcome(&wort(p), Fraction::of_one(0.78), Mass::ZERO, &[], FRUIT_FERMENTABILITY).unwrap();
            let soured = outcome(&wort(p), Fraction::of_one(0.78), Mass::grams(acid), &[], FRUIT_FERMENTABILITY).unwrap();
            prop_assert!(soured.alcohol.value < plain.alcohol.value);
        }

        #[test]
        fn sourer_wort_never_asks_for_less_yeast(ph in 2.6..6.4f64) {
            let cells = |ph: f64| cells_to_pitch(Volume::litres(18.0), Plato::degrees(11.0), ALE_PITCH, Ph::new(ph)).unwrap();
            prop_assert!(cells(ph - 0.05).value >= cells(ph).value && cells(ph).is_sound());
        }
    }

    #[test]
    fn says_what_is_wrong() {
        let ask =
            |ph: f64| cells_to_pitch(Volume::litres(18.0), Plato::degrees(11.0), ALE_PITCH, Ph::new(ph));
        assert_eq!(ask(9.0), Err(FermentError::WortPh(Ph::new(9.0))));
        let limit = Some(GaugePressure::kpa(100.0));
        let high = spunding(Carbonation::volumes(2.6), ROOM, limit);
        assert!(matches!(high, Err(FermentError::AboveVesselLimit { .. })));
        assert!(matches!(
            spunding(Carbonation::volumes(2.6), Temperature::celsius(30.0), None),
            Err(FermentError::Gas(_))
        ));
    }
}
