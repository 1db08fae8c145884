//! A batch in a link: all of it stands behind the `#` of the page's own address, so that it opens without a
//! network and is never sent to a host.
//!
//! The text is a letter for its form, then in base64url (RFC 4648, no padding): how many bytes are squeezed,
//! seven bits a byte, the lowest first; a checksum of four bytes; and the stored text of the batch, squeezed.

use super::KeepError;
use super::envelope::{Envelope, Opened, decode, stored_text};
use super::keepsake::fingerprint;
use super::squeeze::{squeeze, unsqueeze};
use crate::house::House;

/// The most characters a batch may take in a link. Browsers take 80,000 and more; messengers far fewer.
pub const MOST_LINK: usize = 60_000;

/// How much of a batch goes into a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// All of it.
    Whole,
    /// What is planned: no readings, ticks, timers, tastings or house numbers.
    Recipe,
}

/// Why a link could not be read, or a batch not be put into one.
#[derive(Clone, Debug, PartialEq)]
pub enum LinkError {
    /// It would be, or is, longer than [`MOST_LINK`]; how long it is.
    TooLong(usize),
    /// A form that only a newer version can read.
    NewerForm,
    /// The batch in it has a newer schema.
    NewerSchema(u32),
    /// Its end is missing.
    CutShort,
    /// It was changed on its way.
    Changed,
    /// The batch in it cannot be read or written.
    Batch(KeepError),
}

impl std::fmt::Display for LinkError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::TooLong(_) => "It is too long for a link. A keepsake file takes any length.",
            Self::NewerForm | Self::NewerSchema(_) => {
                "A newer version of Tartwright made this link. Update here, then open it again."
            }
            Self::CutShort => "The end of the link is missing. Ask for it again, or for a keepsake file.",
            Self::Changed => "The link was changed on its way. Ask for it again, or for a keepsake file.",
            Self::Batch(why) => return why.fmt(f),
        })
    }
}

impl std::error::Error for LinkError {}

impl From<KeepError> for LinkError {
    fn from(why: KeepError) -> Self {
        Self::Batch(why)
    }
}

/// The batch that a link carries of this one: itself, or what is planned in it as a batch of its own, whose
/// identity follows from its content.
///
/// # Errors
/// [`KeepError`] for a batch that is not sound.
pub fn part(envelope: &Envelope, part: Part) -> Result<Envelope, KeepError> {
    if part == Part::Whole {
        return Ok(envelope.clone());
    }
    let data = &envelope.data;
    let mut recipe = data.again(data.id.clone(), data.name.clone(), data.begun, House::default());
    recipe.invented = data.invented;
    let text = stored_text(&Envelope::new(recipe.clone()))?;
    recipe.id = format!("r{:016x}", fingerprint(text.bytes()));
    Ok(Envelope::new(recipe))
}

/// The form of link this version writes and reads. Letters after it are newer forms.
const FORM: char = 'a';

/// The text of a link with this batch, to stand behind `#/open/`.
///
/// # Errors
/// [`LinkError::TooLong`], or [`LinkError::Batch`] for a batch that is not sound.
pub fn write(envelope: &Envelope, of: Part) -> Result<String, LinkError> {
    let stored = stored_text(&part(envelope, of)?)?;
    // It could be squeezed, but not be read again.
    if stored.len() > MOST_TEXT {
        return Err(LinkError::TooLong(stored.len()));
    }
    let text = framed(&squeeze(&stored));
    if text.len() > MOST_LINK {
        return Err(LinkError::TooLong(text.len()));
    }
    Ok(text)
}

/// The text of a link that holds these bytes.
fn framed(small: &[u8]) -> String {
    let mut bytes = Vec::with_capacity(small.len() + 8);
    let mut count = small.len();
    while count > 0x7f {
        bytes.push(count as u8 | 0x80);
        count >>= 7;
    }
    bytes.push(count as u8);
    bytes.extend(checksum(small));
    bytes.extend(small);
    let mut text = String::from(FORM);
    to_base64(&bytes, &mut text);
    text
}

/// A link as nobody's app makes it, its frame and checksum right: around any bytes, or around any text squeezed.
#[cfg(any(test, feature = "testing"))]
pub mod forged {
    /// Around these bytes.
    pub fn of_bytes(small: &[u8]) -> String {
        super::framed(small)
    }

    /// Around this text, squeezed. It must hold no NUL.
    pub fn of_text(stored: &str) -> String {
        super::framed(&super::squeeze(stored))
    }
}

/// The batch that a link holds, brought to the present schema.
///
/// # Errors
/// [`LinkError`] says why there is none.
pub fn read(text: &str) -> Result<Envelope, LinkError> {
    let text = text.trim();
    if text.len() > MOST_LINK {
        return Err(LinkError::TooLong(text.len()));
    }
    let mut letters = text.chars();
    match letters.next() {
        Some(FORM) => {}
        Some('b'..='z') => return Err(LinkError::NewerForm),
        Some(_) => return Err(LinkError::Changed),
        None => return Err(LinkError::CutShort),
    }
    let (bytes, clean) = of_base64(letters.as_str()).ok_or(LinkError::Changed)?;
    let (mut count, mut shift, mut place) = (0_usize, 0, 0);
    loop {
        let byte = *bytes.get(place).ok_or(LinkError::CutShort)?;
        place += 1;
        count |= usize::from(byte & 0x7f) << shift;
        shift += 7;
        if byte < 0x80 {
            break;
        }
        // No link within the limit needs a third.
        if shift > 14 {
            return Err(LinkError::Changed);
        }
    }
    let (sum, small) = bytes[place..].split_at_checked(SUM).ok_or(LinkError::CutShort)?;
    if small.len() < count {
        return Err(LinkError::CutShort);
    }
    if !clean || small.len() > count || checksum(small) != *sum {
        return Err(LinkError::Changed);
    }
    let stored = unsqueeze(small, MOST_TEXT).ok_or(LinkError::Changed)?;
    match decode(&stored)? {
        Opened::Current(envelope) => Ok(*envelope),
        Opened::Newer(newer) => Err(LinkError::NewerSchema(newer.schema)),
    }
}

/// Bytes of the checksum.
const SUM: usize = 4;
/// The most bytes a stored batch in a link may have: a small link could be made to hold endlessly many, and each
/// takes its time. That is a hundred times a finished batch with sixty readings.
const MOST_TEXT: usize = 1 << 18;

fn checksum(small: &[u8]) -> [u8; SUM] {
    let sum = fingerprint(small.iter().copied());
    ((sum >> 32) as u32 ^ sum as u32).to_le_bytes()
}

const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

fn to_base64(bytes: &[u8], text: &mut String) {
    let (mut held, mut bits) = (0_u32, 0);
    // Zeros behind the last byte fill up its last letter.
    for &byte in bytes {
        held = held << 8 | u32::from(byte);
        bits += 8;
        while bits >= 6 {
            bits -= 6;
            text.push(char::from(LETTERS[(held >> bits & 63) as usize]));
        }
    }
    if bits > 0 {
        text.push(char::from(LETTERS[(held << (6 - bits) & 63) as usize]));
    }
}

/// The bytes, and whether nothing but zeros is left over; nothing when there is a letter of another alphabet.
fn of_base64(text: &str) -> Option<(Vec<u8>, bool)> {
    let (mut bytes, mut held, mut bits) = (Vec::with_capacity(text.len()), 0_u32, 0);
    for letter in text.bytes() {
        held = held << 6 | LETTERS.iter().position(|&other| other == letter)? as u32;
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            bytes.push((held >> bits) as u8);
        }
    }
    Some((bytes, bits < 6 && held & ((1 << bits) - 1) == 0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keep::SCHEMA;
    use crate::testing::{any_envelope, finished_batch};
    use proptest::prelude::*;

    #[test]
    fn sizes() {
        let batch = finished_batch();
        let (whole, recipe) = (write(&batch, Part::Whole).unwrap(), write(&batch, Part::Recipe).unwrap());
        println!(
            "a finished batch with 60 readings: {} characters, its recipe {}",
            whole.len(),
            recipe.len()
        );
        assert!(whole.len() < 800 && recipe.len() < 260, "{} {}", whole.len(), recipe.len());
    }

    #[test]
    fn a_recipe_is_a_plan_with_nothing_measured() {
        let batch = finished_batch();
        let recipe = part(&batch, Part::Recipe).unwrap();
        assert!(recipe.data.readings.is_empty() && recipe.data.ticks.is_empty());
        assert_eq!((recipe.data.house.clone(), recipe.revision), (House::default(), 0));
        assert_eq!((&recipe.data.grist, &recipe.data.numbers), (&batch.data.grist, &batch.data.numbers));
        assert_ne!(recipe.data.id, batch.data.id);
        // The same plan has the same identity, whatever was measured meanwhile; another plan another.
        let mut later = batch.clone();
        later.data.readings.remove(3);
        later.revision += 1;
        assert_eq!(part(&later, Part::Recipe).unwrap(), recipe);
        later.data.grist.pop();
        assert_ne!(part(&later, Part::Recipe).unwrap().data.id, recipe.data.id);
    }

    #[test]
    fn every_change_and_every_cut_is_refused_with_its_reason() {
        let text = write(&finished_batch(), Part::Recipe).unwrap();
        for end in 0..text.len() {
            assert_eq!(read(&text[..end]), Err(LinkError::CutShort), "cut at {end}");
        }
        for place in 0..text.len() {
            for letter in "aAbzZ09-_.é%".chars().filter(|letter| !text[place..].starts_with(*letter)) {
                let mut changed = text.clone();
                changed.replace_range(place..=place, letter.encode_utf8(&mut [0; 4]));
                assert!(
                    matches!(
                        read(&changed),
                        Err(LinkError::Changed | LinkError::CutShort | LinkError::NewerForm)
                    ),
                    "{letter} at {place}: {:?}",
                    read(&changed)
                );
            }
        }
        assert_eq!(read(&format!("{text}A")), Err(LinkError::Changed));
        assert_eq!(read(&text.replacen(FORM, "b", 1)), Err(LinkError::NewerForm));
        assert!(read(&format!(" {text}\n")).is_ok());
    }

    #[test]
    fn what_is_newer_or_no_batch_is_refused_with_its_reason() {
        let stored = stored_text(&finished_batch()).unwrap();
        assert!(read(&forged::of_text(&stored)).is_ok());
        let newer = stored.replacen(&format!(":{SCHEMA},"), ":99,", 1);
        assert_ne!(newer, stored);
        assert_eq!(read(&forged::of_text(&newer)), Err(LinkError::NewerSchema(99)));
        assert!(matches!(read(&forged::of_text("{}")), Err(LinkError::Batch(KeepError::NotAnEnvelope))));
        assert!(matches!(read(&forged::of_text("no json")), Err(LinkError::Batch(_))));
        assert!(matches!(read(&forged::of_text("")), Err(LinkError::Batch(KeepError::CutShort { .. }))));
        // A small link that would unfold without end.
        assert_eq!(read(&forged::of_text(&" ".repeat(MOST_TEXT + 9))), Err(LinkError::Changed));
    }

    #[test]
    fn a_megabyte_of_junk_is_refused_at_once() {
        for junk in ["a".repeat(1 << 20), "aé".repeat(1 << 19), "{\"schema\":1}".repeat(80_000)] {
            assert_eq!(read(&junk), Err(LinkError::TooLong(junk.len())));
        }
    }

    #[test]
    fn a_batch_too_long_for_a_link_is_refused() {
        let mut batch = finished_batch();
        let mut odd = 1_u32;
        for _ in 0..crate::document::MOST_ITEMS {
            let mut noise = || {
                odd = odd.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                char::from_u32(0x4e00 + (odd >> 20)).unwrap()
            };
            batch.data.waters.push(crate::document::Water {
                name: (0..2_000).map(|_| noise()).collect(),
                ..Default::default()
            });
        }
        batch.data.waters.truncate(crate::document::MOST_ITEMS);
        assert!(matches!(write(&batch, Part::Whole), Err(LinkError::TooLong(length)) if length > MOST_LINK));
    }

    #[test]
    fn a_link_that_could_not_be_opened_is_not_made() {
        let mut batch = finished_batch();
        // Long, but all the same: next to nothing once it is squeezed.
        batch.data.waters =
            vec![
                crate::document::Water { name: "a".repeat(crate::document::MOST_TEXT), ..Default::default() };
                crate::document::MOST_ITEMS
            ];
        assert_eq!(read(&write(&batch, Part::Whole).unwrap()), Ok(batch.clone()));
        let tasting =
            crate::document::Tasting { note: "b".repeat(crate::document::MOST_TEXT), ..Default::default() };
        batch.data.tastings = vec![tasting; crate::document::MOST_NOTED];
        assert!(matches!(write(&batch, Part::Whole), Err(LinkError::TooLong(length)) if length > MOST_TEXT));
        assert!(write(&batch, Part::Recipe).is_ok());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(1000))]

        #[test]
        fn every_batch_comes_through_a_link(batch in any_envelope()) {
            prop_assert_eq!(read(&write(&batch, Part::Whole).unwrap()), Ok(batch.clone()));
            let recipe = part(&batch, Part::Recipe).unwrap();
            prop_assert_eq!(read(&write(&batch, Part::Recipe).unwrap()), Ok(recipe));
        }

    }

    proptest! {
        #[test]
        fn no_text_brings_it_down(junk in "\\PC{0,300}", letters in "a[A-Za-z0-9_-]{0,400}") {
            prop_assert!(read(&junk).is_err());
            prop_assert!(read(&letters).is_err());
        }
    }
}
