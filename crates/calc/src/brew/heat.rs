//! Heat: strike water, heating times, boiling.

use crate::chem::density::water_density;
use crate::data::Source;
use crate::numeric::power::power;
use crate::quantity::{
    AbsolutePressure, Altitude, Count, Duration, Estimate, Fraction, Mass, Plato, Power, Temperature,
    TemperatureDifference, Volume, VolumePerMass, VolumeRate,
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
    /// The water poured in must be hotter than the mash is to be.
    Infusion {
        /// The water.
        water: Temperature,
        /// What is wanted.
        wanted: Temperature,
    },
    /// The cooling water must be colder than the wort is to be.
    TooCold {
        /// The water.
        water: Temperature,
        /// What is wanted.
        wanted: Temperature,
    },
    /// A height outside -500..=5000 m.
    Altitude(Altitude),
    /// A pressure outside 20..=200 kPa.
    Pressure(AbsolutePressure),
    /// A mass, a flow or a share that must be above zero.
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
            Self::Infusion { water, wanted } => {
                write!(
                    f,
                    "water of {} °C can't warm a mash to {} °C",
                    water.as_celsius(),
                    wanted.as_celsius()
                )
            }
            Self::TooCold { water, wanted } => {
                write!(f, "water of {} °C can't chill wort to {} °C", water.as_celsius(), wanted.as_celsius())
            }
            Self::Altitude(a) => write!(f, "height must be -500 to 5000 m, not {}", a.as_metres()),
            Self::Pressure(p) => write!(f, "pressure must be 20 to 200 kPa, not {}", p.as_kpa()),
            Self::BelowNothing => write!(f, "masses, flows, times and shares must be above zero"),
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

/// Heat that boils off a mass of water at a temperature, kJ/kg: a straight line through the steam
/// tables between 80 and 105 °C.
fn latent(at: Temperature) -> f64 {
    LATENT + 2.6 * (100.0 - at.as_celsius())
}

/// Heat capacity of stainless steel, kJ/(kg K).
const STEEL_HEAT: f64 = 0.50;
/// Source of the heat capacity of the vessel.
pub const STEEL_SOURCE: Source = Source::from_memory("Stainless steel: 0.50 kJ/(kg K)");

/// What is heated together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Body {
    /// Water or wort.
    pub liquid: Mass,
    /// Its extract, 0..=40 °P; outside, the nearest end holds.
    pub extract: Plato,
    /// Grain in it.
    pub grain: Mass,
    /// The empty vessel, of steel.
    pub vessel: Mass,
}

impl Body {
    /// Heat capacity, kJ/K.
    fn heat(&self) -> f64 {
        let wort = WATER_HEAT * (1.0 - 0.006 * self.extract.as_degrees().clamp(0.0, 40.0));
        // Of the table's row for malt of 4 % moisture.
        let grain = WATER_HEAT * MALT_HEAT[2].0;
        self.liquid.as_kilograms() * wort
            + self.grain.as_kilograms() * grain
            + self.vessel.as_kilograms() * STEEL_HEAT
    }

    fn check(&self) -> Result<(), HeatError> {
        let sound = self.liquid > Mass::ZERO && self.grain >= Mass::ZERO && self.vessel >= Mass::ZERO;
        if sound { Ok(()) } else { Err(HeatError::BelowNothing) }
    }

    /// Water of a temperature that brings the mash from one temperature to a warmer one.
    ///
    /// # Errors
    /// [`HeatError::Infusion`] when the water is not hotter than what is wanted; [`HeatError::BelowNothing`].
    pub fn infusion(
        &self,
        from: Temperature,
        to: Temperature,
        water: Temperature,
    ) -> Result<Mass, HeatError> {
        self.check()?;
        if to <= from {
            return Ok(Mass::ZERO);
        }
        let spare = (water - to).as_kelvin();
        if spare <= 0.0 {
            return Err(HeatError::Infusion { water, wanted: to });
        }
        Ok(Mass::kilograms(self.heat() * (to - from).as_kelvin() / (WATER_HEAT * spare)))
    }
}

/// Water that holds as much heat as an empty vessel of steel. A vessel heated together with the strike water
/// counts as that much more of it. From nothing up; below, nothing.
pub fn vessel_as_water(vessel: Mass) -> Volume {
    Volume::litres(vessel.as_kilograms().max(0.0) * STEEL_HEAT / WATER_HEAT)
}

/// A heater and the room it stands in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heater {
    /// Power of the element.
    pub power: Power,
    /// Heat that vessel and surface give off at 80 K above the room; in proportion at other temperatures.
    pub loss: Power,
    /// Temperature of the room.
    pub room: Temperature,
}

/// Source of [`usual_loss`].
pub const LOSS_SOURCE: Source = Source::our_estimate(
    "An open kettle of 35 L gives off about 0.25 kW (0.15 to 0.4) at 80 K above the room, others by their surface",
);
/// The difference at which losses are given, in kelvin.
const LOSS_AT: f64 = 80.0;

/// Heat that an open kettle gives off at 80 K above the room. From above nothing up.
pub fn usual_loss(kettle: Volume) -> Estimate<Power> {
    let loss =
        |kilowatts: f64| Power::kilowatts(kilowatts * power(kettle.as_litres().max(1e-9) / 35.0, 2.0 / 3.0));
    Estimate { value: loss(0.25), low: loss(0.15), high: loss(0.4) }
}

impl Heater {
    /// Time to heat, losses growing with the temperature: the exact solution of M c dT/dt = P - U (T - room).
    /// Already warm enough takes no time.
    ///
    /// # Errors
    /// [`HeatError::TooLittlePower`] when it never gets there; [`HeatError::BelowNothing`].
    pub fn time(&self, body: &Body, from: Temperature, to: Temperature) -> Result<Duration, HeatError> {
        body.check()?;
        if to <= from {
            return Ok(Duration::ZERO);
        }
        let left = |at: Temperature| self.net(at).as_kilowatts();
        if left(to) <= 0.01 {
            return Err(HeatError::TooLittlePower { net: self.net(to) });
        }
        let per_kelvin = self.loss.max(Power::ZERO).as_kilowatts() / LOSS_AT;
        let rise = (to - from).as_kelvin();
        // Without losses the logarithm is nothing over nothing; its limit is the plain quotient.
        let kelvin_per_kilowatt = if per_kelvin * rise < 1e-9 * left(to) {
            rise / left(to)
        } else {
            (left(from) / left(to)).ln() / per_kelvin
        };
        Ok(Duration::minutes(body.heat() * kelvin_per_kilowatt / 60.0))
    }

    /// What is left of the power after the losses at a temperature; below zero it cools.
    pub fn net(&self, at: Temperature) -> Power {
        self.power - self.loss.max(Power::ZERO) * ((at - self.room).as_kelvin() / LOSS_AT)
    }

    /// Temperature after a time without power.
    ///
    /// # Errors
    /// [`HeatError::BelowNothing`].
    pub fn cooled(&self, body: &Body, from: Temperature, time: Duration) -> Result<Temperature, HeatError> {
        body.check()?;
        let per_kelvin = self.loss.max(Power::ZERO).as_kilowatts() / LOSS_AT;
        let left = (-per_kelvin * time.as_minutes().max(0.0) * 60.0 / body.heat()).exp();
        Ok(self.room + (from - self.room) * left)
    }

    /// Cold water (20 °C) that the power left at the boil drives off per hour: the most that can evaporate.
    ///
    /// # Errors
    /// [`HeatError::TooLittlePower`].
    pub fn evaporation(&self, boils_at: Temperature) -> Result<VolumeRate, HeatError> {
        let net = self.net(boils_at);
        if net.as_kilowatts() <= 0.01 {
            return Err(HeatError::TooLittlePower { net });
        }
        let kilograms = Mass::kilograms(net.as_kilowatts() * 3600.0 / latent(boils_at));
        let litres = water_density(Temperature::celsius(20.0)).volume_of(kilograms);
        Ok(VolumeRate::l_per_h(litres.as_litres()))
    }
}

/// What a chill takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chilling {
    /// Time.
    pub time: Duration,
    /// Cooling water used.
    pub water: Volume,
    /// Temperature of the wort in the end.
    pub end: Temperature,
}

/// A coil in the stirred kettle, with cold water running through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coil {
    /// Cooling water, above zero.
    pub flow: VolumeRate,
    /// Its temperature.
    pub water: Temperature,
    /// Heat taken up over what the water could take, above 0..=1.
    pub effectiveness: Fraction,
}

impl Coil {
    /// Kilowatts per kelvin that the water carries off.
    fn carries(&self) -> Result<f64, HeatError> {
        let share = self.effectiveness.as_of_one();
        if !(share > 0.0 && share <= 1.0 && self.flow > VolumeRate::ZERO) {
            return Err(HeatError::BelowNothing);
        }
        Ok(share * WATER_HEAT * self.flow.as_l_per_h() * 0.998 / 3600.0)
    }

    /// Time to chill a body, the exact solution of M c dT/dt = -e m c (T - water). Losses to the room help and
    /// are left out.
    ///
    /// # Errors
    /// [`HeatError::TooCold`] when the water is not colder than what is wanted; [`HeatError::BelowNothing`].
    pub fn chill(&self, body: &Body, from: Temperature, to: Temperature) -> Result<Chilling, HeatError> {
        body.check()?;
        if to >= from {
            return Ok(Chilling { time: Duration::ZERO, water: Volume::ZERO, end: from });
        }
        let (start, end) = ((from - self.water).as_kelvin(), (to - self.water).as_kelvin());
        if end <= 0.0 {
            return Err(HeatError::TooCold { water: self.water, wanted: to });
        }
        let time = Duration::minutes(body.heat() / self.carries()? * (start / end).ln() / 60.0);
        Ok(Chilling { time, water: self.flow * time, end: to })
    }

    /// The effectiveness that a chill had which took this time; the inverse of [`Coil::chill`]. It may come out
    /// above one, when time or flow were noted wrong.
    ///
    /// # Errors
    /// As [`Coil::chill`], and [`HeatError::BelowNothing`] for no time.
    pub fn learned(
        &self,
        body: &Body,
        from: Temperature,
        to: Temperature,
        time: Duration,
    ) -> Result<Fraction, HeatError> {
        let full = Self { effectiveness: Fraction::ALL, ..*self }.chill(body, from, to)?;
        if time > Duration::ZERO {
            Ok(Fraction::of_one(full.time / time))
        } else {
            Err(HeatError::BelowNothing)
        }
    }
}

/// Plates that wort passes once, hot from the kettle. The kettle stays hot while it drains, and its hops go on
/// giving bitterness.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plates {
    /// Wort, above zero.
    pub wort: VolumeRate,
    /// Cooling water, above zero.
    pub flow: VolumeRate,
    /// Its temperature.
    pub water: Temperature,
    /// Heat exchanged over the most that could be, above 0..=1.
    pub effectiveness: Fraction,
}

impl Plates {
    /// Time to pass a volume, and how warm it leaves: effectiveness times the smaller of the two flows of heat.
    ///
    /// # Errors
    /// [`HeatError::BelowNothing`].
    pub fn chill(&self, volume: Volume, from: Temperature) -> Result<Chilling, HeatError> {
        let share = self.effectiveness.as_of_one();
        if !(share > 0.0 && share <= 1.0 && self.wort > VolumeRate::ZERO && self.flow > VolumeRate::ZERO) {
            return Err(HeatError::BelowNothing);
        }
        let time = Duration::hours(volume.as_litres().max(0.0) / self.wort.as_l_per_h());
        let taken = share * (self.flow / self.wort).min(1.0);
        Ok(Chilling { time, water: self.flow * time, end: from - (from - self.water) * taken })
    }
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
    Ok(AbsolutePressure::kpa(101.325 * power(1.0 - 2.255_77e-5 * h, 5.255_88)))
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

/// How much hotter than water wort boils: 0.025 K per degree Plato. 0..=40 °P; outside, the nearest end holds.
/// Source: our estimate, 0.3 K at 12 °P.
pub fn elevation(extract: Plato) -> TemperatureDifference {
    TemperatureDifference::kelvin(0.025 * extract.as_degrees().clamp(0.0, 40.0))
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

    fn body(litres: f64, grain: f64) -> Body {
        Body {
            liquid: Mass::kilograms(litres),
            extract: Plato::degrees(10.0),
            grain: Mass::kilograms(grain),
            vessel: Mass::kilograms(6.0),
        }
    }
    fn heater(power: f64, loss: f64) -> Heater {
        Heater {
            power: Power::kilowatts(power),
            loss: Power::kilowatts(loss),
            room: Temperature::celsius(20.0),
        }
    }
    fn coil(share: f64) -> Coil {
        Coil {
            flow: VolumeRate::l_per_h(240.0),
            water: Temperature::celsius(14.0),
            effectiveness: Fraction::of_one(share),
        }
    }

    proptest! {
        #[test]
        fn strike_and_mash_undo_each_other(t in 40.0..75.0f64, malt in 0.0..35.0f64, r in 2.0..6.0f64, m in 0.0..0.08f64) {
            let (malt, r, m) = (Temperature::celsius(malt), VolumePerMass::l_per_kg(r), Fraction::of_one(m));
            let water = strike(Temperature::celsius(t), malt, r, m).unwrap();
            let back = mash_temperature(water, malt, r, m).unwrap();
            prop_assert!((back.as_celsius() - t).abs() < 1e-9);
        }

        #[test]
        fn the_way_up_is_the_sum_of_its_parts(
            litres in 4.0..60.0f64, grain in 0.0..15.0f64, part in 0.05..0.95f64, power in 1.5..9.0f64, loss in 0.0..0.8f64,
        ) {
            let heater = heater(power, loss);
            let time = |from: f64, to: f64| {
                let body = body(litres, grain);
                heater.time(&body, Temperature::celsius(from), Temperature::celsius(to)).unwrap().as_minutes()
            };
            let middle = 15.0 + part * 83.0;
            let whole = time(15.0, 98.0);
            prop_assert!((time(15.0, middle) + time(middle, 98.0) - whole).abs() < 1e-9 * whole.max(1.0));
            let stronger = Heater { power: heater.power * 1.1, ..heater };
            let faster = stronger.time(&body(litres, grain), Temperature::celsius(15.0), Temperature::celsius(98.0)).unwrap();
            prop_assert!(faster.as_minutes() < whole);
        }

        #[test]
        fn what_is_poured_in_carries_the_heat_that_is_missing(litres in 4.0..60.0f64, grain in 0.0..15.0f64, to in 50.0..78.0f64, rise in 0.5..20.0f64) {
            let (body, end) = (body(litres, grain), Temperature::celsius(to));
            let from = end - TemperatureDifference::kelvin(rise);
            let water = body.infusion(from, end, Temperature::celsius(98.0)).unwrap();
            let given = water.as_kilograms() * 4.187 * (98.0 - to);
            prop_assert!((given - body.heat() * rise).abs() < 1e-9 * given);
        }

        #[test]
        fn a_chill_teaches_its_effectiveness(litres in 4.0..60.0f64, share in 0.05..1.0f64, to in 16.0..40.0f64) {
            let (body, coil) = (body(litres, 0.0), coil(share));
            let (hot, cold) = (Temperature::celsius(99.0), Temperature::celsius(to));
            let chill = coil.chill(&body, hot, cold).unwrap();
            let back = coil.learned(&body, hot, cold, chill.time).unwrap();
            prop_assert!((back.as_of_one() - share).abs() < 1e-9);
            prop_assert!((chill.water.as_litres() - 4.0 * chill.time.as_minutes()).abs() < 1e-6);
            let slower = coil.chill(&body, hot, cold - TemperatureDifference::kelvin(0.5)).unwrap();
            prop_assert!(slower.time > chill.time);
        }

        #[test]
        fn plates_never_chill_below_the_water(wort in 30.0..600.0f64, flow in 30.0..900.0f64, share in 0.05..1.0f64, litres in 0.0..60.0f64) {
            let plates = Plates {
                wort: VolumeRate::l_per_h(wort),
                flow: VolumeRate::l_per_h(flow),
                water: Temperature::celsius(12.0),
                effectiveness: Fraction::of_one(share),
            };
            let chill = plates.chill(Volume::litres(litres), Temperature::celsius(98.0)).unwrap();
            prop_assert!((12.0 - 1e-9..=98.0).contains(&chill.end.as_celsius()));
            // What the wort loses the water gains, and it cannot leave hotter than the wort came.
            let gained = (98.0 - chill.end.as_celsius()) * wort / flow;
            prop_assert!(12.0 + gained <= 98.0 + 1e-9);
        }

        #[test]
        fn a_kettle_left_alone_nears_the_room(hours in 0.0..30.0f64, loss in 0.0..0.8f64) {
            let end = heater(2.0, loss).cooled(&body(20.0, 0.0), Temperature::celsius(98.0), Duration::hours(hours)).unwrap();
            prop_assert!((20.0..=98.0).contains(&end.as_celsius()));
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
        let weak = Heater { power: Power::kilowatts(0.2), loss: Power::kilowatts(0.4), room: warm };
        assert!(matches!(weak.time(&body(20.0, 0.0), warm, hot), Err(HeatError::TooLittlePower { .. })));
        assert!(matches!(weak.evaporation(hot), Err(HeatError::TooLittlePower { .. })));
        assert_eq!(weak.time(&Body::default(), warm, hot), Err(HeatError::BelowNothing));
        assert!(matches!(body(20.0, 4.0).infusion(warm, hot, warm), Err(HeatError::Infusion { .. })));
        let coil = coil(0.5);
        assert!(matches!(coil.chill(&body(20.0, 0.0), hot, coil.water), Err(HeatError::TooCold { .. })));
        let none = Coil { flow: VolumeRate::ZERO, ..coil };
        assert_eq!(none.chill(&body(20.0, 0.0), hot, warm), Err(HeatError::BelowNothing));
        assert!(boiling_point_at(Altitude::metres(9000.0)).is_err());
    }
}
