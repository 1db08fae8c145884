//! What one bag of malt says of itself: its pH in distilled water, and how much
//! acid moves it, from a small titration at home.
//!
//! A kilogram of malt takes `B d + c d²` of acid on the way down by `d` from
//! its own pH (deLange 2015, MBAA Technical Quarterly 52(1):3, its first two
//! terms). The class's row is the prior belief about pH, buffering and
//! curvature; every reading updates it as a linear observation with normal
//! error, linearised where the belief stands and repeated until it stands
//! still. Half of the meter's variance is an offset that all its readings
//! share, for a second look at the same meter does not calibrate it.

use super::belief::{Belief, Effects};
use crate::data::Source;
use crate::data::acids::Acid;
use crate::data::malts::MaltClass;
use crate::quantity::{Charge, Estimate, Fraction, MaltBuffering, Mass, Ph, PhDifference, Volume};

/// How to measure a bag: for people, in steps.
pub const PROCEDURE: &str = "Weigh 100 g of the malt, crushed as for the mash, into a thermos or a jar that bears heat. \
Pour on 400 mL of distilled water at 70 °C: it scalds, so use a cloth and pour slowly. \
Stir, close, keep it at about 66 °C for 30 minutes. \
Take a spoonful, cool it to room temperature, read its pH with a meter set in its buffers that day: this is the malt's own pH. \
Put on gloves and glasses. Measure 9 mL of distilled water, then add 1 mL of acid to it: always acid into water, \
never water into acid. Acid of 20 % or less is used as it is. \
Stir 2 mL of this into the malt, wait 5 minutes, cool a spoonful and read again. \
Stir in 2 mL more and read a third time. \
Write down the grams of malt, the mL stirred in before each reading, all in all, and the pH. Nobody drinks this mash.";

/// Acid up to this strength is stirred in as it is.
pub const UNDILUTED: Fraction = Fraction::percent(20.0);
/// How far a small mash's pH lies from that of a large one beside the meter's
/// error: crush, time, temperature.
pub const METHOD_DEVIATION: PhDifference = PhDifference::units(0.03);
/// Source of [`METHOD_DEVIATION`].
pub const METHOD_SOURCE: Source =
    Source::our_estimate("repeats of small mashes; the meter's error comes on top");
/// Relative standard deviation of a dose from a small syringe.
const DOSE_ERROR: f64 = 0.03;
/// A point further off than so many deviations of class and error is a slip.
const CREDIBLE: f64 = 5.0;
/// Readings outside are slips of the pen.
const READABLE: [f64; 2] = [2.5, 8.0];

/// How a malt acts in the mash.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaltBufferingEstimate {
    /// pH of a mash of it alone in distilled water, at room temperature.
    pub mash_ph: Estimate<Ph>,
    /// Buffering at that pH.
    pub buffering: Estimate<MaltBuffering>,
    /// What is added to the mean buffering for each unit of pH below that pH;
    /// counted within a fifth of the buffering.
    pub curvature: Estimate<MaltBuffering>,
}

/// One reading of a titration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TitrationPoint {
    /// Acid stirred in so far for each kilogram of malt; negative for base.
    pub charge_per_kilogram: Charge,
    /// pH read in a cooled sample.
    pub read: Ph,
}

impl TitrationPoint {
    /// A point from what was stirred in so far, all in all, over this much malt, as
    /// in [`PROCEDURE`]: diluted tenfold where the bottle holds more than
    /// [`UNDILUTED`]. `None` without malt.
    pub fn measured(bottle: &Acid, stirred_in: Volume, malt: Mass, read: Ph) -> Option<Self> {
        let acid = if bottle.strength > UNDILUTED { stirred_in / 10.0 } else { stirred_in };
        let charge_per_kilogram = bottle.charge_of(acid, read) / malt.as_kilograms();
        (malt > Mass::ZERO && charge_per_kilogram.is_finite()).then_some(Self { charge_per_kilogram, read })
    }
}

/// Places in the belief about one malt.
const PH: usize = 0;
const BUFFERING: usize = 1;
const CURVATURE: usize = 2;
const METER: usize = 3;

/// A malt's numbers from its class, its own distilled-water pH, and titration
/// points, with `meter` as the standard deviation of one pH reading. Left out are
/// points outside pH 2.5 to 8, and those no malt of the class could give. pH and buffering of one titration err together; the three answers
/// are given as if they did not, which makes a mash's band a little too wide.
pub fn titrated(
    class: MaltClass,
    own_ph: Option<Ph>,
    points: &[TitrationPoint],
    meter: PhDifference,
) -> MaltBufferingEstimate {
    let data = class.data();
    let half = 0.5 * meter.as_units().powi(2);
    let mut belief = Belief::default();
    belief.set(PH, data.mash_ph.value.value(), data.mash_ph.deviation().powi(2));
    belief.set(BUFFERING, data.buffering.value.as_meq_per_kg_ph(), data.buffering.deviation().powi(2));
    belief.set(CURVATURE, data.curvature.value.as_meq_per_kg_ph(), data.curvature.deviation().powi(2));
    belief.set(METER, 0.0, half);
    let readable = |ph: Ph| (READABLE[0]..=READABLE[1]).contains(&ph.value());
    if let Some(own) = own_ph.filter(|ph| readable(*ph)) {
        let mut effects = Belief::NOTHING;
        (effects[PH], effects[METER]) = (1.0, 1.0);
        belief.learn(&effects, &Belief::NOTHING, own.value(), half + METHOD_DEVIATION.as_units().powi(2));
    }
    // What a point took above what a malt of these numbers would, how the numbers act on it, and its error's variance.
    let look = |at: &Effects, point: &TitrationPoint| {
        let down = at[PH] - point.read.value() + at[METER];
        let slope = at[BUFFERING] + 2.0 * at[CURVATURE] * down;
        let mut effects = Belief::NOTHING;
        (effects[PH], effects[METER]) = (slope, slope);
        (effects[BUFFERING], effects[CURVATURE]) = (down, down * down);
        let model = (at[BUFFERING] + at[CURVATURE] * down) * down;
        let noise = slope * slope * half + (DOSE_ERROR * model).powi(2);
        (point.charge_per_kilogram.as_meq() - model, effects, noise)
    };
    let before = belief;
    let credible = |point: &&TitrationPoint| {
        let (above, effects, noise) = look(before.mean(), point);
        readable(point.read) && above.abs() <= CREDIBLE * (before.variance(&effects) + noise).sqrt()
    };
    for _ in 0..4 {
        let at = *belief.mean();
        belief = before;
        for point in points.iter().filter(credible) {
            let (above, effects, noise) = look(&at, point);
            belief.learn(&effects, &at, above, noise);
        }
    }
    let (mean, deviation) = (*belief.mean(), |place: usize| belief.deviation(place));
    let buffering =
        |place: usize| Estimate::normal(MaltBuffering::meq_per_kg_ph(mean[place]), deviation(place));
    MaltBufferingEstimate {
        mash_ph: Estimate::normal(Ph::new(mean[PH]), deviation(PH)),
        buffering: buffering(BUFFERING),
        curvature: buffering(CURVATURE),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::data::acids::AcidKind;
    use proptest::prelude::*;

    const METER: PhDifference = PhDifference::units(0.03);

    fn close(a: f64, b: f64, within: f64) -> bool {
        (a - b).abs() <= within
    }

    #[test]
    fn nothing_measured_leaves_the_class() {
        for class in MaltClass::ALL {
            let (data, own) = (class.data(), titrated(*class, None, &[], METER));
            assert!(close(own.mash_ph.low.value(), data.mash_ph.low.value(), 1e-9));
            assert!(close(
                own.buffering.high.as_meq_per_kg_ph(),
                data.buffering.high.as_meq_per_kg_ph(),
                1e-9
            ));
            assert!(close(own.curvature.low.as_meq_per_kg_ph(), data.curvature.low.as_meq_per_kg_ph(), 1e-9));
        }
    }

    #[test]
    fn a_bag_no_malt_can_be_is_not_believed() {
        let point = TitrationPoint { charge_per_kilogram: Charge::meq(4000.0), read: Ph::new(5.3) };
        let own = titrated(MaltClass::Pilsner, Some(Ph::new(5.8)), &[point], METER);
        assert_eq!(own, titrated(MaltClass::Pilsner, Some(Ph::new(5.8)), &[], METER));
    }

    #[test]
    fn strong_acid_counts_as_diluted_and_weak_as_it_is() {
        let lactic = Acid { kind: AcidKind::Lactic, strength: Fraction::percent(88.0) };
        let phosphoric = Acid { kind: AcidKind::Phosphoric, strength: Fraction::percent(10.0) };
        let (two, malt, read) = (Volume::millilitres(2.0), Mass::grams(100.0), Ph::new(5.2));
        // Both about 23 mEq/kg: half a unit of pH, as the procedure has it.
        for (acid, undiluted) in [(lactic, 0.2), (phosphoric, 2.0)] {
            let point = TitrationPoint::measured(&acid, two, malt, read).unwrap();
            let expected = acid.charge_of(Volume::millilitres(10.0 * undiluted), read);
            assert!(close(point.charge_per_kilogram / expected, 1.0, 1e-9));
            assert!((20.0..25.0).contains(&point.charge_per_kilogram.as_meq()), "{point:?}");
        }
        assert_eq!(TitrationPoint::measured(&lactic, two, Mass::ZERO, read), None);
    }

    proptest! {
        /// A sharp meter and two points far apart give back the malt they came from.
        #[test]
        fn a_titration_finds_the_malt(ph in 5.6..5.9f64, b in 32.0..48.0f64, c in -5.0..5.0f64) {
            let at = |down: f64| TitrationPoint { charge_per_kilogram: Charge::meq(b * down + c * down * down), read: Ph::new(ph - down) };
            let sharp = PhDifference::units(0.002);
            let own = titrated(MaltClass::Pilsner, Some(Ph::new(ph)), &[at(0.0), at(0.5), at(1.0)], sharp);
            let class = MaltClass::Pilsner.data();
            prop_assert!(close(own.mash_ph.value.value(), ph, 0.03));
            prop_assert!(close(own.buffering.value.as_meq_per_kg_ph(), b, 3.0), "{own:?}");
            prop_assert!(own.buffering.deviation() < 0.6 * class.buffering.deviation());
            prop_assert!(own.curvature.deviation() < class.curvature.deviation());
        }

        #[test]
        fn measuring_never_widens_and_order_does_not_matter(
            first in 5.0..5.5f64, second in 4.6..5.2f64, charge in 8.0..25.0f64, more in 26.0..45.0f64, meter in 0.01..0.1f64,
        ) {
            let class = MaltClass::Pilsner.data();
            let meter = PhDifference::units(meter);
            let a = TitrationPoint { charge_per_kilogram: Charge::meq(charge), read: Ph::new(first) };
            let b = TitrationPoint { charge_per_kilogram: Charge::meq(more), read: Ph::new(second) };
            let one = titrated(MaltClass::Pilsner, Some(Ph::new(5.75)), &[a, b], meter);
            let other = titrated(MaltClass::Pilsner, Some(Ph::new(5.75)), &[b, a], meter);
            prop_assert!(close(one.buffering.value / other.buffering.value, 1.0, 1e-9));
            prop_assert!(one.mash_ph.deviation() < class.mash_ph.deviation());
            prop_assert!(one.buffering.deviation() <= class.buffering.deviation() * (1.0 + 1e-9));
            prop_assert!(one.curvature.deviation() <= class.curvature.deviation() * (1.0 + 1e-9));
            prop_assert!(one.mash_ph.is_sound() && one.buffering.is_sound() && one.curvature.is_sound());
        }
    }
}
