//! Packaging: gas into the beer, and whether the package will hold it.

use super::extract::{CO2_PER_ETHANOL, EXTRACT_PER_ETHANOL};
use crate::chem::gas::{
    Basis, GRAMS_PER_VOLUME, GasError, LEAST_WARM_SPACE, Sealed, above, basis, dissolved, pressure_for,
};
use crate::data::Source;
use crate::numeric::power::power;
use crate::quantity::{
    ATMOSPHERE, AbsolutePressure, Carbonation, Concentration, Count, Duration, Estimate, Fraction,
    GaugePressure, Mass, Temperature, Volume,
};
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
    /// A volume or time below zero.
    BelowNothing,
    /// A pasteurising bath has 55 to 80 °C.
    Bath(Temperature),
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
            Self::Bath(t) => write!(f, "a pasteurising bath has 55 to 80 °C, not {} °C", t.as_celsius()),
        }
    }
}

impl From<GasError> for PackageError {
    fn from(error: GasError) -> Self {
        Self::Gas(error)
    }
}

/// What the beer is put in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
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
    /// Least gas space to leave, as a share of the package.
    pub least_space: Fraction,
    /// Source of them all.
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
        let (careful, most, bar, strongest, space, source) = match self {
            Self::Keg => (
                4.0,
                8.0,
                4.1,
                9.0,
                0.04,
                Source::from_memory(
                    "The weaker of common kegs: 60 psi, the stronger 130 psi; read the keg's own mark. Volumes and gas space are our estimate",
                ),
            ),
            Self::Bottle => (
                3.0,
                4.0,
                6.0,
                6.0,
                0.03,
                Source::from_memory(
                    "One-way glass about 3 volumes, suppliers' rating at most 4; read the supplier's sheet. Pressure and gas space are our estimate",
                ),
            ),
            Self::HeavyBottle => (
                5.0,
                6.0,
                6.0,
                6.0,
                0.03,
                Source::from_memory(
                    "Bottles for sparkling wine: about 6 bar in service; read the supplier's sheet. Volumes and gas space are our estimate",
                ),
            ),
            Self::Can => (
                3.0,
                4.0,
                6.0,
                6.0,
                0.04,
                Source::from_memory(
                    "Sealed cans: about 6 bar; read the supplier's sheet. Volumes and gas space are our estimate",
                ),
            ),
        };
        PackageLimits {
            careful: Carbonation::volumes(careful),
            most: Carbonation::volumes(most),
            pressure: GaugePressure::kpa(100.0 * bar),
            strongest: GaugePressure::kpa(100.0 * strongest),
            least_space: Fraction::of_one(space),
            source,
        }
    }
}

/// Pressure for a keg, and what it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KegPressure {
    /// At the regulator, at sea level.
    pub pressure: GaugePressure,
    /// The table of beer, or Henry's law beyond it.
    pub basis: Basis,
}

/// Gauge pressure that keeps a keg at a carbonation, -1..=60 °C and up to 1 MPa, at sea level. Set and
/// left alone, beer takes days to get there; shaken, an hour.
///
/// # Errors
/// [`PackageError::Gas`].
pub fn keg_pressure(wanted: Carbonation, at: Temperature) -> Result<KegPressure, PackageError> {
    let pressure = pressure_for(wanted, at)?;
    Ok(KegPressure { pressure, basis: basis(pressure, at) })
}

/// Gas left in beer after a fermentation, by the warmest temperature since the last of it and the
/// pressure held meanwhile: what boils out then does not come back. Fruit that ferments makes gas
/// anew, so the time before it does not count. -1..=60 °C.
///
/// # Errors
/// [`PackageError::Gas`].
pub fn residual(warmest: Temperature, held: GaugePressure) -> Result<Carbonation, PackageError> {
    Ok(dissolved(held, warmest)?)
}

/// Sugar for priming.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PrimingSugar {
    /// Table sugar.
    Sucrose,
    /// Glucose without water.
    Glucose,
    /// Glucose with one water, sold as corn sugar.
    GlucoseMonohydrate,
    /// Dried malt extract.
    MaltExtract,
}

/// Share of priming sugar that becomes gas and alcohol; the rest becomes yeast. Value, least, most.
const PRIMING_YIELD: [f64; 3] = [0.95, 0.90, 1.0];
/// Share of dried malt extract that ferments, counted as maltose. Value, least, most.
const MALT_EXTRACT: [f64; 3] = [0.60, 0.52, 0.68];
/// Source of [`PrimingSugar::per_volume`] and [`priming`].
pub const PRIMING_SOURCE: Source = Source::derived(
    "C6H12O6 gives 2 C2H5OH and 2 CO2; 5 % (0 to 10) of the sugar goes into yeast, our estimate",
);
/// Source of what malt extract ferments.
pub const MALT_EXTRACT_SOURCE: Source = Source::our_estimate(
    "4 % of moisture, 75 % (65 to 85) of apparent attenuation, which is 62 % of the solids",
);
/// Glucose that makes as much gas as a gram of sucrose or maltose.
const HYDROLYSED: f64 = 360.312 / 342.297;

impl PrimingSugar {
    /// Every sugar.
    pub const ALL: &[Self] = &[Self::Sucrose, Self::Glucose, Self::GlucoseMonohydrate, Self::MaltExtract];

    /// Glucose that makes as much gas as a gram of it. Value, least, most.
    fn as_glucose(self) -> [f64; 3] {
        match self {
            Self::Sucrose => [HYDROLYSED; 3],
            Self::Glucose => [1.0; 3],
            Self::GlucoseMonohydrate => [180.156 / 198.171; 3],
            Self::MaltExtract => MALT_EXTRACT.map(|share| share * HYDROLYSED),
        }
    }

    /// Sugar per litre that one volume of gas takes, by stoichiometry alone.
    pub fn per_volume(self) -> Concentration {
        let [value, ..] = self.as_glucose();
        GRAMS_PER_VOLUME * (180.156 / (2.0 * 44.009) / value)
    }

    /// What of it can ferment, as glucose: the most, as [`BurstQuestion::priming`] wants it.
    pub fn fermentable(self, added: Concentration) -> Concentration {
        let [_, _, most] = self.as_glucose();
        added * most
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
) -> Result<Estimate<Mass>, PackageError> {
    if beer < Volume::ZERO {
        return Err(PackageError::BelowNothing);
    }
    if present > wanted {
        return Err(PackageError::AboveTarget { present, wanted });
    }
    let [value, least, most] = sugar.as_glucose();
    let all = sugar.per_volume() * (wanted - present).as_volumes() * beer * value;
    let [share, little, much] = PRIMING_YIELD;
    Ok(Estimate::band(all / (value * share), all / (most * much), all / (least * little)))
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
    /// Gas space as a share of the package, when it is filled.
    pub gas_space: Option<Fraction>,
    /// Temperature when it is filled. Unknown, the worst is taken: filled cold for the room the beer
    /// will want, filled warm for the gas shut in above it.
    pub filled_at: Option<Temperature>,
    /// Gas in the beer when it is closed.
    pub present: Option<Carbonation>,
    /// Real extract of wort that yeast could still ferment.
    pub fermentable: Option<Concentration>,
    /// Fruit sugar that has not fermented.
    pub fruit_sugar: Option<Concentration>,
    /// Priming sugar added, as glucose: [`PrimingSugar::fermentable`].
    pub priming: Concentration,
    /// How long the gravity has stood still.
    pub stable_for: Option<Duration>,
}

/// How a package stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
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
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BurstReason {
    /// More than 4 volumes could come about in ordinary glass.
    TooMuchGasForGlass,
    /// Fruit sugar would ferment in a sealed can.
    FruitSugarInCan,
    /// The gas could pass what this package is made for.
    TooMuchGas,
    /// The pressure could pass the package's limit.
    AboveLimit,
    /// Warm, the beer would take all the room there is; nothing holds that.
    FullWhenWarm,
    /// The pressure could come near the package's limit.
    NearLimit,
    /// More gas than this package usually holds.
    HighCarbonation,
    /// The gravity has not stood still for three days.
    GravityNotStable,
    /// Sugar is left that keeps only as long as it stays cold.
    SugarLeft,
    /// Less gas space than is usually left.
    LittleSpace,
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
    const ALL: [Self; 18] = [
        Self::TooMuchGasForGlass,
        Self::FruitSugarInCan,
        Self::TooMuchGas,
        Self::AboveLimit,
        Self::FullWhenWarm,
        Self::NearLimit,
        Self::HighCarbonation,
        Self::GravityNotStable,
        Self::SugarLeft,
        Self::LittleSpace,
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
            Self::TooMuchGasForGlass
            | Self::FruitSugarInCan
            | Self::TooMuchGas
            | Self::AboveLimit
            | Self::FullWhenWarm => Verdict::Stop,
            Self::NearLimit
            | Self::HighCarbonation
            | Self::GravityNotStable
            | Self::SugarLeft
            | Self::LittleSpace
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
pub struct Reasons(u32);

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
    /// The verdict they lead to together.
    fn verdict(self) -> Verdict {
        self.iter().map(BurstReason::verdict).max().unwrap_or(Verdict::Safe)
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
    /// Pressure that could be reached at the warmest; `None` too when beer that wants more room than
    /// there is would press on the package ([`BurstReason::FullWhenWarm`]): no gas law tells that.
    pub pressure: Option<Estimate<GaugePressure>>,
}

/// Source of [`burst_check`].
pub const BURST_SOURCE: Source = Source::derived(
    "All extract left ferments: 0.463 g (Balling) to 0.514 g (all of it, as sucrose) of gas per gram; Henry's law with the gas space, the air in it and the beer's expansion",
);
/// Half-width of the band of the gas in the beer when it is closed, relative; our estimate.
const PRESENT_BAND: f64 = 0.05;
/// Half-width of the band of the pressure for a known gas, relative: alcohol and extract change the
/// solubility by some percent, and the balance is within 3 % of others. Our estimate.
const BALANCE_BAND: f64 = 0.06;
/// Gas per gram of fermentable extract: value, low and high.
const GAS_PER_EXTRACT: [f64; 3] = [CO2_PER_ETHANOL / EXTRACT_PER_ETHANOL, 0.44, 0.514];
/// Gravity that has stood this long counts as still.
pub const STABLE: Duration = Duration::hours(72.0);
/// Less fruit sugar than this can't be told from none, g/L.
const TRACE: Concentration = Concentration::g_per_l(0.1);

/// A question without gaps: what is not known stands at its mildest.
struct Known {
    present: Carbonation,
    left: Concentration,
    space: Fraction,
    /// Coldest and warmest that it may have been filled at.
    filled: [Temperature; 2],
    warmest: Temperature,
}

impl Known {
    fn of(q: &BurstQuestion) -> Self {
        let sugar = |c: Concentration| {
            if c > Concentration::ZERO { c.min(Concentration::g_per_l(1e3)) } else { Concentration::ZERO }
        };
        let celsius = |t: Temperature| Temperature::celsius(t.as_celsius().clamp(0.0, 90.0));
        let filled = q.filled_at.map(celsius);
        let coldest = Temperature::celsius(0.0);
        // It has once been as warm as it was filled.
        let warmest = q.warmest.map_or(coldest, celsius).max(filled.unwrap_or(coldest));
        Self {
            present: Carbonation::volumes(q.present.map_or(0.0, |c| c.as_volumes().clamp(0.0, 20.0))),
            left: [q.fermentable, q.fruit_sugar, Some(q.priming)].into_iter().flatten().map(sugar).sum(),
            space: Fraction::of_one(q.gas_space.map_or(0.5, |h| h.as_of_one().clamp(0.0, 0.95))),
            filled: [filled.unwrap_or(coldest), filled.unwrap_or(warmest)],
            warmest,
        }
    }

    /// Gas in the beer when all has fermented, from what a gram of extract makes.
    fn carbonation(&self, per_extract: f64, of_present: f64) -> Carbonation {
        self.present * of_present + Carbonation::volumes(per_extract * (self.left / GRAMS_PER_VOLUME))
    }

    fn sealed(&self, gas: Carbonation, of_present: f64, filled: usize, air: AbsolutePressure) -> Sealed {
        let gas_above = above(self.present * of_present, self.space, self.filled[filled]);
        Sealed { gas: gas + gas_above, gas_space: self.space, filled_at: self.filled[0], air }
    }

    /// The upper end of gas and pressure, and whether room is left.
    fn worst(&self) -> (Carbonation, GaugePressure, bool) {
        let gas = self.carbonation(GAS_PER_EXTRACT[2], 1.0 + PRESENT_BAND);
        let sealed = self.sealed(gas, 1.0 + PRESENT_BAND, 1, ATMOSPHERE);
        let pressure = sealed.pressure(self.warmest) * (1.0 + BALANCE_BAND);
        (gas, pressure.gauge(), sealed.space_at(self.warmest) >= LEAST_WARM_SPACE)
    }

    /// Capped on foam or purged: nothing but carbon dioxide above the beer.
    fn without_air(&self, end: usize, of_present: f64, of_balance: f64) -> (Carbonation, GaugePressure) {
        let gas = self.carbonation(GAS_PER_EXTRACT[end], of_present);
        let sealed = self.sealed(gas, of_present, 0, AbsolutePressure::ZERO);
        let pressure = sealed.pressure(self.warmest) * of_balance;
        (gas, pressure.gauge().max(GaugePressure::ZERO))
    }
}

/// The reasons of a question, and the upper end of gas and pressure.
fn judge(q: &BurstQuestion) -> (Reasons, Carbonation, GaugePressure) {
    let mut reasons = Reasons::default();
    let zero = Concentration::ZERO;
    let warm = |t: Temperature| (0.0..=90.0).contains(&t.as_celsius());
    let sound = q.warmest.is_none_or(warm)
        && q.filled_at.is_none_or(warm)
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
    let (gas, pressure, room) = Known::of(q).worst();
    let fruit = q.fruit_sugar.is_some_and(|sugar| sugar > TRACE);
    reasons.add(BurstReason::TooMuchGasForGlass, q.kind == PackageKind::Bottle && gas > limits.most);
    reasons.add(BurstReason::FruitSugarInCan, q.kind == PackageKind::Can && fruit);
    reasons.add(BurstReason::TooMuchGas, gas > limits.most);
    reasons.add(BurstReason::AboveLimit, pressure > marked.unwrap_or(limits.strongest));
    reasons.add(BurstReason::FullWhenWarm, !room);
    reasons.add(BurstReason::NearLimit, pressure > marked.unwrap_or(limits.pressure) * 0.8);
    reasons.add(BurstReason::HighCarbonation, gas > limits.careful);
    reasons.add(BurstReason::GravityNotStable, q.stable_for.is_some_and(|t| t < STABLE || !t.is_finite()));
    reasons.add(BurstReason::SugarLeft, fruit);
    reasons.add(BurstReason::LittleSpace, q.gas_space.is_some_and(|space| space < limits.least_space));
    (reasons, gas, pressure)
}

/// Whether a package could burst.
///
/// Everything that can still ferment does, the gas stays in, and the package
/// gets as warm as it ever can. The upper end of the band decides: an atmosphere of air shut in, and
/// gas above the beer in balance with it already. What is not
/// known counts as nothing towards the pressure, but then the answer is never
/// [`Verdict::Safe`]: at best [`Verdict::NotKnown`], and already
/// [`Verdict::Stop`] when the known part alone is too much. Temperatures 0..=90 °C,
/// gas space 0..=0.95, present gas 0..=20 volumes, sugars from zero up;
/// outside, [`BurstReason::InputOutOfRange`].
pub fn burst_check(question: &BurstQuestion) -> BurstAnswer {
    let q = question;
    let (reasons, gas_high, pressure_high) = judge(q);
    let known = Known::of(q);
    let (gas, pressure) = known.without_air(0, 1.0, 1.0);
    let (gas_low, pressure_low) = known.without_air(1, 1.0 - PRESENT_BAND, 1.0 - BALANCE_BAND);
    let whole = q.present.is_some() && q.fermentable.is_some() && q.fruit_sugar.is_some();
    let placed = q.warmest.is_some() && q.gas_space.is_some() && !reasons.has(BurstReason::FullWhenWarm);
    let sound = whole && !reasons.has(BurstReason::InputOutOfRange);
    BurstAnswer {
        verdict: reasons.verdict(),
        reasons,
        carbonation: sound.then_some(Estimate { value: gas, low: gas_low, high: gas_high }),
        pressure: (sound && placed).then_some(Estimate::band(pressure, pressure_low, pressure_high)),
    }
}

/// The warmest, 0..=60 °C, at which a package gives no reason to stop and stays below 80 % of its
/// limit, whatever `warmest` says. `None` when it does so at no temperature, when an amount of gas or
/// sugar or the gas space is not known, or when an input is out of range.
pub fn warmest_safe(question: &BurstQuestion) -> Option<Temperature> {
    let holds = |celsius: f64| {
        let (reasons, ..) =
            judge(&BurstQuestion { warmest: Some(Temperature::celsius(celsius)), ..*question });
        reasons.0 & NOT_BY_WARMTH == 0
    };
    if !holds(0.0) {
        return None;
    }
    let (mut low, mut high) = (0.0, 60.0);
    if holds(high) {
        return Some(Temperature::celsius(high));
    }
    // To a quarter of a degree, on the cold side.
    for _ in 0..8 {
        let middle = 0.5 * (low + high);
        if holds(middle) { low = middle } else { high = middle }
    }
    Some(Temperature::celsius(low))
}

/// Reasons that leave no temperature to name.
const NOT_BY_WARMTH: u32 = {
    use BurstReason as R;
    let mut bits = 0;
    let list = [
        R::TooMuchGasForGlass,
        R::FruitSugarInCan,
        R::TooMuchGas,
        R::AboveLimit,
        R::FullWhenWarm,
        R::NearLimit,
        R::InputOutOfRange,
        R::GasSpaceUnknown,
        R::GasUnknown,
        R::ExtractUnknown,
        R::FruitSugarUnknown,
    ];
    let mut place = 0;
    while place < list.len() {
        bits |= 1 << list[place] as u32;
        place += 1;
    }
    bits
};

/// What makes a package safe, or safer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Remedy {
    /// Let it ferment out in the keg, under a valve that lets the gas off.
    FinishInKeg,
    /// Wait until the gravity stands still.
    WaitUntilStable,
    /// Read the package's own mark.
    ReadTheMark,
    /// Add no priming sugar, or less.
    LessPriming,
    /// Less gas in the beer.
    LowerCarbonation,
    /// More room above the beer.
    MoreHeadspace,
    /// Keep it cold from closing to drinking.
    KeepCold,
    /// Heat the closed package until the yeast is dead.
    Pasteurise,
    /// Sulfite and sorbate together.
    Stabilise,
}

impl Remedy {
    /// Every remedy, the surest first.
    pub const ALL: [Self; 9] = [
        Self::FinishInKeg,
        Self::WaitUntilStable,
        Self::ReadTheMark,
        Self::LessPriming,
        Self::LowerCarbonation,
        Self::MoreHeadspace,
        Self::KeepCold,
        Self::Pasteurise,
        Self::Stabilise,
    ];

    /// What to do, and what to mind.
    pub const fn words(self) -> &'static str {
        NOTES[self as usize]
    }

    /// The question as it stands once this is done, or `None` where it can't be.
    fn done(self, q: &BurstQuestion) -> Option<BurstQuestion> {
        let none = Some(Concentration::ZERO);
        let left = |c: Option<Concentration>| c.is_none_or(|c| c > TRACE);
        let sweet = left(q.fermentable) || left(q.fruit_sugar);
        let still = BurstQuestion { fermentable: none, fruit_sugar: none, ..*q };
        let stable = BurstQuestion { stable_for: Some(STABLE), ..still };
        match self {
            Self::FinishInKeg => (q.kind != PackageKind::Keg && sweet).then_some(BurstQuestion {
                kind: PackageKind::Keg,
                limit: None,
                gas_space: Some(q.gas_space.unwrap_or(ROOMY).max(ROOMY)),
                priming: Concentration::ZERO,
                ..stable
            }),
            Self::WaitUntilStable => Some(stable),
            Self::ReadTheMark => {
                q.limit.is_none().then_some(BurstQuestion { limit: Some(q.kind.limits().strongest), ..*q })
            }
            Self::LessPriming => Some(BurstQuestion { priming: Concentration::ZERO, ..*q }),
            Self::LowerCarbonation => {
                q.present.map(|gas| BurstQuestion { present: Some(gas.min(LEAST_WANTED)), ..*q })
            }
            Self::MoreHeadspace => {
                q.gas_space.map(|space| BurstQuestion { gas_space: Some(space.max(ROOMY)), ..*q })
            }
            Self::KeepCold => Some(BurstQuestion {
                warmest: Some(q.warmest.unwrap_or(FRIDGE).min(FRIDGE)),
                filled_at: Some(q.filled_at.unwrap_or(FRIDGE).min(FRIDGE)),
                ..*q
            }),
            // Nothing ferments any more, but the bath is warmer than it will ever be again.
            Self::Pasteurise => (q.kind != PackageKind::Keg && (sweet || q.priming > TRACE))
                .then(|| in_bath(&stable, COOLEST_BATH)),
            // They stop yeast from growing, not from working: only in beer that has come to rest, and
            // only where a valve stands by.
            Self::Stabilise => (q.kind == PackageKind::Keg
                && sweet
                && q.priming <= TRACE
                && q.stable_for.is_some_and(|time| time >= STABLE))
            .then_some(still),
        }
    }
}

const NOTES: [&str; 9] = [
    "Let it ferment out in the keg, under a valve that lets gas off, and package from there.",
    "Wait until two gravity readings three days apart agree.",
    "Read the pressure on the package's own mark or its supplier's sheet.",
    "Add no priming sugar, or less.",
    "Let gas off, or carbonate to less.",
    "Leave a tenth of the package empty.",
    "Keep it at 4 °C or below from closing to drinking; one warm day undoes it.",
    "Pasteurise: the pressure peaks in the bath, so shield it, heat and cool slowly, and let it cool before touching it.",
    "Sulfite and sorbate together, in clear, cold beer at rest. They don't stop a fermentation: never rely on them alone in a bottle or can with live yeast.",
];

/// A refrigerator.
const FRIDGE: Temperature = Temperature::celsius(4.0);
/// Gas space that is easy to leave in any package.
const ROOMY: Fraction = Fraction::of_one(0.1);
/// The least gas that beer from a package is wanted with; our estimate.
const LEAST_WANTED: Carbonation = Carbonation::volumes(1.8);

/// Remedies for a package, as a set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Remedies(u16);

impl Remedies {
    /// True when this remedy is among them.
    pub const fn has(self, remedy: Remedy) -> bool {
        self.0 & (1 << remedy as u16) != 0
    }
    /// Each of them, the surest first.
    pub fn iter(self) -> impl Iterator<Item = Remedy> {
        Remedy::ALL.into_iter().filter(move |remedy| self.has(*remedy))
    }
}

/// What makes a package safe, each on its own. One is named only if [`burst_check`] agrees: where the
/// verdict is [`Verdict::Stop`], it must leave a caution at most; otherwise it must take away
/// a reason and bring no other.
pub fn remedies(question: &BurstQuestion) -> Remedies {
    let (before, ..) = judge(question);
    let stopped = before.verdict() == Verdict::Stop;
    let mut found = Remedies::default();
    for remedy in Remedy::ALL {
        let works = remedy.done(question).is_some_and(|done| {
            let (after, ..) = judge(&done);
            if stopped {
                after.verdict() <= Verdict::Caution
            } else {
                after != before && after.0 & !before.0 == 0
            }
        });
        found.0 |= u16::from(works) << remedy as u16;
    }
    found
}

/// Pasteurisation units that a package with sugar and live yeast should get.
pub const UNITS_WANTED: Count = Count::of(100.0);
/// Source of [`UNITS_WANTED`].
pub const UNITS_SOURCE: Source = Source::our_estimate(
    "EBC Manual of Good Practice: 15 to 25 units for light and 20 to 35 for dark beers (quoted by Campden BRI), from memory 80 to 120 without alcohol; sugar, fruit and a bath that is not even ask for the upper end",
);
/// Source of the units.
pub const PASTEURISING_SOURCE: Source = Source::published(
    "1 unit is 1 min at 60 °C, 1.393 times as much for each degree: MEBAK B-420.13.032; Del Vecchio, Dayharsh & Baselt 1951, Proc. ASBC 45, from memory",
);
/// The coolest bath of which [`remedies`] thinks.
pub const COOLEST_BATH: Temperature = Temperature::celsius(60.0);

/// Units by minute.
fn lethality(at: Temperature) -> Result<f64, PackageError> {
    if !(55.0..=80.0).contains(&at.as_celsius()) {
        return Err(PackageError::Bath(at));
    }
    Ok(power(1.393, at.as_celsius() - 60.0))
}

/// Pasteurisation units of a time at 55..=80 °C in the middle of the package; coming up and cooling not counted.
///
/// # Errors
/// [`PackageError::Bath`], [`PackageError::BelowNothing`].
pub fn pasteurising_units(at: Temperature, time: Duration) -> Result<Count, PackageError> {
    if !(time >= Duration::ZERO && time.is_finite()) {
        return Err(PackageError::BelowNothing);
    }
    Ok(Count::of(lethality(at)? * time.as_minutes()))
}

/// Time at 55..=80 °C in the middle of the package for [`UNITS_WANTED`].
///
/// # Errors
/// [`PackageError::Bath`].
pub fn pasteurising_time(at: Temperature) -> Result<Duration, PackageError> {
    Ok(Duration::minutes(UNITS_WANTED.value() / lethality(at)?))
}

/// The package in the bath: it gets as warm as that, and nothing ferments meanwhile.
/// For [`burst_check`], whose pressure and verdict then are those of the bath.
#[must_use]
pub fn in_bath(question: &BurstQuestion, at: Temperature) -> BurstQuestion {
    BurstQuestion {
        warmest: Some(question.warmest.map_or(at, |warmest| warmest.max(at))),
        fermentable: Some(Concentration::ZERO),
        fruit_sugar: Some(Concentration::ZERO),
        priming: Concentration::ZERO,
        ..*question
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
            filled_at: Some(Temperature::celsius(4.0)),
            present: Some(Carbonation::volumes(present)),
            fermentable: Some(Concentration::g_per_l(fermentable)),
            fruit_sugar: Some(Concentration::g_per_l(fruit)),
            priming: Concentration::ZERO,
            stable_for: Some(Duration::hours(100.0)),
        }
    }

    /// Everything that a question may say, each input known or not.
    fn any_question() -> impl Strategy<Value = BurstQuestion> {
        let maybe = |range: std::ops::Range<f64>| proptest::option::weighted(0.8, range);
        (
            (0usize..4, maybe(100.0..1200.0), maybe(0.0..90.0), maybe(0.001..0.6), maybe(0.0..60.0)),
            (maybe(0.0..6.0), maybe(0.0..20.0), maybe(0.0..20.0), 0.0..12.0f64, maybe(0.0..200.0)),
        )
            .prop_map(
                |((kind, limit, warm, space, filled), (gas, extract, fruit, priming, hours))| BurstQuestion {
                    kind: PackageKind::ALL[kind],
                    limit: limit.map(GaugePressure::kpa),
                    warmest: warm.map(Temperature::celsius),
                    gas_space: space.map(Fraction::of_one),
                    filled_at: filled.map(Temperature::celsius),
                    present: gas.map(Carbonation::volumes),
                    fermentable: extract.map(Concentration::g_per_l),
                    fruit_sugar: fruit.map(Concentration::g_per_l),
                    priming: Concentration::g_per_l(priming),
                    stable_for: hours.map(Duration::hours),
                },
            )
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn never_milder_with_more_sugar_warmth_or_fill(q in any_question(), more in 0.0..10.0f64, fuller in 0.0..1.0f64) {
            let base = burst_check(&q);
            let grams = Concentration::g_per_l(more);
            for worse in [
                BurstQuestion { present: q.present.map(|gas| gas + Carbonation::volumes(more)), ..q },
                BurstQuestion { fermentable: q.fermentable.map(|sugar| sugar + grams), ..q },
                BurstQuestion { fruit_sugar: q.fruit_sugar.map(|sugar| sugar + grams), ..q },
                BurstQuestion { priming: q.priming + grams, ..q },
                BurstQuestion { warmest: q.warmest.map(|t| Temperature::celsius((t.as_celsius() + more).min(90.0))), ..q },
                BurstQuestion { gas_space: q.gas_space.map(|space| space * fuller), ..q },
            ] {
                let answer = burst_check(&worse);
                prop_assert!(answer.verdict >= base.verdict, "{base:?} {answer:?}");
                let full = answer.reasons.has(BurstReason::FullWhenWarm);
                prop_assert!(answer.pressure.is_some() == base.pressure.is_some() || full);
                if let (Some(before), Some(after)) = (base.pressure, answer.pressure) {
                    // Where nothing changes, the last bits may.
                    prop_assert!(after.high.as_kpa() >= before.high.as_kpa() - 1e-6, "{before:?} {after:?}");
                }
            }
        }

        #[test]
        fn every_answer_is_sound(q in any_question()) {
            let answer = burst_check(&q);
            prop_assert!(answer.pressure.is_none_or(|p| p.is_sound()), "{answer:?}");
            prop_assert!(answer.carbonation.is_none_or(|c| c.is_sound()));
            let unknown = [q.limit.is_none(), q.warmest.is_none(), q.gas_space.is_none(), q.present.is_none(),
                q.fermentable.is_none(), q.fruit_sugar.is_none(), q.stable_for.is_none()];
            if unknown.contains(&true) {
                prop_assert_ne!(answer.verdict, Verdict::Safe);
            }
        }

        #[test]
        fn a_remedy_named_is_one_that_works(q in any_question()) {
            let before = burst_check(&q);
            for remedy in remedies(&q).iter() {
                let after = burst_check(&remedy.done(&q).unwrap());
                if before.verdict == Verdict::Stop {
                    prop_assert!(after.verdict <= Verdict::Caution, "{remedy:?} {after:?}");
                } else {
                    prop_assert!(after.verdict <= before.verdict, "{remedy:?} {after:?}");
                    prop_assert!(after.reasons.iter().count() < before.reasons.iter().count());
                }
            }
        }

        #[test]
        fn the_warmest_safe_is_safe_and_little_more_is_not(q in any_question()) {
            let pressed = |celsius: f64| {
                let at = burst_check(&BurstQuestion { warmest: Some(Temperature::celsius(celsius)), ..q });
                at.verdict == Verdict::Stop || at.reasons.has(BurstReason::NearLimit)
            };
            match warmest_safe(&q) {
                Some(at) => {
                    prop_assert!(!pressed(at.as_celsius()));
                    prop_assert!(at.as_celsius() == 60.0 || pressed(at.as_celsius() + 0.25));
                }
                None => {
                    let unknown = q.present.is_none() || q.fermentable.is_none() || q.fruit_sugar.is_none() || q.gas_space.is_none();
                    prop_assert!(unknown || pressed(0.0));
                }
            }
        }

        #[test]
        fn priming_reaches_the_target(have in 0.0..1.0f64, want in 1.5..3.5f64, litres in 1.0..40.0f64) {
            let (have, want) = (Carbonation::volumes(have), Carbonation::volumes(want));
            for sugar in PrimingSugar::ALL {
                let mass = priming(Volume::litres(litres), have, want, *sugar).unwrap();
                let made = mass.value.as_grams() * 0.95 / sugar.per_volume().as_g_per_l() / litres;
                prop_assert!((made + have.as_volumes() - want.as_volumes()).abs() < 1e-9);
                prop_assert!(mass.is_sound() && mass.low < mass.value && mass.value < mass.high);
            }
        }

        #[test]
        fn any_number_gives_an_answer(a in prop::num::f64::ANY, b in prop::num::f64::ANY, c in prop::num::f64::ANY) {
            let q = question(PackageKind::Bottle, a, b, c, b, c);
            let answer = burst_check(&q);
            if !(a.is_finite() && b.is_finite() && c.is_finite()) {
                prop_assert!(answer.verdict == Verdict::Stop || answer.verdict == Verdict::NotKnown);
            }
            prop_assert!(answer.pressure.is_none_or(|p| p.is_sound()));
            prop_assert!(warmest_safe(&q).is_none_or(Temperature::is_finite));
        }
    }

    #[test]
    fn never_safe_when_anything_is_not_known() {
        for kind in PackageKind::ALL {
            let whole = question(*kind, 2.0, 0.0, 0.0, 20.0, 0.05);
            assert_eq!(burst_check(&whole).verdict, Verdict::Safe, "{kind:?}");
            for missing in 1u8..128 {
                let gone = |place: u8| missing & 1 << place != 0;
                let q = BurstQuestion {
                    limit: whole.limit.filter(|_| !gone(0)),
                    warmest: whole.warmest.filter(|_| !gone(1)),
                    gas_space: whole.gas_space.filter(|_| !gone(2)),
                    present: whole.present.filter(|_| !gone(3)),
                    fermentable: whole.fermentable.filter(|_| !gone(4)),
                    fruit_sugar: whole.fruit_sugar.filter(|_| !gone(5)),
                    stable_for: whole.stable_for.filter(|_| !gone(6)),
                    ..whole
                };
                assert_ne!(burst_check(&q).verdict, Verdict::Safe, "{kind:?} {missing}");
                // Where it is filled is not asked for: the worst stands in.
                let unplaced = BurstQuestion { filled_at: None, ..q };
                assert!(burst_check(&unplaced).verdict >= burst_check(&q).verdict);
            }
        }
    }

    #[test]
    fn hard_stops() {
        let glass = burst_check(&question(PackageKind::Bottle, 2.6, 6.4, 0.0, 4.0, 0.05));
        assert!(glass.verdict == Verdict::Stop && glass.reasons.has(BurstReason::TooMuchGasForGlass));
        let can = burst_check(&question(PackageKind::Can, 1.0, 0.0, 0.5, 4.0, 0.05));
        assert!(can.verdict == Verdict::Stop && can.reasons.has(BurstReason::FruitSugarInCan));
        let brimful = burst_check(&question(PackageKind::HeavyBottle, 1.0, 0.0, 0.0, 40.0, 0.008));
        assert!(brimful.verdict == Verdict::Stop && brimful.reasons.has(BurstReason::FullWhenWarm));
        // What is known is enough to stop, whatever the rest may be.
        let mut q = question(PackageKind::Bottle, 2.6, 20.0, 0.0, 4.0, 0.05);
        q.fruit_sugar = None;
        assert_eq!(burst_check(&q).verdict, Verdict::Stop);
        let good = burst_check(&question(PackageKind::Bottle, 2.5, 0.0, 0.0, 25.0, 0.05));
        assert_eq!(good.verdict, Verdict::Safe, "{:?}", good.reasons.iter().collect::<Vec<_>>());
    }

    #[test]
    fn remedies_fit_the_trouble() {
        let named = |q: &BurstQuestion| remedies(q).iter().collect::<Vec<_>>();
        // Fruit sugar in a can: cold does not help a hard stop; a keg, patience and heat do.
        let can = question(PackageKind::Can, 1.2, 0.0, 8.8, 20.0, 0.06);
        assert_eq!(named(&can), [Remedy::FinishInKeg, Remedy::WaitUntilStable, Remedy::Pasteurise]);
        // Carbonated high, heat would burst it.
        let lively = question(PackageKind::Can, 2.8, 0.0, 8.8, 20.0, 0.06);
        assert!(!remedies(&lively).has(Remedy::Pasteurise));
        assert!(burst_check(&in_bath(&lively, COOLEST_BATH)).reasons.has(BurstReason::AboveLimit));
        // Safe in a cellar, not in a car.
        let car = question(PackageKind::Bottle, 3.2, 0.0, 0.0, 55.0, 0.05);
        assert_eq!(burst_check(&car).verdict, Verdict::Stop);
        assert!(remedies(&car).has(Remedy::KeepCold));
        assert!((15.0..40.0).contains(&warmest_safe(&car).unwrap().as_celsius()));
        // Sulfite and sorbate never in a bottle with live yeast, nor in beer that still works.
        let sweet = |kind| question(kind, 2.5, 0.0, 4.0, 20.0, 0.1);
        assert!(remedies(&sweet(PackageKind::Keg)).has(Remedy::Stabilise));
        assert!(!remedies(&sweet(PackageKind::Bottle)).has(Remedy::Stabilise));
        let working = BurstQuestion { stable_for: Some(Duration::hours(24.0)), ..sweet(PackageKind::Keg) };
        assert!(!remedies(&working).has(Remedy::Stabilise));
        let calm = question(PackageKind::Bottle, 2.5, 0.0, 0.0, 20.0, 0.05);
        assert_eq!(named(&calm), []);
    }

    #[test]
    fn units_and_time_undo_each_other() {
        let at = Temperature::celsius(65.0);
        let units = pasteurising_units(at, pasteurising_time(at).unwrap()).unwrap();
        assert!((units.value() - UNITS_WANTED.value()).abs() < 1e-9);
        assert!(matches!(pasteurising_time(Temperature::celsius(40.0)), Err(PackageError::Bath(_))));
        assert!(pasteurising_units(at, Duration::minutes(-1.0)).is_err());
    }
}
