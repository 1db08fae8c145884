//! Checks of extract, density, heat, bitterness, fermentation and grist.

use calc::brew::bitterness::{HopCharge, HopForm, HotSide, Leg, isomerised, rager, tinseth};
use calc::brew::extract::{apparent_extract, fermented, hydrometer, hydrometer_as_water, original_extract};
use calc::brew::ferment::{FRUIT_FERMENTABILITY, extract_for_gas, outcome};
use calc::brew::grist::{MaltYield, extract_of, grist_for, mash_fit, water_for};
use calc::brew::heat::{Body, Coil, Heater, boiling_point, boiling_point_at, mash_temperature, strike};
use calc::brew::ledger::Wort;
use calc::brew::yeast::{YeastForm, cells_to_pitch, oxygen_dissolved, starter_cells};
use calc::chem::density::{
    alcohol_by_volume, ethanol_density, plato_from_density, plato_from_sg, sg_from_plato, sucrose_density,
    volume_after, water_density, water_density_cipm,
};
use calc::chem::gas::{dissolved, in_water};
use calc::quantity::{
    AbsolutePressure, Altitude, Amount, Carbonation, CellDensity, Density, Dimension, Duration, Estimate,
    Fraction, GaugePressure, Mass, Ph, Plato, Power, SpecificGravity, System, Temperature, Volume,
    VolumePerMass, VolumeRate,
};

const ROOM: Temperature = Temperature::celsius(20.0);

/// Liquid, extract, grain and vessel from the first four inputs.
fn body(number: &dyn Fn(usize) -> Option<f64>) -> Option<Body> {
    Some(Body {
        liquid: Mass::kilograms(number(0)?),
        extract: Plato::degrees(number(1)?),
        grain: Mass::kilograms(number(2)?),
        vessel: Mass::kilograms(number(3)?),
    })
}

/// The value of a check, or `None` when this module does not know it or its inputs.
pub fn compute(check: &str, inputs: &[&str]) -> Option<f64> {
    let number = |place: usize| inputs.get(place)?.trim().parse::<f64>().ok();
    let plato = |place| number(place).map(Plato::degrees);
    let celsius = |place| number(place).map(Temperature::celsius);
    let gravity = |place| number(place).map(SpecificGravity::ratio);
    let litres = |place| number(place).map(Volume::litres);
    let kilos = |place| number(place).map(Mass::kilograms);
    let minutes = |place| number(place).map(Duration::minutes);
    let percent = |place| number(place).map(Fraction::percent);
    let volumes = |place| number(place).map(Carbonation::volumes);
    let beer = || fermented(plato(0)?, plato(1)?).ok();
    Some(match check {
        "sg_from_plato" => sg_from_plato(plato(0)?).as_ratio(),
        "plato_from_sg" => plato_from_sg(gravity(0)?).as_degrees(),
        "sucrose_sg_in_air" => {
            let in_air = |p: Plato| sucrose_density(p, ROOM).as_kg_per_m3() - 1.2;
            in_air(plato(0)?) / in_air(Plato::degrees(0.0))
        }
        "hydrometer_as_water" => hydrometer_as_water(gravity(0)?, celsius(1)?, celsius(2)?).ok()?.as_ratio(),
        "hydrometer_as_water_in_sucrose" => {
            hydrometer_as_water(floats_at(plato(0)?, celsius(1)?), celsius(1)?, ROOM).ok()?.as_ratio()
        }
        "hydrometer_in_sucrose" => {
            hydrometer(floats_at(plato(0)?, celsius(1)?), celsius(1)?, ROOM).ok()?.gravity.as_ratio()
        }
        "real_extract" => beer()?.real.as_degrees(),
        "alcohol_by_mass" => beer()?.alcohol_by_mass.as_percent(),
        "alcohol_by_volume_of_beer" => beer()?.alcohol.as_percent(),
        "original_extract" => original_extract(percent(0)?, plato(1)?).as_degrees(),
        "apparent_extract" => apparent_extract(percent(0)?, plato(1)?).as_degrees(),

        "water_density" => water_density(celsius(0)?).as_kg_per_m3(),
        "water_density_cipm" => water_density_cipm(celsius(0)?).as_kg_per_m3(),
        "sucrose_density" => sucrose_density(plato(0)?, celsius(1)?).as_kg_per_m3(),
        "plato_from_density" => plato_from_density(Density::kg_per_m3(number(0)?), celsius(1)?).as_degrees(),
        "ethanol_density" => ethanol_density(percent(0)?).as_kg_per_m3(),
        "alcohol_by_volume" => alcohol_by_volume(percent(0)?).as_percent(),
        "volume_factor" => volume_after(Volume::litres(1.0), plato(0)?, celsius(1)?, celsius(2)?).as_litres(),

        "mash_temperature" => {
            mash_temperature(celsius(0)?, celsius(1)?, thickness(number(2)?), percent(3)?).ok()?.as_celsius()
        }
        "strike" => strike(celsius(0)?, celsius(1)?, thickness(number(2)?), percent(3)?).ok()?.as_celsius(),
        "strike_without_slaking" => {
            // Water at the malt's own temperature warms by the slaking heat alone.
            let (malt, r, moisture) = (celsius(1)?, thickness(number(2)?), percent(3)?);
            let slaking = mash_temperature(malt, malt, r, moisture).ok()? - malt;
            strike(celsius(0)? + slaking, malt, r, moisture).ok()?.as_celsius()
        }
        "boiled_off" => {
            let heater = Heater { power: Power::kilowatts(number(0)?), loss: Power::ZERO, room: ROOM };
            let rate = heater.evaporation(Temperature::celsius(100.0)).ok()?;
            water_density(ROOM).mass_of(rate * minutes(1)?).as_kilograms()
        }
        "latent_heat" => {
            // A kilowatt for an hour is 3600 kJ.
            let heater = Heater { power: Power::kilowatts(1.0), loss: Power::ZERO, room: ROOM };
            let rate = heater.evaporation(celsius(0)?).ok()?;
            3600.0 / water_density(ROOM).mass_of(rate * Duration::hours(1.0)).as_kilograms()
        }
        "boiling_point_of_pressure" => boiling_point(AbsolutePressure::kpa(number(0)?)).ok()?.as_celsius(),
        "heating_minutes" => {
            let heater = Heater {
                power: Power::kilowatts(number(5)?),
                loss: Power::kilowatts(number(6)?),
                room: ROOM,
            };
            heater.time(&body(&number)?, celsius(7)?, celsius(8)?).ok()?.as_minutes()
        }
        "chill_minutes" => {
            let coil = Coil {
                flow: VolumeRate::l_per_h(number(5)?),
                water: celsius(6)?,
                effectiveness: Fraction::of_one(number(4)?),
            };
            coil.chill(&body(&number)?, celsius(7)?, celsius(8)?).ok()?.time.as_minutes()
        }
        "boiling_point" => boiling_point_at(Altitude::metres(number(0)?)).ok()?.as_celsius(),
        "celsius_of_fahrenheit" => from_us(Dimension::Temperature, number(0)?),
        "kilopascal_of_psi" => from_us(Dimension::Pressure, number(0)?),

        "tinseth" => tinseth(gravity(0)?, minutes(1)?).as_of_one(),
        "rager" => rager(gravity(0)?, minutes(1)?).as_percent(),
        "isomerised" => isomerised(celsius(0)?, minutes(1)?).as_of_one(),
        "ibu_range_contains" => {
            let mass = Mass::grams(number(0)?);
            let band = |alpha, time: Duration, volume| {
                let legs = [Leg::steady(Temperature::celsius(100.0), time)];
                let kept = Estimate {
                    value: Fraction::of_one(0.55),
                    low: Fraction::of_one(0.5),
                    high: Fraction::of_one(0.6),
                };
                let side = HotSide { legs: &legs, volume, ph: Ph::new(number(8)?), kept };
                let charge = HopCharge { mass, alpha, form: HopForm::Pellets, at: Duration::ZERO };
                side.bitterness(&[charge]).ok().map(|(total, _)| total)
            };
            let least = band(percent(1)?, minutes(3)?, litres(6)?)?;
            let most = band(percent(2)?, minutes(4)?, litres(5)?)?;
            yes((least.low.as_ibu()..=most.high.as_ibu()).contains(&number(9)?))
        }

        "dissolved_psi_f" => {
            let pressure = GaugePressure::kpa(from_us(Dimension::Pressure, number(0)?));
            let at = Temperature::celsius(from_us(Dimension::Temperature, number(1)?));
            dissolved(pressure, at).ok()?.as_volumes()
        }
        "henry_pk" => -(in_water(celsius(0)?).as_g_per_l() / 44.01).log10(),
        "gas_in_water" => in_water(celsius(0)?).as_g_per_l(),
        "starter_band_contains" => {
            let cells = starter_cells(Mass::grams(number(0)?)).ok()?;
            yes((cells.low.as_billions()..=cells.high.as_billions()).contains(&number(1)?))
        }
        "dry_yeast_label" => YeastForm::Dry.fresh().low.as_billions(),
        "oxygen_from_air" => {
            // Air at 1 atm with its vapour; by Antoine's equation, as for the boiling point.
            let vapour = 10_f64.powf(8.071_31 - 1730.63 / (233.426 + number(0)?)) * 101.325 / 760.0;
            let oxygen = AbsolutePressure::kpa(0.209_46 * (101.325 - vapour));
            oxygen_dissolved(oxygen, celsius(0)?, Plato::degrees(0.0)).as_mg_per_l()
        }
        "cells_to_pitch" | "cells_to_pitch_low" | "cells_to_pitch_high" => {
            let rate = CellDensity::millions_per_ml(number(2)?);
            let cells = cells_to_pitch(litres(0)?, plato(1)?, rate, Ph::new(number(3)?)).ok()?;
            match check {
                "cells_to_pitch_low" => cells.low,
                "cells_to_pitch_high" => cells.high,
                _ => cells.value,
            }
            .as_billions()
        }
        "extract_for_gas" => extract_for_gas(litres(0)?, volumes(1)?, volumes(2)?).as_grams(),
        "outcome_alcohol" | "outcome_apparent" => {
            let wort = Wort::of_wort(litres(0)?, plato(1)?, ROOM);
            let attenuation = Estimate::exact(Fraction::of_one(1.0 - number(2)? / number(1)?));
            let end = outcome(&wort, attenuation, Mass::ZERO, &[], FRUIT_FERMENTABILITY).ok()?;
            if check == "outcome_alcohol" {
                end.alcohol.value.as_percent()
            } else {
                end.apparent.value.as_degrees()
            }
        }

        "extract_of" => {
            extract_of(&[(kilos(0)?, malt(percent(1)?, percent(2)?))], percent(3)?).ok()?.as_kilograms()
        }
        "grist_for" => {
            let malts = [(Fraction::ALL, malt(percent(1)?, percent(2)?))];
            grist_for(kilos(0)?, &malts, percent(3)?).ok()?.as_kilograms()
        }
        "wort_extract" => Wort::of_wort(litres(0)?, plato(1)?, ROOM).extract.as_kilograms(),
        "boil_plato" => {
            let wort = Wort::of_wort(litres(0)?, plato(1)?, ROOM);
            wort.boil(VolumeRate::l_per_h(number(2)?), minutes(3)?).ok()?.plato().as_degrees()
        }
        "mash_fit" => mash_fit(litres(0)?, litres(1)?, kilos(2)?, celsius(3)?).filled.as_litres(),
        "water_for" => {
            let runoff = Wort::of_wort(litres(0)?, plato(1)?, ROOM);
            water_for(&runoff, kilos(2)?, thickness(number(3)?)).ok()?.as_litres()
        }
        _ => return None,
    })
}

/// What a glass hydrometer made for 20 °C shows in warm or cold sucrose.
fn floats_at(extract: Plato, at: Temperature) -> SpecificGravity {
    let shrunk = 1.0 - 25e-6 * (at - ROOM).as_kelvin();
    SpecificGravity::ratio(sucrose_density(extract, at) / water_density(ROOM) / shrunk)
}

fn thickness(litres_per_kilo: f64) -> VolumePerMass {
    VolumePerMass::l_per_kg(litres_per_kilo)
}

fn malt(extract: Fraction, moisture: Fraction) -> MaltYield {
    MaltYield { extract, moisture }
}

fn from_us(dimension: Dimension, value: f64) -> f64 {
    Amount::from_unit(dimension, &dimension.default_unit(System::Us), value).base()
}

fn yes(holds: bool) -> f64 {
    f64::from(u8::from(holds))
}
