//! Yeast: how many living cells, how much of the pack that is, and the oxygen for them.

use crate::data::Source;
use crate::numeric::power::power;
use crate::quantity::{
    AbsolutePressure, CellDensity, Cells, Concentration, Count, Duration, Estimate, Fraction, Mass, Ph,
    Plato, Temperature, Volume, VolumeRate,
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
/// Source of [`starter_cells`].
pub const STARTER_SOURCE: Source = Source::published(
    "Shaner 2022: 0.94 to 1.4 billion cells per gram of extract for ale strains; Johnson 2011, 19 aerated runs: 2.4 ± 1.1",
);
/// Source of the cells in a fresh gram, millilitre or pack.
pub const FRESH_SOURCE: Source = Source::from_memory(
    "Dry yeast: at least 5, up to 20 billion viable cells per gram, the label's is the least; thick slurry about 1.2 (0.7 to 2) billion per mL; liquid packs about 100 (80 to 200) billion",
);
/// Source of [`YeastForm::viability`].
pub const VIABILITY_SOURCE: Source = Source::common_practice(
    "In the fridge dry yeast loses about 4 % a year, liquid packs about 20 % a month, slurry about a quarter in a week; twice as fast for each 10 K warmer",
);

/// Why no pitch can be worked out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum YeastError {
    /// Gravity lies above 0..=40 °P.
    Gravity(Plato),
    /// Volume must be above zero.
    Volume(Volume),
    /// Pitch rate lies above 0..=5 million per mL and °P.
    PitchRate(CellDensity),
    /// pH of wort lies in 2.5..=6.5.
    WortPh(Ph),
    /// Yeast is up to ten years old and kept at -30..=50 °C.
    Keeping(Duration, Temperature),
    /// More oxygen is wanted than stays dissolved under pure oxygen at this temperature.
    TooMuchOxygen {
        /// What is wanted.
        wanted: Concentration,
        /// What stays dissolved.
        most: Concentration,
    },
    /// Hardly a cell is alive.
    Dead,
    /// A mass, a flow or a number of cells below zero, or none where some is needed.
    BelowNothing,
}

impl fmt::Display for YeastError {
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
            Self::Keeping(age, at) => {
                write!(f, "yeast can't be {} days old at {} °C", age.as_hours() / 24.0, at.as_celsius())
            }
            Self::TooMuchOxygen { wanted, most } => {
                write!(
                    f,
                    "{} mg/L of oxygen is wanted and {} stays",
                    wanted.as_mg_per_l(),
                    most.as_mg_per_l()
                )
            }
            Self::Dead => write!(f, "hardly a cell is alive"),
            Self::BelowNothing => write!(f, "amounts, flows and shares must be above zero"),
        }
    }
}

/// How yeast comes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum YeastForm {
    /// Dried, by the gram.
    #[default]
    Dry,
    /// A liquid pack.
    Liquid,
    /// Settled yeast of another batch, by the millilitre.
    Slurry,
}

impl YeastForm {
    /// Every form.
    pub const ALL: &[Self] = &[Self::Dry, Self::Liquid, Self::Slurry];

    /// Name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Dry => "dry, by the gram",
            Self::Liquid => "liquid, by the pack",
            Self::Slurry => "slurry of another batch, by the millilitre",
        }
    }

    /// Living cells in a fresh gram, pack or millilitre.
    pub fn fresh(self) -> Estimate<Cells> {
        let (value, low, high) = match self {
            Self::Dry => (10.0, 5.0, 20.0),
            Self::Liquid => (100.0, 80.0, 200.0),
            Self::Slurry => (1.2, 0.7, 2.0),
        };
        Estimate { value: Cells::billions(value), low: Cells::billions(low), high: Cells::billions(high) }
    }

    /// Share of the cells still alive: dying at a rate that doubles for each 10 K, with half to twice the rate as
    /// the band. Age up to ten years, kept at -30..=50 °C.
    ///
    /// # Errors
    /// [`YeastError::Keeping`].
    pub fn viability(self, age: Duration, kept_at: Temperature) -> Result<Estimate<Fraction>, YeastError> {
        let days = age.as_hours() / 24.0;
        if !((0.0..=3660.0).contains(&days) && (-30.0..=50.0).contains(&kept_at.as_celsius())) {
            return Err(YeastError::Keeping(age, kept_at));
        }
        // Deaths per day at 4 °C.
        let rate = match self {
            Self::Dry => 0.04 / 365.0,
            Self::Liquid => 0.22 / 30.0,
            Self::Slurry => 0.29 / 7.0,
        };
        let died = days * rate * power(2.0, (kept_at.as_celsius() - 4.0) / 10.0);
        let left = |died: f64| Fraction::of_one((-died).exp());
        Ok(Estimate { value: left(died), low: left(2.0 * died), high: left(0.5 * died) })
    }
}

/// Living yeast to pitch: rate × volume × °P, and 1.75 (1.5 to 2) times as much
/// in wort below pH 3.5, falling to none extra at pH 4.0.
/// Volume above 0, gravity above 0..=40 °P, rate above 0..=5, pH 2.5..=6.5.
///
/// # Errors
/// [`YeastError`] when an argument is outside its range.
pub fn cells_to_pitch(
    volume: Volume,
    gravity: Plato,
    rate: CellDensity,
    ph: Ph,
) -> Result<Estimate<Cells>, YeastError> {
    if !(volume > Volume::ZERO && volume.is_finite()) {
        return Err(YeastError::Volume(volume));
    }
    let p = gravity.as_degrees();
    if !(p > 0.0 && p <= 40.0) {
        return Err(YeastError::Gravity(gravity));
    }
    if !(rate > CellDensity::ZERO && rate.as_millions_per_ml() <= 5.0) {
        return Err(YeastError::PitchRate(rate));
    }
    if !(2.5..=6.5).contains(&ph.value()) {
        return Err(YeastError::WortPh(ph));
    }
    let sour = ((4.0 - ph.value()) / 0.5).clamp(0.0, 1.0);
    let cells = rate * p * volume;
    Ok(Estimate {
        value: cells * (1.0 + 0.75 * sour),
        low: cells * (1.0 + 0.5 * sour),
        high: cells * (1.0 + sour),
    })
}

/// Grams, millilitres or packs that hold these living cells.
///
/// `each` is what one of them holds today: fresh cells times the share alive.
/// The band takes the ends of both.
///
/// # Errors
/// [`YeastError::Dead`] when one of them holds next to none; [`YeastError::BelowNothing`].
pub fn amount_for(cells: Estimate<Cells>, each: Estimate<Cells>) -> Result<Estimate<Count>, YeastError> {
    if cells.low < Cells::ZERO {
        return Err(YeastError::BelowNothing);
    }
    // A hundred thousand cells in a gram are a dead pack.
    if each.low.as_billions().partial_cmp(&1e-4) != Some(std::cmp::Ordering::Greater) {
        return Err(YeastError::Dead);
    }
    let units = |cells: Cells, each: Cells| Count::of(cells / each);
    Ok(Estimate::band(
        units(cells.value, each.value),
        units(cells.low, each.high),
        units(cells.high, each.low),
    ))
}

/// Living cells in one gram, pack or millilitre today: by the pack, or what is usual, less what died.
pub fn living(stated: Option<Cells>, form: YeastForm, alive: Estimate<Fraction>) -> Estimate<Cells> {
    let fresh = stated.map_or_else(|| form.fresh(), |cells| Estimate::relative(cells, 0.1));
    Estimate { value: fresh.value * alive.value, low: fresh.low * alive.low, high: fresh.high * alive.high }
}

/// Cells that grow in a starter on this much extract: 1.5 (0.9 to 3) billion
/// per gram; strains differ five-fold.
///
/// # Errors
/// [`YeastError::BelowNothing`].
pub fn starter_cells(extract: Mass) -> Result<Estimate<Cells>, YeastError> {
    if extract < Mass::ZERO {
        return Err(YeastError::BelowNothing);
    }
    let cells = |per_gram: f64| Cells::billions(extract.as_grams() * per_gram);
    Ok(Estimate { value: cells(1.5), low: cells(0.9), high: cells(3.0) })
}

/// Source of [`oxygen_dissolved`].
pub const OXYGEN_SOURCE: Source = Source::published(
    "Henry's constant of oxygen in water: 1.3e-3 mol/(L atm) at 25 °C and 1500 K in the exponent, Sander 2015, Atmos. Chem. Phys. 15:4399; extract lowers it by about 1 % per degree Plato, our estimate",
);
/// Source of the share of oxygen that stays.
pub const UPTAKE_SOURCE: Source = Source::our_estimate(
    "Of the oxygen let through a fine stone 15 to 60 % dissolves in wort, the less the faster it flows",
);
/// Share of the oxygen that dissolves on its way up.
const UPTAKE: [f64; 3] = [0.3, 0.15, 0.6];
/// Grams of oxygen in a litre at 20 °C and 1 atm: 31.998 g/mol over 24.06 L/mol.
const GRAMS_PER_LITRE: f64 = 31.998 / 24.06;

/// Oxygen that wort takes up in balance with a pressure of oxygen, which in air is 21 kPa less a little for the
/// vapour. 0..=40 °C and 0..=25 °P; outside, the nearest end holds.
pub fn oxygen_dissolved(pressure: AbsolutePressure, at: Temperature, gravity: Plato) -> Concentration {
    let kelvin = at.as_celsius().clamp(0.0, 40.0) + 273.15;
    let molar =
        1.3e-3 * (1500.0 * (1.0 / kelvin - 1.0 / 298.15)).exp() * pressure.as_kpa().max(0.0) / 101.325;
    let extract = 1.0 - 0.01 * gravity.as_degrees().clamp(0.0, 25.0);
    Concentration::mg_per_l(molar * 31_998.0 * extract)
}

/// Time to let pure oxygen through a stone for a wort to hold this much. Ranges as [`oxygen_dissolved`].
///
/// # Errors
/// [`YeastError::TooMuchOxygen`]; [`YeastError::BelowNothing`] without a flow or a volume.
pub fn oxygen_time(
    volume: Volume,
    wanted: Concentration,
    flow: VolumeRate,
    at: Temperature,
    gravity: Plato,
) -> Result<Estimate<Duration>, YeastError> {
    if !(volume > Volume::ZERO && flow > VolumeRate::ZERO && wanted >= Concentration::ZERO) {
        return Err(YeastError::BelowNothing);
    }
    let most = oxygen_dissolved(AbsolutePressure::kpa(101.325), at, gravity);
    if wanted > most {
        return Err(YeastError::TooMuchOxygen { wanted, most });
    }
    let litres = (wanted * volume).as_grams() / GRAMS_PER_LITRE;
    let [value, low, high] = UPTAKE.map(|share| Duration::hours(litres / share / flow.as_l_per_h()));
    // The more of it stays, the shorter.
    Ok(Estimate { value, low: high, high: low })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn sourer_wort_never_asks_for_less_yeast(ph in 2.6..6.4f64) {
            let cells = |ph: f64| cells_to_pitch(Volume::litres(18.0), Plato::degrees(11.0), ALE_PITCH, Ph::new(ph)).unwrap();
            prop_assert!(cells(ph - 0.05).value >= cells(ph).value && cells(ph).is_sound());
        }

        #[test]
        fn older_and_warmer_is_never_more_alive(form in 0usize..3, days in 0.0..1000.0f64, at in -20.0..40.0f64) {
            let alive = |days: f64, at: f64| {
                YeastForm::ALL[form].viability(Duration::hours(24.0 * days), Temperature::celsius(at)).unwrap()
            };
            prop_assert!(alive(days, at).is_sound());
            prop_assert!(alive(days + 5.0, at).value <= alive(days, at).value);
            prop_assert!(alive(days, at + 3.0).value <= alive(days, at).value);
        }

        #[test]
        fn what_is_weighed_holds_the_cells(cells in 1.0..1000.0f64, form in 0usize..3, days in 0.0..60.0f64) {
            let form = YeastForm::ALL[form];
            let alive = form.viability(Duration::hours(24.0 * days), Temperature::celsius(4.0)).unwrap();
            let each = living(None, form, alive);
            let amount = amount_for(Estimate::relative(Cells::billions(cells), 0.2), each).unwrap();
            prop_assert!(amount.is_sound() && each.is_sound());
            prop_assert!((each.value.as_billions() * amount.value.value() - cells).abs() < 1e-9 * cells);
        }

        #[test]
        fn more_oxygen_takes_longer(mg in 1.0..14.0f64, litres in 5.0..60.0f64, flow in 10.0..300.0f64) {
            let time = |mg: f64, flow: f64| {
                oxygen_time(
                    Volume::litres(litres), Concentration::mg_per_l(mg), VolumeRate::l_per_h(flow),
                    Temperature::celsius(20.0), Plato::degrees(12.0),
                ).unwrap()
            };
            prop_assert!(time(mg, flow).is_sound());
            prop_assert!(time(mg + 0.5, flow).value > time(mg, flow).value);
            prop_assert!(time(mg, flow * 1.1).value < time(mg, flow).value);
        }
    }

    #[test]
    fn says_what_is_wrong() {
        let ask =
            |ph: f64| cells_to_pitch(Volume::litres(18.0), Plato::degrees(11.0), ALE_PITCH, Ph::new(ph));
        assert_eq!(ask(9.0), Err(YeastError::WortPh(Ph::new(9.0))));
        let cold = Temperature::celsius(4.0);
        assert!(YeastForm::Dry.viability(Duration::hours(-1.0), cold).is_err());
        assert!(amount_for(Estimate::exact(Cells::billions(1.0)), Estimate::exact(Cells::ZERO)).is_err());
        assert_eq!(starter_cells(Mass::grams(-1.0)), Err(YeastError::BelowNothing));
        let flow = VolumeRate::l_per_h(60.0);
        let much = oxygen_time(
            Volume::litres(18.0),
            Concentration::mg_per_l(45.0),
            flow,
            cold,
            Plato::degrees(12.0),
        );
        assert!(much.is_ok(), "cold wort holds it");
        let warm = Temperature::celsius(30.0);
        let much = oxygen_time(
            Volume::litres(18.0),
            Concentration::mg_per_l(45.0),
            flow,
            warm,
            Plato::degrees(12.0),
        );
        assert!(matches!(much, Err(YeastError::TooMuchOxygen { .. })));
        let none = oxygen_time(Volume::ZERO, Concentration::mg_per_l(9.0), flow, cold, Plato::degrees(12.0));
        assert_eq!(none, Err(YeastError::BelowNothing));
    }
}
