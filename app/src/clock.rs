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

/// Weekday and time of day, with the date when it is more than six days away. Put together here: the browser's own
/// way takes a tenth of all that is worked out at a key, and writes it otherwise in each.
pub fn short(moment: Moment, now: Moment) -> String {
    const DAYS: [&str; 7] = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
    const MONTHS: [&str; 12] =
        ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sept", "Oct", "Nov", "Dec"];
    let at = date(moment);
    let away = (moment - now).as_hours().abs();
    let name = |names: &[&'static str], place: u32| names.get(place as usize).copied().unwrap_or_default();
    let mut text = String::new();
    if away > 14.0 {
        text.push_str(name(&DAYS, at.get_day()));
        text.push(' ');
    }
    if away > 144.0 {
        text.push_str(&format!("{} {}, ", at.get_date(), name(&MONTHS, at.get_month())));
    }
    text.push_str(&format!("{:02}:{:02}", at.get_hours(), at.get_minutes()));
    text
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

#[cfg(test)]
mod tests {
    use super::*;
    use wasm_bindgen_test::{wasm_bindgen_test, wasm_bindgen_test_configure};

    wasm_bindgen_test_configure!(run_in_browser);

    #[wasm_bindgen_test]
    fn a_time_says_more_the_further_it_is_away() {
        let at = |year, month, day, hour, minute| {
            let date = js_sys::Date::new_with_year_month_day_hr_min(year, month, day, hour, minute);
            Moment::from_seconds((date.get_time() / 1000.0) as i64)
        };
        let now = at(2026, 8, 5, 0, 7);
        assert_eq!(short(now, now), "00:07");
        assert_eq!(short(at(2026, 8, 5, 14, 0), now), "14:00");
        assert_eq!(short(at(2026, 8, 4, 9, 5), now), "Fri 09:05");
        assert_eq!(short(at(2026, 8, 12, 9, 5), now), "Sat 12 Sept, 09:05");
        assert_eq!(short(at(2026, 0, 4, 23, 59), now), "Sun 4 Jan, 23:59");
    }
}
