//! Which documents are sound: every number in its range, every text and list
//! of a length that can be shown and stored.

use super::{Batch, OutOfRange, Slot, Spec};
use calc::quantity::Quantity;

/// Most characters in any text of the document.
pub const MOST_TEXT: usize = 4_000;
/// Most malts, hop charges or fruit additions.
pub const MOST_ITEMS: usize = 24;
/// Most timers or tastings.
pub const MOST_NOTED: usize = 100;
/// Most readings.
pub const MOST_READINGS: usize = 2_000;

/// Why a document is not sound.
#[derive(Clone, Debug, PartialEq)]
pub enum DocumentError {
    /// A number outside its field's range.
    OutOfRange(OutOfRange),
    /// A text longer than [`MOST_TEXT`]; says which, and its length.
    TextTooLong(&'static str, usize),
    /// A list longer than allowed; says which, its length and the most.
    ListTooLong(&'static str, usize, usize),
    /// A batch without an identity.
    NoId,
}

impl std::fmt::Display for DocumentError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::OutOfRange(found) => found.fmt(f),
            Self::TextTooLong(which, length) => {
                write!(f, "The {which} has {length} characters; {MOST_TEXT} is the most.")
            }
            Self::ListTooLong(which, length, most) => {
                write!(f, "There are {length} {which}; {most} is the most.")
            }
            Self::NoId => f.write_str("The batch has no identity."),
        }
    }
}

impl std::fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Spec { label, dimension, low, high, .. } = self.spec;
        let unit = &dimension.units()[0];
        write!(
            f,
            "{label}: {} is outside {} to {}.",
            self.value.text(unit),
            low.entry_text(unit),
            high.text(unit)
        )
    }
}

impl Batch {
    /// Passes a document whose every number is in range and whose texts and
    /// lists are of a bearable length.
    ///
    /// # Errors
    /// The first [`DocumentError`] found.
    pub fn check(&self) -> Result<(), DocumentError> {
        if self.id.is_empty() {
            return Err(DocumentError::NoId);
        }
        let names = self.grist.iter().map(|malt| &malt.name).chain(self.hops.iter().map(|hop| &hop.name));
        let names = names.chain(self.fruit.iter().map(|fruit| &fruit.name));
        let waters = self.waters.iter().map(|water| &water.name).chain([&self.own_finish.name]);
        let texts =
            [("name", &self.name), ("notes", &self.notes), ("identity", &self.id), ("identity", &self.from)]
                .into_iter()
                .chain(names.map(|name| ("name of an ingredient", name)))
                .chain(waters.map(|name| ("name of a water", name)))
                .chain(self.timers.iter().map(|timer| ("name of a timer", &timer.name)))
                .chain(self.tastings.iter().map(|tasting| ("note of a tasting", &tasting.note)))
                .chain(self.readings.iter().map(|reading| ("note of a reading", &reading.note)));
        for (which, text) in texts {
            let length = text.chars().count();
            if length > MOST_TEXT {
                return Err(DocumentError::TextTooLong(which, length));
            }
        }
        for (which, length, most) in [
            ("malts", self.grist.len(), MOST_ITEMS),
            ("hop charges", self.hops.len(), MOST_ITEMS),
            ("fruit additions", self.fruit.len(), MOST_ITEMS),
            ("waters", self.waters.len(), MOST_ITEMS),
            ("salts at hand", self.salts.len(), MOST_ITEMS),
            ("rests", self.rests.len(), MOST_ITEMS),
            ("points of the sample", self.sample.len(), MOST_ITEMS),
            ("readings", self.readings.len(), MOST_READINGS),
            ("ticked steps", self.ticks.len() + self.skips.len(), super::Step::ALL.len()),
            ("timers", self.timers.len(), MOST_NOTED),
            ("tastings", self.tastings.len(), MOST_NOTED),
        ] {
            if length > most {
                return Err(DocumentError::ListTooLong(which, length, most));
            }
        }
        for slot in Slot::all(self) {
            if let Some(value) = slot.get(self) {
                slot.spec().check(value).map_err(DocumentError::OutOfRange)?;
            }
        }
        for reading in self.readings.iter() {
            reading.kind.spec().check(reading.value).map_err(DocumentError::OutOfRange)?;
            if let Some(value) = reading.temperature {
                super::SAMPLE_TEMPERATURE.check(value.amount()).map_err(DocumentError::OutOfRange)?;
            }
        }
        self.house.check().map_err(DocumentError::OutOfRange)
    }
}
