//! Sourings that follow other laws than the forecast's model, to try it on.
//!
//! `Monod` was used to set the forecast's error terms. `Logistic` and `Gompertz`
//! were looked at while the end of the course was worked out; `Approach` was
//! written when every constant was fixed, and none was changed after its first run.

use calc::brew::buffer::BufferCurve;
use calc::brew::souring::{Alarm, Conditions, Forecast, Target, first_speed, forecast, titratable_acidity};
use calc::data::cultures::Culture;
use calc::quantity::*;

/// Growth and acid by another law than the model's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum World {
    /// The one to set error terms by: Monod growth on sugar, inhibition by undissociated acid to a
    /// power (Levenspiel), a lag of the adjusting kind, square-root law of temperature, buffers of
    /// three groups.
    Monod,
    /// Logistic growth after a sharp lag, acid slowed in proportion to all lactic acid, temperature
    /// by Arrhenius, buffering that changes linearly with pH.
    Logistic,
    /// No cells: after a gradual start the acid approaches its end at a rate in proportion to what is
    /// missing, temperature by a fixed Q10, buffers of four groups at random places.
    Approach,
    /// No cells: acid follows a Gompertz curve, temperature by a fixed Q10, buffers of four
    /// groups at random places.
    Gompertz,
}

/// Random numbers that are always the same: SplitMix64.
pub struct Dice(pub u64);

impl Dice {
    pub fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }
    pub fn normal(&mut self) -> f64 {
        let (a, b) = (self.share().max(1e-15), self.share());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
    pub fn factor(&mut self, spread: f64) -> f64 {
        (spread * self.normal()).exp()
    }
}

/// One souring: the truth, and what a brewer knows of it.
pub struct Souring {
    /// True pH every [`STEP`] hours.
    truth: Vec<f64>,
    pub start: f64,
    pub plato: f64,
    pub kept_at: f64,
    pub label_cells: f64,
    pub target: f64,
    /// Hours, pH read.
    pub readings: Vec<(f64, f64)>,
    /// Hours, degrees read.
    pub temperatures: Vec<(f64, f64)>,
}

const STEP: f64 = 0.1;
const METER: f64 = 0.03;
const STEPS: usize = 6000;

/// Lactic acid in all that brings wort to each hundredth of pH below the start, mmol/L.
fn acid_for(start: f64, charge: impl Fn(f64) -> f64) -> Vec<f64> {
    (0..=(100.0 * (start - 2.7)) as usize)
        .map(|place| {
            let ph = start - 0.01 * place as f64;
            let free = 1e3 * (10_f64.powf(-ph) - 10_f64.powf(-start));
            (charge(ph) - charge(start) + free) * (1.0 + 10_f64.powf(3.75 - ph))
        })
        .collect()
}

impl Souring {
    pub fn new(world: World, dice: &mut Dice) -> Self {
        let plato = dice.between(8.0, 16.0);
        let start = if dice.share() < 0.7 { dice.between(4.3, 4.7) } else { dice.between(4.9, 5.3) };
        let kept_at = dice.between(20.0, 38.0);
        let label_cells = 10_f64.powf(dice.between(0.3, 1.7));
        let cells = label_cells * dice.factor(0.5);
        let target = dice.between(3.3, 3.6);
        // Capacity of this wort, drawn as wide as worts are known to be.
        let capacity = plato * (0.8 + 0.15 * dice.normal()).max(0.4);
        let total = match world {
            World::Logistic => {
                // Between half as much and half as much again at the lower end as at the upper.
                let tilt = dice.between(-0.4, 0.4);
                acid_for(start, |ph| -capacity * (ph + 0.5 * tilt * (ph - 4.1).powi(2)))
            }
            World::Monod | World::Gompertz | World::Approach => {
                let groups: Vec<(f64, f64)> = if world == World::Monod {
                    [2.9, 3.9, 4.9].map(|pka| (pka + dice.between(-0.2, 0.2), dice.between(0.6, 1.4))).into()
                } else {
                    (0..4).map(|_| (dice.between(2.6, 5.4), dice.between(0.3, 1.7))).collect()
                };
                let held = |ph: f64| -> f64 {
                    groups.iter().map(|(pka, amount)| amount / (1.0 + 10_f64.powf(ph - pka))).sum()
                };
                let scale = capacity * 1.5 / (held(3.4) - held(4.9)).max(0.1);
                acid_for(start, |ph| scale * held(ph))
            }
        };
        // The wort's temperature wanders around what it is kept at.
        let (offset, mut wander) = (0.7 * dice.normal(), 0.0);
        let degrees: Vec<f64> = (0..STEPS)
            .map(|_| {
                wander += -wander * STEP / 10.0 + 1.0 * (2.0 * STEP / 10.0_f64).sqrt() * dice.normal();
                (kept_at + offset + wander).min(40.0)
            })
            .collect();
        let made = match world {
            World::Monod => monod(dice, cells, plato, (start, &total), &degrees),
            World::Logistic => logistic(dice, cells, plato, &degrees),
            World::Gompertz => gompertz(dice, cells, plato, &total, &degrees),
            World::Approach => approach(dice, cells, plato, &total, &degrees),
        };
        let mut place = 0;
        let truth: Vec<f64> = made
            .iter()
            .map(|made| {
                while place + 2 < total.len() && total[place + 1] <= *made {
                    place += 1;
                }
                let share = ((made - total[place]) / (total[place + 1] - total[place])).clamp(0.0, 1.0);
                start - 0.01 * (place as f64 + share)
            })
            .collect();
        let mut this = Self {
            truth,
            start: start + METER * dice.normal(),
            plato,
            kept_at,
            label_cells,
            target,
            readings: Vec::new(),
            temperatures: Vec::new(),
        };
        let mut at = 0.0;
        for _ in 0..60 {
            at += dice.between(6.0, 14.0);
            let place = (at / STEP) as usize;
            if place >= STEPS {
                break;
            }
            this.readings.push((at, this.truth[place] + METER * dice.normal()));
            this.temperatures.push((at, degrees[place] + 0.3 * dice.normal()));
        }
        this
    }

    /// Hours to the target; `None` when it is never reached.
    pub fn arrival(&self) -> Option<f64> {
        self.truth.iter().position(|ph| *ph <= self.target).map(|place| place as f64 * STEP)
    }

    /// What is forecast after so many readings.
    pub fn forecast(&self, count: usize) -> Forecast {
        let hours = |(at, value): &(f64, f64)| (Duration::hours(*at), *value);
        let readings: Vec<_> =
            self.readings[..count].iter().map(hours).map(|(at, ph)| (at, Ph::new(ph))).collect();
        let temperatures: Vec<_> = self.temperatures[..count]
            .iter()
            .map(hours)
            .map(|(at, celsius)| (at, Temperature::celsius(celsius)))
            .collect();
        let curve = BufferCurve::prior(Plato::degrees(self.plato), Estimate::exact(Count::of(1.0)));
        let gravity = Plato::degrees(self.plato);
        let cells = CellDensity::millions_per_ml(self.label_cells);
        let conditions = Conditions {
            start_ph: Ph::new(self.start),
            curve: &curve,
            gravity,
            lactic_before: Concentration::ZERO,
            acidity_before: titratable_acidity(Estimate::exact(Concentration::ZERO), gravity),
            temperature: Temperature::celsius(self.kept_at),
            temperatures: &temperatures,
            culture: Culture::LPlantarum,
            cells: Estimate { value: cells, low: cells * 0.5, high: cells * 2.0 },
            bitterness: Bitterness::ZERO,
            speed: first_speed(),
            meter_error: PhDifference::units(METER),
        };
        forecast(&conditions, Target::Ph(Ph::new(self.target)), &readings)
    }

    /// A straight line through the last two of so many readings; `None` when it never comes down.
    pub fn straight_line(&self, count: usize) -> Option<f64> {
        let (a, b) = (self.readings[count - 2], self.readings[count - 1]);
        let fall = (a.1 - b.1) / (b.0 - a.0);
        (fall > 0.0).then(|| b.0 + ((b.1 - self.target) / fall).max(0.0))
    }
}

fn monod(
    dice: &mut Dice,
    cells: f64,
    plato: f64,
    (start, total): (f64, &[f64]),
    degrees: &[f64],
) -> Vec<f64> {
    let fastest = 0.5 * dice.factor(0.35);
    let (stops, power) = (40.0 * dice.factor(0.2), dice.between(0.6, 1.8));
    let (with_growth, with_time) = (52.0 * dice.factor(0.25), 2.2 * dice.factor(0.4));
    let (half, least) = (dice.between(1.0, 10.0), dice.between(1.0, 6.0));
    // Growth falls in a straight line from pH 5 to none here.
    let ends = dice.between(3.2, 3.5);
    let mut adjusted = (-dice.between(0.3, 2.5)).exp();
    let (mut biomass, mut made, mut sugar) = (3e-4 * cells, 0.0, 7.0 * plato);
    let mut place = 0;
    degrees
        .iter()
        .map(|t| {
            let warm = ((t - least) / (36.0 - least)).max(0.0).powi(2) * if *t < 36.0 { 1.0 } else { 0.9 };
            while place + 2 < total.len() && total[place + 1] <= made {
                place += 1;
            }
            let ph = start - 0.01 * place as f64;
            let free = made / (1.0 + 10_f64.powf(ph - 3.75));
            let room = (1.0 - free / stops).max(0.0).powf(power);
            adjusted += adjusted * (1.0 - adjusted) * fastest * warm * STEP * 2.0;
            let bears = ((ph - ends) / (5.0 - ends)).clamp(0.0, 1.0);
            let growth = fastest * warm * room * bears * sugar / (sugar + half) * adjusted;
            let acid = (with_growth * growth + with_time * warm * room) * biomass;
            biomass += growth * biomass * STEP;
            made += acid * STEP;
            sugar = (sugar - 0.09 * acid * STEP).max(0.0);
            made
        })
        .collect()
}

fn logistic(dice: &mut Dice, cells: f64, plato: f64, degrees: &[f64]) -> Vec<f64> {
    let fastest = 0.36 * dice.factor(0.35);
    let most = 3e-4 * 1500.0 * dice.factor(0.3);
    // Lactic acid in all at which acid making stops, mmol/L: about 0.7 to 1 % of wort.
    let stops = 7.5 * plato * dice.factor(0.2);
    let (with_growth, with_time) = (45.0 * dice.factor(0.25), 4.0 * dice.factor(0.4));
    let energy = dice.between(50.0, 75.0);
    let mut wait = dice.between(1.0, 9.0);
    let (mut biomass, mut made) = (3e-4 * cells, 0.0);
    degrees
        .iter()
        .map(|t| {
            let warm = (energy / 8.314e-3 * (1.0 / 309.15 - 1.0 / (273.15 + t))).exp();
            wait -= warm * STEP;
            if wait < 0.0 {
                let growth = fastest * warm * (1.0 - biomass / most).max(0.0);
                let slowed = (1.0 - made / stops).max(0.0);
                made += (with_growth * growth + with_time * warm) * slowed * biomass * STEP;
                biomass += growth * biomass * STEP;
            }
            made
        })
        .collect()
}

fn gompertz(dice: &mut Dice, cells: f64, plato: f64, total: &[f64], degrees: &[f64]) -> Vec<f64> {
    // The end lies where this wort has pH 3.05 to 3.4.
    let end = total[total.len() - 1 - (100.0 * dice.between(0.35, 0.7)) as usize].min(14.0 * plato);
    let ten = dice.between(2.0, 3.2);
    // At 30 °C: fastest hours to make all the acid at the steepest rate, and the wait.
    let rate = end / (22.0 * dice.factor(0.4));
    let wait = (9.0 - 2.0 * (cells / 10.0).ln()).max(1.0) * dice.factor(0.3);
    let mut warm_hours = 0.0;
    let at = |hours: f64| end * (-(rate * std::f64::consts::E / end * (wait - hours) + 1.0).exp()).exp();
    let first = at(0.0);
    degrees
        .iter()
        .map(|t| {
            warm_hours += ten.powf((t - 30.0) / 10.0) * STEP;
            at(warm_hours) - first
        })
        .collect()
}

fn approach(dice: &mut Dice, cells: f64, plato: f64, total: &[f64], degrees: &[f64]) -> Vec<f64> {
    // The end lies where this wort has pH 2.95 to 3.35.
    let end = total[total.len() - 1 - (100.0 * dice.between(0.25, 0.65)) as usize].min(14.0 * plato);
    let ten = dice.between(2.0, 3.2);
    // At 30 °C: share of what is missing that is made in an hour, the middle of the start and its length.
    let rate = 0.04 * dice.factor(0.4);
    let middle = (13.0 - 3.0 * (cells / 10.0).ln()).max(2.0) * dice.factor(0.3);
    let length = middle * dice.between(0.15, 0.35);
    let (mut warm_hours, mut made) = (0.0, 0.0);
    degrees
        .iter()
        .map(|t| {
            let warm = ten.powf((t - 30.0) / 10.0) * STEP;
            warm_hours += warm;
            let going = 1.0 / (1.0 + ((middle - warm_hours) / length).exp());
            made += rate * going * (end - made) * warm;
            made
        })
        .collect()
}

/// How the forecast did over many sourings.
#[derive(Debug)]
pub struct Score {
    pub sourings: usize,
    /// Drawn, but at the target before the readings were complete.
    pub too_fast: usize,
    /// Drawn, but never at the target in 600 hours.
    pub never: usize,
    /// Share of arrivals inside the 80 % band.
    pub covered: f64,
    /// Share before its early end, share after its late end.
    pub early: f64,
    pub late: f64,
    /// Median of the absolute error, hours.
    pub error: f64,
    /// The same for a straight line through the last two readings.
    pub line_error: f64,
    /// Median time to the target, median hours from the last reading to it, median width of the band.
    pub arrival: f64,
    pub left: f64,
    pub width: f64,
    /// Share of these sourings, all sound and all on their way, in which each alarm rings.
    pub alarms: Vec<(Alarm, f64)>,
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Tries the forecast after so many readings on so many sourings.
pub fn score(world: World, seed: u64, sourings: usize, count: usize) -> Score {
    let mut dice = Dice(seed);
    let (mut too_fast, mut never, mut early, mut late) = (0, 0, 0, 0);
    let mut alarms: Vec<(Alarm, f64)> = Vec::new();
    let (mut errors, mut line, mut arrivals, mut lefts, mut widths) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new());
    while errors.len() < sourings {
        let souring = Souring::new(world, &mut dice);
        let Some(arrival) = souring.arrival() else {
            never += 1;
            continue;
        };
        let last = souring.readings[count.max(1) - 1].0;
        if count > 0 && arrival <= last {
            too_fast += 1;
            continue;
        }
        let told = souring.forecast(count);
        for alarm in &told.alarms {
            match alarms.iter_mut().find(|(rung, _)| rung == alarm) {
                Some((_, number)) => *number += 1.0 / sourings as f64,
                None => alarms.push((*alarm, 1.0 / sourings as f64)),
            }
        }
        let told = told.to_target;
        let (value, low, high) = told.map_or((f64::INFINITY, f64::INFINITY, f64::INFINITY), |time| {
            (time.value.as_hours(), time.low.as_hours(), time.high.as_hours())
        });
        early += usize::from(arrival < low);
        late += usize::from(arrival > high);
        errors.push((value - arrival).abs());
        line.push(if count > 1 {
            souring.straight_line(count).map_or(f64::INFINITY, |line| (line - arrival).abs())
        } else {
            f64::INFINITY
        });
        arrivals.push(arrival);
        lefts.push(arrival - last);
        widths.push(high - low);
    }
    let share = |number: usize| number as f64 / sourings as f64;
    Score {
        sourings,
        too_fast,
        never,
        covered: 1.0 - share(early) - share(late),
        early: share(early),
        late: share(late),
        error: median(&mut errors),
        line_error: median(&mut line),
        arrival: median(&mut arrivals),
        left: median(&mut lefts),
        width: median(&mut widths),
        alarms,
    }
}
