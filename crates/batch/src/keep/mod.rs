//! How batches are kept: the envelope around a stored batch, the steps from
//! older schemas, and the keepsake file.
//!
//! Nothing here touches a browser: text in, text out.
//!
//! Three promises hold for ever, and each has a test:
//! - a batch that was saved reads back as it was, in this and every later version;
//! - a text that cannot be read is handed back whole, with the reason;
//! - merging a keepsake loses nothing: what it replaces is named first and returned.

mod envelope;
mod keepsake;
pub mod link;
mod migrate;
mod packed;
mod squeeze;

pub use envelope::{Envelope, Newer, Opened, Peeked, Summary, decode, encode, peek, stored_text};
pub use keepsake::{
    Action, Contents, DamagedRecord, KEEPSAKE, Keepsake, Merged, Planned, SetAside, Stamp, merge, preview,
    read, write,
};
pub use migrate::SCHEMA;
pub use packed::{pack, unpack};

use crate::document::{DocumentError, MOST_TEXT};

/// Days a deleted batch can still be brought back.
pub const DAYS_KEPT: i64 = 30;

/// Why a stored text could not be read, or a batch not be written.
#[derive(Clone, Debug, PartialEq)]
pub enum KeepError {
    /// The text ends before it is complete.
    CutShort {
        /// Line of the end, from 1.
        line: usize,
        /// Column of the end, from 1.
        column: usize,
    },
    /// The text is no JSON.
    NotJson {
        /// Line of the first fault, from 1.
        line: usize,
        /// Column of the first fault, from 1.
        column: usize,
    },
    /// JSON, but no stored batch.
    NotAnEnvelope,
    /// JSON, but no keepsake.
    NotAKeepsake,
    /// A keepsake in a form that only a newer version can read.
    NewerKeepsake(u32),
    /// A name in the text that this version does not know.
    UnknownField(String),
    /// A schema that never existed.
    NoSuchSchema(u32),
    /// Something in the text has the wrong form.
    Damaged(String),
    /// The batch reads well but is not sound.
    Document(DocumentError),
    /// It reads well, but another text of the same batch is in the book.
    Twice,
}

impl std::fmt::Display for KeepError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::CutShort { line, column } => write!(
                f,
                "The text stops too early, at line {line}, column {column}: its end is missing. Nothing was changed."
            ),
            Self::NotJson { line, column } => {
                write!(f, "The text is garbled at line {line}, column {column}. Nothing was changed.")
            }
            Self::NotAnEnvelope => f.write_str("This is not a saved batch."),
            Self::NotAKeepsake => f.write_str("This is not a keepsake file. Nothing was changed."),
            Self::NewerKeepsake(form) => write!(
                f,
                "A newer version of Tartwright made this keepsake (form {form}; this version reads form {KEEPSAKE}). \
                 Nothing was changed. Update, then try again."
            ),
            Self::UnknownField(name) => write!(f, "It holds “{name}”, which this version does not know."),
            Self::NoSuchSchema(schema) => write!(f, "It says it has schema {schema}, which never existed."),
            Self::Damaged(what) => write!(f, "It is damaged: {what}."),
            Self::Document(why) => why.fmt(f),
            Self::Twice => {
                f.write_str("It reads well, but the batch book has another text of the same batch.")
            }
        }
    }
}

impl std::error::Error for KeepError {}

impl From<DocumentError> for KeepError {
    fn from(why: DocumentError) -> Self {
        Self::Document(why)
    }
}

/// The beginning of a text that may be a whole book.
pub(crate) fn short(text: &str) -> String {
    const MOST: usize = 120;
    match text.char_indices().nth(MOST) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}

/// A name with an addition, where the addition leaves it short enough to keep.
fn name_with(name: &str, addition: &str) -> String {
    if name.chars().count() + addition.chars().count() > MOST_TEXT {
        return name.to_owned();
    }
    format!("{name}{addition}")
}
