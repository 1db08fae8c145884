//! Root finding and least squares.

pub(crate) mod nnls;
pub(crate) mod root;
pub(crate) mod weigh;
