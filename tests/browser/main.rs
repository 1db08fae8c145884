//! The finished page in a real browser, driven as a person would.
//!
//! `cargo xtask test` runs this against the page it just built. To run it alone: `cargo xtask dist`, then
//! `cargo test -p checks --features browser --test browser`.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that cannot go on should stop right there"
)]

mod again;
mod brewday;
mod harness;
mod hostile;
mod kettle;
mod layout;
mod load;
mod offline;
mod page;
mod readings;
mod screenshots;
mod share;
mod timers;
mod trouble;
