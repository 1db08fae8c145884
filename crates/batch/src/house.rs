//! House numbers: what the kit and the hands of one brewer have taught.
//!
//! Each number has a prior: a mean, how much houses differ (`between`), and how
//! much the batches of one house differ (`within`). With n batches the normal
//! model's posterior is the precision-weighted mean of prior and observations,
//! so one odd batch moves a number a little and ten steady ones settle it.
//! Positive factors are learned on their logarithm.

use crate::document::{Field, OutOfRange, Slot, Spec};
use crate::json::{Kept, Object, elements, name, read};
use crate::keep::KeepError;
use calc::data::Source;
use calc::quantity::{Amount, Count, Dimension, Estimate, Quantity};
use serde_json::Value;

/// A number that readings teach and later batches start from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum HouseNumber {
    /// Share of the grist's extract that reaches the kettle.
    Efficiency,
    /// Water lost per hour of boil.
    Evaporation,
    /// Water kept by the grain.
    Absorption,
    /// Wort left in the kettle and hoses.
    KettleLoss,
    /// Apparent attenuation.
    Attenuation,
    /// pH of the malts as a mash reading shows it, less that of the tables.
    MashPhShift,
    /// Wort buffering against the published prior, as a factor.
    WortBuffering,
    /// Souring speed against the first forecast, as a factor.
    SouringSpeed,
    /// Share of the cooling water's cold that reaches the wort.
    Chilling,
}

/// One observation that a batch made of a house number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lesson {
    /// Which number.
    pub number: HouseNumber,
    /// What this batch measured.
    pub observed: Amount,
}

/// What is believed of a house number before anything was measured. Numbers in
/// base units; for factors, of the logarithm.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Prior {
    mean: f64,
    between: f64,
    within: f64,
}

impl HouseNumber {
    /// Every house number.
    pub const ALL: &[Self] = &[
        Self::Efficiency,
        Self::Evaporation,
        Self::Absorption,
        Self::KettleLoss,
        Self::Attenuation,
        Self::MashPhShift,
        Self::WortBuffering,
        Self::SouringSpeed,
        Self::Chilling,
    ];

    /// The name a person reads.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Efficiency => "Extract that reaches the kettle",
            Self::Evaporation => "Evaporation at the boil",
            Self::Absorption => "Water kept by the grain",
            Self::KettleLoss => "Left in kettle and hoses",
            Self::Attenuation => "Apparent attenuation",
            Self::MashPhShift => "Malt pH, as read less as tabled",
            Self::WortBuffering => "Wort buffering, against the published middle",
            Self::SouringSpeed => "Souring speed, against the first forecast",
            Self::Chilling => "Cold of the water that reaches the wort",
        }
    }

    /// The entry field it stands in for when that is empty, if there is one.
    pub const fn field(self) -> Option<Field> {
        match self {
            Self::Efficiency => Some(Field::Efficiency),
            Self::Evaporation => Some(Field::Evaporation),
            Self::Absorption => Some(Field::Absorption),
            Self::KettleLoss => Some(Field::KettleLoss),
            Self::Attenuation => Some(Field::Attenuation),
            Self::Chilling => Some(Field::Chilling),
            Self::MashPhShift | Self::WortBuffering | Self::SouringSpeed => None,
        }
    }

    /// Where the prior comes from.
    pub const fn source(self) -> Source {
        match self {
            Self::WortBuffering => Source::derived(
                "0.8 ± 0.15 mEq/(L·pH) per degree Plato, from published acid additions to wort.",
            ),
            _ => Source::our_estimate("Spread between and within houses: our estimate."),
        }
    }

    /// The kind of quantity it is.
    pub fn dimension(self) -> Dimension {
        match (self, self.field()) {
            (_, Some(field)) => field.spec().dimension,
            (Self::MashPhShift, None) => Dimension::PhDifference,
            _ => Dimension::Count,
        }
    }

    /// Standard deviation between the batches of one house, in the base unit of the number's field.
    pub(crate) fn within(self) -> f64 {
        self.prior().within
    }

    const fn is_factor(self) -> bool {
        matches!(self, Self::WortBuffering | Self::SouringSpeed)
    }

    fn prior(self) -> Prior {
        let assumed =
            self.field().and_then(|field| field.spec().assumed).map_or(0.0, |(amount, _)| amount.base());
        let (between, within) = match self {
            Self::Efficiency => (0.05, 0.02),
            Self::Evaporation => (0.8, 0.25),
            Self::Absorption => (0.15, 0.05),
            Self::KettleLoss => (0.5, 0.2),
            Self::Attenuation => (0.05, 0.02),
            Self::MashPhShift => (0.08, 0.04),
            Self::WortBuffering => (0.19, 0.08),
            Self::SouringSpeed => (0.5, 0.25),
            Self::Chilling => (0.15, 0.05),
        };
        Prior { mean: assumed, between, within }
    }
}

/// What was learned of one number: mean and deviation of the belief about the
/// house's own mean, in base units (of the logarithm for factors).
///
/// In JSON `[mean, deviation, batches]`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Learned {
    mean: f64,
    deviation: f64,
    batches: u32,
}

/// All that was learned.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct House([Option<Learned>; HouseNumber::ALL.len()]);

impl Kept for House {
    fn fill(&mut self, value: Value) -> Result<(), KeepError> {
        *self = Self::default();
        for (key, value) in Object::of(value)?.rest() {
            let number = HouseNumber::ALL.iter().find(|number| name(*number) == key);
            let number = number.ok_or_else(|| crate::json::unknown(&key))?;
            let mut parts = elements(value)?.into_iter();
            let mut next = || read(parts.next().unwrap_or_default());
            let (mean, deviation, batches): (f64, f64, f64) = (next()?, next()?, next()?);
            if !(0.0..=f64::from(u32::MAX)).contains(&batches) {
                return Err(KeepError::Damaged("a house number rests on no number of batches".to_owned()));
            }
            self.0[*number as usize] = Some(Learned { mean, deviation, batches: batches as u32 });
        }
        Ok(())
    }

    fn to_json(&self) -> Value {
        let learned = HouseNumber::ALL.iter().zip(&self.0);
        let entry = |(number, learned): (&HouseNumber, &Option<Learned>)| {
            let Learned { mean, deviation, batches } = (*learned)?;
            let parts = [mean.to_json(), deviation.to_json(), i64::from(batches).to_json()];
            Some((name(number), Value::Array(parts.to_vec())))
        };
        Value::Object(learned.filter_map(entry).collect())
    }
}

impl House {
    /// What all these lessons teach, starting from the priors. The order does not matter.
    pub fn learn(lessons: &[Lesson]) -> Self {
        let mut house = Self::default();
        for &number in HouseNumber::ALL {
            let seen = lessons
                .iter()
                .filter(|lesson| lesson.number == number)
                .map(|lesson| lesson.observed.base())
                .map(|observed| if number.is_factor() { observed.max(1e-3).ln() } else { observed })
                .filter(|observed| observed.is_finite());
            let (count, sum) = seen.fold((0_u32, 0.0), |(count, sum), observed| (count + 1, sum + observed));
            if count == 0 {
                continue;
            }
            let prior = number.prior();
            let (weight, weights) = (prior.between.powi(-2), f64::from(count) * prior.within.powi(-2));
            let mean = (prior.mean * weight + sum * prior.within.powi(-2)) / (weight + weights);
            house.0[number as usize] =
                Some(Learned { mean, deviation: (weight + weights).sqrt().recip(), batches: count });
        }
        house
    }

    /// What to expect of the number in the next batch, with how many batches it rests on.
    pub fn expect<Q: Quantity>(&self, number: HouseNumber) -> (Estimate<Q>, u32) {
        let prior = number.prior();
        let learned = self.0[number as usize].unwrap_or(Learned {
            mean: prior.mean,
            deviation: prior.between,
            batches: 0,
        });
        let next = Estimate::normal(Count::of(learned.mean), learned.deviation.hypot(prior.within));
        let shown = if number.is_factor() { next.map(|log| Count::of(log.value().exp())) } else { next };
        (shown.map(|count| Q::from_base(count.value())), learned.batches)
    }

    /// The number that stands in for an empty field, when one was learned.
    pub(crate) fn for_field(&self, field: Field) -> Option<(Amount, u32)> {
        let number = HouseNumber::ALL.iter().copied().find(|number| number.field() == Some(field))?;
        let learned = self.0[number as usize]?;
        // A learned mean may lie outside what a person could type; the entry's range holds for it too.
        let spec = Slot::Of(field).spec();
        let mean = learned.mean.max(spec.low.base()).min(spec.high.base());
        Some((Amount::in_base(spec.dimension, mean), learned.batches))
    }

    /// True when nothing was learned yet.
    pub fn is_empty(&self) -> bool {
        self.0.iter().all(Option::is_none)
    }

    /// Passes numbers that could have been learned.
    ///
    /// # Errors
    /// [`OutOfRange`] for one that could not.
    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        const SPEC: &Spec = &Spec {
            label: "House number",
            key: "house",
            dimension: Dimension::Count,
            low: Amount::in_base(Dimension::Count, -1e4),
            high: Amount::in_base(Dimension::Count, 1e4),
            assumed: None,
        };
        for learned in self.0.iter().flatten() {
            SPEC.check(Count::of(learned.mean).amount())?;
            SPEC.check(Count::of(learned.deviation).amount())?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::quantity::VolumeRate;

    fn lesson(litres_per_hour: f64) -> Lesson {
        Lesson { number: HouseNumber::Evaporation, observed: VolumeRate::l_per_h(litres_per_hour).amount() }
    }

    #[test]
    fn one_batch_moves_the_number_part_of_the_way_and_many_settle_it() {
        let before: Estimate<VolumeRate> = House::default().expect(HouseNumber::Evaporation).0;
        let (one, count) = House::learn(&[lesson(4.0)]).expect::<VolumeRate>(HouseNumber::Evaporation);
        assert_eq!(count, 1);
        assert!(one.value > before.value && one.value < VolumeRate::l_per_h(4.0));
        let (many, _) = House::learn(&[lesson(4.0); 20]).expect::<VolumeRate>(HouseNumber::Evaporation);
        assert!((many.value.as_l_per_h() - 4.0).abs() < 0.02);
        assert!(many.deviation() < one.deviation() && one.deviation() < before.deviation());
    }

    #[test]
    fn a_learned_number_stands_in_for_an_empty_field() {
        let house = House::learn(&[lesson(4.0)]);
        let (amount, batches) = house.for_field(Field::Evaporation).unwrap();
        assert_eq!(batches, 1);
        assert!(amount.base() > 3.5);
        assert_eq!(house.for_field(Field::KettleVolume), None);
    }
}
