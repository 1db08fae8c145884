//! The person's clock.

use crate::signals::RwSignal;
use batch::moment::Moment;
use leptos::prelude::*;
use wasm_bindgen::JsValue;

/// The time now.
pub fn now() -> Moment {
    Moment::from_seconds((js_sys::Date::now() / 1000.0).floor() as i64)
}

/// A signal that follows the clock every twenty seconds, and at once when the
/// page is shown again: a phone that slept must not show an old next move.
pub fn ticking() -> RwSignal<Moment> {
    let ticking = RwSignal::new(now());
    let tick = move || ticking.set(now());
    // Without a timer the time is right at each load all the same.
    let _ = set_interval_with_handle(tick, std::time::Duration::from_secs(20));
    on_waking(tick);
    ticking
}

/// Acts whenever the page may have been asleep, for as long as it is there. No browser tells it by one event.
pub fn on_waking(act: impl Fn() + Copy + 'static) {
    for event in ["focus", "visibilitychange", "pageshow"] {
        let _ = window_event_listener_untyped(event, move |_| act());
    }
}

fn date(moment: Moment) -> js_sys::Date {
    js_sys::Date::new(&JsValue::from_f64(moment.as_seconds() as f64 * 1000.0))
}

/// Weekday and time of day, with the date when it is more than six days away.
pub fn short(moment: Moment, now: Moment) -> String {
    let options = js_sys::Object::new();
    let set = |key: &str, value: &str| {
        // Setting a property of a fresh object cannot fail.
        let _ = js_sys::Reflect::set(&options, &key.into(), &value.into());
    };
    set("hour", "2-digit");
    set("minute", "2-digit");
    set("hour12", "");
    let away = (moment - now).as_hours().abs();
    if away > 14.0 {
        set("weekday", "short");
    }
    if away > 144.0 {
        set("day", "numeric");
        set("month", "short");
    }
    let _ = js_sys::Reflect::set(&options, &"hour12".into(), &JsValue::FALSE);
    String::from(date(moment).to_locale_string("en-GB", &options))
}

/// Day, month and year.
pub fn day(moment: Moment) -> String {
    let date = date(moment);
    format!("{:04}-{:02}-{:02}", date.get_full_year(), date.get_month() + 1, date.get_date())
}

/// The text a `datetime-local` field holds for a moment.
pub fn field_text(moment: Moment) -> String {
    let date = date(moment);
    format!("{}T{:02}:{:02}", day(moment), date.get_hours(), date.get_minutes())
}

/// The moment a `datetime-local` field names, or nothing for an empty or wrong text.
pub fn from_field(text: &str) -> Option<Moment> {
    // A text without a zone is the person's own local time.
    let milliseconds = js_sys::Date::new(&JsValue::from_str(text)).get_time();
    milliseconds.is_finite().then(|| Moment::from_seconds((milliseconds / 1000.0).floor() as i64))
}
