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
