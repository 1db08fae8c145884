//! Carbon dioxide in beer and in the gas above it.

use super::density::water_density;
use crate::data::Source;
use crate::quantity::{
    ATMOSPHERE, AbsolutePressure, Carbonation, Concentration, Fraction, GaugePressure, Temperature,
};
use std::fmt;

/// Mass of one volume of carbon dioxide per volume of beer, g/L (ideal gas at 0 °C and 1 atm).
pub const GRAMS_PER_VOLUME: Concentration = Concentration::g_per_l(1.965);
/// Source of [`GRAMS_PER_VOLUME`].
pub const GRAMS_PER_VOLUME_SOURCE: Source = Source::derived("44.01 g/mol over 22.414 L/mol, less 0.1 %");

/// Source of [`dissolved`] and [`pressure_for`] within the table.
pub const TABLE_FIT_SOURCE: Source =
    Source::from_memory("deLange 2011, fit of the ASBC table of carbon dioxide in beer");

/// Why a gas equilibrium has no answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum GasError {
    /// Beer in a keg is at -1 to 60 °C.
    Temperature(Temperature),
    /// Pressures of 0 to 1000 kPa gauge are served.
    Pressure(GaugePressure),
    /// This much can't be had at a gauge pressure of 0 to 1000 kPa.
    Carbonation(Carbonation),
}

impl fmt::Display for GasError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Temperature(t) => write!(f, "beer with gas is at -1 to 60 °C, not {} °C", t.as_celsius()),
            Self::Pressure(p) => write!(f, "0 to 1000 kPa can be reckoned with, not {} kPa", p.as_kpa()),
            Self::Carbonation(c) => {
                write!(f, "{} volumes can't be had at 0 to 1000 kPa and this temperature", c.as_volumes())
            }
        }
    }
}

/// What a gas equilibrium rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// The table of beer, at -1 to 25 °C and up to 300 kPa: [`TABLE_FIT_SOURCE`].
    Table,
    /// Henry's law beyond it, carried on from the table's edge: [`BEER_SOURCE`].
    HenrysLaw,
}

/// What [`dissolved`] and [`pressure_for`] rest on at a pressure and temperature.
pub fn basis(pressure: GaugePressure, at: Temperature) -> Basis {
    if at.as_celsius() <= TABLE_WARMEST && pressure.as_kpa() <= TABLE_HIGHEST {
        Basis::Table
    } else {
        Basis::HenrysLaw
    }
}

const PSI: f64 = 6.894_757_293_168;
const FIT_OFFSET: f64 = 0.003_342;
/// The table ends here, °C and kPa gauge.
const TABLE_WARMEST: f64 = 25.0;
const TABLE_HIGHEST: f64 = 300.0;
/// No answer beyond, °C and kPa gauge.
const WARMEST: f64 = 60.0;
const HIGHEST: f64 = 1000.0;

/// Volumes by the fit of the table, gauge pressure in kPa.
fn table(pressure: f64, celsius: f64) -> f64 {
    let slope = 0.018_21 + 0.090_115 * (-celsius * 1.8 / 43.11).exp();
    (pressure / PSI + 14.695) * slope - FIT_OFFSET
}

/// Volumes by Henry's law, gauge pressure in kPa.
fn by_law(pressure: f64, celsius: f64) -> f64 {
    let at = Temperature::celsius(celsius);
    let state = State::at(at);
    let gas = pressure + ATMOSPHERE.as_kpa() - vapour(at);
    state.liquid * gas * state.less_fugacity(gas) / GRAMS_PER_VOLUME.as_g_per_l()
}

/// Volumes at a gauge pressure in kPa: the table, and beyond its edge the law in proportion to the edge.
fn volumes(pressure: f64, celsius: f64) -> f64 {
    let (p, t) = (pressure.min(TABLE_HIGHEST), celsius.min(TABLE_WARMEST));
    let edge = table(p, t);
    if p == pressure && t == celsius { edge } else { edge * by_law(pressure, celsius) / by_law(p, t) }
}

fn check(at: Temperature) -> Result<f64, GasError> {
    if (-1.0..=WARMEST).contains(&at.as_celsius()) {
        Ok(at.as_celsius())
    } else {
        Err(GasError::Temperature(at))
    }
}

/// Carbon dioxide dissolved in beer that is in balance with pure gas at a
/// pressure, at sea level. -1..=60 °C, 0..=1000 kPa gauge. The table of beer as
/// far as it goes, then Henry's law; [`basis`] says which.
///
/// # Errors
/// [`GasError::Temperature`], [`GasError::Pressure`].
pub fn dissolved(pressure: GaugePressure, at: Temperature) -> Result<Carbonation, GasError> {
    let celsius = check(at)?;
    if !(0.0..=HIGHEST).contains(&pressure.as_kpa()) {
        return Err(GasError::Pressure(pressure));
    }
    Ok(Carbonation::volumes(volumes(pressure.as_kpa(), celsius)))
}

/// Pressure that keeps this much carbon dioxide in beer: the inverse of
/// [`dissolved`], with its ranges.
///
/// # Errors
/// [`GasError::Temperature`]; [`GasError::Carbonation`] when no pressure in range does it.
pub fn pressure_for(carbonation: Carbonation, at: Temperature) -> Result<GaugePressure, GasError> {
    let celsius = check(at)?;
    let wanted = carbonation.as_volumes();
    // Zero volumes of pressure may come out as a hair below it.
    if !(volumes(0.0, celsius) - 1e-9..=volumes(HIGHEST, celsius) + 1e-9).contains(&wanted) {
        return Err(GasError::Carbonation(carbonation));
    }
    // The table is a straight line and the law almost one: a chord or two lead there.
    let (mut below, mut above) = (0.0, HIGHEST);
    let edge = volumes(TABLE_HIGHEST, celsius);
    if wanted <= edge {
        above = TABLE_HIGHEST
    } else {
        below = TABLE_HIGHEST
    }
    let (low, high) = (volumes(below, celsius), volumes(above, celsius));
    let mut pressure = below + (above - below) * (wanted - low) / (high - low);
    for _ in 0..8 {
        let slope = (high - low) / (above - below);
        let step = (wanted - volumes(pressure, celsius)) / slope;
        pressure += step;
        if step.abs() < 1e-9 {
            break;
        }
    }
    Ok(GaugePressure::kpa(pressure.max(0.0)))
}

/// Source of the solubility in water, [`in_water`].
pub const HENRY_SOURCE: Source =
    Source::published("Henry's constant of Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011");
/// Source of the solubility in beer used by [`Sealed::pressure`].
pub const BEER_SOURCE: Source = Source::derived(
    "The fit of the ASBC table over Henry's law in water, within 2 % from 0 to 25 °C and 0 to 300 kPa: 0.933 at 0 °C, 0.989 at 25 °C; warmer it goes on towards 1",
);
/// Source of the gas's deviation from the ideal in [`Sealed::pressure`].
pub const VIRIAL_SOURCE: Source = Source::from_memory(
    "second virial coefficient after Abbott, in Smith & Van Ness, Introduction to Chemical Engineering Thermodynamics; critical point of carbon dioxide 304.13 K, 7.377 MPa, acentric factor 0.224",
);
/// Gas constant, kPa L/(mol K).
const GAS: f64 = 8.314_463;
const MOLAR_CO2: f64 = 44.01;

/// Solubility in water, -log10 of mol/(L atm). 0..=90 °C; outside, the nearest
/// end holds. Source: Plummer & Busenberg 1982.
fn henry_exponent(at: Temperature) -> f64 {
    let t = at.as_celsius().clamp(0.0, 90.0) + 273.15;
    -(108.386_5 + 0.019_850_76 * t - 6919.53 / t - 40.451_54 * t.log10() + 669_365.0 / (t * t))
}

/// Carbon dioxide that water takes up at 1 atm of the pure gas. 0..=90 °C; outside, the nearest end holds.
pub fn in_water(at: Temperature) -> Concentration {
    Concentration::g_per_l(MOLAR_CO2 * (-std::f64::consts::LN_10 * henry_exponent(at)).exp())
}

/// Solubility of carbon dioxide in beer over that in water. Source: [`BEER_SOURCE`].
fn beer_over_water(at: Temperature) -> f64 {
    1.0 - 0.067 * (-at.as_celsius().clamp(0.0, 90.0) / 14.0).exp()
}

/// Pressure of water's vapour, kPa. Source: Alduchov & Eskridge 1996, J. Appl. Meteorol. 35:601, from
/// memory; made for -40 to 50 °C and within 1 % of steam tables up to 90 °C.
fn vapour(at: Temperature) -> f64 {
    let t = at.as_celsius().clamp(0.0, 90.0);
    0.610_94 * (17.625 * t / (t + 243.04)).exp()
}

/// Room that carbon dioxide takes in water, L/mol. From memory: 32 to 35 mL/mol.
const MOLAR_IN_WATER: f64 = 0.033;

/// Grams in a litre; nothing below zero.
fn grams_of(gas: Carbonation) -> f64 {
    (gas.as_volumes() * GRAMS_PER_VOLUME.as_g_per_l()).max(0.0)
}

/// How carbon dioxide behaves at a temperature.
struct State {
    /// Kelvin times the gas constant, kPa L/mol.
    heat: f64,
    /// In beer, g/(L kPa) at low pressure.
    liquid: f64,
    /// Second virial coefficient, L/mol; below zero.
    virial: f64,
}

impl State {
    fn at(at: Temperature) -> Self {
        let kelvin = at.as_celsius().clamp(0.0, 90.0) + 273.15;
        let log = (kelvin / 304.13).ln();
        let virial = 0.083 - 0.422 * (-1.6 * log).exp() + 0.224 * (0.139 - 0.172 * (-4.2 * log).exp());
        Self {
            heat: GAS * kelvin,
            liquid: beer_over_water(at) * in_water(at).as_g_per_l() / ATMOSPHERE.as_kpa(),
            virial: virial * GAS * 304.13 / 7377.0,
        }
    }

    /// What a pressure dissolves over what Henry's law alone says: the gas's fugacity falls short of
    /// its pressure, and pressure works against the room that it takes in the beer.
    fn less_fugacity(&self, kpa: f64) -> f64 {
        ((self.virial - MOLAR_IN_WATER) * kpa.min(NEAR_IDEAL) / self.heat).exp()
    }

    /// Pressure in kPa, from grams in all and litres of gas space for each litre of beer.
    fn pressure(&self, grams: f64, space: f64) -> f64 {
        let mut kpa = 0.0;
        // Each round leaves a tenth of the error.
        for _ in 0..14 {
            let next = grams / (self.liquid * self.less_fugacity(kpa) + space * self.gas(kpa));
            let done = (next - kpa).abs() <= 1e-11 * next;
            kpa = next;
            if done {
                break;
            }
        }
        kpa
    }

    /// Grams in a litre of the gas per kPa.
    fn gas(&self, kpa: f64) -> f64 {
        MOLAR_CO2 / (self.heat * (1.0 + self.virial * kpa.min(NEAR_IDEAL) / self.heat))
    }
}

/// The virial coefficient serves up to here, kPa; beyond, the deviation is kept.
const NEAR_IDEAL: f64 = 2500.0;

/// A closed package with beer and gas space in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sealed {
    /// All carbon dioxide in it per litre of beer, dissolved and above it.
    pub gas: Carbonation,
    /// Gas space as a share of the package when it is filled, 0..=0.95.
    pub gas_space: Fraction,
    /// Temperature when it is filled, 0..=90 °C.
    pub filled_at: Temperature,
    /// Pressure of the air shut in when it is filled; none when it is capped on foam or purged.
    pub air: AbsolutePressure,
}

/// How much more beer expands than water: 6 to 8 % of alcohol by mass.
const EXPANDS_MORE: f64 = 1.15;
/// Source of the beer's expansion in [`Sealed::pressure`].
pub const EXPANSION_SOURCE: Source = Source::derived(
    "Kell 1975 for water; solutions of 6 to 8 % ethanol by mass expand 10 to 20 % more from 4 to 40 °C (Melinder 2010, by CoolProp)",
);
/// Least gas space that a full package must keep when warm, as a share: carbon dioxide swells beer by
/// 0.15 % for each volume that fermentation makes, and fills differ.
pub const LEAST_WARM_SPACE: Fraction = Fraction::of_one(0.005);

impl Sealed {
    /// Litres that a litre of the beer gains from the filling to a temperature; never below nothing.
    fn swell(&self, at: Temperature) -> f64 {
        EXPANDS_MORE * (water_density(self.filled_at) / water_density(at) - 1.0).max(0.0)
    }

    /// Share of the package that is beer when it is filled.
    fn beer(&self) -> f64 {
        1.0 - self.gas_space.as_of_one().clamp(0.0, 0.95)
    }

    /// Gas space at a temperature, as a share of the package: the beer swells, the package is taken not
    /// to. Below zero the beer would need more room than there is: whatever it is made of, it bursts.
    pub fn space_at(&self, at: Temperature) -> Fraction {
        Fraction::of_one(1.0 - self.beer() * (1.0 + self.swell(at)))
    }

    /// Pressure in it at a temperature of 0..=90 °C, where the nearest end holds. Henry's law with the
    /// second virial coefficient, the vapour of water, the air shut in and the beer's expansion; made
    /// for up to 1 MPa. Air stays in the gas space: it dissolves in days, and this is the safe side.
    /// Below [`LEAST_WARM_SPACE`] no pressure means much; see [`space_at`](Self::space_at).
    ///
    /// Sources: [`HENRY_SOURCE`], [`BEER_SOURCE`], [`VIRIAL_SOURCE`], [`EXPANSION_SOURCE`].
    pub fn pressure(&self, at: Temperature) -> AbsolutePressure {
        let (state, swell) = (State::at(at), self.swell(at));
        // Litres of gas space for each litre of beer, when filled and now.
        let filled = 1.0 / self.beer() - 1.0;
        let space = (filled - swell).max(0.0);
        let kpa = state.pressure(grams_of(self.gas), space);
        let warmer = state.heat / (GAS * (self.filled_at.as_celsius().clamp(0.0, 90.0) + 273.15));
        let squeezed = 1.0 + swell / space.max(LEAST_WARM_SPACE.as_of_one());
        AbsolutePressure::kpa(kpa + self.air.as_kpa().max(0.0) * warmer * squeezed + vapour(at))
    }
}

/// Carbon dioxide in the gas space above beer that is in balance with it, per litre of beer.
/// `gas_space` is a share of the whole, 0..=0.95, 0..=90 °C; outside, the nearest end holds.
pub(crate) fn above(in_beer: Carbonation, gas_space: Fraction, at: Temperature) -> Carbonation {
    let state = State::at(at);
    let kpa = state.pressure(grams_of(in_beer), 0.0);
    let share = gas_space.as_of_one().clamp(0.0, 0.95);
    let grams = share / (1.0 - share) * state.gas(kpa) * kpa;
    Carbonation::volumes(grams / GRAMS_PER_VOLUME.as_g_per_l())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sealed(volumes: f64, space: f64, air: f64) -> Sealed {
        Sealed {
            gas: Carbonation::volumes(volumes),
            gas_space: Fraction::of_one(space),
            filled_at: Temperature::celsius(4.0),
            air: AbsolutePressure::kpa(air),
        }
    }

    proptest! {
        #[test]
        fn pressure_and_carbonation_undo_each_other(p in 0.0..1000.0f64, t in -1.0..60.0f64) {
            let at = Temperature::celsius(t);
            let back = pressure_for(dissolved(GaugePressure::kpa(p), at).unwrap(), at).unwrap();
            prop_assert!((back.as_kpa() - p).abs() < 1e-6, "{p} {back:?}");
        }

        #[test]
        fn nothing_jumps_at_the_edge_of_the_table(p in 0.0..1000.0f64, t in -1.0..60.0f64) {
            let at = |p: f64, t: f64| dissolved(GaugePressure::kpa(p), Temperature::celsius(t)).unwrap().as_volumes();
            let over_the_edge = at(p, 25.0 + 1e-6) / at(p, 25.0);
            prop_assert!((over_the_edge - 1.0).abs() < 1e-6);
            prop_assert!((at(300.0 + 1e-6, t) / at(300.0, t) - 1.0).abs() < 1e-6);
            // More pressure, more gas; warmer, less.
            prop_assert!(at(p * 0.99, t) <= at(p, t) && at(p, t.min(59.0) + 1.0) < at(p, t.min(59.0)));
        }

        #[test]
        fn pressure_rises_with_gas_warmth_and_fill(
            v in 0.5..8.0f64, t in 4.0..60.0f64, h in 0.01..0.5f64, air in 0.0..110.0f64,
        ) {
            let kpa = |v: f64, h: f64, t: f64| sealed(v, h, air).pressure(Temperature::celsius(t)).as_kpa();
            let base = kpa(v, h, t);
            prop_assert!(kpa(v * 1.01, h, t) > base && kpa(v, h, t + 1.0) > base);
            prop_assert!(kpa(v, h * 0.9, t) >= base - 1e-9);
        }

        #[test]
        fn the_table_and_henrys_law_agree(p in 0.0..300.0f64, t in 0.0..25.0f64) {
            let at = Temperature::celsius(t);
            let gas = dissolved(GaugePressure::kpa(p), at).unwrap();
            let law = Sealed { filled_at: at, ..sealed(gas.as_volumes(), 0.0, 0.0) }.pressure(at);
            let gauge = GaugePressure::kpa(p).absolute();
            prop_assert!((law / gauge - 1.0).abs() < 0.02, "{t} °C {p} kPa: {law:?}");
        }
    }

    #[test]
    fn a_brimful_package_is_full_when_warm() {
        let at = |space: f64, t: f64| sealed(2.5, space, 0.0).space_at(Temperature::celsius(t)).as_of_one();
        assert!((at(0.05, 4.0) - 0.05).abs() < 1e-12);
        assert!(at(0.015, 25.0) > LEAST_WARM_SPACE.as_of_one() && at(0.015, 60.0) < 0.0);
    }

    #[test]
    fn says_what_it_rests_on_and_what_is_wrong() {
        assert_eq!(basis(GaugePressure::kpa(300.0), Temperature::celsius(25.0)), Basis::Table);
        assert_eq!(basis(GaugePressure::kpa(300.0), Temperature::celsius(25.1)), Basis::HenrysLaw);
        assert_eq!(basis(GaugePressure::kpa(301.0), Temperature::celsius(4.0)), Basis::HenrysLaw);
        assert!(matches!(
            dissolved(GaugePressure::ZERO, Temperature::celsius(70.0)),
            Err(GasError::Temperature(_))
        ));
        assert!(matches!(
            dissolved(GaugePressure::kpa(-5.0), Temperature::celsius(4.0)),
            Err(GasError::Pressure(_))
        ));
        let flat = pressure_for(Carbonation::volumes(0.6), Temperature::celsius(4.0));
        assert!(matches!(flat, Err(GasError::Carbonation(_))));
    }
}
