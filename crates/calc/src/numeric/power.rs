//! Powers by way of `exp` and `ln`: the standard library's own bring tables of thousands of bytes to every phone,
//! for a last digit that no measurement has.

use std::f64::consts::LN_10;

/// A power of a positive number, to about 13 digits.
pub fn power(base: f64, exponent: f64) -> f64 {
    (exponent * base.ln()).exp()
}

/// A power of ten, to about 13 digits.
pub fn ten_to(exponent: f64) -> f64 {
    (exponent * LN_10).exp()
}

/// The hyperbolic tangent, to about 13 digits.
pub fn tanh(x: f64) -> f64 {
    1.0 - 2.0 / ((2.0 * x).exp() + 1.0)
}

/// (e^x - 1)/x, also where x is nothing, to about 11 digits.
pub fn growth(x: f64) -> f64 {
    if x.abs() < 1e-3 { 1.0 + x * (0.5 + x * (1.0 / 6.0 + x / 24.0)) } else { (x.exp() - 1.0) / x }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn they_are_what_they_are_called(base in 1e-6..1e3f64, exponent in -20.0..20.0f64, x in -5.0..5.0f64, small in -1e-2..1e-2f64) {
            let near = |a: f64, b: f64| (a - b).abs() <= 1e-12 * b.abs().max(1e-300);
            prop_assert!(near(power(base, exponent), base.powf(exponent)));
            prop_assert!(near(ten_to(exponent), 10_f64.powf(exponent)));
            prop_assert!((tanh(x) - x.tanh()).abs() < 1e-14);
            prop_assert!((growth(small) / (small.exp_m1() / small) - 1.0).abs() < 1e-12);
        }
    }
}
