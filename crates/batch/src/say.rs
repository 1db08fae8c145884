//! Sentences with amounts in them: the view puts the amounts into the
//! person's own units.

use crate::moment::Moment;
use calc::quantity::Amount;

/// A part of a sentence.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
    /// Words as they are.
    Words(&'static str),
    /// A name that a person or a table gave.
    Name(String),
    /// An amount, shown in the person's unit.
    Amount(Amount),
    /// A point in time, shown on the person's clock.
    Time(Moment),
}

/// A sentence in pieces.
pub type Sentence = Vec<Piece>;

impl From<&'static str> for Piece {
    fn from(words: &'static str) -> Self {
        Self::Words(words)
    }
}

impl From<String> for Piece {
    fn from(name: String) -> Self {
        Self::Name(name)
    }
}

impl From<Moment> for Piece {
    fn from(moment: Moment) -> Self {
        Self::Time(moment)
    }
}

impl From<Amount> for Piece {
    fn from(amount: Amount) -> Self {
        Self::Amount(amount)
    }
}

/// Builds a [`Sentence`] from words, names, amounts and times.
macro_rules! say {
    ($($piece:expr),+ $(,)?) => { vec![$($crate::say::Piece::from($piece)),+] };
}
pub(crate) use say;
