//! What is believed of a souring, and how readings change it.
//!
//! Six traits differ from souring to souring. Before any reading each is
//! log-normal (or normal) and independent of the others; written in standard
//! deviations from its median, the prior is the unit normal. Readings are taken
//! in by the iterated linearised (Gauss-Newton) form of the Kalman update: the
//! course is linearised over one deviation to each side of what is believed,
//! the linear problem is solved, and that is repeated. The answer is again a
//! normal, from which a fixed set of members is drawn.
//!
//! No souring follows the model. Its error at a reading is an
//! Ornstein-Uhlenbeck process: errors of readings close in time are alike, far
//! apart they are not. So many readings never make the band narrower than the
//! model deserves.

use super::growth::{Axis, Clock, Course, Traits};
use super::{Conditions, Z80};
use crate::data::cultures::DRY_GRAMS_PER_BILLION_CELLS;
use crate::quantity::{CellDensity, Count, Estimate};

/// Number of traits.
pub(super) const TRAITS: usize = 6;
/// Standard deviation of the logarithm of the wait before growth; our estimate.
const LAG_SPREAD: f64 = 0.6;
/// Of the acid that a cell makes, on top of the pitch's own; our estimate.
const YIELD_SPREAD: f64 = 0.2;
/// Of the acid made without growth; our estimate.
const UPKEEP_SPREAD: f64 = 0.6;
/// Of the acid that stops a culture; our estimate.
const STOPS_SPREAD: f64 = 0.25;
/// How far the pH limits of strains lie apart, together with that: six cultures in wort ended at
/// pH 3.18 to 3.54 (Tenhovirta 2019, quoted second hand), a deviation of 0.14; the rest is our estimate.
const SHIFT_SPREAD: f64 = 0.16;
/// Standard deviation, in pH, of a souring from the best course of this model; set by simulation.
pub(super) const MODEL_ERROR: f64 = 0.09;
/// Hours after which that error is forgotten to a third; set by simulation.
pub(super) const MODEL_MEMORY: f64 = 15.0;
/// A meter is not taken to be better than this, pH.
const BEST_METER: f64 = 0.005;
/// Linearisations of the course.
const ROUNDS: usize = 5;
/// Furthest the belief moves in one of them, standard deviations of the prior.
const STRIDE: f64 = 1.5;

type Vector = [f64; TRAITS];

/// Medians and spreads of the traits before any reading.
pub(super) struct Prior {
    speed: f64,
    cells: f64,
    spread: [f64; 3],
}

impl Prior {
    pub fn of(conditions: &Conditions<'_>) -> Self {
        let spread =
            |low: f64, high: f64| ((high.max(1e-9) / low.max(1e-9)).ln() / (2.0 * Z80)).clamp(0.0, 3.0);
        let (speed, cells) = (conditions.speed, conditions.cells);
        let pitch = spread(cells.low.as_millions_per_ml(), cells.high.as_millions_per_ml());
        Self {
            speed: speed.value.value(),
            cells: dry_cells(cells.value),
            spread: [spread(speed.low.value(), speed.high.value()), pitch.hypot(YIELD_SPREAD), 0.0],
        }
    }

    /// The traits this many deviations from their medians.
    pub fn traits(&self, z: &Vector) -> Traits {
        Traits {
            speed: self.speed * (self.spread[0] * z[0]).exp(),
            lag: (LAG_SPREAD * z[1]).exp(),
            cells: self.cells * (self.spread[1] * z[2]).exp(),
            upkeep: (UPKEEP_SPREAD * z[3]).exp(),
            stops: (STOPS_SPREAD * z[4]).exp(),
            shift: SHIFT_SPREAD * z[4],
            buffer: z[5],
        }
    }
}

/// Dry mass of cells, g/L.
fn dry_cells(cells: CellDensity) -> f64 {
    cells.as_millions_per_ml() * DRY_GRAMS_PER_BILLION_CELLS
}

/// One reading: hours since the pitch, warm hours, pH.
#[derive(Clone, Copy)]
pub(super) struct Read {
    pub at: f64,
    pub warm: f64,
    pub ph: f64,
}

/// The model's error as it goes from reading to reading: a Kalman filter of one
/// state, which also makes the readings' errors independent.
pub(super) struct Residual {
    at: f64,
    variance: f64,
    meter: f64,
}

impl Residual {
    /// At the pitch the error is that of the meter alone.
    pub fn new(meter_error: f64) -> Self {
        let meter = meter_error.max(BEST_METER).powi(2);
        Self { at: 0.0, variance: meter, meter }
    }

    /// What of the error before is left at this time; the variance grows.
    pub fn pass_to(&mut self, at: f64) -> f64 {
        let kept = (-(at - self.at).max(0.0) / MODEL_MEMORY).exp();
        self.variance = kept * kept * self.variance + (1.0 - kept * kept) * MODEL_ERROR * MODEL_ERROR;
        self.at = at;
        kept
    }

    /// Variance of a reading's whole error, and the share of it that is the model's.
    pub fn of_reading(&self) -> (f64, f64) {
        let whole = self.variance + self.meter;
        (whole, self.variance / whole)
    }

    /// Standard deviation of the model's error now.
    pub fn deviation(&self) -> f64 {
        self.variance.sqrt()
    }

    /// A reading was taken in.
    pub fn read(&mut self) {
        self.variance *= 1.0 - self.of_reading().1;
    }
}

/// A normal belief about the traits, in deviations of the prior.
#[derive(Clone)]
pub(super) struct Belief {
    pub mean: Vector,
    /// A square root of the covariance.
    root: [Vector; TRAITS],
}

impl Belief {
    pub fn prior() -> Self {
        let mut root = [[0.0; TRAITS]; TRAITS];
        for (place, row) in root.iter_mut().enumerate() {
            row[place] = 1.0;
        }
        Self { mean: [0.0; TRAITS], root }
    }

    /// Standard deviation of one trait.
    pub fn deviation(&self, place: usize) -> f64 {
        self.root[place].iter().map(|r| r * r).sum::<f64>().sqrt()
    }

    /// The belief's point for independent unit normals.
    pub fn point(&self, unit: &[f64]) -> Vector {
        let mut z = self.mean;
        for (z, row) in z.iter_mut().zip(&self.root) {
            *z += row.iter().zip(unit).map(|(r, u)| r * u).sum::<f64>();
        }
        z
    }

    /// The prior with these readings, in order of time.
    pub fn learned(axis: &Axis, prior: &Prior, read: &[Read], meter_error: f64) -> Self {
        let mut belief = Self::prior();
        if read.is_empty() {
            return belief;
        }
        let mut rows = vec![[0.0; TRAITS + 1]; read.len()];
        for _ in 0..ROUNDS {
            let course = |z: &Vector| Course::new(axis, &prior.traits(z));
            let middle = course(&belief.mean);
            for (row, reading) in rows.iter_mut().zip(read) {
                row[TRAITS] = reading.ph - middle.at_time(axis, reading.warm);
            }
            for trait_ in 0..TRAITS {
                let reach = belief.deviation(trait_);
                let aside = |sign: f64| {
                    let mut z = belief.mean;
                    z[trait_] += sign * reach;
                    course(&z)
                };
                let (more, less) = (aside(1.0), aside(-1.0));
                for (row, reading) in rows.iter_mut().zip(read) {
                    row[trait_] =
                        (more.at_time(axis, reading.warm) - less.at_time(axis, reading.warm)) / (2.0 * reach);
                    row[TRAITS] += row[trait_] * belief.mean[trait_];
                }
            }
            belief = belief.solved(&mut rows, read, meter_error);
        }
        belief
    }

    /// The normal that the prior and linear readings give: a row holds the slopes and what they must explain.
    fn solved(&self, rows: &mut [[f64; TRAITS + 1]], read: &[Read], meter_error: f64) -> Self {
        let mut information = [[0.0; TRAITS]; TRAITS];
        let mut pull = [0.0; TRAITS];
        for (place, row) in information.iter_mut().enumerate() {
            row[place] = 1.0;
        }
        let mut residual = Residual::new(meter_error);
        let mut state = [0.0; TRAITS + 1];
        for (row, reading) in rows.iter_mut().zip(read) {
            let kept = residual.pass_to(reading.at);
            let (variance, gain) = residual.of_reading();
            let scale = variance.sqrt().recip();
            for (value, state) in row.iter_mut().zip(&mut state) {
                let surprise = *value - *state * kept;
                *state = *state * kept + gain * surprise;
                *value = surprise * scale;
            }
            residual.read();
            for a in 0..TRAITS {
                pull[a] += row[a] * row[TRAITS];
                for b in 0..=a {
                    information[a][b] += row[a] * row[b];
                }
            }
        }
        // Cholesky, and the inverse of its factor: transposed, that is a root of the covariance.
        // With the factor's inverse turned over as a root of the covariance.
        let factor = cholesky(information);
        let half = forward(&factor, pull);
        let mut solved = Self::prior();
        for ((row, mean), before) in solved.root.iter_mut().zip(&mut solved.mean).zip(&self.mean) {
            *row = forward(&factor, *row);
            let wanted: f64 = row.iter().zip(&half).map(|(r, h)| r * h).sum();
            *mean = before + (wanted - before).clamp(-STRIDE, STRIDE);
        }
        solved
    }

    /// The factor on the speed.
    pub fn speed(&self, prior: &Prior) -> Estimate<Count> {
        let at = |z: f64| Count::of(prior.speed * (prior.spread[0] * z).exp());
        let half = Z80 * self.deviation(0);
        Estimate::band(at(self.mean[0]), at(self.mean[0] - half), at(self.mean[0] + half))
    }

    /// The factor on the speed as the readings have it, whatever was believed
    /// before; `None` when they say next to nothing about it.
    pub fn speed_seen(&self, prior: &Prior) -> Option<Estimate<Count>> {
        let known = self.deviation(0).powi(-2);
        let seen = known - 1.0;
        if seen < 0.1 || prior.spread[0] <= 0.0 {
            return None;
        }
        let (middle, half) = ((self.mean[0] * known / seen).clamp(-6.0, 6.0), Z80 * seen.sqrt().recip());
        let at = |z: f64| Count::of(prior.speed * (prior.spread[0] * z).exp());
        Some(Estimate::band(at(middle), at(middle - half), at(middle + half)))
    }
}

/// Unit normals of so many members: a Kronecker sequence of low discrepancy, every point with
/// its mirror image, turned so that mean and covariance of all are exactly those of independent
/// unit normals. At least twice as many as [`DIMENSIONS`].
pub(super) fn members(count: usize) -> Vec<[f64; DIMENSIONS]> {
    let mut points = Vec::with_capacity(count);
    let mut together = [[0.0; DIMENSIONS]; DIMENSIONS];
    for place in 0..count.div_ceil(2) {
        let mut step = 1.0;
        let mut unit = [0.0; DIMENSIONS];
        for slot in &mut unit {
            step /= STEP;
            *slot = normal_quantile((0.5 + step * (place + 1) as f64).fract());
        }
        for (row, left) in together.iter_mut().zip(&unit) {
            for (entry, right) in row.iter_mut().zip(&unit) {
                *entry += left * right / count.div_ceil(2) as f64;
            }
        }
        points.extend([unit, unit.map(|value| -value)]);
    }
    let factor = cholesky(together);
    for unit in &mut points {
        *unit = forward(&factor, *unit);
    }
    points
}

/// The vector that the lower triangle turns into this one.
fn forward<const N: usize>(factor: &[[f64; N]; N], mut vector: [f64; N]) -> [f64; N] {
    for a in 0..N {
        let sum: f64 = (0..a).map(|b| factor[a][b] * vector[b]).sum();
        vector[a] = (vector[a] - sum) / factor[a][a];
    }
    vector
}

/// The lower triangle that times its mirror image gives a symmetric positive matrix.
fn cholesky<const N: usize>(mut factor: [[f64; N]; N]) -> [[f64; N]; N] {
    for a in 0..N {
        for b in 0..=a {
            let sum: f64 = (0..b).map(|c| factor[a][c] * factor[b][c]).sum();
            let left = factor[a][b] - sum;
            factor[a][b] = if a == b { left.max(1e-12).sqrt() } else { left / factor[b][b] };
        }
    }
    factor
}

/// Traits, the error of the last reading, the pace after it.
pub(super) const DIMENSIONS: usize = TRAITS + 2;
/// The root of x⁹ = x + 1: its powers below one make a sequence of low discrepancy in 8 dimensions.
const STEP: f64 = 1.085_070_245_491_451;

/// Quantile of the unit normal, within 0.0005: Hastings' fit, Abramowitz & Stegun 1964, 26.2.23.
fn normal_quantile(share: f64) -> f64 {
    let tail = share.min(1.0 - share).max(1e-9);
    let t = (-2.0 * tail.ln()).sqrt();
    let value = t
        - (2.515_517 + t * (0.802_853 + t * 0.010_328))
            / (1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308)));
    if share < 0.5 { -value } else { value }
}

/// Readings with what the clock says.
pub(super) fn on_clock(clock: &Clock, read: &[(f64, f64)]) -> Vec<Read> {
    read.iter().map(|&(at, ph)| Read { at, warm: clock.warm(at), ph }).collect()
}

#[cfg(test)]
mod tests {
    use super::super::{FEW, MANY};
    use super::*;

    #[test]
    fn quantiles_of_the_unit_normal() {
        for (share, expected) in [(0.5, 0.0), (0.9, 1.281_55), (0.1, -1.281_55), (0.999, 3.090_23)] {
            assert!((normal_quantile(share) - expected).abs() < 5e-4, "{share}");
        }
    }

    #[test]
    fn members_stand_for_unit_normals() {
        for count in [FEW, MANY] {
            let members = members(count);
            assert_eq!(members.len(), count);
            for a in 0..DIMENSIONS {
                let mut values: Vec<f64> = members.iter().map(|unit| unit[a]).collect();
                assert!(values.iter().sum::<f64>().abs() < 1e-9);
                values.sort_unstable_by(f64::total_cmp);
                let tenth = values[count / 10];
                assert!((tenth + 1.28).abs() < 0.3, "{count} {a}: {tenth}");
                for b in 0..DIMENSIONS {
                    let together = members.iter().map(|unit| unit[a] * unit[b]).sum::<f64>() / count as f64;
                    assert!((together - f64::from(u8::from(a == b))).abs() < 1e-9, "{count} {a} {b}");
                }
            }
        }
    }

    /// Rows of slopes whose errors are those of the filter: the belief must be that of the
    /// normal equations with the full covariance of the errors.
    #[test]
    fn the_update_is_the_linear_gaussian_one() {
        let at = [3.0, 9.0, 20.0];
        let slopes =
            [[0.3, 0.1, 0.0, 0.0, 0.0, -0.2], [0.1, 0.4, 0.2, 0.0, 0.0, 0.0], [0.5, 0.0, 0.1, 0.3, 0.0, 0.1]];
        let seen = [0.2, -0.1, 0.3];
        let mut rows: Vec<[f64; TRAITS + 1]> = slopes
            .iter()
            .zip(seen)
            .map(|(slopes, seen)| std::array::from_fn(|place| slopes.get(place).copied().unwrap_or(seen)))
            .collect();
        let read: Vec<_> = at.iter().map(|&at| Read { at, warm: at, ph: 4.0 }).collect();
        let belief = Belief::prior().solved(&mut rows, &read, 0.03);
        // Covariance of the model's error at two times, begun at the meter's variance.
        let model = |s: f64, t: f64| {
            let kept = |hours: f64| (-hours / MODEL_MEMORY).exp();
            let early = s.min(t);
            let there =
                kept(early).powi(2) * 0.03_f64.powi(2) + (1.0 - kept(early).powi(2)) * MODEL_ERROR.powi(2);
            there * kept((s - t).abs())
        };
        // The posterior mean m solves m = H' (H H' + R)^-1 seen, so (H H' + R) w = seen.
        let whole = |a: usize, b: usize| {
            let together: f64 = slopes[a].iter().zip(&slopes[b]).map(|(x, y)| x * y).sum();
            together + model(at[a], at[b]) + if a == b { 0.03_f64.powi(2) } else { 0.0 }
        };
        let mut system: Vec<Vec<f64>> =
            (0..3).map(|a| (0..3).map(|b| whole(a, b)).chain([seen[a]]).collect()).collect();
        for pivot in 0..3 {
            for row in 0..3 {
                if row != pivot {
                    let share = system[row][pivot] / system[pivot][pivot];
                    let other = system[pivot].clone();
                    system[row].iter_mut().zip(other).for_each(|(entry, other)| *entry -= share * other);
                }
            }
        }
        for (place, mean) in belief.mean.iter().enumerate() {
            let expected: f64 =
                slopes.iter().enumerate().map(|(row, s)| s[place] * system[row][3] / system[row][row]).sum();
            assert!((mean - expected).abs() < 1e-9, "{place}: {mean} {expected}");
        }
        assert!(belief.deviation(0) < 1.0 && (belief.deviation(4) - 1.0).abs() < 1e-9);
    }
}
