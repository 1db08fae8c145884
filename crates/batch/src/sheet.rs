//! The brew sheet: the whole batch on one page, in the order of the day.

use crate::document::{
    Batch, Field, FruitField, HopField, HopTime, Reading, ReadingKind, RestField, Slot, Stage,
};
use crate::plan::{Figure, Plan};
use crate::say::{Sentence, say};
use calc::quantity::{Dimension, Mass, Quantity as _};

/// One part of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Its heading.
    pub title: &'static str,
    /// Its lines, each with its amounts.
    pub lines: Vec<Sentence>,
}

/// A line with one number.
enum Row {
    /// What is typed, learned or assumed.
    Set(Field),
    /// What the plan has.
    Gives(Figure),
}
use Row::{Gives, Set};

/// The numbers of each stage, in the order they are wanted.
const fn rows(stage: Stage) -> &'static [Row] {
    match stage {
        Stage::Aim => &[Set(Field::BatchVolume), Set(Field::WantedGravity), Set(Field::WantedBitterness)],
        Stage::Water => &[
            Gives(Figure::TotalWater),
            Gives(Figure::DistilledWater),
            Gives(Figure::Metabisulfite),
            Gives(Figure::SofteningLime),
        ],
        Stage::Grist => &[Gives(Figure::GristMass)],
        Stage::Mash => &[
            Gives(Figure::MashWater),
            Gives(Figure::StrikeTemperature),
            Set(Field::MashTemperature),
            Set(Field::MashTime),
            Set(Field::MashOut),
            Set(Field::Rinse),
            Gives(Figure::RinseAcid),
            Gives(Figure::MashAcid),
            Gives(Figure::MashBase),
            Gives(Figure::MashPhNow),
        ],
        Stage::FirstBoil => &[
            Gives(Figure::PreBoilVolume),
            Gives(Figure::PreBoilGravity),
            Set(Field::ClearBoil),
            Set(Field::StarterWort),
        ],
        Stage::AcidDrop => &[Set(Field::DropPh), Gives(Figure::DropAcid)],
        Stage::Souring => &[Set(Field::SourTemperature), Set(Field::SourPh), Gives(Figure::SourTime)],
        Stage::MainBoil => &[
            Set(Field::MainBoil),
            Set(Field::Stand),
            Gives(Figure::BitternessFigure),
            Gives(Figure::OriginalGravity),
            Gives(Figure::FermenterVolume),
        ],
        Stage::Ferment => &[
            Set(Field::FermentTemperature),
            Gives(Figure::YeastCells),
            Gives(Figure::DryYeast),
            Gives(Figure::YeastPacks),
            Gives(Figure::YeastSlurry),
            Gives(Figure::OxygenTime),
            Gives(Figure::FinalGravity),
            Gives(Figure::AlcoholBeforeFruit),
        ],
        Stage::Fruit => &[
            Gives(Figure::FruitedVolume),
            Gives(Figure::RoomLeft),
            Gives(Figure::FruitedPh),
            Gives(Figure::FruitedGravity),
            Gives(Figure::FruitedAlcohol),
        ],
        Stage::Package => &[
            Gives(Figure::PackagedVolume),
            Set(Field::Carbonation),
            Gives(Figure::PrimingSugar),
            Set(Field::ServingTemperature),
            Gives(Figure::KegPressure),
            Set(Field::Warmest),
            Gives(Figure::PackagePressure),
        ],
    }
}

/// The brew sheet of a batch: what goes in and what is aimed at, in the order of the day, then the readings so
/// far and the notes. What is not known, and what is not used, is left out.
pub fn sheet(batch: &Batch, plan: &Plan) -> Vec<Section> {
    let stages = Stage::ALL.iter().map(|&stage| {
        let mut lines = things(batch, plan, stage);
        for row in rows(stage) {
            let (label, amount) = match *row {
                Set(field) => (field.spec().label, Slot::Of(field).effective(batch)),
                Gives(figure) => (figure.label(), figure.of(&plan.figures).ok().map(|shown| shown.value)),
            };
            // No water kept back, no stand: nothing to do.
            if let Some(amount) = amount.filter(|amount| amount.base() != 0.0) {
                lines.push(say![label, ": ", amount]);
            }
        }
        Section { title: stage.title(), lines }
    });
    let mut sections: Vec<Section> = stages.collect();
    let lines = ReadingKind::ALL.iter().filter_map(|&kind| read(batch, kind)).collect();
    sections.push(Section { title: "Readings", lines });
    let notes = (!batch.notes.is_empty()).then(|| say![batch.notes.clone()]);
    sections.push(Section { title: "Notes", lines: notes.into_iter().collect() });
    sections.retain(|section| !section.lines.is_empty());
    sections
}

/// What goes in at a stage, and in which form.
fn things(batch: &Batch, plan: &Plan, stage: Stage) -> Vec<Sentence> {
    let small = |mass: Mass| mass.amount().seen_as(Dimension::SmallMass);
    let mut lines = Vec::new();
    match stage {
        Stage::Water => {
            for line in &plan.salts {
                let mut says = say![small(line.mash), " ", line.salt.name()];
                if line.rinse > Mass::ZERO {
                    says.extend(say![" into the mash water, ", small(line.rinse), " into the rinse water"]);
                }
                lines.push(says);
            }
        }
        Stage::Grist => {
            for (malt, line) in batch.grist.iter().zip(&plan.malts) {
                let class = line.class.data().name;
                let Some(mass) = line.mass else { continue };
                let mut says = say![mass.amount(), " ", class];
                if !malt.name.is_empty() {
                    says.extend(say![", ", malt.name.clone()]);
                }
                lines.push(says);
            }
        }
        Stage::Mash => {
            for (place, how) in plan.rests.iter().enumerate() {
                let rest = |field| Slot::Rest(place, field).effective(batch);
                let (Some(at), Some(time)) = (rest(RestField::Temperature), rest(RestField::Time)) else {
                    continue;
                };
                let mut says = say!["Then rest at ", at, " for ", time, ". "];
                says.extend(how.iter().cloned());
                lines.push(says);
            }
        }
        Stage::AcidDrop => lines.push(say![batch.choices.acid.name()]),
        Stage::Souring => lines.push(say![batch.choices.culture.name()]),
        Stage::MainBoil => {
            for (place, hop) in batch.hops.iter().enumerate() {
                let Some(mass) = Slot::Hop(place, HopField::Mass).get(batch) else { continue };
                let mut says = say![mass, " hops"];
                if !hop.name.is_empty() {
                    says.extend(say![", ", hop.name.clone()]);
                }
                if let Some(alpha) = Slot::Hop(place, HopField::Alpha).effective(batch) {
                    says.extend(say![", ", alpha, " alpha"]);
                }
                says.extend(say![". ", hop.time.name()]);
                if let Some(minutes) = Slot::Hop(place, HopField::Minutes).get(batch)
                    && hop.time == HopTime::Boil
                {
                    says.extend(say![": ", minutes]);
                }
                lines.push(says);
            }
        }
        Stage::Fruit => {
            for (place, addition) in batch.fruit.iter().enumerate() {
                if let Some(mass) = Slot::Fruit(place, FruitField::Mass).get(batch) {
                    lines.push(say![mass, " ", addition.called(), ". ", addition.place.name()]);
                }
            }
        }
        Stage::Package => lines.push(say!["In: ", batch.choices.package.name()]),
        _ => {}
    }
    lines
}

/// The readings of one kind: all of a few, of many how many there are, the first and the last.
fn read(batch: &Batch, kind: ReadingKind) -> Option<Sentence> {
    const FEW: usize = 3;
    let all: Vec<&Reading> = batch.readings.of(kind).collect();
    let (first, last) = (all.first()?, all.last()?);
    let mut says = say![kind.spec().label, ": "];
    let one = |reading: &Reading| say![reading.value, ", ", reading.at];
    if all.len() <= FEW {
        for (place, reading) in all.iter().enumerate() {
            if place > 0 {
                says.extend(say!["; "]);
            }
            says.extend(one(reading));
        }
    } else {
        says.extend(say![all.len().to_string(), " times, from "]);
        says.extend(one(first));
        says.extend(say![" to "]);
        says.extend(one(last));
    }
    Some(says)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::plan;
    use crate::say::Piece;
    use crate::testing::{any_batch, finished_batch};
    use proptest::prelude::*;

    #[test]
    fn a_finished_batch_has_every_part_in_order() {
        let batch = finished_batch().data;
        let sheet = sheet(&batch, &plan(&batch));
        let titles: Vec<&str> = sheet.iter().map(|section| section.title).collect();
        let stages = Stage::ALL.iter().map(|stage| stage.title());
        assert_eq!(titles, stages.chain(["Readings"]).collect::<Vec<_>>());
        // Each kind of reading once, however often it was read.
        assert_eq!(sheet.last().unwrap().lines.len(), 15);
        // Malts, hops and fruit stand with their amounts.
        let amounts = |title: &str| {
            let section = sheet.iter().find(|section| section.title == title).unwrap();
            section.lines.iter().filter(|line| matches!(line[0], Piece::Amount(_))).count()
        };
        assert_eq!((amounts(Stage::Grist.title()), amounts(Stage::Fruit.title())), (3, 2));
    }

    proptest! {
        #[test]
        fn no_number_on_it_is_wild_and_no_part_empty(batch in any_batch()) {
            for section in sheet(&batch, &plan(&batch)) {
                prop_assert!(!section.lines.is_empty(), "{}", section.title);
                for piece in section.lines.iter().flatten() {
                    if let Piece::Amount(amount) = piece {
                        prop_assert!(amount.is_finite(), "{}: {:?}", section.title, amount);
                    }
                }
            }
        }
    }
}
