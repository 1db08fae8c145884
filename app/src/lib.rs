//! Tartwright in the browser.
pub mod store;

use leptos::prelude::*;

/// Mounts the app on the page.
pub fn start() {
    leptos::mount::mount_to_body(|| view! { <p>"Tartwright"</p> });
}
