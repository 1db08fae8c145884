//! The brew sheet: the whole batch on one page, in the order of the day.

use crate::document::Batch;
use crate::moment::Moment;
use crate::plan::Plan;
use crate::say::{Sentence, say};

/// One part of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Its heading.
    pub title: &'static str,
    /// Its lines, each with its amounts.
    pub lines: Vec<Sentence>,
}

/// The brew sheet of a batch: what goes in and what is aimed at, in the order of the day, with the readings so
/// far. Parts with nothing in them are left out.
pub fn sheet(batch: &Batch, _plan: &Plan, _now: Moment) -> Vec<Section> {
    vec![Section { title: "Batch", lines: vec![say![batch.name.clone()]] }]
}
