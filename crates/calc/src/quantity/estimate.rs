//! A value with the band it lies in four times out of five.

use super::Quantity;

/// Half-width of a normal 80 % band in standard deviations.
const Z80: f64 = 1.281_551_565_544_600_4;

/// A predicted value with an 80 % band: the truth is expected inside
/// `low..=high` four times out of five. A measured or exact value has
/// `low == high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate<Q> {
    /// The median.
    pub value: Q,
    /// Lower end of the 80 % band.
    pub low: Q,
    /// Upper end of the 80 % band.
    pub high: Q,
}

impl<Q: Quantity> Estimate<Q> {
    /// A value without spread.
    pub fn exact(value: Q) -> Self {
        Self { value, low: value, high: value }
    }

    /// A normal estimate from its standard deviation, in the base unit of `Q`.
    pub fn normal(value: Q, deviation: f64) -> Self {
        let [low, high] = around(value.base(), deviation);
        Self { value, low: Q::from_base(low), high: Q::from_base(high) }
    }

    /// A normal estimate from its relative standard deviation.
    pub fn relative(value: Q, deviation: f64) -> Self {
        Self::normal(value, value.base() * deviation)
    }

    /// An estimate from three points in any order of the ends.
    pub fn band(value: Q, one: Q, other: Q) -> Self {
        let [low, high] = outermost(value.base(), one.base(), other.base());
        Self { value, low: Q::from_base(low), high: Q::from_base(high) }
    }

    /// The standard deviation a normal estimate of this band would have, in the base unit of `Q`.
    pub fn deviation(&self) -> f64 {
        (self.high.base() - self.low.base()) / (2.0 * Z80)
    }

    /// Applies a monotonic function to the value and both ends.
    pub fn map<R: Quantity>(self, f: impl Fn(Q) -> R) -> Estimate<R> {
        Estimate::band(f(self.value), f(self.low), f(self.high))
    }

    /// True when all three numbers are finite and in order.
    pub fn is_sound(&self) -> bool {
        let (low, value, high) = (self.low.base(), self.value.base(), self.high.base());
        low.is_finite() && high.is_finite() && low <= value && value <= high
    }
}

// Plain numbers and never inlined: one copy for all quantities and places.

#[inline(never)]
fn around(value: f64, deviation: f64) -> [f64; 2] {
    let half = Z80 * deviation.abs();
    [value - half, value + half]
}

#[inline(never)]
fn outermost(value: f64, one: f64, other: f64) -> [f64; 2] {
    [one.min(other).min(value), one.max(other).max(value)]
}
