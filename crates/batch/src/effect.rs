//! What a reading changed in the plan, told in a sentence or three.

use crate::document::{Batch, ReadingKind};
use crate::moment::Moment;
use crate::plan::{Figure, Plan, Shown, next_move};
use crate::say::{Sentence, say};

/// Less than this share of its own spread is no change worth telling.
const TELLING: f64 = 0.25;
/// A figure without spread counts as moved by how much of itself it moved.
const OF_ITSELF: f64 = 0.1;

/// The figure that a reading stands for: that it now says the reading is no news.
const fn read_off(kind: ReadingKind, figure: Figure) -> bool {
    matches!(
        (kind, figure),
        (ReadingKind::MashPh, Figure::MashPhNow)
            | (ReadingKind::PreBoilVolume, Figure::PreBoilVolume)
            | (ReadingKind::PreBoilGravity | ReadingKind::PreBoilBrix, Figure::PreBoilGravity)
            | (ReadingKind::WortPh, Figure::WortPh)
            | (ReadingKind::SourPh, Figure::SourPhNow)
            | (ReadingKind::ChillTime, Figure::ChillTime)
            | (ReadingKind::PostBoilVolume, Figure::PostBoilVolume)
            | (ReadingKind::OriginalGravity, Figure::OriginalGravity)
            | (ReadingKind::FermenterVolume, Figure::FermenterVolume)
            | (ReadingKind::Gravity | ReadingKind::Brix, Figure::GravityNow)
    )
}

/// Figures that say again, in another way, what one before them says.
const SAID_AGAIN: &[Figure] = &[
    Figure::MashFirst,
    Figure::MashAcidMalt,
    Figure::DoseWeight,
    Figure::DoseStock,
    Figure::DoseDrops,
    Figure::AcidInWort,
    Figure::TinsethBitterness,
    Figure::RagerBitterness,
    Figure::KettleShare,
    Figure::KettleExtract,
];

/// Whether both would be shown as the same number in some unit that a person may have chosen.
fn looks_the_same(one: Shown, other: Shown) -> bool {
    let units = one.value.dimension.units();
    units.iter().any(|unit| one.value.number_text(unit) == other.value.number_text(unit))
}

/// By how much of its earlier deviation a figure moved.
fn moved(before: Shown, after: Shown) -> f64 {
    let deviation = (before.high.base() - before.low.base()) / 2.563;
    let size = deviation.max(OF_ITSELF * before.value.base().abs());
    if size > 0.0 { (after.value.base() - before.value.base()).abs() / size } else { f64::MAX }
}

/// What a reading changed: the next move, if it is another one now, and the one or two figures that moved most
/// against their spread before it. Empty when it changed nothing that a person would see.
///
/// `before` is the batch without the reading, with its plan; `after` is the batch with it.
pub fn effect(
    before: (&Batch, &Plan),
    after: (&Batch, &Plan),
    kind: ReadingKind,
    now: Moment,
) -> Vec<Sentence> {
    let mut told = Vec::new();
    let next = next_move(after.0, after.1, now).says;
    if next != next_move(before.0, before.1, now).says {
        told.push(next);
    }
    let mut most: [Option<(f64, Figure, Sentence)>; 2] = [None, None];
    for &figure in Figure::ALL {
        if read_off(kind, figure) || SAID_AGAIN.contains(&figure) {
            continue;
        }
        let (was, is) = (figure.of(&before.1.figures), figure.of(&after.1.figures));
        let (by, says) = match (was, is) {
            (Ok(was), Ok(is)) if !looks_the_same(was, is) => {
                (moved(was, is), say![figure.label(), ": was ", was.value, ", now ", is.value, "."])
            }
            (Err(_), Ok(is)) => (1.0, say![figure.label(), ": ", is.value, "."]),
            _ => continue,
        };
        if by < TELLING {
            continue;
        }
        let found = Some((by, figure, says));
        let beats = |place: &Option<(f64, Figure, Sentence)>| place.as_ref().is_none_or(|best| by > best.0);
        let same_stage = |place: &Option<(f64, Figure, Sentence)>| {
            place.as_ref().is_some_and(|best| best.1.stage() == figure.stage())
        };
        // The two come from different stages: neighbours mostly say the same.
        if beats(&most[0]) {
            if !same_stage(&most[0]) {
                most[1] = most[0].take();
            }
            most[0] = found;
        } else if !same_stage(&most[0]) && beats(&most[1]) {
            most[1] = found;
        }
    }
    told.extend(most.into_iter().flatten().map(|(_, _, says)| says));
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::demo;
    use crate::document::{Reading, Step};
    use crate::plan::plan;
    use crate::say::Piece;
    use crate::testing::any_batch;
    use calc::quantity::{Amount, Duration};
    use proptest::prelude::*;

    fn with(batch: &Batch, kind: ReadingKind, base: f64, hours: f64) -> Batch {
        let mut after = batch.clone();
        after.readings.add(Reading {
            kind,
            value: Amount::in_base(kind.spec().dimension, base),
            at: batch.begun + Duration::hours(hours),
            temperature: None,
            note: String::new(),
        });
        after
    }

    fn told(before: &Batch, after: &Batch, kind: ReadingKind) -> Vec<String> {
        let now = before.begun + Duration::hours(0.3);
        let lines = effect((before, &plan(before)), (after, &plan(after)), kind, now);
        lines.iter().map(crate::report::text).collect()
    }

    #[test]
    fn a_mash_that_reads_high_asks_for_acid() {
        let mut batch = demo("x".to_owned(), Moment::from_seconds(1_000_000));
        batch.tick(Step::Salts, Some(batch.begun));
        batch.tick(Step::MashIn, Some(batch.begun));
        let lines = told(&batch, &with(&batch, ReadingKind::MashPh, 5.75, 0.25), ReadingKind::MashPh);
        assert!(lines.iter().any(|line| line.contains("Stir in")), "{lines:?}");
        assert!(lines.iter().any(|line| line.starts_with("Wort pH now: was ")), "{lines:?}");
        assert!((2..=3).contains(&lines.len()), "{lines:?}");
    }

    #[test]
    fn the_same_plan_has_no_effect() {
        let batch = demo("x".to_owned(), Moment::from_seconds(1_000_000));
        assert_eq!(told(&batch, &batch, ReadingKind::MashPh), [""; 0]);
        // A newer reading stands in place of an older one.
        let later = with(&batch, ReadingKind::OriginalGravity, 11.0, 9.0);
        let both = with(&later, ReadingKind::OriginalGravity, 13.0, 8.99);
        assert_eq!(told(&later, &both, ReadingKind::OriginalGravity), [""; 0]);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(256))]

        #[test]
        fn what_is_told_is_true(batch in any_batch(), place in 0..ReadingKind::ALL.len(), share in 0.0..=1.0f64, hours in 0.0..500.0f64) {
            let kind = ReadingKind::ALL[place];
            let (low, high) = (kind.spec().low.base(), kind.spec().high.base());
            let after = with(&batch, kind, low + share * (high - low), hours);
            let now = batch.begun + Duration::hours(hours);
            let (one, other) = (plan(&batch), plan(&after));
            let lines = effect((&batch, &one), (&after, &other), kind, now);
            prop_assert!(lines.len() <= 3);
            for line in lines {
                if line == next_move(&after, &other, now).says {
                    prop_assert_ne!(&line, &next_move(&batch, &one, now).says);
                    continue;
                }
                let Some(Piece::Words(label)) = line.first() else { panic!("{line:?}") };
                let amounts: Vec<Amount> = line.iter().filter_map(|piece| match piece {
                    Piece::Amount(amount) => Some(*amount),
                    _ => None,
                }).collect();
                // Some labels are shared: any figure of that name whose numbers are these.
                let true_of = |figure: &&Figure| {
                    let (was, is) = (figure.of(&one.figures), figure.of(&other.figures));
                    figure.label() == *label && match amounts[..] {
                        [first, second] => {
                            was.is_ok_and(|was| was.value == first) && is.is_ok_and(|is| is.value == second)
                                && first.base() != second.base()
                        }
                        [only] => was.is_err() && is.is_ok_and(|is| is.value == only),
                        _ => false,
                    }
                };
                prop_assert!(Figure::ALL.iter().any(|figure| true_of(&figure)), "{line:?}");
            }
        }
    }
}
