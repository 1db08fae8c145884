//! Bitterness from hops.

use crate::data::Source;
use crate::quantity::{
    Bitterness, Duration, Estimate, Fraction, Mass, Ph, SpecificGravity, Temperature, Volume,
};
use std::fmt;

/// Source of [`tinseth`].
pub const TINSETH_SOURCE: Source =
    Source::from_memory("Tinseth 1997: utilisation by boil time and wort gravity");
/// Source of [`rager`].
pub const RAGER_SOURCE: Source =
    Source::from_memory("Rager 1990, Zymurgy 13(4):53, in its later form with a hyperbolic tangent");
/// Source of [`isomerised`].
pub const MALOWICKI_SOURCE: Source =
    Source::published("Malowicki & Shellhammer 2005, J. Agric. Food Chem. 53:4434");
/// Source of the band in sour wort.
pub const SOUR_SOURCE: Source = Source::our_estimate(
    "No published utilisation at pH 3.2 to 3.6 was found: half to all of the formula's. The solubility of alpha acids \
     falls with pH; above pH 4.8 the rate did not change (Malowicki & Shellhammer 2005)",
);

/// Why a bitterness can't be worked out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BitternessError {
    /// Wort volume must be above zero.
    Volume(Volume),
    /// Gravity lies in 0.99..=1.2.
    Gravity(SpecificGravity),
    /// Alpha acid lies in 0..=0.3.
    Alpha(Fraction),
    /// A boil time lies in 0..=240 min.
    Time(Duration),
    /// A mass or a wanted bitterness below zero.
    BelowNothing,
    /// No hop can give bitterness in this time or with this alpha acid.
    NoUtilisation,
}

impl fmt::Display for BitternessError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Volume(v) => write!(f, "the wort must be above 0 L, not {} L", v.as_litres()),
            Self::Gravity(g) => write!(f, "gravity must be 0.99 to 1.2, not {}", g.as_ratio()),
            Self::Alpha(a) => write!(f, "alpha acid must be 0 to 30 %, not {} %", a.as_percent()),
            Self::Time(t) => write!(f, "boil time must be 0 to 240 min, not {} min", t.as_minutes()),
            Self::BelowNothing => write!(f, "a weight or a bitterness can't be below zero"),
            Self::NoUtilisation => write!(f, "no bitterness comes of no boil time or no alpha acid"),
        }
    }
}

/// Share of the alpha acids that ends as bitterness, by Tinseth:
/// 1.65 0.000125^(SG - 1) (1 - e^(-0.04 t))/4.15. `gravity` is the average of
/// the wort's during the boil. Total; negative times count as none.
pub fn tinseth(gravity: SpecificGravity, time: Duration) -> Fraction {
    let strength = (gravity.as_ratio() - 1.0).clamp(-0.05, 0.3);
    Fraction::of_one(
        1.65 * 0.000_125_f64.powf(strength) * (1.0 - (-0.04 * time.as_minutes().max(0.0)).exp()) / 4.15,
    )
}

/// Share of the alpha acids that ends as bitterness, by Rager; for comparison.
/// It gives 5 % even for no time at all. Total; negative times count as none.
pub fn rager(gravity: SpecificGravity, time: Duration) -> Fraction {
    let share = 18.11 + 13.86 * ((time.as_minutes().max(0.0) - 31.32) / 18.27).tanh();
    Fraction::percent(share / (1.0 + ((gravity.as_ratio() - 1.05) / 0.2).max(0.0)))
}

/// Share of the alpha acids present as iso-alpha-acids after a time in hot
/// wort, before any loss to trub and yeast. Measured at 90..=130 °C and
/// pH 5.2; 60..=130 °C here, where below 90 °C it extrapolates. Outside, the nearest end holds.
pub fn isomerised(at: Temperature, time: Duration) -> Fraction {
    let kelvin = at.as_celsius().clamp(60.0, 130.0) + 273.15;
    let t = time.as_minutes().max(0.0);
    let made = 7.9e11 * (-11_858.0 / kelvin).exp();
    let lost = 4.1e12 * (-12_994.0 / kelvin).exp();
    Fraction::of_one(made / (lost - made) * ((-made * t).exp() - (-lost * t).exp()))
}

/// One charge of hops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HopCharge {
    /// Weight, as packed.
    pub mass: Mass,
    /// Alpha acid, 0..=0.3.
    pub alpha: Fraction,
    /// Time in the boil, 0..=240 min.
    pub time: Duration,
}

/// The wort that hops boil in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoilingWort {
    /// Volume at the end of the boil, counted at 20 °C.
    pub volume: Volume,
    /// Average gravity during the boil.
    pub gravity: SpecificGravity,
    /// pH at room temperature.
    pub ph: Ph,
}

/// Relative half-width of the band of the alpha acid on the pack: harvest, storage, pack.
const ALPHA_BAND: f64 = 0.10;
/// Relative half-width of the band of the formula between kettles; our estimate.
const FORMULA_BAND: f64 = 0.15;

/// Lower end of what sourness leaves of the utilisation: all of it from pH 4.8
/// up, half of it from 3.6 down, a straight line between.
fn sour_low(ph: Ph) -> f64 {
    0.5 + 0.5 * ((ph.value() - 3.6) / 1.2).clamp(0.0, 1.0)
}

impl BoilingWort {
    fn check(&self) -> Result<(), BitternessError> {
        if !(self.volume > Volume::ZERO && self.volume.is_finite()) {
            return Err(BitternessError::Volume(self.volume));
        }
        if !(0.99..=1.2).contains(&self.gravity.as_ratio()) {
            return Err(BitternessError::Gravity(self.gravity));
        }
        Ok(())
    }

    /// What sourness leaves of the utilisation (median), and the relative half-width of the whole band.
    fn share_and_band(&self) -> (f64, f64) {
        let low = sour_low(self.ph);
        let middle = (1.0 + low) / 2.0;
        (middle, ALPHA_BAND.hypot(FORMULA_BAND).hypot((1.0 - low) / (1.0 + low)))
    }

    /// Iso-alpha-acids per litre by the formula in wort that is not sour.
    fn formula(&self, hop: &HopCharge) -> Result<f64, BitternessError> {
        if !(0.0..=0.3).contains(&hop.alpha.as_of_one()) {
            return Err(BitternessError::Alpha(hop.alpha));
        }
        if !(0.0..=240.0).contains(&hop.time.as_minutes()) {
            return Err(BitternessError::Time(hop.time));
        }
        if hop.mass < Mass::ZERO {
            return Err(BitternessError::BelowNothing);
        }
        let alpha = hop.mass.as_grams() * 1e3 * hop.alpha.as_of_one() / self.volume.as_litres();
        Ok(alpha * tinseth(self.gravity, hop.time).as_of_one())
    }

    /// Bitterness of all charges together, by Tinseth's utilisation, with its
    /// band: ±10 % for the alpha acid, ±15 % for the formula, and in sour wort
    /// half to all of it (see [`SOUR_SOURCE`]), of which the middle is the value.
    ///
    /// # Errors
    /// [`BitternessError`] when an argument is outside its range.
    pub fn bitterness(&self, hops: &[HopCharge]) -> Result<Estimate<Bitterness>, BitternessError> {
        self.check()?;
        let mut sum = 0.0;
        for hop in hops {
            sum += self.formula(hop)?;
        }
        let (share, band) = self.share_and_band();
        let value = sum * share;
        Ok(Estimate::band(
            Bitterness::ibu(value),
            Bitterness::ibu(value * (1.0 - band)),
            Bitterness::ibu(value * (1.0 + band)),
        ))
    }

    /// Hops of this alpha acid and time for a bitterness; by the value, not the ends of the band.
    ///
    /// # Errors
    /// [`BitternessError`]; [`BitternessError::NoUtilisation`] when no amount would do.
    pub fn hop_for(
        &self,
        wanted: Bitterness,
        alpha: Fraction,
        time: Duration,
    ) -> Result<Mass, BitternessError> {
        if wanted < Bitterness::ZERO {
            return Err(BitternessError::BelowNothing);
        }
        let gram = HopCharge { mass: Mass::grams(1.0), alpha, time };
        let per_gram = self.bitterness(&[gram])?.value;
        if per_gram.as_ibu() > 1e-9 {
            Ok(Mass::grams(wanted / per_gram))
        } else {
            Err(BitternessError::NoUtilisation)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn wort(litres: f64, sg: f64, ph: f64) -> BoilingWort {
        BoilingWort { volume: Volume::litres(litres), gravity: SpecificGravity::ratio(sg), ph: Ph::new(ph) }
    }

    proptest! {
        #[test]
        fn the_hop_for_a_bitterness_gives_it(
            ibu in 0.0..60.0f64, alpha in 0.02..0.2f64, time in 1.0..120.0f64, litres in 4.0..60.0f64, ph in 3.0..5.6f64,
        ) {
            let (wort, alpha, time) = (wort(litres, 1.04, ph), Fraction::of_one(alpha), Duration::minutes(time));
            let mass = wort.hop_for(Bitterness::ibu(ibu), alpha, time).unwrap();
            let back = wort.bitterness(&[HopCharge { mass, alpha, time }]).unwrap();
            prop_assert!((back.value.as_ibu() - ibu).abs() < 1e-9 * (1.0 + ibu));
            prop_assert!(back.is_sound());
        }

        #[test]
        fn longer_and_thinner_is_more_bitter(time in 0.0..120.0f64, sg in 1.0..1.12f64) {
            let at = |t: f64, g: f64| tinseth(SpecificGravity::ratio(g), Duration::minutes(t));
            prop_assert!(at(time + 1.0, sg) > at(time, sg));
            prop_assert!(at(time + 1.0, sg) > at(time + 1.0, sg + 0.001));
        }

        #[test]
        fn sourness_only_widens_and_lowers(ph in 3.0..5.6f64) {
            let hop = HopCharge { mass: Mass::grams(10.0), alpha: Fraction::of_one(0.08), time: Duration::minutes(30.0) };
            let sour = wort(12.0, 1.04, ph).bitterness(&[hop]).unwrap();
            let plain = wort(12.0, 1.04, 5.4).bitterness(&[hop]).unwrap();
            prop_assert!(sour.value <= plain.value && sour.low <= plain.low);
            prop_assert!(sour.value.as_ibu() >= 0.75 * plain.value.as_ibu() - 1e-9);
        }
    }

    #[test]
    fn says_what_is_wrong() {
        let hop = |alpha: f64, time: f64| HopCharge {
            mass: Mass::grams(10.0),
            alpha: Fraction::of_one(alpha),
            time: Duration::minutes(time),
        };
        assert!(matches!(wort(0.0, 1.04, 5.2).bitterness(&[]), Err(BitternessError::Volume(_))));
        assert!(matches!(wort(9.0, 1.3, 5.2).bitterness(&[]), Err(BitternessError::Gravity(_))));
        assert!(matches!(wort(9.0, 1.04, 5.2).bitterness(&[hop(0.5, 30.0)]), Err(BitternessError::Alpha(_))));
        assert!(matches!(wort(9.0, 1.04, 5.2).bitterness(&[hop(0.1, 300.0)]), Err(BitternessError::Time(_))));
        let none =
            wort(9.0, 1.04, 5.2).hop_for(Bitterness::ibu(10.0), Fraction::of_one(0.08), Duration::ZERO);
        assert_eq!(none, Err(BitternessError::NoUtilisation));
    }
}
