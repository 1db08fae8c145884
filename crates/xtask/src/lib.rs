//! What a contributor runs, and the static host the browser tests run against.
//!
//! The library half exists so that the end-to-end tests can host the very files `cargo xtask dist`
//! made, and go offline by stopping that host.

pub mod browser;
pub mod policy;
pub mod server;
pub mod site;
