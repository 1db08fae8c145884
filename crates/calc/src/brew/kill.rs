//! The kill step: ending the souring by heat, at the boil or held below it.
//!
//! Bacteria die by a tenth in each D, and D falls by a tenth for each z of
//! temperature. Strains differ by far more than anything else here, so a figure
//! has the band of all that was published, and a hold is to be made for its late end.
//! The time on the way up to the temperature is not counted: that is the safe side.

use crate::data::Source;
use crate::numeric::power::ten_to;
use crate::quantity::{Count, Duration, Estimate, Temperature};
use std::fmt;

/// D of one strain at a temperature, and the z to carry it to others.
struct Resistance {
    minutes: f64,
    at: f64,
    z: f64,
}

/// The most resistant lactobacillus: in beer without alcohol, as sour wort is.
const HARDIEST: Resistance = Resistance { minutes: 5.01, at: 55.0, z: 12.13 };
/// The hardiest of twenty strains of *L. plantarum*, 45 s at 60 °C; z in the middle of what was found.
const MIDDLE: Resistance = Resistance { minutes: 0.75, at: 60.0, z: 10.65 };
/// The weakest of them, 3.1 s at 60 °C.
const WEAKEST: Resistance = Resistance { minutes: 3.1 / 60.0, at: 60.0, z: 9.17 };
/// Source of the hardiest strain and of z, 9.17 to 12.13 K.
pub const HARDIEST_SOURCE: Source = Source::published(
    "Adams, O'Brien & Taylor 1989, J. Appl. Bacteriol. (abstract, doi 10.1111/j.1365-2672.1989.tb04569.x): D 5.01 min at 55 °C in beer below 0.05 % alcohol, z 9.17 to 12.13 °C",
);
/// Source of the middle and the weakest strain.
pub const STRAINS_SOURCE: Source = Source::published(
    "Aryani, den Besten & Zwietering 2016, Appl. Environ. Microbiol., abstract: D of 3.1 to 45 s at 60 °C among 20 strains of L. plantarum",
);

/// The reduction that [`hold_needed`] asks for, in powers of ten: of 10⁹ cells in a mL one in a litre is left.
pub const WANTED: Count = Count::of(12.0);
/// Source of [`WANTED`].
pub const WANTED_SOURCE: Source = Source::our_estimate(
    "sour wort holds up to 10^9 cells per mL; twelve powers of ten leave one cell in a litre, which boiled wort and yeast outgrow",
);
/// Below this no hold is told: it would take hours, and cold corners of a kettle decide.
pub const COOLEST: Temperature = Temperature::celsius(60.0);
/// Hottest that wort gets in an open kettle.
const HOTTEST: Temperature = Temperature::celsius(110.0);
/// No hold is told shorter than this: heat needs the time to be everywhere in the kettle.
pub const SHORTEST: Duration = Duration::minutes(10.0);
/// Source of [`SHORTEST`].
pub const SHORTEST_SOURCE: Source =
    Source::our_estimate("stirred kettles even out within minutes; lids, hoses and corners are slower");
/// Where the spread of a hold comes from, and what it takes for granted.
pub const HOLD_ASSUMES: &str = "From the weakest to the hardiest strain published. All of the wort is at this temperature, stirred, lid and hoses too. No alcohol in it. \
     Lactobacilli only: spores and the pediococci of some mixed cultures bear more heat, and only the boil \
     is sure to also stop enzymes and to drive off unwanted smells.";

/// Why no hold can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KillError {
    /// The temperature lies outside 60..=110 °C.
    Temperature(Temperature),
    /// The time must be 0 or more.
    Time(Duration),
}

impl fmt::Display for KillError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Temperature(at) => {
                write!(
                    f,
                    "a hold that ends the souring must be at 60 to 110 °C, not {:.0} °C",
                    at.as_celsius()
                )
            }
            Self::Time(time) => {
                write!(f, "a hold can't last less than no time, not {:.0} min", time.as_minutes())
            }
        }
    }
}

impl Resistance {
    /// Minutes for one power of ten.
    fn decimal(&self, at: Temperature) -> f64 {
        self.minutes * ten_to((self.at - at.as_celsius()) / self.z)
    }
}

/// Minutes for one power of ten: middle, weakest, hardiest.
fn decimals(at: Temperature) -> Result<[f64; 3], KillError> {
    if !(at >= COOLEST && at <= HOTTEST) {
        return Err(KillError::Temperature(at));
    }
    Ok([MIDDLE, WEAKEST, HARDIEST].map(|strain| strain.decimal(at)))
}

/// How long all of the wort must be held at a temperature of 60..=110 °C until the bacteria
/// are down by [`WANTED`], and at least [`SHORTEST`]. Hold it for the late end of the band:
/// that is the hardiest strain published. Sources: [`HARDIEST_SOURCE`], [`STRAINS_SOURCE`].
pub fn hold_needed(at: Temperature) -> Result<Estimate<Duration>, KillError> {
    let [middle, weakest, hardiest] =
        decimals(at)?.map(|decimal| Duration::minutes(WANTED.value() * decimal).max(SHORTEST));
    Ok(Estimate::band(middle, weakest, hardiest))
}

/// By how many powers of ten a hold at 60..=110 °C brings the bacteria down; no more than
/// 99 are told. The low end is the hardiest strain published.
pub fn reductions(at: Temperature, time: Duration) -> Result<Estimate<Count>, KillError> {
    let decimals = decimals(at)?;
    if time < Duration::ZERO || !time.is_finite() {
        return Err(KillError::Time(time));
    }
    let [middle, weakest, hardiest] =
        decimals.map(|decimal| Count::of((time.as_minutes() / decimal).min(99.0)));
    Ok(Estimate::band(middle, weakest, hardiest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ten_minutes_at_80_degrees_are_enough_and_60_needs_twice_that() {
        let hold = |celsius: f64| hold_needed(Temperature::celsius(celsius)).unwrap().high.as_minutes();
        assert!((hold(80.0) - 10.0).abs() < 1e-9);
        assert!(hold(62.0) > 15.0 && hold(66.0) == SHORTEST.as_minutes());
        assert!((hold(60.0) - 12.0 * 5.01 / 10_f64.powf(5.0 / 12.13)).abs() < 1e-9);
    }

    #[test]
    fn too_cool_is_refused() {
        let at = Temperature::celsius(55.0);
        assert_eq!(hold_needed(at), Err(KillError::Temperature(at)));
        assert!(reductions(Temperature::celsius(70.0), Duration::minutes(-1.0)).is_err());
    }

    proptest! {
        #[test]
        fn hotter_and_longer_kills_more(celsius in 60.0..80.0f64, minutes in 0.01..3.0f64) {
            let kill = |c: f64, m: f64| reductions(Temperature::celsius(c), Duration::minutes(m)).unwrap();
            let (less, hotter, longer) = (kill(celsius, minutes), kill(celsius + 1.0, minutes), kill(celsius, minutes * 1.1));
            prop_assert!(less.is_sound() && hotter.is_sound());
            prop_assert!(hotter.low > less.low && hotter.value >= less.value);
            prop_assert!(longer.low > less.low && longer.value >= less.value);
            let hold = hold_needed(Temperature::celsius(celsius)).unwrap();
            prop_assert!(hold.is_sound());
            let killed = reductions(Temperature::celsius(celsius), hold.high).unwrap();
            prop_assert!(killed.low.value() >= WANTED.value() - 1e-9);
        }

        #[test]
        fn no_number_makes_a_nan(celsius in -1e6..1e6f64, minutes in -1e6..1e6f64) {
            let at = Temperature::celsius(celsius);
            let text = format!("{:?} {:?}", hold_needed(at), reductions(at, Duration::minutes(minutes)));
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
        }
    }
}
