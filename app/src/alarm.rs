//! The alarm: which timers wait, and by what a person notices that one rang. Sound, vibration, a notification,
//! the page's title; and the screen, kept on meanwhile.
//!
//! Every browser feature used here may be missing or refused. Then the others do what they can, and the times
//! on the screen are right all the same: nothing here counts, each look is at the clock.

use crate::clock;
use crate::offline::{call, property};
use crate::page::batch_address;
use crate::signals::{RwSignal, StoredValue, effect};
use crate::state::{Open, Saved, Shared};
use crate::store::{Store, StoreError};
use batch::document::{Batch, Timer};
use batch::moment::Moment;
use batch::timer::{Left, countdown, left, next, start, watched};
use calc::quantity::Duration;
use js_sys::{Array, Function, Object, Promise, Reflect};
use leptos::prelude::*;
use leptos::task::spawn_local;
use wasm_bindgen::{JsCast, JsValue};

/// Twice in a second, so that none is left out of what is shown.
const BEAT: std::time::Duration = std::time::Duration::from_millis(500);
/// From one sounding of the alarm to the next.
const AGAIN: Duration = Duration::seconds(2.0);

/// A timer that nobody heard yet.
#[derive(Clone, PartialEq)]
pub struct Waiting {
    /// The identity of its batch.
    pub id: String,
    /// The name of its batch.
    pub batch: String,
    /// Its place among the batch's timers.
    pub place: usize,
    /// The timer.
    pub timer: Timer,
    /// It rang.
    pub rung: bool,
}

/// The timers of a batch that nobody heard, in the order they were started in: a row that a thumb is on its way
/// to does not change its place.
fn waiting_in(batch: &Batch, now: Moment, all: &mut Vec<Waiting>) {
    for (place, timer) in batch.timers.iter().enumerate().filter(|(_, timer)| !timer.heard) {
        all.push(Waiting {
            id: batch.id.clone(),
            batch: batch.name.clone(),
            place,
            timer: timer.clone(),
            rung: matches!(left(timer, now), Left::Rung(_)),
        });
    }
}

/// The alarm of this page. `Copy`, made once and handed down as context.
#[derive(Clone, Copy)]
pub struct Alarm {
    /// The screen stays on because the person said so.
    pub keep_on: RwSignal<bool>,
    shared: Shared,
    /// Counts up twice a second while a timer waits and the page is seen, and when the page may have slept.
    beat: RwSignal<u32>,
    /// Counts up when a batch is opened or closed.
    opened: RwSignal<u32>,
    /// Counts up when `stored` was read.
    looked: RwSignal<u32>,
    inner: StoredValue<Inner>,
}

/// What is no signal, because nothing on the screen follows it.
#[derive(Default)]
struct Inner {
    /// The open batch; its own document is newer than what is stored.
    open: Option<Open>,
    /// The stored batches with a timer that nobody heard.
    stored: Vec<Batch>,
    beat: Option<IntervalHandle>,
    /// What makes the sound: the browser's, from a tap on.
    audio: Option<JsValue>,
    /// Not before then is the alarm sounded again.
    silent_until: Moment,
    /// What rang until then was told by a notification, or on the screen.
    told: Moment,
    /// The page's own title, while another one stands there.
    title: Option<String>,
    /// What keeps the screen on.
    lock: Option<JsValue>,
    lock_wanted: bool,
    /// Asked for once; not again before the page was away.
    lock_asked: bool,
}

impl Alarm {
    /// The alarm of this page.
    pub fn here() -> Self {
        expect_context()
    }

    /// Sets the alarm up. To be called once, within the app's root.
    pub fn set_up(shared: Shared) -> Self {
        let alarm = Self {
            keep_on: RwSignal::new(false),
            shared,
            beat: RwSignal::new(0),
            opened: RwSignal::new(0),
            looked: RwSignal::new(0),
            inner: StoredValue::new(Inner::default()),
        };
        effect(move || {
            shared.stored.track();
            alarm.opened.track();
            let stored = Store::with_timers();
            alarm.inner.update_value(|inner| inner.stored = stored);
            alarm.looked.update(|count| *count += 1);
        });
        effect(move || {
            alarm.keep_on.track();
            alarm.tend(&alarm.waiting());
        });
        clock::on_waking(move || {
            alarm.inner.update_value(|inner| inner.lock_asked = false);
            alarm.pulse();
        });
        // A browser makes no sound before a tap. This hears each, after the button did: also the one that
        // started the first timer, and the first after a reload.
        let _ = window_event_listener_untyped("click", move |_| alarm.allow_sound());
        alarm
    }

    /// The batch that is on the screen, until that screen goes.
    pub fn opens(self, open: Open) {
        let set = move |open| {
            self.inner.update_value(|inner| inner.open = open);
            self.opened.update(|count| *count += 1);
        };
        set(Some(open));
        on_cleanup(move || set(None));
    }

    /// The time now; who asks is asked again while a timer waits.
    pub fn now(self) -> Moment {
        self.beat.track();
        clock::now()
    }

    /// The timers of the open batch that nobody heard.
    pub fn waiting_here(self, open: Open) -> Vec<Waiting> {
        let (mut all, now) = (Vec::new(), self.now());
        open.document.with(|batch| waiting_in(batch, now, &mut all));
        all
    }

    /// What rang in batches that are not on the screen.
    pub fn rung_elsewhere(self) -> Vec<Waiting> {
        let open = self.inner.with_value(|inner| inner.open);
        let id = open.and_then(|open| open.document.try_with(|batch| batch.id.clone())).unwrap_or_default();
        let mut all = self.waiting();
        all.retain(|waiting| waiting.rung && waiting.id != id);
        all
    }

    /// All timers that nobody heard.
    fn waiting(self) -> Vec<Waiting> {
        self.opened.track();
        self.looked.track();
        let (mut all, now) = (Vec::new(), self.now());
        self.inner.with_value(|inner| {
            // While another tab's change waits to be settled, what is stored is newer: it may be heard there.
            let newer = |open: &Open| {
                open.saved.try_with(|saved| !matches!(saved, Saved::No(StoreError::OtherTab { .. })))
            };
            let mut id = String::new();
            if let Some(open) = inner.open.filter(|open| newer(open) == Some(true)) {
                open.document.with(|batch| {
                    id.clone_from(&batch.id);
                    waiting_in(batch, now, &mut all);
                });
            }
            for batch in inner.stored.iter().filter(|batch| batch.id != id) {
                waiting_in(batch, now, &mut all);
            }
        });
        all
    }

    /// Starts a timer of the open batch. To be called from a tap.
    pub fn start(self, open: Open, name: String, lasts: Duration) {
        let mut outcome = Ok(());
        open.edit(|batch| outcome = start(&mut batch.timers, name, lasts, clock::now()));
        // A phone that is pocketed now must ring all the same.
        open.flush();
        match outcome {
            Ok(()) => ask_to_notify(),
            Err(problem) => self.shared.tell(problem.to_string()),
        }
    }

    /// Looks at the clock. What nobody sees is not drawn anew.
    fn pulse(self) {
        if document().hidden() {
            self.tend(&untrack(|| self.waiting()));
        } else {
            self.beat.update(|count| *count += 1);
        }
    }

    /// Brings everything that is not drawn to where the timers stand.
    fn tend(self, all: &[Waiting]) {
        let (now, hidden) = (clock::now(), document().hidden());
        let watch = self.keep_on.get_untracked() || all.iter().any(|waiting| watched(&waiting.timer, now));
        self.hold_screen(watch && !hidden);
        self.inner.update_value(|inner| {
            if all.is_empty() {
                if let Some(beat) = inner.beat.take() {
                    beat.clear();
                }
                if let Some(audio) = &inner.audio {
                    let _ = call(audio, "suspend", &[]);
                }
            } else if inner.beat.is_none() {
                inner.beat = set_interval_with_handle(move || self.pulse(), BEAT).ok();
            }
            let rung = || all.iter().filter(|waiting| waiting.rung);
            if rung().next().is_some() && now >= inner.silent_until {
                inner.silent_until = now + AGAIN;
                if let Some(audio) = &inner.audio {
                    let _ = sound(audio);
                }
                vibrate();
            }
            for waiting in rung().filter(|waiting| waiting.timer.until > inner.told) {
                if hidden {
                    let _ = self.notify(waiting);
                }
            }
            if let Some(last) = rung().map(|waiting| waiting.timer.until).max() {
                inner.told = inner.told.max(last);
            }
            let title = match rung().next() {
                Some(waiting) => Some(format!("{} rang", waiting.timer.name)),
                None => next(all.iter().map(|waiting| &waiting.timer), now)
                    .map(|timer| format!("{} {}", countdown(timer.until - now), timer.name)),
            };
            match title.filter(|_| hidden) {
                Some(title) => {
                    let before = document().title();
                    if before != title {
                        document().set_title(&title);
                        inner.title.get_or_insert(before);
                    }
                }
                None => {
                    if let Some(own) = inner.title.take() {
                        document().set_title(&own);
                    }
                }
            }
        });
    }

    /// Makes what will sound, or wakes it; browsers allow it in a tap only.
    fn allow_sound(self) {
        if untrack(|| self.waiting()).is_empty() {
            return;
        }
        self.inner.update_value(|inner| {
            if inner.audio.is_none() {
                inner.audio = make("AudioContext", &Array::new());
            }
            if let Some(audio) = &inner.audio {
                let _ = call(audio, "resume", &[]);
            }
        });
    }

    fn notify(self, waiting: &Waiting) -> Option<()> {
        if permission()? != "granted" {
            return None;
        }
        let options = Object::new();
        set(&options, "body", &waiting.batch.as_str().into());
        // Where the worker leads when it is tapped and no page is open.
        set(&options, "data", &batch_address(&waiting.id).into());
        set(&options, "requireInteraction", &JsValue::TRUE);
        let title = JsValue::from(format!("{} rang", waiting.timer.name));
        match self.shared.offline.registration() {
            Some(registration) => {
                let shown = call(&registration, "showNotification", &[title, options.into()])?;
                // Refused: the page rings all the same.
                spawn_local(async move { drop(promised(Some(shown)).await) });
            }
            None => {
                let shown = make("Notification", &Array::of2(&title, &options))?;
                let focus: Function = property(&window(), "focus")?.dyn_into().ok()?;
                set(&shown, "onclick", &focus.bind0(&window()));
            }
        }
        Some(())
    }

    /// Keeps the screen on, or no longer.
    fn hold_screen(self, wanted: bool) {
        let (ask, no_longer) = self
            .inner
            .try_update_value(|inner| {
                inner.lock_wanted = wanted;
                let ask = wanted && inner.lock.is_none() && !inner.lock_asked;
                inner.lock_asked |= ask;
                (ask, if wanted { None } else { inner.lock.take() })
            })
            .unwrap_or_default();
        release(no_longer);
        if ask {
            let asked = wake_lock().and_then(|lock| call(&lock, "request", &["screen".into()]));
            spawn_local(async move {
                let lock = promised(asked).await;
                // Let go of at once where it is not wanted any more, or held already.
                let spare = self.inner.try_update_value(|inner| {
                    if lock.is_some() {
                        inner.lock_asked = false;
                    }
                    if inner.lock_wanted && inner.lock.is_none() {
                        inner.lock = lock;
                        return None;
                    }
                    lock
                });
                release(spare.flatten());
            });
        }
    }
}

/// What can keep the screen on, where the browser has it.
pub fn wake_lock() -> Option<JsValue> {
    property(&window().navigator(), "wakeLock")
}

fn release(lock: Option<JsValue>) {
    if let Some(lock) = lock {
        let _ = call(&lock, "release", &[]);
    }
}

/// What a promise of the browser gives in the end.
async fn promised(promise: Option<JsValue>) -> Option<JsValue> {
    promise?.dyn_into::<Promise>().ok()?.await.ok()
}

/// Sets a property of an object of the browser's, which cannot fail for these.
fn set(object: &JsValue, name: &str, value: &JsValue) {
    let _ = Reflect::set(object, &name.into(), value);
}

/// An object of one of the browser's classes, where it has it and allows it.
fn make(class: &str, with: &Array) -> Option<JsValue> {
    let class: Function = property(&window(), class)?.dyn_into().ok()?;
    Reflect::construct(&class, with).ok()
}

/// Whether the person allowed notifications: "granted", "denied", or "default" for not asked yet.
fn permission() -> Option<String> {
    property(&property(&window(), "Notification")?, "permission")?.as_string()
}

fn ask_to_notify() {
    if permission().as_deref() == Some("default") {
        let _ = property(&window(), "Notification").and_then(|class| call(&class, "requestPermission", &[]));
    }
}

/// Three short tones, from the browser's own generator: no file to load.
fn sound(audio: &JsValue) -> Option<()> {
    if property(audio, "state")?.as_string()? != "running" {
        // A call or a locked screen can stop it. What is asked of it now would all sound at once later.
        call(audio, "resume", &[])?;
        return None;
    }
    let now = property(audio, "currentTime")?.as_f64()?;
    let (tone, volume) = (call(audio, "createOscillator", &[])?, call(audio, "createGain", &[])?);
    set(&tone, "type", &"square".into());
    set(&property(&tone, "frequency")?, "value", &880.into());
    call(&tone, "connect", std::slice::from_ref(&volume))?;
    call(&volume, "connect", &[property(audio, "destination")?])?;
    let level = property(&volume, "gain")?;
    for (place, loud) in [0.4, 0.0, 0.4, 0.0, 0.4, 0.0].into_iter().enumerate() {
        call(&level, "setValueAtTime", &[loud.into(), (now + 0.16 * place as f64).into()])?;
    }
    call(&tone, "start", &[])?;
    call(&tone, "stop", &[(now + 1.0).into()])?;
    Some(())
}

fn vibrate() {
    let navigator = window().navigator();
    // Before the first tap a browser refuses, and complains about it.
    let tapped = property(&navigator, "userActivation")
        .is_none_or(|taps| property(&taps, "hasBeenActive") == Some(JsValue::TRUE));
    if tapped {
        let pattern = [300, 150, 300, 150, 300].into_iter().map(JsValue::from).collect::<Array>();
        let _ = call(&navigator, "vibrate", &[pattern.into()]);
    }
}
