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

/// What can stand in a sentence.
pub(crate) trait Says {
    /// Puts it at the end.
    fn onto(self, sentence: &mut Sentence);
}

// One call for each piece, never inlined: the plan has hundreds of sentences, and their code is downloaded.

impl Says for &'static str {
    #[inline(never)]
    fn onto(self, sentence: &mut Sentence) {
        sentence.push(Piece::Words(self));
    }
}

impl Says for String {
    #[inline(never)]
    fn onto(self, sentence: &mut Sentence) {
        sentence.push(Piece::Name(self));
    }
}

impl Says for Moment {
    #[inline(never)]
    fn onto(self, sentence: &mut Sentence) {
        sentence.push(Piece::Time(self));
    }
}

impl Says for Amount {
    #[inline(never)]
    fn onto(self, sentence: &mut Sentence) {
        sentence.push(Piece::Amount(self));
    }
}

/// Builds a [`Sentence`] from words, names, amounts and times.
macro_rules! say {
    ($($piece:expr),+ $(,)?) => {{
        let mut sentence = $crate::say::Sentence::new();
        $( $crate::say::Says::onto($piece, &mut sentence); )+
        sentence
    }};
}
pub(crate) use say;
