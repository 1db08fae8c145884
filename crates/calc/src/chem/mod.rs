//! Solution chemistry.

pub mod activity;
pub mod carbonate;
pub mod density;
pub mod gas;
pub mod meter;
pub mod pairs;
pub mod report;
pub mod titration;
pub mod water;
