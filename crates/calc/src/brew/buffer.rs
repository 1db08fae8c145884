//! How much acid a wort takes: its buffering as a curve over pH.
//!
//! Wort holds hundreds of things that take up protons. Seven groups with fixed pKa' stand for all
//! of them: between pH 2.5 and 8.5 they lie so close that some mixture of them follows nearly any
//! smooth titration curve. Only their amounts are unknown, and the charge balance
//!
//! sum a_i (φ_i(start) - φ_i(now)) + free protons gained = charge given by the acid at the pH now
//!
//! (φ: share that has lost its proton) is linear in them. So the amounts are a joint normal, and
//! each reading narrows it by the rules of the linear Gaussian model: a Kalman filter whose state
//! is the seven amounts, the true pH at the start, and what was poured more or less than meant.
//!
//! - A reading is off by the meter's error; in the balance that is the error times the slope of
//!   the titration there. The start is a reading too, shared by all that follow.
//! - Each dose is off by 2 %, and the errors of the doses stay in the wort and add up.
//! - The balance bends with the pH at the start; so it is linearised, solved, linearised at the
//!   answer and solved again, three times in all. Nothing is random; the order of readings does
//!   not matter.
//! - No amount can be below zero: the most probable amounts under that condition are taken, found
//!   by Hildreth's method, while the spread stays that of the normal.
//!
//! Amounts are per litre of the wort at hand. What the acid itself adds to the volume is left out:
//! 20 mL in 20 L change only the free protons, by a thousandth. The same holds for a titrated sample,
//! because a diluted sample still has all its buffers.

use super::drop::{WORT_BUFFERING, WORT_BUFFERING_DEVIATION};
use crate::chem::activity::activity_exponent;
use crate::chem::activity::hydrogen;
use crate::data::Source;
use crate::data::acids::{AcidKind, charge, shares};
use crate::numeric::power::ten_to;
use crate::numeric::root::root;
use crate::quantity::{
    Buffering, ChargeConcentration, Count, Estimate, MolarConcentration, Ph, PhDifference, Plato, Temperature,
};

/// Number of groups.
const GROUPS: usize = 7;
/// The pKa' of the groups at room temperature among the salts of wort: strong carboxyls of amino
/// acids, with phosphoric acid's first; carboxyls at the ends of peptides, of citrate and lactate;
/// of aspartate, glutamate and malate; of succinate and citrate; histidine and citrate's last;
/// phosphate's second; amino ends of peptides.
const PKA: [f64; GROUPS] = [2.6, 3.4, 4.2, 5.0, 5.9, 6.9, 8.3];
/// Source of the pKa' and of their names.
pub const GROUPS_SOURCE: Source = Source::our_estimate(
    "pKa' spread evenly over the range, near the constants of the named groups; they stand for mixtures",
);

/// Expected amounts in mEq/L per degree Plato. Fitted, no published figures: to the lactic acid
/// that took wort of 1.043 from pH 5.03 to 3.41, with the same buffering all the way to 3.2, and
/// to the titratable acidity of wort that was not soured.
const PER_PLATO: [f64; GROUPS] = [0.62, 0.83, 0.48, 0.80, 0.32, 0.34, 0.30];
/// Source of the expected amounts.
pub const AMOUNTS_SOURCE: Source = Source::derived(
    "fitted to a Heriot-Watt master's thesis: 4.13 g/L of lactic acid from pH 5.03 to 3.41 at 1.043, titratable acidity of 1.66 g/L at 15 °P",
);
/// Standard deviation of one group's amount between worts, as a share of it, when the capacity as
/// a whole is the same.
const SHAPE: f64 = 0.5;
/// Source of the spread of the curve's shape. The spread of the capacity is
/// [`WORT_BUFFERING_DEVIATION`]'s.
pub const SHAPE_SOURCE: Source = Source::our_estimate(
    "the two worts of a Heriot-Watt master's thesis differ by a fifth; no published titration of many worts is known to us",
);
/// The capacity that a house learns is that between these.
const SPAN: [f64; 2] = [5.0, 3.4];

/// Ionic strength of wort, for the acids dosed and the free protons.
pub const WORT_STRENGTH: MolarConcentration = MolarConcentration::mmol_per_l(50.0);
/// Source of [`WORT_STRENGTH`].
pub const WORT_STRENGTH_SOURCE: Source = Source::our_estimate(
    "wort of 8 to 15 °P holds 30 to 60 mmol/L of salts; potassium and phosphate most of all",
);
/// pH is read at room temperature.
pub(super) const ROOM: Temperature = Temperature::celsius(20.0);

/// Relative standard deviation of a measured dose of acid.
pub(crate) const DOSE_ERROR: f64 = 0.02;
/// What the seven groups can't follow, as an error of pH: our estimate.
const MODEL_ERROR: f64 = 0.01;
/// A wort that takes less or more than this many times the acid expected is a slip of the pen.
const CREDIBLE: [f64; 2] = [0.2, 5.0];
/// Rounds of linearising.
const ROUNDS: usize = 3;
/// Half-width of an 80 % band in standard deviations.
const Z80: f64 = 1.281_551_565_544_600_4;
const LN10: f64 = std::f64::consts::LN_10;

/// Place of the true pH at the start in the state, behind the amounts.
const START: usize = GROUPS;
/// Place of what was poured more than meant, mmol/L.
const POURED: usize = GROUPS + 1;
const STATE: usize = GROUPS + 2;

/// Protons an acid's molecule gives in wort of this pH, on average.
pub fn charge_in_wort(kind: AcidKind, ph: Ph) -> Count {
    kind.charge_per_mol_in(ph, ROOM, WORT_STRENGTH)
}

/// What the water of wort holds and the groups have lost at one pH.
#[derive(Clone, Copy)]
struct At {
    /// Share of each group without its proton.
    lost: [f64; GROUPS],
    /// Free protons, mmol/L.
    free: f64,
}

fn at(ph: f64) -> At {
    let ph = ph.clamp(0.0, 14.0);
    let mut lost = PKA;
    for share in &mut lost {
        *share = (1.0 + ten_to(*share - ph)).recip();
    }
    let activity = activity_exponent(1, WORT_STRENGTH, ROOM).value();
    At { lost, free: 1e3 * ten_to(-ph - activity) }
}

impl At {
    /// Acid that a litre takes from here to there, mEq.
    fn taken(&self, there: &Self, amounts: &[f64]) -> f64 {
        dot(amounts, &self.to(there)) + there.free - self.free
    }

    /// What one mEq of each group takes from here to there.
    fn to(&self, there: &Self) -> [f64; GROUPS] {
        let mut shares = self.lost;
        for (share, other) in shares.iter_mut().zip(&there.lost) {
            *share -= other;
        }
        shares
    }

    /// Acid for the next unit of pH, mEq/(L·pH).
    fn slope(&self, amounts: &[f64]) -> f64 {
        let groups: f64 = amounts.iter().zip(&self.lost).map(|(a, s)| a.max(0.0) * s * (1.0 - s)).sum();
        LN10 * (groups + self.free)
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// A matrix times a vector.
fn times<const N: usize>(matrix: &[[f64; N]; N], vector: &[f64; N]) -> [f64; N] {
    let mut product = [0.0; N];
    for (entry, row) in product.iter_mut().zip(matrix) {
        *entry = dot(row, vector);
    }
    product
}

/// Adds `weight` times `a bᵀ`.
fn add_product<const N: usize>(matrix: &mut [[f64; N]; N], weight: f64, a: &[f64; N]) {
    for (row, left) in matrix.iter_mut().zip(a) {
        for (entry, right) in row.iter_mut().zip(a) {
            *entry += weight * left * right;
        }
    }
}

/// What is believed of a wort's buffering: amounts of the groups and how they spread together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BufferCurve {
    /// Most probable amounts, mEq/L.
    amounts: [f64; GROUPS],
    /// Their covariance.
    spread: [[f64; GROUPS]; GROUPS],
    /// Amounts over the expected amounts, where a curve of factor 1 stands: degrees Plato.
    plato: f64,
}

impl BufferCurve {
    /// What is expected of a wort before any acid was measured. The amounts go with the gravity;
    /// gravity counts the extract from malt and grain, 0..=40 °P, as sugar brings no buffers.
    ///
    /// `house` is the factor that earlier batches taught; its band is taken as the spread of the
    /// capacity between pH 5 and 3.4. A factor without a band, as 1 before the first batch, gets
    /// the spread between published worts. Around that capacity the shape of the curve spreads by
    /// [`SHAPE_SOURCE`]. Sources: [`AMOUNTS_SOURCE`], [`super::drop::WORT_BUFFERING_SOURCE`].
    pub fn prior(gravity: Plato, house: Estimate<Count>) -> Self {
        let plato = gravity.as_degrees().clamp(0.0, 40.0);
        let factor = house.value.value().clamp(0.05, 20.0);
        let scale = if house.low < house.high {
            (house.deviation() / factor).clamp(0.0, 3.0)
        } else {
            WORT_BUFFERING_DEVIATION / WORT_BUFFERING
        };
        let amounts = PER_PLATO.map(|amount| amount * plato * factor);
        let mut curve = Self { amounts, spread: [[0.0; GROUPS]; GROUPS], plato };
        for ((place, row), amount) in curve.spread.iter_mut().enumerate().zip(&amounts) {
            if let Some(entry) = row.get_mut(place) {
                *entry = (SHAPE * amount).powi(2);
            }
        }
        // The shape varies with the capacity held; then the capacity varies as a whole.
        let span = at(SPAN[0]).to(&at(SPAN[1]));
        curve.forget(&span);
        add_product(&mut curve.spread, scale * scale, &amounts);
        curve
    }

    /// Takes out of the spread all that goes with one sum of the amounts; gives the direction in
    /// which the amounts move when that sum moves by one standard deviation.
    fn forget(&mut self, sum: &[f64; GROUPS]) -> [f64; GROUPS] {
        let together = times(&self.spread, sum);
        let variance = dot(&together, sum);
        if variance > 1e-18 {
            add_product(&mut self.spread, -variance.recip(), &together);
            together.map(|entry| entry / variance.sqrt())
        } else {
            [0.0; GROUPS]
        }
    }

    /// Acid, as charge, that takes a litre of this wort from one pH to another: its groups and the
    /// free protons. Below zero when `to` is the higher one. pH 0..=14; beyond, the nearer end.
    pub fn demand(&self, from: Ph, to: Ph) -> Estimate<ChargeConcentration> {
        let (from, to) = (at(from.value()), at(to.value()));
        let shares = from.to(&to);
        let groups = dot(&self.amounts, &shares);
        let deviation = dot(&times(&self.spread, &shares), &shares).max(0.0).sqrt();
        let meq = |groups: f64| ChargeConcentration::meq_per_l(groups + to.free - from.free);
        // Groups never give when they should take.
        let (one, other) = (groups - Z80 * deviation, groups + Z80 * deviation);
        let in_sense = |end: f64| if end * groups < 0.0 { 0.0 } else { end };
        Estimate::band(meq(groups), meq(in_sense(one)), meq(in_sense(other)))
    }

    /// Buffering at one pH, free protons included. pH 0..=14; beyond, the nearer end.
    pub fn slope(&self, ph: Ph) -> Buffering {
        Buffering::meq_per_l_ph(at(ph.value()).slope(&self.amounts))
    }

    /// pH after a strong acid, or after a base when the charge is below zero: 0..=14.
    pub fn ph_after(&self, from: Ph, acid: ChargeConcentration) -> Ph {
        let from = at(from.value());
        settle(&|there, _| from.taken(there, &self.amounts) - acid.as_meq_per_l())
    }

    /// pH after so much of one of the acids: 0..=14. An amount below zero counts as none.
    pub fn ph_with(&self, from: Ph, kind: AcidKind, amount: MolarConcentration) -> Ph {
        let (from, pka) = (at(from.value()), kind.constants_in(ROOM, WORT_STRENGTH));
        let amount = amount.as_mmol_per_l().max(0.0);
        settle(&|there, ph| from.taken(there, &self.amounts) - amount * mean_charge(pka, ph))
    }

    /// The curve after doses and readings in this wort; see [`Titration`].
    #[must_use]
    pub fn updated(&self, start: Estimate<Ph>, steps: &[Step], kind: AcidKind, meter: PhDifference) -> Self {
        Titration::new(self, start, steps, kind, meter).curve()
    }

    /// Capacity between pH 5 and 3.4 against that expected of the gravity alone: what a house
    /// learns. 1 for a wort without extract.
    pub fn scale(&self) -> Estimate<Count> {
        let span = at(SPAN[0]).to(&at(SPAN[1]));
        let expected = self.plato * dot(&PER_PLATO, &span);
        if expected < 1e-9 {
            return Estimate::exact(Count::of(1.0));
        }
        let deviation = dot(&times(&self.spread, &span), &span).max(0.0).sqrt();
        Estimate::normal(Count::of(dot(&self.amounts, &span) / expected), deviation / expected)
    }

    /// Six exact curves, each as likely as the others, that stand for the belief: their mean is
    /// the curve, and demand from pH 5 to 3.4, to 4.2 and to 7 spreads among them as here. For
    /// carrying the belief through what is not linear.
    pub fn members(&self) -> [Self; 6] {
        let mut rest = *self;
        let exact = Self { spread: [[0.0; GROUPS]; GROUPS], ..*self };
        let mut members = [exact; 6];
        let from = at(SPAN[0]);
        for (pair, to) in members.chunks_exact_mut(2).zip([SPAN[1], 4.2, 7.0]) {
            let direction = rest.forget(&from.to(&at(to)));
            for (member, sign) in pair.iter_mut().zip([1.0, -1.0]) {
                for (amount, step) in member.amounts.iter_mut().zip(&direction) {
                    *amount = (*amount + sign * 3_f64.sqrt() * step).max(0.0);
                }
            }
        }
        members
    }
}

/// The pH at which a balance that falls with the pH is zero.
fn settle(balance: &dyn Fn(&At, Ph) -> f64) -> Ph {
    let of = |ph: f64| balance(&at(ph), Ph::new(ph));
    Ph::new(root(&of, 0.0, 14.0, 1e-9).unwrap_or_else(|_| if of(7.0) > 0.0 { 14.0 } else { 0.0 }))
}

/// Acid added to wort, stirred in, and the pH then read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Acid added since the step before, per litre of wort; below zero counts as none.
    pub acid: MolarConcentration,
    /// pH after it, when it was read.
    pub read: Option<Ph>,
}

/// A wort with acid going into it: what is known of its curve, of its pH now and of the acid in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Titration {
    mean: [f64; STATE],
    spread: [[f64; STATE]; STATE],
    plato: f64,
    kind: AcidKind,
    /// Acid poured since the start as it was measured out, mmol/L.
    acid: f64,
}

impl Titration {
    /// Follows a wort through its doses. `start` is the pH before the first, with its own give or
    /// take (without a band: the meter's); `meter` is the standard deviation of a reading.
    /// pH 0..=14; what lies outside counts as the nearer end.
    pub fn new(
        prior: &BufferCurve,
        start: Estimate<Ph>,
        steps: &[Step],
        kind: AcidKind,
        meter: PhDifference,
    ) -> Self {
        let own = start.deviation();
        let deviation = if own > 0.0 { own.min(7.0) } else { of_meter(meter) };
        Self::begin(prior, start.value, deviation, kind).poured(steps, meter)
    }

    /// The same after more doses.
    ///
    /// A reading that no wort can show after this much acid is a slip, or the acid was not what
    /// the bottle says: the titration begins anew at it, and what came before is forgotten.
    #[must_use]
    pub fn poured(&self, steps: &[Step], meter: PhDifference) -> Self {
        let meter = of_meter(meter);
        let (mut begun, mut steps) = (*self, steps);
        while let Some((place, ph)) = begun.slip(steps, meter) {
            begun = Self::begin(&self.curve(), ph, meter, self.kind);
            steps = steps.get(place + 1..).unwrap_or_default();
        }
        let mut titration = begun;
        for _ in 0..ROUNDS {
            titration = begun.followed(steps, &titration, meter);
        }
        titration.without_negative();
        titration
    }

    /// The same wort without any acid in it: what a titrated sample taught, for the rest of the wort.
    #[must_use]
    pub fn emptied(&self) -> Self {
        let mut empty = Self { acid: 0.0, ..*self };
        empty.mean[POURED] = 0.0;
        for row in &mut empty.spread {
            row[POURED] = 0.0;
        }
        empty.spread[POURED] = [0.0; STATE];
        empty
    }

    fn begin(prior: &BufferCurve, start: Ph, deviation: f64, kind: AcidKind) -> Self {
        let mut mean = [0.0; STATE];
        for (place, amount) in mean.iter_mut().zip(&prior.amounts) {
            *place = *amount;
        }
        mean[START] = start.value().clamp(0.0, 14.0);
        let mut spread = [[0.0; STATE]; STATE];
        for (row, known) in spread.iter_mut().zip(&prior.spread) {
            for (entry, covariance) in row.iter_mut().zip(known) {
                *entry = *covariance;
            }
        }
        spread[START][START] = deviation * deviation;
        Self { mean, spread, plato: prior.plato, kind, acid: 0.0 }
    }

    fn amounts(&self) -> &[f64] {
        self.mean.get(..GROUPS).unwrap_or_default()
    }

    /// The first reading that can't be, with its place.
    fn slip(&self, steps: &[Step], meter: f64) -> Option<(usize, Ph)> {
        let pka = self.kind.constants_in(ROOM, WORT_STRENGTH);
        let from = at(self.mean[START]);
        let error = 3.0 * meter.hypot(self.spread[START][START].sqrt());
        let mut acid = self.acid;
        steps.iter().enumerate().find_map(|(place, step)| {
            acid += step.acid.as_mmol_per_l().max(0.0);
            let ph = step.read?;
            let there = at(ph.value());
            let expected = from.taken(&there, self.amounts());
            let unsure = error * from.slope(self.amounts()).max(there.slope(self.amounts()));
            let charge = acid * mean_charge(pka, ph);
            let possible =
                CREDIBLE[0] * (expected - unsure) <= charge && charge <= CREDIBLE[1] * (expected + unsure);
            (!possible).then_some((place, ph))
        })
    }

    /// The state after all steps, linearised at another state.
    fn followed(&self, steps: &[Step], near: &Self, meter: f64) -> Self {
        let pka = self.kind.constants_in(ROOM, WORT_STRENGTH);
        let from = at(near.mean[START]);
        let by_start = from.slope(near.amounts());
        let mut now = *self;
        for step in steps {
            let dose = step.acid.as_mmol_per_l().clamp(0.0, 1e6);
            now.acid += dose;
            now.spread[POURED][POURED] += (DOSE_ERROR * dose).powi(2);
            let Some(read) = step.read else { continue };
            let there = at(read.value());
            let (charge, steeper) = charge_and_slope(pka, read);
            // The balance: what the wort took less what the acid gave.
            let mut row = [0.0; STATE];
            for (entry, share) in row.iter_mut().zip(&from.to(&there)) {
                *entry = *share;
            }
            row[START] = by_start;
            row[POURED] = -charge;
            let known = there.free - from.free - by_start * near.mean[START] - charge * now.acid;
            let slope = there.slope(near.amounts()) + steeper * (now.acid + near.mean[POURED]).max(0.0);
            let noise = (slope * meter.hypot(MODEL_ERROR)).powi(2);
            now.learn(&row, -known, noise);
        }
        now
    }

    /// One linear observation with its variance.
    fn learn(&mut self, row: &[f64; STATE], observed: f64, noise: f64) {
        let together = times(&self.spread, row);
        let variance = dot(&together, row) + noise;
        if variance > 0.0 {
            let missed = observed - dot(&self.mean, row);
            for (value, with) in self.mean.iter_mut().zip(&together) {
                *value += with * missed / variance;
            }
            add_product(&mut self.spread, -variance.recip(), &together);
        }
    }

    /// Moves the mean to the most probable state with no amount below zero (Hildreth 1957).
    fn without_negative(&mut self) {
        let mut pushes = [0.0; GROUPS];
        for _ in 0..30 {
            for (place, push) in pushes.iter_mut().enumerate() {
                let column = self.spread.get(place).copied().unwrap_or_default();
                let own = column.get(place).copied().unwrap_or_default();
                if own > 1e-18 {
                    let missing = -self.mean.get(place).copied().unwrap_or_default() / own;
                    let change = missing.max(-*push);
                    *push += change;
                    for (value, with) in self.mean.iter_mut().zip(&column) {
                        *value += change * with;
                    }
                }
            }
        }
        for amount in self.mean.iter_mut().take(GROUPS) {
            *amount = amount.max(0.0);
        }
    }

    /// The wort's curve as it is known now.
    pub fn curve(&self) -> BufferCurve {
        let mut curve =
            BufferCurve { amounts: [0.0; GROUPS], spread: [[0.0; GROUPS]; GROUPS], plato: self.plato };
        for (amount, value) in curve.amounts.iter_mut().zip(&self.mean) {
            *amount = *value;
        }
        for (row, known) in curve.spread.iter_mut().zip(&self.spread) {
            for (entry, covariance) in row.iter_mut().zip(known) {
                *entry = *covariance;
            }
        }
        curve
    }

    /// The acid that goes in.
    pub const fn kind(&self) -> AcidKind {
        self.kind
    }

    /// Acid poured since the start, as it was measured out.
    pub const fn acid(&self) -> MolarConcentration {
        MolarConcentration::mmol_per_l(self.acid)
    }

    /// Acid still to pour until a pH, per litre; below zero when the wort is past it. A normal
    /// estimate from all that was read, not from the last reading alone. Target 1..=14.
    pub fn to_go(&self, to: Ph) -> Estimate<MolarConcentration> {
        let to = to.max(Ph::new(1.0));
        let (from, there) = (at(self.mean[START]), at(to.value()));
        let charge = charge_in_wort(self.kind, to).value();
        let mut row = [0.0; STATE];
        for (entry, share) in row.iter_mut().zip(&from.to(&there)) {
            *entry = share / charge;
        }
        row[START] = from.slope(self.amounts()) / charge;
        row[POURED] = -1.0;
        let more = from.taken(&there, self.amounts()) / charge - self.acid - self.mean[POURED];
        Estimate::normal(MolarConcentration::mmol_per_l(more), self.deviation(&row))
    }

    /// pH with so much acid in all, poured as well as the doses so far: with the acid poured so
    /// far, the pH now.
    pub fn ph_at(&self, acid: MolarConcentration) -> Estimate<Ph> {
        let pka = self.kind.constants_in(ROOM, WORT_STRENGTH);
        let from = at(self.mean[START]);
        let acid = (acid.as_mmol_per_l() + self.mean[POURED]).max(0.0);
        let ph = settle(&|there, ph| from.taken(there, self.amounts()) - acid * mean_charge(pka, ph));
        let there = at(ph.value());
        let (charge, steeper) = charge_and_slope(pka, ph);
        let slope = there.slope(self.amounts()) + acid * steeper;
        let mut row = [0.0; STATE];
        for (entry, share) in row.iter_mut().zip(&from.to(&there)) {
            *entry = share / slope;
        }
        row[START] = from.slope(self.amounts()) / slope;
        row[POURED] = -charge / slope;
        Estimate::normal(ph, self.deviation(&row))
    }

    fn deviation(&self, row: &[f64; STATE]) -> f64 {
        dot(&times(&self.spread, row), row).max(0.0).sqrt()
    }
}

/// Standard deviation of a reading, as given.
const fn of_meter(meter: PhDifference) -> f64 {
    meter.as_units().abs().min(1.0)
}

/// Charge of an acid's molecule, and how much it grows over the next unit of pH.
fn charge_and_slope(constants: [f64; 3], ph: Ph) -> (f64, f64) {
    let forms = shares(constants, hydrogen(ph));
    let (mean, squares) = (charge(forms), forms[1] + 4.0 * forms[2] + 9.0 * forms[3]);
    (mean, LN10 * (squares - mean * mean))
}

/// Charge of an acid's molecule.
fn mean_charge(constants: [f64; 3], ph: Ph) -> f64 {
    charge(shares(constants, hydrogen(ph)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const METER: PhDifference = PhDifference::units(0.03);

    fn one() -> Estimate<Count> {
        Estimate::exact(Count::of(1.0))
    }
    fn prior(plato: f64) -> BufferCurve {
        BufferCurve::prior(Plato::degrees(plato), one())
    }
    fn mmol(value: f64) -> MolarConcentration {
        MolarConcentration::mmol_per_l(value)
    }
    fn step(acid: f64, ph: f64) -> Step {
        Step { acid: mmol(acid), read: Some(Ph::new(ph)) }
    }
    fn start(ph: f64) -> Estimate<Ph> {
        Estimate::normal(Ph::new(ph), METER.as_units())
    }
    fn deviation(curve: &BufferCurve) -> f64 {
        curve.demand(Ph::new(5.0), Ph::new(3.4)).deviation()
    }
    /// A wort of another shape than the prior's.
    fn other(plato: f64, factors: [f64; GROUPS]) -> BufferCurve {
        let mut wort = prior(plato);
        for (amount, factor) in wort.amounts.iter_mut().zip(factors) {
            *amount *= factor;
        }
        wort
    }
    /// Numbers a person may type, and numbers nobody should.
    fn number() -> impl Strategy<Value = f64> {
        prop_oneof![4 => 0.0..8.0f64, 2 => 0.0..1.0f64, 1 => Just(0.0), 1 => -100.0..0.0f64, 1 => -1e6..1e6f64]
    }

    #[test]
    fn the_capacity_of_the_prior_spreads_as_published_worts_do() {
        let scale = prior(11.0).scale();
        assert!((scale.value.value() - 1.0).abs() < 1e-12);
        assert!((scale.deviation() - WORT_BUFFERING_DEVIATION / WORT_BUFFERING).abs() < 1e-9);
        // Away from the whole of it the shape adds to the spread.
        let part = prior(11.0).demand(Ph::new(5.3), Ph::new(4.5));
        assert!(part.deviation() / part.value.as_meq_per_l() > 0.2);
        let house = Estimate::normal(Count::of(1.2), 0.1);
        let scale = BufferCurve::prior(Plato::degrees(11.0), house).scale();
        assert!((scale.value.value() - 1.2).abs() < 1e-12 && (scale.deviation() - 0.1).abs() < 1e-9);
    }

    #[test]
    fn members_spread_like_the_curve() {
        let curve = prior(12.0);
        for (from, to) in [(5.0, 3.4), (5.0, 4.2), (7.0, 5.0)] {
            let whole = curve.demand(Ph::new(from), Ph::new(to));
            let each = curve.members().map(|m| m.demand(Ph::new(from), Ph::new(to)).value.as_meq_per_l());
            let mean = each.iter().sum::<f64>() / 6.0;
            let variance = each.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / 6.0;
            assert!((mean - whole.value.as_meq_per_l()).abs() < 1e-9, "{from} {to}");
            assert!((variance.sqrt() / whole.deviation() - 1.0).abs() < 1e-6, "{from} {to}");
        }
    }

    #[test]
    fn a_slip_begins_anew() {
        let wort = prior(11.0);
        // Twenty times the acid for no change, and the other way round.
        for wrong in [step(100.0, 5.29), step(0.1, 4.0)] {
            let after = Titration::new(&wort, start(5.3), &[wrong], AcidKind::Lactic, METER);
            assert_eq!(after.curve(), wort);
            assert_eq!(after.acid(), MolarConcentration::ZERO);
            assert!((after.ph_at(after.acid()).value - wrong.read.unwrap()).as_units().abs() < 1e-6);
        }
    }

    #[test]
    fn a_sample_tells_what_the_wort_takes() {
        let wort = other(11.0, [1.4; GROUPS]);
        let steps = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]
            .map(|all| step(1.0, wort.ph_with(Ph::new(5.3), AcidKind::Lactic, mmol(all)).value()));
        let sample = Titration::new(&prior(11.0), start(5.3), &steps, AcidKind::Lactic, METER);
        let (first, told) = (
            Titration::new(&prior(11.0), start(5.3), &[], AcidKind::Lactic, METER).to_go(Ph::new(4.6)),
            sample.emptied().to_go(Ph::new(4.6)),
        );
        let truth = wort.demand(Ph::new(5.3), Ph::new(4.6)).value.as_meq_per_l();
        let truth = truth / charge_in_wort(AcidKind::Lactic, Ph::new(4.6)).value();
        assert!((told.value.as_mmol_per_l() / truth - 1.0).abs() < 0.03, "{told:?} {truth}");
        assert!(told.deviation() < 0.3 * first.deviation() && sample.emptied().acid() == mmol(0.0));
        // Its own doses go on from there.
        let half = told.value * 0.5;
        let ph = wort.ph_with(Ph::new(5.3), AcidKind::Lactic, half);
        let on = sample.emptied().poured(&[Step { acid: half, read: Some(ph) }], METER);
        let left = on.to_go(Ph::new(4.6));
        assert!((left.value - (mmol(truth) - half)).as_mmol_per_l().abs() < left.deviation());
    }

    #[test]
    fn acid_without_a_reading_moves_the_ph_and_widens_it() {
        let poured = [Step { acid: mmol(4.0), read: None }];
        let after = Titration::new(&prior(11.0), start(5.3), &poured, AcidKind::Lactic, METER);
        let now = after.ph_at(after.acid());
        assert!(now.value < Ph::new(5.0) && now.deviation() > 0.05, "{now:?}");
        let read = [poured[0], step(0.0, 4.8)];
        let after = Titration::new(&prior(11.0), start(5.3), &read, AcidKind::Lactic, METER);
        assert!(after.ph_at(after.acid()).deviation() < 0.032);
    }

    proptest! {
        #[test]
        fn demand_adds_up_and_rises(plato in 2.0..25.0f64, a in 3.0..8.0f64, b in 3.0..8.0f64, c in 3.0..8.0f64) {
            let demand = |from: f64, to: f64| prior(plato).demand(Ph::new(from), Ph::new(to)).value.as_meq_per_l();
            prop_assert!((demand(a, b) + demand(b, c) - demand(a, c)).abs() < 1e-9);
            prop_assert!(demand(a, a - 0.1) > 0.0);
            let slope = prior(plato).slope(Ph::new(a)).as_meq_per_l_ph();
            let near = demand(a + 1e-4, a - 1e-4) / 2e-4;
            prop_assert!((slope / near - 1.0).abs() < 1e-4, "{slope} {near}");
        }

        #[test]
        fn ph_and_acid_undo_each_other(plato in 2.0..25.0f64, from in 4.5..6.0f64, to in 3.0..4.5f64, kind in 0..AcidKind::ALL.len()) {
            let (curve, kind) = (prior(plato), AcidKind::ALL[kind]);
            let (from, to) = (Ph::new(from), Ph::new(to));
            let demand = curve.demand(from, to).value;
            prop_assert!((curve.ph_after(from, demand) - to).as_units().abs() < 1e-6);
            let amount = mmol(demand.as_meq_per_l() / charge_in_wort(kind, to).value());
            prop_assert!((curve.ph_with(from, kind, amount) - to).as_units().abs() < 1e-6);
            prop_assert!(curve.ph_with(from, kind, amount * 1.1) < to);
            let titration = Titration::new(&curve, Estimate::normal(from, 0.03), &[], kind, METER);
            let need = titration.to_go(to);
            prop_assert!((need.value - amount).as_mmol_per_l().abs() < 1e-9 * amount.as_mmol_per_l().max(1.0));
            prop_assert!(need.is_sound() && need.deviation() > 0.0);
        }

        /// Exact readings of a wort of any shape: what is still to pour is found.
        #[test]
        fn readings_find_the_wort(
            plato in 6.0..18.0f64, factors in prop::array::uniform7(0.5..1.7f64), kind in 0..AcidKind::ALL.len(),
        ) {
            let (wort, kind) = (other(plato, factors), AcidKind::ALL[kind]);
            let meter = PhDifference::units(0.001);
            let mut steps = Vec::new();
            for portion in 1..=6 {
                let all = f64::from(portion) * 0.12 * plato;
                let ph = wort.ph_with(Ph::new(5.4), kind, mmol(all));
                steps.push(Step { acid: mmol(0.12 * plato), read: Some(ph) });
            }
            let found = prior(plato).updated(Estimate::normal(Ph::new(5.4), 0.001), &steps, kind, meter);
            let end = steps[5].read.unwrap();
            let (truth, found, first) = (
                wort.demand(Ph::new(5.4), end).value,
                found.demand(Ph::new(5.4), end).value,
                prior(plato).demand(Ph::new(5.4), end).value,
            );
            let (off, before) = ((found / truth - 1.0).abs(), (first / truth - 1.0).abs());
            prop_assert!(off < 0.05 && (off < before || before < 0.05), "{off} {before}");
        }

        #[test]
        fn a_reading_narrows_and_the_order_does_not_matter(
            factor in 0.6..1.6f64, readings in prop::collection::vec((0.5..4.0f64, -0.06..0.06f64), 1..5),
            again in prop::collection::vec(-0.06..0.06f64, 2..5),
        ) {
            let wort = other(11.0, [factor; GROUPS]);
            let (mut steps, mut all) = (Vec::new(), 0.0);
            let mut width = deviation(&prior(11.0));
            for (acid, error) in readings {
                all += acid;
                let ph = wort.ph_with(Ph::new(5.3), AcidKind::Lactic, mmol(all)).value();
                steps.push(step(acid, ph + error));
                let now = deviation(&prior(11.0).updated(start(5.3), &steps, AcidKind::Lactic, METER));
                prop_assert!(now < width * 1.02, "{now} {width}");
                width = width.min(now);
            }
            // The same wort read several times: only what was read counts.
            let ph = wort.ph_with(Ph::new(5.3), AcidKind::Lactic, mmol(all)).value();
            let more = |readings: &mut dyn Iterator<Item = &f64>| {
                let steps: Vec<Step> = steps.iter().copied().chain(readings.map(|e| step(0.0, ph + e))).collect();
                Titration::new(&prior(11.0), start(5.3), &steps, AcidKind::Lactic, METER).to_go(Ph::new(4.0))
            };
            let (one, other) = (more(&mut again.iter()), more(&mut again.iter().rev()));
            prop_assert!((one.value - other.value).as_mmol_per_l().abs() < 1e-7);
            prop_assert!((one.deviation() - other.deviation()).abs() < 1e-7);
        }

        #[test]
        fn no_amount_is_below_zero(readings in prop::collection::vec((0.0..8.0f64, 2.5..6.0f64), 0..8), kind in 0..AcidKind::ALL.len()) {
            let steps: Vec<Step> = readings.iter().map(|&(acid, ph)| step(acid, ph)).collect();
            let after = Titration::new(&prior(11.0), start(5.3), &steps, AcidKind::ALL[kind], METER);
            prop_assert!(after.curve().amounts.iter().all(|a| *a >= 0.0 && a.is_finite()));
            let (now, further) = (after.ph_at(after.acid()), after.ph_at(after.acid() + mmol(1.0)));
            prop_assert!(further.value < now.value && now.is_sound() && further.is_sound());
        }

        #[test]
        fn no_finite_number_makes_a_nan(
            a in number(), b in number(), c in number(), d in number(), e in number(), f in number(), kind in 0..AcidKind::ALL.len(),
        ) {
            let kind = AcidKind::ALL[kind];
            let curve = BufferCurve::prior(Plato::degrees(a), Estimate::band(Count::of(b), Count::of(c), Count::of(d)));
            let steps = [step(a, b), step(c, d), Step { acid: mmol(e), read: None }, step(f, a)];
            let from = Estimate::band(Ph::new(e), Ph::new(f), Ph::new(a));
            let after = Titration::new(&curve, from, &steps, kind, PhDifference::units(f));
            let text = format!(
                "{after:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?}",
                after.to_go(Ph::new(b)), after.ph_at(mmol(c)), after.curve().scale(), after.curve().members(),
                curve.demand(Ph::new(c), Ph::new(d)), curve.slope(Ph::new(d)),
                curve.ph_after(Ph::new(e), ChargeConcentration::meq_per_l(f)), curve.ph_with(Ph::new(f), kind, mmol(e)),
            );
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
        }
    }
}
