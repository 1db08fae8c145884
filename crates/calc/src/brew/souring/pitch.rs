//! The bacteria as they come: living cells from what the pack says, and what they need.

use crate::data::Source;
use crate::data::cultures::Form;
use crate::numeric::power::power;
use crate::quantity::{CellDensity, Cells, Concentration, Count, Duration, Estimate, Temperature, Volume};
use std::fmt;

/// What is pitched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pack {
    /// How the culture comes.
    pub form: Form,
    /// Capsules, grams, or millilitres, as [`Form::unit`] says; above 0..=100,000.
    pub amount: Count,
    /// Living cells in one of these as the pack says, 0..=10,000 billion; `None` for what is usual.
    pub label: Option<Cells>,
    /// Age since it was made or grown, 0..=10 years.
    pub age: Duration,
    /// Temperature at which it was kept, -30..=50 °C.
    pub kept_at: Temperature,
}

/// Why no pitch can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PitchError {
    /// The amount lies outside 0..=100,000.
    Amount(Count),
    /// The label lies outside 0..=10,000 billion.
    Label(Cells),
    /// Age lies outside 0..=10 years.
    Age(Duration),
    /// It was kept outside -30..=50 °C.
    KeptAt(Temperature),
    /// The volume of wort must be above zero.
    Wort(Volume),
    /// The stock must hold more than 0 and at most 100 g/L.
    Stock(Concentration),
    /// Manganese in the wort can't be below zero.
    InWort(Concentration),
}

impl fmt::Display for PitchError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Amount(amount) => {
                write!(f, "the amount pitched must be above 0 and up to 100000, not {}", amount.value())
            }
            Self::Label(cells) => write!(
                f,
                "the pack's count must be above 0 and up to 10000 billion, not {} billion",
                cells.as_billions()
            ),
            Self::Age(age) => write!(f, "the age must be 0 to 10 years, not {} days", age.as_hours() / 24.0),
            Self::KeptAt(at) => {
                write!(f, "it must have been kept at -30 to 50 °C, not {} °C", at.as_celsius())
            }
            Self::Wort(volume) => {
                write!(f, "the volume of wort must be above 0 L, not {} L", volume.as_litres())
            }
            Self::Stock(stock) => {
                write!(f, "the stock must hold above 0 and up to 100 g/L, not {}", stock.as_g_per_l())
            }
            Self::InWort(there) => {
                write!(f, "manganese in the wort can't be below 0 mg/L, not {}", there.as_mg_per_l())
            }
        }
    }
}

/// Living cells of a pack. What the label says, or what is usual, with its
/// spread; less what died since: cells die at a rate that grows 3.4-fold each 10 K,
/// four times out of five within a factor of 3 of the form's own. Sources: those of [`Form`].
pub fn living_cells(pack: &Pack) -> Result<Estimate<Cells>, PitchError> {
    let amount = pack.amount.value();
    if !(amount > 0.0 && amount <= 1e5) {
        return Err(PitchError::Amount(pack.amount));
    }
    let usual = pack.form.usual();
    let cells = pack.label.unwrap_or(usual.cells);
    if !(cells.as_billions() > 0.0 && cells.as_billions() <= 1e4) {
        return Err(PitchError::Label(cells));
    }
    let days = pack.age.as_hours() / 24.0;
    if !(0.0..=3653.0).contains(&days) {
        return Err(PitchError::Age(pack.age));
    }
    let celsius = pack.kept_at.as_celsius();
    if !(-30.0..=50.0).contains(&celsius) {
        return Err(PitchError::KeptAt(pack.kept_at));
    }
    // What a label promises is trusted more than what is only usual.
    let doubt = if pack.label.is_some() { usual.label_doubt } else { usual.doubt }.value().ln();
    let died = usual.dies_per_day.value() * power(3.39, (celsius - 4.0) / 10.0) * days;
    // The two doubts are independent: in quadrature, to each side on its own.
    let (less, more) = (doubt.hypot(2.0 * died), doubt.hypot(died * (1.0 - 1.0 / 3.0)));
    let alive = |off: f64| Cells::billions((amount * cells.as_billions() * (off - died).exp()).max(1e-9));
    Ok(Estimate::band(alive(0.0), alive(-less), alive(more)))
}

/// Living cells per volume of wort, for the forecast.
pub fn pitch_rate(cells: Estimate<Cells>, wort: Volume) -> Result<Estimate<CellDensity>, PitchError> {
    if wort <= Volume::ZERO || !wort.is_finite() {
        return Err(PitchError::Wort(wort));
    }
    Ok(cells.map(|cells| cells / wort))
}

/// The most manganese that a wort should come to.
pub const MANGANESE_CEILING: Concentration = Concentration::mg_per_l(0.4);
/// Source of [`MANGANESE_CEILING`].
pub const MANGANESE_CEILING_SOURCE: Source = Source::published(
    "health-based value for drinking water of the WHO until 2011, 0.4 mg/L: Frisbie et al. 2012, Environ. Health Perspect. 120:775, who hold it for too high; later editions are stricter for infants",
);
/// What a micro-dose adds at most.
pub const MANGANESE_DOSE: Concentration = Concentration::mg_per_l(0.2);
/// Source of [`MANGANESE_DOSE`].
pub const MANGANESE_DOSE_SOURCE: Source = Source::our_estimate(
    "L. plantarum takes up manganese with a Km of 0.2 µmol/L, 0.01 mg/L (Archibald & Duong 1984); wort holds ten times that, so a dose is a try when several pitches were slow",
);
/// Manganese that wort of malt holds, when nobody measured it.
pub const MANGANESE_IN_WORT: Concentration = Concentration::mg_per_l(0.15);
/// Source of [`MANGANESE_IN_WORT`].
pub const MANGANESE_IN_WORT_SOURCE: Source = Source::from_memory("wort holds about 0.1 to 0.2 mg/L");
/// Manganese in a gram of its sulfate with one water, 54.938 of 169.01.
const MANGANESE_IN_SULFATE: f64 = 54.938 / 169.01;

/// Stock solution of manganese(II) sulfate monohydrate to add for *L. plantarum*: so much
/// that the wort gains [`MANGANESE_DOSE`], or less where the ceiling comes first; zero when
/// it is there already. The dose is milligrams, so it is measured as a solution: 1 g in a
/// litre is a good stock. `stock`: grams of the salt per litre, above 0..=100.
pub fn manganese_stock(
    wort: Volume,
    in_wort: Concentration,
    stock: Concentration,
) -> Result<Volume, PitchError> {
    if wort <= Volume::ZERO || !wort.is_finite() {
        return Err(PitchError::Wort(wort));
    }
    if !(stock > Concentration::ZERO && stock.as_g_per_l() <= 100.0) {
        return Err(PitchError::Stock(stock));
    }
    if in_wort < Concentration::ZERO || !in_wort.is_finite() {
        return Err(PitchError::InWort(in_wort));
    }
    let room = (MANGANESE_CEILING - in_wort).max(Concentration::ZERO).min(MANGANESE_DOSE);
    let needed = room * wort;
    Ok(Volume::litres(needed.as_grams() / (MANGANESE_IN_SULFATE * stock.as_g_per_l())))
}
