//! Finding the zero of a function between two bounds.

/// Why no root was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RootError {
    /// The function has the same sign at both bounds.
    NotBracketed,
    /// The function gave a value that is no number.
    NotANumber,
}

/// The root of a continuous function between two bounds by the ITP method
/// (Oliveira & Takahashi 2020, ACM Trans. Math. Softw. 47:5): never slower than
/// bisection, mostly as fast as the secant method.
///
/// # Errors
/// [`RootError::NotBracketed`] when both ends have the same sign,
/// [`RootError::NotANumber`] when the function gives NaN.
pub(crate) fn root(f: &dyn Fn(f64) -> f64, low: f64, high: f64, tolerance: f64) -> Result<f64, RootError> {
    let (mut a, mut b) = (low, high);
    let (mut ya, mut yb) = (f(a), f(b));
    if ya.is_nan() || yb.is_nan() {
        return Err(RootError::NotANumber);
    }
    if ya == 0.0 {
        return Ok(a);
    }
    if yb == 0.0 {
        return Ok(b);
    }
    if (ya > 0.0) == (yb > 0.0) {
        return Err(RootError::NotBracketed);
    }
    let sign = yb.signum();
    let (mut halvings, mut reach) = (0_u32, 2.0 * tolerance);
    while reach < b - a && halvings < 200 {
        halvings += 1;
        reach *= 2.0;
    }
    let kappa = 0.2 / (b - a);
    // One more than bisection would need; the bound also stops a tolerance below the spacing of numbers.
    for _ in 0..(halvings + 2).min(200) {
        if b - a <= 2.0 * tolerance {
            break;
        }
        let middle = 0.5 * (a + b);
        let secant = (yb * a - ya * b) / (yb - ya);
        let toward = (middle - secant).signum();
        let nudge = kappa * (b - a) * (b - a);
        let truncated = if nudge <= (middle - secant).abs() { secant + toward * nudge } else { middle };
        let radius = reach - 0.5 * (b - a);
        let x = if (truncated - middle).abs() <= radius { truncated } else { middle - toward * radius };
        let y = f(x);
        if y.is_nan() {
            return Err(RootError::NotANumber);
        }
        if y * sign > 0.0 {
            (b, yb) = (x, y);
        } else if y * sign < 0.0 {
            (a, ya) = (x, y);
        } else {
            return Ok(x);
        }
        reach *= 0.5;
    }
    Ok(0.5 * (a + b))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn says_when_there_is_no_root() {
        assert_eq!(root(&|x| x * x + 1.0, -1.0, 1.0, 1e-9), Err(RootError::NotBracketed));
        assert_eq!(root(&|_| f64::NAN, -1.0, 1.0, 1e-9), Err(RootError::NotANumber));
    }

    proptest! {
        #[test]
        fn finds_the_root(at in -5.0..5.0f64, bend in 0.0..3.0f64) {
            let found = root(&|x| (x - at) + bend * (x - at).powi(3), -6.0, 7.0, 1e-9).unwrap();
            prop_assert!((found - at).abs() <= 1e-8, "{found} {at}");
        }
    }
}
