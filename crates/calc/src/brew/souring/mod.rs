//! Souring: when bacteria bring the wort to the sourness wanted, learned from each reading.
//!
//! `growth` is one course of souring, `filter` what is believed of a batch's
//! own course, `alarms` what goes wrong, `pitch` the bacteria and what they
//! need, `safety` the advice. The forecast draws a fixed set of members from the
//! belief; its medians and bands are theirs. Nothing is random: the same
//! readings always give the same forecast.

mod alarms;
mod filter;
mod growth;
mod pitch;
mod safety;

pub use alarms::Alarm;
pub use growth::{CPM_SOURCE, CTMI_SOURCE, cpm, ctmi};
pub use pitch::{
    MANGANESE_CEILING, MANGANESE_CEILING_SOURCE, MANGANESE_DOSE, MANGANESE_DOSE_SOURCE, MANGANESE_IN_WORT,
    MANGANESE_IN_WORT_SOURCE, Pack, PitchError, living_cells, manganese_stock, pitch_rate,
};
pub use safety::{ADVICE, Advice, Occasion, advice_for};

use super::buffer::BufferCurve;
use crate::data::Source;
use crate::data::cultures::Culture;
use crate::quantity::{
    Bitterness, CellDensity, Concentration, Count, Duration, Estimate, Fraction, Ph, PhDifference, Plato,
    Quantity, Temperature, TitratableAcidity,
};
use filter::{Belief, DIMENSIONS, Prior, Residual, TRAITS, members, on_clock};
use growth::{Axis, Clock, Course, LACTIC_MASS, STANDSTILL, undissociated_ratio};
use std::fmt;

/// Titratable acidity of wort that was not soured, g/L as lactic acid per degree Plato.
pub const WORT_ACIDITY_PER_PLATO: TitratableAcidity = TitratableAcidity::g_per_l_lactic(1.66 / 15.0);
/// Source of [`WORT_ACIDITY_PER_PLATO`]; its spread of 10 % is our estimate.
pub const WORT_ACIDITY_SOURCE: Source =
    Source::derived("1.66 g/L in wort of 15 °P in a Heriot-Watt master's thesis");
/// The pH above which food is not safe from *Clostridium botulinum*.
/// By 21 CFR 114.3, from memory: acidified food is at pH 4.6 or below.
pub const SAFE_PH: Ph = Ph::new(4.6);
/// The time within which souring must pass [`SAFE_PH`]; our estimate.
pub const SAFE_WITHIN: Duration = Duration::hours(24.0);
/// Where the spread of the forecast after readings comes from.
pub const FORECAST_SOURCE: Source = Source::our_estimate(
    "spread of the traits between sourings; the model's own error was set by simulated sourings of another law and tried on three further laws",
);

/// Half-width of an 80 % band in standard deviations.
const Z80: f64 = 1.281_551_565_544_600_4;
/// Readings later than this are none of souring: a year.
const LONGEST_HOURS: f64 = 8760.0;
/// What takes longer than this from the pitch is never reached: 60 days.
const HORIZON_HOURS: f64 = 1440.0;
/// Standard deviation of the logarithm of the pace between readings beside the course's; set by simulation.
const PACE_SPREAD: f64 = 0.4;
/// The same after the last reading, beside the pace seen; set by simulation.
const PACE_ERROR: f64 = 0.3;
/// Members of the forecast before any reading, and with readings.
const FEW: usize = 32;
const MANY: usize = 192;
/// Points of a curve.
const POINTS: usize = 24;
/// Most acid that a gram of extract gives: three quarters of wort's extract ferments.
const FERMENTABLE: f64 = 0.75;

/// Lactic acid that takes wort from one pH to another, per litre; zero when
/// `to` is not below `from`. The charge that the wort's buffers take, over the
/// share of lactic acid that is dissociated at the end. The
/// band is the buffering's.
pub fn lactic_formed(from: Ph, to: Ph, curve: &BufferCurve) -> Estimate<Concentration> {
    if to >= from {
        return Estimate::exact(Concentration::ZERO);
    }
    let ratio = undissociated_ratio(Ph::new(to.value().clamp(0.0, 14.0)));
    curve
        .demand(from, to)
        .map(|charge| Concentration::mg_per_l(charge.as_meq_per_l().max(0.0) * (1.0 + ratio) * LACTIC_MASS))
}

/// Titratable acidity to pH 8.2 of soured wort: all the lactic acid in it,
/// dosed and formed, and the wort's own 0.11 g/L per degree Plato (± 10 %).
/// Lactic acid is titrated whole, whatever the pH it was made at. pH alone
/// does not tell it. Source: [`WORT_ACIDITY_SOURCE`].
pub fn titratable_acidity(lactic: Estimate<Concentration>, gravity: Plato) -> Estimate<TitratableAcidity> {
    let own = WORT_ACIDITY_PER_PLATO * gravity.as_degrees().max(0.0);
    plus(Estimate::relative(own, 0.1), lactic)
}

/// Acidity with lactic acid formed on top, the errors independent.
fn plus(
    acidity: Estimate<TitratableAcidity>,
    lactic: Estimate<Concentration>,
) -> Estimate<TitratableAcidity> {
    let value = acidity.value + TitratableAcidity::g_per_l_lactic(lactic.value.as_g_per_l());
    let less = (acidity.value - acidity.low).base().hypot((lactic.value - lactic.low).as_g_per_l());
    let more = (acidity.high - acidity.value).base().hypot((lactic.high - lactic.value).as_g_per_l());
    Estimate::band(
        value,
        value - TitratableAcidity::g_per_l_lactic(less),
        value + TitratableAcidity::g_per_l_lactic(more),
    )
}

/// The rate factor before anything was measured: 1, four times out of five
/// between one half and two. Strain, health of the pitch and wort differ that
/// much; our estimate.
pub fn first_speed() -> Estimate<Count> {
    Estimate { value: Count::of(1.0), low: Count::of(0.5), high: Count::of(2.0) }
}

/// What is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Target {
    /// This pH, 2.8..=7.
    Ph(Ph),
    /// This titratable acidity, above 0..=30 g/L as lactic acid.
    Acidity(TitratableAcidity),
}

/// What souring starts from, and where it goes on.
#[derive(Clone, Copy, Debug)]
pub struct Conditions<'a> {
    /// pH when the bacteria go in, 3..=7.
    pub start_ph: Ph,
    /// How this wort's pH answers to acid.
    pub curve: &'a BufferCurve,
    /// Gravity of the wort, above 0..=40 °P.
    pub gravity: Plato,
    /// Lactic acid in it when the bacteria go in: what the acid drop brought, 0..=30 g/L.
    pub lactic_before: Concentration,
    /// Titratable acidity when the bacteria go in: [`titratable_acidity`] of all acid dosed.
    pub acidity_before: Estimate<TitratableAcidity>,
    /// Temperature of the wort from the last of `temperatures` on.
    pub temperature: Temperature,
    /// Temperatures since the pitch, each with its time, in any order; read, or
    /// planned for a time to come. Between two of them the rate is the mean of both.
    pub temperatures: &'a [(Duration, Temperature)],
    /// The bacteria.
    pub culture: Culture,
    /// Living cells pitched, above 0..=100,000 million per mL.
    pub cells: Estimate<CellDensity>,
    /// Bitterness of the wort before souring.
    pub bitterness: Bitterness,
    /// Log-normal prior of a factor on the rate; see [`first_speed`].
    pub speed: Estimate<Count>,
    /// Standard deviation of the pH meter, 0..=1.
    pub meter_error: PhDifference,
}

/// Why no time can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SouringError {
    /// Too cold for the culture to grow at all; it grows above `least`.
    TooCold {
        /// The wort's temperature.
        at: Temperature,
        /// No growth at or below.
        least: Temperature,
    },
    /// Too hot for the culture to grow at all; it grows below `most`.
    TooHot {
        /// The wort's temperature.
        at: Temperature,
        /// No growth at or above.
        most: Temperature,
    },
    /// The culture's own acid is expected to stop it above this pH, or it takes more than 60 days.
    NeverReaches {
        /// The pH wanted.
        target: Ph,
        /// The lowest pH it can be expected to reach.
        lowest: Ph,
    },
    /// The wort does not hold enough extract for this much acid.
    NotEnoughExtract {
        /// Acid the target needs.
        needed: Concentration,
        /// Gravity of the wort.
        gravity: Plato,
    },
    /// pH at the start lies outside 3..=7.
    StartPh(Ph),
    /// Target lies outside 2.8..=7.
    TargetPh(Ph),
    /// Target must be above 0 and at most 30 g/L.
    TargetAcidity(TitratableAcidity),
    /// Gravity lies outside 0..=40 °P.
    Gravity(Plato),
    /// Lactic acid before the bacteria lies outside 0..=30 g/L.
    LacticBefore(Concentration),
    /// Cells must be above zero and at most 100,000 million per mL.
    Cells(CellDensity),
    /// The factor on the rate must be above zero.
    Speed(Count),
    /// Error of the meter lies outside 0..=1.
    MeterError(PhDifference),
}

impl fmt::Display for SouringError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooCold { at, least } => write!(
                f,
                "these bacteria don't grow at {:.1} °C, only above {:.1} °C",
                at.as_celsius(),
                least.as_celsius()
            ),
            Self::TooHot { at, most } => write!(
                f,
                "these bacteria don't grow at {:.1} °C, only below {:.1} °C",
                at.as_celsius(),
                most.as_celsius()
            ),
            Self::NeverReaches { target, lowest } => write!(
                f,
                "their own acid is expected to stop these bacteria near pH {:.2}, above {:.2}",
                lowest.value(),
                target.value()
            ),
            Self::NotEnoughExtract { needed, gravity } => write!(
                f,
                "{:.1} g/L of acid is more than wort of {:.1} °P can give",
                needed.as_g_per_l(),
                gravity.as_degrees()
            ),
            Self::StartPh(ph) => write!(f, "the pH at the start must be 3 to 7, not {}", ph.value()),
            Self::TargetPh(ph) => write!(f, "the pH wanted must be 2.8 to 7, not {}", ph.value()),
            Self::TargetAcidity(acidity) => write!(
                f,
                "the acidity wanted must be above 0 and up to 30 g/L, not {}",
                acidity.as_g_per_l_lactic()
            ),
            Self::Gravity(p) => write!(f, "gravity must be above 0 and up to 40 °P, not {}", p.as_degrees()),
            Self::LacticBefore(acid) => {
                write!(f, "lactic acid before the bacteria must be 0 to 30 g/L, not {}", acid.as_g_per_l())
            }
            Self::Cells(c) => write!(
                f,
                "bacteria must be above 0 and up to 100000 million per mL, not {}",
                c.as_millions_per_ml()
            ),
            Self::Speed(s) => write!(f, "the factor on the rate must be above 0, not {}", s.value()),
            Self::MeterError(e) => write!(f, "the meter's give or take must be 0 to 1, not {}", e.as_units()),
        }
    }
}

/// One point of the expected course.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// Time since the bacteria went in.
    pub at: Duration,
    /// Lower end of the 80 % band.
    pub low: Ph,
    /// The median.
    pub value: Ph,
    /// Upper end of the 80 % band.
    pub high: Ph,
}

/// When the wort will be sour.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// Time from the pitch to the target. A late end of 60 days says that it may never come; see `chance`.
    pub to_target: Result<Estimate<Duration>, SouringError>,
    /// Chance that the target is reached within 60 days of the pitch.
    pub chance: Fraction,
    /// pH at the target.
    pub ph_then: Estimate<Ph>,
    /// Lactic acid that the bacteria form until the target.
    pub lactic_then: Estimate<Concentration>,
    /// Titratable acidity at the target.
    pub acidity_then: Estimate<TitratableAcidity>,
    /// The factor on the rate, as prior and readings have it.
    pub speed: Estimate<Count>,
    /// The same as the readings alone have it, for what the house learns.
    pub speed_seen: Option<Estimate<Count>>,
    /// Time from the pitch to the next reading: early enough that the target is hardly ever
    /// passed before it, late enough that it tells something. `None` when the target is reached.
    pub measure_next: Option<Duration>,
    /// The expected course; empty when the culture does not grow at all.
    pub course: Vec<CurvePoint>,
    /// What to look at.
    pub alarms: Vec<Alarm>,
}

fn check(c: &Conditions<'_>, target: Target) -> Result<(), SouringError> {
    let within = |value: f64, low: f64, high: f64| value >= low && value <= high;
    if !within(c.start_ph.value(), 3.0, 7.0) {
        return Err(SouringError::StartPh(c.start_ph));
    }
    match target {
        Target::Ph(ph) if !within(ph.value(), 2.8, 7.0) => return Err(SouringError::TargetPh(ph)),
        Target::Acidity(acidity) if !within(acidity.as_g_per_l_lactic(), 1e-6, 30.0) => {
            return Err(SouringError::TargetAcidity(acidity));
        }
        _ => {}
    }
    if !(c.gravity.as_degrees() > 0.0 && c.gravity.as_degrees() <= 40.0) {
        return Err(SouringError::Gravity(c.gravity));
    }
    if !within(c.lactic_before.as_g_per_l(), 0.0, 30.0) {
        return Err(SouringError::LacticBefore(c.lactic_before));
    }
    let cells = [c.cells.low, c.cells.value, c.cells.high];
    if let Some(&wrong) = cells.iter().find(|c| !within(c.as_millions_per_ml(), 1e-9, 1e5)) {
        return Err(SouringError::Cells(wrong));
    }
    let speed = [c.speed.low, c.speed.value, c.speed.high];
    if let Some(&wrong) = speed.iter().find(|s| !within(s.value(), 1e-3, 1e3)) {
        return Err(SouringError::Speed(wrong));
    }
    if !within(c.meter_error.as_units(), 0.0, 1.0) {
        return Err(SouringError::MeterError(c.meter_error));
    }
    Ok(())
}

/// The last reading, and how the model's error stands there.
#[derive(Clone, Copy)]
struct Anchor {
    at: f64,
    warm: f64,
    ph: f64,
    /// Share of a reading's error that is the model's.
    gain: f64,
    /// Standard deviation of that error after the reading.
    left: f64,
    /// Warm hours and pH of a reading some hours before.
    before: Option<(f64, f64)>,
}

/// One member of the forecast: a course, and where on it the batch stands.
struct Member {
    course: Course,
    /// Warm hours of the course at the last reading.
    from: f64,
    /// By how much the pH there was off the course.
    off: f64,
    /// Factor on the pace after it.
    pace: f64,
    /// pH at the target.
    target: f64,
}

impl Member {
    fn new(
        axis: &Axis,
        prior: &Prior,
        belief: &Belief,
        unit: &[f64; DIMENSIONS],
        anchor: Option<&Anchor>,
        meter: f64,
    ) -> (Self, f64) {
        let traits = prior.traits(&belief.point(&unit[..TRAITS]));
        let course = Course::new(axis, &traits);
        let mut this = Self { course, from: 0.0, off: 0.0, pace: 1.0, target: 0.0 };
        if let Some(anchor) = anchor {
            let waits_above = axis.start - (2.0 * meter).max(0.02);
            let course = &this.course;
            // Where on the course this pH is. Wort that hardly moved waits still, no further
            // than where it would have moved.
            let phase = |ph: f64, warm: f64| {
                if ph >= waits_above {
                    course.at_ph(axis, waits_above).map_or(warm, |bound| bound.min(warm))
                } else {
                    course.at_ph(axis, ph).unwrap_or(LONGEST_HOURS)
                }
            };
            let followed = course.at_time(axis, anchor.warm);
            let off = anchor.gain * (anchor.ph - followed) + anchor.left * unit[TRAITS];
            let from = phase(followed + off, anchor.warm);
            let (mut pace, mut doubt) = (0.0, PACE_SPREAD.powi(2));
            if let Some((warm, ph)) = anchor.before {
                let followed = course.at_time(axis, warm);
                let then = phase(followed + anchor.gain * (ph - followed), warm);
                let passed = (from - then).max(0.05 * (anchor.warm - warm));
                // Course hours for a pH, at the last reading.
                let slope = (phase(followed + off - 0.05, anchor.warm) - from).max(0.0) / 0.05;
                let error = (slope * std::f64::consts::SQRT_2 * anchor.left / passed).powi(2);
                let seen = doubt / (doubt + error);
                pace = seen * (passed / (anchor.warm - warm)).ln();
                doubt *= 1.0 - seen;
            }
            doubt += PACE_ERROR.powi(2);
            (this.off, this.from) = (off, from);
            this.pace = (pace + doubt.sqrt() * unit[DIMENSIONS - 1]).exp();
        }
        (this, traits.buffer)
    }

    /// pH at this time.
    fn ph(&self, axis: &Axis, at: f64, warm: f64, anchor: Option<&Anchor>) -> f64 {
        match anchor {
            None => self.course.at_time(axis, warm),
            Some(anchor) if at >= anchor.at => {
                self.course.at_time(axis, self.from + self.pace * (warm - anchor.warm))
            }
            Some(anchor) => {
                let near = (-(anchor.at - at) / filter::MODEL_MEMORY).exp();
                self.course.at_time(axis, warm) + self.off * near
            }
        }
    }

    /// Hours since the pitch at which it has the target; infinite when it never gets there.
    fn arrives(&self, axis: &Axis, clock: &Clock, anchor: Option<&Anchor>) -> f64 {
        let Some(warm) = self.course.at_ph(axis, self.target) else { return f64::INFINITY };
        let hours = match anchor {
            None => clock.hours(warm),
            Some(anchor) if warm <= self.from => anchor.at,
            Some(anchor) => clock.hours(anchor.warm + (warm - self.from) / self.pace),
        };
        if hours <= HORIZON_HOURS { hours } else { f64::INFINITY }
    }
}

/// Shell's sort with Ciura's gaps. The library's own is quicker on thousands of values, but for two
/// hundred it is not, and it weighs several kilobytes in the app.
fn sort(values: &mut [f64]) {
    for gap in [132, 57, 23, 10, 4, 1] {
        for place in gap..values.len() {
            let value = values[place];
            let mut hole = place;
            while hole >= gap && values[hole - gap] > value {
                values[hole] = values[hole - gap];
                hole -= gap;
            }
            values[hole] = value;
        }
    }
}

/// 10 %, 50 % and 90 % of values, which it sorts.
fn quantiles(values: &mut [f64]) -> [f64; 3] {
    sort(values);
    [0.1, 0.5, 0.9].map(|share| {
        let place = (share * values.len() as f64 - 0.5).max(0.0);
        let (cell, part) = (place as usize, place.fract());
        let (a, b) = (values[cell], values[(cell + 1).min(values.len() - 1)]);
        if b.is_finite() {
            a + part * (b - a)
        } else if part > 0.5 {
            b
        } else {
            a
        }
    })
}

/// When the wort reaches the target, from the conditions and what was read
/// since the pitch. Readings may come in any order; those that are not finite,
/// or before the pitch, are left out. With readings, the forecast goes on from
/// the last one.
///
/// The constants of the course are our estimates, fitted to published courses of
/// souring, which the model follows to about ±0.25 pH.
///
/// `to_target` is an error when a condition lies outside its range or the culture
/// never gets there; the forecast's other parts are given as far as they are known.
pub fn forecast(conditions: &Conditions<'_>, target: Target, readings: &[(Duration, Ph)]) -> Forecast {
    let mut forecast = Forecast {
        to_target: Ok(Estimate::exact(Duration::ZERO)),
        chance: Fraction::ALL,
        ph_then: Estimate::exact(conditions.start_ph),
        lactic_then: Estimate::exact(Concentration::ZERO),
        acidity_then: conditions.acidity_before,
        speed: conditions.speed,
        speed_seen: None,
        measure_next: None,
        course: Vec::new(),
        alarms: Vec::new(),
    };
    // In order of time. They mostly come that way, so each finds its place at the end.
    let mut read: Vec<(f64, f64)> = Vec::with_capacity(readings.len());
    for (at, ph) in readings.iter().map(|(at, ph)| (at.as_hours(), ph.value())) {
        if (0.0..=LONGEST_HOURS).contains(&at) && ph > 0.0 && ph < 14.0 {
            read.insert(read.partition_point(|earlier| earlier.0 <= at), (at, ph));
        }
    }
    alarms::measured(&read, conditions, &mut forecast.alarms);
    if let Err(error) = check(conditions, target) {
        forecast.to_target = Err(error);
        if let Target::Ph(ph) = target
            && let Some(reached) = crossing(conditions, ph, &read)
        {
            forecast.to_target = Ok(reached);
        }
        return forecast;
    }
    let axis = Axis::new(conditions);
    let clock = Clock::new(conditions);
    let prior = Prior::of(conditions);
    let meter = conditions.meter_error.as_units();
    let read_on_clock = on_clock(&clock, &read);
    let belief = Belief::learned(&axis, &prior, &read_on_clock, meter);

    // What the target means in pH and in acid.
    let buffer = belief.mean[TRAITS - 1];
    let spread = Z80 * belief.deviation(TRAITS - 1);
    let wanted = target_ph(&axis, conditions, target, [buffer, buffer - spread, buffer + spread]);
    let Some((ph_then, formed)) = wanted else {
        let lowest = Ph::new(Course::new(&axis, &prior.traits(&belief.mean)).lowest(&axis));
        forecast.to_target = Err(SouringError::NeverReaches { target: Ph::new(axis.bottom()), lowest });
        return forecast;
    };
    (forecast.ph_then, forecast.lactic_then) = (ph_then, formed);
    forecast.acidity_then = plus(conditions.acidity_before, formed);
    let reached = crossing(conditions, ph_then.value, &read);

    let thermal = conditions.culture.thermal();
    let at = conditions.temperature;
    let late = read.last().map_or(0.0, |last| last.0);
    if clock.pace <= STANDSTILL && clock.warm(HORIZON_HOURS) <= clock.warm(late) + STANDSTILL {
        let error = if at >= thermal.best {
            SouringError::TooHot { at, most: thermal.most }
        } else {
            SouringError::TooCold { at, least: thermal.least }
        };
        forecast.to_target = reached.ok_or(error);
        return forecast;
    }
    forecast.speed = belief.speed(&prior);
    forecast.speed_seen = belief.speed_seen(&prior);

    let anchor = read_on_clock.last().filter(|last| last.at > 0.0).map(|last| {
        let mut residual = Residual::new(meter);
        for reading in &read_on_clock {
            residual.pass_to(reading.at);
            if reading.at < last.at {
                residual.read();
            }
        }
        let (_, gain) = residual.of_reading();
        residual.read();
        let before = read_on_clock
            .iter()
            .rfind(|reading| last.at - reading.at >= 6.0 && last.warm > reading.warm)
            .map(|reading| (reading.warm, reading.ph));
        Anchor { at: last.at, warm: last.warm, ph: last.ph, gain, left: residual.deviation(), before }
    });
    let anchor = anchor.as_ref();
    let number = if anchor.is_some() { MANY } else { FEW };
    let mut ensemble = Vec::with_capacity(number);
    let mut times = Vec::with_capacity(number);
    for unit in &members(number) {
        let (mut one, buffer) = Member::new(&axis, &prior, &belief, unit, anchor, meter);
        one.target = match target {
            Target::Ph(ph) => ph.value(),
            Target::Acidity(_) => {
                target_ph(&axis, conditions, target, [buffer; 3]).map_or(0.0, |wanted| wanted.0.value.value())
            }
        };
        times.push(one.arrives(&axis, &clock, anchor));
        ensemble.push(one);
    }
    let arriving = times.iter().filter(|time| time.is_finite()).count();
    forecast.chance = Fraction::of_one(arriving as f64 / number as f64);
    let [early, middle, latest] = quantiles(&mut times);

    forecast.to_target = if let Some(reached) = reached {
        forecast.chance = Fraction::ALL;
        Ok(reached)
    } else if formed.value.as_g_per_l() > 10.0 * FERMENTABLE * conditions.gravity.as_degrees() {
        Err(SouringError::NotEnoughExtract { needed: formed.value, gravity: conditions.gravity })
    } else if middle.is_finite() {
        let hours = |hours: f64| Duration::hours(hours.min(HORIZON_HOURS));
        Ok(Estimate::band(hours(middle), hours(early), hours(latest)))
    } else {
        let mut ends: Vec<f64> = ensemble.iter().map(|member| member.course.lowest(&axis)).collect();
        Err(SouringError::NeverReaches { target: ph_then.value, lowest: Ph::new(quantiles(&mut ends)[1]) })
    };

    let end = match &forecast.to_target {
        Ok(time) if latest.is_finite() || reached.is_some() => time.high.as_hours() * 1.1,
        Ok(time) => time.value.as_hours() * 1.8,
        Err(_) => 120.0,
    };
    let span = end.max(late * 1.1).clamp(12.0, LONGEST_HOURS);
    let mut at_once = vec![0.0; number];
    for place in 0..POINTS {
        let hours = span * place as f64 / (POINTS - 1) as f64;
        let warm = clock.warm(hours);
        for (slot, member) in at_once.iter_mut().zip(&ensemble) {
            *slot = member.ph(&axis, hours, warm, anchor);
        }
        let [low, value, high] = quantiles(&mut at_once).map(Ph::new);
        forecast.course.push(CurvePoint { at: Duration::hours(hours), low, value, high });
    }
    if reached.is_none() {
        forecast.measure_next = Some(next_reading(&forecast, early, late, meter));
        alarms::expected(
            &Expected { conditions, axis: &axis, clock: &clock, prior: &prior, read: &read_on_clock, meter },
            ph_then.value,
            &mut forecast,
        );
    }
    forecast
}

/// What alarms are raised from.
struct Expected<'a> {
    conditions: &'a Conditions<'a>,
    axis: &'a Axis,
    clock: &'a Clock,
    prior: &'a Prior,
    read: &'a [filter::Read],
    meter: f64,
}

/// pH at the target, and lactic acid formed by then, for bufferings at the
/// middle and the ends of a band; `None` when it lies below every culture.
fn target_ph(
    axis: &Axis,
    conditions: &Conditions<'_>,
    target: Target,
    buffers: [f64; 3],
) -> Option<(Estimate<Ph>, Estimate<Concentration>)> {
    let acid = |mmol: f64| Concentration::mg_per_l(mmol * LACTIC_MASS);
    match target {
        Target::Ph(ph) => {
            let [value, low, high] = buffers.map(|buffer| acid(axis.formed_to(ph.value(), buffer)));
            Some((Estimate::exact(ph), Estimate::band(value, low, high)))
        }
        Target::Acidity(acidity) => {
            let missing = |before: TitratableAcidity| {
                Concentration::g_per_l((acidity - before).as_g_per_l_lactic().max(0.0))
            };
            let before = conditions.acidity_before;
            let formed = Estimate::band(missing(before.value), missing(before.high), missing(before.low));
            let moles = formed.value.as_mg_per_l() / LACTIC_MASS;
            let [value, low, high] = buffers.map(|buffer| axis.ph_where(moles, buffer));
            let value = Ph::new(value?);
            Some((Estimate::band(value, low.map_or(value, Ph::new), high.map_or(value, Ph::new)), formed))
        }
    }
}

/// When to measure next. The earliest of: the early end of the arrival; the time
/// by which a reading tells three quarters of what one before that end can tell
/// (the logarithm of the band's width over the meter's error); the end of the
/// time in which pH 4.6 must be passed, when it is not yet.
fn next_reading(forecast: &Forecast, early: f64, late: f64, meter: f64) -> Duration {
    let worth = |point: &CurvePoint| {
        let width = (point.high - point.low).as_units() / (2.0 * Z80 * meter.max(0.01));
        (1.0 + width * width).ln()
    };
    let ahead = || forecast.course.iter().filter(move |point| point.at.as_hours() > late);
    let in_time = |point: &&CurvePoint| point.at.as_hours() <= early;
    let most = ahead().filter(in_time).map(worth).fold(0.0, f64::max);
    let telling =
        ahead().find(|point| worth(point) >= 0.75 * most).map_or(early, |point| point.at.as_hours());
    let mut next = telling.min(early);
    let safe_within = SAFE_WITHIN.as_hours();
    if late < safe_within
        && forecast.course.iter().any(|point| point.at.as_hours() >= late && point.high > SAFE_PH)
    {
        next = next.min(safe_within);
    }
    // A reading within an hour of the last tells nothing new.
    Duration::hours(next.max(late + 1.0))
}

/// When the readings crossed the target, between the reading before and the first at or below it.
fn crossing(conditions: &Conditions<'_>, target: Ph, read: &[(f64, f64)]) -> Option<Estimate<Duration>> {
    let hours = Duration::hours;
    if conditions.start_ph <= target {
        return Some(Estimate::exact(Duration::ZERO));
    }
    let place = read.iter().position(|(_, ph)| *ph <= target.value())?;
    let (after, ph) = read[place];
    let (before, from) = match place {
        0 => (0.0, conditions.start_ph.value()),
        _ => read[place - 1],
    };
    let share = if from > ph { ((from - target.value()) / (from - ph)).clamp(0.0, 1.0) } else { 1.0 };
    Some(Estimate::band(hours(before + share * (after - before)), hours(before), hours(after)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn sorted_values_are_in_order(mut values in proptest::collection::vec(-1e3..1e3f64, 1..300)) {
            let mut expected = values.clone();
            expected.sort_by(f64::total_cmp);
            sort(&mut values);
            prop_assert_eq!(&values, &expected);
            let [low, middle, high] = quantiles(&mut values);
            prop_assert!(expected[0] <= low && low <= middle && middle <= high && high <= expected[expected.len() - 1]);
        }
    }

    #[test]
    fn quantiles_of_even_steps() {
        let mut values: Vec<f64> = (0..10).rev().map(f64::from).collect();
        assert_eq!(quantiles(&mut values), [0.5, 4.5, 8.5]);
    }
}
