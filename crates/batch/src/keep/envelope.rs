//! The envelope around one stored batch.
//!
//! ```json
//! {"schema":1,"app":"0.1.0","revision":7,"saved_s":1754300000,"data":{"id":"…","name":"…"}}
//! ```
//!
//! `saved_s` and `deleted_s` are seconds since 1970 UTC; `deleted_s` is there
//! only for a deleted batch. These keys never change, and neither do `id` and
//! `name` inside `data`: an older version can always name what it cannot read.

use super::KeepError;
use super::migrate::{SCHEMA, migrate};
use super::packed::{pack, unpack};
use crate::document::Batch;
use crate::json::{Json, Kept as _, Object, Writer, read};
use crate::moment::Moment;

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
    let mut out = Writer::default();
    out.open('{');
    out.key("schema");
    SCHEMA.write(&mut out);
    out.key("app");
    app.write(&mut out);
    out.key("revision");
    revision.write(&mut out);
    out.key("saved_s");
    saved.write(&mut out);
    if let Some(deleted) = deleted {
        out.key("deleted_s");
        deleted.write(&mut out);
    }
    out.key("data");
    data.write(&mut out);
    out.close('}');
    Ok(out.done())
}

/// The text to store for an envelope: [`encode`], packed.
///
/// # Errors
/// As [`encode`].
pub fn stored_text(envelope: &Envelope) -> Result<String, KeepError> {
    Ok(pack(&encode(envelope)?))
}

/// Reads the text of an envelope, packed or not.
///
/// # Errors
/// [`KeepError`]; the text itself is the caller's to set aside.
pub fn decode(text: &str) -> Result<Opened, KeepError> {
    decode_plain(text, &unpack(text))
}

fn decode_plain(raw: &str, text: &str) -> Result<Opened, KeepError> {
    let json = Json::of(text)?;
    let schema = schema_of(json)?;
    if schema > SCHEMA {
        return Ok(Opened::Newer(newer(raw, text, schema)));
    }
    let mut stored = Object::of(json)?;
    stored.take("schema");
    let app: String = stored.read("app")?;
    let revision: u32 = stored.read("revision")?;
    let saved: Moment = stored.read("saved_s")?;
    let deleted: Option<Moment> = stored.read_or_none("deleted_s")?;
    let data = stored.take("data").ok_or(KeepError::NotAnEnvelope)?;
    stored.end()?;
    let data =
        if schema == SCHEMA { Batch::read(data)? } else { Batch::read(Json::of(&migrate(data, schema)?)?)? };
    data.check()?;
    Ok(Opened::Current(Box::new(Envelope { app, revision, saved, deleted, data })))
}

/// Reads of a stored text what a list shows. The document's numbers are passed
/// over, so a batch that is named here may still turn out unreadable.
///
/// # Errors
/// [`KeepError`]; the text itself is the caller's to set aside.
pub fn peek(text: &str) -> Result<Peeked, KeepError> {
    let plain = unpack(text);
    if let Some(summary) = Json::of(&plain).ok().and_then(summary_of) {
        return Ok(Peeked::Current(summary));
    }
    match decode_plain(text, &plain)? {
        Opened::Current(envelope) => Ok(Peeked::Current(envelope.summary())),
        Opened::Newer(newer) => Ok(Peeked::Newer(newer)),
    }
}

/// What a list shows of a stored batch of this schema.
fn summary_of(json: Json<'_>) -> Option<Summary> {
    if schema_of(json) != Ok(SCHEMA) {
        return None;
    }
    let data = entry(json, "data")?;
    Some(Summary {
        id: entry(data, "id")?.string()?,
        name: entry(data, "name")?.string()?,
        invented: entry(data, "invented").is_some_and(|invented| invented.text() == "true"),
        revision: read(entry(json, "revision")?).ok()?,
        saved: read(entry(json, "saved_s")?).ok()?,
        deleted: entry(json, "deleted_s").map(read).transpose().ok()?,
    })
}

/// The entry of an object under a name.
fn entry<'a>(json: Json<'a>, name: &str) -> Option<Json<'a>> {
    json.entries().ok()?.into_iter().find(|entry| entry.0 == name).map(|entry| entry.1)
}

/// The one thing that every envelope has.
fn schema_of(json: Json<'_>) -> Result<u32, KeepError> {
    entry(json, "schema").and_then(|schema| read(schema).ok()).ok_or(KeepError::NotAnEnvelope)
}

fn newer(raw: &str, text: &str, schema: u32) -> Newer {
    let (id, name) = label_of(text);
    Newer { schema, id, name, raw: raw.to_owned() }
}

/// Identity and name of a batch whose text may be beyond reading otherwise.
pub(super) fn label_of(text: &str) -> (Option<String>, Option<String>) {
    let data = Json::of(text).ok().and_then(|json| entry(json, "data"));
    let label = |key: &str| entry(data?, key)?.string();
    (label("id"), label("name"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::{DocumentError, MOST_TEXT, Slot};
    use crate::house::House;
    use crate::testing::{any_batch, any_envelope, finished_batch};
    use calc::quantity::{Amount, settled};
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
                r#"{{"schema":{SCHEMA},"app":"{APP}","revision":7,"saved_s":1754300000,"deleted_s":9,"data":{{"id":"b1","name":"Raspberry"#
            )),
            "{text}"
        );
    }

    #[test]
    fn what_a_field_takes_beside_the_end_of_its_range_reads_back() {
        let mut taken = 0;
        for slot in Slot::all(&envelope().data) {
            let (low, high) = (slot.spec().low.base(), slot.spec().high.base());
            for share in [0.1, 0.5, 0.9, 0.999_999, 1.0, 1.1] {
                let beyond = share * 1e-9 * (high - low);
                for value in [low - beyond, high + beyond] {
                    let mut envelope = envelope();
                    let value = Amount::in_base(slot.spec().dimension, value);
                    if slot.set(&mut envelope.data, Some(value)).is_ok() {
                        taken += 1;
                        let text = encode(&envelope).unwrap();
                        assert!(matches!(decode(&text), Ok(Opened::Current(_))), "{slot:?} {value:?}");
                    }
                }
            }
        }
        assert!(taken > 100, "{taken}");
    }

    #[test]
    fn the_plan_is_the_same_before_and_after_keeping() {
        // More digits than are kept, and a number so small that nothing is kept of it.
        for value in [12.345_678_901_234_567, 5e-324, 1e-30] {
            let mut envelope = envelope();
            let volume = Slot::Of(crate::document::Field::Rinse);
            volume.set(&mut envelope.data, Some(Amount::in_base(volume.spec().dimension, value))).unwrap();
            let kind = crate::document::ReadingKind::PreBoilGravity;
            envelope.data.readings.add(crate::document::Reading {
                kind,
                value: Amount::in_base(kind.spec().dimension, value),
                at: envelope.data.begun,
                temperature: Some(calc::quantity::Temperature::celsius(value)),
                note: String::new(),
            });
            let Ok(Opened::Current(kept)) = decode(&encode(&envelope).unwrap()) else { panic!("not read") };
            assert_eq!(*kept, envelope);
        }
        let mut typed = envelope();
        let volume = Slot::Of(crate::document::Field::Rinse);
        volume.set(&mut typed.data, Some(Amount::in_base(volume.spec().dimension, 7.5))).unwrap();
        let text = encode(&typed).unwrap();
        let Ok(Opened::Current(read)) = decode(&text.replace(":7.5", ":5e-324")) else { panic!("not read") };
        assert_eq!(read.data.numbers.rinse().map(|rinse| rinse.as_litres()), Some(0.0));
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
        #![proptest_config(ProptestConfig::with_cases(1024))]

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
            let mut out = Writer::default();
            out.number(value);
            let text = out.done();
            prop_assert_eq!(Json::of(&text).unwrap().number(), Ok(value));
            // Other readers of JSON find the same number.
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
