//! Solution chemistry.

pub mod density;
