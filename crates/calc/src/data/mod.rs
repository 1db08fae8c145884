//! Published tables, each row with its source. Fitted, quoted and assumed
//! values are told apart by their [`Mark`] and never mixed unmarked.

pub mod acid_notes;
pub mod acids;
pub mod cultures;
pub mod fruits;
pub mod malts;
pub mod salts;

/// How far a figure can be trusted, by where it comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Stands in the named publication.
    Published,
    /// Follows from published figures by arithmetic.
    Derived,
    /// Common practice of the trade, no source.
    CommonPractice,
    /// Recalled from memory of the named work, not checked against its text.
    FromMemory,
    /// An engineering estimate of ours.
    OurEstimate,
}

/// Where a figure or an equation comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Source {
    /// Kind of evidence.
    pub mark: Mark,
    /// The work, or what the figure rests on.
    pub text: &'static str,
}

impl Source {
    /// A figure that stands in the named publication.
    pub const fn published(text: &'static str) -> Self {
        Self { mark: Mark::Published, text }
    }
    /// A figure that follows from published ones by arithmetic.
    pub const fn derived(text: &'static str) -> Self {
        Self { mark: Mark::Derived, text }
    }
    /// A figure of the trade without a source.
    pub const fn common_practice(text: &'static str) -> Self {
        Self { mark: Mark::CommonPractice, text }
    }
    /// A figure recalled from the named work.
    pub const fn from_memory(text: &'static str) -> Self {
        Self { mark: Mark::FromMemory, text }
    }
    /// An estimate of ours.
    pub const fn our_estimate(text: &'static str) -> Self {
        Self { mark: Mark::OurEstimate, text }
    }
}
