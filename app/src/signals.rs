//! Values that views follow.
//!
//! The framework's signals and memos have code for each type of value: finding it among all that are kept,
//! borrowing, following, telling. Here that code is there once, whatever the types; only the borrowing of the
//! value itself knows them. What follows what, and when it ends, is the framework's own doing.

use leptos::prelude::{
    ArcTrigger, Effect, Get, GetUntracked, GetValue, LocalStorage, Memo as Counter, Notify,
    StoredValue as Stored, Track, untrack,
};
use std::any::Any;
use std::cell::RefCell;
use std::marker::PhantomData;
use std::rc::Rc;

/// A value of any type, and what tells those who follow it.
#[derive(Clone)]
struct Held {
    trigger: ArcTrigger,
    value: Rc<dyn Any>,
}

/// A place among all that is kept, free again when the part of the screen that made it goes.
#[derive(Clone, Copy)]
pub struct Handle(Stored<Held, LocalStorage>);

impl Handle {
    #[inline(never)]
    fn new(value: Rc<dyn Any>) -> Self {
        Self(Stored::new_local(Held { trigger: ArcTrigger::new(), value }))
    }

    /// What is kept there; nothing when it is gone.
    #[inline(never)]
    fn held(self, follow: bool) -> Option<Held> {
        let held = self.0.try_get_value()?;
        if follow {
            held.trigger.track();
        }
        Some(held)
    }

    /// True while there is somebody to tell.
    pub fn is_there(self) -> bool {
        self.held(false).is_some()
    }

    /// Tells those who follow it that it is another now.
    pub fn notify(self) {
        if let Some(held) = self.held(false) {
            held.trigger.notify();
        }
    }
}

/// What is gone was used on: a mistake of ours, and nothing sensible can be shown.
#[cold]
pub fn gone() -> ! {
    std::process::abort()
}

/// A value that can be set.
pub struct RwSignal<T>(Handle, PhantomData<fn() -> T>);

impl<T> Clone for RwSignal<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for RwSignal<T> {}

impl<T: 'static> RwSignal<T> {
    /// A value to begin with.
    pub fn new(value: T) -> Self {
        Self(Handle::new(Rc::new(RefCell::new(value))), PhantomData)
    }

    /// A value that is changed where it is kept; whoever does tells of it by the handle.
    pub fn kept(value: Rc<RefCell<T>>) -> (Self, Handle) {
        let handle = Handle::new(value);
        (Self(handle, PhantomData), handle)
    }

    fn read<R>(self, follow: bool, look: impl FnOnce(&T) -> R) -> Option<R> {
        let held = self.0.held(follow)?;
        Some(look(&held.value.downcast_ref::<RefCell<T>>()?.borrow()))
    }

    /// Follows the value.
    pub fn track(self) {
        self.0.held(true);
    }

    /// Looks at the value and follows it.
    pub fn with<R>(self, look: impl FnOnce(&T) -> R) -> R {
        self.read(true, look).unwrap_or_else(|| gone())
    }

    /// Looks at the value.
    pub fn with_untracked<R>(self, look: impl FnOnce(&T) -> R) -> R {
        self.read(false, look).unwrap_or_else(|| gone())
    }

    /// Looks at the value and follows it, if it is still there.
    pub fn try_with<R>(self, look: impl FnOnce(&T) -> R) -> Option<R> {
        self.read(true, look)
    }

    /// Looks at the value, if it is still there.
    pub fn try_with_untracked<R>(self, look: impl FnOnce(&T) -> R) -> Option<R> {
        self.read(false, look)
    }

    /// Changes the value, if it is still there.
    pub fn update(self, change: impl FnOnce(&mut T)) {
        if let Some(held) = self.0.held(false) {
            if let Some(value) = held.value.downcast_ref::<RefCell<T>>() {
                change(&mut value.borrow_mut());
            }
            held.trigger.notify();
        }
    }

    /// Sets the value, if it is still there.
    pub fn set(self, value: T) {
        self.update(|kept| *kept = value);
    }
}

impl<T: Clone + 'static> RwSignal<T> {
    /// The value, followed.
    pub fn get(self) -> T {
        self.with(T::clone)
    }

    /// The value.
    pub fn get_untracked(self) -> T {
        self.with_untracked(T::clone)
    }

    /// The value, if it is still there.
    pub fn try_get_untracked(self) -> Option<T> {
        self.try_with_untracked(T::clone)
    }
}

/// A value that can be changed, and that nothing follows.
pub struct StoredValue<T>(RwSignal<T>);

impl<T> Clone for StoredValue<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for StoredValue<T> {}

impl<T: 'static> StoredValue<T> {
    /// A value to begin with.
    pub fn new(value: T) -> Self {
        Self(RwSignal::new(value))
    }

    /// Looks at the value.
    pub fn with_value<R>(self, look: impl FnOnce(&T) -> R) -> R {
        self.0.with_untracked(look)
    }

    /// Changes the value, if it is still there.
    pub fn try_update_value<R>(self, change: impl FnOnce(&mut T) -> R) -> Option<R> {
        let held = self.0.0.held(false)?;
        Some(change(&mut held.value.downcast_ref::<RefCell<T>>()?.borrow_mut()))
    }

    /// Changes the value, if it is still there.
    pub fn update_value(self, change: impl FnOnce(&mut T)) {
        self.try_update_value(change);
    }

    /// Sets the value, if it is still there.
    pub fn set_value(self, value: T) {
        self.update_value(|kept| *kept = value);
    }
}

impl<T: Clone + 'static> StoredValue<T> {
    /// The value.
    pub fn get_value(self) -> T {
        self.with_value(T::clone)
    }

    /// The value, if it is still there.
    pub fn try_get_value(self) -> Option<T> {
        self.0.try_get_untracked()
    }
}

/// What is done with a value.
pub struct Callback<T>(Handle, PhantomData<fn(T)>);

impl<T> Clone for Callback<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Callback<T> {}

impl<T: 'static> Callback<T> {
    /// This is done.
    pub fn new(act: impl Fn(T) + 'static) -> Self {
        let act: Box<dyn Fn(T)> = Box::new(act);
        Self(Handle::new(Rc::new(act)), PhantomData)
    }

    /// Does it with a value, if it is still there.
    pub fn run(self, value: T) {
        if let Some(held) = self.0.held(false)
            && let Some(act) = held.value.downcast_ref::<Box<dyn Fn(T)>>()
        {
            act(value);
        }
    }
}

/// Done a moment later, and again whenever something it reads changes, as long as the part of the screen that
/// began it is there. The framework's own effects are compiled anew for each thing done.
pub fn effect(act: impl FnMut() + 'static) {
    let mut act: Box<dyn FnMut()> = Box::new(act);
    Effect::new(move |_: Option<()>| act());
}

/// A value worked out from others, anew when one of them changes, and told on only when it is another then.
pub struct Memo<T> {
    /// Counts the values there were.
    counter: Counter<u32>,
    value: Handle,
    of: PhantomData<fn() -> T>,
}

impl<T> Clone for Memo<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Memo<T> {}

/// Works a value out, and says whether it is another than before.
type Step = Box<dyn Fn() -> bool + Send + Sync>;

#[inline(never)]
fn counter(step: Step) -> Counter<u32> {
    Counter::new(move |before: Option<&u32>| {
        let before = before.copied().unwrap_or_default();
        if step() { before.wrapping_add(1) } else { before }
    })
}

impl<T: PartialEq + 'static> Memo<T> {
    /// A value worked out like this.
    pub fn new(work: impl Fn() -> T + Send + Sync + 'static) -> Self {
        Self::of(Box::new(work))
    }

    fn of(work: Box<dyn Fn() -> T + Send + Sync>) -> Self {
        let value = Handle::new(Rc::new(RefCell::new(None::<T>)));
        let step = move || {
            let new = Some(work());
            let Some(held) = value.held(false) else { return false };
            let Some(kept) = held.value.downcast_ref::<RefCell<Option<T>>>() else { return false };
            let other = *kept.borrow() != new;
            if other {
                *kept.borrow_mut() = new;
            }
            other
        };
        Self { counter: counter(Box::new(step)), value, of: PhantomData }
    }
}

impl<T: 'static> Memo<T> {
    fn read<R>(self, look: impl FnOnce(&T) -> R) -> R {
        let held = self.value.held(false).unwrap_or_else(|| gone());
        let kept = held.value.downcast_ref::<RefCell<Option<T>>>().unwrap_or_else(|| gone()).borrow();
        look(kept.as_ref().unwrap_or_else(|| gone()))
    }

    /// Looks at the value and follows it.
    pub fn with<R>(self, look: impl FnOnce(&T) -> R) -> R {
        self.counter.get();
        self.read(look)
    }

    /// Looks at the value.
    pub fn with_untracked<R>(self, look: impl FnOnce(&T) -> R) -> R {
        self.counter.get_untracked();
        self.read(look)
    }
}

impl<T: Clone + 'static> Memo<T> {
    /// The value, followed.
    pub fn get(self) -> T {
        self.with(T::clone)
    }

    /// The value.
    pub fn get_untracked(self) -> T {
        self.with_untracked(T::clone)
    }
}

/// A value that is worked out each time it is asked for.
pub struct Signal<T>(Handle, PhantomData<fn() -> T>);

impl<T> Clone for Signal<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Signal<T> {}

impl<T: 'static> Signal<T> {
    /// A value worked out like this.
    pub fn derive(work: impl Fn() -> T + 'static) -> Self {
        let work: Box<dyn Fn() -> T> = Box::new(work);
        Self(Handle::new(Rc::new(work)), PhantomData)
    }

    /// The value; what it is worked out from is followed.
    pub fn get(self) -> T {
        let held = self.0.held(false).unwrap_or_else(|| gone());
        held.value.downcast_ref::<Box<dyn Fn() -> T>>().unwrap_or_else(|| gone())()
    }

    /// The value.
    pub fn get_untracked(self) -> T {
        untrack(|| self.get())
    }
}

impl<T: Clone + 'static> From<RwSignal<T>> for Signal<T> {
    fn from(value: RwSignal<T>) -> Self {
        Self::derive(move || value.get())
    }
}
