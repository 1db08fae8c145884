//! The batch document, its plan, what it teaches, and how it is kept.
//!
//! One thing goes in: a [`document::Batch`]. One thing comes out: a
//! [`plan::Plan`], every number with its spread, its assumptions and its
//! warnings. Views show the plan and edit the document.

pub mod again;
pub mod change;
pub mod compare;
pub mod demo;
pub mod document;
pub mod doubt;
pub mod effect;
pub mod house;
#[cfg(any(test, feature = "jobs"))]
pub mod jobs;
pub mod json;
pub mod keep;
pub mod label;
pub mod moment;
pub mod plan;
pub mod qr;
pub mod report;
pub mod say;
pub mod sheet;
pub mod table_text;
#[cfg(any(test, feature = "testing"))]
pub mod testing;
pub mod timer;
