//! Density of water and of sugar and alcohol solutions.

use crate::quantity::{Plato, SpecificGravity};

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
