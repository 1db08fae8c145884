//! An almost empty page: what the framework weighs before the app adds anything. `cargo xtask bench`
//! builds it with the app's own settings and prints both.
use leptos::prelude::*;

fn main() {
    leptos::mount::mount_to_body(|| {
        let (taps, set_taps) = signal(0);
        view! { <button on:click=move |_| set_taps.update(|taps| *taps += 1)>{taps}</button> }
    });
}
