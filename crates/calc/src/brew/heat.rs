//! Heat: strike water, heating times, boiling.

use crate::data::Source;
use crate::quantity::{
    AbsolutePressure, Altitude, Count, Duration, Fraction, Mass, Plato, Power, Temperature,
    TemperatureDifference, VolumePerMass,
};
use std::fmt;

/// Why a heat balance has no answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeatError {
    /// Mash thickness lies in 1..=10 L/kg.
    Thickness(VolumePerMass),
    /// Malt moisture lies in 0..=0.08 of the table.
    Moisture(Fraction),
    /// The strike water would have to be hotter than 100 °C or frozen.
    StrikeTemperature(Temperature),
    /// The heater only just makes up for the losses, or does not.
    TooLittlePower {
        /// Power that reaches the liquid, less its losses.
        net: Power,
    },
    /// A height outside -500..=5000 m.
    Altitude(Altitude),
    /// A pressure outside 20..=200 kPa.
    Pressure(AbsolutePressure),
    /// A mass below zero.
    BelowNothing,
}

impl fmt::Display for HeatError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Thickness(r) => write!(f, "mash thickness must be 1 to 10 L/kg, not {}", r.as_l_per_kg()),
            Self::Moisture(m) => write!(f, "malt moisture must be 0 to 8 %, not {} %", m.as_percent()),
            Self::StrikeTemperature(t) => {
                write!(f, "the water would have to be at {:.0} °C; use more water", t.as_celsius())
            }
            Self::TooLittlePower { net } => {
                write!(f, "{:.2} kW is left after the losses; it will not heat", net.as_kilowatts())
            }
            Self::Altitude(a) => write!(f, "height must be -500 to 5000 m, not {}", a.as_metres()),
            Self::Pressure(p) => write!(f, "pressure must be 20 to 200 kPa, not {}", p.as_kpa()),
            Self::BelowNothing => write!(f, "a mass can't be below zero"),
        }
    }
}

/// Source of [`strike`].
pub const STRIKE_SOURCE: Source = Source::published("Pauls & Whites Brewing Room Book 1984/85");

/// Specific heat of malt relative to water, and slaking heat in kelvin, at 0, 2, 4, 6, 8 % moisture.
const MALT_HEAT: [(f64, f64); 5] = [(0.38, 3.0), (0.39, 2.3), (0.40, 1.5), (0.41, 1.3), (0.42, 1.0)];

/// Specific heat of malt relative to water and its slaking heat, in a straight line between the table's rows.
fn malt_heat(moisture: Fraction) -> Result<(Count, TemperatureDifference), HeatError> {
    let m = moisture.as_percent();
    if !(0.0..=8.0 + 1e-9).contains(&m) {
        return Err(HeatError::Moisture(moisture));
    }
    let mut found = MALT_HEAT[4];
    for (row, pair) in MALT_HEAT.windows(2).enumerate() {
        let place = m / 2.0 - row as f64;
        if let [(heat, slaking), (next_heat, next_slaking)] = *pair
            && (0.0..=1.0).contains(&place)
        {
            found = (heat + place * (next_heat - heat), slaking + place * (next_slaking - slaking));
            break;
        }
    }
    Ok((Count::of(found.0), TemperatureDifference::kelvin(found.1)))
}

/// Mash temperature that water of a temperature gives: I = (S Tg + M T)/(S + M) + slaking.
///
/// Thickness 1..=10 L/kg, moisture 0..=0.08. A vessel heated together with the
/// water is added as the litres of water per kilogram of malt that hold as much heat.
///
/// # Errors
/// [`HeatError::Thickness`], [`HeatError::Moisture`].
pub fn mash_temperature(
    water: Temperature,
    malt: Temperature,
    thickness: VolumePerMass,
    moisture: Fraction,
) -> Result<Temperature, HeatError> {
    let m = check_thickness(thickness)?;
    let (s, slaking) = malt_heat(moisture)?;
    let s = s.value();
    Ok(Temperature::celsius((s * malt.as_celsius() + m * water.as_celsius()) / (s + m)) + slaking)
}

/// Temperature of the strike water for a mash temperature: the inverse of [`mash_temperature`], with its ranges.
///
/// # Errors
/// [`HeatError`] when an argument is out of range or the water would be frozen or boiling.
pub fn strike(
    target: Temperature,
    malt: Temperature,
    thickness: VolumePerMass,
    moisture: Fraction,
) -> Result<Temperature, HeatError> {
    let m = check_thickness(thickness)?;
    let (s, slaking) = malt_heat(moisture)?;
    let s = s.value();
    let wanted = target - slaking;
    let water = Temperature::celsius((wanted.as_celsius() * (s + m) - s * malt.as_celsius()) / m);
    if (0.0..=100.0).contains(&water.as_celsius()) {
        Ok(water)
    } else {
        Err(HeatError::StrikeTemperature(water))
    }
}

fn check_thickness(thickness: VolumePerMass) -> Result<f64, HeatError> {
    let m = thickness.as_l_per_kg();
    if (1.0..=10.0).contains(&m) { Ok(m) } else { Err(HeatError::Thickness(thickness)) }
}

/// Specific heat of water near mash temperature, kJ/(kg K).
const WATER_HEAT: f64 = 4.187;
/// Source of the specific heat of wort.
pub const WORT_HEAT_SOURCE: Source = Source::from_memory(
    "Sugar solutions: 4.187 (1 - 0.006 Bx) kJ/(kg K), the usual linear rule of sugar technology",
);
/// Heat that evaporates 1 kg of water at its boil, kJ.
const LATENT: f64 = 2257.0;
/// Source of the latent heat.
pub const LATENT_SOURCE: Source = Source::from_memory("Steam tables: 2257 kJ/kg at 100 °C");

/// Time to heat a liquid. `losses` is the heat the vessel gives off on the way.
/// Extract 0..=40 °P (the nearest end holds outside). Already warm enough takes no time.
///
/// # Errors
/// [`HeatError::TooLittlePower`], [`HeatError::BelowNothing`].
pub fn heating_time(
    liquid: Mass,
    extract: Plato,
    from: Temperature,
    to: Temperature,
    power: Power,
    losses: Power,
) -> Result<Duration, HeatError> {
    if liquid < Mass::ZERO {
        return Err(HeatError::BelowNothing);
    }
    let rise = (to - from).as_kelvin();
    if rise <= 0.0 {
        return Ok(Duration::ZERO);
    }
    let net = net_power(power, losses)?;
    let specific = WATER_HEAT * (1.0 - 0.006 * extract.as_degrees().clamp(0.0, 40.0));
    Ok(Duration::minutes(liquid.as_kilograms() * specific * rise / net.as_kilowatts() / 60.0))
}

/// Water that a power boils off in a time, at 100 °C: 1.6 kg per hour and kilowatt.
///
/// # Errors
/// [`HeatError::TooLittlePower`].
pub fn boiled_off(power: Power, losses: Power, time: Duration) -> Result<Mass, HeatError> {
    let net = net_power(power, losses)?;
    Ok(Mass::kilograms(net.as_kilowatts() * time.as_minutes().max(0.0) * 60.0 / LATENT))
}

fn net_power(power: Power, losses: Power) -> Result<Power, HeatError> {
    let net = power - losses.max(Power::ZERO);
    if net.as_kilowatts() > 0.01 { Ok(net) } else { Err(HeatError::TooLittlePower { net }) }
}

/// Source of [`air_pressure`] and [`boiling_point`].
pub const BOILING_SOURCE: Source = Source::from_memory(
    "International Standard Atmosphere; Antoine's equation for water, 8.07131, 1730.63, 233.426",
);

/// Air pressure of the International Standard Atmosphere. Height -500..=5000 m.
///
/// # Errors
/// [`HeatError::Altitude`].
pub fn air_pressure(height: Altitude) -> Result<AbsolutePressure, HeatError> {
    let h = height.as_metres();
    if !(-500.0..=5000.0).contains(&h) {
        return Err(HeatError::Altitude(height));
    }
    Ok(AbsolutePressure::kpa(101.325 * (1.0 - 2.255_77e-5 * h).powf(5.255_88)))
}

/// Boiling point of water at a pressure, 20..=200 kPa, by Antoine's equation
/// (fitted to 100 °C). Wort of 12 °P boils about 0.3 K higher.
///
/// # Errors
/// [`HeatError::Pressure`].
pub fn boiling_point(pressure: AbsolutePressure) -> Result<Temperature, HeatError> {
    let p = pressure.as_kpa();
    if !(20.0..=200.0).contains(&p) {
        return Err(HeatError::Pressure(pressure));
    }
    let torr = p * 760.0 / 101.325;
    Ok(Temperature::celsius(1730.63 / (8.071_31 - torr.log10()) - 233.426))
}

/// Boiling point of water at a height above the sea.
///
/// # Errors
/// [`HeatError::Altitude`].
pub fn boiling_point_at(height: Altitude) -> Result<Temperature, HeatError> {
    boiling_point(air_pressure(height)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn strike_and_mash_undo_each_other(t in 40.0..75.0f64, malt in 0.0..35.0f64, r in 2.0..6.0f64, m in 0.0..0.08f64) {
            let (malt, r, m) = (Temperature::celsius(malt), VolumePerMass::l_per_kg(r), Fraction::of_one(m));
            let water = strike(Temperature::celsius(t), malt, r, m).unwrap();
            let back = mash_temperature(water, malt, r, m).unwrap();
            prop_assert!((back.as_celsius() - t).abs() < 1e-9);
        }

        #[test]
        fn higher_up_it_boils_sooner(h in -500.0..4900.0f64) {
            let low = boiling_point_at(Altitude::metres(h)).unwrap();
            let high = boiling_point_at(Altitude::metres(h + 100.0)).unwrap();
            prop_assert!(high < low);
        }
    }

    #[test]
    fn says_what_is_wrong() {
        let (warm, hot) = (Temperature::celsius(20.0), Temperature::celsius(78.0));
        let r = VolumePerMass::l_per_kg(1.0);
        assert!(matches!(
            strike(hot, Temperature::celsius(0.0), r, Fraction::ZERO),
            Err(HeatError::StrikeTemperature(_))
        ));
        assert!(matches!(strike(hot, warm, r, Fraction::of_one(0.2)), Err(HeatError::Moisture(_))));
        let weak = heating_time(
            Mass::kilograms(20.0),
            Plato::degrees(12.0),
            warm,
            hot,
            Power::kilowatts(0.2),
            Power::kilowatts(0.2),
        );
        assert!(matches!(weak, Err(HeatError::TooLittlePower { .. })));
        assert!(boiling_point_at(Altitude::metres(9000.0)).is_err());
    }
}
