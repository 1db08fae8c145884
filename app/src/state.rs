//! What the views share: the open batch, its plan, the preferences, and how
//! changes are kept.

use crate::offline::{Offline, Persistence};
use crate::preferences::Preferences;
use crate::signals::{Handle, Memo, RwSignal, StoredValue, effect, gone};
use crate::store::{Change, Store, StoreError};
use crate::{clock, text_file};
use batch::document::Batch;
use batch::keep::{Envelope, encode};
use batch::moment::Moment;
use batch::plan::{Plan, plan};
use batch::say::Sentence;
use leptos::prelude::*;
use std::cell::RefCell;
use std::ops::Deref;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

/// What the whole app shares. One word, as nearly every piece of a screen takes it along; it is there as long as
/// the page is.
#[derive(Clone, Copy)]
pub struct Shared(&'static SharedParts);

/// The parts of [`Shared`].
pub struct SharedParts {
    /// Units and look.
    pub preferences: RwSignal<Preferences>,
    /// The clock.
    pub now: RwSignal<Moment>,
    /// The screen has room for a second column.
    pub wide: RwSignal<bool>,
    /// A short message with a way back.
    pub toast: RwSignal<Option<Toast>>,
    /// The app and the network.
    pub offline: Offline,
    /// Counts up with every change of what is stored, here or in another tab.
    pub stored: RwSignal<u32>,
    /// Batches that are not on a screen and could not be stored: this is all there is of them.
    pub unsaved: StoredValue<Vec<(Envelope, StoreError)>>,
}

/// A short message, with what undoes the change it tells of.
#[derive(Clone)]
pub struct Toast {
    /// What happened.
    pub message: String,
    /// What came of it, a line each.
    pub lines: Vec<Sentence>,
    /// Takes it back. Not a `Callback`: that one would go with the list item it was made in.
    pub undo: Option<Act>,
    /// What the person may do instead, with the words of its button.
    pub offer: Option<(String, Act)>,
}

/// What a button of a message does.
pub type Act = Arc<dyn Fn() + Send + Sync>;

impl Deref for Shared {
    type Target = SharedParts;
    fn deref(&self) -> &SharedParts {
        self.0
    }
}

impl Deref for Open {
    type Target = OpenParts;
    fn deref(&self) -> &OpenParts {
        self.0
    }
}

impl Shared {
    /// Shares these from now on.
    pub fn new(parts: SharedParts) -> Self {
        Self(Box::leak(Box::new(parts)))
    }

    /// The shared state of this page.
    pub fn here() -> Self {
        expect_context()
    }

    /// Shows a message.
    pub fn tell(self, message: impl Into<String>) {
        self.toast.set(Some(Toast { message: message.into(), lines: Vec::new(), undo: None, offer: None }));
    }

    /// Shows a message with a way back.
    pub fn tell_with_undo(self, message: impl Into<String>, undo: impl Fn() + Send + Sync + 'static) {
        self.tell(message);
        self.toast.update(|toast| {
            if let Some(toast) = toast {
                toast.undo = Some(Arc::new(undo));
            }
        });
    }

    /// Says whether a text is on the clipboard now.
    pub fn tell_copied(self, done: bool) {
        self.tell(if done { "Copied." } else { "Copying is not allowed here. Select the text and copy it." });
    }

    /// Puts a text on the clipboard and says so.
    pub fn copy(self, text: &str) {
        text_file::copy(text, move |done| self.tell_copied(done));
    }

    /// Says that something in the store changed.
    pub fn stored_changed(self) {
        self.stored.update(|count| *count += 1);
    }

    /// Says what went wrong, or that it is stored; true when it is.
    pub fn stored_or_told(self, outcome: Result<(), StoreError>) -> bool {
        match outcome {
            Ok(()) => {
                self.stored_changed();
                true
            }
            Err(problem) => {
                self.tell(problem.to_string());
                false
            }
        }
    }
}

/// How the last save ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Saved {
    /// All that is on the screen is stored.
    Yes,
    /// A change waits for its turn.
    Soon,
    /// The change is on the screen only.
    No(StoreError),
}

/// The open batch. One word, as nearly every piece of its screen takes it along: its few places are never given
/// back, what stands at them goes with the screen.
#[derive(Clone, Copy)]
pub struct Open(&'static OpenParts);

/// The parts of [`Open`].
pub struct OpenParts {
    /// The document.
    pub document: RwSignal<Batch>,
    /// Its plan.
    pub plan: Memo<Plan>,
    /// How the last save ended.
    pub saved: RwSignal<Saved>,
    shared: Shared,
    envelope: StoredValue<Envelope>,
    timer: StoredValue<Option<TimeoutHandle>>,
    looks: StoredValue<Vec<(u32, Look)>>,
}

/// What somebody looks for in the batch and its plan.
type Finding<T> = Box<dyn Fn(&Batch, &Plan) -> T>;

/// Finds it anew, and says whether it is another than before.
type Step = Box<dyn Fn(&Batch, &Plan) -> bool>;

/// Looks at the batch and its plan after a change.
type Look = Box<dyn Fn(&Batch, &Plan)>;

/// Typing is saved this long after the first key that is not; who types on and on is saved meanwhile.
const SAVE_AFTER: Duration = Duration::from_millis(250);

impl Open {
    /// The open batch of this page.
    pub fn here() -> Self {
        expect_context()
    }

    /// Opens a batch and keeps it saved from now on.
    pub fn new(shared: Shared, envelope: Envelope, saved: Saved) -> Self {
        let document = RwSignal::new(envelope.data.clone());
        let open = Self(Box::leak(Box::new(OpenParts {
            document,
            plan: Memo::new(move || document.with(plan)),
            saved: RwSignal::new(saved),
            shared,
            envelope: StoredValue::new(envelope),
            timer: StoredValue::new(None),
            looks: StoredValue::new(Vec::new()),
        })));
        effect(move || {
            document.with(|batch| {
                open.plan.with(|plan| {
                    open.looks.with_value(|looks| looks.iter().for_each(|(_, look)| look(batch, plan)));
                });
            });
        });
        // What is being typed when the tab is closed or the phone locks must be kept.
        let hidden = window_event_listener_untyped("pagehide", move |_| open.flush());
        let unseen = window_event_listener_untyped("visibilitychange", move |_| open.flush());
        let others = Store::watch(move |change| open.heard(&change));
        on_cleanup(move || {
            open.flush();
            if let Saved::No(problem) = open.saved.get_untracked() {
                let mut envelope = open.envelope.get_value();
                envelope.data = open.document.get_untracked();
                shared.unsaved.update_value(|unsaved| unsaved.push((envelope, problem)));
            }
            hidden.remove();
            unseen.remove();
            others.remove();
        });
        open
    }

    /// What is seen in the batch and its plan, followed. All that is followed like this is looked at in one go
    /// after a change, and only those hear of it whose part is another: a screen has hundreds of them, and the
    /// framework's own way of asking each costs more than the looking.
    pub fn seen<T: PartialEq + 'static>(self, look: impl Fn(&Batch, &Plan) -> T + 'static) -> RwSignal<T> {
        self.looked_at(Box::new(look))
    }

    fn looked_at<T: PartialEq + 'static>(self, look: Finding<T>) -> RwSignal<T> {
        let mut first = None;
        self.once(&mut |batch, plan| first = Some(look(batch, plan)));
        let value = Rc::new(RefCell::new(first.unwrap_or_else(|| gone())));
        let (seen, handle) = RwSignal::kept(Rc::clone(&value));
        self.look(
            handle,
            Box::new(move |batch, plan| {
                let now = look(batch, plan);
                let other = *value.borrow() != now;
                if other {
                    *value.borrow_mut() = now;
                }
                other
            }),
        );
        seen
    }

    fn once(self, look: &mut dyn FnMut(&Batch, &Plan)) {
        self.document.with_untracked(|batch| self.plan.with_untracked(|plan| look(batch, plan)));
    }

    fn look(self, seen: Handle, step: Step) {
        let look: Look = Box::new(move |batch, plan| {
            if seen.is_there() && step(batch, plan) {
                seen.notify();
            }
        });
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let number = NEXT.fetch_add(1, Ordering::Relaxed);
        self.looks.update_value(|looks| looks.push((number, look)));
        on_cleanup(move || self.looks.update_value(|looks| looks.retain(|(other, _)| *other != number)));
    }

    /// Changes the document and saves it soon.
    pub fn edit(self, change: impl FnOnce(&mut Batch)) {
        let mut change = Some(change);
        // Behind a pointer: what follows is there once, not for each change.
        self.changed(&mut |batch| change.take().into_iter().for_each(|change| change(batch)));
    }

    fn changed(self, change: &mut dyn FnMut(&mut Batch)) {
        self.document.update(change);
        // A conflict is settled by the person, not by the next key.
        if !matches!(self.saved.get_untracked(), Saved::No(StoreError::OtherTab { .. })) {
            self.saved.set(Saved::Soon);
        }
        self.timer.update_value(|timer| {
            if timer.is_none() {
                *timer = set_timeout_with_handle(move || self.flush(), SAVE_AFTER).ok();
            }
        });
    }

    /// Changes the document and offers the way back.
    pub fn edit_with_undo(self, message: &str, change: impl FnOnce(&mut Batch)) {
        let mut change = Some(change);
        self.changed_with_undo(message, &mut |batch| {
            change.take().into_iter().for_each(|change| change(batch));
        });
    }

    fn changed_with_undo(self, message: &str, change: &mut dyn FnMut(&mut Batch)) {
        let before = self.document.get_untracked();
        self.changed(change);
        self.shared.tell_with_undo(message, move || {
            // The batch may have been closed since.
            if self.saved.try_get_untracked().is_some() {
                let before = before.clone();
                self.edit(|batch| *batch = before);
            }
        });
    }

    /// Saves now what waits to be saved.
    pub fn flush(self) {
        if let Some(timer) = self.timer.try_update_value(Option::take).flatten() {
            timer.clear();
        }
        if self.saved.try_get_untracked() != Some(Saved::Soon) {
            return;
        }
        let outcome = self.envelope.try_update_value(|envelope| {
            envelope.data = self.document.get_untracked();
            Store::save(envelope, clock::now())
        });
        self.ended(outcome);
    }

    /// Overwrites what another tab stored with what is on this screen, or tries
    /// again after a failed save.
    pub fn keep_mine(self) {
        let outcome = self.envelope.try_update_value(|envelope| {
            envelope.data = self.document.get_untracked();
            Store::overwrite(envelope, clock::now())
        });
        self.ended(outcome);
    }

    /// Replaces what is on this screen with what is stored.
    pub fn load_theirs(self) {
        let id = self.document.with_untracked(|batch| batch.id.clone());
        match Store::load(&id) {
            Ok(theirs) => {
                self.document.set(theirs.data.clone());
                self.envelope.set_value(theirs);
                self.saved.set(Saved::Yes);
            }
            Err(problem) => self.saved.set(Saved::No(problem)),
        }
    }

    /// The envelope with what is on the screen.
    pub fn envelope_now(self) -> Envelope {
        let data = self.document.get();
        Envelope { data, ..self.envelope.get_value() }
    }

    /// This batch alone, as a keepsake.
    pub fn keepsake(self) -> Option<String> {
        untrack(|| batch::keep::write(&[self.envelope_now()], clock::now()).ok())
    }

    fn ended(self, outcome: Option<Result<(), StoreError>>) {
        let Some(outcome) = outcome else { return };
        // The first save is when a browser is likeliest to promise to keep it.
        if outcome.is_ok() && self.shared.offline.persistence().get_untracked() == Persistence::Unknown {
            self.shared.offline.ask_to_keep();
        }
        self.saved.set(outcome.map_or_else(Saved::No, |()| Saved::Yes));
    }

    /// Another tab changed something.
    fn heard(self, change: &Change) {
        let id = self.document.with_untracked(|batch| batch.id.clone());
        let ours = match change {
            Change::Batch(changed) => *changed == id,
            Change::Everything => true,
            Change::Preferences | Change::SetAside => false,
        };
        if !ours {
            return;
        }
        match Store::load(&id) {
            // The revision alone would not do: two tabs that save in one moment both count up to the same.
            Ok(theirs) if self.envelope.with_value(|ours| encode(ours) == encode(&theirs)) => {}
            // Timers alone ask nobody: one that was heard in another tab must be silent here.
            Ok(theirs) if self.differs_in_timers(&theirs) => {
                self.document.set(theirs.data.clone());
                self.envelope.set_value(theirs);
            }
            Ok(theirs) => {
                self.saved.set(Saved::No(StoreError::OtherTab { theirs: Box::new(theirs.summary()) }));
            }
            Err(problem) => self.saved.set(Saved::No(problem)),
        }
    }

    /// All that is on the screen is stored, and what another tab stored since has other timers, nothing else.
    fn differs_in_timers(self, theirs: &Envelope) -> bool {
        let mut ours = theirs.clone();
        ours.data = self.document.get_untracked();
        ours.data.timers.clone_from(&theirs.data.timers);
        self.saved.get_untracked() == Saved::Yes
            && encode(&ours).is_ok_and(|ours| encode(theirs).as_ref() == Ok(&ours))
    }
}
