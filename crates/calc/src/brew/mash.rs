//! Mash pH by proton balance, and the acid or base that corrects it.
//!
//! At the mash's pH the protons that malt, calcium, magnesium and acid give are
//! those that malt and alkalinity take:
//!
//! sum m B (pH - pH_i) + V (Ca/3.5 + Mg/7) + acid(pH) = V (alkalinity lost down to pH)
//!
//! Source of the balance: deLange 2015, MBAA Technical Quarterly 52(1):3 (its
//! linear term per malt). Calcium and magnesium give protons by Kolbach's
//! factors (1953), which were found for wort at the end of the boil; in mashes
//! the drop measured for the first 100 mg/L of calcium is about twice as large,
//! which the model's own spread covers.

use crate::chem::carbonate::Carbonate;
use crate::chem::water::Ions;
use crate::data::Source;
use crate::data::acids::Acid;
use crate::data::malts::MaltClass;
use crate::data::salts::Salt;
use crate::numeric::root::root;
use crate::quantity::{
    Charge, Estimate, MaltBuffering, Mass, Ph, PhDifference, Quantity, Temperature, Volume,
};
use std::fmt;

/// Standard deviation of the model's own error. A mash pH is given within
/// ±0.1 to 0.15 in four cases of five, and the malts' spread alone is less.
pub const MODEL_DEVIATION: PhDifference = PhDifference::units(0.07);
/// Source of [`MODEL_DEVIATION`].
pub const MODEL_SOURCE: Source =
    Source::our_estimate("from the scatter of published mash measurements around the balance");

/// Why there is no mash pH.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MashError {
    /// No malt that buffers.
    NoMalt,
    /// The balance has no solution between pH 3 and 9.
    OutsideScale,
}

impl fmt::Display for MashError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoMalt => "there is no malt in the mash",
            Self::OutsideScale => "acid and base do not balance between pH 3 and 9",
        })
    }
}

/// One malt in the mash.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaltShare {
    /// Weight.
    pub mass: Mass,
    /// pH of a mash of it alone in distilled water.
    pub mash_ph: Estimate<Ph>,
    /// Buffering.
    pub buffering: Estimate<MaltBuffering>,
}

/// A mash: its malts summed up, and its water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mash {
    /// Sum of m B, mEq per unit of pH.
    buffer: f64,
    /// Sum of m B pH_i, mEq.
    moment: f64,
    /// Standard deviation of the malts' common pH.
    malt_deviation: f64,
    water: Ions,
    water_ph: Ph,
    volume: Volume,
    carbonate: Carbonate,
}

/// pH is read in a sample at room temperature.
const ROOM: Temperature = Temperature::celsius(20.0);

impl Mash {
    /// A mash of these malts in this much water of these ions and this pH.
    ///
    /// # Errors
    /// [`MashError::NoMalt`] when nothing buffers.
    pub fn new(malts: &[MaltShare], water: Ions, water_ph: Ph, volume: Volume) -> Result<Self, MashError> {
        let (mut buffer, mut moment) = (0.0, 0.0);
        for malt in malts {
            let capacity = malt.mass.as_kilograms() * malt.buffering.value.as_meq_per_kg_ph();
            buffer += capacity;
            moment += capacity * malt.mash_ph.value.value();
        }
        // A NaN would fail this test as well.
        let buffers = buffer > 0.0;
        if !buffers {
            return Err(MashError::NoMalt);
        }
        let middle = moment / buffer;
        // Malts err independently: each moves the common pH by its share of the
        // buffering, and a wrong buffering moves it towards or away from that malt's pH.
        let variance: f64 = malts
            .iter()
            .map(|malt| {
                let kilograms = malt.mass.as_kilograms();
                let share = kilograms * malt.buffering.value.as_meq_per_kg_ph() / buffer;
                let pull = kilograms / buffer * (malt.mash_ph.value.value() - middle);
                (share * malt.mash_ph.deviation()).powi(2) + (pull * malt.buffering.deviation()).powi(2)
            })
            .sum();
        Ok(Self {
            buffer,
            moment,
            malt_deviation: variance.sqrt(),
            water,
            water_ph,
            volume,
            carbonate: Carbonate::new(ROOM, water.ionic_strength()),
        })
    }

    /// Acid that would bring the whole mash to this pH, in mEq; negative for base.
    fn demand(&self, ph: f64) -> f64 {
        let given_by_malt = self.buffer * ph - self.moment;
        let given_by_hardness =
            (self.water.calcium_charge() / 3.5 + self.water.magnesium_charge() / 7.0) * self.volume;
        let taken = self.carbonate.acid_to(self.water.alkalinity, self.water_ph, Ph::new(ph)) * self.volume;
        taken.as_meq() - given_by_malt - given_by_hardness.as_meq()
    }

    /// mEq that move the mash by one unit of pH, around this pH.
    fn slope(&self, ph: f64) -> f64 {
        (self.demand(ph - 0.05) - self.demand(ph + 0.05)) / 0.1
    }

    /// The mash with every malt's pH moved by what a reading or a house number taught.
    #[must_use]
    pub fn shifted(&self, by: PhDifference) -> Self {
        Self { moment: self.moment + self.buffer * by.as_units(), ..*self }
    }

    /// The pH with a volume of acid stirred in.
    ///
    /// # Errors
    /// [`MashError::OutsideScale`] for mashes that are no mashes.
    pub fn ph(&self, acid: &Acid, added: Volume) -> Result<Estimate<Ph>, MashError> {
        let balance = |ph: f64| acid.charge_of(added, Ph::new(ph)).as_meq() - self.demand(ph);
        let ph = root(balance, 3.0, 9.0, 1e-5).map_err(|_| MashError::OutsideScale)?;
        let malts = self.malt_deviation * self.buffer / self.slope(ph);
        Ok(Estimate::normal(Ph::new(ph), malts.hypot(MODEL_DEVIATION.as_units())))
    }

    /// Charge of acid that brings the mash to a pH, negative where base is needed.
    pub fn charge_to(&self, wanted: Ph) -> Estimate<Charge> {
        let demand = self.demand(wanted.value());
        let slope = self.slope(wanted.value());
        let by_ph = (self.malt_deviation * self.buffer).hypot(MODEL_DEVIATION.as_units() * slope);
        // Buffering itself is known within about 15 %.
        Estimate::normal(Charge::meq(demand), by_ph.hypot(0.15 * demand))
    }

    /// The shift that explains a reading taken with this much acid stirred in.
    ///
    /// # Errors
    /// As [`Mash::ph`].
    pub fn shift_from(&self, read: Ph, acid: &Acid, added: Volume) -> Result<PhDifference, MashError> {
        // At the pH that was read, what is missing in the balance is the malts' doing.
        let missing = self.demand(read.value()) - acid.charge_of(added, read).as_meq();
        let shift = PhDifference::units(-missing / self.buffer);
        self.shifted(shift).ph(acid, added).map(|_| shift)
    }

    /// Charge still to add after a reading, negative where base is needed: the
    /// mash's own buffering, known within about a fifth, times what is to go.
    pub fn charge_after_reading(&self, read: Ph, wanted: Ph, meter: PhDifference) -> Estimate<Charge> {
        let slope = self.slope(0.5 * (read.value() + wanted.value()));
        let gap = (read - wanted).as_units();
        Estimate::normal(Charge::meq(slope * gap), slope * (0.2 * gap).hypot(meter.as_units()))
    }
}

/// Acid for a charge with its spread; zero where base is needed.
pub fn acid_for(charge: Estimate<Charge>, acid: &Acid, wanted: Ph) -> Estimate<Volume> {
    charge.map(|charge| acid.volume_for(charge.max(Charge::ZERO), wanted))
}

/// Acidulated malt that gives a charge on the way to a pH, with its spread; zero
/// where base is needed. Its own buffering and pH come from its class.
pub fn acidulated_malt_for(charge: Estimate<Charge>, wanted: Ph) -> Estimate<Mass> {
    let malt = MaltClass::Acidulated.data();
    let gives =
        malt.buffering.map(|b| Charge::meq(b.as_meq_per_kg_ph() * (wanted - malt.mash_ph.value).as_units()));
    if gives.low <= Charge::ZERO {
        return Estimate::exact(Mass::ZERO);
    }
    let kilograms = |charge: Charge, gives: Charge| Mass::kilograms(charge.max(Charge::ZERO) / gives);
    Estimate::band(
        kilograms(charge.value, gives.value),
        kilograms(charge.low, gives.high),
        kilograms(charge.high, gives.low),
    )
}

/// Baking soda for a negative charge with its spread; zero where acid is needed.
/// At mash pH part of the bicarbonate stays as it is and takes no proton.
pub fn baking_soda_for(charge: Estimate<Charge>, wanted: Ph) -> Estimate<Mass> {
    let carbonate = Carbonate::new(ROOM, crate::quantity::MolarConcentration::mmol_per_l(10.0));
    let per_gram = Salt::BakingSoda.brings().alkalinity;
    let taken = carbonate.acid_to(per_gram, Ph::new(8.3), wanted);
    charge.map(|charge| Mass::from_base((-charge.as_meq()).max(0.0) / taken.as_meq_per_l()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::data::acids::AcidKind;
    use crate::quantity::{ChargeConcentration, Concentration, Fraction};
    use proptest::prelude::*;

    const ACID: Acid = Acid { kind: AcidKind::Lactic, strength: Fraction::of_one(0.8) };

    fn malt(class: MaltClass, kilograms: f64) -> MaltShare {
        let data = class.data();
        MaltShare { mass: Mass::kilograms(kilograms), mash_ph: data.mash_ph, buffering: data.buffering }
    }

    fn water(alkalinity: f64, calcium: f64) -> Ions {
        Ions {
            alkalinity: ChargeConcentration::meq_per_l(alkalinity),
            calcium: Concentration::mg_per_l(calcium),
            ..Ions::default()
        }
    }

    #[test]
    fn no_malt_no_ph() {
        let none = Mash::new(&[], water(1.0, 0.0), Ph::new(7.5), Volume::litres(20.0));
        assert_eq!(none, Err(MashError::NoMalt));
    }

    proptest! {
        #[test]
        fn physics_says_so(alk in 0.0..6.0f64, calcium in 0.0..150.0f64, litres in 8.0..30.0f64, ml in 0.0..20.0f64) {
            let malts = [malt(MaltClass::Pilsner, 3.0), malt(MaltClass::Wheat, 1.0)];
            let ph = |alk: f64, calcium: f64, ml: f64| {
                let mash = Mash::new(&malts, water(alk, calcium), Ph::new(7.5), Volume::litres(litres)).unwrap();
                mash.ph(&ACID, Volume::millilitres(ml)).unwrap().value
            };
            prop_assert!(ph(alk + 0.5, calcium, ml) > ph(alk, calcium, ml), "alkalinity raises");
            prop_assert!(ph(alk, calcium + 20.0, ml) < ph(alk, calcium, ml), "calcium lowers");
            prop_assert!(ph(alk, calcium, ml + 1.0) < ph(alk, calcium, ml), "acid lowers");
        }

        #[test]
        fn the_acid_asked_for_leads_to_the_ph_wanted(alk in 0.5..6.0f64, wanted in 5.0..5.6f64) {
            let mash = Mash::new(&[malt(MaltClass::Pilsner, 4.0)], water(alk, 40.0), Ph::new(7.5), Volume::litres(20.0)).unwrap();
            let charge = mash.charge_to(Ph::new(wanted));
            prop_assume!(charge.value > Charge::ZERO);
            let acid = acid_for(charge, &ACID, Ph::new(wanted));
            let reached = mash.ph(&ACID, acid.value).unwrap();
            prop_assert!((reached.value - Ph::new(wanted)).as_units().abs() < 1e-3);
            prop_assert!(acid.is_sound() && reached.is_sound());
        }

        #[test]
        fn a_reading_is_explained_by_its_shift(read in 5.1..6.0f64, ml in 0.0..10.0f64) {
            let mash = Mash::new(&[malt(MaltClass::Pilsner, 4.0)], water(2.0, 40.0), Ph::new(7.5), Volume::litres(20.0)).unwrap();
            let added = Volume::millilitres(ml);
            let shift = mash.shift_from(Ph::new(read), &ACID, added).unwrap();
            let again = mash.shifted(shift).ph(&ACID, added).unwrap();
            prop_assert!((again.value - Ph::new(read)).as_units().abs() < 1e-3);
        }
    }
}
