//! What could go wrong, how to avoid it, and who decides.

use crate::document::Stage;
use crate::say::Sentence;

/// How much a warning matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// Worth knowing.
    Note,
    /// The batch could suffer.
    Caution,
    /// Someone could be hurt, or the batch lost: do not go on like this.
    Stop,
}

impl Level {
    /// The word shown beside the sign.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "Note",
            Self::Caution => "Caution",
            Self::Stop => "Stop",
        }
    }
}

/// A warning of the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Warning {
    /// Where it belongs.
    pub stage: Stage,
    /// How much it matters.
    pub level: Level,
    /// What could happen and how to avoid it.
    pub says: Sentence,
}
