//! Packaging: gas into the beer, and whether the package will hold it.

use super::extract::{CO2_PER_ETHANOL, EXTRACT_PER_ETHANOL};
use crate::chem::gas::{GRAMS_PER_VOLUME, GasError, dissolved, pressure_for, sealed};
use crate::data::Source;
use crate::quantity::{
    ATMOSPHERE, Carbonation, Concentration, Duration, Estimate, Fraction, GaugePressure, Mass, Temperature,
    Volume,
};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Why gas can't be reckoned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PackageError {
    /// No gas equilibrium.
    Gas(GasError),
    /// The beer already holds more gas than wanted.
    AboveTarget {
        /// In the beer.
        present: Carbonation,
        /// Wanted.
        wanted: Carbonation,
    },
    /// A volume below zero.
    BelowNothing,
}

impl fmt::Display for PackageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Gas(error) => write!(f, "{error}"),
            Self::AboveTarget { present, wanted } => write!(
                f,
                "the beer holds {:.1} volumes already and {:.1} are wanted",
                present.as_volumes(),
                wanted.as_volumes()
            ),
            Self::BelowNothing => write!(f, "an amount can't be below zero"),
        }
    }
}

impl From<GasError> for PackageError {
    fn from(error: GasError) -> Self {
        Self::Gas(error)
    }
}

/// What the beer is put in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PackageKind {
    /// Steel keg with a relief valve.
    #[default]
    Keg,
    /// Ordinary beer bottle.
    Bottle,
    /// Bottle made for sparkling wine.
    HeavyBottle,
    /// Seamed can.
    Can,
}

/// What a kind of package is commonly made for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PackageLimits {
    /// Carbonation at which to take care.
    pub careful: Carbonation,
    /// Carbonation never to pass.
    pub most: Carbonation,
    /// Working pressure of the weaker ones; the package's own mark counts before it.
    pub pressure: GaugePressure,
    /// Working pressure of the stronger ones: above it none holds.
    pub strongest: GaugePressure,
    /// Source of the three.
    pub source: Source,
}

impl PackageKind {
    /// Every kind.
    pub const ALL: &[Self] = &[Self::Keg, Self::Bottle, Self::HeavyBottle, Self::Can];

    /// Name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Keg => "keg",
            Self::Bottle => "bottle",
            Self::HeavyBottle => "heavy bottle",
            Self::Can => "can",
        }
    }

    /// What it is commonly made for. Burst-test values are no working limits, and scuffed glass is weaker.
    pub const fn limits(self) -> PackageLimits {
        let (careful, most, bar, strongest, source) = match self {
            Self::Keg => (
                4.0,
                8.0,
                4.1,
                9.0,
                Source::from_memory(
                    "The weaker of common kegs: 60 psi, the stronger 130 psi; read the keg's own mark. The volumes are our estimate",
                ),
            ),
            Self::Bottle => (
                3.0,
                4.0,
                6.0,
                6.0,
                Source::from_memory(
                    "One-way glass about 3 volumes, suppliers' rating at most 4; read the supplier's sheet. The pressure is our estimate",
                ),
            ),
            Self::HeavyBottle => (
                5.0,
                6.0,
                6.0,
                6.0,
                Source::from_memory(
                    "Bottles for sparkling wine: about 6 bar in service; read the supplier's sheet. The volumes are our estimate",
                ),
            ),
            Self::Can => (
                3.0,
                4.0,
                6.0,
                6.0,
                Source::from_memory(
                    "Sealed cans: about 6 bar; read the supplier's sheet. The volumes are our estimate",
                ),
            ),
        };
        PackageLimits {
            careful: Carbonation::volumes(careful),
            most: Carbonation::volumes(most),
            pressure: GaugePressure::kpa(100.0 * bar),
            strongest: GaugePressure::kpa(100.0 * strongest),
            source,
        }
    }
}

/// Gauge pressure that keeps a keg at a carbonation, -1..=25 °C, at sea level.
///
/// # Errors
/// [`PackageError::Gas`].
pub fn keg_pressure(wanted: Carbonation, at: Temperature) -> Result<GaugePressure, PackageError> {
    Ok(pressure_for(wanted, at)?)
}

/// Gas left in beer after an open fermentation, by the warmest temperature
/// since its end: what boils out then does not come back. -1..=25 °C, no pressure held.
///
/// # Errors
/// [`PackageError::Gas`].
pub fn residual(warmest: Temperature) -> Result<Carbonation, PackageError> {
    Ok(dissolved(GaugePressure::ZERO, warmest)?)
}

/// Sugar for priming.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PrimingSugar {
    /// Table sugar.
    Sucrose,
    /// Glucose without water.
    Glucose,
    /// Glucose with one water, sold as corn sugar.
    GlucoseMonohydrate,
}

/// Share of priming sugar that becomes gas and alcohol; the rest becomes yeast.
const PRIMING_YIELD: f64 = 0.95;
/// Source of [`PrimingSugar::per_volume`].
pub const PRIMING_SOURCE: Source =
    Source::derived("C6H12O6 gives 2 C2H5OH and 2 CO2; 5 % of the sugar goes into yeast, our estimate");

impl PrimingSugar {
    /// Every sugar.
    pub const ALL: &[Self] = &[Self::Sucrose, Self::Glucose, Self::GlucoseMonohydrate];

    /// Grams of it per gram of carbon dioxide, if all of it fermented.
    fn per_gas(self) -> f64 {
        let (molar, gas) = match self {
            Self::Sucrose => (342.297, 4.0),
            Self::Glucose => (180.156, 2.0),
            Self::GlucoseMonohydrate => (198.171, 2.0),
        };
        molar / (gas * 44.009)
    }

    /// Sugar per litre that one volume of gas takes, by stoichiometry alone.
    pub fn per_volume(self) -> Concentration {
        GRAMS_PER_VOLUME * self.per_gas()
    }
}

/// Priming sugar for a volume of beer.
///
/// # Errors
/// [`PackageError::AboveTarget`] when the beer holds more already; [`PackageError::BelowNothing`].
pub fn priming(
    beer: Volume,
    present: Carbonation,
    wanted: Carbonation,
    sugar: PrimingSugar,
) -> Result<Mass, PackageError> {
    if beer < Volume::ZERO {
        return Err(PackageError::BelowNothing);
    }
    if present > wanted {
        return Err(PackageError::AboveTarget { present, wanted });
    }
    Ok(sugar.per_volume() * (wanted - present).as_volumes() * beer / PRIMING_YIELD)
}

/// What is known of a package before it is closed. What is not known stays `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BurstQuestion {
    /// The package.
    pub kind: PackageKind,
    /// Working pressure on its mark or its supplier's sheet.
    pub limit: Option<GaugePressure>,
    /// Warmest it can ever get.
    pub warmest: Option<Temperature>,
    /// Gas space as a share of the package.
    pub gas_space: Option<Fraction>,
    /// Gas in the beer when it is closed.
    pub present: Option<Carbonation>,
    /// Real extract of wort that yeast could still ferment.
    pub fermentable: Option<Concentration>,
    /// Fruit sugar that has not fermented.
    pub fruit_sugar: Option<Concentration>,
    /// Priming sugar added, as glucose.
    pub priming: Concentration,
    /// How long the gravity has stood still.
    pub stable_for: Option<Duration>,
}

/// How a package stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within the limits, and everything that matters is known.
    Safe,
    /// Within the limits, with something to mind.
    Caution,
    /// It can't be told.
    NotKnown,
    /// Don't close it.
    Stop,
}

/// Why a package stands as it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BurstReason {
    /// More than 4 volumes could come about in ordinary glass.
    TooMuchGasForGlass,
    /// Fruit sugar would ferment in a sealed can.
    FruitSugarInCan,
    /// The gas could pass what this package is made for.
    TooMuchGas,
    /// The pressure could pass the package's limit.
    AboveLimit,
    /// The pressure could come near the package's limit.
    NearLimit,
    /// More gas than this package usually holds.
    HighCarbonation,
    /// The gravity has not stood still for three days.
    GravityNotStable,
    /// Sugar is left that keeps only as long as it stays cold.
    SugarLeft,
    /// A frozen or wrong gas space, pressure or amount was given.
    InputOutOfRange,
    /// The package's own mark has not been read; a common figure stands in.
    LimitAssumed,
    /// How warm it can get is not known.
    WarmestUnknown,
    /// The gas space is not known.
    GasSpaceUnknown,
    /// The gas in the beer is not known.
    GasUnknown,
    /// What is left to ferment is not known.
    ExtractUnknown,
    /// Whether fruit sugar is left is not known.
    FruitSugarUnknown,
    /// Whether the gravity stands still is not known.
    StabilityUnknown,
}

impl BurstReason {
    const ALL: [Self; 16] = [
        Self::TooMuchGasForGlass,
        Self::FruitSugarInCan,
        Self::TooMuchGas,
        Self::AboveLimit,
        Self::NearLimit,
        Self::HighCarbonation,
        Self::GravityNotStable,
        Self::SugarLeft,
        Self::InputOutOfRange,
        Self::LimitAssumed,
        Self::WarmestUnknown,
        Self::GasSpaceUnknown,
        Self::GasUnknown,
        Self::ExtractUnknown,
        Self::FruitSugarUnknown,
        Self::StabilityUnknown,
    ];

    /// The verdict this reason alone would lead to.
    pub const fn verdict(self) -> Verdict {
        match self {
            Self::TooMuchGasForGlass | Self::FruitSugarInCan | Self::TooMuchGas | Self::AboveLimit => {
                Verdict::Stop
            }
            Self::NearLimit
            | Self::HighCarbonation
            | Self::GravityNotStable
            | Self::SugarLeft
            | Self::LimitAssumed => Verdict::Caution,
            Self::InputOutOfRange
            | Self::WarmestUnknown
            | Self::GasSpaceUnknown
            | Self::GasUnknown
            | Self::ExtractUnknown
            | Self::FruitSugarUnknown
            | Self::StabilityUnknown => Verdict::NotKnown,
        }
    }
}

/// The reasons of an answer, worst first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reasons(u16);

impl Reasons {
    fn add(&mut self, reason: BurstReason, holds: bool) {
        if holds {
            self.0 |= 1 << reason as u16;
        }
    }
    /// True when this reason is among them.
    pub const fn has(self, reason: BurstReason) -> bool {
        self.0 & (1 << reason as u16) != 0
    }
    /// Each of them.
    pub fn iter(self) -> impl Iterator<Item = BurstReason> {
        BurstReason::ALL.into_iter().filter(move |reason| self.has(*reason))
    }
}

/// The answer to a [`BurstQuestion`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BurstAnswer {
    /// How the package stands.
    pub verdict: Verdict,
    /// Why.
    pub reasons: Reasons,
    /// Gas that could be in the beer when all that can ferment has fermented;
    /// `None` when an amount that makes it is not known.
    pub carbonation: Option<Estimate<Carbonation>>,
    /// Pressure that could be reached at the warmest.
    pub pressure: Option<Estimate<GaugePressure>>,
}

/// Source of [`burst_check`].
pub const BURST_SOURCE: Source = Source::derived(
    "All extract left ferments: 0.463 g (Balling) to 0.514 g (all of it, as sucrose) of gas per gram; Henry's law with the gas space",
);
/// Relative half-width of the band of the gas in the beer when it is closed; our estimate.
const PRESENT_BAND: f64 = 0.05;
/// Gas per gram of fermentable extract: value, low and high.
const GAS_PER_EXTRACT: [f64; 3] = [CO2_PER_ETHANOL / EXTRACT_PER_ETHANOL, 0.44, 0.514];
/// Gravity that has stood this long counts as still.
const STABLE: Duration = Duration::hours(72.0);
/// Less fruit sugar than this can't be told from none, g/L.
const TRACE: Concentration = Concentration::g_per_l(0.1);

/// Whether a package could burst.
///
/// Everything that can still ferment does, the gas stays in, and the package
/// gets as warm as it ever can. The upper end of the band decides. What is not
/// known counts as nothing towards the pressure, but then the answer is never
/// [`Verdict::Safe`]: at best [`Verdict::NotKnown`], and already
/// [`Verdict::Stop`] when the known part alone is too much. Warmest 0..=90 °C,
/// gas space 0..=0.95, present gas 0..=20 volumes, sugars from zero up;
/// outside, [`BurstReason::InputOutOfRange`].
pub fn burst_check(question: &BurstQuestion) -> BurstAnswer {
    let q = question;
    let mut reasons = Reasons::default();
    let zero = Concentration::ZERO;
    let sound = q.warmest.is_none_or(|t| (0.0..=90.0).contains(&t.as_celsius()))
        && q.gas_space.is_none_or(|h| (0.0..=0.95).contains(&h.as_of_one()))
        && q.present.is_none_or(|c| (0.0..=20.0).contains(&c.as_volumes()))
        && [q.fermentable.unwrap_or(zero), q.fruit_sugar.unwrap_or(zero), q.priming]
            .iter()
            .all(|c| (0.0..=1e6).contains(&c.as_mg_per_l()))
        && q.limit.is_none_or(|p| p > GaugePressure::ZERO && p.is_finite());
    reasons.add(BurstReason::InputOutOfRange, !sound);
    reasons.add(BurstReason::WarmestUnknown, q.warmest.is_none());
    reasons.add(BurstReason::GasSpaceUnknown, q.gas_space.is_none());
    reasons.add(BurstReason::GasUnknown, q.present.is_none());
    reasons.add(BurstReason::ExtractUnknown, q.fermentable.is_none());
    reasons.add(BurstReason::FruitSugarUnknown, q.fruit_sugar.is_none());
    reasons.add(BurstReason::StabilityUnknown, q.stable_for.is_none());
    reasons.add(BurstReason::LimitAssumed, q.limit.is_none());

    let limits = q.kind.limits();
    let marked = q.limit.filter(|p| *p > GaugePressure::ZERO && p.is_finite());
    let clean =
        |c: Concentration| if c.as_g_per_l() > 0.0 { c.min(Concentration::g_per_l(1e3)) } else { zero };
    let fruit = clean(q.fruit_sugar.unwrap_or(zero));
    let left = clean(q.fermentable.unwrap_or(zero)) + fruit + clean(q.priming);
    let present = Carbonation::volumes(q.present.map_or(0.0, |c| c.as_volumes().clamp(0.0, 20.0)));
    let gas = |share: f64, of_present: f64| {
        present * of_present + Carbonation::volumes(share * (left / GRAMS_PER_VOLUME))
    };
    let [value, low, high] = GAS_PER_EXTRACT;
    let carbonation = Estimate {
        value: gas(value, 1.0),
        low: gas(low, 1.0 - PRESENT_BAND),
        high: gas(high, 1.0 + PRESENT_BAND),
    };
    // Where warmth or gas space are not known, the mildest counts: a stop on that alone is certain.
    let warmest = q.warmest.unwrap_or(Temperature::celsius(0.0));
    let space = q.gas_space.unwrap_or(Fraction::of_one(0.5));
    let above_air = |gas: Carbonation| sealed(gas, space, warmest) - ATMOSPHERE;
    let gauge = |p: crate::quantity::AbsolutePressure| GaugePressure::kpa(p.as_kpa());
    // Capped on foam there is nothing but carbon dioxide above the beer; otherwise shut-in air adds its atmosphere.
    let pressure = Estimate::band(
        gauge(above_air(carbonation.value)).max(GaugePressure::ZERO),
        gauge(above_air(carbonation.low)).max(GaugePressure::ZERO),
        gauge(sealed(carbonation.high, space, warmest)),
    );

    reasons.add(
        BurstReason::TooMuchGasForGlass,
        q.kind == PackageKind::Bottle && carbonation.high > PackageKind::Bottle.limits().most,
    );
    reasons.add(BurstReason::FruitSugarInCan, q.kind == PackageKind::Can && fruit > TRACE);
    reasons.add(BurstReason::TooMuchGas, carbonation.high > limits.most);
    reasons.add(BurstReason::AboveLimit, pressure.high > marked.unwrap_or(limits.strongest));
    reasons.add(BurstReason::NearLimit, pressure.high > marked.unwrap_or(limits.pressure) * 0.8);
    reasons.add(BurstReason::HighCarbonation, carbonation.high > limits.careful);
    reasons.add(BurstReason::GravityNotStable, q.stable_for.is_some_and(|t| t < STABLE || !t.is_finite()));
    reasons.add(BurstReason::SugarLeft, fruit > TRACE);

    let verdict = reasons.iter().map(BurstReason::verdict).max().unwrap_or(Verdict::Safe);
    let whole = q.present.is_some() && q.fermentable.is_some() && q.fruit_sugar.is_some();
    let placed = q.warmest.is_some() && q.gas_space.is_some();
    BurstAnswer {
        verdict,
        reasons,
        carbonation: (whole && sound).then_some(carbonation),
        pressure: (whole && placed && sound).then_some(pressure),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn question(
        kind: PackageKind,
        present: f64,
        fermentable: f64,
        fruit: f64,
        warm: f64,
        space: f64,
    ) -> BurstQuestion {
        BurstQuestion {
            kind,
            limit: Some(GaugePressure::kpa(600.0)),
            warmest: Some(Temperature::celsius(warm)),
            gas_space: Some(Fraction::of_one(space)),
            present: Some(Carbonation::volumes(present)),
            fermentable: Some(Concentration::g_per_l(fermentable)),
            fruit_sugar: Some(Concentration::g_per_l(fruit)),
            priming: Concentration::ZERO,
            stable_for: Some(Duration::hours(100.0)),
        }
    }

    fn severity(verdict: Verdict) -> u8 {
        match verdict {
            Verdict::Safe => 0,
            Verdict::Caution => 1,
            Verdict::NotKnown => 2,
            Verdict::Stop => 3,
        }
    }

    proptest! {
        #[test]
        fn never_milder_with_more_sugar_warmth_or_fill(
            place in 0usize..4, present in 0.0..4.0f64, fermentable in 0.0..10.0f64, fruit in 0.0..10.0f64,
            warm in 0.0..50.0f64, space in 0.01..0.4f64, more in 0.0..5.0f64,
        ) {
            let kind = PackageKind::ALL[place];
            let base = burst_check(&question(kind, present, fermentable, fruit, warm, space));
            let pressure = |answer: BurstAnswer| answer.pressure.unwrap().high;
            for worse in [
                question(kind, present + more, fermentable, fruit, warm, space),
                question(kind, present, fermentable + more, fruit, warm, space),
                question(kind, present, fermentable, fruit + more, warm, space),
                question(kind, present, fermentable, fruit, warm + more, space),
                question(kind, present, fermentable, fruit, warm, space * 0.7),
            ] {
                let answer = burst_check(&worse);
                prop_assert!(severity(answer.verdict) >= severity(base.verdict));
                prop_assert!(pressure(answer) >= pressure(base));
            }
            prop_assert!(base.pressure.unwrap().is_sound() && base.carbonation.unwrap().is_sound());
        }

        #[test]
        fn never_safe_when_something_is_not_known(place in 0usize..4, which in 0usize..7, present in 0.0..3.0f64) {
            let mut q = question(PackageKind::ALL[place], present, 0.0, 0.0, 20.0, 0.05);
            match which {
                0 => q.limit = None,
                1 => q.warmest = None,
                2 => q.gas_space = None,
                3 => q.present = None,
                4 => q.fermentable = None,
                5 => q.fruit_sugar = None,
                _ => q.stable_for = None,
            }
            prop_assert_ne!(burst_check(&q).verdict, Verdict::Safe);
        }

        #[test]
        fn priming_reaches_the_target(have in 0.0..1.0f64, want in 1.5..3.5f64, litres in 1.0..40.0f64) {
            let (have, want) = (Carbonation::volumes(have), Carbonation::volumes(want));
            for sugar in PrimingSugar::ALL {
                let mass = priming(Volume::litres(litres), have, want, *sugar).unwrap();
                let made = mass.as_grams() * 0.95 / sugar.per_volume().as_g_per_l() / litres;
                prop_assert!((made + have.as_volumes() - want.as_volumes()).abs() < 1e-9);
            }
        }

        #[test]
        fn any_number_gives_an_answer(a in prop::num::f64::ANY, b in prop::num::f64::ANY, c in prop::num::f64::ANY) {
            let answer = burst_check(&question(PackageKind::Bottle, a, b, c, b, c));
            if !(a.is_finite() && b.is_finite() && c.is_finite()) {
                prop_assert!(answer.verdict == Verdict::Stop || answer.verdict == Verdict::NotKnown);
            }
            prop_assert!(answer.pressure.is_none_or(|p| p.is_sound()));
        }
    }

    #[test]
    fn hard_stops() {
        let glass = burst_check(&question(PackageKind::Bottle, 2.6, 6.4, 0.0, 4.0, 0.05));
        assert!(glass.verdict == Verdict::Stop && glass.reasons.has(BurstReason::TooMuchGasForGlass));
        let can = burst_check(&question(PackageKind::Can, 1.0, 0.0, 0.5, 4.0, 0.05));
        assert!(can.verdict == Verdict::Stop && can.reasons.has(BurstReason::FruitSugarInCan));
        // What is known is enough to stop, whatever the rest may be.
        let mut q = question(PackageKind::Bottle, 2.6, 20.0, 0.0, 4.0, 0.05);
        q.fruit_sugar = None;
        assert_eq!(burst_check(&q).verdict, Verdict::Stop);
        let good = burst_check(&question(PackageKind::Bottle, 2.5, 0.0, 0.0, 25.0, 0.05));
        assert_eq!(good.verdict, Verdict::Safe, "{:?}", good.reasons.iter().collect::<Vec<_>>());
    }
}
