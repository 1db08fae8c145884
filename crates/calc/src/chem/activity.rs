//! Activity of ions in dilute solution.

use crate::data::Source;
use crate::quantity::{Count, MolarConcentration, Temperature};

/// Source of [`activity_exponent`].
pub const SOURCE: Source =
    Source::from_memory("Davies 1962, Ion Association; A of the Debye-Hückel law by temperature");

/// The decimal logarithm of an activity coefficient: an ion's by Davies' equation, for a
/// charge of -3 to 3 and an ionic strength up to 0.5 mol/L; above, the value at 0.5 is kept.
/// What has no charge is salted out a little: 0.1 times the ionic strength in mol/L.
/// 0..=90 °C, beyond that the nearer end.
pub fn activity_exponent(charge: i8, strength: MolarConcentration, at: Temperature) -> Count {
    let i = (strength.as_mmol_per_l() * 1e-3).clamp(0.0, 0.5);
    if charge == 0 {
        return Count::of(0.1 * i);
    }
    let root = i.sqrt();
    let z = f64::from(charge);
    Count::of(-debye_hueckel(at) * z * z * (root / (1.0 + root) - 0.3 * i))
}

/// Debye and Hückel's A: a parabola through 0.498 at 10 °C, 0.510 at 25 °C and 0.548 at 60 °C.
fn debye_hueckel(at: Temperature) -> f64 {
    let t = at.as_celsius().clamp(0.0, 90.0);
    0.492_1 + 5.229e-4 * t + 6.857e-6 * t * t
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_parabola_goes_through_its_points() {
        for (t, a) in [(10.0, 0.498), (20.0, 0.506), (25.0, 0.510), (60.0, 0.548)] {
            assert!((debye_hueckel(Temperature::celsius(t)) - a).abs() < 0.001, "{t}");
        }
    }
}
