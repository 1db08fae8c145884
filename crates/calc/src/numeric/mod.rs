//! Root finding and least squares.

pub(crate) mod bounded;
pub(crate) mod power;
pub(crate) mod root;
pub(crate) mod weigh;
