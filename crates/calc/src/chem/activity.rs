//! Activity of ions in dilute solution.

use crate::data::Source;
use crate::quantity::{Count, MolarConcentration, Ph, Temperature};

/// Source of [`activity_exponent`].
pub const SOURCE: Source = Source::from_memory(
    "Davies 1962, Ion Association; A of the Debye-Hückel law with the permittivity of Bradley & Pitzer 1979",
);

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

/// Activity coefficients. That of an ion is the one of a single charge to the power of the square
/// of its charge.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Coefficients {
    /// Of what has no charge.
    pub neutral: f64,
    /// Of ions with one charge.
    pub single: f64,
}

impl Coefficients {
    /// For an ionic strength up to 0.5 mol/L and 0..=90 °C, see [`activity_exponent`].
    pub fn new(strength: MolarConcentration, at: Temperature) -> Self {
        let of = |charge| power_of_ten(activity_exponent(charge, strength, at).value());
        Self { neutral: of(0), single: of(1) }
    }
}

/// Ten to this power: quicker and smaller than a power of any base.
pub(crate) fn power_of_ten(exponent: f64) -> f64 {
    (exponent * std::f64::consts::LN_10).exp()
}

/// The activity of hydrogen. pH 0..=14; what lies outside counts as the nearer end, so that no
/// power of it overflows.
pub(crate) fn hydrogen(ph: Ph) -> f64 {
    power_of_ten(-ph.value().clamp(0.0, 14.0))
}

/// Debye and Hückel's A, within 0.0001 of 1.82483e6 ρ^½ / (ε T)^1.5 with the permittivity ε of
/// water by Bradley & Pitzer 1979 and its density ρ, 0..=90 °C.
fn debye_hueckel(at: Temperature) -> f64 {
    let t = at.as_celsius().clamp(0.0, 90.0);
    0.490_85 + 6.584_8e-4 * t + 4.321_2e-6 * t * t
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_parabola_goes_through_its_points() {
        // Permittivity and density of water (g/mL) at these temperatures.
        for (t, permittivity, density) in [
            (0.0, 87.856, 0.99984),
            (25.0, 78.384, 0.99704),
            (60.0, 66.729, 0.98319),
            (90.0, 58.091, 0.96531),
        ] {
            let at = Temperature::celsius(t);
            let a = 1.824_83e6 * f64::sqrt(density) / (permittivity * at.as_kelvin()).powf(1.5);
            assert!((debye_hueckel(at) - a).abs() < 2e-4, "{t}: {a}");
        }
    }
}
