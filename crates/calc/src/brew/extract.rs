//! Readings of extract, and what fermentation makes of it.

use crate::chem::density::{
    plato_from_density, plato_from_sg, sg_from_plato, sucrose_density, water_density,
};
use crate::data::Source;
use crate::quantity::{
    AlcoholByVolume, Count, Density, Estimate, Fraction, Plato, SpecificGravity, Temperature,
};
use std::fmt;

/// Cubic expansion of a glass hydrometer, per kelvin.
const GLASS: f64 = 25e-6;
const ROOM: Temperature = Temperature::celsius(20.0);

/// Extract that gives 1 g of ethanol, in grams (Balling).
pub(crate) const EXTRACT_PER_ETHANOL: f64 = 2.0665;
/// Carbon dioxide that comes with 1 g of ethanol, in grams (Balling).
pub(crate) const CO2_PER_ETHANOL: f64 = 0.9565;
/// Specific gravity 20/20 °C of ethanol.
const ETHANOL_SG: f64 = 0.7907;
/// Share of the real extract's change that the hydrometer shows (Balling).
const REAL_SHARE: f64 = 0.8192;

/// Source of the extract, alcohol and yeast balance.
pub const BALLING: Source = Source::from_memory("Balling 1865; ASBC Beer-6A; De Clerck");

/// Apparent extract that 1 g of lactic acid in 100 g of beer shows as, in °P.
/// From the density of 80 % lactic acid (0.51) and of dilute solutions (0.56).
const LACTIC_AS_EXTRACT: f64 = 0.55;

/// Degrees Brix that 1 % of ethanol by mass adds on a refractometer.
pub(crate) const ETHANOL_AS_BRIX: f64 = 0.41;
/// Source of the 0.41 °Bx that 1 % of ethanol by mass adds on a refractometer.
pub const ETHANOL_AS_BRIX_SOURCE: Source = Source::derived(
    "Refractive increments of alcohol and extract in beer after Barth, in Simmonds, Alcohol (1919); handbook \
     indices of 5 % ethanol and sucrose from memory agree",
);

/// Why a reading can't be used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ExtractError {
    /// A hydrometer shows 0.98 to 1.18.
    Reading(SpecificGravity),
    /// Samples are measured at 0 to 80 °C.
    SampleTemperature(Temperature),
    /// Hydrometers are made for 10 to 30 °C.
    CalibrationTemperature(Temperature),
    /// Original extract runs from 0.1 to 40 °P.
    OriginalExtract(Plato),
    /// Apparent extract lies between -5 °P and the original.
    ApparentExtract(Plato),
    /// A refractometer shows 0 to 40 °Bx.
    Brix(Plato),
    /// The wort correction factor lies in 0.9..=1.2.
    CorrectionFactor(Count),
}

impl fmt::Display for ExtractError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Reading(g) => write!(f, "a hydrometer shows 0.98 to 1.18, not {}", g.as_ratio()),
            Self::SampleTemperature(t) => {
                write!(f, "the sample must be at 0 to 80 °C, not {} °C", t.as_celsius())
            }
            Self::CalibrationTemperature(t) => {
                write!(f, "hydrometers are made for 10 to 30 °C, not {} °C", t.as_celsius())
            }
            Self::OriginalExtract(p) => {
                write!(f, "original extract must be 0.1 to 40 °P, not {}", p.as_degrees())
            }
            Self::ApparentExtract(p) => write!(
                f,
                "apparent extract must lie between -5 °P and the original extract, not {}",
                p.as_degrees()
            ),
            Self::Brix(p) => write!(f, "a refractometer shows 0 to 40 °Bx, not {}", p.as_degrees()),
            Self::CorrectionFactor(c) => {
                write!(f, "the wort correction factor must be 0.9 to 1.2, not {}", c.value())
            }
        }
    }
}

/// A hydrometer reading carried over to 20 °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hydrometer {
    /// Specific gravity 20/20 °C.
    pub gravity: SpecificGravity,
    /// The same as extract.
    pub extract: Plato,
    /// The sample was above 40 °C: it evaporates and convects; cool it and read again.
    pub too_hot: bool,
}

/// Carries a hydrometer reading from the sample's temperature to 20/20 °C.
///
/// The instrument shows density over that of water at its calibration
/// temperature, on a glass that has since expanded. The sugar solution of that
/// density is found on the ICUMSA equation, because scaling by water alone errs
/// by 0.0005 at 12 °P. Reading 0.98..=1.18, sample 0..=80 °C, calibration 10..=30 °C.
///
/// # Errors
/// [`ExtractError`] when an argument is outside its range.
pub fn hydrometer(
    reading: SpecificGravity,
    sample: Temperature,
    calibration: Temperature,
) -> Result<Hydrometer, ExtractError> {
    check_hydrometer(reading, sample, calibration)?;
    let grown = 1.0 - GLASS * (sample - calibration).as_kelvin();
    let density = Density::kg_per_m3(reading.as_ratio() * grown * water_density(calibration).as_kg_per_m3());
    let sugar = plato_from_density(density, sample);
    let gravity =
        SpecificGravity::ratio(sucrose_density(sugar, ROOM) / sucrose_density(Plato::degrees(0.0), ROOM));
    Ok(Hydrometer { gravity, extract: plato_from_sg(gravity), too_hot: sample.as_celsius() > 40.0 })
}

/// The usual simpler correction, by the expansion of water and glass alone; for comparison.
/// Ranges as [`hydrometer`].
///
/// # Errors
/// [`ExtractError`] when an argument is outside its range.
pub fn hydrometer_as_water(
    reading: SpecificGravity,
    sample: Temperature,
    calibration: Temperature,
) -> Result<SpecificGravity, ExtractError> {
    check_hydrometer(reading, sample, calibration)?;
    let grown = 1.0 - GLASS * (sample - calibration).as_kelvin();
    Ok(SpecificGravity::ratio(
        reading.as_ratio() * grown * (water_density(calibration) / water_density(sample)),
    ))
}

fn check_hydrometer(
    reading: SpecificGravity,
    sample: Temperature,
    calibration: Temperature,
) -> Result<(), ExtractError> {
    if !(0.98..=1.18).contains(&reading.as_ratio()) {
        return Err(ExtractError::Reading(reading));
    }
    if !(0.0..=80.0).contains(&sample.as_celsius()) {
        return Err(ExtractError::SampleTemperature(sample));
    }
    if !(10.0..=30.0).contains(&calibration.as_celsius()) {
        return Err(ExtractError::CalibrationTemperature(calibration));
    }
    Ok(())
}

/// Wort correction factor when none was found by measuring both ways.
pub const WORT_CORRECTION: Count = Count::of(1.04);
/// Source of [`WORT_CORRECTION`].
pub const WORT_CORRECTION_SOURCE: Source = Source::common_practice(
    "Refractometers read wort 2 to 6 % high; measure one wort both ways to find yours",
);

/// Wort correction factor from one wort measured both ways: Brix over Plato.
///
/// # Errors
/// [`ExtractError::Brix`] or [`ExtractError::OriginalExtract`] outside their
/// ranges, [`ExtractError::CorrectionFactor`] when the two readings can't be of one wort.
pub fn correction_factor(brix: Plato, extract: Plato) -> Result<Count, ExtractError> {
    check_brix(brix)?;
    check_original(extract)?;
    let factor = Count::of(brix.as_degrees() / extract.as_degrees());
    check_factor(factor)?;
    Ok(factor)
}

/// Extract of unfermented wort from a refractometer's Brix. Brix 0..=40, factor 0.9..=1.2.
///
/// # Errors
/// [`ExtractError::Brix`] or [`ExtractError::CorrectionFactor`] outside the ranges.
pub fn refractometer_wort(brix: Plato, factor: Count) -> Result<Plato, ExtractError> {
    check_brix(brix)?;
    check_factor(factor)?;
    Ok(Plato::degrees(brix.as_degrees() / factor.value()))
}

/// Apparent extract of fermenting beer from a refractometer and the original extract.
///
/// Derived here: the reading is the real extract plus 0.41 °Bx for each percent
/// of ethanol (see [`ETHANOL_AS_BRIX_SOURCE`]), and Balling's balance ties both to the original
/// extract; at one original extract the result is a straight line of the
/// reading, as Savel, Kosin, Broz & Vlcek (2020, Kvasny Prumysl 66:239) found.
/// The band holds 0.37 to 0.45 for the ethanol, ±0.1 °Bx of reading and ±1 % of
/// the factor. A hydrometer is better.
///
/// # Errors
/// [`ExtractError`] for an argument outside its range, or a reading above the wort's own.
pub fn refractometer_beer(
    original: Plato,
    brix: Plato,
    factor: Count,
) -> Result<Estimate<Plato>, ExtractError> {
    check_original(original)?;
    check_brix(brix)?;
    check_factor(factor)?;
    let oe = original.as_degrees();
    let apparent = |reading: f64, ethanol: f64| {
        let per_alcohol = EXTRACT_PER_ETHANOL - 0.010_665 * oe;
        let alcohol = (oe - reading) / (per_alcohol - ethanol);
        oe - alcohol * per_alcohol / REAL_SHARE
    };
    let reading = brix.as_degrees() / factor.value();
    if reading > oe * 1.02 {
        return Err(ExtractError::Brix(brix));
    }
    let reading = reading.min(oe);
    let ratio = ETHANOL_AS_BRIX / factor.value();
    let value = apparent(reading, ratio);
    // Two independent errors: the instrument's, and that of the ethanol's share.
    let by_ratio = apparent(reading, ratio * 0.45 / 0.41) - value;
    let by_reading = apparent(reading + 0.1 + 0.01 * reading, ratio) - value;
    let half = by_ratio.hypot(by_reading);
    Ok(Estimate::band(
        Plato::degrees(value.max(-5.0)),
        Plato::degrees((value - half).max(-5.0)),
        Plato::degrees(value + half),
    ))
}

fn check_brix(brix: Plato) -> Result<(), ExtractError> {
    if (0.0..=40.0).contains(&brix.as_degrees()) { Ok(()) } else { Err(ExtractError::Brix(brix)) }
}

fn check_factor(factor: Count) -> Result<(), ExtractError> {
    if (0.9..=1.2).contains(&factor.value()) { Ok(()) } else { Err(ExtractError::CorrectionFactor(factor)) }
}

fn check_original(original: Plato) -> Result<(), ExtractError> {
    let p = original.as_degrees();
    // Less than a hydrometer shows is no extract, and no share of it means anything.
    if (0.1..=40.0).contains(&p) { Ok(()) } else { Err(ExtractError::OriginalExtract(original)) }
}

/// What became of the extract.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fermented {
    /// Extract that is really left, in the beer without its alcohol.
    pub real: Plato,
    /// Ethanol by mass.
    pub alcohol_by_mass: Fraction,
    /// Ethanol by volume.
    pub alcohol: AlcoholByVolume,
    /// Drop of the hydrometer's extract, as a share of the original.
    pub apparent_attenuation: Fraction,
    /// Share of the original extract that is really gone.
    pub real_attenuation: Fraction,
}

/// Real extract of beer, by Balling: 0.1808 original + 0.8192 apparent.
/// Original above 0..=40 °P, apparent from -5 °P to the original.
///
/// # Errors
/// [`ExtractError`] when an argument is outside its range.
pub fn fermented(original: Plato, apparent: Plato) -> Result<Fermented, ExtractError> {
    check_original(original)?;
    let (oe, ae) = (original.as_degrees(), apparent.as_degrees());
    if !(-5.0..=oe).contains(&ae) {
        return Err(ExtractError::ApparentExtract(apparent));
    }
    let real = (1.0 - REAL_SHARE) * oe + REAL_SHARE * ae;
    let by_mass = (oe - real) / (EXTRACT_PER_ETHANOL - 0.010_665 * oe) / 100.0;
    Ok(Fermented {
        real: Plato::degrees(real),
        alcohol_by_mass: Fraction::of_one(by_mass),
        alcohol: AlcoholByVolume::of_one(by_mass * sg_from_plato(apparent).as_ratio() / ETHANOL_SG),
        apparent_attenuation: Fraction::of_one(1.0 - ae / oe),
        real_attenuation: Fraction::of_one(1.0 - real / oe),
    })
}

/// As [`fermented`], for wort that bacteria soured without gas before or during
/// the fermentation. Homofermentative bacteria turn 1 g of extract into 1 g of
/// lactic acid, which makes no alcohol and shows as 0.55 g of extract on the
/// hydrometer (our estimate from densities of lactic acid). `lactic` is grams of
/// acid made by the bacteria per gram of beer: 0..=0.03, and less than the extract.
///
/// # Errors
/// [`ExtractError`] when an argument is outside its range; the acid that leaves
/// no original extract counts as [`ExtractError::OriginalExtract`].
pub fn fermented_after_souring(
    original: Plato,
    apparent: Plato,
    lactic: Fraction,
) -> Result<Fermented, ExtractError> {
    let acid = lactic.as_percent().clamp(0.0, 3.0);
    let sugar = Plato::degrees(original.as_degrees() - acid);
    let shown = Plato::degrees((apparent.as_degrees() - LACTIC_AS_EXTRACT * acid).max(-5.0));
    // How much the acid shows is an estimate; half a degree too much is a wort that has not fermented yet.
    let shown = if shown.as_degrees() < sugar.as_degrees() + 0.5 { shown.min(sugar) } else { shown };
    let mut beer = fermented(sugar, shown)?;
    beer.apparent_attenuation = Fraction::of_one(1.0 - apparent.as_degrees() / original.as_degrees());
    beer.real = Plato::degrees(beer.real.as_degrees() + acid);
    beer.real_attenuation = Fraction::of_one(1.0 - beer.real.as_degrees() / original.as_degrees());
    Ok(beer)
}

/// Original extract of a beer from its ethanol and its real extract, by
/// Balling: 100 (2.0665 A + RE) / (100 + 1.0665 A). Exact for his balance of
/// masses. Alcohol 0..=0.3 by mass; outside, the nearest end holds.
pub fn original_extract(alcohol_by_mass: Fraction, real: Plato) -> Plato {
    let a = alcohol_by_mass.as_percent().clamp(0.0, 30.0);
    Plato::degrees(
        100.0 * (EXTRACT_PER_ETHANOL * a + real.as_degrees()) / (100.0 + (EXTRACT_PER_ETHANOL - 1.0) * a),
    )
}

/// What a hydrometer shows in beer, by Balling's balance: the inverse of
/// [`fermented`] for alcohol and real extract. Range as [`original_extract`].
pub fn apparent_extract(alcohol_by_mass: Fraction, real: Plato) -> Plato {
    let original = original_extract(alcohol_by_mass, real);
    Plato::degrees((real.as_degrees() - (1.0 - REAL_SHARE) * original.as_degrees()) / REAL_SHARE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_cold_and_a_warm_reading_of_one_wort_agree(p in 0.0..25.0f64, t in 5.0..60.0f64, tc in 15.0..25.0f64) {
            let sample = Temperature::celsius(t);
            let calibration = Temperature::celsius(tc);
            let floats_at = sucrose_density(Plato::degrees(p), sample) / water_density(calibration)
                / (1.0 - GLASS * (t - tc));
            let read = hydrometer(SpecificGravity::ratio(floats_at), sample, calibration).unwrap();
            prop_assert!((read.extract.as_degrees() - p).abs() < 0.03, "{p} {read:?}");
        }

        #[test]
        fn original_extract_comes_back(oe in 2.0..25.0f64, left in 0.1..0.9f64) {
            let beer = fermented(Plato::degrees(oe), Plato::degrees(oe * left)).unwrap();
            let back = original_extract(beer.alcohol_by_mass, beer.real);
            prop_assert!((back.as_degrees() - oe).abs() < 1e-9, "{oe} {back:?}");
            let shown = apparent_extract(beer.alcohol_by_mass, beer.real);
            prop_assert!((shown.as_degrees() - oe * left).abs() < 1e-9);
        }

        #[test]
        fn a_refractometer_before_fermentation_reads_the_wort(oe in 2.0..25.0f64, factor in 0.95..1.1f64) {
            let brix = Plato::degrees(oe * factor);
            let beer = refractometer_beer(Plato::degrees(oe), brix, Count::of(factor)).unwrap();
            prop_assert!((beer.value.as_degrees() - oe).abs() < 1e-9);
        }

        #[test]
        fn a_lower_refraction_is_a_lower_gravity(oe in 4.0..25.0f64, a in 0.4..1.0f64, b in 0.4..1.0f64) {
            let read = |share: f64| {
                refractometer_beer(Plato::degrees(oe), Plato::degrees(oe * share), WORT_CORRECTION).unwrap()
            };
            prop_assert_eq!(a < b, read(a).value.as_degrees() < read(b).value.as_degrees());
            prop_assert!(read(a).is_sound());
        }

        #[test]
        fn acid_of_bacteria_never_counts_as_alcohol(oe in 6.0..20.0f64, acid in 0.0..0.015f64) {
            let original = Plato::degrees(oe);
            // Soured, not yet fermented: the hydrometer shows the acid as part of an extract.
            let shown = Plato::degrees(oe - acid * 100.0 * (1.0 - LACTIC_AS_EXTRACT));
            let wort = fermented_after_souring(original, shown, Fraction::of_one(acid)).unwrap();
            prop_assert!(wort.alcohol.as_of_one().abs() < 1e-12);
        }
    }

    #[test]
    fn says_what_is_wrong() {
        let room = Temperature::celsius(20.0);
        assert_eq!(
            hydrometer(SpecificGravity::ratio(1.3), room, room),
            Err(ExtractError::Reading(SpecificGravity::ratio(1.3)))
        );
        let hot = Temperature::celsius(95.0);
        assert!(matches!(
            hydrometer(SpecificGravity::ratio(1.04), hot, room),
            Err(ExtractError::SampleTemperature(_))
        ));
        assert!(hydrometer(SpecificGravity::ratio(1.04), Temperature::celsius(45.0), room).unwrap().too_hot);
        assert!(fermented(Plato::degrees(10.0), Plato::degrees(11.0)).is_err());
        assert!(fermented(Plato::degrees(0.0), Plato::degrees(0.0)).is_err());
    }
}
