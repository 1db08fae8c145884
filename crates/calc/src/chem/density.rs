//! Density of water and of sugar and alcohol solutions.

use crate::quantity::{AlcoholByVolume, Density, Fraction, Plato, SpecificGravity, Temperature, Volume};

/// Degrees Plato of a specific gravity 20/20 °C.
///
/// Valid for 0.98..1.18. Source: the cubic fit of the ASBC table,
/// P = -616.868 + 1111.14 S - 630.272 S² + 135.997 S³.
pub fn plato_from_sg(gravity: SpecificGravity) -> Plato {
    let s = gravity.as_ratio();
    Plato::degrees(-616.868 + s * (1111.14 + s * (-630.272 + s * 135.997)))
}

/// Specific gravity 20/20 °C of degrees Plato: the inverse of [`plato_from_sg`].
///
/// Valid for -5..40 °P. The cubic rises steadily, so Newton's method from the
/// usual first guess converges for every finite argument in a few steps.
pub fn sg_from_plato(extract: Plato) -> SpecificGravity {
    let target = extract.as_degrees();
    let mut s = 1.0 + target / (258.6 - target.clamp(-50.0, 60.0) * 0.879_5);
    for _ in 0..8 {
        let slope = 1111.14 + s * (-1260.544 + s * 407.991);
        let step = (plato_from_sg(SpecificGravity::ratio(s)).as_degrees() - target) / slope;
        s -= step;
        if step.abs() < 1e-13 {
            break;
        }
    }
    SpecificGravity::ratio(s)
}

/// Horner's rule; coefficients in rising powers.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Density of air-free water at 1 atm.
///
/// Valid for 0..150 °C (liquid under pressure above 100 °C); outside, the
/// nearest end holds. Source: Kell 1975, J. Chem. Eng. Data 20:97 (from memory).
pub fn water_density(at: Temperature) -> Density {
    let t = at.as_celsius().clamp(0.0, 150.0);
    const KELL: [f64; 6] =
        [999.839_52, 16.945_176, -7.987_040_1e-3, -46.170_461e-6, 105.563_02e-9, -280.542_53e-12];
    Density::kg_per_m3(polynomial(&KELL, t) / (1.0 + 16.879_850e-3 * t))
}

/// Density of air-free water at 1 atm by the CIPM's recommended table.
///
/// Valid for 0..40 °C; outside, the nearest end holds. Source: Tanaka et al.
/// 2001, Metrologia 38:301 (from memory).
pub fn water_density_cipm(at: Temperature) -> Density {
    let t = at.as_celsius().clamp(0.0, 40.0);
    let away = t - 3.983_035;
    Density::kg_per_m3(999.974_950 * (1.0 - away * away * (t + 301.797) / (522_528.9 * (t + 69.348_81))))
}

/// Water term of the ICUMSA equation: Kell's on the temperature scale of 1990.
const ICUMSA_WATER: [f64; 6] =
    [999.839_52, 16.952_577, -7.990_512_7e-3, -46.241_757e-6, 105.846_01e-9, -281.030_06e-12];
/// Excess of the sugar: rows by power of (t - 20)/100, columns by power of the mass fraction.
const ICUMSA: [[f64; 6]; 5] = [
    [385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890],
    [-46.2720, -7.1720, 1.1597, 5.1126, 17.5254, 0.0],
    [59.7712, 7.2491, 12.3630, -35.4791, 0.0, 0.0],
    [-47.2207, -21.6977, 27.6301, 0.0, 0.0, 0.0],
    [18.3184, 12.3081, 0.0, 0.0, 0.0, 0.0],
];

/// Density and its slope by mass fraction, both in kg/m³.
fn sucrose(w: f64, at: Temperature) -> (f64, f64) {
    let t = at.as_celsius().clamp(0.0, 150.0);
    let water = polynomial(&ICUMSA_WATER, t) / (1.0 + 16.887_236e-3 * t);
    // Above 80 °C the equation is not fitted: the sugar's excess stays, the water goes on expanding.
    let tau = (t.min(80.0) - 20.0) / 100.0;
    let (mut excess, mut slope) = (0.0, 0.0);
    for power in (0..6).rev() {
        let column = ICUMSA.iter().rev().fold(0.0, |sum, row| sum * tau + row[power]);
        slope = slope * w + excess;
        excess = excess * w + column;
    }
    // So far: excess = sum b_k w^(k-1) and its slope; the density has one more power of w.
    (water + w * excess, excess + w * slope)
}

/// Density of a sucrose solution, which stands for wort.
///
/// Valid for 0..70 °P and 0..80 °C. Up to 105 °C the water's expansion is
/// followed and the sugar's excess kept at its value at 80 °C. Negative
/// apparent extracts of dry beer (to -5 °P) follow the slope at zero.
/// Outside, the nearest end holds. Source: ICUMSA SPS-4; Bettin, Emmerich,
/// Spieweck, Toth 1998, Zuckerindustrie 123:341.
pub fn sucrose_density(extract: Plato, at: Temperature) -> Density {
    let w = extract.as_degrees().clamp(-5.0, 80.0) / 100.0;
    Density::kg_per_m3(sucrose(w, at).0)
}

/// Extract of a sucrose solution of a density: the inverse of
/// [`sucrose_density`], with its range.
pub fn plato_from_density(density: Density, at: Temperature) -> Plato {
    let target = density.as_kg_per_m3();
    let mut w = 0.1_f64;
    for _ in 0..12 {
        let (rho, slope) = sucrose(w, at);
        let next = (w + (target - rho) / slope).clamp(-0.05, 0.8);
        let step = next - w;
        w = next;
        if step.abs() < 1e-13 {
            break;
        }
    }
    Plato::degrees(100.0 * w)
}

/// Litres of wort of this extract after a change of temperature; its mass stays.
/// Range as [`sucrose_density`].
pub fn volume_after(volume: Volume, extract: Plato, from: Temperature, to: Temperature) -> Volume {
    volume * (sucrose_density(extract, from) / sucrose_density(extract, to))
}

const ETHANOL: [f64; 12] = [
    998.201_23,
    -192.976_949_5,
    389.123_895_8,
    -1_668.103_923,
    13_522.154_41,
    -88_292.783_88,
    306_287.404_2,
    -613_838.123_4,
    747_017.299_8,
    -547_846.135_4,
    223_446.033_4,
    -39_032.854_26,
];

/// Density of an ethanol solution at 20 °C by its mass fraction of ethanol.
///
/// Valid for 0..1; outside, the nearest end holds. Source: OIML R 22 (1975).
pub fn ethanol_density(by_mass: Fraction) -> Density {
    Density::kg_per_m3(polynomial(&ETHANOL, by_mass.as_of_one().clamp(0.0, 1.0)))
}

/// Alcohol by volume at 20 °C of an ethanol solution by its mass fraction of ethanol.
///
/// Valid for 0..1; outside, the nearest end holds. Source: OIML R 22 (1975).
pub fn alcohol_by_volume(by_mass: Fraction) -> AlcoholByVolume {
    let share = by_mass.as_of_one().clamp(0.0, 1.0);
    AlcoholByVolume::of_one(share * (ethanol_density(by_mass) / ethanol_density(Fraction::ALL)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn gravity_and_plato_undo_each_other(p in -4.0..40.0f64) {
            let back = plato_from_sg(sg_from_plato(Plato::degrees(p))).as_degrees();
            prop_assert!((back - p).abs() < 1e-9);
        }

        #[test]
        fn density_and_extract_undo_each_other(p in -4.0..70.0f64, t in 0.0..105.0f64) {
            let at = Temperature::celsius(t);
            let back = plato_from_density(sucrose_density(Plato::degrees(p), at), at).as_degrees();
            prop_assert!((back - p).abs() < 1e-8, "{p} {back}");
        }

        #[test]
        fn warmer_wort_takes_more_room(p in 0.0..30.0f64, t in 5.0..95.0f64) {
            let one = Volume::litres(1.0);
            let after = volume_after(one, Plato::degrees(p), Temperature::celsius(t), Temperature::celsius(t + 5.0));
            prop_assert!(after > one);
        }

        #[test]
        fn every_finite_argument_gives_a_finite_density(p in prop::num::f64::NORMAL, t in prop::num::f64::NORMAL) {
            let at = Temperature::celsius(t);
            prop_assert!(sucrose_density(Plato::degrees(p), at).is_finite());
            prop_assert!(plato_from_density(Density::kg_per_m3(p), at).is_finite());
            prop_assert!(water_density(at).is_finite() && water_density_cipm(at).is_finite());
            prop_assert!(ethanol_density(Fraction::of_one(p)).is_finite());
        }
    }

    #[test]
    fn two_water_equations_agree() {
        for t in 0..=40 {
            let at = Temperature::celsius(f64::from(t));
            let apart = water_density(at) - water_density_cipm(at);
            assert!(apart.as_kg_per_m3().abs() < 0.005, "{t} °C: {apart:?}");
        }
    }
}
