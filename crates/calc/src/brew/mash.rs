//! Mash pH by proton balance, its spread, and the acid or base that corrects it.
//!
//! At the mash's pH the protons that malt, calcium, magnesium and acid give are
//! those that malt and alkalinity take:
//!
//! sum m (B d + c d²) + V (alkalinity lost down to pH) = V hardness protons + acid(pH), d = pH_i - pH
//!
//! Source of the balance: deLange 2015, MBAA Technical Quarterly 52(1):3 (its
//! linear and square term for each malt). The square holds between pH 4.5 and
//! 6.5; beyond, the buffering stays as it is there.
//!
//! # Calcium and magnesium
//!
//! Calcium and the malt's phosphate set protons free. Kolbach's factors (1953),
//! one proton for 3.5 charges of calcium and for 7 of magnesium, were found for
//! wort at the end of the boil. Measured mashes (Taylor, quoted second hand from
//! Briggs et al.) fall twice as far for the first 100 mg/L of calcium and not
//! much further after that, as a reaction does that uses up its partner; in the
//! limit of full precipitation chemistry allows 0.5 (CaHPO₄) to 0.7
//! (hydroxyapatite) protons for each charge. We take a saturating reaction
//! halfway between the two, [`PROTONS_PER_CHARGE`] falling off with
//! [`HARDNESS_HALF`], and a spread whose 80 % band reaches Kolbach's wort on one
//! side and the measured mashes on the other. Magnesium counts half as much as
//! calcium, as with Kolbach. The figure is our estimate; residual alkalinity in
//! `chem::water` keeps Kolbach's own factors.
//!
//! # Spread, and what a reading teaches
//!
//! Five things are uncertain: a shift of the malts' common pH, a factor on
//! their buffering, their curvature, the hardness reaction, and the water
//! (alkalinity and volume). The acid a mash takes to a given pH is linear in
//! them but for the product of shift and factor, so charges have a normal band;
//! the pH's band follows from it through the balance. A reading says that the
//! balance closes at the pH that was read, with the meter's error times the
//! slope: the belief about all five is updated by it as by a linear
//! observation, linearised where the belief comes to stand. One reading fixes mostly the shift;
//! another after acid fixes the buffering. Prediction, correction and band
//! come from the same belief. Half of the meter's variance is an offset common
//! to its readings.
//!
//! What is not propagated, and stays inside [`COMMON_SHIFT`]: gas lost from an
//! open mash (alkalinity counts as in a closed vessel; at most 0.01 pH for
//! each mEq/L), crush, time and temperature of the mash.

use super::belief::{Belief, Effects};
use super::titration::MaltBufferingEstimate;
use crate::chem::carbonate::Carbonate;
use crate::chem::water::Ions;
use crate::data::Source;
use crate::data::acids::Acid;
use crate::data::malts::MaltClass;
use crate::data::salts::{Salt, ion};
use crate::numeric::root::root;
use crate::quantity::{
    Charge, ChargeConcentration, Duration, Estimate, Fraction, Mass, MolarConcentration, Ph, PhDifference,
    Temperature, Volume,
};
use std::fmt;

/// Standard deviation of what shifts all malts of a mash alike: how house, crush
/// and mashing differ from the laboratory's, beside what is propagated.
pub const COMMON_SHIFT: PhDifference = PhDifference::units(0.05);
/// Relative standard deviation of what changes all malts' buffering alike.
pub const COMMON_SCALE: Fraction = Fraction::of_one(0.10);
/// Source of [`COMMON_SHIFT`] and [`COMMON_SCALE`].
pub const SPREAD_SOURCE: Source = Source::our_estimate(
    "predicted mashes lie within 0.1 to 0.15 pH in four cases of five: what the propagated spreads leave of that; methods of titration differ by a tenth and more",
);
/// Share of the variance of a class's malts that is the same from mash to mash of one house; our estimate.
pub const MALTS_AGAIN: Fraction = Fraction::of_one(0.5);
/// The same of its water report and of the hardness reaction, which is of nature; our estimate.
pub const WATER_AGAIN: Fraction = Fraction::of_one(0.8);
/// Protons that a charge of calcium sets free in soft water.
pub const PROTONS_PER_CHARGE: Fraction = Fraction::of_one(0.47);
/// Calcium, with half of the magnesium, at which a charge sets half as much free on average.
pub const HARDNESS_HALF: ChargeConcentration = ChargeConcentration::meq_per_l(24.0);
/// Relative standard deviation of the hardness reaction: its 80 % band is a third up or down.
pub const HARDNESS_SPREAD: Fraction = Fraction::of_one(0.26);
/// Source of the hardness reaction.
pub const HARDNESS_SOURCE: Source = Source::our_estimate(
    "halfway between Kolbach 1953 (wort: one proton for 3.5 charges of calcium) and mashes by Taylor, quoted second hand from Briggs et al.; the band reaches both",
);
/// Relative standard deviation of a volume of mash water; our estimate.
const VOLUME_SPREAD: f64 = 0.02;

/// What counts as close enough to the pH wanted: common practice; no tongue and no enzyme tells it.
pub const CLOSE_ENOUGH: PhDifference = PhDifference::units(0.05);
/// pH between which a mash may be left alone, in a cooled sample; common practice.
pub const ALL_RIGHT: [Ph; 2] = [Ph::new(5.2), Ph::new(5.6)];
/// Time after which most of the starch is converted and a correction no longer helps the mash; common practice.
pub const CONVERTED: Duration = Duration::minutes(40.0);
/// Time that a correction needs to be stirred in, to act and to be read; common practice.
const TO_ACT: Duration = Duration::minutes(10.0);
/// Source of [`CLOSE_ENOUGH`], [`ALL_RIGHT`] and [`CONVERTED`].
pub const WORTH_SOURCE: Source =
    Source::common_practice("mashes work from 5.2 to 5.6; most starch is converted after 30 to 40 minutes");
/// How far a first part may pass the pH wanted, and hardly ever does: 5 % of mashes.
pub const OVERSHOOT: PhDifference = PhDifference::units(0.10);
/// How much narrower and wider than the slope alone has it an end of the pH's band may be.
const NARROWEST: f64 = 0.25;
const WIDEST: f64 = 3.0;
/// Normal quantile of 95 %.
const Z95: f64 = 1.644_853_626_951_472_7;
/// Standard deviation of the share of chalk that reacts in a mash: our estimate. Troester 2009 (abstract) found
/// that chalk not dissolved under gas raises a mash poorly, the worse the more there is.
const CHALK_SPREAD: f64 = 0.2;

/// Why there is no mash pH.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MashError {
    /// No malt that buffers.
    NoMalt,
    /// The balance has no solution between pH 3 and 9.
    OutsideScale,
}

impl fmt::Display for MashError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoMalt => "there is no malt in the mash",
            Self::OutsideScale => "acid and base do not balance between pH 3 and 9",
        })
    }
}

/// One malt in the mash.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaltShare {
    /// Weight.
    pub mass: Mass,
    /// How it acts: its class's numbers, or the bag's own.
    pub malt: MaltBufferingEstimate,
}

/// A reading in the mash.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MashReading {
    /// Charge of acid stirred in before it, all in all, at the pH read; negative for base.
    pub stirred_in: Charge,
    /// pH of a cooled sample.
    pub read: Ph,
}

/// A correction with a part of it that can be poured without fear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// All that is still to be given, negative where base is needed.
    pub all: Estimate<Charge>,
    /// The part that passes the pH wanted by more than [`OVERSHOOT`] in at most
    /// one mash of twenty; of the same sign as the whole and never more.
    pub first: Charge,
}

/// Whether a correction is still worth making.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worth {
    /// Add it now.
    Add,
    /// The mash may be left, or corrected: it works as it is.
    Optional,
    /// Within 0.05 of the pH wanted.
    CloseEnough,
    /// The meter cannot tell it from the pH wanted.
    WithinMeter,
    /// Too late for the mash: correct the wort in the kettle.
    TooLate,
}

impl Worth {
    /// What to tell a person.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Add => "A correction now still helps the mash.",
            Self::Optional => "The mash works well as it is. A correction is possible, not needed.",
            Self::CloseEnough => "Close enough: leave it. The last 0.05 is not worth chasing.",
            Self::WithinMeter => "The meter cannot tell this from the pH wanted: leave it.",
            Self::TooLate => "Most of the starch is converted: leave the mash, and set the pH in the kettle.",
        }
    }
}

/// Advice for a mash that reads `now` and should have `wanted`, with `meter` as
/// the standard deviation of a reading, this long after mashing in, in a mash of
/// this length.
pub fn worth(now: Ph, wanted: Ph, meter: PhDifference, since: Duration, length: Duration) -> Worth {
    let gap = (now - wanted).as_units().abs();
    // Half the width of the reading's 80 % band.
    let unseen = Estimate::normal(PhDifference::ZERO, meter.as_units()).high.as_units();
    // What is wanted is written in hundredths; 5.45 is 0.05 from 5.40.
    let tiny = 1e-9;
    if gap <= CLOSE_ENOUGH.as_units() + tiny {
        Worth::CloseEnough
    } else if gap <= unseen {
        Worth::WithinMeter
    } else if since >= CONVERTED || length - since < TO_ACT {
        Worth::TooLate
    } else if now >= ALL_RIGHT[0] && now <= ALL_RIGHT[1] {
        Worth::Optional
    } else {
        Worth::Add
    }
}

/// Places in the belief about a mash.
const SHIFT: usize = 0;
const SCALE: usize = 1;
const BEND: usize = 2;
const HARDNESS: usize = 3;
const WATER: usize = 4;
const METER: usize = 5;

/// The malts' charges are polynomials around this pH, and straight beyond `REACH` of it.
const MIDDLE: f64 = 5.5;
const REACH: f64 = 1.0;

/// A mash: its malts summed up, its water, and what is believed of both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mash {
    /// Acid that the malts take down to pH 5.5, mEq; its slope and curvature there.
    malts: [f64; 3],
    /// Deviation of the curvature's charge: weight, and its first two moments.
    bends: [f64; 3],
    /// mEq that calcium and magnesium give.
    hardness: f64,
    /// Protons that one more charge of calcium gives.
    next_hardness: f64,
    alkalinity: ChargeConcentration,
    alkalinity_deviation: f64,
    carbon: MolarConcentration,
    /// Inorganic carbon that comes with one more mEq/L of alkalinity.
    next_carbon: MolarConcentration,
    volume: f64,
    carbonate: Carbonate,
    belief: Belief,
}

/// pH is read in a sample at room temperature.
const ROOM: Temperature = Temperature::celsius(20.0);

impl Mash {
    /// A mash of these malts in this much water of these ions and this pH.
    ///
    /// # Errors
    /// [`MashError::NoMalt`] when nothing buffers.
    pub fn new(malts: &[MaltShare], water: Ions, water_ph: Ph, volume: Volume) -> Result<Self, MashError> {
        let (mut sums, mut bends) = ([0.0; 3], [0.0; 3]);
        for MaltShare { mass, malt } in malts {
            let kilograms = mass.as_kilograms();
            let b = malt.buffering.value.as_meq_per_kg_ph();
            let c = malt.curvature.value.as_meq_per_kg_ph().max(-0.2 * b.abs()).min(0.2 * b.abs());
            let down = malt.mash_ph.value.value() - MIDDLE;
            sums[0] += kilograms * (b + c * down) * down;
            sums[1] += kilograms * (b + 2.0 * c * down);
            sums[2] += kilograms * c;
            let weight = (kilograms * malt.curvature.deviation()).powi(2);
            bends[0] += weight;
            bends[1] += weight * down;
            bends[2] += weight * down * down;
        }
        let buffer = sums[1];
        // A NaN would fail this test as well.
        let buffers = buffer > 0.0;
        if !buffers {
            return Err(MashError::NoMalt);
        }
        // However far a malt's own pH lies, the sum takes more acid the lower the pH.
        sums[2] = sums[2].max(-0.4 * buffer).min(0.4 * buffer);
        let mut belief = Belief::default();
        belief.set(SHIFT, 0.0, COMMON_SHIFT.as_units().powi(2));
        belief.set(SCALE, 0.0, COMMON_SCALE.as_of_one().powi(2));
        belief.set(BEND, 0.0, 1.0);
        belief.set(HARDNESS, 0.0, HARDNESS_SPREAD.as_of_one().powi(2));
        belief.set(WATER, 0.0, 1.0);
        // Malts err independently: each moves the common pH by its share of the
        // buffering; a wrong buffering changes the common one, and moves the
        // common pH towards that malt's.
        let middle = sums[0] / buffer;
        for MaltShare { mass, malt } in malts {
            let share = mass.as_kilograms() / buffer;
            let scale = share * malt.buffering.deviation();
            let pull = scale * (malt.mash_ph.value.value() - MIDDLE - middle);
            let shift = share * malt.buffering.value.as_meq_per_kg_ph() * malt.mash_ph.deviation();
            belief.spread(SHIFT, SHIFT, shift * shift + pull * pull);
            belief.spread(SHIFT, SCALE, pull * scale);
            belief.spread(SCALE, SCALE, scale * scale);
        }
        let carbonate = Carbonate::new(ROOM, water.ionic_strength());
        let carbon = carbonate.carbon(water.alkalinity, water_ph);
        let next = carbonate.carbon(water.alkalinity + ChargeConcentration::meq_per_l(1.0), water_ph);
        let hard = (water.calcium_charge() + water.magnesium_charge() / 2.0).max(ChargeConcentration::ZERO);
        let used = 1.0 + hard / HARDNESS_HALF;
        Ok(Self {
            malts: sums,
            bends,
            hardness: (hard / used * volume * PROTONS_PER_CHARGE).as_meq(),
            next_hardness: PROTONS_PER_CHARGE.as_of_one() / (used * used),
            alkalinity: water.alkalinity,
            alkalinity_deviation: 0.0,
            carbon,
            next_carbon: next - carbon,
            volume: volume.as_litres(),
            carbonate,
            belief,
        })
    }

    /// The same mash where the water's alkalinity is known with this standard deviation.
    #[must_use]
    pub const fn alkalinity_within(mut self, deviation: ChargeConcentration) -> Self {
        self.alkalinity_deviation = deviation.as_meq_per_l();
        self
    }

    /// The mash with every malt's pH moved.
    #[must_use]
    pub fn shifted(mut self, by: PhDifference) -> Self {
        self.belief.shift(SHIFT, by.as_units());
        self
    }

    /// The same mash in a house whose malts, meter and ways shift the pH by this
    /// much: it stands in place of [`COMMON_SHIFT`]. To be said before readings.
    #[must_use]
    pub fn with_prior(mut self, shift: Estimate<PhDifference>) -> Self {
        self.belief.spread(SHIFT, SHIFT, shift.deviation().powi(2) - COMMON_SHIFT.as_units().powi(2));
        self.shifted(shift.value)
    }

    /// The same mash in a house whose earlier mashes taught this shift. They held malts of the same makers in
    /// the same water, so what comes back of the spreads of malts, water and hardness reaction is in it already:
    /// [`MALTS_AGAIN`], [`WATER_AGAIN`]. To be said before readings.
    #[must_use]
    pub fn in_house(mut self, learned: Estimate<PhDifference>) -> Self {
        self = self.with_prior(Estimate::exact(learned.value));
        for (place, back) in [(SHIFT, MALTS_AGAIN), (HARDNESS, WATER_AGAIN), (WATER, WATER_AGAIN)] {
            self.belief.widen(place, back.rest().as_of_one().sqrt());
        }
        self.belief.spread(SHIFT, SHIFT, learned.deviation().powi(2));
        self
    }

    /// How far the malts' common pH is believed to lie from that of their tables.
    /// After readings it is drawn towards what was believed before; to see what
    /// the readings alone say, begin with a wide [`Mash::with_prior`].
    pub fn shift(&self) -> Estimate<PhDifference> {
        Estimate::normal(PhDifference::units(self.belief.mean()[SHIFT]), self.belief.deviation(SHIFT))
    }

    /// Acid that the tables' malts take down to a pH in mEq, and their buffering there.
    fn malt_charge(&self, ph: f64) -> (f64, f64) {
        let [charge, slope, bend] = self.malts;
        let up = ph - MIDDLE;
        let near = up.clamp(-REACH, REACH);
        let buffer = slope - 2.0 * bend * near;
        (charge - slope * near + bend * near * near - buffer * (up - near), buffer)
    }

    /// Acid that brings the mash to this pH in mEq, were the unknowns `at` these
    /// values, and how much more each of them adds to it.
    fn balance(&self, ph: f64, at: &Effects) -> (f64, Effects) {
        let moved = ph - at[SHIFT];
        let (malts, buffer) = self.malt_charge(moved);
        let left = self.carbonate.alkalinity(self.carbon, Ph::new(ph));
        let water = (self.alkalinity - left).as_meq_per_l() * self.volume - self.hardness;
        let scale = 1.0 + at[SCALE];
        let mut effects = Belief::NOTHING;
        effects[SHIFT] = scale * buffer;
        effects[SCALE] = malts;
        effects[HARDNESS] = -self.hardness;
        let up = (moved - MIDDLE).clamp(-REACH, REACH);
        let [weight, first, second] = self.bends;
        if weight > 0.0 {
            effects[BEND] = (second - 2.0 * up * first + up * up * weight) / weight.sqrt();
        }
        let alkalinity = if self.alkalinity_deviation > 0.0 {
            let more = self.carbonate.alkalinity(self.carbon + self.next_carbon, Ph::new(ph));
            (1.0 - (more - left).as_meq_per_l()) * self.alkalinity_deviation * self.volume
        } else {
            0.0
        };
        effects[WATER] = alkalinity.hypot(VOLUME_SPREAD * water);
        let linear: f64 = [BEND, HARDNESS, WATER].iter().map(|place| effects[*place] * at[*place]).sum();
        (scale * malts + water + linear, effects)
    }

    /// Acid that would bring the whole mash to this pH, in mEq; negative for base.
    fn demand(&self, ph: f64) -> f64 {
        self.balance(ph, self.belief.mean()).0
    }

    /// mEq that move the mash by one unit of pH, around this pH.
    fn slope(&self, ph: f64, at: &Effects) -> f64 {
        let slope = (self.balance(ph - 0.05, at).0 - self.balance(ph + 0.05, at).0) / 0.1;
        slope.max(0.2 * self.malts[1])
    }

    /// The spread around a pH at which the mash balances with this much acid in it.
    /// The mash is below a pH when it takes less acid down to it than was given:
    /// the band ends where that is so in one mash of ten, and in nine. From the
    /// ends that the slope alone would give, one or two steps of the secant lead there.
    fn estimate(&self, ph: f64, acid: &Acid, added: Volume) -> Estimate<Ph> {
        let slope = self.slope(ph, self.belief.mean());
        let end = |sign: f64| {
            // What was given above what one mash of ten, or nine, would take.
            let over = |ph: f64| {
                let takes = self.charge_to(Ph::new(ph));
                let limit = takes.value + (takes.high - takes.value) * sign;
                (acid.charge_of(added, Ph::new(ph)) - limit).as_meq()
            };
            let (mut from, mut was) = (ph, over(ph));
            let first = -was / slope;
            let mut to = ph + first;
            for _ in 0..2 {
                let is = over(to);
                // Far from what was read the spread can grow as fast as the acid: then there is no end, and
                // the band is drawn three times as wide as the slope alone would have it.
                let closing = is / was;
                if closing.abs() < 0.005 || first == 0.0 {
                    break;
                }
                let next = if closing < 2.0 / 3.0 {
                    to - is * (to - from) / (is - was)
                } else {
                    ph + WIDEST * first
                };
                (from, was, to) = (to, is, ph + ((next - ph) / first).clamp(NARROWEST, WIDEST) * first);
            }
            Ph::new(to)
        };
        Estimate::band(Ph::new(ph), end(-1.0), end(1.0))
    }

    /// The pH with a volume of acid stirred in.
    ///
    /// # Errors
    /// [`MashError::OutsideScale`] for mashes that are no mashes.
    pub fn ph(&self, acid: &Acid, added: Volume) -> Result<Estimate<Ph>, MashError> {
        let balance = |ph: f64| acid.charge_of(added, Ph::new(ph)).as_meq() - self.demand(ph);
        let ph = root(&balance, 3.0, 9.0, 1e-5).map_err(|_| MashError::OutsideScale)?;
        Ok(self.estimate(ph, acid, added))
    }

    /// pH against acid, for a picture: from none to `most`, at `points` steps of
    /// equal pH (at least two). Empty when there is no pH, or `most` changes nothing.
    pub fn course(&self, acid: &Acid, most: Volume, points: usize) -> Vec<(Volume, Estimate<Ph>)> {
        let end = |added: Volume| self.ph(acid, added).map(|ph| ph.value.value());
        let (Ok(from), Ok(to)) = (end(Volume::ZERO), end(most)) else { return Vec::new() };
        let steps = points.max(2) - 1;
        if to >= from {
            return Vec::new();
        }
        (0..=steps)
            .map(|step| {
                let ph = from + (to - from) * (step as f64 / steps as f64);
                let charge = Charge::meq(self.demand(ph)).max(Charge::ZERO);
                let added = acid.volume_for(charge, Ph::new(ph)).min(most);
                (added, self.estimate(ph, acid, added))
            })
            .collect()
    }

    /// Charge of acid that brings the mash to a pH, all in all, negative where base is needed.
    pub fn charge_to(&self, wanted: Ph) -> Estimate<Charge> {
        let (charge, effects) = self.balance(wanted.value(), self.belief.mean());
        Estimate::normal(Charge::meq(charge), self.belief.variance(&effects).sqrt())
    }

    /// What is still to be given when so much charge of acid has been stirred in
    /// (counted at the pH wanted; negative for base).
    pub fn correction(&self, wanted: Ph, stirred_in: Charge) -> Correction {
        let all = self.charge_to(wanted).map(|charge| charge - stirred_in);
        let up = all.value >= Charge::ZERO;
        let past = if up { wanted - OVERSHOOT } else { wanted + OVERSHOOT };
        let limit = self.charge_to(past);
        let safe = Charge::meq(Z95 * limit.deviation());
        let first = if up {
            (limit.value - safe - stirred_in).max(Charge::ZERO).min(all.value)
        } else {
            (limit.value + safe - stirred_in).min(Charge::ZERO).max(all.value)
        };
        Correction { all, first }
    }

    /// The mash as it is believed to be after readings, with `meter` as the
    /// standard deviation of one. All readings of a mash go in at once, in any
    /// order; one outside pH 3 to 9 teaches nothing.
    #[must_use]
    pub fn after_readings(&self, readings: &[MashReading], meter: PhDifference) -> Self {
        let half = 0.5 * meter.as_units().powi(2);
        let mut prior = self.belief;
        prior.set(METER, 0.0, half);
        let mut after = Self { belief: prior, ..*self };
        // The malts' shift and factor multiply each other: linear where the belief stands, until it stands still.
        for _ in 0..4 {
            let at = *after.belief.mean();
            after.belief = prior;
            for reading in readings {
                let ph = reading.read.value();
                if !(3.0..=9.0).contains(&ph) {
                    continue;
                }
                // A meter that reads too high has read a lower pH, at which the mash has taken more.
                let slope = self.slope(ph - at[METER], &at);
                let (charge, mut effects) = self.balance(ph - at[METER], &at);
                effects[METER] = slope;
                after.belief.learn(&effects, &at, reading.stirred_in.as_meq() - charge, slope * slope * half);
            }
            // Whatever was typed in, malts buffer.
            let scale = after.belief.mean()[SCALE];
            after.belief.shift(SCALE, scale.clamp(-0.6, 3.0) - scale);
        }
        after
    }

    /// Base for a negative charge on the way to a pH; zero where acid is needed,
    /// `None` for a salt that is no base. At mash pH part of a bicarbonate takes
    /// no proton; the calcium of lime and chalk gives some back; of chalk only a
    /// part reacts, which its wide band shows. [`Salt::caveat`] says what to heed.
    pub fn base_for(&self, charge: Estimate<Charge>, salt: Salt, wanted: Ph) -> Option<Estimate<Mass>> {
        let brings = salt.brings();
        let alkalinity = brings.alkalinity.as_meq_per_l();
        // Moles of carbon for each charge of alkalinity.
        let carbon = match salt {
            Salt::BakingSoda | Salt::PotassiumBicarbonate => 1.0,
            Salt::Chalk => 0.5,
            Salt::SlakedLime => 0.0,
            _ => return None,
        };
        let reacts = salt.usual_share().as_of_one();
        let reacts_spread = if reacts < 1.0 { CHALK_SPREAD } else { 0.0 };
        let kept = self.carbonate.alkalinity(MolarConcentration::mmol_per_l(carbon * alkalinity), wanted);
        let calcium = brings.calcium.as_mg_per_l() * ion::CALCIUM.1 / ion::CALCIUM.0.as_g_per_mol();
        let gives_back = calcium * self.next_hardness * (1.0 + self.belief.mean()[HARDNESS]);
        let takes = alkalinity - kept.as_meq_per_l() - gives_back;
        let spread = (reacts * calcium * self.next_hardness * self.belief.deviation(HARDNESS))
            .hypot(reacts_spread * takes);
        Some(mass_for(charge.map(|charge| -charge), reacts * takes, spread))
    }
}

/// Grams for a charge, where a gram gives so many mEq; zero for a negative charge
/// or when a gram may as well give nothing.
fn mass_for(charge: Estimate<Charge>, per_gram: f64, deviation: f64) -> Estimate<Mass> {
    let gives = per_gram > 2.0 * deviation;
    if !gives {
        return Estimate::exact(Mass::ZERO);
    }
    let grams = charge.value.as_meq() / per_gram;
    let spread = charge.deviation().hypot(grams * deviation) / per_gram;
    Estimate::normal(Mass::grams(grams), spread).map(|mass| mass.max(Mass::ZERO))
}

/// Acid for a charge with its spread; zero where base is needed.
pub fn acid_for(charge: Estimate<Charge>, acid: &Acid, wanted: Ph) -> Estimate<Volume> {
    charge.map(|charge| acid.volume_for(charge.max(Charge::ZERO), wanted))
}

/// Acidulated malt that gives a charge on the way to a pH, with its spread; zero
/// where base is needed. Its own buffering and pH come from its class.
pub fn acidulated_malt_for(charge: Estimate<Charge>, wanted: Ph) -> Estimate<Mass> {
    let malt = MaltClass::Acidulated.data();
    let (up, buffering) = ((wanted - malt.mash_ph.value).as_units(), malt.buffering.value.as_meq_per_kg_ph());
    let spread = (up * malt.buffering.deviation()).hypot(buffering * malt.mash_ph.deviation());
    mass_for(charge, 1e-3 * up * buffering, 1e-3 * spread)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brew::titration::titrated;
    use crate::data::acids::AcidKind;
    use crate::quantity::{Concentration, MaltBuffering};
    use proptest::prelude::*;

    const ACID: Acid = Acid { kind: AcidKind::Lactic, strength: Fraction::of_one(0.8) };
    const METER: PhDifference = PhDifference::units(0.05);

    fn malt(class: MaltClass, kilograms: f64) -> MaltShare {
        MaltShare { mass: Mass::kilograms(kilograms), malt: titrated(class, None, &[], METER) }
    }

    fn water(alkalinity: f64, calcium: f64) -> Ions {
        Ions {
            alkalinity: ChargeConcentration::meq_per_l(alkalinity),
            calcium: Concentration::mg_per_l(calcium),
            ..Ions::default()
        }
    }

    fn pale(alkalinity: f64, calcium: f64, litres: f64) -> Mash {
        let malts = [malt(MaltClass::Pilsner, 3.0), malt(MaltClass::Wheat, 1.0)];
        Mash::new(&malts, water(alkalinity, calcium), Ph::new(7.5), Volume::litres(litres)).unwrap()
    }

    fn plain(mash: &Mash) -> Estimate<Ph> {
        mash.ph(&ACID, Volume::ZERO).unwrap()
    }

    fn half_width(estimate: Estimate<Ph>) -> f64 {
        estimate.deviation()
    }

    fn reading(charge: f64, ph: f64) -> MashReading {
        MashReading { stirred_in: Charge::meq(charge), read: Ph::new(ph) }
    }

    #[test]
    fn no_malt_no_ph() {
        let none = Mash::new(&[], water(1.0, 0.0), Ph::new(7.5), Volume::litres(20.0));
        assert_eq!(none, Err(MashError::NoMalt));
    }

    /// The spread holds both Kolbach's wort and the mashes that fell twice as far.
    #[test]
    fn the_hardness_band_reaches_both_sources() {
        for (calcium, measured) in [(100.0, 0.26), (200.0, 0.35), (300.0, 0.46)] {
            let charge = water(0.0, calcium).calcium_charge().as_meq_per_l();
            let used = 1.0 + charge / HARDNESS_HALF.as_meq_per_l();
            let given = Estimate::relative(
                Charge::meq(PROTONS_PER_CHARGE.as_of_one() * charge / used),
                HARDNESS_SPREAD.as_of_one(),
            );
            // The mash of the table taken as 4 L/kg with 40 mEq/(kg·pH).
            for other in [charge / 3.5, measured * 40.0 / 4.0] {
                let other = Charge::meq(other);
                assert!(given.low < other && other < given.high * 1.01, "{calcium} {other:?} {given:?}");
            }
        }
    }

    /// One percent of acidulated malt for 0.1 pH, and the 20 g of lactic acid that its makers name at least.
    #[test]
    fn acidulated_malt_spans_the_rule_and_the_analysis() {
        let row = MaltClass::Acidulated.data();
        let up = (Ph::new(5.65) - row.mash_ph.value).as_units();
        let gives = row.buffering.map(|b| Charge::meq(b.as_meq_per_kg_ph() * up));
        let base = MaltClass::Pilsner.data().buffering.value.as_meq_per_kg_ph();
        assert!(gives.high >= Charge::meq(0.1 * base / 0.01), "{gives:?}");
        assert!(gives.low <= Charge::meq(222.0), "{gives:?}");
    }

    #[test]
    fn a_bases_amount_follows_its_chemistry() {
        let mash = pale(1.0, 60.0, 14.0);
        let need = Estimate::normal(Charge::meq(-50.0), 5.0);
        let grams = |salt: Salt| mash.base_for(need, salt, Ph::new(5.4)).unwrap();
        let (soda, potash) = (grams(Salt::BakingSoda), grams(Salt::PotassiumBicarbonate));
        // Equal moles of bicarbonate.
        assert!((potash.value / soda.value - 100.115 / 84.006).abs() < 2e-3);
        // Of 11.9 mEq/g of baking soda nine tenths act at pH 5.4.
        assert!((soda.value.as_grams() - 50.0 / (11.904 * 0.9)).abs() < 0.15, "{soda:?}");
        // Slaked lime has 27 mEq/g, of which its calcium takes back more than a third.
        let lime = grams(Salt::SlakedLime);
        assert!(
            lime.value.as_grams() > 1.4 * 50.0 / 27.0 && lime.value.as_grams() < 2.0 * 50.0 / 27.0,
            "{lime:?}"
        );
        let chalk = grams(Salt::Chalk);
        let relative = |mass: Estimate<Mass>| mass.deviation() / mass.value.as_grams();
        assert!(chalk.value > lime.value && relative(chalk) > 2.0 * relative(soda));
        assert_eq!(mash.base_for(need, Salt::Gypsum, Ph::new(5.4)), None);
        assert_eq!(
            mash.base_for(need.map(|charge| -charge), Salt::BakingSoda, Ph::new(5.4)).unwrap().value,
            Mass::ZERO
        );
    }

    #[test]
    fn advice_knows_when_to_stop() {
        let advice = |now: f64, meter: f64, since: f64| {
            worth(
                Ph::new(now),
                Ph::new(5.4),
                PhDifference::units(meter),
                Duration::minutes(since),
                Duration::minutes(60.0),
            )
        };
        assert_eq!(advice(5.45, 0.02, 5.0), Worth::CloseEnough);
        assert_eq!(advice(5.35, 0.02, 55.0), Worth::CloseEnough);
        assert_eq!(advice(5.51, 0.10, 5.0), Worth::WithinMeter);
        assert_eq!(advice(5.75, 0.02, 10.0), Worth::Add);
        assert_eq!(advice(5.55, 0.02, 10.0), Worth::Optional);
        assert_eq!(advice(5.05, 0.02, 10.0), Worth::Add);
        assert_eq!(advice(5.75, 0.02, 40.0), Worth::TooLate);
        let short =
            worth(Ph::new(5.8), Ph::new(5.4), METER, Duration::minutes(15.0), Duration::minutes(20.0));
        assert_eq!(short, Worth::TooLate);
    }

    /// A first reading moves the malts' pH, a second after acid the buffering.
    #[test]
    fn the_first_reading_teaches_the_shift_and_the_second_the_buffering() {
        let (mash, sharp) = (pale(1.0, 50.0, 14.0), PhDifference::units(0.02));
        let scale = |mash: &Mash| mash.belief.deviation(SCALE);
        let low = plain(&mash).value.value() - 0.1;
        let one = mash.after_readings(&[reading(0.0, low)], sharp);
        assert!(one.shift().deviation() < 0.75 * mash.shift().deviation());
        assert!(scale(&one) > 0.9 * scale(&mash));
        assert!(one.shift().value < PhDifference::ZERO);
        // Acid that should have moved it by 0.4 moved it by 0.3: more buffering than believed.
        let acid = one.charge_to(Ph::new(low - 0.4)).value;
        let two = mash.after_readings(
            &[reading(0.0, low), MashReading { stirred_in: acid, read: Ph::new(low - 0.3) }],
            sharp,
        );
        assert!(scale(&two) < 0.7 * scale(&one), "{} {}", scale(&two), scale(&one));
        assert!(two.belief.mean()[SCALE] > 0.1);
        let still = two.correction(Ph::new(low - 0.4), acid).all.value;
        assert!(still > Charge::ZERO);
    }

    /// Two readings that contradict each other, no acid noted between them: down where nothing was read, the
    /// spread grows as fast as the acid.
    #[test]
    fn the_course_has_no_spikes_even_after_readings_that_contradict() {
        let mash = pale(1.0, 50.0, 14.0);
        let read = |ph: f64| MashReading { stirred_in: Charge::ZERO, read: Ph::new(ph) };
        for readings in [vec![], vec![read(5.58)], vec![read(5.58), read(5.43)], vec![read(5.6), read(5.1)]] {
            let course = mash.after_readings(&readings, METER).course(&ACID, Volume::millilitres(12.0), 15);
            assert_eq!(course.len(), 15);
            for pair in course.windows(2) {
                let [before, after] = [&pair[0].1, &pair[1].1];
                let step = (before.value - after.value).as_units();
                for (one, other) in [(before.low, after.low), (before.high, after.high)] {
                    let moved = (one - other).as_units();
                    assert!((-step..4.0 * step).contains(&moved), "{readings:?} {pair:?}");
                }
            }
        }
    }

    #[test]
    fn a_house_that_knows_itself_predicts_better() {
        let mash = pale(1.0, 50.0, 14.0);
        let learned = mash.with_prior(Estimate::normal(PhDifference::units(-0.05), 0.02));
        assert!(half_width(plain(&learned)) < half_width(plain(&mash)));
        let down = plain(&mash).value - plain(&learned).value;
        assert!((down.as_units() - 0.045).abs() < 0.01, "{down:?}");
        let at_home = mash.in_house(Estimate::normal(PhDifference::units(-0.05), 0.02));
        assert!(half_width(plain(&at_home)) < half_width(plain(&learned)), "malts and water come back");
        assert!((plain(&at_home).value - plain(&learned).value).as_units().abs() < 1e-4);
        let plainly = mash.shifted(PhDifference::units(-0.05));
        assert!((plain(&plainly).value - plain(&learned).value).as_units().abs() < 1e-4);
        // With nothing believed before, the shift is what the reading says.
        let open = mash.with_prior(Estimate::normal(PhDifference::ZERO, 2.0));
        let read = plain(&mash).value - PhDifference::units(0.2);
        let seen =
            open.after_readings(&[MashReading { stirred_in: Charge::ZERO, read }], METER).shift().value;
        assert!((seen.as_units() + 0.22).abs() < 0.03, "{seen:?}");
    }

    proptest! {
        #[test]
        fn physics_says_so(alk in 0.0..6.0f64, calcium in 0.0..150.0f64, litres in 8.0..30.0f64, ml in 0.0..20.0f64) {
            let ph = |alk: f64, calcium: f64, ml: f64| {
                pale(alk, calcium, litres).ph(&ACID, Volume::millilitres(ml)).unwrap().value
            };
            prop_assert!(ph(alk + 0.5, calcium, ml) > ph(alk, calcium, ml), "alkalinity raises");
            prop_assert!(ph(alk, calcium + 20.0, ml) < ph(alk, calcium, ml), "calcium lowers");
            prop_assert!(ph(alk, calcium, ml + 1.0) < ph(alk, calcium, ml), "acid lowers");
        }

        #[test]
        fn a_thick_mash_minds_its_water_less(alk in 0.5..5.0f64, calcium in 0.0..100.0f64, litres in 8.0..20.0f64) {
            let moves = |litres: f64| (plain(&pale(alk, calcium, litres)).value - plain(&pale(alk + 1.0, calcium, litres)).value).as_units().abs();
            prop_assert!(moves(litres) < moves(1.2 * litres));
        }

        #[test]
        fn the_acid_asked_for_leads_to_the_ph_wanted(alk in 0.5..6.0f64, wanted in 5.0..5.6f64, seen in 5.6..6.0f64, read in any::<bool>()) {
            let mash = pale(alk, 40.0, 20.0);
            let mash = if read { mash.after_readings(&[reading(0.0, seen)], METER) } else { mash };
            let charge = mash.charge_to(Ph::new(wanted));
            prop_assume!(charge.value > Charge::ZERO);
            let acid = acid_for(charge, &ACID, Ph::new(wanted));
            let reached = mash.ph(&ACID, acid.value).unwrap();
            prop_assert!((reached.value - Ph::new(wanted)).as_units().abs() < 1e-3);
            prop_assert!(acid.is_sound() && reached.is_sound());
        }

        #[test]
        fn a_sharp_reading_is_believed_and_narrows_the_band(off in -0.25..0.25f64, ml in 0.0..10.0f64) {
            let (mash, added) = (pale(2.0, 40.0, 16.0), Volume::millilitres(ml));
            let read = mash.ph(&ACID, added).unwrap().value.value() + off;
            let stirred_in = ACID.charge_of(added, Ph::new(read));
            let reading = MashReading { stirred_in, read: Ph::new(read) };
            let before = mash.ph(&ACID, added).unwrap();
            let sharp = mash.after_readings(&[reading], PhDifference::units(1e-4)).ph(&ACID, added).unwrap();
            prop_assert!((sharp.value - Ph::new(read)).as_units().abs() < 5e-4, "{sharp:?}");
            let dull = mash.after_readings(&[reading], METER).ph(&ACID, added).unwrap();
            prop_assert!(sharp.deviation() < dull.deviation() && dull.deviation() < before.deviation());
            // Between what was believed and what was read.
            let between = (dull.value - before.value).as_units() * (Ph::new(read) - dull.value).as_units();
            prop_assert!(between >= -1e-4, "{between}");
        }

        #[test]
        fn readings_may_come_in_any_order(a in 5.3..5.9f64, b in 5.0..5.6f64, charge in 0.0..80.0f64, more in 0.0..80.0f64, meter in 0.01..0.1f64) {
            let mash = pale(2.0, 60.0, 15.0);
            let (one, two) = (reading(charge, a), reading(more, b));
            let meter = PhDifference::units(meter);
            let forth = mash.after_readings(&[one, two], meter);
            let back = mash.after_readings(&[two, one], meter);
            let (forth, back) = (forth.charge_to(Ph::new(5.4)), back.charge_to(Ph::new(5.4)));
            prop_assert!((forth.value - back.value).as_meq().abs() < 1e-6);
            prop_assert!((forth.deviation() - back.deviation()).abs() < 1e-6);
        }

        #[test]
        fn the_first_part_is_never_more_than_the_whole(alk in 0.0..6.0f64, wanted in 5.0..6.2f64, given in -50.0..120.0f64) {
            let mash = pale(alk, 40.0, 16.0);
            let Correction { all, first } = mash.correction(Ph::new(wanted), Charge::meq(given));
            prop_assert!(first.as_meq().abs() <= all.value.as_meq().abs());
            prop_assert!(first.as_meq() * all.value.as_meq() >= 0.0);
            // A mash that has been read is known better.
            let seen = plain(&mash).value;
            let read = mash.after_readings(&[MashReading { stirred_in: Charge::ZERO, read: seen }], PhDifference::units(0.01));
            let after = read.correction(Ph::new(wanted), Charge::meq(given));
            // Not so far from the reading that the buffering, of which one reading tells nothing, is all that counts.
            if (seen - Ph::new(wanted)).as_units().abs() < 0.5 {
                prop_assert!(after.all.deviation() < all.deviation());
            }
        }

        #[test]
        fn the_course_falls_and_agrees_with_the_mash(alk in 0.0..5.0f64, ml in 1.0..25.0f64, points in 2usize..40) {
            let mash = pale(alk, 50.0, 16.0);
            let course = mash.course(&ACID, Volume::millilitres(ml), points);
            prop_assert_eq!(course.len(), points);
            for pair in course.windows(2) {
                prop_assert!(pair[0].0 < pair[1].0 && pair[0].1.value > pair[1].1.value);
            }
            for (added, ph) in course {
                let direct = mash.ph(&ACID, added).unwrap();
                prop_assert!((direct.value - ph.value).as_units().abs() < 1e-3 && ph.is_sound());
            }
        }

        /// What is known less well makes the band wider, never narrower.
        #[test]
        fn doubt_widens_the_band(alk in 0.5..5.0f64, apart in 0.1..1.0f64) {
            let mash = pale(alk, 50.0, 16.0);
            let doubtful = mash.alkalinity_within(ChargeConcentration::meq_per_l(apart));
            prop_assert!(half_width(plain(&doubtful)) > half_width(plain(&mash)));
            prop_assert_eq!(plain(&doubtful).value, plain(&mash).value);
            let own = MaltShare { mass: Mass::kilograms(4.0), malt: titrated(MaltClass::Pilsner, Some(Ph::new(5.75)), &[], PhDifference::units(0.02)) };
            let of = |share: MaltShare| Mash::new(&[share], water(alk, 50.0), Ph::new(7.5), Volume::litres(14.0)).unwrap();
            prop_assert!(half_width(plain(&of(own))) < half_width(plain(&of(malt(MaltClass::Pilsner, 4.0)))));
        }

        #[test]
        fn curvature_acts_as_the_titration_says(ph in 5.6..6.1f64, b in 30.0..60.0f64, bend in -0.19..0.19f64, wanted in 4.9..5.5f64) {
            let exact = |b: f64| Estimate::exact(MaltBuffering::meq_per_kg_ph(b));
            let malt = MaltBufferingEstimate { mash_ph: Estimate::exact(Ph::new(ph)), buffering: exact(b), curvature: exact(bend * b) };
            let mash = Mash::new(&[MaltShare { mass: Mass::kilograms(2.0), malt }], Ions::default(), Ph::new(7.0), Volume::litres(8.0)).unwrap();
            let down = ph - wanted;
            let expected = 2.0 * b * (down + bend * down * down);
            let got = mash.charge_to(Ph::new(wanted)).value.as_meq();
            // The free protons of the water itself are all that is missing.
            prop_assert!((got - expected).abs() < 0.15, "{got} {expected}");
        }
    }
}
