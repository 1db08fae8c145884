//! What a pH meter shows of a hot sample, and what the sample has at room temperature.
//!
//! Two different things happen to a hot sample, and a meter knows of one. An electrode gives more
//! millivolts for each pH the hotter it is: that is what automatic temperature compensation
//! corrects. The sample itself has another pH when it is hot, as its acids dissociate more: that is
//! no error, no meter corrects it, and pH in brewing is meant at room temperature.

use super::titration::{ClosedWater, Titrant};
use super::water::Ions;
use crate::data::Source;
use crate::quantity::{Estimate, MolarConcentration, Ph, Quantity, Temperature};

/// What room temperature is here.
pub const ROOM: Temperature = Temperature::celsius(20.0);
/// What a meter without compensation takes the sample to be at.
pub const UNCOMPENSATED: Temperature = Temperature::celsius(25.0);
/// Source of the response of electrodes.
pub const ELECTRODE_SOURCE: Source = Source::derived(
    "Nernst: 2.303 R T / F for each pH away from where the electrode gives nothing, 7 as made and 0.3 \
     off in use by our estimate",
);
/// Source of the shift of mash and wort.
pub const SHIFT_SOURCE: Source = Source::derived(
    "Briggs, Boulton, Brookes & Stevens 2004, Brewing: Science and Practice: 0.35 lower at 65 °C and 0.45 at \
     78 °C than at room temperature; 0.2 to 0.25 at mash temperature by others, from memory",
);
/// Source of the shift below pH 5.
pub const SOUR_SHIFT_SOURCE: Source = Source::our_estimate(
    "lactic acid, which buffers sour wort, has next to no heat of dissociation: a tenth or two of the shift of mash",
);

/// How a meter takes the temperature into account.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Compensation {
    /// By the temperature its probe measures.
    #[default]
    Automatic,
    /// Not at all: it takes every sample for one at 25 °C.
    None,
}

impl Compensation {
    /// Both.
    pub const ALL: &[Self] = &[Self::Automatic, Self::None];

    /// What people choose by.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Automatic => "Corrects for temperature by itself",
            Self::None => "Does not correct for temperature",
        }
    }
}

/// pH at which an electrode gives no voltage, whatever the temperature.
const NULL: f64 = 7.0;
/// Standard deviation of that pH among electrodes in use.
const NULL_DEVIATION: f64 = 0.3;
/// pH that mash and wort lose for each kelvin, and its standard deviation.
const SHIFT: (f64, f64) = (6.5e-3, 1.5e-3);
/// The same of sour wort.
const SOUR_SHIFT: (f64, f64) = (1.0e-3, 0.8e-3);
/// Below the first it is sour wort, above the second it is mash or wort.
const SOUR: f64 = 4.0;
const SWEET: f64 = 5.0;

fn kelvin(at: Temperature) -> f64 {
    at.max(Temperature::celsius(-10.0)).min(Temperature::celsius(110.0)).as_kelvin()
}

fn bounded(ph: f64) -> Ph {
    Ph::new(ph.clamp(0.0, 14.0))
}

/// The pH that a sample has at its own temperature, from what the meter shows. pH 0..=14; what
/// would lie outside is given as the nearer end. Source: [`ELECTRODE_SOURCE`].
pub fn at_sample(read: Ph, sample: Temperature, compensation: Compensation) -> Ph {
    match compensation {
        Compensation::Automatic => bounded(read.value()),
        Compensation::None => bounded(NULL + (read.value() - NULL) * kelvin(UNCOMPENSATED) / kelvin(sample)),
    }
}

/// What a mash or wort read at its own temperature has at room temperature (20 °C), with the spread
/// of its shift and of the electrode. pH 0..=14, -10..=110 °C; what lies outside counts as the nearer
/// end. A cooled sample is better: at 65 °C the band is about 0.1 pH to either side.
/// Sources: [`ELECTRODE_SOURCE`], [`SHIFT_SOURCE`], [`SOUR_SHIFT_SOURCE`].
pub fn at_room(read: Ph, sample: Temperature, compensation: Compensation) -> Estimate<Ph> {
    let hot = at_sample(read, sample, compensation).value();
    let warmer = kelvin(sample) - kelvin(ROOM);
    let sweet = ((hot - SOUR) / (SWEET - SOUR)).clamp(0.0, 1.0);
    let between = |sour: f64, mash: f64| sour + sweet * (mash - sour);
    let (shift, deviation) = (between(SOUR_SHIFT.0, SHIFT.0), between(SOUR_SHIFT.1, SHIFT.1));
    let electrode = NULL_DEVIATION * (kelvin(sample) / kelvin(UNCOMPENSATED) - 1.0);
    let spread = Estimate::normal(Ph::new(hot + shift * warmer), f64::hypot(deviation * warmer, electrode));
    // Both ends stay on the scale.
    spread.map(|ph| bounded(ph.base()))
}

/// What a water read at its own temperature has at room temperature (20 °C) with no gas lost, by the
/// carbonate system. 0..=90 °C; beyond that the nearer end.
pub fn water_at_room(water: &Ions, read: Ph, sample: Temperature, compensation: Compensation) -> Ph {
    let hot = ClosedWater::new(water, at_sample(read, sample, compensation), sample);
    hot.brought_to(ROOM).ph_after(MolarConcentration::ZERO, Titrant::Strong)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{ChargeConcentration, Concentration};
    use proptest::prelude::*;

    #[test]
    fn an_electrode_errs_by_0_003_for_each_kelvin_and_ph() {
        let warm = Temperature::celsius(UNCOMPENSATED.as_celsius() + 1.0);
        let at = |read: f64, compensation| at_sample(Ph::new(read), warm, compensation).value();
        assert!((at(6.0, Compensation::None) - 6.003_34).abs() < 1e-5);
        assert_eq!(at(7.0, Compensation::None), 7.0);
        assert_eq!(at(6.0, Compensation::Automatic), 6.0);
    }

    #[test]
    fn a_hot_mash_has_more_at_room_temperature() {
        let room = at_room(Ph::new(5.2), Temperature::celsius(65.0), Compensation::Automatic);
        // The low end of what is published.
        assert!((room.low.value() - 5.4).abs() < 0.03, "{room:?}");
        // The high end, by Briggs et al. 2004.
        for (t, published) in [(65.0, 0.35), (78.0, 0.45)] {
            let room = at_room(Ph::new(5.2), Temperature::celsius(t), Compensation::Automatic);
            let end = room.high.value() - 5.2;
            assert!((published..published + 0.08).contains(&end), "{room:?}");
        }
        // Without compensation the meter itself shows 0.21 too little on top of it.
        let plain = at_room(Ph::new(5.2), Temperature::celsius(65.0), Compensation::None);
        assert!((plain.value - room.value).as_units() > 0.19);
    }

    #[test]
    fn sour_wort_hardly_shifts() {
        let room = at_room(Ph::new(3.4), Temperature::celsius(36.0), Compensation::Automatic);
        assert!((room.value.value() - 3.4).abs() < 0.03, "{room:?}");
    }

    #[test]
    fn a_cooled_sample_is_what_it_reads() {
        let room = at_room(Ph::new(5.4), ROOM, Compensation::Automatic);
        assert_eq!(room.value, Ph::new(5.4));
        assert!((room.high - room.low).as_units() < 0.02, "{room:?}");
    }

    #[test]
    fn a_water_read_hot_is_given_at_room_temperature() {
        let water = Ions {
            calcium: Concentration::mg_per_l(60.0),
            alkalinity: ChargeConcentration::meq_per_l(3.0),
            ..Ions::default()
        };
        let room = water_at_room(&water, Ph::new(7.5), Temperature::celsius(60.0), Compensation::Automatic);
        assert!((room.value() - 7.6).abs() < 0.15, "{room:?}");
    }

    proptest! {
        #[test]
        fn nothing_breaks_it(read in -1e3..1e3f64, t in -1e3..1e3f64, none: bool) {
            let compensation = if none { Compensation::None } else { Compensation::Automatic };
            prop_assert!(at_room(Ph::new(read), Temperature::celsius(t), compensation).is_sound());
        }
    }
}
