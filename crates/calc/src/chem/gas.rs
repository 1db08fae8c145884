//! Carbon dioxide in beer and in the gas above it.

use crate::data::Source;
use crate::quantity::{
    ATMOSPHERE, AbsolutePressure, Carbonation, Concentration, Fraction, GaugePressure, Temperature,
};
use std::fmt;

/// Mass of one volume of carbon dioxide per volume of beer, g/L (ideal gas at 0 °C and 1 atm).
pub const GRAMS_PER_VOLUME: Concentration = Concentration::g_per_l(1.965);
/// Source of [`GRAMS_PER_VOLUME`].
pub const GRAMS_PER_VOLUME_SOURCE: Source = Source::derived("44.01 g/mol over 22.414 L/mol, less 0.1 %");

/// Source of [`dissolved`] and [`pressure_for`].
pub const TABLE_FIT_SOURCE: Source =
    Source::from_memory("deLange 2011, fit of the ASBC table of carbon dioxide in beer");

/// Why a gas equilibrium has no answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum GasError {
    /// The ASBC table and its fit serve -1 to 25 °C.
    Temperature(Temperature),
    /// The fit serves 0 to 300 kPa gauge.
    Pressure(GaugePressure),
    /// The fit serves 0.5 to 5 volumes; this much can't be had at a gauge pressure of 0 to 300 kPa.
    Carbonation(Carbonation),
}

impl fmt::Display for GasError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Temperature(t) => write!(f, "the CO₂ table serves -1 to 25 °C, not {} °C", t.as_celsius()),
            Self::Pressure(p) => write!(f, "the CO₂ table serves 0 to 300 kPa, not {} kPa", p.as_kpa()),
            Self::Carbonation(c) => {
                write!(f, "{} volumes can't be had at 0 to 300 kPa and this temperature", c.as_volumes())
            }
        }
    }
}

const PSI: f64 = 6.894_757_293_168;
const FIT_AIR: f64 = 14.695;
const FIT_OFFSET: f64 = 0.003_342;

fn per_psi(at: Temperature) -> Result<f64, GasError> {
    if !(-1.0..=25.0).contains(&at.as_celsius()) {
        return Err(GasError::Temperature(at));
    }
    Ok(0.018_21 + 0.090_115 * (-at.as_celsius() * 1.8 / 43.11).exp())
}

/// Carbon dioxide dissolved in beer that is in balance with pure gas at a
/// pressure, at sea level. -1..=25 °C, 0..=300 kPa gauge.
///
/// # Errors
/// [`GasError::Temperature`], [`GasError::Pressure`].
pub fn dissolved(pressure: GaugePressure, at: Temperature) -> Result<Carbonation, GasError> {
    let slope = per_psi(at)?;
    if !(0.0..=300.0).contains(&pressure.as_kpa()) {
        return Err(GasError::Pressure(pressure));
    }
    Ok(Carbonation::volumes((pressure.as_kpa() / PSI + FIT_AIR) * slope - FIT_OFFSET))
}

/// Pressure that keeps this much carbon dioxide in beer: the inverse of
/// [`dissolved`], with its ranges.
///
/// # Errors
/// [`GasError::Temperature`]; [`GasError::Carbonation`] when no pressure in range does it.
pub fn pressure_for(carbonation: Carbonation, at: Temperature) -> Result<GaugePressure, GasError> {
    let slope = per_psi(at)?;
    let pressure = GaugePressure::kpa(((carbonation.as_volumes() + FIT_OFFSET) / slope - FIT_AIR) * PSI);
    // Zero volumes of pressure may come out as a hair below it.
    if (-1e-9..=300.0 + 1e-9).contains(&pressure.as_kpa()) {
        Ok(pressure.max(GaugePressure::ZERO))
    } else {
        Err(GasError::Carbonation(carbonation))
    }
}

/// Solubility of carbon dioxide in beer over that in water.
const BEER_OVER_WATER: f64 = 0.95;
/// Source of the solubility used by [`sealed`].
pub const HENRY_SOURCE: Source = Source::published(
    "Henry's constant of Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011; 0.95 of it in beer is our estimate",
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
    Concentration::g_per_l(MOLAR_CO2 * 10_f64.powf(-henry_exponent(at)))
}

/// Pressure of carbon dioxide in a closed vessel that holds beer and gas space,
/// when this much of the gas is in it per litre of beer, dissolved and above it
/// together. Henry's law with the gas space as ideal gas; 0..=90 °C.
/// `gas_space` is a share of the whole vessel, 0..=0.95; outside, the nearest end holds.
pub fn sealed(total: Carbonation, gas_space: Fraction, at: Temperature) -> AbsolutePressure {
    let share = gas_space.as_of_one().clamp(0.0, 0.95);
    let grams = (total.as_volumes() * GRAMS_PER_VOLUME.as_g_per_l()).max(0.0);
    let liquid = BEER_OVER_WATER * in_water(at).as_g_per_l() / ATMOSPHERE.as_kpa();
    let kelvin = at.as_celsius().clamp(0.0, 90.0) + 273.15;
    let gas = share / (1.0 - share) * MOLAR_CO2 / (GAS * kelvin);
    AbsolutePressure::kpa(grams / (liquid + gas))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn pressure_and_carbonation_undo_each_other(p in 0.0..300.0f64, t in -1.0..25.0f64) {
            let at = Temperature::celsius(t);
            let back = pressure_for(dissolved(GaugePressure::kpa(p), at).unwrap(), at).unwrap();
            prop_assert!((back.as_kpa() - p).abs() < 1e-9);
        }

        #[test]
        fn pressure_rises_with_gas_warmth_and_fill(v in 0.5..8.0f64, t in 0.0..60.0f64, h in 0.01..0.5f64) {
            let base = sealed(Carbonation::volumes(v), Fraction::of_one(h), Temperature::celsius(t));
            prop_assert!(sealed(Carbonation::volumes(v * 1.01), Fraction::of_one(h), Temperature::celsius(t)) > base);
            prop_assert!(sealed(Carbonation::volumes(v), Fraction::of_one(h * 0.9), Temperature::celsius(t)) > base);
            prop_assert!(sealed(Carbonation::volumes(v), Fraction::of_one(h), Temperature::celsius(t + 1.0)) > base);
        }

        #[test]
        fn the_table_and_henrys_law_agree(p in 0.0..200.0f64, t in 0.0..25.0f64) {
            let at = Temperature::celsius(t);
            let table = dissolved(GaugePressure::kpa(p), at).unwrap();
            let law = sealed(table, Fraction::ZERO, at);
            let gauge = GaugePressure::kpa(p).absolute();
            prop_assert!((law / gauge - 1.0).abs() < 0.05, "{t} °C {p} kPa: {law:?}");
        }
    }

    #[test]
    fn says_what_is_wrong() {
        assert!(matches!(
            dissolved(GaugePressure::ZERO, Temperature::celsius(40.0)),
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
