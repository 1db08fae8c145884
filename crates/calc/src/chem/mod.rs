//! Solution chemistry.

pub mod density;
pub mod gas;
