//! A guess at mistakes: a reading that does not fit the plan or the reading before it, and what was probably
//! meant. A doubt never changes a value; the person does, or does not.

use crate::document::{Batch, Field, Reading, ReadingKind, Slot, Spec, Step};
use crate::moment::Moment;
use crate::plan::{Figure, Plan};
use crate::say::{Sentence, say};
use calc::chem::density::plato_from_sg;
use calc::quantity::{Amount, Dimension, Duration, Quantity, SpecificGravity, Unit, parse_number};

/// Further from what is expected than this many deviations is worth a word.
const FAR: f64 = 4.0;
/// Another way to read a number must fit this well to be offered, in deviations.
const FITS: f64 = 3.0;
/// 80 % band in standard deviations.
const BAND: f64 = 2.0 * 1.281_551_565_544_600_4;
/// Clocks differ by so much, and a time is typed in whole minutes.
const SLACK: Duration = Duration::minutes(2.0);
/// What a hydrometer's specific gravity looks like.
const LIKE_SG: std::ops::RangeInclusive<f64> = 0.98..=1.17;

/// What is odd about a reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// What is odd, in words for the person.
    pub says: Sentence,
    /// The value that was probably meant, in range; none where nothing better is known.
    pub meant: Option<Amount>,
}

/// What is expected of a reading, in the base unit of its kind.
struct Expected {
    /// The likeliest value.
    likely: f64,
    /// All between these two is as good.
    ends: [f64; 2],
    /// Standard deviation below and above them, the meter's own included.
    deviations: [f64; 2],
}

impl Expected {
    /// How many deviations a value lies outside.
    fn off(&self, base: f64) -> f64 {
        let [low, high] = self.ends;
        ((low - base) / self.deviations[0]).max((base - high) / self.deviations[1]).max(0.0)
    }
}

/// Standard deviation of one reading by usual means, in base units: our own estimates of kettles' marks,
/// hydrometers, refractometers, meters and thermometers in use, not of their makers.
fn instrument(batch: &Batch, dimension: Dimension, likely: f64) -> f64 {
    match dimension {
        Dimension::Ph => field(batch, Field::MeterError).unwrap_or(0.05).hypot(0.05),
        Dimension::Gravity | Dimension::Brix => (0.03 * likely).hypot(0.3),
        Dimension::Volume => (0.03 * likely).hypot(0.3),
        Dimension::Temperature => 4.0,
        _ => 0.3 * likely.abs() + 1e-3,
    }
}

fn field(batch: &Batch, field: Field) -> Option<f64> {
    Slot::Of(field).effective(batch).map(|amount| amount.base())
}

/// The figures between which a reading of a kind lies, the likeliest first.
const fn figures(kind: ReadingKind) -> &'static [Figure] {
    match kind {
        ReadingKind::MashAcid => &[Figure::MashAcid],
        ReadingKind::MashBase => &[Figure::MashBase],
        ReadingKind::MashPh => &[Figure::MashPhNow, Figure::MashPhPlain],
        ReadingKind::MashGravity | ReadingKind::PreBoilGravity | ReadingKind::PreBoilBrix => {
            &[Figure::PreBoilGravity]
        }
        ReadingKind::PreBoilVolume => &[Figure::PreBoilVolume],
        ReadingKind::DropAcid => &[Figure::DropAcid],
        ReadingKind::WortPh => &[Figure::WortPh],
        ReadingKind::SourPh => &[Figure::PhThen, Figure::WortPh],
        ReadingKind::SourTemperature => &[],
        ReadingKind::SourAcidity => &[Figure::TitratableAcidityFigure],
        ReadingKind::ChillTime => &[Figure::ChillTime],
        ReadingKind::PostBoilVolume => &[Figure::PostBoilVolume],
        ReadingKind::OriginalGravity => &[Figure::OriginalGravity],
        ReadingKind::FermenterVolume => &[Figure::FermenterVolume],
        ReadingKind::Gravity | ReadingKind::Brix => &[Figure::FinalGravity, Figure::OriginalGravity],
        ReadingKind::BeerPh => &[Figure::FruitedPh, Figure::PhThen],
        ReadingKind::PackagedVolume => &[Figure::PackagedVolume],
    }
}

/// What a plan that does not know a reading yet expects of it.
fn expectation(batch: &Batch, plan: &Plan, kind: ReadingKind, at: Moment) -> Option<Expected> {
    let shown = figures(kind).iter().filter_map(|figure| figure.of(&plan.figures).ok());
    // Value and deviation of all that it lies between.
    let mut points: Vec<[f64; 2]> =
        shown.map(|shown| [shown.value.base(), (shown.high.base() - shown.low.base()) / BAND]).collect();
    let wanted = match kind {
        ReadingKind::MashPh => field(batch, Field::MashPh),
        ReadingKind::WortPh => field(batch, Field::DropPh),
        ReadingKind::SourTemperature => batch
            .readings
            .last(kind)
            .map(|reading| reading.value.base())
            .or_else(|| field(batch, Field::SourTemperature)),
        // What the wort has before any bacteria, about.
        ReadingKind::SourAcidity => Some(1.0),
        _ => None,
    };
    points.extend(wanted.map(|wanted| [wanted, 0.0]));
    if kind == ReadingKind::SourPh
        && let Some(start) = batch.ticked(Step::Culture)
    {
        let since = at - start;
        let later = plan.course.iter().position(|point| point.at >= since);
        // Both neighbours in time: the pH falls between them. Behind the forecast its last point holds.
        let behind = later.unwrap_or(plan.course.len());
        let near = plan.course.get(behind.saturating_sub(1)..(behind + 1).min(plan.course.len()));
        let near: Vec<[f64; 2]> = near
            .unwrap_or_default()
            .iter()
            .map(|point| [point.value.base(), (point.high.base() - point.low.base()) / BAND])
            .collect();
        if !near.is_empty() {
            points = near;
        }
    }
    let &[likely, _] = points.first()?;
    let scale = if kind == ReadingKind::PreBoilBrix || kind == ReadingKind::Brix {
        field(batch, Field::RefractometerFactor).unwrap_or(1.0)
    } else {
        1.0
    };
    let ends = points
        .iter()
        .fold([f64::MAX, f64::MIN], |[low, high], &[value, _]| [low.min(value), high.max(value)]);
    let spread = points.iter().fold(0.0, |most: f64, &[_, deviation]| most.max(deviation));
    let spec = kind.spec();
    let deviation = spread.hypot(instrument(batch, spec.dimension, likely));
    let mut expected =
        Expected { likely: likely * scale, ends: ends.map(|end| end * scale), deviations: [deviation; 2] };
    match kind {
        // A dose may be any part of what is asked for, but hardly a thousandth.
        ReadingKind::MashAcid | ReadingKind::DropAcid | ReadingKind::MashBase => {
            let least = 2e-2 * spec.high.base();
            expected.ends = [likely / 40.0, likely + 2.0 * spread + least / 4.0];
            expected.deviations = [(likely / 200.0).max(1e-9), 0.5 * likely + spread + least / 4.0];
        }
        // Water that rinses the grain thins the wort only later.
        ReadingKind::MashGravity => expected.ends[1] *= 1.4,
        // Alcohol makes a refractometer show more than there is.
        ReadingKind::Brix => expected.deviations[1] *= 1.5,
        _ => {}
    }
    Some(expected)
}

/// What the plan expects of a reading, to start an entry field from; none where it expects nothing.
///
/// `plan` is the batch's own, `at` when it is read.
pub fn expected(batch: &Batch, plan: &Plan, kind: ReadingKind, at: Moment) -> Option<Amount> {
    let likely = expectation(batch, plan, kind, at)?.likely;
    let amount = Amount::in_base(kind.spec().dimension, likely);
    kind.spec().check(amount).ok()
}

/// A specific gravity as the amount of a field for gravity or a refractometer: both count extract by weight.
fn from_sg(dimension: Dimension, sg: f64) -> Amount {
    Amount::in_base(dimension, plato_from_sg(SpecificGravity::ratio(sg)).base())
}

fn is_gravity(dimension: Dimension) -> bool {
    matches!(dimension, Dimension::Gravity | Dimension::Brix)
}

/// A number with the point of a specific gravity and the digits of one, where degrees are read in tenths.
fn looks_like_sg(number: f64) -> bool {
    let tenths = number * 10.0;
    let thousandths = number * 1e3;
    LIKE_SG.contains(&number)
        && (tenths - tenths.round()).abs() > 1e-6
        && (thousandths - thousandths.round()).abs() < 1e-6
}

/// What was probably meant by a text that its field refuses: another unit, a point left out. `unit` is the
/// one the field shows; `near` is what the field would be near to, if that is known. In range, or none.
pub fn meant(spec: &'static Spec, unit: &Unit, text: &str, near: Option<Amount>) -> Option<Amount> {
    let number = parse_number(text).ok()?;
    let dimension = spec.dimension;
    let of = |unit: &Unit, number: f64| Amount::from_unit(dimension, unit, number);
    let mut ways: Vec<Amount> = Vec::new();
    // Four figures of a specific gravity are nothing else.
    if is_gravity(dimension) && LIKE_SG.contains(&(number / 1e3)) {
        ways.push(from_sg(dimension, number / 1e3));
    } else {
        let others = || dimension.units().iter().filter(|other| other.key != unit.key);
        ways.extend(others().map(|other| of(other, number)));
        for power in [10.0, 100.0, 1e3, 0.1] {
            ways.push(of(unit, number / power));
        }
        if is_gravity(dimension) {
            for power in [1e3, 10.0, 100.0] {
                let sg = if power == 1e3 { 1.0 + number / power } else { number / power };
                if LIKE_SG.contains(&sg) {
                    ways.push(from_sg(dimension, sg));
                }
            }
        }
    }
    ways.retain(|way| spec.check(*way).is_ok());
    let Some(near) = near.map(|near| near.base()) else { return ways.first().copied() };
    let away = |way: &Amount| (way.base() - near).abs();
    // Twice what is usual is still a guess; more is none. Gravity falls to nothing: there it is no measure.
    ways.retain(|way| near == 0.0 || is_gravity(dimension) || away(way) <= near.abs());
    ways.into_iter().min_by(|one, other| away(one).total_cmp(&away(other)))
}

/// Another way to read an accepted number that fits what is expected.
fn other_way(spec: &'static Spec, base: f64, expected: &Expected) -> Option<Amount> {
    let dimension = spec.dimension;
    let units = dimension.units();
    let mut ways: Vec<Amount> = Vec::new();
    // Typed in one unit, meant in another.
    for typed in units {
        let number = typed.from_base(base);
        ways.extend(
            units
                .iter()
                .filter(|other| other.key != typed.key)
                .map(|other| Amount::from_unit(dimension, other, number)),
        );
    }
    if is_gravity(dimension) {
        ways.push(from_sg(dimension, base));
    }
    // A point in the wrong place; a warm day and a cold one are not ten times each other.
    if dimension != Dimension::Temperature {
        for power in [10.0, 0.1, 100.0, 0.01, 1e3, 1e-3] {
            ways.push(Amount::in_base(dimension, base / power));
        }
    }
    ways.retain(|way| spec.check(*way).is_ok() && expected.off(way.base()) < FITS);
    let away = |way: &Amount| (way.base() - expected.likely).abs();
    ways.into_iter().min_by(|one, other| away(one).total_cmp(&away(other)))
}

/// What cannot be between this reading and one before it; in words, with the reading before.
fn against_nature(batch: &Batch, reading: &Reading) -> Option<(Amount, &'static str)> {
    let kind = reading.kind;
    let before = |kind: ReadingKind| batch.readings.of(kind).rfind(|other| other.at < reading.at);
    let (last, room, why) = match kind {
        ReadingKind::SourPh => (before(kind)?, 1.0, ", and souring only lowers the pH."),
        ReadingKind::Gravity | ReadingKind::Brix => {
            let last = before(kind)?;
            if batch.ticked(Step::FruitIn).is_some_and(|fruit| fruit >= last.at) {
                return None;
            }
            (last, 1.0, ", and fermentation only lowers the gravity.")
        }
        // Both are read hot; at the boil it takes a little more room than at mash-out.
        ReadingKind::PostBoilVolume => {
            (before(ReadingKind::PreBoilVolume)?, 1.03, ", and a boil only drives water off.")
        }
        _ => return None,
    };
    let most = last.value.base() * room;
    let meters = std::f64::consts::SQRT_2 * instrument(batch, kind.spec().dimension, most) / 2.0;
    (reading.value.base() > most + FAR * meters).then_some((last.value, why))
}

/// What is odd about a reading, and what may have been meant; none for one that fits. The value stays as it is.
///
/// `plan` is that of the batch without this reading, and so is `batch`; `now` is the person's clock.
pub fn doubt(batch: &Batch, reading: &Reading, plan: &Plan, now: Moment) -> Option<Doubt> {
    let spec = reading.kind.spec();
    let base = reading.value.base();
    let expected = expectation(batch, plan, reading.kind, reading.at);
    let far = expected.as_ref().filter(|expected| expected.off(base) > FAR);
    let mut meant = far.and_then(|expected| other_way(spec, base, expected));
    let mut says = Vec::new();
    if is_gravity(spec.dimension) && looks_like_sg(base) {
        // Nobody reads thousandths of a degree, and a finished beer may well have one degree.
        meant = Some(from_sg(spec.dimension, base)).filter(|way| spec.check(*way).is_ok());
        says = say!["That looks like a specific gravity typed as degrees."];
    } else if let Some((last, why)) = against_nature(batch, reading) {
        says = say!["It was ", last, " before", why];
    } else if let Some(expected) = far {
        says = say![
            reading.value,
            " is far from the ",
            Amount::in_base(spec.dimension, expected.likely),
            " expected."
        ];
    }
    if !says.is_empty() {
        match meant {
            Some(meant) => says.extend(say![" Was ", meant, " meant?"]),
            None => says.extend(say![" Read it again."]),
        }
    }
    let odd_time = if reading.at > now + SLACK {
        Some("The time is still to come.")
    } else if reading.at + SLACK < batch.begun {
        Some("The time is before this batch began.")
    } else {
        None
    };
    if let Some(odd) = odd_time {
        if !says.is_empty() {
            says.extend(say![" "]);
        }
        says.extend(say![odd]);
    }
    (!says.is_empty()).then_some(Doubt { says, meant })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::demo;
    use crate::plan::plan;
    use crate::testing::any_batch;
    use calc::quantity::{Temperature, settled};
    use proptest::prelude::*;
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;

    const BEGUN: Moment = Moment::from_seconds(1_754_294_400);

    /// A batch that is in the middle of everything: pitched twelve hours after it began.
    fn example() -> Batch {
        let mut batch = demo("x".to_owned(), BEGUN);
        batch.tick(Step::Culture, Some(BEGUN + Duration::hours(12.0)));
        batch
    }

    fn reading(kind: ReadingKind, base: f64, hours: f64) -> Reading {
        Reading {
            kind,
            value: Amount::in_base(kind.spec().dimension, base),
            at: BEGUN + Duration::hours(hours),
            temperature: None,
            note: String::new(),
        }
    }

    fn ask(batch: &Batch, reading: &Reading) -> Option<Doubt> {
        let before = (batch.clone(), reading.clone());
        let found = doubt(batch, reading, &plan(batch), reading.at);
        assert_eq!((batch, reading), (&before.0, &before.1), "a doubt changes nothing");
        found
    }

    fn unit(dimension: Dimension, key: &str) -> Unit {
        *dimension.units().iter().find(|unit| unit.key == key).unwrap()
    }

    /// Typed into a field with this unit: refused with a guess, or taken and doubted, or neither.
    fn typed(batch: &Batch, kind: ReadingKind, in_unit: &str, text: &str, hours: f64) -> Option<Amount> {
        let (spec, unit) = (kind.spec(), unit(kind.spec().dimension, in_unit));
        let amount = Amount::parse(spec.dimension, &unit, text).unwrap();
        if spec.check(amount).is_err() {
            let near = expected(batch, &plan(batch), kind, BEGUN + Duration::hours(hours));
            return meant(spec, &unit, text, near);
        }
        ask(batch, &reading(kind, amount.base(), hours))?.meant
    }

    #[track_caller]
    fn guesses(kind: ReadingKind, in_unit: &str, text: &str, meant: f64, meant_unit: &str) {
        let guess = typed(&example(), kind, in_unit, text, 20.0);
        let guess = guess.map(|guess| guess.in_unit(&unit(kind.spec().dimension, meant_unit)));
        assert!(guess.is_some_and(|guess| (guess - meant).abs() < 1e-6), "{text} {in_unit}: {guess:?}");
    }

    #[test]
    fn a_gravity_without_its_point() {
        for kind in [ReadingKind::PreBoilGravity, ReadingKind::OriginalGravity, ReadingKind::Gravity] {
            for in_unit in ["sg", "plato"] {
                guesses(kind, in_unit, "1045", 1.045, "sg");
                guesses(kind, in_unit, "1 045", 1.045, "sg");
                guesses(kind, in_unit, "1,045.0", 1.045, "sg");
            }
            guesses(kind, "plato", "1,045", 1.045, "sg");
            guesses(kind, "plato", "1.045", 1.045, "sg");
            guesses(kind, "sg", "45", 1.045, "sg");
        }
        guesses(ReadingKind::OriginalGravity, "sg", "11.5", 11.5, "plato");
        guesses(ReadingKind::OriginalGravity, "plato", "115", 11.5, "plato");
        guesses(ReadingKind::PreBoilBrix, "brix", "1.042", calc_plato(1.042), "brix");
        // With a comma it is what it says.
        assert_eq!(typed(&example(), ReadingKind::OriginalGravity, "sg", "1,045", 20.0), None);
    }

    fn calc_plato(sg: f64) -> f64 {
        from_sg(Dimension::Brix, sg).base()
    }

    #[test]
    fn the_other_degrees() {
        guesses(ReadingKind::SourTemperature, "c", "75", 75.0, "f");
        guesses(ReadingKind::SourTemperature, "f", "24", 24.0, "c");
        guesses(ReadingKind::SourTemperature, "f", "35", 35.0, "c");
        let celsius = unit(Dimension::Temperature, "c");
        let mash = Field::MashTemperature.spec();
        let guess = meant(mash, &celsius, "150", Some(Temperature::celsius(67.0).amount())).unwrap();
        assert_eq!(guess.number_text(&unit(Dimension::Temperature, "f")), "150");
        let sample = meant(crate::document::SAMPLE_TEMPERATURE, &celsius, "150", None).unwrap();
        assert_eq!(sample.number_text(&unit(Dimension::Temperature, "f")), "150");
    }

    #[test]
    fn gallons_and_millilitres_for_litres() {
        guesses(ReadingKind::PreBoilVolume, "l", "5.6", 5.6, "gal");
        guesses(ReadingKind::PreBoilVolume, "gal", "21.5", 21.5, "l");
        guesses(ReadingKind::PreBoilVolume, "l", "21500", 21.5, "l");
        guesses(ReadingKind::PreBoilVolume, "l", "21,500.0", 21.5, "l");
        guesses(ReadingKind::FermenterVolume, "l", "185", 18.5, "l");
        guesses(ReadingKind::DropAcid, "ml", "0.012", 12.0, "ml");
        guesses(ReadingKind::DropAcid, "l", "12", 12.0, "ml");
    }

    #[test]
    fn a_ph_without_its_point() {
        for (text, meant) in [("54", 5.4), ("538", 5.38), ("5380", 5.38), ("0.54", 5.4)] {
            guesses(ReadingKind::MashPh, "ph", text, meant, "ph");
        }
        guesses(ReadingKind::SourPh, "ph", "342", 3.42, "ph");
        assert_eq!(typed(&example(), ReadingKind::MashPh, "ph", "5,38", 1.0), None);
        assert_eq!(typed(&example(), ReadingKind::MashPh, "ph", "-5", 1.0), None);
        assert_eq!(typed(&example(), ReadingKind::MashPh, "ph", "0", 1.0), None);
    }

    #[test]
    fn jumps_against_the_plan_and_against_nature() {
        let mut batch = example();
        assert!(ask(&batch, &reading(ReadingKind::MashPh, 7.2, 1.0)).is_some_and(|odd| odd.meant.is_none()));
        batch.readings.add(reading(ReadingKind::SourPh, 3.6, 40.0));
        let says = |batch: &Batch, kind, base, hours| {
            ask(batch, &reading(kind, base, hours)).map(|odd| format!("{:?}", odd.says)).unwrap_or_default()
        };
        assert!(says(&batch, ReadingKind::SourPh, 4.4, 45.0).contains("souring only lowers the pH"));
        batch.readings.add(reading(ReadingKind::Gravity, 4.0, 120.0));
        assert!(says(&batch, ReadingKind::Gravity, 8.0, 150.0).contains("only lowers the gravity"));
        batch.readings.add(reading(ReadingKind::PreBoilVolume, 20.0, 2.0));
        assert!(says(&batch, ReadingKind::PostBoilVolume, 26.0, 60.0).contains("only drives water off"));
        // Fruit brings sugar: then it may rise.
        batch.tick(Step::FruitIn, Some(BEGUN + Duration::hours(140.0)));
        assert_eq!(says(&batch, ReadingKind::Gravity, 6.0, 150.0), "");
    }

    #[test]
    fn a_time_to_come_and_one_before_the_batch() {
        let batch = example();
        let plan = plan(&batch);
        let ask = |hours: f64, now: f64| {
            let at = reading(ReadingKind::MashPh, 5.5, hours);
            doubt(&batch, &at, &plan, BEGUN + Duration::hours(now)).map(|odd| format!("{:?}", odd.says))
        };
        assert!(ask(5.0, 1.0).is_some_and(|says| says.contains("still to come")));
        assert!(ask(-5.0, 1.0).is_some_and(|says| says.contains("before this batch began")));
        assert_eq!(ask(1.0, 1.0), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]

        #[test]
        fn any_reading_of_any_batch_is_answered_and_left_alone(batch in any_batch(), share in 0.0..=1.0f64, hours in -50.0..2000.0f64) {
            let plan = plan(&batch);
            for &kind in ReadingKind::ALL {
                let (low, high) = (kind.spec().low.base(), kind.spec().high.base());
                let value = Amount::in_base(kind.spec().dimension, low + share * (high - low));
                let at = batch.begun + Duration::hours(hours);
                let one = Reading { kind, value, at, temperature: None, note: String::new() };
                let before = one.clone();
                if let Some(Doubt { says, meant }) = doubt(&batch, &one, &plan, at) {
                    prop_assert!(!says.is_empty());
                    prop_assert!(meant.is_none_or(|meant| meant.is_finite() && kind.spec().check(meant).is_ok()));
                }
                prop_assert_eq!(&one, &before);
                prop_assert!(expected(&batch, &plan, kind, at).is_none_or(|amount| kind.spec().check(amount).is_ok()));
            }
        }

        #[test]
        fn any_text_gets_a_guess_in_range_or_none(text in "[0-9., -]{0,8}", place in 0..ReadingKind::ALL.len(), near in proptest::option::of(0.0..=1.0f64)) {
            let spec = ReadingKind::ALL[place].spec();
            let near = near.map(|share| Amount::in_base(spec.dimension, spec.low.base() + share * (spec.high.base() - spec.low.base())));
            for unit in spec.dimension.units() {
                if let Some(guess) = meant(spec, unit, &text, near) {
                    prop_assert!(spec.check(guess).is_ok());
                }
            }
        }
    }

    /// Days that a home brewer could have: the example with other volumes, strengths, waters of habit and
    /// temperatures, some of them with earlier readings.
    fn days(count: usize) -> Vec<Batch> {
        let mut runner = TestRunner::deterministic();
        let strategy = (10.0..40.0f64, 8.0..16.0f64, 20.0..42.0f64, 0.6..0.85f64, 1.5..5.0f64, 60.0..90.0f64);
        (0..count)
            .map(|_| {
                let (litres, plato, warm, efficiency, evaporation, minutes) =
                    strategy.new_tree(&mut runner).unwrap().current();
                let mut batch = example();
                for (field, base) in [
                    (Field::BatchVolume, litres),
                    (Field::WantedGravity, plato),
                    (Field::KettleVolume, 100.0),
                    (Field::FermenterVolume, 100.0),
                    (Field::SourTemperature, warm),
                    (Field::Efficiency, efficiency),
                    (Field::Evaporation, evaporation),
                    (Field::MainBoil, minutes),
                ] {
                    let amount = Amount::in_base(field.spec().dimension, base);
                    Slot::Of(field).set(&mut batch, Some(amount)).unwrap();
                }
                batch
            })
            .collect()
    }

    /// A standard normal number, by the sum of twelve even ones.
    fn normal(runner: &mut TestRunner) -> f64 {
        (0..12).map(|_| (0.0..1.0f64).new_tree(runner).unwrap().current()).sum::<f64>() - 6.0
    }

    /// The figure whose spread an honest reading of a kind is drawn from.
    const READ: [(ReadingKind, Figure); 10] = [
        (ReadingKind::MashPh, Figure::MashPhPlain),
        (ReadingKind::PreBoilVolume, Figure::PreBoilVolume),
        (ReadingKind::PreBoilGravity, Figure::PreBoilGravity),
        (ReadingKind::WortPh, Figure::WortPh),
        (ReadingKind::ChillTime, Figure::ChillTime),
        (ReadingKind::PostBoilVolume, Figure::PostBoilVolume),
        (ReadingKind::OriginalGravity, Figure::OriginalGravity),
        (ReadingKind::FermenterVolume, Figure::FermenterVolume),
        (ReadingKind::Gravity, Figure::FinalGravity),
        (ReadingKind::PackagedVolume, Figure::PackagedVolume),
    ];

    /// A reading drawn from a figure's spread, shown in the first unit's digits as an instrument shows it.
    fn drawn(
        runner: &mut TestRunner,
        planned: &Plan,
        kind: ReadingKind,
        figure: Figure,
        hours: f64,
    ) -> Option<Reading> {
        let shown = figure.of(&planned.figures).ok()?;
        let deviation = (shown.high.base() - shown.low.base()) / BAND;
        let unit = &kind.spec().dimension.units()[0];
        let exact = Amount::in_base(kind.spec().dimension, shown.value.base() + deviation * normal(runner));
        let read = Amount::parse(kind.spec().dimension, unit, &exact.number_text(unit)).ok()?;
        kind.spec().check(read).ok()?;
        Some(reading(kind, read.base(), hours))
    }

    #[test]
    fn an_honest_reading_is_hardly_ever_doubted() {
        let mut runner = TestRunner::deterministic();
        let (mut asked, mut doubted) = (0, Vec::new());
        for batch in days(40) {
            let planned = plan(&batch);
            for (kind, figure) in READ {
                for _ in 0..8 {
                    let Some(one) = drawn(&mut runner, &planned, kind, figure, 20.0) else { continue };
                    asked += 1;
                    doubted.extend(doubt(&batch, &one, &planned, one.at).map(|odd| (one, odd)));
                }
            }
            // A souring read every ten hours: each reading from the forecast as those before it have it.
            let mut souring = batch.clone();
            for hours in [22.0, 32.0, 42.0, 52.0, 62.0] {
                let planned = plan(&souring);
                let since = BEGUN + Duration::hours(hours) - (BEGUN + Duration::hours(12.0));
                let Some(point) = planned.course.iter().find(|point| point.at >= since) else { continue };
                let deviation = (point.high.base() - point.low.base()) / BAND;
                let last = souring.readings.last(ReadingKind::SourPh).map_or(9.0, |last| last.value.base());
                // The wort itself never rises; its meter errs.
                let ph = (point.value.base() + deviation * normal(&mut runner)).min(last)
                    + 0.03 * normal(&mut runner);
                let one = reading(ReadingKind::SourPh, settled((ph * 100.0).round() / 100.0), hours);
                if one.kind.spec().check(one.value).is_err() {
                    continue;
                }
                asked += 1;
                doubted.extend(doubt(&souring, &one, &planned, one.at).map(|odd| (one.clone(), odd)));
                souring.readings.add(one);
            }
        }
        println!("honest readings doubted: {} of {asked}", doubted.len());
        assert!(asked > 3_000, "{asked}");
        assert!(doubted.len() * 100 < asked, "{} of {asked}: {:#?}", doubted.len(), &doubted[..3]);
    }

    /// One kind of mistake: how often it is caught with the right value offered.
    #[track_caller]
    fn caught(
        name: &str,
        kinds: &[(ReadingKind, Figure)],
        (meant_in, typed_in): (&str, &str),
        digits: Option<usize>,
        mistake: impl Fn(&str) -> String,
    ) {
        let mut runner = TestRunner::deterministic();
        let (mut made, mut seen, mut missed) = (0, 0, Vec::new());
        for batch in days(40) {
            let planned = plan(&batch);
            for &(kind, figure) in kinds {
                let Some(honest) = drawn(&mut runner, &planned, kind, figure, 20.0) else { continue };
                let meant_unit = unit(kind.spec().dimension, meant_in);
                // A dose in litres has more digits than litres are shown with.
                let text = |amount: Amount| {
                    let small = kind.spec().dimension == Dimension::SmallVolume;
                    if small { amount.entry_text(&meant_unit) } else { amount.number_text(&meant_unit) }
                };
                let mut right = text(honest.value);
                right.truncate(digits.unwrap_or(right.len()));
                let wrong = mistake(&right);
                made += 1;
                let guess = typed(&batch, kind, typed_in, &wrong, 20.0).map(text);
                let guess = guess.map(|mut guess| {
                    guess.truncate(digits.unwrap_or(guess.len()));
                    guess
                });
                if guess.as_deref() == Some(&right) {
                    seen += 1;
                } else {
                    missed.push((kind, right, wrong, guess));
                }
            }
        }
        println!("{name}: {seen} of {made} caught");
        assert!(made >= 40 && seen * 100 >= made * 95, "{name}: {seen} of {made}; missed {missed:?}");
    }

    #[test]
    fn mixed_up_units_are_caught() {
        let gravity = [
            (ReadingKind::PreBoilGravity, Figure::PreBoilGravity),
            (ReadingKind::OriginalGravity, Figure::OriginalGravity),
            (ReadingKind::Gravity, Figure::FinalGravity),
        ];
        let volume = [
            (ReadingKind::PreBoilVolume, Figure::PreBoilVolume),
            (ReadingKind::PostBoilVolume, Figure::PostBoilVolume),
            (ReadingKind::FermenterVolume, Figure::FermenterVolume),
            (ReadingKind::PackagedVolume, Figure::PackagedVolume),
        ];
        let ph = [(ReadingKind::MashPh, Figure::MashPhPlain), (ReadingKind::WortPh, Figure::WortPh)];
        let dose = [(ReadingKind::DropAcid, Figure::DropAcid)];
        let same = |text: &str| text.to_owned();
        let without_point = |text: &str| text.replace('.', "");
        let comma = |text: &str| text.replace('.', ",");
        caught("1045 in SG", &gravity, ("sg", "sg"), None, without_point);
        caught("1045 in °P", &gravity, ("sg", "plato"), None, without_point);
        caught("SG in °P", &gravity, ("sg", "plato"), None, same);
        caught("SG with a comma in °P", &gravity, ("sg", "plato"), None, comma);
        caught("gallons for litres", &volume, ("gal", "l"), None, same);
        caught("litres for gallons", &volume, ("l", "gal"), None, same);
        caught("millilitres for litres", &volume, ("ml", "l"), None, same);
        caught("litres for millilitres, a dose", &dose, ("l", "ml"), None, same);
        caught("538 for 5.38", &ph, ("ph", "ph"), None, without_point);
        caught("54 for 5.4", &ph, ("ph", "ph"), Some(3), without_point);
    }

    #[test]
    fn mixed_up_degrees_are_caught() {
        let mut runner = TestRunner::deterministic();
        let (mut made, mut caught) = (0, 0);
        let degrees = |key: &str| unit(Dimension::Temperature, key);
        for batch in days(40) {
            let wanted = field(&batch, Field::SourTemperature).unwrap();
            for (meant_in, typed_in) in [("f", "c"), ("c", "f")] {
                let warm = Temperature::celsius(wanted + 1.5 * normal(&mut runner)).amount();
                let right = warm.number_text(&degrees(meant_in));
                made += 1;
                let guess = typed(&batch, ReadingKind::SourTemperature, typed_in, &right, 20.0);
                caught +=
                    i32::from(guess.is_some_and(|guess| guess.number_text(&degrees(meant_in)) == right));
            }
        }
        println!("°F and °C while souring: {caught} of {made} caught");
        assert!(caught * 100 >= made * 95, "{caught} of {made}");
    }
}
