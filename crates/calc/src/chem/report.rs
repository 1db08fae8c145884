//! A water report as a chemist reads it: what is missing is inferred, what is there is checked,
//! and when it does not fit, the figure most likely misread is named.
//!
//! Eight ions are handled as one list in mEq/L. A figure that is missing starts from its usual
//! share of the water's charge, very wide; then the report's other figures narrow it: total
//! hardness, the balance of charges, conductivity, dissolved solids. Figures that were given are
//! never changed.

use super::water::Ions;
use crate::data::Source;
use crate::numeric::power::ten_to;
use crate::quantity::{
    Amount, ChargeConcentration, Concentration, Conductivity, Count, Dimension, Estimate, Fraction, Ph,
    Quantity,
};

/// Source of the checks and their tolerances.
pub const CHECKS_SOURCE: Source = Source::from_memory(
    "Standard Methods for the Examination of Water and Wastewater, 1030 E: charges within 0.2 mEq/L up to \
     3 mEq/L, 2 % up to 10, 5 % above; conductivity 0.9 to 1.1 and dissolved solids 1.0 to 1.2 times computed; \
     dissolved solids 0.55 to 0.7 times conductivity",
);
/// Source of the conductivity of the single ions in endless dilution.
pub const CONDUCTANCE_SOURCE: Source = Source::from_memory(
    "CRC Handbook of Chemistry and Physics, ionic conductivity at infinite dilution, 25 °C",
);
/// Source of how conductivity falls behind the sum over the ions.
pub const ONSAGER_SOURCE: Source = Source::from_memory(
    "Onsager 1927, Phys. Z. 28:277: limiting law for 1:1 salts at 25 °C, each ion by its charge, \
     with the root of ionic strength over one plus itself",
);
/// Source of the constant of pairs of sulfate with calcium and magnesium.
pub const PAIRS_SOURCE: Source = Source::from_memory(
    "log K 2.3 for CaSO₄ and about the same for MgSO₄ at 25 °C, Nordstrom et al. 1990, ACS Symp. Ser. 416:398",
);
/// Source of the usual shares, their spread, and the usual pH.
pub const SHARES_SOURCE: Source =
    Source::our_estimate("shares of charge and pH in a dozen published analyses of public supplies");
/// Source of the spread of a figure that was given.
pub const LABORATORY_SOURCE: Source =
    Source::our_estimate("3 % and 0.01 mEq/L: laboratory, rounding, and the days between report and brew");

/// A line of a water report.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Item {
    /// Calcium.
    Calcium,
    /// Magnesium.
    Magnesium,
    /// Sodium.
    Sodium,
    /// Potassium.
    Potassium,
    /// Chloride.
    Chloride,
    /// Sulfate.
    Sulfate,
    /// Nitrate.
    Nitrate,
    /// Alkalinity.
    Alkalinity,
    /// Total hardness: calcium and magnesium.
    Hardness,
    /// Electrical conductivity at 25 °C.
    Conductivity,
    /// Dissolved solids: what is left when the water is dried.
    DissolvedSolids,
    /// pH.
    Ph,
}

impl Item {
    /// Every line; the ions first, in the order of the table of ions.
    pub const ALL: [Self; 12] = [
        Self::Calcium,
        Self::Magnesium,
        Self::Sodium,
        Self::Potassium,
        Self::Chloride,
        Self::Sulfate,
        Self::Nitrate,
        Self::Alkalinity,
        Self::Hardness,
        Self::Conductivity,
        Self::DissolvedSolids,
        Self::Ph,
    ];

    /// What it is called, and the kind of quantity it is shown as.
    const fn words(self) -> (&'static str, Dimension) {
        match self {
            Self::Calcium => ("Calcium", Dimension::Calcium),
            Self::Magnesium => ("Magnesium", Dimension::Magnesium),
            Self::Sodium => ("Sodium", Dimension::Sodium),
            Self::Potassium => ("Potassium", Dimension::Potassium),
            Self::Chloride => ("Chloride", Dimension::Chloride),
            Self::Sulfate => ("Sulfate", Dimension::Sulfate),
            Self::Nitrate => ("Nitrate", Dimension::Nitrate),
            Self::Alkalinity => ("Alkalinity", Dimension::Alkalinity),
            Self::Hardness => ("Total hardness", Dimension::Hardness),
            Self::Conductivity => ("Conductivity", Dimension::Conductivity),
            Self::DissolvedSolids => ("Dissolved solids", Dimension::Concentration),
            Self::Ph => ("pH", Dimension::Ph),
        }
    }

    /// What the line is called.
    pub const fn name(self) -> &'static str {
        self.words().0
    }

    /// An amount of this item from a number as it is handled here: mEq/L for ions and hardness.
    fn amount(self, value: f64) -> Amount {
        let unit = match ION.get(self as usize) {
            Some(ion) if !matches!(self, Self::Alkalinity) => ion.mg_per_meq,
            _ => 1.0,
        };
        Amount::in_base(self.words().1, value * unit)
    }
}

/// A water report. What it does not say is `None`. A single figure is [`Estimate::exact`], a range
/// a band around its middle. Negative figures count as zero.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct WaterReport {
    /// Calcium.
    pub calcium: Option<Estimate<Concentration>>,
    /// Magnesium.
    pub magnesium: Option<Estimate<Concentration>>,
    /// Sodium.
    pub sodium: Option<Estimate<Concentration>>,
    /// Potassium.
    pub potassium: Option<Estimate<Concentration>>,
    /// Chloride.
    pub chloride: Option<Estimate<Concentration>>,
    /// Sulfate.
    pub sulfate: Option<Estimate<Concentration>>,
    /// Nitrate, as NO₃.
    pub nitrate: Option<Estimate<Concentration>>,
    /// Alkalinity to pH 4.3 or 4.5.
    pub alkalinity: Option<Estimate<ChargeConcentration>>,
    /// Total hardness as charge.
    pub hardness: Option<Estimate<ChargeConcentration>>,
    /// Conductivity at 25 °C.
    pub conductivity: Option<Estimate<Conductivity>>,
    /// Residue on evaporation, or total dissolved solids.
    pub dissolved_solids: Option<Estimate<Concentration>>,
    /// pH.
    pub ph: Option<Estimate<Ph>>,
}

/// What an inferred figure rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// Total hardness.
    Hardness,
    /// The other charges.
    Charges,
    /// Conductivity.
    Conductivity,
    /// Dissolved solids.
    DissolvedSolids,
    /// Nothing but what is usual.
    Usual,
}

impl Basis {
    /// Why the figure is what it is, in words.
    pub const fn text(self) -> &'static str {
        match self {
            Self::Hardness => {
                "from total hardness, of which calcium is usually three quarters unless one of the two is given"
            }
            Self::Charges => "from what the charges lack: positive and negative ones are equal in any water",
            Self::Conductivity => "from conductivity",
            Self::DissolvedSolids => "from the dissolved solids",
            Self::Usual => "a usual share; the report says little about it",
        }
    }
}

/// A figure that the report does not give.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inferred {
    /// Which.
    pub item: Item,
    /// The likely value.
    pub value: Amount,
    /// Lower end of the 80 % band.
    pub low: Amount,
    /// Upper end of the 80 % band.
    pub high: Amount,
    /// What it rests on.
    pub from: Basis,
    /// It came out below zero and was set to zero: the report's figures contradict each other.
    pub clamped: bool,
}

/// A measured figure compared with the one computed from the ions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Check {
    /// Measured divided by computed.
    pub ratio: Count,
    /// Whether that is as close as it should be. Source: [`CHECKS_SOURCE`].
    pub ok: bool,
}

/// How a figure may have been misread.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Misreading {
    /// Sulfate given as sulfur.
    AsSulfur,
    /// Nitrate given as nitrogen.
    AsNitrogen,
    /// Alkalinity given as bicarbonate.
    AsBicarbonate,
    /// Given as calcium carbonate.
    AsCarbonate,
    /// Given as the ion itself, read as something else.
    AsItself,
    /// Given in German degrees.
    German,
    /// Given in French degrees.
    French,
    /// Given in mmol/L.
    Millimoles,
    /// Given in mEq/L.
    Equivalents,
    /// Ten times too large or too small.
    Comma,
    /// Conductivity given at 20 °C.
    Cold,
    /// Conductivity given in mS/m.
    PerMetre,
    /// Conductivity given in mS/cm.
    Milli,
    /// Not in the report, and more of it than usual.
    Missing,
    /// Wrong in some other way.
    Other,
}

impl Misreading {
    /// What seems to have happened, to be said after the item's name.
    pub const fn text(self) -> &'static str {
        match self {
            Self::AsSulfur => "seems to be given as sulfur, not as sulfate",
            Self::AsNitrogen => "seems to be given as nitrogen, not as nitrate",
            Self::AsBicarbonate => "seems to be given as bicarbonate, not as calcium carbonate",
            Self::AsCarbonate => "seems to be given as calcium carbonate",
            Self::AsItself => "seems to be given as the ion itself, in mg/L",
            Self::German => "seems to be given in German degrees",
            Self::French => "seems to be given in French degrees",
            Self::Millimoles => "seems to be given in mmol/L",
            Self::Equivalents => "seems to be given in mEq/L",
            Self::Comma => "seems to have its decimal point in the wrong place",
            Self::Cold => "seems to be measured at 20 °C",
            Self::PerMetre => "seems to be given in mS/m",
            Self::Milli => "seems to be given in mS/cm",
            Self::Missing => "is not in the report, and there seems to be much of it",
            Self::Other => "seems to be wrong",
        }
    }
}

/// One figure that may be wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Suspect {
    /// Which figure.
    pub item: Item,
    /// How it may have been misread.
    pub misreading: Misreading,
    /// What it would then be.
    pub remedy: Amount,
}

/// The most likely cause of a report that does not fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Culprit {
    /// The most likely figure.
    pub first: Suspect,
    /// Another one that explains it about as well.
    pub second: Option<Suspect>,
}

/// A report, read.
#[derive(Clone, Debug, PartialEq)]
pub struct WaterRead {
    /// The ions, given or inferred.
    pub ions: Ions,
    /// One standard deviation of each.
    pub spread: Ions,
    /// Nitrate, given or inferred, as NO₃.
    pub nitrate: Estimate<Concentration>,
    /// pH, given or usual.
    pub ph: Estimate<Ph>,
    /// What was inferred.
    pub inferred: Vec<Inferred>,
    /// Positive less negative charge over their sum.
    pub balance: Fraction,
    /// Whether the charges agree; `None` when a main figure is missing, so that nothing is checked.
    /// Potassium and nitrate may be missing: the tolerance is then wider by their usual spread.
    pub balance_ok: Option<bool>,
    /// Calcium and magnesium against total hardness, when all three are given: within 5 % or 0.2 mEq/L.
    pub hardness: Option<Check>,
    /// Conductivity against the ions, when none of the main ones is missing.
    pub conductivity: Option<Check>,
    /// Dissolved solids against the ions, when none of the main ones is missing.
    pub solids: Option<Check>,
    /// Dissolved solids in mg/L over conductivity in µS/cm, when both are given.
    pub solids_by_conductivity: Option<Check>,
    /// What is probably wrong, when a check failed and one wrong figure explains it.
    pub culprit: Option<Culprit>,
}

/// Why a report can't be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReportError {
    /// Neither calcium, hardness, alkalinity, conductivity nor dissolved solids.
    TooLittle,
}

impl ReportError {
    /// What to do about it, for people.
    pub const fn text(self) -> &'static str {
        match self {
            Self::TooLittle => {
                "Enter at least one of calcium, total hardness, alkalinity, conductivity and dissolved solids."
            }
        }
    }
}

/// What is known of one ion beforehand.
struct Row {
    /// mg in one mEq. Source: [`crate::data::salts::WEIGHTS_SOURCE`].
    mg_per_meq: f64,
    /// mg in one mEq of what is left on drying: bicarbonate loses half of itself and becomes carbonate.
    residue: f64,
    /// Number of charges, negative for anions.
    charge: f64,
    /// S·cm²/Eq in endless dilution. Source: [`CONDUCTANCE_SOURCE`].
    conductance: f64,
    /// Usual share of the charges of its sign, and the deviation of that. Source: [`SHARES_SOURCE`].
    share: (f64, f64),
}

const IONS: usize = 8;
const CA: usize = Item::Calcium as usize;
const MG: usize = Item::Magnesium as usize;
const K: usize = Item::Potassium as usize;
const SO4: usize = Item::Sulfate as usize;
const NO3: usize = Item::Nitrate as usize;
const ALK: usize = Item::Alkalinity as usize;

const fn row(mg_per_meq: f64, residue: f64, charge: f64, conductance: f64, share: (f64, f64)) -> Row {
    Row { mg_per_meq, residue, charge, conductance, share }
}

const ION: [Row; IONS] = [
    row(20.039, 20.039, 2.0, 59.47, (0.60, 0.20)),
    row(12.1525, 12.1525, 2.0, 53.0, (0.20, 0.10)),
    row(22.990, 22.990, 1.0, 50.08, (0.18, 0.18)),
    row(39.098, 39.098, 1.0, 73.48, (0.02, 0.02)),
    row(35.45, 35.45, -1.0, 76.31, (0.18, 0.15)),
    row(48.028, 48.028, -2.0, 80.0, (0.18, 0.15)),
    row(62.004, 62.004, -1.0, 71.42, (0.04, 0.05)),
    row(61.016, 30.004, -1.0, 44.5, (0.60, 0.25)),
];

/// Usual share of hardness in positive charge.
const HARD_SHARE: f64 = ION[CA].share.0 + ION[MG].share.0;
/// µS/cm for each mEq/L of one sign in an ordinary water.
const CONDUCTIVITY_PER_MEQ: f64 = 95.0;
/// mg/L of dry residue for each mEq/L of one sign in an ordinary water.
const SOLIDS_PER_MEQ: f64 = 58.0;
/// Measured dissolved solids are a little more than computed: silica, and water that stays in salts.
const SOLIDS_MIDDLE: f64 = 1.1;
/// Deviation of the balance of charges from zero, as a share of one side: the published analyses of
/// `tests/reference` miss it by 5 % all in all, some of it by [`LABORATORY_SOURCE`].
const BALANCE: f64 = 0.045;
/// Numbers beyond this count as this: no sum of them overflows.
const LARGEST: f64 = 1e9;
/// Usual pH of a public supply and its deviation. Source: [`SHARES_SOURCE`].
const USUAL_PH: (f64, f64) = (7.7, 0.35);
/// Half of an 80 % band in standard deviations.
const Z80: f64 = 1.281_551_565_544_600_4;

type Values = [f64; IONS];

fn sum_of(values: &Values, of: impl Fn(&Row) -> f64) -> f64 {
    values.iter().zip(&ION).map(|(value, row)| value * of(row)).sum()
}

fn is_cation(row: &Row) -> f64 {
    if row.charge > 0.0 { 1.0 } else { 0.0 }
}

/// Positive and negative charge.
fn sides(values: &Values) -> (f64, f64) {
    let plus = sum_of(values, is_cation);
    (plus, values.iter().sum::<f64>() - plus)
}

/// What one mEq/L of each ion adds to conductivity in this water. Sources:
/// [`CONDUCTANCE_SOURCE`], [`ONSAGER_SOURCE`], [`PAIRS_SOURCE`].
fn conductances(values: &Values) -> Values {
    // Half the sum of c z², with c z as charge, in mol/L.
    let strength = 0.5e-3 * sum_of(values, |row| row.charge.abs());
    let root = strength.sqrt();
    let fall = root / (1.0 + root);
    // Pairs x of metal m and sulfate s: x = K (m - x)(s - x), all in mol/L. A pair conducts nothing.
    let (metal, sulfate) = (0.5e-3 * (values[CA] + values[MG]), 0.5e-3 * values[SO4]);
    let bound = metal + sulfate + ten_to(-2.3 + 8.0 * 0.51 * fall.min(0.25));
    let pairs = 2.0 * metal * sulfate / (bound + (bound * bound - 4.0 * metal * sulfate).max(0.0).sqrt());
    let mut each = ION.each_ref().map(|row| {
        let drag = row.charge.abs() * (0.2289 * row.conductance + 30.1) * fall;
        // The law ends long before anything could conduct less than a third of its own.
        (row.conductance - drag).max(row.conductance / 3.0)
    });
    for (place, whole) in [(CA, metal), (MG, metal), (SO4, sulfate)] {
        if whole > 0.0 {
            each[place] *= 1.0 - pairs / whole;
        }
    }
    each
}

fn conductivity(values: &Values) -> f64 {
    values.iter().zip(conductances(values)).map(|(value, each)| value * each).sum()
}

fn solids(values: &Values) -> f64 {
    sum_of(values, |row| row.residue)
}

/// Conductivity of a water at 25 °C by its ions, the alkalinity counted as bicarbonate.
/// Sources: [`CONDUCTANCE_SOURCE`], [`ONSAGER_SOURCE`]. Within 1 % for potassium chloride up to
/// 10 mmol/L, within 5 % for ordinary waters, where ion pairs make it a little high.
pub fn computed_conductivity(ions: &Ions, nitrate: Concentration) -> Conductivity {
    Conductivity::us_per_cm(conductivity(&values_of(ions, nitrate)))
}

/// What is left of a water when it is dried at 180 °C: its ions, bicarbonate as carbonate. Silica is
/// not counted. Source: [`CHECKS_SOURCE`].
pub fn computed_solids(ions: &Ions, nitrate: Concentration) -> Concentration {
    Concentration::mg_per_l(solids(&values_of(ions, nitrate)))
}

fn values_of(ions: &Ions, nitrate: Concentration) -> Values {
    let mass =
        [ions.calcium, ions.magnesium, ions.sodium, ions.potassium, ions.chloride, ions.sulfate, nitrate];
    let mut values = [ions.alkalinity.as_meq_per_l(); IONS];
    for ((value, mass), row) in values.iter_mut().zip(mass).zip(&ION) {
        *value = mass.as_mg_per_l() / row.mg_per_meq;
    }
    values.map(|value| value.clamp(0.0, LARGEST))
}

fn ions_of(values: &Values) -> Ions {
    let mg = |place: usize| Concentration::mg_per_l(values[place] * ION[place].mg_per_meq);
    Ions {
        calcium: mg(CA),
        magnesium: mg(MG),
        sodium: mg(Item::Sodium as usize),
        potassium: mg(K),
        chloride: mg(Item::Chloride as usize),
        sulfate: mg(Item::Sulfate as usize),
        alkalinity: ChargeConcentration::meq_per_l(values[ALK]),
    }
}

/// A figure of the report: value and deviation. Sources of the least deviation: [`LABORATORY_SOURCE`].
#[derive(Clone, Copy)]
struct Figure {
    value: f64,
    deviation: f64,
}

fn figure<Q: Quantity>(given: Option<Estimate<Q>>, per: f64, floor: f64) -> Option<Figure> {
    let given = given?;
    let value = (given.value.base() / per).clamp(0.0, LARGEST);
    let least = 0.03 * value + floor;
    let deviation = (given.deviation() / per).abs().min(LARGEST);
    // What is no number at all is as uncertain as can be.
    Some(Figure {
        value: if value.is_finite() { value } else { 0.0 },
        deviation: if deviation > least { deviation } else { least },
    })
}

/// Everything a report says, as plain numbers.
struct Given {
    ions: [Option<Figure>; IONS],
    hardness: Option<Figure>,
    conductivity: Option<Figure>,
    solids: Option<Figure>,
}

impl Given {
    fn new(report: &WaterReport) -> Self {
        let r = report;
        let mass = [r.calcium, r.magnesium, r.sodium, r.potassium, r.chloride, r.sulfate, r.nitrate];
        let mut ions = [figure(r.alkalinity, 1.0, 0.01); IONS];
        for ((ion, mass), row) in ions.iter_mut().zip(mass).zip(&ION) {
            *ion = figure(mass, row.mg_per_meq, 0.01);
        }
        Self {
            ions,
            hardness: figure(r.hardness, 1.0, 0.02),
            conductivity: figure(r.conductivity, 1.0, 2.0),
            solids: figure(r.dissolved_solids, 1.0, 2.0),
        }
    }

    /// Charge of one sign in this water, roughly: the scale of what is missing.
    fn scale(&self) -> Option<f64> {
        let hard = self.hardness.map(|hardness| (hardness.value, HARD_SHARE));
        let known = |positive: bool| {
            let (mut sum, mut share) = match hard {
                Some(hard) if positive => hard,
                _ => (0.0, 0.0),
            };
            for (place, (ion, row)) in self.ions.iter().zip(&ION).enumerate() {
                let counted = positive && hard.is_some() && (place == CA || place == MG);
                if let (Some(ion), true) = (ion, (row.charge > 0.0) == positive && !counted) {
                    sum += ion.value;
                    share += row.share.0;
                }
            }
            (sum, share)
        };
        let (one, other) = (known(true), known(false));
        let (sum, share) = if one.1 >= other.1 { one } else { other };
        let by = |figure: Option<Figure>, per: f64| figure.map(|figure| figure.value / per);
        // Most of one side tells more than conductivity, less than half tells nothing of the whole.
        let ions = |least: f64| (share >= least).then(|| sum / share);
        ions(0.75)
            .or_else(|| by(self.conductivity, CONDUCTIVITY_PER_MEQ))
            .or_else(|| by(self.solids, SOLIDS_PER_MEQ))
            .or_else(|| ions(0.5))
            .map(|scale| scale.max(0.05))
    }

    /// Whether nothing but potassium and nitrate is missing, so that checks mean something.
    fn is_checkable(&self) -> bool {
        let hard = self.hardness.is_some();
        let missing = |place: usize| {
            self.ions[place].is_none()
                && !(hard && (place == CA || place == MG))
                && place != K
                && place != NO3
        };
        !(0..IONS).any(missing)
    }
}

/// The likely ions, with what is known of how they err together.
struct Belief {
    value: Values,
    covariance: [Values; IONS],
    open: [bool; IONS],
    from: [Basis; IONS],
}

impl Belief {
    fn new(given: &Given, scale: f64, zero: &[bool; IONS]) -> Self {
        let mut belief = Self {
            value: [0.0; IONS],
            covariance: [[0.0; IONS]; IONS],
            open: [false; IONS],
            from: [Basis::Usual; IONS],
        };
        // Hardness less one of its two leaves nothing to what is usual.
        let by_difference = given.hardness.is_some() && given.ions[CA].is_some() != given.ions[MG].is_some();
        for (place, row) in ION.iter().enumerate() {
            let width = if by_difference && (place == CA || place == MG) { 20.0 } else { 1.0 };
            let usual = Figure { value: row.share.0 * scale, deviation: width * row.share.1 * scale };
            let start = match given.ions[place] {
                Some(figure) => figure,
                None if zero[place] => Figure { value: 0.0, ..usual },
                None => usual,
            };
            belief.open[place] = given.ions[place].is_none() && !zero[place];
            belief.value[place] = start.value;
            belief.covariance[place][place] = start.deviation * start.deviation;
        }
        belief
    }

    /// Takes in that the ions, each times its weight, should come to a sum. Only what is open
    /// moves; the errors of given figures are reckoned with but not corrected (Schmidt 1966).
    fn learn(&mut self, weights: &Values, sum: f64, deviation: f64, basis: Basis) {
        let mut shared = [0.0; IONS];
        for (shared, row) in shared.iter_mut().zip(&self.covariance) {
            *shared = row.iter().zip(weights).map(|(own, weight)| own * weight).sum();
        }
        let dot = |one: &Values, other: &Values| one.iter().zip(other).map(|(a, b)| a * b).sum::<f64>();
        let total = dot(&shared, weights) + deviation * deviation;
        if !(total > 0.0 && total.is_finite()) {
            return;
        }
        let off = sum - dot(&self.value, weights);
        for i in (0..IONS).filter(|&i| self.open[i]) {
            let gain = shared[i] / total;
            self.value[i] += gain * off;
            if gain * shared[i] > 0.5 * self.covariance[i][i] {
                self.from[i] = basis;
            }
            // Two open ones share one change: it is made once for each of the two places.
            for (j, shared) in shared.iter().enumerate() {
                self.covariance[i][j] -= gain * shared;
                if !self.open[j] {
                    self.covariance[j][i] -= gain * shared;
                }
            }
        }
    }
}

/// What the ions should come to, each in units of the tolerance: 1 is the limit.
struct Misfit {
    balance: f64,
    hardness: Option<f64>,
    conductivity: Option<f64>,
    solids: Option<f64>,
}

impl Misfit {
    fn new(values: &Values, given: &Given) -> Self {
        let (plus, minus) = sides(values);
        let mut tolerance = match minus {
            m if m <= 3.0 => 0.2,
            m if m <= 10.0 => 0.02 * (plus + minus),
            _ => 0.05 * (plus + minus),
        };
        for place in [K, NO3] {
            if given.ions[place].is_none() {
                tolerance += ION[place].share.1 * plus.max(minus);
            }
        }
        let both = given.ions[CA].is_some() && given.ions[MG].is_some();
        let ratio = |figure: Option<Figure>, computed: f64| {
            figure.map(|figure| if computed > 0.0 { figure.value / computed } else { 0.0 })
        };
        Self {
            balance: (plus - minus) / tolerance,
            hardness: given.hardness.filter(|_| both).map(|hardness| {
                let sum = values[CA] + values[MG];
                (hardness.value - sum) / (0.05 * hardness.value).max(0.2)
            }),
            conductivity: ratio(given.conductivity, conductivity(values)).map(|ratio| (ratio - 1.0) / 0.1),
            solids: ratio(given.solids, solids(values)).map(|ratio| (ratio - SOLIDS_MIDDLE) / 0.1),
        }
    }

    fn all(&self) -> impl Iterator<Item = f64> {
        [Some(self.balance), self.hardness, self.conductivity, self.solids].into_iter().flatten()
    }

    /// Whether all are near enough that no figure need be suspected: good laboratories miss the
    /// tolerance of the charges by half.
    fn is_tolerable(&self) -> bool {
        self.balance.abs() <= 1.5 && self.all().skip(1).all(|off| off.abs() <= 1.0)
    }

    /// How unlikely the misfits are together: twice the negative logarithm of their chance, a
    /// tolerance being two standard deviations.
    fn surprise(&self) -> f64 {
        self.all().map(|off| 4.0 * off * off).sum()
    }
}

/// Typical mEq/L of each ion in public supplies, and how widely they scatter (standard deviation
/// of the natural logarithm). Source: [`SHARES_SOURCE`].
const TYPICAL: [(f64, f64); IONS] =
    [(3.0, 0.8), (1.0, 0.8), (0.8, 0.9), (0.06, 0.7), (0.8, 0.8), (0.9, 0.9), (0.15, 1.1), (3.0, 0.8)];

/// Rarity of the misreadings: twice the negative logarithm of how often they happen, for the
/// common, the uncommon and the rare. Ours.
const COMMON: f64 = 1.0;
const UNCOMMON: f64 = 3.0;
const RARE: f64 = 5.0;
/// Any other mistake: rarer still, because it can fit anything.
const ANY: f64 = 9.0;

/// Misreadings: the item, the kind, what the true figure is in terms of the one read, and rarity.
/// The factors follow from the weights of the ions and of CaCO₃ (50.043 mg/mEq) and from the German
/// degree (0.35665 mEq/L) and the French one (0.19983 mEq/L).
const MISREADINGS: &[(Item, Misreading, f64, f64)] = {
    use Item::{
        Alkalinity, Calcium, Chloride, Conductivity, Hardness, Magnesium, Nitrate, Potassium, Sodium, Sulfate,
    };
    use Misreading::{
        AsBicarbonate, AsCarbonate, AsItself, AsNitrogen, AsSulfur, Cold, Comma, Equivalents, French, German,
        Milli, Millimoles, PerMetre,
    };
    &[
        (Sulfate, AsSulfur, 2.9961, COMMON),
        (Sulfate, AsItself, 1.0 / 2.9961, UNCOMMON),
        (Nitrate, AsNitrogen, 4.4266, COMMON),
        (Nitrate, AsItself, 1.0 / 4.4266, UNCOMMON),
        (Alkalinity, AsBicarbonate, 0.82016, COMMON),
        (Alkalinity, AsCarbonate, 1.21927, COMMON),
        (Alkalinity, German, 17.8474, UNCOMMON),
        (Alkalinity, Millimoles, 50.043, UNCOMMON),
        (Calcium, AsCarbonate, 0.40043, COMMON),
        (Calcium, AsItself, 2.49728, COMMON),
        (Calcium, German, 7.1469, UNCOMMON),
        (Calcium, French, 4.0043, UNCOMMON),
        (Calcium, Millimoles, 40.078, UNCOMMON),
        (Calcium, Equivalents, 20.039, UNCOMMON),
        (Magnesium, AsCarbonate, 0.24284, COMMON),
        (Magnesium, AsItself, 4.11792, COMMON),
        (Magnesium, German, 4.3342, UNCOMMON),
        (Magnesium, French, 2.4284, UNCOMMON),
        (Magnesium, Millimoles, 24.305, UNCOMMON),
        (Magnesium, Equivalents, 12.1525, UNCOMMON),
        (Sodium, Millimoles, 22.990, UNCOMMON),
        (Potassium, Millimoles, 39.098, UNCOMMON),
        (Chloride, Millimoles, 35.45, UNCOMMON),
        (Sulfate, Millimoles, 96.056, UNCOMMON),
        (Nitrate, Millimoles, 62.004, UNCOMMON),
        (Hardness, Millimoles, 2.0, COMMON),
        (Hardness, Equivalents, 0.5, COMMON),
        (Hardness, German, 17.8474, UNCOMMON),
        (Hardness, German, 1.78474, UNCOMMON),
        (Hardness, French, 0.5603, UNCOMMON),
        (Conductivity, Cold, 1.116, COMMON),
        (Conductivity, PerMetre, 10.0, COMMON),
        (Conductivity, Milli, 1000.0, COMMON),
        (Calcium, Comma, 10.0, RARE),
        (Calcium, Comma, 0.1, RARE),
        (Magnesium, Comma, 10.0, RARE),
        (Magnesium, Comma, 0.1, RARE),
        (Sodium, Comma, 10.0, RARE),
        (Sodium, Comma, 0.1, RARE),
        (Potassium, Comma, 10.0, RARE),
        (Potassium, Comma, 0.1, RARE),
        (Chloride, Comma, 10.0, RARE),
        (Chloride, Comma, 0.1, RARE),
        (Sulfate, Comma, 10.0, RARE),
        (Sulfate, Comma, 0.1, RARE),
        (Nitrate, Comma, 10.0, RARE),
        (Nitrate, Comma, 0.1, RARE),
        (Alkalinity, Comma, 10.0, RARE),
        (Alkalinity, Comma, 0.1, RARE),
        (Conductivity, Comma, 0.1, RARE),
    ]
};

/// The misreading that explains best why the checks fail, if one does: with it all of them pass.
fn culprit(values: &Values, given: &Given) -> Option<Culprit> {
    let (mut first, mut second) = (None::<(f64, Suspect)>, None::<(f64, Suspect)>);
    let mut offer = |item: Item, misreading: Misreading, read: f64, value: f64, rarity: f64| {
        let place = item as usize;
        let mut other = Given { ..*given };
        let mut ions = *values;
        let mut surprise = rarity;
        let remedy = Some(Figure { value, deviation: 0.0 });
        if let Some(&(middle, scatter)) = TYPICAL.get(place) {
            ions[place] = value;
            // Nobody reports an ion he did not find, so one that is given is not that far below its like.
            let odd = |value: f64| ((value.max(1e-3 * middle) / middle).ln() / scatter).powi(2);
            surprise += odd(value) - odd(read);
            other.ions[place] = remedy;
        } else if item == Item::Hardness {
            other.hardness = remedy;
        } else {
            other.conductivity = remedy;
        }
        let misfit = Misfit::new(&ions, &other);
        surprise += misfit.surprise();
        if !(misfit.is_tolerable() && surprise.is_finite()) {
            return;
        }
        let suspect = Suspect { item, misreading, remedy: item.amount(value) };
        // The two best, of different items.
        let beats = |held: &Option<(f64, Suspect)>| held.is_none_or(|(least, _)| surprise < least);
        if first.is_some_and(|(_, held)| held.item != item) && beats(&first) {
            second = first;
        }
        if beats(&first) {
            first = Some((surprise, suspect));
        } else if first.is_some_and(|(_, held)| held.item != item) && beats(&second) {
            second = Some((surprise, suspect));
        }
    };
    for &(item, misreading, factor, rarity) in MISREADINGS {
        let read = match item {
            Item::Hardness => given.hardness,
            Item::Conductivity => given.conductivity,
            _ => given.ions[item as usize],
        };
        if let Some(read) = read.filter(|read| read.value > 0.0) {
            offer(item, misreading, read.value, read.value * factor, rarity);
        }
    }
    // A figure that is wrong in any other way is the one that the charges would have.
    let (plus, minus) = sides(values);
    for (place, row) in ION.iter().enumerate() {
        let value = values[place] + (minus - plus) * row.charge.signum();
        let missing = given.ions[place].is_none();
        let alone = given.conductivity.is_none() && given.solids.is_none();
        // Without a second check every figure would explain the first equally well.
        if value < 0.0 || (alone && !missing) || (missing && (place == CA || place == MG)) {
            continue;
        }
        let (misreading, rarity) =
            if missing { (Misreading::Missing, UNCOMMON) } else { (Misreading::Other, ANY) };
        offer(Item::ALL[place], misreading, values[place], value, rarity);
    }
    let (surprise, first) = first?;
    // Twice a logarithm: 3 is a factor of 4.5 in likelihood.
    let second = second.filter(|(other, _)| other - surprise < 3.0).map(|(_, suspect)| suspect);
    Some(Culprit { first, second })
}

/// Reads a report: fills in what it lacks, checks what it says, and names what is probably wrong
/// when it does not fit.
///
/// # Errors
/// [`ReportError::TooLittle`] when neither calcium, hardness, alkalinity, conductivity nor dissolved
/// solids are given.
pub fn read(report: &WaterReport) -> Result<WaterRead, ReportError> {
    let given = Given::new(report);
    let scale = given.scale().ok_or(ReportError::TooLittle)?;

    let mut zero = [false; IONS];
    // Each round fixes at zero what came out below it; there are no more rounds than ions.
    let (belief, as_read) = loop {
        let mut belief = Belief::new(&given, scale, &zero);
        let deviation = |figure: Figure, share: f64| figure.deviation.max(share * figure.value);
        if let Some(hardness) = given.hardness {
            let mut weights = [0.0; IONS];
            (weights[CA], weights[MG]) = (1.0, 1.0);
            belief.learn(&weights, hardness.value, hardness.deviation, Basis::Hardness);
        }
        let as_read = belief.value;
        belief.learn(&ION.each_ref().map(|row| row.charge.signum()), 0.0, BALANCE * scale, Basis::Charges);
        if let Some(measured) = given.conductivity {
            let each = conductances(&belief.value.map(|value| value.max(0.0)));
            belief.learn(&each, measured.value, deviation(measured, 0.05), Basis::Conductivity);
        }
        if let Some(measured) = given.solids {
            let each = ION.each_ref().map(|row| row.residue * SOLIDS_MIDDLE);
            belief.learn(&each, measured.value, deviation(measured, 0.08), Basis::DissolvedSolids);
        }
        let below = (0..IONS).filter(|&place| belief.open[place] && belief.value[place] < 0.0);
        match below.min_by(|&a, &b| belief.value[a].total_cmp(&belief.value[b])) {
            Some(place) => zero[place] = true,
            None => break (belief, as_read),
        }
    };
    let values = belief.value;
    let mut deviations = [0.0; IONS];
    for (place, deviation) in deviations.iter_mut().enumerate() {
        *deviation = belief.covariance[place][place].max(0.0).sqrt();
    }

    let inferred_item = |item: Item, value: f64, deviation: f64, from: Basis, clamped: bool| Inferred {
        item,
        value: item.amount(value),
        low: item.amount((value - Z80 * deviation).max(0.0)),
        high: item.amount(value + Z80 * deviation),
        from,
        clamped,
    };
    let mut inferred: Vec<Inferred> = (0..IONS)
        .filter(|&place| given.ions[place].is_none())
        .map(|i| inferred_item(Item::ALL[i], values[i], deviations[i], belief.from[i], zero[i]))
        .collect();
    let nitrate = [0.0, -Z80, Z80]
        .map(|z| Concentration::mg_per_l((values[NO3] + z * deviations[NO3]).max(0.0) * ION[NO3].mg_per_meq));
    let nitrate = Estimate::band(nitrate[0], nitrate[1], nitrate[2]);
    let ph = report.ph.unwrap_or_else(|| {
        inferred.push(inferred_item(Item::Ph, USUAL_PH.0, USUAL_PH.1, Basis::Usual, false));
        Estimate::normal(Ph::new(USUAL_PH.0), USUAL_PH.1)
    });

    // Checks use what was read; what the balance itself filled in would always balance.
    let checkable = given.is_checkable();
    let as_read = as_read.map(|value| value.max(0.0));
    let misfit = Misfit::new(&as_read, &given);
    let check =
        |ratio: f64, ok: bool| Check { ratio: Count::of(if ratio.is_finite() { ratio } else { 0.0 }), ok };
    let ratio_check = |off: Option<f64>, middle: f64| {
        off.filter(|_| checkable).map(|off| check(middle + 0.1 * off, off.abs() <= 1.0))
    };
    let (plus, minus) = sides(if checkable { &as_read } else { &values });
    let sum = plus + minus;
    let hardness = match (misfit.hardness, given.hardness) {
        (Some(off), Some(hardness)) => {
            Some(check(hardness.value / (as_read[CA] + as_read[MG]), off.abs() <= 1.0))
        }
        _ => None,
    };
    let conductivity = ratio_check(misfit.conductivity, 1.0);
    let solids = ratio_check(misfit.solids, SOLIDS_MIDDLE);
    let solids_by_conductivity = match (given.solids, given.conductivity) {
        (Some(solids), Some(conductivity)) => {
            let ratio = solids.value / conductivity.value;
            Some(check(ratio, (0.55..=0.7).contains(&ratio)))
        }
        _ => None,
    };
    Ok(WaterRead {
        ions: ions_of(&values),
        spread: ions_of(&deviations),
        nitrate,
        ph,
        inferred,
        balance: Fraction::of_one(if sum > 0.0 { (plus - minus) / sum } else { 0.0 }),
        balance_ok: checkable.then_some(misfit.balance.abs() <= 1.0),
        hardness,
        conductivity,
        solids,
        solids_by_conductivity,
        culprit: if checkable && !misfit.is_tolerable() { culprit(&as_read, &given) } else { None },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::data::salts::ion;
    use proptest::prelude::*;

    fn mg(value: f64) -> Option<Estimate<Concentration>> {
        Some(Estimate::exact(Concentration::mg_per_l(value)))
    }

    /// A water that fits: sodium balances the charges where it can, else chloride; conductivity and
    /// solids as computed.
    fn fitting(ca: f64, magnesium: f64, cl: f64, so4: f64, no3: f64, alk: f64) -> WaterReport {
        let k = 2.0;
        let plus = ca / 20.039 + magnesium / 12.1525 + k / 39.098;
        let minus = cl / 35.45 + so4 / 48.028 + no3 / 62.004 + alk;
        let report = WaterReport {
            calcium: mg(ca),
            magnesium: mg(magnesium),
            sodium: mg((minus - plus).max(0.0) * 22.990),
            potassium: mg(k),
            chloride: mg(cl + (plus - minus).max(0.0) * 35.45),
            sulfate: mg(so4),
            nitrate: mg(no3),
            alkalinity: Some(Estimate::exact(ChargeConcentration::meq_per_l(alk))),
            hardness: Some(Estimate::exact(ChargeConcentration::meq_per_l(
                ca / 20.039 + magnesium / 12.1525,
            ))),
            ph: Some(Estimate::exact(Ph::new(7.5))),
            ..WaterReport::default()
        };
        let read = read(&report).unwrap();
        let nitrate = read.nitrate.value;
        WaterReport {
            conductivity: Some(Estimate::exact(computed_conductivity(&read.ions, nitrate))),
            dissolved_solids: Some(Estimate::exact(computed_solids(&read.ions, nitrate) * SOLIDS_MIDDLE)),
            ..report
        }
    }

    fn spread_is_sound(read: &WaterRead) -> bool {
        let numbers = values_of(&read.spread, read.nitrate.high - read.nitrate.low);
        numbers.iter().all(|number| number.is_finite() && *number >= 0.0)
            && read.spread.alkalinity >= ChargeConcentration::ZERO
            && read.nitrate.is_sound()
    }

    #[test]
    fn the_table_of_ions_agrees_with_that_of_the_salts() {
        let known = [ion::CALCIUM, ion::MAGNESIUM, ion::SODIUM, ion::POTASSIUM, ion::CHLORIDE, ion::SULFATE];
        for (row, (mass, charge)) in ION.iter().zip(known) {
            assert!((row.mg_per_meq - mass.as_g_per_mol() / charge).abs() < 1e-3, "{}", row.mg_per_meq);
        }
    }

    #[test]
    fn too_little_is_refused() {
        let with = |report: WaterReport| read(&report).err();
        assert_eq!(with(WaterReport::default()), Some(ReportError::TooLittle));
        let few =
            WaterReport { nitrate: mg(10.0), sodium: mg(10.0), magnesium: mg(5.0), ..WaterReport::default() };
        assert_eq!(with(few), Some(ReportError::TooLittle));
        let conductivity = Some(Estimate::exact(Conductivity::us_per_cm(500.0)));
        let read = read(&WaterReport { conductivity, ..WaterReport::default() }).unwrap();
        assert_eq!((read.inferred.len(), read.balance_ok), (9, None));
    }

    #[test]
    fn a_contradiction_is_clamped_and_said() {
        let report = WaterReport {
            calcium: mg(100.0),
            hardness: Some(Estimate::exact(ChargeConcentration::meq_per_l(3.0))),
            alkalinity: Some(Estimate::exact(ChargeConcentration::meq_per_l(2.5))),
            ..WaterReport::default()
        };
        let read = read(&report).unwrap();
        let magnesium = read.inferred.iter().find(|found| found.item == Item::Magnesium).unwrap();
        assert!(magnesium.clamped && magnesium.value.base() == 0.0, "{magnesium:?}");
    }

    proptest! {
        #[test]
        fn a_complete_report_is_left_as_it_is(
            ca in 1.0..200.0f64, magnesium in 0.0..40.0f64, cl in 0.0..200.0f64, so4 in 0.0..300.0f64,
            no3 in 0.0..50.0f64, alk in 0.1..8.0f64,
        ) {
            let report = fitting(ca, magnesium, cl, so4, no3, alk);
            let read = read(&report).unwrap();
            prop_assert!(read.inferred.is_empty());
            prop_assert!((read.ions.calcium.as_mg_per_l() - ca).abs() < 1e-9);
            prop_assert!((read.ions.sulfate.as_mg_per_l() - so4).abs() < 1e-9);
            prop_assert!((read.ions.alkalinity.as_meq_per_l() - alk).abs() < 1e-12);
            prop_assert_eq!(read.balance_ok, Some(true));
            for check in [read.conductivity, read.solids, read.hardness].into_iter().flatten() {
                prop_assert!(check.ok, "{check:?}");
            }
            prop_assert!(read.culprit.is_none() && spread_is_sound(&read));
        }

        /// Every figure, left out of a water that fits, comes back close to what it was: within four
        /// deviations, nearer than its usual share alone would bring it.
        #[test]
        fn a_missing_figure_comes_back(
            ca in 20.0..150.0f64, magnesium in 2.0..30.0f64, cl in 5.0..100.0f64, so4 in 5.0..150.0f64,
            no3 in 0.0..30.0f64, alk in 0.5..6.0f64, place in 0..IONS,
        ) {
            let full = fitting(ca, magnesium, cl, so4, no3, alk);
            let whole = read(&full).unwrap();
            let truth = values_of(&whole.ions, whole.nitrate.value)[place];
            let mut part = WaterReport { hardness: None, ..full };
            match Item::ALL[place] {
                Item::Calcium => part.calcium = None,
                Item::Magnesium => part.magnesium = None,
                Item::Sodium => part.sodium = None,
                Item::Potassium => part.potassium = None,
                Item::Chloride => part.chloride = None,
                Item::Sulfate => part.sulfate = None,
                Item::Nitrate => part.nitrate = None,
                _ => part.alkalinity = None,
            }
            let read = read(&part).unwrap();
            let found = values_of(&read.ions, read.nitrate.value)[place];
            let side = sides(&values_of(&whole.ions, whole.nitrate.value)).0;
            prop_assert!((found - truth).abs() <= 0.15 * side + 0.1, "{found} {truth} of {side}");
            prop_assert_eq!(read.inferred.len(), 1);
            prop_assert!(spread_is_sound(&read));
        }

        #[test]
        fn no_report_gives_anything_but_numbers(
            numbers in proptest::collection::vec(
                prop_oneof![0.0..500.0f64, -1e6..1e6f64, Just(0.0), Just(1e300), Just(-1e300), Just(1e-300)], 12),
            there in proptest::collection::vec(any::<bool>(), 12),
            band in 0.0..2.0f64,
        ) {
            fn one<Q: Quantity>(numbers: &[f64], there: &[bool], band: f64, place: usize) -> Option<Estimate<Q>> {
                let end = |factor: f64| Q::from_base(numbers[place] * factor);
                there[place].then(|| Estimate::band(Q::from_base(numbers[place]), end(1.0 - band), end(1.0 + band)))
            }
            let report = WaterReport {
                calcium: one(&numbers, &there, band, 0),
                magnesium: one(&numbers, &there, band, 1),
                sodium: one(&numbers, &there, band, 2),
                potassium: one(&numbers, &there, band, 3),
                chloride: one(&numbers, &there, band, 4),
                sulfate: one(&numbers, &there, band, 5),
                nitrate: one(&numbers, &there, band, 6),
                alkalinity: one(&numbers, &there, band, 7),
                hardness: one(&numbers, &there, band, 8),
                conductivity: one(&numbers, &there, band, 9),
                dissolved_solids: one(&numbers, &there, band, 10),
                ph: None,
            };
            if let Ok(read) = read(&report) {
                prop_assert!(spread_is_sound(&read), "{read:?}");
                let text = format!("{read:?}").replace("inferred", "");
                prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
                for found in &read.inferred {
                    let (low, value, high) = (found.low.base(), found.value.base(), found.high.base());
                    prop_assert!(0.0 <= low && low <= value && value <= high, "{found:?}");
                }
            }
        }
    }
}
