//! The trade on top of chemistry.
