//! The keepsake: the whole batch book in one JSON file.
//!
//! ```json
//! {"tartwright_keepsake":1,"app":"0.1.0","made_s":1754300000,
//! "batches":[
//! {"schema":1,…},
//! {"schema":1,…}],
//! "set_aside":[{"key":"…","text":"…"}],
//! "preferences":{…}}
//! ```
//!
//! `batches` holds envelopes as they are stored, one a line; `set_aside` holds
//! texts that could not be read, as they were found; `preferences` is there
//! when any were chosen. `made_s` is in seconds since 1970 UTC.
//!
//! Merging goes by identity and revision. The higher revision wins; two
//! different texts of one revision are both kept, the one from the file as a
//! copy; what is already there in a newer or the same form stays as it is.

use super::envelope::{APP, Envelope, Newer, Opened, decode, encode, label_of};
use super::packed::unpack_whole;
use super::{KeepError, name_with};
use crate::json::{Json, Object, by_field, read as read_json, text_of};
use crate::moment::Moment;

/// The form of keepsake this version writes and reads.
pub const KEEPSAKE: u32 = 1;

/// A text that could not be read, as it was found.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct SetAside {
    /// Under which key it lay.
    pub key: String,
    /// The text.
    pub text: String,
}

by_field!(SetAside, Self { key: String::new(), text: String::new() }, { key "key", text "text" } {});

/// A batch of a keepsake that could not be read.
#[derive(Clone, Debug, PartialEq)]
pub struct DamagedRecord {
    /// Its place among the batches of the file, from 1.
    pub place: usize,
    /// Its identity, where it can be read.
    pub id: Option<String>,
    /// Its name, where it can be read.
    pub name: Option<String>,
    /// What is wrong with it.
    pub why: KeepError,
    /// Its text.
    pub raw: String,
}

/// What a keepsake file holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Keepsake {
    /// Version of the app that made it.
    pub app: String,
    /// When it was made.
    pub made: Moment,
    /// The batches that are sound.
    pub batches: Vec<Envelope>,
    /// The batches of a newer schema.
    pub newer: Vec<Newer>,
    /// The batches that cannot be read.
    pub damaged: Vec<DamagedRecord>,
    /// Texts that could not be read when the keepsake was made.
    pub set_aside: Vec<SetAside>,
    /// The preferences, as JSON.
    pub preferences: Option<String>,
}

/// What goes into a keepsake, as texts from the store.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Contents {
    /// Stored batches, under their keys.
    pub batches: Vec<SetAside>,
    /// Texts that were set aside before.
    pub set_aside: Vec<SetAside>,
    /// The preferences, as JSON.
    pub preferences: Option<String>,
}

impl Contents {
    /// Writes the keepsake. A text that would spoil the file as JSON goes among
    /// those set aside, so whatever is in the store, the file can be read.
    pub fn write(self, made: Moment) -> String {
        let Self { mut batches, mut set_aside, preferences } = self;
        for kept in &mut batches {
            // What cannot be unpacked to JSON goes aside as it was found.
            if let Some(plain) = unpack_whole(&kept.text).filter(|plain| is_json(plain)) {
                kept.text = plain;
            }
        }
        let (batches, spoilt): (Vec<_>, Vec<_>) = batches.into_iter().partition(|kept| is_json(&kept.text));
        set_aside.extend(spoilt);
        let mut out = format!(
            "{{\"tartwright_keepsake\":{KEEPSAKE},\"app\":\"{APP}\",\"made_s\":{},\n\"batches\":[",
            made.as_seconds()
        );
        list(&mut out, batches.into_iter().map(|kept| kept.text));
        if !set_aside.is_empty() {
            out.push_str(",\n\"set_aside\":[");
            list(&mut out, set_aside.iter().map(|text| text_of(text)));
        }
        if let Some(preferences) = preferences.filter(|text| is_json(text)) {
            out.push_str(",\n\"preferences\":");
            out.push_str(&preferences);
        }
        out.push_str("}\n");
        out
    }
}

fn list(out: &mut String, texts: impl Iterator<Item = String>) {
    let mut before = "\n";
    for text in texts {
        out.push_str(before);
        out.push_str(text.trim());
        before = ",\n";
    }
    out.push(']');
}

fn is_json(text: &str) -> bool {
    Json::of(text).is_ok()
}

/// Writes a keepsake of these batches.
///
/// # Errors
/// [`KeepError::Document`] for a batch that is not sound.
pub fn write(envelopes: &[Envelope], made: Moment) -> Result<String, KeepError> {
    let kept = |envelope: &Envelope| Ok(SetAside { key: envelope.data.id.clone(), text: encode(envelope)? });
    let batches = envelopes.iter().map(kept).collect::<Result<_, KeepError>>()?;
    Ok(Contents { batches, ..Contents::default() }.write(made))
}

/// Reads a keepsake. A batch that cannot be read does not keep the others from
/// being read; a file that stops too early is refused as a whole, for nobody
/// could say what is missing.
///
/// # Errors
/// [`KeepError`]; nothing was changed then.
pub fn read(text: &str) -> Result<Keepsake, KeepError> {
    // Some editors put a mark before the first character.
    let text = text.trim_start_matches('\u{feff}');
    let json = Json::of(text)?;
    json.entries().map_err(|_| KeepError::NotAKeepsake)?;
    let mut file = Object::of(json)?;
    match file.take("tartwright_keepsake").map(read_json) {
        Some(Ok(KEEPSAKE)) => {}
        Some(Ok(form)) if form > KEEPSAKE => return Err(KeepError::NewerKeepsake(form)),
        _ => return Err(KeepError::NotAKeepsake),
    }
    let batches =
        file.take("batches").ok_or_else(|| KeepError::Damaged("the field batches is missing".to_owned()))?;
    let mut keepsake = Keepsake {
        app: file.read_or_none("app")?.unwrap_or_default(),
        made: file.read_or_none("made_s")?.unwrap_or_default(),
        set_aside: file.read_or_none("set_aside")?.unwrap_or_default(),
        preferences: file
            .take("preferences")
            .map(Json::text)
            .filter(|text| *text != "null")
            .map(str::to_owned),
        ..Keepsake::default()
    };
    file.end()?;
    for (place, raw) in batches.elements()?.map(Json::text).enumerate() {
        match decode(raw) {
            Ok(Opened::Current(envelope)) => keepsake.batches.push(*envelope),
            Ok(Opened::Newer(newer)) => keepsake.newer.push(newer),
            Err(why) => {
                let (id, name) = label_of(raw);
                keepsake.damaged.push(DamagedRecord { place: place + 1, id, name, why, raw: raw.to_owned() });
            }
        }
    }
    Ok(keepsake)
}

/// One state of a batch, as a person tells it from another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// How often it was saved.
    pub revision: u32,
    /// When last.
    pub saved: Moment,
    /// When it was deleted, if it was.
    pub deleted: Option<Moment>,
}

impl Stamp {
    fn of(envelope: &Envelope) -> Self {
        Self { revision: envelope.revision, saved: envelope.saved, deleted: envelope.deleted }
    }
}

/// What merging does with one batch of the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Action {
    /// It is not in the book: it is added.
    Add,
    /// The book has an older state of it: the file's replaces it.
    Newer {
        /// The state in the book.
        ours: Stamp,
        /// The state in the file.
        theirs: Stamp,
    },
    /// The book has it just so.
    Same,
    /// The book has a newer state of it, and keeps it.
    OlderKept {
        /// The state in the book.
        ours: Stamp,
        /// The state in the file.
        theirs: Stamp,
    },
    /// Both were changed since they were one: both are kept, the file's as a copy.
    Conflict {
        /// The copy's name.
        copy: String,
    },
}

/// What merging does with a named batch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Planned {
    /// The batch's name in the file.
    pub name: String,
    /// What happens.
    pub action: Action,
}

/// What a merge does to the book.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Merged {
    /// One line for each sound batch of the file, in its order.
    pub lines: Vec<Planned>,
    /// What is to be written, each under its identity.
    pub changed: Vec<Envelope>,
    /// The states that are replaced, to bring back if that was not wanted.
    pub replaced: Vec<Envelope>,
}

impl Merged {
    /// The book afterwards.
    #[must_use]
    pub fn onto(&self, mut book: Vec<Envelope>) -> Vec<Envelope> {
        for changed in &self.changed {
            match book.iter_mut().find(|kept| kept.data.id == changed.data.id) {
                Some(kept) => *kept = changed.clone(),
                None => book.push(changed.clone()),
            }
        }
        book
    }
}

/// What [`merge`] would do, one line for each sound batch of the file.
pub fn preview(book: &[Envelope], keepsake: &Keepsake) -> Vec<Planned> {
    merge(book, keepsake).lines
}

/// What bringing the keepsake into the book does. Nothing is lost: every state
/// in the book is kept or returned among the replaced, and every batch of the
/// file is in the book afterwards unless the book has a newer state of it.
/// Merging the same file again changes nothing.
pub fn merge(book: &[Envelope], keepsake: &Keepsake) -> Merged {
    let mut merged = Merged::default();
    for theirs in &keepsake.batches {
        let action = settle_one(book, &mut merged, theirs);
        merged.lines.push(Planned { name: theirs.data.name.clone(), action });
    }
    merged
}

fn settle_one(book: &[Envelope], merged: &mut Merged, theirs: &Envelope) -> Action {
    let Some(ours) = find(book, merged, &theirs.data.id).cloned() else {
        merged.changed.push(theirs.clone());
        return Action::Add;
    };
    let stamps = (Stamp::of(&ours), Stamp::of(theirs));
    let same = ours.data == theirs.data;
    // Of two equal batches of which one is deleted the other is worth more.
    let revives = same && ours.deleted.is_some() && theirs.deleted.is_none();
    if theirs.revision > ours.revision || (theirs.revision == ours.revision && revives) {
        put(book, merged, theirs.clone());
        return Action::Newer { ours: stamps.0, theirs: stamps.1 };
    }
    if theirs.revision < ours.revision {
        return Action::OlderKept { ours: stamps.0, theirs: stamps.1 };
    }
    if same {
        return Action::Same;
    }
    let copy = copy_of(theirs);
    // The copy's identity comes from its content: once made it is never made again,
    // whatever became of it since.
    match find(book, merged, &copy.data.id) {
        Some(kept) if kept.data == copy.data => Action::Same,
        Some(kept) => Action::OlderKept { ours: Stamp::of(kept), theirs: stamps.1 },
        None => {
            let name = copy.data.name.clone();
            merged.changed.push(copy);
            Action::Conflict { copy: name }
        }
    }
}

/// The state of a batch as the merge stands.
fn find<'a>(book: &'a [Envelope], merged: &'a Merged, id: &str) -> Option<&'a Envelope> {
    let known = |kept: &&Envelope| kept.data.id == id;
    merged.changed.iter().find(known).or_else(|| book.iter().find(known))
}

fn put(book: &[Envelope], merged: &mut Merged, theirs: Envelope) {
    let id = &theirs.data.id;
    if let Some(kept) = merged.changed.iter_mut().find(|kept| kept.data.id == *id) {
        // A file can hold two states of one batch; only the book's own is worth bringing back.
        *kept = theirs;
        return;
    }
    merged.replaced.extend(book.iter().find(|kept| kept.data.id == *id).cloned());
    merged.changed.push(theirs);
}

/// The batch under an identity of its own, which follows from its content.
fn copy_of(theirs: &Envelope) -> Envelope {
    let mut copy = theirs.clone();
    let text = text_of(&theirs.data);
    let start: String = theirs.data.id.chars().take(64).collect();
    copy.data.id = format!("{start}-{:08x}", fingerprint(theirs.data.id.bytes().chain(text.bytes())));
    copy.data.name = name_with(&theirs.data.name, " (brought in)");
    copy
}

/// Fowler–Noll–Vo 1a: short, the same everywhere and for ever; it guards against chance, not against malice.
pub(super) fn fingerprint(bytes: impl Iterator<Item = u8>) -> u64 {
    bytes.fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::Batch;
    use crate::document::MOST_TEXT;
    use crate::house::House;
    use crate::testing::any_envelope;
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    const MADE: Moment = Moment::from_seconds(1_754_300_000);

    fn batch(id: &str, revision: u32, notes: &str) -> Envelope {
        let mut data = Batch::new(id.to_owned(), format!("Batch {id}"), MADE, House::default());
        data.notes = notes.to_owned();
        Envelope { revision, ..Envelope::new(data) }
    }

    fn keepsake(batches: &[Envelope]) -> Keepsake {
        read(&write(batches, MADE).unwrap()).unwrap()
    }

    fn actions(book: &[Envelope], file: &[Envelope]) -> Vec<Action> {
        preview(book, &keepsake(file)).into_iter().map(|planned| planned.action).collect()
    }

    #[test]
    fn an_empty_book_makes_a_keepsake_too() {
        assert_eq!(keepsake(&[]), Keepsake { app: APP.to_owned(), made: MADE, ..Keepsake::default() });
    }

    #[test]
    fn each_batch_meets_its_own_case() {
        let ours =
            [batch("old", 2, ""), batch("new", 9, ""), batch("same", 3, "x"), batch("both", 4, "mine")];
        let file = [
            batch("fresh", 1, ""),
            batch("old", 5, "later"),
            batch("new", 8, "earlier"),
            batch("same", 3, "x"),
            batch("both", 4, "theirs"),
        ];
        let stamp = |revision| Stamp { revision, saved: MADE, deleted: None };
        assert_eq!(
            actions(&ours, &file),
            [
                Action::Add,
                Action::Newer { ours: stamp(2), theirs: stamp(5) },
                Action::OlderKept { ours: stamp(9), theirs: stamp(8) },
                Action::Same,
                Action::Conflict { copy: "Batch both (brought in)".to_owned() },
            ]
        );
        let merged = merge(&ours, &keepsake(&file));
        assert_eq!(merged.replaced, [batch("old", 2, "")]);
        let book = merged.onto(ours.to_vec());
        let names: Vec<&str> = book.iter().map(|kept| kept.data.name.as_str()).collect();
        assert_eq!(
            names,
            ["Batch old", "Batch new", "Batch same", "Batch both", "Batch fresh", "Batch both (brought in)"]
        );
        assert_eq!((book[3].data.notes.as_str(), book[5].data.notes.as_str()), ("mine", "theirs"));
        assert!(book[5].data.id.starts_with("both-"));
    }

    #[test]
    fn a_copy_is_made_once_whatever_became_of_it() {
        let ours = [batch("both", 4, "mine")];
        let file = keepsake(&[batch("both", 4, "theirs")]);
        let mut book = merge(&ours, &file).onto(ours.to_vec());
        assert_eq!(preview(&book, &file)[0].action, Action::Same);
        book[1].data.notes.push_str(", then mine");
        book[1].revision += 1;
        assert!(matches!(preview(&book, &file)[0].action, Action::OlderKept { .. }));
        assert_eq!(merge(&book, &file).changed, []);
    }

    #[test]
    fn deletion_follows_the_revision_and_never_hides_an_equal_batch() {
        let deleted = |revision| Envelope { deleted: Some(MADE), ..batch("a", revision, "") };
        assert!(matches!(actions(&[batch("a", 1, "")], &[deleted(2)])[..], [Action::Newer { .. }]));
        assert!(matches!(actions(&[deleted(2)], &[batch("a", 1, "")])[..], [Action::OlderKept { .. }]));
        assert!(matches!(actions(&[deleted(2)], &[batch("a", 2, "")])[..], [Action::Newer { .. }]));
        assert_eq!(actions(&[batch("a", 2, "")], &[deleted(2)]), [Action::Same]);
    }

    #[test]
    fn one_bad_batch_does_not_spoil_the_others() {
        let good = encode(&batch("good", 1, "")).unwrap();
        let contents = Contents {
            batches: vec![
                SetAside {
                    key: "1".to_owned(),
                    text: good.replace(r#""revision":1"#, r#""revision":"one""#),
                },
                SetAside { key: "2".to_owned(), text: good.clone() },
                SetAside {
                    key: "3".to_owned(),
                    text: good.replace(&format!(r#""schema":{}"#, super::super::SCHEMA), r#""schema":77"#),
                },
                SetAside { key: "4".to_owned(), text: "{half".to_owned() },
                // It can be unpacked, but is not sound: it stays as it was found, packed.
                SetAside { key: "5".to_owned(), text: "{¡:4,¦:{¨:torn}}".to_owned() },
            ],
            set_aside: vec![SetAside { key: "x".to_owned(), text: "\u{0}\"\\ broken".to_owned() }],
            preferences: Some(r#"{"theme":"sun"}"#.to_owned()),
        };
        let read = read(&contents.write(MADE)).unwrap();
        assert_eq!(read.batches, [batch("good", 1, "")]);
        assert_eq!((read.newer[0].schema, read.newer[0].name.as_deref()), (77, Some("Batch good")));
        let damaged = &read.damaged[0];
        assert_eq!((damaged.place, damaged.id.as_deref()), (1, Some("good")));
        assert!(damaged.raw.contains(r#""revision":"one""#));
        assert!(matches!(damaged.why, KeepError::Damaged(_)));
        let aside: Vec<&str> = read.set_aside.iter().map(|aside| aside.text.as_str()).collect();
        assert_eq!(aside, ["\u{0}\"\\ broken", "{half", "{¡:4,¦:{¨:torn}}"]);
        assert_eq!(read.preferences.as_deref(), Some(r#"{"theme":"sun"}"#));
    }

    #[test]
    fn what_is_no_keepsake_is_refused() {
        assert_eq!(read("[]"), Err(KeepError::NotAKeepsake));
        assert_eq!(read("[1]"), Err(KeepError::NotAKeepsake));
        assert_eq!(read(r#"{"batches":[]}"#), Err(KeepError::NotAKeepsake));
        assert_eq!(read(r#"{"tartwright_keepsake":0,"batches":[]}"#), Err(KeepError::NotAKeepsake));
        assert_eq!(read(r#"{"tartwright_keepsake":2,"shelves":[]}"#), Err(KeepError::NewerKeepsake(2)));
        assert_eq!(
            read(r#"{"tartwright_keepsake":1,"batches":[],"shelves":[]}"#),
            Err(KeepError::UnknownField("shelves".to_owned()))
        );
    }

    #[test]
    fn a_mark_before_the_first_character_does_no_harm() {
        let text = format!("\u{feff}{}", write(&[batch("a", 1, "")], MADE).unwrap());
        assert_eq!(read(&text).unwrap().batches.len(), 1);
    }

    #[test]
    fn the_longest_name_still_makes_a_sound_copy() {
        let long = |notes: &str| {
            let mut long = batch("a", 1, notes);
            long.data.name = "n".repeat(MOST_TEXT);
            long.data.id = "i".repeat(MOST_TEXT);
            long
        };
        let merged = merge(&[long("mine")], &keepsake(&[long("theirs")]));
        assert!(encode(&merged.changed[0]).is_ok());
    }

    /// Books and files that share identities, so that every case of the merge turns up.
    fn any_book() -> impl Strategy<Value = Vec<Envelope>> {
        proptest::collection::vec(any_envelope(), 0..3).prop_flat_map(|bodies| {
            let one = (0usize..4, 0u32..3, 0usize..4, any::<bool>());
            proptest::collection::vec(one, 0..8).prop_map(move |picks| {
                picks
                    .into_iter()
                    .map(|(id, revision, body, deleted)| {
                        let mut envelope = bodies.get(body).cloned().unwrap_or_else(|| batch("", 0, ""));
                        envelope.data.id = format!("b{id}");
                        envelope.revision = revision;
                        envelope.deleted = deleted.then_some(MADE);
                        envelope
                    })
                    .collect()
            })
        })
    }

    /// A book has each identity once.
    fn distinct(envelopes: Vec<Envelope>) -> Vec<Envelope> {
        let by_id: BTreeMap<String, Envelope> =
            envelopes.into_iter().map(|envelope| (envelope.data.id.clone(), envelope)).collect();
        by_id.into_values().collect()
    }

    proptest! {
        // Two or three batches a book.
        #![proptest_config(ProptestConfig::with_cases(512))]
        #[test]
        fn a_book_survives_its_own_keepsake(book in any_book()) {
            let book = distinct(book);
            let file = keepsake(&book);
            prop_assert_eq!(&file.batches, &book);
            let merged = merge(&book, &file);
            prop_assert_eq!(&merged.changed, &[]);
            prop_assert!(merged.lines.iter().all(|line| line.action == Action::Same));
            prop_assert_eq!(merge(&[], &file).onto(Vec::new()), book);
        }

        #[test]
        fn merging_twice_is_merging_once(book in any_book(), file in any_book()) {
            let (book, file) = (distinct(book), keepsake(&file));
            let once = merge(&book, &file).onto(book);
            let again = merge(&once, &file);
            prop_assert_eq!(&again.changed, &[]);
            prop_assert_eq!(&again.replaced, &[]);
        }

        #[test]
        fn merging_loses_nothing(book in any_book(), file in any_book()) {
            let (book, file) = (distinct(book), keepsake(&file));
            let merged = merge(&book, &file);
            let after = merged.onto(book.clone());
            for kept in &book {
                prop_assert!(after.contains(kept) || merged.replaced.contains(kept));
            }
            for theirs in &file.batches {
                let same = |kept: &Envelope| {
                    let mut data = kept.data.clone();
                    data.id.clone_from(&theirs.data.id);
                    data.name.clone_from(&theirs.data.name);
                    data == theirs.data
                };
                let newer = |kept: &Envelope| kept.data.id == theirs.data.id && kept.revision > theirs.revision;
                prop_assert!(after.iter().any(|kept| same(kept) || newer(kept)));
            }
            for envelope in &after {
                prop_assert!(encode(envelope).is_ok());
            }
        }

        #[test]
        fn a_keepsake_cut_anywhere_is_refused(book in any_book(), share in 0.0..1.0f64) {
            let text = write(&book, MADE).unwrap();
            let whole = text.trim_end();
            let cut: String = whole.chars().take((whole.chars().count() as f64 * share) as usize).collect();
            let outcome = read(&cut).map(|_| ());
            prop_assert!(matches!(outcome, Err(KeepError::CutShort { .. })), "{:?}", (cut.get(cut.len().saturating_sub(20)..), outcome));
        }
    }
}
