//! House numbers: what the kit and the hands of one brewer have taught.
//!
//! Each number has a prior: a mean, how much houses differ (`between`), and how
//! much the batches of one house differ (`within`). With n batches the normal
//! model's posterior is the precision-weighted mean of prior and observations,
//! so one odd batch moves a number a little and ten steady ones settle it.
//! Positive factors are learned on their logarithm.
//!
//! A batch's observation errs by the meters it was read with as well (`Lesson`'s
//! noise): a short boil tells little of the evaporation. And readings hold slips
//! of the pen, so an observation that lies further from the belief than one
//! deviation weighs less, as under Student's law with four degrees of freedom.
//!
//! The person can freeze a number, or have it begin anew ([`Rules`]).

use crate::document::{Field, OutOfRange, Slot, Spec};
use crate::json::{Json, Kept, Object, Writer, name, read};
use crate::keep::KeepError;
use crate::moment::Moment;
use calc::brew::fruit::HELD_SOURCE;
use calc::data::Source;
use calc::quantity::{Amount, Count, Dimension, Estimate, Quantity};

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
    /// Beer left under the rest at packaging.
    FermenterLoss,
    /// Beer that the fruit's pulp keeps, against the usual.
    FruitYield,
}

/// One observation that a batch made of a house number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lesson {
    /// Which number.
    pub number: HouseNumber,
    /// What this batch measured.
    pub observed: Amount,
    /// When the batch was begun.
    pub begun: Moment,
    /// Standard deviation of the observation by what it was read with, in the base unit of the number; for
    /// factors learned on their logarithm, of that.
    pub(crate) noise: f64,
}

impl Lesson {
    /// An observation as if its meters did not err.
    pub const fn exact(number: HouseNumber, observed: Amount, begun: Moment) -> Self {
        Self { number, observed, begun, noise: 0.0 }
    }
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
        Self::FermenterLoss,
        Self::FruitYield,
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
            Self::FermenterLoss => "Left under the beer at packaging",
            Self::FruitYield => "Beer that fruit pulp keeps, against the usual",
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
            Self::FermenterLoss => Some(Field::FermenterLoss),
            Self::MashPhShift | Self::WortBuffering | Self::SouringSpeed | Self::FruitYield => None,
        }
    }

    /// Where the usual value comes from, and its spread.
    pub fn sources(self) -> Vec<Source> {
        let assumed = self.field().and_then(|field| field.spec().assumed).map(|(_, source)| source);
        let spread = match self {
            Self::WortBuffering => Source::derived(
                "0.8 ± 0.15 mEq/(L·pH) per degree Plato, from published acid additions to wort.",
            ),
            Self::FruitYield => HELD_SOURCE,
            _ => Source::our_estimate("How much houses differ, and batches of one house."),
        };
        assumed.into_iter().chain([spread]).collect()
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
        let usual = if self == Self::FruitYield { 1.0 } else { 0.0 };
        let assumed =
            self.field().and_then(|field| field.spec().assumed).map_or(usual, |(amount, _)| amount.base());
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
            Self::FermenterLoss => (0.4, 0.15),
            // The 80 % band of what pulp keeps goes from five eighths of its middle to seven quarters.
            Self::FruitYield => (0.4, 0.2),
        };
        Prior { mean: assumed, between, within }
    }
}

/// What was learned of one number: mean and deviation of the belief about the
/// house's own mean, in base units (of the logarithm for factors).
///
/// In JSON `[mean, deviation, batches]`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Learned {
    mean: f64,
    deviation: f64,
    batches: u32,
}

impl Kept for Learned {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        let mut parts = value.elements()?;
        let (Some(mean), Some(deviation), Some(batches), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(value.wrong("mean, deviation and number of batches"));
        };
        *self = Self { mean: mean.number()?, deviation: deviation.number()?, batches: read(batches)? };
        Ok(())
    }

    fn write(&self, out: &mut Writer) {
        out.open('[');
        out.number(self.mean);
        out.number(self.deviation);
        self.batches.write(out);
        out.close(']');
    }
}

/// All that was learned.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct House([Option<Learned>; HouseNumber::ALL.len()]);

impl Kept for House {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        let mut object = Object::of(value)?;
        for (number, learned) in HouseNumber::ALL.iter().zip(&mut self.0) {
            *learned = object.read_or_none(&name(number))?;
        }
        object.end()
    }

    fn write(&self, out: &mut Writer) {
        out.open('{');
        for (number, learned) in HouseNumber::ALL.iter().zip(&self.0) {
            if let Some(learned) = learned {
                out.key(&name(number));
                learned.write(out);
            }
        }
        out.close('}');
    }
}

/// What the person decided about the learning of each number: to leave it as
/// it is, or to forget the batches begun before some moment, after a new kit.
/// Both can stand together and both can be taken back. No batch is changed by them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rules {
    frozen: House,
    since: [Option<Moment>; HouseNumber::ALL.len()],
}

impl Rules {
    /// True when the number no longer learns.
    pub fn is_frozen(&self, number: HouseNumber) -> bool {
        self.frozen.0[number as usize].is_some()
    }

    /// From when on batches count, when it was made to begin anew.
    pub fn since(&self, number: HouseNumber) -> Option<Moment> {
        self.since[number as usize]
    }

    /// Leaves the number as this house has it.
    pub fn freeze(&mut self, number: HouseNumber, house: &House) {
        self.frozen.0[number as usize] = Some(house.belief(number));
    }

    /// Lets it learn again, from all batches that count.
    pub fn thaw(&mut self, number: HouseNumber) {
        self.frozen.0[number as usize] = None;
    }

    /// Forgets batches begun before this moment; none, and all count again.
    pub fn count_from(&mut self, number: HouseNumber, since: Option<Moment>) {
        self.since[number as usize] = since;
    }

    /// True when this lesson counts.
    fn counts(&self, lesson: &Lesson) -> bool {
        self.since(lesson.number).is_none_or(|since| lesson.begun >= since)
    }

    /// What the batches that count had of a number, in the order in which they were begun.
    pub fn observed(&self, number: HouseNumber, lessons: &[Lesson]) -> Vec<Amount> {
        let mut seen: Vec<&Lesson> = Vec::new();
        for lesson in lessons.iter().filter(|lesson| lesson.number == number && self.counts(lesson)) {
            let place = seen.partition_point(|other| other.begun <= lesson.begun);
            seen.insert(place, lesson);
        }
        seen.iter().map(|lesson| lesson.observed).collect()
    }
}

/// In JSON `{"evaporation": {"frozen": [mean, deviation, batches], "since": seconds}, …}`. What is not known
/// or cannot be is as usual: a wish that cannot be read stops nobody.
impl Kept for Rules {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        *self = Self::default();
        let mut entries = Object::of(value)?;
        for (place, number) in HouseNumber::ALL.iter().enumerate() {
            let rule = entries.take(&name(number)).and_then(|rule| Object::of(rule).ok());
            let Some(mut rule) = rule else { continue };
            self.frozen.0[place] = rule.read_or_none("frozen").unwrap_or_default();
            self.since[place] = rule.read_or_none("since").unwrap_or_default();
        }
        if self.frozen.check().is_err() {
            self.frozen = House::default();
        }
        Ok(())
    }

    fn write(&self, out: &mut Writer) {
        out.open('{');
        for (place, number) in HouseNumber::ALL.iter().enumerate() {
            let (frozen, since) = (&self.frozen.0[place], &self.since[place]);
            if frozen.is_none() && since.is_none() {
                continue;
            }
            out.key(&name(number));
            out.open('{');
            if let Some(learned) = frozen {
                out.key("frozen");
                learned.write(out);
            }
            if let Some(since) = since {
                out.key("since");
                since.write(out);
            }
            out.close('}');
        }
        out.close('}');
    }
}

/// Degrees of freedom of the law that slips of the pen follow; our estimate.
const FREEDOM: f64 = 4.0;
/// Rounds in which weights and mean settle.
const ROUNDS: usize = 30;

impl House {
    /// What all these lessons teach under these rules, starting from the priors. The order does not matter.
    pub fn learn(lessons: &[Lesson], rules: &Rules) -> Self {
        let mut house = rules.frozen.clone();
        for &number in HouseNumber::ALL {
            if rules.is_frozen(number) {
                continue;
            }
            let prior = number.prior();
            // What was observed, and the variance of that about the house's mean.
            let seen = lessons.iter().filter(|lesson| lesson.number == number && rules.counts(lesson));
            let seen: Vec<(f64, f64)> = seen
                .map(|lesson| (lesson.observed.base(), prior.within.powi(2) + lesson.noise.powi(2)))
                .map(|(at, square)| (if number.is_factor() { at.max(1e-3).ln() } else { at }, square))
                .filter(|(at, square)| at.is_finite() && square.is_finite())
                .collect();
            if !seen.is_empty() {
                let (mean, deviation) = settled(prior, &seen);
                house.0[number as usize] = Some(Learned { mean, deviation, batches: seen.len() as u32 });
            }
        }
        house
    }

    /// What is believed of a number: learned, or the usual.
    fn belief(&self, number: HouseNumber) -> Learned {
        let prior = number.prior();
        let usual = Learned { mean: prior.mean, deviation: prior.between, batches: 0 };
        self.0[number as usize].unwrap_or(usual)
    }

    /// What to expect of the number in the next batch, with how many batches it rests on.
    pub fn expect<Q: Quantity>(&self, number: HouseNumber) -> (Estimate<Q>, u32) {
        let learned = self.belief(number);
        let next = Estimate::normal(Count::of(learned.mean), learned.deviation.hypot(number.within()));
        let shown = if number.is_factor() { next.map(|log| Count::of(log.value().exp())) } else { next };
        (shown.map(|count| Q::from_base(count.value())), learned.batches)
    }

    /// The number that stands in for an empty field, when one was learned.
    pub(crate) fn for_field(&self, field: Field) -> Option<(Amount, u32)> {
        let number = HouseNumber::ALL.iter().copied().find(|number| number.field() == Some(field))?;
        let learned = self.0[number as usize].filter(|learned| learned.batches > 0)?;
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

/// Mean and deviation of a belief after observations, each with its variance. Those that lie far off weigh less.
fn settled(prior: Prior, seen: &[(f64, f64)]) -> (f64, f64) {
    let own = prior.between.powi(-2);
    let (mut mean, mut weights) = (prior.mean, own);
    for _ in 0..ROUNDS {
        let mut sum = prior.mean * own;
        weights = own;
        for (at, square) in seen {
            let off = (at - mean).powi(2) / square;
            let weight = ((FREEDOM + 1.0) / (FREEDOM + off)).min(1.0) / square;
            sum += weight * at;
            weights += weight;
        }
        mean = sum / weights;
    }
    (mean, weights.sqrt().recip())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::json::text_of;
    use calc::quantity::VolumeRate;

    const AT: Moment = Moment::from_seconds(100);

    fn lesson(litres_per_hour: f64) -> Lesson {
        Lesson::exact(HouseNumber::Evaporation, VolumeRate::l_per_h(litres_per_hour).amount(), AT)
    }

    fn mean(lessons: &[Lesson], rules: &Rules) -> f64 {
        House::learn(lessons, rules).expect::<VolumeRate>(HouseNumber::Evaporation).0.value.as_l_per_h()
    }

    #[test]
    fn one_batch_moves_the_number_part_of_the_way_and_many_settle_it() {
        let usual = Rules::default();
        let before: Estimate<VolumeRate> = House::default().expect(HouseNumber::Evaporation).0;
        let (one, count) =
            House::learn(&[lesson(3.4)], &usual).expect::<VolumeRate>(HouseNumber::Evaporation);
        assert_eq!(count, 1);
        assert!(one.value > before.value && one.value < VolumeRate::l_per_h(3.4));
        let (many, _) =
            House::learn(&[lesson(3.4); 20], &usual).expect::<VolumeRate>(HouseNumber::Evaporation);
        assert!((many.value.as_l_per_h() - 3.4).abs() < 0.02);
        assert!(many.deviation() < one.deviation() && one.deviation() < before.deviation());
    }

    #[test]
    fn what_was_read_badly_teaches_less() {
        let rough = Lesson { noise: 0.8, ..lesson(3.0) };
        let usual = Rules::default();
        assert!(mean(&[rough], &usual) > 2.2 && mean(&[rough], &usual) < mean(&[lesson(3.0)], &usual) - 0.2);
    }

    #[test]
    fn one_absurd_observation_among_sound_ones_moves_the_number_little() {
        let usual = Rules::default();
        let sound = [lesson(2.8), lesson(3.0), lesson(3.2)];
        let before = mean(&sound, &usual);
        for absurd in [0.0, 5.0, 9.0, 19.0] {
            let mut all = sound.to_vec();
            all.push(lesson(absurd));
            // A sixth of what it does to the mean of all four.
            let moved = (mean(&all, &usual) - before).abs();
            assert!(moved < (absurd - before).abs() / 24.0 && moved < 0.1, "{absurd}: {moved}");
        }
        // On its own it counts for what a house can be: less than the whole spread between houses.
        assert!((mean(&[lesson(19.0)], &usual) - 2.2).abs() < 0.8);
        // But a house that is far from others is believed in the end.
        assert!((mean(&[lesson(6.0); 5], &usual) - 6.0).abs() < 0.3);
    }

    #[test]
    fn a_frozen_number_stays_and_learns_again_when_thawed() {
        let mut rules = Rules::default();
        let first = [lesson(3.0)];
        rules.freeze(HouseNumber::Evaporation, &House::learn(&first, &rules));
        let (then, later) = (mean(&first, &Rules::default()), [lesson(3.0), lesson(1.5)]);
        assert!((mean(&later, &rules) - then).abs() < 1e-12);
        rules.thaw(HouseNumber::Evaporation);
        assert_eq!(rules, Rules::default());
        assert!(mean(&later, &rules) < then);
        // Frozen before anything was learned, it stays at the usual value.
        rules.freeze(HouseNumber::Evaporation, &House::default());
        assert!((mean(&later, &rules) - 2.2).abs() < 1e-12);
        assert_eq!(House::learn(&later, &rules).for_field(Field::Evaporation), None);
    }

    #[test]
    fn a_number_that_begins_anew_forgets_what_came_before_and_can_have_it_back() {
        let old = Lesson { begun: Moment::from_seconds(50), ..lesson(4.0) };
        let all = [lesson(2.0), old];
        let mut rules = Rules::default();
        assert_eq!(rules.observed(HouseNumber::Evaporation, &all).len(), 2);
        assert!(rules.observed(HouseNumber::Evaporation, &all)[0].base() > 3.9, "the oldest comes first");
        rules.count_from(HouseNumber::Evaporation, Some(AT));
        assert_eq!(rules.observed(HouseNumber::Evaporation, &all).len(), 1);
        assert!((mean(&all, &rules) - mean(&[lesson(2.0)], &Rules::default())).abs() < 1e-12);
        rules.count_from(HouseNumber::Evaporation, None);
        assert!((mean(&all, &rules) - mean(&all, &Rules::default())).abs() < 1e-12);
    }

    #[test]
    fn rules_read_back_and_what_cannot_be_read_is_as_usual() {
        let mut rules = Rules::default();
        rules.freeze(HouseNumber::Evaporation, &House::learn(&[lesson(3.0)], &rules));
        rules.count_from(HouseNumber::Evaporation, Some(AT));
        rules.count_from(HouseNumber::FruitYield, Some(AT));
        let read = |text: &str| read::<Rules>(Json::of(text).unwrap()).unwrap();
        let kept = read(&text_of(&rules));
        assert_eq!(kept.since, rules.since);
        let frozen = |rules: &Rules| rules.frozen.0[HouseNumber::Evaporation as usize].unwrap();
        assert!((frozen(&kept).mean - frozen(&rules).mean).abs() < 1e-9, "ten digits are kept");
        assert_eq!(read(&text_of(&kept)), kept);
        let odd = r#"{"evaporation": {"frozen": ["x"], "since": 100}, "later": {"since": 3}, "chilling": 7}"#;
        let mut since = Rules::default();
        since.count_from(HouseNumber::Evaporation, Some(AT));
        assert_eq!(read(odd), since);
        assert_eq!(read(r#"{"evaporation": {"frozen": [1e9, 1, 1]}}"#), Rules::default());
    }

    #[test]
    fn a_learned_number_stands_in_for_an_empty_field() {
        let house = House::learn(&[lesson(3.4)], &Rules::default());
        let (amount, batches) = house.for_field(Field::Evaporation).unwrap();
        assert_eq!(batches, 1);
        assert!(amount.base() > 3.0);
        assert_eq!(house.for_field(Field::KettleVolume), None);
    }
}
