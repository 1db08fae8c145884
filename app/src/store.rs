//! The browser's own storage: one key per batch, one for the preferences, and
//! a place for what could not be read.
//!
//! There is no index: what is stored is what is listed. Skimming a thousand
//! batches is quick, and an index could only ever be wrong.
//!
//! No text is ever written over unless it was read, and was the revision that
//! the change was made to. Unreadable text is moved aside whole, listed, and
//! goes into the keepsake. Whatever fails, what was to be saved is still in the
//! caller's hands.

use crate::preferences::Preferences;
use batch::document::Batch;
use batch::keep::{
    Contents, DAYS_KEPT, Envelope, KeepError, Keepsake, Merged, Newer, Opened, Peeked, SetAside, Summary,
    decode, merge, peek, read, stored_text, unpack,
};
use batch::moment::Moment;
use batch::timer::unheard_in;
use gloo_storage::{LocalStorage, Storage as _};
use leptos::prelude::{WindowListenerHandle, window_event_listener};
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{DomException, Storage as Shelf, StorageEvent};

/// Every key begins with this; nothing else in the browser's storage is touched.
pub const PREFIX: &str = "tartwright.";
/// Before a batch's identity.
pub const BATCH: &str = "tartwright.batch.";
/// The preferences.
pub const PREFERENCES: &str = "tartwright.preferences";
/// Before what was set aside: then what it was, a point, and a number.
pub const SET_ASIDE: &str = "tartwright.set-aside.";

/// Why the store could not do what it was asked to.
#[derive(Clone, Debug, PartialEq)]
pub enum StoreError {
    /// The browser keeps nothing for this page.
    Denied,
    /// There is no room left.
    Full,
    /// The browser refused for a reason of its own; its name for it.
    Refused(String),
    /// Another tab, or a keepsake, saved the batch since it was opened here.
    OtherTab {
        /// What is stored now.
        theirs: Box<Summary>,
    },
    /// A newer version of the app saved the batch in a schema this one cannot read.
    NewerSchema(u32),
    /// The batch is not in the book.
    NotFound,
    /// The stored text cannot be read; it is kept whole.
    Unreadable {
        /// Under which key it is kept.
        key: String,
        /// What is wrong with it.
        why: KeepError,
    },
    /// What was to be written, or the file that was opened, is not sound.
    Unsound(KeepError),
}

impl std::fmt::Display for StoreError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Denied => f.write_str(
                "This browser does not let the page keep anything: perhaps a private window, or storage is switched \
                 off. What is on the screen is not saved. Export it before you close the page.",
            ),
            Self::Full => f.write_str(
                "The browser's storage for this page is full. What is on the screen is not saved. \
                 Export it, then delete old batches and remove them for good.",
            ),
            Self::Refused(name) => {
                write!(f, "The browser refused to save ({name}). What is on the screen is not saved. Export it.")
            }
            Self::OtherTab { theirs } if theirs.deleted.is_some() => {
                write!(f, "“{}” was deleted elsewhere while it was open here.", theirs.name)
            }
            Self::OtherTab { theirs } => {
                write!(f, "“{}” was changed in another tab while it was open here.", theirs.name)
            }
            Self::NewerSchema(_) => f.write_str(
                "A newer version of Tartwright saved this batch. This version can show and export it, not change it.",
            ),
            Self::NotFound => f.write_str("This batch is not in the batch book."),
            Self::Unreadable { why, .. } => write!(f, "The stored text cannot be read; it is kept as it is. {why}"),
            Self::Unsound(why) => why.fmt(f),
        }
    }
}

impl std::error::Error for StoreError {}

impl From<KeepError> for StoreError {
    fn from(why: KeepError) -> Self {
        Self::Unsound(why)
    }
}

impl From<JsValue> for StoreError {
    fn from(thrown: JsValue) -> Self {
        let name =
            thrown.dyn_ref::<DomException>().map_or_else(|| "no reason given".to_owned(), DomException::name);
        match name.as_str() {
            "QuotaExceededError" | "NS_ERROR_DOM_QUOTA_REACHED" => Self::Full,
            "SecurityError" => Self::Denied,
            _ => Self::Refused(name),
        }
    }
}

/// One line of the batch book.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// A batch, deleted or not.
    Sound(Summary),
    /// A batch of a newer schema: to be shown and exported only.
    Newer {
        /// Its key.
        key: String,
        /// What of it can be read.
        newer: Newer,
    },
    /// A text that cannot be read.
    Unreadable {
        /// Its key.
        key: String,
        /// What is wrong with it.
        why: KeepError,
    },
}

impl Entry {
    /// Newest first, then what has no time.
    fn order(&self) -> std::cmp::Reverse<Option<Moment>> {
        std::cmp::Reverse(match self {
            Self::Sound(summary) => Some(summary.saved),
            Self::Newer { .. } | Self::Unreadable { .. } => None,
        })
    }
}

/// What another tab changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// The batch of this identity.
    Batch(String),
    /// The preferences.
    Preferences,
    /// Something was set aside, or forgotten.
    SetAside,
    /// All of it was cleared.
    Everything,
}

/// The batch book in this browser.
#[derive(Clone, Copy, Debug)]
pub struct Store;

impl Store {
    /// Every batch of the book, newest first, with what cannot be read. Text
    /// that turns out unreadable is moved aside; what was aside and has become
    /// readable (by a newer version of the app) is put back.
    ///
    /// # Errors
    /// [`StoreError::Denied`] and its like.
    pub fn list() -> Result<Vec<Entry>, StoreError> {
        let shelf = shelf()?;
        let mut entries: Vec<Entry> = Vec::new();
        // In order as they come: the library's sorting weighs more than the list. The newest keys come first,
        // so what is put in nearly always goes to the end.
        let mut put = |entry: Entry| {
            let order = entry.order();
            let place = entries.partition_point(|other| other.order() <= order);
            entries.insert(place, entry);
        };
        for (key, text) in texts(&shelf, SET_ASIDE)? {
            put(match decode(&text) {
                Ok(Opened::Newer(newer)) => Entry::Newer { key, newer },
                Ok(Opened::Current(envelope)) => match put_back(&shelf, &key, &envelope.data.id, &text) {
                    // It is among the batches now, and listed there.
                    Ok(true) => continue,
                    Ok(false) | Err(_) => Entry::Unreadable { key, why: KeepError::Twice },
                },
                Err(why) => Entry::Unreadable { key, why },
            });
        }
        for (key, text) in texts(&shelf, BATCH)?.into_iter().rev() {
            let found = peek(&text).and_then(|found| match found {
                Peeked::Current(summary) if batch_key(&summary.id) != key => Err(misplaced()),
                found => Ok(found),
            });
            put(match found {
                Ok(Peeked::Current(summary)) => Entry::Sound(summary),
                Ok(Peeked::Newer(newer)) => Entry::Newer { key, newer },
                // Where there is no room to move it, it stays where it is.
                Err(why) => Entry::Unreadable { key: move_aside(&shelf, &key, &text).unwrap_or(key), why },
            });
        }
        Ok(entries)
    }

    /// Every batch that can be read, deleted or not, in no particular order.
    ///
    /// # Errors
    /// [`StoreError::Denied`] and its like; a single unreadable text is no error.
    pub fn envelopes() -> Result<Vec<Envelope>, StoreError> {
        let all = texts(&shelf()?, BATCH)?;
        Ok(all.iter().filter_map(|(_, text)| Self::readable(text)).collect())
    }

    /// The texts of all batches, to be opened one by one. Where nothing can be read, none.
    pub fn batch_texts() -> Vec<String> {
        let all = shelf().and_then(|shelf| texts(&shelf, BATCH)).unwrap_or_default();
        all.into_iter().map(|(_, text)| text).collect()
    }

    /// The batch of a text that can be read.
    pub fn readable(text: &str) -> Option<Envelope> {
        match decode(text) {
            Ok(Opened::Current(envelope)) => Some(*envelope),
            Ok(Opened::Newer(_)) | Err(_) => None,
        }
    }

    /// The batches, none of them deleted, with a timer that nobody heard. Where nothing can be read, none.
    pub fn with_timers() -> Vec<Batch> {
        let texts = Self::batch_texts();
        let timed = texts.iter().filter(|text| unheard_in(text));
        let readable = timed.filter_map(|text| Self::readable(text));
        readable.filter(|envelope| envelope.deleted.is_none()).map(|envelope| envelope.data).collect()
    }

    /// Opens a batch.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::NewerSchema`], or
    /// [`StoreError::Unreadable`] with the key under which the text now is.
    pub fn load(id: &str) -> Result<Envelope, StoreError> {
        let shelf = shelf()?;
        let key = batch_key(id);
        let text = shelf.get_item(&key)?.ok_or(StoreError::NotFound)?;
        let found = decode(&text).and_then(|found| match found {
            Opened::Current(envelope) if envelope.data.id != id => Err(misplaced()),
            found => Ok(found),
        });
        match found {
            Ok(Opened::Current(envelope)) => Ok(*envelope),
            Ok(Opened::Newer(newer)) => Err(StoreError::NewerSchema(newer.schema)),
            Err(why) => {
                Err(StoreError::Unreadable { key: move_aside(&shelf, &key, &text).unwrap_or(key), why })
            }
        }
    }

    /// Saves a batch: counts the revision up and writes it, when what is stored
    /// is the revision that was opened. On any error the envelope is unchanged
    /// and so is the store.
    ///
    /// # Errors
    /// [`StoreError::OtherTab`] when another revision is stored,
    /// [`StoreError::Full`], [`StoreError::Denied`] and the others.
    pub fn save(envelope: &mut Envelope, now: Moment) -> Result<(), StoreError> {
        let shelf = shelf()?;
        match stored(&shelf, &batch_key(&envelope.data.id))? {
            Some(theirs) if theirs.revision != envelope.revision => {
                Err(StoreError::OtherTab { theirs: Box::new(theirs) })
            }
            _ => write(&shelf, envelope, envelope.revision, now),
        }
    }

    /// Saves a batch over whatever revision is stored: for a person who was
    /// told of the other one and chose this.
    ///
    /// # Errors
    /// As [`Store::save`], without [`StoreError::OtherTab`].
    pub fn overwrite(envelope: &mut Envelope, now: Moment) -> Result<(), StoreError> {
        let shelf = shelf()?;
        let theirs = stored(&shelf, &batch_key(&envelope.data.id))?.map_or(0, |theirs| theirs.revision);
        write(&shelf, envelope, envelope.revision.max(theirs), now)
    }

    /// Deletes a batch, to be brought back within [`DAYS_KEPT`] days. They count from its last save, where the
    /// clock was put back since.
    ///
    /// # Errors
    /// As [`Store::load`] and [`Store::save`].
    pub fn delete(id: &str, now: Moment) -> Result<(), StoreError> {
        let mut envelope = Self::load(id)?;
        envelope.deleted = Some(now.max(envelope.saved));
        Self::save(&mut envelope, now)
    }

    /// Brings a deleted batch back.
    ///
    /// # Errors
    /// As [`Store::load`] and [`Store::save`].
    pub fn restore(id: &str, now: Moment) -> Result<(), StoreError> {
        let mut envelope = Self::load(id)?;
        envelope.deleted = None;
        Self::save(&mut envelope, now)
    }

    /// Removes for good what was deleted more than [`DAYS_KEPT`] days ago; says how many. Time passes no further
    /// than to the newest save: a clock that goes wrong by a year removes nothing by itself.
    ///
    /// # Errors
    /// [`StoreError::Denied`] and its like.
    pub fn purge_old(now: Moment) -> Result<usize, StoreError> {
        let shelf = shelf()?;
        let (mut purged, mut newest, mut all) = (0, None, Vec::new());
        for (key, text) in texts(&shelf, BATCH)? {
            if let Ok(Peeked::Current(summary)) = peek(&text) {
                newest = newest.max(Some(summary.saved));
                all.push((key, summary.deleted));
            }
        }
        let now = newest.map_or(now, |newest| now.min(newest));
        for (key, deleted) in all {
            if deleted.is_some_and(|deleted| (now - deleted).as_hours() > DAYS_KEPT as f64 * 24.0) {
                shelf.remove_item(&key)?;
                purged += 1;
            }
        }
        Ok(purged)
    }

    /// What the person prefers, if anything was chosen.
    ///
    /// # Errors
    /// [`StoreError::Unreadable`]; the text is then set aside and the next
    /// choice starts afresh.
    pub fn preferences<T>(read: fn(&str) -> Result<T, KeepError>) -> Result<Option<T>, StoreError> {
        let shelf = shelf()?;
        let Some(text) = shelf.get_item(PREFERENCES)? else { return Ok(None) };
        read(&text).map(Some).map_err(|why| StoreError::Unreadable {
            key: move_aside(&shelf, PREFERENCES, &text).unwrap_or_else(|_| PREFERENCES.to_owned()),
            why,
        })
    }

    /// Keeps what the person prefers. What cannot be read, and had no room to be set aside when it was found, is
    /// not written over.
    ///
    /// # Errors
    /// [`StoreError::Full`], [`StoreError::Denied`] and their like.
    pub fn save_preferences(text: &str) -> Result<(), StoreError> {
        let shelf = shelf()?;
        if let Some(kept) = shelf.get_item(PREFERENCES)?.filter(|kept| Preferences::of_text(kept).is_err()) {
            move_aside(&shelf, PREFERENCES, &kept)?;
        }
        Ok(shelf.set_item(PREFERENCES, text)?)
    }

    /// The text under one of our keys, unpacked, to show.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], also for keys that are not ours.
    pub fn text(key: &str) -> Result<String, StoreError> {
        let ours = key.starts_with(PREFIX);
        shelf()?.get_item(key)?.filter(|_| ours).map(|text| unpack(&text)).ok_or(StoreError::NotFound)
    }

    /// Removes for good a text that was set aside, and nothing else.
    ///
    /// # Errors
    /// [`StoreError::NotFound`] when nothing is set aside under this key.
    pub fn forget(key: &str) -> Result<(), StoreError> {
        if !key.starts_with(SET_ASIDE) {
            return Err(StoreError::NotFound);
        }
        Self::remove(key)
    }

    /// Removes a batch for good, which alone makes room where there is none left: for a person who was asked.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], and [`StoreError::Denied`] and its like.
    pub fn remove_batch(id: &str) -> Result<(), StoreError> {
        Self::remove(&batch_key(id))
    }

    fn remove(key: &str) -> Result<(), StoreError> {
        Self::text(key)?;
        Ok(shelf()?.remove_item(key)?)
    }

    /// The whole book as a keepsake, with what cannot be read as it is.
    ///
    /// # Errors
    /// [`StoreError::Denied`] and its like.
    pub fn export_all(now: Moment) -> Result<String, StoreError> {
        let shelf = shelf()?;
        let all = |prefix: &str| -> Result<Vec<SetAside>, StoreError> {
            Ok(texts(&shelf, prefix)?.into_iter().map(|(key, text)| SetAside { key, text }).collect())
        };
        let (batches, preferences) = (all(BATCH)?, shelf.get_item(PREFERENCES)?);
        Ok(Contents { batches, set_aside: all(SET_ASIDE)?, preferences }.write(now))
    }

    /// Opens a keepsake and says what bringing it in would do. Nothing is changed.
    ///
    /// # Errors
    /// [`StoreError::Unsound`] when the file is no keepsake or stops too early.
    pub fn open_keepsake(text: &str) -> Result<(Keepsake, Merged), StoreError> {
        let keepsake = read(text)?;
        let merged = Self::would(&keepsake)?;
        Ok((keepsake, merged))
    }

    /// What bringing this keepsake in would do. Nothing is changed.
    ///
    /// # Errors
    /// [`StoreError::Denied`] and its like.
    pub fn would(keepsake: &Keepsake) -> Result<Merged, StoreError> {
        Ok(merge(&Self::envelopes()?, keepsake))
    }

    /// Brings a keepsake into the book as it is now. If it fails half way, what
    /// was written is sound and doing it again does the rest.
    ///
    /// # Errors
    /// [`StoreError::Full`], [`StoreError::Denied`] and their like.
    pub fn import(keepsake: &Keepsake) -> Result<Merged, StoreError> {
        let shelf = shelf()?;
        let merged = merge(&Self::envelopes()?, keepsake);
        for envelope in &merged.changed {
            bring_in(&shelf, &envelope.data.id, &stored_text(envelope)?)?;
        }
        for newer in &keepsake.newer {
            match &newer.id {
                Some(id) if shelf.get_item(&batch_key(id))?.is_none() => {
                    shelf.set_item(&batch_key(id), &newer.raw)?;
                }
                Some(id) if shelf.get_item(&batch_key(id))?.as_ref() == Some(&newer.raw) => {}
                id => {
                    keep_aside(&shelf, id.as_deref().unwrap_or("unnamed"), &newer.raw)?;
                }
            }
        }
        for damaged in &keepsake.damaged {
            keep_aside(&shelf, damaged.id.as_deref().unwrap_or("unnamed"), &damaged.raw)?;
        }
        for aside in &keepsake.set_aside {
            keep_aside(&shelf, &what_it_was(&aside.key), &aside.text)?;
        }
        if let Some(preferences) = &keepsake.preferences
            && shelf.get_item(PREFERENCES)?.is_none()
        {
            shelf.set_item(PREFERENCES, preferences)?;
        }
        Ok(merged)
    }

    /// Tells of what other tabs change, until the handle's `remove` is called.
    pub fn watch(told: impl Fn(Change) + 'static) -> WindowListenerHandle {
        window_event_listener(leptos::ev::storage, move |event: StorageEvent| {
            let change = match event.key() {
                None => Some(Change::Everything),
                Some(key) if key == PREFERENCES => Some(Change::Preferences),
                Some(key) if key.starts_with(SET_ASIDE) => Some(Change::SetAside),
                Some(key) => key.strip_prefix(BATCH).map(|id| Change::Batch(id.to_owned())),
            };
            if let Some(change) = change {
                told(change);
            }
        })
    }
}

/// The browser's storage.
fn shelf() -> Result<Shelf, StoreError> {
    // `LocalStorage::raw` throws where the browser denies its storage, so ask first.
    match web_sys::window().map(|window| window.local_storage()) {
        Some(Ok(Some(_))) => Ok(LocalStorage::raw()),
        _ => Err(StoreError::Denied),
    }
}

/// What is wrong with a batch whose text names another identity than its key.
fn misplaced() -> KeepError {
    KeepError::Damaged("its identity is not the one it is kept under".to_owned())
}

fn batch_key(id: &str) -> String {
    format!("{BATCH}{id}")
}

/// Keys with this prefix, with their texts.
fn texts(shelf: &Shelf, prefix: &str) -> Result<Vec<(String, String)>, StoreError> {
    let mut keys: Vec<String> = Vec::new();
    // All keys first, in order: the order may change with every text that is written.
    for place in 0..shelf.length()? {
        if let Some(key) = shelf.key(place)?.filter(|key| key.starts_with(prefix)) {
            let place = keys.partition_point(|other| *other < key);
            keys.insert(place, key);
        }
    }
    let mut texts = Vec::with_capacity(keys.len());
    for key in keys {
        if let Some(text) = shelf.get_item(&key)? {
            texts.push((key, text));
        }
    }
    Ok(texts)
}

/// What is stored under a batch's key; what cannot be read is moved aside and counts as nothing.
fn stored(shelf: &Shelf, key: &str) -> Result<Option<Summary>, StoreError> {
    let Some(text) = shelf.get_item(key)? else { return Ok(None) };
    match peek(&text) {
        Ok(Peeked::Current(summary)) => Ok(Some(summary)),
        Ok(Peeked::Newer(newer)) => Err(StoreError::NewerSchema(newer.schema)),
        Err(_) => {
            keep_aside(shelf, &what_it_was(key), &text)?;
            Ok(None)
        }
    }
}

/// Writes the envelope as the revision after `last`; it is changed only when that was done.
fn write(shelf: &Shelf, envelope: &mut Envelope, last: u32, now: Moment) -> Result<(), StoreError> {
    let mut next = Envelope::new(envelope.data.clone());
    next.revision = last.saturating_add(1);
    next.saved = now;
    next.deleted = envelope.deleted;
    shelf.set_item(&batch_key(&next.data.id), &stored_text(&next)?)?;
    *envelope = next;
    Ok(())
}

/// Writes a batch from a keepsake; what cannot be read there is set aside first,
/// and what a newer version wrote there stays.
fn bring_in(shelf: &Shelf, id: &str, text: &str) -> Result<(), StoreError> {
    let key = batch_key(id);
    if let Some(kept) = shelf.get_item(&key)? {
        match decode(&kept) {
            Ok(Opened::Current(_)) => {}
            Ok(Opened::Newer(_)) => return keep_aside(shelf, id, text).map(|_| ()),
            Err(_) => {
                keep_aside(shelf, id, &kept)?;
            }
        }
    }
    Ok(shelf.set_item(&key, text)?)
}

/// Moves a text aside; says where it is now.
fn move_aside(shelf: &Shelf, key: &str, text: &str) -> Result<String, StoreError> {
    let aside = keep_aside(shelf, &what_it_was(key), text)?;
    // Gone only once the copy is known to be there.
    if shelf.get_item(&aside)?.as_deref() == Some(text) {
        shelf.remove_item(key)?;
    }
    Ok(aside)
}

/// Keeps a text aside, once; says under which key.
fn keep_aside(shelf: &Shelf, what: &str, text: &str) -> Result<String, StoreError> {
    let kept = texts(shelf, SET_ASIDE)?;
    if let Some((key, _)) = kept.iter().find(|(_, kept)| kept == text) {
        return Ok(key.clone());
    }
    let mut number = 1_u32;
    loop {
        let key = format!("{SET_ASIDE}{what}.{number}");
        if shelf.get_item(&key)?.is_none() {
            shelf.set_item(&key, text)?;
            return Ok(key);
        }
        number += 1;
    }
}

/// Puts a text that has become readable back among the batches, if its place is free.
fn put_back(shelf: &Shelf, key: &str, id: &str, text: &str) -> Result<bool, StoreError> {
    let place = batch_key(id);
    match shelf.get_item(&place)? {
        Some(kept) if kept != text => return Ok(false),
        Some(_) => {}
        None => shelf.set_item(&place, text)?,
    }
    shelf.remove_item(key)?;
    Ok(true)
}

/// What lay under a key, for the key it gets when it is set aside.
fn what_it_was(key: &str) -> String {
    let aside = key.strip_prefix(SET_ASIDE).and_then(|rest| rest.rsplit_once('.')).map(|(what, _)| what);
    aside.or_else(|| key.strip_prefix(BATCH)).or_else(|| key.strip_prefix(PREFIX)).unwrap_or(key).to_owned()
}
