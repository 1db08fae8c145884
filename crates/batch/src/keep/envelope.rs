//! The envelope around one stored batch.
//!
//! ```json
//! {"schema":1,"app":"0.1.0","revision":7,"saved_s":1754300000,"data":{"id":"…","name":"…"}}
//! ```
//!
//! `saved_s` and `deleted_s` are seconds since 1970 UTC; `deleted_s` is there
//! only for a deleted batch. These keys never change, and neither do `id` and
//! `name` inside `data`: an older version can always name what it cannot read.

use super::migrate::{SCHEMA, migrate};
use super::packed::{pack, unpack};
use super::{KeepError, object};
use crate::document::Batch;
use crate::json::{Kept as _, Object};
use crate::moment::Moment;
use calc::quantity::settled_text;
use serde::{Deserialize, Serialize as _};
use serde_json::Value;
use serde_json::ser::Formatter;
use std::io;

/// One stored batch, as it is in memory: always of the present schema.
#[derive(Clone, Debug, PartialEq)]
pub struct Envelope {
    /// Version of the app that wrote it.
    pub app: String,
    /// Counts the saves; zero for what was never saved.
    pub revision: u32,
    /// When it was last saved.
    pub saved: Moment,
    /// When it was deleted, if it was.
    pub deleted: Option<Moment>,
    /// The batch.
    pub data: Batch,
}

impl Envelope {
    /// A batch that was never saved.
    pub fn new(data: Batch) -> Self {
        Self { app: APP.to_owned(), revision: 0, saved: data.begun, deleted: None, data }
    }

    /// What a list shows of it.
    pub fn summary(&self) -> Summary {
        Summary {
            id: self.data.id.clone(),
            name: self.data.name.clone(),
            invented: self.data.invented,
            revision: self.revision,
            saved: self.saved,
            deleted: self.deleted,
        }
    }
}

/// This version's own number.
pub(super) const APP: &str = env!("CARGO_PKG_VERSION");

/// What a list shows of a stored batch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// The batch's identity.
    pub id: String,
    /// What the person calls it.
    pub name: String,
    /// An invented example.
    pub invented: bool,
    /// Counts the saves.
    pub revision: u32,
    /// When it was last saved.
    pub saved: Moment,
    /// When it was deleted, if it was.
    pub deleted: Option<Moment>,
}

/// A stored batch of a schema that is yet to come: it can be named, shown as
/// text and exported, never changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Newer {
    /// Its schema.
    pub schema: u32,
    /// Its identity, where it can be read.
    pub id: Option<String>,
    /// Its name, where it can be read.
    pub name: Option<String>,
    /// The text as it is stored.
    pub raw: String,
}

/// What a stored text turned out to be.
#[derive(Clone, Debug, PartialEq)]
pub enum Opened {
    /// A batch, brought to the present schema.
    Current(Box<Envelope>),
    /// A batch of a newer schema.
    Newer(Newer),
}

/// What a stored text turned out to be at a glance.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Peeked {
    /// A batch.
    Current(Summary),
    /// A batch of a newer schema.
    Newer(Newer),
}

/// The one thing that every envelope has.
#[derive(Deserialize)]
struct Schema {
    schema: Option<u32>,
}

/// What is read at a glance.
#[derive(Deserialize)]
struct Head {
    schema: u32,
    revision: u32,
    saved_s: Moment,
    #[serde(default)]
    deleted_s: Option<Moment>,
    data: Label,
}

/// How a batch is named.
#[derive(Deserialize)]
struct Label {
    id: String,
    name: String,
    #[serde(default)]
    invented: bool,
}

/// The text of an envelope: compact JSON. The browser's store keeps it packed
/// ([`stored_text`]), the keepsake as it is.
///
/// Numbers are written with ten significant digits (see [`settled`](calc::quantity::settled)).
///
/// # Errors
/// [`KeepError::Document`] for a batch that is not sound: it could not be read
/// again, so it is not written.
pub fn encode(envelope: &Envelope) -> Result<String, KeepError> {
    let Envelope { app, revision, saved, deleted, data } = envelope;
    data.check()?;
    let text = |value: Value| text_of(&value);
    let mut out = format!("{{\"schema\":{SCHEMA},\"app\":");
    out.push_str(&text(app.to_json())?);
    for (key, value) in [
        ("revision", Some(i64::from(*revision))),
        ("saved_s", Some(saved.as_seconds())),
        ("deleted_s", deleted.map(Moment::as_seconds)),
    ] {
        if let Some(value) = value {
            out.push_str(",\"");
            out.push_str(key);
            out.push_str("\":");
            out.push_str(&text(value.to_json())?);
        }
    }
    out.push_str(",\"data\":");
    out.push_str(&text(data.to_json())?);
    out.push('}');
    Ok(out)
}

/// The text to store for an envelope: [`encode`], packed.
///
/// # Errors
/// As [`encode`].
pub fn stored_text(envelope: &Envelope) -> Result<String, KeepError> {
    Ok(pack(&encode(envelope)?))
}

/// Compact JSON with settled numbers.
pub(crate) fn text_of(value: &Value) -> Result<String, KeepError> {
    let mut bytes = Vec::with_capacity(2048);
    value.serialize(&mut serde_json::Serializer::with_formatter(&mut bytes, Settled))?;
    String::from_utf8(bytes).map_err(|_| KeepError::Damaged("a text that is no Unicode".to_owned()))
}

/// Compact JSON with settled numbers: amounts typed in one unit and kept in another have seventeen digits, of
/// which the last are noise. They would double the size of a stored batch, and reading them back without loss
/// takes 23 kB of code; ten digits read back exactly with the plain reader.
struct Settled;

impl Formatter for Settled {
    fn write_f64<W: ?Sized + io::Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        writer.write_all(settled_text(value).as_bytes())
    }
}

/// Reads the text of an envelope, packed or not.
///
/// # Errors
/// [`KeepError`]; the text itself is the caller's to set aside.
pub fn decode(text: &str) -> Result<Opened, KeepError> {
    decode_plain(text, &unpack(text))
}

fn decode_plain(raw: &str, text: &str) -> Result<Opened, KeepError> {
    let schema = schema_of(text)?;
    if schema > SCHEMA {
        return Ok(Opened::Newer(newer(raw, text, schema)));
    }
    let value: Value = serde_json::from_str(text).map_err(|error| KeepError::in_text(text, error))?;
    let mut stored = Object::of(value)?;
    stored.read::<i64>("schema")?;
    let app: String = stored.read("app")?;
    let revision: i64 = stored.read("revision")?;
    let revision = u32::try_from(revision).map_err(|_| KeepError::NotAnEnvelope)?;
    let saved: Moment = stored.read("saved_s")?;
    let deleted: Option<Moment> = stored.read_or_none("deleted_s")?;
    let data = stored.take("data").ok_or(KeepError::NotAnEnvelope)?;
    stored.end()?;
    let data = Batch::read(if schema == SCHEMA { data } else { migrate(data, schema)? })?;
    data.check()?;
    let envelope = Envelope { app, revision, saved, deleted, data };
    Ok(Opened::Current(Box::new(envelope)))
}

/// Reads of a stored text what a list shows. The document's numbers are passed
/// over, so a batch that is named here may still turn out unreadable.
///
/// # Errors
/// [`KeepError`]; the text itself is the caller's to set aside.
pub fn peek(text: &str) -> Result<Peeked, KeepError> {
    let plain = unpack(text);
    if let Ok(Head { schema: SCHEMA, revision, saved_s, deleted_s, data: Label { id, name, invented } }) =
        serde_json::from_str(&plain)
    {
        return Ok(Peeked::Current(Summary {
            id,
            name,
            invented,
            revision,
            saved: saved_s,
            deleted: deleted_s,
        }));
    }
    match decode_plain(text, &plain)? {
        Opened::Current(envelope) => Ok(Peeked::Current(envelope.summary())),
        Opened::Newer(newer) => Ok(Peeked::Newer(newer)),
    }
}

fn schema_of(text: &str) -> Result<u32, KeepError> {
    object(text, KeepError::NotAnEnvelope)?;
    match serde_json::from_str(text) {
        Ok(Schema { schema: Some(schema) }) => Ok(schema),
        Ok(Schema { schema: None }) => Err(KeepError::NotAnEnvelope),
        Err(error) if error.is_data() => Err(KeepError::NotAnEnvelope),
        Err(error) => Err(KeepError::in_text(text, error)),
    }
}

fn newer(raw: &str, text: &str, schema: u32) -> Newer {
    let (id, name) = label_of(text);
    Newer { schema, id, name, raw: raw.to_owned() }
}

/// Identity and name of a batch whose text may be beyond reading otherwise.
pub(super) fn label_of(text: &str) -> (Option<String>, Option<String>) {
    let value: Value = serde_json::from_str(text).unwrap_or_default();
    let label = |key: &str| value.get("data")?.get(key)?.as_str().map(str::to_owned);
    (label("id"), label("name"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::{DocumentError, MOST_TEXT};
    use crate::house::House;
    use crate::testing::{any_batch, any_envelope, finished_batch};
    use calc::quantity::settled;
    use proptest::prelude::*;

    fn envelope() -> Envelope {
        Envelope::new(Batch::new(
            "b1".to_owned(),
            "Raspberry, “half”".to_owned(),
            Moment::from_seconds(1_754_300_000),
            House::default(),
        ))
    }

    #[test]
    fn the_keys_of_the_envelope_are_the_ones_promised() {
        let text =
            encode(&Envelope { revision: 7, deleted: Some(Moment::from_seconds(9)), ..envelope() }).unwrap();
        assert!(
            text.starts_with(&format!(
                r#"{{"schema":{SCHEMA},"app":"{APP}","revision":7,"saved_s":1754300000,"deleted_s":9,"data":{{"#
            )),
            "{text}"
        );
        assert!(text.contains(r#""id":"b1","name":"Raspberry, “half”""#), "{text}");
    }

    #[test]
    fn a_newer_schema_is_named_and_kept_whole() {
        let text = r#"{"schema":39,"sealed":true,"data":{"id":"b9","name":"Plum","kettles":[1]}}"#;
        let newer = Newer {
            schema: 39,
            id: Some("b9".to_owned()),
            name: Some("Plum".to_owned()),
            raw: text.to_owned(),
        };
        assert_eq!(decode(text), Ok(Opened::Newer(newer.clone())));
        assert_eq!(peek(text), Ok(Peeked::Newer(newer)));
        let nameless = r#"{"schema":40,"data":[]}"#;
        assert_eq!(
            decode(nameless),
            Ok(Opened::Newer(Newer { schema: 40, id: None, name: None, raw: nameless.to_owned() }))
        );
    }

    #[test]
    fn each_kind_of_damage_has_its_own_name() {
        let sound = encode(&envelope()).unwrap();
        let cut = &sound[..sound.len() - 2];
        assert!(matches!(decode(cut), Err(KeepError::CutShort { line: 1, .. })));
        assert!(matches!(decode(""), Err(KeepError::CutShort { .. })));
        assert_eq!(decode("{]"), Err(KeepError::NotJson { line: 1, column: 2 }));
        for text in ["[1]", "[1,2]", "3", "null", "{}", r#"{"schema":"one"}"#, r#"{"schema":-1}"#] {
            assert_eq!(decode(text), Err(KeepError::NotAnEnvelope), "{text}");
            assert_eq!(peek(text), Err(KeepError::NotAnEnvelope), "{text}");
        }
        let without = |old: &str, new: &str| {
            let text = sound.replace(old, new);
            assert_ne!(text, sound);
            decode(&text)
        };
        assert_eq!(
            without(&format!(r#""schema":{SCHEMA}"#), r#""schema":0"#),
            Err(KeepError::NoSuchSchema(0))
        );
        assert_eq!(
            without(r#""revision":0"#, r#""revision":0,"colour":1"#),
            Err(KeepError::UnknownField("colour".to_owned()))
        );
        assert_eq!(
            without(r#""id":"b1""#, r#""id":"b1","colour":1"#),
            Err(KeepError::UnknownField("colour".to_owned()))
        );
        assert_eq!(without(r#""id":"b1""#, r#""id":"""#), Err(KeepError::Document(DocumentError::NoId)));
        assert!(matches!(without(r#""id":"b1""#, r#""id":4"#), Err(KeepError::Damaged(_))));
        let range = without(r#""id":"b1""#, r#""id":"b1","numbers":{"mash_ph_wanted":54}"#);
        assert!(matches!(range, Err(KeepError::Document(DocumentError::OutOfRange(_)))));
    }

    #[test]
    fn what_could_not_be_read_again_is_not_written() {
        let mut long = envelope();
        long.data.notes = "x".repeat(MOST_TEXT + 1);
        assert!(matches!(encode(&long), Err(KeepError::Document(DocumentError::TextTooLong("notes", _)))));
    }

    #[test]
    fn messages_are_plain_and_short() {
        let text = encode(&envelope())
            .unwrap()
            .replace(r#""id":"b1""#, r#""id":"b1","grist":[{"class":"nonesuch"}]"#);
        let why = decode(&text).unwrap_err().to_string();
        assert_eq!(why, "It is damaged: grist: class: unknown variant `nonesuch`.");
    }

    /// The budget of DESIGN: 1,000 finished batches must fit a browser's store.
    #[test]
    fn a_finished_batch_with_sixty_readings_is_small() {
        let envelope = finished_batch();
        assert_eq!(envelope.data.readings.len(), 60);
        let plain = encode(&envelope).unwrap();
        let characters = stored_text(&envelope).unwrap().chars().count();
        println!(
            "a finished batch with 60 readings: {characters} characters, {} as plain JSON",
            plain.chars().count()
        );
        assert!(characters <= 2_000, "{characters}");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(512))]

        #[test]
        fn every_saved_batch_reads_back_equal(envelope in any_envelope()) {
            let text = encode(&envelope).unwrap();
            for text in [&pack(&text), &text] {
                prop_assert_eq!(peek(text), Ok(Peeked::Current(envelope.summary())));
                prop_assert_eq!(decode(text), Ok(Opened::Current(Box::new(envelope.clone()))));
            }
        }

        #[test]
        fn a_settled_number_reads_back_exactly(value in -1e6..1e6f64, places in 0i32..12) {
            let value = settled(value * 10f64.powi(-places));
            prop_assert_eq!(settled(value), value);
            let text = text_of(&value.to_json()).unwrap();
            prop_assert_eq!(serde_json::from_str::<f64>(&text).unwrap(), value);
        }

        #[test]
        fn no_text_brings_the_reader_down(text in ".{0,200}", at in 0usize..2000, batch in any_batch()) {
            let _ = decode(&text);
            let _ = peek(&text);
            let mut sound = encode(&Envelope::new(batch)).unwrap();
            let cut: String = sound.chars().take(at).collect();
            if cut.len() < sound.len() {
                prop_assert!(decode(&cut).is_err());
                prop_assert!(peek(&cut).is_err());
            }
            if let Some((place, _)) = sound.char_indices().nth(at) {
                sound.insert_str(place, &text);
            }
            let _ = decode(&sound);
        }
    }
}
