//! One change for the next batch: what to turn for what is wished, and what the plan says comes of it.
//!
//! For each wish there is a short list of changes, the most usual first. The first is offered that the document
//! allows and that moves the figure it is meant to move, in the direction it should, far enough to be read. Both
//! documents are planned for that; nothing is offered on a guess. Taste itself is not predicted, and that is said.

use crate::compare::{moved, new_warnings, tasted};
use crate::document::{Batch, Field, FruitField, GristBy, MaltField, Slot, TasteField};
use crate::plan::{Figure, Plan, plan};
use crate::say::{Sentence, say};
use calc::data::Source;
use calc::quantity::Amount;

/// What the next beer should have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wish {
    /// More body.
    Body,
    /// More fruit.
    Fruit,
    /// More sourness.
    Sharper,
    /// Less sourness.
    Softer,
    /// Fewer off-flavours.
    Cleaner,
}

impl Wish {
    /// Every wish.
    pub const ALL: &[Self] = &[Self::Body, Self::Fruit, Self::Sharper, Self::Softer, Self::Cleaner];

    /// What its button says.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Body => "More body",
            Self::Fruit => "More fruit",
            Self::Sharper => "Sharper",
            Self::Softer => "Softer",
            Self::Cleaner => "Cleaner",
        }
    }

    /// What the plan can't say of it.
    pub const fn unpredicted(self) -> &'static str {
        match self {
            Self::Body => {
                "The plan can't predict how full it tastes: protein, gas and sourness count as well as gravity."
            }
            Self::Fruit => {
                "The plan can't predict how strong the fruit tastes: lots, ripeness and age differ."
            }
            Self::Sharper | Self::Softer => {
                "The plan can't predict how sour it tastes: sugar, fruit, salt and gas weigh in."
            }
            Self::Cleaner => {
                "The plan can't predict off-flavours. Clean vessels, no air and fresh cultures do more than any number."
            }
        }
    }
}

/// One change with what comes of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The wish it serves.
    pub wish: Wish,
    /// What to turn, from what to what.
    pub says: Sentence,
    /// Why this should help.
    pub grounds: Source,
    /// The figures that move, with their spread, and new warnings.
    pub effect: Vec<Sentence>,
    edits: Vec<(Slot, Amount)>,
}

impl Change {
    /// Makes the change in a document.
    pub fn make(&self, batch: &mut Batch) {
        for &(slot, amount) in &self.edits {
            // Every edit was tried when the change was found; in another document one out of range is left out.
            let _ = slot.set(batch, Some(amount));
        }
    }
}

/// How much apparent attenuation a mash one degree warmer costs, as a share of one. Measured series give about 0.5
/// to 2.5 points between 64 and 72 °C.
const ATTENUATION_PER_DEGREE: f64 = 0.015;

const WARMER_SOURCE: Source = Source::our_estimate(
    "A warmer mash leaves more that yeast can't ferment (Hamilton & Lewis 1974, MBAA Technical Quarterly 11(1):31, from its abstract). \
     1.5 points of attenuation for 1 °C is our estimate; 0.5 to 2.5 may be.",
);
const STRONGER_SOURCE: Source =
    Source::common_practice("A stronger wort leaves more behind at the same attenuation, and more alcohol.");
const FRUIT_SOURCE: Source =
    Source::common_practice("A quarter more is about the least that most people notice.");
const SOUR_SOURCE: Source =
    Source::our_estimate("0.1 of pH, or a tenth of the acidity, is a step that most people taste.");
const DROP_SOURCE: Source = Source::common_practice(
    "Most germs that spoil wort, those of butyric smell among them, hardly grow below pH 4.5.",
);
const PITCH_SOURCE: Source =
    Source::common_practice("Sour wort tires yeast; more of it starts sooner and leaves fewer by-products.");
const COOLER_SOURCE: Source =
    Source::common_practice("Cooler yeast makes fewer esters and fusel alcohols; it also takes longer.");

/// Figures that are told when a change moves them.
const TOLD: &[Figure] = &[
    Figure::FinalGravity,
    Figure::AlcoholBeforeFruit,
    Figure::FruitedGravity,
    Figure::FruitedAlcohol,
    Figure::FruitLoad,
    Figure::FruitedPh,
    Figure::TitratableAcidityFigure,
    Figure::FruitedAcidity,
    Figure::SourTime,
    Figure::DropAcid,
    Figure::YeastCells,
    Figure::OxygenTime,
    Figure::Dissolved,
    Figure::GristMass,
    Figure::RoomLeft,
    Figure::PackagedVolume,
];

/// A change that may be offered.
struct Candidate {
    edits: Vec<(Slot, Amount)>,
    /// The figure it is for, and whether that should rise.
    aim: (Figure, bool),
    grounds: Source,
}

/// What is tried for a wish, the most usual first.
fn candidates(wish: Wish, batch: &Batch) -> Vec<Candidate> {
    let mut found = Vec::new();
    let mut offer = |edits: Vec<(Slot, Amount)>, figure: Figure, rises: bool, grounds: Source| {
        if !edits.is_empty() {
            found.push(Candidate { edits, aim: (figure, rises), grounds });
        }
    };
    // A field with its value in use, changed by a step, when the outcome lies within these ends.
    let step = |field: Field, by: f64, low: f64, high: f64| {
        let slot = Slot::Of(field);
        let now = slot.effective(batch)?;
        let next = now.base() + by;
        (low..=high).contains(&next).then(|| (slot, Amount::in_base(now.dimension, next)))
    };
    let times = |slot: Slot, factor: f64| {
        let now = slot.get(batch)?;
        (now.base() > 0.0).then(|| (slot, Amount::in_base(now.dimension, now.base() * factor)))
    };
    let sourer = |sign: f64| match times(Slot::Of(Field::SourAcidity), 1.0 + 0.1 * sign) {
        Some(edit) => vec![edit],
        None => step(Field::SourPh, -0.1 * sign, 3.1, 3.9).into_iter().collect(),
    };
    match wish {
        Wish::Body => {
            // With rests the first temperature decides little.
            let warmer = step(Field::MashTemperature, 2.0, 62.0, 72.0).filter(|_| batch.rests.is_empty());
            let less = step(Field::Attenuation, -2.0 * ATTENUATION_PER_DEGREE, 0.4, 1.0);
            let both = warmer.zip(less).map_or_else(Vec::new, |(warmer, less)| vec![warmer, less]);
            offer(both, Figure::FinalGravity, true, WARMER_SOURCE);
            let more = if batch.choices.grist_by == GristBy::Shares {
                step(Field::WantedGravity, 1.0, 4.0, 25.0).into_iter().collect()
            } else {
                let all = 0..batch.grist.len();
                all.filter_map(|place| times(Slot::Malt(place, MaltField::Mass), 1.08)).collect()
            };
            offer(more, Figure::FinalGravity, true, STRONGER_SOURCE);
        }
        Wish::Fruit => {
            let all = 0..batch.fruit.len();
            let more = all.filter_map(|place| times(Slot::Fruit(place, FruitField::Mass), 1.25)).collect();
            offer(more, Figure::FruitLoad, true, FRUIT_SOURCE);
        }
        Wish::Sharper => offer(sourer(1.0), Figure::TitratableAcidityFigure, true, SOUR_SOURCE),
        Wish::Softer => offer(sourer(-1.0), Figure::TitratableAcidityFigure, false, SOUR_SOURCE),
        Wish::Cleaner => {
            let drop = Slot::Of(Field::DropPh);
            let high = drop.effective(batch).filter(|now| now.base() > 4.55);
            let lower = high.map(|now| vec![(drop, Amount::in_base(now.dimension, 4.5))]).unwrap_or_default();
            offer(lower, Figure::DropAcid, true, DROP_SOURCE);
            let more = step(Field::PitchRate, 0.25, 0.1, 1.25).into_iter().collect();
            offer(more, Figure::YeastCells, true, PITCH_SOURCE);
            // Cooler beer holds more gas: the figure that shows the plan has followed.
            let cooler = step(Field::FermentTemperature, -2.0, 16.0, 30.0).into_iter().collect();
            offer(cooler, Figure::Dissolved, true, COOLER_SOURCE);
        }
    }
    found
}

/// The one change to make to this document for a wish; none where no change is known to move the right figure.
/// Meant for a document without readings: what is measured is not changed any more.
pub fn change(wish: Wish, batch: &Batch) -> Option<Change> {
    let before = plan(batch);
    candidates(wish, batch).into_iter().find_map(|candidate| tried(wish, candidate, batch, &before))
}

fn tried(wish: Wish, candidate: Candidate, batch: &Batch, before: &Plan) -> Option<Change> {
    let Candidate { edits, aim: (figure, rises), grounds } = candidate;
    let mut changed = batch.clone();
    let mut says = Sentence::new();
    for &(slot, amount) in &edits {
        if !says.is_empty() {
            says.extend(say!["; "]);
        }
        let label = match slot {
            Slot::Malt(place, _) => say![batch.grist.get(place)?.class.data().name],
            Slot::Fruit(place, _) => say![batch.fruit.get(place)?.called()],
            _ => say![slot.spec().label],
        };
        says.extend(label);
        says.extend(say![": ", slot.effective(batch)?, " to ", amount]);
        slot.set(&mut changed, Some(amount)).ok()?;
    }
    says.extend(say!["."]);
    let after = plan(&changed);
    let value = |plan: &Plan| Some(figure.of(&plan.figures).ok()?.value.base());
    let right = (value(&after)? > value(before)?) == rises;
    if !right || moved(&[figure], before, &after).is_empty() {
        return None;
    }
    let mut effect = moved(TOLD, before, &after);
    effect.extend(new_warnings(before, &after));
    Some(Change { wish, says, grounds, effect, edits })
}

/// The wish that the tastings of a batch point to, if they point anywhere. The scale that is farthest from its
/// wanted mark decides: 3 of 5 for sourness, body and fruit, 3.5 for cleanness, as a fault outranks a matter of
/// taste. Nothing for less than 0.75 of a mark. Our own rule.
pub fn pointed(batch: &Batch) -> Option<Wish> {
    let mark = |scale: TasteField| tasted(batch, scale).map(|mark| mark.value());
    let short = [
        (Wish::Cleaner, mark(TasteField::Clean).map(|mark| 3.5 - mark)),
        (Wish::Fruit, mark(TasteField::Fruit).map(|mark| 3.0 - mark)),
        (Wish::Body, mark(TasteField::Body).map(|mark| 3.0 - mark)),
        (Wish::Sharper, mark(TasteField::Sourness).map(|mark| 3.0 - mark)),
        (Wish::Softer, mark(TasteField::Sourness).map(|mark| mark - 3.0)),
    ];
    let mut farthest = (None, 0.75);
    for (wish, away) in short {
        if let Some(away) = away
            && away > farthest.1
        {
            farthest = (Some(wish), away);
        }
    }
    farthest.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::again::unmeasured;
    use crate::demo::demo;
    use crate::document::Tasting;
    use crate::moment::Moment;
    use crate::testing::any_batch;
    use calc::quantity::{Count, Quantity};
    use proptest::prelude::*;
    use proptest::sample::select;

    fn example() -> Batch {
        demo("old".to_owned(), Moment::from_seconds(1_000_000))
    }

    /// What each wish is about, and whether it should rise.
    fn meant(wish: Wish) -> &'static [(Figure, bool)] {
        match wish {
            Wish::Body => &[(Figure::FinalGravity, true)],
            Wish::Fruit => &[(Figure::FruitLoad, true)],
            Wish::Sharper => &[(Figure::TitratableAcidityFigure, true)],
            Wish::Softer => &[(Figure::TitratableAcidityFigure, false)],
            Wish::Cleaner => {
                &[(Figure::DropAcid, true), (Figure::YeastCells, true), (Figure::Dissolved, true)]
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(256))]

        #[test]
        fn an_offered_change_moves_its_figure_as_said(batch in any_batch(), wish in select(Wish::ALL)) {
            let batch = unmeasured(&batch);
            if let Some(change) = change(wish, &batch) {
                let mut changed = batch.clone();
                change.make(&mut changed);
                prop_assert!(changed.check().is_ok());
                let (before, after) = (plan(&batch), plan(&changed));
                let moves = |&(figure, rises): &(Figure, bool)| {
                    let of = |plan: &Plan| figure.of(&plan.figures).map(|shown| shown.value.base());
                    match (of(&before), of(&after)) {
                        (Ok(before), Ok(after)) => after != before && (after > before) == rises,
                        _ => false,
                    }
                };
                prop_assert!(meant(wish).iter().any(moves), "{change:?}");
                prop_assert!(!change.effect.is_empty() && !change.says.is_empty());
            }
        }
    }

    #[test]
    fn the_example_has_an_answer_to_every_wish() {
        for &wish in Wish::ALL {
            let found = change(wish, &example()).unwrap_or_else(|| panic!("{wish:?}"));
            assert_eq!(found.wish, wish);
            let told = |figure: Figure| {
                found.effect.iter().any(|line| *line.first().unwrap() == say![figure.label()][0])
            };
            assert!(meant(wish).iter().any(|&(figure, _)| told(figure)), "{found:?}");
        }
    }

    #[test]
    fn a_warmer_mash_leaves_more_gravity_and_less_alcohol() {
        let found = change(Wish::Body, &example()).unwrap();
        let mut changed = example();
        found.make(&mut changed);
        assert_eq!(Slot::Of(Field::MashTemperature).get(&changed).map(|amount| amount.base()), Some(68.0));
        let of = |batch: &Batch, figure: Figure| figure.of(&plan(batch).figures).unwrap().value.base();
        assert!(of(&changed, Figure::FinalGravity) > of(&example(), Figure::FinalGravity));
        assert!(of(&changed, Figure::AlcoholBeforeFruit) < of(&example(), Figure::AlcoholBeforeFruit));
    }

    #[test]
    fn a_hot_mash_gets_more_malt_instead() {
        let mut batch = example();
        let slot = Slot::Of(Field::MashTemperature);
        slot.set(&mut batch, Some(Amount::in_base(slot.spec().dimension, 71.0))).unwrap();
        let found = change(Wish::Body, &batch).unwrap();
        assert_eq!(found.edits.len(), 1);
        assert_eq!(found.edits[0].0, Slot::Of(Field::WantedGravity));
    }

    #[test]
    fn nothing_is_offered_where_nothing_would_move() {
        let mut batch = example();
        batch.fruit.clear();
        assert_eq!(change(Wish::Fruit, &batch), None);
        let slot = Slot::Of(Field::SourPh);
        slot.set(&mut batch, Some(Amount::in_base(slot.spec().dimension, 3.1))).unwrap();
        assert_eq!(change(Wish::Sharper, &batch), None);
    }

    #[test]
    fn the_tastings_point_to_what_is_farthest_off_and_a_fault_comes_first() {
        let tasted = |marks: &[(TasteField, f64)]| {
            let mut batch = example();
            batch.tastings.push(Tasting::default());
            for &(scale, mark) in marks {
                Slot::Taste(0, scale).set(&mut batch, Some(Count::of(mark).amount())).unwrap();
            }
            pointed(&batch)
        };
        use TasteField::{Body, Clean, Fruit, Sourness};
        assert_eq!(tasted(&[]), None);
        assert_eq!(tasted(&[(Fruit, 2.0), (Clean, 2.0)]), Some(Wish::Cleaner));
        assert_eq!(tasted(&[(Fruit, 1.0), (Clean, 3.0)]), Some(Wish::Fruit));
        assert_eq!(tasted(&[(Body, 2.0), (Clean, 4.0)]), Some(Wish::Body));
        assert_eq!(tasted(&[(Sourness, 5.0)]), Some(Wish::Softer));
        assert_eq!(tasted(&[(Sourness, 2.0)]), Some(Wish::Sharper));
        assert_eq!(tasted(&[(Sourness, 3.0), (Body, 3.0), (Fruit, 3.0), (Clean, 4.0)]), None);
    }
}
