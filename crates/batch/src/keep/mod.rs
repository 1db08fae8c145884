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

#[cfg(any(test, feature = "testing"))]
pub(crate) use envelope::text_of;
pub use envelope::{Envelope, Newer, Opened, Peeked, Summary, decode, encode, peek, stored_text};
pub use keepsake::{
    Action, Contents, DamagedRecord, KEEPSAKE, Keepsake, Merged, Planned, SetAside, Stamp, merge, preview,
    read, write,
};
pub use migrate::{SCHEMA, migrate};
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

impl KeepError {
    /// What is wrong with a text that the JSON reader refused.
    fn in_text(text: &str, error: serde_json::Error) -> Self {
        // The reader calls a number that stops at its sign, point or exponent wrong, not short.
        let cut_number = text.trim_end().ends_with(['-', '+', '.', 'e', 'E']);
        match error.into() {
            Self::NotJson { line, column } if cut_number && ends_at(text.trim_end(), line, column) => {
                Self::CutShort { line, column }
            }
            why => why,
        }
    }
}

/// Passes JSON that is an object; `otherwise` is what any other JSON is.
fn object(text: &str, otherwise: KeepError) -> Result<(), KeepError> {
    if text.trim_start().starts_with('{') {
        return Ok(());
    }
    match serde_json::from_str::<serde::de::IgnoredAny>(text) {
        Ok(_) => Err(otherwise),
        Err(error) => Err(KeepError::in_text(text, error)),
    }
}

/// True when the text has nothing behind this place.
fn ends_at(text: &str, line: usize, column: usize) -> bool {
    let last = text.rsplit('\n').next().unwrap_or(text);
    line == text.split('\n').count() && column >= last.len()
}

impl From<serde_json::Error> for KeepError {
    fn from(error: serde_json::Error) -> Self {
        let (line, column) = (error.line(), error.column());
        match error.classify() {
            serde_json::error::Category::Eof => Self::CutShort { line, column },
            serde_json::error::Category::Syntax => Self::NotJson { line, column },
            // Neither carries more than its words; a reader from memory has no input or output that could fail.
            serde_json::error::Category::Data | serde_json::error::Category::Io => {
                let words = error.to_string();
                match words.strip_prefix("unknown field `").and_then(|rest| rest.split_once('`')) {
                    Some((name, _)) => Self::UnknownField(short(name)),
                    // What would have been right is a list of every name there is: no help to a person.
                    None => {
                        let (what, _) = words.split_once(", expected one of").unwrap_or((&words, ""));
                        let (what, _) = what.rsplit_once(" at line ").unwrap_or((what, ""));
                        Self::Damaged(format!("{} at line {line}, column {column}", short(what)))
                    }
                }
            }
        }
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
