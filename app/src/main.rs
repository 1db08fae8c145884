//! Entry point of the page.
#![no_main]

use wasm_bindgen::prelude::wasm_bindgen;

/// Mounts the app. Not a `main`: what the standard library does around one is of no use here and weighs a
/// kilobyte.
#[wasm_bindgen(start)]
pub fn start() {
    app::start();
}
