//! Batches side by side, and what changes from batch to batch.

use crate::again::unmeasured;
use crate::document::{Batch, Field, ReadingKind, Slot, Stage, Step, TasteField, WaterField};
use crate::house::HouseNumber;
use crate::json::name;
use crate::moment::Moment;
use crate::plan::{Figure, Level, Origin, Plan, Shown, cooled, plan};
use crate::say::{Piece, Sentence, say};
use calc::quantity::{Amount, Count, Dimension, Duration, Fraction, Quantity, TitratableAcidity, fixed};

/// What a row of the comparison is about, in the order shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// What was planned by the person: numbers and choices.
    Set,
    /// What the plan said and what was measured.
    Met,
    /// What came out.
    Out,
    /// What it tasted like.
    Taste,
}

impl Part {
    /// Every part, in order.
    pub const ALL: &[Self] = &[Self::Set, Self::Met, Self::Out, Self::Taste];

    /// Its heading.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Set => "What was set",
            Self::Met => "Planned and measured",
            Self::Out => "What came out",
            Self::Taste => "Tasted, of 5",
        }
    }
}

/// One row of the comparison.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What it is about.
    pub part: Part,
    /// The stage it belongs to.
    pub stage: Stage,
    /// What is compared.
    pub label: String,
    /// One cell for each batch, in their order; an empty sentence where a batch has nothing to say.
    pub cells: Vec<Sentence>,
    /// False when all cells read the same.
    pub differs: bool,
}

/// Where the entry fields of each stage begin in their table.
const BEGINNINGS: &[(Field, Stage)] = &[
    (Field::BatchVolume, Stage::Aim),
    (Field::Chlorine, Stage::Water),
    (Field::Rinse, Stage::Mash),
    (Field::ClearBoil, Stage::FirstBoil),
    (Field::DropPh, Stage::AcidDrop),
    (Field::SourTemperature, Stage::Souring),
    (Field::MainBoil, Stage::MainBoil),
    (Field::Attenuation, Stage::Ferment),
    (Field::SecondVessel, Stage::Fruit),
    (Field::Carbonation, Stage::Package),
];

/// A reading, and the figures that foretell it: the first that is known.
const MET: &[(ReadingKind, &[Figure])] = &[
    (ReadingKind::PreBoilVolume, &[Figure::PreBoilVolume]),
    (ReadingKind::PreBoilGravity, &[Figure::PreBoilGravity]),
    (ReadingKind::SourAcidity, &[Figure::TitratableAcidityFigure]),
    (ReadingKind::ChillTime, &[Figure::ChillTime]),
    (ReadingKind::PostBoilVolume, &[Figure::PostBoilVolume]),
    (ReadingKind::OriginalGravity, &[Figure::OriginalGravity]),
    (ReadingKind::FermenterVolume, &[Figure::FermenterVolume]),
    (ReadingKind::Gravity, &[Figure::FruitedGravity, Figure::FinalGravity]),
    (ReadingKind::BeerPh, &[Figure::FruitedPh, Figure::PhThen]),
    (ReadingKind::PackagedVolume, &[Figure::PackagedVolume]),
];

/// What came out, and the figures that tell it: the first that is known.
const OUT: &[(&str, &[Figure])] = &[
    ("Original gravity", &[Figure::OriginalGravity]),
    ("Final gravity", &[Figure::FruitedGravity, Figure::FinalGravity]),
    ("Alcohol", &[Figure::FruitedAlcohol, Figure::AlcoholBeforeFruit]),
    ("pH", &[Figure::FruitedPh, Figure::PhThen]),
    ("Titratable acidity", &[Figure::FruitedAcidity, Figure::TitratableAcidityFigure]),
    ("Bitterness", &[Figure::FruitedBitterness, Figure::BitternessFigure]),
    ("Volume packaged", &[Figure::PackagedVolume]),
];

const SOURED: &str = "From pitching until sour enough";

fn first_known(figures: &[Figure], plan: &Plan) -> Option<Shown> {
    figures.iter().find_map(|figure| figure.of(&plan.figures).ok())
}

/// True for amounts that read the same.
fn alike(one: Amount, other: Amount) -> bool {
    let unit = &one.dimension.units()[0];
    one.dimension == other.dimension && one.number_text(unit) == other.number_text(unit)
}

fn reads_the_same(one: &Sentence, other: &Sentence) -> bool {
    one.len() == other.len()
        && one.iter().zip(other).all(|pieces| match pieces {
            (Piece::Amount(one), Piece::Amount(other)) => alike(*one, *other),
            (one, other) => one == other,
        })
}

/// The figures of a list that are known in both plans and read otherwise in the second, each with its spread there.
pub(crate) fn moved(figures: &[Figure], before: &Plan, after: &Plan) -> Vec<Sentence> {
    let tell = |&figure: &Figure| {
        let (old, new) = (figure.of(&before.figures).ok()?, figure.of(&after.figures).ok()?);
        if alike(old.value, new.value) {
            return None;
        }
        let mut sentence = say![figure.label(), ": ", old.value, " to ", new.value];
        if !alike(new.low, new.high) {
            sentence.extend(say![", likely ", new.low, " to ", new.high]);
        }
        sentence.extend(say!["."]);
        Some(sentence)
    };
    figures.iter().filter_map(tell).collect()
}

/// What the second plan warns of and the first did not; notes left out.
pub(crate) fn new_warnings(before: &Plan, after: &Plan) -> Vec<Sentence> {
    // Amounts in a warning may differ; its first words tell which it is.
    let known = |says: &Sentence| before.warnings.iter().any(|old| old.says.first() == says.first());
    let worse = after.warnings.iter().filter(|warning| warning.level > Level::Note && !known(&warning.says));
    worse
        .map(|warning| {
            let mut sentence = say!["Look at “", warning.stage.title(), "”: "];
            sentence.extend(warning.says.iter().cloned());
            sentence
        })
        .collect()
}

/// The time from pitching the bacteria to the first reading that was sour enough, or to the tick that said so.
pub fn soured_after(batch: &Batch) -> Option<Duration> {
    let from = batch.ticked(Step::Culture)?;
    let by_ph = batch.value::<TitratableAcidity>(Field::SourAcidity).is_none();
    let enough = Slot::Of(Field::SourPh).effective(batch).filter(|_| by_ph);
    let mut since = batch.readings.of(ReadingKind::SourPh).filter(|reading| reading.at >= from);
    let read = since.find(|reading| {
        let ph = cooled(batch, reading).value.amount();
        enough.is_some_and(|enough| ph.base() <= enough.base() + 0.005)
    });
    let end = read.map(|reading| reading.at).or_else(|| batch.ticked(Step::Soured))?;
    (end >= from).then(|| end - from)
}

/// The mean of the tastings on one scale.
pub fn tasted(batch: &Batch, scale: TasteField) -> Option<Count> {
    let marks = batch.tastings.iter().filter_map(|tasting| scale.get(&tasting.numbers));
    let (count, sum) = marks.fold((0.0, 0.0), |(count, sum), mark| (count + 1.0, sum + mark.base()));
    (count > 0.0).then(|| Count::of(sum / count))
}

/// How well it was liked: the mean of body, fruit and cleanness. Sourness is not in it, as more of it is not better.
pub fn liked(batch: &Batch) -> Option<Count> {
    let scales = [TasteField::Body, TasteField::Fruit, TasteField::Clean];
    let marks: Vec<f64> = scales.iter().filter_map(|&scale| Some(tasted(batch, scale)?.value())).collect();
    (!marks.is_empty()).then(|| Count::of(marks.iter().sum::<f64>() / marks.len() as f64))
}

/// What is said of one batch, in the order of the rows.
struct Facts(Vec<(Part, Stage, String, Sentence)>);

impl Facts {
    // Never inlined: there are many facts, and their code is downloaded.
    #[inline(never)]
    fn add(&mut self, part: Part, stage: Stage, label: &str, says: Sentence) {
        if !says.is_empty() {
            self.0.push((part, stage, label.to_owned(), says));
        }
    }

    fn of(batch: &Batch, plan_now: &Plan) -> Self {
        let mut facts = Self(Vec::new());
        facts.typed(batch);
        facts.chosen(batch);
        facts.ingredients(batch, plan_now);
        facts.outcome(batch, plan_now);
        facts
    }

    fn typed(&mut self, batch: &Batch) {
        for &field in Field::ALL {
            let begun = BEGINNINGS.iter().rev().find(|(first, _)| *first <= field);
            let stage = begun.map_or(Stage::Aim, |beginning| beginning.1);
            let amount = Slot::Of(field).effective(batch);
            self.add(
                Part::Set,
                stage,
                field.spec().label,
                amount.map_or_else(Sentence::new, |amount| say![amount]),
            );
        }
        for (place, water) in batch.waters.iter().enumerate() {
            for &field in WaterField::ALL {
                let Some(low) = Slot::Water(place, field).get(batch) else { continue };
                let mut says = say![low];
                if let Some(high) = field.get(&water.upper) {
                    says.extend(say![" to ", high]);
                }
                self.add(Part::Set, Stage::Water, &["Water: ", field.spec().label].concat(), says);
            }
        }
        for rest in &batch.rests {
            let parts =
                [rest.numbers.temperature().map(Quantity::amount), rest.numbers.time().map(Quantity::amount)];
            self.add(Part::Set, Stage::Mash, "Rest", amounts(&parts));
        }
    }

    fn chosen(&mut self, batch: &Batch) {
        let c = &batch.choices;
        let chosen: [(Stage, &str, &dyn std::fmt::Debug); 13] = [
            (Stage::Water, "Finish", &c.finish),
            (Stage::Water, "Softened by", &c.softening),
            (Stage::Water, "Disinfectant in the tap water", &c.disinfectant),
            (Stage::Water, "Sulfite against it", &c.sulfite),
            (Stage::Grist, "Grist given by", &c.grist_by),
            (Stage::Mash, "Acid", &c.acid),
            (Stage::Mash, "The pH meter", &c.compensation),
            (Stage::Souring, "Culture", &c.culture),
            (Stage::Souring, "Its form", &c.form),
            (Stage::MainBoil, "Chiller", &c.chiller),
            (Stage::Ferment, "Yeast", &c.yeast),
            (Stage::Package, "Package", &c.package),
            (Stage::Package, "Gas from", &c.gas),
        ];
        for (stage, label, value) in chosen {
            self.add(Part::Set, stage, label, say![name(value).replace('_', " ")]);
        }
    }

    fn ingredients(&mut self, batch: &Batch, plan: &Plan) {
        for (malt, line) in batch.grist.iter().zip(&plan.malts) {
            let label = if malt.name.is_empty() { malt.class.data().name } else { &malt.name };
            let parts = [
                line.mass.map(Quantity::amount).map(|mass| mass.seen_as(Dimension::Mass)),
                line.share.map(Quantity::amount),
            ];
            self.add(Part::Set, Stage::Grist, label, amounts(&parts));
        }
        for line in &plan.salts {
            self.add(
                Part::Set,
                Stage::Water,
                line.salt.name(),
                say![line.all().amount().seen_as(Dimension::SmallMass)],
            );
        }
        for hop in &batch.hops {
            let label = if hop.name.is_empty() { "Hops" } else { &hop.name };
            let n = &hop.numbers;
            let mass = n.mass().map(|mass| mass.amount().seen_as(Dimension::SmallMass));
            let parts = [
                mass,
                n.alpha().map(Quantity::amount),
                n.minutes().map(|time| time.amount().seen_as(Dimension::Minutes)),
            ];
            let mut says = amounts(&parts);
            says.extend(say![" · ", hop.time.name()]);
            self.add(Part::Set, Stage::MainBoil, label, says);
        }
        for fruit in &batch.fruit {
            let mut says = amounts(&[fruit.numbers.mass().map(Quantity::amount)]);
            says.extend(say![" · ", name(&fruit.form)]);
            self.add(Part::Set, Stage::Fruit, &fruit.called(), says);
        }
    }

    fn outcome(&mut self, batch: &Batch, plan_now: &Plan) {
        let before = plan(&unmeasured(batch));
        let soured = soured_after(batch).map(|time| time.amount().seen_as(Dimension::Hours));
        if let Some(measured) = soured {
            self.met(Stage::Souring, SOURED, first_known(&[Figure::SourTime], &before), measured);
        }
        for &(kind, figures) in MET {
            if let Some(reading) = batch.readings.last(kind) {
                self.met(kind.stage(), kind.spec().label, first_known(figures, &before), reading.value);
            }
        }
        for &(label, figures) in OUT {
            let Some(shown) = first_known(figures, plan_now) else { continue };
            let how = if shown.origin == Origin::Measured { " measured" } else { " by the plan" };
            self.add(Part::Out, Stage::Package, label, say![shown.value, how]);
        }
        if let Some(reading) = batch.readings.last(ReadingKind::BeerPh) {
            self.add(Part::Out, Stage::Package, "pH of the beer, read", say![reading.value]);
        }
        if let Some(time) = soured {
            self.add(Part::Out, Stage::Package, SOURED, say![time]);
        }
        for &scale in TasteField::ALL {
            if let Some(mark) = tasted(batch, scale) {
                self.add(Part::Taste, Stage::Package, scale.spec().label, say![fixed(mark.value(), 1)]);
            }
        }
        for tasting in &batch.tastings {
            if !tasting.note.is_empty() {
                self.add(Part::Taste, Stage::Package, "In words", say![tasting.note.clone()]);
            }
        }
    }

    fn met(&mut self, stage: Stage, label: &str, planned: Option<Shown>, measured: Amount) {
        let mut says = planned.map_or_else(Sentence::new, |shown| say![shown.value, " planned, "]);
        says.extend(say![measured, " measured"]);
        self.add(Part::Met, stage, label, says);
    }
}

/// The amounts that are there, with a mark between them.
fn amounts(parts: &[Option<Amount>]) -> Sentence {
    let mut says = Sentence::new();
    for amount in parts.iter().flatten() {
        if !says.is_empty() {
            says.extend(say![" · "]);
        }
        says.extend(say![*amount]);
    }
    says
}

/// Batches side by side: one row for everything that any of them says, one cell for each batch in their order.
/// Things of the same name are compared with one another, the second of a name with the second.
pub fn compare(batches: &[(&Batch, &Plan)]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for (column, (batch, plan)) in batches.iter().enumerate() {
        for (part, stage, label, says) in Facts::of(batch, plan).0 {
            let free = |row: &&mut Row| {
                row.part == part && row.stage == stage && row.label == label && row.cells[column].is_empty()
            };
            if let Some(row) = rows.iter_mut().find(free) {
                row.cells[column] = says;
                continue;
            }
            let place = rows.partition_point(|row| (row.part, row.stage) <= (part, stage));
            let mut cells = vec![Sentence::new(); batches.len()];
            cells[column] = says;
            rows.insert(place, Row { part, stage, label, cells, differs: false });
        }
    }
    for row in &mut rows {
        row.differs = row.cells.iter().any(|cell| !reads_the_same(cell, &row.cells[0]));
    }
    rows
}

/// How one quantity went from batch to batch.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// What it is.
    pub label: &'static str,
    /// When each batch was begun, its name, and what was measured, in the order of time.
    pub points: Vec<(Moment, String, Amount)>,
}

/// What was measured in these batches, as a course over them: time to sour, efficiency, gravity and volume against
/// the plan, final pH. Only quantities that at least two batches measured.
pub fn trends(batches: &[(&Batch, &Plan)]) -> Vec<Trend> {
    const LABELS: [&str; 5] = [
        SOURED,
        "Extract that reached the kettle",
        "Original gravity, of that planned",
        "Beer pH, read last",
        "Packaged, of that planned",
    ];
    let mut trends = LABELS.map(|label| Trend { label, points: Vec::new() });
    for (batch, plan_now) in batches {
        if batch.readings.is_empty() {
            continue;
        }
        let before = plan(&unmeasured(batch));
        let share = |kind: ReadingKind, figure: Figure| {
            let planned = figure.of(&before.figures).ok()?.value.base();
            let measured = batch.readings.last(kind)?.value.base();
            (planned > 0.0).then(|| Fraction::of_one(measured / planned).amount())
        };
        let efficiency = plan_now.lessons.iter().find(|lesson| lesson.number == HouseNumber::Efficiency);
        let values = [
            soured_after(batch).map(|time| time.amount().seen_as(Dimension::Hours)),
            efficiency.map(|lesson| lesson.observed),
            share(ReadingKind::OriginalGravity, Figure::OriginalGravity),
            batch.readings.last(ReadingKind::BeerPh).map(|reading| reading.value),
            share(ReadingKind::PackagedVolume, Figure::PackagedVolume),
        ];
        for (trend, value) in trends.iter_mut().zip(values) {
            let Some(value) = value else { continue };
            let place = trend.points.partition_point(|point| point.0 <= batch.begun);
            trend.points.insert(place, (batch.begun, batch.name.clone(), value));
        }
    }
    trends.into_iter().filter(|trend| trend.points.len() > 1).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::demo;
    use crate::document::{Reading, Tasting};
    use crate::testing::{any_batch, finished_batch};
    use proptest::prelude::*;

    fn set(batch: &mut Batch, slot: Slot, base: f64) {
        slot.set(batch, Some(Amount::in_base(slot.spec().dimension, base))).unwrap();
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn sides_may_be_changed(one in any_batch(), other in any_batch()) {
            let plans = [plan(&one), plan(&other)];
            let there = compare(&[(&one, &plans[0]), (&other, &plans[1])]);
            let mut back = compare(&[(&other, &plans[1]), (&one, &plans[0])]);
            prop_assert_eq!(there.len(), back.len());
            for row in &mut back {
                row.cells.reverse();
            }
            for row in &there {
                prop_assert!(back.contains(row), "{row:?}");
            }
        }

        #[test]
        fn a_batch_does_not_differ_from_itself(batch in any_batch()) {
            let planned = plan(&batch);
            let rows = compare(&[(&batch, &planned), (&batch, &planned), (&batch, &planned)]);
            prop_assert!(rows.iter().all(|row| !row.differs && row.cells.len() == 3));
            prop_assert!(rows.windows(2).all(|pair| (pair[0].part, pair[0].stage) <= (pair[1].part, pair[1].stage)));
        }
    }

    #[test]
    fn what_was_changed_is_found_and_nothing_else() {
        let one = demo("1".to_owned(), Moment::from_seconds(0));
        let mut other = one.clone();
        set(&mut other, Slot::Of(Field::MashTemperature), 68.0);
        let rows = compare(&[(&one, &plan(&one)), (&other, &plan(&other))]);
        let set_apart: Vec<&Row> = rows.iter().filter(|row| row.differs && row.part == Part::Set).collect();
        assert_eq!(set_apart.len(), 1, "{set_apart:?}");
        assert_eq!((set_apart[0].label.as_str(), set_apart[0].stage), ("Mash temperature", Stage::Mash));
        let warm = Amount::in_base(Dimension::Temperature, 68.0);
        assert_eq!(set_apart[0].cells[1], say![warm]);
    }

    #[test]
    fn every_field_stands_at_a_stage_of_the_day() {
        assert!(BEGINNINGS.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 < pair[1].1));
        assert_eq!(BEGINNINGS[0].0, Field::ALL[0]);
    }

    #[test]
    fn a_finished_batch_tells_what_was_planned_measured_and_tasted() {
        let mut batch = finished_batch().data;
        for (body, note) in [(2.0, ""), (3.0, "Thin")] {
            batch.tastings.push(Tasting { note: note.to_owned(), ..Tasting::default() });
            let place = batch.tastings.len() - 1;
            set(&mut batch, Slot::Taste(place, TasteField::Body), body);
        }
        let rows = compare(&[(&batch, &plan(&batch))]);
        let cell = |part, label: &str| {
            let found = rows.iter().find(|row| row.part == part && row.label == label);
            found.unwrap_or_else(|| panic!("{label}")).cells[0].clone()
        };
        let gravity = |plato| Piece::Amount(Amount::in_base(Dimension::Gravity, plato));
        let met = cell(Part::Met, "Original gravity");
        assert!(met.contains(&gravity(11.4)) && met.contains(&Piece::Words(" planned, ")), "{met:?}");
        assert!(cell(Part::Out, "Original gravity").contains(&Piece::Words(" measured")));
        assert_eq!(cell(Part::Taste, "Body"), say!["2.5".to_owned()]);
        assert_eq!(cell(Part::Taste, "In words"), say!["Thin".to_owned()]);
        assert_eq!(liked(&batch), Some(Count::of(2.5)));
    }

    #[test]
    fn the_souring_ends_at_the_first_reading_that_is_sour_enough() {
        let mut batch = demo("1".to_owned(), Moment::from_seconds(0));
        assert_eq!(soured_after(&batch), None);
        let at = |hours: i64| Moment::from_seconds(3_600 * hours);
        batch.tick(Step::Culture, Some(at(10)));
        batch.tick(Step::Soured, Some(at(60)));
        assert_eq!(soured_after(&batch).map(Duration::as_hours), Some(50.0));
        for (hours, ph) in [(5, 3.3), (30, 3.6), (40, 3.4), (50, 3.3)] {
            let value = Amount::in_base(Dimension::Ph, ph);
            let (temperature, note) = (None, String::new());
            batch.readings.add(Reading {
                kind: ReadingKind::SourPh,
                value,
                at: at(hours),
                temperature,
                note,
            });
        }
        assert_eq!(soured_after(&batch).map(Duration::as_hours), Some(30.0));
    }

    #[test]
    fn a_trend_is_in_the_order_of_time_and_takes_two_batches() {
        let one = finished_batch().data;
        let mut other = one.clone();
        other.begun = one.begun + Duration::hours(-500.0);
        other.name = "Earlier".to_owned();
        let plans = [plan(&one), plan(&other)];
        assert_eq!(trends(&[(&one, &plans[0])]), []);
        let found = trends(&[(&one, &plans[0]), (&other, &plans[1])]);
        assert_eq!(found.len(), 5);
        for trend in &found {
            assert_eq!(trend.points[0].1, "Earlier", "{}", trend.label);
            assert!(trend.points.iter().all(|point| point.2.is_finite()));
        }
    }
}
