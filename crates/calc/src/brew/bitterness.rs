//! Bitterness from hops.

use crate::data::Source;
use crate::numeric::power::{growth, power, tanh};
use crate::quantity::{
    Bitterness, Concentration, Duration, Estimate, Fraction, Mass, Ph, SpecificGravity, Temperature,
    TemperatureDifference, Volume,
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
    "No published utilisation at pH 3.2 to 3.6 was found: half to all of what the rates give. The solubility of alpha acids \
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
    /// A stretch of the day lasts from nothing up to 30 days.
    Time(Duration),
    /// A stretch runs between -5 and 130 °C, and an exponential one between its start and what it tends to.
    Stretch {
        /// Where it starts.
        from: Temperature,
        /// Where it ends.
        to: Temperature,
    },
    /// Hops are kept at -30 to 40 °C for up to ten years.
    Keeping(Duration, Temperature),
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
            Self::Time(t) => write!(f, "a stretch lasts 0 to 30 days, not {} min", t.as_minutes()),
            Self::Stretch { from, to } => {
                write!(f, "no stretch runs from {} to {} °C", from.as_celsius(), to.as_celsius())
            }
            Self::Keeping(age, at) => {
                write!(f, "hops can't be {} days old at {} °C", age.as_hours() / 24.0, at.as_celsius())
            }
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
        1.65 * power(0.000_125, strength) * (1.0 - (-0.04 * time.as_minutes().max(0.0)).exp()) / 4.15,
    )
}

/// Share of the alpha acids that ends as bitterness, by Rager; for comparison.
/// It gives 5 % even for no time at all. Total; negative times count as none.
pub fn rager(gravity: SpecificGravity, time: Duration) -> Fraction {
    let share = 18.11 + 13.86 * tanh((time.as_minutes().max(0.0) - 31.32) / 18.27);
    Fraction::percent(share / (1.0 + ((gravity.as_ratio() - 1.05) / 0.2).max(0.0)))
}

/// Activation energy of the loss over the gas constant, in kelvin: the larger of the two.
const LOSS_SLOPE: f64 = 12_994.0;

/// One over the absolute temperature, 1/K.
fn reciprocal(at: Temperature) -> f64 {
    1.0 / (at.as_celsius() + 273.15)
}

/// Rates at a temperature, per minute: of isomerisation, and of the loss of what was isomerised.
fn rates(at: Temperature) -> (f64, f64) {
    let cold = reciprocal(at);
    (7.9e11 * (-11_858.0 * cold).exp(), 4.1e12 * (-LOSS_SLOPE * cold).exp())
}

/// Share of the alpha acids present as iso-alpha-acids after a time in hot
/// wort, before any loss to trub and yeast. Measured at 90..=130 °C and
/// pH 5.2; 60..=130 °C here, where below 90 °C it extrapolates. Outside, the nearest end holds.
pub fn isomerised(at: Temperature, time: Duration) -> Fraction {
    let (made, lost) = rates(Temperature::celsius(at.as_celsius().clamp(60.0, 130.0)));
    let t = time.as_minutes().max(0.0);
    Fraction::of_one(made / (lost - made) * ((-made * t).exp() - (-lost * t).exp()))
}

/// The form hops come in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum HopForm {
    /// Pressed from ground hops.
    #[default]
    Pellets,
    /// Whole cones.
    Cones,
    /// Extract made with carbon dioxide, not isomerised.
    Extract,
    /// Extract already isomerised.
    PreIsomerised,
}

/// Source of what cones give against pellets.
pub const FORM_SOURCE: Source = Source::common_practice("Whole cones give about a tenth less than pellets");

impl HopForm {
    /// Every form.
    pub const ALL: &[Self] = &[Self::Pellets, Self::Cones, Self::Extract, Self::PreIsomerised];

    /// Name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Pellets => "pellets",
            Self::Cones => "whole cones",
            Self::Extract => "extract",
            Self::PreIsomerised => "isomerised extract",
        }
    }

    /// Share of the bitter acids that gets into the wort.
    const fn given(self) -> f64 {
        if matches!(self, Self::Cones) { 0.9 } else { 1.0 }
    }
}

/// Source of [`alpha_left`].
pub const AGE_SOURCE: Source = Source::from_memory(
    "Alpha acid is lost as a first-order reaction: 35 % (20 to 50 %) in half a year at 20 °C, half as fast for each 15 K colder",
);

/// Share of the alpha acid left in hops of an age since it was measured.
/// Age from nothing to ten years, kept at -30..=40 °C.
///
/// # Errors
/// [`BitternessError::Keeping`].
pub fn alpha_left(age: Duration, kept_at: Temperature) -> Result<Estimate<Fraction>, BitternessError> {
    let days = age.as_hours() / 24.0;
    if !((0.0..=3660.0).contains(&days) && (-30.0..=40.0).contains(&kept_at.as_celsius())) {
        return Err(BitternessError::Keeping(age, kept_at));
    }
    let half_years = days / 182.6 * power(2.0, (kept_at.as_celsius() - 20.0) / 15.0);
    let left = |lost: f64| Fraction::of_one((half_years * (1.0_f64 - lost).ln()).exp());
    Ok(Estimate { value: left(0.35), low: left(0.5), high: left(0.2) })
}

/// Source of [`dissolves`].
pub const SOLUBILITY_SOURCE: Source = Source::derived(
    "About 90 mg/L of alpha acids at pH 5.2 (Malowicki, thesis, Oregon State University 2004); carried to other pH by the share that has given its proton, pKa near 5.0, from memory",
);

/// Alpha acids that hot wort can hold before they have isomerised. Measured at
/// pH 5.2 only; in sour wort hardly any has given its proton, and about 35 mg/L
/// are left. pH 2.5..=7; outside, the nearest end holds.
pub fn dissolves(ph: Ph) -> Concentration {
    let free = |ph: f64| 1.0 + ((ph - 5.0) * std::f64::consts::LN_10).exp();
    Concentration::mg_per_l(90.0 * free(ph.value().clamp(2.5, 7.0)) / free(5.2))
}

/// Bitterness beside much acid above which most people find a beer harsh.
pub const HARSH: Bitterness = Bitterness::ibu(20.0);
/// Source of [`HARSH`].
pub const HARSH_SOURCE: Source =
    Source::common_practice("5 to 15 IBU is usual in sour beer; more and the two fight each other");

/// A stretch of the day: a temperature that stays, or goes from one to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leg {
    /// How long it lasts, 0 to 30 days.
    pub time: Duration,
    /// Temperature at its start, -5..=130 °C.
    pub from: Temperature,
    /// Temperature at its end.
    pub to: Temperature,
    /// The temperature that it tends to, as with a cooling coil; a straight line without one.
    pub toward: Option<Temperature>,
}

/// Largest change of the reciprocal temperature in one step of the integration, 1/K: it changes the faster rate
/// by a factor of e^0.16 in the heat and in the cold alike, and a step errs with the fourth power of that.
const STEP: f64 = 0.16 / LOSS_SLOPE;

impl Leg {
    /// A stretch at one temperature.
    pub const fn steady(at: Temperature, time: Duration) -> Self {
        Self { time, from: at, to: at, toward: None }
    }

    fn check(&self) -> Result<(), BitternessError> {
        if !(0.0..=43_200.0).contains(&self.time.as_minutes()) {
            return Err(BitternessError::Time(self.time));
        }
        let (from, to) = (self.from.as_celsius(), self.to.as_celsius());
        let between = self.toward.is_none_or(|end| {
            let end = end.as_celsius();
            // The end must lie strictly beyond: it is never quite reached.
            from == to || (from > to && to > end) || (from < to && to < end)
        });
        if (-5.0..=130.0).contains(&from) && (-5.0..=130.0).contains(&to) && between {
            Ok(())
        } else {
            Err(BitternessError::Stretch { from: self.from, to: self.to })
        }
    }

    /// The share of the time at which it has a temperature on its way from one to the other.
    fn share_at(&self, at: Temperature) -> f64 {
        let (from, to) = (self.from.as_celsius(), self.to.as_celsius());
        match self.toward.map(|end| end.as_celsius()) {
            Some(end) => ((at.as_celsius() - end) / (from - end)).ln() / ((to - end) / (from - end)).ln(),
            None => (at.as_celsius() - from) / (to - from),
        }
    }

    /// The temperature at a share of the time, 0..=1.
    fn at(&self, share: f64) -> Temperature {
        let (from, to) = (self.from.as_celsius(), self.to.as_celsius());
        Temperature::celsius(match self.toward.map(|end| end.as_celsius()) {
            Some(end) if from != to => end + (from - end) * (share * ((to - end) / (from - end)).ln()).exp(),
            _ => from + share * (to - from),
        })
    }
}

/// What alpha acid and iso-alpha-acid of some moment come to at the end, as iso-alpha-acid.
#[derive(Clone, Copy, Debug)]
struct Gain {
    of_alpha: f64,
    of_iso: f64,
}

/// A moment, in minutes from the start, and its gain once it was reached.
#[derive(Clone, Copy, Debug)]
struct Moment {
    at: f64,
    gain: Option<Gain>,
}

impl Gain {
    /// The gain at an earlier share of the leg's time, from that at a later one: the
    /// fourth-order Magnus step of the two linear equations, exact at a steady temperature.
    fn before(self, leg: &Leg, start: f64, end: f64) -> Self {
        let (middle, half) = ((start + end) / 2.0, (end - start) / 2.0);
        let node = half / 3.0_f64.sqrt();
        let (one, two) = (rates(leg.at(middle - node)), rates(leg.at(middle + node)));
        let minutes = leg.time.as_minutes() * (end - start);
        let a = -minutes * (one.0 + two.0) / 2.0;
        let d = -minutes * (one.1 + two.1) / 2.0;
        let twist = 3.0_f64.sqrt() / 12.0 * minutes * minutes * (two.0 * one.1 - one.0 * two.1);
        let b = -a + twist;
        let ratio = growth(a - d);
        let left = d.exp();
        // What is left of the alpha acid, what of it was made and is left, what is left of the iso-alpha-acid.
        Self {
            of_alpha: self.of_alpha * a.exp() + self.of_iso * b * left * ratio,
            of_iso: self.of_iso * left,
        }
    }
}

/// One charge of hops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HopCharge {
    /// Weight.
    pub mass: Mass,
    /// Alpha acid, 0..=0.3: as it is in them now. Of isomerised extract, what is isomerised.
    pub alpha: Fraction,
    /// Form.
    pub form: HopForm,
    /// When it goes in, counted from the start of the first stretch. At the end or later it is cold.
    pub at: Duration,
}

impl HopCharge {
    fn check(&self) -> Result<(), BitternessError> {
        if !(0.0..=0.3).contains(&self.alpha.as_of_one()) {
            return Err(BitternessError::Alpha(self.alpha));
        }
        if !(self.mass >= Mass::ZERO && self.mass.is_finite()) {
            return Err(BitternessError::BelowNothing);
        }
        if self.at.is_finite() { Ok(()) } else { Err(BitternessError::Time(self.at)) }
    }

    /// Bitter acids in the wort, mg/L.
    fn acids(&self, volume: Volume) -> f64 {
        self.mass.as_grams() * 1e3 * self.alpha.as_of_one() * self.form.given() / volume.as_litres()
    }
}

/// The wort from the first heat to the end of chilling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HotSide<'a> {
    /// The stretches of the day, in order.
    pub legs: &'a [Leg],
    /// Wort at the end, counted at 20 °C.
    pub volume: Volume,
    /// pH at room temperature.
    pub ph: Ph,
    /// Iso-alpha-acids that trub and yeast leave in the beer, above 0..=1.
    pub kept: Estimate<Fraction>,
}

/// Relative half-width of the band of the alpha acid on the pack: harvest, storage, pack.
const ALPHA_BAND: f64 = 0.10;
/// Relative half-width of the band of the two rates; our estimate from the scatter of their Arrhenius lines.
const RATE_BAND: f64 = 0.10;

/// Lower end of what sourness leaves of the utilisation: all of it from pH 4.8
/// up, half of it from 3.6 down, a straight line between.
fn sour_low(ph: Ph) -> f64 {
    0.5 + 0.5 * ((ph.value() - 3.6) / 1.2).clamp(0.0, 1.0)
}

impl HotSide<'_> {
    fn check(&self) -> Result<(), BitternessError> {
        if !(self.volume > Volume::ZERO && self.volume.is_finite()) {
            return Err(BitternessError::Volume(self.volume));
        }
        self.legs.iter().try_for_each(Leg::check)
    }

    /// Walks the day from its end to its start and finds what alpha acid and iso-alpha-acid of each moment come to.
    fn walk(&self, moments: &mut [Moment]) {
        let mut end: f64 = self.legs.iter().map(|leg| leg.time.as_minutes()).sum();
        let mut gain = Gain { of_alpha: 0.0, of_iso: 1.0 };
        let mut reached = |down_to: f64, gain: Gain| {
            for moment in moments.iter_mut().filter(|moment| moment.gain.is_none() && moment.at >= down_to) {
                moment.gain = Some(gain);
            }
            moments.iter().filter(|moment| moment.gain.is_none()).map(|moment| moment.at).reduce(f64::max)
        };
        let mut next = reached(end, gain);
        for leg in self.legs.iter().rev() {
            let long = leg.time.as_minutes();
            let start = end - long;
            let mut share = 1.0;
            while share > 0.0 && long > 0.0 {
                // What came before the first charge is of no matter.
                let Some(moment) = next else { return };
                let moment = moment.max(start);
                let stop = ((moment - start) / long).min(share);
                let (cold, hot) = (leg.at(stop), leg.at(share));
                let (first, last) = (reciprocal(hot), reciprocal(cold));
                let steps = ((last - first).abs() / STEP).ceil().max(1.0);
                let mut end_of_step = share;
                for step in 1..=steps as u32 {
                    let part = f64::from(step) / steps;
                    let begin = if step == steps as u32 {
                        stop
                    } else {
                        leg.share_at(Temperature::celsius(1.0 / (first + (last - first) * part) - 273.15))
                    };
                    gain = gain.before(leg, begin, end_of_step);
                    end_of_step = begin;
                }
                share = stop;
                next = reached(moment, gain);
            }
            end = start;
        }
        // Before the first stretch nothing is hot yet.
        reached(f64::NEG_INFINITY, gain);
    }

    /// Iso-alpha-acids of each charge at the end, per litre and before any loss.
    fn made(&self, charges: &[HopCharge]) -> Result<Vec<f64>, BitternessError> {
        self.check()?;
        charges.iter().try_for_each(HopCharge::check)?;
        let mut moments: Vec<Moment> =
            charges.iter().map(|charge| Moment { at: charge.at.as_minutes(), gain: None }).collect();
        self.walk(&mut moments);
        let of = |(charge, moment): (&HopCharge, &Moment)| {
            let gain = moment.gain.unwrap_or(Gain { of_alpha: 0.0, of_iso: 0.0 });
            let share = if charge.form == HopForm::PreIsomerised { gain.of_iso } else { gain.of_alpha };
            charge.acids(self.volume) * share
        };
        Ok(charges.iter().zip(&moments).map(of).collect())
    }

    /// What sourness leaves of the utilisation in the middle of its band.
    fn sour_middle(&self) -> f64 {
        (1.0 + sour_low(self.ph)) / 2.0
    }

    /// Bitterness of all charges, and what each of them gives.
    ///
    /// The band: ±10 % for the alpha acid on the pack, ±10 % for the rates, what
    /// trub and yeast leave, and in sour wort half to all of it (see [`SOUR_SOURCE`]),
    /// of which the middle is the value. Where more alpha acid was in the wort than it
    /// [`dissolves`], the lower end counts only that much.
    ///
    /// # Errors
    /// [`BitternessError`] when an argument is outside its range.
    pub fn bitterness(
        &self,
        charges: &[HopCharge],
    ) -> Result<(Estimate<Bitterness>, Vec<Bitterness>), BitternessError> {
        let made = self.made(charges)?;
        let kept = self.kept.value.as_of_one() * self.sour_middle();
        let total = self.total(made.iter().sum(), charges);
        Ok((total, made.into_iter().map(|ibu| Bitterness::ibu(ibu * kept)).collect()))
    }

    /// The bitterness of a sum of iso-alpha-acids, mg/L before any loss, with its band.
    fn total(&self, sum: f64, charges: &[HopCharge]) -> Estimate<Bitterness> {
        let kept = self.kept.value.as_of_one() * self.sour_middle();
        let low = sour_low(self.ph);
        let of_kept = self.kept.deviation() * 1.282 / self.kept.value.as_of_one();
        let band = ALPHA_BAND.hypot(RATE_BAND).hypot(of_kept).hypot((1.0 - low) / (1.0 + low));
        let asked: f64 = charges
            .iter()
            .filter(|charge| charge.form != HopForm::PreIsomerised)
            .map(|charge| charge.acids(self.volume))
            .sum();
        let room = dissolves(self.ph).as_mg_per_l();
        let dissolved = if asked > room { room / asked } else { 1.0 };
        Estimate::band(
            Bitterness::ibu(sum * kept),
            Bitterness::ibu(sum * kept * (1.0 - band) * dissolved),
            Bitterness::ibu(sum * kept * (1.0 + band)),
        )
    }

    /// Weight of the first charge for a bitterness of all of them together; the band is that of the bitterness
    /// which this weight gives. Nothing where the others give enough already.
    ///
    /// # Errors
    /// [`BitternessError`]; [`BitternessError::NoUtilisation`] when no amount would do, or there is no charge.
    pub fn hops_for(
        &self,
        wanted: Bitterness,
        charges: &[HopCharge],
    ) -> Result<Estimate<Mass>, BitternessError> {
        if wanted < Bitterness::ZERO {
            return Err(BitternessError::BelowNothing);
        }
        let mut charges = charges.to_vec();
        let first = charges.first_mut().ok_or(BitternessError::NoUtilisation)?;
        first.mass = Mass::grams(1.0);
        let made = self.made(&charges)?;
        let (gram, others) = made.split_first().ok_or(BitternessError::NoUtilisation)?;
        let kept = self.kept.value.as_of_one() * self.sour_middle();
        if gram * kept <= 1e-9 {
            return Err(BitternessError::NoUtilisation);
        }
        let missing = (wanted.as_ibu() / kept - others.iter().sum::<f64>()).max(0.0);
        let mass = Mass::grams(missing / gram);
        if let Some(first) = charges.first_mut() {
            first.mass = mass;
        }
        let given = self.total(missing, charges.get(..1).unwrap_or_default());
        let for_yield =
            |ibu: Bitterness| if ibu > Bitterness::ZERO { mass * (given.value / ibu) } else { mass };
        Ok(given.map(for_yield))
    }

    /// How the bitterness builds up, for a picture: at so many moments from the first stretch to the end of
    /// the last, what is in the wort then and will not be lost to trub and yeast. Empty when an argument is
    /// outside its range.
    pub fn course(&self, charges: &[HopCharge], points: u32) -> Vec<(Duration, Bitterness)> {
        let end: Duration = self.legs.iter().map(|leg| leg.time).sum();
        let kept = self.kept.value.as_of_one() * self.sour_middle();
        let so_far = |place: u32| {
            let until = end * (f64::from(place) / f64::from(points.max(2) - 1));
            let mut left = until;
            let legs: Vec<Leg> = self
                .legs
                .iter()
                .map(|leg| {
                    let time = leg.time.min(left).max(Duration::ZERO);
                    left -= time;
                    let share = if leg.time > Duration::ZERO { time / leg.time } else { 1.0 };
                    Leg { time, to: leg.at(share), ..*leg }
                })
                .collect();
            let made = HotSide { legs: &legs, ..*self }.made(charges).ok()?;
            let counted = charges.iter().zip(made).filter(|(charge, _)| charge.at <= until);
            Some((until, Bitterness::ibu(counted.map(|(_, ibu)| ibu).sum::<f64>() * kept)))
        };
        (0..points).filter_map(so_far).collect()
    }

    /// Bitterness by one of the hand formulas, [`tinseth`] or [`rager`], for comparison: alpha acid times the
    /// formula's share for the time spent within 3 K of the hottest after the charge, at a mean gravity.
    /// They know nothing of trub, yeast or sourness beyond what their author measured.
    ///
    /// # Errors
    /// [`BitternessError`] when an argument is outside its range.
    pub fn by_formula(
        &self,
        charges: &[HopCharge],
        gravity: SpecificGravity,
        formula: fn(SpecificGravity, Duration) -> Fraction,
    ) -> Result<Bitterness, BitternessError> {
        self.check()?;
        if !(0.99..=1.2).contains(&gravity.as_ratio()) {
            return Err(BitternessError::Gravity(gravity));
        }
        let hottest = self
            .legs
            .iter()
            .map(|leg| leg.to.max(leg.from))
            .fold(Temperature::celsius(-5.0), Temperature::max);
        let mut sum = 0.0;
        for charge in charges {
            charge.check()?;
            let mut start = Duration::ZERO;
            let mut boiled = Duration::ZERO;
            for leg in self.legs {
                let end = start + leg.time;
                if leg.from.min(leg.to) > hottest - TemperatureDifference::kelvin(3.0) {
                    boiled += (end - start.max(charge.at)).max(Duration::ZERO);
                }
                start = end;
            }
            // The formulas give something even for no time at all.
            if boiled > Duration::ZERO {
                sum += charge.acids(self.volume) * formula(gravity, boiled).as_of_one();
            }
        }
        Ok(Bitterness::ibu(sum))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const fn c(celsius: f64) -> Temperature {
        Temperature::celsius(celsius)
    }

    fn day(boil: f64, time: f64) -> [Leg; 4] {
        [
            Leg { time: Duration::minutes(40.0), from: c(24.0), to: c(boil), toward: None },
            Leg::steady(c(boil), Duration::minutes(time)),
            Leg { time: Duration::minutes(15.0), from: c(boil), to: c(88.0), toward: None },
            Leg { time: Duration::minutes(25.0), from: c(88.0), to: c(22.0), toward: Some(c(14.0)) },
        ]
    }

    fn side(legs: &[Leg], ph: f64) -> HotSide<'_> {
        let kept = Estimate::relative(Fraction::of_one(0.55), 0.09);
        HotSide { legs, volume: Volume::litres(18.0), ph: Ph::new(ph), kept }
    }

    fn charge(grams: f64, at: f64) -> HopCharge {
        HopCharge {
            mass: Mass::grams(grams),
            alpha: Fraction::of_one(0.08),
            form: HopForm::Pellets,
            at: Duration::minutes(at),
        }
    }

    proptest! {
        #[test]
        fn the_hops_for_a_bitterness_give_it(
            ibu in 0.5..60.0f64, at in 0.0..50.0f64, boil in 90.0..100.5f64, time in 10.0..90.0f64, ph in 3.0..5.6f64, other in 0.0..9.0f64,
        ) {
            let legs = day(boil, time);
            let (side, others) = (side(&legs, ph), [charge(other, 45.0)]);
            let found = side.hops_for(Bitterness::ibu(ibu), &[charge(1.0, at), others[0]]).unwrap();
            prop_assert!(found.is_sound());
            let mass = found.value;
            let (back, each) = side.bitterness(&[others[0], HopCharge { mass, ..charge(1.0, at) }]).unwrap();
            let given = side.bitterness(&others).unwrap().0.value.as_ibu();
            prop_assert!((back.value.as_ibu() - ibu.max(given)).abs() < 1e-9 * (1.0 + ibu));
            prop_assert!(back.is_sound());
            let sum: f64 = each.iter().map(|ibu| ibu.as_ibu()).sum();
            prop_assert!((sum - back.value.as_ibu()).abs() < 1e-9 * (1.0 + sum));
        }

        #[test]
        fn a_stretch_cut_in_two_is_the_same_day(at in 0.0..90.0f64, cut in 0.05..0.95f64, which in 0usize..4, time in 5.0..90.0f64) {
            let legs = day(98.0, time);
            let whole = side(&legs, 5.2).bitterness(&[charge(10.0, at)]).unwrap().0.value.as_ibu();
            let mut parts = legs.to_vec();
            let middle = legs[which].at(cut);
            parts[which] = Leg { time: legs[which].time * cut, to: middle, ..legs[which] };
            parts.insert(which + 1, Leg { time: legs[which].time * (1.0 - cut), from: middle, ..legs[which] });
            let cut = side(&parts, 5.2).bitterness(&[charge(10.0, at)]).unwrap().0.value.as_ibu();
            // Not to the last digit: the steps of a changing temperature fall elsewhere.
            prop_assert!((cut - whole).abs() <= 1e-6 * whole, "{cut} {whole}");
        }

        #[test]
        fn earlier_and_more_is_more_bitter(at in 0.0..80.0f64, time in 5.0..60.0f64, grams in 1.0..40.0f64) {
            let legs = day(99.0, time);
            let ibu = |grams: f64, at: f64| side(&legs, 5.2).bitterness(&[charge(grams, at)]).unwrap().0.value;
            prop_assert!(ibu(grams, at) >= ibu(grams, at + 1.0));
            prop_assert!(ibu(grams * 1.1, at) > ibu(grams, at));
        }

        #[test]
        fn sourness_only_widens_and_lowers(ph in 3.0..5.6f64, grams in 1.0..80.0f64) {
            let legs = day(100.0, 30.0);
            let at = |ph: f64| side(&legs, ph).bitterness(&[charge(grams, 40.0)]).unwrap().0;
            let (sour, plain) = (at(ph), at(5.6));
            prop_assert!(sour.value <= plain.value && sour.low <= plain.low && sour.is_sound());
            prop_assert!(sour.value.as_ibu() >= 0.75 * plain.value.as_ibu() - 1e-9);
        }

        #[test]
        fn the_course_ends_at_the_bitterness(at in 0.0..100.0f64, time in 5.0..60.0f64) {
            let legs = day(99.0, time);
            let (side, hops) = (side(&legs, 3.4), [charge(12.0, at), charge(5.0, 20.0)]);
            let course = side.course(&hops, 12);
            let end = side.bitterness(&hops).unwrap().0.value.as_ibu();
            prop_assert!((course[11].1.as_ibu() - end).abs() < 1e-6 * end);
            prop_assert!(course.windows(2).all(|pair| pair[1].1.as_ibu() >= pair[0].1.as_ibu() - 1e-3));
        }

        #[test]
        fn older_and_warmer_hops_hold_less(days in 0.0..2000.0f64, at in -20.0..35.0f64) {
            let left = |days: f64, at: f64| alpha_left(Duration::hours(days * 24.0), c(at)).unwrap();
            prop_assert!(left(days, at).is_sound());
            prop_assert!(left(days + 10.0, at).value <= left(days, at).value);
            prop_assert!(left(days, at + 2.0).value <= left(days, at).value);
        }
    }

    #[test]
    fn cold_hops_give_nothing_and_isomerised_extract_all() {
        let legs = day(100.0, 30.0);
        let cold = charge(50.0, 500.0);
        let side = side(&legs, 5.2);
        assert_eq!(side.bitterness(&[cold]).unwrap().0.value, Bitterness::ZERO);
        let extract = HopCharge { form: HopForm::PreIsomerised, ..cold };
        let all = 50.0 * 0.08 * 1e3 / 18.0 * 0.55;
        assert!((side.bitterness(&[extract]).unwrap().0.value.as_ibu() - all).abs() < 1e-9);
        assert_eq!(side.hops_for(Bitterness::ibu(10.0), &[cold]), Err(BitternessError::NoUtilisation));
    }

    #[test]
    fn says_what_is_wrong() {
        let legs = day(100.0, 30.0);
        let bad = |charge: HopCharge| side(&legs, 5.2).bitterness(&[charge]);
        assert!(matches!(
            bad(HopCharge { alpha: Fraction::of_one(0.5), ..charge(1.0, 0.0) }),
            Err(BitternessError::Alpha(_))
        ));
        assert_eq!(bad(charge(-1.0, 0.0)), Err(BitternessError::BelowNothing));
        assert!(matches!(bad(charge(1.0, f64::NAN)), Err(BitternessError::Time(_))));
        let empty = HotSide { volume: Volume::ZERO, ..side(&legs, 5.2) };
        assert!(matches!(empty.bitterness(&[]), Err(BitternessError::Volume(_))));
        let beyond =
            [Leg { time: Duration::minutes(5.0), from: c(90.0), to: c(10.0), toward: Some(c(14.0)) }];
        assert!(matches!(side(&beyond, 5.2).bitterness(&[]), Err(BitternessError::Stretch { .. })));
        let long = [Leg::steady(c(90.0), Duration::hours(1000.0))];
        assert!(matches!(side(&long, 5.2).bitterness(&[]), Err(BitternessError::Time(_))));
        assert!(alpha_left(Duration::hours(-1.0), c(4.0)).is_err());
        let thick = side(&legs, 5.2).by_formula(&[], SpecificGravity::ratio(1.5), tinseth);
        assert!(matches!(thick, Err(BitternessError::Gravity(_))));
    }
}
