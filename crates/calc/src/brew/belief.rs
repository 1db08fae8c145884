//! A normal belief about a few unknowns, updated by linear observations.

/// How many unknowns a belief holds; those not used have no variance.
const UNKNOWNS: usize = 6;

/// One number for each unknown.
pub(super) type Effects = [f64; UNKNOWNS];

/// Means and covariances of the unknowns.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Belief {
    mean: Effects,
    covariance: [Effects; UNKNOWNS],
}

impl Belief {
    /// Effects of nothing on an observation.
    pub(super) const NOTHING: Effects = [0.0; UNKNOWNS];

    /// Sets mean and variance of an unknown that is independent of the others.
    pub(super) fn set(&mut self, place: usize, mean: f64, variance: f64) {
        self.mean[place] = mean;
        self.covariance[place] = Self::NOTHING;
        for row in &mut self.covariance {
            row[place] = 0.0;
        }
        self.covariance[place][place] = variance;
    }

    /// Adds to the mean of an unknown.
    pub(super) fn shift(&mut self, place: usize, by: f64) {
        self.mean[place] += by;
    }

    /// Adds to the covariance of two unknowns.
    pub(super) fn spread(&mut self, one: usize, other: usize, by: f64) {
        self.covariance[one][other] += by;
        if one != other {
            self.covariance[other][one] += by;
        }
    }

    /// Makes the deviation of an unknown so many times as wide.
    pub(super) fn widen(&mut self, place: usize, factor: f64) {
        for (row, covariances) in self.covariance.iter_mut().enumerate() {
            covariances[place] *= factor;
            if row == place {
                for covariance in covariances {
                    *covariance *= factor;
                }
            }
        }
    }

    /// The means.
    pub(super) const fn mean(&self) -> &Effects {
        &self.mean
    }

    /// Standard deviation of one unknown.
    pub(super) fn deviation(&self, place: usize) -> f64 {
        self.covariance[place][place].max(0.0).sqrt()
    }

    /// Covariance of every unknown with a sum of effects.
    fn along(&self, effects: &Effects) -> Effects {
        self.covariance
            .map(|row| row.iter().zip(effects).map(|(covariance, effect)| covariance * effect).sum())
    }

    /// Variance of a sum of effects.
    pub(super) fn variance(&self, effects: &Effects) -> f64 {
        self.along(effects).iter().zip(effects).map(|(along, effect)| along * effect).sum::<f64>().max(0.0)
    }

    /// Learns that something was seen this much above what it would be were the
    /// unknowns `at` these values, the variance of its error being `noise`.
    pub(super) fn learn(&mut self, effects: &Effects, at: &Effects, above: f64, noise: f64) {
        let along = self.along(effects);
        let weight = (self.variance(effects) + noise).recip();
        let moved: f64 =
            effects.iter().zip(self.mean.iter().zip(at)).map(|(e, (mean, at))| e * (mean - at)).sum();
        let surprise = (above - moved) * weight;
        // Nothing uncertain, or no number, teaches nothing.
        if !(weight.is_finite() && surprise.is_finite()) {
            return;
        }
        for (place, gain) in along.iter().enumerate() {
            self.mean[place] += gain * surprise;
            for (covariance, other) in self.covariance[place].iter_mut().zip(&along) {
                *covariance -= gain * weight * other;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_unknown_is_the_weighted_mean() {
        let mut belief = Belief::default();
        belief.set(1, 2.0, 4.0);
        let mut effects = Belief::NOTHING;
        effects[1] = 1.0;
        belief.learn(&effects, &Belief::NOTHING, 5.0, 1.0);
        assert!((belief.mean()[1] - 4.4).abs() < 1e-12);
        assert!((belief.deviation(1) - 0.8_f64.sqrt()).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn order_does_not_matter(a in -3.0..3.0f64, b in -3.0..3.0f64, x in -2.0..2.0f64, y in -2.0..2.0f64, noise in 0.01..2.0f64) {
            let mut prior = Belief::default();
            prior.set(0, 1.0, 2.0);
            prior.set(2, -1.0, 0.5);
            prior.spread(0, 2, 0.3);
            let effects = |a: f64, b: f64| { let mut e = Belief::NOTHING; (e[0], e[2]) = (a, b); e };
            let (mut one, mut other) = (prior, prior);
            one.learn(&effects(a, 1.0), &Belief::NOTHING, x, noise);
            one.learn(&effects(1.0, b), &Belief::NOTHING, y, noise);
            other.learn(&effects(1.0, b), &Belief::NOTHING, y, noise);
            other.learn(&effects(a, 1.0), &Belief::NOTHING, x, noise);
            for place in 0..UNKNOWNS {
                prop_assert!((one.mean()[place] - other.mean()[place]).abs() < 1e-9);
                prop_assert!((one.deviation(place) - other.deviation(place)).abs() < 1e-9);
                prop_assert!(one.deviation(place) <= prior.deviation(place) + 1e-12);
            }
        }
    }
}
