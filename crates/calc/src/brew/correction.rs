//! What to do when a wort is not as it was meant: boil on, dilute, add extract, or leave it.

use super::ledger::{LedgerError, Wort, evaporated};
use crate::chem::density::water_density;
use crate::data::Source;
use crate::quantity::{Duration, Fraction, Mass, Plato, Temperature, Volume, VolumeRate};

const ROOM: Temperature = Temperature::celsius(20.0);
/// Solids of dry malt extract.
const DRY_EXTRACT: Fraction = Fraction::of_one(0.965);
/// Source of the solids of dry malt extract.
pub const DRY_EXTRACT_SOURCE: Source = Source::common_practice("Dry malt extract holds 3 to 4 % of water");
/// A difference in gravity that is not worth a correction, in degrees Plato.
pub const WORTH: Plato = Plato::degrees(0.4);
/// Source of [`WORTH`].
pub const WORTH_SOURCE: Source = Source::our_estimate(
    "0.4 °P is 0.2 % vol of alcohol at most, and about what a hydrometer, a volume and a sample err together",
);

/// One way to bring a wort to the gravity wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fix {
    /// Nothing: it is near enough.
    Leave,
    /// Boil longer than planned.
    BoilOn(Duration),
    /// Add water, boiled first.
    Dilute(Volume),
    /// Add dry malt extract.
    MaltExtract(Mass),
    /// Add table sugar, which ferments wholly and thins the body.
    Sugar(Mass),
}

/// A way, and the wort it leads to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// What to do.
    pub fix: Fix,
    /// The wort at the end of the boil then.
    pub result: Wort,
}

/// What can be done about a wort, the most sensible first; the gravity wanted is that at the end of the boil, and
/// `boil` is still to come. Each way but leaving it leads to exactly that gravity. `rate` counts litres of cold
/// water. Gravity wanted above 0..=40 °P.
///
/// # Errors
/// [`LedgerError`] when the boil that is left would run the kettle dry, or a rate or time is below zero.
pub fn corrections(
    now: &Wort,
    boil: Duration,
    rate: VolumeRate,
    wanted: Plato,
) -> Result<Vec<Correction>, LedgerError> {
    let end = now.boil(rate, boil)?;
    let share = (wanted.as_degrees() / 100.0).clamp(0.001, 0.4);
    let off = end.plato().as_degrees() - 100.0 * share;
    let mut found = Vec::with_capacity(4);
    let mut offer = |fix, result| found.push(Correction { fix, result });
    if off.abs() <= WORTH.as_degrees() {
        offer(Fix::Leave, end);
    }
    // The water that the extract should stand in, less what it does.
    let missing = end.extract * (1.0 / share - 1.0) - end.water;
    if missing > Mass::ZERO {
        offer(
            Fix::Dilute(water_density(ROOM).volume_of(missing)),
            Wort { water: end.water + missing, ..end },
        );
    } else {
        // Solids that bring the mixture to the share wanted.
        let lacking = end.mass() * share - end.extract;
        let mass = lacking / (DRY_EXTRACT.as_of_one() - share);
        let added = Wort { extract: mass * DRY_EXTRACT, water: mass * DRY_EXTRACT.rest(), ..Wort::NOTHING };
        let per_hour = evaporated(rate, Duration::hours(1.0));
        if per_hour > Mass::ZERO {
            let time = Duration::hours((end.water - (end.water + missing)) / per_hour);
            offer(Fix::BoilOn(time), Wort { water: end.water + missing, ..end });
        }
        offer(Fix::MaltExtract(mass), end + added);
        let sugar = lacking / (1.0 - share);
        offer(Fix::Sugar(sugar), end + Wort { extract: sugar, ..Wort::NOTHING });
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Charge;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_way_leads_to_the_gravity_wanted(
            litres in 5.0..60.0f64, p in 4.0..18.0f64, wanted in 5.0..18.0f64, minutes in 0.0..40.0f64, rate in 0.5..4.0f64,
        ) {
            let now = Wort { acid: Charge::meq(100.0), ..Wort::of_wort(Volume::litres(litres), Plato::degrees(p), ROOM) };
            let (boil, rate) = (Duration::minutes(minutes), VolumeRate::l_per_h(rate));
            let ways = corrections(&now, boil, rate, Plato::degrees(wanted)).unwrap();
            prop_assert!(!ways.is_empty());
            for way in &ways {
                let got = way.result.plato().as_degrees();
                match way.fix {
                    Fix::Leave => prop_assert!((got - wanted).abs() <= 0.4 + 1e-9),
                    _ => prop_assert!((got - wanted).abs() < 1e-6, "{way:?}"),
                }
                // Done through the ledger, each way is what it says.
                let end = now.boil(rate, boil).unwrap();
                let done = match way.fix {
                    Fix::Leave => end,
                    Fix::BoilOn(time) => end.boil(rate, time).unwrap(),
                    Fix::Dilute(water) => end + Wort::of_water(water, ROOM),
                    Fix::MaltExtract(mass) => end + Wort { extract: mass * 0.965, water: mass * 0.035, ..Wort::NOTHING },
                    Fix::Sugar(mass) => end + Wort { extract: mass, ..Wort::NOTHING },
                };
                prop_assert!((done.mass() - way.result.mass()).as_grams().abs() < 1e-6 * done.mass().as_grams());
                prop_assert!((done.extract - way.result.extract).as_grams().abs() < 1e-6 * done.extract.as_grams());
                prop_assert_eq!(way.result.acid, now.acid);
            }
            let near = (now.boil(rate, boil).unwrap().plato().as_degrees() - wanted).abs() <= 0.4;
            prop_assert_eq!(ways[0].fix == Fix::Leave, near);
        }
    }

    #[test]
    fn a_boil_that_runs_dry_is_said() {
        let little = Wort::of_wort(Volume::litres(1.0), Plato::degrees(12.0), ROOM);
        let asked =
            corrections(&little, Duration::hours(2.0), VolumeRate::l_per_h(3.0), Plato::degrees(12.0));
        assert!(matches!(asked, Err(LedgerError::BoiledDry { .. })));
    }
}
