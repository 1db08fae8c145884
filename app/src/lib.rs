//! Tartwright in the browser: views over the plan, and what keeps them. Holds
//! no formula of brewing or chemistry.

pub mod preferences;
pub mod store;

mod again;
mod alarm;
mod batch_screen;
mod book;
mod clock;
mod compare;
mod glossary;
mod house_screen;
mod keepsake_screen;
mod lists;
mod more;
mod offline;
mod page;
mod pictures;
mod readings;
mod run;
mod share;
mod signals;
mod stages;
mod state;
mod tasting;
mod text_file;
mod timers;
mod view;
mod water;
mod widgets;

/// Mounts the app on the page.
pub fn start() {
    // The framework starts its machinery and keeps it; the views are our own.
    leptos::mount::mount_to_body(|| page::page().show_for_ever());
}
