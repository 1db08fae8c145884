//! The app without a network: the worker that keeps its files, new versions, installing, and whether
//! the browser promises to keep what is stored.
//!
//! Every browser feature used here may be missing (a private window, an old browser, a page not served
//! over a secure connection). Then the matching signal says so or stays silent, and nothing else changes.

use crate::signals::{RwSignal, Signal, StoredValue};
use js_sys::{Function, Promise, Reflect};
use leptos::task::spawn_local;
use wasm_bindgen::prelude::*;
use web_sys::{ServiceWorker, ServiceWorkerContainer, ServiceWorkerRegistration, ServiceWorkerState};

/// The worker's file, beside the page.
const WORKER: &str = "sw.js";
/// What the worker waits to hear before a new version takes over.
const TAKE_OVER: &str = "take over";
/// Where the boot script leaves an invitation that came before the app did.
const EARLY_INVITATION: &str = "tartwrightInvitation";

/// Whether another version of the app is on the device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Update {
    /// The version on screen is the newest known.
    #[default]
    None,
    /// A newer version is complete and waits to be let in.
    Ready,
}

/// Whether the browser offers to install the app.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum InstallInvitation {
    /// No offer: installed already, declined, or not a thing this browser does.
    #[default]
    None,
    /// [`Offline::install`] would ask the person.
    Open,
    /// The app was installed while it was open.
    Accepted,
}

/// Whether the browser promised to keep stored data when space runs short.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Persistence {
    /// Not asked yet.
    #[default]
    Unknown,
    /// It will not clear it on its own.
    Kept,
    /// It may clear it when space runs short.
    AtRisk,
    /// This browser makes no such promises.
    Unavailable,
}

/// Everything about the app and the network. `Copy`, made once and handed down as context.
#[derive(Clone, Copy)]
pub struct Offline {
    update: RwSignal<Update>,
    invitation: RwSignal<InstallInvitation>,
    persistence: RwSignal<Persistence>,
    /// The browser's offer, kept from its event.
    offer: StoredValue<Option<JsValue>>,
    registration: StoredValue<Option<ServiceWorkerRegistration>>,
    /// Set when the person on this page agreed, so that other pages don't reload under their hands.
    agreed: StoredValue<bool>,
}

impl Offline {
    /// Registers the worker and listens for new versions and install offers. To be called once, within
    /// the app's root, after the first view is up.
    #[must_use]
    pub fn register() -> Self {
        let offline = Self {
            update: RwSignal::new(Update::None),
            invitation: RwSignal::new(InstallInvitation::None),
            persistence: RwSignal::new(Persistence::Unknown),
            offer: StoredValue::new(None),
            registration: StoredValue::new(None),
            agreed: StoredValue::new(false),
        };
        offline.listen_for_offers();
        if let Some(container) = container() {
            spawn_local(offline.follow(container));
        }
        offline
    }

    /// Whether a newer version waits.
    #[must_use]
    pub fn update(self) -> Signal<Update> {
        self.update.into()
    }

    /// Lets the newer version in and loads the page anew. Save what is being typed first.
    pub fn accept_update(self) {
        self.agreed.set_value(true);
        let waiting = self.registration.with_value(|known| known.as_ref()?.waiting());
        match waiting {
            Some(worker) => {
                // Fails only for a worker that is gone, and then there is nothing to wait for.
                if worker.post_message(&TAKE_OVER.into()).is_err() {
                    reload();
                }
            }
            // Another page let it in already.
            None => reload(),
        }
    }

    /// Whether the app can be installed.
    #[must_use]
    pub fn invitation(self) -> Signal<InstallInvitation> {
        self.invitation.into()
    }

    /// Has the browser ask the person to install the app. To be called from a tap.
    pub fn install(self) {
        // An offer can be used once.
        self.invitation.set(InstallInvitation::None);
        if let Some(offer) = self.offer.try_update_value(Option::take).flatten() {
            // The browser tells the outcome by its `appinstalled` event.
            let _ = call(&offer, "prompt", &[]);
        }
    }

    /// Whether stored data is safe from the browser's own clearing.
    #[must_use]
    pub fn persistence(self) -> Signal<Persistence> {
        self.persistence.into()
    }

    /// Asks the browser to keep stored data. To be called after the first save, when the answer matters
    /// and browsers are likeliest to agree; asking again changes nothing.
    pub fn ask_to_keep(self) {
        spawn_local(async move {
            let answer = match persist() {
                Some(promise) => promise.await.ok().and_then(|answer| answer.as_bool()),
                None => None,
            };
            self.persistence.set(match answer {
                Some(true) => Persistence::Kept,
                Some(false) => Persistence::AtRisk,
                None => Persistence::Unavailable,
            });
        });
    }

    /// The worker's registration, through which notifications are shown where a phone allows no others.
    pub fn registration(self) -> Option<ServiceWorkerRegistration> {
        self.registration.get_value()
    }

    async fn follow(self, container: ServiceWorkerContainer) {
        // A host without the worker, or a browser that refuses it: the app then simply needs its host.
        let Ok(registration) = container.register(WORKER).await else { return };
        let Ok(registration) = registration.dyn_into::<ServiceWorkerRegistration>() else { return };
        self.registration.set_value(Some(registration.clone()));
        if registration.waiting().is_some() && container.controller().is_some() {
            self.announce();
        }
        if let Some(worker) = registration.installing() {
            self.watch(worker, &container);
        }
        listen(&registration.clone().into(), "updatefound", {
            let container = container.clone();
            move |_| {
                if let Some(worker) = registration.installing() {
                    self.watch(worker, &container);
                }
            }
        });
        let mut controlled = container.controller().is_some();
        listen(&container.into(), "controllerchange", move |_| {
            if self.agreed.try_get_value() == Some(true) {
                reload();
            } else if controlled {
                // Another page let a newer version in; this one keeps running until its person agrees.
                self.announce();
            }
            controlled = true;
        });
    }

    fn watch(self, worker: ServiceWorker, container: &ServiceWorkerContainer) {
        let container = container.clone();
        listen(&worker.clone().into(), "statechange", move |_| {
            // Without a controller it is the first version, which replaces nothing.
            if worker.state() == ServiceWorkerState::Installed && container.controller().is_some() {
                self.announce();
            }
        });
    }

    fn announce(self) {
        self.update.set(Update::Ready);
    }

    fn listen_for_offers(self) {
        let Some(window) = web_sys::window() else { return };
        let early = Reflect::get(&window, &EARLY_INVITATION.into()).unwrap_or(JsValue::UNDEFINED);
        if !early.is_undefined() {
            self.keep_offer(early);
        }
        listen(&window.clone().into(), "beforeinstallprompt", move |event| {
            event.prevent_default();
            self.keep_offer(event.into());
        });
        listen(&window.into(), "appinstalled", move |_| {
            self.invitation.set(InstallInvitation::Accepted);
        });
    }

    fn keep_offer(self, offer: JsValue) {
        self.offer.set_value(Some(offer));
        self.invitation.set(InstallInvitation::Open);
    }
}

/// The page's worker container, where the browser has one and lets this page use it.
fn container() -> Option<ServiceWorkerContainer> {
    let navigator = web_sys::window()?.navigator();
    property(&navigator, "serviceWorker")?.dyn_into().ok()
}

fn persist() -> Option<Promise> {
    let storage = property(&web_sys::window()?.navigator(), "storage")?;
    call(&storage, "persist", &[])?.dyn_into().ok()
}

/// A property of a browser object, if it is there; reading some throws where they are forbidden.
pub fn property(object: &JsValue, name: &str) -> Option<JsValue> {
    Reflect::get(object, &name.into()).ok().filter(|value| !value.is_undefined() && !value.is_null())
}

/// What a browser object's method gives, where it has one that does not throw.
pub fn call(object: &JsValue, method: &str, with: &[JsValue]) -> Option<JsValue> {
    let with: js_sys::Array = with.iter().collect();
    property(object, method)?.dyn_into::<Function>().ok()?.apply(object, &with).ok()
}

/// Listens for as long as the page lives, as the app does.
fn listen(target: &web_sys::EventTarget, event: &str, heard: impl FnMut(web_sys::Event) + 'static) {
    let listener = Closure::<dyn FnMut(web_sys::Event)>::new(heard);
    let _ = target.add_event_listener_with_callback(event, listener.as_ref().unchecked_ref());
    listener.forget();
}

fn reload() {
    if let Some(window) = web_sys::window() {
        let _ = window.location().reload();
    }
}
